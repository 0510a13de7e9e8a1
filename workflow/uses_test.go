package workflow

import (
	"errors"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// carefully is a bench with the build open on a sheet with holds.
func carefully(t *testing.T) *bench {
	t.Helper()
	b := newBench(t)
	b.must(Start{Procedure: build(), Digest: buildSum, Sheet: careful(), SheetDigest: careSum})
	b.must(ReadBench{Temperature: q("20 °C")})
	return b
}

func confirming(of string, n int) ClearUse {
	return ClearUse{Of: of, Answers: []bool{true, true, true}[:n]}
}

// A coat, the join after it and a step with a tool wait for the hold of what they
// use, in whatever stage, and its needs are asked too.
func TestNothingIsUsedBeforeItsHoldIsCleared(t *testing.T) {
	b := carefully(t)
	text := b.refused(Finish{Step: "coat-left"}, ByCondition, ByHold)
	mustContain(t, text, "it needs ventilation: on", "the hold of contact has not been cleared in this sitting", "[clear-use contact")
	b.must(setting("ventilation", "on"))
	b.refused(Finish{Step: "coat-left"}, ByHold)
	mustContain(t, b.refused(ClearUse{Of: "contact", Answers: []bool{true, false}}, ByHold), "line 2 is not confirmed: Gloves are on")
	b.refused(ClearUse{Of: "contact", Answers: []bool{true, true}, Lines: []string{"No flame", "Gloves off"}}, ByHold)
	b.must(confirming("contact", 2))
	b.done("coat-left")
	b.must(setting("ventilation", "off"))
	b.refused(Finish{Step: "coat-right"}, ByCondition) // the step itself needs nothing
	b.must(setting("ventilation", "on"))
	b.done("propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.refused(Finish{Step: "cut-pod"}, ByHold)
	b.must(confirming("knife", 1))
	b.done("cut-pod", "coat-right")
	b.after(12 * time.Minute)
	b.done("join-roots")
	// The same in another job, without asking again in this sitting.
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: careful(), SheetDigest: careSum, Zone: "wing"})
	b.done("lay-skin", "coat-skin")
}

// A step keeps its place while its hold is to be cleared, and an open joint its
// deadline.
func TestNextClearsTheHoldOfTheStepAtHand(t *testing.T) {
	b := carefully(t)
	b.must(setting("ventilation", "on"))
	next := func(step string, clears bool) Suggestion {
		t.Helper()
		n := b.state.Next(b.now)
		if n.Step == nil || n.Step.Step.Name != step || clears != (len(n.Resolve) == 1 && n.Resolve[0].Remedy.Kind == ToClearUse) || !clears && len(n.Resolve) > 0 {
			t.Errorf("next is %+v, want %s", n, step)
		}
		return n
	}
	b.done("propeller-off")
	next("blade-care", false)
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	next("cut-pod", true)
	b.must(confirming("contact", 2))
	cleared := b.state.Size() - 1
	b.done("coat-left", "coat-right")
	b.must(Undo{Position: cleared})
	b.after(12 * time.Minute)
	if n := next("join-roots", true); n.Step != nil && n.Step.Closes.IsZero() {
		t.Error("the joint is open, and nothing is said of when it closes")
	}
	b.must(confirming("contact", 2))
	next("join-roots", false)
}

