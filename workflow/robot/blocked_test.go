package robot_test

import (
	"slices"
	"testing"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/robot"
)

// carryTo carries the build until the step can be done.
func carryTo(t *testing.T, w *robot.Worker, step string) {
	t.Helper()
	for range 3000 {
		if r, _, err := w.State.FindStep(step, w.Now); err != nil {
			t.Fatal(err)
		} else if r.Progress != workflow.Later && !slices.ContainsFunc(r.Reasons, func(r workflow.Reason) bool { return r.Because == workflow.ByOrder }) {
			return
		}
		if err := w.Carry(1); err != nil {
			t.Fatal(err)
		}
	}
	t.Fatalf("%s never comes", step)
}

// heldBack are the open steps of a job that damage holds back, and those
// that can be done now or once a condition is set.
func heldBack(w *robot.Worker, job int) (held, atHand []string) {
	for _, r := range w.State.Steps(w.State.Jobs[job], w.Now) {
		because := func(why workflow.Because) bool {
			return slices.ContainsFunc(r.Reasons, func(r workflow.Reason) bool { return r.Because == why })
		}
		switch {
		case because(workflow.ByDamage):
			held = append(held, r.Step.Name)
		case (r.Progress == workflow.Ready || r.Progress == workflow.Waiting) && !because(workflow.ByOrder):
			atHand = append(atHand, r.Step.Name)
		}
	}
	return held, atHand
}

// Both booms break while the airframe is built: what works on them, or measures them, waits;
// the film of the other parts does not; and the repair comes first.
func TestDamageHoldsTheBuildBack(t *testing.T) {
	w := worker(t)
	design := named(t, "causeway")
	act(t, w, workflow.Register{Mark: "CW-01", Sheet: design.Sheet, Digest: design.Digest()})
	start(t, w, named(t, "causeway-build"), "")
	carryTo(t, w, "film-left-boom")
	table := triage(t, "causeway")
	act(t, w, workflow.ReportDamage{Triage: table, Seen: []workflow.Sighting{{Finding: "boom-broken", Zone: "left-boom", Severity: steps.Serious}, {Finding: "boom-broken", Zone: "right-boom", Severity: steps.Serious}}})

	held, atHand := heldBack(w, 0)
	if !slices.Equal(held, []string{"film-left-boom", "film-right-boom"}) || !slices.Contains(atHand, "film-wing-under") || slices.Contains(atHand, "film-wing-top") {
		t.Errorf("held back: %v; at hand: %v", held, atHand)
	}
	next := w.State.Next(w.Now)
	if len(next.Damaged) != 2 || next.Damaged[0].Remedy.Kind != workflow.ToPlanRepair {
		t.Errorf("the repair is not said first: %+v", next.Damaged)
	}
	if next.Step == nil || slices.Contains(held, next.Step.Step.Name) {
		t.Errorf("the next step is %+v", next.Step)
	}
}

// On a built airframe with a cracked wing a check looks on, and a repair of the tail,
// which sits on the booms and so on the wing, waits.
func TestDamageHoldsWhatSitsOnIt(t *testing.T) {
	w := build(t, named(t, "causeway"), named(t, "causeway-build"), nil)
	act(t, w, workflow.ReportDamage{Triage: triage(t, "causeway"), Seen: []workflow.Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Slight}}})
	checked, tail := *w, *w
	start(t, &checked, named(t, "post-crash"), "")
	for range 8 {
		if held, _ := heldBack(&checked, 1); len(held) > 0 {
			t.Fatalf("the check is held back: %v", held)
		}
		if err := checked.Carry(1); err != nil {
			t.Fatal(err)
		}
	}
	start(t, &tail, named(t, "tail-off"), "tail")
	for range 40 {
		if held, _ := heldBack(&tail, 1); slices.Contains(held, "free-tail") {
			return
		}
		if err := tail.Carry(1); err != nil {
			t.Fatal(err)
		}
	}
	t.Error("the tail is worked on")
}
