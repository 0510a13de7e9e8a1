// Package measuring decides what a set of readings says about limits.
//
// A reading is never exact, so there are three verdicts. A value is in
// tolerance only inside the limits shrunk by the guard band, out of tolerance
// only outside the limits widened by it, and undecided between: the doubt
// counts against whoever makes the claim (the decision rule of ISO 14253-1,
// here with the whole expanded uncertainty as guard band, which is stricter
// than the default of its 2017 edition; known second-hand).
package measuring

import (
	"fmt"
	"math"
	"math/big"
	"strings"

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
func (l Limits) Dimension() quantity.Dimension {
	for _, q := range []quantity.Quantity{l.Low, l.High, l.Alike} {
		if !q.IsZero() {
			return q.Dimension()
		}
	}
	return ""
}

// Unit is the unit in which the limits are written and readings are shown.
func (l Limits) Unit() string {
	for _, q := range []quantity.Quantity{l.Low, l.High, l.Alike} {
		if !q.IsZero() {
			return q.Unit()
		}
	}
	return ""
}

// Doubt is what is known about a gauge's error. Uncertainty is expanded (k = 2); if
// it is absent it is computed from the resolution.
type Doubt struct {
	Resolution, Uncertainty quantity.Quantity

	Several bool // readings of several gauges: each has a bias of its own
}

// Guard is the guard band in the unit: the expanded uncertainty, which is
// never taken as less than that of the resolution, 2·d/√12 (a reading rounded
// to steps of d has the standard uncertainty d/√12: JCGM 100:2008, F.2.2.1,
// from memory).
func (d Doubt) Guard(unit string) float64 {
	return math.Max(inUnit(d.Uncertainty, unit), d.step(unit))
}

func (d Doubt) step(unit string) float64 { return 2 * inUnit(d.Resolution, unit) / math.Sqrt(12) }

// PairGuard is the guard band of a difference of two readings: √2 times the
// uncertainty of each, as independent uncertainties combine (JCGM 100, 5.1.2, from
// memory). With one gauge only the resolution counts, because its bias cancels; the
// biases of two gauges do not.
func (d Doubt) PairGuard(unit string) float64 {
	if d.Several {
		return math.Sqrt2 * d.Guard(unit)
	}
	return math.Sqrt2 * d.step(unit)
}

// Widest is the gauge with the widest guard band in the unit; of equals the last.
func Widest(unit string, doubts ...Doubt) Doubt {
	var widest Doubt
	for _, d := range doubts {
		if d != widest && d.Guard(unit) >= widest.Guard(unit) {
			widest = d
		}
	}
	return widest
}

// inUnit is a size in the unit, zero where absent.
func inUnit(q quantity.Quantity, unit string) float64 {
	if q.IsZero() {
		return 0
	}
	size, err := q.Span(unit)
	if err != nil {
		return math.Inf(1) // an unsuitable gauge decides nothing
	}
	f, _ := size.Float64()
	return f
}

// A Finding is a verdict with its reason and the margin.
type Finding struct {
	Verdict Verdict
	Reason  string // one line, for people; empty when in tolerance
	Margin  Margin
	Missing string // the first point without all its readings, in words; "": none
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

// Judge compares the points' readings with the limits. Each point needs repeat
// readings, whose mean is judged; pairs names the points that Alike compares (none:
// all with all). A point that is not in tolerance decides even while others still
// lack readings.
func Judge(l Limits, points []Point, repeat int, pairs [][2]string, doubt Doubt) (Finding, error) {
	unit := l.Unit()
	guard := exact(doubt.Guard(unit))
	found := Finding{Verdict: In}
	means := map[string]*big.Rat{}
	for _, p := range points {
		if len(p.Readings) < repeat {
			if found.Missing == "" {
				found.Missing = missing(p, repeat)
			}
			continue
		}
		mean, spread, err := average(p.Readings, unit)
		if err != nil {
			return Finding{}, fmt.Errorf("reading at %q: %w", p.Name, err)
		}
		means[p.Name] = mean
		found = worse(found, within(l, p.Name, mean, guard, unit))
		found = worse(found, steady(l, p.Name, spread, unit))
	}
	switch {
	case found.Missing != "" && found.Verdict == In:
		return Finding{Verdict: Partial, Reason: found.Missing, Missing: found.Missing}, nil
	case found.Missing != "":
		found.Reason += "; " + found.Missing
		return found, nil
	}
	if !l.Alike.IsZero() {
		guard := exact(doubt.PairGuard(unit))
		limit, err := l.Alike.Rat(unit)
		if err != nil {
			return Finding{}, fmt.Errorf("the alike limit: %w", err)
		}
		for _, pair := range Compared(points, pairs) {
			gap := new(big.Rat).Sub(means[pair[0]], means[pair[1]])
			found = worse(found, alike(pair, gap.Abs(gap), limit, guard, unit))
		}
	}
	return found, nil
}

func within(l Limits, point string, mean, guard *big.Rat, unit string) Finding {
	f := Finding{Verdict: In}
	check := func(limit quantity.Quantity, sign int64, word string) {
		if limit.IsZero() {
			return
		}
		edge, err := limit.Rat(unit)
		if err != nil {
			f = Finding{Verdict: Undecided, Reason: err.Error()}
			return
		}
		// room is how far inside the limit the mean lies.
		room := new(big.Rat).Sub(mean, edge)
		room.Mul(room, big.NewRat(sign, 1))
		by, _ := room.Float64()
		margin := Margin{Known: true, By: by, Point: point}
		if !f.Margin.Known || by < f.Margin.By {
			f.Margin = margin
		}
		switch {
		case room.Cmp(guard) >= 0:
		case room.Cmp(new(big.Rat).Neg(guard)) < 0:
			f = worse(f, Finding{Verdict: Out, Reason: fmt.Sprintf("%s is %s %s", spot(point, mean, unit), word, limit), Margin: margin})
		default:
			f = worse(f, Finding{Verdict: Undecided, Margin: margin, Reason: fmt.Sprintf("%s is too close to %s to decide: the gauge is accurate to %s %s",
				spot(point, mean, unit), limit, decimal(guard), unit)})
		}
	}
	check(l.Low, 1, "less than")
	check(l.High, -1, "more than")
	return f
}

// steady asks for readings at one point that agree to half the width of the
// limits (common practice, no source): wider, and the set-up is in doubt.
func steady(l Limits, point string, spread *big.Rat, unit string) Finding {
	if l.Low.IsZero() || l.High.IsZero() {
		return Finding{Verdict: In}
	}
	low, err1 := l.Low.Rat(unit)
	high, err2 := l.High.Rat(unit)
	if err1 != nil || err2 != nil {
		return Finding{Verdict: Undecided, Reason: "the limits cannot be compared"}
	}
	half := new(big.Rat).Sub(high, low)
	half.Quo(half, big.NewRat(2, 1))
	if spread.Cmp(half) <= 0 {
		return Finding{Verdict: In}
	}
	return Finding{Verdict: Undecided, Reason: fmt.Sprintf(
		"the readings%s differ by %s %s, more than half the tolerance: steady the set-up and measure again",
		at(point), decimal(spread), unit)}
}

func alike(pair [2]string, gap, limit, guard *big.Rat, unit string) Finding {
	says := fmt.Sprintf("%s and %s differ by %s %s", pair[0], pair[1], decimal(gap), unit)
	room := new(big.Rat).Sub(limit, gap)
	by, _ := room.Float64()
	margin := Margin{Known: true, By: by, Point: pair[0] + "/" + pair[1]}
	switch {
	case room.Cmp(guard) >= 0:
		return Finding{Verdict: In, Margin: margin}
	case room.Cmp(new(big.Rat).Neg(guard)) < 0:
		return Finding{Verdict: Out, Reason: fmt.Sprintf("%s, more than %s %s", says, decimal(limit), unit), Margin: margin}
	}
	return Finding{Verdict: Undecided, Reason: fmt.Sprintf("%s, too close to %s %s to decide with this gauge", says, decimal(limit), unit), Margin: margin}
}

// worse joins two findings: the worse verdict wins, and the lesser margin.
func worse(a, b Finding) Finding {
	rank := map[Verdict]int{In: 0, Undecided: 1, Out: 2}
	out := a
	if rank[b.Verdict] > rank[a.Verdict] {
		out.Verdict, out.Reason = b.Verdict, b.Reason
	} else if b.Reason != "" && rank[b.Verdict] == rank[a.Verdict] && a.Reason != "" && a.Reason != b.Reason {
		out.Reason = a.Reason + "; " + b.Reason
	}
	if b.Margin.Known && (!a.Margin.Known || b.Margin.By < a.Margin.By) {
		out.Margin = b.Margin
	}
	return out
}

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

func average(readings []quantity.Quantity, unit string) (mean, spread *big.Rat, err error) {
	sum, low, high := new(big.Rat), new(big.Rat), new(big.Rat)
	for i, r := range readings {
		v, err := r.Rat(unit)
		if err != nil {
			return nil, nil, err
		}
		sum.Add(sum, v)
		if i == 0 || v.Cmp(low) < 0 {
			low = v
		}
		if i == 0 || v.Cmp(high) > 0 {
			high = v
		}
	}
	return sum.Quo(sum, big.NewRat(int64(len(readings)), 1)), new(big.Rat).Sub(high, low), nil
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

func at(point string) string {
	if point == "" {
		return ""
	}
	return " at " + point
}

func spot(point string, mean *big.Rat, unit string) string {
	value := decimal(mean) + " " + unit
	if point == "" {
		return value
	}
	return point + " at " + value
}

// decimal shows a value with up to three places, without trailing zeros.
func decimal(r *big.Rat) string {
	return trimmed(r.FloatString(3))
}

// trimmed is a decimal with places, without the zeros it ends with.
func trimmed(s string) string {
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}
