package page_test

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/ics"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/leantest"
	"fettle/steps/quantity"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

var update = flag.Bool("update", false, "write the golden pages anew")

func TestMain(m *testing.M) {
	leantest.Begin()
	time.Local = time.UTC // pages show local times
	os.Exit(m.Run())
}

// Every page is what it was, as Markdown and on a terminal of 80 columns with
// colour, where ␛ stands for the escape character.
func TestGolden(t *testing.T) {
	pages := album{}
	pages.evenings(t)
	pages.choosing(t)
	pages.witnessing(t)
	pages.keeping()
	for name, markdown := range pages {
		t.Run(name, func(t *testing.T) {
			var shown bytes.Buffer
			if err := (term.Streams{Columns: 80, Colour: true}).ShowTo(&shown, markdown); err != nil {
				t.Fatal(err)
			}
			got := strings.TrimRight(markdown, "\n") + "\n\n" + strings.Repeat("=", 80) + "\n\n" + strings.ReplaceAll(shown.String(), "\x1b", "␛")
			path := golden(name)
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatalf("%v; go test ./cmd/internal/page -update writes it", err)
			}
			if got != string(want) {
				t.Errorf("%s has changed; go test ./cmd/internal/page -update writes it anew. It is now\n%s", path, got)
			}
		})
	}
}

func golden(name string) string { return filepath.Join("testdata", "golden", name+".txt") }

// Whatever makes text for a reader has a golden page, and every golden page is
// of something: its name begins with that of the type or function.
func TestEveryPageIsGolden(t *testing.T) {
	pages := album{}
	pages.evenings(t)
	pages.choosing(t)
	pages.witnessing(t)
	pages.keeping()
	names := slices.Sorted(maps.Keys(pages))
	all := makers(t)
	for _, maker := range all {
		if !slices.ContainsFunc(names, func(name string) bool { return of(name) == maker }) {
			t.Errorf("%s has no golden page", maker)
		}
	}
	for _, name := range names {
		if !slices.Contains(all, of(name)) {
			t.Errorf("the golden page %s is of nothing", name)
		}
	}
	files, err := filepath.Glob(golden("*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if name := strings.TrimSuffix(filepath.Base(file), ".txt"); pages[name] == "" {
			t.Errorf("no page is held against %s", file)
		}
	}
}

// A command ends with its last word: whoever copies it would copy a full stop too, and of a folder
// named . make the one above.
func TestNoFullStopAfterACommand(t *testing.T) {
	pages := album{}
	pages.evenings(t)
	pages.choosing(t)
	pages.witnessing(t)
	pages.keeping()
	stopped := regexp.MustCompile("`fettle [^`]*`\\.")
	for name, text := range pages {
		if found := stopped.FindString(text); found != "" {
			t.Errorf("%s has %s", name, found)
		}
	}
}

// of is the type or function that a page is of.
func of(name string) string {
	maker, _, _ := strings.Cut(name, "-")
	return maker
}

// makers are the types with a method that gives a whole page, and the functions
// that give Markdown, by the package's source.
func makers(t *testing.T) (names []string) {
	t.Helper()
	small := []string{"Span", "TablesHold", "LimitsText", "PassText", "AdhesiveText", "Escape"} // words inside a line
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || !f.Name.IsExported() || strings.HasSuffix(name, "_test.go") || slices.Contains(small, f.Name.Name) {
				continue
			}
			made := f.Name.Name
			if f.Recv != nil {
				of := f.Recv.List[0].Type
				if star, ok := of.(*ast.StarExpr); ok {
					of = star.X
				}
				receiver, ok := of.(*ast.Ident)
				if !ok || receiver.Name == "Clock" {
					continue
				}
				if made = receiver.Name; f.Name.Name != "Markdown" {
					made += f.Name.Name
				}
			}
			if f.Type.Results != nil && len(f.Type.Results.List) == 1 {
				if result, ok := f.Type.Results.List[0].Type.(*ast.Ident); ok && result.Name == "string" {
					names = append(names, made)
				}
			}
		}
	}
	if len(names) < 30 {
		t.Fatalf("only %d pages were found: %v", len(names), names)
	}
	return names
}

// An album is every page by its name: that of its type, and after a hyphen what
// is shown.
type album map[string]string

// A shown thing is what a page is made of.
type shown interface{ Markdown(*page.Clock) string }

func (a album) show(name string, thing shown, now time.Time) {
	a[name] = thing.Markdown(&page.Clock{Now: now})
}

// A bench is a Finch with a careful builder, and the documents for it.
type bench struct {
	*robot.Worker
	t     testing.TB
	pages album
	docs  map[string]*procedures.Document
}

func newBench(t testing.TB, pages album) *bench {
	t.Helper()
	docs := map[string]*procedures.Document{}
	known := workflow.Documents{Sheets: map[string]*steps.Sheet{}, Procedures: map[string]*steps.Procedure{}}
	for _, of := range []string{"testdata/finch", "../cli/testdata/finch", "../cli/testdata/dunlin"} {
		files, err := filepath.Glob(of + "*.yaml")
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			doc, err := procedures.Parse(filepath.Base(file), data)
			if err != nil {
				t.Fatal(err)
			}
			digest := store.Digest(data)
			docs[doc.Name()], known.Sheets[digest], known.Procedures[digest] = doc, doc.Sheet, doc.Procedure
		}
	}
	state, err := workflow.Replay(nil, known)
	if err != nil {
		t.Fatal(err)
	}
	w := &robot.Worker{State: state, Documents: known, Now: time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC), By: "builder", Program: "test"}
	return &bench{w, t, pages, docs}
}

func (b *bench) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

// act records what is asked for, and gives its page.
func (b *bench) act(r workflow.Request) page.Recorded {
	b.t.Helper()
	before := b.State.Size()
	if err := b.Act(r); err != nil {
		b.t.Fatalf("%#v: %v", r, err)
	}
	return page.NewRecorded(b.State, b.State.Entries[before:], b.Now)
}

// refused gives the refusal of what is asked for.
func (b *bench) refused(r workflow.Request) string {
	b.t.Helper()
	var refusal *workflow.Refusal
	if err := b.Act(r); !errors.As(err, &refusal) {
		b.t.Fatalf("%#v is not refused: %v", r, err)
	}
	return page.Refusal(refusal, &page.Clock{Now: b.Now})
}

func (b *bench) start(name, zone string, damages ...string) page.Recorded {
	b.t.Helper()
	doc := b.docs[name]
	return b.act(workflow.Start{Procedure: doc.Procedure, Digest: store.Digest(doc.Bytes), Sheet: b.State.Sheet,
		SheetDigest: b.State.SheetDigest, Zone: zone, Damages: damages})
}

func (b *bench) show(name string, thing shown) { b.pages.show(name, thing, b.Now) }

// until carries the job on to the step.
func (b *bench) until(step string) {
	b.t.Helper()
	for range 100 {
		report, _, err := b.State.FindStep(step, b.Now)
		b.must(err)
		if report.Progress == workflow.Ready {
			return
		}
		b.must(b.Carry(1))
	}
	b.t.Fatalf("%s never comes", step)
}

