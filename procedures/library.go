package procedures

import (
	"cmp"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/nearest"
)

// embedded are the documents that come with the program, each in a file of its
// name.
//
//go:embed library/*.yaml
var embedded embed.FS

// Embedded is the From of an [Entry] that comes with the program.
const Embedded = "embedded"

// A Library finds documents by name: in the user's folder first, then among the
// embedded ones. The path of a file can be used in place of any name.
type Library struct{ folder string }

// Open opens the library with the user's folder, which need not exist.
func Open(folder string) *Library { return &Library{folder} }

// A NotFoundError says that no document has the name.
type NotFoundError struct {
	Name    string
	What    string // what was looked for
	Nearest string
}

func (e *NotFoundError) Error() string {
	if e.Nearest == "" {
		return fmt.Sprintf("there is no %s %q; library list shows what there is", e.What, e.Name)
	}
	return fmt.Sprintf("there is no %s %q; did you mean %q?", e.What, e.Name, e.Nearest)
}

// An Entry is one document of the library.
type Entry struct {
	Document *Document
	From     string // Embedded, or the file
}

// List returns every document, design sheets first, and the faults of the user's
// files. A user's document replaces the embedded one of the same name.
func (l *Library) List() ([]Entry, Faults) {
	own, faults := l.own()
	entries := slices.Clone(own)
	for _, e := range shipped() {
		if !slices.ContainsFunc(own, func(o Entry) bool { return o.Document.Name() == e.Document.Name() }) {
			entries = append(entries, e)
		}
	}
	slices.SortStableFunc(entries, func(a, b Entry) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.Document.Name(), b.Document.Name()))
	})
	return entries, faults
}

func rank(e Entry) int {
	return slices.Index([]string{KindDesign, steps.Build, steps.Repair, steps.Check, steps.Shared, KindTriage}, e.Document.Kind())
}

// own reads the user's folder. A file with faults is left out.
func (l *Library) own() ([]Entry, Faults) {
	if l.folder == "" {
		return nil, nil
	}
	files, err := os.ReadDir(l.folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, Faults{{File: l.folder, Text: "the library folder cannot be read: " + reason(err)}}
	}
	var entries []Entry
	var faults Faults
	from := (&shelf{folder: l.folder}).find
	for _, f := range files {
		if f.IsDir() || !isYAML(f.Name()) {
			continue
		}
		path := filepath.Join(l.folder, f.Name())
		doc, wrong := parseFile(path, from)
		if len(wrong) > 0 {
			faults = append(faults, wrong...)
			continue
		}
		if i := slices.IndexFunc(entries, func(e Entry) bool { return e.Document.Name() == doc.Name() }); i >= 0 {
			faults = append(faults, Fault{path, 1, 1, fmt.Sprintf("the name %q is used by %s too", doc.Name(), entries[i].From)})
			continue
		}
		entries = append(entries, Entry{doc, path})
	}
	return entries, faults
}

// shipped reads the embedded documents; a test makes sure that they have no fault.
func shipped() []Entry {
	files, _ := embedded.ReadDir("library")
	var entries []Entry
	from := (&shelf{}).find
	for _, f := range files {
		if doc := embeddedNamed(strings.TrimSuffix(f.Name(), ".yaml"), from); doc != nil {
			entries = append(entries, Entry{doc, Embedded})
		}
	}
	return entries
}

// embeddedNamed is the embedded document of the name. What it uses is embedded
// too: a document of one's own changes nothing of it.
func embeddedNamed(name string, from sources) *Document {
	data, err := embedded.ReadFile("library/" + name + ".yaml")
	if err != nil {
		return nil
	}
	doc, faults := parse(name+".yaml", data, from)
	if len(faults) > 0 {
		return nil
	}
	return doc
}

func isYAML(file string) bool {
	ext := filepath.Ext(file)
	return ext == ".yaml" || ext == ".yml"
}

