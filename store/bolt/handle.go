package bolt

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime/debug"
	"time"

	"go.etcd.io/bbolt"

	"fettle/store"
)

// A handle is one opening of the file.
type handle struct {
	file *os.File
	db   *bbolt.DB
	lost bool // bbolt panicked, and its inner locks are in a state unknown
}

// openFile tries once for the lock. A file that is not there is not made.
func openFile(path string, write bool) (*handle, error) {
	return openWith(write, path, func(name string, flag int, mode fs.FileMode) (*os.File, error) {
		file, err := os.OpenFile(name, flag&^os.O_CREATE, mode)
		if err != nil {
			return nil, err
		}
		// bbolt would lay out an empty file afresh and map any other.
		if _, err := readHead(file); err != nil {
			file.Close()
			return nil, err
		}
		return file, nil
	})
}

func openWith(write bool, path string, open func(string, int, fs.FileMode) (*os.File, error)) (*handle, error) {
	h := &handle{}
	options := &bbolt.Options{
		// One try: a timeout of 0 would wait for ever, inside bbolt, where no
		// context is heard.
		Timeout:      time.Nanosecond,
		ReadOnly:     !write,
		NoStatistics: true,
		OpenFile: func(name string, flag int, mode fs.FileMode) (*os.File, error) {
			file, err := open(name, flag, mode)
			h.file = file
			return file, err
		},
	}
	err := h.guard(func() (err error) {
		h.db, err = bbolt.Open(path, 0o600, options)
		return err
	})
	if err != nil {
		h.close()
		return nil, err
	}
	return h, nil
}

// guard runs fn and turns a panic, or a fault in the mapped file, into an error.
// A file cut short by someone else while it is open is such a fault.
func (h *handle) guard(fn func() error) (err error) {
	if h.lost {
		return damaged("it could not be read before")
	}
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			h.lost = true
			err = damaged(fmt.Sprint(p))
		}
	}()
	return fn()
}

// close gives the lock up. After a panic only the file is closed, for bbolt
// might wait for its own locks for ever; the mapping then stays.
func (h *handle) close() {
	if h.db != nil && !h.lost {
		_ = h.guard(h.db.Close) // what was written is durable already
	}
	if h.lost && h.file != nil {
		unlock(h.file)
		_ = h.file.Close()
	}
}

// verify checks the form of the file, that it is a store, and its journals.
func (h *handle) verify() error {
	if err := checkPages(h.file); err != nil {
		return err
	}
	return h.guard(func() error {
		tx, err := h.db.Begin(false)
		if err != nil {
			return err
		}
		err = checkSchema(tx)
		if err == nil {
			err = checkJournals(tx)
		}
		return errors.Join(err, tx.Rollback())
	})
}

// update makes a change in one transaction, and returns once it is on the disk.
func (h *handle) update(ctx context.Context, change func(*bbolt.Tx) error) error {
	var tx *bbolt.Tx
	err := h.guard(func() (err error) {
		if tx, err = h.db.Begin(true); err != nil {
			return err
		}
		if err = change(tx); err != nil {
			return err
		}
		return ctx.Err()
	})
	if err != nil {
		if tx != nil {
			_ = h.guard(tx.Rollback)
		}
		return err
	}

	id := uint64(tx.ID())
	err = h.guard(tx.Commit)
	if err != nil {
		// The head is written last. If it is there all the same, the disk failed
		// only to confirm it, and saying that nothing was written would be untrue.
		if head, headErr := readHead(h.file); headErr == nil && head.txid >= id {
			return unconfirmed(err)
		}
	}
	return err
}

// layOut makes an empty store of a new file.
func layOut(tx *bbolt.Tx) error {
	meta, err := tx.CreateBucket([]byte(bucketMeta))
	if err != nil {
		return err
	}
	if err := meta.Put([]byte(keyFormat), []byte(format)); err != nil {
		return err
	}
	if err := meta.Put([]byte(keySchema), fmt.Append(nil, schema)); err != nil {
		return err
	}
	if _, err := tx.CreateBucket([]byte(bucketJournals)); err != nil {
		return err
	}
	_, err = tx.CreateBucket([]byte(bucketDocuments))
	return err
}

type reader struct {
	store  *Store
	handle *handle
	tx     *bbolt.Tx
	over   bool
}

func (r *reader) begin() error {
	return r.handle.guard(func() (err error) {
		r.tx, err = r.handle.db.Begin(false)
		return err
	})
}

func (r *reader) end() { _ = r.handle.guard(r.tx.Rollback) }

// do runs one reading while the view lasts.
func (r *reader) do(fn func() error) error {
	if r.over {
		return errors.New("the store was read after its view had ended")
	}
	return r.store.fail(reading, r.handle.guard(fn))
}

func (r *reader) Journals() (all []store.Journal, err error) {
	err = r.do(func() (err error) {
		all, err = journals(r.tx)
		return err
	})
	return all, err
}

func (r *reader) Size(mark string) (size int64, err error) {
	if err := store.CheckMark(mark); err != nil {
		return 0, err
	}
	err = r.do(func() (err error) {
		_, size, err = journal(r.tx, mark)
		return err
	})
	return size, err
}

func (r *reader) Read(mark string, from int64) (records [][]byte, err error) {
	size, err := r.Size(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckFrom(mark, from, size); err != nil {
		return nil, err
	}
	err = r.do(func() (err error) {
		records, err = readFrom(r.tx, mark, from)
		return err
	})
	return records, err
}

func (r *reader) Document(digest string) (document []byte, err error) {
	err = r.do(func() (err error) {
		document, err = documentIn(r.tx, digest)
		return err
	})
	return document, err
}
