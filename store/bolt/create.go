package bolt

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"

	"go.etcd.io/bbolt"

	"fettle/store/wholefile"
)

// create makes the store with its first change already in it. It returns
// fs.ErrExist if another process made it first.
func (s *Store) create(ctx context.Context, p plan) error {
	fn, err := p(nil)
	if err != nil {
		return err
	}
	return newFile(ctx, s.path, func(h *handle) error {
		return h.update(ctx, func(tx *bbolt.Tx) (int, error) {
			if _, err := layOut(tx); err != nil {
				return 0, err
			}
			return fn(tx)
		})
	}, func(string) error { return nil })
}

// newFile makes a file under a temporary name, fills and checks it there, and
// then renames it: a process killed here leaves either no store or a good one. It
// returns fs.ErrExist if the name is taken.
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
