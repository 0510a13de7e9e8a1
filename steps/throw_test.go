package steps_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// The figures are the sums in the head of the sheet of Jetty, made by hand to a tenth of
// a millimetre.
func TestThrow(t *testing.T) {
	read := func(text string, of quantity.Dimension) quantity.Quantity { return amount(t, text, of) }
	for _, row := range []struct{ chord, angle, travel string }{
		{"38 mm", "11°", "7.3 mm"}, {"55 mm", "22°", "20.6 mm"}, {"40 mm", "12°", "8.3 mm"}, {"40 mm", "10°", "6.9 mm"}, {"40 mm", "-10°", "-6.9 mm"}, {"40 mm", "90°", "40 mm"},
	} {
		c := steps.Control{Chord: read(row.chord, quantity.Length)}
		angle, travel := read(row.angle, quantity.Angle), read(row.travel, quantity.Length)
		got, err := c.Throw(angle, "mm")
		want, _ := travel.Float("mm")
		if mm, _ := got.Float("mm"); err != nil || math.Abs(mm-want) > 0.06 {
			t.Errorf("%s at %s is %s, %v; want %s", row.angle, row.chord, got, err, row.travel)
		}
		back, err := c.Throw(got, "°")
		if diff := must(back.Float("°")) - must(angle.Float("°")); err != nil || math.Abs(diff) > 0.2 {
			t.Errorf("%s and back is %s, %v", row.angle, back, err)
		}
	}
	c := steps.Control{Chord: read("32 mm", quantity.Length), Horn: read("12 mm", quantity.Length), Thread: read("0.4 mm", quantity.Length)}
	// Limits are rounded to their strict side: asin(4.5/32) = 8.084°, asin(7.5/32) = 13.555°.
	for side, want := range map[quantity.Side]string{quantity.Up: "8.1°", quantity.Down: "8°", quantity.Nearest: "8.1°"} {
		if got, ok := c.Other(read("4.5 mm", quantity.Length), side); !ok || got.String() != want {
			t.Errorf("4.5 mm is %s, want %s", got, want)
		}
	}
	if got, ok := c.Other(read("13.5°", quantity.Angle), quantity.Up); !ok || got.String() != "7.5 mm" {
		t.Errorf("13.5° is %s", got)
	}
	for _, bad := range []quantity.Quantity{read("33 mm", quantity.Length), read("-33 mm", quantity.Length), read("91°", quantity.Angle), read("3 g", quantity.Mass)} {
		if got, err := c.Throw(bad, "mm"); err == nil {
			t.Errorf("%s is a throw: %s", bad, got)
		}
	}
	// 12 × 1.5 / 32 / 0.4 = 1.406; 12 × sin(-3°) / 0.4 = 1.570, by hand
	for text, want := range map[string]float64{"1.5 mm": 1.406, "-3°": 1.570} {
		of := quantity.Length
		if text == "-3°" {
			of = quantity.Angle
		}
		if got, ok := c.Turns(read(text, of)); !ok || math.Abs(got-want) > 0.001 {
			t.Errorf("%s is %v turns, want %v", text, got, want)
		}
	}
	if _, ok := (steps.Control{Chord: c.Chord}).Turns(read("1 mm", quantity.Length)); ok {
		t.Error("turns without a horn")
	}
	// 2° at 32 mm move the edge by 1.117 mm at most; near the chord nothing is known of an angle.
	meter := measuring.Doubt{Resolution: read("1°", quantity.Angle), Uncertainty: read("2°", quantity.Angle), Repeatability: read("1°", quantity.Angle)}
	if d := c.Doubt(meter, read("6 mm", quantity.Length)); math.Abs(must(d.Uncertainty.Float("mm"))-1.117) > 0.001 || !d.Repeatability.IsZero() {
		t.Errorf("%+v", d)
	}
	rule := measuring.Doubt{Resolution: read("0.5 mm", quantity.Length), Uncertainty: read("0.5 mm", quantity.Length)}
	if d := c.Doubt(rule, read("89°", quantity.Angle)); d != rule {
		t.Errorf("near the chord: %+v", d)
	}
	if d := c.Doubt(rule, read("30°", quantity.Angle)); must(d.Uncertainty.Float("°")) < 1.03 || must(d.Uncertainty.Float("°")) > 1.06 { // asin(16.5/32) - 30° = 1.04°
		t.Errorf("at 30°: %+v", d)
	}
}

