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

// drawn is a scale in characters.
func drawn(s Scale) string {
	cells := []byte{}
	for _, c := range s.Cells {
		cells = append(cells, "-?=[]"[c])
	}
	switch {
	case !s.Known:
	case s.At < 0:
		return "<" + string(cells)
	case s.At == len(cells):
		return string(cells) + ">"
	default:
		cells[s.At] = '*'
	}
	return string(cells)
}

func TestParts(t *testing.T) {
	q := func(text string) quantity.Quantity { return q(t, text) }
	rule := Doubt{Resolution: q("0.5 mm"), Uncertainty: q("0.5 mm")}
	fine := Doubt{Resolution: q("0.01 mm"), Uncertainty: q("0.1 mm")}
	slot := Rule{Limits: Limits{Low: q("4 mm"), High: q("5 mm")}}
	hollow := Rule{Limits: Limits{High: q("1.5 mm")}}
	for _, c := range []struct {
		rule Rule
		by   Doubt
		read string
		want string
	}{
		{slot, fine, "4.5 mm", "---?[?===*===?]?---"},
		{slot, fine, "4.11 mm", "---?[?*======?]?---"},
		{slot, fine, "4.09 mm", "---?[*=======?]?---"},
		{slot, fine, "4 mm", "---?*?=======?]?---"},
		{slot, fine, "3.95 mm", "---*[?=======?]?--- over -0.05"},
		{slot, fine, "3.89 mm", "--*?[?=======?]?--- over -0.11"},
		{slot, fine, "5.9 mm", "---?[?=======?]?---> over 0.9"},
		{slot, fine, "1 mm", "<---?[?=======?]?--- over -3"},
		{slot, fine, "", "---?[?=======?]?---"},
		{slot, Doubt{}, "5 mm", "----[=========*----"},
		{slot, Doubt{}, "5.001 mm", "----[=========]*--- over 0.001"},
		{hollow, rule, "1 mm", "=========*????]???-"},
		{hollow, rule, "1.5 mm", "==========????*???-"},
		{hollow, rule, "2.25 mm", "==========????]???-> over 0.75"},
		{Rule{Limits: Limits{Low: q("30 g")}}, Doubt{}, "30 g", "----*=============="},
		{Rule{Limits: Limits{Low: q("4 mm"), High: q("4.1 mm")}}, fine, "4.05 mm", "-???[????*????]???-"},
	} {
		p := Point{}
		if c.read != "" {
			p.Readings = []quantity.Quantity{q(c.read)}
		}
		part := c.rule.Parts([]Point{p}, Doubts{Gauges: []Doubt{c.by}})[0]
		got := drawn(part.Scale)
		if part.Over != 0 {
			got += " over " + decimal(new(big.Rat).SetFloat64(part.Over))
		}
		if got != c.want {
			t.Errorf("%s is drawn %q; want %q", c.read, got, c.want)
		}
	}
}

// A pair and a result have a part of their own, once all that they need was read.
func TestPartsOfSeveral(t *testing.T) {
	q := func(text string) quantity.Quantity { return q(t, text) }
	r := Rule{Limits: Limits{Low: q("275 mm"), High: q("279 mm"), Alike: q("1.5 mm")}}
	doubts := Doubts{Gauges: []Doubt{{Resolution: q("0.5 mm"), Uncertainty: q("0.5 mm"), Repeatability: q("0.3 mm")}}}
	front, rear := Point{"front", []quantity.Quantity{q("276 mm")}}, Point{Name: "rear"}
	if parts := r.Parts([]Point{front, rear}, doubts); len(parts) != 2 || parts[1].Known {
		t.Errorf("with one reading there are the parts %v", parts)
	}
	rear.Readings = []quantity.Quantity{q("278.5 mm")}
	parts := r.Parts([]Point{front, rear}, doubts)
	if len(parts) != 3 || len(parts[2].Of) != 2 || parts[2].Value != 2.5 || parts[2].Finding.Verdict != Out || parts[2].Over != 1 {
		t.Errorf("the pair is %+v", parts)
	}
	r = Rule{Limits: Limits{High: q("2 mm")}, Result: Result{Function: "difference", Of: []string{"front", "rear"}}}
	parts = r.Parts([]Point{front, rear}, doubts)
	// The bias cancels in it: √2 · 0.3 mm.
	if last := parts[len(parts)-1]; len(parts) != 3 || last.Of != nil || last.Value != -2.5 || last.Finding.Verdict != In || math.Abs(last.U-0.4243) > 1e-4 {
		t.Errorf("the result is %+v", parts)
	}
}

// What passes lies in a cell that passes, and what does not in one that does not.
func TestScaleAgreesWithVerdict(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := func(name string, from, to int64) quantity.Quantity {
			v, err := quantity.New(big.NewRat(rapid.Int64Range(from, to).Draw(t, name), 100), "mm")
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		limits := Limits{Low: mm("low", -500, 500)}
		limits.High = mm("high", 501, 1000)
		switch rapid.IntRange(0, 2).Draw(t, "one sided") {
		case 1:
			limits.Low = quantity.Quantity{}
		case 2:
			limits.High = quantity.Quantity{}
		}
		doubt := Doubt{Uncertainty: mm("uncertainty", 0, 600)}
		read := mm("value", -3000, 3000)
		part := Rule{Limits: limits}.Parts([]Point{{"", []quantity.Quantity{read}}}, Doubts{Gauges: []Doubt{doubt}})[0]
		cell, s := OutCell, part.Scale
		if s.At >= 0 && s.At < len(s.Cells) {
			cell = s.Cells[s.At]
		} else if limits.Low.IsZero() && s.At < 0 || limits.High.IsZero() && s.At > 0 {
			cell = InCell // it goes on there
		}
		agrees := map[Verdict][]Cell{In: {InCell, LowCell, HighCell}, Undecided: {NearCell, LowCell, HighCell}, Out: {OutCell}}[part.Finding.Verdict]
		if !slices.Contains(agrees, cell) {
			t.Fatalf("%s is %s and drawn %s", read, part.Finding.Verdict, drawn(s))
		}
	})
}

