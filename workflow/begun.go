package workflow

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/workflow/journal"
)

// Begin records what begins a coat, as it happens: its adhesive is mixed, or spreading
// begins. Its clock runs from then on, whoever records that the coat is on.
type Begin struct {
	Step  string    // the step, or job/step
	With  string    // as in Finish
	Mixed time.Time // zero: it is not mixed now
	Began time.Time // zero: spreading does not begin now
}

func (r Begin) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	mixed, began := r.Mixed.UTC().Truncate(time.Second), r.Began.UTC().Truncate(time.Second)
	report, job, err := s.FindStep(r.Step, c.At)
	if err != nil {
		return nil, err
	}
	step := report.Step
	if !s.kinds[step.Kind].begins || report.Act == ToPress {
		return nil, bad("%s is not a coat; only a coat is begun before it is done", step.Name)
	}
	if err := s.allowed(report, job, c); err != nil {
		return nil, err
	}
	adhesive, err := s.adhesiveFor(Finish{With: r.With}, job, step, c.At)
	if err != nil {
		return nil, err
	}
	if step.Kind.Traits().Joins && !adhesive.Dries() && !adhesive.Times.Mixed {
		return nil, bad("%s grips while it is laid: each bead is pressed at once, and has no beginning to give", adhesive.Name)
	}
	f, before := journal.Begun{Job: job.ID, Step: step.Name, Adhesive: adhesive.Name}, job.begun[step.Name]
	if !r.Mixed.IsZero() {
		f.Mixed = &mixed
	}
	if !r.Began.IsZero() {
		f.Began = &began
	}
	switch {
	case f.Mixed == nil && f.Began == nil:
		return nil, bad("say when %s was mixed, or when spreading began", adhesive.Name)
	case mixed.After(c.At), began.After(c.At):
		return nil, bad("it can't have begun in the future")
	case f.Mixed != nil && !adhesive.Times.Mixed:
		return nil, bad("%s is not a two-part adhesive", adhesive.Name)
	case f.Mixed != nil && f.Began != nil && mixed.After(began), f.Mixed == nil && before.Adhesive == adhesive.Name && before.Mixed.After(began):
		return nil, bad("the adhesive can't have been mixed after the coat began")
	}
	return []journal.Facts{f}, nil
}

// A Begun is a coat that was begun and is not on yet.
type Begun struct {
	Adhesive      string
	Mixed, Spread time.Time // zero: that was not recorded
	Closes        time.Time // when the joint must be joined, by this coat
	By            string    // who began it; "" in a report: whoever looks

	climate bond.Climate
}

// runs reports whether what was begun can still be joined in time.
//
//go:noinline
func (b Begun) runs(at time.Time) bool { return b.Adhesive != "" && !at.After(b.Closes) }

// coat is the coat as it would be if it were on at the time.
func (b Begun) coat(at time.Time) bond.Coat {
	coat := bond.Coat{Began: b.Spread, Finished: at, Mixed: b.Mixed}
	if coat.Began.IsZero() {
		coat.Began = b.Mixed
	}
	return coat
}

func (s *State) begin(e journal.Entry) error {
	f := e.Facts.(journal.Begun)
	job, err := s.Job(f.Job)
	if err != nil {
		return err
	}
	b := job.begun[f.Step]
	if b.Adhesive != f.Adhesive {
		b = Begun{Adhesive: f.Adhesive}
	}
	b.By = e.By
	if f.Mixed != nil {
		if b.Mixed = *f.Mixed; b.Spread.Before(b.Mixed) { // that was of the batch before
			b.Spread = time.Time{}
		}
	}
	if f.Began != nil {
		b.Spread = *f.Began
	}
	job.begun[f.Step] = b
	return nil
}

// begunAt is what was begun of the coat of a step, if its adhesive may still be spread
// there.
func (s *State) begunAt(j *Job, step steps.Step, at time.Time) (Begun, bool) {
	b, ok := j.begun[step.Name]
	if !ok {
		return b, false
	}
	for _, name := range j.adhesives(step, at) {
		if adhesive, known := s.Sheet.Adhesive(name); known && name == b.Adhesive {
			coat := b.coat(at)
			b.climate = s.climateFor(adhesive, at)
			if read, known := s.benchAt(coat.Starts()); known {
				b.climate = b.climate.With(read.celsius)
			}
			b.Closes = adhesive.Times.Window([]bond.Coat{coat}, b.climate).Closes.Add(-j.off)
			return b, true
		}
	}
	return b, false
}

