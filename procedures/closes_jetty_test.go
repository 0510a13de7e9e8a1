package procedures

import (
	"fmt"
	"math"
	"regexp"
	"testing"

	"fettle/steps"
)

// The wing of the Jetty: what its jig makes is what the gates ask.
func TestJettysWingCloses(t *testing.T) {
	d := drawingOf(t, "jetty")
	panel := d.surface("main-wing").Panels[0]
	half, chord, dihedral := d.mm(panel.Span), d.mm(panel.Root), degrees(panel.Dihedral)
	washout := d.about(`\| Washout \| (\d+)°`)[0]

	// Dihedral: the block under the inner ends of beds as long as the half, the bevel over
	// the same block, and the brace, one arm level and the other at twice the angle.
	// The wedge turns the bed about its trailing edge and lowers the tip ahead of it.
	wedge := d.said("make-jig", `(\d+) mm long and \d+ mm wide: (\d+) mm thick at one end`)
	lowered := func(x float64) float64 { return wedge[1] * (chord - x) / chord }
	block := d.said("make-jig", `a block (\d+) mm high`)[0]
	d.asks("jig-block", half*sin(dihedral))
	d.asks("jig-block", block)
	for _, tip := range d.gate("dihedral").At {
		d.asks("dihedral", block-lowered(d.mm(tip.X)))
		d.asks("dihedral", half*sin(dihedral)-lowered(d.mm(tip.X)))
	}
	d.same("the block of the jig", d.said("jig-wing", `the block of (\d+) mm`)[0], block, 0)
	d.same("the block of the bevel", d.said("bevel-roots", `the block of (\d+) mm`)[0], block, 0)
	d.same("the dihedral of the table", d.about(`\| Dihedral \| (\d+)°`)[0], dihedral, 0)
	d.same("how high the tips stand", d.about(`the tips stand (\d+) mm over`)[0], half*sin(dihedral), 0.5)
	brace := d.said("make-brace", `two arms of (\d+) mm, (\d+) mm deep\.(?:.|\n)*stands (\d+) mm over`)
	d.asks("brace-rise", brace[2])
	tubes := lean(block-lowered(d.said("cut-spar-slots", `a line (\d+) mm behind`)[0]), half)
	d.asks("brace-rise", brace[0]*sin(2*tubes))
	d.same("the dihedral of the brace", lean(brace[2], brace[0])/2, tubes, 0.15)

	// Washout: the wedge lifts the front edge of the bed over the chord; the meter reads
	// from 50 from the middle to 20 from the tip of a twist that grows evenly.
	d.same("the length of the wedge", wedge[0], half, 0)
	d.asks("bed-wedge", wedge[1])
	d.asks("bed-wedge", chord*sin(washout))
	d.asks("washout", lean(wedge[1], chord))
	root, tip := d.said("washout", `(\d+) mm from the middle`)[0], d.said("washout", `(\d+) mm from the tip`)[0]
	d.asks("washout", lean(wedge[1], chord)*(half-tip-root)/half)

	// Spars, in the section; brace beside the tubes.
	tube := d.said("count-parts", `two carbon tubes of (\d+) mm, two cap strips of (\d+) mm × (\d+) mm`)
	slot := d.said("cut-spar-slots", `depth stop to (\d+) mm`)[0]
	line := d.said("cut-spar-slots", `a line (\d+) mm behind the leading edge, from the root to (\d+) mm short of the tip`)
	length := d.said("cut-spars", `mark (\d+) mm on it\. The tip keeps (\d+) mm`)
	flanks := d.said("cut-spar-slots", `(\d+) mm apart`)[0]
	d.asks("spar-depth", slot)
	d.asks("spar-line", line[0])
	d.asks("spar-ends", line[1])
	d.same("tube and cap in their slot", slot, tube[0]+tube[2], 0)
	d.same("the middle of the tube over the underside", slot-tube[0]/2, 13, 0) // of a section that is 26 thick there
	d.same("the thickness of the section", d.about(`flat underside, (\d+) mm thick`)[0], 2*(slot-tube[0]/2), 0)
	d.same("the width of the slot", flanks, tube[0], 0)
	d.same("the width of the cap", tube[1], flanks, 0)
	d.same("the spar and what is left at the tip", length[0]+length[1], half, 0)
	if line[1] > length[1] {
		t.Errorf("the slot ends %v short of the tip, and the spar %v", line[1], length[1])
	}
	slit := d.said("cut-spar-slots", `backward by (\d+) mm for the brace, from the root to (\d+) mm`)
	d.same("the width of the slit", slit[0], d.said("count-parts", `(\d+) mm for the brace`)[0], 0)
	d.asks("brace-reach", slit[1])
	if slit[1] < brace[0] || brace[1] > slot {
		t.Errorf("the brace of %v × %v does not go into a slit of %v × %v", brace[0], brace[1], slit[1], slot)
	}

	// Seat plates: as deep at the joint as they are thick, in the plane of its edges.
	plate := d.said("count-parts", `two seat plates of (\d+) mm × \d+ mm × (\d+) mm`)
	pocket := d.said("cut-plate-pockets", `(\d+) mm long and (?:.|\n)*Cut each (\d+) mm deep at the joint, running out`)
	d.same("the length of the pockets", pocket[0], plate[0], 0)
	d.same("the depth of the pockets", pocket[1], plate[1], 0)
	d.same("where they run out", plate[0]/2*tan(dihedral), plate[1], 0.3)

	// Wing bolts: through plates as large as their pockets, in line with the seat plate.
	head := d.said("count-parts", `two head plates of (\d+) mm × (\d+) mm × ([\d.]+) mm`)
	let := d.said("cut-head-pockets", `(\d+) mm behind the leading edge, (\d+) mm left(?:.|\n)*pocket of (\d+) mm × (\d+) mm there, ([\d.]+) mm deep`)
	for i, what := range []string{"length", "width", "depth"} {
		d.same("the "+what+" of a head plate's pocket", let[2+i], head[i], 0)
	}
	for i, bolt := range d.gate("wing-bolts").At {
		d.same("the station of the head plates", let[0], d.mm(bolt.X), 0)
		d.same("the place of the head plates", []float64{-let[1], let[1]}[i], d.mm(bolt.Y), 0)
	}
	block175 := d.said("cut-block-pockets", `its middle (\d+) mm behind the leading edge; the plate for the tongue, its middle (\d+) mm behind`)
	plates := d.said("cut-plate-pockets", `their middles (\d+) mm and (\d+) mm behind`)
	d.same("the block of the bolts", block175[0], let[0], 0)
	d.same("the rear seat plate", plates[1], let[0], 0)
	d.same("the plate of the tongue", block175[1], plates[0], 0)

	// Plastic hinges: a gap in one wall, which closes by the thickness at the bend.
	sheet, gap := d.said("cut-plastic-hinges", `twin-wall sheet, (\d+) mm thick`)[0], d.said("cut-plastic-hinges", `a strip (\d+) mm wide out of`)[0]
	if most := d.about(`rudder (\d+)°`)[0]; gap < 2*sheet*tan(most) {
		t.Errorf("a plastic hinge with a gap of %v in walls %v apart does not bend by %v°", gap, sheet, most)
	}

	// Ailerons, which only some have: within the wing, each servo beside the middle.
	aileron := d.control("ailerons")
	size := d.said("hinge-ailerons", `(\d+) mm by (\d+) mm, its outer end (\d+) mm from the tip`)
	d.same("the length of the aileron", size[0], d.mm(aileron.Outer)-d.mm(aileron.Inner), 0)
	d.same("the chord of the aileron", size[1], d.mm(aileron.Chord), 0)
	d.same("its outer end", half-size[2], d.mm(aileron.Outer), 0)
	d.same("its servo", d.said("sand-wing", `(\d+) mm from the middle and`)[0], half-size[2]-size[0]/2, 0)
}

