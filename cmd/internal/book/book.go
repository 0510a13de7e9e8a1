// Package book writes the record of one airframe as a book: one HTML page that
// needs nothing beside itself, no network and no script, and prints. Nothing
// is decided here; the texts are those of package page, which terminals show.
package book

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/workflow"
)

// Options are what a book needs beside the record.
type Options struct {
	Clock page.Clock
	// Photo gives a kept photo, drawn for a book. Where it fails the book says
	// that the photo is missing.
	Photo func(digest string) (data []byte, mime string, err error)
	// Seals are the texts of the seals that the journal names, by entry.
	Seals map[int64]string
}

//go:embed book.gohtml
var layout string

// A view is what the page shows, in its order.
type view struct {
	Mark, Title, Made string
	Airframe, Audit   template.HTML
	Line              line
	Bars              []barRow
	Photos            []photo
	Seals             []sealed
	Journal           template.HTML
	Rules             string
}

type photo struct {
	Caption string
	Source  template.URL // data of our own making; empty: it is missing
	Missing string
}

type sealed struct {
	Entry int64
	Note  string
}

// Write writes the book of an airframe.
func Write(w io.Writer, s *workflow.State, o Options) error {
	summary, err := s.AuditSummary(o.Clock.Now)
	if err != nil {
		return fmt.Errorf("summing up %s: %w", s.Airframe.Mark, err)
	}
	readings, err := s.Audit(workflow.AuditFilter{}, o.Clock.Now)
	if err != nil {
		return fmt.Errorf("auditing %s: %w", s.Airframe.Mark, err)
	}
	audit := page.NewAudit(s, summary, readings, false)
	v := view{
		Mark: s.Airframe.Mark, Title: s.Sheet.Title, Made: stamp(o.Clock.Now),
		Airframe: markdown(page.NewAirframe(s, o.Clock.Now).Markdown(o.Clock)),
		Audit:    markdown(audit.SummaryMarkdown()),
		Line:     lifeLine(s, o.Clock.Now), Bars: bars(readings),
		Photos: photosOf(s, o), Journal: markdown(page.NewJournal(s).Markdown(o.Clock)), Rules: page.LocalRules,
	}
	for _, e := range s.Entries {
		if note, ok := o.Seals[e.Position]; ok {
			v.Seals = append(v.Seals, sealed{e.Position, note})
		}
	}
	t, err := template.New("book").Parse(layout)
	if err != nil {
		return fmt.Errorf("reading the layout of the book: %w", err)
	}
	var out strings.Builder
	if err := t.Execute(&out, v); err != nil {
		return fmt.Errorf("writing the book of %s: %w", s.Airframe.Mark, err)
	}
	_, err = io.WriteString(w, term.Clean(out.String()))
	return err
}

func stamp(t time.Time) string {
	return t.In(time.Local).Format("2 January 2006, 15:04 MST")
}

// photosOf are the photos that the journal names, each with what it shows.
func photosOf(s *workflow.State, o Options) []photo {
	says := map[int64]string{}
	for _, e := range page.NewJournal(s).Entries {
		says[e.Position] = e.Says
	}
	var all []photo
	for _, e := range s.Entries {
		f, ok := e.Facts.(workflow.PhotoKept)
		if !ok || !s.Live(e.Position) {
			continue
		}
		p := photo{Caption: fmt.Sprintf("%s, %s, by %s", f.Name, stamp(e.At), e.By)}
		for _, of := range f.Of {
			p.Caption += fmt.Sprintf("; entry %d: %s", of, says[of])
		}
		data, mime, err := o.Photo(f.Photo)
		if err != nil {
			p.Missing = err.Error()
		} else {
			p.Source = template.URL("data:" + mime + ";base64," + base64.StdEncoding.EncodeToString(data))
		}
		all = append(all, p)
	}
	return all
}
