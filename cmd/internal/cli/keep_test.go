package cli_test

import (
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store"
	"fettle/store/memory"
	"fettle/store/photos"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

// TestKeep adds to the kept journals what is missing of them:
//
//	FETTLE_KEEP=1 go test ./cmd/internal/cli -run TestKeep$
//
// It makes the journals of the table below that are not there, and writes down
// how each journal stands that has nothing written down. What is there it never
// touches. To keep a journal of a newer program, add a line to the table, with a
// name that was never used, and run it. A journal may come from elsewhere too:
// put what export made of it into the folder.
func TestKeep(t *testing.T) {
	if os.Getenv("FETTLE_KEEP") == "" {
		t.Skip("it writes into testdata; FETTLE_KEEP=1 has it add what is missing")
	}
	all := lives()
	for _, name := range slices.Sorted(maps.Keys(all)) {
		live, file := all[name], filepath.Join(kept, name+".zip")
		if there(t, file) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			live(b)
			if out, err := b.keeper.Export(t.Context(), b.mark, file); err != nil || len(out.Missing) > 0 {
				t.Fatalf("%+v, %v", out, err)
			}
			t.Logf("kept %s", file)
		})
	}
	for _, name := range names(t, ".zip") {
		file := filepath.Join(kept, name+".json")
		if there(t, file) {
			continue
		}
		state := takeIn(t, filepath.Join(kept, name+".zip"))
		s, err := stand(state, momentsOf(state))
		if err != nil {
			t.Fatal(err)
		}
		data, err := json.MarshalIndent(s, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, append(data, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
		t.Logf("kept %s", file)
	}
}

func there(t *testing.T, file string) bool {
	t.Helper()
	_, err := os.Stat(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	return err == nil
}

// A bench is one airframe at a desk, with a clock that only it moves.
type bench struct {
	t      *testing.T
	desk   *desk.Desk
	keeper *keep.Keeper
	mark   string
	now    time.Time
	folder string // of its own documents
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, now: time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC), folder: t.TempDir()}
	for _, name := range []string{"finch.yaml", "finch-build.yaml"} {
		b.own(name, read(t, filepath.Join("testdata", name)))
	}
	path := filepath.Join(t.TempDir(), "fettle.db")
	b.desk = &desk.Desk{
		Store: memory.New(), Photos: photos.Beside(path),
		Library: procedures.Open(b.folder), Now: func() time.Time { return b.now }, By: "Ro", Program: "0.1",
	}
	b.keeper = &keep.Keeper{Desk: b.desk, KeyPath: filepath.Join(filepath.Dir(path), "key")}
	return b
}

func read(t *testing.T, file string) string {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// own puts a document into the library of the bench.
func (b *bench) own(name, text string) {
	b.t.Helper()
	b.must(os.WriteFile(filepath.Join(b.folder, name), []byte(text), 0o600))
}

func (b *bench) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) pass(d time.Duration) { b.now = b.now.Add(d) }

func (b *bench) state() *workflow.State {
	b.t.Helper()
	s, err := b.desk.State(b.t.Context(), b.mark)
	b.must(err)
	return s
}

// act has a request decided; with a time it happened then.
func (b *bench) act(r workflow.Request, at ...time.Time) {
	b.t.Helper()
	_, _, err := b.desk.Act(b.t.Context(), b.state(), r, slices.Concat(at, []time.Time{{}})[0])
	b.must(err)
}

// refused has a request refused.
func (b *bench) refused(r workflow.Request) {
	b.t.Helper()
	_, _, err := b.desk.Act(b.t.Context(), b.state(), r, time.Time{})
	var refusal *workflow.Refusal
	if !errors.As(err, &refusal) {
		b.t.Fatalf("%T: not refused: %v", r, err)
	}
}

func (b *bench) register(mark, design string, options ...string) {
	b.t.Helper()
	b.mark = mark
	_, err := b.desk.Register(b.t.Context(), mark, design, options, time.Time{})
	b.must(err)
}

func (b *bench) start(procedure, zone string) {
	b.t.Helper()
	_, _, err := b.desk.Start(b.t.Context(), b.state(), procedure, zone, time.Time{})
	b.must(err)
}

// carry has the robot make so many moves, or fewer if nothing is left or what
// is asked for is so.
func (b *bench) carry(moves int, until func(*workflow.State) bool) {
	b.t.Helper()
	for range moves {
		s := b.state()
		if until != nil && until(s) {
			return
		}
		m, err := robot.Next(s, b.now)
		b.must(err)
		switch {
		case m.Over:
			return
		case m.Request == nil:
			b.now = m.Until
			continue
		}
		b.now = b.now.Add(m.Takes)
		_, _, err = b.desk.Act(b.t.Context(), b.state(), m.Request, time.Time{})
		var refusal *workflow.Refusal
		if err != nil && !(m.Takes > 0 && errors.As(err, &refusal)) { // a sitting that ended meanwhile
			b.t.Fatal(err)
		}
	}
	if until != nil {
		b.t.Fatalf("after %d moves it is not so", moves)
	}
}

// build builds an airframe to its release.
func (b *bench) build(mark, design string, options ...string) {
	b.t.Helper()
	b.register(mark, design, options...)
	b.start(design+"-build", "")
	b.carry(1000, nil)
	if !b.state().Airworthiness(b.now).Released {
		b.t.Fatal("it is not released")
	}
}

