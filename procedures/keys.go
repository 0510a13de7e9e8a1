package procedures

import (
	"reflect"
	"slices"

	"fettle/steps/lists"
	"fettle/steps/nearest"
)

// A key is one row of the table of keys, which is made up of all the mappings of
// this package: the name of the key, the type of its value and where that is kept,
// and what an author must know about it. The reader, the writer and the grammar
// follow from the rows; a new key is a new row.
type key struct {
	name string
	need need
	is   part
	help string
	// example is the value in the example of the grammar; if it has several lines
	// they go below the key. One that begins with # becomes a comment. For a map by
	// names it may be a name, and "" means: from the examples of the keys below. For
	// a choice after the first, it is a whole item.
	example string
}

// A need says whether a key must be there.
type need int

const (
	optional need = iota
	required
	choice // at most one of the choices of a mapping
	ours   // only the program writes it
)

// A value reads, writes and describes what a key may hold, or a part of that. It is
// kept in what P points to: code for pointers is in the program once, code for structs
// once for each.
type value[P any] interface {
	// read reads the node, which is not null. what is its name in faults.
	read(r *reader, n *node, what string, to P)
	// write returns nil if there is nothing to write.
	write(from P) *node
	typ() *typ
}

// A part is a value that is kept in one field of what it is handed a pointer to, or in the
// whole of it. Only its functions know the type of that, so that the tables of keys and what
// reads them are of one type, and not of one for each type of owner. A key in the table of
// another owner would panic with the first mapping that is written.
type part struct {
	read  func(r *reader, n *node, what string, in any)
	write func(in any) *node
	typ   func() *typ
}

// field is a value in a field of the owner: of an example of it, and the field of that. Where the field lies is found in the
// example, once for each table: a function that says it would be 400 bytes of the program for each row.
//
//go:noinline
func field[P, Q any](example P, at Q, is value[Q]) part {
	path := pathOf(example, at)
	return part{
		read:  func(r *reader, n *node, what string, in any) { is.read(r, n, what, fieldAt(in.(P), path).(Q)) },
		write: func(in any) *node { return is.write(fieldAt(in.(P), path).(Q)) },
		typ:   is.typ,
	}
}

// pathOf is by which fields one comes from what owner points to, to what field points to.
func pathOf(owner, field any) (path []int) {
	v, to := reflect.ValueOf(owner).Elem(), reflect.ValueOf(field)
	for v.Type() != to.Type().Elem() || v.Addr().Pointer() != to.Pointer() {
		i, end := 0, v.NumField() // the field that it is, or is in: they lie in their order
		for end-i > 1 {
			if half := (i + end) / 2; v.Field(half).Addr().Pointer() <= to.Pointer() {
				i = half
			} else {
				end = half
			}
		}
		path, v = append(path, i), v.Field(i)
	}
	return path
}

// fieldAt is a pointer to the field of what owner points to.
func fieldAt(owner any, path []int) any {
	v := reflect.ValueOf(owner).Elem()
	for _, i := range path {
		v = v.Field(i)
	}
	return v.Addr().Interface()
}

// whole is a value in several fields of the owner.
//
//go:noinline
func whole[P any](is value[P]) part {
	return part{
		read:  func(r *reader, n *node, what string, in any) { is.read(r, n, what, in.(P)) },
		write: func(in any) *node { return is.write(in.(P)) },
		typ:   is.typ,
	}
}

// A mapping is a value of keys with values.
type mapping[P any] struct {
	what string // in faults and in the grammar: a gate
	keys keys
	one  bool // one of the choices must be there
	// label is its name in faults once its first key, which is its name, has been
	// read; optional.
	label func(P) string
	// check checks the keys together; optional.
	check func(f fields, of P)
}

