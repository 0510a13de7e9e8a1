package workflow

import (
	"math"
	"slices"
	"strings"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow/journal"
)

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
