package workflow

import (
	"math"
	"slices"
	"time"

	"fettle/steps/lists"
	"fettle/workflow/plan"
)

// This file knows when somebody can work: the sittings that are given, those like them that follow, and the nights in which the
// time changes.

// A Sitting is a time at the bench.
type Sitting struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// Hours are when and how somebody can work.
type Hours struct {
	Sittings []Sitting // in order, apart
	// Assumed are like those that were said of another week, in order, apart. Where they come after all that are given they follow them;
	// else they count only where those are too few.
	Assumed  []Sitting
	Again    bool     // where they are too few, ones like them follow, week after week
	Hands    int      // people who work at once; 0: one
	Celsius  *float64 // at the bench; nil: as was read last on each airframe
	Tight    bool     // windows are used to their ends, with nothing to spare
	Consider []string // adhesives, and answers of choices, where the record leaves them open; else the first
	// Pace is the builder's own; nil: nothing is known of it.
	Pace OwnPace
	// Watch looks at what was asked and what came of it; nil: nobody does.
	Watch func(plan.Problem, plan.Result)
	// Like is what was shown before: where it still is a plan, no worse one takes its place; its order is kept where that costs
	// nothing.
	Like *Timetable
}

// MostHands is how many people a plan can be for.
const MostHands = 9

// How many weeks follow those of the sittings that are given: what is glued in the last of them is cured, and no plan is
// for more than twenty years.
const (
	weeksAgain = 8
	weeksMost  = 20 * 52
)

// repeated are the sittings, and those that are added for so many weeks at least: like them, as many whole weeks later as they take,
// at the same time of the day. In the nights in which the time changes only what is certain of one counts.
func repeated(given []Sitting, weeks int) []Sitting {
	all := slices.Clone(given)
	if len(given) == 0 {
		return all
	}
	span := WeeksOf(given[0], given[len(given)-1])
	for n := span; n < weeks+span; n += span {
		for _, s := range given {
			if s = s.Later(n); s.From.Before(s.To) && !s.From.Before(all[len(all)-1].To) {
				all = append(all, s)
			}
		}
	}
	return all
}

// WeeksOf is how many whole weeks sittings take, from the first to the last.
//
//go:noinline
func WeeksOf(first, last Sitting) int {
	return 1 + int((last.To.Sub(first.From)+2*time.Hour)/(7*24*time.Hour)) // two hours, for a change of the time
}

// Later is the sitting so many weeks later, at the same time of the day, as far as it is certain: of one that is not, it ends before it begins.
//
//go:noinline
func (s Sitting) Later(weeks int) Sitting {
	_, s.From = daysLater(s.From, 7*weeks)
	s.To, _ = daysLater(s.To, 7*weeks)
	return s
}

