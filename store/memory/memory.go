// Package memory is a store that lasts as long as the process: for tests, for
// trials, and as the simplest example of what a store is.
package memory

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

// A Store is a [store.Store] in memory. Use [New].
type Store struct {
	mu        sync.Mutex
	journals  map[string][][]byte
	trees     map[string]seal.Hashes
	documents map[string][]byte
}

var _ store.Store = (*Store)(nil)

// New returns an empty store.
func New() *Store {
	return &Store{journals: map[string][][]byte{}, trees: map[string]seal.Hashes{}, documents: map[string][]byte{}}
}

// View is [store.Store.View]. It returns the context's error or that of fn.
func (s *Store) View(ctx context.Context, fn func(store.Reader) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	// Records are never changed, so a copy of the maps is a snapshot, and fn
	// runs without blocking anyone.
	s.mu.Lock()
	r := &reader{journals: maps.Clone(s.journals), trees: maps.Clone(s.trees), documents: maps.Clone(s.documents)}
	s.mu.Unlock()
	defer func() { r.over = true }()
	return fn(r)
}

// Append is [store.Store.Append], with its errors.
func (s *Store) Append(ctx context.Context, mark string, size int64, records [][]byte) error {
	if err := store.CheckAppend(mark, size, records); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	journal := s.journals[mark]
	if have := int64(len(journal)); have != size {
		return &store.ConflictError{Mark: mark, Have: have, Want: size}
	}
	tree := s.trees[mark]
	for _, record := range records {
		more, err := tlog.StoredHashes(int64(len(journal)), record, tree)
		if err != nil {
			return err
		}
		tree = append(tree, more...)
		journal = append(journal, bytes.Clone(record))
	}
	s.journals[mark], s.trees[mark] = journal, tree
	return nil
}

// Keep is [store.Store.Keep], with its errors.
func (s *Store) Keep(ctx context.Context, document []byte) (string, error) {
	if err := store.CheckDocument(document); err != nil {
		return "", err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return "", err
	}
	digest := store.Digest(document)
	if _, ok := s.documents[digest]; !ok {
		s.documents[digest] = bytes.Clone(document)
	}
	return digest, nil
}

type reader struct {
	journals  map[string][][]byte
	trees     map[string]seal.Hashes
	documents map[string][]byte
	over      bool
}

func (r *reader) valid() error {
	if r.over {
		return errors.New("the store was read after its view had ended")
	}
	return nil
}

func (r *reader) Journals() ([]store.Journal, error) {
	if err := r.valid(); err != nil {
		return nil, err
	}
	var all []store.Journal
	for _, mark := range slices.Sorted(maps.Keys(r.journals)) {
		all = append(all, store.Journal{Mark: mark, Size: int64(len(r.journals[mark]))})
	}
	return all, nil
}

func (r *reader) Size(mark string) (int64, error) {
	if err := r.valid(); err != nil {
		return 0, err
	}
	if err := store.CheckMark(mark); err != nil {
		return 0, err
	}
	return int64(len(r.journals[mark])), nil
}

func (r *reader) Read(mark string, from int64) ([][]byte, error) {
	size, err := r.Size(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckFrom(mark, from, size); err != nil {
		return nil, err
	}
	var records [][]byte
	for _, record := range r.journals[mark][from:] {
		records = append(records, bytes.Clone(record))
	}
	return records, nil
}

func (r *reader) Hashes(mark string, indexes []int64) ([]tlog.Hash, error) {
	size, err := r.Size(mark)
	if err != nil {
		return nil, err
	}
	if err := store.CheckHashes(mark, indexes, size); err != nil {
		return nil, err
	}
	return r.trees[mark].ReadHashes(indexes)
}

func (r *reader) Document(digest string) ([]byte, error) {
	if err := r.valid(); err != nil {
		return nil, err
	}
	document, ok := r.documents[digest]
	if !ok {
		return nil, fmt.Errorf("document %q: %w", digest, store.ErrNotFound)
	}
	return bytes.Clone(document), nil
}
