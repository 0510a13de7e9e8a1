package bolt_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/seal"
)

// The samples are stores that the program wrote when it had that schema, all with the
// same content.
func samples() map[int]string {
	return map[int]string{1: "testdata/schema-1.db.gz", 2: "testdata/schema-2.db.gz"}
}

func sampleContent() content {
	c := content{map[string][]string{"SK-02": {"started"}, "JT-01": {"", "second"}}, map[string]string{}}
	for i := range 700 {
		c.journals["CW-01"] = append(c.journals["CW-01"], fmt.Sprintf("entry %d of CW-01", i))
	}
	for _, document := range []string{"procedure: causeway-build\n", ""} {
		c.documents[store.Digest([]byte(document))] = document
	}
	return c
}

func (c content) digests() (all []string) {
	for digest := range c.documents {
		all = append(all, digest)
	}
	return all
}

// unzipSample writes a sample to a path and returns its bytes.
func unzipSample(t *testing.T, sample, path string) []byte {
	t.Helper()
	file, err := os.Open(sample)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	z, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	data, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	mustWriteFile(t, path, data, 0o600)
	return data
}

// wantTrees wants the hashes of every journal to be those of its records.
func wantTrees(t tester, path string, c content) {
	t.Helper()
	err := bolt.New(path).View(t.Context(), func(r store.Reader) error {
		for mark, texts := range c.journals {
			var records [][]byte
			for _, text := range texts {
				records = append(records, []byte(text))
			}
			_, err := seal.Verify(records, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
				return r.Hashes(mark, indexes)
			}))
			if err != nil {
				return fmt.Errorf("%s: %w", mark, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Errorf("%v", err)
	}
}

func TestSamples(t *testing.T) {
	for number, sample := range samples() {
		t.Run(fmt.Sprint(number), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "fettle.db")
			before := unzipSample(t, sample, path)
			want := sampleContent()
			if got := mustRead(t, path, want.digests()...); !got.equal(want) {
				t.Fatalf("read as %.300v", got)
			}
			wantTrees(t, path, want)
			if !bytes.Equal(mustReadFile(t, path), before) {
				t.Error("reading changed the file")
			}

			var told []string
			for i := range 2 {
				s := bolt.New(path)
				s.Migrated = func(from, to int, kept string) {
					told = append(told, fmt.Sprintf("from %d to %d, kept as %s", from, to, filepath.Base(kept)))
				}
				if err := s.Append(t.Context(), "CW-01", int64(700+i), [][]byte{[]byte("more")}); err != nil {
					t.Fatal(err)
				}
				want.journals["CW-01"] = append(want.journals["CW-01"], "more")
			}
			if got := mustRead(t, path, want.digests()...); !got.equal(want) {
				t.Errorf("after an append read as %.300v", got)
			}
			wantTrees(t, path, want)

			if number == newestSchema() {
				if len(told) > 0 {
					t.Errorf("told of %q", told)
				}
				wantOnly(t, filepath.Dir(path), "fettle.db")
				return
			}
			if text := fmt.Sprintf("from %d to %d, kept as fettle.db-schema-%[1]d.bak", number, newestSchema()); !slices.Equal(told, []string{text}) {
				t.Errorf("told of %q, want %q", told, text)
			}
			kept := fmt.Sprintf("fettle.db-schema-%d.bak", number)
			wantOnly(t, filepath.Dir(path), "fettle.db", kept) // one copy, though there were two appends
			kept = filepath.Join(filepath.Dir(path), kept)
			if got := mustRead(t, kept, want.digests()...); !got.equal(sampleContent()) {
				t.Errorf("the copy reads as %.300v", got)
			}
			if !bytes.HasPrefix(before, mustReadFile(t, kept)) {
				t.Error("the copy is not the file as it was")
			}
		})
	}
}

