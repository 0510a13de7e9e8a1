package workflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// A Damage is a finding; it is open until a job that repairs it is complete.
type Damage struct {
	journal.DamageFound
	At         time.Time
	Typed      time.Time // when it was typed in, if that was later
	By         string
	Position   int64
	Quarantine Quarantine
}

// A Quarantine keeps what was found away from everything else until a person
// clears it.
type Quarantine struct {
	Lines   []string  // none: no quarantine
	Until   time.Time // no line can be confirmed before it; zero: it has no time
	Cleared bool

	since   time.Time            // when it was found, or flown with or released later
	removed map[string]time.Time // the equipment of its zone that was removed since; fitting or moving any there ends that
}

// Open reports whether the quarantine is still in force.
func (q Quarantine) Open() bool { return len(q.Lines) > 0 && !q.Cleared }

// A Flight is one flight.
type Flight struct {
	journal.FlightLogged
	At       time.Time
	Position int64
}

// The ways to land, and to change equipment.
const (
	Soft = "soft"
	Hard = "hard"

	Fitted  = "fitted"
	Removed = "removed"
	Moved   = "moved"
)

func (s *State) damage(f journal.DamageFound, e journal.Entry) error {
	d := &Damage{DamageFound: f, At: e.At, By: e.By, Position: e.Position, Quarantine: Quarantine{Lines: f.Quarantine.Confirm}}
	if e.Late() {
		d.Typed = e.Recorded
	}
	d.keptFrom(e.At)
	for _, flight := range s.Flights {
		d.keptFrom(flight.At)
	}
	for _, before := range s.Entries[:e.Position] {
		if _, ok := before.Facts.(journal.Released); ok && s.Live(before.Position) {
			d.keptFrom(before.At)
		}
	}
	s.Damages = append(s.Damages, d)
	return nil
}

// keptFrom has the quarantine count from the time, if that is later: the part was
// aboard then.
func (d *Damage) keptFrom(at time.Time) {
	q := &d.Quarantine
	if !at.After(q.since) {
		return
	}
	q.since = at
	if lasts := d.DamageFound.Quarantine.Lasts(); lasts > 0 {
		q.Until = at.Add(lasts)
	}
}

// Off reports whether what is in quarantine was taken off the airframe after it was
// found: all equipment of its zone was, but for what was off before. Nothing was fitted
// or moved there since.
func (s *State) Off(d *Damage) bool {
	_, aboard := s.stillAboard(d)
	return len(d.Quarantine.removed) > 0 && !aboard
}

// stillAboard returns equipment of the zone that no entry says is off.
func (s *State) stillAboard(d *Damage) (steps.Equipment, bool) {
	i := slices.IndexFunc(s.Sheet.Equipment, func(e steps.Equipment) bool {
		_, off := d.Quarantine.removed[e.Name]
		return !off && slices.Contains(e.Disturbs, d.Zone) && !s.removed(e.Name)
	})
	if i < 0 {
		return steps.Equipment{}, false
	}
	return s.Sheet.Equipment[i], true
}

func (s *State) clearQuarantine(f journal.QuarantineCleared, _ journal.Entry) error {
	d, err := s.Damage(f.Damage)
	if err != nil {
		return err
	}
	d.Quarantine.Cleared = true
	return nil
}

func (s *State) changeEquipment(f journal.EquipmentChanged, e journal.Entry) error {
	if f.Change != Removed {
		for _, z := range f.Disturbs {
			if e.At.After(s.fitted[z]) {
				s.fitted[z] = e.At
			}
		}
	}
	for _, d := range s.Damages {
		q := &d.Quarantine
		switch {
		case !slices.Contains(f.Disturbs, d.Zone):
		case f.Change != Removed:
			q.removed = nil
		case !e.At.Before(q.since) && !e.At.Before(s.fitted[d.Zone]):
			// By entry and by time: of two answers the one that keeps it aboard is safe.
			if q.removed == nil {
				q.removed = map[string]time.Time{}
			}
			q.removed[f.Item] = e.At
		}
	}
	return nil
}

func (s *State) fly(f journal.FlightLogged, e journal.Entry) error {
	s.Flights = append(s.Flights, Flight{f, e.At, e.Position})
	for _, d := range s.Damages {
		off := len(d.Quarantine.removed) > 0
		for _, item := range s.Sheet.Equipment {
			at, removed := d.Quarantine.removed[item.Name]
			off = off && (!slices.Contains(item.Disturbs, d.Zone) || removed && !at.After(e.At))
		}
		if d.Quarantine.Open() && !off {
			d.keptFrom(e.At)
		}
	}
	return nil
}

