package book_test

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store/photos"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

func TestAWholeLife(t *testing.T) {
	t.Parallel()
	w := whole(t)
	o := book.Options{
		Photo: func(digest string) ([]byte, string, error) {
			if digest != photoDigest {
				return nil, "", errors.New("not here")
			}
			return onePixel(), "image/png", nil
		},
		Seals:   map[int64]string{sealedAt(w): "fettle/CW-01\n— causeway signed"},
		Finding: findings(t),
	}
	at := w.Now.Add(24 * time.Hour)
	turn := workflow.Turn{Mark: w.State.Airframe.Mark, Job: "later", Step: "trim", Title: "Trim it", Closes: at.Add(time.Hour), By: at.Add(50 * time.Minute), Begins: at, Ends: at.Add(30 * time.Minute)}
	other := turn
	other.Mark = "WR-01"
	o.Plan = &workflow.Timetable{Made: w.Now, Visits: []workflow.Visit{{Sitting: workflow.Sitting{From: at, To: at.Add(2 * time.Hour)}, Turns: []workflow.Turn{other, turn}, Leave: []workflow.Left{{Mark: w.State.Airframe.Mark, Setting: steps.Setting{Condition: "iron", State: "cold"}, Title: "The film iron"}}}, {Turns: []workflow.Turn{other}}}}
	text := write(t, w, o)
	root := parse(t, text)
	if want := at.Format("15:04") + " Trim it, done by " + at.Add(50*time.Minute).Format("15:04") + "; before you leave: The film iron: cold"; !strings.Contains(text, want) {
		t.Errorf("what is planned is not named: %s", want)
	}
	var headings []string
	for _, h := range elements(root, "h2") {
		headings = append(headings, textOf(h))
	}
	want := []string{"Open matters", "Repairs", "Critical gates, before and after", "Planned", "History", "What the record does not show", "Releases", "Damage", "Readings", "Checks of gauges", "Joints", "Cautions", "Flight card", "Where its parts come from", "Jobs", "Changes of equipment", "Seals", "Corrections"}
	if !slices.Equal(headings, want) {
		t.Errorf("the headings are %q; want %q", headings, want)
	}
	all := textOf(root)
	for _, says := range []string{"GROUNDED: disturbed by the battery pack being moved", "D1, left boom: A boom that has snapped", "Repair of D1, D2 and D3", "Flew 5 times, all with soft landings, 55 min in all", "“into the maize”; aboard: The flight battery pack A", "Within 10 % of a limit: Receiver from the video transmitter: 258 mm, 8 mm inside",
		"behind the clamp", "boom.png", "causeway signed", "sealed by entry", "too early to say", "Flies well.", "forward", "176 g", "It ended on 13 Mar 2026, 20:36: disturbed by the battery pack being fitted", "disturbed by the battery pack being moved", "gauge Steel rule of 600 mm or set square on a flat table was found reading 2 mm too high", "; put in quarantine",
		"1 hard landing, 2 while grounded", "0 h 55 min in the air and 3 flights of which nobody said how long", "a part of the left boom", "Cause: A gust on the last turn", "745 → 745 g",
		"cured by its clock; found there since: damage D4", "NOT GOOD, found reading 2 mm too high", "102 mm on a reference of 100 mm", "Concession in force", "gates in doubt: Steel rule", "Original, ", "a part of it was cut out and replaced in 1 repair, ", "club examiner 12", ": 1 step in 1 sitting, the last of them over on "} {
		if !strings.Contains(all, says) {
			t.Errorf("the book does not say %q", says)
		}
	}
	if images := elements(root, "img"); len(images) != 1 || attribute(images[0], "alt") == "" {
		t.Errorf("%d photos are shown", len(images))
	}
	flightCards(t, w, root)
	noMachineNames(t, w, root)
	everySitting(t, w, root)
	everyCaution(t, w, root)
	everyDrawing(t, text, root)
	if n := pages(root); n > 12 {
		t.Errorf("it prints on about %.1f pages of A4", n)
	}

	o.Full = true
	full := parse(t, write(t, w, o))
	everyEntry(t, w, full)
	everyReading(t, w, full)
}

