package procedures

import (
	"math"
	"slices"
	"strings"
	"testing"

	"fettle/steps"
)

// What the steps of the Causeway make is what its gates ask.
func TestCausewayCloses(t *testing.T) {
	d := drawingOf(t, "causeway")
	wing := d.surface("main-wing").Panels[0]
	tailplane := d.surface("tailplane")
	fins := d.surface("fins")
	boom := d.body("right-boom")
	root, tip := in(wing.Root, "mm"), in(wing.Tip, "mm")
	half := in(wing.Span, "mm")
	width := in(boom.Right, "mm") - in(boom.Left, "mm")
	middle := (in(boom.Right, "mm") + in(boom.Left, "mm")) / 2

	// The section: the chord line goes from the nose to the middle of the trailing edge's thickness.
	edge := d.about(`; (\d+) mm at the trailing edge`)[0]
	front := d.about(`flat underneath from (\d+) mm behind`)[0]
	chordLine := func(nose, chord float64) float64 { return slope(nose-edge/2, chord) }
	atRoot := chordLine(d.about(`its nose (\d+) mm over that flat`)[0], root)
	atTip := chordLine(d.about(`at the root, ([\d.]+) mm at the tip \|\n\| Thickness`)[0], tip)

	// The strip lifts the flat where its own front edge lies; the flat turns about its front end.
	strip := d.said("make-washout-strips", `wedge: (\d+) mm at one end`)[0]
	wide := d.said("make-washout-strips", `mm long, (\d+) mm wide`)[0]
	long := d.said("make-washout-strips", `(\d+) mm long`)[0]
	thin := d.said("make-bed", `thin ends (\d+) mm from the middle`)[0]
	d.same("the inner end of the washout", half-long, thin, 0.5)
	if thin < in(boom.Right, "mm") {
		t.Errorf("the washout begins at %.0f mm and twists the socket of the boom, which reaches to %s", thin, boom.Right)
	}

	// Booms: the seat is parallel to the keel and the flat lies on it; the socket is as deep all along.
	seat := d.said("cut-wing-seat", `on both flanks, (\d+) mm over the table`)[0]
	d.same("the seat", seat, d.about(`Seat \| (\d+) mm over the keel`)[0], 0)
	depth := d.said("cut-wing-bays", `depth stop at (\d+) mm`)[0]
	d.same("the socket", depth, d.about(`(\d+) mm deep in the underside`)[0], 0)
	d.words("cut-wing-bays", "as deep at the trailing edge as in front") // else the boom tilts
	block := d.said("make-block", `Sand it to (\d+) mm high`)[0]
	d.same("the tail block", block, d.said("tail-height", `block of (\d+) mm`)[0], 0)
	sockets := d.said("cut-wing-bays", `on the underside: (\d+) mm each side`)[0]
	d.same("the sockets", sockets, middle, 0)
	d.same("the front of the sockets", d.said("cut-wing-bays", `from (\d+) mm to the trailing edge`)[0], in(boom.Front, "mm"), 0)
	d.same("the front of the booms", d.said("dry-fit-booms", `front ends (\d+) mm behind`)[0], in(boom.Front, "mm"), 0)

	spacer := d.said("dry-fit-booms", `of board, (\d+) mm long`)[0]
	d.same("the spacers", spacer, 2*middle-width, 0)
	swing := d.said("set-neutrals", `swings each arm by (\d+)°`)[0]
	for _, control := range d.sheet.Geometry.Controls {
		step := "fit-linkages"
		if control.Name == "rudders" {
			step = "fit-rudder-linkages"
		}
		d.same("the horn of "+control.Name, d.said(step, `hole of the horn that is (\d+) mm`)[0], in(control.Horn, "mm"), 0)
	}
	spar := d.said("cut-spars", `mark (\d+) mm on it`)[0]
	receiver := d.said("fit-receiver", `, (\d+) mm behind the leading edge`)[0]
	var transmitter float64
	for _, p := range d.sheet.Geometry.Parts {
		switch p.Name {
		case "video-transmitter":
			transmitter = in(p.X, "mm")
		case "receiver":
			d.same("the receiver", receiver, in(p.X, "mm"), 0)
		}
	}

	d.asks("spar-depth", d.said("cut-top-slot", `depth stop to ([\d.]+) mm`)[0])
	d.asks("spar-over-spar", d.said("mark-spar-lines", `Mark (\d+) mm behind`)[0])
	d.asks("spar-ends", d.said("mark-spar-lines", `slots (\d+) mm from each tip`)[0])
	d.asks("spar-ends", (2*half-spar)/2)
	d.asks("washout", atRoot-atTip+slope(strip, tip-wide-front))
	d.asks("boom-gap", spacer)
	d.asks("tail-height", block+seat+depth-width)
	d.asks("tail-set", atRoot) // seat, booms and tailplane are parallel to the keel
	d.asks("fins-parallel", 2*in(fins.Y, "mm"))
	d.asks("thrust-line", slope(d.said("dry-fit-motor-plate", `stands ([\d.]+) mm further forward`)[0], d.said("dry-fit-motor-plate", `upper edge, (\d+) mm higher`)[0]))
	// M3 has a pitch of 0.5 mm: ISO 261, from memory
	d.passes("motor-bolts", (d.said("count-parts", `M3 bolts of (\d+) mm`)[0]-d.said("count-parts", `plate of (\d+) mm plywood`)[0]-d.said("count-parts", `together (\d+) mm`)[0])/0.5)
	d.asks("receiver-distance", receiver-transmitter)
	d.asks("aileron-throw", d.travel("ailerons", d.said("fit-linkages", `(\d+) mm from the screw for an aileron`)[0], swing))
	d.asks("elevator-throw", d.travel("elevator", d.said("fit-linkages", `(\d+) mm for the elevator`)[0], swing))
	d.asks("rudder-throw", d.travel("rudders", d.said("fit-rudder-linkages", `arm (\d+) mm from its screw`)[0], swing))
	d.asks("prop-clearance", spacer/2-in(d.sheet.Geometry.Propeller.Diameter, "mm")/2)
	d.asks("balance", d.said("place-battery", `underneath at (\d+) mm`)[0])
	_, mass := d.balanced([]string{"fixed-fins"}, 0)
	d.asks("all-up-mass", mass)

	// Servos: the aileron's sits in the middle of the aileron, all of them in foam.
	for _, c := range d.sheet.Geometry.Controls {
		if c.Name == "ailerons" {
			d.same("the bay of the aileron servo", d.said("mark-servo-bays", `underside, (\d+) mm from the middle`)[0], (in(c.Inner, "mm")+in(c.Outer, "mm"))/2, 0)
		}
	}
	for _, c := range d.sheet.Geometry.Controls {
		switch c.Name {
		case "ailerons":
			d.same("the inner end of the ailerons", d.said("hinge-ailerons", `ailerons from (\d+) mm`)[0], in(c.Inner, "mm"), 0)
			d.same("the outer end of the ailerons", d.said("hinge-ailerons", `to (\d+) mm from the middle`)[0], in(c.Outer, "mm"), 0)
		case "elevator": // it swings down between the booms, which reach as far back
			long := d.said("hinge-elevator", `trailing edge, (\d+) mm long`)[0]
			d.same("the length of the elevator", long, 2*in(c.Outer, "mm"), 0)
			if long > spacer-10 {
				t.Errorf("an elevator of %.0f mm strikes the booms, %.0f mm apart", long, spacer)
			}
		}
	}
	hinge := d.said("hinge-elevator", `hinge (\d+) mm from the trailing edge`)[0]
	bay := d.said("cut-tail-bay", `its middle (\d+) mm behind`)[0]
	slit := d.said("cut-tail-bay", `strip (\d+) mm behind`)[0]
	if chord := in(tailplane.Panels[0].Root, "mm"); bay+6 > slit-8 || slit > chord-hinge-20 { // a servo is 12 mm wide
		t.Errorf("the bay of the elevator servo at %.0f mm, the strip at %.0f mm and the hinge at %.0f mm meet", bay, slit, chord-hinge)
	}

	// Balance: the battery lies where the build says, and within its bay.
	travel := d.sheet.Geometry.Battery
	reach := in(travel.Length, "mm") / 2
	d.same("the front of the bay", -d.said("hollow-pod", `bay from (\d+) mm ahead`)[0], in(travel.From, "mm")-reach, 0)
	d.same("the rear of the bay", -d.said("hollow-pod", `to (\d+) mm ahead of it`)[0], in(travel.To, "mm")+reach, 0)
	for option, pattern := range map[string]string{"fixed-fins": `about (\d+) mm ahead`, "working-rudders": `about (\d+) mm with working rudders`} {
		at := -d.said("place-battery", pattern)[0]
		d.same("the battery with "+option, at, d.batteryAt(option), 5)
		if at < in(travel.From, "mm") || at > in(travel.To, "mm") {
			t.Errorf("with %s the battery lies outside its bay", option)
		}
		d.steady(option)
	}

	// The lift test hangs as much on the wing as flies, and no pack that nobody has looked over.
	for _, design := range []string{"causeway", "jetty", "skerry"} {
		d := drawingOf(t, design)
		for _, p := range d.sheet.Geometry.Parts {
			if p.Equipment == "battery-pack" {
				d.same("the sand of the lift test", d.said("lift-test", `bag of sand into the battery bay, (\d+) g`)[0], in(p.Mass, "g"), 0)
			}
		}
	}
}

