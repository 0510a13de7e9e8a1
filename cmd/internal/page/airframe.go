package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/store"
	"fettle/workflow"
)

// Whether an airframe may fly.
const (
	NotReleased = "not released yet"
	Released    = "released"
	Grounded    = "grounded"
	Retired     = "retired"
)

// A Stated is how a condition stands, and by the journal of which other airframe.
type Stated struct {
	steps.Setting
	By string `json:"by,omitempty"`
}

// An Airframe is one airframe as it stands.
type Airframe struct {
	Mark       string    `json:"mark"`
	Design     string    `json:"design"`
	Title      string    `json:"title"`
	Options    []string  `json:"options,omitempty"`
	Choices    []Choice  `json:"choices,omitempty"`
	Registered time.Time `json:"registered"`
	Entries    int64     `json:"entries"`
	MayFly
	Build      string        `json:"build_missing,omitempty"` // of how it was built
	Jobs       []Job         `json:"jobs"`
	Damages    []Damage      `json:"damages,omitempty"`
	Aboard     []string      `json:"aboard,omitempty"`  // equipment by its name
	Balance    string        `json:"balance,omitempty"` // where it is now, if that is not where it was weighed
	Flights    int           `json:"flights"`
	Next       *Step         `json:"next,omitempty"`
	outlasts   string        // the sitting, where Next does: how long
	theirs     string        // who of several does Next, where that is others
	Timers     []Timer       `json:"timers"`
	Came       []Came        `json:"came,omitempty"`     // what came by itself since the last entry
	Cured      []string      `json:"cured,omitempty"`    // the joints of open jobs that are
	Since      time.Time     `json:"since,omitzero"`     // when its last entry was recorded
	TooLate    []string      `json:"too_late,omitempty"` // steps done, or still to be done, too late after a wait
	Gates      []Gate        `json:"gates"`
	Conditions []Stated      `json:"conditions,omitempty"`
	Bench      string        `json:"bench,omitempty"`
	Warnings   []Reason      `json:"warnings,omitempty"`
	Check      *Reason       `json:"check,omitempty"`      // that is due before the repair
	Harms      []Reason      `json:"harms,omitempty"`      // what open coats need and the journal says otherwise
	Plugged    []NextPlugged `json:"plugged_in,omitempty"` // what of that somebody else stays by, on a board of all
	Documents  []Cited       `json:"documents,omitempty"`  // where they were asked for

	Claims []*store.Claim `json:"claims,omitempty"` // who is at which step, on a board that benches share
}

// A MayFly is whether an airframe may fly. What is in quarantine is part of it also
// where it is off the airframe: somebody must look after it.
type MayFly struct {
	Flight     string       `json:"flight"`
	Because    string       `json:"because,omitempty"`
	ReleasedAt time.Time    `json:"released_at,omitzero"`
	ReleasedBy string       `json:"released_by,omitempty"`
	Quarantine []Quarantine `json:"quarantines,omitempty"`
}

func mayFly(s *workflow.State, now time.Time) MayFly {
	a := MayFly{Flight: NotReleased, Quarantine: quarantines(s)}
	flight := s.Airworthiness(now)
	switch {
	case s.Retired != nil:
		a.Flight, a.Because = Retired, said(s.Retired.Says())
	case flight.Released:
		a.Flight, a.ReleasedAt, a.ReleasedBy = Released, s.Release.At, s.Release.By
	case flight.Ever:
		a.Flight, a.Because = Grounded, said(flight.Why)
	}
	return a
}

// A Choice is a choice of the design, and what the airframe has of it.
type Choice struct {
	Name   string `json:"choice"`
	Answer string `json:"answer,omitempty"` // "": not chosen yet
}

// chosen are the options that the airframe has, and its answers to the choices of
// its design.
func (a *Airframe) chosen(s *workflow.State) {
	has := s.Selection().Has
	for _, c := range s.Sheet.Choices() {
		held := c.Held(has)
		if c.Alone {
			a.Options = append(a.Options, held...)
			continue
		}
		a.Choices = append(a.Choices, Choice{c.Name, strings.Join(held, " and ")})
	}
}

