package photos

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"fettle/store"
)

const (
	litterPrefix = ".new-"
	litterAge    = time.Hour // when a half-made file is surely no one's any more
)

// keep writes a photo under another name and moves it to its place, so that it
// appears whole, and makes that durable.
func (f Folder) keep(data []byte, digest string) error {
	path, err := f.place(digest)
	if err != nil {
		return err
	}
	shelf := filepath.Dir(path)
	var made []string
	if f.Check(digest) != nil {
		if made, err = makeFolder(shelf); err != nil {
			return err
		}
		clearLitter(f.path)
		if err := f.write(data, path); err != nil {
			return err
		}
	}
	// Also where it was there before: another process may have been cut off
	// between the move and this.
	for _, changed := range append(made, shelf, f.path, filepath.Dir(f.path)) {
		if err := syncFolder(changed); err != nil {
			return fmt.Errorf("%w: %v", errUnconfirmed, err)
		}
	}
	return nil
}

func (f Folder) write(data []byte, path string) (err error) {
	file, err := os.CreateTemp(f.path, litterPrefix+"*") // its mode is 0600
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = os.Remove(file.Name()) // what went wrong before is what is said
		}
	}()
	_, err = file.Write(data)
	if err == nil {
		err = file.Sync()
	}
	if closed := file.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	return os.Rename(file.Name(), path)
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
			if runtime.GOOS != "windows" && info.Mode().Perm()&0o200 == 0 {
				return nil, fmt.Errorf("%w: its folder %s is", store.ErrReadOnly, at)
			}
			break
		}
		if !errors.Is(err, os.ErrNotExist) || filepath.Dir(at) == at {
			return nil, err
		}
		changed = append(changed, filepath.Dir(at))
	}
	return changed, os.MkdirAll(folder, 0o700)
}

// clearLitter takes away what processes killed while adding left. It is no
// matter if that fails.
func clearLitter(folder string) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return
	}
	for _, entry := range entries {
		if !strings.HasPrefix(entry.Name(), litterPrefix) {
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
