package plan_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"fettle/workflow/plan"
)

// slipped is what is left of a problem after one of its activities began: what began before has begun too, that one takes
// longer than planned, and nothing starts before it is over.
func slipped(p plan.Problem, starts []int, last int, r *rand.Rand) plan.Problem {
	p.Activities, p.Delays = slices.Clone(p.Activities), slices.Clone(p.Delays)
	now := starts[last] + p.Activities[last].Length + r.IntN(30)
	for i := range p.Activities {
		if a := &p.Activities[i]; starts[i] <= starts[last] {
			a.Fixed, a.Start = true, starts[i]
		} else {
			a.Earliest = now
		}
	}
	for k := range p.Delays { // a window that the slip leaves no time in is given up
		if d := &p.Delays[k]; d.Least < 0 && p.Activities[d.To].Fixed {
			d.Least -= 100000
		}
	}
	return p
}

// swapped counts the pairs of what is free that change places.
func swapped(p plan.Problem, was, now []int) (n int) {
	for i := range was {
		for j := range was {
			if !p.Activities[i].Fixed && !p.Activities[j].Fixed && was[i] < was[j] && now[i] > now[j] {
				n++
			}
		}
	}
	return n
}

// After any slip, what is left is planned anew: as well as from nothing, at least as well as in one pass, the same each time, and with
// fewer activities in other places than from nothing.
func TestAgain(t *testing.T) {
	count := 60
	if long() {
		count = 2000
	}
	kept, anew, proven := 0, 0, 0
	r := rand.New(rand.NewPCG(1, 9))
	for n := range count {
		p := fleet(1+r.IntN(3), 1+r.IntN(3), uint64(n))
		if r.IntN(3) == 0 {
			p = paired(p)
		}
		if r.IntN(2) == 0 {
			p = heated(p)
		}
		if r.IntN(4) == 0 {
			p.Capacity[0] = 2
		}
		first := solved(t, p, plan.Options{Think: time.Minute})
		q := slipped(p, first.Starts, r.IntN(len(p.Activities)), r)
		once := solved(t, q, plan.Options{Think: 1})
		cold := solved(t, q, plan.Options{Think: time.Minute})
		o := plan.Options{Think: time.Minute, Seed: uint64(n), Warm: first.Starts}
		warm := solved(t, q, o)
		switch {
		case cold.Starts == nil && cold.Proven && warm.Starts == nil && warm.Proven:
			continue
		case warm.Starts == nil, warm.Finish > cold.Finish, once.Starts != nil && warm.Finish > once.Finish:
			t.Fatalf("%d: finish %d, from nothing %d, in one pass %d", n, warm.Finish, cold.Finish, once.Finish)
		}
		if again := solved(t, q, o); !slices.Equal(again.Starts, warm.Starts) {
			t.Errorf("%d: another plan the second time", n)
		}
		if warm.Moved != swapped(q, first.Starts, warm.Starts) {
			t.Errorf("%d: %d pairs change places, it says %d", n, swapped(q, first.Starts, warm.Starts), warm.Moved)
		}
		kept, anew, proven = kept+warm.Moved, anew+swapped(q, first.Starts, cold.Starts), proven+1
	}
	t.Logf("%d plans: %d pairs change places, planned from nothing %d", proven, kept, anew)
	if proven < count/2 || 2*kept > anew {
		t.Errorf("of %d plans, %d pairs change places, planned from nothing %d", proven, kept, anew)
	}
}

// With more to do than can be proven in half a second the finish is no worse than in one pass, and with FETTLE_LONG more of the
// order is kept than from nothing, on a machine with time for it.
func TestAgainInTime(t *testing.T) {
	p := fleet(6, 12, 3)
	r := rand.New(rand.NewPCG(7, 7))
	seeds, think := 1, 30*time.Millisecond
	if long() {
		seeds, think = 20, 500*time.Millisecond
	}
	first := solved(t, p, plan.Options{Think: think})
	kept, anew := 0, 0
	for range seeds {
		last := r.IntN(len(p.Activities))
		for first.Starts[last] > first.Finish/3 {
			last = r.IntN(len(p.Activities))
		}
		q := slipped(p, first.Starts, last, r)
		once, cold := solved(t, q, plan.Options{Think: 1}), solved(t, q, plan.Options{Think: think})
		warm := solved(t, q, plan.Options{Think: think, Warm: first.Starts})
		if warm.Starts == nil || once.Starts != nil && warm.Finish > once.Finish {
			t.Errorf("finish %d, in one pass %d", warm.Finish, once.Finish)
		}
		kept, anew = kept+warm.Moved, anew+swapped(q, first.Starts, cold.Starts)
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		stopped, err := plan.Solve(ctx, q, plan.Options{Think: time.Hour, Warm: first.Starts})
		cancel()
		if err != nil || stopped.Starts != nil && plan.Check(q, stopped.Starts) != nil {
			t.Errorf("cancelled: %v", err)
		}
	}
	t.Logf("%d pairs change places, planned from nothing %d", kept, anew)
	if long() && kept > anew {
		t.Errorf("%d pairs change places, planned from nothing %d", kept, anew)
	}
}
