package procedures

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"
	"unicode"
)

func FuzzRead(f *testing.F) {
	for _, text := range []string{
		userText, sharedText,
		strings.Replace(sharedText, "kind: steps", "kind: check", 1),
		"procedure: a\nkind: repair\nstages:\n- stage: s-<b>\n  each: {b: [c, d]}\n  with: [e, f]\n  use: [safe/first, safe/air-the-bench]\n",
		"procedure: a\nkind: steps\ntitle: b\nrevision: 2\nchanges: {1: c, 2: d}\nstages:\n- {stage: a, steps: [{each: {b: [c]}, steps: [{step: d-<b>, do: <B>, was: e, short: f, alone: no, why: g}]}, {use: safe/last}]}\n",
		sheetText, gatesText, buildText, repairText, triageText, dangerText, "", "a: b\n", "design: [", "design: &a a\ntitle: *a\n", "design: !!str a\n<<: {b: c}\n",
		"design: a\n---\ndesign: b\n", "design: a\ngates: {b: {alike: 1/0 mm, pairs: [[c, c]]}}\n", "design: a\ntitle: \"\\e\"\n",
		"design: a\nzones: [b]\ngauges: {c: {title: c, resolution: 1 mm}}\ngates: {d: {title: d, points: [e], result: {angle: {rise: e, run: 1 mm}}, at_most: 1°, gauge: c, of: work}}\n",
		"procedure: a\nkind: \"b\\nc\"\nstages: [{stage: a, after: [a], steps: [{step: b, release: yes}]}]\n",
		"procedure: a\nkind: build\nstages:\n- {stage: a, steps: [{step: b, coat: c}, {step: b, join: {}}, {step: d, wait: {joint: e}, with: f, without: g}]}\n",
	} {
		f.Add([]byte(text))
	}
	for _, e := range shipped() {
		data := e.Document.Bytes
		f.Add(data[:bytes.LastIndexByte(data[:min(len(data), 4000)], '\n')+1])
	}
	sheet, err := Parse("sheet.yaml", []byte(sheetText))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		doc, err := Read("x.yaml", data)
		if err == nil {
			again, err := Read("x.yaml", data)
			if err != nil || !reflect.DeepEqual(doc, again) {
				t.Errorf("read again, it differs: %v", err)
			}
			if !isName(doc.Name()) || doc.Title() == "" || doc.Revision() < 1 || rank(&Entry{Document: doc}) < 0 {
				t.Errorf("%q, %q, revision %d, kind %q", doc.Name(), doc.Title(), doc.Revision(), doc.Kind())
			}
		}
		shown(t, err)
		parsed, err := Parse("x.yaml", data)
		shown(t, err)
		if err == nil {
			if parsed.Starts() {
				alone(t, parsed)
			}
			if faults := parsed.Against(sheet.Sheet); len(faults) > 0 {
				shown(t, faults)
			}
			parsed.Serves(sheet.Sheet)
		}
	})
}

// shown checks that an error is printable faults, in order, without duplicates.
func shown(t *testing.T, err error) {
	t.Helper()
	if err == nil {
		return
	}
	var faults Faults
	if !errors.As(err, &faults) || len(faults) == 0 {
		t.Fatalf("the error is %T: %v", err, err)
	}
	for _, f := range faults {
		if f.File != "x.yaml" && embeddedNamed(strings.TrimSuffix(f.File, ".yaml")) == nil {
			t.Errorf("a fault of the file %q", f.File)
		}
		if strings.ContainsFunc(f.Text, func(c rune) bool { return unsafe(c) || unicode.IsControl(c) }) {
			t.Errorf("%q holds a control character", f.Text)
		}
	}
	orderly(t, faults)
}
