package workflow

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/repair"
)

// A RepairPlan is every open damage with its answer, and one procedure for all.
type RepairPlan struct {
	repair.Plan
	Answers []repair.Answer
	Stale   []WillBeStale // the gates that its job asks for since it or its damages disturb them
	Else    []WillBeStale // those that it asks for for other reasons
	Time    repair.Time
	Climate Climates     // that the time is of, and the plan of its days
	Parts   []steps.Part // that it takes
	Uses    []Uses       // what its steps are done with: adhesives, then tools
	Check   *Reason      // the check that is due before it; nil: none
	// Amends is what it changes of the open repair; nil: it is a job of its own.
	Amends *Amend
}

// Uses are an adhesive, of which there may be several to choose from, or a tool, with the
// steps that are done with it.
type Uses struct {
	OneOf []steps.Use
	Steps []string
}

// WillBeStale is a gate that is stale now or that the repair makes stale, with
// every reason.
type WillBeStale struct {
	Gate string
	Why  []Cause
}

// PlanRepair plans the repair of every damage without a repair job, or of those
// that are named. A repair that is open is amended: the plan is for its damages too. Of the
// name of a design, find returns its build.
func (s *State) PlanRepair(triage *steps.Triage, find func(name string) (*steps.Procedure, error), at time.Time, only ...string) (RepairPlan, error) {
	if err := s.closedTo(Start{}); err != nil {
		return RepairPlan{}, err
	}
	found := sorting.Delete(s.Unplanned(at), func(d *Damage) bool { return len(only) > 0 && !lists.Contains(only, d.Damage) })
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
		if plan, err = s.plan(triage, find, found, at); err != nil {
			return RepairPlan{}, err
		}
	}
	plan.Check = s.Unchecked(at)
	plan.Stale, plan.Else = s.staleSoon(plan, at)
	return plan, nil
}

// OpenPlan is the plan of the repair that is open, and its job; false: none is, or its
// documents make another plan by now.
func (s *State) OpenPlan(triage *steps.Triage, find func(name string) (*steps.Procedure, error), at time.Time) (plan RepairPlan, job string, ok bool) {
	open := s.OpenRepair(at)
	if open == nil {
		return RepairPlan{}, "", false
	}
	var damages []*Damage
	for _, name := range open.Damages {
		damages = append(damages, s.everFound(name))
	}
	plan, err := s.plan(triage, find, damages, at)
	alike := func(a, b *steps.Step) bool { return a.Name == b.Name }
	if err != nil || !slices.EqualFunc(plan.Procedure.Steps(), open.written.Steps(), alike) {
		return RepairPlan{}, "", false
	}
	plan.Check = s.Unchecked(at)
	plan.Stale, plan.Else = s.staleSoon(plan, at)
	return plan, open.ID, true
}

