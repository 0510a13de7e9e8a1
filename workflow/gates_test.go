package workflow

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/measuring"
)

// ironed is a sheet with a gate of the work, critical, and a probe to measure it.
func ironed() *steps.Sheet {
	s := sheet()
	s.Gauges = append(s.Gauges, steps.Gauge{Name: "probe", Title: "Probe", Resolution: q("1 °C"), Uncertainty: q("3 °C")})
	s.Gates = append(s.Gates, steps.Gate{Name: "iron", Title: "Temperature of the iron", Points: []string{"tip", "heel"}, Repeat: 1, Gauge: "probe",
		Limits: measuring.Limits{Low: q("100 °C"), High: q("115 °C")}, Work: true, Critical: true})
	return s
}

func measuringStep(name string, gates ...string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Measure, Gates: gates}
}

// filming is a bench at which film is ironed on: cut, warm the iron, measure it,
// iron, and measure what that disturbed.
func filming(t *testing.T) *bench {
	t.Helper()
	cut, film := plain("cut"), plain("film")
	cut.Disturbs, film.Disturbs = []string{"wing"}, []string{"wing"}
	return workingOn(t, ironed(), steps.Stage{Name: "one", Steps: []steps.Step{
		cut, wait("warm", "20 min"), measuringStep("measure-iron", "iron"), film, measuringStep("measure-again", steps.Stale),
	}})
}

var warm = readings("iron", "tip=107 °C", "heel=108 °C")

// A measure step is met by readings that are newer, by entry and by time, than
// what comes before it.
func TestAGateOfTheWorkIsReadAfterWhatComesBefore(t *testing.T) {
	b := filming(t)
	b.must(warm)
	b.after(time.Minute)
	b.done("cut")
	since := func(what string) {
		t.Helper()
		if g := b.gate("iron"); g.Standing != NeverTaken || g.Reason.Text != "not "+what {
			t.Errorf("iron is %s", g.Says().Text)
		}
	}
	since("after warm") // by entry, and it is not over yet
	b.after(10 * time.Minute)
	b.must(warm)
	b.after(15 * time.Minute)
	since("after warm") // by time
	b.refused(Finish{Step: "measure-iron"}, ByGate)
	if err := b.tryAt(warm, b.now.Add(-10*time.Minute)); err != nil {
		t.Fatal(err)
	}
	since("after warm") // typed in now, and read before
	b.must(readings("iron", "tip=107 °C"))
	if g := b.gate("iron"); g.Standing != Measuring {
		t.Errorf("iron is %s: its heel was read before", g.Says().Text)
	}
	b.must(readings("iron", "heel=107 °C"))
	if r := b.step("measure-iron"); r.Progress != Done {
		t.Errorf("measure-iron is %s: %v", r.Progress, r.Reasons)
	}
}

// What was read before by entry does not count either, though the cut is said to
// have been made before it.
func TestAGateOfTheWorkIsEnteredAfterWhatComesBefore(t *testing.T) {
	b := workingOn(t, ironed(), steps.Stage{Name: "one", Steps: []steps.Step{plain("cut"), measuringStep("measure-iron", "iron")}})
	b.after(10 * time.Minute)
	b.must(warm)
	b.after(time.Minute)
	if err := b.tryAt(Finish{Step: "cut"}, b.now.Add(-5*time.Minute)); err != nil {
		t.Fatal(err)
	}
	if g := b.gate("iron"); g.Standing != NeverTaken || g.Reason.Text != "not since cut was done" {
		t.Errorf("iron is %s", g.Says().Text)
	}
	b.must(warm)
	if r := b.step("measure-iron"); r.Progress != Done {
		t.Errorf("measure-iron is %s: %v", r.Progress, r.Reasons)
	}
}

