package workflow

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow/journal"
	"fettle/workflow/plan"
)

// Random lives of an airframe: whatever is asked for, in whatever order, with
// the clock going on, jumping and going back, the journal never holds what the
// rules forbid. The rules are checked here by plain recomputation from the
// entries, without the engine's own state.
func TestRandomLives(t *testing.T) {
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
	state *State
	now   time.Time
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

// checkWitnessed holds that a step which wants a second person is completed right
// after an entry of who that was, or of a way that is written, and that both stand
// or neither does.
func checkWitnessed(t *rapid.T, entries []journal.Entry) {
	live := map[int64]bool{}
	for _, e := range standing(entries) {
		live[e.Position] = true
	}
	procedures := map[string]*steps.Procedure{}
	for i, e := range entries {
		if f, ok := e.Facts.(journal.JobOpened); ok {
			procedures[f.Job] = papers().Procedures[f.Procedure]
		}
		var seen journal.Witnessed
		var before journal.Entry
		if i > 0 {
			before = entries[i-1]
			seen, _ = before.Facts.(journal.Witnessed)
		}
		w, works := journal.WorkOf(e.Facts)
		if !works || w.Job == "" {
			if seen.Step != "" {
				t.Fatalf("entry %d says who was second at %s, and %s follows", before.Position, seen.Step, e.Facts.Kind())
			}
			continue
		}
		step, _, _ := procedures[w.Job].Step(w.Step)
		if len(step.Alone) == 0 {
			if seen.Step != "" {
				t.Fatalf("%s asks for nobody, and entry %d says who was second", w.Step, before.Position)
			}
			continue
		}
		switch {
		case seen.Job != w.Job || seen.Step != w.Step || (seen.Who == "") == (seen.Instead == "") || seen.Who == e.By:
			t.Fatalf("entry %d completes %s after %+v", e.Position, w.Step, before.Facts)
		case seen.Instead != "" && (seen.Instead == steps.No || !slices.Contains(step.Alone, seen.Instead)):
			t.Fatalf("%s was done alone by %q", w.Step, seen.Instead)
		case live[e.Position] != live[before.Position]:
			t.Fatalf("of entries %d and %d one stands", before.Position, e.Position)
		}
	}
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
	l.state = replay(t, all)
	for _, e := range entries {
		l.forbidden(t, all[:e.Position], e)
		usedWithCare(t, before.Sheet, all[:e.Position], e)
	}
	checkWitnessed(t, all)
	l.checkFlight(t)
}

// once holds that no reading of one request stands behind another.
func once(t *rapid.T, sheet *steps.Sheet, entries []journal.Entry) {
	at := map[string]int{}
	for _, e := range entries {
		f, ok := e.Facts.(journal.ReadingTaken)
		if !ok {
			continue
		}
		at[f.Point]++
		if g, _ := sheet.Gate(f.Gate); at[f.Point] > g.Repeat {
			t.Fatalf("%d readings of %s at %q in one request", at[f.Point], f.Gate, f.Point)
		}
	}
}

// checkFlight holds that no airframe stands released on a reading in doubt.
func (l *life) checkFlight(t *rapid.T) {
	if !l.state.Airworthiness(l.now).Released {
		return
	}
	live := standing(l.state.Entries)
	var rests []int64
	for _, e := range live {
		if f, ok := e.Facts.(journal.Released); ok {
			rests = f.RestsOn
		}
	}
	for _, p := range rests {
		if e := l.state.Entries[p]; naiveDoubt(live, e) {
			t.Fatalf("it stands released on entry %d, which is in doubt", p)
		}
		if !slices.ContainsFunc(live, func(e journal.Entry) bool { return e.Position == p }) {
			t.Fatalf("it stands released on entry %d, which was taken back", p)
		}
	}
	for _, g := range inForce(live, math.MaxInt64).GatesFor(steps.Selection{Has: live[0].Facts.(journal.Registered).Options}) {
		if stands := naiveStands(l.state.Entries, l.now, g, Current); !naiveMet(l.state.Entries, l.now, g, stands) {
			t.Fatalf("it stands released with %s %s", g.Name, stands)
		}
	}
	checkRepaired(t, live)
	for _, j := range joins(live) {
		if sure, outside := naiveOutside(live, j); sure && outside {
			t.Fatalf("it stands released with %s joined outside its window", j.Joint)
		}
		if cure := naiveCure(live, j); l.now.Before(j.at.Add(cure)) {
			t.Fatalf("it stands released %v after joining %s, which cures in %v", l.now.Sub(j.at), j.Joint, cure)
		}
	}
}

// benchReading is a reading of the bench as the second opinion sees it.
type benchReading struct {
	position int64
	at       time.Time
	celsius  float64
}

// readingsBy are the live readings of the bench in the order of time, of two at
// one time the later entry last.
func readingsBy(live []journal.Entry) []benchReading {
	var all []benchReading
	for _, e := range live {
		if f, ok := e.Facts.(journal.BenchRead); ok {
			celsius, _ := f.Temperature.Celsius()
			all = append(all, benchReading{e.Position, e.At, celsius})
		}
	}
	slices.SortStableFunc(all, func(a, b benchReading) int { return a.at.Compare(b.at) })
	return all
}

// inForceAt is the temperature in force at a time: the last by time at or before
// it and not older than six hours.
func inForceAt(live []journal.Entry, at time.Time) (celsius float64, known bool) {
	for _, r := range readingsBy(live) {
		if !r.at.After(at) {
			celsius, known = r.celsius, at.Sub(r.at) <= 6*time.Hour
		}
	}
	return celsius, known
}

// works are the limits of temperature that an adhesive of the fixture works in.
func works(joint string) (coldest, warmest float64) {
	if adhesiveOf(joint).Name == "epoxy" {
		return 10, 30
	}
	return 5, 35
}

// coldestSince recomputes by time the coldest temperature of a clock that began
// when the joint was joined and takes least at 20 °C: that in force then, or the
// worst that the adhesive works in, and every one read before the clock's end.
func coldestSince(live []journal.Entry, j joined, least time.Duration) float64 {
	coldest, known := inForceAt(live, j.at)
	if !known {
		coldest, _ = works(j.Joint)
	}
	all := readingsBy(live)
	for i, r := range all {
		replaced := i+1 < len(all) && all[i+1].at.Equal(r.at)
		if r.at.After(j.at) && r.at.Before(j.at.Add(slower(least, coldest))) && !replaced {
			coldest = min(coldest, r.celsius)
		}
	}
	return coldest
}

// slower is what a time of 20 °C becomes in the cold.
func slower(least time.Duration, celsius float64) time.Duration {
	return time.Duration(float64(least) * max(1, math.Pow(2, (20-celsius)/10)))
}

// naiveCure recomputes by time how long a joint cures at least.
func naiveCure(live []journal.Entry, j joined) time.Duration {
	least, _ := adhesiveOf(j.Joint).Cure.Duration()
	return slower(least, coldestSince(live, j, least)) - time.Second // the engine may round it
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

// naiveGuard recomputes how good a gauge is, and how much of that is not the same
// for all its readings: without a word about it, that is unknown and negative.
func naiveGuard(s *steps.Sheet, gauge string) (guard, spread float64) {
	g, _ := s.Gauge(gauge)
	d, _ := g.Resolution.Float("mm")
	u := 0.0
	if !g.Uncertainty.IsZero() {
		u, _ = g.Uncertainty.Float("mm")
	}
	step := 2 * d / math.Sqrt(12)
	if g.Repeatability.IsZero() {
		return max(u, step), -1
	}
	r, _ := g.Repeatability.Float("mm")
	return max(u, step), max(r, step)
}

// naiveBands recomputes the guard bands of a mean of n readings, and of its difference
// from one of m readings.
func naiveBands(guard, spread float64, n, m int, several bool) (mean, pair float64) {
	if spread < 0 {
		return guard, math.Hypot(guard, guard)
	}
	bias := math.Sqrt(max(0, guard*guard-spread*spread))
	left, right := spread/math.Sqrt(float64(n)), spread/math.Sqrt(float64(m))
	mean, pair = math.Hypot(bias, left), math.Hypot(left, right)
	if several {
		pair = math.Hypot(mean, math.Hypot(bias, right))
	}
	return mean, pair
}

// naiveStanding recomputes how a gate stands by the last readings at each of its points;
// Failed stands for undecided, too, and "" for what lies so near to a border that rounding
// decides.
func naiveStanding(entries []journal.Entry, now time.Time, g steps.Gate) GateStanding {
	counting := naiveCounting(entries, now, g)
	if len(counting) == 0 {
		return StaleGate
	}
	live := standing(entries)
	worst := Current
	for _, less := range orders() {
		switch has := naiveVerdict(live, inOrder(counting, less), g, nil); {
		case has == "":
			return ""
		case has == Failed, worst == Current:
			worst = has
		}
	}
	return worst
}

// naiveStands is how a gate stands by [naiveStanding], or as the engine says, has, where that
// is allowed: where more was read at a point than is judged there, it may stand by a mean of
// the last readings at each point, however many of them, since what is read at a point that
// has passed begins anew there, and what was undecided is decided by all that was read since.
// What a finer gauge read may stand for itself, and two gauges that differ by more than they
// are accurate to leave it undecided. gates_test.go works out by hand how many are in a mean.
func naiveStands(entries []journal.Entry, now time.Time, g steps.Gate, has GateStanding) GateStanding {
	want := naiveStanding(entries, now, g)
	if want == has || want == "" {
		return want
	}
	counting := naiveCounting(entries, now, g)
	byTime := inOrder(counting, orders()[1])
	late := !slices.EqualFunc(counting, byTime, func(a, b journal.Entry) bool { return a.Position == b.Position })
	live := standing(entries)
	if late && has != Failed && naiveVerdict(live, byTime, g, nil) == Failed {
		return want
	}
	read := func(e journal.Entry) (gauge, point string, mm float64) {
		f := e.Facts.(journal.ReadingTaken)
		mm, _ = f.Value.Float("mm")
		return f.Gauge, f.Point, mm
	}
	var fine []journal.Entry
	for _, e := range counting {
		gauge, point, mm := read(e)
		if g.Gauge != "caliper" || gauge != g.Gauge {
			continue
		}
		fine = append(fine, e)
		for _, o := range counting {
			other, at, is := read(o)
			guard, _ := naiveGuard(inForce(live, math.MaxInt64), other)
			if other != gauge && at == point && math.Abs(mm-is) > guard && has == Failed {
				return has
			}
		}
	}
	for _, of := range [][]journal.Entry{counting, fine} {
		numbers := []map[string]int{{}}
		for _, p := range g.PointNames() {
			var more []map[string]int
			left := 0 // readings at the point
			for _, e := range of {
				if _, at, _ := read(e); at == p {
					left++
				}
			}
			for n := min(left, 1); n <= left; n++ {
				for _, others := range numbers {
					all := maps.Clone(others)
					all[p] = n
					more = append(more, all)
				}
			}
			numbers = more
		}
		for _, last := range numbers {
			if is := naiveVerdict(live, of, g, last); len(of) > 0 && (is == has || is == "") {
				return has
			}
		}
	}
	return want
}

// naiveVerdict recomputes what the last readings at each point say, so many of them as are
// given or as the gate is judged by.
func naiveVerdict(live, counting []journal.Entry, g steps.Gate, last map[string]int) GateStanding {
	means, spread, missing := map[string]float64{}, 0.0, false
	variances, numbers := map[string]float64{}, map[string]int{}
	gauges, described := map[string]bool{}, [][2]float64{}
	for _, p := range g.PointNames() {
		var values []float64
		sum := 0.0
		n, given := last[p]
		if !given {
			n = g.Repeat
		}
		for _, e := range slices.Backward(counting) {
			f := e.Facts.(journal.ReadingTaken)
			if f.Point != p || len(values) == n {
				continue
			}
			v, _ := f.Value.Float("mm")
			values, sum = append(values, v), sum+v
			gauges[f.Gauge] = true
			for _, s := range []*steps.Sheet{inForce(live, e.Position), inForce(live, math.MaxInt64)} {
				guard, spread := naiveGuard(s, f.Gauge)
				described = append(described, [2]float64{guard, spread})
			}
		}
		if len(values) < max(n, g.Repeat) {
			missing = true
			continue
		}
		means[p], numbers[p] = sum/float64(n), n
		spread = max(spread, slices.Max(values)-slices.Min(values))
		for _, v := range values {
			variances[p] += (v - means[p]) * (v - means[p]) / float64(max(1, n-1))
		}
	}
	guard, ofPair := map[string]float64{}, 0.0
	for _, d := range described {
		for p, n := range numbers {
			one, _ := naiveBands(d[0], d[1], n, n, len(gauges) > 1)
			guard[p] = max(guard[p], naiveWiden(one, d[1], sample{n, variances[p]}))
		}
		if left, right := numbers["left"], numbers["right"]; left > 0 && right > 0 {
			_, two := naiveBands(d[0], d[1], left, right, len(gauges) > 1)
			ofPair = max(ofPair, naiveWiden(two, d[1], sample{left, variances["left"]}, sample{right, variances["right"]}))
		}
	}
	room := math.Inf(1) // of the worst point
	if !g.Limits.Low.IsZero() {
		low, _ := g.Limits.Low.Float("mm")
		high, _ := g.Limits.High.Float("mm")
		room = (high-low)/2 - spread
		for p, m := range means {
			room = min(room, m-low-guard[p], high-m-guard[p])
		}
	}
	if !g.Limits.Alike.IsZero() && !missing {
		limit, _ := g.Limits.Alike.Float("mm")
		room = min(room, limit-math.Abs(means["left"]-means["right"])-ofPair)
	}
	switch {
	case math.Abs(room) < 1e-6:
		return ""
	case room < 0:
		return Failed
	case missing:
		return Measuring
	}
	return Current
}

// inOrder are entries in one order.
func inOrder(entries []journal.Entry, less func(a, b journal.Entry) bool) []journal.Entry {
	sorted := slices.Clone(entries)
	slices.SortFunc(sorted, func(a, b journal.Entry) int {
		if less(a, b) {
			return -1
		}
		return 1
	})
	return sorted
}

// sample is the variance of n readings.
type sample struct {
	n        int
	variance float64
}

// naiveWiden widens a band by what readings spread beyond the repeatability r, with
// Student's factor for the effective degrees of freedom.
func naiveWiden(band, r float64, readings ...sample) float64 {
	r = max(0, r) // less: none is stated
	var more, quartic float64
	for _, of := range readings {
		if beyond := (of.variance - r*r/4) / float64(of.n); of.n > 1 && beyond > 1e-12 {
			more, quartic = more+beyond, quartic+beyond*beyond/float64(of.n-1)
		}
	}
	if more == 0 {
		return band
	}
	combined := band*band/4 + more
	freedom := int(combined*combined/quartic + 1e-9)
	k := 2.0
	if freedom < 1000 {
		for _, row := range [][2]float64{{1, 13.97}, {2, 4.53}, {3, 3.31}, {4, 2.87}, {5, 2.65}, {6, 2.52}, {7, 2.43}, {8, 2.37}, {9, 2.32}, {10, 2.28}, {11, 2.25}, {12, 2.23}, {13, 2.21}, {14, 2.20}, {15, 2.18},
			{16, 2.17}, {17, 2.16}, {18, 2.15}, {19, 2.14}, {20, 2.13}, {25, 2.11}, {30, 2.09}, {35, 2.07}, {40, 2.06}, {50, 2.05}, {100, 2.025}} {
			if freedom >= int(row[0]) {
				k = row[1]
			}
		}
	}
	return k * math.Sqrt(combined)
}

// naiveBad recomputes that a check was not good, by the sheet in force then or
// by the last one.
func naiveBad(live []journal.Entry, e journal.Entry) bool {
	f := e.Facts.(journal.GaugeChecked)
	reads, _ := f.Reads.Float("mm")
	of, _ := f.Of.Float("mm")
	then, _ := naiveGuard(inForce(live, e.Position), f.Gauge)
	now, _ := naiveGuard(inForce(live, math.MaxInt64), f.Gauge)
	return math.Abs(reads-of) > min(then, now)+1e-9
}

// orders are the two orders in which entries stand: by entry and by time.
func orders() []func(a, b journal.Entry) bool {
	byEntry := func(a, b journal.Entry) bool { return a.Position < b.Position }
	byTime := func(a, b journal.Entry) bool { return a.At.Before(b.At) || a.At.Equal(b.At) && byEntry(a, b) }
	return []func(a, b journal.Entry) bool{byEntry, byTime}
}

// naiveDoubt recomputes that a reading is in doubt: in one order or the other
// there is a bad check of its gauge with no good one between the two.
func naiveDoubt(live []journal.Entry, r journal.Entry) bool {
	return slices.ContainsFunc(live, func(b journal.Entry) bool {
		return isCheck(live, b, r, true) && slices.ContainsFunc(orders(), func(less func(a, b journal.Entry) bool) bool {
			return !slices.ContainsFunc(live, func(g journal.Entry) bool {
				return isCheck(live, g, r, false) && (less(r, g) && less(g, b) || less(b, g) && less(g, r))
			})
		})
	})
}

// isCheck reports whether the entry checks the gauge of a reading, and finds it so.
func isCheck(live []journal.Entry, e, reading journal.Entry, bad bool) bool {
	f, ok := e.Facts.(journal.GaugeChecked)
	return ok && f.Gauge == reading.Facts.(journal.ReadingTaken).Gauge && naiveBad(live, e) == bad
}

// naiveBarred recomputes that a reading was taken with a gauge of which the
// last check, entered or made, was not good.
func naiveBarred(live []journal.Entry, r journal.Entry) bool {
	for _, less := range orders() {
		var last *journal.Entry
		for _, e := range live {
			if _, ok := e.Facts.(journal.GaugeChecked); ok && (isCheck(live, e, r, true) || isCheck(live, e, r, false)) && less(e, r) && (last == nil || less(*last, e)) {
				last = &e
			}
		}
		if last != nil && isCheck(live, *last, r, true) {
			return true
		}
	}
	return false
}

// forbidden checks one new entry against the entries before it.
func (l *life) forbidden(t *rapid.T, before []journal.Entry, e journal.Entry) {
	live := standing(before)
	if !l.mayTrust(live, e) {
		t.Fatalf("%s at %v was taken although the clock had gone back", e.Facts.Kind(), e.At)
	}
	switch f := e.Facts.(type) {
	case journal.Joined:
		checkWindow(t, live, f, e)
	case journal.Released:
		checkRelease(t, before, live, e)
	case journal.ReadingTaken:
		if naiveBarred(live, e) {
			t.Fatalf("%s was read with %s, which was not good when last checked", f.Gate, f.Gauge)
		}
		for _, j := range joins(live) {
			g, _ := papers().Sheets[sheetSum].Gate(f.Gate)
			procedure := papers().Procedures[buildSum]
			zones := append(procedure.DisturbedBy(j.Joint), j.Disturbs...)
			least, _ := adhesiveOf(j.Joint).Handling.Duration()
			if g.DependsOn(zones...) && e.At.Before(j.at.Add(least)) {
				t.Fatalf("%s was read %v after joining %s", f.Gate, e.At.Sub(j.at), j.Joint)
			}
		}
	case journal.ConcessionGranted:
		if g, _ := papers().Sheets[sheetSum].Gate(f.Gate); g.Critical {
			t.Fatal("a concession on a critical gate")
		}
		for _, p := range f.Readings {
			if e.At.Before(before[p].At) {
				t.Fatalf("%s was conceded before entry %d was read", f.Gate, p)
			}
		}
	case journal.JobOpened:
		if e.At.Before(before[0].At) && e.At.Before(e.Recorded) {
			t.Fatalf("%s was opened before the airframe was registered", f.Job)
		}
	case journal.HoldCleared:
		if want := []string{"The blade is sharp", "The spare hand is behind it"}; !slices.Equal(f.Lines, want) {
			t.Fatalf("the hold was cleared with %v", f.Lines)
		}
	}
	w, _ := journal.WorkOf(e.Facts)
	l.needed(t, before, w, e)
	if w.Step == "sand-pod" && !slices.ContainsFunc(live, func(cut journal.Entry) bool {
		c, ok := journal.WorkOf(cut.Facts)
		return ok && c.Step == "cut-pod" && !e.At.Before(cut.At.Add(20*time.Minute))
	}) {
		t.Fatal("the pod was sanded before it had rested")
	}
}

// usedWithCare holds that no adhesive and no tool is used before its hold was
// cleared in the sitting, with the lines of the sheet in force.
func usedWithCare(t *rapid.T, in *steps.Sheet, before []journal.Entry, e journal.Entry) {
	w, _ := journal.WorkOf(e.Facts)
	use := ""
	switch f := e.Facts.(type) {
	case journal.Coated:
		use = f.Adhesive
	case journal.Joined:
		use = adhesiveOf(f.Joint).Name
	}
	if w.Step == "cut-pod" {
		use = "knife"
	}
	lines := map[string]string{"contact": "No flame\nGloves are on", "epoxy": "The cup is shallow", "knife": "The mat is clear"}[use]
	if use == "" || in.Revision != 3 {
		return
	}
	if c := condition(before, "hold of "+use, e.At); c != lines {
		t.Fatalf("%s %s with a hold of %s that says %q", e.Facts.Kind(), w.Step, use, c)
	}
	if c := condition(before, "ventilation", e.At); use == "contact" && c != "on" {
		t.Fatalf("%s with ventilation: %q", w.Step, c)
	}
}

// needed holds that what is done has the conditions and the climate it needs, by
// time.
func (l *life) needed(t *rapid.T, before []journal.Entry, w journal.Work, e journal.Entry) {
	live := standing(before)
	reading, _ := e.Facts.(journal.ReadingTaken)
	if w.Step == "measure-throw" || w.Step == "release" || reading.Gate == "throw" && !built(live) {
		if c := condition(before, "propeller", e.At); c != "off" {
			t.Fatalf("%s %s with propeller: %q", e.Facts.Kind(), w.Step, c)
		}
	}
	joint := ""
	switch f := e.Facts.(type) {
	case journal.Coated:
		joint = f.Joint
	case journal.Joined:
		joint = f.Joint
	default:
		return
	}
	if c := condition(before, "ventilation", e.At); w.Step == "coat-left" && c != "on" {
		t.Fatalf("coat-left with ventilation: %q", c)
	}
	coldest, warmest := works(joint)
	if celsius, known := inForceAt(live, e.At); !known || celsius < coldest || celsius > warmest {
		t.Fatalf("%s at %v °C, known: %v", w.Step, celsius, known)
	}
}

// everBuilt reports whether the build was released, and so is complete.
func built(live []journal.Entry) bool {
	return slices.ContainsFunc(live, func(e journal.Entry) bool {
		f, ok := e.Facts.(journal.Released)
		return ok && f.Step == "release"
	}) || !slices.ContainsFunc(live, func(e journal.Entry) bool {
		f, ok := e.Facts.(journal.JobOpened)
		return ok && f.Procedure == buildSum
	})
}

// standing gives the entries that were not taken back.
func standing(entries []journal.Entry) []journal.Entry {
	gone := map[int64]bool{}
	for _, e := range entries {
		if u, ok := e.Facts.(journal.Undone); ok {
			for _, p := range u.TakesBack {
				gone[p] = true
			}
		}
	}
	var live []journal.Entry
	for _, e := range entries {
		if !gone[e.Position] {
			live = append(live, e)
		}
	}
	return live
}

func (l *life) mayTrust(live []journal.Entry, e journal.Entry) bool {
	if _, start := e.Facts.(journal.JobOpened); start { // it asks nothing of the clock, and all that comes after it does
		return true
	}
	return !clocked(e) || !slices.ContainsFunc(live, func(before journal.Entry) bool { return clocked(before) && before.Recorded.After(e.Recorded) })
}

// clocked reports whether a clock goes by the entry.
func clocked(e journal.Entry) bool {
	switch e.Facts.(type) {
	case journal.Registered, journal.JobMoved, journal.Witnessed, journal.Noted, journal.Undone, journal.PhotoKept, journal.Sealed, journal.DamageFound, journal.QuarantineCleared, journal.EquipmentChanged, journal.FlightLogged, journal.Retired:
		return false
	}
	return true
}

func adhesiveOf(joint string) steps.Adhesive {
	name := map[string]string{"roots": "contact", "saddle": "epoxy", "skin": "contact"}[joint]
	a, _ := papers().Sheets[sheetSum].Adhesive(name)
	return a
}

// checkWindow recomputes the window of a join from the live coats since the
// last join of the joint: each coat step's latest.
func checkWindow(t *rapid.T, live []journal.Entry, f journal.Joined, e journal.Entry) {
	a := adhesiveOf(f.Joint)
	coats := map[string]journal.Entry{}
	for _, b := range live {
		switch c := b.Facts.(type) {
		case journal.Joined:
			if c.Job == f.Job && c.Joint == f.Joint {
				coats = map[string]journal.Entry{}
			}
		case journal.Coated:
			if c.Job == f.Job && c.Joint == f.Joint {
				coats[c.Step] = b
			}
		}
	}
	faces := map[string]int{"roots": 2, "saddle": 1, "skin": 1}[f.Joint]
	if len(coats) != faces {
		t.Fatalf("%s was joined with %d faces coated", f.Joint, len(coats))
	}
	for _, b := range coats {
		c := b.Facts.(journal.Coated)
		from, to := a.Times.From, a.Times.To
		first := c.Began
		if c.Mixed != nil {
			first = *c.Mixed
		}
		if e.At.Before(b.At.Add(from)) || e.At.After(first.Add(to)) {
			t.Fatalf("%s: coated %v to %v, joined %v", f.Joint, c.Began, b.At, e.At)
		}
		coldest, warmest := climateSince(live, f.Joint, coats, e.At)
		cold := max(1, math.Pow(2, (20-coldest)/10))
		warm := min(1, math.Pow(2, (20-warmest)/10))
		if e.At.Before(b.At.Add(time.Duration(float64(from)*cold)).Truncate(time.Second)) || e.At.After(first.Add(time.Duration(float64(to)*warm))) {
			t.Fatalf("%s at %v to %v °C: coated %v to %v, joined %v", f.Joint, coldest, warmest, c.Began, b.At, e.At)
		}
	}
}

// naiveOutside recomputes whether a joint was joined outside its window, by all
// that is known of the bench; not sure within a second, which rounding decides.
func naiveOutside(live []journal.Entry, j joined) (sure, outside bool) {
	coats := map[string]journal.Entry{}
	for _, b := range live {
		if c, ok := b.Facts.(journal.Coated); ok && b.Position < j.position && c.Job == j.Job && c.Joint == j.Joint {
			coats[c.Step] = b
		}
	}
	a := adhesiveOf(j.Joint)
	coldest, warmest := climateSince(live, j.Joint, coats, j.at)
	sure = true
	for _, b := range coats {
		c := b.Facts.(journal.Coated)
		first := c.Began
		if c.Mixed != nil && c.Mixed.Before(first) {
			first = *c.Mixed
		}
		opens := b.At.Add(slower(a.Times.From, coldest))
		closes := first.Add(time.Duration(float64(a.Times.To) * min(1, math.Pow(2, (20-warmest)/10))))
		sure = sure && j.at.Sub(opens).Abs() > time.Second && j.at.Sub(closes).Abs() > time.Second
		outside = outside || j.at.Before(opens) || j.at.After(closes)
	}
	return sure, outside
}

// climateSince recomputes by time the coldest and warmest temperature from the
// first of the coats to the join: those in force when each was begun and was
// finished, and every one read since.
func climateSince(live []journal.Entry, joint string, coats map[string]journal.Entry, join time.Time) (coldest, warmest float64) {
	first := join
	coldest, warmest = math.Inf(1), math.Inf(-1)
	note := func(celsius float64) { coldest, warmest = min(coldest, celsius), max(warmest, celsius) }
	for _, c := range coats {
		f := c.Facts.(journal.Coated)
		began := f.Began
		if f.Mixed != nil {
			began = *f.Mixed
		}
		if began.Before(first) {
			first = began
		}
		if celsius, known := inForceAt(live, began); known {
			note(celsius)
		}
		celsius, known := inForceAt(live, c.At)
		if !known {
			low, high := works(joint)
			note(low)
			celsius = high
		}
		note(celsius)
	}
	all := readingsBy(live)
	for i, r := range all {
		replaced := i+1 < len(all) && all[i+1].at.Equal(r.at)
		if r.at.After(first) && !r.at.After(join) && !replaced {
			note(r.celsius)
		}
	}
	return coldest, warmest
}

type joined struct {
	journal.Joined
	at       time.Time
	position int64
}

// joins gives the live joins, the latest of each joint.
func joins(live []journal.Entry) map[string]joined {
	all := map[string]joined{}
	for _, e := range live {
		switch f := e.Facts.(type) {
		case journal.Joined:
			all[f.Job+f.Joint] = joined{f, e.At, e.Position}
		case journal.Coated:
			delete(all, f.Job+f.Joint)
		}
	}
	return all
}

// checkRelease recomputes that each critical gate has in-tolerance readings that
// count at every point, newer than every disturbance of its zones, and that no load
// joint is younger than its cure.
func checkRelease(t *rapid.T, before, live []journal.Entry, e journal.Entry) {
	for _, o := range live {
		switch o.Facts.(type) {
		case journal.Noted, journal.PhotoKept, journal.Sealed:
		default:
			if e.At.Before(o.At) {
				t.Fatalf("a release is dated before entry %d, %s", o.Position, o.Facts.Kind())
			}
		}
	}
	checkRepaired(t, live)
	options := before[0].Facts.(journal.Registered).Options
	for _, g := range papers().Sheets[sheetSum].GatesFor(steps.Selection{Has: options}) {
		if !g.Critical {
			continue
		}
		newest := map[string][]journal.Entry{}
		for _, r := range naiveCounting(before, e.At, g) {
			f := r.Facts.(journal.ReadingTaken)
			newest[f.Point] = append(newest[f.Point], r)
		}
		for _, p := range g.PointNames() {
			if len(newest[p]) < g.Repeat {
				t.Fatalf("released with %d readings of %s at %q", len(newest[p]), g.Name, p)
			}
			for _, r := range newest[p][len(newest[p])-g.Repeat:] {
				if naiveDoubt(live, r) {
					t.Fatalf("released on a reading of %s in doubt, entry %d", g.Name, r.Position)
				}
				for _, d := range before[r.Position+1:] {
					if w, ok := journal.WorkOf(d.Facts); ok && g.DependsOn(w.Disturbs...) {
						t.Fatalf("released on a reading of %s older than %s", g.Name, w.Step)
					}
				}
				v, _ := r.Facts.(journal.ReadingTaken).Value.Float("mm")
				if g.Name == "throw" && (v < 8-4 || v > 14+4) {
					t.Fatalf("released on a throw of %v", v)
				}
			}
		}
		if g.Name == "square" {
			l, _ := newest["left"][len(newest["left"])-1].Facts.(journal.ReadingTaken).Value.Float("mm")
			r, _ := newest["right"][len(newest["right"])-1].Facts.(journal.ReadingTaken).Value.Float("mm")
			if math.Abs(l-r) > 3 {
				t.Fatalf("released %v mm out of square", math.Abs(l-r))
			}
		}
	}
	for _, j := range joins(live) {
		if cure := naiveCure(live, j); e.At.Before(j.at.Add(cure)) {
			t.Fatalf("released %v after joining %s, which cures in %v", e.At.Sub(j.at), j.Joint, cure)
		}
	}
	for _, g := range inForce(live, math.MaxInt64).GatesFor(steps.Selection{Has: options}) {
		if stands := naiveStands(before, e.At, g, Current); !naiveMet(before, e.At, g, stands) {
			t.Fatalf("released with %s %s", g.Name, stands)
		}
	}
}

// naiveMet recomputes whether a release may be given on a gate that stands so: it is
// in tolerance, or it is not critical and was conceded.
func naiveMet(entries []journal.Entry, now time.Time, g steps.Gate, stands GateStanding) bool {
	switch stands {
	case Current, "":
		return true
	case Failed:
		last := int64(-1)
		for _, r := range naiveCounting(entries, now, g) {
			last = max(last, r.Position)
		}
		return !g.Critical && slices.ContainsFunc(standing(entries), func(e journal.Entry) bool {
			f, ok := e.Facts.(journal.ConcessionGranted)
			return ok && f.Gate == g.Name && e.Position > last
		})
	case StaleGate:
		return naiveAccepted(entries, now, g)
	}
	return false
}

// naiveAccepted recomputes that it is conceded that nobody measured the gate: the last
// concession was granted after every reading, and a reading in its place would count.
func naiveAccepted(entries []journal.Entry, now time.Time, g steps.Gate) bool {
	last := int64(-1)
	for _, e := range standing(entries) {
		switch f := e.Facts.(type) {
		case journal.ConcessionGranted:
			if f.Gate == g.Name {
				last = e.Position
			}
		case journal.ReadingTaken:
			if f.Gate == g.Name {
				last = -1
			}
		}
	}
	if last < 0 {
		return false
	}
	as := slices.Clone(entries)
	as[last].Facts = journal.ReadingTaken{Gate: g.Name, Point: "all of it"}
	return slices.ContainsFunc(naiveCounting(as, now, g), func(e journal.Entry) bool { return e.Position == last })
}

// checkDue recomputes which gates must be measured before it may fly, from the journal
// alone, and what the measure step of a repair asks for. Where a gate was taken, and a step
// of the build will take it again, it depends on how far the build is; zones_test.go
// works that out by hand.
func (l *life) checkDue(t *rapid.T) {
	live := standing(l.state.Entries)
	build := slices.ContainsFunc(live, func(e journal.Entry) bool {
		f, ok := e.Facts.(journal.JobOpened)
		return ok && (f.Procedure == buildSum || f.Procedure == attendedSum)
	})
	did := func(is func(journal.Work) bool) bool {
		return slices.ContainsFunc(live, func(e journal.Entry) bool {
			w, ok := journal.WorkOf(e.Facts)
			return ok && w.Job == "plover-build" && is(w)
		})
	}
	takes := map[string][]string{"slot": {"measure-slot", "measure-square"}, "square": {"measure-square"}, "throw": {"measure-throw"}}
	begins := map[string][]string{"wing": {"join-roots"}, "pod": {"cut-pod", "sand-pod"}, "tail": {"hinge-rudder"}}
	due := l.state.Due(l.now)
	rudder := slices.Contains(l.state.Entries[0].Facts.(journal.Registered).Options, "rudder")
	for _, g := range l.state.Gates(l.now) {
		stands := naiveStands(l.state.Entries, l.now, g.Gate, plainly(g))
		if stands == "" {
			continue
		}
		taken := slices.ContainsFunc(live, func(e journal.Entry) bool {
			f, ok := e.Facts.(journal.ReadingTaken)
			return ok && f.Gate == g.Gate.Name
		})
		left := build && slices.ContainsFunc(takes[g.Gate.Name], func(step string) bool {
			return !did(func(w journal.Work) bool { return w.Step == step })
		})
		absent := build && slices.ContainsFunc(g.Gate.Of, func(zone string) bool {
			return (zone != "tail" || rudder) && !did(func(w journal.Work) bool { return slices.Contains(begins[zone], w.Step) })
		})
		want := !absent && !naiveMet(l.state.Entries, l.now, g.Gate, stands) && !(left && !taken)
		if left && taken && want {
			continue
		}
		if has := slices.ContainsFunc(due, func(d GateReport) bool { return d.Gate.Name == g.Gate.Name }); has != want {
			t.Fatalf("%s is %s and due: %v, recomputed: %v", g.Gate.Name, g.Says().Text, has, want)
		}
		for _, job := range l.state.OpenJobs(l.now) {
			step, _, ok := job.Procedure.Step("measure-again")
			if !ok {
				continue
			}
			asked := slices.ContainsFunc(l.state.GatesOf(job, step, l.now), func(d GateReport) bool { return d.Gate.Name == g.Gate.Name && !d.Met() })
			if other := slices.ContainsFunc(l.state.OpenDamages(l.now), func(d *Damage) bool { return g.Gate.DependsOn(d.Zone) && !slices.Contains(job.Damages, d.Damage) }); other && !asked {
				continue // the repair of the damage asks for it
			}
			if asked != want {
				t.Fatalf("%s is %s and asked for: %v, recomputed: %v", g.Gate.Name, g.Says().Text, asked, want)
			}
		}
	}
}

// condition recomputes what was last said of a condition by the time, by time.
// What was taken back leaves unknown what was entered or said before it, and a
// flight or a crash what was said before it, or entered before it by a clock that
// has gone back since.
func condition(entries []journal.Entry, name string, at time.Time) string {
	type statement struct {
		position int64
		at       time.Time
		state    string
	}
	live := map[int64]bool{}
	for _, e := range standing(entries) {
		live[e.Position] = true
	}
	var last statement
	var unknown []journal.Entry
	var clock time.Time
	later := func(e journal.Entry) bool { return !e.At.Before(last.at) } // entries come in the order of their positions
	for _, e := range entries {
		w, _ := journal.WorkOf(e.Facts)
		said, ends := w.Sets, false
		switch f := e.Facts.(type) {
		case journal.ConditionSet:
			said = []steps.Setting{f.Setting}
		case journal.UseCleared:
			said = []steps.Setting{{Condition: "hold of " + f.Of, State: strings.Join(f.Lines, "\n")}}
		case journal.FlightLogged, journal.DamageFound:
			said, ends = []steps.Setting{{Condition: name}}, true
		}
		for _, s := range said {
			if s.Condition != name {
				continue
			}
			if !live[e.Position] || ends && e.Recorded.Before(clock) {
				unknown = append(unknown, e)
			}
			if live[e.Position] && !e.At.After(at) && later(e) {
				last = statement{e.Position, e.At, s.State}
			}
		}
		if live[e.Position] && clocked(e) && e.Recorded.After(clock) {
			clock = e.Recorded
		}
	}
	for _, e := range unknown {
		if e.Position > last.position || e.At.After(last.at) && !e.At.After(at) {
			return ""
		}
	}
	if (name == "ventilation" || strings.HasPrefix(name, "hold of ")) && at.Sub(last.at) > 6*time.Hour {
		return ""
	}
	return last.state
}

// check looks at the whole life at its end.
func (l *life) check(t *rapid.T) {
	entries := l.state.Entries
	records, err := journal.Encode(entries)
	if err != nil {
		t.Fatal(err)
	}
	back, err := journal.Decode(records, 0)
	if err != nil {
		t.Fatal(err)
	}
	again := replay(t, back)
	if a, b := describe(l.state, l.now), describe(again, l.now); a != b {
		t.Fatalf("replaying what was stored gives another state:\n%s\n%s", a, b)
	}
	l.checkGates(t)
	l.checkNext(t)
	l.checkDue(t)
	l.checkTimes(t)
	l.checkMoments(t)
	l.checkSchedule(t)
}

// checkNext holds what is worked out for the next step against every reason there is: it leaves out only why a step waits
// beside the work that comes before its stage, which neither time nor anybody ends there and then.
func (l *life) checkNext(t *rapid.T) {
	for _, job := range l.state.OpenJobs(l.now) {
		all := l.state.Steps(job, l.now)
		for i, brief := range l.state.trusted(l.state.stepsIn(job, l.now, every, false), l.now) {
			whole := all[i]
			if len(brief.Reasons) < len(whole.Reasons) && (brief.Reasons[0].Because != ByOrder || !opens(brief).IsZero()) {
				t.Fatalf("%s waits for %v, and of %v nothing is said", whole.Step.Name, brief.Reasons, whole.Reasons)
			}
			if atHand(brief) != atHand(whole) || pressing(brief) != pressing(whole) || resolvable(brief) != resolvable(whole) || reworkable(brief) != reworkable(whole) || !opens(brief).Equal(opens(whole)) {
				t.Fatalf("%s stands otherwise by %v than by %v", whole.Step.Name, brief.Reasons, whole.Reasons)
			}
			brief.Reasons, whole.Reasons = nil, nil
			if !reflect.DeepEqual(brief, whole) {
				t.Fatalf("%+v is %+v", whole, brief)
			}
		}
	}
}

// checkSchedule plans what is left, whatever happened: the plan holds what was asked, and its first turn is held back by
// nothing that time or order has to do with.
func (l *life) checkSchedule(t *rapid.T) {
	h := Hours{Again: true, Tight: rapid.Bool().Draw(t, "tight"), Hands: rapid.IntRange(1, 2).Draw(t, "hands")}
	for day := range 7 {
		from := l.now.AddDate(0, 0, day).Add(time.Duration(rapid.IntRange(-20, 90).Draw(t, "later")) * time.Minute)
		h.Sittings = append(h.Sittings, Sitting{from, from.Add(time.Duration(rapid.IntRange(30, 180).Draw(t, "lasts")) * time.Minute)})
	}
	h.Watch = func(p plan.Problem, r plan.Result) {
		if r.Starts == nil {
			return
		}
		if err := plan.Check(p, r.Starts); err != nil {
			t.Fatal(err)
		}
	}
	p, err := Schedule(t.Context(), []*State{l.state}, l.now, h, plan.Options{Think: 20 * time.Millisecond})
	var no *NoPlan
	switch {
	case errors.As(err, &no) && (no.InHours || no.Why == TooLong || no.Why == TooShort || no.Why == NotFound): // a short sitting, a cold bench
		return
	case err != nil:
		t.Fatalf("%v: %#v", err, no)
	}
	if len(p.Visits) == 0 {
		return
	}
	first := p.Visits[0].Turns[0]
	r, _, err := l.state.FindStep(first.Job+"/"+first.Step, first.Begins)
	if err != nil {
		t.Fatal(err)
	}
	for _, reason := range r.Reasons {
		switch reason.Because {
		case ByOrder, ByDrying, ByLapse, ByClock, ByDamage, ByState:
			t.Fatalf("the first turn, %s of %s, is held back then: %+v", first.Step, first.Job, r.Reasons)
		}
	}
}

// checkMoments cuts the time after the life anywhere: each moment is in one part, and
// whenever a joint changes there is one.
func (l *life) checkMoments(t *rapid.T) {
	end := l.now.Add(30 * time.Hour)
	var all []Moment
	for from := l.now; from.Before(end); {
		until := from.Add(time.Duration(rapid.SampledFrom([]int{1, 59, 60, 240, 300, 3600, 86400}).Draw(t, "seconds")) * time.Second)
		all = append(all, l.state.Moments(from, until)...)
		from, end = until, later(end, until)
	}
	if whole := l.state.Moments(l.now, end); !slices.Equal(all, whole) {
		t.Fatalf("in parts the moments are\n%+v\nand in one\n%+v", all, whole)
	}
	if l.state.Retired != nil {
		return
	}
	for _, j := range l.state.joints() {
		// A window that closes right now has its moment now, and not after it.
		for from := l.now.Add(1); from.Before(end); {
			until := from.Add(7*time.Minute + time.Second)
			was, is := l.state.Phase(j, from), l.state.Phase(j, until)
			said := slices.ContainsFunc(all, func(m Moment) bool {
				return (m.Name == j.Name || m.Event == IsLate) && !m.At.Before(from) && !m.At.After(until)
			})
			if was != is && !said {
				t.Fatalf("%s is %s at %v and %s at %v, and there is no moment between: %+v", j.Name, was, from, is, until, all)
			}
			from = until
		}
	}
}

// checkTimes recomputes what stood at every moment of the life: the bench, the
// conditions and each joint.
func (l *life) checkTimes(t *rapid.T) {
	live := standing(l.state.Entries)
	for _, e := range l.state.Entries {
		for _, at := range []time.Time{e.At.Add(-time.Second), e.At, e.At.Add(6*time.Hour + time.Second)} {
			have, known := l.state.Temperature(at)
			if want, isKnown := inForceAt(live, at); known != isKnown || known && have != want {
				t.Fatalf("at %v the bench is at %v °C, known: %v; recomputed: %v, %v", at, have, known, want, isKnown)
			}
			for _, name := range []string{"propeller", "ventilation"} {
				if have, want := l.state.Holds(name, at), condition(l.state.Entries, name, at); have != want {
					t.Fatalf("at %v %s: %q, recomputed: %q", at, name, have, want)
				}
			}
		}
	}
	for _, j := range joins(live) {
		job, err := l.state.Job(j.Job)
		if err != nil {
			t.Fatal(err)
		}
		joint, _ := job.Joint(j.Joint)
		if sure, outside := naiveOutside(live, j); sure && joint.Doubted() != outside {
			t.Fatalf("%s: in doubt: %v, recomputed: %v", j.Joint, joint.Doubted(), outside)
		}
		if have, want := joint.Handles(), naiveHandles(live, j); have.Sub(want).Abs() > time.Second {
			t.Fatalf("%s has handling strength at %v, recomputed: %v", j.Joint, have, want)
		}
		if cures := j.at.Add(naiveCure(live, j)); joint.Cures().Before(cures) {
			t.Fatalf("%s is cured at %v, recomputed: %v", j.Joint, joint.Cures(), cures)
		}
	}
}

// checkGates recomputes how every gate stands, and what the audit says.
func (l *life) checkGates(t *rapid.T) {
	entries := l.state.Entries
	audited(t, l.state, l.now)
	l.checkRemembered(t)
	for _, g := range l.state.Gates(l.now) {
		has := plainly(g)
		want := naiveStands(entries, l.now, g.Gate, has)
		if want == StaleGate && naiveAccepted(entries, l.now, g.Gate) {
			want, has = Conceded, g.Standing
		}
		if want != "" && want != has {
			t.Fatalf("%s is %s, recomputed: %s", g.Gate.Name, g.Says().Text, want)
		}
	}
}

// plainly is how a gate stands, in the words of the second opinion.
func plainly(g GateReport) GateStanding {
	switch g.Standing {
	case NeverTaken:
		return StaleGate
	case Undecided, Conceded:
		return Failed
	}
	return g.Standing
}

// checkRemembered holds that what is remembered of a gate is what is worked out anew: once
// only its last reading is young enough to count, and under another sheet.
func (l *life) checkRemembered(t *rapid.T) {
	s := l.state
	if s.Size()%2 == 0 {
		s = s.Under(papers().Sheets[strictSum])
	}
	fresh := *s
	fresh.memo = nil
	for _, g := range s.Sheet.GatesFor(s.selected) {
		at := s.report(g, l.now).Last.AddDate(0, 0, 30).Add(-time.Second)
		said := func(s *State) string {
			r := s.report(g, at)
			j := r.Finding.Judged
			return fmt.Sprint(r.Standing, r.Reason, r.By, r.Last, r.Rests, r.Repeat, r.Doubted, len(r.Points), len(r.Doubts.Gauges), r.Finding.Margin, r.Finding.Missing, j.Value, j.U, j.Probability, j.Further)
		}
		if has, want := said(s), said(&fresh); has != want {
			t.Fatalf("%s at %v is remembered as\n%s, and worked out as\n%s", g.Name, at, has, want)
		}
	}
}

// naiveCounting recomputes the readings that count from the whole journal: no
// later entry disturbed a zone of its gate, by entry or by time, its life has
// not run out, and neither it nor a later one at its point is in doubt.
func naiveCounting(entries []journal.Entry, now time.Time, g steps.Gate) []journal.Entry {
	live := map[int64]bool{}
	stand := standing(entries)
	for _, e := range stand {
		live[e.Position] = true
	}
	var counting []journal.Entry
	for _, r := range entries {
		f, ok := r.Facts.(journal.ReadingTaken)
		if !ok || f.Gate != g.Name || !live[r.Position] {
			continue
		}
		doubted := slices.ContainsFunc(stand, func(o journal.Entry) bool {
			of, ok := o.Facts.(journal.ReadingTaken)
			return ok && of.Gate == f.Gate && of.Point == f.Point && (o.Position >= r.Position || o.At.After(r.At)) && naiveDoubt(stand, o)
		})
		good, flights := !doubted, 0
		for _, d := range entries {
			var zones []string
			if w, ok := journal.WorkOf(d.Facts); ok {
				zones = w.Disturbs
			}
			switch f := d.Facts.(type) {
			case journal.Reworked:
				zones = f.Disturbs
			case journal.DamageFound:
				if f.Severity != "cosmetic" || len(g.Of) == 1 { // a mark shifts nothing
					zones = []string{f.Zone}
				}
			case journal.EquipmentChanged:
				zones = append(zones, f.Disturbs...)
				if g.Mass {
					zones = append(zones, g.Of...)
				}
			case journal.Undone:
				for _, p := range f.TakesBack {
					if c, is := entries[p].Facts.(journal.EquipmentChanged); is && c.Change != Moved {
						zones = append(zones, c.Disturbs...)
						if g.Mass {
							zones = append(zones, g.Of...)
						}
					}
				}
			case journal.FlightLogged:
				if live[d.Position] && (d.Position > r.Position || d.At.After(r.At)) {
					flights++
				}
			}
			if !g.DependsOn(zones...) {
				continue
			}
			if d.Position > r.Position || live[d.Position] && d.At.After(r.At) {
				good = false
			}
		}
		for _, j := range joins(stand) {
			if g.DependsOn(j.Disturbs...) && r.At.Before(naiveHandles(stand, j)) {
				good = false
			}
		}
		old := g.Validity.Days > 0 && !now.Before(r.At.AddDate(0, 0, g.Validity.Days))
		flown := g.Validity.Flights > 0 && flights >= g.Validity.Flights
		if good && !old && !flown {
			counting = append(counting, r)
		}
	}
	return counting
}

// naiveHandles recomputes when a joint has handling strength: at the coldest of
// the bench in force when it was joined, of the one entered last before that, of
// all that was entered since, and of all that was read while it set. What is
// typed in later, of earlier, makes it later and never sooner.
func naiveHandles(live []journal.Entry, j joined) time.Time {
	var known []journal.Entry
	for _, e := range live {
		if e.Position < j.position {
			known = append(known, e)
		}
	}
	coldest, ok := inForceAt(known, j.at)
	if !ok {
		coldest, _ = works(j.Joint)
	}
	for _, e := range slices.Backward(known) {
		if f, ok := e.Facts.(journal.BenchRead); ok {
			celsius, _ := f.Temperature.Celsius()
			coldest = min(coldest, celsius)
			break
		}
	}
	least := adhesiveOf(j.Joint).Times.Handling
	handles := func() time.Time { return j.at.Add(slower(least, coldest)) }
	whileItSets := func() {
		all := readingsBy(known)
		for i, r := range all {
			replaced := i+1 < len(all) && all[i+1].at.Equal(r.at)
			if r.at.After(j.at) && r.at.Before(handles()) && !replaced {
				coldest = min(coldest, r.celsius)
			}
		}
	}
	whileItSets()
	for _, e := range live {
		f, ok := e.Facts.(journal.BenchRead)
		if !ok || e.Position < j.position {
			continue
		}
		known = append(known, e)
		if celsius, _ := f.Temperature.Celsius(); e.At.Before(handles()) {
			coldest = min(coldest, celsius)
			whileItSets()
		}
	}
	return handles()
}

// carriedOut reports whether every step of the job is in the journal.
func carriedOut(live []journal.Entry, job journal.JobOpened) bool {
	for _, step := range papers().Procedures[job.Procedure].Steps() {
		if !slices.ContainsFunc(live, func(e journal.Entry) bool {
			w, ok := journal.WorkOf(e.Facts)
			return ok && w.Job == job.Job && w.Step == step.Name
		}) {
			return false
		}
	}
	return true
}

// staysOff recomputes that nothing of the kind was put back after it was taken
// off, by entry or by time.
func staysOff(live []journal.Entry, off journal.Entry) bool {
	item := off.Facts.(journal.EquipmentChanged).Item
	return !slices.ContainsFunc(live, func(e journal.Entry) bool {
		f, ok := e.Facts.(journal.EquipmentChanged)
		return ok && f.Item == item && f.Change != Removed && (e.Position > off.Position || e.At.After(off.At))
	})
}

// checkRepaired holds that nothing found is left unrepaired, in quarantine aboard
// or unchecked when a release is given.
func checkRepaired(t *rapid.T, live []journal.Entry) {
	for i, e := range live {
		var answered, cleared bool
		for _, later := range live[i+1:] {
			switch f := later.Facts.(type) {
			case journal.JobOpened:
				if d, ok := e.Facts.(journal.DamageFound); ok {
					answered = answered || slices.Contains(f.Damages, d.Damage) && carriedOut(live, f)
				} else {
					answered = answered || f.Procedure == repairSum && !later.At.Before(e.At) && carriedOut(live, f)
				}
			case journal.QuarantineCleared:
				d, ok := e.Facts.(journal.DamageFound)
				lies := map[string]time.Duration{"puffed on pod": 6 * time.Hour, "something odd on pod": 6 * time.Hour}[d.Finding+" on "+d.Zone]
				cleared = cleared || ok && f.Damage == d.Damage && !later.At.Before(e.At.Add(lies))
			case journal.EquipmentChanged:
				d, ok := e.Facts.(journal.DamageFound)
				cleared = cleared || ok && f.Change == Removed && slices.Contains(f.Disturbs, d.Zone) && staysOff(live, later)
			}
		}
		switch f := e.Facts.(type) {
		case journal.DamageFound:
			if !answered {
				t.Fatalf("released with %s unrepaired", f.Damage)
			}
			words := f.Finding == "something odd" && (f.Zone == "pod" || f.Zone == "wing")
			if (f.Finding == "dented" || f.Finding == "puffed" || words) && !cleared {
				t.Fatalf("released with %s in quarantine", f.Damage)
			}
		case journal.FlightLogged:
			if f.Landing == Hard && !answered {
				t.Fatal("released without the check that a hard landing asks for")
			}
		}
	}
}

// Random gluing: steps of glue in one act and in two, a joint of two parts, a wait
// with an end, and reworks that glue, asked for in any order and taken back. What
// the journal holds is held against the rules by its entries alone.
func TestRandomGluing(t *testing.T) {
	often(t, func(t *rapid.T) {
		s := gluingSheet()
		s.Gates[1].Reworks = []steps.Rework{{Do: "pack it"}, {Do: "glue it", Disturbs: []string{"wing"}, Joint: "roots", Adhesives: []string{"epoxy", "contact"}}}
		p := &steps.Procedure{Name: "work", Title: "Work", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{
			partly(glue("lay-root", "rod", "hot", "contact")), glue("lay-tip", "rod", "hot", "contact"),
			coating("coat", "roots"), {Name: "end", Kind: steps.Wait, By: q("5 min"), Late: "coat"}, coating("part", "roots"),
			{Name: "join", Kind: steps.Join, Joint: "roots", Load: true, Disturbs: []string{"wing"}},
			{Name: "measure", Kind: steps.Measure, Gates: []string{"square"}}}}}}
		docs := documents()
		docs.Procedures["sha256:work"], docs.Sheets["sha256:own"] = p, s
		state, err := Replay(nil, docs)
		if err != nil {
			t.Fatal(err)
		}
		now := evening
		try := func(r Request) {
			entries, err := state.Decide(r, Circumstances{Now: now, By: "builder", Program: "test"})
			if err != nil {
				return
			}
			if state, err = Replay(append(state.Entries[:len(state.Entries):len(state.Entries)], entries...), docs); err != nil {
				t.Fatalf("%+v is recorded and can't be replayed: %v", r, err)
			}
		}
		try(Register{Mark: "PL-01", Sheet: s, Digest: "sha256:own"})
		try(Start{Procedure: p, Digest: "sha256:work", Sheet: s, SheetDigest: "sha256:own"})
		for range rapid.IntRange(20, 80).Draw(t, "length") {
			now = now.Add(time.Duration(rapid.SampledFrom([]int{0, 0, 10, 60, 60, 240, 600, 3600, 40000}).Draw(t, "seconds")) * time.Second)
			if _, known := state.Temperature(now); !known {
				try(ReadBench{Temperature: q("20 °C")})
			}
			names := []string{"lay-root", "lay-tip", "coat", "part", "join"}
			with := rapid.SampledFrom([]string{"", "", "hot", "contact", "epoxy"}).Draw(t, "with")
			var began, mixed time.Time
			if rapid.IntRange(0, 3).Draw(t, "began") == 0 {
				began = now.Add(-time.Minute)
			}
			if with == "epoxy" {
				mixed = now.Add(-time.Duration(rapid.SampledFrom([]int{1, 24, 26}).Draw(t, "mixed")) * time.Minute)
			}
			switch rapid.IntRange(0, 14).Draw(t, "what") {
			case 0:
				try(Undo{Position: state.Size() - int64(rapid.IntRange(1, 8).Draw(t, "back"))})
			case 1, 2:
				try(readings("square", "left=500mm", "right="+rapid.SampledFrom([]string{"501mm", "510mm"}).Draw(t, "right")))
			case 3, 4:
				try(Rework{Gate: "square", Way: rapid.IntRange(0, 2).Draw(t, "way"), With: with, Began: began, Mixed: mixed})
			case 5:
				try(Finish{Step: rapid.SampledFrom(names).Draw(t, "step"), With: with, Began: began})
			default:
				next := state.Next(now)
				if next.Step == nil {
					now = later(now, next.Until)
					continue
				}
				of := ""
				if strings.HasPrefix(next.Step.Step.Name, "lay") {
					of = rapid.SampledFrom([]string{"", "hot", "contact"}).Draw(t, "of")
				}
				try(Finish{Step: next.Step.Step.Name, With: of})
			}
			heldByTheEntries(t, standing(state.Entries), s, func(position int64) bool {
				square, err := state.GateReport("square", now)
				return err != nil || slices.Contains(square.Rests, position)
			})
		}
		again, err := Replay(state.Entries, docs)
		if err != nil || describe(again, now) != describe(state, now) {
			t.Fatalf("replayed, it is another state: %v", err)
		}
	})
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// heldByTheEntries recomputes, at an even bench of 20 °C, that every join had a
// coat of its own inside its window, that no reading was taken before a joint had
// its strength, and that what had to follow in time did. A reading that only an undo
// after it shows to be too early, since the coat that had opened the joint again was
// taken back, must not count until another coat opens it.
func heldByTheEntries(t *rapid.T, live []journal.Entry, s *steps.Sheet, counts func(position int64) bool) {
	var undone int64
	for _, e := range live {
		if _, ok := e.Facts.(journal.Undone); ok {
			undone = e.Position
		}
	}
	type key struct{ job, step, joint string }
	coats := map[key]journal.Entry{}
	var joined, early []journal.Entry
	for _, e := range live {
		switch f := e.Facts.(type) {
		case journal.Coated:
			if f.Joint == "roots" && f.Job != "" {
				early = nil
			}
			// Coated again, the joint is open, and its next join disturbs what was read.
			joined = slices.DeleteFunc(joined, func(j journal.Entry) bool {
				of := j.Facts.(journal.Joined)
				return f.Joint == "roots" && f.Job != "" && of.Job == f.Job && of.Joint == f.Joint
			})
			if f.Step == "part" {
				if c, ok := coats[key{f.Job, "coat", f.Joint}]; !ok || e.At.Sub(c.At) > 5*time.Minute {
					t.Fatalf("parted at %v, coated at %v", e.At, c.At)
				}
			}
			coats[key{f.Job, f.Step, f.Joint}] = e
		case journal.Joined:
			steps := []string{f.Step}
			if f.Step == "join" {
				steps = []string{"coat", "part"}
			}
			for _, step := range steps {
				c, ok := coats[key{f.Job, step, f.Joint}]
				if !ok {
					t.Fatalf("%s was joined by %q without the coat of %q", f.Joint, f.Step, step)
				}
				of := c.Facts.(journal.Coated)
				a, _ := s.Adhesive(of.Adhesive)
				starts := of.Began
				if of.Mixed != nil && of.Mixed.Before(starts) {
					starts = *of.Mixed
				}
				if e.At.Sub(c.At) < a.Times.From || e.At.Sub(starts) > a.Times.To {
					t.Fatalf("%s was joined at %v with %s of %v, begun %v", f.Joint, e.At, a.Name, c.At, starts)
				}
			}
			joined = append(joined, e)
		case journal.ReadingTaken:
			for _, j := range joined {
				of := j.Facts.(journal.Joined)
				if of.Joint != "roots" {
					continue
				}
				handling := 30 * time.Minute
				if of.Job == "" { // by a rework, with either
					c := coats[key{"", "", "roots"}].Facts.(journal.Coated)
					a, _ := s.Adhesive(c.Adhesive)
					handling = a.Times.Handling
					if later := joined[len(joined)-1]; later.Position != j.Position {
						continue
					}
				}
				if e.At.Sub(j.At) >= handling {
					continue
				}
				if undone < e.Position {
					t.Fatalf("square was read at %v, and roots joined at %v", e.At, j.At)
				}
				early = append(early, e)
			}
		}
	}
	for _, e := range early {
		if counts(e.Position) {
			t.Fatalf("square was read at %v, before roots had its strength, and counts", e.At)
		}
	}
}
