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

// TestFullDisk fills a small disk and then gives it room page by page, so that
// the disk is full at every write of an append in turn.
func TestFullDisk(t *testing.T) {
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=1m"); err != nil {
		t.Skip("no disk of its own for this test, which needs the right to mount one:", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	path := filepath.Join(folder, "fettle.db")
	ballast := filepath.Join(folder, "ballast")
	page := os.Getpagesize()
	fill(t, ballast)

	// No room for a new store: none is left behind, and reading goes on.
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

// TestFileLimit meets the limit on the size of a file, which the process that
// it applies to is not killed by.
func TestFileLimit(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fettle.db")
	child := start(t, "limit", path)
	lines := child.rest()
	if len(lines) == 0 || lines[len(lines)-1] != "works again" {
		t.Fatalf("the other process said %q", lines)
	}
	var size int64
	for _, line := range lines {
		if _, err := fmt.Sscanf(line, "kept %d", &size); err == nil {
			continue
		}
		if line != "full" && line != "works again" {
			t.Errorf("the other process said %q", line)
		}
	}
	if full := len(slices.DeleteFunc(lines, func(line string) bool { return line != "full" })); full < 3 {
		t.Errorf("the limit was met %d times only", full)
	}
	checkFull(t, path, size)
}

// appendUnderLimit appends under one limit after another, and then under none.
func appendUnderLimit(path string) error {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	s, size, whole := bolt.New(path), int64(0), limit.Cur
	for _, kib := range []uint64{0, 1, 5, 16, 33, 40, 64, 100, 129, 200} {
		limit.Cur = kib << 10
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
			return err
		}
		for {
			err := s.Append(context.Background(), "CW-01", size, [][]byte{[]byte(fullRecord(size))})
			if errors.Is(err, store.ErrFull) {
				fmt.Println("full")
				break
			}
			if err != nil {
				return err
			}
			size++
			fmt.Println("kept", size)
		}
	}
	limit.Cur = whole
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	if err := s.Append(context.Background(), "CW-01", size, [][]byte{[]byte(fullRecord(size))}); err != nil {
		return err
	}
	fmt.Println("kept", size+1)
	fmt.Println("works again")
	return nil
}
