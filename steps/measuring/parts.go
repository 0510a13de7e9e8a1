package measuring

import (
	"math"
	"math/big"

	"fettle/steps/quantity"
)

// A Part is one value that a rule judges by itself: the mean at a point, the
// difference of a pair, or the result.
type Part struct {
	Of       []string            // the point, or both of a pair; none: the result
	Readings []quantity.Quantity // at a point
	Value    float64             // in Unit; of a point without all its readings, their mean so far
	Unit     string
	Known    bool    // there is a value
	Finding  Finding // without a verdict where readings are missing, or nothing is judged here
	U        float64 // expanded uncertainty; where readings are missing, of what was read so far; +Inf: nothing is known
	Over     float64 // how far the value is above its limits; negative: below; 0: between them
	Scale    Scale   // no cells: it has no limits of its own
}

// Parts are the values of the points, judged as [Rule.Judge] does, one by one. A pair
// and the result are there once all that they need was read.
func (r Rule) Parts(points []Point, doubts Doubts) []Part {
	var parts []Part
	own, means, known := r, map[string]pointMean{}, doubts.in(r.Unit())
	own.Limits.Alike = quantity.Quantity{}
	limited := r.Result.IsZero() && (!r.Limits.Low.IsZero() || !r.Limits.High.IsZero())
	for _, p := range points {
		part := Part{Of: []string{p.Name}, Readings: p.Readings, Unit: r.Unit()}
		var m pointMean
		if len(p.Readings) > 0 {
			var err error
			if m, err = average(p, part.Unit); err != nil {
				continue // of another dimension: Judge says so
			}
		}
		if len(p.Readings) >= r.repeat() {
			means[p.Name] = m
		}
		if limited {
			part.judged(own, []Point{p}, doubts)
			part.place(own, m.mean, r.doubted(known, single(), m))
		} else {
			part.set(m.mean)
			part.U = r.doubted(known, single(), m).band.Float()
		}
		parts = append(parts, part)
	}
	if !r.Limits.Alike.IsZero() {
		pair := Rule{Limits: Limits{Alike: r.Limits.Alike}, Repeat: r.Repeat, Plain: r.Plain}
		at := map[string]Point{}
		for _, p := range points {
			at[p.Name] = p
		}
		for _, names := range Compared(points, r.Pairs) {
			a, b := means[names[0]], means[names[1]]
			if a.mean == nil || b.mean == nil {
				continue
			}
			part := Part{Of: names[:], Unit: r.Unit()}
			gap := new(big.Rat).Sub(a.mean, b.mean)
			part.judged(pair, []Point{at[names[0]], at[names[1]]}, doubts)
			part.place(r.apart(), gap.Abs(gap), r.doubted(known, opposed(), a, b))
			parts = append(parts, part)
		}
	}
	if !r.Result.IsZero() {
		part := Part{Unit: r.Limits.Unit()}
		if part.judged(own, points, doubts); part.Finding.Result.Known {
			part.place(own, exact(part.Finding.Result.Value), part.Finding.Result.doubted)
			parts = append(parts, part)
		}
	}
	return parts
}

// apart is the rule for the difference of a pair: at most what they may differ.
func (r Rule) apart() Rule {
	unit := r.Unit()
	most, err := r.Limits.Alike.Span(unit)
	if err != nil {
		return Rule{}
	}
	high, err := quantity.New(most, unit)
	if err != nil {
		return Rule{}
	}
	return Rule{Limits: Limits{High: high}}
}

//go:noinline
func (p *Part) judged(r Rule, points []Point, doubts Doubts) {
	if found, err := r.Judge(points, doubts); err == nil {
		p.Finding = found
	}
}

func (p *Part) set(value *big.Rat) {
	if value != nil {
		p.Value, _ = value.Float64()
		p.Known = true
	}
}