// Arm, clevis and rod of a rudder run outside the booms: between them turns the propeller, and
// the servo lies beside its disc.
func TestRudderLinkagesStayOutOfTheGapOfThePropeller(t *testing.T) {
	d := drawingOf(t, "causeway")
	outer := in(d.body("right-boom").Right, "mm")
	for _, at := range d.gate("rudder-clevis-turns").At {
		if y := math.Abs(in(at.Y, "mm")); y <= outer {
			t.Errorf("%s lies %.0f mm from the middle, the outer face of its boom %.1f mm", at.Point, y, outer)
		}
	}
	d.words("cut-rudder-bays", "**outer** face of the boom")
	d.words("mark-tail-horns", "on their outer faces")
	d.words("join-rudder-horns", "backing plates on the inner face")
	d.words("fit-rudder-linkages", "along the outer side of the boom")
	later, err := Open("").Procedure("fit-rudders")
	if err != nil {
		t.Fatal(err)
	}
	if s, _, ok := later.Procedure.Step("mark-horns"); !ok || !strings.Contains(s.Do, "outer face of its rudder") {
		t.Error("fit-rudders: mark-horns does not say: outer face of its rudder")
	}
	if how := d.gate("prop-clearance").How; !strings.Contains(how, "stands out of a boom toward the disc") {
		t.Errorf("the clearance is read to the bare boom alone:\n%s", how)
	}
}

