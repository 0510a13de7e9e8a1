package workflow

import (
	"slices"
	"testing"
	"time"

	"fettle/steps"
)

// working is a bench of 20 °C at which a procedure of the stages was started.
func working(t *testing.T, stages ...steps.Stage) *bench {
	t.Helper()
	return workingOn(t, sheet(), stages...)
}

// workingOn is a bench that works by a sheet of its own.
func workingOn(t *testing.T, sheet *steps.Sheet, stages ...steps.Stage) *bench {
	t.Helper()
	p := &steps.Procedure{Name: "work", Title: "Work", Kind: steps.Check, Revision: 1, Stages: stages}
	b := newBench(t)
	docs := documents()
	docs.Procedures["sha256:work"], docs.Sheets["sha256:own"] = p, sheet
	b.docs = &docs
	b.state = b.replay(b.state.Entries)
	b.must(Start{Procedure: p, Digest: "sha256:work", Sheet: sheet, SheetDigest: "sha256:own"})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	return b
}

func plain(name string) steps.Step { return steps.Step{Name: name, Kind: steps.Do, Do: "do " + name} }
func wait(name, of string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Wait, For: q(of)}
}
func coating(name, joint string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Coat, Joint: joint, Adhesives: []string{"contact"}}
}
func joining(name, joint string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Join, Joint: joint}
}

// waits asserts that the step waits for so long from now.
func (b *bench) waits(step string, of time.Duration) {
	b.t.Helper()
	if r := b.step(step); r.Progress != Waiting || opens(&r).Sub(b.now) != of {
		b.t.Errorf("%s is %s, opens in %v: %v; want %v", step, r.Progress, opens(&r).Sub(b.now), r.Reasons, of)
	}
}

func TestAWaitIsWaitedAgainAfterALapse(t *testing.T) {
	for name, stages := range map[string][]steps.Stage{
		"in one stage": {{Name: "one", Steps: []steps.Step{coating("coat", "tab"), plain("roughen"), wait("air", "20 min"), joining("join", "tab")}}},
		"in two stages": {{Name: "one", Steps: []steps.Step{coating("coat", "tab"), plain("roughen")}},
			{Name: "two", After: []string{"one"}, Steps: []steps.Step{wait("air", "20 min"), joining("join", "tab")}}},
		"in two stages, after a step": {{Name: "one", Steps: []steps.Step{coating("coat", "tab")}},
			{Name: "two", After: []string{"one"}, Steps: []steps.Step{plain("roughen"), wait("air", "20 min"), joining("join", "tab")}}},
		"in three stages, after a step": {{Name: "one", Steps: []steps.Step{coating("coat", "tab")}}, {Name: "two", After: []string{"one"}},
			{Name: "three", After: []string{"two"}, Steps: []steps.Step{plain("roughen"), wait("air", "20 min"), joining("join", "tab")}}},
	} {
		t.Run(name, func(t *testing.T) {
			b := working(t, stages...)
			b.done("coat", "roughen")
			b.waits("air", 20*time.Minute)
			b.after(20 * time.Minute)
			b.done("air")
			b.after(30 * time.Minute) // the coat lapsed after 40 min
			if b.try(Finish{Step: "join"}) == nil {
				t.Error("joined with a coat that had lapsed")
			}
			b.done("coat")
			b.waits("air", 20*time.Minute)
			b.after(19 * time.Minute)
			b.refused(Finish{Step: "join"}, ByOrder)
			b.after(time.Minute)
			b.done("join")
		})
	}
}