// Once its step is done nobody asks for it: not what disturbs, not [stale], not a
// release, not a check of its gauge.
func TestAGateOfTheWorkIsNotAskedForAfterwards(t *testing.T) {
	b := filming(t)
	b.done("cut")
	b.after(20 * time.Minute)
	b.must(warm)
	b.done("film")
	if g := b.gate("iron"); g.Standing != Current {
		t.Errorf("iron is %s", g.Says().Text)
	}
	again := b.step("measure-again")
	for _, g := range b.state.GatesOf(b.state.Jobs[0], again.Step, b.now) {
		if g.Gate.Name == "iron" {
			t.Error("the iron is among what is stale")
		}
	}
	b.must(CheckGauge{Gauge: "probe", Of: q("100 °C"), Reads: q("110 °C")})
	if r := b.step("measure-iron"); r.Progress != Done {
		t.Errorf("measure-iron is %s: %v", r.Progress, r.Reasons)
	}
	if g := b.gate("iron"); g.Standing != NeverTaken || !strings.Contains(g.Reason.Text, "it was read with probe, which was found reading 10 °C too high") {
		t.Errorf("iron is %s", g.Says().Text)
	}
	proof := b.state.Proof(b.now, nil)
	for _, line := range proof.Lines {
		if strings.Contains(line.Text, "iron") {
			t.Errorf("a release asks: %s", line.Text)
		}
	}
	for _, p := range proof.Rests {
		for _, of := range b.state.gates["iron"].readings {
			if of.position == p {
				t.Errorf("a release rests on entry %d", p)
			}
		}
	}
	if sum, err := b.state.AuditSummary(b.now); err != nil || len(sum.InDoubt) != 2 {
		t.Errorf("in doubt: %v, %v", sum.InDoubt, err)
	}
}

// What comes before it is done again, and so is it.
func TestAGateOfTheWorkIsReadAgainWithWhatComesBefore(t *testing.T) {
	b := filming(t)
	b.done("cut")
	cut := b.state.Size() - 1
	b.after(20 * time.Minute)
	b.must(warm)
	b.must(Undo{Position: cut, Reason: "the wrong wing"})
	b.done("cut")
	b.after(20 * time.Minute)
	if r := b.step("measure-iron"); r.Progress != Ready {
		t.Errorf("measure-iron is %s: %v", r.Progress, r.Reasons)
	}
	b.must(warm)
	if r := b.step("measure-iron"); r.Progress != Done {
		t.Errorf("measure-iron is %s: %v", r.Progress, r.Reasons)
	}
}

func TestACriticalGateOfTheWorkIsReworkedAndNotConceded(t *testing.T) {
	b := filming(t)
	b.done("cut")
	b.after(20 * time.Minute)
	b.must(readings("iron", "tip=130 °C", "heel=108 °C"))
	b.refused(Concede{Gate: "iron", Reason: "never mind"}, ByGate)
	b.refused(warm, ByGate)
	b.must(Rework{Gate: "iron"})
	if g := b.gate("iron"); g.Standing != NeverTaken || g.Reason.Text != "it was reworked" {
		t.Errorf("iron is %s", g.Says().Text)
	}
	b.must(warm)
	if r := b.step("measure-iron"); r.Progress != Done {
		t.Errorf("measure-iron is %s: %v", r.Progress, r.Reasons)
	}
}

// Where a design has no other critical gate nothing proves the airframe straight.
func TestAGateOfTheWorkProvesNoAirframe(t *testing.T) {
	only := ironed()
	only.Gates = only.Gates[3:]
	b := workingOn(t, only, steps.Stage{Name: "one", Steps: []steps.Step{plain("cut")}})
	if p := b.state.Proof(b.now, nil); !p.NoCriticalGates || len(p.Rests) > 0 {
		t.Errorf("%+v", p)
	}
}

// A gate is read only where what it needs stands, and its measure step waits for
// that; two gates of one step that need it otherwise are read one after the other.
func TestAGateNeedsConditions(t *testing.T) {
	needing := sheet()
	needing.Gates[0].Needs = []steps.Setting{{Condition: "propeller", State: "off"}}
	needing.Gates[1].Needs = []steps.Setting{{Condition: "propeller", State: "on"}}
	b := workingOn(t, needing, steps.Stage{Name: "one", Steps: []steps.Step{measuringStep("slots", "slot")}},
		steps.Stage{Name: "two", Steps: []steps.Step{measuringStep("both", "slot", "square")}})
	slot, square := readings("slot", "root=4 mm", "tip=4 mm"), readings("square", "left=500 mm", "right=500 mm")
	mustContain(t, b.refused(slot, ByCondition), "it needs propeller: off")
	r := b.step("slots")
	if r.Progress != Waiting || len(r.Reasons) != 1 || r.Reasons[0].Remedy.Setting.State != "off" {
		t.Errorf("slots is %s: %v", r.Progress, r.Reasons)
	}
	b.must(setting("propeller", "on"))
	mustContain(t, b.refused(slot, ByCondition), "it needs propeller: off", "says propeller: on")
	if r := b.step("both"); r.Progress != Ready {
		t.Errorf("both is %s: %v", r.Progress, r.Reasons)
	}
	b.must(square, setting("propeller", "off"), slot)
	for _, name := range []string{"slots", "both"} {
		if r := b.step(name); r.Progress != Done {
			t.Errorf("%s is %s: %v", name, r.Progress, r.Reasons)
		}
	}
	b.refused(square, ByCondition)
}

