package measuring

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/steps/quantity"
)

// A result is judged by hand-worked values: each case says what it comes to,
// how good that is, and the verdict.
func TestResults(t *testing.T) {
	// A rule of which 0.3 mm are repeatability and 0.4 mm bias.
	doubts := Doubts{Gauges: []Doubt{{q(t, "0.5 mm"), q(t, "0.5 mm"), q(t, "0.3 mm")}}}
	for _, c := range []struct {
		name        string
		result      Result
		low, high   string
		read        map[string]string
		value, band float64
		want        Verdict
		says        string
	}{
		{"a difference", Result{Function: "difference", Of: []string{"a", "b"}}, "1 mm", "3 mm", map[string]string{"a": "12 mm", "b": "10 mm"}, 2, math.Sqrt2 * 0.3, In, ""},
		{"a difference in inches", Result{Function: "difference", Of: []string{"a", "b"}}, "1 mm", "3 mm", map[string]string{"a": "1/2 in", "b": "10.7 mm"}, 2, math.Sqrt2 * 0.3, In, ""},
		{"the other way round", Result{Function: "difference", Of: []string{"b", "a"}}, "1 mm", "3 mm", map[string]string{"a": "12 mm", "b": "10 mm"}, -2, math.Sqrt2 * 0.3, Out, "b − a is -2 mm, which is less than 1 mm"},
		{"too near", Result{Function: "difference", Of: []string{"a", "b"}}, "1 mm", "3 mm", map[string]string{"a": "13 mm", "b": "10.4 mm"}, 2.6, math.Sqrt2 * 0.3, Undecided, "too close to 3 mm to decide: it is accurate to 0.424 mm"},
		// The bias stays in a mean: √(0.4² + 0.3²/2).
		{"a mean", Result{Function: "mean", Of: []string{"a", "b"}}, "10 mm", "12 mm", map[string]string{"a": "12 mm", "b": "10 mm"}, 11, math.Sqrt(0.16 + 0.045), In, ""},
		// It counts twice in a sum: √((2·0.4)² + 2·0.3²).
		{"a sum", Result{Function: "sum", Of: []string{"a", "b"}}, "20 mm", "24 mm", map[string]string{"a": "12 mm", "b": "10 mm"}, 22, math.Sqrt(0.64 + 0.18), In, ""},
		{"a sum too large", Result{Function: "sum", Of: []string{"a", "b"}}, "18 mm", "20 mm", map[string]string{"a": "12 mm", "b": "10 mm"}, 22, math.Sqrt(0.64 + 0.18), Out, "a + b is 22 mm, which is more than 20 mm"},
		// 100/b·√((1 - a/b)²·0.4² + (1 + (a/b)²)·0.3²).
		{"a ratio", Result{Function: "ratio", Of: []string{"a", "b"}}, "90 %", "110 %", map[string]string{"a": "100 mm", "b": "100 mm"}, 100, math.Sqrt2 * 0.3, In, ""},
		{"a ratio of unlike ones", Result{Function: "ratio", Of: []string{"a", "b"}}, "40 %", "60 %", map[string]string{"a": "50 mm", "b": "100 mm"}, 50, math.Sqrt(0.25*0.16 + 1.25*0.09), In, ""},
		{"a ratio by nought", Result{Function: "ratio", Of: []string{"a", "b"}}, "40 %", "60 %", map[string]string{"a": "50 mm", "b": "0 mm"}, 0, 0, Undecided, "it divides by a value too close to 0"},
		{"a ratio by what may be nought", Result{Function: "ratio", Of: []string{"a", "b"}}, "40 %", "60 %", map[string]string{"a": "0 mm", "b": "0.4 mm"}, 0, 0, Undecided, "too close to 0"},
		// tan 1.5° · 500 mm = 13.093 mm; a degree is 8.733 mm of it.
		{"an angle", Result{Function: "angle", Of: []string{"a", "b"}, Run: q(t, "500 mm")}, "1.1°", "1.9°", map[string]string{"a": "63.093 mm", "b": "50 mm"}, 1.5, math.Sqrt2 * 0.3 / 8.7325, In, ""},
		{"an angle in turns", Result{Function: "angle", Of: []string{"a", "b"}, Run: q(t, "500 mm")}, "0.003 turns", "0.005 turns", map[string]string{"a": "63.093 mm", "b": "50 mm"}, 1.5 / 360, math.Sqrt2 * 0.3 / 8.7325 / 360, In, ""},
		{"an angle of one height", Result{Function: "angle", Of: []string{"a"}, Run: q(t, "50 cm")}, "1.1°", "1.9°", map[string]string{"a": "13.093 mm"}, 1.5, 0.5 / 8.7325, In, ""},
		{"half a right angle", Result{Function: "angle", Of: []string{"a"}, Run: q(t, "500 mm")}, "44°", "46°", map[string]string{"a": "500 mm"}, 45, 0.5 * (180 / math.Pi / 2 / 500), In, ""},
		{"a run shorter than it is good to", Result{Function: "angle", Of: []string{"a"}, Run: q(t, "0.4 mm")}, "44°", "46°", map[string]string{"a": "0.4 mm"}, 0, 0, Undecided, "too close to 0"},
		{"a point that is not there", Result{Function: "mean", Of: []string{"a", "c"}}, "44 mm", "46 mm", map[string]string{"a": "1 mm", "b": "1 mm"}, 0, 0, Undecided, "there is no point c"},
		{"a function that is not there", Result{Function: "sine", Of: []string{"a"}}, "44 mm", "46 mm", map[string]string{"a": "1 mm"}, 0, 0, Undecided, "there is no function sine"},
		{"too few points", Result{Function: "ratio", Of: []string{"a"}}, "44 %", "46 %", map[string]string{"a": "1 mm"}, 0, 0, Undecided, "ratio is of 2 points"},
		{"a reading is missing", Result{Function: "difference", Of: []string{"a", "b"}}, "1 mm", "3 mm", map[string]string{"a": "12 mm", "b": ""}, 0, 0, Partial, "no reading at b yet"},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.result.Reads = q(t, "0.5 mm")
			rule := Rule{Limits: Limits{Low: q(t, c.low), High: q(t, c.high)}, Result: c.result}
			var points []Point
			for _, name := range []string{"a", "b"} {
				text, there := c.read[name]
				if !there {
					continue
				}
				p := Point{Name: name}
				if text != "" {
					p.Readings = []quantity.Quantity{q(t, text)}
				}
				points = append(points, p)
			}
			f, err := rule.Judge(points, doubts)
			if err != nil {
				t.Fatal(err)
			}
			if f.Verdict != c.want || !strings.Contains(f.Reason, c.says) {
				t.Errorf("%q: %s; want %q saying %q", f.Verdict, f.Reason, c.want, c.says)
			}
			if f.Result.Known != (c.band != 0) || math.Abs(f.Result.Value-c.value) > 1e-4 || math.Abs(f.Result.U-c.band) > 1e-3*c.band {
				t.Errorf("%+v; want %v good to %v", f.Result, c.value, c.band)
			}
			if parts := rule.Parts(points, doubts); c.band != 0 && math.Abs(parts[len(parts)-1].U-c.band) > 1e-3*c.band { // as it was judged
				t.Errorf("drawn with %v; want %v", parts[len(parts)-1].U, c.band)
			}
		})
	}
}

