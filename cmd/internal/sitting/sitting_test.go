package sitting_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store/memory"
	"fettle/store/photos"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// tab is what the Finch lacks: glue that is joined wet, and a wait that says something.
const tab = `procedure: finch-tab
kind: check
design: finch
title: Glue a tab on
revision: 1
stages:
  - stage: tab
    steps:
      - step: coat-tab
        title: Coat the tab
        do: Spread it.
        hands: 6 min
        coat: {joint: tab, with: epoxy}
      - step: coat-root
        title: Coat the root
        do: Spread it.
        hands: 2 min
        coat: {joint: tab, with: epoxy}
      - step: join-tab
        title: Join the tab
        do: Press.
        join: tab
        disturbs: [tail]
      - step: set-tab
        title: Let the tab set
        do: Leave the board and the weight on.
        wait: {joint: tab, until: handling}
      - step: trim-tab
        title: Trim the tab
        do: Trim it.
  - stage: dry
    steps:
      - step: coat-dry
        title: Coat the pad
        do: Spread it.
        hands: 3 min
        needs: {ventilation: on}
        coat: {joint: pad, with: contact}
      - step: join-dry
        title: Join the pad
        do: Press.
        join: pad
        disturbs: [tail]
      - step: sand
        title: Sand the pad
        do: Sand it.
        hands: 15 min
  - stage: guard
    steps:
      - step: guard-blade
        title: Before the blade
        hold:
          confirm: [The mat is clear, The spare hand is behind the blade]
      - step: plan-tail
        title: Plane the tail
        do: Plane it.
        hands: 8 min
`

// twoWays are those of a gate of the Finch, which has one.
const twoWays = `rework:
      - do: |
          - Lay the stick in.
          - Deepen it.
      - do: Line it with tape.`

// pins has two stages that lack the same condition.
const pins = `procedure: reed-pins
kind: check
design: reed
title: Pin it
revision: 1
stages:
  - stage: pins
    steps:
      - step: pin-left
        title: Pin the left
        do: Press the pin in.
        tools: [gun]
        needs: {gun: hot}
  - stage: other
    steps:
      - step: sort-pins
        title: Sort the pins
        do: Sort them.
      - step: pin-right
        title: Pin the right
        do: Press the pin in.
        needs: {gun: hot}
`

// heat is a tool that is made hot, and used.
const heat = `procedure: reed-heat
kind: check
design: reed
title: Heat it
revision: 1
stages:
  - stage: heat
    steps:
      - step: gun-on
        title: Gun on
        do: Plug it in.
        tools: [gun]
        sets: {gun: hot}
      - step: press-pin
        title: Press the pin
        do: Press it.
        needs: {gun: hot}
        tools: [gun]
      - step: glue-pin
        title: Glue the pin
        do: A bead, and press.
        hands: 2 min
        glue: {joint: pin, with: hot-melt}
        disturbs: [wing]
      - step: look-at-pin
        title: Look at the pin
        do: Look at it.
      - step: gun-off
        title: Gun off
        do: Unplug it.
        sets: {gun: cold}
`

// A bench is a store, a clock and a front that answers by a list.
type bench struct {
	t        *testing.T
	now      time.Time
	desk     *desk.Desk
	queue    []string
	asked    []string // each question: where, its prompt, its keys
	seen     []string // what was to be done
	told     []string
	where    []string // others were, at each question
	cautions []string // at each question
	last     sitting.Question
	of       *sitting.Bench
	plans    func(context.Context, []*workflow.State) *workflow.Timetable
	first    func() // what another bench does before the next answer [sitting.Changed]
	nameless bool
	hasty    func() // what another bench does just before the next answer d
	quits    func() // what happens just before q
}

// atBench is a bench with an airframe of each mark, and the tab to be glued on.
func atBench(t *testing.T, marks ...string) *bench {
	t.Helper()
	t.Setenv("TZ", "UTC")
	own := t.TempDir()
	for _, name := range []string{"finch.yaml", "finch-build.yaml"} {
		data, err := os.ReadFile(filepath.Join("..", "cli", "testdata", name))
		must(t, err)
		text := strings.Replace(string(data), "rework: Deepen it with the sanding stick.", twoWays, 1)
		text = strings.Replace(text, "Epoxy, two parts\n", "Epoxy, two parts\n    caution: |\n      It makes skin allergic.\n      - Gloves.\n", 1)
		must(t, os.WriteFile(filepath.Join(own, name), []byte(text), 0o600))
	}
	must(t, os.WriteFile(filepath.Join(own, "finch-tab.yaml"), []byte(tab), 0o600))
	must(t, os.WriteFile(filepath.Join(own, "reed-pins.yaml"), []byte(pins), 0o600))
	must(t, os.WriteFile(filepath.Join(own, "reed-heat.yaml"), []byte(heat), 0o600))
	must(t, os.WriteFile(filepath.Join(own, "reed-cool.yaml"), []byte(cool), 0o600))
	b := &bench{t: t, now: time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)}
	b.desk = &desk.Desk{Store: memory.New(), Photos: photos.Beside(filepath.Join(own, "store.db")), Library: procedures.Open(own),
		Now: func() time.Time { return b.now }, By: "builder", Program: "test"}
	for _, mark := range marks {
		s, err := b.desk.Register(t.Context(), mark, "finch", nil, time.Time{})
		must(t, err)
		_, _, err = b.desk.Start(t.Context(), s, "finch-tab", "", time.Time{})
		must(t, err)
	}
	return b
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// lead leads through a sitting. An answer is a key, or a text for the field; "+6m" in front
// of it lets time pass.
func (b *bench) lead(mark string, answers ...string) {
	b.t.Helper()
	b.queue, b.asked, b.told, b.seen, b.where, b.cautions = answers, nil, nil, nil, nil, nil
	b.of = sitting.NewBench(b.desk)
	s := &sitting.Sitting{Desk: b.desk, Bench: b.of, Front: b, Mark: mark, Replan: b.plans, Nameless: b.nameless,
		When: func(text string) (time.Time, error) {
			d, err := time.ParseDuration(strings.TrimSuffix(strings.ReplaceAll(text, " min", "m"), " ago"))
			return b.now.Add(-d), err
		}}
	if err := s.Lead(b.t.Context()); !errors.Is(err, context.Canceled) || !strings.HasSuffix(answers[len(answers)-1], "stop") {
		must(b.t, err)
	}
	if len(b.queue) > 0 {
		b.t.Fatalf("left before %q, told %q", b.queue, b.told)
	}
}

