package wholefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"

	"fettle/store"
)

func TestMakeFolder(t *testing.T) {
	base := t.TempDir()
	t.Chdir(base)
	for _, folder := range []string{filepath.Join(base, "a", "b", "c"), filepath.Join(base, "a", "d"), "e/f", "./g", ".", base} {
		for range 2 { // the second time it is there
			must(t, MakeFolder(folder))
			if info, err := os.Stat(folder); err != nil || !info.IsDir() {
				t.Errorf("%s: %v, %v", folder, info, err)
			}
		}
	}
	if runtime.GOOS == "windows" {
		return
	}
	for _, folder := range []string{"a", "a/b", "a/b/c", "e", "e/f", "g"} {
		if info, err := os.Stat(folder); err != nil || info.Mode().Perm() != 0o700 {
			t.Errorf("%s: %v, %v", folder, info, err)
		}
	}
}

func TestMakeFolderTogether(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "a", "b", "c")
	var all sync.WaitGroup
	for range 16 {
		all.Go(func() {
			if err := MakeFolder(folder); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
}

func TestMakeFolderRefuses(t *testing.T) {
	base := t.TempDir()
	file, dangling, shut := filepath.Join(base, "file"), filepath.Join(base, "dangling"), filepath.Join(base, "shut")
	must(t, os.WriteFile(file, nil, 0o600), os.Mkdir(shut, 0o500))
	all := map[string]error{file: syscall.ENOTDIR, filepath.Join(file, "a"): syscall.ENOTDIR, strings.Repeat("n", 300): syscall.ENAMETOOLONG}
	if runtime.GOOS != "windows" {
		must(t, os.Symlink("nothing", dangling))
		all[dangling], all[filepath.Join(dangling, "a")] = syscall.ENOTDIR, syscall.ENOTDIR
		all[shut], all[filepath.Join(shut, "a", "b")] = store.ErrReadOnly, store.ErrReadOnly
	}
	for folder, want := range all {
		err := MakeFolder(folder)
		if !errors.Is(err, want) || errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: %v", folder, err)
		}
		if want == store.ErrReadOnly && !strings.Contains(err.Error(), shut) {
			t.Errorf("it does not say which folder: %v", err)
		}
	}
	wantOnly(t, shut)
}

func TestConfirm(t *testing.T) {
	folder := t.TempDir()
	must(t, Confirm(folder, filepath.Dir(folder)), Confirm())
	if runtime.GOOS == "windows" {
		t.Skip("Windows confirms no folder")
	}
	none := filepath.Join(folder, "none")
	err := Confirm(folder, none)
	if !errors.Is(err, ErrUnconfirmed) || errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), none) {
		t.Error(err)
	}
}

// TestUnconfirmed moves the folder away at the last moment, so that it cannot be
// synced.
func TestUnconfirmed(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows confirms no folder")
	}
	base := t.TempDir()
	folder, away := filepath.Join(base, "here"), filepath.Join(base, "away")
	must(t, os.Mkdir(folder, 0o700))
	path := filepath.Join(folder, "a")
	err := makeFile(t.Context(), folder, path, 0o600, text("glue"), func(from, to string) error {
		return errors.Join(publish(from, to), os.Rename(folder, away))
	})
	if !errors.Is(err, ErrUnconfirmed) || errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	wantText(t, filepath.Join(away, "a"), "glue")
	wantOnly(t, away, "a")
}
