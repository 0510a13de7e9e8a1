package workflow

import (
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
)

// This file knows which answers a plan is to go by: two that exclude each other are refused, and one that changes nothing is named.

// An MootAnswer is an answer, or an adhesive, that was to be considered and changes nothing in the plan.
type MootAnswer struct {
	Answer string `json:"answer"`
	Anyway bool   `json:"anyway,omitempty"`   // the plan goes by it without that
	Mark   string `json:"airframe,omitempty"` // whose record says already
	Has    string `json:"has,omitempty"`      // which it has; no: it does without
}

// excluding refuses two answers of one choice, and two adhesives of one step.
func (h Hours) excluding(s *State, j *Job) error {
	one := func(held []string, of string) error {
		if len(held) < 2 {
			return nil
		}
		return bad("%s and %s exclude each other in %s: consider one of them", held[0], held[1], of)
	}
	if j == nil {
		for _, c := range s.Sheet.Choices() {
			if err := one(c.Held(h.Consider), c.Name); err != nil && !c.Alone {
				return err
			}
		}
		return nil
	}
	for _, step := range j.written.Steps() {
		held := slices.DeleteFunc(slices.Clone(step.Adhesives), func(name string) bool { return !lists.Contains(h.Consider, name) })
		if len(step.Methods) > 0 {
			held = step.Asked(s.Sheet).Held(h.Consider)
		}
		if err := one(held, step.Name); err != nil {
			return err
		}
	}
	return nil
}

// considers refuses what of the answers excludes each other on any of the airframes.
func (c *scheduler) considers() error {
	for _, s := range c.fleet {
		for _, j := range append([]*Job{nil}, s.OpenJobs(c.now)...) {
			if err := c.h.excluding(s, j); err != nil {
				return err
			}
		}
	}
	return nil
}

// moot are the answers that change nothing.
func (c *scheduler) moot() (all []MootAnswer) {
	for i, name := range c.h.Consider {
		changes, used := c.heeded[name]
		if changes || lists.Contains(c.h.Consider[:i], name) {
			continue
		}
		is := MootAnswer{Answer: name, Anyway: used}
		for _, s := range c.fleet {
			if has := s.settledOn(name, s.OpenJobs(c.now)); !used && has != "" && is.Has == "" {
				is.Mark, is.Has = s.Airframe.Mark, has
			}
		}
		all = append(all, is)
	}
	return all
}

// settledOn is what the record has where the answer is one of several; "": it leaves that open, or nobody asks.
func (s *State) settledOn(answer string, open []*Job) string {
	for _, c := range s.Sheet.Choices() {
		if _, is := c.Answer(answer); !is {
			continue
		}
		if held := c.Held(s.selected.Has); len(held) > 0 {
			return held[0]
		}
		if s.chosen[c.Name] == steps.No {
			return steps.No
		}
	}
	for _, j := range open {
		for _, step := range j.written.Steps() {
			if _, is := step.Asked(s.Sheet).Answer(answer); is && j.methods[step.Name] != "" {
				return j.methods[step.Name]
			}
		}
	}
	return ""
}
