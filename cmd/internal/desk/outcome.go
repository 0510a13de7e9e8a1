package desk

import (
	"errors"

	"fettle/store"
)

// An Outcome is what became of what was to be recorded through a desk last.
type Outcome struct {
	Mark    string // the airframe that it was recorded of
	Size    int64  // of its journal then
	Unknown bool   // it is not known whether it was
}

// Outcome is what became of what was to be recorded last; nil: nothing was recorded yet.
func (d *Desk) Outcome() *Outcome { return d.outcome.Load() }

// Noted notes what became of records that made a journal so long, by the error of whoever
// appended them, and returns that.
func (d *Desk) Noted(mark string, size int64, err error) error {
	if unknown := errors.Is(err, store.ErrUnknown); err == nil || unknown {
		d.outcome.Store(&Outcome{mark, size, unknown})
	}
	return err
}
