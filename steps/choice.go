package steps

import (
	"slices"

	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// No is the answer that an airframe does not get an option.
const No = "no"

// A Choice is what is chosen of an airframe, or for one job: exactly one of the
// answers.
type Choice struct {
	Name    string
	Answers []Option
	// Alone: it is a plain option, which an airframe gets or not. Its one answer
	// has its name; the other is No.
	Alone bool
}

// Choices are the choices of the sheet, in the order written. A plain option is a
// choice by itself.
func (s *Sheet) Choices() []Choice {
	var all []Choice
	for _, o := range s.Options {
		switch i := slices.IndexFunc(all, func(c Choice) bool { return !c.Alone && c.Name == o.Choice }); {
		case o.Choice == "":
			all = append(all, Choice{o.Name, []Option{o}, true})
		case i < 0:
			all = append(all, Choice{o.Choice, []Option{o}, false})
		default:
			all[i].Answers = append(all[i].Answers, o)
		}
	}
	return all
}

// Choice returns the choice of that name, or the one that has an answer of that
// name.
func (s *Sheet) Choice(name string) (Choice, bool) {
	return find(s.Choices(), func(c Choice) bool { return c.Name == name || lists.Contains(c.Names(), name) })
}

// Names are the names of the answers.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func (c Choice) Names() []string {
	names := make([]string, len(c.Answers))
	for i, a := range c.Answers {
		names[i] = a.Name
	}
	return names
}

// Answer returns the answer of that name.
func (c Choice) Answer(name string) (Option, bool) {
	return find(c.Answers, func(o Option) bool { return o.Name == name })
}

// Held are the answers that are among the options.
func (c Choice) Held(options []string) []string {
	return sorting.Delete(c.Names(), func(name string) bool { return !lists.Contains(options, name) })
}

// Asked is what a choose step asks for on an airframe of the sheet: a choice, the
// methods that it brings itself, or the one answer that it sets.
func (s *Step) Asked(sheet *Sheet) Choice {
	if len(s.Methods) > 0 {
		return Choice{Name: s.Name, Answers: s.Methods}
	}
	c, _ := sheet.Choice(s.Choose)
	if answer, ok := c.Answer(s.Choose); ok && !c.Alone {
		c.Answers = []Option{answer}
	}
	return c
}

// Asks reports whether the step asks for one of the answers of a choice, and does
// not set one.
func (c Choice) Asks() bool { return c.Alone || len(c.Answers) > 1 }

// Covers reports whether the names are all answers of the choice: whoever names
// them says nothing.
func (c Choice) Covers(names []string) bool {
	return c.Asks() && !c.Alone && !lists.ContainsFunc(c.Names(), func(a string) bool { return !lists.Contains(names, a) })
}