// step shows what is suggested, and the step by itself.
func (b *bench) step(name string) {
	b.t.Helper()
	b.until(name)
	report, _, err := b.State.FindStep(name, b.Now)
	b.must(err)
	b.show("Step-"+name, page.NewStep(b.State, report, b.Now))
	b.show("Next-"+name, page.NewNext(b.State, b.Now))
}

// sitting shows what a sitting shows of it.
func (b *bench) sitting(name string) {
	next, c := page.NewNext(b.State, b.Now), &page.Clock{Now: b.Now}
	b.pages["NextAction-"+name], b.pages["NextMore-"+name] = "# FN-01\n"+next.Action(c), next.More(c)
	timers := page.Clocks{Timers: page.Timers(b.State, b.Now)}
	b.pages["ClocksStrip-"+name] = timers.Strip(c)
	b.show("Leaving-"+name, page.Leaving{Mark: "FN-01", Timers: timers.Timers})
	report, _, err := b.State.FindStep("join-roots", b.Now)
	b.must(err)
	b.pages["Standing-"+name], b.pages["WhyNot-"+name] = page.Standing(report, c), page.WhyNot(report, c)
}

func (b *bench) gate(name, gate string) {
	b.t.Helper()
	report, err := b.State.GateReport(gate, b.Now)
	b.must(err)
	b.pages["Gate-"+name] = page.NewGate(b.State, report, b.Now).Markdown(&page.Clock{Now: b.Now, BothUnits: true})
}

func (b *bench) q(text string, d quantity.Dimension) quantity.Quantity {
	b.t.Helper()
	q, err := quantity.Parse(text, d)
	b.must(err)
	return q
}

func (b *bench) measure(gate string, readings ...string) page.Recorded {
	b.t.Helper()
	m := workflow.Measure{Gate: gate}
	for _, text := range readings {
		point, value, _ := strings.Cut(text, "=")
		m.Readings = append(m.Readings, workflow.Reading{Point: point, Value: b.q(value, quantity.Length)})
	}
	return b.act(m)
}

func (b *bench) clocks(name string) {
	b.show("Clocks-"+name, page.Clocks{Timers: page.Timers(b.State, b.Now)})
	b.show("Board-"+name, page.Board{Airframes: []page.Airframe{page.NewAirframe(b.State, b.Now)}})
	b.show("Board-crowded-"+name, page.NewBoard([]page.Tile{page.NewTile(b.State, b.Now, 100)}))
}

// claimed is what benches that share a store say of each other.
func (b *bench) claimed() {
	b.t.Helper()
	claim := &store.Claim{Mark: "FN-01", Step: "finch-build/check-kit", By: "hu*go", Bench: "window", Since: b.Now.Add(-5 * time.Minute)}
	there := []*store.Claim{claim}
	next := page.NewNext(b.State, b.Now)
	next.Claims = there
	b.show("Next-claimed", next)
	claim = new(*claim)
	claim.Step = "finch-build/blade-care"
	next.Claims = []*store.Claim{claim}
	b.show("Next-elsewhere", next)
	for name, of := range map[string]int{"Board-claimed": 1, "Board-crowded-claimed": 100} {
		b.show(name, page.NewBoard([]page.Tile{page.NewTile(b.State, b.Now, of).At(there)}))
	}
	b.pages["ClaimLine"] = page.ClaimLine(claim, &page.Clock{Now: b.Now})
	b.pages["TakenLine"] = page.TakenLine(claim)
	b.pages["AlsoLine"] = page.AlsoLine(claim, &page.Clock{Now: b.Now})
	b.pages["SaysOf"] = page.SaysOf([]journal.Entry{{Facts: journal.Noted{Text: "the tin is empty"}}, {Facts: journal.Noted{Text: "so is the other"}}})
	b.pages["LookAt"] = page.LookAt("CW-01")
	b.pages["Leaving-lacks"] = page.Leaving{Lacks: []string{`your last answer to "Before the blade"`, `the note "the tin is empty"`}}.Markdown(&page.Clock{Now: b.Now})
	b.pages["Leaving-unknown"] = page.Leaving{Mark: "CW-01", Unknown: "CW-01"}.Markdown(&page.Clock{Now: b.Now})
	silent := *claim
	silent.Silent = 3 * time.Minute
	b.pages["ClaimLine-silent"] = page.ClaimLine(&silent, &page.Clock{Now: b.Now})
	b.pages["ClaimedBy"] = page.ClaimedBy(claim, &page.Clock{Now: b.Now})
	b.pages["ClaimedBy-silent"] = page.ClaimedBy(&silent, &page.Clock{Now: b.Now})
	left := *claim
	left.Left = b.Now.Add(-time.Minute)
	b.pages["ClaimLine-left"] = page.ClaimLine(&left, &page.Clock{Now: b.Now})
	next.Claims, next.Took = nil, &silent
	b.show("Next-took-silent", next)
	b.pages["DoneBy"] = page.DoneBy(journal.Entry{By: "hu*go", At: b.Now}, &page.Clock{Now: b.Now})
}

// evenings build a Finch, release it, break it and repair it.
func (a album) evenings(t testing.TB) {
	b := newBench(t, a)
	b.documents()
	b.show("Board-empty", page.Board{})
	b.show("Fleet-empty", page.Fleet{})
	sheet := b.docs["finch"]
	b.show("Recorded-registered", b.act(workflow.Register{Mark: "FN-01", Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes), Options: []string{"rudder"}}))
	b.show("Next-over", page.NewNext(b.State, b.Now))
	b.show("Recorded-started", b.start("finch-build", ""))
	b.show("Airframe-new", page.NewAirframe(b.State, b.Now))
	b.claimed()
	b.build()
	b.audit()
	b.repair()
	b.tab()
	b.clockBack()
}

// card shows the flight card of a sheet without geometry, and of one with all of it but a
// gate for the balance. It draws more than its connectors carry.
func (b *bench) card() {
	show := func(name string, s *workflow.State, altitude, temperature string) {
		card, err := s.Card(b.Now, b.q(altitude, quantity.Length), b.q(temperature, quantity.Temperature))
		b.must(err)
		b.show("Card-"+name, page.NewCard(s, card, []string{"pre-flight"}))
	}
	show("bare", b.State, "0 m", "15 °C")
	doc, err := procedures.Parse("finch.yaml", append(slices.Clone(b.docs["finch"].Bytes), `
geometry:
  datum: the leading edge
  surfaces:
    wing: {is: wing, zone: wing, x: 0 mm, panels: [{root: 200 mm, tip: 200 mm, span: 500 mm}]}
  controls:
    rudder: {title: The rudder, surface: wing, chord: 40 mm, gates: [throw]}
  parts:
    all: {title: All of it, mass: 1 kg, x: 60 mm}
  lift: {most: 0.8, source: a guess}
power: {cells: 6, capacity: 5000 mAh, nominal: 3.7 V, limits: {connectors: 30 A, controller: 40 A}, full: 32.5 A, cruise: 10 A, thrust: 6 N, reserve: 20 %}
`...))
	b.must(err)
	show("warm", b.State.Under(doc.Sheet), "1000 m", "30 °C")

	text, err := os.ReadFile("../../../procedures/library/causeway.yaml")
	b.must(err)
	doc, err = procedures.Parse("causeway.yaml", text)
	b.must(err)
	s := b.State.Under(doc.Sheet)
	b.crowded(s)
	poise, err := s.Poise(b.Now)
	b.must(err)
	lead, err := page.NewBalance(s, poise, []journal.EquipmentChanged{{Item: "lead", Mass: b.q("20 g", quantity.Mass), Arm: b.q("-300 mm", quantity.Length)}}, 600)
	b.must(err)
	b.show("Balance-of-parts", lead)
}

