package sitting

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
)

// A question asks for what completes the step at hand and records it.
type question func(c *conversation, ctx context.Context, s *workflow.State) error

// questions has a question for every kind of step.
func questions() map[steps.Kind]question {
	return map[steps.Kind]question{
		steps.Do:      (*conversation).askDone,
		steps.Coat:    (*conversation).askGlued,
		steps.Join:    (*conversation).askJoined,
		steps.Glue:    (*conversation).askGlued,
		steps.Wait:    (*conversation).askDone,
		steps.Measure: (*conversation).askReadings,
		steps.Hold:    (*conversation).askHold,
		steps.Choose:  (*conversation).askChoice,
		steps.Release: (*conversation).askRelease,
	}
}

// name is what the step at hand is called in a request.
func (c *conversation) name() string { return c.hand.Job + "/" + c.hand.Step.Name }

// The keys of single questions.
const (
	keyYes   = "y"
	keyDone  = "d"
	keyStart = "s"
	keyMixed = "m"
	keyWet   = "w"
	keyThen  = "e" // it was done earlier than now
)

// done is the key that says that the step at hand is done: d, and Enter too, but where
// somebody can be hurt, by what a caution beside it says, its own or that of its glue or
// tool, or because it says how a lock-out stands.
func (c *conversation) done(word string) Key {
	if len(c.view.Cautions) > 0 || len(c.hand.Step.Sets) > 0 {
		return Key{Key: keyDone, Word: word}
	}
	return Key{Key: Enter, Word: word, Also: keyDone}
}

// confirm asks a question that a letter answers: Enter, pressed with gluey hands, does
// not. No puts the step off, and without says what follows.
func (c *conversation) confirm(ctx context.Context, q Question, without string) (Reply, error) {
	q.Keys = append(q.Keys, Key{Key: keyNo, Word: "no"})
	reply, err := c.ask(ctx, q)
	if err == nil && reply.Key == keyNo {
		c.off[c.here()], c.jump = true, place{}
		err = cmp.Or(c.say(without), errAgain)
	}
	return reply, err
}

// hasty is how soon an answer comes too soon to be believed: a tenth of the time that the
// step takes, and at most so long.
const hasty = 20 * time.Second

// unhurried asks once where a step that takes minutes is said to be done seconds after it
// was begun.
func (c *conversation) unhurried(ctx context.Context, since time.Time) error {
	hands, err := c.hand.Step.Hands.Duration()
	if err != nil || c.hand.Act == workflow.ToPress { // to coat took most of it
		return nil
	}
	return c.unhurriedFor(ctx, since, min(hands/10, hasty), fmt.Sprintf("This takes %s, and was", c.hand.Step.Hands))
}

// unhurriedFor asks once where what takes at least so long was begun less long ago.
func (c *conversation) unhurriedFor(ctx context.Context, since time.Time, least time.Duration, says string) error {
	if c.now().Sub(since) >= least {
		return nil
	}
	what := "shown"
	if !since.Equal(c.since) {
		what = "begun"
	}
	reply, err := c.ask(ctx, Question{
		Prompt: fmt.Sprintf("%s %s at %s. Is it done?", says, what, since.In(time.Local).Format("15:04:05")), // the question may stand for long
		Keys:   []Key{{Key: keyYes, Word: "it is done"}, {Key: Enter, Word: "back", Also: keyNo}},
	})
	if err == nil && reply.Key == Enter {
		err = errAgain
	}
	return err
}

// finish records that the step is done, once it is known who was second at one that wants
// a second person, and what was fitted.
//
//go:noinline
func (c *conversation) finish(ctx context.Context, f workflow.Finish) error {
	return c.finishAt(ctx, f, time.Time{})
}

// finishAt records that it was done at an earlier time; zero: now.
func (c *conversation) finishAt(ctx context.Context, f workflow.Finish, at time.Time) (err error) {
	f.Step = c.name()
	if f.Witness, err = c.askSecond(ctx, &c.hand.Step); err != nil {
		return err
	}
	if f.Thing, err = c.askThing(ctx); err != nil {
		return err
	}
	return c.recordOn(ctx, c.state(), f, at)
}