// read reads the keys in the order of the table. An unknown, empty, duplicated or
// missing key is a fault.
func (m *mapping[P]) read(r *reader, n *node, what string, to P) {
	if n.Kind != mappingNode {
		r.fault(n, "%s must be a mapping (keys with values), not %s", what, shape(n))
		return
	}
	k := match{keys: m.keys, of: m.what, first: -1}
	f := k.begin(r, n, what)
	for j, v := range k.values {
		if k.counts(f, j) {
			r.path = append(r.path, m.keys[j].name)
			m.keys[j].is.read(r, v, m.keys[j].name, to)
			r.path = r.path[:len(r.path)-1]
		}
		k.settle(&f, j)
		if j == 0 && m.label != nil {
			f.what = m.label(to)
		}
	}
	if m.one && f.chosen == 0 && !f.meant {
		r.fault(n, "%s needs one of %s", f.what, listed(k.names(func(n need) bool { return n == choice })))
	}
	if m.check != nil {
		m.check(f, to)
	}
	r.settle()
}

// Keys are a table of keys.
type keys []key

func (k keys) row(j int) row {
	return row{k[j].name, k[j].need, k[j].is.typ(), k[j].help, k[j].example}
}

// A match is a mapping that is being read. What it does stands in the program once,
// and not again for every type that is read.
type match struct {
	keys
	of     string  // what it is
	values []*node // in the order of the table; nil for a missing key
	first  int     // the first of several choices that are there, or -1
}

// Fields are a mapping after reading, for its check.
type fields struct {
	*reader
	node   *node
	what   string
	chosen int  // how many of the choices are there
	meant  bool // an unknown key may stand for one that is missing
	failed []string
}

// lost reports whether the value of a key could not be read, or was written
// under a key that is unknown.
//
//go:noinline
func (f fields) lost(name string) bool { return lists.Contains(f.failed, name) }

// get is the value of a key, or nil.
func (f fields) get(name string) *node {
	for i := 0; i+1 < len(f.node.Content); i += 2 {
		if f.node.Content[i].Value == name {
			if v := f.node.Content[i+1]; !null(v) {
				return v
			}
			return nil
		}
	}
	return nil
}

// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (f fields) has(name string) bool { return f.get(name) != nil }

// given reports whether the key is there, however it was written.
// It is not inlined: its copies in its caller would take 1 KB.
//
//go:noinline
func (f fields) given(name string) bool { return f.has(name) || f.lost(name) }

// item is the node of a name in the list under a key.
func (f fields) item(key, name string) *node {
	list := f.get(key)
	if i := slices.IndexFunc(list.Content, func(n *node) bool { return n.Value == name }); i >= 0 {
		return list.Content[i]
	}
	return list
}

// begin finds the values.
func (k *match) begin(r *reader, n *node, what string) fields {
	meant, unknown := k.find(r, n, what)
	f := fields{reader: r, node: n, what: what, meant: unknown, failed: meant}
	for j, v := range k.values {
		if k.keys[j].need == choice && !absent(v) {
			f.chosen++
		}
	}
	if r.wrong > r.settled {
		r.settle()
		r.doubt(n, "")
	}
	return f
}

// find finds the values. Meant are the keys that unknown ones may stand for.
func (k *match) find(r *reader, n *node, what string) (meant []string, unknown bool) {
	k.values = make([]*node, len(k.keys))
	for i := 0; i+1 < len(n.Content); i += 2 {
		name, v := n.Content[i], n.Content[i+1]
		if name.Kind != textNode {
			r.fault(name, "a key must be a word, not %s", shape(name))
			continue
		}
		j := k.index(name.Value)
		switch {
		case j < 0 && len(r.path) == 0 && k.movedOut(r, n.Content[:i], name, v):
			unknown = true
		case j < 0:
			unknown = true
			says := ""
			if len(r.faults) < mostFaults {
				var near string
				near, says = k.suggest(name.Value)
				meant = append(meant, near)
			}
			r.fault(name, "unknown key %q in %s%s", name.Value, what, says)
		case k.values[j] != nil:
			r.fault(name, "%q is duplicated in %s%s", name.Value, what, firstOf(n.Content, name))
		default:
			k.values[j] = v
			if null(v) {
				r.fault(v, "%s is empty: fill it in or delete the line", name.Value)
			}
		}
	}
	return meant, unknown
}

