package bolt

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"fettle/store"
	"fettle/store/wholefile"
)

// File is the file that the store is in: what its path leads to, where that is a
// link.
func (s *Store) File() string {
	if info, err := os.Lstat(s.path); err == nil && info.Mode()&fs.ModeSymlink != 0 {
		if file, err := filepath.EvalSymlinks(s.path); err == nil {
			return file
		}
	}
	return s.path
}

// Replace puts the store in the file with in the place of this one, sound or
// damaged, and keeps the one that was there under the name aside. Both are in the
// folder of its [Store.File], and aside is not taken. It tells whether there was one to keep. Where the
// disk knows links there is a store at every moment, even if the power fails.
//
// Before that, check is called with what is there, under the lock, so that
// nothing can be appended in between. Its error ends it, and is given back
// untouched. It may be nil, and is not called where there is no store.
func (s *Store) Replace(ctx context.Context, with, aside string, check func(store.Reader) error) (kept bool, err error) {
	deadline := time.Now().Add(patience)
	if err := s.await(ctx); err != nil {
		return false, err
	}
	defer s.leave()

	var own error // which is check's
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
		// Another process made the file between the two: that one is replaced.
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

// replaceFile replaces the file that is there. It is locked without bbolt, which
// would follow what it finds in a damaged one.
func (s *Store) replaceFile(ctx context.Context, deadline time.Time, path, with, aside string, check func(store.Reader) error) (own, err error) {
	h, err := s.whenFree(ctx, deadline, func() (*handle, error) { return lockFile(path, true) })
	if err != nil {
		return nil, err
	}
	defer h.close()
	if check != nil {
		r := &reader{store: s}
		defer func() { r.over = true }()
		if r.view, err = h.view(); err != nil {
			return nil, err
		}
		if own = check(r); own != nil {
			return own, nil
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if !locksEarly {
		h.close() // a file that is open keeps its name there
	}
	put, undo := os.Rename, func() error { return os.Remove(aside) }
	err = os.Link(path, aside)
	if err != nil && !errors.Is(err, fs.ErrExist) { // the disk knows no links
		// For a moment nothing has the name, and a writer may make a store there.
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
