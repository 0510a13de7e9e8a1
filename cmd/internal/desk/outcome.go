package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// An Outcome is what became of what was to be recorded through a desk.
type Outcome struct {
	Mark    string // the airframe that it was recorded of
	Size    int64  // of its journal then
	Unknown bool   // it is not known whether it was

	sent [][]byte // that made it so long; nil: nobody compares them
	upon Known    // the journal that they were to be added to
}

// outcomes are what became of all that was to be recorded. They may be asked for by several goroutines.
type outcomes struct {
	mu        sync.Mutex
	recorded  *Outcome   // last
	unsettled []*Outcome // of which it is not known, the oldest first
}

// Outcome is what became of what was to be recorded: the last that is unknown, whatever was recorded
// after it, else what was recorded last. nil: nothing was recorded yet.
func (d *Desk) Outcome() *Outcome {
	d.outcomes.mu.Lock()
	defer d.outcomes.mu.Unlock()
	if n := len(d.outcomes.unsettled); n > 0 {
		return d.outcomes.unsettled[n-1]
	}
	return d.outcomes.recorded
}

// Recorded is what was recorded last, as far as that is known; nil: nothing was.
func (d *Desk) Recorded() *Outcome {
	d.outcomes.mu.Lock()
	defer d.outcomes.mu.Unlock()
	return d.outcomes.recorded
}

// Noted notes what became of records that made a journal so long, by the error of whoever
// appended them, and returns that.
func (d *Desk) Noted(mark string, size int64, err error) error {
	return d.noted(&Outcome{Mark: mark, Size: size}, err)
}

func (d *Desk) noted(o *Outcome, err error) error {
	o.Unknown = errors.Is(err, store.ErrUnknown)
	d.outcomes.mu.Lock()
	defer d.outcomes.mu.Unlock()
	if o.Unknown {
		d.outcomes.unsettled = append(d.outcomes.unsettled, o)
	} else if err == nil {
		d.outcomes.recorded = o
	}
	return err
}

// A Settled is what became of an [Outcome] that was unknown.
type Settled struct {
	Of      *Outcome
	Is      bool            // it was recorded
	PutBack bool            // the store was put back to an older state instead
	Entries []journal.Entry // that were to be recorded
	State   *workflow.State // with them, if they were
}

// Settle finds out what became of all that is [Outcome.Unknown], once the store answers. Where nothing
// else was recorded since, the same records are sent again: an append that is still under way somewhere
// could yet come to be after a look, and of the two only one can. With an error it returns what was
// settled before; what is left is so the next time.
func (d *Desk) Settle(ctx context.Context) (settled []Settled, err error) {
	d.outcomes.mu.Lock()
	unsettled := slices.Clone(d.outcomes.unsettled)
	d.outcomes.mu.Unlock()
	for _, o := range unsettled {
		if o.sent == nil {
			continue
		}
		one, err := d.settle(ctx, o)
		if errors.Is(err, store.ErrUnknown) {
			err = fmt.Errorf("%w: %w", store.ErrAway, err)
		}
		if err != nil {
			return settled, err
		}
		if one.State == nil {
			continue
		}
		settled = append(settled, one)
		d.outcomes.mu.Lock()
		d.outcomes.unsettled = sorting.Delete(d.outcomes.unsettled, func(had *Outcome) bool { return had == o })
		if one.Is {
			d.outcomes.recorded = &Outcome{Mark: o.Mark, Size: o.Size}
		}
		d.outcomes.mu.Unlock()
	}
	return settled, nil
}

// settle finds out about one. A nil state: the store does not answer yet.
func (d *Desk) settle(ctx context.Context, o *Outcome) (one Settled, err error) {
	from := o.Size - int64(len(o.sent))
	s, err := d.State(ctx, o.Mark)
	if err == nil && s.Size() == from && d.fresh() && o.upon.Goes(s) {
		var other *store.ConflictError
		if err = d.Store.Append(ctx, o.Mark, from, o.sent); err == nil || errors.As(err, &other) {
			s, err = d.State(ctx, o.Mark)
		}
	}
	if err != nil || !d.fresh() {
		return one, err
	}
	if one.Entries, err = journal.Decode(o.sent, from); err != nil {
		return one, err
	}
	one.Of, one.State, one.PutBack = o, s, !o.upon.Goes(s)
	if !one.PutBack && s.Size() >= o.Size {
		is, err := journal.Encode(s.Entries[from:o.Size])
		one.Is = err == nil && slices.EqualFunc(is, o.sent, bytes.Equal)
	}
	if one.Is {
		d.Wrote(context.WithoutCancel(ctx), o.Mark)
	}
	return one, nil
}

// fresh reports whether what was read last is how the store is now.
func (d *Desk) fresh() bool {
	_, why := d.AsOf()
	return why == nil
}
