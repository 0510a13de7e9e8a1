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

// during calls fn if the view has not ended.
func during[T any](r *reader, fn func() (T, error)) (value T, err error) {
	if r.over {
		return value, errors.New("the store was read after its view had ended")
	}
	err = guard(func() (err error) {
		value, err = fn()
		return err
	})
	return value, r.store.fail(reading, err)
}

func (r *reader) Journals() ([]store.Journal, error) { return during(r, r.view.journals) }

func (r *reader) Size(mark string) (int64, error) {
	if err := store.CheckMark(mark); err != nil {
		return 0, err
	}
	return during(r, func() (int64, error) {
		_, size, err := r.view.journal(mark)
		return size, err
	})
}

func (r *reader) Read(mark string, from int64) ([][]byte, error) {
	size, err := r.Size(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckFrom(mark, from, size); err != nil {
		return nil, err
	}
	return during(r, func() ([][]byte, error) { return r.view.readFrom(mark, from) })
}

func (r *reader) Hashes(mark string, indexes []int64) ([]tlog.Hash, error) {
	size, err := r.Size(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckHashes(mark, indexes, size); err != nil || size == 0 {
		return nil, err
	}
	return during(r, func() ([]tlog.Hash, error) { return r.view.hashes(mark, indexes) })
}

func (r *reader) Document(digest string) ([]byte, error) {
	return during(r, func() ([]byte, error) {
		document, err := r.view.document(digest)
		return bytes.Clone(document), err
	})
}
