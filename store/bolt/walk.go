package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
)

const (
	flagBranch   = 0x01
	flagLeaf     = 0x02
	flagFreelist = 0x10

	elementSize  = 16
	bucketHeader = 16 // root page and sequence
	bucketFlag   = 0x01

	noFreelist = math.MaxUint64
	countAbove = 0xFFFF // the true count stands in the first place of the list

	deepest = 64 // far beyond any tree that fits on a disk
)

// A walk follows every page in use, from the head on.
type walk struct {
	file io.ReaderAt
	head head
	used []bool

	// room for a page at each depth, where it stays while those below are read
	room [deepest + 1][]byte
}

// checkPages checks that the file has the form in which bbolt writes it: each
// page is what its place says, is used once, and holds elements that lie
// within it, closely packed and in order; and that every other page is on the
// list of free ones. After that bbolt finds its way, and an append overwrites
// nothing in use.
func checkPages(file *os.File) error {
	h, err := readHead(file)
	if err != nil {
		return err
	}
	w := &walk{file: file, head: h, used: make([]bool, h.pages)}
	if err := w.tree(h.root, nil, nil, 0); err != nil {
		return err
	}
	if h.freelist == noFreelist {
		return nil
	}
	if err := w.free(h.freelist); err != nil {
		return err
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
	if id < 2 || id >= w.head.pages || n > w.head.pages-id {
		return damaged(fmt.Sprintf("page %d is out of bounds", id))
	}
	for at := id; at < id+n; at++ {
		if w.used[at] {
			return damaged(fmt.Sprintf("page %d is used twice", at))
		}
		w.used[at] = true
	}
	return nil
}

// page reads a page with those that are part of it, and claims them. Its bytes
// last until another page is read at the same depth.
func (w *walk) page(id uint64, depth int) ([]byte, error) {
	if depth > deepest {
		return nil, damaged(fmt.Sprintf("page %d is too deep", id))
	}
	if err := w.claim(id, 1); err != nil {
		return nil, err
	}
	if w.room[depth] == nil {
		w.room[depth] = make([]byte, w.head.pageSize)
	}
	body := w.room[depth]
	if err := w.read(body, id); err != nil {
		return nil, err
	}
	if got := binary.NativeEndian.Uint64(body); got != id {
		return nil, damaged(fmt.Sprintf("page %d is not as it was written", id))
	}
	more := uint64(binary.NativeEndian.Uint32(body[12:]))
	if more == 0 {
		return body, nil
	}
	if err := w.claim(id+1, more); err != nil {
		return nil, err
	}
	body = make([]byte, (more+1)*w.head.pageSize)
	return body, w.read(body, id)
}

func (w *walk) read(body []byte, id uint64) error {
	_, err := w.file.ReadAt(body, int64(id*w.head.pageSize))
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return damaged("its end is missing")
	}
	return err
}

func flagsAndCount(body []byte) (flags uint16, count int) {
	return binary.NativeEndian.Uint16(body[8:]), int(binary.NativeEndian.Uint16(body[10:]))
}

// tree checks the page and those below it, whose keys are at least low, and
// less than high if there is one.
func (w *walk) tree(id uint64, low, high []byte, depth int) error {
	body, err := w.page(id, depth)
	if err != nil {
		return err
	}
	switch flags, count := flagsAndCount(body); {
	case flags == flagLeaf:
		return w.leaf(id, body, low, high, depth)
	case flags == flagBranch && count > 0:
		return w.branch(id, body, low, high, depth)
	}
	return damaged(fmt.Sprintf("page %d is not as it was written", id))
}

func (w *walk) branch(id uint64, body, low, high []byte, depth int) error {
	type child struct {
		id  uint64
		low []byte
	}
	var children []child
	err := elements(id, body, false, low, high, func(element, key, _ []byte) error {
		children = append(children, child{binary.NativeEndian.Uint64(element[8:]), key})
		return nil
	})
	if err != nil {
		return err
	}
	for i, c := range children {
		below := high
		if i+1 < len(children) {
			below = children[i+1].low
		}
		if err := w.tree(c.id, c.low, below, depth+1); err != nil {
			return err
		}
	}
	return nil
}

func (w *walk) leaf(id uint64, body, low, high []byte, depth int) error {
	return elements(id, body, true, low, high, func(element, _, value []byte) error {
		switch flags := binary.NativeEndian.Uint32(element); {
		case flags == 0:
			return nil
		case flags != bucketFlag || len(value) < bucketHeader:
			return damaged(fmt.Sprintf("page %d holds an element of no known kind", id))
		}
		if root := binary.NativeEndian.Uint64(value); root != 0 {
			return w.tree(root, nil, nil, depth+1)
		}
		return w.inline(id, value[bucketHeader:])
	})
}

// inline checks a bucket so small that it stands within its parent's page.
func (w *walk) inline(id uint64, body []byte) error {
	if len(body) >= pageHeader {
		if flags, _ := flagsAndCount(body); flags == flagLeaf {
			return elements(id, body, true, nil, nil, func(element, _, _ []byte) error {
				if binary.NativeEndian.Uint32(element) != 0 {
					return damaged(fmt.Sprintf("page %d holds a bucket in a place for none", id))
				}
				return nil
			})
		}
	}
	return damaged(fmt.Sprintf("page %d holds a bucket that is not as it was written", id))
}

// elements gives each element of a page with its key and value. They stand in
// order, and their bytes follow the last of them without a gap.
func elements(id uint64, body []byte, leaf bool, low, high []byte, each func(element, key, value []byte) error) error {
	_, count := flagsAndCount(body)
	end := uint64(pageHeader + elementSize*count)
	if end > uint64(len(body)) {
		return damaged(fmt.Sprintf("page %d holds more than it has room for", id))
	}
	before := low
	for i := range count {
		start := uint64(pageHeader + elementSize*i)
		element := body[start : start+elementSize]
		fields := element // pos, ksize and, in a leaf, vsize
		if leaf {
			fields = element[4:]
		}
		at := start + uint64(binary.NativeEndian.Uint32(fields))
		mid := at + uint64(binary.NativeEndian.Uint32(fields[4:]))
		stop := mid
		if leaf {
			stop += uint64(binary.NativeEndian.Uint32(fields[8:]))
		}
		if at != end || mid == at || stop > uint64(len(body)) {
			return damaged(fmt.Sprintf("page %d holds an element that is out of place", id))
		}
		end = stop

		key := body[at:mid]
		order := bytes.Compare(key, before)
		if order < 0 || order == 0 && i > 0 || high != nil && bytes.Compare(key, high) >= 0 {
			return damaged(fmt.Sprintf("page %d holds keys that are out of order", id))
		}
		before = key
		if err := each(element, key, body[mid:stop]); err != nil {
			return err
		}
	}
	return nil
}

// free claims the pages on the list of free ones.
func (w *walk) free(id uint64) error {
	body, err := w.page(id, 0)
	if err != nil {
		return err
	}
	flags, short := flagsAndCount(body)
	if flags != flagFreelist {
		return damaged("its list of free pages is not as it was written")
	}
	list, count := body[pageHeader:], uint64(short)
	if short == countAbove {
		count, list = binary.NativeEndian.Uint64(list), list[8:]
	}
	if count > uint64(len(list)/8) {
		return damaged("its list of free pages is longer than its room")
	}
	for i := range count {
		if err := w.claim(binary.NativeEndian.Uint64(list[8*i:]), 1); err != nil {
			return err
		}
	}
	return nil
}
