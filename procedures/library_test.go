package procedures

import (
	"cmp"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"fettle/steps"
)

func TestEmbeddedHaveNoFault(t *testing.T) {
	t.Parallel()
	var known []*Document
	var sheets []*steps.Sheet
	for _, name := range embeddedFiles() {
		data, err := embeddedFile(name)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := Parse(name+".yaml", data)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if doc.Name() != name {
			t.Errorf("%s.yaml is the file of %s", name, doc.Name())
		}
		known = append(known, doc)
		if doc.Sheet != nil {
			sheets = append(sheets, doc.Sheet)
		}
	}
	tailVolumes(t, sheets)
	report, err := Open("").CheckAll(t.Context())
	if err != nil || len(report.Faults) > 0 {
		t.Errorf("%v\n%v", err, report.Faults)
	}
	if len(report.Documents) != len(known) || report.Answers < 100 {
		t.Errorf("%d documents were checked, and %d answers composed", len(report.Documents), report.Answers)
	}
	if len(report.Notes) > 0 {
		t.Errorf("notes:\n%v", report.Notes)
	}
	for _, c := range report.Documents {
		for _, s := range sheets {
			if slices.Contains(c.Serves, s.Name) != c.Document.Serves(s) {
				t.Errorf("%s and %s: served by the one account alone", c.Document.Name(), s.Name)
			}
		}
	}
	entries, faults := Open("").List()
	if len(faults) > 0 || len(entries) != len(known) {
		t.Errorf("%d listed of %d, and %v", len(entries), len(known), faults)
	}
	for _, e := range entries {
		if e.From != Embedded || e.Document.Title() == "" || e.Document.Revision() < 1 {
			t.Errorf("%s: %q, %q, revision %d", e.Document.Name(), e.From, e.Document.Title(), e.Document.Revision())
		}
	}
	if !slices.IsSortedFunc(entries, func(a, b Entry) int { return rank(&a) - rank(&b) }) {
		t.Error("not sorted by kind")
	}
}

func TestCauseway(t *testing.T) {
	l := Open("")
	sheet, err := l.Sheet("causeway")
	if err != nil {
		t.Fatal(err)
	}
	build, err := l.Procedure("causeway-build")
	if err != nil {
		t.Fatal(err)
	}
	snapped, err := l.Find("boom-snapped")
	if err != nil {
		t.Fatal(err)
	}
	for what, c := range map[string]struct{ have, least int }{
		"steps":   {len(build.Procedure.Steps()), 55},
		"joints":  {count(build, steps.Join), 10},
		"holds":   {count(build, steps.Hold), 10},
		"options": {len(sheet.Sheet.Options), 2},
		"gates":   {len(sheet.Sheet.Gates), 16},
	} {
		if c.have < c.least {
			t.Errorf("%d %s, want %d at least", c.have, what, c.least)
		}
	}
	for _, d := range []*Document{build, snapped} {
		if !d.Serves(sheet.Sheet) {
			t.Errorf("%s does not serve the causeway:\n%v", d.Name(), d.Against(sheet.Sheet))
		}
	}
	for kind, d := range map[string]*Document{KindDesign: sheet, steps.Build: build, steps.Repair: snapped} {
		if d.Kind() != kind {
			t.Errorf("%s is a %s, want a %s", d.Name(), d.Kind(), kind)
		}
	}
	if sheet.Serves(sheet.Sheet) {
		t.Error("a sheet serves no sheet")
	}
}

func count(d *Document, kind steps.Kind) int {
	n := 0
	for _, s := range d.Procedure.Steps() {
		if s.Kind == kind {
			n++
		}
	}
	return n
}

func embeddedProcedures(t *testing.T) []*Document {
	t.Helper()
	var docs []*Document
	for _, e := range shipped() {
		if e.Document.Procedure != nil {
			docs = append(docs, e.Document)
		}
	}
	return docs
}

func TestEmbeddedStepsSayWhatAndWhy(t *testing.T) {
	for _, d := range embeddedProcedures(t) {
		for _, s := range d.Procedure.Steps() {
			if s.Why == "" {
				t.Errorf("%s: %s has no why", d.File, s.Name)
			}
			if s.Do == "" && s.Kind != steps.Hold && s.Kind != steps.Wait && s.Kind != steps.Choose {
				t.Errorf("%s: %s has no do", d.File, s.Name)
			}
		}
	}
}

// A part that is lost is made again by the steps that make it. What else such a
// step works on and makes would be made twice.
func TestEmbeddedBuildsMakeOnePartAStep(t *testing.T) {
	n := 0
	for _, d := range embeddedProcedures(t) {
		on := map[string][]string{}
		for _, m := range d.Procedure.Made() {
			on[m.Zone] = m.On
		}
		for _, s := range d.Procedure.Steps() {
			var all, worked []string
			for _, m := range s.Makes {
				all = append(all, m.Zone)
				if slices.Contains(s.Disturbs, m.Zone) {
					worked = append(worked, m.Zone)
				}
			}
			if len(worked) == 0 {
				continue
			}
			n++
			if !slices.ContainsFunc(all, func(base string) bool {
				return !slices.ContainsFunc(all, func(z string) bool { return z != base && !slices.Contains(on[z], base) })
			}) {
				t.Errorf("%s: %s makes %v, of which none carries the others", d.File, s.Name, all)
			}
		}
	}
	if n < 100 {
		t.Errorf("%d steps make what they work on", n)
	}
}

