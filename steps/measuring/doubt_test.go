package measuring

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"fettle/steps/quantity"
)

func slopes(of ...int64) []*big.Rat {
	var all []*big.Rat
	for _, s := range of {
		all = append(all, big.NewRat(s, 1))
	}
	return all
}

// The one function of uncertainty against published values. JCGM 100:2008 is
// from memory; the values of 4.4.3 and F.2.2.1 are recomputed from its data.
func TestBand(t *testing.T) {
	ten := slopes(1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	for _, c := range []struct {
		name             string
		resolution, u, r string
		several          bool
		slopes           []*big.Rat
		n                int
		unit             string
		want             float64
	}{
		// 5.2.2, example: ten resistors of 1000 Ω, each compared with one standard of
		// u = 100 mΩ, the comparison adding nothing: 1 Ω in series, and not 0.32 Ω,
		// which is what independent ones come to. Here ten lengths of 100 mm.
		{"ten with one standard", "0.0001 mm", "0.1 mm", "0.0001 mm", false, ten, 1, "mm", 1.0},
		{"ten that are independent", "0.0001 mm", "0.1 mm", "0.1 mm", false, ten, 1, "mm", 0.3162},
		// 4.4.3, table 1: twenty temperatures with s = 1.489 °C have a mean of
		// s/√20 = 0.333 °C.
		{"a mean of twenty", "0.01 °C", "1.489 °C", "1.489 °C", false, slopes(1), 20, "°C", 0.333},
		{"the same in °F", "0.01 °C", "1.489 °C", "1.489 °C", false, slopes(1), 20, "°F", 0.333 * 1.8},
		// F.2.2.1: a step of d has the standard uncertainty 0.29·d, here twice it.
		{"a step", "1 g", "", "", false, slopes(1), 1, "g", 2 * 0.2887},
		{"a step is the least", "1 g", "0.1 g", "", false, slopes(1), 1, "g", 2 * 0.2887},
		{"a step is the least that repeats", "1 g", "3 g", "0.5 g", false, slopes(1, -1), 1, "g", math.Sqrt2 * 2 * 0.28868},
		// The rest by hand.
		{"a difference: the bias cancels", "0.01 mm", "0.5 mm", "0.3 mm", false, slopes(1, -1), 1, "mm", math.Sqrt2 * 0.3},
		{"a difference of two gauges", "0.01 mm", "0.5 mm", "0.3 mm", true, slopes(1, -1), 1, "mm", math.Sqrt2 * 0.5},
		{"a sum of two gauges", "0.01 mm", "0.5 mm", "0.3 mm", true, slopes(1, 1), 1, "mm", math.Sqrt(4*0.16 + 2*0.09)},
		{"a difference of which nobody knows the bias", "0.01 mm", "0.5 mm", "", false, slopes(1, -1), 1, "mm", math.Sqrt2 * 0.5},
		{"a sum of which nobody knows the bias", "0.01 mm", "0.5 mm", "", false, slopes(1, 1), 1, "mm", 1},
		{"four readings of which nobody knows the spread", "0.01 mm", "0.5 mm", "", false, slopes(1), 4, "mm", 0.5},
		{"four readings", "0.01 mm", "0.5 mm", "0.3 mm", false, slopes(1), 4, "mm", math.Sqrt(0.16 + 0.0225)},
		{"another kind of gauge", "1 g", "", "", false, slopes(1), 1, "mm", math.Inf(1)},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := Doubts{Gauges: []Doubt{{q(t, c.resolution), q(t, c.u), q(t, c.r)}}, Several: c.several}
			if got := d.Band(c.slopes, c.n, c.unit).Float(); math.Abs(got-c.want) > 1e-3*c.want {
				t.Errorf("%v, want %v", got, c.want)
			}
		})
	}
}

