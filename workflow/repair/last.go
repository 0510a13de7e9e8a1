package repair

import (
	"fmt"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
)

// measureLast has the plan measure what is stale after all work that disturbs
// something: what was measured before it would be stale again.
func measureLast(p *steps.Procedure) {
	stage, step := -1, -1
	for i := range p.Stages {
		for k, s := range p.Stages[i].Steps {
			if measuresStale(s) {
				stage, step = i, k
			}
		}
	}
	if stage >= 0 && !workAfter(p, stage, step) {
		return
	}
	last := steps.Step{
		Name: free(p, "measure-what-is-stale"), Title: "Measure what the repair disturbed", Kind: steps.Measure, Gates: []string{steps.Stale},
		Do: "Measure every gate that is shown.", Why: "What was disturbed is not known to be straight any more.",
	}
	if stage >= 0 && step == len(p.Stages[stage].Steps)-1 && step > 0 {
		last = p.Stages[stage].Steps[step] // nothing of its repair comes after it
		p.Stages[stage].Steps = p.Stages[stage].Steps[:step]
	}
	p.Stages = append(p.Stages, steps.Stage{Name: freeStage(p, "measure-again"), Title: "Measure again", After: namesOf(p.Stages), Phase: steps.Recheck, Steps: []steps.Step{last}})
}

func measuresStale(s steps.Step) bool { return lists.Contains(s.Gates, steps.Stale) }

// workAfter reports whether something may be disturbed after the step.
func workAfter(p *steps.Procedure, stage, step int) bool {
	earlier := p.Before(p.Stages[stage].Name)
	for i, other := range p.Stages {
		if lists.Contains(earlier, other.Name) {
			continue
		}
		for k, s := range other.Steps {
			if (i != stage || k > step) && (len(s.Disturbs) > 0 || s.Kind.Traits().Glues()) {
				return true
			}
		}
	}
	return false
}

//go:noinline
func free(p *steps.Procedure, name string) string {
	return numbered(name, func(name string) bool {
		_, _, taken := p.Step(name)
		return taken
	})
}

//go:noinline
func freeStage(p *steps.Procedure, name string) string {
	return numbered(name, func(name string) bool {
		_, taken := p.Stage(name)
		return taken
	})
}

// longest is how long a name of a document may be.
const longest = 60

// numbered is the name, cut to what a name may be long, with a number where it
// is taken.
func numbered(name string, taken func(string) bool) string {
	cut := func(most int) string { return strings.TrimRight(name[:min(most, len(name))], "-") }
	is := cut(longest)
	for n := 2; taken(is); n++ {
		number := fmt.Sprintf("-%d", n)
		is = cut(longest-len(number)) + number
	}
	return is
}

func namesOf(stages []steps.Stage) []string {
	var names []string
	for _, s := range stages {
		names = append(names, s.Name)
	}
	return names
}