// crowded shows the screen of a card with more on it than any airframe has, at the worst
// that the page can be given, and holds that it fits on a terminal of 80 by 24.
func (b *bench) crowded(s *workflow.State) {
	worked, err := s.Card(b.Now, b.q("1500 m", quantity.Length), b.q("38 °C", quantity.Temperature))
	b.must(err)
	c := page.NewCard(s, worked, []string{"pre-flight", "first-flight", "range-failsafe"})
	long := strings.Repeat("it lies where nobody saw it before, ", 30)
	station, percent, was := -12.5, -6.3, 57.0
	c.Balance = &page.CardBalance{Datum: long, Words: long, Station: &was, U: 1, Computed: &station, Percent: &percent, Low: &station, High: &was,
		Verdict: "out of tolerance", Again: "not known: " + long, At: b.Now}
	for range 20 {
		c.Cautions = append(c.Cautions, "accepted and not met: "+long)
		c.Throws = append(c.Throws, page.CardThrow{Title: "Throw of the ailerons", Met: true, At: b.Now, Values: []page.ThrowValue{
			{Point: "left-up", Value: 9.5, Unit: "mm"}, {Point: "left-down", Value: 9.5, Unit: "mm"}, {Point: "right-up", Value: 9.5, Unit: "mm"}, {Point: "right-down", Value: 9.5, Unit: "mm"}}})
	}
	c.Missing = strings.Fields(long)
	for name, released := range map[string]bool{"crowded": true, "crowded-grounded": false} {
		c.Released, c.Why, c.By = released, long, long
		markdown := c.Screen(&page.Clock{Now: b.Now}, term.Streams{Columns: 80}.Fits)
		var set strings.Builder
		b.must(term.Streams{Columns: 80}.ShowTo(&set, markdown))
		lines := strings.Split(strings.TrimRight(set.String(), "\n"), "\n")
		if len(lines) > 23 { // the prompt comes below
			b.t.Errorf("%s has %d lines:\n%s", name, len(lines), set.String())
		}
		for _, line := range lines {
			if utf8.RuneCountInString(line) > 80 {
				b.t.Errorf("%s: %q is wider than 80 columns", name, line)
			}
		}
		for _, says := range []string{"Mass all up", "Balance: **12.5 mm ahead of the datum", "of the 21 cautions**", "card FN-01 --full", "Local rules"} {
			if !strings.Contains(markdown, says) {
				b.t.Errorf("%s does not say %q:\n%s", name, says, markdown)
			}
		}
		b.pages["CardScreen-"+name] = markdown
	}
}

// choosing has a choice of the design, an option and methods to choose from.
func (a album) choosing(t testing.TB) {
	b := newBench(t, a)
	sheet := b.docs["dunlin"]
	b.act(workflow.Register{Mark: "DN-01", Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes)})
	b.start("dunlin-build", "")
	b.show("Next-choice", page.NewNext(b.State, b.Now))
	b.show("Airframe-not-chosen", page.NewAirframe(b.State, b.Now))
	b.pages["Refusal-choice"] = b.refused(workflow.Finish{Step: "which-fins"})
	b.show("Recorded-chosen", b.act(workflow.Choose{Answer: "soft-fins"}))
	b.show("Next-option", page.NewNext(b.State, b.Now))
	b.act(workflow.Choose{Answer: "lamp", No: true})
	b.show("Next-method", page.NewNext(b.State, b.Now))
	b.act(workflow.Choose{Answer: "both-faces"})
	b.show("Journal-chosen", page.NewJournal(b.State))
}

// witnessing has steps that want a second person.
func (a album) witnessing(t testing.TB) {
	b := newBench(t, a)
	sheet := b.docs["finch"]
	b.act(workflow.Register{Mark: "FN-02", Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes)})
	b.start("finch-eyes", "")
	b.show("Next-second", page.NewNext(b.State, b.Now))
	b.pages["Refusal-second"] = b.refused(workflow.Finish{Step: "sight-tail"})
	b.show("Recorded-alone", b.act(workflow.Finish{Step: "sight-tail", Witness: workflow.Witness{Alone: 1}}))
	b.show("Next-never-alone", page.NewNext(b.State, b.Now))
	clear := workflow.Clear{Step: "arm-test", Answers: []bool{true}}
	b.pages["Refusal-never-alone"] = b.refused(clear)
	clear.Second = "second"
	b.show("Recorded-second", b.act(clear))
	summary, err := b.State.AuditSummary(b.Now)
	b.must(err)
	b.start("finch-eyes", "")
	next := page.NewNext(b.State, b.Now)
	next.Step.Brief(b.State, "builder", "fettle next FN-02 --full", false)
	b.show("Next-short", next)
	b.show("Audit-witnessed", page.NewAudit(b.State, summary, &workflow.Record{}, nil, "", b.Now))
}

// tab glues something in the two acts of a glue that dries, and lets it lapse.
func (b *bench) tab() {
	b.start("finch-tab", "")
	b.step("glue-tab")
	b.Now = b.Now.Add(5 * time.Minute)
	b.show("Recorded-tab-coated", b.act(workflow.Finish{Step: "glue-tab"}))
	at := func(name string, after time.Duration) {
		report, _, err := b.State.FindStep("glue-tab", b.Now.Add(after))
		b.must(err)
		b.pages.show("Step-glue-tab-"+name, page.NewStep(b.State, report, b.Now.Add(after)), b.Now.Add(after))
	}
	at("drying", time.Minute)
	at("open", 12*time.Minute)
	at("lapsed", time.Hour)
	b.Now = b.Now.Add(time.Hour)
	b.pages["Refusal-tab-lapsed"] = b.refused(workflow.Finish{Step: "glue-tab"})
	b.act(workflow.Finish{Step: "glue-tab", Began: b.Now})
	b.until("glue-tab")
	b.act(workflow.Finish{Step: "glue-tab"})
	b.Now = b.Now.Add(time.Minute)
	b.act(workflow.ReadBench{Temperature: b.q("12 °C", quantity.Temperature), Humidity: b.q("50 %", quantity.Ratio)})
	horn := func(name string) {
		report, _, err := b.State.FindStep("glue-horn", b.Now)
		b.must(err)
		b.show("Step-glue-horn-"+name, page.NewStep(b.State, report, b.Now))
	}
	horn("cold")
	b.act(workflow.ReadBench{Temperature: b.q("20 °C", quantity.Temperature), Humidity: b.q("50 %", quantity.Ratio)})
	horn("open")
	b.pages["Refusal-which-adhesive"] = b.refused(workflow.Finish{Step: "glue-horn"})
	b.show("Recorded-horn-begun", b.act(workflow.Begin{Step: "glue-horn", With: "epoxy", Mixed: b.Now}))
	horn("begun")
	b.show("Recorded-horn-glued", b.act(workflow.Finish{Step: "glue-horn"}))
}

