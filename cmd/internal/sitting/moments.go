package sitting

import (
	"fmt"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps/sorting"
)

// A Moment is when a clock calls for somebody, or for nobody any more.
type Moment struct {
	Mark, Joint string
	At          time.Time
	Says        string // one line, plain text
}

// warning is how long before a window closes it is said.
const warning = 5 * time.Minute

// Moments are the moments of all airframes after one time and until another, in
// their order. It reads no store, and may be called every second.
func (b *Bench) Moments(after, until time.Time) []Moment {
	var all []Moment
	for _, t := range b.Timers(after) {
		c := page.Clock{Now: until}
		add := func(at time.Time, format string, args ...any) {
			if at.After(after) && !at.After(until) {
				all = append(all, Moment{t.Mark, t.Name, at, t.Mark + ": " + fmt.Sprintf(format, args...)})
			}
		}
		switch {
		case !t.Joint && t.Then == "":
			add(t.Opens, "%s is over", t.Name)
		case !t.Joint:
			add(t.Opens, "%s is over: do %s by %s", t.Name, t.Then, c.At(t.Closes))
			add(t.Closes.Add(-warning), "do %s by %s", t.Then, c.At(t.Closes))
			add(t.Closes, "%s comes too late now", t.Then)
		case t.Handles.IsZero():
			add(t.Opens, "join %s now, by %s", t.Name, c.At(t.Closes))
			add(t.Closes.Add(-warning), "join %s by %s", t.Name, c.At(t.Closes))
			add(t.Closes, "%s has lapsed: coat it again", t.Name)
		default:
			add(t.Handles, "%s may be handled", t.Name)
			add(t.Cures, "%s has cured", t.Name)
		}
	}
	sorting.Stable(all, func(a, b Moment) int { return a.At.Compare(b.At) })
	return all
}