// A hold lapses with the sitting, by the time of what is done with it; with a
// crash; with other lines; and when it is taken back.
func TestAHoldOfAUseLapses(t *testing.T) {
	begin := func() *bench {
		b := carefully(t)
		b.must(setting("ventilation", "on"), confirming("contact", 2))
		return b
	}
	b := begin()
	b.after(SittingLength)
	b.done("coat-left")
	b.after(time.Second)
	b.refused(Finish{Step: "coat-right"}, ByCondition, ByHold, ByClimate)

	b = begin()
	b.after(time.Minute)
	var refusal *Refusal
	if err := b.tryAt(Finish{Step: "coat-left"}, evening.Add(-time.Second)); !errors.As(err, &refusal) {
		t.Error("coated before the hold was cleared")
	} else if r := refusal.Reasons[1]; r.Text != "the hold of contact has not been cleared in the sitting of that time" || !r.Remedy.Then.Equal(evening.Add(-time.Second)) {
		t.Errorf("%+v", refusal.Reasons)
	}
	b.must(Undo{Position: b.state.Size() - 1})
	b.refused(Finish{Step: "coat-left"}, ByHold)

	b = begin()
	b.must(LogFlight{Landing: Soft})
	b.after(time.Minute)
	b.refused(Finish{Step: "coat-left"}, ByCondition, ByHold)

	b = begin()
	other := careful()
	other.Adhesives[0].Hold = []string{"No flame", "Gloves are on, both"}
	docs := documents()
	docs.Sheets["sha256:other"] = other
	b.docs = &docs
	b.must(MoveJob{Job: b.state.Jobs[0].ID, Procedure: build(), Digest: buildSum, Sheet: other, SheetDigest: "sha256:other"})
	b.refused(Finish{Step: "coat-left"}, ByHold)
	if err := b.try(ClearUse{Of: "contact", Answers: []bool{true, true}, Lines: []string{"No flame", "Gloves are on"}}); err == nil {
		t.Error("cleared with the lines of before")
	}
}

// A tool that must be measured is used with a reading of this sitting, but for the
// step that gets it ready and the one that measures.
func TestAToolIsMeasuredBeforeItIsUsed(t *testing.T) {
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}})
	heat := in.Gates[0]
	heat.Name, heat.Of, heat.Work, heat.Validity = "heat", nil, true, steps.Validity{}
	in.Gates = append(in.Gates, heat)
	in.Tools = []steps.Tool{{Name: "iron", Title: "An iron", Measure: []string{"heat"},
		Care: steps.Care{Hold: []string{"Its stand is firm"}, Needs: []steps.Setting{{Condition: "iron", State: "hot"}}}}}
	warm, read, iron := plain("warm"), steps.Step{Name: "read", Kind: steps.Measure, Gates: []string{"heat"}}, plain("iron-it")
	warm.Sets = []steps.Setting{{Condition: "iron", State: "hot"}}
	warm.Tools, read.Tools, iron.Tools = []string{"iron"}, []string{"iron"}, []string{"iron"}
	work := &steps.Procedure{Name: "work", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{
		{Name: "one", Steps: []steps.Step{warm, read}}, {Name: "two", Steps: []steps.Step{iron}}}}
	docs := documents()
	docs.Sheets["sha256:iron"], docs.Procedures["sha256:work"] = in, work
	b := newBench(t)
	b.docs = &docs
	b.must(Start{Procedure: work, Digest: "sha256:work", Sheet: in, SheetDigest: "sha256:iron"})
	b.refused(Finish{Step: "warm"}, ByHold)
	b.refused(Finish{Step: "iron-it"}, ByCondition, ByHold, ByGate)
	b.must(confirming("iron", 1))
	b.done("warm")
	text := b.refused(Finish{Step: "iron-it"}, ByGate)
	mustContain(t, text, "iron is used once heat has passed in this sitting", "[measure heat")
	b.must(readings("heat", "root=4 mm", "tip=4 mm"))
	if b.step("read").Progress != Done {
		t.Error("read is not done")
	}
	b.after(SittingLength + time.Second)
	b.must(confirming("iron", 1))
	mustContain(t, b.refused(Finish{Step: "iron-it"}, ByGate), "not in this sitting")
	b.must(readings("heat", "root=5 mm", "tip=4 mm"))
	mustContain(t, b.refused(Finish{Step: "iron-it"}, ByGate), "[rework heat")
	b.must(Rework{Gate: "heat"}, readings("heat", "root=4 mm", "tip=4 mm"))
	b.done("iron-it")
}

