package robot_test

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/repair"
	"fettle/workflow/robot"
)

// What can be damaged before it is fitted, and what is only a part of the plan where
// somebody could be hurt by it.
var dangerous = []string{"battery", "propeller"}

// without are the strings that are in the first and not in the second.
func without(all, others []string) []string {
	left := slices.DeleteFunc(slices.Clone(all), func(s string) bool { return slices.Contains(others, s) })
	slices.Sort(left)
	return slices.Compact(left)
}

// promised are the gates that the plan says will be measured.
func promised(plan workflow.RepairPlan) []string {
	var names []string
	for _, g := range slices.Concat(plan.Stale, plan.Else) {
		names = append(names, g.Gate)
	}
	return names
}

// A plannedCell is the plan of one damage, as far as graver damage must ask for as much.
type plannedCell struct {
	seen       workflow.Sighting
	plan       workflow.RepairPlan
	gates      []string
	holds      []string // that make it safe
	quarantine []string
}

// planCell reports what was seen and plans its repair. refused says why there is none.
func planCell(w robot.Worker, table *steps.Triage, seen workflow.Sighting) (cell plannedCell, refused string, err error) {
	absent, _ := read(&w).absent(w.Now)
	cell.seen = seen
	err = w.Act(workflow.ReportDamage{Triage: table, Seen: []workflow.Sighting{seen}})
	var part *workflow.PartError
	switch missing := slices.Contains(absent, seen.Zone); {
	case missing && !slices.Contains(dangerous, seen.Zone):
		if !errors.As(err, &part) || len(part.Refused) != 1 || len(part.Record) > 0 || !strings.Contains(part.Refused[0].Error(), "not there yet") {
			return cell, "", fmt.Errorf("the %s is not there, and reporting it gives %v", seen.Zone, err)
		}
		return cell, "the zone is not there yet", nil
	case err != nil:
		return cell, "", err
	}
	w.State.Airworthiness(w.Now)
	for _, q := range w.State.Quarantines {
		cell.quarantine = append(cell.quarantine, q.Lines...)
	}
	if len(w.State.OpenDamages(w.Now)) != 1 {
		return cell, "", errors.New("no damage is open")
	}
	if cell.plan, err = w.State.PlanRepair(table, findProcedure, w.Now); err != nil {
		var refusal *workflow.Refusal
		if !errors.As(err, &refusal) || len(refusal.Reasons) == 0 || slices.ContainsFunc(refusal.Reasons, func(r workflow.Reason) bool { return r.Text == "" || r.Remedy.Kind == "" }) {
			return cell, "", fmt.Errorf("the plan is refused without a reason and a remedy: %w", err)
		}
		return cell, refusal.Reasons[0].Text, nil
	}
	cell.gates = promised(cell.plan)
	for _, a := range cell.plan.Answers {
		for _, stage := range a.Procedure.Stages {
			for _, s := range stage.Steps {
				if stage.Phase == steps.Safe {
					cell.holds = append(cell.holds, s.Confirm...)
				}
			}
		}
	}
	return cell, "", planIsSound(&w, cell.plan)
}

// planIsSound holds a plan against the journal and against the procedures that it is
// made of.
func planIsSound(w *robot.Worker, plan workflow.RepairPlan) error {
	r := read(w)
	absent, incomplete := r.absent(w.Now)
	made, coming := []string{}, []string{}
	for _, s := range plan.Procedure.Steps() {
		for _, m := range s.Makes {
			made = append(made, m.Zone)
		}
		coming = append(coming, s.Disturbs...)
	}
	never := absent // but what is thrown away was there
	for _, e := range r.entries {
		if f, ok := e.Facts.(journal.PartRetired); ok {
			never = without(never, f.Zones)
		}
	}
	missing := without(absent, append(made, dangerous...))
	names := map[string]bool{}
	for _, s := range plan.Procedure.Steps() {
		if names[s.Name] {
			return fmt.Errorf("two steps are called %s", s.Name)
		}
		names[s.Name] = true
		if len(s.Disturbs) > 0 && len(s.Sets) == 0 && len(without(s.Disturbs, missing)) == 0 || len(without(s.Retires, never)) < len(s.Retires) {
			return fmt.Errorf("%s works on %v, which is not there", s.Name, s.Disturbs)
		}
		for _, name := range s.Gates {
			if g, ok := r.sheet.Gate(name); ok && len(without(g.Of, missing)) < len(without(g.Of, nil)) {
				return fmt.Errorf("%s measures %s, of which something is not there", s.Name, name)
			}
		}
	}
	due := r.due(w.Now, coming...)
	if more, less := without(promised(plan), due), without(due, promised(plan)); len(more)+len(less) > 0 {
		return fmt.Errorf("it promises %v, which are not due by the journal, and not %v, which are", more, less)
	}
	return nothingIsLost(r, plan, absent, append(incomplete, absent...))
}

