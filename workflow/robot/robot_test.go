package robot_test

import (
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/leantest"
	"fettle/steps/quantity"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

// TestMain spares these tests what nobody looks at.
func TestMain(m *testing.M) {
	leantest.Begin()
	os.Exit(m.Run())
}

// worker is a robot with every document of the library at hand.
func worker(t testing.TB) *robot.Worker {
	t.Helper()
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{}, Procedures: map[string]*steps.Procedure{}}
	entries, faults := procedures.Open("").List()
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for _, e := range entries {
		digest := store.Digest(e.Document.Bytes)
		if e.Document.Sheet != nil {
			docs.Sheets[digest] = e.Document.Sheet
		} else {
			docs.Procedures[digest] = e.Document.Procedure
		}
	}
	state, err := workflow.Replay(nil, docs)
	if err != nil {
		t.Fatal(err)
	}
	return &robot.Worker{State: state, Documents: docs, Now: time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC), By: "robot", Program: "test"}
}

func act(t testing.TB, w *robot.Worker, r workflow.Request) {
	t.Helper()
	if err := w.Act(r); err != nil {
		t.Fatalf("%T: %v", r, err)
	}
}

func named(t testing.TB, name string) *procedures.Document {
	t.Helper()
	doc, err := procedures.Open("").Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func start(t testing.TB, w *robot.Worker, doc *procedures.Document, zone string) {
	t.Helper()
	act(t, w, workflow.Start{Procedure: doc.Procedure, Digest: store.Digest(doc.Bytes), Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest, Zone: zone})
}

// A building is an airframe that was built with nothing chosen, as it stood after each
// move of its build.
type building struct {
	stood []robot.Worker
}

// built are the airframes that were built with nothing chosen, by design: every
// test goes on from a copy.
var built shared[*building]

// A shared is what takes long to make and is made once, by name, for tests that run beside each other.
type shared[T any] struct{ of sync.Map }

type one[T any] struct {
	sync.Mutex
	made bool
	is   T
}

// get is what has the name. Where making it ends the test, or fails, the next one makes it again.
func (s *shared[T]) get(name string, make func() (T, error)) (T, error) {
	of, _ := s.of.LoadOrStore(name, &one[T]{})
	o := of.(*one[T])
	o.Lock()
	defer o.Unlock()
	if o.made {
		return o.is, nil
	}
	is, err := make()
	o.is, o.made = is, err == nil
	return is, err
}

// build is an airframe of which the build was carried to its end.
func build(t testing.TB, design *procedures.Document, procedure *procedures.Document, answers []string) *robot.Worker {
	t.Helper()
	if len(answers) > 0 {
		w := carryBuild(t, design, procedure, answers).stood
		return &w[len(w)-1]
	}
	stood := buildings(t, design, procedure)
	w := stood[len(stood)-1]
	return &w
}

// buildings are the airframe as it stood after each move of the build, with nothing chosen.
func buildings(t testing.TB, design, procedure *procedures.Document) []robot.Worker {
	t.Helper()
	b, _ := built.get(design.Name(), func() (*building, error) { return carryBuild(t, design, procedure, nil), nil })
	return b.stood
}

// carryBuild registers an airframe with what no step of its build asks for, and carries
// the build to its end, each choice answered where it is asked.
func carryBuild(t testing.TB, design *procedures.Document, procedure *procedures.Document, answers []string) *building {
	t.Helper()
	w := worker(t)
	w.Answers = answers
	act(t, w, workflow.Register{Mark: "CW-01", Sheet: design.Sheet, Digest: store.Digest(design.Bytes), Options: unasked(design.Sheet, procedure.Procedure, answers)})
	start(t, w, procedure, "")
	if os.Getenv("FETTLE_LONG") != "" && len(answers) > 0 {
		keepsTime(t, *w)
	}
	var b building
	for range 3000 {
		w.State.Entries = slices.Clip(w.State.Entries) // whoever goes on from here writes in a journal of his own
		b.stood = append(b.stood, *w)
		if err := w.Carry(1); err != nil {
			t.Fatal(err)
		}
		if len(w.State.OpenJobs(w.Now)) == 0 {
			break
		}
	}
	w.State.Entries = slices.Clip(w.State.Entries)
	b.stood = append(b.stood, *w)
	return &b
}

// unasked are the answers for which no step of the build asks.
func unasked(sheet *steps.Sheet, build *steps.Procedure, answers []string) []string {
	var all []string
	for _, c := range sheet.Choices() {
		if !slices.ContainsFunc(build.Steps(), func(s *steps.Step) bool { return s.Choose != "" && s.Asked(sheet).Name == c.Name }) {
			all = append(all, c.Held(answers)...)
		}
	}
	return all
}

// A step that the sitting ends in is no move: the bench is read again within the same one.
func TestWhatIsRefusedIsNoMove(t *testing.T) {
	w, design := worker(t), named(t, "skerry")
	act(t, w, workflow.Register{Mark: "SK-01", Sheet: design.Sheet, Digest: store.Digest(design.Bytes)})
	air := []steps.Setting{{Condition: "ventilation", State: "on"}}
	long, err := quantity.Parse("30 min", quantity.Duration)
	if err != nil {
		t.Fatal(err)
	}
	w.Documents.Procedures["sha256:long"] = &steps.Procedure{Name: "long", Kind: steps.Repair, Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{{Name: "sand", Kind: steps.Do, Needs: air, Hands: long}}}}}
	act(t, w, workflow.Start{Procedure: w.Documents.Procedures["sha256:long"], Digest: "sha256:long", Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest})
	act(t, w, workflow.ReadBench{Set: air})
	size := w.State.Size()
	w.Now = w.Now.Add(workflow.SittingLength - time.Minute)
	if err := w.Carry(1); err != nil || w.State.Size() == size {
		t.Errorf("one move adds %d entries, %v", w.State.Size()-size, err)
	}
}

