package workflow

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"fettle/steps"
	"fettle/workflow/plan"
)

// This file puts what is left of jobs to the planner as a problem: what is done (tasks.go), when (hours.go), what must lie in
// a window (windows.go) and what is kept apart (apart.go). Nowhere else is it known that there is a planner.
//
// Steps of a stage come in the order written, stages side by side but for what they come after. What somebody does is an
// activity that lies whole in one sitting; what passes by itself is a delay. A coat opens a window for its join: from when
// it is finished and dry until so long after it was begun. Least times are rounded up to whole minutes, most times down. A
// hold of a tool or a glue, asked once a sitting, is in the minutes of the step that it is asked for.

// A task is what somebody does without a break: a step, or one of the two acts of a glue step.
type task struct {
	of       int // airframe
	job      *Job
	work     *steps.Procedure // of the job, with its choices answered
	stage    string
	step     *steps.Step // nil: nobody does anything, it is the end of all that dries
	act      Act
	rework   string // the gate that is reworked
	adhesive *steps.Adhesive
	minutes  int
	earliest int
	early    tie
	before   []uint64  // the tasks of its airframe that come before it, by their number there
	number   int       // in its airframe
	window   []closing // what it must lie in
	spare    int       // of that, and so of the sitting that it lies in
	latest   int       // where limited
	limited  bool
	late     *runningEnd // a clock that runs, which limits it
	safe     bool        // it makes safe what crashed
	again    Again
	so       []steps.Setting // what it needs and sets
	since    int             // minute at which somebody began it, by what was shown before; 0: nobody is at it
}

// A tie says why one thing waits for another.
type tie struct {
	why   After
	joint string    // of a clock
	step  string    // the wait
	until time.Time // where that is known
}

// A link is a task, and how long after its beginning another may begin.
type link struct {
	task, least int
	tie         tie
}

// A front is what whatever comes next waits for.
type front struct {
	at    int // minute
	early tie
	links []link
}

//go:noinline
func (f *front) wait(l link) {
	for i := range f.links {
		if f.links[i].task == l.task {
			if l.least > f.links[i].least {
				f.links[i] = l
			}
			return
		}
	}
	f.links = append(f.links, l)
}

//go:noinline
func (f *front) from(minute int, why tie) {
	if minute > f.at {
		f.at, f.early = minute, why
	}
}

//go:noinline
func (f *front) join(other front) {
	f.from(other.at, other.early)
	for _, l := range other.links {
		f.wait(l)
	}
}

// after is the front so many minutes later.
func (f front) after(minutes int, why tie) front {
	out := front{at: f.at + minutes, early: why}
	for _, l := range f.links {
		out.links = append(out.links, link{l.task, l.least + minutes, why})
	}
	return out
}

// A scheduler puts the work of a fleet as a problem.
type scheduler struct {
	fleet []*State
	now   time.Time
	base  time.Time // minute 0
	h     Hours
	hands int
	think *thinking // what is left of the time for all of it
	solve func(context.Context, plan.Problem, plan.Options) (plan.Result, error)
	root  *scheduler // that has made nothing
	uncut *scheduler // that has made all tasks and settled nothing
	asked
	trial  bool             // of what would help, of which nobody asks that in turn
	inHand map[sameTurn]int // what somebody is at by what was shown before, and the minute since when
	laysBy bool             // it need not go on

	tasks    []task
	numbers  []int // by airframe, its tasks
	delays   []plan.Delay
	first    int   // of the airframe that is being put
	ties     []tie // by delay
	eithers  []plan.Either
	eitherBy []tie
	sittings []plan.Span
	given    []Sitting // by span
	weeks    int       // for how many they come again
	over     []bool    // by span, whether it is longer than anybody gave it
	added    int       // the first span that was added to those that were given

	forNothing []task // what ends what stands now, and no row goes on with
	ended      int    // by when what stands now is, where nothing that is planned ends it

	byStep  map[stepOf]int // the task that ends the step
	coats   map[stepOf]int // the task that coats
	joins   []joinTask
	glue    map[stepOf]*steps.Adhesive // by joint, what is spread on it
	reworks map[string][]string        // by step of the job, the gates that are reworked before it

	rows        []*row
	lies        [][]int         // tasks that lie in one sitting
	fixed       map[heatOf]bool // of a stretch of a row about whose gaps all is decided, its first and its last
	hot         []heat          // between two tasks of another stretch
	stretches   []stretch
	byCondition map[string][]int   // tasks that need or set it, and do not glue
	held        bool               // a row is kept from a coat, or from what disturbs it
	sided       bool               // jobs of one airframe are kept from what another one sets for good
	bare        bool               // a coat waits for the end of what no row is for
	short       map[string]*NoPlan // by the step that joins, windows that are too short
	tried       map[string]*NoPlan // of those, for which is known what helps
	long        map[string]*NoPlan // by step, what is longer than every sitting, with what belongs in the same one
	whole       bool               // nothing is left out for that
	futile      []Stop             // in place of steps that are not begun, since nothing that they are for is reached
	slack       givenUp
	heeded      map[string]bool // of what is considered, what is planned by; true: it would not be otherwise

	tools   []string // by resource; the first are the hands
	answers []Answer
	stops   []Stop
	climate []Climates
	celsius []float64
}

