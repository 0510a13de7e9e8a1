package robot_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"fettle/procedures"
	"fettle/steps"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/robot"
)

func triage(t testing.TB) *steps.Triage {
	t.Helper()
	doc, err := procedures.Open("").Triage("crash-triage")
	if err != nil {
		t.Fatal(err)
	}
	return doc.Triage
}

func findProcedure(name string) (*steps.Procedure, error) {
	doc, err := procedures.Open("").Procedure(name)
	if err != nil {
		return nil, err
	}
	return doc.Procedure, nil
}

// sightings are everything that the table knows and the design can have.
func sightings(table *steps.Triage, sheet *steps.Sheet) []workflow.Sighting {
	var all []workflow.Sighting
	for _, f := range table.Findings {
		for _, z := range sheet.Zones {
			if len(f.Zones) > 0 && !slices.Contains(f.Zones, z) {
				continue
			}
			for _, severity := range steps.Severities() {
				all = append(all, workflow.Sighting{Finding: f.Name, Zone: z, Severity: severity})
			}
		}
	}
	return all
}

// repairAll reports the damages, composes the plan, writes and reads it as a
// document, checks it against the design and carries it to the end.
func repairAll(t testing.TB, w *robot.Worker, table *steps.Triage, seen []workflow.Sighting) workflow.RepairPlan {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%v: %v", seen, err)
		}
	}
	must(w.Act(workflow.ReportDamage{Triage: table, Seen: seen}))
	if w.State.Airworthiness(w.Now).Released {
		t.Fatalf("%v: released with damage", seen)
	}
	plan, err := w.State.PlanRepair(table, findProcedure, w.Now)
	must(err)
	doc, err := procedures.Kept(plan.Procedure)
	must(err)
	if faults := doc.Against(w.State.Sheet); len(faults) > 0 {
		t.Fatalf("%v: %v", seen, faults)
	}
	digest := store.Digest(doc.Bytes)
	w.Documents.Procedures[digest] = doc.Procedure
	var names []string
	for _, m := range plan.Answers {
		names = append(names, m.Damage.Name)
	}
	must(w.Act(workflow.Start{Procedure: doc.Procedure, Digest: digest, Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest, Damages: names}))
	must(w.Carry(5000))
	if open := w.State.OpenJobs(w.Now); len(open) > 0 {
		t.Fatalf("%v: a job is open", seen)
	}
	for _, g := range w.State.Gates(w.Now) {
		if g.Gate.Critical && !g.Met() {
			t.Fatalf("%v: the gate %s is %s", seen, g.Gate.Name, g.Says().Text)
		}
	}
	if left := w.State.OpenDamages(w.Now); len(left) > 0 {
		t.Fatalf("%v: %s is not repaired", seen, left[0].Damage)
	}
	return plan
}

// designs are every design of the library, each built once.
func designs(t testing.TB) []*robot.Worker {
	t.Helper()
	var all []*robot.Worker
	entries, _ := procedures.Open("").List()
	for _, e := range entries {
		if e.Document.Sheet != nil {
			all = append(all, build(t, e.Document, named(t, e.Document.Name()+"-build"), nil))
		}
	}
	return all
}

// Whatever the table knows, on whatever zone and however bad, alone: it is
// answered by a plan that reads, fits and comes to its end.
func TestEveryFindingIsMended(t *testing.T) {
	table := triage(t)
	for _, built := range designs(t) {
		done := map[string]bool{} // one of each answer is enough
		for _, seen := range sightings(table, built.State.Sheet) {
			row, _ := table.Answer(seen.Finding, seen.Zone, seen.Severity)
			key := row.Outcome + " " + row.Procedure + " " + seen.Zone
			if done[key] {
				continue
			}
			done[key] = true
			w := *built
			repairAll(t, &w, table, []workflow.Sighting{seen})
		}
	}
}

// Random crashes with several findings are repaired by one plan in which what
// repairs share is done once.
func TestRandomCrashesAreMended(t *testing.T) {
	table := triage(t)
	built := designs(t)
	for seed := range uint64(12) {
		random := rand.New(rand.NewPCG(seed, 1))
		w := *built[random.IntN(len(built))]
		all := sightings(table, w.State.Sheet)
		var seen []workflow.Sighting
		for range 2 + random.IntN(5) {
			seen = append(seen, all[random.IntN(len(all))])
		}
		plan := repairAll(t, &w, table, seen)
		safe := 0
		for _, s := range plan.Procedure.Steps() {
			if s.Name == "make-safe" || strings.HasSuffix(s.Name, "-make-safe") {
				safe++
			}
		}
		if safe != 1 {
			t.Fatalf("seed %d, %v: it is made safe %d times", seed, seen, safe)
		}
	}
}
