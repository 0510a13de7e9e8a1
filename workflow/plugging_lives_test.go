package workflow

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow/journal"
)

// Random lives of two airframes at one bench, at which things are plugged in and out by holds, steps and bare words, flown with, and
// taken back, in any order and typed in later: by the entries alone, nothing that needs what a hold plugs in was done unless the
// lines of that hold were confirmed, for this airframe, in this sitting, after the last time that it was out, or that all that was said ended.
func TestRandomPluggings(t *testing.T) {
	t.Parallel()
	start := plugs(t, func(_ *steps.Sheet, plug *steps.Step) { plug.Alone = []string{"Strap it to the stand"} })
	done, wanting := 0, 0
	often(t, func(t *rapid.T) {
		l := &pluggings{bench: start, now: start.now}
		for i, mark := range []string{"PL-01", "PL-02"} {
			entries := slices.Clone(start.state.Entries)
			registered := entries[0].Facts.(journal.Registered)
			registered.Mark = mark
			entries[0].Facts = registered
			l.states[i] = start.replay(entries)
		}
		for i := range l.states {
			l.try(t, i, plugAlone, l.now)
			l.try(t, i, Finish{Step: "try"}, l.now)
		}
		for range rapid.IntRange(20, 100).Draw(t, "length") {
			l.move(t)
		}
		done, wanting = done+l.done, wanting+l.wanting
	})
	if t.Logf("%d steps done by lines that were confirmed once more, %d refused for want of them", done, wanting); done == 0 || wanting == 0 {
		t.Errorf("%d steps were done by lines that were confirmed once more, %d refused for want of them", done, wanting)
	}
}

var plugAlone = Clear{Step: "plug", Answers: []bool{true, true}, Witness: Witness{Alone: 1}}

type pluggings struct {
	states        [2]*State
	now           time.Time
	bench         *bench
	done, wanting int
}

func (l *pluggings) move(t *rapid.T) {
	l.now = l.now.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 1, 5, 30, 60, 60 * 14}).Draw(t, "minutes")) * time.Minute)
	i := rapid.SampledFrom([]int{0, 0, 0, 1}).Draw(t, "airframe")
	at := l.now.Add(-time.Duration(rapid.SampledFrom([]int{0, 0, 0, 0, 1, 7}).Draw(t, "minutes before")) * time.Minute)
	switch what := rapid.IntRange(0, 15).Draw(t, "what"); what {
	case 0, 1, 2:
		l.try(t, i, setting(rapid.SampledFrom([]string{"charger", "lamp"}).Draw(t, "which"), "off"), at)
	case 3, 4:
		l.try(t, i, setting(rapid.SampledFrom([]string{"charger", "lamp"}).Draw(t, "which"), "on"), at)
	case 5, 6:
		l.try(t, i, plugAlone, at)
	case 9, 10:
		l.try(t, i, plugAlone, l.now)
		l.try(t, i, Finish{Step: "try-again"}, l.now)
	case 11: // only said, after lines for the lamp alone, and a flight, all in one second
		l.try(t, i, setting("lamp", "off"), l.now)
		l.try(t, i, plugAlone, l.now)
		l.fly(t, i, l.now)
		l.try(t, i, setting("charger", "on"), l.now)
		l.try(t, i, Finish{Step: "glow"}, l.now)
	case 12: // only said
		l.try(t, i, setting("charger", "on"), l.now)
		l.try(t, i, setting("lamp", "on"), l.now)
		l.try(t, i, Finish{Step: "try-again"}, l.now)
	case 13:
		l.try(t, i, Finish{Step: "shine"}, at)
	case 7:
		l.try(t, i, Undo{Position: l.states[i].Size() - int64(rapid.IntRange(1, 4).Draw(t, "back"))}, l.now)
	case 8:
		l.fly(t, i, at)
	default:
		l.try(t, i, Finish{Step: rapid.SampledFrom([]string{"try", "try-again", "try-again", "try-again", "try-again", "try-again", "try-again", "out"}).Draw(t, "step")}, at)
	}
}

