package robot_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"fettle/procedures"
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

// The left boom breaks while the airframe is built, before it sits on the wing: it is
// made anew and not cut out. What works on it, or measures it, waits; the film of the
// other parts does not; the repair comes first; and then the build goes on to its end.
func TestDamageHoldsTheBuildBack(t *testing.T) {
	t.Parallel()
	w := worker(t)
	design := named(t, "causeway")
	act(t, w, workflow.Register{Mark: "CW-01", Sheet: design.Sheet, Digest: design.Digest()})
	start(t, w, named(t, "causeway-build"), "")
	carryTo(t, w, "film-left-boom")
	table := triage(t, "causeway")
	act(t, w, workflow.ReportDamage{Triage: table, Seen: []workflow.Sighting{{Finding: "boom-broken", Zone: "left-boom", Severity: steps.Serious}}})

	held, atHand := heldBack(w, 0)
	if !slices.Equal(held, []string{"film-left-boom"}) || !slices.Contains(atHand, "film-right-boom") || slices.Contains(atHand, "film-wing-top") {
		t.Errorf("held back: %v; at hand: %v", held, atHand)
	}
	next := w.State.Next(w.Now)
	if len(next.Damaged) != 1 || next.Damaged[0].Remedy.Kind != workflow.ToPlanRepair {
		t.Errorf("the repair is not said first: %+v", next.Damaged)
	}
	if next.Step == nil || slices.Contains(held, next.Step.Step.Name) {
		t.Errorf("the next step is %+v", next.Step)
	}

	plan := openPlan(t, w, table)
	a := plan.Answers[0]
	if a.Row.Outcome != steps.ToRebuild || !slices.Equal(a.Retires, []string{"left-boom"}) {
		t.Errorf("the answer is %s, which retires %v", a.Row.Outcome, a.Retires)
	}
	has := func(stem string) bool {
		return slices.ContainsFunc(plan.Procedure.Steps(), func(s *steps.Step) bool { return s.Name == stem || s.Name == stem+"-new-left-boom" })
	}
	for stem, want := range map[string]bool{"scrap-old-part": true, "join-left-boom-tube": true, "sand-left-boom": true, "film-left-boom": false, "join-right-boom-tube": false, "heat-iron": false, "plug-in": false, "fit-propeller": false} {
		if has(stem) != want {
			t.Errorf("step %s in the plan: %v, want %v", stem, has(stem), want)
		}
	}
	if held, _ := heldBack(w, 0); !slices.Contains(held, "film-left-boom") {
		t.Errorf("the repair has begun, and held back are %v", held)
	}
	if err := w.Carry(5000); err != nil {
		t.Fatal(err)
	}
	if jobs, left := w.State.OpenJobs(w.Now), w.State.OpenDamages(w.Now); len(jobs) > 0 || len(left) > 0 {
		t.Fatalf("open at the end: jobs %v, damages %v", jobs, left)
	}
	if boom := w.State.Zones(w.Now).Zone("left-boom"); boom.Standing != workflow.ZoneThere || !slices.Equal(boom.Seated, []string{"wing"}) {
		t.Errorf("the new boom is %+v", boom)
	}
	if due := w.State.Due(w.Now); len(due) > 0 {
		t.Errorf("%s is due", due[0].Gate.Name)
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

// Glue that no bench of the robot suits: it says that it is stuck, and does not read the
// bench for ever.
func TestStuckOnTheClimate(t *testing.T) {
	for _, limits := range []string{"[15 °C, 30 °C], humidity: [60 %, 80 %]", "[25 °C, 30 °C]"} {
		text := strings.NewReplacer("[15 °C, 30 °C]", limits, "at: 20 °C", "at: 27 °C").Replace(string(named(t, "reed").Bytes))
		design, err := procedures.Parse("reed.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		w := worker(t)
		w.Documents.Sheets[design.Digest()] = design.Sheet
		act(t, w, workflow.Register{Mark: "RD-01", Sheet: design.Sheet, Digest: design.Digest()})
		start(t, w, named(t, "reed-build"), "")
		if err := w.Carry(200); !errors.Is(err, robot.ErrStuck) {
			t.Errorf("works %s: %v", limits, err)
		}
	}
}
