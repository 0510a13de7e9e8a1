package book

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/planform"
	"fettle/steps/quantity"
)

func long(t testing.TB, text string) quantity.Quantity {
	t.Helper()
	q, err := quantity.Parse(text, quantity.Length)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

// plank is a wing of 1000 mm × 200 mm with a boom behind it on the right.
func plank(t testing.TB) *plan {
	return newPlan("plan", steps.Geometry{Datum: "The leading edge.",
		Surfaces: []steps.Surface{{Name: "wing", Is: steps.Wing, Zone: "wing", Panels: []steps.Panel{{Root: long(t, "200 mm"), Tip: long(t, "200 mm"), Span: long(t, "500 mm")}}}},
		Bodies:   []steps.Body{{Name: "boom", Zone: "boom", Front: long(t, "200 mm"), Rear: long(t, "600 mm"), Left: long(t, "100 mm"), Right: long(t, "120 mm")}}}, steps.Selection{})
}

func gateAt(t testing.TB, of string, places ...string) steps.Gate {
	g := steps.Gate{Name: "gap", Of: []string{of}}
	for i, at := range places {
		name := fmt.Sprintf("point-%d", i+1)
		x, y, _ := strings.Cut(at, ", ")
		g.Points = append(g.Points, name)
		g.At = append(g.At, steps.PointAt{Point: name, Place: steps.Place{X: long(t, x), Y: long(t, y)}})
	}
	return g
}

// A gate's points near each other are drawn larger, each with its number, and the whole
// beside it shows where that is.
func TestPlanOfAGate(t *testing.T) {
	p := plank(t)
	d := p.gate(gateAt(t, "boom", "210 mm, 110 mm", "-12.5 mm, -90 mm"), wide)
	var out strings.Builder
	calls := (&maker{}).cardCalls()
	if err := fill(&out, layout("card.gohtml")+`{{template "planned" .}}`, calls, d); err != nil {
		t.Fatal(err)
	}
	// The points are 200 mm apart across and 222.5 mm along, and the view is 1.6 times as
	// large: 320 mm in 360 units from 150 mm left, and from 79.25 mm ahead.
	for _, says := range []string{`<svg class="view" viewBox="0 0 360 440.5"`, `<g transform="translate(168.75 89.16) scale(1.125)"><use href="#plan"/><path class="here" d="M100 200L120 200L120 600L100 600Z"`,
		`<path class="axes" d="M0 109.16H360"/>`, `<path class="axes" d="M168.75 20V420.5"/>`, `<circle class="place" cx="292.5" cy="345.41" r="3"/>`, `<circle class="place" cx="67.5" cy="95.09" r="3"/>`, `<text x="301" y="334.68" text-anchor="middle">1</text>`, ">2</text>",
		`<path class="bar" d="M301.75 427.5v6m0-3h56.25m0-3v6"`, ">50 mm</text>", ">◂ left</text>", ">▴ front</text>", ">right ▸</text>", `<rect class="frame" x="129.06" y="3.57" width="108.68" height="120.91"`,
		"<li>point 1: 210 mm aft of 0, 110 mm right</li>", "<li>point 2: 12.5 mm ahead of 0, 90 mm left</li>", "count from the line 0: the leading edge. Filled: boom."} {
		if !strings.Contains(out.String(), says) {
			t.Errorf("the drawing does not have %q:\n%s", says, out.String())
		}
	}
	if d.Whole == nil || p.gate(gateAt(t, "boom", "0 mm, -480 mm", "0 mm, 480 mm"), wide).Whole != nil {
		t.Error("what fills a small part is drawn larger, and what fills the whole is not")
	}
}

// A thread is drawn from its ring to the pin that is read, and said from end to end. It is
// all in the view, and no number covers its ring.
func TestThreads(t *testing.T) {
	p, g := plank(t), gateAt(t, "wing", "0 mm, -480 mm", "100 mm, 20 mm")
	stern := steps.Place{X: long(t, "600 mm"), Y: long(t, "110 mm")}
	g.At[0].From = &stern
	d := p.gate(g, wide)
	if len(d.View.Threads) != 1 || len(d.View.Pins) != 2 {
		t.Fatalf("%d threads and %d pins", len(d.View.Threads), len(d.View.Pins))
	}
	at := d.View.Threads[0]
	ring := planform.On(stern)
	if at.X != num(d.View.right(ring.Y)) || at.Y != num(d.View.down(ring.X)) || at.Path != "M"+at.X+" "+at.Y+"L"+d.View.Pins[0].X+" "+d.View.Pins[0].Y {
		t.Errorf("the thread is %+v", at)
	}
	if says := d.Rows[0].Says; says != "from the ring at 600 mm aft of 0, 110 mm right; to at 0, 480 mm left" {
		t.Error(says)
	}
	f := func(text string) float64 { f, _ := strconv.ParseFloat(text, 64); return f }
	for _, pin := range d.View.Pins {
		if math.Hypot(f(pin.LabelX)-f(at.X), f(pin.LabelY)-f(at.Y)) < round+5 {
			t.Error("a number covers the ring")
		}
	}
	var out strings.Builder
	if err := fill(&out, layout("card.gohtml")+`{{template "planned" .}}`, (&maker{}).cardCalls(), d); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), `<circle class="number" cx="`+at.X+`" cy="`+at.Y+`" r="5"`) {
		t.Error("the ring is not drawn")
	}
}

