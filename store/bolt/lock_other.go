//go:build windows || plan9 || solaris || aix || android

package bolt

import "os"

// locksEarly tells that only bbolt locks a file here: it is looked at by a
// reader first, and a change has to make sure of what was seen.
const locksEarly = false

func lock(*os.File, bool) error { return nil }

// unlock leaves it to closing the file, which gives up the lock here.
func unlock(*os.File) {}
