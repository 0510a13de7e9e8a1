package procedures

import (
	"math"
	"regexp"
	"strconv"
	"testing"

	"fettle/steps"
	"fettle/steps/planform"
)

// A drawn design is what its documents state: the sheet with its geometry, and the
// figures in the prose of sheet and build.
type drawn struct {
	t     *testing.T
	sheet *steps.Sheet
	build *steps.Procedure
}

// said is the figures that the pattern finds in the `do` of a step, or in the `how` of a
// gate. It finds one place.
func (d drawn) said(name, pattern string) []float64 {
	d.t.Helper()
	text := ""
	if g, ok := d.sheet.Gate(name); ok {
		text = g.How
	}
	for _, s := range d.build.Steps() {
		if s.Name == name {
			text += s.Do
		}
	}
	found := regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1)
	if len(found) != 1 {
		d.t.Fatalf("%s: %q stands there %d times", name, pattern, len(found))
	}
	var all []float64
	for _, word := range found[0][1:] {
		f, err := strconv.ParseFloat(word, 64)
		if err != nil {
			d.t.Fatal(err)
		}
		all = append(all, f)
	}
	return all
}

// is fails where an airframe that is built as drawn would not read the middle of the
// limits, or not by far enough within them, for the gauge.
func (d drawn) is(gate, unit string, drawn, within float64) {
	d.t.Helper()
	g, ok := d.sheet.Gate(gate)
	if !ok {
		d.t.Fatalf("no gate %s", gate)
	}
	gauge, _ := d.sheet.Gauge(g.Gauge)
	doubt := amountIn(d.t, gauge.Uncertainty, unit)
	low, high := math.Inf(-1), math.Inf(1)
	if !g.Limits.Low.IsZero() {
		low = amountIn(d.t, g.Limits.Low, unit)
	}
	if !g.Limits.High.IsZero() {
		high = amountIn(d.t, g.Limits.High, unit)
	}
	if drawn < low+doubt || drawn > high-doubt {
		d.t.Errorf("%s: as drawn it is %.2f %s, which does not pass %g to %g with a gauge of ± %g", gate, drawn, unit, low, high, doubt)
	}
	if middle := (low + high) / 2; !math.IsInf(middle, 0) && math.Abs(drawn-middle) > within {
		d.t.Errorf("%s: as drawn it is %.2f %s, and the middle of the limits is %.2f", gate, drawn, unit, middle)
	}
}

// equal fails where two places state one thing differently.
func (d drawn) equal(what string, got, want, within float64) {
	d.t.Helper()
	if math.Abs(got-want) > within {
		d.t.Errorf("%s: %.2f here, %.2f there", what, got, want)
	}
}

