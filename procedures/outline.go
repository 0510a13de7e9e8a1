package procedures

import (
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// A Said is what stands under a key, line by line.
type Said struct {
	Key   string
	Lines []string
}

// A Section is a key of a design sheet or a triage table, with the things that
// stand under it.
type Section struct {
	Said
	Things []Thing
}

// A Thing is one of several under a key: a gate, or a row of a triage table,
// which has no name.
type Thing struct {
	Name string
	Says []Said
}

// Outline is all that a design sheet or a triage table says, key by key.
func (d *Document) Outline() []Section {
	var root *node
	switch {
	case d.Sheet != nil:
		root = sheetKeys().write(d.Sheet)
	case d.Triage != nil:
		root = triageKeys().write(d.Triage)
	default:
		return nil
	}
	var all []Section
	for i := 0; i < len(root.Content); i += 2 {
		key, n := root.Content[i].Value, root.Content[i+1]
		s := Section{Said: Said{Key: key}}
		plain := &node{Kind: mappingNode} // what stands beside the things
		for j, below := range n.Content {
			switch {
			case below.Kind != mappingNode:
				if n.Kind == mappingNode && j%2 == 1 {
					plain.Content = append(plain.Content, n.Content[j-1], below)
				}
			case n.Kind == mappingNode:
				s.Things = append(s.Things, Thing{n.Content[j-1].Value, says(below)})
			default:
				s.Things = append(s.Things, Thing{"", says(below)})
			}
		}
		switch {
		case len(s.Things) == 0:
			s.Lines = linesOf(n)
		case len(plain.Content) > 0:
			s.Lines = linesOf(plain)
		}
		all = append(all, s)
	}
	return all
}

// StepSays is all that a step says, key by key, except under some keys.
func StepSays(s *steps.Step, except ...string) []Said {
	return sorting.Delete(says(stepKeys().write(s)), func(s Said) bool { return s.Key == "origin" || lists.Contains(except, s.Key) })
}

func says(n *node) []Said {
	var all []Said
	for i := 0; i < len(n.Content); i += 2 {
		all = append(all, Said{n.Content[i].Value, linesOf(n.Content[i+1])})
	}
	return all
}

// Line is a key with what it says on one line.
//
//go:noinline
func (s Said) Line() string { return s.Key + ": " + strings.Join(s.Lines, "; ") }
