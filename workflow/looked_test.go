package workflow

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
	"fettle/workflow/plan"
)

// tied is the bench of armed before the battery is plugged in: it is tied down for full power.
func tied(t *testing.T) *bench {
	t.Helper()
	b := armed(t)
	b.must(Undo{Position: b.state.Size() - 1})
	b.must(setting("battery", "out"), Undo{Position: b.state.Size() - 3}) // the hold
	if r := b.step("tie"); r.Progress != Ready {
		t.Fatalf("%s: %v", r.Progress, r.Reasons)
	}
	b.must(tieAnew)
	return b
}

// What was tied down in an earlier sitting, or before a flight, is looked over once more before the battery is plugged in, and only then.
func TestTiedDownInAnEarlierSitting(t *testing.T) {
	const lines = "before battery: in the lines of tie are confirmed again"
	in, out := setting("battery", "in"), setting("battery", "out")
	for what, since := range map[string]func(b *bench){
		"a night":  func(b *bench) { b.after(23 * time.Hour) },
		"a week":   func(b *bench) { b.after(7 * 24 * time.Hour) },
		"a flight": func(b *bench) { b.written(0, journal.FlightLogged{}); b.must(setting("propeller", "on"), out) },
	} {
		b := tied(t)
		b.refused(tieAnew, ByState) // in the same sitting it counts
		since(b)
		mustContain(t, b.refused(Finish{Step: "arm"}, ByHold), lines)
		b.must(tieAnew)
		b.refused(tieAnew, ByState)
		b.done("arm", "full")
		b.must(out)
		mustContain(t, strings.Join(textsOf(b.state.stands(in.Set[0], b.now)), "\n"), lines)
		b.done("disarm")
		b.refused(tieAnew, ByState) // the job is over: nothing is plugged in for it
		if t.Failed() {
			t.Fatalf("after %s", what)
		}
	}

	// Once it was plugged in and pulled it may be untied, in the same sitting too: a bare word that it is in again counts for nothing.
	b := tied(t)
	b.done("arm")
	b.must(out, in)
	mustContain(t, b.refused(Finish{Step: "full"}, ByCondition), "battery: out, but the journal says battery: in, and no hold was cleared again for it")
	b.refused(tieAnew, ByState) // while the plug is in
	b.must(out, tieAnew, in)
	b.done("full")

	// Lines that are confirmed again and taken back count no more, nor do those before them.
	b = tied(t)
	b.after(23 * time.Hour)
	b.must(tieAnew)
	b.must(Undo{Position: b.state.Size() - 1})
	mustContain(t, b.refused(Finish{Step: "arm"}, ByHold), lines)
	b.must(tieAnew)
	b.done("arm")
}

func textsOf(all []Reason) (texts []string) {
	for _, r := range all {
		texts = append(texts, r.Text)
	}
	return texts
}

