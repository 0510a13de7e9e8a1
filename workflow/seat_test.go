package workflow

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/workflow/journal"
)

// The hold of a tool that one person cleared at one bench holds nobody else's hand, and that
// person's nowhere else. What was recorded without a bench counts at any.
func TestAHoldCountsForWhoClearedIt(t *testing.T) {
	b := carefully(t)
	b.by, b.where = "ada", "window"
	b.must(setting("ventilation", "on"), Finish{Step: "propeller-off"}, Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.must(confirming("knife", 1))
	for _, other := range []struct{ by, where, says string }{
		{"cy", "door", "the hold of knife has not been cleared in this sitting by cy at door, only by ada at window"},
		{"cy", "window", "only by ada at window"},
		{"ada", "door", "only by ada at window"},
	} {
		b.by, b.where = other.by, other.where
		mustContain(t, b.refused(Finish{Step: "cut-pod"}, ByHold), other.says, "[clear-use knife")
	}
	b.by, b.where = "cy", "door"
	b.must(confirming("knife", 1)) // ada's stands
	b.by, b.where = "ada", "window"
	b.done("cut-pod")
	seen := func(by string) bool { return b.state.Seated(Seat{By: by}).UsedLately("knife", b.now) }
	if !seen("ada") || seen("cy") || !seen("") {
		t.Error("the caution of the knife is short for whoever used it, and for nobody else")
	}

	b = carefully(t)
	b.must(Finish{Step: "propeller-off"}, Clear{Step: "blade-care", Answers: []bool{true, true}}, confirming("knife", 1))
	said := b.by
	b.by = "cy" // a store of one bench has no name for it
	mustContain(t, b.refused(Finish{Step: "cut-pod"}, ByHold), "in this sitting by cy, only by "+said+" [")
	b.by = said
	b.where = "window"
	b.done("cut-pod")
}

// Whoever looks is asked for what they did not clear, and never for less than where nobody is
// told from another.
func TestHoldsOfSeveralPeople(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := carefully(t)
		use, _ := b.state.Sheet.Use("knife")
		for range rapid.IntRange(1, 8).Draw(rt, "n") {
			b.now = b.now.Add(time.Duration(rapid.IntRange(1, 200).Draw(rt, "minutes")) * time.Minute)
			b.by, b.where = rapid.SampledFrom([]string{"ada", "cy"}).Draw(rt, "by"), rapid.SampledFrom([]string{"", "window", "door"}).Draw(rt, "where")
			if rapid.IntRange(0, 3).Draw(rt, "what") == 0 {
				_ = b.try(Undo{Position: b.state.Size() - 1, Reason: "a slip"})
			} else {
				b.must(confirming(use.Name, len(use.Hold)))
			}
		}
		for _, by := range []string{"ada", "cy"} {
			for _, where := range []string{"", "window", "door"} {
				got := b.state.Seated(Seat{By: by, Bench: where}).Cleared(use, b.now)
				if got && !b.state.Cleared(use, b.now) {
					rt.Fatalf("%s is asked for less than anybody", by)
				}
				if want := clearedBySeat(b.state, use.Name, by, where, b.now); got != want {
					rt.Fatalf("%s at %q: %v, want %v of\n%s", by, where, got, want, entriesOf(b.state))
				}
			}
		}
	})
}

// clearedBySeat goes through the entries: they cleared it within six hours, and nothing that was
// recorded later was taken back.
func clearedBySeat(s *State, use, by, where string, now time.Time) bool {
	gone := map[int64]bool{}
	for _, e := range s.Entries {
		if f, ok := e.Facts.(journal.Undone); ok {
			for _, p := range f.TakesBack {
				gone[p] = true
			}
		}
	}
	cleared := false
	for _, e := range s.Entries {
		f, ok := e.Facts.(journal.UseCleared)
		switch {
		case !ok || f.Of != use:
		case gone[e.Position]:
			cleared = false
		case e.By == by && (f.Bench == "" || f.Bench == where) && now.Sub(e.At) <= 6*time.Hour:
			cleared = true
		}
	}
	return cleared
}

func entriesOf(s *State) (text string) {
	for _, e := range s.Entries {
		text += fmt.Sprintln(e.Position, e.By, e.At.Format("15:04"), e.Facts)
	}
	return text
}

// A state that is folded anew is to the same person what the one before it was.
func TestSeatIsKept(t *testing.T) {
	b := carefully(t)
	b.by = "ada"
	b.must(confirming("knife", 1))
	use, _ := b.state.Sheet.Use("knife")
	seated := b.state.Seated(Seat{By: "cy"})
	if anew := b.state.Heard(seated); anew.Cleared(use, b.now) {
		t.Error("the hold that ada cleared counts for cy")
	}
}
