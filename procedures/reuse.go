package procedures

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"fettle/steps"
	"fettle/steps/lists"
)

// The most that steps may be repeated and used.
const (
	mostWords   = 12       // values of one each
	deepestEach = 3        // inside each other
	deepestUse  = 4        // documents that use each other
	mostEntries = 5 * 1000 // of steps and runs that are repeated or used
)

// reuse is what a reader knows of runs: steps that are repeated with other
// words, that others use, or that are there with an option. They are written
// out as they are read, so that nobody after the reader knows of them.
type reuse struct {
	sources sources
	within  scope
	said    map[said]bool // of what is read more than once
	// asWritten are the texts into which words were filled.
	asWritten map[*node]string
	unfilled  map[*node]bool // texts with a blank that nothing fills
	steps     *mapping[*steps.Step]
	total     int  // steps read
	entries   int  // read in runs that are repeated or used
	bytes     int  // of these
	full      bool // no more of them are read
}

// said is what was found at a place.
type said struct {
	file         string
	line, column int
	text         string
}

// first reports whether this was never said of the place.
func (r *reader) first(at place, text string) bool {
	key := said{at.site.file, at.line, at.column, text}
	if r.said[key] {
		return false
	}
	if r.said == nil {
		r.said = map[said]bool{}
	}
	r.said[key] = true
	return true
}

// A scope is what holds where a reader is.
type scope struct {
	site    *site
	file    string // where it is written; "": the document itself
	digest  string // of that
	data    []byte // the text of that
	users   []string
	targets []string // what is used, from the document on
	words   []filling
	of      []steps.Word // words that were filled into the step at hand
	step    string       // its name, as written
	shared  bool         // it is written in a document of shared steps
	own     bool         // and that is the document itself: names stand for themselves
	each    int
	where   steps.Where
	makes   []steps.Made
}

// A filling is a word to be filled in for a name.
type filling struct {
	steps.Word
	used *bool
}

// many reports whether what is read here may be read more than once.
func (c scope) many() bool { return c.each > 0 || len(c.targets) > 0 }

// placed is the scope with its site worked out.
func (c scope) placed() scope {
	if !c.many() {
		return c
	}
	var notes []string
	for _, w := range c.words {
		notes = append(notes, w.Name+": "+w.Is)
	}
	s := &site{file: c.file}
	if len(notes) > 0 {
		s.note = " (with " + strings.Join(notes, ", ") + ")"
	}
	if len(c.users) > 0 {
		s.note += " (used by " + strings.Join(c.users, ", used by ") + ")"
	}
	c.site = s
	return c
}

// inside reads something in a scope of its own.
// It is not inlined: its copies in all callers would take 6 KB.
//
//go:noinline
func (r *reader) inside(do func()) {
	outside := r.within
	do()
	r.within = outside
}

// room reports whether more may be written out, and says it once where not.
func (r *reader) room(n *node, have, most int, what string) bool {
	if r.full || !r.within.many() {
		return !r.full
	}
	r.entries++
	switch {
	case have >= most:
		r.tooMuch(n, most, what)
	case r.entries > mostEntries:
		r.tooMuch(n, mostEntries, "entries")
	}
	return !r.full
}

// tooMuch ends the writing out.
func (r *reader) tooMuch(n *node, most int, what string) {
	if !r.full {
		r.full, r.doc.cut = true, true
		r.fault(n, "written out, it has more than %d %s", most, what)
	}
}

// repeated reads something once for each word of its key each, or once.
func (r *reader) repeated(n *node, do func()) {
	each := fields{node: n}.get("each")
	if n.Kind != mappingNode || each == nil {
		do()
		return
	}
	rows := r.rows(each)
	r.inside(func() {
		outside := r.within
		for _, row := range rows {
			if r.full {
				return
			}
			r.within = outside
			r.within.each++
			r.within.words = slices.Concat(outside.words, row)
			r.within = r.within.placed()
			do()
		}
		r.within = outside
		for _, w := range rows[0] {
			if !*w.used && !r.full {
				r.fault(each, "%s is never filled in: write <%s> in a name or a text below, or delete it", w.Name, w.Name)
			}
		}
	})
}

// rows are the words of an each, in parallel; where it is wrong, names that
// stand for themselves, so that what is below can be read.
func (r *reader) rows(n *node) [][]filling {
	before := r.wrong
	var names []string
	var columns []*node
	r.pairs(n, "each", func(k, v *node) {
		name := r.name(k, "each")
		if name == "" {
			return
		}
		if slices.ContainsFunc(r.within.words, func(w filling) bool { return w.Name == name }) {
			r.fault(k, "%s is filled in outside of this: give it another name", name)
		}
		r.list(v, name, func(item *node) {
			if word := r.text(item, "an entry of "+name); strings.ContainsAny(word, "<>\n") {
				r.fault(item, "a word that is filled in has no < and no > in it, and one line")
			}
		})
		if len(v.Content) > mostWords {
			r.fault(v, "%s has %d words; at most %d", name, len(v.Content), mostWords)
		}
		if len(columns) > 0 && v.Kind == listNode && len(v.Content) != len(columns[0].Content) {
			r.fault(v, "%s has %d words and %s has %d: lists beside each other have the same number", name, len(v.Content), names[0], len(columns[0].Content))
		}
		names, columns = append(names, name), append(columns, v)
	})
	if r.wrong == before && len(columns) > 0 {
		r.alike(names, columns)
	}
	switch {
	case r.within.each >= deepestEach:
		r.fault(n, "more than %d each inside each other", deepestEach)
	case len(names) == 0 && r.wrong == before:
		r.fault(n, "each names what is filled in: {side: [left, right]}")
	}
	row := func(word func(i int) string) []filling {
		var row []filling
		for i, name := range names {
			row = append(row, filling{steps.Word{Name: name, Is: word(i)}, new(bool)})
		}
		return row
	}
	if r.wrong > before || len(columns) == 0 {
		row := row(func(i int) string { return names[i] })
		for _, w := range row {
			*w.used = true
		}
		return [][]filling{row}
	}
	var rows [][]filling
	for at := range columns[0].Content {
		rows = append(rows, row(func(i int) string { return columns[i].Content[at].Value }))
		for i := range rows[at] {
			rows[at][i].used = rows[0][i].used
		}
	}
	return rows
}

