package procedures

import (
	"gopkg.in/yaml.v3"

	"fettle/steps"
)

// Read parses a document: its YAML, keys, names, texts and quantities. Faults name
// the file. Every error is of type [Faults].
func Read(file string, data []byte) (*Document, error) {
	doc, faults := read(file, data)
	if len(faults) > 0 {
		return nil, faults.sorted()
	}
	return doc, nil
}

// Parse reads a document and checks everything that can be checked without
// another document. Every error is of type [Faults].
func Parse(file string, data []byte) (*Document, error) {
	doc, faults := parse(file, data)
	if len(faults) > 0 {
		return nil, faults
	}
	return doc, nil
}

// parse returns what it could read along with the faults, so that a caller can look
// for more faults; the document is nil if nothing could be read.
func parse(file string, data []byte) (*Document, Faults) {
	doc, faults := read(file, data)
	if doc != nil {
		faults = append(faults, doc.stricter...)
	}
	switch {
	case doc == nil || doc.Triage != nil:
	case doc.Sheet != nil:
		faults = append(faults, doc.named(doc.Sheet)...)
	default:
		faults = append(faults, doc.ordered()...)
	}
	return doc, faults.sorted()
}

func read(file string, data []byte) (*Document, Faults) {
	root, faults := syntax(file, data)
	if len(faults) > 0 {
		return nil, faults
	}
	r := &reader{doc: &Document{File: file, Bytes: data, places: map[string]place{}}}
	r.doc.names = make([]reference, 0, len(data)/256) // a good guess
	if root.Kind != yaml.MappingNode {
		r.fault(root, "a document must begin with design:, procedure: or triage:, not with %s", shape(root))
		return nil, r.faults
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
		return nil, r.faults
	}
	return r.doc, r.faults
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