func (b *bench) Tell(markdown string) error {
	b.told = append(b.told, markdown)
	return nil
}

func (b *bench) Ask(_ context.Context, q sitting.Question) (sitting.Reply, error) {
	keys := slices.Clone(q.Keys)
	if q.Offers != nil {
		keys = append(q.Offers(b.now), keys...)
	}
	var own []string
	for _, k := range keys {
		if !k.Common {
			own = append(own, k.Key+" "+k.Word)
		}
	}
	b.asked = append(b.asked, fmt.Sprintf("%s | %s | %s | %s", q.View.Mark, q.View.Title, q.Prompt, strings.Join(own, ", ")))
	b.last, b.seen, b.where = q, append(b.seen, q.View.Action), append(b.where, q.View.Where)
	var cautions []string
	for _, c := range q.View.Cautions {
		cautions = append(cautions, c.Text)
	}
	b.cautions = append(b.cautions, strings.Join(cautions, "\n"))
	if len(b.queue) == 0 {
		return sitting.Reply{}, term.ErrEnd
	}
	answer := b.queue[0]
	b.queue = b.queue[1:]
	if span, rest, ok := strings.Cut(answer, " "); strings.HasPrefix(answer, "+") && ok {
		d, err := time.ParseDuration(span[1:])
		must(b.t, err)
		b.now, answer = b.now.Add(d), rest
	}
	if answer == "stop" {
		return sitting.Reply{}, context.Canceled
	}
	if answer == sitting.Changed && b.first != nil {
		first := b.first
		b.first = nil
		first()
	}
	if answer == "d" && b.hasty != nil {
		hasty := b.hasty
		b.hasty = nil
		hasty()
	}
	if answer == sitting.Quit && b.quits != nil {
		b.quits()
	}
	if answer == sitting.Due || answer == sitting.Changed {
		return sitting.Reply{Key: answer}, nil
	}
	if q.Offers != nil {
		keys = append(q.Offers(b.now), q.Keys...)
	}
	for _, k := range keys {
		if k.Is(answer) {
			return sitting.Reply{Key: k.Key}, nil
		}
	}
	if q.Field == nil {
		b.t.Fatalf("%q does not answer %s", answer, b.asked[len(b.asked)-1])
	}
	if q.Field.Check != nil {
		if v := q.Field.Check(answer); !v.Taken {
			b.t.Fatalf("%q is not taken at %s: %s", answer, b.asked[len(b.asked)-1], v.Said)
		}
	}
	return sitting.Reply{Text: answer}, nil
}

// asks asserts that a question has these words, and returns it.
func (b *bench) asks(words ...string) string {
	b.t.Helper()
	for _, q := range b.asked {
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(q, w) }) {
			return q
		}
	}
	b.t.Errorf("nothing asks %q:\n%s", words, strings.Join(b.asked, "\n"))
	return ""
}

// tells asserts that something told has these words.
func (b *bench) tells(words ...string) {
	b.t.Helper()
	if !slices.ContainsFunc(b.told, func(text string) bool {
		return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) })
	}) {
		b.t.Errorf("nothing tells %q:\n%s", words, strings.Join(b.told, "\n"))
	}
}

// last is the last entry of the kind.
func last[F journal.Facts](b *bench, mark string) (f F, e journal.Entry) {
	b.t.Helper()
	s := b.state(mark)
	for _, e := range slices.Backward(s.Entries) {
		if f, ok := e.Facts.(F); ok && s.Live(e.Position) {
			return f, e
		}
	}
	b.t.Fatalf("%s has no %T", mark, f)
	return f, e
}

func (b *bench) state(mark string) *workflow.State {
	b.t.Helper()
	s, err := b.desk.State(b.t.Context(), mark)
	must(b.t, err)
	return s
}

func (b *bench) act(mark string, r workflow.Request) {
	b.t.Helper()
	_, _, err := b.desk.Act(b.t.Context(), b.state(mark), r, time.Time{})
	must(b.t, err)
}

func q(t *testing.T, text string) quantity.Quantity {
	t.Helper()
	v, err := quantity.Parse(text, "")
	must(t, err)
	return v
}

func (b *bench) ready(mark string) {
	b.t.Helper()
	b.act(mark, workflow.ReadBench{Temperature: q(b.t, "20 °C"), Humidity: q(b.t, "50 %")})
}

