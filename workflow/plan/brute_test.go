package plan_test

import (
	"errors"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"fettle/workflow/plan"
)

// least tries every start of every activity in turn up to the horizon; -1 where none of them is a plan.
func least(p plan.Problem, horizon int) int {
	starts := make([]int, len(p.Activities))
	best := horizon + 1
	var try func(i, end int)
	fits := func(i int) bool {
		a := p.Activities[i]
		if !a.Fixed {
			in := !a.Attended || len(p.Sittings) == 0
			for _, w := range p.Sittings {
				in = in || starts[i] >= w.From && starts[i]+max(a.Length, a.Room) <= w.To
			}
			if !in {
				return false
			}
		}
		for _, d := range p.Delays {
			if max(d.From, d.To) == i && !(p.Activities[d.From].Fixed && p.Activities[d.To].Fixed) && starts[d.To]-starts[d.From] < d.Least {
				return false
			}
		}
		for _, e := range p.Either {
			x, y := e.One, e.Other
			free := false
			for _, k := range []int{x.From, x.To, y.From, y.To} {
				free = free || !p.Activities[k].Fixed
			}
			if max(x.From, x.To, y.From, y.To) == i && free && starts[x.To]-starts[x.From] < x.Least && starts[y.To]-starts[y.From] < y.Least {
				return false
			}
		}
		for _, set := range p.Together {
			if len(p.Sittings) > 0 && len(set) > 0 && slices.Max(set) == i && !oneSitting(p, set, starts) {
				return false
			}
		}
		for t := starts[i]; t < starts[i]+a.Length; t++ {
			for k, there := range p.Capacity {
				used, free := 0, false
				for j, b := range p.Activities[:i+1] {
					if starts[j] <= t && t < starts[j]+b.Length && b.Needs[k] > 0 {
						used += b.Needs[k]
						free = free || !b.Fixed
					}
				}
				if used > there && free {
					return false
				}
			}
		}
		return true
	}
	try = func(i, end int) {
		if i == len(starts) {
			best = end
			return
		}
		a := p.Activities[i]
		from, to := max(0, a.Earliest), horizon
		if a.Limited {
			to = min(to, a.Latest)
		}
		if a.Fixed {
			from, to = a.Start, a.Start
		}
		for s := from; s <= to && max(end, s+a.Length) < best; s++ {
			if starts[i] = s; fits(i) {
				try(i+1, max(end, s+a.Length))
			}
		}
	}
	try(0, 0)
	if best > horizon {
		return -1
	}
	return best
}

// oneSitting looks for a sitting that all of a set lie in. What is fixed lies in the one that holds its beginning, if any does.
func oneSitting(p plan.Problem, set, starts []int) bool {
	return slices.ContainsFunc(p.Sittings, func(w plan.Span) bool {
		return !slices.ContainsFunc(set, func(i int) bool {
			from, to := starts[i], starts[i]+max(p.Activities[i].Length, p.Activities[i].Room)
			if p.Activities[i].Fixed {
				to = from + 1
				if !slices.ContainsFunc(p.Sittings, func(w plan.Span) bool { return from >= w.From && to <= w.To }) {
					return false
				}
			}
			return from < w.From || to > w.To
		})
	})
}

