package measuring

import (
	"math"
	"math/big"
	"slices"

	"fettle/steps/quantity"
	"fettle/steps/sorting"
)

// Unlikely says why a reading at a point is probably mistyped or misread, so that it is
// asked back before it is kept; "": nothing speaks against it. Points are what else was
// read, also at this point.
//
// A reading is unlikely that lies farther from the middle of the others, or farther
// outside of its limits, than twice their width; or than once, if another decimal place,
// or inches for millimetres, would bring it in. The bounds are wide, so that what a
// crash has bent is rarely asked back (common practice, no source). So is one of three or
// more at the point that the test of Grubbs finds to be an outlier, where it alone makes
// the readings differ by more than half the tolerance.
func (r Rule) Unlikely(point string, reading quantity.Quantity, points []Point) string {
	unit := r.Unit()
	value, err := reading.Rat(unit)
	if err != nil {
		return "" // of another dimension: that is refused anyway
	}
	limits := r.Limits
	if !r.Result.IsZero() {
		limits = Limits{} // they are those of the result
	}
	low, _ := limits.Low.Rat(unit)
	high, _ := limits.High.Rat(unit)
	width := limits.width(low, high, unit)
	var others []quantity.Quantity
	for _, p := range points {
		if p.Name == point || r.akin(point, p.Name, points) {
			others = append(others, p.Readings...)
		}
	}
	if middle := median(others, unit); middle != nil {
		size := new(big.Rat).Abs(middle)
		reach := size // nothing else says how far they may lie apart
		if width != nil {
			reach = twice(width)
		}
		if low == nil && high == nil && width != nil { // a part of that size may be bent by a tenth
			reach = larger(reach, size.Quo(size, big.NewRat(10, 1)))
		}
		if away := new(big.Rat).Sub(value, middle); away.Abs(away).Cmp(reach) > 0 {
			if len(others) == 1 {
				return "the other reading is " + sized(middle, unit)
			}
			return "the others are near " + sized(middle, unit)
		}
	}
	if low != nil && high != nil {
		for _, p := range points {
			if p.Name == point && r.outlier(value, p, width) {
				return "the others at this point agree with each other and not with it"
			}
		}
	}
	over := outside(value, low, high)
	if width == nil || over.Cmp(width) <= 0 {
		return ""
	}
	far := "it is far outside its limits, " + limits.words()
	if low != nil && high != nil {
		for _, factor := range []*big.Rat{big.NewRat(10, 1), big.NewRat(1, 10), big.NewRat(254, 10), big.NewRat(10, 254)} {
			if outside(factor.Mul(factor, value), low, high).Sign() == 0 {
				return far + "; its unit or its decimal point may be wrong"
			}
		}
	}
	if over.Cmp(twice(width)) > 0 {
		return far
	}
	return ""
}

// outlier reports whether a reading is an outlier among three or more of its point by the
// test of Grubbs, one-sided at 5 % (NIST/SEMATECH e-Handbook, 1.3.5.17.1), and farther from
// the mean of the others than half the width. Rounded readings would else be asked back
// for a step of the gauge: of three the test finds any that differs from two equal ones.
func (r Rule) outlier(value *big.Rat, p Point, width *big.Rat) bool {
	if len(p.Readings) < 2 || width == nil {
		return false
	}
	others, err := average(Point{Readings: p.Readings[max(0, len(p.Readings)-9):]}, r.Unit())
	if err != nil {
		return false
	}
	apart := new(big.Rat).Sub(value, others.mean)
	if twice(apart.Abs(apart)).Cmp(width) <= 0 {
		return false
	}
	n := float64(min(len(p.Readings), 9) + 1)
	gap, _ := apart.Float64()
	v, _ := others.variance.Float64()
	return grubbs(gap, v, n) > grubbsLimits()[int(n)]
}

// grubbs is the distance of one of n readings from the mean of all in their standard
// deviations, by its distance from the mean of the others and the variance of those.
func grubbs(gap, variance, n float64) float64 {
	squares := (n-2)*variance + gap*gap*(n-1)/n
	return gap * (n - 1) / n / math.Sqrt(squares/(n-1))
}

// grubbsLimits are the one-sided critical values at 5 % by the number of readings.
func grubbsLimits() map[int]float64 {
	return map[int]float64{3: 1.153, 4: 1.463, 5: 1.672, 6: 1.822, 7: 1.938, 8: 2.032, 9: 2.110, 10: 2.176}
}

// akin reports whether two points should read much the same: by limits that are the same
// for both, or because they are compared.
func (r Rule) akin(a, b string, points []Point) bool {
	if r.Result.IsZero() && (!r.Limits.Low.IsZero() || !r.Limits.High.IsZero()) {
		return true
	}
	return !r.Limits.Alike.IsZero() && slices.ContainsFunc(Compared(points, r.Pairs), func(pair [2]string) bool {
		return pair == [2]string{a, b} || pair == [2]string{b, a}
	})
}

// width is how wide the limits are. An upper limit alone is its own size, a lower one a
// third of it, and points that are only compared differ by up to one and a half times
// what they may. nil: nothing says.
func (l Limits) width(low, high *big.Rat, unit string) *big.Rat {
	width := new(big.Rat)
	switch alike, err := l.Alike.Span(unit); {
	case low != nil && high != nil:
		width.Sub(high, low)
	case high != nil:
		width.Abs(high)
	case low != nil:
		width.Abs(width.Quo(low, big.NewRat(3, 1)))
	case err == nil:
		width.Mul(alike, big.NewRat(3, 2))
	}
	if width.Sign() <= 0 {
		return nil
	}
	return width
}

// words are the limits of a value in words.
func (l Limits) words() string {
	switch {
	case l.Low.IsZero():
		return "at most " + l.High.String()
	case l.High.IsZero():
		return "at least " + l.Low.String()
	}
	return l.Low.String() + " to " + l.High.String()
}

// outside is how far a value lies outside of its limits; nought: it does not.
func outside(value, low, high *big.Rat) *big.Rat {
	switch {
	case low != nil && value.Cmp(low) < 0:
		return new(big.Rat).Sub(low, value)
	case high != nil && value.Cmp(high) > 0:
		return new(big.Rat).Sub(value, high)
	}
	return new(big.Rat)
}

// median is the middle of the readings; nil: there are none.
func median(readings []quantity.Quantity, unit string) *big.Rat {
	var all []*big.Rat
	for _, q := range readings {
		if value, err := q.Rat(unit); err == nil {
			all = append(all, value)
		}
	}
	if len(all) == 0 {
		return nil
	}
	sorting.Stable(all, func(i, k int) int { return all[i].Cmp(all[k]) })
	middle := new(big.Rat).Add(all[(len(all)-1)/2], all[len(all)/2])
	return middle.Quo(middle, big.NewRat(2, 1))
}

func twice(r *big.Rat) *big.Rat { return new(big.Rat).Mul(r, big.NewRat(2, 1)) }
