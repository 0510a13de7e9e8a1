//go:build !windows && !plan9 && !solaris && !aix && !android

package bolt

import (
	"errors"
	"os"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"
)

// locksEarly is true: here a file can be locked before bbolt opens it, so that it
// is read and written under one lock.
const locksEarly = true

// lock takes the lock that bbolt is about to take, if it is free. One open file may
// take it twice.
func lock(file *os.File, write bool) error {
	how := syscall.LOCK_SH
	if write {
		how = syscall.LOCK_EX
	}
	err := syscall.Flock(int(file.Fd()), how|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return berrors.ErrTimeout
	}
	return err
}

// unlock releases the lock of a file that stays mapped: closing it would not.
func unlock(file *os.File) { _ = syscall.Flock(int(file.Fd()), syscall.LOCK_UN) }