func TestTheWorseDescriptionOfAGaugeCounts(t *testing.T) {
	old, better := Doubt{Resolution: q(t, "0.5 mm"), Uncertainty: q(t, "0.5 mm")}, Doubt{Resolution: q(t, "0.5 mm"), Uncertainty: q(t, "0.5 mm"), Repeatability: q(t, "0.3 mm")}
	for _, order := range [][]Doubt{{old, better}, {better, old}} {
		if got := (Doubts{Gauges: order}).Band(opposed(), 1, "mm").Float(); math.Abs(got-math.Sqrt2*0.5) > 1e-9 {
			t.Errorf("%v", got)
		}
	}
}

// A gateTrial is a rule with readings and a gauge, of which the sizes are drawn.
type gateTrial struct {
	rule   Rule
	points []Point
	gauge  [3]int // resolution, uncertainty, repeatability, in hundredths
	stated bool
	many   bool
}

func drawTrial(t *rapid.T, repeat int) gateTrial {
	hundredths := func(n int) quantity.Quantity { return made(t, n, "mm") }
	low := rapid.IntRange(-300, 300).Draw(t, "low")
	g := gateTrial{rule: Rule{Repeat: repeat, Limits: Limits{Low: hundredths(low), High: hundredths(low + rapid.IntRange(1, 400).Draw(t, "width"))}}}
	switch rapid.IntRange(0, 3).Draw(t, "judged") {
	case 0:
		g.rule.Limits.Alike = hundredths(rapid.IntRange(0, 200).Draw(t, "alike"))
	case 1:
		g.rule.Result = Result{Function: "difference", Of: []string{"a", "b"}}
	case 2:
		g.rule.Result = Result{Function: "mean", Of: []string{"a", "b"}}
	}
	for _, name := range []string{"a", "b"} {
		p := Point{Name: name}
		v := rapid.IntRange(low-200, low+600).Draw(t, name)
		for range repeat {
			p.Readings = append(p.Readings, hundredths(v))
		}
		g.points = append(g.points, p)
	}
	g.gauge = [3]int{rapid.IntRange(1, 60).Draw(t, "resolution"), rapid.IntRange(0, 100).Draw(t, "uncertainty"), rapid.IntRange(1, 100).Draw(t, "repeatability")}
	g.stated, g.many = rapid.Bool().Draw(t, "stated"), rapid.Bool().Draw(t, "several")
	return g
}

// made is so many hundredths of a millimetre in a unit of length.
func made(t *rapid.T, hundredths int, unit string) quantity.Quantity {
	mm, err := quantity.New(big.NewRat(int64(hundredths), 100), "mm")
	if err != nil {
		t.Fatal(err)
	}
	value, err := mm.Rat(unit)
	if err != nil {
		t.Fatal(err)
	}
	v, err := quantity.New(value, unit)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func (g gateTrial) doubts(t *rapid.T, gauge [3]int) Doubts {
	d := Doubt{Resolution: made(t, gauge[0], "mm"), Uncertainty: made(t, gauge[1], "mm")}
	if g.stated {
		d.Repeatability = made(t, gauge[2], "mm")
	}
	return Doubts{Gauges: []Doubt{d}, Several: g.many}
}

func (g gateTrial) judge(t *rapid.T, d Doubts) Verdict {
	f, err := g.rule.Judge(g.points, d)
	if err != nil {
		t.Fatal(err)
	}
	return f.Verdict
}

// A better gauge takes no pass away and turns none into a failure: what was
// decided with the worse one stays decided so.
func TestASmallerUncertaintyDecidesTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawTrial(t, rapid.IntRange(1, 3).Draw(t, "readings"))
		worse := g.judge(t, g.doubts(t, g.gauge))
		finer := g.gauge
		finer[1] = rapid.IntRange(0, g.gauge[1]).Draw(t, "finer")
		if better := g.judge(t, g.doubts(t, finer)); worse != Undecided && better != worse {
			t.Fatalf("%s with %v, and %s with %v", worse, g.gauge, better, finer)
		}
	})
}