// Pod and tail: the seats set the wing against the tail, and the motor face the thrust.
func TestJettysPodCloses(t *testing.T) {
	d := drawingOf(t, "jetty")
	wing, tail := d.surface("main-wing"), d.surface("tailplane")
	chord := d.mm(wing.Panels[0].Root)

	seat := d.said("make-templates", `seat from card: (\d+) mm long, (\d+) mm high in front and ([\d.]+) mm at the rear`)
	rear := d.said("make-templates", `tailplane's seat: (\d+) mm long, (\d+) mm high at both ends`)
	cut := d.said("cut-wing-seat", `(\d+) mm over the keel in front, ([\d.]+) mm at the rear`)
	tailCut := d.said("cut-wing-seat", `from (\d+) mm to (\d+) mm, (\d+) mm over`)
	d.same("the length of the wing's seat", seat[0], chord, 0)
	d.same("the front of the wing's seat", cut[0], seat[1], 0)
	d.same("the rear of the wing's seat", cut[1], seat[2], 0)
	d.same("the tailplane's seat over the keel", tailCut[2], rear[1], 0)
	d.same("the length of the tailplane's seat", tailCut[1]-tailCut[0], rear[0], 0)
	d.same("where the tailplane lies", tailCut[0], d.mm(tail.X), 0)
	incidence := slope(seat[1]-seat[2], seat[0]) - 0 // the other seat is level
	d.asks("tail-set", incidence)
	d.same("the angle of the table", d.about(`lies at (\d+)° to the keel`)[0], incidence, 0.1)

	// The stern: hinge behind it, within the tailplane.
	stern := d.about(`to (\d+) mm, 80 mm wide`)[0]
	elevator := d.control("elevator")
	hinge := d.mm(tail.X) + d.mm(tail.Panels[0].Root) - d.mm(elevator.Chord)
	d.same("the hinge of the elevator", stern+d.said("dry-fit-tail", `elevator (\d+) mm behind the stern`)[0], hinge, 0)
	d.same("the end of the seat", tailCut[1], stern, 0)
	marks := d.said("hinge-tail", `(\d+) mm from the trailing edge; that of the rudder on its left face, (\d+) mm`)
	d.same("the chord of the elevator", marks[0], d.mm(elevator.Chord), 0)
	d.same("the chord of the rudder", marks[1], d.mm(d.control("rudder").Chord), 0)
	// The elevator, fully up, stays under the sloping foot of the rudder.
	foot, up := d.said("shape-tail", `sloping, (\d+) mm higher`)[0], d.about(`elevator (\d+)°`)[0]
	if most, _ := d.gate("elevator-throw").Limits.High.Float("mm"); foot <= most || d.mm(elevator.Chord)*sin(up) > most {
		t.Errorf("the foot of the rudder clears %v, and the elevator goes up by %v", foot, most)
	}

	// Strips: under both seats, and clear of the rod that leaves between them.
	strips := d.said("mark-bays", `each flank, (\d+) mm and (\d+) mm over the keel, from \d+ mm to (\d+) mm`)
	rod := d.said("mark-bays", `by the flank at (\d+) mm, (\d+) mm over the keel`)
	for _, top := range []float64{seat[2], rear[1]} {
		if strips[1] > top-8 || strips[0] < 10 {
			t.Errorf("strips at %v and %v, and a seat at %v", strips[0], strips[1], top)
		}
	}
	if rod[1] < strips[0]+6 || rod[1] > strips[1]-6 || rod[0] > tailCut[0]-40 {
		t.Errorf("the elevator's rod leaves at %v, %v over the keel; strips at %v and %v, the tailplane's seat from %v", rod[0], rod[1], strips[0], strips[1], tailCut[0])
	}

	// The fin: it ends with the elevator, and begins ahead of the tailplane.
	fin := d.surface("fin")
	d.same("the rear edge of the fin", d.mm(fin.X)+d.mm(fin.Panels[0].Root), d.mm(tail.X)+d.mm(tail.Panels[0].Root), 0)
	d.words("coat-fin", "Its rear edge stands over that of the elevator")
	d.same("the foot of the fin", d.mm(tail.X)-d.said("coat-fin", `reaches (\d+) mm beyond the tailplane`)[0], d.mm(fin.X), 0)

	// The hatch covers the bay, on its ledges.
	hatch := d.said("count-parts", `a hatch of (\d+) mm × (\d+) mm`)
	opening := d.said("cut-hatch", `from (\d+) mm ahead of the leading edge to (\d+) mm ahead(?:.|\n)*, (\d+) mm wide and as deep(?:.|\n)*mm × \d+ mm, (\d+) mm ahead`)
	bay := d.said("cut-bay", `from (\d+) mm ahead of the leading edge to (\d+) mm ahead of it, (\d+) mm wide in each half(?:.|\n)*down to (\d+) mm over the keel`)
	d.same("the opening of the hatch", opening[0]-opening[1], hatch[0], 0)
	if opening[0]-opening[2] < bay[0] || opening[1]+opening[2] > bay[1] || hatch[1]-2*opening[2] < 2*bay[2] {
		t.Errorf("a hatch of %v from %v to %v does not lie round a bay of %v", hatch, opening[0], opening[1], bay)
	}
	controller, _ := d.part("speed-controller")
	d.same("the well of the controller", opening[3], -controller, 0)
	if pack := d.body("battery"); 2*bay[2] < d.mm(pack.Right)-d.mm(pack.Left)+2 {
		t.Errorf("a pack %v wide does not go into a bay of %v", d.mm(pack.Right)-d.mm(pack.Left), 2*bay[2])
	}

	// Thrust: at the plate, and as the bar of the gate reads it.
	down := d.said("dry-fit-motor-plate", `over (\d+) mm the top stands ([\d.]+) mm further forward`)
	side := d.said("dry-fit-motor-plate", `over (\d+) mm the left edge stands ([\d.]+) mm further forward`)
	line := d.about(`\| Thrust line \| ([\d.]+)° down and (\d+)° to the right`)
	bar := d.said("thrust-side", `bar of (\d+) mm`)[0]
	d.asks("thrust-line", slope(down[1], down[0]))
	d.asks("thrust-line", line[0])
	d.asks("thrust-side", bar*sin(slope(side[1], side[0])))
	d.asks("thrust-side", bar*sin(line[1]))

	// Propeller: over the ground, with the shaft bent down, and ahead of the nose.
	p := d.sheet.Geometry.Propeller
	radius, shaft, nose := d.mm(p.Diameter)/2, d.said("dry-fit-motor-plate", `shaft hole (\d+) mm above the keel`)[0], d.about(`from (-\d+) mm to`)[0]
	keel := d.about(`keel (\d+) mm over the ground`)[0]
	ahead := nose - d.mm(p.X)
	least := func(gate string, comes float64) {
		if low := d.mm(d.gate(gate).Limits.Low); comes < low+5 {
			t.Errorf("%s: %.1f mm are left, and at least %.0f mm with 5 to spare are asked", gate, comes, low)
		}
	}
	least("ground-clearance", keel+shaft-ahead*sin(line[0])-radius)
	least("prop-clearance", ahead-5-radius*sin(math.Max(line[0], line[1])))
	for _, at := range [][]float64{d.said("make-templates", `two blocks (\d+) mm high`), d.said("dry-fit-tail", `two blocks of (\d+) mm`),
		d.said("set-datum", `two blocks of (\d+) mm`), d.said("tail-level", `two blocks of (\d+) mm`), d.said("balance", `block of (\d+) mm`)} {
		if d.same("the blocks under the keel", at[0], 120, 0); at[0] < keel+10 {
			t.Errorf("on blocks of %v the wheels do not hang free", at[0])
		}
	}

	// Stations of what is fitted.
	for _, at := range []struct {
		part   string
		stated float64
	}{
		{"servo-tray", d.said("coat-servo-tray", `its middle (\d+) mm behind`)[0]}, {"receiver", d.said("fit-radio", `(\d+) mm behind the leading edge`)[0]},
		{"speed-controller", -d.said("fit-radio", `(\d+) mm ahead of the leading edge`)[0]}, {"undercarriage", d.said("cut-block-pockets", `slot (\d+) mm behind`)[0]},
	} {
		x, _ := d.part(at.part)
		d.same("the station of "+at.part, at.stated, x, 0)
	}
}

