package page

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Journal is the entries of an airframe.
type Journal struct {
	Mark    string  `json:"mark"`
	Entries []Entry `json:"entries"`
}

// An Entry is one line of a journal.
type Entry struct {
	Position int64         `json:"position"`
	Kind     string        `json:"kind"`
	At       time.Time     `json:"at"`
	Recorded time.Time     `json:"recorded"`
	By       string        `json:"by"`
	Program  string        `json:"program"`
	Facts    journal.Facts `json:"facts"`
	Says     string        `json:"says"`
	Undone   bool          `json:"undone,omitempty"`
}

// LookAt is the command that shows what is on record of an airframe.
func LookAt(mark string) string { return "fettle airframe show " + mark + " --entries" }

// NewJournal makes the page of a whole journal.
func NewJournal(s *workflow.State) Journal {
	j := Journal{Mark: s.Airframe.Mark, Entries: []Entry{}}
	for _, e := range s.Entries {
		j.Entries = append(j.Entries, newEntry(s, e))
	}
	return j
}

func newEntry(s *workflow.State, e journal.Entry) Entry {
	words := says(e.Facts)
	if f, ok := e.Facts.(journal.JobMoved); ok {
		sheet, procedure := s.MovedTo(f)
		words += fmt.Sprintf(": %s %d, %s %d", sheet.Name, sheet.Revision, procedure.Name, procedure.Revision)
	}
	if s.Retired != nil && s.Retired.Position == e.Position {
		words += s.Retired.Left()
	}
	if f, ok := e.Facts.(journal.Undone); ok && len(f.TakesBack) > 0 {
		words = "took back " + TakenBack(s, f.TakesBack) + optionally(": ", f.Reason)
	}
	if _, ok := e.Facts.(journal.FlightLogged); ok {
		words += optionally("; aboard: ", strings.Join(aboard(s, e.At), ", "))
	}
	return Entry{e.Position, e.Facts.Kind(), e.At, e.Recorded, e.By, e.Program, e.Facts, words, !s.Live(e.Position)}
}

// SaysOf says of entries, which need not be recorded, what they are.
func SaysOf(entries []journal.Entry) string {
	words := make([]string, len(entries))
	for i, e := range entries {
		words[i] = says(e.Facts)
	}
	return strings.Join(words, "; ")
}

// TakenBack says what entries that are taken back were: each, or of many how many of
// each sort. Releases are always named.
func TakenBack(s *workflow.State, positions []int64) string {
	if len(positions) <= workflow.Few {
		were := make([]string, len(positions))
		for i, p := range positions {
			were[i] = fmt.Sprintf("%d (%s)", p, says(s.Entries[p].Facts))
		}
		if len(were) == 1 {
			return "entry " + were[0]
		}
		return "entries " + strings.Join(were, ", ")
	}
	var steps, readings, releases, others int
	for _, p := range positions {
		facts := s.Entries[p].Facts
		_, work := journal.WorkOf(facts)
		switch facts.(type) {
		case journal.Released:
			releases++
		case journal.ReadingTaken:
			readings++
		default:
			if work {
				steps++
			} else {
				others++
			}
		}
	}
	var parts []string
	for _, part := range []struct {
		n    int
		what string
	}{{releases, "release"}, {steps, "step"}, {readings, "reading"}, {others, "other entry"}} {
		if part.n > 0 {
			parts = append(parts, many(part.n, part.what))
		}
	}
	return fmt.Sprintf("%s from %d on, of them %s", many(len(positions), "entry"), positions[0], strings.Join(parts, ", "))
}

// Last keeps the last n entries.
func (j Journal) Last(n int) Journal {
	j.Entries = j.Entries[max(0, len(j.Entries)-n):]
	return j
}

