package workflow

import (
	"strings"
	"testing"

	"fettle/steps"
)

// grounded is a released airframe with two checks open: one after which it may be launched, one that grounds it while it is open, and, where something
// happens then, one that looks it over.
func grounded(t *testing.T, acts ...Request) *bench {
	t.Helper()
	b := released(t)
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, launch, pull := hands("plug", "2 min"), hands("launch", "1 min"), hands("pull", "1 min")
	plug.Sets, pull.Sets = []steps.Setting{{Condition: "battery", State: "in"}}, []steps.Setting{{Condition: "battery", State: "out"}}
	launch.Needs = plug.Sets
	docs := documents()
	b.docs = &docs
	docs.Sheets["sha256:powered"] = kit
	for _, p := range []*steps.Procedure{
		{Name: "flight", Flight: steps.EachFlight, Stages: []steps.Stage{one("flight", hands("walk-round", "1 min"), plug, launch, pull)}},
		{Name: "range", Stages: []steps.Stage{one("range", hands("take-off-propeller", "1 min"), hands("try-range", "20 min"))}},
		{Name: "look", Stages: []steps.Stage{one("look", hands("look-from-afar", "2 min"), hands("feel-for-heat", "2 min"))}},
	} {
		p.Kind, p.Revision = steps.Check, 1
		docs.Procedures["sha256:"+p.Name] = p
		if p.Name == "look" {
			b.must(acts...)
		}
		if p.Name != "look" || len(acts) > 0 {
			b.must(Start{Procedure: p, Digest: "sha256:" + p.Name, Sheet: kit, SheetDigest: "sha256:powered"})
		}
	}
	return b
}

// A launch, and what is plugged in for it, waits for each other job that grounds the airframe: what is recorded, what is next, and a plan.
func TestALaunchWaitsForWhatGrounds(t *testing.T) {
	b := grounded(t)
	p, err := scheduled(t, b.now, Hours{Sittings: open(24*60, 26*60, 48*60, 50*60, 72*60, 74*60)}, b.state)
	if got := says(p); err != nil || !strings.Contains(got, "plug ") || strings.Index(got, "plug ") < strings.Index(got, "try-range ") {
		t.Errorf("%s, %v", got, err)
	}
	b.done("walk-round")
	if r := b.step("plug"); len(r.Reasons) == 0 || r.Reasons[0].Remedy.Kind != ToFinish || r.Reasons[0].Remedy.Name != "range" {
		t.Errorf("%+v", r.Reasons)
	}
	b.refused(Finish{Step: "plug"}, ByState)
	b.next("take-off-propeller", "")
	b.done("take-off-propeller", "try-range", "plug")
	b.must(LogFlight{Landing: Hard, Check: "look"}) // flown early
	b.refused(Finish{Step: "launch"}, ByState)      // and nobody is told to plug it in for that
}

// The check that a hard landing asks for comes before all else on the airframe, in what is next and in a plan.
func TestNothingComesBeforeTheCheckAfterAHardLanding(t *testing.T) {
	b := grounded(t, LogFlight{Landing: Hard, Check: "look"})
	b.next("look-from-afar", "")
	p, err := scheduled(t, b.now, Hours{Sittings: open(24*60, 26*60, 48*60, 50*60, 72*60, 74*60)}, b.state)
	if got := says(p); err != nil || !strings.HasPrefix(got, "look-from-afar 1480, feel-for-heat 1482, take-off-propeller ") || strings.Contains(got, "launch") {
		t.Errorf("%s, %v", got, err)
	}
	b.done("look-from-afar")
	b.next("feel-for-heat", "")
}

// What comes before a flight and was begun before the airframe was damaged leads on: first to the repair, to its end, and then back to
// before it was begun, since the release that it waits for waits for it. Then it is released.
func TestACheckThatWasBegunBeforeACrashLeadsOn(t *testing.T) {
	b := grounded(t)
	b.done("walk-round", "take-off-propeller", "try-range")
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "tail", Severity: steps.Cosmetic}}})
	leads := func(step string, want RemedyKind, name string) (r Reason) {
		t.Helper()
		for _, r = range b.step(step).Reasons {
			if strings.HasPrefix(r.Text, "it comes before a flight") {
				break
			}
		}
		if r.Remedy.Kind != want || r.Remedy.Name != name {
			t.Fatalf("%+v, want %s %s", r, want, name)
		}
		return r
	}
	leads("plug", ToPlanRepair, "")
	mend := &steps.Procedure{Name: "mend", Title: "Mend it", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{one("mend", plain("glue-it"))}}
	b.docs.Procedures["sha256:mend"] = mend
	b.must(Start{Procedure: mend, Digest: "sha256:mend", Sheet: b.docs.Sheets["sha256:powered"], SheetDigest: "sha256:powered", Damages: []string{"D1"}})
	leads("plug", ToFinish, "mend")
	b.done("glue-it")
	b.refused(GiveRelease{}, ByState)
	b.must(Undo{Position: leads("plug", ToBeginAgain, "flight").Remedy.Entry, Reason: "begun before the crash"})
	b.must(Undo{Position: leads("walk-round", ToBeginAgain, "flight").Remedy.Entry, Reason: "begun before the crash"}, GiveRelease{})
}
