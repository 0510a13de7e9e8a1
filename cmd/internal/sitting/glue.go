package sitting

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// askGlued asks for a coat, or for all of a joint that is coated and joined in one step:
// which adhesive, when it was mixed, when spreading began.
func (c *conversation) askGlued(ctx context.Context, s *workflow.State) error {
	if c.hand.Act == workflow.ToPress {
		return c.askJoin(ctx, s, "")
	}
	job, err := s.Job(c.hand.Job)
	if err != nil {
		return err
	}
	may, begun := s.AdhesivesOf(job, c.hand.Step, c.now()), c.hand.Begun
	late := c.now().After(begun.Closes)
	if i := slices.IndexFunc(may, func(a workflow.AdhesiveReport) bool { return a.Name == begun.Adhesive }); i >= 0 && !late {
		may = may[i : i+1]
	} else {
		begun = workflow.Begun{}
	}
	adhesive, err := c.askAdhesive(ctx, may)
	if err != nil {
		return err
	}
	f := workflow.Finish{Step: c.name(), With: adhesive.Name}
	grips := c.hand.Step.Kind.Traits().Joins && !adhesive.Dries() && !adhesive.Times.Mixed // each bead is pressed at once
	word := "the coat is on"
	if c.hand.Step.Kind.Traits().Joins && c.hand.Completes(adhesive) {
		word = "glued"
	}
	switch {
	case adhesive.Times.Mixed && begun.Mixed.IsZero():
		mixed, err := c.askMixed(ctx, adhesive)
		if err != nil {
			return err
		}
		return c.begin(ctx, workflow.Begin{Step: f.Step, With: f.With, Mixed: mixed})
	case grips:
		_, err = c.ask(ctx, Question{Prompt: "When it is done:", Keys: []Key{c.done("done")}})
	default:
		err = c.askSpread(ctx, adhesive, begun, late && c.hand.Begun.Adhesive != "", word)
	}
	if err != nil {
		return err
	}
	since := c.since
	if !begun.Spread.IsZero() {
		since = begun.Spread
	}
	if err := c.unhurried(ctx, since); err != nil {
		return err
	}
	if !c.hand.Completes(adhesive) {
		return c.record(ctx, f)
	}
	return c.finish(ctx, f)
}

// askSpread waits until the adhesive is on. That spreading begins is recorded as it
// happens, or at the time that is typed. A coat that is put on again, or was begun too
// long ago, is not done before it is said. word says what is done.
func (c *conversation) askSpread(ctx context.Context, a steps.Adhesive, begun workflow.Begun, late bool, word string) error {
	q := Question{Prompt: "Spread it.", Keys: []Key{c.done(word)}, Field: c.moment("when it began, such as 8 min ago")}
	if !begun.Mixed.IsZero() {
		q.Prompt = fmt.Sprintf("%s was mixed at %s. Spread it.", term.Line(page.Capital(a.Name)), c.clock().At(begun.Mixed))
	}
	switch {
	case !begun.Spread.IsZero():
		q.Prompt = fmt.Sprintf("Spreading since %s.", c.clock().At(begun.Spread))
		if begun.By != "" {
			q.Prompt = fmt.Sprintf("Spreading since %s, by %s: it is the same coat?", c.clock().At(begun.Spread), term.Line(begun.By))
		}
	case c.hand.Act == workflow.ToRecoat, late:
		q.Keys = q.Keys[:0]
		fallthrough
	default:
		q.Keys = append([]Key{{Key: keyStart, Word: "spreading starts now"}}, q.Keys...)
	}
	if late {
		q.Prompt = "What was begun is too old to be joined. Spread it afresh."
	}
	join, lapsed := c.lapsed()
	if lapsed {
		q.Keys = append(q.Keys, Key{Key: keyThen, Word: "it was joined in time"})
	}
	reply, err := c.ask(ctx, q)
	if err != nil || reply.Key == Enter || reply.Key == keyDone {
		return err
	}
	if reply.Key == keyThen {
		c.hand = join
		return cmp.Or(c.askEarlier(ctx, workflow.Finish{}), errAgain)
	}
	began := c.now()
	if reply.Key == "" {
		if began, err = c.When(reply.Text); err != nil {
			return err
		}
	}
	return cmp.Or(c.begin(ctx, workflow.Begin{Step: c.name(), With: a.Name, Began: began}), errAgain)
}

