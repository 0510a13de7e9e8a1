package procedures

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// A Fault is one thing wrong in a document. Line and Column count from 1; 0 means
// the document as a whole.
type Fault struct {
	File         string
	Line, Column int
	Text         string
}

// Error is the fault in the form that editors understand: file:line:column: text.
//
//go:noinline
func (f Fault) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Text)
}

// Faults are all faults found, in the order of file and line.
type Faults []Fault

// Error has one fault per line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, one := range f {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// sorted sorts the faults and drops duplicates.
func (f Faults) sorted() Faults {
	sorting.Stable(f, func(i, k int) int {
		a, b := &f[i], &f[k]
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Text, b.Text))
	})
	return slices.Compact(f)
}

// legible is the text of a fault as it can be shown: names and values come from
// a file, may be as long as it is, and hold what moves a terminal's cursor.
func legible(text string) string {
	const longest = 600
	text = strings.Map(func(c rune) rune {
		if unicode.IsControl(c) || unsafe(c) {
			return ' '
		}
		return c
	}, text)
	if len(text) <= longest {
		return text
	}
	return strings.ToValidUTF8(text[:longest], "") + " …"
}

// mostFaults are listed of one file: who has so many needs no more of them.
const mostFaults = 100

// capped leaves out what is more than mostFaults of one file, and says how many
// they are. The faults are sorted.
func (f Faults) capped() Faults {
	var out Faults
	for len(f) > 0 {
		n := 1
		for n < len(f) && f[n].File == f[0].File {
			n++
		}
		out = append(out, f[:min(n, mostFaults)]...)
		if n > mostFaults {
			last := f[mostFaults-1]
			last.Text = fmt.Sprintf("and %d more faults; correct these first", n-mostFaults)
			out = append(out, last)
		}
		f = f[n:]
	}
	return out
}

// once drops what is said of a step as it is used where the same is said of it as
// it is written, or as another uses it. The faults are in order.
func (f Faults) once() Faults {
	at := func(f Fault) Fault { f.Text = ""; return f }
	written := map[Fault][]string{}
	return sorting.Delete(f, func(one Fault) bool {
		said := written[at(one)]
		text, _, used := strings.Cut(one.Text, " (used by ")
		if used && lists.Contains(said, text) {
			return true
		}
		written[at(one)] = append(said, text)
		return false
	})
}

// A place is a position in a document, or in one that it uses.
type place struct {
	line, column int
	site         *site // nil: in the document, and once
}

// A site is how a step came to where it is read.
type site struct {
	file string // "": it is written in the document itself
	note string // who used it, and with which words
}

// top is where a document begins.
func top() place { return place{line: 1, column: 1} }
