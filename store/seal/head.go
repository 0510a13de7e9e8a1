package seal

import "golang.org/x/mod/sumdb/tlog"

// MaxSize is the most records that a head may count.
const MaxSize = 1 << 48

// A Head sums up a journal: the number of its records, and the RFC 6962 root hash
// over them.
type Head struct {
	Size int64
	Root tlog.Hash
}

// HeadOf computes the head of these records from their bytes.
func HeadOf(records [][]byte) Head {
	roots := make([]tlog.Hash, chunks(len(records)))
	eachChunk(len(records), func() func(int, int, int) bool {
		var h hasher
		leaves := make([]tlog.Hash, 0, min(chunk, len(records)))
		return func(c, from, to int) bool {
			leaves = leaves[:0]
			for _, record := range records[from:to] {
				leaves = append(leaves, h.leaf(record))
			}
			roots[c] = fold(leaves)
			return true
		}
	})
	return Head{Size: int64(len(records)), Root: fold(roots)}
}

// A Growing head takes in records one at a time and keeps none of them. The zero value
// has none yet.
type Growing struct {
	size   int64
	roots  [64]tlog.Hash // of the whole subtrees so far, by level
	hasher hasher
}

// Add takes in the next record.
func (g *Growing) Add(record []byte) {
	hash, level := g.hasher.leaf(record), 0
	for ; g.size>>level&1 == 1; level++ {
		hash = tlog.NodeHash(g.roots[level], hash)
	}
	g.roots[level] = hash
	g.size++
}

// Head returns the head of the records so far.
func (g *Growing) Head() Head {
	root, any := emptyRoot, false
	for level := range g.roots {
		switch {
		case g.size>>level&1 == 0:
		case any:
			root = tlog.NodeHash(g.roots[level], root)
		default:
			root, any = g.roots[level], true
		}
	}
	return Head{Size: g.size, Root: root}
}

// HeadAt returns the head of the first size records, from hashes that were stored in
// the order of package tlog. It trusts the hashes: [Verify] checks them.
func HeadAt(size int64, hashes tlog.HashReader) (Head, error) {
	if size < 0 || size > MaxSize {
		return Head{}, wrong(ErrCheckpoint, "a journal cannot have %d records", size)
	}
	root, err := tlog.TreeHash(size, hashes)
	if err != nil {
		return Head{}, err
	}
	return Head{Size: size, Root: root}, nil
}

// fold returns the root over these hashes, and overwrites them. An odd one moves up
// a level unchanged, which makes it RFC 6962's tree.
func fold(level []tlog.Hash) tlog.Hash {
	if len(level) == 0 {
		return emptyRoot
	}
	for len(level) > 1 {
		up := level[:0]
		for i := 0; i+1 < len(level); i += 2 {
			up = append(up, tlog.NodeHash(level[i], level[i+1]))
		}
		if len(level)%2 == 1 {
			up = append(up, level[len(level)-1])
		}
		level = up
	}
	return level[0]
}
