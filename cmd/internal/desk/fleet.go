package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"reflect"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"

	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// viewBytes limits how many bytes of journals one view of the store reads, beyond
// the first journal. A small store is read in one view; a large one neither keeps
// a writer waiting for long nor fills the memory.
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

// UnknownMark returns the error for a mark that no airframe has, with the nearest.
func UnknownMark(r store.Reader, mark string) error {
	journals, err := r.Journals()
	if err != nil {
		return err
	}
	return workflow.UnknownMark(mark, marksOf(journals))
}

// Rows folds the journal of every airframe, one at a time on each processor, and
// returns what row makes of each state, in the order of the marks. No state is
// kept. of is how many airframes there are. Damaged journals are left out, and the
// error names them; the rows of the others are valid all the same.
func Rows[R any](ctx context.Context, d *Desk, row func(s *workflow.State, of int) R) ([]R, error) {
	made, err := d.Made(ctx, func(s *workflow.State, of int) any { return row(s, of) })
	return RowsOf[R](made), err
}

// RowsOf are the rows that were made of that type.
func RowsOf[R any](made []any) []R {
	if made == nil {
		return nil
	}
	rows := make([]R, len(made))
	fill(reflect.ValueOf(rows), made)
	return rows
}

//go:noinline
func fill(rows reflect.Value, made []any) {
	for i, one := range made {
		rows.Index(i).Set(reflect.ValueOf(one))
	}
}

// Made is [Rows] of any type, which stands in the program once.
func (d *Desk) Made(ctx context.Context, row func(s *workflow.State, of int) any) ([]any, error) {
	var mu sync.Mutex
	made := map[int]any{}
	read, err := d.each(ctx, func(s *workflow.State, at, of int) {
		one := row(s, of)
		mu.Lock()
		defer mu.Unlock()
		made[at] = one
	})
	if read == nil {
		return nil, err
	}
	rows := make([]any, 0, len(read))
	for _, at := range read {
		rows = append(rows, made[at])
	}
	return rows, err
}

