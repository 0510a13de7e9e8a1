package measuring

import (
	"math/big"
	"slices"

	"fettle/steps/balance"
	"fettle/steps/quantity"
)

// The functions whose points are scales that carry the whole between them.
const (
	Balance = "balance" // where it balances along it
	Lateral = "lateral" // and across it
)

// A Station is where one scale stands under what is balanced.
type Station struct {
	Point  string            `json:"point"`
	At     quantity.Quantity `json:"at"`              // where it carries: aft, or to the right
	Tare   quantity.Quantity `json:"tare,omitzero"`   // what it shows without what is balanced
	Within quantity.Quantity `json:"within,omitzero"` // how closely At is kept; absent: 1 mm (common practice, no source)
}

// placeOf: scales read masses, and what they give is a place.
//
//go:noinline
func placeOf(d quantity.Dimension) quantity.Dimension {
	if d != quantity.Mass {
		return ""
	}
	return quantity.Length
}

// SamePlaces reports whether the scales of two results stand at the same places, so that
// a reading of one is a reading of the other. Results without scales have none.
func (r Result) SamePlaces(other Result) bool {
	if len(r.Stations) == 0 && len(other.Stations) == 0 {
		return true
	}
	return r.Function == other.Function && slices.EqualFunc(r.Stations, other.Stations, func(a, b Station) bool {
		return a.Point == b.Point && a.At.Equal(b.At) && a.Tare.Equal(b.Tare)
	})
}

// given is what the function needs beside the points, readings being in the unit.
func (r Result) given(f Function, unit string) (given, error) {
	var of given
	var err error
	if f.Run {
		if of.run, err = r.Run.Rat(unit); err != nil {
			return given{}, err
		}
	}
	for _, s := range r.Stations {
		var scale balance.Scale
		within := big.NewRat(1, 1)
		if scale.X, err = s.At.Rat(f.unit); err != nil {
			return given{}, err
		}
		if !s.Tare.IsZero() {
			if scale.Tare, err = s.Tare.Rat(unit); err != nil {
				return given{}, err
			}
		}
		if !s.Within.IsZero() {
			if within, err = s.Within.Rat(f.unit); err != nil {
				return given{}, err
			}
		}
		of.scales, of.within = append(of.scales, scale), append(of.within, within)
	}
	return of, nil
}

// balanced is where what the scales carry balances. Its slope at each is how far that
// lies from there, by the whole mass.
func balanced(x []*big.Rat, of given) (value *big.Rat, slopes []*big.Rat, by *big.Rat) {
	if len(of.scales) != len(x) {
		return nil, nil, new(big.Rat)
	}
	scales := slices.Clone(of.scales)
	for i := range scales {
		scales[i].Reads = x[i]
	}
	whole := balance.Weighed(scales...)
	value, err := whole.Station()
	if err != nil {
		return nil, nil, new(big.Rat)
	}
	for _, s := range scales {
		slope := new(big.Rat).Sub(s.X, value)
		slopes = append(slopes, slope.Quo(slope, whole.Mass))
	}
	return value, slopes, whole.Mass
}

// placing is the square of what the places of the scales leave open in the result, in the
// unit of the limits: each counts by its share of the mass. They may all be off the same
// way, by the datum, so that they add up.
func (r Rule) placing(x []*big.Rat) *big.Rat {
	f, _ := FunctionOf(r.Result.Function)
	of, err := r.Result.given(f, r.Unit())
	if err != nil || !f.Stations || len(of.scales) != len(x) {
		return new(big.Rat)
	}
	sum, mass := new(big.Rat), new(big.Rat)
	for i, s := range of.scales {
		s.Reads = x[i]
		carries := s.Carries()
		mass.Add(mass, carries)
		sum.Add(sum, carries.Mul(carries.Abs(carries), of.within[i]))
	}
	one, err := quantity.New(big.NewRat(1, 1), f.unit)
	if err != nil || mass.Sign() <= 0 {
		return new(big.Rat)
	}
	scale, err := one.Span(r.Limits.Unit())
	if err != nil {
		return new(big.Rat)
	}
	return square(scale.Mul(scale, sum.Quo(sum, mass)))
}

// beside is the doubt with more, a square, that no reading shrinks.
func (d doubted) beside(more *big.Rat) doubted {
	if more.Sign() == 0 {
		return d
	}
	budget := d.budget
	d.band = d.band.beside(more)
	d.budget = func(of []Term) Band { return budget(of).beside(more) }
	return d
}