func (l *pluggings) fly(t *rapid.T, i int, at time.Time) {
	l.record(t, i, l.states[i].entries([]journal.Facts{journal.FlightLogged{}}, Circumstances{Now: l.now, At: at, By: "builder"}))
}

func (l *pluggings) try(t *rapid.T, i int, r Request, at time.Time) {
	s := l.states[i].Beside([]*State{l.states[1-i]})
	entries, err := s.Decide(r, Circumstances{Now: l.now, At: at, By: "builder", Program: "test"})
	var refusal *Refusal
	if errors.As(err, &refusal) && strings.Contains(err.Error(), "confirm the lines of plug again") {
		l.wanting++
	}
	if err == nil {
		l.record(t, i, entries)
	}
}

func (l *pluggings) record(t *rapid.T, i int, entries []journal.Entry) {
	before := l.states[i]
	l.states[i] = l.bench.replay(append(slices.Clone(before.Entries), entries...))
	for _, e := range entries {
		if f, ok := e.Facts.(journal.StepDone); ok {
			for _, what := range map[string][]string{"try": {"charger"}, "glow": {"charger"}, "shine": {"lamp"}, "try-again": {"charger", "lamp"}}[f.Step] {
				if err := l.unread(i, what, e); err != nil {
					t.Fatalf("%s of %s: %v", f.Step, l.states[i].Airframe.Mark, err)
				}
			}
			if f.Step == "try-again" || f.Step == "glow" || f.Step == "shine" || f.Step == "out" && e.Position%4 > 0 { // which may be done again so
				l.states[i] = before
			}
		}
	}
}

// unread says why the lines do not count for what was on when the entry was made.
func (l *pluggings) unread(i int, what string, by journal.Entry) error {
	gone := func(s *State, e journal.Entry) bool {
		return slices.ContainsFunc(s.Entries, func(u journal.Entry) bool {
			f, ok := u.Facts.(journal.Undone)
			return ok && slices.Contains(f.TakesBack, e.Position)
		})
	}
	own := l.states[i]
	var lines *journal.Entry
	for k := range own.Entries[:by.Position] {
		e := &own.Entries[k]
		again, ok := e.Facts.(journal.UseCleared)
		if _, first := e.Facts.(journal.HoldCleared); !first && !(ok && again.Of == "plug") || gone(own, *e) || e.At.After(by.At) {
			continue
		}
		if lines == nil || !e.At.Before(lines.At) {
			lines = e
		}
	}
	if f := by.Facts.(journal.StepDone); lines == nil && f.Step == "shine" { // it comes after no hold
		return nil
	}
	if lines == nil {
		return errors.New("the lines were not read")
	}
	if by.At.Sub(lines.At) > SittingLength {
		return fmt.Errorf("the lines were read in entry %d, in another sitting", lines.Position)
	}
	for k, s := range l.states {
		for _, e := range s.Entries {
			if e.At.After(by.At) || e.At.Before(lines.At) || e.At.Equal(lines.At) && (k != i || e.Position < lines.Position) || k == i && e.Position >= by.Position {
				continue
			}
			out := false
			switch f := e.Facts.(type) {
			case journal.FlightLogged:
				out = k == i
			case journal.ConditionSet:
				out = f.Setting.Condition == what && f.Setting.State == "off"
			case journal.StepDone:
				out = f.Step == "out"
			}
			if out && (k == i || what == "charger" && !gone(s, e)) { // what was taken back here may have been so
				return fmt.Errorf("the lines were read in entry %d, and the %s was out by entry %d of %s", lines.Position, what, e.Position, s.Airframe.Mark)
			}
		}
	}
	if _, ok := lines.Facts.(journal.UseCleared); ok {
		l.done++
	}
	return nil
}
