// Package measuring decides what a set of readings says about limits.
//
// A reading is never exact, so there are three verdicts. A value is in
// tolerance only inside the limits shrunk by the guard band, out of tolerance
// only outside the limits widened by it, and undecided between: the doubt
// counts against whoever makes the claim (the decision rule of ISO 14253-1,
// here with the whole expanded uncertainty as guard band, which is stricter
// than the default of its 2017 edition; known second-hand). A gate may ask for
// plain acceptance instead: then a value inside its limits is in tolerance, and who
// wrote the limits answers for the doubt.
package measuring

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"

	"fettle/steps/lists"
	"fettle/steps/quantity"
)

// A Verdict is what readings say about limits.
type Verdict string

// The verdicts.
const (
	In        Verdict = "in tolerance"
	Out       Verdict = "out of tolerance"
	Undecided Verdict = "undecided"
	Partial   Verdict = "" // readings are missing
)

// Limits are what a measurement must meet. Each is optional.
type Limits struct {
	Low   quantity.Quantity `json:"low,omitzero"`
	High  quantity.Quantity `json:"high,omitzero"`
	Alike quantity.Quantity `json:"alike,omitzero"` // the most that compared points may differ
}

// Dimension is the dimension of the limits.
func (l Limits) Dimension() quantity.Dimension { return l.any().Dimension() }

// Unit is the unit in which the limits are written.
// It is not inlined: its copies in all callers would take 4 KB.
//
//go:noinline
func (l Limits) Unit() string { return l.any().Unit() }

// any is one of the limits, the same wherever there are several.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func (l Limits) any() quantity.Quantity {
	for _, q := range []quantity.Quantity{l.Low, l.High, l.Alike} {
		if !q.IsZero() {
			return q
		}
	}
	return quantity.Quantity{}
}

// A Finding is a verdict with its reason and the margin.
type Finding struct {
	Verdict Verdict
	Reason  string // one line, for people; empty when in tolerance
	Margin  Margin
	Missing string // the first point without all its readings, in words; "": none
	Result  Judged // where a result is judged and could be worked out
	Judged  Judged // of the values that were judged, the one that conforms least surely

	Unsteady []string // the points whose readings lie too far apart
}

// A Margin is how far the worst point is inside its nearest limit, in the limits'
// unit; negative is outside. Known is false if there is no value.
type Margin struct {
	Known bool
	By    float64
	Point string
}

// A Point is one point with its latest readings, oldest first.
type Point struct {
	Name     string
	Readings []quantity.Quantity
}

// A Rule is what readings are judged by.
type Rule struct {
	Limits Limits
	Repeat int         // readings at each point, of which the mean is judged; 1 where it is less
	Pairs  [][2]string // the points that Limits.Alike compares; none: all with all
	Result Result      // what is judged in place of the points; none: each of them
	Plain  bool        // plain acceptance: what lies within the limits is in tolerance
}

// Bands are the guard bands of one point and of a pair of points.
type Bands struct{ Each, Pair Band }

// Bands are the guard bands that the points are judged with.
func (r Rule) Bands(doubts Doubts) Bands { return Bands{r.each(doubts), r.pair(doubts)} }

func (r Rule) each(doubts Doubts) Band { return doubts.Band(single(), r.repeat(), r.Unit()) }
func (r Rule) pair(doubts Doubts) Band { return doubts.Band(opposed(), r.repeat(), r.Unit()) }

func (r Rule) repeat() int { return max(1, r.Repeat) }

// A pointMean is the mean of a point's readings, how many they are and how far they lie
// apart, and their variance; nil: there is one reading.
type pointMean struct {
	name                   string
	n                      int
	mean, spread, variance *big.Rat
}

// doubted is how a value is held in doubt that is worked out of means.
func (r Rule) doubted(known gauges, slopes []*big.Rat, of ...pointMean) doubted {
	d := doubted{plain: r.Plain, of: of, slopes: slopes, budget: known.budget}
	if known.earlier {
		d.fewest = r.repeat()
	}
	for i, m := range of {
		d.unsteady = d.unsteady || r.unsteady(m, slopes[i]) != nil
	}
	if len(of) == 0 || slices.ContainsFunc(of, func(m pointMean) bool { return m.n == 0 }) { // nothing was read yet
		d.budget = func([]Term) Band { return known.budget(terms(slopes, r.repeat())) }
	}
	d.band = d.budget(d.terms(0))
	return d
}

