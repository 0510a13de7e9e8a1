// Package spread says how values of one kind lie: their mean and standard
// deviation, a chart of individual values with the rules that fire on it, what
// share is expected outside of limits, and what a study of a gauge by several people
// shows.
//
// Values are exact. What is compared with a limit or a line of a chart is compared
// exactly; floats come only where a distribution does.
package spread

import (
	"math"
	"math/big"

	"gonum.org/v1/gonum/mathext"
)

// A Summary is what values come to.
type Summary struct {
	Count       int
	Mean        *big.Rat
	Variance    *big.Rat // by Count-1; nil: of one value there is none
	Least, Most *big.Rat
}

// Of is the summary of values, of which there is at least one.
func Of(values []*big.Rat) Summary {
	n := len(values)
	s := Summary{Count: n, Mean: new(big.Rat), Least: values[0], Most: values[0]}
	for _, v := range values {
		s.Mean.Add(s.Mean, v)
		if v.Cmp(s.Least) < 0 {
			s.Least = v
		}
		if v.Cmp(s.Most) > 0 {
			s.Most = v
		}
	}
	s.Mean.Quo(s.Mean, whole(n))
	if n < 2 {
		return s
	}
	s.Variance = new(big.Rat)
	for _, v := range values {
		d := new(big.Rat).Sub(v, s.Mean)
		s.Variance.Add(s.Variance, d.Mul(d, d))
	}
	s.Variance.Quo(s.Variance, whole(n-1))
	return s
}

// Range is how far the values lie apart.
//
//go:noinline
func (s Summary) Range() *big.Rat { return new(big.Rat).Sub(s.Most, s.Least) }

// Deviation is the standard deviation, by Count-1; 0 where there is none.
//
//go:noinline
func (s Summary) Deviation() float64 {
	if s.Variance == nil {
		return 0
	}
	f, _ := s.Variance.Float64()
	return math.Sqrt(f)
}

// Limits are what values must lie between; nil: none on that side.
type Limits struct{ Low, High *big.Rat }

// Outside is the share that the next value has of lying outside the limits if values
// are normally distributed and come as these did. Mean and deviation are only known
// from these values, so the share goes by Student's distribution for one more value,
// with s·√(1+1/n); of few values it is larger than that of the normal curve. Of values
// that are all alike nothing is known: the share is not a number.
func (s Summary) Outside(l Limits) float64 {
	sd := s.Deviation()
	if sd == 0 || l == (Limits{}) {
		return math.NaN()
	}
	n := float64(s.Count)
	share, of := 0.0, sd*math.Sqrt(1+1/n)
	if l.Low != nil {
		share += studentsCDF(less(l.Low, s.Mean)/of, n-1)
	}
	if l.High != nil {
		share += studentsCDF(less(s.Mean, l.High)/of, n-1)
	}
	return share
}

// Enough is from how many values on the capability is said: of fewer its interval is
// so wide that the number misleads (common practice, no source).
const Enough = 25

// An Estimate is a number with the interval that holds the true one with 95 %.
type Estimate struct{ Is, From, To float64 }

// A Capability is how the limits compare with six, or three, standard deviations.
type Capability struct {
	Cp  Estimate // zero with one limit only
	Cpk Estimate
}

// Capability compares the limits with the standard deviation of all values, as
// NIST/SEMATECH e-Handbook 6.1.6 does; the intervals are those given there, that of
// Cpk an approximation (both from memory). Not ok: there are no limits, or the values
// are all alike or fewer than [Enough].
func (s Summary) Capability(l Limits) (c Capability, ok bool) {
	sd := s.Deviation()
	if s.Count < Enough || sd == 0 || l == (Limits{}) {
		return Capability{}, false
	}
	c.Cp.Is, c.Cpk.Is = s.ratios(l)
	n, nu := float64(s.Count), float64(s.Count-1)
	c.Cp.From, c.Cp.To = c.Cp.Is*math.Sqrt(chiSquaredQuantile(0.025, nu)/nu), c.Cp.Is*math.Sqrt(chiSquaredQuantile(0.975, nu)/nu)
	off := mathext.NormalQuantile(0.975) * math.Sqrt(1/(9*n)+c.Cpk.Is*c.Cpk.Is/(2*nu))
	c.Cpk.From, c.Cpk.To = c.Cpk.Is-off, c.Cpk.Is+off
	return c, true
}

// ratios are Cp, 0 with one limit only, and Cpk.
func (s Summary) ratios(l Limits) (cp, cpk float64) {
	sd := s.Deviation()
	cpk = math.Inf(1)
	if l.Low != nil {
		cpk = less(s.Mean, l.Low) / (3 * sd)
	}
	if l.High != nil {
		cpk = math.Min(cpk, less(l.High, s.Mean)/(3*sd))
	}
	if l.Low != nil && l.High != nil {
		cp = less(l.High, l.Low) / (6 * sd)
	}
	return cp, cpk
}

// less is a - b.
func less(a, b *big.Rat) float64 {
	f, _ := new(big.Rat).Sub(a, b).Float64()
	return f
}

//go:noinline
func whole(n int) *big.Rat { return big.NewRat(int64(n), 1) }
