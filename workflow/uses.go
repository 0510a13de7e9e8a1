package workflow

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// UsesOf are the adhesives and the tools that a step is done with at the time: a
// join uses what its joint was coated with, and a coat may be of one of several.
func (s *State) UsesOf(j *Job, step steps.Step, at time.Time) []steps.Use {
	return s.Sheet.UsesOf(step, j.adhesives(step, at)...)
}

// adhesives are those that a step may spread, or that it presses together. A
// joint keeps the one that it has.
func (j *Job) adhesives(step steps.Step, at time.Time) []string {
	traits := step.Kind.Traits()
	if joint, ok := j.JointOf(step); ok && traits.Joins && !traits.Coats {
		return []string{joint.Adhesive.Name}
	}
	names := step.Adhesives
	for _, p := range j.Parts(step.Joint) {
		if !p.Lapsed(at) && lists.Contains(step.Adhesives, p.Adhesive.Name) {
			names = []string{p.Adhesive.Name}
		}
	}
	return names
}

// certain are the uses of a step but for adhesives of which one is still to be
// named: those are asked for what they need when it is.
func (s *State) certain(j *Job, step steps.Step, at time.Time) []steps.Use {
	if adhesives := j.adhesives(step, at); len(adhesives) == 1 {
		return s.Sheet.UsesOf(step, adhesives...)
	}
	return s.Sheet.UsesOf(step)
}

// OneOf are the adhesives of which one is still to be named for a step; nil: none is.
func (s *State) OneOf(j *Job, step steps.Step, at time.Time) []string {
	if names := j.adhesives(step, at); len(names) > 1 {
		return names
	}
	return nil
}

// NeedsAt are the conditions that a step needs at the time: its own, and those of
// what it is done with.
func (s *State) NeedsAt(j *Job, step steps.Step, at time.Time) []steps.Setting {
	needs := sorting.Delete(slices.Clone(step.Needs), func(n steps.Setting) bool { return step.Unasked(n.Condition, s.Sheet) })
	for _, u := range s.certain(j, step, at) {
		for _, n := range u.NeedsAt(step) {
			if !lists.Contains(needs, n) {
				needs = append(needs, n)
			}
		}
	}
	return needs
}

// unready says what is not so, and not confirmed, that one of several adhesives
// needs.
func (s *State) unready(adhesive string, step steps.Step, at time.Time) []Reason {
	var reasons []Reason
	for _, u := range s.Sheet.UsesOf(steps.Step{}, adhesive) {
		for _, n := range u.NeedsAt(step) {
			reasons = append(reasons, s.stands(n, at)...)
		}
		reasons = append(reasons, s.harms(openCoat{}, "needs", u.NeedsAt(step), at)...)
		reasons = append(reasons, s.uncleared(u, at)...)
	}
	return reasons
}

// An openCoat binds what is done beside it on this airframe, and on others of the same
// bench, by what its adhesive needs.
type openCoat struct {
	*Joint                 // nil: it is not on yet, or its vapour alone is left
	spread string          // the step that spreads it, with its job; "": it is on
	open   bool            // false: its vapour alone is left
	what   string          // in words
	until  time.Time       // then nothing is left of it
	needs  []steps.Setting // of its adhesive; on another airframe those that are of the bench
}

// openCoats are those that are being spread at the time, or are on and open, or of which
// the vapour still hangs.
func (s *State) openCoats(at time.Time) []openCoat {
	all := s.coatsOn(at)
	for _, other := range s.others {
		for _, c := range other.coatsOn(at) {
			c.Joint, c.spread, c.what = nil, "", c.what+" of "+other.Airframe.Mark
			c.needs = sorting.Delete(slices.Clone(c.needs), func(n steps.Setting) bool { return !s.ofBench(n.Condition) })
			if len(c.needs) > 0 {
				all = append(all, c)
			}
		}
	}
	return all
}

// coatsOn are the open coats of this airframe. Those on a part that was thrown away have
// their vapour all the same.
func (s *State) coatsOn(at time.Time) []openCoat {
	all := s.inHand(at)
	for _, job := range append(s.Jobs[:len(s.Jobs):len(s.Jobs)], s.reworks) {
		for _, name := range slices.Sorted(maps.Keys(job.joints)) {
			for _, j := range job.Parts(name) {
				until, open := j.openUntil(at)
				gone := j.airClears(at)
				switch where := j.Adhesive.Name + " on joint " + name; {
				case open && !j.gone:
					all = append(all, openCoat{Joint: j, open: true, what: "the open coat of " + where, until: latest(until, gone), needs: j.Adhesive.Needs})
				case at.Before(gone):
					all = append(all, openCoat{what: "the vapour of " + where, until: gone, needs: j.Adhesive.Needs})
				}
			}
		}
	}
	return all
}