// A rework disturbs what it touches: where a gate depends on several zones, each
// way says which of them, or which gates alone it asks for again.
func TestEmbeddedReworksSayWhatTheyTouch(t *testing.T) {
	for _, e := range shipped() {
		if e.Document.Sheet == nil {
			continue
		}
		sheet := e.Document.Sheet
		for _, g := range sheet.Gates {
			for _, way := range g.Reworks {
				if len(g.Of) > 1 && len(way.Disturbs) == 0 && len(way.Again) == 0 {
					t.Errorf("%s: %s does not say what it touches: %s", sheet.Name, g.Name, way.Do)
				}
			}
			for _, c := range sheet.Geometry.Controls {
				if i := slices.IndexFunc(g.Reworks, func(w steps.Rework) bool { return slices.Contains(w.Again, c.Clevis.Gate) }); slices.Contains(c.Gates[:1], g.Name) && i < 0 {
					t.Errorf("%s: no way of reworking %s turns the clevis of %s", sheet.Name, g.Name, c.Name)
				}
			}
			if g.Name != "balance" {
				continue
			}
			var stale []string
			for _, other := range sheet.Gates {
				if other.DependsOn(g.Reworking(g.Reworks[0])...) {
					stale = append(stale, other.Name)
				}
			}
			if !slices.Contains(stale, "balance") || len(stale) > 4 {
				t.Errorf("%s: after the battery was moved, %v is measured again", sheet.Name, stale)
			}
		}
	}
}

// What repairs and checks share they use by reference: no copy can come to differ.
func TestSharedStepsAreWrittenOnce(t *testing.T) {
	type place struct{ document, step string }
	from, texts := map[string]steps.Origin{}, map[string]place{}
	n := 0
	for _, d := range embeddedProcedures(t) {
		if d.Procedure.Kind == steps.Build {
			continue
		}
		for _, s := range d.Procedure.Steps() {
			at := place{cmp.Or(s.Origin.Document, d.Name()), cmp.Or(s.Origin.Step, s.Name)}
			if one, ok := texts[s.Do]; ok && one != at && len(s.Do) > 80 {
				t.Errorf("%s of %s is written in %s too, as %s", at.step, at.document, one.document, one.step)
			}
			texts[s.Do] = at
			if !s.Shared || !d.Starts() {
				continue
			}
			n++
			if one, ok := from[s.Name]; ok && !reflect.DeepEqual(one, s.Origin) {
				t.Errorf("the shared step %s of %s is written in two places", s.Name, d.File)
			}
			from[s.Name] = s.Origin
		}
	}
	if n < 250 || len(from) < 11 {
		t.Errorf("%d shared steps of %d names", n, len(from))
	}
}