// asked is what is asked of one draft.
type asked struct {
	cuts    map[int]cut // by row
	loose   bool        // only stretches about whose gaps all is decided are kept from coats: no plan finishes before one that keeps all
	barest  bool        // no coat waits for the end of what no row is for
	mixed   bool        // jobs of one airframe are not kept from what another one sets for good
	pulls   bool        // what stands now is ended before all else
	yields  bool        // what stands now waits for all that a clock that runs leads to, also where there is time to end it before
	unended bool        // what stands now is ended when the first sitting is over, by nothing that is planned
	rough   bool        // nobody asks whether there is more work than time
	warm    []int       // starts of another draft, by task
	warmBy  *scheduler  // that draft, where nothing of it is moved: what isn't put between tasks any more is left out
}

// A stepOf is a step, or a joint, by its name in the procedure of its job.
type stepOf struct {
	work *steps.Procedure
	name string
}

// A joinTask is a task that joins a part of a joint, and those that coat it.
type joinTask struct {
	of, task int
	joint    string
	coats    []int // planned ones
	open     bool  // a coat is on already
	adhesive *steps.Adhesive
	zones    []string
	load     bool
}

//go:noinline
func (c *scheduler) minute(t time.Time) int { // rounded up
	d := t.Sub(c.base)
	m := int(d / time.Minute)
	if d > time.Duration(m)*time.Minute {
		m++
	}
	return m
}

//go:noinline
func (c *scheduler) minuteBefore(t time.Time) int { // rounded down
	d := t.Sub(c.base)
	m := int(d / time.Minute)
	if d < time.Duration(m)*time.Minute {
		m--
	}
	return m
}

//go:noinline
func (c *scheduler) time(minute int) time.Time {
	return c.base.Add(time.Duration(minute) * time.Minute)
}

//go:noinline
func up(d time.Duration) int { return int((d + time.Minute - 1) / time.Minute) }

//go:noinline
func down(d time.Duration) int { return int(d / time.Minute) }

// minutes are what somebody needs for the step.
//
//go:noinline
func (c *scheduler) minutes(p *steps.Procedure, step *steps.Step) int {
	if c.h.Pace != nil {
		if d, known := c.h.Pace(p, step); known {
			return max(1, up(d))
		}
	}
	return max(1, up(handsOf(step)))
}

// Schedule finds when to do what is left of the open jobs of airframes, with one bench and the same hands, so that all is
// finished, cured and released as soon as can be. Of the windows that are open already the fewest are given up, and of the
// plans that give up so few the one that finishes first is taken. The error is an *NoPlan where there is no way, or what is
// given makes no sense.
func Schedule(ctx context.Context, fleet []*State, now time.Time, h Hours, o plan.Options) (Timetable, error) {
	of := newScheduler(fleet, now, h)
	if err := of.considers(); err != nil {
		return Timetable{}, err
	}
	t, err := of.goingOn(ctx, o)
	if err == nil && h.Like == nil && t.Proven {
		of, t = of.settled(ctx, o, t)
	}
	of.advises(ctx, &t)
	of.lengthens(ctx, &t)
	for i := range t.Lapses {
		of.saves(ctx, &t.Lapses[i])
	}
	var no *NoPlan
	if errors.As(err, &no) {
		no.Open, no.Left, no.Thought = of.openNow(), Standing(fleet, now), o.Think
		for i := range no.Open {
			of.saves(ctx, &no.Open[i])
		}
	}
	return t, err
}

