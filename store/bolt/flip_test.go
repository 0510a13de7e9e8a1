package bolt_test

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/seal"
)

// TestFlippedBits flips single bits of the journals, and reads everything: no such
// damage goes unnoticed.
func TestFlippedBits(t *testing.T) {
	t.Parallel()
	path := filepath.Join(inMemory(t), "fettle.db")
	holds := makeJournals(t, path)
	if err := readEverything(t, path, holds); err != nil {
		t.Fatal(err)
	}
	places, pages, err := bolt.JournalBytes(path)
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()

	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	positions := counts(24, 2000)
	noticed, unnoticed, panics := 0, 0, 0
	try := firstKeys(t, file, places)
	if len(try) == 0 {
		t.Fatal("no journal has a branch")
	}
	for _, i := range random.Perm(len(places))[:positions] {
		try = append(try, places[i])
	}
	for _, at := range try {
		for bit := range 8 {
			flip(t, file, at, bit)
			err, panicked := readGuarded(t, path, holds)
			flip(t, file, at, bit)
			var failure *store.Error
			switch {
			case panicked:
				panics++
			case err == nil:
				unnoticed++
			case !errors.As(err, &failure) || !errors.Is(err, store.ErrDamaged):
				t.Errorf("seed %d: bit %d of byte %d: not of the family: %v", seed, bit, at, err)
			default:
				noticed++
				continue
			}
			t.Errorf("seed %d: bit %d of byte %d (%d of page %d): %v", seed, bit, at, at%int64(os.Getpagesize()), at/int64(os.Getpagesize()), err)
		}
	}
	if err := readEverything(t, path, holds); err != nil {
		t.Errorf("flipped back: %v", err)
	}
	t.Logf("%d flips at %d of the %d bytes that %d pages use: %d noticed, %d unnoticed, %d panics", 8*len(try), len(try), len(places), pages, noticed, unnoticed, panics)
}

// firstKeys are the bytes that say where the first key of a branch lies: nothing that is
// read leads by that key, and so no other check would notice.
func firstKeys(t *testing.T, file *os.File, places []int64) (at []int64) {
	t.Helper()
	for _, place := range places {
		flags := make([]byte, 2)
		size := int64(os.Getpagesize())
		if _, err := file.ReadAt(flags, place/size*size+8); err != nil {
			t.Fatal(err)
		}
		if within := place % size; binary.NativeEndian.Uint16(flags) == 1 && within >= 16 && within < 20 {
			at = append(at, place)
		}
	}
	return at
}

// makeJournals makes a store of three journals of many pages each.
func makeJournals(t *testing.T, path string) content {
	t.Helper()
	holds := content{map[string][]string{}, map[string]string{}}
	for i, mark := range killMarks() {
		for part := range 3 {
			in := change{mark: mark}
			for n := range 60 {
				in.records = append(in.records, fmt.Sprintf("%s %d %d %s", mark, part, n, strings.Repeat("x", n*n%700)))
			}
			holds = in.make(t, path, holds)
		}
		holds = change{mark: mark, records: []string{strings.Repeat("long ", 2000)}}.make(t, path, holds)
		holds = change{document: strings.Repeat("procedure: causeway-build\n", 1+200*i)}.make(t, path, holds)
	}
	return holds
}

func flip(t *testing.T, file *os.File, at int64, bit int) {
	t.Helper()
	one := make([]byte, 1)
	if _, err := file.ReadAt(one, at); err != nil {
		t.Fatal(err)
	}
	one[0] ^= 1 << bit
	if _, err := file.WriteAt(one, at); err != nil {
		t.Fatal(err)
	}
}

func readGuarded(t *testing.T, path string, holds content) (err error, panicked bool) {
	defer func() {
		if p := recover(); p != nil {
			err, panicked = fmt.Errorf("panic: %v", p), true
		}
	}()
	return readEverything(t, path, holds), false
}

// readEverything reads whatever is in a store: the journals and their records, the
// hashes, which it verifies, and the documents. It does not compare them with what
// should be there.
func readEverything(t *testing.T, path string, holds content) error {
	return bolt.New(path).View(t.Context(), func(r store.Reader) error {
		all, err := r.Journals()
		if err != nil {
			return err
		}
		for _, j := range all {
			records, err := r.Read(j.Mark, 0)
			if err != nil {
				return err
			}
			_, err = seal.Verify(records, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
				return r.Hashes(j.Mark, indexes)
			}))
			if err != nil {
				return err
			}
		}
		for digest := range holds.documents {
			if _, err := r.Document(digest); err != nil {
				return err
			}
		}
		return nil
	})
}
