package seal

import (
	"errors"
	"fmt"
)

// What can be wrong. Each comes inside an [*Error].
var (
	// ErrNotNote is given for bytes that are no signed note.
	ErrNotNote = errors.New("not a signed note")

	// ErrUnknownSigner is given for a note that the given key did not sign.
	ErrUnknownSigner = errors.New("not signed by this key")

	// ErrSignature is given for a note whose signature is not of its text.
	ErrSignature = errors.New("bad signature")

	// ErrCheckpoint is given for a text that is no checkpoint, or a head that
	// cannot be written as one.
	ErrCheckpoint = errors.New("malformed checkpoint")

	// ErrKey is given for a text that is no key, or a name that no key can have.
	ErrKey = errors.New("not a key")

	// ErrExposed is given for a private key that others may read.
	ErrExposed = errors.New("the private key is open to others")

	// ErrNotProof is given for bytes that are no proof of the kind asked for.
	ErrNotProof = errors.New("not a proof")

	// ErrUnproved is given for a proof that is well made and does not hold.
	ErrUnproved = errors.New("the proof does not hold")

	// ErrShorter is given for a journal that has fewer records than were sealed.
	ErrShorter = errors.New("shorter than sealed")

	// ErrDiffers is given for a journal that does not begin with what was sealed.
	ErrDiffers = errors.New("differs from what was sealed")

	// ErrRecord is given for a record that is not the one that was hashed.
	ErrRecord = errors.New("a record is not as it was written")

	// ErrInner is given for stored hashes that do not follow from the records.
	ErrInner = errors.New("the stored hashes are not as they were written")
)

// An Error says which of the errors above it is, and more.
type Error struct {
	Err    error
	Detail string
}

// Error gives the kind and the detail.
func (e *Error) Error() string { return e.Err.Error() + ": " + e.Detail }

// Unwrap gives the kind.
func (e *Error) Unwrap() error { return e.Err }

func wrong(kind error, format string, args ...any) error {
	return &Error{Err: kind, Detail: fmt.Sprintf(format, args...)}
}
