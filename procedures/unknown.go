package procedures

import (
	"fmt"
	"strconv"
	"strings"
)

// unknown finds the names of the document that are not known. Each is said
// once, at the first place, with the lines of the others: most often one name
// was written amiss where it is given.
func (d *Document) unknown(known map[reference][]string, doubt doubts) Faults {
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
		key  reference
		name string
	}
	said := map[of]int{} // where in faults
	var faults Faults
	var more []([]int)
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
		if i, twice := said[of{key, r.name}]; twice {
			more[i] = append(more[i], r.at.line)
			continue
		}
		said[of{key, r.name}] = len(faults)
		near := ""
		if len(faults) < mostFaults {
			near = suggest(r.name, known[key])
		}
		faults = append(faults, d.fault(r.at, fmt.Sprintf("unknown %s %q%s", what, r.name, near)))
		more = append(more, nil)
	}
	for i := range faults {
		faults[i].Text += alsoIn(more[i])
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
