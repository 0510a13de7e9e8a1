package procedures

import (
	"fmt"
	"slices"

	"fettle/steps"
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
	if doc, _ := l.findOwn(name, func(*Document) bool { return true }); doc != nil && doc.Digest() == bytes {
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
	embedded := shipped()
	for i, e := range own {
		if at := slices.IndexFunc(embedded, func(s Entry) bool { return s.Document.Name() == e.Document.Name() }); at >= 0 {
			own[i].Replaces = embedded[at].Document.Revision()
		}
	}
	known := slices.Concat(own, embedded)
	var seen, names []string
	for _, step := range plan.Steps() {
		at := step.Origin.Document
		if at == "" || at == bytes || slices.Contains(seen, at) {
			continue
		}
		seen = append(seen, at)
		i := slices.IndexFunc(known, func(e Entry) bool { return digest(e.Document.Source) == at })
		if i < 0 {
			names = append(names, fmt.Sprintf("a document that is %s (%s)", Origin{}, at[:min(len("sha256:")+8, len(at))]))
			continue
		}
		doc := known[i].Document
		names = append(names, fmt.Sprintf("%s, revision %d (%s)", doc.Name(), doc.Revision(), known[i].Origin()))
	}
	return names
}