// Damage returns the damage of that name.
func (s *State) Damage(name string) (*Damage, error) {
	var names []string
	for _, d := range s.Damages {
		if d.Damage == name {
			return d, nil
		}
		names = append(names, d.Damage)
	}
	return nil, unknown("damage", name, names)
}

// Repaired reports whether a job that repairs the damage is complete at the
// time, and which job repairs it; "": none.
func (s *State) Repaired(d *Damage, at time.Time) (repaired bool, by string) {
	for _, j := range s.Jobs {
		if j.planned > d.Position && slices.Contains(j.Damages, d.Damage) {
			by = j.ID
			if !s.Open(j, at) {
				return true, by
			}
		}
	}
	return false, by
}

// OpenDamages returns what is not repaired at the time.
func (s *State) OpenDamages(at time.Time) []*Damage {
	var open []*Damage
	for _, d := range s.Damages {
		if repaired, _ := s.Repaired(d, at); !repaired {
			open = append(open, d)
		}
	}
	return open
}

// flightsSince counts the flights after a reading, by position or by time: of
// two answers the one that asks for another measurement is safe.
func (s *State) flightsSince(t reading) int {
	n := 0
	for _, f := range s.Flights {
		if f.Position > t.position || f.At.After(t.at) {
			n++
		}
	}
	return n
}

// CheckDue returns a check that a hard landing asks for, the last one first, and
// when it landed; "" once each of them has a complete job of that name that was
// opened after it, by entry and by time.
func (s *State) CheckDue(at time.Time) (check string, landed time.Time) {
	check, landed, _ = s.checkDue(at)
	return check, landed
}

// checkDue is CheckDue with the open job of that check, which must be finished
// first even if it was opened before the landing; "": none.
func (s *State) checkDue(at time.Time) (check string, landed time.Time, open string) {
	for _, f := range slices.Backward(s.Flights) {
		if f.Landing != Hard || f.Check == "" {
			continue
		}
		done, its := false, ""
		for _, j := range s.Jobs {
			switch {
			case j.Procedure.Name != f.Check:
			case s.Open(j, at):
				its = j.ID
			case j.Position > f.Position && !j.Opened.Before(f.At):
				done = true
			}
		}
		if !done {
			return f.Check, f.At, its
		}
	}
	return "", time.Time{}, ""
}

// A Sighting is one thing seen in one zone: a finding, or words of one's own.
type Sighting struct {
	Finding, Zone, Severity, Note string
	// Place is where in the zone it is, in words.
	Place string
	// Words are those that were typed, where they were found to mean the finding.
	Words string
}

// ReportDamage records what was seen after a crash. The airframe is grounded
// by it at once.
type ReportDamage struct {
	Triage *steps.Triage
	Tables []string // the digests of the tables that it is made of
	Seen   []Sighting
	Cause  string // of all of them, in words
	// OwnWords says that words mean no finding that they sound like.
	OwnWords bool
}

// A SoundsLikeError says that words of one's own may mean findings. Nobody but who
// saw the damage can tell.
type SoundsLikeError struct {
	Words, Zone string
	Meanings    []steps.Meaning
}

func (e *SoundsLikeError) Error() string {
	var may []string
	for _, m := range e.Meanings {
		at := ""
		if m.Zone != e.Zone {
			at = " on " + m.Zone
		}
		may = append(may, fmt.Sprintf("%s%s (%s)", m.Name, at, m.Title))
	}
	return fmt.Sprintf("%q on %s may be %s", e.Words, e.Zone, strings.Join(may, ", or "))
}

// Unwrap makes it an [ErrBadRequest].
func (*SoundsLikeError) Unwrap() error { return ErrBadRequest }

func (r ReportDamage) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	if len(r.Seen) == 0 {
		return nil, bad("there is no damage to report; name at least one finding")
	}
	if c.At.Before(s.Since) {
		return nil, &Refusal{What: "damage of " + s.Airframe.Mark, Reasons: []Reason{{Because: ByOrder, Text: "it cannot be found before the airframe was registered", At: s.Since}}}
	}
	var facts []journal.Facts
	var refused []error
	zones := s.Zones(c.At)
	for _, seen := range r.Seen {
		found, err := r.found(s, zones, seen)
		if err != nil {
			refused = append(refused, err)
			continue
		}
		found.Damage = fmt.Sprintf("D%d", s.damagesEver()+len(facts)+1)
		facts = append(facts, found)
	}
	if len(refused) > 0 { // what was seen elsewhere grounds it all the same
		return nil, &PartError{Record: s.entries(facts, c), Refused: refused}
	}
	return facts, nil
}

