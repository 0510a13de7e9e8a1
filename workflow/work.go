package workflow

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
	"fettle/workflow/repair"
)

// The answers of a touch test.
const (
	TouchDry = "dry"
	TouchWet = "wet"
)

// Finish records that a step was done.
type Finish struct {
	Step  string    // the step, or job/step
	Began time.Time // coat: when spreading began; zero: the step's Hands before At
	Mixed time.Time // coat with a two-part adhesive: when it was mixed; zero: when spreading began
	Touch string    // join: TouchDry, TouchWet, or "" without a touch test
	With  string    // coat: which adhesive of those it may be; "": there is only one, or the joint has it already
	Thing string    // which one is fitted, at a step that fits equipment, by its name
	Witness
}

func (r Finish) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	report, job, err := s.FindStep(r.Step, c.At)
	if err != nil {
		return nil, err
	}
	step := report.Step
	kind := s.kinds[step.Kind]
	if r.Touch != "" && !kind.touched {
		return nil, bad("%s is not a join; only a join takes a touch test", step.Name)
	}
	if r.With != "" && !kind.begins {
		return nil, bad("%s spreads no adhesive", step.Name)
	}
	if (!r.Began.IsZero() || !r.Mixed.IsZero()) && !kind.begins {
		return nil, bad("%s is not a coat; only a coat takes the time it began", step.Name)
	}
	if err := r.Witness.fits(&step, c); err != nil {
		return nil, err
	}
	var facts []journal.Facts
	if r.Touch != "" {
		touched, err := s.touch(job, step, r.Touch)
		if err != nil {
			return nil, err
		}
		facts = append(facts, touched)
		after, err := s.then(facts, c)
		if err != nil {
			return nil, err
		}
		report, _, _ = after.FindStep(r.Step, c.At)
	}
	r, late := r.begun(s, job, report, c.At)
	err = s.allowed(report, job, c)
	if !step.Kind.Traits().Confirms { // which is cleared, and asks then
		err = s.withUnsaid(err, report, job, r, c.At)
	}
	if err != nil {
		// What was found wet is kept: it holds the joint back. Dry says nothing of a
		// join that was refused.
		if s.Untrusted(c.Now) == nil && r.Touch == TouchWet {
			return nil, &PartError{Record: s.entries(facts, c), Refused: []error{err}}
		}
		return nil, err
	}
	if late != nil {
		return nil, late
	}
	facts = append(facts, s.waited(job, report.Stage, step.Name, c.At)...)
	done, err := kind.finish(r, s, job, step, c)
	if err != nil {
		return nil, err
	}
	if done, err = s.witnessed(r.Witness, job, step, done, c.At); err != nil {
		return nil, err
	}
	if done, err = s.fits(r.Thing, job, step, done, c.At); err != nil {
		return nil, err
	}
	return append(facts, s.retiring(job, step, done)...), nil
}

func (r Finish) coated(s *State, job *Job, step steps.Step, c Circumstances) ([]journal.Facts, error) {
	adhesive, err := s.adhesiveFor(r, job, step, c.At)
	if err != nil {
		return nil, err
	}
	began, mixed := r.Began.UTC().Truncate(time.Second), r.Mixed.UTC().Truncate(time.Second)
	if r.Began.IsZero() {
		began = s.spread(job, step, adhesive, c.At)
		if mixed.After(began) && mixed.Before(c.At) {
			began = mixed // whoever says when it was mixed has not spread it before
		}
	}
	f := journal.Coated{Work: s.work(job, step), Joint: step.Joint, Adhesive: adhesive.Name, Began: began}
	switch {
	case began.After(c.At):
		return nil, bad("the coat can't have begun after it was finished")
	case !r.Mixed.IsZero() && !adhesive.Times.Mixed:
		return nil, bad("%s is not a two-part adhesive", adhesive.Name)
	case !r.Mixed.IsZero() && mixed.After(began):
		return nil, bad("the adhesive can't have been mixed after the coat began")
	case adhesive.Times.Mixed && r.Mixed.IsZero():
		mixed = began
	}
	if adhesive.Times.Mixed {
		f.Mixed = &mixed
	}
	return []journal.Facts{f}, nil
}

