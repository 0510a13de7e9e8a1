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
	doubts := r.Doubts
	if b.Old {
		doubts = doubtsOf(m.s, g, counting)
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
	for _, row := range rowsOf(g, points, doubts) {
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

// rowsOf are the rows of what is judged: of the result, or of the points and of
// the pairs.
func rowsOf(g steps.Gate, points []measuring.Point, doubts measuring.Doubts) []barRow {
	if !g.Result.IsZero() {
		return result(g, points, doubts)
	}
	return append(within(g, points, doubts), alike(g, points, doubts)...)
}

// result is the row of a gate's result, none where it could not be worked out.
func result(g steps.Gate, points []measuring.Point, doubts measuring.Doubts) []barRow {
	found, err := g.Rule().Judge(points, doubts)
	if err != nil || !found.Result.Known {
		return nil
	}
	is, unit := found.Result.Value, g.Limits.Unit()
	row := newScale(g.Limits, found.Result.U, []float64{is}).row([]float64{is})
	row.Label, row.Value, row.Verdict = g.Result.String(), sized(is, unit), says(found.Verdict)
	return []barRow{row}
}

// within are the rows of the points between low and high.
func within(g steps.Gate, points []measuring.Point, doubts measuring.Doubts) []barRow {
	if !g.Alone() {
		return nil
	}
	rule := measuring.Rule{Limits: measuring.Limits{Low: g.Limits.Low, High: g.Limits.High}, Repeat: g.Repeat}
	limits := rule.Limits
	var all []float64
	for _, p := range points {
		all = append(all, floats(p.Readings, limits.Unit())...)
	}
	sc := newScale(limits, rule.Bands(doubts).Each.Float(), all)
	var rows []barRow
	for _, p := range points {
		if len(p.Readings) == 0 {
			continue
		}
		row := sc.row(floats(p.Readings, limits.Unit()))
		row.Label = p.Name
		found, err := rule.Judge([]measuring.Point{p}, doubts)
		if err != nil {
			found.Verdict = measuring.Undecided
		}
		row.Value, row.Verdict = spoken(p.Readings), says(found.Verdict)
		rows = append(rows, row)
	}
	return rows
}

// alike are the rows of the pairs that must not differ by more than so much.
func alike(g steps.Gate, points []measuring.Point, doubts measuring.Doubts) []barRow {
	only := measuring.Limits{Alike: g.Limits.Alike}
	limit, err := only.Alike.Float(only.Unit())
	if err != nil {
		return nil // no such limit
	}
	guard := measuring.Rule{Limits: only, Repeat: g.Repeat}.Bands(doubts).Pair.Float()
	var rows []barRow
	for _, pair := range measuring.Compared(points, g.Pairs) {
		two := slices.DeleteFunc(slices.Clone(points), func(p measuring.Point) bool {
			return !slices.Contains(pair[:], p.Name) || len(p.Readings) == 0
		})
		if len(two) < 2 {
			continue
		}
		found, err := measuring.Rule{Limits: only, Repeat: g.Repeat, Pairs: [][2]string{pair}}.Judge(two, doubts)
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