// each folds every journal, on all processors, and returns which ones could be read, nil
// if it was stopped. It stands in the program once, and not again for every type of row.
func (d *Desk) each(ctx context.Context, row func(s *workflow.State, at, of int)) (read []int, err error) {
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
	others := d.others("").readOnce(ctx)
	var mu sync.Mutex
	faults := map[int]error{}
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for it := range items {
				s, err := d.stateOf(ctx, it, others)
				if err == nil {
					row(s, it.at, it.of)
					continue
				}
				mu.Lock()
				if faults[it.at] = err; !unreadable(err) {
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
	read = make([]int, 0, len(q.marks))
	var unread []string
	var why error
	for i, mark := range q.marks {
		if err := faults[i]; err != nil {
			unread, why = append(unread, mark), cmp.Or(why, err)
		} else {
			read = append(read, i)
		}
	}
	return read, cannotRead(unread, why)
}

func (d *Desk) stateOf(ctx context.Context, it item, others others) (*workflow.State, error) {
	if it.err != nil {
		return nil, it.err
	}
	state, err := d.fold(ctx, it.journalBytes)
	if err != nil {
		return nil, err
	}
	return d.heed(ctx, state, others)
}

// unreadable reports whether an error concerns one journal only.
func unreadable(err error) bool {
	return errors.Is(err, store.ErrDamaged) || errors.Is(err, journal.ErrBadEntry)
}

func cannotRead(marks []string, why error) error {
	if why == nil {
		return nil
	}
	return fmt.Errorf("cannot read %s: %w; to see what can be saved: fettle examine", few(marks), why)
}

// An item is one journal of a queue, or why it cannot be read.
type item struct {
	journalBytes
	at, of int
	err    error
}

// A queue reads the journals of a store in the order of their marks, one batch per
// view.
type queue struct {
	desk  *Desk
	marks []string
	next  int
}

func (q *queue) send(ctx context.Context, to chan<- item) error {
	for first := true; first || q.next < len(q.marks); first = false {
		batch, err := q.items(ctx)
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

// items are the next journals with what their replay needs.
func (q *queue) items(ctx context.Context) (batch []item, err error) {
	err = q.batch(ctx, func(r store.Reader, at int) (int, error) {
		it := item{at: at, of: len(q.marks)}
		it.journalBytes, it.err = q.desk.load(r, q.marks[at])
		if it.err != nil && !unreadable(it.err) {
			return 0, it.err
		}
		batch = append(batch, it)
		return size(it.records), nil
	})
	return batch, err
}

func size(records [][]byte) int {
	bytes := 0
	for _, record := range records {
		bytes += len(record)
	}
	return bytes
}

// batch has the next journals read in one view, and before the first batch the
// list of marks. read returns how many bytes it read.
//
//go:noinline
func (q *queue) batch(ctx context.Context, read func(r store.Reader, at int) (int, error)) error {
	return q.desk.Store.View(ctx, func(r store.Reader) error {
		if q.next == 0 {
			journals, err := r.Journals()
			if err != nil {
				return err
			}
			q.marks = marksOf(journals)
		}
		for bytes := 0; q.next < len(q.marks) && bytes < viewBytes; q.next++ {
			n, err := read(r, q.next)
			if err != nil {
				return err
			}
			bytes += n
		}
		return nil
	})
}

// ErrNoAirframe is returned if there is no airframe to choose.
var ErrNoAirframe = errors.New("no airframe is registered yet")

// An AmbiguousError says that it is not clear which airframe is meant.
type AmbiguousError struct{ Marks []string } // of all airframes, sorted

// fewMarks is how many marks of many a person is shown.
const fewMarks = 5

func (e *AmbiguousError) Error() string {
	return "name the airframe: " + few(e.Marks)
}

func few(marks []string) string {
	text := strings.Join(marks[:min(fewMarks, len(marks))], ", ")
	if more := len(marks) - fewMarks; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// Choose returns the airframe that is meant if no exact mark was given: the one
// whose mark is the name apart from upper and lower case, else the only one with an
// open job, else the only one there is. named says that the name matched.
//
// It stops at the second airframe with an open job, and replays only journals in
// which a job was opened. In a store where those are many, the airframe is named.
func (d *Desk) Choose(ctx context.Context, name string) (s *workflow.State, named bool, err error) {
	return d.choose(ctx, name, chooseBytes)
}

// chooseBytes limits how many bytes of journals are replayed to find the one that is
// meant: that takes a second or two.
const chooseBytes = 16 << 20

func (d *Desk) choose(ctx context.Context, name string, most int) (s *workflow.State, named bool, err error) {
	c := choice{desk: d, name: name}
	for replayed := 0; ; {
		var batch []journalBytes
		err := d.Store.View(ctx, func(r store.Reader) (err error) {
			batch, err = c.batch(r)
			return err
		})
		if err != nil {
			return nil, false, err
		}
		for _, j := range batch {
			if replayed > most {
				return nil, false, &AmbiguousError{c.marks}
			}
			replayed += size(j.records)
			state, err := d.fold(ctx, j)
			switch {
			case err != nil && unreadable(err):
				return nil, false, cannotRead([]string{j.mark}, err)
			case err != nil:
				return nil, false, err
			case c.sure:
				state, err = d.heed(ctx, state, d.others(state.Airframe.Mark))
				return state, c.named, err
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
	state, err := d.heed(ctx, c.busy, d.others(c.busy.Airframe.Mark))
	return state, false, err
}

// A choice looks for the airframe that is meant.
type choice struct {
	desk  *Desk
	name  string
	marks []string
	next  int             // index of the next mark
	busy  *workflow.State // the first with an open job
	sure  bool            // the next journal is the one
	named bool            // the name matched its mark
}

// batch reads the next journals in which a job was opened: as many as are needed
// to find a second airframe with an open job, within the limit of one view.
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
		bytes += size(records)
	}
	return batch, nil
}

// opensJob reports whether a job was ever opened in a journal. If a newer program
// has another way to open one, its entries have a version that is refused.
func opensJob(records [][]byte) (bool, error) {
	named, err := journal.Naming(records)
	return journal.Any(named, func(e journal.Entry) bool {
		_, opens := e.Facts.(journal.JobOpened)
		return opens
	}), err
}