// A Job is a job in a list.
type Job struct {
	ID     string    `json:"job"`
	Title  string    `json:"title"`
	Zone   string    `json:"zone,omitempty"`
	Opened time.Time `json:"opened"`
	Done   int       `json:"done"`
	Steps  int       `json:"steps"`
	Open   bool      `json:"open"`
}

// Brief is what a list says about an airframe: what it is and whether it may fly.
func Brief(s *workflow.State, now time.Time) Airframe {
	a := Airframe{
		Mark: s.Airframe.Mark, Design: s.Airframe.Design, Title: s.Sheet.Title,
		Registered: s.Since, Entries: s.Size(), MayFly: mayFly(s, now),
	}
	a.chosen(s)
	return a
}

// A Came is a moment of a clock that nobody has answered with an entry.
type Came struct {
	Name  string         `json:"name"`
	Event workflow.Event `json:"event"`
	At    time.Time      `json:"at"`
}

// came are the moments that no clock on the page tells of: what runs or has lapsed is there.
func came(s *workflow.State, now time.Time) (all []Came) {
	for _, m := range s.Came(now) {
		if m.Event == workflow.IsCured || m.Event == workflow.WaitOver && m.Then == "" {
			all = append(all, Came{m.Name, m.Event, m.At})
		}
	}
	return all
}

func (m Came) line(c *Clock) string {
	if m.Event == workflow.IsCured {
		return fmt.Sprintf("joint %s: cured since %s", esc(m.Name), c.At(m.At))
	}
	return fmt.Sprintf("%s: over since %s", esc(m.Name), c.At(m.At))
}

// NewAirframe makes the page of an airframe.
func NewAirframe(s *workflow.State, now time.Time) Airframe {
	a := Brief(s, now)
	a.Jobs, a.Timers, a.Gates = []Job{}, Timers(s, now), []Gate{}
	a.Build, a.TooLate = said(s.BuildMissing(now)), s.TooLate(now)
	a.Harms = atOnce(s, now)
	if r := s.Unchecked(now); r != nil && s.Retired == nil && len(s.OpenDamages(now)) > 0 {
		check := newReason(*r)
		a.Check = &check
	}
	a.Aboard, a.Damages, a.Flights, a.Balance = aboard(s, now), Damages(s, now), len(s.Flights), moved(s, now)
	for _, j := range s.Jobs {
		reports := s.Steps(j, now)
		job := Job{ID: j.ID, Title: j.Procedure.Title, Zone: j.Zone, Opened: j.Opened, Steps: len(reports)}
		for _, r := range reports {
			if r.Progress == workflow.Done {
				job.Done++
			}
		}
		job.Open = job.Done < job.Steps
		a.Jobs = append(a.Jobs, job)
	}
	if next := s.Next(now); next.Step != nil && !s.UnsafeFirst(&next, now) {
		step := NewStep(s, *next.Step, now)
		a.Next = &step
		if next.Theirs {
			a.theirs, step.Commands = ", by "+s.Persons(next.Hands), []string{}
		}
		if o := s.Overruns(next, now); o != nil {
			a.outlasts = ", longer than the sitting: " + Span(o.Takes) + optionally(" ", takesWith(o))
			if !o.By.After(now) {
				a.outlasts = ", and the sitting is over"
			}
		}
	}
	later := s.MeasuredLater(now)
	for _, r := range s.Gates(now) {
		g := NewGate(s, r, now)
		g.Later = later[g.Name] && (g.Standing == workflow.StaleGate || g.FlightsLeft > 0 || !g.ValidUntil.IsZero())
		a.Gates = append(a.Gates, g)
	}
	if len(s.Entries) > 0 {
		a.Came, a.Cured, a.Since = came(s, now), s.CuredJoints(now), s.Entries[len(s.Entries)-1].Recorded
	}
	for _, def := range s.Sheet.Conditions {
		if state := s.Holds(def.Name, now); state != "" {
			by, _, _ := s.SaidBeside(def.Name, now)
			a.Conditions = append(a.Conditions, Stated{steps.Setting{Condition: def.Name, State: state}, by})
		}
	}
	if _, known := s.Temperature(now); known {
		a.Bench = s.Bench.Temperature.String()
		if !s.Bench.Humidity.IsZero() {
			a.Bench += ", " + s.Bench.Humidity.String()
		}
	}
	if r := s.Untrusted(now); r != nil {
		a.Warnings = append(a.Warnings, newReason(*r))
	}
	return a
}