func (b *bench) documents() {
	var listed []procedures.Entry
	var checked []procedures.Checked
	for _, name := range slices.Sorted(maps.Keys(b.docs)) {
		doc := b.docs[name]
		listed = append(listed, procedures.Entry{Document: doc, From: "embedded"})
		checked = append(checked, procedures.Checked{Document: doc, Serves: []string{"finch"}})
		b.show("FullDocument-"+name, page.NewFullDocument(doc, procedures.Origin{Embedded: true}, []*steps.Sheet{b.docs["finch"].Sheet}))
		b.show("Document-"+name, page.NewDocument(doc, procedures.Origin{File: "own/" + name + ".yaml", Replaces: 2}))
	}
	faults := procedures.Faults{{File: "own.yaml", Line: 3, Column: 7, Text: `unknown key "stpes"; did you mean "steps"?`}}
	notes := procedures.Faults{{File: "own.yaml", Line: 4, Column: 1, Text: "the gauge tape measures no gate"}}
	build := b.docs["finch-build"].Procedure
	b.show("Lessons-none", page.NewLessons(build, workflow.LessonsOf(build, "", nil)))
	one := func(step int, l workflow.Lesson) workflow.Lesson {
		l.Step = build.Steps()[step]
		return l
	}
	b.show("Lessons", page.NewLessons(build, workflow.Lessons{
		Jobs: 9, Others: 2, Marks: []string{"FN-01", "FN-02"}, Revisions: []int{1, 3},
		Steps: []workflow.Lesson{
			one(3, workflow.Lesson{Done: 6, Marks: []string{"FN-01", "FN-02"}, Took: workflow.Spread{Median: 1500, Low: 1200, High: 1800, Count: 5}, Untimed: map[workflow.Untimed]int{workflow.MayWait: 1}, Trouble: workflow.Trouble{Failed: 2, Undecided: 1, Lapsed: 3, Reworked: 2, TakenBack: 1}}),
			one(2, workflow.Lesson{Done: 1, Marks: []string{"FN-01"}, Took: workflow.Spread{Median: 1500, Low: 1500, High: 1500, Count: 1}, Trouble: workflow.Trouble{TakenBack: 2}}),
			one(1, workflow.Lesson{Done: 2, Marks: []string{"FN-01"}}), one(0, workflow.Lesson{}),
		},
		Gone:   []workflow.Lesson{one(4, workflow.Lesson{Done: 1, Marks: []string{"FN-02"}})},
		People: []workflow.PersonPace{{By: "Ro", Spread: workflow.Spread{Median: 1.25, Low: 0.9, High: 2, Count: 9}}},
	}))
	b.show("Begun", page.Begun{Name: "finch-build", File: "mine.yaml", Revision: 2, Key: "procedure", InPlace: true, Uses: []string{"safe"}})
	b.show("Begun-own", page.Begun{Name: "finch", File: "mine.yaml", Revision: 1, Key: "design"})
	b.show("Library", page.NewLibrary(listed, faults))
	b.pages["CheckPlain-good"] = page.NewCheck(procedures.Report{Documents: checked, Notes: notes, Answers: 12}).Plain()
	b.pages["CheckPlain-faults"] = page.NewCheck(procedures.Report{Documents: checked, Faults: faults}).Plain()
}

