package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"strconv"

	"go.etcd.io/bbolt"

	"fettle/store"
)

// These are written in files: they stay as they are while the schema has this
// number.
const (
	bucketMeta      = "meta"
	bucketJournals  = "journals"
	bucketDocuments = "documents"

	keyFormat = "format"
	keySchema = "schema"

	format = "fettle journal store"
	schema = 1

	sumSize = 4 // before each record
)

func checkSchema(tx *bbolt.Tx) error {
	meta := tx.Bucket([]byte(bucketMeta))
	if meta == nil || string(meta.Get([]byte(keyFormat))) != format {
		return foreign("a database of another program")
	}
	number, err := strconv.ParseUint(string(meta.Get([]byte(keySchema))), 10, 32)
	switch {
	case err != nil || number == 0:
		return damaged("the number of its schema cannot be read")
	case number > schema:
		return fmt.Errorf("%w: it has schema %d, and this fettle knows schemas up to %d", store.ErrNewer, number, schema)
	}
	return nil
}

// checkJournals looks at the end of every journal, and that none is missing.
func checkJournals(tx *bbolt.Tx) error {
	_, err := journals(tx)
	return err
}

func top(tx *bbolt.Tx, name string) (*bbolt.Bucket, error) {
	b := tx.Bucket([]byte(name))
	if b == nil {
		return nil, damaged("its " + name + " are missing")
	}
	return b, nil
}

func journals(tx *bbolt.Tx) ([]store.Journal, error) {
	b, err := top(tx, bucketJournals)
	if err != nil {
		return nil, err
	}
	var all []store.Journal
	err = b.ForEach(func(mark, _ []byte) error {
		_, size, err := journal(tx, string(mark))
		all = append(all, store.Journal{Mark: string(mark), Size: size})
		return err
	})
	if err != nil {
		return nil, err
	}
	if b.Sequence() != uint64(len(all)) {
		return nil, damaged(fmt.Sprintf("it has %d journals where %d were written", len(all), b.Sequence()))
	}
	return all, nil
}

// journal gives a journal's bucket and size, and nil and 0 if there is none. It
// checks that the last record is there and sound.
func journal(tx *bbolt.Tx, mark string) (*bbolt.Bucket, int64, error) {
	parent, err := top(tx, bucketJournals)
	if err != nil {
		return nil, 0, err
	}
	b := parent.Bucket([]byte(mark))
	if b == nil {
		if parent.Get([]byte(mark)) != nil {
			return nil, 0, damaged(fmt.Sprintf("the journal %q is no journal", mark))
		}
		return nil, 0, nil
	}
	size := b.Sequence()
	if size == 0 || size > math.MaxInt64 {
		return nil, 0, damaged(fmt.Sprintf("the journal %q has no size", mark))
	}
	last := int64(size - 1)
	key, value := b.Cursor().Last()
	if !bytes.Equal(key, position(last)) {
		return nil, 0, damaged(fmt.Sprintf("the journal %q does not end at record %d", mark, last))
	}
	if _, err := unpack(mark, last, value); err != nil {
		return nil, 0, err
	}
	return b, int64(size), nil
}

func readFrom(tx *bbolt.Tx, mark string, from int64) ([][]byte, error) {
	b, size, err := journal(tx, mark)
	if err != nil || from == size {
		return nil, err
	}
	var records [][]byte
	c := b.Cursor()
	for key, value := c.Seek(position(from)); key != nil; key, value = c.Next() {
		at := from + int64(len(records))
		if !bytes.Equal(key, position(at)) {
			return nil, damaged(fmt.Sprintf("record %d of the journal %q is missing", at, mark))
		}
		record, err := unpack(mark, at, value)
		if err != nil {
			return nil, err
		}
		// bbolt's bytes are gone when the transaction is.
		records = append(records, bytes.Clone(record))
	}
	if got := from + int64(len(records)); got != size {
		return nil, damaged(fmt.Sprintf("record %d of the journal %q is missing", got, mark))
	}
	return records, nil
}

func appendTo(tx *bbolt.Tx, mark string, size int64, records [][]byte) error {
	b, have, err := journal(tx, mark)
	if err != nil {
		return err
	}
	if have != size {
		return &store.ConflictError{Mark: mark, Have: have, Want: size}
	}
	if b == nil {
		parent, err := top(tx, bucketJournals)
		if err != nil {
			return err
		}
		if b, err = parent.CreateBucket([]byte(mark)); err != nil {
			return err
		}
		if err := parent.SetSequence(parent.Sequence() + 1); err != nil {
			return err
		}
	}
	b.FillPercent = 1 // positions only grow: a page that is split is never filled up later
	for i, record := range records {
		at := size + int64(i)
		if err := b.Put(position(at), pack(mark, at, record)); err != nil {
			return err
		}
	}
	return b.SetSequence(uint64(size) + uint64(len(records)))
}

func keepIn(tx *bbolt.Tx, digest string, document []byte) error {
	b, err := top(tx, bucketDocuments)
	if err != nil {
		return err
	}
	if kept := b.Get([]byte(digest)); kept != nil {
		if !bytes.Equal(kept, document) {
			return damagedDocument(digest)
		}
		return errUnchanged
	}
	return b.Put([]byte(digest), document)
}

func documentIn(tx *bbolt.Tx, digest string) ([]byte, error) {
	b, err := top(tx, bucketDocuments)
	if err != nil {
		return nil, err
	}
	document := b.Get([]byte(digest))
	if document == nil {
		// It may be there under a name that is not as it was written.
		err := b.ForEach(func(name, document []byte) error {
			if store.Digest(document) != string(name) {
				return damagedDocument(string(name))
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
		return nil, fmt.Errorf("document %q: %w", digest, store.ErrNotFound)
	}
	if store.Digest(document) != digest {
		return nil, damagedDocument(digest)
	}
	return bytes.Clone(document), nil
}

func position(at int64) []byte {
	return binary.BigEndian.AppendUint64(nil, uint64(at))
}

func pack(mark string, at int64, record []byte) []byte {
	return append(binary.BigEndian.AppendUint32(nil, checksum(mark, at, record)), record...)
}

func unpack(mark string, at int64, value []byte) ([]byte, error) {
	if len(value) < sumSize || binary.BigEndian.Uint32(value) != checksum(mark, at, value[sumSize:]) {
		return nil, damaged(fmt.Sprintf("record %d of the journal %q is not as it was written", at, mark))
	}
	return value[sumSize:], nil
}

// checksum covers where a record stands, so that no record passes for another.
func checksum(mark string, at int64, record []byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	sum := crc32.Update(0, table, position(at))
	sum = crc32.Update(sum, table, []byte(mark))
	return crc32.Update(sum, table, record)
}
