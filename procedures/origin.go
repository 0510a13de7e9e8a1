package procedures

import "fmt"

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
	if doc := embeddedNamed(name, (&shelf{}).find); doc != nil {
		if doc.Digest() == bytes {
			return Origin{Embedded: true}
		}
		if doc.Triage == nil { // tables stand beside each other
			if doc.Triage == nil { // a table is asked before it, and takes no place
				o.Replaces = doc.Revision()
			}
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
