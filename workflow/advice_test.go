package workflow

import (
	"errors"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/steps/balance"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// poised is an airframe of 500 g that balances at a station, known to u, with its battery of
// 150 g at -150 mm; it reaches from -200 to 600 mm.
func poised(now, u, low, high float64, travel steps.Travel) *Poise {
	q := func(text string) quantity.Quantity { v, _ := quantity.Parse(text, quantity.Length); return v }
	pack := balance.Load{Mass: big.NewRat(150, 1), X: big.NewRat(-150, 1)}
	sheet := &steps.Sheet{Geometry: steps.Geometry{Battery: travel,
		Bodies: []steps.Body{{Front: q("-200 mm"), Rear: q("600 mm"), Left: q("-20 mm"), Right: q("20 mm")}},
		Parts:  []steps.Component{{Name: "pack", Title: "pack", X: q("-150 mm")}}}}
	return &Poise{Low: low, High: high, Now: now, NowU: u, Mass: 500, Weighed: true, Counts: true, state: &State{Sheet: sheet},
		now:      balance.Of(balance.Load{Mass: big.NewRat(500, 1), X: ratOfFloat(now)}),
		weighing: balance.Weighing{Mass: big.NewRat(500, 1), X: ratOfFloat(now), U: u},
		parts:    []Placed{{Title: "pack", Load: pack}}}
}

func travel(from, to string) steps.Travel {
	q := func(text string) quantity.Quantity { v, _ := quantity.Parse(text, quantity.Length); return v }
	return steps.Travel{Part: "pack", From: q(from), To: q(to), Length: q("80 mm")}
}

// What is advised never leads out of the limits, nor further from the target. Where it
// balances then is worked out here from the masses and the stations.
func TestAdviceMakesNothingWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-50, 100).Draw(t, "low")
		high := low + rapid.Float64Range(0.5, 40).Draw(t, "range")
		now, u := rapid.Float64Range(-100, 200).Draw(t, "now"), rapid.SampledFrom([]float64{0.3, 1, 4, math.NaN()}).Draw(t, "u")
		switch rapid.IntRange(0, 3).Draw(t, "limits") {
		case 0:
			low = math.Inf(-1)
		case 1:
			high = math.Inf(1)
		}
		p := poised(now, u, low, high, travel("-180 mm", "-40 mm"))
		if p.Counts = rapid.Bool().Draw(t, "counts"); !p.Counts { // something was moved by nothing
			at := balance.Place{X: new(big.Rat)}
			p.changes = []balance.Change{{Mass: big.NewRat(9, 1), From: &at, To: &at}}
		}
		at := rapid.SampledFrom([]float64{math.NaN(), -200, 600, 0}).Draw(t, "at")
		a, ok := p.Advise(at)
		if !ok {
			t.Fatal("no advice")
		}
		inside := func(x float64) bool { return x >= low && x <= high }
		if a.Waits {
			if p.Counts || !inside(now) || a.Slide != nil || a.Ballast != nil || !math.IsNaN(at) {
				t.Errorf("waits, and %+v", a)
			}
			return
		}
		x, mass := now, 500.
		holds := func(what string, then float64) {
			if math.Abs(then-a.Target) > math.Abs(x-a.Target)+1e-6 || inside(x) && !inside(then) {
				t.Errorf("%s: from %v to %v, target %v, limits %v to %v", what, x, then, a.Target, low, high)
			}
			x = then
		}
		if s := a.Slide; s != nil && (a.Rest || a.Ballast == nil) {
			holds("battery", x+150*s.By/mass)
			if math.Abs(x-s.Then) > 1e-6 || (s.Verdict == measuring.Out) == inside(x) || s.By != 0 && (s.Front < -220-1e-9 || s.Rear > 1e-9) {
				t.Errorf("%+v", *s)
			}
		}
		if b := a.Ballast; b != nil {
			holds("ballast", (x*mass+b.Mass*b.Station)/(mass+b.Mass))
			if math.Abs(x-b.Then) > 1e-6 || b.Mass <= 0 || !inside(x) || b.Verdict == measuring.Out {
				t.Errorf("%+v", *b)
			}
		}
		if a.Near && (a.Ballast != nil || a.Slide.By != 0) {
			t.Errorf("near, and %+v", a)
		}
	})
}

