package bolt

import (
	"cmp"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"fettle/store"
	"fettle/store/memory"
	"fettle/store/wholefile"
)

const (
	pause    = 5 * time.Millisecond // between two tries for the lock
	attempts = 3                    // to open a file that appears or disappears meanwhile
)

// What was being done, in the words of an error.
const (
	reading = "read"
	writing = "write"
)

// A Store is a [store.Store] in the file at a path. Use [New].
//
// A missing file is an empty store; the first write makes the file and the folders
// above it, readable by their owner only.
type Store struct {
	// Migrated is called after the store was migrated to the present schema, with
	// the name of the file that keeps the old one. It may be nil.
	Migrated func(from, to int, kept string)

	path     string
	named    string        // the path that errors show
	patience time.Duration // how long to wait for the lock

	tidy sync.Once // deletes what killed processes left beside the file

	// turn makes the goroutines of this process queue for the file's lock, so that
	// a busy writer does not starve the others.
	turn chan struct{}
}

var _ store.Store = (*Store)(nil)

// New returns the store in the file at path. It does not open the file.
func New(path string) *Store {
	if path != "" {
		path = filepath.Clean(path)
	}
	return &Store{path: path, named: path, patience: store.Patience, turn: make(chan struct{}, 1)}
}

// View is [store.Store.View]. It returns the context's error, that of fn, or an
// [*store.Error]. A missing file is read as an empty store and is not made.
func (s *Store) View(ctx context.Context, fn func(store.Reader) error) error {
	h, err := s.openToRead(ctx)
	if errors.Is(err, fs.ErrNotExist) {
		return memory.New().View(ctx, fn)
	}
	if err != nil {
		return s.fail(reading, err)
	}
	defer h.close()
	own, err := s.show(h, fn)
	return cmp.Or(own, s.fail(reading, err))
}

// show calls fn with what is in the file; own is its error.
func (s *Store) show(h *handle, fn func(store.Reader) error) (own, err error) {
	v, err := h.view()
	if err != nil {
		return nil, err
	}
	r := &reader{store: s, view: v}
	defer func() { r.over = true }()
	return fn(r), nil
}

func (s *Store) openToRead(ctx context.Context) (*handle, error) {
	deadline := time.Now().Add(s.patience)
	if err := s.await(ctx); err != nil {
		return nil, err
	}
	defer s.leave()
	if err := s.look(false); err != nil {
		return nil, err
	}
	return s.whenFree(ctx, deadline, func() (*handle, error) { return openFile(s.path, false) })
}

// Append is [store.Store.Append], with its errors.
func (s *Store) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if err := store.CheckAppend(mark, size, records); err != nil {
		return err
	}
	return s.write(ctx, func(v *view) (change, error) { return planAppend(v, mark, size, records) })
}

// Keep is [store.Store.Keep], with its errors.
func (s *Store) Keep(ctx context.Context, document []byte) (string, error) {
	if err := store.CheckDocument(document); err != nil {
		return "", err
	}
	digest := store.Digest(document)
	err := s.write(ctx, func(v *view) (change, error) { return planKeep(v, digest, document) })
	if err != nil {
		return "", err
	}
	return digest, nil
}

// A plan reads and checks what a change needs, and returns the change; nil if there is
// nothing to write.
type plan func(*view) (change, error)

// write makes one change in one transaction, in a new file if there is none.
func (s *Store) write(ctx context.Context, p plan) error {
	// The deadline includes the wait in the queue, so that a queue for a locked store
	// moves on.
	deadline := time.Now().Add(s.patience)
	if err := s.await(ctx); err != nil {
		return err
	}
	defer s.leave()

	var err error
	for range attempts {
		err = s.writeOnce(ctx, deadline, p)
		if errors.Is(err, fs.ErrNotExist) {
			err = s.create(ctx, p)
		}
		// Another process made the file in between: write to that one.
		if !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	if err == nil {
		s.tidy.Do(func() { wholefile.Clear(filepath.Dir(s.File())) })
	}
	return s.fail(writing, err)
}

func (s *Store) writeOnce(ctx context.Context, deadline time.Time, p plan) error {
	if err := s.look(true); err != nil {
		return err
	}
	h, err := s.whenFree(ctx, deadline, func() (*handle, error) { return openFile(s.path, true) })
	if err != nil {
		return err
	}
	defer h.close()
	v, err := h.viewOf(h.walk)
	if err != nil {
		return err
	}
	var fn change
	err = guard(func() (err error) {
		if _, err = v.listed(); err == nil {
			fn, err = p(v)
		}
		return err
	})
	h.records = v.records
	h.endView()
	if err != nil || fn == nil {
		return err
	}
	if v.schema < schema {
		if err := s.migrate(ctx, h); err != nil {
			return err
		}
	}
	return h.update(ctx, fn)
}

func (s *Store) await(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case s.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *Store) leave() { <-s.turn }

// look refuses what must not even be opened: opening a pipe would wait for ever,
// and root could write to a read-only file.
func (s *Store) look(write bool) error {
	if s.path == "" {
		return errNoPath
	}
	info, err := os.Stat(s.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if link, linkErr := os.Lstat(s.path); linkErr == nil && link.Mode()&fs.ModeSymlink != 0 {
			return foreign("a link to a file that is not there")
		}
		return err
	case errors.Is(err, syscall.ELOOP):
		return foreign("a link that leads to itself")
	case err != nil:
		return err
	case info.IsDir():
		return foreign("a folder")
	case !info.Mode().IsRegular():
		return foreign("not a plain file")
	case write && info.Mode().Perm()&0o200 == 0:
		return store.ErrReadOnly
	}
	return nil
}

// whenFree tries at least once, and then until the deadline.
func (s *Store) whenFree(ctx context.Context, deadline time.Time, try func() (*handle, error)) (*handle, error) {
	for {
		h, err := try()
		if err == nil || !isLocked(err) {
			return h, err
		}
		if !time.Now().Before(deadline) {
			return nil, lockedBy(holders(s.path))
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(pause):
		}
	}
}
