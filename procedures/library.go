package procedures

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/steps/sorting"
)

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

// A KindError says that a document is of another kind than the one that is needed.
type KindError struct{ Name, Is string }

func (e *KindError) Error() string { return e.Name + " " + e.Is }

// An Entry is one document of the library.
type Entry struct {
	Document *Document
	From     string // Embedded, or the file
	Replaces int    // the revision of the embedded document in whose place it stands; 0: none
}

// Origin is where it is from.
func (e Entry) Origin() Origin {
	if e.From == Embedded {
		return Origin{Embedded: true}
	}
	return Origin{File: e.From, Replaces: e.Replaces}
}

// List returns every document, design sheets first, and the faults of the user's
// files. A user's document replaces the embedded one of the same name, even if it
// cannot be read.
func (l *Library) List() ([]Entry, Faults) {
	entries, claims, faults := l.list()
	for _, c := range claims {
		faults = append(faults, c.faults...)
	}
	return entries, faults.sorted().capped()
}

func (l *Library) list() ([]Entry, []claim, Faults) { return l.before(shipped()) }

// before are the documents of one's own, and these embedded ones as far as none stands
// in their place.
func (l *Library) before(shipped []Entry) ([]Entry, []claim, Faults) {
	own, claims, faults := l.own()
	entries := slices.Clone(own)
	for _, e := range shipped {
		name := e.Document.Name()
		// A table of one's own is asked before the embedded one, and never in its place.
		if i := slices.IndexFunc(own, func(o Entry) bool { return o.Document.Name() == name }); i >= 0 && e.Document.Triage == nil {
			entries[i].Replaces = e.Document.Revision()
			continue
		}
		if _, broken := claimed(claims, name); broken {
			continue
		}
		entries = append(entries, e)
	}
	sorting.Stable(entries, func(i, k int) int {
		a, b := &entries[i], &entries[k]
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.Document.Name(), b.Document.Name()))
	})
	return entries, claims, faults
}

func rank(e *Entry) int {
	return lists.Index([]string{KindDesign, steps.Build, steps.Repair, steps.Check, steps.Shared, KindTriage}, e.Document.Kind())
}

// paths are the files of the user's folder.
func (l *Library) paths() ([]string, Faults) {
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
	var paths []string
	for _, f := range files {
		if !f.IsDir() && isYAML(f.Name()) {
			paths = append(paths, filepath.Join(l.folder, f.Name()))
		}
	}
	return paths, nil
}

// own reads the user's folder. A file with faults is no entry, but a claim.
func (l *Library) own() ([]Entry, []claim, Faults) {
	paths, faults := l.paths()
	var entries []Entry
	var claims []claim
	from := (&shelf{folder: l.folder}).find
	for _, path := range paths {
		doc, data, wrong := parseFile(path, from)
		if len(wrong) > 0 {
			claims = append(claims, claimOf(path, data, wrong))
			continue
		}
		if i := slices.IndexFunc(entries, func(e Entry) bool { return e.Document.Name() == doc.Name() }); i >= 0 {
			faults = append(faults, Fault{path, 1, 1, fmt.Sprintf("the name %q is used by %s too", doc.Name(), entries[i].From)})
			continue
		}
		if i := slices.IndexFunc(entries, func(e Entry) bool { return twice(doc, e.Document) != "" }); i >= 0 {
			faults = append(faults, Fault{path, 1, 1, twice(doc, entries[i].Document)})
			continue
		}
		entries = append(entries, Entry{Document: doc, From: path})
	}
	return entries, claims, faults
}

// shipped are the embedded documents; a test makes sure that they have no fault.
func shipped() []Entry { return shippedHeaded(func(string, []byte) bool { return true }) }

// shippedIf reads only those of them of which the bytes seem to be wanted.
func shippedIf(wanted func(data []byte) bool) []Entry {
	return shippedHeaded(func(name string, _ []byte) bool {
		data, err := embeddedFile(name)
		return err == nil && wanted(data)
	})
}

// shippedHeaded reads only those of which the head is wanted, and unpacks no others.
func shippedHeaded(wanted func(name string, head []byte) bool) []Entry {
	var entries []Entry
	for name, head := range embeddedHeads() {
		if !wanted(name, head) {
			continue
		}
		if doc := embeddedNamed(name); doc != nil {
			entries = append(entries, Entry{Document: doc, From: Embedded})
		}
	}
	return entries
}

// embeddedNamed is the embedded document of the name. What it uses is embedded
// too: a document of one's own changes nothing of it.
func embeddedNamed(name string) *Document {
	if read := readOnce()[name]; read != nil {
		return read()
	}
	return nil
}

// readOnce has a reader for each embedded document, which never changes: a command
// asks for some of them several times, and each takes long to read.
var readOnce = sync.OnceValue(func() map[string]func() *Document {
	from := (&shelf{}).find
	var one sync.Mutex // they share the shelf
	all := map[string]func() *Document{}
	for _, name := range embeddedFiles() {
		all[name] = sync.OnceValue(func() *Document {
			one.Lock()
			defer one.Unlock()
			data, err := embeddedFile(name)
			if err != nil {
				return nil
			}
			doc, faults := parse(name+".yaml", data, from)
			if len(faults) > 0 {
				return nil
			}
			doc.Embedded = true
			return doc
		})
	}
	return all
})

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

// parseFile reads and checks one file, and returns its bytes too. It may return both
// a document and faults.
func parseFile(path string, from sources) (*Document, []byte, Faults) {
	data, err := readFile(path)
	if err != nil {
		return nil, nil, Faults{{File: path, Text: "cannot be read: " + reason(err)}}
	}
	doc, faults := parseOwn(path, data, from)
	return doc, data, faults
}