// Every repair and check that is started by itself comes to its end on every
// design that it serves and every zone that it is written for, by each of its methods,
// grounds the airframe, and leaves no gate stale that it disturbed.
func TestEveryRepairComesToItsEnd(t *testing.T) {
	t.Parallel()
	entries, _ := procedures.Open("").List()
	done := 0
	carried := map[string]bool{}
	for _, design := range entries {
		if design.Document.Sheet == nil {
			continue
		}
		w := build(t, design.Document, named(t, design.Document.Name()+"-build"), nil)
		for _, e := range entries {
			if e.Document.Procedure == nil || e.Document.Kind() == steps.Build || !e.Document.Serves(design.Document.Sheet) {
				continue
			}
			if slices.ContainsFunc(e.Document.Procedure.Steps(), func(s *steps.Step) bool { return len(s.Retires) > 0 }) {
				continue // a part of plans
			}
			zones := e.Document.Procedure.On
			// By default on one zone of one design, and no repair: every answer of a table
			// is carried to its end by TestEveryFindingIsMended.
			if os.Getenv("FETTLE_LONG") == "" {
				if carried[e.Document.Name()] || e.Document.Kind() == steps.Repair {
					continue
				}
				carried[e.Document.Name()] = true
				zones = zones[:min(1, len(zones))]
			}
			if len(zones) == 0 {
				zones = []string{""}
			}
			for i, zone := range zones {
				for k, answers := range variants(&steps.Sheet{}, e.Document.Procedure) {
					if k > 0 && os.Getenv("FETTLE_LONG") == "" {
						break
					}
					w := *w
					w.Answers = answers
					if (i+k)%2 == 1 {
						w.Second = "second"
					}
					t.Run(strings.Join(append([]string{design.Document.Name(), e.Document.Name(), zone}, answers...), " "), func(t *testing.T) {
						done++
						carryRepair(t, w, e.Document, zone)
					})
				}
			}
		}
	}
	if done == 0 {
		t.Fatal("there is no repair")
	}
}

