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

// A Quarantine keeps what was found away from everything else until a person
// clears it. It stays with the thing, whatever becomes of the finding.
type Quarantine struct {
	Damage, Zone string
	Lines        []string  // none: no quarantine
	Since        time.Time // when it was found, or was aboard at a flight or a release later
	Until        time.Time // no line can be confirmed before it; zero: it has no time
	Cleared      bool
	TakenBack    bool    // the finding was
	Things       []Thing // what is in it, or may be

	thing    Thing     // that was named when it was found; zero: none
	seen     []instant // at which it was there: found first, then flown with or released
	lasts    time.Duration
	aboard   []Thing // of these, what may still be aboard
	replaced bool    // something else with a name is certainly there instead
}

// Open reports whether the quarantine is still in force.
func (q *Quarantine) Open() bool { return len(q.Lines) > 0 && !q.Cleared }

// Free reports whether what is in it may be fitted again: the finding was a mistake,
// and all the same it lay out its time and was looked over.
func (q *Quarantine) free() bool { return q.TakenBack && q.Cleared }

// Holds reports whether the thing is what is in it, or may be.
//
//go:noinline
func (s *State) holds(q *Quarantine, t Thing) bool {
	return slices.ContainsFunc(q.Things, func(in Thing) bool {
		switch {
		case in.Item != t.Item:
			return false
		case t.Name == "" || sameName(t.Item, in.Name, t.Name):
			return true
		}
		// Nobody said which one was there, so it may be one that was named before.
		return in.Name == "" && slices.ContainsFunc(s.changes, func(c change) bool {
			return c.Item == t.Item && sameName(t.Item, c.Name, t.Name) && (c.position < q.seen[0].position || c.at.Before(q.seen[0].at))
		})
	})
}

// quarantine puts what was found in quarantine, also where the finding was taken back:
// what was done to a battery is not undone by words.
func (s *State) quarantine(e journal.Entry) {
	f := e.Facts.(journal.DamageFound)
	if f.Quarantine.IsZero() {
		return
	}
	item, name, _ := strings.Cut(f.Thing, " ")
	s.Quarantines = append(s.Quarantines, &Quarantine{
		thing:  Thing{item, name},
		Damage: f.Damage, Zone: f.Zone, Lines: f.Quarantine.Confirm, TakenBack: !s.Live(e.Position),
		seen: []instant{{e.Position, e.At}}, lasts: f.Quarantine.Lasts(),
	})
}

// Quarantine returns the quarantine of the damage of that name.
//
//go:noinline
func (s *State) Quarantine(damage string) (*Quarantine, bool) {
	for _, q := range s.Quarantines {
		if q.Damage == damage {
			return q, true
		}
	}
	return nil, false
}

// judgeQuarantines works out what is in each quarantine, since when, and what of it
// may be aboard. It does so from the whole record, since an entry typed in later may
// say what was fitted before.
func (s *State) judgeQuarantines() {
	for _, q := range s.Quarantines {
		changes := s.changesTill(q.seen[0])
		items := s.itemsBy(append(slices.Clone(s.changes), changes...), q.Zone)
		q.Things = nil
		found := s.things(items, q.Zone, q.seen[0])
		if q.thing != (Thing{}) { // what was named at the report stays in it
			found = append(found, q.thing)
		}
		for _, t := range append(found, s.thingsBy(changes, items, q.Zone, q.seen[0])...) {
			if !lists.Contains(q.Things, t) {
				q.Things = append(q.Things, t)
			}
		}
		if len(q.Things) == 0 {
			for _, item := range items {
				q.Things = append(q.Things, Thing{Item: item})
			}
		}
		q.Since = q.seen[0].at
		for _, m := range s.flown() {
			if m.at.After(q.Since) && !q.Cleared && len(s.heldOf(q, s.things(items, q.Zone, m))) > 0 {
				q.Since, q.seen = m.at, append(q.seen, m)
			}
		}
		if q.lasts > 0 {
			q.Until = q.Since.Add(q.lasts)
		}
		there := s.things(items, q.Zone, instant{s.Size(), s.latestAt()})
		q.aboard = s.heldOf(q, there)
		q.replaced = len(there) > 0 && len(q.aboard) == 0 && !slices.ContainsFunc(there, func(t Thing) bool { return t.Name == "" })
	}
}

// replaced reports whether something else with a name was fitted by the time in the
// place of what the damage put in quarantine.
func (s *State) replaced(d *Damage, at time.Time) bool {
	items := s.itemsOf(d.Zone)
	return slices.ContainsFunc(s.changes, func(c change) bool {
		return c.Change == Fitted && c.Name != "" && c.Item == items[0] && c.position > d.Position && !c.at.Before(d.At) && !c.at.After(at) && !s.holds(d.Quarantine, Thing{c.Item, c.Name})
	})
}

// heldOf are those of the things that are in the quarantine, or may be.
func (s *State) heldOf(q *Quarantine, things []Thing) []Thing {
	return sorting.Delete(slices.Clone(things), func(t Thing) bool { return !s.holds(q, t) })
}

func (s *State) clearQuarantine(e journal.Entry) error {
	f := e.Facts.(journal.QuarantineCleared)
	q, ok := s.Quarantine(f.Damage)
	if !ok {
		return unknown("quarantine", f.Damage, nil)
	}
	q.Cleared = true
	return nil
}

// Off reports whether nothing that may be in the quarantine is aboard.
func (q *Quarantine) Off() bool { return len(q.Lines) > 0 && len(q.aboard) == 0 }