// counts reports whether the value of a key is there to be read. One that is missing,
// and a second choice, is a fault.
func (k *match) counts(f fields, j int) bool {
	v := k.values[j]
	name, need := k.keys[j].name, k.keys[j].need
	switch {
	case absent(v):
		if need == required && v == nil && !f.lost(name) {
			f.fault(f.node, "%s has no %s%s", f.what, name, k.row(j).write())
		}
	case need != choice || f.chosen == 1:
		return true
	case k.first < 0:
		k.first = j
	default:
		first := k.keys[k.first].name
		f.fault(v, "%s has %s and %s: keep one of them", f.what, first, name)
	}
	return false
}

// settle notes whether the value of a key is in doubt.
func (k *match) settle(f *fields, j int) {
	v := k.values[j]
	name := k.keys[j].name
	if faults := f.wrong > f.settled; faults || v != nil && null(v) || v == nil && f.lost(name) {
		f.failed = append(f.failed, name)
		f.reader.settle()
		f.doubt(f.node, name)
	}
}

// movedOut reports an unknown key that can only be an entry of the section above
// it, with keys of its own, and stands too far to the left. What it took with it is
// in doubt.
func (k *match) movedOut(r *reader, above []*node, key, v *node) bool {
	if v.Kind != mappingNode || v.Style&flowStyle != 0 || !isName(key.Value) || nearest.Of(key.Value, k.names(byAuthors)) != "" {
		return false
	}
	for i := len(above) - 2; i >= 0; i -= 2 {
		j := k.index(above[i].Value)
		t, named := thingsUnder(above[i].Value)
		if j < 0 {
			continue // moved out with it
		}
		if section := above[i+1]; named && k.row(j).typ.is == aMap && section.Kind == mappingNode && len(section.Content) > 0 {
			if indent := int(section.Content[0].Column) - 1; indent >= int(key.Column) {
				r.doc.doubts.name(t)
				r.fault(key, "%q is not a key of %s: as an entry of %s it is indented by %d spaces, with all below it", key.Value, k.of, above[i].Value, indent)
				return true
			}
		}
		return false
	}
	return false
}

func absent(n *node) bool { return n == nil || null(n) }

func (k *match) index(name string) int {
	for j := range k.keys {
		if k.keys[j].name == name {
			return j
		}
	}
	return -1
}

// names are the keys of such needs.
func (k *match) names(such func(need) bool) []string {
	var names []string
	for j := range k.keys {
		if name, need := k.keys[j].name, k.keys[j].need; such(need) {
			names = append(names, name)
		}
	}
	return names
}

// byAuthors reports whether an author writes keys of the need.
func byAuthors(n need) bool { return n != ours }

//go:noinline
func (m *mapping[P]) write(from P) *node { return m.keys.write(from) }

func (k keys) write(from any) *node {
	n := &node{Kind: mappingNode}
	for j := range k {
		if v := k[j].is.write(from); v != nil {
			n.Content = append(n.Content, scalar(k[j].name), v)
		}
	}
	return unlessEmpty(n)
}

//go:noinline
func (m *mapping[P]) typ() *typ { return m.keys.typ(m.what, m.one) }

func (k keys) typ(what string, one bool) *typ {
	t := &typ{is: aMapping, what: what, one: one}
	for j := range k {
		t.keys = append(t.keys, k.row(j))
	}
	return t
}

// A row is a key without its owner type: all that the grammar needs.
type row struct {
	name    string
	need    need
	typ     *typ
	help    string
	example string
}

// write says what to write for a key that is missing, where that needs no thought
// of what is named.
func (r row) write() string {
	switch r.typ.is {
	case aWord:
		return "; write " + r.name + ": and one of " + listed(r.typ.words)
	case anAmount, aRange, aWhole:
		return "; write it as in " + r.name + ": " + r.example
	}
	return ""
}

// A list is a value of several, in order.
type list[V any] struct {
	is   *mapping[*V]
	keep func(*V) bool // whether an item with faults is still useful
}

