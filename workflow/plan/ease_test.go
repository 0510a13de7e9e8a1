package plan_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"fettle/workflow/plan"
)

// costs reports whether starts are no plan, or one that is worse than another where that counts: it is finished later, or a limit has
// less to spare.
func costs(p plan.Problem, was, is []int) bool {
	for _, d := range p.Delays {
		if d.Least < 0 && is[d.To]-is[d.From] < was[d.To]-was[d.From] {
			return true
		}
	}
	return plan.Check(p, is) != nil || end(p, is) > end(p, was)
}

func end(p plan.Problem, starts []int) (at int) {
	for i, a := range p.Activities {
		at = max(at, starts[i]+a.Length)
	}
	return at
}

// Of what is wished later, or sooner, nothing could be moved on by itself in its sitting, and the plan is finished as it was, with as much
// to spare. What is not asked for, or not right, leaves it as it is.
func TestEase(t *testing.T) {
	r := rand.New(rand.NewPCG(29, 0))
	moved := 0
	for n := range 6000 {
		p, _ := small(r)
		for i := range p.Activities {
			p.Activities[i].Group = r.IntN(2)
		}
		is, err := plan.Solve(t.Context(), p, plan.Options{Think: 5 * time.Second})
		if err != nil || is.Starts == nil {
			continue
		}
		wish := make([]int, len(p.Activities))
		none := plan.Ease(t.Context(), p, is, wish, func([]int) bool { return true })
		for i := range wish {
			wish[i] = r.IntN(3) - 1
		}
		wrong := plan.Ease(t.Context(), p, is, wish, func([]int) bool { return false })
		if !slices.Equal(none.Starts, is.Starts) || !slices.Equal(wrong.Starts, is.Starts) {
			t.Fatalf("%d: %v becomes %v, %v", n, is.Starts, none.Starts, wrong.Starts)
		}
		had := slices.Clone(is.Starts)
		got := plan.Ease(t.Context(), p, is, wish, func(starts []int) bool { return plan.Check(p, starts) == nil })
		won := 0
		for i, s := range got.Starts {
			won += wish[i] * (s - had[i])
		}
		if changed := !slices.Equal(got.Starts, had); costs(p, had, got.Starts) || changed != (won > 0) || !slices.Equal(is.Starts, had) {
			t.Fatalf("%d: %+v: %v becomes %v, wished %v", n, p, had, got.Starts, wish)
		} else if changed {
			moved++
		}
		for i, a := range p.Activities {
			if wish[i] == 0 || a.Fixed || len(p.Sittings) > 0 && !a.Attended {
				continue
			}
			for at := range end(p, had) + 1 {
				next := slices.Clone(got.Starts)
				if next[i] = at; (at-got.Starts[i])*wish[i] <= 0 || costs(p, got.Starts, next) {
					continue
				}
				if !slices.ContainsFunc(p.Sittings, func(w plan.Span) bool { return min(at, had[i]) < w.From && w.From <= max(at, had[i]) }) {
					t.Fatalf("%d: %+v: of %v, wished %v, %d could begin at %d", n, p, got.Starts, wish, i, at)
				}
			}
		}
	}
	if moved < 400 {
		t.Errorf("in %d plans alone something was moved", moved)
	}
}

// What is wished later takes the place of what lies between, or has what comes after it begin later where that has time to spare.
func TestEaseMovesOthers(t *testing.T) {
	one := []int{1}
	for name, c := range map[string]struct {
		p          plan.Problem
		wish       []int
		from, want []int
	}{
		"heat, file, glue": {plan.Problem{Capacity: one, Activities: []plan.Activity{{Length: 2, Needs: one}, {Length: 7, Needs: one}, {Length: 3, Needs: one}},
			Delays: []plan.Delay{{From: 0, To: 2, Least: 2}}}, []int{1, 0, 0}, []int{0, 2, 9}, []int{7, 0, 9}},
		"glue, file, off": {plan.Problem{Capacity: one, Activities: []plan.Activity{{Length: 3, Needs: one}, {Length: 7, Needs: one}, {Length: 2, Needs: one}},
			Delays: []plan.Delay{{From: 0, To: 2, Least: 3}}}, []int{0, 0, -1}, []int{0, 3, 10}, []int{0, 5, 3}},
		"heat, both away, glue, while somebody files": {plan.Problem{Capacity: []int{2},
			Activities: []plan.Activity{{Length: 2, Needs: one}, {Length: 10, Needs: []int{2}, Group: 1, Earliest: 2}, {Length: 3, Needs: one}, {Length: 30, Needs: one, Group: 1}},
			Delays:     []plan.Delay{{From: 0, To: 2, Least: 2}, {From: 1, To: 3, Least: 10}}}, []int{1, 0, 0, 0}, []int{0, 2, 12, 12}, []int{12, 2, 14, 12}},
		"which would spoil what must follow soon": {plan.Problem{Capacity: one, Activities: []plan.Activity{{Length: 2, Needs: one}, {Length: 7, Needs: one}, {Length: 3, Needs: one}},
			Delays: []plan.Delay{{From: 0, To: 2, Least: 2}, {From: 2, To: 1, Least: -8}}}, []int{1, 0, 0}, []int{0, 2, 9}, []int{0, 2, 9}},
	} {
		r := plan.Ease(t.Context(), c.p, plan.Result{Starts: c.from, Finish: end(c.p, c.from)}, c.wish, func([]int) bool { return true })
		if plan.Check(c.p, c.from) != nil || !slices.Equal(r.Starts, c.want) {
			t.Errorf("%s: %v, want %v", name, r.Starts, c.want)
		}
	}
}
