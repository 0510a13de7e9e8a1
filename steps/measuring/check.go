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

// Shows reports whether the gauge can show the value: a whole number of its
// steps. In a unit other than that of the resolution its steps are unknown, and any
// value may be one.
func (d Doubt) Shows(q quantity.Quantity) bool {
	if d.Resolution.IsZero() || q.Unit() != d.Resolution.Unit() {
		return true
	}
	step, err1 := d.Resolution.Rat(q.Unit())
	value, err2 := q.Rat(q.Unit())
	if err1 != nil || err2 != nil || step.Sign() == 0 {
		return true
	}
	return value.Quo(value, step).IsInt()
}
