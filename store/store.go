package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"

	"golang.org/x/mod/sumdb/tlog"
)

// A Journal is one airframe's append-only record, named by its mark. Its
// records are opaque bytes at the positions 0 to Size-1.
type Journal struct {
	Mark string
	Size int64
}

// A Reader reads one moment of a store. It is valid only inside the
// [Store.View] that it was given to, and for one goroutine at a time; used
// later, its methods give a plain error.
//
// A mark that [CheckMark] refuses gives that refusal. Any other failure is an
// [*Error], most often one of [ErrDamaged].
type Reader interface {
	// Journals gives every journal, sorted by mark, with the size that is written
	// of it; whether it has that, reading it tells.
	Journals() ([]Journal, error)

	// Size gives how many records a journal has, 0 for one that does not exist.
	Size(mark string) (int64, error)

	// Read gives the records from the position from to the end, as copies that
	// the caller may keep and change. From the very end there are none. A
	// position below 0 or beyond the end gives a plain error. A record that is
	// missing or not as it was written gives [ErrDamaged].
	Read(mark string, from int64) ([][]byte, error)

	// Hashes gives hashes of the Merkle tree over a journal's records (RFC 6962,
	// a leaf being a record's bytes), by their index as in
	// [tlog.StoredHashIndex], each in its place. An index below 0, or of a hash
	// that the journal is too short for, gives a plain error. A hash that is
	// missing or not as it was written gives [ErrDamaged].
	Hashes(mark string, indexes []int64) ([]tlog.Hash, error)

	// Document gives a copy of the bytes whose digest this is: [ErrNotFound] if
	// there are none, [ErrDamaged] if those kept no longer match it.
	Document(digest string) ([]byte, error)
}

// A Store keeps journals and documents. It is safe for use by many goroutines,
// and where it is a file, by many processes.
//
// Every method gives the context's own error when it ends before the work is
// begun. A failure of the store itself is an [*Error].
type Store interface {
	// View calls fn with the store as it is at one moment, and gives back fn's
	// error untouched. The store is open only until fn returns, and others may
	// be kept from writing so long: fn should read and return, and neither wait
	// nor append.
	View(ctx context.Context, fn func(Reader) error) error

	// Append adds records to the end of a journal, all or none, and begins the
	// journal if it does not exist. It gives a [*ConflictError] unless the
	// journal still has the given size. When it returns nil the records are
	// durable. Arguments that [CheckAppend] refuses give that refusal.
	Append(ctx context.Context, mark string, size int64, records [][]byte) error

	// Keep stores a document under its digest, and does nothing more when it is
	// already there. A document that [CheckDocument] refuses gives that refusal.
	Keep(ctx context.Context, document []byte) (digest string, err error)
}

// Digest names a document by its bytes: "sha256:" and 64 hexadecimal digits.
func Digest(document []byte) string {
	sum := sha256.Sum256(document)
	return "sha256:" + hex.EncodeToString(sum[:])
}
