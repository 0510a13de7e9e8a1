package spread

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// NIST Statistical Reference Datasets, univariate summary statistics: NumAcc1 to 4 and
// Michelso. Certified mean and standard deviation; read second-hand, in a package that
// quotes them, and worked out again in 50 digits. In floats NumAcc4 reaches 8 digits at
// best and one pass gives a negative variance; of exact decimals every digit is right.
func TestReferenceDatasets(t *testing.T) {
	alternate := func(first, odd, even string) string {
		return first + strings.Repeat(" "+odd+" "+even, 500)
	}
	const michelso = `299.85 299.74 299.90 300.07 299.93 299.85 299.95 299.98 299.98 299.88 300.00 299.98 299.93 299.65 299.76 299.81 300.00 300.00 299.96 299.96
		299.96 299.94 299.96 299.94 299.88 299.80 299.85 299.88 299.90 299.84 299.83 299.79 299.81 299.88 299.88 299.83 299.80 299.79 299.76 299.80
		299.88 299.88 299.88 299.86 299.72 299.72 299.62 299.86 299.97 299.95 299.88 299.91 299.85 299.87 299.84 299.84 299.85 299.84 299.84 299.84
		299.89 299.81 299.81 299.82 299.80 299.77 299.76 299.74 299.75 299.76 299.91 299.92 299.89 299.86 299.88 299.72 299.84 299.85 299.85 299.78
		299.89 299.84 299.78 299.81 299.76 299.81 299.79 299.81 299.82 299.85 299.87 299.87 299.81 299.74 299.81 299.94 299.95 299.80 299.81 299.87`
	for _, set := range []struct {
		name, values, mean string
		deviation          float64
	}{
		{"NumAcc1", "10000001 10000003 10000002", "10000002", 1},
		{"NumAcc2", alternate("1.2", "1.1", "1.3"), "1.2", 0.1},
		{"NumAcc3", alternate("1000000.2", "1000000.1", "1000000.3"), "1000000.2", 0.1},
		{"NumAcc4", alternate("10000000.2", "10000000.1", "10000000.3"), "10000000.2", 0.1},
		{"Michelso", michelso, "299.8524", 0.0790105478190518},
	} {
		s := Of(rats(t, set.values))
		if mean := rats(t, set.mean)[0]; s.Mean.Cmp(mean) != 0 {
			t.Errorf("%s: the mean is %s, not %s", set.name, s.Mean, mean)
		}
		if off := math.Abs(s.Deviation()/set.deviation - 1); off > 1e-14 {
			t.Errorf("%s: the deviation is %.17g, not %.17g: %g off", set.name, s.Deviation(), set.deviation, off)
		}
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.2, individuals control charts: mean 50.81, mean moving
// range 1.8778, limits 45.8159 and 55.8041; the limit of the ranges 6.1347. Second-hand,
// in four independent copies.
func TestIndividuals(t *testing.T) {
	c, ok := NewChart(rats(t, "49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"))
	if !ok || len(c.Signals) > 0 {
		t.Fatalf("%v %+v", ok, c)
	}
	for _, is := range []struct {
		what string
		is   *big.Rat
		want float64
	}{
		{"centre", c.Centre, 50.81}, {"mean range", c.MeanRange, 1.8778}, {"lower limit", c.Line(-3), 45.8159},
		{"upper limit", c.Line(3), 55.8041}, {"limit of ranges", c.MostRange, 6.1347},
	} {
		near(t, is.what, float(is.is), is.want, 0.00006)
	}
	var ranges []string
	for _, r := range c.Ranges {
		ranges = append(ranges, r.FloatString(1))
	}
	if got := strings.Join(ranges, " "); got != "2.0 2.3 1.4 3.5 3.4 1.4 0.2 1.2 1.5" {
		t.Errorf("the ranges are %s", got)
	}
}

// The first row is as the rules are written in NIST/SEMATECH e-Handbook 6.3.2
// (second-hand); each run is one short of the next. The places are set, so that no
// estimate of sigma stands in between.
func TestRules(t *testing.T) {
	for _, c := range []struct{ zones, fires string }{
		{"4", "more than 3"}, {"-4", "more than 3"}, {"3", ""},
		{"3 1 3", "2 of 3"}, {"-3 -3", ""}, {"-3 1 -3", "2 of 3"}, {"3 -3 1", ""}, {"3 3 1", ""}, {"1 3 3", "2 of 3"}, {"3 1 1 3", ""},
		{"2 2 -1 2 2", "4 of 5"}, {"2 2 1 1 2", ""}, {"-2 -2 -2 1 -2", "4 of 5"}, {"2 2 2 2 1", ""},
		{"1 2 1 1 2 1 1 1", "8 in a row on one side"}, {"1 2 1 1 2 1 1", ""}, {"1 2 1 1 0 2 1 1 1", ""},
		{"1 -1 1 1 -1 -1 1 -1 1 1 -1 1 -1 -1 1", "15 in a row within"}, {"1 -1 1 1 -1 -1 1 -1 1 1 -1 1 -1 -1", ""},
		{"2 -2 -2 2 2 -2 -2 2", "8 in a row more than 1"}, {"2 -2 -2 2 2 -2 -2", ""},
	} {
		var places []place
		for _, z := range strings.Fields(c.zones) {
			places = append(places, place{zone: int(float(rats(t, z)[0]))})
		}
		fires(t, c.zones, places, c.fires)
	}
	for _, c := range []struct{ steps, fires string }{
		{"0 1 1 1 1 1", "rising or falling"}, {"0 1 1 1 1", ""}, {"0 -1 -1 -1 -1 -1", "rising or falling"}, {"0 1 1 0 1 1", ""},
		{"0 1 -1 1 -1 1 -1 1 -1 1 -1 1 -1 1", "up and down"}, {"0 1 -1 1 -1 1 -1 1 -1 1 -1 1 -1", ""}, {"0 1 -1 1 -1 1 -1 1 -1 1 -1 1 0 1", ""},
	} {
		var places []place
		for i, s := range strings.Fields(c.steps) {
			places = append(places, place{zone: 2 - 3*(i/2%2), step: int(float(rats(t, s)[0]))}) // on no side for long
		}
		fires(t, c.steps, places, c.fires)
	}
}

// fires wants the rule, and none of the others of so many values, to fire at the last of
// the places.
func fires(t *testing.T, what string, places []place, want string) {
	t.Helper()
	fired := ""
	for _, r := range rules() {
		if n := len(places); n >= r.of && r.fires(places[n-r.of:]) {
			fired += r.says + "; "
		}
	}
	if want == "" && fired != "" || !strings.Contains(fired, want) {
		t.Errorf("at the end of %s fires %q, not %q", what, fired, want)
	}
}

// How long it takes until a rule fires by chance, on a process that is as it always was:
// 370.4 values of the first rule alone (NIST/SEMATECH e-Handbook 6.3.2, second-hand), and
// 91.75 of the first four (Champ and Woodall, Technometrics 29, 1987, quoted there; from
// memory).
func TestFalseAlarms(t *testing.T) {
	near(t, "run length", 1/(2*distuv.UnitNormal.CDF(-3)), 370.4, 0.05)
	random := rand.New(rand.NewPCG(1, 2))
	four, all := rules()[:4], 0
	const runs = 8000
	c := Chart{Centre: new(big.Rat), Sigma: big.NewRat(1, 1)}
	for range runs {
		var places []place
		for fired := false; !fired; all++ {
			z := random.NormFloat64()
			places = append(places, place{zone: int(math.Copysign(math.Min(4, math.Floor(math.Abs(z))+1), z))})
			for _, r := range four {
				fired = fired || len(places) >= r.of && r.fires(places[len(places)-r.of:])
			}
		}
	}
	near(t, "run length of four rules", float64(all)/runs, 91.75, 3)     // some three standard errors
	for _, z := range []string{"0.5", "-1.5", "2.5", "-3.5", "1", "0"} { // the zones are those of the chart
		v := rats(t, z)[0]
		if want := map[string]int{"0.5": 1, "-1.5": -2, "2.5": 3, "-3.5": -4, "1": 1, "0": 0}[z]; c.zone(v) != want {
			t.Errorf("%s is in zone %d, not %d", z, c.zone(v), want)
		}
	}
}

// d2 and d3, held against the distribution of the range of n normal values: its mean is
// the integral of 1 - F^n - (1-F)^n, its second moment that of the joint tail.
func TestConstants(t *testing.T) {
	phi := distuv.UnitNormal
	for n := 2; n <= 10; n++ {
		c, ok := constantsOf(n)
		if !ok {
			t.Fatal(n)
		}
		// P(range <= w) = n ∫ f(x) (F(x+w)-F(x))^(n-1) dx
		below := func(w float64) (p float64) {
			const h = 0.1
			for x := -8.0; x < 8; x += h {
				p += h * float64(n) * phi.Prob(x) * math.Pow(phi.CDF(x+w)-phi.CDF(x), float64(n-1))
			}
			return p
		}
		mean, second := 0.0, 0.0
		const h = 0.05
		for w := h / 2; w < 12; w += h {
			tail := 1 - below(w)
			mean, second = mean+h*tail, second+2*h*w*tail
		}
		near(t, "d2", float(c.d2), mean, 0.0006)
		near(t, "d3", float(c.d3), math.Sqrt(second-mean*mean), 0.0011)
		// AIAG, Measurement Systems Analysis: K1, K2 and K3, second-hand for 2, 3 and
		// 10, else from memory.
		k := []float64{0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146}[n-2]
		_, star := meanRange(n)
		near(t, "1/d2*", 1/star, k, 0.0002)
	}
	for _, n := range []int{1, 11} {
		if _, ok := constantsOf(n); ok {
			t.Errorf("there are constants of %d", n)
		}
	}
}

// NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667
// (second-hand). AIAG & VDA SPC manual, p. 48: one limit of 0.40, Cpk 1.71 twice
// (second-hand). The share outside and Cpk of the last three: a test of a public library
// that was checked in a spreadsheet, by the normal curve (second-hand).
func TestCapability(t *testing.T) {
	many := 1 << 20
	for _, c := range []struct {
		low, high, mean, s string
		cp, cpk, share     float64
	}{
		{"8", "20", "16", "2", 1, 0.6667, -1},
		{"", "0.40", "0.166", "0.0457", 0, 1.71, -1},
		{"", "0.40", "0.250", "0.0292", 0, 1.71, -1},
		{"9", "11", "10", "0.4", 0.8333, 0.8333, 0.01242},
		{"9", "11", "10.5", "0.4", 0.8333, 0.4167, 0.10574},
		{"9", "11", "12", "0.4", 0.8333, -0.8333, 0.99379},
	} {
		s := rats(t, c.s)[0]
		sum := Summary{Count: many, Mean: rats(t, c.mean)[0], Variance: new(big.Rat).Mul(s, s)}
		var l Limits
		if c.low != "" {
			l.Low = rats(t, c.low)[0]
		}
		l.High = rats(t, c.high)[0]
		got, ok := sum.Capability(l)
		if !ok {
			t.Fatalf("%+v", c)
		}
		near(t, "Cp", got.Cp.Is, c.cp, 0.0001)
		near(t, "Cpk", got.Cpk.Is, c.cpk, 0.004)
		if c.share >= 0 {
			near(t, "share outside", sum.Outside(l), c.share, 0.00001)
		}
	}
}

// The intervals by tables of the distributions, from memory: chi-squared of 24 degrees of
// freedom 12.401 and 39.364; Student's of 1, 4 and 9 degrees, one tail of 2.5 %, 12.706,
// 2.776 and 2.262. Of fewer values the next is further off, for all anybody knows.
func TestFewValues(t *testing.T) {
	values := func(n int) (v []*big.Rat) {
		for i := range n {
			v = append(v, big.NewRat(int64(i%2), 1))
		}
		return v
	}
	s := Of(values(Enough))
	l := Limits{big.NewRat(-2, 1), big.NewRat(3, 1)}
	c, ok := s.Capability(l)
	if !ok {
		t.Fatal("25 values have no capability")
	}
	near(t, "Cp from", c.Cp.From, c.Cp.Is*math.Sqrt(12.401/24), 1e-4)
	near(t, "Cp to", c.Cp.To, c.Cp.Is*math.Sqrt(39.364/24), 1e-4)
	off := 1.95996 * math.Sqrt(1/(9*25.)+c.Cpk.Is*c.Cpk.Is/(2*24))
	near(t, "Cpk from", c.Cpk.From, c.Cpk.Is-off, 1e-4)
	near(t, "Cpk to", c.Cpk.To, c.Cpk.Is+off, 1e-4)
	if _, ok := Of(values(Enough - 1)).Capability(l); ok {
		t.Error("24 values have a capability")
	}
	for n, tail := range map[int]float64{2: 12.706, 5: 2.776, 10: 2.262} {
		s := Of(values(n))
		off := new(big.Rat).SetFloat64(tail * s.Deviation() * math.Sqrt(1+1/float64(n)))
		near(t, "share outside", s.Outside(Limits{High: off.Add(off, s.Mean)}), 0.025, 0.00002)
	}
	alike := Of(rats(t, "2 2 2"))
	if share := alike.Outside(l); !math.IsNaN(share) {
		t.Errorf("of values that are all alike %g lie outside", share)
	}
	if c, ok := NewChart(rats(t, "2 2 2")); !ok || len(c.Signals) > 0 {
		t.Errorf("a chart of what is all alike: %v, %+v", ok, c)
	}
	if _, ok := NewChart(rats(t, "2")); ok {
		t.Error("one value has a chart")
	}
}

// The example of AIAG, Measurement Systems Analysis, 4th edition: three people, ten
// parts, three trials; EV 0.20188, AV 0.22963, GRR 0.30575, PV 1.10456, TV 1.14610, five
// groups told apart (data and answers from memory; they fit each other). An analysis of
// variance of the same data gives repeatability 0.03997, reproducibility 0.05146 and
// parts 1.08645, and of a tolerance of 8 22.68 % (Minitab, Crossed Gage R&R, second-hand).
func TestStudy(t *testing.T) {
	readings := example(t)
	s, err := NewStudy(readings)
	if err != nil {
		t.Fatal(err)
	}
	// The constants have three decimals here and five there.
	for _, c := range []struct {
		what     string
		is, want float64
	}{
		{"repeatability", s.Repeatability, 0.20188}, {"reproducibility", s.Reproducibility, 0.22963}, {"gauge", s.Gauge(), 0.30575},
		{"parts", s.Part, 1.10456}, {"total", s.Total(), 1.14610},
	} {
		near(t, c.what, c.is, c.want, 0.0003)
	}
	if s.Apart() != 5 || s.Trials != 3 || len(s.People) != 3 || len(s.Parts) != 10 {
		t.Errorf("%d groups told apart; %+v", s.Apart(), s)
	}
	// JCGM 100:2008, table G.2, column 95.45 %: 2.05 for 50 degrees of freedom and 3.31 for 3; from memory.
	near(t, "factor of ten parts, three people, three times", s.Factor(), 2.05, 0.005)
	near(t, "factor of two parts, two people, twice", Study{People: s.People[:2], Parts: s.Parts[:2], Trials: 2}.Factor(), 3.31, 0.005)
	published := Study{Repeatability: math.Sqrt(0.03997), Reproducibility: math.Sqrt(0.05146), Part: math.Sqrt(1.08645)}
	near(t, "of the tolerance", 100*OfTolerance(published.Gauge(), big.NewRat(8, 1)), 22.68, 0.005)
	near(t, "of the total", 100*published.Gauge()/published.Total(), 27.86, 0.005)
	if published.Apart() != 4 {
		t.Errorf("%d groups told apart, not 4", published.Apart())
	}
	// The published analysis of variance, done on the example: so its data are the
	// published ones.
	mean := func(in func(Reading) bool) float64 {
		var values []*big.Rat
		for _, r := range readings {
			if in(r) {
				values = append(values, r.Value)
			}
		}
		return float(Of(values).Mean)
	}
	all := mean(func(Reading) bool { return true })
	var total, people, parts float64
	for _, r := range readings {
		total += math.Pow(float(r.Value)-all, 2)
	}
	for _, person := range s.People {
		people += 30 * math.Pow(mean(func(r Reading) bool { return r.Person == person })-all, 2)
	}
	for _, part := range s.Parts {
		parts += 9 * math.Pow(mean(func(r Reading) bool { return r.Part == part })-all, 2)
	}
	within := (total - people - parts) / (89 - 2 - 9)
	near(t, "variance within", within, 0.03997, 0.00001)
	near(t, "variance of people", (people/2-within)/30, 0.05146, 0.00001)
	near(t, "variance of parts", (parts/9-within)/9, 1.08645, 0.00001)
}

func TestNoStudy(t *testing.T) {
	for _, c := range []struct {
		what string
		cut  func([]Reading) []Reading
		at   int
		why  string
	}{
		{"nothing", func([]Reading) []Reading { return nil }, -1, "at least two people; there is 0 person"},
		{"one person", func(r []Reading) []Reading { return r[:30] }, -1, "at least two people; there is 1 person"},
		{"one trial", func(r []Reading) []Reading { return slices.Concat(r[:10], r[30:40], r[60:70]) }, -1, "at least two readings of each part"},
		{"one part", func(r []Reading) []Reading {
			return slices.DeleteFunc(r, func(one Reading) bool { return one.Part != "1" })
		}, -1, "at least two parts"},
		{"eleven parts", func(r []Reading) []Reading { return append(r, Reading{"A", "11", r[0].Value}) }, -1, "at most 10 parts"},
		{"a reading missing", func(r []Reading) []Reading { return r[:89] }, 79, "C read part 10 2 times and others 3 times"},
		{"a part missing", func(r []Reading) []Reading {
			return slices.DeleteFunc(r, func(one Reading) bool { return one.Person == "B" && one.Part == "4" })
		}, 56, "B did not read part 4"},
	} {
		_, err := NewStudy(c.cut(example(t)))
		var bad *StudyError
		if !errors.As(err, &bad) || bad.At != c.at || !strings.Contains(bad.Why, c.why) {
			t.Errorf("%s: %+v", c.what, err)
		}
	}
}

// What is added to all values moves the mean and nothing else, and whatever they are
// multiplied with multiplies the deviation: so no unit changes what fires, or a share.
func TestUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Map(rapid.Int64Range(-999, 999), func(n int64) *big.Rat { return big.NewRat(n, 10) }), 2, 40).Draw(t, "values")
		by, add := big.NewRat(rapid.Int64Range(1, 254).Draw(t, "by"), 10), big.NewRat(rapid.Int64Range(-300, 300).Draw(t, "add"), 1)
		moved := make([]*big.Rat, len(values))
		for i, v := range values {
			moved[i] = new(big.Rat).Mul(v, by)
			moved[i].Add(moved[i], add)
		}
		one, other := Of(values), Of(moved)
		if want := new(big.Rat).Mul(one.Variance, new(big.Rat).Mul(by, by)); other.Variance.Cmp(want) != 0 {
			t.Fatalf("the variance is %s, not %s", other.Variance, want)
		}
		a, _ := NewChart(values)
		b, _ := NewChart(moved)
		if !slices.Equal(a.Signals, b.Signals) {
			t.Fatalf("%v fire, and moved %v", a.Signals, b.Signals)
		}
		wide, narrow := one.Outside(Limits{big.NewRat(-200, 1), big.NewRat(200, 1)}), one.Outside(Limits{big.NewRat(-100, 1), big.NewRat(100, 1)})
		if wide > narrow {
			t.Fatalf("%g lie outside of wide limits, and %g outside of narrow ones", wide, narrow)
		}
	})
}

// example is the example of TestStudy, person by person and trial by trial.
func example(t *testing.T) (all []Reading) {
	rows := []string{
		"A 0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36", "A 0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25",
		"A 0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31", "B 0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68",
		"B 0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62", "B 0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50",
		"C 0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49", "C -0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77",
		"C -0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16",
	}
	for _, row := range rows {
		fields := strings.Fields(row)
		for i, v := range rats(t, strings.Join(fields[1:], " ")) {
			all = append(all, Reading{fields[0], big.NewInt(int64(i + 1)).String(), v})
		}
	}
	return all
}

func rats(t *testing.T, text string) (all []*big.Rat) {
	for _, word := range strings.Fields(text) {
		r, ok := new(big.Rat).SetString(word)
		if !ok {
			t.Fatalf("%q is not a number", word)
		}
		all = append(all, r)
	}
	return all
}

func float(r *big.Rat) float64 {
	f, _ := r.Float64()
	return f
}

func near(t *testing.T, what string, is, want, within float64) {
	t.Helper()
	if !(math.Abs(is-want) <= within) {
		t.Errorf("%s is %.8g, not %.8g", what, is, want)
	}
}
