package measuring

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"

	"fettle/steps/balance"
	"fettle/steps/quantity"
)

// A Result is what is judged in place of the points: one function of them. Its
// zero value is none.
type Result struct {
	Function string            `json:"function"`
	Of       []string          `json:"of"` // points, in the order of the function
	Run      quantity.Quantity `json:"run,omitzero"`
	Reads    quantity.Quantity `json:"reads,omitzero"` // a step of the gauge: what its readings are, and in which unit
	Stations []Station         `json:"stations,omitempty"`
}

// IsZero reports whether there is no result.
func (r Result) IsZero() bool { return r.Function == "" }

// String is the result in words.
func (r Result) String() string {
	f, ok := FunctionOf(r.Function)
	if !ok {
		return ""
	}
	return f.says(r)
}

// A Function is one row of the table of functions that a result may be.
type Function struct {
	Name        string
	Least, Most int  // points that it takes; Most 0: any number
	Run         bool // it takes a length beside the points
	Stations    bool // its points are scales with their places

	// Gives is what the result is where the readings are so; "": nothing that
	// means anything.
	Gives func(quantity.Dimension) quantity.Dimension

	says func(Result) string
	unit string // of the value; "": the readings'
	// span says that the value is a difference, so that of temperatures it has
	// no nought.
	span bool
	// value is the value and its slopes, and what it was divided by, nil where
	// by nothing. A divisor of nought has no value.
	value func(x []*big.Rat, of given) (value *big.Rat, slopes []*big.Rat, by *big.Rat)
	// alike says that the value of readings that are all alike is in proportion to them.
	alike bool
	// scaled says that the slopes depend on how large the readings are, and not
	// on the value alone.
	scaled bool
}

// given is what a result says beside its points, in the units of the readings and of
// the function.
type given struct {
	run    *big.Rat
	scales []balance.Scale // what they read is not known yet
	within []*big.Rat      // how closely the place of each is known
}

// Points says how many points it takes.
func (f Function) Points() string {
	switch {
	case f.Most == 0:
		return fmt.Sprintf("%d points or more", f.Least)
	case f.Least < f.Most:
		return fmt.Sprintf("%d or %d points", f.Least, f.Most)
	}
	return fmt.Sprintf("%d points", f.Least)
}

// Functions has a row for every function.
func Functions() []Function {
	return []Function{
		{Name: "difference", Least: 2, Most: 2, Gives: likeReadings, span: true, value: difference,
			says: func(r Result) string { return strings.Join(r.Of, " − ") }},
		{Name: "mean", Least: 2, Gives: likeReadings, value: mean, alike: true,
			says: func(r Result) string { return "the mean of " + strings.Join(r.Of, ", ") }},
		{Name: "sum", Least: 2, Gives: summed, value: sum, alike: true,
			says: func(r Result) string { return strings.Join(r.Of, " + ") }},
		{Name: "ratio", Least: 2, Most: 2, Gives: ratioOf, unit: "%", value: ratio, scaled: true,
			says: func(r Result) string { return strings.Join(r.Of, " / ") }},
		{Name: "angle", Least: 1, Most: 2, Run: true, Gives: angleOf, unit: "°", value: angle,
			says: func(r Result) string {
				return "the angle of " + strings.Join(r.Of, " − ") + " over " + r.Run.String()
			}},
		{Name: Balance, Least: 2, Most: 3, Stations: true, Gives: placeOf, unit: "mm", value: balanced, scaled: true,
			says: func(r Result) string { return "the station of the balance point by " + strings.Join(r.Of, ", ") }},
		{Name: Lateral, Least: 2, Most: 3, Stations: true, Gives: placeOf, unit: "mm", value: balanced, scaled: true,
			says: func(r Result) string {
				return "the balance point right of the centre line by " + strings.Join(r.Of, ", ")
			}},
	}
}

// FunctionOf returns the function of that name.
func FunctionOf(name string) (Function, bool) {
	all := Functions()
	if i := slices.IndexFunc(all, func(f Function) bool { return f.Name == name }); i >= 0 {
		return all[i], true
	}
	return Function{}, false
}

func likeReadings(d quantity.Dimension) quantity.Dimension { return d }

// summed: the sum of two temperatures means nothing.
func summed(d quantity.Dimension) quantity.Dimension {
	if d == quantity.Temperature {
		return ""
	}
	return d
}

