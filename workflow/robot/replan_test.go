package robot_test

import (
	"strings"
	"testing"
	"time"

	"fettle/workflow"
	"fettle/workflow/plan"
)

// After a slip of 25 minutes the builds are planned anew: nothing begins in the past, no window is broken, and what is left
// is done in the order that was shown but for one pair in twenty.
func TestASlipKeepsTheOrder(t *testing.T) {
	t.Parallel()
	for _, design := range []string{"reed", "skerry", "jetty", "causeway"} {
		w := begun(t, design, strings.ToUpper(design))
		c := crew{w}
		h := workflow.Hours{Sittings: evenings(w.Now, 26)}
		shown, err := c.plan(t, w.Now, h, plan.Options{Think: time.Minute}) // on any machine
		if err != nil {
			t.Fatal(err)
		}
		for _, turn := range shown.Visits[0].Turns[:3] {
			w.Now = turn.Begins
			if err := w.Do(turn.Job+"/"+turn.Step, turn.Ends.Sub(turn.Begins)); err != nil {
				t.Fatal(err)
			}
		}
		now := w.Now.Add(25 * time.Minute)
		h.Like = &shown
		again, err := c.plan(t, now, h, plan.Options{Think: time.Second})
		if err != nil {
			t.Fatal(err)
		}
		place := map[string]int{}
		for i, p := range shown.Planned(w.State.Airframe.Mark) {
			if p.Step != "" { // else something is ended for now, or set once more
				place[p.Job+p.Step+string(p.Act)] = i
			}
		}
		var order []int
		for _, p := range again.Planned(w.State.Airframe.Mark) {
			if p.Begins.Before(now) {
				t.Errorf("%s: %s begins at %s, before %s", design, p.Step, p.Begins, now)
			}
			if at, known := place[p.Job+p.Step+string(p.Act)]; p.Step == "" {
				continue
			} else if known {
				order = append(order, at)
			} else {
				t.Errorf("%s: %s was not shown", design, p.Step)
			}
		}
		pairs, turned := 0, 0
		for i := range order {
			for _, later := range order[i+1:] {
				if pairs++; later < order[i] {
					turned++
				}
			}
		}
		t.Logf("%s: of %d pairs %d change places", design, pairs, turned)
		if len(order) != len(place)-3 || turned*20 > pairs {
			t.Errorf("%s: %d of %d steps are planned again, and of %d pairs %d change places", design, len(order), len(place)-3, pairs, turned)
		}
	}
}

// The same asked again gives no later plan: several airframes, of which one sitting holds only a part of what must be hot together.
func TestTheSameAgainIsNoLater(t *testing.T) {
	t.Parallel()
	c := crew{begun(t, "reed", "A0"), begun(t, "skerry", "A1"), begun(t, "reed", "A2")}
	now := c[0].Now
	var sittings []workflow.Sitting
	for day := range 200 {
		from, length := now.AddDate(0, 0, day), 30*time.Minute
		if from.Weekday() == time.Saturday || from.Weekday() == time.Sunday {
			length = 2 * time.Hour
		}
		sittings = append(sittings, workflow.Sitting{From: from, To: from.Add(length)})
	}
	h := workflow.Hours{Sittings: sittings}
	var finish []time.Time
	for n := range 3 {
		p, err := c.plan(t, now, h, plan.Options{Think: 300 * time.Millisecond})
		if err != nil {
			t.Fatal(err)
		}
		if finish = append(finish, p.Finish); n > 0 && p.Finish.After(finish[n-1]) {
			t.Errorf("%v", finish)
		}
		h.Like = &p
	}
}