// Where a point has no place, where the zone has no outline, and where nobody drew the
// airframe, there is no drawing.
func TestNoPlanWithoutAPlace(t *testing.T) {
	p, g := plank(t), gateAt(t, "boom", "210 mm, 110 mm")
	g.Points = append(g.Points, "rear")
	if p.gate(g, wide) != nil || p.gate(steps.Gate{Name: "mass"}, wide) != nil {
		t.Error("a gate is drawn, though nobody said where all of its points lie")
	}
	if p.zone("radio") != nil || p.zone("") != nil || p.zone("boom") == nil {
		t.Error("a zone is drawn if it has an outline")
	}
	var none *plan
	if none.zone("wing") != nil || none.gate(gateAt(t, "wing", "0 mm, 0 mm"), wide) != nil || none.zones(nil) != nil {
		t.Error("something is drawn of nothing")
	}
	if newPlan("plan", steps.Geometry{Datum: "the nose"}, steps.Selection{}) != nil {
		t.Error("an airframe without outlines is drawn")
	}
}

// Each point lies in the view where the sheet has it, and no number covers another, a
// point or a word, as long as there is room.
func TestNumbersKeepClear(t *testing.T) {
	p := plank(t)
	rapid.Check(t, func(rt *rapid.T) {
		var places []string
		for range rapid.IntRange(1, 8).Draw(rt, "points") {
			places = append(places, fmt.Sprintf("%d mm, %d mm", rapid.IntRange(-50, 650).Draw(rt, "x"), rapid.IntRange(-520, 520).Draw(rt, "y")))
		}
		g := gateAt(t, "wing", places...)
		v := p.gate(g, wide).View
		at := func(text string) float64 { f, _ := strconv.ParseFloat(text, 64); return f }
		height := at(v.H)
		for i, pin := range v.Pins {
			place := planform.On(g.At[i].Place)
			if math.Abs(at(pin.X)-v.right(place.Y)) > 0.01 || math.Abs(at(pin.Y)-v.down(place.X)) > 0.01 || at(pin.X) < 0 || at(pin.X) > wide || at(pin.Y) < margin || at(pin.Y) > height-margin {
				rt.Fatalf("point %d lies at %s, %s", i+1, pin.X, pin.Y)
			}
			x, y := at(pin.LabelX), at(pin.LabelY)
			if x < round || x > wide-round || y < margin+round-1 || y > height-margin-round+1 {
				rt.Fatalf("the number %d leaves the drawing", i+1)
			}
			for j, other := range v.Pins {
				if j != i && math.Hypot(at(other.LabelX)-x, at(other.LabelY)-y) < 2*round {
					rt.Fatalf("the numbers %d and %d overlap", i+1, j+1)
				}
				if math.Hypot(at(other.X)-x, at(other.Y)-y) < round+2 {
					rt.Fatalf("the number %d covers the point %d", i+1, j+1)
				}
			}
		}
	})
}

// A sheet of which nobody has said the options is drawn with all its zones, and the way
// of the first answer stands for another only where both look alike.
func TestUndecidedIsDrawn(t *testing.T) {
	doc, err := procedures.Open("").Sheet("reed")
	if err != nil {
		t.Fatal(err)
	}
	g := doc.Sheet.Geometry
	if names := undecided(g); len(names) != 1 || names[0] != "two-panels" {
		t.Errorf("a Reed is drawn with %v", names)
	}
	if here, _ := newPlan("plan", g, steps.Selection{Has: undecided(g)}).of("wing"); len(here) != 2 {
		t.Errorf("the wing has %d outlines, want one a side", len(here))
	}
	g.Surfaces = append([]steps.Surface{}, g.Surfaces...)
	g.Surfaces[0].Panels = []steps.Panel{{Root: long(t, "95 mm"), Tip: long(t, "95 mm"), Span: long(t, "350 mm")}}
	if names := undecided(g); len(names) > 0 {
		t.Errorf("wings of 600 mm and 700 mm are drawn alike: %v", names)
	}
}
