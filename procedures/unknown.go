package procedures

import (
	"fmt"
	"strconv"
	"strings"
)

// unknown finds the names of the document that are not known. Each is said
// once, at the first place, with the lines of the others: most often one name
// was written amiss where it is given. Where says in what they are not known.
func (d *Document) unknown(known map[reference][]string, doubt doubts, where string) Faults {
	sets := map[reference]map[string]bool{}
	for of, names := range known {
		set := make(map[string]bool, len(names))
		for _, n := range names {
			set[n] = true
		}
		sets[of] = set
	}
	own := doubts{}
	if d.Procedure == nil {
		own = d.doubts
	}
	type of struct {
		key        reference
		name, file string // the file is that of a document that it uses
	}
	said := map[of]int{} // where in all
	type found struct {
		at    place
		text  string
		lines []int // of the same again
	}
	var all []found
	for _, r := range d.names {
		if doubt.of(r.to) || own.of(r.to) {
			continue
		}
		key := reference{to: r.to}
		what := string(r.to)
		if r.to == state {
			key.of, what = r.of, "state of "+r.of
		}
		set, ok := sets[key]
		if r.to == state && !ok || set[r.name] {
			continue // of a state, said of the condition
		}
		file := ""
		if r.at.site != nil {
			file = r.at.site.file
		}
		if i, twice := said[of{key, r.name, file}]; twice {
			all[i].lines = append(all[i].lines, r.at.line)
			continue
		}
		said[of{key, r.name, file}] = len(all)
		near := ""
		if len(all) < mostFaults {
			near = suggest(r.name, known[key])
		}
		all = append(all, found{r.at, fmt.Sprintf("unknown %s %q%s", what, r.name, near), nil})
	}
	var faults Faults
	for _, f := range all {
		faults = d.also(faults, f.at, f.text+alsoIn(f.lines)+where)
	}
	return faults
}

// alsoIn says in which further lines it is so.
func alsoIn(lines []int) string {
	const few = 5
	if len(lines) == 0 {
		return ""
	}
	var words []string
	for _, l := range lines[:min(few, len(lines))] {
		words = append(words, strconv.Itoa(l))
	}
	if len(lines) > few {
		return fmt.Sprintf("; so in lines %s and %d more", strings.Join(words, ", "), len(lines)-few)
	}
	if len(lines) == 1 {
		return "; so in line " + words[0]
	}
	return "; so in lines " + strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// hasUnknown reports whether one of the things that the document names is not
// among those known.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func (d *Document) hasUnknown(to thing, known []string) bool {
	set := map[string]bool{}
	for _, n := range known {
		set[n] = true
	}
	for _, r := range d.names {
		if r.to == to && !set[r.name] {
			return true
		}
	}
	return false
}
