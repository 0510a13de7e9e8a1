package procedures

import (
	"slices"

	"fettle/steps"
)

// needsInOrder finds steps that need a condition in a state which only later
// steps bring about, after an earlier one has brought about another: a
// propeller that is needed on before the step that fits it. Where no step sets
// the state, the builder brings it about, and where it stands as it was found,
// it may be so already: of these nothing is said.
func (d *Document) needsInOrder(v variant) Faults {
	if v.doubts.order || v.doubts.steps || len(v.twice) > 0 {
		return nil
	}
	type setter struct {
		step  *steps.Step
		state string
	}
	setters := map[string][]setter{}
	for _, s := range v.steps {
		for _, set := range s.Sets {
			setters[set.Condition] = append(setters[set.Condition], setter{s, set.State})
		}
	}
	var faults Faults
	for _, s := range v.steps {
		for _, need := range s.Needs {
			var sets, undoes []string
			for _, one := range setters[need.Condition] {
				if one.state == need.State {
					sets = append(sets, one.step.Name)
				} else if v.before(one.step.Name, s.Name) {
					undoes = append(undoes, one.step.Name)
				}
			}
			later := func(name string) bool { return v.before(s.Name, name) }
			if len(sets) == 0 || len(undoes) == 0 || slices.ContainsFunc(sets, func(name string) bool { return !later(name) }) {
				continue
			}
			d.complain(s, &faults)("it needs %s, which the step %s sets after it; before it, %s sets another state%s", need, sets[0], undoes[len(undoes)-1], v.when())
		}
	}
	return faults
}
