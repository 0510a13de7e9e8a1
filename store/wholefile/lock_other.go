//go:build !darwin && !dragonfly && !freebsd && !illumos && !linux && !netbsd && !openbsd

package wholefile

import (
	"errors"
	"os"
	"time"
)

// Lock waits until no other fettle has made a mark beside the file, for a while, and makes it until the lock is released. So what
// was read there is still there when it is replaced. A program that is ended leaves its mark behind: whoever has waited so long, many
// times as long as any program takes, takes it for such a one. What can't be written there holds nothing.
func Lock(path string) (release func(), err error) {
	mark := path + ".lock"
	for until := time.Now().Add(2 * patience); ; time.Sleep(pause) {
		file, err := os.OpenFile(mark, os.O_CREATE|os.O_EXCL, 0o600)
		_ = file.Close()
		if !errors.Is(err, os.ErrExist) || !time.Now().Before(until) {
			return func() { _ = os.Remove(mark) }, nil
		}
	}
}
