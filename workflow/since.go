package workflow

import (
	"fmt"
	"slices"
	"time"

	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A SinceGood is what changed on an airframe since its last good flight.
type SinceGood struct {
	Flight     Flight          // the last good one
	Equipment  []journal.Entry // what was fitted, removed and moved, parts thrown away, options chosen
	Flights    []Flight        // since, none of them good
	Balance    []GateChange    // gates that depend on all that weighs
	Trims      []TrimChange    // of that flight too, since they are measured after it
	Throws     []GateChange    // gates that measure a throw
	Readings   []GateChange    // the other gates
	Damages    []*Damage       // found since
	Work       []JobSince      // jobs of which something was done
	Reworked   []journal.Reworked
	Conditions []ConditionChange
	Moved      *BalanceChange // nil: the balance is where it was, or nobody knows of it
}

// A BalanceChange is where the airframe balanced before the flight and does now, and what
// changed that.
type BalanceChange struct {
	Was, Is *Poise
	By      []string
}

// A GateChange is a gate that stands otherwise than before the flight, or by other
// readings.
type GateChange struct{ Was, Is GateReport }

// A TrimChange is a control surface as it was trimmed before the flight and is now; nil:
// it was not.
type TrimChange struct{ Was, Is *Trimmed }

// A JobSince is a job with how many of its steps were done since the flight.
type JobSince struct {
	Job   *Job
	Steps int
	Open  bool
}

// A ConditionChange is a condition that was said to be otherwise since; "" is unknown.
type ConditionChange struct{ Condition, Was, Is string }

// SinceGood is what changed since the last flight that was released and landed softly;
// nil: there was none. What was entered after the flight or happened after it changed
// since, of two answers the one that shows more. What lapses with a sitting is not told.
func (s *State) SinceGood(at time.Time) (*SinceGood, error) {
	for i, f := range slices.Backward(s.Flights) {
		if f.Landing != Soft || f.Grounded != "" {
			continue
		}
		then, err := s.before(f)
		if err != nil {
			return nil, err
		}
		if then == nil || !then.Airworthiness(f.At).Released { // older entries do not say so
			continue
		}
		all := &SinceGood{Flight: f, Flights: s.Flights[i+1:]}
		all.entries(s, at)
		all.gates(s, then, at)
		all.trims(then.Trims(), s.Trims())
		all.balance(s, then, at)
		for _, c := range s.Sheet.Conditions {
			was, is := then.Holds(c.Name, f.At), s.Holds(c.Name, at)
			if !c.Lapses() && is != "" && is != was {
				all.Conditions = append(all.Conditions, ConditionChange{c.Name, was, is})
			}
		}
		return all, nil
	}
	return nil, nil
}

// before is the state right before the flight, by what was entered and had happened
// then; nil: nothing had.
func (s *State) before(f Flight) (*State, error) {
	n := slices.IndexFunc(s.Entries, func(e journal.Entry) bool {
		return e.Position == f.Position || e.At.After(f.At) && !s.effects[e.Facts.Kind()].aside
	})
	if n == 0 {
		return nil, nil
	}
	then, err := Replay(s.Entries[:n:n], s.docs)
	if err != nil {
		return nil, fmt.Errorf("the journal before the flight, %d entries: %w", n, err)
	}
	then.elsewhere = s.elsewhere
	return then, nil
}

func (all *SinceGood) entries(s *State, at time.Time) {
	since := func(position int64, at time.Time) bool {
		return position > all.Flight.Position || at.After(all.Flight.At)
	}
	for _, e := range s.Entries {
		if !s.Live(e.Position) || !since(e.Position, e.At) {
			continue
		}
		switch f := e.Facts.(type) {
		case journal.EquipmentChanged, journal.PartRetired, journal.Chosen:
			all.Equipment = append(all.Equipment, e)
		case journal.Reworked:
			all.Reworked = append(all.Reworked, f)
		}
	}
	for _, d := range s.Damages {
		if since(d.Position, d.At) {
			all.Damages = append(all.Damages, d)
		}
	}
	for _, j := range s.Jobs {
		one := JobSince{Job: j, Open: s.Open(j, at)}
		for _, done := range j.done {
			if since(done.position, done.at) {
				one.Steps++
			}
		}
		if one.Steps > 0 || since(j.Position, j.Opened) {
			all.Work = append(all.Work, one)
		}
	}
}

func (all *SinceGood) gates(s, then *State, at time.Time) {
	throws := map[string]bool{}
	for _, c := range s.Sheet.Geometry.Controls {
		for _, gate := range c.Gates {
			throws[gate] = true
		}
	}
	for _, is := range s.Gates(at) {
		was, err := then.GateReport(is.Gate.Name, all.Flight.At)
		if err != nil { // it did not have the gate
			was = GateReport{Gate: is.Gate, Standing: NeverTaken}
		}
		if is.Gate.Work || is.Standing == was.Standing && slices.Equal(is.Rests, was.Rests) {
			continue
		}
		group := &all.Readings
		switch {
		case throws[is.Gate.Name]:
			group = &all.Throws
		case is.Gate.Mass, is.Gate.Name == s.Sheet.Geometry.Balance.Gate:
			group = &all.Balance
		}
		*group = append(*group, GateChange{was, is})
	}
}

func (all *SinceGood) balance(s, then *State, at time.Time) {
	was, err1 := then.Poise(all.Flight.At)
	is, err2 := s.Poise(at)
	if err1 != nil || err2 != nil || !was.Weighed || !is.Weighed {
		return
	}
	change := BalanceChange{Was: was, Is: is}
	flight := instant{all.Flight.Position, all.Flight.At}
	for _, e := range s.upsets(is.Gate) {
		if e.Position > flight.position || !flight.follows(e) {
			by, _ := s.disturbs(e)
			if set, is := e.Facts.(journal.ConditionSet); is {
				by = "the change to " + set.Setting.String()
			}
			if _, equipment := e.Facts.(journal.EquipmentChanged); equipment {
				change.By = sorting.Insert(change.By, 0, by) // what surely moved it
				continue
			}
			change.By = append(change.By, by)
		}
	}
	if was.Now != is.Now || len(change.By) > 0 {
		all.Moved = &change
	}
}

func (all *SinceGood) trims(was, is []Trimmed) {
	was, is = slices.Clone(was), slices.Clone(is)
	for i := range is {
		change := TrimChange{Is: &is[i]}
		for j := range was {
			if sameSurface(was[j].Trim, is[i].Trim) {
				change.Was = &was[j]
			}
		}
		if w := change.Was; w == nil || w.Flight != is[i].Flight || w.Out != is[i].Out {
			all.Trims = append(all.Trims, change)
		}
	}
	for j := range was {
		if !slices.ContainsFunc(is, func(t Trimmed) bool { return sameSurface(t.Trim, was[j].Trim) }) {
			all.Trims = append(all.Trims, TrimChange{Was: &was[j]})
		}
	}
}