// Judge decides what the points' readings say. A point or a pair that is not in
// tolerance decides while others still miss readings; a result needs them all.
func (r Rule) Judge(points []Point, doubts Doubts) (Finding, error) {
	unit := r.Unit()
	known := doubts.in(unit)
	found := Finding{Verdict: In}
	var means []pointMean
	for _, p := range points {
		if len(p.Readings) < r.repeat() {
			if found.Missing == "" {
				found.Missing = missing(p, r.repeat())
			}
			continue
		}
		m, err := average(p, unit)
		if err != nil {
			return Finding{}, fmt.Errorf("reading at %q: %w", p.Name, err)
		}
		means = append(means, m)
	}
	if r.Result.IsZero() {
		for _, m := range means {
			value := value{m.mean, func() string { return spot(m.name, m.mean, unit) }, m.name, "the gauge"}
			found = worse(found, r.within(value, r.doubted(known, single(), m), unit))
			found = worse(found, r.steady(m, big.NewRat(1, 1)))
		}
	}
	if !r.Limits.Alike.IsZero() {
		most, err := r.Limits.Alike.Span(unit)
		if err != nil {
			return Finding{}, fmt.Errorf("the alike limit: %w", err)
		}
		at := map[string]pointMean{}
		for _, m := range means {
			at[m.name] = m
		}
		for _, pair := range Compared(points, r.Pairs) {
			a, b := at[pair[0]], at[pair[1]]
			if a.mean == nil || b.mean == nil {
				continue // one of them has no mean yet
			}
			gap := new(big.Rat).Sub(a.mean, b.mean)
			found = worse(found, alike(pair, gap.Abs(gap), most, r.doubted(known, opposed(), a, b), unit))
		}
	}
	switch {
	case found.Missing != "" && found.Verdict == In:
		return Finding{Verdict: Partial, Reason: found.Missing, Missing: found.Missing}, nil
	case found.Missing != "":
		found.Reason += "; " + found.Missing
		return found, nil
	}
	if !r.Result.IsZero() {
		found = worse(found, r.resulting(means, known))
	}
	return found, nil
}

// resulting judges the result of the points' means.
func (r Rule) resulting(means []pointMean, known gauges) Finding {
	var x []*big.Rat
	var of []pointMean
	for _, p := range r.Result.Of {
		i := slices.IndexFunc(means, func(m pointMean) bool { return m.name == p })
		if i < 0 {
			return Finding{Verdict: Undecided, Reason: "there is no point " + p}
		}
		x, of = append(x, means[i].mean), append(of, means[i])
	}
	result, slopes, cannot := r.work(x, known)
	if cannot != "" {
		return Finding{Verdict: Undecided, Reason: cannot}
	}
	words, unit := r.Result.String(), r.Limits.Unit()
	found := r.within(value{result, func() string { return words + " is " + sized(result, unit) + ", which" }, words, "it"}, r.doubted(known, slopes, of...).beside(r.placing(x)), unit)
	for i, m := range of {
		found = worse(found, r.steady(m, slopes[i]))
	}
	found.Result = found.Judged
	return found
}

// A value is what is held against the limits.
type value struct {
	is    *big.Rat
	says  func() string // it and where it was read
	point string
	what  string // what the band is the accuracy of
}

// edge is a limit in the limits' unit.
func (r Rule) edge(limit quantity.Quantity) (*big.Rat, error) {
	if f, ok := FunctionOf(r.Result.Function); ok && f.span {
		return limit.Span(r.Limits.Unit())
	}
	return limit.Rat(r.Limits.Unit())
}