// place puts the value on the scale of its limits; nil: there is none yet.
func (p *Part) place(r Rule, value *big.Rat, in doubted) {
	p.set(value)
	p.U = in.band.Float()
	low, high := r.Edges()
	if low == nil && high == nil {
		return
	}
	p.Scale = newScale(low, high, value, in.decisive())
	switch {
	case value == nil:
	case low != nil && value.Cmp(low) < 0:
		p.Over, _ = new(big.Rat).Sub(value, low).Float64()
	case high != nil && value.Cmp(high) > 0:
		p.Over, _ = new(big.Rat).Sub(value, high).Float64()
	}
}

// A Scale is where a value lies against its limits, as a row of cells: what a drawing
// of it needs. A value that passes never lies in a cell that does not, nor the other
// way round, however coarse the cells are.
type Scale struct {
	Cells []Cell
	Known bool // there is a value
	At    int  // the cell of the value; -1: before the first; len(Cells): after the last
}

// A Cell is one place on a scale.
type Cell byte

// The cells.
const (
	OutCell  Cell = iota // out of tolerance
	NearCell             // too near a limit to decide
	InCell               // in tolerance
	LowCell              // the lower limit
	HighCell             // the upper limit
)

// A scale has so many cells, and its limits at these. A scale without one of the
// limits goes on to that end.
const (
	scaleCells = 19
	scaleLow   = 4
	scaleHigh  = scaleCells - 1 - scaleLow
)

//go:noinline
func nearestFloat(r *big.Rat) float64 {
	v, _ := r.Float64()
	return v
}

// newScale makes the scale of a value between limits; nil: without that limit, and
// without a value.
func newScale(low, high, value *big.Rat, band Band) Scale {
	f := nearestFloat
	// One cell is so much, and the first limit lies at that cell.
	var cell, from float64
	at := scaleLow
	switch {
	case low != nil && high != nil:
		from, cell = f(low), (f(high)-f(low))/(scaleHigh-scaleLow)
	case low != nil:
		from, cell = f(low), span(f(low), band)/scaleHigh
	default:
		from, cell, at = f(high), span(f(high), band)/scaleHigh, scaleHigh
	}
	near := scaleCells
	if guard := band.Float(); guard == 0 {
		near = 0
	} else if !math.IsInf(guard, 0) && cell > 0 {
		near = max(1, int(math.Round(math.Min(guard/cell, scaleCells))))
	}
	// There is a cell on each side that is out and, where anything passes, one between
	// that is in.
	inside, outside := min(near, (scaleHigh-scaleLow-2)/2), min(near, scaleLow-1)
	if low != nil && high != nil && 2*band.Float() > f(high)-f(low) {
		inside = (scaleHigh - scaleLow) / 2
	}
	s := Scale{Cells: make([]Cell, scaleCells)}
	for i := range s.Cells {
		switch {
		case low != nil && i == scaleLow:
			s.Cells[i] = LowCell
		case high != nil && i == scaleHigh:
			s.Cells[i] = HighCell
		case low != nil && i >= scaleLow-outside && i <= scaleLow+inside, high != nil && i >= scaleHigh-inside && i <= scaleHigh+outside:
			s.Cells[i] = NearCell
		case (low == nil || i > scaleLow) && (high == nil || i < scaleHigh):
			s.Cells[i] = InCell
		}
	}
	if value == nil {
		return s
	}
	s.Known, s.At = true, at
	if cell > 0 {
		s.At = at + int(math.Round(math.Max(-scaleCells, math.Min(2*scaleCells, (f(value)-from)/cell))))
	}
	least, most := -1, len(s.Cells)
	if low != nil {
		least, most = bounds(band, new(big.Rat).Sub(value, low), scaleLow, inside, outside, least, most)
	}
	if high != nil {
		// Seen from the upper limit inside is below.
		l, m := bounds(band, new(big.Rat).Sub(high, value), -scaleHigh, inside, outside, -len(s.Cells), 1)
		least, most = max(least, -m), min(most, -l)
	}
	s.At = max(least, min(most, s.At))
	return s
}

