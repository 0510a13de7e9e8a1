package workflow

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// This file puts what is left of jobs to the planner as a problem, and nowhere else is it known that there is one.
//
// Steps of a stage come in the order written, stages side by side but for what they come after. What somebody does is an
// activity that lies whole in one sitting; what passes by itself is a delay. A coat opens a window for its join: from when
// it is finished and dry until so long after it was begun. Least times are rounded up to whole minutes, most times down. A
// hold of a tool or a glue, asked once a sitting, is in the minutes of the step that it is asked for.

// A Sitting is a time at the bench.
type Sitting struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// Hours are when and how somebody can work.
type Hours struct {
	Sittings []Sitting // in order, apart
	Again    bool      // where they are too few, ones like them follow, week after week
	Hands    int       // people who work at once; 0: one
	Celsius  *float64  // at the bench; nil: as was read last on each airframe
	Tight    bool      // windows are used to their ends, with nothing to spare
	Consider []string  // adhesives, and answers of choices, where the record leaves them open; else the first
	// Pace is the builder's own attended time for a step, where it is known; nil: it never is.
	Pace func(*steps.Procedure, *steps.Step) (time.Duration, bool)
	// Watch looks at what was asked and what came of it; nil: nobody does.
	Watch func(plan.Problem, plan.Result)
	// Like is what was shown before: its order is kept where that costs nothing.
	Like *Timetable
}

// What of a window is left unused at its end: people are slow (common practice, no source).
const (
	spareShare = 5 // a fifth
	spareLeast = 5 // minutes
)

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
	before   []uint64    // the tasks of its airframe that come before it, by their number there
	number   int         // in its airframe
	window   []closing   // what it must lie in
	spare    int         // of that, and so of the sitting that it lies in
	latest   int         // where late says why
	late     *runningEnd // a clock that runs
	safe     bool        // it makes safe what crashed
}

// A closing is a window of a task: so many minutes after another began, or between two moments.
type closing struct {
	from       int // task; -1: the moments are of the plan
	opens, end int
	room       int // minutes that are not needed, of which alone something can be spared
	spare      int
	tie        tie
	late       runningEnd // where it runs
}