func carryRepair(t *testing.T, w robot.Worker, doc *procedures.Document, zone string) {
	start(t, &w, doc, zone)
	keepsTime(t, w)
	if err := w.Carry(1000); err != nil {
		t.Fatal(err)
	}
	if open := w.State.OpenJobs(w.Now); len(open) > 0 {
		t.Fatalf("%d jobs are open", len(open))
	}
	disturbed := false
	propeller := steps.Setting{Condition: "propeller", State: "on"}
	if slices.ContainsFunc(w.State.Proof(w.Now, nil).Reasons(), func(r workflow.Reason) bool { return r.Remedy.Setting == propeller }) {
		disturbed = true
		if w.State.Airworthiness(w.Now).Released {
			t.Error("the propeller is off, and it is released still")
		}
		// Range and failsafe, which comes next, puts it on again.
		start(t, &w, named(t, "range-failsafe"), "")
		if err := w.Carry(500); err != nil {
			t.Fatal(err)
		}
	}
	for _, step := range doc.Procedure.Steps() {
		disturbed = disturbed || len(step.Disturbs) > 0
	}
	for _, g := range w.State.Gates(w.Now) {
		if g.Gate.Critical && !g.Met() {
			t.Errorf("the gate %s is %s at the end: %s", g.Gate.Name, g.Standing, g.Reason)
		}
	}
	if flight := w.State.Airworthiness(w.Now); disturbed && flight.Released {
		t.Error("the airframe was disturbed and is released still")
	}
	if disturbed {
		w.Now = w.Now.Add(48 * time.Hour) // for load joints that nothing waited for
		act(t, &w, workflow.GiveRelease{})
	}
}

func BenchmarkBuild(b *testing.B) {
	for b.Loop() {
		carryBuild(b, named(b, "causeway"), named(b, "causeway-build"), nil)
	}
}

// Every design can be balanced in either way: by the stand, or on two scales that carry
// its known mass between them.
func TestEitherWayToBalance(t *testing.T) {
	t.Parallel()
	for _, design := range []string{"causeway", "skerry", "jetty", "reed"} {
		sheet := named(t, design)
		stood := buildings(t, sheet, named(t, design+"-build"))
		before := slices.IndexFunc(stood, func(w robot.Worker) bool {
			g, err := w.State.GateReport("balance", w.Now)
			return err == nil && g.Standing != workflow.NeverTaken
		}) - 1
		w := stood[before]
		w.Other = true
		for range 400 {
			if err := w.Carry(1); err != nil {
				t.Fatalf("%s: %v", design, err)
			}
			if len(w.State.OpenJobs(w.Now)) == 0 {
				break
			}
		}
		g, err := w.State.GateReport("balance", w.Now)
		if err != nil || g.Standing != workflow.Current || len(g.Gate.Result.Stations) != 2 {
			t.Errorf("%s: %v, %v", design, g.Says().Text, err)
		}
		if n := len(w.State.OpenJobs(w.Now)); n != 0 {
			t.Errorf("%s: %d jobs are open", design, n)
		}
	}
}

// What is chosen out of turn, as a timetable may have it, is answered as was wanted too.
func TestAChoiceOutOfTurn(t *testing.T) {
	w, design := worker(t), named(t, "reed")
	act(t, w, workflow.Register{Mark: "RD-01", Sheet: design.Sheet, Digest: store.Digest(design.Bytes)})
	stage := func(name string, answers ...string) steps.Stage {
		step := steps.Step{Name: "choose-" + name, Kind: steps.Choose}
		for _, a := range answers {
			step.Methods = append(step.Methods, steps.Option{Name: a, Title: a})
		}
		return steps.Stage{Name: name, Steps: []steps.Step{step}}
	}
	p := &steps.Procedure{Name: "fork", Kind: steps.Check, Stages: []steps.Stage{stage("bed", "flat", "raised"), stage("grip", "bare", "taped")}}
	w.Documents.Procedures["sha256:fork"] = p
	act(t, w, workflow.Start{Procedure: p, Digest: "sha256:fork", Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest})
	w.Answers = []string{"raised", "taped"}
	for _, step := range []string{"fork/choose-grip", "fork/choose-bed"} {
		if err := w.Do(step, time.Minute); err != nil {
			t.Fatal(err)
		}
	}
	var chosen []string
	for _, e := range w.State.Entries {
		if c, is := e.Facts.(journal.Chosen); is {
			chosen = append(chosen, c.Answer)
		}
	}
	if !slices.Equal(chosen, []string{"taped", "raised"}) {
		t.Errorf("chosen are %v", chosen)
	}
}
