package sitting

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// list shows where each open stage stands, first what can be done, and goes to a step
// where order allows it.
func (c *conversation) list(ctx context.Context) error {
	now := c.now()
	type entry struct {
		s *workflow.State
		r workflow.StepReport
	}
	var all, waiting []entry
	var later []Row
	for _, s := range c.states {
		for _, job := range s.OpenJobs(now) {
			n := 0
			for _, r := range s.Steps(job, now) {
				switch {
				case r.Progress == workflow.Later:
					n++
				case r.AtHand():
					all = append(all, entry{s, r})
				case r.Progress == workflow.Waiting:
					waiting = append(waiting, entry{s, r})
				}
			}
			if n > 0 {
				later = append(later, Row{Label: fmt.Sprintf("%s %s: %d more come later", s.Airframe.Mark, job.ID, n)})
			}
		}
	}
	all = append(all, waiting...)
	q := Question{Prompt: "Which step?", Keys: []Key{{Key: Enter, Word: "back"}}}
	for i, e := range all {
		row := Row{
			Key: strconv.Itoa(i + 1), Label: fmt.Sprintf("%s %s · %s", e.s.Airframe.Mark, e.r.Stage, term.Line(e.r.Step.Label())),
			Value: page.Standing(e.r, c.clock()), Here: placeOf(e.s, e.r) == c.here(),
		}
		if c.off[placeOf(e.s, e.r)] {
			row.Value += ", put off"
		}
		if claim := c.Bench.at(e.s, e.r); claim != nil {
			row.Value += "; " + page.ClaimedBy(claim, c.clock())
		}
		q.View.Rows = append(q.View.Rows, row)
	}
	q.View.Rows = append(q.View.Rows, later...)
	q.Field = &Field{Label: "its number, or the name of any step", Words: true, Check: func(text string) Verdict {
		n, err := strconv.Atoi(text)
		return takes(err != nil || n >= 1 && n <= len(all), "choose a number from 1 to "+strconv.Itoa(len(all))+", or the name of a step")
	}}
	c.view.ID += "/list"
	c.view.Title, c.view.Action, c.view.Cautions = "Open steps", "", nil
	reply, err := c.ask(ctx, q)
	if err != nil {
		return err
	}
	if reply.Text == "" {
		return nil
	}
	var to entry
	if n, err := strconv.Atoi(reply.Text); err == nil {
		to = all[n-1]
	} else {
		to.s = c.state()
		if to.r, _, err = to.s.FindStep(reply.Text, now); err != nil {
			return c.say(err.Error())
		}
	}
	if !to.r.AtHand() {
		return c.Front.Tell(page.WhyNot(to.r, c.clock()))
	}
	c.take(to.s, to.r)
	return nil
}

// takeBack takes back the last entry of the airframe on which something was recorded last,
// and all that depends on it, once it was shown and confirmed.
func (c *conversation) takeBack(ctx context.Context) error {
	s, err := c.Desk.State(ctx, cmp.Or(c.recorded, c.mark)) // the last entry may be another terminal's
	if err != nil {
		return err
	}
	last, ok := lastEntry(s)
	if !ok {
		return c.say("There is nothing to take back.")
	}
	undos := []workflow.Undo{}
	var entries []journal.Entry
	for _, p := range c.oneKey(s, last) {
		undo := workflow.Undo{Position: p, Reason: "taken back at the bench"}
		decided, err := s.Decide(undo, workflow.Circumstances{Now: c.now(), By: c.Desk.By, Program: c.Desk.Program})
		if err != nil {
			return err
		}
		undos, entries = append(undos, undo), append(entries, decided...)
	}
	q := Question{Prompt: "Take it back?", Keys: []Key{{Key: keyYes, Word: "take back"}, {Key: Enter, Word: "leave it", Also: keyNo}}}
	all := page.NewJournal(s).Entries
	if by := all[last].By; by != c.Desk.By {
		q.Prompt = fmt.Sprintf("Take back what %s recorded?", term.Line(by))
	}
	for _, e := range entries {
		undone, ok := e.Facts.(journal.Undone)
		for _, p := range undone.TakesBack {
			if ok {
				q.View.Rows = append(q.View.Rows, Row{Label: fmt.Sprintf("%s, entry %d: %s (%s, by %s)", s.Airframe.Mark, p, term.Line(all[p].Says), c.clock().At(all[p].At), term.Line(all[p].By))})
			}
		}
	}
	c.view.ID += "/back"
	c.view.Title, c.view.Action, c.view.Cautions = "The last entry", "", nil
	reply, err := c.ask(ctx, q)
	if err != nil {
		return err
	}
	if reply.Key != keyYes {
		return nil
	}
	c.answered("what was to be taken back")
	c.kept = place{} // what was taken back comes next
	for _, undo := range undos {
		if err := c.recordOn(ctx, s, undo, time.Time{}); err != nil {
			return err
		}
		if s, err = c.Desk.State(ctx, s.Airframe.Mark); err != nil {
			return err
		}
	}
	return nil
}