func (b Band) beside(more *big.Rat) Band {
	if b.square != nil {
		b.square = new(big.Rat).Add(b.square, more)
	}
	if b.gauge != nil {
		b.gauge = new(big.Rat).Add(b.gauge, more)
	}
	if b.variance != nil { // of standard uncertainties; the degrees of freedom stay, which is the strict side
		b.variance = new(big.Rat).Add(b.variance, new(big.Rat).Quo(more, big.NewRat(4, 1)))
	}
	return b
}

// A Weighing is what the scales of a result carry.
type Weighing struct {
	Lifted string            // the scale that carries less than nothing; "": none
	Bare   string            // the scale that carries nothing; "": none
	Sum    quantity.Quantity // of all; absent: one has no reading
	U      float64           // its expanded uncertainty, in its unit
}

// Weigh is what the readings say of scales that carry the whole between them.
func (r Rule) Weigh(points []Point, doubts Doubts) (Weighing, error) {
	f, _ := FunctionOf(r.Result.Function)
	if !f.Stations {
		return Weighing{}, nil
	}
	unit := r.Unit()
	of, err := r.Result.given(f, unit)
	if err != nil {
		return Weighing{}, err
	}
	var w Weighing
	sum, read := new(big.Rat), 0
	var slopes []*big.Rat
	for i, s := range r.Result.Stations {
		at := slices.IndexFunc(points, func(p Point) bool { return p.Name == s.Point })
		if at < 0 || len(points[at].Readings) == 0 {
			continue
		}
		m, err := average(points[at], unit)
		if err != nil {
			return Weighing{}, err
		}
		scale := of.scales[i]
		scale.Reads = m.mean
		carries := scale.Carries()
		if carries.Sign() < 0 && w.Lifted == "" {
			w.Lifted = s.Point
		}
		if carries.Sign() == 0 && w.Bare == "" {
			w.Bare = s.Point
		}
		sum.Add(sum, carries)
		slopes = append(slopes, big.NewRat(1, 1))
		read++
	}
	if read < len(r.Result.Stations) {
		return w, nil
	}
	w.U = doubts.Band(slopes, r.repeat(), unit).Float()
	sum.SetString(sum.FloatString(3)) // of means it may be no finite decimal
	w.Sum, err = quantity.New(sum, unit)
	return w, err
}

// UnlikelyTogether says why scales are probably misread that have a reading each, by what
// they give together; "": nothing speaks against it. It is unlikely as a reading is, and
// where it would be inside its limits with two of them crossed.
func (r Rule) UnlikelyTogether(points []Point) string {
	unit := r.Limits.Unit()
	low, _ := r.Limits.Low.Rat(unit)
	high, _ := r.Limits.High.Rat(unit)
	width := r.Limits.width(low, high, unit)
	var x []*big.Rat
	for _, s := range r.Result.Stations {
		i := slices.IndexFunc(points, func(p Point) bool { return p.Name == s.Point && len(p.Readings) > 0 })
		if i < 0 || width == nil {
			return ""
		}
		m, err := average(points[i], r.Unit())
		if err != nil {
			return ""
		}
		x = append(x, m.mean)
	}
	value, _, cannot := r.work(x, gauges{})
	if cannot != "" || len(x) == 0 {
		return ""
	}
	over, crossed := outside(value, low, high), ""
	if over.Cmp(width) <= 0 {
		return ""
	}
	nearest := twice(width)
	for i := range x {
		for j := range x[:i] {
			other := slices.Clone(x)
			other[i], other[j] = x[j], x[i]
			would, _, cannot := r.work(other, gauges{})
			if cannot != "" || outside(would, low, high).Cmp(nearest) > 0 {
				continue
			}
			nearest = outside(would, low, high)
			crossed = "; with " + r.Result.Stations[j].Point + " and " + r.Result.Stations[i].Point + " crossed it would be " + roundly(would, unit)
		}
	}
	if over.Cmp(twice(width)) <= 0 && (crossed == "" || nearest.Sign() > 0) {
		return ""
	}
	return roundly(value, unit) + " is unlikely: it is far outside its limits, " + r.Limits.words() + crossed
}

// roundly is a size as people say it, where nobody knows it closer.
func roundly(r *big.Rat, unit string) string {
	return quantity.Written(trimmed(r.FloatString(1)), unit)
}