// More readings that agree decide whatever fewer decided.
func TestMoreReadingsNeverWiden(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawTrial(t, rapid.IntRange(1, 3).Draw(t, "readings"))
		few := g.judge(t, g.doubts(t, g.gauge))
		g.rule.Repeat++
		for i := range g.points {
			g.points[i].Readings = append(g.points[i].Readings, g.points[i].Readings[0])
		}
		if many := g.judge(t, g.doubts(t, g.gauge)); few != Undecided && many != few {
			t.Fatalf("%s of few, and %s of more", few, many)
		}
	})
}

// One sheet in inches and one in millimetres decide the same, also where a value lies at the
// very guard band: the sizes are exact in both.
func TestTheUnitOfTheSheetChangesNoVerdict(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u, width := rapid.IntRange(1, 40).Draw(t, "u"), rapid.IntRange(100, 600).Draw(t, "width")
		at := rapid.SampledFrom([]int{u, -u, width - u, width + u}).Draw(t, "at") // thousandths of an inch over the lower limit
		thou := func(n int, unit string) quantity.Quantity {
			r := big.NewRat(int64(n), 1000)
			if unit == "mm" {
				r.Mul(r, big.NewRat(254, 10))
			}
			q, err := quantity.New(r, unit)
			if err != nil {
				t.Fatal(err)
			}
			return q
		}
		want := map[bool]Verdict{true: In, false: Undecided}[at == u || at == width-u]
		for _, unit := range []string{"in", "mm"} {
			rule := Rule{Limits: Limits{Low: thou(500, unit), High: thou(500+width, unit)}}
			doubts := Doubts{Gauges: []Doubt{{Resolution: thou(1, unit), Uncertainty: thou(u, unit)}}}
			f, err := rule.Judge([]Point{{Readings: []quantity.Quantity{thou(500+at, "in")}}}, doubts)
			if err != nil || f.Verdict != want {
				t.Fatalf("in %s: %+v, %v; want %s", unit, f, err, want)
			}
		}
	})
}

// The same sizes in whatever units give the same verdict.
func TestUnitsChangeNoVerdict(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := drawTrial(t, 1)
		want := g.judge(t, g.doubts(t, g.gauge))
		unit := func(what string) string { return rapid.SampledFrom([]string{"mm", "cm", "in", "thou"}).Draw(t, what) }
		in := func(q quantity.Quantity, unit string) quantity.Quantity {
			if q.IsZero() {
				return q
			}
			r, err := q.Rat("mm")
			if err != nil {
				t.Fatal(err)
			}
			hundredths := new(big.Rat).Mul(r, big.NewRat(100, 1))
			return made(t, int(hundredths.Num().Int64()), unit)
		}
		l := &g.rule.Limits
		l.Low, l.High, l.Alike = in(l.Low, unit("of low")), in(l.High, unit("of high")), in(l.Alike, unit("of alike"))
		for i := range g.points {
			for j, r := range g.points[i].Readings {
				g.points[i].Readings[j] = in(r, unit("of a reading"))
			}
		}
		if got := g.judge(t, g.doubts(t, g.gauge)); got != want {
			t.Fatalf("%s, and %s in other units: %+v", want, got, g)
		}
	})
}

func TestLikenessOfTemperaturesIsADifference(t *testing.T) {
	rule := Rule{Limits: Limits{Low: q(t, "90 °C"), High: q(t, "120 °C"), Alike: q(t, "9 °F")}}
	judge := func(b string) Verdict {
		f, err := rule.Judge([]Point{{"a", []quantity.Quantity{q(t, "100 °C")}}, {"b", []quantity.Quantity{q(t, b)}}}, Doubts{Gauges: []Doubt{{Resolution: q(t, "0.1 °C")}}})
		if err != nil {
			t.Fatal(err)
		}
		return f.Verdict
	}
	for b, want := range map[string]Verdict{"104 °C": In, "105 °C": Undecided, "106 °C": Out} {
		if got := judge(b); got != want {
			t.Errorf("%s is %s, want %s: 9 °F are 5 °C", b, got, want)
		}
	}
}
