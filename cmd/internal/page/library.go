package page

import (
	"fmt"
	"math"
	"strings"

	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
)

// A Library is the list of documents.
type Library struct {
	Documents []LibraryEntry `json:"documents"`
	Faults    []string       `json:"faults,omitempty"`
}

// A LibraryEntry is one document in the list.
type LibraryEntry struct {
	Name     string `json:"name"`
	Kind     string `json:"kind"`
	Title    string `json:"title"`
	Revision int    `json:"revision"`
	From     string `json:"from"`
	Replaces int    `json:"replaces,omitempty"` // the revision of the embedded document in whose place it stands
	origin   string
}

// NewLibrary makes the list of documents.
func NewLibrary(entries []procedures.Entry, faults procedures.Faults) Library {
	l := Library{Documents: []LibraryEntry{}}
	for _, e := range entries {
		l.Documents = append(l.Documents, LibraryEntry{e.Document.Name(), e.Document.Kind(), e.Document.Title(), e.Document.Revision(), e.From, e.Replaces, e.Origin().String()})
	}
	for _, f := range faults {
		l.Faults = append(l.Faults, f.Error())
	}
	return l
}

// Markdown is the list, one line for each document.
func (b Library) Markdown(*Clock) string {
	var l lines
	for _, d := range b.Documents {
		kind := d.Kind
		if kind == steps.Shared {
			kind = "steps for others to use"
		}
		l.item("**%s** · %s · %s, revision %d (%s)", esc(d.Name), esc(kind), esc(d.Title), d.Revision, esc(d.origin))
	}
	for _, f := range b.Faults {
		l.item("**Fault:** %s", esc(f))
	}
	return l.String()
}

// A Document is one document, for reading.
type Document struct {
	Name      string           `json:"name"`
	Kind      string           `json:"kind"`
	File      string           `json:"file"`
	Digest    string           `json:"digest"`
	Origin    string           `json:"origin"`
	Sheet     *steps.Sheet     `json:"sheet,omitempty"`
	Procedure *steps.Procedure `json:"procedure,omitempty"`
	Triage    *steps.Triage    `json:"triage,omitempty"`
	Planforms []Planform       `json:"planforms,omitempty"` // of a sheet: several where options change its surfaces
}

// A Planform is what the geometry of a sheet comes to.
type Planform struct {
	With       []string `json:"with,omitempty"` // the options of these airframes
	Area       float64  `json:"wing_area_dm2"`  // seen from above
	Span       float64  `json:"span_mm"`
	Ratio      float64  `json:"aspect_ratio"`
	Chord      float64  `json:"mac_mm"`
	Front      float64  `json:"mac_front_mm"` // the station of its leading edge
	Horizontal float64  `json:"horizontal_tail_volume"`
	Vertical   float64  `json:"vertical_tail_volume"`
	Neutral    *Station `json:"estimated_neutral_point,omitempty"`
	Formula    string   `json:"formula,omitempty"` // of the estimate
	Without    string   `json:"no_estimate,omitempty"`
	AtLow      *float64 `json:"estimated_margin_forward_percent,omitempty"` // the static margin at the forward limit of the balance
	AtHigh     *float64 `json:"estimated_margin_aft_percent,omitempty"`
	body       float64
}

func newPlanform(p procedures.Planform) Planform {
	wing := p.Wing
	f := Planform{With: p.Options, Area: wing.Area / 1e4, Span: wing.Span, Ratio: wing.AspectRatio(), Chord: wing.Chord.Length, Front: wing.Chord.X,
		Horizontal: p.Horizontal, Vertical: p.Vertical, body: p.Body}
	neutral, err := p.NeutralPoint()
	if err != nil {
		f.Without = err.Error()
		return f
	}
	at := stationOf(neutral, math.NaN(), wing, 0)
	f.Neutral, f.Formula = &at, p.Formula()
	percent := func(limit float64) *float64 {
		margin, _ := p.Margin(limit)
		return finite(100 * margin)
	}
	f.AtLow, f.AtHigh = percent(p.Low), percent(p.High)
	return f
}