// small makes a problem at random of which every plan finishes by the horizon.
func small(r *rand.Rand) (p plan.Problem, horizon int) {
	n := 2 + r.IntN(3)
	p.Capacity = []int{1 + r.IntN(3), 1}
	if r.IntN(4) > 0 {
		for at, k := r.IntN(3), 1+r.IntN(3); k > 0; k-- {
			to := at + 2 + r.IntN(4)
			p.Sittings = append(p.Sittings, plan.Span{From: at, To: to})
			at = to + r.IntN(4)
		}
	}
	for range n {
		a := plan.Activity{Length: r.IntN(4), Needs: []int{r.IntN(p.Capacity[0] + 1), r.IntN(2)}, Attended: r.IntN(3) > 0}
		switch r.IntN(8) {
		case 0:
			a.Earliest = r.IntN(5)
		case 1:
			a.Limited, a.Latest = true, r.IntN(8)
		case 2:
			a.Fixed, a.Start = true, r.IntN(7)-3
		case 3, 4:
			a.Room = r.IntN(6)
		}
		p.Activities = append(p.Activities, a)
		horizon = max(horizon, a.Earliest)
	}
	for range r.IntN(2 * n) {
		i, j := r.IntN(n), r.IntN(n)
		switch d := r.IntN(5); {
		case i < j:
			p.Delays = append(p.Delays, plan.Delay{From: i, To: j, Least: d})
		case i > j:
			p.Delays = append(p.Delays, plan.Delay{From: i, To: j, Least: -d})
		}
	}
	for k := r.IntN(6) - 2; k > 0; k-- { // this before those, or after them
		i, j := r.IntN(n), r.IntN(n)
		c, d := r.IntN(n), r.IntN(n)
		p.Either = append(p.Either, plan.Either{One: plan.Delay{From: i, To: c, Least: r.IntN(5)}, Other: plan.Delay{From: d, To: j, Least: r.IntN(5)}})
	}
	for k := r.IntN(5) - 2; k > 0; k-- { // what lies in one sitting
		var set []int
		for _, i := range r.Perm(n) {
			if p.Activities[i].Attended && len(set) < 3 {
				set = append(set, i)
			}
		}
		p.Together = append(p.Together, set)
	}
	for _, a := range p.Activities {
		if a.Fixed {
			horizon = max(horizon, a.Start)
		}
	}
	// What lasts longest after the last sitting: all in a row.
	if len(p.Sittings) > 0 {
		horizon = max(horizon, p.Sittings[len(p.Sittings)-1].To)
	}
	for i, a := range p.Activities {
		most := a.Length
		for _, d := range p.Delays {
			if d.From == i {
				most = max(most, d.Least)
			}
		}
		for _, e := range p.Either {
			for _, d := range []plan.Delay{e.One, e.Other} {
				if d.From == i {
					most = max(most, d.Least)
				}
			}
		}
		horizon += most
	}
	return p, horizon
}

// judge has the enumerator look at a conflict: it has no plan, and leaving out any one part of it gives one.
func judge(t *testing.T, p plan.Problem, horizon int, c *plan.Conflict) {
	t.Helper()
	without := func(activity, upper, latest, together int, sittings bool) int {
		less := plan.Problem{Capacity: p.Capacity}
		at := map[int]int{}
		for _, i := range c.Activities {
			if i == activity {
				continue
			}
			a := p.Activities[i]
			a.Limited = a.Limited && i != latest && slices.Contains(c.Latest, i)
			at[i] = len(less.Activities)
			less.Activities = append(less.Activities, a)
		}
		for k, d := range p.Delays {
			from, one := at[d.From]
			to, other := at[d.To]
			if one && other && (d.Least >= 0 || k != upper && slices.Contains(c.Upper, k)) {
				less.Delays = append(less.Delays, plan.Delay{From: from, To: to, Least: d.Least})
			}
		}
		for _, e := range p.Either {
			a, inA := at[e.One.From]
			b, inB := at[e.One.To]
			x, inX := at[e.Other.From]
			y, inY := at[e.Other.To]
			if inA && inB && inX && inY {
				less.Either = append(less.Either, plan.Either{One: plan.Delay{From: a, To: b, Least: e.One.Least}, Other: plan.Delay{From: x, To: y, Least: e.Other.Least}})
			}
		}
		for _, n := range c.Together {
			var set []int
			for _, i := range p.Together[n] {
				if k, there := at[i]; there && n != together {
					set = append(set, k)
				}
			}
			less.Together = append(less.Together, set)
		}
		if c.Sittings && sittings {
			less.Sittings = p.Sittings
		}
		return least(less, horizon)
	}
	if !c.Irreducible {
		t.Fatalf("conflict %+v could be less: %+v", c, p)
	}
	if without(-1, -1, -1, -1, true) >= 0 {
		t.Fatalf("conflict %+v has a plan: %+v", c, p)
	}
	for _, i := range c.Activities {
		if without(i, -1, -1, -1, true) < 0 {
			t.Fatalf("conflict %+v is one without activity %d: %+v", c, i, p)
		}
	}
	for _, k := range c.Upper {
		if without(-1, k, -1, -1, true) < 0 {
			t.Fatalf("conflict %+v is one without delay %d: %+v", c, k, p)
		}
	}
	for _, i := range c.Latest {
		if without(-1, -1, i, -1, true) < 0 {
			t.Fatalf("conflict %+v is one without the latest start of %d: %+v", c, i, p)
		}
	}
	for _, n := range c.Together {
		if without(-1, -1, -1, n, true) < 0 {
			t.Fatalf("conflict %+v is one without set %d: %+v", c, n, p)
		}
	}
	if c.Sittings && without(-1, -1, -1, -1, false) < 0 {
		t.Fatalf("conflict %+v is one without the sittings: %+v", c, p)
	}
}

