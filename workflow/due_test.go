package workflow

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

func names(all []GateReport) string {
	var list []string
	for _, g := range all {
		list = append(list, g.Gate.Name)
	}
	return strings.Join(list, " ")
}

func TestWhatIsDueWhileItIsBuilt(t *testing.T) {
	b := building(t, "rudder")
	for _, c := range []struct {
		after string
		do    func()
		want  string
	}{
		{"the start", func() {}, ""},
		{"the stages of wing and pod", func() { b = assembled(t, "rudder") }, ""},
		{"a dent, before the wing sits on the pod", func() { b.must(damaged("wing")) }, "slot"},
		{"the build", func() { b = released(t) }, ""},
		{"a crack in the wing", func() { b.must(damaged("wing")) }, "slot square"},
		{"a wing thrown away", func() { b.state.lost["wing"], b.state.memo = retirement{b.state.Size(), "repair"}, nil }, ""},
	} {
		if c.do(); names(b.state.Due(b.now)) != c.want {
			t.Errorf("after %s due are %s, want %s", c.after, names(b.state.Due(b.now)), c.want)
		}
	}
	mustContain(t, b.refused(GiveRelease{}, ByState, ByState, ByGate, ByGate), "the wing was thrown away and is not made again")
	b = released(t)
	if due := names(b.state.Due(b.now, "pod")); due != "square" {
		t.Errorf("before work on the pod due are %s", due)
	}
}

func damaged(zone string) ReportDamage {
	return ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: zone, Severity: steps.Slight}}}
}

// A mark on a part shifts it against no other, and grounds by the gates of its own.
func TestAMarkLeavesTheGatesOfSeveralZones(t *testing.T) {
	b := released(t)
	mark := damaged("wing")
	mark.Seen[0].Severity = steps.Cosmetic
	mark.Triage.Findings = mark.Triage.Findings[:1] // where nothing can hurt
	b.must(mark)
	look := &steps.Procedure{Name: "plover-look", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{one("all", plain("look"), steps.Step{Name: "measure-again", Kind: steps.Measure, Gates: []string{steps.Stale}})}}
	docs := documents()
	docs.Procedures["sha256:look"] = look
	b.docs = &docs
	b.must(Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	b.done("look")
	if asked := names(b.state.GatesOf(b.state.Jobs[1], look.Stages[0].Steps[1], b.now)); asked != "slot" {
		t.Errorf("asked are %s", asked)
	}
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "gate slot was disturbed by damage D1, cracked since the release")
	b.must(GiveRelease{})
}

// What nobody can measure may be conceded, until something is done to it.
func TestAConcessionOnWhatIsNotMeasured(t *testing.T) {
	b := released(t)
	b.must(ChangeEquipment{Item: "camera", Change: Moved}, readings("square", "left=500 mm", "right=501 mm"))
	b.must(LogFlight{Landing: Soft}, LogFlight{Landing: Soft})
	mustContain(t, b.refused(GiveRelease{}, ByGate), "gate slot is stale: 2 flights")
	b.refused(Concede{Gate: "square", Reason: "no thread"}, ByGate) // it passed
	b.must(Concede{Gate: "slot", Reason: "it is closed over"})
	mustContain(t, b.gate("slot").Says().Text, "conceded: not measured; it is closed over")
	b.must(GiveRelease{})
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("grounded: %s", f.Why.Text)
	}
	for what, undone := range map[string]func(b *bench){
		"two flights":            func(b *bench) { b.must(LogFlight{Landing: Soft}, LogFlight{Landing: Soft}) },
		"damage":                 func(b *bench) { b.must(damaged("wing")) },
		"a reading out":          func(b *bench) { b.must(readings("slot", "root=5 mm", "tip=5 mm")) },
		"the undo of concession": func(b *bench) { b.must(Undo{Position: b.state.Size() - 2, Reason: "mistaken"}) },
	} {
		after := *b
		if undone(&after); after.gate("slot").Met() {
			t.Errorf("after %s slot is %s", what, after.gate("slot").Says().Text)
		}
	}
	// A step that names the gate has it measured.
	b = assembled(t)
	b.done("coat-saddle", "join-saddle")
	b.after(24 * time.Hour)
	b.must(readings("square", "left=500 mm", "right=501 mm"), Concede{Gate: "slot", Reason: "it is closed over"})
	mustContain(t, b.refused(Finish{Step: "measure-square"}, ByGate), "slot is stale")
}

