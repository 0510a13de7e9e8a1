package book_test

import (
	"bytes"
	"image"
	"image/png"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/html"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/page"
	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/robot"
)

// builder is a robot with the whole library at hand and a Causeway begun.
func builder(t testing.TB) *robot.Worker {
	t.Helper()
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{}, Procedures: map[string]*steps.Procedure{}}
	listed, faults := procedures.Open("").List()
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for _, l := range listed {
		digest := store.Digest(l.Document.Bytes)
		docs.Sheets[digest], docs.Procedures[digest] = l.Document.Sheet, l.Document.Procedure
	}
	state, err := workflow.Replay(nil, docs)
	if err != nil {
		t.Fatal(err)
	}
	w := &robot.Worker{State: state, Documents: docs, Now: time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC), By: "robot", Program: "test"}
	design := find(t, "causeway")
	act(t, w, workflow.Register{Mark: "CW-01", Sheet: design.Sheet, Digest: store.Digest(design.Bytes)})
	start(t, w, find(t, "causeway-build"), "")
	return w
}

func find(t testing.TB, name string) *procedures.Document {
	t.Helper()
	doc, err := procedures.Open("").Find(name)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func act(t testing.TB, w *robot.Worker, r workflow.Request) {
	t.Helper()
	if err := w.Act(r); err != nil {
		t.Fatalf("%T: %v", r, err)
	}
}

func start(t testing.TB, w *robot.Worker, doc *procedures.Document, zone string) {
	t.Helper()
	act(t, w, workflow.Start{Procedure: doc.Procedure, Digest: store.Digest(doc.Bytes), Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest, Zone: zone})
}

func carry(t testing.TB, w *robot.Worker, moves int) {
	t.Helper()
	if err := w.Carry(moves); err != nil {
		t.Fatal(err)
	}
}

// put writes an entry as another program may have written it, past the rules.
func put(t testing.TB, w *robot.Worker, facts journal.Facts) int64 {
	t.Helper()
	e := journal.Entry{Position: w.State.Size(), At: w.Now, Recorded: w.Now, By: w.By, Program: "test", Facts: facts}
	state, err := workflow.Replay(append(w.State.Entries, e), w.Documents)
	if err != nil {
		t.Fatal(err)
	}
	w.State = state
	return e.Position
}

// evil is what somebody may have written anywhere.
const evil = "<script>alert(1)</script> <img src=http://x.example/a onerror=alert(2)> [press](javascript:alert(3)) \x1b[31m \u202e turned \x07 &#27; </p></title></style></svg>\"'{{.}}"

// poisoned is a deep copy with evil at the end of every text in it, names and
// keys among them, so that they still fit each other.
func poisoned(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	switch v.Kind() {
	case reflect.String:
		out.SetString(v.String())
		if v.Type() == reflect.TypeFor[string]() && !slices.Contains([]string{"", steps.Build, steps.Repair, steps.Check}, v.String()) {
			out.SetString(v.String() + evil)
		}
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			return v
		}
		inner := poisoned(v.Elem())
		if v.Kind() == reflect.Interface {
			return inner
		}
		out.Set(reflect.New(inner.Type()))
		out.Elem().Set(inner)
	case reflect.Slice:
		for i := range v.Len() {
			out = reflect.Append(out, poisoned(v.Index(i)))
		}
	case reflect.Array:
		for i := range v.Len() {
			out.Index(i).Set(poisoned(v.Index(i)))
		}
	case reflect.Map:
		out = reflect.MakeMap(v.Type())
		for key, value := range v.Seq2() {
			out.SetMapIndex(poisoned(key), poisoned(value))
		}
	case reflect.Struct:
		out.Set(v) // with what is hidden, as quantities and times are
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				out.Field(i).Set(poisoned(v.Field(i)))
			}
		}
	default:
		return v
	}
	return out
}

const photoDigest = "sha256:0123"

// built is a Causeway built and released. It is built once.
func built(t testing.TB) *robot.Worker {
	t.Helper()
	return once(t, &buildOnce, &builtOnce, func() *robot.Worker {
		w := builder(t)
		carry(t, w, 3000)
		return w
	})
}

// whole is a Causeway built, released, sealed, flown, broken and repaired twice, with
// photos, a battery in quarantine, flights while it was grounded, a hard landing, a change of
// equipment, a concession, a note, a correction, and a gauge that was not good.
func whole(t testing.TB) *robot.Worker {
	t.Helper()
	return once(t, &liveOnce, &wholeOnce, func() *robot.Worker { return live(t, built(t)) })
}

