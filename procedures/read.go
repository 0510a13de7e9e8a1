package procedures

import (
	"gopkg.in/yaml.v3"

	"fettle/steps"
)

// Read parses a document: its YAML, keys, names, texts and quantities. Faults name
// the file. Every error is of type [Faults].
func Read(file string, data []byte) (*Document, error) {
	doc, faults := read(file, data, true)
	if len(faults) > 0 {
		return nil, faults.sorted().capped()
	}
	return doc, nil
}

// Parse reads a document and checks everything that can be checked without
// another document. Every error is of type [Faults].
func Parse(file string, data []byte) (*Document, error) {
	doc, faults := parse(file, data)
	if len(faults) > 0 {
		return nil, faults.capped()
	}
	return doc, nil
}

// parse returns what it could read along with the faults, so that a caller can look
// for more faults; the document is nil if nothing could be read.
func parse(file string, data []byte) (*Document, Faults) {
	doc, faults := read(file, data, false)
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

// read takes the YAML apart. A document that is kept with a job must not be
// refused for what it was not asked for in its day. Where the YAML of another
// has slips that can be mended in the mind, it is read on for further faults.
func read(file string, data []byte, kept bool) (*Document, Faults) {
	root, slips := syntax(file, data, kept)
	if root == nil {
		return nil, slips
	}
	r := &reader{doc: &Document{File: file, Bytes: data, places: map[string]place{}}, kept: kept}
	r.doc.names = make([]reference, 0, len(data)/256) // a good guess
	if root.Kind != yaml.MappingNode {
		r.fault(root, "a document must begin with design:, procedure: or triage:, not with %s", shape(root))
		return nil, r.faultsWith(slips)
	}
	switch {
	case hasKey(root, "procedure"): // first, because it may have the key design too
		r.doc.Procedure = &steps.Procedure{}
		procedureKeys().read(r, root, "a procedure", r.doc.Procedure)
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
	return r.doc, r.faultsWith(slips)
}

// hasKey reports whether a mapping has the key.
func hasKey(n *yaml.Node, key string) bool {
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return true
		}
	}
	return false
}
