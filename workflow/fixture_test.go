package workflow

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// The fixture is a small design of the tests' own: two wing halves on a pod,
// with every kind of step in its build.

var evening = time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)

func q(text string) quantity.Quantity {
	v, err := quantity.Parse(text, "")
	if err != nil {
		panic(err)
	}
	return v
}

func sheet() *steps.Sheet {
	return &steps.Sheet{
		Name: "plover", Title: "Plover", Revision: 1,
		Zones:   []string{"wing", "pod", "tail"},
		Options: []steps.Option{{Name: "rudder", Title: "A moving rudder"}},
		Conditions: []steps.Condition{
			{Name: "propeller", States: []string{"off", "on"}},
			{Name: "ventilation", States: []string{"on", "off"}, Sitting: true},
		},
		Adhesives: []steps.Adhesive{
			{
				Name: "contact", Title: "Contact adhesive", From: q("10 min"), To: q("40 min"), At: q("20 °C"),
				Handling: q("30 min"), Cure: q("24 h"), Coldest: q("5 °C"), Warmest: q("35 °C"),
				Times: bond.Times{From: 10 * time.Minute, To: 40 * time.Minute, Handling: 30 * time.Minute, Cure: 24 * time.Hour, At: 20},
			},
			{
				Name: "epoxy", Title: "Epoxy of two parts", From: q("0 min"), To: q("25 min"), At: q("20 °C"),
				Handling: q("8 h"), Cure: q("24 h"), Coldest: q("10 °C"), Warmest: q("30 °C"),
				Times: bond.Times{To: 25 * time.Minute, Handling: 8 * time.Hour, Cure: 24 * time.Hour, At: 20, Mixed: true},
			},
		},
		Gauges: []steps.Gauge{
			{Name: "rule", Title: "Steel rule", Resolution: q("0.5 mm")},
			{Name: "caliper", Title: "Caliper", Resolution: q("0.01 mm"), Uncertainty: q("0.03 mm"), Repeatability: q("0.02 mm")},
		},
		Gates: []steps.Gate{
			{Name: "slot", Title: "Slot depth", Points: []string{"root", "tip"}, Repeat: 1, Gauge: "caliper",
				Limits: measuring.Limits{Low: q("3.5 mm"), High: q("4.5 mm")}, Of: []string{"wing"}, Validity: steps.Validity{Flights: 2, Days: 30}},
			{Name: "square", Title: "Wing square to the pod", Points: []string{"left", "right"}, Repeat: 1, Gauge: "rule",
				Limits: measuring.Limits{Alike: q("3 mm")}, Of: []string{"wing", "pod"}, Critical: true},
			{Name: "throw", Title: "Rudder throw", Repeat: 2, Gauge: "rule", Where: steps.Where{With: [][]string{{"rudder"}}},
				Limits: measuring.Limits{Low: q("8 mm"), High: q("14 mm")}, Of: []string{"tail"}, Critical: true, Mass: true},
		},
		Equipment: []steps.Equipment{{Name: "camera", Title: "The camera", Disturbs: []string{"pod"}, Optional: true}},
	}
}

func build() *steps.Procedure {
	do := func(name string, zones ...string) steps.Step {
		return steps.Step{Name: name, Kind: steps.Do, Do: "do " + name, Hands: q("5 min"), Disturbs: zones}
	}
	cut := do("cut-pod", "pod")
	cut.Tools = []string{"knife"} // which only a careful sheet has
	return making(&steps.Procedure{
		Name: "plover-build", Title: "Build a Plover", Kind: steps.Build, Design: "plover", Revision: 1,
		Stages: []steps.Stage{
			{Name: "wing", Steps: []steps.Step{
				{Name: "coat-left", Kind: steps.Coat, Joint: "roots", Adhesives: []string{"contact"}, Hands: q("3 min"), Needs: []steps.Setting{{Condition: "ventilation", State: "on"}}},
				{Name: "coat-right", Kind: steps.Coat, Joint: "roots", Adhesives: []string{"contact"}, Hands: q("3 min")},
				{Name: "join-roots", Kind: steps.Join, Joint: "roots", Load: true, Hands: q("2 min"), Disturbs: []string{"wing"}},
				{Name: "set", Kind: steps.Wait, Joint: "roots", Until: steps.UntilHandling},
				{Name: "measure-slot", Kind: steps.Measure, Gates: []string{"slot"}},
			}},
			{Name: "pod", Steps: []steps.Step{
				{Name: "propeller-off", Kind: steps.Do, Do: "take it off", Sets: []steps.Setting{{Condition: "propeller", State: "off"}}},
				{Name: "blade-care", Kind: steps.Hold, Confirm: []string{"The blade is sharp", "The spare hand is behind it"}},
				cut,
				{Name: "rest", Kind: steps.Wait, For: q("20 min")},
				do("sand-pod", "pod"),
			}},
			{Name: "tail", Steps: []steps.Step{
				{Name: "hinge-rudder", Kind: steps.Do, Do: "hinge", Where: steps.Where{With: [][]string{{"rudder"}}}, Disturbs: []string{"tail"}},
				{Name: "measure-throw", Kind: steps.Measure, Gates: []string{"throw"}, Where: steps.Where{With: [][]string{{"rudder"}}}, Needs: []steps.Setting{{Condition: "propeller", State: "off"}}},
			}},
			{Name: "assembly", After: []string{"wing", "pod"}, Steps: []steps.Step{
				{Name: "coat-saddle", Kind: steps.Coat, Joint: "saddle", Adhesives: []string{"epoxy"}, Hands: q("4 min")},
				{Name: "join-saddle", Kind: steps.Join, Joint: "saddle", Load: true, Disturbs: []string{"wing", "pod"}},
				{Name: "saddle-cured", Kind: steps.Wait, Joint: "saddle", Until: steps.UntilCure},
				{Name: "measure-square", Kind: steps.Measure, Gates: []string{"square", "slot"}},
			}},
			{Name: "release", After: []string{"assembly", "tail"}, Steps: []steps.Step{
				{Name: "release", Kind: steps.Release, Needs: []steps.Setting{{Condition: "propeller", State: "off"}}},
			}},
		},
	})
}