// Scales at -20 and 250 mm: 735 g balance at (250·210 - 20·525)/735 mm. A gram more at the
// front moves that by -77.143/735 mm, at the rear by 192.857/735 mm, of which the larger of
// sum and root of squares counts, 0.28260 mm, three times for a scale that is good to 3 g; how
// closely they stand comes beside it.
func TestBalance(t *testing.T) {
	stations := func(within string) []Station {
		return []Station{{"front", q(t, "-20 mm"), q(t, "25 g"), q(t, within)}, {"rear", q(t, "250 mm"), quantity.Quantity{}, q(t, within)}}
	}
	for _, c := range []struct {
		name, unit, low, high, front, rear, within string
		value, band                                float64
		want                                       Verdict
		says                                       string
	}{
		{"within", "mm", "54 mm", "60 mm", "550 g", "210 g", "0 mm", 57.1429, 0.84781, In, ""},
		{"the places are good to 1 mm", "mm", "54 mm", "60 mm", "550 g", "210 g", "", 57.1429, math.Sqrt(0.84781*0.84781 + 1), In, ""},
		{"and to 3 mm", "mm", "54 mm", "60 mm", "550 g", "210 g", "3 mm", 57.1429, math.Sqrt(0.84781*0.84781 + 9), Undecided, "too close to 60 mm"},
		{"in ounces", "mm", "54 mm", "60 mm", "19.400679 oz", "210 g", "0 mm", 57.1429, 0.84781, In, ""},
		{"limits in inches", "in", "2.1 in", "2.4 in", "550 g", "210 g", "0 mm", 57.1429 / 25.4, 0.84781 / 25.4, In, ""},
		{"too far aft", "mm", "44 mm", "50 mm", "550 g", "210 g", "0 mm", 57.1429, 0.84781, Out, "the station of the balance point by front, rear is 57.143 mm, which is more than 50 mm"},
		{"nothing but the tare", "mm", "54 mm", "60 mm", "25 g", "0 g", "0 mm", 0, 0, Undecided, "too close to 0"},
		{"hardly more than the tare", "mm", "54 mm", "60 mm", "26 g", "1 g", "0 mm", 0, 0, Undecided, "too close to 0"},
	} {
		rule := Rule{Limits: Limits{Low: q(t, c.low), High: q(t, c.high)},
			Result: Result{Function: Balance, Of: []string{"front", "rear"}, Stations: stations(c.within), Reads: q(t, "1 g")}}
		f, err := rule.Judge([]Point{{"front", []quantity.Quantity{q(t, c.front)}}, {"rear", []quantity.Quantity{q(t, c.rear)}}},
			Doubts{Gauges: []Doubt{{Resolution: q(t, "1 g"), Uncertainty: q(t, "3 g")}}})
		if err != nil || f.Verdict != c.want || !strings.Contains(f.Reason, c.says) {
			t.Errorf("%s: %q: %s %v", c.name, f.Verdict, f.Reason, err)
		}
		if f.Result.Known != (c.band != 0) || math.Abs(f.Result.Value-c.value) > 1e-4 || math.Abs(f.Result.U-c.band) > 1e-4 || c.band != 0 && f.Result.Unit != c.unit {
			t.Errorf("%s: %+v; want %v good to %v", c.name, f.Result, c.value, c.band)
		}
	}
}