// Markdown is the journal, one line for each entry.
func (j Journal) Markdown(c *Clock) string {
	var l lines
	l.add("# Journal of %s\n", esc(j.Mark))
	for _, e := range j.Entries {
		line := fmt.Sprintf("%d · %s · %s · %s", e.Position, c.At(e.At), esc(e.By), esc(e.Says))
		if !e.Recorded.Equal(e.At) {
			line += fmt.Sprintf(" (entered %s)", c.At(e.Recorded))
		}
		if e.Undone {
			line += " · **taken back**"
		}
		l.item("%s", line)
	}
	return l.String()
}

// says is an entry in words, on one line.
func says(facts journal.Facts) string {
	switch f := facts.(type) {
	case journal.Registered:
		return "registered as a " + f.Design + optionally(" with ", strings.Join(f.Options, ", "))
	case journal.JobOpened:
		return "opened job " + f.Job + optionally(" on ", f.Zone) + optionally(" for ", strings.Join(f.Damages, ", "))
	case journal.PhotoKept:
		return fmt.Sprintf("kept photo %s, which shows %s", f.Name, numbers(f.Of))
	case journal.Sealed:
		return fmt.Sprintf("sealed the first %s", many(f.Size, "entry"))
	case journal.JobMoved:
		return "moved job " + f.Job + " to other documents"
	case journal.JobAmended:
		return "amended job " + f.Job + " to repair " + strings.Join(f.Damages, ", ") + optionally("; done again: ", strings.Join(f.Reopens, ", "))
	case journal.DamageFound:
		return fmt.Sprintf("found damage %s: %s at %s%s, %s%s%s%s", f.Damage, f.Finding, f.Zone, inBrackets(f.Place), f.Severity, optionally(", caused by ", f.Cause), taken(f.As, f.Words), optionally(": ", f.Note))
	case journal.QuarantineCleared:
		return fmt.Sprintf("cleared the quarantine of %s, %s", f.Damage, many(len(f.Lines), "line"))
	case journal.PartRetired:
		return fmt.Sprintf("threw the %s away%s, to be made anew", strings.Join(f.Zones, " and "), optionally(" for ", strings.Join(f.Damages, ", ")))
	case journal.EquipmentChanged:
		return fmt.Sprintf("%s the %s%s%s%s%s%s", f.Change, f.Item, optionally(" ", f.Name), optionally(" in the zone ", f.Zone), optionally(", ", typed(f.Mass)), optionally(", arm ", typed(f.Arm)), optionally(": ", f.Note))
	case journal.FlightLogged:
		return "flew" + optionally(" for ", typed(f.Lasted)) + ", " + f.Landing + " landing" + optionally(", trimmed ", trimsOf(f)) + optionally(", not released to fly: ", f.Grounded) + optionally(": ", f.Note)
	case journal.Retired:
		return "retired it: " + f.Because + optionally(": ", f.Note)
	case journal.StepDone:
		return "did " + f.Step
	case journal.Begun:
		var what []string
		if f.Mixed != nil {
			what = append(what, "mixed "+f.Adhesive)
		}
		if f.Began != nil {
			what = append(what, "began to spread "+f.Adhesive)
		}
		return strings.Join(what, " and ") + " for " + f.Step
	case journal.Coated:
		return fmt.Sprintf("%scoated joint %s with %s", didStep(f.Work), f.Joint, f.Adhesive)
	case journal.Joined:
		return fmt.Sprintf("%sjoined %s", didStep(f.Work), f.Joint)
	case journal.HoldCleared:
		return fmt.Sprintf("cleared hold %s, %s", f.Step, many(len(f.Lines), "line"))
	case journal.Witnessed:
		if f.Who != "" {
			return fmt.Sprintf("had %s as the second person at %s", f.Who, f.Step)
		}
		return fmt.Sprintf("did without a second person at %s: %s", f.Step, f.Instead)
	case journal.UseCleared:
		return fmt.Sprintf("cleared the hold of %s, %s", f.Of, many(len(f.Lines), "line"))
	case journal.Chosen:
		if f.Answer == steps.No {
			return "chose to do without " + f.Choice
		}
		return "chose " + f.Answer + optionally(" for ", f.Choice)
	case journal.ReadingTaken:
		return fmt.Sprintf("read %s%s: %s with %s", f.Gate, optionally(" at ", f.Point), typed(f.Value), f.Gauge)
	case journal.GaugeChecked:
		return fmt.Sprintf("checked %s: it read %s on a reference of %s%s", f.Gauge, typed(f.Reads), typed(f.Of), optionally(": ", f.Note))
	case journal.GaugeStudied:
		return fmt.Sprintf("studied %s at %s, %s: one person repeats to ±%s, anybody to ±%s%s", f.Gauge, f.Gate, many(len(f.Readings), "reading"), f.Repeatability, f.Whole, optionally(": ", f.Note))
	case journal.Reworked:
		way := ""
		if f.Way > 0 {
			way = fmt.Sprintf(", way %d", f.Way)
		}
		return "reworked " + f.Gate + way + optionally(", gluing again joint ", f.Joint)
	case journal.ConcessionGranted:
		return fmt.Sprintf("granted a concession on %s: %s", f.Gate, f.Reason)
	case journal.TouchTested:
		if f.Ready {
			return "touched joint " + f.Joint + ": dry"
		}
		return "touched joint " + f.Joint + ": wet"
	case journal.BenchRead:
		return "read the bench: " + typed(f.Temperature) + optionally(", humidity ", typed(f.Humidity))
	case journal.ConditionSet:
		return "confirmed " + f.Setting.String()
	case journal.Noted:
		return "noted: " + f.Text
	case journal.Undone:
		return "took back " + numbers(f.TakesBack) + optionally(": ", f.Reason)
	case journal.Released:
		return fmt.Sprintf("released it to fly, based on %s", many(len(f.RestsOn), "reading"))
	}
	return facts.Kind()
}