// askThing asks for the name of what the step fits; "" where it fits nothing.
func (c *conversation) askThing(ctx context.Context) (string, error) {
	if c.hand.Step.Fits == "" {
		return "", nil
	}
	reply, err := c.ask(ctx, Question{
		Prompt: fmt.Sprintf("Which name is written on the new %s?", term.Line(c.hand.Step.Fits)),
		Keys:   []Key{{Key: Enter, Word: "none"}},
		Field:  &Field{Label: "a name by which it is told from others; one that was in quarantine is not fitted again", Words: true},
	})
	return reply.Text, err
}

// askSecond asks who the second person was, or which way was used instead.
func (c *conversation) askSecond(ctx context.Context, step *steps.Step) (workflow.Witness, error) {
	if !step.WantsSecond() {
		return workflow.Witness{}, nil
	}
	q := Question{Prompt: "Who was the second person?", Keys: []Key{{Key: Enter, Word: "back"}}, Field: &Field{Label: "the name of who it was", Words: true}}
	ways := step.WaysAlone()
	for i, way := range ways {
		q.View.Rows = append(q.View.Rows, Row{Key: strconv.Itoa(i + 1), Label: "alone: " + term.Line(way)})
	}
	if len(ways) > 0 {
		q.Prompt = "Who was the second person, or which number alone?"
		q.Field.Label += ", or the number of the way that you used"
	}
	q.Field.Check = func(text string) Verdict {
		n, err := strconv.Atoi(text)
		return takes(err != nil || n >= 1 && n <= len(ways), "there is no such way alone")
	}
	reply, err := c.ask(ctx, q)
	switch n, notNumber := strconv.Atoi(reply.Text); {
	case err != nil:
		return workflow.Witness{}, err
	case reply.Text == "":
		return workflow.Witness{}, errAgain
	case notNumber != nil:
		return workflow.Witness{Second: reply.Text}, nil
	default:
		return workflow.Witness{Alone: n}, nil
	}
}

func (c *conversation) askDone(ctx context.Context, _ *workflow.State) error {
	if _, err := c.ask(ctx, Question{Prompt: "When it is done:", Keys: []Key{c.done("done")}}); err != nil {
		return err
	}
	if err := c.unhurried(ctx, c.since); err != nil {
		return err
	}
	return c.finish(ctx, workflow.Finish{})
}

// oneOf asks for one of several answers, by its number or its name. Beside them further
// rows are shown.
func (c *conversation) oneOf(ctx context.Context, prompt string, options []steps.Option, more []Row) (int, error) {
	q := Question{Prompt: prompt, Field: &Field{Label: "its number or its name", Words: true}}
	find := func(text string) int {
		if n, err := strconv.Atoi(text); err == nil {
			return n - 1
		}
		return slices.IndexFunc(options, func(o steps.Option) bool { return o.Name == text })
	}
	for i, o := range options {
		label := term.Line(o.Name)
		if o.Title != "" {
			label += ": " + term.Line(o.Title)
		}
		q.View.Rows = append(q.View.Rows, Row{Key: strconv.Itoa(i + 1), Label: label})
		if i < 9 {
			q.Keys = append(q.Keys, Key{Key: strconv.Itoa(i + 1), Word: term.Line(o.Name)})
		}
	}
	q.View.Rows = append(q.View.Rows, more...)
	q.Field.Check = func(text string) Verdict {
		i := find(text)
		return takes(i >= 0 && i < len(options), "choose a number from 1 to "+strconv.Itoa(len(options))+", or a name")
	}
	reply, err := c.ask(ctx, q)
	if err != nil {
		return 0, err
	}
	return find(reply.Key + reply.Text), nil
}

func (c *conversation) askHold(ctx context.Context, _ *workflow.State) error {
	lines := c.hand.Step.Confirm
	answers, err := c.askLines(ctx, c.here(), lines)
	if err != nil {
		return err
	}
	request := workflow.Clear{Step: c.name(), Answers: answers, Lines: lines}
	if request.Witness, err = c.askSecond(ctx, &c.hand.Step); err != nil {
		return err
	}
	if request.Thing, err = c.askThing(ctx); err != nil {
		return err
	}
	delete(c.ticked, c.here())
	return c.record(ctx, request)
}