// found is one finding as it is recorded, without its name.
func (r ReportDamage) found(s *State, zones Zones, seen Sighting) (journal.DamageFound, error) {
	var none journal.DamageFound
	if !slices.Contains(s.Sheet.Zones, seen.Zone) {
		return none, unknown("zone", seen.Zone, s.Sheet.Zones)
	}
	if !slices.Contains(steps.Severities(), seen.Severity) {
		return none, unknown("severity", seen.Severity, steps.Severities())
	}
	if err := CheckFinding(r.Triage, seen.Zone, seen.Finding); err != nil {
		return none, err
	}
	if possible := r.Triage.Possible(seen.Finding, seen.Zone); !slices.Contains(possible, seen.Severity) {
		return none, bad("%s on %s is never %s by the triage tables; the least is %s", seen.Finding, seen.Zone, seen.Severity, possible[0])
	}
	if len(seen.Note) > 8192 {
		return none, bad("the note is longer than 8 KiB")
	}
	if max(len(seen.Place), len(r.Cause)) > 200 {
		return none, bad("name the place and the cause in a few words; the note has room for more")
	}
	found := journal.DamageFound{
		Finding: seen.Finding, Zone: seen.Zone, Severity: seen.Severity, Place: strings.TrimSpace(seen.Place), Cause: strings.TrimSpace(r.Cause),
		Note: strings.TrimSpace(seen.Note), Words: seen.Words, Tables: r.Tables,
	}
	finding, known := r.Triage.Finding(seen.Finding)
	if !known {
		if sounds := r.Triage.Sounds(s.Sheet.Zones, seen.Zone, seen.Finding); len(sounds) > 0 && !r.OwnWords {
			return none, &SoundsLikeError{seen.Finding, seen.Zone, sounds}
		}
		finding, _ = r.Triage.Means(seen.Zone)
		found.As = finding.Name
	}
	found.Quarantine = finding.Quarantine
	return found, zones.nothingThere(r.Triage, seen.Zone, finding)
}

// MayBeDamaged reports whether there is something of the zone to damage, or what is
// dangerous there: that need not be fitted.
func (z Zones) MayBeDamaged(triage *steps.Triage, zone string) bool {
	_, danger := triage.Danger(zone)
	return danger || !z.Absent(zone)
}

// nothingThere refuses damage to a zone that is not made yet, or not made again; nil:
// there is something to damage. It never refuses what can hurt.
func (z Zones) nothingThere(triage *steps.Triage, zone string, finding steps.Finding) error {
	if z.MayBeDamaged(triage, zone) || !finding.Quarantine.IsZero() {
		return nil
	}
	why := fmt.Sprintf("the %s is not there yet; what is spoilt before it is made is replaced", zone)
	if z.Zone(zone).Standing == ZoneLost {
		why = fmt.Sprintf("the %s was thrown away, and is not made again yet", zone)
	}
	return refuse("damage of the "+zone, ByState, why, Remedy{})
}

// CheckFinding accepts a finding that is possible in the zone, or free text unless
// it looks like a misspelt finding. One of another zone is only taken for misspelt
// where the text is one word, as a name is.
func CheckFinding(triage *steps.Triage, zone, words string) error {
	if strings.TrimSpace(words) == "" || len(words) > 200 {
		return bad("describe the finding in a few words")
	}
	f, is := triage.Finding(words)
	switch {
	case is && !f.In(zone):
		return bad("%s is not possible on %s; its zones are %s", words, zone, strings.Join(f.Zones, ", "))
	case is:
		return nil
	}
	var here, elsewhere []string
	for _, f := range triage.Findings {
		if f.In(zone) {
			here = append(here, f.Name)
		} else {
			elsewhere = append(elsewhere, f.Name)
		}
	}
	if nearest.Of(words, here) != "" {
		return unknown("finding", words, here)
	}
	if f, is := triage.Finding(nearest.Of(words, elsewhere)); is && !strings.Contains(words, " ") {
		return bad("no finding %q on %s; %s is possible on %s", words, zone, f.Name, strings.Join(f.Zones, ", "))
	}
	return nil
}

// damagesEver counts every damage reported, taken back or not, so that no name
// is used twice.
func (s *State) damagesEver() int {
	n := 0
	for _, e := range s.Entries {
		if _, ok := e.Facts.(journal.DamageFound); ok {
			n++
		}
	}
	return n
}

