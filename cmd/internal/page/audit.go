package page

import (
	"encoding/base64"
	"fmt"
	"strings"
	"time"

	"fettle/cmd/internal/keep"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// An Audit is what a journal shows of its gates.
type Audit struct {
	Mark  string `json:"mark"`
	Title string `json:"title"`
	MayFly
	Summary   AuditSummary     `json:"summary"`
	Documents []Cited          `json:"documents,omitempty"`
	Filtered  bool             `json:"filtered"`
	Chosen    string           `json:"chosen,omitempty"` // which readings are listed; "": all
	Readings  []AuditedReading `json:"readings"`
}

// An AuditSummary is a [workflow.AuditSummary] as JSON.
type AuditSummary struct {
	Entries      int      `json:"entries"`
	Readings     int      `json:"readings"`
	Out          int      `json:"out_of_tolerance"`
	Undecided    int      `json:"undecided"`
	Current      []string `json:"gates_current,omitempty"`
	NotCurrent   []string `json:"gates_not_current,omitempty"`
	Conceded     []string `json:"gates_conceded,omitempty"`
	NeverTaken   []string `json:"gates_never_taken,omitempty"`
	NeverChecked []string `json:"gauges_never_checked,omitempty"`
	NotGood      []string `json:"gauges_not_good,omitempty"`
	InDoubt      []string `json:"readings_in_doubt,omitempty"`
	Lapsed       []string `json:"windows_missed,omitempty"`
	Witnessed    []string `json:"witnessed,omitempty"`
	TooLate      []string `json:"too_late,omitempty"`
	Concessions  []string `json:"concessions,omitempty"`
	Corrections  []string `json:"corrections,omitempty"`
	Backwards    []string `json:"times_backwards,omitempty"`
	Grounded     []string `json:"flights_not_released,omitempty"`
	Build        string   `json:"build_missing,omitempty"`
	Late         int      `json:"typed_in_late"`
	Releases     int      `json:"releases"`
	Flights      int      `json:"flights"`
	Damages      int      `json:"damages"`
	OpenDamage   int      `json:"damages_open"`
}

func notPassed(groups []workflow.NotPassed) (all []string) {
	for _, g := range groups {
		all = append(all, strings.Join(g.Gates, ", ")+": "+said(g.Why))
	}
	return all
}

func newSummary(s workflow.AuditSummary) AuditSummary {
	return AuditSummary{
		Entries: s.Entries, Readings: s.Readings, Out: s.Out, Undecided: s.Undecided, Current: s.Current,
		NotCurrent: notPassed(s.NotCurrent), Conceded: s.Conceded, NeverTaken: s.NeverTaken, NeverChecked: s.NeverChecked,
		NotGood: allSaid(s.NotGood), InDoubt: allSaid(s.InDoubt), Lapsed: s.Lapsed, Witnessed: s.Witnessed, TooLate: s.TooLate, Concessions: s.Concessions,
		Corrections: s.Corrections, Backwards: s.Backwards, Build: said(s.Build), Grounded: allSaid(s.Grounded), Late: s.Late, Releases: s.Releases, Flights: s.Flights,
		Damages: s.Damages, OpenDamage: s.OpenDamage,
	}
}

// An AuditedReading is one reading, as it was and as it stands.
type AuditedReading struct {
	Entry      int64       `json:"entry"`
	Gate       string      `json:"gate"`
	Point      string      `json:"point,omitempty"`
	Job        string      `json:"job,omitempty"`
	At         time.Time   `json:"at"`
	Recorded   time.Time   `json:"recorded"`
	By         string      `json:"by"`
	Program    string      `json:"program"`
	Gauge      string      `json:"gauge"`
	Typed      string      `json:"typed"`
	Value      float64     `json:"value"` // in the SI unit
	SI         string      `json:"unit"`
	Converted  string      `json:"in_unit_of_limits,omitempty"` // if it was typed in another unit
	Throw      string      `json:"throw,omitempty"`             // a throw in the form that it was not typed in, nor has the gate
	Chord      string      `json:"chord,omitempty"`             // that a throw is converted by
	Limits     string      `json:"limits"`
	Critical   bool        `json:"critical"`
	Verdict    string      `json:"verdict"` // of this reading alone, or of what it was compared with
	Margin     *Margin     `json:"margin,omitempty"`
	U          float64     `json:"uncertainty,omitempty"`      // of this reading, in the unit of the limits
	Likely     float64     `json:"probability,omitempty"`      // that this reading conforms
	Plain      bool        `json:"plain_acceptance,omitempty"` // it was judged so
	likely     string      // in words
	Scale      string      `json:"bar,omitempty"`               // the reading and its limits, drawn
	Check      *GaugeCheck `json:"gauge_check,omitempty"`       // the gauge's last before the reading
	CheckAge   *int64      `json:"gauge_check_age_s,omitempty"` // how long before the reading, in seconds
	Checked    bool        `json:"gauge_ever_checked"`
	Doubt      string      `json:"in_doubt,omitempty"` // why
	Stands     string      `json:"stands"`             // whether it still counts
	Concession string      `json:"concession,omitempty"`
	Releases   []int64     `json:"releases,omitempty"`
}

// NewAudit makes the page of an audit. chosen says in words which readings are
// listed; "" for all.
func NewAudit(s *workflow.State, sum workflow.AuditSummary, record *workflow.Record, readings []*workflow.AuditedReading, chosen string, at time.Time) Audit {
	a := Audit{Mark: s.Airframe.Mark, Title: s.Sheet.Title, MayFly: mayFly(s, at), Summary: newSummary(sum), Filtered: chosen != "", Chosen: chosen, Readings: []AuditedReading{}}
	for _, r := range readings {
		a.Readings = append(a.Readings, newReading(r, record))
	}
	return a
}

// newReading is one reading with what became of it.
func newReading(r *workflow.AuditedReading, record *workflow.Record) AuditedReading {
	one := AuditedReading{
		Entry: r.Entry.Position, Gate: r.Reading.Gate, Point: r.Reading.Point, Job: r.Job, At: r.Entry.At, Recorded: r.Entry.Recorded,
		By: r.Entry.By, Program: r.Entry.Program, Gauge: first(r.Gauge.Title, r.Reading.Gauge), Typed: r.Reading.Value.Typed(),
		Limits: LimitsText(r.Gate), Critical: r.Gate.Critical, Verdict: verdict(r, record), Scale: drawn(r.Scale), Stands: stands(r), Concession: r.Reason, Releases: r.Releases,
	}
	one.Value, one.SI, _ = r.Reading.Value.SI() // a stored reading has a value
	if unit := r.Gate.Unit(); unit != r.Reading.Value.Unit() {
		one.Converted, _ = r.Value.In(unit) // "" if the gate has no limits now
	}
	if other, ok := r.Throw.Other(r.Value, quantity.Nearest); ok {
		one.Throw, one.Chord = other.String(), r.Throw.Chord.String()
		if other.Dimension() == r.Reading.Value.Dimension() {
			one.Throw = ""
		}
	}
	one.Checked = r.Checked
	if r.Check != nil {
		age := int64(r.Entry.At.Sub(r.Check.At) / time.Second)
		one.Check, one.CheckAge = newCheck(*r.Check), &age
	}
	if r.Doubt != nil {
		one.Doubt = fmt.Sprintf("%s, entry %d", said(r.Doubt.Doubts()), r.Doubt.Position)
	}
	if j := r.OwnVerdict.Judged; j.Known {
		one.U, one.Likely, one.Plain, one.likely = j.U, j.Probability, j.Plain, j.Likely()
	}
	if m := r.OwnVerdict.Margin; m.Known {
		one.Margin = &Margin{By: m.By, Unit: r.Gate.Limits.Unit()}
	}
	return one
}

// verdict is that of the reading alone, or else of what it was compared with, or came to, as
// it was judged then.
func verdict(r *workflow.AuditedReading, record *workflow.Record) string {
	if r.Gate.Result.IsZero() && r.Gate.Alone() {
		return string(r.OwnVerdict.Verdict)
	}
	if j := record.JudgementOf(r.Entry.Position); j != nil {
		if v, ok := worstAt(j, r.Reading.Point); ok && v.Known {
			what := first(v.Named(), r.Gate.Result.String())
			return fmt.Sprintf("%s %s, %s", what, quantity.Written(figures(v.Value), v.Unit), v.Finding.Verdict)
		}
	}
	if !r.Gate.Result.IsZero() {
		return "a part of " + r.Gate.Result.String()
	}
	return "compared with the other points"
}

const (
	inDoubt  = "in doubt: it does not count"
	counting = "counts"
)

// stands says whether a reading still counts, and if not, the first reason.
func stands(r *workflow.AuditedReading) string {
	switch {
	case r.TakenBack > 0:
		return fmt.Sprintf("taken back by entry %d", r.TakenBack)
	case r.StaleEntry > 0:
		return fmt.Sprintf("stale: %s, entry %d", said(r.StaleBy), r.StaleEntry)
	case !r.StaleBy.IsZero():
		return "stale: " + said(r.StaleBy)
	case r.Superseded > 0:
		return fmt.Sprintf("superseded by entry %d", r.Superseded)
	case r.Doubt != nil:
		return inDoubt
	}
	return counting
}

// Markdown is the audit: the summary, then gate by gate.
func (a Audit) Markdown(c *Clock) string {
	var l lines
	l.add("# What the record of %s shows\n", esc(a.Mark))
	l.item("%s", a.flightLine(c))
	l.quarantined(a.Quarantine, c)
	a.summary(&l)
	l.add("\nTimes are local, UTC%s; drawn up %s.", c.Now.In(time.Local).Format("-07:00"), c.Full(c.Now))
	if a.Chosen != "" {
		l.add("\nThe summary covers the whole record. The list has only readings %s.", esc(a.Chosen))
	}
	gate, heading := "", ""
	for _, r := range a.Readings {
		if r.Gate != gate {
			gate, heading = r.Gate, ""
			l.add("\n## %s\n", esc(gate))
		}
		if h := r.heading(c); h != heading {
			heading = h
			l.add("%s\n", esc(heading))
		}
		l.item("%s", r.line(c))
	}
	if len(a.Readings) == 0 {
		l.add("\nThere are no readings.\n")
	}
	return l.String()
}

// heading is what the readings of a gate usually have in common.
func (r AuditedReading) heading(c *Clock) string {
	text := r.Limits
	if r.Critical {
		text += "; critical"
	}
	text += "; " + strings.ToLower(r.Gauge)
	if r.Check == nil {
		text += ", " + r.gaugeLine(c)
	}
	return text
}

func (r AuditedReading) line(c *Clock) string {
	value := strings.TrimSpace(r.Point + " " + r.Typed)
	if other := first(r.Converted, r.Throw); other != "" {
		value += " (" + other + optionally(" at the chord of ", r.Chord) + ")"
	}
	text := fmt.Sprintf("%d · %s · %s · %s: **%s**", r.Entry, c.Full(r.At), esc(r.By), esc(value), esc(r.Verdict))
	switch {
	case r.Margin == nil:
	case r.Margin.By < 0:
		text += fmt.Sprintf(", %s outside", amount(-r.Margin.By, r.Margin.Unit))
	default:
		text += fmt.Sprintf(", %s inside", amount(r.Margin.By, r.Margin.Unit))
	}
	if r.Plain {
		text += " by plain acceptance"
	}
	if strings.HasPrefix(r.likely, "0") { // else it is as good as certain
		text += ", probability " + r.likely
	}
	if r.Scale != "" {
		text += " `" + r.Scale + "`"
	}
	if r.Check != nil {
		text += "; " + esc(r.gaugeLine(c))
	}
	switch {
	case r.Stands == inDoubt:
		text += "; **in doubt**, so it does not count: " + esc(r.Doubt)
	case r.Doubt != "":
		text += "; " + esc(r.Stands) + "; also **in doubt**: " + esc(r.Doubt)
	default:
		text += "; " + esc(r.Stands)
	}
	if r.Concession != "" {
		text += "; conceded: " + esc(r.Concession)
	}
	for _, e := range r.Releases {
		text += fmt.Sprintf("; the release (entry %d) rests on it", e)
	}
	return text
}

// gaugeLine says when the gauge was last checked before the reading.
func (r AuditedReading) gaugeLine(c *Clock) string {
	switch {
	case r.Check != nil:
		return fmt.Sprintf("gauge checked %s, %s before, %s: %s (entry %d)", c.Full(r.Check.At), Span(r.At.Sub(r.Check.At)), r.Check.word(), r.Check.Found, r.Check.Entry)
	case r.Checked:
		return "no earlier check in this record"
	}
	return "never checked in this record"
}

func (a Audit) summary(l *lines) {
	s := a.Summary
	l.item("%s, %s; each judged alone, %d out of tolerance and %d undecided", many(s.Entries, "entry"), many(s.Readings, "reading"), s.Out, s.Undecided)
	l.item("%s, %s, %s (%d open)", many(s.Releases, "release"), many(s.Flights, "flight"), many(s.Damages, "damage"), s.OpenDamage)
	for _, d := range a.Documents {
		l.item("%s", esc(d.Line()))
	}
	list := func(what string, names []string) {
		if len(names) == 0 {
			l.item("%s: none", what)
			return
		}
		l.item("%s: %s", what, esc(strings.Join(names, "; ")))
	}
	list("gates passed", s.Current)
	if len(s.Witnessed) > 0 {
		list("steps that wanted a second person", s.Witnessed)
	}
	l.add("\n## What it does not show\n")
	if s.Build != "" {
		l.item("%s", esc(s.Build))
	}
	if len(s.Grounded) > 0 {
		list("flights that it was not released for", s.Grounded)
	}
	if len(s.Conceded) > 0 {
		list("gates used as they are, by a concession", s.Conceded)
	}
	list("gates not measured yet", s.NeverTaken)
	list("gates not passed", s.NotCurrent)
	list("joints that missed their window", s.Lapsed)
	if len(s.TooLate) > 0 {
		list("steps done too late after a wait, or still to be done", s.TooLate)
	}
	list("concessions", s.Concessions)
	list("corrections", s.Corrections)
	list("entries recorded out of time order", s.Backwards)
	l.item("entries typed in more than ten minutes late: %d", s.Late)
	list("gauges never checked in this record", s.NeverChecked)
	list("gauges that failed their last check", s.NotGood)
	list("readings in doubt", s.InDoubt)
}

// A Tree is the result of checking the hash tree of a journal.
type Tree struct {
	Mark     string   `json:"mark"`
	Size     int64    `json:"size"`
	Root     string   `json:"root"`
	Intact   bool     `json:"intact"`
	Seals    int      `json:"seals"`
	Keys     []Signer `json:"keys,omitempty"` // whose the seals are
	Faults   []string `json:"faults,omitempty"`
	Photos   int      `json:"photos"`
	Missing  []string `json:"missing_photos,omitempty"`
	Against  string   `json:"against,omitempty"`  // what a seal says about it
	Contains *bool    `json:"contains,omitempty"` // whether this journal contains what was sealed; nil: no seal was given
}

// A Signer is a public key that signed seals, as the journal names it.
type Signer struct {
	Key string `json:"key"`
	Own bool   `json:"own"` // it is one's own
}

// Found fills in the verdict on the journal itself.
func (t *Tree) Found(v keep.Verdict) {
	t.Mark, t.Size, t.Root = v.Mark, v.Head.Size, base64.StdEncoding.EncodeToString(v.Head.Root[:])
	t.Intact, t.Seals, t.Faults = len(v.Faults) == 0, v.Seals, v.Faults
	for _, key := range v.Keys {
		t.Keys = append(t.Keys, Signer{key, key == v.Own})
	}
	t.Photos, t.Missing = v.Photos, v.Missing
	if v.Unread {
		t.Root = ""
	}
}

// Trees are the results for every journal.
type Trees struct {
	Intact    bool   `json:"intact"` // every journal and every photo
	Entries   int64  `json:"entries"`
	Airframes []Tree `json:"airframes"`
}

// NewTrees gathers the verdicts.
func NewTrees(verdicts []keep.Verdict) Trees {
	all := Trees{Intact: true, Airframes: make([]Tree, len(verdicts))}
	for i, v := range verdicts {
		t := &all.Airframes[i]
		t.Found(v)
		all.Entries += t.Size
		all.Intact = all.Intact && t.Intact && len(t.Missing) == 0
	}
	return all
}

// Markdown is the result for all, and details of journals that are not intact.
func (ts Trees) Markdown(c *Clock) string {
	var l lines
	switch {
	case ts.Intact && len(ts.Airframes) == 0:
		l.item("the store is empty")
	case ts.Intact:
		l.item("**Intact:** each of the %s of %s is as it was written, and so is every photo", many(ts.Entries, "entry"), many(len(ts.Airframes), "airframe"))
	}
	for _, t := range ts.Airframes {
		if !t.Intact || len(t.Missing) > 0 {
			l.add("%s", t.Markdown(c))
		}
	}
	return l.String()
}

// Markdown is the result.
func (t Tree) Markdown(*Clock) string {
	var l lines
	l.add("# The journal of %s\n", esc(t.Mark))
	if t.Size > 0 { // else it could not be read
		l.item("the tree over its %s has the root `%s`", many(t.Size, "entry"), t.Root)
	}
	if t.Intact && t.Seals > 0 {
		l.item("**Intact:** it matches its %s", many(t.Seals, "seal"))
	} else if t.Intact {
		l.item("**Intact:** every entry matches its stored hash; there is no seal to compare with")
	}
	for _, s := range t.Keys {
		if s.Own {
			l.item("signed with your own key, `%s`", s.Key)
		} else {
			l.item("signed with the key `%s`, which is not yours: compare it with the one that its owner gave you", s.Key)
		}
	}
	for _, f := range t.Faults {
		l.item("**NOT INTACT:** %s", esc(f))
	}
	if t.Photos > 0 || len(t.Missing) > 0 {
		l.item("photos unchanged: %d", t.Photos)
	}
	for _, m := range t.Missing {
		l.item("**photo:** %s", esc(m))
	}
	if t.Contains != nil {
		word := "**It still holds what was sealed:**"
		if !*t.Contains {
			word = "**IT DOES NOT HOLD WHAT WAS SEALED:**"
		}
		l.item("%s %s", word, esc(t.Against))
	}
	return l.String()
}
