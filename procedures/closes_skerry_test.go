package procedures

import (
	"math"
	"regexp"
	"testing"

	"fettle/steps"
	"fettle/steps/planform"
)

// What the steps of the build make is what the gates ask: the beds give the washout, the
// lean of the stern the thrust line, arms and horns the throws, the bay the balance.
func TestSkerryCloses(t *testing.T) {
	d := drawingOf(t, "skerry")
	g := d.sheet.Geometry
	mm := d.mm
	panel := g.Surfaces[0].Panels[0]
	half, root, tip, sweep := mm(panel.Span), mm(panel.Root), mm(panel.Tip), mm(panel.Sweep)
	front := func(y float64) float64 { return sweep * y / half }
	chord := func(y float64) float64 { return root + (tip-root)*y/half }
	rear := func(y float64) float64 { return front(y) + chord(y) }

	// The bed is straight from root to tip: both of its edges rise in proportion.
	rise := d.said("prove-beds", `rear corner stands (\d+) mm higher`)[0]
	twist := func(y float64) float64 { return lean(rise*y/half, chord(y)) }
	d.same("the upper beds", d.said("prove-upper-beds", `front corner at the tip stands (\d+) mm higher`)[0], rise, 0)
	at := d.said("washout", `(?s)foam (\d+) mm out from the centre line.*tip, (\d+) mm out`)
	d.asks("bed-washout", twist(half))
	d.asks("washout", twist(at[1])-twist(at[0]))
	line := d.said("prove-table", `(\d+) mm back at (\d+) mm out`)
	d.same("the line of the sweep", line[0], front(line[1]), 0.5)

	// Spars and strips.
	stop := d.said("cut-slots", `depth stop to ([\d.]+) mm`)[0]
	d.asks("spar-depth", stop)
	spar := d.said("count-parts", `tube and glass rod of (\d+) mm`)[0]
	if room := stop - spar; room < 0.3 || room > 0.8 {
		t.Errorf("a slot of %g mm for a spar of %g mm", stop, spar)
	}
	mark := d.said("mark-spar-lines", `(\d+) mm behind the apex, square to the centre line, (\d+) mm to each side`)
	d.asks("spar-ends", mark[1])
	long := d.said("cut-spars", `(\d+) mm for tube and rod, (\d+) mm for each strip`)
	if room := mark[1] - long[0]/2; room < 1 || room > 4 {
		t.Errorf("slots %g mm to each side for a spar of %g mm", mark[1], long[0])
	}
	thick := d.about(`Section \| symmetric, (\d+) % thick`)[0] / 100
	if at := long[0] / 2; chord(at)*thick < 2*stop+8 || mark[0] < front(at)+0.15*chord(at) {
		t.Errorf("the ends of the spars lie %g behind the leading edge, in %g of foam", mark[0]-front(at), chord(at)*thick)
	}
	strip := d.said("mark-spar-lines", `half chord line, from (\d+) mm to (\d+) mm out`)
	slit := d.said("slit-strips", `(\d+) mm each`)[0]
	middle := func(y float64) float64 { return front(y) + chord(y)/2 }
	d.same("the length of the slits", slit, math.Hypot(strip[1]-strip[0], middle(strip[1])-middle(strip[0])), 1)
	if long[1] >= slit {
		t.Errorf("strips of %g mm in slits of %g mm", long[1], slit)
	}

	// Elevons.
	e := g.Controls[0]
	d.same("the length of the elevons", d.said("shape-elevons", `Cut both to (\d+) mm`)[0], mm(e.Outer)-mm(e.Inner), 0)
	d.same("where they begin", d.said("hinge-elevons", `(\d+) mm out from the centre line`)[0], mm(e.Inner), 0)
	arm := d.said("fit-linkages", `arm, (\d+) mm from the shaft of the servo`)[0]
	horn := d.said("fit-linkages", `hole (\d+) mm above the hinge line`)[0]
	d.same("the horn", horn, mm(e.Horn), 0)
	rates := d.said("measure-throws", `travel (\d+)° to each side, (\d+) % of it for pitch and (\d+) % for roll`)
	if rates[1]+rates[2] > 100 {
		t.Errorf("a stick in the corner asks for %g %% of the travel", rates[1]+rates[2])
	}
	throw := func(share float64) float64 { return mm(e.Chord) * arm * sin(rates[0]*share/100) / horn }
	d.passes("pitch-throw", throw(rates[1]))
	d.asks("roll-throw", throw(rates[2]))
	turns := d.said("set-reflex", `(?s)elevon stands (\d+) mm above.*Two turns lift it by (\d+) mm`)
	d.asks("reflex", turns[0])
	d.same("what two turns lift", turns[1], 2*mm(e.Thread)*mm(e.Chord)/horn, 0.1)
	servo := d.said("mark-wing-bays", `(\d+) mm out on each side, its middle (\d+) mm behind the apex`)
	if strip, hinge := middle(servo[0]), rear(servo[0])-mm(e.Chord); servo[1]-12 < strip+10 || servo[1]+12 > hinge-20 {
		t.Errorf("the servo lies at %g, the strip at %g and the hinge at %g", servo[1], strip, hinge)
	}

	// Motor.
	block := d.said("make-blocks", `blocks of wood, (\d+) mm high`)[0]
	for _, name := range []string{"dry-fit-motor-plate", "measure-wing", "thrust-line"} {
		d.same("the blocks at "+name, d.said(name, `both blocks of (\d+) mm`)[0], block, 0)
	}
	keel := d.said("mark-keel", `chord line of the root, (\d+) mm above the underside`)[0]
	d.same("the shaft above the table", d.said("dry-fit-motor-plate", `shaft hole (\d+) mm above the table`)[0], block+keel+mm(g.Propeller.Z), 0)
	radius := mm(g.Propeller.Diameter) / 2
	if below := radius - mm(g.Propeller.Z) - keel; below > block-10 {
		t.Errorf("the blades reach %g mm below the keel, which stands on %g mm", below, block)
	}
	plate := d.said("count-parts", `motor plate of plywood, (\d+) mm × (\d+) mm`)
	off := d.said("dry-fit-motor-plate", `top stands (\d+) mm off, toward the nose`)[0]
	d.asks("thrust-line", slope(off, plate[1]))
	bar := d.said("thrust-side", `straight bar of (\d+) mm`)[0]
	d.same("the bar", d.said("make-blocks", `bar of plywood, (\d+) mm long`)[0], bar, 0)
	if bar/2 > mm(e.Inner)-5 {
		t.Errorf("the bar of %g mm reaches over the elevons, which begin %g mm out", bar, mm(e.Inner))
	}
	blade := 8. // half the width of a blade of this size
	stern := mm(d.body("pod").Rear) + plate[0]
	for _, at := range []float64{rear(radius), stern} {
		d.asks("prop-clearance", mm(g.Propeller.X)-blade-at)
	}
	grip := d.said("cut-grip", `from (\d+) mm to (\d+) mm behind the apex`)
	d.asks("grip-distance", mm(g.Propeller.X)-grip[1])

	// Fins, and the beds that make room for the pod.
	d.asks("fins-parallel", 2*half+d.about(`Fins \| two, on the tips, (\d+) mm thick`)[0])
	for _, saw := range []string{"saw-lower-beds", "saw-upper-beds"} {
		if off := d.said(saw, `Saw (\d+) mm off the root ends`)[0]; off < mm(d.body("pod").Right)+5 {
			t.Errorf("%s: %g mm for half a pod of %g mm", saw, off, mm(d.body("pod").Right))
		}
	}

	// Receiver and video transmitter; both cases are some 50 mm across.
	beds := d.said("mark-wing-bays", `receiver (\d+) mm out on the right, (\d+) mm back. One for the video transmitter on the left, (\d+) mm back`)
	d.asks("receiver-distance", math.Hypot(2*beds[0], beds[1]-beds[2])-26)
	// A receiver is some 20 mm long, and the hot cutter stays a finger's width, 12 mm at the
	// least, off the slots of the cross spars (common practice, no source).
	d.words("melt-wing-bays", "a finger's width short of the spars")
	x, _ := d.part("receiver")
	d.same("the receiver", beds[1], x, 0)
	if slot := mark[0] - 2.3; beds[1]+10 > slot-12 {
		t.Errorf("the bed of the receiver ends at %g mm, the slot of the cross spar begins at %g mm", beds[1]+10, slot)
	}
	// The skid lies where the parts table has it.
	skid := d.said("coat-skid", `(\d+) mm long, its middle (\d+) mm behind the apex`)
	x, _ = d.part("skid")
	d.same("the middle of the skid", skid[1], x, 0)
	if x-skid[0]/2 < mm(d.body("nose").Front) || x+skid[0]/2 > mm(d.body("pod").Rear) {
		t.Errorf("a skid of %g mm is longer than the keel", skid[0])
	}

	// The bay of the battery, and what the parts come to with the battery where the build
	// lays it down first.
	bay := d.said("cut-battery-bay", `Battery bay: from (\d+) mm ahead to (\d+) mm behind the apex`)
	d.same("the bay in front", -bay[0]+mm(g.Battery.Length)/2, mm(g.Battery.From), 0.1)
	d.same("the bay behind", bay[1]-mm(g.Battery.Length)/2, mm(g.Battery.To), 0.1)
	lays := d.said("place-battery", `middle about (\d+) mm behind the apex, about (\d+) mm with the skid`)
	stand := d.said("place-battery", `underneath, (\d+) mm out on the left and on the right, (\d+) mm behind the leading edge`)
	d.same("the lines for the stand", d.said("mark-spar-lines", `underside, (\d+) mm out`)[0], stand[0], 0)
	d.same("zero of the balance", mm(g.Balance.Zero), front(stand[0]), 0.1)
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
			m, x := grams(part.Mass), mm(part.X)
			if part.Name == g.Battery.Part {
				x = c.lies
			}
			mass, moment = mass+m, moment+m*x
		}
		d.asks("balance", moment/mass-mm(g.Balance.Zero))
		d.passes("all-up-mass", mass)
		if margin, err := plan.Margin(moment / mass); err != nil || margin < 0.05 || margin > 0.10 {
			t.Errorf("with %v the static margin is %.1f %%, %v", c.has, 100*margin, err)
		}
	}
	d.asks("balance", stand[1])

	// It is lifted where the cross spars end, and where it then balances.
	lift := d.said("lift-test", `each half, (\d+) mm out, where the cross spars end, (\d+) mm behind the leading edge`)
	d.same("where it is lifted", lift[0], long[0]/2, 0)
	d.same("the balance where it is lifted", front(lift[0])+lift[1], front(stand[0])+stand[1], 2)

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
	if placed < 45 {
		t.Errorf("%d points have a place", placed)
	}
}
