package bolt

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"

	"go.etcd.io/bbolt"

	"fettle/store"
	"fettle/store/seal"
	"fettle/store/wholefile"
)

// batch is how many bytes are held in memory before they are written.
const batch = 4 << 20

// A builder fills a new store, in a few transactions. It keeps no copy of its
// arguments: do not change them until Create returns.
type builder struct {
	ctx     context.Context
	store   *Store
	handle  *handle
	pending []change
	bytes   int   // the total size of the records
	err     error // what ended the building
}

// Create makes a new store at path, whole or not at all: fill puts everything in
// it, check reads it back, and only then does the file get its name. It returns an [*store.Error], which is fs.ErrExist if the
// path is taken; the context's error; or the error of fill or check, unchanged.
func Create(ctx context.Context, path string, fill func(store.Builder) error, check func(store.Store) error) error {
	s := New(path)
	if err := ctx.Err(); err != nil {
		return err
	}
	if _, err := os.Lstat(s.path); err == nil {
		return s.fail(writing, fs.ErrExist)
	}
	var own error // from fill or check
	err := newFile(ctx, s.path, func(h *handle) error {
		h.db.NoSync = true // the whole file is synced at its end
		b := &builder{ctx: ctx, store: s, handle: h, pending: []change{layOut}}
		if own = fill(b); own != nil {
			return own
		}
		if err := b.flush(); err != nil {
			return err
		}
		h.close()
		draft := New(h.file.Name())
		draft.named = s.path // the draft's name would mean nothing to the user
		own = check(draft)
		return own
	})
	if own != nil {
		return own
	}
	return s.fail(writing, err)
}

func (b *builder) Append(mark string, records [][]byte) error {
	if err := store.CheckAppend(mark, 0, records); err != nil {
		return err
	}
	var bytes int
	for _, record := range records {
		bytes += len(record)
	}
	return b.add(bytes, func(tx *bbolt.Tx) (int, error) {
		return len(records), appendTo(tx, mark, 0, records, seal.HashesOf(records))
	})
}

func (b *builder) Keep(document []byte) error {
	if err := store.CheckDocument(document); err != nil {
		return err
	}
	return b.add(len(document), func(tx *bbolt.Tx) (int, error) {
		return 0, tx.Bucket([]byte(bucketDocuments)).Put([]byte(store.Digest(document)), document)
	})
}

func (b *builder) add(bytes int, fn change) error {
	b.pending = append(b.pending, fn)
	if b.bytes += bytes; b.bytes < batch {
		return b.err
	}
	return b.flush()
}

func (b *builder) flush() error {
	if b.err == nil {
		err := b.handle.update(b.ctx, func(tx *bbolt.Tx) (records int, err error) {
			for _, fn := range b.pending {
				more, err := fn(tx)
				if err != nil {
					return 0, err
				}
				records += more
			}
			return records, nil
		})
		b.err = b.store.fail(writing, err)
	}
	b.pending, b.bytes = nil, 0
	return b.err
}

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
	})
}

// newFile makes a file under a temporary name, fills it there, and then renames it: a
// process killed here leaves either no store or a good one. It returns fs.ErrExist if
// the name is taken.
func newFile(ctx context.Context, path string, fill func(*handle) error) error {
	if err := wholefile.MakeFolder(filepath.Dir(path)); err != nil {
		return err
	}
	return wholefile.Create(ctx, path, 0o600, func(file *os.File) error {
		h, err := openWith(true, file.Name(), func(string, int, fs.FileMode) (*os.File, error) { return file, nil })
		if err != nil {
			return err
		}
		defer h.close()
		return fill(h)
	})
}
