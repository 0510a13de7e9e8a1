package workflow

import (
	"fmt"
	"math"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// CheckMark returns an error if the text is not a valid mark.
func CheckMark(mark string) error {
	if !regexp.MustCompile(`^[A-Z][A-Z0-9-]{0,23}$`).MatchString(mark) {
		return bad("%q is not a mark; write a capital letter, then up to 23 capital letters, digits or hyphens, such as CW-01", mark)
	}
	return nil
}

// Register registers an airframe.
type Register struct {
	Mark    string
	Sheet   *steps.Sheet
	Digest  string
	Options []string
}

func (r Register) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	if err := CheckMark(r.Mark); err != nil {
		return nil, err
	}
	if s.Size() > 0 {
		return nil, refuse(r.Mark, ByState, "it is already registered", Remedy{Kind: ToChooseMark})
	}
	var names []string
	for _, o := range r.Sheet.Options {
		names = append(names, o.Name)
	}
	for _, o := range r.Options {
		if c, ok := r.Sheet.Choice(o); ok && !lists.Contains(names, o) {
			return nil, bad("%s is a choice; name one of its answers: %s", o, strings.Join(c.Names(), ", "))
		} else if !ok {
			return nil, unknownOf(r.Sheet.Name, "option", o, names)
		}
	}
	for _, c := range r.Sheet.Choices() {
		if held := c.Held(r.Options); len(held) > 1 && !c.Alone {
			return nil, bad("%s exclude each other: they are answers of %s, and an airframe has one", strings.Join(held, " and "), c.Name)
		}
	}
	options := lists.Clone(r.Options)
	slices.Sort(options)
	return []journal.Facts{journal.Registered{Mark: r.Mark, Design: r.Sheet.Name, Sheet: r.Digest, Options: lists.Compact(options)}}, nil
}

// Start opens a job.
type Start struct {
	Procedure   *steps.Procedure
	Digest      string
	Sheet       *steps.Sheet // the sheet in force from here on
	SheetDigest string
	Zone        string   // where the procedure is started on a zone
	Damages     []string // what it repairs
}

func (r Start) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	p := r.Procedure
	if p.Design != "" && p.Design != s.Airframe.Design {
		return nil, refuse(p.Name, ByState, fmt.Sprintf("it is for design %s, but %s is a %s", p.Design, s.Airframe.Mark, s.Airframe.Design), Remedy{})
	}
	if c.At.Before(s.Since) && c.At.Before(c.Now) { // else the clock was ahead when it was registered
		return nil, &Refusal{What: p.Name, Reasons: []Reason{{Because: ByOrder, Text: "it cannot be started before the airframe was registered", At: s.Since}}}
	}
	r.Zone = r.zone(s)
	if err := r.checkZone(s); err != nil {
		return nil, err
	}
	if reasons := s.undecided(r.Sheet, s.everBuilt(c.At)); len(reasons) > 0 {
		return nil, &Refusal{What: p.Name, Reasons: reasons}
	}
	for _, reason := range []*Reason{s.beingBuilt(p, c.At), s.alreadyBuilt(p, c.At), s.onlyScraps(r, c.At), s.notToFly(p, c.At)} {
		if reason != nil {
			return nil, &Refusal{What: p.Name, Reasons: []Reason{*reason}}
		}
	}
	for _, name := range r.Damages {
		d, err := s.Damage(name)
		if err != nil {
			return nil, err
		}
		if repaired, by := s.Repaired(d, c.At); by != "" {
			state := "being repaired"
			if repaired {
				state = "repaired"
			}
			return nil, refuse(p.Name, ByState, fmt.Sprintf("damage %s is %s by job %s", name, state, by), Remedy{})
		}
		if c.At.Before(d.At) {
			return nil, &Refusal{What: p.Name, Reasons: []Reason{{Because: ByOrder, Text: fmt.Sprintf("it cannot be started before damage %s was found", name), At: d.At}}}
		}
	}
	open := s.OpenJobs(c.At)
	if reason := s.choosesEarly(p, open); reason != nil {
		return nil, &Refusal{What: p.Name, Reasons: []Reason{*reason}}
	}
	for _, j := range open {
		if j.Procedure.Name == p.Name && j.Zone == r.Zone && len(r.Damages) == 0 {
			return nil, refuse(p.Name, ByState, "it is already open as job "+j.ID, s.remedy(Remedy{Kind: ToSeeNext}))
		}
	}
	// The opening of an earlier job may have been taken back, so that its number is free.
	id := p.Name
	for n := 2; lists.Contains(s.jobIDs(), id); n++ {
		id = fmt.Sprintf("%s-%d", p.Name, n)
	}
	if r.SheetDigest != s.SheetDigest && len(open) > 0 {
		return nil, refuse(p.Name, ByState, fmt.Sprintf("the design sheet %s has changed since job %s was opened: revision %d then, revision %d now", r.Sheet.Name, open[0].ID, s.Sheet.Revision, r.Sheet.Revision), s.remedy(Remedy{Kind: ToMoveJob, Name: open[0].ID}))
	}
	return []journal.Facts{journal.JobOpened{Job: id, Procedure: r.Digest, Sheet: r.SheetDigest, Zone: r.Zone, Damages: r.Damages}}, nil
}

