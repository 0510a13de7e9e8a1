package sitting_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/steps"
	"fettle/store"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// cool has a step that can't be done beside one that needs the gun hot.
const cool = `procedure: reed-cool
kind: check
design: reed
title: Put it away
revision: 1
stages:
  - stage: away
    steps:
      - step: gun-cold
        title: Gun cold
        do: Unplug it.
        sets: {gun: cold}
`

// shared are the benches of two people that share a store: a Finch whose wing and radio can
// both be worked on.
func shared(t *testing.T) (rosa *bench, hugo *desk.Desk) {
	t.Helper()
	b := atBench(t)
	s := memory.NewShared()
	s.Now = func() time.Time { return b.now }
	b.desk.Store, b.desk.By, s.Name = s, "rosa", "window"
	hugo = &desk.Desk{Store: s, Photos: b.desk.Photos, Library: b.desk.Library, Now: b.desk.Now, By: "hugo", Program: "test"}
	state, err := b.desk.Register(t.Context(), "FN-01", "finch", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), state, "finch-build", "", time.Time{})
	must(t, err)
	b.ready("FN-01")
	b.act("FN-01", workflow.Finish{Step: "check-kit"})
	return b, hugo
}

// sees asserts which lines tell at the last question where others are.
func (b *bench) sees(lines ...string) {
	b.t.Helper()
	if want := strings.Join(lines, "\n\n"); b.last.View.Where != want {
		b.t.Errorf("others are %q, want %q", b.last.View.Where, want)
	}
}

func claims(t *testing.T, d *desk.Desk) string {
	t.Helper()
	all, err := d.Claims(t.Context())
	must(t, err)
	var text []string
	for _, c := range all {
		text = append(text, c.By+" "+c.Step)
	}
	return strings.Join(text, ", ")
}

// A step that somebody else is at is not led to while there is another one; from the list it is
// asked whether it is taken over, and whoever was at it hears of that.
func TestClaims(t *testing.T) {
	rosa, hugo := shared(t)
	claim := func(step string, take bool) {
		t.Helper()
		if _, ours, err := hugo.Claim(t.Context(), "FN-01", "finch-build/"+step, time.Minute, take); err != nil || !ours {
			t.Errorf("hugo claims %s: %v, %v", step, ours, err)
		}
	}
	claim("blade-care", false)
	rosa.nameless = true
	rosa.lead("FN-01", "q")
	rosa.tells("To the other benches you are rosa at window, by login and machine")
	rosa.nameless = false
	rosa.asks("Fit the receiver")
	rosa.sees("**hugo at window** is at `blade-care` since 19:00.")
	if got := claims(t, hugo); got != "hugo finch-build/blade-care, rosa finch-build/fit-radio" {
		t.Errorf("claimed is %s", got)
	}

	rosa.lead("FN-01", "l", "blade-care", "n", "q") // it is not taken over
	rosa.asks("Take it over from hugo at window, there since 19:00?", "y take it over, n no")
	rosa.tells("It is left to them.")
	if last := rosa.asked[len(rosa.asked)-1]; !strings.Contains(last, "Fit the receiver") {
		t.Errorf("then asked is %s", last)
	}
	if rows := rosa.last.View.Rows; len(rows) > 0 {
		t.Errorf("the rows are %+v", rows)
	}

	theirs := sitting.NewBench(hugo)
	if changed, err := theirs.Refresh(t.Context()); changed || err != nil {
		t.Error(changed, err)
	}
	rosa.lead("FN-01", "l", "blade-care", "y", "q")
	rosa.asks("Before the blade | Confirm")
	if got := claims(t, hugo); got != "rosa finch-build/blade-care" {
		t.Errorf("claimed is %q", got)
	}
	if changed, err := theirs.Refresh(t.Context()); !changed || err != nil {
		t.Errorf("others moved: %v, %v", changed, err)
	}

	// where others are at all that can be done, it is asked too
	claim("fit-radio", false)
	carol := &desk.Desk{Store: hugo.Store, Now: hugo.Now, By: "carol"}
	if _, _, err := carol.Claim(t.Context(), "FN-01", "finch-build/blade-care", time.Minute, true); err != nil {
		t.Fatal(err)
	}
	rosa.lead("FN-01", "q")
	rosa.asks("Others are at what can be done now", "all the same? | y go to it, n no")
	rosa.lead("FN-01", "y", "n", "n") // it leads on: to the next one, and out
	rosa.asks("Take it back from carol at window, there since 19:00?")
	rosa.asks(`Go to "Before the blade" all the same?`)
	rosa.asks(`Go to "Fit the receiver" all the same?`)
	rosa.tells("All that can be done now on FN-01 is left to others: come back once they are done")
	if n := len(rosa.asked); n != 3 {
		t.Errorf("asked %d times: %q", n, rosa.asked)
	}

	// a claim that ran out is remembered, and it is asked before others begin the step
	rosa.now = rosa.now.Add(2 * time.Minute)
	rosa.lead("FN-01", "q")
	rosa.sees("**carol at window** was at `blade-care`, last heard of 19:00.", "**hugo at window** was at `fit-radio`, last heard of 19:00.")
	rosa.lead("FN-01", "l", "fit-radio", "y", "q")
	rosa.asks("Others are at what can be done now", "all the same? | y go to it")
	rosa.asks("Take it over from hugo at window, last heard of 19:00?")
	if got := claims(t, hugo); got != "carol finch-build/blade-care, rosa finch-build/fit-radio" {
		t.Errorf("claimed is %q", got)
	}

	// in the end it is forgotten
	rosa.now = rosa.now.Add(store.Remembered)
	rosa.lead("FN-01", "q")
	rosa.asks("Before the blade | Confirm")
	rosa.sees("")
}

