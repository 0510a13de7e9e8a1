package sitting_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/store"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A saved store has a copy of it as it was when it was saved, which can be put in its place.
type saved struct {
	store.Store
	copy *memory.Store
	is   bool // saved: the copy stays as it is
}

func (s *saved) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	err := s.Store.Append(ctx, mark, size, records)
	if err == nil && !s.is {
		err = s.copy.Append(ctx, mark, size, records)
	}
	return err
}

func (s *saved) Keep(ctx context.Context, document []byte) (string, error) {
	if _, err := s.copy.Keep(ctx, document); err != nil {
		return "", err
	}
	return s.Store.Keep(ctx, document)
}

// A store that is put back to an older state while a sitting is open is said to be, once and with what it
// lacks, whatever others recorded since; and nothing is recorded on it before that was said, also where the
// answer comes first.
func TestPutBack(t *testing.T) {
	const lacks = "The store was put back to an older state: FN-01 lacks 2 entries that it had: noted: one; noted: two"
	for _, test := range []struct {
		name   string
		others int    // entries recorded by others since
		looks  bool   // the bench is looked at before the answer
		says   string // after lacks
	}{
		{"shorter", 0, true, "; record again what was done"},
		{"shorter, by an answer", 0, false, "; record again what was done"},
		{"as long", 2, true, "; it has 2 other entries instead; record"},
		{"as long, by an answer", 2, false, "; it has 2 other entries instead; record"},
		{"longer", 3, true, "; it has 3 other entries instead; record"},
		{"longer, by an answer", 3, false, "; it has 3 other entries instead; record"},
	} {
		for _, mark := range []string{"FN-01", ""} {
			t.Run(test.name+mark, func(t *testing.T) {
				b := atBench(t)
				there := &saved{Store: b.desk.Store, copy: memory.New()}
				far := &faraway{Store: there}
				b.desk.Store, b.desk.By, b.desk.Seat = distant{far}, "rosa", "one"
				state, err := b.desk.Register(t.Context(), "FN-01", "finch", nil, time.Time{})
				must(t, err)
				_, _, err = b.desk.Start(t.Context(), state, "finch-build", "", time.Time{})
				must(t, err)
				b.ready("FN-01")
				there.is = true
				b.act("FN-01", workflow.Note{Text: "one"})
				b.act("FN-01", workflow.Note{Text: "two"})
				size, came := b.state("FN-01").Size(), 1
				putBack := func() {
					there.Store = there.copy
					hugo := &desk.Desk{Store: there.copy, Library: b.desk.Library, Now: b.desk.Now, By: "hugo", Program: "test"}
					for n := range test.others {
						s, err := hugo.State(t.Context(), "FN-01")
						must(t, err)
						_, _, err = hugo.Act(t.Context(), s, workflow.Note{Text: fmt.Sprint("other ", n)}, time.Time{})
						must(t, err)
					}
				}
				answers := []string{"+1m d", "+1m d", "q"} // of which the first is not recorded
				if test.looks {
					b.first = func() {
						_, err := b.of.Refresh(t.Context()) // for the first time
						must(t, err)
						far.away = true
						_, err = b.of.Refresh(t.Context())
						if err == nil {
							t.Error("it is away, and nothing is said")
						}
						far.away = false
						putBack()
						if changed, err := b.of.Refresh(t.Context()); !changed || err != nil {
							t.Errorf("it is not noticed: %v", err)
						}
					}
					answers = []string{sitting.Changed, "+1m d", "q"}
				} else {
					b.hasty = putBack
				}
				b.lead(mark, answers...)
				all := strings.Join(b.told, "\n")
				if n := strings.Count(all, lacks+test.says); n != 1 {
					t.Errorf("it is said %d times: %s", n, all)
				}
				said, recorded := strings.Index(all, lacks), strings.Index(all, "did check-kit")
				if recorded < said || strings.Count(all, "did check-kit") != came || strings.Contains(all, "Meanwhile") || !strings.Contains(all, "All that was answered is recorded") {
					t.Errorf("it says %s", all)
				}
				now := b.state("FN-01")
				if got, want := now.Size(), size-2+int64(test.others+came); got != want {
					t.Errorf("it has %d entries, not %d", got, want)
				}
				if _, is := now.Entries[now.Size()-1].Facts.(journal.StepDone); !is {
					t.Errorf("the last one is %+v", now.Entries[now.Size()-1])
				}
			})
		}
	}
}