// pages estimates the pages of A4 that a book prints on: lines of 150 characters of small
// print, 80 to a page, with what stands around them. Chromium said 8 where this said 8.2.
func pages(root *html.Node) float64 {
	lines := 0.0
	for n := range root.Descendants() {
		if n.Type != html.ElementNode || n.Data == "style" || folded(n) {
			continue
		}
		switch n.Data {
		case "h1", "h2", "h3", "h4", "img":
			lines += map[string]float64{"h1": 4, "h2": 3, "h3": 2, "h4": 2, "img": 15}[n.Data]
		case "figure":
			if attribute(n, "class") == "planned" { // beside other things
				lines += 6
			}
		case "li", "p", "dd":
			lines += math.Ceil(float64(len(textOf(n))) / 150)
		case "tr":
			most := 0.0 // of the cells, which are as wide as others
			cells := append(elements(n, "td"), elements(n, "th")...)
			for _, c := range cells {
				most = max(most, math.Ceil(float64(len(textOf(c)))*float64(len(cells))/150), 2*float64(len(elements(c, "svg"))))
			}
			lines += most
		}
	}
	return lines / 80
}

// folded reports whether it is not printed.
func folded(n *html.Node) bool {
	for p := range n.Ancestors() {
		if p.Data == "details" && attribute(p, "class") == "past" || p.Data == "nav" {
			return true
		}
	}
	return false
}

// flightCards holds that there is no speed for an airframe that may not fly, and that the
// card of the same one when it might is drawn with its balance.
func flightCards(t *testing.T, w *robot.Worker, root *html.Node) {
	t.Helper()
	for _, section := range elements(root, "section") {
		if text := textOf(section); attribute(section, "id") == "card" && (strings.Contains(text, "m/s") || !strings.Contains(text, "Not released: ")) {
			t.Errorf("a grounded airframe has the card %q", text)
		}
	}
	released, err := workflow.Replay(w.State.Entries[:w.State.Release.Position+1], w.Documents)
	if err != nil {
		t.Fatal(err)
	}
	now := w.State.Release.At
	card, err := released.Card(now, quantity.Quantity{}, quantity.Quantity{})
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := book.WriteCard(&out, released, page.NewCard(released, card, nil), &page.Clock{Now: now}); err != nil {
		t.Fatal(err)
	}
	drawn := parse(t, out.String())
	for _, says := range []string{"RELEASED to fly", "745 g", "7.5 m/s, 27 km/h", "27.7 ± 0.5 % MAC", "9 ± 1 % MAC", "controller 30 A", "Lift coefficient 0.9, 1.3 times the stall: common practice, no source", page.LocalRules} {
		if !strings.Contains(textOf(drawn), says) {
			t.Errorf("the card does not say %q", says)
		}
	}
	for class, n := range map[string]int{"surface": 4, "fin": 2, "mac": 2, "limit": 2, "unsure": 1, "point": 1} {
		if got := strings.Count(out.String(), `<path class="`+class+`"`); got != n {
			t.Errorf("%d paths of class %s are drawn, not %d", got, class, n)
		}
	}
	if !strings.Contains(out.String(), `d="M0 0L590 0L590 180L0 230Z"`) {
		t.Error("the right half of the wing is not drawn as the sheet has it")
	}
}

// noMachineNames looks for names of the documents that have titles.
func noMachineNames(t *testing.T, w *robot.Worker, root *html.Node) {
	t.Helper()
	said := map[string]bool{}
	for _, word := range regexp.MustCompile(`[a-z0-9-]+`).FindAllString(textOf(elements(root, "main")[0]), -1) {
		said[word] = true
	}
	var names []string
	for _, g := range w.State.Sheet.Gates {
		names = append(append(names, g.Name), g.Points...)
	}
	for _, d := range w.State.Damages {
		names = append(names, d.Finding, d.Zone)
	}
	for _, j := range w.State.Jobs {
		names = append(names, j.ID)
		for _, st := range j.Procedure.Steps() {
			names = append(names, st.Name, st.Joint)
		}
	}
	for _, name := range names {
		if strings.Contains(name, "-") && said[name] {
			t.Errorf("the book says %s", name)
		}
	}
	if !said["twin-boom"] {
		t.Error("the words are not split as names are")
	}
}