// Whoever was not heard of for a while, and comes back, is at the same question; whoever was asked
// meanwhile and left it to them is led elsewhere.
func TestComesBack(t *testing.T) {
	rosa, hugo := shared(t)
	if _, ours, err := hugo.Claim(t.Context(), "FN-01", "finch-build/blade-care", time.Minute, false); err != nil || !ours {
		t.Fatal(ours, err)
	}
	theirs := sitting.NewBench(hugo)
	rosa.lead("FN-01", "+2m l", "enter", "q") // she is led past it
	rosa.asks("Fit the receiver")
	rosa.sees("**hugo at window** was at `blade-care`, last heard of 19:00.")
	if _, err := theirs.Refresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	hugo2 := *rosa
	hugo2.desk = &desk.Desk{Store: hugo.Store, Photos: hugo.Photos, Library: hugo.Library, Now: hugo.Now, By: "hugo", Program: "test"}
	hugo2.lead("FN-01", sitting.Changed, "q")
	for _, q := range hugo2.asked {
		if !strings.Contains(q, "Before the blade | Confirm") {
			t.Errorf("asked is %s", q)
		}
	}
	rosa.lead("FN-01", "q")
	rosa.sees("**hugo at window** is at `blade-care` since 19:00.")
}

// Two sittings of one person at one bench leave each other's claims alone. The second one at a step
// says once that they are at it already, and has the step once the first one ends.
func TestTwoSittingsOfOne(t *testing.T) {
	one, hugo := shared(t)
	other := *one
	other.desk = &desk.Desk{Store: one.desk.Store, Photos: one.desk.Photos, Library: one.desk.Library, Now: one.desk.Now, By: "rosa", Program: "test", Seat: "two"}
	one.desk.Seat = "one"
	state, err := one.desk.Register(t.Context(), "FN-02", "finch", nil, time.Time{})
	must(t, err)
	_, _, err = one.desk.Start(t.Context(), state, "finch-tab", "", time.Time{})
	must(t, err)
	one.ready("FN-02")
	const both = "rosa finch-build/blade-care, rosa finch-tab/coat-tab"
	one.lead("FN-01", "q")
	other.lead("FN-02", "q")
	for range 2 {
		for _, of := range []*sitting.Bench{one.of, other.of} {
			one.now = one.now.Add(20 * time.Second)
			_, err := of.Refresh(t.Context())
			must(t, err)
			if got := claims(t, hugo); got != both {
				t.Fatalf("claimed is %s", got)
			}
		}
	}
	one.sees("")
	other.of.Leave()
	if got := claims(t, hugo); got != "rosa finch-build/blade-care" {
		t.Fatalf("once the second one has left, claimed is %s", got)
	}
	other.lead("FN-01", "1", "1", "1", "q")
	const line = "You have been at `blade-care` in another follow since 19:00: do it once, and leave one of them."
	if n := strings.Count(strings.Join(other.told, "\n"), line); n != 1 {
		t.Errorf("told %d times: %q", n, other.told)
	}
	for _, q := range other.asked {
		if !strings.Contains(q, "Before the blade | Confirm") {
			t.Errorf("asked is %s", q)
		}
	}
	one.of.Leave()
	if got := claims(t, hugo); got != "" {
		t.Fatalf("once the first one has left, claimed is %s", got)
	}
	one.now = one.now.Add(20 * time.Second)
	_, err = other.of.Refresh(t.Context())
	must(t, err)
	if got := claims(t, hugo); got != "rosa finch-build/blade-care" {
		t.Errorf("then claimed is %s", got)
	}
}