// begin records that the coat is begun. The question says so, and its clock.
func (c *conversation) begin(ctx context.Context, r workflow.Begin) error {
	_, state, err := c.Desk.Act(ctx, c.state(), r, time.Time{})
	if state != nil {
		c.took(state)
	}
	c.since = time.Time{}
	return err
}

// moment is a field for a time.
func (c *conversation) moment(label string) *Field {
	return &Field{Label: label, Check: func(text string) Verdict {
		at, err := c.When(text)
		if err != nil {
			return Verdict{Said: err.Error()}
		}
		return Verdict{Said: c.clock().At(at), Taken: true}
	}}
}

// askMixed asks when a two-part adhesive was mixed: now, with the batch before, or at a
// time that is typed.
func (c *conversation) askMixed(ctx context.Context, a steps.Adhesive) (time.Time, error) {
	q := Question{
		Prompt: "When is " + term.Line(a.Name) + " mixed?",
		Keys:   []Key{{Key: keyMixed, Word: "mixed now"}},
		Field:  c.moment("when it was mixed, such as 5 min ago"),
	}
	before := c.batch(a.Name)
	if c.now().Sub(before) < a.Times.To {
		q.Keys = append(q.Keys, Key{Key: keyYes, Word: "the batch of " + c.clock().At(before)})
	}
	reply, err := c.ask(ctx, q)
	if err != nil {
		return time.Time{}, err
	}
	switch reply.Key {
	case keyYes:
		return before, nil
	case keyMixed:
		return c.now(), nil
	}
	return c.When(reply.Text)
}

// batch is when an adhesive was mixed last.
func (c *conversation) batch(adhesive string) (last time.Time) {
	for _, s := range c.states {
		for _, e := range s.Entries {
			of, mixed := "", (*time.Time)(nil)
			switch f := e.Facts.(type) {
			case journal.Begun:
				of, mixed = f.Adhesive, f.Mixed
			case journal.Coated:
				of, mixed = f.Adhesive, f.Mixed
			}
			if of == adhesive && mixed != nil && mixed.After(last) && s.Live(e.Position) {
				last = *mixed
			}
		}
	}
	return last
}

// askAdhesive asks which of several adhesives is spread. One that can't be used now is
// shown with the reason, and not taken.
func (c *conversation) askAdhesive(ctx context.Context, may []workflow.AdhesiveReport) (steps.Adhesive, error) {
	if len(may) == 1 {
		return may[0].Adhesive, nil
	}
	var fit []workflow.AdhesiveReport
	var options []steps.Option
	var rows []Row
	for _, a := range may {
		if len(a.Unfit) == 0 {
			fit = append(fit, a)
			options = append(options, steps.Option{Name: a.Name, Title: a.Title})
			continue
		}
		for _, reason := range a.Unfit {
			rows = append(rows, Row{Label: fmt.Sprintf("not %s: %s", term.Line(a.Name), term.Line(reason.Text))})
		}
	}
	var names []string
	for _, o := range options {
		names = append(names, term.Line(o.Name))
	}
	i, err := c.oneOf(ctx, "Which adhesive: "+strings.Join(names, " or ")+"?", options, rows)
	if err != nil {
		return steps.Adhesive{}, err
	}
	return fit[i].Adhesive, nil
}

func (c *conversation) askJoined(ctx context.Context, s *workflow.State) error {
	return c.askJoin(ctx, s, "")
}

