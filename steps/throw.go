package steps

import (
	"fmt"
	"math"
	"math/big"
	"strings"

	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// ControlOf is the control surface whose throw the gate measures, as an angle or a travel;
// false: no control has the gate, or several that have different chords.
func (s *Sheet) ControlOf(gate string) (Control, bool) {
	g, _ := s.Gate(gate)
	if of := g.Dimension(); of != quantity.Length && of != quantity.Angle {
		return Control{}, false
	}
	var found Control
	for _, c := range s.Geometry.Controls {
		switch {
		case !lists.Contains(c.Gates, gate):
		case found.Name == "":
			found = c
		case !c.Chord.Equal(found.Chord):
			return Control{}, false
		}
	}
	return found, found.Name != ""
}

// Control is the control surface of that name.
func (s *Sheet) Control(name string) (Control, bool) {
	return find(s.Geometry.Controls, func(c Control) bool { return c.Name == name })
}

// Throw is a deflection in the unit: an angle, or the travel of the edge from neutral,
// measured square to the neutral plane, travel = chord × sin(angle). What is converted is
// rounded to a thousandth, far below what a gauge of a throw shows.
func (c Control) Throw(q quantity.Quantity, unit string) (quantity.Quantity, error) {
	sine, err := c.sine(q)
	if err != nil {
		return q, err
	}
	if _, err := q.Rat(unit); err == nil {
		return q, nil
	}
	to := math.Asin(sine) * 180 / math.Pi
	if unit != "°" {
		chord, err := c.Chord.Float(unit)
		if err != nil {
			return q, fmt.Errorf("a throw is not in %s: %w", unit, err)
		}
		to = chord * sine
	}
	return rounded(math.Round, to, 1000, unit)
}

// sine is that of the angle of a deflection.
func (c Control) sine(q quantity.Quantity) (float64, error) {
	if q.Dimension() == quantity.Angle {
		angle, err := q.Float("°")
		if err == nil && math.Abs(angle) > 90 {
			err = fmt.Errorf("a throw of %s is more than the 90° that a hinge allows", q.Typed())
		}
		return math.Sin(angle * math.Pi / 180), err
	}
	travel, err1 := q.Float("mm")
	chord, err2 := c.Chord.Float("mm")
	switch {
	case err1 != nil:
		return 0, fmt.Errorf("%s is not a throw: give an angle, or a travel at the edge", q.Typed())
	case err2 != nil || chord <= 0:
		return 0, fmt.Errorf("the sheet has no chord of %s to convert %s by", c.Name, q.Typed())
	case math.Abs(travel) > chord:
		return 0, fmt.Errorf("a travel of %s is more than the chord of %s; measure how far the edge moves from neutral", q.Typed(), c.Chord)
	}
	return travel / chord, nil
}

// Doubt is what is known of a gauge that read the throw, a converted value, in the other
// dimension. An angle moves the edge by no more than chord × angle. A travel is an angle
// that grows with the throw; where it could reach the chord nothing is decided, and the
// gauge stays as it is. What would cancel in a difference is not told any more.
func (c Control) Doubt(d measuring.Doubt, throw quantity.Quantity) measuring.Doubt {
	if d.Resolution.Dimension() == throw.Dimension() {
		return d
	}
	sine, err := c.sine(throw)
	size := func(q quantity.Quantity) (quantity.Quantity, bool) {
		if q.IsZero() {
			return q, true
		}
		if q.Dimension() == quantity.Angle {
			angle, err1 := q.Span("°")
			chord, err2 := c.Chord.Float(throw.Unit())
			if err1 != nil || err2 != nil {
				return q, false
			}
			u, _ := angle.Float64()
			wide, err := rounded(math.Ceil, chord*u*math.Pi/180, 10000, throw.Unit())
			return wide, err == nil
		}
		part, err := c.sine(q)
		at := math.Abs(sine)
		if err != nil || at+part > 1 {
			return q, false
		}
		wide, err := rounded(math.Ceil, (math.Asin(at+part)-math.Asin(at))*180/math.Pi, 10000, throw.Unit())
		return wide, err == nil
	}
	step, ok1 := size(d.Resolution)
	whole, ok2 := size(d.Uncertainty)
	if err != nil || !ok1 || !ok2 {
		return d
	}
	return measuring.Doubt{Resolution: step, Uncertainty: whole}
}

func rounded(round func(float64) float64, v float64, parts int64, unit string) (quantity.Quantity, error) {
	return quantity.New(big.NewRat(int64(round(v*float64(parts))), parts), unit)
}

// Other is a throw in the other form, rounded to tenths for people; false: it can't be
// converted.
func (c Control) Other(throw quantity.Quantity, side quantity.Side) (quantity.Quantity, bool) {
	unit := "°"
	if throw.Dimension() == quantity.Angle {
		unit = c.Chord.Unit()
	}
	if throw.IsZero() {
		return throw, false
	}
	other, err := c.Throw(throw, unit)
	if err != nil {
		return throw, false
	}
	v, _ := other.Float(unit)
	round := math.Round
	switch side {
	case quantity.Up:
		round = math.Ceil
	case quantity.Down:
		round = math.Floor
	}
	other, err = rounded(round, math.Round(v*1000)/1000, 10, unit)
	return other, err == nil
}

// Turns are the turns of the clevis that put the surface, with its trim in the middle,
// where the trim had it: horn × sin(angle) / pitch, with the horn square to the rod at
// neutral; false where the sheet does not have both.
func (c Control) Turns(trim quantity.Quantity) (float64, bool) {
	sine, err := c.sine(trim)
	horn, err1 := c.Horn.Float("mm")
	pitch, err2 := c.Thread.Float("mm")
	if err != nil || err1 != nil || err2 != nil || pitch <= 0 {
		return 0, false
	}
	return math.Abs(horn * sine / pitch), true
}

// Ways are where the edge of a control surface can go from neutral, seen from behind: up
// and down, or left and right on a fin. Where there is one on each side, the side stands
// before it.
func (g Geometry) Ways(c Control) []string {
	on, ok := find(g.Surfaces, func(s Surface) bool { return s.Name == c.Surface })
	switch {
	case !ok:
		return nil
	case on.Is == Fin && on.Mirrored():
		return []string{"left-fin-left", "left-fin-right", "right-fin-left", "right-fin-right"}
	case on.Is == Fin:
		return []string{"left", "right"}
	case on.Is == Wing, on.Vee():
		return []string{"left-up", "left-down", "right-up", "right-down"}
	}
	return []string{"up", "down"}
}

// Side is the side of which a way is, "" where there is one surface, and where it goes.
func Side(way string) (side, to string) {
	i := strings.LastIndexByte(way, '-')
	return way[:max(i, 0)], way[i+1:]
}
