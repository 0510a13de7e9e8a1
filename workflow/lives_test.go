package workflow

import (
	"errors"
	"fmt"
	"math"
	"os"
	"reflect"
	"slices"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/workflow/journal"
)

// Random lives of an airframe: whatever is asked for, in whatever order, with
// the clock going on, jumping and going back, the journal never holds what the
// rules forbid. The rules are checked here by plain recomputation from the
// entries, without the engine's own state.
func TestRandomLives(t *testing.T) {
	t.Parallel()
	often(t, func(t *rapid.T) {
		l := &life{now: evening}
		l.state = replay(t, nil)
		sum := rapid.SampledFrom([]string{sheetSum, careSum}).Draw(t, "sheet")
		l.try(t, Register{Mark: "PL-01", Sheet: papers().Sheets[sum], Digest: sum, Options: rapid.SampledFrom([][]string{nil, {"rudder"}}).Draw(t, "options")})
		work := rapid.SampledFrom([]string{buildSum, attendedSum}).Draw(t, "build")
		l.try(t, Start{Procedure: papers().Procedures[work], Digest: work, Sheet: papers().Sheets[sum], SheetDigest: sum})
		for range rapid.IntRange(5, 120).Draw(t, "length") {
			l.move(t)
		}
		l.check(t)
	})
}

// often checks a property, and many times more often in a long run.
func often(t *testing.T, property func(*rapid.T)) {
	rounds := 1
	if os.Getenv("FETTLE_LONG") != "" {
		rounds = 30
	}
	for range rounds {
		rapid.Check(t, property)
	}
}

// Random measuring of an airframe that was released and repaired: every reading,
// check, flight and disturbance may be typed in later, in any order, and be taken
// back; after each the gates and the audit are recomputed.
func TestRandomReadings(t *testing.T) {
	t.Parallel()
	start := repaired(t)
	often(t, func(t *rapid.T) {
		l := &life{state: start.state, now: start.now}
		for range rapid.IntRange(2, 25).Draw(t, "length") {
			l.now = l.now.Add(time.Duration(rapid.SampledFrom([]int{1, 30, 60, 60, 600}).Draw(t, "minutes")) * time.Minute)
			l.measuring(t)
			l.checkGates(t)
		}
	})
}

// measuring asks for something that decides whether a gate is current.
func (l *life) measuring(t *rapid.T) {
	at := l.now.Add(-time.Duration(rapid.SampledFrom([]int{0, 0, 0, 20, 50, 90, 150, 300}).Draw(t, "minutes before")) * time.Minute)
	gate := rapid.SampledFrom([]string{"slot", "square"}).Draw(t, "gate")
	g, _ := l.state.Sheet.Gate(gate)
	gauge := rapid.SampledFrom([]string{"rule", "caliper"}).Draw(t, "gauge")
	var all []Reading
	for _, r := range good(g) {
		values := map[string][]string{"slot": {"4 mm", "4 mm", "4.3 mm", "4.48 mm", "5 mm"}, "square": {"500 mm", "501 mm", "502.8 mm", "504 mm"}}[gate]
		all = append(all, Reading{r.Point, q(rapid.SampledFrom(values).Draw(t, "value"))})
	}
	switch rapid.IntRange(0, 13).Draw(t, "what") {
	case 0, 1, 2, 3:
		l.tryAt(t, Measure{Sure: true, Gate: gate, Readings: all[:rapid.IntRange(1, len(all)).Draw(t, "how many")], Gauge: gauge}, at)
	case 4, 5:
		l.tryAt(t, Measure{Sure: true, Gate: gate, Readings: good(g)}, at)
	case 6, 7:
		l.tryAt(t, checkOf(gauge, rapid.IntRange(0, 2).Draw(t, "good") > 0), at)
	case 8:
		l.tryAt(t, LogFlight{Landing: Soft}, at)
	case 9:
		l.tryAt(t, rapid.SampledFrom([]Request{ChangeEquipment{Item: "camera", Change: Moved}, Rework{Gate: gate}, Concede{Gate: gate, Reason: "holds"}}).Draw(t, "disturb"), at)
	case 10:
		l.tryAt(t, GiveRelease{}, at)
	case 11, 12:
		l.try(t, Undo{Position: l.state.Size() - int64(rapid.IntRange(1, 12).Draw(t, "back")), Reason: "a mistake"})
	case 13:
		sum := rapid.SampledFrom([]string{sheetSum, strictSum}).Draw(t, "sheet")
		l.try(t, Start{Procedure: repairWork(), Digest: repairSum, Sheet: papers().Sheets[sum], SheetDigest: sum, Zone: "wing"})
		if open := l.state.OpenJobs(l.now); len(open) > 0 {
			job := open[0]
			l.try(t, movedTo(open, sum))
			if len(l.state.workIn(job.ID)) == 0 {
				l.keepSheet(t, job)
			}
		}
	}
}

