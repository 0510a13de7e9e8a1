package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// What is typed in later, of earlier, counts at its own time.

func celsius(text string) ReadBench { return ReadBench{Temperature: q(text)} }

func TestAReadingOfTheBenchOfBeforeAnotherDoesNotDisplaceIt(t *testing.T) {
	t.Run("for a join", func(t *testing.T) {
		b := building(t)
		b.must(celsius("10 °C"))
		b.done("coat-left", "coat-right")
		b.after(20 * time.Minute)
		b.at(3*time.Hour, celsius("25 °C"))
		b.done("join-roots")
		joint, _ := b.state.Jobs[0].Joint("roots")
		// At 10 °C everything takes twice as long as at 20 °C.
		if h, c := joint.Handles().Sub(b.now), joint.Cures().Sub(b.now); h != time.Hour || c != 48*time.Hour {
			t.Errorf("joined at 10 °C it has handling strength after %v and cures in %v", h, c)
		}
	})
	t.Run("but counts to the safe side where it was entered last", func(t *testing.T) {
		b := building(t) // at 20 °C
		b.at(7*time.Hour, celsius("10 °C"))
		b.done("coat-left", "coat-right")
		joint, _ := b.state.Jobs[0].Joint("roots")
		if joint.Coldest() != 10 || joint.Warmest() != 20 {
			t.Errorf("it counts %v to %v °C", joint.Coldest(), joint.Warmest())
		}
	})
	t.Run("for a coat", func(t *testing.T) {
		b := building(t)
		b.must(celsius("4 °C"))
		b.at(2*time.Hour, celsius("22 °C"))
		mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), "4 °C")
	})
	t.Run("for a coat at the same time", func(t *testing.T) {
		b := building(t)
		b.must(celsius("22 °C"), celsius("4 °C"))
		b.refused(Finish{Step: "coat-left"}, ByClimate)
		b.must(celsius("22 °C"))
		b.done("coat-left")
	})
	t.Run("for a coat typed in later", func(t *testing.T) {
		b := building(t)
		b.must(celsius("10 °C"))
		b.after(2 * time.Hour)
		b.must(celsius("20 °C"))
		b.at(90*time.Minute, Finish{Step: "coat-left"}, Finish{Step: "coat-right"})
		joint, _ := b.state.Jobs[0].Joint("roots")
		if c := joint.Coldest(); c != 10 {
			t.Errorf("coated at 10 °C it counts %v °C", c)
		}
	})
	t.Run("that was read while it dried, and was entered before the coat", func(t *testing.T) {
		b := building(t)
		b.after(20 * time.Minute)
		b.must(celsius("12 °C"))
		b.after(20 * time.Minute)
		b.must(celsius("22 °C"))
		b.at(30*time.Minute, Finish{Step: "coat-left"}, Finish{Step: "coat-right"})
		joint, _ := b.state.Jobs[0].Joint("roots")
		if joint.Coldest() != 12 || joint.Warmest() != 22 {
			t.Errorf("it counts %v to %v °C", joint.Coldest(), joint.Warmest())
		}
	})
	t.Run("that was read while spreading began", func(t *testing.T) {
		b := building(t)
		b.must(celsius("30 °C"))
		b.after(30 * time.Minute)
		b.must(celsius("20 °C"))
		b.must(Finish{Step: "coat-left", Began: b.now.Add(-10 * time.Minute)})
		joint, _ := b.state.Jobs[0].Joint("roots")
		if joint.Warmest() != 30 {
			t.Errorf("begun at 30 °C it counts %v °C", joint.Warmest())
		}
	})
	t.Run("that was read between the beginnings of two faces", func(t *testing.T) {
		for range 10 {
			b := building(t)
			b.after(8 * time.Minute)
			b.must(celsius("12 °C"))
			b.after(3 * time.Minute)
			b.must(celsius("20 °C"))
			b.after(4 * time.Minute)
			b.done("coat-left") // begun after 12 min
			b.must(Finish{Step: "coat-right", Began: evening.Add(2 * time.Minute)})
			joint, _ := b.state.Jobs[0].Joint("roots")
			if joint.Coldest() != 12 || joint.Warmest() != 20 {
				t.Fatalf("it counts %v to %v °C", joint.Coldest(), joint.Warmest())
			}
		}
	})
	t.Run("that one entered at the same moment replaced", func(t *testing.T) {
		b := building(t)
		b.must(celsius("2 °C"), celsius("20 °C")) // mistyped
		b.done("coat-left")
		if joint, _ := b.state.Jobs[0].Joint("roots"); joint.Coldest() != 20 {
			t.Errorf("it counts %v °C", joint.Coldest())
		}
	})
}

