package procedures

import (
	"fettle/steps"
)

// Read parses a document: its YAML, keys, names, texts and quantities. Faults name
// the file. Every error is of type [Faults].
func Read(file string, data []byte) (*Document, error) {
	doc, faults := read(file, data, nil, true)
	if len(faults) > 0 {
		return nil, faults.sorted().capped()
	}
	return doc, nil
}

// Parse reads a document and checks everything that can be checked without
// another document, except the embedded ones that it uses. Every error is of type
// [Faults].
func Parse(file string, data []byte) (*Document, error) {
	doc, faults := parse(file, data, (&shelf{}).find)
	faults = append(faults, doc.byProgram()...).sorted()
	if len(faults) > 0 {
		return nil, faults.capped()
	}
	return doc, nil
}

// parse returns what it could read along with the faults, so that a caller can look
// for more faults; the document is nil if nothing could be read.
func parse(file string, data []byte, from sources) (*Document, Faults) {
	doc, faults := read(file, data, from, false)
	switch {
	case doc == nil || doc.Triage != nil:
	case doc.Sheet != nil:
		faults = append(faults, doc.named(doc.Sheet, doubts{})...)
		if doc.hasUnknown(option, optionNames(doc.Sheet)) {
			doc.doubts.name(variants)
		}
	default:
		faults = append(faults, doc.ordered()...)
		doc.late = doc.late.sorted()
	}
	return doc, faults.sorted()
}

// byProgram finds lines that only the program writes: who writes them says that
// a step is one that it is not, or that a picture is.
func (d *Document) byProgram() Faults {
	if d == nil {
		return nil
	}
	var faults Faults
	for _, at := range d.origins {
		faults = d.also(faults, at, "origin is written by the program alone: delete it")
	}
	for _, at := range d.digests {
		faults = d.also(faults, at, "the digest of a picture is written by the program alone: name its file")
	}
	return faults
}

// read takes the YAML apart. A document that is kept with a job must not be
// refused for what it was not asked for in its day. Where the YAML of another
// has slips that can be mended in the mind, it is read on for further faults.
func read(file string, data []byte, from sources, kept bool) (*Document, Faults) {
	root, slips := syntax(file, data, kept)
	if root == nil {
		return nil, slips
	}
	r := &reader{doc: &Document{File: file, Bytes: data, Source: data, places: map[string]place{}}, kept: kept}
	if !kept {
		r.doc.nodes = map[string]*node{}
	}
	r.sources, r.within.digest, r.within.data = from, digest(data), data
	r.doc.names = make([]reference, 0, len(data)/256) // a good guess
	if root.Kind != mappingNode {
		r.fault(root, "a document must begin with design:, procedure: or triage:, not with %s", shape(root))
		return nil, r.faultsWith(slips)
	}
	switch {
	case hasKey(root, "procedure"): // first, because it may have the key design too
		r.doc.Procedure = &steps.Procedure{}
		r.within.own = (&source{root: root}).shared()
		r.within.shared = r.within.own
		procedureKeys().read(r, root, "a procedure", r.doc.Procedure)
		r.doc.ownMethods()
	case hasKey(root, "triage"):
		r.doc.Triage = &steps.Triage{}
		triageKeys().read(r, root, "a triage table", r.doc.Triage)
	case hasKey(root, "design"):
		r.doc.Sheet = &steps.Sheet{}
		sheetKeys().read(r, root, "a design sheet", r.doc.Sheet)
	default:
		r.fault(root, "neither a design sheet nor a procedure nor a triage table: it has none of the keys design, procedure and triage")
		return nil, r.faultsWith(slips)
	}
	if len(r.doc.used)+len(r.doc.pictures) > 0 && r.doc.Starts() && len(r.faults) == 0 {
		r.writeOut(root)
	}
	return r.doc, r.faultsWith(slips)
}

// writeOut gives a document that uses others bytes that need none.
func (r *reader) writeOut(root *node) {
	data, err := Write(r.doc.Procedure)
	switch {
	case err != nil:
		r.fault(root, "it can't be written out: %v", err)
	case len(data) > mostBytes:
		r.fault(root, "written out, it has %d bytes; at most %d", len(data), mostBytes)
	default:
		r.doc.Bytes = data
	}
}

// hasKey reports whether a mapping has the key.
//
//go:noinline
func hasKey(n *node, key string) bool {
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return true
		}
	}
	return false
}
