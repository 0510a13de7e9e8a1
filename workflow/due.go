package workflow

import (
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// Due returns the gates that must be measured before the airframe may fly. The plan
// of a repair shows them, its job asks for them, and a release wants none left.
// coming are zones that will still be disturbed, and their gates with them.
//
// Not due is a gate of the work, one of a zone that is not there, and one that an open
// build will ask for as soon as it can be measured at all.
func (s *State) Due(at time.Time, coming ...string) []GateReport {
	zones := s.Zones(at)
	left := s.leftToBuild(at)
	var due []GateReport
	for _, r := range s.Gates(at) {
		switch {
		case r.Gate.Work || zones.Absent(r.Gate.Of...):
		case r.Met() && !r.Gate.Touched(coming...):
		case lists.Contains(left, r.Gate.Name) && (r.Standing == NeverTaken || zones.unfinished(r.Gate.Of...)):
		default:
			due = append(due, r)
		}
	}
	return due
}

// leftToBuild are the gates that a step of an open build still asks for by name, but for
// one that was found not to be met after it had passed.
func (s *State) leftToBuild(at time.Time) []string {
	var names []string
	for _, j := range s.Builds() {
		for _, stage := range j.Procedure.Stages {
			for i := range stage.Steps {
				if len(stage.Steps[i].Gates) > 0 && !s.met(j, stage, i, at) && s.failing(j, stage, i, at) == nil {
					names = append(names, stage.Steps[i].Gates...)
				}
			}
		}
	}
	return names
}

// MeasuredLater are the gates that a step of an open job still asks for, those among them
// that it will only then find stale.
func (s *State) MeasuredLater(at time.Time) map[string]bool {
	later := map[string]bool{}
	for _, j := range s.OpenJobs(at) {
		for _, stage := range j.Procedure.Stages {
			for i, step := range stage.Steps {
				if len(step.Gates) == 0 || s.met(j, stage, i, at) {
					continue
				}
				for _, r := range s.GatesOf(j, step, at) {
					later[r.Gate.Name] = true
				}
			}
		}
	}
	return later
}

// GatesOf returns the gates that a measure step asks for. The word Stale asks for
// every gate that is due and that the step can measure, but for those of other
// damage, whose repair will ask for them; what the job made stale and was measured
// since stands beside them. A job that takes the airframe over works on all of it. A gate
// of the work counts by what was read since the step before.
func (s *State) GatesOf(j *Job, step steps.Step, at time.Time) []GateReport {
	var due []GateReport
	var worked, others []string
	var turn turn
	stale := lists.Contains(step.Gates, steps.Stale)
	if stale {
		due, worked, turn = s.Due(at), append(s.disturbedBy(j), s.damagedFor(j)...), s.turn(j, step)
		if j.Procedure.Accepts != "" { // what was built before nobody saw, whatever a build on record says is there
			worked = s.Sheet.Zones
			due = s.GatesOfUse(at)
		}
		for _, d := range s.OpenDamages(at) {
			if !lists.Contains(j.Damages, d.Damage) {
				others = append(others, d.Zone)
			}
		}
	}
	var reports []GateReport
	for _, g := range s.Sheet.GatesFor(s.selected) {
		dueAt := slices.IndexFunc(due, func(r GateReport) bool { return r.Gate.Name == g.Name })
		switch asked := lists.Contains(step.Gates, g.Name); {
		case asked && g.Work:
			reports = append(reports, s.reportFrom(g, s.readFrom(j, step, at), at))
		case asked:
			reports = append(reports, s.measured(g, at))
		case dueAt >= 0 && turn.takes(g) && (!g.DependsOn(others...) || g.DependsOn(worked...)):
			reports = append(reports, due[dueAt])
		case stale && g.DependsOn(worked...) && turn.takes(g):
			if report := s.report(g, at); report.Met() {
				reports = append(reports, report)
			}
		}
	}
	return reports
}

// A turn is what a step can measure that asks for what is stale: of several such
// steps each measures what later ones cannot, and what nothing after it disturbs.
type turn struct {
	last   bool            // no such step comes after it: it measures all that is left
	coming []string        // the zones that the steps after it disturb
	needs  []steps.Setting // what must stand there
	before []turn          // of such steps before it that are done while something stands otherwise: what those take is theirs
}

// turn is that of the step. What may be done beside it comes after it.
func (s *State) turn(j *Job, step steps.Step) turn {
	t := turn{last: true, needs: step.Needs}
	j.before(step, func(stage steps.Stage, i int) {
		if of := &stage.Steps[i]; lists.Contains(of.Gates, steps.Stale) && steps.AnySetting(of.Needs, t.otherwise) {
			t.before = append(t.before, s.turn(j, *of))
		}
	})
	_, own, _ := j.Procedure.Step(step.Name)
	before := j.Procedure.Before(own.Name)
	for _, stage := range j.Procedure.Stages {
		if lists.Contains(before, stage.Name) {
			continue
		}
		coming := stage.Steps
		if stage.Name == own.Name {
			coming = coming[1+slices.IndexFunc(coming, func(s steps.Step) bool { return s.Name == step.Name }):]
		}
		for i := range coming {
			after := &coming[i]
			t.coming = append(t.coming, s.disturbing(*after)...)
			for _, set := range after.Sets {
				if !lists.Contains(t.needs, set) {
					t.coming = append(t.coming, s.Sheet.Handled(set.Condition)...)
				}
			}
			t.last = t.last && !(lists.Contains(after.Gates, steps.Stale) &&
				(stage.Name == own.Name || lists.Contains(j.Procedure.Before(stage.Name), own.Name)))
		}
	}
	return t
}

// disturbing are the zones that a step disturbs, whatever is chosen at it.
func (s *State) disturbing(step steps.Step) []string {
	if step.Choose != "" && s.Sheet.Geometry.DependsOn(step.Asked(s.Sheet).Names()...) {
		return append(lists.Clone(step.Disturbs), steps.MassZone)
	}
	return step.Disturbs
}

// takes reports whether the gate is measured now and not later.
func (t turn) takes(g steps.Gate) bool {
	if slices.ContainsFunc(t.before, func(of turn) bool { return of.takes(g) }) {
		return false
	}
	return t.last || !g.Touched(t.coming...) && !slices.ContainsFunc(g.Needs, t.otherwise)
}

// otherwise reports whether a condition that is needed stands otherwise there.
func (t turn) otherwise(need steps.Setting) bool {
	return steps.AnySetting(t.needs, func(n steps.Setting) bool { return n.Condition == need.Condition && n.State != need.State })
}

// disturbedAfter is a gate that a step which asks for what is stale took, and that was disturbed since, while a step is still to be done that
// measures the rest while something stands otherwise: what is measured with the plug out is measured again before full power. nil: none
// is.
func (s *State) disturbedAfter(done completion, j *Job, step *steps.Step, at time.Time) *GateReport {
	if !lists.Contains(step.Gates, steps.Stale) || !steps.AnyStep(j.Procedure.Steps(), func(after *steps.Step) bool {
		_, over := j.done[after.Name]
		return !over && lists.Contains(after.Gates, steps.Stale) && steps.AnySetting(after.Needs, turn{needs: step.Needs}.otherwise)
	}) {
		return nil
	}
	turn := s.turn(j, *step)
	for _, g := range s.Sheet.GatesFor(s.selected) {
		record := s.gates[g.Name]
		if g.Work || record == nil || len(record.readings) == 0 || !turn.takes(g) {
			continue
		}
		r := s.reportFrom(g, moment{}, at)
		d, _, _ := s.disturbedSince(g, record.readings[0])
		if t := last(record.readings); !r.Met() && (t.position > done.position || d.position > done.position) {
			return &r
		}
	}
	return nil
}

// disturbedBy returns the zones that the work of the job has disturbed.
func (s *State) disturbedBy(j *Job) []string {
	var zones []string
	for _, e := range s.Entries {
		if work, ok := journal.WorkOf(e.Facts); ok && work.Job == j.ID {
			zones = lists.Concat(zones, work.Disturbs, s.handledAt[e.Position])
		}
	}
	slices.Sort(zones)
	return lists.Compact(zones)
}

// damagedFor returns the zones that the damages of the job have disturbed.
func (s *State) damagedFor(j *Job) []string {
	var zones []string
	for _, d := range s.Damages {
		if _, disturbed := damageDisturbs(d.DamageFound); lists.Contains(j.Damages, d.Damage) {
			zones = append(zones, disturbed...)
		}
	}
	return zones
}
