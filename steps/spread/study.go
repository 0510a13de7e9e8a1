package spread

import (
	"fmt"
	"math"
	"math/big"

	"fettle/steps/lists"
)

// A Reading is what one person read of one part.
type Reading struct {
	Person, Part string
	Value        *big.Rat
}

// A Study is what a gauge study by average and range shows: standard deviations, in the
// unit of the readings.
type Study struct {
	People, Parts   []string // in the order in which they came
	Trials          int      // readings of each part by each person
	Repeatability   float64  // of one person reading one part again
	Reproducibility float64  // between people
	Part            float64  // between parts
}

// A StudyError says why readings are not a study.
type StudyError struct {
	At  int // of the reading where that shows; -1: it is the whole of them
	Why string
}

func (e *StudyError) Error() string { return e.Why }

// Most is how many people, parts and trials a study may have at most: the constants of
// the ranges go no further, and of more readings a range is a poor measure.
const Most = 10

// NewStudy works out a study. Each person reads each part as many times, at least
// twice. The constants are those of common practice: the mean range over d2 for one
// person reading again, and for people and parts, where there is one range only, d2* =
// √(d2² + d3²) (the values of AIAG, Measurement Systems Analysis, are 1/d2 and 1/d2*;
// second-hand).
func NewStudy(readings []Reading) (Study, error) {
	var s Study
	type cell struct{ person, part string }
	read := map[cell][]*big.Rat{}
	last, lastOf := map[cell]int{}, map[string]int{}
	for i, r := range readings {
		if !lists.Contains(s.People, r.Person) {
			s.People = append(s.People, r.Person)
		}
		if !lists.Contains(s.Parts, r.Part) {
			s.Parts = append(s.Parts, r.Part)
		}
		at := cell{r.Person, r.Part}
		read[at], last[at], lastOf[r.Person] = append(read[at], r.Value), i, i
		s.Trials = max(s.Trials, len(read[at]))
	}
	for _, n := range []struct {
		have int
		one  string
		many string
	}{{len(s.People), "person", "people"}, {len(s.Parts), "part", "parts"}, {s.Trials, "reading of each part by each person", "readings of each part by each person"}} {
		switch {
		case n.have < 2:
			return Study{}, &StudyError{-1, fmt.Sprintf("a study needs at least two %s; there is %d %s", n.many, n.have, n.one)}
		case n.have > Most:
			return Study{}, &StudyError{-1, fmt.Sprintf("a study has at most %d %s; there are %d", Most, n.many, n.have)}
		}
	}
	sum, people, parts := new(big.Rat), make([]*big.Rat, len(s.People)), make([]*big.Rat, len(s.Parts))
	for i, person := range s.People {
		for k, part := range s.Parts {
			at := cell{person, part}
			values := read[at]
			switch {
			case len(values) == 0:
				return Study{}, &StudyError{lastOf[person], fmt.Sprintf("%s did not read part %s; each person reads each part as many times", person, part)}
			case len(values) != s.Trials:
				return Study{}, &StudyError{last[at], fmt.Sprintf("%s read part %s %d times and others %d times; each person reads each part as many times", person, part, len(values), s.Trials)}
			}
			of := Of(values)
			sum.Add(sum, of.Range())
			people[i], parts[k] = plus(people[i], of.Mean), plus(parts[k], of.Mean)
		}
	}
	mean, _ := sum.Quo(sum, whole(len(s.People)*len(s.Parts))).Float64()
	d2, _ := meanRange(s.Trials)
	s.Repeatability = mean / d2
	// The means of people differ by what one person reads differently as well.
	between := rangeOf(people, len(s.Parts))
	own := s.Repeatability * s.Repeatability / float64(len(s.Parts)*s.Trials)
	s.Reproducibility = math.Sqrt(math.Max(0, between*between-own))
	s.Part = rangeOf(parts, len(s.People))
	return s, nil
}

// rangeOf is the standard deviation of the means whose sums of n these are, by their one
// range.
func rangeOf(sums []*big.Rat, n int) float64 {
	r := Of(sums).Range()
	f, _ := r.Quo(r, whole(n)).Float64()
	_, star := meanRange(len(sums))
	return f / star
}

// meanRange is d2 of n values, and d2* where one range is all there is.
func meanRange(n int) (d2, star float64) {
	c, _ := constantsOf(n)
	d2, _ = c.d2.Float64()
	d3, _ := c.d3.Float64()
	return d2, math.Hypot(d2, d3)
}

func plus(sum, more *big.Rat) *big.Rat {
	if sum == nil {
		sum = new(big.Rat)
	}
	return sum.Add(sum, more)
}

// Factor widens a standard deviation of the study to what holds 95.45 % of readings: Student's,
// since few ranges say little (JCGM 100:2008, G.3, from memory). A mean range of g groups of n
// has about 0.9·g·(n−1) degrees of freedom (tables of d2*, from memory); 0.82 bounds that for
// n up to 10.
func (s Study) Factor() float64 {
	free := math.Max(1, math.Floor(0.82*float64(len(s.People)*len(s.Parts)*(s.Trials-1))))
	return studentsQuantile(1-(1-0.9545)/2, free)
}

// Gauge is the standard deviation of a reading by anybody.
//
//go:noinline
func (s Study) Gauge() float64 { return math.Hypot(s.Repeatability, s.Reproducibility) }

// Total is the standard deviation of all readings.
func (s Study) Total() float64 { return math.Hypot(s.Gauge(), s.Part) }

// OfTolerance is the share of a tolerance that six standard deviations take up.
func OfTolerance(deviation float64, tolerance *big.Rat) float64 {
	f, _ := tolerance.Float64()
	return 6 * deviation / f
}

// Apart is how many groups of parts the gauge tells apart: 1.41 times the deviation of
// the parts over that of the gauge, whole; -1: the gauge reads each the same always.
func (s Study) Apart() int {
	if s.Gauge() == 0 {
		return -1
	}
	return int(1.41 * s.Part / s.Gauge())
}