// Mixing and the start of spreading are stamped as they happen, or typed; the next coat
// may be of the same batch, and what was mixed a while ago is not offered.
func TestStamps(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "m", "+1m s", "+7m d", "y", "+2m d", "+30s q")
	first, entry := func() (journal.Coated, journal.Entry) {
		s := b.state("FN-01")
		for _, e := range s.Entries {
			if f, ok := e.Facts.(journal.Coated); ok {
				return f, e
			}
		}
		t.Fatal("nothing was coated")
		return journal.Coated{}, journal.Entry{}
	}()
	at := func(min int) time.Time { return time.Date(2026, 3, 3, 19, min, 0, 0, time.UTC) }
	if !first.Mixed.Equal(at(0)) || !first.Began.Equal(at(1)) || !entry.At.Equal(at(8)) {
		t.Errorf("mixed %v, began %v, done %v", first.Mixed, first.Began, entry.At)
	}
	second, entry := last[journal.Coated](b, "FN-01")
	if !second.Mixed.Equal(at(0)) || !entry.At.Equal(at(10)) || !second.Began.Equal(at(8)) {
		t.Errorf("the same batch: mixed %v, began %v, done %v", second.Mixed, second.Began, entry.At)
	}
	// its caution was read, and is there whole all the same
	if got := b.last.View.Cautions; len(got) != 1 || got[0] != (sitting.Caution{Text: "It makes skin allergic.\n- Gloves.", Read: true}) {
		t.Errorf("once epoxy was used it has the cautions %+v", got)
	}
	b.asks("Coat the tab", "When is epoxy mixed?", "m mixed now")
	b.asks("Coat the root", "y the batch of 19:00")
	b.asks("Spreading since 19:01.", "d the coat is on")

	// typed, and mixed later than the sheet's minutes would have it begin
	b = atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "4m ago", "d", "y", "m", "+10s d", "y", "q")
	if coat, _ := last[journal.Coated](b, "FN-01"); !coat.Began.Equal(*coat.Mixed) || !coat.Mixed.Equal(at(0)) {
		t.Errorf("%+v", coat)
	}
	// 21 minutes later the batch is past its time
	b = atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "m", "+6m d", "+21m l", "coat-tab", "q")
	if strings.Contains(b.asks("Coat the tab", "When is epoxy mixed?"), "batch") {
		t.Error("an old batch is offered")
	}
}

// Only a coat that dries is touched. Found wet, it comes back after five minutes.
func TestTouch(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "m", "+6m d", "y", "+2m d", "q")
	if strings.Contains(b.asks("Join the tab", "d joined"), "wet") {
		t.Error("epoxy is touched")
	}
	b.act("FN-01", workflow.Finish{Step: "join-tab"})
	b.tells("Still running", "joint tab")
	b.lead("FN-01", "l", "coat-dry", "y", "+3m d", "+11m j", "w", "1", "2", "+5m j", "n", "+7m j", "w", "q")
	b.tells("pad is still wet. It is asked for again at ")
	if text := strings.Join(b.seen, "\n"); !strings.Contains(text, "Press.") || strings.Contains(text, "drying") || strings.Contains(text, "left)") {
		t.Errorf("it says %s", text) // whatever the clock beside it says
	}
	if slices.ContainsFunc(b.told, func(text string) bool { return strings.Contains(text, "Refused") }) {
		t.Errorf("told %q", b.told)
	}
	n := len(b.asked)
	for i, want := range []string{"Before the blade", "Join the pad | Touch it. When it is joined: | d joined, w still wet, e joined earlier"} {
		if !strings.Contains(b.asked[n-9+i], want) {
			t.Errorf("%d asks %s, want %s", i, b.asked[n-9+i], want)
		}
	}
	for i, want := range []string{"Plane the tail", "Join the pad | Touch it again. Is it dry? | y dry, w still wet", "Plane the tail", "Touch it again", "Touch it again"} { // 14 minutes are left in the end, 7 of them for the join and to spare, and planing takes 8
		if !strings.Contains(b.asked[n-5+i], want) {
			t.Errorf("then %d asks %s, want %s", i, b.asked[n-5+i], want)
		}
	}
}

