package measuring

import (
	"math"
	"math/big"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/steps/quantity"
)

func rat(t testing.TB, s string) *big.Rat {
	t.Helper()
	if s == "" {
		return nil
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatal(s)
	}
	return r
}

// standard is the band of a standard uncertainty with so many degrees of freedom; 0: of no
// end of them.
func standard(u float64, freedom int64) Band {
	b := Band{square: exact(4 * u * u)}
	if freedom > 0 {
		b.variance, b.freedom = exact(u*u), big.NewRat(freedom, 1)
	}
	return b
}

// Published values, each with the digits that are printed. M: inputs and answer from
// memory; S2: from a second-hand copy. All were recomputed.
func TestProbabilityOfConformity(t *testing.T) {
	for _, c := range []struct {
		source, low, value, high string
		u, want, printed         float64
	}{
		{"JCGM 106:2012, 7.4, an oil's grade of viscosity (inputs S2, answer M)", "12.5", "13.6", "16.3", 1.8, 0.66, 0.005},
		{"JCGM 106:2012, 7.3, a Zener diode (M)", "", "-5.47", "-5.40", 0.05, 0.92, 0.005},
		{"JCGM 106:2012, 7.3, bursting of a container (M)", "490", "509.7", "", 8.6, 0.99, 0.005},
		{"JCGM 106:2012, table 1 (existence S2, digits M)", "", "0", "0.84", 1, 0.80, 0.002},
		{"JCGM 106:2012, table 1", "", "0", "1.28", 1, 0.90, 0.002},
		{"JCGM 106:2012, table 1", "", "0", "1.64", 1, 0.95, 0.002},
		{"JCGM 106:2012, table 1", "", "0", "2.33", 1, 0.99, 0.0005},
		{"JCGM 106:2012, table 1", "", "0", "3.09", 1, 0.999, 0.0001},
		{"JCGM 106:2012, 8.3.3, a speed of 107 km/h against 100 km/h, to 2 % (M)", "100", "107", "", 2.14, 0.999, 0.001},
		{"JCGM 106:2012, 9.5, the share of resistors that conform (inputs S2, answer M)", "1499.8", "1500", "1500.2", 0.12, 0.90, 0.005},
		{"by hand: at the limit", "1", "1", "", 0.1, 0.5, 1e-12},
		{"by hand: no uncertainty", "1", "1", "", 0, 1, 0},
		{"by hand: no uncertainty, and out", "1", "0.9", "", 0, 0, 0},
	} {
		if got := conformity(rat(t, c.value), rat(t, c.low), rat(t, c.high), standard(c.u, 0)); math.Abs(got-c.want) > c.printed {
			t.Errorf("%s: %v, want %v", c.source, got, c.want)
		}
	}
}

// Student's t has a tail beyond 1 of a quarter with one degree of freedom, and beyond
// 2.92 of a twentieth with two (JCGM 100:2008, table G.2, 90 %, from memory); of 1000 or more
// it is the normal one.
func TestTail(t *testing.T) {
	for _, c := range []struct{ x, freedom, want, printed float64 }{
		{1, 1, 0.25, 1e-9}, {-1, 1, 0.75, 1e-9}, {2.92, 2, 0.05, 1e-4}, {1.81, 10, 0.05, 1e-3}, {0, 7, 0.5, 1e-12}, {1.645, 5000, 0.05, 1e-4},
	} {
		if got := tail(c.x, c.freedom); math.Abs(got-c.want) > c.printed {
			t.Errorf("beyond %v with %v: %v, want %v", c.x, c.freedom, got, c.want)
		}
	}
	// By hand: 10.85 and 10.5 mm, U 0.2 of which 0.1 repeats: mean 10.675, u 0.1950 mm, one
	// degree of freedom; 1/2 + atan(0.325/0.195)/π, less 1/2 - atan(1.675/0.195)/π, is 0.790.
	rule := Rule{Limits: Limits{Low: q(t, "9 mm"), High: q(t, "11 mm")}, Repeat: 2}
	gauge := Doubts{Gauges: []Doubt{{q(t, "0.01 mm"), q(t, "0.2 mm"), q(t, "0.1 mm")}}}
	f, err := rule.Judge([]Point{{Readings: []quantity.Quantity{q(t, "10.85 mm"), q(t, "10.5 mm")}}}, gauge)
	if err != nil || math.Abs(f.Judged.Probability-0.790) > 0.01 {
		t.Errorf("%+v, %v", f.Judged, err)
	}
}

