package procedures

import (
	"gopkg.in/yaml.v3"
)

// Read takes a document apart: its YAML, keys, names, texts and quantities.
// The file is what faults call it. Every error is of type [Faults].
func Read(file string, data []byte) (*Document, error) {
	doc, faults := read(file, data)
	if len(faults) > 0 {
		return nil, faults.sorted()
	}
	return doc, nil
}

// Parse reads a document and checks everything that can be checked without
// another one. Every error is of type [Faults].
func Parse(file string, data []byte) (*Document, error) {
	doc, faults := parse(file, data)
	if len(faults) > 0 {
		return nil, faults
	}
	return doc, nil
}

// parse gives what could be read beside the faults, so that a caller can look
// for further faults; it gives no document where nothing could be.
func parse(file string, data []byte) (*Document, Faults) {
	doc, faults := read(file, data)
	switch {
	case doc == nil:
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
	if root.Kind != yaml.MappingNode {
		r.fault(root, "a document begins with design: or procedure:, not with %s", shape(root))
		return nil, r.faults
	}
	switch first := firstOf(root, "design", "procedure"); first {
	case "procedure":
		r.doc.Procedure = r.procedure(root)
	case "design":
		r.doc.Sheet = r.sheet(root)
	default:
		r.fault(root, "neither a design sheet nor a procedure: it has neither the key design nor the key procedure")
		return nil, r.faults
	}
	return r.doc, r.faults
}

// firstOf is the key that says what the document is. A procedure names a
// design too, so that procedure goes before design wherever it stands.
func firstOf(root *yaml.Node, design, procedure string) string {
	found := ""
	for i := 0; i+1 < len(root.Content); i += 2 {
		switch root.Content[i].Value {
		case procedure:
			return procedure
		case design:
			found = design
		}
	}
	return found
}
