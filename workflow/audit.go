package workflow

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// An AuditedReading is one reading with everything that the journal says about it.
type AuditedReading struct {
	Entry      journal.Entry
	Reading    journal.ReadingTaken
	Gate       steps.Gate        // with the limits in force then
	Value      quantity.Quantity // as it was judged: a throw in the form of the limits
	Throw      steps.Control     // whose throw it is; zero: it is none
	Gauge      steps.Gauge       // used for it
	Job        string            // the job whose measure step it was for; "" where none was open
	OwnVerdict measuring.Finding
	Scale      measuring.Scale // of the reading alone; no cells: it has no limits of its own

	Check   *GaugeCheck // of the gauge, the last before the reading was taken; nil: none
	Checked bool        // the gauge was checked at least once
	Doubt   *GaugeCheck // the check that casts doubt on it; nil: none

	TakenBack  int64  // the entry that took it back; 0: none
	Superseded int64  // the later reading that counts instead; 0: none
	StaleBy    Cause  // why it no longer counts
	StaleEntry int64  // the entry that disturbed it; 0: none
	Concession int64  // the entry that accepted it anyway; 0: none
	Reason     string // of the concession
	Releases   []int64
}

// An AuditFilter selects readings; its zero value selects all.
type AuditFilter struct {
	Gate, Zone, Job string
	From, To        time.Time // To is not included
	Critical        bool      // of critical gates only
	Failures        bool      // out of tolerance or undecided only
}

// fits reports whether the filter selects the reading, where those failed.
func (f AuditFilter) fits(r *AuditedReading, failed map[int64]bool) bool {
	switch {
	case f.Gate != "" && r.Reading.Gate != f.Gate,
		f.Zone != "" && !lists.Contains(r.Gate.Of, f.Zone),
		f.Job != "" && r.Job != f.Job,
		!f.From.IsZero() && r.Entry.At.Before(f.From),
		!f.To.IsZero() && !r.Entry.At.Before(f.To),
		f.Critical && !r.Gate.Critical,
		f.Failures && !failed[r.Entry.Position]:
		return false
	}
	return true
}

// Audit returns every reading that matches the filter, gate by gate in the
// order of the sheet, and for each gate in the order of entry.
func (s *State) Audit(filter AuditFilter, at time.Time) ([]*AuditedReading, error) {
	if err := s.CheckFilter(filter); err != nil {
		return nil, err
	}
	var all []*AuditedReading
	sheet := s.docs.Sheets[s.Airframe.Sheet]
	for _, e := range s.Entries {
		if digest := journal.NamesOf(e.Facts).Sheet; digest != "" {
			sheet = s.docs.Sheets[digest]
		}
		if f, ok := e.Facts.(journal.ReadingTaken); ok {
			all = append(all, s.audited(e, f, sheet))
		}
	}
	counts := map[int64]bool{}
	for _, g := range s.Gates(at) {
		for _, p := range g.Rests {
			counts[p] = true
		}
	}
	for _, r := range all {
		s.explainReading(r, all, at)
		s.agree(r, counts, at)
	}
	rank := map[string]int{}
	for i, g := range s.Sheet.Gates {
		rank[g.Name] = i - len(s.Sheet.Gates)
	}
	sorting.Stable(all, func(i, k int) int {
		return rank[all[i].Reading.Gate] - rank[all[k].Reading.Gate]
	})
	var failed map[int64]bool
	if filter.Failures {
		var err error
		if failed, err = s.failed(all, at); err != nil {
			return nil, err
		}
	}
	fit := all[:0:0]
	for _, r := range all {
		if filter.fits(r, failed) {
			fit = append(fit, r)
		}
	}
	return fit, nil
}

// failed are the readings that were out of tolerance or undecided, by entry: alone, or with
// those that they can only be judged with.
func (s *State) failed(all []*AuditedReading, at time.Time) (map[int64]bool, error) {
	record, err := s.Record(at)
	if err != nil {
		return nil, err
	}
	failed := map[int64]bool{}
	for _, r := range all {
		verdict := r.OwnVerdict.Verdict
		if j := record.JudgementOf(r.Entry.Position); j != nil && !r.Gate.Alone() {
			verdict = j.Report.Finding.Verdict
		}
		failed[r.Entry.Position] = verdict == measuring.Out || verdict == measuring.Undecided
	}
	return failed, nil
}