// build carries the build to its end, with a gate out of tolerance and a coat
// that lapses on the way.
func (b *bench) build() {
	b.step("check-kit")
	b.pages["Refusal-order"] = b.refused(workflow.Finish{Step: "cut-slot"})
	b.step("blade-care")
	b.pages["Refusal-hold"] = b.refused(workflow.Clear{Step: "blade-care", Answers: []bool{true, false}})
	b.step("measure-slot")
	b.show("Recorded-undecided", b.measure("slot", "root=4.4mm", "tip=5/32 in"))
	b.gate("undecided", "slot")
	b.show("Recorded-failed", b.measure("slot", "tip=5.2mm"))
	b.gate("failed", "slot")
	b.show("Next-failed", page.NewNext(b.State, b.Now))
	slot, err := b.State.GateReport("slot", b.Now)
	b.must(err)
	b.pages["GateAction-failed"] = page.NewGate(b.State, slot, b.Now).Action(&page.Clock{Now: b.Now})
	b.pages["Refusal-rework"] = b.refused(workflow.Measure{Gate: "slot", Readings: []workflow.Reading{{Point: "tip", Value: b.q("4 mm", quantity.Length)}}})
	b.show("Recorded-reworked", b.act(workflow.Rework{Gate: "slot"}))
	b.show("Recorded-conceded", b.conceded())
	b.gate("conceded", "slot")
	b.step("coat-left")
	contact, err := b.State.Use("contact")
	b.must(err)
	contact.Hold = []string{"No flame and no hot iron is in the room", "Gloves are **on**"}
	things, err := page.NewThings(&steps.Procedure{Name: "look", Title: "Look it over", Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{
		{Name: "a", Tools: []string{"knife"}, Parts: []steps.Part{{Name: "Tube <b>", Size: b.q("56 cm", quantity.Length)}, {Name: "Screw M3", Count: 4}}},
		{Name: "b", Tools: []string{"knife", "iron"}, Parts: []steps.Part{{Name: "Tube <b>", Size: b.q("40 mm", quantity.Length)}, {Name: "Screw M3", Count: 2}}}}}}})
	b.must(err)
	b.show("Things", things)
	nothing, err := page.NewThings(&steps.Procedure{Title: "Nothing"})
	b.must(err)
	b.show("Things-none", nothing)
	b.show("Use", page.NewUse(b.State, contact, b.Now))
	b.show("Recorded-coated", b.act(workflow.Finish{Step: "coat-left"}))
	b.clocks("coated")
	b.until("coat-right")
	b.act(workflow.Finish{Step: "coat-right"})
	b.clocks("drying")
	b.pages["Refusal-drying"] = b.refused(workflow.Finish{Step: "join-roots"})
	await, err := b.State.Await(b.Now, "")
	b.must(err)
	wrong := page.Clocks{Timers: []page.Timer{page.NewTimer("TN-01", workflow.Timer{Name: "roots", Joint: true, Phase: workflow.Unclocked})}}
	wrong.Wrong = "the clock of this bench reads 30 min ahead of that of door, so no waiting time can be trusted: set the clock"
	b.pages["Clocks-wrong"] = wrong.Markdown(&page.Clock{Now: b.Now})
	b.pages["AsOf"] = page.AsOf(b.Now.Add(-12*time.Minute), &store.Error{Op: "read", Path: "etcd://bench-a:2379/shed", Err: fmt.Errorf("%w: no answer in time", store.ErrAway), Hint: "wait"}, &page.Clock{Now: b.Now}) + "\n"
	b.pages["OlderLine"] = page.OlderLine(desk.Older{Mark: "CW-01", Size: 250, Written: 280}) + "\n"
	for name, p := range map[string]desk.PutBack{
		"": {Mark: "CW-01", Had: 280, Has: 251, Lost: b.State.Entries[2:9], Others: 1}, "-number": {Mark: "CW-01", Had: 280, Has: 250},
		"-other": {Mark: "CW-01", Had: 280, Has: 290}, "-gone": {Mark: "CW-01", Had: 280},
	} {
		b.pages["PutBack"+name] = page.PutBack(p) + "\n"
	}
	b.pages["Letter"] = page.Letter(0) + page.Letter(26) + page.Letter(51) + page.Letter(52) + "\n"
	b.pages["CalendarLine"] = page.CalendarLine("bench.ics", page.Calendar(b.State, b.Now), make([]ics.Event, 1)) + "\n"
	b.pages["PutOff"] = page.PutOff([]workflow.Turn{{Mark: "FN-01", Title: "Join the roots", Act: workflow.ToPress, Begins: b.Now.Add(24 * time.Hour)}}, b.Now, time.Time{}, &page.Clock{Now: b.Now}) + "\n"
	b.pages["PutOff-done"] = page.PutOff(nil, b.Now.Add(25*time.Hour), b.Now.Add(24*time.Hour), &page.Clock{Now: b.Now}) + "\n"
	b.pages["PutOff-nothing"] = page.PutOff(nil, b.Now, time.Time{}, &page.Clock{Now: b.Now}) + "\n"
	b.pages["StopsAt"] = page.StopsAt(&workflow.Timetable{Stops: []workflow.Stop{{Mark: "FN-01", Title: "Press it"}, {Mark: "WR-01"}}}) + page.StopsAt(&workflow.Timetable{}) + "\n"
	b.pages["Without"] = page.Without([]*workflow.State{b.State, b.State}) + page.Without(nil) + "\n"
	b.pages["Await-drying"] = page.Await(b.State, await, &page.Clock{Now: b.Now})
	for _, m := range []workflow.Moment{
		{Event: workflow.MayJoin}, {Event: workflow.MayTouch}, {Event: workflow.ClosesSoon}, {Event: workflow.HasLapsed}, {Event: workflow.MayHandle}, {Event: workflow.IsCured},
		{Event: workflow.WaitOver}, {Event: workflow.WaitOver, Then: "press"}, {Event: workflow.DueSoon, Then: "press"}, {Event: workflow.IsLate, Then: "press"},
		{Event: workflow.MayDo}, {Event: workflow.MayConfirm, Lies: "battery B2"},
	} {
		m.Mark, m.Name, m.At, m.Until = "FN-01", "roots", b.Now.Add(2*time.Minute), b.Now.Add(7*time.Minute)
		b.pages["MomentLine"] += page.MomentLine(m, &page.Clock{Now: b.Now}) + "\n\n"
	}
	b.pages["OpenedLine"] = page.OpenedLine("FN-01", "finch-build", []*steps.Step{{Choose: "eyes"}, {}}) + "\n"
	b.pages["OpenedLine-short"] = page.OpenedLine("FN-01", "look", []*steps.Step{{}}) + "\n"
	b.show("Ready-drying", page.NewReady(b.State, await, b.Now))
	b.show("Next-drying", page.NewNext(b.State, b.Now))
	b.sitting("drying")
	b.pages["NextLater-tomorrow"] = (&page.Next{Planned: b.Now.Add(24 * time.Hour)}).Later(&page.Clock{Now: b.Now})
	theirs := page.Next{Mark: "FN-01", Theirs: "person 1 (Ann)", Mine: &page.NextShare{Who: 2, Mark: "FN-02", Step: "sand", Title: "Sand it", Planned: b.Now.Add(40 * time.Minute)},
		Step: &page.Step{Step: "plug-in", Title: "Plug the battery in", Do: "Push the plug in.", Commands: []string{"fettle done FN-01 plug-in"}, Whole: []string{"The motor can start.\nHands away.\n\n- Sleeves too."}}}
	b.show("Next-theirs", theirs)
	b.pages["NextNothing-theirs"] = theirs.Nothing(&page.Clock{Now: b.Now})
	drying := page.NewNext(b.State, b.Now)
	b.pages["NextMeanwhile-drying"] = drying.Meanwhile(&page.Clock{Now: b.Now})
	b.pages["NextStayFree-drying"] = drying.StayFree(&page.Clock{Now: b.Now})
	b.Now = b.Now.Add(50 * time.Hour)
	b.clocks("lapsed")
	b.show("Next-lapsed", page.NewNext(b.State, b.Now))
	full := page.NewNext(b.State, b.Now)
	full.Full = true
	b.show("Next-full", full)
	b.sitting("lapsed")
	b.step("join-roots")
	b.clocks("open")
	await, err = b.State.Await(b.Now, "roots")
	b.must(err)
	b.show("Ready-open", page.NewReady(b.State, await, b.Now))
	joined := b.act(workflow.Finish{Step: "join-roots", Touch: workflow.TouchDry})
	b.show("Recorded-joined", joined)
	b.show("Recorded-joined-at-bench", joined.AtBench())
	b.clocks("setting")
	b.show("Next-setting", page.NewNext(b.State, b.Now))
	await, err = b.State.Await(b.Now, "roots")
	b.must(err)
	b.pages["Await-setting"] = page.Await(b.State, await, &page.Clock{Now: b.Now})
	report, _, err := b.State.FindStep("rest", b.Now)
	b.must(err)
	b.show("Step-rest", page.NewStep(b.State, report, b.Now))
	b.until("measure-square")
	b.clocks("curing")
	b.pages["AirframeReturn-cured"] = page.NewAirframe(b.State, b.Now.Add(50*time.Hour)).Return(&page.Clock{Now: b.Now.Add(50 * time.Hour)})
	move := page.NewMove("FN-01", "finch-build", b.changes())
	move.Accept = "fettle move-job FN-01 finch-build --accept"
	b.show("Move", move)
	b.gate("never-taken", "square")
	b.show("Proof-not-yet", page.Prove(b.State, b.Now))
	b.step("release")
	b.show("Proof-holds", page.Prove(b.State, b.Now))
	b.act(workflow.GiveRelease{Certificate: "A-1"})
	b.show("Proof-stands", page.Prove(b.State, b.Now))
	slip := page.NewSlip(b.State, b.State.Entries[b.State.Size()-1])
	b.show("Proof-released", slip)
	slip.Checks = []string{"pre-flight", "first-flight"}
	slip.Seal = &page.Seal{Mark: "FN-01", Size: b.State.Size(), Note: "fettle/FN-01\n12\ncm9vdA==\n\n— bench+a1b2 c2lnbmVk\n", Public: "bench+a1b2+cHVibGlj"}
	b.show("Proof-sealed", slip)
	released := page.NewAirframe(b.State, b.Now)
	released.Documents = page.Cite(b.State, func(name, _ string) procedures.Origin {
		return procedures.Origin{Embedded: name == "finch", Replaces: 3}
	}, nil)
	b.show("Airframe-released", released)
	b.card()
	b.pages["CitedLine"] = released.Documents[1].Line() + "\n"
	b.gate("passed", "square")
}

