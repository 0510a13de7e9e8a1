package workflow

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/workflow/journal"
)

// A throw is read as an angle or a travel, with a gauge that shows it, and a trim is taken
// out by turns of the clevis.
func TestThrowsAndTrims(t *testing.T) {
	in := sheet()
	in.Gauges = append(in.Gauges, steps.Gauge{Name: "protractor", Title: "Protractor", Resolution: q("0.5°"), Uncertainty: q("1°")})
	in.Geometry.Controls = []steps.Control{{Name: "rudder", Title: "The rudder", Surface: "fin", Chord: q("30 mm"), Horn: q("12 mm"), Thread: q("0.4 mm"), Gates: []string{"throw"}}}
	in.Geometry.Surfaces = []steps.Surface{{Name: "fin", Is: steps.Fin}}
	in.Gates[2].Where = steps.Where{}
	in.Gauges = append(in.Gauges, steps.Gauge{Name: "eye", Title: "Eye", Resolution: q("0.5 turns")})
	in.Gates = append(in.Gates, steps.Gate{Name: "clevis", Repeat: 1, Gauge: "eye", Limits: measuring.Limits{Low: q("1 turn"), High: q("4 turns")}, Of: []string{"tail"}, Critical: true})
	in.Gates[2].Reworks = []steps.Rework{{Do: "Move it.", Disturbs: []string{"tail"}}, {Do: "Turn it.", Again: []string{"clevis"}}}
	in.Geometry.Controls[0].Clevis = steps.Clevis{Gate: "clevis"}
	b := workingOn(t, in, steps.Stage{Name: "one", Steps: []steps.Step{measuringStep("throws", "throw")}})
	throw := func(gauge, value string) Measure {
		return Measure{Gate: "throw", Gauge: gauge, Sure: true, Readings: []Reading{{Value: q(value)}}}
	}
	b.must(setting("propeller", "off"))
	for says, bad := range map[string]Measure{
		"more than the chord": throw("", "31 mm"), "more than the 90°": throw("protractor", "95°"), "20° can't be read with rule": throw("", "20°"),
		"11 mm can't be read with protractor": throw("protractor", "11 mm"), "not a throw": throw("", "20 g"),
	} {
		mustContain(t, fmt.Sprint(b.try(bad)), says)
	}
	b.must(throw("protractor", "20°"), throw("", "10.5 mm"))
	// 30 × sin 20° = 10.2606 by hand; the mean with 10.5 is 10.3803 (10.3805 of 10.261), and 1° is 0.5236 mm at most.
	r, err := b.state.GateReport("throw", b.now)
	if err != nil || r.Standing != Current {
		t.Fatalf("%+v, %v", r, err)
	}
	if v := b.state.Judged(r)[0]; v.Value < 10.3802 || v.Value > 10.3806 || v.U < 0.52 {
		t.Errorf("judged %v ± %v", v.Value, v.U)
	}
	if typed := b.state.Entries[r.Rests[0]].Facts.(journal.ReadingTaken).Value.Typed(); typed != "20°" {
		t.Errorf("kept as %s", typed)
	}
	trim := func(way, value string) journal.Trim {
		return journal.Trim{Control: "rudder", Way: way, Value: q(value)}
	}
	for says, bad := range map[string][]journal.Trim{
		`no control "elevator"`: {{Control: "elevator", Way: "up", Value: q("1 mm")}}, `no way of rudder "up"`: {trim("up", "1 mm")}, "no way of rudder; choose from left, right": {trim("", "1 mm")},
		"more than the chord": {trim("left", "31 mm")}, "less than nothing": {trim("left", "-1 mm")}, "given twice": {trim("left", "1 mm"), trim("right", "1 mm")},
		"not a throw": {trim("left", "1 g")}, "more than the 90°": {trim("left", "91°")},
	} {
		mustContain(t, fmt.Sprint(b.try(LogFlight{Landing: Soft, Trims: bad})), says)
	}
	mustContain(t, fmt.Sprint(b.try(LogFlight{Landing: Soft, Trims: []journal.Trim{trim("left", "21°")}})), "rudder: 21° is more than its whole throw of 10.5 mm") // asin(10.5/30) = 20.5°
	b.must(readings("clevis", "3 turns"), readings("square", "left=100 mm", "right=100 mm"))
	rework := Rework{Gate: "throw", Way: 2}
	mustContain(t, fmt.Sprint(b.try(rework)), "nothing to rework") // without a trim
	b.must(LogFlight{Landing: Soft, Trims: []journal.Trim{trim("left", "1.5 mm")}})
	b.must(LogFlight{Landing: Soft}) // says nothing of it
	// 12 × 1.5 / 30 / 0.4 = 1.5 by hand
	stands := b.state.Trims()
	if len(stands) != 1 || stands[0].Turns < 1.4999 || stands[0].Turns > 1.5001 || !slices.Equal(stands[0].Again, []string{"throw", "clevis"}) || stands[0].ByWay != 2 || stands[0].Rework != "throw" || stands[0].Out {
		t.Fatalf("%+v", stands)
	}
	// half a step of the gauge passes nothing nearer than half a turn to the limits
	if thread := b.state.Thread(stands[0], b.now); !thread.Known || thread.Seen != 3 || thread.Longer() != 1.5 || thread.Shorter() != 0.5 {
		t.Errorf("thread in the clevis: %+v, %v longer, %v shorter", thread, thread.Longer(), thread.Shorter())
	}
	b.must(rework)
	if thread := b.state.Thread(stands[0], b.now); thread.Known {
		t.Errorf("after it was turned, %+v", thread)
	}
	for gate, want := range map[string]GateStanding{"clevis": StaleGate, "square": Current} {
		if r, _ := b.state.GateReport(gate, b.now); r.Standing != want {
			t.Errorf("after the clevis was turned %s is %s: %s", gate, r.Standing, r.Reason.Text)
		}
	}
	if r, _ := b.state.GateReport("throw", b.now); r.Standing != StaleGate {
		t.Errorf("after the rework the throw is %s", r.Standing)
	}
	if stands = b.state.Trims(); len(stands) != 1 || !stands[0].Out {
		t.Errorf("after the rework %+v", stands)
	}
	b.must(LogFlight{Landing: Soft, Trims: []journal.Trim{trim("right", "0 mm")}})
	if stands = b.state.Trims(); len(stands) != 0 {
		t.Errorf("in the middle: %+v", stands)
	}
}

