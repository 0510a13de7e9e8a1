package bolt

import (
	"bytes"
	"errors"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
)

// A reader is the [store.Reader] of a view.
type reader struct {
	store *Store
	view  *view
	over  bool
}

// do runs fn if the view has not ended.
func (r *reader) do(fn func() error) error {
	if r.over {
		return errors.New("the store was read after its view had ended")
	}
	return r.store.fail(reading, guard(fn))
}

func (r *reader) Journals() (all []store.Journal, err error) {
	err = r.do(func() (err error) {
		all, err = r.view.journals()
		return err
	})
	return all, err
}

func (r *reader) Size(mark string) (size int64, err error) {
	if err := store.CheckMark(mark); err != nil {
		return 0, err
	}
	err = r.do(func() (err error) {
		_, size, err = r.view.journal(mark)
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
		records, err = r.view.readFrom(mark, from)
		return err
	})
	return records, err
}

func (r *reader) Hashes(mark string, indexes []int64) (hashes []tlog.Hash, err error) {
	size, err := r.Size(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckHashes(mark, indexes, size); err != nil || size == 0 {
		return nil, err
	}
	err = r.do(func() (err error) {
		hashes, err = r.view.hashes(mark, indexes)
		return err
	})
	return hashes, err
}

func (r *reader) Document(digest string) (document []byte, err error) {
	err = r.do(func() (err error) {
		document, err = r.view.document(digest)
		document = bytes.Clone(document)
		return err
	})
	return document, err
}