func TestPassing(t *testing.T) {
	q := func(text string) quantity.Quantity { return q(t, text) }
	rule := Doubt{Resolution: q("0.5 mm"), Uncertainty: q("0.5 mm")}
	caliper := Doubt{Resolution: q("0.01 mm"), Uncertainty: q("0.03 mm")}
	for _, c := range []struct {
		limits Limits
		gauge  Doubt
		want   string
	}{
		{Limits{High: q("1.5 mm")}, rule, " 1 mm "},
		{Limits{Low: q("4 mm"), High: q("5.2 mm")}, caliper, "4.03 mm 5.17 mm "},
		{Limits{Low: q("4 mm"), High: q("5.2 mm")}, Doubt{Resolution: q("0.5 mm")}, "4.5 mm 4.75 mm "}, // 0.29 mm, rounded inwards
		{Limits{High: q("1/16 in")}, rule, " 1/32 in "},
		{Limits{Alike: q("1.5 mm")}, rule, "  0.75 mm"}, // √2 of 0.5 mm
		{Limits{Low: q("4 mm"), High: q("4.5 mm")}, rule, "none"},
		{Limits{Low: q("-1 mm")}, rule, "-0.5 mm  "},
	} {
		pass, ok := Rule{Limits: c.limits}.Passing(c.gauge)
		got := strings.Join([]string{pass.Low.String(), pass.High.String(), pass.Alike.String()}, " ")
		if !ok {
			got = "none"
		}
		if got != c.want {
			t.Errorf("of %v pass %q; want %q", c.limits, got, c.want)
		}
	}
}

func TestUnlikely(t *testing.T) {
	q := func(text string) quantity.Quantity { return q(t, text) }
	washout := Limits{Low: q("0.3°"), High: q("1.7°"), Alike: q("0.6°")}
	slot := Limits{Low: q("4 mm"), High: q("5.2 mm")}
	for _, c := range []struct {
		limits Limits
		read   string
		others string
		want   string
	}{
		{washout, "15°", "1.5° 1.4°", "the others are near 1.45°"},
		{washout, "15°", "1.5°", "the other reading is 1.5°"},
		{washout, "15°", "", "it is far outside its limits, 0.3° to 1.7°; its unit or its decimal point may be wrong"},
		{washout, "3°", "1.5°", ""},                          // bent
		{washout, "1.5°", "15°", "the other reading is 15°"}, // the one that was kept may be wrong
		{slot, "5.9 mm", "4.6mm 4.5mm", ""},
		{slot, "0.18 mm", "", "it is far outside its limits, 4 mm to 5.2 mm; its unit or its decimal point may be wrong"},
		{slot, "3/16 in", "4.6mm", ""},
		{slot, "3/16 mm", "", "it is far outside its limits, 4 mm to 5.2 mm; its unit or its decimal point may be wrong"},
		{slot, "9 mm", "", "it is far outside its limits, 4 mm to 5.2 mm"},
		{Limits{High: q("1.5 mm")}, "4 mm", "", ""},
		{Limits{High: q("1.5 mm")}, "15 mm", "", "it is far outside its limits, at most 1.5 mm"},
		{Limits{Low: q("27 g")}, "20 g", "", ""},
		{Limits{Low: q("27 g")}, "2.7 g", "", "it is far outside its limits, at least 27 g"},
		{Limits{Alike: q("1.5 mm")}, "1660 mm", "1500mm", "the other reading is 1500 mm"},
		{Limits{Alike: q("1.5 mm")}, "1510 mm", "1500mm", ""},
		{slot, "15°", "", ""}, // refused as what it is
	} {
		points := []Point{{Name: "here"}, {Name: "there"}}
		for i, text := range strings.Fields(c.others) {
			points[i].Readings = []quantity.Quantity{q(text)}
		}
		if got := (Rule{Limits: c.limits}).Unlikely("here", q(c.read), points); got != c.want {
			t.Errorf("%s beside %q: %q; want %q", c.read, c.others, got, c.want)
		}
	}
}

// Points that nothing compares may read what they like.
func TestUnlikelyBesideOtherPoints(t *testing.T) {
	paired := Rule{Limits: Limits{Alike: q(t, "1.5 mm")}, Pairs: [][2]string{{"left", "right"}}}
	masses := Rule{Limits: Limits{High: q(t, "40 %")}, Result: Result{Function: "ratio", Of: []string{"left", "right"}, Reads: q(t, "1 g")}}
	for _, c := range []struct {
		rule            Rule
		at, read, other string
		likely          bool
	}{
		{paired, "left", "90 mm", "tail", true},
		{paired, "left", "90 mm", "right", false},
		{masses, "left", "90 mm", "right", true},
		{masses, "left", "90 g", "right", true},
		{masses, "left", "90 g", "left", false},
	} {
		unit := c.rule.Unit()
		others := []Point{{Name: "left"}, {Name: "right"}, {Name: "tail"}}
		for i := range others {
			if others[i].Name == c.other {
				others[i].Readings = []quantity.Quantity{q(t, "40 "+unit)}
			}
		}
		if why := c.rule.Unlikely(c.at, q(t, c.read), others); (why == "") != c.likely {
			t.Errorf("%s at %s beside 40 %s at %s: %q", c.read, c.at, unit, c.other, why)
		}
	}
}