// A clock that a colder reading makes longer counts what was read in that time,
// whatever the order of entry.
func TestAClockCountsEveryReadingUntilItsEnd(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(10 * time.Minute)
	b.done("join-roots")
	joined := b.now
	b.after(50 * time.Minute)
	b.must(celsius("5 °C")) // after the 30 min of handling at 20 °C
	joint := func() *Joint { j, _ := b.state.Jobs[0].Joint("roots"); return j }
	if h := joint().Handles().Sub(joined); h != 30*time.Minute {
		t.Fatalf("handling after %v", h)
	}
	b.at(40*time.Minute, celsius("10 °C"))
	// 10 °C makes it an hour, in which 5 °C was read: 2^1.5 times 30 min.
	if h := joint().Handles().Sub(joined); h.Round(time.Minute) != 85*time.Minute {
		t.Errorf("handling after %v", h)
	}
}

func TestAReadingTakenBackFallsBackOnOneOfTheSittingOnly(t *testing.T) {
	of := func(t *testing.T, before time.Duration) *Joint {
		b := newBench(t)
		b.must(startBuild(), celsius("25 °C"))
		b.after(before)
		b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
		read := b.state.Size() - 2
		b.done("coat-left", "coat-right")
		b.after(10 * time.Minute)
		b.done("join-roots")
		b.must(Undo{Position: read, Reason: "another shed"})
		joint, _ := b.state.Jobs[0].Joint("roots")
		return joint
	}
	if j := of(t, 3*7*24*time.Hour); j.Coldest() != 5 || j.Warmest() != 35 {
		t.Errorf("three weeks later it counts %v to %v °C, not the worst that the adhesive works in", j.Coldest(), j.Warmest())
	}
	if j := of(t, time.Hour); j.Coldest() != 25 || j.Warmest() != 25 {
		t.Errorf("an hour later it counts %v to %v °C", j.Coldest(), j.Warmest())
	}
}

func TestAReadingOfTheBenchOfLaterIsNotKnownBefore(t *testing.T) {
	b := newBench(t)
	b.must(startBuild())
	b.after(25 * time.Hour)
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	if _, known := b.state.Temperature(b.now.Add(-time.Second)); known {
		t.Error("a temperature is known before it was read")
	}
	if c, known := b.state.Temperature(b.now); !known || c != 20 {
		t.Errorf("%v °C, known: %v", c, known)
	}
	if err := b.tryAt(Finish{Step: "coat-left"}, b.now.Add(-25*time.Hour)); err == nil {
		t.Error("coated 25 h before the only reading of the bench")
	}
	b.done("coat-left")
}

func setting(condition, state string) ReadBench {
	return ReadBench{Set: []steps.Setting{{Condition: condition, State: state}}}
}

func (b *bench) holds(condition, want string) {
	b.t.Helper()
	if have := b.state.Holds(condition, b.now); have != want {
		b.t.Errorf("%s: %q, want %q", condition, have, want)
	}
}

func TestAConditionCountsByTime(t *testing.T) {
	b := building(t)
	b.after(time.Hour)
	b.must(setting("propeller", "on"))
	b.at(50*time.Minute, setting("propeller", "off"))
	b.holds("propeller", "on")
	for before, want := range map[time.Duration]string{50 * time.Minute: "off", 51 * time.Minute: "", 0: "on"} {
		if have := b.state.Holds("propeller", b.now.Add(-before)); have != want {
			t.Errorf("%v before: %q, want %q", before, have, want)
		}
	}
	b.must(setting("propeller", "off")) // at the same time as on: the later entry counts
	b.holds("propeller", "off")
}

// A condition of a sitting does not hold before it was set.
func TestAConditionOfLaterDoesNotHoldBefore(t *testing.T) {
	b := newBench(t)
	b.must(startBuild())
	b.after(time.Hour)
	b.must(celsius("20 °C"), setting("ventilation", "on"))
	b.at(30*time.Minute, celsius("20 °C"))
	if err := b.tryAt(Finish{Step: "coat-left"}, b.now.Add(-30*time.Minute)); err == nil {
		t.Error("coated half an hour before the window was opened")
	}
	b.done("coat-left")
}

func TestAFlightEndsEveryCondition(t *testing.T) {
	b := released(t)
	b.must(setting("ventilation", "on"))
	b.holds("propeller", "off")
	b.must(LogFlight{Landing: Soft})
	b.holds("propeller", "")
	b.holds("ventilation", "")
	b.must(setting("propeller", "off")) // at the same time, entered later
	b.holds("propeller", "off")
	b.after(2 * time.Hour)
	b.at(3*time.Hour, LogFlight{Landing: Soft}) // typed in later, of before it was said
	b.holds("propeller", "off")
	b.at(time.Hour, LogFlight{Landing: Soft})
	b.holds("propeller", "")
	if have := b.state.Holds("propeller", b.now.Add(-90*time.Minute)); have != "off" {
		t.Errorf("before the flight it is %q", have)
	}
	b.at(30*time.Minute, setting("propeller", "off"))
	b.holds("propeller", "off")
	// What was taken back may have been flown all the same.
	b.must(LogFlight{Landing: Soft}, Undo{Position: b.state.Size()})
	b.holds("propeller", "")
}

func TestWhatWasTakenBackMakesAConditionUnknownOnlyBeforeIt(t *testing.T) {
	b := building(t)
	b.must(setting("propeller", "off"), setting("propeller", "on"))
	b.must(Undo{Position: b.state.Size() - 1})
	b.holds("propeller", "")
	b.holds("ventilation", "on")
	b.must(setting("propeller", "off"))
	b.holds("propeller", "off")
}

