package workflow

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// at has a request entered as of a while ago.
func (b *bench) at(before time.Duration, rs ...Request) {
	b.t.Helper()
	for _, r := range rs {
		if err := b.tryAt(r, b.now.Add(-before)); err != nil {
			b.t.Fatalf("%+v: %v", r, err)
		}
	}
}

func TestAColderBenchTypedInLaterGrounds(t *testing.T) {
	b := released(t)
	b.at(time.Hour, ReadBench{Temperature: q("0 °C")})
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "joint roots carries load and is not cured")
	b.after(96 * time.Hour)
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("once it is cured it is grounded: %s", f.Why.Text)
	}
}

func TestFlightsCountAfterAReadingTypedInLater(t *testing.T) {
	b := assembled(t)
	b.after(time.Hour)
	b.must(LogFlight{Landing: Soft}, LogFlight{Landing: Soft})
	b.at(30*time.Minute, readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("read before two flights slot is %s", g.Says().Text)
	}
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

func TestWhatWasRemovedBeforeItWasFoundIsNotOff(t *testing.T) {
	b := released(t)
	b.after(2 * time.Hour)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "dented", Zone: "pod", Severity: steps.Serious}}})
	b.at(time.Hour, ChangeEquipment{Item: "camera", Change: Removed})
	if b.state.Damages[0].Quarantine.Off() {
		t.Error("removed an hour before it was found in quarantine, and held to be off since")
	}
	b.must(ChangeEquipment{Item: "camera", Change: Removed})
	if !b.state.Damages[0].Quarantine.Off() {
		t.Error("removed, and not held to be off")
	}
}

func TestAReleaseIsNotDatedBackBeforeAnyReading(t *testing.T) {
	b := assembled(t)
	b.done("coat-saddle", "join-saddle")
	b.after(50 * time.Hour)
	b.must(readings("square", "left=500 mm", "right=501 mm"), readings("slot", "root=4 mm", "tip=4 mm"))
	b.at(20*time.Hour, ReadBench{Temperature: q("20 °C")}) // recorded last, and of long before
	if err := b.tryAt(GiveRelease{}, b.now.Add(-10*time.Hour)); err == nil {
		t.Errorf("released as of ten hours before the readings that it rests on")
	}
	b.must(GiveRelease{})
}

// Two jobs of which only the release is left do not wait for each other.
func TestTwoJobsWithAReleaseStep(t *testing.T) {
	b := released(t)
	docs := documents()
	look := &steps.Procedure{Name: "yearly", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{{Name: "look", Steps: []steps.Step{
		{Name: "look", Kind: steps.Do, Do: "look"}, {Name: "release-again", Kind: steps.Release},
	}}}}
	docs.Procedures["sha256:yearly"] = look
	b.docs = &docs
	b.state = b.replay(b.state.Entries)
	b.must(Start{Procedure: look, Digest: "sha256:yearly", Sheet: sheet(), SheetDigest: sheetSum}, Undo{Position: b.state.Release.Position})
	b.done("look")
	b.must(GiveRelease{})
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "job yearly is open")
	b.must(GiveRelease{})
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("grounded: %s", f.Why.Text)
	}
}

// audited checks that the audit says of each reading that it counts exactly
// where its gate rests on it, and else why not.
func audited(t interface {
	Fatal(...any)
	Fatalf(string, ...any)
}, s *State, now time.Time) {
	all, err := s.Audit(AuditFilter{}, now)
	if err != nil {
		t.Fatal(err)
	}
	rests := map[int64]bool{}
	for _, g := range s.Gates(now) {
		for _, p := range g.Rests {
			rests[p] = true
		}
	}
	for _, r := range all {
		says := r.TakenBack == 0 && r.StaleBy.Text == "" && r.Superseded == 0 && r.Doubt == nil
		if says != rests[r.Entry.Position] {
			t.Fatalf("%s, entry %d: the audit says that it counts: %v; its gate rests on it: %v (%q, %d)", r.Reading.Gate, r.Entry.Position, says, rests[r.Entry.Position], r.StaleBy.Text, r.Superseded)
		}
	}
}

