package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

func TestOrder(t *testing.T) {
	b := building(t)
	text := b.refused(Finish{Step: "join-roots"}, ByOrder)
	mustContain(t, text, "coat-left comes before it")
	if r := b.step("join-roots"); len(r.Reasons) != 1 || r.Reasons[0].Text != "coat-left comes before it" {
		t.Errorf("join-roots waits for %v", r.Reasons)
	}
	text = b.refused(Finish{Step: "coat-saddle"}, ByOrder)
	mustContain(t, text, "stage assembly comes after wing and pod, which are not complete")
	b.done("propeller-off")
	mustContain(t, b.refused(Finish{Step: "propeller-off"}, ByState), "already done")
	if err := b.try(Finish{Step: "join-root"}); err == nil || err.Error() != `no step "join-root"; did you mean "join-roots"?` {
		t.Errorf("an unknown step: %v", err)
	}
}

func TestOptionsGovernStepsAndGates(t *testing.T) {
	without, with := building(t), building(t, "rudder")
	if err := without.try(Finish{Step: "hinge-rudder"}); !errors.As(err, new(*UnknownError)) {
		t.Errorf("a step of an option that is not there: %v", err)
	}
	if _, err := without.state.GateReport("throw", evening); !errors.As(err, new(*UnknownError)) {
		t.Errorf("a gate of an option that is not there: %v", err)
	}
	with.done("hinge-rudder")
	if len(with.state.Gates(evening)) != 3 || len(without.state.Gates(evening)) != 2 {
		t.Errorf("gates: %d with, %d without", len(with.state.Gates(evening)), len(without.state.Gates(evening)))
	}
}

func TestJoiningWindow(t *testing.T) {
	b := building(t)
	b.done("coat-left") // finished 19:00, begun 18:57
	mustContain(t, b.refused(Finish{Step: "join-roots"}, ByOrder), "coat-right")
	b.after(5 * time.Minute)
	b.done("coat-right") // 19:05: opens 19:15, closes 19:37 by the first face
	b.after(9 * time.Minute)
	b.refused(Finish{Step: "join-roots"}, ByDrying)
	b.after(time.Minute)
	b.done("join-roots")
	if r := b.step("set"); r.Progress != Waiting || !opens(&r).Equal(evening.Add(45*time.Minute)) {
		t.Errorf("handling: %+v", r)
	}
}

// What a coat waited is said as it had it where it dried: at 30 °C half as long as at 20 °C.
func TestHowLongACoatHad(t *testing.T) {
	for celsius, want := range map[string]string{"20 °C": "it waited longer than 40 min", "30 °C": "it waited longer than 20 min"} {
		b := building(t)
		b.must(ReadBench{Temperature: q(celsius)})
		b.done("coat-left", "coat-right")
		b.after(41 * time.Minute)
		mustContain(t, b.refused(Finish{Step: "join-roots"}, ByOrder), want)
	}
}

func TestWindowCloses(t *testing.T) {
	b := building(t)
	b.done("coat-left")
	b.after(5 * time.Minute)
	b.done("coat-right")
	b.after(32 * time.Minute) // 19:37, the last moment
	if r := b.step("join-roots"); r.Progress != Ready {
		t.Errorf("at the last moment: %+v", r)
	}
	b.after(time.Second)
	mustContain(t, b.refused(Finish{Step: "join-roots"}, ByOrder), "coat-left comes before it; the coat has lapsed")
	r := b.step("coat-left")
	if r.Progress != Ready {
		t.Errorf("a lapsed coat is not open again: %+v", r)
	}
	mustContain(t, r.Reopened, "lapsed", "40 min", "fresh")
	// Days later it is still so, and coating again starts new clocks.
	b.after(72 * time.Hour)
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.done("coat-left", "coat-right")
	b.refused(Finish{Step: "join-roots"}, ByDrying)
	b.after(10 * time.Minute)
	b.done("join-roots")
}

func TestFacesTooFarApart(t *testing.T) {
	b := building(t)
	b.done("coat-left")
	b.after(31 * time.Minute)
	b.done("coat-right") // would open after the first face is too old
	mustContain(t, b.step("coat-left").Reopened, "too far apart")
}

func TestBeginningGiven(t *testing.T) {
	b := building(t)
	b.must(Finish{Step: "coat-left", Began: evening.Add(-20 * time.Minute)}, Finish{Step: "coat-right"})
	joint, _ := b.state.Jobs[0].Joint("roots")
	if w := joint.Window(); !w.Closes.Equal(evening.Add(20 * time.Minute)) {
		t.Errorf("closes %v", w.Closes)
	}
}