// askUse asks for the hold of an adhesive or a tool.
func (c *conversation) askUse(ctx context.Context, use steps.Use) error {
	key := place{mark: c.mark, step: use.Name}
	c.view.ID += "/" + use.Name
	c.view.Title, c.view.Action = use.Title, c.later+page.Escape("Before the first use of "+use.Name+" in this sitting.")
	c.view.Cautions = nil
	if use.Caution != "" {
		c.view.Cautions = []Caution{{Text: use.Caution, Read: c.read[use.Caution]}}
	}
	answers, err := c.askLines(ctx, key, use.Hold)
	if err != nil {
		return err
	}
	delete(c.ticked, key)
	return c.record(ctx, workflow.ClearUse{Of: use.Name, Answers: answers, Lines: use.Hold})
}

// askLines asks for each line of a hold, each by its own key. What was confirmed stays so
// where the rest is put off.
func (c *conversation) askLines(ctx context.Context, key place, lines []string) ([]bool, error) {
	if len(c.ticked[key]) != len(lines) {
		c.ticked[key] = make([]bool, len(lines))
	}
	ticked := c.ticked[key]
	for lists.Contains(ticked, false) {
		q := Question{Prompt: "Confirm each line by its own key."}
		here := lists.Index(ticked, false)
		for i, line := range lines {
			row := Row{Key: lineKey(i), Label: term.Line(line), Here: i == here}
			word := "yes"
			if ticked[i] {
				row.State, row.Value, word = Good, "confirmed", "not yet"
			}
			q.View.Rows = append(q.View.Rows, row)
			q.Keys = append(q.Keys, Key{Key: row.Key, Word: word})
		}
		reply, err := c.ask(ctx, q)
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(q.View.Rows, func(r Row) bool { return r.Key == reply.Key })
		ticked[i] = !ticked[i]
	}
	return ticked, nil
}

// lineKey is the key of a line: a digit, and after nine lines a capital letter.
func lineKey(i int) string {
	if i < 9 {
		return strconv.Itoa(i + 1)
	}
	return string(rune('A' + i - 9))
}

// askChoice asks for one of the answers, by its number or its name.
func (c *conversation) askChoice(ctx context.Context, s *workflow.State) error {
	choice := c.hand.Step.Asked(s.Sheet)
	answers := slices.Clone(choice.Answers)
	if choice.Alone {
		answers = append(answers, steps.Option{Name: steps.No, Title: "Do without it"})
	}
	i, err := c.oneOf(ctx, fmt.Sprintf("Which one, 1 to %d, or its name?", len(answers)), answers, nil)
	if err != nil {
		return err
	}
	request := workflow.Choose{Answer: answers[i].Name}
	if len(c.hand.Step.Methods) > 0 {
		request.Answer = c.hand.Job + "/" + request.Answer
	} else if request.Answer == steps.No {
		request = workflow.Choose{Answer: choice.Name, No: true}
	}
	return c.record(ctx, request)
}

func (c *conversation) askRelease(ctx context.Context, s *workflow.State) error {
	q := Question{Prompt: fmt.Sprintf("Release %s to fly, as %s?", c.mark, c.Desk.By), Keys: []Key{{Key: keyYes, Word: "release it"}}}
	asked := func() (Reply, error) {
		return c.confirm(ctx, q, c.mark+" is not released. Go to it from the list when it is to fly.")
	}
	for _, r := range page.Prove(s, c.now()).Readings { // whoever signs reads what it rests on
		q.View.Rows = append(q.View.Rows, Row{Label: strings.TrimSpace(r.Gate + " " + r.Point), Value: r.Value, State: Good})
	}
	if c.Nameless { // a login name does not sign as a matter of course
		q.Prompt = fmt.Sprintf("Release %s to fly: who signs?", c.mark)
		q.Keys, q.Field = []Key{{Key: Enter, Word: "not now"}}, &Field{Label: "the name of whoever releases it", Words: true, Check: func(text string) Verdict {
			return takes(len([]rune(text)) > 1 && len(text) <= 64, "give the name in full") // one letter was meant as a key
		}}
		asked = func() (Reply, error) { return c.ask(ctx, q) }
	}
	reply, err := asked()
	switch {
	case err != nil:
		return err
	case reply.Key == Enter:
		c.off[c.here()] = true
		return nil
	case c.Nameless:
		c.Desk.By, c.Nameless = reply.Text, false
	}
	delete(c.known, c.mark) // what comes was recorded here
	slip, err := c.Release(ctx, c.mark)
	if err != nil {
		return err
	}
	return c.Front.Tell(slip)
}