// planform says what the geometry comes to. Estimates are in whole percents: none is finer.
func (l *lines) planform(f Planform) {
	if len(f.With) > 0 {
		l.add("\nWith %s:\n", esc(strings.Join(f.With, ", ")))
	}
	l.item("Wing: area %s dm², span %s mm, aspect ratio (AR) %s", places(f.Area, 2), places(f.Span, 0), places(f.Ratio, 2))
	l.item("Mean aerodynamic chord (MAC): %s mm, its front end at %s mm", places(f.Chord, 1), places(f.Front, 1))
	l.item("Tail volumes: horizontal (V_H) %s, vertical %s", places(f.Horizontal, 2), places(f.Vertical, 3))
	if f.Neutral == nil {
		l.item("Neutral point: no estimate, for %s", esc(f.Without))
		return
	}
	l.item("Neutral point, an estimate: %s %% MAC, at %s mm. It is %s (here %s %%)", places(*f.Neutral.Percent, 0), places(f.Neutral.X, 0), esc(f.Formula), places(f.body, 1))
	var margins []string
	for _, m := range []struct {
		at    *float64
		limit string
	}{{f.AtLow, "forward"}, {f.AtHigh, "aft"}} {
		if m.at != nil {
			margins = append(margins, fmt.Sprintf("%s %% MAC at the %s limit of the balance", places(*m.at, 0), m.limit))
		}
	}
	if len(margins) > 0 {
		l.item("Static margin by that estimate: %s", strings.Join(margins, ", "))
	}
}

// NewDocument makes the page of a document.
func NewDocument(d *procedures.Document, from procedures.Origin) Document {
	p := Document{Name: d.Name(), Kind: d.Kind(), File: d.File, Digest: d.Digest(), Origin: from.String(), Sheet: d.Sheet, Procedure: d.Procedure, Triage: d.Triage}
	if d.Sheet != nil {
		for _, one := range procedures.Planforms(d.Sheet) {
			p.Planforms = append(p.Planforms, newPlanform(one))
		}
	}
	return p
}

// Markdown is the document in words.
func (d Document) Markdown(*Clock) string {
	from := d.from()
	var l lines
	switch {
	case d.Sheet != nil:
		l.WriteString(sheetText(d.Sheet, d.Planforms, from))
	case d.Triage != nil:
		l.WriteString(triageText(d.Triage, from))
	default:
		l.WriteString(procedureText(d.Procedure, from))
	}
	l.add("\n*`fettle library show %s --full` shows every word of it.*\n", term.Line(d.Name))
	return l.String()
}

func (d Document) from() string {
	return fmt.Sprintf("digest %s, %s", shortly(d.Digest), esc(d.Origin))
}

func sheetText(s *steps.Sheet, planforms []Planform, from string) string {
	var l lines
	l.add("# %s\n", esc(s.Title))
	l.add("design %s, revision %d, %s\n", esc(s.Name), s.Revision, from)
	l.text(s.About)
	l.add("\n## Zones\n\n%s\n", esc(strings.Join(s.Zones, ", ")))
	if len(s.Options) > 0 {
		l.add("## Options\n")
	}
	for _, c := range s.Choices() {
		indent := ""
		if !c.Alone {
			l.item("**%s**, exactly one of:", esc(c.Name))
			indent = "  "
		}
		for _, a := range c.Answers {
			l.add("%s- %s", indent, answerText(a))
		}
	}
	l.add("\n## Adhesives\n")
	for _, a := range s.Adhesives {
		l.item("**%s**: %s; %s%s", esc(a.Name), esc(a.Title), esc(AdhesiveText(a)), esc(careSays(a.Care)))
	}
	if len(s.Tools) > 0 {
		l.add("\n## Tools\n")
	}
	for _, t := range s.Tools {
		count := ""
		if t.Count > 0 {
			count = fmt.Sprintf(", %d there", t.Count)
		}
		l.item("**%s**: %s%s%s%s", esc(t.Name), esc(t.Title), count, esc(careSays(t.Care)), esc(optionally("; measured in the sitting: ", strings.Join(t.Measure, ", "))))
	}
	l.add("\n## Gauges\n")
	for _, g := range s.Gauges {
		doubt := "resolution " + g.Resolution.String()
		if !g.Uncertainty.IsZero() {
			doubt += ", uncertainty " + g.Uncertainty.String()
		}
		if !g.Repeatability.IsZero() {
			doubt += ", repeatability " + g.Repeatability.String()
		}
		l.item("**%s**: %s, %s", esc(g.Name), esc(g.Title), esc(doubt))
	}
	l.add("\n## Gates\n")
	for _, g := range s.Gates {
		critical := ""
		if g.Critical {
			critical = "; **critical**"
		}
		of := strings.Join(g.Of, ", ")
		if g.Work {
			of = "the work"
		}
		l.item("**%s**: %s, %s, %s; of %s%s%s", esc(g.Name), esc(g.Title), esc(LimitsText(g)), points(g), esc(of), critical, esc(optionally("; source: ", g.Source)))
	}
	if len(planforms) > 0 {
		l.add("\n## Planform\n\nSeen from above. Stations count aft; at 0 lies: %s\n", esc(s.Geometry.Datum))
	}
	for _, f := range planforms {
		l.planform(f)
	}
	l.changes(s.Changes)
	return l.String()
}