// conceded measures the slot out of tolerance again, and has that let pass.
func (b *bench) conceded() page.Recorded {
	b.measure("slot", "root=4mm", "tip=5mm")
	return b.act(workflow.Concede{Gate: "slot", Reason: "the spar is glued *full* length"})
}

// spread shows how so many airframes came out, which drift: the first under a sheet with
// other limits, of a few the third after a rework.
func (b *bench) spread(n int) {
	gate, _ := b.State.Sheet.Gate("slot")
	drawn := []workflow.Drawn{{Mark: "FN-99", Sheet: b.State.Sheet, Gate: gate, Has: true}}
	for i := range n {
		d := workflow.Drawn{Mark: fmt.Sprintf("FN-%02d", i+1), Sheet: b.State.Sheet, Gate: gate, Has: true}
		v := workflow.DrawnValue{Mark: d.Mark, Of: []string{"root"}, At: b.Now.AddDate(0, 0, i), Unit: "mm", Value: big.NewRat(int64(392+i*7%5+i), 100), Verdict: "in tolerance", Limits: gate.Limits, Reworked: n < 10 && i == 2}
		if i == 0 {
			v.Limits.High = b.q("4.6 mm", quantity.Length)
		}
		d.Values = append(d.Values, v)
		drawn = append(drawn, d)
	}
	sp, err := workflow.NewSpread(drawn, "")
	b.must(err)
	b.show(fmt.Sprintf("Spread-%d", n), page.NewSpread(sp, "one value an airframe, as built"))
}

// audit has a gauge fail, takes an entry back and shows the record.
func (b *bench) audit() {
	b.Now = b.Now.Add(time.Hour)
	gauge := func(name string) page.Gauge {
		report, err := b.State.GaugeReport(name, b.Now)
		b.must(err)
		return page.NewGauge(report)
	}
	b.show("Gauge-never-checked", gauge("rule"))
	b.show("Recorded-gauge-good", b.act(workflow.CheckGauge{Gauge: "rule", Of: b.q("100 mm", quantity.Length), Reads: b.q("100 mm", quantity.Length)}))
	b.show("Recorded-gauge-not-good", b.act(workflow.CheckGauge{Gauge: "rule", Of: b.q("100 mm", quantity.Length), Reads: b.q("102 mm", quantity.Length), Note: "a block"}))
	b.show("Gauge-not-good", gauge("rule"))
	b.show("Gauges", page.Gauges{Mark: "FN-01", Gauges: []page.Gauge{gauge("caliper"), gauge("rule")}})
	b.show("Airframe-in-doubt", page.NewAirframe(b.State, b.Now))
	b.act(workflow.Undo{Position: b.State.Size() - 1, Reason: "it was the wrong block"})
	study := workflow.StudyGauge{Gauge: "caliper", Gate: "slot", Note: "on scrap"}
	for i, v := range []string{"4 mm", "4.02 mm", "4.3 mm", "4.3 mm", "4.01 mm", "4 mm", "4.28 mm", "4.3 mm"} {
		study.Readings = append(study.Readings, journal.StudyReading{Person: []string{"Ro", "Jo"}[i/4], Part: []string{"A", "B"}[i/2%2], Value: b.q(v, quantity.Length)})
	}
	worker := *b.Worker // nothing after it knows of the study
	aside := *b
	aside.Worker = &worker
	b.show("Recorded-studied", aside.act(study))
	b.spread(26)
	b.spread(9)
	b.act(workflow.Note{Text: "Flies [straight] <b>up</b> & down, 5_6 `x` ~ #1 | 2!"})
	b.show("Journal", page.NewJournal(b.State))
	b.show("Journal-last", page.NewJournal(b.State).Last(2))
	b.pages["TakenBack"] = page.TakenBack(b.State, []int64{1, 2, 3, 4, 5, 6, 7, 8, 20, 21, 22}) + "\n" + page.TakenBack(b.State, []int64{6, 7}) + "\n"
	for name, filter := range map[string]workflow.AuditFilter{"": {}, "-chosen": {Failures: true}} {
		readings, err := b.State.Audit(filter, b.Now)
		b.must(err)
		summary, err := b.State.AuditSummary(b.Now)
		b.must(err)
		chosen := ""
		if name != "" {
			chosen = "that were chosen"
		}
		record, err := b.State.Record(b.Now)
		b.must(err)
		b.show("Audit"+name, page.NewAudit(b.State, summary, record, readings, chosen, b.Now))
		b.show("AuditScreen", page.NewAuditScreen(b.State, summary, record, nil, b.Now))
		history, err := page.NewGateHistory(b.State, record, "slot", b.Now)
		b.must(err)
		b.show("GateHistory", history)
	}
}

