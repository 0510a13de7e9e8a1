package seal

import (
	"errors"
	"fmt"
)

// What can be wrong. Each is wrapped in an [*Error].
var (
	// ErrNotNote is returned for bytes that are not a signed note.
	ErrNotNote = errors.New("not a signed note")

	// ErrUnknownSigner is returned for a note that the given key did not sign.
	ErrUnknownSigner = errors.New("not signed by this key")

	// ErrSignature is returned for a note whose signature does not match its text.
	ErrSignature = errors.New("bad signature")

	// ErrCheckpoint is returned for a text that is not a checkpoint, or a head that
	// cannot be written as one.
	ErrCheckpoint = errors.New("malformed checkpoint")

	// ErrKey is returned for a text that is not a key, or a name that no key can have.
	ErrKey = errors.New("not a key")

	// ErrExposed is returned for a private key that others may read.
	ErrExposed = errors.New("the private key is open to others")

	// ErrNotProof is returned for bytes that are not a proof of the expected kind.
	ErrNotProof = errors.New("not a proof")

	// ErrUnproved is returned for a well-formed proof that does not hold.
	ErrUnproved = errors.New("the proof does not hold")

	// ErrShorter is returned for a journal that has fewer records than were sealed.
	ErrShorter = errors.New("shorter than sealed")

	// ErrDiffers is returned for a journal that does not begin with what was sealed.
	ErrDiffers = errors.New("differs from what was sealed")

	// ErrRecord is returned for a record that is not the one that was hashed.
	ErrRecord = errors.New("a record is not as it was written")

	// ErrInner is returned for stored hashes that do not follow from the records.
	ErrInner = errors.New("the stored hashes are not as they were written")
)

// An Error is one of the errors above, with details.
type Error struct {
	Err    error
	Detail string
}

// Error returns the kind and the detail.
func (e *Error) Error() string { return e.Err.Error() + ": " + e.Detail }

// Unwrap returns the kind.
func (e *Error) Unwrap() error { return e.Err }

// wrong is not inlined: its copies in all callers would take 7 KB.
//
//go:noinline
func wrong(kind error, format string, args ...any) error {
	return &Error{Err: kind, Detail: fmt.Sprintf(format, args...)}
}
