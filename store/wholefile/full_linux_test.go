package wholefile

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// TestPipe uses a name that is neither a file nor a link.
func TestPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	must(t, syscall.Mkfifo(path, 0o600))
	for name, make := range makers() {
		if err := make(t.Context(), path, 0o600, text("glue")); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if info, err := os.Lstat(path); err != nil || info.Mode().Type() != fs.ModeNamedPipe {
		t.Errorf("%v, %v", info, err)
	}
	wantOnly(t, filepath.Dir(path), "pipe")
}

// TestFullDisk uses a full disk, and one that may not be written to.
func TestFullDisk(t *testing.T) {
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=64k"); err != nil {
		t.Skip("no disk of its own for this test, which needs the right to mount one:", err)
	}
	t.Cleanup(func() { must(t, syscall.Unmount(disk, syscall.MNT_DETACH)) })
	long := func(file *os.File) error {
		_, err := file.Write(bytes.Repeat([]byte("long"), 50_000))
		return err
	}
	path, other := filepath.Join(disk, "a"), filepath.Join(disk, "b")
	for round := range 3 { // a failed try leaves nothing that takes up space
		err := Create(t.Context(), path, 0o600, long)
		if !errors.Is(err, syscall.ENOSPC) {
			t.Fatal(round, err)
		}
		wantPlain(t, err, path)
		wantOnly(t, disk)
	}
	must(t, Create(t.Context(), path, 0o600, text("short")))
	if err := Replace(t.Context(), path, 0o600, long); !errors.Is(err, syscall.ENOSPC) {
		t.Error(err)
	}
	wantText(t, path, "short")

	must(t, syscall.Mount("", disk, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
	for _, err := range []error{Create(t.Context(), other, 0o600, text("b")), Replace(t.Context(), path, 0o600, text("b")), MakeFolder(other)} {
		if !errors.Is(err, syscall.EROFS) {
			t.Error(err)
		}
	}
	must(t, Confirm(disk))
	wantText(t, path, "short")
	wantOnly(t, disk, "a")
}
