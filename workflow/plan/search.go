package plan

import (
	"context"
	"math"
)

// This file is the exact search, by lazy clause generation (Ohrimenko, Stuckey and Codish 2009; Schutt, Feydy,
// Stuckey and Wallace 2011 and 2013 for scheduling: from memory, not opened). Every inference can be explained by
// earlier ones; a conflict is traced back to a clause that keeps the search from coming there again.

// A literal says that the bound of a side is at least v. Side 2x is the variable x, side 2x+1 is -x.
type literal struct{ side, v int32 }

func atLeast(x, v int32) literal   { return literal{2 * x, v} }
func atMost(x, v int32) literal    { return literal{2*x + 1, -v} }
func (l literal) negated() literal { return literal{l.side ^ 1, 1 - l.v} }

var always = literal{-1, 0}

type clause struct {
	all    []literal
	levels int32 // different levels when it was learnt: few is good
	act    float64
	dead   bool
}

// A watch wakes its clause, unless other is true.
type watch struct {
	c     *clause
	other literal
}

// Waiting are the watches that wake when the bound of a side reaches v.
type waiting struct {
	v   int32
	all []watch
}

// An arc holds bound[to] >= bound[from] + least where the literal when is true.
type arc struct {
	from, to, least int32
	when            literal
}

// A reason says why an entry of the trail holds.
type reason struct {
	kind  int8
	at, n int32 // of an arc: its index; of a list: where it is in reasons
	c     *clause
}

const (
	decided = iota // or true at the root
	byClause
	byArc
	byGap
	byList
)

type entry struct {
	side, v, was, before, level int32
	decides                     int32 // an atom, 1 + its index, that this decided and that is out of the heap
	why                         reason
}

type search struct {
	ctx     context.Context
	stopped bool // by ctx
	ticks   int

	bound   []int32 // by side
	last    []int32 // by side, its latest entry of the trail, -1 none
	trail   []entry
	reasons []literal
	levels  []mark
	head    int

	watches [][]waiting // by side, in order of v
	arcs    []arc
	out     []int32   // by side, its first arc; the next side's is one past its last
	guarded [][]int32 // by side, arcs whose when is on it
	starts  [][]Span  // by variable, the values left to it, each span with its end; nil: all
	tables  []propagator
	wakes   [][]int32 // by side, tables
	queued  []bool
	queue   []int32
	learnt  []*clause
	clash   []literal // all true, and they cannot be

	actStep, clauseStep float64   // both grow instead of the others fading
	weight              []float64 // by atom
	saved               []int32   // by variable, its latest value
	atoms               []literal // what is branched on: x >= v
	atomOf              map[literal]int32
	next                []int32 // by atom, another one decided by the same entry
	order               heap    // atoms by weight
	times               []int32 // variables that are starts
	branch              bool    // starts must be branched on once all orders are decided
	finish              int32

	need, place []int32 // by side, for the analysis
	touched     []int32
	buf         []literal
	seen        []int32
	failed      []int32 // by entry, the last round in which it was found not to be implied
	round       int32

	conflicts, restarts, most int
	one                       bool // any plan will do
	none                      bool // no plan is known
	halve                     bool // a plan is known: look for a much better one every other time
}

// closeTo is of which part of the finish the bound is near enough to look for no more than a better plan.
const closeTo = 8

// A propagator infers what a resource leaves to what uses it; false where that is a conflict.
type propagator interface{ propagate(s *search) bool }

type mark struct{ trail, reasons int }

//go:noinline
func (s *search) variable(lo, hi int32) int32 {
	x := int32(len(s.saved))
	s.bound = append(s.bound, lo, -hi)
	s.last = append(s.last, -1, -1)
	s.need = append(s.need, 0, 0)
	s.place = append(s.place, -1, -1)
	s.watches = append(s.watches, nil, nil)
	s.guarded = append(s.guarded, nil, nil)
	s.wakes = append(s.wakes, nil, nil)
	s.starts = append(s.starts, nil)
	s.saved = append(s.saved, -1)
	return x
}

func (s *search) lo(x int32) int32          { return s.bound[2*x] }
func (s *search) hi(x int32) int32          { return -s.bound[2*x+1] }
func (s *search) isTrue(l literal) bool     { return s.bound[l.side] >= l.v }
func (s *search) isFalse(l literal) bool    { return s.bound[l.side^1] >= 1-l.v }
func (s *search) decidedFully(x int32) bool { return s.bound[2*x] == -s.bound[2*x+1] }

// delay holds y >= x + least where when is true.
//
//go:noinline
func (s *search) delay(x, y, least int32, when literal) {
	for _, a := range [2]arc{{2 * x, 2 * y, least, when}, {2*y + 1, 2*x + 1, least, when}} {
		s.arcs = append(s.arcs, a)
	}
}

