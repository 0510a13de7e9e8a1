package workflow

import (
	"fmt"
	"strings"
	"time"

	"fettle/workflow/journal"
)

// A Seat is who is at which bench. A store of one bench has no name for it.
type Seat struct {
	By, Bench string
	Who       int     // of the several that the last plan is for, from 1; 0: it is for one, or nobody knows
	Known     int     // who of them others are who were at work in this sitting, as bits
	Here      int     // of those, who asked or recorded something since [Present], as bits
	Names     string  // of those who are known: a line for each, the number and the name
	At        []Place // where they and whoever sits here are and were, as far as that is known since [Present], the latest last
}

// A Place is the step of an airframe, as job/step, that one of several was led to, and when; without a step they recorded something there, or
// were told to end at once what is plugged in.
type Place struct {
	Who        int
	Mark, Step string
	Since      time.Time
	Ends       bool // they were told that
}

// Present is how long somebody who asked or recorded something is taken to be at the bench (common practice, no source).
const Present = time.Hour

// Person is who that is of the several that the last plan is for, with the name where that is known: "person 1 (Ann)".
//
//go:noinline
func (s *State) Person(who int) string {
	text := fmt.Sprint("person ", who)
	for _, line := range strings.Split(s.seat.Names, "\n") {
		if number, name, _ := strings.Cut(line, " "); number == fmt.Sprint(who) {
			text += " (" + name + ")"
		}
	}
	return text
}

// Persons are several of them: "person 1 (Ann) and person 2".
//
//go:noinline
func (s *State) Persons(all []int) string {
	text := ""
	for _, who := range all {
		text += " and " + s.Person(who)
	}
	return strings.TrimPrefix(text, " and ")
}

// Several reports whether the last plan is for several people, or several were at work by it.
func (s *State) Several() bool { return s.seat.Known != 0 || PeopleOf(s.Plans) > 0 }

// AtItLast is who was at the airframe last, see [State.RecordedLast], and when, where that is another person than whoever sits here; "": nobody
// is known to be.
func (s *State) AtItLast(now time.Time) (by string, at time.Time) {
	if by, at = s.RecordedLast(now); s.seat.By == "" || by == s.seat.By {
		return "", time.Time{}
	}
	return by, at
}

// Unshared is the state as it is to whoever does all themselves, whoever else the last plan has for it.
//
//go:noinline
func (s *State) Unshared() *State {
	seat := s.seat
	seat.Who, seat.Known, seat.Here, seat.At = 0, 0, 0, nil
	return s.Seated(seat)
}

// held is how it is kept where something was said that counts there alone. Without a bench it
// counts at all benches of the person.
//
//go:noinline
func (seat Seat) held() string { return seat.By + "\n" + seat.Bench }

// hasHeld reports whether it counts at the seat what was said there.
//
//go:noinline
func (seat Seat) hasHeld(said string) bool {
	return said == seat.held() || said == Seat{By: seat.By}.held()
}

// heldAt is the seat in words.
func heldAt(said string) string {
	return strings.TrimSuffix(strings.ReplaceAll(said, "\n", " at "), " at ")
}

// heldOf is at which seat alone it counts what an entry says; "": at all.
func heldOf(e journal.Entry) string {
	if cleared, ok := e.Facts.(journal.UseCleared); ok {
		return Seat{By: e.By, Bench: cleared.Bench}.held()
	}
	return ""
}

// is reports whether the same one sits there, and as much is known of the others.
func (seat *Seat) is(other *Seat) bool {
	if seat.By != other.By || seat.Bench != other.Bench || seat.Who != other.Who || seat.Known != other.Known || seat.Here != other.Here || seat.Names != other.Names || len(seat.At) != len(other.At) {
		return false
	}
	for i := range seat.At {
		if seat.At[i] != other.At[i] {
			return false
		}
	}
	return true
}

// CameSince reports whether somebody else was led to the airframe, or recorded something there, or was told to end something on any, of whom
// the state doesn't know that: it was seated before.
func (s *State) CameSince(now *Seat) bool {
	for i := range now.At {
		at, known := &now.At[i], false
		for k := range s.seat.At {
			is := &s.seat.At[k]
			known = known || is.Mark == at.Mark && is.Who == at.Who && is.Since.Equal(at.Since)
		}
		if (at.Mark == s.Airframe.Mark || at.Ends) && at.Who != now.Who && !known {
			return true
		}
	}
	return false
}

// Seated is the state as it is to whoever sits there. The state itself is not changed.
//
//go:noinline
func (s *State) Seated(seat Seat) *State {
	if s.seat.is(&seat) {
		return s
	}
	seated := *s
	seated.memo, seated.seat = &memo{}, seat
	return &seated
}
