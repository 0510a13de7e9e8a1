package bolt

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// A view is one state of a file that is known to be a store with a known schema.
// The nil view is that of a missing file: an empty store.
type view struct {
	pager   *pager
	schema  int
	touched []extent // the pages read so far, if a write follows

	// for schema 1, which keeps no hashes: those computed so far
	computed map[string]seal.Hashes
}

// newView reads only the heads and the schema, which costs the same however large
// the store is.
func newView(file io.ReaderAt, h head) (*view, error) {
	v := &view{pager: &pager{file: file, head: h, kept: map[uint64]*page{}}}
	if err := v.checkSchema(); err != nil {
		return nil, err
	}
	return v, nil
}

// note makes the view note the pages that are read from now on.
func (v *view) note() {
	clear(v.pager.kept)
	v.pager.claim = func(id, n uint64) error {
		v.touched = append(v.touched, extent{id, n})
		return nil
	}
}

func (v *view) checkSchema() error {
	meta, err := v.pager.top().get([]byte(bucketMeta))
	if err != nil {
		return err
	}
	if meta == nil || !meta.isBucket {
		return foreign("another program's database")
	}
	b, err := v.pager.top().open(*meta)
	if err != nil {
		return err
	}
	is, err := b.get([]byte(keyFormat))
	if err != nil {
		return err
	}
	if is == nil || string(is.value) != format {
		return foreign("another program's database")
	}
	is, err = b.get([]byte(keySchema))
	if err != nil {
		return err
	}
	var text string
	if is != nil {
		text = string(is.value)
	}
	number, err := strconv.ParseUint(text, 10, 32)
	switch {
	case err != nil || number == 0:
		return damaged("its schema number cannot be read")
	case number > schema:
		return fmt.Errorf("%w: it has schema %d; this fettle reads schemas up to %d", store.ErrNewer, number, schema)
	}
	v.schema = int(number)
	return nil
}

func (v *view) top(name string) (*bucket, error) {
	b, err := v.pager.top().sub([]byte(name))
	if err == nil && b == nil {
		err = damaged("its " + name + " are missing")
	}
	return b, err
}

func (v *view) journals() ([]store.Journal, error) {
	if v == nil {
		return nil, nil
	}
	b, err := v.top(bucketJournals)
	if err != nil {
		return nil, err
	}
	var all []store.Journal
	err = eachJournal(b, func(mark string, _ *bucket, size int64) error {
		all = append(all, store.Journal{Mark: mark, Size: size})
		return nil
	})
	if err != nil {
		return nil, err
	}
	return all, nil
}

func eachJournal(journals *bucket, each func(mark string, j *bucket, size int64) error) error {
	count := uint64(0)
	err := journals.from(nil, func(it item) error {
		count++
		j, size, err := openJournal(journals, it)
		if err != nil {
			return err
		}
		return each(string(it.key), j, size)
	})
	if err == nil && count != journals.sequence {
		err = damaged(fmt.Sprintf("it has %d journals where %d were written", count, journals.sequence))
	}
	return err
}

// journal returns a journal's bucket and size, or nil and 0 if there is none. Before
// it says that, it checks every other journal, because damage may have changed this
// one's name: the checksums cover the name.
func (v *view) journal(mark string) (*bucket, int64, error) {
	if v == nil {
		return nil, 0, nil
	}
	parent, err := v.top(bucketJournals)
	if err != nil {
		return nil, 0, err
	}
	it, err := parent.get([]byte(mark))
	if err != nil {
		return nil, 0, err
	}
	if it == nil {
		return nil, 0, eachJournal(parent, func(mark string, j *bucket, size int64) error { return v.checkEnd(j, mark, size) })
	}
	j, size, err := openJournal(parent, *it)
	if err != nil {
		return nil, 0, err
	}
	return j, size, v.checkEnd(j, mark, size)
}

// openJournal returns a journal's bucket and the size recorded there.
func openJournal(parent *bucket, it item) (*bucket, int64, error) {
	if !it.isBucket {
		return nil, 0, damaged(fmt.Sprintf("%q is listed as a journal but is not one", it.key))
	}
	j, err := parent.open(it)
	if err != nil {
		return nil, 0, err
	}
	if j.sequence == 0 || j.sequence > math.MaxInt64 {
		return nil, 0, damaged(fmt.Sprintf("the journal %q has no size", it.key))
	}
	return j, int64(j.sequence), nil
}