// half carries one job on by half of its steps, as though it were the only one:
// the robot works on an airframe that has no other, and the same is asked of this
// one until that is refused.
func (b *bench) half(procedure, zone string) {
	b.t.Helper()
	b.start(procedure, zone)
	have := b.state()
	doc, err := b.desk.Library.Procedure(procedure)
	b.must(err)
	digest := store.Digest(doc.Bytes)
	alone := robot.Worker{Now: b.now, By: "Ro", Program: "0.1", Documents: workflow.Documents{
		Sheets: map[string]*steps.Sheet{have.SheetDigest: have.Sheet}, Procedures: map[string]*steps.Procedure{digest: doc.Procedure}}}
	alone.State, err = workflow.Replay(nil, alone.Documents)
	b.must(err)
	b.must(alone.Act(workflow.Register{Mark: b.mark, Sheet: have.Sheet, Digest: have.SheetDigest, Options: have.Airframe.Options}))
	b.must(alone.Act(workflow.Start{Procedure: doc.Procedure, Digest: digest, Sheet: have.Sheet, SheetDigest: have.SheetDigest, Zone: zone}))
	job := alone.State.Jobs[0]
	for alone.State.Open(job, alone.Now) && done(alone.State, job, alone.Now) < len(job.Procedure.Steps())/2 {
		m, err := robot.Next(alone.State, alone.Now)
		b.must(err)
		if m.Request == nil {
			alone.Now = m.Until
			b.now = alone.Now
			continue
		}
		alone.Now = alone.Now.Add(m.Takes)
		b.now = alone.Now
		var refusal *workflow.Refusal
		if err := alone.Act(m.Request); m.Takes > 0 && errors.As(err, &refusal) {
			continue // a sitting that ended meanwhile
		} else {
			b.must(err)
		}
		job = alone.State.Jobs[0]
		_, _, err = b.desk.Act(b.t.Context(), b.state(), m.Request, time.Time{})
		if errors.As(err, &refusal) {
			return
		}
		b.must(err)
	}
}

// done is how many steps of a job are done.
func done(s *workflow.State, job *workflow.Job, at time.Time) int {
	n := 0
	for _, r := range s.Steps(job, at) {
		if r.Progress == workflow.Done {
			n++
		}
	}
	return n
}

// library starts every document of the library that serves the airframe and is
// not taken, and carries each half way.
func (b *bench) library(taken ...string) {
	b.t.Helper()
	entries, faults := procedures.Open("").List()
	if len(faults) > 0 {
		b.t.Fatal(faults)
	}
	sheet := b.state().Sheet
	for _, e := range entries {
		p := e.Document.Procedure
		if p == nil || p.Kind == steps.Build || slices.Contains(taken, p.Name) || !e.Document.Serves(sheet) {
			continue
		}
		zone := ""
		if len(p.On) > 0 {
			zone = p.On[slices.IndexFunc(p.On, func(z string) bool { return slices.Contains(sheet.Zones, z) })]
		}
		b.half(p.Name, zone)
	}
}

// phases are those of every joint now.
func (b *bench) phases(s *workflow.State) map[workflow.Phase]bool {
	phases := map[workflow.Phase]bool{}
	for _, job := range s.Jobs {
		for _, step := range job.Procedure.Steps() {
			if joint, ok := job.Joint(step.Joint); ok {
				phases[s.Phase(joint, b.now)] = true
			}
		}
	}
	return phases
}

func (b *bench) quantity(text string, d quantity.Dimension) quantity.Quantity {
	b.t.Helper()
	q, err := quantity.Parse(text, d)
	b.must(err)
	return q
}

func (b *bench) climate(temperature string) workflow.ReadBench {
	b.t.Helper()
	return workflow.ReadBench{Temperature: b.quantity(temperature, quantity.Temperature), Humidity: b.quantity("50 %", quantity.Ratio)}
}

func set(condition, state string) workflow.ReadBench {
	return workflow.ReadBench{Set: []steps.Setting{{Condition: condition, State: state}}}
}

// lengths are readings of lengths, as POINT=VALUE.
func (b *bench) lengths(gate string, readings ...string) workflow.Measure {
	b.t.Helper()
	m := workflow.Measure{Gate: gate}
	for _, r := range readings {
		point, value, _ := strings.Cut(r, "=")
		m.Readings = append(m.Readings, workflow.Reading{Point: point, Value: b.quantity(value, quantity.Length)})
	}
	return m
}

func (b *bench) check(gauge, reads, of string) workflow.CheckGauge {
	b.t.Helper()
	return workflow.CheckGauge{Gauge: gauge, Reads: b.quantity(reads, quantity.Length), Of: b.quantity(of, quantity.Length)}
}

// crash reports what was seen, as ZONE, FINDING, SEVERITY.
func (b *bench) crash(seen ...[3]string) {
	b.t.Helper()
	table, digests, err := b.desk.Triage(b.state())
	b.must(err)
	report := workflow.ReportDamage{Triage: table, Tables: digests}
	for _, s := range seen {
		report.Seen = append(report.Seen, workflow.Sighting{Zone: s[0], Finding: s[1], Severity: s[2]})
	}
	b.act(report)
}

// repair opens the plan for every open damage.
func (b *bench) repair() {
	b.t.Helper()
	plan, err := b.desk.PlanRepair(b.t.Context(), b.state())
	b.must(err)
	_, _, err = b.desk.StartRepair(b.t.Context(), b.state(), plan, time.Time{})
	b.must(err)
}

// last is the position of the last entry.
func (b *bench) last() int64 { return b.state().Size() - 1 }

func (b *bench) undo(position int64, reason string) {
	b.t.Helper()
	b.act(workflow.Undo{Position: position, Reason: reason})
}

func finish(step string) workflow.Finish { return workflow.Finish{Step: step} }

