package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// onlyScraps refuses what is started by hand and throws a part away that no later step
// of it works on: nothing would make it anew, as a plan of repair does.
func (s *State) onlyScraps(r Start, at time.Time) *Reason {
	if len(r.Damages) > 0 {
		return nil
	}
	var gone []string
	for _, step := range r.Procedure.Steps() {
		gone = sorting.Delete(gone, func(z string) bool { return lists.Contains(step.Disturbs, z) })
		gone = append(gone, step.Retires...)
	}
	if len(gone) == 0 {
		return nil
	}
	if gone[0] == steps.Here {
		gone[0] = r.Zone
	}
	do := Remedy{Kind: ToReportDamage}
	if slices.ContainsFunc(s.Unplanned(at), func(d *Damage) bool { return d.Zone == gone[0] && d.Severity == steps.Total }) {
		do.Kind = ToPlanRepair
	}
	return &Reason{Because: ByState, Text: fmt.Sprintf("it throws the %s away and makes no new one; damage that is total is answered by a repair that does both", gone[0]), Remedy: s.remedy(do)}
}

// retiring adds to the facts that complete a step that it throws a part away.
func (s *State) retiring(job *Job, step steps.Step, done []journal.Facts) []journal.Facts {
	completes := slices.ContainsFunc(done, func(f journal.Facts) bool { return f.Kind() == s.kinds[step.Kind].completed })
	if len(step.Retires) == 0 || !completes {
		return done
	}
	f := journal.PartRetired{Job: job.ID, Step: step.Name, Zones: step.Retires}
	for _, d := range s.Damages {
		if lists.Contains(job.Damages, d.Damage) && lists.Contains(step.Retires, d.Zone) {
			f.Damages = append(f.Damages, d.Damage)
		}
	}
	return append(done, f)
}

// retire takes the joints of what was thrown away out of what is known of the
// airframe. The steps that made them stay done, since the new part has steps of its own,
// but those of the same job: they are what makes it anew.
func (s *State) retire(e journal.Entry) error {
	f := e.Facts.(journal.PartRetired)
	for _, z := range f.Zones {
		s.lost[z] = retirement{e.Position, f.Job}
	}
	for _, job := range append(s.Jobs[:len(s.Jobs):len(s.Jobs)], s.reworks) {
		for name, parts := range job.joints {
			held := job.Procedure.HeldBy(name)
			for i, j := range parts {
				lost := func(z string) bool { return lists.Contains(f.Zones, z) }
				switch {
				case !lists.ContainsFunc(held, lost) && !lists.ContainsFunc(j.Zones, lost):
				case j.Joined.IsZero(): // the coat went with it
					parts[i] = job.fresh(name, j.part)
				case j.Joined.After(e.At):
				case job.ID != f.Job || i >= len(job.Procedure.JointParts(name)): // of an amended plan, which joins it no more
					j.gone = true
				default:
					by := moment{e.Position, e.At, "since the " + strings.Join(f.Zones, " and ") + " was thrown away"}
					of := job.Procedure.JointParts(name)[i]
					for _, step := range append(lists.Clone(of.Coats), of.Join) {
						job.reopen(step, by)
					}
				}
			}
		}
	}
	return nil
}

// renew takes the joints that went with a part which a step cuts out, to be replaced by
// the same job, out of what is known of the airframe: those of other jobs that held
// nothing else, and those by which a repair before set such a part, whatever else these
// held. A seat of the build that holds more stays: half of it may.
func (s *State) renew(by *Job, zones []string, at time.Time) {
	if len(zones) == 0 {
		return
	}
	other := func(z string) bool { return !lists.Contains(zones, z) }
	for _, job := range s.Jobs {
		for name, parts := range job.joints {
			held := job.Procedure.HeldBy(name)
			set := sorting.Delete(lists.Clone(held), func(z string) bool {
				return !steps.AnyStep(job.Procedure.Steps(), func(step *steps.Step) bool { return lists.Contains(step.Renews, z) })
			})
			if len(set) > 0 {
				held = set
			}
			if job == by || len(held) == 0 || lists.ContainsFunc(held, other) {
				continue
			}
			for _, j := range parts {
				j.gone = j.gone || !j.Joined.IsZero() && !j.Joined.After(at)
			}
		}
	}
}

// notMade says that what was thrown away is not there, and how it is made again.
func (s *State) notMade(zone ZoneReport, at time.Time) *Reason {
	r := Reason{Because: ByState, Text: fmt.Sprintf("the %s was thrown away and is not made again", zone.Zone)}
	open := slices.ContainsFunc(s.OpenDamages(at), func(d *Damage) bool { return d.Zone == zone.Zone })
	if !zone.Making && !open { // else job and damage say so
		r.Remedy = s.remedy(Remedy{Kind: ToReportDamage})
	}
	return &r
}

func retireDisturbs(f journal.Facts) (by string, zones []string) {
	zones = f.(journal.PartRetired).Zones
	return "the " + strings.Join(zones, " and ") + " being thrown away", zones
}

// RetiredBy returns what the step that the entry completes threw away; false:
// nothing.
func (s *State) RetiredBy(completing int64) (journal.PartRetired, bool) {
	if completing+1 >= s.Size() {
		return journal.PartRetired{}, false
	}
	f, ok := s.Entries[completing+1].Facts.(journal.PartRetired)
	work, done := journal.WorkOf(s.Entries[completing].Facts)
	return f, ok && done && f.Job == work.Job && f.Step == work.Step
}

// whatRetired is the entry that completes the step which threw the part away.
func whatRetired(s *State, e journal.Entry) []int64 {
	if _, ok := s.RetiredBy(e.Position - 1); ok {
		return []int64{e.Position - 1}
	}
	return nil
}
