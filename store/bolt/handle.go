package bolt

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"runtime/debug"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

// A handle is one opening of the file.
type handle struct {
	file    *os.File
	db      *bbolt.DB // nil if the file is only locked
	tx      *bbolt.Tx // of the view
	head    head      // when it was opened
	walk    *walk     // for what follows, if it was opened for writing
	records uint64    // how many all journals have, if it is to be written
	lost    bool      // bbolt panicked, so the state of its inner locks is unknown
}

// openFile tries once for the lock. It never makes a file. Before a file is written to,
// it is made sure with the lock held that bbolt overwrites nothing in use: if locksEarly
// before bbolt opens it, else after that, since opening it writes nothing.
func openFile(path string, write bool) (*handle, error) {
	var head head
	var walk *walk
	look := func(file *os.File, locked bool) (err error) {
		// bbolt would initialise an empty file and map any other.
		if head, err = readHead(file); err != nil || !write {
			return err
		}
		if head.freelist == noFreelist { // bbolt would make a list, and trust every page
			return foreign("another program's database")
		}
		if locked {
			if err = checkNewest(file, head); err == nil {
				walk, err = checkFree(file, head)
			}
		}
		return err
	}
	h, err := openWith(write, path, func(_ string, flag int, _ fs.FileMode) (*os.File, error) {
		file, err := lockFile(path, flag&^os.O_CREATE, write)
		if err != nil {
			return nil, err
		}
		if err = look(file, locksEarly); err != nil {
			file.Close()
			return nil, err
		}
		return file, nil
	})
	if err == nil && !locksEarly {
		if err = samePlace(h.file, path); err == nil {
			err = look(h.file, true)
		}
		if err != nil {
			h.close()
		}
	}
	if err != nil {
		return nil, err
	}
	h.head, h.walk = head, walk
	return h, nil
}

// lockFile tries once for a file's lock, whatever is in the file.
func lockFile(path string, flag int, write bool) (*os.File, error) {
	file, err := os.OpenFile(path, flag, 0)
	if err != nil {
		return nil, err
	}
	if err := lockNamed(file, path, write); err != nil {
		file.Close()
		return nil, err
	}
	return file, nil
}

func lockNamed(file *os.File, path string, write bool) error {
	err := lock(file, write)
	if err == nil && locksEarly {
		err = samePlace(file, path)
	}
	return err
}

// samePlace makes sure that the file still has its name: once a store has been
// replaced, anything written to the old file would be lost.
func samePlace(file *os.File, path string) error {
	is, err := file.Stat()
	if err != nil {
		return err
	}
	now, err := os.Stat(path)
	if err != nil {
		return err
	}
	if !os.SameFile(is, now) {
		return berrors.ErrTimeout // as though it were locked, so that the caller tries the new file
	}
	return nil
}

func openWith(write bool, path string, open func(string, int, fs.FileMode) (*os.File, error)) (*handle, error) {
	h := &handle{}
	options := &bbolt.Options{
		// One try: a timeout of 0 would wait for ever inside bbolt, which takes no
		// context.
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

// guard runs fn and turns a panic of bbolt, or a fault in the mapped file, into an
// error. A file cut short by someone else while it is open is such a fault. What
// bbolt would follow without end is refused before: see [walk].
func guard(fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		switch p := recover().(type) {
		case nil:
		case runtime.Error:
			err = damaged("its pages lead to where nothing is")
		default:
			err = damaged(fmt.Sprint(p))
		}
	}()
	return fn()
}

// guard is for calls that hold bbolt's inner locks: after a panic there may be no
// other.
func (h *handle) guard(fn func() error) error {
	if h.lost {
		return damaged("an earlier access to it failed")
	}
	h.lost = true
	return guard(func() error {
		err := fn()
		h.lost = false
		return err
	})
}

// close releases the lock. After a panic it closes only the file and leaves the
// mapping, because bbolt might wait for its own locks for ever.
func (h *handle) close() {
	h.endView()
	if h.db != nil && !h.lost {
		_ = h.guard(h.db.Close) // everything written is durable already
	}
	if (h.db == nil || h.lost) && h.file != nil {
		unlock(h.file)
		_ = h.file.Close()
	}
}

// view returns the contents of the file. It is valid until endView, and while the
// lock is held.
func (h *handle) view() (*view, error) {
	if err := checkNewest(h.file, h.head); err != nil {
		return nil, err
	}
	return h.viewOf(nil)
}

func (h *handle) viewOf(w *walk) (v *view, err error) {
	if w == nil {
		w = newWalk(h.file, h.head)
	}
	err = h.guard(func() (err error) {
		h.tx, err = h.db.Begin(false)
		return err
	})
	if err == nil {
		err = guard(func() (err error) {
			v, err = newView(h.tx, w)
			return err
		})
	}
	if records, ok := stampedRecords(h.file, h.head); ok && err == nil {
		v.counts = append(v.counts, records)
	}
	return v, err
}

func (h *handle) endView() {
	if h.tx != nil {
		_ = h.guard(h.tx.Rollback)
		h.tx = nil
	}
}

// update makes a change in one transaction, and returns once it is on the disk.
func (h *handle) update(ctx context.Context, fn change) error {
	var tx *bbolt.Tx
	err := h.guard(func() (err error) {
		if tx, err = h.db.Begin(true); err != nil {
			return err
		}
		more, err := fn(tx)
		if err != nil {
			return err
		}
		keepStamp(h.file, uint64(h.db.Info().PageSize), uint64(tx.ID())-1, h.records)
		h.records += uint64(more)
		if err := countRecords(tx, h.records); err != nil {
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
		// The head is written last. If it is there, the disk only failed to confirm
		// it, and saying that nothing was written would be wrong.
		if head, headErr := readHead(h.file); headErr == nil && head.txid >= id {
			return unconfirmed(err)
		}
		return err
	}
	putStamp(h.file, uint64(h.db.Info().PageSize), id, h.records)
	return nil
}
