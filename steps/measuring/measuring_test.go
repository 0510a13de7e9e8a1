package measuring

import (
	"math"
	"strings"
	"testing"

	"fettle/steps/quantity"
)

func q(t *testing.T, text string) quantity.Quantity {
	t.Helper()
	if text == "" {
		return quantity.Quantity{}
	}
	v, err := quantity.Parse(text, "")
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// tenths is a gauge that shows tenths of a millimetre, and nothing more is
// known of it.
func tenths(t *testing.T) Doubts {
	t.Helper()
	return Doubts{Gauges: []Doubt{{Resolution: q(t, "0.1 mm")}}}
}

// Resolution to standard uncertainty: 0.29 of a step, d/√12; 1 g gives
// 0.2887 g, 0.01 mm gives 0.002887 mm (JCGM 100:2008, F.2.2.1; from memory,
// recomputed). The guard band is twice that.
func TestGuardFromResolution(t *testing.T) {
	for text, standard := range map[string]float64{"1 g": 0.2887, "0.01 mm": 0.002887} {
		step := q(t, text)
		if got := (Doubt{Resolution: step}).Guard(step.Unit()) / 2; math.Abs(got/standard-1) > 1e-3 {
			t.Errorf("%s: standard uncertainty %v, want %v", text, got, standard)
		}
	}
}

func TestGuardIsASizeNotAPoint(t *testing.T) {
	d := Doubt{Resolution: q(t, "1 °C"), Uncertainty: q(t, "2 °C")}
	if got := d.Guard("°F"); math.Abs(got-3.6) > 1e-9 {
		t.Errorf("an uncertainty of 2 °C is %v °F, want 3.6", got)
	}
	if got := (Doubt{Resolution: q(t, "1 mm"), Uncertainty: q(t, "0.1 mm")}).Guard("mm"); got < 0.57 {
		t.Errorf("guard %v is less than the resolution allows", got)
	}
}

type trial struct {
	name             string
	low, high, alike string
	points           map[string]string
	order            []string
	repeat           int
	pairs            [][2]string
	resolution, u, r string
	want             Verdict
	says             string
}

// The decision rule: in tolerance only inside the limits shrunk by the guard
// band, out only outside the limits widened by it, undecided between (ISO
// 14253-1, second-hand summaries). The values marked "common practice" are
// check values of the trade, no source.
func TestJudge(t *testing.T) {
	for _, c := range []trial{
		// Spar slot 1/8 to 3/16 in deep: common practice, no source.
		{name: "spar slot in fractions", low: "1/8 in", high: "3/16 in", points: map[string]string{"": "5/32 in"}, resolution: "0.01 mm", u: "0.3 mm", want: In},
		{name: "spar slot read in mm", low: "1/8 in", high: "3/16 in", points: map[string]string{"": "4 mm"}, resolution: "0.01 mm", u: "0.3 mm", want: In},
		{name: "spar slot at its very limit", low: "1/8 in", high: "3/16 in", points: map[string]string{"": "1/8 in"}, resolution: "0.01 mm", u: "0.3 mm", want: Undecided, says: "too close to 1/8 in"},
		{name: "spar slot too shallow", low: "1/8 in", high: "3/16 in", points: map[string]string{"": "2.8 mm"}, resolution: "0.01 mm", u: "0.3 mm", want: Out, says: "less than 1/8 in"},
		// A wing spar ends within 1/2 in of the tip: common practice, no source.
		{name: "spar end", high: "1/2 in", points: map[string]string{"": "3/8 in"}, resolution: "0.5 mm", want: In},
		{name: "spar end too far", high: "1/2 in", points: map[string]string{"": "5/8 in"}, resolution: "0.5 mm", want: Out, says: "more than 1/2 in"},
		// Booms 4 3/4 to 5 in either side of the centre line: common practice, no source.
		{name: "booms", low: "4 3/4 in", high: "5 in", points: map[string]string{"left": "4 7/8 in", "right": "123.5 mm"}, order: []string{"left", "right"}, resolution: "0.5 mm", want: In},
		{name: "one boom out", low: "4 3/4 in", high: "5 in", points: map[string]string{"left": "4 7/8 in", "right": "5 1/8 in"}, order: []string{"left", "right"}, resolution: "0.5 mm", want: Out, says: "right at"},
		// A covering iron at 200 to 250 °F: common practice, no source.
		{name: "iron", low: "200 °F", high: "250 °F", points: map[string]string{"": "105 °C"}, resolution: "1 °C", u: "3 °C", want: In},
		{name: "iron too hot", low: "200 °F", high: "250 °F", points: map[string]string{"": "130 °C"}, resolution: "1 °C", u: "3 °C", want: Out},
		{name: "iron near the limit", low: "200 °F", high: "250 °F", points: map[string]string{"": "247 °F"}, resolution: "1 °C", u: "3 °C", want: Undecided},
		// A level tail 1/2 in over the table: common practice, no source.
		{name: "tail", low: "0.4 in", high: "0.6 in", alike: "1.5 mm", points: map[string]string{"left": "1/2 in", "right": "1/2 in"}, order: []string{"left", "right"}, resolution: "0.5 mm", want: In},
		// Balance 1 to 1 1/4 in behind the leading edge: common practice, no source.
		{name: "balance", low: "1 in", high: "1 1/4 in", points: map[string]string{"": "28.5 mm"}, resolution: "1 mm", u: "1 mm", want: In},
		{name: "tail-heavy", low: "1 in", high: "1 1/4 in", points: map[string]string{"": "34 mm"}, resolution: "1 mm", u: "1 mm", want: Out},
		// A clevis on by two to three turns: common practice, no source.
		{name: "clevis", low: "2 turns", high: "3 turns", points: map[string]string{"": "2.5 turns"}, resolution: "0.25 turns", want: In},
		{name: "clevis by a thread", low: "2 turns", high: "3 turns", points: map[string]string{"": "1 turn"}, resolution: "0.25 turns", want: Out},

		{name: "alike", alike: "3 mm", points: map[string]string{"left": "500 mm", "right": "502 mm"}, order: []string{"left", "right"}, resolution: "0.5 mm", want: In},
		{name: "not alike", alike: "3 mm", points: map[string]string{"left": "500 mm", "right": "504 mm"}, order: []string{"left", "right"}, resolution: "0.5 mm", want: Out, says: "left and right differ by 4 mm"},
		{name: "alike within the doubt", alike: "3 mm", points: map[string]string{"left": "500 mm", "right": "503 mm"}, order: []string{"left", "right"}, resolution: "0.5 mm", want: Undecided},
		{name: "only pairs are compared", alike: "1 mm", points: map[string]string{"lw": "10 mm", "rw": "10 mm", "lt": "20 mm", "rt": "20 mm"}, order: []string{"lw", "rw", "lt", "rt"}, pairs: [][2]string{{"lw", "rw"}, {"lt", "rt"}}, resolution: "0.1 mm", want: In},
		{name: "a reading is missing", low: "1 mm", high: "3 mm", points: map[string]string{"a": "2 mm", "b": ""}, order: []string{"a", "b"}, resolution: "0.1 mm", want: Partial, says: "at b"},
		{name: "inside by the very guard band", low: "1 mm", high: "3 mm", points: map[string]string{"": "2.75 mm"}, resolution: "0.1 mm", u: "0.25 mm", want: In},
		{name: "outside by the very guard band", low: "1 mm", high: "3 mm", points: map[string]string{"": "3.25 mm"}, resolution: "0.1 mm", u: "0.25 mm", want: Undecided},
		{name: "outside by a step more", low: "1 mm", high: "3 mm", points: map[string]string{"": "3.26 mm"}, resolution: "0.1 mm", u: "0.25 mm", want: Out},
		{name: "below by the very guard band", low: "1 mm", high: "3 mm", points: map[string]string{"": "0.75 mm"}, resolution: "0.1 mm", u: "0.25 mm", want: Undecided},
		{name: "below by a step more", low: "1 mm", high: "3 mm", points: map[string]string{"": "0.74 mm"}, resolution: "0.1 mm", u: "0.25 mm", want: Out},
		// s/√3 is 0.2887 mm and known of three readings alone, with 2.04 effective degrees of
		// freedom beside 0.0289 mm of the gauge: 4.53·√(0.2887² + 0.0289²).
		{name: "three that differ by half the tolerance", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.5 mm,2 mm,2.5 mm"}, resolution: "0.1 mm", want: Undecided, says: "with the spread of its readings it is accurate to 1.314 mm; in tolerance"},
		{name: "three that differ by a step more", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.5 mm,2 mm,2.6 mm"}, resolution: "0.1 mm", want: Undecided, says: "steady the set-up"},
		{name: "the lowest comes last", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "2.6 mm,2 mm,1.5 mm"}, resolution: "0.1 mm", want: Undecided, says: "differ by 1.1 mm"},
		{name: "the highest is between", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.5 mm,2.6 mm,2 mm"}, resolution: "0.1 mm", want: Undecided, says: "differ by 1.1 mm"},
		{name: "three below zero", low: "-3 mm", high: "-1 mm", repeat: 3, points: map[string]string{"": "-1.7 mm,-2 mm,-2.3 mm"}, resolution: "0.1 mm", want: In},
		{name: "two are out", low: "1 mm", high: "3 mm", points: map[string]string{"a": "4 mm", "b": "0 mm"}, order: []string{"a", "b"}, resolution: "0.1 mm", want: Out, says: "a at 4 mm is more than 3 mm; b at 0 mm is less than 1 mm"},
		{name: "one is out and the next too close", low: "1 mm", high: "3 mm", points: map[string]string{"a": "4 mm", "b": "3 mm"}, order: []string{"a", "b"}, resolution: "0.1 mm", want: Out, says: "a at 4 mm is more than 3 mm"},
		{name: "one is too close and the next out", low: "1 mm", high: "3 mm", points: map[string]string{"a": "3 mm", "b": "4 mm"}, order: []string{"a", "b"}, resolution: "0.1 mm", want: Out, says: "b at 4 mm is more than 3 mm"},
		{name: "nothing was read", low: "1 mm", high: "3 mm", points: map[string]string{"": ""}, resolution: "0.1 mm", want: Partial, says: "no reading yet"},
		{name: "a gauge of another kind decides nothing", low: "1 mm", high: "3 mm", points: map[string]string{"": "2 mm"}, resolution: "1 g", want: Undecided},
		{name: "the bias of one gauge cancels", alike: "3 mm", points: map[string]string{"left": "500 mm", "right": "502 mm"}, order: []string{"left", "right"}, resolution: "0.01 mm", u: "1 mm", r: "0.1 mm", want: In},
		{name: "nobody knows which part is bias", alike: "3 mm", points: map[string]string{"left": "500 mm", "right": "502 mm"}, order: []string{"left", "right"}, resolution: "0.01 mm", u: "1 mm", want: Undecided},
		// Of 0.4 mm, √(0.4² - 0.3²) is bias; three readings leave 0.3/√3 of the rest: 0.316 in all.
		{name: "three readings, of which the spread shrinks", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.32 mm,1.32 mm,1.32 mm"}, resolution: "0.1 mm", u: "0.4 mm", r: "0.3 mm", want: In},
		{name: "three readings, of which the bias stays", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.31 mm,1.31 mm,1.31 mm"}, resolution: "0.1 mm", u: "0.4 mm", r: "0.3 mm", want: Undecided, says: "the gauge is accurate to 0.316 mm"},
		{name: "three readings, and nobody knows what shrinks", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.32 mm,1.32 mm,1.32 mm"}, resolution: "0.1 mm", u: "0.4 mm", want: Undecided},
		{name: "one pair is compared", alike: "1 mm", points: map[string]string{"a": "10 mm", "b": "10 mm", "c": "20 mm"}, order: []string{"a", "b", "c"}, pairs: [][2]string{{"a", "b"}}, resolution: "0.1 mm", want: In},
		{name: "all are compared where none are named", alike: "1 mm", points: map[string]string{"a": "10 mm", "b": "10 mm", "c": "20 mm"}, order: []string{"a", "b", "c"}, resolution: "0.1 mm", want: Out, says: "a and c differ by 10 mm, more than 1 mm; b and c differ"},
		{name: "one is out and another missing", low: "1 mm", high: "3 mm", points: map[string]string{"a": "", "b": "4 mm", "c": ""}, order: []string{"a", "b", "c"}, resolution: "0.1 mm", want: Out, says: "b at 4 mm is more than 3 mm; no reading at a yet"},
		{name: "one is undecided and another missing", low: "1 mm", high: "3 mm", points: map[string]string{"a": "3 mm", "b": ""}, order: []string{"a", "b"}, resolution: "0.1 mm", want: Undecided, says: "no reading at b yet"},
		{name: "one of a pair is missing", alike: "1 mm", points: map[string]string{"a": "3 mm", "b": ""}, order: []string{"a", "b"}, resolution: "0.1 mm", want: Partial, says: "at b"},
		{name: "the mean of three", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.7 mm,2 mm,2.3 mm"}, resolution: "0.1 mm", want: In},
		{name: "three that do not agree", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "1.2 mm,2 mm,2.8 mm"}, resolution: "0.1 mm", want: Undecided, says: "steady the set-up"},
		{name: "two of three", low: "1 mm", high: "3 mm", repeat: 3, points: map[string]string{"": "2 mm,2 mm"}, resolution: "0.1 mm", want: Partial, says: "2 of 3"},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t) })
	}
}

func (c trial) run(t *testing.T) {
	if c.order == nil {
		c.order = []string{""}
	}
	var points []Point
	for _, name := range c.order {
		p := Point{Name: name}
		for _, v := range strings.Split(c.points[name], ",") {
			if v != "" {
				p.Readings = append(p.Readings, q(t, v))
			}
		}
		points = append(points, p)
	}
	limits := Limits{Low: q(t, c.low), High: q(t, c.high), Alike: q(t, c.alike)}
	doubt := Doubt{Resolution: q(t, c.resolution), Uncertainty: q(t, c.u), Repeatability: q(t, c.r)}
	f, err := Rule{Limits: limits, Repeat: c.repeat, Pairs: c.pairs}.Judge(points, Doubts{Gauges: []Doubt{doubt}})
	if err != nil {
		t.Fatal(err)
	}
	if f.Verdict != c.want || !strings.Contains(f.Reason, c.says) {
		t.Errorf("%q: %s; want %q saying %q", f.Verdict, f.Reason, c.want, c.says)
	}
	if (f.Verdict == In) != (f.Reason == "") {
		t.Errorf("verdict %q with the reason %q", f.Verdict, f.Reason)
	}
}

func TestMargin(t *testing.T) {
	limits := Limits{Low: q(t, "1 mm"), High: q(t, "3 mm")}
	f, err := Rule{Limits: limits}.Judge([]Point{{"a", []quantity.Quantity{q(t, "2 mm")}}, {"b", []quantity.Quantity{q(t, "2.75 mm")}}}, tenths(t))
	if err != nil {
		t.Fatal(err)
	}
	if !f.Margin.Known || f.Margin.Point != "b" || math.Abs(f.Margin.By-0.25) > 1e-9 {
		t.Errorf("margin %+v", f.Margin)
	}
	f, err = Rule{Limits: limits}.Judge([]Point{{"a", []quantity.Quantity{q(t, "1.5 mm")}}, {"b", []quantity.Quantity{q(t, "2.25 mm")}}}, tenths(t))
	if err != nil || f.Margin.Point != "a" || math.Abs(f.Margin.By-0.5) > 1e-9 {
		t.Errorf("margin %+v, %v", f.Margin, err)
	}
	f, err = Rule{Limits: Limits{Alike: q(t, "3 mm")}}.Judge([]Point{{"a", []quantity.Quantity{q(t, "1 mm")}}, {"b", []quantity.Quantity{q(t, "2 mm")}}}, tenths(t))
	if err != nil || !f.Margin.Known || f.Margin.Point != "a/b" || math.Abs(f.Margin.By-2) > 1e-9 {
		t.Errorf("margin of likeness %+v, %v", f.Margin, err)
	}
}

func TestLimitsThatDoNotCompareAreAnError(t *testing.T) {
	points := []Point{{"a", []quantity.Quantity{q(t, "1 mm")}}, {"b", []quantity.Quantity{q(t, "1 mm")}}}
	if _, err := (Rule{Limits: Limits{Low: q(t, "0 mm"), Alike: q(t, "1 g")}}).Judge(points, tenths(t)); err == nil {
		t.Error("points were alike to 1 g")
	}
}

func TestAReadingOfAnotherDimensionIsAnError(t *testing.T) {
	limits := Limits{Low: q(t, "1 mm")}
	if _, err := (Rule{Limits: limits}).Judge([]Point{{"", []quantity.Quantity{q(t, "2 g")}}}, tenths(t)); err == nil {
		t.Error("2 g was judged against 1 mm")
	}
}

// The dimension and the unit of limits are those of whichever is given.
func TestLimitsOfOneKind(t *testing.T) {
	for _, l := range []Limits{{Low: q(t, "1 in")}, {High: q(t, "1 in")}, {Alike: q(t, "1 in")}} {
		if l.Dimension() != quantity.Length || l.Unit() != "in" {
			t.Errorf("%+v is a %q in %q", l, l.Dimension(), l.Unit())
		}
	}
	if (Limits{}).Dimension() != "" || (Limits{}).Unit() != "" {
		t.Error("no limits have a dimension")
	}
}

// With one gauge only its repeatability counts in a difference, √2 times 0.01 mm;
// with two, the bias of each too: √2 times the 1 mm that they are good to, 1.414 mm.
func TestADifferenceReadWithTwoGauges(t *testing.T) {
	limits := Limits{Alike: q(t, "3 mm")}
	for reading, want := range map[string][2]Verdict{
		"501.5 mm": {In, In}, "501.6 mm": {In, Undecided}, "502 mm": {In, Undecided}, "504.4 mm": {Out, Undecided}, "504.5 mm": {Out, Out},
	} {
		points := []Point{{"left", []quantity.Quantity{q(t, "500 mm")}}, {"right", []quantity.Quantity{q(t, reading)}}}
		for i, several := range []bool{false, true} {
			gauge := Doubt{Resolution: q(t, "0.01 mm"), Uncertainty: q(t, "1 mm"), Repeatability: q(t, "0.01 mm")}
			f, err := Rule{Limits: limits}.Judge(points, Doubts{Gauges: []Doubt{gauge}, Several: several})
			if err != nil || f.Verdict != want[i] {
				t.Errorf("%s, with several gauges %v: %s, %v", reading, several, f.Verdict, err)
			}
		}
	}
}

// A point in tolerance adds nothing to the reason of one that is not; limits that
// cannot be compared decide nothing.
func TestReasons(t *testing.T) {
	at := func(name, value string) Point { return Point{name, []quantity.Quantity{q(t, value)}} }
	for _, c := range []struct {
		limits Limits
		points []Point
		want   Verdict
		says   string
	}{
		{Limits{Low: q(t, "1 mm"), High: q(t, "3 mm")}, []Point{at("a", "4 mm"), at("b", "2 mm")}, Out, "a at 4 mm is more than 3 mm"},
		{Limits{Low: q(t, "1 mm"), High: q(t, "3 mm")}, []Point{at("a", "4 mm"), at("b", "3 mm")}, Out, "a at 4 mm is more than 3 mm"},
		{Limits{Low: q(t, "1 mm"), High: q(t, "3 mm")}, []Point{at("a", "2 mm"), at("b", "4 mm")}, Out, "b at 4 mm is more than 3 mm"},
		{Limits{Low: q(t, "1 mm"), High: q(t, "3 g")}, []Point{at("a", "2 mm")}, Undecided, ""},
	} {
		f, err := Rule{Limits: c.limits}.Judge(c.points, tenths(t))
		if err != nil || f.Verdict != c.want || c.says != "" && f.Reason != c.says {
			t.Errorf("%q: %q, %v; want %q: %q", f.Verdict, f.Reason, err, c.want, c.says)
		}
	}
}