// oneKey is what the answer recorded that led to the last entry. A coat that was joined
// with the same key goes with it. A step that only measures is done by itself once its
// gates have passed: it was the reading that was meant.
func (c *conversation) oneKey(s *workflow.State, last int64) []int64 {
	before := func(is func(journal.Entry) bool) (int64, bool) {
		for _, e := range slices.Backward(s.Entries[:last]) {
			if s.Live(e.Position) && is(e) {
				return e.Position, true
			}
		}
		return 0, false
	}
	switch f := s.Entries[last].Facts.(type) {
	case journal.Joined:
		if p, ok := before(func(e journal.Entry) bool {
			coat, ok := e.Facts.(journal.Coated)
			return ok && coat.Job == f.Job && coat.Step == f.Step && e.Recorded.Equal(s.Entries[last].Recorded)
		}); ok {
			return []int64{p}
		}
	case journal.StepDone:
		job, err := s.Job(f.Job)
		if err != nil {
			break
		}
		step, _, _ := job.Procedure.Step(s.StepOf(f.Work))
		var gates []string
		for _, g := range s.GatesOf(job, step, c.now()) {
			gates = append(gates, g.Gate.Name)
		}
		if p, ok := before(func(e journal.Entry) bool {
			switch f := e.Facts.(type) {
			case journal.ReadingTaken:
				return lists.Contains(gates, f.Gate)
			case journal.ConcessionGranted:
				return lists.Contains(gates, f.Gate)
			}
			return false
		}); ok {
			return []int64{last, p}
		}
	}
	return []int64{last}
}

// lastEntry is the last entry that stands and that took nothing back itself.
func lastEntry(s *workflow.State) (int64, bool) {
	for _, e := range slices.Backward(s.Entries) {
		_, back := e.Facts.(journal.Undone)
		_, registered := e.Facts.(journal.Registered)
		if s.Live(e.Position) && !back && !registered {
			return e.Position, true
		}
	}
	return 0, false
}

// note writes a note into the journal of the airframe at hand.
func (c *conversation) note(ctx context.Context, text string) error {
	if text == "" {
		reply, err := c.words(ctx, "Note:", "what is to be remembered")
		if err != nil {
			return err
		}
		text = reply.Text
	}
	c.answered(`the note "` + text + `"`)
	return c.record(ctx, workflow.Note{Text: text})
}

// photo keeps a photo of what was recorded last.
func (c *conversation) photo(ctx context.Context, file string) error {
	if file == "" {
		reply, err := c.words(ctx, "Photo:", "the file; it is kept with the entry before it")
		if err != nil {
			return err
		}
		file = reply.Text
	}
	c.answered("the photo " + file)
	s := c.state()
	last, _ := lastEntry(s)
	entries, state, err := c.Desk.KeepPhoto(ctx, s, file, last)
	if errors.As(err, new(*store.Error)) {
		return err
	}
	if err != nil {
		return c.say(err.Error())
	}
	c.took(state)
	if c.Desk.PhotosHere {
		if err := c.say(page.Capital(page.PhotosHere) + "."); err != nil {
			return err
		}
	}
	return c.tellRecorded(state, entries)
}