// Found wet, a joint that was gone to from the list gives way to what fits in.
func TestWetGivesWay(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.act("FN-01", workflow.ReadBench{Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.act("FN-01", workflow.Finish{Step: "coat-dry"})
	b.now = b.now.Add(11 * time.Minute)
	b.lead("FN-01", "l", "join-dry", "w", "q")
	if at := b.asked[len(b.asked)-1]; strings.Contains(at, "Join the pad") {
		t.Errorf("it stays at %s", at)
	}
	// and it is no longer called wet once it was felt to be dry
	b.lead("FN-01", "+6m l", "join-dry", "y", "q")
	for _, timer := range b.of.Timers(b.now) {
		if timer.Name == "pad" && timer.Phase != workflow.Open {
			t.Errorf("dry to the touch, it is %s", timer.Phase)
		}
	}
}

// Whoever had no hand free while the joint was joined says so afterwards, also once its
// time is over, and nothing is coated again.
func TestJoinedEarlier(t *testing.T) {
	for name, answers := range map[string][]string{
		"in its time":     {"+30m l", "join-dry", "e", "10m ago"},
		"while it lapsed": {"+30m l", "join-dry", "+15m d", "25m ago"},
		"afterwards":      {"+45m l", "guard-blade", "j", "e", "25m ago"},
	} {
		t.Run(name, func(t *testing.T) {
			b := atBench(t, "FN-01")
			b.ready("FN-01")
			b.act("FN-01", workflow.ReadBench{Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
			b.act("FN-01", workflow.Finish{Step: "coat-dry"})
			b.lead("FN-01", append(answers, "q")...)
			if _, e := last[journal.Joined](b, "FN-01"); !e.At.Equal(time.Date(2026, 3, 3, 19, 20, 0, 0, time.UTC)) {
				t.Errorf("joined at %s", e.At)
			}
			b.asks("Join the pad", "When was it joined?")
			if name == "afterwards" {
				b.asks("Before the blade", "j coat pad again")
				b.asks("Coat the pad", "e it was joined in time")
			}
		})
	}
}

// What a wait says is told when it begins.
func TestWaitsSayWhatTheyAreFor(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "m", "+6m d", "y", "+2m d", "+1m d", "q")
	b.tells("joined tab", "Let the tab set", "Leave the board and the weight on.")
}

// Each line of a hold has its own key, and Enter none. What was confirmed stays so while
// the rest is put off.
func TestHold(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "l", "guard-blade", "2", "n", "l", "guard-blade", "1", "q")
	if got := b.asks("Before the blade", "1 yes, 2 not yet"); strings.Contains(got, "enter") {
		t.Errorf("Enter answers a hold: %s", got)
	}
	if f, _ := last[journal.HoldCleared](b, "FN-01"); len(f.Lines) != 2 {
		t.Errorf("cleared %+v", f)
	}
}

// A step that takes 8 minutes is not done two seconds after it was shown; asked once, it
// is recorded all the same.
func TestHaste(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.act("FN-01", workflow.Clear{Step: "guard-blade", Answers: []bool{true, true}})
	b.lead("FN-01", "+2s enter", "n", "+1s d", "enter", "+15m d", "q") // no is no, and d is done
	if at := b.asked[2]; at != b.asked[0] {
		t.Errorf("no leads to %s", at)
	}
	b.asks("This takes 8 min, and was shown at 19:00:00. Is it done?")
	if f, e := last[journal.StepDone](b, "FN-01"); f.Step != "plan-tail" || e.At.Minute() != 15 {
		t.Errorf("recorded %+v at %v", f, e.At)
	}
}

// The list goes where order allows it, and says elsewhere why not; what was put off can be
// gone to.
func TestList(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "l", "trim-tab", "l", "coat-dri", "n", "l", "2", "q")
	b.tells("\"Trim the tab\" is not to be done now", "coat-tab comes before it")
	b.tells("did you mean", "coat-dry")
	if at := b.asked[len(b.asked)-1]; !strings.Contains(at, "ventilation") {
		t.Errorf("the second of the list is %s", at)
	}
	b.lead("FN-01", "n", "n", "n", "y", "q")
	b.asks("put off", "Take it up again?")
}

// The last entry is shown before it is taken back, with what depends on it.
func TestTakeBack(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "u", "n", "u", "enter", "m", "+6m d", "u", "y", "q")
	b.asks("The last entry", "Take it back?", "y take back, enter leave it")
	if len(b.last.View.Rows) > 0 {
		t.Errorf("at the end %+v", b.last)
	}
	s := b.state("FN-01")
	if f, ok := s.Entries[s.Size()-1].Facts.(journal.Undone); !ok || len(f.TakesBack) != 1 || s.Live(s.Size()-2) {
		t.Errorf("the last entry is %+v", s.Entries[s.Size()-1])
	}
	b.lead("FN-01", "u")
	if rows := b.last.View.Rows; len(rows) != 1 || !strings.Contains(rows[0].Label, "mixed epoxy for coat-tab") {
		t.Errorf("shown is %+v", rows)
	}
}

// Answering what a step lacks does not lead to another step, though that could be done at
// once.
func TestTheStepIsKept(t *testing.T) {
	b := atBench(t)
	s, err := b.desk.Register(t.Context(), "RD-01", "reed", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), s, "reed-pins", "", time.Time{})
	must(t, err)
	b.ready("RD-01")
	b.act("RD-01", workflow.Finish{Step: "sort-pins"}) // its stage would come first
	b.lead("RD-01", "n", "n", "y", "l", "pin-left", "y", "1", "n", "l", "pin-left", "2", "q")
	b.asks("Pin the left | Is the gun hot now? | y yes, n no")
	b.tells("Pin the left waits until the gun is hot. Go to it from the list then.")
	b.asked = b.asked[5:]
	defer func() { // what brings the condition about comes with it, and the hold of the tool before it
		s, err := b.desk.Register(t.Context(), "RD-02", "reed", nil, time.Time{})
		must(t, err)
		_, _, err = b.desk.Start(t.Context(), s, "reed-heat", "", time.Time{})
		must(t, err)
		b.ready("RD-02")
		b.lead("RD-02", "1", "2", "d", "q")
		b.now = b.now.Add(24 * time.Hour)
		b.lead("RD-02", "20", "1", "2", "y", "q")
		for i, want := range []string{"Temperature at the bench, as …C:", "gun | Confirm", "gun | Confirm", "Gun on | Is the gun hot now? | y yes, n no", "Press the pin | When"} {
			if !strings.Contains(b.asked[i], want) {
				t.Errorf("the day after %d asks %s, want %s", i, b.asked[i], want)
			}
		}
		if b.seen[3] != "Plug it in." {
			t.Errorf("how it is made hot: %q", b.seen[3])
		}
		b.lead("RD-02", "d", "+1m d", "u", "y", "q") // one key, though it is a coat and a join
		b.tells("coated joint pin", "joined pin")
		if at := b.asked[len(b.asked)-1]; !strings.HasPrefix(at, "RD-02 | Glue the pin") || len(b.state("RD-02").Timers(b.now)) > 0 {
			t.Errorf("taken back it asks %s", at)
		}
	}()
	for i, want := range []string{"Pin the left | Is the gun hot now?", "gun | Confirm each line", "gun | Confirm each line", "Pin the right | When it is done"} {
		if !strings.Contains(b.asked[i], want) {
			t.Errorf("%d asks %s, want %s", i, b.asked[i], want)
		}
	}
}

