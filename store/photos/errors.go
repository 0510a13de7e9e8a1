package photos

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"fettle/store"
	"fettle/store/wholefile"
)

// What can be wrong with a file to add or a picture to draw.
var (
	// ErrNotPhoto is returned for bytes that are neither a JPEG nor a PNG, or that
	// cannot be drawn.
	ErrNotPhoto = errors.New("not a JPEG or PNG that can be drawn")

	// ErrTooLong is returned for a file of more than [MaxBytes].
	ErrTooLong = fmt.Errorf("longer than %d MiB", MaxBytes>>20)

	// ErrTooLarge is returned for a picture that would take more than [MaxDrawn] to
	// draw, or with a side of more than 65535 pixels.
	ErrTooLarge = fmt.Errorf("a picture that takes more than %d MB of memory to draw, or has more than %d pixels a side", MaxDrawn/1_000_000, maxSide)

	// ErrTooManyParts is returned for a picture in so many parts that it would take very
	// long to draw, however small its file is.
	ErrTooManyParts = errors.New("a picture in too many parts, which would take very long to draw")
)

// What can be wrong with a photo that was kept. Besides these, a folder that cannot
// be written to is [store.ErrReadOnly], and a full disk [store.ErrFull].
var (
	// ErrDigest is returned for a name that no photo can have.
	ErrDigest = errors.New("not the digest of a photo")

	// ErrMissing is returned for a photo that the folder does not have.
	ErrMissing = errors.New("not in the photo folder")

	// ErrNoFolder is returned where the folder of [Folder.Within] is not there.
	ErrNoFolder = errors.New("the folder that all benches share is not there")

	// ErrChanged is returned for a photo whose bytes are not those that were added.
	ErrChanged = errors.New("changed since it was added")
)

var errNoStore = errors.New("no store was given")

// An Error is a photo that could not be added or read.
type Error struct {
	Op   string // what was being done: "add the photo", "write to" or "read the photo"
	Path string // the file, the folder of photos, or the photo in it
	Err  error  // what was wrong: one of the errors above, of package store, or the system's own
	Hint string // what to do next; empty if nothing is known to help
}

// Error says what was wrong, where, and what to do next.
func (e *Error) Error() string {
	text := "cannot " + e.Op
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

const (
	adding  = "add the photo"
	writing = "write to"
	reading = "read the photo"
)

// fail makes an [*Error] of what went wrong. It leaves the context's error as it is.
func fail(op, path string, err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	err = kind(op, err)
	return &Error{Op: op, Path: path, Err: err, Hint: hint(op, err)}
}

// kind maps a system error to one of this package or of package store, and drops
// the path that the system adds.
func kind(op string, err error) error {
	if errors.Is(err, wholefile.ErrUnconfirmed) || errors.Is(err, store.ErrReadOnly) {
		return err
	}
	cause := err
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		cause = at.Err
	}
	if op != writing {
		return cause
	}
	switch {
	case wholefile.IsFull(err):
		return fmt.Errorf("%w: %w", store.ErrFull, cause)
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%w: %w", store.ErrReadOnly, cause)
	}
	return cause
}

func hint(op string, err error) string {
	switch {
	case errors.Is(err, wholefile.ErrNotFile):
		return "name the photo's own file"
	case errors.Is(err, ErrNotPhoto):
		return "export it as a JPEG or PNG"
	case errors.Is(err, ErrTooManyParts):
		return "save it anew as an ordinary JPEG or PNG, and add that"
	case errors.Is(err, ErrTooLong), errors.Is(err, ErrTooLarge):
		return "add a smaller version of it"
	case errors.Is(err, ErrMissing), errors.Is(err, ErrChanged):
		return "restore it from a backup, or add the same file again"
	case errors.Is(err, ErrNoFolder):
		return "nothing was saved: mount it, or make it if it is new, and try again"
	case errors.Is(err, store.ErrReadOnly):
		return "make the folder writable"
	case errors.Is(err, store.ErrFull):
		return "nothing was saved: free some space and try again"
	case errors.Is(err, wholefile.ErrUnconfirmed):
		return "add it again: that does no harm"
	case errors.Is(err, syscall.ENOTDIR) && op != adding:
		return "something that is not a folder has the name of the photo folder: move it away"
	}
	return ""
}