// nothingIsLost looks for every step of the answers in their plan, with all its
// cautions; what they share stands there once.
func nothingIsLost(r record, plan workflow.RepairPlan, absent, incomplete []string) error {
	all := plan.Procedure.Steps()
	for _, a := range plan.Answers {
		if a.Procedure == nil {
			continue
		}
		taken := slices.ContainsFunc(plan.Answers, func(other repair.Answer) bool { return slices.Contains(other.Retires, a.Damage.Zone) })
		if taken && len(a.Retires) == 0 {
			continue // the part is made anew
		}
		for _, s := range a.Procedure.Steps() {
			measured := slices.DeleteFunc(slices.Clone(s.Gates), func(name string) bool {
				g, _ := r.sheet.Gate(name)
				return len(without(g.Of, absent)) < len(without(g.Of, nil))
			})
			if s.Do == "" || len(without(s.There, incomplete)) < len(without(s.There, nil)) || len(s.Gates) > 0 && len(measured) == 0 {
				continue
			}
			n := 0
			for _, is := range all {
				if is.Do == s.Do && is.Title == s.Title && len(without(s.Cautions, is.Cautions)) == 0 && slices.Equal(is.Confirm, s.Confirm) {
					n++
				}
			}
			if n == 0 || s.Shared && n > 1 {
				return fmt.Errorf("%s of %s stands in the plan %d times with its cautions", s.Name, a.Procedure.Name, n)
			}
		}
	}
	return nil
}

// planMatrix plans every sighting on the airframe as it stands, and holds graver damage
// against lighter.
func planMatrix(w robot.Worker, table *steps.Triage, seen []workflow.Sighting, count map[string]int, fault func(error)) {
	var lighter plannedCell
	for _, s := range seen {
		cell, refused, err := planCell(w, table, s)
		if err != nil {
			fault(fmt.Errorf("%s of the %s, %s: %w", s.Finding, s.Zone, s.Severity, err))
			lighter = plannedCell{}
			continue
		}
		count[refused]++
		if refused != "" {
			lighter = plannedCell{}
			continue
		}
		if lighter.plan.Procedure != nil && lighter.seen.Finding == s.Finding && lighter.seen.Zone == s.Zone {
			for what, lost := range map[string][]string{
				"gates": without(lighter.gates, cell.gates), "what makes it safe": without(lighter.holds, cell.holds), "quarantine": without(lighter.quarantine, cell.quarantine),
			} {
				if len(lost) > 0 {
					fault(fmt.Errorf("%s of the %s: %s asks for less than %s (%s): %v", s.Finding, s.Zone, s.Severity, lighter.seen.Severity, what, lost))
				}
			}
		}
		lighter = cell
	}
}

// Every finding on every zone, however bad, is planned after every step of every build.
func TestTheMatrixIsPlanned(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(1, 1))
	count, faults := map[string]int{}, map[string]int64{}
	for _, design := range designs(t) {
		table := triage(t, design.State.Airframe.Design)
		all := append(sightings(table, design.State.Sheet), ownWords(design.State.Sheet)...)
		stood := buildings(t, named(t, design.State.Airframe.Design), named(t, design.State.Airframe.Design+"-build"))
		for i, w := range stood {
			if i > 0 && w.State.Size() == stood[i-1].State.Size() {
				continue // time passed
			}
			some := all
			if os.Getenv("FETTLE_LONG") == "" { // one finding in ten, after two steps and at the end
				if i < len(stood)-1 && random.IntN(len(stood)) > 1 {
					continue
				}
				keep := map[string]bool{}
				some = slices.DeleteFunc(slices.Clone(all), func(s workflow.Sighting) bool {
					of := s.Finding + " " + s.Zone
					if _, known := keep[of]; !known {
						keep[of] = random.IntN(10) == 0
					}
					return !keep[of]
				})
			}
			planMatrix(w, table, some, count, func(err error) {
				if said := design.State.Airframe.Design + ": " + err.Error(); faults[said] == 0 {
					faults[said] = w.State.Size()
				}
			})
		}
	}
	for _, said := range slices.Sorted(maps.Keys(faults)) {
		t.Errorf("%s (first before entry %d)", said, faults[said])
	}
	for why, n := range count {
		t.Logf("%6d %s", n, why)
	}
	if count[""] < 60 {
		t.Errorf("%d were planned", count[""])
	}
}
