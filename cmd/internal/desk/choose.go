package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/repair"
)

// sharedSteps is the procedure of the steps that every repair begins and ends with.
const sharedSteps = "safe"

// Answer answers a choice. Where that changes what a built airframe has, it opens
// the job that does the work.
func (d *Desk) Answer(ctx context.Context, s *workflow.State, r workflow.Choose, at time.Time) ([]journal.Entry, *workflow.State, error) {
	sheet, err := d.newest(ctx, s)
	if err != nil {
		return nil, nil, err
	}
	// What a newer sheet asks for may be answered before a job moves to it.
	if len(s.OpenJobs(d.Now())) == 0 || s.Unsettled(sheet.Sheet, r.Answer) {
		r.Sheet = sheet.Sheet
	}
	if !s.Fits(r, d.Now()) {
		return d.Act(ctx, s, r, at)
	}
	doc, err := d.fitter(s, sheet, r)
	if err != nil {
		return nil, nil, err
	}
	return d.open(ctx, s, doc, workflow.Start{}, at)
}

// unfit is an answer to a choice for which no job can be put together.
type unfit struct{ sheet, answer string }

//go:noinline
func (u unfit) refuse(format string, args ...any) error {
	text := fmt.Sprintf(format, args...) + fmt.Sprintf("; what is missing is a repair for %s with a step choose: %s", u.sheet, u.answer)
	return &workflow.Refusal{What: u.answer, Reasons: []workflow.Reason{{Because: workflow.ByState, Text: text}}}
}

// fitter is the document of a job that changes what an airframe has: a repair of
// the library that chooses the answer, or else one made of the build's steps.
func (d *Desk) fitter(s *workflow.State, sheet *procedures.Document, r workflow.Choose) (*procedures.Document, error) {
	for _, doc := range d.Library.Serving(sheet.Sheet) {
		p := doc.Procedure
		if p.Kind == steps.Repair && steps.AnyStep(p.Steps(), func(step *steps.Step) bool { return step.Choose == r.Answer }) {
			return doc, nil
		}
	}
	refuse := unfit{sheet.Sheet.Name, r.Answer}.refuse
	choice, _ := sheet.Sheet.Choice(r.Answer)
	has := s.Selection().Has
	if held := choice.Held(has); r.No || !choice.Alone {
		return nil, refuse("no document says how %s comes off", strings.Join(held, " and "))
	}
	build, err := d.builtBy(s)
	if err != nil || build == nil {
		return nil, refuse("no build says which steps it adds")
	}
	stage := func(name string) []steps.Step {
		doc, err := d.Library.Find(sharedSteps)
		if err != nil || doc.Procedure == nil {
			return nil
		}
		of, _ := doc.Procedure.Stage(name)
		if slices.ContainsFunc(of.Steps, func(step steps.Step) bool { return !nameable(step, sheet.Sheet) }) {
			return nil
		}
		return of.Steps
	}
	job, replaced := repair.Fit(build, choice.Answers[0], has, stage("first"), stage("air"), stage("last"))
	if len(replaced) > 0 {
		return nil, refuse("it takes the place of what these steps of %s made, and no document says how that comes off: %s", build.Name, strings.Join(replaced, ", "))
	}
	doc, err := procedures.Kept(job)
	if err == nil {
		if faults := doc.Against(sheet.Sheet); len(faults) > 0 {
			err = faults
		}
	}
	if err != nil {
		return nil, refuse("the steps that it adds to %s make no job by themselves (%v)", build.Name, err)
	}
	return doc, nil
}

// nameable reports whether the design has the conditions and the zones of a
// shared step: one without a motor has no propeller to take off.
func nameable(step steps.Step, sheet *steps.Sheet) bool {
	for _, set := range slices.Concat(step.Needs, step.Sets) {
		if _, ok := sheet.Condition(set.Condition); !ok && !lists.Contains(step.MayLack, set.Condition) {
			return false
		}
	}
	return !lists.ContainsFunc(step.Disturbs, func(zone string) bool { return !lists.Contains(sheet.Zones, zone) })
}

// builtBy is the build that the airframe was built by, as the library has it now;
// nil: none.
func (d *Desk) builtBy(s *workflow.State) (*steps.Procedure, error) {
	for _, j := range slices.Backward(s.Jobs) {
		if j.Procedure.Kind == steps.Build {
			doc, err := d.Library.Procedure(j.Procedure.Name)
			if err != nil {
				return nil, err
			}
			return doc.Procedure, nil
		}
	}
	return nil, nil
}
