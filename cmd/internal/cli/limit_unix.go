//go:build darwin || linux

package cli

import "syscall"

// limitMemory limits how much memory this process may take. Where the system does not
// know the limit, or does not keep it, there is none.
func limitMemory(bytes uint64) {
	var limit syscall.Rlimit
	if syscall.Getrlimit(syscall.RLIMIT_DATA, &limit) == nil {
		limit.Cur = min(limit.Cur, bytes)
		_ = syscall.Setrlimit(syscall.RLIMIT_DATA, &limit)
	}
}