// A difference of temperatures has no nought: 9 °F of it are 5 °C.
func TestADifferenceOfTemperatures(t *testing.T) {
	rule := Rule{Limits: Limits{High: q(t, "9 °F")}, Result: Result{Function: "difference", Of: []string{"tip", "heel"}}}
	for heel, want := range map[string]Verdict{"96 °C": In, "95 °C": Undecided, "94 °C": Out} {
		f, err := rule.Judge([]Point{{"tip", []quantity.Quantity{q(t, "100 °C")}}, {"heel", []quantity.Quantity{q(t, heel)}}}, Doubts{Gauges: []Doubt{{Resolution: q(t, "0.1 °C")}}})
		if err != nil || f.Verdict != want {
			t.Errorf("%s: %+v, %v; want %s", heel, f, err, want)
		}
	}
}

// Readings that do not agree leave a result undecided, as far as they tell in it.
func TestAResultOfReadingsThatDoNotAgree(t *testing.T) {
	rule := Rule{Repeat: 2, Limits: Limits{Low: q(t, "1°"), High: q(t, "2°")},
		Result: Result{Function: "angle", Of: []string{"a"}, Run: q(t, "500 mm"), Reads: q(t, "0.1 mm")}}
	for second, steady := range map[string]bool{"16.5 mm": true, "18 mm": false} { // half a degree is 4.36 mm
		f, err := rule.Judge([]Point{{"a", []quantity.Quantity{q(t, "13 mm"), q(t, second)}}}, Doubts{Gauges: []Doubt{{Resolution: q(t, "0.1 mm")}}})
		if err != nil || f.Verdict != Undecided || strings.Contains(f.Reason, "steady the set-up") == steady {
			t.Errorf("%s: %+v, %v; steady: %v", second, f, err, steady)
		}
	}
}

