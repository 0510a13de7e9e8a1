package repair

import (
	"slices"

	"fettle/steps"
)

// A Seam is a glued joint by which a zone is seated on another one that was made
// beside it, or one that can be parted: the step that joins it, and the zones that it
// holds.
type Seam struct {
	Step  steps.Step
	Zones []string
}

// Seams are the seams of a build, in its order.
func Seams(build *steps.Procedure) []Seam {
	made := build.Made()
	var all []Seam
	for _, stage := range build.Stages {
		for k := range stage.Steps { // by index, because a step is large
			step := &stage.Steps[k]
			if !step.Kind.Traits().Joins {
				continue
			}
			zones := build.HeldBy(step.Joint)
			for i, zone := range zones {
				if step.Apart != "" || slices.ContainsFunc(zones[i+1:], func(other string) bool { return seated(build, made, zone, other) }) {
					all = append(all, Seam{*step, zones})
					break
				}
			}
		}
	}
	return all
}

// seated reports whether one of two zones was made beside the other, and is seated on
// it.
func seated(build *steps.Procedure, made steps.Making, one, other string) bool {
	sits := func(zone, on string) bool { return slices.Contains(made.On(zone), on) && build.Apart(zone, on) }
	return sits(one, other) || sits(other, one)
}