// making says what the stages make.
func making(p *steps.Procedure) *steps.Procedure {
	makes := map[string][]steps.Made{"wing": {{Zone: "wing"}}, "pod": {{Zone: "pod", On: []string{"wing"}}}, "tail": {{Zone: "tail", On: []string{"pod"}}}}
	for _, stage := range p.Stages {
		for i := range stage.Steps {
			stage.Steps[i].Makes = makes[stage.Name]
		}
	}
	return p
}

// attended is the build with steps of every kind that wants a second person.
func attended() *steps.Procedure {
	p := build()
	ways := map[string][]string{
		"coat-right": {"A mirror"}, "join-roots": {"A mirror", "A clamp"}, "measure-slot": {"A photo"},
		"blade-care": {steps.No}, "cut-pod": {steps.No}, "measure-square": {"Look again the next day", "A photo"},
	}
	for _, stage := range p.Stages {
		for i := range stage.Steps {
			stage.Steps[i].Alone = ways[stage.Steps[i].Name]
		}
	}
	return p
}

func repairWork() *steps.Procedure {
	return &steps.Procedure{
		Name: "skin-lifted", Title: "Lay lifted skin down", Kind: steps.Repair, Revision: 1, On: []string{"wing", "tail"},
		Stages: []steps.Stage{{Name: "skin", Steps: []steps.Step{
			{Name: "lay-skin", Kind: steps.Do, Do: "iron it down", Disturbs: []string{steps.Here}},
			{Name: "coat-skin", Kind: steps.Coat, Joint: "skin", Adhesives: []string{"contact"}, Hands: q("3 min")},
			{Name: "join-skin", Kind: steps.Join, Joint: "skin", Load: true, Disturbs: []string{steps.Here}},
			{Name: "measure-again", Kind: steps.Measure, Gates: []string{steps.Stale}},
		}}},
	}
}

const (
	sheetSum   = "sha256:sheet"
	buildSum   = "sha256:build"
	repairSum  = "sha256:repair"
	newWingSum = "sha256:new-wing"
	strictSum  = "sha256:strict"
	careSum    = "sha256:care"

	attendedSum = "sha256:attended"
)

// strict is a newer sheet that asks more: finer gauges, more readings, and a
// gate of one more zone.
func strict() *steps.Sheet {
	s := sheet()
	s.Revision = 2
	s.Gauges[0].Resolution, s.Gauges[1].Uncertainty = q("0.2 mm"), q("0.02 mm")
	s.Gates[0].Repeat = 2
	s.Gates[1].Of = append(s.Gates[1].Of, "tail")
	return s
}

// careful is a sheet of which the adhesives and a tool have holds.
func careful() *steps.Sheet {
	s := sheet()
	s.Revision = 3
	s.Adhesives[0].Care = steps.Care{Caution: "It burns.\nThe vapour sinks.", Needs: []steps.Setting{{Condition: "ventilation", State: "on"}}, Hold: []string{"No flame", "Gloves are on"}}
	s.Adhesives[1].Care = steps.Care{Hold: []string{"The cup is shallow"}}
	s.Tools = []steps.Tool{{Name: "knife", Title: "A knife", Care: steps.Care{Hold: []string{"The mat is clear"}}}}
	return s
}

func documents() Documents {
	return Documents{
		Sheets:     map[string]*steps.Sheet{sheetSum: sheet(), strictSum: strict(), careSum: careful()},
		Procedures: map[string]*steps.Procedure{buildSum: build(), repairSum: repairWork(), newWingSum: newWing(), attendedSum: attended()},
	}
}

// A bench drives one airframe through requests, keeping the clock.
type bench struct {
	t     testing.TB
	now   time.Time
	state *State
	by    string
	where string     // the name of the bench
	docs  *Documents // nil: the fixture's
}

// replay folds entries with the documents that the bench knows.
func (b *bench) replay(entries []journal.Entry) *State {
	b.t.Helper()
	if b.docs == nil {
		return replay(b.t, entries)
	}
	s, err := Replay(entries, *b.docs)
	if err != nil {
		b.t.Fatal(err)
	}
	return s
}