// checkEnd checks that the last record is there and undamaged, so that the recorded
// size is the true one.
func (v *view) checkEnd(j *bucket, mark string, size int64) error {
	last, err := j.last()
	if err != nil {
		return err
	}
	if last == nil || !bytes.Equal(last.key, position(size-1)) {
		return damaged(fmt.Sprintf("the journal %q does not end at record %d", mark, size-1))
	}
	_, err = v.unpack(mark, size-1, *last)
	return err
}

// records calls each with the records from a position on; the bytes are the page's.
func (v *view) records(mark string, from int64, each func(record []byte) error) error {
	journal, size, err := v.journal(mark)
	if err != nil || from == size {
		return err
	}
	return v.recordsIn(journal, mark, from, size, each)
}

func (v *view) recordsIn(journal *bucket, mark string, from, size int64, each func(record []byte) error) error {
	at := from
	err := journal.from(position(from), func(it item) error {
		if !bytes.Equal(it.key, position(at)) {
			return missing(mark, at)
		}
		kept, err := v.unpack(mark, at, it)
		if err != nil {
			return err
		}
		at++
		return each(kept.record)
	})
	if err == nil && at != size {
		err = missing(mark, at)
	}
	return err
}

func missing(mark string, at int64) error {
	return damaged(fmt.Sprintf("record %d of the journal %q is missing", at, mark))
}

func (v *view) readFrom(mark string, from int64) (records [][]byte, err error) {
	_, size, err := v.journal(mark)
	if err != nil {
		return nil, err
	}
	records = make([][]byte, 0, min(size-from, most))
	var room []byte
	err = v.records(mark, from, func(record []byte) error {
		if len(record) > cap(room)-len(room) {
			room = make([]byte, 0, max(slab, len(record)))
		}
		start := len(room)
		room = append(room, record...)
		records = append(records, room[start:len(room):len(room)])
		return nil
	})
	if err != nil {
		return nil, err
	}
	return records, nil
}

const (
	slab = 32 << 10 // bytes of records to allocate at once
	most = 1 << 16  // records to allocate for, however large the recorded size is
)

// hashes returns hashes of a journal that is long enough to have them.
func (v *view) hashes(mark string, indexes []int64) ([]tlog.Hash, error) {
	if v.schema < schemaHashes {
		return v.computedHashes(mark, indexes)
	}
	journal, _, err := v.journal(mark)
	if err != nil {
		return nil, err
	}
	found := make([]tlog.Hash, len(indexes))
	var kept keptRecord
	var leaf *page // of the last record: the next one is most often there too
	place := -1
	last := int64(-1)
	for i, index := range indexes {
		level, n := tlog.SplitStoredHashIndex(index)
		at := (n+1)<<level - 1 // the record that the hash was kept with
		if at != last {
			key := position(at)
			if place++; leaf == nil || !leaf.holds(place, key) {
				if leaf, err = journal.leafOf(key); err != nil {
					return nil, err
				}
				if place = leaf.floor(key); !leaf.holds(place, key) {
					return nil, missing(mark, at)
				}
			}
			if kept, err = v.unpack(mark, at, leaf.item(place)); err != nil {
				return nil, err
			}
			last = at
		}
		found[i] = tlog.Hash(kept.hashes[level*tlog.HashSize:])
	}
	return found, nil
}

// computedHashes is hashes for a store that keeps none: it computes them from the
// records, which it reads once for a view.
func (v *view) computedHashes(mark string, indexes []int64) ([]tlog.Hash, error) {
	tree, ok := v.computed[mark]
	if !ok {
		records, err := v.readFrom(mark, 0)
		if err != nil {
			return nil, err
		}
		tree = seal.HashesOf(records)
		if v.computed == nil {
			v.computed = map[string]seal.Hashes{}
		}
		v.computed[mark] = tree
	}
	return tree.ReadHashes(indexes)
}

func (v *view) document(digest string) ([]byte, error) {
	b, err := v.top(bucketDocuments)
	if err != nil {
		return nil, err
	}
	it, err := b.get([]byte(digest))
	if err != nil {
		return nil, err
	}
	if it == nil {
		// It may be there under a damaged name.
		if err := b.from(nil, checkDocument); err != nil {
			return nil, err
		}
		return nil, fmt.Errorf("document %q: %w", digest, store.ErrNotFound)
	}
	if err := checkDocument(*it); err != nil {
		return nil, err
	}
	return bytes.Clone(it.value), nil
}

func checkDocument(it item) error {
	if it.isBucket || store.Digest(it.value) != string(it.key) {
		return damagedDocument(string(it.key))
	}
	return nil
}