func TestMixedCountsFromMixing(t *testing.T) {
	b := assembled(t)
	b.must(Finish{Step: "coat-saddle", Mixed: b.now.Add(-10 * time.Minute)})
	joint, _ := b.state.Jobs[0].Joint("saddle")
	if w := joint.Window(); !w.Closes.Equal(b.now.Add(15*time.Minute)) || !w.Opens.Equal(b.now) {
		t.Errorf("window %v to %v", w.Opens, w.Closes)
	}
	// What sets where it lies is taken out; a thin coat on top of it helps nobody.
	b.after(16 * time.Minute)
	mustContain(t, b.step("coat-saddle").Reopened, "lapsed", "take out all that has begun to set, measure what it lay in again")
}

// assembled is a bench with the wing and the pod stages complete.
func assembled(t *testing.T, options ...string) *bench {
	b := building(t, options...)
	b.done("coat-left", "coat-right")
	b.after(10 * time.Minute)
	b.done("join-roots", "propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	b.after(30 * time.Minute)
	b.must(readings("slot", "root=4 mm", "tip=3.9 mm"))
	b.done("sand-pod")
	return b
}

func TestColdBench(t *testing.T) {
	b := building(t)
	b.must(ReadBench{Temperature: q("10 °C")})
	b.done("coat-left", "coat-right") // opens after 20 min instead of 10
	b.after(19 * time.Minute)
	b.refused(Finish{Step: "join-roots"}, ByDrying)
	b.after(time.Minute)
	b.done("join-roots")
}

func TestBenchWarmsWhileItDries(t *testing.T) {
	b := building(t)
	b.must(ReadBench{Temperature: q("10 °C")})
	b.done("coat-left", "coat-right")
	b.after(5 * time.Minute)
	b.must(ReadBench{Temperature: q("30 °C")})
	joint, _ := b.state.Jobs[0].Joint("roots")
	// Opens by the cold, closes by the warmth: 20 min after, 20 min from 18:57.
	if !joint.Window().Empty() {
		t.Errorf("window %v: each end counts the worst temperature noted", joint.Window())
	}
}

func TestOutsideTheWorkingLimits(t *testing.T) {
	b := building(t)
	b.must(ReadBench{Temperature: q("4 °C")})
	mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), "not be used below 5 °C")
	b.must(ReadBench{Temperature: q("36 °C")})
	b.refused(Finish{Step: "coat-left"}, ByClimate)
	b.must(ReadBench{Temperature: q("35 °C")}) // 40 min become 14: 3 + 10 fit
	b.done("coat-left")
}

func TestTemperatureIsAskedForOnceASitting(t *testing.T) {
	b := newBench(t)
	b.must(startBuild(), ReadBench{Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	mustContain(t, b.refused(Finish{Step: "coat-left"}, ByClimate), "not been read in this sitting", "[read-bench")
	b.must(ReadBench{Temperature: q("20 °C")})
	b.done("coat-left")
	b.after(24 * time.Hour)
	b.refused(Finish{Step: "coat-left"}, ByCondition, ByClimate)
}

func TestTouchTestHoldsBackAndNeverOpens(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(5 * time.Minute)
	var refusal *Refusal
	if err := b.try(Finish{Step: "join-roots", Touch: TouchDry}); !errors.As(err, &refusal) || len(recorded(err)) != 0 || refusal.Reasons[0].Because != ByDrying {
		t.Fatalf("dry, and too early: %v, %+v", err, recorded(err))
	}
	b.after(7 * time.Minute)
	err := b.try(Finish{Step: "join-roots", Touch: TouchWet})
	if !errors.As(err, &refusal) || len(recorded(err)) != 1 {
		t.Fatalf("a wet coat: %v", err)
	}
	b.state = replay(t, append(b.state.Entries, recorded(err)...))
	b.refused(Finish{Step: "join-roots"}, ByTouch)
	b.must(Finish{Step: "join-roots", Touch: TouchDry})
}

// Epoxy is joined wet: a touch test would hold back what is ready.
func TestOnlyADryingCoatIsTouched(t *testing.T) {
	step := coating("coat", "tab")
	step.Adhesives = []string{"epoxy"}
	b := working(t, one("glue", step, joining("join", "tab")))
	b.done("coat")
	if err := b.try(Finish{Step: "join", Touch: TouchWet}); !errors.Is(err, ErrBadRequest) || len(recorded(err)) != 0 {
		t.Errorf("wet epoxy: %v", err)
	}
	b.done("join")
}

// A coat that is put on again two minutes after the first lapsed begins no earlier than
// that, though its step takes longer.
func TestCoatAgainSoonAfterALapse(t *testing.T) {
	coat := coating("coat", "tab")
	coat.Hands = q("6 min")
	b := working(t, one("glue", coat, joining("join", "tab")))
	b.done("coat") // began six minutes ago, so that it lapses in 34
	b.after(36 * time.Minute)
	b.done("coat")
	if timers := b.state.Timers(b.now); len(timers) != 1 || timers[0].Phase != Tacking || timers[0].Closes.Sub(b.now) != 38*time.Minute+time.Second {
		t.Errorf("clocks: %+v", timers)
	}
	b.after(10 * time.Minute)
	b.done("join")
}

// A bench that was colder than was known, typed in later, takes back a reading
// that was taken on a joint without handling strength.
func TestColderBenchTypedInLater(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(10 * time.Minute)
	b.done("join-roots")
	joined := b.now
	b.after(30 * time.Minute)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Fatalf("slot is %s", g.Says().Text)
	}
	if err := b.tryAt(ReadBench{Temperature: q("10 °C")}, joined.Add(5*time.Minute)); err != nil {
		t.Fatal(err)
	}
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("slot is %s", g.Says().Text)
	}
	mustContain(t, b.gate("slot").Says().Text, "joint roots had no handling strength yet")
	mustContain(t, b.refused(readings("slot", "root=4 mm", "tip=4 mm"), ByDrying), "handling strength")
	b.after(30 * time.Minute)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("measured again, slot is %s", g.Says().Text)
	}
}

