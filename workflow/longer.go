package workflow

import (
	"maps"
	"time"

	"fettle/workflow/journal"
)

// Longer is [Replay] of the journal of the state with more entries at its end. What the
// journal comes to so far is taken over where no entry of it can come to something else:
// where nothing is taken back or dated back, and the airframe goes by the same sheet of
// the same documents.
// The state itself is not changed.
func (s *State) Longer(entries []journal.Entry, docs Documents) (*State, error) {
	all := append(s.Entries[:len(s.Entries):len(s.Entries)], entries...)
	if !s.onlyAdds(entries) || !amongst(s.folded.docs.Sheets, docs.Sheets) || !amongst(s.folded.docs.Procedures, docs.Procedures) {
		return Replay(all, docs)
	}
	longer := s.folded.copied()
	longer.Entries, longer.docs = all, docs
	if longer.sheetAtEnd() != longer.lastSheet {
		return Replay(all, docs)
	}
	if _, err := longer.foldFrom(len(s.Entries), nil); err != nil {
		return nil, err
	}
	longer.judges(s)
	return longer, nil
}

// amongst reports whether documents are all among others, which may be more.
func amongst[T comparable](some, all map[string]T) bool {
	for digest, is := range some {
		if all[digest] != is {
			return false
		}
	}
	return true
}

// onlyAdds reports whether the entries change nothing of what the journal came to
// before them.
func (s *State) onlyAdds(entries []journal.Entry) bool {
	if s.folded == nil || s.folded.doubt != (ClockDoubt{}) || s.Size() == 0 || s.folded.Size() != s.Size() {
		return false
	}
	var last time.Time
	for _, e := range s.Entries {
		last = latest(last, e.At)
	}
	for _, e := range entries {
		if _, undo := e.Facts.(journal.Undone); undo || e.At.Before(last) {
			return false
		}
		last = e.At
	}
	return true
}

// copied is the state as it was before its checks and quarantines were judged. It shares
// nothing with it that a fold changes.
func (s *State) copied() *State {
	c := *s
	c.Planned, c.Plans, c.Sits, c.elsewhere, c.others, c.seat, c.memo, c.folded = nil, nil, nil, nil, nil, Seat{}, nil, nil
	c.Damages, c.Quarantines, c.Jobs, c.Flights = clipped(s.Damages[:0]), clipped(s.Quarantines[:0]), clipped(s.Jobs[:0]), clipped(s.Flights)
	for _, j := range s.Jobs {
		c.Jobs = append(c.Jobs, j.copied())
	}
	c.reworks = s.reworks.copied()
	for _, q := range s.Quarantines {
		c.Quarantines = append(c.Quarantines, &Quarantine{
			thing: q.thing, Damage: q.Damage, Zone: q.Zone, Lines: q.Lines, TakenBack: q.TakenBack, Cleared: q.Cleared,
			seen: q.seen[:1:1], lasts: q.lasts,
		})
	}
	for _, d := range s.Damages {
		of := *d
		of.Quarantine = &Quarantine{}
		for k, q := range s.Quarantines {
			if q == d.Quarantine {
				of.Quarantine = c.Quarantines[k]
			}
		}
		c.Damages = append(c.Damages, &of)
	}
	c.bench, c.ended, c.voidedAll = clipped(s.bench), clipped(s.ended), clipped(s.voidedAll)
	c.studies, c.changes, c.backFlights = clipped(s.studies), clipped(s.changes), clipped(s.backFlights)
	c.said, c.voided, c.handledAt = clippedAll(s.said), clippedAll(s.voided), clippedAll(s.handledAt)
	c.zones, c.shifted, c.lost, c.used = maps.Clone(s.zones), maps.Clone(s.shifted), maps.Clone(s.lost), maps.Clone(s.used)
	c.chosen, c.chosenAt, c.reglued = maps.Clone(s.chosen), maps.Clone(s.chosenAt), maps.Clone(s.reglued)
	c.gates = map[string]*gateRecord{}
	for name, g := range s.gates {
		of := *g
		of.readings = clipped(g.readings)
		c.gates[name] = &of
	}
	c.gauges = map[string]*gaugeRecord{}
	for name, g := range s.gauges {
		c.gauges[name] = g.copied()
	}
	return &c
}

// copied has checks of its own that are not judged yet.
func (g *gaugeRecord) copied() *gaugeRecord {
	c := &gaugeRecord{entered: make([]*GaugeCheck, len(g.entered)), timed: make([]*GaugeCheck, len(g.timed))}
	for i, check := range g.entered {
		of := *check
		of.Off = GaugeCheck{}.Off
		c.entered[i] = &of
		for k, timed := range g.timed {
			if timed == check {
				c.timed[k] = &of
			}
		}
	}
	return c
}

// copied shares its procedures, which nothing changes.
func (j *Job) copied() *Job {
	c := *j
	c.methods, c.answered, c.done, c.brought = maps.Clone(j.methods), maps.Clone(j.answered), maps.Clone(j.done), maps.Clone(j.brought)
	c.called, c.begun = maps.Clone(j.called), maps.Clone(j.begun)
	c.joints = map[string][]*Joint{}
	for name, parts := range j.joints {
		all := make([]*Joint, len(parts))
		for i, p := range parts {
			of := *p
			of.coats, of.lapsed = maps.Clone(p.coats), maps.Clone(p.lapsed)
			all[i] = &of
		}
		c.joints[name] = all
	}
	return &c
}

// clipped is the list without room at its end, so that what is added to it is not written
// into another's.
func clipped[T any](all []T) []T { return all[:len(all):len(all)] }

func clippedAll[K comparable, T any](of map[K][]T) map[K][]T {
	all := make(map[K][]T, len(of))
	for k, list := range of {
		all[k] = clipped(list)
	}
	return all
}
