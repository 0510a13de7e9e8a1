package bolt

import (
	"context"
	"fmt"
	"os"
	"time"
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

// CheckPages checks every page of a file that nobody is writing to.
func CheckPages(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	head, err := readHead(file)
	if err != nil {
		return err
	}
	return checkPages(file, head)
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
	err = checkPages(counted, head)
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
	file, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer file.Close()
	head, err := readHead(file)
	if err != nil {
		return nil, 0, err
	}
	v, err := newView(file, head)
	if err != nil {
		return nil, 0, err
	}
	journals, err := v.top(bucketJournals)
	if err != nil {
		return nil, 0, err
	}
	add := func(b *bucket) error {
		if b.inline != nil {
			return fmt.Errorf("a bucket has no page of its own, and so has a header that nobody reads")
		}
		return eachPage(b, b.root, func(pg *page) {
			pages++
			_, _, end := pg.bounds(pg.count - 1)
			for i := range end {
				at = append(at, int64(pg.id*head.pageSize+i))
			}
		})
	}
	if err := add(journals); err != nil {
		return nil, 0, err
	}
	err = journals.from(nil, func(it item) error {
		j, err := journals.open(it)
		if err != nil {
			return err
		}
		return add(j)
	})
	return at, pages, err
}

func eachPage(b *bucket, id uint64, fn func(*page)) error {
	pg, err := b.pager.page(id)
	if err != nil {
		return err
	}
	fn(pg)
	for i := 0; !pg.leaf && i < pg.count; i++ {
		if err := eachPage(b, pg.child(i), fn); err != nil {
			return err
		}
	}
	return nil
}
