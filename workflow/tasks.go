package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// This file makes tasks of what is left of jobs, in their order.

// work makes the tasks of every airframe, and finds their rows.
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
	c.rows = c.findRows()
	return nil
}

// settle puts what rows are cut into, and keeps apart what must be.
//
//go:noinline
func (c *scheduler) settle() {
	c.lookOver()
	c.interrupt()
	c.setting()
	c.apart()
	c.undisturbed()
	c.safety()
}

// measureClimate finds the temperature that an airframe's new clocks are planned with.
func (c *scheduler) measureClimate(s *State) {
	is := Climates{Mark: s.Airframe.Mark}
	for _, other := range c.fleet { // they are planned for one bench: the last reading counts
		if other.Bench != nil && (s.Bench == nil || other.Bench.At.After(s.Bench.At)) {
			s = other
		}
	}
	if is.Celsius, is.Read = s.benchToCome(c.now); c.h.Celsius != nil {
		is.Celsius, is.Given, is.Read = *c.h.Celsius, true, time.Time{}
	}
	c.climate, c.celsius = append(c.climate, is), append(c.celsius, is.Celsius)
}

// benchToCome is the temperature that what comes is reckoned with, and when it was read: as it was read last, else it is assumed.
func (s *State) benchToCome(now time.Time) (celsius float64, read time.Time) {
	if s.Bench == nil {
		return assumedCelsius, read
	}
	if celsius, known := s.Temperature(now); known {
		return celsius, s.Bench.At
	}
	return s.Bench.celsius, s.Bench.At
}

// assumedCelsius is the temperature of a bench that nobody read (common practice, no source).
const assumedCelsius = 20

// climateOf is the climate of an airframe's new clocks.
//
//go:noinline
func (c *scheduler) climateOf(of int) bond.Climate { return bond.Even(c.celsius[of]) }

// unfit says which adhesive of a step, or of a rework before it, the bench is too cold or too warm for, as it is planned.
func (c *scheduler) unfit(of int, s *State, k *Job, step *steps.Step) (reasons []Reason) {
	check := func(a *steps.Adhesive, others []string) {
		low, high := c.limits(of, a)
		if !low && !high {
			return
		}
		r := Reason{Because: ByClimate, Text: fmt.Sprintf("%s works between %s and %s, and the bench is planned at %.4g °C", a.Name, a.Coldest, a.Warmest, c.celsius[of])}
		help := Remedy{Kind: ToWarmBench, Value: a.Coldest}
		if high {
			help = Remedy{Kind: ToCoolBench, Value: a.Warmest}
		}
		for _, name := range others {
			if other, known := s.Sheet.Adhesive(name); known && name != a.Name && c.works(of, &other) {
				help.Names = append(help.Names, name)
			}
		}
		r.Remedy = s.remedy(help)
		reasons = append(reasons, r)
	}
	if step.Kind.Traits().Glues() {
		if a := c.adhesiveOf(of, s, k, step); a != nil {
			check(a, k.adhesives(*step, c.now))
		}
	}
	for _, gate := range c.reworks[step.Name] {
		if g, known := s.Sheet.Gate(gate); known && len(g.Reworks) > 0 {
			for _, name := range g.Reworks[0].Adhesives[:min(1, len(g.Reworks[0].Adhesives))] {
				if a, known := s.Sheet.Adhesive(name); known {
					check(&a, nil)
				}
			}
		}
	}
	return reasons
}

// limits report whether the bench is planned colder or warmer than an adhesive works.
func (c *scheduler) limits(of int, a *steps.Adhesive) (colder, warmer bool) {
	least, errLeast := a.Coldest.Celsius()
	most, errMost := a.Warmest.Celsius()
	return !a.Coldest.IsZero() && errLeast == nil && c.celsius[of] < least, !a.Warmest.IsZero() && errMost == nil && c.celsius[of] > most
}