func TestWaits(t *testing.T) {
	t.Run("from the step before, not from the opening of the job", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min")}})
		b.after(time.Hour)
		b.done("lay")
		b.waits("rest", 20*time.Minute)
		mustContain(t, b.step("rest").Reasons[0].Text, "wait 20 min")
	})
	t.Run("first of all, from the opening of the job", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{wait("rest", "20 min"), plain("lay")}})
		b.after(5 * time.Minute)
		b.waits("rest", 15*time.Minute)
	})
	t.Run("after a wait", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min"), wait("again", "30 min"), plain("lift")}})
		b.after(time.Hour)
		b.done("lay")
		b.after(25 * time.Minute)
		b.waits("again", 25*time.Minute)
		b.refused(Finish{Step: "lift"}, ByOrder)
		b.after(25 * time.Minute)
		b.done("lift")
		if r := b.step("rest"); r.Progress != Done || r.At.IsZero() {
			t.Errorf("the wait that was over is not in the journal: %+v", r)
		}
	})
	t.Run("after a stage that ends with a wait", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min")}},
			steps.Stage{Name: "two", After: []string{"one"}, Steps: []steps.Step{wait("again", "30 min")}},
			steps.Stage{Name: "three", After: []string{"one"}, Steps: []steps.Step{plain("trim")}})
		if r := b.step("trim"); !opens(&r).IsZero() {
			t.Errorf("lay is to be done, and it opens: %+v", r.Reasons)
		}
		b.done("lay")
		if r := b.step("trim"); len(r.Reasons) != 1 || r.Reasons[0].Text != "stage three comes after one: wait 20 min" || !opens(&r).Equal(b.now.Add(20*time.Minute)) {
			t.Errorf("only the wait is left before it: %+v", r.Reasons)
		}
		if r := b.step("again"); r.Progress != Waiting || !opens(&r).IsZero() {
			t.Errorf("it waits while the stage before is open: %+v", r)
		}
		again := slices.IndexFunc(b.state.Next(b.now).Waiting, func(r StepReport) bool { return r.Step.Name == "again" })
		if r := b.state.Next(b.now).Waiting[again]; len(r.Reasons) != 2 || !opens(&r).IsZero() {
			t.Errorf("beside the wait before it, it has not begun itself: %+v", r.Reasons)
		}
		b.after(25 * time.Minute)
		b.waits("again", 25*time.Minute)
	})
	t.Run("one that was entered as over stays so", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min"), plain("lift")}})
		b.done("lay")
		b.after(20 * time.Minute)
		b.done("rest")
		b.after(-time.Minute)
		if job := b.state.Jobs[0]; !b.state.met(job, job.Procedure.Stages[0], 1, b.now) {
			t.Error("it waits again")
		}
	})
	t.Run("of which the turn has not come is not entered as over", func(t *testing.T) {
		set := steps.Step{Name: "set", Kind: steps.Wait, Joint: "tab", Until: steps.UntilHandling}
		b := working(t, one("one", coating("coat", "tab"), joining("join", "tab"), plain("lay"), set, plain("lift")))
		b.done("coat")
		b.after(10 * time.Minute)
		b.done("join")
		b.after(30 * time.Minute)
		b.done("lay")
		if b.live("set") {
			t.Error("the wait after it is entered too")
		}
		b.done("lift")
		if !b.live("set") {
			t.Error("the wait before it is not entered")
		}
	})
}

// A wait on a joint says what it waits for, and cannot begin before it is joined.
func TestWaitsOnAJoint(t *testing.T) {
	on := func(name, until string) steps.Step {
		return steps.Step{Name: name, Kind: steps.Wait, Joint: "tab", Until: until}
	}
	b := working(t, one("glue", coating("coat", "tab"), joining("join", "tab")), one("look", on("handle", steps.UntilHandling), on("cured", steps.UntilCure)))
	if r := b.step("handle"); r.Progress != Waiting || !opens(&r).IsZero() {
		t.Errorf("nothing is joined, and it waits for %v", r.Reasons)
	}
	b.done("coat")
	b.after(10 * time.Minute)
	b.done("join")
	b.waits("handle", 30*time.Minute)
	mustContain(t, b.step("handle").Reasons[0].Text, "tab has no handling strength")
	b.after(30 * time.Minute)
	b.waits("cured", 23*time.Hour+30*time.Minute)
	mustContain(t, b.step("cured").Reasons[0].Text, "tab is not cured")
	b.after(24 * time.Hour)
	if len(b.state.OpenJobs(b.now)) != 0 {
		t.Error("it is cured, and the job is open")
	}
}