func TestHandlingBeforeMeasuring(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(10 * time.Minute)
	b.done("join-roots")
	b.after(29 * time.Minute)
	mustContain(t, b.refused(readings("slot", "root=4 mm", "tip=4 mm"), ByDrying), "handling strength")
	b.after(time.Minute)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if r := b.step("measure-slot"); r.Progress != Done {
		t.Errorf("the measure step is %v %v", r.Progress, r.Reasons)
	}
	if r := b.step("set"); r.Progress != Done || r.At.IsZero() {
		t.Errorf("the wait that was over is not in the journal: %+v", r)
	}
}

func TestGateFailsIsReworkedAndPasses(t *testing.T) {
	b := assembled(t)
	b.must(Undo{Position: position(b, "measure-slot")})
	b.must(readings("slot", "root=4 mm", "tip=5 mm"))
	if g := b.gate("slot"); g.Standing != Failed {
		t.Fatalf("slot is %s", g.Says().Text)
	}
	mustContain(t, b.refused(readings("slot", "root=4 mm", "tip=4 mm"), ByGate), "[rework slot")
	b.must(Rework{Gate: "slot"})
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("after rework slot is %s", g.Says().Text)
	}
	b.must(readings("slot", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Measuring {
		t.Errorf("half measured slot is %s", g.Says().Text)
	}
	b.must(readings("slot", "root=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.refused(Rework{Gate: "slot"}, ByState)
}

// position finds the live entry that completed the step.
func position(b *bench, step string) int64 {
	for _, e := range b.state.Entries {
		if w, ok := journal.WorkOf(e.Facts); ok && w.Step == step && b.state.Live(e.Position) {
			return e.Position
		}
	}
	b.t.Fatal("no entry of " + step)
	return 0
}

func TestUndecidedIsNotPassed(t *testing.T) {
	b := assembled(t)
	b.must(readings("slot", "root=4.475 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Undecided || g.Met() {
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.must(readings("slot", "root=4.46 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

func TestConcession(t *testing.T) {
	b := assembled(t)
	b.refused(Concede{Gate: "slot", Reason: "good enough"}, ByGate) // it is met
	b.must(readings("slot", "root=5 mm", "tip=4 mm"))
	if err := b.try(Concede{Gate: "slot", Reason: " "}); !errors.Is(err, ErrBadRequest) {
		t.Errorf("a concession without a reason: %v", err)
	}
	b.must(Concede{Gate: "slot", Reason: "the spar sits deep and holds"})
	if g := b.gate("slot"); g.Standing != Conceded || g.By != "builder" {
		t.Errorf("slot is %s by %q", g.Says().Text, g.By)
	}
	b.must(readings("square", "left=500 mm", "right=510 mm"))
	mustContain(t, b.refused(Concede{Gate: "square", Reason: "looks right"}, ByGate), "critical")
}

func TestAConcessionEndsWithTheNextDisturbance(t *testing.T) {
	b := assembled(t)
	b.must(readings("slot", "root=5 mm", "tip=4 mm"), Concede{Gate: "slot", Reason: "holds"})
	b.done("coat-saddle", "join-saddle")
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

func TestDisturbedZonesMakeGatesStale(t *testing.T) {
	b := assembled(t)
	if g := b.gate("slot"); g.Standing != Current {
		t.Fatalf("slot is %s", g.Says().Text)
	}
	b.done("coat-saddle", "join-saddle")
	g := b.gate("slot")
	if g.Standing != StaleGate {
		t.Fatalf("slot is %s", g.Says().Text)
	}
	mustContain(t, g.Says().Text, "wing was disturbed by join-saddle")
}

func TestWrongUnitPointOrGauge(t *testing.T) {
	b := assembled(t)
	for _, c := range []struct {
		r    Measure
		want string
	}{
		{readings("slot", "root=4 g"), "is a mass"},
		{readings("slot", "rot=4 mm"), `did you mean "root"`},
		{readings("slot", "4 mm"), "write POINT=VALUE"},
		{readings("slat", "4 mm"), `did you mean "slot"`},
		{readings("slot"), "at least one reading"},
		{Measure{Gate: "slot", Gauge: "calliper", Readings: readings("slot", "root=4 mm").Readings}, `did you mean "caliper"`},
	} {
		err := b.try(c.r)
		if err == nil {
			t.Errorf("%+v was taken", c.r)
			continue
		}
		mustContain(t, err.Error(), c.want)
	}
}

func TestHolds(t *testing.T) {
	b := building(t)
	b.done("propeller-off")
	mustContain(t, b.refused(Finish{Step: "cut-pod"}, ByOrder), "blade-care")
	b.refused(Finish{Step: "blade-care"}, ByHold)
	mustContain(t, b.refused(Clear{Step: "blade-care", Answers: []bool{true, false}}, ByHold), "line 2", "The spare hand")
	b.refused(Clear{Step: "blade-care"}, ByHold, ByHold)
	b.by = "second"
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	last := b.state.Entries[len(b.state.Entries)-1]
	if f := last.Facts.(journal.HoldCleared); last.By != "second" || len(f.Lines) != 2 {
		t.Errorf("cleared: %+v", last)
	}
	if err := b.try(Clear{Step: "cut-pod", Answers: nil}); !errors.Is(err, ErrBadRequest) {
		t.Errorf("clearing a plain step: %v", err)
	}
}

func TestConditions(t *testing.T) {
	b := newBench(t, "rudder")
	b.must(startBuild(), ReadBench{Temperature: q("20 °C")})
	mustContain(t, b.refused(Finish{Step: "coat-left"}, ByCondition), "ventilation: on", "[set-condition []ventilation: on]")
	b.done("hinge-rudder")
	if r := b.step("measure-throw"); r.Progress != Waiting {
		t.Errorf("nobody said that the propeller is off: %+v", r)
	}
	b.done("propeller-off")
	if r := b.step("measure-throw"); r.Progress != Ready {
		t.Errorf("the propeller is off: %+v", r)
	}
	b.must(ReadBench{Set: []steps.Setting{{Condition: "propeller", State: "on"}}})
	mustContain(t, b.step("measure-throw").Reasons[0].Text, "the journal says propeller: on")
	for _, wrong := range []steps.Setting{{Condition: "propellor", State: "off"}, {Condition: "propeller", State: "of"}} {
		if err := b.try(ReadBench{Set: []steps.Setting{wrong}}); !errors.As(err, new(*UnknownError)) {
			t.Errorf("%v: %v", wrong, err)
		}
	}
}

func TestSittingConditionLapses(t *testing.T) {
	b := building(t)
	b.after(SittingLength + time.Second)
	if state := b.state.Holds("ventilation", b.now); state != "" {
		t.Errorf("the window is %q the next day", state)
	}
}

func TestWaitCountsFromTheStepBefore(t *testing.T) {
	b := building(t)
	b.done("propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	b.after(19 * time.Minute)
	b.refused(Finish{Step: "rest"}, ByDrying)
	b.refused(Finish{Step: "sand-pod"}, ByOrder)
	b.after(time.Minute)
	b.done("sand-pod") // the wait needs no tick
	if r := b.step("rest"); r.Progress != Done {
		t.Errorf("rest is %v", r.Progress)
	}
}

func TestNextPrefersWorkWhileSomethingDries(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	s := b.state.Next(b.now)
	if s.Step == nil || s.Step.Step.Name != "propeller-off" {
		t.Fatalf("next is %+v", s.Step)
	}
	mustContain(t, s.Why, `while "join-roots" waits`)
	if s.Waiting[0].Step.Name != "join-roots" || !opens(&s.Waiting[0]).Equal(evening.Add(10*time.Minute)) {
		t.Errorf("waiting: %+v", s.Waiting[0])
	}
	b.after(10 * time.Minute)
	s = b.state.Next(b.now)
	if s.Step.Step.Name != "join-roots" || !s.Step.Closes.Equal(evening.Add(37*time.Minute)) {
		t.Errorf("an open joint comes first: %+v", s.Step)
	}
}

func TestNextSaysUntilWhen(t *testing.T) {
	b := assembled(t)
	b.done("coat-saddle", "join-saddle")
	s := b.state.Next(b.now)
	if s.Step != nil || !s.Until.Equal(b.now.Add(24*time.Hour)) {
		t.Errorf("next %+v until %v", s.Step, s.Until)
	}
}

func TestNextPutsAWindowBeforeLongWork(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	due, what := soonest(b.state.dues(b.now, nil, b.state))
	long, short := StepReport{Step: steps.Step{Hands: q("50 min")}}, StepReport{Step: steps.Step{Hands: q("25 min")}}
	if what != "joint roots must be joined" || b.state.CanWaitFor(&long, b.state, false, b.now) || !b.state.CanWaitFor(&short, b.state, false, b.now) {
		t.Errorf("due %v %s", due, what)
	}
	why, by := because(&long, "", nil, due, true, what, b.now)
	if why != "this takes 50 min; joint roots must be joined" || !by.Equal(due) {
		t.Errorf("long work: %q, by %v", why, by)
	}
}

func TestUndo(t *testing.T) {
	b := assembled(t)
	b.done("coat-saddle")
	coat := position(b, "coat-right")
	b.must(Undo{Position: coat, Reason: "only looked at it"})
	// The join went with its coat, and the coat that is left has lapsed.
	for name, want := range map[string]Progress{"coat-left": Ready, "coat-right": Later, "join-roots": Later, "measure-slot": Later, "coat-saddle": Waiting, "sand-pod": Done} {
		if r := b.step(name); r.Progress != want {
			t.Errorf("%s is %s, want %s: %v", name, r.Progress, want, r.Reasons)
		}
	}
	if b.state.Live(coat) {
		t.Error("the entry still counts")
	}
	b.refused(Undo{Position: coat}, ByState)
	b.refused(Undo{Position: 0}, ByState)
	b.refused(Undo{Position: b.state.Size() - 1}, ByState)
	if err := b.try(Undo{Position: 999}); !errors.As(err, new(*UnknownError)) {
		t.Errorf("an entry that is not there: %v", err)
	}
}

func TestUndoNeverMakesAGateCurrent(t *testing.T) {
	b := assembled(t)
	b.done("coat-saddle", "join-saddle")
	b.must(Undo{Position: position(b, "join-saddle")})
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("slot is %s after taking back what disturbed it", g.Says().Text)
	}
}

func TestUndoMakesAConditionUnknown(t *testing.T) {
	b := building(t)
	b.done("propeller-off")
	b.must(Undo{Position: position(b, "propeller-off")})
	if state := b.state.Holds("propeller", b.now); state != "" {
		t.Errorf("propeller: %s", state)
	}
}

func TestClockWentBack(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(-2 * time.Hour)
	r := b.step("join-roots")
	if r.Progress != Waiting {
		t.Errorf("join-roots is %v", r.Progress)
	}
	for _, request := range []Request{
		Finish{Step: "propeller-off"}, readings("slot", "root=4 mm", "tip=4 mm"), ReadBench{Temperature: q("20 °C")},
	} {
		mustContain(t, b.refused(request, ByClock), "the clock reads earlier than entry 5")
	}
	b.must(Note{Text: "the clock is wrong"}) // words are always taken
}

func TestJournalFromTheFutureIsTakenBack(t *testing.T) {
	b := newBench(t)
	b.must(startBuild())
	b.after(30 * 24 * time.Hour) // a clock set wrong
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.done("coat-left")
	b.after(-30 * 24 * time.Hour)
	b.refused(Finish{Step: "propeller-off"}, ByClock)
	for {
		reason := b.state.Untrusted(b.now)
		if reason == nil {
			break
		}
		b.must(Undo{Position: b.state.latest.Position})
	}
	b.done("propeller-off")
}

// A release that a clock set wrong dates later than now lets nothing fly now.
func TestAReleaseFromTheFuture(t *testing.T) {
	b := released(t)
	b.after(-48 * time.Hour)
	if f := b.state.Airworthiness(b.now); f.Released || f.Why.Text != "its release is dated later than now" {
		t.Errorf("it is %+v", f)
	}
}

func TestBackdating(t *testing.T) {
	b := building(t)
	b.after(time.Hour)
	if err := b.tryAt(Finish{Step: "coat-left"}, evening.Add(30*time.Minute)); err != nil {
		t.Errorf("typed in later: %v", err)
	}
	if err := b.tryAt(Finish{Step: "coat-right"}, evening.Add(20*time.Minute)); err == nil {
		t.Error("coat-right was done before what it depends on")
	}
	if err := b.tryAt(Finish{Step: "coat-right"}, b.now.Add(time.Minute)); !errors.Is(err, ErrBadRequest) {
		t.Errorf("in the future: %v", err)
	}
}

func released(t *testing.T) *bench {
	b := assembled(t)
	b.done("coat-saddle", "join-saddle")
	b.after(24 * time.Hour)
	b.must(readings("square", "left=500 mm", "right=501 mm"), readings("slot", "root=4 mm", "tip=4 mm"))
	b.must(GiveRelease{})
	return b
}

func TestRelease(t *testing.T) {
	b := released(t)
	f := b.state.Airworthiness(b.now)
	if !f.Released {
		t.Fatalf("flight: %+v", f)
	}
	last := b.state.Entries[len(b.state.Entries)-1].Facts.(journal.Released)
	if len(last.RestsOn) != 2 || last.Step != "release" {
		t.Errorf("the release is %+v", last)
	}
	for _, p := range last.RestsOn {
		if r, ok := b.state.Entries[p].Facts.(journal.ReadingTaken); !ok || r.Gate != "square" {
			t.Errorf("it rests on %+v", b.state.Entries[p])
		}
	}
	b.refused(GiveRelease{}, ByState)
}

// What comes before a flight is due anew after each; what comes before the first one, only
// then; what comes before the flights of a day, after a release and the next day.
func TestBeforeFlight(t *testing.T) {
	checks := []*steps.Procedure{
		{Name: "maiden", Flight: steps.FirstFlight}, {Name: "looks", Flight: steps.EachFlight}, {Name: "other"},
		{Name: "morning", Kind: steps.Check, Flight: steps.EachDay, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{plain("look")}}}},
	}
	if due := assembled(t).state.BeforeFlight(checks, evening); len(due) > 0 {
		t.Errorf("never released: %v", due)
	}
	b := released(t)
	is := func(when string, want ...string) {
		t.Helper()
		if due := b.state.BeforeFlight(checks, b.now); !slices.Equal(due, want) {
			t.Errorf("%s: %v are due, want %v", when, due, want)
		}
	}
	is("after the release", "morning", "looks", "maiden")
	docs := documents()
	docs.Procedures["sha256:morning"] = checks[3]
	b.docs = &docs
	b.must(Start{Procedure: checks[3], Digest: "sha256:morning", Sheet: docs.Sheets[sheetSum], SheetDigest: sheetSum}, Finish{Step: "look"})
	is("looked over in the morning", "looks", "maiden")
	b.after(time.Minute)
	b.must(LogFlight{Landing: Soft})
	is("after a flight", "looks")
	b.after(DayLength)
	is("the next day", "morning", "looks")

	short := sheet() // each flight leaves square to be read
	short.Gates[slices.IndexFunc(short.Gates, func(g steps.Gate) bool { return g.Name == "square" })].Validity.Flights = 1
	docs.Sheets[sheetSum] = short
	b.state = b.replay(b.state.Entries)
	is("with what is read anew before each flight", "morning", "looks")
	looks := Start{Procedure: checks[3], Digest: "sha256:morning", Sheet: short, SheetDigest: sheetSum}
	if b.state.Airworthiness(b.now).Released || b.try(looks) != nil {
		t.Error("it is released, or the check may not begin in which square is read")
	}
	b.after(31 * 24 * time.Hour) // slot has expired
	is("with another gate that has expired")
	var no *Refusal
	if !errors.As(b.try(looks), &no) || no.Reasons[0].Remedy.Kind != ToMeasure {
		t.Errorf("refused: %+v, want a gate to measure", no)
	}
}

// What the release step needs is a line of the proof while it is missing.
func TestProofOfConditions(t *testing.T) {
	b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{
		{Name: "release", Kind: steps.Release, Needs: []steps.Setting{{Condition: "propeller", State: "off"}}},
	}})
	b.must(setting("propeller", "on"))
	needs := func() int {
		return len(slices.DeleteFunc(b.state.ReleaseProof(b.now).Reasons(), func(r Reason) bool { return r.Because != ByCondition }))
	}
	if needs() != 1 {
		t.Error("the proof does not say that the propeller is on")
	}
	b.after(time.Minute)
	b.must(setting("propeller", "off"))
	if needs() != 0 {
		t.Error("the proof says that the propeller is on")
	}
}

// A gate that is found out of tolerance, undecided or reworked after its step was done
// opens the step again, and what comes after it waits.
func TestAGateOpensItsStepAgain(t *testing.T) {
	for _, tt := range []struct {
		name string
		then []Request
		says string // "": the work goes on
	}{
		{"in", []Request{readings("slot", "root=4 mm")}, ""},
		{"out", []Request{readings("slot", "root=5 mm")}, "slot is out of tolerance"},
		{"undecided", []Request{readings("slot", "root=4.49 mm")}, "slot is undecided"},
		{"reworked", []Request{readings("slot", "root=5 mm"), Rework{Gate: "slot"}}, "slot is stale"},
		{"reworked and half measured", []Request{readings("slot", "root=5 mm"), Rework{Gate: "slot"}, readings("slot", "root=4 mm")}, "slot is being measured"},
		{"reworked and measured", []Request{readings("slot", "root=5 mm"), Rework{Gate: "slot"}, readings("slot", "root=4 mm", "tip=4 mm")}, ""},
		{"conceded", []Request{readings("slot", "root=5 mm"), Concede{Gate: "slot", Reason: "holds"}}, ""},
	} {
		b := assembled(t)
		b.must(tt.then...)
		step, _, err := b.state.FindStep("measure-slot", b.now)
		if err != nil {
			t.Fatal(err)
		}
		if tt.says == "" {
			if b.done("coat-saddle"); step.Progress != Done || step.Reopened != "" {
				t.Errorf("%s: measure-slot is %s, open again: %s", tt.name, step.Progress, step.Reopened)
			}
			continue
		}
		if b.refused(Finish{Step: "coat-saddle"}, ByOrder); step.Progress == Done || !strings.Contains(step.Reopened, tt.says) {
			t.Errorf("%s: measure-slot is %s, open again: %s", tt.name, step.Progress, step.Reopened)
		}
	}
}

func TestReleaseNamesEveryReason(t *testing.T) {
	b := assembled(t)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	b.done("coat-saddle", "join-saddle")
	text := b.refused(GiveRelease{}, ByState, ByDrying, ByDrying, ByGate, ByGate)
	mustContain(t, text, "gate slot is stale", "gate square is not measured yet", "2 steps are left", "joint roots carries load", "joint saddle carries load")
}

func TestGrounding(t *testing.T) {
	b := released(t)
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"})
	if f := b.state.Airworthiness(b.now); f.Released || f.Why.Text != "job skin-lifted is open" {
		t.Errorf("flight: %+v", f)
	}
	b.done("lay-skin")
	if f := b.state.Airworthiness(b.now); f.Released || f.Why.Text != "disturbed by lay-skin since the release" {
		t.Errorf("flight: %+v", f)
	}
	b.must(ReadBench{Temperature: q("20 °C")})
	b.done("coat-skin")
	b.after(10 * time.Minute)
	b.done("join-skin")
	b.after(30 * time.Minute)
	// The repair asks for exactly the gates that it made stale.
	r := b.step("measure-again")
	var names []string
	for _, g := range b.state.GatesOf(b.state.Jobs[1], r.Step, b.now) {
		names = append(names, g.Gate.Name)
	}
	if len(names) != 2 || names[0] != "slot" || names[1] != "square" {
		t.Errorf("measure again: %v", names)
	}
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), readings("square", "left=500 mm", "right=501 mm"))
	if open := b.state.OpenJobs(b.now); len(open) != 0 {
		t.Fatalf("open: %v", open[0].ID)
	}
	mustContain(t, b.refused(GiveRelease{}, ByDrying), "joint skin carries load and is not cured")
	b.after(24 * time.Hour)
	b.must(GiveRelease{})
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("flight: %+v", f)
	}
}

func TestTakingBackAReadingTakesTheReleaseBack(t *testing.T) {
	b := released(t)
	rests := b.state.Release.RestsOn[0]
	var much *TakesMuchError
	if err := b.try(Undo{Position: rests}); !errors.As(err, &much) || !errors.Is(err, ErrBadRequest) || !slices.Contains(much.TakesBack, b.state.Release.Position) {
		t.Errorf("without a reason: %v", err)
	}
	b.must(Undo{Position: rests, Reason: "mistaken"})
	if f := b.state.Airworthiness(b.now); f.Released {
		t.Error("it is still released")
	}
	if r := b.step("measure-square"); r.Progress == Done {
		t.Error("the measure step still stands")
	}
}

func TestStartRefusals(t *testing.T) {
	b := building(t)
	mustContain(t, b.refused(startBuild(), ByState), "already open")
	other := build()
	other.Design = "curlew"
	b.refused(Start{Procedure: other, Digest: buildSum, Sheet: sheet(), SheetDigest: sheetSum}, ByState)
	fix := Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum}
	if err := b.try(fix); !errors.Is(err, ErrBadRequest) {
		t.Errorf("without a zone: %v", err)
	}
	onZone := startBuild()
	onZone.Zone = "wing"
	fresh := newBench(t)
	if err := fresh.try(onZone); !errors.Is(err, ErrBadRequest) {
		t.Errorf("a build on a zone: %v", err)
	}
	fix.Zone = "wng"
	if err := b.try(fix); !errors.As(err, new(*UnknownError)) {
		t.Errorf("an unknown zone: %v", err)
	}
	fix.Zone, fix.SheetDigest = "wing", "sha256:other"
	mustContain(t, b.refused(fix, ByState), "has changed since job plover-build")
}

func TestMarks(t *testing.T) {
	for mark, ok := range map[string]bool{"CW-01": true, "J": true, "cw-01": false, "": false, "-A": false, "12": false, "A B": false, "A\x1b": false} {
		if err := CheckMark(mark); (err == nil) != ok {
			t.Errorf("CheckMark(%q) = %v", mark, err)
		}
	}
}

func TestAwait(t *testing.T) {
	b := building(t)
	if _, err := b.state.Await(b.now, ""); err == nil {
		t.Error("nothing runs, and there is something to wait for")
	}
	b.done("coat-left", "coat-right")
	w, err := b.state.Await(b.now, "roots")
	if err != nil || !w.At.Equal(evening.Add(10*time.Minute)) || !w.Until.Equal(evening.Add(37*time.Minute)) {
		t.Errorf("await: %+v, %v", w, err)
	}
	b.after(10 * time.Minute)
	if w, err = b.state.AwaitAgain(b.now, w); err != nil || w.At.After(b.now) {
		t.Errorf("at ready: %+v, %v", w, err)
	}
	b.after(time.Hour)
	if _, err := b.state.Await(b.now, "roots"); !errors.As(err, new(*Refusal)) {
		t.Errorf("a lapsed coat: %v", err)
	}
	if _, err := b.state.Await(b.now, "rots"); !errors.As(err, new(*UnknownError)) {
		t.Errorf("an unknown joint: %v", err)
	}
}

// Two points that differ too much are out of tolerance before the third is read.
func TestAPairIsJudgedBeforeEveryPointIsRead(t *testing.T) {
	b := newBench(t)
	docs := documents()
	b.docs = &docs
	docs.Sheets[sheetSum].Gates[1].Points = []string{"a", "b", "c"}
	b.state = b.replay(b.state.Entries)
	b.must(readings("square", "a=500 mm", "b=510 mm"))
	mustContain(t, b.gate("square").Says().Text, "out of tolerance: a and b differ by 10 mm", "no reading at c yet")
	for _, again := range []string{"a=500 mm", "b=500 mm"} {
		mustContain(t, b.refused(readings("square", again), ByGate), "differ by 10 mm", "[measure-rest square[c]")
	}
	b.must(readings("square", "c=505 mm"))
	b.refused(readings("square", "b=500 mm"), ByGate)
	b.must(Rework{Gate: "square"}, readings("square", "a=500 mm", "b=500 mm"), readings("square", "b=501 mm", "c=500 mm"))
	if g := b.gate("square"); g.Standing != Current {
		t.Errorf("square is %s", g.Says().Text)
	}
}