func TestTheAuditAgreesWithTheGates(t *testing.T) {
	t.Run("typed in later, of before a disturbance", func(t *testing.T) {
		b := released(t)
		b.after(2 * time.Hour)
		b.must(ChangeEquipment{Item: "camera", Change: Moved})
		b.at(time.Hour, readings("square", "left=500 mm", "right=500 mm"))
		audited(t, b.state, b.now)
	})
	t.Run("a newer sheet that asks for two readings at a point", func(t *testing.T) {
		b := assembled(t)
		b.must(readings("slot", "root=4 mm", "tip=4 mm"))
		twice := sheet()
		twice.Gates[0].Repeat = 2
		b.moved(build(), twice)
		audited(t, b.state, b.now)
	})
	t.Run("a newer sheet without a point", func(t *testing.T) {
		b := assembled(t)
		only := sheet()
		only.Gates[0].Points = []string{"root"}
		b.moved(build(), only)
		audited(t, b.state, b.now)
	})
	t.Run("a newer sheet without the gate", func(t *testing.T) {
		b := assembled(t)
		none, without := sheet(), build()
		none.Gates = none.Gates[1:]
		without.Stages[0].Steps = without.Stages[0].Steps[:4]
		without.Stages[3].Steps[3].Gates = []string{"square"}
		b.moved(without, none)
		audited(t, b.state, b.now)
	})
	t.Run("a newer sheet that places the gate elsewhere", func(t *testing.T) {
		b := assembled(t)
		b.done("coat-saddle", "join-saddle")
		elsewhere := sheet()
		elsewhere.Gates[0].Of = []string{"tail"}
		b.moved(build(), elsewhere)
		audited(t, b.state, b.now)
	})
}

// What was read last decides, not what was typed in last.
func TestAnOlderReadingTypedInLaterDecidesNothing(t *testing.T) {
	b := assembled(t)
	b.after(time.Hour)
	b.must(readings("slot", "root=4.49 mm", "tip=4 mm"))
	b.at(30*time.Minute, readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Undecided {
		t.Errorf("slot is %s", g.Says().Text)
	}
	audited(t, b.state, b.now)
	b.must(readings("slot", "root=4.46 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Undecided { // the mean of both, which differ
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.must(Rework{Gate: "slot"}, readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
	audited(t, b.state, b.now)
}

func TestAPointThatIsOutIsNotMeasuredUntilItPasses(t *testing.T) {
	b := assembled(t)
	rests := b.gate("slot").Rests
	b.must(Undo{Position: rests[0]}, Undo{Position: rests[1]})
	b.must(readings("slot", "root=5 mm"))
	mustContain(t, b.refused(readings("slot", "root=4 mm", "tip=4 mm"), ByGate), "root at 5 mm", "[measure-rest slot[tip]")
	b.must(readings("slot", "tip=4 mm"))
	b.refused(readings("slot", "root=4 mm"), ByGate)
	b.must(Rework{Gate: "slot"}, readings("slot", "root=4 mm", "tip=4 mm"))
}

func TestACheckFromBeforeAHardLandingIsNotTheOneItAsksFor(t *testing.T) {
	b := released(t)
	b.after(2 * time.Hour)
	b.must(LogFlight{Landing: Hard, Check: "look"})
	docs := documents()
	look := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{{Name: "look", Steps: []steps.Step{{Name: "look", Kind: steps.Do, Do: "look"}}}}}
	docs.Procedures["sha256:look"] = look
	b.docs = &docs
	b.state = b.replay(b.state.Entries)
	start := Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum}
	b.at(time.Hour, start, Finish{Step: "look"}) // typed in later, of before the landing
	if check, _ := b.state.CheckDue(b.now); check != "look" {
		t.Error("a check from before the landing is taken for the one that it asks for")
	}
	b.must(start)
	b.done("look-2/look")
	if check, _ := b.state.CheckDue(b.now); check != "" {
		t.Errorf("%s is still due", check)
	}
}

// A reading that counts for one flight, or for one day, counts no longer.
func TestAReadingOfOneFlightOrDay(t *testing.T) {
	for _, life := range []steps.Validity{{Flights: 1}, {Days: 1}} {
		b := assembled(t)
		short := sheet()
		short.Gates[0].Validity = life
		b.moved(build(), short)
		if g := b.gate("slot"); g.Standing != Current {
			t.Fatalf("%+v: slot is %s", life, g.Says().Text)
		}
		if life.Flights > 0 {
			b.must(LogFlight{Landing: Soft})
		} else {
			b.after(24*time.Hour - time.Second)
			if g := b.gate("slot"); g.Standing != Current {
				t.Errorf("a second before its day is over slot is %s", g.Says().Text)
			}
			b.after(time.Second)
		}
		if g := b.gate("slot"); g.Standing != StaleGate {
			t.Errorf("%+v: slot is %s", life, g.Says().Text)
		}
	}
}

// Only a joint that carries load is waited for before a release.
func TestAJointWithoutLoadStopsNoRelease(t *testing.T) {
	loaded := joining("join-spar", "spar")
	loaded.Load = true
	b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{coating("coat-tab", "tab"), coating("coat-spar", "spar"), joining("join-tab", "tab"), loaded}})
	b.done("coat-tab", "coat-spar")
	b.after(10 * time.Minute)
	b.done("join-tab", "join-spar")
	var drying []string
	for _, r := range b.state.ReleaseProof(b.now).Reasons() {
		if r.Because == ByDrying {
			drying = append(drying, r.Text)
		}
	}
	if len(drying) != 1 || drying[0] != "joint spar carries load and is not cured" {
		t.Errorf("it waits for %v", drying)
	}
}

