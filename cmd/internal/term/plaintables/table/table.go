// Package table sets tables in columns: as wide as their words need, and no wider
// than there is room. No word of a heading or a cell is cut off.
package table

import (
	"slices"
	"strings"

	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"
)

// HeaderRow is the number of the row with the headings.
const HeaderRow = -1

// A StyleFunc says how a cell is set.
type StyleFunc func(row, column int) lipgloss.Style

// A Table is rows of cells below their headings.
type Table struct {
	width  int
	border lipgloss.Border
	style  StyleFunc
	rows   [][]string // the first has the headings
}

// New returns an empty table.
func New() *Table {
	return &Table{rows: [][]string{nil}, border: lipgloss.NormalBorder(), style: func(int, int) lipgloss.Style { return lipgloss.Style{} }}
}

// Width sets how many columns of a terminal there are for it.
func (t *Table) Width(width int) *Table { t.width = width; return t }

// Wrap changes nothing: every text is wrapped that is too long.
func (t *Table) Wrap(bool) *Table { return t }

// StyleFunc sets how cells are set.
func (t *Table) StyleFunc(style StyleFunc) *Table { t.style = style; return t }

// Border sets what it is ruled with.
func (t *Table) Border(b lipgloss.Border) *Table { t.border = b; return t }

// BorderTop changes nothing, and nor do the others: nothing is ruled but the headings
// and between columns.
func (t *Table) BorderTop(bool) *Table { return t }

// BorderLeft changes nothing.
func (t *Table) BorderLeft(bool) *Table { return t }

// BorderRight changes nothing.
func (t *Table) BorderRight(bool) *Table { return t }

// BorderBottom changes nothing.
func (t *Table) BorderBottom(bool) *Table { return t }

// Headers sets the headings.
func (t *Table) Headers(cells ...string) *Table { t.rows[0] = cells; return t }

// Row adds a row.
func (t *Table) Row(cells ...string) *Table { t.rows = append(t.rows, cells); return t }

// String is the table as lines.
func (t *Table) String() string {
	widths := t.widths()
	var lines []string
	for n, row := range t.rows {
		cells, height := make([][]string, len(widths)), 1
		for i := range cells {
			if i < len(row) {
				cells[i] = wrapped(row[i], widths[i])
			}
			height = max(height, len(cells[i]))
		}
		for part := range height {
			line := make([]string, len(widths))
			for i, cell := range cells {
				text := ""
				if part < len(cell) {
					text = cell[part]
				}
				room := max(widths[i]-ansi.StringWidth(text), 0)
				left := int(float64(room) * float64(t.style(n+HeaderRow, i).At))
				line[i] = " " + strings.Repeat(" ", left) + text + strings.Repeat(" ", room-left) + " "
			}
			lines = append(lines, strings.Join(line, t.border.Left))
		}
		if n == 0 {
			var rule []string
			for _, w := range widths {
				rule = append(rule, strings.Repeat(t.border.Top, w+2))
			}
			lines = append(lines, strings.Join(rule, t.border.Middle))
		}
	}
	return strings.Join(lines, "\n")
}

// wrapped are the lines of a cell. What one is set in ends with it, and goes on in the
// next.
func wrapped(cell string, width int) []string {
	lines := strings.Split(ansi.Wrap(cell, width, " "), "\n")
	set := ""
	for i, line := range lines {
		line = set + strings.TrimRight(line, " ")
		if at := strings.LastIndex(line, "\x1b["); at >= 0 {
			end := at + strings.IndexByte(line[at:], 'm') + 1
			if set = line[at:end]; set == ansi.ResetStyle || set == "\x1b[0m" {
				set = ""
			} else {
				line += ansi.ResetStyle
			}
		}
		lines[i] = line
	}
	return lines
}

// widths are those of the columns: where there is too little room for all, the widest
// ones are made narrower.
func (t *Table) widths() []int {
	var widths []int
	for _, row := range t.rows {
		for i, cell := range row {
			if i == len(widths) {
				widths = append(widths, 1)
			}
			widths[i] = max(widths[i], ansi.StringWidth(cell))
		}
	}
	room := t.width - 3*len(widths) + 1
	for total := 0; len(widths) > 0; {
		total = 0
		for _, w := range widths {
			total += w
		}
		widest := slices.Max(widths)
		if total <= room || widest <= 1 {
			break
		}
		widths[slices.Index(widths, widest)]--
	}
	return widths
}