// lives are the journals that are kept, by the name of their file.
func lives() map[string]func(*bench) {
	return map[string]func(*bench){
		"building": (*bench).building, "released": (*bench).released, "crashed": (*bench).crashed,
		"repairing": (*bench).repairing, "quarantined": (*bench).quarantined,
		"library-causeway": (*bench).libraryCauseway, "library-jetty": (*bench).libraryJetty, "library-skerry": (*bench).librarySkerry,
		"life": (*bench).life, "gates": (*bench).gates, "conceded": (*bench).conceded, "doubted": (*bench).doubted, "studied": (*bench).studied, "undone": (*bench).undone,
		"coats": (*bench).coats, "colder": (*bench).colder, "flown": (*bench).flown,
		"late": (*bench).late, "balanced": (*bench).balanced, "measured-again": (*bench).measuredAgain, "looked-at": (*bench).lookedAt,
		"own-words": (*bench).ownWords, "chosen": (*bench).chosen, "cared": (*bench).cared,
		"glued": (*bench).glued, "begun": (*bench).begun, "witnessed": (*bench).witnessed,
		"placed": (*bench).placed, "amended": (*bench).amended, "retired": (*bench).retired, "sold": (*bench).sold, "flown-grounded": (*bench).flownGrounded, "timed": (*bench).timed, "named": (*bench).named,
		"trimmed": (*bench).trimmed,
	}
}

// studied has a gauge that was studied between two readings, once well and once badly.
func (b *bench) studied() {
	b.register("FN-07", "finch")
	b.start("finch-build", "")
	b.carry(3, nil)
	study := func(values ...string) workflow.StudyGauge {
		r := workflow.StudyGauge{Gauge: "caliper", Gate: "slot", Note: "on scrap"}
		for i, v := range values {
			r.Readings = append(r.Readings, journal.StudyReading{Person: []string{"Ro", "Jo"}[i/4], Part: []string{"A", "B"}[i/2%2], Value: b.quantity(v, quantity.Length)})
		}
		return r
	}
	b.act(b.lengths("slot", "root=4 mm"))
	b.pass(time.Hour)
	b.act(study("4 mm", "4.02 mm", "4.3 mm", "4.3 mm", "4.01 mm", "4 mm", "4.28 mm", "4.3 mm"))
	b.pass(time.Hour)
	b.act(b.lengths("slot", "root=4 mm", "tip=4.1 mm"))
	b.pass(time.Hour)
	b.act(study("4 mm", "4.6 mm", "4.3 mm", "4.3 mm", "4.01 mm", "4.5 mm", "4.28 mm", "4.3 mm"))
	b.act(b.lengths("slot", "root=4 mm"))
}

// building is far on: one coat in its window, one joint setting, one curing.
func (b *bench) building() {
	b.register("CW-01", "causeway", "working-rudders")
	b.start("causeway-build", "")
	b.carry(1000, func(s *workflow.State) bool {
		p := b.phases(s)
		return done(s, s.Jobs[0], b.now) > 50 && p[workflow.Open] && p[workflow.Setting] && p[workflow.Curing]
	})
	b.act(workflow.Note{Text: "Called away for a moment."})
}

// glued has glue in one act and in two, one of several adhesives, a joint of two
// parts, a wait that came too late in both ways, and a rework that glues; at its end
// a glue that dries is coated and not joined.
func (b *bench) glued() {
	for _, name := range []string{"wren.yaml", "wren-glue.yaml"} {
		b.own(name, read(b.t, filepath.Join("testdata", name)))
	}
	b.register("WR-01", "wren")
	b.start("wren-glue", "")
	bench := func() {
		b.act(workflow.ReadBench{Temperature: b.quantity("20 °C", quantity.Temperature), Humidity: b.quantity("50 %", quantity.Ratio)})
	}
	bench()
	b.act(workflow.Finish{Step: "lay-root", With: "hot"})
	b.act(workflow.Undo{Position: b.state().Size() - 1})
	b.pass(10 * time.Second)
	b.act(workflow.Finish{Step: "lay-root"})
	b.pass(10 * time.Minute)
	b.act(workflow.Finish{Step: "lay-tip", With: "hot"})
	b.act(workflow.Finish{Step: "coat-one"})
	b.pass(3 * time.Minute)
	b.act(workflow.Finish{Step: "coat-one"})
	b.pass(time.Minute)
	b.act(workflow.Finish{Step: "part-roots"})
	b.pass(15 * time.Minute)
	b.act(workflow.Finish{Step: "join-roots"})
	b.pass(40 * time.Minute)
	b.act(workflow.Finish{Step: "press-again"})
	b.act(workflow.Finish{Step: "glue-tab"})
	b.pass(12 * time.Minute)
	b.act(workflow.Finish{Step: "glue-tab", Touch: workflow.TouchDry})
	b.pass(time.Hour)
	b.act(workflow.Measure{Gate: "gap", Readings: []workflow.Reading{{Value: b.quantity("281 mm", quantity.Length)}}})
	b.act(workflow.Rework{Gate: "gap", Way: 2, With: "epoxy", Mixed: b.now.Add(-5 * time.Minute)})
	b.pass(10 * time.Hour)
	bench()
	b.act(workflow.Measure{Gate: "gap", Readings: []workflow.Reading{{Value: b.quantity("271 mm", quantity.Length)}}})
	b.act(workflow.Rework{Gate: "gap", Way: 2, With: "contact"})
	b.pass(5 * time.Minute)
}

