package workflow

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/sorting"
)

// CoatLength is how far back other journals are read for an open coat. What is said of the
// bench lapses with the sitting.
const CoatLength = 24 * time.Hour

// LeftLength is how far back other journals are read for what was left hot, on or plugged in, where not all are: so that it is said to
// whoever comes back after the winter (common practice, no source).
const LeftLength = 200 * 24 * time.Hour

// Rests reports whether nobody need end what another journal says of a condition last, since then, as the first of these airframes tells
// whose sheet has the condition, and, where it could be left hot, on or plugged in, whose jobs set it, or who says that it was ended since.
// What none of them knows may be left so.
func Rests(is steps.Setting, since, now time.Time, all []*State) bool {
	for _, s := range all {
		if s.endedSince(is, since, now) {
			return true
		}
	}
	for _, s := range all {
		def, known := s.Sheet.Condition(is.Condition)
		if known && def.Guarded != is.State && !def.Lapses() {
			return true
		}
		if known && slices.ContainsFunc(s.Jobs, func(j *Job) bool {
			return steps.AnyStep(j.written.Steps(), func(step *steps.Step) bool { return stateOf(step.Sets, is.Condition) != "" })
		}) {
			return s.ender(is) == nil
		}
	}
	return false
}

// ofBench reports whether the condition belongs to the bench by the sheet in force.
//
//go:noinline
func (s *State) ofBench(condition string) bool {
	def, ok := s.Sheet.Condition(condition)
	return ok && def.Bench
}

// SharesBench reports whether the sheet has a condition that belongs to the bench, so that it matters to what is recorded what other journals
// say.
func (s *State) SharesBench() bool {
	for i := range s.Sheet.Conditions {
		if s.Sheet.Conditions[i].Bench {
			return true
		}
	}
	return false
}

// Beside is the state as it is beside others on one bench: of a condition that belongs to
// the bench counts what was said of it last in any of their journals, and a coat that is
// open on one of them is open beside this one. The state itself is not changed.
func (s *State) Beside(others []*State) *State {
	beside := *s
	beside.memo, beside.others = &memo{}, nil
	for _, other := range others {
		if other.Airframe.Mark != s.Airframe.Mark {
			beside.others = append(beside.others, other)
		}
	}
	beside.said, beside.voided = maps.Clone(s.said), maps.Clone(s.voided)
	for _, def := range s.Sheet.Conditions {
		if def.Bench {
			beside.said[def.Name], beside.voided[def.Name] = beside.pooled(def.Name)
		}
	}
	return &beside
}

// Heard is the state with what another one of the same airframe was told of others.
//
//go:noinline
func (s *State) Heard(as *State) *State {
	heard := s.Beside(as.others)
	heard.elsewhere, heard.seat = as.elsewhere, as.seat
	return heard
}

// A statement is what a journal says of a condition at one moment, or that what it said
// is unknown from then.
type statement struct {
	said
	unknown bool
	loose   bool // the sheet of that airframe doesn't say that the condition is the bench's
}

// pooled are the statements of this journal and the others' on one condition of the bench,
// by time, and what makes unknown what was said before it.
func (s *State) pooled(condition string) (all, voided []said) {
	here := func(all []said) (own []said) { // of this journal
		for i := range all {
			if all[i].mark == "" {
				own = append(own, all[i])
			}
		}
		return own
	}
	voided = here(s.voided[condition])
	var pool []statement
	for _, c := range here(s.said[condition]) {
		pool = append(pool, statement{said: c})
	}
	for _, other := range s.others {
		loose := !other.ofBench(condition)
		own := func(all []said) []said { // of what it was told itself, its teller tells
			all = here(all)
			for i := range all {
				all[i].mark = other.Airframe.Mark
			}
			return all
		}
		ends := own(other.voidedAll)
		for _, c := range own(other.said[condition]) {
			if slices.ContainsFunc(ends, func(v said) bool { return v.enteredAfter(c) }) {
				c.state = ""
			}
			pool = append(pool, statement{said: c, loose: loose})
		}
		for _, c := range append(ends, own(other.ended)...) {
			pool = append(pool, statement{said: c, unknown: true})
		}
		voided = append(voided, own(other.voided[condition])...)
	}
	sorting.Stable(pool, func(i, k int) int {
		a, b := &pool[i], &pool[k]
		return cmp.Or(a.at.Compare(b.at), a.recorded.Compare(b.recorded))
	})
	var last said
	for _, c := range pool {
		switch {
		case c.unknown && last.mark != c.mark, c.loose && (last.state == "" || last.state == c.state):
			continue // it says nothing of what others said, or nothing that may be relied on
		case c.unknown, c.loose:
			c.state = ""
		case last.mark != c.mark && last.at.Equal(c.at) && last.recorded.Equal(c.recorded) && last.state != c.state && (last.state != "" || last.against != ""): // what ended there says nothing of it
			c.against = fmt.Sprintf("one that says %s and one that says %s", last.state, c.state)
			c.state = "" // nobody knows which of the two was later
		}
		all, last = append(all, c.said), c.said
	}
	return all, voided
}

// enteredBy is the position of the last entry here when it was said.
func (s *State) enteredBy(c said) int64 {
	if c.mark == "" {
		return c.position
	}
	i := s.Size()
	for i > 0 && s.Entries[i-1].Recorded.After(c.recorded) {
		i--
	}
	return i - 1
}

// SaidBeside says which other airframe's journal has the last word on a condition at the
// time, what it says and since when; "": this one's has it.
//
//go:noinline
func (s *State) SaidBeside(condition string, at time.Time) (mark, state string, since time.Time) {
	c := s.lastSaid(condition, at)
	return c.mark, c.state, c.at
}

// sayer is whose journal says how a condition stands, in words.
func (s *State) sayer(condition string, at time.Time) string {
	return cmp.Or(s.lastSaid(condition, at).mark, "the journal")
}

// butStands is how a condition must stand, and how it does.
//
//go:noinline
func (s *State) butStands(first steps.Setting, at time.Time) string {
	def, _ := s.Sheet.Condition(first.Condition)
	return fmt.Sprintf("%s, but %s says %s: %s", first, s.sayer(first.Condition, at), first.Condition, s.lastStood(&def, at).state)
}

// refuseBefore refuses what comes after a condition is so, which it is not.
//
//go:noinline
func (s *State) refuseBefore(what string, first steps.Setting, at time.Time) error {
	return refuse(what, ByCondition, "before that it needs "+s.butStands(first, at), s.remedy(Remedy{Kind: ToSetCondition, Setting: first}))
}
