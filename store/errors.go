package store

import (
	"errors"
	"fmt"
)

// What can go wrong between a caller and a store in good order.
var (
	// ErrConflict is the kind of a [*ConflictError].
	ErrConflict = errors.New("the journal has grown")

	// ErrNotFound is returned for a document that the store does not have.
	ErrNotFound = errors.New("not in the store")
)

// What can be wrong with the store itself. Each is wrapped in an [*Error].
var (
	// ErrLocked is returned when another fettle kept the store locked for longer
	// than it is worth waiting.
	ErrLocked = errors.New("in use by another fettle")

	// ErrForeign is returned for a file, or anything else, that is not a store.
	ErrForeign = errors.New("not a fettle store")

	// ErrNewer is returned for a store that a newer fettle made.
	ErrNewer = errors.New("made by a newer fettle")

	// ErrDamaged is returned for a store that is not as it was written.
	ErrDamaged = errors.New("damaged")

	// ErrOlder is returned when a store was put back to an older state since it was read. Nothing
	// was written.
	ErrOlder = errors.New("put back to an older state")

	// ErrReadOnly is returned when a store may not be written to.
	ErrReadOnly = errors.New("read-only")

	// ErrFull is returned when the disk, a quota or a limit leaves no room. Nothing
	// was written.
	ErrFull = errors.New("no room on the disk")

	// ErrAway is returned when a store elsewhere cannot be reached. Nothing was
	// written by what returns it.
	ErrAway = errors.New("cannot be reached")

	// ErrSetup is returned when a store elsewhere is there, but is not to be spoken to as the config
	// says: that is to be corrected, and no outage.
	ErrSetup = errors.New("not as the config says")

	// ErrUnknown is returned when a store elsewhere gave no answer to what was written,
	// which may or may not be there.
	ErrUnknown = errors.New("it was sent and not answered")
)

// An Error is a failure of the store itself, rather than of what was asked.
type Error struct {
	Op   string // what was being done: read or write
	Path string // where the store is; empty if that has no meaning
	Err  error  // what was wrong: one of the errors above, or the system's own
	Hint string // what to do next; empty if nothing is known to help
}

// Error says what was wrong, where, and what to do next.
func (e *Error) Error() string {
	text := "cannot " + e.Op + " the store"
	if e.Path != "" {
		text += " " + e.Path
	}
	text += ": " + e.Err.Error()
	if e.Hint != "" {
		text += "; " + e.Hint
	}
	return text
}

// Unwrap returns what was wrong.
func (e *Error) Unwrap() error { return e.Err }

// A ConflictError says that a journal no longer has the size that its writer read.
// It matches [ErrConflict].
type ConflictError struct {
	Mark string
	Have int64 // the size the journal has
	Want int64 // the size the writer expected
}

// Error names both sizes.
func (e *ConflictError) Error() string {
	return fmt.Sprintf("the journal of %q has %d entries now and had %d when it was read: another fettle wrote to it; try again", e.Mark, e.Have, e.Want)
}

// Is reports whether target is [ErrConflict].
func (e *ConflictError) Is(target error) bool { return target == ErrConflict }
