package repair

import (
	"fettle/steps"
	"fettle/steps/lists"
)

// An Amendment is an open plan of repair, and the one that takes its place when more
// damage is found.
type Amendment struct {
	Was, Is *steps.Procedure
	// WasFor and IsFor have the damages that each step is there for.
	WasFor, IsFor map[string][]string
	// Moved are the damages of the open plan that the new damage may have touched: on
	// its zone, on what rests on that, or on what carries it.
	Moved []string
	Done  func(step string) bool
	Holds func(steps.Setting) bool
}

// Reopens are the steps that are done and must be done again. Work stays done, and so
// do its joints, but what more damages ask for than when it was done is done for them
// too: of a part that is one a zone, all of it with its glue. Looked at and tested again
// is what the new damage may have touched; checked again at the end is all. A condition
// that no longer holds is set again, unless its stage has ended it. A wait begins again with what it counts from. Where a
// part is thrown away again, all work on the new one is done again.
func (a Amendment) Reopens() []string {
	again := map[string]bool{}
	var names, thrown []string // thrown: the damages whose part is thrown away again
	for _, stage := range a.Is.Stages {
		for i, step := range stage.Steps {
			anew := lists.ContainsFunc(a.IsFor[step.Name], func(d string) bool { return lists.Contains(thrown, d) })
			if anew || a.again(stage, step) || a.waits(stage, i, again) {
				if again[step.Name] = true; len(step.Retires) > 0 && a.Done(step.Name) {
					thrown = append(thrown, a.IsFor[step.Name]...)
				}
				if a.Done(step.Name) {
					names = append(names, step.Name)
				}
			}
		}
	}
	return names
}

func (a Amendment) again(stage steps.Stage, step steps.Step) bool {
	was, _, known := a.Was.Step(step.Name)
	if !known {
		return false // it is new
	}
	in := func(all []string) func(string) bool {
		return func(one string) bool { return !lists.Contains(all, one) }
	}
	is, moved := a.IsFor[step.Name], func(d string) bool { return lists.Contains(a.Moved, d) }
	does, more := step.Kind.Traits(), lists.ContainsFunc(is, in(a.WasFor[step.Name]))
	switch {
	case more:
		return true
	case does.Glues() || does.Passes && step.Joint != "":
		return false
	case stage.Phase == steps.Recheck, measuresStale(step),
		steps.AnySetting(step.Sets, func(set steps.Setting) bool { return !a.Holds(set) && !a.ended(stage, step, set.Condition) }),
		lists.ContainsFunc(step.Disturbs, in(was.Disturbs)):
		return true
	}
	return lists.ContainsFunc(is, moved) && (stage.Phase == steps.Look || does.Confirms && a.tests(stage, step))
}

// ended reports whether a later step of the stage that is done has set the condition anew: an
// iron was hot for the steps between, and a charger on.
func (a Amendment) ended(stage steps.Stage, step steps.Step, condition string) bool {
	later := false
	for i := range stage.Steps { // by index: a step is large
		of := &stage.Steps[i]
		if later && a.Done(of.Name) && steps.AnySetting(of.Sets, func(set steps.Setting) bool { return set.Condition == condition }) {
			return true
		}
		later = later || of.Name == step.Name
	}
	return false
}

// tests reports whether the step comes after joints of its damages.
func (a Amendment) tests(stage steps.Stage, step steps.Step) bool {
	for _, name := range append(a.Is.Before(stage.Name), stage.Name) {
		of, _ := a.Is.Stage(name)
		for _, s := range of.Steps {
			if s.Name == step.Name {
				break
			}
			if s.Kind.Traits().Joins && lists.ContainsFunc(a.IsFor[s.Name], func(d string) bool { return lists.Contains(a.IsFor[step.Name], d) }) {
				return true
			}
		}
	}
	return false
}

// waits reports whether the step is plain time that counts from one that is done again.
func (a Amendment) waits(stage steps.Stage, i int, again map[string]bool) bool {
	step := stage.Steps[i]
	if !step.Kind.Traits().Passes || step.Joint != "" {
		return false
	}
	return again[step.From] || step.From == "" && i > 0 && again[stage.Steps[i-1].Name]
}
