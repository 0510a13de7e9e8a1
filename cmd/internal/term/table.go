package term

import (
	"slices"
	"strings"

	"fettle/steps/lists"

	xansi "github.com/charmbracelet/x/ansi"
	tables "github.com/yuin/goldmark/extension/ast"
)

// table sets a table in columns: as wide as their words need, and no wider than there is
// room. No word of a heading or a cell is cut off.
func (p page) table(t *tables.Table, width int, s style) []string {
	var rows [][]string // the first has the headings
	for row := t.FirstChild(); row != nil; row = row.NextSibling() {
		var cells []string
		for cell := row.FirstChild(); cell != nil; cell = cell.NextSibling() {
			cells = append(cells, strings.TrimSpace(p.inline(cell, s)))
		}
		rows = append(rows, cells)
	}
	widths := columns(rows, width)
	var lines []string
	for n, row := range rows {
		cells, height := make([][]string, len(widths)), 1
		for i, cell := range row {
			words := strings.Split(cell, " ")
			for k, word := range words { // one that is wider than its column goes on in the next line
				words[k] = strings.ReplaceAll(xansi.Hardwrap(word, widths[i], true), "\n", " ")
			}
			cells[i] = wrap(strings.Join(words, " "), widths[i])
			height = max(height, len(cells[i]))
		}
		for part := range height {
			line := make([]string, len(widths))
			for i, cell := range cells {
				text := ""
				if part < len(cell) {
					text = cell[part]
				}
				room := max(widths[i]-xansi.StringWidth(text), 0)
				left := 0
				switch t.Alignments[i] {
				case tables.AlignRight:
					left = room
				case tables.AlignCenter:
					left = room / 2
				}
				line[i] = " " + strings.Repeat(" ", left) + text + strings.Repeat(" ", room-left) + " "
			}
			lines = append(lines, strings.Join(line, "|"))
		}
		if n == 0 {
			var rule []string
			for _, w := range widths {
				rule = append(rule, strings.Repeat("-", w+2))
			}
			lines = append(lines, strings.Join(rule, "|"))
		}
	}
	return lines
}

// columns are how wide they are: where there is too little room for all, the widest ones
// are made narrower.
func columns(rows [][]string, width int) []int {
	var widths []int
	for _, row := range rows {
		for i, cell := range row {
			if i == len(widths) {
				widths = append(widths, 1)
			}
			widths[i] = max(widths[i], xansi.StringWidth(cell))
		}
	}
	room := width - 3*len(widths) + 1
	for len(widths) > 0 {
		total := 0
		for _, w := range widths {
			total += w
		}
		widest := slices.Max(widths)
		if total <= room || widest <= 1 {
			break
		}
		widths[lists.Index(widths, widest)]--
	}
	return widths
}