// movedTo moves the open jobs to a sheet, each with its own procedure.
func movedTo(open []*Job, sheet string) MoveJob {
	move := MoveJob{Job: open[0].ID, Procedure: papers().Procedures[open[0].Digest], Digest: open[0].Digest, Sheet: papers().Sheets[sheet], SheetDigest: sheet}
	for _, other := range open[1:] {
		move.Others = append(move.Others, MovedJob{other.ID, papers().Procedures[other.Digest], other.Digest})
	}
	return move
}

// keepSheet drops a job that was only opened for its sheet, now and then.
func (l *life) keepSheet(t *rapid.T, job *Job) {
	if rapid.Bool().Draw(t, "drop the job") {
		l.try(t, Undo{Position: job.Position})
	}
}

type life struct {
	state    *State
	replayed *State // the same, of all entries at once; nil: not yet
	now      time.Time
}

// longer has a longer journal, and holds what it comes to from where it was against what
// all of it comes to. Where it was comes to the same as before.
func (l *life) longer(t *rapid.T, all []journal.Entry) {
	before := l.state
	longer, err := before.Longer(all[before.Size():], papers())
	if err != nil {
		t.Fatal(err)
	}
	replayed := replay(t, all)
	identical(t, longer, replayed)
	was := replayed.Gates(l.now)
	for i, g := range longer.Gates(l.now) { // by what the readings said before
		for _, r := range []*GateReport{&g, &was[i]} {
			for _, j := range []*measuring.Judged{&r.Finding.Judged, &r.Finding.Result} { // without what it was worked out by
				*j = measuring.Judged{Known: j.Known, Point: j.Point, Value: j.Value, Unit: j.Unit, U: j.U, Plain: j.Plain, Probability: j.Probability, Further: j.Further}
			}
		}
		if !reflect.DeepEqual(g, was[i]) {
			t.Fatalf("the gate is\n%+v\nwhere all entries at once come to\n%+v", g, was[i])
		}
	}
	if l.replayed != nil {
		identical(t, before, l.replayed)
	}
	l.state, l.replayed = longer, replayed
}

// identical holds two states to each other in all that they are made of, save for what is
// only remembered.
func identical(t interface {
	Errorf(string, ...any)
	Fatalf(string, ...any)
}, a, b *State) {
	is, want := *a, *b
	for _, s := range []*State{&is, &want} {
		s.memo, s.folded, s.effects, s.kinds = nil, nil, nil, nil
	}
	if reflect.DeepEqual(is, want) {
		return
	}
	of, other := reflect.ValueOf(is), reflect.ValueOf(want)
	for i := range of.NumField() {
		if f := of.Type().Field(i); f.IsExported() && !reflect.DeepEqual(of.Field(i).Interface(), other.Field(i).Interface()) {
			t.Errorf("%s: %+v, where all entries at once come to %+v", f.Name, of.Field(i), other.Field(i))
		}
	}
	t.Fatalf("after %d entries the state is\n%+v\nwhere all of them at once come to\n%+v", a.Size(), is, want)
}

