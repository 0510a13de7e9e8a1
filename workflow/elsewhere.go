package workflow

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// A Held is a thing with a name that is in quarantine by the record of another airframe,
// or was.
type Held struct {
	Thing
	Mark, Damage string
	Found        time.Time
}

// An Elsewhere is what the records of the airframes of a store say of quarantines to each
// other. It is little: the records may be all of a large store.
type Elsewhere struct {
	kept []kept // in the order in which the records were added

	mu     sync.Mutex
	called map[string]map[string][]kept // the same by item, and by what is written on a thing if it is one
}

// A kept is a thing with a name in a quarantine, and where that is.
type kept struct {
	zone string
	Held
}

// Add adds what the record of a state says.
func (all *Elsewhere) Add(s *State) {
	for _, q := range s.Quarantines {
		for _, t := range q.Things {
			if t.Name != "" && !q.free() {
				all.kept = append(all.kept, kept{q.Zone, Held{t, s.Airframe.Mark, q.Damage, q.seen[0].at}})
			}
		}
	}
	all.called = nil
}

// AddEntries adds what a record says, worked out of those of its entries alone that
// [journal.Handling] reads: what a replay of all of them would say.
func (all *Elsewhere) AddEntries(entries []journal.Entry, sheets map[string]*steps.Sheet) error {
	s := &State{Entries: entries, Sheet: &steps.Sheet{}}
	s.noteUndone()
	for _, e := range entries {
		if e.Facts.Kind() == (journal.DamageFound{}).Kind() {
			s.quarantine(e)
		}
		if !s.Live(e.Position) {
			continue
		}
		if digest := journal.NamesOf(e.Facts).Sheet; digest != "" {
			if s.Sheet = sheets[digest]; s.Sheet == nil {
				return fmt.Errorf("the design sheet %s is missing", digest)
			}
		}
		var err error
		switch f := e.Facts.(type) {
		case journal.Registered:
			s.Airframe = f
		case journal.EquipmentChanged:
			err = s.changeEquipment(e)
		case journal.QuarantineCleared:
			err = s.clearQuarantine(e)
		}
		if err != nil {
			return fmt.Errorf("entry %d: %w", e.Position, err)
		}
	}
	s.judgeQuarantines()
	all.Add(s)
	return nil
}

// written are the things that are called alike if they are of the item.
func (all *Elsewhere) written(item, name string) []kept {
	all.mu.Lock()
	defer all.mu.Unlock()
	if all.called[item] == nil {
		if all.called == nil {
			all.called = map[string]map[string][]kept{}
		}
		all.called[item] = map[string][]kept{}
		for _, k := range all.kept {
			called := written(item, k.Name)
			all.called[item][called] = append(all.called[item][called], k)
		}
	}
	return all.called[item][written(item, name)]
}

// HeldBy is what the records of the others say of the thing that is fitted here: what
// was in a quarantine is not fitted to another airframe either; none: nothing. One is
// told from another by what is written on it, so two of a store that are called alike
// are taken for one. Of several that say so, those are left out that another one comes
// before and was found no later.
func (s *State) HeldBy(others *Elsewhere, f journal.EquipmentChanged) []Held {
	var all []Held
	for _, k := range others.written(f.Item, f.Name) {
		if k.Mark == s.Airframe.Mark || !mayBe(k.Thing, k.zone, f) || len(all) > 0 && !k.Found.Before(all[len(all)-1].Found) {
			continue
		}
		k.Thing = Thing{f.Item, f.Name}
		all = append(all, k.Held)
	}
	return all
}

// Named reports whether anything was ever fitted by a name.
func (s *State) Named() bool {
	return slices.ContainsFunc(s.changes, func(c change) bool { return c.Name != "" && c.Change != Removed })
}

// Heed takes note of what the records of the others say of the things that were fitted
// here. It is for whoever has just replayed the state.
func (s *State) Heed(others *Elsewhere) {
	for _, c := range s.changes {
		if c.Name == "" || c.Change == Removed {
			continue
		}
		for _, h := range s.HeldBy(others, c.EquipmentChanged) {
			if !lists.Contains(s.elsewhere, h) {
				s.elsewhere = append(s.elsewhere, h)
			}
		}
	}
}

// heldElsewhere says what may be aboard that another airframe's record had in
// quarantine by the time; nil: nothing.
func (s *State) heldElsewhere(at time.Time) *Reason {
	for _, h := range s.elsewhere {
		if !h.Found.After(at) && lists.Contains(s.things([]string{h.Item}, "", instant{s.Size(), at}), h.Thing) {
			return &Reason{Because: ByHold, Text: fmt.Sprintf("the %s is aboard, and %s", h.Thing, h.Says()), Remedy: s.toFitAnother(h.Item)}
		}
	}
	return nil
}

// Says is what the other record says.
//
//go:noinline
func (h Held) Says() string {
	return fmt.Sprintf("%s (damage %s) says that a %s of this name is in quarantine, or was", h.Mark, h.Damage, h.Item)
}
