package procedures

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// Checked is a document that was checked, and the designs that it serves.
type Checked struct {
	Document *Document
	Serves   []string
}

// A Report is the outcome of a check. It is in order if there are no faults;
// notes are what may be meant so.
type Report struct {
	Documents []Checked
	Faults    Faults
	Notes     Faults
	Answers   int // answers of triage tables that were composed with sheets
	Unfit     int // answers of the embedded tables that can't be started on a design of one's own
}

// Check checks files together, and with what of the library depends on them:
// each in itself, every procedure against its design sheet, from among the
// files or else from the library, and every answer of a triage table on every
// design that it serves. A procedure without a design must serve one sheet at
// least. The error is the context's.
func (l *Library) Check(ctx context.Context, files ...string) (Report, error) {
	c := checker{ctx: ctx}
	from := (&shelf{files: files, folder: l.folder}).find
	for _, file := range files {
		if err := ctx.Err(); err != nil {
			return Report{}, err
		}
		doc, data, wrong := parseFile(file, from)
		if doc == nil {
			c.unread = append(c.unread, claimOf(file, data, wrong))
			c.faults = append(c.faults, wrong...)
			continue
		}
		c.add(doc, file, wrong)
	}
	entries, claims, _ := l.list()
	c.beside(entries, claims)
	return c.report()
}

// CheckAll checks the whole library: one's own documents and the embedded ones
// that they leave in force.
func (l *Library) CheckAll(ctx context.Context) (Report, error) {
	c := checker{ctx: ctx, whole: true}
	entries, claims, faults := l.list()
	c.faults = faults
	for _, e := range entries {
		c.add(e.Document, e.From, nil)
	}
	for _, claim := range claims {
		c.unread = append(c.unread, claim)
		c.faults = append(c.faults, claim.faults...)
	}
	return c.report()
}

// A checker checks documents together.
type checker struct {
	ctx    context.Context
	whole  bool        // it is a whole library
	docs   []*Document // those that are checked
	rest   []*Document // what they meet in the library
	unread []claim     // files that could not be read
	own    map[*Document]bool
	bad    map[*Document]bool // those with faults in themselves
	faults Faults
	notes  Faults
	count  int // answers composed
	said   map[string]bool
	unfits []unfits
	fits   map[[2]*Document]Faults // of a procedure and a sheet
}

// wrong are the faults of a procedure against a sheet, which are found once: many rules ask for them.
func (c *checker) wrong(d, sheet *Document) Faults {
	of := [2]*Document{d, sheet}
	faults, known := c.fits[of]
	if !known {
		if c.fits == nil {
			c.fits = map[[2]*Document]Faults{}
		}
		faults = slices.Clip(d.against(sheet.Sheet, sheet.doubts))
		c.fits[of] = faults
	}
	return faults
}

// serves is [Document.Serves] for a sheet that is checked.
func (c *checker) serves(d, sheet *Document) bool {
	if len(sheet.doubts.names) > 0 {
		return d.Serves(sheet.Sheet)
	}
	return d.meantFor(sheet.Sheet) && len(c.wrong(d, sheet)) == 0
}

func (c *checker) add(doc *Document, from string, wrong Faults) {
	for _, other := range c.docs {
		if other.Name() == doc.Name() && doc.Name() != "" {
			wrong = append(wrong, Fault{from, 1, 1, fmt.Sprintf("the name %q is used by %s too", doc.Name(), other.File)})
		}
	}
	c.mine(doc, from)
	for _, other := range c.docs {
		if says := twice(doc, other); says != "" && c.own[doc] && c.own[other] {
			c.faults = append(c.faults, Fault{from, 1, 1, says})
		}
	}
	if len(wrong) > 0 {
		if c.bad == nil {
			c.bad = map[*Document]bool{}
		}
		c.bad[doc] = true
	}
	c.docs = append(c.docs, doc)
	c.faults = append(c.faults, wrong...)
}

func (c *checker) mine(doc *Document, from string) {
	if c.own == nil {
		c.own = map[*Document]bool{}
	}
	c.own[doc] = from != Embedded
}

