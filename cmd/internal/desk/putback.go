package desk

import (
	"context"
	"crypto/sha256"
	"fmt"

	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Known is how far a journal was read: whatever is appended to it later, what it had stays. One that has
// less, or something else in its place, is an older state of it: somebody put a copy in the place of the
// store. The zero Known is of a journal of which nothing was read.
type Known struct {
	Size int64
	last [sha256.Size]byte // of the last record; zero: it was not read
}

// KnownOf is how far a journal was read that folds to s.
//
//go:noinline
func KnownOf(s *workflow.State) Known { return knownOf(s.Entries) }

func knownOf(entries []journal.Entry) (k Known) {
	if k.Size = int64(len(entries)); k.Size > 0 {
		if record, err := journal.Encode(entries[k.Size-1:]); err == nil { // it was decoded
			k.last = sha256.Sum256(record[0])
		}
	}
	return k
}

// Goes reports whether a journal goes on from what was known of it.
func (k Known) Goes(on *workflow.State) bool {
	switch {
	case on.Size() < k.Size:
		return false
	case k.last == [sha256.Size]byte{}:
		return true
	}
	return knownOf(on.Entries[:k.Size]) == k
}

// A PutBack is a journal that the store has in an older state than it was read here.
type PutBack struct {
	Mark     string
	Had, Has int64           // entries
	Lost     []journal.Entry // that it had; nil where only their number is known
	Others   int64           // entries that stand in their place
}

// NewPutBack is what was put back of a journal of which so much was known, and all of it by had, that is
// now; each may be nil.
func NewPutBack(mark string, known Known, had, now *workflow.State) PutBack {
	p := PutBack{Mark: mark, Had: known.Size}
	var is []journal.Entry
	if now != nil {
		is = now.Entries
	}
	if p.Has = int64(len(is)); had == nil || KnownOf(had) != known {
		return p
	}
	same := int64(0)
	for same < min(p.Had, p.Has) && knownOf(had.Entries[:same+1]) == knownOf(is[:same+1]) {
		same++
	}
	p.Lost, p.Others = had.Entries[same:], p.Has-same
	return p
}

// older is the error for a journal that was put back to an older state since it was read here.
func older(mark string) error {
	return &store.Error{Op: "write", Err: fmt.Errorf("%w: %s lacks what was just read of it", store.ErrOlder, mark), Hint: "look at it before doing it again"}
}

// stands refuses to record on a journal that was put back to an older state since it was read: one of the
// same size would be added to. Only a sitting asks: whoever else records has just read it.
func (d *Desk) stands(ctx context.Context, s *workflow.State) error {
	if d.Seat == "" || s.Size() == 0 {
		return nil
	}
	mark, last := s.Airframe.Mark, s.Size()-1
	var size int64
	var records [][]byte
	err := d.Store.View(ctx, func(r store.Reader) (err error) {
		if size, err = r.Size(mark); err == nil && size > last {
			records, err = r.Read(mark, last)
		}
		return err
	})
	if err != nil {
		return err
	}
	if _, why := d.AsOf(); why != nil { // that was read of a copy
		return why
	}
	if size <= last {
		return older(mark)
	}
	is, err := journal.Decode(records[:1], last)
	if err != nil {
		return fmt.Errorf("the journal of %s: %w", mark, err)
	}
	if knownOf(is).last != KnownOf(s).last {
		return older(mark)
	}
	return nil
}
