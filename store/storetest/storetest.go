// Package storetest is the test suite that every store must pass. A new engine runs
// it like this:
//
//	func TestStore(t *testing.T) {
//		storetest.Run(t, func(t *testing.T) store.Store { return engine.New(t.TempDir()) })
//	}
package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"fettle/store"
)

// Run runs the suite. open must return a new, empty store each time.
func Run(t *testing.T, open func(t *testing.T) store.Store) {
	for _, test := range []struct {
		name string
		run  func(*testing.T, store.Store)
	}{
		{"Empty", testEmpty},
		{"AppendAndRead", testAppendAndRead},
		{"Positions", testPositions},
		{"Conflict", testConflict},
		{"AllOrNone", testAllOrNone},
		{"Sorted", testSorted},
		{"AnyBytes", testAnyBytes},
		{"Limits", testLimits},
		{"Documents", testDocuments},
		{"Tree", testTree},
		{"TreeVectors", testTreeVectors},
		{"TreeRefused", testTreeRefused},
		{"Copies", testCopies},
		{"View", testView},
		{"Context", testContext},
		{"Refused", testRefused},
		{"ManyWriters", testManyWriters},
		{"ReadersAndWriter", testReadersAndWriter},
		{"Claims", testClaims},
		{"Watch", testWatch},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, open(t)) })
	}
	t.Run("Model", func(t *testing.T) { testModel(t, open) })
}

func testEmpty(t *testing.T, s store.Store) {
	view(t, s, func(r store.Reader) {
		all, err := r.Journals()
		if err != nil || len(all) != 0 {
			t.Errorf("journals of an empty store: %v, %v", all, err)
		}
		size, err := r.Size("CW-01")
		if err != nil || size != 0 {
			t.Errorf("size of no journal: %d, %v", size, err)
		}
		records, err := r.Read("CW-01", 0)
		if err != nil || len(records) != 0 {
			t.Errorf("records of no journal: %q, %v", records, err)
		}
		for _, digest := range []string{store.Digest(nil), "", "sha256:", "README"} {
			if _, err := r.Document(digest); !errors.Is(err, store.ErrNotFound) {
				t.Errorf("document %q of an empty store: %v", digest, err)
			}
		}
	})
}

func testAppendAndRead(t *testing.T, s store.Store) {
	mustAppend(t, s, "CW-01", 0, "a", "b")
	mustAppend(t, s, "CW-01", 2, "c")
	mustAppend(t, s, "SK-02", 0, "x")
	want(t, s, "CW-01", "a", "b", "c")
	want(t, s, "SK-02", "x")
	want(t, s, "JT-01")
}

func testPositions(t *testing.T, s store.Store) {
	const n = 300 // more than one byte of a position, and more than one page
	var all []string
	for i := range n {
		all = append(all, fmt.Sprintf("record %d %s", i, strings.Repeat(".", i)))
	}
	mustAppend(t, s, "CW-01", 0, all[:200]...)
	mustAppend(t, s, "CW-01", 200, all[200:]...)
	view(t, s, func(r store.Reader) {
		for from := range n + 1 {
			records, err := r.Read("CW-01", int64(from))
			if err != nil || !equal(records, all[from:]) {
				t.Fatalf("from %d: %d records, %v; want %d", from, len(records), err, n-from)
			}
		}
		for _, from := range []int64{-1, n + 1, 1 << 62, -1 << 63} {
			records, err := r.Read("CW-01", from)
			if err == nil || records != nil {
				t.Errorf("from %d: %q, %v", from, records, err)
			}
			refusedPlainly(t, err)
		}
		_, err := r.Read("JT-01", 1)
		refusedPlainly(t, err)
	})
}

func testConflict(t *testing.T, s store.Store) {
	conflict := func(size, have int64) {
		t.Helper()
		err := s.Append(t.Context(), "CW-01", size, records("loser"))
		var c *store.ConflictError
		if !errors.Is(err, store.ErrConflict) || !errors.As(err, &c) {
			t.Fatalf("append at %d of %d: %v", size, have, err)
		}
		if *c != (store.ConflictError{Mark: "CW-01", Have: have, Want: size}) {
			t.Errorf("append at %d of %d: %+v", size, have, *c)
		}
		if text := c.Error(); !strings.Contains(text, "CW-01") || strings.Contains(text, "\n") {
			t.Errorf("said: %s", text)
		}
	}
	conflict(1, 0)
	mustAppend(t, s, "CW-01", 0, "winner", "winner")
	conflict(0, 2)
	conflict(1, 2)
	conflict(3, 2)
	want(t, s, "CW-01", "winner", "winner")
}

