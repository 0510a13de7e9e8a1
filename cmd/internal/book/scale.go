package book

import (
	"math"
	"slices"
	"strconv"

	"fettle/steps/measuring"
)

// A scale is a range of values across the width.
type scale struct {
	from, to          float64
	low, high         float64
	hasLow, hasHigh   bool
	lowSays, highSays string
	guard             float64
}

// newScale spans the limits with a quarter of their distance on either side.
// Values further out are marked at the ends.
func newScale(l measuring.Limits, guard float64, values []float64) scale {
	s := scale{guard: guard}
	if f, err := l.Low.Float(l.Unit()); err == nil {
		s.low, s.lowSays, s.hasLow = f, l.Low.String(), true
	}
	if f, err := l.High.Float(l.Unit()); err == nil {
		s.high, s.highSays, s.hasHigh = f, l.High.String(), true
	}
	if math.IsInf(guard, 0) {
		s.guard = 1e9 // an unfit gauge: nothing can be decided
	}
	switch {
	case s.hasLow && s.hasHigh:
		pad := max((s.high-s.low)/4, 1.6*min(s.guard, s.high-s.low), 1e-9)
		s.from, s.to = s.low-pad, s.high+pad
	case s.hasHigh:
		s.from, s.to = oneSided(1, s.high, s.guard, values)
		if s.high > 0 && !slices.ContainsFunc(values, func(v float64) bool { return v < 0 }) {
			s.from = 0 // nothing there can be negative
		}
	default:
		s.to, s.from = oneSided(-1, s.low, s.guard, values)
	}
	return s
}

// oneSided spans from the far end of the values to a little beyond the only
// limit, which is above them for sign 1 and below them for sign -1.
func oneSided(sign, limit, guard float64, values []float64) (far, beyond float64) {
	width := max(4*guard, 1e-9)
	for _, v := range values {
		width = max(width, 1.2*sign*(limit-v))
	}
	return limit - sign*width, limit + sign*max(width/3, 1.6*guard)
}

// across is the position of a value in per cent, with room for the marks at the
// ends.
func (s scale) across(v float64) float64 {
	if !(s.to > s.from) { // too large for floats to tell apart
		return 50
	}
	return 3 + 94*min(1, max(0, (v-s.from)/(s.to-s.from)))
}

func (s scale) span(from, to float64) span {
	a, b := s.across(from), s.across(to)
	return span{X: percent(a), W: percent(max(0, b-a))}
}

func (s scale) bar(values []float64) bar {
	var row bar
	in := [2]float64{s.from, s.to}
	if s.hasLow {
		in[0] = s.low + s.guard
	}
	if s.hasHigh {
		in[1] = s.high - s.guard
	}
	sure := in[1] > in[0]
	if sure {
		row.In = s.span(in[0], in[1])
	}
	switch {
	case s.hasLow && s.hasHigh && !sure: // the guard bands overlap
		row.Guards = append(row.Guards, s.span(s.low-s.guard, s.high+s.guard))
	default:
		if s.hasLow {
			row.Guards = append(row.Guards, s.span(s.low-s.guard, s.low+s.guard))
		}
		if s.hasHigh {
			row.Guards = append(row.Guards, s.span(s.high-s.guard, s.high+s.guard))
		}
	}
	if s.hasLow {
		row.Edges = append(row.Edges, edge{percent(s.across(s.low)), "middle", s.lowSays})
	}
	if s.hasHigh {
		row.Edges = append(row.Edges, edge{percent(s.across(s.high)), "middle", s.highSays})
	}
	for _, v := range values {
		k := mark{X: percent(s.across(v))}
		switch {
		case v < s.from:
			k.Beyond = "◂"
		case v > s.to:
			k.Beyond = "▸"
		}
		row.Marks = append(row.Marks, k)
	}
	return row
}

func percent(f float64) string { return strconv.FormatFloat(f, 'f', 2, 64) + "%" }