func (r Rule) within(v value, in doubted, unit string) Finding {
	f, band := Finding{Verdict: In}, in.band
	var low, high *big.Rat
	check := func(limit quantity.Quantity, sign int64, word string) (edge *big.Rat) {
		if limit.IsZero() {
			return nil
		}
		edge, err := r.edge(limit)
		if err != nil {
			f = Finding{Verdict: Undecided, Reason: err.Error()}
			return nil
		}
		// room is how far inside the limit the value lies.
		room := new(big.Rat).Sub(v.is, edge)
		room.Mul(room, big.NewRat(sign, 1))
		by, _ := room.Float64()
		margin := Margin{Known: true, By: by, Point: v.point}
		if !f.Margin.Known || by < f.Margin.By {
			f.Margin = margin
		}
		switch in.decides(room) {
		case Out:
			f = worse(f, Finding{Verdict: Out, Reason: fmt.Sprintf("%s is %s %s", v.says(), word, limit), Margin: margin})
		case Undecided:
			what := v.what
			if band.spreads() {
				what = "with the spread of its readings it"
			}
			f = worse(f, Finding{Verdict: Undecided, Margin: margin, Reason: fmt.Sprintf("%s is too close to %s to decide: %s is accurate to %s",
				v.says(), limit, what, sized(exact(band.Float()), unit))})
		}
		return edge
	}
	low = check(r.Limits.Low, 1, "less than")
	high = check(r.Limits.High, -1, "more than")
	f.Judged = in.judged(v.is, low, high, f, unit)
	if f.Verdict == Undecided && f.Judged.Known {
		f.Reason += "; " + f.Judged.Says()
	}
	return f
}

// steady asks for readings at one point that agree to half the width of the
// limits (common practice, no source): wider, and the set-up is in doubt.
func (r Rule) steady(m pointMean, slope *big.Rat) Finding {
	apart := r.unsteady(m, slope)
	if apart == nil {
		return Finding{Verdict: In}
	}
	return Finding{Verdict: Undecided, Unsteady: []string{m.name}, Reason: fmt.Sprintf(
		"the readings%s differ by %s, more than half the tolerance: steady the set-up and begin anew there with %d readings",
		at(m.name), sized(apart, r.Limits.Unit()), r.Anew())}
}

// Anew is how many readings at a point begin it anew, once the set-up was steadied: twice
// as many as else, and four at least (common practice, no source).
func (r Rule) Anew() int { return max(4, 2*r.repeat()) }

// unsteady is how far the readings of a mean lie apart, in what is judged, where that is
// too far; else nil.
func (r Rule) unsteady(m pointMean, slope *big.Rat) *big.Rat {
	if m.spread == nil || m.spread.Sign() == 0 || r.Limits.Low.IsZero() || r.Limits.High.IsZero() {
		return nil
	}
	low, err1 := r.edge(r.Limits.Low)
	high, err2 := r.edge(r.Limits.High)
	if err1 != nil || err2 != nil {
		return nil // within says so
	}
	half := new(big.Rat).Sub(high, low)
	half.Quo(half, big.NewRat(2, 1))
	apart := new(big.Rat).Mul(m.spread, new(big.Rat).Abs(slope))
	if apart.Cmp(half) <= 0 {
		return nil
	}
	return apart
}

func alike(pair [2]string, gap, limit *big.Rat, in doubted, unit string) Finding {
	says := func() string { return fmt.Sprintf("%s and %s differ by %s", pair[0], pair[1], sized(gap, unit)) }
	room := new(big.Rat).Sub(limit, gap)
	by, _ := room.Float64()
	f := Finding{Verdict: in.decides(room), Margin: Margin{Known: true, By: by, Point: pair[0] + "/" + pair[1]}}
	f.Judged = in.judged(gap, new(big.Rat).Neg(limit), limit, f, unit) // either may be the larger in truth
	switch f.Verdict {
	case Out:
		f.Reason = fmt.Sprintf("%s, more than %s", says(), sized(limit, unit))
	case Undecided:
		f.Reason = fmt.Sprintf("%s, too close to %s to decide with this gauge; %s", says(), sized(limit, unit), f.Judged.Says())
	}
	return f
}

// rank orders the verdicts, the worst last.
//
//go:noinline
func (v Verdict) rank() int { return lists.Index([]Verdict{Undecided, Out}, v) }