// A plan ties it down in the sitting in which it is plugged in: once more, where that was done in another one, or where this one leaves
// no time for what it is for.
func TestSchedulePlugsInWhatIsTiedDown(t *testing.T) {
	b := tied(t)
	fresh := *b.state
	b.must(Undo{Position: b.state.Size() - 1})
	undone := *b.state
	b.must(tieAnew)
	b.done("arm")
	b.must(setting("battery", "out"))
	for _, test := range []struct {
		name     string
		s        *State
		after    int // minutes
		sittings Hours
		want     string
	}{
		{"it goes on", &fresh, 1, Hours{Sittings: open(1, 60)}, "arm 1, full 2, disarm 3, | ends 4"},
		{"no time is left", &fresh, 1, Hours{Sittings: open(1, 3, 1440, 1500)}, "tieready 1440, arm 1441, full 1442, disarm 1443, | ends 1444"},
		{"a day later", &fresh, 1440, Hours{Sittings: open(1440, 1500)}, "tieready 1440, arm 1441, full 1442, disarm 1443, | ends 1444"},
		{"in another sitting of the day", &fresh, 100, Hours{Sittings: open(200, 260)}, "tieready 200, arm 201, full 202, disarm 203, | ends 204"},
		{"it counts till it is done with", &fresh, 350, Hours{Sittings: open(350, 420)}, "arm 350, full 351, disarm 352, | ends 353"},
		{"it counts no more before that", &fresh, 358, Hours{Sittings: open(358, 420)}, "tieready 358, arm 359, full 360, disarm 361, | ends 362"},
		{"it is not tied down", &undone, 1, Hours{Sittings: open(1, 2, 1440, 1500)}, "tie 1440, arm 1441, full 1442, disarm 1443, | ends 1444"},
		{"it was plugged in", b.state, 1, Hours{Sittings: open(1, 60)}, "tieready 1, armready 2, full 3, disarm 4, | ends 5"},
		{"yesterday", b.state, 1440, Hours{Sittings: open(1440, 1500)}, "tieready 1440, armready 1441, full 1442, disarm 1443, | ends 1444"},
	} {
		p, err := Schedule(t.Context(), []*State{test.s}, evening.Add(minutesOf(test.after)), test.sittings, plan.Options{})
		if got := says(p); err != nil || got != test.want {
			t.Errorf("%s: %s, %v; want %s", test.name, got, err, test.want)
		}
	}
}

// underPower is a bench where a gate was measured at full power, tied down, in a job that is complete, and is to be measured again. Another
// job is open that has a hold of its own before it plugs in.
func underPower(t *testing.T) *bench {
	t.Helper()
	on, in, out := setting("propeller", "on"), setting("battery", "in"), setting("battery", "out")
	kit := sheet()
	kit.Conditions[0].Guarded = "on"
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	kit.Gates[1].Needs = append(slices.Clone(on.Set), in.Set...) // square
	tie, arm, disarm := plain("tie"), plain("arm"), plain("disarm")
	tie.Kind, tie.Needs, tie.Confirm = steps.Hold, append(slices.Clone(on.Set), out.Set...), []string{"A hard pull moved nothing"}
	arm.Needs, arm.Sets, disarm.Sets = tie.Needs, in.Set, out.Set
	full := steps.Step{Name: "full", Kind: steps.Measure, Gates: []string{"square"}, Needs: kit.Gates[1].Needs}
	b := workingOn(t, kit, one("power", tie, arm, full, disarm))
	b.must(on, out, tieAnew)
	b.done("arm")
	b.must(readings("square", "left=300 mm", "right=300 mm"))
	b.done("disarm")

	knock, radio, plug, try := plain("knock"), plain("radio"), plain("plug"), plain("try")
	knock.Disturbs = []string{"pod"}
	radio.Kind, radio.Needs, radio.Confirm = steps.Hold, out.Set, []string{"It shows the name"}
	plug.Needs, plug.Sets, try.Needs = out.Set, in.Set, in.Set
	look := steps.Step{Name: "fly", Kind: steps.Release, Needs: out.Set}
	p := &steps.Procedure{Name: "second", Title: "Second", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("look", knock, radio, plug, try), one("fly", look)}}
	b.docs.Procedures["sha256:second"] = p
	b.must(Start{Procedure: p, Digest: "sha256:second", Sheet: kit, SheetDigest: "sha256:own"})
	b.done("knock")
	b.must(Clear{Step: "radio", Answers: []bool{true}})
	return b
}