// Balance with the travel of the battery, throws and margin.
func TestJettyFliesAsItsGatesAsk(t *testing.T) {
	d := drawingOf(t, "jetty")
	travel := d.sheet.Geometry.Battery
	bay := d.said("cut-bay", `from (\d+) mm ahead of the leading edge to (\d+) mm ahead`)
	d.same("the front end of the travel", d.mm(travel.From), -bay[0]+d.mm(travel.Length)/2, 0)
	d.same("the rear end of the travel", d.mm(travel.To), -bay[1]-d.mm(travel.Length)/2, 0)
	stated := d.said("place-battery", `about (\d+) mm ahead of the leading edge, about (\d+) mm with ailerons`)
	stand := d.said("place-battery", `underneath at (\d+) mm`)[0]
	d.asks("balance", stand)
	for i, has := range [][]string{nil, {"ailerons"}, {"bolted-wing"}, {"ailerons", "bolted-wing"}} {
		at, mass := d.balanced(has, -stated[i%2])
		d.asks("balance", at)
		if all := d.gate("all-up-mass").Limits; !(mass > grams(all.Low)+40 && mass < grams(all.High)-40) {
			t.Errorf("%v: it weighs %.0f g", has, mass)
		}
		front, _ := d.balanced(has, d.mm(travel.From))
		rear, _ := d.balanced(has, d.mm(travel.To))
		if front > stand-2 || rear < stand+2 {
			t.Errorf("%v: the travel of the battery balances it from %.1f to %.1f, and %v is wanted", has, front, rear, stand)
		}
	}
	at, mass := d.balanced(nil, 0)
	moved, _ := d.balanced(nil, 10)
	d.same("10 mm of battery", d.about(`move the balance point by about ([\d.]+) mm`)[0], moved-at, 0.05)
	d.same("the mass", d.about(`\| Mass all up \| (\d+) g`)[0], mass, 0)
	balance := d.about(`\| Balance point \| (\d+) mm behind the leading edge, which is (\d+) % MAC`)
	d.asks("balance", balance[0])
	d.same("the balance in % MAC", balance[1], 100*balance[0]/d.mm(d.surface("main-wing").Panels[0].Root), 0.5)
	scales := d.said("balance", `Mark the keel (\d+) mm ahead of the leading edge and (\d+) mm behind it`)
	for i, at := range d.gate("balance").Or.Result.Stations {
		d.same("the scale "+at.Point, []float64{-scales[0], scales[1]}[i], d.mm(at.At), 0)
	}

	// Linkages: what the arm and the hole make of the swing.
	swing := d.said("set-neutrals", `swings each arm by (\d+)°`)[0]
	tailArms := d.said("fit-linkages", `elevator (\d+) mm from the screw, for the rudder (\d+) mm\. .*horn (\d+) mm from the hinge`)
	arm := d.said("fit-aileron-linkages", `crosses the arm, (\d+) mm from the screw`)[0]
	d.asks("elevator-throw", d.travel("elevator", tailArms[0], swing))
	d.asks("rudder-throw", d.travel("rudder", tailArms[1], swing))
	d.asks("aileron-throw", d.travel("ailerons", arm, swing))
	d.same("the horn of the elevator", tailArms[2], d.mm(d.control("elevator").Horn), 0)
	d.same("the horn of the rudder", tailArms[2], d.mm(d.control("rudder").Horn), 0)
	d.same("the horn of the ailerons", d.said("fit-aileron-linkages", `the horn (\d+) mm from the hinge`)[0], d.mm(d.control("ailerons").Horn), 0)

	angles := d.about(`elevator (\d+)°, rudder (\d+)°, ailerons (\d+)° up and (\d+)° down`)
	elevator, rudder, aileron := d.mm(d.control("elevator").Chord), d.mm(d.control("rudder").Chord), d.mm(d.control("ailerons").Chord)
	d.asks("elevator-throw", elevator*sin(angles[0]))
	d.asks("rudder-throw", rudder*sin(angles[1]))
	d.asks("aileron-throw", aileron*(sin(angles[2])+sin(angles[3]))/2)

	d.margin(nil, 12)
}

