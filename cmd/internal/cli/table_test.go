package cli

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/repair"
	"fettle/workflow/robot"
)

const (
	developersPath = "../../../DEVELOPERS.md"
	tableHead      = "| document | steps | gates | joints | holds | choices | attended | days | lines | words |\n|---|---|---|---|---|---|---|---|---|---|\n"
)

// The table of the documents is true. The pages of each are those that next shows to a
// robot which carries it out with the first answers; by default those of one build alone,
// and with FETTLE_LONG of all. -update writes it.
func TestTableOfDocuments(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile(developersPath)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(data), tableHead)
	if !ok {
		t.Fatalf("%s has no table of documents", developersPath)
	}
	table := ""
	for row := range strings.Lines(rest) {
		if !strings.HasPrefix(row, "|") {
			break
		}
		table += row
	}
	was := map[string]string{}
	for _, row := range strings.Split(table, "\n") {
		cells := strings.Split(row, " | ")
		was[strings.TrimPrefix(cells[0], "| ")] = strings.Join(cells[max(0, len(cells)-2):], " | ")
	}

	entries, faults := procedures.Open("").List()
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{}, Procedures: map[string]*steps.Procedure{}}
	var sheets, others, builds []*procedures.Document
	for _, e := range entries {
		digest := store.Digest(e.Document.Bytes)
		docs.Sheets[digest], docs.Procedures[digest] = e.Document.Sheet, e.Document.Procedure
		switch {
		case e.Document.Sheet != nil:
			sheets = append(sheets, e.Document)
		case e.Document.Procedure == nil:
		case e.Document.Kind() == steps.Build:
			builds = append(builds, e.Document)
		default:
			others = append(others, e.Document)
		}
	}
	long := os.Getenv("FETTLE_LONG") != ""
	built := map[string]robot.Worker{}
	var now strings.Builder
	for _, d := range append(builds, others...) {
		i := slices.IndexFunc(sheets, func(s *procedures.Document) bool { return d.Serves(s.Sheet) })
		if i < 0 { // steps that others share
			continue
		}
		sheet := sheets[i]
		shown, had := was[d.Name()]
		part := slices.ContainsFunc(d.Procedure.Steps(), func(s *steps.Step) bool { return len(s.Retires) > 0 })
		switch {
		case part: // carried out in plans alone
			shown = "– | –"
		case long || d.Name() == "reed-build" || *update && !had:
			var w robot.Worker
			if w = built[sheet.Name()]; w.State == nil || d.Kind() == steps.Build {
				state, err := workflow.Replay(nil, docs)
				if err != nil {
					t.Fatal(err)
				}
				w = robot.Worker{State: state, Documents: docs, Now: time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC), By: "robot", Program: "test"}
				if err := w.Act(workflow.Register{Mark: "CW-01", Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes)}); err != nil {
					t.Fatal(err)
				}
			}
			shown = pagesOf(t, &w, d)
			if d.Kind() == steps.Build {
				w.State.Entries = slices.Clip(w.State.Entries)
				built[sheet.Name()] = w
			}
		}
		fmt.Fprintf(&now, "| %s | %s | %s |\n", d.Name(), figuresOf(d.Procedure, sheet.Sheet), strings.TrimSuffix(shown, " |"))
	}
	switch {
	case now.String() == table:
	case *update:
		if err := os.WriteFile(developersPath, []byte(before+tableHead+now.String()+strings.TrimPrefix(rest, table)), 0o600); err != nil {
			t.Fatal(err)
		}
	default:
		is := strings.Split(table, "\n")
		for _, row := range strings.Split(now.String(), "\n") {
			if !slices.Contains(is, row) {
				t.Errorf("the table of documents does not have %s", row)
			}
		}
		t.Error("FETTLE_LONG=1 go test ./cmd/internal/cli -run TestTableOfDocuments -update writes it")
	}
}

// figuresOf are the figures of a procedure as it is with the first answers; of its choices
// all count.
func figuresOf(p *steps.Procedure, sheet *steps.Sheet) string {
	var has steps.Selection
	choices := 0
	if p.Kind == steps.Build {
		for _, c := range sheet.Choices() {
			if choices++; !c.Alone {
				has.Has = append(has.Has, c.Answers[0].Name)
			}
		}
	}
	for _, s := range p.Steps() {
		if len(s.Methods) > 0 {
			choices++
			has.Has = append(has.Has, s.Methods[0].Name)
		}
	}
	p = p.For(has, "")
	var gates, joints []string
	holds := 0
	for _, s := range p.Steps() {
		for _, name := range s.Gates {
			if _, ok := sheet.Gate(name); ok { // else it is whatever is stale
				gates = append(gates, name)
			}
		}
		if s.Kind.Traits().Joins {
			joints = append(joints, s.Joint)
		}
		if s.Kind == steps.Hold {
			holds++
		}
	}
	distinct := func(names []string) int {
		slices.Sort(names)
		return len(slices.Compact(names))
	}
	takes := repair.TimeOf(p, func(name string) repair.Clocks {
		a, _ := sheet.Adhesive(name)
		return repair.Clocks{Open: a.Times.From, Handling: a.Times.Handling, Cure: a.Times.Cure}
	})
	return fmt.Sprintf("%d | %d | %d | %d | %d | %.1f h | %.1f", len(p.Steps()), distinct(gates), distinct(joints), holds, choices,
		takes.Attended.Hours(), (takes.Attended+takes.Waiting).Hours()/24)
}

// pagesOf are the median lines and words of the pages that next shows at 80 columns while
// the robot carries a procedure out.
func pagesOf(t *testing.T, w *robot.Worker, d *procedures.Document) string {
	t.Helper()
	zone := ""
	if on := d.Procedure.On; len(on) > 0 {
		zone = on[0]
	}
	if err := w.Act(workflow.Start{Procedure: d.Procedure, Digest: store.Digest(d.Bytes), Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest, Zone: zone}); err != nil {
		t.Fatalf("%s: %v", d.Name(), err)
	}
	var lines, words []int
	last := ""
	for range 3000 {
		next := page.NewNext(w.State, w.Now)
		if next.Over {
			break
		}
		if next.Step != nil {
			next.Step.Brief(w.State, w.By, "fettle next CW-01 --full", false)
		}
		var out bytes.Buffer
		if err := (term.Streams{Out: &out, Columns: 80}).Show(next.Markdown(&page.Clock{Now: w.Now})); err != nil {
			t.Fatal(err)
		}
		if text := out.String(); text != last {
			last = text
			lines = append(lines, strings.Count(strings.TrimSpace(text), "\n")+1)
			words = append(words, len(slices.DeleteFunc(strings.Fields(text), func(word string) bool { // what only sets lines apart
				return !strings.ContainsFunc(word, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) })
			})))
		}
		if err := w.Carry(1); err != nil {
			t.Errorf("%s: %v", d.Name(), err)
			break
		}
	}
	slices.Sort(lines)
	slices.Sort(words)
	return fmt.Sprintf("%d | %d", lines[len(lines)/2], words[len(words)/2])
}
