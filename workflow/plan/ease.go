package plan

import (
	"context"
	"slices"
)

// Ease moves what had better begin later, or sooner, as far as that costs nothing: nothing is finished later than the plan is, no delay
// that is a limit has less to spare, and each stays in its sitting. The wish of an activity is how much better a plan is for each minute
// that it begins later; of what had better begin sooner it is less than nothing. What lies between may change its place with it, or
// begin that much later. Nothing is searched for, so that it doesn't take long, whatever the time. What is right is asked of each plan
// that is tried; it may not keep it.
func Ease(ctx context.Context, p Problem, r Result, wish []int, right func(starts []int) bool) Result {
	all := append([]int(nil), r.Starts...)
	eased := false
	for _, part := range p.parts(all, wish) {
		e := easer{part: part, finish: r.Finish, all: all, right: right}
		for again := true; again && ctx.Err() == nil; {
			again = false
			for _, sign := range [2]int{-1, 1} { // what ends first: nothing waits longer for that
				for i := range e.wish {
					again = e.wish[i]*sign > 0 && e.move(i) || again
				}
			}
			eased = eased || again
		}
	}
	if eased {
		r.Starts, r.Chain = all, p.layout(&limit{ctx: ctx}).chain(ctx, all)
	}
	return r
}

// A part is what lies in one sitting, with what it hangs together with, which is fixed.
type part struct {
	p      Problem
	of     []int // activities
	starts []int
	wish   []int
}

// parts are those in which there is something to wish.
func (p *Problem) parts(starts, wish []int) (all []part) {
	spans := p.Sittings
	if len(spans) == 0 {
		spans = []Span{{0, p.finish(starts) + 1}}
	}
	in, wished := make([]int, len(starts)), make([]bool, len(spans)) // 1 and up, by activity
	sitting := func(at int) int {                                    // the last that is open by then; -1: none
		lo, hi := 0, len(spans)
		for lo < hi {
			if m := (lo + hi) / 2; spans[m].From <= at {
				lo = m + 1
			} else {
				hi = m
			}
		}
		return lo - 1
	}
	for i, a := range p.Activities {
		if k := sitting(starts[i]); k >= 0 && !a.Fixed && (a.Attended || len(p.Sittings) == 0) && starts[i]+a.Length <= spans[k].To {
			in[i] = k + 1
			wished[k] = wished[k] || wish[i] != 0
		}
	}
	all = make([]part, len(spans))
	number := make([]map[int]int, len(spans))
	put := func(k, i int) int {
		n, known := number[k][i]
		if !known {
			a, w := p.Activities[i], wish[i]
			if in[i] != k+1 {
				a.Fixed, a.Start, w = true, starts[i], 0
			}
			s := &all[k]
			n, number[k][i] = len(s.of), len(s.of)
			s.p.Activities, s.of, s.starts, s.wish = append(s.p.Activities, a), append(s.of, i), append(s.starts, starts[i]), append(s.wish, w)
		}
		return n
	}
	each := parting{in, wished}.of
	for k, w := range spans {
		if wished[k] {
			number[k], all[k].p.Capacity = map[int]int{}, p.Capacity
			if len(p.Sittings) > 0 {
				all[k].p.Sittings = []Span{w}
			}
		}
	}
	for i, a := range p.Activities {
		switch k := max(0, sitting(starts[i])); {
		case in[i] > 0 && wished[k]:
			put(k, i)
		case in[i] == 0 && a.Length > 0:
			for ; k < len(spans) && spans[k].From < starts[i]+a.Length; k++ {
				if wished[k] && starts[i] < spans[k].To {
					put(k, i)
				}
			}
		}
	}
	for _, d := range p.Delays {
		for _, k := range each(d.From, d.To) {
			all[k].p.Delays = append(all[k].p.Delays, Delay{put(k, d.From), put(k, d.To), d.Least})
		}
	}
	for _, e := range p.Either {
		for _, k := range each(e.One.From, e.One.To, e.Other.From, e.Other.To) {
			all[k].p.Either = append(all[k].p.Either, Either{Delay{put(k, e.One.From), put(k, e.One.To), e.One.Least}, Delay{put(k, e.Other.From), put(k, e.Other.To), e.Other.Least}})
		}
	}
	for _, set := range p.Together {
		for _, k := range each(set...) {
			var is []int
			for _, i := range set {
				is = append(is, put(k, i))
			}
			all[k].p.Together = append(all[k].p.Together, is)
		}
	}
	return all
}

// A parting is which part each activity is in, from 1, and of which parts anything is wished.
type parting struct {
	in     []int
	wished []bool
}

// of are the parts, from 0, of which something is wished that some of these are in.
//
//go:noinline
func (p parting) of(all ...int) (parts []int) {
	for _, i := range all {
		if k := p.in[i] - 1; k >= 0 && p.wished[k] && !slices.Contains(parts, k) {
			parts = append(parts, k)
		}
	}
	return parts
}

