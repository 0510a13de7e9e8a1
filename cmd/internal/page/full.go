package page

import (
	"fmt"
	"slices"
	"strings"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/lists"
)

// A FullDocument is a document with every word of it, as whoever works by it will
// see them.
type FullDocument struct {
	Document
	sections []procedures.Section
	sheets   []*steps.Sheet
}

// NewFullDocument makes the page. The sheets are those of the designs that a
// procedure serves.
func NewFullDocument(d *procedures.Document, from procedures.Origin, sheets []*steps.Sheet) FullDocument {
	return FullDocument{NewDocument(d, from), d.Outline(), sheets}
}

// Markdown is the document in all its words.
func (d FullDocument) Markdown(*Clock) string {
	var l lines
	if d.Procedure != nil {
		l.procedureHead(d.Procedure, d.from())
		for _, stage := range d.Procedure.Stages {
			l.stageHead(stage)
			for _, s := range stage.Steps {
				l.fullStep(&s, d.sheets)
			}
		}
		l.changes(d.Procedure.Changes)
		return l.String()
	}
	if d.Sheet != nil {
		l.add("# %s\n\ndesign %s, revision %d, %s\n", esc(d.Sheet.Title), esc(d.Name), d.Sheet.Revision, d.from())
		l.text(d.Sheet.About)
	} else {
		l.add("# %s\n\ntriage %s, revision %d, %s\n", esc(d.Triage.Title), esc(d.Name), d.Triage.Revision, d.from())
		l.text(d.Triage.About)
	}
	for _, s := range d.sections {
		if lists.Contains([]string{procedures.KindDesign, procedures.KindTriage, "title", "revision", "about"}, s.Key) {
			continue
		}
		l.add("\n## %s\n", esc(Capital(s.Key)))
		for _, line := range s.Lines {
			l.item("%s", esc(line))
		}
		for i, t := range s.Things {
			l.add("\n### %s\n", esc(first(t.Name, fmt.Sprintf("row %d", i+1))))
			for _, said := range t.Says {
				l.said(said)
			}
		}
	}
	return l.String()
}

// said is what a key says: on its line, or where it has several, below it.
func (l *lines) said(s procedures.Said) {
	if len(s.Lines) < 2 {
		l.item("%s", esc(s.Line()))
		return
	}
	l.item("%s:", esc(s.Key))
	for _, line := range s.Lines {
		l.add("  - %s", esc(strings.TrimPrefix(strings.TrimSpace(line), "- ")))
	}
}

// fullStep is a step, cautions first, with what the sheets say of its adhesives
// and gates.
func (l *lines) fullStep(s *steps.Step, sheets []*steps.Sheet) {
	l.add("\n### %s\n", esc(s.Label()))
	l.add("step %s%s\n", esc(s.Name), governed(s.Where))
	adhesives := ofSheets(sheets, func(sheet *steps.Sheet) (said []string) {
		for _, name := range s.Adhesives {
			if a, ok := sheet.Adhesive(name); ok {
				said = append(said, fmt.Sprintf("%s, %s: %s", a.Name, a.Title, AdhesiveText(a)))
			}
		}
		return said
	})
	cautions := ofSheets(sheets, func(sheet *steps.Sheet) (said []string) {
		for _, name := range s.Adhesives {
			if a, ok := sheet.Adhesive(name); ok && a.Caution != "" {
				said = append(said, a.Caution)
			}
		}
		return said
	})
	for _, c := range cautions {
		l.caution(c.says)
	}
	for _, c := range s.Cautions {
		l.caution(c)
	}
	l.text(s.Do)
	l.picture(s.Picture.Name)
	for i, line := range s.Confirm {
		l.add("%d. %s", i+1, tagless(strings.TrimSpace(line)))
	}
	for _, said := range procedures.StepSays(s, "step", "title", "caution", "do", "picture", "why", "hold", "with", "without", "apart") {
		l.said(said)
	}
	if s.Apart != "" {
		l.add("\n**To part it** where a side of it is replaced:\n")
		l.text(s.Apart)
	}
	for _, a := range adhesives {
		l.item("%s", esc(a.of()+a.says))
	}
	gates := ofSheets(sheets, func(sheet *steps.Sheet) (said []string) {
		for _, name := range s.Gates {
			if g, ok := sheet.Gate(name); ok {
				said = append(said, gateInFull(sheet, g))
			}
		}
		return said
	})
	for _, g := range gates {
		l.item("%s", g.of()+g.says) // Markdown already
	}
	if s.Why != "" {
		l.add("\n**Why.** %s\n", tagless(strings.TrimSpace(s.Why)))
	}
}

