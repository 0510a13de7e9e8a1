package spread

import "math/big"

// A Chart is the chart of individual values and of the ranges between neighbours, as
// NIST/SEMATECH e-Handbook 6.3.2.2 draws it.
type Chart struct {
	Centre    *big.Rat
	Sigma     *big.Rat   // the mean moving range over d2; what is between neighbours alone
	Ranges    []*big.Rat // one fewer than the values
	MeanRange *big.Rat
	MostRange *big.Rat // the upper limit of the ranges
	Signals   []Signal // in the order of the values
}

// Line is the centre and so many sigmas.
func (c Chart) Line(sigmas int) *big.Rat {
	line := new(big.Rat).Mul(c.Sigma, whole(sigmas))
	return line.Add(line, c.Centre)
}

// A Signal is a rule that fires at a value.
type Signal struct {
	At   int // of the value that completes it
	Says string
}

// NewChart makes the chart of values in their order; not ok: there are fewer than two.
func NewChart(values []*big.Rat) (c Chart, ok bool) {
	if len(values) < 2 {
		return Chart{}, false
	}
	c.Centre = Of(values).Mean
	c.MeanRange = new(big.Rat)
	for i, v := range values[1:] {
		r := new(big.Rat).Sub(v, values[i])
		c.Ranges = append(c.Ranges, r.Abs(r))
		c.MeanRange.Add(c.MeanRange, r)
	}
	c.MeanRange.Quo(c.MeanRange, whole(len(c.Ranges)))
	of, _ := constantsOf(2)
	c.Sigma = new(big.Rat).Quo(c.MeanRange, of.d2)
	c.MostRange = new(big.Rat).Mul(c.MeanRange, mostOfPair())
	if c.Sigma.Sign() == 0 {
		return c, true // all alike: no line to be beyond
	}
	var places []place
	for i, v := range values {
		p := place{zone: c.zone(v)}
		if i > 0 {
			p.step = v.Cmp(values[i-1])
		}
		places = append(places, p)
	}
	for i := range places {
		for _, r := range rules() {
			if i+1 >= r.of && r.fires(places[i+1-r.of:i+1]) {
				c.Signals = append(c.Signals, Signal{i, r.says})
			}
		}
		if i > 0 && c.Ranges[i-1].Cmp(c.MostRange) > 0 {
			c.Signals = append(c.Signals, Signal{i, "further from the one before than the limit of the ranges"})
		}
	}
	return c, true
}

// mostOfPair is D4, the upper limit of a range of two as a multiple of the mean range:
// 3.267 (NIST/SEMATECH e-Handbook 6.3.2.2, second-hand).
func mostOfPair() *big.Rat { return big.NewRat(3267, 1000) }

// A place is where a value lies on the chart: its zone, and whether it is above (1) or
// below (-1) the one before.
type place struct{ zone, step int }

// zone is how many whole sigmas a value is from the centre, counted from 1, with the
// sign of its side: 4 is more than three above. 0 is the centre itself.
func (c Chart) zone(v *big.Rat) int {
	off := new(big.Rat).Sub(v, c.Centre)
	side := off.Sign()
	off.Abs(off)
	zone := 1
	for zone < 4 && off.Cmp(new(big.Rat).Mul(c.Sigma, whole(zone))) > 0 {
		zone++
	}
	return side * zone
}

// A rule looks at the last so many values.
type rule struct {
	of    int
	says  string
	fires func(last []place) bool
}

// rules are those of NIST/SEMATECH e-Handbook 6.3.2 (second-hand; that of fourteen from
// memory). Each fires at the value that completes it, and is called by what it says.
func rules() []rule {
	side := func(least, zone int) func([]place) bool { // so many of them beyond a line on the side of the last
		return func(last []place) bool {
			for _, sign := range []int{1, -1} {
				n := 0
				for _, p := range last {
					if sign*p.zone > zone {
						n++
					}
				}
				if n >= least && sign*last[len(last)-1].zone > zone {
					return true
				}
			}
			return false
		}
	}
	all := func(is func(place) bool) func([]place) bool {
		return func(last []place) bool {
			for _, p := range last {
				if !is(p) {
					return false
				}
			}
			return true
		}
	}
	up, down := all(func(p place) bool { return p.step > 0 }), all(func(p place) bool { return p.step < 0 })
	return []rule{
		{1, "more than 3 sigma from the centre", side(1, 3)},
		{3, "2 of 3 in a row more than 2 sigma from the centre, on one side", side(2, 2)},
		{5, "4 of 5 in a row more than 1 sigma from the centre, on one side", side(4, 1)},
		{8, "8 in a row on one side of the centre", side(8, 0)},
		{6, "6 in a row rising or falling", func(last []place) bool { return up(last[1:]) || down(last[1:]) }},
		{14, "14 in a row up and down by turns", func(last []place) bool {
			for i := 2; i < len(last); i++ {
				if last[i].step*last[i-1].step >= 0 {
					return false
				}
			}
			return true
		}},
		{15, "15 in a row within 1 sigma of the centre", all(func(p place) bool { return p.zone*p.zone <= 1 })},
		{8, "8 in a row more than 1 sigma from the centre", all(func(p place) bool { return p.zone*p.zone > 1 })},
	}
}

// constants are those of the range of n values of a normal distribution with a standard
// deviation of 1: its mean d2 and its own standard deviation d3.
type constants struct{ d2, d3 *big.Rat }

// constantsOf are the constants of n = 2 to 10 as tables of control charts print them
// (from memory; the tests integrate them anew). false: there are none.
func constantsOf(n int) (constants, bool) {
	table := [...][2]int64{{1128, 853}, {1693, 888}, {2059, 880}, {2326, 864}, {2534, 848}, {2704, 833}, {2847, 820}, {2970, 808}, {3078, 797}}
	if n < 2 || n > len(table)+1 {
		return constants{}, false
	}
	row := table[n-2]
	return constants{big.NewRat(row[0], 1000), big.NewRat(row[1], 1000)}, true
}