//go:noinline
func (s *search) propagator(u propagator, of []int32) {
	n := int32(len(s.tables))
	s.tables, s.queued = append(s.tables, u), append(s.queued, false)
	for _, x := range of {
		s.wakes[2*x], s.wakes[2*x+1] = append(s.wakes[2*x], n), append(s.wakes[2*x+1], n)
	}
}

func (s *search) attach(c *clause) {
	for k := range 2 {
		s.watch(c.all[k].negated(), watch{c, c.all[1-k]})
	}
}

// waits is the first of the watches of a side that wait for v or more.
func (s *search) waits(side, v int32) int {
	all := s.watches[side]
	lo, hi := 0, len(all)
	for lo < hi {
		if m := (lo + hi) / 2; all[m].v < v {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

func (s *search) watch(l literal, w watch) {
	k, all := s.waits(l.side, l.v), s.watches[l.side]
	if k == len(all) || all[k].v != l.v {
		all = append(all, waiting{})
		copy(all[k+1:], all[k:])
		all[k] = waiting{v: l.v}
		s.watches[l.side] = all
	}
	all[k].all = append(all[k].all, w)
}

func (s *search) set(l literal, why reason) bool {
	if s.isTrue(l) {
		return true
	}
	if s.isFalse(l) {
		s.clash = append(s.explain(why, l, s.clash[:0]), l.negated())
		return false
	}
	s.trail = append(s.trail, entry{l.side, l.v, s.bound[l.side], s.last[l.side], int32(len(s.levels)), 0, why})
	s.last[l.side] = int32(len(s.trail) - 1)
	s.bound[l.side] = l.v
	return true
}

// because keeps a list of literals as a reason for as long as its level lasts.
func (s *search) because(all ...literal) reason {
	at := len(s.reasons)
	s.reasons = append(s.reasons, all...)
	return reason{kind: byList, at: int32(at), n: int32(len(all))}
}

// explain appends what l followed from; l may be weaker than what was inferred.
func (s *search) explain(why reason, l literal, to []literal) []literal {
	switch why.kind {
	case byClause:
		for _, x := range why.c.all {
			if x.side != l.side || x.v < l.v {
				to = append(to, x.negated())
			}
		}
	case byArc:
		a := &s.arcs[why.at]
		to = append(to, literal{a.from, l.v - a.least})
		if a.when != always {
			to = append(to, a.when)
		}
	case byGap:
		to = append(to, literal{l.side, s.gap(l.side, l.v-1)})
	case byList:
		to = append(to, s.reasons[why.at:why.at+why.n]...)
	}
	return to
}

// gap is the bound from which on a side that reaches v, which lies in a gap of its values, is pushed over that gap.
func (s *search) gap(side, v int32) int32 {
	all := s.starts[side>>1]
	if side&1 == 0 {
		return int32(all[firstTo(all, int(v))-1].To) + 1
	}
	return -int32(all[firstTo(all, int(-v))].From) + 1
}

// firstTo is the first of the spans, in order, that ends at t or later; len(all) if none.
func firstTo(all []Span, t int) int {
	lo, hi := 0, len(all)
	for lo < hi {
		if m := (lo + hi) / 2; all[m].To < t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

// overGap moves the bound of a side out of a gap.
func (s *search) overGap(side int32) bool {
	all := s.starts[side>>1]
	if side&1 == 0 {
		t := s.bound[side]
		k := firstTo(all, int(t))
		if k == len(all) || all[k].From <= int(t) {
			return true
		}
		return s.set(literal{side, int32(all[k].From)}, reason{kind: byGap})
	}
	t := -s.bound[side]
	k := firstTo(all, int(t))
	if k < len(all) && all[k].From <= int(t) || k == 0 {
		return true
	}
	return s.set(literal{side, -int32(all[k-1].To)}, reason{kind: byGap})
}

func (s *search) along(i int32) bool {
	a := &s.arcs[i]
	v := s.bound[a.from] + a.least
	if a.when == always || s.isTrue(a.when) {
		if v <= s.bound[a.to] {
			return true
		}
		if p := s.last[a.to]; p >= 0 && s.trail[p].why.kind == byArc && int(s.trail[p].level) == len(s.levels) && s.cycle(a, v) {
			return false
		}
		return s.set(literal{a.to, v}, reason{kind: byArc, at: i})
	}
	if s.bound[a.to^1] >= 1-v && !s.isFalse(a.when) {
		return s.set(a.when.negated(), s.because(literal{a.from, s.bound[a.from]}, literal{a.to ^ 1, 1 - v}))
	}
	return true
}

// cycle says whether the arc closes a cycle of arcs that push each other (Cotton and Maler 2006: from memory, not
// opened). They would creep on minute by minute; that all of them hold is the conflict.
func (s *search) cycle(a *arc, v int32) bool {
	s.buf = s.buf[:0]
	for c, n := a, 0; n < 200; n++ {
		if c.when != always {
			s.buf = append(s.buf, c.when)
		}
		v -= c.least
		if c.from == a.to {
			s.clash = append(s.clash[:0], s.buf...)
			return true
		}
		p := s.since(literal{c.from, v})
		if p < 0 || s.trail[p].why.kind != byArc {
			return false
		}
		c = &s.arcs[s.trail[p].why.at]
	}
	return false
}

// propagate infers until nothing more follows; false where a conflict does.
func (s *search) propagate() bool {
	for {
		for s.head < len(s.trail) {
			if s.ticks++; s.ticks&511 == 0 && s.ctx.Err() != nil {
				s.stopped = true
				return true
			}
			e := s.trail[s.head]
			side := e.side
			s.head++
			if s.starts[side>>1] != nil && !s.overGap(side) {
				return false
			}
			for i := s.out[side]; i < s.out[side+1]; i++ {
				if !s.along(i) {
					return false
				}
			}
			for _, i := range s.guarded[side] {
				if s.isTrue(s.arcs[i].when) && !s.along(i) {
					return false
				}
			}
			if len(s.watches[side]) > 0 && !s.wake(side, e.was, e.v) {
				return false
			}
			for _, i := range s.wakes[side] {
				if !s.queued[i] {
					s.queued[i] = true
					s.queue = append(s.queue, i)
				}
			}
		}
		if len(s.queue) == 0 {
			return true
		}
		i := s.queue[0]
		s.queue = s.queue[:copy(s.queue, s.queue[1:])]
		s.queued[i] = false
		if !s.tables[i].propagate(s) {
			return false
		}
	}
}

// wake looks at the clauses that the bound of the side may have left with one way to be true when it went up from was.
func (s *search) wake(side, was, to int32) bool {
	for k := s.waits(side, was+1); k < len(s.watches[side]); k++ {
		w := &s.watches[side][k]
		if w.v > to {
			break
		}
		if !s.wakeAll(w, literal{side, w.v}.negated()) {
			return false
		}
	}
	return true
}

// wakeAll looks at what waits, with l false now. No clause has two literals of one side.
func (s *search) wakeAll(on *waiting, l literal) bool {
	all := on.all
	kept := 0
next:
	for i, w := range all {
		if s.isTrue(w.other) {
			all[kept] = w
			kept++
			continue
		}
		c := w.c
		if c.dead {
			continue
		}
		if c.all[0] == l {
			c.all[0], c.all[1] = c.all[1], c.all[0]
		}
		w.other = c.all[0]
		if !s.isTrue(w.other) {
			for k := 2; k < len(c.all); k++ {
				if !s.isFalse(c.all[k]) {
					c.all[1], c.all[k] = c.all[k], c.all[1]
					s.watch(c.all[1].negated(), watch{c, w.other})
					continue next
				}
			}
		}
		all[kept] = w
		kept++
		if !s.set(w.other, reason{kind: byClause, c: c}) {
			kept += copy(all[kept:], all[i+1:])
			on.all = all[:kept]
			return false
		}
	}
	on.all = all[:kept]
	return true
}

func (s *search) undo(level int) {
	if len(s.levels) <= level {
		return
	}
	m := s.levels[level]
	for i := len(s.trail) - 1; i >= m.trail; i-- {
		e := &s.trail[i]
		x := e.side >> 1
		if s.decidedFully(x) {
			s.saved[x] = s.lo(x)
		}
		for a := e.decides; a > 0; a = s.next[a-1] {
			s.order.insert(a-1, s.weight)
		}
		s.bound[e.side], s.last[e.side] = e.was, e.before
	}
	s.trail, s.reasons, s.levels = s.trail[:m.trail], s.reasons[:m.reasons], s.levels[:level]
	s.head = len(s.trail)
	for _, i := range s.queue {
		s.queued[i] = false
	}
	s.queue = s.queue[:0]
}

// luby is the series 1 1 2 1 1 2 4 … (Luby, Sinclair and Zuckerman 1993: from memory, not opened).
func luby(i int) int {
	for k := 1; ; k++ {
		if i == 1<<k-1 {
			return 1 << (k - 1)
		}
		if i < 1<<k-1 {
			return luby(i - (1<<(k-1) - 1))
		}
	}
}

// minimise looks for the least finish below what it is bounded by, until it is proven, ctx ends or there were so many
// conflicts; it can go on from there. The plan is nil where none was found; proven says that there is none better.
func (s *search) minimise(ctx context.Context, conflicts int) (plan []int32, proven bool) {
	if s.ctx == nil {
		s.actStep, s.clauseStep, s.most = 1, 1, 4000
		s.ctx = ctx
		if s.root() {
			return nil, true
		}
	}
	s.ctx, s.stopped = ctx, false
	conflicts += min(s.conflicts, math.MaxInt-conflicts)
	left := 100 * luby(s.restarts+1)
	for n := 0; ; n++ {
		if !s.propagate() {
			s.conflicts++
			left--
			if s.undo(s.clashed()); len(s.levels) == 0 {
				return plan, true
			}
			c, back := s.analyze()
			s.undo(back)
			if len(c.all) == 1 {
				if !s.set(c.all[0], reason{}) {
					return plan, true
				}
			} else {
				s.learnt = append(s.learnt, c)
				s.attach(c)
				s.set(c.all[0], reason{kind: byClause, c: c})
			}
			s.actStep /= 0.95
			if s.clauseStep /= 0.999; s.clauseStep > 1e50 {
				for _, c := range s.learnt {
					c.act *= 1e-50
				}
				s.clauseStep *= 1e-50
			}
			continue
		}
		if s.stopped || n&63 == 0 && ctx.Err() != nil || s.conflicts >= conflicts {
			s.undo(0)
			return plan, false
		}
		if left <= 0 && len(s.levels) > 0 {
			s.restarts++
			left = 100 * luby(s.restarts+1)
			s.undo(0)
			if len(s.learnt) > s.most {
				s.forget()
				s.most += 200
			}
			continue
		}
		l, more := s.decide(s.halve && s.restarts%2 == 1)
		if !more {
			plan, s.none, s.halve = plan[:0], false, true
			for _, x := range s.times {
				plan = append(plan, s.lo(x))
			}
			end := s.lo(s.finish)
			s.undo(0)
			for i, x := range s.times { // the next one is looked for near this one
				s.saved[x] = plan[i]
			}
			if s.one {
				return plan, false
			}
			if !s.set(atMost(s.finish, end-1), reason{}) {
				return plan, true
			}
			continue
		}
		s.levels = append(s.levels, mark{len(s.trail), len(s.reasons)})
		s.set(l, reason{})
	}
}

// sortArcs lays the arcs from one side beside each other.
func (s *search) sortArcs() {
	s.out = make([]int32, len(s.bound)+1)
	for _, a := range s.arcs {
		s.out[a.from+1]++
	}
	for side := range s.bound {
		s.out[side+1] += s.out[side]
	}
	next, sorted := append([]int32(nil), s.out...), make([]arc, len(s.arcs))
	for _, a := range s.arcs {
		i := next[a.from]
		next[a.from]++
		if sorted[i] = a; a.when != always {
			s.guarded[a.when.side] = append(s.guarded[a.when.side], i)
		}
	}
	s.arcs = sorted
}

// root infers what holds before any decision; true if that is a conflict already.
func (s *search) root() bool {
	s.sortArcs()
	for i := range s.arcs {
		if !s.along(int32(i)) {
			return true
		}
	}
	for side := range s.bound {
		if s.starts[side>>1] != nil && !s.overGap(int32(side)) {
			return true
		}
	}
	for i := range s.tables {
		s.queued[i] = true
		s.queue = append(s.queue, int32(i))
	}
	return !s.propagate()
}

// decide chooses what to try next; false where all is decided, and the earliest starts are a plan.
func (s *search) decide(halve bool) (literal, bool) {
	if lo := s.lo(s.finish); s.none && len(s.levels) == 0 && s.hi(s.finish)-lo > lo {
		// Till there is a plan, one that is not far from the bound: what fits into no sitting would be pushed through all of them.
		return atMost(s.finish, 2*lo), true
	}
	if halve && len(s.levels) == 0 && s.hi(s.finish)-s.lo(s.finish) > s.hi(s.finish)/closeTo {
		// A much better plan: that there is none lifts the bound. Near the bound it costs more than it saves.
		return atMost(s.finish, s.lo(s.finish)+(s.hi(s.finish)-s.lo(s.finish))/2), true
	}
	for len(s.order.all) > 0 {
		k := s.order.all[0]
		l := s.atoms[k]
		by := l
		switch {
		case s.isTrue(l):
		case s.isFalse(l):
			by = l.negated()
		case s.saved[l.side>>1] >= l.v:
			return l, true
		default:
			return l.negated(), true
		}
		s.order.top(s.weight)
		if p := s.since(by); p >= 0 {
			s.next[k], s.trail[p].decides = s.trail[p].decides, k+1
		}
	}
	if !s.branch {
		return literal{}, false
	}
	best, low := int32(-1), int32(math.MaxInt32)
	for _, x := range s.times {
		if v := s.lo(x); !s.decidedFully(x) && v < low {
			best, low = x, v
		}
	}
	return atMost(best, low), best >= 0
}