// soonEnough asks for plans that finish before a moment, of a problem of which the best finishes at want, -1: it has none.
func soonEnough(t *testing.T, p plan.Problem, want, before int) {
	t.Helper()
	r, err := plan.Solve(t.Context(), p, plan.Options{Before: before})
	switch there := want >= 0 && want < before; {
	case err != nil || !r.Proven || r.Conflict != nil, there != (r.Starts != nil):
		t.Fatalf("before %d: %+v, enumerated %d: %v: %+v", before, r, want, err, p)
	case there && (r.Finish != want || plan.Check(p, r.Starts) != nil), !there && r.Bound < before:
		t.Fatalf("before %d: %+v, enumerated %d: %v: %+v", before, r, want, plan.Check(p, r.Starts), p)
	}
}

func TestEnumerator(t *testing.T) {
	count, seed := 10000, uint64(1)
	if long() {
		count, seed = 300000, 2
	}
	r := rand.New(rand.NewPCG(seed, 0))
	plans, none, refused, sets := 0, 0, 0, 0
	for i := range count {
		p, horizon := small(r)
		got, err := plan.Solve(t.Context(), p, plan.Options{Seed: uint64(i)})
		var bad *plan.BadProblem
		if errors.As(err, &bad) {
			if bad.Fault != plan.TooLong {
				t.Fatal(err)
			}
			refused++
			got = plan.Result{Proven: true}
		}
		want := least(p, horizon)
		if err == nil {
			soonEnough(t, p, want, 1+r.IntN(horizon+2))
		}
		switch {
		case !got.Proven:
			t.Fatalf("%d: not proven: %+v", i, p)
		case got.Starts == nil && want >= 0, got.Starts != nil && got.Finish != want:
			t.Fatalf("%d: finish %d of %v, enumerated %d: %+v", i, got.Finish, got.Starts, want, p)
		case got.Starts == nil:
			none++
			if err == nil {
				judge(t, p, horizon, got.Conflict)
				if len(got.Conflict.Together) > 0 {
					sets++
				}
			}
			continue
		}
		plans++
		if err := plan.Check(p, got.Starts); err != nil {
			t.Fatalf("%d: %v: %+v", i, err, p)
		}
		for k, a := range p.Activities { // nothing can start sooner while the others stay
			sooner := slices.Clone(got.Starts)
			for sooner[k]--; !a.Fixed && sooner[k] >= 0 && len(p.Either) == 0; sooner[k]-- { // the sides of eithers are kept
				if plan.Check(p, sooner) == nil {
					t.Fatalf("%d: %v, activity %d could start at %d: %+v", i, got.Starts, k, sooner[k], p)
				}
			}
		}
	}
	t.Logf("%d plans, %d without, %d of them refused, %d by what must lie in one sitting", plans, none, refused, sets)
	if plans < count/4 || none < count/10 || sets < count/100 {
		t.Errorf("%d plans and %d without, %d by sets, are too one-sided to say much", plans, none, sets)
	}
}

// A plan that is made from an earlier one is a plan, and no better than the best there is, whatever is fixed.
func TestWarmAgainstFixed(t *testing.T) {
	r := rand.New(rand.NewPCG(77, 0))
	fixed := 0
	for i := range 20000 {
		p, horizon := small(r)
		some := slices.ContainsFunc(p.Activities, func(a plan.Activity) bool { return a.Fixed })
		if !some || slices.ContainsFunc(p.Either, func(e plan.Either) bool { return e.One.From == e.One.To || e.Other.From == e.Other.To }) {
			continue
		}
		o := plan.Options{Seed: uint64(i), Think: time.Duration(r.IntN(2))}
		for range p.Activities {
			o.Warm = append(o.Warm, r.IntN(15))
		}
		got, err := plan.Solve(t.Context(), p, o)
		if err != nil || got.Starts == nil {
			continue
		}
		fixed++
		want := least(p, horizon)
		if broken := plan.Check(p, got.Starts); broken != nil || want < 0 || got.Finish < want || got.Proven && got.Finish != want {
			t.Errorf("%d: %v: over at %d, proven %t, and the best at %d: %+v", i, broken, got.Finish, got.Proven, want, p)
		}
	}
	if fixed < 1500 {
		t.Errorf("only %d had a plan", fixed)
	}
}