// A runningEnd is the end of a window that is open already, or of a wait.
type runningEnd struct {
	mark, job, name string
	closes          time.Time
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

	tasks    []task
	numbers  []int // by airframe, its tasks
	delays   []plan.Delay
	first    int   // of the airframe that is being put
	ties     []tie // by delay
	eithers  []plan.Either
	eitherBy []tie
	sittings []plan.Span
	given    []Sitting // by span
	rounds   int       // how often they come again
	added    int       // the first span that was added to those that were given

	byStep  map[stepOf]int // the task that ends the step
	coats   map[stepOf]int // the task that coats
	joins   []joinTask
	glue    map[stepOf]*steps.Adhesive // by joint, what is spread on it
	reworks map[string][]string        // by step of the job, the gates that are reworked before it
	slack   givenUp

	tools   []string // by resource; the first are the hands
	answers []Answer
	stops   []Stop
	climate []Climates
	celsius []float64
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

// spare is how much of a window is left unused: less where what must be done in it leaves less.
func (c *scheduler) spare(w closing) int {
	share := max(spareLeast, (w.end-max(0, w.opens)+spareShare-1)/spareShare)
	switch {
	case c.h.Tight:
		return 0
	case w.from < 0: // what must be done in what is left of it nobody can say before the plan
		return share
	}
	return min(w.room, share)
}

// Schedule finds when to do what is left of the open jobs of airframes, with one bench and the same hands, so that all is
// finished, cured and released as soon as can be. Of the windows that are open already the fewest are given up, and of the
// plans that give up so few the one that finishes first is taken. The error is an *NoPlan where there is no way, or what is
// given makes no sense.
func Schedule(ctx context.Context, fleet []*State, now time.Time, h Hours, o plan.Options) (Timetable, error) {
	of := scheduler{fleet: fleet, now: now, base: now.Truncate(time.Minute), h: h, hands: max(1, h.Hands)}
	if of.base.Before(now) {
		of.base = of.base.Add(time.Minute)
	}
	if h.Again {
		of.rounds = weeksAgain
	}
	think, cancel := context.WithTimeout(ctx, cmp.Or(o.Think, time.Second))
	defer cancel()
	var best *Timetable
	var least int // what that gives up
	var no error
	all := []givenUp{{}} // what is tried, and was: the first tried of them
	for tried := 0; tried < len(all); tried++ {
		for i := tried + 1; i < len(all); i++ {
			if all[i].cost() < all[tried].cost() {
				all[i], all[tried] = all[tried], all[i]
			}
		}
		of.slack = all[tried]
		late := tried >= givingsMost || tried > 0 && think.Err() != nil
		if best != nil && (late || of.slack.cost() > least) {
			if of.slack.cost() == least { // nobody knows about the others
				best.Proven, best.Bound = false, of.base
			}
			break
		}
		t, ends, err := of.attempt(ctx, o)
		switch {
		case err != nil:
			no = err
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
		case best == nil:
			if best, least = &t, of.slack.cost(); late {
				best.Proven, best.Bound = false, of.base
			}
		default:
			proven, bound := best.Proven && t.Proven, best.Bound
			if t.Bound.Before(bound) {
				bound = t.Bound
			}
			if t.Finish.Before(best.Finish) {
				best = &t
			}
			best.Proven, best.Bound = proven, bound
		}
	}
	if best == nil {
		return Timetable{}, no
	}
	return *best, nil
}

// attempt looks for a plan that gives up what of slips; else it is what more of the ends that run already could be given up,
// or why there is no plan.
func (of *scheduler) attempt(ctx context.Context, o plan.Options) (t Timetable, more []runningEnd, err error) {
	for {
		is := *of
		c := &is
		c.byStep, c.coats, c.glue = map[stepOf]int{}, map[stepOf]int{}, map[stepOf]*steps.Adhesive{}
		if err := c.hours(); err != nil {
			return t, nil, err
		}
		if err := c.work(); err != nil {
			return t, nil, err
		}
		p := c.problem()
		if len(c.tasks) == 0 {
			return c.timetable(plan.Result{Proven: true}), nil, nil
		}
		if more := c.roundsFor(); c.h.Again && more > c.rounds {
			of.rounds = more
			continue
		}
		if err := c.tooMuch(ctx, o); err != nil {
			return t, nil, err
		}
		o.Warm = c.like(p)
		r, err := plan.Solve(ctx, p, o)
		if err != nil {
			return t, nil, err
		}
		if c.h.Watch != nil {
			c.h.Watch(p, r)
		}
		if r.Starts != nil {
			return c.timetable(r), nil, nil
		}
		if r.Conflict != nil {
			for _, i := range r.Conflict.Latest {
				if late := c.tasks[i].late; late != nil && c.slack.of(*late) < 2 {
					more = append(more, *late)
				}
			}
			if len(more) > 0 {
				return t, more, nil
			}
			if c.h.Again && c.rounds < weeksMost && len(r.Conflict.Upper)+len(r.Conflict.Latest) == 0 {
				of.rounds *= 4
				continue
			}
		}
		return t, nil, c.noPlan(ctx, p, r, o)
	}
}

// givingsMost is how many ways to give up ends that run are tried before all of a conflict are given up at once.
const givingsMost = 40

// A givenUp is how far each of the ends that run already is given up: 1, what was to be spared of it; 2, all of it. The
// others are kept.
type givenUp []struct {
	end runningEnd
	far int
}

func (g givenUp) of(end runningEnd) int {
	for i := range g {
		if g[i].end == end {
			return g[i].far
		}
	}
	return 0
}

// with gives up one end further.
func (g givenUp) with(end runningEnd) givenUp {
	g = slices.Clone(g)
	for i := range g {
		if g[i].end == end {
			g[i].far++
			return g
		}
	}
	return append(g, givenUp{{end, 1}}...)
}

func (g givenUp) same(other givenUp) bool {
	for i := range g {
		if other.of(g[i].end) != g[i].far {
			return false
		}
	}
	return len(g) == len(other)
}

// cost is least where the fewest are lost, and then where something is spared of the most.
func (g givenUp) cost() (n int) {
	for i := range g {
		if n++; g[i].far == 2 {
			n += 1 << 16
		}
	}
	return n
}

// How many weeks follow those of the sittings that are given: what is glued in the last of them is cured, and no plan is
// for more than twenty years.
const (
	weeksAgain = 8
	weeksMost  = 20 * 52
)

// roundsFor is how often the sittings must come again so that there is twice the time that the work takes.
func (c *scheduler) roundsFor() int {
	work, open := 0, 0
	for i := range c.tasks {
		work += c.tasks[i].minutes
	}
	for _, w := range c.sittings {
		open += w.To - w.From
	}
	if open >= 2*work || c.rounds >= weeksMost {
		return c.rounds
	}
	return min(weeksMost, c.rounds+1+(2*work-open)*(c.rounds+1)/max(1, open))
}

// repeated are the sittings, and those that are added: like them, as many whole weeks later as they take, at the same
// time of the day. In the nights in which the time changes only what is certain of one counts.
func repeated(given []Sitting, rounds int) []Sitting {
	all := slices.Clone(given)
	if len(given) == 0 {
		return all
	}
	const week = 7 * 24 * time.Hour
	weeks := 1 + int((given[len(given)-1].To.Sub(given[0].From)+2*time.Hour)/week) // two hours, for a change of the time
	later := func(t time.Time, days int) (early, late time.Time) {
		shown := time.Date(t.Year(), t.Month(), t.Day()+days, t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
		early, late, _ = OnTheWall(shown, t.Location())
		return early, late
	}
	for n := 1; n <= rounds; n++ {
		for _, s := range given {
			_, from := later(s.From, 7*weeks*n)
			to, _ := later(s.To, 7*weeks*n)
			if from.Before(to) && !from.Before(all[len(all)-1].To) {
				all = append(all, Sitting{from, to})
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
	last := time.Time{}
	for i, s := range repeated(c.h.Sittings, c.rounds) {
		switch {
		case !s.From.Before(s.To):
			return &NoPlan{Why: BadSitting, Sittings: []Sitting{s}}
		case s.From.Before(last):
			return &NoPlan{Why: Overlap, Sittings: []Sitting{s}}
		}
		last = s.To
		if from, to := max(0, c.minute(s.From)), c.minuteBefore(s.To); from < to {
			c.sittings, c.given = append(c.sittings, plan.Span{From: from, To: to}), append(c.given, s)
		}
		if i < len(c.h.Sittings) {
			c.added = len(c.sittings)
		}
	}
	if len(c.sittings) == 0 {
		return &NoPlan{Why: NoSitting, Sittings: c.h.Sittings}
	}
	return nil
}

// work makes the tasks of every airframe.
func (c *scheduler) work() error {
	for i, s := range c.fleet {
		c.numbers = append(c.numbers, 0)
		c.measureClimate(s)
		if reason := s.Untrusted(c.now); reason != nil {
			c.stops = append(c.stops, Stop{Mark: s.Airframe.Mark, Reasons: []Reason{*reason}})
			continue
		}
		if err := c.airframe(i, s); err != nil {
			return err
		}
	}
	c.apart()
	c.safety()
	return nil
}

// safety has everything wait, on every airframe, until what crashed is made safe: but for what has a clock that runs, and what
// comes before that itself.
func (c *scheduler) safety() {
	var firsts []int
	for i := range c.tasks {
		if t := &c.tasks[i]; t.safe {
			t.safe = t.onlyAfter(c, func(other *task) bool { return other.safe })
			if t.safe {
				firsts = append(firsts, i)
			}
		}
	}
	for _, first := range firsts {
		for i := range c.tasks {
			t := &c.tasks[i]
			if !t.safe && t.late == nil && t.step != nil && t.onlyAfter(c, func(other *task) bool { return other.safe || other.late != nil }) {
				c.delay(first, i, c.tasks[first].minutes, tie{why: AfterStep})
			}
		}
	}
}

// onlyAfter reports whether all that comes before the task is so.
func (t *task) onlyAfter(c *scheduler, is func(*task) bool) bool {
	for i := range c.tasks {
		other := &c.tasks[i]
		if other.of == t.of && other.number/64 < len(t.before) && t.before[other.number/64]>>(other.number%64)&1 == 1 && !is(other) {
			return false
		}
	}
	return true
}

// measureClimate finds the temperature that an airframe's new clocks are planned with.
func (c *scheduler) measureClimate(s *State) {
	is := Climates{Mark: s.Airframe.Mark}
	switch {
	case c.h.Celsius != nil:
		is.Celsius, is.Given = *c.h.Celsius, true
	case s.Bench != nil:
		is.Celsius, is.Read = s.Bench.celsius, s.Bench.At
		if now, known := s.Temperature(c.now); known {
			is.Celsius = now
		}
	default:
		is.Celsius = assumedCelsius
	}
	c.climate, c.celsius = append(c.climate, is), append(c.celsius, is.Celsius)
}

// assumedCelsius is the temperature of a bench that nobody read (common practice, no source).
const assumedCelsius = 20

// climateOf is the climate of a new clock: an adhesive is used where it works, so that the bench is brought there first.
func (c *scheduler) climateOf(of int, a *steps.Adhesive) bond.Climate {
	celsius := c.celsius[of]
	if least, err := a.Coldest.Celsius(); err == nil && !a.Coldest.IsZero() {
		celsius = max(celsius, least)
	}
	if most, err := a.Warmest.Celsius(); err == nil && !a.Warmest.IsZero() {
		celsius = min(celsius, most)
	}
	return bond.Even(celsius)
}

// airframe makes the tasks of one airframe. Repairs come first: other work may wait for them.
func (c *scheduler) airframe(of int, s *State) error {
	jobs := s.OpenJobs(c.now)
	sorting.Stable(jobs, func(a, b *Job) int { return min(len(b.Damages), 1) - min(len(a.Damages), 1) })
	first := len(c.tasks)
	c.first = len(c.delays)
	ends := map[string]front{} // by job
	for _, j := range jobs {
		end, err := c.jobTasks(of, s, j, ends)
		if err != nil {
			return err
		}
		ends[j.ID] = end
	}
	c.gatesOf(of, s, first)
	// A release waits for everything, and for the cure of what carries load; where there is none, all ends with that.
	all := front{}
	for _, j := range jobs {
		all.join(ends[j.ID])
	}
	for _, j := range c.joins {
		if j.of == of && j.load {
			times := j.adhesive.Times
			all.wait(link{j.task, c.tasks[j.task].minutes + up(times.Least(times.Cure, c.climateOf(of, j.adhesive))), tie{why: AfterCure, joint: j.joint}})
		}
	}
	for _, j := range s.joints() {
		if j.Load && j.holds() {
			all.from(c.minute(j.Cures()), tie{why: AfterCure, joint: j.Name, until: j.Cures()})
		}
	}
	released := false
	for i := first; i < len(c.tasks); i++ {
		if t := &c.tasks[i]; t.step != nil && t.step.Kind.Traits().Releases {
			released = true
			c.follow(i, all)
		}
	}
	if len(c.tasks) > first && !released {
		beyond := all.at > 0
		for _, l := range all.links {
			beyond = beyond || l.least > c.tasks[l.task].minutes
		}
		if beyond {
			c.add(task{of: of}, all)
		}
	}
	return nil
}

// follow has a task wait for a front, but for what waits for it.
func (c *scheduler) follow(i int, f front) {
	t := &c.tasks[i]
	if f.at > t.earliest {
		t.earliest, t.early = f.at, f.early
	}
	for _, l := range f.links {
		if l.task == i || c.precedes(i, l.task) {
			continue
		}
		c.delay(l.task, i, l.least, l.tie)
		c.tasks[i].comesAfter(&c.tasks[l.task])
	}
}

func (t *task) comesAfter(other *task) {
	for len(t.before) <= other.number/64 || len(t.before) < len(other.before) {
		t.before = append(t.before, 0)
	}
	t.before[other.number/64] |= 1 << (other.number % 64)
	for k, w := range other.before {
		t.before[k] |= w
	}
}

// precedes reports whether task a always comes before task b.
//
//go:noinline
func (c *scheduler) precedes(a, b int) bool {
	x, y := &c.tasks[a], &c.tasks[b]
	return x.of == y.of && x.number/64 < len(y.before) && y.before[x.number/64]>>(x.number%64)&1 == 1
}

//go:noinline
func (c *scheduler) delay(from, to, least int, why tie) {
	c.delays, c.ties = append(c.delays, plan.Delay{From: from, To: to, Least: least}), append(c.ties, why)
}

// add makes a task that waits for a front, and is its place.
func (c *scheduler) add(t task, f front) int {
	i := len(c.tasks)
	t.number = c.numbers[t.of]
	c.numbers[t.of]++
	c.tasks = append(c.tasks, t)
	c.follow(i, f)
	return i
}

// jobTasks makes the tasks of a job, and is what comes after them.
func (c *scheduler) jobTasks(of int, s *State, j *Job, repairs map[string]front) (front, error) {
	work := c.answered(s, j)
	k := *j // the job as it will be
	k.Procedure = work
	ended := map[string]front{}
	stopped := map[string]bool{}
	blocked := s.blockedFor(j)
	reports := s.Steps(j, c.now)
	c.reworks = map[string][]string{}
	for range work.Stages { // a stage may be written before one that it comes after
		for _, stage := range work.Stages {
			if _, met := ended[stage.Name]; met || lists.ContainsFunc(stage.After, func(a string) bool { _, met := ended[a]; return !met }) {
				continue
			}
			f := front{}
			for _, a := range stage.After {
				f.join(ended[a])
				stopped[stage.Name] = stopped[stage.Name] || stopped[a]
			}
			for i := 0; i < len(stage.Steps) && !stopped[stage.Name]; i++ {
				step := &stage.Steps[i]
				again := c.reopens(s, &k, stage, i)
				switch {
				case step.Kind.Traits().Passes:
					c.pass(of, s, &k, stage, i, &f)
				case !again && s.met(&k, stage, i, c.now):
				default:
					if reasons := c.stopsAt(s, j, step, blocked, reports, &f, repairs); len(reasons) > 0 {
						c.stops = append(c.stops, Stop{s.Airframe.Mark, j.ID, step.Name, step.Title, reasons})
						stopped[stage.Name] = true
						break
					}
					if err := c.stepTasks(of, s, &k, stage, i, &f, again); err != nil {
						return f, err
					}
				}
			}
			ended[stage.Name] = f
		}
	}
	all := front{}
	for _, stage := range work.Stages {
		all.join(ended[stage.Name])
	}
	return all, nil
}

// answered is the procedure of the job with what is open of choices answered: by what is considered, else by the first
// answer, and without an option.
func (c *scheduler) answered(s *State, j *Job) *steps.Procedure {
	selection := s.selectionOf(j)
	decided := false
	for _, step := range j.written.Steps() {
		if step.Choose == "" && len(step.Methods) == 0 || !step.In(selection) || s.answered(j, *step) {
			continue
		}
		asked := step.Asked(s.Sheet)
		held := asked.Held(c.h.Consider)
		if len(held) == 0 && !asked.Alone && len(asked.Answers) > 0 {
			held = []string{asked.Answers[0].Name}
		}
		answer := Answer{Mark: s.Airframe.Mark, Job: j.ID, Step: step.Name, Choice: asked.Name, Answer: steps.No}
		if len(held) > 0 {
			answer.Answer = held[0]
			selection.Has = append(slices.Clone(selection.Has), held[0])
		}
		selection.Open = slices.DeleteFunc(slices.Clone(selection.Open), func(name string) bool { return name == asked.Name || lists.Contains(asked.Names(), name) })
		c.answers, decided = append(c.answers, answer), true
	}
	if !decided {
		return j.Procedure
	}
	return j.written.For(selection, j.Zone)
}

// stopsAt is why the plan cannot go on at a step: somebody must see to it first, and nobody knows how long that takes. What
// an open repair will put right is waited for.
func (c *scheduler) stopsAt(s *State, j *Job, step *steps.Step, blocked *blocked, reports []StepReport, f *front, repairs map[string]front) (reasons []Reason) {
	for _, r := range s.blocks(blocked, j, *step, c.now) {
		if end, open := repairs[r.Remedy.Name]; r.Remedy.Kind == ToFinish && open {
			f.join(end)
		} else {
			reasons = append(reasons, r)
		}
	}
	if step.Kind.Traits().Releases {
		for _, d := range s.Unplanned(c.now) {
			reasons = append(reasons, *s.unrepaired(d, c.now))
		}
		if due := s.Unchecked(c.now); due != nil && due.Remedy.Kind == ToStart {
			reasons = append(reasons, *due)
		}
		for _, q := range s.Quarantines {
			if r := s.quarantined(q, c.now); r != nil {
				reasons = append(reasons, *r)
			}
		}
		return reasons
	}
	i := slices.IndexFunc(reports, func(r StepReport) bool { return r.Step.Name == step.Name })
	if i >= 0 && reports[i].Progress != Later && step.Kind.Traits().Measures {
		for _, g := range s.GatesOf(j, *step, c.now) {
			if g.Standing == Failed && len(g.Gate.Reworks) == 0 { // nobody wrote how it is put right
				reasons = append(reasons, *s.notMet(g, c.now))
			}
		}
	}
	if i < 0 || reports[i].Progress != Waiting {
		return reasons
	}
	f.from(c.minute(reports[i].Touch), tie{why: AfterDrying, joint: step.Joint, until: reports[i].Touch})
	for _, r := range reports[i].Reasons {
		if r.Remedy.Kind == ToRework {
			c.reworks[step.Name] = append(c.reworks[step.Name], r.Remedy.Gate)
			continue
		}
		switch r.Because {
		case ByGate, ByGauge, ByClimate, ByCondition, ByHold, ByTouch, ByLapse:
			if r.Remedy.IsZero() && r.Until.IsZero() {
				reasons = append(reasons, r)
			}
		case ByClock, ByState, ByReading:
			reasons = append(reasons, r)
		}
	}
	return reasons
}

// pass has the front wait for what passes by itself.
func (c *scheduler) pass(of int, s *State, k *Job, stage steps.Stage, i int, f *front) {
	step := &stage.Steps[i]
	if step.Joint != "" {
		cure := step.Until == steps.UntilCure
		for _, join := range c.joins {
			if t := &c.tasks[join.task]; t.job == k && join.joint == step.Joint {
				times, why := join.adhesive.Times, tie{why: AfterHandling, joint: step.Joint, step: step.Name}
				lasts := times.Handling
				if cure {
					why.why, lasts = AfterCure, times.Cure
				}
				f.wait(link{join.task, t.minutes + up(times.Least(lasts, c.climateOf(of, join.adhesive))), why})
			}
		}
		for _, p := range append(k.Parts(step.Joint), s.again(k.ID, step.Joint)...) {
			if !p.holds() {
				continue
			}
			until, why := p.Handles(), AfterHandling
			if cure {
				until, why = p.Cures(), AfterCure
			}
			f.from(c.minute(until), tie{why: why, joint: step.Joint, step: step.Name, until: until})
		}
		return
	}
	lasts, _ := step.For.Duration()
	why := tie{why: AfterWait, step: step.Name}
	name := step.From
	if name == "" && i > 0 {
		name = stage.Steps[i-1].Name
	}
	if at, planned := c.byStep[stepOf{k.Procedure, name}]; planned {
		f.wait(link{at, c.tasks[at].minutes + up(lasts), why})
		return
	}
	if s.met(k, stage, i, c.now) {
		return
	}
	if began, known := s.waitBegins(k, stage, i, c.now); known {
		why.until = began.Add(lasts)
		f.from(c.minute(why.until), why)
	} else { // a wait after what is not over
		*f = f.after(up(lasts), why)
	}
}

// reopens reports whether a clock that runs is given up, so that the step is done again after it.
func (c *scheduler) reopens(s *State, k *Job, stage steps.Stage, i int) bool {
	step := &stage.Steps[i]
	if step.Joint != "" && step.Kind.Traits().Coats {
		for _, p := range k.coatedBy(step.Name, step.Joint) {
			if p.Joined.IsZero() && c.slack.of(c.clockOf(s, p)) == 2 {
				return true
			}
		}
	}
	for n := i; n < len(stage.Steps); n++ {
		if wait := &stage.Steps[n]; wait.Reopens() && within(stage, wait.Late, i) && c.slack.of(runningEnd{s.Airframe.Mark, k.ID, wait.Name, time.Time{}}) == 2 {
			return true
		}
	}
	return false
}

func (c *scheduler) clockOf(s *State, p *Joint) runningEnd {
	return runningEnd{s.Airframe.Mark, p.Job, p.Name, p.Window().Closes.UTC()}
}

// stepTasks makes the task of a step, or the two of a glue step that dries before it is pressed.
func (c *scheduler) stepTasks(of int, s *State, k *Job, stage steps.Stage, i int, f *front, again bool) error {
	step := &stage.Steps[i]
	does := step.Kind.Traits()
	t := task{of: of, job: k, work: k.Procedure, stage: stage.Name, step: step, minutes: c.minutes(k.Procedure, step),
		safe: stage.Phase == steps.Safe && len(k.Damages) > 0}
	if does.Glues() {
		t.adhesive = c.adhesiveOf(of, s, k, step)
	}
	coated := !again && k.coated(*step, c.now)
	if again {
		for n := i; n < len(stage.Steps); n++ {
			if ends, _, ok := k.ends(stage, n); ok && stage.Steps[n].Reopens() && within(stage, stage.Steps[n].Late, i) && c.slack.of(runningEnd{s.Airframe.Mark, k.ID, stage.Steps[n].Name, time.Time{}}) == 2 {
				f.from(c.minuteBefore(ends)+1, tie{why: AfterLapse, step: stage.Steps[n].Name, until: ends})
			}
		}
		for _, p := range k.coatedBy(step.Name, step.Joint) {
			if closes := p.Window().Closes; p.Joined.IsZero() {
				f.from(c.minuteBefore(closes)+1, tie{why: AfterLapse, joint: step.Joint, until: closes})
			}
		}
	}
	presses := does.Joins && does.Coats && t.adhesive != nil && t.adhesive.Dries()
	if does.Joins && does.Coats && !presses && t.adhesive != nil && t.adhesive.Times.Mixed {
		most := down(t.adhesive.Times.Most(t.adhesive.Times.To, c.climateOf(of, t.adhesive)))
		if t.minutes > most {
			return c.windowTooShort(t, t.minutes, most)
		}
	}
	if presses && !coated {
		t.act = ToCoat
	}
	begun, left := s.begunAt(k, *step, c.now)
	if left = left && !again && !coated && begun.runs(c.now); left {
		t.minutes = max(1, t.minutes-down(c.now.Sub(begun.coat(c.now).Starts())))
	}
	deadline := c.by(s, k, stage, i)
	for _, gate := range c.reworks[step.Name] {
		c.rework(s, t, gate, f)
	}
	var at int
	if presses {
		if !coated {
			at = c.add(t, *f)
			c.coats[stepOf{k.Procedure, step.Name}] = at
			*f = front{links: []link{{at, c.tasks[at].minutes, tie{why: AfterStep}}}}
		}
		t.act, t.minutes = ToPress, max(1, (t.minutes+1)/2)
	}
	at = c.add(t, *f)
	if does.Coats && !presses {
		c.coats[stepOf{k.Procedure, step.Name}] = at
	}
	c.byStep[stepOf{k.Procedure, step.Name}] = at
	if deadline != nil {
		c.close(at, *deadline)
	}
	if does.Joins {
		if err := c.window(of, s, k, step, at); err != nil {
			return err
		}
	}
	*f = front{links: []link{{at, t.minutes, tie{why: AfterStep}}}}
	return nil
}

// rework makes the task of a rework, the first way: nobody wrote how long one takes, so as long as measuring, and its glue
// has handling strength before that.
func (c *scheduler) rework(s *State, measures task, gate string, f *front) {
	g, known := s.Sheet.Gate(gate)
	if !known || len(g.Reworks) == 0 {
		return
	}
	measures.rework = gate
	way, lasts := g.Reworks[0], 0
	if adhesive, known := s.Sheet.Adhesive(strings.Join(way.Adhesives[:min(1, len(way.Adhesives))], "")); known && way.Joint != "" {
		measures.adhesive = &adhesive
		climate := c.climateOf(measures.of, &adhesive)
		lasts = up(adhesive.Times.Least(adhesive.Times.Handling, climate))
		measures.minutes += up(adhesive.Times.Least(adhesive.Times.From, climate)) // it dries beside whoever waits for it
	}
	at := c.add(measures, *f)
	*f = front{links: []link{{at, measures.minutes + lasts, tie{why: AfterHandling, joint: way.Joint}}}}
}

// adhesiveOf is what a step spreads or presses: what its joint has or gets, else what is considered, else the first that
// works at the bench as it is.
func (c *scheduler) adhesiveOf(of int, s *State, k *Job, step *steps.Step) *steps.Adhesive {
	joint := stepOf{k.Procedure, step.Joint}
	had := c.glue[joint]
	names := k.adhesives(*step, c.now)
	if had != nil && (len(step.Adhesives) == 0 || lists.Contains(names, had.Name)) {
		return had
	}
	var chosen *steps.Adhesive
	for _, name := range names {
		a, known := s.Sheet.Adhesive(name)
		switch {
		case !known:
		case lists.Contains(c.h.Consider, name):
			c.glue[joint] = &a
			return &a
		case chosen == nil || !c.works(of, chosen) && c.works(of, &a):
			chosen = &a
		}
	}
	c.glue[joint] = chosen
	return chosen
}

func (c *scheduler) works(of int, a *steps.Adhesive) bool {
	return c.climateOf(of, a) == bond.Even(c.celsius[of])
}

// by is the end that a wait before the step sets it; nil: there is none.
func (c *scheduler) by(s *State, j *Job, stage steps.Stage, i int) *closing {
	if i == 0 || stage.Steps[i-1].By.IsZero() {
		return nil
	}
	wait := &stage.Steps[i-1]
	by, _ := wait.By.Duration()
	least, _ := wait.For.Duration()
	name := wait.From
	if name == "" && i > 1 {
		name = stage.Steps[i-2].Name
	}
	out := &closing{from: -1, tie: tie{why: AfterWait, step: wait.Name}, late: runningEnd{s.Airframe.Mark, j.ID, wait.Name, time.Time{}}}
	if at, planned := c.byStep[stepOf{j.Procedure, name}]; planned {
		out.from, out.opens, out.end = at, c.tasks[at].minutes+up(least), c.tasks[at].minutes+down(by)
		out.room = out.end - out.opens - c.minutes(j.Procedure, &stage.Steps[i])
		return out
	}
	from, ok := j.from(stage, i-1)
	if ends := from.at.Add(by); ok && !c.now.After(ends) {
		out.opens, out.end = c.minute(from.at.Add(least)), c.minuteBefore(ends)
		return out
	}
	return nil
}

// close puts the end of a task before that of a window, with something to spare.
func (c *scheduler) close(i int, w closing) {
	t := &c.tasks[i]
	w.spare = c.spare(w)
	if w.from >= 0 {
		t.window = append(t.window, w)
		t.spare = max(t.spare, w.spare)
		c.delay(i, w.from, t.minutes-(w.end-w.spare), w.tie)
		return
	}
	switch c.slack.of(w.late) {
	case 2:
		return
	case 1:
		w.spare = 0
	}
	t.window = append(t.window, w)
	if latest := w.end - w.spare - t.minutes; t.late == nil || latest < t.latest {
		t.latest, t.late = latest, &w.late
	}
}

// window puts a join into the windows of its coats.
func (c *scheduler) window(of int, s *State, k *Job, step *steps.Step, at int) error {
	t := c.tasks[at]
	parts := k.Procedure.JointParts(step.Joint)
	n := slices.IndexFunc(parts, func(p steps.JointPart) bool { return p.Join == step.Name })
	if t.adhesive == nil || n < 0 {
		return nil
	}
	join := joinTask{of: of, task: at, joint: step.Joint, adhesive: t.adhesive, zones: k.Procedure.DisturbedBy(step.Joint), load: step.Load}
	times, climate := t.adhesive.Times, c.climateOf(of, t.adhesive)
	least, most := up(times.Least(times.From, climate)), down(times.Most(times.To, climate))
	together := step.Kind.Traits().Coats && t.act != ToPress
	why := tie{why: AfterDrying, joint: step.Joint}
	for _, name := range parts[n].Coats {
		if coat, planned := c.coats[stepOf{k.Procedure, name}]; planned && !together {
			join.coats = append(join.coats, coat)
			c.delay(coat, at, c.tasks[coat].minutes+least, why)
		}
	}
	for _, coat := range join.coats {
		spread := c.tasks[coat].minutes
		// The record takes a coat for as old as is written, even if it was spread in less.
		most := most - max(0, up(handsOf(c.tasks[coat].step))-spread)
		needs := c.between(coat, at) + t.minutes
		if needs > most {
			return c.windowTooShort(t, needs, most)
		}
		c.close(at, closing{from: coat, opens: spread + least, end: most, room: most - needs, tie: why})
	}
	if n < len(k.joints[step.Joint]) && !together {
		p := k.joints[step.Joint][n]
		if len(p.coats) > 0 && p.Joined.IsZero() && !p.Lapsed(c.now) && c.slack.of(c.clockOf(s, p)) < 2 {
			w := p.Window()
			join.open = true
			c.close(at, closing{from: -1, opens: c.minute(w.Opens), end: c.minuteBefore(w.Closes), late: c.clockOf(s, p), tie: tie{why: AfterDrying, joint: step.Joint}})
			c.follow(at, front{at: c.minute(w.Opens), early: tie{why: AfterDrying, joint: step.Joint, until: w.Opens}})
		}
	}
	for _, name := range parts[n].Coats { // what is begun and not on closes for itself
		of, _, known := k.Procedure.Step(name)
		if b, ok := s.begunAt(k, of, c.now); known && ok && b.runs(c.now) {
			late := runningEnd{s.Airframe.Mark, k.ID, name, b.Closes.UTC()}
			c.close(at, closing{from: -1, end: c.minuteBefore(b.Closes), late: late, tie: tie{why: AfterDrying, joint: step.Joint}})
		}
	}
	c.joins = append(c.joins, join)
	return nil
}

// gatesOf keeps what is measured apart from what is glued in its zones: measured before, or once that has handling strength.
func (c *scheduler) gatesOf(of int, s *State, first int) {
	for i := first; i < len(c.tasks); i++ {
		t := &c.tasks[i]
		if t.step == nil || len(t.step.Gates) == 0 {
			continue
		}
		for _, join := range c.joins {
			if join.of != of || !c.measures(s, t, join.zones) || c.precedes(i, join.task) {
				continue
			}
			lasts := c.tasks[join.task].minutes + up(join.adhesive.Times.Least(join.adhesive.Times.Handling, c.climateOf(of, join.adhesive)))
			why := tie{why: AfterHandling, joint: join.joint}
			if c.precedes(join.task, i) {
				c.delay(join.task, i, lasts, why)
			} else {
				c.either(plan.Delay{From: i, To: join.task, Least: t.minutes}, plan.Delay{From: join.task, To: i, Least: lasts}, why)
			}
		}
		for _, p := range s.joints() {
			if p.holds() && c.measures(s, t, p.Zones) {
				c.follow(i, front{at: c.minute(p.Handles()), early: tie{why: AfterHandling, joint: p.Name, until: p.Handles()}})
			}
		}
	}
}

// measures reports whether a task measures a gate of any of the zones.
func (c *scheduler) measures(s *State, t *task, zones []string) bool {
	for _, g := range s.Sheet.Gates {
		if t.step.AsksFor(g.Name) && !g.Work && g.DependsOn(zones...) {
			return true
		}
	}
	return false
}

func (c *scheduler) either(one, other plan.Delay, why tie) {
	c.eithers, c.eitherBy = append(c.eithers, plan.Either{One: one, Other: other}), append(c.eitherBy, why)
}

// A heat is a row of tasks, or one, for which conditions are as they may not be beside some coats. What a step sets stays so
// until a later one of its stage sets it otherwise.
type heat struct {
	of, first, last int
	is              []steps.Setting
}

// apart keeps away from each other what an open coat and its vapour need, and what needs or sets it otherwise.
func (c *scheduler) apart() {
	var heats []heat
	until := map[stepOf]int{} // by condition, the last task of the row that it is set for
	for i := range c.tasks {
		t := &c.tasks[i]
		if t.step == nil {
			continue
		}
		own := heat{of: t.of, first: i, last: i}
		for _, is := range c.settings(t) {
			condition := stepOf{t.work, t.stage + " " + is.Condition}
			if last, known := until[condition]; known && i <= last {
				continue
			}
			if last := c.setUntil(i, is); last > i {
				until[condition] = last
				heats = append(heats, heat{t.of, i, last, []steps.Setting{is}})
				if last == i+1 && t.minutes+c.tasks[last].minutes <= c.shortest() {
					c.delay(last, i, -t.minutes, tie{}) // a charger is not left on until the next sitting
				}
				continue
			}
			own.is = append(own.is, is)
		}
		if len(own.is) > 0 {
			heats = append(heats, own)
		}
	}
	for _, join := range c.joins {
		for _, h := range heats {
			if c.harmful(join, h) {
				c.keepApart(join, h)
			}
		}
	}
	for of, s := range c.fleet {
		c.apartFrom(of, s, heats)
	}
	beside := map[string]bool{}
	for _, s := range c.fleet {
		beside[s.Airframe.Mark] = true
	}
	for _, s := range c.fleet {
		for _, other := range s.others {
			if !beside[other.Airframe.Mark] { // on the same bench, with nothing that is planned
				beside[other.Airframe.Mark] = true
				c.apartFrom(-1, other, heats)
			}
		}
	}
}

// apartFrom has heat wait for what is open of coats, or of their vapour, and is joined by no task.
func (c *scheduler) apartFrom(of int, s *State, heats []heat) {
	for _, coat := range s.coatsOn(c.now) {
		if c.joinsFrom(of, coat) {
			continue
		}
		for _, h := range heats {
			if c.otherwise(c.fleet[h.of], coat.needs, h.is, h.of != of) {
				c.follow(h.first, front{at: c.minute(coat.until), early: tie{why: AfterVapour, until: coat.until}})
			}
		}
	}
}

// joinsFrom reports whether a coat that is on is joined by a task of the same airframe, which its vapour counts from.
func (c *scheduler) joinsFrom(of int, coat openCoat) bool {
	return slices.ContainsFunc(c.joins, func(j joinTask) bool {
		return coat.Joint != nil && j.of == of && j.open && j.joint == coat.Name && c.tasks[j.task].job.ID == coat.Job
	})
}

// settings are what a task needs and sets.
func (c *scheduler) settings(t *task) []steps.Setting {
	all := slices.Concat(t.step.Sets, t.step.Needs)
	var adhesives []string
	if t.adhesive != nil {
		adhesives = []string{t.adhesive.Name}
	}
	for _, u := range c.fleet[t.of].Sheet.UsesOf(*t.step, adhesives...) {
		all = append(all, u.NeedsAt(*t.step)...)
	}
	return all
}

// shortest is the length of the shortest sitting, but for the first, which may have begun.
func (c *scheduler) shortest() int {
	least := c.sittings[0].To - c.sittings[0].From
	for i, w := range c.sittings[1:] {
		if length := w.To - w.From; i == 0 || length < least {
			least = length
		}
	}
	return least
}

// setUntil is the task of the same stage that sets the condition otherwise after it was set by this one; this one where none
// does.
func (c *scheduler) setUntil(i int, is steps.Setting) int {
	t := &c.tasks[i]
	if !slices.Contains(t.step.Sets, is) {
		return i
	}
	for k := i + 1; k < len(c.tasks) && c.tasks[k].work == t.work && c.tasks[k].stage == t.stage; k++ {
		for _, set := range c.tasks[k].step.Sets {
			if set.Condition == is.Condition && set.State != is.State {
				return k
			}
		}
	}
	return i
}

// otherwise reports whether any of the settings is not as it is needed; of another airframe those of the bench alone count.
func (c *scheduler) otherwise(s *State, needs, is []steps.Setting, beside bool) bool {
	for _, need := range needs {
		for _, set := range is {
			if need.Condition == set.Condition && need.State != set.State && (!beside || s.ofBench(need.Condition)) {
				return true
			}
		}
	}
	return false
}

func (c *scheduler) harmful(join joinTask, h heat) bool {
	t := &c.tasks[join.task]
	alone := h.first == h.last && len(join.coats) == 0 && !join.open && join.adhesive.Times.Vapour == 0
	if alone && c.hands == 1 { // they are not done at once anyway
		return false
	}
	if first := &c.tasks[h.first]; first.work == t.work && first.step.Joint == join.joint && h.first == h.last {
		return false // what spreads a coat or joins its joint does it no harm
	}
	return c.otherwise(c.fleet[h.of], join.adhesive.Needs, h.is, join.of != h.of)
}

// keepApart has the tasks lie before the coat is begun, or after it is joined and its vapour is gone.
func (c *scheduler) keepApart(join joinTask, h heat) {
	why := tie{why: AfterVapour, joint: join.joint}
	after := plan.Delay{From: join.task, To: h.first, Least: c.tasks[join.task].minutes + up(join.adhesive.Times.Vapour)}
	switch {
	case c.precedes(join.task, h.first), join.open && !c.precedes(h.first, join.task):
		c.delay(after.From, after.To, after.Least, why)
		return
	}
	begins := join.coats
	if len(begins) == 0 {
		begins = []int{join.task}
	}
	for _, coat := range begins {
		if c.precedes(h.last, coat) || slices.ContainsFunc(begins, func(other int) bool { return other != coat && c.precedes(other, coat) }) {
			continue
		}
		c.either(plan.Delay{From: h.last, To: coat, Least: c.tasks[h.last].minutes}, after, why)
	}
}

// rooms are activities beside the tasks that have a window, so much longer as is spared of that: who is slow does not run
// out of the sitting either. They follow the tasks, in their order.
func (c *scheduler) rooms() (all []plan.Activity) {
	longest := 0
	for _, w := range c.sittings {
		longest = max(longest, w.To-w.From)
	}
	for i := range c.tasks {
		t := &c.tasks[i]
		if lasts := min(t.minutes+t.spare, longest); lasts > t.minutes {
			at := len(c.tasks) + len(all)
			all = append(all, plan.Activity{Length: lasts, Group: t.of, Attended: true})
			c.delay(i, at, 0, tie{})
			c.delay(at, i, 0, tie{})
		}
	}
	return all
}

// problem is the work as the planner sees it. One pair of hands uses no tool twice at once.
func (c *scheduler) problem() plan.Problem {
	rooms := c.rooms()
	p := plan.Problem{Delays: c.delays, Either: c.eithers, Capacity: []int{c.hands}, Sittings: c.sittings}
	tools := map[string]int{}
	c.tools = []string{""}
	for i := range c.tasks {
		t := &c.tasks[i]
		a := plan.Activity{Length: t.minutes, Group: t.of, Earliest: t.earliest}
		if t.late != nil {
			a.Latest, a.Limited = t.latest, true
		}
		if t.step != nil {
			a.Attended, a.Needs = true, []int{min(c.hands, c.people(t))}
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
	p.Activities = append(p.Activities, rooms...)
	return p
}

// people are how many a task takes: where one alone has a way, one.
func (c *scheduler) people(t *task) int {
	if t.second() {
		return 2
	}
	return 1
}

//go:noinline
func (t *task) second() bool { return t.step.WantsSecond() && len(t.step.WaysAlone()) == 0 }

// tooMuch finds what cannot be whatever the order: a step longer than every sitting, or more work than there is time.
func (c *scheduler) tooMuch(ctx context.Context, o plan.Options) error {
	longest, open, work := 0, 0, 0
	for _, w := range c.sittings {
		longest = max(longest, w.To-w.From)
		open += c.hands * (w.To - w.From)
	}
	for i := range c.tasks {
		if t := &c.tasks[i]; t.step != nil {
			if t.minutes > longest {
				return &NoPlan{Why: TooLong, Turns: []Turn{c.turn(i, -1)}, Takes: minutesOf(t.minutes), Has: minutesOf(longest), Free: []Freeing{{Longer: minutesOf(t.minutes - longest)}}}
			}
			work += t.minutes * min(c.hands, c.people(t))
		}
	}
	if work > open {
		e := c.tooLittle(ctx, o)
		e.Takes = max(e.Takes, minutesOf(work/c.hands))
		if len(e.Free) == 0 {
			e.Free = []Freeing{{More: minutesOf((work - open + c.hands - 1) / c.hands)}}
		}
		return e
	}
	return nil
}

//go:noinline
func minutesOf(n int) time.Duration { return time.Duration(n) * time.Minute }

// windowTooShort says so.
func (c *scheduler) windowTooShort(t task, needs, most int) error {
	return &NoPlan{Why: TooShort, Turns: []Turn{c.turnOf(&t, -1)}, Joint: t.step.Joint, Takes: minutesOf(needs), Has: minutesOf(most)}
}

// between is how long after a coat its join begins at the soonest: by what comes between them, all of it by the same hands
// where there is one pair.
func (c *scheduler) between(coat, join int) int {
	dist, work := make([]int, join-coat+1), c.tasks[coat].minutes
	for i := coat + 1; i < join; i++ {
		if c.precedes(coat, i) && c.precedes(i, join) {
			work += c.tasks[i].minutes
		}
	}
	for _, d := range c.delays[c.first:] { // by the place of what they lead to
		if d.Least >= 0 && d.From >= coat && d.To <= join && (d.From == coat || c.precedes(coat, d.From)) {
			dist[d.To-coat] = max(dist[d.To-coat], dist[d.From-coat]+d.Least)
		}
	}
	if c.hands == 1 {
		return max(work, dist[join-coat])
	}
	return dist[join-coat]
}
