package bolt

import (
	"bufio"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// holders returns the processes that hold a lock on the file, as far as the kernel
// knows: on some filesystems, and from inside a container, it does not.
func holders(path string) []int {
	var stat unix.Stat_t
	if err := unix.Stat(path, &stat); err != nil {
		return nil
	}
	dev := uint64(stat.Dev)
	want := fmt.Sprintf("%02x:%02x:%d", unix.Major(dev), unix.Minor(dev), stat.Ino)

	locks, err := os.Open("/proc/locks")
	if err != nil {
		return nil
	}
	defer locks.Close()

	var pids []int
	lines := bufio.NewScanner(locks)
	for lines.Scan() {
		// 1: FLOCK  ADVISORY  WRITE 4711 fd:00:131 0 EOF
		field := strings.Fields(lines.Text())
		if len(field) < 6 || field[1] != "FLOCK" || field[5] != want {
			continue
		}
		if pid, err := strconv.Atoi(field[4]); err == nil && pid > 0 && !slices.Contains(pids, pid) {
			pids = append(pids, pid)
		}
	}
	return pids
}
