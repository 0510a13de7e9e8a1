package repair

import (
	"slices"

	"fettle/steps"
)

// A buildup is what a build says of the zones that it makes: with which stages,
// and resting on what.
type buildup struct {
	build *steps.Procedure
	made  []steps.Made
	first map[string]string // of each zone, the stage that makes it first
}

func buildupOf(build *steps.Procedure) buildup {
	b := buildup{build: build, made: build.Made(), first: map[string]string{}}
	for _, stage := range build.Stages {
		for _, step := range stage.Steps {
			for _, m := range step.Makes {
				if b.first[m.Zone] == "" {
					b.first[m.Zone] = stage.Name
				}
			}
		}
	}
	return b
}

// on are the zones that the zone rests on.
func (b buildup) on(zone string) []string {
	i := slices.IndexFunc(b.made, func(m steps.Made) bool { return m.Zone == zone })
	if i < 0 {
		return nil
	}
	return b.made[i].On
}

// inPlace reports whether the zone is made where it rests: in the stage of the
// other one, or after it. Else both are made side by side, and are seated on each
// other later.
func (b buildup) inPlace(zone, on string) bool {
	mine, its := b.first[zone], b.first[on]
	return mine == its || slices.Contains(b.build.Before(mine), its)
}

// seated reports whether one of two zones, made side by side, rests on the other.
func (b buildup) seated(one, other string) bool {
	rests := func(zone, on string) bool { return slices.Contains(b.on(zone), on) && !b.inPlace(zone, on) }
	return rests(one, other) || rests(other, one)
}

// A Seam is a glued joint by which a zone is seated on another one that was made
// beside it: the step that joins it, and the zones that it holds.
type Seam struct {
	Step  steps.Step
	Zones []string
}

// Seams are the seams of a build, in its order.
func Seams(build *steps.Procedure) []Seam {
	b := buildupOf(build)
	var all []Seam
	for _, step := range build.Steps() {
		if !step.Kind.Traits().Joins {
			continue
		}
		zones := build.HeldBy(step.Joint)
		for i, zone := range zones {
			if slices.ContainsFunc(zones[i+1:], func(other string) bool { return b.seated(zone, other) }) {
				all = append(all, Seam{step, zones})
				break
			}
		}
	}
	return all
}
