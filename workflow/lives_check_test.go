package workflow

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
	"fettle/workflow/plan"
)

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

// checkSchedule plans what is left, whatever happened: the plan holds what was asked, and its first turn is held back by
// nothing that time or order has to do with.
func (l *life) checkSchedule(t *rapid.T) {
	h := Hours{Again: true, Tight: rapid.Bool().Draw(t, "tight"), Hands: rapid.IntRange(1, 2).Draw(t, "hands")}
	for day := range 7 {
		from := l.now.AddDate(0, 0, day).Add(time.Duration(rapid.IntRange(-20, 90).Draw(t, "later")) * time.Minute)
		h.Sittings = append(h.Sittings, Sitting{from, from.Add(time.Duration(rapid.IntRange(4, 180).Draw(t, "lasts")) * time.Minute)})
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
	// All of what leaves a step out, since that fits no sitting, has no plan; and no coat is put on that isn't joined.
	if slices.ContainsFunc(p.Stops, func(stop Stop) bool { return stop.Reasons[0].Because == ByTime }) {
		of := newScheduler([]*State{l.state}, l.now, h)
		of.whole = true
		if all, err := of.find(t.Context(), plan.Options{Think: 20 * time.Millisecond}); err == nil {
			t.Fatalf("%+v is left out of %s, and this is a plan: %s", p.Stops, says(p), says(all))
		}
	}
	planned := map[string]bool{}
	for _, turn := range p.Planned(l.state.Airframe.Mark) {
		planned[turn.Job+"/"+turn.Step] = true
	}
	for _, j := range l.state.OpenJobs(l.now) {
		for _, step := range j.Procedure.Steps() {
			for _, part := range j.Procedure.JointParts(step.Joint) {
				if lists.Contains(part.Coats, step.Name) && len(j.Procedure.JointParts(step.Joint)) == 1 && part.Join != "" && planned[j.ID+"/"+step.Name] && !planned[j.ID+"/"+part.Join] {
					t.Fatalf("%s is planned and %s is not: %s", step.Name, part.Join, says(p))
				}
			}
		}
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
	for _, m := range all {
		if (m.Event == HasLapsed || m.Event == IsLate) && l.state.Untrusted(m.At) != nil {
			t.Fatalf("by a clock that can't be trusted then: %+v", m)
		}
	}
	if l.state.Retired != nil {
		return
	}
	for _, j := range l.state.joints() {
		// A window that closes right now has its moment now, and not after it.
		for from := l.now.Add(1); from.Before(end); {
			until := from.Add(7*time.Minute + time.Second)
			if until.After(end) { // of after that no moment was asked
				until = end
			}
			was, is := l.state.Phase(j, from), l.state.Phase(j, until)
			said := slices.ContainsFunc(all, func(m Moment) bool {
				return (m.Name == j.Name || m.Event == IsLate) && !m.At.Before(from) && !m.At.After(until)
			})
			// By a clock that is known to be wrong nothing is said to have lapsed.
			if was != is && !said && l.state.Untrusted(until) == nil {
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

// checkNext holds what is worked out for the next step against every reason there is: it leaves out only why a step waits
// beside the work that comes before its stage, which neither time nor anybody ends there and then.
func (l *life) checkNext(t *rapid.T) {
	for _, job := range l.state.OpenJobs(l.now) {
		all := slices.DeleteFunc(l.state.Steps(job, l.now), func(r StepReport) bool { return r.Progress == Done || r.Progress == Later })
		next := l.state.trusted(l.state.stepsIn(job, l.now, every, false), l.now)
		if len(next) != len(all) {
			t.Fatalf("%d steps are looked at for what is next, of %d whose turn has come", len(next), len(all))
		}
		for i, brief := range next {
			whole := all[i]
			if len(brief.Reasons) < len(whole.Reasons) && (brief.Reasons[0].Because != ByOrder || !opens(&brief).IsZero()) {
				t.Fatalf("%s waits for %v, and of %v nothing is said", whole.Step.Name, brief.Reasons, whole.Reasons)
			}
			if atHand(&brief) != atHand(&whole) || pressing(&brief) != pressing(&whole) || resolvable(&brief) != resolvable(&whole) || reworkable(&brief) != reworkable(&whole) || !opens(&brief).Equal(opens(&whole)) {
				t.Fatalf("%s stands otherwise by %v than by %v", whole.Step.Name, brief.Reasons, whole.Reasons)
			}
			brief.Reasons, whole.Reasons = nil, nil
			if !reflect.DeepEqual(brief, whole) {
				t.Fatalf("%+v is %+v", whole, brief)
			}
		}
	}
}