// CheckFilter refuses names in the filter that this airframe does not know.
func (s *State) CheckFilter(f AuditFilter) error {
	if f.Gate != "" {
		if _, ok := s.Sheet.Gate(f.Gate); !ok {
			return unknown("gate", f.Gate, gateNames(s.Sheet.Gates))
		}
	}
	if f.Zone != "" && !lists.Contains(s.Sheet.Zones, f.Zone) {
		return unknown("zone", f.Zone, s.Sheet.Zones)
	}
	if f.Job != "" {
		_, err := s.Job(f.Job)
		return err
	}
	return nil
}

// audited judges one reading alone, by the limits that held when it was taken.
func (s *State) audited(e journal.Entry, f journal.ReadingTaken, sheet *steps.Sheet) *AuditedReading {
	r := &AuditedReading{Entry: e, Reading: f}
	gate, _ := sheet.Gate(f.Gate)
	r.Gate = gate.For(f.Point)
	r.Gauge, _ = sheet.Gauge(f.Gauge)
	f.Value, _ = thrown(sheet, f)
	r.Value = f.Value
	if control, ok := sheet.ControlOf(f.Gate); ok {
		r.Throw = control
	}
	if r.Gate.Alone() {
		rule := r.Gate.Rule()
		rule.Limits.Alike, rule.Repeat = quantity.Quantity{}, 1 // likeness takes two
		alone := []measuring.Point{{Name: f.Point, Readings: []quantity.Quantity{f.Value}}}
		doubts := measuring.Doubts{Earlier: f.Earlier, Gauges: turned(sheet, f, s.studied(reading{position: e.Position, at: e.At, ReadingTaken: f}, []measuring.Doubt{r.Gauge.Doubt()}))}
		for _, part := range rule.Parts(alone, doubts) {
			r.Scale = part.Scale
		}
		finding, err := rule.Judge(alone, doubts)
		if err != nil {
			finding = measuring.Finding{Verdict: measuring.Undecided, Reason: err.Error()}
		}
		r.OwnVerdict = finding
	}
	r.Job, _ = s.measuredFor(e.Position, f.Gate)
	return r
}

// measuredFor is the job and the step that a reading was taken for: of the last job opened
// before it with a measure step for the gate that was not done by then.
func (s *State) measuredFor(position int64, gate string) (job, step string) {
	for _, j := range slices.Backward(s.Jobs) {
		if j.Position > position {
			continue
		}
		for _, step := range j.Procedure.Steps() {
			if !step.AsksFor(gate) {
				continue
			}
			if m, done := j.done[step.Name]; !done || m.position > position {
				return j.ID, step.Name
			}
		}
	}
	return "", ""
}

// explainReading fills in what happened to a reading after it was taken.
func (s *State) explainReading(r *AuditedReading, all []*AuditedReading, at time.Time) {
	position := r.Entry.Position
	r.TakenBack = s.undone[position]
	for _, e := range s.Entries[position+1:] {
		switch f := e.Facts.(type) {
		case journal.ConcessionGranted:
			if s.Live(e.Position) && lists.Contains(f.Readings, position) {
				r.Concession, r.Reason = e.Position, f.Reason
			}
		case journal.Released:
			if s.Live(e.Position) && lists.Contains(f.RestsOn, position) {
				r.Releases = append(r.Releases, e.Position)
			}
		}
	}
	t := reading{position: position, at: r.Entry.At, ReadingTaken: r.Reading}
	r.Check, r.Checked = s.lastCheck(r.Reading.Gauge, position, r.Entry.At), s.gauges[r.Reading.Gauge] != nil
	if r.TakenBack == 0 {
		r.Doubt = s.inDoubt(t)
	}
	if d, zone, ok := s.firstDisturbance(r.Gate, t); ok {
		r.StaleBy, r.StaleEntry = Cause{Text: zone + " was disturbed by " + d.by}, d.position
	} else if why := s.outlived(r.Gate.Validity, t, at); why != "" {
		r.StaleBy.Text = why
	}
	later := 0
	for _, other := range all {
		if other.Entry.Position > position && other.Reading.Gate == r.Reading.Gate && other.Reading.Point == r.Reading.Point && s.Live(other.Entry.Position) {
			later++
			doubted := s.inDoubt(reading{position: other.Entry.Position, at: other.Entry.At, ReadingTaken: other.Reading}) != nil
			if r.Superseded == 0 && (later == max(1, r.Gate.Repeat) || doubted) {
				r.Superseded = other.Entry.Position
			}
		}
	}
}