// daysLater is a moment so many days later by the clock on the wall: the early and the late one, where that shows it twice.
//
//go:noinline
func daysLater(t time.Time, days int) (early, late time.Time) {
	shown := time.Date(t.Year(), t.Month(), t.Day()+days, t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
	early, late, _ = OnTheWall(shown, t.Location())
	return early, late
}

// None reports whether there are no sittings, given or assumed.
//
//go:noinline
func (h *Hours) None() bool { return len(h.Sittings)+len(h.Assumed) == 0 }

// Any are the sittings that are given and those that are assumed, in order; where they overlap they are one.
//
//go:noinline
func (h *Hours) Any() (any []Sitting) {
	for i, k := 0, 0; i+k < len(h.Sittings)+len(h.Assumed); {
		var s Sitting
		if k == len(h.Assumed) || i < len(h.Sittings) && h.Sittings[i].From.Before(h.Assumed[k].From) {
			s, i = h.Sittings[i], i+1
		} else {
			s, k = h.Assumed[k], k+1
		}
		if last := len(any) - 1; last < 0 || !s.From.Before(any[last].To) {
			any = append(any, s)
		} else if s.To.After(any[last].To) {
			any[last].To = s.To
		}
	}
	return any
}

// mixed reports whether sittings are assumed before others that are given, and so count only where those are too few.
//
//go:noinline
func (h *Hours) mixed() bool {
	n := len(h.Sittings)
	return n > 0 && len(h.Assumed) > 0 && h.Assumed[0].From.Before(h.Sittings[n-1].From)
}

// isAssumed reports whether nobody gave a sitting as it is.
//
//go:noinline
func (c *scheduler) isAssumed(k int) bool {
	s := c.given[k]
	if k >= c.added {
		return true
	}
	for _, is := range c.h.Assumed {
		if c.weeks > 0 && is.From.Before(s.To) && s.From.Before(is.To) {
			return true
		}
	}
	return false
}

// atLeast are the sittings, each so long where it can be before the next.
func atLeast(given []Sitting, length time.Duration) []Sitting {
	all := slices.Clone(given)
	for i := range all {
		if to := all[i].From.Add(length); to.After(all[i].To) {
			if all[i].To = to; i+1 < len(all) && to.After(all[i+1].From) {
				all[i].To = all[i+1].From
			}
		}
	}
	return all
}

// OnTheWall is when the clock on a wall of the zone shows what shown is in UTC: once, twice when clocks go back, or never
// when they go forward. Whoever is at the bench by it is there from the late moment, and until the early one.
func OnTheWall(shown time.Time, zone *time.Location) (early, late time.Time, never bool) {
	_, before := shown.Add(-36 * time.Hour).In(zone).Zone()
	_, behind := shown.Add(36 * time.Hour).In(zone).Zone()
	never = true
	for _, offset := range []int{before, behind} {
		t := shown.Add(-time.Duration(offset) * time.Second).In(zone)
		_, is := t.Zone()
		switch {
		case is == offset && never:
			early, late, never = t, t, false
		case is == offset || never:
			if early.IsZero() || t.Before(early) {
				early = t
			}
			if t.After(late) {
				late = t
			}
		}
	}
	return early, late, never
}

// hours turns the sittings into minutes.
func (c *scheduler) hours() error {
	last, given := time.Time{}, c.h.Sittings
	if c.weeks > 0 || len(given) == 0 {
		given = c.h.Any()
	}
	for i, s := range repeated(given, c.weeks) {
		switch {
		case !s.From.Before(s.To):
			return &NoPlan{Why: BadSitting, Sittings: []Sitting{s}}
		case s.From.Before(last):
			return &NoPlan{Why: Overlap, Sittings: []Sitting{s}}
		}
		last = s.To
		if from, to := max(0, c.minute(s.From)), c.minuteBefore(s.To); from < to {
			c.sittings, c.given, c.over = append(c.sittings, plan.Span{From: from, To: to}), append(c.given, s), append(c.over, false)
		}
		if i < len(given) {
			c.added = len(c.sittings)
		}
	}
	return nil
}

// OvertimeMost is how long after the end of a sitting what can't wait for the next one is still done (common practice, no
// source).
const OvertimeMost = 30 * time.Minute

// overtime adds what it takes, after the end of a sitting, to do what has a clock that runs and would be over before the next
// sitting, with what is set for that and ended again: nobody leaves an open coat for a minute. It is as long as it takes to end what
// stands for nothing, and what is ended by nothing that is planned is ended before the next one begins.
func (c *scheduler) overtime() {
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.late == nil || t.step == nil {
			continue
		}
		end, before := math.MaxInt, 0
		for _, w := range t.window {
			if w.from < 0 {
				end = min(end, w.end)
			}
		}
		for k := range c.tasks {
			if c.precedes(k, i) {
				before += c.tasks[k].minutes
			}
		}
		off := 0
		for _, r := range c.rows {
			if r.setter < 0 && lists.Contains(r.tasks, i) {
				before += minutesOfAll(c.readying(r, []int{i}, r.now && t.earliest == 0))
				if i != r.ender {
					off += c.offMinutes(r)
				}
			}
		}
		begin := max(t.earliest, before)
		span := plan.Span{From: begin - before, To: begin + t.minutes}
		after := time.Duration(0)
		for k, s := range c.h.Sittings {
			if d := c.time(span.To).Sub(s.To); k == 0 || d >= 0 && d < after {
				after = d
			}
		}
		if span.To > end || after <= 0 || after > OvertimeMost || slices.ContainsFunc(c.sittings, func(w plan.Span) bool { return max(w.From, begin)+t.minutes <= min(w.To, end) }) {
			continue
		}
		span.To += off
		c.open(span)
	}
	if len(c.sittings) == 0 {
		return
	}
	minutes, forNothing := c.standingNow()
	least := 0
	for _, ends := range forNothing {
		least += ends.minutes
	}
	if c.forNothing = forNothing; least > c.sittings[0].To {
		c.open(plan.Span{To: least})
	}
	c.ended = c.sittings[0].To + minutes
	for len(c.sittings) > 1 && c.sittings[1].From < c.ended { // it begins once that is ended
		c.sittings, c.given = slices.Clone(c.sittings), slices.Clone(c.given)
		if c.sittings[1].From, c.given[1].From = c.ended, c.time(c.ended); c.ended < c.sittings[1].To {
			break
		}
		c.sittings, c.given, c.over = slices.Delete(c.sittings, 1, 2), slices.Delete(c.given, 1, 2), slices.Delete(slices.Clone(c.over), 1, 2)
		c.added--
	}
}

// open adds a sitting longer than was given, or after those that were; it is one with those that it touches.
func (c *scheduler) open(span plan.Span) {
	at := 0
	for at < len(c.sittings) && c.sittings[at].To < span.From {
		at++
	}
	till := at
	for ; till < len(c.sittings) && c.sittings[till].From <= span.To; till++ { // one that goes on for longer
		span = plan.Span{From: min(span.From, c.sittings[till].From), To: max(span.To, c.sittings[till].To)}
	}
	c.sittings = append(c.sittings[:at:at], append([]plan.Span{span}, c.sittings[till:]...)...)
	c.given = append(c.given[:at:at], append([]Sitting{{c.time(span.From), c.time(span.To)}}, c.given[till:]...)...)
	c.over = append(c.over[:at:at], append([]bool{true}, c.over[till:]...)...)
	c.added += 1 + at - till
}

// weeksFor is for how many weeks the sittings must come again so that there is twice the time that the work takes.
func (c *scheduler) weeksFor() int {
	work, open := 0, 0
	for i := range c.tasks {
		work += c.tasks[i].minutes
	}
	for _, w := range c.sittings {
		open += w.To - w.From
	}
	if open >= 2*work {
		return c.weeks
	}
	last := 0
	if len(c.sittings) > 0 {
		last = c.sittings[len(c.sittings)-1].To / (7 * 24 * 60)
	}
	return min(weeksMost, c.weeks+1+(2*work-open)*(1+last)/max(1, open))
}