// A gate that is stale says what disturbed it last, whichever of its zones that was.
func TestWhatDisturbedAGateLast(t *testing.T) {
	planing, sanding, flexing, pressing := plain("plane"), plain("sand"), plain("flex"), plain("press")
	planing.Disturbs, sanding.Disturbs, flexing.Disturbs, pressing.Disturbs = []string{"wing"}, []string{"pod"}, []string{"tail"}, []string{"pod", "wing"}
	for _, c := range []struct {
		done []string
		says string
	}{
		{nil, ""}, {[]string{"flex"}, ""}, {[]string{"plane"}, "wing was disturbed by plane"}, {[]string{"sand"}, "pod was disturbed by sand"},
		{[]string{"plane", "sand", "flex"}, "pod was disturbed by sand"}, {[]string{"sand", "plane"}, "wing was disturbed by plane"},
		{[]string{"press"}, "wing was disturbed by press"}, {[]string{"press", "sand"}, "pod was disturbed by sand"}, // of both, the first of the gate's
	} {
		b := working(t, one("a", planing), one("b", sanding), one("c", flexing), one("d", pressing))
		b.must(readings("square", "left=500 mm", "right=501 mm"))
		b.done(c.done...)
		g := b.gate("square")
		if want := c.says == ""; g.Met() != want {
			t.Errorf("after %v square is %s", c.done, g.Says().Text)
		}
		mustContain(t, g.Says().Text, c.says)
	}
}

// A change of equipment is one of the balance, which a mass gate depends on.
func TestAChangeOfBalance(t *testing.T) {
	b := building(t, "rudder")
	b.done("hinge-rudder", "propeller-off")
	b.must(readings("throw", "11 mm", "11 mm"))
	if g := b.gate("throw"); g.Standing != Current {
		t.Fatalf("throw is %s", g.Says().Text)
	}
	b.must(ChangeEquipment{Item: "camera", Change: Fitted})
	g := b.gate("throw")
	if g.Standing != StaleGate {
		t.Errorf("throw is %s", g.Says().Text)
	}
	mustContain(t, g.Says().Text, "balance", "camera")
	if missing := g.Missing(); len(missing) != 2 {
		t.Errorf("wanted are readings at %q", missing)
	}
	b.must(readings("throw", "11 mm"))
	if g := b.gate("throw"); g.Standing != Measuring || len(g.Missing()) != 1 {
		t.Errorf("throw is %s, wanted are readings at %q", g.Says().Text, g.Missing())
	}
}

