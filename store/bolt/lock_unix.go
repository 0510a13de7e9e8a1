//go:build !windows && !plan9 && !solaris && !aix && !android

package bolt

import (
	"errors"
	"os"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"
)

// locksEarly tells that a file can be locked before bbolt has it, so that it
// is looked at and written to under one lock.
const locksEarly = true

// lock takes the lock that bbolt is about to take, as far as it is free. The
// same file may have it twice.
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

// unlock gives up the lock of a file that stays mapped: closing it would not.
func unlock(file *os.File) { _ = syscall.Flock(int(file.Fd()), syscall.LOCK_UN) }
