package procedures

import (
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// A Difference is what one key says in an older and in a newer document: the
// lines that only one of them has.
type Difference struct {
	Key     string   `json:"key"` // with the keys above it
	Was, Is []string // the lines; none where the key is not there
}

// StepDifferences are what two steps say otherwise, apart from their names.
func StepDifferences(was, is *steps.Step) []Difference {
	return differences("", stepKeys().write(was), stepKeys().write(is), "step", "was", "origin")
}

// GateDifferences are what two gates say otherwise.
func GateDifferences(was, is *steps.Gate, except ...string) []Difference {
	return differences("", gateKeys().write(was), gateKeys().write(is), except...)
}

// SheetDifferences are what two design sheets say otherwise, apart from their
// gates.
func SheetDifferences(was, is *steps.Sheet) []Difference {
	return differences("", sheetKeys().write(was), sheetKeys().write(is), "revision", "changes", "gates")
}

// differences goes down to what holds no keys.
func differences(key string, was, is *node, except ...string) []Difference {
	if mapped := isMapping(was) || isMapping(is); !mapped || was != nil && is != nil && was.Kind != is.Kind {
		before, after := linesOf(was), linesOf(is)
		if lists.Equal(before, after) {
			return nil
		}
		d := Difference{Key: key, Was: without(before, after), Is: without(after, before)}
		if len(d.Was)+len(d.Is) == 0 { // in another order
			d.Was, d.Is = before, after
		}
		return []Difference{d}
	}
	var all []Difference
	for _, name := range keysIn(was, is) {
		if !lists.Contains(except, name) {
			all = append(all, differences(strings.TrimSpace(key+" "+name), under(was, name), under(is, name))...)
		}
	}
	return all
}

func isMapping(n *node) bool { return n != nil && n.Kind == mappingNode }

// keysIn are the keys of both, in the order of the second.
func keysIn(was, is *node) []string {
	var keys []string
	for _, n := range []*node{is, was} {
		for i := 0; isMapping(n) && i < len(n.Content); i += 2 {
			if key := n.Content[i].Value; !lists.Contains(keys, key) {
				keys = append(keys, key)
			}
		}
	}
	return keys
}

// under is what stands under the key.
func under(n *node, key string) *node {
	if !isMapping(n) {
		return nil
	}
	return (fields{node: n}).get(key)
}

// linesOf are the lines of a text, or the entries of a list.
func linesOf(n *node) []string {
	switch {
	case n == nil:
		return nil
	case n.Kind == textNode:
		return strings.Split(strings.TrimSpace(n.Value), "\n")
	}
	var lines []string
	for i, item := range n.Content {
		line := strings.Join(linesOf(item), map[bool]string{true: ", ", false: " "}[isMapping(item)])
		if n.Kind == mappingNode && i%2 == 1 {
			lines[i/2] += ": " + line
			continue
		}
		lines = append(lines, line)
	}
	if n.Style == flowStyle {
		return []string{strings.Join(lines, ", ")}
	}
	return lines
}

func without(lines, others []string) []string {
	return sorting.Delete(lists.Clone(lines), func(l string) bool { return lists.Contains(others, l) })
}
