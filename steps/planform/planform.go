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

// A Surface is a whole surface, or several of a kind taken together.
type Surface struct {
	Area  float64 // along its panels, both sides
	Span  float64 // along its panels, from tip to tip; of a fin its height
	Chord Chord   // the mean aerodynamic chord
	Y     float64 // where that lies, out from the centre line along the panels; of a fin up from its root

	level, upright float64 // the parts of the area that work as a tailplane and as a fin
}

// AspectRatio is the span by the mean chord.
func (s Surface) AspectRatio() float64 { return s.Span * s.Span / s.Area }

// Lifting is the area that carries: less where the panels rise.
func (s Surface) Lifting() float64 { return s.level }

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

	ahead bool // a tailplane lies ahead of the wing
}

// What the geometry lacks for an answer.
var (
	ErrNone  = errors.New("the sheet has no geometry with a wing")
	ErrArea  = errors.New("the wing has no area")
	ErrAhead = errors.New("the tailplane lies ahead of the wing, where the formula does not hold")
)

// Of is the planform of an airframe with the selection.
func Of(g steps.Geometry, selection steps.Selection) (Plan, error) {
	byKind := map[string][]Surface{}
	for _, s := range g.Surfaces {
		if s.In(selection) {
			byKind[s.Is] = append(byKind[s.Is], surface(s))
		}
	}
	if len(byKind[steps.Wing]) == 0 {
		return Plan{}, ErrNone
	}
	p := Plan{Wing: together(byKind[steps.Wing]), Tail: together(byKind[steps.Tailplane])}
	if !(p.Wing.Area > 0) || !(p.Wing.Chord.Length > 0) {
		return Plan{}, ErrArea
	}
	p.Body = percent(g.Neutral.Body)
	for _, of := range [][]Surface{byKind[steps.Tailplane], byKind[steps.Fin]} {
		for _, s := range of {
			arm := s.Chord.Station(25) - p.Wing.Chord.Station(25)
			p.ahead = p.ahead || arm <= 0 && s.level > 0
			p.Horizontal += s.level * arm / (p.Wing.Area * p.Wing.Chord.Length)
			p.Vertical += s.upright * arm / (p.Wing.Area * p.Wing.Span)
		}
	}
	return p, nil
}

// surface is the surface with its mirror image.
func surface(s steps.Surface) Surface {
	var sum Surface
	x, along := mm(s.X), mm(s.Y)
	if s.Is == steps.Fin {
		along = 0
	}
	for _, p := range s.Panels {
		root, tip, span, back, dihedral := mm(p.Root), mm(p.Tip), mm(p.Span), sweep(p), radians(p.Dihedral)
		if area := span * (root + tip) / 2; area > 0 {
			out := span / 3 * (root + 2*tip) / (root + tip) // of the mean chord of the panel
			level := math.Cos(dihedral) * math.Cos(dihedral)
			if s.Is == steps.Fin {
				level = 0
			}
			sum = sum.with(Surface{Area: area, Chord: Chord{X: x + back*out/span, Length: 2. / 3 * (root + tip - root*tip/(root+tip))},
				Y: along + out, level: area * level, upright: area * (1 - level)})
		}
		x, along = x+back, along+span
	}
	sum.Span = along
	if s.Mirrored() {
		sum.Area, sum.level, sum.upright = 2*sum.Area, 2*sum.level, 2*sum.upright
		if s.Is != steps.Fin {
			sum.Span = 2 * along
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

func together(all []Surface) Surface {
	var sum Surface
	for _, s := range all {
		sum = sum.with(s)
	}
	return sum
}

// Formula is how the neutral point is estimated: V_H is the tail volume, AR and AR_h
// are the aspect ratios of wing and tailplane. The ratio of the lift slopes and the
// downwash are those of the MIT lab notes "Basic Aircraft Design Rules".
const Formula = "25 % MAC + 0.9 × V_H × (1 + 2/AR)/(1 + 2/AR_h) × (1 − 4/(AR + 2)) − the body's share"

// wake is how much of the dynamic pressure is left at the tailplane: common
// practice, no source. The less, the further forward the neutral point.
const wake = 0.9

// NeutralPoint is an estimate of the neutral point by [Formula], as a station.
func (p Plan) NeutralPoint() (float64, error) {
	h := 0.25
	if p.Tail.Area > 0 {
		if p.ahead { // it flies in no downwash, so the formula would have the neutral point too far aft
			return 0, ErrAhead
		}
		h = NeutralPoint(h, wake*p.Horizontal, SlopesRatio(p.Wing.AspectRatio(), p.Tail.AspectRatio()), Downwash(p.Wing.AspectRatio()))
	}
	return p.Wing.Chord.Station(100*h - p.Body), nil
}

// Margin is the static margin with the balance point at the station, by the estimate,
// as a fraction of the mean chord.
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
func mm(q quantity.Quantity) float64      { return value(q, "mm") }
func percent(q quantity.Quantity) float64 { return value(q, "%") }
func radians(q quantity.Quantity) float64 { return value(q, "°") * math.Pi / 180 }

func value(q quantity.Quantity, unit string) float64 {
	f, err := q.Float(unit)
	if err != nil {
		return 0
	}
	return f
}