// A release names the jobs worked on since the last one, and who did the work
// and took the readings.
func TestAReleaseNamesItsWork(t *testing.T) {
	b := released(t)
	first := b.state.Release
	if len(first.Jobs) != 1 || first.Jobs[0] != "plover-build" || len(first.Performed) != 1 || first.Performed[0] != "builder" {
		t.Errorf("of jobs %v by %v", first.Jobs, first.Performed)
	}
	b.by = "fifth" // at once after the release
	b.must(readings("slot", "root=4 mm"), ReadBench{Temperature: q("20 °C")})
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"})
	b.by = "second"
	b.done("lay-skin", "coat-skin")
	b.after(10 * time.Minute)
	b.done("join-skin")
	b.after(24 * time.Hour)
	b.by = "third"
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	b.must(Undo{Position: b.state.Size() - 1})
	b.by = "fourth" // says a word, and did nothing
	b.must(Note{Text: "looks well"})
	b.by = "second"
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), readings("square", "left=500 mm", "right=501 mm"))
	b.must(GiveRelease{Certificate: " A 17 "})
	r := b.state.Release
	if len(r.Jobs) != 1 || r.Jobs[0] != "skin-lifted" || strings.Join(r.Performed, " ") != "fifth second third" || r.Certificate != "A 17" {
		t.Errorf("of jobs %v by %v, %q", r.Jobs, r.Performed, r.Certificate)
	}
}

func TestADesignWithoutCriticalGatesIsNotReleased(t *testing.T) {
	lax := sheet()
	for i := range lax.Gates {
		lax.Gates[i].Critical = false
	}
	b := released(t)
	if p := b.state.ReleaseProof(b.now); p.NoCriticalGates || len(p.Rests) != 2 {
		t.Errorf("%+v", p)
	}
	b = assembled(t)
	b.moved(build(), lax)
	b.done("coat-saddle", "join-saddle")
	b.after(24 * time.Hour)
	b.must(readings("square", "left=500 mm", "right=501 mm"), readings("slot", "root=4 mm", "tip=4 mm"))
	mustContain(t, b.refused(GiveRelease{}, ByGate), "no critical gate", "[mark-gates-critical")
}

// Why it is grounded, in the order in which it is said.
func TestWhyItIsGrounded(t *testing.T) {
	b := assembled(t)
	if f := b.state.Airworthiness(b.now); f.Released || f.Ever || f.Why.Text != "never released" {
		t.Errorf("%+v", f)
	}
	why := func(b *bench, text string) {
		t.Helper()
		f := b.state.Airworthiness(b.now)
		if f.Released || !f.Ever {
			t.Errorf("%+v", f)
		}
		mustContain(t, f.Why.Text, text)
	}
	b = released(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Slight}}})
	why(b, "damage D1: cracked, wing")
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "tail", Severity: steps.Slight}, {Finding: "cracked", Zone: "pod", Severity: steps.Slight}}})
	why(b, "and 2 more")
	b = released(t)
	b.must(LogFlight{Landing: Hard, Check: "look"})
	why(b, "look is due after the hard landing")
	mustContain(t, b.refused(GiveRelease{}, ByState), "look is due", "[start look")
	b = released(t)
	b.must(readings("slot", "root=5 mm")) // not critical, and out
	why(b, "gate slot is out of tolerance")
	b = released(t)
	b.must(readings("slot", "root=4.49 mm"))
	why(b, "gate slot is undecided")
	b = released(t)
	b.must(readings("square", "left=510 mm"))
	why(b, "critical gate square is out of tolerance")
	b.must(Rework{Gate: "square"})
	b.must(readings("square", "left=500 mm", "right=501 mm"))
	why(b, "disturbed by rework of square")
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), GiveRelease{})
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("%+v", f)
	}
}