// settled is a first plan as it is once it was shown: planned again in what is left of the time, with the order kept that it has, less may be
// done twice. So whoever asks a second time sees the same one.
func (of *scheduler) settled(ctx context.Context, o plan.Options, first Timetable) (*scheduler, Timetable) {
	h := of.h
	h.Like, o.Think = &first, max(1, of.think.left)
	next := newScheduler(of.fleet, of.now, h)
	next.heeded = of.heeded
	t, err := next.goingOn(ctx, o)
	if err != nil || !t.Proven || t.Finish.After(first.Finish) || t.Attended > first.Attended || len(t.Lapses) > len(first.Lapses) {
		return of, first
	}
	t.Kept = false
	return next, t
}

//go:noinline
func newScheduler(fleet []*State, now time.Time, h Hours) *scheduler {
	of := &scheduler{fleet: fleet, now: now, base: now.Truncate(time.Minute), h: h, solve: plan.Solve}
	if of.base.Before(now) {
		of.base = of.base.Add(time.Minute)
	}
	return of
}

// find finds the plan.
func (of *scheduler) find(ctx context.Context, o plan.Options) (Timetable, error) {
	of.hands, of.weeks = max(1, of.h.Hands), 0
	if of.h.Again && !of.h.mixed() {
		of.weeks = weeksAgain
	}
	of.think = &thinking{left: cmp.Or(o.Think, time.Second)}
	var best *Timetable
	var gives givenUp // what that gives up
	var no error
	unknown := false     // whether what gives up as little, or less, has no plan
	all := []givenUp{{}} // what is tried, and was: the first tried of them
	for tried := 0; tried < len(all); tried++ {
		for i := tried + 1; i < len(all); i++ {
			if all[i].cost() < all[tried].cost() {
				all[i], all[tried] = all[tried], all[i]
			}
		}
		of.slack = all[tried]
		late := tried >= givingsMost || tried > 0 && of.think.over(ctx, thinkLeast)
		if best != nil && (late || of.slack.cost() > gives.cost()) {
			if of.slack.cost() == gives.cost() { // nobody knows about the others
				best.Proven, best.Bound = false, of.base
			}
			break
		}
		t, ends, err := of.attempt(ctx, o)
		if why := (*NoPlan)(nil); errors.As(err, &why) && why.Why == NotFound {
			unknown = true
		}
		switch {
		case len(ends) > 0 && late: // all of them at once
			more := of.slack
			for _, end := range ends {
				more = more.with(end)
			}
			all = append(all[:tried+1], more)
		case len(ends) > 0:
			for _, end := range ends {
				if more := of.slack.with(end); !slices.ContainsFunc(all, more.same) {
					all = append(all, more)
				}
			}
		case err != nil:
			no = err
		case best == nil:
			if best, gives = &t, of.slack; late {
				best.Proven, best.Bound = false, of.base
			}
		default:
			proven, bound := best.Proven && t.Proven, best.Bound
			if t.Bound.Before(bound) {
				bound = t.Bound
			}
			if t.Finish.Before(best.Finish) {
				best, gives = &t, of.slack
			}
			best.Proven, best.Bound = proven, bound
		}
	}
	if best == nil {
		return Timetable{}, no
	}
	if unknown {
		best.Proven, best.Bound = false, of.base
	}
	return of.sparing(ctx, o, *best, gives), nil
}

