package workflow

import (
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/workflow/journal"
)

// hot is an adhesive that grips in seconds (common practice, no source).
func hot() steps.Adhesive {
	return steps.Adhesive{
		Name: "hot", Title: "Hot melt", From: q("0 s"), To: q("25 s"), At: q("20 °C"),
		Handling: q("5 min"), Cure: q("1 h"), Coldest: q("10 °C"), Warmest: q("30 °C"),
		Times: bond.Times{To: 25 * time.Second, Handling: 5 * time.Minute, Cure: time.Hour, At: 20},
	}
}

func gluingSheet() *steps.Sheet {
	s := sheet()
	s.Adhesives = append(s.Adhesives, hot())
	return s
}

func glue(name, joint string, with ...string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Glue, Joint: joint, Adhesives: with, Load: true, Hands: q("8 min"), Disturbs: []string{"tail"},
		Sets: []steps.Setting{{Condition: "propeller", State: "off"}}}
}

// gluing is a bench with one step of glue, and a step after it.
func gluing(t *testing.T, with ...string) *bench {
	t.Helper()
	return workingOn(t, gluingSheet(), steps.Stage{Name: "one", Steps: []steps.Step{glue("lay", "spar", with...), plain("trim")}})
}

// kinds are the kinds of the last entries.
func (b *bench) kinds(n int) []string {
	var all []string
	for _, e := range b.state.Entries[len(b.state.Entries)-n:] {
		all = append(all, e.Facts.Kind())
	}
	return all
}

func (b *bench) progress(step string, want Progress, act Act) {
	b.t.Helper()
	if r := b.step(step); r.Progress != want || r.Act != act {
		b.t.Fatalf("%s is %s, act %q (%v), want %s, %q", step, r.Progress, r.Act, r.Reasons, want, act)
	}
}

func TestGlueThatGripsIsOneAct(t *testing.T) {
	b := gluing(t, "hot")
	b.progress("lay", Ready, "")
	b.after(10 * time.Minute) // as long as it may take: each bead is pressed as it is laid
	b.done("lay")
	if k := b.kinds(2); k[0] != "Coated" || k[1] != "Joined" {
		t.Fatalf("recorded %v", k)
	}
	b.progress("lay", Done, "")
	joint, _ := b.state.Jobs[0].Joint("spar")
	if want := b.now.Add(5 * time.Minute); !joint.Handles().Equal(want) || joint.Doubted() || !joint.Load {
		t.Errorf("handling strength at %v, want %v; in doubt: %v", joint.Handles(), want, joint.Doubted())
	}
	if b.state.Holds("propeller", b.now) != "off" {
		t.Error("what the step sets is not set")
	}
	b.done("trim")

	t.Run("and both are taken back with the coat", func(t *testing.T) {
		b := gluing(t, "hot")
		b.done("lay", "trim")
		coat := b.state.Size() - 3
		b.must(Undo{Position: coat})
		if f := b.state.Entries[b.state.Size()-1].Facts.(journal.Undone); len(f.TakesBack) != 3 {
			t.Errorf("took back %v", f.TakesBack)
		}
		b.progress("lay", Ready, "")
		b.done("lay")
	})
	t.Run("or the join alone, while it may still be pressed", func(t *testing.T) {
		b := gluing(t, "hot")
		b.done("lay")
		b.must(Undo{Position: b.state.Size() - 1})
		b.progress("lay", Ready, ToPress)
		b.after(10 * time.Second)
		b.done("lay")
		if k := b.kinds(2); k[0] != "Undone" || k[1] != "Joined" {
			t.Fatalf("recorded %v", k)
		}
		b.must(Undo{Position: b.state.Size() - 1})
		b.after(20 * time.Second)
		b.progress("lay", Ready, "") // it has set: it is glued again
		b.done("lay")
		if k := b.kinds(2); k[0] != "Coated" || k[1] != "Joined" {
			t.Fatalf("recorded %v", k)
		}
	})
	t.Run("and has no beginning", func(t *testing.T) {
		b := gluing(t, "hot")
		b.after(10 * time.Minute)
		if err := b.try(Finish{Step: "lay", Began: b.now.Add(-time.Minute)}); err == nil {
			t.Error("each bead is pressed at once, and it takes a beginning")
		}
	})
	t.Run("too cold it is refused", func(t *testing.T) {
		b := gluing(t, "hot")
		b.must(ReadBench{Temperature: q("5 °C")})
		b.refused(Finish{Step: "lay"}, ByClimate)
	})
}

