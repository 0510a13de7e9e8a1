package workflow

import (
	"cmp"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// A Timetable says when to do what.
type Timetable struct {
	Made     time.Time     `json:"made"`
	Hands    int           `json:"hands,omitempty"` // people it is for; 0: nobody said
	Visits   []Visit       `json:"visits"`          // the sittings in which something is done
	Finish   time.Time     `json:"finish"`          // when the last step is done, or the last joint cured
	Bound    time.Time     `json:"bound"`           // no plan finishes sooner
	Proven   bool          `json:"proven"`          // none does
	Kept     bool          `json:"kept,omitempty"`  // it is what was shown before, in its order
	Attended time.Duration `json:"attended"`
	Idle     time.Duration `json:"idle"`  // at the bench, with nothing to do until the next turn
	Chain    []Link        `json:"chain"` // what holds the finish back, in the order of time: none of it has time to spare

	Answers []Answer     `json:"answers,omitempty"` // of choices, taken as given
	Moot    []MootAnswer `json:"moot,omitempty"`    // what was to be considered, and changes nothing
	Left    []Reason     `json:"left,omitempty"`    // what is hot, on or plugged in now, and nobody is at the bench
	Stops   []Stop       `json:"stops,omitempty"`   // where the plan ends before the work does
	Free    []Freeing    `json:"free,omitempty"`    // what would plan what fits no sitting
	Lapses  []Lapse      `json:"lapses,omitempty"`  // windows that are open and can't be met
	Hasty   []Hasty      `json:"hasty,omitempty"`   // windows of which little can be spared
	Climate []Climates   `json:"climate"`           // by airframe
	Bench   *float64     `json:"bench,omitempty"`   // the nearest temperature at which no adhesive and no window stops a step, in °C; nil: none was found, or none is asked for
}

// A Visit is a sitting with what is done in it.
type Visit struct {
	Sitting
	Added    bool      `json:"added,omitempty"`    // nobody gave it: it is like one that was given
	Overtime bool      `json:"overtime,omitempty"` // it is longer than given, or after it: for what can't wait
	Made     time.Time `json:"made,omitzero"`      // of one that an earlier plan has
	Hands    int       `json:"hands,omitempty"`    // which was for so many people
	Turns    []Turn    `json:"turns"`
	Leave    []Left    `json:"leave,omitempty"` // how conditions stand before anybody leaves
	After    []Drying  `json:"after,omitempty"` // what still dries when its last turn is over
}

// A Left is how a condition is left at the end of a sitting, and when it is needed otherwise again.
type Left struct {
	Mark string `json:"mark"`
	steps.Setting
	Title string    `json:"title,omitempty"` // of the condition
	Again time.Time `json:"again,omitzero"`
}

// Says is how it is left, as it is said at the bench.
func (l Left) Says() string { return cmp.Or(l.Title, l.Condition) + ": " + l.State }

// A Titled is what a condition is called, and whether it is of the bench.
type Titled struct {
	Title string
	Bench bool
}

// A Turn is a step, or an act of one, at its time.
type Turn struct {
	Mark   string    `json:"mark"`
	Job    string    `json:"job"`
	Stage  string    `json:"stage,omitempty"`
	Step   string    `json:"step"`
	Title  string    `json:"title"`
	Act    Act       `json:"act,omitempty"`
	Rework string    `json:"rework,omitempty"` // the gate that is reworked before it is measured again
	Again  Again     `json:"again,omitempty"`  // it is done once more, and no step of the job is over with it
	Begins time.Time `json:"begins"`
	Ends   time.Time `json:"ends"`

	With    string          `json:"with,omitempty"` // the adhesive
	Tools   []string        `json:"tools,omitempty"`
	Parts   []steps.Part    `json:"parts,omitempty"`
	Needs   []steps.Setting `json:"needs,omitempty"`       // how conditions must stand
	Titles  []Titled        `json:"-"`                     // those conditions
	Sets    []steps.Setting `json:"sets,omitempty"`        // how they stand then
	Gates   []string        `json:"gates,omitempty"`       // of what is done once more: what it measures
	Look    []string        `json:"look,omitempty"`        // of that: what is confirmed before it
	Second  bool            `json:"second,omitempty"`      // a second person is wanted
	AtOnce  bool            `json:"at_once,omitempty"`     // it makes safe what crashed: planned for this sitting, it waits for none
	Hands   []int           `json:"hands,omitempty"`       // who of several does it, from 1
	Written int             `json:"written_min,omitempty"` // its minutes as they are written, where it is planned by the builder's own; 0: by those that are written
	Alone   []string        `json:"alone,omitempty"`       // what one alone does instead; none: it must not be done alone

	// Opens and Closes are of the window that it must lie in, as it will be if the plan is kept; By is when it is planned to
	// be over at the latest. Zero: it has none.
	Opens  time.Time `json:"opens,omitzero"`
	Closes time.Time `json:"closes,omitzero"`
	By     time.Time `json:"by,omitzero"`

	Dries []Drying `json:"dries,omitempty"` // what dries meanwhile
}

// Planned is what it has for an airframe, in its order. What is reworked, ended or done once more is no step of a job, and yet
// somebody is at it then.
//
//go:noinline
func (t Timetable) Planned(mark string) (all []Planned) {
	for _, v := range t.Visits {
		for _, turn := range v.Turns {
			if turn.Mark != mark {
				continue
			}
			p := Planned{Rework: turn.Rework, Again: turn.Again, Begins: turn.Begins, Minutes: minutesBetween(turn.Begins, turn.Ends), Leave: v.To}
			switch {
			case turn.Again == AgainSafe:
				p.Ends = turn.Sets
			case turn.Rework == "" && turn.Again == "":
				p.Job, p.Step, p.Act, p.Hands = turn.Job, turn.Step, turn.Act, turn.Hands
				for _, a := range t.Answers {
					if a.Mark == mark && a.Job == turn.Job && a.Step == turn.Step {
						p.Answer = a.Answer
					}
				}
			}
			all = append(all, p)
		}
	}
	return all
}

// minutesBetween are the whole minutes from one time to another; 0 where that is before it.
func minutesBetween(from, to time.Time) int { return max(0, int(to.Sub(from)/time.Minute)) }

// A Drying is time that passes by itself.
type Drying struct {
	Mark  string    `json:"mark"`
	Job   string    `json:"job"`
	Joint string    `json:"joint,omitempty"`
	Step  string    `json:"step,omitempty"` // the wait
	For   After     `json:"for"`            // AfterDrying, AfterHandling, AfterCure or AfterWait
	From  time.Time `json:"from"`
	Until time.Time `json:"until"`
}

// An After is what a turn comes right after.
type After string

// What turns come after.
const (
	AfterNow      After = "now"      // nothing
	AfterStep     After = "step"     // what stands before it
	AfterDrying   After = "drying"   // the window of its joint opens
	AfterHandling After = "handling" // a joint has handling strength
	AfterCure     After = "cure"
	AfterWait     After = "wait"
	AfterVapour   After = "vapour" // of a coat that it would harm, or that would burn
	AfterLapse    After = "lapse"  // of a coat that is done again
	AfterHands    After = "hands"  // are free again
	AfterTool     After = "tool"
	AfterSitting  After = "sitting" // the next one begins
	AfterSpare    After = "spare"   // what has time to spare
)

// A Link is one of what hold the finish back, and why it does not begin sooner.
type Link struct {
	Mark    string    `json:"mark"`
	Job     string    `json:"job,omitempty"`
	Step    string    `json:"step,omitempty"` // "": all that dries is cured
	Title   string    `json:"title,omitempty"`
	Act     Act       `json:"act,omitempty"`
	Begins  time.Time `json:"begins"`
	Ends    time.Time `json:"ends"`
	After   After     `json:"after"`
	Joint   string    `json:"joint,omitempty"` // that dries
	Wait    string    `json:"wait,omitempty"`
	Tool    string    `json:"tool,omitempty"`
	Sitting bool      `json:"sitting,omitempty"`   // it waits for one on top of that
	Spare   int       `json:"spare_min,omitempty"` // of the first: how much later what comes right before it could begin, the finish as it is
	Before  string    `json:"before,omitempty"`    // the title of that
}

// An Answer is one that nobody gave, and that the plan goes by.
type Answer struct {
	Mark   string `json:"mark"`
	Job    string `json:"job"`
	Step   string `json:"step"`
	Choice string `json:"choice"`
	Answer string `json:"answer"`
}

// A Stop is a step that the plan does not reach, and why: somebody sees to that first.
type Stop struct {
	Mark    string   `json:"mark"`
	Job     string   `json:"job,omitempty"`
	Step    string   `json:"step,omitempty"` // "": all of it
	Title   string   `json:"title,omitempty"`
	Reasons []Reason `json:"reasons"`

	instead string // of a step that is not begun
}

func (s *Stop) same(other Stop) bool {
	return s.Mark == other.Mark && s.Job == other.Job && s.Step == other.Step
}

// A Lapse is a window that is open and can't be met any more: its coat, or what a wait opens again, is done once more. One
// that is met without anything to spare is not lost.
type Lapse struct {
	Mark   string    `json:"mark"`
	Job    string    `json:"job"`
	Name   string    `json:"name"` // of the joint, or the wait
	Closes time.Time `json:"closes,omitzero"`
	Lost   bool      `json:"lost"`
	Save   Sitting   `json:"save,omitzero"` // the shortest sitting that would save it; zero: none is known
}

// A Hasty is a window that will be so short that less than usual is left unused at its end.
type Hasty struct {
	Mark   string    `json:"mark"`
	Job    string    `json:"job"`
	Name   string    `json:"name"` // of the joint, or the wait
	Closes time.Time `json:"closes"`
	Spare  int       `json:"spare_min"`
}

// Climates is the temperature that an airframe's new clocks are planned with.
type Climates struct {
	Mark    string    `json:"mark"`
	Celsius float64   `json:"celsius"`
	Given   bool      `json:"given,omitempty"`
	Read    time.Time `json:"read,omitzero"` // of the last reading; zero and not given: it is assumed
}

// Same reports whether the temperature, and where it is from, is the same.
func (k Climates) Same(other Climates) bool {
	return k.Celsius == other.Celsius && k.Given == other.Given && k.Read.Equal(other.Read)
}

// turn is a task at its time.
//
//go:noinline
func (c *scheduler) turn(i, start int) Turn { return c.turnOf(&c.tasks[i], start) }

func (c *scheduler) turnOf(t *task, start int) Turn {
	out := Turn{Mark: c.fleet[t.of].Airframe.Mark, Act: t.act, Rework: t.rework, Again: t.again}
	if t.step == nil {
		return out
	}
	out.Job, out.Stage, out.Step, out.Title = t.job.ID, t.stage, t.step.Name, t.step.Label()
	out.Tools, out.Parts, out.Second = t.step.Tools, t.step.Parts, t.second()
	if out.Second {
		out.Alone = t.step.WaysAlone()
	}
	if t.act == ToPress {
		out.Parts = nil
	}
	if t.adhesive != nil {
		out.With = t.adhesive.Name
	}
	out.Needs = append(out.Needs, c.settings(t)[len(t.step.Sets):]...)
	c.fleet[t.of].safely(out.Needs)
	for _, is := range out.Needs {
		out.Titles = append(out.Titles, Titled{c.fleet[t.of].conditionTitle(is.Condition), c.fleet[t.of].ofBench(is.Condition)})
	}
	if out.Sets = t.step.Sets; t.act == ToCoat {
		out.Sets = nil
	}
	if t.again != "" {
		out.Gates = t.step.Gates
	}
	if t.again == AgainReady {
		out.Look = t.step.Confirm
	}
	if start >= 0 {
		out.Begins, out.Ends = c.time(start), c.time(start+t.minutes)
	}
	return out
}

// written are the minutes of a task as they are written, where it is planned by the builder's own for its step; 0: it is not, or
// is begun, or dries beside whoever does it.
func (c *scheduler) written(t *task) int {
	if c.h.Pace == nil || t.work == nil {
		return 0
	}
	if _, known := c.h.Pace(t.work, t.step); !known {
		return 0
	}
	own, is := c.minutes(t.work, t.step), max(1, up(handsOf(t.step)))
	if t.act == ToPress {
		own, is = max(1, (own+1)/2), max(1, (is+1)/2)
	}
	if t.minutes != own {
		return 0
	}
	return is
}

// outline is when a plan is over.
func (c *scheduler) outline(r plan.Result) Timetable {
	return Timetable{Finish: c.time(r.Finish), Bound: c.time(r.Bound), Proven: r.Proven}
}

// timetable is a plan as people see it.
func (c *scheduler) timetable(r plan.Result) Timetable {
	out := c.outline(r)
	out.Made, out.Hands, out.Answers, out.Moot, out.Stops, out.Climate = c.now, c.hands, c.answers, c.moot(), c.stops, c.climate
	for _, g := range c.slack {
		out.Lapses = append(out.Lapses, Lapse{Mark: g.end.mark, Job: g.end.job, Name: g.end.name, Closes: g.end.closes, Lost: g.far == 2})
	}
	sorting.Stable(out.Lapses, func(i, k int) int {
		a, b := &out.Lapses[i], &out.Lapses[k]
		return strings.Compare(a.Mark+" "+a.Job+" "+a.Name, b.Mark+" "+b.Job+" "+b.Name)
	})
	order := make([]int, 0, len(c.tasks))
	for i := range c.tasks {
		if c.tasks[i].step != nil {
			order = append(order, i)
		}
	}
	sorting.Stable(order, func(i, k int) int {
		a, b := order[i], order[k] // what somebody is at first
		return cmp.Or(r.Starts[a]-r.Starts[b], c.tasks[a].since-c.tasks[b].since)
	})
	drying := c.drying(r.Starts)
	var hands [][]int
	if c.hands > 1 {
		hands = c.whose(order, r.Starts)
	}
	at := -1 // sitting
	busy := 0
	for n, i := range order {
		t, start := &c.tasks[i], r.Starts[i]
		for k, w := range c.sittings {
			if w.From <= start && start+t.minutes <= w.To && k != at {
				at, busy = k, w.From
				out.Visits = append(out.Visits, Visit{Sitting: c.given[k], Added: c.isAssumed(k), Overtime: c.over[k]})
			}
		}
		turn := c.turn(i, start)
		if c.hands > 1 {
			turn.Hands = hands[i]
		}
		turn.Written, turn.AtOnce = c.written(t), c.atOnce(t, c.given[at].From)
		for _, w := range t.window {
			from := 0
			if w.from >= 0 {
				from = r.Starts[w.from]
			}
			opens, closes := c.time(from+w.opens), c.time(from+w.end)
			if w.from >= 0 && w.spare < spareLeast && !c.h.Tight {
				out.Hasty = append(out.Hasty, Hasty{turn.Mark, turn.Job, w.tie.joint + w.tie.step, closes, w.spare})
			}
			if opens.After(turn.Opens) {
				turn.Opens = opens
			}
			if turn.Closes.IsZero() || closes.Before(turn.Closes) {
				turn.Closes, turn.By = closes, closes.Add(-minutesOf(w.spare))
				if end := c.given[at].To; turn.By.After(end) {
					turn.By = end
				}
			}
		}
		goesOn := n+1 < len(order) && c.sittingOf(order[n+1], r.Starts[order[n+1]]) == at
		for _, d := range drying { // what begins as the turn ends is waited for, if anything comes after it
			if (d.From.Before(turn.Ends) || goesOn && d.From.Equal(turn.Ends)) && d.Until.After(turn.Begins) {
				turn.Dries = append(turn.Dries, d)
			}
		}
		if c.continues(t, start) {
			if turn.Begins = c.time(t.since); turn.Begins.Before(c.given[at].From) {
				turn.Begins = c.given[at].From
			}
		}
		out.Idle += minutesOf(max(0, start-busy))
		out.Attended += minutesOf(t.minutes)
		busy = max(busy, start+t.minutes)
		v := &out.Visits[len(out.Visits)-1]
		v.Turns = append(v.Turns, turn)
	}
	for k := range out.Visits {
		out.Visits[k].goesOn(out.Visits[k+1:], drying)
	}
	c.leave(out.Visits, r.Starts)
	for _, s := range c.fleet {
		for _, is := range s.standing(c.now) {
			if is.wreck || !c.goesOn() || s.forgotten(is, c.now) {
				out.Left = append(out.Left, is.Reason)
			}
		}
	}
	c.endAll(&out)
	for k := len(r.Chain) - 1; k >= 0; k-- {
		out.Chain = append(out.Chain, c.link(r, r.Chain[k]))
	}
	return out
}

// goesOn keeps of what dries what is not over with the last turn, and begins before the next visit does.
func (v *Visit) goesOn(next []Visit, drying []Drying) {
	last := v.From
	for i := range v.Turns {
		if ends := v.Turns[i].Ends; ends.After(last) {
			last = ends
		}
	}
	for i := range drying {
		if d := &drying[i]; d.Until.After(last) && (len(next) == 0 || d.From.Before(next[0].From)) {
			v.After = append(v.After, *d)
		}
	}
}

// drying is what passes by itself: the time before windows open, until joints have handling strength and are cured, and
// waits, in the order that they begin.
func (c *scheduler) drying(starts []int) (all []Drying) {
	for _, join := range c.joins {
		t := &c.tasks[join.task]
		times, climate := join.adhesive.Times, c.climateOf(join.of)
		last := -1
		for _, coat := range join.coats {
			last = max(last, starts[coat]+c.tasks[coat].minutes)
		}
		if last >= 0 {
			all = c.span(all, t, join.joint, "", AfterDrying, last, last+up(times.Least(times.From, climate)))
		}
		end := starts[join.task] + t.minutes
		handles := end + up(times.Least(times.Handling, climate))
		all = c.span(all, t, join.joint, "", AfterHandling, end, handles)
		all = c.span(all, t, join.joint, "", AfterCure, handles, end+up(times.Least(times.Cure, climate)))
	}
	type waiting struct { // several tasks may come before a wait, and after it
		job  *Job
		step string
	}
	at := map[waiting]int{}
	for k, d := range c.delays {
		why := c.ties[k]
		if why.why != AfterWait || d.Least <= c.tasks[d.From].minutes {
			continue
		}
		t := &c.tasks[d.From]
		is, from, until := waiting{t.job, why.step}, starts[d.From]+t.minutes, starts[d.From]+d.Least
		if had, known := at[is]; !known {
			at[is] = len(all)
			all = c.span(all, t, "", why.step, AfterWait, from, until)
		} else if over := c.time(until); over.After(all[had].Until) {
			all[had].From, all[had].Until = c.time(from), over
		}
	}
	for _, s := range c.fleet {
		for _, t := range s.Timers(c.now) {
			d := Drying{Mark: s.Airframe.Mark, Job: t.Job, Joint: t.Name, For: AfterDrying, From: t.Began, Until: t.Opens}
			switch {
			case t.Joint && !t.Cures.IsZero():
				d.For, d.From, d.Until = AfterHandling, c.now, t.Handles
				all = append(all, d)
				d.For, d.From, d.Until = AfterCure, t.Handles, t.Cures
			case !t.Joint:
				d.Joint, d.Step, d.For = "", t.Name, AfterWait
			}
			all = append(all, d)
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return a.From.Compare(b.From)
	})
	return all
}

// span adds what passes from one minute until another.
//
//go:noinline
func (c *scheduler) span(all []Drying, t *task, joint, step string, why After, from, until int) []Drying {
	if until > from {
		all = append(all, Drying{c.fleet[t.of].Airframe.Mark, t.job.ID, joint, step, why, c.time(from), c.time(until)})
	}
	return all
}

// link is one of the chain.
func (c *scheduler) link(r plan.Result, l plan.Link) Link {
	t := &c.tasks[l.Activity]
	turn := c.turn(l.Activity, r.Starts[l.Activity])
	out := Link{Mark: turn.Mark, Job: turn.Job, Step: turn.Step, Title: turn.Title, Act: turn.Act, Begins: turn.Begins, Ends: turn.Ends, Sitting: l.Sitting}
	if t.step == nil {
		out.Begins = c.time(r.Starts[l.Activity])
		out.Ends = out.Begins
	}
	why := tie{why: AfterNow}
	switch l.Hold {
	case plan.ByStart:
		if t.early.why != "" && t.earliest == r.Starts[l.Activity] {
			why = t.early
		}
	case plan.BySitting:
		why.why = AfterSitting
	case plan.BySpare:
		why.why = AfterSpare
	case plan.ByDelay:
		if l.Delay < len(c.ties) {
			why = c.ties[l.Delay]
		} else {
			why = c.eitherBy[l.Delay-len(c.ties)]
		}
		if why.why == "" { // of what lies in one sitting
			why.why = AfterStep
		}
	case plan.ByResource:
		why.why = AfterHands
		if l.Resource > 0 {
			why.why, out.Tool = AfterTool, c.tools[l.Resource]
		}
	}
	out.After, out.Joint, out.Wait = why.why, why.joint, why.step
	if l.Spare > 0 {
		out.Spare, out.Before = l.Spare, c.turn(l.Before, r.Starts[l.Before]).Title
	}
	return out
}

// A sameTurn is a turn but for its time. Of those that come again in several sittings the order counts.
type sameTurn struct {
	mark, job, step, rework string
	act                     Act
	again                   Again
	time                    int
}

// in is the turn, as one of those that are counted.
func (t *Turn) in(count map[sameTurn]int) sameTurn {
	return sameTurn{t.Mark, t.Job, t.Step, t.Rework, t.Act, t.Again, 0}.counted(count)
}

//go:noinline
func (is sameTurn) counted(count map[sameTurn]int) sameTurn {
	n := count[is]
	count[is]++
	is.time = n
	return is
}

// over reports whether what is done once more was to be over by then: no entry says whether it is.
func (t *Turn) over(now time.Time) bool { return t.Again != "" && !t.Ends.After(now) }

// like are the beginnings in what was shown before; what is new begins as soon as it may.
func (c *scheduler) like(p plan.Problem) []int {
	if c.h.Like == nil {
		return nil
	}
	had, at := c.shown()
	count := map[sameTurn]int{}
	starts, known := make([]int, len(p.Activities)), false
	for i := range c.tasks {
		t := &c.tasks[i]
		starts[i] = t.earliest
		if t.step == nil {
			continue
		}
		if k, same := at[c.same(t).counted(count)]; same {
			starts[i], known = max(starts[i], c.minute(had[k].Begins)), true
		}
	}
	if !known {
		return nil
	}
	return c.rest(p, starts)
}

// rest are the starts with those of what is no step.
func (c *scheduler) rest(p plan.Problem, starts []int) []int {
	for _, d := range p.Delays {
		if c.tasks[d.To].step == nil { // the end of all that dries
			starts[d.To] = max(starts[d.To], starts[d.From]+d.Least)
		}
	}
	return starts
}

// warmed are the starts of another draft; what was put between them begins as they end.
func (c *scheduler) warmed(p plan.Problem) []int {
	starts := make([]int, len(p.Activities))
	for i := range c.tasks {
		if t := &c.tasks[i]; t.again == "" {
			starts[i] = c.warm[i]
		}
	}
	for range 3 { // what is looked over, set, and then measured, comes after what is ended
		for _, d := range c.delays {
			if d.Least >= 0 && c.tasks[d.To].again != "" {
				starts[d.To] = max(starts[d.To], starts[d.From]+d.Least)
			}
		}
		for i := range c.tasks {
			if c.tasks[i].again != "" && c.warmBy != nil {
				starts[i] = c.warmBy.stillAt(&c.tasks[i], starts[i], c.warm)
			}
		}
	}
	return c.rest(p, starts)
}

// stillAt is when a draft has the same as what another one puts between its tasks, from a minute on; that minute: it hasn't.
func (c *scheduler) stillAt(t *task, from int, starts []int) int {
	at := -1
	for i := range c.tasks {
		if is := &c.tasks[i]; is.again == t.again && is.of == t.of && is.job.ID == t.job.ID && is.step.Name == t.step.Name && starts[i] >= from && (at < 0 || starts[i] < at) {
			at = starts[i]
		}
	}
	return max(at, from)
}

// keeps reports whether a plan has what is left of one that was shown, and nothing else, in its order and its sittings.
func (t *Timetable) keeps(shown *Timetable) bool {
	type placed struct {
		sameTurn
		sitting int64
	}
	var order []placed
	count, at := map[sameTurn]int{}, map[sameTurn]bool{}
	for _, v := range t.Visits {
		for i := range v.Turns {
			is := v.Turns[i].in(count)
			order, at[is] = append(order, placed{is, v.From.Unix()}), true
		}
	}
	count = map[sameTurn]int{}
	for _, v := range shown.Visits {
		for i := range v.Turns {
			if v.Turns[i].over(t.Made) {
				continue
			}
			is := v.Turns[i].in(count)
			switch {
			case !at[is]:
			case len(order) == 0 || order[0] != placed{is, v.From.Unix()}:
				return false
			default:
				order = order[1:]
			}
		}
	}
	return len(order) == 0
}

// Clashes reports whether a plan of other airframes has somebody at work then who is at work by this one too, or may be.
func (t *Timetable) Clashes(planned []Planned) bool {
	for _, v := range t.Visits {
		for i := range v.Turns {
			turn := &v.Turns[i]
			for k := range planned {
				if p := &planned[k]; p.Begins.Before(turn.Ends) && turn.Begins.Before(p.ends()) && !apart(p.Hands, turn.Hands) {
					return true
				}
			}
		}
	}
	return false
}