// lookAgain is asked where nothing else can be.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (c *conversation) lookAgain(ctx context.Context) error { return c.lookAgainBy(ctx, time.Time{}) }

// lookAgainBy looks again by itself at that time; zero: it does not.
func (c *conversation) lookAgainBy(ctx context.Context, until time.Time) error {
	_, err := c.ask(ctx, Question{Prompt: "When that is seen to:", Keys: []Key{{Key: Enter, Word: "look again"}}, Until: until})
	return err
}

// putOff is the first step that was put off and can be taken up again; nil: all were left to whoever
// is there.
func (c *conversation) putOff(of *workflow.State, s workflow.Suggestion) *workflow.StepReport {
	for i := range s.PutOff {
		if r := &s.PutOff[i]; c.Bench.at(of, *r) == nil || !c.off[placeOf(of, *r)] {
			return r
		}
	}
	return nil
}

// leftToThem is said where a step is not taken over.
const leftToThem = "It is left to them."

// askClock waits for a clock that is right: by a wrong one nothing is recorded, whatever is confirmed first.
func (c *conversation) askClock(ctx context.Context) error {
	c.view.ID, c.view.Title, c.view.Action = c.mark+"/clock", "Nothing can be recorded by a wrong clock", ""
	_, err := c.ask(ctx, Question{Prompt: "Once the clock is set:", Keys: []Key{{Key: Enter, Word: "look again"}}, Until: c.now().Add(time.Minute)})
	return cmp.Or(err, errAgain)
}

// askWait waits for the next moment.
func (c *conversation) askWait(ctx context.Context, s workflow.Suggestion) error {
	of := c.state()
	first := c.putOff(of, s)
	if len(s.PutOff) > 0 && first == nil {
		c.view.Title = "Others are at what can be done now"
	}
	switch {
	case first != nil:
		c.view.Title = "What can be done now was put off"
		q := Question{Prompt: "Take it up again?", Keys: []Key{{Key: keyYes, Word: "take it up"}}, Until: s.Until}
		there := c.Bench.at(of, *first)
		if there != nil {
			c.view.Title = "Others are at what can be done now"
			q.Prompt = fmt.Sprintf("Go to %q all the same?", term.Line(first.Step.Label()))
			q.Keys = []Key{{Key: keyYes, Word: "go to it"}, {Key: keyNo, Word: "no"}}
		}
		reply, err := c.ask(ctx, q)
		switch reply.Key {
		case keyNo:
			c.off[placeOf(of, *first)] = true
			err = c.say(leftToThem)
		case keyYes:
			clear(c.off)
			if there != nil {
				c.take(of, *first) // it is asked whether it is taken over
			}
		}
		return err
	case s.Until.IsZero():
		if len(s.PutOff) > 0 {
			return cmp.Or(c.say("All that can be done now on "+c.mark+" is left to others: come back once they are done, or go to a step from the list."), errLeave)
		}
		if err := c.Front.Tell("# " + page.Escape(c.view.Title) + "\n\n" + c.view.Action); err != nil {
			return err
		}
		return errLeave
	}
	_, err := c.ask(ctx, Question{Prompt: fmt.Sprintf("Waiting until %s.", c.clock().At(s.Until)), Keys: []Key{{Key: Enter, Word: "wait here"}}, Until: s.Until})
	return err
}

// askTheirs waits while others are at the only step there is, and asks whether it is taken over.
func (c *conversation) askTheirs(ctx context.Context, s *workflow.State, g workflow.Suggestion) error {
	until := c.now().Add(workflow.Slip) // then they may not be there any more
	if of := g.Mine; of != nil && of.Planned.After(c.now()) && of.Planned.Before(until) {
		until = of.Planned
	}
	who := s.Persons(g.Hands)
	reply, err := c.ask(ctx, Question{Prompt: "Waiting for " + term.Line(who) + ".", Keys: []Key{{Key: Enter, Word: "look again"}, {Key: keyYes, Word: "take it over"}}, Until: until})
	if err != nil || reply.Key != keyYes {
		return err
	}
	if _, anew := c.Desk.Take(ctx, s, g.Step); !anew { // else somebody else came there meanwhile
		c.take(s, *g.Step)
	}
	for _, s := range c.states {
		c.Desk.Plan.Tell(s)
		c.Bench.follow(s)
	}
	return nil
}
