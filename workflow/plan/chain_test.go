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

// What holds a finish back is followed to where there is time to spare, past the beginning of a sitting if the one before it was full.
func TestChainBeginsAfterTimeToSpare(t *testing.T) {
	hand := []int{1}
	act := func(length int) plan.Activity { return plan.Activity{Length: length, Needs: hand, Attended: true} }
	sittings := []plan.Span{{From: 10, To: 70}, {From: 100, To: 160}, {From: 200, To: 260}}
	for name, c := range map[string]struct {
		p             plan.Problem
		chain         []int
		holds         []plan.Hold // from the beginning
		before, spare int
	}{
		// 40 minutes, and then 30 that do not fit into what is left of the first sitting.
		"what is left is too short": {plan.Problem{Activities: []plan.Activity{act(40), act(30)}, Delays: []plan.Delay{{0, 1, 40}}}, []int{1}, []plan.Hold{plan.BySitting}, 0, 20},
		"the hands are busy":        {plan.Problem{Activities: []plan.Activity{act(40), {Length: 30, Needs: hand, Attended: true, Earliest: 20}}}, []int{1}, []plan.Hold{plan.BySitting}, 0, 20},
		"nothing is left":           {plan.Problem{Activities: []plan.Activity{act(60), act(30)}, Delays: []plan.Delay{{0, 1, 60}}}, []int{0, 1}, []plan.Hold{plan.BySitting, plan.ByDelay}, 0, 0},
		"the hands are busy throughout": {plan.Problem{Activities: []plan.Activity{act(60), {Length: 30, Needs: hand, Attended: true, Earliest: 20}}}, []int{0, 1},
			[]plan.Hold{plan.BySitting, plan.ByResource}, 0, 0},
		// 10 of the 20 and 10 that must follow within 5 would fit, not both.
		"what belongs together": {plan.Problem{Activities: []plan.Activity{act(45), act(10), act(10)}, Delays: []plan.Delay{{0, 1, 45}, {1, 2, 10}, {2, 1, -15}}}, []int{1, 2}, []plan.Hold{plan.BySitting, plan.ByDelay}, 0, 15},
		// It cures until 95, in no sitting, or until 105, in one.
		"what dries before a sitting": {plan.Problem{Activities: []plan.Activity{act(10), act(5), act(30)}, Delays: []plan.Delay{{0, 1, 10}, {1, 2, 75}}}, []int{2}, []plan.Hold{plan.BySitting}, 1, 5},
		"what dries into a sitting":   {plan.Problem{Activities: []plan.Activity{act(10), act(5), act(30)}, Delays: []plan.Delay{{0, 1, 10}, {1, 2, 85}}}, []int{0, 1, 2}, []plan.Hold{plan.BySitting, plan.ByDelay, plan.ByDelay}, 0, 0},
		"over two sittings":           {plan.Problem{Activities: []plan.Activity{act(60), act(45), act(10), act(10)}, Delays: []plan.Delay{{0, 1, 60}, {1, 2, 45}, {2, 3, 10}, {3, 2, -15}}}, []int{2, 3}, []plan.Hold{plan.BySitting, plan.ByDelay}, 1, 15},
	} {
		t.Run(name, func(t *testing.T) {
			c.p.Capacity, c.p.Sittings = hand, sittings
			r := solved(t, c.p, plan.Options{})
			if got := from(r); !slices.Equal(got, c.chain) {
				t.Fatalf("chain %v, want %v", got, c.chain)
			}
			for k, l := range slices.Backward(r.Chain) {
				if want := c.holds[len(r.Chain)-1-k]; l.Hold != want || l.Sitting != slices.ContainsFunc(sittings, func(w plan.Span) bool { return w.From == r.Starts[l.Activity] }) {
					t.Errorf("activity %d is held by %d, want %d, and by a sitting: %t", l.Activity, l.Hold, want, l.Sitting)
				}
			}
			if first := r.Chain[len(r.Chain)-1]; first.Before != c.before || first.Spare != c.spare {
				t.Errorf("before it %d has %d to spare, want %d and %d", first.Before, first.Spare, c.before, c.spare)
			}
		})
	}
}

