package workflow

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
	"fettle/workflow/repair"
)

// A RepairPlan is every open damage with its answer, and one procedure for all.
type RepairPlan struct {
	Answers   []repair.Answer
	Procedure *steps.Procedure
	For       map[string][]string // the damages that each step is there for
	Stale     []WillBeStale       // the gates that its job asks for
	Else      []WillBeStale       // those that are stale now, and that it does not ask for
	// Amends is what it changes of the open repair; nil: it is a job of its own.
	Amends *Amend
}

// WillBeStale is a gate that is stale now or that the repair makes stale, with
// every reason.
type WillBeStale struct {
	Gate string
	Why  []Cause
}

// PlanRepair plans the repair of every damage without a repair job, or of those
// that are named. A repair that is open is amended: the plan is for its damages too.
func (s *State) PlanRepair(triage *steps.Triage, find func(name string) (*steps.Procedure, error), at time.Time, only ...string) (RepairPlan, error) {
	found := slices.DeleteFunc(s.Unplanned(at), func(d *Damage) bool { return len(only) > 0 && !slices.Contains(only, d.Damage) })
	plan, err := s.amended(triage, find, found, at)
	if err != nil {
		return RepairPlan{}, err
	}
	if plan.Amends == nil {
		if len(found) == 0 {
			why, do := "every damage already has a repair job", ToSeeNext
			if len(s.OpenDamages(at)) == 0 {
				why, do = "no damage is open", ToReportDamage
			}
			return RepairPlan{}, refuse("repair of "+s.Airframe.Mark, ByState, why, s.remedy(Remedy{Kind: do}))
		}
		if plan, err = s.plan(triage, find, found); err != nil {
			return RepairPlan{}, err
		}
	}
	plan.Stale, plan.Else = s.staleSoon(plan, at)
	return plan, nil
}

// plan is the plan for the damages.
func (s *State) plan(triage *steps.Triage, find func(name string) (*steps.Procedure, error), damages []*Damage) (RepairPlan, error) {
	var plan RepairPlan
	for _, d := range damages {
		answer := repair.Answer{Damage: repair.Damage{Name: d.Damage, Finding: d.Finding, Zone: d.Zone, Severity: d.Severity, Note: d.Note}}
		answer.At = triage.Fits(cmp.Or(d.As, d.Finding), d.Zone, d.Severity)
		answer.Row, answer.Known = triage.Answer(cmp.Or(d.As, d.Finding), d.Zone, d.Severity)
		if answer.Row.Procedure != "" {
			var err error
			if answer.Procedure, err = find(answer.Row.Procedure); err != nil {
				return RepairPlan{}, fmt.Errorf("the answer to %s: %w", d.Damage, err)
			}
			if on := answer.Procedure.On; len(on) > 0 {
				answer.Zone = d.Zone
				if !slices.Contains(on, answer.Zone) {
					return RepairPlan{}, refuse("repair of "+d.Damage, ByState, fmt.Sprintf("%s does not cover zone %s", answer.Procedure.Name, answer.Zone), Remedy{Kind: ToAddTriageRow})
				}
			}
		}
		plan.Answers = append(plan.Answers, answer)
	}
	composed := repair.Compose(plan.Answers, s.toRepair())
	plan.Procedure, plan.For = composed.Procedure, composed.For
	return plan, nil
}

// toRepair is what a plan of repair must know of the airframe.
func (s *State) toRepair() repair.Airframe {
	on := repair.Airframe{Sheet: s.Sheet, Gates: s.Sheet.GatesFor(s.selected)}
	for _, j := range s.Jobs {
		if j.Procedure.Kind == steps.Build {
			on.Made = j.Procedure.Made()
		}
	}
	return on
}

// staleSoon returns the gates that the plan will ask for, since it or its damages
// disturb them or a step names them, and those that are not met for other reasons.
func (s *State) staleSoon(plan RepairPlan, at time.Time) (asked, other []WillBeStale) {
	var damaged []string
	for _, a := range plan.Answers {
		_, zones := damageDisturbs(journal.DamageFound{Zone: a.Damage.Zone, Severity: a.Damage.Severity})
		damaged = append(damaged, zones...)
	}
	selected := steps.Selection{Has: slices.Clone(s.selected.Has)}
	for _, step := range plan.Procedure.Steps() { // whichever will be chosen
		for _, m := range step.Methods {
			selected.Has = append(selected.Has, m.Name)
		}
	}
	procedure := plan.Procedure.For(selected, "")
	for _, g := range s.Gates(at) {
		one := WillBeStale{Gate: g.Gate.Name}
		taken := g.Standing != NeverTaken
		if !g.Met() && taken && !g.Gate.Work {
			one.Why = append(one.Why, g.Says())
		}
		var worked []string
		named := false
		for _, step := range procedure.Steps() {
			named = named || slices.Contains(step.Gates, g.Gate.Name)
			for _, z := range step.Disturbs {
				if g.Gate.DependsOn(z) && !slices.Contains(worked, z) {
					worked = append(worked, z)
				}
			}
		}
		if len(worked) > 0 {
			one.Why = append(one.Why, Cause{Text: "the plan works on " + strings.Join(worked, ", ")})
		}
		switch {
		case len(one.Why) == 0:
		case len(worked) > 0 || named || taken && g.Gate.DependsOn(damaged...):
			asked = append(asked, one)
		default:
			other = append(other, one)
		}
	}
	return asked, other
}
