package cli

import (
	"sync"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/store"
	"fettle/workflow"
)

// A steadyTime is a clock that stands still until a time that another bench, whose clock is a
// little ahead, has written already.
type steadyTime struct {
	timepiece
	mu    sync.Mutex
	least time.Time
}

func (s *steadyTime) Now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	if now := s.timepiece.Now(); now.After(s.least) {
		return now
	}
	return s.least
}

func (s *steadyTime) notBefore(t time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if t.After(s.least) {
		s.least = t
	}
}

// clocks compares the clock with those of other benches, where others write to the store.
func (a *app) clocks(of store.Store) *desk.Clocks {
	if _, shared := of.(store.ClockKeeper); !shared {
		return nil
	}
	steady := &steadyTime{timepiece: a.time}
	a.time = steady
	return &desk.Clocks{Now: steady.timepiece.Now, NotBefore: steady.notBefore, Tell: func(d workflow.ClockDoubt) { a.warn("%s", d.Says()) }}
}

// recall lets a command that only shows something show what was last seen of a store that is away.
func (a *app) recall() error {
	k, err := a.keeper()
	if err != nil {
		return err
	}
	if r, ok := k.Store.(keep.Remote); ok {
		r.Recall(func(asOf time.Time, why error) {
			if a.stale = true; !a.draws {
				a.warn("%s", page.AsOf(asOf, why, a.clock()))
			}
		})
	}
	return nil
}

// waiting says that the store is waited for, or that it is no more: on lines once, until the next
// question.
func (a *app) waiting(is bool) {
	if front := a.screen.Load(); front != nil {
		if w, ok := (*front).(sitting.Waiter); ok {
			w.Waiting(is)
		}
	} else if is && !a.draws && !a.looks.Load() && !a.waited.Swap(true) {
		a.warn("waiting for the store …")
	}
}
