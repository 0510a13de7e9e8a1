// Package plan finds when to do things: starts of activities that share resources, with least and
// greatest delays between them, the attended ones inside sittings, so that all is finished as soon as
// can be. It says how far from the best a plan can be at most, and what is in conflict where there is none.
// It knows minutes, not what is done in them.
//
// A first plan is made by placing one block after the other (blocks.go); better ones, and the proof that there is
// none better, come from an exact search by lazy clause generation (search.go).
package plan

import (
	"context"
	"fmt"
	"time"
)

// A Problem asks for starts of activities, in whole minutes from a moment that the caller chooses.
type Problem struct {
	Activities []Activity
	Delays     []Delay
	Either     []Either
	Capacity   []int  // by resource: how much of it there is at once
	Sittings   []Span // in order, apart; attended activities lie whole inside one of them. None: always open

	// Together are sets of attended activities that lie in one and the same sitting. What is fixed lies in the one that it begins in,
	// and where it begins in none it asks nothing of the others.
	Together [][]int
}

// An Activity takes Length minutes without a break.
type Activity struct {
	Length   int
	Needs    []int // by resource, while it lasts; may be shorter than Capacity
	Attended bool  // lies inside one sitting
	Room     int   // how much of that sitting is left at its start, at least; 0: Length
	Group    int   // what belongs together: groups are replanned as wholes

	Earliest int // no start before it, nor before 0
	Latest   int // no start after it, where Limited
	Limited  bool

	// Start is when it began, where Fixed. What has begun is not judged: it may lie before 0, outside
	// the sittings and beside other fixed ones; what is free keeps clear of it.
	Start int
	Fixed bool
}

// A Delay holds Start[To] >= Start[From] + Least. "At most 30 after" is a Delay the other way with Least -30.
type Delay struct{ From, To, Least int }

// A Span is open from From until just before To.
type Span struct{ From, To int }

// Options say how long to think and where from.
type Options struct {
	Think time.Duration // 0: 1 s
	Seed  uint64

	// Sure has a first plan made, and found what the work there is says of the finish, however long that takes: no longer than a power
	// of the size of the problem. Think is then for what is better.
	Sure bool

	// Before asks for plans that finish before that moment alone, 0: for any. That there is none is then proven without a conflict.
	Before int

	// Warm are the starts of an earlier plan by activity: no worse plan is the result if it still is one, and its order is kept
	// as far as that costs nothing, for which a third of the time is.
	Warm []int
}

// A Result is the best plan found.
type Result struct {
	Starts []int // by activity; nil: no plan was found
	Finish int   // when the last activity ends
	Bound  int   // no plan finishes sooner
	Proven bool  // Finish is Bound; without Starts: there is no plan, or none that finishes before Options.Before, which Bound then is or is after
	Moved  int   // pairs of activities that are not fixed and change places from the warm starts

	Took time.Duration // on the clock

	Chain    []Link    // what holds the finish back, last activity first
	Conflict *Conflict // why there is no plan, where that is proven
}

// A Link of the chain is an activity and what keeps it from starting sooner. Were it a minute longer, in the same order, the finish would
// be later.
type Link struct {
	Activity int
	Hold     Hold
	Delay    int  // index, for ByDelay; those after the delays are of the eithers
	Resource int  // for ByResource
	Sitting  bool // it then waits for a sitting to open

	// Spare is how much later Before, which comes right before the first link, could begin with the finish as it is.
	Before, Spare int
}

// Hold is a way in which an activity is kept from starting sooner.
type Hold int

// The holds. ByDelay and ByResource lead to the next link of the chain; the others end it.
const (
	ByStart    Hold = iota // it has begun, or starts as early as it may
	BySitting              // no sitting is open sooner
	ByDelay                // a delay from the next activity of the chain
	ByResource             // the next activity of the chain uses what it needs
	BySpare                // nothing that has no time to spare
)

// A Conflict is a set that has no plan, and, where Irreducible, has one without any single part of it. An activity
// that is left out takes its delays along; delays among those that are named which are no upper limits belong to the
// set unnamed.
type Conflict struct {
	Activities  []int
	Upper       []int // delays with a negative Least
	Latest      []int // activities by whose Latest
	Together    []int // sets of those named that must lie in one sitting; of no use without Sittings
	Sittings    bool
	Irreducible bool
}

// A Fault is a way in which a problem can be badly put.
type Fault int

// The faults; Index of a BadProblem counts what is named here.
const (
	NegativeLength  Fault = iota // activity
	TooLong                      // activity: attended, and with its room longer than every sitting
	TooMuch                      // activity: needs more of a resource than there is, or less than nothing
	LatestUnlimited              // activity: has a Latest and is not Limited
	NoSuchActivity               // delay: an end of it is not an activity
	SelfDelay                    // delay: from an activity to itself, positive
	BadEither                    // either: an end of it is not an activity
	BadTogether                  // set: one of it is not an activity, or not attended
	NegativeAmount               // resource: less of it than nothing
	EmptySitting                 // sitting: ends before or when it starts
	SittingsOverlap              // sitting: starts before the one before it ends
	WrongWarm                    // the warm starts are not one for each activity
	TooFar                       // moments further away than 500 years
)

