package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"

	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// viewBytes is how many bytes of journals one view of the store reads at most,
// beyond the first journal: a small bench is read in one, and a large one neither
// keeps a writer waiting for long nor lies in memory.
const viewBytes = 128 << 10

// Marks are the marks of all airframes, sorted.
func (d *Desk) Marks(ctx context.Context) ([]string, error) {
	journals, err := store.Journals(ctx, d.Store)
	return marksOf(journals), err
}

func marksOf(journals []store.Journal) []string {
	marks := make([]string, len(journals))
	for i, j := range journals {
		marks[i] = j.Mark
	}
	return marks
}

// UnknownMark says that no airframe has that mark, with the nearest that one has.
func UnknownMark(r store.Reader, mark string) error {
	journals, err := r.Journals()
	if err != nil {
		return err
	}
	return workflow.UnknownMark(mark, marksOf(journals))
}

// Rows folds the journal of every airframe, one at a time on each processor, and
// gives what row makes of it, in the order of their marks; the state itself is
// dropped. row is told how many airframes there are. Journals that are damaged are
// left out, and named in an error beside the others.
func Rows[R any](ctx context.Context, d *Desk, row func(s *workflow.State, of int) R) ([]R, error) {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	q := &queue{desk: d}
	items := make(chan item)
	go func() {
		defer close(items)
		if err := q.send(ctx, items); err != nil {
			stop(err)
		}
	}()
	var mu sync.Mutex
	made, faults := map[int]R{}, map[int]error{}
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for it := range items {
				one, err := rowOf(ctx, d, it, row)
				mu.Lock()
				if err == nil {
					made[it.at] = one
				} else if faults[it.at] = err; !unreadable(err) {
					stop(err)
				}
				mu.Unlock()
			}
		})
	}
	workers.Wait()
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	rows := make([]R, 0, len(made))
	var unread []string
	var why error
	for i, mark := range q.marks {
		if err := faults[i]; err != nil {
			unread, why = append(unread, mark), cmp.Or(why, err)
		} else {
			rows = append(rows, made[i])
		}
	}
	return rows, cannotRead(unread, why)
}

// rowOf folds one journal and lets its state go.
func rowOf[R any](ctx context.Context, d *Desk, it item, row func(*workflow.State, int) R) (none R, err error) {
	if it.err != nil {
		return none, it.err
	}
	state, err := d.fold(ctx, it.journalBytes)
	if err != nil {
		return none, err
	}
	return row(state, it.of), nil
}

// unreadable reports whether an error is of one journal alone.
func unreadable(err error) bool {
	return errors.Is(err, store.ErrDamaged) || errors.Is(err, journal.ErrBadEntry)
}

func cannotRead(marks []string, why error) error {
	if why == nil {
		return nil
	}
	return fmt.Errorf("cannot read %s: %w; fettle examine says what can be saved", strings.Join(marks, ", "), why)
}

// An item is one journal of a queue, or why it cannot be read.
type item struct {
	journalBytes
	at, of int
	err    error
}

// A queue reads the journals of a store in the order of their marks, a batch in
// each view.
type queue struct {
	desk  *Desk
	marks []string
	next  int
}

