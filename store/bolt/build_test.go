package bolt_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"fettle/store"
	"fettle/store/bolt"
)

// create makes a store that holds this.
func create(t *testing.T, path string, c content) error {
	t.Helper()
	return bolt.Create(t.Context(), path, func(b store.Builder) error {
		for _, document := range c.documents {
			if err := b.Keep([]byte(document)); err != nil {
				return err
			}
		}
		for mark, texts := range c.journals {
			var records [][]byte
			for _, text := range texts {
				records = append(records, []byte(text))
			}
			if err := b.Append(mark, records); err != nil {
				return err
			}
		}
		return nil
	}, unchecked)
}

func unchecked(store.Store) error { return nil }

func TestCreate(t *testing.T) {
	large := content{map[string][]string{}, map[string]string{}}
	for i := range 40 { // several batches
		mark := fmt.Sprintf("CW-%02d", i)
		for n := range 50 + i {
			large.journals[mark] = append(large.journals[mark], fmt.Sprintf("%d %s", n, strings.Repeat("r", 5000)))
		}
	}
	for _, want := range []content{{}, sampleContent(), large} {
		path := filepath.Join(t.TempDir(), "fettle.db")
		if err := create(t, path, want); err != nil {
			t.Fatal(err)
		}
		wantOnly(t, filepath.Dir(path), "fettle.db")
		if got := mustRead(t, path, want.digests()...); !got.equal(want) {
			t.Errorf("read as %.300v", got)
		}
		wantTrees(t, path, want)
		if !bolt.Stamped(path) {
			t.Error("it has no stamp")
		}
		report, err := bolt.New(path).Examine(t.Context())
		if err != nil || len(report.Faults) > 0 {
			t.Errorf("%+v, %v", report, err)
		}
		mustAppend(t, path, "SK-02", int64(len(want.journals["SK-02"])), "more")
	}
}

func TestCreateTwice(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	if err := create(t, path, sampleContent()); err != nil {
		t.Fatal(err)
	}
	err := create(t, path, content{})
	wantError(t, err, "write", path, fs.ErrExist)
	if got := mustRead(t, path); len(got.journals) != 3 {
		t.Errorf("%v", got)
	}
}

// A failed build leaves nothing behind.
func TestCreateEnded(t *testing.T) {
	errOwn := errors.New("the source is gone")
	big := make([]byte, store.MaxRecord)
	for name, test := range map[string]struct {
		fill func(store.Builder) error
		want error
	}{
		"its own error": {func(b store.Builder) error { return errors.Join(b.Append("CW-01", [][]byte{big}), errOwn) }, errOwn},
		"a journal twice": {func(b store.Builder) error {
			return errors.Join(b.Append("CW-01", [][]byte{big}), b.Append("CW-01", [][]byte{big}))
		}, store.ErrConflict},
		"a journal twice, unheard": {func(b store.Builder) error {
			for range 9 {
				_ = b.Append("CW-01", [][]byte{big})
			}
			return nil
		}, store.ErrConflict},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "fettle.db")
			if err := bolt.Create(t.Context(), path, test.fill, unchecked); !errors.Is(err, test.want) {
				t.Errorf("want %v, got %v", test.want, err)
			}
			wantOnly(t, filepath.Dir(path))
		})
	}
	path := filepath.Join(t.TempDir(), "fettle.db")
	ctx, cancel := context.WithCancel(t.Context())
	err := bolt.Create(ctx, path, func(b store.Builder) error {
		cancel()
		return b.Keep(nil)
	}, unchecked)
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	wantOnly(t, filepath.Dir(path))
}

// The check reads what was written, before it has its name.
func TestCreateChecked(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	fill := func(b store.Builder) error { return b.Append("CW-01", [][]byte{[]byte("first")}) }
	errOther := errors.New("it is not what was copied")
	err := bolt.Create(t.Context(), path, fill, func(s store.Store) error {
		if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
			t.Error("it has its name already", err)
		}
		err := s.View(t.Context(), func(r store.Reader) error {
			records, err := r.Read("CW-01", 0)
			if len(records) != 1 || string(records[0]) != "first" {
				t.Errorf("read %q", records)
			}
			return err
		})
		return errors.Join(err, errOther)
	})
	if !errors.Is(err, errOther) {
		t.Error(err)
	}
	wantOnly(t, filepath.Dir(path))
}

