package workflow

import (
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// parting is a coat on one face that is pressed and parted while it is wet.
func parting(t *testing.T) *bench {
	t.Helper()
	return working(t, steps.Stage{Name: "one", Steps: []steps.Step{
		coating("coat-one", "roots"), plain("turn"),
		{Name: "while-wet", Kind: steps.Wait, By: q("2 min"), From: "coat-one", Late: "coat-one"},
		coating("part", "roots"), joining("join", "roots")}})
}

func TestAWaitWithAnEnd(t *testing.T) {
	t.Run("kept", func(t *testing.T) {
		b := parting(t)
		b.done("coat-one", "turn")
		b.after(time.Minute)
		if r := b.step("part"); r.Progress != Ready || !r.Closes.Equal(b.now.Add(time.Minute)) {
			t.Errorf("%s, by %v: %v", r.Progress, r.Closes, r.Reasons)
		}
		timers := b.state.Timers(b.now)
		if n := len(timers); n != 2 || timers[1].Then != "part" || !timers[1].Closes.Equal(b.now.Add(time.Minute)) {
			t.Errorf("clocks %+v", timers)
		}
		b.after(time.Minute) // the last moment
		b.done("part")
		if r := b.step("while-wet"); r.Progress != Done || r.At.IsZero() {
			t.Error("the wait is not in the journal")
		}
		b.after(30 * time.Minute)
		b.done("join")
		b.after(time.Hour)
		b.progress("coat-one", Done, "")
	})
	t.Run("too late, and what it says is open again", func(t *testing.T) {
		b := parting(t)
		b.done("coat-one", "turn")
		b.after(2*time.Minute + time.Second)
		for _, name := range []string{"coat-one", "turn", "while-wet"} {
			if r := b.step(name); r.Progress == Done {
				t.Errorf("%s is %s", name, r.Progress)
			}
		}
		mustContain(t, b.refused(Finish{Step: "part"}, ByOrder), "part was to be done no later than 2 min after coat-one, and was not; go on from coat-one")
		if joint, _ := b.state.Jobs[0].Joint("roots"); b.state.Phase(joint, b.now) != Late {
			t.Errorf("the coat still counts: %s", b.state.Phase(joint, b.now))
		}
		b.done("coat-one")
		b.progress("coat-one", Done, "")
		b.progress("turn", Ready, "") // it was done before the fresh coat
		b.refused(Finish{Step: "part"}, ByOrder)
		b.done("turn", "part")
		b.after(15 * time.Minute)
		b.done("join")
	})
	t.Run("typed in later it was in time", func(t *testing.T) {
		b := parting(t)
		b.done("coat-one", "turn")
		coated := b.now
		b.after(15 * time.Minute)
		if err := b.tryAt(Finish{Step: "part"}, coated.Add(3*time.Minute)); err == nil {
			t.Error("parted too late")
		}
		if err := b.tryAt(Finish{Step: "part"}, coated.Add(2*time.Minute)); err != nil {
			t.Error(err)
		}
		b.progress("coat-one", Done, "")
	})
	t.Run("taken back, the clock follows the times left", func(t *testing.T) {
		b := parting(t)
		b.done("coat-one", "turn", "part")
		b.after(5 * time.Minute)
		b.must(Undo{Position: b.state.Size() - 1})
		b.progress("coat-one", Ready, "")
		b.done("coat-one", "turn", "part")
	})
	t.Run("begins again with a coat that lapsed", func(t *testing.T) {
		b := parting(t)
		b.done("coat-one", "turn", "part")
		b.after(45 * time.Minute)
		b.progress("coat-one", Ready, "")
		b.done("coat-one")
		b.after(time.Minute)
		b.done("turn")
		if r := b.step("part"); r.Progress != Ready || !r.Closes.Equal(b.now.Add(time.Minute)) {
			t.Errorf("%s, by %v: %v", r.Progress, r.Closes, r.Reasons)
		}
	})
}

// Press again after 20 to 30 minutes, in another stage.
func TestAWaitThatOnlySaysThatItIsTooLate(t *testing.T) {
	again := func(t *testing.T) *bench {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{coating("coat", "tab"), joining("join", "tab")}},
			steps.Stage{Name: "two", After: []string{"one"}, Steps: []steps.Step{plain("clear"),
				{Name: "grip", Kind: steps.Wait, For: q("20 min"), By: q("30 min"), From: "join", Late: steps.LateSay}, plain("press"), plain("trim")}})
		b.done("coat")
		b.after(15 * time.Minute)
		b.done("join")
		return b
	}
	b := again(t)
	b.after(5 * time.Minute)
	if timers := b.state.Timers(b.now); len(timers) != 2 || timers[0].Name != "grip" || !timers[0].Ready.Equal(b.now.Add(15*time.Minute)) || !timers[0].Closes.Equal(b.now.Add(25*time.Minute)) {
		t.Errorf("clocks %+v", timers) // also before its turn
	}
	b.done("clear")
	b.waits("grip", 15*time.Minute)
	b.after(15 * time.Minute)
	b.progress("press", Ready, "")
	b.after(10 * time.Minute)
	if late := b.state.TooLate(b.now); len(late) != 0 {
		t.Errorf("too late: %v", late)
	}
	b.after(time.Minute)
	late := b.state.TooLate(b.now)
	if len(late) != 1 {
		t.Fatalf("too late: %v", late)
	}
	mustContain(t, late[0], "press of work: it was to be done no later than 30 min after join, and is not done yet")
	b.progress("join", Done, "")
	b.done("press")
	b.after(72 * time.Hour)
	b.done("trim")
	mustContain(t, b.step("press").TooLate, "and was done later")
	if sum, err := b.state.AuditSummary(b.now); err != nil || len(sum.TooLate) != 1 {
		t.Errorf("the audit says %v, %v", sum.TooLate, err)
	}

	b = again(t)
	b.done("clear")
	b.after(25 * time.Minute)
	b.done("press")
	b.after(time.Hour)
	if late := b.state.TooLate(b.now); len(late) != 0 || b.step("press").TooLate != "" {
		t.Errorf("too late: %v", late)
	}
}

