// Package book writes the record of one airframe as a book: one HTML page in a
// single file, without scripts or network, that can be printed. Nothing is
// decided here; words shared with the other pages come from package page.
package book

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"maps"
	"strings"
	"time"

	"fettle/cmd/internal/packed"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/workflow"
)

// Begin is what every book begins with.
const Begin = "<!DOCTYPE html>"

// Options are what a book needs besides the record.
type Options struct {
	Clock *page.Clock
	Zone  *time.Location // for showing times; nil: local
	// Photo returns a kept photo, scaled for a book. If it is nil or fails, the
	// book says that the photo is missing.
	Photo func(digest string) (data []byte, mime string, err error)
	// Documents are what the airframe goes by.
	Documents []page.Cited
	// Seals are the texts of seals, by the entry that records them or, without
	// one, by the last entry that they cover.
	Seals map[int64]string
	// Finding is the title of what a triage table finds; "": it has none. It may be nil.
	Finding func(name string) string
	// Plan is the last plan that has the airframe; nil: there is none.
	Plan *workflow.Timetable
	// Full adds the texts of jobs, each of their steps, and each reading by itself.
	Full bool
}

// layouts are the files of the folder layouts, packed. A test holds it against them, and writes it anew with -update.
//
//go:embed layouts.zip
var layouts string

// layout is the text of files of layouts, one behind the other. They are part of the program: a test reads all of them.
func layout(names ...string) string {
	var all strings.Builder
	for _, name := range names {
		text, err := packed.Text(layouts, name)
		if err != nil {
			return ""
		}
		all.WriteString(text)
	}
	return all.String()
}

// Write writes the book of an airframe.
func Write(w io.Writer, s *workflow.State, o Options) error {
	if o.Zone == nil {
		o.Zone = time.Local
	}
	m := newMaker(s, o)
	view, err := m.book()
	if err != nil {
		return fmt.Errorf("making the book of %s: %w", s.Airframe.Mark, err)
	}
	calls := m.cardCalls()
	maps.Copy(calls, map[string]any{
		"until": m.until, "ref": m.ref, "anchor": m.anchor, "md": markdown, "photo": m.photo, "picture": m.ofStepOnce, "day": m.day, "brief": m.brief, "clock": m.clock, "short": short, "plain": plain, "listed": listed, "many": many,
		"seal": func() string { return page.SealLimits },
	})
	out := bufio.NewWriterSize(w, 1<<16)
	if err := fill(cleaner{out}, layout("card.gohtml", "book.gohtml"), calls, view); err != nil {
		return fmt.Errorf("writing the book of %s: %w", s.Airframe.Mark, err)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing the book of %s: %w", s.Airframe.Mark, err)
	}
	return nil
}

// short is as much of a digest as tells one from another.
func short(digest string) string {
	digest = strings.TrimPrefix(digest, "sha256:")
	return digest[:min(12, len(digest))]
}

// many is a number of things.
func many(n int, one string) string { return numbered(n, one) }

// A cleaner removes control and formatting characters, wherever they come from.
// A template writes each value whole, so no character is split between writes.
type cleaner struct{ out *bufio.Writer }

func (c cleaner) Write(p []byte) (int, error) {
	if _, err := c.out.WriteString(term.Clean(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// when shows a moment in the book's zone, with UTC in its title.
func (m *maker) when(t time.Time) safe {
	if t.IsZero() {
		return "–"
	}
	return m.moment(t, "2 Jan 2006, 15:04")
}

func (m *maker) moment(t time.Time, layout string) safe {
	utc := t.UTC()
	// Only digits, letters and commas: there is no text to escape.
	return safe(fmt.Sprintf(`<time datetime="%s" title="%s UTC">%s</time>`,
		utc.Format(time.RFC3339), utc.Format("2006-01-02 15:04:05"), t.In(m.o.Zone).Format(layout)))
}

// brief shows a moment without its year, where much stands in a row.
func (m *maker) brief(t time.Time) safe {
	if t.IsZero() {
		return "–"
	}
	return m.moment(t, "2 Jan, 15:04")
}

func (m *maker) clock(t time.Time) safe { return m.moment(t, "15:04") }

// until shows the end of a period: only the time if it ends on the day it began.
func (m *maker) until(from, to time.Time) safe {
	day := func(t time.Time) string { return t.In(m.o.Zone).Format(time.DateOnly) }
	if from.IsZero() || to.IsZero() || day(from) != day(to) {
		return m.when(to)
	}
	return m.clock(to)
}

// ref names an entry and links to where the book shows it.
func (m *maker) ref(position int64) safe {
	at, shown := m.anchors[position]
	if !shown {
		return safe(fmt.Sprintf(`entry&nbsp;%d`, position))
	}
	return safe(fmt.Sprintf(`<a href="#e%d">entry&nbsp;%d</a>`, at, position))
}

// anchor is the id of an entry where the book shows it first. It is empty where
// the book shows it again, because an id must be unique.
func (m *maker) anchor(position int64) safe {
	if m.placed[position] {
		return ""
	}
	m.placed[position] = true
	return safe(fmt.Sprintf(`id="e%d"`, position))
}