// What one of two people does holds nothing back that the other has begun as it ends.
func TestChainOfTwoHands(t *testing.T) {
	p := plan.Problem{Capacity: []int{2}, Delays: []plan.Delay{{0, 2, 10}}}
	for _, length := range []int{10, 10, 5} {
		p.Activities = append(p.Activities, plan.Activity{Length: length, Needs: []int{1}})
	}
	if r := solved(t, p, plan.Options{}); r.Finish != 15 || !slices.Equal(from(r), []int{0, 2}) {
		t.Errorf("finish %d, chain %v", r.Finish, from(r))
	}
	p.Delays = nil // each of the two would do: neither is a link
	if r := solved(t, p, plan.Options{}); r.Finish != 15 || len(r.Chain) != 1 {
		t.Errorf("finish %d, chain %v", r.Finish, from(r))
	}
}

// inOrder is a problem that keeps the order of a plan, and of each either what holds in it.
func inOrder(p plan.Problem, starts []int) plan.Problem {
	p.Activities, p.Delays = slices.Clone(p.Activities), slices.Clone(p.Delays)
	for _, e := range p.Either {
		if d := e.One; starts[d.To] < starts[d.From]+d.Least {
			e.One = e.Other
		}
		p.Delays = append(p.Delays, e.One)
	}
	p.Either = nil
	for i, a := range p.Activities {
		for j, b := range p.Activities {
			for k := range p.Capacity {
				if i != j && a.Length > 0 && b.Length > 0 && a.Needs[k] > 0 && b.Needs[k] > 0 && starts[i]+a.Length <= starts[j] {
					p.Delays = append(p.Delays, plan.Delay{From: i, To: j, Least: a.Length})
				}
			}
		}
	}
	return p
}

// Whatever of a chain is a minute later, or longer, moves the finish in the order of the plan, and what comes before it has the time to
// spare that is said, and not more: each by trying every start.
func TestChainIsTrue(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 0))
	links, spares := 0, 0
	for n := range 8000 {
		p, _ := small(r)
		got, err := plan.Solve(t.Context(), p, plan.Options{})
		if err != nil || got.Starts == nil {
			continue
		}
		if len(got.Chain) == 0 {
			t.Fatalf("%d: no chain of %v: %+v", n, got.Starts, p)
		}
		if l := got.Chain[0]; got.Starts[l.Activity]+p.Activities[l.Activity].Length != got.Finish && got.Finish > 0 {
			t.Errorf("%d: %v, the chain %+v does not lead to the finish: %+v", n, got.Starts, got.Chain, p)
		}
		kept := inOrder(p, got.Starts)
		moves := func(i, later, longer int) bool {
			q := kept
			q.Activities, q.Delays = slices.Clone(kept.Activities), slices.Clone(kept.Delays)
			a := &q.Activities[i]
			for k := range q.Delays {
				if d := &q.Delays[k]; d.From == i && d.Least >= a.Length {
					d.Least += longer
				}
			}
			a.Length += longer
			if later > 0 {
				a.Earliest = got.Starts[i] + later
			}
			return least(q, got.Finish) < 0
		}
		for k, l := range got.Chain {
			links++
			i := l.Activity
			if a := p.Activities[i]; !a.Fixed && !moves(i, 1, 0) || (k > 0 || !a.Fixed) && !moves(i, 0, 1) {
				t.Errorf("%d: %v, %d of the chain %+v can be later, or longer: %+v", n, got.Starts, i, got.Chain, p)
			}
		}
		l := got.Chain[len(got.Chain)-1]
		if l.Hold == plan.ByStart && !p.Activities[l.Activity].Fixed && got.Starts[l.Activity] > max(0, p.Activities[l.Activity].Earliest) {
			t.Errorf("%d: %v, of the chain %+v the first could be sooner: %+v", n, got.Starts, got.Chain, p)
		}
		if l.Spare > 0 {
			spares++
			if moves(l.Before, l.Spare, 0) || !moves(l.Before, l.Spare+1, 0) {
				t.Errorf("%d: %v, %d has not %d to spare: %+v", n, got.Starts, l.Before, l.Spare, p)
			}
		}
	}
	if links < 5000 || spares < 100 {
		t.Errorf("only %d links and %d times to spare were tried", links, spares)
	}
}