// spread is when a coat began if nobody says it: the attended time of its step before it
// was done. One that is put on again began no earlier than the coat before it lapsed, or
// it would count with that.
func (s *State) spread(job *Job, step steps.Step, a steps.Adhesive, at time.Time) time.Time {
	began := at.Add(-spreading(step, a))
	for _, p := range job.coatedBy(step.Name, step.Joint) {
		if len(p.coats) > 0 && p.Joined.IsZero() && p.Lapsed(at) && !p.Lapsed(began) {
			began = p.Window().Closes.Add(time.Second)
		}
	}
	if began.After(at) {
		return at
	}
	return began
}

// glued coats and joins in one act where the adhesive needs no drying; where it
// does, it is the coat, and once that is on the join.
func (r Finish) glued(s *State, job *Job, step steps.Step, c Circumstances) ([]journal.Facts, error) {
	if job.coated(step, c.At) {
		if !r.Began.IsZero() || !r.Mixed.IsZero() || r.With != "" {
			return nil, bad("the coat of %s is on; only its join is left, which takes no adhesive and has no beginning of its own", step.Name)
		}
		return finishJoin(r, s, job, step, c)
	}
	adhesive, err := s.adhesiveFor(r, job, step, c.At)
	if err != nil {
		return nil, err
	}
	joint, known := job.JointOf(step)
	switch again := known && joint.coatedBy(step.Name); {
	case again && adhesive.Dries() && (r.Began.IsZero() || r.Touch != ""):
		// It may be meant for the join, which comes too late.
		return nil, refuse(step.Name, ByLapse, joint.lapse(), s.remedy(Remedy{Kind: ToSayBegan, Step: s.NameOf(job.ID, step.Name, c.At)}))
	case !adhesive.Dries() && !adhesive.Times.Mixed && !r.Began.IsZero():
		return nil, bad("%s grips while it is laid: each bead is pressed at once, and has no beginning to give", adhesive.Name)
	}
	facts, err := r.coated(s, job, step, c)
	if err != nil {
		return nil, err
	}
	coat := facts[0].(journal.Coated)
	coat.Sets = nil // which the join does
	facts[0] = coat
	if adhesive.Dries() {
		return facts, nil
	}
	after, err := s.then(facts, c)
	if err != nil {
		return nil, err
	}
	if job, err = after.workOf(job.ID); err != nil {
		return nil, err
	}
	if joint, ok := job.JointOf(step); ok && joint.Lapsed(c.At) {
		return nil, refuse(step.Name, ByLapse, fmt.Sprintf("%s was mixed too long ago: it must be joined within %s of that; mix some more", adhesive.Name, adhesive.To), Remedy{})
	}
	if reasons := after.shut(job, step, c.At); len(reasons) > 0 {
		return nil, &Refusal{What: step.Name, Reasons: reasons}
	}
	joined, err := finishJoin(r, s, job, step, c)
	return append(facts, joined...), err
}

// An AdhesiveReport is an adhesive that a step may spread, and why it can't be
// used at the time.
type AdhesiveReport struct {
	steps.Adhesive
	Unfit []Reason
}

// workOf returns the job of that identity, or for "" that of the reworks.
//
//go:noinline
func (s *State) workOf(id string) (*Job, error) {
	if id == "" {
		return s.reworks, nil
	}
	return s.Job(id)
}

// AdhesivesOf returns the adhesives that a coat or glue step may spread: the one
// that its joint has already, else those that are written.
func (s *State) AdhesivesOf(j *Job, step steps.Step, at time.Time) []AdhesiveReport {
	names := j.adhesives(step, at)
	var all []AdhesiveReport
	for _, name := range names {
		adhesive, ok := s.Sheet.Adhesive(name)
		if !ok {
			adhesive.Name = name
			all = append(all, AdhesiveReport{adhesive, []Reason{{Because: ByState, Text: fmt.Sprintf("the design sheet has no adhesive %q", name)}}})
			continue
		}
		unfit := s.unfitClimate(adhesive, step, at)
		if len(names) > 1 || j.ID == "" { // of one alone, the step is asked; a rework is not a step
			unfit = append(s.unready(name, step, at), unfit...)
		}
		all = append(all, AdhesiveReport{adhesive, unfit})
	}
	return all
}