// ratioOf: a temperature has no nought to be so many times as far from.
func ratioOf(d quantity.Dimension) quantity.Dimension {
	if d == quantity.Temperature {
		return ""
	}
	return quantity.Ratio
}

func angleOf(d quantity.Dimension) quantity.Dimension {
	if d != quantity.Length {
		return ""
	}
	return quantity.Angle
}

func difference(x []*big.Rat, _ given) (value *big.Rat, slopes []*big.Rat, by *big.Rat) {
	return new(big.Rat).Sub(x[0], x[1]), opposed(), nil
}

func mean(x []*big.Rat, _ given) (value *big.Rat, slopes []*big.Rat, by *big.Rat) {
	share := big.NewRat(1, int64(len(x)))
	value = new(big.Rat)
	for _, v := range x {
		value.Add(value, new(big.Rat).Mul(v, share))
		slopes = append(slopes, share)
	}
	return value, slopes, nil
}

func sum(x []*big.Rat, _ given) (value *big.Rat, slopes []*big.Rat, by *big.Rat) {
	value = new(big.Rat)
	for _, v := range x {
		value.Add(value, v)
		slopes = append(slopes, big.NewRat(1, 1))
	}
	return value, slopes, nil
}

// ratio is a/b in per cent; its slopes are 100/b and -100·a/b².
func ratio(x []*big.Rat, _ given) (value *big.Rat, slopes []*big.Rat, by *big.Rat) {
	if x[1].Sign() == 0 {
		return nil, nil, x[1]
	}
	first := new(big.Rat).Quo(big.NewRat(100, 1), x[1])
	value = new(big.Rat).Mul(first, x[0])
	second := new(big.Rat).Quo(value, x[1])
	return value, []*big.Rat{first, second.Neg(second)}, x[1]
}

// angle is atan(rise/run) in degrees; its slope is 180/π/(1 + t²)/run, where t
// is rise/run. It is exact until the angle itself: what is rounded depends on t
// alone, and so on no unit.
func angle(x []*big.Rat, of given) (value *big.Rat, slopes []*big.Rat, by *big.Rat) {
	run := of.run
	if run.Sign() == 0 {
		return nil, nil, run
	}
	rise, signs := x[0], single()
	if len(x) == 2 {
		rise, signs = new(big.Rat).Sub(x[0], x[1]), opposed()
	}
	t, _ := new(big.Rat).Quo(rise, run).Float64()
	const degrees = 180 / math.Pi
	value = finite(math.Atan(t) * degrees)
	slope := finite(degrees / (1 + t*t))
	slope.Quo(slope, run)
	for _, s := range signs {
		slopes = append(slopes, s.Mul(s, slope))
	}
	return value, slopes, run
}

// finite is the float as a fraction; nought for what is none.
func finite(f float64) *big.Rat {
	if math.IsInf(f, 0) || math.IsNaN(f) {
		return new(big.Rat)
	}
	return new(big.Rat).SetFloat64(f)
}

// Unit is the unit that readings are taken and shown in, of Dimension.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func (r Rule) Unit() string { return r.readings().Unit() }

// Dimension is what the readings are.
func (r Rule) Dimension() quantity.Dimension { return r.readings().Dimension() }

// readings is a quantity such as the readings are.
func (r Rule) readings() quantity.Quantity {
	if r.Result.IsZero() { // most gates
		return r.Limits.any()
	}
	if f, ok := FunctionOf(r.Result.Function); ok && f.unit != "" {
		return r.Result.Reads
	}
	return r.Limits.any()
}

// work works the result out of values of its points in the unit of the
// readings. What it can't be worked out for is said in words.
func (r Rule) work(x []*big.Rat, known gauges) (value *big.Rat, slopes []*big.Rat, cannot string) {
	f, ok := FunctionOf(r.Result.Function)
	if !ok {
		return nil, nil, "there is no function " + r.Result.Function
	}
	if len(x) < f.Least || f.Most > 0 && len(x) > f.Most {
		return nil, nil, f.Name + " is of " + f.Points()
	}
	unit := r.Unit()
	of, err := r.Result.given(f, unit)
	if err != nil {
		return nil, nil, err.Error()
	}
	value, slopes, by := f.value(x, of)
	// What is divided by must be known not to be nought, or the result may be
	// anything.
	if by != nil && (by.Sign() == 0 || known.budget(terms(single(), r.repeat())).decides(new(big.Rat).Abs(by)) != In) {
		return nil, nil, r.Result.String() + " can't be worked out: it divides by a value too close to 0 for this gauge"
	}
	if f.unit != "" && f.unit != r.Limits.Unit() { // ° where the limits are in turns
		one, err := quantity.New(big.NewRat(1, 1), f.unit)
		if err != nil {
			return nil, nil, err.Error()
		}
		scale, err := one.Span(r.Limits.Unit())
		if err != nil {
			return nil, nil, err.Error()
		}
		value = new(big.Rat).Mul(value, scale)
		for i, s := range slopes {
			slopes[i] = new(big.Rat).Mul(s, scale)
		}
	}
	return value, slopes, ""
}