func TestOwnFolder(t *testing.T) {
	folder := files(t, map[string]string{
		"mine.yaml":    faulty{edit: []string{"design: finch", "design: causeway"}}.text(t, sheetText),
		"build.yml":    buildText,
		"mend.yaml":    repairText,
		"mend-2.yaml":  repairText,
		"foam.yaml":    triageText,
		"broken.yaml":  faulty{edit: []string{"design: finch", "design: broken", "revision: 1", "revision: x"}}.text(t, sheetText),
		"notes.txt":    "no document",
		"boom.snapped": "no document",
	})
	if err := os.Mkdir(filepath.Join(folder, "sub.yaml"), 0o700); err != nil {
		t.Fatal(err)
	}
	l := Open(folder)
	path := func(name string) string { return filepath.Join(folder, name) }

	entries, faults := l.List()
	if len(faults) != 2 || !strings.HasPrefix(faults[0].Error(), path("broken.yaml")+":3:11: revision must be") ||
		!strings.HasPrefix(faults[1].Error(), path("mend.yaml")+`:1:1: the name "finch-mend" is used by `) {
		t.Errorf("faults:\n%v", faults)
	}
	from := map[string]string{}
	for _, e := range entries {
		if from[e.Document.Name()] != "" {
			t.Errorf("%s is listed twice", e.Document.Name())
		}
		from[e.Document.Name()] = e.From
	}
	for name, want := range map[string]string{
		"causeway": path("mine.yaml"), "finch-build": path("build.yml"), "foam": path("foam.yaml"),
		"causeway-build": Embedded, "boom-snapped": Embedded, "broken": "", "finch": "",
	} {
		if from[name] != want {
			t.Errorf("%s is from %q, want %q", name, from[name], want)
		}
	}

	for _, c := range []struct {
		find       func(string) (*Document, error)
		name, want string
	}{
		{l.Find, "causeway", "Finch"},
		{l.Sheet, "causeway", "Finch"},
		{l.Sheet, path("mine.yaml"), "Finch"},
		{l.Procedure, "finch-build", "Build a Finch"},
		{l.Procedure, path("build.yml"), "Build a Finch"},
		{l.Find, "foam", "What a crash does to foam"},
		{l.Find, path("foam.yaml"), "What a crash does to foam"},
	} {
		doc, err := c.find(c.name)
		if err != nil || doc.Title() != c.want {
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
	}

	var wrong Faults
	var kind *KindError
	if _, err := l.Find("broken"); !errors.As(err, &wrong) || !strings.Contains(err.Error(), "broken.yaml:3:11: revision must be") {
		t.Errorf("broken: %v", err)
	}
	if _, err := l.Find(path("broken.yaml")); !errors.As(err, &wrong) || len(wrong) != 1 {
		t.Errorf("broken by its file: %v", err)
	}
	if _, err := l.Procedure(path("mine.yaml")); !errors.As(err, &kind) || kind.Is != "is a design, not a procedure" {
		t.Errorf("a sheet for a procedure: %v", err)
	}
	if _, err := l.Find(path("sub.yaml")); !errors.As(err, &wrong) || wrong[0].Text != "cannot be read: it is a folder" {
		t.Errorf("a folder: %v", err)
	}
}

func TestNotFound(t *testing.T) {
	t.Parallel()
	for _, l := range []*Library{Open(""), Open(t.TempDir()), Open(filepath.Join(t.TempDir(), "nowhere"))} {
		if entries, faults := l.List(); len(entries) < 3 || len(faults) > 0 {
			t.Errorf("%d entries, and %v", len(entries), faults)
		}
		for _, c := range []struct {
			find func(string) (*Document, error)
			want NotFoundError
			text string
		}{
			{l.Find, NotFoundError{"causway", "document", "causeway"}, `there is no document "causway"; did you mean "causeway"?`},
			{l.Sheet, NotFoundError{"causewy", "design", "causeway"}, `there is no design "causewy"; did you mean "causeway"?`},
			{l.Sheet, NotFoundError{"causeway-build", "design", ""}, `there is no design "causeway-build"; library list shows what there is`},
			{l.Procedure, NotFoundError{"boom-snaped", "procedure", "boom-snapped"}, `there is no procedure "boom-snaped"; did you mean "boom-snapped"?`},
			{l.Find, NotFoundError{"nowhere.yaml", "file", ""}, `there is no file "nowhere.yaml"; library list shows what there is`},
			{l.Find, NotFoundError{"../library/causeway", "file", ""}, `there is no file "../library/causeway"; library list shows what there is`},
			{l.Find, NotFoundError{"", "document", ""}, `there is no document ""; library list shows what there is`},
		} {
			_, err := c.find(c.want.Name)
			var got *NotFoundError
			if !errors.As(err, &got) || *got != c.want || err.Error() != c.text {
				t.Errorf("%q: %v, want %s", c.want.Name, err, c.text)
			}
		}
	}
}

func TestFolderThatIsAFile(t *testing.T) {
	folder := files(t, map[string]string{"a": "b"})
	entries, faults := Open(filepath.Join(folder, "a")).List()
	if len(faults) != 1 || !strings.Contains(faults[0].Text, "the library folder cannot be read: ") {
		t.Errorf("faults: %v", faults)
	}
	if len(entries) < 3 {
		t.Error("the embedded documents are there all the same")
	}
}

func TestBuildsAreFoundByDesign(t *testing.T) {
	n := 0
	for _, e := range shipped() {
		if e.Document.Kind() != steps.Build {
			continue
		}
		n++
		if p, err := Open("").BuildOf(e.Document.Procedure.Design); err != nil || p != e.Document.Procedure {
			t.Errorf("%s: %v", e.Document.Name(), err)
		}
	}
	if n < 4 {
		t.Errorf("there are %d builds", n)
	}
}

// What the first lines of a document seem to say is what it says.
func TestHeadings(t *testing.T) {
	for _, e := range shipped() {
		d := e.Document
		want := heading{design: d.Name()}
		switch {
		case d.Procedure != nil:
			want = heading{procedure: d.Name(), design: d.Procedure.Design}
		case d.Triage != nil:
			want = heading{triage: d.Name(), design: d.Triage.Design}
		}
		if got := headingOf(d.Source); got != want {
			t.Errorf("%s: %+v; want %+v", d.File, got, want)
		}
	}
	for text, want := range map[string]heading{
		"\xef\xbb\xbfdesign: tern":                                {design: "tern"},
		"# design: no\nkind: build\n{\"procedure\" : 'look-over'": {procedure: "look-over"},
		"designs: x\n: design\ndesign tern\ndesign:\n":            {},
		"triage:\ttern-crash\r\ndesign: tern\ndesign: other":      {triage: "tern-crash", design: "tern"},
	} {
		if got := headingOf([]byte(text)); got != want {
			t.Errorf("%q: %+v; want %+v", text, got, want)
		}
	}
}