// adhesiveFor is the adhesive that the step spreads: the one that is named, or
// the only one.
func (s *State) adhesiveFor(r Finish, job *Job, step steps.Step, at time.Time) (steps.Adhesive, error) {
	may := s.AdhesivesOf(job, step, at)
	var names []string
	for _, a := range may {
		names = append(names, a.Name)
		if a.Name != r.With && (r.With != "" || len(may) > 1) {
			continue
		}
		if len(a.Unfit) > 0 {
			return a.Adhesive, &Refusal{What: step.Name, Reasons: a.Unfit}
		}
		return a.Adhesive, nil
	}
	switch {
	case lists.Contains(step.Adhesives, r.With):
		return steps.Adhesive{}, refuse(step.Name, ByState, fmt.Sprintf("joint %s is coated with %s already, and keeps it", step.Joint, names[0]), Remedy{})
	case r.With != "":
		return steps.Adhesive{}, unknown("adhesive of "+step.Name, r.With, names)
	}
	return steps.Adhesive{}, refuse(step.Name, ByState, "it may be "+strings.Join(names, " or ")+": say which",
		s.remedy(Remedy{Kind: ToNameAdhesive, Step: s.NameOf(job.ID, step.Name, at), Names: names}))
}

// spreading is how old a coat is when the work of its step is over. Of what
// grips while it is laid, each bead is pressed at once.
func spreading(step steps.Step, a steps.Adhesive) time.Duration {
	if step.Kind.Traits().Joins && !a.Dries() && !a.Times.Mixed {
		return 0
	}
	hands, _ := step.Hands.Duration()
	return hands
}

// touch makes the fact of a touch test.
func (s *State) touch(job *Job, step steps.Step, found string) (journal.Facts, error) {
	joint, ok := job.JointOf(step)
	if !ok || !joint.Joined.IsZero() {
		return nil, refuse(step.Name, ByOrder, "joint "+step.Joint+" has no coat to touch", Remedy{})
	}
	if found != TouchDry && found != TouchWet {
		return nil, bad("a touch test finds %s or %s, not %q", TouchDry, TouchWet, found)
	}
	if !joint.Adhesive.Dries() {
		return nil, bad("%s is joined while it is wet; a touch test says nothing of it", joint.Adhesive.Name)
	}
	return journal.TouchTested{Job: job.ID, Joint: step.Joint, Ready: found == TouchDry}, nil
}

// work is what the completion of any step records.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (s *State) work(job *Job, step steps.Step) journal.Work {
	return journal.Work{Job: job.ID, Step: step.Name, Disturbs: step.Disturbs, Sets: step.Sets}
}