// isFile reports whether a name is the path of a file.
func isFile(name string) bool {
	if isYAML(name) || strings.ContainsRune(name, filepath.Separator) {
		return true
	}
	return !isName(name) && exists(name)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// parseFile reads and checks one file. It may return both a document and faults.
func parseFile(path string, from sources) (*Document, Faults) {
	data, err := readFile(path)
	if err != nil {
		return nil, Faults{{File: path, Text: "cannot be read: " + reason(err)}}
	}
	doc, faults := parse(path, data, from)
	return doc, append(faults, doc.byProgram()...).sorted()
}

// readFile reads no more than the longest document, so that naming a huge file or a
// device does no harm.
func readFile(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, errors.New("it is a folder")
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("it is not a regular file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }()
	return io.ReadAll(io.LimitReader(f, mostBytes+1))
}

// reason is an error without the path, which is in the fault already.
func reason(err error) string {
	var at *fs.PathError
	if errors.As(err, &at) {
		err = at.Err
	}
	return err.Error()
}

// Find returns the document with that name or in that file. The error is a
// [*NotFoundError], or the [Faults] of the document.
func (l *Library) Find(name string) (*Document, error) {
	return l.find(name, "document", func(*Document) bool { return true })
}

// Sheet returns the design sheet with that name or in that file, like
// [Library.Find].
func (l *Library) Sheet(name string) (*Document, error) {
	return l.find(name, "design", func(d *Document) bool { return d.Sheet != nil })
}

// Procedure returns the procedure with that name or in that file, like
// [Library.Find].
func (l *Library) Procedure(name string) (*Document, error) {
	doc, err := l.find(name, "procedure", func(d *Document) bool { return d.Procedure != nil })
	if err == nil && !doc.Starts() {
		return nil, Faults{doc.fault(top(), doc.Name()+" holds steps for other procedures to use, and is never started itself")}
	}
	return doc, err
}

// Triage returns the triage table with that name or in that file, like
// [Library.Find].
func (l *Library) Triage(name string) (*Document, error) {
	return l.find(name, "triage table", func(d *Document) bool { return d.Triage != nil })
}

func (l *Library) find(name, what string, wanted func(*Document) bool) (*Document, error) {
	if isFile(name) {
		if !exists(name) {
			return nil, &NotFoundError{Name: name, What: "file"}
		}
		doc, faults := parseFile(name, (&shelf{folder: l.folder}).find)
		switch {
		case len(faults) > 0:
			return nil, faults
		case !wanted(doc):
			return nil, Faults{{name, 1, 1, "is a " + doc.Kind() + ", not a " + what}}
		}
		return doc, nil
	}
	own, faults := l.own()
	for _, e := range own {
		if e.Document.Name() == name && wanted(e.Document) {
			return e.Document, nil
		}
	}
	// A user's file of that name is used even if it cannot be read.
	for _, f := range faults {
		if base := filepath.Base(f.File); strings.TrimSuffix(base, filepath.Ext(base)) == name {
			return nil, faults
		}
	}
	if doc := embeddedNamed(name, (&shelf{}).find); doc != nil && wanted(doc) {
		return doc, nil
	}
	var known []string
	for _, e := range slices.Concat(own, shipped()) {
		if wanted(e.Document) {
			known = append(known, e.Document.Name())
		}
	}
	return nil, &NotFoundError{name, what, nearest.Of(name, known)}
}

// Checked is a document without a fault, and the designs that it fits.
type Checked struct {
	Document *Document
	Serves   []string
}

// Check checks files together: each by itself, then every procedure against its
// design sheet, which is one of the files or else in the library. A procedure
// without a design must fit at least one sheet.
func (l *Library) Check(files ...string) ([]Checked, Faults) {
	var docs []*Document
	var faults Faults
	from := (&shelf{files: files, folder: l.folder}).find
	for _, file := range files {
		doc, wrong := parseFile(file, from)
		faults = append(faults, wrong...)
		if doc == nil {
			continue
		}
		for _, other := range docs {
			if other.Name() == doc.Name() && doc.Name() != "" {
				faults = append(faults, Fault{file, 1, 1, fmt.Sprintf("the name %q is used by %s too", doc.Name(), other.File)})
			}
		}
		docs = append(docs, doc)
	}
	sheets := l.sheetsBeside(docs)
	var results []Checked
	for _, doc := range docs {
		served, wrong := doc.checkAgainst(sheets)
		if doc.Triage != nil {
			wrong = doc.answered(sheets, l.documentsBeside(docs))
		}
		faults = append(faults, wrong...)
		results = append(results, Checked{doc, served})
	}
	return results, faults.sorted().once()
}

// sheetsBeside are the design sheets among the documents, and those of the library
// with other names.
func (l *Library) sheetsBeside(docs []*Document) []*steps.Sheet {
	var sheets []*steps.Sheet
	add := func(d *Document) {
		if d.Sheet != nil && !slices.ContainsFunc(sheets, func(s *steps.Sheet) bool { return s.Name == d.Sheet.Name }) {
			sheets = append(sheets, d.Sheet)
		}
	}
	for _, d := range docs {
		add(d)
	}
	entries, _ := l.List()
	for _, e := range entries {
		add(e.Document)
	}
	return sheets
}

// documentsBeside are the documents, and those of the library.
func (l *Library) documentsBeside(docs []*Document) []*Document {
	all := slices.Clone(docs)
	entries, _ := l.List()
	for _, e := range entries {
		all = append(all, e.Document)
	}
	return all
}

func (d *Document) checkAgainst(sheets []*steps.Sheet) (serves []string, faults Faults) {
	if !d.Starts() {
		return nil, nil
	}
	var names []string
	var least Faults
	for _, s := range sheets {
		names = append(names, s.Name)
		if d.Procedure.Design != "" && d.Procedure.Design != s.Name {
			continue
		}
		wrong := d.Against(s)
		if len(wrong) == 0 {
			serves = append(serves, s.Name)
		} else if least == nil || len(wrong) < len(least) {
			least = wrong
		}
	}
	switch {
	case len(serves) > 0:
		return serves, nil
	case least != nil:
		return nil, least // the faults for the design that it fits best
	case d.Procedure.Design != "":
		return nil, Faults{d.fault(top(), fmt.Sprintf("unknown design %q%s", d.Procedure.Design, suggest(d.Procedure.Design, names)))}
	}
	return nil, Faults{d.fault(top(), "no design sheet has everything it names")}
}