// Each mean counts by its own readings, and only points that lack some are asked for. By hand:
// of a caliper of U 0.2 and r 0.1 mm, b² is 0.03 mm²; 18 readings of 10.82 mm need less than
// 0.18 mm and have √(0.03 + 0.01/18) = 0.1748. With 2 it is 0.187 mm and 5 are needed, √0.032.
func TestFurtherReadings(t *testing.T) {
	gauge := Doubts{Gauges: []Doubt{{q(t, "0.01 mm"), q(t, "0.2 mm"), q(t, "0.1 mm")}}}
	rule := Rule{Limits: Limits{Low: q(t, "9 mm"), High: q(t, "11 mm")}}
	read := func(name, value string, n int) Point {
		return Point{name, slices.Repeat([]quantity.Quantity{q(t, value)}, n)}
	}
	for _, c := range []struct {
		points []Point
		more   []More
		says   string
	}{
		{[]Point{read("a", "10.82 mm", 18), read("b", "10 mm", 1)}, nil, ""},
		{[]Point{read("a", "10.82 mm", 2), read("b", "10 mm", 1)}, []More{{"a", 3}}, "3 more readings at a would settle it, if they are like these"},
		{[]Point{read("a", "10.83 mm", 2), read("b", "10 mm", 1)}, nil, "more readings like these would not settle it"},
	} {
		f, err := rule.Judge(c.points, gauge)
		if err != nil || (f.Verdict == In) != (c.says == "") || !slices.Equal(f.Judged.Further, c.more) && c.says != "" || !strings.Contains(f.Reason, c.says) {
			t.Errorf("%v: %+v, %v; want %v, %q", c.points[0], f, err, c.more, c.says)
		}
	}
	// A pair, 0.95 of 1 mm: √(2·0.1²/n) is no more than 0.05 with 8 readings each.
	pair := Rule{Limits: Limits{Alike: q(t, "1 mm")}}
	f, err := pair.Judge([]Point{read("a", "10.95 mm", 1), read("b", "10 mm", 3)}, gauge)
	if err != nil || !slices.Equal(f.Judged.Further, []More{{"a", 7}, {"b", 5}}) || !strings.Contains(f.Reason, "; 7 more readings at a and 5 at b would settle it") {
		t.Errorf("a pair: %+v, %v", f, err)
	}
	// Of earlier readings both counted as the fewest did.
	gauge.Earlier = true
	if f, err := rule.Judge([]Point{read("a", "10.82 mm", 18), read("b", "10 mm", 1)}, gauge); err != nil || f.Verdict != Undecided {
		t.Errorf("earlier: %+v, %v", f, err)
	}
	coarse := Rule{Limits: Limits{Low: q(t, "9.9 mm"), High: q(t, "10.1 mm")}}
	if f, err := coarse.Judge([]Point{read("a", "10 mm", 1)}, gauge); err != nil || !strings.Contains(f.Reason, "more readings with this gauge can't settle it") {
		t.Errorf("too coarse: %+v, %v", f, err)
	}
}

func TestLikely(t *testing.T) {
	for p, want := range map[float64]string{1: "> 0.999", 0.9995: "> 0.999", 0.999: "0.999", 0.99: "0.990", 0.9899: "0.98", 0.879: "0.87", 0.011: "0.01", 0.0099: "< 0.01", 0: "< 0.01"} {
		if got := (Judged{Probability: p}).Likely(); got != want {
			t.Errorf("%v is said to be %s, want %s", p, got, want)
		}
	}
}

// What readings spread, against JCGM 100:2008 (M: from memory).
func TestSpreadOfReadings(t *testing.T) {
	temperatures := strings.Fields("96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 100.33 100.42 100.68 100.95 101.11 101.20 101.57 101.84 102.36 102.72")
	var p Point
	for _, v := range temperatures {
		p.Readings = append(p.Readings, q(t, v+" °C"))
	}
	m, err := average(p, "°C")
	if err != nil {
		t.Fatal(err)
	}
	// 4.4.3, table 1: mean 100.14 °C, s 1.49 °C, s/√20 0.33 °C.
	mean, _ := m.mean.Float64()
	v, _ := m.variance.Float64()
	if math.Abs(mean-100.145) > 1e-9 || math.Abs(math.Sqrt(v)-1.489) > 5e-4 {
		t.Errorf("mean %v, s %v; want 100.145 and 1.489", mean, math.Sqrt(v))
	}
	gauge := Doubts{Gauges: []Doubt{{Resolution: q(t, "0.0001 °C")}}}
	band := gauge.Budget([]Term{{big.NewRat(1, 1), 20, m.variance}}, "°C").Float()
	if want := 2.14 * 0.3329; math.Abs(band/want-1) > 1e-3 { // 19 degrees of freedom
		t.Errorf("the band is %v, want %v", band, want)
	}
	// G.4.1, the example: 0.25 %, 0.57 % and 0.82 % of 10, 5 and 15 readings have 19
	// effective degrees of freedom. Here of one number of readings, by hand: two of the
	// same variance 2 (u² = 1 each) have 2·(n - 1), so two readings of each 2, and k = 4.53.
	two := gauge.Budget([]Term{{big.NewRat(1, 1), 2, big.NewRat(2, 1)}, {big.NewRat(-1, 1), 2, big.NewRat(2, 1)}}, "°C").Float()
	if want := 4.53 * math.Sqrt2; math.Abs(two/want-1) > 1e-3 {
		t.Errorf("the band of a difference is %v, want %v", two, want)
	}
	// By hand: the gauge has u² = 3 and the mean of two readings u² = 1, so (3+1)²/1² = 16
	// degrees of freedom, and 2.17·√4. What the repeatability of 2 explains is not spread.
	whole := Doubts{Gauges: []Doubt{{Resolution: q(t, "0.0001 °C"), Uncertainty: q(t, "3.4642 °C")}}}
	if got := whole.Budget([]Term{{big.NewRat(1, 1), 2, big.NewRat(2, 1)}}, "°C").Float(); math.Abs(got-2.17*2) > 1e-3 {
		t.Errorf("with the gauge: %v, want 4.34", got)
	}
	repeats := Doubts{Gauges: []Doubt{{q(t, "0.0001 °C"), q(t, "2 °C"), q(t, "2 °C")}}}
	if got := repeats.Budget([]Term{{big.NewRat(1, 1), 2, big.NewRat(1, 1)}}, "°C").Float(); math.Abs(got-math.Sqrt2) > 1e-9 {
		t.Errorf("within the repeatability: %v, want √2", got)
	}
}

