package workflow

import (
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A ZoneStanding is how far a zone is there, as JSON has it.
type ZoneStanding string

// The values of ZoneStanding.
const (
	ZoneAbsent ZoneStanding = "absent"  // nothing of it is made yet
	ZoneInWork ZoneStanding = "in work" // it is being made
	ZoneThere  ZoneStanding = "there"   // it is made, or no build on record makes it: what is unknown counts as there
	ZoneLost   ZoneStanding = "lost"    // it was thrown away, and is not made again
)

// A ZoneReport is a zone as it stands.
type ZoneReport struct {
	Zone     string
	Standing ZoneStanding
	Seated   []string // of the zones it rests on directly, those that it sits on
	Making   bool     // it is lost, and an open job makes it again
	Loose    bool     // it was made beside what it rests on, and sits on none of that yet
}

// There reports whether there is something of the zone to damage and to measure.
func (z ZoneReport) There() bool { return z.Standing == ZoneThere || z.Standing == ZoneInWork }

// Zones are the zones of an airframe as they stand, in the order in which its build
// makes them; without a build that says so, in the order of the sheet.
type Zones struct {
	Reports []ZoneReport
	Making  steps.Making // by the builds on record; empty: none says what it makes
}

// Zone is the zone of that name.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (z Zones) Zone(name string) ZoneReport {
	if i := slices.IndexFunc(z.Reports, func(r ZoneReport) bool { return r.Zone == name }); i >= 0 {
		return z.Reports[i]
	}
	return ZoneReport{Zone: name, Standing: ZoneThere}
}

// Absent reports whether one of the zones is not there, or not there any more.
func (z Zones) Absent(zones ...string) bool {
	return lists.ContainsFunc(zones, func(name string) bool { return !z.Zone(name).There() })
}

// Lost are the zones that were thrown away and are not made again.
func (z Zones) Lost() []string {
	var lost []string
	for _, r := range z.Reports {
		if r.Standing == ZoneLost {
			lost = append(lost, r.Zone)
		}
	}
	return lost
}

// unfinished reports whether one of the zones is still in work, or does not sit yet on
// what it rests on.
func (z Zones) unfinished(zones ...string) bool {
	return lists.ContainsFunc(zones, func(name string) bool {
		r := z.Zone(name)
		return r.Standing != ZoneThere || len(r.Seated) < len(z.Making.On(name))
	})
}

// SeatedOn are all zones that sit on these, one on another.
func (z Zones) SeatedOn(zones ...string) []string {
	var all []string
	for grown := true; grown; {
		grown = false
		for _, r := range z.Reports {
			on := func(name string) bool { return lists.Contains(zones, name) || lists.Contains(all, name) }
			if !on(r.Zone) && lists.ContainsFunc(r.Seated, on) {
				all, grown = append(all, r.Zone), true
			}
		}
	}
	return all
}

// Builds are the builds on record, complete or not.
func (s *State) Builds() []*Job {
	return sorting.Delete(slices.Clone(s.Jobs), func(j *Job) bool { return j.Procedure.Kind != steps.Build })
}

// Zones are the zones of the airframe as they stand at the time.
func (s *State) Zones(at time.Time) Zones {
	work := func() Zones { return s.zonesTill(s.Size(), at) }
	if s.memo == nil {
		return work()
	}
	zones := s.memo.zones.of(at, work)
	return Zones{slices.Clone(zones.Reports), zones.Making}
}

// zonesTill are the zones by the entries before the position. It is asked while the
// journal is folded.
func (s *State) zonesTill(till int64, at time.Time) Zones {
	builds := s.Builds()
	var procedures []*steps.Procedure
	for _, j := range builds {
		procedures = append(procedures, j.Procedure)
	}
	z := Zones{Making: steps.MadeBy(procedures...)}
	order := z.Making.InOrder()
	for _, zone := range s.Sheet.Zones {
		if !lists.Contains(order, zone) {
			order = append(order, zone)
		}
	}
	worked := s.worked(till)
	for _, zone := range order {
		r := ZoneReport{Zone: zone, Standing: s.zoneStanding(zone, builds, worked, at)}
		if lost, ok := s.lost[zone]; ok && r.Standing == ZoneLost {
			if job, err := s.Job(lost.job); err == nil {
				r.Making = len(job.remaking(zone)) > 0 && s.Open(job, at)
			}
		}
		for _, on := range z.Making.On(zone) {
			apart := slices.ContainsFunc(builds, func(j *Job) bool { return j.Procedure.Apart(zone, on) })
			if r.There() && s.seated(r, on, apart) {
				r.Seated = append(r.Seated, on)
			}
			r.Loose = r.Loose || r.There() && apart
		}
		r.Loose = r.Loose && len(r.Seated) == 0
		z.Reports = append(z.Reports, r)
	}
	return z
}

