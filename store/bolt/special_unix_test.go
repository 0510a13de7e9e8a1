//go:build linux || darwin || freebsd || netbsd || openbsd

package bolt_test

import (
	"errors"
	"net"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"fettle/store"
)

// TestNoPlainFile uses names of things that are not files: they are refused without
// being opened, which could wait for ever.
func TestNoPlainFile(t *testing.T) {
	for name, lay := range map[string]func(path string) error{
		"pipe": func(path string) error { return syscall.Mkfifo(path, 0o600) },
		"socket": func(path string) error {
			l, err := net.Listen("unix", path)
			if err == nil {
				t.Cleanup(func() { l.Close() })
			}
			return err
		},
		"device":         func(path string) error { return os.Symlink("/dev/zero", path) },
		"link to a pipe": linkToPipe,
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "fettle.db")
			if err := lay(path); err != nil {
				t.Skip("this system makes none:", err)
			}
			wantFailure(t, path, store.ErrForeign)
			if _, err := os.Lstat(path); err != nil {
				t.Error(err)
			}
		})
	}
}

func linkToPipe(path string) error {
	return errors.Join(syscall.Mkfifo(path+".pipe", 0o600), os.Symlink(path+".pipe", path))
}

// TestLinkLoop uses links that point to each other.
func TestLinkLoop(t *testing.T) {
	folder := t.TempDir()
	path, other := filepath.Join(folder, "fettle.db"), filepath.Join(folder, "other.db")
	if err := errors.Join(os.Symlink(path, other), os.Symlink(other, path)); err != nil {
		t.Fatal(err)
	}
	wantFailure(t, path, store.ErrForeign)
	wantOnly(t, folder, "fettle.db", "other.db")
}

// TestUnreadable uses a store that this user may not read.
func TestUnreadable(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root may read everything")
	}
	path := filepath.Join(t.TempDir(), "fettle.db")
	mustAppend(t, path, "CW-01", 0, "a")
	if err := os.Chmod(path, 0); err != nil {
		t.Fatal(err)
	}
	_, err := read(t, path)
	wantError(t, err, "read", path, os.ErrPermission)
	wantWriteFailure(t, path, store.ErrReadOnly)
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if got := mustRead(t, path).journals["CW-01"]; len(got) != 1 {
		t.Errorf("%q", got)
	}
}