// didStep names the step of the work; that of a rework is none.
func didStep(w journal.Work) string {
	if w.Step == "" {
		return ""
	}
	return "did " + w.Step + ": "
}

// Not inlined: its many copies would make the program larger.
//
//go:noinline
func optionally(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}

func numbers(positions []int64) string {
	words := make([]string, len(positions))
	for i, p := range positions {
		words[i] = fmt.Sprint(p)
	}
	if len(words) == 1 {
		return "entry " + words[0]
	}
	return "entries " + strings.Join(words, ", ")
}

// A Recorded is what a command added to a journal, and what follows from it.
type Recorded struct {
	Mark    string        `json:"mark"`
	Entries []Entry       `json:"entries"`
	Gates   []Gate        `json:"gates,omitempty"`              // those that were measured
	Gauges  []Gauge       `json:"gauges,omitempty"`             // those that were checked or studied
	Stale   []string      `json:"measure_again,omitempty"`      // the gates that a change of equipment makes stale
	Balance string        `json:"balance,omitempty"`            // where it is now by that change, beside the last weighing
	Instead string        `json:"takes_the_place_of,omitempty"` // what was on board of its kind before
	Trims   []Trim        `json:"trims,omitempty"`              // of a flight, and how they are taken out
	Timers  []Timer       `json:"timers,omitempty"`
	Waits   []Waits       `json:"waits,omitempty"`    // that began
	TooLate []string      `json:"too_late,omitempty"` // of the steps that were done
	Harms   []Reason      `json:"harms,omitempty"`    // what open coats need and the journal says otherwise
	Plugged []NextPlugged `json:"plugged,omitempty"`  // what another one stays by, or is to end
	Clock   *Reason       `json:"clock,omitempty"`    // why the time of what was recorded can't be trusted
	Next    string        `json:"next,omitempty"`
}