// move lets time pass or asks for something, often for what is sensible, so
// that lives get far.
func (l *life) move(t *rapid.T) {
	switch rapid.IntRange(0, 17).Draw(t, "move") {
	case 14:
		use := rapid.SampledFrom([]string{"contact", "epoxy", "knife"}).Draw(t, "use")
		l.tryAt(t, ClearUse{Of: use, Answers: rapid.SampledFrom([][]bool{{true}, {true, true}, {true, false}}).Draw(t, "answers")}, l.earlier(t))
	case 0:
		l.now = l.now.Add(time.Duration(rapid.IntRange(1, 45).Draw(t, "minutes")) * time.Minute)
	case 1:
		l.now = l.now.Add(time.Duration(rapid.IntRange(1, 40).Draw(t, "hours")) * time.Hour)
	case 2:
		if rapid.IntRange(0, 4).Draw(t, "back?") == 0 {
			l.now = l.now.Add(-time.Duration(rapid.IntRange(1, 600).Draw(t, "back")) * time.Minute)
		}
	case 3:
		temperature := rapid.IntRange(0, 40).Draw(t, "celsius")
		l.tryAt(t, ReadBench{Temperature: q(fmt.Sprintf("%d °C", temperature))}, l.earlier(t))
	case 4:
		set := rapid.SampledFrom([]steps.Setting{{Condition: "ventilation", State: "on"}, {Condition: "propeller", State: "off"}, {Condition: "propeller", State: "on"}}).Draw(t, "set")
		l.tryAt(t, ReadBench{Set: []steps.Setting{set}}, l.earlier(t))
	case 5:
		var names []string
		for _, s := range build().Steps() {
			names = append(names, s.Name)
		}
		name := rapid.SampledFrom(names).Draw(t, "step")
		at := l.earlier(t)
		l.tryAt(t, Finish{Step: name, Touch: rapid.SampledFrom([]string{"", "", TouchDry, TouchWet}).Draw(t, "touch"), Witness: witness(t)}, at)
		l.tryAt(t, l.spread(t, name, at), at)
	case 6:
		l.try(t, Undo{Position: int64(rapid.IntRange(0, int(l.state.Size())).Draw(t, "undo")), Reason: "a mistake"})
	case 7:
		gate := rapid.SampledFrom([]string{"slot", "square", "throw"}).Draw(t, "gate")
		gauge := rapid.SampledFrom([]string{"", "", "rule", "caliper"}).Draw(t, "with")
		l.tryAt(t, Measure{Sure: true, Gate: gate, Readings: l.readings(t, gate), Gauge: gauge}, l.earlier(t))
	case 8:
		gate := rapid.SampledFrom([]string{"slot", "square", "throw"}).Draw(t, "gate")
		l.tryAt(t, rapid.SampledFrom([]Request{Rework{Gate: gate}, Concede{Gate: gate, Reason: "holds"}}).Draw(t, "rework or concede"), l.earlier(t))
	case 9:
		zone := rapid.SampledFrom([]string{"wing", "tail"}).Draw(t, "zone")
		l.tryAt(t, rapid.SampledFrom([]Request{GiveRelease{}, Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: zone}}).Draw(t, "job"), l.earlier(t))
	case 10:
		l.fly(t)
	case 11:
		gauge := rapid.SampledFrom([]string{"rule", "caliper"}).Draw(t, "gauge")
		l.tryAt(t, checkOf(gauge, rapid.Bool().Draw(t, "good")), l.earlier(t))
	case 12:
		if open := l.state.OpenJobs(l.now); len(open) > 0 && rapid.IntRange(0, 2).Draw(t, "move on?") == 0 {
			sum := rapid.SampledFrom([]string{sheetSum, strictSum, careSum}).Draw(t, "sheet")
			l.try(t, movedTo(open, sum))
		}
	case 13:
		back := rapid.IntRange(1, 6).Draw(t, "undo of the last")
		l.try(t, Undo{Position: l.state.Size() - int64(back)})
	default:
		l.sensible(t)
	}
}

// earlier is a time to enter something for: mostly now, sometimes before.
func (l *life) earlier(t *rapid.T) time.Time {
	back := rapid.SampledFrom([]int{0, 0, 0, 0, 1, 5, 50, 500}).Draw(t, "minutes before")
	return l.now.Add(-time.Duration(back) * time.Minute)
}

// checkOf is a check of a gauge that finds it good, at its very uncertainty,
// or not good, by a step more.
func checkOf(gauge string, good bool) CheckGauge {
	reads := map[string][2]string{"rule": {"10 mm", "10.5 mm"}, "caliper": {"10.03 mm", "9.96 mm"}}[gauge]
	if good {
		return CheckGauge{Gauge: gauge, Of: q("10 mm"), Reads: q(reads[0])}
	}
	return CheckGauge{Gauge: gauge, Of: q("10 mm"), Reads: q(reads[1])}
}