// everySitting looks for each judgement of a gate, and for the values it was judged by.
func everySitting(t *testing.T, w *robot.Worker, root *html.Node) {
	t.Helper()
	record, err := w.State.Record(w.Now)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]string{}
	for _, tr := range elements(root, "tr") {
		rows[attribute(tr, "id")] = textOf(tr)
	}
	for _, j := range record.Judgements {
		row := rows[fmt.Sprintf("e%d", j.Entries[0])]
		for _, p := range j.Entries {
			f := w.State.Entries[p].Facts.(journal.ReadingTaken)
			if !strings.Contains(row, strings.ReplaceAll(f.Point, "-", " ")) || !strings.Contains(row, f.Value.String()) {
				t.Errorf("%s at %s of %s is shown as %q", f.Value, f.Point, f.Gate, row)
			}
		}
		if !strings.Contains(strings.ToLower(row), strings.ToLower(string(j.Report.Finding.Verdict))) || !strings.Contains(row, "side") {
			t.Errorf("%s has no verdict with its margin: %q", j.Gate.Name, row)
		}
	}
	if len(record.Judgements) < 50 {
		t.Errorf("there are %d sittings", len(record.Judgements))
	}
}

// everyCaution looks for each caution that was cleared, by its time.
func everyCaution(t *testing.T, w *robot.Worker, root *html.Node) {
	t.Helper()
	n, at := 0, map[string]string{}
	for _, span := range elements(root, "span") {
		at[attribute(span, "id")] = textOf(span)
	}
	for _, e := range w.State.Entries {
		switch e.Facts.(type) {
		case journal.HoldCleared, journal.UseCleared, journal.QuarantineCleared:
		default:
			continue
		}
		n++
		if says := at[fmt.Sprintf("e%d", e.Position)]; e.Facts.Kind() != "QuarantineCleared" && (!strings.HasPrefix(says, e.At.Format("15:04 ")) || len(says) < 8) {
			t.Errorf("the caution of entry %d is shown as %q", e.Position, says)
		}
	}
	if n < 40 {
		t.Errorf("there are %d cautions", n)
	}
}

// findings are the titles of the triage table.
func findings(t *testing.T) func(name string) string {
	table := find(t, "crash-triage").Triage
	return func(name string) string {
		f, _ := table.Finding(name)
		return f.Title
	}
}

func sealedAt(w *robot.Worker) int64 {
	for _, e := range w.State.Entries {
		if _, ok := e.Facts.(journal.Sealed); ok {
			return e.Position
		}
	}
	return -1
}

// everyEntry looks for each entry but those that the book says it leaves out,
// and flights, which may stand in one line.
func everyEntry(t *testing.T, w *robot.Worker, root *html.Node) {
	t.Helper()
	shown := map[string]bool{}
	for _, found := range regexp.MustCompile(`entry (\d+)`).FindAllStringSubmatch(strings.ToLower(textOf(root)), -1) {
		shown[found[1]] = true
	}
	for _, e := range w.State.Entries {
		switch e.Facts.(type) {
		case journal.BenchRead, journal.ConditionSet, journal.FlightLogged:
			continue
		}
		if !shown[strconv.FormatInt(e.Position, 10)] {
			t.Errorf("entry %d, a %T, is nowhere in the book", e.Position, e.Facts)
		}
	}
}

// everyReading looks for each live reading in a table, and for its verdict.
func everyReading(t *testing.T, w *robot.Worker, root *html.Node) {
	t.Helper()
	rows := map[string]string{}
	for _, tr := range elements(root, "tr") {
		rows[attribute(tr, "id")] = textOf(tr)
	}
	n := 0
	for _, e := range w.State.Entries {
		f, ok := e.Facts.(journal.ReadingTaken)
		if !ok || !w.State.Live(e.Position) {
			continue
		}
		n++
		if row := rows[fmt.Sprintf("e%d-typed", e.Position)]; !strings.Contains(row, f.Value.Typed()) || !strings.Contains(row, strings.ReplaceAll(f.Point, "-", " ")) {
			t.Errorf("entry %d, %s at %s, is shown as %q", e.Position, f.Value.Typed(), f.Point, row)
		}
	}
	if n < 50 {
		t.Errorf("there are %d readings", n)
	}
}