// flightLine says whether it may fly; never a plain RELEASED while a quarantine is open.
func (a MayFly) flightLine(c *Clock) string {
	open, then := "", " to fly"
	if len(a.Quarantine) > 0 {
		open, then = ", QUARANTINE OPEN", "; released"
	}
	switch a.Flight {
	case Released:
		return fmt.Sprintf("**RELEASED%s**%s %s by %s", open, then, c.At(a.ReleasedAt), esc(a.ReleasedBy))
	case Retired:
		return fmt.Sprintf("**%s**", esc(Capital(a.Because)))
	case Grounded:
		return fmt.Sprintf("**GROUNDED%s**: %s", open, esc(a.Because))
	}
	return fmt.Sprintf("**NOT RELEASED** yet%s", open)
}

func (a *Airframe) late(l *lines) {
	for _, text := range a.TooLate {
		l.item("**Too late:** %s", esc(text))
	}
}

// short writes the airframe as it stands on the board.
func (a *Airframe) short(l *lines, c *Clock) {
	l.add("## %s · %s\n", esc(a.Mark), esc(a.Title))
	l.item("%s", a.flightLine(c))
	l.quarantined(a.Quarantine, c)
	l.harmed(a.Harms, c)
	l.stayed(a.Plugged, c)
	if a.Check != nil {
		l.item("**First:** %s", ReasonText(a.Check.Reason, c))
	}
	for _, j := range a.Jobs {
		if j.Open {
			l.item("%s: %d of %d steps done", esc(j.ID), j.Done, j.Steps)
		}
	}
	a.next(l)
	for _, of := range a.Claims {
		l.item("%s", ClaimLine(of, c))
	}
	for _, d := range a.Damages {
		if !d.Repaired || d.Quarantine {
			l.item("%s", d.line(c))
		}
	}
	a.stands(l, c)
	for _, w := range a.Warnings {
		l.item("**Clock:** %s", ReasonText(w.Reason, c))
	}
	l.add("")
}

// stands says what ran, lapsed, was disturbed and still holds.
func (a *Airframe) stands(l *lines, c *Clock) {
	for _, t := range a.Timers {
		l.item("%s", t.line(c))
	}
	for _, m := range a.Came {
		l.item("%s", m.line(c))
	}
	a.late(l)
	var stale, later []string
	for _, g := range a.Gates {
		switch g.Standing {
		case workflow.Failed, workflow.Undecided, workflow.Conceded:
			l.item("gate %s: %s", esc(g.Name), esc(g.standingLine()))
		case workflow.StaleGate:
			if g.Later {
				later = append(later, esc(g.Name))
			} else {
				stale = append(stale, esc(g.Name))
			}
		}
	}
	if a.Balance != "" {
		l.item("balance: %s", esc(a.Balance))
	}
	if lives := lives(a.Gates); lives != "" {
		l.item("to be measured again: %s", lives)
	}
	if len(stale) > 0 {
		l.item("measure again: %s; for the reasons: `fettle airframe show %s`", strings.Join(stale, ", "), a.Mark)
	}
	switch {
	case len(later) > few:
		l.item("disturbed, and measured again by the open job: %s", many(len(later), "gate"))
	case len(later) > 0:
		l.item("disturbed, and measured again by the open job: %s", strings.Join(later, ", "))
	}
	if holds := a.holds(); holds != "" {
		l.item("still holds: %s", holds)
	}
}

// Return is what somebody who comes back to the airframe is told, with what is next.
func (a Airframe) Return(c *Clock) string {
	var l lines
	l.add("**Back at %s**, last entry %s:\n", esc(a.Mark), c.At(a.Since))
	a.stands(&l, c)
	a.next(&l)
	return l.String()
}

// next is what is next, and how long it takes.
func (a *Airframe) next(l *lines) {
	if a.Next != nil {
		l.item("%s%s", nextLine(a.Next.Title, a.Next.Step), esc(a.theirs)+optionally(", takes ", esc(a.Next.Hands))+a.outlasts)
	}
}