// askJoin asks whether the joint is joined. Only a coat that dries is touched. touch is
// what a touch test found; "": nothing was touched.
func (c *conversation) askJoin(ctx context.Context, s *workflow.State, touch string) error {
	q := Question{Prompt: "When it is joined:", Keys: []Key{c.done("joined")}}
	if job, err := s.Job(c.hand.Job); err == nil && touch == "" {
		if joint, ok := job.JointOf(c.hand.Step); ok && joint.Adhesive.Dries() {
			q.Prompt = "Touch it. When it is joined:"
			q.Keys = append(q.Keys, Key{Key: keyWet, Word: "still wet"})
		}
	}
	q.Keys = append(q.Keys, Key{Key: keyThen, Word: "joined earlier"})
	reply, err := c.ask(ctx, q)
	if err != nil {
		return err
	}
	switch reply.Key {
	case keyWet:
		return c.wet(ctx)
	case keyThen:
		return c.askEarlier(ctx, workflow.Finish{Touch: touch})
	}
	if err := c.unhurried(ctx, c.since); err != nil {
		return err
	}
	err = c.finish(ctx, workflow.Finish{Touch: touch})
	if err == nil || !c.isLate() {
		return err
	}
	return cmp.Or(c.tell(err), c.askEarlier(ctx, workflow.Finish{Touch: touch})) // it may have been joined in time
}

// askEarlier asks when a joint was joined, and records it.
func (c *conversation) askEarlier(ctx context.Context, f workflow.Finish) error {
	c.view.ID += "/earlier"
	c.view.Title, c.view.Action = c.hand.Step.Label(), ""
	reply, err := c.ask(ctx, Question{Prompt: "When was it joined?", Keys: []Key{{Key: Enter, Word: "back"}}, Field: c.moment("such as 19:02, or 8 min ago")})
	if err != nil || reply.Text == "" {
		return cmp.Or(err, errAgain)
	}
	at, err := c.When(reply.Text)
	if err != nil {
		return err
	}
	return c.finishAt(ctx, f, at)
}

// isLate reports whether the coat of the joint at hand has waited too long.
func (c *conversation) isLate() bool {
	return slices.ContainsFunc(c.Bench.Timers(c.now()), func(t Timer) bool {
		return t.Mark == c.mark && t.Name == c.hand.Step.Joint && t.Phase == workflow.Late
	})
}

// lapsed is the join of the joint at hand, where its coat has waited too long: whoever had
// no hand free may have joined it in time.
func (c *conversation) lapsed() (workflow.StepReport, bool) {
	s := c.state()
	job, err := s.Job(c.hand.Job)
	if err != nil || !c.isLate() {
		return workflow.StepReport{}, false
	}
	all := s.Steps(job, c.now())
	i := slices.IndexFunc(all, func(r workflow.StepReport) bool {
		return r.Step.Joint == c.hand.Step.Joint && r.Step.Kind.Traits().Joins
	})
	if i < 0 {
		return workflow.StepReport{}, false
	}
	return all[i], true
}

// wet records that the coat was found wet. The join is refused with that, which is no news
// to whoever touched it.
func (c *conversation) wet(ctx context.Context) error {
	c.jump, c.kept = place{}, place{} // what fits in comes before it
	err := c.record(ctx, workflow.Finish{Step: c.name(), Touch: workflow.TouchWet})
	var part *workflow.PartError
	if !errors.As(err, &part) {
		return err
	}
	for _, t := range c.Bench.Timers(c.now()) {
		if t.Mark == c.mark && t.Name == c.hand.Step.Joint && !t.Touch.IsZero() {
			return c.say(fmt.Sprintf("Recorded: %s is still wet. It is asked for again at %s, and at once before what does not fit in.", t.Name, c.clock().At(t.Touch)))
		}
	}
	return nil
}

// askTouch asks for the touch test of a coat that was found wet.
func (c *conversation) askTouch(ctx context.Context, s *workflow.State) error {
	reply, err := c.ask(ctx, Question{Prompt: "Touch it again. Is it dry?", Keys: []Key{{Key: keyYes, Word: "dry"}, {Key: keyWet, Word: "still wet", Also: keyNo}}})
	if err != nil {
		return err
	}
	if reply.Key == keyWet {
		return c.wet(ctx)
	}
	c.Bench.felt(c.mark, c.hand.Step.Joint)
	return c.askJoin(ctx, s, workflow.TouchDry) // it is dry, but not joined yet
}
