package workflow

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A Damage is a finding; it is open until a job that repairs it is complete.
type Damage struct {
	journal.DamageFound
	At         time.Time
	Typed      time.Time // when it was typed in, if that was later
	By         string
	Position   int64
	Quarantine *Quarantine // never nil

	before bool // it was found in what is fitted, before the zone of it was made
}

// A Flight is one flight.
type Flight struct {
	journal.FlightLogged
	At       time.Time
	Position int64

	back int64 // the entry that took it back, though its check is due; 0: none did
}

// The ways to land, and to change equipment.
const (
	Soft = "soft"
	Hard = "hard"

	Fitted  = "fitted"
	Removed = "removed"
	Moved   = "moved"
)

func (s *State) damage(e journal.Entry) error {
	f := e.Facts.(journal.DamageFound)
	d := &Damage{DamageFound: f, At: e.At, By: e.By, Position: e.Position, Quarantine: &Quarantine{}}
	if q, ok := s.Quarantine(f.Damage); ok {
		d.Quarantine, d.before = q, s.zonesTill(e.Position, e.At).Zone(f.Zone).Standing == ZoneAbsent
	}
	if e.Late() {
		d.Typed = e.Recorded
	}
	s.Damages = append(s.Damages, d)
	return nil
}

func (s *State) fly(e journal.Entry) error {
	f := e.Facts.(journal.FlightLogged)
	s.Flights = append(s.Flights, Flight{FlightLogged: f, At: e.At, Position: e.Position})
	return nil
}

// flew keeps a flight that asks for a check and was taken back: somebody saw what asks
// for it.
func (s *State) flew(e journal.Entry) {
	f := e.Facts.(journal.FlightLogged)
	if by, back := s.undone[e.Position]; back && f.Check != "" {
		s.backFlights = append(s.backFlights, Flight{f, e.At, e.Position, by})
	}
}

// checkedFlights are the flights that ask for a check, by entry. One that was taken
// back does until an airframe is released after that, as older programs did.
func (s *State) checkedFlights() []Flight {
	var all []Flight
	for _, f := range append(slices.Clone(s.Flights), s.backFlights...) {
		if f.Check != "" && (f.back == 0 || s.Release == nil || s.Release.Position < f.back) {
			all = append(all, f)
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return cmp.Compare(a.Position, b.Position)
	})
	return all
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
		if j.planned > d.Position && lists.Contains(j.Damages, d.Damage) {
			by = j.ID
			if !s.Open(j, at) {
				return true, by
			}
		}
	}
	return d.before && s.replaced(d, at), by
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

// CheckDue returns a check that a hard landing or a flight while grounded asks for,
// the last one first, and when that was; "" once each of them has a complete job of
// that name that was opened after it, by entry and by time.
func (s *State) CheckDue(at time.Time) (check string, landed time.Time) {
	f, _, due := s.checkDue(at)
	if !due {
		return "", time.Time{}
	}
	return f.Check, f.At
}

// says is that its check is due.
func (f Flight) says() Cause {
	text := f.Check + " is due after a flight that it was not released for"
	if f.Landing == Hard {
		text = f.Check + " is due after the hard landing"
	}
	if f.back != 0 {
		text += ", also where that was taken back"
	}
	return Cause{text, f.At}
}

// checkDue is the flight of CheckDue with the open job of that check, which must be
// finished first even if it was opened before the landing; "": none.
func (s *State) checkDue(at time.Time) (flight Flight, open string, due bool) {
	for _, f := range slices.Backward(s.checkedFlights()) {
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
			return f, its, true
		}
	}
	return Flight{}, "", false
}

// Unchecked says which check is due, which comes before any repair; nil: none.
func (s *State) Unchecked(at time.Time) *Reason {
	f, open, due := s.checkDue(at)
	if !due {
		return nil
	}
	do := Remedy{Kind: ToStart, Name: f.Check}
	if open != "" {
		do = Remedy{Kind: ToFinish, Name: open}
	}
	return &Reason{Because: ByState, Text: f.says().Text, At: f.At, Remedy: s.remedy(do)}
}

// unseen says which look from afar comes before a step of another job that sets what is guarded on an airframe, as it pulls a battery: it
// is damaged or came down hard, and nobody said since how that stands. What looks it over has steps for that first, before it touches it;
// where it is due and not begun, that comes first. nil: nothing.
func (s *State) unseen(j *Job, step *steps.Step, at time.Time) *Reason {
	touched := func(is steps.Setting) bool {
		def, _ := s.Sheet.Condition(is.Condition)
		return def.Guarded != "" && !def.Bench
	}
	unknown := func(is steps.Setting) bool { return touched(is) && s.Holds(is.Condition, at) == "" }
	if !steps.AnySetting(step.Sets, unknown) {
		return nil
	}
	flight, open, due := s.checkDue(at)
	if due && open == "" && j.Procedure.Name != flight.Check {
		return s.Unchecked(at)
	}
	jobs, damages := s.OpenJobs(at), s.OpenDamages(at)
	turns := s.turns(jobs, at)
	for _, look := range jobs {
		if look == j || turns[look.ID] != RankLooksOver || !due && look.Position < damages[0].Position {
			continue
		}
		for _, stage := range look.Procedure.Stages {
			head := s.head(look, stage, at)
			if len(stage.After) > 0 || head == len(stage.Steps) {
				continue
			}
			if !slices.ContainsFunc(stage.Steps[:head+1], func(step steps.Step) bool {
				return steps.AnySetting(step.Sets, touched) || steps.AnySetting(s.NeedsAt(look, step, at), touched)
			}) {
				return &Reason{Because: ByOrder, Text: fmt.Sprintf("%s of job %s comes before it: nobody has looked at %s from afar", stage.Steps[head].Name, look.ID, s.Airframe.Mark),
					Remedy: s.remedy(Remedy{Kind: ToSeeNext})}
			}
		}
	}
	return nil
}