// everyDrawing reads each drawing as strict XML, and looks for its words.
func everyDrawing(t *testing.T, text string, root *html.Node) {
	t.Helper()
	for _, figure := range regexp.MustCompile(`(?s)<figure class="(?:drawing|bars).*?</figure>`).FindAllString(text, -1) {
		decoder := xml.NewDecoder(strings.NewReader(figure))
		for {
			if _, err := decoder.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%v in %s", err, figure)
			}
		}
	}
	n := 0
	for _, svg := range elements(root, "svg") {
		if attribute(svg, "role") != "img" {
			continue
		}
		n++
		if first := svg.FirstChild; first == nil || first.Data != "title" || len(textOf(first)) < 10 {
			t.Errorf("a drawing says nothing: %.200s", textOf(svg))
		}
	}
	if n < 50 {
		t.Errorf("there are %d drawings", n)
	}
}

// What is out of tolerance, undecided, reworked or conceded is said in words.
func TestVerdictsAreWords(t *testing.T) {
	t.Parallel()
	w := built(t)
	w.Now = w.Now.Add(time.Hour)
	measure(t, w, "spar-depth", "top-left=4.6mm", "top-root=9.5mm", "bottom-right=5.18mm")
	root := parse(t, write(t, w, book.Options{}))
	all := textOf(root)
	for _, says := range []string{"top root 9.5 mm OUT OF TOLERANCE", "bottom right 5.18 mm UNDECIDED", "top left 4.6 mm", "OUT OF TOLERANCE, 4.3 mm outside at top root", "▸", "Gates not passed", "Depth of the spar slots", "1 earlier sitting,"} {
		if !strings.Contains(all, says) {
			t.Errorf("the book does not say %q", says)
		}
	}
	act(t, w, workflow.Rework{Gate: "spar-depth"})
	root = parse(t, write(t, w, book.Options{Full: true}))
	everyEntry(t, w, root)
	if all := textOf(root); !strings.Contains(all, "Counts no more") {
		t.Error("what was reworked seems to count")
	}
}

// A battery in quarantine never stands under a plain release.
func TestAQuarantineIsInTheBanner(t *testing.T) {
	t.Parallel()
	w := whole(t)
	cleared := slices.IndexFunc(w.State.Entries, func(e journal.Entry) bool { return e.Facts.Kind() == journal.QuarantineCleared{}.Kind() })
	state, err := workflow.Replay(w.State.Entries[:cleared], w.Documents)
	if err != nil {
		t.Fatal(err)
	}
	w.State, w.Now = state, w.State.Entries[cleared-1].At
	for _, p := range elements(parse(t, write(t, w, book.Options{})), "p") {
		if !strings.HasPrefix(attribute(p, "class"), "stands") {
			continue
		}
		if text := textOf(p); !strings.HasPrefix(text, "RELEASED, QUARANTINE OPEN; released 15 Mar 2026") || !strings.Contains(text, "IN QUARANTINE: the battery pack pack A (D3) is off the airframe: battery dented; since 13 Mar 2026, at least until 15 Mar 2026, 23:") || attribute(p, "class") != "stands" {
			t.Errorf("the banner is %q", text)
		}
	}
	c := &page.Clock{Now: w.Now}
	record, err := w.State.Record(w.Now)
	if err != nil {
		t.Fatal(err)
	}
	audit := page.NewAudit(w.State, workflow.AuditSummary{}, record, nil, "", w.Now)
	for what, text := range map[string]string{
		"list":   page.Fleet{Airframes: []page.Airframe{page.Brief(w.State, w.Now)}}.Markdown(c),
		"screen": page.NewAuditScreen(w.State, workflow.AuditSummary{}, record, nil, w.Now).Markdown(c),
		"audit":  audit.Markdown(c),
	} {
		if !strings.Contains(strings.ToUpper(text), "**RELEASED, QUARANTINE OPEN") || what != "list" && !strings.Contains(text, "(D3) is off the airframe; it lasts at least until") {
			t.Errorf("%s: no word of the quarantine in %s", what, text)
		}
	}
	if data, err := json.Marshal(audit); err != nil || !strings.Contains(string(data), `"flight":"released"`) || !strings.Contains(string(data), `"quarantines":[{"damage":"D3"`) {
		t.Errorf("the audit as JSON says %.300s, %v", data, err)
	}
}

