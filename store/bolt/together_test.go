package bolt_test

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/bolt"
)

// enteredEach is how many entries each of two processes makes in one journal.
func enteredEach() int { return counts(80, 5000) }

const sharedMark = "CW-01"

func enteredRecord(pid, number int) string {
	return fmt.Sprintf("entry %d of process %d%s", number, pid, strings.Repeat(".", number%300))
}

// enterMany makes entries as the program does: it reads how many there are, appends,
// and reads again if another process was first.
func enterMany(path string) error {
	s := bolt.New(path)
	var held durations
	conflicts, lockedOut := 0, 0
	for number := range enteredEach() {
		record := []byte(enteredRecord(os.Getpid(), number))
		for kept := false; !kept; {
			took, err := enterOne(s, record)
			switch {
			case err == nil:
				held = append(held, took)
				kept = true
			case errors.Is(err, store.ErrConflict):
				conflicts++
			case errors.Is(err, store.ErrLocked):
				lockedOut++
			default:
				return err
			}
		}
	}
	fmt.Printf("writer: %d entries, %d conflicts, %d times locked out; the lock was held %s\n", enteredEach(), conflicts, lockedOut, held)
	return nil
}

func enterOne(s *bolt.Store, record []byte) (held time.Duration, err error) {
	var size int64
	err = s.View(context.Background(), func(r store.Reader) error {
		size, err = r.Size(sharedMark)
		return err
	})
	if err != nil {
		return 0, err
	}
	return s.AppendTimed(context.Background(), sharedMark, size, [][]byte{record})
}

// watch reads the journal continually until every entry is there, and prints the size
// and content of each view that differs from the one before.
func watch(path string) error {
	s := bolt.New(path)
	var held durations
	views, lockedOut, before := 0, 0, ""
	for size := 0; size < 2*enteredEach(); {
		var records [][]byte
		var begun time.Time
		err := s.View(context.Background(), func(r store.Reader) (err error) {
			begun = time.Now()
			records, err = r.Read(sharedMark, 0)
			return err
		})
		if errors.Is(err, store.ErrLocked) {
			lockedOut++
			continue
		}
		if err != nil {
			return err
		}
		if size = len(records); size > 0 { // before that there is no file to lock
			held = append(held, time.Since(begun))
			views++
		}
		sum := sha256.New()
		for _, record := range records {
			addRecord(sum, record)
		}
		if now := viewLine(size, sum); now != before {
			fmt.Println(now)
			before = now
		}
	}
	fmt.Printf("reader: %d views of all there was, %d times locked out; the lock was held %s\n", views, lockedOut, held)
	return nil
}

func viewLine(size int, sum hash.Hash) string { return fmt.Sprintf("view %d %x", size, sum.Sum(nil)) }

func addRecord(sum hash.Hash, record []byte) {
	sum.Write(binary.BigEndian.AppendUint64(nil, uint64(len(record))))
	sum.Write(record)
}

// Durations of one thing done many times.
type durations []time.Duration

func (d durations) String() string {
	if len(d) == 0 {
		return "never"
	}
	sorted := slices.Sorted(slices.Values(d))
	at := func(share float64) time.Duration {
		return sorted[int(share*float64(len(sorted)-1))].Round(time.Microsecond)
	}
	return fmt.Sprintf("%v at the median, %v at the 99.9th percentile, %v at most", at(0.5), at(0.999), at(1))
}

// TestTogether has two processes append to one journal while a third reads it: every
// entry is there once, each writer's in order, and the reader always saw a prefix of
// the final journal, never shorter than before.
func TestTogether(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "fettle.db")
	watcher := start(t, "watch", path)
	watcher.expect(viewLine(0, sha256.New())) // it reads before anything is written
	children := []*process{start(t, "enter", path), start(t, "enter", path), watcher}
	said := make([][]string, len(children))
	var wg sync.WaitGroup
	for i, child := range children {
		wg.Go(func() { said[i] = child.rest() })
	}
	wg.Wait()

	journal := mustRead(t, path).journals[sharedMark]
	if len(journal) != 2*enteredEach() {
		t.Errorf("the journal has %d entries, and %d were made", len(journal), 2*enteredEach())
	}
	for i, child := range children[:2] {
		pid := child.cmd.Process.Pid
		number := 0
		for _, record := range journal {
			if record == enteredRecord(pid, number) {
				number++
			}
		}
		if number != enteredEach() {
			t.Errorf("of process %d only the first %d entries are there in order", pid, number)
		}
		t.Log(last(said[i]))
	}
	checkViews(t, said[2], journal)
	t.Log(last(said[2]))
}

func last(lines []string) string {
	if len(lines) == 0 {
		return "the other process said nothing"
	}
	return lines[len(lines)-1]
}

func checkViews(t *testing.T, lines, journal []string) {
	t.Helper()
	sum := sha256.New()
	beginnings := []string{viewLine(0, sum)}
	for at, record := range journal {
		addRecord(sum, []byte(record))
		beginnings = append(beginnings, viewLine(at+1, sum))
	}
	views, before := 1, 0
	for _, line := range lines {
		if !strings.HasPrefix(line, "view ") {
			continue
		}
		size := slices.Index(beginnings, line)
		if size < before {
			t.Errorf("a view was not the beginning of the journal, or less than the %d entries before: %s", before, line)
			return
		}
		views, before = views+1, size
	}
	if before != len(journal) {
		t.Errorf("the last view was of %d entries", before)
	}
	t.Logf("%d views that differed", views)
}
