package desk

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"time"

	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/store/wholefile"
	"fettle/workflow"
)

// A Plan keeps the last plan in a file beside the store, so that what is suggested next follows it. It decides nothing: whoever
// deletes the file goes by the fixed rule again, and so does an airframe of which the file says nothing, or that it does not
// mean. What can't be read is passed over. What can't be written is followed all the same while the program runs, until somebody
// writes the file.
type Plan struct {
	File   string
	Hands  int              // how many people there are, where that is said for now; 0: as many as the plan is for
	People int              // how many people there are, where no plan is for several; 0 or 1: one
	Sits   func() time.Time // see [workflow.State.Sits]
	Given  []string         // when somebody is at the bench, as it was said for the plan to be kept; nil: it was not

	mu   sync.Mutex
	read os.FileInfo // the file that last is of, or stands in the place of; nil: there was none
	last order
	held []byte // what could not be written
}

// An order is the first line of the file, and all that is read of it for what is next. The second is the timetable.
type order struct {
	Since   map[string]time.Time          `json:"since"` // by mark, when the airframe was registered: another store may have its mark
	Planned map[string][]workflow.Planned `json:"planned"`
	Who     map[string]person             `json:"who,omitempty"`   // by name, who is which person of a plan for several
	Hands   int                           `json:"hands,omitempty"` // people the last plan is for, also where it has nothing for some of them
	Aside   []string                      `json:"aside,omitempty"` // marks that a plan of others was made without: nothing leads to them by a plan
	Given   []string                      `json:"given,omitempty"` // the sittings that were said for the last plan of which any were
}

// mostPlan is more bytes than the file of a plan has.
const mostPlan = 16 << 20

// Tell tells an airframe what the last plan has for it, and for others.
//
//go:noinline
func (p *Plan) Tell(s *workflow.State) {
	if s.Planned = p.planned(s); p != nil {
		s.Sits = p.Sits
		p.mu.Lock()
		s.Plans = p.last.Planned
		p.mu.Unlock()
	}
}

