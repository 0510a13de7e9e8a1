package photos

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"fettle/store/wholefile"
)

// keep puts a photo in its place, where it appears whole, and makes it durable.
func (f Folder) keep(ctx context.Context, data []byte, digest string) error {
	path, err := f.place(digest)
	if err != nil {
		return err
	}
	if f.within != "" {
		if info, err := os.Stat(f.within); err != nil || !info.IsDir() {
			return ErrNoFolder
		}
	}
	shelf := filepath.Dir(path)
	f.linked = ""
	if err := f.Check(digest); err != nil {
		write := func(file *os.File) error {
			_, err := file.Write(data)
			return err
		}
		if failed := wholefile.MakeFolder(shelf); failed != nil {
			return failed
		}
		if errors.Is(err, ErrMissing) { // so as not to replace a good file that somebody is reading
			err = wholefile.CreateFrom(ctx, f.path, path, 0o600, write) // what a killed process left there, any photo finds
		} else { // a damaged one
			err = wholefile.Replace(ctx, path, 0o600, write)
		}
		if errors.Is(err, fs.ErrExist) && f.Check(digest) == nil {
			err = nil // another process was first
		}
		if err != nil {
			return err
		}
	}
	// Do this even if the photo was already there: another process may have been
	// killed between the move and this.
	return wholefile.Confirm(shelf, f.path, filepath.Dir(f.path))
}
