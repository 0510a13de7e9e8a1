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

// badly asserts that a request makes no sense, and why.
func (b *bench) badly(r Request, says string) {
	b.t.Helper()
	err := b.try(r)
	if !errors.Is(err, ErrBadRequest) {
		b.t.Errorf("%+v: %v", r, err)
		return
	}
	mustContain(b.t.(*testing.T), err.Error(), says)
}

func TestWhenACoatBegan(t *testing.T) {
	b := building(t)
	b.badly(Finish{Step: "coat-left", Began: b.now.Add(time.Second)}, "begun after it was finished")
	b.badly(Finish{Step: "coat-left", Mixed: b.now.Add(-time.Minute)}, "not a two-part adhesive")
	b.badly(Finish{Step: "propeller-off", Began: b.now}, "only a coat takes the time it began")
	b.badly(Finish{Step: "propeller-off", Mixed: b.now}, "only a coat takes the time it began")
	b.badly(Finish{Step: "propeller-off", Touch: TouchDry}, "only a join takes a touch test")
	b.must(Finish{Step: "coat-left", Began: b.now}) // at once
	coat := b.state.Entries[b.state.Size()-1].Facts.(journal.Coated)
	if !coat.Began.Equal(b.now) || coat.Mixed != nil {
		t.Errorf("recorded %+v", coat)
	}
}

func TestWhenItWasMixed(t *testing.T) {
	b := assembled(t)
	began := b.now.Add(-3 * time.Minute)
	b.badly(Finish{Step: "coat-saddle", Began: began, Mixed: began.Add(time.Second)}, "mixed after the coat began")
	b.badly(Finish{Step: "coat-saddle", Mixed: b.now}, "mixed after the coat began") // nothing is spread in no time
	b.must(Finish{Step: "coat-saddle", Began: began, Mixed: began})
	if coat := b.state.Entries[b.state.Size()-1].Facts.(journal.Coated); !coat.Mixed.Equal(began) {
		t.Errorf("mixed at %v", coat.Mixed)
	}

	// Its step has more minutes of hands: whoever looked at the watch as it was mixed, and laid
	// cup and stick out before, began to spread no earlier.
	b = assembled(t)
	mixed := b.now.Add(-2 * time.Minute)
	b.must(Finish{Step: "coat-saddle", Mixed: mixed})
	if coat := b.state.Entries[b.state.Size()-1].Facts.(journal.Coated); !coat.Mixed.Equal(mixed) || !coat.Began.Equal(mixed) {
		t.Errorf("mixed %v, spread from %v", coat.Mixed, coat.Began)
	}

	b = assembled(t)
	b.must(Finish{Step: "coat-saddle", Began: began}) // mixed when it began
	joint, _ := b.state.Jobs[0].Joint("saddle")
	if w := joint.Window(); !w.Closes.Equal(began.Add(25 * time.Minute)) {
		t.Errorf("it closes %v after it began", w.Closes.Sub(began))
	}
}

