package workflow

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// fitted is a released plover, of whose propeller a newer sheet says when it is aboard. The
// build left it off, which nobody asked about then.
func fitted(t *testing.T) *bench {
	b := released(t)
	more := sheet()
	more.Equipment = append(more.Equipment, steps.Equipment{Name: "propeller", Title: "The propeller", Disturbs: []string{"pod"}, Aboard: []steps.Setting{{Condition: "propeller", State: "on"}}})
	docs := documents()
	docs.Sheets = map[string]*steps.Sheet{sheetSum: more}
	b.docs = &docs
	b.state = b.replay(b.state.Entries)
	return b
}

// What is off is not released, and what was read before it was off says nothing.
func TestWhatIsOffIsNotReleased(t *testing.T) {
	b := fitted(t)
	square := readings("square", "left=500 mm", "right=501 mm")
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "it needs propeller: on, but the journal says propeller: off")
	b.must(square)
	mustContain(t, b.refused(GiveRelease{}, ByCondition), "it needs propeller: on, but the journal says propeller: off")
	b.must(setting("propeller", "on"))
	mustContain(t, b.refused(GiveRelease{}, ByGate), "gate square is stale: pod was disturbed by the change to propeller: on")
	b.must(square, GiveRelease{})
	b.after(3 * time.Hour)
	b.must(setting("propeller", "on"), LogFlight{Landing: Soft}, setting("propeller", "on"))
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Fatalf("on while it is on, before and after a flight: %s", f.Why.Text)
	}
	for _, c := range []struct {
		what string
		do   func(b *bench)
		want []Because // of a release, once the gate was measured at the time before
	}{
		{"off", func(b *bench) { b.must(setting("propeller", "off"), square) }, []Because{ByCondition}},
		{"off and on", func(b *bench) { b.must(setting("propeller", "off"), square, setting("propeller", "on")) }, []Because{ByGate}},
		{"off, and flown so", func(b *bench) {
			b.must(setting("propeller", "off"), LogFlight{Landing: Soft, Check: "look"}, square, readings("slot", "root=4 mm", "tip=4 mm"))
		}, []Because{ByState, ByCondition}},
		{"off by mistake", func(b *bench) {
			b.must(setting("propeller", "off"), Undo{Position: b.state.Size(), Reason: "a slip"}, square)
		}, []Because{ByCondition}},
		{"off and on, on taken back", func(b *bench) {
			b.must(setting("propeller", "off"), setting("propeller", "on"), Undo{Position: b.state.Size() + 1, Reason: "a slip"}, square)
		}, []Because{ByCondition}},
		{"off, typed in later, and read before it was seen on", func(b *bench) {
			b.after(time.Hour)
			b.must(setting("propeller", "on"))
			b.at(50*time.Minute, setting("propeller", "off"))
			b.at(20*time.Minute, square)
		}, []Because{ByGate}},
		{"off, read, and on; off taken back", func(b *bench) {
			off := b.state.Size()
			b.must(setting("propeller", "off"), square, setting("propeller", "on"), Undo{Position: off, Reason: "a slip"})
		}, []Because{ByGate}},
		{"off, read, and taken back; on", func(b *bench) {
			off := b.state.Size()
			b.must(setting("propeller", "off"), square, Undo{Position: off, Reason: "a slip"}, setting("propeller", "on"))
		}, []Because{ByGate}},
		{"off and on, on taken back, read, and on", func(b *bench) {
			on := b.state.Size() + 1
			b.must(setting("propeller", "off"), setting("propeller", "on"), Undo{Position: on, Reason: "a slip"}, square, setting("propeller", "on"))
		}, []Because{ByGate}},
		{"removed, read, and taken back", func(b *bench) {
			off := b.state.Size()
			b.must(ChangeEquipment{Item: "propeller", Change: Removed}, square, Undo{Position: off, Reason: "a slip"})
		}, []Because{ByGate}},
		{"removed, and fitted before that, typed in later", func(b *bench) {
			b.must(ChangeEquipment{Item: "propeller", Change: Removed})
			b.at(2*time.Hour, ChangeEquipment{Item: "propeller", Change: Fitted})
			b.must(square)
		}, []Because{ByCondition}},
		{"fitted, and removed before that, typed in later", func(b *bench) {
			b.must(ChangeEquipment{Item: "propeller", Change: Fitted})
			b.at(2*time.Hour, ChangeEquipment{Item: "propeller", Change: Removed})
			b.must(square)
		}, []Because{ByCondition}},
		{"removed, and moved by a journal of before", func(b *bench) {
			b.must(ChangeEquipment{Item: "propeller", Change: Removed})
			mustContain(t, b.refused(ChangeEquipment{Item: "propeller", Change: Moved}, ByState), "it was removed, and not fitted since")
			b.written(0, journal.EquipmentChanged{Item: "propeller", Change: Moved, Disturbs: []string{"pod"}})
			b.must(square)
		}, []Because{ByCondition}},
		{"removed", func(b *bench) { b.must(ChangeEquipment{Item: "propeller", Change: Removed}, square) }, []Because{ByCondition}},
	} {
		t.Run(c.what, func(t *testing.T) {
			after := *b
			after.t = t
			c.do(&after)
			if after.state.Airworthiness(after.now).Released {
				t.Error("it is still released")
			}
			after.refused(GiveRelease{}, c.want...)
		})
	}
}

