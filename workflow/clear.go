package workflow

import (
	"fmt"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// Clear records that every line of a hold was confirmed.
type Clear struct {
	Step    string
	Answers []bool   // one for each line
	Lines   []string // that were shown and answered; nil: those of now
	Thing   string   // which one is fitted, at a step that fits equipment, by its name
	Witness
}

func (r Clear) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	report, job, err := s.FindStep(r.Step, c.At)
	if err != nil {
		return nil, err
	}
	step := report.Step
	if !step.Kind.Traits().Confirms {
		return nil, bad("%s is not a hold", step.Name)
	}
	if err := r.Witness.fits(&step, c); err != nil {
		return nil, err
	}
	sets, again := s.Again(report, c.At)
	if again {
		if reasons := s.notAnew(report, job, c); len(reasons) > 0 {
			return nil, &Refusal{What: step.Name, Reasons: reasons}
		}
	} else if err := s.allowed(report, job, c); err != nil {
		return nil, err
	}
	if len(r.Answers) > len(step.Confirm) {
		return nil, bad("%s has %d lines, but there are %d answers", step.Name, len(step.Confirm), len(r.Answers))
	}
	if r.Lines != nil && !lists.Equal(r.Lines, step.Confirm) { // its job was moved meanwhile
		return nil, refuse(step.Name, ByHold, "its lines are no longer those that were answered", s.remedy(Remedy{Kind: ToClear, Name: step.Name}))
	}
	if reasons := unconfirmed(step.Confirm, r.Answers, s.remedy(Remedy{Kind: ToClear, Name: s.NameOf(job.ID, step.Name, c.At)})); len(reasons) > 0 {
		err = &Refusal{What: step.Name, Reasons: reasons}
	}
	if again {
		return r.anew(err, s, report, job, sets, c)
	}
	if err := s.withUnsaid(err, report, job, Finish{Thing: r.Thing, Witness: r.Witness}, c.At); err != nil {
		return nil, err
	}
	cleared, err := s.witnessed(r.Witness, job, step, []journal.Facts{journal.HoldCleared{Work: s.work(job, step), Lines: step.Confirm}}, c.At)
	if err != nil {
		return nil, err
	}
	if cleared, err = s.fits(r.Thing, job, step, cleared, c.At); err != nil {
		return nil, err
	}
	return append(s.waited(job, report.Stage, step.Name, c.At), s.retiring(job, step, cleared)...), nil
}

// anew is what a hold records that is cleared once more for what it sets: no step is over with it. What is not confirmed is an error
// already.
func (r Clear) anew(err error, s *State, report StepReport, job *Job, sets []steps.Setting, c Circumstances) ([]journal.Facts, error) {
	if report.Step.Fits = ""; r.Thing != "" {
		return nil, bad("%s is cleared once more, and nothing is fitted with that; leave out %s", report.Step.Name, r.Thing)
	}
	if err := s.withUnsaid(err, report, job, Finish{Witness: r.Witness}, c.At); err != nil {
		return nil, err
	}
	var facts []journal.Facts
	if report.Step.WantsSecond() {
		facts = append(facts, r.Witness.of(job, &report.Step))
	}
	facts = append(facts, journal.UseCleared{Of: report.Step.Name, Lines: report.Step.Confirm, Bench: c.Bench})
	for _, is := range sets {
		facts = append(facts, journal.ConditionSet{Setting: is})
	}
	return facts, nil
}

// unconfirmed gives a reason for each line without its own yes, and how to clear the hold.
func unconfirmed(lines []string, answers []bool, clear Remedy) []Reason {
	var reasons []Reason
	for i, line := range lines {
		if i >= len(answers) || !answers[i] {
			reasons = append(reasons, Reason{Because: ByHold, Text: fmt.Sprintf("line %d is not confirmed: %s", i+1, line), Remedy: clear})
		}
	}
	return reasons
}