// A store whose pages have another size than this machine's is read, written to and
// examined.
func TestPageSizes(t *testing.T) {
	folder := inMemory(t)
	from := filepath.Join(folder, "from.db")
	unzipSample(t, samples()[newestSchema()], from)
	for size := 1 << 10; size <= 1<<20; size *= 4 {
		path, want := filepath.Join(folder, fmt.Sprint(size)), sampleContent()
		mustCopyPages(t, from, path, size)
		for i := range 3 {
			mustAppend(t, path, "CW-01", int64(700+i), strings.Repeat("more", 500))
			want = want.with("CW-01", strings.Repeat("more", 500))
			if got := mustRead(t, path, want.digests()...); !got.equal(want) {
				t.Errorf("%d: read as %.300v", size, got)
			}
		}
		wantTrees(t, path, want)
		if report, err := bolt.New(path).Examine(t.Context()); err != nil || len(report.Faults) > 0 {
			t.Errorf("%d: %+v, %v", size, report, err)
		}
		if t.Failed() {
			t.FailNow()
		}
	}
}

// mustCopyPages copies what a database holds to a new one with pages of this size.
func mustCopyPages(t *testing.T, from, to string, size int) {
	t.Helper()
	source, err := bbolt.Open(from, 0o600, &bbolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer source.Close()
	db, err := bbolt.Open(to, 0o600, &bbolt.Options{PageSize: size})
	if err != nil {
		t.Fatal(err)
	}
	var fill func(to, from *bbolt.Bucket) error
	fill = func(to, from *bbolt.Bucket) error {
		return from.ForEach(func(key, value []byte) error {
			if value != nil {
				return to.Put(key, value)
			}
			inner, err := to.CreateBucket(key)
			if err != nil {
				return err
			}
			return errors.Join(inner.SetSequence(from.Bucket(key).Sequence()), fill(inner, from.Bucket(key)))
		})
	}
	err = source.View(func(read *bbolt.Tx) error {
		return db.Update(func(write *bbolt.Tx) error {
			return fill(write.Cursor().Bucket(), read.Cursor().Bucket())
		})
	})
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
}

func newestSchema() (newest int) {
	for number := range samples() {
		newest = max(newest, number)
	}
	return newest
}

// Keeping a document that is already there writes nothing, and so does not migrate.
func TestNothingToWriteMigratesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	before := unzipSample(t, samples()[1], path)
	if _, err := bolt.New(path).Keep(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	err := bolt.New(path).Append(t.Context(), "CW-01", 1, [][]byte{nil})
	if !errors.Is(err, store.ErrConflict) {
		t.Error(err)
	}
	if !bytes.Equal(mustReadFile(t, path), before) {
		t.Error("the file was written to")
	}
	wantOnly(t, filepath.Dir(path), "fettle.db")
}

func TestSecondCopy(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustWriteFile(t, path+"-schema-1.bak", []byte("an older copy"), 0o600)
	unzipSample(t, samples()[1], path)
	mustAppend(t, path, "SK-02", 1, "more")
	wantOnly(t, filepath.Dir(path), "fettle.db", "fettle.db-2-schema-1.bak", "fettle.db-schema-1.bak")
	if string(mustReadFile(t, path+"-schema-1.bak")) != "an older copy" {
		t.Error("the older copy was written over")
	}
}

// A failed migration leaves the store unchanged.
func TestMigrationEnded(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	before := unzipSample(t, samples()[1], path)
	wantSame := func() {
		t.Helper()
		if !bytes.Equal(mustReadFile(t, path), before) {
			t.Error("the store was changed")
		}
		wantOnly(t, filepath.Dir(path), "fettle.db")
	}

	// Ended by its caller, half way through.
	for calls := range 4 {
		ctx := &endsAt{Context: t.Context(), calls: calls + 1}
		err := bolt.New(path).Append(ctx, "SK-02", 1, [][]byte{[]byte("more")})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("ended at call %d: %v", calls+1, err)
		}
		wantSame()
	}

	// Ended by a damaged record.
	at := bytes.Index(before, []byte("entry 333 of CW-01"))
	before[at] ^= 1
	mustWriteFile(t, path, before, 0o600)
	wantError(t, tryAppend(t, path, "SK-02", 1, "more"), "write", path, store.ErrDamaged)
	wantSame()
}

// endsAt is a context that has ended when it is asked for the given time.
type endsAt struct {
	context.Context
	calls int
}

func (c *endsAt) Err() error {
	if c.calls--; c.calls <= 0 {
		return context.Canceled
	}
	return nil
}