func TestMixedGlueCountsFromMixing(t *testing.T) {
	b := gluing(t, "epoxy")
	b.after(time.Hour)
	mustContain(t, b.refused(Finish{Step: "lay", Mixed: b.now.Add(-26 * time.Minute)}, ByLapse), "mixed too long ago", "within 25 min")
	b.must(Finish{Step: "lay", Mixed: b.now.Add(-25 * time.Minute)})
	b.progress("lay", Done, "")

	// A warmer bench that was typed in later: it had set before it was joined.
	b.tryAt(ReadBench{Temperature: q("28 °C")}, b.now.Add(-24*time.Minute))
	if r := b.step("lay"); r.Progress == Done || r.Reopened == "" {
		t.Errorf("%s, %q", r.Progress, r.Reopened)
	}
	b.refused(Finish{Step: "trim"}, ByOrder)
	b.must(ReadBench{Temperature: q("20 °C")}, Finish{Step: "lay", Mixed: b.now.Add(-9 * time.Minute)})
	b.progress("lay", Done, "")
}

func TestGlueThatDriesIsTwoActs(t *testing.T) {
	b := gluing(t, "contact")
	b.progress("lay", Ready, ToCoat)
	b.after(8 * time.Minute)
	b.done("lay")
	if k := b.kinds(1); k[0] != "Coated" {
		t.Fatalf("recorded %v", k)
	}
	if b.state.Holds("propeller", b.now) == "off" {
		t.Error("what the step sets is set before it is done")
	}
	// Between coat and press it is open, and its joint has a running window.
	b.progress("lay", Waiting, ToPress)
	b.waits("lay", 10*time.Minute)
	b.refused(Finish{Step: "lay"}, ByDrying)
	b.refused(Finish{Step: "trim"}, ByOrder)
	if timers := b.state.Timers(b.now); len(timers) != 1 || timers[0].Phase != Tacking {
		t.Errorf("clocks %+v", timers)
	}
	b.after(10 * time.Minute)
	b.progress("lay", Ready, ToPress)
	if r := b.step("lay"); !r.Closes.Equal(b.now.Add(22 * time.Minute)) {
		t.Errorf("closes %v", r.Closes)
	}
	b.refused(Finish{Step: "lay", Touch: TouchWet}, ByTouch)
	if err := b.try(Finish{Step: "lay", Began: b.now, Touch: TouchDry}); err == nil {
		t.Error("a join takes no beginning")
	}
	b.must(Finish{Step: "lay", Touch: TouchDry})
	b.progress("lay", Done, "")
	b.must(Undo{Position: b.state.Size() - 1})
	b.progress("lay", Ready, ToPress)
	b.done("lay", "trim")
}

func TestGlueThatLapsedIsNotTakenForPressed(t *testing.T) {
	b := gluing(t, "contact")
	b.after(8 * time.Minute)
	b.done("lay")
	b.after(40 * time.Minute)
	b.progress("lay", Ready, ToRecoat)
	if r := b.step("lay"); r.Reopened == "" {
		t.Error("nothing says that it lapsed")
	}
	mustContain(t, b.refused(Finish{Step: "lay"}, ByLapse), "lapsed", string(ToSayBegan))
	b.refused(Finish{Step: "lay", Touch: TouchDry}, ByLapse)
	b.must(Finish{Step: "lay", Began: b.now.Add(-5 * time.Minute)})
	b.progress("lay", Waiting, ToPress)
	b.after(10 * time.Minute)
	b.done("lay")
	// The first coat is taken back: the join rests on the second.
	var first int64
	for _, e := range b.state.Entries {
		if _, ok := e.Facts.(journal.Coated); ok {
			first = e.Position
			break
		}
	}
	b.must(Undo{Position: first})
	b.progress("lay", Done, "")
}

func TestOneAdhesiveOfSeveral(t *testing.T) {
	b := workingOn(t, gluingSheet(), steps.Stage{Name: "one", Steps: []steps.Step{
		{Name: "left", Kind: steps.Coat, Joint: "tab", Adhesives: []string{"contact", "hot"}, Hands: q("3 min")},
		{Name: "right", Kind: steps.Coat, Joint: "tab", Adhesives: []string{"contact", "hot"}, Hands: q("3 min")},
		joining("join", "tab"),
		glue("lay", "spar", "contact", "epoxy"), plain("trim")}})
	text := b.refused(Finish{Step: "left"}, ByState)
	mustContain(t, text, "it may be contact or hot: say which", string(ToNameAdhesive))
	if err := b.try(Finish{Step: "left", With: "epoxy"}); err == nil {
		t.Error("coated with an adhesive that is not of the list")
	}
	if err := b.try(Finish{Step: "trim", With: "contact"}); err == nil {
		t.Error("a plain step takes an adhesive")
	}
	// One is too cold for: it is refused with the reason, and the other may be used.
	b.must(ReadBench{Temperature: q("7 °C")})
	b.progress("left", Ready, "")
	mustContain(t, b.refused(Finish{Step: "left", With: "hot"}, ByClimate), "hot must not be used below 10 °C")
	b.must(ReadBench{Temperature: q("3 °C")})
	if r := b.step("left"); r.Progress != Waiting || len(r.Reasons) != 2 {
		t.Errorf("no adhesive may be used: %s %v", r.Progress, r.Reasons)
	}
	b.must(ReadBench{Temperature: q("20 °C")}, Finish{Step: "left", With: "contact"})
	// The joint keeps it for its other coats.
	mustContain(t, b.refused(Finish{Step: "right", With: "hot"}, ByState), "joint tab is coated with contact already")
	b.after(2 * time.Minute)
	b.done("right")
	b.after(10 * time.Minute)
	b.done("join")
	if joint, _ := b.state.Jobs[0].Joint("tab"); joint.Adhesive.Name != "contact" {
		t.Errorf("joined with %s", joint.Adhesive.Name)
	}
	// The act goes by the one that is named; after a lapse it is asked anew.
	b.progress("lay", Ready, "")
	b.must(Finish{Step: "lay", With: "contact"})
	b.progress("lay", Waiting, ToPress)
	b.after(time.Hour)
	b.progress("lay", Ready, ToRecoat)
	b.refused(Finish{Step: "lay"}, ByState)
	b.refused(Finish{Step: "lay", With: "contact"}, ByLapse)
	b.must(Finish{Step: "lay", With: "epoxy", Mixed: b.now.Add(-10 * time.Minute)})
	b.progress("lay", Done, "")
	if joint, _ := b.state.Jobs[0].Joint("spar"); joint.Adhesive.Name != "epoxy" || !joint.Handles().Equal(b.now.Add(8*time.Hour)) {
		t.Errorf("%s, handled at %v", joint.Adhesive.Name, joint.Handles())
	}
	b.done("trim")
}