// One answer has the temperature, the humidity and the conditions of the sitting, for all
// airframes that are led over.
func TestOneAnswerForTheSitting(t *testing.T) {
	b := atBench(t, "FN-01", "FN-02")
	b.lead("", "20C 50% y", "q")
	b.asks("Temperature and humidity at the bench", "y behind it if the ventilation is on")
	for _, mark := range []string{"FN-01", "FN-02"} {
		s := b.state(mark)
		if _, known := s.Temperature(b.now); !known || s.Bench.Humidity.IsZero() || s.Holds("ventilation", b.now) != "on" {
			t.Errorf("%s: %+v", mark, s.Bench)
		}
	}
	// bare numbers are in the units that are asked for, what can hardly be is asked back, and
	// what does not stand is not confirmed
	b = atBench(t, "FN-01")
	b.lead("FN-01", "68F 50% n", "l", "coat-dry", "n", "q")
	b.asks("Is the ventilation on now?")
	b.now = b.now.Add(24 * time.Hour)
	b.lead("FN-01", "18F 50 n", "enter", "20 4 n", "n", "50% 20 n", "q")
	b.asks("A bench is rarely at 18 °F. | y keep it, enter type it again")
	b.asks("A humidity of 4 % is rare.")
	if f, _ := last[journal.BenchRead](b, "FN-01"); f.Temperature.String() != "20 °C" || f.Humidity.String() != "50 %" {
		t.Errorf("kept %+v", f)
	}
	if why := b.state("FN-01").UnlikelyAtBench(workflow.ReadBench{Temperature: q(t, "9 °C")}, b.now); why != "it was 20 °C before in this sitting, and 9 °C now" {
		t.Errorf("9 °C after 20 °C: %q", why)
	}
	// what is refused is asked for at once, too
	b = atBench(t, "FN-01")
	b.lead("FN-01", "enter", "l", "coat-dry", "enter", "l", "coat-dry", "20C 50% y", "s", "q")
	b.tells("Not read. Steps that need it wait")
	if at := b.asked[4]; strings.Contains(at, "Coat the pad") {
		t.Errorf("what is not read is asked for again: %s", at)
	}
	b.asks("Coat the pad", "Temperature and humidity", "ventilation is on")
	b.asks("Coat the pad", "Spreading since")
	// what a step brings about is not said before it
	b = atBench(t)
	s, err := b.desk.Register(t.Context(), "RD-01", "reed", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), s, "reed-build", "", time.Time{})
	must(t, err)
	b.lead("RD-01", "20C", "q")
	if first := b.asks("Temperature at the bench"); strings.Contains(first, "gun") {
		t.Errorf("asked is %s", first)
	}
}

// Without a mark the most urgent of all airframes comes first, and a joint whose time has
// come can be gone to from another.
func TestAllAirframes(t *testing.T) {
	b := atBench(t, "FN-01", "FN-02")
	b.ready("FN-01")
	b.ready("FN-02")
	b.act("FN-02", workflow.ReadBench{Temperature: q(t, "20 °C"), Humidity: q(t, "50 %"), Set: nil})
	b.lead("", "l", "q")
	if n := len(b.last.View.Rows); n != 8 {
		t.Errorf("%d rows of two airframes: %+v", n, b.last.View.Rows)
	}
	b.act("FN-02", workflow.Finish{Step: "coat-tab", Mixed: b.now.Add(-6 * time.Minute)})
	b.act("FN-02", workflow.Finish{Step: "coat-root", Mixed: b.now.Add(-6 * time.Minute)})
	b.lead("", "n", "l", "1", "j", "q")
	if !strings.HasPrefix(b.asked[0], "FN-02 | Join the tab") {
		t.Errorf("first comes %s", b.asked[0])
	}
	b.asks("FN-01", "j join tab")
	if at := b.asked[len(b.asked)-1]; !strings.HasPrefix(at, "FN-02 | Join the tab") {
		t.Errorf("j goes to %s", at)
	}
	// what was recorded last is taken back, though another airframe is at hand
	b.act("FN-02", workflow.Finish{Step: "join-tab"})
	b.lead("", "m", "+6m d", "l", "5", "u", "y", "q")
	b.asks("FN-02 | Before the blade")
	if s := b.state("FN-01"); s.Live(s.Size() - 2) {
		t.Errorf("taken back is not %+v", s.Entries[s.Size()-2])
	}
}

// A plan that is made anew is followed after each answer, by all airframes of one bench.
func TestFollowsItsReplanning(t *testing.T) {
	b := atBench(t)
	for _, mark := range []string{"RD-01", "RD-02"} {
		s, err := b.desk.Register(t.Context(), mark, "reed", nil, time.Time{})
		must(t, err)
		_, _, err = b.desk.Start(t.Context(), s, "reed-build", "", time.Time{})
		must(t, err)
		b.act(mark, workflow.ReadBench{Temperature: q(t, "20 °C")})
	}
	made := 0
	b.plans = func(_ context.Context, fleet []*workflow.State) *workflow.Timetable {
		made++
		turn := func(mark, step string, after time.Duration) workflow.Turn {
			return workflow.Turn{Mark: mark, Job: fleet[0].OpenJobs(b.now)[0].ID, Step: step, Begins: b.now.Add(after)}
		}
		return &workflow.Timetable{Visits: []workflow.Visit{{Turns: []workflow.Turn{
			turn("RD-02", "lay-out", 0), turn("RD-01", "lay-out", 15*time.Minute), turn("RD-02", "wing-form", 30*time.Minute)}}}}
	}
	b.lead("", "1", "+5m d", "q")
	for i, at := range []string{"RD-02 | Knife", "RD-02 | Lay the parts out", "RD-01"} {
		if i >= len(b.asked) || !strings.HasPrefix(b.asked[i], at) {
			t.Errorf("asked is %q, and %s comes in place %d", b.asked, at, i)
		}
	}
	if made != 1 {
		t.Errorf("it was planned %d times", made)
	}
}

// reed is a bench with a Reed to build, and where a plan is kept.
func reed(t *testing.T) *bench {
	b := atBench(t)
	s, err := b.desk.Register(t.Context(), "RD-01", "reed", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), s, "reed-build", "", time.Time{})
	must(t, err)
	b.act("RD-01", workflow.ReadBench{Temperature: q(t, "20 °C")})
	b.desk.Plan = &desk.Plan{File: filepath.Join(t.TempDir(), "plan")}
	return b
}

