package seal_test

import (
	"errors"
	"fmt"
	"os"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store/seal"
)

// many returns n records, some of them long.
func many(n int) [][]byte {
	records := make([][]byte, n)
	for i := range records {
		records[i] = fmt.Appendf(nil, "record %d of some", i)
		if i%997 == 0 {
			records[i] = append(records[i], make([]byte, 4080+i/997)...)
		}
	}
	return records
}

// Chunks have 1024 records: these sizes are around their borders.
func sizes() []int { return []int{0, 1, 2, 1023, 1024, 1025, 2047, 2048, 2049, 3072, 4095, 4096, 5000} }

// slow returns the stored hashes as package tlog makes them.
func slow(t testing.TB, records [][]byte) seal.Hashes {
	t.Helper()
	var all seal.Hashes
	for i, record := range records {
		more, err := tlog.StoredHashes(int64(i), record, all)
		must(t, err)
		all = append(all, more...)
	}
	return all
}

func TestVerify(t *testing.T) {
	for _, n := range sizes() {
		records := many(n)
		stored := slow(t, records)
		if fast := seal.HashesOf(records); fmt.Sprint(fast) != fmt.Sprint(stored) {
			t.Errorf("the hashes of %d records are not package tlog's", n)
		}
		root, err := tlog.TreeHash(int64(n), stored)
		must(t, err)
		if got := seal.HeadOf(records); got.Root != root || got.Size != int64(n) {
			t.Errorf("the head of %d records is not package tlog's", n)
		}
		first, err := seal.Verify(records, stored)
		if first != -1 || err != nil {
			t.Errorf("%d records: %d, %v", n, first, err)
		}
	}
}

// In a tree of a whole chunk and a part of one, and of three whole ones where a long run asks
// for it: that takes ten times as long.
func TestVerifyFindsEveryHash(t *testing.T) {
	records := many(1100)
	if os.Getenv("FETTLE_LONG") != "" {
		records = many(3072)
	}
	stored := seal.HashesOf(records)
	for index := range stored {
		level, n := tlog.SplitStoredHashIndex(int64(index))
		if level == 0 && index%101 != 0 {
			continue // trying all would take too long
		}
		stored[index][31] ^= 1
		first, err := seal.Verify(records, stored)
		if level == 0 {
			is(t, err, seal.ErrRecord)
		} else {
			is(t, err, seal.ErrInner)
			n = -1
		}
		if first != n {
			t.Errorf("hash %d of level %d: first is %d", n, level, first)
		}
		stored[index][31] ^= 1
	}
}

func TestVerifyGivesTheFirst(t *testing.T) {
	records := many(5000)
	stored := seal.HashesOf(records)
	stored[2][0]++ // an inner hash: records go first
	for _, n := range []int{4999, 3000, 2999, 1024, 1023, 7} {
		records[n] = append([]byte("x"), records[n]...)
		first, err := seal.Verify(records, stored)
		is(t, err, seal.ErrRecord)
		if first != int64(n) {
			t.Errorf("%d, not %d", first, n)
		}
	}
}

func TestVerifyReaderFails(t *testing.T) {
	broken := errors.New("broken")
	for _, r := range []tlog.HashReader{
		tlog.HashReaderFunc(func([]int64) ([]tlog.Hash, error) { return nil, broken }),
		tlog.HashReaderFunc(func([]int64) ([]tlog.Hash, error) { return nil, nil }),
		seal.HashesOf(many(2999)),
	} {
		first, err := seal.Verify(many(3000), r)
		if first != -1 || err == nil || errors.Is(err, seal.ErrRecord) {
			t.Errorf("%d, %v", first, err)
		}
	}
}
