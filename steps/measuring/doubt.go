package measuring

import (
	"math"
	"math/big"
	"slices"

	"fettle/steps/quantity"
)

// A Doubt is what is known of a gauge's error, expanded (k = 2).
type Doubt struct {
	Resolution    quantity.Quantity
	Uncertainty   quantity.Quantity // absent: that of the resolution
	Repeatability quantity.Quantity // the spread of repeated set-ups, a part of the uncertainty; absent: not known
}

// Doubts are what is known of the gauges that readings were taken with. A
// gauge that two sheets describe is there twice, and the worse description
// counts.
type Doubts struct {
	Gauges  []Doubt
	Several bool // readings of several gauges: each has a bias of its own
}

// Add adds what is known of one more gauge.
func (d *Doubts) Add(more Doubt) {
	if !slices.Contains(d.Gauges, more) {
		d.Gauges = append(d.Gauges, more)
	}
}

// A Band is a guard band: an expanded uncertainty, kept squared and so exact.
type Band struct{ square *big.Rat } // nil: nothing can be decided

// Float is the half-width of the band; +Inf where nothing can be decided.
func (b Band) Float() float64 {
	if b.square == nil {
		return math.Inf(1)
	}
	f, _ := b.square.Float64()
	return math.Sqrt(f)
}

// decides says what a value is that lies so far inside its limit.
func (b Band) decides(room *big.Rat) Verdict {
	if b.square == nil {
		return Undecided
	}
	switch beyond := square(room).Cmp(b.square); {
	case room.Sign() >= 0 && beyond >= 0:
		return In
	case room.Sign() < 0 && beyond > 0:
		return Out
	}
	return Undecided
}

// Band is the uncertainty of a value that is worked out of readings: the one
// place where resolution, gauge, repeatability and repeated readings meet. The
// value changes by its slope for each unit that one reading changes; each
// reading is the mean of n.
//
//	U² = (Σs·b)² + Σs²·r²/n
//
// r is the repeatability, which repeating shrinks, and b the bias of the gauge,
// which all its readings share: b² = U² - r² (JCGM 100:2008, 5.1.2 for what is
// independent and 5.2.2, note 1, for what is wholly correlated; from memory).
//   - A gauge is never better than its step of d: 2·d/√12 (F.2.2.1, from
//     memory), and nor is its repeatability.
//   - Where no repeatability is stated nobody knows which part is bias. Then the
//     whole neither cancels nor shrinks: U·√max((Σs)², Σs²).
//   - Several gauges have a bias each. The larger of both sums is taken, which
//     bounds them for two readings, and for any number with slopes of one sign.
func (d Doubts) Band(slopes []*big.Rat, n int, unit string) Band {
	widest := Band{new(big.Rat)}
	for _, g := range d.Gauges {
		b := g.band(slopes, n, unit, d.Several)
		if b.square == nil {
			return b
		}
		if b.square.Cmp(widest.square) > 0 {
			widest = b
		}
	}
	return widest
}

func (d Doubt) band(slopes []*big.Rat, n int, unit string, several bool) Band {
	sum, squares := new(big.Rat), new(big.Rat)
	for _, s := range slopes {
		sum.Add(sum, s)
		squares.Add(squares, square(s))
	}
	together := square(sum)
	apart := larger(together, squares)
	step, ok1 := d.step(unit)
	whole, ok2 := sizeSquared(d.Uncertainty, unit)
	spread, ok3 := sizeSquared(d.Repeatability, unit)
	if !ok1 || !ok2 || !ok3 {
		return Band{}
	}
	whole = larger(whole, step)
	if d.Repeatability.IsZero() {
		return Band{new(big.Rat).Mul(whole, apart)}
	}
	spread = larger(spread, step)
	bias := new(big.Rat).Sub(whole, spread)
	if bias.Sign() < 0 {
		bias.SetInt64(0)
	}
	if several {
		together = apart
	}
	bias.Mul(bias, together)
	spread.Mul(spread, squares)
	return Band{bias.Add(bias, spread.Quo(spread, big.NewRat(int64(max(1, n)), 1)))}
}

// Guard is the guard band of one reading, in the unit.
func (d Doubt) Guard(unit string) float64 {
	return Doubts{Gauges: []Doubt{d}}.Band(single(), 1, unit).Float()
}

// step is the square of the expanded uncertainty of a reading that is rounded
// to steps of d: its standard uncertainty is d/√12.
func (d Doubt) step(unit string) (*big.Rat, bool) {
	if d.Resolution.IsZero() {
		return new(big.Rat), true
	}
	size, err := d.Resolution.Span(unit)
	if err != nil {
		return nil, false
	}
	s := square(size)
	return s.Quo(s, big.NewRat(3, 1)), true
}

// sizeSquared is a size, squared, in the unit; nought where it is absent. The
// size is the nearest float in its own unit, as it has been from the beginning:
// exact, it would let a reading pass at the very guard band that did not pass
// when it was taken.
func sizeSquared(q quantity.Quantity, unit string) (*big.Rat, bool) {
	if q.IsZero() {
		return new(big.Rat), true
	}
	own, err1 := q.Span(q.Unit())
	size, err2 := q.Span(unit)
	if err1 != nil || err2 != nil {
		return nil, false
	}
	if own.Sign() == 0 {
		return new(big.Rat), true
	}
	f, _ := own.Float64()
	size.Mul(size, new(big.Rat).SetFloat64(f))
	return square(size.Quo(size, own)), true
}

// single is the slope of a reading that is itself the value.
func single() []*big.Rat { return []*big.Rat{big.NewRat(1, 1)} }

// opposed are the slopes of a difference.
func opposed() []*big.Rat { return []*big.Rat{big.NewRat(1, 1), big.NewRat(-1, 1)} }

func square(r *big.Rat) *big.Rat { return new(big.Rat).Mul(r, r) }

// larger is the larger of the two, a new one.
func larger(a, b *big.Rat) *big.Rat {
	if a.Cmp(b) < 0 {
		a = b
	}
	return new(big.Rat).Set(a)
}

// A Set is readings of one thing, with what is known of their gauges.
type Set struct {
	Readings []quantity.Quantity
	Doubts   Doubts
}

// Agree reports whether two sets of readings of one thing, each with a gauge of its own,
// can both be true: their means differ by no more than both expanded uncertainties
// together, √(U₁² + U₂²), the E_n score of ISO 13528 (from memory) with 1 as its limit.
func Agree(a, b Set, unit string) bool {
	one, _, err1 := average(a.Readings, unit)
	other, _, err2 := average(b.Readings, unit)
	u1, u2 := a.Doubts.Band(single(), len(a.Readings), unit).square, b.Doubts.Band(single(), len(b.Readings), unit).square
	if err1 != nil || err2 != nil || u1 == nil || u2 == nil {
		return false
	}
	return square(one.Sub(one, other)).Cmp(new(big.Rat).Add(u1, u2)) <= 0
}
