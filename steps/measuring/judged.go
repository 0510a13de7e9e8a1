package measuring

import (
	"fmt"
	"math"
	"math/big"
	"sort"
)

// A Judged is a value as it was held against its limits.
type Judged struct {
	Known bool
	Point string // where, as [Margin] has it
	Value float64
	Unit  string  // of Value and U
	U     float64 // expanded uncertainty
	Plain bool    // by plain acceptance

	// Probability is how sure it is that the value lies within its limits, where its error
	// is spread as the normal distribution with U/2 (JCGM 106:2012, 7.2 to 7.4; from
	// memory). Of a gate it is that of the value which conforms least surely.
	Probability float64

	// Further is how many more readings at each point would decide what is undecided, if
	// they come out as those before; 0: none would.
	Further   int
	undecided bool
	doubted   doubted
}

// mostFurther is how many more readings are worth asking for.
const mostFurther = 30

// Says is how sure it is that the value conforms and, where that is undecided, what
// would decide it.
func (j Judged) Says() string {
	text := "in tolerance with probability " + j.Likely()
	switch each := map[bool]string{true: " at each point"}[j.doubted.each]; {
	case !j.undecided:
	case j.Further == 1:
		text += "; 1 more reading" + each + " like these would settle it"
	case j.Further > 0:
		text += fmt.Sprintf("; %d more readings%s like these would settle it", j.Further, each)
	default:
		text += "; more readings with this gauge can't settle it"
	}
	return text
}

// TooCoarse reports whether the value is undecided and no more readings like these would
// decide it.
func (j Judged) TooCoarse() bool { return j.undecided && j.Further == 0 }

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
	plain, each bool
	n           int
	band        Band             // with n readings at each point
	budget      func(n int) Band // with another number of them that spread as these do
}

// decisive is the band that the verdict goes by: none at all with plain acceptance.
func (d doubted) decisive() Band {
	if !d.plain || d.band.square == nil {
		return d.band
	}
	return Band{square: new(big.Rat)}
}

func (d doubted) decides(room *big.Rat) Verdict { return d.decisive().decides(room) }

// judged is the value with all that is known of it; nothing without a limit, or where the
// gauge measures something else.
func (d doubted) judged(value, low, high *big.Rat, found Finding, unit string) Judged {
	if low == nil && high == nil || d.band.square == nil {
		return Judged{}
	}
	is, _ := value.Float64()
	j := Judged{Known: true, Point: found.Margin.Point, Value: is, Unit: unit, U: d.band.Float(), Plain: d.plain, doubted: d}
	j.Probability = conformity(value, low, high, j.U/2)
	if j.undecided = found.Verdict == Undecided; j.undecided {
		j.Further = d.further(value, low, high)
	}
	return j
}

// further is how many more readings would decide a value that stays as it is. What so many
// decide any more decide too, since no band grows with them.
func (d doubted) further(value, low, high *big.Rat) int {
	more := 1 + sort.Search(mostFurther, func(i int) bool {
		band := d.budget(d.n + 1 + i)
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
	if more > mostFurther {
		return 0
	}
	return more
}

// conformity is the probability that a value with the standard uncertainty u lies between
// its limits: Φ((high - value)/u) - Φ((low - value)/u).
func conformity(value, low, high *big.Rat, u float64) float64 {
	beyond := func(edge *big.Rat, sign int64) float64 { // the probability of lying beyond the limit
		if edge == nil {
			return 0
		}
		room := new(big.Rat).Sub(edge, value)
		by, _ := room.Mul(room, big.NewRat(sign, 1)).Float64()
		switch {
		case u > 0:
			return math.Erfc(by/(u*math.Sqrt2)) / 2
		case by < 0:
			return 1
		}
		return 0
	}
	return max(0, 1-beyond(low, -1)-beyond(high, 1))
}