// partly is a step of glue after which more parts of the joint follow.
func partly(s steps.Step) steps.Step {
	s.More = true
	return s
}

func TestPartsOfAJoint(t *testing.T) {
	t.Run("each with its own coats", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{
			coating("coat-lower", "skin"), partly(joining("join-lower", "skin")), plain("turn"),
			coating("coat-upper", "skin"), joining("join-upper", "skin"),
			{Name: "rest", Kind: steps.Wait, Joint: "skin", Until: steps.UntilHandling}, plain("trim")}})
		b.done("coat-lower")
		b.after(15 * time.Minute)
		b.done("join-lower", "turn")
		b.after(time.Hour)
		b.done("coat-upper") // which leaves the first part alone
		b.progress("join-lower", Done, "")
		b.after(50 * time.Minute) // too late
		b.progress("coat-upper", Ready, "")
		b.progress("join-lower", Done, "")
		b.progress("turn", Done, "")
		b.done("coat-upper")
		b.after(10 * time.Minute)
		b.done("join-upper")
		b.waits("rest", 30*time.Minute) // from the last join
		if timers := b.state.Timers(b.now); len(timers) != 1 || !timers[0].Handles.Equal(b.now.Add(30*time.Minute)) {
			t.Errorf("clocks %+v", timers)
		}
		if parts := b.state.Jobs[0].Parts("skin"); len(parts) != 2 || parts[0].Joined.Equal(parts[1].Joined) {
			t.Errorf("%d parts", len(parts))
		}
		// The coat of the first part is taken back, and all that came after it.
		b.after(time.Hour)
		b.must(Undo{Position: 4, Reason: "mistaken"})
		b.progress("coat-lower", Ready, "")
		b.progress("coat-upper", Later, "")
	})
	t.Run("with the coats of the part before", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{
			coating("coat", "skin"), partly(joining("join-root", "skin")), plain("roll"), joining("join-tip", "skin"), plain("trim")}})
		b.done("coat")
		b.after(15 * time.Minute)
		b.done("join-root", "roll")
		b.after(20 * time.Minute)
		if r := b.step("join-tip"); r.Progress != Ready || !r.Closes.Equal(b.now.Add(5*time.Minute)) {
			t.Errorf("%s, closes %v", r.Progress, r.Closes)
		}
		b.after(6 * time.Minute) // what is left of the coat has lapsed; what is joined stays joined
		b.progress("coat", Ready, "")
		b.refused(Finish{Step: "join-tip"}, ByOrder)
		b.done("coat")
		b.progress("join-root", Done, "")
		b.after(10 * time.Minute)
		b.done("join-tip", "trim")
	})
	t.Run("a later part that is not joined holds a wait back", func(t *testing.T) {
		b := workingOn(t, gluingSheet(), steps.Stage{Name: "one", Steps: []steps.Step{
			partly(glue("lay-root", "rod", "hot")), plain("turn"), glue("lay-tip", "rod", "hot"), {Name: "cured", Kind: steps.Wait, Joint: "rod", Until: steps.UntilCure}, plain("trim")}})
		b.done("lay-root")
		b.after(2 * time.Hour)
		b.done("turn")
		b.progress("cured", Later, "")
		b.done("lay-tip")
		b.waits("cured", time.Hour)
		joint, _ := b.state.Jobs[0].Joint("rod")
		if !joint.Cures().Equal(b.now.Add(time.Hour)) {
			t.Errorf("cures %v", joint.Cures())
		}
		b.must(Undo{Position: b.state.Size() - 1}) // the join of the last part alone
		b.progress("lay-root", Done, "")
		b.progress("lay-tip", Ready, ToPress)
		b.progress("cured", Later, "")
	})
}
