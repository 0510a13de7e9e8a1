// Package seen keeps a copy of what was last read of a store that is elsewhere and may be out of
// reach, and answers from it if it is. The copy is only read from: what is recorded goes to the
// store itself or nowhere. It may be deleted at any time.
//
// A folder holds a copy. It has a file "journals" that lists what journals there are, a file
// MARK.journal for each journal that was read, a file "claims" with who was at which step, as JSON,
// and a file DIGEST.document for each document, with marks and digests as in the query of a URL. All
// but the last begin with a line that says when it was
// last seen that the store has just that. The list has a journal's size and its mark, quoted, on a
// line. A journal has one line with its mark, quoted, its size and the root of its tree, and then
// for each record its length (4 bytes, big end first) and its bytes: what does not sum up to that
// root is not shown. Nothing waits until a disk has it.
package seen

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/store"
	"fettle/store/seal"
)

const (
	soon     = 2 * time.Second  // after a store was away nobody waits for it anew
	tryAgain = 10 * time.Second // after it was away, where what was last seen is shown meanwhile
	mostKept = 16 << 20         // bytes of journals that one process keeps: the rest is left to the next
)

// A Store is a store elsewhere, of which what is read is kept.
type Store struct {
	Of     store.Store
	Folder string           // of the copy; "": there is none
	Now    func() time.Time // nil: the time

	mu     sync.Mutex
	tell   func(asOf time.Time, why error)
	told   time.Time // the oldest
	seen   time.Time // when it answered last
	missed time.Time // when it was found away last; zero: it is not away
	why    error
	looks  bool // somebody looks whether it is back
	budget int
	kept   map[string]int // by file, in bytes
}

// Recall makes it answer from the copy while the store is away; tell is called with when what is
// shown was last seen, and again if something older is.
func (s *Store) Recall(tell func(asOf time.Time, why error)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.tell = tell
}

// Recalls reports whether Recall was called, and there is a place for a copy.
func (s *Store) Recalls() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.recalls()
}

func (s *Store) recalls() bool { return s.tell != nil && s.Folder != "" }

func (s *Store) now() time.Time {
	if s.Now == nil {
		return time.Now()
	}
	return s.Now()
}

// Away is why the store is not asked: it was away a moment ago or, where the copy is shown, was not
// found back yet. nil: it is asked.
func (s *Store) Away() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.missed.IsZero() || !s.recalls() && s.now().Sub(s.missed).Abs() > soon {
		return nil
	}
	return s.why
}

// Lately is why the store was away a moment ago; nil: it was not, or long enough ago for whoever
// records something to ask it anew.
func (s *Store) Lately() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.missed.IsZero() || s.now().Sub(s.missed).Abs() > soon {
		return nil
	}
	return s.why
}

// AsOf is [store.Distant.AsOf].
func (s *Store) AsOf() (time.Time, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.missed.IsZero() {
		return time.Time{}, nil
	}
	if s.recalls() {
		return s.told, s.why
	}
	return s.seen, s.why
}

// Back has the store asked again, which may be back.
func (s *Store) Back() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.missed.IsZero() {
		s.missed = time.Unix(0, 0)
	}
}

// View is [store.Store.View]. It answers from the copy only where [Store.Recall] was called, and
// fn was not called yet when the store was found away. From then on it is looked for beside that,
// so that nobody who is shown the copy waits.
func (s *Store) View(ctx context.Context, fn func(store.Reader) error) error {
	recalls := s.Recalls()
	if why := s.Away(); why != nil && recalls {
		err := s.recall(fn, why)
		s.look() // once it was said of when that is
		return err
	} else if why != nil {
		return why
	}
	begun := false
	err := s.Of.View(ctx, func(r store.Reader) error {
		if begun = true; s.Folder == "" {
			return fn(r)
		}
		return fn(&reader{Reader: r, store: s})
	})
	if begun {
		s.Missed(nil)
	} else if s.Missed(err) && recalls {
		return s.recall(fn, err)
	}
	return err
}

// look looks whether the store is back, if nobody did lately.
func (s *Store) look() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.looks || s.now().Sub(s.missed).Abs() <= tryAgain {
		return
	}
	s.looks = true
	go func() {
		s.Missed(s.Of.View(context.Background(), func(store.Reader) error { return nil }))
		s.mu.Lock()
		defer s.mu.Unlock()
		s.looks = false
	}()
}

// Missed notes whether the store was away, by the error of whoever asked it for something.
func (s *Store) Missed(err error) (away bool) {
	away = errors.Is(err, store.ErrAway) || errors.Is(err, store.ErrUnknown)
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case away:
		s.missed, s.why = s.now(), unread(err)
	case err == nil:
		s.seen, s.missed, s.why, s.told = s.now(), time.Time{}, nil, time.Time{}
	}
	return away
}

// unread is why the store is not read where it gave no answer to what was written: what became of that
// is not for a read to say.
func unread(err error) error {
	var failure *store.Error
	if !errors.Is(err, store.ErrUnknown) || !errors.As(err, &failure) {
		return err
	}
	return &store.Error{Op: "read", Path: failure.Path, Err: fmt.Errorf("%w: no answer in time", store.ErrAway), Hint: failure.Hint}
}

// Appended keeps records that were appended to a journal that had a size, if it is kept as it was
// before: what was recorded here is shown here while the store is away.
func (s *Store) Appended(mark string, size int64, records [][]byte) {
	if s.Folder == "" {
		return
	}
	if had, err := s.journal(mark); err == nil && had.head.Size == size {
		records = append(had.records[:size:size], records...)
		s.keepJournal(mark, seal.HeadOf(records), records)
	}
}

