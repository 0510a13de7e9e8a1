package measuring

import (
	"math"
	"math/big"

	"fettle/steps/lists"
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

	// Earlier: all the readings are of when sizes were taken as the nearest floats in their
	// own unit, and every mean counted as of the fewest readings at any point.
	Earlier bool
}

// Add adds what is known of one more gauge.
//
//go:noinline
func (d *Doubts) Add(more Doubt) {
	if !lists.Contains(d.Gauges, more) {
		d.Gauges = append(d.Gauges, more)
	}
}

// A Band is a guard band: an expanded uncertainty, kept squared and so exact.
type Band struct {
	square *big.Rat // nil: nothing can be decided
	gauge  *big.Rat // the part of it that is known without the readings' own spread; nil: all of it

	// What it was expanded from, where the readings spread: their combined variance and
	// its effective degrees of freedom; nil: a quarter of square, of no end of them.
	variance, freedom *big.Rat
}

// A Term is one mean that a value is worked out of.
type Term struct {
	Slope    *big.Rat // by how much the value changes where the mean does by one unit
	N        int      // readings that it is the mean of
	Variance *big.Rat // of those readings, by N - 1; nil: they say nothing
}

// terms are means of n readings each that do not spread.
func terms(slopes []*big.Rat, n int) []Term {
	all := make([]Term, len(slopes))
	for i, s := range slopes {
		all[i] = Term{Slope: s, N: n}
	}
	return all
}

// Float is the half-width of the band; +Inf where nothing can be decided.
func (b Band) Float() float64 {
	if b.square == nil {
		return math.Inf(1)
	}
	f, _ := b.square.Float64()
	return math.Sqrt(f)
}

// spreads reports whether the readings' own spread widens the band.
func (b Band) spreads() bool { return b.square != nil && b.gauge != nil && b.gauge.Cmp(b.square) < 0 }

// decides says what a value is that lies so far inside its limit. A value that is out by
// what the gauge alone leaves open stays out: that the readings spread as well excuses it
// from nothing.
func (b Band) decides(room *big.Rat) Verdict {
	if b.square == nil {
		return Undecided
	}
	fails := b.square
	if b.gauge != nil {
		fails = b.gauge
	}
	switch apart := square(room); {
	case room.Sign() >= 0 && apart.Cmp(b.square) >= 0:
		return In
	case room.Sign() < 0 && apart.Cmp(fails) > 0:
		return Out
	}
	return Undecided
}

// Band is the guard band of a value before anything is read: as [Doubts.Budget] has it
// of readings that do not spread.
func (d Doubts) Band(slopes []*big.Rat, n int, unit string) Band {
	return d.Budget(terms(slopes, n), unit)
}

// Budget is the uncertainty of a value that is worked out of readings: the one
// place where resolution, gauge, repeatability and repeated readings meet. Each mean
// counts by its own number of readings.
//
//	U² = (Σs·b)² + Σ(s²·r²/n)
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
//   - Readings that spread more than the stated repeatability count by their own
//     standard deviation, s/√n (type A, 4.2.3); without a stated one they count
//     beside the whole.
//   - What is known from these few readings alone has n - 1 degrees of freedom, and
//     the rest, known from long use, has no end of them. The coverage factor is
//     Student's for the effective number by Welch and Satterthwaite (G.4.1, table
//     G.2; from memory): 2 where the gauge outweighs the spread, more where it is
//     mostly that of two or three readings. So it never narrows what the gauge alone
//     leaves open.
func (d Doubts) Budget(of []Term, unit string) Band { return d.in(unit).budget(of) }

// gauges are what is known of gauges whatever is read, in one unit.
type gauges struct {
	each             []gauge
	several, earlier bool
}

// A gauge is the squares of what a [Doubt] says; nil: it measures something else.
type gauge struct {
	bias, repeats *big.Rat
	variance      *big.Rat // of one reading, as far as it is known
	stated        bool     // its repeatability is; else all of it is bias
}

func (d Doubts) in(unit string) gauges {
	all := gauges{several: d.Several, earlier: d.Earlier}
	for _, g := range d.Gauges {
		all.each = append(all.each, g.in(unit, d.Earlier))
	}
	return all
}

func (d Doubt) in(unit string, earlier bool) gauge {
	size := sizeSquared
	if earlier {
		size = nearSquared
	}
	step, ok1 := d.step(unit)
	whole, ok2 := size(d.Uncertainty, unit)
	repeats, ok3 := size(d.Repeatability, unit)
	if !ok1 || !ok2 || !ok3 {
		return gauge{}
	}
	g := gauge{bias: larger(whole, step), repeats: new(big.Rat), variance: new(big.Rat)}
	if g.stated = !d.Repeatability.IsZero(); g.stated {
		g.repeats = larger(repeats, step)
		g.variance.Quo(g.repeats, big.NewRat(4, 1))
		if g.bias.Sub(g.bias, g.repeats).Sign() < 0 {
			g.bias.SetInt64(0)
		}
	}
	return g
}