// agree makes the audit say that a reading counts exactly if the engine counts
// it. The order of entries alone can give another answer: limits may have
// changed since, and entries may have been typed in late.
func (s *State) agree(r *AuditedReading, counts map[int64]bool, at time.Time) {
	position := r.Entry.Position
	switch {
	case counts[position]:
		r.StaleBy, r.StaleEntry, r.Superseded = Cause{}, 0, 0
		return
	case r.TakenBack > 0 || !r.StaleBy.IsZero() || r.Superseded > 0 || r.Doubt != nil:
		return
	}
	now, err := s.GateReport(r.Reading.Gate, at)
	if err != nil {
		r.StaleBy.Text = "the design no longer has this gate"
		return
	}
	record := s.gates[r.Reading.Gate]
	for _, t := range record.readings {
		if t.position == position {
			r.StaleBy, _ = s.discounts(now.Gate, record, s.lastInDoubt(record), s.jointsOf(now.Gate), t, at)
		}
	}
	if !r.StaleBy.IsZero() {
		return
	}
	r.StaleBy.Text = "the design no longer has this point"
	for _, p := range now.Rests { // another reading at its point counts instead
		if f, ok := s.Entries[p].Facts.(journal.ReadingTaken); ok && f.Point == r.Reading.Point {
			r.StaleBy, r.Superseded = Cause{}, p
		}
	}
}

// firstDisturbance is the first entry after a reading that disturbed one of
// its gate's zones.
func (s *State) firstDisturbance(g steps.Gate, t reading) (disturbance, string, bool) {
	for _, e := range s.Entries[t.position+1:] {
		by, zones := s.disturbs(e)
		for _, z := range zones {
			if g.Touched(z) {
				return disturbance{e.Position, e.At, by}, z, true
			}
		}
	}
	return disturbance{}, "", false
}

// An AuditSummary is what the record shows and what it does not show.
type AuditSummary struct {
	Entries, Readings   int
	Out, Undecided      int // readings, each judged alone
	Current             []string
	NotCurrent          []NotPassed
	Conceded            []string // used as they are
	NeverTaken          []string
	NeverChecked        []string // gauges that were used and have no check in the record
	NotGood             []Cause  // gauges that failed their last check
	InDoubt             []Cause  // readings, with why
	Lapsed              []string // joints whose window was missed
	Witnessed           []string // steps that wanted a second person: who it was, or what was done instead
	TooLate             []string // steps done, or still to be done, too late after a wait
	Concessions         []string
	Corrections         []string
	Backwards           []string // entries recorded with an earlier time than the entry before
	Grounded            []Cause  // flights that it was not released for, as far as anybody knew then
	Build               Cause    // what is missing of how it was built
	Late                int      // entries typed in more than ten minutes late
	Releases, Flights   int
	Damages, OpenDamage int
}

// NotPassed are gates that have not passed, for one reason.
type NotPassed struct {
	Why   Cause
	Gates []string
}

