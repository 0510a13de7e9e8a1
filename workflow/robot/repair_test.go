package robot_test

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

// triage is what answers damage on the design.
func triage(t testing.TB, design string) *steps.Triage {
	t.Helper()
	table, _ := asked.get(design, func() (*steps.Triage, error) {
		docs, err := procedures.Open("").Tables(design)
		if err != nil || len(docs) == 0 {
			t.Fatalf("%d tables, %v", len(docs), err)
		}
		var tables []*steps.Triage
		for _, d := range docs {
			tables = append(tables, d.Triage)
		}
		return steps.Asked(tables...), nil
	})
	return table
}

// asked are the tables of the library, by design, which take long to read.
var asked shared[*steps.Triage]

// found are the procedures of the library that were asked for, which takes long to read.
var found shared[*steps.Procedure]

// findProcedure finds a procedure of the library; of the name of a design, its build.
func findProcedure(name string) (*steps.Procedure, error) {
	return found.get(name, func() (*steps.Procedure, error) {
		procedure, err := procedures.Open("").BuildOf(name)
		if err != nil {
			doc, err := procedures.Open("").Procedure(name)
			if err != nil {
				return nil, err
			}
			procedure = doc.Procedure
		}
		return procedure, nil
	})
}

// sightings are everything that the table knows and the design can have.
func sightings(table *steps.Triage, sheet *steps.Sheet) []workflow.Sighting {
	var all []workflow.Sighting
	for _, f := range table.Findings {
		for _, z := range sheet.Zones {
			if !f.In(z) {
				continue
			}
			for _, severity := range table.Possible(f.Name, z) {
				all = append(all, workflow.Sighting{Finding: f.Name, Zone: z, Severity: severity})
			}
		}
	}
	return all
}

// repairAll reports the damages and carries their plan to its end.
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
	var before []string
	job, position := w.State.OpenRepair(w.Now), w.State.Size()
	if job != nil {
		before = done(w)
	}
	plan := openPlan(t, w, table)
	if job != nil { // what was done is done still, or is named as done again
		amended := w.State.Entries[position].Facts.(journal.JobAmended)
		for _, step := range before {
			is, _, still := plan.Procedure.Step(step)
			if !still || !is.Kind.Traits().Passes && !slices.Contains(amended.Reopens, step) && !slices.Contains(done(w), step) {
				t.Fatalf("%v: %s was done, and the amendment has it neither done nor done again", seen, step)
			}
		}
	}
	if os.Getenv("FETTLE_LONG") != "" {
		keepsTime(t, *w)
	}
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

