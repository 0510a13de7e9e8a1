package sitting_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/store"
	"fettle/store/memory"
	"fettle/workflow"
)

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
	rosa.lead("FN-01", "q")
	rosa.asks("Fit the receiver")
	rosa.tells("FN-01: **hugo at window** is at `blade-care` since 19:00.")
	if got := claims(t, hugo); got != "hugo finch-build/blade-care, rosa finch-build/fit-radio" {
		t.Errorf("claimed is %s", got)
	}

	rosa.lead("FN-01", "l", "blade-care", "n", "q") // it is not taken over
	rosa.asks("Take it over from hugo at window?", "y take it over, n no")
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
	rosa.asks("Others are at what can be done now", "Take it up again?")
	rosa.lead("FN-01", "y", "n", "q")
	rosa.asks("Take it over from carol at window?")

	// a claim ends by itself, and others may begin the step
	rosa.now = rosa.now.Add(2 * time.Minute)
	rosa.lead("FN-01", "q")
	rosa.asks("Before the blade | Confirm")
	if strings.Contains(strings.Join(rosa.told, "\n"), "is at") {
		t.Errorf("told is %q", rosa.told)
	}
}

// While a question stands its step stays claimed; whoever lost it is told and led elsewhere.
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
	rosa.lead("FN-01", "+50s l", "enter", sitting.Changed, "q")
	if first, last := rosa.asked[0], rosa.asked[len(rosa.asked)-1]; !strings.Contains(first, "Before the blade | Confirm") || !strings.Contains(last, "Fit the receiver") {
		t.Errorf("asked are %s and %s", first, last)
	}
	rosa.tells("FN-01: **hugo at window** took `blade-care` over from you.")
	if got := claims(t, hugo); got != "hugo finch-build/blade-care, rosa finch-build/fit-radio" {
		t.Errorf("claimed is %q", got)
	}
	rosa.of.Leave()
	if got := claims(t, hugo); got != "hugo finch-build/blade-care" {
		t.Errorf("claimed is %q after she left", got)
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
	rosa.lead("FN-01", sitting.Changed, "q")
	rosa.tells("Meanwhile on FN-01, by hugo: cleared hold blade-care")
	rosa.asks("Cut the slot")
	if n := strings.Count(strings.Join(rosa.told, "\n"), "Meanwhile"); n != 1 {
		t.Errorf("told is %q", rosa.told)
	}

	// nobody told her yet: what she records is decided anew
	rosa.lead("FN-01", "+10m d", "q")
	size := rosa.state("FN-01").Size()
	rosa.first = func() { theirs(workflow.Note{Text: "the tin is empty"}) }
	rosa.lead("FN-01", sitting.Changed, "q")
	rosa.tells("Meanwhile on FN-01, by hugo: noted: the tin is empty")
	if got := rosa.state("FN-01").Size(); got != size+1 {
		t.Errorf("%d entries came", got-size)
	}
}

// faraway is a store that may be away.
type faraway struct {
	store.Store
	away bool
}

func (f *faraway) fail() error {
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
			if strings.Contains(text, "reached") && !strings.HasPrefix(text, "Nothing was recorded") {
				t.Errorf("it is said once, and what matters first: %s", text)
			}
		}
		rosa.asks("Cut the slot")
		if got := rosa.state("FN-01").Size(); got != size+1 {
			t.Errorf("%d entries came", got-size)
		}
	}
}