func amountIn(t *testing.T, q interface{ Float(string) (float64, error) }, unit string) float64 {
	t.Helper()
	v, err := q.Float(unit)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

const degree = math.Pi / 180

// What the steps of the build make is what the gates ask: the beds give the washout, the
// lean of the stern the thrust line, arms and horns the throws, the bay the balance.
func TestSkerryCloses(t *testing.T) {
	doc, err := Open("").Procedure("skerry-build")
	if err != nil {
		t.Fatal(err)
	}
	d := drawn{t, sheetOf(t, "skerry"), doc.Procedure}
	g := d.sheet.Geometry
	mm := func(q interface{ Float(string) (float64, error) }) float64 { t.Helper(); return amountIn(t, q, "mm") }
	panel := g.Surfaces[0].Panels[0]
	half, root, tip, sweep := mm(panel.Span), mm(panel.Root), mm(panel.Tip), mm(panel.Sweep)
	front := func(y float64) float64 { return sweep * y / half }
	chord := func(y float64) float64 { return root + (tip-root)*y/half }
	rear := func(y float64) float64 { return front(y) + chord(y) }

	// The bed is straight from root to tip: both of its edges rise in proportion.
	rise := d.said("prove-beds", `rear corner stands (\d+) mm higher`)[0]
	twist := func(y float64) float64 { return math.Asin(rise*y/half/chord(y)) / degree }
	d.equal("the upper beds", d.said("prove-upper-beds", `front corner at the tip stands (\d+) mm higher`)[0], rise, 0)
	at := d.said("washout", `(?s)foam (\d+) mm out from the centre line.*tip, (\d+) mm out`)
	d.is("bed-washout", "°", twist(half), 0.2)
	d.is("washout", "°", twist(at[1])-twist(at[0]), 0.2)
	line := d.said("prove-table", `(\d+) mm back at (\d+) mm out`)
	d.equal("the line of the sweep", line[0], front(line[1]), 0.5)

	// Spars and strips.
	stop := d.said("cut-slots", `depth stop to ([\d.]+) mm`)[0]
	d.is("spar-depth", "mm", stop, 0.1)
	spar := d.said("count-parts", `tube and glass rod of (\d+) mm`)[0]
	if room := stop - spar; room < 0.3 || room > 0.8 {
		t.Errorf("a slot of %g mm for a spar of %g mm", stop, spar)
	}
	mark := d.said("mark-spar-lines", `(\d+) mm behind the apex, square to the centre line, (\d+) mm to each side`)
	d.is("spar-ends", "mm", mark[1], 1)
	long := d.said("cut-spars", `(\d+) mm for tube and rod, (\d+) mm for each strip`)
	if room := mark[1] - long[0]/2; room < 1 || room > 4 {
		t.Errorf("slots %g mm to each side for a spar of %g mm", mark[1], long[0])
	}
	thick := section(d.sheet.About, t)
	if at := long[0] / 2; chord(at)*thick < 2*stop+8 || mark[0] < front(at)+0.15*chord(at) {
		t.Errorf("the ends of the spars lie %g behind the leading edge, in %g of foam", mark[0]-front(at), chord(at)*thick)
	}
	strip := d.said("mark-spar-lines", `half chord line, from (\d+) mm to (\d+) mm out`)
	slit := d.said("slit-strips", `(\d+) mm each`)[0]
	middle := func(y float64) float64 { return front(y) + chord(y)/2 }
	d.equal("the length of the slits", slit, math.Hypot(strip[1]-strip[0], middle(strip[1])-middle(strip[0])), 1)
	if long[1] >= slit {
		t.Errorf("strips of %g mm in slits of %g mm", long[1], slit)
	}

	// Elevons.
	e := g.Controls[0]
	d.equal("the length of the elevons", d.said("shape-elevons", `Cut both to (\d+) mm`)[0], mm(e.Outer)-mm(e.Inner), 0)
	d.equal("where they begin", d.said("hinge-elevons", `(\d+) mm out from the centre line`)[0], mm(e.Inner), 0)
	arm := d.said("fit-linkages", `arm, (\d+) mm from the shaft of the servo`)[0]
	horn := d.said("fit-linkages", `hole (\d+) mm above the hinge line`)[0]
	d.equal("the horn", horn, mm(e.Horn), 0)
	rates := d.said("measure-throws", `travel (\d+)° to each side, (\d+) % of it for pitch and (\d+) % for roll`)
	if rates[1]+rates[2] > 100 {
		t.Errorf("a stick in the corner asks for %g %% of the travel", rates[1]+rates[2])
	}
	throw := func(share float64) float64 { return mm(e.Chord) * arm * math.Sin(rates[0]*degree*share/100) / horn }
	d.is("pitch-throw", "mm", throw(rates[1]), 0.5)
	d.is("roll-throw", "mm", throw(rates[2]), 0.5)
	turns := d.said("set-reflex", `(?s)elevon stands (\d+) mm above.*Two turns lift it by (\d+) mm`)
	d.is("reflex", "mm", turns[0], 0.1)
	d.equal("what two turns lift", turns[1], 2*mm(e.Thread)*mm(e.Chord)/horn, 0.1)
	servo := d.said("mark-wing-bays", `(\d+) mm out on each side, its middle (\d+) mm behind the apex`)
	if strip, hinge := middle(servo[0]), rear(servo[0])-mm(e.Chord); servo[1]-12 < strip+10 || servo[1]+12 > hinge-20 {
		t.Errorf("the servo lies at %g, the strip at %g and the hinge at %g", servo[1], strip, hinge)
	}

	// Motor.
	block := d.said("make-blocks", `blocks of wood, (\d+) mm high`)[0]
	for _, name := range []string{"dry-fit-motor-plate", "measure-wing", "thrust-line"} {
		d.equal("the blocks at "+name, d.said(name, `both blocks of (\d+) mm`)[0], block, 0)
	}
	keel := d.said("mark-keel", `chord line of the root, (\d+) mm above the underside`)[0]
	d.equal("the shaft above the table", d.said("dry-fit-motor-plate", `shaft hole (\d+) mm above the table`)[0], block+keel+mm(g.Propeller.Z), 0)
	radius := mm(g.Propeller.Diameter) / 2
	if below := radius - mm(g.Propeller.Z) - keel; below > block-10 {
		t.Errorf("the blades reach %g mm below the keel, which stands on %g mm", below, block)
	}
	plate := d.said("count-parts", `motor plate of plywood, (\d+) mm × (\d+) mm`)
	lean := d.said("dry-fit-motor-plate", `top stands (\d+) mm off, toward the nose`)[0]
	d.is("thrust-line", "°", math.Atan(lean/plate[1])/degree, 0.2)
	bar := d.said("thrust-side", `straight bar of (\d+) mm`)[0]
	d.equal("the bar", d.said("make-blocks", `bar of plywood, (\d+) mm long`)[0], bar, 0)
	if bar/2 > mm(e.Inner)-5 {
		t.Errorf("the bar of %g mm reaches over the elevons, which begin %g mm out", bar, mm(e.Inner))
	}
	blade := 8. // half the width of a blade of this size
	stern := mm(body(t, g, "pod").Rear) + plate[0]
	for _, at := range []float64{rear(radius), stern} {
		d.is("prop-clearance", "mm", mm(g.Propeller.X)-blade-at, 0)
	}
	grip := d.said("cut-grip", `from (\d+) mm to (\d+) mm behind the apex`)
	d.is("grip-distance", "mm", mm(g.Propeller.X)-grip[1], 0)

	// Fins, and the beds that make room for the pod.
	d.is("fins-parallel", "mm", 2*half+figure(t, d.sheet.About, `Fins \| two, on the tips, (\d+) mm thick`), 0.5)
	for _, saw := range []string{"saw-lower-beds", "saw-upper-beds"} {
		if off := d.said(saw, `Saw (\d+) mm off the root ends`)[0]; off < mm(body(t, g, "pod").Right)+5 {
			t.Errorf("%s: %g mm for half a pod of %g mm", saw, off, mm(body(t, g, "pod").Right))
		}
	}

	// Receiver and video transmitter; both cases are some 50 mm across.
	beds := d.said("mark-wing-bays", `receiver (\d+) mm out on the right, (\d+) mm back. One for the video transmitter on the left, (\d+) mm back`)
	d.is("receiver-distance", "mm", math.Hypot(2*beds[0], beds[1]-beds[2])-26, 0)

	// The bay of the battery, and what the parts come to with the battery where the build
	// lays it down first.
	bay := d.said("cut-battery-bay", `Battery bay: from (\d+) mm ahead to (\d+) mm behind the apex`)
	d.equal("the bay in front", -bay[0]+mm(g.Battery.Length)/2, mm(g.Battery.From), 0.1)
	d.equal("the bay behind", bay[1]-mm(g.Battery.Length)/2, mm(g.Battery.To), 0.1)
	lays := d.said("place-battery", `middle about (\d+) mm behind the apex, about (\d+) mm with the skid`)
	stand := d.said("place-battery", `underneath, (\d+) mm out on the left and on the right, (\d+) mm behind the leading edge`)
	d.equal("the lines for the stand", d.said("mark-spar-lines", `underside, (\d+) mm out`)[0], stand[0], 0)
	d.equal("zero of the balance", mm(g.Balance.Zero), front(stand[0]), 0.1)
	plan, err := planform.Of(g, steps.Selection{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		has  []string
		lies float64
	}{{nil, lays[0]}, {[]string{"landing-skid"}, lays[1]}} {
		var mass, moment float64
		for _, part := range g.Parts {
			if !part.In(steps.Selection{Has: c.has}) {
				continue
			}
			m, x := amountIn(t, part.Mass, "g"), mm(part.X)
			if part.Name == g.Battery.Part {
				x = c.lies
			}
			mass, moment = mass+m, moment+m*x
		}
		d.is("balance", "mm", moment/mass-mm(g.Balance.Zero), 0.3)
		d.is("all-up-mass", "g", mass, 20)
		if margin, err := plan.Margin(moment / mass); err != nil || margin < 0.05 || margin > 0.10 {
			t.Errorf("with %v the static margin is %.1f %%, %v", c.has, 100*margin, err)
		}
	}
	d.is("balance", "mm", stand[1], 0.1)

	// It is lifted where the cross spars end, and where it then balances.
	lift := d.said("lift-test", `each half, (\d+) mm out, where the cross spars end, (\d+) mm behind the leading edge`)
	d.equal("where it is lifted", lift[0], long[0]/2, 0)
	d.equal("the balance where it is lifted", front(lift[0])+lift[1], front(stand[0])+stand[1], 2)

	// The points of the gates on the plan.
	on := map[string]func(y float64) float64{
		"washout": middle, "spar-depth": func(float64) float64 { return mark[0] }, "spar-over-spar": func(float64) float64 { return mark[0] },
		"spar-ends": func(float64) float64 { return mark[0] }, "elevon-play": rear, "reflex": rear, "pitch-throw": rear, "roll-throw": rear,
		"servo-centre": func(float64) float64 { return servo[1] }, "thrust-side": rear, "thrust-line": func(float64) float64 { return mm(g.Propeller.X) },
		"grip-distance": func(float64) float64 { return grip[1] }, "balance": func(y float64) float64 { return front(y) + stand[1] },
		"clevis-turns": func(y float64) float64 { return rear(y) - mm(e.Chord) - 5 },
	}
	out := map[string]float64{ // where all points of a gate lie out from the centre line
		"washout": at[1], "spar-ends": mark[1], "servo-centre": servo[0], "clevis-turns": servo[0], "sweep": half, "fins-parallel": half,
		"thrust-line": 0, "thrust-side": bar / 2, "grip-distance": 0, "balance": stand[0],
	}
	placed := 0
	for _, gate := range d.sheet.Gates {
		for _, p := range gate.At {
			placed++
			x, y := mm(p.X), math.Abs(mm(p.Y))
			if line := on[gate.Name]; line != nil && math.Abs(x-line(y)) > 1.5 {
				t.Errorf("%s: %s lies at %g, its line at %.1f", gate.Name, p.Point, x, line(y))
			}
			if far, ok := out[gate.Name]; ok && y != far {
				t.Errorf("%s: %s lies %g out, and is measured %g out", gate.Name, p.Point, y, far)
			}
			left, right := regexp.MustCompile(`\bleft\b`).MatchString(p.Point), regexp.MustCompile(`\bright\b`).MatchString(p.Point)
			if left && mm(p.Y) >= 0 || right && mm(p.Y) <= 0 {
				t.Errorf("%s: %s lies at y = %g", gate.Name, p.Point, mm(p.Y))
			}
			switch { // what is measured where the elevon is, where it is not, and at a corner
			case gate.Name == "reflex" || gate.Name == "elevon-play" || gate.Name == "pitch-throw" || gate.Name == "roll-throw":
				if y < mm(e.Inner) || y > mm(e.Outer) {
					t.Errorf("%s: %s lies beside the elevon", gate.Name, p.Point)
				}
			case gate.Name == "sweep":
				if corner := map[bool]float64{true: front(half), false: rear(half)}[regexp.MustCompile("^front").MatchString(p.Point)]; x != corner {
					t.Errorf("sweep: %s lies at %g, the corner at %g", p.Point, x, corner)
				}
			}
		}
		if n := len(gate.PointNames()); len(gate.At) > 0 && len(gate.At) != n {
			t.Errorf("%s: %d points of %d have a place", gate.Name, len(gate.At), n)
		}
	}
	if placed < 50 {
		t.Errorf("%d points have a place", placed)
	}
}

// figure is the one figure that the pattern finds in a text.
func figure(t *testing.T, text, pattern string) float64 {
	t.Helper()
	found := regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1)
	if len(found) != 1 {
		t.Fatalf("%q stands there %d times", pattern, len(found))
	}
	f, err := strconv.ParseFloat(found[0][1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// section is how thick a wing is by its chord, as the sheet says.
func section(about string, t *testing.T) float64 {
	return figure(t, about, `Section \| symmetric, (\d+) % thick`) / 100
}

func body(t *testing.T, g steps.Geometry, name string) steps.Body {
	t.Helper()
	for _, b := range g.Bodies {
		if b.Name == name {
			return b
		}
	}
	t.Fatalf("no body %s", name)
	return steps.Body{}
}