// A plan that goes by another answer than is given is made anew at once.
func TestPlansAnewOnceAChoiceIsOtherwise(t *testing.T) {
	for answer, want := range map[string]int{"1": 1, "2": 2} {
		b := reed(t)
		made := 0
		b.plans = func(ctx context.Context, fleet []*workflow.State) *workflow.Timetable {
			made++
			job := fleet[0].OpenJobs(b.now)[0].ID
			plan := workflow.Timetable{Visits: []workflow.Visit{{Turns: []workflow.Turn{{Mark: "RD-01", Job: job, Step: "lay-out", Begins: b.now}, {Mark: "RD-01", Job: job, Step: "wing-form", Begins: b.now.Add(time.Minute)}}}},
				Answers: []workflow.Answer{{Mark: "RD-01", Job: job, Step: "wing-form", Choice: "wing-form", Answer: []string{"two-panels", "three-panels"}[made-1]}}}
			must(t, b.desk.Plan.Keep(ctx, fleet, plan, nil))
			return &plan
		}
		b.lead("RD-01", "1", "+5m d", answer, "q")
		if made != want {
			t.Errorf("answered %s, it was planned %d times, want %d", answer, made, want)
		}
	}
}

// What a plan that is made anew puts off to another sitting is told, and only that.
func TestTellsWhatReplanningPutsOff(t *testing.T) {
	for again, want := range map[time.Duration]int{26 * time.Hour: 1, 40 * time.Minute: 0} {
		b := reed(t)
		begun, made := b.now, 0
		b.plans = func(ctx context.Context, fleet []*workflow.State) *workflow.Timetable {
			made++
			job, form := fleet[0].OpenJobs(b.now)[0].ID, begun.Add(30*time.Minute)
			if made > 1 {
				form = begun.Add(again)
			}
			visit := func(turns ...workflow.Turn) workflow.Visit {
				first := turns[0].Begins.Truncate(24 * time.Hour).Add(19 * time.Hour)
				return workflow.Visit{Sitting: workflow.Sitting{From: first, To: first.Add(2 * time.Hour)}, Turns: turns}
			}
			lay, wing := workflow.Turn{Mark: "RD-01", Job: job, Step: "lay-out", Title: "Lay the parts out", Begins: begun}, workflow.Turn{Mark: "RD-01", Job: job, Step: "wing-form", Begins: form}
			plan := workflow.Timetable{Finish: form.Add(time.Hour), Visits: []workflow.Visit{visit(lay), visit(wing)}}
			must(t, b.desk.Plan.Keep(ctx, fleet, plan, nil))
			return &plan
		}
		b.lead("RD-01", "1", "+50m d", "q")
		if made != 2 {
			t.Fatalf("it was planned %d times", made)
		}
		text := strings.Join(b.told, "\n")
		if strings.Count(text, "By the plan, today 19:00–21:00: Lay the parts out.") != 1 { // once, at the beginning
			t.Errorf("what the sitting has isn't told: %s", text)
		}
		if n := strings.Count(text, "Planned anew, and put off: Choose the wing (RD-01, Wed 4 Mar 21:00)."); n != want || strings.Count(text, "put off") != want {
			t.Errorf("with it %s later: %s", again, text)
		}
		if done := map[time.Duration]string{26 * time.Hour: "Done Wed 4 Mar 22:00 in place of 20:30.", 40 * time.Minute: "Planned anew. Done 20:40 in place of 20:30."}[again]; strings.Count(text, done) != 1 || strings.Count(text, "in place of") != 1 {
			t.Errorf("with it %s later the finish isn't told once, %q: %s", again, done, text)
		}
	}
}

// Where a plan that is made anew ends before the work does, that is told, once, and no finish that is one of a part only.
func TestTellsWhereReplanningEnds(t *testing.T) {
	b := reed(t)
	begun, made := b.now, 0
	b.plans = func(ctx context.Context, fleet []*workflow.State) *workflow.Timetable {
		made++
		job := fleet[0].OpenJobs(b.now)[0].ID
		plan := workflow.Timetable{Finish: begun.Add(10 * time.Hour), Visits: []workflow.Visit{{}}}
		for i, step := range []string{"lay-out", "wing-form", "cut-wing"} {
			plan.Visits[0].Turns = append(plan.Visits[0].Turns, workflow.Turn{Mark: "RD-01", Job: job, Step: step, Begins: begun.Add(time.Duration(i) * 5 * time.Minute)})
		}
		if made > 1 {
			plan.Finish, plan.Stops = begun.Add(time.Hour), []workflow.Stop{{Mark: "RD-01", Job: job, Step: "press", Title: "Press it"}}
		}
		must(t, b.desk.Plan.Keep(ctx, fleet, plan, nil))
		return &plan
	}
	b.lead("RD-01", "1", "+30m d", "+30m 1", "q")
	text := strings.Join(b.told, "\n")
	if made < 3 || strings.Count(text, "From Press it (RD-01) on nothing can be planned. Why: fettle plan") != 1 || strings.Contains(text, "in place of") {
		t.Errorf("planned %d times: %s", made, text)
	}
}

// heating is a bench with a Reed on which a gun is heated, and what plans the press that it is for, to be kept, a day later.
func heating(t *testing.T) (b *bench, tomorrow func(context.Context, []*workflow.State) *workflow.Timetable) {
	b = atBench(t)
	s, err := b.desk.Register(t.Context(), "RD-01", "reed", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), s, "reed-heat", "", time.Time{})
	must(t, err)
	b.desk.Plan = &desk.Plan{File: filepath.Join(t.TempDir(), "plan")}
	return b, func(ctx context.Context, fleet []*workflow.State) *workflow.Timetable {
		turn := workflow.Turn{Mark: "RD-01", Job: fleet[0].OpenJobs(b.now)[0].ID, Step: "press-pin", Begins: b.now.Add(24 * time.Hour)}
		plan := workflow.Timetable{Visits: []workflow.Visit{{Turns: []workflow.Turn{turn}}}}
		must(t, b.desk.Plan.Keep(ctx, fleet, plan, nil))
		return &plan
	}
}

