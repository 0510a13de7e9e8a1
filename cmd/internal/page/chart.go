package page

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// This file draws a sitting of a plan in characters.

// letters name the turns of a sitting in its chart.
const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"

//go:noinline
func letter(i int) byte { return letters[i%len(letters)] }

// Letter stands for a step of a sitting, in the order of the plan.
func Letter(i int) string { return string(letter(i)) }

// How many columns a chart has: of a page of 80, beside its margins, and at the least.
const (
	pageWidth    = 80
	chartMargins = 4
	leastChart   = 12
)

// chart draws a sitting: a row for each airframe, in which the letters are the turns, and dots what dries. Turns for which there
// is no place in it, since they are done at once or in a minute, are in a row below.
func (s *PlanSitting) chart(most int) string {
	wide, dries := 0, s.After
	for _, t := range s.Turns {
		wide, dries = max(wide, len(t.Mark)), append(dries[:len(dries):len(dries)], t.Dries...)
	}
	for _, d := range dries {
		wide = max(wide, len(d.Mark))
	}
	page := pageWidth
	if most > 0 {
		page = min(page, most)
	}
	room := max(page-chartMargins-wide-len("  "), leastChart)
	length := int(s.To.Sub(s.From) / time.Minute)
	each := 1 // minutes a column
	for _, each = range []int{1, 2, 3, 5, 10, 15, 30, 60} {
		if length <= each*room {
			break
		}
	}
	columns := min(room, (length+each-1)/each)
	column := func(t time.Time) int {
		return min(columns-1, max(0, int(t.Sub(s.From)/time.Minute)/each))
	}
	blank := strings.Repeat(" ", columns)
	var marks []string
	rows := map[string][][]byte{}
	row := func(mark string) [][]byte {
		if rows[mark] == nil {
			marks, rows[mark] = append(marks, mark), [][]byte{[]byte(blank)}
		}
		return rows[mark]
	}
	for _, d := range dries {
		if r := row(d.Mark)[0]; d.Until.After(s.From) && d.From.Before(s.To) {
			for i := column(d.From); i <= column(d.Until.Add(-time.Second)); i++ {
				r[i] = '.'
			}
		}
	}
	for i, t := range s.Turns {
		from, to, at := column(t.Begins), column(t.Ends.Add(-time.Second)), 0
		for of := row(t.Mark); at < len(of) && !fits(of[at], letter(i), from, to); at++ {
		}
		if at == len(rows[t.Mark]) {
			below := []byte(blank)
			fits(below, letter(i), from, to)
			rows[t.Mark] = append(rows[t.Mark], below)
		}
	}
	slices.Sort(marks)
	// A label stands every so many columns, with a mark below its moment.
	every := 30
	for every/each < 8 {
		every *= 2
	}
	heads, ticks := []byte(strings.Repeat(" ", room)), []byte(blank)
	for at, next := 0, 0; at/each < columns; at += every {
		if label := clockOf(s.From.Add(time.Duration(at) * time.Minute)); at/each >= next && at/each+len(label) <= room {
			copy(heads[at/each:], label)
			next = at/each + len(label) + 1
		}
		ticks[at/each] = '|'
	}
	var b strings.Builder
	line := func(mark string, row []byte) {
		b.WriteString(strings.TrimRight(fmt.Sprintf("%-*s  %s", wide, mark, row), " ") + "\n")
	}
	line("", heads)
	line("", ticks)
	for _, m := range marks {
		label := m
		for _, r := range rows[m] {
			line(label, r)
			label = ""
		}
	}
	return b.String()
}

// fits draws a turn where the row has room for it: of a column in which another ends either leaves the other its own.
func fits(row []byte, name byte, from, to int) bool {
	busy := func(k int) bool { return row[k] != ' ' && row[k] != '.' }
	if busy(from) {
		switch before := row[from]; {
		case from+1 < len(row) && row[from+1] == before: // it goes on
			return false
		case from > 0 && row[from-1] == before:
		case from < to:
			from++
		default:
			return false
		}
	}
	for k := from + 1; k <= to; k++ {
		if busy(k) {
			return false
		}
	}
	for k := from; k <= to; k++ {
		row[k] = name
	}
	return true
}
