package procedures

import (
	"fmt"
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
)

// An Origin is where a document is from.
type Origin struct {
	Embedded bool
	File     string // of one's own; "" if it is in no file of the library
	Replaces int    // the revision of the embedded document in whose place it stands; 0: none
}

// String is the origin in words.
func (o Origin) String() string {
	says := o.File
	switch {
	case o.Embedded:
		return Embedded
	case says == "":
		says = "neither embedded nor in your library"
	}
	if o.Replaces > 0 {
		says += fmt.Sprintf(", in place of the embedded one, revision %d", o.Replaces)
	}
	return says
}

// Origin says where the document of the name with these bytes is from: what a
// journal goes by may be in no file any more.
func (l *Library) Origin(name, bytes string) Origin {
	var o Origin
	if doc := embeddedNamed(name); doc != nil {
		if doc.Digest() == bytes {
			return Origin{Embedded: true}
		}
		if doc.Triage == nil { // a table is asked before it, and takes no place
			o.Replaces = doc.Revision()
		}
	}
	// One that can't be read is said by who wants it.
	if doc, _ := l.findOwn(name, anyDocument); doc != nil && doc.Digest() == bytes {
		o.File = doc.File
	}
	return o
}

// OriginOf says where a document of the library, or of a file, is from.
func (l *Library) OriginOf(d *Document) Origin {
	if d.Embedded {
		return Origin{Embedded: true}
	}
	o := l.Origin(d.Name(), d.Digest())
	if !o.Embedded {
		o.File = d.File
	}
	return o
}

// WrittenIn names the documents that the steps of a plan were written in, each once,
// with where it is from: those that are not embedded may be in no file any more. The
// plan of that digest has steps of its own besides.
func (l *Library) WrittenIn(plan *steps.Procedure, bytes string) []string {
	own, _, _ := l.own()
	for i, e := range own {
		if doc := embeddedNamed(e.Document.Name()); doc != nil {
			own[i].Replaces = doc.Revision()
		}
	}
	var asked, left, names []string
	for _, step := range plan.Steps() {
		if at := step.Origin.Document; at != "" && at != bytes && !lists.Contains(asked, at) {
			asked = append(asked, at)
		}
	}
	known := map[string]Entry{}
	for _, at := range asked {
		i := slices.IndexFunc(own, func(e Entry) bool { return digest(e.Document.Source) == at })
		if i < 0 {
			left = append(left, at)
			continue
		}
		known[at] = own[i]
	}
	if len(left) > 0 {
		for _, e := range shippedIf(func(data []byte) bool { return lists.Contains(left, digest(data)) }) {
			known[digest(e.Document.Source)] = e
		}
	}
	for _, at := range asked {
		e, is := known[at]
		if !is {
			names = append(names, fmt.Sprintf("a document that is %s (%s)", Origin{}, at[:min(len("sha256:")+8, len(at))]))
			continue
		}
		names = append(names, fmt.Sprintf("%s, revision %d (%s)", e.Document.Name(), e.Document.Revision(), e.Origin()))
	}
	return names
}