// begun has glue that is mixed and spread before the joint is made, a stamp that was taken
// back, and at its end a coat that is being spread.
func (b *bench) begun() {
	for _, name := range []string{"wren.yaml", "wren-glue.yaml"} {
		b.own(name, read(b.t, filepath.Join("testdata", name)))
	}
	b.register("WR-02", "wren")
	b.start("wren-glue", "")
	b.act(workflow.ReadBench{Temperature: b.quantity("20 °C", quantity.Temperature), Humidity: b.quantity("50 %", quantity.Ratio)})
	b.act(workflow.Begin{Step: "lay-root", With: "epoxy", Mixed: b.now})
	b.pass(time.Minute)
	b.act(workflow.Begin{Step: "lay-root", With: "epoxy", Began: b.now})
	b.pass(2 * time.Minute)
	b.act(workflow.Finish{Step: "lay-root"})
	b.act(workflow.Begin{Step: "lay-tip", With: "epoxy", Mixed: b.now})
	b.act(workflow.Undo{Position: b.state().Size() - 1})
	b.act(workflow.Finish{Step: "lay-tip"})
	b.act(workflow.Begin{Step: "coat-one", With: "contact", Began: b.now})
	b.pass(time.Minute)
}

// chosen has answers of every kind: of a choice, an option and a method, one that
// was changed, one that was taken back, and an option that is fitted later.
func (b *bench) chosen() {
	for _, name := range []string{"dunlin.yaml", "dunlin-build.yaml"} {
		b.own(name, read(b.t, filepath.Join("testdata", name)))
	}
	b.register("DN-01", "dunlin")
	b.start("dunlin-build", "")
	choose := func(answer string) {
		b.t.Helper()
		_, _, err := b.desk.Answer(b.t.Context(), b.state(), workflow.Choose{Answer: answer}, time.Time{})
		b.must(err)
	}
	choose("hard-fins")
	choose("soft-fins")
	b.act(workflow.Choose{Answer: "lamp", No: true})
	choose("both-faces")
	b.act(workflow.Finish{Step: "coat-both"})
	b.act(workflow.Undo{Position: b.state().Size() - 2})
	choose("one-face")
	b.carry(100, nil)
	b.pass(24 * time.Hour)
	choose("lamp")
	choose("lamp")
}

func (b *bench) released() {
	b.build("SK-01", "skerry", "landing-skid")
	for range 3 {
		b.pass(24 * time.Hour)
		b.act(workflow.LogFlight{Landing: workflow.Soft})
	}
	b.act(workflow.Note{Text: "Trimmed two clicks up."})
}

func (b *bench) crashed() {
	b.build("JT-01", "jetty")
	b.pass(24 * time.Hour)
	b.act(workflow.LogFlight{Landing: workflow.Hard, Check: "post-crash"})
	b.pass(5 * time.Minute)
	b.crash([3]string{"nose", "crushed", "serious"}, [3]string{"wing", "cracked", "slight"}, [3]string{"propeller", "propeller-nicked", "total"})
}

// repairing has a plan of repair open, half done.
func (b *bench) repairing() {
	b.build("CW-02", "causeway")
	b.pass(24 * time.Hour)
	b.crash([3]string{"left-boom", "boom-broken", "serious"}, [3]string{"nose", "crushed", "serious"}, [3]string{"wing", "skin-lifted", "slight"})
	b.pass(10 * time.Minute)
	b.repair()
	b.carry(1000, func(s *workflow.State) bool {
		return done(s, s.Jobs[1], b.now) >= len(s.Jobs[1].Procedure.Steps())/2
	})
}

// amended is an open repair with a second crash in it, and a third of which the
// amendment was taken back.
func (b *bench) amended() {
	b.build("RD-02", "reed")
	b.crash([3]string{"wing", "cracked", "slight"})
	b.repair()
	b.carry(8, nil)
	b.crash([3]string{"tail", "cracked", "slight"})
	b.repair()
	b.carry(3, nil)
	b.crash([3]string{"nose", "cracked", "slight"})
	b.repair()
	b.undo(b.last(), "not yet")
	b.carry(2, nil)
}

// quarantined has two batteries in quarantine, one of them off the airframe, and
// the plan that takes it off is done.
func (b *bench) quarantined() {
	b.build("JT-02", "jetty", "ailerons")
	b.crash([3]string{"battery", "battery-dented", "total"})
	b.repair()
	b.carry(1000, nil)
	b.act(workflow.ChangeEquipment{Item: "battery-pack", Change: workflow.Removed})
	b.pass(time.Hour)
	b.crash([3]string{"battery", "battery-puffed", "serious"})
}

// flownGrounded flew with its squareness disturbed, which was then measured again.
func (b *bench) flownGrounded() {
	b.finished("FN-15")
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.crash([3]string{"wing", "cracked", "slight"})
	b.act(workflow.LogFlight{Landing: workflow.Soft, Check: "post-crash"})
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"))
}

// timed flew, for so long and for as long as nobody said.
func (b *bench) timed() {
	b.finished("FN-19")
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.act(workflow.LogFlight{Landing: workflow.Soft, Lasted: b.quantity("7 min", quantity.Duration)})
	b.act(workflow.LogFlight{Landing: workflow.Hard, Check: "post-crash", Note: "Into the reeds.", Lasted: b.quantity("90 s", quantity.Duration)})
	b.act(workflow.LogFlight{Landing: workflow.Soft, Check: "post-crash"})
}