// draft looks for a plan with the rows cut as they are now.
func (of *scheduler) draft(ctx context.Context, o plan.Options) (d *draft, err error) {
	for {
		c, err := of.made()
		few := of.weeks == 0 && of.h.Again // more can be assumed
		d = &draft{c: c}
		if err != nil {
			if of.leavesOut(err) {
				continue
			}
			return d, err
		}
		c.overtime()
		c.settle()
		c.goOn()
		if of.frees() || of.begins(c) {
			of.uncut = nil
			continue
		}
		if c.added == 0 { // what comes again was over already
			return d, &NoPlan{Why: NoSitting, Sittings: c.h.Sittings}
		}
		if of.cuts == nil {
			if e := c.tooLong(); e != nil && few {
				of.weeks = weeksAgain
				continue
			} else if of.leavesLong(c, e) {
				of.uncut = nil
				continue
			} else if e != nil {
				c.help(ctx, e)
				return d, e
			}
		}
		p := c.problem()
		d.p = p
		if e := of.longestLeft(); len(c.tasks) == 0 && e != nil {
			c.help(ctx, e)
			return d, e
		}
		if len(c.tasks) == 0 {
			d.r = plan.Result{Proven: true}
			return d, nil
		}
		if more := c.weeksFor(); c.h.Again && more > c.weeks {
			of.weeks = more
			continue
		}
		if !of.rough {
			if err := c.tooMuch(ctx, o); err != nil {
				return d, err
			}
		}
		if of.warm != nil {
			o.Warm = c.warmed(p)
		} else if !of.loose {
			o.Warm = c.like(p)
		}
		if of.warmBy != nil && plan.Check(p, o.Warm) != nil {
			return d, &NoPlan{Why: Conflict}
		}
		r, err := c.solved(ctx, p, o, len(c.rows) > 0 || c.held)
		if err != nil && few && ctx.Err() == nil {
			of.weeks = weeksAgain
			continue
		}
		if err != nil {
			return d, err
		}
		if c.h.Watch != nil {
			c.h.Watch(p, r)
		}
		if d.r = r; r.Starts != nil {
			d.t = c.outline(r)
			return d, nil
		}
		d.none = true
		if r.Conflict != nil {
			for _, i := range r.Conflict.Latest {
				if late := c.tasks[i].late; late != nil && c.slack.of(*late) < 2 {
					d.more = append(d.more, *late)
				}
			}
			if len(d.more) > 0 {
				return d, nil
			}
			if k := r.Conflict; c.h.Again && c.weeks < weeksMost && (few || len(k.Upper)+len(k.Latest)+len(k.Together) == 0 || k.Sittings && !k.Irreducible) { // they may be too few
				of.weeks = max(weeksAgain, min(weeksMost, 4*of.weeks))
				continue
			}
		}
		return d, &NoPlan{Why: Conflict}
	}
}

// problem is the work as the planner sees it. One pair of hands uses no tool twice at once. What is spared of a window is left of the
// sitting too: who is slow does not run out of it either.
func (c *scheduler) problem() plan.Problem {
	p := plan.Problem{Delays: c.delays, Either: c.eithers, Together: c.lies, Capacity: []int{c.hands}, Sittings: c.sittings}
	longest := 0
	for _, w := range c.sittings {
		longest = max(longest, w.To-w.From)
	}
	tools := map[string]int{}
	c.tools = []string{""}
	for i := range c.tasks {
		t := &c.tasks[i]
		a := plan.Activity{Length: t.minutes, Group: t.of, Earliest: t.earliest}
		if t.limited {
			a.Latest, a.Limited = t.latest, true
		}
		if t.step != nil {
			a.Attended, a.Room, a.Needs = true, min(t.minutes+c.spared(t), longest), []int{min(c.hands, c.people(t))}
			if c.hands > 1 {
				for _, name := range t.step.Tools {
					k, known := tools[name]
					if !known {
						k = len(p.Capacity)
						tools[name] = k
						c.tools = append(c.tools, name)
						tool, _ := c.fleet[t.of].Sheet.Tool(name)
						p.Capacity = append(p.Capacity, max(1, tool.Count)) // where nobody said, one
					} else if tool, _ := c.fleet[t.of].Sheet.Tool(name); tool.Count < p.Capacity[k] { // the fewest that a sheet says
						p.Capacity[k] = max(1, tool.Count)
					}
					for len(a.Needs) <= k {
						a.Needs = append(a.Needs, 0)
					}
					a.Needs[k] = 1
				}
			}
		}
		p.Activities = append(p.Activities, a)
	}
	return p
}

// spared is what a task spares of its sitting: nothing, where what was to be spared of a window that is open is given up, so that it is met.
//
//go:noinline
func (c *scheduler) spared(t *task) int {
	for i := range t.window {
		if w := &t.window[i]; w.from < 0 && c.slack.of(w.late) == 1 {
			return 0
		}
	}
	return t.spare
}

// people are how many a task takes. Where one works alone who has a way to, it is done that way.
func (c *scheduler) people(t *task) int {
	if t.second() {
		return 2
	}
	return 1
}

//go:noinline
func (t *task) second() bool { return t.step.WantsSecond() && t.act != ToCoat }

//go:noinline
func minutesOf(n int) time.Duration { return time.Duration(n) * time.Minute }
