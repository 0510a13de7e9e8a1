package steps

import (
	"slices"

	"fettle/steps/lists"
)

// A Use is an adhesive or a tool, by what it asks of the steps that use it.
type Use struct {
	Name, Title string
	Care
	Measure []string // gates of the work that must have passed in the sitting
}

// Use returns the adhesive or the tool of that name.
func (s *Sheet) Use(name string) (Use, bool) {
	if a, ok := s.Adhesive(name); ok {
		return Use{Name: a.Name, Title: a.Title, Care: a.Care}, true
	}
	if t, ok := s.Tool(name); ok {
		return Use{Name: t.Name, Title: t.Title, Care: t.Care, Measure: t.Measure}, true
	}
	return Use{}, false
}

// UsesOf are what a step is done with: adhesives, which the caller knows, and
// the step's tools. What the sheet does not have asks for nothing.
func (s *Sheet) UsesOf(step Step, adhesives ...string) []Use {
	var uses []Use
	for _, name := range lists.Concat(adhesives, step.Tools) {
		if u, ok := s.Use(name); ok {
			uses = append(uses, u)
		}
	}
	return uses
}

// Readies reports whether the step makes the use ready, or puts it away: it sets
// a condition that the use needs. A step that heats an iron can't need it hot.
//
//go:noinline
func (u Use) Readies(step Step) bool {
	return AnySetting(u.Needs, func(n Setting) bool { return setBy(step, n.Condition) })
}

// NeedsAt are the conditions that the use adds to those of the step.
func (u Use) NeedsAt(step Step) []Setting {
	var needs []Setting
	for _, n := range u.Needs {
		if !lists.Contains(step.Needs, n) && !setBy(step, n.Condition) {
			needs = append(needs, n)
		}
	}
	return needs
}

func setBy(step Step, condition string) bool {
	return AnySetting(step.Sets, func(s Setting) bool { return s.Condition == condition })
}

// AnySetting reports whether any of the settings is such.
// It is not inlined: its copies in all callers would take 4 KB, and so it is with [AnyStep].
//
//go:noinline
func AnySetting(all []Setting, such func(Setting) bool) bool { return slices.ContainsFunc(all, such) }

// AnyStep reports whether any of the steps is such.
//
//go:noinline
func AnyStep(all []*Step, such func(*Step) bool) bool { return slices.ContainsFunc(all, such) }
