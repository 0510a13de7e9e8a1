package desk

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A mute store gives no answer to what is written, and does not write it either.
type mute struct {
	store.Store
	is bool
}

func (m *mute) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if m.is {
		return &store.Error{Op: "write", Path: "etcd://bench-a:2379/shed", Err: store.ErrUnknown}
	}
	return m.Store.Append(ctx, mark, size, records)
}

// What became of each record that got no answer is known apart: of two airframes, of two that were
// given one after the other at one size, and where something else was recorded between.
func TestSettle(t *testing.T) {
	there := memory.New()
	quiet := &mute{Store: there}
	d, other := newDesk(t, "rosa", quiet), newDesk(t, "hugo", there)
	d.Written = &Written{Folder: t.TempDir(), Store: "shed"}
	ctx := t.Context()
	for _, mark := range []string{"TN-01", "TN-02"} {
		if _, err := d.Register(ctx, mark, "tern", nil, time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	note := func(d *Desk, mark, text string) error {
		s, err := d.State(ctx, mark)
		if err != nil {
			t.Fatal(err)
		}
		_, _, err = d.Act(ctx, s, workflow.Note{Text: text}, time.Time{})
		return err
	}
	unknown := func(mark, text string) {
		t.Helper()
		quiet.is = true
		if err := note(d, mark, text); !errors.Is(err, store.ErrUnknown) {
			t.Fatalf("it gave an answer: %v", err)
		}
		quiet.is = false
	}
	recorded := func(d *Desk, mark, text string) {
		t.Helper()
		if err := note(d, mark, text); err != nil {
			t.Fatal(err)
		}
	}
	is := func(want ...string) {
		t.Helper()
		settled, err := d.Settle(ctx)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, one := range settled {
			word := "not "
			if one.Is {
				word = "is "
			}
			got = append(got, word+one.Of.Mark+" "+one.Entries[0].Facts.(journal.Noted).Text)
		}
		if strings.Join(got, "; ") != strings.Join(want, "; ") {
			t.Errorf("settled is %q, want %q", got, want)
		}
		if o := d.Outcome(); o.Unknown {
			t.Errorf("it is not settled: %+v", o)
		}
	}

	unknown("TN-01", "a")
	unknown("TN-02", "b")
	recorded(d, "TN-02", "c")
	if o := d.Outcome(); !o.Unknown {
		t.Errorf("what was recorded after it makes it known: %+v", o)
	}
	if o := d.Recorded(); o.Mark != "TN-02" || o.Unknown {
		t.Errorf("recorded last is %+v", o)
	}
	is("is TN-01 a", "not TN-02 b")

	unknown("TN-01", "d")
	unknown("TN-01", "e") // of the two one can be
	is("is TN-01 d", "not TN-01 e")

	unknown("TN-01", "f")
	recorded(other, "TN-01", "g")
	is("not TN-01 f")
	is()

	unknown("TN-01", "h")
	quiet.is = true
	if _, err := d.Settle(ctx); !errors.Is(err, store.ErrAway) || !d.Outcome().Unknown {
		t.Errorf("without an answer: %v, %+v", err, d.Outcome())
	}
	quiet.is = false
	is("is TN-01 h")
	s, err := d.State(ctx, "TN-01")
	if err != nil {
		t.Fatal(err)
	}
	if _, _, file, err := d.Written.compare(ctx, d.Store, "TN-01"); err != nil || d.Written.last(file).Size != s.Size() {
		t.Errorf("of %d entries %+v is remembered, %v", s.Size(), d.Written.last(file), err)
	}

	// onto a store that was put back to an older state it is not sent, also where that has as many entries
	for _, others := range []int{0, 1} {
		unknown("TN-01", "i")
		older := memory.New()
		if err := there.View(ctx, func(r store.Reader) error {
			records, err := r.Read("TN-01", 0)
			if err == nil {
				err = older.Append(ctx, "TN-01", 0, records[:len(records)-1])
			}
			if err == nil {
				var sheet []byte
				if sheet, err = r.Document(store.Digest(sheetBytes(t, d))); err == nil {
					_, err = older.Keep(ctx, sheet)
				}
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
		quiet.Store, other.Store = older, older
		for range others {
			recorded(other, "TN-01", "another")
		}
		size := 0
		settled, err := d.Settle(ctx)
		if err == nil && len(settled) == 1 {
			size = int(settled[0].State.Size())
		}
		if err != nil || len(settled) != 1 || settled[0].Is || !settled[0].PutBack || size != int(s.Size())-1+others {
			t.Errorf("%d others, put back: %+v, %v", others, settled, err)
		}
		quiet.Store, other.Store = there, there
	}
}

// sheetBytes is the sheet that the airframes were registered by.
func sheetBytes(t *testing.T, d *Desk) []byte {
	t.Helper()
	doc, err := d.Library.Sheet("tern")
	if err != nil {
		t.Fatal(err)
	}
	return doc.Bytes
}