func amount(t *testing.T, text string, of quantity.Dimension) quantity.Quantity {
	t.Helper()
	v, err := quantity.Parse(text, of)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func must(v float64, err error) float64 {
	if err != nil {
		return math.NaN()
	}
	return v
}

// A travel as an angle and back is the same travel, and inches change nothing.
func TestThrowThereAndBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		chord := rapid.IntRange(100, 3000).Draw(rt, "chord in tenths of a mm")
		travel := rapid.IntRange(-chord*9/10, chord*9/10).Draw(rt, "travel in tenths of a mm")
		c := steps.Control{Chord: amount(t, fmt.Sprintf("%d.%d mm", chord/10, chord%10), quantity.Length)}
		angle, err := c.Throw(amount(t, fmt.Sprint(float64(travel)/10, " mm"), quantity.Length), "°")
		if err != nil {
			rt.Fatal(err)
		}
		back, err := c.Throw(angle, "mm")
		// A thousandth of a degree moves the edge by chord × 1.75e-5 at most, half of that when rounded.
		if got := must(back.Float("mm")); err != nil || math.Abs(got-float64(travel)/10) > float64(chord)/10*1e-5+0.001 {
			rt.Fatalf("%d, as %s, is %v, %v", travel, angle, got, err)
		}
		inches, err := c.Throw(angle, "in")
		if got := must(inches.Float("mm")); err != nil || math.Abs(got-float64(travel)/10) > float64(chord)/10*1e-5+0.0254 {
			rt.Fatalf("%d, as %s, is %v in inches, %v", travel, angle, got, err)
		}
	})
}

// Where an edge can go is said as the sheets name the points of its throw.
func TestWays(t *testing.T) {
	vee := []steps.Panel{{Dihedral: amount(t, "30°", quantity.Angle)}}
	g := steps.Geometry{Surfaces: []steps.Surface{
		{Name: "wing", Is: steps.Wing}, {Name: "tail", Is: steps.Tailplane}, {Name: "vee", Is: steps.Tailplane, Panels: vee},
		{Name: "fin", Is: steps.Fin}, {Name: "fins", Is: steps.Fin, Y: amount(t, "100 mm", quantity.Length)},
	}}
	for on, want := range map[string]string{
		"wing": "left-up left-down right-up right-down", "tail": "up down", "vee": "left-up left-down right-up right-down",
		"fin": "left right", "fins": "left-fin-left left-fin-right right-fin-left right-fin-right", "boom": "",
	} {
		if got := strings.Join(g.Ways(steps.Control{Surface: on}), " "); got != want {
			t.Errorf("%s goes %s, want %s", on, got, want)
		}
	}
	for way, want := range map[string][2]string{"up": {"", "up"}, "left-up": {"left", "up"}, "right-fin-left": {"right-fin", "left"}} {
		if side, to := steps.Side(way); [2]string{side, to} != want {
			t.Errorf("%s is %s, %s", way, side, to)
		}
	}
}

// A gate that two controls of different chords have is read only as it is measured.
func TestControlOf(t *testing.T) {
	length := func(text string) quantity.Quantity { return amount(t, text, quantity.Length) }
	s := &steps.Sheet{Gates: []steps.Gate{{Name: "throw", Limits: measuring.Limits{High: length("9 mm")}}, {Name: "mass", Limits: measuring.Limits{High: amount(t, "9 g", quantity.Mass)}}}}
	for want, chords := range map[bool][2]string{true: {"30 mm", "3 cm"}, false: {"30 mm", "31 mm"}} {
		s.Geometry.Controls = nil
		for _, chord := range chords {
			s.Geometry.Controls = append(s.Geometry.Controls, steps.Control{Name: chord, Chord: length(chord), Gates: []string{"throw", "mass"}})
		}
		if _, ok := s.ControlOf("throw"); ok != want {
			t.Errorf("chords of %v: %v", chords, ok)
		}
		if _, ok := s.ControlOf("mass"); ok {
			t.Error("a mass is a throw")
		}
	}
}