// repair flies the airframe into the ground and repairs it.
func (b *bench) repair() {
	b.Now = b.Now.Add(20 * time.Hour)
	flown := b.act(workflow.LogFlight{Landing: workflow.Soft})
	b.show("Recorded-flown", flown)
	b.show("Records", page.Records{Airframes: []page.Recorded{flown, {Mark: "FN-02"}}})
	again, least, seen, most := []string{"throw", "square"}, 1.5, 3.0, 1.5
	b.show("Recorded-trimmed", page.Recorded{Mark: "FN-01", Entries: flown.Entries, Trims: []page.Trim{
		{Control: "rudder", Way: "left", Value: "1.5 mm", Other: "2.9°", Chord: "30 mm", Turns: 1.5, Horn: "12 mm", Pitch: "0.4 mm", Rework: "throw", ByWay: 2, Again: again},
		{Control: "rudder", Way: "right", Value: "1.5 mm", Chord: "30 mm", Turns: 1.5, Horn: "12 mm", Pitch: "0.4 mm", Rework: "throw", ByWay: 2, Again: again, Thread: &page.Thread{Gate: "clevis", Least: &least}},
		{Control: "rudder", Way: "left", Value: "1.5 mm", Chord: "30 mm", Turns: 1.5, Horn: "12 mm", Pitch: "0.4 mm", Rework: "throw", ByWay: 2, Again: again, Thread: &page.Thread{Gate: "clevis", Least: &least, Seen: &seen, Longer: &most}},
		{Control: "rudder", Way: "left", Value: "3 mm", Chord: "30 mm", Turns: 3, Horn: "12 mm", Pitch: "0.4 mm", Rework: "throw", ByWay: 2, Again: again, Thread: &page.Thread{Gate: "clevis", Least: &least, Seen: &seen, Longer: &most}},
		{Control: "ailerons", Way: "left-up", Value: "0.1 mm", Other: "0.2°", Chord: "30 mm", Turns: 0.1, Rework: "throw", Again: again},
		{Control: "ailerons", Way: "right-down", Value: "2 mm", Other: "3.8°", Chord: "30 mm", Lacks: []string{"horn", "thread"}},
		{Control: "elevons", Way: "left-up", Value: "2 mm", Chord: "30 mm", Lacks: []string{"horn", "thread"}}, // of the other side nothing
	}})
	left, right := page.Trim{Control: "rudder", Way: "left", Value: "1.5 mm", Other: "2.9°"}, page.Trim{Control: "rudder", Way: "right", Value: "2°", Out: true}
	more := page.Trim{Control: "rudder", Way: "left", Value: "3 mm"}
	b.show("Since-trimmed", page.Since{Mark: "FN-01", Flight: &flown.Entries[0], Trims: []page.SinceTrim{{Is: &left}, {Was: &left}, {Was: &left, Is: &more}, {Was: &left, Is: &right}}})
	triage := b.docs["finch-triage"].Triage
	b.show("Recorded-damaged", b.act(workflow.ReportDamage{Triage: triage, Seen: []workflow.Sighting{
		{Finding: "cell-dented", Zone: "radio", Severity: steps.Slight},
		{Finding: "tail-loose", Zone: "tail", Severity: steps.Serious, Note: "behind the <fin>", Words: "it <wobbles>"}}}))
	changed, err := b.State.SinceGood(b.Now)
	b.must(err)
	b.show("Since", page.NewSince(b.State, changed, b.Now))
	broken := page.NewAirframe(b.State, b.Now)
	b.show("Airframe-broken", broken)
	b.show("Imported", page.Imported{Airframe: broken, New: broken.Entries})
	b.show("Imported-continued", page.Imported{Airframe: broken, New: 2, Signers: []keep.Signer{{Public: "fettle+c919eab3+ATtqJ7zOtqQtYqOo0CpvDXNlMhV3HeJDpjrASKGLWdop", Seals: 2, Covers: 9}, {Seals: 1, Covers: 10, Own: true}}})
	b.show("Imported-sealed", page.Imported{Airframe: broken, Against: &keep.Coverage{Size: 9, Signer: "fettle+c919eab3"}, Signers: []keep.Signer{{Seals: 1, Covers: 10, Own: true}}})
	b.show("Fleet", page.Fleet{Airframes: []page.Airframe{broken}})
	b.Now = b.Now.Add(48 * time.Hour) // the time of the quarantine is over
	b.gate("stale", "square")
	plan, err := b.State.PlanRepair(triage, func(name string) (*steps.Procedure, error) { return b.docs[name].Procedure, nil }, b.Now)
	b.must(err)
	b.show("Repair-planned", page.NewRepair("FN-01", "", plan, []string{"finch-tail, revision 1 (embedded)"}))
	full := page.NewRepair("FN-01", "", plan, []string{"finch-tail, revision 1 (embedded)"})
	full.Full = true
	b.show("Repair-full", full)
	b.show("Repair-started", page.NewRepair("FN-01", "finch-tail", plan, nil))
	b.pages["RecordedLine"] = page.RecordedLine(journal.Entry{Position: 7, Facts: journal.TouchTested{Joint: "roots"}}) + "\n"
	b.pages["RepairLine"] = page.RepairLine(b.State, &workflow.Job{Damages: []string{"D9"}}, b.Now) + "\n"
	amending := plan
	amending.Amends = &workflow.Amend{Job: "repair", Found: []string{"D2"}, Kept: 1, Reopens: []string{"make-<safe>", "photograph"}}
	b.pages["ForgoneLine"] = page.ForgoneLine(workflow.Lapse{Name: "roots", Closes: b.Now.Add(30 * time.Minute)}, &page.Clock{Now: b.Now}) + "\n"
	b.show("Repair-amends", page.NewRepair("FN-01", "", amending, nil))
	b.show("Recorded-repair-started", b.start("finch-tail", "tail", plan.Answers[1].Damage.Name))
	b.clocks("repair")
	b.must(b.Carry(100))
	b.show("Recorded-quarantine", b.act(workflow.ClearQuarantine{Damage: plan.Answers[0].Damage.Name, Answers: []bool{true}}))
	b.show("Airframe-repaired", page.NewAirframe(b.State, b.Now))
	b.show("Move-nothing", page.Move{Mark: "FN-01", Job: "finch-build", Accepted: true})
}

// changes are those of a newer build with narrower limits.
func (b *bench) changes() []workflow.Change {
	newer := func(name string, edits ...string) *procedures.Document {
		text := strings.NewReplacer(append(edits, "revision: 1", "revision: 2")...).Replace(string(b.docs[name].Bytes))
		doc, err := procedures.Parse(name+".yaml", []byte(text))
		b.must(err)
		return doc
	}
	build := newer("finch-build", "Lay it in.", "Lay it in, the aerial up.")
	sheet := newer("finch", "at_least: 10 mm", "at_least: 14 mm", "cure: 24 h", "cure: 36 h")
	b.show("SheetInForce", page.NewSheetInForce("FN-01", b.State.Sheet, sheet.Sheet))
	changes, err := b.State.Changes(workflow.MoveJob{Job: "finch-build", Procedure: build.Procedure, Digest: store.Digest(build.Bytes),
		Sheet: sheet.Sheet, SheetDigest: store.Digest(sheet.Bytes)}, b.Now)
	b.must(err)
	return changes
}

// clockBack shows pages while the clock stands before the last entry.
func (b *bench) clockBack() {
	b.Now = b.Now.Add(-3 * time.Hour)
	recorded := page.NewRecorded(b.State, b.State.Entries[b.State.Size()-1:], b.Now)
	if recorded.Clock == nil {
		b.t.Error("recorded by a clock that went back, without a word")
	}
	b.show("Recorded-clock-back", recorded)
	b.show("Next-clock-back", page.NewNext(b.State, b.Now))
	back := page.NewNext(b.State, b.Now)
	b.pages["NextAtOnce-clock-back"] = back.AtOnce(&page.Clock{Now: b.Now})
	b.show("Airframe-clock-back", page.NewAirframe(b.State, b.Now))
	now := &page.Clock{Now: b.Now}
	for name, r := range map[string]workflow.Reason{
		"plain":   {Because: workflow.ByState, Text: "it is grounded"},
		"until":   {Because: workflow.ByDrying, Text: "it dries", Until: b.Now.Add(time.Hour)},
		"between": {Because: workflow.ByDrying, Text: "it dries", Until: b.Now.Add(time.Hour), Closes: b.Now.Add(90 * time.Minute)},
		"closes":  {Because: workflow.ByDrying, Text: "it is open", Closes: b.Now.Add(90 * time.Minute)},
		"do":      {Because: workflow.ByState, Text: "it is grounded", Remedy: workflow.Remedy{Kind: workflow.ToSeeNext, Mark: "FN-01"}},
	} {
		b.pages["ReasonText-"+name] = "- " + page.ReasonText(r, now) + "\n"
	}
	advice, command := page.Remedy(workflow.Remedy{Kind: workflow.ToReadBench, Mark: "FN-01", Humidity: true})
	b.pages["Remedy"] = advice + "\n\n```\n" + command + "\n```\n"
	b.pages["About"] = page.About(steps.Step{Kind: steps.Coat, Joint: "roots", Adhesives: []string{"contact"}}) + "\n"
	b.pages["Capital"] = page.Capital("a joint is open") + "\n"
	b.pages["Said"] = page.Said(workflow.Cause{Text: "wing was disturbed by join-roots", At: b.Now}, time.UTC) + "\n"
}