func TestReplace(t *testing.T) {
	folder := t.TempDir()
	path, with, aside := filepath.Join(folder, "fettle.db"), filepath.Join(folder, "new"), filepath.Join(folder, "aside")
	s := bolt.New(path)
	replace := func(check func(store.Reader) error) (bool, error) {
		return s.Replace(t.Context(), with, aside, check)
	}
	never := func(store.Reader) error { t.Error("asked of nothing"); return nil }

	mustAppend(t, with, "CW-01", 0, "first")
	if kept, err := replace(never); kept || err != nil {
		t.Fatal(kept, err)
	}
	wantOnly(t, folder, "fettle.db")

	// Refused by the check, which sees the old store.
	mustAppend(t, with, "CW-01", 0, "second")
	errLess := errors.New("it has less")
	_, err := replace(func(r store.Reader) error {
		records, err := r.Read("CW-01", 0)
		if err != nil || string(records[0]) != "first" {
			t.Error(records, err)
		}
		return errLess
	})
	if err != errLess {
		t.Error(err)
	}
	wantOnly(t, folder, "fettle.db", "new")

	// Written between the check and the lock for writing: checked again.
	before := mustReadFile(t, path)
	mustAppend(t, path, "CW-01", 1, "meanwhile")
	after := mustReadFile(t, path)
	mustWriteFile(t, path, before, 0o600)
	checks := 0
	_, err = replace(func(r store.Reader) error {
		records, err := r.Read("CW-01", 0)
		if checks++; checks == 1 {
			return errors.Join(err, os.WriteFile(path, after, 0o600))
		}
		if len(records) != 2 || err != nil {
			t.Error(records, err)
		}
		return errLess
	})
	if err != errLess || checks != 2 {
		t.Error(checks, err)
	}
	mustWriteFile(t, path, before, 0o600)

	if kept, err := replace(nil); !kept || err != nil {
		t.Fatal(kept, err)
	}
	wantOnly(t, folder, "aside", "fettle.db")
	if got := mustRead(t, path).journals["CW-01"]; !slices.Equal(got, []string{"second"}) {
		t.Errorf("%q", got)
	}
	if got := mustRead(t, aside).journals["CW-01"]; !slices.Equal(got, []string{"first"}) {
		t.Errorf("%q", got)
	}

	// Nothing is overwritten, and if a step fails everything is as before.
	mustAppend(t, with, "CW-01", 0, "third")
	_, err = replace(nil)
	wantError(t, err, "write", path, fs.ErrExist)
	if err := os.Remove(with); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Replace(t.Context(), with, aside+"-2", nil); err == nil {
		t.Error("replaced with nothing")
	}
	wantOnly(t, folder, "aside", "fettle.db")
	mustAppend(t, path, "CW-01", 1, "after")
}

// A damaged store is replaced too, but not if it has to be checked first.
func TestReplaceDamaged(t *testing.T) {
	folder := t.TempDir()
	path, with, aside := filepath.Join(folder, "fettle.db"), filepath.Join(folder, "new"), filepath.Join(folder, "aside")
	mustAppend(t, with, "CW-01", 0, "first")
	harmed := make([]byte, 1<<16)
	mustWriteFile(t, path, harmed, 0o600)
	_, err := bolt.New(path).Replace(t.Context(), with, aside, func(store.Reader) error { return nil })
	wantError(t, err, "write", path, store.ErrForeign)
	if kept, err := bolt.New(path).Replace(t.Context(), with, aside, nil); !kept || err != nil {
		t.Fatal(kept, err)
	}
	if string(mustReadFile(t, aside)) != string(harmed) || len(mustRead(t, path).journals) != 1 {
		t.Error("not replaced")
	}
}

// TestReplaceUnderWriters replaces a store over and over while others append:
// each entry that was acknowledged is in the store, or in one kept aside.
func TestReplaceUnderWriters(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	path := filepath.Join(folder, "fettle.db")
	mustAppend(t, path, "CW-01", 0, "start")
	const writers, each, times = 3, 40, 12
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				// One mark each, so that a replaced journal does not conflict.
				if err := tryAppend(t, path, fmt.Sprintf("W%d-%d", w, i), 0, "entry"); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for i := range times {
		with := filepath.Join(folder, fmt.Sprint("new-", i))
		mustAppend(t, with, "CW-01", 0, "start")
		if _, err := bolt.New(path).Replace(t.Context(), with, filepath.Join(folder, fmt.Sprint("aside-", i)), nil); err != nil {
			t.Error(err)
		}
	}
	wg.Wait()
	all := map[string]bool{}
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		for mark := range mustRead(t, filepath.Join(folder, entry.Name())).journals {
			all[mark] = true
		}
	}
	if len(all) != 1+writers*each {
		t.Errorf("%d journals are somewhere, want %d", len(all), 1+writers*each)
	}
}

// If the check cannot read the new store, the error has the store's final name.
func TestCreateFailsTheCheck(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "fettle.db")
	err := bolt.Create(t.Context(), path, func(b store.Builder) error {
		return b.Append("CW-01", [][]byte{[]byte("first")})
	}, func(s store.Store) error {
		entries, err := os.ReadDir(folder)
		if err != nil || len(entries) != 1 {
			t.Fatal(entries, err)
		}
		mustWriteFile(t, filepath.Join(folder, entries[0].Name()), []byte("harmed"), 0o600)
		err = s.View(t.Context(), func(store.Reader) error { return nil })
		return fmt.Errorf("reading it again: %w", err)
	})
	if !errors.Is(err, store.ErrForeign) || !strings.Contains(err.Error(), "the store "+path+": ") {
		t.Errorf("said: %v", err)
	}
	wantOnly(t, folder)
}