// beside adds the documents of the library that have other names than those
// that are checked.
func (c *checker) beside(entries []Entry, claims []claim) {
	for _, e := range entries {
		name := e.Document.Name()
		if _, unread := claimed(c.unread, name); unread {
			continue
		}
		stays := e.Document.Triage != nil && e.Document.Embedded
		if !stays && slices.ContainsFunc(c.docs, func(d *Document) bool { return d.Name() == name }) {
			continue
		}
		c.mine(e.Document, e.From)
		c.rest = append(c.rest, e.Document)
	}
	for _, claim := range claims {
		if !slices.ContainsFunc(c.docs, func(d *Document) bool { return lists.Contains(claim.names, d.Name()) }) {
			c.unread = append(c.unread, claim)
		}
	}
}

func (c *checker) all() []*Document { return slices.Concat(c.docs, c.rest) }

func (c *checker) sheets() []*Document {
	return sorting.Delete(c.all(), func(d *Document) bool { return d.Sheet == nil })
}

// reglued finds reworks that glue a joint anew which nothing has joined. Of a design that has
// no build yet that is noted only.
func (c *checker) reglued(sheet *Document) Faults {
	var known, missing []string
	built := false
	for _, d := range c.all() {
		if !c.serves(d, sheet) {
			continue
		}
		if d.doubts.lostAny(joins) {
			return nil
		}
		built = built || d.Procedure.Kind == steps.Build
		for _, s := range d.Procedure.Steps() {
			if s.Kind.Traits().Joins && !lists.Contains(known, s.Joint) {
				known = append(known, s.Joint)
			}
		}
	}
	var faults Faults
	for _, g := range sheet.Sheet.Gates {
		for _, w := range g.Reworks {
			if w.Joint != "" && len(known) > 0 && !lists.Contains(known, w.Joint) {
				if !lists.Contains(missing, w.Joint) {
					missing = append(missing, w.Joint)
				}
				faults = sheet.also(faults, sheet.places[reworkAt(w.Joint)], fmt.Sprintf("the rework of %s glues the joint %s, which no procedure of the design joins%s", g.Name, w.Joint, suggest(w.Joint, known)))
			}
		}
	}
	if !built && len(missing) > 0 {
		c.notes = append(c.notes, sheet.fault(top(), fmt.Sprintf("the design %s has no build in the library, so nothing joins what its reworks glue again: %s", sheet.Name(), strings.Join(missing, ", "))))
		return nil
	}
	return faults
}

// report checks what was added.
func (c *checker) report() (Report, error) {
	var out Report
	sheets := c.sheets()
	for _, doc := range c.docs {
		if err := c.ctx.Err(); err != nil {
			return Report{}, err
		}
		served, wrong := c.against(doc, sheets)
		if doc.Triage != nil {
			wrong = c.answered(doc)
		}
		for _, sheet := range sheets {
			if lists.Contains(served, sheet.Sheet.Name) && !c.bad[sheet] {
				wrong = append(wrong, doc.releasing(sheet.Sheet)...)
				never, notes := doc.harming(sheet.Sheet)
				wrong, c.notes = append(wrong, never...), slices.Concat(c.notes, notes, doc.dryLate(sheet.Sheet))
			}
		}
		c.faults = slices.Concat(c.faults, wrong, doc.undrawn(c.ctx))
		out.Documents = append(out.Documents, Checked{doc, served})
	}
	for _, doc := range c.rest { // what depends on a sheet that is checked
		if !doc.Starts() {
			continue
		}
		for _, sheet := range c.docs {
			if sheet.Sheet != nil && doc.Procedure.Design == sheet.Sheet.Name {
				c.faults = append(c.faults, c.wrong(doc, sheet)...)
			}
		}
	}
	for _, sheet := range c.docs {
		if sheet.Sheet != nil {
			c.faults = append(c.faults, c.reglued(sheet)...)
		}
	}
	if err := c.compose(); err != nil {
		return Report{}, err
	}
	c.meant()
	for _, u := range c.unfits {
		out.Unfit += len(u.names)
		c.notes = append(c.notes, u.note())
	}
	if c.whole {
		c.unused()
	}
	out.Faults, out.Notes, out.Answers = c.faults.sorted().once().capped(), c.notes.sorted().once().capped(), c.count
	return out, c.ctx.Err()
}

