package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// A view is one state of a file that is known to be a store with a known schema,
// as a transaction of bbolt sees it. The nil view is that of a missing file: an
// empty store. Its methods must be called inside a guard.
type view struct {
	tx     *bbolt.Tx
	schema int

	// The pages of a bucket are looked at before bbolt follows them.
	walk *walk

	counts  []uint64 // how many records were written in all journals, as often as that is known
	looked  bool     // at all pages of the bucket of journals
	records uint64   // the sum of the sizes in it
}

// newView reads only the schema, which costs the same however large the store is.
func newView(tx *bbolt.Tx, w *walk) (*view, error) {
	v := &view{tx: tx, walk: w}
	if _, err := v.look(tx.Cursor().Bucket(), from(nil)); err != nil {
		return nil, err
	}
	return v, v.checkSchema()
}

// look looks at the pages of a bucket that are on the way, without the buckets in it.
func (v *view) look(b *bbolt.Bucket, on way) (within, error) {
	root := uint64(b.Root())
	if root == 0 { // its page is within its parent's
		return within{}, nil
	}
	return v.walk.tree(root, on, nil)
}

// bucket returns one of the outer buckets, and what is known of those in it once the pages
// on the way were looked at.
func (v *view) bucket(name string, on way) (*bbolt.Bucket, within, error) {
	b := v.tx.Bucket([]byte(name))
	if b == nil {
		return nil, within{}, damaged("its " + name + " are missing")
	}
	inner, err := v.look(b, on)
	return b, inner, err
}

func (v *view) checkSchema() error {
	meta := v.tx.Bucket([]byte(bucketMeta))
	if meta == nil {
		return foreign("another program's database")
	}
	if _, err := v.look(meta, from(nil)); err != nil {
		return err
	}
	if string(meta.Get([]byte(keyFormat))) != format {
		return foreign("another program's database")
	}
	number, err := strconv.ParseUint(string(meta.Get([]byte(keySchema))), 10, 32)
	switch {
	case err != nil || number == 0:
		return damaged("its schema number cannot be read")
	case number > schema:
		return fmt.Errorf("%w: it has schema %d; this fettle reads schemas up to %d", store.ErrNewer, number, schema)
	}
	v.schema = int(number)
	// Another number is of an older state: a program that knows nothing of it wrote this one.
	if value := meta.Get([]byte(keyRecords)); len(value) == 16 && binary.BigEndian.Uint64(value) == v.walk.head.txid {
		v.counts = append(v.counts, binary.BigEndian.Uint64(value[8:]))
	}
	return nil
}

// listed returns the bucket of journals. All of its pages are looked at: if the disk lost
// the write of one, what stood there before may give journals the sizes they had before.
func (v *view) listed() (*bbolt.Bucket, error) {
	if v.looked {
		return v.tx.Bucket([]byte(bucketJournals)), nil
	}
	b, inner, err := v.bucket(bucketJournals, from(nil))
	if err == nil {
		err = v.checkRecords(inner.sequences)
	}
	v.looked, v.records = err == nil, inner.sequences
	return b, err
}

// checkRecords compares the sum of the journals' sizes with what was written of it.
func (v *view) checkRecords(sum uint64) error {
	for _, records := range v.counts {
		if sum != records {
			return damaged(fmt.Sprintf("its journals have %d records where %d were written", sum, records))
		}
	}
	return nil
}

func (v *view) journals() ([]store.Journal, error) {
	if v == nil {
		return nil, nil
	}
	b, err := v.listed()
	if err != nil {
		return nil, err
	}
	var all []store.Journal
	err = v.eachJournal(b, func(mark string, _ *bbolt.Bucket, size int64) error {
		all = append(all, store.Journal{Mark: mark, Size: size})
		return nil
	})
	if err != nil {
		return nil, err
	}
	return all, nil
}

func (v *view) eachJournal(journals *bbolt.Bucket, each func(mark string, j *bbolt.Bucket, size int64) error) error {
	count := uint64(0)
	err := journals.ForEach(func(mark, _ []byte) error {
		count++
		j := journals.Bucket(mark)
		size, err := sizeOf(string(mark), j)
		if err != nil {
			return err
		}
		return each(string(mark), j, size)
	})
	if err == nil {
		err = checkCount(journals, count)
	}
	return err
}

func checkCount(journals *bbolt.Bucket, count uint64) error {
	if count != journals.Sequence() {
		return damaged(fmt.Sprintf("it has %d journals where %d were written", count, journals.Sequence()))
	}
	return nil
}

// journal returns a journal's bucket and size, or nil and 0 if there is none. Before
// it says that, it checks every other journal, because damage may have changed this
// one's name: the checksums cover the name.
func (v *view) journal(mark string) (*bbolt.Bucket, int64, error) {
	if v == nil {
		return nil, 0, nil
	}
	parent, err := v.listed()
	if err != nil {
		return nil, 0, err
	}
	j := parent.Bucket([]byte(mark))
	if j == nil {
		return nil, 0, v.eachJournal(parent, v.checkEnd)
	}
	size, err := sizeOf(mark, j)
	if err != nil {
		return nil, 0, err
	}
	return j, size, v.checkEnd(mark, j, size)
}