// AuditSummary summarizes the journal at the given time.
func (s *State) AuditSummary(at time.Time) (AuditSummary, error) {
	sum := AuditSummary{Build: s.BuildMissing(at), Entries: len(s.Entries), Flights: len(s.Flights), Damages: len(s.Damages), OpenDamage: len(s.OpenDamages(at))}
	readings, err := s.Audit(AuditFilter{}, at)
	if err != nil {
		return sum, err
	}
	sum.Readings = len(readings)
	for _, r := range readings {
		switch r.OwnVerdict.Verdict {
		case measuring.Out:
			sum.Out++
		case measuring.Undecided:
			sum.Undecided++
		}
	}
	var reasons []Cause
	gates := map[Cause][]string{} // that are not passed, by reason
	for _, g := range s.Gates(at) {
		switch {
		case g.Standing == Current:
			sum.Current = append(sum.Current, g.Gate.Name)
		case g.Standing == Conceded:
			sum.Conceded = append(sum.Conceded, g.Gate.Name)
		case g.Standing == NeverTaken && !g.Doubted:
			sum.NeverTaken = append(sum.NeverTaken, g.Gate.Name)
		default:
			why := g.Says()
			if gates[why] == nil {
				reasons = append(reasons, why)
			}
			gates[why] = append(gates[why], g.Gate.Name)
		}
	}
	for _, why := range reasons {
		sum.NotCurrent = append(sum.NotCurrent, NotPassed{why, gates[why]})
	}
	for _, f := range s.Flights {
		if f.Grounded != "" {
			sum.Grounded = append(sum.Grounded, Cause{fmt.Sprintf("entry %d: %s", f.Position, f.Grounded), f.At})
		}
	}
	s.sumGauges(&sum, readings, at)
	s.sumEntries(&sum, at)
	return sum, nil
}

// sumGauges adds what is known about the gauges that were used.
func (s *State) sumGauges(sum *AuditSummary, readings []*AuditedReading, at time.Time) {
	for _, r := range readings {
		if name := r.Reading.Gauge; !r.Checked && !lists.Contains(sum.NeverChecked, name) {
			sum.NeverChecked = append(sum.NeverChecked, name)
		}
		if r.Doubt != nil {
			sum.InDoubt = append(sum.InDoubt, r.Doubt.Doubts().after(fmt.Sprintf("%s, entry %d: ", strings.TrimSpace(r.Reading.Gate+" "+r.Reading.Point), r.Entry.Position)))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(s.gauges)) {
		if c := s.lastBad(name, at); c != nil {
			sum.NotGood = append(sum.NotGood, Cause{fmt.Sprintf("%s, entry %d, found %s", name, c.Position, c.Off.Found()), c.At})
		}
	}
}

// sumEntries adds what single entries show.
func (s *State) sumEntries(sum *AuditSummary, at time.Time) {
	var newest journal.Entry
	coated := map[string]journal.Entry{} // by job, joint and step: the coat not joined yet
	for _, e := range s.Entries {
		if e.Recorded.Before(newest.Recorded) {
			sum.Backwards = append(sum.Backwards, fmt.Sprintf("entry %d was recorded with an earlier time than entry %d", e.Position, newest.Position))
		} else {
			newest = e
		}
		if e.Late() {
			sum.Late++
		}
		switch f := e.Facts.(type) {
		case journal.Undone:
			sum.Corrections = append(sum.Corrections, fmt.Sprintf("entry %d took back %v%s", e.Position, f.TakesBack, reasoned(f.Reason)))
		case journal.ConcessionGranted:
			if s.Live(e.Position) {
				sum.Concessions = append(sum.Concessions, fmt.Sprintf("%s, by %s, entry %d: %s", f.Gate, e.By, e.Position, f.Reason))
			}
		case journal.Witnessed:
			if s.Live(e.Position) {
				sum.Witnessed = append(sum.Witnessed, fmt.Sprintf("%s of %s, entry %d: %s", f.Step, f.Job, e.Position, f.Says()))
			}
		case journal.Released:
			if s.Live(e.Position) {
				sum.Releases++
			}
		case journal.Coated:
			key := f.Job + "/" + f.Joint + "/" + f.Step
			if was, twice := coated[key]; twice && s.Live(e.Position) {
				sum.Lapsed = append(sum.Lapsed, fmt.Sprintf("%s of %s: coated by entry %d, and again by entry %d", f.Joint, f.Job, was.Position, e.Position))
			}
			if s.Live(e.Position) {
				coated[key] = e
			}
		}
	}
	sum.TooLate = s.TooLate(at)
	for _, j := range s.joints() {
		if j.Doubted() {
			sum.Lapsed = append(sum.Lapsed, fmt.Sprintf("%s of %s: joined outside its window, by the bench as it is known now", j.Name, j.Job))
		} else if j.Lapsed(at) {
			sum.Lapsed = append(sum.Lapsed, fmt.Sprintf("%s of %s: coated and not joined in time", j.Name, j.Job))
		}
	}
}

func reasoned(reason string) string {
	if reason == "" {
		return ""
	}
	return ": " + reason
}
