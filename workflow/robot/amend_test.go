package robot_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

// done are the steps of the repair that are done.
func done(w *robot.Worker) []string {
	var names []string
	for _, r := range w.State.Steps(w.State.OpenRepair(w.Now), w.Now) {
		if r.Progress == workflow.Done {
			names = append(names, r.Step.Name)
		}
	}
	return names
}

// The wing is glued and cures when the airframe falls off the bench and breaks a
// boom: one repair goes on with both. The glue stays, its clock runs on; what was
// looked at on the wing, which carries the boom, is looked at again.
func TestASecondCrashAmendsTheRepair(t *testing.T) {
	t.Parallel()
	w := build(t, named(t, "causeway"), named(t, "causeway-build"), nil)
	table := triage(t, "causeway")
	report := func(w *robot.Worker, finding, zone string) {
		act(t, w, workflow.ReportDamage{Triage: table, Seen: []workflow.Sighting{{Finding: finding, Zone: zone, Severity: steps.Serious}}})
	}
	report(w, "cracked", "wing")
	openPlan(t, w, table)
	for !slices.Contains(done(w), "rest-crack-d1") {
		if err := w.Carry(1); err != nil {
			t.Fatal(err)
		}
	}
	before, cures := done(w), w.State.Timers(w.Now)
	report(w, "boom-broken", "right-boom")
	if next := w.State.Next(w.Now); len(next.Damaged) != 1 {
		t.Errorf("%d damages are said first", len(next.Damaged))
	}
	position := w.State.Size()
	plan := openPlan(t, w, table)
	if len(w.State.OpenJobs(w.Now)) != 1 || plan.Amends == nil {
		t.Fatalf("%d jobs are open", len(w.State.OpenJobs(w.Now)))
	}
	amended := w.State.Entries[position].Facts.(journal.JobAmended)
	if !slices.Equal(amended.Damages, []string{"D1", "D2"}) {
		t.Errorf("it repairs %v", amended.Damages)
	}
	for _, name := range []string{"make-safe", "photograph", "look-over-d1"} {
		if !slices.Contains(amended.Reopens, name) {
			t.Errorf("%s is not done again; %v are", name, amended.Reopens)
		}
	}
	after := done(w)
	for _, name := range []string{"prepare-crack-d1", "coat-faces-d1", "join-crack-d1", "rest-crack-d1"} {
		if !slices.Contains(before, name) || !slices.Contains(after, name) {
			t.Errorf("%s was done, and is not after the amendment: %v", name, after)
		}
	}
	for _, c := range w.State.Timers(w.Now) {
		if c.Joint && !slices.ContainsFunc(cures, func(was workflow.Timer) bool { return was.Name == c.Name && was.Cures.Equal(c.Cures) }) {
			t.Errorf("the clock of %s began anew", c.Name)
		}
	}

	// Nothing that the amendment brought is done: it can be taken back, and then not any more.
	undone := *w
	act(t, &undone, workflow.Undo{Position: position})
	if !slices.Equal(done(&undone), before) {
		t.Errorf("taken back: %v are done, not %v", done(&undone), before)
	}
	if err := w.Carry(1); err != nil {
		t.Fatal(err)
	}
	for !slices.Contains(done(w), "make-safe") {
		if err := w.Carry(1); err != nil {
			t.Fatal(err)
		}
	}
	var refusal *workflow.Refusal
	if err := w.Act(workflow.Undo{Position: position}); !errors.As(err, &refusal) {
		t.Errorf("an amendment of which steps are done was taken back: %v", err)
	}

	// A third crash, when all but the checks is done.
	for !slices.ContainsFunc(done(w), func(name string) bool { return name == "cure-boom-right-boom" }) {
		if err := w.Carry(1); err != nil {
			t.Fatal(err)
		}
	}
	report(w, "cracked", "nose")
	openPlan(t, w, table)
	again := w.State.Entries[w.State.Size()-1].Facts.(journal.JobAmended).Reopens
	if slices.Contains(again, "look-over-right-boom") {
		t.Errorf("the boom, which neither carries the nose nor sits on it, is looked at again: %v", again)
	}
	if err := w.Carry(3000); err != nil {
		t.Fatal(err)
	}
	if open := w.State.OpenDamages(w.Now); len(open) > 0 {
		t.Errorf("%s is open", open[0].Damage)
	}
	w.Now = w.Now.Add(48 * time.Hour)
	act(t, w, workflow.GiveRelease{})
}