// allowed refuses a step that can't be done at the time, with every reason.
func (s *State) allowed(r StepReport, job *Job, c Circumstances) error {
	var reasons []Reason
	switch r.Progress {
	case Done:
		m, recorded := job.done[r.Step.Name]
		if !recorded {
			break // a wait that is over by the clock; now it gets its entry
		}
		reasons = []Reason{{Because: ByState, Text: "it is already done", Remedy: s.remedy(Remedy{Kind: ToTakeBack, Entry: m.position})}}
		if by := s.Entries[m.position].By; !strings.EqualFold(by, c.By) {
			reasons[0] = Reason{Because: ByState, Text: "it is already done by " + by, At: m.at}
			if r.Step.Kind.Traits().Glues() {
				reasons[0].Text = "a coat or a join that you made too is not in the record: tell them; " + reasons[0].Text
			}
		}
		for _, is := range r.Step.Sets { // done once more, it is set anew, and nothing is taken back
			if s.Holds(is.Condition, c.At) != is.State {
				reasons[0].Text += fmt.Sprintf(", and %s is to be recorded anew", is)
				reasons[0].Remedy = s.stands(is, c.At)[0].Remedy
				break
			}
		}
	case Waiting, Later:
		reasons = slices.Clone(r.Reasons)
		for i := range reasons {
			if reason := &reasons[i]; !reason.Remedy.IsZero() {
				continue
			} else if reason.Because == ByOrder {
				reason.Remedy = s.remedy(Remedy{Kind: ToSeeNext})
			} else if reason.Until.After(c.Now) { // else it was then, and waiting won't help
				reason.Remedy = s.remedy(Remedy{Kind: ToWait, Step: s.NameOf(r.Job, r.Step.Name, c.At)})
			}
		}
		for _, is := range s.standing(c.At) { // nobody waits with that till its step can be done
			if lists.Contains(r.Step.Sets, is.safe) {
				reasons = append(reasons, is.Reason)
			}
		}
	}
	if reason := s.Untrusted(c.Now); reason != nil {
		reasons = append(reasons, *reason)
	} else if c.At.Before(s.lastBefore(job, r)) && r.Progress == Ready {
		reasons = append(reasons, Reason{Because: ByOrder, Text: "it cannot have been done before the steps it depends on"})
	}
	if len(reasons) > 0 {
		return &Refusal{What: r.Step.Name, Reasons: reasons}
	}
	return nil
}

// withUnsaid is the error with what else the request must name and does not: which adhesive,
// the second person, the name of what is fitted. Whoever is told one of them is told all.
func (s *State) withUnsaid(err error, report StepReport, job *Job, r Finish, at time.Time) error {
	refusal := &Refusal{What: report.Step.Name}
	if err != nil && !errors.As(err, &refusal) || anyReason(refusal.Reasons, func(r Reason) bool {
		return r.Because != ByCondition && r.Because != ByClimate && r.Because != ByHold
	}) {
		return err // it is not its turn, or it needs work first
	}
	step := report.Step
	if err == nil {
		refusal.Reasons = s.unmet(job, step, at)
	}
	completes := true
	if s.kinds[step.Kind].begins && report.Act != ToPress {
		for _, a := range s.AdhesivesOf(job, step, at) {
			completes = completes && (report.Completes(a.Adhesive) || r.With != "" && r.With != a.Name)
		}
		_, err := s.adhesiveFor(r, job, step, at)
		refusal.addUnsaid(err, ToNameAdhesive)
	}
	if reason := s.lacksSecond(r.Witness, job, step, at); completes && reason != nil {
		refusal.Reasons = append(refusal.Reasons, *reason)
	}
	if r.Thing == "" {
		_, err := s.fits("", job, step, nil, at)
		refusal.addUnsaid(err, ToNameThing)
	}
	if len(refusal.Reasons) == 0 {
		return nil
	}
	return refusal
}

// addUnsaid adds the reasons of an error that name what would help.
func (r *Refusal) addUnsaid(err error, name RemedyKind) {
	var refusal *Refusal
	if errors.As(err, &refusal) {
		for _, reason := range refusal.Reasons {
			if reason.Remedy.Kind == name {
				r.Reasons = append(r.Reasons, reason)
			}
		}
	}
}

// lastBefore is when the last of the steps that this one depends on was done.
func (s *State) lastBefore(job *Job, r StepReport) time.Time {
	last := job.since(r.Step.Name).at
	job.before(r.Step, func(stage steps.Stage, i int) {
		if m, ok := job.done[stage.Steps[i].Name]; ok && m.at.After(last) {
			last = m.at
		}
	})
	return last
}

// waited returns facts for each wait before the step that is over and has no
// entry yet, so that the record shows it.
func (s *State) waited(job *Job, stageName, until string, at time.Time) []journal.Facts {
	var facts []journal.Facts
	for _, name := range append(job.Procedure.Before(stageName), stageName) {
		stage, _ := job.Procedure.Stage(name)
		facts = append(facts, s.over(job, stage, until, at)...)
	}
	return facts
}

