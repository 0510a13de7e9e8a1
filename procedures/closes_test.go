package procedures

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/steps/planform"
)

// What a design's dimensions come to must be what its gates ask for: whoever builds by
// the words of the build can't be out of tolerance by them. Each row of a design computes one
// gate from the figures that its sheet and its build state, read from their words, so
// that a figure that is changed in one place alone fails. Formulas are plane
// trigonometry; lengths are in mm, angles in degrees, masses in g.

// A gateAt is a gate and what the stated dimensions come to there.
type gateAt struct {
	gate string
	is   func(stated) float64
}

// stated are the dimensions that the documents of a design state.
type stated struct {
	t     *testing.T
	sheet *steps.Sheet
	build *steps.Procedure
	has   []string
}

// designed are the sheet of a design and its build.
func designed(t *testing.T, name string, has ...string) stated {
	t.Helper()
	sheet, err := Open("").Sheet(name)
	if err != nil {
		t.Fatal(err)
	}
	build, err := Open("").Procedure(name + "-build")
	if err != nil {
		t.Fatal(err)
	}
	return stated{t, sheet.Sheet, build.Procedure, has}
}

// closes checks each row: the computed value lies no further from the middle of the gate's
// limits than its tolerance; with one limit, on its right side; where only likeness is asked, it
// is a difference.
func (s stated) closes(rows []gateAt) {
	s.t.Helper()
	for _, row := range rows {
		g, ok := s.sheet.Gate(row.gate)
		if !ok {
			s.t.Errorf("%s has no gate %s", s.sheet.Name, row.gate)
			continue
		}
		l, is := g.Limits, row.is(s)
		value := func(low bool) (float64, bool) {
			q := l.High
			if low {
				q = l.Low
			}
			v, err := q.Float(l.Unit())
			return v, err == nil && !q.IsZero()
		}
		low, has := value(true)
		high, capped := value(false)
		alike, err := l.Alike.Float(l.Unit())
		switch {
		case has && is < low, capped && is > high, !has && !capped && (err != nil || math.Abs(is) > alike), math.IsNaN(is):
			s.t.Errorf("%s: the dimensions come to %.2f %s at the gate %s, which wants [%s, %s], alike %s", s.sheet.Name, is, l.Unit(), g.Name, l.Low, l.High, l.Alike)
		}
	}
}

// number is the first group of the pattern, which must be there once.
func (s stated) number(where, text, pattern string) float64 {
	s.t.Helper()
	found := regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1)
	if len(found) != 1 {
		s.t.Errorf("%s of %s says %d times, and not once: %s", where, s.sheet.Name, len(found), pattern)
		return math.NaN()
	}
	n, err := strconv.ParseFloat(strings.ReplaceAll(found[0][1], "−", "-"), 64)
	if err != nil {
		s.t.Error(err)
	}
	return n
}

// about is a figure that the sheet states in its words.
func (s stated) about(pattern string) float64 {
	s.t.Helper()
	return s.number("the sheet", s.sheet.About, pattern)
}

// step is a figure that a step of the build states.
func (s stated) step(name, pattern string) float64 {
	s.t.Helper()
	for _, step := range s.build.Steps() {
		if step.Name == name {
			return s.number("the step "+name, step.Do, pattern)
		}
	}
	s.t.Errorf("%s has no step %s", s.build.Name, name)
	return math.NaN()
}

// says holds that a step of the build has the words.
func (s stated) says(name, words string) {
	s.t.Helper()
	for _, step := range s.build.Steps() {
		if step.Name == name && strings.Contains(step.Do, words) {
			return
		}
	}
	s.t.Errorf("%s: %s does not say: %s", s.build.Name, name, words)
}

// how is a figure that a gate states where it says how it is measured.
func (s stated) how(gate, pattern string) float64 {
	s.t.Helper()
	g, _ := s.sheet.Gate(gate)
	return s.number("the gate "+gate, g.How, pattern)
}