// few is how many names are a list; of more the number is said.
const few = 6

// holds is what still holds of the open jobs: their joints, and gates.
func (a *Airframe) holds() string {
	if !slices.ContainsFunc(a.Jobs, func(j Job) bool { return j.Open }) {
		return ""
	}
	var all []string
	switch n := len(a.Cured); {
	case n > few:
		all = append(all, many(n, "cured joint"))
	case n > 0:
		all = append(all, "cured: "+esc(strings.Join(a.Cured, ", ")))
	}
	passed := 0
	for _, g := range a.Gates {
		if g.Standing == workflow.Current {
			passed++
		}
	}
	if passed > 0 {
		all = append(all, many(passed, "gate")+" passed")
	}
	return strings.Join(all, "; ")
}

// lives says of the gates that have passed and have a life how long they count, but for
// those that an open job measures again before that.
func lives(gates []Gate) string {
	var all []string
	for _, g := range gates {
		var ends []string
		if g.FlightsLeft > 0 {
			ends = append(ends, "after "+many(g.FlightsLeft, "more flight"))
		}
		if !g.ValidUntil.IsZero() {
			ends = append(ends, "by "+g.ValidUntil.In(time.Local).Format("2 January 2006"))
		}
		if g.Standing == workflow.Current && len(ends) > 0 && !g.Later {
			all = append(all, esc(g.Name)+" "+strings.Join(ends, " and "))
		}
	}
	return strings.Join(all, ", ")
}

func (g Gate) standingLine() string {
	words := g.Standing.Words()
	if g.Reason == "" || g.Reason == words {
		return words
	}
	return words + ", " + g.Reason
}

// Markdown is the airframe on a page of its own.
func (a Airframe) Markdown(c *Clock) string {
	var l lines
	l.add("# %s · %s\n", esc(a.Mark), esc(a.Title))
	l.item("%s", a.flightLine(c))
	l.quarantined(a.Quarantine, c)
	l.harmed(a.Harms, c)
	if a.Check != nil {
		l.item("**First:** %s", ReasonText(a.Check.Reason, c))
	}
	l.item("design %s, registered %s, %s in its journal, %s", esc(a.Design), c.At(a.Registered), many(a.Entries, "entry"), many(a.Flights, "flight"))
	if a.Build != "" {
		l.item("%s", esc(a.Build))
	}
	if len(a.Options) > 0 {
		l.item("options: %s", esc(strings.Join(a.Options, ", ")))
	}
	for _, c := range a.Choices {
		l.item("%s: %s", esc(c.Name), esc(cmp.Or(c.Answer, "not chosen yet")))
	}
	if len(a.Aboard) > 0 {
		l.item("aboard: %s", esc(strings.Join(a.Aboard, ", ")))
	}
	for _, c := range a.Conditions {
		l.item("%s", esc(c.String()+optionally(", by ", c.By)))
	}
	if a.Bench != "" {
		l.item("bench: %s", esc(a.Bench))
	}
	for _, w := range a.Warnings {
		l.item("**Clock:** %s", ReasonText(w.Reason, c))
	}
	if len(a.Jobs) > 0 {
		l.add("\n## Jobs\n")
	}
	for _, j := range a.Jobs {
		state := "complete"
		if j.Open {
			state = fmt.Sprintf("%d of %d steps done", j.Done, j.Steps)
		}
		zone := ""
		if j.Zone != "" {
			zone = " on " + j.Zone
		}
		l.item("%s, opened %s: %s", esc(j.ID+zone), c.At(j.Opened), state)
	}
	if len(a.Documents) > 0 {
		l.add("\n## Documents\n")
	}
	for _, d := range a.Documents {
		l.item("%s", esc(d.Line()))
	}
	if len(a.Damages) > 0 {
		l.add("\n## Damage\n")
	}
	for _, d := range a.Damages {
		l.item("%s", d.line(c))
	}
	a.late(&l)
	if len(a.Timers) > 0 {
		l.add("\n## Clocks\n")
	}
	for _, t := range a.Timers {
		l.item("%s", t.line(c))
	}
	l.add("\n## Gates\n")
	for _, g := range a.Gates {
		l.item("%s", g.line(c))
	}
	return l.String()
}
