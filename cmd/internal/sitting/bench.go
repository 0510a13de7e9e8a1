package sitting

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
)

// A Bench is the airframes of a sitting as they were last read: those with an open
// job or a running clock. It may be used by several goroutines.
type Bench struct {
	desk *desk.Desk

	mu     sync.Mutex
	states map[string]*workflow.State // by mark
	sizes  map[string]int64           // of every journal, when it was read; nil: they were not all read
	dry    [2]string                  // mark and joint of a coat that was wet and is dry now, which its join will record
	claims claims
	news   int // see News

	Tells bool        // [Bench.Refresh] fails while the store is away, also where what was last seen of it is shown
	dated atomic.Bool // the store is away: once it is back, that is said
}

// NewBench returns a bench of which nothing is read yet. [Bench.Refresh] reads it.
func NewBench(d *desk.Desk) *Bench {
	return &Bench{desk: d, states: map[string]*workflow.State{}}
}

// A Timer is a running clock of an airframe.
type Timer struct {
	Mark string
	workflow.Timer
}

// Timers are the running clocks of all airframes at a time, the next moment first. It
// reads no store, and may be called every second.
func (b *Bench) Timers(now time.Time) []Timer {
	b.mu.Lock()
	dry := b.dry
	b.mu.Unlock()
	var all []Timer
	for _, s := range b.States() {
		for _, t := range s.Timers(now) {
			if dry == [2]string{s.Airframe.Mark, t.Name} && t.Phase == workflow.Tacking && !now.Before(t.Opens) {
				t.Phase, t.Touch = workflow.Open, time.Time{}
			}
			all = append(all, Timer{s.Airframe.Mark, t})
		}
	}
	sorting.Stable(all, func(a, b Timer) int { return workflow.CompareReady(a.Timer, b.Timer) })
	return all
}

// States are the airframes, in the order of their marks.
func (b *Bench) States() []*workflow.State {
	b.mu.Lock()
	defer b.mu.Unlock()
	states := make([]*workflow.State, 0, len(b.states))
	for _, mark := range slices.Sorted(maps.Keys(b.states)) {
		states = append(states, b.states[mark])
	}
	return states
}

// felt says that a coat that was wet is dry now.
func (b *Bench) felt(mark, joint string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.dry = [2]string{mark, joint}
}

// Put replaces one airframe by what was just read or recorded of it.
func (b *Bench) Put(s *workflow.State) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.put(s)
}

func (b *Bench) put(s *workflow.State) {
	if b.dry[0] == s.Airframe.Mark && b.states[b.dry[0]] != nil && b.states[b.dry[0]].Size() != s.Size() {
		b.dry = [2]string{}
	}
	mark, now := s.Airframe.Mark, b.desk.Now()
	if had := b.states[mark]; had != nil && had.Size() > s.Size() {
		return // it was read before what is known
	}
	if len(s.OpenJobs(now)) > 0 || len(s.Clocks(now)) > 0 {
		b.states[mark] = s
	} else {
		delete(b.states, mark)
	}
	if b.sizes != nil {
		b.sizes[mark] = s.Size()
	}
}

// follow has an airframe go by the plan that s goes by.
func (b *Bench) follow(s *workflow.State) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if on := b.states[s.Airframe.Mark]; on != nil {
		on.Planned = s.Planned
	}
}

// Refresh reads the airframes whose journals have grown since they were last read,
// and reports whether one did that was on the bench: then a question that stands
// is answered with [Changed], and so it is where others began or left a step. The first time it reads all of them. Those that cannot
// be read are left out, and the error names them.
func (b *Bench) Refresh(ctx context.Context) (changed bool, err error) {
	b.mu.Lock()
	first := b.sizes == nil
	b.mu.Unlock()
	defer b.clocked(ctx)
	if first {
		err = b.readAll(ctx)
		moved, failed := b.refreshClaims(ctx)
		return moved, cmp.Or(err, failed)
	}
	journals, err := store.Journals(ctx, b.desk.Store)
	if err != nil {
		return false, err
	}
	for _, j := range journals {
		b.mu.Lock()
		known, on := b.sizes[j.Mark] >= j.Size, b.states[j.Mark] != nil
		b.mu.Unlock()
		if known {
			continue
		}
		s, failed := b.desk.State(ctx, j.Mark)
		if errors.Is(failed, store.ErrAway) {
			return changed, failed // it is read once it can be
		}
		b.mu.Lock()
		b.news++
		if failed == nil {
			b.put(s)
			changed = changed || on
		} else {
			b.sizes[j.Mark], err = j.Size, failed // it is not read again, nor said twice
		}
		b.mu.Unlock()
	}
	moved, failed := b.refreshClaims(ctx)
	_, why := b.desk.AsOf()
	if why != nil && b.Tells && failed == nil {
		failed = why
	}
	back := why == nil && failed == nil && b.dated.Load()
	return changed || moved || back, cmp.Or(err, failed)
}

// clocked has the airframes count by what is known of the clocks of other benches now: while the
// store is away that is less.
func (b *Bench) clocked(ctx context.Context) {
	for _, s := range b.States() {
		anew := b.desk.Clocked(ctx, s)
		b.mu.Lock()
		if b.states[s.Airframe.Mark] == s {
			b.states[s.Airframe.Mark] = anew
		}
		b.mu.Unlock()
	}
}

// News counts what [Bench.Refresh] found: journals that had grown, also of airframes that are not
// on the bench, and others at other steps.
func (b *Bench) News() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.news
}

// readAll reads every airframe.
func (b *Bench) readAll(ctx context.Context) error {
	sizes, err := store.Journals(ctx, b.desk.Store)
	if err != nil {
		return err
	}
	states, err := desk.Rows(ctx, b.desk, func(s *workflow.State, _ int) *workflow.State { return s })
	if errors.Is(err, store.ErrAway) {
		return err // none could be read: that is tried again
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.sizes = map[string]int64{}
	for _, j := range sizes {
		b.sizes[j.Mark] = j.Size
	}
	for _, s := range states {
		b.put(s)
	}
	return err
}
