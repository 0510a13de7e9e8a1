package wholefile

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// publish gives a file its name, and fs.ErrExist if the name is taken.
func publish(from, to string) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, unix.RENAME_NOREPLACE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) {
		return publishByLink(from, to) // the filesystem or the system does not know it
	}
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return nil
}