// span is how much a scale with one limit shows inside of it.
func span(limit float64, band Band) float64 {
	guard := band.Float()
	if math.IsInf(guard, 0) {
		guard = 0
	}
	if size := math.Max(math.Abs(limit), 3*guard); size > 0 {
		return size
	}
	return 1
}

// bounds are the cells between which a value lies that has so much room inside a
// limit.
func bounds(band Band, room *big.Rat, limit, inside, outside, least, most int) (int, int) {
	switch verdict := band.decides(room); {
	case verdict == In && room.Sign() == 0: // at the limit, and there is no doubt
		return limit, limit
	case verdict == In:
		return limit + 1 + inside, most
	case verdict == Out:
		return least, limit - 1 - outside
	case room.Sign() < 0:
		return limit - outside, limit - 1
	case room.Sign() == 0:
		return limit, limit
	}
	return limit + 1, limit + inside
}

// Passing are the values that pass, by the limits of the points and of their pairs:
// the limits less the guard band, rounded to the strict side, to half a step of the
// gauge where it has the unit of the limits. What a result must be depends on the
// readings, and is left out. ok is false where nothing passes.
func (r Rule) Passing(gauge Doubt) (pass Limits, ok bool) {
	doubts := Doubts{Gauges: []Doubt{gauge}}
	bands, unit := r.Bands(doubts), r.Unit()
	step := big.NewRat(1, 1000)
	if unit == "in" {
		step = big.NewRat(1, 64)
	}
	if size, err := gauge.Resolution.Span(unit); err == nil && gauge.Resolution.Unit() == unit && size.Sign() > 0 {
		step = size.Quo(size, big.NewRat(2, 1))
	}
	ok = true
	inside := func(limit *big.Rat, err error, sign int64, band Band) quantity.Quantity {
		if err != nil || band.square == nil {
			ok = false
			return quantity.Quantity{}
		}
		guard := exact(band.Float())
		at := new(big.Rat).Add(limit, guard.Mul(guard, big.NewRat(sign, 1)))
		steps := floor(at.Quo(at, step))
		at = new(big.Rat).Mul(new(big.Rat).SetInt(steps), step)
		step := new(big.Rat).Mul(step, big.NewRat(sign, 1))
		if sign < 0 { // begin on the loose side, and go in till the rule passes it
			at.Sub(at, step)
		}
		for {
			room := new(big.Rat).Sub(at, limit)
			if band.decides(room.Mul(room, big.NewRat(sign, 1))) == In {
				break
			}
			at.Add(at, step)
		}
		q, err := quantity.New(at, unit)
		if unit == "in" { // a fraction, as a rule shows it
			q, err = quantity.Parse(at.RatString()+" in", quantity.Length)
		}
		ok = ok && err == nil
		return q
	}
	if !r.Result.IsZero() {
		return Limits{}, true
	}
	if !r.Limits.Low.IsZero() {
		low, err := r.edge(r.Limits.Low)
		pass.Low = inside(low, err, 1, bands.Each)
	}
	if !r.Limits.High.IsZero() {
		high, err := r.Limits.High.Rat(unit)
		pass.High = inside(high, err, -1, bands.Each)
	}
	if !r.Limits.Alike.IsZero() {
		most, err := r.Limits.Alike.Span(unit)
		if pass.Alike = inside(most, err, -1, bands.Pair); ok {
			ok = pass.Alike.Sign() >= 0
		}
	}
	if ok && !pass.Low.IsZero() && !pass.High.IsZero() {
		ok = pass.Low.Cmp(pass.High) <= 0
	}
	return pass, ok
}

// floor is the largest whole number that is no more than r.
func floor(r *big.Rat) *big.Int { return new(big.Int).Div(r.Num(), r.Denom()) }

// Edges are the limits in their unit, as they are judged by; nil: there is none.
func (r Rule) Edges() (low, high *big.Rat) {
	if !r.Limits.Low.IsZero() {
		low, _ = r.edge(r.Limits.Low)
	}
	if !r.Limits.High.IsZero() {
		high, _ = r.edge(r.Limits.High)
	}
	return low, high
}