// Student's factors recomputed: the distribution between -k and k holds 95.45 %, by
// Simpson's rule over atan(t/√ν), where the density is a power of the cosine.
func TestStudent(t *testing.T) {
	for _, freedom := range []int64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 25, 30, 35, 40, 45, 50, 100} {
		f := float64(freedom)
		k, _ := coverage(big.NewRat(freedom, 1)).Float64()
		power := func(to float64) float64 {
			const n = 2000
			sum := 0.0
			for i := range n + 1 {
				w := []float64{2, 4}[i%2]
				if i == 0 || i == n {
					w = 1
				}
				sum += w * math.Pow(math.Cos(to*float64(i)/n), f-1)
			}
			return sum * to / n / 3
		}
		share := func(k float64) float64 { return power(math.Atan(k/math.Sqrt(f))) / power(math.Pi/2) }
		const step = 0.0051 // the table is rounded to hundredths
		if share(k-step) > 0.9545 || share(k+step) < 0.9545 {
			t.Errorf("%d: %v holds %.5f", freedom, k, share(k))
		}
	}
	if k, _ := coverage(big.NewRat(5000, 1)).Float64(); k != 2 {
		t.Errorf("without end: %v", k)
	}
}

// More readings that spread as much widen no band: so the least number that decides is
// found by halving.
func TestNoBandGrowsWithReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		trial := drawTrial(t, 1)
		d := trial.doubts(t, trial.gauge)
		d.Add(Doubt{Resolution: made(t, rapid.IntRange(1, 60).Draw(t, "of another"), "mm")})
		var variances []*big.Rat
		for range 2 {
			variances = append(variances, big.NewRat(rapid.Int64Range(0, 5000).Draw(t, "variance"), 10_000))
		}
		slopes := slopes(rapid.Int64Range(-3, 3).Draw(t, "slope"), 1)
		for n := rapid.IntRange(2, 30).Draw(t, "n"); n < 33; n++ {
			of := func(n int) []Term { return []Term{{slopes[0], n, variances[0]}, {slopes[1], n, variances[1]}} }
			few, many := d.Budget(of(n), "mm"), d.Budget(of(n+1), "mm")
			if many.square.Cmp(few.square) > 0 || many.gauge.Cmp(few.gauge) > 0 {
				t.Fatalf("±%v of %d, ±%v of one more", few.Float(), n, many.Float())
			}
		}
	})
}

// NIST/SEMATECH e-Handbook, 1.3.5.17.1 (S2): G = 2.4687 for the last of eight, against
// 2.032.
func TestGrubbs(t *testing.T) {
	var p Point
	for _, v := range strings.Fields("199.31 199.53 200.19 200.82 201.92 201.95 202.18") {
		p.Readings = append(p.Readings, q(t, v+" mm"))
	}
	m, err := average(p, "mm")
	if err != nil {
		t.Fatal(err)
	}
	mean, _ := m.mean.Float64()
	v, _ := m.variance.Float64()
	if g := grubbs(245.57-mean, v, 8); math.Abs(g-2.4687) > 1e-4 || grubbsLimits()[8] != 2.032 {
		t.Errorf("G is %v against %v", g, grubbsLimits()[8])
	}
	rule := Rule{Limits: Limits{Low: q(t, "1 mm"), High: q(t, "3 mm")}, Repeat: 3}
	for value, asked := range map[string]bool{"2.1 mm": false, "2.9 mm": false, "3.1 mm": true, "0.9 mm": true} {
		why := rule.Unlikely("", q(t, value), []Point{{Readings: []quantity.Quantity{q(t, "2 mm"), q(t, "2 mm")}}})
		if (why != "") != asked {
			t.Errorf("%s beside 2 mm and 2 mm: %q", value, why)
		}
	}
}

