// Package planform works out area, mean chord, tail volumes and an estimate of the
// neutral point from the geometry of a design sheet. Lengths are in millimetres, and
// areas in square millimetres.
package planform

import (
	"errors"
	"math"

	"fettle/steps"
	"fettle/steps/quantity"
)

// A Surface is a whole surface, or several of a kind taken together, as it is seen from
// above: lift and the mean chord, (2/S)∫c² dy, go by the plan, in which a panel with
// dihedral is shorter by the cosine of it. A fin is seen from its side.
type Surface struct {
	Area  float64 // both sides
	Span  float64 // from tip to tip; of a fin its height
	Chord Chord   // the mean aerodynamic chord
	Y     float64 // where that lies, out from the centre line; of a fin up from its root

	level, upright float64 // the parts of the area along its panels that work as a tailplane and as a fin
}

// AspectRatio is the span by the mean chord.
func (s Surface) AspectRatio() float64 { return s.Span * s.Span / s.Area }

// A Chord is where a mean aerodynamic chord lies along the aircraft.
type Chord struct {
	X      float64 // the station of its leading edge
	Length float64
}

// Percent is a station in % MAC.
func (c Chord) Percent(x float64) float64 { return (x - c.X) / c.Length * 100 }

// Station is the station of so many % MAC.
func (c Chord) Station(percent float64) float64 { return c.X + c.Length*percent/100 }

// A Plan is the planform of an airframe.
type Plan struct {
	Wing       Surface
	Tail       Surface // the tailplanes; of no area where there are none
	Horizontal float64 // the tail volumes
	Vertical   float64
	Body       float64 // how far body and propeller shift the neutral point forward, in % MAC

	ahead string // a tailplane that lies ahead of the wing
}

// What the geometry lacks for an answer.
var (
	ErrNone = errors.New("the sheet has no geometry with a wing")
	ErrArea = errors.New("the wing has no area")
)

// An AheadError says that the formula does not hold, since a tailplane lies ahead of the
// wing: there it has the wing in its wake, and shifts the neutral point forward.
type AheadError struct{ Tailplane string }

func (e *AheadError) Error() string {
	return "the tailplane " + e.Tailplane + " lies ahead of the wing, where the formula does not hold"
}

// Of is the planform of an airframe with the selection.
func Of(g steps.Geometry, selection steps.Selection) (Plan, error) {
	p, winged := Plan{Body: percent(g.Neutral.Body)}, false
	for _, s := range g.Surfaces {
		switch {
		case !s.In(selection):
		case s.Is == steps.Wing:
			p.Wing, winged = p.Wing.with(surface(s)), true
		case s.Is == steps.Tailplane:
			p.Tail = p.Tail.with(surface(s))
		}
	}
	switch {
	case !winged:
		return Plan{}, ErrNone
	case !(p.Wing.Area > 0) || !(p.Wing.Chord.Length > 0):
		return Plan{}, ErrArea
	}
	for _, s := range g.Surfaces {
		if s.Is == steps.Wing || !s.In(selection) {
			continue
		}
		of := surface(s)
		arm := of.Chord.Station(25) - p.Wing.Chord.Station(25)
		p.Horizontal += of.level * arm / (p.Wing.Area * p.Wing.Chord.Length)
		p.Vertical += of.upright * arm / (p.Wing.Area * p.Wing.Span)
		if s.Is == steps.Tailplane && of.level > 0 && arm <= 0 {
			p.ahead = s.Name
		}
	}
	return p, nil
}

// surface is the surface with its mirror image.
func surface(s steps.Surface) Surface {
	var sum Surface
	x, y := mm(s.X), mm(s.Y)
	if s.Is == steps.Fin {
		y = 0
	}
	for _, p := range s.Panels {
		root, tip, back, flat := mm(p.Root), mm(p.Tip), sweep(p), math.Cos(radians(p.Dihedral))
		span := mm(p.Span) * flat
		if area := span * (root + tip) / 2; area > 0 {
			out := span / 3 * (root + 2*tip) / (root + tip) // of the mean chord of the panel
			level, upright := area*flat, area/flat-area*flat
			if s.Is == steps.Fin {
				level, upright = 0, area
			}
			sum = sum.with(Surface{Area: area, Chord: Chord{X: x + back*out/span, Length: 2. / 3 * (root + tip - root*tip/(root+tip))},
				Y: y + out, level: level, upright: upright})
		}
		x, y = x+back, y+span
	}
	sum.Span = y
	if s.Mirrored() {
		sum.Area, sum.level, sum.upright = 2*sum.Area, 2*sum.level, 2*sum.upright
		if s.Is != steps.Fin {
			sum.Span = 2 * y
		}
	}
	return sum
}