// trimmed has a throw that was read as an angle, and a trim measured after a flight.
func (b *bench) trimmed() {
	b.own("finch.yaml", strings.Replace(read(b.t, filepath.Join("testdata", "finch.yaml")), "gauges:\n", `geometry:
  datum: The leading edge
  surfaces:
    main-wing: {is: wing, zone: wing, x: 0 mm, panels: [{root: 120 mm, tip: 120 mm, span: 400 mm}]}
    fin: {is: fin, zone: tail, x: 400 mm, panels: [{root: 60 mm, tip: 60 mm, span: 80 mm}]}
  controls:
    rudder: {title: The rudder, surface: fin, chord: 30 mm, horn: 12 mm, thread: 0.4 mm, gates: [throw], with: rudder}
gauges:
  protractor: {title: Protractor, resolution: 1°, uncertainty: 2°}
`, 1))
	b.finished("FN-25")
	b.act(workflow.Measure{Gate: "throw", Gauge: "protractor", Readings: []workflow.Reading{{Value: b.quantity("25°", quantity.Angle)}}})
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.act(workflow.LogFlight{Landing: workflow.Soft, Trims: []journal.Trim{{Control: "rudder", Way: "left", Value: b.quantity("1.5 mm", quantity.Length)}}})
}

// sold is retired with a look-over open, which damage left that was taken back.
func (b *bench) sold() {
	b.finished("FN-14")
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.crash([3]string{"wing", "cracked", "slight"})
	b.undo(b.last(), "it was a shadow")
	b.act(workflow.Note{Text: "Sold as it is."})
	b.pass(time.Hour)
	b.act(workflow.Retire{Because: "sold", Note: "to a pupil"})
}

// placed has damage of which the place and the cause are known.
func (b *bench) placed() {
	b.finished("FN-13")
	table, digests, err := b.desk.Triage(b.state())
	b.must(err)
	b.act(workflow.ReportDamage{Triage: table, Tables: digests, Cause: "a fence post", Seen: []workflow.Sighting{
		{Zone: "wing", Finding: "cracked", Severity: "slight", Place: "left root"}, {Zone: "wing", Finding: "cracked", Severity: "serious", Place: "right tip"}}})
}

// named has equipment with names, of which one that the sheet does not list: a pack
// in quarantine, whose finding was taken back, and another one in its place.
func (b *bench) named() {
	b.build("JT-04", "jetty", "ailerons")
	b.act(workflow.ChangeEquipment{Item: "battery-pack", Change: workflow.Fitted, Name: "A", Mass: b.quantity("180 g", quantity.Mass)})
	b.act(workflow.ChangeEquipment{Item: "logger", Change: workflow.Fitted, Name: "old", Zone: "nose", Mass: b.quantity("9 g", quantity.Mass)})
	b.act(workflow.LogFlight{Landing: workflow.Soft})
	b.crash([3]string{"battery", "battery-dented", "total"}, [3]string{"battery", "battery-puffed", "serious"})
	b.pass(time.Hour)
	b.act(workflow.Undo{Position: b.state().Size() - 1, Reason: "it was the light"})
	b.act(workflow.ChangeEquipment{Item: "battery-pack", Change: workflow.Fitted, Name: "B", Mass: b.quantity("176 g", quantity.Mass)})
	b.act(workflow.ChangeEquipment{Item: "logger", Change: workflow.Removed})
}

// retired has a wing thrown away and the coat of the new one on; the wing of another
// step was thrown away and that was taken back.
func (b *bench) retired() {
	b.own("new-wing.yaml", `procedure: new-wing
kind: repair
design: finch
title: A new wing
revision: 1
stages:
  - stage: wing
    steps:
      - {step: air, do: Let air in., sets: {ventilation: on}}
      - step: scrap
        hold: {confirm: [The old wing is marked as scrap]}
        disturbs: [wing]
        retires: [wing]
      - {step: coat-new, do: Spread it thin., needs: {ventilation: on}, coat: {joint: new-roots, with: contact}}
      - {step: join-new, do: Press for a minute., join: new-roots, disturbs: [wing]}
      - {step: again, measure: stale}
`)
	b.finished("FN-14")
	b.start("new-wing", "")
	b.act(workflow.Finish{Step: "air"})
	b.act(workflow.Clear{Step: "scrap", Answers: []bool{true}})
	b.act(workflow.Undo{Position: b.state().Size() - 1})
	b.pass(time.Minute)
	b.act(workflow.Clear{Step: "scrap", Answers: []bool{true}})
	b.act(workflow.ReadBench{Temperature: b.quantity("20 °C", quantity.Temperature), Humidity: b.quantity("50 %", quantity.Ratio)})
	b.act(workflow.Finish{Step: "coat-new"})
}

// ownWords has damage in words of one's own: at a battery whose time in quarantine
// is over and at one whose is not, and a mark that disturbs nothing.
func (b *bench) ownWords() {
	b.register("JT-03", "jetty", "ailerons")
	b.crash([3]string{"battery", "an odd noise", "slight"}, [3]string{"wing", "crushed", "cosmetic"}, [3]string{"nose", "an odd line", "serious"})
	b.pass(48 * time.Hour)
	b.act(workflow.ClearQuarantine{Damage: "D1", Answers: []bool{true, true, true}})
	b.pass(time.Hour)
	b.crash([3]string{"battery", "ticks when it is turned", "total"})
	b.repair()
}

func (b *bench) libraryCauseway() {
	b.register("CW-10", "causeway", "working-rudders")
	b.half("causeway-build", "")
	b.library("fin-off", "storage")
}

// libraryJetty and librarySkerry have the rest open: their builds, and what the
// Causeway has not.
func (b *bench) libraryJetty() {
	b.register("JT-10", "jetty", "bolted-wing", "ailerons")
	b.half("jetty-build", "")
	b.library(b.served("causeway", "fin-off")...)
}

