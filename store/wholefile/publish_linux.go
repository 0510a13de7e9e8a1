package wholefile

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// publish gives a file its name. It returns fs.ErrExist if the name is taken.
func publish(from, to string) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, unix.RENAME_NOREPLACE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) {
		return publishByLink(from, to) // not supported by the filesystem or the system
	}
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return nil
}
