package procedures

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"gopkg.in/yaml.v3"

	"fettle/steps/nearest"
	"fettle/steps/quantity"
)

// The most that a text and a name may be long, in bytes.
const (
	longestText = 10_000
	longestName = 60
)

// A reader takes the nodes of one document apart and gathers the faults.
type reader struct {
	doc    *Document
	faults Faults
}

func at(n *yaml.Node) place { return place{n.Line, n.Column} }

func (r *reader) fault(n *yaml.Node, format string, args ...any) {
	r.faults = append(r.faults, r.doc.fault(at(n), fmt.Sprintf(format, args...)))
}

// refer notes a name that the design sheet must have.
func (r *reader) refer(to thing, n *yaml.Node, name, of string) {
	if name != "" {
		r.doc.names = append(r.doc.names, reference{to, name, of, at(n)})
	}
}

// Fields are the values of a mapping by key.
type fields struct {
	*reader
	node   *yaml.Node
	what   string
	values map[string]*yaml.Node
}

// fields reads a mapping of which the keys are known. A key that is unknown,
// empty or there twice is a fault.
func (r *reader) fields(n *yaml.Node, what string, known ...string) fields {
	f := fields{r, n, what, map[string]*yaml.Node{}}
	r.pairs(n, what, func(key string, k, v *yaml.Node) {
		if !slices.Contains(known, key) {
			r.fault(k, "unknown key %q in %s%s", key, what, suggest(key, known))
			return
		}
		if null(v) {
			r.fault(v, "%s is empty: fill it in, or leave the line away", key)
			return
		}
		f.values[key] = v
	})
	return f
}

// pairs goes through a mapping.
func (r *reader) pairs(n *yaml.Node, what string, each func(key string, k, v *yaml.Node)) {
	if n.Kind != yaml.MappingNode {
		r.fault(n, "%s wants keys with values, not %s", what, shape(n))
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Kind != yaml.ScalarNode {
			r.fault(k, "a key is a word, not %s", shape(k))
			continue
		}
		if seen[k.Value] {
			r.fault(k, "%q is there twice in %s", k.Value, what)
			continue
		}
		seen[k.Value] = true
		each(k.Value, k, v)
	}
}

func null(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }

func shape(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "keys with values"
	case yaml.SequenceNode:
		return "a list"
	}
	if null(n) {
		return "nothing"
	}
	return "a text"
}

func suggest(name string, known []string) string {
	if near := nearest.Of(name, known); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	if len(known) == 0 || len(known) > 12 {
		return ""
	}
	return "; known are " + strings.Join(known, ", ")
}

func (f fields) has(key string) bool { return f.values[key] != nil }

// must is the value of a key that has to be there.
func (f fields) must(key string) *yaml.Node {
	v := f.values[key]
	if v == nil {
		f.fault(f.node, "%s has no %s", f.what, key)
	}
	return v
}

// text is one text.
func (r *reader) text(n *yaml.Node, what string) string {
	switch {
	case n.Kind != yaml.ScalarNode || null(n):
		r.fault(n, "%s is a text, not %s", what, shape(n))
	case strings.TrimSpace(n.Value) == "":
		r.fault(n, "%s is empty", what)
	case len(n.Value) > longestText:
		r.fault(n, "%s is longer than %d bytes", what, longestText)
	case strings.ContainsFunc(n.Value, unsafe):
		r.fault(n, "%s holds a control character", what)
	default:
		return n.Value
	}
	return ""
}

// unsafe reports what a text must not hold; a YAML escape can write it.
func unsafe(c rune) bool {
	return unicode.IsControl(c) && c != '\n' && c != '\t' || unicode.Is(unicode.Bidi_Control, c)
}

func (f fields) text(key string) string {
	if !f.has(key) {
		return ""
	}
	return f.reader.text(f.values[key], key)
}

func (f fields) mustText(key string) string {
	if f.must(key) == nil {
		return ""
	}
	return f.text(key)
}

var nameForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// name is a name: lower-case letters, digits and hyphens.
func (r *reader) name(n *yaml.Node, what string) string {
	name := r.text(n, what)
	switch {
	case name == "":
		return ""
	case len(name) > longestName:
		r.fault(n, "%s is longer than %d letters", what, longestName)
	case !nameForm.MatchString(name):
		r.fault(n, "%q is no name for %s: names are lower-case letters, digits and single hyphens, like left-boom", name, what)
	default:
		return name
	}
	return ""
}

func (f fields) name(key string) string {
	if !f.has(key) {
		return ""
	}
	return f.reader.name(f.values[key], key)
}

func (f fields) mustName(key string) string {
	if f.must(key) == nil {
		return ""
	}
	return f.name(key)
}

// refers is a name of something in the design sheet.
func (f fields) refers(key string, to thing) string {
	name := f.name(key)
	if name != "" {
		f.refer(to, f.values[key], name, "")
	}
	return name
}

