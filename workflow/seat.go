package workflow

import "fettle/workflow/journal"

// A Seat is who is at which bench. A store of one bench has no name for it.
type Seat struct{ By, Bench string }

// counts reports whether what was said at a seat counts for another one: it is the same person,
// and not at another bench.
func (said *Seat) counts(seat Seat) bool {
	return said.By == seat.By && (said.Bench == "" || said.Bench == seat.Bench)
}

// seatOf is whom alone it concerns what an entry says; nil: it concerns everybody.
func seatOf(e journal.Entry) *Seat {
	if cleared, ok := e.Facts.(journal.UseCleared); ok {
		return &Seat{e.By, cleared.Bench}
	}
	return nil
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
