package balance

import (
	"math"
	"math/big"
)

// A Weighing is where something balanced on scales and what it weighed then, with their
// expanded uncertainties.
type Weighing struct {
	Mass, X  *big.Rat
	UMass, U float64
}

// A Place is a station with its expanded uncertainty.
type Place struct {
	X *big.Rat
	U float64
}

// A Change is a mass, with its expanded uncertainty, that was moved since a weighing. What
// was put on was nowhere before, and what was taken off is nowhere now.
type Change struct {
	Mass     *big.Rat
	U        float64
	From, To *Place // nil: not on board
}

// After is the weighing with what was changed since. Lateral moments are not known.
func (w Weighing) After(changes ...Change) Total {
	t := Of(Load{Mass: w.Mass, X: w.X})
	for _, c := range changes {
		if c.From != nil {
			t = t.Without(Load{Mass: c.Mass, X: c.From.X})
		}
		if c.To != nil {
			t = t.With(Load{Mass: c.Mass, X: c.To.X})
		}
	}
	return t
}

// Uncertainty is that of the station and of the mass after the changes: root sum of the
// squares of what each thing leaves open by itself (JCGM 100:2008, 5.1.2, from memory).
// Of the station x of a mass M that is
//
//	(Mw/M)·U        the weighing
//	((xw-x)/M)·UMass  the mass that was weighed
//	((to-from)/M)·U   the mass of what was moved; x stands for the place that it has not
//	(m/M)·U           each of its stations
func (w Weighing) Uncertainty(changes ...Change) (station, mass float64) {
	now := w.After(changes...)
	x, err := now.Station()
	if err != nil {
		return math.NaN(), math.NaN()
	}
	all := number(now.Mass)
	lever := func(p *Place) float64 {
		if p == nil {
			return 0
		}
		return number(p.X) - number(x)
	}
	sum := square(number(w.Mass)/all*w.U) + square((number(w.X)-number(x))/all*w.UMass)
	grams := square(w.UMass)
	for _, c := range changes {
		sum += square((lever(c.To) - lever(c.From)) / all * c.U)
		for _, p := range []*Place{c.From, c.To} {
			if p != nil {
				sum += square(number(c.Mass) / all * p.U)
			}
		}
		if (c.From == nil) != (c.To == nil) {
			grams += square(c.U)
		}
	}
	return math.Sqrt(sum), math.Sqrt(grams)
}

//go:noinline
func number(r *big.Rat) float64 { f, _ := r.Float64(); return f }

func square(f float64) float64 { return f * f }
