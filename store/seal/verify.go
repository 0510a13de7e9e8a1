package seal

import (
	"fmt"
	"sync"

	"golang.org/x/mod/sumdb/tlog"
)

// Verify compares the stored hashes of a journal with those that it computes from
// the records. records must be the whole journal.
//
// If the stored hash of a record is wrong, it returns the first such position and
// [ErrRecord]. If all of those are right but the hashes above them are not, it
// returns -1 and [ErrInner]. If all is well it returns -1 and nil. It returns an
// error of the reader unchanged, with -1.
//
// The records are hashed on all processors; the reader is used by one goroutine
// at a time.
func Verify(records [][]byte, stored tlog.HashReader) (first int64, err error) {
	v := verifier{
		records: records,
		stored:  stored,
		first:   -1,
		inner:   -1,
		roots:   make([]tlog.Hash, len(records)/chunk),
		upper:   make([][]tlog.Hash, len(records)/chunk),
	}
	eachChunk(len(records), v.worker)
	if v.err != nil {
		return -1, v.err
	}
	if v.first >= 0 {
		return v.first, wrong(ErrRecord, "the hash of record %d (counted from 0) is not the stored one", v.first)
	}
	v.checkUpper()
	if v.inner >= 0 {
		level, n := tlog.SplitStoredHashIndex(v.inner)
		return -1, wrong(ErrInner, "the records are good, but hash %d of level %d does not follow from them", n, level)
	}
	return -1, nil
}

type verifier struct {
	records [][]byte
	stored  tlog.HashReader

	mu    sync.Mutex // guards the reader, and what follows
	first int64      // the first record found bad
	inner int64      // the first index of an inner hash found bad
	err   error

	roots []tlog.Hash   // of each whole chunk
	upper [][]tlog.Hash // what is stored above each whole chunk's root
}

func (v *verifier) worker() func(c, from, to int) bool {
	var h hasher
	var indexes []int64
	var path [chunkLevel + 1]tlog.Hash
	return func(c, from, to int) bool {
		begin, end := tlog.StoredHashIndex(0, int64(from)), tlog.StoredHashIndex(0, int64(to))
		indexes = indexes[:0]
		for i := begin; i < end; i++ {
			indexes = append(indexes, i)
		}
		hashes, err := v.read(indexes)
		if err != nil {
			return false
		}
		at := 0
		for n := from; n < to; n++ {
			hash := h.leaf(v.records[n])
			if hashes[at] != hash {
				v.badRecord(int64(n))
				return false
			}
			at++
			level := 0
			for ; level < chunkLevel && n>>level&1 == 1; level++ {
				hash = tlog.NodeHash(path[level], hash)
				if hashes[at] != hash {
					v.badInner(begin + int64(at))
				}
				at++
			}
			path[level] = hash
		}
		if to-from == chunk {
			v.roots[c] = path[chunkLevel]
			v.upper[c] = append([]tlog.Hash(nil), hashes[at:]...)
		}
		return true
	}
}

func (v *verifier) read(indexes []int64) ([]tlog.Hash, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	hashes, err := v.stored.ReadHashes(indexes)
	if err == nil && len(hashes) != len(indexes) {
		err = fmt.Errorf("asked for %d stored hashes, got %d", len(indexes), len(hashes))
	}
	if err != nil && v.err == nil {
		v.err = err
	}
	return hashes, err
}

func (v *verifier) badRecord(n int64) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.first < 0 || n < v.first {
		v.first = n
	}
}

func (v *verifier) badInner(index int64) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.inner < 0 || index < v.inner {
		v.inner = index
	}
}

// checkUpper compares the hashes above the chunks, once all chunks are done.
func (v *verifier) checkUpper() {
	var path [64]tlog.Hash
	for c, hash := range v.roots {
		level := 0
		for ; c>>level&1 == 1; level++ {
			hash = tlog.NodeHash(path[level], hash)
			if v.upper[c][level] != hash {
				v.badInner(tlog.StoredHashIndex(chunkLevel+level+1, int64(c>>(level+1))))
			}
		}
		path[level] = hash
	}
}