// Of several adhesives the hold of the one that is named is asked for, and a join
// asks for the one that its joint has.
func TestOneOfSeveralAdhesivesIsAskedForItsHold(t *testing.T) {
	coat := coating("coat", "tab")
	coat.Adhesives = []string{"contact", "epoxy"}
	work := &steps.Procedure{Name: "work", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{one("one", coat, joining("join", "tab"))}}
	docs := documents()
	docs.Procedures["sha256:work"] = work
	b := newBench(t)
	b.docs = &docs
	b.must(Start{Procedure: work, Digest: "sha256:work", Sheet: careful(), SheetDigest: careSum}, ReadBench{Temperature: q("20 °C")})
	mustContain(t, b.refused(Finish{Step: "coat"}, ByCondition, ByHold, ByHold, ByState), "say which") // all at once
	b.must(confirming("epoxy", 1))
	b.refused(Finish{Step: "coat", With: "contact"}, ByCondition, ByHold)
	b.must(Finish{Step: "coat", With: "epoxy"})
	b.must(Undo{Position: b.state.Size() - 2})
	b.refused(Finish{Step: "join"}, ByHold)
	b.must(confirming("epoxy", 1))
	b.done("join")
}

// A step that measures what the job made stale asks for its tools before each
// reading: their holds, and their own gates.
func TestStaleGatesAreReadWithTheToolsReady(t *testing.T) {
	in := careful()
	heat := in.Gates[0]
	heat.Name, heat.Of, heat.Points, heat.Work, heat.Validity = "heat", nil, nil, true, steps.Validity{}
	in.Gates = append(in.Gates, heat)
	in.Tools[0].Measure = []string{"heat"}
	sand := plain("sand")
	sand.Disturbs = []string{"wing"}
	b := workingOn(t, in, steps.Stage{Name: "one", Steps: []steps.Step{sand, {Name: "again", Kind: steps.Measure, Gates: []string{steps.Stale}, Tools: []string{"knife"}}}})
	b.done("sand")
	slot := readings("slot", "root=4 mm", "tip=4 mm")
	mustContain(t, b.refused(slot, ByHold, ByGate), "the hold of knife has not been cleared", "knife is used once heat has passed")
	b.must(confirming("knife", 1))
	b.refused(slot, ByGate)
	b.must(readings("heat", "4 mm"), slot)
}

func TestUsesThatHaveNoHold(t *testing.T) {
	b := building(t)
	for _, of := range []string{"contact", "gum"} {
		if err := b.try(ClearUse{Of: of}); err == nil {
			t.Errorf("the hold of %s was cleared", of)
		}
	}
	b = carefully(t)
	b.must(setting("ventilation", "on"), confirming("contact", 2))
	if b.state.UsedLately("contact", b.now) {
		t.Error("it was used before any step")
	}
	b.done("coat-left")
	if !b.state.UsedLately("contact", b.now.Add(SittingLength)) || b.state.UsedLately("contact", b.now.Add(SittingLength+time.Second)) {
		t.Error("it was used in this sitting, and in no later one")
	}
	var cleared journal.UseCleared
	for _, e := range b.state.Entries {
		if f, ok := e.Facts.(journal.UseCleared); ok {
			cleared = f
		}
	}
	if cleared.Of != "contact" || len(cleared.Lines) != 2 {
		t.Errorf("kept: %+v", cleared)
	}
}

// A gate of a tool that only aircraft with an option have is asked for on one that
// was given the option later.
func TestAToolIsMeasuredForAnOptionChosenLater(t *testing.T) {
	in := sheet()
	heat := in.Gates[0]
	heat.Name, heat.Of, heat.Work, heat.Validity = "heat", nil, true, steps.Validity{}
	heat.Where = steps.Where{With: [][]string{{"rudder"}}}
	in.Gates = append(in.Gates, heat)
	in.Tools = []steps.Tool{{Name: "iron", Title: "An iron", Measure: []string{"heat"}}}
	ask, iron := steps.Step{Name: "ask", Kind: steps.Choose, Choose: "rudder"}, plain("iron-it")
	iron.Tools = []string{"iron"}
	work := &steps.Procedure{Name: "work", Kind: steps.Build, Revision: 1, Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{ask, iron}}}}
	docs := documents()
	docs.Sheets["sha256:iron"], docs.Procedures["sha256:work"] = in, work
	b := newBench(t)
	b.docs = &docs
	b.must(Start{Procedure: work, Digest: "sha256:work", Sheet: in, SheetDigest: "sha256:iron"}, Choose{Answer: "rudder"})
	mustContain(t, b.refused(Finish{Step: "iron-it"}, ByGate), "iron is used once heat has passed")
}
