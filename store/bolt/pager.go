package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

const (
	flagBranch   = 0x01
	flagLeaf     = 0x02
	flagFreelist = 0x10

	elementSize  = 16
	bucketHeader = 16 // root page and sequence
	bucketFlag   = 0x01

	noFreelist = math.MaxUint64
	countAbove = 0xFFFF // the true count is then the first entry of the list

	deepest  = 64   // far beyond any tree that fits on a disk
	mostKept = 4096 // pages
)

// A pager reads the pages of one committed state without bbolt, and checks the
// form of each before anything follows it: that it is the kind of page expected
// there, is as long as its content needs, and holds its elements packed and in
// order.
type pager struct {
	file io.ReaderAt
	head head

	kept  map[uint64]*page // nil if each page is read only once
	keeps uint64           // how many pages they take up

	claim func(id, n uint64) error // called for each page that is read; may be nil

	// Consecutive pages are read ahead, as many as were read in a row so far.
	ahead   []byte
	aheadAt uint64 // the page that it begins with
	next    uint64 // the page after the last
	streak  uint64
}

const mostAhead = 16 // pages

// A page is a branch or a leaf whose form has been checked.
type page struct {
	id    uint64
	span  uint64 // how many pages it takes up
	leaf  bool
	count int
	body  []byte
}

// raw reads a page with its overflow pages, whatever it holds.
func (p *pager) raw(id uint64) ([]byte, error) {
	if err := p.bounds(id, 1); err != nil {
		return nil, err
	}
	body, err := p.first(id)
	if err != nil {
		return nil, err
	}
	if got := binary.NativeEndian.Uint64(body); got != id {
		return nil, misplaced(id)
	}
	more := uint64(binary.NativeEndian.Uint32(body[12:]))
	if err := p.bounds(id, 1+more); err != nil {
		return nil, err
	}
	// Before the rest is read: a damaged file may point to one long page many times.
	if p.claim != nil {
		if err := p.claim(id, 1+more); err != nil {
			return nil, err
		}
	}
	if more > 0 {
		body = make([]byte, (more+1)*p.head.pageSize)
		if err := p.read(body, id); err != nil {
			return nil, err
		}
	}
	p.next = id + 1 + more
	return body, nil
}

// first returns one page's bytes.
func (p *pager) first(id uint64) ([]byte, error) {
	size := p.head.pageSize
	if at := (id - p.aheadAt) * size; id >= p.aheadAt && at < uint64(len(p.ahead)) {
		return p.ahead[at : at+size : at+size], nil
	}
	if p.streak++; id != p.next {
		p.streak = 1
	}
	n := min(p.streak, mostAhead, p.head.pages-id)
	buf := make([]byte, n*size)
	if err := p.read(buf, id); err != nil {
		return nil, err
	}
	p.ahead, p.aheadAt = buf, id
	return buf[:size:size], nil
}

func (p *pager) bounds(id, n uint64) error {
	if id < 2 || id >= p.head.pages || n > p.head.pages-id {
		return damaged(fmt.Sprintf("page %d is out of bounds", id))
	}
	return nil
}

func (p *pager) read(body []byte, id uint64) error {
	_, err := p.file.ReadAt(body, int64(id*p.head.pageSize))
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return damaged("its end is missing")
	}
	return err
}

// page returns a branch or a leaf after checking its form.
func (p *pager) page(id uint64) (*page, error) {
	if found := p.kept[id]; found != nil {
		return found, nil
	}
	body, err := p.raw(id)
	if err != nil {
		return nil, err
	}
	pg, end, err := parse(id, body, false)
	if err != nil {
		return nil, err
	}
	// bbolt frees as many pages as the header says: one too many would belong to
	// another page.
	pg.span = uint64(len(body)) / p.head.pageSize
	if end > uint64(len(body)) || (pg.span-1)*p.head.pageSize >= end {
		return nil, misplaced(id)
	}
	if p.kept != nil {
		if p.keeps += pg.span; p.keeps > mostKept {
			clear(p.kept)
			p.keeps = pg.span
		}
		p.kept[id] = pg
	}
	return pg, nil
}

