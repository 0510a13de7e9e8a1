package sitting

import (
	"time"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

// A Moment is when a clock calls for somebody, or for nobody any more.
type Moment struct {
	Mark, Joint string // Joint: the name of the clock
	At          time.Time
	Says        string // one line, plain text
}

// Moments are the moments of all airframes after one time and until another, in
// their order. It reads no store, and may be called every second.
func (b *Bench) Moments(after, until time.Time) []Moment {
	var all []Moment
	for _, m := range workflow.Moments(b.States(), after, until) {
		now := until
		if !m.Until.IsZero() && !until.Before(m.Until) { // it is said as it was to be said
			now = m.At
		}
		all = append(all, Moment{m.Mark, m.Name, m.At, page.MomentLine(m, &page.Clock{Now: now})})
	}
	return all
}