// begunOf names a coat that is begun and not on.
func begunOf(j *Job, step string) string { return j.ID + "/" + step }

// inHand are the coats that were begun at the time and are not on yet. What is not joined
// in time leaves its vapour, as a coat does that is on.
func (s *State) inHand(at time.Time) []openCoat {
	var all []openCoat
	for _, j := range s.OpenJobs(at) {
		for _, name := range slices.Sorted(maps.Keys(j.begun)) {
			step, _, known := j.Procedure.Step(name)
			if b, ok := s.begunAt(j, step, at); known && ok && !b.coat(at).Starts().After(at.Add(j.off)) {
				adhesive, _ := s.Sheet.Adhesive(b.Adhesive)
				if until := b.Closes.Add(adhesive.Times.Vapour + 2*j.off); !at.After(until) {
					all = append(all, openCoat{spread: begunOf(j, name), open: true, until: until, needs: adhesive.Needs,
						what: fmt.Sprintf("the open coat of %s that is being spread on joint %s", b.Adhesive, step.Joint)})
				}
			}
		}
	}
	return all
}

// begun fills in what was recorded as the coat was begun, where nobody says otherwise. A
// coat that was begun too long ago to be joined may be another one by now.
func (r Finish) begun(s *State, j *Job, report StepReport, at time.Time) (Finish, error) {
	step := report.Step
	b, ok := s.begunAt(j, step, at)
	if !ok || report.Act == ToPress || r.With != "" && r.With != b.Adhesive {
		return r, nil
	}
	late := at.After(b.Closes)
	if late && !r.Began.IsZero() {
		return r, nil // it was of another one
	}
	said := r
	r.With = b.Adhesive
	if r.Mixed.IsZero() && (r.Began.IsZero() || !b.Mixed.After(r.Began)) {
		r.Mixed = b.Mixed
	}
	if r.Began.IsZero() && !b.Spread.Before(r.Mixed) {
		r.Began = b.Spread
	}
	if adhesive, _ := s.Sheet.Adhesive(b.Adhesive); r.Began.IsZero() && said.Mixed.IsZero() && s.spread(j, step, adhesive, at).Before(r.Mixed) {
		r.Began = r.Mixed // it can't have been spread before
	}
	if late && (said.Mixed.IsZero() || !r.Began.IsZero()) {
		return r, refuse(step.Name, ByLapse, "its coat was begun too long ago to be joined", s.remedy(Remedy{Kind: ToSayBegan, Step: s.NameOf(j.ID, step.Name, at)}))
	}
	return r, nil
}

// explainBegun says what was begun of a coat that is to be put on.
func (s *State) explainBegun(r *StepReport, j *Job, at time.Time) {
	if r.Progress == Done || r.Act == ToPress {
		return
	}
	if b, ok := s.begunAt(j, r.Step, at); ok {
		if s.seat.By == "" || strings.EqualFold(b.By, s.seat.By) {
			b.By = ""
		}
		r.Begun = b
	}
}

// coating adds the clocks of coats that are begun and not on: of a joint that waits for
// them, to the clock that it has.
func (s *State) coating(timers []Timer, at time.Time) []Timer {
	for _, job := range s.Jobs {
		if len(job.begun) == 0 || !s.Open(job, at) {
			continue
		}
		for _, step := range job.Procedure.Steps() {
			b, ok := s.begunAt(job, *step, at)
			if !ok || at.After(b.Closes) {
				continue
			}
			t := Timer{Job: job.ID, Name: step.Joint, Joint: true, Phase: Coating, Began: b.coat(at).Starts(), Closes: b.Closes, Coldest: b.climate.Coldest, Warmest: b.climate.Warmest}
			i := slices.IndexFunc(timers, func(had Timer) bool {
				return had.Joint && had.Job == t.Job && had.Name == t.Name && (had.Phase == HalfCoated || had.Phase == Late || had.Phase == Coating)
			})
			switch {
			case i < 0:
				timers = append(timers, t)
			case timers[i].Phase == Late:
				timers[i] = t
			case t.Closes.Before(timers[i].Closes):
				timers[i].Closes = t.Closes
			}
		}
	}
	return timers
}
