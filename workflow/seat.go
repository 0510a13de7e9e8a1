package workflow

import (
	"strings"

	"fettle/workflow/journal"
)

// A Seat is who is at which bench. A store of one bench has no name for it.
type Seat struct {
	By, Bench string
	Who       int // of the several that the last plan is for, from 1; 0: it is for one, or nobody knows
	Known     int // who of them others are who are at work, as bits
}

// held is how it is kept where something was said that counts there alone. Without a bench it
// counts at all benches of the person.
func (seat Seat) held() string { return seat.By + "\n" + seat.Bench }

// hasHeld reports whether it counts at the seat what was said there.
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

// Seated is the state as it is to whoever sits there. The state itself is not changed.
func (s *State) Seated(seat Seat) *State {
	if s.seat == seat {
		return s
	}
	seated := *s
	seated.memo, seated.seat = &memo{}, seat
	return &seated
}
