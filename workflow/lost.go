package workflow

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/repair"
)

// isLost reports whether the answer is to make the part anew. A part that is to be replaced and sits
// nowhere yet is made anew too: there is nothing to cut it out of. Damage in words of one's own that
// is total means that, where the build makes the zone.
func isLost(a repair.Answer, zones Zones, built func() (*steps.Procedure, func(string) bool)) bool {
	if remade(a.Row, zones.Zone(a.Damage.Zone)) {
		return true
	}
	if a.Known || a.Damage.Severity != steps.Total {
		return false
	}
	build, _ := built()
	return build != nil && repair.Makes(build, a.Damage.Zone)
}

// remade reports whether the row has the zone made anew, as it stands: what was thrown away
// can only be made anew.
func remade(row steps.Row, zone ZoneReport) bool {
	return zone.Standing == ZoneLost && !zone.Making || row.Outcome == steps.ToRebuild || row.Outcome == steps.ToReplace && zone.Loose
}

// freed are the answers that replace a part which is parted from what is lost: it is made
// anew with that. Put on the new part first, it would be cut out of it again.
func freed(answers []repair.Answer, lost []int, built func() (*steps.Procedure, func(string) bool)) []int {
	if len(lost) == 0 {
		return nil
	}
	build, _ := built()
	if build == nil {
		return nil
	}
	seats := build.SeatsMade()
	var all []int
	for i, a := range answers {
		isFrom := func(k int) bool {
			return lists.Contains(seats, steps.Seat{Zone: a.Damage.Zone, On: answers[k].Damage.Zone})
		}
		if !lists.Contains(lost, i) && a.Row.Outcome == steps.ToReplace && slices.ContainsFunc(lost, isFrom) {
			all = append(all, i)
		}
	}
	return all
}

// built is the build of the airframe, and which of its steps are done; nil: all. An
// airframe without one on record that says what it makes goes by that of the library.
func (s *State) built(find func(name string) (*steps.Procedure, error), at time.Time) (build *steps.Procedure, done func(step string) bool) {
	for _, job := range slices.Backward(s.Builds()) {
		if job.Procedure.Design != s.Airframe.Design || len(job.Procedure.Made()) == 0 {
			continue
		}
		if !s.Open(job, at) {
			return job.Procedure, nil
		}
		met := map[string]bool{}
		for _, stage := range job.Procedure.Stages {
			for i := range stage.Steps {
				met[stage.Steps[i].Name] = s.met(job, stage, i, at)
			}
		}
		return job.Procedure, func(step string) bool { return met[step] }
	}
	if build, err := find(s.Airframe.Design); err == nil && build != nil {
		return build.For(build.ByFirst(s.selected), ""), nil // which way it was built nobody knows
	}
	return nil, nil
}

// rebuild gives the lost parts their procedure, one for all that are taken off
// alike, and returns why that cannot be.
func (s *State) rebuild(damages []*Damage, answers []repair.Answer, lost []int, built func() (*steps.Procedure, func(string) bool), triage *steps.Triage, find func(name string) (*steps.Procedure, error), at time.Time) []Reason {
	if len(lost) == 0 {
		return nil
	}
	build, done := built()
	zones := s.Zones(at)
	var reasons []Reason
	by := map[string][]int{} // of each procedure that takes them off, the answers
	var offs []string
	for _, i := range lost {
		a := &answers[i]
		switch {
		case a.Row.Outcome == steps.ToRebuild:
		case a.Row.Outcome == steps.ToReplace && a.Known:
			a.Row.Outcome, a.Row.Procedure, a.Procedure = steps.ToRebuild, "", nil
			a.Row.Why += " It sits on nothing, so it is made anew and not cut out."
		default:
			a.Row = steps.Row{Findings: a.Row.Findings, Outcome: steps.ToRebuild, Why: "It is lost, and the build says how it is made."}
		}
		off := a.Row.Procedure
		if off == "" {
			off = triage.Lost
		}
		if by[off] == nil {
			offs = append(offs, off)
		}
		by[off] = append(by[off], i)
	}
	for _, off := range offs {
		loss := repair.Loss{Build: build, Done: done, Sheet: s.Sheet, There: func(zone string) bool { return zones.Zone(zone).Standing != ZoneAbsent }}
		if off != "" {
			loss.Off, _ = find(off) // without it, that is a cause
		}
		for _, i := range by[off] {
			if z := answers[i].Damage.Zone; !lists.Contains(loss.Zones, z) {
				loss.Zones = append(loss.Zones, z)
			}
			loss.Lighter = append(loss.Lighter, disturbedByLighter(triage, find, damages[i])...)
		}
		rebuilt, err := repair.Rebuild(loss)
		var no *repair.NoWayError
		if errors.As(err, &no) {
			do := Remedy{Kind: ToAddTriageRow}
			if open := s.OpenJobs(at); no.Other && len(open) > 0 { // by older documents than the library's
				do = s.remedy(Remedy{Kind: ToMoveJob, Name: open[0].ID})
			}
			for _, cause := range no.Causes {
				reasons = append(reasons, Reason{Because: ByState, Remedy: do,
					Text: fmt.Sprintf("the lost %s cannot be made anew: %s", strings.Join(no.Zones, " and "), cause)})
			}
			continue
		}
		for n, i := range by[off] {
			answers[i].Procedure, answers[i].Zone = rebuilt.Procedure, loss.Zones[0]
			if n == 0 { // which takes the others in
				answers[i].Retires = rebuilt.Retires
			}
			if len(rebuilt.Wider) > 0 {
				answers[i].Row.Why += fmt.Sprintf(" The %s goes with it: one is not made without the other.", strings.Join(rebuilt.Wider, " and "))
			}
			if rebuilt.Most && n == 0 { // said of all that is lost
				answers[i].Row.Why += fmt.Sprintf(" To make %s anew takes more than half of the work of the build: you may rather build a new airframe.", strings.Join(rebuilt.Retires, " and "))
			}
		}
	}
	return reasons
}

// disturbedByLighter are the zones that the answers to lighter damage of the same kind
// disturb, whatever is chosen.
func disturbedByLighter(triage *steps.Triage, find func(name string) (*steps.Procedure, error), d *Damage) []string {
	finding := cmp.Or(d.As, d.Finding)
	var zones []string
	for _, severity := range triage.Possible(finding, d.Zone) {
		row, _ := triage.Answer(finding, d.Zone, severity)
		if severity == d.Severity || row.Outcome == steps.ToRebuild || row.Procedure == "" {
			continue
		}
		if p, err := find(row.Procedure); err == nil {
			for _, s := range p.Steps() {
				for _, z := range s.Disturbs {
					if z == steps.Here {
						z = d.Zone
					}
					zones = append(zones, z)
				}
			}
		}
	}
	return zones
}