// surface is one of the geometry, and its first panel.
func (s stated) surface(name string) (steps.Surface, steps.Panel) {
	s.t.Helper()
	for _, one := range s.sheet.Geometry.Surfaces {
		if one.Name == name {
			return one, one.Panels[0]
		}
	}
	s.t.Fatalf("%s has no surface %s", s.sheet.Name, name)
	return steps.Surface{}, steps.Panel{}
}

// body is one of the geometry.
func (s stated) body(name string) steps.Body {
	s.t.Helper()
	for _, b := range s.sheet.Geometry.Bodies {
		if b.Name == name {
			return b
		}
	}
	s.t.Fatalf("%s has no body %s", s.sheet.Name, name)
	return steps.Body{}
}

// travel is how far the edge of a control surface moves, by its linkage: the servo's arm
// swings by an angle and moves the clevis, at the horn's radius, by as much as its own end
// goes fore and aft.
func (s stated) travel(control string, arm, swing float64) float64 {
	s.t.Helper()
	for _, c := range s.sheet.Geometry.Controls {
		if c.Name == control {
			angle := math.Asin(arm * math.Sin(swing*math.Pi/180) / in(c.Horn, "mm"))
			return in(c.Chord, "mm") * math.Sin(angle)
		}
	}
	s.t.Fatalf("%s has no control %s", s.sheet.Name, control)
	return 0
}

// batteryAt is where the battery lies for the middle of the limits of the balance, by the parts table.
func (s stated) batteryAt() float64 {
	low, high, _ := limitsOfBalance(s.sheet)
	x, ok := tableOf(s.sheet.Geometry, steps.Selection{Has: s.has}).batteryFor((low + high) / 2)
	if !ok {
		s.t.Errorf("%s has no battery in its parts table", s.sheet.Name)
	}
	return x
}

// mass is that of the parts table.
func (s stated) mass() float64 {
	m, _ := tableOf(s.sheet.Geometry, steps.Selection{Has: s.has}).Mass.Float64()
	return m
}

// steady checks the static margin at the middle of the balance limits, in % MAC.
func (s stated) steady() {
	s.t.Helper()
	low, high, _ := limitsOfBalance(s.sheet)
	p, err := planform.Of(s.sheet.Geometry, steps.Selection{Has: s.has})
	if err != nil {
		s.t.Fatal(err)
	}
	if margin, err := p.Margin((low + high) / 2); err != nil || 100*margin < leastMargin || 100*margin > mostMargin {
		s.t.Errorf("%s %v: a static margin of %.1f %%, %v", s.sheet.Name, s.has, 100*margin, err)
	}
}

// near holds two figures that the documents state of one thing against each other.
func (s stated) near(what string, one, other, within float64) {
	s.t.Helper()
	if !(math.Abs(one-other) <= within) { // not a number is not near
		s.t.Errorf("%s: %s is %.2f in one place and %.2f in another", s.sheet.Name, what, one, other)
	}
}