// A rework disturbs what it says, and what the gate depends on where it says
// nothing.
func TestAReworkDisturbsWhatItSays(t *testing.T) {
	packed := sheet()
	packed.Gates[1].Reworks = []steps.Rework{{Do: "pack it", Disturbs: []string{"pod"}}} // of wing and pod
	b := workingOn(t, packed, steps.Stage{Name: "one", Steps: []steps.Step{measuringStep("slots", "slot", "square")}})
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), readings("square", "left=500 mm", "right=510 mm"), Rework{Gate: "square"})
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
	if g := b.gate("square"); g.Standing != StaleGate {
		t.Errorf("square is %s", g.Says().Text)
	}
	b.must(readings("slot", "root=3 mm", "tip=4 mm"), Rework{Gate: "slot"})
	b.must(readings("square", "left=500 mm", "right=500 mm"), readings("slot", "root=3 mm", "tip=4 mm"), Rework{Gate: "slot"})
	if g := b.gate("square"); g.Standing != StaleGate {
		t.Errorf("after a rework of the wing square is %s", g.Says().Text)
	}
}

// Who measures an undecided gate again gets the mean of all, not the lucky one. Of
// the caliper a mean of two shrinks the spread of 0.02 mm and leaves the bias:
// √(0.03² - 0.02² + 0.02²/2) = 0.026 mm, worked out by hand. Readings that lie no
// farther apart than 0.01 mm in standard deviation add nothing to it.
func TestAnUndecidedReadingIsNotRepeatedUntilItPasses(t *testing.T) {
	slot := func(value string) Measure { return readings("slot", "root="+value, "tip=4 mm") }
	is := func(b *bench, value string, want GateStanding) {
		t.Helper()
		b.after(time.Minute)
		b.must(slot(value))
		if g := b.gate("slot"); g.Standing != want {
			t.Errorf("%s: %s, want %s", value, g.Says().Text, want)
		}
	}
	b := assembled(t)
	is(b, "4.48 mm", Undecided)
	is(b, "4.47 mm", Undecided) // 4.47 alone would pass; the mean is 4.475
	mustContain(t, b.gate("slot").Says().Text, "the mean of all")
	is(b, "4.46 mm", Current) // 4.47
	is(b, "4.48 mm", Undecided)
	is(b, "4.47 mm", Undecided) // 4.475: what passed is in no mean with it

	b = assembled(t)
	is(b, "4.475 mm", Undecided) // none of them passes alone, and √(0.0005 + 0.0004/4) mm is less than 0.025 mm
	mustContain(t, b.gate("slot").Says().Text, "; 3 more readings at root would settle it, if they are like these")
	is(b, "4.475 mm", Undecided)
	mustContain(t, b.gate("slot").Says().Text, "; 2 more readings at root would settle it")
	is(b, "4.475 mm", Undecided)
	is(b, "4.475 mm", Current)
	passed := b.gate("slot")
	// Each command left its own verdict; the last value is the mean of all that decided.
	r, err := b.state.Record(b.now)
	if err != nil {
		t.Fatal(err)
	}
	var verdicts []string
	for _, j := range r.Judgements[len(r.Judgements)-4:] {
		v, _ := j.Of("root")
		verdicts = append(verdicts, fmt.Sprintf("%s of %d, U %.4f", j.Report.Standing, len(v.Readings), v.U))
	}
	// √(0.0005 + 0.0004/n) mm
	if want := []string{"undecided of 1, U 0.0300", "undecided of 2, U 0.0265", "undecided of 3, U 0.0252", "current of 4, U 0.0245"}; !slices.Equal(verdicts, want) {
		t.Errorf("judged %q, want %q", verdicts, want)
	}
	if len(passed.Rests) != 8 || strings.Contains(passed.Says().Text, ", ;") || strings.Contains(passed.Says().Text, ": ;") {
		t.Errorf("%d readings count: %s", len(passed.Rests), passed.Says().Text)
	}
	// One point read again: the other keeps the mean that it passed with.
	b.after(time.Minute)
	b.must(readings("slot", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current || len(g.Points[0].Readings) != 4 || len(g.Points[1].Readings) != 1 {
		t.Errorf("slot is %s of %v", g.Says().Text, g.Points)
	}

	b = assembled(t)
	is(b, "4.48 mm", Undecided) // the bias of √0.0005 = 0.022 mm stays
	mustContain(t, b.gate("slot").Says().Text, "; more readings like these would not settle it")

	b = assembled(t)
	is(b, "4.5 mm", Undecided)
	b.must(Rework{Gate: "slot"}) // and what was reworked begins anew
	is(b, "4.46 mm", Current)

	b = assembled(t)
	is(b, "4.5 mm", Undecided)
	is(b, "4.46 mm", Undecided)
	is(b, "4.45 mm", Undecided) // 4.47, and they lie too far apart for it
	mustContain(t, b.gate("slot").Says().Text, "with the spread of its readings it is accurate to 0.048 mm")
}

// A mean of all decides its own point alone: the others still want all their readings.
// Of the caliper, good to 0.02 mm that repeating shrinks, two readings of 4.49 mm leave
// 0.014 mm open and four 0.01 mm.
func TestAMeanOfAllWantsTheReadingsOfEveryPoint(t *testing.T) {
	b := assembled(t)
	b.must(readings("slot", "root=5 mm", "tip=4 mm"))
	b.must(Rework{Gate: "slot"}) // nothing of before counts
	b.moved(build(), strict())   // two readings at each point
	root := []string{"root=4.49 mm", "root=4.49 mm"}
	b.must(readings("slot", append(root, "tip=4 mm")...))
	b.after(time.Minute)
	b.must(readings("slot", root...))
	if g := b.gate("slot"); g.Standing != Measuring || !strings.Contains(g.Says().Text, "1 of 2 readings at tip") {
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.after(time.Minute)
	b.must(readings("slot", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

// Readings that lie too far apart stay in every mean till their point is begun anew, with
// enough readings at once; what was read before stays in the record as it was judged. The
// mean of 4.4, 4.4, 4.41 and 4.41 mm is 4.405; their spread is within the repeatability.
func TestAPointBegunAnew(t *testing.T) {
	anew := func(values ...string) Measure {
		m := readings("slot", values...)
		m.Anew, m.Sure = true, true
		return m
	}
	b := assembled(t)
	four := []string{"root=4.4 mm", "root=4.4 mm", "root=4.41 mm", "root=4.41 mm"}
	mustContain(t, fmt.Sprint(b.try(anew(four...))), "nothing begins anew")
	b.after(time.Minute)
	b.must(readings("slot", "root=4.48 mm", "tip=4 mm"))
	b.after(time.Minute)
	b.must(readings("slot", "root=3.9 mm"))
	g := b.gate("slot")
	if g.Standing != Undecided || !slices.Equal(g.Finding.Unsteady, []string{"root"}) || strings.Contains(g.Says().Text, "would settle") {
		t.Errorf("slot is %s", g.Says().Text)
	}
	do := b.state.ToMeet(g, b.now)
	if do.Kind != ToBeginAnew || do.Anew != 4 || !slices.Equal(do.Points, []string{"root", "root", "root", "root"}) {
		t.Errorf("%+v", do)
	}
	mustContain(t, fmt.Sprint(b.try(anew(four[:3]...))), "begins anew at root with 4 to 50 readings at once, and here are 3")
	mustContain(t, fmt.Sprint(b.try(anew("tip=4 mm", "tip=4 mm", "tip=4 mm", "tip=4 mm"))), "only readings at root")
	b.after(time.Minute)
	b.must(anew(four...))
	g = b.gate("slot")
	v := b.state.Judged(g)[0]
	if g.Standing != Current || v.Value != 4.405 || len(v.Readings) != 4 || !strings.Contains(g.Says().Text, "since the set-up was steadied") {
		t.Errorf("slot is %s, %v", g.Says().Text, v.Value)
	}
	r, err := b.state.Record(b.now)
	if err != nil || len(r.Judgements) < 3 || r.Judgements[len(r.Judgements)-2].Report.Standing != Undecided {
		t.Errorf("%+v, %v", r.Judgements, err)
	}
	b.must(Undo{Position: b.state.Size() - 1}) // one that is taken back leaves too few
	if g := b.gate("slot"); g.Standing != Undecided || !strings.Contains(g.Says().Text, "3 of 4 readings at root since the set-up was steadied") {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

// A gauge of another dimension reads nothing of a gate.
func TestAGaugeOfAnotherDimensionMeasuresNothing(t *testing.T) {
	b := filming(t)
	m := readings("slot", "root=4 mm", "tip=4 mm")
	m.Gauge = "probe"
	mustContain(t, fmt.Sprint(b.try(m)), "probe measures in °C, and slot is in mm")
}

// A concession ends with the life of the gate, whether readings were accepted by it or that
// nobody can take any.
func TestAConcessionEndsWithTheLifeOfItsGate(t *testing.T) {
	short := sheet()
	short.Gates[0].Critical, short.Gates[0].Validity = false, steps.Validity{Days: 30}
	b := workingOn(t, short, steps.Stage{Name: "one", Steps: []steps.Step{measuringStep("slots", "slot")}})
	for range 2 {
		b.must(Concede{Gate: "slot", Reason: "it flies so"})
		if g := b.gate("slot"); g.Standing != Conceded {
			t.Fatalf("slot is %s", g.Says().Text)
		}
		b.after(30 * 24 * time.Hour)
		if g := b.gate("slot"); g.Met() {
			t.Fatalf("30 days later slot is %s", g.Says().Text)
		}
		b.must(readings("slot", "root=4.49 mm", "tip=4 mm"))
	}
}

// The throw of 8 to 14 mm, two readings a mean, by a rule accurate to 0.29 mm and a caliper
// to 0.03 mm. A command is what was read on one day.
func TestWhichReadingsAreInAMean(t *testing.T) {
	read := func(gauge string, values ...string) Measure {
		m := readings("throw", values...)
		m.Gauge = gauge
		return m
	}
	for name, c := range map[string]struct {
		days []Measure
		want GateStanding
		says string
	}{
		"nothing of the day it passed": {[]Measure{read("rule", "13.5 mm", "13.5 mm"), read("rule", "14 mm", "14 mm"), read("rule", "13.5 mm", "13.5 mm")}, Undecided, "13.75 mm is too close"},
		"one of another day":           {[]Measure{read("rule", "12 mm", "12 mm"), read("rule", "14 mm")}, Measuring, "1 of 2 readings"},
		"all since it was undecided":   {[]Measure{read("rule", "14 mm", "14 mm"), read("rule", "13 mm", "13 mm"), read("rule", "13 mm", "13 mm")}, Current, ""},
		"a finer gauge that agrees":    {[]Measure{read("rule", "14 mm", "14 mm"), read("caliper", "13.9 mm", "13.9 mm")}, Current, ""},
		"a finer one that does not":    {[]Measure{read("rule", "14 mm", "14 mm"), read("caliper", "13.2 mm", "13.2 mm")}, Undecided, "rule and caliper differ by more"},
		"a coarser one":                {[]Measure{read("caliper", "14 mm", "14 mm"), read("rule", "13.5 mm", "13.5 mm")}, Undecided, "13.75 mm is too close"},
		"a finer one, not named":       {[]Measure{read("rule", "14 mm", "14 mm"), read("caliper", "13.9 mm", "13.9 mm")}, Undecided, "13.95 mm is too close"},
		"the finer one, undecided too": {[]Measure{read("rule", "14 mm", "14 mm"), read("caliper", "14 mm", "14 mm"), read("caliper", "13.96 mm", "13.96 mm")}, Undecided, "13.98 mm is too close"},
	} {
		b := assembled(t, "rudder")
		b.done("hinge-rudder")
		if named := sheet(); name != "a finer one, not named" {
			named.Gates[2].Finer = []string{"caliper"}
			b.moved(build(), named)
		}
		for _, m := range c.days {
			b.after(time.Hour)
			b.must(setting("propeller", "off"))
			m.Sure = true
			b.must(m)
		}
		if g := b.gate("throw"); g.Standing != c.want || !strings.Contains(g.Reason.Text, c.says) {
			t.Errorf("%s: %s, want %s: %s", name, g.Says().Text, c.want, c.says)
		} else if do := b.state.ToMeet(g, b.now); g.Standing == Undecided && (do.Kind != ToDecide || (len(do.Names) > 0) == (name == "a finer one, not named")) {
			t.Errorf("%s: as finer gauges are offered %v", name, do.Names)
		}
	}
}

func TestAReadingOutlivesFlights(t *testing.T) {
	s := &State{Flights: []Flight{{Position: 1}}}
	for flights, want := range map[int]string{1: "1 flight since it was taken, and it is valid for 1", 2: ""} {
		if got := s.outlived(steps.Validity{Flights: flights}, reading{}, time.Time{}); got != want {
			t.Errorf("valid for %d flights: %q, want %q", flights, got, want)
		}
	}
}
