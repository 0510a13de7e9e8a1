package workflow

import (
	"errors"
	"strings"
	"time"

	"fettle/steps/nearest"
	"fettle/workflow/journal"
)

// Circumstances are what a decision may know besides the state.
type Circumstances struct {
	Now     time.Time // the clock
	At      time.Time // when it happened; zero: now
	By      string
	Bench   string // where benches share a store, this one; "": it has no name
	Program string
}

// A Request is something a person asks to have recorded.
type Request interface {
	decide(s *State, c Circumstances) ([]journal.Facts, error)
}

// Decide returns the entries that would record the request, to be appended at
// the state's size, or an error: a *Refusal with every reason, an
// *UnknownError, or one that wraps ErrBadRequest. The state is not changed.
func (s *State) Decide(r Request, c Circumstances) ([]journal.Entry, error) {
	if c.At.IsZero() {
		c.At = c.Now
	}
	c.Now, c.At = c.Now.UTC().Truncate(time.Second), c.At.UTC().Truncate(time.Second)
	if c.At.After(c.Now) {
		return nil, bad("the time is in the future")
	}
	if c.By == "" {
		return nil, &BadRequestError{Text: "the name of the person is missing", Remedy: Remedy{Kind: ToNameWho}}
	}
	if _, first := r.(Register); !first && s.Sheet == nil {
		return nil, bad("the journal does not begin with an airframe")
	}
	if err := s.closedTo(r); err != nil {
		return nil, err
	}
	if reason := s.doubt.refuses(); reason != nil {
		return nil, &Refusal{What: "recording", Reasons: []Reason{*reason}}
	}
	seat := s.seat
	seat.By, seat.Bench = c.By, c.Bench
	facts, err := r.decide(s.Seated(seat), c)
	if err != nil {
		return nil, dated(err, c)
	}
	return s.entries(facts, c), nil
}

// thisSitting is how a reason speaks of the sitting that an act belongs to.
const thisSitting = "in this sitting"

// dated makes a refusal of what is dated earlier speak of the sitting of that
// time: what is missing must be recorded with a time too.
func dated(err error, c Circumstances) error {
	var refusal *Refusal
	if !errors.As(err, &refusal) || !c.At.Before(c.Now) {
		return err
	}
	for i, r := range refusal.Reasons {
		if !strings.Contains(r.Text, thisSitting) {
			continue
		}
		r.Text = strings.ReplaceAll(r.Text, thisSitting, "in the sitting of that time")
		if r.Remedy.Kind == ToClearUse || r.Remedy.Kind == ToClear || r.Remedy.Kind == ToSetCondition || r.Remedy.Kind == ToReadBench || r.Remedy.Kind == ToMeasure {
			r.Remedy.Then = c.At
		}
		refusal.Reasons[i] = r
	}
	return err
}

// entries wraps facts in entries that continue the journal.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (s *State) entries(facts []journal.Facts, c Circumstances) []journal.Entry {
	entries := make([]journal.Entry, len(facts))
	for i, f := range facts {
		entries[i] = journal.Entry{Position: s.Size() + int64(i), At: c.At, Recorded: c.Now, By: c.By, Program: c.Program, Facts: f}
	}
	return entries
}

// then is the state after more facts.
func (s *State) then(facts []journal.Facts, c Circumstances) (*State, error) {
	after, err := s.Longer(s.entries(facts, c), s.docs)
	if err != nil {
		return nil, err
	}
	after.Doubt(s.doubt)
	after.seat = s.seat
	return after.Beside(s.others), nil
}

//go:noinline
func unknown(what, name string, known []string) error { return unknownOf("", what, name, known) }

// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func unknownOf(of, what, name string, known []string) error {
	return &UnknownError{Of: of, What: what, Name: name, Nearest: nearest.Of(name, known), Known: known}
}
