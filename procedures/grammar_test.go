package procedures

import (
	"strings"
	"testing"

	"fettle/steps"
)

// The examples of the grammar are documents without a fault that refer to each
// other.
func TestExamplesAreDocuments(t *testing.T) {
	blocks := strings.Split(Grammar(), "```yaml\n")[1:]
	if len(blocks) != len(forms()) {
		t.Fatalf("%d examples of %d forms", len(blocks), len(forms()))
	}
	var docs []*Document
	for _, block := range blocks {
		text, _, _ := strings.Cut(block, "```")
		doc, err := Parse("x.yaml", []byte(text))
		if err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		docs = append(docs, doc)
	}
	sheet, procedure, triage := docs[0].Sheet, docs[1], docs[2]
	if faults := procedure.Against(sheet); len(faults) > 0 {
		t.Errorf("the procedure on the design: %v", faults)
	}
	for _, ref := range triage.names {
		if ref.to == zone && !strings.Contains(strings.Join(sheet.Zones, " "), ref.name) {
			t.Errorf("the triage table names the zone %s, which the design does not have", ref.name)
		}
	}
	met := map[steps.Kind]bool{}
	for _, s := range procedure.Procedure.Steps() {
		met[s.Kind] = true
	}
	for _, k := range stepKinds() {
		if !met[k.kind] && k.is.typ != nil {
			t.Errorf("no step of the example is a %s", k.kind)
		}
	}
}

// Every key of every mapping is explained.
func TestGrammarNamesEveryKey(t *testing.T) {
	var rows func(*typ) []row
	rows = func(of *typ) []row {
		all := of.keys
		for _, r := range of.keys {
			all = append(all, rows(r.typ)...)
		}
		for _, one := range of.of {
			all = append(all, rows(one)...)
		}
		return all
	}
	text := Grammar()
	for _, f := range forms() {
		for _, r := range rows(f.typ) {
			if r.need == ours {
				continue
			}
			if line := "- `" + r.name + "` (" + inWords(r.typ); r.help == "" || inWords(r.typ) == "" || !strings.Contains(text, line) || !strings.Contains(text, "): "+r.help+"\n") {
				t.Errorf("the key %s of %s is not explained: %q", r.name, f.typ.what, r.help)
			}
		}
	}
}