// Whatever documents and journals say, nothing acts and nothing is hidden.
func TestWordsAreInert(t *testing.T) {
	w := builder(t)
	carry(t, w, 40)
	put(t, w, journal.Noted{Text: evil})
	put(t, w, journal.PhotoKept{Photo: evil, Name: evil, Type: "text/html", Of: []int64{3}})
	put(t, w, journal.DamageFound{Damage: evil, Finding: evil, Zone: evil, Severity: evil, Place: evil, Cause: evil, Thing: evil, Note: evil, As: evil, Words: evil, Quarantine: steps.Quarantine{Confirm: []string{evil}}})
	put(t, w, journal.Sealed{Size: 3, Root: evil, Key: evil, Note: evil})
	put(t, w, journal.ConcessionGranted{Gate: evil, Reason: evil})
	put(t, w, journal.FlightLogged{Landing: evil, Note: evil})
	put(t, w, journal.EquipmentChanged{Item: evil, Change: evil, Note: evil})
	put(t, w, journal.GaugeChecked{Gauge: evil, Of: length(t, "10 mm"), Reads: length(t, "10 mm"), Note: evil})
	w.By = evil
	put(t, w, journal.Undone{TakesBack: []int64{put(t, w, journal.Noted{Text: evil})}, Reason: evil})
	put(t, w, journal.Released{Jobs: []string{evil}, Performed: []string{evil}, Certificate: evil, RestsOn: []int64{1}})
	sheet := *w.State.Sheet
	sheet.About, sheet.Title = evil+"\n\n[a](http://x.example) ![b](http://x.example/b.png) <http://x.example/c>\n\n<div onclick=x>\n\n# big", evil
	w.State.Sheet = &sheet
	for _, j := range w.State.Jobs {
		p := *j.Procedure
		p.Title, p.About = evil, evil
		p.Stages = slices.Clone(p.Stages)
		p.Stages[0].Steps = slices.Clone(p.Stages[0].Steps)
		p.Stages[0].Steps[0].Do, p.Stages[0].Steps[0].Why, p.Stages[0].Steps[0].Title = evil, evil, evil
		j.Procedure = &p
	}
	text := write(t, w, book.Options{
		Full:  true,
		Photo: func(string) ([]byte, string, error) { return []byte(evil), "image/svg+xml", nil },
		Seals: map[int64]string{5: evil},
	})
	root := parse(t, text)
	if n := len(elements(root, "img")); n != 0 {
		t.Errorf("%d images are shown", n)
	}
	if n := len(elements(root, "h1")); n != 1 {
		t.Errorf("there are %d chief headings", n)
	}
	for _, says := range []string{"<script>alert(1)</script>", `\u001b[31m`, `\u202e`, "a (http://x.example) b (http://x.example/b.png) http://x.example/c", "[press](javascript:alert(3))", "neither JPEG nor PNG"} {
		if !strings.Contains(textOf(root), says) {
			t.Errorf("the book hides %q", says)
		}
	}
}

// A life of which every text is hostile, in documents and journal alike, has
// every chapter, and each shows that text as text.
func TestEveryChapterIsInert(t *testing.T) {
	t.Parallel()
	w := whole(t)
	put(t, w, journal.Noted{Text: "A note."})
	put(t, w, journal.PhotoKept{Photo: "sha256:89ab", Name: "whole.png", Type: "image/png", Of: []int64{w.State.Size() - 1}})
	put(t, w, journal.ConcessionGranted{Gate: "hinge-gap", Reason: "Close enough."})
	put(t, w, journal.TouchTested{Job: "causeway-build", Joint: "wing-roots", Ready: true})
	docs := poisoned(reflect.ValueOf(w.Documents)).Interface().(workflow.Documents)
	entries := poisoned(reflect.ValueOf(w.State.Entries)).Interface().([]journal.Entry)
	state, err := workflow.Replay(entries, docs)
	if err != nil {
		t.Fatal(err)
	}
	w.State = state
	shown := 0
	root := parse(t, write(t, w, book.Options{
		Full:      true,
		Finding:   func(string) string { return evil },
		Documents: []page.Cited{{Name: evil, Digest: evil, Origin: evil, MadeOf: []string{evil}}},
		Photo: func(digest string) ([]byte, string, error) {
			if shown++; shown == 1 {
				return onePixel(), evil, nil
			}
			return nil, evil, errors.New(evil)
		},
		Seals: map[int64]string{sealedAt(w): evil, 1: evil},
	}))
	var chapters []string
	for _, section := range elements(root, "section") {
		chapters = append(chapters, attribute(section, "id"))
		if !strings.Contains(textOf(section), "<script>alert(1)</script>") {
			t.Errorf("the chapter %s shows no hostile text", attribute(section, "id"))
		}
	}
	want := strings.Fields("open repairs critical strip history gaps releases damages readings checks joints cautions card parts jobs equipment photos notes seals corrections")
	if !slices.Equal(chapters, want) {
		t.Errorf("the chapters are %q; want %q", chapters, want)
	}
	if n := len(elements(root, "img")); n != 1 {
		t.Errorf("%d images are shown", n)
	}
	if n := len(elements(root, "h1")); n != 1 {
		t.Errorf("there are %d chief headings", n)
	}
}

