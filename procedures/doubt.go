package procedures

import (
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// Doubts are what could not be read of a document. Nothing is said of it that
// may only follow from that.
type doubts struct {
	names  map[thing]bool      // of a sheet or a table: some that it has may be missing
	stages bool                // names of stages may be missing
	order  bool                // stages may come after others than are known
	steps  bool                // steps may be missing
	makes  bool                // what makes a zone may be missing
	kinds  map[steps.Kind]bool // steps of the kind may be missing
}

// of reports whether a thing of that name may have been meant to be there.
func (d doubts) of(t thing) bool { return d.names[t] }

// lost reports whether there may be more steps of the kind.
func (d doubts) lost(kind steps.Kind) bool { return d.steps || d.kinds[kind] }

// lostAny reports whether there may be more steps of a kind that does it.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (d doubts) lostAny(does deed) bool {
	for _, k := range steps.Kinds() {
		if does.of(k) && d.lost(k.Kind) {
			return true
		}
	}
	return false
}

func (d *doubts) name(t thing) {
	if d.names == nil {
		d.names = map[thing]bool{}
	}
	d.names[t] = true
}

func (d *doubts) kind(k steps.Kind) {
	if d.kinds == nil {
		d.kinds = map[steps.Kind]bool{}
	}
	d.kinds[k] = true
}

// thingsUnder are what the keys of a sheet and of a table give names to.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func thingsUnder(key string) (thing, bool) {
	t, ok := map[string]thing{"zones": zone, "options": option, "conditions": condition, "adhesives": adhesive, "tools": tool,
		"gauges": gauge, "gates": gate, "equipment": equipment, "findings": finding}[key]
	return t, ok
}

// settle says that the faults up to here leave nothing in doubt.
func (r *reader) settle() { r.settled = r.wrong }

// doubt notes what is in doubt where a key of the mapping could not be read;
// "" stands for the keys that are unknown.
func (r *reader) doubt(n *node, key string) {
	d := &r.doc.doubts
	if r.doc.Procedure == nil {
		if t, ok := thingsUnder(key); ok && len(r.path) == 0 {
			d.name(t)
			if t == option {
				d.name(chosen)
			}
		}
		if len(r.path) == 1 && r.path[0] == "conditions" && key == "states" {
			d.name(state)
		}
		return
	}
	d.makes = d.makes || key == "makes" || key == "" && !hasKey(n, "makes")
	path := r.path
	for len(path) > 2 && (path[2] == "steps" || path[2] == "use") { // in a run
		path = lists.Concat(path[:2], path[3:])
	}
	switch {
	case len(path) == 0:
		if key == "stages" || key == "" && !hasKey(n, "stages") {
			d.stages, d.order, d.steps = true, true, true
		}
	case path[0] != "stages":
	case len(path) == 1:
		d.stages = d.stages || key == "stage"
		d.order = d.order || key == "stage" || key == "after" || key == ""
		d.steps = d.steps || isOfRun(key) || key == "" && !hasKey(n, "steps") && !hasKey(n, "use")
	case len(path) == 2 && isRun(n):
		d.steps = true
	case len(path) == 2:
		r.doubtStep(n, key)
	default:
		d.kind(steps.Kind(path[2]))
	}
}

// isOfRun reports whether a key says which steps a stage has, and when.
func isOfRun(key string) bool {
	return lists.Contains([]string{"steps", "use", "each", "with", "without"}, key)
}

// doubtStep notes what a key of a step leaves in doubt.
func (r *reader) doubtStep(n *node, key string) {
	kinds := keysOf(stepKinds())
	if lists.Contains(kinds, key) {
		r.doc.doubts.kind(steps.Kind(key))
		return
	}
	if key != "step" && key != "with" && key != "without" && key != "" {
		return
	}
	found := hasKey(n, "do")
	for _, k := range kinds {
		if hasKey(n, k) {
			found = true
			if key != "" {
				r.doc.doubts.kind(steps.Kind(k))
			}
		}
	}
	if !found {
		r.doc.doubts.steps = true
	}
}

// faultsWith are the faults of the reader, but for those on lines that were
// read otherwise than they stand there.
func (r *reader) faultsWith(slips Faults) Faults {
	if len(slips) == 0 {
		return r.faults
	}
	lines := map[int]bool{}
	for _, s := range slips {
		lines[s.Line] = true
	}
	return append(slips, sorting.Delete(r.faults, func(f Fault) bool { return f.File == r.doc.File && lines[f.Line] })...)
}

// most is how many entries a list or a mapping by names may have.
func most(what string) int {
	switch what {
	case "zones", "findings", "pairs":
		return 200
	case "gates":
		return 500
	case "rows":
		return 1000
	case "steps":
		return mostSteps
	case "stages":
		return mostStages
	}
	return 100
}

// some are the entries that are looked at, of mappings in twos.
func (r *reader) some(n *node, what string) []*node {
	size := 1
	if n.Kind == mappingNode {
		size = 2
	}
	if have := len(n.Content) / size; !r.kept && have > most(what) {
		r.fault(n, "%s has %d entries; the limit is %d", what, have, most(what))
		r.doc.cut = true
		return n.Content[:size*most(what)]
	}
	return n.Content
}

// prose holds that a text for people is not cut short by a #.
func (r *reader) prose(n *node, what string) {
	if r.kept || n.Kind != textNode || n.Style != 0 || n.Comment == nil {
		return
	}
	lines, ok := r.lines[r.within.file]
	if !ok {
		if r.lines == nil {
			r.lines = map[string][]string{}
		}
		lines = strings.Split(string(r.within.data), "\n")
		r.lines[r.within.file] = lines
	}
	value := n.Value
	if as, ok := r.asWritten[n]; ok {
		value = as
	}
	comment, _, _ := strings.Cut(*n.Comment, "\n")
	// A text over several lines ends where the next line is not its own.
	first, column := int(n.Line)-1, int(n.Column)-1
	for i := first; i < len(lines) && i <= first+200; i++ {
		line := strings.TrimRight(lines[i], "\r")
		from := 0
		if i == first {
			from = len(string([]rune(line)[:min(column, len([]rune(line)))]))
		}
		at := strings.Index(line[from:], comment)
		if at < 0 {
			continue
		}
		before := line[from : from+at]
		text := strings.TrimSpace(before)
		if i > first && !strings.HasSuffix(value, text) || i == first && text != strings.TrimSpace(value) {
			return // behind something else
		}
		write := ""
		if whole := strings.TrimRight(line[from:], " "); i == first && len(whole) <= 160 {
			write = "; write: " + strings.TrimLeft(line[:from], " ") + quoted(whole)
		}
		column := len([]rune(line[:from+len(strings.TrimRight(before, " \t"))])) + 2
		r.faultAt(place{i + 1, column, r.within.site}, hashSays(what)+write)
		return
	}
}