// What is heated is left for the sitting that the plan has its step in, as next says. To whoever goes there all the same, by the list, it is
// said that it is planned for another day before the hold of its tool is asked for, and before what it is done by is set.
func TestAHoldSaysThatItsStepIsForAnotherDay(t *testing.T) {
	b, tomorrow := heating(t)
	b.ready("RD-01")
	b.lead("RD-01", "1", "2", "d", "q")
	b.now = b.now.Add(24 * time.Hour)
	b.act("RD-01", workflow.ReadBench{Temperature: q(t, "20 °C")})
	b.plans = tomorrow
	b.lead("RD-01", "l", "press-pin", "1", "2", "y", "q")
	if !strings.Contains(b.asked[0], "Press the pin | When") || !strings.Contains(b.seen[0], "is left for a later sitting") {
		t.Errorf("it asks %s, and says %q", b.asked[0], b.seen[0])
	}
	b.asked, b.seen = b.asked[2:], b.seen[2:]
	for i, want := range []string{"gun | Confirm", "gun | Confirm", "Gun on | Is the gun hot now?", "Press the pin | When"} {
		if !strings.Contains(b.asked[i], want) || strings.Count(b.seen[i], "*Planned for Thu 5 Mar 19:00.*") != 1 {
			t.Errorf("%d asks %s, and says %q", i, b.asked[i], b.seen[i])
		}
	}
}

// What was set hot for the step at hand just now is not left, also where the bench is to be read first.
func TestWhatWasJustSetIsNotLeft(t *testing.T) {
	b, tomorrow := heating(t)
	b.act("RD-01", workflow.ClearUse{Of: "gun", Answers: []bool{true, true}})
	b.act("RD-01", workflow.Finish{Step: "gun-on"})
	cautions := func() (all string) {
		b.lead("RD-01", "q")
		b.asks("Temperature at the bench")
		for _, c := range b.last.View.Cautions {
			all += c.Text
		}
		return all
	}
	if all := cautions(); strings.Contains(all, "At once") {
		t.Errorf("the gun is for the step at hand: %s", all)
	}
	b.plans = tomorrow
	if all := cautions(); !strings.Contains(all, "At once") {
		t.Errorf("the step is for another day, and the gun hot: %q", all)
	}
}

// What stands hot is ended by a key of every question, once that is confirmed; where nothing does, there is none.
func TestWhatIsHotIsEndedByAKey(t *testing.T) {
	b, _ := heating(t)
	b.ready("RD-01")
	key := func() bool {
		return slices.ContainsFunc(b.last.Keys, func(k sitting.Key) bool { return k.Key == "h" && k.Word == "gun is cold" })
	}
	b.lead("RD-01", "1", "2", "q")
	if b.asks("Gun on"); key() {
		t.Error("nothing is hot, and a key ends it")
	}
	b.lead("RD-01", "d", "h", "n", "q")
	if b.asks("Press the pin"); !key() || b.state("RD-01").Holds("gun", b.now) != "hot" {
		t.Errorf("the gun is hot, and the keys are %+v", b.last.Keys)
	}
	b.lead("RD-01", "h", "y", "q")
	if f, _ := last[journal.ConditionSet](b, "RD-01"); f.Setting != (steps.Setting{Condition: "gun", State: "cold"}) || key() {
		t.Errorf("recorded is %+v, and the keys are %+v", f, b.last.Keys)
	}
	b.asks("Press the pin")
}

// What is running is said to whoever leaves, and how to go on.
func TestLeaving(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "m", "+6m d", "q")
	b.tells("All that was answered is recorded", "joint tab", "fettle follow FN-01")
	b.lead("FN-01", "stop") // Ctrl-C, too
	b.tells("Nothing was recorded", "joint tab", "fettle follow FN-01")
}