// The rod of a rudder goes straight from the arm, in the middle of the boom's face, to the
// hole of the horn, and passes over the front edge of the tailplane. Tailplanes of foam are 5 to
// 10 mm thick (common practice, no source); its top is where the fin stands.
func TestRudderRodsPassTheTailplane(t *testing.T) {
	d := drawingOf(t, "causeway")
	boom := d.body("right-boom")
	arm := d.said("cut-rudder-bays", `its middle (\d+) mm behind the leading edge`)[0]
	over := d.said("mark-tail-horns", `(\d+) mm over the foot of the fin`)[0]
	edge := in(d.surface("tailplane").X, "mm")
	var hole float64
	for _, at := range d.gate("rudder-clevis-turns").At {
		hole = in(at.X, "mm")
	}
	half := (in(boom.Right, "mm") - in(boom.Left, "mm")) / 2
	for _, thick := range []float64{5, 10} {
		low, high := -half, thick+over // over the top of the boom
		if passes := low + (high-low)*(edge-arm)/(hole-arm) - thick; passes < 5 {
			t.Errorf("over a tailplane of %g mm the rod passes by %.1f mm", thick, passes)
		}
	}
	later, err := Open("").Procedure("fit-rudders")
	if err != nil {
		t.Fatal(err)
	}
	if s, _, ok := later.Procedure.Step("mark-horns"); !ok || d.read("fit-rudders/mark-horns", s.Do, `(\d+) mm over the foot of the fin`)[0] != over {
		t.Errorf("fit-rudders has its horns elsewhere than the build:\n%s", s.Do)
	}
	for _, place := range d.said("fit-rudder-linkages", `guides, (\d+) mm and (\d+) mm behind`) {
		if place <= in(d.sheet.Geometry.Propeller.X, "mm")+20 || place >= edge {
			t.Errorf("a guide at %g mm holds no rod between the disc and the tailplane", place)
		}
	}
}

// A bay that fits the pack is cut while the propeller is off, round a box as heavy as the pack,
// at the place where the battery is then laid.
func TestTheFittedBayIsCutRoundABox(t *testing.T) {
	d := drawingOf(t, "causeway")
	o := orderOf(d.build)
	for _, name := range []string{"find-bay", "fit-bay"} {
		s, _, ok := d.build.Step(name)
		if !ok || !o.before(name, "fit-propeller") || !slices.Contains(s.Needs, steps.Setting{Condition: "propeller", State: "off"}) {
			t.Errorf("%s is not done with the propeller off, before it is fitted", name)
		}
	}
	_, pack := d.part("battery")
	d.same("the box", d.said("find-bay", `sand, to (\d+) g`)[0], pack, 0)
	for i, at := range d.said("find-bay", `about (\d+) mm ahead of the leading edge, about (\d+) mm with working`) {
		d.same("the place of the box", at, d.said("place-battery", `about (\d+) mm ahead of the leading edge, about (\d+) mm with working`)[i], 0)
	}
	d.same("its balance", d.said("find-bay", `balances (\d+) mm behind`)[0], d.said("place-battery", `underneath at (\d+) mm`)[0], 0)
}

// Pegs stand in the foot of their fin.
func TestPegsStandInTheFoot(t *testing.T) {
	for design, fins := range map[string]string{"causeway": "fins", "skerry": "fins"} {
		d := drawingOf(t, design)
		p := d.surface(fins).Panels[0]
		foot, high := in(p.Root, "mm"), in(p.Span, "mm")
		pegs := d.said("fit-break-away-fins", `pegs of (\d+) mm into the foot of each fin, (\d+) mm deep, (\d+) mm and (\d+) mm behind its front edge`)
		if pegs[1] > high/3 || pegs[2] < 4*pegs[0] || pegs[3] > foot-4*pegs[0] || pegs[3]-pegs[2] < foot/2 {
			t.Errorf("%s: pegs %v in a foot of %g mm", design, pegs, foot)
		}
	}
}
