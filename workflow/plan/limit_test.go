package plan_test

import (
	"context"
	"testing"

	"fettle/workflow/plan"
)

// Wherever the search is when its time is up, what it has by then is a plan, and what it calls proven is the best: 55 and 930
// minutes (Muth and Thompson 1963, seen in JSPLIB).
func TestStoppedAnywhere(t *testing.T) {
	for name, of := range map[string]struct {
		p    plan.Problem
		best int
		most int
	}{"ft06": {jobShop(ft06), 55, 30}, "ft10": {jobShop(ft10), 930, 120}} {
		for looks := 1; looks <= of.most; looks += 5 {
			r := plan.SolveWithin(t.Context(), of.p, looks)
			if r.Bound > of.best || r.Starts == nil && r.Proven || r.Starts != nil && (plan.Check(of.p, r.Starts) != nil || r.Finish < of.best || r.Proven && r.Finish != of.best) {
				t.Fatalf("%s, after %d looks: finish %d, bound %d, proven %t: %v", name, looks, r.Finish, r.Bound, r.Proven, plan.Check(of.p, r.Starts))
			}
		}
	}
}

// A first plan is found, and how far it is from the best is known, whatever the time to think; whoever cancels it has it ended.
func TestSureOfAPlan(t *testing.T) {
	sizes := []int{1, 4, 50}
	if long() {
		sizes = append(sizes, 100, 300, 1000)
	}
	for _, n := range sizes {
		for name, p := range map[string]plan.Problem{"": fleet(n, 12, 1), " heated": heated(fleet(n, 12, 1)), " paired": paired(fleet(n, 12, 1))} {
			r := solved(t, p, plan.Options{Think: 1, Sure: true})
			t.Logf("%d%s: %v, finish %d, bound %d", n, name, r.Took, r.Finish, r.Bound)
			if r.Starts == nil || r.Bound*10 < r.Finish*7 {
				t.Errorf("%d%s: finish %d, bound %d", n, name, r.Finish, r.Bound)
			}
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if r, err := plan.Solve(ctx, fleet(1000, 12, 1), plan.Options{Sure: true}); err != nil || r.Starts != nil || r.Proven {
		t.Errorf("cancelled: %d starts, proven %t: %v", len(r.Starts), r.Proven, err)
	}
}