// What is measured at full power is tied down for that by the hold of the job that measures it, also where that job is complete and another
// one plugs in: after a hard landing a check before a flight asked for its own hold alone, and a tie of before the landing was enough.
func TestFullPowerIsTiedDownWhateverPlugsIn(t *testing.T) {
	in, out := setting("battery", "in"), setting("battery", "out")
	full := readings("square", "left=300 mm", "right=300 mm")
	b := underPower(t)
	refusedBy := func(want ...string) {
		t.Helper()
		var got []string
		var refusal *Refusal
		if err := b.try(full); !errors.As(err, &refusal) {
			t.Fatalf("%v", err)
		}
		for _, r := range refusal.Reasons {
			got = append(got, fmt.Sprintf("%s %s%s", r.Remedy.Kind, r.Remedy.Name, r.Remedy.Setting))
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	refusedBy("clear work/tie: ", "set-condition battery: in")
	b.must(Finish{Step: "plug"}) // by the other job, which knows of no tie
	refusedBy("set-condition battery: out")
	b.must(out)
	refusedBy("clear work/tie: ", "clear second/radio: ")
	b.must(Clear{Step: "second/radio", Answers: []bool{true}})
	refusedBy("clear work/tie: ", "set-condition battery: in")
	b.must(Clear{Step: "work/tie", Answers: []bool{true}}) // its job is complete
	b.refused(Clear{Step: "work/tie", Answers: []bool{true}}, ByState)
	b.must(in, full)
	b.must(out)
	b.refused(Clear{Step: "work/tie", Answers: []bool{true}}, ByState) // nothing is measured again
}

// A release leads to what is measured at full power by what comes before that, and never by pulling what was plugged in for it.
func TestReleaseLeadsToFullPower(t *testing.T) {
	b := underPower(t)
	b.done("plug", "try")
	b.must(setting("battery", "out"))
	leads := func(want ...string) {
		t.Helper()
		var got []string
		for _, r := range b.step("fly").Reasons {
			if r.Because == ByGate || r.Because == ByCondition {
				got = append(got, fmt.Sprintf("%s %s%s %s", r.Remedy.Kind, r.Remedy.Name, r.Remedy.Setting, r.Remedy.Gate))
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	leads("measure :  slot", "clear work/tie:  square")
	b.must(Clear{Step: "work/tie", Answers: []bool{true}})
	b.must(Clear{Step: "second/radio", Answers: []bool{true}})
	leads("measure :  slot", "set-condition battery: in square")
	b.must(setting("battery", "in"))
	leads("measure :  square", "set-condition battery: out ", "measure :  slot")
	b.must(readings("square", "left=300 mm", "right=300 mm"))
	leads("set-condition battery: out ", "measure :  slot")
}

// A battery that is said to be in, beside a propeller that is on and before the hold for that is cleared, is said at once to be pulled, in
// whatever step the work is; on a bare shaft, by the step that plugs it in, and where no open job asks for such a hold, it is not.
func TestAPlugThatNothingWasLookedOverForIsSaidAtOnce(t *testing.T) {
	told := func(b *bench, when string, want int) {
		t.Helper()
		g := b.state.Next(b.now)
		if got := b.state.Left(g, b.now); len(got) != want {
			t.Errorf("%s: %v is said, want %d", when, textsOf(got), want)
		}
		if got := b.state.LeftBy(g, b.now); len(got) < want {
			t.Errorf("%s: %v is said to whoever goes on, want %d", when, textsOf(got), want)
		}
	}
	b := armed(t)
	told(b, "armed by its step", 0)
	b.must(setting("battery", "in"))
	told(b, "said to be in once more", 0)
	b.must(setting("battery", "out"), setting("battery", "in"))
	told(b, "in anew, not tied down", 1)
	b.must(setting("battery", "out"), Clear{Step: "tie", Answers: []bool{true}}, setting("battery", "in"))
	told(b, "tied down anew", 0)
	b.must(setting("battery", "out"), setting("propeller", "off"), setting("battery", "in"))
	told(b, "on a bare shaft", 0)

	b = armed(t)
	b.must(Undo{Position: b.state.Size() - 1}, Undo{Position: b.state.Size() - 2}, setting("battery", "out"), setting("propeller", "on"), setting("battery", "in"))
	if _, done := b.state.Jobs[0].done["tie"]; done {
		t.Fatal("it is tied down")
	}
	told(b, "before it was ever tied down", 1)

	b = armed(t)
	b.done("full", "disarm")
	b.must(setting("battery", "in"))
	told(b, "with the work done", 0)
}