func (l *list[V]) read(r *reader, n *node, what string, to *[]V) {
	r.list(n, what, func(item *node) {
		lengthen(to, len(n.Content))
		last := &(*to)[len(*to)-1]
		l.is.read(r, item, l.is.what, last)
		if !l.keep(last) {
			*to = (*to)[:len(*to)-1]
		}
	})
}

func (l *list[V]) write(from *[]V) *node {
	n := &node{Kind: listNode}
	each(from, func(_ reflect.Value, v any) { n.Content = append(n.Content, l.is.keys.write(v)) })
	return unlessEmpty(n)
}

func (l *list[V]) typ() *typ { return &typ{is: aList, of: []*typ{l.is.typ()}} }

// Named is a mapping whose keys are names that the author chooses. In what the program keeps that is the first field of each.
type named[V any] struct {
	one string // in faults: the gate
	is  part
}

func (m *named[V]) read(r *reader, n *node, what string, to *[]V) {
	r.namedTo(n, what, m.one, m.is, to)
}

// namedTo is the reading of [named] of all types.
//
//go:noinline
func (r *reader) namedTo(n *node, what, one string, is part, to any) {
	r.named(n, what, one, func(name string, v *node) {
		lengthen(to, len(n.Content)/2)
		all := reflect.ValueOf(to).Elem()
		last := all.Index(all.Len() - 1)
		last.Field(0).SetString(name)
		if v != nil {
			is.read(r, v, one+" "+name, last.Addr().Interface())
		}
	})
}

// lengthen adds a zero element to the list that it points to, which gets room for so many with the first. It stands in the
// program once, and not again for every type.
//
//go:noinline
func lengthen(list any, room int) {
	v := reflect.ValueOf(list).Elem()
	if v.Len() == 0 {
		v.Grow(min(room, mostSteps))
	}
	v.Set(reflect.Append(v, reflect.Zero(v.Type().Elem())))
}

// each goes through the list that it points to, with a pointer to each element.
//
//go:noinline
func each(list any, one func(of reflect.Value, v any)) {
	for all, i := reflect.ValueOf(list).Elem(), 0; i < all.Len(); i++ {
		one(all.Index(i), all.Index(i).Addr().Interface())
	}
}

// named calls each for every name of a mapping, with nil for one that is empty.
// It is not inlined: its copies in all callers would take 8 KB.
//
//go:noinline
func (r *reader) named(n *node, what, one string, each func(name string, v *node)) {
	r.pairs(n, what, func(k, v *node) {
		name := r.name(k, what)
		if name == "" {
			if t, ok := thingsUnder(what); ok && r.doc.Procedure == nil {
				r.doc.doubts.name(t)
			}
			return
		}
		r.doc.places[one+" "+name] = r.at(k)
		if null(v) {
			r.fault(v, "%s %s is empty: fill it in or delete the line", one, name)
			v = nil
		}
		each(name, v)
	})
}

func (m *named[V]) write(from *[]V) *node { return namedFrom(m.is, from) }

//go:noinline
func namedFrom(is part, from any) *node {
	n := &node{Kind: mappingNode}
	each(from, func(of reflect.Value, v any) {
		n.Content = append(n.Content, scalar(of.Field(0).String()), is.write(v))
	})
	return unlessEmpty(n)
}

func (m *named[V]) typ() *typ { return &typ{is: aMap, what: m.one, of: []*typ{m.is.typ()}} }

// Either is a value with two forms: one scalar, or a mapping.
type either[P any] struct {
	one, more part
	short     func(P) bool // whether it is written as the one
	lists     bool         // the one may be a list
}

func (e *either[P]) read(r *reader, n *node, what string, to P) {
	if n.Kind == textNode || e.lists && n.Kind == listNode {
		e.one.read(r, n, what, to)
		return
	}
	e.more.read(r, n, what, to)
}

func (e *either[P]) write(from P) *node {
	if e.short(from) {
		return e.one.write(from)
	}
	return e.more.write(from)
}

func (e *either[P]) typ() *typ { return &typ{is: anEither, of: []*typ{e.one.typ(), e.more.typ()}} }
