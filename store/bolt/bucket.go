package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
)

// A bucket is one of bbolt's, read through a pager.
type bucket struct {
	pager    *pager
	root     uint64
	inline   *page // in place of the root, for a small bucket
	sequence uint64
}

// An item is what a bucket has under a key. Its bytes belong to the page: copy
// them before handing them out.
type item struct {
	key, value []byte
	isBucket   bool
	page       uint64
}

func (p *pager) top() *bucket { return &bucket{pager: p, root: p.head.root} }

// open returns the bucket that the item holds.
func (b *bucket) open(it item) (*bucket, error) {
	found := &bucket{
		pager:    b.pager,
		root:     binary.NativeEndian.Uint64(it.value),
		sequence: binary.NativeEndian.Uint64(it.value[8:]),
	}
	if found.root != 0 {
		return found, nil
	}
	var err error
	found.inline, err = inline(it.page, it.value[bucketHeader:])
	return found, err
}

// sub returns the bucket with the name, or nil if there is none.
func (b *bucket) sub(name []byte) (*bucket, error) {
	it, err := b.get(name)
	if err != nil || it == nil {
		return nil, err
	}
	if !it.isBucket {
		return nil, damaged(fmt.Sprintf("%q is not a bucket", name))
	}
	return b.open(*it)
}

// get returns the item with the key, or nil if there is none.
func (b *bucket) get(key []byte) (*item, error) {
	pg, err := b.leafOf(key)
	if err != nil {
		return nil, err
	}
	if i := pg.floor(key); pg.holds(i, key) {
		it := pg.item(i)
		return &it, nil
	}
	return nil, nil
}

// leafOf returns the page that has the key if any page has it.
func (b *bucket) leafOf(key []byte) (*page, error) {
	return b.leaf(func(pg *page) int { return pg.floor(key) })
}

// holds reports whether element i of the page has the key.
func (pg *page) holds(i int, key []byte) bool {
	return i >= 0 && i < pg.count && bytes.Equal(pg.key(i), key)
}

// last returns the last item, or nil if the bucket is empty.
func (b *bucket) last() (*item, error) {
	pg, err := b.leaf(func(pg *page) int { return pg.count - 1 })
	if err != nil || pg.count == 0 {
		return nil, err
	}
	it := pg.item(pg.count - 1)
	return &it, nil
}

func (pg *page) item(i int) item {
	return item{pg.key(i), pg.value(i), pg.isBucket(i), pg.id}
}

// leaf walks down to a leaf, asking choose for a child at each branch.
func (b *bucket) leaf(choose func(*page) int) (*page, error) {
	if b.inline != nil {
		return b.inline, nil
	}
	id := b.root
	var low, high []byte
	for range deepest {
		pg, err := b.pager.page(id)
		if err != nil {
			return nil, err
		}
		if err := pg.within(low, high); err != nil || pg.leaf {
			return pg, err
		}
		i := max(choose(pg), 0)
		id, low = pg.child(i), pg.key(i)
		if i+1 < pg.count {
			high = pg.key(i + 1)
		}
	}
	return nil, tooDeep(id)
}

func tooDeep(id uint64) error { return damaged(fmt.Sprintf("page %d is nested too deep", id)) }

// from calls each with every item from the key on, in order, until each fails.
func (b *bucket) from(key []byte, each func(item) error) error {
	if b.inline != nil {
		return b.inline.from(key, each)
	}
	return b.leaves(b.root, nil, nil, 0, key, each)
}

func (pg *page) from(key []byte, each func(item) error) error {
	i := pg.floor(key)
	if !pg.holds(i, key) {
		i++
	}
	for ; i < pg.count; i++ {
		if err := each(pg.item(i)); err != nil {
			return err
		}
	}
	return nil
}

// leaves does the work of from for one subtree, whose keys must be at least low
// and, if high is not nil, less than high.
func (b *bucket) leaves(id uint64, low, high []byte, depth int, key []byte, each func(item) error) error {
	if depth > deepest {
		return tooDeep(id)
	}
	pg, err := b.pager.page(id)
	if err != nil {
		return err
	}
	if err := pg.within(low, high); err != nil {
		return err
	}
	if pg.leaf {
		return pg.from(key, each)
	}
	for i := max(pg.floor(key), 0); i < pg.count; i++ {
		below := high
		if i+1 < pg.count {
			below = pg.key(i + 1)
		}
		if err := b.leaves(pg.child(i), pg.key(i), below, depth+1, key, each); err != nil {
			return err
		}
	}
	return nil
}
