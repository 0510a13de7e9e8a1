package procedures

import (
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
)

// needsInOrder finds steps that need a condition in a state which only later
// steps bring about, after an earlier one has brought about another: a
// propeller that is needed on before the step that fits it. Where no step sets
// the state, the builder brings it about, and where it stands as it was found,
// it may be so already: of these nothing is said.
func (d *Document) needsInOrder(v variant) Faults {
	return d.neededInOrder(v, func(s *steps.Step) []wanted {
		var all []wanted
		for _, n := range s.Needs {
			all = append(all, wanted{"it", n})
		}
		return all
	})
}

// usesInOrder finds the same of what the adhesives and the tools of the steps
// need.
func (d *Document) usesInOrder(v variant, sheet *steps.Sheet) Faults {
	return d.neededInOrder(v, func(s *steps.Step) []wanted {
		var all []wanted
		for _, u := range sheet.UsesOf(*s, v.adhesivesOf(s)...) {
			for _, n := range u.NeedsAt(*s) {
				all = append(all, wanted{"the step " + s.Name + " uses " + u.Name + ", which", n})
			}
		}
		return all
	})
}

// adhesivesOf are what a step spreads or presses together.
func (v variant) adhesivesOf(s *steps.Step) []string {
	if !s.Kind.Traits().Glues() {
		return nil
	}
	var names []string
	for _, c := range v.at(coats, s.Joint) {
		names = append(names, c.Adhesives...)
	}
	slices.Sort(names)
	return lists.Compact(names)
}

// A wanted is a condition, and the words for who needs or sets it.
type wanted struct {
	who string
	steps.Setting
}

// neededInOrder finds needs that only later steps bring about.
func (d *Document) neededInOrder(v variant, needs func(*steps.Step) []wanted) Faults {
	if v.doubts.order || v.doubts.steps || len(v.twice) > 0 {
		return nil
	}
	setters := map[steps.Setting][]string{}
	states := map[string][]string{} // of the conditions, those that are set
	for _, s := range v.steps {
		for _, set := range s.Sets {
			if setters[set] == nil {
				states[set.Condition] = append(states[set.Condition], set.State)
			}
			if len(setters[set]) <= mostSetters {
				setters[set] = append(setters[set], s.Name)
			}
		}
	}
	var faults Faults
	for _, s := range v.steps {
		for _, need := range needs(s) {
			sets := setters[need.Setting]
			notLater := func(name string) bool { return !v.before(s.Name, name) }
			if len(sets) == 0 || len(sets) > mostSetters || lists.ContainsFunc(sets, notLater) {
				continue
			}
			if undone := undoneBefore(v, s, need.Setting, setters, states[need.Condition]); undone != "" {
				d.complain(s, &faults)("", "%s needs %s, which the step %s sets after it; before it, %s sets another state%s", need.who, need.Setting, sets[0], undone, v.when())
			}
		}
	}
	return faults
}

// mostSetters bounds the work: where so many steps set one state, nothing is
// said of it.
const mostSetters = 20

// undoneBefore is a step before the one at hand that sets the condition to
// another state than the one it needs, "" if there is none.
func undoneBefore(v variant, s *steps.Step, need steps.Setting, setters map[steps.Setting][]string, states []string) string {
	for _, state := range states {
		if state == need.State {
			continue
		}
		for _, name := range setters[steps.Setting{Condition: need.Condition, State: state}] {
			if v.before(name, s.Name) {
				return name
			}
		}
	}
	return ""
}