// A photo that is missing is said twice, where it would be and among what the
// record does not show; one that was kept twice is in the page once; and a book
// tells nobody the folders of who made it.
func TestPhotos(t *testing.T) {
	w := builder(t)
	for _, digest := range []string{"sha256:1", "sha256:1", "sha256:2"} {
		put(t, w, journal.PhotoKept{Photo: digest, Name: "shot.png", Type: "image/png", Of: []int64{0}})
	}
	asked := map[string]int{}
	text := write(t, w, book.Options{Photo: func(digest string) ([]byte, string, error) {
		if asked[digest]++; digest == "sha256:1" {
			return onePixel(), "image/png", nil
		}
		return nil, "", &photos.Error{Op: "read the photo", Path: "/home/someone/photos", Err: photos.ErrChanged}
	}})
	root := parse(t, text)
	all := textOf(root)
	if n := len(elements(root, "img")); n != 1 || asked["sha256:1"] != 1 || asked["sha256:2"] != 1 {
		t.Errorf("%d pictures, asked for as %v", n, asked)
	}
	for _, says := range []string{"The same picture is shown above, as the photo of entry 2", "The photo is missing: changed since it was added", "photo shot.png (entry 4) is not in this book"} {
		if !strings.Contains(strings.ToLower(all), strings.ToLower(says)) {
			t.Errorf("the book does not say %q", says)
		}
	}
	if strings.Contains(text, "/home/someone") {
		t.Error("the book tells where the photos are kept")
	}
}

// A book of nothing but a registered airframe is a book.
func TestAnEmptyLife(t *testing.T) {
	w := builder(t)
	text := textOf(parse(t, write(t, w, book.Options{})))
	for _, says := range []string{"NOT RELEASED", "not measured yet", "is open: 0 of", "Not complete"} {
		if !strings.Contains(text, says) {
			t.Errorf("the book does not say %q", says)
		}
	}
}

// Times are local, with UTC behind.
func TestTimesAreLocal(t *testing.T) {
	w := builder(t)
	var out strings.Builder
	o := book.Options{Clock: &page.Clock{Now: w.Now}, Zone: time.FixedZone("CET", 3600)}
	if err := book.Write(&out, w.State, o); err != nil {
		t.Fatal(err)
	}
	if want := `title="2026-03-02 19:00:00 UTC">2 Mar 2026, 20:00</time>`; !strings.Contains(out.String(), want) {
		t.Errorf("the book has no %s", want)
	}
	if all := textOf(parse(t, out.String())); strings.Count(all, "CET (+01:00)") != 2 {
		t.Error("the zone is not said at the head and at the foot")
	}
}

// A pen that runs dry is an error.
func TestWriteFails(t *testing.T) {
	w := builder(t)
	if err := book.Write(dry{}, w.State, book.Options{Clock: &page.Clock{Now: w.Now}}); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("the error is %v", err)
	}
}

type dry struct{}

func (dry) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func BenchmarkWrite(b *testing.B) {
	w := whole(b)
	for b.Loop() {
		if err := book.Write(io.Discard, w.State, book.Options{Clock: &page.Clock{Now: w.Now}}); err != nil {
			b.Fatal(err)
		}
	}
}
