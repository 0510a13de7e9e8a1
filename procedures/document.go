package procedures

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"strconv"

	"fettle/steps"
	"fettle/steps/lists"
)

// A Document is one file: a design sheet, a procedure or a triage table.
// Exactly one of Sheet, Procedure and Triage is set.
type Document struct {
	File string
	// Bytes are what is kept with a job: the file as it is, or, of a procedure
	// that uses others or has pictures, the whole of it written out, with their digests.
	// They need no other document.
	Bytes     []byte
	Source    []byte // the file as it is
	Embedded  bool   // it comes with the program
	Sheet     *steps.Sheet
	Procedure *steps.Procedure
	Triage    *steps.Triage

	Made bool // by the program, and not by an author

	names   []reference      // the names that a sheet must have
	nodes   map[string]*node // of the steps, by name; nil of a document that is kept
	places  map[string]place // where steps and stages are, by stepAt and stageAt
	doubts  doubts
	used    []string // the names of the documents whose steps it uses
	cut     bool     // whether it was not read to its end, for its size
	late    Faults   // what was found wrong with the order of its steps
	origins []place  // of lines that only the program writes
	digests []place  // of pictures, which it writes too

	pictures []pictured // those that lie beside the document
}

// A reference is the mention of a name that a design sheet must have.
type reference struct {
	to   thing
	name string
	of   string // a state's condition
	at   place
}

// A thing is what a name can refer to.
type thing string

const (
	zone      thing = "zone"
	option    thing = "option"
	chosen    thing = "choice" // or an option by itself
	condition thing = "condition"
	state     thing = "state"
	adhesive  thing = "adhesive"
	tool      thing = "tool"
	gauge     thing = "gauge"
	gate      thing = "gate"
	equipment thing = "piece of equipment"
	procedure thing = "procedure" // of the library, not of a sheet

	// Names that a document defines itself; its own checks find them.
	stage thing = "stage"
	joint thing = "joint"
	point thing = "point"
	// A design is looked up when a procedure is checked against sheets.
	design  thing = "design"
	finding thing = "finding"
	// What words of one's own are taken for.
	meaning thing = "finding or procedure"
	// Variants is what a sheet leaves in doubt where it is wrong about options:
	// nobody names it.
	variants thing = "variants"
)

// within reports whether a name is looked up elsewhere than in a design sheet or the
// library.
func (t thing) within() bool {
	switch t {
	case stage, joint, point, design:
		return true
	}
	return false
}

func stepAt(name string) string { return "step " + name }
func wasAt(name string) string  { return "was " + name }

//go:noinline
func rowAt(index int) string     { return "row " + strconv.Itoa(index) }
func stageAt(name string) string { return "stage " + name }

// Name is the document's name.
//
//go:noinline
func (d *Document) Name() string {
	switch {
	case d.Sheet != nil:
		return d.Sheet.Name
	case d.Triage != nil:
		return d.Triage.Name
	}
	return d.Procedure.Name
}

// Title is its title, or its name where it has none.
func (d *Document) Title() string {
	switch {
	case d.Sheet != nil:
		return cmp.Or(d.Sheet.Title, d.Sheet.Name)
	case d.Triage != nil:
		return cmp.Or(d.Triage.Title, d.Triage.Name)
	}
	return cmp.Or(d.Procedure.Title, d.Procedure.Name)
}

// Revision counts from 1.
func (d *Document) Revision() int {
	switch {
	case d.Sheet != nil:
		return d.Sheet.Revision
	case d.Triage != nil:
		return d.Triage.Revision
	}
	return d.Procedure.Revision
}

// NameKey is the key under which a document of its kind has its name.
func (d *Document) NameKey() string {
	if d.Procedure != nil {
		return "procedure"
	}
	return d.Kind()
}

// Uses are the names of the documents whose steps it uses.
func (d *Document) Uses() []string {
	var names []string
	for _, name := range d.used {
		if !lists.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

// The kinds of document that are not procedures.
const (
	KindDesign = "design"
	KindTriage = "triage"
)

// Kind is KindDesign, KindTriage or the kind of procedure.
func (d *Document) Kind() string {
	switch {
	case d.Sheet != nil:
		return KindDesign
	case d.Triage != nil:
		return KindTriage
	}
	return d.Procedure.Kind
}

// Serves reports whether a procedure can be carried out on a design: either it is
// written for that design, or for none in particular and the design has everything
// that it names.
func (d *Document) Serves(sheet *steps.Sheet) bool {
	return d.meantFor(sheet) && len(d.Against(sheet)) == 0
}

// meantFor reports whether a procedure is written for that design, or for none in particular.
func (d *Document) meantFor(sheet *steps.Sheet) bool {
	return d.Procedure != nil && d.Starts() && (d.Procedure.Design == "" || d.Procedure.Design == sheet.Name)
}

// Digest names the bytes that are kept with a job.
//
//go:noinline
func (d *Document) Digest() string { return digest(d.Bytes) }

// Starts reports whether a job can be started of it: it is a procedure, and not
// one of shared steps.
func (d *Document) Starts() bool { return d.Procedure != nil && d.Procedure.Kind != steps.Shared }

// digest names bytes as a store does.
func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return "sha256:" + hex.EncodeToString(sum[:])
}

// also is all faults with one more. It is not inlined: its copies in all callers would take 7 KB.
//
//go:noinline
func (d *Document) also(faults Faults, at place, text string) Faults {
	return append(faults, d.fault(at, text))
}

func (d *Document) fault(at place, text string) Fault {
	f := Fault{File: d.File, Line: at.line, Column: at.column}
	if at.site != nil {
		f.File = cmp.Or(at.site.file, f.File)
		text += at.site.note
	}
	f.Text = legible(text)
	return f
}