// fly is what happens between jobs: flights, damage, changed equipment.
func (l *life) fly(t *rapid.T) {
	zone := rapid.SampledFrom([]string{"wing", "tail", "pod"}).Draw(t, "hit")
	finding := rapid.SampledFrom([]string{"cracked", "dented", "puffed", "something odd"}).Draw(t, "finding")
	var open []string
	for _, d := range l.state.Damages {
		open = append(open, d.Damage)
	}
	l.tryAt(t, rapid.SampledFrom([]Request{
		LogFlight{Landing: Soft}, LogFlight{Landing: Hard, Check: repairWork().Name},
		ChangeEquipment{Item: "camera", Change: Moved}, ChangeEquipment{Item: "camera", Change: Removed}, ChangeEquipment{Item: "camera", Change: Fitted},
		ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: finding, Zone: zone, Severity: rapid.SampledFrom([]string{steps.Serious, steps.Cosmetic}).Draw(t, "severity")}}},
		ClearQuarantine{Damage: "D1", Answers: []bool{true}}, ClearQuarantine{Damage: "D2", Answers: []bool{true}},
		Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing", Damages: open},
	}).Draw(t, "life"), l.earlier(t))
}

// triage is a table of three findings, two of which are put in quarantine.
func triage() *steps.Triage {
	handedIn := []string{"It was handed in"}
	return &steps.Triage{
		Name: "foam", Revision: 1, Unknown: "plover-repair",
		Findings: []steps.Finding{
			{Name: "cracked", Title: "Cracked", Also: []string{"split", "a tear"}},
			{Name: "dented", Title: "Dented", Zones: []string{"pod", "wing"}, Quarantine: steps.Quarantine{Confirm: handedIn}},
			{Name: "puffed", Title: "Puffed", Zones: []string{"pod"}, Also: []string{"swollen"}, Quarantine: steps.Quarantine{For: q("6 h"), Confirm: handedIn}},
		},
		Rows: []steps.Row{
			{Findings: []string{"cracked"}, Severities: []string{steps.Cosmetic}, Outcome: steps.ToRepair, Procedure: "plover-look", Why: "It is looked at."},
			{Findings: []string{"cracked"}, Outcome: steps.ToRepair, Procedure: "plover-repair", Why: "It can be glued."},
		},
	}
}

// sensible does what is suggested, or waits for it.
func (l *life) sensible(t *rapid.T) {
	for range rapid.IntRange(1, 8).Draw(t, "sensible") {
		s := l.state.Next(l.now)
		if s.Step == nil {
			if s.Until.IsZero() {
				return
			}
			l.now = s.Until
			continue
		}
		name := s.Step.Job + "/" + s.Step.Step.Name
		job, _ := l.state.Job(s.Step.Job)
		for _, need := range l.state.NeedsAt(job, s.Step.Step, l.now) {
			l.try(t, ReadBench{Set: []steps.Setting{need}})
		}
		for _, use := range l.state.UsesOf(job, s.Step.Step, l.now) {
			l.try(t, ClearUse{Of: use.Name, Answers: []bool{true, true}[:len(use.Hold)]})
		}
		var who Witness
		if s.Step.Step.WantsSecond() {
			who = Witness{Second: "second"}
			if rapid.Bool().Draw(t, "any witness") {
				who = witness(t)
			}
		}
		switch s.Step.Step.Kind {
		case steps.Hold:
			l.try(t, Clear{Step: name, Answers: []bool{true, true}, Witness: who})
		case steps.Release:
			for _, g := range l.state.Gates(l.now) {
				if g.Standing == StaleGate {
					l.try(t, checkOf(g.Gate.Gauge, true))
					l.try(t, Measure{Sure: true, Gate: g.Gate.Name, Readings: good(g.Gate)})
				}
			}
			l.try(t, GiveRelease{})
		case steps.Measure:
			job, _ := l.state.Job(s.Step.Job)
			for _, g := range l.state.GatesOf(job, s.Step.Step, l.now) {
				l.try(t, Rework{Gate: g.Gate.Name})
				if rapid.Bool().Draw(t, "check the gauge") {
					l.try(t, checkOf(g.Gate.Gauge, true))
				}
				l.try(t, Measure{Sure: true, Gate: g.Gate.Name, Readings: good(g.Gate)})
			}
			l.try(t, Finish{Step: name, Witness: who})
		default:
			if rapid.Bool().Draw(t, "read the bench") {
				l.try(t, ReadBench{Temperature: q(fmt.Sprintf("%d °C", rapid.IntRange(12, 28).Draw(t, "celsius")))})
			}
			at := l.earlier(t)
			if s.Step.Step.Kind == steps.Coat {
				spread := l.spread(t, name, at)
				spread.Witness = who
				l.tryAt(t, spread, at)
			}
			l.tryAt(t, Finish{Step: name, Witness: who}, at)
			l.try(t, Finish{Step: name, Witness: who})
		}
	}
}