var (
	buildOnce, liveOnce  sync.Once
	builtOnce, wholeOnce *robot.Worker
)

// once makes a worker once and gives each test its own.
func once(t testing.TB, first *sync.Once, kept **robot.Worker, from func() *robot.Worker) *robot.Worker {
	t.Helper()
	first.Do(func() {
		w := from()
		w.State.Entries = slices.Clip(w.State.Entries) // each goes on with entries of its own
		*kept = w
	})
	if *kept == nil {
		t.Fatal("it was not made, another test says why")
	}
	w := **kept
	return &w
}

func live(t testing.TB, w *robot.Worker) *robot.Worker {
	t.Helper()
	photo := func(digest, name string) {
		put(t, w, journal.PhotoKept{Photo: digest, Name: name, Type: "image/png", Of: []int64{w.State.Size() - 1}})
	}
	put(t, w, journal.Sealed{Size: w.State.Size(), Root: "cm9vdA==", Key: "causeway+key", Note: "sha256:4567"})
	for range 5 {
		w.Now = w.Now.Add(26 * time.Hour)
		act(t, w, workflow.LogFlight{Landing: workflow.Soft, Lasted: minutes(t, "11 min")})
		act(t, w, workflow.ReadBench{Set: []steps.Setting{{Condition: "battery", State: "out"}}})
		measure(t, w, "battery-voltage", "cell-1=4.16 V", "cell-2=4.16 V", "cell-3=4.15 V") // what flew is charged
	}
	act(t, w, workflow.ChangeEquipment{Item: "battery-pack", Change: workflow.Fitted, Name: "pack A", Mass: mass(t, "176 g")})
	w.Now = w.Now.Add(time.Hour)
	act(t, w, workflow.LogFlight{Landing: workflow.Hard, Note: "into the maize", Check: "post-crash"})
	start(t, w, find(t, "post-crash"), "")
	carry(t, w, 3000)
	triage := find(t, "crash-triage").Triage
	act(t, w, workflow.ReportDamage{Triage: triage, Cause: "A gust on the last turn", Seen: []workflow.Sighting{
		{Finding: "boom-broken", Zone: "left-boom", Severity: steps.Serious, Note: "behind the clamp"},
		{Finding: "cracked", Zone: "nose", Severity: steps.Slight, Place: "left side"},
		{Finding: "battery-dented", Zone: "battery", Severity: steps.Serious}}})
	photo(photoDigest, "boom.png")
	repair(t, w, triage)
	act(t, w, workflow.GiveRelease{Certificate: "club examiner 12"})
	w.Now = w.Now.Add(49 * time.Hour)
	act(t, w, workflow.ClearQuarantine{Damage: "D3", Answers: slices.Repeat([]bool{true}, len(w.State.Damages[2].Quarantine.Lines))})
	w.Now = w.Now.Add(20 * time.Hour)
	act(t, w, workflow.LogFlight{Landing: workflow.Soft})
	act(t, w, workflow.ReportDamage{Triage: triage, Cause: "The hand that launched it let go late", Seen: []workflow.Sighting{
		{Finding: "joint-peeled", Zone: "tail", Severity: steps.Serious}, {Finding: "crushed", Zone: "wing", Severity: steps.Slight, Place: "right tip"}}})
	photo("sha256:2345", "tail.png")
	w.Now = w.Now.Add(time.Hour)
	act(t, w, workflow.LogFlight{Landing: workflow.Soft, Note: "to bring it home over the creek", Check: "post-crash"})
	start(t, w, find(t, "post-crash"), "")
	carry(t, w, 3000)
	repair(t, w, triage)
	if w.State.Airworthiness(w.Now).Released == false {
		act(t, w, workflow.GiveRelease{})
	}
	w.Now = w.Now.Add(time.Hour)
	act(t, w, workflow.ChangeEquipment{Item: "battery-pack", Change: workflow.Moved, Mass: mass(t, "176 g"), Note: "forward"})
	measure(t, w, "hinge-gap", "left-aileron=0.5 mm", "right-aileron=2 mm", "elevator=0.5 mm")
	measure(t, w, "receiver-distance", "=258 mm")
	act(t, w, workflow.Concede{Gate: "hinge-gap", Reason: "Taped over until the next hinge."})
	put(t, w, journal.GaugeChecked{Gauge: "rule", Of: length(t, "100 mm"), Reads: length(t, "102 mm"), Note: "a block"})
	put(t, w, journal.Noted{Text: "Flies well."})
	act(t, w, workflow.Undo{Position: w.State.Size() - 1, Reason: "too early to say"})
	return w
}