// A reading of the bench before a join that is typed in after it says of the
// window what it would have said before.
func TestAReadingTypedInAfterTheJoinJudgesIt(t *testing.T) {
	set := steps.Step{Name: "set", Kind: steps.Wait, Joint: "tab", Until: steps.UntilHandling}
	joined := func(t *testing.T) *bench {
		b := working(t, one("glue", coating("coat", "tab"), joining("join", "tab"), set, plain("trim")))
		b.done("coat")
		b.after(30 * time.Minute)
		return b
	}
	joint := func(b *bench) *Joint { j, _ := b.state.Jobs[0].Joint("tab"); return j }

	b := joined(t)
	b.at(25*time.Minute, celsius("32 °C")) // 40 min become 17
	mustContain(t, b.refused(Finish{Step: "join"}, ByOrder), "the coat has lapsed")

	b = joined(t)
	b.done("join")
	b.at(25*time.Minute, celsius("32 °C"))
	if p := b.state.Phase(joint(b), b.now); p != Late {
		t.Errorf("tab is %s", p)
	}
	const why = "tab was joined outside its window, by the bench as it is known now"
	for _, name := range []string{"coat", "join"} {
		r := b.step(name)
		mustContain(t, r.Reopened, why)
		if r.Progress == Done {
			t.Errorf("%s is done", name)
		}
	}
	b.refused(Finish{Step: "trim"}, ByOrder)
	b.at(25*time.Minute, celsius("21 °C")) // 32 was mistyped: at that moment the later entry counts
	if p := b.state.Phase(joint(b), b.now); p != Setting {
		t.Errorf("tab is %s", p)
	}
	b.must(celsius("32 °C")) // when it was joined, of which 21 °C had left 37 min
	if !joint(b).Doubted() {
		t.Error("it was read when it was joined, and does not count")
	}

	// What was waited for on the joint is waited for again.
	b = joined(t)
	b.done("join")
	b.after(30 * time.Minute)
	b.done("set")
	b.at(31*time.Minute, celsius("34 °C"))
	b.must(celsius("20 °C"))
	b.done("coat")
	b.after(20 * time.Minute)
	b.done("join")
	b.waits("set", 30*time.Minute)

	// Too early, by the cold.
	b = working(t, one("glue", coating("coat", "tab"), joining("join", "tab")))
	b.done("coat")
	b.after(10 * time.Minute)
	b.done("join")
	b.after(time.Hour)
	b.at(61*time.Minute, celsius("12 °C"))
	b.must(celsius("20 °C"))
	b.refused(Finish{Step: "join"}, ByOrder)
	if tm := b.state.Timers(b.now)[0]; tm.Phase != Late || tm.Closes.After(b.now) {
		t.Errorf("%+v", tm)
	}
	b.done("coat")
	b.after(10 * time.Minute)
	b.done("join")

	// What was read after it was joined says nothing of the window.
	b = joined(t)
	b.done("join")
	b.after(5 * time.Minute)
	b.must(celsius("34 °C"))
	if joint(b).Doubted() {
		t.Error("it was read later, and makes the join doubted")
	}
}

// After a crash nobody knows how anything stands: it is said again.
func TestACrashEndsEveryCondition(t *testing.T) {
	b := released(t)
	b.must(setting("ventilation", "on"))
	crash := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}
	b.must(crash)
	b.holds("propeller", "")
	b.holds("ventilation", "")
	b.must(setting("propeller", "off"))
	b.holds("propeller", "off")
	b.after(time.Hour)
	b.at(time.Minute, crash)
	b.holds("propeller", "")
}

func TestWhatWasTakenBackMakesAConditionUnknownByTime(t *testing.T) {
	b := building(t)
	b.after(2 * time.Hour)
	b.must(setting("propeller", "on"), Undo{Position: b.state.Size()})
	b.at(59*time.Minute, setting("propeller", "off")) // said of before, entered after
	b.holds("propeller", "")
	if have := b.state.Holds("propeller", b.now.Add(-time.Minute)); have != "off" {
		t.Errorf("before what was taken back it is %q", have)
	}
	b.must(setting("propeller", "off"))
	b.holds("propeller", "off")
}

// By a clock that has gone back a flight may be later than its time says.
func TestAFlightByAClockThatWentBackEndsEveryCondition(t *testing.T) {
	b := building(t)
	b.must(setting("propeller", "off"))
	b.after(-time.Hour)
	b.must(LogFlight{Landing: Soft})
	b.after(2 * time.Hour)
	b.holds("propeller", "")
	b.must(setting("propeller", "off"))
	b.holds("propeller", "off")
}

// A condition that was said by a clock that was ahead distrusts the clock now.
func TestASettingIsClocked(t *testing.T) {
	b := working(t, one("one", plain("x")))
	b.after(time.Minute)
	b.must(setting("propeller", "off"))
	b.after(-time.Second)
	b.refused(Finish{Step: "x"}, ByClock)
}
