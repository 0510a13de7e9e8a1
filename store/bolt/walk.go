package bolt

import (
	"encoding/binary"
	"fmt"
	"io"
)

// A walk follows every page in use that can be read, from the head on, and collects
// what is wrong on the way.
type walk struct {
	pager  *pager
	used   []bool
	faults []error
}

// mostFaults is how many faults to collect: more would not tell anybody more.
const mostFaults = 100

func newWalk(file io.ReaderAt, h head) *walk {
	w := &walk{used: make([]bool, h.pages)}
	w.pager = &pager{file: file, head: h, claim: w.claim}
	return w
}

// checkPages checks that the file is as bbolt would have written it: each page in
// use is well formed and used once, and every other page is on the list of free
// pages. If so, an append overwrites nothing in use.
func checkPages(file io.ReaderAt, h head) error {
	w := newWalk(file, h)
	w.everything(w.pager.top(), 0)
	w.free()
	if len(w.faults) > 0 {
		return w.faults[0]
	}
	return nil
}

func (w *walk) fault(err error) {
	if err != nil && len(w.faults) < mostFaults {
		w.faults = append(w.faults, err)
	}
}

// claim notes that pages are in use.
func (w *walk) claim(id, n uint64) error {
	for at := id; at < id+n; at++ {
		if w.used[at] {
			return damaged(fmt.Sprintf("page %d is used twice", at))
		}
		w.used[at] = true
	}
	return nil
}

// everything walks a bucket and the buckets in it.
func (w *walk) everything(b *bucket, depth int) {
	if depth > deepest {
		w.fault(tooDeep(b.root))
		return
	}
	w.bucket(b, func(it item, inner *bucket) {
		if inner != nil {
			w.everything(inner, depth+1)
		}
	})
}

// bucket walks one bucket: it calls each with every item, and with the bucket that
// the item holds, if it holds one.
func (w *walk) bucket(b *bucket, each func(it item, inner *bucket)) {
	if b.inline != nil {
		w.leaf(b, b.inline, each)
		return
	}
	w.page(b, b.root, nil, nil, 0, each)
}

func (w *walk) page(b *bucket, id uint64, low, high []byte, depth int, each func(item, *bucket)) {
	if depth > deepest {
		w.fault(tooDeep(id))
		return
	}
	pg, err := w.pager.page(id)
	if err == nil {
		err = pg.within(low, high)
	}
	if err != nil {
		w.fault(err)
		return
	}
	if pg.leaf {
		w.leaf(b, pg, each)
		return
	}
	for i := range pg.count {
		below := high
		if i+1 < pg.count {
			below = pg.key(i + 1)
		}
		w.page(b, pg.child(i), pg.key(i), below, depth+1, each)
	}
}

func (w *walk) leaf(b *bucket, pg *page, each func(item, *bucket)) {
	for i := range pg.count {
		it := pg.item(i)
		if !it.isBucket {
			each(it, nil)
			continue
		}
		inner, err := b.open(it)
		if err != nil {
			w.fault(err)
			continue
		}
		each(it, inner)
	}
}

// free checks that each page is either in use or on the list of free pages. It does
// not blame the list for pages that may be below unreadable ones.
func (w *walk) free() {
	h := w.pager.head
	if h.freelist == noFreelist {
		return
	}
	whole := len(w.faults) == 0
	body, err := w.pager.raw(h.freelist)
	if err != nil {
		w.fault(err)
		return
	}
	free, err := freePages(body)
	if err != nil {
		w.fault(err)
		return
	}
	for _, id := range free {
		err := w.pager.bounds(id, 1)
		if err == nil {
			err = w.claim(id, 1)
		}
		w.fault(err)
	}
	for id := 2; whole && id < len(w.used); id++ {
		if !w.used[id] {
			w.fault(damaged(fmt.Sprintf("page %d is neither in use nor on the free list", id)))
		}
	}
}

// freePages returns the list of free pages that a page holds.
func freePages(body []byte) ([]uint64, error) {
	if binary.NativeEndian.Uint16(body[8:]) != flagFreelist {
		return nil, damaged("its list of free pages is not as it was written")
	}
	list, count := body[pageHeader:], uint64(binary.NativeEndian.Uint16(body[10:]))
	if count == countAbove {
		count, list = binary.NativeEndian.Uint64(list), list[8:]
	}
	if count > uint64(len(list)/8) {
		return nil, damaged("its list of free pages does not fit its page")
	}
	free := make([]uint64, count)
	for i := range free {
		free[i] = binary.NativeEndian.Uint64(list[8*i:])
	}
	return free, nil
}