// Every function meets what is asked of it, and its slopes are those that small
// changes of its readings show.
func TestEveryFunction(t *testing.T) {
	for _, fn := range Functions() {
		t.Run(fn.Name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				rule := Rule{Limits: Limits{Low: quantityOf(t, 0, unitFor(fn))}, Result: Result{Function: fn.Name, Reads: quantityOf(t, 1, "mm")}}
				if fn.Run {
					rule.Result.Run = quantityOf(t, rapid.IntRange(10, 1000).Draw(t, "run"), "mm")
				}
				if fn.Stations {
					rule.Result.Reads = quantityOf(t, 1, "g")
				}
				most := fn.Most
				if most == 0 {
					most = fn.Least + 3
				}
				rule.Result.Of = []string{"a", "b", "c", "d", "e"}[:rapid.IntRange(fn.Least, most).Draw(t, "points")]
				for i, p := range rule.Result.Of {
					if fn.Stations { // beyond all targets: the first ahead of them, the others behind
						at := Station{Point: p, At: quantityOf(t, rapid.IntRange(70, 1000).Draw(t, "at"+p)*min(1, 2*i-1), "mm")}
						at.Tare = quantityOf(t, rapid.IntRange(0, 200).Draw(t, "tare"+p), "g")
						rule.Result.Stations = append(rule.Result.Stations, at)
					}
				}
				target := big.NewRat(int64(rapid.IntRange(-600, 600).Draw(t, "target")), 10)
				at := rule.Meet(target)
				if at == nil {
					t.Fatalf("nothing meets %v", target)
				}
				var x []*big.Rat
				for _, p := range rule.Result.Of {
					x = append(x, at[p])
				}
				have, slopes, cannot := rule.work(x, gauges{})
				if miss := new(big.Rat).Sub(have, target); cannot != "" || miss.Abs(miss).Cmp(big.NewRat(1, 10_000)) > 0 {
					t.Fatalf("%v of %v is %v %s", target, at, have, cannot)
				}
				for i := range x {
					more := append([]*big.Rat{}, x...)
					more[i] = new(big.Rat).Add(x[i], big.NewRat(1, 1_000_000))
					moved, _, _ := rule.work(more, gauges{})
					rise, _ := new(big.Rat).Sub(moved, have).Float64()
					want, _ := slopes[i].Float64()
					if got := rise * 1e6; math.Abs(got-want) > 1e-4*max(1, math.Abs(want)) {
						t.Fatalf("the slope at %d is %v, and the change shows %v", i, want, got)
					}
				}
			})
		})
	}
}

// What no reading can come to is not looked for for ever.
func TestNothingMeetsAnAngleBeyondTheVertical(t *testing.T) {
	rule := Rule{Limits: Limits{Low: q(t, "1°")}, Result: Result{Function: "angle", Of: []string{"a"}, Run: q(t, "0.001 mm"), Reads: q(t, "0.5 mm")}}
	for _, target := range []int64{90, 95, -120, 1_000_000_000} {
		if at := rule.Meet(big.NewRat(target, 1)); at != nil {
			t.Errorf("%v meets %d°", at, target)
		}
	}
}

func unitFor(fn Function) string {
	if fn.unit != "" {
		return fn.unit
	}
	return "mm"
}

func quantityOf(t *rapid.T, n int, unit string) quantity.Quantity {
	v, err := quantity.New(big.NewRat(int64(n), 1), unit)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