func (all gauges) budget(of []Term) Band {
	sum, squares, means := new(big.Rat), new(big.Rat), new(big.Rat)
	for _, t := range of {
		sum.Add(sum, t.Slope)
		s := square(t.Slope)
		squares.Add(squares, s)
		means.Add(means, s.Quo(s, big.NewRat(int64(max(1, t.N)), 1)))
	}
	together := square(sum)
	apart := larger(together, squares)
	widest := Band{square: new(big.Rat), gauge: new(big.Rat)}
	for _, g := range all.each {
		if g.bias == nil {
			return Band{}
		}
		biased := together
		if all.several || !g.stated {
			biased = apart
		}
		gauge := new(big.Rat).Mul(g.bias, biased)
		if g.stated {
			gauge.Add(gauge, new(big.Rat).Mul(g.repeats, means))
		}
		b := spread(gauge, g.variance, of)
		gauge = larger(widest.gauge, gauge)
		if b.square.Cmp(widest.square) > 0 {
			widest = b
		}
		widest.gauge = gauge
	}
	return widest
}

// spread is the band of an expanded uncertainty, squared, with what readings spread beyond
// the variance that is known.
func spread(gauge, known *big.Rat, of []Term) Band {
	more, quartic := new(big.Rat), new(big.Rat)
	for _, t := range of {
		if t.N < 2 || t.Variance == nil {
			continue
		}
		if t.Variance.Cmp(known) <= 0 {
			continue
		}
		beyond := new(big.Rat).Sub(t.Variance, known)
		beyond.Quo(beyond.Mul(beyond, square(t.Slope)), big.NewRat(int64(t.N), 1))
		more.Add(more, beyond)
		quartic.Add(quartic, new(big.Rat).Mul(square(beyond), big.NewRat(1, int64(t.N-1))))
	}
	if more.Sign() == 0 {
		return Band{square: gauge, gauge: gauge}
	}
	combined := new(big.Rat).Quo(gauge, big.NewRat(4, 1)) // of standard uncertainties
	combined.Add(combined, more)
	freedom := square(combined)
	freedom.Quo(freedom, quartic)
	return Band{square: new(big.Rat).Mul(combined, square(coverage(freedom))), gauge: gauge, variance: combined, freedom: freedom}
}

// coverage is Student's factor for 95.45 % with so many effective degrees of freedom,
// rounded down to a row of the table (JCGM 100:2008, table G.2, from memory; recomputed
// in the test). Beyond its last row it is 2.
func coverage(freedom *big.Rat) *big.Rat {
	table := []struct{ freedom, thousandths int64 }{
		{1, 13970}, {2, 4530}, {3, 3310}, {4, 2870}, {5, 2650}, {6, 2520}, {7, 2430}, {8, 2370}, {9, 2320}, {10, 2280},
		{11, 2250}, {12, 2230}, {13, 2210}, {14, 2200}, {15, 2180}, {16, 2170}, {17, 2160}, {18, 2150}, {19, 2140}, {20, 2130},
		{25, 2110}, {30, 2090}, {35, 2070}, {40, 2060}, {45, 2060}, {50, 2050}, {100, 2025}, {1000, 2000},
	}
	k := table[0].thousandths
	whole := floor(freedom)
	for _, row := range table {
		if !whole.IsInt64() || whole.Int64() >= row.freedom {
			k = row.thousandths
		}
	}
	return big.NewRat(k, 1000)
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

// sizeSquared is a size, squared, in the unit; nought where it is absent. It is exact, so
// that no unit of the sheet changes a verdict.
func sizeSquared(q quantity.Quantity, unit string) (*big.Rat, bool) {
	if q.IsZero() {
		return new(big.Rat), true
	}
	size, err := q.Span(unit)
	if err != nil {
		return nil, false
	}
	return square(size), true
}

// nearSquared is sizeSquared of the nearest float in the size's own unit.
func nearSquared(q quantity.Quantity, unit string) (*big.Rat, bool) {
	exactly, ok := sizeSquared(q, unit)
	own, err := q.Span(q.Unit())
	if !ok || err != nil || own.Sign() == 0 {
		return exactly, ok
	}
	f, _ := own.Float64()
	return exactly.Mul(exactly, square(own.Quo(new(big.Rat).SetFloat64(f), own))), true
}

// single is the slope of a reading that is itself the value.
//
//go:noinline
func single() []*big.Rat { return []*big.Rat{big.NewRat(1, 1)} }

// opposed are the slopes of a difference.
func opposed() []*big.Rat { return []*big.Rat{big.NewRat(1, 1), big.NewRat(-1, 1)} }

//go:noinline
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
	one, err1 := average(Point{Readings: a.Readings}, unit)
	other, err2 := average(Point{Readings: b.Readings}, unit)
	u1, u2 := a.Doubts.Band(single(), len(a.Readings), unit).square, b.Doubts.Band(single(), len(b.Readings), unit).square
	if err1 != nil || err2 != nil || u1 == nil || u2 == nil {
		return false
	}
	return square(new(big.Rat).Sub(one.mean, other.mean)).Cmp(new(big.Rat).Add(u1, u2)) <= 0
}