// A release is not dated before anything that is known of the airframe, whether
// or not a clock goes by it; a word beside the work says nothing of it.
func TestAReleaseIsNotDatedBeforeWhatIsKnown(t *testing.T) {
	for name, r := range map[string]Request{
		"a flight":     LogFlight{Landing: Soft},
		"equipment":    ChangeEquipment{Item: "camera", Change: Moved},
		"a gauge":      checkOf("caliper", true),
		"a bench":      celsius("20 °C"),
		"a condition":  setting("ventilation", "on"),
		"a note":       Note{Text: "a word"},
		"a correction": Undo{Position: 3, Reason: "mistaken"},
	} {
		b := released(t)
		b.after(time.Hour)
		b.must(ChangeEquipment{Item: "camera", Change: Moved}, setting("propeller", "off"), readings("square", "left=500 mm", "right=501 mm"))
		b.after(time.Hour)
		b.must(r)
		if name == "equipment" {
			b.at(time.Hour, readings("square", "left=500 mm", "right=501 mm"))
		}
		err := b.tryAt(GiveRelease{}, b.now.Add(-time.Hour))
		if _, aside := r.(Note); aside != (err == nil) {
			t.Errorf("after %s: %v", name, err)
		}
		if err != nil {
			mustContain(t, err.Error(), "cannot be dated before what is known of the airframe")
		}
	}
}

// A flight that it was not released for stays on record, and grounds until its check
// is complete and somebody has released it again.
func TestAFlightWhileGroundedIsLookedInto(t *testing.T) {
	b := released(t)
	b.must(LogFlight{Landing: Soft, Check: "look"})
	if f := b.state.Flights[0]; f.Grounded != "" || f.Check != "" {
		t.Errorf("released, its flight is %+v", f)
	}
	b.must(ChangeEquipment{Item: "camera", Change: Moved}, LogFlight{Landing: Soft, Check: "look"})
	mustContain(t, b.state.Flights[1].Grounded, "disturbed by the camera being moved")
	if f := b.state.Airworthiness(b.now); f.Why.Text != "look is due after a flight that it was not released for" {
		t.Errorf("it is %+v", f)
	}
	b.must(readings("square", "left=500 mm", "right=500 mm"), readings("slot", "root=4 mm", "tip=4 mm")) // the slot counts for two flights
	mustContain(t, b.refused(GiveRelease{}, ByState), "look is due after a flight that it was not released for", "start look")
	docs := documents()
	docs.Procedures["sha256:look"] = &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("look", plain("look"))}}
	b.docs = &docs
	b.must(Start{Procedure: docs.Procedures["sha256:look"], Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum})
	b.done("look")
	b.must(GiveRelease{})
	if sum, err := b.state.AuditSummary(b.now); err != nil || len(sum.Grounded) != 1 || !strings.Contains(sum.Grounded[0].Text, "the camera being moved") {
		t.Errorf("the audit says %+v, %v", sum.Grounded, err)
	}
	// What was done before it was typed in does not make it a flight of a released airframe.
	b.after(2 * time.Hour)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Slight}}})
	b.at(time.Hour, LogFlight{Landing: Soft, Check: "look"})
	if f := b.state.Flights[2]; f.Grounded != "" {
		t.Errorf("before the damage, its flight is %+v", f)
	}
}

// Without a check to ask for, a flight while grounded asks for a new release.
func TestAFlightWhileGroundedEndsTheRelease(t *testing.T) {
	b := released(t)
	docs := documents()
	look := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("look", plain("look"))}}
	docs.Procedures["sha256:look"] = look
	b.docs = &docs
	b.must(Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum}, LogFlight{Landing: Soft})
	b.done("look")
	if f := b.state.Airworthiness(b.now); f.Released || f.Why.Text != "it flew while grounded, and was not released since" {
		t.Errorf("it is %+v", f)
	}
	b.must(GiveRelease{})
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("released anew: %+v", f)
	}
}