// over returns facts for each wait of the stage, up to the step, that is over
// and has no entry yet.
func (s *State) over(job *Job, stage steps.Stage, until string, at time.Time) []journal.Facts {
	var facts []journal.Facts
	for i, step := range stage.Steps {
		if step.Name == until {
			break
		}
		if step.Kind.Traits().Passes && !job.counts(stage, i) && s.met(job, stage, i, at) {
			facts = append(facts, journal.StepDone{Work: s.work(job, step)})
		}
	}
	return facts
}

// unfitClimate says why the temperature or the humidity forbids coating with the
// adhesive at the time.
func (s *State) unfitClimate(adhesive steps.Adhesive, step steps.Step, at time.Time) []Reason {
	reasons := s.unfit(adhesive, at)
	bench, known := s.benchAt(at)
	if !known || len(s.outsideLimits(adhesive, bench)) > 0 {
		return reasons
	}
	if adhesive.Times.Open(spreading(step, adhesive), bench.celsius) < 0 {
		reasons = append(reasons, Reason{Because: ByClimate, Text: fmt.Sprintf("at %s, %s has no window: it is too old before it is dry", bench.Temperature, adhesive.Name), Remedy: s.remedy(Remedy{Kind: ToNearBench, Value: adhesive.At})})
	}
	return reasons
}

// unfit says why the bench is not fit for the adhesive at the time.
func (s *State) unfit(a steps.Adhesive, at time.Time) []Reason {
	bench, known := s.benchAt(at)
	if !known {
		humid := !a.Driest.IsZero() || !a.Dampest.IsZero()
		what := "the bench temperature has"
		if humid {
			what = "the temperature and the humidity of the bench have"
		}
		return []Reason{{Because: ByClimate, Text: what + " not been read " + thisSitting, Remedy: s.remedy(Remedy{Kind: ToReadBench, Humidity: humid})}}
	}
	return append(s.outsideLimits(a, bench), s.unfitHumidity(a, bench)...)
}

// outsideLimits says that the bench is too cold or too warm for the adhesive.
func (s *State) outsideLimits(adhesive steps.Adhesive, bench Climate) []Reason {
	celsius := bench.celsius
	low, errLow := adhesive.Coldest.Celsius()
	high, errHigh := adhesive.Warmest.Celsius()
	var reasons []Reason
	switch {
	case errLow == nil && celsius < low:
		reasons = append(reasons, Reason{Because: ByClimate, Text: fmt.Sprintf("%s must not be used below %s; the bench is at %s", adhesive.Name, adhesive.Coldest, bench.Temperature), Remedy: s.remedy(Remedy{Kind: ToWarmBench, Value: adhesive.Coldest})})
	case errHigh == nil && celsius > high:
		reasons = append(reasons, Reason{Because: ByClimate, Text: fmt.Sprintf("%s must not be used above %s; the bench is at %s", adhesive.Name, adhesive.Warmest, bench.Temperature), Remedy: s.remedy(Remedy{Kind: ToCoolBench, Value: adhesive.Warmest})})
	}
	return reasons
}

func (s *State) unfitHumidity(a steps.Adhesive, bench Climate) []Reason {
	if a.Driest.IsZero() && a.Dampest.IsZero() {
		return nil
	}
	read := bench.Humidity
	switch {
	case read.IsZero():
		return []Reason{{Because: ByClimate, Text: fmt.Sprintf("%s has humidity limits, and the humidity was not read", a.Name), Remedy: s.remedy(Remedy{Kind: ToReadBench, Humidity: true})}}
	case !a.Driest.IsZero() && read.Cmp(a.Driest) < 0:
		return []Reason{{Because: ByClimate, Text: fmt.Sprintf("%s must not be used below a humidity of %s; it is %s", a.Name, a.Driest, read), Remedy: s.remedy(Remedy{Kind: ToDampAir, Value: a.Driest})}}
	case !a.Dampest.IsZero() && read.Cmp(a.Dampest) > 0:
		return []Reason{{Because: ByClimate, Text: fmt.Sprintf("%s must not be used above a humidity of %s; it is %s", a.Name, a.Dampest, read), Remedy: s.remedy(Remedy{Kind: ToDryAir, Value: a.Dampest})}}
	}
	return nil
}

