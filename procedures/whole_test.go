package procedures

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A table whose answer can't be started is not in order: it would be found out
// after the crash.
func TestAnswersThatCannotStart(t *testing.T) {
	set := map[string]string{
		"sheet.yaml": sheetText, "build.yaml": buildText, "foam.yaml": triageText,
		"mend.yaml": strings.Replace(repairText, "on: [wing, tail]", "on: [wing, tail, radio]", 1),
	}
	for name, c := range map[string]struct {
		file string
		edit []string
		at   string
		want string
	}{
		"a condition the design has not": {"mend.yaml", []string{"        do: Mend it.\n", "        do: Mend it.\n        needs: {battery: out}\n"}, "mend.yaml:", `unknown condition "battery"`},
		"a zone it is not written for":   {"mend.yaml", []string{"on: [wing, tail, radio]", "on: [wing, tail]"}, "foam.yaml:10:5", "dented on radio is answered with finch-mend, which can't be started on the design finch: finch-mend is not written for that zone"},
	} {
		texts := map[string]string{}
		for file, text := range set {
			texts[file] = text
		}
		texts[c.file] = faulty{edit: c.edit}.text(t, texts[c.file])
		folder := files(t, texts)
		report, err := Open("").Check(t.Context(), filepath.Join(folder, "sheet.yaml"), filepath.Join(folder, "mend.yaml"), filepath.Join(folder, "foam.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		if len(report.Faults) != 1 || !strings.Contains(report.Faults[0].Error(), c.at) || !strings.Contains(report.Faults[0].Text, c.want) {
			t.Errorf("%s:\n%v", name, report.Faults)
		}
		// The same where they are a library.
		if report := wholeOwn(t, folder); len(report.Faults) != 1 || !strings.Contains(report.Faults[0].Text, c.want) {
			t.Errorf("%s, as a library:\n%v", name, report.Faults)
		}
	}
}

// wholeOwn checks a library of one's own documents alone. That the embedded ones are in order, which takes longer than all
// of these tests, is found out once, by TestEmbeddedHaveNoFault; the script check.txtar of the commands checks the two together.
func wholeOwn(t *testing.T, folder string) Report {
	t.Helper()
	c := checker{ctx: t.Context(), whole: true}
	entries, _, faults := Open(folder).list()
	c.faults = faults
	for _, e := range entries {
		if e.From != Embedded {
			c.add(e.Document, e.From, nil)
		}
	}
	report, err := c.report()
	if err != nil || len(c.docs) == 0 {
		t.Fatalf("%d documents, %v", len(c.docs), err)
	}
	return report
}

// What is written for a sheet is checked with it.
func TestDependants(t *testing.T) {
	folder := files(t, map[string]string{"build.yaml": buildText})
	changed := files(t, map[string]string{"sheet.yaml": strings.Replace(sheetText, "  slot:\n", "  depth:\n", 1)})
	report, err := Open(folder).Check(t.Context(), filepath.Join(changed, "sheet.yaml"))
	if err != nil || len(report.Faults) != 1 || !strings.HasPrefix(report.Faults[0].Error(), filepath.Join(folder, "build.yaml")+`:29:19: unknown gate "slot"`) {
		t.Errorf("%v\n%v", err, report.Faults)
	}
}

func TestUnused(t *testing.T) {
	folder := files(t, map[string]string{"sheet.yaml": faulty{edit: []string{
		"  rule: {title", "  tape: {title: Tape, resolution: 1 mm}\n  rule: {title", "  epoxy:\n", "  resin:\n",
	}}.text(t, sheetText), "build.yaml": buildText})
	report := wholeOwn(t, folder)
	if len(report.Faults) > 0 {
		t.Fatalf("%v", report.Faults)
	}
	path := filepath.Join(folder, "sheet.yaml")
	for _, want := range []string{path + ":18:3: the adhesive resin coats no joint", path + ":26:3: the gauge tape measures no gate", path + ":50:3: the gate balance is measured by no step"} {
		found := false
		for _, n := range report.Notes {
			found = found || strings.HasPrefix(n.Error(), want)
		}
		if !found {
			t.Errorf("no note %s in\n%v", want, report.Notes)
		}
	}
}

// A file of one's own with faults harms nobody but who wants it, and is never
// replaced by the embedded document of its name.
func TestBrokenFileHarmsItselfAlone(t *testing.T) {
	folder := files(t, map[string]string{
		"my-triage.yaml":  "triage: crash-triage\ntitle: Mine\nfindings: {\n",
		"wing-split.yaml": strings.Repeat("[", 10_000),
		"a.yaml":          strings.Replace(repairText, "revision: 1", "revision: x", 1),
		"mine.yaml":       sheetText,
	})
	l := Open(folder)
	for name, file := range map[string]string{"crash-triage": "my-triage.yaml", "wing-split": "wing-split.yaml", "finch-mend": "a.yaml"} {
		var broken *BrokenError
		_, err := l.Find(name)
		if !errors.As(err, &broken) || broken.Name != name || broken.File != filepath.Join(folder, file) || !strings.Contains(err.Error(), broken.Faults[0].Error()) {
			t.Errorf("%s: %v", name, err)
		}
		var faults Faults
		if !errors.As(err, &faults) {
			t.Errorf("%s: the error is not a fault", name)
		}
	}
	var broken *BrokenError
	if _, err := l.Tables("causeway"); !errors.As(err, &broken) || broken.Name != "crash-triage" {
		t.Errorf("the embedded table stands for the broken one: %v", err)
	}
	for _, name := range []string{"finch", "causeway", "causeway-build", "boom-snapped"} {
		if _, err := l.Find(name); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	entries, faults := l.List()
	for _, e := range entries {
		if name := e.Document.Name(); name == "crash-triage" || name == "wing-split" {
			t.Errorf("%s is listed, from %s", name, e.From)
		}
	}
	if len(faults) < 3 {
		t.Errorf("faults:\n%v", faults)
	}
	// A table that names the broken repair, and a build for a broken sheet.
	if err := os.WriteFile(filepath.Join(folder, "mine.yaml"), []byte(strings.Replace(sheetText, "title: Finch", "title: [", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	build := files(t, map[string]string{"build.yaml": buildText})
	report, err := l.Check(t.Context(), filepath.Join(build, "build.yaml"))
	if err != nil || len(report.Faults) != 1 || !strings.Contains(report.Faults[0].Text, "finch is in a file of your library that has faults: "+filepath.Join(folder, "mine.yaml")) {
		t.Errorf("%v\n%v", err, report.Faults)
	}
}

// Where the sheet is an argument and can't be read, nothing is said of the
// build that may only follow from that.
func TestFaultsOfOthersAreLeftOut(t *testing.T) {
	folder := files(t, map[string]string{"sheet.yaml": strings.Replace(sheetText, "zones: [wing, tail, radio]", "zones: [wing, tail, \x01radio]", 1), "build.yaml": buildText})
	report, err := Open("").Check(t.Context(), filepath.Join(folder, "sheet.yaml"), filepath.Join(folder, "build.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if len(report.Faults) != 1 || report.Faults[0].File != filepath.Join(folder, "sheet.yaml") || report.Faults[0].Line != 4 {
		t.Errorf("%v", report.Faults)
	}
}

func TestNeedsAgainstTheOrder(t *testing.T) {
	run(t, buildText, []faulty{
		{name: "needed on before it is fitted", edit: []string{"      - step: fit\n        do: Lay it in.\n", "      - §step: run-up\n        do: Run it up.\n        needs: {propeller: on}\n      - step: fit\n        do: Lay it in.\n        sets: {propeller: on}\n"},
			want: "it needs propeller: on, which the step fit sets after it; before it, count sets another state"},
	})
	for name, edit := range map[string][]string{
		"fitted before":     {"      - step: fit\n        do: Lay it in.\n", "      - step: fit\n        do: Lay it in.\n        sets: {propeller: on}\n      - step: run-up\n        do: Run it up.\n        needs: {propeller: on}\n"},
		"set by nobody":     {"      - step: fit\n", "      - step: run-up\n        do: Run it up.\n        needs: {propeller: on}\n      - step: fit\n"},
		"beside each other": {"      - step: fit\n", "      - step: run-up\n        do: Run it up.\n        needs: {propeller: on}\n      - step: fit\n", "      - step: care\n", "      - step: care\n        sets: {propeller: on}\n"},
	} {
		if faults := faultsOf(t, faulty{edit: edit}.text(t, buildText)); len(faults) > 0 {
			t.Errorf("%s:\n%v", name, faults)
		}
	}
}

func TestHints(t *testing.T) {
	run(t, sheetText, []faulty{
		{name: "max", edit: []string{"    at_most: 50 mm\n", "    §max: 50 mm\n"}, want: `unknown key "max" in the gate balance; did you mean "at_most"?`},
		{name: "min", edit: []string{"    at_least: 10 mm\n", "    §min: 10 mm\n"}, want: `did you mean "at_least"?`},
		{name: "less than", edit: []string{"at_most: 50 mm", "at_most: §< 560 g"}, want: "write the number and its unit alone: 560 g"},
		{name: "decimal commas", edit: []string{"[3.5 mm, 4.5 mm]", "[52,§5 mm, 60 mm]"}, want: "the comma before this parts the list, not the number; write: [52.5 mm, 60 mm]"},
	})
	run(t, buildText, []faulty{
		{name: "a colon in a line of a hold", edit: []string{"hold: {confirm: [The mat is clear]}", "hold:\n          confirm:\n            - §Blades: all in their tin"}, want: `the ": " makes a key of it; write: "Blades: all in their tin"`},
		{name: "brackets about a text", edit: []string{"do: Count the parts.", "do: §[Count the parts]"}, want: "text that begins with [ needs quotes"},
		{name: "a hash at the beginning", edit: []string{"do: Count the parts.", "do:§ #3 is counted"}, want: "do is empty"},
	})
}

// A build whose release can never be given is not in order: nothing on such an
// airframe proves it straight.
func TestReleaseThatCanNeverBeGiven(t *testing.T) {
	sheet := func(critical, with string) string {
		return "design: wren\ntitle: Wren\nrevision: 1\nzones: [wing]\noptions: {rudder: A rudder}\ngauges: {rule: {title: Rule, resolution: 0.5 mm}}\n" +
			"gates: {slot: {title: Slot, at_least: 3 mm, gauge: rule, of: [wing], critical: " + critical + with + "}}\n"
	}
	build := "procedure: wren-build\nkind: build\ndesign: wren\ntitle: Build it\nrevision: 1\nstages:\n  - stage: all\n    steps:\n" +
		"      - {step: slots, measure: [slot]WITH}\n      - {step: release, release: yes}\n"
	for _, test := range []struct{ critical, with, want string }{
		{"yes", "", ""},
		{"no", "", "10:9: no release can ever be given: the design wren has no critical gate there"},
		{"yes", ", with: rudder", "10:9: no release can ever be given: the design wren has no critical gate there"},
	} {
		folder := files(t, map[string]string{"wren.yaml": sheet(test.critical, test.with), "wren-build.yaml": strings.Replace(build, "WITH", test.with, 1)})
		report, err := Open("").Check(t.Context(), filepath.Join(folder, "wren.yaml"), filepath.Join(folder, "wren-build.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		got := report.Faults.Error()
		if test.want == "" && got != "" || !strings.HasSuffix(got, test.want) {
			t.Errorf("critical: %s%s: %q", test.critical, test.with, got)
		}
	}
	// Nor where it needs off what equipment that is aboard has on.
	for state, want := range map[string]string{"on": "", "off": "x.yaml:47:16: no release can ever be given: the step release needs propeller: off, and the camera is aboard with propeller: on"} {
		sheet, err1 := Parse("s.yaml", []byte(strings.Replace(sheetText, "disturbs: [wing]}", "disturbs: [wing], aboard: {propeller: on}}", 1)))
		doc, err2 := Parse("x.yaml", []byte(strings.Replace(buildText, "sets: {propeller: off}", "sets: {propeller: "+state+"}", 1)+"        needs: {propeller: "+state+"}\n"))
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		if got := doc.Against(sheet.Sheet); got.Error() != want && (want != "" || len(got) > 0) {
			t.Errorf("released with the propeller %s: %q", state, got)
		}
	}
}
