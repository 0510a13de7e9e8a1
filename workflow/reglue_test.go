package workflow

import (
	"slices"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// regluing is a bench of which the wing is joined and cured, and the gap between
// wing and pod out of tolerance. It can be packed or glued anew.
func regluing(t *testing.T, with ...string) *bench {
	t.Helper()
	return regluingAfter(t, 48*time.Hour, with...)
}

// regluingAfter is that bench so long after the wing was joined.
func regluingAfter(t *testing.T, after time.Duration, with ...string) *bench {
	t.Helper()
	s := gluingSheet()
	s.Gates[1].Reworks = []steps.Rework{{Do: "pack it", Disturbs: []string{"pod"}}, {Do: "cut it, and glue it again", Disturbs: []string{"wing"}, Joint: "roots", Adhesives: with}}
	b := workingOn(t, s, steps.Stage{Name: "one", Steps: []steps.Step{coating("coat", "roots"),
		{Name: "join", Kind: steps.Join, Joint: "roots", Load: true, Disturbs: []string{"wing"}}, plain("clean"),
		{Name: "cured", Kind: steps.Wait, Joint: "roots", Until: steps.UntilCure}, {Name: "measure", Kind: steps.Measure, Gates: []string{"square"}}}})
	b.done("coat")
	b.after(15 * time.Minute)
	b.done("join", "clean")
	b.after(after)
	b.must(ReadBench{Temperature: q("20 °C")}, readings("square", "left=500mm", "right=510mm"))
	if g := b.gate("square"); g.Standing != Failed {
		t.Fatalf("square is %s", g.Standing)
	}
	return b
}

func TestAReworkThatGluesStartsTheClocks(t *testing.T) {
	b := regluing(t, "epoxy")
	mustContain(t, b.refused(Rework{Gate: "square"}, ByState), "there are 2 ways to rework it", string(ToChooseWay))
	for _, way := range []int{-1, 3} {
		if err := b.try(Rework{Gate: "square", Way: way}); err == nil {
			t.Errorf("way %d was taken", way)
		}
	}
	if err := b.try(Rework{Gate: "square", Way: 1, Mixed: b.now}); err == nil {
		t.Error("packing takes a time of mixing")
	}
	b.refused(Rework{Gate: "square", Way: 2}, ByState) // when was it mixed?
	b.refused(Rework{Gate: "square", Way: 2, Mixed: b.now.Add(-26 * time.Minute)}, ByLapse)
	b.must(Rework{Gate: "square", Way: 2, Mixed: b.now.Add(-5 * time.Minute)})
	if k := b.kinds(3); k[0] != "Reworked" || k[1] != "Coated" || k[2] != "Joined" {
		t.Fatalf("recorded %v", k)
	}
	glued, first := b.now, b.state.Size()-3
	// The joint is as new: no gate of its zones before handling strength, no
	// release before it is cured.
	b.refused(readings("square", "left=500mm", "right=501mm"), ByDrying)
	uncured := func(want bool) {
		t.Helper()
		have := slices.ContainsFunc(b.state.Proof(b.now, nil).Reasons(), func(r Reason) bool { return r.Text == "joint roots carries load and is not cured" })
		if have != want {
			t.Errorf("uncured: %v, want %v", have, want)
		}
	}
	uncured(true)
	if r := b.step("cured"); r.Progress == Done || !opens(&r).Equal(glued.Add(24*time.Hour)) {
		t.Errorf("the wait for its cure is %s until %v", r.Progress, opens(&r))
	}
	b.after(8 * time.Hour)
	b.must(readings("square", "left=500mm", "right=501mm"))
	uncured(true)
	b.after(16 * time.Hour)
	uncured(false)
	b.progress("cured", Done, "")

	// Taken back as one act: the joint stands as before, the gate stays stale.
	b.must(Undo{Position: first})
	if f := b.state.Entries[b.state.Size()-1].Facts.(journal.Undone); len(f.TakesBack) < 3 {
		t.Errorf("took back %v", f.TakesBack)
	}
	uncured(false)

	// So it is from its coat.
	b = regluing(t, "epoxy")
	b.must(Rework{Gate: "square", Way: 2, Mixed: b.now})
	b.must(Undo{Position: b.state.Size() - 2})
	if f := b.state.Entries[b.state.Size()-1].Facts.(journal.Undone); len(f.TakesBack) != 3 {
		t.Errorf("took back %v", f.TakesBack)
	}
	uncured(false)
	if g := b.gate("square"); g.Met() {
		t.Error("square still counts")
	}
}

// What was cut has no clock beside that of what was glued anew, unless it would still count when that is over.
func TestAReworkEndsTheClockOfWhatWasCut(t *testing.T) {
	clocks := func(b *bench) (cures []time.Duration) {
		for _, c := range b.state.Timers(b.now) {
			if c.Name == "roots" {
				cures = append(cures, c.Cures.Sub(b.now))
			}
		}
		return cures
	}
	b := regluingAfter(t, time.Hour, "epoxy")
	if had := clocks(b); len(had) != 1 || had[0] <= 0 || had[0] >= 24*time.Hour {
		t.Fatalf("before it is cut: %v", had)
	}
	b.must(Rework{Gate: "square", Way: 2, Mixed: b.now})
	if has := clocks(b); !slices.Equal(has, []time.Duration{24 * time.Hour}) {
		t.Errorf("glued anew: %v", has)
	}
	b.after(24 * time.Hour)
	if cured := b.state.CuredJoints(b.now); !slices.Equal(cured, []string{"roots"}) {
		t.Errorf("cured: %v", cured)
	}
	quick := regluingAfter(t, time.Hour, "hot")
	quick.must(Rework{Gate: "square", Way: 2})
	if has := clocks(quick); len(has) != 2 {
		t.Errorf("glued anew by what is cured sooner: %v", has)
	}
}

func TestAReworkWithGlueThatDries(t *testing.T) {
	b := regluing(t, "contact", "hot")
	mustContain(t, b.refused(Rework{Gate: "square", Way: 2}, ByState), "contact or hot")
	b.must(Rework{Gate: "square", Way: 2, With: "contact", Began: b.now.Add(-5 * time.Minute)})
	if k := b.kinds(2); k[0] != "Reworked" || k[1] != "Coated" {
		t.Fatalf("recorded %v", k)
	}
	b.refused(readings("square", "left=500mm", "right=501mm"), ByDrying)
	b.refused(Rework{Gate: "square"}, ByDrying)
	if timers := b.state.Timers(b.now); len(timers) == 0 || timers[0].Phase != Tacking {
		t.Errorf("clocks %+v", timers)
	}
	b.after(12 * time.Minute)
	b.refused(readings("square", "left=500mm", "right=501mm"), ByGate)
	mustContain(t, b.refused(GiveRelease{}, ByState, ByState, ByGate, ByGate, ByGate), "joint roots is being glued again, and is not joined")
	b.refused(Rework{Gate: "square", Touch: TouchWet}, ByTouch)
	b.after(time.Hour) // it lapsed
	mustContain(t, b.refused(Rework{Gate: "square", With: "contact"}, ByLapse), "lapsed")
	b.must(Rework{Gate: "square", With: "contact", Began: b.now.Add(-time.Minute)})
	b.after(12 * time.Minute)
	b.must(Rework{Gate: "square"})
	if k := b.kinds(1); k[0] != "Joined" {
		t.Fatalf("recorded %v", k)
	}
	b.after(31 * time.Minute)
	b.must(readings("square", "left=500mm", "right=501mm"))
}

// The press asks for what the coat asked for: what the adhesive needs, and its hold.
func TestThePressOfAReworkAsksAsItsCoat(t *testing.T) {
	s := gluingSheet()
	s.Adhesives[0].Care = careful().Adhesives[0].Care
	s.Gates[1].Reworks = []steps.Rework{{Do: "glue it again", Joint: "strip", Adhesives: []string{"contact"}}}
	b := workingOn(t, s, steps.Stage{Name: "one", Steps: []steps.Step{plain("look"), {Name: "measure", Kind: steps.Measure, Gates: []string{"square"}}}})
	b.done("look")
	b.must(readings("square", "left=500mm", "right=510mm"))
	b.refused(Rework{Gate: "square"}, ByHold)
	b.must(confirming("contact", 2))
	cleared := b.state.Size() - 1
	b.must(Rework{Gate: "square", Began: b.now.Add(-time.Minute)})
	b.after(15 * time.Minute)
	b.must(setting("ventilation", "off"), Undo{Position: cleared})
	b.refused(Rework{Gate: "square"}, ByCondition, ByHold)
	b.must(setting("ventilation", "on"), confirming("contact", 2), Rework{Gate: "square"})
	if k := b.kinds(1); k[0] != "Joined" {
		t.Fatalf("recorded %v", k)
	}
}

// Without a joint of that name it is a new one, and carries load.
func TestAReworkThatGluesANewJoint(t *testing.T) {
	s := gluingSheet()
	s.Gates[1].Reworks = []steps.Rework{{Do: "stiffen it", Joint: "strip", Adhesives: []string{"hot"}}}
	b := workingOn(t, s, steps.Stage{Name: "one", Steps: []steps.Step{plain("look"), {Name: "measure", Kind: steps.Measure, Gates: []string{"square"}}}})
	b.done("look")
	b.must(readings("square", "left=500mm", "right=510mm"), Rework{Gate: "square"})
	b.refused(readings("square", "left=500mm", "right=501mm"), ByDrying)
	if !slices.ContainsFunc(b.state.joints(), func(j *Joint) bool {
		return j.Name == "strip" && j.Load && slices.Equal(j.Zones, []string{"pod", "wing"})
	}) {
		t.Error("there is no joint that carries load")
	}
	b.after(6 * time.Minute)
	b.must(readings("square", "left=500mm", "right=501mm"))
}
