package wholefile

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// Hold keeps [Clear] from deleting a draft until the holder is closed, or its process
// has ended, however. It fails if another process holds the draft. Its lock is one of the
// open file, and has nothing to do with the locks of flock, which stores use.
func Hold(path string) (io.Closer, error) {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	err = unix.FcntlFlock(file.Fd(), unix.F_OFD_SETLK, &unix.Flock_t{Type: unix.F_WRLCK})
	if err != nil {
		_ = file.Close()
		return nil, &os.PathError{Op: "lock", Path: path, Err: err}
	}
	return file, nil
}

// isHeld reports whether [Hold] failed because of another process.
func isHeld(err error) bool { return errors.Is(err, unix.EAGAIN) || errors.Is(err, unix.EACCES) }