func TestAdvice(t *testing.T) {
	inf := math.Inf(1)
	for name, c := range map[string]struct {
		p                *Poise
		at               float64
		target, by, mass float64
		near, short      bool
		refused          string
	}{
		// (70 - 60.3) x 500/150 = 32.3, and 30 mm are left: (61 - 60.3) x 500/(60.3 + 220) = 1.25 g.
		"battery, then ballast": {p: poised(70, 0.5, 59.8, 60.8, travel("-180 mm", "-40 mm")), at: math.NaN(), target: 60.3, by: -30, mass: 2, short: true},
		// With 1 g (61 x 500 - 220)/501 = 60.44, with 2 g 59.88: both are outside.
		"no step ends inside": {p: poised(70, 0.5, 60.2, 60.4, travel("-180 mm", "-40 mm")), at: math.NaN(), target: 60.3, by: -30, short: true, refused: "no whole step of the scale brings it inside the limits at -220 mm: with 2 g it would balance at 59.9 mm; closer to 60.3 mm a step moves it less"},
		// (40 x 500 + 600)/501 = 41.1 is behind the limit, and less than a gram nobody weighs.
		"tail-heavy": {p: poised(40, 0.1, 40.3, 40.9, steps.Travel{}), at: 600, target: 40.6, refused: "no whole step of the scale brings it inside the limits at 600 mm: with 1 g it would balance at 41.1 mm; closer to 40.6 mm a step moves it less"},
		// It would lie behind the limit as it does, whatever the end: 450 mm aft are no good.
		"outside its travel": {p: poised(66, 0.5, 50, 64, travel("300 mm", "400 mm")), at: math.NaN(), target: 57, mass: 18, short: true},
		"end inside":         {p: poised(70, 0.5, 49, 63, travel("-180 mm", "-40 mm")), at: math.NaN(), target: 56, by: -30},
		"near":               {p: poised(57.05, 1, 54, 60, travel("-180 mm", "-40 mm")), at: math.NaN(), target: 57, near: true},
		"one limit, inside":  {p: poised(40, 1, -inf, 70, travel("-180 mm", "-40 mm")), at: math.NaN(), target: 68, near: true},
		"one limit, behind":  {p: poised(75, 1, -inf, 70, travel("-180 mm", "-40 mm")), at: math.NaN(), target: 68, by: -24},
		"no whole gram":      {p: poised(60.1, 0.05, 59.8, 60.2, steps.Travel{}), at: -200, target: 60, refused: "no whole step of the scale does it good at -200 mm: with 1 g it would balance at 59.6 mm; it stays at 60.1 mm"},
		"off the aircraft":   {p: poised(57, 1, 54, 60, steps.Travel{}), at: 5000, target: 57, near: true, refused: "ballast at 5000 mm is not on the aircraft, which reaches from -200 to 600 mm"},
	} {
		t.Run(name, func(t *testing.T) {
			a, ok := c.p.Advise(c.at)
			var by, mass float64
			var short bool
			if a.Slide != nil {
				by, short = a.Slide.By, a.Slide.Short
			}
			if a.Ballast != nil {
				mass = a.Ballast.Mass
			}
			var why *Impossible
			refused := ""
			if errors.As(a.Refused, &why) {
				refused = why.Why
			}
			if !ok || math.Abs(a.Target-c.target) > 1e-9 || by != c.by || mass != c.mass || a.Near != c.near || short != c.short || refused != c.refused {
				t.Errorf("%+v, %v g, battery by %v, %v", a, mass, by, refused)
			}
		})
	}
}
