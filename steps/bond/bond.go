// Package bond computes an adhesive's times: when a coated joint may be joined,
// and when a joined one may be handled and loaded.
//
// A coat has an earliest and a latest joining time, both limits on the open
// assembly time (from spreading until the parts are put together). The window
// opens when the last face coated has had its least time, and closes when the
// first face coated has had its most. For two-part adhesives the most counts from
// mixing.
//
// Temperature moves the times to the safe side only: cold makes least times longer
// but never most times, and warmth makes most times shorter but never least times.
package bond

import (
	"math"
	"time"
)

// DefaultPer10K is the rate rule for an adhesive that states none: twice as
// fast for each 10 K warmer (common practice; a test compares it with the
// Arrhenius relation).
const DefaultPer10K = 2.0

// DefaultVapour is how long vapour hangs of an adhesive that dries before it is joined
// and states nothing (common practice, no source: half an hour).
const DefaultVapour = 30 * time.Minute

// Times are an adhesive's times at its reference temperature.
type Times struct {
	From, To       time.Duration // least and most open assembly time
	Handling, Cure time.Duration // after joining
	Vapour         time.Duration // how long vapour hangs after a coat is dry; 0: there is none
	At             float64       // reference temperature, °C
	Per10K         float64       // how many times faster for each 10 K warmer; 0: DefaultPer10K
	Mixed          bool          // two-part: To counts from mixing, whose time a coat has
}

// A Coat is adhesive on one face, or on both faces in one go.
type Coat struct {
	Began, Finished time.Time
	Mixed           time.Time // two-part adhesives: when they were mixed
}

// Starts is when the coat's clocks start: when it was mixed, or began.
func (c Coat) Starts() time.Time {
	if !c.Mixed.IsZero() && c.Mixed.Before(c.Began) {
		return c.Mixed
	}
	return c.Began
}

// A Climate is the coldest and the warmest bench temperature noted over a
// period, °C.
type Climate struct{ Coldest, Warmest float64 }

// With widens the climate by one more temperature.
func (c Climate) With(celsius float64) Climate {
	return Climate{math.Min(c.Coldest, celsius), math.Max(c.Warmest, celsius)}
}

// Even is the climate of one temperature.
func Even(celsius float64) Climate { return Climate{celsius, celsius} }

// A Window is the time in which a coated joint may be joined, ends included.
type Window struct{ Opens, Closes time.Time }

// Empty reports whether there is no moment at which the joint may be joined.
//
//go:noinline
func (w Window) Empty() bool { return w.Closes.Before(w.Opens) }

// Factor is how many times longer a process takes at this temperature than at the
// reference temperature, by the rate rule: Per10K ^ ((At - celsius)/10).
func (t Times) Factor(celsius float64) float64 {
	q := t.Per10K
	if q == 0 {
		q = DefaultPer10K
	}
	return math.Pow(q, (t.At-celsius)/10)
}

// Least stretches a least time for the coldest temperature; it never shrinks.
func (t Times) Least(d time.Duration, c Climate) time.Duration {
	return scale(d, math.Max(1, t.Factor(c.Coldest)), math.Ceil)
}

// Most shrinks a most time for the warmest temperature; it never grows.
func (t Times) Most(d time.Duration, c Climate) time.Duration {
	return scale(d, math.Min(1, t.Factor(c.Warmest)), math.Floor)
}

// scale rounds to whole seconds, in the direction given.
func scale(d time.Duration, factor float64, round func(float64) float64) time.Duration {
	const longest = 400 * 24 * time.Hour // far beyond any adhesive; keeps the arithmetic finite
	s := round(d.Seconds() * factor)
	if s >= longest.Seconds() {
		return longest
	}
	return time.Duration(s) * time.Second
}

// Window returns when a joint with the coats may be joined. Without coats it is
// empty.
func (t Times) Window(coats []Coat, c Climate) Window {
	if len(coats) == 0 {
		return Window{Opens: time.Unix(1, 0), Closes: time.Unix(0, 0)}
	}
	var w Window
	for i, coat := range coats {
		opens := coat.Finished.Add(t.Least(t.From, c))
		closes := coat.Starts().Add(t.Most(t.To, c))
		if opens.After(w.Opens) {
			w.Opens = opens
		}
		if i == 0 || closes.Before(w.Closes) {
			w.Closes = closes
		}
	}
	return w
}

// Open is how long the window of one coat is at a temperature, if spreading takes
// the attended time; zero or less if cold or warmth leaves no window.
func (t Times) Open(spreading time.Duration, celsius float64) time.Duration {
	c := Even(celsius)
	return t.Most(t.To, c) - spreading - t.Least(t.From, c)
}

// Handles returns when a joint joined at the time has handling strength.
func (t Times) Handles(joined time.Time, c Climate) time.Time {
	return joined.Add(t.Least(t.Handling, c))
}

// Cures returns when a joint joined at the time is fully cured.
func (t Times) Cures(joined time.Time, c Climate) time.Time {
	return joined.Add(t.Least(t.Cure, c))
}
