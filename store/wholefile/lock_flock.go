//go:build darwin || dragonfly || freebsd || illumos || linux || netbsd || openbsd

package wholefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// Lock waits until no other fettle holds the folder of a file, for patience at most, and holds it until the lock is released. So what was read
// there is still there when it is replaced. A program that has ended, however it did, holds nothing. Where the disk knows no locks,
// nothing is held.
func Lock(path string) (release func(), err error) {
	folder, err := os.Open(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	for until := time.Now().Add(patience); ; time.Sleep(pause) {
		err = syscall.Flock(int(folder.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if !errors.Is(err, syscall.EWOULDBLOCK) && !errors.Is(err, syscall.EINTR) {
			return func() { _ = folder.Close() }, nil
		}
		if !time.Now().Before(until) {
			_ = folder.Close()
			return nil, &fs.PathError{Op: "lock", Path: folder.Name(), Err: errHeld}
		}
	}
}
