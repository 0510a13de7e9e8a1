package seal

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Hashes are the hashes of a journal's tree in memory, in the order of package
// tlog. They are a [tlog.HashReader] for callers that have none stored.
type Hashes []tlog.Hash

// HashesOf computes the hashes of these records.
func HashesOf(records [][]byte) Hashes {
	var h hasher
	var path [64]tlog.Hash
	all := make(Hashes, 0, tlog.StoredHashCount(int64(len(records))))
	for n, record := range records {
		hash := h.leaf(record)
		all = append(all, hash)
		level := 0
		for ; n>>level&1 == 1; level++ {
			hash = tlog.NodeHash(path[level], hash)
			all = append(all, hash)
		}
		path[level] = hash
	}
	return all
}

// ReadHashes returns the hashes at these indexes.
func (h Hashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	found := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		if index < 0 || index >= int64(len(h)) {
			return nil, fmt.Errorf("there is no stored hash %d, only %d hashes", index, len(h))
		}
		found[i] = h[index]
	}
	return found, nil
}