// parseOwn is parse for what a person wrote.
func parseOwn(path string, data []byte, from sources) (*Document, Faults) {
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

// SheetsOf are the design sheets of the library that a procedure serves.
func (l *Library) SheetsOf(d *Document) []*steps.Sheet {
	if !d.Starts() {
		return nil
	}
	var sheets []*steps.Sheet
	entries, _, _ := l.list()
	for _, e := range entries {
		if e.Document.Sheet != nil && d.Serves(e.Document.Sheet) {
			sheets = append(sheets, e.Document.Sheet)
		}
	}
	return sheets
}

// Find returns the document with that name or in that file. The error is a
// [*NotFoundError], a [*KindError], or the [Faults] of the document.
//
//go:noinline
func (l *Library) Find(name string) (*Document, error) {
	return l.find(name, anyDocument)
}

// Sheet returns the design sheet with that name or in that file, like
// [Library.Find].
//
//go:noinline
func (l *Library) Sheet(name string) (*Document, error) {
	return l.find(name, KindDesign)
}

// Procedure returns the procedure with that name or in that file, like
// [Library.Find].
func (l *Library) Procedure(name string) (*Document, error) {
	doc, err := l.find(name, "procedure")
	if err == nil && !doc.Starts() {
		return nil, &KindError{doc.Name(), "holds steps for other procedures to use, and is never started itself"}
	}
	return doc, err
}

// Builds are the builds of a design. Of the embedded documents only those of the design
// are read.
func (l *Library) Builds(design string) []Entry {
	entries, _, _ := l.before(shippedHeaded(func(_ string, head []byte) bool { return designIn(head) == design }))
	return sorting.Delete(entries, func(e Entry) bool {
		p := e.Document.Procedure
		return p == nil || p.Kind != steps.Build || p.Design != design
	})
}

// Serving are the documents that can be carried out on a design, in the order of
// [Library.List]. Of the embedded ones those of other designs are not read.
func (l *Library) Serving(sheet *steps.Sheet) []*Document {
	entries, _, _ := l.before(shippedHeaded(func(_ string, head []byte) bool { of := designIn(head); return of == "" || of == sheet.Name }))
	var serving []*Document
	for _, e := range entries {
		if e.Document.Serves(sheet) {
			serving = append(serving, e.Document)
		}
	}
	return serving
}

// BeforeFlight are the checks that come before a flight by what they say. Of the embedded
// documents only those are read.
func (l *Library) BeforeFlight() []*Document {
	entries, _, _ := l.before(shippedHeaded(func(_ string, head []byte) bool { return bytes.Contains(head, []byte("\nbefore:")) }))
	var checks []*Document
	for _, e := range entries {
		if p := e.Document.Procedure; p != nil && p.Flight != "" {
			checks = append(checks, e.Document)
		}
	}
	return checks
}

// BuildOf returns the build of a design, one's own before the embedded one.
func (l *Library) BuildOf(design string) (*steps.Procedure, error) {
	var found *steps.Procedure
	for _, e := range l.Builds(design) {
		if found == nil || e.From != Embedded {
			found = e.Document.Procedure
		}
	}
	if found == nil {
		return nil, &NotFoundError{Name: design, What: "build"}
	}
	return found, nil
}

// anyDocument is what is looked for where it may be of any kind.
const anyDocument = "document"

// is reports whether the document is what is looked for.
func (d *Document) is(what string) bool { return what == anyDocument || what == d.NameKey() }

func (l *Library) find(name, what string) (*Document, error) {
	if isFile(name) {
		if !exists(name) {
			return nil, &NotFoundError{Name: name, What: "file"}
		}
		doc, _, faults := parseFile(name, (&shelf{folder: l.folder}).find)
		switch {
		case len(faults) > 0:
			return nil, faults.capped()
		case !doc.is(what):
			return nil, &KindError{name, "is a " + doc.Kind() + ", not a " + what}
		}
		return doc, nil
	}
	doc, err := l.findOwn(name, what)
	if doc != nil || err != nil {
		return doc, err
	}
	if doc := embeddedNamed(name); doc != nil && doc.is(what) {
		return doc, nil
	}
	return nil, &NotFoundError{name, what, nearest.Of(name, l.known(what))}
}

// known are the names of what may be looked for. The embedded documents are not read for
// that.
func (l *Library) known(what string) []string {
	own, claims, _ := l.own()
	var names []string
	for _, e := range own {
		if e.Document.is(what) {
			names = append(names, e.Document.Name())
		}
	}
	for _, file := range embeddedFiles() {
		data, _ := embeddedFile(file)
		key, name := declared(data)
		if _, broken := claimed(claims, name); !broken && (what == anyDocument || what == key) {
			names = append(names, name)
		}
	}
	return names
}

// findOwn looks into the user's folder, and only into files that may be meant: faults
// in the others do no harm.
func (l *Library) findOwn(name, what string) (*Document, error) {
	paths, faults := l.paths()
	if len(faults) > 0 {
		return nil, faults
	}
	from := (&shelf{folder: l.folder}).find
	var broken error
	for _, path := range paths {
		data, err := readFile(path)
		if err != nil {
			if calledBy(path) == name {
				return nil, claimOf(path, nil, Faults{{File: path, Text: "cannot be read: " + reason(err)}}).error(name)
			}
			continue
		}
		if _, says := declared(data); says != "" && says != name && calledBy(path) != name {
			continue
		}
		doc, wrong := parseOwn(path, data, from)
		c := claimOf(path, data, wrong)
		switch {
		case len(wrong) == 0 && doc.Name() == name && doc.is(what):
			return doc, nil
		case len(wrong) > 0 && broken == nil && lists.Contains(c.names, name):
			broken = c.error(name)
		}
	}
	return nil, broken
}