// plan is the plan for the damages.
func (s *State) plan(triage *steps.Triage, find func(name string) (*steps.Procedure, error), damages []*Damage, at time.Time) (RepairPlan, error) {
	var plan RepairPlan
	var lost []int
	var reasons []Reason
	var missing []error // answers of which the procedure is not found
	build := sync.OnceValues(func() (*steps.Procedure, func(string) bool) { return s.built(find, at) })
	zones := s.Zones(at)
	for _, d := range damages {
		answer := repair.Answer{Damage: repair.Damage{Name: d.Damage, Finding: d.Finding, Zone: d.Zone, Severity: d.Severity, Note: d.Note, Place: d.Place, Cause: d.Cause}}
		answer.At = triage.Fits(cmp.Or(d.As, d.Finding), d.Zone, d.Severity)
		answer.Row, answer.Known = s.answer(triage, d)
		if answer.Known {
			answer.Row = notLess(answer.Row, triage, find, d)
		}
		if isLost(answer, zones, build) {
			lost = append(lost, len(plan.Answers))
		} else if answer.Row.Procedure != "" {
			var err error
			if answer.Procedure, err = find(answer.Row.Procedure); err != nil {
				missing = append(missing, fmt.Errorf("the answer to %s: %w", d.Damage, err))
			} else if on := answer.Procedure.On; len(on) > 0 {
				answer.Zone = d.Zone
				if !lists.Contains(on, answer.Zone) {
					reasons = append(reasons, Reason{Because: ByState, Text: fmt.Sprintf("%s, the answer to %s, does not cover zone %s", answer.Procedure.Name, d.Damage, answer.Zone), Remedy: Remedy{Kind: ToAddTriageRow}})
				}
			}
		}
		plan.Answers = append(plan.Answers, answer)
	}
	lost = append(lost, freed(plan.Answers, lost, build)...)
	reasons = append(reasons, s.rebuild(damages, plan.Answers, lost, build, triage, find, at)...)
	for i, a := range plan.Answers {
		for _, by := range plan.Answers {
			if len(a.Retires) == 0 && a.Row.Outcome != steps.ToRebuild && lists.Contains(by.Retires, a.Damage.Zone) { // no step of its own answer is in the plan
				plan.Answers[i].Row = steps.Row{Findings: a.Row.Findings, Outcome: steps.ToRebuild, Why: fmt.Sprintf("The %s is made anew for %s.", a.Damage.Zone, by.Damage.Name)}
			}
		}
	}
	if len(missing) > 0 && len(reasons) == 0 {
		return RepairPlan{}, errors.Join(missing...)
	}
	for _, err := range missing {
		reasons = append(reasons, Reason{Because: ByState, Text: err.Error()})
	}
	if len(reasons) > 0 {
		return RepairPlan{}, &Refusal{What: "repair of " + s.Airframe.Mark, Reasons: reasons}
	}
	on := s.toRepair(at)
	if len(on.Made) == 0 { // it was taken over as built
		if procedure, _ := build(); procedure != nil {
			on.Made = procedure.Made()
		}
	}
	plan.Plan = repair.Compose(plan.Answers, on)
	plan.Climate.Mark = s.Airframe.Mark
	plan.Climate.Celsius, plan.Climate.Read = s.benchToCome(at)
	climate := bond.Even(plan.Climate.Celsius)
	plan.Time = repair.TimeOf(plan.Procedure.For(s.selected, ""), func(name string) repair.Clocks {
		a, _ := s.Sheet.Adhesive(name)
		return repair.Clocks{Open: a.Times.Least(a.Times.From, climate), Handling: a.Times.Least(a.Times.Handling, climate), Cure: a.Times.Least(a.Times.Cure, climate)}
	})
	plan.Uses = s.usesOf(plan.Procedure)
	if _, parts, err := plan.Procedure.Things(); err == nil {
		plan.Parts = parts
	} else { // two procedures count one part in ways that can't be added up
		for _, step := range plan.Procedure.Steps() {
			plan.Parts = append(plan.Parts, step.Parts...)
		}
	}
	return plan, nil
}

// answer is the row of the tables that answers the damage, and whether one does. Damage that
// was taken back is not repaired but looked at where its thing is still in a quarantine, which
// that thing leaves by its own rules or not at all: a row would have it replaced as well.
func (s *State) answer(triage *steps.Triage, d *Damage) (row steps.Row, known bool) {
	if _, held := s.Quarantine(d.For); held && triage.Unknown != "" {
		return steps.Row{Findings: []string{d.Finding}, Outcome: steps.ToRepair, Procedure: triage.Unknown, Why: "The finding was taken back, so the place is looked at. What is in quarantine stays there till it is cleared."}, false
	}
	return triage.Answer(cmp.Or(d.As, d.Finding), d.Zone, d.Severity)
}

// notLess is the row itself, unless its procedure asks less than the answer to lighter damage
// of the kind, as a row of one's own may: then the next row that asks less than none of these
// answers, or else the last of them, of which that is true.
func notLess(row steps.Row, triage *steps.Triage, find func(name string) (*steps.Procedure, error), d *Damage) steps.Row {
	finding := cmp.Or(d.As, d.Finding)
	less := func(row, lighter steps.Row) bool {
		if row.Outcome == steps.ToRebuild || row.Renews() && !lighter.Renews() {
			return false
		}
		now, err := find(row.Procedure)
		if err != nil || now == nil { // said as a cause
			return false
		}
		if lighter.Outcome == steps.ToRebuild {
			return true
		}
		was, err := find(lighter.Procedure)
		return err == nil && was != nil && repair.AsksOf(now, d.Zone).Less(repair.AsksOf(was, d.Zone)) != ""
	}
	var lighter []steps.Row // what is done for it, the lightest first
	var of []string
	answer := func(row steps.Row, severity string) steps.Row {
		first := slices.IndexFunc(lighter, func(l steps.Row) bool { return less(row, l) })
		if first < 0 {
			return row
		}
		why := fmt.Sprintf(" The first row, %s, asks less than the answer to %s damage.", row.Procedure, of[first])
		for _, row = range append(triage.Fitting(finding, d.Zone, severity), lighter[len(lighter)-1]) {
			if !slices.ContainsFunc(lighter, func(l steps.Row) bool { return less(row, l) }) {
				break
			}
		}
		row.Why += why
		return row
	}
	graver := func(severity string) bool {
		return lists.Index(steps.Severities(), severity) >= lists.Index(steps.Severities(), d.Severity)
	}
	for _, severity := range sorting.Delete(triage.Possible(finding, d.Zone), graver) {
		if row, known := triage.Answer(finding, d.Zone, severity); known {
			lighter, of = append(lighter, answer(row, severity)), append(of, severity)
		}
	}
	return answer(row, d.Severity)
}

