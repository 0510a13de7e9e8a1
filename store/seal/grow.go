package seal

import (
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"
)

// Gained is how many hashes the tree gains with the record at a position: its own, and that
// of each subtree that it completes.
func Gained(at int64) int { return 1 + bits.TrailingZeros64(uint64(at)+1) }

// Grow returns the hashes that the tree gains with records that follow the first size ones,
// in the order of [tlog.StoredHashIndex]; old reads the hashes of those. It is asked for one
// at a time, and for none but those of [Edge].
func Grow(size int64, records [][]byte, old tlog.HashReaderFunc) ([]tlog.Hash, error) {
	have := tlog.StoredHashCount(size)
	var fresh []tlog.Hash
	both := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		found := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			if index >= have {
				found[i] = fresh[index-have]
				continue
			}
			one, err := old(indexes[i : i+1])
			if err != nil {
				return nil, err
			}
			found[i] = one[0]
		}
		return found, nil
	})
	for i, record := range records {
		more, err := tlog.StoredHashes(size+int64(i), record, both)
		if err != nil {
			return nil, err
		}
		fresh = append(fresh, more...)
	}
	return fresh, nil
}

// Edge returns the indexes of the hashes that the tree grows from, and that its root is made
// of: those of the largest whole subtrees, from left to right.
func Edge(size int64) []int64 {
	var indexes []int64
	at := int64(0)
	for level := bits.Len64(uint64(size)) - 1; level >= 0; level-- {
		if size>>level&1 == 1 {
			indexes = append(indexes, tlog.StoredHashIndex(level, at>>level))
			at += 1 << level
		}
	}
	return indexes
}
