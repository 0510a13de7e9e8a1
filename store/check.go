package store

import (
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// The limits that every store keeps, in bytes.
const (
	MaxMark     = 64
	MaxRecord   = 1 << 20
	MaxDocument = 4 << 20
)

// CheckMark refuses, with a plain error, a mark that is empty or longer than
// [MaxMark].
func CheckMark(mark string) error {
	switch {
	case mark == "":
		return errors.New("the mark is empty: name the airframe")
	case len(mark) > MaxMark:
		return fmt.Errorf("the mark %.20q… is %d bytes long; the limit is %d", mark, len(mark), MaxMark)
	}
	return nil
}

// CheckAppend refuses, with a plain error, what no store appends: a mark that
// [CheckMark] refuses, a size below 0, no records, or a record longer than
// [MaxRecord].
func CheckAppend(mark string, size int64, records [][]byte) error {
	if err := CheckMark(mark); err != nil {
		return err
	}
	if size < 0 {
		return fmt.Errorf("a journal cannot have the size %d", size)
	}
	if len(records) == 0 {
		return fmt.Errorf("there is nothing to append to the journal %q", mark)
	}
	for i, record := range records {
		if len(record) > MaxRecord {
			return fmt.Errorf("record %d for the journal %q is %d bytes long; the limit is %d", i+1, mark, len(record), MaxRecord)
		}
	}
	return nil
}

// CheckFrom refuses, with a plain error, to read a journal of the given size
// from a position below 0 or beyond its end.
func CheckFrom(mark string, from, size int64) error {
	if from < 0 || from > size {
		return fmt.Errorf("the journal %q cannot be read from position %d: it has %d records", mark, from, size)
	}
	return nil
}

// CheckHashes refuses, with a plain error, an index beyond the hashes of a journal
// of the given size.
func CheckHashes(mark string, indexes []int64, size int64) error {
	count := tlog.StoredHashCount(size)
	for _, index := range indexes {
		if index < 0 || index >= count {
			return fmt.Errorf("the journal %q has no hash %d: its %d records have %d hashes", mark, index, size, count)
		}
	}
	return nil
}

// CheckDocument refuses, with a plain error, a document longer than
// [MaxDocument].
func CheckDocument(document []byte) error {
	if len(document) > MaxDocument {
		return fmt.Errorf("the document is %d bytes long; the limit is %d", len(document), MaxDocument)
	}
	return nil
}