func TestCausewayCloses(t *testing.T) {
	s := designed(t, "causeway", "fixed-fins")
	_, wing := s.surface("main-wing")
	tailplane, _ := s.surface("tailplane")
	fins, _ := s.surface("fins")
	boom := s.body("right-boom")
	root, tip := in(wing.Root, "mm"), in(wing.Tip, "mm")
	half := in(wing.Span, "mm")
	width := in(boom.Right, "mm") - in(boom.Left, "mm")
	middle := (in(boom.Right, "mm") + in(boom.Left, "mm")) / 2

	// The section: the chord line goes from the nose to the middle of the trailing edge's thickness.
	edge := s.about(`; (\d+) mm at the trailing edge`)
	front := s.about(`flat underneath from (\d+) mm behind`)
	chordLine := func(nose, chord float64) float64 { return slope(nose-edge/2, chord) }
	atRoot := chordLine(s.about(`its nose (\d+) mm over that flat`), root)
	atTip := chordLine(s.about(`at the root, ([\d.]+) mm at the tip \|\n\| Thickness`), tip)

	// The strip lifts the flat where its own front edge lies; the flat turns about its front end.
	strip := s.step("make-washout-strips", `wedge: (\d+) mm at one end`)
	wide := s.step("make-washout-strips", `mm long, (\d+) mm wide`)
	long := s.step("make-washout-strips", `(\d+) mm long`)
	thin := s.step("make-bed", `thin ends (\d+) mm from the middle`)
	s.near("the inner end of the washout", half-long, thin, 0.5)
	if thin < in(boom.Right, "mm") {
		t.Errorf("the washout begins at %.0f mm and twists the socket of the boom, which reaches to %s", thin, boom.Right)
	}

	// Booms: the seat is parallel to the keel and the flat lies on it; the socket is as deep all along.
	seat := s.step("cut-wing-seat", `on both flanks, (\d+) mm over the table`)
	s.near("the seat", seat, s.about(`Seat \| (\d+) mm over the keel`), 0)
	depth := s.step("cut-wing-bays", `depth stop at (\d+) mm`)
	s.near("the socket", depth, s.about(`(\d+) mm deep in the underside`), 0)
	s.says("cut-wing-bays", "as deep at the trailing edge as in front") // else the boom tilts
	block := s.step("make-block", `Sand it to (\d+) mm high`)
	s.near("the tail block", block, s.how("tail-height", `block of (\d+) mm`), 0)
	sockets := s.step("cut-wing-bays", `on the underside: (\d+) mm each side`)
	s.near("the sockets", sockets, middle, 0)
	s.near("the front of the sockets", s.step("cut-wing-bays", `from (\d+) mm to the trailing edge`), in(boom.Front, "mm"), 0)
	s.near("the front of the booms", s.step("dry-fit-booms", `front ends (\d+) mm behind`), in(boom.Front, "mm"), 0)

	spacer := s.step("dry-fit-booms", `of board, (\d+) mm long`)
	s.near("the spacers", spacer, 2*middle-width, 0)
	swing := s.step("set-neutrals", `swings each arm by (\d+)°`)
	for _, control := range s.sheet.Geometry.Controls {
		step := "fit-linkages"
		if control.Name == "rudders" {
			step = "fit-rudder-linkages"
		}
		s.near("the horn of "+control.Name, s.step(step, `hole of the horn that is (\d+) mm`), in(control.Horn, "mm"), 0)
	}
	spar := s.step("cut-spars", `mark (\d+) mm on it`)
	receiver := s.step("fit-receiver", `, (\d+) mm behind the leading edge`)
	var transmitter float64
	for _, p := range s.sheet.Geometry.Parts {
		switch p.Name {
		case "video-transmitter":
			transmitter = in(p.X, "mm")
		case "receiver":
			s.near("the receiver", receiver, in(p.X, "mm"), 0)
		}
	}

	s.closes([]gateAt{
		{"spar-depth", func(s stated) float64 { return s.step("cut-top-slot", `depth stop to ([\d.]+) mm`) }},
		{"spar-over-spar", func(s stated) float64 { return s.step("mark-spar-lines", `Mark (\d+) mm behind`) }},
		{"spar-ends", func(s stated) float64 { return s.step("mark-spar-lines", `slots (\d+) mm from each tip`) }},
		{"spar-ends", func(stated) float64 { return (2*half - spar) / 2 }},
		{"washout", func(stated) float64 { return atRoot - atTip + slope(strip, tip-wide-front) }},
		{"boom-gap", func(stated) float64 { return spacer }},
		{"tail-height", func(stated) float64 { return block + seat + depth - width }},
		{"tail-set", func(stated) float64 { return atRoot }}, // seat, booms and tailplane are parallel to the keel
		{"fins-parallel", func(stated) float64 { return 2 * in(fins.Y, "mm") }},
		{"thrust-line", func(s stated) float64 {
			return slope(s.step("dry-fit-motor-plate", `stands ([\d.]+) mm further forward`), s.step("dry-fit-motor-plate", `upper edge, (\d+) mm higher`))
		}},
		{"motor-bolts", func(s stated) float64 { // M3 has a pitch of 0.5 mm: ISO 261, from memory
			return (s.step("count-parts", `M3 bolts of (\d+) mm`) - s.step("count-parts", `plate of (\d+) mm plywood`) - s.step("count-parts", `together (\d+) mm`)) / 0.5
		}},
		{"receiver-distance", func(stated) float64 { return receiver - transmitter }},
		{"aileron-throw", func(s stated) float64 {
			return s.travel("ailerons", s.step("fit-linkages", `(\d+) mm from the screw for an aileron`), swing)
		}},
		{"elevator-throw", func(s stated) float64 {
			return s.travel("elevator", s.step("fit-linkages", `(\d+) mm for the elevator`), swing)
		}},
		{"rudder-throw", func(s stated) float64 {
			return s.travel("rudders", s.step("fit-rudder-linkages", `arm (\d+) mm from its screw`), swing)
		}},
		{"prop-clearance", func(stated) float64 {
			return spacer/2 - in(s.sheet.Geometry.Propeller.Diameter, "mm")/2
		}},
		{"balance", func(s stated) float64 { return s.step("place-battery", `underneath at (\d+) mm`) }},
		{"all-up-mass", stated.mass},
	})

	// Servos: the aileron's sits in the middle of the aileron, all of them in foam.
	for _, c := range s.sheet.Geometry.Controls {
		if c.Name == "ailerons" {
			s.near("the bay of the aileron servo", s.step("mark-servo-bays", `underside, (\d+) mm from the middle`), (in(c.Inner, "mm")+in(c.Outer, "mm"))/2, 0)
		}
	}
	for _, c := range s.sheet.Geometry.Controls {
		switch c.Name {
		case "ailerons":
			s.near("the inner end of the ailerons", s.step("hinge-ailerons", `ailerons from (\d+) mm`), in(c.Inner, "mm"), 0)
			s.near("the outer end of the ailerons", s.step("hinge-ailerons", `to (\d+) mm from the middle`), in(c.Outer, "mm"), 0)
		case "elevator": // it swings down between the booms, which reach as far back
			long := s.step("hinge-elevator", `trailing edge, (\d+) mm long`)
			s.near("the length of the elevator", long, 2*in(c.Outer, "mm"), 0)
			if long > spacer-10 {
				t.Errorf("an elevator of %.0f mm strikes the booms, %.0f mm apart", long, spacer)
			}
		}
	}
	hinge := s.step("hinge-elevator", `hinge (\d+) mm from the trailing edge`)
	bay := s.step("cut-tail-bay", `its middle (\d+) mm behind`)
	slit := s.step("cut-tail-bay", `strip (\d+) mm behind`)
	if chord := in(tailplane.Panels[0].Root, "mm"); bay+6 > slit-8 || slit > chord-hinge-20 { // a servo is 12 mm wide
		t.Errorf("the bay of the elevator servo at %.0f mm, the strip at %.0f mm and the hinge at %.0f mm meet", bay, slit, chord-hinge)
	}

	// Balance: the battery lies where the build says, and within its bay.
	travel := s.sheet.Geometry.Battery
	reach := in(travel.Length, "mm") / 2
	s.near("the front of the bay", -s.step("hollow-pod", `bay from (\d+) mm ahead`), in(travel.From, "mm")-reach, 0)
	s.near("the rear of the bay", -s.step("hollow-pod", `to (\d+) mm ahead of it`), in(travel.To, "mm")+reach, 0)
	for option, pattern := range map[string]string{"fixed-fins": `about (\d+) mm ahead`, "working-rudders": `about (\d+) mm with working rudders`} {
		with := designed(t, "causeway", option)
		at := -s.step("place-battery", pattern)
		s.near("the battery with "+option, at, with.batteryAt(), 5)
		if at < in(travel.From, "mm") || at > in(travel.To, "mm") {
			t.Errorf("with %s the battery lies outside its bay", option)
		}
		with.steady()
	}

	// The lift test hangs as much on the wing as flies, and no pack that nobody has looked over.
	for _, design := range []string{"causeway", "jetty", "skerry"} {
		d := designed(t, design)
		for _, p := range d.sheet.Geometry.Parts {
			if p.Equipment == "battery-pack" {
				d.near("the sand of the lift test", d.step("lift-test", `bag of sand into the battery bay, (\d+) g`), in(p.Mass, "g"), 0)
			}
		}
	}
}