func (b *bench) librarySkerry() {
	b.register("SK-10", "skerry", "break-away-fins")
	b.half("skerry-build", "")
	b.library(slices.DeleteFunc(slices.Concat(b.served("causeway"), b.served("jetty")), func(name string) bool {
		return name == "fin-off" || name == "storage"
	})...)
}

// served are the documents that serve a design, but for some.
func (b *bench) served(design string, but ...string) []string {
	sheet, err := b.desk.Library.Sheet(design)
	b.must(err)
	entries, _ := procedures.Open("").List()
	var all []string
	for _, e := range entries {
		if p := e.Document.Procedure; p != nil && e.Document.Serves(sheet.Sheet) && !slices.Contains(but, p.Name) {
			all = append(all, p.Name)
		}
	}
	return all
}

// life has every kind of entry: it is built, its job moved meanwhile, flown,
// photographed, broken, repaired, flown hard, looked over, sealed, changed,
// reworked, conceded, and measured with a gauge that was not good.
func (b *bench) life() {
	b.register("SK-02", "skerry")
	b.start("skerry-build", "")
	b.carry(60, nil)
	b.own("skerry-build.yaml", strings.Replace(read(b.t, filepath.Join("..", "..", "..", "procedures", "library", "skerry-build.yaml")), "revision: 1", "revision: 9", 1))
	moved, err := b.desk.Newer(b.t.Context(), b.state(), "skerry-build", "")
	b.must(err)
	b.act(moved)
	b.carry(1000, nil)
	b.pass(24 * time.Hour)
	b.act(workflow.LogFlight{Landing: workflow.Soft, Note: "Over the outer marsh."}, b.now.Add(-30*time.Minute))
	_, _, err = b.desk.Photograph(b.t.Context(), b.state(), workflow.Note{Text: "The left tip after landing."}, []string{filepath.Join("testdata", "break.png")}, time.Time{})
	b.must(err)
	b.crash([3]string{"battery", "battery-puffed", "serious"}, [3]string{"nose", "crushed", "serious"})
	b.repair()
	b.carry(1000, nil)
	d, err := b.state().Damage("D1")
	b.must(err)
	b.refused(workflow.ClearQuarantine{Damage: "D1", Answers: []bool{true}})
	b.pass(48 * time.Hour)
	b.act(workflow.ClearQuarantine{Damage: "D1", Answers: slices.Repeat([]bool{true}, len(d.Quarantine.Lines))})
	b.act(workflow.GiveRelease{Certificate: "club examiner 12"})
	b.pass(time.Hour)
	b.act(workflow.LogFlight{Landing: workflow.Hard, Check: "post-crash"})
	b.start("post-crash", "")
	b.carry(1000, nil)
	_, _, err = b.keeper.Seal(b.t.Context(), b.state())
	b.must(err)
	b.pass(time.Hour)
	b.act(workflow.ChangeEquipment{Item: "camera", Change: workflow.Moved, Arm: b.quantity("-120 mm", quantity.Length), Mass: b.quantity("95 g", quantity.Mass)})
	b.act(b.lengths("elevon-play", "left=1.9 mm", "right=0.4 mm"))
	b.pass(10 * time.Minute)
	b.act(workflow.Rework{Gate: "elevon-play"})
	b.act(b.lengths("elevon-play", "left=0.4 mm", "right=0.4 mm"))
	b.act(b.lengths("hinge-gap", "left-elevon=0.3 mm", "right-elevon=1.2 mm"))
	b.act(workflow.Concede{Gate: "hinge-gap", Reason: "Taped over until the next hinge."})
	b.act(b.lengths("pitch-throw", "left-up=6 mm"))
	b.undo(b.last(), "the transmitter was on another model")
	b.pass(time.Hour)
	b.act(b.check("taper", "6.5 mm", "5 mm"))
	b.act(b.check("rule", "100 mm", "100 mm"), b.now.Add(-2*time.Hour))
	b.act(b.climate("17 °C"))
}