// A gate in degrees is read as a travel.
func TestThrowInDegrees(t *testing.T) {
	in := sheet()
	in.Geometry.Controls = []steps.Control{{Name: "rudder", Chord: q("30 mm"), Gates: []string{"throw"}}}
	in.Gates[2] = steps.Gate{Name: "throw", Repeat: 1, Gauge: "rule", Limits: measuring.Limits{Low: q("15°"), High: q("25°")}, Of: []string{"tail"}}
	b := workingOn(t, in, steps.Stage{Name: "one", Steps: []steps.Step{measuringStep("throws", "throw")}})
	b.must(readings("throw", "10.5 mm"))
	r, err := b.state.GateReport("throw", b.now)
	if err != nil || r.Standing != Current {
		t.Fatalf("%+v, %v", r, err)
	}
	// asin(10.5/30) = 20.487°; the rule's 0.25 mm, of its steps of 0.5 mm, are asin(10.75/30) - 20.487° = 0.511°.
	if v := b.state.Judged(r)[0]; math.Abs(v.Value-20.487) > 0.001 || v.U < 0.5 {
		t.Errorf("judged %v ± %v", v.Value, v.U)
	}
}

// A throw that was converted by one chord says nothing where a newer sheet has another.
func TestThrowAtAnotherChord(t *testing.T) {
	s := State{Sheet: sheet()}
	s.Sheet.Geometry.Controls = []steps.Control{{Name: "rudder", Chord: q("30 mm"), Gates: []string{"throw"}}}
	gate, _ := s.Sheet.Gate("throw")
	for chord, counts := range map[string]bool{"30 mm": true, "3 cm": true, "31 mm": false} {
		read := reading{chord: q(chord)}
		read.Value = q("10 mm")
		if why := s.otherwise(gate, read); (why == "") != counts {
			t.Errorf("by a chord of %s: %q", chord, why)
		}
	}
}
