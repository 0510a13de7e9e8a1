package bolt

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"sort"
)

// What is known here of bbolt's pages: each has a header of id (8 bytes), flags (2),
// count (2) and the number of overflow pages (4), and elements of 16 bytes, all in
// the machine's own byte order. An element of a branch has the place of its key (from
// the element on), the key's size, and the page that it leads to (8); one of a leaf
// has flags, the place of its key, and the sizes of key and value. The value of a
// bucket begins with its root page (8) and sequence (8); if the root is 0, its only
// page follows.
const (
	pageHeader   = 16
	elementSize  = 16
	bucketHeader = 16

	flagBranch   = 0x01
	flagLeaf     = 0x02
	flagFreelist = 0x10
	flagBucket   = 0x01 // of a leaf's element

	noFreelist = math.MaxUint64
	countAbove = 0xFFFF // the true count is then the first entry of the list

	deepest = 64       // far beyond any tree that fits on a disk
	longest = 32 << 20 // bytes of a page of a tree: it has four elements if they are large, each a record or a document
)

// A walk looks at pages before bbolt follows them. bbolt trusts them: it would go
// round in a circle of pages until memory ends, free pages that belong to others, and
// write over those. Each page must be one that a tree has, hold what it says within
// itself and in order, and be no longer than that needs; none may be free.
type walk struct {
	file  io.ReaderAt
	head  head
	used  []bool          // by page: those that are free, or claimed; may be nil
	owned bool            // each page is claimed, and so may be come to only once
	body  []byte          // of the page that was read last
	known map[uint64]page // branches
}

func newWalk(file io.ReaderAt, h head) *walk {
	return &walk{file: file, head: h, known: map[uint64]page{}}
}

// everything looks at all pages: each must be in use or on the list of free pages.
func (w *walk) everything() error {
	w.owned = true
	if _, err := w.free(); err != nil {
		return err
	}
	if err := w.buckets(w.head.root, 0); err != nil {
		return err
	}
	for id := 2; id < len(w.used); id++ {
		if !w.used[id] && w.head.freelist != noFreelist {
			return faulty(uint64(id), "is neither in use nor on the free list")
		}
	}
	return nil
}

// buckets looks at a bucket's tree and at those of the buckets in it.
func (w *walk) buckets(root uint64, depth int) error {
	if depth > deepest {
		return faulty(root, "is nested too deep")
	}
	inner, err := w.tree(root, from(nil), nil)
	for _, root := range inner.roots {
		err = cmp.Or(err, w.buckets(root, depth+1))
	}
	return err
}

// A way says which elements of a branch bbolt will follow: those from the first
// number on, before the second.
type way func(page) (int, int)

// to leads to one key.
func to(key []byte) way {
	return func(p page) (int, int) { i := p.floor(key); return i, i + 1 }
}

// from leads to a key and all that follow.
func from(key []byte) way {
	return func(p page) (int, int) { return p.floor(key), p.count() }
}

// none leads nowhere: only the first page is looked at.
func none(page) (int, int) { return 0, 0 }

// last leads to the last key.
func last(p page) (int, int) { return p.count() - 1, p.count() }

// A within is what is known of the buckets in pages that were looked at.
type within struct {
	roots     []uint64 // of those with pages of their own
	sequences uint64   // the sum of all
}

// tree looks at the pages of one bucket that are on the way, and returns what is known
// of the buckets in them. With seen it goes on past a fault, and seen is given each leaf
// that is in order.
//
//go:noinline
func (w *walk) tree(root uint64, on way, seen func(page)) (inner within, err error) {
	return w.branch(root, on, seen, nil, nil, 0)
}

// branch looks at one page, whose keys must be at least low and, if high is not nil,
// less than high, and at those below it. Since the keys below one element are in the
// same bounds, no page can be come to by two.
func (w *walk) branch(id uint64, on way, seen func(page), low, high []byte, depth int) (inner within, err error) {
	if depth > deepest {
		return inner, faulty(id, "is nested too deep")
	}
	p, ok := w.known[id]
	if !ok {
		body, err := w.page(id)
		if err != nil {
			return inner, err
		}
		p = page{id, body}
		if p.flags() == flagLeaf {
			if p.count() == 0 && depth > 0 {
				return inner, faulty(id, "is empty")
			}
			if inner, err = p.leaf(false, low, high); err == nil && seen != nil {
				seen(p)
			}
			return inner, err
		}
		if p.flags() != flagBranch || p.count() == 0 {
			return inner, misplaced(id)
		}
		p.body = bytes.Clone(body) // the next page is read over it
		w.known[id] = p
	}
	if err := p.inOrder(low, high); err != nil {
		return inner, err
	}
	begin, end := on(p)
	for i := begin; i < end; i++ {
		below := high
		if i+1 < p.count() {
			below = p.key(i + 1)
		}
		more, wrong := w.branch(binary.NativeEndian.Uint64(p.element(i)[8:]), on, seen, p.key(i), below, depth+1)
		inner.roots = append(inner.roots, more.roots...)
		inner.sequences += more.sequences
		if err = cmp.Or(err, wrong); err != nil && seen == nil {
			break
		}
	}
	return inner, err
}

// page reads a page with its overflow pages, and claims them. The next call reads
// over it.
func (w *walk) page(id uint64) ([]byte, error) {
	if id < 2 || id >= w.head.pages {
		return nil, faulty(id, "is out of bounds")
	}
	if err := w.read(id, 1); err != nil {
		return nil, err
	}
	if got := binary.NativeEndian.Uint64(w.body); got != id {
		return nil, misplaced(id)
	}
	span := 1 + uint64(binary.NativeEndian.Uint32(w.body[12:]))
	if span > w.head.pages-id {
		return nil, faulty(id, "is out of bounds")
	}
	if span > 1 && !w.plausible(page{id, w.body}, span) {
		return nil, misplaced(id)
	}
	// Before the rest is read: a damaged file may lead to one long page many times.
	if err := w.claim(id, span, w.owned); err != nil || span == 1 {
		return w.body, err
	}
	err := w.read(id, span)
	return w.body, err
}