// usesOf are what the steps of a plan are done with. Shipped repairs name no tools: one
// that asks for a condition is among them where the repair itself brings that about.
func (s *State) usesOf(plan *steps.Procedure) []Uses {
	var adhesives, tools []Uses
	add := func(to *[]Uses, step string, names ...string) {
		var of Uses
		for _, name := range names {
			if use, ok := s.Sheet.Use(name); ok {
				of.OneOf = append(of.OneOf, use)
			}
		}
		same := func(u Uses) bool {
			return slices.EqualFunc(u.OneOf, of.OneOf, func(a, b steps.Use) bool { return a.Name == b.Name })
		}
		if i := slices.IndexFunc(*to, same); i >= 0 {
			(*to)[i].Steps = append((*to)[i].Steps, step)
		} else if len(of.OneOf) > 0 {
			*to = append(*to, Uses{of.OneOf, []string{step}})
		}
	}
	for _, stage := range plan.Stages {
		for _, step := range stage.Steps {
			add(&adhesives, step.Name, step.Adhesives...)
			for _, tool := range s.Sheet.Tools {
				brings := func(set steps.Setting) bool { return lists.Contains(tool.Needs, set) }
				if lists.Contains(step.Tools, tool.Name) || stage.Phase != steps.Safe && slices.ContainsFunc(step.Sets, brings) {
					add(&tools, step.Name, tool.Name)
				}
			}
		}
	}
	return append(adhesives, tools...)
}

// toRepair is what a plan of repair must know of the airframe.
func (s *State) toRepair(at time.Time) repair.Airframe {
	zones := s.Zones(at)
	return repair.Airframe{Sheet: s.Sheet, Gates: s.Sheet.GatesFor(s.selected), Made: zones.Making,
		There: func(zone string) bool { return zones.Zone(zone).Standing == ZoneThere },
		Begun: func(zone string) bool { return zones.Zone(zone).There() }}
}

// staleSoon returns the gates that will be due once the plan is carried out: those that
// it or its damages disturb, and those that are due for other reasons.
func (s *State) staleSoon(plan RepairPlan, at time.Time) (asked, other []WillBeStale) {
	var damaged, coming []string
	for _, a := range plan.Answers {
		damaged = append(damaged, a.Damage.Zone)
	}
	selected := steps.Selection{Has: lists.Clone(s.selected.Has)}
	for _, step := range plan.Procedure.Steps() { // whichever will be chosen
		for _, m := range step.Methods {
			selected.Has = append(selected.Has, m.Name)
		}
	}
	is := map[string][]said{} // what the steps before will have set
	for _, step := range plan.Procedure.For(selected, "").Steps() {
		coming = append(coming, s.disturbing(*step)...)
		for _, set := range step.Sets {
			before, known := is[set.Condition]
			if !known {
				before = s.said[set.Condition]
			}
			if !s.stood(set, before) {
				coming = append(coming, s.Sheet.Handled(set.Condition)...)
			}
			is[set.Condition] = []said{{state: set.State}}
		}
	}
	for _, g := range s.Due(at, coming...) {
		one := WillBeStale{Gate: g.Gate.Name}
		if !g.Met() {
			one.Why = append(one.Why, g.Says())
		}
		var worked []string
		for _, z := range coming {
			if g.Gate.Touched(z) && !lists.Contains(worked, z) {
				worked = append(worked, z)
			}
		}
		if len(worked) > 0 {
			one.Why = append(one.Why, Cause{Text: "the plan works on " + strings.Join(worked, ", ")})
		}
		if len(worked) > 0 || g.Gate.DependsOn(damaged...) {
			asked = append(asked, one)
		} else {
			other = append(other, one)
		}
	}
	return asked, other
}