// The end of a wait counts among the deadlines that other work must fit before.
func TestNextKeepsAnEndInView(t *testing.T) {
	long := plain("sand")
	long.Hands = q("40 min")
	b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), {Name: "grip", Kind: steps.Wait, For: q("20 min"), By: q("30 min"), Late: steps.LateSay}, plain("press")}},
		steps.Stage{Name: "two", Steps: []steps.Step{long}})
	b.done("lay")
	if next := b.state.Next(b.now); next.Step != nil || next.Until.Sub(b.now) != 20*time.Minute || !next.WaitsForDue {
		t.Errorf("40 min are begun before what must be done in 30: %+v until %v", next.Step, next.Until)
	}
	b.after(21 * time.Minute)
	if next := b.state.Next(b.now); next.Step.Step.Name != "press" {
		t.Errorf("next is %s", next.Step.Step.Name)
	}
	var waited bool
	b.done("press")
	for _, e := range b.state.Entries {
		if w, ok := journal.WorkOf(e.Facts); ok && w.Step == "grip" {
			waited = true
		}
	}
	if !waited {
		t.Error("the wait is not in the journal")
	}
}

// A coat that a wait opens again before its window closes lapsed when the wait ended.
func TestACoatThatAWaitOpensAgainLapsedThen(t *testing.T) {
	b := workingOn(t, sheet(), steps.Stage{Name: "one", Steps: []steps.Step{coating("coat", "spar"),
		{Name: "tack", Kind: steps.Wait, For: q("10 min"), By: q("15 min"), Late: "coat"}, joining("join", "spar"), plain("look")}})
	b.done("coat")
	coated := b.now
	b.after(20 * time.Minute)
	timers := b.state.Timers(b.now)
	if len(timers) != 1 || timers[0].Phase != Late || !timers[0].Closes.Equal(coated.Add(15*time.Minute)) {
		t.Errorf("%+v, want a coat that lapsed at %v", timers, coated.Add(15*time.Minute))
	}
}
