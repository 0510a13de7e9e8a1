package procedures

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
)

// A source is a document whose steps another one uses.
type source struct {
	file, digest string
	data         []byte
	root         *node
	faults       Faults // why it can't be used
}

// A sources finds the documents that others use, by name; nil where there is
// none, with the names that there are.
type sources func(name string) (*source, []string)

// useValue is what is used: a stage or a step of another procedure, or several.
type useValue struct{}

func (*useValue) read(r *reader, n *node, what string, to *[]steps.Step) {
	if n.Kind == textNode {
		r.use(n, what, to)
		return
	}
	r.list(n, what, func(item *node) { r.use(item, "an entry of "+what, to) })
}

func (*useValue) write(*[]steps.Step) *node { return nil }

func (*useValue) typ() *typ { return &typ{is: used} }

// use reads the stage or the step that is named.
func (r *reader) use(n *node, what string, to *[]steps.Step) {
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
func (s *source) find(name string) (stage, step *node, wrong string) {
	named := func(n *node, key string) string {
		if n.Kind == mappingNode {
			if v := (fields{node: n}).get(key); v != nil && v.Kind == textNode {
				return v.Value
			}
		}
		return ""
	}
	listed := func(n *node, key string) []*node {
		if n.Kind == mappingNode {
			if v := (fields{node: n}).get(key); v != nil && v.Kind == listNode {
				return v.Content
			}
		}
		return nil
	}
	known := map[string]bool{}
	inRun := false
	var walk func(n *node, run bool)
	walk = func(n *node, run bool) {
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
		walk(item, item.Kind == mappingNode && (f.has("each") || f.has("with") || f.has("without")))
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
func asRun(stage *node) *node {
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

func (v *originValue) read(r *reader, n *node, what string, to *steps.Origin) {
	r.doc.origins = append(r.doc.origins, r.at(n))
	v.mapping.read(r, n, what, to)
}

func originKeys() *mapping[*steps.Origin] {
	o, w := new(steps.Origin), new(steps.Word)
	return &mapping[*steps.Origin]{what: "origin", check: originChecked, keys: []key{
		{"document", ours, field(o, &o.Document, &textValue{}), "digest of the file", ""},
		{"step", ours, field(o, &o.Step, &textValue{}), "its name there, as written", ""},
		{"words", ours, field(o, &o.Words, &named[steps.Word]{
			one: "the word", is: field(w, &w.Is, &textValue{})}), "filled in", ""},
	}}
}

func originChecked(f fields, o *steps.Origin) {
	if o.Document == "" || o.Step == "" {
		f.fault(f.node, "origin names a document and a step")
	}
}
