package procedures

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/steps/planform"
)

// The arithmetic of each design, done by hand when it was drawn, from its geometry: what
// is printed here to its last digit. Lengths are in mm, masses in g, areas in dm².
func TestGeometryOfLibrary(t *testing.T) {
	for _, c := range []struct {
		design                     string
		has                        []string
		area, ratio, chord, ahead  string // ahead: where the front end of the mean chord lies
		horizontal, vertical       string
		without, mass, balance     string // without the battery, all up
		battery                    string // where that must lie for the middle of the limits
		middle, percent            string // of the limits of the balance
		neutral, margin, low, high string // in % MAC; low and high are the margins at the limits
	}{
		{design: "causeway", has: []string{"fixed-fins"}, area: "24.19", ratio: "5.76", chord: "206.0", ahead: "0.0", horizontal: "0.42", vertical: "0.051",
			without: "559", mass: "735", balance: "57.1", battery: "-161", middle: "57", percent: "27.7", neutral: "37", margin: "9", low: "11", high: "8"},
		{design: "causeway", has: []string{"working-rudders"}, area: "24.19", ratio: "5.76", chord: "206.0", ahead: "0.0", horizontal: "0.42", vertical: "0.051",
			without: "579", mass: "755", balance: "62.5", battery: "-184", middle: "57", percent: "27.7", neutral: "37", margin: "9", low: "11", high: "8"},
		{design: "skerry", area: "23.00", ratio: "4.35", chord: "233.6", ahead: "83.5", horizontal: "0.00", vertical: "0.015",
			without: "419", mass: "549", balance: "124.0", battery: "5", middle: "124", percent: "17.3", neutral: "24", margin: "7", low: "7.5", high: "5.8"},
		{design: "skerry", has: []string{"break-away-fins"}, without: "422", mass: "552", battery: "1.6"},
		{design: "skerry", has: []string{"landing-skid"}, without: "428", mass: "558", battery: "10.7"},
		{design: "skerry", has: []string{"break-away-fins", "landing-skid"}, without: "431", mass: "561", battery: "7.4"},
		{design: "jetty", area: "30.80", ratio: "6.36", chord: "220.0", ahead: "0.0", horizontal: "0.59", vertical: "0.032",
			without: "724", mass: "874", balance: "66.0", battery: "-117", middle: "66", percent: "30.0", neutral: "42", margin: "12", low: "14", high: "11"},
		{design: "jetty", has: []string{"ailerons"}, without: "750", mass: "900", battery: "-132"},
		{design: "jetty", has: []string{"bolted-wing"}, without: "728", mass: "878"},
		{design: "reed", has: []string{"two-panels"}, area: "5.70", ratio: "6.3", chord: "95.0", ahead: "110.0", horizontal: "0.64", vertical: "0.046",
			mass: "19.8", balance: "146", middle: "146", percent: "37.9", neutral: "50", margin: "12", low: "15", high: "9"},
		{design: "reed", has: []string{"three-panels"}, area: "5.70", ratio: "6.3", chord: "95.0", ahead: "110.0", mass: "19.8", balance: "146"},
	} {
		s := sheetOf(t, c.design)
		on := steps.Selection{Has: c.has}
		is := func(what string, got float64, want string) {
			t.Helper()
			if want == "" {
				return
			}
			_, digits, _ := strings.Cut(want, ".")
			if now := strconv.FormatFloat(got+1e-9, 'f', len(digits), 64); now != want {
				t.Errorf("%s with %v: %s is %s, by hand %s", c.design, c.has, what, now, want)
			}
		}
		p, err := planform.Of(s.Geometry, on)
		if err != nil {
			t.Fatal(err)
		}
		is("area", p.Wing.Area/1e4, c.area)
		is("aspect ratio", p.Wing.AspectRatio(), c.ratio)
		is("mean chord", p.Wing.Chord.Length, c.chord)
		is("front of the mean chord", p.Wing.Chord.X, c.ahead)
		is("tail volume", p.Horizontal, c.horizontal)
		is("volume of the fins", p.Vertical, c.vertical)
		neutral, err := p.NeutralPoint()
		if err != nil {
			t.Fatal(err)
		}
		is("neutral point", p.Wing.Chord.Percent(neutral), c.neutral)

		mm := func(q interface{ Float(string) (float64, error) }) float64 {
			v, _ := q.Float("mm")
			return v
		}
		g, ok := s.Gate(s.Geometry.Balance.Gate)
		if !ok || !g.Mass || !g.Critical {
			t.Fatalf("%s has no gate of the balance", c.design)
		}
		zero := mm(s.Geometry.Balance.Zero)
		low, high := zero+mm(g.Limits.Low), zero+mm(g.Limits.High)
		middle := (low + high) / 2
		is("middle of the limits", middle, c.middle)
		is("that in % MAC", p.Wing.Chord.Percent(middle), c.percent)
		for want, at := range map[*string]float64{&c.margin: middle, &c.low: low, &c.high: high} {
			margin, _ := p.Margin(at)
			is("static margin", 100*margin, *want)
		}

		var mass, moment, battery, at float64
		for _, part := range s.Geometry.Parts {
			if m, _ := part.Mass.Float("g"); part.In(on) {
				mass, moment = mass+m, moment+m*mm(part.X)
				if part.Name == s.Geometry.Battery.Part {
					battery, at = m, mm(part.X)
				}
			}
		}
		is("mass", mass, c.mass)
		is("mass without the battery", mass-battery, c.without)
		is("balance", moment/mass, c.balance)
		if battery > 0 {
			to := (mass*middle - (moment - battery*at)) / battery
			is("place of the battery", to, c.battery)
			if to < mm(s.Geometry.Battery.From) || to > mm(s.Geometry.Battery.To) {
				t.Errorf("%s with %v: the battery cannot lie at %.0f", c.design, c.has, to)
			}
		}
		if all, ok := s.Gate("all-up-mass"); ok {
			if l, _ := all.Limits.Low.Float("g"); mass < l {
				t.Errorf("%s with %v weighs %v", c.design, c.has, mass)
			}
			if h, _ := all.Limits.High.Float("g"); mass > h {
				t.Errorf("%s with %v weighs %v", c.design, c.has, mass)
			}
		}
	}
	// Skerry's receiver and video transmitter lie to its sides: 300 g·mm to the left, 0.6 g at a tip.
	var sideways float64
	for _, part := range sheetOf(t, "skerry").Geometry.Parts {
		if !part.Y.IsZero() {
			m, _ := part.Mass.Float("g")
			y, _ := part.Y.Float("mm")
			sideways += m * y
		}
	}
	if math.Abs(sideways+300) > 1e-9 {
		t.Errorf("Skerry: %v g·mm to the right", sideways)
	}
}

// sheetOf is a design sheet of the library.
func sheetOf(t *testing.T, name string) *steps.Sheet {
	t.Helper()
	d, err := Open("").Sheet(name)
	if err != nil {
		t.Fatal(err)
	}
	return d.Sheet
}
