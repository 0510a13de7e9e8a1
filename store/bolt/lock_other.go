//go:build windows || plan9 || solaris || aix || android

package bolt

import "os"

// locksEarly is false: here only bbolt can lock a file. What a write trusts is
// checked once it has.
const locksEarly = false

func lock(*os.File, bool) error { return nil }

// unlock does nothing: here closing the file releases the lock.
func unlock(*os.File) {}