// NewRecorded makes the page of what was recorded.
func NewRecorded(s *workflow.State, entries []journal.Entry, now time.Time) Recorded {
	r := Recorded{Mark: s.Airframe.Mark, Entries: []Entry{}}
	seen, next := map[string]bool{}, s.Next(now)
	for _, e := range entries {
		r.Entries = append(r.Entries, newEntry(s, e))
		gate, joint := "", ""
		switch f := e.Facts.(type) {
		case journal.ReadingTaken:
			gate = f.Gate
		case journal.ConcessionGranted:
			gate = f.Gate
		case journal.GaugeChecked:
			if report, err := s.GaugeReport(f.Gauge, now); err == nil {
				r.Gauges = append(r.Gauges, NewGauge(report))
			}
		case journal.GaugeStudied:
			if report, err := s.GaugeReport(f.Gauge, now); err == nil {
				r.Gauges = append(r.Gauges, NewGauge(report))
			}
		case journal.EquipmentChanged:
			r.Stale, r.Balance, r.Instead = append(r.Stale, staleBy(s, f, now)...), moved(s, now), s.Replaced(e.Position)
		case journal.DamageFound:
			next.AtOnce = false // the step that makes it safe isn't shown
		case journal.FlightLogged:
			next.AtOnce = false
			for _, t := range s.Trims() {
				if t.Flight == e.Position {
					trim := newTrim(t)
					trim.Thread = newThread(s.Thread(t, now))
					r.Trims = append(r.Trims, trim)
				}
			}
		case journal.Coated:
			joint = f.Joint
		case journal.Joined:
			joint = f.Joint
		}
		if report, err := s.GateReport(gate, now); gate != "" && err == nil && !seen[gate] {
			seen[gate] = true
			r.Gates = append(r.Gates, NewGate(s, report, now))
		}
		for _, t := range Timers(s, now) {
			if t.Name == joint && joint != "" && !seen["joint "+joint] {
				r.Timers = append(r.Timers, t)
			}
		}
		seen["joint "+joint] = true
	}
	r.TooLate, r.Harms, r.Waits = tooLate(s, entries, now), harms(s, s.Left(next, now), now), waitsAfter(s, entries, now)
	for _, is := range s.Minded(&next, now) {
		if leftToThem(s, &is, &r.Harms) {
			r.Plugged = append(r.Plugged, NewPlugged(s, is, now))
		}
	}
	if why := s.Untrusted(now); why != nil {
		reason := newReason(*why)
		r.Clock = &reason
	}
	if next.Step != nil && !next.Theirs && !s.UnsafeFirst(&next, now) {
		r.Next = next.Step.Step.Name
	}
	return r
}

// AtBench leaves out what the next question asks for, and the clocks, which stand beside it
// and go on.
func (r Recorded) AtBench() Recorded {
	r.Next, r.Timers, r.Gates = "", nil, slices.Clone(r.Gates)
	for i := range r.Gates {
		g := &r.Gates[i]
		g.Rework, g.Balance, g.unfit, g.Parts, g.remedy = "", "", false, nil, workflow.Remedy{}
	}
	return r
}

// staleBy are the gates that are stale and depend on what the change disturbed.
func staleBy(s *workflow.State, f journal.EquipmentChanged, now time.Time) []string {
	var names []string
	zones := append([]string{steps.MassZone}, f.Disturbs...)
	if f.Change != workflow.Moved {
		zones = append(zones, steps.Another(f.Item))
	}
	for _, g := range s.Gates(now) {
		if g.Standing == workflow.StaleGate && !g.Gate.Work && g.Gate.Touched(zones...) {
			names = append(names, g.Gate.Name)
		}
	}
	return names
}

// aboard are the things with a name that were aboard at the time.
func aboard(s *workflow.State, at time.Time) []string {
	var all []string
	for _, t := range s.Fitted(at) {
		all = append(all, t.String())
	}
	return all
}

