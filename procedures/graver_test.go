package procedures

import (
	"strings"
	"testing"
)

// The embedded table with one row changed: what asks less of graver damage, and what
// leaves a total loss without an answer, is told with its row.
func TestGraverNeverAsksLess(t *testing.T) {
	data, err := embeddedFile("crash-triage")
	if err != nil {
		t.Fatal(err)
	}
	docs := map[string]*Document{}
	c := &checker{}
	for _, e := range shipped() {
		docs[e.Document.Name()] = e.Document
		c.rest = append(c.rest, e.Document)
	}
	for _, test := range []struct{ name, old, new, want string }{
		{"as it is", "why", "why", ""},
		{"fewer cures", "finding: twisted, zone: pod, severity: [slight, serious], repair: pod-broken", "finding: twisted, zone: pod, severity: slight, repair: pod-broken, why: x}\n  - {finding: twisted, zone: pod, severity: serious, repair: inspect",
			"twisted on pod, serious, is answered with inspect, which does not measure controls or pod or radio again, as pod-broken"},
		{"no cure", "finding: crushed, zone: wing, severity: [slight, serious], repair: foam-cracked", "finding: crushed, zone: wing, severity: slight, repair: foam-cracked, why: x}\n  - {finding: crushed, zone: wing, severity: serious, repair: wing-twisted",
			"crushed on wing, serious, is answered with wing-twisted, which lets 0 joints cure in place of 1, as foam-cracked"},
		{"nothing makes it anew", "finding: propeller-nicked, zone: propeller, replace: propeller-change", "finding: propeller-nicked, zone: propeller, severity: [slight, serious], replace: propeller-change, why: x}\n  - {finding: propeller-nicked, zone: propeller, severity: total, scrap: yes",
			"propeller-nicked on propeller, total, is lost, and no build of causeway makes propeller anew"},
	} {
		table, faults := parse("crash-triage.yaml", []byte(strings.Replace(string(data), test.old, test.new, 1)), (&shelf{}).find)
		if len(faults) > 0 {
			t.Fatalf("%s: %v", test.name, faults)
		}
		got := c.graver(docs["causeway"], []*Document{table}, docs)
		if test.want == "" && len(got) == 0 {
			continue
		}
		row := strings.Count(strings.Split(string(data), test.old)[0], "\n") + 2 // the row that was put in
		if len(got) != 1 || !strings.Contains(got[0].Text, test.want) || got[0].Line != row {
			t.Errorf("%s: %v, want line %d: %s", test.name, got, row, test.want)
		}
	}
}