// openPlan composes the plan of what is damaged, writes and reads it as a document,
// checks it against the design, and opens it or amends the open repair by it.
func openPlan(t testing.TB, w *robot.Worker, table *steps.Triage) workflow.RepairPlan {
	t.Helper()
	plan, err := w.State.PlanRepair(table, findProcedure, w.Now)
	if err == nil {
		err = begin(w, plan)
	}
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// begin writes the plan and reads it as a document, checks it against the design, and
// opens it or amends the open repair by it.
func begin(w *robot.Worker, plan workflow.RepairPlan) error {
	doc, err := procedures.Kept(plan.Procedure)
	if err != nil {
		return err
	}
	if faults := doc.Against(w.State.Sheet); len(faults) > 0 {
		return fmt.Errorf("%s: %w", plan.Procedure.Title, faults)
	}
	knows(w, doc)
	if plan.Amends != nil {
		amend := *plan.Amends
		amend.Procedure, amend.Digest = doc.Procedure, doc.Digest()
		return w.Act(amend)
	}
	var names []string
	for _, m := range plan.Answers {
		names = append(names, m.Damage.Name)
	}
	return w.Act(workflow.Start{Procedure: doc.Procedure, Digest: doc.Digest(), Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest, Damages: names})
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

// Whatever the table knows, on whatever zone and however bad: it is answered by a plan
// that reads, fits and comes to its end, alone with the first answers, and with a helper
// with the last ones.
func TestEveryFindingIsMended(t *testing.T) {
	if os.Getenv("FETTLE_LONG") == "" {
		t.Skip("in the long runs; TestTheMatrixIsCarried has each zone and each answer")
	}
	for _, plain := range designs(t) {
		design := plain.State.Airframe.Design
		table := triage(t, design)
		chosen := *plain
		procedure := named(t, design+"-build")
		if rows := variants(plain.State.Sheet, procedure.Procedure); len(rows) > 1 {
			chosen = *build(t, named(t, design), procedure, rows[1])
		}
		chosen.Second = "second"
		done := map[string]bool{} // one of each answer is enough on each zone, however bad
		for _, seen := range sightings(table, plain.State.Sheet) {
			row, _ := table.Answer(seen.Finding, seen.Zone, seen.Severity)
			key := strings.Join([]string{row.Outcome, row.Procedure, seen.Zone, string(seen.Severity)}, " ")
			if done[key] {
				continue
			}
			done[key] = true
			for how, w := range map[string]robot.Worker{"alone": *plain, "with a helper": chosen} {
				t.Run(strings.Join([]string{design, seen.Finding, seen.Zone, string(seen.Severity), how}, " "), func(t *testing.T) {
					repairAll(t, &w, table, []workflow.Sighting{seen})
				})
			}
		}
	}
}

// Of five findings each joint cures beside the others. The nose holds the radio back,
// which dries for 24 hours and cures for 24, and not the sum of all.
func TestCuresRunSideBySide(t *testing.T) {
	t.Parallel()
	w := build(t, named(t, "causeway"), named(t, "causeway-build"), nil)
	began := w.Now
	repairAll(t, w, triage(t, "causeway"), []workflow.Sighting{
		{Finding: "crushed", Zone: "nose", Severity: "serious"}, {Finding: "cracked", Zone: "wing", Severity: "serious"},
		{Finding: "boom-broken", Zone: "left-boom", Severity: "serious"}, {Finding: "joint-split", Zone: "tail", Severity: "serious"},
		{Finding: "propeller-nicked", Zone: "propeller", Severity: "serious"},
	})
	at := map[string]time.Duration{}
	for _, e := range w.State.Entries {
		if work, ok := journal.WorkOf(e.Facts); ok && e.At.After(began) {
			at[work.Step] = e.At.Sub(began)
		}
		if f, ok := e.Facts.(journal.ReadingTaken); ok && f.Gate == "washout" && e.At.After(began) && at[f.Gate] == 0 {
			at[f.Gate] = e.At.Sub(began)
		}
	}
	if in := at["washout"]; in < 48*time.Hour || in > 52*time.Hour {
		t.Errorf("the washout is measured after %s", in)
	}
	for _, order := range [][2]string{{"look-over-d4", "prepare-crack-d2"}, {"join-crack-d2", "cut-out-left-boom"}, {"rest-boom-left-boom", "join-tail-d4"}, {"cure-nose-d1", "bend-test-d2"}} {
		if before, after := at[order[0]], at[order[1]]; before == 0 || after < before {
			t.Errorf("%s after %s, %s after %s", order[0], before, order[1], after)
		}
	}
	var joints []string
	for _, line := range w.State.Proof(w.Now, nil).Lines {
		joints = append(joints, line.Text)
	}
	for joint, named := range map[string]bool{"left-boom-tube": false, "right-boom-tube": true, "booms-to-wing": true, "new-boom-left-boom": true} {
		if slices.ContainsFunc(joints, func(text string) bool { return strings.Contains(text, "joint "+joint+" is ") }) != named {
			t.Errorf("the left boom was replaced, and the proof names the joint %s: %v", joint, !named)
		}
	}
}

// Whatever check calls in order can be started: every answer of the table, on
// every zone of every design, however bad, opens as a job, and so does every
// procedure of the library on what it serves. By default one finding is planned of
// those that have the same answer on a zone, and some of the rest by
// TestTheMatrixIsPlanned.
func TestWhatCheckPassesOpens(t *testing.T) {
	t.Parallel()
	plans, started, answers, long := 0, 0, 140, os.Getenv("FETTLE_LONG") != ""
	if long { // which takes as long as all plans by default; the tests of package procedures hold that it finds no fault
		report, err := procedures.Open("").CheckAll(t.Context())
		if err != nil || len(report.Faults) > 0 {
			t.Fatalf("%v\n%v", err, report.Faults)
		}
		answers = report.Answers
	}
	entries, faults := procedures.Open("").List()
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	library := map[string]*steps.Procedure{}
	for _, e := range entries {
		if e.Document.Procedure != nil {
			library[e.Document.Name()] = e.Document.Procedure
		}
	}
	find := func(name string) (*steps.Procedure, error) { return library[name], nil }
	for _, built := range designs(t) {
		table := triage(t, built.State.Airframe.Design)
		fits := map[string]error{} // by procedure and zone: the texts differ in what they say of the damage
		for _, seen := range append(sightings(table, built.State.Sheet), ownWords(built.State.Sheet)...) {
			row, _ := table.Answer(seen.Finding, seen.Zone, seen.Severity)
			key := row.Outcome + " " + row.Procedure + " " + seen.Zone
			if _, met := fits[key]; met && !long { // the same answer on the same zone: every finding is planned in long runs
				continue
			}
			w := *built
			if err := w.Act(workflow.ReportDamage{Triage: table, Seen: []workflow.Sighting{seen}}); err != nil {
				t.Fatalf("%v: %v", seen, err)
			}
			plan, err := w.State.PlanRepair(table, find, w.Now)
			if err != nil {
				t.Errorf("%s, %v: %v", w.State.Sheet.Name, seen, err)
				continue
			}
			plans++
			if answer := plan.Answers[0].Row; answer.Outcome+" "+answer.Procedure+" "+seen.Zone != key {
				t.Errorf("%s, %v: it is answered by %s %s", w.State.Sheet.Name, seen, answer.Outcome, answer.Procedure)
			}
			if _, met := fits[key]; met {
				continue
			}
			fits[key] = opens(&w, plan.Procedure, []string{plan.Answers[0].Damage.Name})
			if fits[key] != nil {
				t.Errorf("%s, %v: %v", w.State.Sheet.Name, seen, fits[key])
			}
			started++
		}
		for _, e := range entries {
			if p := e.Document.Procedure; p != nil && p.Kind == steps.Check && e.Document.Serves(built.State.Sheet) {
				w := *built
				if err := opens(&w, p, nil); err != nil {
					t.Errorf("%s on %s: %v", p.Name, w.State.Sheet.Name, err)
				}
			}
		}
	}
	t.Logf("%d plans, %d started, %d answers", plans, started, answers)
	if long && plans < 300 || started < answers {
		t.Errorf("%d plans were made and %d started, of %d answers that check tried", plans, started, answers)
	}
}

// ownWords are damage that the table has no name for, everywhere.
func ownWords(sheet *steps.Sheet) []workflow.Sighting {
	var all []workflow.Sighting
	for _, z := range sheet.Zones {
		all = append(all, workflow.Sighting{Finding: "a rattle", Zone: z, Severity: steps.Serious})
	}
	return all
}

// knows gives a worker one more document. Others that go on from the same airframe don't get it.
func knows(w *robot.Worker, doc *procedures.Document) {
	w.Documents.Procedures = maps.Clone(w.Documents.Procedures)
	w.Documents.Procedures[doc.Digest()] = doc.Procedure
}

// opens writes a procedure, reads it as a document, and starts it.
func opens(w *robot.Worker, p *steps.Procedure, damages []string) error {
	doc, err := procedures.Kept(p)
	if err != nil {
		return err
	}
	if faults := doc.Against(w.State.Sheet); len(faults) > 0 {
		return faults
	}
	knows(w, doc)
	return w.Act(workflow.Start{Procedure: doc.Procedure, Digest: doc.Digest(), Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest, Damages: damages})
}

// What a finished build leaves to be measured is nothing: what is closed over, or
// was taken where it was needed, is a gate of the work.
func TestAFinishedBuildLeavesNothingToMeasure(t *testing.T) {
	t.Parallel()
	for _, built := range designs(t) {
		for _, g := range built.State.Gates(built.Now) {
			if !g.Gate.Work && !g.Met() {
				t.Errorf("%s: %s is %s", built.State.Airframe.Design, g.Gate.Name, g.Says().Text)
			}
		}
	}
}

// What is fitted later comes to a release as well, and its gates with it.
func TestWhatIsFittedLater(t *testing.T) {
	t.Parallel()
	for _, fit := range []struct {
		procedure, design string
		answers           []string
		has, gate         string
	}{
		{"fit-rudders", "causeway", nil, "working-rudders", "rudder-throw"},
		{"fit-camera", "skerry", nil, "", "balance"},
	} {
		w := build(t, named(t, fit.design), named(t, fit.design+"-build"), fit.answers)
		if err := opens(w, named(t, fit.procedure).Procedure, nil); err != nil {
			t.Fatalf("%s: %v", fit.procedure, err)
		}
		began := w.Now
		if err := w.Carry(500); err != nil {
			t.Fatalf("%s: %v", fit.procedure, err)
		}
		if has := w.State.Selection().Has; fit.has != "" && !slices.Contains(has, fit.has) {
			t.Errorf("%s: it has %v", fit.procedure, has)
		}
		if r, err := w.State.GateReport(fit.gate, w.Now); err != nil || !r.Met() || !r.Last.After(began) {
			t.Errorf("%s: %s is %s, %v", fit.procedure, fit.gate, r.Says().Text, err)
		}
		if proof := w.State.ReleaseProof(w.Now); len(proof.Reasons()) > 0 {
			t.Errorf("%s: %+v", fit.procedure, proof.Reasons())
		}
	}
}

// A lost wing is built anew to a release, in its time. What the proof of it rests on is
// of the new wing alone.
func TestALostWingIsBuiltAnew(t *testing.T) {
	t.Parallel()
	w := build(t, named(t, "causeway"), named(t, "causeway-build"), nil)
	began := w.Now
	plan := repairAll(t, w, triage(t, "causeway"), []workflow.Sighting{
		{Finding: "crushed", Zone: "wing", Severity: steps.Total}, {Finding: "cracked", Zone: "wing", Severity: steps.Slight},
		{Finding: "boom-broken", Zone: "left-boom", Severity: steps.Serious},
	})
	if len(plan.Answers) != 3 || plan.Answers[0].Row.Outcome != steps.ToRebuild || plan.Answers[2].Row.Outcome != steps.ToRebuild {
		t.Fatalf("it is answered by %+v", plan.Answers)
	}
	for _, step := range plan.Procedure.Steps() { // a boom that came off with the wing is never glued to the new one to be cut out of it
		if strings.Contains(step.Name, "cut-out") {
			t.Errorf("the plan has the step %s", step.Name)
		}
	}
	var old []string
	for _, line := range w.State.Proof(w.Now, nil).Lines {
		for _, joint := range []string{"wing-roots", "top-spar", "bottom-spar", "pod-to-wing", "booms-to-wing"} {
			if line.Text == "joint "+joint+" is cured" {
				old = append(old, joint)
			}
		}
	}
	if len(old) > 0 {
		t.Errorf("the proof names the joints %v of the wing that was thrown away", old)
	}
	zone := w.State.Zones(w.Now).Zone("wing")
	if took := w.Now.Sub(began); took < 60*time.Hour || took > 120*time.Hour || zone.Standing != workflow.ZoneThere {
		t.Errorf("it took %s, and the wing is %s", took, zone.Standing)
	}
}