// worse joins two findings: the worse verdict wins, and the lesser margin.
func worse(a, b Finding) Finding {
	out := a
	if b.Verdict.rank() > a.Verdict.rank() {
		out.Verdict, out.Reason = b.Verdict, b.Reason
	} else if b.Reason != "" && b.Verdict.rank() == a.Verdict.rank() && a.Reason != "" && a.Reason != b.Reason {
		out.Reason = a.Reason + "; " + b.Reason
	}
	if b.Margin.Known && (!a.Margin.Known || b.Margin.By < a.Margin.By) {
		out.Margin = b.Margin
	}
	if b.Result.Known {
		out.Result = b.Result
	}
	out.Unsteady = append(a.Unsteady[:len(a.Unsteady):len(a.Unsteady)], b.Unsteady...)
	if b.Judged.Known && (!a.Judged.Known || b.Judged.Probability < a.Judged.Probability) {
		out.Judged = b.Judged
	}
	return out
}

// Compared are the pairs of points that are compared: those named, or all.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func Compared(points []Point, pairs [][2]string) [][2]string {
	if len(pairs) > 0 {
		return pairs
	}
	for i, a := range points {
		for _, b := range points[i+1:] {
			pairs = append(pairs, [2]string{a.Name, b.Name})
		}
	}
	return pairs
}

// average is the mean of a point's readings, of which there is one at least, with their
// spread and variance.
func average(p Point, unit string) (pointMean, error) {
	sum, low, high := new(big.Rat), new(big.Rat), new(big.Rat)
	values := make([]*big.Rat, len(p.Readings))
	for i, r := range p.Readings {
		v, err := r.Rat(unit)
		if err != nil {
			return pointMean{}, err
		}
		values[i] = v
		sum.Add(sum, v)
		if i == 0 || v.Cmp(low) < 0 {
			low = v
		}
		if i == 0 || v.Cmp(high) > 0 {
			high = v
		}
	}
	m := pointMean{name: p.Name, n: len(values), mean: sum.Quo(sum, big.NewRat(int64(len(values)), 1)), spread: new(big.Rat).Sub(high, low)}
	if n := int64(len(values)); n > 1 {
		m.variance = new(big.Rat)
		for _, v := range values {
			m.variance.Add(m.variance, square(new(big.Rat).Sub(v, m.mean)))
		}
		m.variance.Quo(m.variance, big.NewRat(n-1, 1))
	}
	return m, nil
}

// exact turns a float into a rational; an infinite guard becomes a huge one.
func exact(f float64) *big.Rat {
	if math.IsInf(f, 0) || math.IsNaN(f) {
		return big.NewRat(math.MaxInt64, 1)
	}
	return new(big.Rat).SetFloat64(f)
}

func missing(p Point, repeat int) string {
	if repeat == 1 {
		return fmt.Sprintf("no reading%s yet", at(p.Name))
	}
	return fmt.Sprintf("%d of %d readings%s", len(p.Readings), repeat, at(p.Name))
}

//go:noinline
func at(point string) string {
	if point == "" {
		return ""
	}
	return " at " + point
}

func spot(point string, mean *big.Rat, unit string) string {
	value := sized(mean, unit)
	if point == "" {
		return value
	}
	return point + " at " + value
}

// sized is a size with its unit.
func sized(r *big.Rat, unit string) string { return quantity.Written(decimal(r), unit) }

// decimal shows a value with up to three places, without trailing zeros.
func decimal(r *big.Rat) string {
	return trimmed(r.FloatString(3))
}

// trimmed is a decimal with places, without the zeros it ends with.
func trimmed(s string) string {
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// Between are limits in words, each number in the format and both in the unit; one that is
// infinite is left out.
func Between(low, high float64, format, unit string) string {
	from, to := fmt.Sprintf(format, low), fmt.Sprintf(format, high)
	switch {
	case math.IsInf(low, 0):
		return "at most " + to + " " + unit
	case math.IsInf(high, 0):
		return "at least " + from + " " + unit
	}
	return from + " to " + to + " " + unit
}