//go:noinline
func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// harms says which open coats would be harmed by settings: their
// adhesive needs one of the conditions otherwise. What spreads a coat or joins its joint
// does its own coat no harm. How is what does it: it needs the settings, or sets them.
func (s *State) harms(own openCoat, how string, settings []steps.Setting, at time.Time) []Reason {
	if len(settings) == 0 {
		return nil
	}
	var reasons []Reason
	coats := s.openCoats(at)
	for _, set := range settings {
		for _, coat := range coats {
			if coat.Joint != nil && coat.Joint == own.Joint || coat.spread != "" && coat.spread == own.spread {
				continue
			}
			for _, need := range coat.needs {
				if need.Condition == set.Condition && need.State != set.State {
					text := fmt.Sprintf("it %s %s, but %s needs %s", how, set, coat.what, need)
					if coat.open {
						text += "; join it first, or let it lapse"
					}
					reasons = append(reasons, Reason{Because: ByDrying, Until: coat.until, Text: text})
				}
			}
		}
	}
	return reasons
}

// A Harm is what an open coat needs and the journal says otherwise.
type Harm struct {
	Coat   string // what of the adhesive is there, and where, in words
	Need   steps.Setting
	State  string // of the condition, as is said
	By     string // whose journal says so, in words
	Remedy Remedy
}

// Harms returns what is said at the time against the needs of open coats of the
// airframe, and of others on the bench.
func (s *State) Harms(at time.Time) []Harm {
	var harms []Harm
	for _, coat := range s.openCoats(at) {
		for _, need := range coat.needs {
			if state := s.Holds(need.Condition, at); state != "" && state != need.State {
				harms = append(harms, Harm{coat.what, need, state, s.sayer(need.Condition, at), s.remedy(Remedy{Kind: ToSetCondition, Setting: need})})
			}
		}
	}
	return harms
}

// careless says what is not confirmed and not measured yet of what a step is done
// with.
func (s *State) careless(j *Job, step steps.Step, at time.Time) []Reason {
	var reasons []Reason
	for _, u := range s.certain(j, step, at) {
		reasons = append(reasons, s.uncleared(u, at)...)
		if u.Readies(step) {
			continue
		}
		for _, name := range u.Measure {
			g, ok := s.Sheet.Gate(name)
			if lists.Contains(step.Gates, name) || !g.Work && step.AsksFor(name) { // nothing makes a gate of the work stale
				continue
			}
			if ok && g.In(s.Selection()) {
				reasons = append(reasons, s.unmeasuredFor(u, g, at)...)
			}
		}
	}
	return reasons
}

// uncleared says that the hold of an adhesive or a tool was not cleared in this
// sitting, or with other lines than it has now. It is asked before every use, in
// whatever procedure.
func (s *State) uncleared(u steps.Use, at time.Time) []Reason {
	if len(u.Hold) == 0 || s.Cleared(u, at) {
		return nil
	}
	text := "the hold of " + u.Name + " has not been cleared " + thisSitting
	if s.clearedByAny(u, at) {
		text += " by " + heldAt(s.seat.held()) + ", only by " + heldAt(s.lastSaid(heldBy(u.Name), at).by)
	}
	return []Reason{{Because: ByHold, Text: text, Remedy: s.remedy(Remedy{Kind: ToClearUse, Name: u.Name})}}
}

// unmeasuredFor says that a gate of the work was not passed in this sitting,
// which must be before the tool is used. What was read before the tool was as it
// must be, or before it was so again, says nothing of it now.
func (s *State) unmeasuredFor(u steps.Use, g steps.Gate, at time.Time) []Reason {
	from := moment{position: -1, at: at.Add(-SittingLength), what: thisSitting}
	for _, need := range u.Needs {
		since := s.standsSince(need, at)
		from.position = max(from.position, s.enteredBy(since))
		if since.at.After(from.at) {
			from.at, from.what = since.at, "since "+need.String()+" was confirmed"
		}
	}
	r := s.reportFrom(g, from, at)
	if r.Met() {
		return nil
	}
	return []Reason{{Because: ByGate, Text: u.Name + " is used once " + g.Name + " has passed " + thisSitting + "; it is " + r.Says().Text, At: r.Says().At, Remedy: s.ToMeet(r, at)}}
}

// standsSince is the first statement of a condition at the time after which nothing
// says otherwise or makes it unknown; zero: nobody said it, and the condition
// itself is asked for.
func (s *State) standsSince(need steps.Setting, at time.Time) said {
	first := said{position: -1}
	breaks := slices.Concat(s.voided[need.Condition], s.voidedAll, s.ended)
	for _, c := range s.said[need.Condition] {
		broken := func(v said) bool {
			return v.enteredAfter(first) && c.enteredAfter(v) || v.at.After(first.at) && !v.at.After(c.at)
		}
		switch {
		case c.at.After(at):
			return first
		case c.state != need.State:
			first = said{position: -1}
		case first.position < 0 || slices.ContainsFunc(breaks, broken):
			first = c
		}
	}
	return first
}

