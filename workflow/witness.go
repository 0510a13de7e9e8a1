package workflow

import (
	"slices"
	"strings"
	"time"
	"unicode"

	"fettle/steps"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A Witness is the second person at a step that wants one, or which of the
// written ways was used instead.
type Witness struct {
	Second string // who it was
	Alone  int    // the way, from 1; 0: none
}

// fits refuses what can't be an answer at the step, however it stands.
func (w Witness) fits(step *steps.Step, c Circumstances) error {
	who, ways := strings.TrimSpace(w.Second), step.WaysAlone()
	switch {
	case w == Witness{}:
		return nil
	case !step.WantsSecond():
		return bad("%s does not ask for a second person", step.Name)
	case w.Second != "" && w.Alone != 0:
		return bad("%s takes the name of a second person or a way of doing it alone, not both", step.Name)
	case w.Second != "" && who == "":
		return bad("the name of the second person is empty")
	case len(who) > 200:
		return bad("the name of the second person is longer than 200 bytes")
	case who != seen(who):
		return bad("the name of the second person has a character that cannot be seen, or more than one space in a row")
	case strings.EqualFold(who, seen(c.By)):
		return bad("%s does %s; the second person must be somebody else", c.By, step.Name)
	case len(ways) > 0 && (w.Alone < 0 || w.Alone > len(ways)):
		return bad("%s has no way %d of doing it alone; give a number from 1 to %d", step.Name, w.Alone, len(ways))
	}
	return nil
}

// seen is what can be seen of a name: two that look alike are one person's.
func seen(name string) string {
	name = strings.Map(func(r rune) rune {
		if !unicode.IsGraphic(r) || unicode.Is(unicode.Variation_Selector, r) {
			return -1
		}
		return r
	}, name)
	return strings.Join(strings.Fields(name), " ")
}

// witnessed puts the witness in front of the fact that completes a step which
// wants one, and refuses the step without. The coat of a glue step completes
// nothing, and has none.
func (s *State) witnessed(w Witness, job *Job, step steps.Step, facts []journal.Facts, at time.Time) ([]journal.Facts, error) {
	completes := slices.IndexFunc(facts, func(f journal.Facts) bool { return f.Kind() == s.kinds[step.Kind].completed })
	switch {
	case !step.WantsSecond():
		return facts, nil
	case completes < 0 && w != Witness{}:
		return nil, bad("the coat of %s needs no second person; say who it was once the joint is pressed", step.Name)
	case completes < 0:
		return facts, nil
	}
	if reason := s.lacksSecond(w, job, step, at); reason != nil {
		return nil, &Refusal{What: step.Name, Reasons: []Reason{*reason}}
	}
	return sorting.Insert(facts, completes, w.of(job, &step)), nil
}

// of is what is recorded of the second person at the step.
func (w Witness) of(job *Job, step *steps.Step) journal.Facts {
	f := journal.Witnessed{Job: job.ID, Step: step.Name, Who: strings.TrimSpace(w.Second)}
	if w.Alone > 0 {
		f.Instead = step.WaysAlone()[w.Alone-1]
	}
	return f
}

// lacksSecond says that the step wants a second person, or what one alone does instead; nil:
// that is said, or it wants none.
func (s *State) lacksSecond(w Witness, job *Job, step steps.Step, at time.Time) *Reason {
	ways := step.WaysAlone()
	if !step.WantsSecond() || w.Second != "" || w.Alone > 0 && len(ways) > 0 {
		return nil
	}
	text := "it wants a second person"
	if len(ways) == 0 {
		text = "it wants a second person, and must not be done alone"
	}
	remedy := Remedy{Kind: ToNameSecond, Names: ways}
	if name := s.NameOf(job.ID, step.Name, at); step.Kind.Traits().Confirms {
		remedy.Name = name
	} else {
		remedy.Step = name
	}
	return &Reason{Because: ByState, Text: text, Remedy: s.remedy(remedy)}
}

// WitnessOf returns what stands of the second person before the entry that
// completes a step; false: nothing.
func (s *State) WitnessOf(completing int64) (journal.Witnessed, bool) {
	if completing == 0 {
		return journal.Witnessed{}, false
	}
	f, ok := s.Entries[completing-1].Facts.(journal.Witnessed)
	work, done := journal.WorkOf(s.Entries[completing].Facts)
	return f, ok && done && f.Job == work.Job && f.Step == work.Step
}

// whatWasWitnessed is the entry that the second person was there for.
func whatWasWitnessed(s *State, e journal.Entry) []int64 {
	if next := e.Position + 1; next < s.Size() {
		if _, ok := s.WitnessOf(next); ok {
			return []int64{next}
		}
	}
	return nil
}

// Completes reports whether the next act at the step completes it, when that is
// done with the adhesive: the coat of a glue step that dries first does not.
func (r *StepReport) Completes(with steps.Adhesive) bool {
	does := r.Step.Kind.Traits()
	return !does.Coats || !does.Joins || r.Act == ToPress || !with.Dries()
}
