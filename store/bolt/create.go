package bolt

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"

	"go.etcd.io/bbolt"

	"fettle/store/wholefile"
)

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
	}, func(string) error { return nil })
}

// newFile makes a file under another name, fills it and has it checked under
// that, and the file appears whole: a process killed here leaves no store, or a
// good one. It gives fs.ErrExist where the name is taken.
func newFile(ctx context.Context, path string, fill func(*handle) error, check func(temp string) error) error {
	if err := wholefile.MakeFolder(filepath.Dir(path)); err != nil {
		return err
	}
	return wholefile.Create(ctx, path, 0o600, func(file *os.File) error {
		h, err := openWith(true, file.Name(), func(string, int, fs.FileMode) (*os.File, error) { return file, nil })
		if err != nil {
			return err
		}
		if err := fill(h); err != nil {
			h.close()
			return err
		}
		h.close()
		return check(file.Name())
	})
}
