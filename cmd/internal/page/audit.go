package page

import (
	"bytes"
	"encoding/base64"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/term"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// An Audit is what a journal shows of its gates.
type Audit struct {
	Mark      string           `json:"mark"`
	Title     string           `json:"title"`
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

func newSummary(s workflow.AuditSummary) AuditSummary {
	return AuditSummary{
		Entries: s.Entries, Readings: s.Readings, Out: s.Out, Undecided: s.Undecided, Current: s.Current,
		NotCurrent: allSaid(s.NotCurrent), NeverTaken: s.NeverTaken, NeverChecked: s.NeverChecked,
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
	Limits     string      `json:"limits"`
	Critical   bool        `json:"critical"`
	Verdict    string      `json:"verdict"` // of this reading alone
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
func NewAudit(s *workflow.State, sum workflow.AuditSummary, readings []workflow.AuditedReading, chosen string) Audit {
	a := Audit{Mark: s.Airframe.Mark, Title: s.Sheet.Title, Summary: newSummary(sum), Filtered: chosen != "", Chosen: chosen, Readings: []AuditedReading{}}
	for _, r := range readings {
		one := AuditedReading{
			Entry: r.Entry.Position, Gate: r.Reading.Gate, Point: r.Reading.Point, Job: r.Job, At: r.Entry.At, Recorded: r.Entry.Recorded,
			By: r.Entry.By, Program: r.Entry.Program, Gauge: first(r.Gauge.Title, r.Reading.Gauge), Typed: r.Reading.Value.Typed(),
			Limits: LimitsText(r.Gate), Critical: r.Gate.Critical, Verdict: verdict(r), Scale: drawn(r.Scale), Stands: stands(r), Concession: r.Reason, Releases: r.Releases,
		}
		one.Value, one.SI, _ = r.Reading.Value.SI() // a stored reading has a value
		if unit := r.Gate.Unit(); unit != r.Reading.Value.Unit() {
			one.Converted, _ = r.Reading.Value.In(unit) // "" if the gate has no limits now
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
		a.Readings = append(a.Readings, one)
	}
	return a
}

func verdict(r workflow.AuditedReading) string {
	switch {
	case !r.Gate.Result.IsZero():
		return "a part of " + r.Gate.Result.String()
	case !r.Gate.Alone():
		return "compared with the other points"
	}
	return string(r.OwnVerdict.Verdict)
}

const inDoubt = "in doubt: it does not count"

// stands says whether a reading still counts, and if not, the first reason.
func stands(r workflow.AuditedReading) string {
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
	return "counts"
}

// Markdown is the audit: the summary, then gate by gate.
func (a Audit) Markdown(c Clock) string {
	var l lines
	l.add("# What the record of %s shows\n", esc(a.Mark))
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
		l.add("\n%s\n", map[bool]string{true: "No readings match the filter.", false: "There are no readings."}[a.Filtered])
	}
	return l.String()
}

// heading is what the readings of a gate usually have in common.
func (r AuditedReading) heading(c Clock) string {
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

func (r AuditedReading) line(c Clock) string {
	value := strings.TrimSpace(r.Point + " " + r.Typed)
	if r.Converted != "" {
		value += " (" + r.Converted + ")"
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
func (r AuditedReading) gaugeLine(c Clock) string {
	switch {
	case r.Check != nil:
		return fmt.Sprintf("gauge checked %s, %s before, %s: %s (entry %d)", c.Full(r.Check.At), Span(r.At.Sub(r.Check.At)), r.Check.word(), r.Check.Found, r.Check.Entry)
	case r.Checked:
		return "no earlier check in this record"
	}
	return "never checked in this record"
}

// SummaryMarkdown is the summary alone.
func (a Audit) SummaryMarkdown() string {
	var l lines
	a.summary(&l)
	return l.String()
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

// CSV writes one row for each reading, in the form of RFC 4180: CRLF, quotes
// doubled. Values and deviations are in the SI unit, times in UTC.
func (a Audit) CSV(w io.Writer) error {
	header := []string{"mark", "entry", "gate", "point", "job", "at_utc", "recorded_utc", "by", "program", "gauge", "typed", "value", "unit",
		"limits", "critical", "verdict", "margin", "margin_unit", "stands", "concession", "releases",
		"gauge_check_entry", "gauge_checked_utc", "gauge_check_age_s", "gauge_deviation", "gauge_deviation_unit", "gauge_good", "in_doubt"}
	if err := writeRow(w, header); err != nil {
		return err
	}
	for _, r := range a.Readings {
		margin, unit := "", ""
		if r.Margin != nil {
			margin, unit = strconv.FormatFloat(r.Margin.By, 'g', -1, 64), r.Margin.Unit
		}
		var releases []string
		for _, e := range r.Releases {
			releases = append(releases, strconv.FormatInt(e, 10))
		}
		row := []string{a.Mark, strconv.FormatInt(r.Entry, 10), r.Gate, r.Point, r.Job, r.At.UTC().Format(time.RFC3339), r.Recorded.UTC().Format(time.RFC3339),
			r.By, r.Program, r.Gauge, r.Typed, strconv.FormatFloat(r.Value, 'g', -1, 64), r.SI, r.Limits, strconv.FormatBool(r.Critical), r.Verdict, margin, unit,
			r.Stands, r.Concession, strings.Join(releases, " ")}
		row = append(append(row, r.checkFields()...), r.Doubt)
		if err := writeRow(w, row); err != nil {
			return err
		}
	}
	return nil
}

// checkFields are the columns of the gauge's last check; empty if there is none.
func (r AuditedReading) checkFields() []string {
	c := r.Check
	if c == nil {
		return make([]string, 6)
	}
	return []string{strconv.FormatInt(c.Entry, 10), c.At.UTC().Format(time.RFC3339), strconv.FormatInt(int64(r.At.Sub(c.At)/time.Second), 10),
		strconv.FormatFloat(c.Off, 'g', -1, 64), c.Unit, strconv.FormatBool(c.Good)}
}

// writeRow ends a row with CRLF. With csv.Writer's UseCRLF, line breaks inside a
// field would become CRLF as well. CSV has no escapes, so fields are cleaned as text for
// a terminal is.
func writeRow(w io.Writer, fields []string) error {
	var b bytes.Buffer
	row := csv.NewWriter(&b)
	for i, field := range fields {
		fields[i] = unformed(term.Clean(field))
	}
	if err := row.Write(fields); err != nil {
		return err
	}
	row.Flush()
	_, err := fmt.Fprint(w, strings.TrimSuffix(b.String(), "\n"), "\r\n")
	return err
}

// unformed keeps a spreadsheet from taking words for a formula: an apostrophe before
// them says that they are text. Numbers and quantities stay as they are.
func unformed(field string) string {
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(field, " "))
	if !strings.ContainsRune("=+-@\t\n＝＋－＠", first) || first == utf8.RuneError || isNumber(field) {
		return field
	}
	return "'" + field
}

func isNumber(field string) bool {
	if _, err := strconv.ParseFloat(field, 64); err == nil {
		return true
	}
	if _, err := quantity.Parse(field, ""); err == nil {
		return true
	}
	_, _, err := quantity.ParseLimits(field, "")
	return err == nil
}

// A Tree is the result of checking the hash tree of a journal.
type Tree struct {
	Mark     string   `json:"mark"`
	Size     int64    `json:"size"`
	Root     string   `json:"root"`
	Intact   bool     `json:"intact"`
	Seals    int      `json:"seals"`
	Faults   []string `json:"faults,omitempty"`
	Photos   int      `json:"photos"`
	Missing  []string `json:"missing_photos,omitempty"`
	Against  string   `json:"against,omitempty"`  // what a seal says about it
	Contains *bool    `json:"contains,omitempty"` // whether this journal contains what was sealed; nil: no seal was given
}

// Found fills in the verdict on the journal itself.
func (t *Tree) Found(v keep.Verdict) {
	t.Mark, t.Size, t.Root = v.Mark, v.Head.Size, base64.StdEncoding.EncodeToString(v.Head.Root[:])
	t.Intact, t.Seals, t.Faults = len(v.Faults) == 0, v.Seals, v.Faults
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
func (ts Trees) Markdown(c Clock) string {
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
func (t Tree) Markdown(Clock) string {
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
