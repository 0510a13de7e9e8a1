package seal

import (
	"crypto/sha256"
	"hash"
	"runtime"
	"sync"
	"sync/atomic"

	"golang.org/x/mod/sumdb/tlog"
)

// Records are hashed in chunks of a power of two, so that each is a whole
// subtree.
const (
	chunkLevel = 10
	chunk      = 1 << chunkLevel
)

// emptyRoot is the root of a tree without leaves.
var emptyRoot = tlog.Hash(sha256.Sum256(nil))

// A hasher hashes records without allocating for each one, as [tlog.RecordHash]
// does.
type hasher struct {
	small [4096]byte
	large hash.Hash
}

func (h *hasher) leaf(record []byte) tlog.Hash {
	if len(record) < len(h.small) {
		n := copy(h.small[1:], record) // small[0] is the leaf's prefix, 0
		return sha256.Sum256(h.small[:1+n])
	}
	return h.long(record)
}

// long is separate from leaf because its result escapes to the heap.
func (h *hasher) long(record []byte) (leaf tlog.Hash) {
	if h.large == nil {
		h.large = sha256.New()
	}
	h.large.Reset()
	h.large.Write([]byte{0})
	h.large.Write(record)
	h.large.Sum(leaf[:0])
	return leaf
}

func chunks(n int) int { return (n + chunk - 1) / chunk }

// eachChunk calls work for the chunks of n records, on all processors, starting
// them in order, until one returns that it is enough. Every chunk before that one
// has then been done too. Each worker is made by a call of start.
func eachChunk(n int, start func() (work func(c, from, to int) bool)) {
	var next atomic.Int64
	var enough atomic.Bool
	run := func() {
		work := start()
		for !enough.Load() {
			c := int(next.Add(1)) - 1
			if c >= chunks(n) {
				return
			}
			if !work(c, c*chunk, min((c+1)*chunk, n)) {
				enough.Store(true)
			}
		}
	}
	var others sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), chunks(n)) - 1 {
		others.Go(run)
	}
	run()
	others.Wait()
}
