package bolt_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/storetest"
)

func TestStore(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) store.Store {
		return bolt.New(filepath.Join(inMemory(t), "fettle.db"))
	})
}

func TestReadingMakesNothing(t *testing.T) {
	root := t.TempDir()
	path := filepath.Join(root, "a", "fettle.db")
	if got := mustRead(t, path); len(got.journals) != 0 {
		t.Errorf("a missing file has journals: %v", got)
	}
	if entries, err := os.ReadDir(root); err != nil || len(entries) != 0 {
		t.Errorf("reading made %v, %v", entries, err)
	}
}

func TestModes(t *testing.T) {
	root := t.TempDir()
	if err := os.Chmod(root, 0o755); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(root, "a", "b", "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	for at, want := range map[string]os.FileMode{
		root:                       os.ModeDir | 0o755, // was there: left as it was
		filepath.Join(root, "a"):   os.ModeDir | 0o700,
		filepath.Join(root, "a/b"): os.ModeDir | 0o700,
		path:                       0o600,
	} {
		info, err := os.Stat(at)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode() != want {
			t.Errorf("%s has mode %v, want %v", at, info.Mode(), want)
		}
	}
	wantOnly(t, filepath.Dir(path), "fettle.db")
}

func TestOtherHandles(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	for i := range int64(5) {
		mustAppend(t, path, "CW-01", i, fmt.Sprint(i)) // each by a Store of its own
		if !bolt.Stamped(path) {
			t.Errorf("write %d left no stamp", i)
		}
	}
	if got := mustRead(t, path).journals["CW-01"]; !slices.Equal(got, []string{"0", "1", "2", "3", "4"}) {
		t.Errorf("%q", got)
	}
}

// Writers and readers with separate handles share only the file, which grows while
// others are about to open it.
func TestManyHandles(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	const writers, each = 3, 15
	record := strings.Repeat("r", 9000)
	var wg sync.WaitGroup
	for w := range writers {
		mark := fmt.Sprint("CW-", w)
		wg.Go(func() {
			for i := range int64(each) {
				if err := appendInTurn(t, path, mark, i, record); err != nil {
					t.Error(err)
					return
				}
			}
		})
		wg.Go(func() {
			for range each {
				if _, err := read(t, path); err != nil && !errors.Is(err, store.ErrLocked) {
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	for mark, records := range mustRead(t, path).journals {
		if len(records) != each {
			t.Errorf("%s has %d records, want %d", mark, len(records), each)
		}
	}
}

func TestConflictMakesNoStore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	err := bolt.New(path).Append(t.Context(), "CW-01", 1, [][]byte{[]byte("a")})
	if !errors.Is(err, store.ErrConflict) {
		t.Error(err)
	}
	wantOnly(t, filepath.Dir(path))
}

func TestKeepAgainWritesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	for range 2 {
		if _, err := bolt.New(path).Keep(t.Context(), []byte("document")); err != nil {
			t.Fatal(err)
		}
	}
	before := mustReadFile(t, path)
	if _, err := bolt.New(path).Keep(t.Context(), []byte("document")); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(before, mustReadFile(t, path)) {
		t.Error("the file was written to")
	}
}

func TestThroughALink(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(path, link); err != nil {
		t.Skip("this system has no links:", err)
	}
	wantFailure(t, link, store.ErrForeign)
	mustAppend(t, path, "CW-01", 0, "a")
	mustAppend(t, link, "CW-01", 1, "b")
	if got := mustRead(t, path).journals["CW-01"]; !slices.Equal(got, []string{"a", "b"}) {
		t.Errorf("%q", got)
	}
}

// tester is what helpers need from a *testing.T, *testing.B or *rapid.T.
type tester interface {
	Helper()
	Context() context.Context
	Errorf(format string, args ...any)
	Fatal(args ...any)
}

// content is all that a store holds.
type content struct {
	journals  map[string][]string
	documents map[string]string
}

func (c content) equal(other content) bool {
	return maps.EqualFunc(c.journals, other.journals, slices.Equal) && maps.Equal(c.documents, other.documents)
}

// read returns every journal, and the documents with the digests.
func read(t tester, path string, digests ...string) (content, error) {
	got := content{map[string][]string{}, map[string]string{}}
	err := bolt.New(path).View(t.Context(), func(r store.Reader) error {
		all, err := r.Journals()
		if err != nil {
			return err
		}
		for _, j := range all {
			records, err := r.Read(j.Mark, 0)
			if err != nil {
				return err
			}
			for _, record := range records {
				got.journals[j.Mark] = append(got.journals[j.Mark], string(record))
			}
		}
		for _, digest := range digests {
			document, err := r.Document(digest)
			if err != nil {
				return err
			}
			got.documents[digest] = string(document)
		}
		return nil
	})
	return got, err
}

func mustRead(t tester, path string, digests ...string) content {
	t.Helper()
	got, err := read(t, path, digests...)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func mustAppend(t *testing.T, path, mark string, size int64, records ...string) {
	t.Helper()
	if err := tryAppend(t, path, mark, size, records...); err != nil {
		t.Fatal(err)
	}
}

func tryAppend(t tester, path, mark string, size int64, records ...string) error {
	var all [][]byte
	for _, record := range records {
		all = append(all, []byte(record))
	}
	return bolt.New(path).Append(t.Context(), mark, size, all)
}

// appendInTurn appends, and retries if others keep the store locked for too long, as
// on a slow disk.
func appendInTurn(t tester, path, mark string, size int64, records ...string) error {
	for {
		if err := tryAppend(t, path, mark, size, records...); !errors.Is(err, store.ErrLocked) {
			return err
		}
	}
}

// inMemory returns a folder in memory if the system has one, for tests that write
// much and do not depend on the disk.
func inMemory(t *testing.T) string {
	t.Helper()
	folder, err := os.MkdirTemp("/dev/shm", "fettle-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(folder); err != nil {
			t.Error(err)
		}
	})
	return folder
}

func mustReadFile(t tester, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func mustWriteFile(t tester, path string, data []byte, mode os.FileMode) {
	t.Helper()
	if err := os.WriteFile(path, data, mode); err != nil {
		t.Fatal(err)
	}
}

func wantOnly(t *testing.T, folder string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, entry := range entries {
		got = append(got, entry.Name())
	}
	if !slices.Equal(got, names) {
		t.Errorf("the folder holds %q, want %q", got, names)
	}
}

// wantFailure wants both reading and writing to fail in the same way.
func wantFailure(t *testing.T, path string, kind error) {
	t.Helper()
	_, err := read(t, path)
	wantError(t, err, "read", path, kind)
	wantWriteFailure(t, path, kind)
}

func wantWriteFailure(t *testing.T, path string, kind error) {
	t.Helper()
	wantError(t, tryAppend(t, path, "CW-01", 0, "a"), "write", path, kind)
	_, err := bolt.New(path).Keep(t.Context(), []byte("document"))
	wantError(t, err, "write", path, kind)
}

func wantError(t tester, err error, op, path string, kind error) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Errorf("want %v, got: %v", kind, err)
		return
	}
	var failure *store.Error
	if !errors.As(err, &failure) {
		t.Errorf("not of the family: %v", err)
		return
	}
	if failure.Op != op || failure.Path != path || failure.Hint == "" {
		t.Errorf("%+v", failure)
	}
	text := err.Error()
	if !strings.Contains(text, path) || strings.Contains(text, "\n") || !strings.HasPrefix(text, "cannot "+op) {
		t.Errorf("said: %s", text)
	}
}