// What begins a coat is recorded as it happens. Its clock runs from then, the coat has it
// where nobody says otherwise, and where that is too long ago it must be said.
func TestBegun(t *testing.T) {
	coat := func(b *bench) journal.Coated { return b.state.Entries[b.state.Size()-1].Facts.(journal.Coated) }
	b := assembled(t)
	b.badly(Begin{Step: "coat-saddle"}, "say when epoxy was mixed")
	b.badly(Begin{Step: "coat-saddle", Mixed: b.now.Add(time.Second)}, "in the future")
	b.badly(Begin{Step: "coat-saddle", Mixed: b.now, Began: b.now.Add(-time.Second)}, "mixed after the coat began")
	b.badly(Begin{Step: "join-saddle", Began: b.now}, "only a coat is begun")
	mixed := b.now
	b.must(Begin{Step: "coat-saddle", Mixed: mixed})
	b.badly(Begin{Step: "coat-saddle", Began: mixed.Add(-time.Second)}, "mixed after the coat began")
	b.after(2 * time.Minute)
	if timers := b.state.Timers(b.now); len(timers) == 0 || timers[len(timers)-1].Phase != Coating || !timers[len(timers)-1].Closes.Equal(mixed.Add(25*time.Minute)) {
		t.Errorf("what runs is %+v", timers)
	}
	if all := b.state.Moments(b.now, b.now.Add(time.Hour)); !slices.ContainsFunc(all, func(m Moment) bool { return m.Event == HasLapsed && m.At.Equal(mixed.Add(25*time.Minute)) }) {
		t.Errorf("it calls at %+v", all)
	}
	b.must(Finish{Step: "coat-saddle"}) // its hands are longer than it is mixed
	if f := coat(b); !f.Mixed.Equal(mixed) || !f.Began.Equal(mixed) {
		t.Errorf("recorded %+v", f)
	}

	for name, c := range map[string]struct {
		Finish
		began, mixed time.Duration // ago
	}{
		"as begun":                 {Finish{}, 3 * time.Minute, 4 * time.Minute},
		"begun otherwise":          {Finish{Began: mixed.Add(3 * time.Minute)}, time.Minute, 4 * time.Minute},
		"begun before that, mixed": {Finish{Began: mixed.Add(-time.Minute)}, 5 * time.Minute, 5 * time.Minute},
		"mixed before":             {Finish{Mixed: mixed.Add(-time.Minute)}, 3 * time.Minute, 5 * time.Minute},
	} {
		b := assembled(t)
		b.must(Begin{Step: "coat-saddle", Mixed: mixed})
		b.after(time.Minute)
		b.must(Begin{Step: "coat-saddle", Began: b.now})
		b.after(3 * time.Minute)
		c.Step = "coat-saddle"
		b.must(c.Finish)
		if f := coat(b); !f.Began.Equal(b.now.Add(-c.began)) || !f.Mixed.Equal(b.now.Add(-c.mixed)) {
			t.Errorf("%s: began %v, mixed %v ago", name, b.now.Sub(f.Began), b.now.Sub(*f.Mixed))
		}
	}

	b = assembled(t)
	b.must(Begin{Step: "coat-saddle", Mixed: b.now})
	b.after(25*time.Minute + time.Second)
	if err := b.try(Finish{Step: "coat-saddle"}); !errors.As(err, new(*Refusal)) {
		t.Errorf("of an old batch: %v", err)
	}
	b.must(Undo{Position: b.state.Size() - 1})
	b.must(Finish{Step: "coat-saddle"})
	b.must(Undo{Position: b.state.Size() - 1})
	b.must(Begin{Step: "coat-saddle", Mixed: b.now}) // a fresh one
	b.must(Finish{Step: "coat-saddle"})
	if f := coat(b); !f.Mixed.Equal(b.now) {
		t.Errorf("recorded %+v", f)
	}
}

func TestAStepIsNotDoneBeforeWhatItDependsOn(t *testing.T) {
	in := func(name string, names ...string) steps.Stage {
		s := steps.Stage{Name: name}
		for _, n := range names {
			s.Steps = append(s.Steps, plain(n))
		}
		return s
	}
	then := in("then", "a", "b")
	then.After = []string{"one", "two"}
	b := working(t, in("one", "x"), in("two", "y"), then)
	b.after(time.Hour)
	b.at(30*time.Minute, Finish{Step: "x"})
	b.at(50*time.Minute, Finish{Step: "y"})
	late := func(step string, before time.Duration) {
		t.Helper()
		err := b.tryAt(Finish{Step: step}, b.now.Add(-before))
		var refusal *Refusal
		if !errors.As(err, &refusal) || refusal.Reasons[0].Because != ByOrder {
			t.Errorf("%s %v before now: %v", step, before, err)
		}
	}
	late("a", 40*time.Minute)
	late("a", 30*time.Minute+time.Second)
	b.at(30*time.Minute, Finish{Step: "a"})
	late("b", 31*time.Minute)
	b.at(20*time.Minute, Finish{Step: "b"})
}

func TestAStepIsNotDoneBeforeItsJobWasOpened(t *testing.T) {
	b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("x")}})
	b.after(time.Hour)
	if err := b.tryAt(Finish{Step: "x"}, evening.Add(-time.Second)); err == nil {
		t.Error("done before the job was opened")
	}
	b.at(time.Hour, Finish{Step: "x"})
}

// A clock that can't be believed holds back what is open and what waits, and
// says so of nothing else.
func TestADistrustedClockHoldsEveryStepBack(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(-time.Minute)
	clock := func(name string) int {
		n := 0
		for _, reason := range b.step(name).Reasons {
			if reason.Because == ByClock {
				n++
			}
		}
		return n
	}
	for name, want := range map[string]struct {
		progress Progress
		reasons  int
	}{"propeller-off": {Waiting, 1}, "join-roots": {Waiting, 1}, "coat-left": {Done, 0}, "cut-pod": {Later, 0}} {
		if r := b.step(name); r.Progress != want.progress || clock(name) != want.reasons {
			t.Errorf("%s is %s: %v", name, r.Progress, r.Reasons)
		}
	}
}