// What a stage waits for are the stages before it, and the conditions of its step.
func TestWhatAStepWaitsFor(t *testing.T) {
	last := plain("last")
	last.Needs = []steps.Setting{{Condition: "propeller", State: "off"}, {Condition: "ventilation", State: "on"}}
	b := working(t, one("a", plain("x")), one("b", plain("y")), steps.Stage{Name: "c", After: []string{"a", "b"}, Steps: []steps.Step{last, plain("z")}})
	text := b.refused(Finish{Step: "last"}, ByOrder, ByCondition)
	mustContain(t, text, "after a and b", "which is not confirmed yet")
	b.done("x")
	b.after(SittingLength + time.Second)
	text = b.refused(Finish{Step: "last"}, ByOrder, ByCondition, ByCondition)
	mustContain(t, text, "after b,", "ventilation: on, which is not confirmed in this sitting")
	b.done("y")
	b.must(setting("propeller", "on"), setting("ventilation", "on"))
	mustContain(t, b.refused(Finish{Step: "last"}, ByCondition), "says propeller: on")
	if r := b.step("z"); r.Progress != Later || len(r.Reasons) != 1 || r.Reasons[0].Text != "last comes before it" {
		t.Errorf("%+v", r)
	}
	b.must(setting("propeller", "off"))
	b.done("last", "z")
	if r := b.step("last"); r.Progress != Done || !r.At.Equal(b.now) || len(r.Reasons) != 0 {
		t.Errorf("%+v", r)
	}
}

// What was done counts in the newer documents only for a step of the same kind,
// and a hold only with the same lines.
func TestWhatWasDoneCountsForAStepOfTheSameKind(t *testing.T) {
	hold := func(lines ...string) steps.Step {
		return steps.Step{Name: "x", Kind: steps.Hold, Confirm: lines}
	}
	measure := steps.Step{Name: "x", Kind: steps.Measure, Gates: []string{"slot"}}
	other := plain("x")
	other.Do = "do it otherwise"
	called := func(name string, s steps.Step) steps.Step { s.Name, s.Was = name, "x"; return s }
	for name, c := range map[string]struct {
		was, is steps.Step
		done    bool
	}{
		"in other words":    {plain("x"), other, true},
		"a hold now":        {plain("x"), hold("It is safe"), false},
		"measured now":      {plain("x"), measure, false},
		"waited for now":    {plain("x"), wait("x", "20 min"), false},
		"the same lines":    {hold("It is safe"), hold("It is safe"), true},
		"of another name":   {hold("It is safe"), called("z", hold("It is safe")), true},
		"and one line more": {hold("It is safe"), called("z", hold("It is safe", "And cold")), false},
		"one line more":     {hold("It is safe"), hold("It is safe", "And cold"), false},
		"no hold any more":  {hold("It is safe"), plain("x"), false},
	} {
		t.Run(name, func(t *testing.T) {
			b := working(t, one("one", c.was, plain("y")))
			was := b.state.Jobs[0]
			if c.was.Kind == steps.Hold {
				b.must(Clear{Step: "x", Answers: []bool{true}})
			} else {
				b.done("x")
			}
			newer := *was.Procedure
			newer.Revision, newer.Stages = 2, []steps.Stage{one("one", c.is, plain("y"))}
			move := MoveJob{Job: was.ID, Procedure: &newer, Digest: "sha256:newer", Sheet: sheet(), SheetDigest: sheetSum}
			changes, err := b.state.Changes(move, b.now)
			if err != nil || slices.ContainsFunc(changes, func(c Change) bool { return c.Reopens }) == c.done {
				t.Errorf("%+v, %v", changes, err)
			}
			b.docs.Procedures["sha256:newer"] = &newer
			b.must(move)
			if r := b.step(c.is.Name); (r.Progress == Done) != c.done {
				t.Errorf("it is %s", r.Progress)
			}
			if !c.done {
				b.refused(Finish{Step: "y"}, ByOrder)
			}
		})
	}
}

// A wait of a stage before that is over gets its entry with the step that comes
// after it.
func TestAWaitOfAStageBeforeIsEntered(t *testing.T) {
	b := working(t, one("one", plain("lay"), wait("rest", "20 min")), steps.Stage{Name: "two", After: []string{"one"}, Steps: []steps.Step{plain("lift")}},
		one("beside", plain("look"), wait("settle", "20 min")))
	b.done("lay", "look")
	b.after(20 * time.Minute)
	b.done("lift")
	if !b.live("rest") || b.live("settle") {
		t.Errorf("rest is entered: %v, settle is entered: %v", b.live("rest"), b.live("settle"))
	}
}

// A reading that lives for days counts until the last of them is over.
func TestALifeInDaysEndsWithItsLastInstant(t *testing.T) {
	b := building(t)
	b.must(readings("slot", "root=4 mm", "tip=4 mm")) // valid for 30 days
	b.now = b.now.AddDate(0, 0, 30).Add(-time.Second)
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("a second before slot is %s", g.Says().Text)
	}
	b.after(time.Second)
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("after 30 days slot is %s", g.Says().Text)
	}
}
