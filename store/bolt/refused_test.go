package bolt_test

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"fettle/store"
	"fettle/store/bolt"
)

func TestForeign(t *testing.T) {
	for name, lay := range map[string]func(t *testing.T, path string){
		"empty":  func(t *testing.T, path string) { mustWriteFile(t, path, nil, 0o600) },
		"text":   func(t *testing.T, path string) { mustWriteFile(t, path, []byte("glue: contact\n"), 0o600) },
		"zeros":  func(t *testing.T, path string) { mustWriteFile(t, path, []byte(strings.Repeat("\x00", 65536)), 0o600) },
		"prose":  func(t *testing.T, path string) { mustWriteFile(t, path, []byte(strings.Repeat("glue ", 20000)), 0o600) },
		"zip":    func(t *testing.T, path string) { mustWriteFile(t, path, zipped(t), 0o600) },
		"sqlite": func(t *testing.T, path string) { mustWriteFile(t, path, sqliteFile(), 0o600) },
		"holes": func(t *testing.T, path string) {
			mustAppend(t, path, "CW-01", 0, "a")
			length := int64(len(mustReadFile(t, path)))
			mustWriteFile(t, path, nil, 0o600)
			if err := os.Truncate(path, length); err != nil {
				t.Fatal(err)
			}
		},
		"folder": func(t *testing.T, path string) { mustMkdir(t, path, 0o700) },
		"bare":   func(t *testing.T, path string) { bare(t, path, func(*bbolt.Tx) error { return nil }) },
		"other": func(t *testing.T, path string) {
			bare(t, path, func(tx *bbolt.Tx) error { return putMeta(tx, "format", "other") })
		},
		"other, without a meta": func(t *testing.T, path string) {
			bare(t, path, func(tx *bbolt.Tx) error {
				b, err := tx.CreateBucket([]byte("widgets"))
				if err != nil {
					return err
				}
				return b.Put([]byte("1"), []byte("one"))
			})
		},
		"other, with a meta of its own": func(t *testing.T, path string) {
			bare(t, path, func(tx *bbolt.Tx) error {
				b, err := tx.CreateBucket([]byte("meta"))
				if err != nil {
					return err
				}
				_, err = b.CreateBucket([]byte("format"))
				return err
			})
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "fettle.db")
			lay(t, path)
			before, _ := os.ReadFile(path) // a folder has no bytes
			wantFailure(t, path, store.ErrForeign)
			_, err := bolt.New(path).Examine(t.Context())
			wantError(t, err, "read", path, store.ErrForeign)
			wantOnly(t, filepath.Dir(path), "fettle.db")
			if after, _ := os.ReadFile(path); !bytes.Equal(after, before) {
				t.Error("it was written to")
			}
		})
	}
}

func zipped(t *testing.T) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	w, err := z.Create("fettle.db")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(bytes.Repeat([]byte("glue: contact\n"), 5000)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// sqliteFile is a database of SQLite as its file format page has it
// (https://www.sqlite.org/fileformat.html, "The Database Header"): 16 bytes of magic, then the size
// of a page and the rest of the header; and empty pages.
func sqliteFile() []byte {
	file := make([]byte, 8*4096)
	copy(file, "SQLite format 3\x00\x10\x00\x01\x01\x00\x40\x20\x20")
	return file
}

// A database of another program without a list of free pages must be refused before
// bbolt rebuilds that list, which might crash it.
func TestForeignWithoutFreelist(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{NoFreelistSync: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Update(func(tx *bbolt.Tx) error { return putMeta(tx, "format", "other") }); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	before := mustReadFile(t, path)
	wantFailure(t, path, store.ErrForeign)
	if string(mustReadFile(t, path)) != string(before) {
		t.Error("a file of another program was written to")
	}
}

func TestSchemas(t *testing.T) {
	for number, kind := range map[string]error{
		"3":          store.ErrNewer,
		"4294967295": store.ErrNewer,
		"0":          store.ErrDamaged,
		"-1":         store.ErrDamaged,
		"":           store.ErrDamaged,
		"one":        store.ErrDamaged,
	} {
		t.Run(number, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "fettle.db")
			mustAppend(t, path, "CW-01", 0, "a")
			bare(t, path, func(tx *bbolt.Tx) error { return putMeta(tx, "schema", number) })
			wantFailure(t, path, kind)
			if _, err := bolt.New(path).Examine(t.Context()); kind == store.ErrNewer && !errors.Is(err, kind) {
				t.Errorf("examined: %v", err) // it is sound, and not to be replaced by a backup
			}
			if _, err := read(t, path); kind == store.ErrNewer && !strings.Contains(err.Error(), "schema "+number+"; this fettle reads schemas up to 2") {
				t.Errorf("said: %v", err)
			}
		})
	}
}