var faults = [...]string{"the length of activity %d is negative", "activity %d is longer than every sitting",
	"activity %d needs more than there is", "activity %d has a latest start but no limit", "delay %d is between no activities",
	"delay %d is from an activity to itself", "either %d is between no activities", "set %d has something that is not an attended activity",
	"the amount of resource %d is negative", "sitting %d ends before it starts",
	"sitting %d starts before the one before it ends", "there are %d warm starts", "a moment is too far away"}

// BadProblem is the error for a problem that is badly put.
type BadProblem struct {
	Fault Fault
	Index int
}

func (e *BadProblem) Error() string {
	if e.Fault == TooFar {
		return faults[TooFar]
	}
	return fmt.Sprintf(faults[e.Fault], e.Index)
}

// farthest is the largest moment: the sums of the search stay within 32 bits.
const farthest = 1 << 28

func far(v int) bool { return v < -farthest || v > farthest }

// fault finds what is badly put, nil if nothing is, and a moment by which every problem that has plans has one finished.
func (p *Problem) fault() (horizon int32, err error) {
	total, longest := 0, 0
	for i, c := range p.Capacity {
		if c < 0 {
			return 0, &BadProblem{NegativeAmount, i}
		}
		if far(c) {
			return 0, &BadProblem{TooFar, i}
		}
	}
	for i, w := range p.Sittings {
		switch {
		case far(w.From) || far(w.To):
			return 0, &BadProblem{TooFar, i}
		case w.To <= w.From:
			return 0, &BadProblem{EmptySitting, i}
		case i > 0 && w.From < p.Sittings[i-1].To:
			return 0, &BadProblem{SittingsOverlap, i}
		}
		longest = max(longest, w.To-w.From)
		total = max(total, w.To)
	}
	step := make([]int, len(p.Activities))
	for i, a := range p.Activities {
		switch {
		case a.Length < 0:
			return 0, &BadProblem{NegativeLength, i}
		case far(a.Length) || far(a.Room) || far(a.Earliest) || far(a.Latest) || far(a.Start):
			return 0, &BadProblem{TooFar, i}
		case a.Latest != 0 && !a.Limited:
			return 0, &BadProblem{LatestUnlimited, i}
		case a.Attended && !a.Fixed && len(p.Sittings) > 0 && a.room() > longest:
			return 0, &BadProblem{TooLong, i}
		}
		for k, n := range a.Needs {
			if n < 0 || n > 0 && !a.Fixed && (k >= len(p.Capacity) || n > p.Capacity[k]) {
				return 0, &BadProblem{TooMuch, i}
			}
		}
		step[i] = a.Length
		total = max(total, a.Earliest)
		if a.Fixed {
			total = max(total, a.Start)
		}
	}
	for i, d := range p.Delays {
		switch {
		case min(d.From, d.To) < 0 || max(d.From, d.To) >= len(p.Activities):
			return 0, &BadProblem{NoSuchActivity, i}
		case d.From == d.To && d.Least > 0:
			return 0, &BadProblem{SelfDelay, i}
		case far(d.Least):
			return 0, &BadProblem{TooFar, i}
		}
		step[d.From] = max(step[d.From], d.Least)
	}
	for i, e := range p.Either {
		for _, d := range [2]Delay{e.One, e.Other} {
			switch {
			case min(d.From, d.To) < 0 || max(d.From, d.To) >= len(p.Activities):
				return 0, &BadProblem{BadEither, i}
			case far(d.Least):
				return 0, &BadProblem{TooFar, i}
			}
			step[d.From] = max(step[d.From], d.Least)
		}
	}
	for n, set := range p.Together {
		for _, i := range set {
			if i < 0 || i >= len(p.Activities) || !p.Activities[i].Attended {
				return 0, &BadProblem{BadTogether, n}
			}
		}
	}
	for _, s := range step {
		if total += s; total > farthest {
			return 0, &BadProblem{TooFar, 0}
		}
	}
	return int32(total), nil
}

// room is how much of a sitting there is for what is attended, from its start on.
func (a *Activity) room() int { return max(a.Length, a.Room) }

// need is how much of resource k the activity takes while it lasts.
func (a *Activity) need(k int) int32 {
	if k < len(a.Needs) && a.Length > 0 {
		return int32(a.Needs[k])
	}
	return 0
}

// Solve finds starts that finish as soon as can be within the time to think. The error is a *BadProblem;
// a problem without a plan is a Result without Starts.
func Solve(ctx context.Context, p Problem, o Options) (Result, error) {
	horizon, err := p.fault()
	if err != nil {
		return Result{}, err
	}
	if o.Warm != nil && len(o.Warm) != len(p.Activities) {
		return Result{}, &BadProblem{WrongWarm, len(o.Warm)}
	}
	if o.Think == 0 {
		o.Think = time.Second
	}
	began := time.Now()
	until := schedule{wanted: ctx, sure: ctx}
	var cancel, stop func()
	until.think, cancel = context.WithTimeout(ctx, o.Think)
	defer cancel()
	think := o.Think * 19 / 20 // the rest is for what a large plan is made ready with
	if o.Warm != nil {
		think = o.Think * 7 / 10 // and for likening it to the earlier one
	}
	until.search, stop = context.WithTimeout(until.think, think)
	defer stop()
	if !o.Sure {
		until.sure = until.search
	}
	r := p.solve(until, o, int(horizon))
	r.Took = time.Since(began)
	return r, nil
}