// Says is what is in the quarantine, in words.
func (q *Quarantine) Says() string {
	var named []string
	for _, t := range q.Things {
		if t.Name == "" {
			return "the " + q.Zone
		}
		named = append(named, t.String())
	}
	return "the " + strings.Join(named, " or the ")
}

// taken says of which damage it is.
func (q *Quarantine) of() string {
	if q.TakenBack {
		return q.Damage + ", taken back"
	}
	return q.Damage
}

// Quarantined says why what is in the quarantine keeps the airframe on the ground; nil:
// it doesn't.
func (s *State) quarantined(q *Quarantine, at time.Time) *Reason {
	aboard := q.aboard
	if q.Cleared { // it was handed in, whatever else was aboard; a name that was noted must go as well
		aboard = sorting.Delete(slices.Clone(aboard), func(t Thing) bool { return t.Name == "" })
	}
	if len(aboard) == 0 || q.free() {
		return nil
	}
	first := aboard[0]
	what := fmt.Sprintf("%s (damage %s) is in quarantine", q.Says(), q.of())
	remedy := Remedy{}
	refitted := slices.ContainsFunc(s.changes, func(c change) bool {
		return c.Item == first.Item && c.Change != Removed && !c.at.Before(q.seen[0].at)
	})
	switch {
	case q.Cleared:
		return &Reason{Because: ByHold, Text: fmt.Sprintf("%s (damage %s) was in quarantine, and no entry says that it was taken off", q.Says(), q.of()), Remedy: s.toFitAnother(first.Item)}
	case first.Name == "" && refitted:
		what, remedy = what+", and may be what was fitted since", s.toFitAnother(first.Item)
	case !s.listed(first.Item) && first.Name == "":
		what += " and counts as aboard until its lines are confirmed"
	default:
		off := "it"
		if len(aboard) < len(q.Things) {
			off = "the " + first.String()
		}
		what += ", and no entry says that " + off + " was taken off"
		if len(aboard) < len(q.Things) {
			what += " too"
		}
		remedy = s.remedy(Remedy{Kind: ToRecordRemoved, Name: first.Item})
	}
	if at.Before(q.Until) {
		return &Reason{Because: ByHold, Text: what + "; no line can be confirmed", Until: q.Until, Remedy: remedy}
	}
	return &Reason{Because: ByHold, Text: what, Remedy: s.remedy(Remedy{Kind: ToClear, Name: q.Damage})}
}

// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (s *State) toFitAnother(item string) Remedy {
	return s.remedy(Remedy{Kind: ToFitAnother, Name: item})
}

// unnamed says that nobody named what is there instead of what was in quarantine, where
// the sheet says that the item is the zone; nil: it is named, or need not be.
func (s *State) unnamed(q *Quarantine, at time.Time) *Reason {
	i := slices.IndexFunc(s.Sheet.Equipment, func(e steps.Equipment) bool { return e.Zone == q.Zone })
	if i < 0 || q.free() || q.replaced {
		return nil
	}
	item := s.Sheet.Equipment[i]
	if !item.Optional && s.mayBeOff(item.Name, at) { // which is asked by itself
		return nil
	}
	return &Reason{Because: ByHold, Text: fmt.Sprintf("nobody named the %s that is there now; that of damage %s is not used again", item.Name, q.Damage), Remedy: s.toFitAnother(item.Name)}
}

// names reports whether what is fitted has the name of a thing that is in it.
func (q *Quarantine) names(f journal.EquipmentChanged) bool {
	return slices.ContainsFunc(q.Things, func(t Thing) bool {
		return t.Name != "" && mayBe(t, q.Zone, f) && sameName(f.Item, t.Name, f.Name)
	})
}

// mayBe reports whether what is fitted may be the thing in quarantine of that zone, if it
// is called alike.
//
//go:noinline
func mayBe(t Thing, zone string, f journal.EquipmentChanged) bool {
	return t.Item == f.Item || zone == f.Zone || lists.Contains(f.Disturbs, zone)
}

// inQuarantine are the things of the item that a quarantine counts as aboard.
func (s *State) inQuarantine(item string) []Thing {
	var all []Thing
	for _, q := range s.Quarantines {
		for _, t := range q.aboard {
			if q.Open() && t.Item == item {
				all = append(all, t)
			}
		}
	}
	return all
}

// ClearQuarantine records that every line of a quarantine was confirmed.
type ClearQuarantine struct {
	Damage  string
	Answers []bool
}

func (r ClearQuarantine) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	q, is := s.Quarantine(r.Damage)
	if !is {
		if _, err := s.Damage(r.Damage); err != nil {
			return nil, err
		}
	}
	what := "quarantine of " + r.Damage
	switch {
	case !is || !q.Open():
		return nil, refuse(what, ByState, "it is not in quarantine", Remedy{})
	case c.At.Before(q.seen[0].at):
		return nil, &Refusal{What: what, Reasons: []Reason{{Because: ByOrder, Text: "it cannot be cleared before the damage was found", At: q.seen[0].at}}}
	case c.At.Before(q.Until):
		return nil, &Refusal{What: what, Reasons: []Reason{{Because: ByDrying, Text: "its time is not over; no line can be confirmed yet", Until: q.Until}}}
	}
	if reasons := unconfirmed(q.Lines, r.Answers, s.remedy(Remedy{Kind: ToClear, Name: r.Damage})); len(reasons) > 0 {
		return nil, &Refusal{What: what, Reasons: reasons}
	}
	return []journal.Facts{journal.QuarantineCleared{Damage: r.Damage, Lines: q.Lines}}, nil
}
