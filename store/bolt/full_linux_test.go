package bolt_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"fettle/store"
	"fettle/store/bolt"
)

func fullRecord(at int64) string { return fmt.Sprintf("%d %s", at, strings.Repeat("y", 900)) }

func checkFull(t *testing.T, path string, size int64) {
	t.Helper()
	got := mustRead(t, path).journals["CW-01"]
	var want []string
	for at := range size {
		want = append(want, fullRecord(at))
	}
	if !slices.Equal(got, want) {
		t.Fatalf("%d records where %d were kept, or others", len(got), size)
	}
}

// smallDisk returns a folder on a disk of 1 MiB.
func smallDisk(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=1m"); err != nil {
		t.Skip("no disk of its own for this test, which needs the right to mount one:", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return folder
}

// TestFullDisk fills a small disk and then frees it page by page, so that the disk is
// full at each write of an append in turn.
func TestFullDisk(t *testing.T) {
	folder := smallDisk(t)
	path := filepath.Join(folder, "fettle.db")
	ballast := filepath.Join(folder, "ballast")
	page := os.Getpagesize()
	fill(t, ballast)

	// No room for a new store: nothing is left behind, and reading still works.
	made := false
	for !made {
		err := tryAppend(t, path, "CW-01", 0, fullRecord(0))
		if made = err == nil; !made {
			wantError(t, err, "write", path, store.ErrFull)
			wantOnly(t, folder, "ballast")
			checkFull(t, path, 0)
			free(t, ballast, page)
		}
	}

	size, refused := int64(1), 0
	for refused < 60 {
		err := tryAppend(t, path, "CW-01", size, fullRecord(size), fullRecord(size+1))
		if err == nil {
			size += 2
		} else {
			wantError(t, err, "write", path, store.ErrFull)
			refused++
		}
		checkFull(t, path, size)
		if err != nil {
			free(t, ballast, page)
		}
		if t.Failed() {
			t.Fatalf("after %d records and %d refusals", size, refused)
		}
	}
	t.Logf("%d records kept, %d refusals", size, refused)

	if _, err := bolt.New(path).Keep(t.Context(), make([]byte, 2<<20)); !errors.Is(err, store.ErrFull) {
		t.Errorf("a document larger than the disk: %v", err)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, path, "CW-01", size, fullRecord(size))
	checkFull(t, path, size+1)
}

// TestMigrationOnAFullDisk frees a small disk page by page until a store can be
// migrated: failed tries leave no copy behind, which would take up the space of the
// next try.
func TestMigrationOnAFullDisk(t *testing.T) {
	folder := smallDisk(t)
	path, ballast := filepath.Join(folder, "fettle.db"), filepath.Join(folder, "ballast")
	before := unzipSample(t, samples()[1], path)
	fill(t, ballast)
	refused := 0
	for {
		err := tryAppend(t, path, "SK-02", 1, "more")
		if err == nil {
			break
		}
		wantError(t, err, "write", path, store.ErrFull)
		wantOnly(t, folder, "ballast", "fettle.db")
		if got := mustRead(t, path); !got.equal(content{sampleContent().journals, map[string]string{}}) {
			t.Errorf("read as %.300v", got)
		}
		if refused++; t.Failed() {
			t.Fatalf("after %d refusals", refused)
		}
		free(t, ballast, os.Getpagesize())
	}
	wantOnly(t, folder, "ballast", "fettle.db", "fettle.db-schema-1.bak")
	t.Logf("%d refusals for %d KiB", refused, len(before)>>10)
}

func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for err == nil {
		_, err = f.Write(make([]byte, os.Getpagesize()))
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

func free(t *testing.T, path string, n int) {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Size() < int64(n) {
		t.Fatal("there is nothing more to free")
	}
	if err := os.Truncate(path, info.Size()-int64(n)); err != nil {
		t.Fatal(err)
	}
}

// TestFullBeforeEach fills the small disk before every write of a run.
func TestFullBeforeEach(t *testing.T) {
	folder := smallDisk(t)
	path, ballast := filepath.Join(folder, "fettle.db"), filepath.Join(folder, "ballast")
	writes := counts(15, 150)
	size, waited, refused := int64(0), 0, 0
	for n := range writes {
		fill(t, ballast)
		before := refused
		for {
			err := tryAppend(t, path, "CW-01", size, fullRecord(size), fullRecord(size+1), fullRecord(size+2), fullRecord(size+3))
			if err == nil {
				size += 4
				break
			}
			wantError(t, err, "write", path, store.ErrFull)
			refused++
			checkFull(t, path, size)
			if t.Failed() {
				t.FailNow()
			}
			free(t, ballast, os.Getpagesize())
		}
		if refused > before {
			waited++
		}
		checkFull(t, path, size)
		if n%10 == 0 {
			checkFullDocument(t, path, ballast, n)
		}
	}
	if waited < writes/2 {
		t.Errorf("the disk was too full for %d of %d appends only", waited, writes)
	}
	t.Logf("%d appends, %d of which first found the disk too full; %d refusals, nothing lost", writes, waited, refused)
}

// checkFullDocument keeps a document on a full disk, and once there is room.
func checkFullDocument(t *testing.T, path, ballast string, number int) {
	t.Helper()
	document := []byte(strings.Repeat(fmt.Sprintln("document", number), 500))
	fill(t, ballast)
	for {
		digest, err := bolt.New(path).Keep(t.Context(), document)
		if err == nil {
			if got := mustRead(t, path, digest).documents[digest]; got != string(document) {
				t.Errorf("document %d reads as %.100q", number, got)
			}
			return
		}
		wantError(t, err, "write", path, store.ErrFull)
		free(t, ballast, os.Getpagesize())
	}
}

// TestFileLimit sets a limit on the size of a file (which does not kill the process)
// before every append of a run: at each half page of the file in turn, until the
// append succeeds.
func TestFileLimit(t *testing.T) {
	path := filepath.Join(inMemory(t), "fettle.db")
	child := start(t, "limit", path)
	lines := child.rest()
	if len(lines) != 2 || lines[1] != "works again" {
		t.Fatalf("the other process said %q", lines)
	}
	var size int64
	var met, refused int
	if _, err := fmt.Sscanf(lines[0], "kept %d, %d of them after the limit was met, %d refusals", &size, &met, &refused); err != nil {
		t.Fatalf("the other process said %q", lines)
	}
	if int64(met) != size-1 {
		t.Errorf("the limit was met before %d of %d appends only", met, size)
	}
	checkFull(t, path, size)
	t.Log(lines[0])
}

// appendUnderLimit tries each append first under a limit of 0 bytes, and then of half
// a page more each time until it succeeds; the last append has no limit.
func appendUnderLimit(path string) error {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	s, size, whole := bolt.New(path), int64(0), limit.Cur
	add := func(most uint64) error {
		limit.Cur = most
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
			return err
		}
		return s.Append(context.Background(), "CW-01", size, [][]byte{[]byte(fullRecord(size))})
	}
	met, refused := 0, 0
	for range counts(20, 150) {
		before := refused
		err := add(0)
		for most := uint64(0); err != nil; err = add(most) {
			if err := checkRefused(s, err, size); err != nil {
				return err
			}
			refused++
			most += uint64(os.Getpagesize() / 2)
		}
		if refused > before {
			met++
		}
		size++
	}
	if err := add(whole); err != nil {
		return err
	}
	fmt.Printf("kept %d, %d of them after the limit was met, %d refusals\n", size+1, met, refused)
	fmt.Println("works again")
	return nil
}

// checkRefused wants a refusal to say why and what to do, and everything to be still
// there.
func checkRefused(s *bolt.Store, err error, size int64) error {
	var failure *store.Error
	if !errors.Is(err, store.ErrFull) || !errors.As(err, &failure) || failure.Op != "write" || failure.Hint == "" {
		return fmt.Errorf("not the refusal of a full disk: %w", err)
	}
	return s.View(context.Background(), func(r store.Reader) error {
		records, err := r.Read("CW-01", 0)
		if err != nil {
			return fmt.Errorf("after a refusal: %w", err)
		}
		if int64(len(records)) != size {
			return fmt.Errorf("%d records after a refusal, where %d were kept", len(records), size)
		}
		for at, record := range records {
			if string(record) != fullRecord(int64(at)) {
				return fmt.Errorf("record %d is another after a refusal", at)
			}
		}
		return nil
	})
}