// alike finds words that are the same as before, in all lists: what they repeat would
// come twice.
func (r *reader) alike(names []string, lists []*node) {
	var met set
	for at := range lists[0].Content {
		var row []string
		for _, l := range lists {
			row = append(row, l.Content[at].Value)
		}
		if !met.add(strings.Join(row, "\n")) {
			r.fault(lists[0].Content[at], "%s stands twice in %s: each comes once for each", strings.Join(row, " and "), strings.Join(names, " and "))
		}
	}
}

// blanks are names to be filled in.
var blanks = pattern(`<[A-Za-z][a-z0-9]*(?:-[a-z0-9]+)*>`)

// fill gives the node with the words of the scope in it; what is below one of
// the keys is left as it is.
func (r *reader) fill(n *node, except ...string) *node {
	c := &r.within
	if !c.many() && !c.own {
		return n
	}
	if r.bytes += len(n.Value) + 16; r.bytes > mostBytes { // 16 for what a node takes beside its text
		r.tooMuch(n, mostBytes, "bytes")
	}
	if r.full || n.Kind == textNode && !strings.Contains(n.Value, "<") {
		return n
	}
	out := *n
	if n.Kind == textNode {
		if len(c.words) > 0 || c.shared {
			wrong := r.wrong
			out.Value = blanks().ReplaceAllStringFunc(n.Value, func(b string) string { return r.filledIn(n, b) })
			if r.wrong > wrong { // whatever is meant, it is another thing with other words
				if r.unfilled == nil {
					r.unfilled = map[*node]bool{}
				}
				r.unfilled[&out] = true
				d := &r.doc.doubts
				d.stages, d.steps, d.makes, d.order = true, true, true, true
			}
			if n.Comment != nil {
				if r.asWritten == nil {
					r.asWritten = map[*node]string{}
				}
				r.asWritten[&out] = n.Value
			}
		}
		return &out
	}
	out.Content = make([]*node, len(n.Content))
	for i, below := range n.Content {
		if n.Kind == mappingNode && i%2 == 1 && lists.Contains(except, n.Content[i-1].Value) {
			out.Content[i] = below
			continue
		}
		out.Content[i] = r.fill(below)
	}
	return &out
}

// filledIn is what stands for a blank.
func (r *reader) filledIn(n *node, blank string) string {
	c := &r.within
	written := blank[1 : len(blank)-1]
	name := strings.ToLower(written[:1]) + written[1:]
	i := slices.IndexFunc(c.words, func(w filling) bool { return w.Name == name })
	if i < 0 {
		if !c.own {
			var known []string
			for _, w := range c.words {
				known = append(known, w.Name)
			}
			says := suggest(name, known)
			if says == "" {
				says = fmt.Sprintf("; write each: {%s: […]} around it", name)
				if len(c.targets) > 0 {
					says = fmt.Sprintf("; write each: {%s: […]} with the use", name)
				}
			}
			r.fault(n, "nothing is filled in for %s%s", blank, says)
			for _, w := range c.words {
				if isName(name + "-" + w.Is) {
					name += "-" + w.Is // so that it is not the same each time
				}
			}
			return name
		}
		return blank
	}
	w := c.words[i]
	*w.used = true
	if !lists.Contains(c.of, w.Word) {
		c.of = append(slices.Clip(c.of), w.Word)
	}
	if written != name {
		_, size := utf8.DecodeRuneInString(w.Is)
		return strings.ToUpper(w.Is[:size]) + w.Is[size:]
	}
	return w.Is
}

// eachValue is the words of something repeated, which were read before it.
type eachValue[P any] struct{}

func (*eachValue[P]) read(*reader, *node, string, P) {}
func (*eachValue[P]) write(P) *node                  { return nil }
func (*eachValue[P]) typ() *typ                      { return &typ{is: wordLists} }

// governValue is the options that govern all that is below.
type governValue[P any] struct{ not bool }

func (v *governValue[P]) read(r *reader, n *node, what string, _ P) {
	var w steps.Where
	(&whereValue{v.not}).read(r, n, what, &w)
	r.within.where = r.within.where.And(w)
}
func (*governValue[P]) write(P) *node { return nil }
func (*governValue[P]) typ() *typ     { return &typ{is: oneName, to: option} }

// whereValue is one option, or a list of them.
type whereValue struct{ not bool }

func (v *whereValue) read(r *reader, n *node, what string, to *steps.Where) {
	names := r.names(n, what, func(item *node, name string) { r.refer(option, item, name, "") })
	switch {
	case len(names) == 0:
	case v.not:
		to.Without = names
	default:
		to.With = [][]string{names}
	}
}

func (v *whereValue) write(from *steps.Where) *node {
	names := from.Without
	if !v.not {
		names = slices.Concat(from.With...)
	}
	if len(names) == 1 {
		return scalar(names[0])
	}
	return flow(names)
}

func (*whereValue) typ() *typ { return &typ{is: oneName, to: option} }
