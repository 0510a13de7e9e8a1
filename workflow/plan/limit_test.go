package plan_test

import (
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