// harming finds steps that may come while a coat is open whose adhesive needs a
// condition otherwise than they set or need it. The bench refuses them there: of
// one that is done beside it that is a note, once for each stage and joint. One that
// comes between the coat and its join can never be done, which is a fault.
func (d *Document) harming(sheet *steps.Sheet) (faults, notes Faults) {
	said := map[[2]string]bool{}
	o := d.order()
	for _, has := range covering(d.variantsOn(sheet)) {
		v := o.variantOf(has)
		for _, coat := range v.steps {
			if !coat.Kind.Traits().Coats {
				continue
			}
			for _, join := range v.at(joins, coat.Joint) {
				if v.part[join] != v.part[coat] {
					continue
				}
				for _, s := range v.steps {
					if s == coat || s == join || v.before(s.Name, coat.Name) || v.before(join.Name, s.Name) {
						continue
					}
					between := v.before(coat.Name, s.Name) && v.before(s.Name, join.Name)
					of := [2]string{v.stages[v.stageOf[s.Name]].Name, coat.Joint}
					if between {
						of = [2]string{"step " + s.Name, coat.Joint}
					}
					harms := v.harms(s, coat, coat == join, sheet)
					if len(harms) == 0 || said[of] {
						continue
					}
					said[of] = true
					at := d.places[stepAt(s.Name)]
					if between && len(harms) == len(coat.Adhesives) { // whichever is spread
						faults = d.also(faults, at, fmt.Sprintf("%s: it comes between that coat and its join, and can never be done; put it before the coat or after the join", harms[0])+v.when())
					} else {
						notes = append(notes, d.fault(at, fmt.Sprintf("%s: at the bench it waits until that is joined; put its stage before the coat or after the join", harms[0])+v.when()))
					}
				}
			}
		}
	}
	return faults, notes
}

// dryLate finds waits that end before a coat is dry at the coldest that its
// adhesive works at: in the cold the join after them can't be made in time.
func (d *Document) dryLate(sheet *steps.Sheet) Faults {
	var notes Faults
	said := map[string]bool{}
	o := d.order()
	for _, has := range covering(d.variantsOn(sheet)) {
		v := o.variantOf(has)
		for _, s := range v.steps {
			join := v.beside(s, 1)
			if s.By.IsZero() || said[s.Name] || join == nil || !join.Kind.Traits().Joins {
				continue
			}
			from := v.beside(s, -1)
			if s.From != "" {
				from = v.called(s.From)
			}
			if from == nil || from.Joint != join.Joint || !from.Kind.Traits().Coats {
				continue
			}
			by, _ := s.By.Duration()
			for _, name := range from.Adhesives {
				a, ok := sheet.Adhesive(name)
				cold, err := a.Coldest.Celsius()
				if !ok || err != nil || said[s.Name] {
					continue
				}
				if dry := a.Times.Least(a.Times.From, bond.Even(cold)); dry > by {
					said[s.Name] = true
					notes = append(notes, d.fault(d.places[stepAt(s.Name)], fmt.Sprintf("at %s, where %s still works, it is dry %d min after %s, and the step %s must be done within %s: so cold it never can be; end the wait later, or give the adhesive narrower works%s",
						a.Coldest, name, (dry+time.Minute-1)/time.Minute, from.Name, join.Name, s.By, v.when())))
				}
			}
		}
	}
	return notes
}

// harms says, once for each adhesive of a coat, what the step sets or needs against
// what that adhesive needs. A coat that is pressed in the same step is open only if it dries first.
func (v variant) harms(s, coat *steps.Step, atOnce bool, sheet *steps.Sheet) []string {
	var settings []wanted
	for _, set := range s.Sets {
		settings = append(settings, wanted{"sets", set})
	}
	for _, need := range s.Needs {
		settings = append(settings, wanted{"needs", need})
	}
	for _, u := range sheet.UsesOf(*s, v.adhesivesOf(s)...) {
		for _, need := range u.NeedsAt(*s) {
			settings = append(settings, wanted{"uses " + u.Name + ", which needs", need})
		}
	}
	for _, name := range s.Gates {
		if g, ok := sheet.Gate(name); ok && g.Applies(v.options) {
			for _, need := range g.Needs {
				settings = append(settings, wanted{"measures " + name + ", which needs", need})
			}
		}
	}
	var all []string
adhesives:
	for _, name := range coat.Adhesives {
		a, ok := sheet.Adhesive(name)
		if !ok || atOnce && !a.Dries() {
			continue
		}
		for _, need := range a.Needs {
			for _, set := range settings {
				if set.Condition == need.Condition && set.State != need.State {
					all = append(all, fmt.Sprintf("the step %s %s %s, and may come while the coat of %s on joint %s is open, which needs %s", s.Name, set.who, set.Setting, name, coat.Joint, need))
					continue adhesives
				}
			}
		}
	}
	return all
}