// points are where a gate is read.
func points(g steps.Gate) string {
	if scales := scalesText(g.Result); scales != "" {
		return esc("on scales, " + scales)
	}
	if len(g.Points) == 0 {
		return "at one place"
	}
	return esc("at " + strings.Join(g.Points, ", "))
}

// procedureHead is what a procedure is, before its stages.
func (l *lines) procedureHead(p *steps.Procedure, from string) {
	l.add("# %s\n", esc(p.Title))
	serves := "every design that has the parts it names"
	if p.Design != "" {
		serves = "design " + p.Design
	}
	if p.Kind == steps.Shared {
		serves = "other procedures to use; it is never started"
	}
	l.add("%s %s, revision %d, for %s; %s\n", esc(p.Kind), esc(p.Name), p.Revision, esc(serves), from)
	if len(p.On) > 0 {
		l.add("Start it on one of: %s\n", esc(strings.Join(p.On, ", ")))
	}
	l.text(p.About)
}

func (l *lines) stageHead(stage steps.Stage) {
	l.add("\n## %s\n", esc(first(stage.Title, stage.Name)))
	if len(stage.After) > 0 {
		l.add("After %s.\n", esc(strings.Join(stage.After, ", ")))
	}
}

func procedureText(p *steps.Procedure, from string) string {
	var l lines
	l.procedureHead(p, from)
	for _, stage := range p.Stages {
		l.stageHead(stage)
		for _, s := range stage.Steps {
			short := s.Short
			if s.Source != "" {
				short = strings.TrimSuffix(short, ".")
			}
			l.item("**%s** (%s)%s: %s%s%s", esc(s.Name), s.Kind, governed(s.Where), esc(strings.TrimSuffix(s.Label(), ".")),
				esc(optionally(". In short: ", short)), esc(optionally(". Source: ", s.Source)))
			for _, m := range s.Methods {
				l.add("  - %s", answerText(m))
			}
			if s.WantsSecond() {
				l.add("  - %s", secondWords(s.WaysAlone()))
			}
		}
	}
	l.changes(p.Changes)
	return l.String()
}

// changes say what each revision changed.
func (l *lines) changes(of []steps.Change) {
	if len(of) > 0 {
		l.add("\n## What revisions changed\n")
	}
	for _, c := range of {
		l.item("**%d**: %s", c.Revision, esc(c.Text))
	}
}

func triageText(t *steps.Triage, from string) string {
	var l lines
	l.add("# %s\n", esc(t.Title))
	l.add("triage %s, revision %d, %s%s\n", esc(t.Name), t.Revision, from, esc(optionally(", asked first for the design ", t.Design)))
	l.text(t.About)
	for _, f := range t.Findings {
		l.add("\n## %s\n", esc(f.Title))
		l.add("finding %s%s\n", esc(f.Name), esc(optionally(", in zone ", strings.Join(f.Zones, " or "))))
		if len(f.Also) > 0 {
			l.item("also called %s", esc(strings.Join(f.Also, ", ")))
		}
		if f.Caution != "" {
			l.item("caution: %s", esc(f.Caution))
		}
		if q := f.Quarantine; !q.IsZero() {
			l.item("quarantine%s: %s", optionally(" of ", esc(q.For.Typed())), esc(strings.Join(q.Confirm, "; ")))
		}
		for _, r := range t.Rows {
			if lists.Contains(r.Findings, f.Name) {
				where := first(strings.Join(r.Zones, ", "), "any zone") + ", " + first(strings.Join(r.Severities, " or "), "any severity but cosmetic")
				l.item("%s: **%s**%s. %s", esc(where), esc(r.Outcome), optionally(" ", esc(r.Procedure)), esc(r.Why))
			}
		}
	}
	for _, own := range t.OwnWords {
		l.add("\nOwn words on %s: %s.\n", esc(own.Zone), esc(own.Mean))
	}
	l.add("\nAnything else: %s.\n", esc(t.Unknown))
	l.changes(t.Changes)
	return l.String()
}

