package sitting

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
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
	known  map[string]desk.Known      // of every journal that was read, by mark
	all    bool                       // every journal was read
	missed bool                       // the store was away: it may be another one that comes back
	back   []desk.PutBack             // see PutBack
	dry    [2]string                  // mark and joint of a coat that was wet and is dry now, which its join will record
	claims claims
	news   int // see News

	Tells bool         // [Bench.Refresh] fails while the store is away, also where what was last seen of it is shown
	dated atomic.Bool  // the store is away: once it is back, that is said
	turns atomic.Int64 // the second until which what is asked can be begun: then that is said; 0: it can
}

// NewBench returns a bench of which nothing is read yet. [Bench.Refresh] reads it.
// What it has read it compares itself, and says nothing twice.
//
//go:noinline
func NewBench(d *desk.Desk) *Bench {
	b := &Bench{desk: d, states: map[string]*workflow.State{}, known: map[string]desk.Known{}}
	if w := d.Written; w != nil && w.Tell != nil {
		tell := w.Tell
		w.Tell = func(o desk.Older) {
			if b.knownOf(o.Mark).Size == 0 {
				tell(o)
			}
		}
	}
	return b
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
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return workflow.CompareReady(&a.Timer, &b.Timer)
	})
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
	if !b.known[mark].Goes(s) {
		return // it was read before what is known
	}
	if len(s.OpenJobs(now)) > 0 || len(s.Clocks(now)) > 0 || s.MayStand() || s.Unsafe(now) != nil {
		b.states[mark] = s
	} else {
		delete(b.states, mark)
	}
	b.known[mark] = desk.KnownOf(s)
}

// follow has an airframe go by the plan that s goes by.
func (b *Bench) follow(s *workflow.State) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if on := b.states[s.Airframe.Mark]; on != nil {
		on.Planned, on.Plans = s.Planned, s.Plans
	}
}

// turned reports once whether the time has come at which what is asked can't be begun any more.
func (b *Bench) turned() bool {
	at := b.turns.Load()
	return at > 0 && b.desk.Now().Unix() > at && b.turns.CompareAndSwap(at, 0)
}

// Refresh reads the airframes whose journals have grown since they were last read, or were put back to an
// older state, and reports whether one did that was on the bench: then a question that stands
// is answered with [Changed], and so it is where others began or left a step, and where what is asked can't be begun any more. The first time it reads all of them. Those that cannot
// be read are left out, and the error names them.
func (b *Bench) Refresh(ctx context.Context) (changed bool, err error) {
	b.mu.Lock()
	first := !b.all
	b.mu.Unlock()
	defer b.clocked(ctx)
	turned := b.turned()
	if first {
		err = b.readAll(ctx)
		moved, failed := b.refreshClaims(ctx)
		return moved || turned, cmp.Or(err, failed)
	}
	changed, err = b.readGrown(ctx)
	if errors.Is(err, store.ErrAway) {
		b.missing()
		return changed || turned, err
	}
	moved, failed := b.refreshClaims(ctx)
	_, why := b.desk.AsOf()
	if why != nil {
		b.missing()
	}
	if why != nil && b.Tells && failed == nil {
		failed = why
	}
	back := why == nil && failed == nil && b.dated.Load()
	return changed || turned || moved || back, cmp.Or(err, failed)
}

// readGrown reads the journals that are not as they were when they were read last. Once the store was away
// that is found out of all on the bench: a journal that was put back to an older state may have grown since.
func (b *Bench) readGrown(ctx context.Context) (changed bool, err error) {
	journals, err := store.Journals(ctx, b.desk.Store)
	if err != nil {
		return false, err
	}
	_, why := b.desk.AsOf()
	b.mu.Lock()
	missed := b.missed && why == nil
	listed := map[string]bool{}
	for _, j := range journals {
		listed[j.Mark] = true
	}
	for mark := range b.known {
		if !listed[mark] { // it is gone
			journals = append(journals, store.Journal{Mark: mark})
		}
	}
	b.mu.Unlock()
	for _, j := range journals {
		mark, size := j.Mark, j.Size
		b.mu.Lock()
		known, on := b.known[mark], b.states[mark] != nil
		b.mu.Unlock()
		if known.Size == size && !(missed && on) || known.Size > size && why != nil { // of what was last seen it may be an older copy
			continue
		}
		_, failed := b.Read(ctx, mark)
		if errors.Is(failed, store.ErrAway) {
			return changed, failed // it is read once it can be
		}
		b.mu.Lock()
		switch {
		case b.known[mark] != known:
			b.news++
			changed = changed || on
		case failed != nil:
			b.news++
			b.known[mark], err = desk.Known{Size: size}, failed // it is not read again, nor said twice
		}
		b.mu.Unlock()
	}
	b.mu.Lock()
	b.missed = b.missed && !missed
	b.mu.Unlock()
	return changed, err
}

// missing notes that the store is away, or is not as it was read.
func (b *Bench) missing() {
	b.mu.Lock()
	b.missed = true
	b.mu.Unlock()
}

func (b *Bench) knownOf(mark string) desk.Known {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.known[mark]
}

// Read reads an airframe, which is then on the bench as it is. One whose journal was put back to an older
// state since it was read is among [Bench.PutBack], also where it is not there any more.
func (b *Bench) Read(ctx context.Context, mark string) (*workflow.State, error) {
	mark = strings.ToUpper(mark)
	for {
		known := b.knownOf(mark)
		_, away := b.desk.AsOf()
		s, err := b.desk.State(ctx, mark)
		gone := known.Size > 0 && errors.As(err, new(*workflow.UnknownError))
		switch {
		case err != nil && !gone:
			return nil, err
		case !gone && known.Goes(s):
			b.Put(s)
			return s, nil
		}
		if _, why := b.desk.AsOf(); cmp.Or(away, why) != nil { // it may be an older copy of what was last seen
			return nil, cmp.Or(away, why)
		}
		b.mu.Lock()
		if b.known[mark] != known { // it was read before what is known now
			b.mu.Unlock()
			continue
		}
		b.back = append(b.back, desk.NewPutBack(mark, known, b.states[mark], s))
		delete(b.known, mark)
		delete(b.states, mark)
		if !gone {
			b.put(s)
		}
		b.mu.Unlock()
		return s, err
	}
}

// PutBack are the journals that were found to be put back to an older state since it was asked last.
func (b *Bench) PutBack() []desk.PutBack {
	b.mu.Lock()
	defer b.mu.Unlock()
	all := b.back
	b.back = nil
	return all
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
	b.all = true
	for _, s := range states {
		b.put(s)
	}
	for _, j := range sizes {
		if b.known[j.Mark].Size == 0 { // it cannot be read, which is said once
			b.known[j.Mark] = desk.Known{Size: j.Size}
		}
	}
	return err
}