// An easer moves what is in a part.
type easer struct {
	part
	finish int
	all    []int // starts of the whole
	right  func(starts []int) bool
}

// The ways to move an activity: nothing else is moved; what lies between takes its place, of its group or of all; and what lies after it
// begins later.
const (
	alone = iota
	placesOfGroup
	places
	pushesGroup
	pushes
	waysToMove
)

// move moves one activity to where the wishes are met best, and reports whether there is such a place.
func (e *easer) move(i int) bool {
	a, had := &e.p.Activities[i], e.starts[i]
	later := e.wish[i] > 0
	lo, hi := 0, farthest
	var places []int
	for _, d := range e.p.Delays {
		if d.From == i {
			hi = min(hi, e.starts[d.To]-d.Least)
		}
		if d.To == i {
			lo = max(lo, e.starts[d.From]+d.Least)
		}
	}
	if later {
		places = append(places, hi)
	} else {
		places = append(places, lo, a.Earliest)
	}
	for j, s := range e.starts {
		if later {
			places = append(places, s-a.Length, s, s+e.p.Activities[j].Length)
		} else {
			places = append(places, s+e.p.Activities[j].Length)
		}
	}
	for _, w := range e.p.Sittings {
		places = append(places, w.From, w.To-a.room())
	}
	places = append(places, e.finish-a.Length)
	for _, o := range e.p.Either {
		for _, d := range [2]Delay{o.One, o.Other} {
			if d.From == i {
				places = append(places, e.starts[d.To]-d.Least)
			}
			if d.To == i {
				places = append(places, e.starts[d.From]+d.Least)
			}
		}
	}
	if a.Limited {
		places = append(places, a.Latest)
	}
	var best []int
	most := 0
	for way := range waysToMove {
		for _, at := range places {
			far := hi
			if way >= pushesGroup {
				far += a.Length
			}
			if at < lo || at > far || later != (at > had) || at == had || way >= pushesGroup && !later {
				continue
			}
			starts := e.moved(i, at, way)
			won := 0
			for j, s := range starts {
				gain := e.wish[j] * (s - e.starts[j])
				if j != i && way >= pushesGroup {
					gain = min(gain, 0) // it would be no nearer to what it is for
				}
				won += gain
			}
			if way >= pushesGroup { // all that is pushed waits for that long
				won -= a.Length
			}
			if won > most && e.costsNothing(starts) && e.right(e.whole(starts)) {
				best, most = starts, won
			}
		}
	}
	if best == nil {
		return false
	}
	e.starts = best
	for n, j := range e.of {
		e.all[j] = best[n]
	}
	return true
}

// moved are the starts with one activity at another time.
func (e *easer) moved(i, at, way int) []int {
	starts := append([]int(nil), e.starts...)
	starts[i] = at
	had, length := e.starts[i], e.p.Activities[i].Length
	free := func(j int) bool {
		b := &e.p.Activities[j]
		return j != i && !b.Fixed && (way == places || way == pushes || b.Group == e.p.Activities[i].Group)
	}
	switch way {
	case alone:
	case placesOfGroup, places:
		for j, s := range e.starts {
			switch {
			case !free(j):
			case had < s && s < at+length:
				starts[j] -= length
			case at <= s && s < had:
				starts[j] += length
			}
		}
	default:
		reach := at + length
		push := func(j int) {
			starts[j] += length
			reach = max(reach, starts[j]+e.p.Activities[j].Length)
		}
		for again := length > 0; again; {
			again = false
			for j, s := range e.starts {
				if free(j) && starts[j] == s && at <= s && s < reach {
					push(j)
					again = true
				}
			}
			for _, d := range e.p.Delays { // what waits for it waits longer
				if j := d.To; d.From != i && j != i && !e.p.Activities[j].Fixed && starts[j] == e.starts[j] && starts[j] < starts[d.From]+d.Least {
					push(j)
					again = true
				}
			}
		}
	}
	return starts
}

// whole are the starts of all, with those of the part.
func (e *easer) whole(starts []int) []int {
	all := append([]int(nil), e.all...)
	for n, j := range e.of {
		all[j] = starts[n]
	}
	return all
}

// costsNothing reports whether starts are a plan in which nothing that counts is worse.
func (e *easer) costsNothing(starts []int) bool {
	for j, s := range starts {
		b := &e.p.Activities[j]
		if s+b.Length > e.finish || b.Limited && e.wish[j] == 0 && s > e.starts[j] {
			return false
		}
	}
	for _, d := range e.p.Delays {
		if d.Least < 0 && starts[d.To]-starts[d.From] < e.starts[d.To]-e.starts[d.From] {
			return false
		}
	}
	return Check(e.p, starts) == nil
}