// ClearQuarantine records that every line of a quarantine was confirmed.
type ClearQuarantine struct {
	Damage  string
	Answers []bool
}

func (r ClearQuarantine) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	d, err := s.Damage(r.Damage)
	if err != nil {
		return nil, err
	}
	if !d.Quarantine.Open() {
		return nil, refuse("quarantine of "+d.Damage, ByState, "it is not in quarantine", Remedy{})
	}
	if c.At.Before(d.At) {
		return nil, &Refusal{What: "quarantine of " + d.Damage, Reasons: []Reason{{Because: ByOrder, Text: "it cannot be cleared before the damage was found", At: d.At}}}
	}
	if c.At.Before(d.Quarantine.Until) {
		return nil, &Refusal{What: "quarantine of " + d.Damage, Reasons: []Reason{{Because: ByDrying, Text: "its time is not over; no line can be confirmed yet", Until: d.Quarantine.Until}}}
	}
	if reasons := unconfirmed(d.Quarantine.Lines, r.Answers); len(reasons) > 0 {
		return nil, &Refusal{What: "quarantine of " + d.Damage, Reasons: reasons}
	}
	return []journal.Facts{journal.QuarantineCleared{Damage: d.Damage, Lines: d.Quarantine.Lines}}, nil
}

// ChangeEquipment records that equipment was fitted, removed or moved.
type ChangeEquipment struct {
	Item, Change string
	Mass, Arm    quantity.Quantity // absent: unknown
	Note         string
}

func (r ChangeEquipment) decide(s *State, _ Circumstances) ([]journal.Facts, error) {
	var names []string
	for _, e := range s.Sheet.Equipment {
		if e.Name != r.Item {
			names = append(names, e.Name)
			continue
		}
		switch {
		case !slices.Contains([]string{Fitted, Removed, Moved}, r.Change):
			return nil, unknown("change of equipment", r.Change, []string{Fitted, Removed, Moved})
		case !r.Mass.IsZero() && (r.Mass.Dimension() != quantity.Mass || negative(r.Mass)):
			return nil, bad("%s is not a mass", r.Mass.Typed())
		case !r.Arm.IsZero() && r.Arm.Dimension() != quantity.Length:
			return nil, bad("%s is not an arm; give a length behind the datum", r.Arm.Typed())
		}
		aboard := func(d *Damage) bool {
			_, off := d.Quarantine.removed[r.Item]
			return slices.Contains(e.Disturbs, d.Zone) && d.Quarantine.Open() && !off
		}
		if r.Change == Removed && s.removed(r.Item) && !slices.ContainsFunc(s.Damages, aboard) {
			return nil, refuse("removing the "+r.Item, ByState, "it was removed already, and not fitted since", Remedy{})
		}
		return []journal.Facts{journal.EquipmentChanged{Item: r.Item, Change: r.Change, Mass: r.Mass, Arm: r.Arm, Note: strings.TrimSpace(r.Note), Disturbs: e.Disturbs}}, nil
	}
	return nil, unknownOf(s.Sheet.Name, "equipment", r.Item, names)
}

// removed reports whether an item was removed last, by entry and by time. What was
// never recorded may have come with the build, and what counts as aboard in
// quarantine must be taken off again, whatever was said before.
func (s *State) removed(item string) bool {
	var entered, latest journal.Entry
	for _, e := range s.Entries {
		if f, ok := e.Facts.(journal.EquipmentChanged); ok && f.Item == item && s.Live(e.Position) {
			entered = e
			if !e.At.Before(latest.At) {
				latest = e
			}
		}
	}
	off := func(e journal.Entry) bool {
		f, ok := e.Facts.(journal.EquipmentChanged)
		return ok && f.Change == Removed
	}
	return off(entered) && off(latest)
}

func negative(q quantity.Quantity) bool {
	v, err := q.Rat(q.Unit())
	return err == nil && v.Sign() < 0
}

// LogFlight records one flight.
type LogFlight struct {
	Landing string
	Note    string
	Check   string // the procedure that a hard landing asks for
}

func (r LogFlight) decide(s *State, _ Circumstances) ([]journal.Facts, error) {
	f := journal.FlightLogged{Landing: r.Landing, Note: strings.TrimSpace(r.Note)}
	switch r.Landing {
	case Soft:
	case Hard:
		f.Check = r.Check
	default:
		return nil, unknown("landing", r.Landing, []string{Soft, Hard})
	}
	return []journal.Facts{f}, nil
}
