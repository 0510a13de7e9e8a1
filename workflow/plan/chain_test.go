package plan_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"fettle/workflow/plan"
)

// from is the chain of a plan from its beginning, by activity.
func from(r plan.Result) (all []int) {
	for _, l := range slices.Backward(r.Chain) {
		all = append(all, l.Activity)
	}
	return all
}

// What holds a finish back is followed past the beginning of a sitting: to what was done, or dried, in the one before.
func TestChainGoesOnBeforeASitting(t *testing.T) {
	hand := []int{1}
	act := func(length int) plan.Activity { return plan.Activity{Length: length, Needs: hand, Attended: true} }
	sittings := []plan.Span{{From: 10, To: 70}, {From: 100, To: 160}, {From: 200, To: 260}}
	for name, c := range map[string]struct {
		p     plan.Problem
		chain []int
		holds []plan.Hold // from the beginning
	}{
		// 40 minutes, and then 30 that do not fit into what is left of the first sitting.
		"what is left is too short": {plan.Problem{Activities: []plan.Activity{act(40), act(30)}, Delays: []plan.Delay{{0, 1, 40}}}, []int{0, 1}, []plan.Hold{plan.BySitting, plan.ByDelay}},
		"the hands are busy":        {plan.Problem{Activities: []plan.Activity{act(40), {Length: 30, Needs: hand, Attended: true, Earliest: 20}}}, []int{0, 1}, []plan.Hold{plan.BySitting, plan.ByResource}},
		// 10 of the 20 and 10 that must follow within 5 would fit, not both.
		"what belongs together": {plan.Problem{Activities: []plan.Activity{act(45), act(10), act(10)}, Delays: []plan.Delay{{0, 1, 45}, {1, 2, 10}, {2, 1, -15}}}, []int{0, 1, 2}, []plan.Hold{plan.BySitting, plan.ByDelay, plan.ByDelay}},
		// Beside the second there is a room of its length and more, in which nobody works.
		"room for slow hands": {plan.Problem{Activities: []plan.Activity{act(45), act(10), {Length: 20, Attended: true}}, Delays: []plan.Delay{{0, 1, 45}, {1, 2, 0}, {2, 1, 0}}}, []int{0, 1, 2}, []plan.Hold{plan.BySitting, plan.ByDelay, plan.ByDelay}},
		// It cures until 95, in no sitting; the first two are done one after the other.
		"what dries": {plan.Problem{Activities: []plan.Activity{act(10), act(5), act(30)}, Delays: []plan.Delay{{0, 1, 10}, {1, 2, 75}}}, []int{0, 1, 2}, []plan.Hold{plan.BySitting, plan.ByDelay, plan.ByDelay}},
		"over two sittings": {plan.Problem{Activities: []plan.Activity{act(60), act(45), act(10), act(10)}, Delays: []plan.Delay{{0, 1, 60}, {1, 2, 45}, {2, 3, 10}, {3, 2, -15}}}, []int{0, 1, 2, 3},
			[]plan.Hold{plan.BySitting, plan.ByDelay, plan.ByDelay, plan.ByDelay}},
	} {
		t.Run(name, func(t *testing.T) {
			c.p.Capacity, c.p.Sittings = hand, sittings
			r := solved(t, c.p, plan.Options{})
			if got := from(r); !slices.Equal(got, c.chain) {
				t.Fatalf("chain %v, want %v", got, c.chain)
			}
			for k, l := range slices.Backward(r.Chain) {
				if want := c.holds[len(r.Chain)-1-k]; l.Hold != want || c.p.Activities[l.Activity].Needs != nil && l.Sitting != slices.ContainsFunc(sittings, func(w plan.Span) bool { return w.From == r.Starts[l.Activity] }) {
					t.Errorf("activity %d is held by %d, want %d, and by a sitting: %t", l.Activity, l.Hold, want, l.Sitting)
				}
			}
		})
	}
}

// A chain ends where nothing but a sitting, or the earliest start, keeps something from being sooner, and each of it begins before
// what it holds back, or is fixed.
func TestChainEndsAtTheBeginning(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 0))
	problems := []plan.Problem{fleet(2, 12, 1), fleet(3, 6, 4), heated(fleet(2, 8, 2))}
	for range 3000 {
		p, _ := small(r)
		problems = append(problems, p)
	}
	for i, p := range problems {
		got, err := plan.Solve(t.Context(), p, plan.Options{})
		if err != nil || got.Starts == nil {
			continue
		}
		n := len(got.Chain)
		if n == 0 {
			t.Fatalf("%d: no chain of %v: %+v", i, got.Starts, p)
		}
		l := got.Chain[n-1]
		a, start := p.Activities[l.Activity], got.Starts[l.Activity]
		if l.Hold != plan.ByStart && l.Hold != plan.BySitting {
			t.Errorf("%d: %v, the chain %+v ends in what is held by another: %+v", i, got.Starts, got.Chain, p)
		}
		if l.Hold == plan.ByStart && !a.Fixed && start > max(0, a.Earliest) {
			t.Errorf("%d: %v, of the chain %+v the first could be sooner: %+v", i, got.Starts, got.Chain, p)
		}
		for k := range n - 1 {
			if now, before := got.Chain[k].Activity, got.Chain[k+1].Activity; got.Starts[before] > got.Starts[now] && !p.Activities[before].Fixed {
				t.Errorf("%d: %v, %d holds back %d, which begins before it", i, got.Starts, before, now)
			}
		}
	}
}
