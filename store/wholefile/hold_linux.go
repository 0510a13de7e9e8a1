package wholefile

import (
	"os"

	"golang.org/x/sys/unix"
)

// hold locks a draft for its maker, until release is called or the process has ended.
// It opens the draft again: the lock is then not that of whoever writes it, and lasts
// when the draft is closed. It reports whether nobody else holds the draft.
func hold(path string) (release func(), free bool) {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, false
	}
	lock := unix.Flock_t{Type: unix.F_WRLCK}
	if err := unix.FcntlFlock(file.Fd(), unix.F_OFD_SETLK, &lock); err != nil {
		file.Close()
		return nil, false
	}
	return func() { file.Close() }, true
}