func testAllOrNone(t *testing.T, s store.Store) {
	mustAppend(t, s, "CW-01", 0, "kept")
	long := bytes.Repeat([]byte("x"), store.MaxRecord+1)
	if err := s.Append(t.Context(), "CW-01", 1, [][]byte{[]byte("good"), long}); err == nil {
		t.Error("a record too long was kept")
	}
	if err := s.Append(t.Context(), "SK-02", 0, [][]byte{[]byte("good"), long}); err == nil {
		t.Error("a record too long was kept")
	}
	want(t, s, "CW-01", "kept")
	wantJournals(t, s, store.Journal{Mark: "CW-01", Size: 1})
}

func testSorted(t *testing.T, s store.Store) {
	marks := []string{"b", "B", "a", "JT-01", "CW-02", "CW-1", "CW-01", "é", "日本", "a b", "\x00", "\xff"}
	var all []store.Journal
	for i, mark := range marks {
		mustAppend(t, s, mark, 0, slices.Repeat([]string{mark}, i+1)...)
		all = append(all, store.Journal{Mark: mark, Size: int64(i + 1)})
	}
	slices.SortFunc(all, func(a, b store.Journal) int { return strings.Compare(a.Mark, b.Mark) })
	wantJournals(t, s, all...)
	for i, mark := range marks {
		want(t, s, mark, slices.Repeat([]string{mark}, i+1)...)
	}
}

func testAnyBytes(t *testing.T, s store.Store) {
	var all []string
	for b := range 256 {
		all = append(all, string([]byte{byte(b)}))
	}
	all = append(all, "", "\x00\x00", "{\"a\":1}\n")
	mustAppend(t, s, "CW-01", 0, all...)
	want(t, s, "CW-01", all...)
}

func testView(t *testing.T, s store.Store) {
	mustAppend(t, s, "CW-01", 0, "a")

	own := errors.New("own")
	if err := s.View(t.Context(), func(store.Reader) error { return own }); err != own {
		t.Errorf("fn's error came back as %v", err)
	}

	func() {
		defer func() {
			if p := recover(); p != "own" {
				t.Errorf("fn's panic came back as %v", p)
			}
		}()
		_ = s.View(t.Context(), func(store.Reader) error { panic("own") })
	}()

	var late store.Reader
	view(t, s, func(r store.Reader) {
		late = r
		view(t, s, func(inner store.Reader) {
			if size, err := inner.Size("CW-01"); size != 1 || err != nil {
				t.Errorf("in a view within a view: %d, %v", size, err)
			}
		})
	})
	_, errJournals := late.Journals()
	_, errSize := late.Size("CW-01")
	_, errRead := late.Read("CW-01", 0)
	_, errHashes := late.Hashes("CW-01", nil)
	_, errDocument := late.Document(store.Digest(nil))
	for _, err := range []error{errJournals, errSize, errRead, errHashes, errDocument} {
		refusedPlainly(t, err)
	}

	// None of that left the store locked.
	mustAppend(t, s, "CW-01", 1, "b")
	want(t, s, "CW-01", "a", "b")
}

func testContext(t *testing.T, s store.Store) {
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Append(ended, "CW-01", 0, records("a")); !errors.Is(err, context.Canceled) {
		t.Errorf("append: %v", err)
	}
	if digest, err := s.Keep(ended, []byte("d")); !errors.Is(err, context.Canceled) || digest != "" {
		t.Errorf("keep: %q, %v", digest, err)
	}
	err := s.View(ended, func(store.Reader) error {
		t.Error("the view was shown")
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("view: %v", err)
	}
	wantJournals(t, s)
	view(t, s, func(r store.Reader) {
		if _, err := r.Document(store.Digest([]byte("d"))); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("a document was kept: %v", err)
		}
	})
}

func testRefused(t *testing.T, s store.Store) {
	long := strings.Repeat("m", store.MaxMark+1)
	for _, err := range []error{
		s.Append(t.Context(), "", 0, records("a")),
		s.Append(t.Context(), long, 0, records("a")),
		s.Append(t.Context(), "CW-01", 0, nil),
		s.Append(t.Context(), "CW-01", 0, [][]byte{}),
		s.Append(t.Context(), "CW-01", -1, records("a")),
		s.Append(t.Context(), "CW-01", 0, [][]byte{make([]byte, store.MaxRecord+1)}),
	} {
		refusedPlainly(t, err)
	}
	digest, err := s.Keep(t.Context(), make([]byte, store.MaxDocument+1))
	refusedPlainly(t, err)
	if digest != "" {
		t.Errorf("digest %q", digest)
	}
	mustAppend(t, s, "CW-01", 0, "a")
	view(t, s, func(r store.Reader) {
		for _, mark := range []string{"", long} {
			_, err := r.Size(mark)
			refusedPlainly(t, err)
			_, err = r.Read(mark, 0)
			refusedPlainly(t, err)
			_, err = r.Hashes(mark, []int64{0})
			refusedPlainly(t, err)
		}
	})
	wantJournals(t, s, store.Journal{Mark: "CW-01", Size: 1})
}
