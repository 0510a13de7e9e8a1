package procedures

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A Fault is one thing wrong in a document. Line and Column count from 1; 0 means
// the document as a whole.
type Fault struct {
	File         string
	Line, Column int
	Text         string
}

// Error is the fault in the form that editors understand: file:line:column: text.
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
	slices.SortStableFunc(f, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Text, b.Text))
	})
	return slices.Compact(f)
}

// once drops what is said of a step as it is used where the same is said of it as
// it is written. The faults are in order.
func (f Faults) once() Faults {
	at := func(f Fault) Fault { f.Text = ""; return f }
	written := map[Fault][]string{}
	return slices.DeleteFunc(f, func(one Fault) bool {
		said := written[at(one)]
		if strings.Contains(one.Text, " (used by ") && slices.ContainsFunc(said, func(s string) bool { return strings.HasPrefix(one.Text, s) }) {
			return true
		}
		written[at(one)] = append(said, one.Text)
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
