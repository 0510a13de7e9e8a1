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

func letter(i int) byte {
	if i < len(letters) {
		return letters[i]
	}
	return '#'
}

// chartWidth is how many columns a chart has on a page of 80.
const chartWidth = 76

// chart draws a sitting: a row for each airframe, in which the letters are the turns, and dots what dries.
func (s PlanSitting) chart() string {
	wide := 0
	for _, t := range s.Turns {
		wide = max(wide, len(t.Mark))
		for _, d := range t.Dries {
			wide = max(wide, len(d.Mark))
		}
	}
	room := chartWidth - wide - len("  ")
	length := int(s.To.Sub(s.From) / time.Minute)
	each := 1 // minutes a column
	for _, each = range []int{1, 2, 3, 5, 10, 15, 30} {
		if length <= each*room {
			break
		}
	}
	columns := min(room, (length+each-1)/each)
	column := func(t time.Time) int {
		return min(columns-1, max(0, int(t.Sub(s.From)/time.Minute)/each))
	}
	var marks []string
	rows := map[string][]byte{}
	row := func(mark string) []byte {
		if rows[mark] == nil {
			marks, rows[mark] = append(marks, mark), []byte(strings.Repeat(" ", columns))
		}
		return rows[mark]
	}
	for _, t := range s.Turns {
		for _, d := range t.Dries {
			if r := row(d.Mark); d.Until.After(s.From) {
				for i := column(d.From); i <= column(d.Until.Add(-time.Second)); i++ {
					r[i] = '.'
				}
			}
		}
	}
	for i, t := range s.Turns {
		r := row(t.Mark)
		for k := column(t.Begins); k <= column(t.Ends.Add(-time.Second)); k++ {
			r[k] = letter(i)
		}
	}
	slices.Sort(marks)
	// A label stands every so many columns, with a mark below its moment.
	every := 30
	for every/each < 8 {
		every *= 2
	}
	heads, ticks := []byte(strings.Repeat(" ", columns)), []byte(strings.Repeat(" ", columns))
	for at := 0; at/each < columns; at += every {
		copy(heads[at/each:], clockOf(s.From.Add(time.Duration(at)*time.Minute)))
		ticks[at/each] = '|'
	}
	var b strings.Builder
	line := func(mark string, row []byte) {
		b.WriteString(strings.TrimRight(fmt.Sprintf("%-*s  %s", wide, mark, row), " ") + "\n")
	}
	line("", heads)
	line("", ticks)
	for _, m := range marks {
		line(m, rows[m])
	}
	return b.String()
}