// measure reads a gate in millimetres, POINT=READING.
func measure(t testing.TB, w *robot.Worker, gate string, readings ...string) {
	t.Helper()
	g, _ := w.State.Sheet.Gate(gate)
	r := workflow.Measure{Gate: gate, Sure: true}
	for _, text := range readings {
		point, value, _ := strings.Cut(text, "=")
		r.Readings = append(r.Readings, workflow.Reading{Point: point, Value: valueOf(t, value, g.Dimension())})
	}
	act(t, w, r)
}

// repair carries out the plan for every open damage.
func repair(t testing.TB, w *robot.Worker, triage *steps.Triage) {
	t.Helper()
	plan, err := w.State.PlanRepair(triage, func(name string) (*steps.Procedure, error) { return find(t, name).Procedure, nil }, w.Now)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := procedures.Kept(plan.Procedure)
	if err != nil {
		t.Fatal(err)
	}
	w.Documents.Procedures[store.Digest(doc.Bytes)] = doc.Procedure
	var names []string
	for _, m := range plan.Answers {
		names = append(names, m.Damage.Name)
	}
	act(t, w, workflow.Start{Procedure: doc.Procedure, Digest: store.Digest(doc.Bytes), Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest, Damages: names})
	carry(t, w, 3000)
}

func minutes(t testing.TB, text string) quantity.Quantity { return valueOf(t, text, quantity.Duration) }

func mass(t testing.TB, text string) quantity.Quantity { return valueOf(t, text, quantity.Mass) }

func length(t testing.TB, text string) quantity.Quantity { return valueOf(t, text, quantity.Length) }

func valueOf(t testing.TB, text string, want quantity.Dimension) quantity.Quantity {
	t.Helper()
	q, err := quantity.Parse(text, want)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func onePixel() []byte {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 4, 3))); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func write(t testing.TB, w *robot.Worker, o book.Options) string {
	t.Helper()
	o.Clock, o.Zone = &page.Clock{Now: w.Now}, time.UTC
	var out strings.Builder
	if err := book.Write(&out, w.State, o); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// known are the elements that a book may have.
var known = strings.Fields("html head meta title style body header main section article nav footer h1 h2 h3 h4 h5 p div span ul ol li dl dt dd" +
	" a b i q strong em s small code pre blockquote hr br time table thead tbody tr th td figure figcaption img details summary" +
	" svg defs pattern g use text line rect path circle")

// parse reads the page, and holds it to what every book promises.
func parse(t testing.TB, text string) *html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if i := strings.IndexFunc(text, func(r rune) bool { return r < 0x20 && r != '\n' && r != '\t' || r == 0x7f || r == 0x202e }); i >= 0 {
		t.Errorf("a control character stands at %q", text[max(0, i-40):i+10])
	}
	leaves, styled := regexp.MustCompile(`(?i)https?:|javascript:|url\([^#]`), regexp.MustCompile(`@import|url\(`)
	ids, links := map[string]bool{}, []string{}
	for n := range root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if !slices.Contains(known, n.Data) {
			t.Errorf("the page has a <%s>", n.Data)
		}
		for _, a := range n.Attr {
			switch {
			case a.Key == "id":
				if ids[a.Val] {
					t.Errorf("two things are called %s", a.Val)
				}
				ids[a.Val] = true
			case a.Key == "href" && strings.HasPrefix(a.Val, "#"):
				links = append(links, a.Val[1:])
			case a.Key == "src" && strings.HasPrefix(a.Val, "data:image/"):
			case a.Key == "alt": // text, whatever it says
			case strings.HasPrefix(a.Key, "on"), a.Key == "href", a.Key == "src", a.Key == "srcset", a.Key == "action", a.Key == "xlink:href",
				leaves.MatchString(a.Val):
				t.Errorf("<%s %s=%.60q> leaves the page or acts", n.Data, a.Key, a.Val)
			}
		}
		if n.Data == "style" && styled.MatchString(textOf(n)) {
			t.Error("the style leaves the page")
		}
		if n.Data == "th" && attribute(n, "scope") == "" {
			t.Errorf("the heading %q says not of what", textOf(n))
		}
	}
	for _, to := range links {
		if !ids[to] {
			t.Errorf("a link leads to %s, which is nowhere", to)
		}
	}
	return root
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func elements(root *html.Node, tag string) []*html.Node {
	var all []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode && n.Data == tag {
			all = append(all, n)
		}
	}
	return all
}
