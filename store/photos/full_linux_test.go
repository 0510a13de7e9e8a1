package photos

import (
	"bytes"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/wholefile"
)

// TestPipe uses a pipe that nobody writes to.
func TestPipe(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "a.jpg")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	told := make(chan error, 1)
	f := beside(t)
	go func() { _, err := f.Add(t.Context(), pipe); told <- err }()
	select {
	case err := <-told:
		wantError(t, err, adding, wholefile.ErrNotFile)
	case <-time.After(10 * time.Second):
		t.Fatal("it waits for the pipe")
	}
	_, err := f.Add(t.Context(), "/dev/zero")
	wantError(t, err, adding, wholefile.ErrNotFile)
}

// TestFullDisk adds photos to a small disk until it is full, and goes on when
// there is room again.
func TestFullDisk(t *testing.T) {
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=64k"); err != nil {
		t.Skip("no disk of its own for this test, which needs the right to mount one:", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	f := Beside(filepath.Join(disk, "build.db"))
	data := asJPEG(t, corners())
	long := write(t, "long.jpg", append(bytes.Clone(data), make([]byte, 100_000)...))
	small := write(t, "small.jpg", data)
	_, err := f.Add(t.Context(), long)
	wantError(t, err, writing, store.ErrFull)
	if got := files(t, f.Path()); len(got) != 0 {
		t.Errorf("left behind: %q", got)
	}
	digest := mustAdd(t, f, small).Digest

	if err := syscall.Mount("", disk, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Add(t.Context(), small); err != nil {
		t.Error("what is there already needs no writing:", err)
	}
	other := write(t, "other.jpg", append(bytes.Clone(data), 0))
	_, err = f.Add(t.Context(), other)
	wantError(t, err, writing, store.ErrReadOnly)
	if got := files(t, f.Path()); len(got) != 1 {
		t.Errorf("the folder holds %q", got)
	}
	if err := f.Check(digest); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(f.Path()); err != nil {
		t.Error(err)
	}
}