// keeping are the pages of what is kept, sealed and copied.
func (a album) keeping() {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	show := func(name string, thing shown) { a.show(name, thing, now) }
	yes, no, entry := true, false, int64(7)
	show("Copied", page.Copied{File: "/home/b/copy.db", Airframes: 2, Entries: 31, Photos: 1, Missing: []string{"boom.png of entry 3 is not there"},
		Older: []desk.Older{{Mark: "CW-01", Size: 1, Written: 31}, {Mark: "SK-01", Size: 30, Written: 28, Differs: true}}, Aside: "/home/b/fettle.db.old"})
	whole, broken := keep.Examined{Mark: "FN-01", Size: 12, Saved: 12}, keep.Examined{Mark: "FN-02", Size: 9, Saved: 4, Faults: []string{store.ErrDamaged.Error() + ": entry 4"}}
	lost := keep.Examined{Mark: "FN-03", Size: 2, Saved: 2, Photos: []string{"boom.png of entry 1 is not there"}}
	show("Examination-empty", page.Examination{})
	show("Examination-sound", page.Examination{Airframes: []keep.Examined{whole}, Documents: 2})
	show("Examination-photos", page.Examination{Airframes: []keep.Examined{whole, lost}})
	show("Examination-damaged", page.Examination{Airframes: []keep.Examined{whole, broken}, Faults: []string{store.ErrDamaged.Error() + ": page 7"}})
	show("Examination-shed", page.Examination{Airframes: []keep.Examined{whole, broken}, Shared: true})
	show("Examination-lost", page.Examination{Faults: []string{"page 0"}})
	show("Salvage", page.Salvage{Copied: keep.Copied{File: "new.db", Airframes: 1, Entries: 12}, Faults: []string{"page 7"}, Documents: []string{"sha256:01 is lost"},
		Parts: []keep.SalvagedPart{{Mark: "FN-02", File: "FN-02.jsonl", Entries: 4, Size: 9, Why: "entry 4"}, {Mark: "FN-04", Why: "page 9"}, {Mark: "FN-05", File: "FN-05.jsonl", Entries: 67, Size: 64, Why: "page 9"}}})
	show("Exported", page.Exported{Mark: "FN-01", File: "finch.tar.gz"})
	show("Exported-photos-missing", page.Exported{Mark: "FN-01", File: "finch.tar.gz", Exported: keep.Exported{Missing: []string{"boom.png"}}})
	show("Bound", page.Bound{Mark: "FN-01", File: "FN-01.html"})
	show("Seal", page.Seal{Mark: "FN-01", Size: 12, Note: "fettle/FN-01\n12\ncm9vdA==\n\n— bench+a1b2 c2lnbmVk\n", Public: "bench+a1b2+cHVibGlj", NewKey: "/home/b/seal.key"})
	show("SealChecked", page.SealChecked{Origin: "fettle/FN-01", Size: 12, Signer: "bench+a1b2"})
	show("SealChecked-entry", page.SealChecked{Origin: "fettle/FN-01", Size: 12, Signer: "bench+a1b2", Entry: &entry, Record: `{"position":7,"text":"a & b"}`})
	show("SealChecked-grown", page.SealChecked{Origin: "fettle/FN-01", Size: 12, Signer: "bench+a1b2", Older: 9})
	tree := page.Tree{Mark: "FN-01", Size: 12, Root: "cm9vdA==", Intact: true}
	show("Tree", tree)
	tree.Seals, tree.Photos, tree.Against, tree.Contains = 2, 1, "9 entries of fettle/FN-01, sealed by bench+a1b2", &yes
	show("Tree-sealed", tree)
	bad := page.Tree{Mark: "FN-02", Size: 9, Root: "b3RoZXI=", Faults: []string{"entry 4 is not what was written"}, Missing: []string{"boom.png"}, Against: "entry 4 differs", Contains: &no}
	show("Tree-not-intact", bad)
	show("Trees", page.Trees{Intact: true, Entries: 12, Airframes: []page.Tree{tree}})
	show("Trees-not-intact", page.Trees{Entries: 21, Airframes: []page.Tree{tree, bad}})
	show("Config", page.Config{File: "/home/b/.config/fettle/config.yaml", Missing: true, Settings: []page.Setting{
		{Name: "store", Value: "/home/b/my_bench.db", Origin: "flag", From: "--store"}, {Name: "by", Value: "b", Origin: "default"}}})
	a.planning(now)
	show("Version", page.Version{Version: "1.2", Module: "v1.2.3", Commit: "0123456789abcdef0123", Time: "2026-03-01T10:00:00Z", Modified: true, Go: "go1.26", System: "linux/arm64"})
	show("Missing", page.Missing{Mark: "FN-01", What: "hold", Command: "fettle clear FN-01", Can: []page.Named{{Name: "blade-care", Is: "Mind the blade"}, {Name: "D1", Is: "battery-pack B"}}})
	show("Missing-one", page.Missing{Mark: "FN-01", What: "step", Command: "fettle done FN-01", Can: []page.Named{{Name: "check-kit"}}})
	show("Missing-none", page.Missing{Mark: "FN-01", What: "step", Command: "fettle done FN-01"})
	show("Missing-words", page.Missing{Mark: "FN-01", Command: "fettle note FN-01"})
	show("Version-bare", page.Version{Version: "1.2", Go: "go1.26", System: "linux/arm64"})
	show("Version-module", page.Version{Version: "1.2", Module: "v0.0.0-20260301100000-0123456789ab", Go: "go1.26", System: "linux/arm64"})
	show("Fitting", page.Fitting{Mark: "FN-01", Procedures: []*procedures.Document{
		{Procedure: &steps.Procedure{Name: "finch-build", Title: "Build a Finch", Kind: steps.Build, Design: "finch"}},
		{Procedure: &steps.Procedure{Name: "boom-snapped", Title: "Replace a snapped boom", Kind: steps.Repair, On: []string{"left-boom", "right-boom"}}}}})
}