// The check after a hard landing leaves the release as it was only if it leaves the
// airframe as it was.
func TestACheckedHardLandingWithThePropellerOff(t *testing.T) {
	off := plain("propeller-off")
	off.Sets = []steps.Setting{{Condition: "propeller", State: "off"}}
	for _, step := range []steps.Step{plain("look"), off} {
		b := released(t)
		docs := documents()
		look := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("look", step)}}
		docs.Procedures["sha256:look"] = look
		b.docs = &docs
		b.must(ReadBench{Set: []steps.Setting{{Condition: "propeller", State: "on"}}}, ChangeEquipment{Item: "camera", Change: Moved})
		b.must(readings("square", "left=500 mm", "right=500 mm"))
		b.after(time.Minute)
		b.must(GiveRelease{})
		b.after(time.Hour)
		b.must(LogFlight{Landing: Hard, Check: "look"}, Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum})
		b.done(step.Name)
		f := b.state.Airworthiness(b.now)
		if len(step.Sets) == 0 {
			if !f.Released {
				t.Errorf("with nothing changed: %+v", f)
			}
			continue
		}
		if f.Released || !strings.Contains(f.Why.Text, "propeller: off since look, and not at the release") {
			t.Errorf("with the propeller off: %+v", f)
		}
		b.must(ReadBench{Set: []steps.Setting{{Condition: "propeller", State: "on"}}})
		if f := b.state.Airworthiness(b.now); !f.Released {
			t.Errorf("with the propeller on again: %+v", f)
		}
	}
}

// What disturbed a gate is said with its own time, in whatever order it was entered.
func TestADisturbanceIsOfItsOwnTime(t *testing.T) {
	b := released(t)
	b.after(100 * time.Hour)
	moved := b.now
	b.must(ChangeEquipment{Item: "camera", Change: Moved})
	b.after(time.Hour)
	b.at(48*time.Hour, ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "pod", Severity: steps.Serious}}})
	if why := b.gate("square").Reason; !strings.Contains(why.Text, "damage D1") || !why.At.Equal(b.now.Add(-48*time.Hour)) {
		t.Errorf("the crack is %+v", why)
	}
	// Entered before the reading and of a later time: that one, with its time.
	b.at(90*time.Minute, readings("square", "left=500 mm", "right=500 mm"))
	if why := b.gate("square").Reason; !strings.Contains(why.Text, "the camera being moved") || !why.At.Equal(moved) {
		t.Errorf("read before the camera was moved: %+v", why)
	}
	b.after(time.Hour)
	b.must(Undo{Position: b.state.Damages[0].Position, Reason: "a shadow"})
	if why := b.gate("square").Reason; why.At.After(moved) {
		t.Errorf("taken back: %+v", why)
	}
}

// The life of a gate counts down.
func TestLifeLeft(t *testing.T) {
	b := released(t)
	is := func(want int) {
		t.Helper()
		flights, until := b.state.LifeLeft(b.gate("slot"))
		if flights != want || want > 0 && until.Format("2006-01-02") != "2026-04-03" && until.Format("2006-01-02") != "2026-04-02" {
			t.Errorf("%d flights are left, until %s; want %d", flights, until, want)
		}
	}
	is(2)
	b.must(LogFlight{Landing: Soft})
	is(1)
	b.must(LogFlight{Landing: Soft})
	if flights, until := b.state.LifeLeft(b.gate("slot")); flights != 0 || !until.IsZero() {
		t.Errorf("of a gate that does not count %d flights are left, until %s", flights, until)
	}
	if flights, until := b.state.LifeLeft(b.gate("square")); flights != 0 || !until.IsZero() {
		t.Errorf("of a gate without a life %d flights are left, until %s", flights, until)
	}
}