// Claims keeps the claims that were read, or returns those that were last seen while the store is
// away.
func (s *Store) Claims(read func() ([]*store.Claim, error)) ([]*store.Claim, error) {
	why := s.Away()
	if why == nil {
		all, err := read()
		if err == nil {
			s.Missed(nil)
			s.keepClaims(all)
			return all, nil
		}
		if why = err; !s.Missed(err) {
			return nil, err
		}
	}
	if !s.Recalls() {
		return nil, why
	}
	all, at, err := s.claims()
	if err == nil {
		s.shown(at, why)
	}
	return all, nil // none were seen, or what was is lost: that is no fault of the store
}

// A reader keeps what is read.
type reader struct {
	store.Reader
	store *Store
}

func (r *reader) Journals() ([]store.Journal, error) {
	all, err := r.Reader.Journals()
	if err == nil {
		r.store.keepList(all)
	}
	return all, err
}

func (r *reader) Read(mark string, from int64) ([][]byte, error) {
	records, err := r.Reader.Read(mark, from)
	if err == nil && from+int64(len(records)) > 0 {
		r.keep(mark, from, records)
	}
	return records, err
}

func (r *reader) Document(digest string) ([]byte, error) {
	document, err := r.Reader.Document(digest)
	if err == nil {
		r.store.keepDocument(digest, document)
	}
	return document, err
}

// keep keeps a journal of which the records from a position on were read. What fails is not kept.
func (r *reader) keep(mark string, from int64, records [][]byte) {
	size := from + int64(len(records))
	head, err := seal.HeadAt(size, tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) { return r.Reader.Hashes(mark, indexes) }))
	if err != nil {
		return
	}
	s := r.store
	if had, err := s.header(mark); err == nil && had.head == head {
		s.touch(journalFile(mark))
		return
	}
	if !s.may("", 0) {
		return
	}
	if from > 0 {
		if had, err := s.journal(mark); err == nil && had.head.Size >= from {
			records = append(had.records[:from:from], records...)
		}
		if seal.HeadOf(records) != head { // nothing before it is kept, or of another history
			if records, err = r.Reader.Read(mark, 0); err != nil {
				return
			}
		}
	}
	if seal.HeadOf(records) != head {
		return // the store says what is wrong with it
	}
	s.keepJournal(mark, head, records)
}

// may reports whether a file of so many bytes is kept: what this process kept of it before counts once.
func (s *Store) may(file string, bytes int) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kept == nil {
		s.kept = map[string]int{}
	}
	s.budget += bytes - s.kept[file]
	s.kept[file] = bytes
	return s.budget <= mostKept
}

// recall shows what was last seen.
func (s *Store) recall(fn func(store.Reader) error, why error) error {
	r := &recalled{store: s, why: why}
	defer func() { r.over = true }()
	err := fn(r)
	s.shown(r.oldest, why)
	return err
}

// together is how far apart the parts of what is shown were seen at most that have one time.
const together = 5 * time.Second

// shown tells when what is shown was last seen, if that is older than what was told.
func (s *Store) shown(at time.Time, why error) {
	s.mu.Lock()
	tell := s.tell
	if at.IsZero() || !s.told.IsZero() && s.told.Sub(at) <= together {
		tell = nil
	} else {
		s.told = at
	}
	s.mu.Unlock()
	if tell != nil {
		tell(at, why)
	}
}

// A recalled is a copy, while the store is away.
type recalled struct {
	store  *Store
	why    error
	over   bool
	oldest time.Time // that something was last seen of what was read
}

func (r *recalled) seen(at time.Time) {
	if r.oldest.IsZero() || at.Before(r.oldest) {
		r.oldest = at
	}
}

// without says why the store is away, and that nothing is known here of what was asked for.
func (r *recalled) without(what string) error {
	if r.over {
		return errors.New("the store was read after its view had ended")
	}
	var failure *store.Error
	if !errors.As(r.why, &failure) {
		return r.why
	}
	said := *failure
	said.Err = fmt.Errorf("%w; %s was not read here while it could be", failure.Err, what)
	return &said
}

func (r *recalled) Journals() ([]store.Journal, error) {
	all, at, err := r.store.list()
	if err != nil || r.over {
		return nil, r.without("the list of airframes")
	}
	r.seen(at)
	return all, nil
}

// is returns the copy of a journal. What is in no list does not exist.
func (r *recalled) is(mark string) (kept, error) {
	if err := store.CheckMark(mark); err != nil {
		return kept{}, err
	}
	if k, err := r.store.journal(mark); err == nil && !r.over {
		r.seen(k.at)
		return k, nil
	}
	all, err := r.Journals()
	if err != nil {
		return kept{}, err
	}
	for _, j := range all {
		if j.Mark == mark {
			return kept{}, r.without(mark)
		}
	}
	return kept{}, nil
}

func (r *recalled) Size(mark string) (int64, error) {
	k, err := r.is(mark)
	return k.head.Size, err
}

func (r *recalled) Read(mark string, from int64) ([][]byte, error) {
	k, err := r.is(mark)
	if err == nil {
		err = store.CheckFrom(mark, from, k.head.Size)
	}
	if err != nil {
		return nil, err
	}
	return k.records[from:], nil
}

func (r *recalled) Hashes(mark string, indexes []int64) ([]tlog.Hash, error) {
	return nil, r.without("the tree of " + mark)
}

func (r *recalled) Document(digest string) ([]byte, error) {
	document, err := r.store.document(digest)
	if err != nil || r.over {
		return nil, r.without("the document " + digest)
	}
	return document, nil
}
