package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// A Journal is one airframe's append-only record, named by its mark. Its
// records are opaque bytes at the positions 0 to Size-1.
type Journal struct {
	Mark string
	Size int64
}

// A Reader reads one moment of a store. It is valid only inside the
// [Store.View] that passed it, and for one goroutine at a time; used later, its
// methods return a plain error.
//
// For a mark that [CheckMark] refuses they return its error. Any other failure is
// an [*Error], most often of [ErrDamaged].
type Reader interface {
	// Journals returns every journal, sorted by mark, with its recorded size. Only
	// reading the journal tells whether all of it is there.
	Journals() ([]Journal, error)

	// Size returns how many records a journal has, 0 if it does not exist.
	Size(mark string) (int64, error)

	// Read returns the records from the position from to the end, as copies that
	// the caller may keep and change; from the very end, none. It returns a plain
	// error for a position below 0 or beyond the end, and [ErrDamaged] if a record
	// is missing or not as it was written.
	Read(mark string, from int64) ([][]byte, error)

	// Hashes returns the hashes with these indexes of the Merkle tree over a
	// journal's records (RFC 6962, a leaf being a record's bytes), in the order of
	// the indexes, which are those of [tlog.StoredHashIndex]. It returns a plain
	// error for an index below 0 or of a hash that the journal is too short for,
	// and [ErrDamaged] if a hash is missing or not as it was written.
	Hashes(mark string, indexes []int64) ([]tlog.Hash, error)

	// Document returns a copy of the bytes with this digest: [ErrNotFound] if there
	// are none, [ErrDamaged] if those kept no longer match it.
	Document(digest string) ([]byte, error)
}

// A Store keeps journals and documents. It is safe for use by many goroutines,
// and where it is a file, by many processes.
//
// Every method returns the context's own error if it ends before the work has
// begun. A failure of the store itself is an [*Error].
type Store interface {
	// View calls fn with the store as it is at one moment, and returns fn's error
	// unchanged. The store is open only until fn returns, and nobody may be able to
	// write until then: fn should read and return, and neither wait nor append.
	View(ctx context.Context, fn func(Reader) error) error

	// Append adds records to the end of a journal, all or none, and begins the
	// journal if it does not exist. It returns a [*ConflictError] unless the
	// journal still has the given size. When it returns nil the records are
	// durable. For arguments that [CheckAppend] refuses it returns that error.
	Append(ctx context.Context, mark string, size int64, records [][]byte) error

	// Keep stores a document under its digest, or does nothing if it is already
	// there. For a document that [CheckDocument] refuses it returns that error.
	Keep(ctx context.Context, document []byte) (digest string, err error)
}

// Patience is how long a store that others use is waited for.
const Patience = time.Second

// Digest names a document by its bytes: "sha256:" and 64 hexadecimal digits.
func Digest(document []byte) string {
	sum := sha256.Sum256(document)
	return "sha256:" + hex.EncodeToString(sum[:])
}
