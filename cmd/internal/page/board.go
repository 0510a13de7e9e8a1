package page

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
)

// roomy is how many airframes a board shows in full; if there are more, each has
// one line.
const roomy = 12

// Crowded is how many airframes make a board crowded.
const Crowded = roomy + 1

// A need is why somebody should look at an airframe. The lowest comes first on a
// board: what runs out, then what keeps an airframe on the ground, then work that
// can go on.
type need int

const (
	needsCoat    need = iota // a coat has lapsed, or something is against it
	needsJoin                // a window is open or about to close
	needsRepair              // it has damage
	needsCheck               // it is grounded by something else
	needsWork                // a step can be done
	needsTime                // it waits for a clock
	needsJob                 // no job is open, and it was never released
	needsNothing             // it may fly
)

// A Tile is one airframe on a board: in full, or on a crowded board one line. The
// empty one is of an airframe that was retired, and is only counted.
type Tile struct {
	Airframe *Airframe
	Stands   bool // something may be hot, on or plugged in, see [Lead]

	mark  string
	harms []Reason // where that is all that is shown of it
	stays []NextPlugged
	need  need
	by    time.Time // the deadline; zero: none
	first bool      // before others with the same need
	line  func(*Clock) string
	at    []*store.Claim
}

// At is the tile with who is at which step of the airframe.
func (t Tile) At(claims []*store.Claim) Tile {
	if t.at = claims; t.Airframe != nil {
		t.Airframe.Claims = claims
	}
	return t
}

// NewTile makes the tile of an airframe on a board of so many.
func NewTile(s *workflow.State, now time.Time, of int) Tile {
	stands := s.MayStand()
	if of <= roomy {
		a := NewAirframe(s, now)
		return Tile{Airframe: &a, mark: a.Mark, Stands: stands}
	}
	a := Brief(s, now)
	t := Tile{mark: a.Mark, Stands: stands, need: needsNothing, line: a.flightLine, harms: atOnce(s, now)}
	if t.against(); t.need == needsCoat {
		return t
	}
	timers := Timers(s, now)
	if i := slices.IndexFunc(timers, func(t Timer) bool { return t.Phase == workflow.Late }); i >= 0 {
		t.need, t.by, t.line = needsCoat, timers[i].Closes, timers[i].line
		return t
	}
	if timer, open := soonest(timers, now); open {
		t.need, t.by, t.line = needsJoin, timer.Closes, timer.line
		return t
	}
	for _, d := range Damages(s, now) {
		if d.Repaired && !d.Quarantine || t.need == needsRepair && !d.Quarantine {
			continue
		}
		t.need, t.first, t.line = needsRepair, d.Quarantine, d.line
	}
	if t.need == needsRepair || a.Flight == Released {
		return t
	}
	next := s.Next(now)
	switch {
	case s.UnsafeFirst(&next, now):
		t.need = needsCheck
	case next.Step != nil:
		line := nextLine(next.Step.Step.Label(), next.Step.Step.Name)
		t.need, t.line = needsWork, func(*Clock) string { return line }
	case len(timers) > 0:
		t.need, t.by, t.line = needsTime, cmp.Or(next.Until, timers[0].Cures), timers[0].line
	case a.Flight == Grounded:
		t.need = needsCheck
	default:
		t.need = needsJob
	}
	return t
}

// against has a line say the first of what is against the airframe, if anything is.
func (t *Tile) against() {
	if len(t.harms) > 0 {
		r := t.harms[0]
		t.need, t.line = needsCoat, func(c *Clock) string { return r.caution("", c) + esc(r.Text) }
	}
}

// Lead adds to the tiles of all airframes what the page of the one to go on with says at once of the others.
func Lead(tiles []Tile, fleet []*workflow.State, now time.Time) {
	said := ledPast(fleet, now)
	for i := range tiles {
		t := &tiles[i]
		all := &t.harms
		if t.Airframe != nil {
			all = &t.Airframe.Harms
		}
		rest, stays := said.minded(*all)
		for _, r := range said.ends {
			if r.Remedy.Mark == t.mark {
				rest = with(rest, r)
			}
		}
		if *all = rest; t.Airframe != nil {
			t.Airframe.Plugged = stays
		} else if t.stays = stays; len(rest) > 0 {
			t.against()
		} else if len(stays) > 0 {
			t.line = stays[0].caution
		}
	}
}

// soonest is the first window to close of those that are open or will be, whatever
// is done.
func soonest(timers []Timer, now time.Time) (found Timer, ok bool) {
	for _, t := range timers {
		open := t.Phase == workflow.Open || t.Phase == workflow.HalfCoated || t.Phase == workflow.Coating || t.Phase == workflow.Tacking && !now.Before(t.Opens)
		if open && (!ok || t.Closes.Before(found.Closes)) {
			found, ok = t, true
		}
	}
	return found, ok
}

// compareTiles puts the most urgent first.
func compareTiles(a, b *Tile) int {
	early := func(t *Tile) int64 {
		if t.by.IsZero() {
			return 1<<63 - 1
		}
		return t.by.Unix()
	}
	late := func(t *Tile) int {
		if t.first {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(a.need, b.need), cmp.Compare(late(a), late(b)), cmp.Compare(early(a), early(b)), strings.Compare(a.mark, b.mark))
}

// A Board shows every airframe at a glance.
type Board struct {
	Airframes []Airframe `json:"airframes"`
	Retired   int        `json:"retired,omitempty"` // left out
	lines     []Tile
}

// NewBoard puts tiles on a board.
func NewBoard(tiles []Tile) Board {
	b := Board{Airframes: []Airframe{}}
	for _, t := range tiles {
		switch {
		case t.Airframe != nil:
			b.Airframes = append(b.Airframes, *t.Airframe)
		case t.mark == "":
			b.Retired++
		default:
			b.lines = append(b.lines, t)
		}
	}
	sorting.Stable(b.lines, func(i, k int) int { return compareTiles(&b.lines[i], &b.lines[k]) })
	return b
}

// Markdown is the board.
func (b Board) Markdown(c *Clock) string {
	var l lines
	l.add("# The bench, %s\n", c.Now.In(time.Local).Format("Mon 2 Jan 15:04"))
	if len(b.Airframes)+len(b.lines)+b.Retired == 0 {
		l.add("No airframe is registered yet.\n")
		l.item("`fettle demo` plays an evening at the bench.")
		l.item("`fettle airframe add CW-01 --design causeway` registers an airframe.")
		l.item("`fettle start CW-01` lists what to begin with; `fettle follow` leads through it.")
	}
	for _, a := range b.Airframes {
		a.short(&l, c)
	}
	for _, t := range b.lines {
		text := t.line(c)
		for _, of := range t.at {
			text += "; " + ClaimLine(of, c)
		}
		l.item("**%s** · %s", esc(t.mark), text)
	}
	if b.Retired > 0 {
		l.item("%d retired, not shown: `fettle airframe list`", b.Retired)
	}
	return l.String()
}

// nextLine is the next step on a board.
func nextLine(title, step string) string { return "next: " + esc(title) + " (`" + step + "`)" }