// witness is any answer to who was second, mostly none.
func witness(t *rapid.T) Witness {
	return rapid.SampledFrom([]Witness{{}, {}, {}, {Second: "second"}, {Second: "builder"}, {Alone: 1}, {Alone: 2}, {Second: "second", Alone: 1}}).Draw(t, "witness")
}

// spread finishes a step that had begun before, and maybe of what was mixed
// before that.
func (l *life) spread(t *rapid.T, step string, at time.Time) Finish {
	f := Finish{Step: step, Began: at.Add(-time.Duration(rapid.SampledFrom([]int{-1, 0, 1, 5, 30}).Draw(t, "minutes of spreading")) * time.Minute)}
	if step == "coat-saddle" || rapid.IntRange(0, 9).Draw(t, "mixed?") == 0 {
		f.Mixed = f.Began.Add(-time.Duration(rapid.SampledFrom([]int{-1, 0, 1, 10}).Draw(t, "minutes from mixing")) * time.Minute)
	}
	return f
}

func good(g steps.Gate) []Reading {
	value := map[string]string{"slot": "4 mm", "square": "500 mm", "throw": "11 mm"}[g.Name]
	var all []Reading
	for _, p := range g.PointNames() {
		for range g.Repeat {
			all = append(all, Reading{p, q(value)})
		}
	}
	return all
}

func (l *life) readings(t *rapid.T, gate string) []Reading {
	g, _ := sheet().Gate(gate)
	all := good(g)
	step := map[string]float64{"caliper": 0.01, "rule": 0.25}[g.Gauge]
	for i := range all {
		off := step * math.Round(rapid.Float64Range(-2, 2).Draw(t, "off")/step)
		all[i].Value = q(fmt.Sprintf("%.2f mm", math.Abs(off)+map[string]float64{"slot": 3.3, "square": 499, "throw": 9}[gate]))
	}
	all = all[:rapid.IntRange(1, len(all)).Draw(t, "how many")]
	if rapid.IntRange(0, 9).Draw(t, "again?") == 0 {
		all = append(all, all[0])
	}
	return all
}

func (l *life) try(t *rapid.T, r Request) { l.tryAt(t, r, l.now) }

func (l *life) tryAt(t *rapid.T, r Request, at time.Time) {
	entries, err := l.state.Decide(r, Circumstances{Now: l.now, At: at, By: "builder", Program: "test"})
	var refusal *Refusal
	if errors.As(err, &refusal) {
		if len(refusal.Reasons) == 0 {
			t.Fatalf("%+v is refused without a reason", r)
		}
		entries = recorded(err)
	} else if err != nil {
		return
	}
	once(t, l.state.Sheet, entries)
	before := l.state
	all := append(slices.Clone(before.Entries), entries...)
	l.longer(t, all)
	for _, e := range entries {
		l.forbidden(t, all[:e.Position], e)
		usedWithCare(t, before.Sheet, all[:e.Position], e)
	}
	checkWitnessed(t, all)
	l.checkFlight(t)
}

// papers are the fixture's documents, made once: a life asks for them often.
var papers = sync.OnceValue(documents)

// inForce is the sheet in force after the entry at the position.
func inForce(live []journal.Entry, position int64) *steps.Sheet {
	sum := ""
	for _, e := range live {
		if e.Position > position {
			break
		}
		switch f := e.Facts.(type) {
		case journal.Registered:
			sum = f.Sheet
		case journal.JobOpened:
			sum = f.Sheet
		case journal.JobMoved:
			sum = f.Sheet
		}
	}
	return papers().Sheets[sum]
}