// shut says why a joint can't be joined at the time.
func (s *State) shut(j *Job, step steps.Step, at time.Time) []Reason {
	joint, ok := j.JointOf(step)
	if !ok {
		return []Reason{{Because: ByOrder, Text: "joint " + step.Joint + " has no coat"}}
	}
	w := joint.Window()
	switch s.Phase(joint, at) {
	case Late:
		text := "the coat on " + step.Joint + " has lapsed"
		if joint.Doubted() {
			text = joint.doubt()
		}
		return []Reason{{Because: ByLapse, Text: text, Remedy: s.remedy(joint.afresh(step.Joint))}}
	case HalfCoated:
		return []Reason{{Because: ByOrder, Text: "a face of " + step.Joint + " is not coated yet"}}
	case Tacking:
		if at.Before(w.Opens) {
			return []Reason{{Because: ByDrying, Text: "the coat on " + step.Joint + " is not ready to join", Until: w.Opens, Closes: w.Closes}}
		}
		return []Reason{{Because: ByTouch, Text: "the last touch test found " + step.Joint + " wet", Closes: w.Closes,
			Remedy: s.remedy(Remedy{Kind: ToTouchAgain, Step: s.NameOf(j.ID, step.Name, at)})}}
	}
	return s.unfit(joint.Adhesive, at)
}

// NameOf is the name of a job's step for a person to type: with the job in front
// where another job has an open step of that name.
func (s *State) NameOf(job, step string, at time.Time) string {
	for _, other := range s.Jobs {
		for _, stage := range other.Procedure.Stages {
			for i := range stage.Steps { // by index, because a step is large
				if other.ID != job && stage.Steps[i].Name == step && !s.met(other, stage, i, at) {
					return job + "/" + step
				}
			}
		}
	}
	return step
}

// FindStep returns the step of an open job by its name, or by job/step if
// several jobs have one of that name. A step of a plan of repair may be named as its
// procedure names it, where that tells it from the others that are open.
func (s *State) FindStep(name string, at time.Time) (StepReport, *Job, error) {
	wanted, step, qualified := strings.Cut(name, "/")
	if !qualified {
		wanted, step = "", name
	}
	type found struct {
		StepReport
		of *Job
	}
	var names []string
	var exact, alike []found
	for _, job := range slices.Backward(s.Jobs) {
		if wanted != "" && job.ID != wanted {
			continue
		}
		for _, r := range s.stepsThat(job, at, func(stage steps.Stage, is *steps.Step) bool {
			names = append(names, is.Name)
			return is.Name == step || job.Procedure.Name == repair.Name && repair.Stem(is.Name, stage.Name) == step
		}) {
			if r.Step.Name == step {
				exact = append(exact, found{r, job})
			} else {
				alike = append(alike, found{r, job})
			}
		}
	}
	all := exact
	if len(all) == 0 {
		all = alike
	}
	var open []found
	for i := range all {
		if all[i].Progress != Done {
			open = append(open, all[i])
		}
	}
	switch {
	case len(open) > 1:
		slices.Reverse(open) // the oldest first
		var jobs, full []string
		for _, f := range open {
			jobs, full = append(jobs, f.of.ID), append(full, f.of.ID+"/"+f.Step.Name)
		}
		if jobs = lists.Compact(jobs); len(jobs) == 1 {
			return StepReport{}, nil, bad("%d open steps are called %s; write %s", len(open), step, strings.ReplaceAll(strings.Join(full, " or "), jobs[0]+"/", ""))
		}
		return StepReport{}, nil, bad("step %s is open in the jobs %s; write %s", step, strings.Join(jobs, ", "), strings.Join(full, " or "))
	case len(open) == 1:
		return open[0].StepReport, open[0].of, nil
	case len(all) > 0:
		return all[0].StepReport, all[0].of, nil
	case len(s.Jobs) == 0:
		return StepReport{}, nil, unknownOf(s.Airframe.Mark, "job with a step", name, nil)
	}
	return StepReport{}, nil, unknown("step", name, names)
}
