package bolt

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// These are written in files: they must not change within a schema.
const (
	bucketMeta      = "meta"
	bucketJournals  = "journals"
	bucketDocuments = "documents"

	keyFormat  = "format"
	keySchema  = "schema"
	keyRecords = "records"

	format = "fettle journal store"
	schema = 2

	schemaHashes = 2 // the first schema that keeps hashes with the records

	sumSize = 4 // of the checksum, which comes first in a kept record
)

// layOut makes a new file an empty store.
func layOut(tx *bbolt.Tx) (int, error) {
	for _, name := range []string{bucketMeta, bucketJournals, bucketDocuments} {
		if _, err := tx.CreateBucket([]byte(name)); err != nil {
			return 0, err
		}
	}
	if err := tx.Bucket([]byte(bucketMeta)).Put([]byte(keyFormat), []byte(format)); err != nil {
		return 0, err
	}
	return 0, numberSchema(tx)
}

// numberSchema writes the number of the present schema.
func numberSchema(tx *bbolt.Tx) error {
	return tx.Bucket([]byte(bucketMeta)).Put([]byte(keySchema), fmt.Append(nil, schema))
}

// countRecords writes how many records all journals have together, for the state that
// the transaction makes. Programs that know nothing of it leave the number of an older state.
func countRecords(tx *bbolt.Tx, records uint64) error {
	value := binary.BigEndian.AppendUint64(nil, uint64(tx.ID()))
	return tx.Bucket([]byte(bucketMeta)).Put([]byte(keyRecords), binary.BigEndian.AppendUint64(value, records))
}

// A change is made in a transaction. A view has already read and checked whatever
// it will read. It returns how many records the journals gain.
type change func(*bbolt.Tx) (int, error)

// planAppend returns the change that appends records, with their hashes.
func planAppend(v *view, mark string, size int64, records [][]byte) (change, error) {
	_, have, err := v.journal(mark)
	if err != nil {
		return nil, err
	}
	if have != size {
		return nil, &store.ConflictError{Mark: mark, Have: have, Want: size}
	}
	hashes, err := seal.Grow(size, records, func(indexes []int64) ([]tlog.Hash, error) {
		return v.hashes(mark, indexes)
	})
	if err != nil {
		return nil, err
	}
	return func(tx *bbolt.Tx) (int, error) { return len(records), appendTo(tx, mark, size, records, hashes) }, nil
}

func appendTo(tx *bbolt.Tx, mark string, size int64, records [][]byte, hashes []tlog.Hash) error {
	journals := tx.Bucket([]byte(bucketJournals))
	journal := journals.Bucket([]byte(mark))
	if journal == nil {
		var err error
		if journal, err = journals.CreateBucket([]byte(mark)); err != nil {
			return err
		}
		if err := journals.SetSequence(journals.Sequence() + 1); err != nil {
			return err
		}
	}
	if have := int64(journal.Sequence()); have != size { // or Create was given a mark twice
		return &store.ConflictError{Mark: mark, Have: have, Want: size}
	}
	return fillJournal(journal, mark, size, records, hashes)
}

// fillJournal appends records to a journal's bucket. hashes are those that the tree
// gains with them, in stored order.
func fillJournal(journal *bbolt.Bucket, mark string, size int64, records [][]byte, hashes []tlog.Hash) error {
	journal.FillPercent = 1 // positions only grow, so a split page would never be filled up later
	for i, record := range records {
		at := size + int64(i)
		n := seal.Gained(at)
		if err := journal.Put(position(at), pack(mark, at, hashes[:n], record)); err != nil {
			return err
		}
		hashes = hashes[n:]
	}
	return journal.SetSequence(uint64(size) + uint64(len(records)))
}

// planKeep returns the change that keeps a document.
func planKeep(v *view, digest string, document []byte) (change, error) {
	if v != nil {
		b, _, err := v.bucket(bucketDocuments, to([]byte(digest)))
		if err != nil {
			return nil, err
		}
		if kept := b.Get([]byte(digest)); kept != nil {
			if !bytes.Equal(kept, document) {
				return nil, damagedDocument(digest)
			}
			return nil, nil
		}
	}
	return func(tx *bbolt.Tx) (int, error) {
		return 0, tx.Bucket([]byte(bucketDocuments)).Put([]byte(digest), document)
	}, nil
}

func position(at int64) []byte {
	return binary.BigEndian.AppendUint64(nil, uint64(at))
}

func pack(mark string, at int64, hashes []tlog.Hash, record []byte) []byte {
	value := make([]byte, sumSize, sumSize+len(hashes)*tlog.HashSize+len(record))
	for _, hash := range hashes {
		value = append(value, hash[:]...)
	}
	value = append(value, record...)
	binary.BigEndian.PutUint32(value, checksum(mark, at, value[sumSize:]))
	return value
}

// unpack returns what a journal's bucket has at a position; the bytes belong to the page.
// Schema 1 has no hashes.
func (v *view) unpack(mark string, at int64, value []byte) (hashes, record []byte, err error) {
	rest, n := value[min(sumSize, len(value)):], 0
	if v.schema >= schemaHashes {
		n = seal.Gained(at) * tlog.HashSize
	}
	if len(value) < sumSize || len(rest) < n || len(rest)-n > store.MaxRecord || binary.BigEndian.Uint32(value) != checksum(mark, at, rest) {
		return nil, nil, damaged(fmt.Sprintf("record %d of the journal %q is not as it was written", at, mark))
	}
	return rest[:n], rest[n:], nil
}

// checksum also covers the record's position, so that no record passes for another.
func checksum(mark string, at int64, rest []byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	sum := crc32.Update(0, table, position(at))
	sum = crc32.Update(sum, table, []byte(mark))
	return crc32.Update(sum, table, rest)
}
