package measuring

import (
	"fmt"
	"math"
	"math/big"

	"fettle/steps/quantity"
)

// A Deviation is how far a gauge's reading of a reference was off.
type Deviation struct {
	By     float64 // the reading less the reference's size
	Within float64 // the most that By may be, the guard band
	Unit   string  // of both; "" if the two cannot be compared
	Good   bool
}

// Check compares a gauge with a reference: the gauge is good if it reads the size
// to within the guard band that its readings are judged with.
func (d Doubt) Check(reads, of quantity.Quantity) Deviation {
	unit := d.Resolution.Unit()
	if unit == "" {
		unit = of.Unit()
	}
	have, err1 := reads.Rat(unit)
	want, err2 := of.Rat(unit)
	if err1 != nil || err2 != nil {
		return Deviation{}
	}
	by, _ := have.Sub(have, want).Float64()
	within := d.Guard(unit)
	// Both are the nearest floats, so that a deviation of exactly the guard band
	// is good.
	return Deviation{By: by, Within: within, Unit: unit, Good: math.Abs(by) <= within}
}

// Found is what was found, in a few words.
func (d Deviation) Found() string {
	how := "true"
	switch {
	case d.Unit == "":
		return "reading something else"
	case d.By > 0:
		how = fmt.Sprintf("%s %s too high", fine(d.By), d.Unit)
	case d.By < 0:
		how = fmt.Sprintf("%s %s too low", fine(-d.By), d.Unit)
	}
	if d.Good {
		return fmt.Sprintf("reading %s, within ±%s %s", how, fine(d.Within), d.Unit)
	}
	return fmt.Sprintf("reading %s, outside ±%s %s", how, fine(d.Within), d.Unit)
}

// fine shows a size that may be much smaller than a reading: to four places.
func fine(f float64) string {
	r := exact(f)
	if r.Sign() > 0 && r.Cmp(big.NewRat(1, 20000)) < 0 {
		return "less than 0.0001"
	}
	return trimmed(r.FloatString(4))
}

// Shows reports whether the value can be read off the gauge: a whole number of half
// steps, since the eye halves what lies between two marks (common practice, no
// source). In another unit the gauge has steps of its own, such as sixteenths: there
// the finest part that the value needs, 1/16 in of 0.1875 in, is no less than half a
// step.
func (d Doubt) Shows(q quantity.Quantity) bool {
	unit := d.Resolution.Unit()
	step, err1 := d.Resolution.Span(unit)
	value, err2 := q.Rat(unit)
	if err1 != nil || err2 != nil || step.Sign() == 0 {
		return true
	}
	half := step.Quo(step, big.NewRat(2, 1))
	if value.Quo(value, half).IsInt() || q.Unit() == unit {
		return value.IsInt()
	}
	own, err1 := q.Rat(q.Unit())
	one, err2 := quantity.New(big.NewRat(1, 1), q.Unit())
	if err1 != nil || err2 != nil {
		return false
	}
	part, err := one.Span(unit)
	return err == nil && part.Quo(part, new(big.Rat).SetInt(own.Denom())).Cmp(half) >= 0
}
