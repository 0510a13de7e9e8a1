package workflow

import (
	"slices"
	"testing"

	"fettle/workflow/plan"
)

// What is settled of one copy of what was made once is in no other, though both grow from the same.
func TestWhatWasMadeOnceIsNotShared(t *testing.T) {
	b := hotAndGlued(t, 2, true)
	of := newScheduler([]*State{b.state}, b.now, Hours{Sittings: open(0, 240)})
	of.hands, of.keeps = 1, true
	var copies []*scheduler
	for range 2 {
		c, err := of.made()
		if err != nil {
			t.Fatal(err)
		}
		copies = append(copies, c)
	}
	last, before := len(copies[0].tasks)-1, len(copies[0].delays)
	for n, c := range copies {
		c.delay(0, last, 1000+n, tie{why: AfterWait, step: string(rune('a' + n))})
		c.either(plan.Delay{Least: n}, plan.Delay{Least: n}, tie{step: string(rune('a' + n))})
		c.stops, c.answers = append(c.stops, Stop{Step: string(rune('a' + n))}), append(c.answers, Answer{Step: string(rune('a' + n))})
		c.rows[0].all = append(c.rows[0].all, n)
		c.tasks[last].until(n)
	}
	for n, c := range copies {
		name := string(rune('a' + n))
		if len(c.delays) != before+1 || c.delays[before].Least != 1000+n || c.ties[before].step != name {
			t.Errorf("%d: delays %v, ties %v", n, c.delays[before:], c.ties[before:])
		}
		if k := len(c.eithers) - 1; c.eithers[k].One.Least != n || c.eitherBy[k].step != name {
			t.Errorf("%d: eithers %v, by %v", n, c.eithers, c.eitherBy)
		}
		if c.stops[len(c.stops)-1].Step != name || c.answers[len(c.answers)-1].Step != name || c.tasks[last].latest != n {
			t.Errorf("%d: stops %v, answers %v, latest %d", n, c.stops, c.answers, c.tasks[last].latest)
		}
		if k := len(c.rows[0].all) - 1; c.rows[0].all[k] != n || k != len(of.uncut.rows[0].all) {
			t.Errorf("%d: row %v, of %v", n, c.rows[0].all, of.uncut.rows[0].all)
		}
	}
	if len(of.uncut.delays) != before || slices.ContainsFunc(of.uncut.tasks, func(t task) bool { return t.limited }) {
		t.Errorf("what was made once has %d delays, before %d", len(of.uncut.delays), before)
	}
}
