//go:build unix

package screen

import (
	"os"

	"golang.org/x/sys/unix"
)

// canSuspend reports whether there is a shell to go back to: a program that a
// terminal was opened with has none, and would never be continued.
func canSuspend() bool {
	session, err := unix.Getsid(0)
	return err == nil && session != os.Getpid()
}
