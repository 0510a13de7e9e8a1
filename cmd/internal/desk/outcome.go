package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"

	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// An Outcome is what became of what was to be recorded through a desk last.
type Outcome struct {
	Mark    string // the airframe that it was recorded of
	Size    int64  // of its journal then
	Unknown bool   // it is not known whether it was

	sent   [][]byte // that made it so long; nil: nobody compares them
	before *Outcome
}

// Outcome is what became of what was to be recorded last; nil: nothing was recorded yet.
func (d *Desk) Outcome() *Outcome { return d.outcome.Load() }

// Noted notes what became of records that made a journal so long, by the error of whoever
// appended them, and returns that.
func (d *Desk) Noted(mark string, size int64, err error) error {
	return d.noted(&Outcome{Mark: mark, Size: size}, err)
}

func (d *Desk) noted(o *Outcome, err error) error {
	if o.Unknown = errors.Is(err, store.ErrUnknown); o.Unknown {
		o.before = d.Outcome()
	}
	if err == nil || o.Unknown {
		d.outcome.Store(o)
	}
	return err
}

// Settle finds out what became of what is [Outcome.Unknown], once the store answers: the entries, if
// they were recorded, and the state with them. Where nothing else was recorded since, the same records
// are sent again: an append that is still under way somewhere could yet come to be after a look, and
// of the two only one can. A nil state: there is nothing to find out, or the store does not answer yet.
func (d *Desk) Settle(ctx context.Context) ([]journal.Entry, *workflow.State, error) {
	o := d.Outcome()
	if o == nil || !o.Unknown || o.sent == nil {
		return nil, nil, nil
	}
	from := o.Size - int64(len(o.sent))
	s, err := d.State(ctx, o.Mark)
	if err == nil && s.Size() == from && d.fresh() {
		var other *store.ConflictError
		if err = d.Store.Append(ctx, o.Mark, from, o.sent); err == nil || errors.As(err, &other) {
			s, err = d.State(ctx, o.Mark)
		}
	}
	switch {
	case errors.Is(err, store.ErrUnknown):
		return nil, nil, fmt.Errorf("%w: %w", store.ErrAway, err)
	case err != nil:
		return nil, nil, err
	case !d.fresh():
		return nil, nil, nil
	}
	var entries []journal.Entry
	if s.Size() >= o.Size {
		entries = s.Entries[from:o.Size]
	}
	if is, err := journal.Encode(entries); err == nil && slices.EqualFunc(is, o.sent, bytes.Equal) {
		d.outcome.Store(&Outcome{Mark: o.Mark, Size: o.Size})
		return entries, s, nil
	}
	d.outcome.Store(o.before)
	return nil, s, nil
}

// fresh reports whether what was read last is how the store is now.
func (d *Desk) fresh() bool {
	_, why := d.AsOf()
	return why == nil
}
