package bolt

import (
	"cmp"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	berrors "go.etcd.io/bbolt/errors"

	"fettle/store"
	"fettle/store/wholefile"
)

// File is the file that holds the store: if the path is a link, what it points to.
func (s *Store) File() string {
	if info, err := os.Lstat(s.path); err == nil && info.Mode()&fs.ModeSymlink != 0 {
		if file, err := filepath.EvalSymlinks(s.path); err == nil {
			return file
		}
	}
	return s.path
}

// Replace replaces this store, sound or damaged, with the one in the file with, and
// keeps the old one under the name aside. Both names must be in the folder of
// [Store.File], and aside must be free. It reports whether there was a store to
// keep. On disks that support links there is a store at every moment, even if the
// power fails.
//
// First, check is called with the old store under the lock, so that nothing can be
// appended in between. If it fails, Replace returns its error unchanged. check may
// be nil, and is not called if there is no store.
func (s *Store) Replace(ctx context.Context, with, aside string, check func(store.Reader) error) (kept bool, err error) {
	deadline := time.Now().Add(s.patience)
	if err := s.await(ctx); err != nil {
		return false, err
	}
	defer s.leave()

	var own error // from check
	path := s.File()
	for range attempts {
		if err = s.look(true); err == nil {
			kept = true
			own, err = s.replaceFile(ctx, deadline, path, with, aside, check)
			break
		}
		if errors.Is(err, fs.ErrNotExist) {
			err = wholefile.Move(with, path)
		}
		// Another process made the file in between: replace that one.
		if !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	switch {
	case own != nil:
		return false, own
	case err != nil:
		return false, s.fail(writing, err)
	}
	return kept, s.fail(writing, wholefile.Confirm(filepath.Dir(path)))
}

// replaceFile replaces an existing file. For that it locks the file without bbolt,
// which would follow whatever it finds in a damaged one.
func (s *Store) replaceFile(ctx context.Context, deadline time.Time, path, with, aside string, check func(store.Reader) error) (own, err error) {
	h, err := s.whenFree(ctx, deadline, func() (h *handle, err error) {
		if check == nil {
			file, err := lockFile(path, os.O_RDWR, true)
			return &handle{file: file}, err
		}
		own, h, err = s.checkFile(path, check)
		return h, err
	})
	if err != nil || own != nil {
		return own, err
	}
	defer h.close()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if !locksEarly {
		h.close() // some of these systems cannot rename an open file
	}
	put, undo := os.Rename, func() error { return os.Remove(aside) }
	err = os.Link(path, aside)
	if err != nil && !errors.Is(err, fs.ErrExist) { // the disk does not support links
		// For a moment the name is free, and a writer may make a store there.
		put, undo = wholefile.Move, func() error { return wholefile.Move(aside, path) }
		err = wholefile.Move(path, aside)
	}
	if err != nil {
		return nil, err
	}
	if err := put(with, path); err != nil {
		return nil, errors.Join(err, undo())
	}
	return nil, nil
}

// checkFile lets check read the file, and returns it locked for writing if nothing
// was written in between; else the file counts as locked.
func (s *Store) checkFile(path string, check func(store.Reader) error) (own error, h *handle, err error) {
	if h, err = openFile(path, false); err != nil {
		return nil, nil, err
	}
	if own, err = s.show(h, check); err == nil && own == nil {
		err = lockNamed(h.file, path, true)
	}
	if head, headErr := readHead(h.file); err == nil && (headErr != nil || head != h.head) {
		err = cmp.Or(headErr, berrors.ErrTimeout)
	}
	if err != nil || own != nil {
		h.close()
		return own, nil, err
	}
	return nil, h, nil
}