// What was begun outlives the conversation: the next one goes on with it, also past other
// work that could be done, its clock runs, and a command that says nothing else goes by it.
func TestBegunOutlives(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.act("FN-01", workflow.Finish{Step: "coat-tab", Mixed: b.now, Began: b.now})
	b.lead("FN-01", "y", "s", "+1m stop")
	b.act("FN-01", workflow.Clear{Step: "guard-blade", Answers: []bool{true, true}}) // its stage would come first
	b.lead("FN-01", "+4m q")
	if len(b.asked) != 1 || !strings.Contains(b.asked[0], "Coat the root | Spreading since 19:00. | d the coat is on") {
		t.Errorf("it goes on with %q", b.asked)
	}
	b.act("FN-01", workflow.Finish{Step: "coat-root"})
	if f, e := last[journal.Coated](b, "FN-01"); !f.Began.Equal(b.now.Add(-5*time.Minute)) || !f.Mixed.Equal(f.Began) || !e.At.Equal(b.now) {
		t.Errorf("recorded is %+v", f)
	}

	b = atBench(t, "FN-01")
	b.ready("FN-01")
	b.act("FN-01", workflow.ReadBench{Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.lead("FN-01", "l", "coat-dry", "s", "+2m q")
	b.tells("joint pad: begun 19:00, must be joined by **19:40**")
	if says := b.last.View.Title; !strings.Contains(says, "Coat the pad") {
		t.Errorf("it leaves %s", says)
	}
	b.lead("FN-01", "+39m q") // it is too old by now, and not taken for a fresh one
	b.lead("FN-01", "l", "coat-dry", "s", "d", "enter", "+1m d", "q")
	b.asks("Coat the pad", "What was begun is too old to be joined. Spread it afresh. | s spreading starts now")
	if f, _ := last[journal.Coated](b, "FN-01"); f.Step != "coat-dry" || f.Began.Minute() != 41 {
		t.Errorf("recorded is %+v", f)
	}
}

// A note and a photo go into the journal from any question, which then stands again.
func TestNoteAndPhoto(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	b.lead("FN-01", "t", "the tin is nearly empty", "t", "enter", "p", filepath.Join("..", "cli", "testdata", "break.png"), "p", "nowhere.png", "q")
	if f, _ := last[journal.Noted](b, "FN-01"); f.Text != "the tin is nearly empty" {
		t.Errorf("noted %+v", f)
	}
	if f, _ := last[journal.PhotoKept](b, "FN-01"); f.Name != "break.png" || len(f.Of) != 1 {
		t.Errorf("kept %+v", f)
	}
	b.tells("nowhere.png")
	if first, end := b.asked[0], b.asked[len(b.asked)-1]; first != end {
		t.Errorf("asked %s, and in the end %s", first, end)
	}
}

// What another terminal records ends the question that stands.
func TestChanged(t *testing.T) {
	b := atBench(t, "FN-01")
	b.ready("FN-01")
	front := sitting.NewBench(b.desk)
	if changed, err := front.Refresh(t.Context()); changed || err != nil {
		t.Errorf("read for the first time: %v, %v", changed, err)
	}
	b.act("FN-01", workflow.Clear{Step: "guard-blade", Answers: []bool{true, true}})
	if changed, err := front.Refresh(t.Context()); !changed || err != nil {
		t.Errorf("grown: %v, %v", changed, err)
	}
	if changed, _ := front.Refresh(t.Context()); changed {
		t.Error("it did not change again")
	}
	b.lead("FN-01", sitting.Changed, "q")
	if len(b.asked) != 2 {
		t.Errorf("asked %q", b.asked)
	}
}

// A reading has its verdict while it is typed, the one that the record has; an unlikely one
// is asked back; and what is undecided has its ways out.
func TestReadings(t *testing.T) {
	b := atBench(t)
	s, err := b.desk.Register(t.Context(), "FN-09", "finch", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), s, "finch-build", "", time.Time{})
	must(t, err)
	b.ready("FN-09")
	b.act("FN-09", workflow.Finish{Step: "check-kit"})
	b.act("FN-09", workflow.Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.act("FN-09", workflow.Finish{Step: "cut-slot"})
	b.lead("FN-09")
	b.asks("slot root, in mm:")
	for text, want := range map[string]sitting.Verdict{
		"4":        {Said: "passed", Scale: "-???[???=*=???]???-", State: sitting.Good, Taken: true},
		"4.4 mm":   {Said: "undecided, in tolerance with probability 0.74; more readings like these would not settle it", Scale: "-???[???===??*]???-", State: sitting.Unsure, Taken: true},
		"4.85":     {Said: "0.35 mm OVER", Scale: "-???[???===???]???*", State: sitting.Bad, Taken: true},
		"4 with":   {Said: "\"with\" is not a unit; write mm, cm, m, in, ft, yd, thou, µm"},
		"4 with x": {Said: "no gauge \"x\"; choose from caliper, rule"},
		"50":       {Said: "50 mm at root is unlikely: it is far outside its limits, 3.5 mm to 4.5 mm; 46 mm OVER", Scale: "-???[???===???]???>", State: sitting.Bad, Taken: true},
		"3":        {Said: "0.5 mm UNDER", Scale: "<???[???===???]???-", State: sitting.Bad, Taken: true},
		"12 g":     {Said: "\"12 g\" is a mass, not a length; write it in mm or in"},
		"4.0001mm": {Said: "4.0001mm is finer than caliper shows, in steps of 0.01 mm; give what it shows, at most to half a step, or name the gauge that was used"},
	} {
		if got := b.last.Field.Check(text); got != want {
			t.Errorf("%s comes to %+v; want %+v", text, got, want)
		}
	}
	b.lead("FN-09", "4", "59", "n", "59", "enter", "4.4", "4 with rule")
	if f, _ := last[journal.ReadingTaken](b, "FN-09"); f.Gauge != "rule" {
		t.Errorf("read is %+v", f)
	}
	b.asks("59 mm at tip is unlikely: the other reading is 4 mm.", "y keep it, enter type it again")
	b.lead("FN-09", "r") // each way is beside its key
	b.asks("Which way was it done, 1 to 2?", "1 way 1, 2 way 2")
	if rows := b.last.View.Rows; !slices.Equal(rows, []sitting.Row{{Key: "1", Label: "Lay the stick in. Deepen it."}, {Key: "2", Label: "Line it with tape."}}) {
		t.Errorf("the ways are %+v", rows)
	}
	b.lead("FN-09", "u", "y", "c", "it holds")
	b.asks("slot root, in mm:", "r reworked, c grant a concession")
	if f, _ := last[journal.ConcessionGranted](b, "FN-09"); f.Reason != "it holds" || len(f.Readings) != 2 {
		t.Errorf("conceded is %+v", f)
	}
	// what the program wrote by itself is taken back with what the builder said
	if _, e := last[journal.StepDone](b, "FN-09"); e.Position != b.state("FN-09").Size()-1 {
		t.Errorf("the step that measures is not done by itself: entry %d", e.Position)
	}
	_, conceded := last[journal.ConcessionGranted](b, "FN-09")
	b.lead("FN-09", "u", "y", "q")
	if s = b.state("FN-09"); s.Live(conceded.Position) || s.Live(conceded.Position+1) || s.Size() != conceded.Position+4 {
		t.Errorf("taken back is not entry %d of %d", conceded.Position, s.Size())
	}
}
