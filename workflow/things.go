package workflow

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A Thing is one piece of equipment, such as a battery pack with its own name.
type Thing struct {
	Item string `json:"item"`
	Name string `json:"name,omitempty"` // "": nobody named it
}

//go:noinline
func (t Thing) String() string { return strings.TrimSpace(t.Item + " " + t.Name) }

// sameName reports whether two names of an item are one: nobody writes his own always
// alike. Letters and digits count, without zeros in front of a number and without the
// words of the item, so that A1, a-1, A 01 and "pack A1" are one pack.
func sameName(item, a, b string) bool { return written(item, a) == written(item, b) }

// written is what of a name tells one thing of the item from another.
func written(item, name string) string {
	words := steps.Words(name)
	own := sorting.Delete(lists.Clone(words), func(w string) bool { return lists.Contains(steps.Words(item), w) })
	if len(own) == 0 {
		own = words
	}
	var b strings.Builder
	number := false
	all := []rune(strings.ReplaceAll(strings.Join(own, " "), "ß", "ss"))
	for i, r := range all {
		zero := r == '0' && !number && i+1 < len(all) && unicode.IsDigit(all[i+1])
		if number = unicode.IsDigit(r) && !zero; r != ' ' && !zero {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// A change is one change of equipment, or an instant at which something was seen
// aboard a zone.
type change struct {
	journal.EquipmentChanged
	position int64
	at       time.Time
	seen     bool
}

// A slot is what is aboard of one item, as far as the record says.
type slot struct {
	aboard bool
	name   string // "": any of its kind
	moved  bool   // it was off when it was moved, so it may still be
}

// An instant is a point in the record, by entry and by time.
type instant struct {
	position int64
	at       time.Time
}

// after reports whether the change comes before the instant.
func (m instant) after(c change, byTime bool) bool {
	if byTime && !c.at.Equal(m.at) {
		return c.at.Before(m.at)
	}
	return c.position < m.position
}

// later reports whether the instant comes after another.
//
//go:noinline
func (m instant) later(other instant) bool {
	return m.after(change{position: other.position, at: other.at}, true)
}

func (s *State) changeEquipment(e journal.Entry) error {
	f := e.Facts.(journal.EquipmentChanged)
	s.changes = append(s.changes, change{EquipmentChanged: f, position: e.Position, at: e.At})
	return nil
}

// ItemsOf are the items that may be what is damaged in the zone: of the sheet those
// that are the zone, else those that disturb it; else the zone itself stands for what
// nobody listed. What was fitted there besides may be it as well.
//
//go:noinline
func (s *State) itemsOf(zone string) []string { return s.itemsBy(s.changes, zone) }

// itemsBy are those by these changes.
func (s *State) itemsBy(changes []change, zone string) []string {
	var are, near []string
	for _, e := range s.Sheet.Equipment {
		switch {
		case e.Zone == zone:
			are = append(are, e.Name)
		case lists.Contains(e.Disturbs, zone):
			near = append(near, e.Name)
		}
	}
	items := are
	if len(items) == 0 {
		items = near
	}
	if len(items) == 0 {
		items = []string{zone}
	}
	for _, c := range changes {
		if c.Zone == zone && !s.listed(c.Item) && !lists.Contains(items, c.Item) {
			items = append(items, c.Item)
		}
	}
	return items
}

// isThing reports whether the zone is a piece of equipment of the sheet.
//
//go:noinline
func (s *State) isThing(zone string) bool {
	return slices.ContainsFunc(s.Sheet.Equipment, func(e steps.Equipment) bool { return e.Zone == zone })
}

// listed reports whether the sheet has the item.
//
//go:noinline
func (s *State) listed(item string) bool {
	return slices.ContainsFunc(s.Sheet.Equipment, func(e steps.Equipment) bool { return e.Name == item })
}

// aboard is what is aboard of the items right before the instant, by entry or by time, by these changes.
// Zone is the one in which quarantines say that something is there; "": none.
func (s *State) aboard(changes []change, items []string, zone string, before instant, byTime bool) map[string]slot {
	var events []change
	for i := range changes {
		if lists.Contains(items, changes[i].Item) {
			events = append(events, changes[i])
		}
	}
	for _, q := range s.Quarantines {
		for _, m := range q.seen {
			if q.Zone == zone {
				events = append(events, change{position: m.position, at: m.at, seen: true})
			}
		}
	}
	sorting.Stable(events, func(i, k int) int {
		a, b := &events[i], &events[k]
		if byTime && !a.at.Equal(b.at) {
			return a.at.Compare(b.at)
		}
		return cmp.Compare(a.position, b.position)
	})
	slots := map[string]slot{}
	for _, item := range items {
		slots[item] = slot{aboard: s.listed(item) || item == zone} // it may have come with the build
	}
	for _, c := range events {
		switch {
		case !before.after(c, byTime):
			continue
		case c.seen:
			if !lists.ContainsFunc(items, func(item string) bool { return slots[item].aboard }) {
				for _, item := range items {
					slots[item] = slot{aboard: true}
				}
			}
		case c.Change == Removed:
			if now := slots[c.Item]; c.Name == "" || now.name == "" || sameName(c.Item, c.Name, now.name) {
				slots[c.Item] = slot{}
			}
		case c.Change == Fitted || !slots[c.Item].aboard:
			slots[c.Item] = slot{true, c.Name, c.Change == Moved}
		}
	}
	return slots
}

// things are what may be aboard of the items right before the instant, by entry and by
// time: of two answers both count.
//
//go:noinline
func (s *State) things(items []string, zone string, before instant) []Thing {
	return s.thingsBy(s.changes, items, zone, before)
}

// thingsBy are those by these changes.
func (s *State) thingsBy(changes []change, items []string, zone string, before instant) []Thing {
	var all []Thing
	for _, byTime := range []bool{false, true} {
		slots := s.aboard(changes, items, zone, before, byTime)
		for _, item := range items {
			t := Thing{item, slots[item].name}
			if slots[item].aboard && !lists.Contains(all, t) {
				all = append(all, t)
			}
		}
	}
	return all
}

// Fitted are the things with a name that were aboard right before the time, by what
// is known now.
//
//go:noinline
func (s *State) Fitted(at time.Time) []Thing { return s.fittedBefore(instant{s.Size(), at}) }

// fittedBefore are the things with a name that were aboard right before the instant.
func (s *State) fittedBefore(then instant) []Thing {
	var items []string
	for _, c := range s.changes {
		if !lists.Contains(items, c.Item) {
			items = append(items, c.Item)
		}
	}
	slots := s.aboard(s.changes, items, "", then, true)
	var named []Thing
	for _, item := range items {
		if slots[item].aboard && slots[item].name != "" {
			named = append(named, Thing{item, slots[item].name})
		}
	}
	return named
}

// thingAt is the thing that is damaged where the zone is, if everybody knows which one
// it is; "": nobody does.
func (s *State) thingAt(zone string, at time.Time) string {
	i := slices.IndexFunc(s.Sheet.Equipment, func(e steps.Equipment) bool { return e.Zone == zone })
	if i < 0 {
		return ""
	}
	things := s.things([]string{s.Sheet.Equipment[i].Name}, "", instant{s.Size(), at})
	if len(things) != 1 || things[0].Name == "" {
		return ""
	}
	return things[0].String()
}

// changesTill are the changes of equipment that stood at the instant, also those that
// were taken back since: no undo takes a thing out of a quarantine.
func (s *State) changesTill(then instant) []change {
	var all []change
	for _, e := range s.Entries {
		f, is := e.Facts.(journal.EquipmentChanged)
		if by, gone := s.undone[e.Position]; is && (!gone || by > then.position) {
			all = append(all, change{EquipmentChanged: f, position: e.Position, at: e.At})
		}
	}
	return all
}

// flown are the flights and the releases, by time.
func (s *State) flown() []instant {
	var all []instant
	for _, e := range s.Entries {
		switch e.Facts.(type) {
		case journal.FlightLogged, journal.Released:
			if s.Live(e.Position) {
				all = append(all, instant{e.Position, e.At})
			}
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return a.at.Compare(b.at)
	})
	return all
}

// latestAt is the time of the latest change of equipment.
func (s *State) latestAt() (at time.Time) {
	for _, c := range s.changes {
		if c.at.After(at) {
			at = c.at
		}
	}
	for _, q := range s.Quarantines {
		for _, m := range q.seen {
			if m.at.After(at) {
				at = m.at
			}
		}
	}
	return at
}

// guarded says why the settings can't be made at the time, by a step of the job or
// without one: battery and propeller stay as they are while something is wrong.
func (s *State) guarded(j *Job, sets []steps.Setting, at time.Time) []Reason {
	var reasons []Reason
	for _, set := range sets {
		def, ok := s.Sheet.Condition(set.Condition)
		if !ok || def.Guarded != set.State {
			continue
		}
		stands := s.Holds(set.Condition, at) == set.State
		if r := s.leftToCheck(set, j, at); r != nil && (j != nil || !stands) {
			reasons = append(reasons, *r)
			continue
		}
		if stands {
			continue
		}
		var kept []*Reason
		for _, q := range s.Quarantines {
			if reason := s.quarantined(q, at); reason != nil && !q.seen[0].at.After(at) {
				kept = append(kept, reason)
			}
		}
		if reason := s.heldElsewhere(at); reason != nil {
			kept = append(kept, reason)
		}
		for _, reason := range kept {
			reason.Text = fmt.Sprintf("nobody sets %s: %s", set, reason.Text)
			reasons = append(reasons, *reason)
		}
		if r := s.leftToRepair(set, j != nil && j.Procedure.Kind == steps.Repair || j == nil && s.repairNeeds(set, at), at); r != nil {
			reasons = append(reasons, *r)
		}
	}
	return reasons
}

// leftToCheck says that the check which is due after a hard landing comes before a setting, also where that was made since; nil: none is
// due, or the job, without one that check, asks for the setting.
func (s *State) leftToCheck(set steps.Setting, j *Job, at time.Time) *Reason {
	flight, open, due := s.checkDue(at)
	if !due || flight.At.After(at) || j != nil && j.Procedure.Name == flight.Check || j == nil && s.waitsFor(open, set, at) {
		return nil
	}
	r := s.Unchecked(at)
	r.Because, r.Text = ByDamage, fmt.Sprintf("%s, and nobody sets %s before that is done", r.Text, set)
	return r
}

// leftToRepair is the damage that is open and whose repair alone makes a setting; nil: there is none, or a repair asks, and what makes safe
// what crashed is done.
func (s *State) leftToRepair(set steps.Setting, repairing bool, at time.Time) *Reason {
	for _, d := range s.OpenDamages(at) {
		if _, by := s.Repaired(d, at); !d.At.After(at) && (by == "" || !repairing || s.toMakeSafe(by, at)) {
			return &Reason{Because: ByDamage, Text: fmt.Sprintf("damage %s is open, and only its repair sets %s", d.Damage, set), Remedy: s.unrepaired(d, at).Remedy}
		}
	}
	return nil
}

// handled has equipment disturbed that was taken off or put on: a condition that says
// whether it is aboard was set otherwise than it stood, also before a flight. The sheet
// that says so may have come later.
func (s *State) handled(e journal.Entry, sets []steps.Setting) {
	for _, set := range sets {
		all := s.said[set.Condition]
		n := saidBy(all, e.At)
		// Of what was taken back since, either may be true.
		if s.stood(set, all[:n]) && !slices.ContainsFunc(s.voided[set.Condition], func(v said) bool {
			return v.state != set.State && !v.at.After(e.At) && (n == 0 || v.at.After(all[n-1].at) || v.at.Equal(all[n-1].at) && v.position > all[n-1].position)
		}) {
			continue
		}
		turned := e
		if n < len(all) && all[n].state != set.State { // typed in later: it was set back by then
			turned.At = all[n].at
		}
		zones := append(s.Sheet.Handled(set.Condition), s.lastSheet.Handled(set.Condition)...)
		s.disturb(turned, "the change to "+set.String(), zones)
		s.handledAt[e.Position] = append(s.handledAt[e.Position], zones...)
	}
}

// stood reports whether the condition stood as it is set by what was said before.
// Before anything was said, equipment was aboard.
func (s *State) stood(set steps.Setting, before []said) bool {
	if len(before) > 0 {
		return before[len(before)-1].state == set.State
	}
	return !slices.ContainsFunc(slices.Concat(s.Sheet.Equipment, s.lastSheet.Equipment), func(e steps.Equipment) bool {
		return steps.AnySetting(e.Aboard, func(is steps.Setting) bool { return is.Condition == set.Condition && is.State != set.State })
	})
}

// notAboard says why the equipment doesn't count as aboard; nil: it does. A flight takes
// nothing off, so what was said before it counts.
func (s *State) notAboard(item steps.Equipment, at time.Time) *Reason {
	for _, is := range item.Aboard {
		all := s.said[is.Condition]
		all = all[:saidBy(all, at)]
		reason := &Reason{Because: ByCondition, Remedy: s.remedy(Remedy{Kind: ToSetCondition, Setting: is})}
		if slices.ContainsFunc(s.voided[is.Condition], func(v said) bool {
			return !v.at.After(at) && (len(all) == 0 || v.position > all[len(all)-1].position || v.at.After(all[len(all)-1].at))
		}) {
			reason.Text = fmt.Sprintf("it needs %s, and what was said of %s last was taken back", is, is.Condition)
			return reason
		}
		if len(all) > 0 && !s.stood(is, all) {
			reason.Text = fmt.Sprintf("it needs %s, but the journal says %s: %s", is, is.Condition, all[len(all)-1].state)
			return reason
		}
	}
	if s.mayBeOff(item.Name, at) && (!item.Optional || len(item.Aboard) > 0) {
		return &Reason{Because: ByCondition, Text: fmt.Sprintf("the %s was removed, and none was fitted since", item.Name), Remedy: s.toFitAnother(item.Name)}
	}
	return nil
}

// mayBeOff reports whether the item was removed and none was fitted since, by entry or
// by time: of two answers, one is enough.
//
//go:noinline
func (s *State) mayBeOff(item string, at time.Time) bool {
	return slices.ContainsFunc([]bool{false, true}, func(byTime bool) bool {
		now := s.aboard(s.changes, []string{item}, "", instant{s.Size(), at}, byTime)[item]
		return !now.aboard || now.moved
	})
}

// repairNeeds reports whether a step of an open repair waits for the setting.
func (s *State) repairNeeds(set steps.Setting, at time.Time) bool {
	return slices.ContainsFunc(s.OpenJobs(at), func(j *Job) bool { return j.Procedure.Kind == steps.Repair && s.waitsFor(j.ID, set, at) })
}

// waitsFor reports whether a step of a job waits for the setting; of no job: none does.
func (s *State) waitsFor(job string, set steps.Setting, at time.Time) bool {
	j, err := s.Job(job)
	needs := func(_ steps.Stage, step *steps.Step) bool {
		return lists.Contains(step.Needs, set) || slices.ContainsFunc(s.Sheet.Gates, func(g steps.Gate) bool { return step.AsksFor(g.Name) && lists.Contains(g.Needs, set) })
	}
	return err == nil && indexOf(s.stepsThat(j, at, needs), func(r *StepReport) bool { return r.Progress == Waiting || r.Progress == Ready }) >= 0
}

// fits puts the change of equipment in front of the facts that complete a step which
// fits something, by the name that was given.
func (s *State) fits(name string, job *Job, step steps.Step, facts []journal.Facts, at time.Time) ([]journal.Facts, error) {
	if step.Fits == "" {
		if name != "" {
			return nil, bad("%s fits no equipment that has a name", step.Name)
		}
		return facts, nil
	}
	f := journal.EquipmentChanged{Change: Fitted, Name: strings.TrimSpace(name), Job: job.ID, Step: step.Name}
	if err := nameable(f.Name); err != nil {
		return nil, err
	}
	f.Item = s.itemsOf(step.Fits)[0]
	if i := slices.IndexFunc(s.Sheet.Equipment, func(e steps.Equipment) bool { return e.Name == f.Item }); i >= 0 {
		f.Disturbs = s.Sheet.Equipment[i].Zones()
	} else {
		f.Zone, f.Disturbs = step.Fits, []string{step.Fits}
	}
	reasons := s.notFitted(f, at)
	if len(reasons) == 0 {
		return sorting.Insert(facts, 0, journal.Facts(f)), nil
	}
	do := Remedy{Kind: ToNameThing, Step: s.NameOf(job.ID, step.Name, at)}
	if step.Kind.Traits().Confirms {
		do.Name, do.Step = do.Step, ""
	}
	for i := range reasons {
		reasons[i].Remedy = s.remedy(do)
	}
	return nil, &Refusal{What: step.Name, Reasons: reasons}
}

// fittedBy is the change of equipment that came with the entry of a step.
func (s *State) fittedBy(completing journal.Entry) []int64 {
	work, ok := journal.WorkOf(completing.Facts)
	for p := completing.Position - 1; ok && work.Step != "" && p >= max(0, completing.Position-2); p-- {
		if f, is := s.Entries[p].Facts.(journal.EquipmentChanged); is && f.Job == work.Job && f.Step == work.Step {
			return []int64{p}
		}
	}
	return nil
}

// stepThatFitted is the entry of the step that a change of equipment came with.
func stepThatFitted(s *State, changed journal.Entry) []int64 {
	for p := changed.Position + 1; p < s.Size() && p <= changed.Position+2; p++ {
		if lists.Contains(s.fittedBy(s.Entries[p]), changed.Position) {
			return []int64{p}
		}
	}
	return nil
}

// nameable accepts the name of a thing; "" is none.
func nameable(name string) error {
	if name != "" && len(steps.Words(name)) == 0 || len(name) > 60 || strings.ContainsFunc(name, unicode.IsControl) {
		return bad("%q is not a name; give a few letters or digits that are written on it", name)
	}
	return nil
}

// ChangeEquipment records that equipment was fitted, removed or moved.
type ChangeEquipment struct {
	Item, Change string
	Name         string            // which one of its kind; "": nobody says
	Zone         string            // of what the sheet does not list
	Mass, Arm    quantity.Quantity // absent: unknown
	Note         string
	Sure         bool // also a mass or a place that is probably mistyped
}

func (r ChangeEquipment) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	name := strings.TrimSpace(r.Name)
	switch {
	case !lists.Contains([]string{Fitted, Removed, Moved}, r.Change):
		return nil, unknown("change of equipment", r.Change, []string{Fitted, Removed, Moved})
	case !r.Mass.IsZero() && (r.Mass.Dimension() != quantity.Mass || r.Mass.Sign() <= 0):
		return nil, bad("%s is not a mass", r.Mass.Typed())
	case !r.Arm.IsZero() && r.Arm.Dimension() != quantity.Length:
		return nil, bad("%s is not an arm; give a length behind the datum", r.Arm.Typed())
	}
	if err := nameable(name); err != nil {
		return nil, err
	}
	f := journal.EquipmentChanged{Item: r.Item, Change: r.Change, Name: name, Mass: r.Mass, Arm: r.Arm, Note: strings.TrimSpace(r.Note)}
	if err := s.place(&f, r.Zone); err != nil {
		return nil, err
	}
	what := map[string]string{Fitted: "fitting", Removed: "removing", Moved: "moving"}[r.Change] + " the " + Thing{r.Item, name}.String()
	if reasons := s.notFitted(f, c.At); len(reasons) > 0 {
		return nil, &Refusal{What: what, Reasons: reasons}
	}
	for i := range s.Sheet.Equipment {
		for _, is := range s.Sheet.Equipment[i].Aboard {
			if first := s.handledFirst(is.Condition, c.At); first.State != "" && s.Sheet.Equipment[i].Name == f.Item && f.Change != Moved {
				return nil, s.refuseBefore(what, first, c.At)
			}
		}
	}
	if why := s.mistyped(f.Item, f.Zone, f.Mass, f.Arm); why != "" && !r.Sure {
		return nil, refuse(what, ByReading, why, Remedy{Kind: ToBeSure})
	}
	if f.Change == Fitted {
		return []journal.Facts{f}, nil
	}
	there := s.things([]string{r.Item}, "", instant{s.Size(), s.latestAt()})
	there = append(there, s.inQuarantine(r.Item)...)
	switch {
	case len(there) == 0 && f.Change == Removed:
		return nil, refuse(what, ByState, "it was removed already, and not fitted since", Remedy{})
	case len(there) == 0:
		return nil, refuse(what, ByState, "it was removed, and not fitted since", s.toFitAnother(r.Item))
	case name == "" || slices.ContainsFunc(there, func(t Thing) bool { return sameName(r.Item, t.Name, name) }):
	case len(there) > 0 && there[0].Name != "":
		return nil, refuse(what, ByState, fmt.Sprintf("aboard is the %s", there[0]), Remedy{})
	default:
		return nil, refuse(what, ByState, fmt.Sprintf("nobody named the %s that is aboard", r.Item), Remedy{})
	}
	return []journal.Facts{f}, nil
}

// place says which zones the change disturbs: those of the sheet, else the one that
// was given when what the sheet does not list was fitted.
func (s *State) place(f *journal.EquipmentChanged, zone string) error {
	var names []string
	for _, e := range s.Sheet.Equipment {
		if e.Name == f.Item {
			if zone != "" {
				return bad("%s lists the %s, so its zone is not given", s.Sheet.Name, f.Item)
			}
			if f.Disturbs = e.Zones(); f.Change == Moved && f.Item == s.flightBattery() {
				f.Disturbs = []string{} // it is charged as it was, and only the balance is another
			}
			return nil
		}
		names = append(names, e.Name)
	}
	for _, c := range slices.Backward(s.changes) {
		if c.Item == f.Item && zone == "" {
			f.Zone, f.Disturbs = c.Zone, c.Disturbs
			return nil
		}
		if !lists.Contains(names, c.Item) {
			names = append(names, c.Item)
		}
	}
	switch {
	case f.Change != Fitted || zone == "" && nearest.Of(f.Item, names) != "":
		return unknownOf(s.Sheet.Name, "equipment", f.Item, names)
	case zone == "" || f.Mass.IsZero():
		return &BadRequestError{Text: fmt.Sprintf("%s does not list the equipment %q; say in which zone it is fitted, and its mass", s.Sheet.Name, f.Item), Remedy: s.remedy(Remedy{Kind: ToSayWhere, Name: f.Item})}
	case !lists.Contains(s.Sheet.Zones, zone):
		return unknown("zone", zone, s.Sheet.Zones)
	}
	f.Zone, f.Disturbs = zone, []string{zone}
	return nameable(f.Item)
}

// notFitted says why the thing is not fitted: it is in quarantine or was, or may be what
// is; or it has damage, or another one was fitted for that.
func (s *State) notFitted(f journal.EquipmentChanged, at time.Time) []Reason {
	if f.Change == Removed {
		return nil
	}
	var reasons []Reason
	for _, q := range s.Quarantines {
		if q.free() || !q.names(f) && !s.holds(q, Thing{f.Item, f.Name}) {
			continue
		}
		if f.Name == "" && f.Change == Moved {
			continue // it stays what it is
		}
		in := "is in quarantine"
		if q.Cleared {
			in = "was in quarantine, and is not fitted again"
		}
		text := fmt.Sprintf("%s (damage %s) %s", q.Says(), q.of(), in)
		if f.Name == "" {
			text += ", and may be the one"
		}
		reasons = append(reasons, Reason{Because: ByHold, Text: text, Remedy: s.toFitAnother(f.Item)})
	}
	for _, d := range s.Damages {
		item, name, _ := strings.Cut(d.Thing, " ")
		if len(reasons) > 0 || f.Change != Fitted || f.Name == "" || item != f.Item || !sameName(item, name, f.Name) || len(d.Quarantine.Lines) > 0 {
			continue
		}
		text := ""
		if repaired, by := s.Repaired(d, at); !repaired {
			text = fmt.Sprintf("the %s has damage %s, which is not repaired", d.Thing, d.Damage)
		} else if job, err := s.Job(by); err == nil && steps.AnyStep(job.Procedure.Steps(), func(step *steps.Step) bool { return step.Fits == d.Zone }) {
			text = fmt.Sprintf("the %s was replaced for damage %s", d.Thing, d.Damage)
		}
		if text != "" {
			reasons = append(reasons, Reason{Because: ByDamage, Text: text, Remedy: s.toFitAnother(f.Item)})
		}
	}
	return reasons
}
