package bolt

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"go.etcd.io/bbolt"

	"fettle/store"
)

// litterAge is when a half-made file is surely no one's any more.
const litterAge = time.Hour

// create makes the store with its first change already in it. It gives
// fs.ErrExist when another process was first.
func (s *Store) create(ctx context.Context, p plan) error {
	fn, err := p(nil)
	if err != nil {
		return err
	}
	return newFile(ctx, s.path, func(h *handle) error {
		return h.update(ctx, func(tx *bbolt.Tx) error {
			if err := layOut(tx); err != nil {
				return err
			}
			return fn(tx)
		})
	})
}

// newFile makes a file under another name and fills it, and the file appears
// whole: a process killed here leaves no store, or a good one. It gives
// fs.ErrExist where the name is taken.
func newFile(ctx context.Context, path string, fill func(*handle) error) error {
	folder, name := filepath.Split(path)
	folder = filepath.Clean(folder)
	made, err := makeFolder(folder)
	if err != nil {
		return err
	}
	prefix := "." + name + ".new-"
	clearLitter(folder, prefix)

	file, err := os.CreateTemp(folder, prefix+"*")
	if err != nil {
		return err
	}
	defer os.Remove(file.Name()) // it has moved away, unless something failed
	if err := fillFile(file, fill); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := publish(file.Name(), path); err != nil {
		return err
	}
	for _, changed := range append(made, folder) {
		if err := syncFolder(changed); err != nil {
			return unconfirmed(err)
		}
	}
	return nil
}

func fillFile(file *os.File, fill func(*handle) error) error {
	h, err := openWith(true, file.Name(), func(string, int, fs.FileMode) (*os.File, error) { return file, nil })
	if err != nil {
		return err
	}
	defer h.close()
	if err := fill(h); err != nil {
		return err
	}
	return file.Sync() // bbolt has synced the content, but not all that is known of the file
}

// makeFolder makes a folder and those above it. It gives the folders in which
// it made one, and refuses one whose mode says not to write, whoever asks.
func makeFolder(folder string) (changed []string, err error) {
	for at := folder; ; at = filepath.Dir(at) {
		info, err := os.Stat(at)
		if err == nil {
			if !info.IsDir() {
				return nil, syscall.ENOTDIR
			}
			if info.Mode().Perm()&0o200 == 0 {
				return nil, fmt.Errorf("%w: its folder %s is", store.ErrReadOnly, at)
			}
			break
		}
		if !errors.Is(err, fs.ErrNotExist) || filepath.Dir(at) == at {
			return nil, err
		}
		changed = append(changed, filepath.Dir(at))
	}
	return changed, os.MkdirAll(folder, 0o700)
}

// clearLitter takes away what processes killed while making the store left. It
// is no matter if that fails.
func clearLitter(folder, prefix string) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return
	}
	for _, entry := range entries {
		if !strings.HasPrefix(entry.Name(), prefix) {
			continue
		}
		if info, err := entry.Info(); err == nil && time.Since(info.ModTime()) > litterAge {
			_ = os.Remove(filepath.Join(folder, entry.Name()))
		}
	}
}

// syncFolder makes a new name in a folder durable, where a system can.
func syncFolder(folder string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	defer f.Close()
	err = f.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, errors.ErrUnsupported) {
		return nil // some filesystems have nothing to sync in a folder
	}
	return err
}
