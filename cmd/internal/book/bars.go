package book

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// The drawings are made by hand and not with a plotting library. Horizontal
// positions are a percentage of the width and vertical positions are pixels, so
// that a drawing fits a phone and a page while its text keeps its size. A library
// draws to a fixed width; scaled down to a phone its text cannot be read.

// bars are the points of a gate, each drawn on a scale with its limits.
type bars struct {
	Rows []barRow
	Old  bool // none of the readings counts
}

// A barRow is one point: text above, the scale with its marks below.
type barRow struct {
	Label, Value, Verdict  string
	Says                   string // the whole row in words, for screen readers
	Lines                  []line
	Height                 int
	Bar, Middle, End, Foot int // of the scale and of the text of the limits
	In                     span
	Guards                 []span
	Edges                  []edge
	Marks                  []mark
}

// A line is one line of text above a scale, at the left, at the right or both.
type line struct {
	Y           int
	Left, Right string
}

// A span is a part of the scale, in per cent.
type span struct{ X, W string }

// An edge is a limit with its text.
type edge struct{ X, Anchor, Says string }

// A mark is one reading. Beyond is the arrow for one outside the scale: ◂ or ▸.
type mark struct{ X, Beyond string }

const (
	barHeight  = 35 // a scale with the text of its limits
	lineHeight = 16
	mostLine   = 34 // characters that fit a small phone; the table has the full text
)

// bars draws the readings that count or, if none does, the last ones.
func (m *maker) bars(r workflow.GateReport, live []workflow.AuditedReading) bars {
	g := r.Gate
	var b bars
	counting := slices.DeleteFunc(slices.Clone(live), func(a workflow.AuditedReading) bool { return !slices.Contains(r.Rests, a.Entry.Position) })
	if b.Old = len(counting) == 0; b.Old {
		counting = lastOfEach(g, live)
	}
	doubt := r.Doubt
	if b.Old {
		doubt = doubtOf(m.s, g, counting)
	}
	var points []measuring.Point
	for _, name := range g.PointNames() {
		p := measuring.Point{Name: name}
		for _, a := range counting {
			if a.Reading.Point == name {
				p.Readings = append(p.Readings, a.Reading.Value)
			}
		}
		points = append(points, p)
	}
	for _, row := range append(within(g, points, doubt), alike(g, points, doubt)...) {
		row.Says = strings.TrimSpace(g.Name+" "+row.Label) + ": " + row.Value + ", " + row.Verdict
		for _, e := range row.Edges {
			row.Says += ", limit " + e.Says
		}
		for _, l := range row.words() {
			row.Height += lineHeight
			l.Y = row.Height - 3
			row.Lines = append(row.Lines, l)
		}
		row.Bar, row.Foot = row.Height+3, row.Height+26
		row.Middle, row.End = row.Bar+5, row.Bar+14
		row.Height += barHeight
		b.Rows = append(b.Rows, row)
	}
	return b
}

// words are the lines above a scale: one line if it fits a phone, else the
// label, the value and the verdict.
func (r barRow) words() []line {
	both := r.Value + " · " + r.Verdict
	size := utf8.RuneCountInString
	switch {
	case size(r.Label+both) <= mostLine:
		return []line{{Left: r.Label, Right: both}}
	case size(both) <= mostLine:
		return []line{{Left: shorten(r.Label)}, {Right: both}}
	case r.Label == "":
		return []line{{Right: shorten(r.Value)}, {Right: r.Verdict}}
	}
	return []line{{Left: shorten(r.Label)}, {Right: shorten(r.Value)}, {Right: r.Verdict}}
}

// lastOfEach keeps the last readings of each point, as many as the gate needs.
func lastOfEach(g steps.Gate, live []workflow.AuditedReading) []workflow.AuditedReading {
	var kept []workflow.AuditedReading
	for _, name := range g.PointNames() {
		at := slices.DeleteFunc(slices.Clone(live), func(a workflow.AuditedReading) bool { return a.Reading.Point != name })
		kept = append(kept, at[max(0, len(at)-max(1, g.Repeat)):]...)
	}
	return kept
}

// within returns the rows for a low and a high limit, one for each point.
func within(g steps.Gate, points []measuring.Point, doubt measuring.Doubt) []barRow {
	limits := measuring.Limits{Low: g.Limits.Low, High: g.Limits.High}
	if limits.Dimension() == "" {
		return nil
	}
	var all []float64
	for _, p := range points {
		all = append(all, floats(p.Readings, limits.Unit())...)
	}
	sc := newScale(limits, doubt.Guard(limits.Unit()), all)
	var rows []barRow
	for _, p := range points {
		if len(p.Readings) == 0 {
			continue
		}
		row := sc.row(floats(p.Readings, limits.Unit()))
		row.Label = p.Name
		found, err := measuring.Judge(limits, []measuring.Point{p}, max(1, g.Repeat), nil, doubt)
		if err != nil {
			found.Verdict = measuring.Undecided
		}
		row.Value, row.Verdict = spoken(p.Readings), says(found.Verdict)
		rows = append(rows, row)
	}
	return rows
}

// alike returns the rows for a limit on differences, one for each pair of points.
func alike(g steps.Gate, points []measuring.Point, doubt measuring.Doubt) []barRow {
	only := measuring.Limits{Alike: g.Limits.Alike}
	limit, err := only.Alike.Float(only.Unit())
	if err != nil {
		return nil // no such limit
	}
	guard := doubt.PairGuard(only.Unit())
	var rows []barRow
	for _, pair := range measuring.Compared(points, g.Pairs) {
		two := slices.DeleteFunc(slices.Clone(points), func(p measuring.Point) bool {
			return !slices.Contains(pair[:], p.Name) || len(p.Readings) == 0
		})
		if len(two) < 2 {
			continue
		}
		found, err := measuring.Judge(only, two, max(1, g.Repeat), [][2]string{pair}, doubt)
		if err != nil || !found.Margin.Known {
			continue
		}
		gap := max(0, limit-found.Margin.By)
		row := newScale(measuring.Limits{High: only.Alike}, guard, []float64{gap}).row([]float64{gap})
		row.Label = pair[0] + " / " + pair[1]
		row.Value, row.Verdict = "differ by "+sized(gap, only.Unit()), says(found.Verdict)
		rows = append(rows, row)
	}
	return rows
}

func says(v measuring.Verdict) string {
	switch v {
	case measuring.Out:
		return "OUT OF TOLERANCE"
	case measuring.Undecided:
		return "UNDECIDED"
	case measuring.Partial:
		return "readings are missing"
	}
	return string(v)
}

// spoken lists readings; equal ones only once.
func spoken(readings []quantity.Quantity) string {
	words := make([]string, len(readings))
	for i, q := range readings {
		words[i] = q.String()
	}
	if n := len(words); n > 1 && len(slices.Compact(slices.Clone(words))) == 1 {
		return fmt.Sprintf("%d × %s", n, words[0])
	}
	return strings.Join(words, ", ")
}

func floats(readings []quantity.Quantity, unit string) []float64 {
	var all []float64
	for _, q := range readings {
		if f, err := q.Float(unit); err == nil {
			all = append(all, f)
		}
	}
	return all
}

func shorten(label string) string {
	if r := []rune(label); len(r) > mostLine {
		return string(r[:mostLine-1]) + "…"
	}
	return label
}