// Cleared reports whether the lines that the use holds now were confirmed in the
// sitting of that time, by whoever looks and at their bench: what one person wears, and
// what lies on one bench, protects nobody else. Where nobody looks it was by anybody.
func (s *State) Cleared(u steps.Use, at time.Time) bool {
	if s.seat.is(&Seat{}) || !s.clearedByAny(u, at) {
		return s.clearedByAny(u, at)
	}
	var own []said
	for _, c := range s.said[heldBy(u.Name)] {
		if s.seat.hasHeld(c.by) {
			own = append(own, c)
		}
	}
	c := s.lastOf(own, heldBy(u.Name), at)
	return at.Sub(c.at) <= SittingLength && c.state == strings.Join(u.Hold, "\n")
}

// clearedByAny is Cleared by anybody, at any bench.
func (s *State) clearedByAny(u steps.Use, at time.Time) bool {
	return s.inSitting(heldBy(u.Name), at) == strings.Join(u.Hold, "\n")
}

// heldBy is what the hold of a use is called among the conditions, which it
// stands and lapses like. No condition can have such a name.
func heldBy(use string) string { return "hold of " + use }

func useSets(f journal.Facts) []steps.Setting {
	cleared := f.(journal.UseCleared)
	return []steps.Setting{{Condition: heldBy(cleared.Of), State: strings.Join(cleared.Lines, "\n")}}
}

// UsedLately reports whether a step was done with it in the sitting of that time, by whoever looks.
func (s *State) UsedLately(use string, at time.Time) bool {
	last, ok := s.used[usedBy(use, s.seat.By)]
	return ok && !last.After(at) && at.Sub(last) <= SittingLength
}

// usedBy is what is used by one person; "": by anybody.
func usedBy(use, by string) string { return use + "\n" + by }

// use notes that a step was done with its tools and its adhesive.
func (s *State) use(j *Job, step steps.Step, e journal.Entry) {
	names := lists.Clone(step.Tools)
	switch f := e.Facts.(type) {
	case journal.Coated:
		names = append(names, f.Adhesive)
	case journal.Joined:
		names = append(names, j.adhesives(step, e.At)...)
	}
	for _, name := range names {
		for _, key := range []string{usedBy(name, ""), usedBy(name, e.By)} {
			if e.At.After(s.used[key]) {
				s.used[key] = e.At
			}
		}
	}
}

// Use returns the adhesive or the tool of that name.
func (s *State) Use(name string) (steps.Use, error) {
	if u, ok := s.Sheet.Use(name); ok {
		return u, nil
	}
	var names []string
	for _, a := range s.Sheet.Adhesives {
		names = append(names, a.Name)
	}
	for _, t := range s.Sheet.Tools {
		names = append(names, t.Name)
	}
	return steps.Use{}, unknownOf(s.Sheet.Name, "adhesive or tool", name, names)
}

// ClearUse records that every line of the hold of an adhesive or a tool was
// confirmed.
type ClearUse struct {
	Of      string
	Answers []bool   // one for each line
	Lines   []string // that were shown and answered; nil: those of now
}

func (r ClearUse) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	u, err := s.Use(r.Of)
	if err != nil {
		return nil, err
	}
	what := "the hold of " + u.Name
	switch {
	case len(u.Hold) == 0:
		return nil, bad("%s has no hold to clear", u.Name)
	case len(r.Answers) > len(u.Hold):
		return nil, bad("%s has %d lines, but there are %d answers", what, len(u.Hold), len(r.Answers))
	case r.Lines != nil && !lists.Equal(r.Lines, u.Hold): // a job was moved meanwhile
		return nil, refuse(what, ByHold, "its lines are no longer those that were answered", s.remedy(Remedy{Kind: ToClearUse, Name: u.Name}))
	}
	reasons := unconfirmed(u.Hold, r.Answers, s.remedy(Remedy{Kind: ToClearUse, Name: u.Name}))
	reasons = append(reasons, s.belied(u, c.At)...)
	if reason := s.Untrusted(c.Now); reason != nil {
		reasons = append(reasons, *reason)
	}
	if len(reasons) > 0 {
		return nil, &Refusal{What: what, Reasons: reasons}
	}
	return []journal.Facts{journal.UseCleared{Of: u.Name, Lines: u.Hold, Bench: c.Bench}}, nil
}

// belied says what the journal knows against the lines of a hold: where the use is an
// adhesive of which vapour hangs, that a condition is otherwise than it needs; of any, that
// it is not used yet beside the coats that are open.
func (s *State) belied(u steps.Use, at time.Time) []Reason {
	var reasons []Reason
	if a, ok := s.Sheet.Adhesive(u.Name); ok && a.Times.Vapour > 0 {
		for _, need := range u.Needs {
			if s.Holds(need.Condition, at) != "" {
				reasons = append(reasons, s.stands(need, at)...)
			}
		}
	}
	return append(reasons, s.harms(openCoat{}, "needs", u.Needs, at)...)
}
