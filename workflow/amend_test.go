package workflow

import (
	"cmp"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// An amendment takes new damage into the open repair, at its time and no earlier, and
// what it opens again is done after it.
func TestAmend(t *testing.T) {
	b := released(t)
	look := &steps.Procedure{Name: "plover-look", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{
		{Name: "see", Phase: steps.Look, Steps: []steps.Step{{Name: "see-it", Kind: steps.Do, Do: "Look."}}},
		{Name: "work", After: []string{"see"}, Steps: []steps.Step{{Name: "mend-it", Kind: steps.Do, Do: "Mend it.", Disturbs: []string{"pod"}}}},
	}}
	find := func(string) (*steps.Procedure, error) { return look, nil }
	report := func(zone string) ReportDamage {
		return ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: zone, Severity: steps.Serious}}}
	}
	docs := documents()
	b.docs = &docs
	planned := func(digest string) RepairPlan {
		t.Helper()
		plan, err := b.state.PlanRepair(triage(), find, b.now)
		if err != nil {
			t.Fatal(err)
		}
		docs.Procedures[digest] = plan.Procedure
		return plan
	}
	b.must(report("pod"))
	crack := b.state.Size() - 1
	first := planned("sha256:first")
	if first.Amends != nil {
		t.Fatal("there is nothing to amend")
	}
	b.must(Start{Procedure: first.Procedure, Digest: "sha256:first", Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	b.after(time.Minute)
	b.done("see-it-d1", "mend-it-d1")
	opened := b.state.Jobs[len(b.state.Jobs)-1]
	b.after(10 * time.Minute)
	b.must(report("wing"))
	found := b.now
	plan := planned("sha256:second")
	if plan.Amends == nil || !slices.Equal(plan.Amends.Found, []string{"D2"}) || plan.Amends.Kept != 1 || !slices.Equal(plan.Amends.Reopens, []string{"see-it-d1"}) {
		t.Fatalf("the amendment is %+v", plan.Amends)
	}
	amend := *plan.Amends
	amend.Digest = "sha256:second"
	b.after(10 * time.Minute)
	refused := func(r Request, at time.Time, words string) {
		t.Helper()
		err := b.tryAt(r, at)
		if err == nil {
			t.Fatalf("%T is not refused", r)
		}
		mustContain(t, err.Error(), words)
	}
	refused(amend, found.Add(-time.Minute), "before damage D2 was found")
	b.must(amend)
	position := b.state.Size() - 1
	d, err := b.state.Damage("D2")
	if err != nil {
		t.Fatal(err)
	}
	if repaired, by := b.state.Repaired(d, b.now); repaired || by != opened.ID {
		t.Errorf("D2 is repaired by %q: %v", by, repaired)
	}
	refused(amend, time.Time{}, "already goes by this plan")

	// The sheet that an amendment brings is the one at the end of the journal.
	newer := *b
	newer.written(0, journal.JobAmended{Job: opened.ID, Procedure: "sha256:second", Sheet: strictSum, Damages: []string{"D1", "D2"}})
	if newer.state.lastSheet != docs.Sheets[strictSum] {
		t.Error("the sheet that the amendment brought is not the last one")
	}
	older := amend
	older.Digest, older.Damages = "sha256:older", []string{"D1"}
	refused(older, time.Time{}, "damage D2 too")
	refused(Finish{Step: "see-it-d1"}, found, "before the steps it depends on")
	refused(Finish{Step: "see-it-d2"}, found, "before the steps it depends on")
	refused(Undo{Position: opened.Position}, time.Time{}, "steps of job")

	// Damage whose repair has worked on the part is not taken back; what was only looked at is.
	mistaken := Undo{Position: crack, Reason: "mistaken"}
	refused(mistaken, time.Time{}, "mend-it-d1 of job "+opened.ID+" is done")
	looked := *b
	looked.must(Undo{Position: slices.MaxFunc(b.state.workIn(opened.ID), cmp.Compare[int64])}, mistaken)

	// Where an older program took it back, its repair stays in every plan.
	old := *b
	old.written(0, journal.Undone{TakesBack: []int64{crack}, Reason: "mistaken"}, journal.DamageFound{Damage: "D3", Finding: "cracked", Zone: "pod", Severity: steps.Cosmetic, For: "D1"})
	kept, err := old.state.PlanRepair(triage(), find, old.now)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, there := kept.Procedure.Step("mend-it-d1"); !there || kept.Amends == nil || !slices.Equal(kept.Amends.Damages, []string{"D1", "D2", "D3"}) {
		t.Errorf("taken back with its part opened, the amendment is %+v", kept.Amends)
	}
	docs.Procedures["sha256:third"] = kept.Procedure
	third := *kept.Amends
	third.Digest = "sha256:third"
	bare := third
	bare.Damages = []string{"D2", "D3"}
	if err := old.try(bare); err == nil || !strings.Contains(err.Error(), "leaves its repair out") {
		t.Errorf("an amendment without it: %v", err)
	}
	old.must(third)

	b.must(Undo{Position: position})
	if _, by := b.state.Repaired(d, b.now); by != "" {
		t.Errorf("taken back, D2 is repaired by %s", by)
	}
	b.must(amend)
	b.after(time.Minute)
	b.done("see-it-d1")
	refused(Undo{Position: b.state.Size() - 2}, time.Time{}, "which the amendment brought")
	if facts := b.state.Entries[b.state.Size()-2].Facts; facts.Kind() != (journal.JobAmended{}).Kind() {
		t.Errorf("%s is taken for an amendment", facts.Kind())
	}
}

// Damage that an amendment brought to a part already worked on is taken back after the
// amendment, of which nothing is done.
func TestTheAmendmentIsTakenBackBeforeItsDamage(t *testing.T) {
	b := released(t)
	look := &steps.Procedure{Name: "look", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{
		{Name: "work", Steps: []steps.Step{{Name: "mend-it", Kind: steps.Do, Do: "Mend it.", Disturbs: []string{"pod"}}}},
	}}
	docs := documents()
	b.docs = &docs
	planned := func(digest string) RepairPlan {
		t.Helper()
		plan, err := b.state.PlanRepair(triage(), func(string) (*steps.Procedure, error) { return look, nil }, b.now)
		if err != nil {
			t.Fatal(err)
		}
		docs.Procedures[digest] = plan.Procedure
		return plan
	}
	report := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "pod", Severity: steps.Serious}}}
	b.must(report)
	b.must(Start{Procedure: planned("sha256:first").Procedure, Digest: "sha256:first", Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	b.after(time.Minute)
	b.done("mend-it-d1")
	b.after(time.Minute)
	b.must(report)
	mistaken := Undo{Position: b.state.Size() - 1, Reason: "seen twice"}
	amend := *planned("sha256:second").Amends
	amend.Digest = "sha256:second"
	b.must(amend)
	amended := b.state.Size() - 1
	mustContain(t, b.refused(mistaken, ByState), "was amended for it, and nothing of that is done yet", string(ToTakeBack))
	var refusal *Refusal
	if err := b.try(mistaken); !errors.As(err, &refusal) || refusal.Reasons[0].Remedy.Entry != amended {
		t.Errorf("to take back first is %v", err)
	}
	b.must(Undo{Position: amended}, mistaken)
}
