package repair

import (
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
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
	seats := build.SeatsMade()
	var all []Seam
	for _, stage := range build.Stages {
		for k := range stage.Steps { // by index, because a step is large
			step := &stage.Steps[k]
			if !step.Kind.Traits().Joins {
				continue
			}
			zones := build.HeldBy(step.Joint)
			holds := func(seat steps.Seat) bool {
				return lists.Contains(zones, seat.Zone) && lists.Contains(zones, seat.On)
			}
			if step.Apart != "" && len(zones) > 0 || slices.ContainsFunc(seats, holds) {
				all = append(all, Seam{*step, zones})
			}
		}
	}
	return all
}