// Meet gives a value for each point of the result, in the unit of the readings,
// with which the result comes to the value in the unit of the limits; nil where
// none was found.
func (r Rule) Meet(value *big.Rat) map[string]*big.Rat {
	x := make([]*big.Rat, len(r.Result.Of))
	for i := range x {
		x[i] = big.NewRat(100, 1)
	}
	if len(x) == 0 {
		return nil
	}
	if len(x) == 1 {
		x[0] = new(big.Rat) // an angle is found from nought, where it is steepest
	}
	for i, s := range r.Result.Stations {
		if tare, err := s.Tare.Rat(r.Unit()); err == nil && i < len(x) {
			x[i].Add(x[i], tare)
		}
	}
	if f, _ := FunctionOf(r.Result.Function); f.alike {
		if have, _, cannot := r.work(x, gauges{}); cannot == "" && have.Sign() != 0 {
			for i := range x {
				x[i].Mul(x[i], new(big.Rat).Quo(value, have))
			}
		}
	}
	for range 20 { // Newton's steps along the first point
		have, slopes, cannot := r.work(x, gauges{})
		if cannot != "" || slopes[0].Sign() == 0 {
			return nil
		}
		miss := new(big.Rat).Sub(value, have)
		if new(big.Rat).Abs(miss).Cmp(big.NewRat(1, 10_000)) < 0 {
			at := map[string]*big.Rat{}
			for i, p := range r.Result.Of {
				at[p] = x[i]
			}
			return at
		}
		next := miss.Quo(miss, slopes[0])
		next.Add(next, x[0])
		if new(big.Rat).Abs(next).Cmp(big.NewRat(1_000_000_000, 1)) > 0 {
			return nil // an angle past the vertical: it runs away
		}
		x[0], _ = new(big.Rat).SetString(next.FloatString(9))
	}
	return nil
}

// Decidable reports whether any reading could be in tolerance beyond doubt, and
// any points be alike; where that depends on how large the readings are it is
// taken to be so.
func (r Rule) Decidable(doubts Doubts) (within, alike bool) {
	within, alike = true, true
	if !r.Limits.Low.IsZero() && !r.Limits.High.IsZero() {
		low, err1 := r.edge(r.Limits.Low)
		high, err2 := r.edge(r.Limits.High)
		if err1 == nil && err2 == nil && high.Cmp(low) > 0 {
			half := new(big.Rat).Sub(high, low)
			half.Quo(half, big.NewRat(2, 1))
			band, known := r.bandAt(new(big.Rat).Add(low, half), doubts)
			within = !known || band.decides(half) == In && band.square.Cmp(square(half)) < 0
		}
	}
	if high, err := r.edge(r.Limits.High); r.Limits.Low.IsZero() && !r.Limits.High.IsZero() && err == nil && high.Sign() > 0 && r.Result.IsZero() &&
		(r.Dimension() == quantity.Length || r.Dimension() == quantity.Mass) {
		within = r.Bands(doubts).Each.decides(high) == In // no length and no mass is less than nothing
	}
	if most, err := r.Limits.Alike.Span(r.Unit()); err == nil && most.Sign() >= 0 {
		alike = r.Bands(doubts).Pair.decides(most) == In
	}
	return within, alike
}

// bandAt is the guard band of a value where it is known before any reading.
func (r Rule) bandAt(value *big.Rat, doubts Doubts) (band Band, known bool) {
	if r.Result.IsZero() {
		return r.Bands(doubts).Each, true
	}
	f, _ := FunctionOf(r.Result.Function)
	at := r.Meet(value)
	if f.scaled || at == nil {
		return Band{}, false
	}
	var x []*big.Rat
	for _, p := range r.Result.Of {
		x = append(x, at[p])
	}
	_, slopes, cannot := r.work(x, gauges{})
	return doubts.Band(slopes, r.repeat(), r.Unit()), cannot == ""
}
