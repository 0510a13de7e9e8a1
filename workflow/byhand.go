package workflow

import (
	"time"

	"fettle/steps"
	"fettle/steps/sorting"
)

// Answered are the damages without a repair job that a repair started by hand
// repairs: those in its zone that the triage tables answer with its procedure. A
// part that is made anew is never repaired so.
func (s *State) Answered(triage *steps.Triage, r Start, at time.Time) []string {
	zone := r.zone(s)
	zones := s.Zones(at)
	var names []string
	for _, d := range s.Unplanned(at) {
		row, _ := s.answer(triage, d)
		if row.Procedure == r.Procedure.Name && !remade(row, zones.Zone(d.Zone)) && (zone == d.Zone || len(r.Procedure.On) == 0) {
			names = append(names, d.Damage)
		}
	}
	return names
}

// ToPlan reports whether there is something of the airframe to plan: a job is open, damage is to be repaired, or a check is due.
func (s *State) ToPlan(now time.Time) bool {
	return len(s.OpenJobs(now)) > 0 || len(s.Unplanned(now)) > 0 || s.Retired == nil && s.Unchecked(now) != nil
}

// Unplanned are the open damages that no job repairs.
func (s *State) Unplanned(at time.Time) []*Damage {
	return sorting.Delete(s.OpenDamages(at), func(d *Damage) bool {
		_, by := s.Repaired(d, at)
		return by != ""
	})
}

// zone is the zone that it is started on: the one that is named, or the only one
// that there is.
func (r Start) zone(s *State) string {
	if zones := r.zones(s); r.Zone == "" && len(zones) == 1 {
		return zones[0]
	}
	return r.Zone
}
