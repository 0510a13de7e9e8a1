//go:build !windows && !plan9 && !solaris && !aix && !android

package bolt

import (
	"os"
	"syscall"
)

// unlock gives up the lock of a file that stays mapped: closing it would not.
func unlock(file *os.File) { _ = syscall.Flock(int(file.Fd()), syscall.LOCK_UN) }
