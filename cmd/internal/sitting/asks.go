package sitting

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
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
)

// done is the key that says that the step at hand is done: d, and Enter too, but where
// somebody can be hurt, by its caution or because it says how a lock-out stands.
func (c *conversation) done(word string) Key {
	if step := c.hand.Step; len(step.Cautions) > 0 || len(step.Sets) > 0 {
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
	what := "was shown"
	if !since.Equal(c.since) {
		what = "began"
	}
	hands, err := c.hand.Step.Hands.Duration()
	took := c.now().Sub(since)
	if err != nil || took >= min(hands/10, hasty) || c.hand.Act == workflow.ToPress { // to coat took most of it
		return nil
	}
	reply, err := c.ask(ctx, Question{
		Prompt: fmt.Sprintf("This takes %s, and %s %s ago. Is it done?", c.hand.Step.Hands, what, page.Span(took)),
		Keys:   []Key{{Key: keyYes, Word: "it is done"}, {Key: Enter, Word: "back", Also: keyNo}},
	})
	if err == nil && reply.Key == Enter {
		err = errAgain
	}
	return err
}

// finish records that the step is done, once it is known who was second at one that wants
// a second person, and what was fitted.
func (c *conversation) finish(ctx context.Context, f workflow.Finish) error {
	f.Step = c.name()
	var err error
	if f.Witness, err = c.askSecond(ctx); err != nil {
		return err
	}
	if f.Thing, err = c.askThing(ctx); err != nil {
		return err
	}
	return c.record(ctx, f)
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
func (c *conversation) askSecond(ctx context.Context) (workflow.Witness, error) {
	step := c.hand.Step
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
		return Verdict{Taken: err != nil || n >= 1 && n <= len(ways), Said: "there is no such way alone"}
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
	case c.hand.Act == workflow.ToRecoat, late:
		q.Keys = q.Keys[:0]
		fallthrough
	default:
		q.Keys = append([]Key{{Key: keyStart, Word: "spreading starts now"}}, q.Keys...)
	}
	if late {
		q.Prompt = "What was begun is too old to be joined. Spread it afresh."
	}
	reply, err := c.ask(ctx, q)
	if err != nil || reply.Key == Enter || reply.Key == keyDone {
		return err
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
		return Verdict{Taken: i >= 0 && i < len(options), Said: "choose a number from 1 to " + strconv.Itoa(len(options)) + ", or a name"}
	}
	reply, err := c.ask(ctx, q)
	if err != nil {
		return 0, err
	}
	return find(reply.Key + reply.Text), nil
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
	reply, err := c.ask(ctx, q)
	if err != nil {
		return err
	}
	if reply.Key == keyWet {
		return c.wet(ctx)
	}
	if err := c.unhurried(ctx, c.since); err != nil {
		return err
	}
	return c.finish(ctx, workflow.Finish{Touch: touch})
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
	return c.askJoin(ctx, s, workflow.TouchDry) // it is dry, but not joined yet
}

func (c *conversation) askHold(ctx context.Context, _ *workflow.State) error {
	lines := c.hand.Step.Confirm
	answers, err := c.askLines(ctx, c.here(), lines)
	if err != nil {
		return err
	}
	request := workflow.Clear{Step: c.name(), Answers: answers, Lines: lines}
	if request.Witness, err = c.askSecond(ctx); err != nil {
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
	c.view.Title, c.view.Action = use.Title, page.Escape("Before the first use of "+use.Name+" in this sitting.")
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
	for slices.Contains(ticked, false) {
		q := Question{Prompt: "Confirm each line by its own key."}
		here := slices.Index(ticked, false)
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
			return Verdict{Taken: len([]rune(text)) > 1 && len(text) <= 64, Said: "give the name in full"} // one letter was meant as a key
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
	slip, err := c.Release(ctx, c.mark)
	if err != nil {
		return err
	}
	return c.Front.Tell(slip)
}

// resolve asks for what holds the step at hand back.
func (c *conversation) resolve(ctx context.Context, s *workflow.State, suggestion workflow.Suggestion) error {
	step := c.hand.Step
	for _, reason := range suggestion.Resolve {
		switch reason.Because {
		case workflow.ByClimate, workflow.ByCondition:
			var needs []steps.Setting
			climate := false
			for _, r := range suggestion.Resolve { // a gate of the step may need more than the step
				climate = climate || r.Because == workflow.ByClimate
				if need := r.Remedy.Setting; r.Because == workflow.ByCondition && !slices.Contains(needs, need) {
					needs = append(needs, need)
				}
			}
			if climate {
				return c.askSitting(ctx, s, needs)
			}
			_, err := c.askConditions(ctx, s, needs)
			return err
		case workflow.ByHold:
			if use, err := s.Use(reason.Remedy.Name); err == nil && reason.Remedy.Kind == workflow.ToClearUse {
				return c.askUse(ctx, use)
			}
		case workflow.ByGate:
			if gate := reason.Remedy.Gate; (reason.Remedy.Kind == workflow.ToMeasure || reason.Remedy.Kind == workflow.ToDecide) && !step.Kind.Traits().Releases { // for a tool
				g, err := s.GateReport(gate, c.now())
				if err != nil {
					return err
				}
				return c.askPoints(ctx, s, g, "")
			}
			return c.askGates(ctx, s)
		case workflow.ByGauge:
			return c.askCheck(ctx, s)
		case workflow.ByTouch:
			return c.askTouch(ctx, s)
		}
	}
	return c.lookAgain(ctx)
}

// answerable reports whether resolve asks for what a reason says is missing.
func answerable(r workflow.Reason) bool {
	switch r.Because {
	case workflow.ByClimate, workflow.ByCondition, workflow.ByGate, workflow.ByGauge, workflow.ByTouch:
		return true
	}
	return r.Because == workflow.ByHold && r.Remedy.Kind == workflow.ToClearUse
}

// lookAgain is asked where nothing else can be.
func (c *conversation) lookAgain(ctx context.Context) error {
	_, err := c.ask(ctx, Question{Prompt: "When that is seen to:", Keys: []Key{{Key: Enter, Word: "look again"}}})
	return err
}

// askWait waits for the next moment.
func (c *conversation) askWait(ctx context.Context, s workflow.Suggestion) error {
	switch {
	case len(s.PutOff) > 0:
		c.view.Title = "What can be done now was put off"
		reply, err := c.ask(ctx, Question{Prompt: "Take it up again?", Keys: []Key{{Key: keyYes, Word: "take it up"}}, Until: s.Until})
		if reply.Key == keyYes {
			clear(c.off)
		}
		return err
	case s.Until.IsZero():
		if err := c.Front.Tell("# " + page.Escape(c.view.Title) + "\n\n" + c.view.Action); err != nil {
			return err
		}
		return errLeave
	}
	_, err := c.ask(ctx, Question{Prompt: fmt.Sprintf("Waiting until %s.", c.clock().At(s.Until)), Keys: []Key{{Key: Enter, Word: "wait here"}}, Until: s.Until})
	return err
}

// askConditions asks whether each need stands that nobody has said, and reports whether
// there was one.
func (c *conversation) askConditions(ctx context.Context, s *workflow.State, needs []steps.Setting) (asked bool, err error) {
	for _, need := range needs {
		if s.Holds(need.Condition, c.now()) == need.State {
			continue
		}
		q := Question{Prompt: fmt.Sprintf("Is the %s %s now?", spaced(need.Condition), spaced(need.State)), Keys: []Key{{Key: keyYes, Word: "yes"}}}
		if _, err := c.confirm(ctx, q, fmt.Sprintf("%s waits until the %s is %s. Go to it from the list then.", c.hand.Step.Label(), spaced(need.Condition), spaced(need.State))); err != nil {
			return true, err
		}
		if err := c.record(ctx, workflow.ReadBench{Set: []steps.Setting{need}}); err != nil {
			return true, err
		}
		asked = true
	}
	return asked, nil
}

// spaced is a name as words.
func spaced(name string) string { return strings.NewReplacer("-", " ", "_", " ").Replace(name) }
