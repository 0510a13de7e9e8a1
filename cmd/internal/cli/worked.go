package cli

import (
	"context"
	"sync"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/store"
	"fettle/workflow"
)

// worked is what was done on all airframes of the store, whichever are planned: a person works on several side by side. A
// journal that can't be read tells of no pace, and one that has not grown since is not read again.
type worked struct {
	mu     sync.Mutex
	read   bool                     // all journals were
	unkept bool                     // it was said that the plan can't be kept
	of     map[string]workOfJournal // by mark
}

type workOfJournal struct {
	size int64
	done workflow.WorkDone
}

func (w *worked) note(s *workflow.State, now time.Time) {
	done, _ := s.WorkDone(now)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.of == nil {
		w.of = map[string]workOfJournal{}
	}
	w.of[s.Airframe.Mark] = workOfJournal{s.Size(), done}
}

// all is of every airframe, as the store has it now. known are some that were just read.
func (w *worked) all(ctx context.Context, d *desk.Desk, known []*workflow.State) []workflow.WorkDone {
	now := d.Now()
	if !w.read {
		w.read = true
		_, _ = desk.Rows(ctx, d, func(s *workflow.State, _ int) *workflow.State {
			w.note(s, now)
			return nil
		})
	} else if len(known) > 0 {
		for _, s := range known {
			w.note(s, now)
		}
		w.grown(ctx, d)
	}
	all := make([]workflow.WorkDone, 0, len(w.of))
	for _, j := range w.of {
		all = append(all, j.done)
	}
	workflow.Timed(all)
	return all
}

// grown reads the journals that have grown since they were read.
func (w *worked) grown(ctx context.Context, d *desk.Desk) {
	journals, _ := store.Journals(ctx, d.Store)
	for _, j := range journals {
		if w.of[j.Mark].size < j.Size {
			if s, err := d.State(ctx, j.Mark); err == nil {
				w.note(s, d.Now())
			}
		}
	}
}