// zones are those of the design that the procedure is for.
func (r Start) zones(s *State) []string {
	var zones []string
	for _, z := range r.Procedure.On {
		if lists.Contains(s.Sheet.Zones, z) {
			zones = append(zones, z)
		}
	}
	return zones
}

func (r Start) checkZone(s *State) error {
	on := r.Procedure.On
	if len(on) == 0 {
		if r.Zone != "" {
			return &BadRequestError{Text: r.Procedure.Name + " takes no zone", Remedy: Remedy{Kind: ToOmitZone}}
		}
		return nil
	}
	zones := r.zones(s)
	if r.Zone == "" {
		return &BadRequestError{Text: r.Procedure.Name + " needs a zone", Remedy: Remedy{Kind: ToNameZone, Names: zones}}
	}
	if !lists.Contains(zones, r.Zone) {
		return unknownOf(r.Procedure.Name, "zone", r.Zone, zones)
	}
	return nil
}

// ReadBench records the temperature and humidity at the bench, and conditions.
type ReadBench struct {
	Temperature quantity.Quantity // absent: not read
	Humidity    quantity.Quantity // absent: not read
	Set         []steps.Setting   // conditions
}

func (r ReadBench) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	if reason := s.Untrusted(c.Now); reason != nil {
		return nil, &Refusal{What: "bench", Reasons: []Reason{*reason}}
	}
	var facts []journal.Facts
	switch {
	case !r.Temperature.IsZero():
		celsius, err := r.Temperature.Celsius()
		if err != nil || celsius < -40 || celsius > 60 {
			return nil, bad("%s is not a bench temperature; it must be between -40 °C and 60 °C", r.Temperature)
		}
		if !r.Humidity.IsZero() && !isHumidity(r.Humidity) {
			return nil, bad("%s is not a relative humidity; it must be between 0 %% and 100 %%", r.Humidity)
		}
		facts = append(facts, journal.BenchRead{Temperature: r.Temperature, Humidity: r.Humidity})
	case !r.Humidity.IsZero():
		return nil, bad("a humidity needs a temperature; give both")
	}
	for _, set := range r.Set {
		if err := s.checkSetting(set); err != nil {
			return nil, err
		}
		if reasons := s.guarded(nil, []steps.Setting{set}, c.At); len(reasons) > 0 {
			return nil, &Refusal{What: set.String(), Reasons: reasons}
		}
		if first := s.safeFirst(set, c.At); first.State != "" && !lists.Contains(r.Set, first) {
			return nil, s.refuseBefore(set.String(), first, c.At)
		}
		facts = append(facts, journal.ConditionSet{Setting: set})
	}
	if len(facts) == 0 {
		return nil, r.nothing(s.Airframe.Mark)
	}
	return facts, nil
}

// UnlikelyAtBench says why what was read of the bench is probably mistyped or misread; "":
// nothing speaks against it. A bench has between 5 and 35 °C, so that a figure in °F that is
// taken for one in °C is noticed, and warms or cools by no more than 8 °C in a sitting
// (common practice, no source).
func (s *State) UnlikelyAtBench(r ReadBench, now time.Time) string {
	celsius, err := r.Temperature.Celsius()
	if err != nil || r.Temperature.IsZero() || celsius > 60 || !r.Humidity.IsZero() && !isHumidity(r.Humidity) { // what is refused
		return ""
	}
	if celsius < 5 || celsius > 35 {
		return fmt.Sprintf("a bench is rarely at %s", r.Temperature)
	}
	if last, known := s.benchAt(now); known && math.Abs(last.celsius-celsius) > 8 {
		return fmt.Sprintf("it was %.0f °C before in this sitting, and %s now", last.celsius, r.Temperature)
	}
	if percent, err := r.Humidity.Rat("%"); err == nil && (percent.Cmp(big.NewRat(10, 1)) < 0 || percent.Cmp(big.NewRat(95, 1)) > 0) {
		return fmt.Sprintf("a humidity of %s is rare", r.Humidity)
	}
	return ""
}

