package plan

import (
	"fmt"

	"fettle/steps/sorting"
)

// A Broken is the error for starts that are not a plan.
type Broken struct {
	What  string // "starts", "delay", "either", "sitting", "together", "resource", "limit", "fixed"
	Index int    // of the activity, delay, either, set or resource
}

func (e *Broken) Error() string { return fmt.Sprintf("the plan breaks %s %d", e.What, e.Index) }

// Check says whether starts are a plan of the problem. It shares no line with the search, so that it can judge it.
func Check(p Problem, starts []int) error {
	if len(starts) != len(p.Activities) {
		return &Broken{"starts", len(starts)}
	}
	for i, a := range p.Activities {
		s := starts[i]
		if a.Fixed {
			if s != a.Start {
				return &Broken{"fixed", i}
			}
			continue
		}
		if s < 0 || s < a.Earliest || a.Limited && s > a.Latest {
			return &Broken{"limit", i}
		}
		inside := !a.Attended || len(p.Sittings) == 0
		for _, w := range p.Sittings {
			inside = inside || w.From <= s && s+a.Length <= w.To && s+a.Room <= w.To
		}
		if !inside {
			return &Broken{"sitting", i}
		}
	}
	for i, d := range p.Delays {
		if p.Activities[d.From].Fixed && p.Activities[d.To].Fixed {
			continue
		}
		if starts[d.To] < starts[d.From]+d.Least {
			return &Broken{"delay", i}
		}
	}
	for i, e := range p.Either {
		a, b := e.One, e.Other
		bound := false
		for _, k := range [4]int{a.From, a.To, b.From, b.To} {
			bound = bound || !p.Activities[k].Fixed
		}
		if bound && starts[a.To]-starts[a.From] < a.Least && starts[b.To]-starts[b.From] < b.Least {
			return &Broken{"either", i}
		}
	}
	for n, set := range p.Together {
		one := len(p.Sittings) == 0
		for k := 0; k < len(p.Sittings) && !one; k++ {
			one = true
			for _, i := range set {
				one = one && p.liesIn(p.Sittings[k], i, starts[i])
			}
		}
		if !one {
			return &Broken{"together", n}
		}
	}
	// What is used changes where something starts or ends.
	var changes []change
	for i, a := range p.Activities {
		if a.Length > 0 {
			changes = append(changes, change{starts[i], i, true}, change{starts[i] + a.Length, i, false})
		}
	}
	sorting.Stable(changes, func(i, k int) int {
		a, b := &changes[i], &changes[k]
		return a.at - b.at
	})
	for k, there := range p.Capacity {
		used, free := 0, 0
		for n, c := range changes {
			a := p.Activities[c.activity]
			if k < len(a.Needs) && a.Needs[k] > 0 {
				by, one := a.Needs[k], 1
				if !c.begins {
					by, one = -by, -1
				}
				used += by
				if !a.Fixed {
					free += one
				}
			}
			if last := n+1 == len(changes) || changes[n+1].at > c.at; last && used > there && free > 0 {
				return &Broken{"resource", k}
			}
		}
	}
	return nil
}

// liesIn says whether an activity lies in a sitting as far as others that must lie there with it are concerned.
func (p *Problem) liesIn(w Span, i, start int) bool {
	a := p.Activities[i]
	if !a.Fixed {
		return w.From <= start && start+a.Length <= w.To && start+a.Room <= w.To
	}
	begins := false // in any
	for _, other := range p.Sittings {
		begins = begins || other.From <= start && start < other.To
	}
	return !begins || w.From <= start && start < w.To
}

type change struct {
	at, activity int
	begins       bool
}