// A sheet that says when equipment is aboard may come later than what was said of it.
func TestWhatWasHandledBeforeTheSheetSaidSo(t *testing.T) {
	for _, handled := range []bool{false, true} {
		b := released(t)
		more := fitted(t).state.Sheet
		docs := documents()
		look := &steps.Procedure{Name: "plover-look", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("all", plain("look"))}}
		docs.Sheets["sha256:more"], docs.Procedures["sha256:look"] = more, look
		b.docs = &docs
		b.after(time.Hour)
		b.must(setting("propeller", "on"), readings("square", "left=500 mm", "right=501 mm"))
		if handled {
			b.must(setting("propeller", "off"), setting("propeller", "on"))
		}
		if f := b.state.Airworthiness(b.now); !f.Released {
			t.Fatalf("by the sheet of before: %s", f.Why.Text)
		}
		b.must(Start{Procedure: look, Digest: "sha256:look", Sheet: more, SheetDigest: "sha256:more"}, Finish{Step: "look"})
		r, err := b.state.GateReport("square", b.now)
		if err != nil || (r.Standing == StaleGate) != handled {
			t.Errorf("handled %v: square is %s, %v", handled, r.Standing, err)
		}
		if b.state.Airworthiness(b.now).Released {
			t.Error("the propeller was put on since the release, and it stands")
		}
		if !handled {
			continue
		}
		mustContain(t, b.refused(GiveRelease{}, ByGate), "pod was disturbed by the change to propeller: on")
		b.must(readings("square", "left=500 mm", "right=501 mm"), GiveRelease{})
	}
}

// A plan promises what its job asks for and the release wants, also where only
// conditions say that equipment was handled.
func TestWhatIsTakenOffInAPlan(t *testing.T) {
	b := fitted(t)
	b.must(setting("propeller", "on"), readings("square", "left=500 mm", "right=501 mm"), GiveRelease{})
	set := func(name, state string) steps.Step {
		s := plain(name)
		s.Sets = []steps.Setting{{Condition: "propeller", State: state}}
		return s
	}
	measure := func(name string) steps.Step {
		return steps.Step{Name: name, Kind: steps.Measure, Gates: []string{steps.Stale}}
	}
	for _, c := range []struct {
		what            string
		steps           []steps.Step
		first, promised string
	}{
		{"it stays on", []steps.Step{set("see", "on"), plain("look"), measure("again")}, "", "slot"},
		{"off and on", []steps.Step{set("off", "off"), measure("bare"), set("on", "on"), measure("again")}, "slot", "slot square"},
	} {
		t.Run(c.what, func(t *testing.T) {
			after := *b
			after.t = t
			mark := damaged("wing")
			mark.Seen[0].Severity = steps.Cosmetic
			mark.Triage.Findings = mark.Triage.Findings[:1]
			after.must(mark)
			look := &steps.Procedure{Name: "plover-look", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{one("all", c.steps...)}}
			plan, err := after.state.PlanRepair(mark.Triage, func(string) (*steps.Procedure, error) { return look, nil }, after.now)
			if err != nil {
				t.Fatal(err)
			}
			var promised []string
			for _, g := range plan.Stale {
				promised = append(promised, g.Gate)
			}
			if !slices.Equal(promised, strings.Fields(c.promised)) {
				t.Errorf("promised are %v, want %s", promised, c.promised)
			}
			docs := *after.docs
			docs.Procedures = documents().Procedures
			docs.Procedures["sha256:plan"] = plan.Procedure
			after.docs = &docs
			after.must(Start{Procedure: plan.Procedure, Digest: "sha256:plan", Sheet: after.state.Sheet, SheetDigest: sheetSum, Damages: []string{"D1"}})
			var all []string
			for _, s := range plan.Procedure.Steps() {
				if s.Kind != steps.Measure {
					after.done(s.Name)
					continue
				}
				asked := names(after.state.GatesOf(after.state.Jobs[1], *s, after.now))
				all = append(all, strings.Fields(asked)...)
				if strings.HasPrefix(s.Name, "bare") {
					if asked != c.first {
						t.Errorf("%s asks for %s, want %s", s.Name, asked, c.first)
					}
					after.must(readings("slot", "root=4 mm", "tip=4 mm"))
				}
			}
			if !slices.Equal(all, promised) {
				t.Errorf("asked are %v, promised %v", all, promised)
			}
		})
	}
}

// What was removed is fitted again before a release, but for what it flies without.
func TestWhatWasRemovedIsFittedBeforeARelease(t *testing.T) {
	for _, optional := range []bool{false, true} {
		b := released(t)
		more := sheet()
		more.Equipment = []steps.Equipment{{Name: "motor", Title: "The motor", Disturbs: []string{"pod"}, Optional: optional}}
		docs := documents()
		docs.Sheets = map[string]*steps.Sheet{sheetSum: more}
		b.docs = &docs
		b.state = b.replay(b.state.Entries)
		if f := b.state.Airworthiness(b.now); !f.Released {
			t.Fatalf("nobody removed anything: %s", f.Why.Text)
		}
		square := readings("square", "left=500 mm", "right=501 mm")
		b.must(ChangeEquipment{Item: "motor", Change: Removed}, square)
		if optional {
			b.must(GiveRelease{})
			continue
		}
		mustContain(t, b.refused(GiveRelease{}, ByCondition), "the motor was removed, and none was fitted since")
		b.must(ChangeEquipment{Item: "motor", Change: Fitted}, square, GiveRelease{})
		b.must(ChangeEquipment{Item: "motor", Change: Moved}, square, GiveRelease{})
	}
}