// Of several steps each measures what the later ones cannot, or need not.
func TestStepsShareWhatIsDue(t *testing.T) {
	needing := func(name string, needs ...steps.Setting) steps.Step {
		return steps.Step{Name: name, Kind: steps.Measure, Gates: []string{steps.Stale}, Needs: needs}
	}
	off, on := steps.Setting{Condition: "propeller", State: "off"}, steps.Setting{Condition: "propeller", State: "on"}
	fit := plain("fit")
	fit.Disturbs = []string{"pod"}
	for _, c := range []struct {
		what  string
		needs []steps.Setting // of the slot
		want  [2]string
	}{
		{"each where it can be", nil, [2]string{"slot", "square"}},
		{"with the propeller off", []steps.Setting{off}, [2]string{"slot", "square"}},
		{"with the propeller on", []steps.Setting{on}, [2]string{"", "slot square"}},
	} {
		s := sheet()
		s.Gates[0].Needs = c.needs
		b := workingOn(t, s, one("one", needing("still", off), fit, needing("last", on)))
		job := b.state.Jobs[0]
		for i, name := range []string{"still", "last"} {
			step, _, _ := job.Procedure.Step(name)
			if got := names(b.state.GatesOf(job, step, b.now)); got != c.want[i] {
				t.Errorf("%s: %s asks for %s, want %s", c.what, name, got, c.want[i])
			}
		}
	}
}

// What was measured with the plug out, and is disturbed once more before full power, is measured with the plug out before it is tied down.
func TestWhatIsStaleIsMeasuredAgainBeforeThePlugIsIn(t *testing.T) {
	out, in := setting("battery", "out"), setting("battery", "in")
	s := sheet()
	s.Conditions = append(s.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	still := steps.Step{Name: "still", Kind: steps.Measure, Gates: []string{steps.Stale}, Needs: out.Set}
	full := steps.Step{Name: "full", Kind: steps.Measure, Gates: []string{steps.Stale}, Needs: in.Set}
	tie, arm, pull := plain("tie"), plain("arm"), plain("pull")
	tie.Needs, arm.Needs, arm.Sets, pull.Sets = out.Set, out.Set, in.Set, out.Set
	b := workingOn(t, s, one("one", still, tie, arm, full, pull))
	square, moved := readings("square", "left=500 mm", "right=501 mm"), ChangeEquipment{Item: "camera", Change: Moved}
	b.must(out, readings("slot", "root=4 mm", "tip=4 mm"), square) // and still is done
	for _, after := range []func(){func() {}, func() { b.done("tie") }, func() { b.done("arm") }} {
		after()
		b.after(time.Minute)
		b.must(moved)
		for _, name := range []string{"tie", "arm", "full"} {
			if r := b.step(name); r.Progress == Ready {
				t.Errorf("%s is ready", name)
			}
		}
		if is := b.step("still"); !strings.HasPrefix(is.Reopened, "square is stale: pod was disturbed by the camera being moved") {
			t.Fatalf("still is %s: %s", is.Progress, is.Reopened)
		}
		if b.state.Holds("battery", b.now) == "in" {
			mustContain(t, b.refused(square, ByCondition), "it needs battery: out")
			b.must(out)
		}
		b.must(square) // and it is done again
	}
	b.must(in)
	if got := names(b.state.GatesOf(b.state.Jobs[0], full, b.now)); got != "" {
		t.Errorf("at full power it asks for %s", got)
	}
	b.done("full")
	b.must(moved)
	if is := b.step("still"); is.Progress != Done { // whoever releases it asks for it
		t.Errorf("still is %s: %s", is.Progress, is.Reopened)
	}
}