// zoneStanding is how far the zone is there. Of several builds the one that is
// farthest counts.
func (s *State) zoneStanding(zone string, builds []*Job, worked map[workedOn]bool, at time.Time) ZoneStanding {
	if lost, ok := s.lost[zone]; ok && !s.madeAgain(lost, zone, at) {
		return ZoneLost
	}
	standing := ZoneThere
	for _, j := range builds {
		switch makes, made := s.made(j, zone, at); {
		case !makes:
		case made:
			return ZoneThere
		case worked[workedOn{j.ID, zone}]:
			standing = ZoneInWork
		case standing == ZoneThere:
			standing = ZoneAbsent
		}
	}
	return standing
}

// made reports whether the job makes the zone, and whether all is done that does.
func (s *State) made(j *Job, zone string, at time.Time) (makes, made bool) {
	made = true
	for _, stage := range j.Procedure.Stages {
		for i := range stage.Steps {
			if stage.Steps[i].MakesZone(zone) {
				makes = true
				made = made && s.met(j, stage, i, at)
			}
		}
	}
	return makes, made
}

// A retirement is where a zone was thrown away, and in which job it is made again.
type retirement struct {
	position int64
	job      string
}

// madeAgain reports whether the job that threw a zone away has made it anew: every step
// that does is done, and since then. Where none says that it makes the zone, the job must
// be complete.
func (s *State) madeAgain(lost retirement, zone string, at time.Time) bool {
	job, err := s.Job(lost.job)
	if err != nil {
		return false
	}
	remaking := job.remaking(zone)
	for _, name := range remaking {
		if done, ok := job.done[name]; ok && done.position < lost.position {
			return false
		}
	}
	makes, made := s.made(job, zone, at)
	return len(remaking) > 0 && made && (makes || !s.Open(job, at))
}

// remaking are the steps of a job that make a zone which it throws away: those that say
// so, or else the work on it after that, in a procedure of one's own.
func (j *Job) remaking(zone string) []string {
	var says, works []string
	thrown := false
	for _, step := range j.Procedure.Steps() {
		switch {
		case step.MakesZone(zone):
			says = append(says, step.Name)
		case thrown && lists.Contains(j.worksOn(step), zone):
			works = append(works, step.Name)
		}
		thrown = thrown || lists.Contains(step.Retires, zone)
	}
	if len(says) > 0 {
		return says
	}
	return works
}

// seated reports whether the zone sits on one that it rests on: a step that puts them
// together is done, since either was thrown away. What is made in its place, and not apart
// from it, sits there once it is there.
func (s *State) seated(r ZoneReport, on string, apart bool) bool {
	if !apart && r.Standing == ZoneThere {
		return true
	}
	own, other := s.lost[r.Zone], s.lost[on]
	since := max(own.position, other.position)
	for _, j := range s.Jobs {
		for _, stage := range j.Procedure.Stages {
			for i := range stage.Steps {
				step := &stage.Steps[i]
				done, ok := j.done[step.Name]
				// By all that is written: the join that follows a dry fit may be still to be chosen.
				if ok && done.position >= since && j.Procedure.Seats(step, r.Zone, on) && j.written.Seats(step, r.Zone, on) {
					return true
				}
			}
		}
	}
	return false
}

// workedOn is a zone that work of a job was on.
type workedOn struct{ job, zone string }

// worked are the zones that work which makes them has disturbed. A coat that lapsed
// since was work too, and so is any of it where no step says that it disturbs the zone.
// Only what was entered till then counts.
func (s *State) worked(till int64) map[workedOn]bool {
	silent := map[workedOn]bool{}
	for _, j := range s.Jobs {
		for _, stage := range j.Procedure.Stages {
			for i := range stage.Steps {
				for _, m := range stage.Steps[i].Makes {
					key := workedOn{j.ID, m.Zone}
					if says := lists.Contains(stage.Steps[i].Disturbs, m.Zone); says {
						silent[key] = false
					} else if _, known := silent[key]; !known {
						silent[key] = true
					}
				}
			}
		}
	}
	all := map[workedOn]bool{}
	for _, e := range s.Entries[:till] {
		work, ok := journal.WorkOf(e.Facts)
		if !ok || work.Job == "" || !s.Live(e.Position) {
			continue
		}
		job, err := s.Job(work.Job)
		if err != nil {
			continue
		}
		step, _, _ := job.Procedure.Step(s.StepOf(work))
		for _, m := range step.Makes {
			if key := (workedOn{job.ID, m.Zone}); lists.Contains(work.Disturbs, m.Zone) || silent[key] {
				all[key] = true
			}
		}
	}
	return all
}