// shiftedByCheck says which condition the check after a hard landing left otherwise
// than it was at the release: what was released is not what stands there now.
func (s *State) shiftedByCheck(r *LastRelease, at time.Time) Cause {
	checks := map[string]bool{} // procedures
	for _, f := range s.checkedFlights() {
		if f.Position > r.Position {
			checks[f.Check] = true
		}
	}
	if len(checks) == 0 {
		return Cause{}
	}
	for _, e := range s.Entries[r.Position+1:] {
		work, _ := journal.WorkOf(e.Facts)
		job, err := s.Job(work.Job)
		if err != nil || !checks[job.Procedure.Name] || !s.Live(e.Position) {
			continue
		}
		for _, set := range work.Sets {
			def, _ := s.Sheet.Condition(set.Condition)
			now, then := s.Holds(set.Condition, at), s.Holds(set.Condition, r.At)
			if !def.Lapses() && now != "" && now != then {
				return Cause{Text: fmt.Sprintf("%s since %s, and not at the release", steps.Setting{Condition: set.Condition, State: now}, job.ID)}
			}
		}
	}
	return Cause{}
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
		found.Thing = s.thingAt(seen.Zone, c.At)
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
	if !lists.Contains(s.Sheet.Zones, seen.Zone) {
		return none, unknown("zone", seen.Zone, s.Sheet.Zones)
	}
	if !lists.Contains(steps.Severities(), seen.Severity) {
		return none, unknown("severity", seen.Severity, steps.Severities())
	}
	if err := CheckFinding(r.Triage, s.Sheet.Zones, seen.Zone, seen.Finding); err != nil {
		return none, err
	}
	finding, known := r.Triage.FindingOf(seen.Finding, seen.Zone)
	_, danger := r.Triage.Danger(seen.Zone)
	if !known {
		// Where damage can hurt, what is said of the zone itself is recorded at once, as the worst of it.
		sounds := sorting.Delete(r.Triage.Sounds(s.Sheet.Zones, seen.Zone, seen.Finding), func(m steps.Meaning) bool { return danger && m.Zone == seen.Zone })
		if len(sounds) > 0 && !r.OwnWords {
			return none, &SoundsLikeError{seen.Finding, seen.Zone, sounds}
		}
	}
	if possible := r.Triage.Possible(seen.Finding, seen.Zone); !lists.Contains(possible, seen.Severity) && danger && !known {
		seen.Severity = possible[0]
	} else if !lists.Contains(possible, seen.Severity) {
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
	if !known {
		finding, _ = r.Triage.Means(seen.Zone)
		for _, m := range r.Triage.Sounds(nil, seen.Zone, seen.Finding) {
			if m.Quarantine.Lasts() > finding.Quarantine.Lasts() {
				finding = m.Finding
			}
		}
		found.As = finding.Name
	}
	harmless := func(z string) bool { // a crack of what it lies in is not one of the thing
		f, _ := r.Triage.Danger(z)
		return f.Quarantine.IsZero()
	}
	graver := lists.Index(steps.Severities(), seen.Severity) > lists.Index(steps.Severities(), steps.Slight) || len(finding.Zones) > 0 && !lists.ContainsFunc(finding.Zones, harmless)
	if worst, _ := r.Triage.Means(seen.Zone); known && finding.Quarantine.IsZero() && s.isThing(seen.Zone) && !worst.Quarantine.IsZero() && graver {
		finding, found.As = worst, worst.Name // a table of one's own may name less than it is
	}
	found.Quarantine = finding.Quarantine
	return found, s.nothingThere(zones, r.Triage, found, finding)
}

// MayBeDamaged reports whether there is something of the zone to damage, or what is
// dangerous there, which need not be fitted. What was thrown away and nothing makes again
// can still be found lost.
func (z Zones) MayBeDamaged(triage *steps.Triage, zone string) bool {
	_, danger := triage.Danger(zone)
	r := z.Zone(zone)
	return danger || r.There() || r.Standing == ZoneLost && !r.Making
}

// nothingThere refuses damage to a zone that is not made yet, or not made again; nil:
// there is something to damage. It never refuses what can hurt.
func (s *State) nothingThere(z Zones, triage *steps.Triage, found journal.DamageFound, finding steps.Finding) error {
	zone := z.Zone(found.Zone)
	_, danger := triage.Danger(found.Zone)
	what := "damage of the " + found.Zone
	switch {
	case danger, zone.There(), !finding.Quarantine.IsZero():
		return nil
	case zone.Standing != ZoneLost:
		return refuse(what, ByState, fmt.Sprintf("the %s is not there yet; what is spoilt before it is made is replaced", found.Zone), Remedy{})
	case zone.Making:
		return refuse(what, ByState, fmt.Sprintf("the %s was thrown away, and job %s makes it again; what is spoilt before it is made is made once more: take back its steps", found.Zone, s.lost[found.Zone].job), s.remakes(found.Zone))
	case found.Severity != steps.Total:
		return refuse(what, ByState, fmt.Sprintf("the %s was thrown away, and is not made again yet: what is lost is %s", found.Zone, steps.Total), s.remedy(Remedy{Kind: ToReportDamage}))
	}
	return nil
}

// remakes takes back the first step that made a zone anew, if one is done.
func (s *State) remakes(zone string) Remedy {
	job, err := s.Job(s.lost[zone].job)
	if err != nil {
		return Remedy{}
	}
	first := int64(-1)
	for _, name := range job.remaking(zone) {
		if done, ok := job.done[name]; ok && (first < 0 || done.position < first) {
			first = done.position
		}
	}
	if first < 0 {
		return s.remedy(Remedy{Kind: ToFinish, Name: job.ID})
	}
	return s.remedy(Remedy{Kind: ToTakeBack, Entry: first})
}

// CheckFinding accepts a finding that is possible in the zone, and free text, such as words
// that findings there have, unless it looks like a misspelt finding. One of another zone
// is only taken for misspelt where the text is one word, as a name is, and never where
// damage can hurt.
func CheckFinding(triage *steps.Triage, zones []string, zone, words string) error {
	if strings.TrimSpace(words) == "" || len(words) > 200 {
		return bad("describe the finding in a few words")
	}
	f, is := triage.Finding(words)
	if is && f.In(zone) || f.Quarantine.IsZero() && len(triage.Sounds(nil, zone, words)) > 0 {
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
	if near := nearestFinding(words, zone, here); near != "" {
		return &UnknownError{What: "finding", Name: words, Nearest: near}
	}
	at := func(f steps.Finding) string {
		return strings.Join(sorting.Delete(lists.Clone(f.Zones), func(z string) bool { return !lists.Contains(zones, z) }), ", ")
	}
	_, danger := triage.Danger(zone)
	switch {
	case danger && f.Quarantine.IsZero():
		return nil
	case is:
		return bad("%s is not possible on %s; its zones are %s", words, zone, at(f))
	}
	if f, is := triage.Finding(nearest.Of(words, elsewhere)); is && !danger && !strings.Contains(words, " ") && at(f) != "" {
		return bad("no finding %q on %s; %s is possible on %s", words, zone, f.Name, at(f))
	}
	return nil
}

// nearestFinding is the finding that was meant, also where the zone is said with it:
// wing-craked. Words that are set apart are words of one's own.
func nearestFinding(words, zone string, known []string) string {
	if near := nearest.Of(words, known); near != "" || strings.Contains(words, " ") {
		return near
	}
	for _, rest := range []string{strings.TrimPrefix(words, zone+"-"), strings.TrimSuffix(words, "-"+zone)} {
		if near := nearest.Of(rest, known); rest != words && near != "" {
			return near
		}
	}
	return ""
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

// LogFlight records one flight.
type LogFlight struct {
	Landing string
	Note    string
	Check   string            // the procedure that a hard landing asks for, and a flight while grounded
	Lasted  quantity.Quantity // how long it was in the air; absent: nobody says
	Trims   []journal.Trim    // where control surfaces stood after the landing
}

// longestFlight is more than any battery of such an airframe lasts (common practice, no
// source).
const longestFlight = 24 * time.Hour

func (r LogFlight) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	f := journal.FlightLogged{Landing: r.Landing, Note: strings.TrimSpace(r.Note), Lasted: r.Lasted}
	if lasted, err := r.Lasted.Duration(); !r.Lasted.IsZero() && (err != nil || lasted <= 0 || lasted > longestFlight) {
		return nil, bad("a flight lasts more than nothing and no more than a day, not %s", r.Lasted.Typed())
	}
	if err := s.trims(r.Trims); err != nil {
		return nil, err
	}
	if err := s.beyondThrow(r.Trims, c.At); err != nil {
		return nil, err
	}
	f.Trims = r.Trims
	switch r.Landing {
	case Soft:
	case Hard:
		f.Check = r.Check
	default:
		return nil, unknown("landing", r.Landing, []string{Soft, Hard})
	}
	might, err := s.AirworthinessThen(c.At)
	if err != nil {
		return nil, err
	}
	if !might.Released {
		f.Grounded, f.Check = might.Why.Text, r.Check
	}
	return []journal.Facts{f}, nil
}