func (q *queue) send(ctx context.Context, to chan<- item) error {
	for first := true; first || q.next < len(q.marks); first = false {
		batch, err := q.batch(ctx)
		if err != nil {
			return err
		}
		if first && q.next < len(q.marks) {
			// There is more than a small bench. What was read of a journal is garbage once
			// it is folded, and little else is held: collected at its doubling it takes
			// half the memory, for a tenth more of the time.
			defer debug.SetGCPercent(debug.SetGCPercent(100))
		}
		for _, it := range batch {
			select {
			case to <- it:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
	}
	return nil
}

// batch reads the next journals, and before the first of them which there are.
func (q *queue) batch(ctx context.Context) (batch []item, err error) {
	err = q.desk.Store.View(ctx, func(r store.Reader) error {
		if q.next == 0 {
			journals, err := r.Journals()
			if err != nil {
				return err
			}
			q.marks = marksOf(journals)
		}
		for bytes := 0; q.next < len(q.marks) && bytes < viewBytes; q.next++ {
			it := item{at: q.next, of: len(q.marks)}
			it.journalBytes, it.err = q.desk.load(r, q.marks[q.next])
			if it.err != nil && !unreadable(it.err) {
				return it.err
			}
			for _, record := range it.records {
				bytes += len(record)
			}
			batch = append(batch, it)
		}
		return nil
	})
	return batch, err
}

// ErrNoAirframe is given where an airframe is to be chosen and none is registered.
var ErrNoAirframe = errors.New("no airframe is registered yet")

// An AmbiguousError says that it cannot be told which airframe is meant.
type AmbiguousError struct{ Marks []string } // of all there are, sorted

// fewMarks is how many marks a person is asked to choose from.
const fewMarks = 5

func (e *AmbiguousError) Error() string {
	text := "say which airframe: " + strings.Join(e.Marks[:min(fewMarks, len(e.Marks))], ", ")
	if more := len(e.Marks) - fewMarks; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// Choose gives the airframe that somebody means who did not give its mark as it is
// written: the one whose mark is that name in other letters, else the only one with
// an open job, else the only one there is. named tells that it was the name.
//
// It looks no further than to the second airframe with an open job, and replays no
// journal in which no job was ever opened.
func (d *Desk) Choose(ctx context.Context, name string) (s *workflow.State, named bool, err error) {
	c := choice{desk: d, name: name}
	for {
		var batch []journalBytes
		err := d.Store.View(ctx, func(r store.Reader) (err error) {
			batch, err = c.batch(r)
			return err
		})
		if err != nil {
			return nil, false, err
		}
		for _, j := range batch {
			state, err := d.fold(ctx, j)
			switch {
			case err != nil && unreadable(err):
				return nil, false, cannotRead([]string{j.mark}, err)
			case err != nil:
				return nil, false, err
			case c.sure:
				return state, c.named, nil
			case len(state.OpenJobs(d.Now())) == 0:
			case c.busy != nil:
				return nil, false, &AmbiguousError{c.marks}
			default:
				c.busy = state
			}
		}
		if c.next == len(c.marks) {
			break
		}
	}
	switch {
	case len(c.marks) == 0:
		return nil, false, ErrNoAirframe
	case c.busy == nil:
		return nil, false, &AmbiguousError{c.marks}
	}
	return c.busy, false, nil
}

// A choice looks for the airframe that is meant.
type choice struct {
	desk  *Desk
	name  string
	marks []string
	next  int             // the mark to look at next
	busy  *workflow.State // the first with an open job
	sure  bool            // what is read next is it
	named bool            // by its name
}

// batch reads the next journals in which a job was opened: so many as it may take
// to find a second one that is open, and no more than one view is to read.
func (c *choice) batch(r store.Reader) (batch []journalBytes, err error) {
	if c.next == 0 {
		journals, err := r.Journals()
		if err != nil {
			return nil, err
		}
		c.marks = marksOf(journals)
		at := slices.IndexFunc(c.marks, func(mark string) bool { return strings.EqualFold(mark, c.name) })
		if c.named = at >= 0; c.named || len(c.marks) == 1 {
			c.sure, c.next = true, len(c.marks)
			j, err := c.desk.load(r, c.marks[max(at, 0)])
			return []journalBytes{j}, err
		}
	}
	wanted := 2
	if c.busy != nil {
		wanted = 1
	}
	for bytes := 0; c.next < len(c.marks) && len(batch) < wanted && bytes < viewBytes; c.next++ {
		mark := c.marks[c.next]
		records, err := r.Read(mark, 0)
		if err == nil {
			var opened bool
			if opened, err = opensJob(records); opened {
				var j journalBytes
				j, err = c.desk.complete(r, mark, records)
				batch = append(batch, j)
			}
		}
		switch {
		case err != nil && unreadable(err):
			return nil, cannotRead([]string{mark}, err)
		case err != nil:
			return nil, err
		}
		for _, record := range records {
			bytes += len(record)
		}
	}
	return batch, nil
}

// opensJob reports whether a job was ever opened in a journal: without that none
// is open. A newer program's way to open one has its version, and is refused.
func opensJob(records [][]byte) (bool, error) {
	named, err := journal.Naming(records)
	return slices.ContainsFunc(named, func(e journal.Entry) bool {
		_, opens := e.Facts.(journal.JobOpened)
		return opens
	}), err
}