// with is both together: chord, and where that lies, in proportion to the areas.
func (s Surface) with(other Surface) Surface {
	area := s.Area + other.Area
	if area == 0 {
		return s
	}
	mean := func(a, b float64) float64 { return (a*s.Area + b*other.Area) / area }
	return Surface{Area: area, Span: max(s.Span, other.Span), Y: mean(s.Y, other.Y),
		Chord: Chord{mean(s.Chord.X, other.Chord.X), mean(s.Chord.Length, other.Chord.Length)},
		level: s.level + other.level, upright: s.upright + other.upright}
}

// Formula is how the neutral point is estimated: V_H is the tail volume, AR and AR_h
// are the aspect ratios of wing and tailplane. The ratio of the lift slopes and the
// downwash are those of the MIT lab notes "Basic Aircraft Design Rules". A wing without
// a tail has it at its own aerodynamic centre.
func (p Plan) Formula() string {
	if !(p.Tail.Area > 0) {
		return "25 % MAC − the body's share"
	}
	return "25 % MAC + 0.9 × V_H × (1 + 2/AR)/(1 + 2/AR_h) × (1 − 4/(AR + 2)) − the body's share"
}

// wake is how much of the dynamic pressure is left at the tailplane: common
// practice, no source. The less, the further forward the neutral point.
const wake = 0.9

// NeutralPoint is an estimate of the neutral point by its formula, as a station.
func (p Plan) NeutralPoint() (float64, error) {
	h := 0.25
	if p.ahead != "" {
		return 0, &AheadError{p.ahead}
	}
	if p.Tail.Area > 0 {
		h = NeutralPoint(h, wake*p.Horizontal, SlopesRatio(p.Wing.AspectRatio(), p.Tail.AspectRatio()), Downwash(p.Wing.AspectRatio()))
	}
	return p.Wing.Chord.Station(100*h - p.Body), nil
}

// Margin is the static margin with the balance point at the station, by the estimate,
// as a fraction of the mean chord.
//
//go:noinline
func (p Plan) Margin(balance float64) (float64, error) {
	neutral, err := p.NeutralPoint()
	return (neutral - balance) / p.Wing.Chord.Length, err
}

// NeutralPoint is the neutral point of wing and tail as a fraction of the mean chord:
// the aerodynamic centre of the wing, the tail volume, the lift slope of the tail by
// that of the wing, and by how much the downwash changes with the angle of attack.
func NeutralPoint(centre, volume, slopes, downwash float64) float64 {
	return centre + volume*slopes*(1-downwash)
}

// SlopesRatio estimates the lift slope of the tailplane by that of the wing, from
// their aspect ratios.
func SlopesRatio(wing, tail float64) float64 { return (1 + 2/wing) / (1 + 2/tail) }

// Downwash estimates by how much the downwash changes with the angle of attack.
func Downwash(aspectRatio float64) float64 { return 4 / (aspectRatio + 2) }

// sweep is how far the leading edge lies further aft at the outer end of the panel.
func sweep(p steps.Panel) float64 {
	if p.Sweep.Dimension() == quantity.Angle {
		return mm(p.Span) * math.Tan(radians(p.Sweep))
	}
	return mm(p.Sweep)
}

// What is absent is nought.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func mm(q quantity.Quantity) float64      { return value(q, "mm") }
func percent(q quantity.Quantity) float64 { return value(q, "%") }
func radians(q quantity.Quantity) float64 { return value(q, "°") * math.Pi / 180 }

// Not inlined: its many copies would make the program larger.
//
//go:noinline
func value(q quantity.Quantity, unit string) float64 {
	f, err := q.Float(unit)
	if err != nil {
		return 0
	}
	return f
}
