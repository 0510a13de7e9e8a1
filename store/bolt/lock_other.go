//go:build windows || plan9 || solaris || aix || android

package bolt

import "os"

// locksEarly is false: here only bbolt can lock a file. The file is read before it
// is locked, and a change must check again that nothing has changed since.
const locksEarly = false

func lock(*os.File, bool) error { return nil }

// unlock does nothing: here closing the file releases the lock.
func unlock(*os.File) {}