// answerText is an option, or an answer of a choice.
func answerText(o steps.Option) string {
	return fmt.Sprintf("**%s**: %s%s", esc(o.Name), esc(o.Title), optionally(". ", strings.TrimSpace(o.Why)))
}

// governed says on which airframes a step is there.
func governed(w steps.Where) string {
	said := ""
	for _, any := range w.With {
		said += ", with " + esc(strings.Join(any, " or "))
	}
	if len(w.Without) > 0 {
		said += ", without " + esc(strings.Join(w.Without, " or "))
	}
	return said
}

func first(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// Things are the tools and the parts of a procedure.
type Things struct {
	Name  string       `json:"name"`
	Title string       `json:"title"`
	Tools []string     `json:"tools"`
	Parts []steps.Part `json:"parts"` // added up
}

// NewThings adds up what a procedure takes.
func NewThings(p *steps.Procedure) (Things, error) {
	tools, parts, err := p.Things()
	return Things{p.Name, p.Title, append([]string{}, tools...), append([]steps.Part{}, parts...)}, err
}

// amountOf is how many of a part it takes, or how much.
func amountOf(p steps.Part) string {
	if p.Count > 0 {
		return fmt.Sprint(p.Count)
	}
	return p.Size.String()
}

// Markdown is the list of both.
func (t Things) Markdown(*Clock) string {
	var l lines
	l.add("# %s\n\n## Tools\n", esc(t.Title))
	for _, name := range t.Tools {
		l.item("%s", esc(name))
	}
	l.add("\n## Parts\n")
	for _, p := range t.Parts {
		l.item("%s: **%s**", esc(p.Name), esc(amountOf(p)))
	}
	if len(t.Parts) == 0 {
		l.add("No step lists any; what is counted stands in the text of its steps.")
	}
	return l.String()
}

// A Check is the result of checking documents.
type Check struct {
	Documents []Checked `json:"documents"`
	Faults    []Fault   `json:"faults"`
	Notes     []Fault   `json:"notes,omitempty"`
	Answers   int       `json:"answers,omitempty"` // answers to damage that can be started
	Unfit     int       `json:"unfit,omitempty"`   // answers that can't, as the notes say
}

// Checked is one document that was checked.
type Checked struct {
	File   string   `json:"file"`
	Name   string   `json:"name"`
	Kind   string   `json:"kind"`
	Serves []string `json:"serves,omitempty"`
}

// A Fault is one fault of a document.
type Fault struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Text   string `json:"text"`
}

// NewCheck makes the result of a check.
func NewCheck(report procedures.Report) Check {
	c := Check{Documents: []Checked{}, Faults: []Fault{}, Answers: report.Answers, Unfit: report.Unfit}
	for _, r := range report.Documents {
		c.Documents = append(c.Documents, Checked{r.Document.File, r.Document.Name(), r.Document.Kind(), r.Serves})
	}
	for _, f := range report.Faults {
		c.Faults = append(c.Faults, Fault{f.File, f.Line, f.Column, f.Text})
	}
	for _, f := range report.Notes {
		c.Notes = append(c.Notes, Fault{f.File, f.Line, f.Column, f.Text})
	}
	return c
}

// Plain is the result in lines that editors understand: file:line:column.
func (c Check) Plain() string {
	var b strings.Builder
	for _, f := range c.Faults {
		fmt.Fprintf(&b, "%s:%d:%d: %s\n", f.File, f.Line, f.Column, f.Text)
	}
	if len(c.Faults) > 0 {
		return b.String()
	}
	for _, d := range c.Documents {
		fmt.Fprintf(&b, "%s: %s %s is in order%s\n", d.File, d.Kind, d.Name, optionally("; it serves ", strings.Join(d.Serves, ", ")))
	}
	for _, n := range c.Notes {
		fmt.Fprintf(&b, "%s:%d:%d: note: %s\n", n.File, n.Line, n.Column, n.Text)
	}
	switch {
	case c.Unfit > 0:
		fmt.Fprintf(&b, "%d answers to damage were tried; %d of them can't be started, as the notes say\n", c.Answers+c.Unfit, c.Unfit)
	case c.Answers > 0:
		fmt.Fprintf(&b, "%d answers to damage were tried, and every plan of repair can be started\n", c.Answers)
	}
	return b.String()
}