// finch builds a Finch up to the cut of its slot.
func (b *bench) finch(mark string) {
	b.t.Helper()
	b.register(mark, "finch", "rudder")
	b.start("finch-build", "")
	b.pass(5 * time.Minute)
	b.act(finish("check-kit"))
	b.act(workflow.Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.pass(10 * time.Minute)
	b.act(finish("cut-slot"))
}

// roots joins its wing.
func (b *bench) roots() {
	b.t.Helper()
	b.act(b.climate("20 °C"))
	b.act(set("ventilation", "on"))
	b.pass(2 * time.Minute)
	b.act(finish("coat-left"))
	b.pass(2 * time.Minute)
	b.act(finish("coat-right"))
	b.pass(time.Minute)
	b.refused(workflow.Finish{Step: "join-roots", Touch: workflow.TouchWet})
	b.pass(15 * time.Minute)
	b.act(workflow.Finish{Step: "join-roots", Touch: workflow.TouchDry})
}

// gates has a gate reworked and conceded, one half measured and one undecided.
func (b *bench) gates() {
	b.finch("FN-01")
	b.act(b.lengths("slot", "root=4 mm", "tip=5.5 mm"))
	b.refused(b.lengths("slot", "tip=4 mm"))
	b.pass(5 * time.Minute)
	b.act(workflow.Rework{Gate: "slot"})
	b.act(b.lengths("slot", "root=4 mm", "tip=4.9 mm"))
	b.act(workflow.Concede{Gate: "slot", Reason: "The spar is glued in with a fillet."})
	b.roots()
	b.act(finish("fit-radio"))
	b.pass(time.Hour)
	b.act(b.lengths("throw", "=10 mm"))
	b.act(b.lengths("square", "left=500 mm"))
	b.pass(time.Minute)
	b.act(b.lengths("slot", "root=3.4 mm", "tip=3.55 mm"))
}

// conceded has one gate conceded, one out of tolerance, and a coat that was
// touched and found wet when its window was open.
func (b *bench) conceded() {
	b.finch("FN-06")
	b.act(b.lengths("slot", "root=4 mm", "tip=4.9 mm"))
	b.act(workflow.Concede{Gate: "slot", Reason: "The spar is glued in with a fillet."})
	b.act(finish("fit-radio"))
	b.act(b.lengths("throw", "=8 mm"))
	b.act(b.climate("20 °C"))
	b.act(set("ventilation", "on"))
	b.pass(2 * time.Minute)
	b.act(finish("coat-left"))
	b.pass(2 * time.Minute)
	b.act(finish("coat-right"))
	b.pass(14 * time.Minute)
	b.refused(workflow.Finish{Step: "join-roots", Touch: workflow.TouchWet})
}

// doubted was released on a rule that was then found to read too much, and was
// measured again with a good one.
func (b *bench) doubted() {
	b.finch("FN-02")
	b.act(b.check("caliper", "10.02 mm", "10 mm"))
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.roots()
	b.act(finish("fit-radio"))
	b.pass(72 * time.Hour)
	b.act(b.check("rule", "100 mm", "100 mm"))
	b.act(b.lengths("throw", "=12 mm"))
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"))
	b.act(workflow.GiveRelease{})
	b.pass(240 * time.Hour)
	b.act(b.check("rule", "101.5 mm", "100 mm"))
	b.refused(b.lengths("square", "left=500 mm", "right=502 mm"))
	b.act(b.check("rule", "100 mm", "100 mm"), b.now.Add(-24*time.Hour))
	b.pass(time.Hour)
	b.act(b.check("rule", "100 mm", "100 mm"))
	b.act(b.lengths("square", "left=500 mm", "right=501 mm"))
	b.act(b.check("caliper", "10.5 mm", "10 mm"))
}

// undone has entries of several kinds taken back: a condition, a coat, a reading
// with the step it completed, a release, and a damage.
func (b *bench) undone() {
	b.finch("FN-03")
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(set("ventilation", "on"))
	b.undo(b.last(), "the window was shut")
	b.roots()
	b.undo(b.last(), "not pressed")
	b.pass(2 * time.Minute)
	b.act(finish("join-roots"))
	b.act(finish("fit-radio"))
	b.act(b.lengths("throw", "=12 mm"))
	b.pass(72 * time.Hour)
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"))
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.crash([3]string{"wing", "cracked", "slight"})
	b.undo(b.last(), "it was a shadow")
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"))
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	for _, e := range slices.Backward(b.state().Entries) {
		if f, ok := e.Facts.(journal.ReadingTaken); ok && f.Gate == "square" {
			b.undo(e.Position, "read from the wrong side")
			break
		}
	}
}

// coats has one joint that lapsed and was coated again, on one face only, and a
// condition of the other that was taken back.
func (b *bench) coats() {
	b.finch("FN-04")
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(b.climate("12 °C"))
	b.act(set("ventilation", "on"))
	b.pass(2 * time.Minute)
	b.act(finish("coat-left"))
	b.pass(5 * time.Minute)
	b.act(workflow.Finish{Step: "coat-right", Began: b.now.Add(-3 * time.Minute)})
	b.pass(2 * time.Minute)
	b.refused(workflow.Finish{Step: "join-roots", Touch: workflow.TouchWet})
	b.pass(5 * time.Hour)
	b.refused(finish("join-roots"))
	b.pass(4 * time.Minute)
	b.act(finish("coat-left"))
	b.act(set("ventilation", "on"))
	b.undo(b.last(), "the window was shut")
}

// colder has readings taken at handling strength, and a colder bench typed in
// afterwards, by which it was not there yet.
func (b *bench) colder() {
	b.finch("FN-05")
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.roots()
	joined := b.now
	b.act(finish("fit-radio"))
	b.pass(31 * time.Minute)
	b.act(b.lengths("throw", "=12 mm"))
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"))
	b.pass(25 * time.Hour)
	b.act(workflow.GiveRelease{})
	b.pass(time.Minute)
	b.act(b.climate("11 °C"), joined.Add(time.Minute))
}

// flown has gates of which the life ran out with flights, one of them typed in
// later.
func (b *bench) flown() {
	b.build("SK-03", "skerry", "break-away-fins")
	for range 19 {
		b.pass(20 * time.Minute)
		b.act(workflow.LogFlight{Landing: workflow.Soft})
	}
	b.pass(5 * time.Minute)
	b.act(workflow.LogFlight{Landing: workflow.Soft}, b.now.Add(-time.Hour))
}

// finished builds a Finch to its release.
func (b *bench) finished(mark string) {
	b.t.Helper()
	b.finch(mark)
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.roots()
	b.act(finish("fit-radio"))
	b.pass(72 * time.Hour)
	b.act(b.lengths("throw", "=12 mm"))
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"))
}

// late has readings typed in as taken before what disturbed them, and a check of
// a gauge typed in as made before readings that a good check followed.
func (b *bench) late() {
	b.finished("FN-07")
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.act(b.check("rule", "100 mm", "100 mm"))
	b.act(b.check("rule", "101.5 mm", "100 mm"), b.now.Add(-2*time.Hour))
	b.crash([3]string{"wing", "cracked", "slight"})
	b.pass(10 * time.Minute)
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"), b.now.Add(-20*time.Minute))
}

// measuredAgain was disturbed after its release, and measured again, but not
// released again.
func (b *bench) measuredAgain() {
	b.finished("FN-08")
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.crash([3]string{"wing", "cracked", "slight"})
	b.undo(b.last(), "it was a shadow")
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"))
}

// lookedAt has nothing against it but a check that was begun.
func (b *bench) lookedAt() {
	b.own("look.yaml", `procedure: look
kind: check
title: Look it over
revision: 1
stages:
  - stage: look
    steps:
      - step: look-at-wing
        do: Look along the leading edge.
      - step: look-at-tail
        do: Look along the tail.
`)
	b.finished("FN-09")
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.start("look", "")
	b.act(finish("look-at-wing"))
}

// cared has the holds of an adhesive and of a tool cleared, one of them taken back
// and one with lines that are others now.
func (b *bench) cared() {
	sheet := strings.Replace(read(b.t, filepath.Join("testdata", "finch.yaml")), "    source: common practice, no source\n",
		"    source: common practice, no source\n    needs: {ventilation: on}\n    hold: [No flame is near, Gloves are on]\n", 1)
	b.own("finch.yaml", sheet+"tools:\n  knife: {title: A knife, hold: The mat is clear, count: 2}\n")
	b.own("finch-build.yaml", strings.Replace(read(b.t, filepath.Join("testdata", "finch-build.yaml")), "do: Run the knife along the rule.\n", "do: Run the knife along the rule.\n        tools: [knife]\n", 1))
	b.register("FN-11", "finch", "rudder")
	b.start("finch-build", "")
	b.act(finish("check-kit"))
	b.act(workflow.Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.refused(finish("cut-slot"))
	b.act(workflow.ClearUse{Of: "knife", Answers: []bool{true}})
	b.act(finish("cut-slot"))
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(b.climate("20 °C"))
	b.act(set("ventilation", "on"))
	b.refused(finish("coat-left"))
	b.act(workflow.ClearUse{Of: "contact", Answers: []bool{true, true}})
	b.act(finish("coat-left"))
	b.pass(time.Minute)
	b.undo(b.last()-1, "the candle was burning")
	b.refused(finish("coat-right"))
}

// witnessed has steps of several kinds with a second person and alone, one of them
// taken back, and one that nobody has seen yet.
func (b *bench) witnessed() {
	b.own("finch.yaml", read(b.t, filepath.Join("testdata", "finch.yaml")))
	text := read(b.t, filepath.Join("testdata", "finch-build.yaml"))
	for _, edit := range [][2]string{
		{"title: Before the blade\n", "title: Before the blade\n        alone: no\n"},
		{"title: Cut the slot\n", "title: Cut the slot\n        alone: A photo of the slot\n"},
		{"do: Measure the slot.\n", "do: Measure the slot.\n        alone: [A photo, Measured again the next day]\n"},
		{"title: Coat the left root\n", "title: Coat the left root\n        alone: A mirror\n"},
		{"title: Join the roots\n", "title: Join the roots\n        alone: A clamp\n"},
	} {
		text = strings.Replace(text, edit[0], edit[1], 1)
	}
	b.own("finch-build.yaml", text)
	b.register("FN-12", "finch", "rudder")
	b.start("finch-build", "")
	b.act(finish("check-kit"))
	second, alone := workflow.Witness{Second: "second"}, workflow.Witness{Alone: 1}
	b.act(workflow.Clear{Step: "blade-care", Answers: []bool{true, true}, Witness: second})
	b.refused(finish("cut-slot"))
	b.act(workflow.Finish{Step: "cut-slot", Witness: alone})
	b.act(b.lengths("slot", "root=4 mm", "tip=3.9 mm"))
	b.act(workflow.Finish{Step: "measure-slot", Witness: workflow.Witness{Alone: 2}})
	b.act(b.climate("20 °C"))
	b.act(set("ventilation", "on"))
	b.act(workflow.Finish{Step: "coat-left", Witness: second})
	b.undo(b.last(), "it was the right root")
	b.act(workflow.Finish{Step: "coat-left", Witness: second})
	b.act(finish("coat-right"))
	b.pass(12 * time.Minute)
	b.refused(finish("join-roots"))
}

// balanced is a Finch with a balance and with squareness that counts for two
// flights: one was flown after its reading was taken and before that was typed in,
// then another; ballast was fitted away from the wing.
func (b *bench) balanced() {
	sheet := read(b.t, filepath.Join("testdata", "finch.yaml"))
	sheet = strings.Replace(sheet, "    of: [wing, tail]\n    critical: yes\n", "    of: [wing, tail]\n    critical: yes\n    life: {flights: 2}\n", 1)
	b.own("finch.yaml", sheet+`  balance:
    title: Where it balances
    between: [50 mm, 60 mm]
    gauge: rule
    of: [wing]
    mass: yes
    critical: yes
equipment:
  ballast: {title: Lead under the receiver, disturbs: [radio]}
`)
	b.own("finch-build.yaml", strings.Replace(read(b.t, filepath.Join("testdata", "finch-build.yaml")), "measure: [square]", "measure: [square, balance]", 1))
	b.finished("FN-10")
	b.act(b.lengths("balance", "=55 mm"))
	b.act(workflow.GiveRelease{})
	b.pass(time.Hour)
	b.act(workflow.LogFlight{Landing: workflow.Soft})
	b.pass(10 * time.Minute)
	b.act(workflow.ChangeEquipment{Item: "ballast", Change: workflow.Fitted, Mass: b.quantity("5 g", quantity.Mass)})
	b.pass(10 * time.Minute)
	b.act(b.lengths("square", "left=500 mm", "right=502 mm"), b.now.Add(-25*time.Minute))
	b.act(workflow.LogFlight{Landing: workflow.Soft})
}