// list goes through a list.
func (r *reader) list(n *yaml.Node, what string, each func(*yaml.Node)) {
	if n.Kind != yaml.SequenceNode {
		r.fault(n, "%s is a list, not %s", what, shape(n))
		return
	}
	if len(n.Content) == 0 {
		r.fault(n, "%s is an empty list", what)
	}
	for _, item := range n.Content {
		each(item)
	}
}

// names is a list of names, none there twice.
func (f fields) names(key string, each func(n *yaml.Node, name string)) []string {
	if !f.has(key) {
		return nil
	}
	var names []string
	f.list(f.values[key], key, func(n *yaml.Node) {
		name := f.reader.name(n, "an entry of "+key)
		if name == "" {
			return
		}
		if slices.Contains(names, name) {
			f.fault(n, "%q is there twice in %s", name, key)
			return
		}
		names = append(names, name)
		if each != nil {
			each(n, name)
		}
	})
	return names
}

// texts is one text or a list of them.
func (f fields) texts(key string) []string {
	n := f.values[key]
	if n == nil {
		return nil
	}
	if n.Kind == yaml.ScalarNode {
		if s := f.text(key); s != "" {
			return []string{s}
		}
		return nil
	}
	var all []string
	f.list(n, key, func(item *yaml.Node) {
		if s := f.reader.text(item, "an entry of "+key); s != "" {
			all = append(all, s)
		}
	})
	return all
}

// whole is a whole number, at least 1 and at most most.
func (f fields) whole(key string, most int) int {
	n := f.values[key]
	if n == nil {
		return 0
	}
	number, err := strconv.Atoi(n.Value)
	if n.Kind != yaml.ScalarNode || err != nil || number < 1 || number > most {
		f.fault(n, "%s is a whole number from 1 to %d", key, most)
		return 0
	}
	return number
}

// yes is a switch: yes or no.
func (r *reader) yes(n *yaml.Node, what string) bool {
	if n.Kind == yaml.ScalarNode {
		switch strings.ToLower(n.Value) {
		case "yes", "true":
			return true
		case "no", "false":
			return false
		}
	}
	r.fault(n, "%s is yes or no", what)
	return false
}

func (f fields) yes(key string) bool {
	return f.has(key) && f.reader.yes(f.values[key], key)
}

// quantity is a number with its unit.
func (r *reader) quantity(n *yaml.Node, what string, want quantity.Dimension) quantity.Quantity {
	if n.Kind != yaml.ScalarNode || null(n) {
		r.fault(n, "%s is a number with its unit, not %s", what, shape(n))
		return quantity.Quantity{}
	}
	q, err := quantity.Parse(n.Value, want)
	if err != nil {
		r.fault(n, "%s: %v", what, err)
		return quantity.Quantity{}
	}
	return q
}

// quantity is the value of a key, absent where the key is.
func (f fields) quantity(key string, want quantity.Dimension) quantity.Quantity {
	if !f.has(key) {
		return quantity.Quantity{}
	}
	return f.reader.quantity(f.values[key], key, want)
}

// size is a quantity that is not below nought.
func (f fields) size(key string, want quantity.Dimension) quantity.Quantity {
	q := f.quantity(key, want)
	if !q.IsZero() && below(q) {
		f.fault(f.values[key], "%s is less than nought", key)
	}
	return q
}

// below reports whether the number is less than nought.
func below(q quantity.Quantity) bool {
	r, err := q.Rat(q.Unit())
	return err == nil && r.Sign() < 0
}

// nought reports whether the number is nought or less.
func nought(q quantity.Quantity) bool {
	r, err := q.Rat(q.Unit())
	return err == nil && r.Sign() <= 0
}

// limits is a range: a list of the lower and the upper, or one text such as
// 2-3 turns.
func (r *reader) limits(n *yaml.Node, what string, want quantity.Dimension) (low, high quantity.Quantity) {
	if n.Kind == yaml.ScalarNode && !null(n) {
		low, high, err := quantity.ParseRange(n.Value, want)
		if err != nil {
			r.fault(n, "%s: %v", what, err)
		}
		return low, high
	}
	if n.Kind != yaml.SequenceNode || len(n.Content) != 2 {
		r.fault(n, "%s wants two, the lower and the upper: [3.5 mm, 4.5 mm]", what)
		return
	}
	low = r.quantity(n.Content[0], what, want)
	if want == "" && !low.IsZero() {
		want = low.Dimension()
	}
	high = r.quantity(n.Content[1], what, want)
	if !low.IsZero() && !high.IsZero() && low.Cmp(high) >= 0 {
		r.fault(n, "%s: the limits are the wrong way round, %s is not less than %s", what, low, high)
	}
	return low, high
}