// inline returns the only page of a small bucket, which is stored in its parent's.
func inline(id uint64, body []byte) (*page, error) {
	if len(body) < pageHeader {
		return nil, misplaced(id)
	}
	pg, _, err := parse(id, body, true)
	if err == nil && !pg.leaf {
		err = misplaced(id)
	}
	return pg, err
}

// parse checks the elements of a page: they must be in order, and their bytes must
// follow the last of them without a gap. It returns where those bytes end.
func parse(id uint64, body []byte, inline bool) (pg *page, end uint64, err error) {
	flags := binary.NativeEndian.Uint16(body[8:])
	pg = &page{id: id, leaf: flags == flagLeaf, count: int(binary.NativeEndian.Uint16(body[10:])), body: body}
	if flags != flagLeaf && (flags != flagBranch || pg.count == 0) {
		return nil, 0, misplaced(id)
	}
	end = uint64(pageHeader + elementSize*pg.count)
	if end > uint64(len(body)) {
		return nil, 0, damaged(fmt.Sprintf("page %d holds more than it has room for", id))
	}
	var before []byte
	for i := range pg.count {
		at, mid, stop := pg.bounds(i)
		if at != end || mid == at || stop > uint64(len(body)) {
			return nil, 0, damaged(fmt.Sprintf("page %d holds an element that is out of place", id))
		}
		end = stop
		key := body[at:mid]
		if i > 0 && bytes.Compare(key, before) <= 0 {
			return nil, 0, outOfOrder(id)
		}
		before = key
		if !pg.leaf {
			continue
		}
		switch kind := binary.NativeEndian.Uint32(pg.element(i)); {
		case kind == 0:
		case kind != bucketFlag || inline || stop-mid < bucketHeader:
			return nil, 0, damaged(fmt.Sprintf("page %d holds an element of an unknown kind", id))
		}
	}
	return pg, end, nil
}

func misplaced(id uint64) error {
	return damaged(fmt.Sprintf("page %d is not as it was written", id))
}

func outOfOrder(id uint64) error {
	return damaged(fmt.Sprintf("page %d holds keys that are out of order", id))
}

func (pg *page) element(i int) []byte {
	at := pageHeader + elementSize*i
	return pg.body[at : at+elementSize]
}

// bounds returns where an element's key begins and ends, and where its value ends.
func (pg *page) bounds(i int) (at, mid, stop uint64) {
	fields := pg.element(i) // pos, ksize and, in a leaf, vsize
	if pg.leaf {
		fields = fields[4:]
	}
	at = uint64(pageHeader+elementSize*i) + uint64(binary.NativeEndian.Uint32(fields))
	mid = at + uint64(binary.NativeEndian.Uint32(fields[4:]))
	stop = mid
	if pg.leaf {
		stop += uint64(binary.NativeEndian.Uint32(fields[8:]))
	}
	return at, mid, stop
}

func (pg *page) key(i int) []byte {
	at, mid, _ := pg.bounds(i)
	return pg.body[at:mid]
}

func (pg *page) value(i int) []byte {
	_, mid, stop := pg.bounds(i)
	return pg.body[mid:stop]
}

// child is the page that an element of a branch points to.
func (pg *page) child(i int) uint64 { return binary.NativeEndian.Uint64(pg.element(i)[8:]) }

// isBucket reports whether an element of a leaf is a bucket.
func (pg *page) isBucket(i int) bool { return binary.NativeEndian.Uint32(pg.element(i)) == bucketFlag }

// within refuses keys below low, or not below high if there is one.
func (pg *page) within(low, high []byte) error {
	if pg.count == 0 {
		return nil
	}
	if bytes.Compare(pg.key(0), low) < 0 || high != nil && bytes.Compare(pg.key(pg.count-1), high) >= 0 {
		return outOfOrder(pg.id)
	}
	return nil
}

// floor returns the last element whose key is at most the key, or -1.
func (pg *page) floor(key []byte) int {
	low, high := 0, pg.count
	for low < high {
		mid := (low + high) / 2
		if bytes.Compare(pg.key(mid), key) <= 0 {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low - 1
}