// airframe makes the tasks of one airframe. Repairs come first: other work may wait for them. What releases comes last, and after that
// what comes before a flight.
func (c *scheduler) airframe(of int, s *State) error {
	jobs := s.OpenJobs(c.now)
	place := func(j *Job) int {
		switch {
		case len(j.Damages) > 0:
			return 0
		case j.Procedure.Flight != "":
			return 3
		case steps.AnyStep(j.written.Steps(), func(s *steps.Step) bool { return s.Kind.Traits().Releases }):
			return 2
		}
		return 1
	}
	sorting.Stable(jobs, func(i, k int) int {
		a, b := jobs[i], jobs[k]
		return place(a) - place(b)
	})
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
	c.takeTurns(of, s.turns(jobs, c.now))
	c.gatesOf(of, s, first)
	// A release waits for everything, and for the cure of what carries load; where there is none, all ends with that.
	all := front{}
	for _, j := range jobs {
		all.join(ends[j.ID])
	}
	for _, j := range c.joins {
		if j.of == of && j.load {
			times := j.adhesive.Times
			all.wait(link{j.task, c.tasks[j.task].minutes + up(times.Least(times.Cure, c.climateOf(of))), tie{why: AfterCure, joint: j.joint}})
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

// takeTurns has what looks over a damaged airframe, or one that came down hard, come before all other work on it, but for what waits for
// that, what is plugged in now is for, and what a clock that runs doesn't leave time for.
func (c *scheduler) takeTurns(of int, turn map[string]Rank) {
	var looks, rest []int
	for i := range c.tasks {
		t := &c.tasks[i]
		switch is := t.of == of && t.step != nil; {
		case !is || len(turn) == 0:
		case turn[t.job.ID] == RankLooksOver:
			looks = append(looks, i)
		default:
			rest = append(rest, i)
		}
	}
	for n := len(looks) - 1; n >= 0; n-- { // the last ones first, which the others come before
		i := looks[n]
		if slices.ContainsFunc(rest, func(k int) bool { return c.precedes(k, i) }) {
			continue
		}
		for _, k := range rest {
			if !c.pressed(k) && !c.stands(k) {
				c.order(i, k)
			}
		}
	}
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
	return x.of == y.of && y.waitsFor(x)
}

// waitsFor reports whether it comes after another of its airframe.
func (t *task) waitsFor(other *task) bool {
	return other.number/64 < len(t.before) && t.before[other.number/64]>>(other.number%64)&1 == 1
}

//go:noinline
func (c *scheduler) delay(from, to, least int, why tie) {
	c.delays, c.ties = append(c.delays, plan.Delay{From: from, To: to, Least: least}), append(c.ties, why)
}

// add makes a task that waits for a front, and is its place.
func (c *scheduler) add(t task, f front) int {
	i := len(c.tasks)
	c.takeUp(&t)
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
					reasons := append(c.stopsAt(s, j, step, blocked, reports, &f, repairs), c.unfit(of, s, &k, step)...)
					reasons = append(append(reasons, c.hurried(of, s, &k, step)...), c.lengthy(s, &k, step)...)
					if later := c.instead(stepKey(s.Airframe.Mark, j.ID, step.Name)); later != nil && len(reasons) == 0 {
						if stopped[stage.Name] = true; !slices.ContainsFunc(c.stops, later.same) {
							c.stops = append(c.stops, *later)
						}
						break
					}
					if len(reasons) > 0 {
						c.stops = append(c.stops, Stop{Mark: s.Airframe.Mark, Job: j.ID, Step: step.Name, Title: step.Title, Reasons: reasons})
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
		if first := len(asked.Answers) > 0 && !asked.Alone; len(held) == 0 && first {
			held = []string{asked.Answers[0].Name}
		} else if len(held) > 0 {
			c.heeded[held[0]] = c.heeded[held[0]] || !first || held[0] != asked.Answers[0].Name
		}
		answer := Answer{Mark: s.Airframe.Mark, Job: j.ID, Step: step.Name, Choice: asked.Name, Answer: steps.No}
		if len(held) > 0 {
			answer.Answer = held[0]
			selection.Has = append(lists.Clone(selection.Has), held[0])
		}
		selection.Open = sorting.Delete(lists.Clone(selection.Open), func(name string) bool { return name == asked.Name || lists.Contains(asked.Names(), name) })
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
	all := s.blocks(blocked, j, *step, c.now)
	for _, set := range append(s.NeedsAt(j, *step, c.now), step.Sets...) {
		if s.isGuarded(set) && j.Procedure.Kind != steps.Repair {
			if r := s.leftToRepair(set, false, c.now); r != nil {
				all = append(all, *r)
			}
		}
	}
	grounded, open := s.heldFromFlight(j, step, c.now)
	if grounded != nil { // nobody knows whether it will be fit
		reasons = append(reasons, *grounded)
	}
	for _, r := range append(all, open...) {
		stopped := slices.ContainsFunc(c.stops, func(stop Stop) bool { return stop.Mark == s.Airframe.Mark && stop.Job == r.Remedy.Name })
		if end, open := repairs[r.Remedy.Name]; r.Remedy.Kind == ToFinish && open && !stopped {
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
		for _, stop := range c.stops {
			if stop.Mark == s.Airframe.Mark && stop.Job != "" {
				reasons = append(reasons, Reason{Because: ByState, Text: fmt.Sprintf("%s of job %s is not reached", stop.Step, stop.Job)})
			}
		}
		return reasons
	}
	i := indexOf(reports, func(r *StepReport) bool { return r.Step.Name == step.Name })
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
				f.wait(link{join.task, t.minutes + up(times.Least(lasts, c.climateOf(of))), why})
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

// stepTasks makes the task of a step, or the two of a glue step that dries before it is pressed.
func (c *scheduler) stepTasks(of int, s *State, k *Job, stage steps.Stage, i int, f *front, again bool) error {
	step := &stage.Steps[i]
	does := step.Kind.Traits()
	t := task{of: of, job: k, work: k.Procedure, stage: stage.Name, step: step, minutes: c.minutes(k.Procedure, step),
		safe: s.safeStage(k, &stage, c.now) && i <= s.madeSafe(&stage)}
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
		most := down(t.adhesive.Times.Most(t.adhesive.Times.To, c.climateOf(of)))
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
	*f = front{links: []link{{at, c.tasks[at].minutes, tie{why: AfterStep}}}}
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
		climate := c.climateOf(measures.of)
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
	var chosen, considered *steps.Adhesive
	for _, name := range names {
		a, known := s.Sheet.Adhesive(name)
		if !known {
			continue
		}
		if considered == nil && lists.Contains(c.h.Consider, name) {
			considered = &a
		}
		if chosen == nil || !c.works(of, chosen) && c.works(of, &a) {
			chosen = &a
		}
	}
	if considered != nil {
		c.heeded[considered.Name] = c.heeded[considered.Name] || considered.Name != chosen.Name
		chosen = considered
	}
	c.glue[joint] = chosen
	return chosen
}

//go:noinline
func (c *scheduler) works(of int, a *steps.Adhesive) bool {
	colder, warmer := c.limits(of, a)
	return !colder && !warmer
}