// sizeOf is the size recorded in a journal's bucket, nil if what is listed is none.
func sizeOf(mark string, j *bbolt.Bucket) (int64, error) {
	switch {
	case j == nil:
		return 0, damaged(fmt.Sprintf("%q is listed as a journal but is not one", mark))
	case j.Sequence() == 0 || j.Sequence() > math.MaxInt64:
		return 0, damaged(fmt.Sprintf("the journal %q has no size", mark))
	case store.CheckMark(mark) != nil:
		return 0, damaged(fmt.Sprintf("a journal has the name %.20q…, which is too long", mark))
	}
	return int64(j.Sequence()), nil
}

// checkEnd checks that the last record is there and undamaged, so that the recorded
// size is the true one.
func (v *view) checkEnd(mark string, j *bbolt.Bucket, size int64) error {
	if _, err := v.look(j, last); err != nil {
		return err
	}
	key, value := j.Cursor().Last()
	if !bytes.Equal(key, position(size-1)) {
		return damaged(fmt.Sprintf("the journal %q does not end at record %d", mark, size-1))
	}
	_, _, err := v.unpack(mark, size-1, value)
	return err
}

func missing(mark string, at int64) error {
	return damaged(fmt.Sprintf("record %d of the journal %q is missing", at, mark))
}

// readFrom returns the records of a journal from a position on.
func (v *view) readFrom(mark string, begin int64) ([][]byte, error) {
	journal, size, err := v.journal(mark)
	if err != nil || begin == size {
		return nil, err
	}
	if _, err := v.look(journal, from(position(begin))); err != nil {
		return nil, err
	}
	records := make([][]byte, 0, min(size-begin, most))
	var room []byte
	c := journal.Cursor()
	key, value := c.Seek(position(begin))
	for at := begin; at < size; at++ {
		if !bytes.Equal(key, position(at)) {
			return nil, missing(mark, at)
		}
		_, record, err := v.unpack(mark, at, value)
		if err != nil {
			return nil, err
		}
		if len(record) > cap(room)-len(room) {
			room = make([]byte, 0, max(slab, len(record)))
		}
		start := len(room)
		room = append(room, record...)
		records = append(records, room[start:len(room):len(room)])
		key, value = c.Next()
	}
	return records, nil
}

const (
	slab = 32 << 10 // bytes of records to allocate at once
	most = 1 << 16  // records to allocate for, however large the recorded size is
	few  = 64       // hashes that are looked for one by one
)

// hashes returns hashes of a journal that is long enough to have them.
func (v *view) hashes(mark string, indexes []int64) ([]tlog.Hash, error) {
	if v.schema < schemaHashes { // which kept none
		records, err := v.readFrom(mark, 0)
		if err != nil {
			return nil, err
		}
		return seal.HashesOf(records).ReadHashes(indexes)
	}
	journal, _, err := v.journal(mark)
	if err != nil {
		return nil, err
	}
	all := len(indexes) > few
	if all {
		if _, err := v.look(journal, from(nil)); err != nil {
			return nil, err
		}
	}
	found := make([]tlog.Hash, len(indexes))
	var kept []byte
	c, before := journal.Cursor(), int64(-2)
	for i, index := range indexes {
		level, n := tlog.SplitStoredHashIndex(index)
		at := (n+1)<<level - 1 // the record that the hash was kept with
		if at != before {
			if !all {
				if _, err := v.look(journal, to(position(at))); err != nil {
					return nil, err
				}
			}
			step := c.Next
			if !all || at != before+1 {
				step = func() ([]byte, []byte) { return c.Seek(position(at)) }
			}
			key, value := step()
			if !bytes.Equal(key, position(at)) {
				return nil, missing(mark, at)
			}
			if kept, _, err = v.unpack(mark, at, value); err != nil {
				return nil, err
			}
			before = at
		}
		found[i] = tlog.Hash(kept[level*tlog.HashSize:])
	}
	return found, nil
}

// document returns the bytes with this digest, which are the page's.
func (v *view) document(digest string) ([]byte, error) {
	b, _, err := v.bucket(bucketDocuments, to([]byte(digest)))
	if err != nil {
		return nil, err
	}
	if document := b.Get([]byte(digest)); document != nil {
		return document, checkDocument([]byte(digest), document)
	}
	// It may be there under a damaged name.
	if _, err := v.look(b, from(nil)); err != nil {
		return nil, err
	}
	if err := b.ForEach(checkDocument); err != nil {
		return nil, err
	}
	return nil, fmt.Errorf("document %q: %w", digest, store.ErrNotFound)
}

func checkDocument(digest, document []byte) error {
	if document == nil || store.Digest(document) != string(digest) { // nil: a bucket
		return damagedDocument(string(digest))
	}
	return nil
}
