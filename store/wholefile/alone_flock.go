//go:build darwin || dragonfly || freebsd || illumos || linux || netbsd || openbsd

package wholefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// renameAlone renames unless the name is taken, which it checks while it holds the
// folder's lock. So no fettle replaces the file of another. A program that does not
// take the lock could have its file replaced if it made it between the check and
// the rename. A killed process holds no lock.
func renameAlone(from, to string) error {
	folder, err := os.Open(filepath.Dir(to))
	if err != nil {
		return err
	}
	defer folder.Close() // which releases the lock
	if err := syscall.Flock(int(folder.Fd()), syscall.LOCK_EX); err != nil {
		return &fs.PathError{Op: "lock", Path: folder.Name(), Err: err}
	}
	_, err = os.Lstat(to)
	if err == nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: syscall.EEXIST}
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return os.Rename(from, to)
}
