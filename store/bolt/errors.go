package bolt

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"

	"fettle/store"
	"fettle/store/wholefile"
)

var errNoPath = errors.New("no file name was given")

func foreign(what string) error { return fmt.Errorf("%w: it is %s", store.ErrForeign, what) }

func damaged(what string) error { return fmt.Errorf("%w: %s", store.ErrDamaged, what) }

func damagedDocument(digest string) error {
	return damaged(fmt.Sprintf("document %q is not as it was written", digest))
}

// unconfirmed is a failure after the last write, when nobody knows whether it was
// saved. It does not wrap the cause: ErrFull, for one, promises that nothing was
// written.
func unconfirmed(err error) error { return fmt.Errorf("%w: %v", wholefile.ErrUnconfirmed, err) }

func lockedBy(pids []int) error {
	switch len(pids) {
	case 0:
		return store.ErrLocked
	case 1:
		return fmt.Errorf("%w (process %d)", store.ErrLocked, pids[0])
	}
	return fmt.Errorf("%w (processes %s)", store.ErrLocked, strings.Trim(fmt.Sprint(pids), "[]"))
}

func isLocked(err error) bool { return errors.Is(err, berrors.ErrTimeout) }

// fail turns what went wrong with the file into a [*store.Error]. It leaves errors
// that concern only the caller unchanged.
func (s *Store) fail(op string, err error) error {
	var known *store.Error
	switch {
	case err == nil,
		errors.As(err, &known),
		errors.Is(err, store.ErrConflict),
		errors.Is(err, store.ErrNotFound),
		errors.Is(err, context.Canceled),
		errors.Is(err, context.DeadlineExceeded):
		return err
	}
	err = kind(op, err)
	return &store.Error{Op: op, Path: s.named, Err: err, Hint: hint(err)}
}

// kind maps an error of bbolt or the system to the store's own error.
func kind(op string, err error) error {
	for _, own := range known()[:owned] {
		if errors.Is(err, own.err) {
			return err
		}
	}
	switch {
	case wholefile.IsFull(err):
		return fmt.Errorf("%w: %w", store.ErrFull, cause(err))
	case op == writing && (errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS)):
		return fmt.Errorf("%w: %w", store.ErrReadOnly, cause(err))
	}
	return cause(err)
}

// cause drops the path that the system adds: the store's error names it already.
//
//go:noinline
func cause(err error) error {
	var at *fs.PathError
	if errors.As(err, &at) {
		return at.Err
	}
	return err
}

func hint(err error) string {
	for _, k := range known() {
		if errors.Is(err, k.err) {
			return k.hint
		}
	}
	return "check that the disk is connected and works"
}

type knownError struct {
	err  error
	hint string // what to do next
}

const owned = 7 // of the errors in known are not the system's

func known() []knownError {
	return []knownError{
		{store.ErrLocked, "close the other one and try again (on a network share it may stay locked for ever: keep the store on a local disk)"},
		{store.ErrForeign, "move it away, or name another file for the store"},
		{store.ErrNewer, "use the fettle that wrote it, or a newer one"},
		{store.ErrDamaged, "leave the file as it is and continue with its newest good copy"},
		{store.ErrReadOnly, "make it writable, or name another file for the store"},
		{store.ErrFull, "nothing was written: free some space and try again"},
		{wholefile.ErrUnconfirmed, "the change may or may not have been saved: check the journal before repeating it"},
		{fs.ErrPermission, "check who owns the file and who may read it"},
		{syscall.ENOTDIR, "part of the path is not a folder: name another file for the store"},
		{fs.ErrExist, "name a new file"},
		{fs.ErrNotExist, "check the name: the first entry makes the store"},
		{errNoPath, "name the store's file"},
	}
}
