//go:build !darwin && !dragonfly && !freebsd && !illumos && !linux && !netbsd && !openbsd && !windows

package wholefile

import (
	"errors"
	"os"
)

// renameAlone refuses: without locks, a rename could replace what is there.
func renameAlone(from, to string) error {
	return &os.LinkError{Op: "rename", Old: from, New: to, Err: errors.ErrUnsupported}
}
