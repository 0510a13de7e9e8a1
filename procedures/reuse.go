package procedures

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

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

// A source is a document whose steps another one uses.
type source struct {
	file, digest string
	data         []byte
	root         *yaml.Node
	faults       Faults // why it can't be used
}

// A sources finds the documents that others use, by name; nil where there is
// none, with the names that there are.
type sources func(name string) (*source, []string)

// reuse is what a reader knows of runs: steps that are repeated with other
// words, that others use, or that are there with an option. They are written
// out as they are read, so that nobody after the reader knows of them.
type reuse struct {
	sources sources
	within  scope
	said    map[said]bool // of what is read more than once
	// asWritten are the texts into which words were filled.
	asWritten map[*yaml.Node]string
	unfilled  map[*yaml.Node]bool // texts with a blank that nothing fills
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
func (r *reader) room(n *yaml.Node, have, most int, what string) bool {
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
func (r *reader) tooMuch(n *yaml.Node, most int, what string) {
	if !r.full {
		r.full, r.doc.cut = true, true
		r.fault(n, "written out, it has more than %d %s", most, what)
	}
}

// repeated reads something once for each word of its key each, or once.
func (r *reader) repeated(n *yaml.Node, do func()) {
	each := fields{node: n}.get("each")
	if n.Kind != yaml.MappingNode || each == nil {
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
func (r *reader) rows(n *yaml.Node) [][]filling {
	before := r.wrong
	var names []string
	var columns []*yaml.Node
	r.pairs(n, "each", func(k, v *yaml.Node) {
		name := r.name(k, "each")
		if name == "" {
			return
		}
		if slices.ContainsFunc(r.within.words, func(w filling) bool { return w.Name == name }) {
			r.fault(k, "%s is filled in outside of this: give it another name", name)
		}
		r.list(v, name, func(item *yaml.Node) {
			if word := r.text(item, "an entry of "+name); strings.ContainsAny(word, "<>\n") {
				r.fault(item, "a word that is filled in has no < and no > in it, and one line")
			}
		})
		if len(v.Content) > mostWords {
			r.fault(v, "%s has %d words; at most %d", name, len(v.Content), mostWords)
		}
		if len(columns) > 0 && v.Kind == yaml.SequenceNode && len(v.Content) != len(columns[0].Content) {
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
func (r *reader) alike(names []string, lists []*yaml.Node) {
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
var blanks = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`<[A-Za-z][a-z0-9]*(?:-[a-z0-9]+)*>`) })

// fill gives the node with the words of the scope in it; what is below one of
// the keys is left as it is.
func (r *reader) fill(n *yaml.Node, except ...string) *yaml.Node {
	c := &r.within
	if !c.many() && !c.own {
		return n
	}
	if r.bytes += len(n.Value) + 16; r.bytes > mostBytes { // 16 for what a node takes beside its text
		r.tooMuch(n, mostBytes, "bytes")
	}
	if r.full || n.Kind == yaml.ScalarNode && !strings.Contains(n.Value, "<") {
		return n
	}
	out := *n
	if n.Kind == yaml.ScalarNode {
		if len(c.words) > 0 || c.shared {
			wrong := r.wrong
			out.Value = blanks().ReplaceAllStringFunc(n.Value, func(b string) string { return r.filledIn(n, b) })
			if r.wrong > wrong { // whatever is meant, it is another thing with other words
				if r.unfilled == nil {
					r.unfilled = map[*yaml.Node]bool{}
				}
				r.unfilled[&out] = true
				d := &r.doc.doubts
				d.stages, d.steps, d.makes, d.order = true, true, true, true
			}
			if n.LineComment != "" {
				if r.asWritten == nil {
					r.asWritten = map[*yaml.Node]string{}
				}
				r.asWritten[&out] = n.Value
			}
		}
		return &out
	}
	out.Content = make([]*yaml.Node, len(n.Content))
	for i, below := range n.Content {
		if n.Kind == yaml.MappingNode && i%2 == 1 && lists.Contains(except, n.Content[i-1].Value) {
			out.Content[i] = below
			continue
		}
		out.Content[i] = r.fill(below)
	}
	return &out
}

// filledIn is what stands for a blank.
func (r *reader) filledIn(n *yaml.Node, blank string) string {
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

// stagesValue is the stages of a procedure, each of which may be repeated.
type stagesValue struct{}

func (stagesValue) read(r *reader, n *yaml.Node, what string, to *[]steps.Stage) {
	table := stageKeys()
	r.list(n, what, func(item *yaml.Node) {
		r.repeated(item, func() {
			r.inside(func() {
				if !r.room(item, len(*to), mostStages, "stages") {
					return
				}
				filled := r.fill(item, "each", "steps", "use")
				if r.full {
					return
				}
				var s steps.Stage
				table.read(r, filled, table.what, &s)
				if s.Name != "" {
					*to = append(*to, s)
				}
			})
		})
	})
}

func (stagesValue) write(from *[]steps.Stage) *yaml.Node {
	return list[steps.Stage]{is: stageKeys()}.write(from)
}

func (stagesValue) typ() *typ { return &typ{is: aList, of: []*typ{stageKeys().typ()}} }

// stepsValue is steps, and runs of steps between them.
type stepsValue struct{}

func (stepsValue) read(r *reader, n *yaml.Node, what string, to *[]steps.Step) {
	if n.Kind == yaml.SequenceNode {
		*to = slices.Grow(*to, min(len(n.Content), mostSteps))
	}
	r.list(n, what, func(item *yaml.Node) {
		if isRun(item) {
			r.run(item, to)
		} else {
			r.step(item, to)
		}
	})
}

// isRun reports whether an entry of steps is a run.
func isRun(n *yaml.Node) bool {
	f := fields{node: n}
	return n.Kind == yaml.MappingNode && !hasKey(n, "step") && (f.has("steps") || f.has("use") || f.has("each"))
}

// run reads a run: steps in it, or used by it.
func (r *reader) run(n *yaml.Node, to *[]steps.Step) {
	r.repeated(n, func() {
		r.inside(func() {
			if !r.room(n, r.total, mostSteps, "steps") {
				return
			}
			if filled := r.fill(n, "each", "steps", "use"); !r.full {
				runKeys().read(r, filled, "a run", to)
			}
		})
	})
}

// step reads one step.
func (r *reader) step(n *yaml.Node, to *[]steps.Step) {
	if r.steps == nil {
		r.steps = stepKeys()
	}
	r.inside(func() {
		if !r.room(n, r.total, mostSteps, "steps") {
			return
		}
		r.within.of = nil
		if name := (fields{node: n}).get("step"); name != nil && n.Kind == yaml.MappingNode {
			r.within.step = name.Value
		}
		filled := r.fill(n, "origin")
		if r.full && r.within.many() {
			return
		}
		*to = append(*to, steps.Step{})
		last := &(*to)[len(*to)-1] // in its place: a step is large
		if r.steps.read(r, filled, r.steps.what, last); last.Name == "" {
			*to = (*to)[:len(*to)-1]
			return
		}
		r.total++
	})
}

// The write of steps gives each by itself; one that several lists of options govern
// stands in a run for each but one.
func (stepsValue) write(from *[]steps.Step) *yaml.Node {
	table := stepKeys()
	n := &yaml.Node{Kind: yaml.SequenceNode}
	for i := range *from {
		s := (*from)[i]
		var with [][]string
		if len(s.With) > 1 {
			with, s.With = s.With[:len(s.With)-1], s.With[len(s.With)-1:]
		}
		item := table.write(&s)
		for _, any := range slices.Backward(with) {
			item = &yaml.Node{Kind: yaml.MappingNode, Content: []*yaml.Node{
				scalar("with"), flow(any), scalar("steps"), {Kind: yaml.SequenceNode, Content: []*yaml.Node{item}},
			}}
		}
		n.Content = append(n.Content, item)
	}
	return unlessEmpty(n)
}

func (stepsValue) typ() *typ { return &typ{is: aList, of: []*typ{stepKeys().typ(), runKeys().typ()}} }

// runKeys are the keys of a run.
func runKeys() *mapping[*[]steps.Step] {
	type s = []steps.Step
	return &mapping[*s]{what: "a run", one: true, keys: append(whereKeys[*s]("{side: [left, right]}", "# [wing]"), []key[*s]{
		{"steps", choice, nestedValue{}, "steps and runs, in this order", "- step: mark-<side>-root\n  do: Mark the middle of the <side> root."},
		{"use", choice, useValue{}, "steps that are written elsewhere", "use: safe/air-the-bench"},
	}...)}
}

// whereKeys are the keys that repeat and govern a run or a stage.
func whereKeys[P any](each, makes string) []key[P] {
	return []key[P]{
		{"each", optional, eachValue[P]{}, "it comes once for each of the words, which stand for `<side>` in its names and texts; `<Side>` begins with a capital", each},
		{"with", optional, governValue[P]{}, "only on an airframe with any of these options", "# rudder"},
		{"without", optional, governValue[P]{not: true}, "only on an airframe with none of these options", "# rudder"},
		{"makes", optional, makesValue[P]{}, "of a build: the zones that it makes, so that doing it again is part of making them anew; where one rests on others, with these: `{tail: [left-boom, right-boom]}`. Of runs inside each other the innermost counts", makes},
	}
}

// nestedValue is the steps of a run.
type nestedValue struct{ stepsValue }

func (nestedValue) typ() *typ { return &typ{is: entries} }

// eachValue is the words of something repeated, which were read before it.
type eachValue[P any] struct{}

func (eachValue[P]) read(*reader, *yaml.Node, string, P) {}
func (eachValue[P]) write(P) *yaml.Node                  { return nil }
func (eachValue[P]) typ() *typ                           { return &typ{is: wordLists} }

// governValue is the options that govern all that is below.
type governValue[P any] struct{ not bool }

func (v governValue[P]) read(r *reader, n *yaml.Node, what string, _ P) {
	var w steps.Where
	whereValue(v).read(r, n, what, &w)
	r.within.where = r.within.where.And(w)
}
func (governValue[P]) write(P) *yaml.Node { return nil }
func (governValue[P]) typ() *typ          { return &typ{is: oneName, to: option} }

// whereValue is one option, or a list of them.
type whereValue struct{ not bool }

func (v whereValue) read(r *reader, n *yaml.Node, what string, to *steps.Where) {
	names := r.names(n, what, func(item *yaml.Node, name string) { r.refer(option, item, name, "") })
	switch {
	case len(names) == 0:
	case v.not:
		to.Without = names
	default:
		to.With = [][]string{names}
	}
}

func (v whereValue) write(from *steps.Where) *yaml.Node {
	names := from.Without
	if !v.not {
		names = slices.Concat(from.With...)
	}
	if len(names) == 1 {
		return scalar(names[0])
	}
	return flow(names)
}

func (whereValue) typ() *typ { return &typ{is: oneName, to: option} }

// useValue is what is used: a stage or a step of another procedure, or several.
type useValue struct{}

func (useValue) read(r *reader, n *yaml.Node, what string, to *[]steps.Step) {
	if n.Kind == yaml.ScalarNode {
		r.use(n, what, to)
		return
	}
	r.list(n, what, func(item *yaml.Node) { r.use(item, "an entry of "+what, to) })
}

func (useValue) write(*[]steps.Step) *yaml.Node { return nil }

func (useValue) typ() *typ { return &typ{is: used} }

// use reads the stage or the step that is named.
func (r *reader) use(n *yaml.Node, what string, to *[]steps.Step) {
	written := r.text(n, what)
	if written == "" {
		return
	}
	// A name with blanks is that of the step as it is written, or else what it is
	// when they are filled in.
	target := written
	if blanks().MatchString(written) {
		target = r.fill(n).Value
	}
	document, name, ok := strings.Cut(target, "/")
	if !ok || !isName(document) || name == "" {
		r.fault(n, "%s names a procedure and a stage or a step of it, like safe/make-safe, not %q", what, target)
		return
	}
	if lists.Contains(r.within.targets, target) {
		r.fault(n, "a cycle: %s", strings.Join(append(r.within.targets, target), " uses "))
		return
	}
	if len(r.within.targets) >= deepestUse {
		r.fault(n, "more than %d uses inside each other", deepestUse)
		return
	}
	if r.sources == nil {
		r.fault(n, "%s is not at hand", document)
		return
	}
	from, known := r.sources(document)
	switch {
	case from == nil:
		r.fault(n, "unknown procedure %q%s", document, suggest(document, known))
		return
	case len(from.faults) > 0:
		r.fault(n, "%s has a fault: %v", document, from.faults[0])
		return
	}
	stage, step, wrong := from.find(name)
	if _, blanks, ok := strings.Cut(written, "/"); ok && wrong != "" && blanks != name {
		if asWritten, s, not := from.find(blanks); not == "" {
			stage, step, wrong = asWritten, s, ""
		}
	}
	if wrong != "" {
		r.fault(n, "%s %s", document, wrong)
		return
	}
	r.doc.used = append(r.doc.used, document)
	before := len(*to)
	r.inside(func() {
		at := r.at(n)
		c := &r.within
		c.users = append([]string{fmt.Sprintf("%s:%d:%d", cmp.Or(c.file, r.doc.File), at.line, at.column)}, c.users...)
		c.targets = append(slices.Clip(c.targets), target)
		c.file, c.digest, c.data, c.own = from.file, from.digest, from.data, false
		if c.shared = from.shared(); !c.shared {
			c.words = nil // it is written to stand by itself
		}
		*c = c.placed()
		if step != nil {
			r.step(step, to)
		} else {
			r.run(stage, to)
		}
	})
	if i := slices.IndexFunc((*to)[before:], func(s steps.Step) bool { return s.Kind.Traits().Releases }); i >= 0 {
		r.fault(n, "%s holds a release, which only the build itself can give", target)
		*to = (*to)[:before]
	}
}

// shared reports whether it is a document of shared steps.
func (s *source) shared() bool {
	kind := fields{node: s.root}.get("kind")
	return kind != nil && kind.Value == steps.Shared
}

// find finds a stage, which is then a run, or a step.
func (s *source) find(name string) (stage, step *yaml.Node, wrong string) {
	named := func(n *yaml.Node, key string) string {
		if n.Kind == yaml.MappingNode {
			if v := (fields{node: n}).get(key); v != nil && v.Kind == yaml.ScalarNode {
				return v.Value
			}
		}
		return ""
	}
	listed := func(n *yaml.Node, key string) []*yaml.Node {
		if n.Kind == yaml.MappingNode {
			if v := (fields{node: n}).get(key); v != nil && v.Kind == yaml.SequenceNode {
				return v.Content
			}
		}
		return nil
	}
	known := map[string]bool{}
	inRun := false
	var walk func(n *yaml.Node, run bool)
	walk = func(n *yaml.Node, run bool) {
		for _, item := range listed(n, "steps") {
			is := named(item, "step")
			known[is] = true
			switch {
			case is == "":
				walk(item, true)
			case is == name && run:
				inRun = true
			case is == name:
				step = item
			}
		}
	}
	for _, item := range listed(s.root, "stages") {
		is := named(item, "stage")
		known[is] = true
		if is == name {
			stage = asRun(item)
		}
		f := fields{node: item}
		walk(item, item.Kind == yaml.MappingNode && (f.has("each") || f.has("with") || f.has("without")))
	}
	switch {
	case stage != nil && step != nil:
		return nil, nil, fmt.Sprintf("has a stage and a step called %s: rename one of them", name)
	case stage == nil && step == nil && inRun:
		return nil, nil, fmt.Sprintf("has the step %s in a run, which is repeated or governed: use its stage", name)
	case stage == nil && step == nil:
		delete(known, "")
		return nil, nil, fmt.Sprintf("has no stage and no step %q%s", name, suggest(name, slices.Sorted(maps.Keys(known))))
	}
	return stage, step, ""
}

// asRun is a stage without what does not come with it.
func asRun(stage *yaml.Node) *yaml.Node {
	run := *stage
	run.Content = nil
	for i := 0; i+1 < len(stage.Content); i += 2 {
		if lists.Contains([]string{"each", "with", "without", "makes", "steps", "use"}, stage.Content[i].Value) {
			run.Content = append(run.Content, stage.Content[i], stage.Content[i+1])
		}
	}
	return &run
}

// originValue is the identity of a step, which the program writes.
type originValue struct{ *mapping[*steps.Origin] }

func (v originValue) read(r *reader, n *yaml.Node, what string, to *steps.Origin) {
	r.doc.origins = append(r.doc.origins, r.at(n))
	v.mapping.read(r, n, what, to)
}

func originKeys() *mapping[*steps.Origin] {
	type o = steps.Origin
	return &mapping[*o]{what: "origin", check: originChecked, keys: []key[*o]{
		{"document", ours, field(func(o *o) *string { return &o.Document }, textValue{}), "digest of the file", ""},
		{"step", ours, field(func(o *o) *string { return &o.Step }, textValue{}), "its name there, as written", ""},
		{"words", ours, field(func(o *o) *[]steps.Word { return &o.Words }, named[steps.Word]{
			one: "the word", name: func(w *steps.Word) *string { return &w.Name },
			is: field(func(w *steps.Word) *string { return &w.Is }, textValue{})}), "filled in", ""},
	}}
}

func originChecked(f fields, o *steps.Origin) {
	if o.Document == "" || o.Step == "" {
		f.fault(f.node, "origin names a document and a step")
	}
}
