package page

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/workflow"
)

// However much there is to say, the first screen of an audit has 24 lines of 80 columns, and
// what it leaves out is counted.
func TestAuditScreenFits(t *testing.T) {
	long := func(what string, n int) (all []string) {
		for range n {
			all = append(all, what+" "+strings.Repeat("of some length ", 5))
		}
		return all
	}
	var causes []workflow.Cause
	var stale []workflow.NotPassed
	for _, text := range long("gate", 30) {
		causes = append(causes, workflow.Cause{Text: text})
		stale = append(stale, workflow.NotPassed{Why: workflow.Cause{Text: "stale: the wing was disturbed by damage D1"}, Gates: []string{"washout", "boom-gap", "square", "throw", "balance", "mass", "tail-height"}})
	}
	sum := workflow.AuditSummary{
		Entries: 10422, Readings: 3517, Releases: 12, Flights: 120, Damages: 12, OpenDamage: 3, Out: 44, Undecided: 13, Late: 31, NeverTaken: long("gate", 30), NotCurrent: stale,
		Lapsed: long("joint", 4), TooLate: long("step", 5), Corrections: long("undo", 9), Backwards: long("entry", 3), NeverChecked: long("gauge", 4), NotGood: causes,
		Build: workflow.Cause{Text: long("built", 1)[0] + long("built", 1)[0]},
	}
	record := &workflow.Record{}
	for range 9 {
		c := workflow.Concession{By: "Ro", InForce: true, Flights: 3, Until: time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC)}
		c.Gate, c.Reason = "boom-gap", long("reason", 1)[0]
		record.Concessions = append(record.Concessions, c)
		f := workflow.FlightFacts{}
		f.Grounded = long("grounded", 1)[0]
		record.Flights = append(record.Flights, f)
	}
	documents := []Cited{{Kind: "design", Name: "causeway", Revision: 12, Origin: long("from", 1)[0]}}
	s, err := workflow.Replay(nil, workflow.Documents{})
	if err != nil {
		t.Fatal(err)
	}
	s.Airframe.Mark, s.Sheet = "CW-01", &steps.Sheet{}
	a := NewAuditScreen(s, sum, record, documents, time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC))
	var b bytes.Buffer
	if err := (term.Streams{Columns: 80}).ShowTo(&b, a.Markdown(&Clock{})); err != nil {
		t.Fatal(err)
	}
	quiet := AuditScreen{}
	quiet.notPassed(stale[:2])
	if got, want := quiet.items[0].text, "not passed: 7 gates stale: the wing was disturbed by damage D1 (washout, boom-gap, square, throw and 3 more); and 7 gates for other reasons"; got != want || quiet.items[0].brief != "not passed: 14 gates, for 2 reasons" {
		t.Errorf("%q, in brief %q; want %q", got, quiet.items[0].brief, want)
	}
	shown := strings.TrimRight(b.String(), "\n")
	rows := strings.Split(shown, "\n")
	if len(rows) > 24 || len(rows) < 18 {
		t.Errorf("it has %d lines:\n%s", len(rows), shown)
	}
	for _, row := range rows {
		if n := len([]rune(row)); n > 80 {
			t.Errorf("a line of %d columns: %s", n, row)
		}
	}
	for _, says := range []string{"Grounded", "and 29 more", "and 8 more", "10422 entries", "not measured yet", "flown while grounded", "in doubt: none", "and 203 gates for other reasons"} {
		if !strings.Contains(strings.Join(strings.Fields(shown), " "), says) {
			t.Errorf("it does not say %q:\n%s", says, shown)
		}
	}
}

// So has what changed since the last good flight.
func TestSinceFits(t *testing.T) {
	was, is := 11.0, 12.345
	p := Since{Mark: "CW-01", Flight: &Entry{Says: strings.Repeat("flew ", 60)}}
	for range 30 {
		e := Entry{Says: "fitted the logger in the zone nose, 9 g"}
		gate := SinceGate{Gate: "aileron-throw", Standing: workflow.Current, Values: []SinceValue{{Of: "left-up", Was: &was, Is: &is, Unit: "mm"}, {Of: "left-up / right-up", Is: &is, Unit: "mm"}}}
		p.Flights, p.Equipment, p.Reworked = append(p.Flights, e), append(p.Equipment, e), append(p.Reworked, e.Says)
		p.Balance, p.Throws, p.Readings = append(p.Balance, gate), append(p.Throws, gate), append(p.Readings, gate)
		p.Damages = append(p.Damages, Damage{Name: "D1", Finding: "cracked", Zone: "wing"})
		p.Conditions = append(p.Conditions, SinceStated{"propeller", "off", "on"})
	}
	p.Throws[29].Standing, p.Throws[29].Reason = workflow.StaleGate, "tail was disturbed by damage D1"
	var b bytes.Buffer
	if err := (term.Streams{Columns: 80}).ShowTo(&b, p.Markdown(&Clock{})); err != nil {
		t.Fatal(err)
	}
	shown := strings.TrimRight(b.String(), "\n")
	if rows := strings.Split(shown, "\n"); len(rows) > 23 { // and the prompt
		t.Errorf("it has %d lines:\n%s", len(rows), shown)
	}
	for _, want := range []string{"Throws: aileron-throw STALE, tail was disturbed by damage D1 left-up 11 → 12.35 mm", "D1 cracked at wing (not repaired)", "propeller: off → on", "more"} {
		if !strings.Contains(strings.Join(strings.Fields(shown), " "), want) {
			t.Errorf("without %q:\n%s", want, shown)
		}
	}
}