// margin holds the static margin at the limits of the balance to what is usual, and in
// the middle to what its sheet was drawn for. The neutral point is worked out here: the
// quarter chord of the wing, and the tail with what the downwash and the wake leave of it
// (MIT lab notes, Basic Aircraft Design Rules; 0.9 for the wake is common practice, no
// source). The wing has one chord.
func (d *drawing) margin(has []string, drawn float64) {
	d.t.Helper()
	var wing, tail steps.Surface
	for _, s := range d.sheet.Geometry.Surfaces {
		if s.In(steps.Selection{Has: has}) && s.Is == steps.Wing {
			wing = s
		} else if s.Is == steps.Tailplane {
			tail = s
		}
	}
	size := func(s steps.Surface) (area, span, chord float64) {
		for _, p := range s.Panels {
			span += 2 * d.mm(p.Span) * cosOf(p)
		}
		chord = d.mm(s.Panels[0].Root)
		return span * chord, span, chord
	}
	area, span, chord := size(wing)
	tailArea, tailSpan, tailChord := size(tail)
	arm := d.mm(tail.X) + tailChord/4 - d.mm(wing.X) - chord/4
	ratio, tailRatio := span*span/area, tailSpan*tailSpan/tailArea
	body, err := d.sheet.Geometry.Neutral.Body.Float("%")
	if err != nil {
		d.t.Fatal(err)
	}
	neutral := 25 + 100*0.9*tailArea*arm/(area*chord)*(1+2/ratio)/(1+2/tailRatio)*(1-4/(ratio+2)) - body
	limits := d.gate(d.sheet.Geometry.Balance.Gate).Limits
	from := d.mm(wing.X)
	if !d.sheet.Geometry.Balance.Zero.IsZero() {
		from -= d.mm(d.sheet.Geometry.Balance.Zero)
	}
	at := func(station float64) float64 { return neutral - 100*(station-from)/chord }
	low, high := d.mm(limits.Low), d.mm(limits.High)
	d.same("the static margin", at((low+high)/2), drawn, 1)
	if at(high) < 5 || at(low) > 16 {
		d.t.Errorf("%s: static margins of %.1f to %.1f %% MAC", d.sheet.Name, at(high), at(low))
	}
}

