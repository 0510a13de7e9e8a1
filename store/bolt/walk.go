package bolt

import (
	"encoding/binary"
	"fmt"
	"io"
)

// A walk follows every page in use, from the head on.
type walk struct {
	pager *pager
	used  []bool
}

// checkPages checks that the file has the form in which bbolt writes it: each
// page is of good form and used once, and every other page is on the list of
// free ones. After that an append overwrites nothing in use.
func checkPages(file io.ReaderAt, h head) error {
	w := &walk{used: make([]bool, h.pages)}
	w.pager = &pager{file: file, head: h, claim: w.claim}
	if err := w.tree(w.pager.top(), 0); err != nil {
		return err
	}
	if h.freelist == noFreelist {
		return nil
	}
	body, err := w.pager.raw(h.freelist)
	if err != nil {
		return err
	}
	free, err := freePages(body)
	if err != nil {
		return err
	}
	for _, id := range free {
		if err := w.pager.bounds(id, 1); err != nil {
			return err
		}
		if err := w.claim(id, 1); err != nil {
			return err
		}
	}
	for id := 2; id < len(w.used); id++ {
		if !w.used[id] {
			return damaged(fmt.Sprintf("page %d is lost", id))
		}
	}
	return nil
}

// claim notes that pages are used.
func (w *walk) claim(id, n uint64) error {
	for at := id; at < id+n; at++ {
		if w.used[at] {
			return damaged(fmt.Sprintf("page %d is used twice", at))
		}
		w.used[at] = true
	}
	return nil
}

// tree checks a bucket with those in it.
func (w *walk) tree(b *bucket, depth int) error {
	if depth > deepest {
		return tooDeep(b.root)
	}
	return b.pages(b.root, nil, nil, 0, nil, func(pg *page) error {
		for i := range pg.count {
			if !pg.leaf || !pg.isBucket(i) {
				continue
			}
			inner, err := b.open(*pg.item(i))
			if err != nil {
				return err
			}
			if inner.inline != nil {
				continue
			}
			if err := w.tree(inner, depth+1); err != nil {
				return err
			}
		}
		return nil
	})
}

// freePages gives the list of free pages that a page holds.
func freePages(body []byte) ([]uint64, error) {
	if binary.NativeEndian.Uint16(body[8:]) != flagFreelist {
		return nil, damaged("its list of free pages is not as it was written")
	}
	list, count := body[pageHeader:], uint64(binary.NativeEndian.Uint16(body[10:]))
	if count == countAbove {
		count, list = binary.NativeEndian.Uint64(list), list[8:]
	}
	if count > uint64(len(list)/8) {
		return nil, damaged("its list of free pages is longer than its room")
	}
	free := make([]uint64, count)
	for i := range free {
		free[i] = binary.NativeEndian.Uint64(list[8*i:])
	}
	return free, nil
}
