//go:build darwin || dragonfly || freebsd || illumos || linux || netbsd || openbsd

package wholefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// renameAlone renames unless the name is taken, which it looks for while it has
// the folder's lock. So none of us replaces the file of another; a program that
// does not ask for the lock could have its file replaced, if it made it between
// the look and the rename. A killed process has no lock.
func renameAlone(from, to string) error {
	folder, err := os.Open(filepath.Dir(to))
	if err != nil {
		return err
	}
	defer folder.Close() // which gives the lock up
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
