package measuring

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"sort"
	"strings"

	"gonum.org/v1/gonum/mathext"
)

// A Judged is a value as it was held against its limits.
type Judged struct {
	Known bool
	Point string // where, as [Margin] has it
	Value float64
	Unit  string  // of Value and U
	U     float64 // expanded uncertainty
	Plain bool    // by plain acceptance

	// Probability is how sure it is that the value lies within its limits (JCGM 106:2012,
	// 7.2 to 7.4; from memory), where its error is spread as the normal distribution with
	// U/2 or, where the readings' own spread counts, as Student's with the degrees of
	// freedom that U was expanded with. Of a gate it is that of the value which conforms
	// least surely.
	Probability float64

	// Further are the readings, by point, that would decide what is undecided, if they come
	// out as those before; none: no such would.
	Further   []More
	undecided bool
	coarse    bool // no readings at all would decide it
	doubted   doubted
}

// A More is so many more readings at a point.
type More struct {
	Point string
	N     int
}

// mostFurther is how many more readings are worth asking for.
const mostFurther = 30

// Says is how sure it is that the value conforms and, where that is undecided, what
// would decide it.
func (j Judged) Says() string {
	text := "in tolerance with probability " + j.Likely()
	switch {
	case !j.undecided:
	case len(j.Further) > 0:
		text += "; " + j.further()
	case j.coarse:
		text += "; more readings with this gauge can't settle it"
	case !j.doubted.unsteady: // or else that is said
		text += "; more readings like these would not settle it"
	}
	return text
}

// further are the readings that would decide it, in words.
func (j Judged) further() string {
	var each []string
	most := 0
	for i, m := range j.Further {
		text := fmt.Sprint(m.N)
		if i == 0 {
			text += " more reading" + map[bool]string{true: "s"}[m.N > 1]
		}
		each, most = append(each, text+at(m.Point)), max(most, m.N)
	}
	text := strings.Join(each, " and ")
	if same := func(m More) bool { return m.N == most }; len(each) > 1 && !slices.ContainsFunc(j.Further, func(m More) bool { return !same(m) }) {
		text = fmt.Sprintf("%d more reading%s at each of %s", most, map[bool]string{true: "s"}[most > 1], j.doubted.names())
	}
	return text + " would settle it, if they are like these"
}

// TooCoarse reports whether the value is undecided and no more readings like these would
// decide it.
func (j Judged) TooCoarse() bool { return j.undecided && len(j.Further) == 0 && !j.doubted.unsteady }

// Likely is the probability in words: rounded down, and never certain.
func (j Judged) Likely() string {
	switch p := j.Probability; {
	case p > 0.999:
		return "> 0.999"
	case p >= 0.99:
		return fmt.Sprintf("%.3f", math.Floor(p*1000)/1000)
	case p >= 0.01:
		return fmt.Sprintf("%.2f", math.Floor(p*100)/100)
	}
	return "< 0.01"
}

// doubted is how a value is held in doubt.
type doubted struct {
	plain    bool
	fewest   int         // every mean counts as of so many readings; 0: by its own number
	unsteady bool        // readings of one of the means lie too far apart
	of       []pointMean // the means
	slopes   []*big.Rat
	band     Band
	budget   func([]Term) Band
}

// terms are the means as they count, if at least n readings were taken at each point.
func (d doubted) terms(n int) []Term {
	all := make([]Term, len(d.of))
	for i, m := range d.of {
		all[i] = Term{d.slopes[i], max(n, m.n), m.variance}
		if d.fewest > 0 && n == 0 { // what is read from now on counts by its own number
			all[i].N = d.fewest
		}
	}
	return all
}

// least is the number of readings at the point that has the fewest.
func (d doubted) least() int {
	least := math.MaxInt
	for _, m := range d.of {
		least = min(least, m.n)
	}
	return least
}

func (d doubted) names() string {
	var names []string
	for _, m := range d.of {
		names = append(names, m.name)
	}
	return strings.Join(names, " and ")
}

// decisive is the band that the verdict goes by: none at all with plain acceptance.
func (d doubted) decisive() Band {
	if !d.plain || d.band.square == nil {
		return d.band
	}
	return Band{square: new(big.Rat)}
}

//go:noinline
func (d doubted) decides(room *big.Rat) Verdict { return d.decisive().decides(room) }

// judged is the value with all that is known of it; nothing without a limit, or where the
// gauge measures something else.
func (d doubted) judged(value, low, high *big.Rat, found Finding, unit string) Judged {
	if low == nil && high == nil || d.band.square == nil {
		return Judged{}
	}
	is, _ := value.Float64()
	j := Judged{Known: true, Point: found.Margin.Point, Value: is, Unit: unit, U: d.band.Float(), Plain: d.plain, doubted: d}
	j.Probability = conformity(value, low, high, d.band)
	if j.undecided = found.Verdict == Undecided; j.undecided {
		j.Further, j.coarse = d.further(value, low, high)
	}
	return j
}

// further are the readings that would decide a value which stays as it is, at the points
// that lack them. What so many decide any more decide too, since no band grows with them.
// coarse: no value at all would be in tolerance then. How far readings lie apart never
// lessens, so where that is too far none would.
func (d doubted) further(value, low, high *big.Rat) (more []More, coarse bool) {
	least := d.least()
	at := least + 1 + sort.Search(mostFurther, func(i int) bool {
		band := d.budget(d.terms(least + 1 + i))
		decided := func(edge *big.Rat, sign int64) Verdict {
			if edge == nil {
				return In
			}
			room := new(big.Rat).Sub(value, edge)
			return band.decides(room.Mul(room, big.NewRat(sign, 1)))
		}
		l, h := decided(low, 1), decided(high, -1)
		return l == Out || h == Out || l == In && h == In
	})
	switch {
	case d.unsteady:
	case at > least+mostFurther && low != nil && high != nil:
		half := new(big.Rat).Sub(high, low)
		return nil, d.budget(d.terms(at-1)).decides(half.Quo(half, big.NewRat(2, 1))) != In
	case at <= least+mostFurther:
		for _, m := range d.of {
			if m.n < at {
				more = append(more, More{m.name, at - m.n})
			}
		}
	}
	return more, false
}

// conformity is the probability that a value lies between its limits: that its error is no
// larger than (high - value)/u, less that it is smaller than (low - value)/u, where u is its
// standard uncertainty.
func conformity(value, low, high *big.Rat, band Band) float64 {
	u, freedom := band.Float()/2, math.Inf(1)
	if band.variance != nil {
		v, _ := band.variance.Float64()
		f, _ := band.freedom.Float64()
		u, freedom = math.Sqrt(v), math.Floor(f)
	}
	beyond := func(edge *big.Rat, sign int64) float64 { // the probability of lying beyond the limit
		if edge == nil {
			return 0
		}
		room := new(big.Rat).Sub(edge, value)
		by, _ := room.Mul(room, big.NewRat(sign, 1)).Float64()
		switch {
		case u > 0:
			return tail(by/u, freedom)
		case by < 0:
			return 1
		}
		return 0
	}
	return max(0, 1-beyond(low, -1)-beyond(high, 1))
}

// tail is the probability that Student's t is larger than x; of a thousand degrees of
// freedom or more, that the normal distribution is.
func tail(x, freedom float64) float64 {
	if freedom >= 1000 {
		return math.Erfc(x/math.Sqrt2) / 2
	}
	half := mathext.RegIncBeta(freedom/2, 0.5, freedom/(freedom+x*x)) / 2
	if x < 0 {
		return 1 - half
	}
	return half
}
