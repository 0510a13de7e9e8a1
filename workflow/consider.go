package workflow

import (
	"slices"
	"time"

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

// asked are the choices of the sheet, and those of steps of the open jobs: of a method, or of an adhesive.
func (s *State) asked(now time.Time) []steps.Choice {
	all := s.Sheet.Choices()
	for _, j := range s.OpenJobs(now) {
		for _, step := range j.written.Steps() {
			is := steps.Choice{Name: step.Name, Answers: slices.Clip(step.Methods)}
			for _, name := range step.Adhesives {
				is.Answers = append(is.Answers, steps.Option{Name: name})
			}
			if len(is.Answers) > 0 {
				all = append(all, is)
			}
		}
	}
	return all
}

// considers refuses two answers of one choice on any of the airframes.
func (c *scheduler) considers() error {
	for _, s := range c.fleet {
		for _, choice := range s.asked(c.now) {
			if held := choice.Held(c.h.Consider); len(held) > 1 {
				return bad("%s and %s exclude each other in %s: consider one of them", held[0], held[1], choice.Name)
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
			if has := s.settledOn(name, c.now); !used && has != "" {
				is.Mark, is.Has = s.Airframe.Mark, has
				break
			}
		}
		all = append(all, is)
	}
	return all
}

// settledOn is what the record has where the answer is one of several; "": it leaves that open, or nobody asks.
func (s *State) settledOn(answer string, now time.Time) string {
	has := lists.Concat(s.selected.Has)
	for _, j := range s.OpenJobs(now) {
		has = append(has, s.selectionOf(j).Has...)
	}
	for _, choice := range s.asked(now) {
		if !lists.Contains(choice.Names(), answer) {
			continue
		}
		if held := choice.Held(has); len(held) > 0 {
			return held[0]
		}
		if s.chosen[choice.Name] == steps.No {
			return steps.No
		}
	}
	return ""
}
