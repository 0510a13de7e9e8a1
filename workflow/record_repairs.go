package workflow

import (
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// DamageFacts are one finding, with what became of it.
type DamageFacts struct {
	*Damage
	Repaired bool
	Job      string  // that repairs it; "": none
	Aboard   []Thing // with a name, when it was found
	Event    int     // from 1: what was found at one time, and reported at once, is of one event
	Flight   int     // the last flight before it, from 1; 0: none
}

// RepairFacts are one job of repair, with what it found, did and renewed, and the
// critical gates and the mass before and after.
type RepairFacts struct {
	Job        *Job
	Damages    []*Damage
	Opened     time.Time
	Closed     time.Time // when the last step was done; zero: it is open
	By         []string
	Steps      []StepFacts                // that were done
	ThrownAway []string                   // zones whose part was thrown away, to be made anew
	CutOut     []string                   // zones of which a part was cut out and replaced
	Changes    []journal.EquipmentChanged // of equipment, while the repair was open
	Joined     []JointFacts
	Critical   []BeforeAfter // critical gates that were measured again
	Mass       []BeforeAfter // of the whole airframe, where it was weighed
}

// A StepFacts is a step that was done.
type StepFacts struct {
	Step     steps.Step
	Position int64
	At       time.Time
	By       string
}

// A BeforeAfter is how one gate was judged before the damage was found, and after it was
// repaired; nil: it was not measured.
type BeforeAfter struct {
	Gate          string
	Before, After *Judgement
	// Changes are of equipment between both: what it gained by them is not the repair's.
	Changes []journal.EquipmentChanged
}

// Doubt is the check that casts doubt on the one before or the one after; nil: none.
func (b BeforeAfter) Doubt() *GaugeCheck {
	for _, j := range []*Judgement{b.Before, b.After} {
		if j != nil && j.Doubt != nil {
			return j.Doubt
		}
	}
	return nil
}

// Gained is by how much the value rose, in the unit of the later one; false: one is not
// known.
func (b BeforeAfter) Gained() (by float64, unit string, ok bool) {
	if b.Before == nil || b.After == nil {
		return 0, "", false
	}
	before, is := b.Before.Of()
	after, also := b.After.Of()
	if !is || !also || !before.Known || !after.Known || before.Unit != after.Unit {
		return 0, "", false
	}
	return after.Value - before.Value, after.Unit, true
}

func (s *State) recordRepairs(r *Record, at time.Time) {
	for _, d := range s.Damages {
		one := DamageFacts{Damage: d, Aboard: s.fittedBefore(instant{d.Position, d.At})}
		one.Repaired, one.Job = s.Repaired(d, at)
		if one.Event = 1; len(r.Damages) > 0 {
			before := r.Damages[len(r.Damages)-1]
			if one.Event = before.Event; !before.At.Equal(d.At) && !s.Entries[before.Position].Recorded.Equal(s.Entries[d.Position].Recorded) {
				one.Event++
			}
		}
		for i, f := range s.Flights {
			if !f.At.After(d.At) {
				one.Flight = i + 1
			}
		}
		r.Damages = append(r.Damages, one)
	}
	for _, j := range s.Jobs {
		if j.Procedure.Kind == steps.Repair {
			r.Repairs = append(r.Repairs, s.repairFacts(r, j, at))
		}
	}
}

func (s *State) repairFacts(r *Record, j *Job, at time.Time) RepairFacts {
	one := RepairFacts{Job: j, Opened: j.Opened}
	since, till := j.Position, s.Size() // from the first finding to the end
	for _, d := range s.Damages {
		if lists.Contains(j.Damages, d.Damage) {
			one.Damages = append(one.Damages, d)
			since = min(since, d.Position)
		}
	}
	if !s.Open(j, at) {
		one.Closed = j.last()
	}
	for _, e := range s.Entries {
		if !s.Live(e.Position) {
			continue
		}
		switch f := e.Facts.(type) {
		case journal.PartRetired:
			if f.Job == j.ID {
				one.ThrownAway = append(one.ThrownAway, f.Zones...)
			}
		case journal.EquipmentChanged:
			if e.Position > j.Position && (f.Job == j.ID || one.Closed.IsZero() || !e.At.After(one.Closed)) {
				one.Changes = append(one.Changes, f)
			}
		}
		work, ok := journal.WorkOf(e.Facts)
		if !ok || work.Job != j.ID {
			continue
		}
		step, _, _ := j.Procedure.Step(s.StepOf(work))
		if step.Name == "" {
			step.Name = work.Step
		}
		one.Steps = append(one.Steps, StepFacts{step, e.Position, e.At, e.By})
		if !lists.Contains(one.By, e.By) {
			one.By = append(one.By, e.By)
		}
		for _, zone := range step.Renews {
			if !lists.Contains(one.CutOut, zone) {
				one.CutOut = append(one.CutOut, zone)
			}
		}
	}
	for _, joint := range r.Joints {
		if joint.Joint.Job == j.ID {
			one.Joined = append(one.Joined, joint)
		}
	}
	// What is read after the next release, or the next damage, says nothing of this repair.
	for _, e := range s.Entries[j.Position:] {
		if _, is := e.Facts.(journal.Released); is && s.Live(e.Position) {
			till = e.Position
			break
		}
	}
	for _, d := range s.Damages {
		if d.Position > j.Position && !lists.Contains(j.Damages, d.Damage) {
			till = min(till, d.Position)
		}
	}
	for _, g := range s.Sheet.GatesFor(s.selected) {
		if g.Work {
			continue
		}
		both := BeforeAfter{Gate: g.Name, Before: r.lastBefore(g.Name, since), After: r.lastBetween(g.Name, j.Position, till)}
		if both.Before == nil && both.After == nil {
			continue
		}
		if g.Critical && both.After != nil {
			one.Critical = append(one.Critical, both)
		}
		if g.Mass && g.Limits.Dimension() == quantity.Mass {
			both.Changes = s.changedBetween(both.Before, both.After)
			one.Mass = append(one.Mass, both)
		}
	}
	return one
}

// changedBetween are the changes of equipment after the last reading of the one and before
// the first of the other.
func (s *State) changedBetween(before, after *Judgement) (all []journal.EquipmentChanged) {
	if before == nil || after == nil {
		return nil
	}
	for _, c := range s.changes {
		if c.position > before.Entries[len(before.Entries)-1] && c.position < after.Entries[0] {
			all = append(all, c.EquipmentChanged)
		}
	}
	return all
}

// lastBefore is the last judgement of the gate before the entry that tells its value.
func (r *Record) lastBefore(gate string, entry int64) *Judgement {
	return r.lastBetween(gate, -1, entry)
}

func (r *Record) lastBetween(gate string, after, before int64) *Judgement {
	for i := len(r.Judgements) - 1; i >= 0; i-- {
		j := &r.Judgements[i]
		if last := j.Entries[len(j.Entries)-1]; j.Gate.Name == gate && last > after && last < before {
			return j
		}
	}
	return nil
}