// Empty reports whether there is nothing in it to record.
func (r ReadBench) Empty() bool {
	return r.Temperature.IsZero() && r.Humidity.IsZero() && len(r.Set) == 0
}

func (r ReadBench) nothing(mark string) error {
	return &BadRequestError{Text: "there is nothing to record", Remedy: Remedy{Kind: ToReadBench, Humidity: true, Mark: mark}}
}

// Among is what of it is recorded for each of several airframes at one bench, none of which
// was named: a condition for those that know it, and one that belongs to the bench once. A
// condition or a state that none of them knows is an error, and so is what is guarded, as a plug, where more than one has it.
func (r ReadBench) Among(states []*State) ([]ReadBench, error) {
	if r.Empty() {
		return nil, r.nothing("")
	}
	all := make([]ReadBench, len(states))
	for i := range all {
		all[i] = ReadBench{Temperature: r.Temperature, Humidity: r.Humidity}
	}
	for _, set := range r.Set {
		known, ofBench := false, false
		var unknown error
		for i, s := range states {
			if err := s.checkSetting(set); err != nil {
				if _, has := s.Sheet.Condition(set.Condition); unknown == nil || has { // that says more
					unknown = err
				}
				continue
			}
			def, _ := s.Sheet.Condition(set.Condition)
			if def.Guarded != "" && !def.Bench && known {
				return nil, &BadRequestError{Text: fmt.Sprintf("%s is said of one airframe alone: name it; more than one here has that", set)}
			}
			if known = true; s.ofBench(set.Condition) {
				if ofBench {
					continue
				}
				ofBench = true
			}
			all[i].Set = append(all[i].Set, set)
		}
		if !known {
			return nil, unknown
		}
	}
	return all, nil
}

// isHumidity reports whether a quantity is a relative humidity.
func isHumidity(q quantity.Quantity) bool {
	percent, err := q.Rat("%")
	return err == nil && percent.Sign() >= 0 && percent.Cmp(big.NewRat(100, 1)) <= 0
}

func (s *State) checkSetting(set steps.Setting) error {
	def, ok := s.Sheet.Condition(set.Condition)
	if !ok {
		var names []string
		for _, d := range s.Sheet.Conditions {
			names = append(names, d.Name)
		}
		return unknown("condition", set.Condition, names)
	}
	if !lists.Contains(def.States, set.State) {
		return unknownOf(def.Name, "state", set.State, def.States)
	}
	return nil
}

// Note records free text.
type Note struct{ Text string }

func (r Note) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	text := strings.TrimSpace(r.Text)
	if text == "" {
		return nil, bad("the note is empty")
	}
	if len(text) > 8192 {
		return nil, bad("the note is longer than 8 KiB")
	}
	return []journal.Facts{journal.Noted{Text: text}}, nil
}

// KeepPhoto records that a photo was kept, and what it shows.
type KeepPhoto struct{ journal.PhotoKept }

func (r KeepPhoto) decide(s *State, _ Circumstances) ([]journal.Facts, error) {
	for _, p := range r.Of {
		if p < 0 || p >= s.Size() {
			return nil, UnknownEntry(p)
		}
	}
	return []journal.Facts{r.PhotoKept}, nil
}

// RecordSeal records that the head of the journal was signed.
type RecordSeal struct{ journal.Sealed }

func (r RecordSeal) decide(s *State, _ Circumstances) ([]journal.Facts, error) {
	if r.Size < 1 || r.Size > s.Size() {
		return nil, bad("a seal of %d entries does not fit this journal of %d", r.Size, s.Size())
	}
	return []journal.Facts{r.Sealed}, nil
}

// UnknownEntry is the error for a position that the journal does not have.
func UnknownEntry(position int64) error { return unknown("entry", fmt.Sprint(position), nil) }

// UnknownMark is the error for a mark that no airframe has, with the nearest.
func UnknownMark(mark string, known []string) error { return unknown("airframe", mark, known) }
