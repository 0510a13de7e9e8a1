package bolt_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/bolt"
)

func killMarks() []string { return []string{"CW-01", "SK-02", "JT-01"} }

func killRecord(mark string, at int64) string {
	return fmt.Sprintf("%s %d %s", mark, at, strings.Repeat("x", int(at*37%700)))
}

func killDocument(mark string, size int64) []byte {
	return []byte(strings.Repeat(fmt.Sprintf("document of %s %d\n", mark, size), int(1+size%200)))
}

// appendForEver appends numbered records, and reports each append once it has been
// told that it is saved.
func appendForEver(path string) error {
	ctx := context.Background()
	s := bolt.New(path)
	sizes := map[string]int64{}
	fmt.Println("begun")
	err := s.View(ctx, func(r store.Reader) error {
		all, err := r.Journals()
		for _, j := range all {
			sizes[j.Mark] = j.Size
		}
		return err
	})
	if err != nil {
		return err
	}
	for i := 0; ; i++ {
		mark := killMarks()[i%3]
		size := sizes[mark]
		var records [][]byte
		for at := size; at <= size+int64(i%3); at++ {
			records = append(records, []byte(killRecord(mark, at)))
		}
		if err := s.Append(ctx, mark, size, records); err != nil {
			return err
		}
		sizes[mark] += int64(len(records))
		fmt.Println("record", mark, sizes[mark])
		if i%4 == 0 {
			if _, err := s.Keep(ctx, killDocument(mark, size)); err != nil {
				return err
			}
			fmt.Println("document", mark, size)
		}
	}
}

// TestKill kills a writer at random moments, and each time wants everything that the
// writer was told is saved.
func TestKill(t *testing.T) {
	t.Parallel()
	const perStore = 5
	kills := counts(24, 1000)
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))

	var path string
	var sizes map[string]int64
	var digests []string
	var without, kept int
	for i := range kills {
		first := i%perStore == 0
		if first {
			path = filepath.Join(t.TempDir(), "folder", "fettle.db")
			sizes, digests = map[string]int64{}, nil
		}
		child := start(t, "append", path)
		child.expect("begun")
		span := 30 * time.Millisecond
		if first {
			span = 3 * time.Millisecond // about as long as making the store takes
		}
		time.AfterFunc(time.Duration(random.Int64N(int64(span))), func() { _ = child.cmd.Process.Kill() })
		for _, line := range child.rest() {
			var what, mark string
			var size int64
			if _, err := fmt.Sscan(line, &what, &mark, &size); err != nil {
				t.Fatalf("seed %d, kill %d: the writer said %q", seed, i, line)
			}
			if what == "document" {
				digests = append(digests, store.Digest(killDocument(mark, size)))
			} else {
				sizes[mark] = size
				kept++
			}
		}
		child.kill()

		if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
			without++
		}
		got, err := read(t, path, digests...)
		if err != nil {
			t.Fatalf("seed %d, kill %d: %v", seed, i, err)
		}
		checkKilled(t, got.journals, sizes)
		if t.Failed() {
			t.Fatalf("seed %d, kill %d", seed, i)
		}
	}
	if runtime.GOOS == "linux" { // elsewhere a draft is deleted after an hour
		mustAppend(t, path, killMarks()[0], sizes[killMarks()[0]], "after all")
		wantOnly(t, filepath.Dir(path), "fettle.db")
	}
	t.Logf("%d kills, %d of them before there was a store, %d appends kept", kills, without, kept)
	if kept == 0 {
		t.Errorf("no append was kept in %d kills: the test shows nothing", kills)
	}
}

// checkKilled wants every confirmed record in its place, and at most one append that
// was not confirmed. It updates sizes to what is there.
func checkKilled(t *testing.T, got map[string][]string, sizes map[string]int64) {
	t.Helper()
	unconfirmed := 0
	for _, mark := range killMarks() {
		size := int64(len(got[mark]))
		if size < sizes[mark] || size > sizes[mark]+3 {
			t.Errorf("%s has %d records, of which %d were confirmed", mark, size, sizes[mark])
		}
		if size > sizes[mark] {
			unconfirmed++
		}
		for at, record := range got[mark] {
			if record != killRecord(mark, int64(at)) {
				t.Errorf("%s has %q at %d", mark, record, at)
			}
		}
		sizes[mark] = size
	}
	if unconfirmed > 1 {
		t.Errorf("%d appends were kept and not confirmed", unconfirmed)
	}
}

// Of several processes that make the store at once, one makes it and all write to it.
func TestMadeByMany(t *testing.T) {
	t.Parallel()
	for range 10 {
		path := filepath.Join(t.TempDir(), "fettle.db")
		errs := make(chan error)
		const many = 6
		for i := range many {
			go func() { errs <- appendInTurn(t, path, fmt.Sprint("CW-", i), 0, "a") }()
		}
		for range many {
			if err := <-errs; err != nil {
				t.Error(err)
			}
		}
		if got := mustRead(t, path); len(got.journals) != many {
			t.Errorf("%d journals, want %d", len(got.journals), many)
		}
		wantOnly(t, filepath.Dir(path), "fettle.db")
	}
}
