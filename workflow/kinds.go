package workflow

import (
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// A stepKind is what the engine does with one kind of step.
type stepKind struct {
	// met reports whether a step is satisfied; nil: it is once an entry says that
	// it is done.
	met func(s *State, j *Job, stage steps.Stage, i int, at time.Time, done bool) bool
	// forbids gives every reason, other than order and needs, why it can't be
	// done; nil: none.
	forbids func(s *State, j *Job, stage steps.Stage, i int, at time.Time) []Reason
	// completed is the kind of entry that completes it.
	completed string
	// finish returns the facts that complete it.
	finish func(r Finish, s *State, job *Job, step steps.Step, c Circumstances) ([]journal.Facts, error)
	// explain adds what a person wants to know about it; nil: nothing.
	explain func(s *State, r *StepReport, j *Job, at time.Time)

	touched bool    // a touch test of its joint may come with it
	begins  bool    // the time it began, and perhaps of mixing, may be given
	left    Because // why a job with this step left is open; "": ByState
}

// stepKinds has a row for every kind of step.
func stepKinds() map[steps.Kind]stepKind {
	return map[steps.Kind]stepKind{
		steps.Do:      {completed: journal.StepDone{}.Kind(), finish: justDone},
		steps.Coat:    {completed: journal.Coated{}.Kind(), met: coatMet, forbids: coatForbids, finish: Finish.coated, explain: explainCoat, begins: true},
		steps.Join:    {completed: journal.Joined{}.Kind(), met: joinMet, forbids: joinForbids, finish: finishJoin, explain: explainJoin, touched: true},
		steps.Glue:    {completed: journal.Joined{}.Kind(), met: joinMet, forbids: glueForbids, finish: Finish.glued, explain: explainGlue, touched: true, begins: true},
		steps.Wait:    {completed: journal.StepDone{}.Kind(), met: waitMet, forbids: waitForbids, finish: justDone},
		steps.Measure: {completed: journal.StepDone{}.Kind(), met: measureMet, forbids: measureForbids, finish: finishMeasure, explain: explainMeasure},
		steps.Hold:    {completed: journal.HoldCleared{}.Kind(), finish: finishHold, left: ByHold},
		steps.Choose:  {completed: journal.Chosen{}.Kind(), met: chooseMet, finish: finishChoice},
		steps.Release: {completed: journal.Released{}.Kind(), forbids: releaseForbids, finish: finishRelease},
	}
}

func justDone(_ Finish, s *State, job *Job, step steps.Step, _ Circumstances) ([]journal.Facts, error) {
	return []journal.Facts{journal.StepDone{Work: s.work(job, step)}}, nil
}

func coatMet(_ *State, j *Job, stage steps.Stage, i int, at time.Time, done bool) bool {
	step := stage.Steps[i]
	parts := j.coatedBy(step.Name, step.Joint)
	return done && len(parts) > 0 && !slices.ContainsFunc(parts, func(p *Joint) bool { return !p.coatedBy(step.Name) || p.Lapsed(at) })
}

// coatForbids: of several adhesives one must be fit.
func coatForbids(s *State, j *Job, stage steps.Stage, i int, at time.Time) []Reason {
	may := s.AdhesivesOf(j, stage.Steps[i], at)
	var reasons []Reason
	for _, a := range may {
		if len(a.Unfit) == 0 {
			return nil
		}
		for _, r := range a.Unfit {
			if !anyReason(reasons, func(have Reason) bool { return have.Text == r.Text }) {
				reasons = append(reasons, r)
			}
		}
	}
	if len(may) == 0 {
		return []Reason{{Because: ByState, Text: "it names no adhesive"}}
	}
	return reasons
}

func explainCoat(s *State, r *StepReport, j *Job, at time.Time) {
	s.explainBegun(r, j, at)
	if _, was := j.done[r.Step.Name]; !was {
		return
	}
	for _, p := range j.coatedBy(r.Step.Name, r.Step.Joint) {
		if p.coatedBy(r.Step.Name) && p.Lapsed(at) {
			r.Reopened = p.lapse()
		}
	}
}

// lapse says why a coat counts no more.
func (j *Joint) lapse() string {
	switch {
	case j.Doubted():
		return j.doubt()
	case j.windowIn(j.climate).Empty():
		return "the faces were coated too far apart: the first was too old before the last was dry; coat both again"
	}
	closes := j.windowIn(j.climate).Closes
	had := time.Duration(0) // that it has in the climate it dried in
	for _, coat := range j.coats {
		had = max(had, closes.Sub(coat.Began))
	}
	return fmt.Sprintf("the coat has lapsed: it waited longer than %d min; %s", had/time.Minute, j.again())
}

// again says what is done with the faces of a coat that counts no more. What joins wet
// sets where it lies, and what lies there shifts what is put on it.
//
//go:noinline
func (j *Joint) again() string {
	if j.Adhesive.Dries() {
		return "put a fresh thin coat on every face"
	}
	return "take out all that has begun to set, measure what it lay in again, and spread fresh glue"
}

// afresh is the remedy for a coat that counts no more.
//
//go:noinline
func (j *Joint) afresh(name string) Remedy {
	if j.Adhesive.Dries() {
		return Remedy{Kind: ToCoatAgain, Joint: name}
	}
	return Remedy{Kind: ToClearOut, Joint: name}
}

// doubt says why a join that was recorded does not count.
//
//go:noinline
func (j *Joint) doubt() string {
	return j.Name + " was joined outside its window, by the bench as it is known now; " + j.again() + ", then join it again"
}

// joinMet: a joint that was coated again is no longer joined.
func joinMet(_ *State, j *Job, stage steps.Stage, i int, _ time.Time, done bool) bool {
	joint, ok := j.JointOf(stage.Steps[i])
	return done && ok && joint.holds()
}

func joinForbids(s *State, j *Job, stage steps.Stage, i int, at time.Time) []Reason {
	return s.shut(j, stage.Steps[i], at)
}

func finishJoin(_ Finish, s *State, job *Job, step steps.Step, _ Circumstances) ([]journal.Facts, error) {
	return []journal.Facts{journal.Joined{Work: s.work(job, step), Joint: step.Joint, Load: step.Load}}, nil
}

func explainJoin(_ *State, r *StepReport, j *Job, at time.Time) {
	joint, ok := j.JointOf(r.Step)
	switch {
	case !ok:
	case joint.Doubted():
		r.Reopened = joint.doubt()
	default:
		r.closes(joint, at)
	}
}

// closes says when the window of a join closes that can be done, or once a person has
// removed what holds it back, and when a wet coat is touched again.
func (r *StepReport) closes(joint *Joint, at time.Time) {
	w := joint.Window()
	if !atHand(r) && (r.Progress != Waiting || at.Before(w.Opens) || joint.Lapsed(at) || !resolvable(r)) {
		return
	}
	r.Closes = w.Closes
	if joint.wet {
		r.Touch = joint.touched.Add(touchAgain)
	}
}

// coated reports whether the coat of a glue step is on and may still be pressed.
func (j *Job) coated(step steps.Step, at time.Time) bool {
	joint, ok := j.JointOf(step)
	return ok && joint.coatedBy(step.Name) && joint.Joined.IsZero() && !joint.Lapsed(at)
}

func glueForbids(s *State, j *Job, stage steps.Stage, i int, at time.Time) []Reason {
	if step := stage.Steps[i]; j.coated(step, at) {
		return s.shut(j, step, at)
	}
	return coatForbids(s, j, stage, i, at)
}

func explainGlue(s *State, r *StepReport, j *Job, at time.Time) {
	joint, ok := j.JointOf(r.Step)
	wet := slices.ContainsFunc(s.AdhesivesOf(j, r.Step, at), func(a AdhesiveReport) bool { return !a.Dries() })
	switch coated := ok && joint.coatedBy(r.Step.Name); {
	case r.Progress == Done:
	case coated && joint.Lapsed(at):
		r.Reopened = joint.lapse()
		if joint.Adhesive.Dries() {
			r.Act = ToRecoat
		}
	case !coated && !wet:
		r.Act = ToCoat
	case coated:
		r.Act = ToPress
		r.closes(joint, at)
	}
	s.explainBegun(r, j, at)
}

func waitMet(s *State, j *Job, stage steps.Stage, i int, at time.Time, done bool) bool {
	if done {
		return true
	}
	until, ok := s.waitEnds(j, stage, i, at)
	return ok && !at.Before(until)
}

func waitForbids(s *State, j *Job, stage steps.Stage, i int, at time.Time) []Reason {
	until, ok := s.waitEnds(j, stage, i, at)
	if !ok {
		return []Reason{{Because: ByDrying, Text: "the wait has not started yet"}}
	}
	return []Reason{{Because: ByDrying, Text: waitText(stage.Steps[i]), Until: until}}
}

// measureMet: a gate of the work is measured again where what comes before it was done
// again since, and a gate that was found not to be met, or was reworked, after its step
// was done opens the step again.
func measureMet(s *State, j *Job, stage steps.Stage, i int, at time.Time, done bool) bool {
	return done && s.failing(j, stage, i, at) == nil && !lists.ContainsFunc(stage.Steps[i].Gates, func(name string) bool {
		g, ok := s.Sheet.Gate(name)
		return ok && g.Work && s.doneBefore(j, stage.Steps[i]).position >= j.done[stage.Steps[i].Name].position
	})
}

// failing is the first gate of a measure step that was done which is not met by what was
// read or reworked since, while work is left that comes after the step, or that was
// disturbed since and would be measured while something stands otherwise, see
// [State.disturbedAfter]; nil: none. Else it is no matter of the step that work has disturbed a
// gate, nor is a gate of the work once the work has gone on.
func (s *State) failing(j *Job, stage steps.Stage, i int, at time.Time) *GateReport {
	done, ok := j.done[stage.Steps[i].Name]
	if !ok {
		return nil
	}
	if s.memo == nil || !lists.Contains(s.Jobs, j) {
		return s.failedSince(done, j, stage, i, at)
	}
	known, of := s.headsAt(at), jobStep{j, &stage.Steps[i]}
	known.Lock()
	is, asked := known.failing[of]
	known.Unlock()
	if !asked {
		is = s.failedSince(done, j, stage, i, at)
		known.Lock()
		known.failing[of] = is
		known.Unlock()
	}
	return is
}

func (s *State) failedSince(done completion, j *Job, stage steps.Stage, i int, at time.Time) *GateReport {
	step := stage.Steps[i]
	later := func(of steps.Step) bool { return j.done[of.Name].position > done.position }
	for _, name := range step.Gates {
		g, known := s.Sheet.Gate(name)
		record := s.gates[name]
		if !known || record == nil || !g.In(s.selected) || g.Work && slices.ContainsFunc(stage.Steps[i+1:], later) {
			continue
		}
		read := len(record.readings) > 0 && last(record.readings).position > done.position
		reworked := record.reworked > done.position
		if !read && !reworked || !j.workAfter(stage, i) {
			continue
		}
		from := moment{}
		if g.Work {
			from = s.readFrom(j, step, at)
		}
		r := s.reportFrom(g, from, at)
		if reworked && !r.Met() || r.Standing == Failed || r.Standing == Undecided {
			return &r
		}
	}
	return s.disturbedAfter(done, j, &step, at)
}

// workAfter reports whether work is left that comes after the step, in its stage or in
// those after it.
func (j *Job) workAfter(stage steps.Stage, i int) bool {
	left := func(work []steps.Step) bool {
		for k := range work { // by index: a step is large, and this is asked for every step
			if _, done := j.done[work[k].Name]; !done {
				if traits := work[k].Kind.Traits(); traits.Glues() || traits.Plain() {
					return true
				}
			}
		}
		return false
	}
	return left(stage.Steps[i+1:]) || slices.ContainsFunc(j.Procedure.Stages, func(of steps.Stage) bool {
		return of.Name != stage.Name && left(of.Steps) && lists.Contains(j.Procedure.Before(of.Name), stage.Name)
	})
}

func explainMeasure(s *State, r *StepReport, j *Job, at time.Time) {
	_, stage, _ := j.Procedure.Step(r.Step.Name)
	i := slices.IndexFunc(stage.Steps, func(of steps.Step) bool { return of.Name == r.Step.Name })
	if g := s.failing(j, stage, i, at); g != nil {
		r.Reopened = g.Gate.Name + " is " + g.Says().Text
	}
}

func measureForbids(s *State, j *Job, stage steps.Stage, i int, at time.Time) []Reason {
	var reasons []Reason
	var needs []steps.Setting
	for _, g := range s.GatesOf(j, stage.Steps[i], at) {
		reasons = append(reasons, s.unmeasurable(g, at)...)
		if !g.Met() { // else it does not matter: another gauge may have been used
			reasons = append(reasons, s.nothingToMeasure(g.Gate, at)...)
			reasons = append(reasons, s.barred(g.Gate.Gauge, at)...)
			needs = append(needs, s.NeedsOf(g.Gate, at)...)
		}
	}
	needs = without(needs, s.NeedsAt(j, stage.Steps[i], at))
	return slices.Concat(reasons, s.lacking(j, needs, at), s.harms(openCoat{}, "needs", needs, at))
}

func finishMeasure(_ Finish, s *State, job *Job, step steps.Step, c Circumstances) ([]journal.Facts, error) {
	if reasons := s.unmet(job, step, c.At); len(reasons) > 0 {
		return nil, &Refusal{What: step.Name, Reasons: reasons}
	}
	return justDone(Finish{}, s, job, step, c)
}

func finishHold(_ Finish, s *State, _ *Job, step steps.Step, _ Circumstances) ([]journal.Facts, error) {
	return nil, refuse(step.Name, ByHold, "it is a hold: confirm each line", s.remedy(Remedy{Kind: ToClear, Name: step.Name}))
}

// chooseMet: it may have been answered at registration, or by a command.
func chooseMet(s *State, j *Job, stage steps.Stage, i int, _ time.Time, _ bool) bool {
	return s.answered(j, stage.Steps[i])
}

func finishChoice(_ Finish, s *State, _ *Job, step steps.Step, _ Circumstances) ([]journal.Facts, error) {
	return nil, refuse(step.Name, ByState, "it is a choice: name the answer", s.remedy(Remedy{Kind: ToChoose, Names: step.Asked(s.Sheet).Names()}))
}

func releaseForbids(s *State, j *Job, _ steps.Stage, _ int, at time.Time) []Reason {
	return s.Proof(at, j).Reasons()
}

func finishRelease(_ Finish, s *State, _ *Job, step steps.Step, _ Circumstances) ([]journal.Facts, error) {
	return nil, refuse(step.Name, ByState, "only a person can release it", s.remedy(Remedy{Kind: ToRelease}))
}