// A touch test stands although the join is refused, but not by a clock that
// can't be believed.
func TestATouchTestByADistrustedClockIsNotRecorded(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(12 * time.Minute)
	b.done("propeller-off")
	b.after(-time.Minute)
	var refusal *Refusal
	if err := b.try(Finish{Step: "join-roots", Touch: TouchWet}); !errors.As(err, &refusal) || len(recorded(err)) != 0 {
		t.Errorf("%v: recorded %v", err, recorded(err))
	}
	b.after(time.Minute)
	if err := b.try(Finish{Step: "join-roots", Touch: TouchWet}); !errors.As(err, &refusal) || len(recorded(err)) != 1 {
		t.Errorf("%v: recorded %v", err, recorded(err))
	}
}

// Nothing is recorded of an airframe before it is registered, or of nobody.
func TestWhoAndWhat(t *testing.T) {
	b := &bench{t: t, now: evening, by: "builder"}
	b.state = replay(t, nil)
	b.badly(Note{Text: "a word"}, "does not begin with an airframe")
	b = newBench(t)
	b.by = ""
	b.badly(Note{Text: "a word"}, "the name of the person is missing")
}

// With one face of two coated, time opens nothing.
func TestHalfCoated(t *testing.T) {
	b := building(t)
	b.done("coat-left")
	b.after(12 * time.Minute)
	joint, _ := b.state.Jobs[0].Joint("roots")
	if p := b.state.Phase(joint, b.now); p != HalfCoated {
		t.Errorf("roots is %s", p)
	}
	b.done("coat-right")
	joint, _ = b.state.Jobs[0].Joint("roots")
	if p := b.state.Phase(joint, b.now); p != Tacking {
		t.Errorf("roots is %s", p)
	}
}

func TestAConcessionIsNotDatedBeforeItsReading(t *testing.T) {
	b := building(t)
	b.after(time.Hour)
	b.must(readings("slot", "root=5 mm"))
	b.at(10*time.Minute, readings("slot", "tip=4 mm"))
	concede := Concede{Gate: "slot", Reason: "holds"}
	if err := b.tryAt(concede, b.now.Add(-time.Second)); err == nil || !strings.Contains(err.Error(), "before the reading that it is about, entry 4") {
		t.Errorf("conceded before it was read: %v", err)
	}
	b.must(concede)
}

func TestAJobIsNotStartedBeforeTheAirframeIsRegistered(t *testing.T) {
	b := newBench(t)
	b.after(time.Hour)
	if err := b.tryAt(startBuild(), evening.Add(-time.Second)); err == nil || !strings.Contains(err.Error(), "before the airframe was registered") {
		t.Errorf("started before it was registered: %v", err)
	}
	b.at(time.Hour, startBuild())
	b = newBench(t) // by a clock that was ahead: nothing could ever be started
	b.after(-time.Hour)
	b.must(startBuild())
}

// A job that was opened by a clock that was ahead is named, with what to do; what
// is shown as open can be done.
func TestAJobOpenedByAClockThatWasAhead(t *testing.T) {
	b := newBench(t)
	b.after(time.Hour)
	b.must(startBuild())
	opened := b.state.Size() - 1
	b.after(-time.Hour + time.Minute)
	if r := b.step("propeller-off"); r.Progress != Waiting {
		t.Errorf("propeller-off is %s", r.Progress)
	}
	b.refused(Finish{Step: "propeller-off"}, ByClock)
	if reason := b.state.Untrusted(b.now); reason == nil || reason.Remedy.Kind != ToSetClock || reason.Remedy.Entry != opened {
		t.Errorf("%+v", reason)
	}
	b.must(Undo{Position: opened}, startBuild())
	b.done("propeller-off")
}

// A measure step whose gates are met by readings of before the step it comes
// after is not done then.
func TestReadingsOfBeforeItsTurnDoNotCompleteAMeasureStep(t *testing.T) {
	measure := steps.Step{Name: "measure", Kind: steps.Measure, Gates: []string{"slot"}}
	b := working(t, one("one", plain("x"), measure))
	b.after(time.Hour)
	b.done("x")
	b.at(time.Second, readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current || b.live("measure") {
		t.Errorf("slot is %s, and measure is done: %v", g.Says().Text, b.live("measure"))
	}
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if !b.live("measure") {
		t.Error("measure is not done")
	}
}

// The time of what was taken back may have been the mistake: a reading entered
// after it counts by its position alone.
func TestTheTimeOfWhatWasTakenBackDisturbsNothing(t *testing.T) {
	b := released(t)
	b.after(time.Hour)
	b.must(ChangeEquipment{Item: "camera", Change: Moved}, Undo{Position: b.state.Size()})
	if g := b.gate("square"); g.Standing != StaleGate {
		t.Errorf("square is %s", g.Says().Text)
	}
	b.at(10*time.Minute, readings("square", "left=500 mm", "right=501 mm"))
	if g := b.gate("square"); g.Standing != Current {
		t.Errorf("square is %s", g.Says().Text)
	}
}
