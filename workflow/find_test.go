package workflow

import (
	"context"
	"testing"
	"time"

	"fettle/workflow/plan"
)

// Of two open windows one must be given up. Where the time was too short to know about one way, the other is not called the best.
func TestScheduleOfUnknownWaysIsNotTheBest(t *testing.T) {
	for found, fails := range []int{-1, 0} {
		var fleet []*State
		for k, mark := range []string{"PL-01", "PL-02"} {
			coat, join := coating("coat", "tab"), joining("join", "tab")
			coat.Hands, join.Hands = q("3 min"), q([]string{"3 min", "4 min"}[k])
			b := working(t, one("one", coat, join))
			b.after(3 * time.Minute)
			b.done("coat")
			b.state.Airframe.Mark = mark
			fleet = append(fleet, b.state)
		}
		of, n := newScheduler(fleet, evening.Add(10*time.Minute), Hours{Sittings: open(36, 240)}), 0
		of.solve = func(ctx context.Context, p plan.Problem, o plan.Options) (plan.Result, error) {
			r, err := plan.Solve(ctx, p, o)
			if r.Starts != nil {
				if n == fails {
					r = plan.Result{Bound: r.Bound} // nothing was found in the time
				}
				n++
			}
			return r, err
		}
		p, err := of.find(t.Context(), plan.Options{})
		if want := [...]bool{true, false}[found]; err != nil || p.Proven != want || p.Bound.After(p.Finish) {
			t.Errorf("%d: %s, proven %t, bound %v, %v", fails, says(p), p.Proven, p.Bound, err)
		}
	}
}