func cosOf(p steps.Panel) float64 {
	if p.Dihedral.IsZero() {
		return 1
	}
	return cos(degrees(p.Dihedral))
}

func TestReedCloses(t *testing.T) {
	d := drawingOf(t, "reed")
	two, three := d.surface("wing-of-two"), d.surface("wing-of-three")
	span, angle := d.mm(two.Panels[0].Span), degrees(two.Panels[0].Dihedral)
	middle, outer, raised := d.mm(three.Panels[0].Span), d.mm(three.Panels[1].Span), degrees(three.Panels[1].Dihedral)

	d.asks("centre-rise", span*sin(2*angle))
	d.asks("centre-rise", d.said("glue-centre", `a block of (\d+) mm`)[0])
	d.same("the bevel of the roots", lean(d.said("bevel-roots", `Raise its tip by (\d+) mm`)[0], span), angle, 0.2)
	bevel := d.said("bevel-tips", `Raise its outer end by (\d+)\s+mm(?:.|\n)*Raise the middle by (\d+) mm at its far end`)
	d.asks("tip-rise", outer*sin(raised))
	d.asks("tip-rise", d.said("glue-left-tip", `a\s+block of (\d+) mm`)[0])
	d.same("the bevel of the tips", lean(bevel[0], outer), raised/2, 0.2)
	d.same("the bevel of the middle", lean(bevel[1], 2*middle), raised/2, 0.2)

	// The parts, as the build cuts them and as the table has them.
	fin, tail := d.surface("fin"), d.surface("tailplane")
	for _, at := range [][]float64{
		d.said("cut-wing", `two of (\d+) mm × (\d+) mm\. Of three: one of (\d+) mm\s+× (\d+) mm, two of (\d+) mm × (\d+) mm`),
		d.about(`two of (\d+) mm × (\d+) mm; or one of (\d+) mm × (\d+) mm and two of (\d+) mm × (\d+) mm`),
	} {
		chord := d.mm(two.Panels[0].Root)
		for i, is := range []float64{span, chord, 2 * middle, chord, outer, chord} {
			d.same("a panel of the wing", at[i], is, 0)
		}
	}
	for _, at := range [][]float64{d.said("lay-out", `Fin: (\d+) mm along the foot, (\d+) mm high`), d.about(`Fin \| (\d+) mm along the foot, (\d+) mm high`)} {
		d.same("the foot of the fin", at[0], d.mm(fin.Panels[0].Root), 0)
		d.same("the height of the fin", at[1], d.mm(fin.Panels[0].Span), 0)
	}
	d.same("the span of the tail", d.said("lay-out", `Tail: (\d+) mm`)[0], 2*d.mm(tail.Panels[0].Span), 0)
	d.same("the chord of the tail", d.said("lay-out", `Tail: \d+ mm × (\d+) mm`)[0], d.mm(tail.Panels[0].Root), 0)
	layers := d.said("lay-out", `each (\d+) mm long, (\d+) mm high in front and (\d+) mm\s+at the rear`)

	// A joint that is glued again stands on the block on which it was built.
	mend, err := Open("").Procedure("reed-repair")
	if err != nil {
		t.Fatal(err)
	}
	again, _, _ := mend.Procedure.Step("glue-break")
	blocks := d.read("glue-break", again.Do, `(\d+) mm under the tip, of three panels (\d+) mm`)
	d.asks("centre-rise", blocks[0])
	d.asks("tip-rise", blocks[1])

	saddle := d.about(`foam, (\d+) mm long, (\d+) mm high in front and (\d+) mm at the rear`)
	for i := range layers {
		d.same("a layer of the saddle", layers[i], saddle[i], 0)
	}
	d.same("the width of the saddle", d.about(`together (\d+) mm wide`)[0], 3*d.about(`foam sheet, (\d+) mm thick`)[0], 0)
	run, err := d.gate("wing-angle").Result.Run.Float("mm")
	if err != nil {
		t.Fatal(err)
	}
	d.asks("wing-angle", slope(saddle[1]-saddle[2], saddle[0]))
	d.same("how far apart the angle is read", d.said("wing-angle", `and (\d+) mm behind it`)[0], run, 0)
	marks := d.said("smooth-strip", `Mark (\d+) mm, (\d+) mm and (\d+) mm`)
	d.same("the front of the wing", marks[0], d.mm(two.X), 0)
	d.same("the rear of the wing", marks[1], d.mm(two.X)+d.mm(two.Panels[0].Root), 0)
	d.same("the front of the tail", marks[2], d.mm(d.surface("tailplane").X), 0)

	// Balance, with the weight in the nose.
	x, weight := d.part("weight")
	d.same("the place of the washers", d.said("bolt-washers", `(\d+) mm behind its front\s+end`)[0], x, 0)
	clay := d.said("press-clay", `(\d+) mm\s+to (\d+) mm behind the front end`)
	d.same("the place of the clay", (clay[0]+clay[1])/2, x, 1)
	for _, grams := range [][]float64{d.said("bolt-washers", `about (\d+) g in all`), d.said("press-clay", `about (\d+) g until`)} {
		d.same("the weight in the nose", grams[0], weight, 0.5)
	}
	for _, has := range [][]string{{"two-panels"}, {"three-panels"}} {
		at, mass := d.balanced(has, 0)
		d.asks("balance", at-d.mm(d.sheet.Geometry.Balance.Zero))
		d.same("the mass", d.about(`(\d+) g aimed at`)[0], mass, 0.5)
		d.margin(has, 12)
	}
	scales := d.said("balance", `Mark the strip (\d+) mm ahead of the leading edge and (\d+) mm\s+behind`)
	for i, at := range d.gate("balance").Or.Result.Stations {
		d.same("the scale "+at.Point, []float64{-scales[0], scales[1]}[i], d.mm(at.At), 0)
	}
}

