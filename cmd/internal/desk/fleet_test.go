package desk

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// watched notes which journals are read of a store, and how often it is opened.
type watched struct {
	store.Store
	read  []string
	views int
	harm  string // the mark whose journal is damaged
}

func (w *watched) View(ctx context.Context, fn func(store.Reader) error) error {
	w.views++
	return w.Store.View(ctx, func(r store.Reader) error { return fn(watchedReader{r, w}) })
}

type watchedReader struct {
	store.Reader
	w *watched
}

func (r watchedReader) Read(mark string, from int64) ([][]byte, error) {
	r.w.read = append(r.w.read, mark)
	if mark == r.w.harm {
		return nil, &store.Error{Op: "read", Err: store.ErrDamaged}
	}
	return r.Reader.Read(mark, from)
}

// bench gives a desk with airframes TN-01 and on, as many as there are letters: "o"
// has an open job, "d" one that was taken back, "r" none.
func bench(t *testing.T, letters string) (*Desk, *watched) {
	t.Helper()
	d := newDesk(t, "pilot", memory.New())
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for i, letter := range letters {
		s, err := d.Register(ctx, fmt.Sprintf("TN-%02d", i+1), "tern", nil, time.Time{})
		must(err)
		if letter == 'r' {
			continue
		}
		_, s, err = d.Start(ctx, s, "tern-build", "", time.Time{})
		must(err)
		if letter == 'o' {
			continue
		}
		opened := s.Size() - 1
		_, _, err = d.Act(ctx, s, workflow.Undo{Position: opened}, time.Time{})
		must(err)
	}
	w := &watched{Store: d.Store}
	return newDesk(t, "pilot", w), w
}

func TestChoose(t *testing.T) {
	for _, test := range []struct {
		letters, name string
		want          string // the mark, or a part of the error
		named         bool
		read          string // how far
		views         int
	}{
		{"r", "", "TN-01", false, "TN-01", 1},
		{"o", "check-kit", "TN-01", false, "TN-01", 1},
		{"ror", "", "TN-02", false, "TN-03", 1},
		{"dro", "", "TN-03", false, "TN-03", 1},
		{"oor", "tn-03", "TN-03", true, "TN-03", 1},
		{"oroo", "", "name the airframe: TN-01, TN-02, TN-03, TN-04", false, "TN-03", 1},
		{"ooooooo", "", "name the airframe: TN-01, TN-02, TN-03, TN-04, TN-05 and 2 more", false, "TN-02", 1},
		{"rr", "", "name the airframe: TN-01, TN-02", false, "TN-02", 1},
		{"dddooo", "", "name the airframe: TN-01, TN-02, TN-03, TN-04, TN-05 and 1 more", false, "TN-05", 3},
		{"", "", ErrNoAirframe.Error(), false, "", 1},
	} {
		d, w := bench(t, test.letters)
		s, named, err := d.Choose(t.Context(), test.name)
		got := fmt.Sprint(err)
		if err == nil {
			got = s.Airframe.Mark
		}
		if got != test.want || named != test.named {
			t.Errorf("%q %q: %s, %v; want %s, %v", test.letters, test.name, got, named, test.want, test.named)
		}
		last := ""
		if len(w.read) > 0 {
			last = w.read[len(w.read)-1]
		}
		if last != test.read || w.views != test.views {
			t.Errorf("%q %q: read to %q in %d views, want to %q in %d", test.letters, test.name, last, w.views, test.read, test.views)
		}
	}
}

// Where much would have to be replayed, the airframe is named.
func TestChooseOfMany(t *testing.T) {
	d, _ := bench(t, "dddo")
	var which *AmbiguousError
	if _, _, err := d.choose(t.Context(), "", 1); !errors.As(err, &which) {
		t.Errorf("said %v", err)
	}
	if s, _, err := d.choose(t.Context(), "tn-04", 1); err != nil || s.Airframe.Mark != "TN-04" {
		t.Errorf("by its name: %v", err)
	}
}

// A damaged journal may be the one that is meant, so that nothing is chosen past it.
func TestChooseNothingPastDamage(t *testing.T) {
	d, w := bench(t, "roo")
	w.harm = "TN-01"
	if _, _, err := d.Choose(t.Context(), ""); !errors.Is(err, store.ErrDamaged) || !strings.Contains(err.Error(), "cannot read TN-01") {
		t.Errorf("said %v", err)
	}
}

func TestRows(t *testing.T) {
	d, w := bench(t, strings.Repeat("ro", 15))
	w.harm = "TN-07"
	marks, err := Rows(t.Context(), d, func(s *workflow.State, of int) string {
		if of != 30 {
			t.Errorf("there are %d", of)
		}
		return s.Airframe.Mark
	})
	if !errors.Is(err, store.ErrDamaged) || !strings.Contains(err.Error(), "cannot read TN-07") {
		t.Errorf("said %v", err)
	}
	var want []string
	for i := range 30 {
		if i != 6 {
			want = append(want, fmt.Sprintf("TN-%02d", i+1))
		}
	}
	if !slices.Equal(marks, want) {
		t.Errorf("rows are of %v", marks)
	}
}

// What cannot be read for another reason than damage ends it all.
func TestRowsStop(t *testing.T) {
	d, _ := bench(t, "rrr")
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if rows, err := Rows(ctx, d, func(*workflow.State, int) int { return 1 }); !errors.Is(err, context.Canceled) || rows != nil {
		t.Errorf("%v, %v", rows, err)
	}
}

// A journal that registers another airframe is not acted on: what is appended would
// go to the other.
func TestJournalOfAnother(t *testing.T) {
	d, w := bench(t, "r")
	records, err := store.Records(t.Context(), w.Store, "TN-01")
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Append(t.Context(), "TN-02", 0, records); err != nil {
		t.Fatal(err)
	}
	if _, err := d.State(t.Context(), "TN-02"); !errors.Is(err, journal.ErrBadEntry) {
		t.Errorf("said %v", err)
	}
}

// The state after an act is what a reader finds.
func TestActGivesWhatIsStored(t *testing.T) {
	d, w := bench(t, "o")
	s, err := d.State(t.Context(), "TN-01")
	if err != nil {
		t.Fatal(err)
	}
	before := w.views
	_, after, err := d.Act(t.Context(), s, workflow.Finish{Step: "make"}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	if w.views != before {
		t.Errorf("the journal was read %d times more", w.views-before)
	}
	stored, err := newDesk(t, "pilot", w).State(t.Context(), "TN-01")
	if err != nil {
		t.Fatal(err)
	}
	one, err1 := journal.Encode(after.Entries)
	other, err2 := journal.Encode(stored.Entries)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	if !slices.EqualFunc(one, other, slices.Equal) || after.Next(d.Now()).Step.Step.Name != stored.Next(d.Now()).Step.Step.Name {
		t.Errorf("%d entries after it, %d stored", after.Size(), stored.Size())
	}
	// Who acts on what was read before another wrote decides afresh.
	if _, again, err := d.Act(t.Context(), s, workflow.Note{Text: "late"}, time.Time{}); err != nil || again.Size() != after.Size()+1 {
		t.Errorf("after a conflict: %v", err)
	}
}