// Whatever another bench records, the screen stays at the step that the builder is at while it can
// be done there: what can't wait is told, with the key that goes there.
func TestStays(t *testing.T) {
	b, hugo := shared(t)
	state, err := b.desk.Register(t.Context(), "FN-02", "finch", nil, time.Time{})
	must(t, err)
	_, _, err = b.desk.Start(t.Context(), state, "finch-tab", "", time.Time{})
	must(t, err)
	b.ready("FN-02")
	b.act("FN-02", workflow.ReadBench{Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	theirs := func(r workflow.Request) func() {
		return func() {
			s, err := hugo.State(t.Context(), "FN-02")
			must(t, err)
			_, _, err = hugo.Act(t.Context(), s, r, time.Time{})
			must(t, err)
		}
	}
	b.first = func() {
		theirs(workflow.Finish{Step: "coat-dry"})()
		b.now = b.now.Add(11 * time.Minute) // it may be joined
	}
	b.lead("FN-02", sitting.Changed, sitting.Changed, "q")
	for _, asked := range b.asked {
		if !strings.Contains(asked, "Coat the tab | When is epoxy mixed?") {
			t.Errorf("asked is %s", asked)
		}
	}
	b.asks("Coat the tab", "j join pad")
	b.tells("Join the pad can't wait longer than", "j goes there")
	if n := strings.Count(strings.Join(b.told, "\n"), "can't wait"); n != 1 {
		t.Errorf("it is told %d times", n)
	}
	if got := claims(t, hugo); got != "rosa finch-tab/coat-tab" {
		t.Errorf("claimed is %q", got)
	}
	b.lead("FN-02", "l", "guard-blade", sitting.Changed, "j", "q")
	b.asks("Join the pad")
	b.tells("Join the pad can't wait longer than")

	// where somebody else did the step, that is said before the screen goes elsewhere
	b.first = theirs(workflow.Clear{Step: "guard-blade", Answers: []bool{true, true}})
	b.lead("FN-02", "l", "guard-blade", sitting.Changed, sitting.Changed, "enter", "q")
	n := len(b.asked)
	for i, want := range []string{"When you have left it as it may stay: | j join pad, enter go on", "When you have left it as it may stay:", "Join the pad"} {
		if !strings.Contains(b.asked[n-3+i], want) {
			t.Errorf("%d asks %s, want %s", i, b.asked[n-3+i], want)
		}
	}
	if seen := b.seen[n-2]; seen != "You were at this step. **hugo** did it at 19:11." {
		t.Errorf("it says %s", seen)
	}

	// so it is where they were a moment faster
	b.hasty = theirs(workflow.Finish{Step: "plan-tail"})
	b.lead("FN-02", "l", "plan-tail", "+2m d", "enter", "q")
	b.tells("Refused", "plan-tail")
	b.asks("Plane the tail", "When you have left it as it may stay:")
}

// While a question stands its step stays claimed; whoever lost it is told and asked, and led
// elsewhere if it is left to the other.
func TestTakenOver(t *testing.T) {
	rosa, hugo := shared(t)
	rosa.first = func() {
		if _, _, err := hugo.Claim(t.Context(), "FN-01", "finch-build/blade-care", time.Minute, true); err != nil {
			t.Error(err)
		}
		if changed, err := rosa.of.Refresh(t.Context()); !changed || err != nil {
			t.Errorf("it was taken over: %v, %v", changed, err)
		}
	}
	rosa.lead("FN-01", "+50s l", "enter", sitting.Changed, "n", "q")
	if first, last := rosa.asked[0], rosa.asked[len(rosa.asked)-1]; !strings.Contains(first, "Before the blade | Confirm") || !strings.Contains(last, "Fit the receiver") {
		t.Errorf("asked are %s and %s", first, last)
	}
	rosa.asks("Before the blade", "Take it back from hugo at window, there since 19:00?", "y take it back, n no")
	rosa.sees("**hugo at window** took `blade-care` over from you.")
	if got := claims(t, hugo); got != "hugo finch-build/blade-care, rosa finch-build/fit-radio" {
		t.Errorf("claimed is %q", got)
	}
	rosa.of.Leave()
	if got := claims(t, hugo); got != "hugo finch-build/blade-care" {
		t.Errorf("claimed is %q after she left", got)
	}
}

// A step that was left for another one while it was not done is remembered: others are led past it,
// and asked before they begin it. One that was only looked at, or put off, is not.
func TestLeftMidway(t *testing.T) {
	rosa, hugo := shared(t)
	rosa.lead("FN-01", "l", "fit-radio", "+1m n", "q")
	if got := claims(t, hugo); got != "rosa finch-build/blade-care" {
		t.Errorf("claimed is %q", got)
	}
	rosa.lead("FN-01", "+50s l", "fit-radio", "q")
	rosa.of.Leave()
	theirs := *rosa
	theirs.desk = hugo
	theirs.lead("FN-01", "l", "blade-care", "n", "q")
	if !strings.Contains(theirs.asked[0], "Fit the receiver") {
		t.Errorf("asked is %s", theirs.asked[0])
	}
	theirs.sees("**rosa at window** was at `blade-care`, and left it undone at 19:01.")
	theirs.asks("Take it over from rosa at window, who left it undone at 19:01?")
	theirs.of.Leave()
	rosa.lead("FN-01", "q") // she is back
	if got := claims(t, hugo); got != "rosa finch-build/blade-care" {
		t.Errorf("claimed is %q", got)
	}
	theirs.lead("FN-01", "q")
	theirs.sees("**rosa at window** is at `blade-care` since 19:01.")
}

// Whoever was not heard of is told that the step was taken over meanwhile, also where they record it
// at once; and whoever was only asked was not at it.
func TestTakenOverUnheard(t *testing.T) {
	rosa, hugo := shared(t)
	rosa.hasty = func() {
		if _, _, err := hugo.Claim(t.Context(), "FN-01", "finch-build/fit-radio", time.Minute, true); err != nil {
			t.Error(err)
		}
	}
	rosa.lead("FN-01", "l", "fit-radio", "+9m d", "q")
	rosa.tells("**hugo at window** took `fit-radio` over from you at 19:09: ask them what they did of it.")
	rosa.lead("FN-01", "u", "y", "q")
	rosa.of.Leave()
	must(t, hugo.Unclaim(t.Context()))
	size := rosa.state("FN-01").Size()
	if _, _, err := hugo.Claim(t.Context(), "FN-01", "finch-build/fit-radio", time.Minute, true); err != nil {
		t.Fatal(err)
	}
	rosa.first = func() {
		s, err := hugo.State(t.Context(), "FN-01")
		must(t, err)
		_, _, err = hugo.Act(t.Context(), s, workflow.Finish{Step: "fit-radio"}, time.Time{})
		must(t, err)
	}
	rosa.lead("FN-01", "l", "fit-radio", sitting.Changed, "q")
	rosa.asks("Take it over from hugo at window")
	if got := rosa.state("FN-01").Size(); got == size {
		t.Error("hugo recorded nothing")
	}
	for _, seen := range rosa.seen {
		if strings.Contains(seen, "You were at this step") {
			t.Errorf("she was not: %s", seen)
		}
	}
}

// What others record while a question stands is told, and the question is about what is left.
// Of two that record the same step, the second is refused, and nothing is there twice.
func TestMeanwhile(t *testing.T) {
	rosa, hugo := shared(t)
	theirs := func(r workflow.Request) {
		t.Helper()
		s, err := hugo.State(t.Context(), "FN-01")
		must(t, err)
		_, _, err = hugo.Act(t.Context(), s, r, time.Time{})
		must(t, err)
	}
	rosa.first = func() { theirs(workflow.Clear{Step: "blade-care", Answers: []bool{true, true}}) }
	rosa.lead("FN-01", sitting.Changed, "enter", "q")
	rosa.tells("Meanwhile on FN-01, by hugo: cleared hold blade-care")
	rosa.asks("Cut the slot")
	if n := strings.Count(strings.Join(rosa.told, "\n"), "Meanwhile"); n != 1 {
		t.Errorf("told is %q", rosa.told)
	}

	// of many the newest comes first
	rosa.first = func() {
		for i := range 7 {
			theirs(workflow.Note{Text: fmt.Sprint("tin ", i)})
		}
	}
	rosa.lead("FN-01", sitting.Changed, "q")
	rosa.tells("Meanwhile on FN-01, 7 entries, the newest first, by hugo: noted: tin 6; noted: tin 5; noted: tin 4; noted: tin 3; noted: tin 2; and 2 before.")

	// nobody told her yet: what she records is decided anew
	rosa.lead("FN-01", "+10m d", "q")
	size := rosa.state("FN-01").Size()
	rosa.first = func() { theirs(workflow.Note{Text: "the tin is empty"}) }
	rosa.lead("FN-01", sitting.Changed, "q")
	rosa.tells("Meanwhile on FN-01, by hugo: noted: the tin is empty")
	if got := rosa.state("FN-01").Size(); got != size+1 {
		t.Errorf("%d entries came", got-size)
	}

	// what they recorded, and a coat that they began, is said to be theirs
	rosa.lead("FN-01", "u", "enter", "q")
	rosa.asks("Take back what hugo recorded?")
	rosa.act("FN-01", workflow.Measure{Gate: "slot", Readings: []workflow.Reading{{Point: "root", Value: q(t, "4 mm")}, {Point: "tip", Value: q(t, "4 mm")}}})
	rosa.act("FN-01", workflow.ReadBench{Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	theirs(workflow.Begin{Step: "coat-left", With: "contact", Began: rosa.now})
	rosa.lead("FN-01", "q")
	rosa.asks("Spreading since 19:10, by hugo: it is the same coat?")
}

// While somebody else is at a step, what can't be done beside it is not led to, and says what it waits for; from the list it is shown with that.
func TestKeptApart(t *testing.T) {
	rosa, hugo := shared(t)
	state, err := rosa.desk.Register(t.Context(), "RD-01", "reed", nil, time.Time{})
	must(t, err)
	for _, name := range []string{"reed-cool", "reed-pins"} {
		_, _, err = rosa.desk.Start(t.Context(), state, name, "", time.Time{})
		must(t, err)
		state, err = rosa.desk.State(t.Context(), "RD-01")
		must(t, err)
	}
	rosa.ready("RD-01")
	rosa.act("RD-01", workflow.ReadBench{Set: []steps.Setting{{Condition: "gun", State: "hot"}}})
	rosa.lead("RD-01", "q")
	rosa.asks("Gun cold")
	rosa.of.Leave()
	if _, ours, err := hugo.Claim(t.Context(), "RD-01", "reed-pins/pin-left", time.Minute, false); err != nil || !ours {
		t.Fatal(ours, err)
	}
	rosa.lead("RD-01", "q")
	rosa.asks("Sort the pins")
	rosa.lead("RD-01", "l", "gun-cold", "q")
	rosa.asks("Gun cold")
	if seen := rosa.seen[len(rosa.seen)-1]; !strings.Contains(seen, `it can't be done beside "Pin the left", which somebody else is at`) {
		t.Errorf("seen is %q", seen)
	}
}

// What one person cleared at one bench, another one is asked in follow too.
func TestHoldsOfTwo(t *testing.T) {
	rosa, hugo := shared(t)
	state, err := rosa.desk.Register(t.Context(), "RD-01", "reed", nil, time.Time{})
	must(t, err)
	_, _, err = rosa.desk.Start(t.Context(), state, "reed-heat", "", time.Time{})
	must(t, err)
	rosa.ready("RD-01")
	rosa.lead("RD-01", "1", "2", "q")
	rosa.asks("Gun on", "When it is done:")
	if f, _ := last[journal.UseCleared](rosa, "RD-01"); f.Of != "gun" || f.Bench != "window" {
		t.Errorf("recorded is %+v", f)
	}
	rosa.of.Leave()
	rosa.desk = hugo
	rosa.lead("RD-01", "1", "2", "q")
	rosa.asks("gun", "Confirm each line by its own key")
	rosa.asks("Gun on", "When it is done:")
}

// Who was at the hold of a tool when somebody else did the step reads which step that was, and that
// the lines that were confirmed are not recorded.
func TestLeavesAHold(t *testing.T) {
	rosa, hugo := shared(t)
	state, err := rosa.desk.Register(t.Context(), "RD-01", "reed", nil, time.Time{})
	must(t, err)
	_, _, err = rosa.desk.Start(t.Context(), state, "reed-heat", "", time.Time{})
	must(t, err)
	rosa.ready("RD-01")
	rosa.first = func() {
		for _, r := range []workflow.Request{workflow.ClearUse{Of: "gun", Answers: []bool{true, true}}, workflow.Finish{Step: "gun-on"}} {
			s, err := hugo.State(t.Context(), "RD-01")
			must(t, err)
			_, _, err = hugo.Act(t.Context(), s, r, time.Time{})
			must(t, err)
		}
	}
	rosa.lead("RD-01", "1", sitting.Changed, "enter", "q")
	rosa.asks("RD-01 | Gun on | When you have left it as it may stay:")
	if seen := rosa.seen[2]; seen != "You were at this step. **hugo** did it at 19:00.\n\nThe lines that you confirmed here are not recorded." {
		t.Errorf("it says %s", seen)
	}
}

// faraway is a store that may be away.
type faraway struct {
	store.Store
	away bool
}

func (*faraway) fail() error {
	return &store.Error{Op: "read", Path: "etcd://bench-a:2379,bench-b:2379,bench-c:2379/shed", Err: store.ErrAway, Hint: "check the network and the cluster"}
}

func (f *faraway) View(ctx context.Context, fn func(store.Reader) error) error {
	if f.away {
		return f.fail()
	}
	return f.Store.View(ctx, fn)
}

func (f *faraway) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if f.away {
		return f.fail()
	}
	return f.Store.Append(ctx, mark, size, records)
}

// Where the store goes away in the middle of a question, it is said that nothing was recorded, and
// the question is asked until it is back.
func TestAwayAtAQuestion(t *testing.T) {
	for _, mark := range []string{"FN-01", ""} {
		rosa, _ := shared(t)
		there := &faraway{Store: rosa.desk.Store}
		rosa.desk.Store = there
		size := rosa.state("FN-01").Size()
		rosa.first = func() {
			there.away = true
			rosa.first = func() { there.away = false }
		}
		rosa.lead(mark, sitting.Changed, "1", "2", sitting.Changed, "1", "2", "q")
		rosa.tells("Nothing was recorded: the store can't be reached. Write down what is done and when, and record it later with --at.")
		for _, text := range rosa.told {
			if strings.Contains(text, "reached") && !strings.HasPrefix(text, "Nothing was recorded") && text != "The store can be reached again." {
				t.Errorf("it is said once, and what matters first: %s", text)
			}
		}
		rosa.asks("Cut the slot")
		if got := rosa.state("FN-01").Size(); got != size+1 {
			t.Errorf("%d entries came", got-size)
		}
	}
}

// A recalled store shows what was last seen of it while it is away, and takes nothing.
type recalled struct {
	memory.Shared
	away bool
}

func (r *recalled) fail() error { return (*faraway)(nil).fail() }

func (r *recalled) Claim(ctx context.Context, of *store.Claim, lasts time.Duration, take bool) (*store.Claim, error) {
	if r.away {
		return nil, r.fail()
	}
	return r.Shared.Claim(ctx, of, lasts, take)
}

func (r *recalled) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if r.away {
		return r.fail()
	}
	return r.Shared.Append(ctx, mark, size, records)
}

func (r *recalled) AsOf() (at time.Time, why error) {
	if r.away {
		return time.Date(2026, 3, 3, 18, 59, 0, 0, time.UTC), r.fail()
	}
	return at, nil
}

// A sitting goes on with what was last seen, also where its claim is to be kept up; says once of when
// that is, and records once the store is back.
func TestGoesOnWithWhatWasSeen(t *testing.T) {
	for _, mark := range []string{"FN-01", ""} {
		rosa, _ := shared(t)
		there := &recalled{Shared: rosa.desk.Store.(memory.Shared)}
		rosa.desk.Store = there
		rosa.first = func() {
			there.away = true
			rosa.first = func() { there.away = false }
		}
		rosa.lead(mark, sitting.Changed, "+20s 1", "2", "+20s 1", "2", sitting.Changed, "1", "2", "q")
		rosa.sees()
		if n := strings.Count(strings.Join(rosa.where, "\n"), "As of 18:59: the store cannot be reached; others may have recorded since;"); n != 5 {
			t.Errorf("it is dated %d times: %q", n, rosa.where)
		}
		all := strings.Join(rosa.told, "\n")
		for text, n := range map[string]int{"As of": 0, "Nothing was recorded": 2, "The store can be reached again.": 1, "All that was answered is recorded": 1} {
			if got := strings.Count(all, text); got != n {
				t.Errorf("it says %q %d times: %s", text, got, all)
			}
		}
		rosa.asks("Cut the slot")
	}
}

// A mute store gives no answer to what is written once it is mute, and is away until it is heard of.
type mute struct {
	*faraway
	is, writes bool
	late       bool // what was not written comes to be right before the next append
	under      func()
}

func (m *mute) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if !m.is {
		if m.under != nil {
			m.under()
			m.under = nil
		}
		return m.faraway.Append(ctx, mark, size, records)
	}
	if m.writes {
		_ = m.Store.Append(ctx, mark, size, records)
	} else if m.late {
		m.under = func() { _ = m.Store.Append(ctx, mark, size, records) }
	}
	m.is, m.away = false, true
	return &store.Error{Op: "write", Path: "etcd://bench-a:2379/shed", Err: store.ErrUnknown, Hint: "check the network and the cluster"}
}

// An answer that the store gave no answer to is said once to be unknown, with the command that shows
// it; the sitting goes on, and once the store answers it is recorded, once, or something else was: an
// append that comes late changes nothing. Whoever leaves before that is not told that all is recorded.
func TestAnswerUnknown(t *testing.T) {
	for _, mark := range []string{"FN-01", ""} {
		for _, comes := range []string{"at once", "late", "never", "after another"} {
			rosa, hugo := shared(t)
			there := &mute{faraway: &faraway{Store: rosa.desk.Store}, writes: comes == "at once", late: comes == "late"}
			rosa.desk.Store = there
			rosa.first = func() {
				there.is = true
				rosa.first = func() {
					there.away = false
					if comes == "after another" {
						other, err := hugo.State(t.Context(), "FN-01")
						must(t, err)
						_, _, err = hugo.Act(t.Context(), other, workflow.Note{Text: "the window is shut"}, time.Time{})
						must(t, err)
					}
				}
			}
			answers := []string{sitting.Changed, "1", "2", sitting.Changed}
			entries, said, not, others := int64(1), "The store answers again. Recorded after all:\n- FN-01: cleared hold blade-care", "Not recorded", 0
			if comes == "after another" {
				answers = append(answers, "1", "2")
				entries, said, not, others = 2, "The store answers again. Not recorded: cleared hold blade-care, 2 lines. Something else was recorded first. Give it again if it is still to be done.", "after all", 1
			}
			size := rosa.state("FN-01").Size()
			rosa.lead(mark, append(answers, "q")...)
			rosa.tells("It is not known whether that was recorded", "`fettle airframe show FN-01 --entries`")
			all := strings.Join(rosa.told, "\n")
			for text, n := range map[string]int{"not known": 1, "answers again": 1, said: 1, not: 0, "Meanwhile": others, "All that was answered is recorded": 1} {
				if got := strings.Count(all, text); got != n {
					t.Errorf("%s: it says %q %d times: %s", comes, text, got, all)
				}
			}
			rosa.asks("Cut the slot")
			if got := rosa.state("FN-01").Size(); got != size+entries {
				t.Errorf("%s: %d entries came", comes, got-size)
			}
		}
	}
	rosa, _ := shared(t)
	there := &mute{faraway: &faraway{Store: rosa.desk.Store}}
	rosa.desk.Store = there
	rosa.first = func() { there.is = true }
	rosa.lead("FN-01", sitting.Changed, "1", "2", "q")
	rosa.tells("It is not known whether all that you answered was recorded.", "fettle airframe show FN-01 --entries")
	rosa, _ = shared(t)
	there = &mute{faraway: &faraway{Store: rosa.desk.Store}}
	rosa.desk.Store = there
	rosa.first = func() { there.away = true }
	rosa.lead("FN-01", sitting.Changed, "1", "2", "q")
	rosa.tells("Not recorded: your last answer to \"Before the blade\".", "--at")
}

// What became of each answer is known apart, whatever is recorded after it: one that the store gave no
// answer to is found out about once it does, also where the builder leaves before it is asked again, and
// one that was not recorded is lacking until it is given again.
func TestAnswersApart(t *testing.T) {
	said := func(b *bench, want map[string]int) {
		t.Helper()
		all := strings.Join(b.told, "\n")
		for text, n := range want {
			if got := strings.Count(all, text); got != n {
				t.Errorf("it says %q %d times, want %d: %s", text, got, n, all)
			}
		}
	}
	// something else was recorded before it could be sent again; then it is given again
	for _, again := range []bool{false, true} {
		rosa, _ := shared(t)
		there := &mute{faraway: &faraway{Store: rosa.desk.Store}, is: true}
		rosa.desk.Store, rosa.hasty = there, func() { there.away = false }
		answers := []string{"1", "2", "n", "+15m d", "q"}
		lacks, all := 1, 0
		if again {
			answers, lacks, all = append(answers[:4], "l", "blade-care", "1", "2", "q"), 0, 1
		}
		rosa.lead("FN-01", answers...)
		said(rosa, map[string]int{"not known": 1, "did fit-radio": 1, "Not recorded: cleared hold blade-care, 2 lines. Something else was recorded first.": 1, "after all": 0,
			`Not recorded: your last answer to "Before the blade".`: lacks, "All that was answered is recorded": all})
	}

	// who leaves meanwhile hears of it then
	rosa, _ := shared(t)
	there := &mute{faraway: &faraway{Store: rosa.desk.Store}, is: true}
	rosa.desk.Store, rosa.quits = there, func() {
		there.away = false
		_, err := rosa.of.Refresh(t.Context()) // for the first time
		must(t, err)
		if changed, err := rosa.of.Refresh(t.Context()); !changed || err != nil { // whoever waits at the question is told
			t.Errorf("once the store is back nothing is: %v", err)
		}
	}
	rosa.lead("FN-01", "1", "2", "q")
	said(rosa, map[string]int{"not known": 1, "Recorded after all:\n- FN-01: cleared hold blade-care": 1, "All that was answered is recorded": 1})

	// what was not recorded is lacking though something else was
	rosa, _ = shared(t)
	far := &faraway{Store: rosa.desk.Store}
	rosa.desk.Store = far
	rosa.first, rosa.hasty = func() { far.away = true }, func() { far.away = false }
	rosa.lead("FN-01", sitting.Changed, "1", "2", "n", "+15m d", "q")
	said(rosa, map[string]int{"Nothing was recorded": 1, "did fit-radio": 1, `Not recorded: your last answer to "Before the blade".`: 1, "All that was answered": 0})

	// so is a note, whose words are said
	rosa, _ = shared(t)
	far = &faraway{Store: rosa.desk.Store}
	rosa.desk.Store = far
	rosa.first = func() { far.away = true; rosa.first = func() { far.away = false } }
	rosa.lead("FN-01", sitting.Changed, "t", "the tin is empty", sitting.Changed, "1", "2", "q")
	said(rosa, map[string]int{`It was the note "the tin is empty".`: 1, "cleared hold": 1, `Not recorded: the note "the tin is empty".`: 1})
}

// A distant store has benches with clocks, and may be away.
type distant struct{ *faraway }

func (d distant) Clocks(context.Context, func() time.Time, bool) ([]store.BenchClock, error) {
	if d.away {
		return nil, d.fail()
	}
	return nil, nil
}

func (d distant) AsOf() (at time.Time, why error) {
	if d.away {
		why = d.fail()
	}
	return at, why
}

// While the store is away the clocks of a bench that is watched count to the safe side by two
// minutes, and as before once it is back.
func TestClocksInAnOutage(t *testing.T) {
	rosa, _ := shared(t)
	rosa.act("FN-01", workflow.Clear{Step: "blade-care", Answers: []bool{true, true}})
	for _, r := range []workflow.Request{
		workflow.Finish{Step: "cut-slot"}, workflow.Measure{Gate: "slot", Readings: []workflow.Reading{{Point: "root", Value: q(t, "4 mm")}, {Point: "tip", Value: q(t, "4 mm")}}},
		workflow.ReadBench{Set: []steps.Setting{{Condition: "ventilation", State: "on"}}}, workflow.Finish{Step: "coat-left"}, workflow.Finish{Step: "coat-right"},
	} {
		rosa.act("FN-01", r)
	}
	there := &faraway{Store: rosa.desk.Store}
	rosa.desk.Store, rosa.desk.Clocks = distant{there}, &desk.Clocks{Now: rosa.desk.Now}
	watched := sitting.NewBench(rosa.desk)
	window := func() (opens, closes time.Time) {
		t.Helper()
		_, err := watched.Refresh(t.Context())
		if there.away != (err != nil) {
			t.Fatalf("away %v: %v", there.away, err)
		}
		timers := watched.Timers(rosa.now)
		if len(timers) != 1 {
			t.Fatalf("%d clocks run", len(timers))
		}
		return timers[0].Opens, timers[0].Closes
	}
	opens, closes := window()
	for _, away := range []bool{true, true, false} {
		there.away = away
		by := map[bool]time.Duration{true: 2 * time.Minute}[away]
		if from, until := window(); !from.Equal(opens.Add(by)) || !until.Equal(closes.Add(-by)) {
			t.Errorf("away %v: it is open from %v to %v, and was from %v to %v", away, from, until, opens, closes)
		}
	}
}
