package repair

import (
	"fmt"
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// Fit composes the job that fits an option to a built airframe: the steps of its
// build that the option adds, in their order, between the first and the last steps
// that repairs share. The first of its own sets the option. Replaced are the steps
// of the build that are there only without it: somebody must say how their work
// comes off, which this job doesn't. What is measured in a state that only the last
// steps bring about again is measured there.
func Fit(build *steps.Procedure, option steps.Option, has []string, first, air, last []steps.Step) (job *steps.Procedure, replaced []string) {
	without := steps.Selection{Has: lists.Clone(has)}
	for _, s := range build.Steps() { // whichever of them was chosen
		for _, m := range s.Methods {
			without.Has = append(without.Has, m.Name)
		}
	}
	with := steps.Selection{Has: append(lists.Clone(without.Has), option.Name)}
	for _, s := range build.Steps() {
		if s.In(without) && !s.In(with) {
			replaced = append(replaced, s.Name)
		}
	}
	added := *build
	added.Stages = nil
	glues := false
	for _, stage := range build.Stages {
		stage.Steps = sorting.Delete(slices.Clone(stage.Steps), func(s steps.Step) bool {
			return s.In(without) || !s.In(with) || s.Kind.Traits().Measures && waits(s, first, last)
		})
		for i := range stage.Steps {
			stage.Steps[i].Was, stage.Steps[i].Shared, stage.Steps[i].Makes = "", false, nil
			glues = glues || stage.Steps[i].Kind.Traits().Glues()
		}
		added.Stages = append(added.Stages, stage)
	}
	out := added.For(with, "") // stages that nothing is left of are stepped over
	*out = steps.Procedure{
		Name: numbered("fit-"+option.Name, func(string) bool { return false }), Kind: steps.Repair, Design: build.Design, Revision: build.Revision,
		Title: "Fit: " + option.Title, Stages: out.Stages,
		About: fmt.Sprintf("The steps of %s that this option adds, between those that every repair begins and ends with.", build.Name),
	}
	own := func(of []steps.Step) []steps.Step {
		var all []steps.Step
		for _, s := range of {
			s.Shared, s.Was, s.Name = false, "", free(out, s.Name)
			all = append(all, s)
		}
		return all
	}
	begin := steps.Stage{Name: freeStage(out, "safe"), Title: "Before anything is touched", Steps: own(first)}
	if glues {
		begin.Steps = append(begin.Steps, own(air)...)
	}
	begin.Steps = append(begin.Steps, steps.Step{
		Name: free(out, "choose-"+option.Name), Title: "Fit it or not: " + option.Title, Kind: steps.Choose, Choose: option.Name,
		Do: "Once this is chosen, the airframe has it: the steps that fit it follow, and the gates that go with it must pass before it flies.",
	})
	for i := range out.Stages {
		out.Stages[i].Phase = ""
		out.Stages[i].After = append(lists.Clone(out.Stages[i].After), begin.Name)
	}
	out.Stages = append([]steps.Stage{begin}, out.Stages...)
	if len(last) > 0 {
		end := steps.Stage{Name: freeStage(out, "last"), Title: "When all work is done", After: namesOf(out.Stages), Steps: own(last)}
		out.Stages = append(out.Stages, end)
	}
	measureLast(out)
	return out, replaced
}

// waits reports whether the step needs a state that the first steps end and the
// last ones bring about again.
func waits(s steps.Step, first, last []steps.Step) bool {
	sets := func(of []steps.Step, is func(steps.Setting) bool) bool {
		return slices.ContainsFunc(of, func(s steps.Step) bool { return slices.ContainsFunc(s.Sets, is) })
	}
	return steps.AnySetting(s.Needs, func(need steps.Setting) bool {
		ends := func(set steps.Setting) bool { return set.Condition == need.Condition && set.State != need.State }
		return sets(first, ends) && sets(last, func(set steps.Setting) bool { return set == need })
	})
}