// tooLate says which of the steps that the entries complete came too late after a
// wait.
func tooLate(s *workflow.State, entries []journal.Entry, now time.Time) []string {
	var all []string
	for _, e := range entries {
		work, ok := journal.WorkOf(e.Facts)
		job, err := s.Job(work.Job)
		if !ok || err != nil {
			continue
		}
		for _, r := range s.Steps(job, now) {
			if r.Step.Name == s.StepOf(work) && r.TooLate != "" {
				all = append(all, r.Step.Name+": "+r.TooLate)
			}
		}
	}
	return all
}

// Markdown is a list of what was recorded and of what follows.
func (r Recorded) Markdown(c *Clock) string {
	var l lines
	for _, e := range r.Entries {
		l.item("%s: %s (entry %d)", esc(r.Mark), esc(e.Says), e.Position)
	}
	if r.Clock != nil {
		l.item("**Clock:** %s", ReasonText(r.Clock.Reason, c))
	}
	for _, text := range r.TooLate {
		l.item("**Too late:** %s", esc(text))
	}
	l.harmed(r.Harms, c)
	l.stayed(r.Plugged, c)
	for _, g := range r.Gates {
		l.item("gate %s: **%s**%s%s", esc(g.Name), esc(strings.ToUpper(g.Standing.Words())), optionally(" ", esc(g.sure)), optionally(", ", esc(g.Reason)))
		if g.Standing == workflow.Failed {
			l.parts(g)
			l.text(g.Rework)
			l.advised(g.Balance)
			if g.unfit {
				l.add("%s", "When it is reworked:\n\n"+command(reworkLine(r.Mark, g.Name)))
			}
		}
		if g.Standing == workflow.Undecided {
			l.parts(g)
			l.advised(g.Balance)
			l.ways(g)
		}
	}
	for _, g := range r.Gauges {
		g.items(&l, c)
	}
	for _, t := range r.Timers {
		l.item("%s", t.line(c))
	}
	for _, w := range r.Waits {
		l.add("\n**%s**", esc(w.Title))
		l.text(w.Do)
	}
	if len(r.Stale) > 0 {
		l.item("measure again: %s", esc(strings.Join(r.Stale, ", ")))
	}
	if r.Instead != "" {
		l.item("it takes the place of the %s, which is no longer on board; if both are, give this one a kind of its own", esc(r.Instead))
	}
	if r.Balance != "" {
		l.item("balance: %s", esc(r.Balance))
		l.advised(balanceLine(r.Mark))
	}
	l.recentre(r.Mark, r.Trims)
	if r.Next != "" {
		l.item("next: `%s`", r.Next)
	}
	return l.String()
}

// Records is what a command added to several journals.
type Records struct {
	Airframes []Recorded `json:"airframes"`
}

// Markdown is one list of the entries.
func (r Records) Markdown(c *Clock) string {
	var l lines
	for _, a := range r.Airframes {
		for _, e := range a.Entries {
			l.item("%s: %s (entry %d)", esc(a.Mark), esc(e.Says), e.Position)
		}
		l.harmed(a.Harms, c)
	}
	return l.String()
}

// NewSlip makes the slip of a release that was just given.
func NewSlip(s *workflow.State, e journal.Entry) Proof {
	proof := s.ReleaseProof(e.At)
	p := NewProof(s, proof)
	p.Reasons = nil
	p.given(e)
	return p
}

// A Fleet is the list of airframes.
type Fleet struct {
	Airframes []Airframe `json:"airframes"`
}

// Markdown is the list, one line for each airframe.
func (f Fleet) Markdown(c *Clock) string {
	var l lines
	if len(f.Airframes) == 0 {
		return Board{}.Markdown(c)
	}
	for _, a := range f.Airframes {
		l.item("**%s** · %s · %s", esc(a.Mark), esc(a.Title), a.flightLine(c))
	}
	return l.String()
}

// typed is a quantity as it was typed, and how it was read where that had a comma.
func typed(q quantity.Quantity) string {
	if quantity.WithPoint(q.Typed()) != q.Typed() {
		return q.Typed() + " (read as " + q.String() + ")"
	}
	return q.Typed()
}