// What a step uses was laid out, or was made by a step before it.
func TestJigsAreMadeBeforeTheyAreUsed(t *testing.T) {
	for _, c := range []struct{ build, thing, made string }{
		{"jetty-build", `block of 49 mm`, "make-jig"}, {"jetty-build", `\bwedges?\b`, "make-jig"}, {"jetty-build", `\bbeds?\b`, "count-parts"},
		{"jetty-build", `\b[Bb]race\b`, "make-brace"}, {"jetty-build", `\bscraps? of (plywood|120)`, "make-brace"}, {"jetty-build", `\btemplates?\b`, "make-templates"},
		{"jetty-build", `blocks? of 120 mm|blocks 120 mm`, "make-templates"},
	} {
		d, err := Open("").Procedure(c.build)
		if err != nil {
			t.Fatal(err)
		}
		o, thing, uses := orderOf(d.Procedure), regexp.MustCompile(c.thing), 0
		for s := range o.all() {
			if !thing.MatchString(s.Do) || s.Name == c.made || s.Name == "count-parts" {
				continue
			}
			if uses++; !o.before(c.made, s.Name) {
				t.Errorf("%s: %s uses %q before %s makes it", d.File, s.Name, thing.FindString(s.Do), c.made)
			}
		}
		if made, _, ok := d.Procedure.Step(c.made); !ok || !thing.MatchString(made.Do+fmt.Sprint(made.Title)) && c.thing != `block of 49 mm` || uses == 0 {
			t.Errorf("%s: nothing makes %q, or nothing uses it (%d)", d.File, c.thing, uses)
		}
	}
}

// The clock of a coat closes for the face that was spread first, and opens for the one
// that was spread last: spreading, drying and joining fit in between.
func TestEveryCoatHasAWindow(t *testing.T) {
	coats := 0
	onItsSheets(t, func(d *Document, o *order, sheet *steps.Sheet, s *steps.Step) {
		if s.Kind != steps.Coat {
			return
		}
		hands, err := s.Hands.Float("min")
		if err != nil {
			return // how long it takes is not said
		}
		for _, name := range s.Adhesives {
			if a, ok := sheet.Adhesive(name); ok {
				coats++
				if from, to := a.Times.From.Minutes(), a.Times.To.Minutes(); hands+from >= to {
					t.Errorf("%s on %s: %s takes %v min, and %s is joined %v to %v min after", d.File, sheet.Name, s.Name, hands, name, from, to)
				}
			}
		}
	})
	if coats < 60 {
		t.Errorf("%d coats: the library is not all there", coats)
	}
}