// releasing finds a release that can never be given, as no critical gate proves
// the airframe straight. It is asked of a check alone: what was begun goes on.
func (d *Document) releasing(sheet *steps.Sheet) Faults {
	i := slices.IndexFunc(d.Procedure.Steps(), func(s *steps.Step) bool { return s.Kind.Traits().Releases })
	if i < 0 {
		return nil
	}
	for _, has := range covering(d.variantsOn(sheet)) {
		if !slices.ContainsFunc(sheet.GatesFor(steps.Selection{Has: has}), func(g steps.Gate) bool { return g.Critical && !g.Work }) {
			return Faults{d.fault(d.places[stepAt(d.Procedure.Steps()[i].Name)],
				fmt.Sprintf("no release can ever be given%s: the design %s has no critical gate there", variant{options: has}.when(), sheet.Name))}
		}
	}
	return nil
}

// against checks a procedure against the sheets that it may serve.
func (c *checker) against(d *Document, sheets []*Document) (serves []string, faults Faults) {
	if !d.Starts() {
		return nil, nil
	}
	var names []string
	var least Faults
	for _, s := range sheets {
		names = append(names, s.Sheet.Name)
		if d.Procedure.Design != "" && d.Procedure.Design != s.Sheet.Name {
			continue
		}
		wrong := c.wrong(d, s)
		if d.hasUnknown(option, optionNames(s.Sheet)) {
			// What is wrong with the order may follow from the option.
			c.faults = sorting.Delete(c.faults, func(f Fault) bool { return lists.Contains(d.late, f) })
		}
		if len(wrong) == 0 {
			serves = append(serves, s.Sheet.Name)
		} else if least == nil || len(wrong) < len(least) {
			least = wrong
		}
	}
	at := top()
	switch {
	case len(serves) > 0:
		return serves, nil
	case least != nil:
		return nil, least // the faults for the design that it fits best
	case d.Procedure.Design != "":
		return nil, c.missing(d, at, design, d.Procedure.Design, names)
	case len(c.unread) > 0:
		return nil, nil // which may be the design
	}
	return nil, Faults{d.fault(at, "no design sheet has everything it names")}
}

// missing says that a document is not there. Where a file with faults may be it,
// that file's faults say enough, if they are said.
func (c *checker) missing(d *Document, at place, what thing, name string, known []string) Faults {
	claim, ok := claimed(c.unread, name)
	switch {
	case ok && lists.Contains(c.faults, claim.faults[0]):
		return nil
	case ok:
		return Faults{d.fault(at, claim.error(name).Error())}
	case lists.Contains(known, ""):
		return nil // one of them may be called so
	}
	return Faults{d.fault(at, fmt.Sprintf("unknown %s %q%s", what, name, suggest(name, known)))}
}

// answered finds what a triage table names and the library has not.
func (c *checker) answered(d *Document) Faults {
	known := c.all()
	var sheets []*steps.Sheet
	var doubt doubts
	var names []string
	for _, s := range c.sheets() {
		names = append(names, s.Name())
		if d.Triage.Design != "" && d.Triage.Design != s.Name() {
			continue
		}
		sheets = append(sheets, s.Sheet)
		if s.doubts.of(zone) {
			doubt.name(zone)
		}
	}
	var faults Faults
	if d.Triage.Design != "" && len(sheets) == 0 {
		faults = c.missing(d, top(), design, d.Triage.Design, names)
		doubt.name(zone)
	}
	faults = append(faults, d.answered(sheets, known, doubt)...)
	// A file that could not be read may be what is named.
	return sorting.Delete(faults, func(f Fault) bool {
		name, ok := strings.CutPrefix(f.Text, "unknown procedure \"")
		if !ok {
			return false
		}
		name, _, _ = strings.Cut(name, "\"")
		claim, ok := claimed(c.unread, name)
		return ok && lists.Contains(c.faults, claim.faults[0])
	})
}
