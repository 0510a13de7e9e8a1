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
type Band struct {
	square *big.Rat // nil: nothing can be decided
	gauge  *big.Rat // the part of it that is known without the readings' own spread; nil: all of it
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
	return d.Budget(slopes, n, nil, unit)
}

// Budget is the uncertainty of a value that is worked out of readings: the one
// place where resolution, gauge, repeatability and repeated readings meet. The
// value changes by its slope for each unit that one mean changes; each is the mean
// of n readings, and variances are those of the readings of each, by n - 1; none:
// they say nothing.
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
//   - Readings that spread more than the stated repeatability count by their own
//     standard deviation, s/√n (type A, 4.2.3); without a stated one they count
//     beside the whole.
//   - What is known from these few readings alone has n - 1 degrees of freedom, and
//     the rest, known from long use, has no end of them. The coverage factor is
//     Student's for the effective number by Welch and Satterthwaite (G.4.1, table
//     G.2; from memory): 2 where the gauge outweighs the spread, more where it is
//     mostly that of two or three readings. So it never narrows what the gauge alone
//     leaves open.
func (d Doubts) Budget(slopes []*big.Rat, n int, variances []*big.Rat, unit string) Band {
	return d.in(unit).budget(slopes, n, variances)
}

// gauges are what is known of gauges whatever is read, in one unit.
type gauges struct {
	each    []gauge
	several bool
}

// A gauge is the squares of what a [Doubt] says; nil: it measures something else.
type gauge struct {
	bias, repeats *big.Rat
	variance      *big.Rat // of one reading, as far as it is known
	stated        bool     // its repeatability is; else all of it is bias
}

func (d Doubts) in(unit string) gauges {
	all := gauges{several: d.Several}
	for _, g := range d.Gauges {
		all.each = append(all.each, g.in(unit))
	}
	return all
}

func (d Doubt) in(unit string) gauge {
	step, ok1 := d.step(unit)
	whole, ok2 := sizeSquared(d.Uncertainty, unit)
	repeats, ok3 := sizeSquared(d.Repeatability, unit)
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

func (all gauges) budget(slopes []*big.Rat, n int, variances []*big.Rat) Band {
	sum, squares := new(big.Rat), new(big.Rat)
	for _, s := range slopes {
		sum.Add(sum, s)
		squares.Add(squares, square(s))
	}
	together := square(sum)
	apart := larger(together, squares)
	widest := Band{square: new(big.Rat), gauge: new(big.Rat)}
	for _, g := range all.each {
		if g.bias == nil {
			return Band{}
		}
		of := together
		if all.several || !g.stated {
			of = apart
		}
		gauge := new(big.Rat).Mul(g.bias, of)
		if g.stated {
			repeats := new(big.Rat).Mul(g.repeats, squares)
			gauge.Add(gauge, repeats.Quo(repeats, big.NewRat(int64(max(1, n)), 1)))
		}
		widest.square, widest.gauge = larger(widest.square, spread(gauge, g.variance, slopes, n, variances)), larger(widest.gauge, gauge)
	}
	return widest
}

// spread adds to the square of an expanded uncertainty what readings spread beyond the
// variance that is known.
func spread(gauge, known *big.Rat, slopes []*big.Rat, n int, variances []*big.Rat) *big.Rat {
	more, quartic := new(big.Rat), new(big.Rat)
	for i, v := range variances {
		if n < 2 || v.Cmp(known) <= 0 {
			continue
		}
		beyond := new(big.Rat).Sub(v, known)
		beyond.Quo(beyond.Mul(beyond, square(slopes[i])), big.NewRat(int64(n), 1))
		more.Add(more, beyond)
		quartic.Add(quartic, square(beyond))
	}
	if more.Sign() == 0 {
		return gauge
	}
	combined := new(big.Rat).Quo(gauge, big.NewRat(4, 1)) // of standard uncertainties
	combined.Add(combined, more)
	freedom := square(combined)
	freedom.Quo(freedom.Mul(freedom, big.NewRat(int64(n-1), 1)), quartic)
	return combined.Mul(combined, square(coverage(freedom)))
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
	one, err1 := average(Point{Readings: a.Readings}, unit)
	other, err2 := average(Point{Readings: b.Readings}, unit)
	u1, u2 := a.Doubts.Band(single(), len(a.Readings), unit).square, b.Doubts.Band(single(), len(b.Readings), unit).square
	if err1 != nil || err2 != nil || u1 == nil || u2 == nil {
		return false
	}
	return square(new(big.Rat).Sub(one.mean, other.mean)).Cmp(new(big.Rat).Add(u1, u2)) <= 0
}
