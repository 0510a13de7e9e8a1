package diskless

import (
	"os"
	"syscall"
)

// Begin is called by TestMain where tests write many files and do not depend on the disk: their
// folders are in memory, if the system has room there and nobody said where they are to be. To wait
// for a disk took them a fifth of their time.
func Begin() {
	const folder, room = "/dev/shm", 2 << 30
	var has syscall.Statfs_t
	if _, said := os.LookupEnv("TMPDIR"); said || syscall.Statfs(folder, &has) != nil || has.Bavail < room/uint64(has.Bsize) || syscall.Access(folder, 7) != nil {
		return
	}
	if err := os.Setenv("TMPDIR", folder); err != nil {
		panic(err)
	}
}