// A program that knows nothing of the number of records leaves that of an older state,
// which says nothing of this one.
func TestWrittenByAnOlderProgram(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	var records []byte
	bare(t, path, func(tx *bbolt.Tx) error {
		records = bytes.Clone(tx.Bucket([]byte("meta")).Get([]byte("records")))
		return nil
	})
	mustAppend(t, path, "CW-01", 1, "b")
	bare(t, path, func(tx *bbolt.Tx) error { return putMeta(tx, "records", string(records)) })
	mustAppend(t, path, "CW-01", 2, "c")
	if got := mustRead(t, path).journals["CW-01"]; !slices.Equal(got, []string{"a", "b", "c"}) {
		t.Errorf("read as %q", got)
	}
}

func TestReadOnlyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	if err := os.Chmod(path, 0o400); err != nil {
		t.Fatal(err)
	}
	wantWriteFailure(t, path, store.ErrReadOnly)
	if got := mustRead(t, path).journals["CW-01"]; len(got) != 1 {
		t.Errorf("%q", got)
	}
}

func TestReadOnlyFolder(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "folder")
	mustMkdir(t, folder, 0o500)
	wantWriteFailure(t, filepath.Join(folder, "fettle.db"), store.ErrReadOnly)
	wantWriteFailure(t, filepath.Join(folder, "a", "fettle.db"), store.ErrReadOnly)
	wantOnly(t, folder)
}

func TestNoSuchPlace(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	mustWriteFile(t, file, []byte("text"), 0o600)
	for _, path := range []string{filepath.Join(file, "fettle.db"), "", strings.Repeat("n", 5000)} {
		_, err := read(t, path)
		var failure *store.Error
		if !errors.As(err, &failure) || failure.Hint == "" {
			t.Errorf("reading %.40q: %v", path, err)
		}
		if err := tryAppend(t, path, "CW-01", 0, "a"); !errors.As(err, &failure) || failure.Hint == "" {
			t.Errorf("writing %.40q: %v", path, err)
		}
	}
}

// hurry is long enough to find a lock taken.
const hurry = 20 * time.Millisecond

func TestLockedByAReader(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	s := bolt.New(path).Hurry(hurry)
	err := s.View(t.Context(), func(r store.Reader) error {
		// The holder's own Store returns the same error, and does not wait for ever.
		for _, s := range []*bolt.Store{bolt.New(path).Hurry(hurry), s} {
			wantError(t, s.Append(t.Context(), "CW-01", 1, [][]byte{[]byte("b")}), "write", path, store.ErrLocked)
		}

		// Another reader does not matter.
		mustRead(t, path)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, path, "CW-01", 1, "b")
}

func TestLockedByAnotherProcess(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	child := start(t, "hold", path)
	child.expect("held")
	begun := time.Now()
	_, err := read(t, path)
	if took := time.Since(begun); took < store.Patience {
		t.Errorf("it was waited for %v only", took)
	}
	wantError(t, err, "read", path, store.ErrLocked)
	_, keepErr := bolt.New(path).Hurry(hurry).Keep(t.Context(), nil)
	wantError(t, keepErr, "write", path, store.ErrLocked)
	if pid := fmt.Sprintf("(process %d)", child.cmd.Process.Pid); namesHolders() && !strings.Contains(err.Error(), pid) {
		t.Errorf("said: %v; want it to name %s", err, pid)
	}

	// A caller's context can end the wait sooner.
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	err = bolt.New(path).View(ctx, func(store.Reader) error { return nil })
	if !errors.Is(err, context.DeadlineExceeded) || errors.Is(err, store.ErrLocked) {
		t.Errorf("reading: %v", err)
	}
	err = bolt.New(path).Append(ctx, "CW-01", 1, [][]byte{[]byte("b")})
	if !errors.Is(err, context.DeadlineExceeded) || errors.Is(err, store.ErrLocked) {
		t.Errorf("writing: %v", err)
	}

	child.kill()
	mustAppend(t, path, "CW-01", 1, "b")
}

// A short wait is worthwhile: the other process is usually done in a moment.
func TestWaitsForTheLock(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	child := start(t, "hold", path)
	child.expect("held")
	time.AfterFunc(100*time.Millisecond, func() { _ = child.cmd.Process.Kill() })
	mustAppend(t, path, "CW-01", 1, "b")
	child.kill()
}

// namesHolders tells whether this system tells who has a file locked.
func namesHolders() bool {
	_, err := os.Stat("/proc/locks")
	return err == nil
}

func mustMkdir(t *testing.T, path string, mode fs.FileMode) {
	t.Helper()
	if err := os.Mkdir(path, mode); err != nil {
		t.Fatal(err)
	}
}

// bare changes a file directly with bbolt.
func bare(t *testing.T, path string, change func(*bbolt.Tx) error) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Update(change); err != nil {
		t.Error(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func putMeta(tx *bbolt.Tx, key, value string) error {
	b, err := tx.CreateBucketIfNotExists([]byte("meta"))
	if err != nil {
		return err
	}
	return b.Put([]byte(key), []byte(value))
}
