package wholefile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"syscall"

	"fettle/store"
)

// MakeFolder makes a folder, and those above it that are missing, for their owner
// only, and durable. If the folder exists it does nothing.
//
// It returns [store.ErrReadOnly] if the mode of a folder forbids writing, even for
// root, and [syscall.ENOTDIR] if something that is not a folder is in the way.
func MakeFolder(folder string) error {
	var changed []string // the folders that get a new one inside
	for at := folder; ; at = filepath.Dir(at) {
		info, err := os.Stat(at)
		if err == nil {
			if !info.IsDir() {
				return noFolder(at)
			}
			if runtime.GOOS != "windows" && info.Mode().Perm()&0o200 == 0 {
				return fmt.Errorf("%w: its folder %s cannot be written to", store.ErrReadOnly, at)
			}
			break
		}
		if !errors.Is(err, fs.ErrNotExist) || filepath.Dir(at) == at {
			return err
		}
		changed = append(changed, filepath.Dir(at))
	}
	if len(changed) == 0 {
		return nil
	}
	if err := os.MkdirAll(folder, 0o700); errors.Is(err, fs.ErrExist) {
		return noFolder(folder) // a dangling link is there, or above
	} else if err != nil {
		return err
	}
	for _, folder := range changed {
		if err := syncFolder(folder); err != nil {
			return err
		}
	}
	return nil
}

func noFolder(path string) error {
	return &fs.PathError{Op: "mkdir", Path: path, Err: syscall.ENOTDIR}
}

// Confirm makes the names in folders durable, including those that other processes
// made. It returns [ErrUnconfirmed] if it cannot.
func Confirm(folders ...string) error {
	for _, folder := range folders {
		if err := syncFolder(folder); err != nil {
			return fmt.Errorf("%w: %v", ErrUnconfirmed, err)
		}
	}
	return nil
}

// syncFolder makes the names in a folder durable, if the system can.
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
