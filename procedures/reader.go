package procedures

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"fettle/steps/nearest"
)

// The longest text and the longest name, in bytes.
const (
	longestText = 10_000
	longestName = 60
)

// A reader decodes the nodes of one document and collects the faults.
type reader struct {
	doc     *Document
	kept    bool // it is kept with a job, and only has to be readable
	faults  Faults
	wrong   int                 // faults, with those that are said of the first time only
	settled int                 // how many of these leave nothing in doubt, or were looked at
	path    []string            // the keys that are being read
	lines   map[string][]string // of the texts, by file, once they are wanted
	reuse
}

func (r *reader) at(n *node) place { return place{int(n.Line), int(n.Column), r.within.site} }

func (r *reader) fault(n *node, format string, args ...any) {
	r.faultAt(r.at(n), fmt.Sprintf(format, args...))
}

// faultAt reports a fault. What is wrong with a step that is repeated is said
// of the first time.
func (r *reader) faultAt(at place, text string) {
	r.wrong++
	f := r.doc.fault(at, text)
	if at.site != nil && !r.first(at, text) {
		return
	}
	r.faults = append(r.faults, f)
}

// stricter is a fault of a new document. One that is kept with a job was accepted
// before that was asked, and is still read.
func (r *reader) stricter(n *node, format string, args ...any) {
	if !r.kept {
		r.fault(n, format, args...)
	}
}

// refer notes a name that a design sheet, or the library, must have.
func (r *reader) refer(to thing, n *node, name, of string) {
	if name == "" || to.within() || r.unfilled[n] {
		return
	}
	at := r.at(n)
	if at.site != nil && !r.first(at, strings.Join([]string{string(to), name, of}, " ")) {
		return
	}
	r.doc.names = append(r.doc.names, reference{to, name, of, at})
}

// pairs goes through a mapping whose keys are names.
func (r *reader) pairs(n *node, what string, each func(k, v *node)) {
	if n.Kind != mappingNode {
		r.fault(n, "%s must be a mapping (keys with values), not %s", what, shape(n))
		return
	}
	var met set
	content := r.some(n, what)
	for i := 0; i+1 < len(content); i += 2 {
		k, v := content[i], content[i+1]
		switch {
		case k.Kind != textNode:
			r.fault(k, "a key must be a word, not %s", shape(k))
		case !met.add(k.Value):
			r.fault(k, "%q is duplicated in %s%s", k.Value, what, firstOf(content, k))
		default:
			each(k, v)
		}
	}
}

// firstOf says in which line a name stands that is duplicated.
func firstOf(of []*node, again *node) string {
	i := slices.IndexFunc(of, func(n *node) bool { return n.Value == again.Value })
	if of[i].Line == again.Line {
		return ""
	}
	return fmt.Sprintf("; the first is in line %d", of[i].Line)
}

// A set tells which names came before. Most lists are short and need no map; a long
// one must not take quadratic time.
type set struct {
	few  []string
	many map[string]bool
}

// add reports whether the name is new.
func (s *set) add(name string) bool {
	const few = 16
	if s.many[name] {
		return false
	}
	if len(s.few) < few {
		for _, f := range s.few {
			if f == name {
				return false
			}
		}
		s.few = append(s.few, name)
		return true
	}
	if s.many == nil {
		s.many = map[string]bool{}
		for _, f := range s.few {
			s.many[f] = true
		}
		return s.add(name)
	}
	s.many[name] = true
	return true
}

// Inlined, it would stand in the program a hundred times.
//
//go:noinline
func null(n *node) bool { return n.Kind == textNode && n.Tag == nullTag }

//go:noinline
func shape(n *node) string {
	switch n.Kind {
	case mappingNode:
		return "a mapping"
	case listNode:
		return "a list"
	}
	if null(n) {
		return "nothing"
	}
	return "text"
}

func suggest(name string, known []string) string {
	if near := nearest.Of(name, known); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	if len(known) == 0 || len(known) > 12 {
		return ""
	}
	return "; known: " + strings.Join(known, ", ")
}

// text reads one text.
func (r *reader) text(n *node, what string) string {
	switch {
	case n.Kind != textNode || null(n):
		r.fault(n, "%s must be text, not %s%s", what, shape(n), textHint(n))
	case strings.TrimSpace(n.Value) == "":
		r.fault(n, "%s is empty", what)
	case len(n.Value) > longestText:
		r.fault(n, "%s is longer than %d bytes", what, longestText)
	case holdsUnsafe(n.Value):
		r.fault(n, "%s contains a control character", what)
	default:
		return n.Value
	}
	return ""
}

// holdsUnsafe reports whether a text contains unsafe characters, which YAML escapes
// can write.
func holdsUnsafe(s string) bool {
	for i := 0; i < len(s); i++ {
		c := s[i]
		if c < ' ' && c != '\n' && c != '\t' || c == 0x7f {
			return true
		}
		if first(c) {
			if r, _ := utf8.DecodeRuneInString(s[i:]); unsafe(r) {
				return true
			}
		}
	}
	return false
}

// first reports whether the byte may begin an unsafe character outside ASCII: U+0080
// to U+009F and the marks that change the direction of writing. All of these begin
// with C2, D8 or E2 in UTF-8.
func first(b byte) bool { return b == 0xc2 || b == 0xd8 || b == 0xe2 }

// unsafe reports whether a text must not contain the character.
func unsafe(c rune) bool {
	return unicode.IsControl(c) && c != '\n' && c != '\t' || unicode.Is(unicode.Bidi_Control, c)
}

// name reads a name: lower-case letters, digits and hyphens.
func (r *reader) name(n *node, what string) string {
	if n.Kind == textNode && !null(n) && (isName(n.Value) || r.within.own && isName(blankless(n.Value))) {
		return n.Value
	}
	name := r.text(n, what)
	switch {
	case name == "":
	case len(name) > longestName:
		r.fault(n, "%s is longer than %d characters", what, longestName)
	default:
		r.fault(n, "%q is not a name for %s: a name is lower-case letters, digits and single hyphens, like left-boom", name, what)
	}
	return ""
}

// blankless is a name with the names of its blanks in their places.
func blankless(name string) string {
	return blanks().ReplaceAllStringFunc(name, func(b string) string { return strings.ToLower(b[1 : len(b)-1]) })
}

// isName reports whether the text is a name: groups of lower-case letters and
// digits with single hyphens between them.
//
//go:noinline
func isName(s string) bool {
	hyphen := true // so that one at the beginning counts as doubled
	for i := range len(s) {
		switch c := s[i]; {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
			hyphen = false
		case c == '-' && !hyphen:
			hyphen = true
		default:
			return false
		}
	}
	return !hyphen && len(s) <= longestName
}

// list goes through a list.
func (r *reader) list(n *node, what string, each func(*node)) {
	if n.Kind != listNode {
		r.fault(n, "%s must be a list, not %s", what, shape(n))
		return
	}
	if len(n.Content) == 0 {
		r.fault(n, "%s is an empty list", what)
	}
	for _, item := range r.some(n, what) {
		each(item)
	}
}

// yes reads a switch: yes or no.
func (r *reader) yes(n *node, what string) (on, ok bool) {
	if n.Kind == textNode {
		switch strings.ToLower(n.Value) {
		case "yes", "true":
			return true, true
		case "no", "false":
			return false, true
		}
	}
	r.fault(n, "%s must be yes or no", what)
	return false, false
}