// gateInFull is a gate as a step that measures it shows it.
func gateInFull(sheet *steps.Sheet, g steps.Gate) string {
	gauge := g.Gauge
	if known, ok := sheet.Gauge(g.Gauge); ok {
		gauge = known.Title
	}
	text := fmt.Sprintf("gate **%s**%s: %s, %s, %s, with: %s", esc(g.Name), governed(g.Where), esc(g.Title), esc(LimitsText(g)), points(g), esc(gauge))
	if g.Critical {
		text += "; **critical**"
	}
	or := ""
	if other, ok := g.Other(); ok {
		known, _ := sheet.Gauge(other.Gauge)
		or = fmt.Sprintf("**Or** %s, %s, with: %s\n\n%s", esc(LimitsText(other)), points(other), esc(first(known.Title, other.Gauge)), other.How)
	}
	for _, more := range []string{g.How, or, reworkText(g.Reworks)} {
		if more = strings.TrimSpace(more); more != "" {
			text += "\n\n  " + strings.ReplaceAll(more, "\n", "\n  ") + "\n"
		}
	}
	return text
}

// An ofDesigns is what the sheets of some designs say alike.
type ofDesigns struct {
	designs []string // none: all of them
	says    string
}

//go:noinline
func (o ofDesigns) of() string {
	if len(o.designs) == 0 {
		return ""
	}
	return strings.Join(o.designs, ", ") + ": "
}

// ofSheets is what the sheets say, each text once.
func ofSheets(sheets []*steps.Sheet, say func(*steps.Sheet) []string) []ofDesigns {
	var all []ofDesigns
	for _, sheet := range sheets {
		for _, text := range say(sheet) {
			i := slices.IndexFunc(all, func(o ofDesigns) bool { return o.says == text })
			if i < 0 {
				i = len(all)
				all = append(all, ofDesigns{says: text})
			}
			all[i].designs = append(all[i].designs, sheet.Name)
		}
	}
	for i := range all {
		if len(all[i].designs) == len(sheets) {
			all[i].designs = nil
		}
	}
	return all
}

// A Begun is a new document that was begun from another.
type Begun struct {
	Name     string   `json:"name"`
	File     string   `json:"file"`
	Revision int      `json:"revision"`
	Key      string   `json:"key"` // that of its name
	InPlace  bool     `json:"in_place"`
	Uses     []string `json:"uses,omitempty"`
	Pictures []string `json:"pictures,omitempty"` // that are beside it now
}

// Markdown says what to change in it.
func (b Begun) Markdown(*Clock) string {
	var l lines
	l.add("%s holds %s as it is in revision %d.\n", esc(b.File), esc(b.Name), b.Revision)
	l.item("To make another document of it: give it a name of its own (`%s:`), and `revision: 1`.", b.Key)
	if b.InPlace {
		l.item("To put it in the place of the embedded one: keep the name, write `revision: %d`, say in `changes:` what is new, and move the file into your library.", b.Revision+1)
	} else {
		l.item("To revise it: keep the name, write `revision: %d`, and say in `changes:` what is new.", b.Revision+1)
	}
	if len(b.Pictures) > 0 {
		l.item("The pictures of its steps are beside it: %s.", esc(strings.Join(b.Pictures, ", ")))
	}
	if len(b.Uses) > 0 {
		l.item("It uses steps of %s, which stay where they are.", esc(strings.Join(b.Uses, ", ")))
	}
	l.add("\nThen check it:\n\n%s", command("fettle check "+b.File))
	return l.String()
}
