package measuring

import (
	"math/big"
	"strings"

	"fettle/steps/quantity"
)

// Formula is how the place of a balance point on scales is worked out by hand, from the
// same zero as its limits; "" for any other result.
func (r Result) Formula() string {
	var above, below []string
	for _, s := range r.Stations {
		reads := s.Point
		if s.Tare.Sign() != 0 {
			reads = "(" + reads + " − " + s.Tare.String() + ")"
		}
		below = append(below, reads)
		switch term := strings.TrimLeft(s.At.String(), "-−") + " × " + reads; {
		case s.At.Sign() == 0:
		case s.At.Sign() < 0:
			above = append(above, "− "+term)
		default:
			above = append([]string{"+ " + term}, above...)
		}
	}
	if len(above) == 0 {
		return ""
	}
	return "(" + strings.TrimPrefix(strings.Join(above, " "), "+ ") + ") ÷ (" + strings.Join(below, " + ") + ")"
}

// Rises are the least and the greatest rise with which an angle passes with the gauge, in
// whole steps of it: nobody has a table of arctangents at the bench. Not ok: the result is
// no angle between two limits, or nothing passes.
func (r Rule) Rises(gauge Doubt) (least, most quantity.Quantity, ok bool) {
	unit := r.Unit()
	low, high := r.Edges()
	step, err := gauge.Resolution.Rat(unit)
	if r.Result.Run.IsZero() || low == nil || high == nil || err != nil || step.Sign() <= 0 {
		return least, most, false
	}
	rise := func(angle *big.Rat) *big.Rat { // in steps, not whole
		at := r.Meet(angle)
		if at == nil {
			return nil
		}
		x := new(big.Rat).Set(at[r.Result.Of[0]])
		if len(r.Result.Of) > 1 {
			x.Sub(x, at[r.Result.Of[1]])
		}
		return x.Quo(x, step)
	}
	from, to := rise(low), rise(high)
	if from == nil || to == nil {
		return least, most, false
	}
	first, last := new(big.Int).Quo(from.Num(), from.Denom()).Int64(), new(big.Int).Quo(to.Num(), to.Denom()).Int64()
	const mostSteps = 1000
	if last-first > mostSteps {
		return least, most, false
	}
	for n := first - 1; n <= last+1; n++ {
		is, err := quantity.New(new(big.Rat).Mul(step, big.NewRat(n, 1)), unit)
		if err == nil && r.passesAt(is, gauge) {
			if !ok {
				least, ok = is, true
			}
			most = is
		}
	}
	return least, most, ok
}

// passesAt reports whether an angle of that rise passes, all of it read at the first point.
func (r Rule) passesAt(rise quantity.Quantity, gauge Doubt) bool {
	points := make([]Point, len(r.Result.Of))
	nought, err := quantity.New(new(big.Rat), rise.Unit())
	if err != nil {
		return false
	}
	for i, name := range r.Result.Of {
		points[i].Name = name
		for range r.repeat() {
			points[i].Readings = append(points[i].Readings, nought)
		}
	}
	for i := range points[0].Readings {
		points[0].Readings[i] = rise
	}
	found, err := r.Judge(points, Doubts{Gauges: []Doubt{gauge}})
	return err == nil && found.Verdict == In
}
