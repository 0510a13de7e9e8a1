package bolt

import (
	"context"
	"errors"
	"os"
	"time"

	"go.etcd.io/bbolt"
)

// AppendTimed is Append, and returns how long it held the lock: from the first read of
// the journal, when the file's head and schema had been read under the lock, until
// the lock was released.
func (s *Store) AppendTimed(ctx context.Context, mark string, size int64, records [][]byte) (time.Duration, error) {
	var begun time.Time
	err := s.write(ctx, func(v *view) (change, error) {
		begun = time.Now()
		return planAppend(v, mark, size, records)
	})
	return time.Since(begun), err
}

// Hurry makes a store wait no longer than this for the lock.
func (s *Store) Hurry(patience time.Duration) *Store {
	s.patience = patience
	return s
}

// Stamped reports whether the next write need not look at every page.
func Stamped(path string) bool {
	file, err := os.Open(path)
	if err != nil {
		return false
	}
	defer file.Close()
	head, err := readHead(file)
	if err != nil {
		return false
	}
	w, err := checkFree(file, head)
	return w != nil && err == nil
}

// Stamp stamps a file as the next write does before it writes anything else.
func Stamp(path string) error {
	h, err := openFile(path, true)
	if err != nil {
		return err
	}
	defer h.close()
	v, err := h.view()
	if err == nil {
		_, err = v.listed()
	}
	if err == nil {
		keepStamp(h.file, h.head.pageSize, h.head.txid, v.records)
	}
	return err
}

// CommitBroken writes to a file, and fails once the new head is there.
func CommitBroken(ctx context.Context, path string) error {
	h, err := openFile(path, true)
	if err != nil {
		return err
	}
	defer h.close()
	return h.update(ctx, func(tx *bbolt.Tx) (int, error) {
		tx.OnCommit(func() { panic("the disk does not answer") })
		return 0, nil
	})
}

// CheckPages checks every page of a file that nobody is writing to.
func CheckPages(path string) error {
	_, err := BytesToCheck(path)
	return err
}

// BytesToCheck checks every page, and returns how many bytes that took.
func BytesToCheck(path string) (n int64, err error) {
	file, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer file.Close()
	head, err := readHead(file)
	if err != nil {
		return 0, err
	}
	counted := &countedReads{file: file}
	err = newWalk(counted, head).everything()
	return counted.n, err
}

type countedReads struct {
	file *os.File
	n    int64
}

func (c *countedReads) ReadAt(b []byte, at int64) (int, error) {
	c.n += int64(len(b))
	return c.file.ReadAt(b, at)
}

// JournalBytes returns the position of every byte that keeps a journal: the headers,
// elements, keys and values of all pages of their buckets, without the unused space.
func JournalBytes(path string) (at []int64, pages int, err error) {
	h, err := openFile(path, false)
	if err != nil {
		return nil, 0, err
	}
	defer h.close()
	v, err := h.view()
	if err != nil {
		return nil, 0, err
	}
	journals := v.tx.Bucket([]byte(bucketJournals))
	v.walk = &walk{file: h.file, head: v.walk.head, used: make([]bool, v.walk.head.pages), owned: true, known: map[uint64]page{}}
	if _, err := v.look(journals, from(nil)); err != nil {
		return nil, 0, err
	}
	err = v.eachJournal(journals, func(_ string, j *bbolt.Bucket, _ int64) error {
		if j.Root() == 0 {
			return errors.New("a bucket has no page of its own, and so has a header that nobody reads")
		}
		_, err := v.look(j, from(nil))
		return err
	})
	if err != nil {
		return nil, 0, err
	}
	size := v.walk.head.pageSize
	for id := uint64(0); id < v.walk.head.pages; id++ {
		if !v.walk.used[id] {
			continue
		}
		body, err := newWalk(h.file, v.walk.head).page(id)
		if err != nil {
			return nil, 0, err
		}
		pages++
		p := page{id, body}
		_, _, end := p.bounds(p.count() - 1)
		for i := range end {
			at = append(at, int64(id*size+i))
		}
		id += uint64(len(body))/size - 1
	}
	return at, pages, nil
}