// planned is what the last plan has for an airframe.
func (p *Plan) planned(s *workflow.State) []workflow.Planned {
	if p == nil {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	if mark := s.Airframe.Mark; p.last.Since[mark].Equal(s.Since) {
		return p.last.Planned[mark]
	}
	return nil
}

// marks are those of the airframes that the last plan has something for.
func (p *Plan) marks() (all []string) {
	if p == nil {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	for mark, planned := range p.last.Planned {
		if len(planned) > 0 {
			all = append(all, mark)
		}
	}
	slices.Sort(all)
	return all
}

// Beside are the airframes, but for those of a plan, that earlier plans have something for at the same time, and for people who are the same, or
// may be: nobody can follow both.
func (p *Plan) Beside(fleet []*workflow.State, t workflow.Timetable) (marks []string) {
	for _, mark := range p.marks() {
		if among(fleet, mark) {
			continue
		}
		p.mu.Lock()
		planned := p.last.Planned[mark]
		p.mu.Unlock()
		if t.Clashes(planned) {
			marks = append(marks, mark)
		}
	}
	return marks
}

// Without are the airframes that a plan of this fleet is made without, of all: those that earlier plans have [Plan.Beside] it, and those that
// they have nothing for.
func (p *Plan) Without(fleet []*workflow.State, all, beside []string) []string {
	planned := p.marks()
	return sorting.Delete(slices.Clone(all), func(mark string) bool {
		return among(fleet, mark) || lists.Contains(planned, mark) && !lists.Contains(beside, mark)
	})
}

// aside are the airframes that a plan of others was made without.
func (p *Plan) aside() []string {
	if p == nil {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	return p.last.Aside
}

// Sittings are those that were said for the last plan of which any were.
func (p *Plan) Sittings() []string {
	if p == nil {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.refresh()
	return p.last.Given
}

// Followed are those of a fleet that are planned anew: all, but for those that a plan was made without while something is left to do on the
// others. What crashed and is not made safe comes before any plan.
func (p *Plan) Followed(fleet []*workflow.State, now time.Time) (followed, aside []*workflow.State) {
	without, left := p.aside(), false
	for _, s := range fleet {
		if lists.Contains(without, s.Airframe.Mark) && s.Unsafe(now) == nil {
			aside = append(aside, s)
		} else {
			followed, left = append(followed, s), left || s.ToPlan(now)
		}
	}
	if !left {
		return fleet, nil
	}
	return followed, sorting.Delete(aside, func(s *workflow.State) bool { return !s.ToPlan(now) })
}

//go:noinline
func among(fleet []*workflow.State, mark string) bool {
	return slices.ContainsFunc(fleet, func(s *workflow.State) bool { return s.Airframe.Mark == mark })
}

// refresh reads the plan where it was kept anew.
func (p *Plan) refresh() {
	if at, _ := os.Stat(p.File); !same(p.read, at) {
		p.read, p.last, p.held = at, order{}, nil
		if line, err := lineOf(p.File, 1); err != nil || json.Unmarshal(line, &p.last) != nil {
			p.last = order{}
		}
		workflow.ForFewer(p.last.Planned, p.Hands)
		if p.Hands > 0 {
			p.last.Hands = min(p.last.Hands, p.Hands)
		}
	}
}

// same reports whether a file was not written since; nil: there was none.
func same(was, is os.FileInfo) bool {
	if was == nil || is == nil {
		return was == is
	}
	return was.ModTime().Equal(is.ModTime()) && was.Size() == is.Size()
}

// line is the first or second line of what was kept last.
func (p *Plan) line(n int) ([]byte, error) {
	p.mu.Lock()
	held, read := p.held, p.read
	p.mu.Unlock()
	if at, _ := os.Stat(p.File); held != nil && same(read, at) {
		return bytes.Split(held, []byte("\n"))[n-1], nil
	}
	return lineOf(p.File, n)
}

func lineOf(path string, n int) (line []byte, err error) {
	file, err := wholefile.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	r := bufio.NewReaderSize(io.LimitReader(file, mostPlan), 1<<14)
	for range n {
		if line, err = r.ReadBytes('\n'); err != nil {
			return nil, err
		}
	}
	return line, nil
}

// Last is what was planned of these airframes, each when it was planned last, for as many people as the last plan of any was for;
// nil: nothing was.
func (p *Plan) Last(fleet []*workflow.State) *workflow.Timetable {
	if p == nil || !slices.ContainsFunc(fleet, func(s *workflow.State) bool { return p.planned(s) != nil }) {
		return nil
	}
	line, err := p.line(2)
	var t workflow.Timetable
	if err != nil || json.Unmarshal(line, &t) != nil {
		return nil
	}
	t.Visits = visitsOf(t, func(mark string) bool {
		return among(fleet, mark)
	})
	if len(t.Visits) > 0 && !slices.ContainsFunc(t.Visits, func(v workflow.Visit) bool { return v.Made.IsZero() }) {
		t.Hands = slices.MaxFunc(t.Visits, func(a, b workflow.Visit) int { return a.Made.Compare(b.Made) }).Hands
	}
	if t.Hands < 0 || t.Hands > workflow.MostHands {
		t.Hands = 0
	}
	for i, v := range t.Visits {
		if v.Made.IsZero() {
			continue
		}
		if t.Finish = (time.Time{}); i == 0 || v.Made.Before(t.Made) { // of the newest alone
			t.Made = v.Made
		}
	}
	return &t
}

// visitsOf are the visits with what is done in them to these airframes.
//
//go:noinline
func visitsOf(t workflow.Timetable, are func(mark string) bool) (all []workflow.Visit) {
	for _, v := range t.Visits {
		turns := v.Turns
		v.Turns = nil
		for _, turn := range turns {
			if are(turn.Mark) {
				v.Turns = append(v.Turns, turn)
			}
		}
		leave := v.Leave
		v.Leave = nil
		for _, is := range leave {
			if are(is.Mark) {
				v.Leave = append(v.Leave, is)
			}
		}
		if len(v.Turns) > 0 {
			all = append(all, v)
		}
	}
	return all
}

// Keep keeps a plan in the place of the last one: also one that somebody did not wait for any longer, as far as it was found. The airframes
// that it was made without are followed by no earlier one.
func (p *Plan) Keep(ctx context.Context, fleet []*workflow.State, t workflow.Timetable, without []string) error {
	if p == nil {
		return nil
	}
	release, locked := wholefile.Lock(p.File)
	if locked == nil {
		defer release()
	}
	var next order
	if line, err := p.line(1); err == nil {
		_ = json.Unmarshal(line, &next) // other airframes go on by the plan that they had
	}
	if next.Since == nil || next.Planned == nil {
		next.Since, next.Planned = map[string]time.Time{}, map[string][]workflow.Planned{}
	}
	next.Aside = sorting.Delete(next.Aside, func(mark string) bool { return among(fleet, mark) || lists.Contains(without, mark) })
	next.Aside = append(next.Aside, without...)
	for _, mark := range without {
		delete(next.Planned, mark)
	}
	if p.Given != nil {
		next.Given = p.Given
	}
	first := workflow.PeopleOf(next.Planned) == 0
	next.Hands = t.Hands
	for _, s := range fleet {
		next.Since[s.Airframe.Mark], next.Planned[s.Airframe.Mark] = s.Since, t.Planned(s.Airframe.Mark)
	}
	if first { // for several
		next.meet(fleet, t.Made)
	}
	var before workflow.Timetable
	if line, err := p.line(2); err == nil && json.Unmarshal(line, &before) == nil {
		t.Visits = slices.Clone(t.Visits)
		for _, v := range visitsOf(before, func(mark string) bool {
			return !among(fleet, mark)
		}) {
			if v.Made.IsZero() {
				v.Made, v.Hands = before.Made, before.Hands
			}
			t.Visits = append(t.Visits, v)
		}
	}
	line, err := json.Marshal(next)
	second, failed := json.Marshal(t)
	if err := errors.Join(err, failed); err != nil {
		return err
	}
	text := fmt.Appendf(nil, "%s\n%s\n", line, second)
	if err = locked; err == nil {
		err = wholefile.Replace(context.WithoutCancel(ctx), p.File, 0o600, func(to *os.File) error {
			_, err := to.Write(text)
			return err
		})
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if err == nil {
		p.held = nil
		return nil
	}
	p.read, _ = os.Stat(p.File)
	p.last, p.held = next, text
	workflow.ForFewer(p.last.Planned, p.Hands)
	return fmt.Errorf("keeping the plan: %w", err)
}

// Repairing is an airframe as it would be with the check that is due and the repair of its damage begun, or its open repair amended,
// of which nothing is recorded; as it is, where there is nothing to begin or it is refused.
func (d *Desk) Repairing(ctx context.Context, s *workflow.State) *workflow.State {
	now, is := d.Now(), s
	if s.Retired != nil {
		return s
	}
	trial := &Desk{Store: unwritten{d.Store}, Library: d.Library, Now: d.Now, By: d.By, Program: d.Program}
	if due := s.Unchecked(now); due != nil && due.Remedy.Kind == workflow.ToStart {
		if _, after, err := trial.Start(ctx, s, due.Remedy.Name, "", time.Time{}); err == nil {
			s = after
		}
	}
	if len(s.Unplanned(now)) > 0 {
		if repair, err := trial.PlanRepair(ctx, s); err == nil {
			if _, after, err := trial.StartRepair(ctx, s, repair, time.Time{}); err == nil {
				s = after
			}
		}
	}
	if s != is { // the trial knows nobody
		s = d.Seated(s, 0)
	}
	return s
}

// AsBegun are airframes as [Desk.Repairing] has each, and those of the last plan which it has something to begin on, or that are not safe.
func (d *Desk) AsBegun(ctx context.Context, fleet []*workflow.State) (all []*workflow.State) {
	known := map[string]bool{}
	for _, s := range fleet {
		known[s.Airframe.Mark] = true
		all = append(all, d.Repairing(ctx, s))
	}
	planned := d.Plan.marks()
	for _, mark := range lists.Concat(planned, d.Plan.aside()) {
		if known[mark] {
			continue
		}
		if s, err := d.State(ctx, mark); err == nil && (lists.Contains(planned, mark) || s.Unsafe(d.Now()) != nil) {
			if after := d.Repairing(ctx, s); after != s {
				all = append(all, after)
			}
		}
	}
	return all
}

// Forgone are the open windows that can be met now, and not once the repair is begun, or the open one amended.
func (d *Desk) Forgone(ctx context.Context, s *workflow.State) (all []workflow.Lapse) {
	now := d.Now()
	var begun *workflow.State
	for _, t := range s.Timers(now) {
		w := workflow.Lapse{Mark: s.Airframe.Mark, Job: t.Job, Name: t.Name, Closes: t.Closes}
		if t.Closes.IsZero() || !s.InReach(w, now) {
			continue
		}
		if begun == nil {
			begun = d.Repairing(ctx, s)
		}
		if !begun.InReach(w, now) {
			all = append(all, w)
		}
	}
	return all
}

// An unwritten store takes what is written for written.
type unwritten struct{ store.Store }

func (unwritten) Append(context.Context, string, int64, [][]byte) error { return nil }

func (unwritten) Keep(_ context.Context, document []byte) (string, error) {
	return store.Digest(document), nil
}