func newBench(t testing.TB, options ...string) *bench {
	t.Helper()
	b := &bench{t: t, now: evening, by: "builder"}
	b.state = replay(t, nil)
	b.must(Register{Mark: "PL-01", Sheet: sheet(), Digest: sheetSum, Options: options})
	return b
}

// building is a bench with the build open, the bench read and the window open.
func building(t testing.TB, options ...string) *bench {
	t.Helper()
	b := newBench(t, options...)
	b.must(startBuild())
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	return b
}

func startBuild() Start {
	return Start{Procedure: build(), Digest: buildSum, Sheet: sheet(), SheetDigest: sheetSum}
}

func replay(t interface{ Fatal(...any) }, entries []journal.Entry) *State {
	s, err := Replay(entries, papers())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (b *bench) try(r Request) error { return b.tryAt(r, time.Time{}) }

func (b *bench) tryAt(r Request, at time.Time) error {
	b.t.Helper()
	entries, err := b.state.Decide(r, Circumstances{Now: b.now, At: at, By: b.by, Bench: b.where, Program: "test"})
	if err != nil {
		return err
	}
	docs := papers()
	if b.docs != nil {
		docs = *b.docs
	}
	longer, err := b.state.Longer(entries, docs)
	if err != nil {
		b.t.Fatal(err)
	}
	b.state = b.replay(append(b.state.Entries[:len(b.state.Entries):len(b.state.Entries)], entries...))
	identical(b.t, longer, b.state)
	return nil
}

func (b *bench) must(rs ...Request) {
	b.t.Helper()
	for _, r := range rs {
		if err := b.try(r); err != nil {
			b.t.Fatalf("%+v: %v", r, err)
		}
	}
}

func (b *bench) done(names ...string) {
	b.t.Helper()
	for _, n := range names {
		b.must(Finish{Step: n})
	}
}

// written adds facts as an older program would have, asking for nothing.
func (b *bench) written(before time.Duration, facts ...journal.Facts) {
	b.t.Helper()
	at := b.now.Add(-before)
	b.state = b.replay(append(b.state.Entries[:len(b.state.Entries):len(b.state.Entries)], b.state.entries(facts, Circumstances{Now: b.now, At: at, By: "builder"})...))
}

func (b *bench) after(d time.Duration) { b.now = b.now.Add(d) }

// refused asserts a refusal whose reasons are all of the classes, in any
// order, and returns its text with the remedies in it.
func (b *bench) refused(r Request, want ...Because) string {
	b.t.Helper()
	err := b.try(r)
	var refusal *Refusal
	if !errors.As(err, &refusal) {
		b.t.Fatalf("%+v: got %v, want a refusal by %v", r, err, want)
	}
	var have []string
	for _, reason := range refusal.Reasons {
		have = append(have, string(reason.Because))
	}
	var wanted []string
	for _, w := range want {
		wanted = append(wanted, string(w))
	}
	if strings.Join(have, " ") != strings.Join(wanted, " ") {
		b.t.Fatalf("%+v is refused by %v, want %v: %v", r, have, wanted, err)
	}
	text := err.Error()
	for _, reason := range refusal.Reasons {
		r := reason.Remedy
		text += fmt.Sprintf(" [%s %s%s%s%s%v%s]", r.Kind, r.Name, r.Step, r.Gate, r.Gauge, r.Points, r.Setting)
	}
	return text
}

func (b *bench) gate(name string) GateReport {
	b.t.Helper()
	r, err := b.state.GateReport(name, b.now)
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

func (b *bench) step(name string) StepReport {
	b.t.Helper()
	for _, job := range b.state.Jobs {
		for _, r := range b.state.Steps(job, b.now) {
			if r.Step.Name == name {
				return r
			}
		}
	}
	b.t.Fatal("no step " + name)
	return StepReport{}
}

func readings(gate string, values ...string) Measure {
	m := Measure{Gate: gate}
	for _, v := range values {
		point, value, ok := strings.Cut(v, "=")
		if !ok {
			point, value = "", v
		}
		m.Readings = append(m.Readings, Reading{point, q(value)})
	}
	return m
}

func mustContain(t *testing.T, text string, parts ...string) {
	t.Helper()
	for _, p := range parts {
		if !strings.Contains(text, p) {
			t.Errorf("%q does not say %q", text, p)
		}
	}
}

func describe(s *State, now time.Time) string {
	var b strings.Builder
	for _, job := range s.Jobs {
		for _, r := range s.Steps(job, now) {
			fmt.Fprintln(&b, job.ID, r.Step.Name, r.Progress, r.Reasons, r.Reopened, r.Closes)
		}
	}
	for _, g := range s.Gates(now) {
		fmt.Fprintln(&b, g.Gate.Name, g.Says().Text, g.Rests)
	}
	fmt.Fprintln(&b, s.Timers(now), s.Airworthiness(now), s.Next(now).Why, s.said)
	return b.String()
}

// recorded is what is recorded although the request was refused.
func recorded(err error) []journal.Entry {
	var part *PartError
	errors.As(err, &part)
	if part == nil {
		return nil
	}
	return part.Record
}