// plausible reports whether a page is as long as its header says, which is read into
// memory next, and freed by bbolt: by the part that was read, no longer than its elements need.
func (w *walk) plausible(p page, span uint64) bool {
	if p.flags() == flagFreelist {
		return span <= 2+8*w.head.pages/w.head.pageSize
	}
	last := uint64(pageHeader + elementSize*p.count())
	if last > uint64(len(p.body)) { // bbolt has some few elements in a page that is so long
		return false
	}
	for i := range p.count() {
		_, _, end := p.bounds(i)
		last = max(last, end)
	}
	return last <= longest && (span-1)*w.head.pageSize < last && last <= span*w.head.pageSize
}

func (w *walk) read(id, span uint64) error {
	n := int(span * w.head.pageSize)
	if cap(w.body) < n {
		w.body = make([]byte, n)
	}
	w.body = w.body[:n]
	_, err := w.file.ReadAt(w.body, int64(id*w.head.pageSize))
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return damaged("its end is missing")
	}
	return err
}

// claim makes sure that pages are not in use by another or free.
func (w *walk) claim(id, span uint64, mark bool) error {
	for at := id; w.used != nil && at < id+span; at++ {
		if w.used[at] {
			return faulty(at, "is used twice, or in use and on the free list")
		}
		w.used[at] = mark
	}
	return nil
}

// free claims the free pages, and returns the page of their list as it is in the file.
func (w *walk) free() (body []byte, err error) {
	w.used = make([]bool, w.head.pages)
	if w.head.freelist == noFreelist {
		return nil, nil
	}
	if body, err = w.page(w.head.freelist); err != nil {
		return nil, err
	}
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
	for i := range count {
		id := binary.NativeEndian.Uint64(list[8*i:])
		if id < 2 || id >= w.head.pages {
			return nil, faulty(id, "is out of bounds")
		}
		if err := w.claim(id, 1, true); err != nil {
			return nil, err
		}
	}
	return body, nil
}

//go:noinline
func misplaced(id uint64) error { return faulty(id, "is not as it was written") }

func faulty(id uint64, how string) error { return damaged(fmt.Sprintf("page %d %s", id, how)) }

// A page is a branch or a leaf.
type page struct {
	id   uint64
	body []byte
}

func (p page) flags() uint16 { return binary.NativeEndian.Uint16(p.body[8:]) }
func (p page) count() int    { return int(binary.NativeEndian.Uint16(p.body[10:])) }

func (p page) element(i int) []byte {
	return p.body[pageHeader+elementSize*i:][:elementSize]
}

// bounds returns where an element's key begins and ends, and where its value ends.
func (p page) bounds(i int) (at, mid, end uint64) {
	fields := p.element(i)
	if p.flags() == flagLeaf {
		fields = fields[4:]
	}
	at = uint64(pageHeader+elementSize*i) + uint64(binary.NativeEndian.Uint32(fields))
	mid = at + uint64(binary.NativeEndian.Uint32(fields[4:]))
	end = mid
	if p.flags() == flagLeaf {
		end += uint64(binary.NativeEndian.Uint32(fields[8:]))
	}
	return at, mid, end
}

//go:noinline
func (p page) key(i int) []byte {
	at, mid, _ := p.bounds(i)
	return p.body[at:mid]
}

// floor is the last element whose key is at most this one, or else the first.
func (p page) floor(key []byte) int {
	after := sort.Search(p.count(), func(i int) bool { return bytes.Compare(p.key(i), key) > 0 })
	return max(after-1, 0)
}

// inOrder checks that the elements are within the page and in order, and their keys and
// values one after the other from the end of the table on, as bbolt writes them: no key is
// read from another place than it was written to.
func (p page) inOrder(low, high []byte) error {
	table := uint64(pageHeader + elementSize*p.count())
	if table > uint64(len(p.body)) {
		return misplaced(p.id)
	}
	next := table
	for i := range p.count() {
		at, mid, end := p.bounds(i)
		if at != next || mid == at || end > uint64(len(p.body)) {
			return misplaced(p.id)
		}
		next = end
		key := p.body[at:mid]
		if order := bytes.Compare(key, low); order < 0 || i > 0 && order == 0 || high != nil && bytes.Compare(key, high) >= 0 {
			return faulty(p.id, "holds keys that are out of order")
		}
		low = key
	}
	return nil
}

// leaf checks a leaf, and returns what is known of the buckets in it. The page of a
// bucket that has it within is checked too.
func (p page) leaf(nested bool, low, high []byte) (inner within, err error) {
	if err := p.inOrder(low, high); err != nil {
		return inner, err
	}
	for i := range p.count() {
		flags := binary.NativeEndian.Uint32(p.element(i))
		_, mid, end := p.bounds(i)
		switch {
		case flags == 0:
			continue
		case flags != flagBucket || nested || end-mid < bucketHeader:
			return inner, misplaced(p.id)
		}
		value := p.body[mid:end]
		inner.sequences += binary.NativeEndian.Uint64(value[8:])
		if root := binary.NativeEndian.Uint64(value); root != 0 {
			inner.roots = append(inner.roots, root)
			continue
		}
		only := page{p.id, value[bucketHeader:]}
		if len(only.body) < pageHeader || only.flags() != flagLeaf {
			return inner, misplaced(p.id)
		}
		if _, err := only.leaf(true, nil, nil); err != nil {
			return inner, err
		}
	}
	return inner, nil
}