// NIST TN 1297, appendix D (GUM H.1): 34 nm of nine contributions (eight of them S, the
// last and the sum M), here as nine heights that are added, each with a spread of its own.
func TestRootSumSquare(t *testing.T) {
	total := new(big.Rat)
	for _, nm := range []string{"25", "5.8", "3.9", "6.7", "1.7", "5.8", "10.2", "2.9", "16.6"} {
		d := Doubt{Uncertainty: q(t, "1 mm"), Repeatability: q(t, "1 mm")}
		total.Add(total, Doubts{Gauges: []Doubt{d}}.Band([]*big.Rat{rat(t, nm)}, 1, "mm").square)
	}
	if got := (Band{square: total}).Float(); math.Abs(got-34) > 0.5 {
		t.Errorf("%v, want 34", got)
	}
}

// With plain acceptance the limits alone decide; U and the probability are there.
func TestPlainAcceptance(t *testing.T) {
	gauge := Doubts{Gauges: []Doubt{{Resolution: q(t, "0.1 mm"), Uncertainty: q(t, "0.4 mm")}}}
	rule := Rule{Limits: Limits{Low: q(t, "1 mm"), High: q(t, "3 mm")}, Plain: true}
	for value, want := range map[string]Verdict{"1 mm": In, "3 mm": In, "2.9 mm": In, "3.1 mm": Out, "0.9 mm": Out} {
		f, err := rule.Judge([]Point{{Readings: []quantity.Quantity{q(t, value)}}}, gauge)
		if err != nil || f.Verdict != want || !f.Judged.Plain || f.Judged.U != 0.4 {
			t.Errorf("%s: %+v, %v", value, f, err)
		}
	}
	if f, _ := rule.Judge([]Point{{Readings: []quantity.Quantity{q(t, "2 mm")}}}, Doubts{Gauges: []Doubt{{Resolution: q(t, "1 g")}}}); f.Verdict != Undecided {
		t.Errorf("with a scale: %s", f.Verdict)
	}
	alike := Rule{Limits: Limits{Alike: q(t, "1 mm")}, Plain: true}
	f, err := alike.Judge([]Point{{"a", []quantity.Quantity{q(t, "10 mm")}}, {"b", []quantity.Quantity{q(t, "11 mm")}}}, gauge)
	if err != nil || f.Verdict != In || math.Abs(f.Judged.Probability-0.5) > 0.01 {
		t.Errorf("alike: %+v, %v", f, err)
	}
}

// A value farther inside its limits conforms more surely, and one that is in tolerance
// beyond doubt does so in 97 of 100 cases at least. Less uncertainty fails nothing that
// lies within its limits, whatever its readings spread.
func TestConformityGrowsWithTheRoom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.IntRange(1, 200).Draw(t, "u")
		near := rapid.IntRange(-300, 300).Draw(t, "near")
		far := near + rapid.IntRange(1, 100).Draw(t, "farther")
		at := func(n int) float64 {
			return conformity(big.NewRat(int64(n), 100), new(big.Rat), nil, standard(float64(u)/100, 0))
		}
		if at(far) < at(near) {
			t.Fatalf("%v at %d, and %v at %d", at(near), near, at(far), far)
		}
		g := drawTrial(t, 3)
		g.rule.Result, g.rule.Limits.Alike = Result{}, quantity.Quantity{}
		for i := range g.points {
			for j := range g.points[i].Readings {
				n := rapid.IntRange(-300, 900).Draw(t, "reading")
				g.points[i].Readings[j] = made(t, n, "mm")
			}
		}
		g.points = g.points[:1]
		f, err := g.rule.Judge(g.points, g.doubts(t, g.gauge))
		if err != nil {
			t.Fatal(err)
		}
		if f.Verdict == In && f.Judged.Probability < 0.954 {
			t.Fatalf("%+v is in tolerance", f.Judged)
		}
		finer := g.gauge
		finer[1], finer[2] = rapid.IntRange(0, finer[1]).Draw(t, "finer"), rapid.IntRange(1, finer[2]).Draw(t, "steadier")
		better, err := g.rule.Judge(g.points, g.doubts(t, finer))
		if err != nil || f.Verdict == In && better.Verdict == Out || better.Verdict == Out && better.Margin.By >= 0 {
			t.Fatalf("%s, and with less uncertainty %s (%v)", f.Verdict, better.Verdict, err)
		}
	})
}
