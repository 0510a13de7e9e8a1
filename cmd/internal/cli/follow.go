package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow"
)

func (a *app) followCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "follow [MARK]",
		Short: "Be led through the open jobs, one step at a time",
		Long: "Be led through the open jobs of an airframe, one step at a time: the caution first,\n" +
			"then what to do, then a question. Each answer is recorded at once, so you can leave at\n" +
			"any point. Answers can come from a terminal or a pipe.\n\n" +
			"At every question: q leaves, n WORDS writes a note, ? lists the possible answers and shows\n" +
			"all of a step that was shown in short.",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
		RunE: func(cmd *cobra.Command, args []string) error {
			mark, err := a.markOf(cmd.Context(), args)
			if err != nil {
				return err
			}
			if a.json {
				return usage("follow is a conversation and has no JSON; next --json has the step")
			}
			d, err := a.desk()
			if err != nil {
				return err
			}
			c := &conversation{app: a, desk: d, mark: mark, prompter: term.NewPrompter(cmd.Context(), a.Streams)}
			return c.run(cmd.Context())
		},
	}
}

// A conversation leads one builder through the jobs of one airframe.
type conversation struct {
	*app
	desk     *desk.Desk
	mark     string
	prompter *term.Prompter
	asked    bool   // for the temperature, in this sitting
	whole    string // what the step at hand says, where it was shown in short
}

// errLeave ends the conversation; every answer so far is recorded.
var errLeave = errors.New("left")

func (c *conversation) run(ctx context.Context) error {
	for {
		err := c.turn(ctx)
		var refusal *workflow.Refusal
		switch {
		case errors.Is(err, errLeave), errors.Is(err, term.ErrEnd):
			fmt.Fprintf(c.Err, "Everything is recorded. Go on with: fettle follow %s\n", c.mark)
			return nil
		case errors.Is(err, errBack):
		case errors.As(err, &refusal), errors.Is(err, workflow.ErrBadRequest):
			report(c.Streams, c.clock(), err)
		case err != nil:
			return err
		}
	}
}

// turn shows one step and asks its question.
func (c *conversation) turn(ctx context.Context) error {
	state, err := c.desk.State(ctx, c.mark)
	if err != nil {
		return err
	}
	now := c.time.Now()
	if _, known := state.Temperature(now); !known && !c.asked {
		c.asked = true
		return c.askBench(ctx, state)
	}
	next := page.NewNext(state, now)
	c.whole = ""
	if next.Step != nil {
		next.Step.Commands, next.Step.Lines = nil, nil // the questions below ask for these
		next.Step.Brief(state, c.desk.By, "?")
		if next.Step.Short != "" {
			c.whole = next.Step.Do
		}
	}
	suggestion := state.Next(now)
	fmt.Fprintln(c.Out, "\n"+strings.Repeat("─", 60)) // between two steps
	if err := c.Show(next.Markdown(c.clock())); err != nil {
		return err
	}
	switch {
	case suggestion.Over:
		return errLeave
	case suggestion.Step == nil:
		return c.askWait(ctx, suggestion)
	case len(suggestion.Resolve) > 0:
		return c.resolve(ctx, state, suggestion)
	}
	return c.step(ctx, state, *suggestion.Step)
}

// ask asks a question. It handles the answers that every question allows.
func (c *conversation) ask(ctx context.Context, question, help string) (string, error) {
	for {
		answer, err := c.prompter.Ask(ctx, question+" ")
		if err != nil {
			return "", err
		}
		words, note := strings.CutPrefix(answer, "n ")
		switch {
		case answer == "q":
			return "", errLeave
		case answer == "?":
			if c.whole != "" {
				if err := c.ShowTo(c.Err, c.whole); err != nil {
					return "", err
				}
			}
			fmt.Fprintf(c.Err, "%s; q leaves, n WORDS writes a note\n", help)
		case note:
			if err := c.record(ctx, workflow.Note{Text: words}); err != nil {
				return "", err
			}
		default:
			return answer, nil
		}
	}
}

// confirm asks a yes-or-no question until it is answered: Enter alone, pressed
// with gluey hands, is neither.
func (c *conversation) confirm(ctx context.Context, question, help string) (bool, error) {
	for {
		answer, err := c.ask(ctx, question+" [y/n]", help)
		if err != nil {
			return false, err
		}
		if yes, ok := term.YesNo(answer); ok {
			return yes, nil
		}
	}
}

// enter waits for Enter, a yes or one of the other answers. Anything else was
// meant as something else and records nothing.
func (c *conversation) enter(ctx context.Context, question, help string, others ...string) (string, error) {
	for {
		answer, err := c.ask(ctx, question, help)
		if err != nil {
			return "", err
		}
		if yes, _ := term.YesNo(answer); yes || answer == "" {
			return "", nil
		}
		if slices.Contains(others, answer) {
			return answer, nil
		}
		fmt.Fprintf(c.Err, "Not understood; nothing was recorded. %s; q leaves, n WORDS writes a note\n", help)
	}
}

// record records a request and shows what was recorded.
func (c *conversation) record(ctx context.Context, r workflow.Request) error {
	before, err := c.desk.State(ctx, c.mark) // another terminal may have added entries
	if err != nil {
		return err
	}
	entries, state, err := c.desk.Act(ctx, before, r, time.Time{})
	if err != nil {
		return err
	}
	recorded := page.NewRecorded(state, entries, c.time.Now())
	recorded.Next = "" // it is shown in the next turn
	return c.Show(recorded.Markdown(c.clock()))
}

// askBench asks for the temperature, and for the humidity where an adhesive has
// limits for it, until the answer can be recorded.
func (c *conversation) askBench(ctx context.Context, s *workflow.State) error {
	question := "Temperature at the bench, such as 20C (Enter: not read)?"
	if s.HumidityCounts(c.time.Now()) {
		question = "Temperature and humidity at the bench, such as 20C 50% (Enter: not read)?"
	}
	for {
		answer, err := c.ask(ctx, question, "a temperature with its unit, and a humidity after it if you have one: 20C 50%")
		if err != nil || answer == "" {
			return err
		}
		request, err := parseBench(answer)
		if err == nil {
			err = c.record(ctx, request)
		}
		if !errors.As(err, new(usageError)) && !errors.Is(err, workflow.ErrBadRequest) {
			return err
		}
		fmt.Fprintln(c.Err, term.Line(err.Error())) // above the question, which is asked again
	}
}

// parseBench reads a temperature, with a humidity after it if there is one.
func parseBench(answer string) (workflow.ReadBench, error) {
	if _, err := quantity.Parse(answer, quantity.Ratio); err == nil {
		return workflow.ReadBench{}, usage("give the temperature too: 20C %s", strings.ReplaceAll(answer, " ", ""))
	}
	words := strings.Fields(answer)
	n := len(words) // of which so many are the temperature: 20 C 50 %
	for ; n > 1; n-- {
		if _, err := quantity.Parse(strings.Join(words[:n], " "), quantity.Temperature); err == nil {
			break
		}
	}
	return benchOptions{temperature: strings.Join(words[:n], " "), humidity: strings.Join(words[n:], " ")}.request()
}

func (c *conversation) askWait(ctx context.Context, s workflow.Suggestion) error {
	if s.Until.IsZero() {
		return errLeave
	}
	_, err := c.ask(ctx, fmt.Sprintf("Press Enter to wait here until %s, or q to leave.", c.clock().At(s.Until)), "Enter waits")
	if err != nil {
		return err
	}
	state, err := c.desk.State(ctx, c.mark)
	if err != nil {
		return err
	}
	if len(s.Waiting) > 0 {
		return c.wait(ctx, c.desk, state, s.Waiting[0].Step.Name)
	}
	return c.wait(ctx, c.desk, state, "")
}

// resolve asks for what holds the suggested step back.
func (c *conversation) resolve(ctx context.Context, s *workflow.State, suggestion workflow.Suggestion) error {
	step := suggestion.Step.Step
	for _, reason := range suggestion.Resolve {
		switch reason.Because {
		case workflow.ByClimate:
			return c.askBench(ctx, s)
		case workflow.ByCondition:
			needs := slices.Clone(step.Needs)
			for _, r := range suggestion.Resolve { // a gate of the step may need more
				if need := r.Remedy.Setting; r.Because == workflow.ByCondition && !slices.Contains(needs, need) {
					needs = append(needs, need)
				}
			}
			_, err := c.askConditions(ctx, s, needs, step.Name)
			return err
		case workflow.ByHold:
			if use, err := s.Use(reason.Remedy.Name); err == nil && reason.Remedy.Kind == workflow.ToClearUse {
				return c.askUse(ctx, s, use)
			}
		case workflow.ByGate:
			if gate := reason.Remedy.Gate; (reason.Remedy.Kind == workflow.ToMeasure || reason.Remedy.Kind == workflow.ToDecide) && !step.Kind.Traits().Releases { // for a tool
				g, err := s.GateReport(gate, c.time.Now())
				if err != nil {
					return err
				}
				return c.askPoints(ctx, s, g)
			}
			return c.askGates(ctx, s, *suggestion.Step)
		case workflow.ByGauge:
			return c.askCheck(ctx, s, *suggestion.Step)
		case workflow.ByTouch:
			return c.askTouch(ctx, suggestion.Step)
		}
	}
	_, err := c.ask(ctx, "Press Enter to check again.", "Enter checks again")
	return err
}

// askConditions asks whether each need stands that nobody has said, and reports
// whether there was one.
func (c *conversation) askConditions(ctx context.Context, s *workflow.State, needs []steps.Setting, what string) (asked bool, err error) {
	for _, need := range needs {
		if s.Holds(need.Condition, c.time.Now()) == need.State {
			continue
		}
		def, _ := s.Sheet.Condition(need.Condition)
		so, err := c.confirm(ctx, conditionQuestion(need), "y once you have made sure: "+term.Line(cmp.Or(def.Title, need.Condition))+": "+need.State)
		if err != nil {
			return true, err
		}
		if !so {
			fmt.Fprintf(c.Err, "%s waits until then.\n", what)
			return true, errLeave
		}
		if err := c.record(ctx, workflow.ReadBench{Set: []steps.Setting{need}}); err != nil {
			return true, err
		}
		asked = true
	}
	return asked, nil
}

// conditionQuestion asks whether a condition is in the state that a step needs.
func conditionQuestion(need steps.Setting) string {
	words := strings.NewReplacer("-", " ", "_", " ")
	return fmt.Sprintf("Is the %s %s now?", words.Replace(need.Condition), words.Replace(need.State))
}

// askGates asks for the rework of gates that are out of tolerance, or before a
// release for the readings of critical gates that are not met.
func (c *conversation) askGates(ctx context.Context, s *workflow.State, r workflow.StepReport) error {
	gates, err := c.gatesOf(s, r)
	if err != nil {
		return err
	}
	asked := false
	for _, g := range gates {
		if g.Standing != workflow.Failed && s.ReworkLeft(g.Gate.Name, c.time.Now()) == "" {
			continue
		}
		asked = true
		if done, err := c.askRework(ctx, g); done || err != nil {
			return err
		}
	}
	if asked {
		return nil
	}
	for _, g := range gates {
		if r.Step.Kind.Traits().Releases && !g.Met() {
			gauge, err := s.GaugeReport(g.Gate.Gauge, c.time.Now())
			if err != nil {
				return err
			}
			if len(gauge.Barred) > 0 {
				return c.askCheck(ctx, s, r)
			}
			return c.askPoints(ctx, s, g)
		}
	}
	_, err = c.ask(ctx, "Press Enter to check again.", "Enter checks again")
	return err
}

// gatesOf returns the gates of a step; a release has all gates but those of the
// work.
func (c *conversation) gatesOf(s *workflow.State, r workflow.StepReport) ([]workflow.GateReport, error) {
	if r.Step.Kind.Traits().Releases {
		return slices.DeleteFunc(s.Gates(c.time.Now()), func(g workflow.GateReport) bool { return g.Gate.Work }), nil
	}
	job, err := s.Job(r.Job)
	if err != nil {
		return nil, err
	}
	return s.GatesOf(job, r.Step, c.time.Now()), nil
}

// askRework asks whether a gate was reworked, and reports whether something was
// recorded: the rework, a concession, or that the last reading is taken back.
func (c *conversation) askRework(ctx context.Context, g workflow.GateReport) (bool, error) {
	help := "y once it is reworked; u takes the last reading back, if it was mistyped or misread"
	if !g.Gate.Critical {
		help += "; c REASON grants a concession instead"
	}
	answer, err := c.ask(ctx, fmt.Sprintf("Is %s reworked? [y, u takes the last reading back, or ?]", g.Gate.Name), help)
	if err != nil {
		return false, err
	}
	if why, ok := strings.CutPrefix(answer, "c "); ok {
		return true, c.record(ctx, workflow.Concede{Gate: g.Gate.Name, Reason: why})
	}
	if yes, _ := term.YesNo(answer); yes {
		return true, c.reworked(ctx, g)
	}
	if answer == "u" && len(g.Rests) > 0 {
		return true, c.record(ctx, workflow.Undo{Position: slices.Max(g.Rests), Reason: "mistyped or misread"})
	}
	fmt.Fprintf(c.Err, "%s stays out of tolerance until it is reworked.\n", g.Gate.Name)
	return false, nil
}

// reworked records a rework, after asking which way it was done and, of one that
// glues, what with and when that was mixed.
func (c *conversation) reworked(ctx context.Context, g workflow.GateReport) error {
	r := workflow.Rework{Gate: g.Gate.Name}
	s, err := c.desk.State(ctx, c.mark)
	if err != nil {
		return err
	}
	left := s.ReworkLeft(r.Gate, c.time.Now())
	for n := len(g.Gate.Reworks); left == "" && n > 1 && r.Way == 0; {
		answer, err := c.ask(ctx, fmt.Sprintf("Which way was it done, 1 to %d?", n), "the number of the way that was taken")
		if err != nil {
			return err
		}
		if way, err := strconv.Atoi(answer); err == nil && way >= 1 && way <= n {
			r.Way = way
		}
	}
	if may := s.AdhesivesOfRework(r.Gate, r.Way, c.time.Now()); len(may) > 0 {
		adhesive, err := c.adhesiveOf(ctx, may)
		if err != nil {
			return err
		}
		r.With = adhesive.Name
		for adhesive.Times.Mixed && r.Mixed.IsZero() {
			answer, err := c.ask(ctx, "When was "+term.Line(adhesive.Name)+" mixed?", "a time such as 19:20, or 5 min ago")
			if err != nil {
				return err
			}
			if r.Mixed, err = c.when(answer); err != nil {
				fmt.Fprintln(c.Err, term.Line(err.Error()))
			}
		}
	}
	if left == workflow.ToRecoat {
		r.Began = c.time.Now()
		if _, err := c.enter(ctx, "Spread a fresh coat now. Press Enter when it is on.", "Enter: done"); err != nil {
			return err
		}
	}
	return c.record(ctx, r)
}

// askCheck asks for a check of the first gauge that may not be used.
func (c *conversation) askCheck(ctx context.Context, s *workflow.State, r workflow.StepReport) error {
	gates, err := c.gatesOf(s, r)
	if err != nil {
		return err
	}
	for _, g := range gates {
		gauge, err := s.GaugeReport(g.Gate.Gauge, c.time.Now())
		if err != nil {
			return err
		}
		if g.Met() || len(gauge.Barred) == 0 {
			continue
		}
		answer, err := c.ask(ctx, fmt.Sprintf("%s failed its last check. Measure a reference: what does it read, and of which true size (READING of SIZE)?", gauge.Gauge.Name),
			"what the gauge reads and the true size of the reference, both with units; to use another gauge, leave and measure with --gauge")
		if err != nil {
			return err
		}
		reads, of, _ := strings.Cut(answer, " of ")
		request, err := gaugeOptions{reads: strings.TrimSpace(reads), of: strings.TrimSpace(of)}.request(gauge.Gauge)
		if err != nil {
			fmt.Fprintln(c.Err, term.Line(err.Error()))
			return nil
		}
		return c.record(ctx, request)
	}
	_, err = c.ask(ctx, "Press Enter to check again.", "Enter checks again")
	return err
}

func (c *conversation) askTouch(ctx context.Context, r *workflow.StepReport) error {
	dry, err := c.confirm(ctx, "Touch it again. Is it dry?", "y if it no longer strings or comes off")
	if err != nil || !dry {
		return err
	}
	return c.askJoin(ctx, *r, workflow.TouchDry) // it is dry, but not joined yet
}

// A question asks for what completes a step and records it.
type question func(c *conversation, ctx context.Context, s *workflow.State, r workflow.StepReport, name string) error

// questions has a question for every kind of step.
func questions() map[steps.Kind]question {
	return map[steps.Kind]question{
		steps.Do:      askDone,
		steps.Coat:    askCoated,
		steps.Join:    askJoined,
		steps.Glue:    askGlued,
		steps.Wait:    askDone,
		steps.Measure: (*conversation).askReadings,
		steps.Hold:    askHold,
		steps.Choose:  askChoice,
		steps.Release: askRelease,
	}
}

// step asks the question for the kind of step.
func (c *conversation) step(ctx context.Context, s *workflow.State, r workflow.StepReport) error {
	return questions()[r.Step.Kind](c, ctx, s, r, r.Job+"/"+r.Step.Name)
}

// finish records that the step is done, once it is known who was second at one
// that wants a second person.
func (c *conversation) finish(ctx context.Context, r workflow.StepReport, f workflow.Finish) error {
	witness, err := c.askSecond(ctx, r.Step)
	if err != nil {
		return err
	}
	f.Witness = witness
	if f.Thing, err = c.askThing(ctx, r.Step); err != nil {
		return err
	}
	return c.record(ctx, f)
}

// askThing asks for the name of what the step fits; "" where it fits nothing.
func (c *conversation) askThing(ctx context.Context, step steps.Step) (string, error) {
	if step.Fits == "" {
		return "", nil
	}
	return c.ask(ctx, fmt.Sprintf("Which name is written on the new %s (Enter: none)?", term.Line(step.Fits)), "a name of your own, by which it is told from others; one that was in quarantine is not fitted again")
}

// errBack goes back to the question of the step; nothing was recorded.
var errBack = errors.New("back")

// askSecond asks who the second person was, or which way was used instead. An
// empty answer goes back.
func (c *conversation) askSecond(ctx context.Context, step steps.Step) (workflow.Witness, error) {
	ways := step.WaysAlone()
	question, help := "Who was the second person? (Enter: back)", "the name of who it was; Enter goes back"
	switch {
	case !step.WantsSecond():
		return workflow.Witness{}, nil
	case len(ways) > 0:
		question = "Who was the second person, or which number alone? (Enter: back)"
		help = "the name of who it was, or the number of the way that you used; Enter goes back"
	}
	for i, way := range ways {
		fmt.Fprintf(c.Out, "  alone, %d. %s\n", i+1, term.Line(way))
	}
	for {
		answer, err := c.ask(ctx, question, help)
		if err != nil {
			return workflow.Witness{}, err
		}
		n, notNumber := strconv.Atoi(answer)
		switch {
		case answer == "":
			return workflow.Witness{}, errBack
		case notNumber != nil:
			return workflow.Witness{Second: answer}, nil
		case n >= 1 && n <= len(ways):
			return workflow.Witness{Alone: n}, nil
		}
	}
}

func askDone(c *conversation, ctx context.Context, _ *workflow.State, r workflow.StepReport, name string) error {
	if _, err := c.enter(ctx, "Press Enter when it is done.", "Enter: done"); err != nil {
		return err
	}
	return c.finish(ctx, r, workflow.Finish{Step: name})
}

func askCoated(c *conversation, ctx context.Context, s *workflow.State, r workflow.StepReport, name string) error {
	adhesive, err := c.askAdhesive(ctx, s, r)
	if err != nil {
		return err
	}
	if _, err := c.enter(ctx, "Press Enter when it is done.", "Enter: done"); err != nil {
		return err
	}
	return c.finish(ctx, r, workflow.Finish{Step: name, With: adhesive.Name})
}

// askAdhesive asks which of several adhesives a step spreads. One that can't be
// used now is shown with the reason, and not taken.
func (c *conversation) askAdhesive(ctx context.Context, s *workflow.State, r workflow.StepReport) (steps.Adhesive, error) {
	job, err := s.Job(r.Job)
	if err != nil {
		return steps.Adhesive{}, err
	}
	return c.adhesiveOf(ctx, s.AdhesivesOf(job, r.Step, c.time.Now()))
}

// adhesiveOf asks which of several adhesives is spread.
func (c *conversation) adhesiveOf(ctx context.Context, may []workflow.AdhesiveReport) (steps.Adhesive, error) {
	if len(may) == 1 {
		return may[0].Adhesive, nil
	}
	var names []string
	for _, a := range may {
		if len(a.Unfit) == 0 {
			names = append(names, a.Name)
			continue
		}
		for _, reason := range a.Unfit {
			fmt.Fprintf(c.Err, "Not %s: %s.\n", term.Line(a.Name), term.Line(reason.Text))
		}
	}
	for {
		answer, err := c.ask(ctx, fmt.Sprintf("Which adhesive: %s?", strings.Join(names, " or ")), "the name of the adhesive that is used, which the joint then keeps")
		if err != nil {
			return steps.Adhesive{}, err
		}
		if i := slices.IndexFunc(may, func(a workflow.AdhesiveReport) bool { return a.Name == answer }); i >= 0 && slices.Contains(names, answer) {
			return may[i].Adhesive, nil
		}
	}
}

func askGlued(c *conversation, ctx context.Context, s *workflow.State, r workflow.StepReport, name string) error {
	if r.Act == workflow.ToPress {
		return c.askJoin(ctx, r, "")
	}
	adhesive, err := c.askAdhesive(ctx, s, r)
	if err != nil {
		return err
	}
	finish := workflow.Finish{Step: name, With: adhesive.Name}
	question := "Press Enter when it is glued."
	if adhesive.Dries() {
		question = "Press Enter when the coat is on."
		if r.Act == workflow.ToRecoat {
			finish.Began = c.time.Now()
			question = "Spread a fresh coat now. " + question
		}
	}
	if _, err := c.enter(ctx, question, "Enter: done"); err != nil {
		return err
	}
	if !r.Completes(adhesive) {
		return c.record(ctx, finish)
	}
	return c.finish(ctx, r, finish)
}

func askJoined(c *conversation, ctx context.Context, _ *workflow.State, r workflow.StepReport, _ string) error {
	return c.askJoin(ctx, r, "")
}

func askRelease(c *conversation, ctx context.Context, _ *workflow.State, _ workflow.StepReport, _ string) error {
	yes, err := c.confirm(ctx, fmt.Sprintf("Release %s to fly, as %s?", c.mark, c.desk.By), "y releases")
	if err != nil {
		return err
	}
	if !yes {
		return errLeave
	}
	return c.release(ctx, []string{c.mark}, "", false)
}

// askJoin asks whether the joint is joined. touch is what a touch test found; "":
// nothing was touched.
func (c *conversation) askJoin(ctx context.Context, r workflow.StepReport, touch string) error {
	answer, err := c.enter(ctx, "Press Enter when it is joined, or w if the coat is still wet to the touch.", "Enter: joined; w: still wet, do not join yet", "w", "wet")
	if err != nil {
		return err
	}
	finish := workflow.Finish{Step: r.Job + "/" + r.Step.Name, Touch: touch}
	if answer != "" {
		finish.Touch = workflow.TouchWet
		return c.record(ctx, finish)
	}
	return c.finish(ctx, r, finish)
}

func askHold(c *conversation, ctx context.Context, _ *workflow.State, r workflow.StepReport, name string) error {
	answers, err := c.askLines(ctx, r.Step.Confirm, "Hold "+r.Step.Name)
	if err != nil {
		return err
	}
	witness, err := c.askSecond(ctx, r.Step)
	if err != nil {
		return err
	}
	thing, err := c.askThing(ctx, r.Step)
	if err != nil {
		return err
	}
	return c.record(ctx, workflow.Clear{Step: name, Answers: answers, Lines: r.Step.Confirm, Thing: thing, Witness: witness})
}

// askUse asks for the hold of an adhesive or a tool.
func (c *conversation) askUse(ctx context.Context, s *workflow.State, use steps.Use) error {
	page := page.NewUse(s, use, c.time.Now())
	page.Lines = nil // the questions are these
	if err := c.Show(page.Markdown(c.clock())); err != nil {
		return err
	}
	answers, err := c.askLines(ctx, use.Hold, "The hold of "+use.Name)
	if err != nil {
		return err
	}
	return c.record(ctx, workflow.ClearUse{Of: use.Name, Answers: answers, Lines: use.Hold})
}

// askLines asks for each line of a hold, and leaves at the first that is not
// confirmed.
func (c *conversation) askLines(ctx context.Context, lines []string, what string) ([]bool, error) {
	answers := make([]bool, len(lines))
	for i, line := range lines {
		yes, err := c.confirm(ctx, fmt.Sprintf("%d. %s", i+1, term.Line(line)), "y confirms this line, n leaves")
		if err != nil {
			return nil, err
		}
		if answers[i] = yes; !yes {
			fmt.Fprintf(c.Err, "%s is not cleared: line %d is not confirmed.\n", what, i+1)
			return nil, errLeave
		}
	}
	return answers, nil
}

// askChoice asks for one of the answers, by its number or its name.
func askChoice(c *conversation, ctx context.Context, s *workflow.State, r workflow.StepReport, _ string) error {
	choice := r.Step.Asked(s.Sheet)
	names := choice.Names()
	if choice.Alone {
		names = append(names, steps.No)
	}
	for {
		answer, err := c.ask(ctx, fmt.Sprintf("Which one, 1 to %d, or its name?", len(names)), "the number or the name of one: "+strings.Join(names, ", "))
		if err != nil {
			return err
		}
		i := slices.Index(names, answer)
		if n, err := strconv.Atoi(answer); err == nil {
			i = n - 1
		}
		if i < 0 || i >= len(names) {
			continue
		}
		request := workflow.Choose{Answer: names[i]}
		if len(r.Step.Methods) > 0 {
			request.Answer = r.Job + "/" + names[i]
		} else if names[i] == steps.No {
			request = workflow.Choose{Answer: choice.Name, No: true}
		}
		return c.record(ctx, request)
	}
}

// askReadings asks for the missing readings of the step's first gate that is not
// met. Each reading is recorded as it is given.
func (c *conversation) askReadings(ctx context.Context, s *workflow.State, r workflow.StepReport, name string) error {
	job, err := s.Job(r.Job)
	if err != nil {
		return err
	}
	for _, g := range s.GatesOf(job, r.Step, c.time.Now()) {
		if g.Met() {
			continue
		}
		return c.askPoints(ctx, s, g) // and look again: the gate may want a rework now
	}
	return c.finish(ctx, r, workflow.Finish{Step: name})
}

// askPoints asks for what is missing at a gate, and first for what must stand
// when it is read.
func (c *conversation) askPoints(ctx context.Context, s *workflow.State, g workflow.GateReport) error {
	if asked, err := c.askConditions(ctx, s, s.NeedsOf(g.Gate, c.time.Now()), g.Gate.Name); asked || err != nil {
		return err
	}
	for _, point := range g.Missing() {
		if err := c.askReading(ctx, g, point); err != nil {
			return err
		}
	}
	return nil
}

func (c *conversation) askReading(ctx context.Context, g workflow.GateReport, point string) error {
	unit := g.Gate.Unit()
	for {
		what := strings.TrimSpace(g.Gate.Name + " " + point)
		answer, err := c.ask(ctx, fmt.Sprintf("%s, in %s:", what, unit), "a value with its unit, or a bare number in "+unit)
		if err != nil {
			return err
		}
		value, err := quantity.ParseIn(answer, unit)
		if err != nil {
			fmt.Fprintln(c.Err, term.Line(err.Error()))
			continue
		}
		request := workflow.Measure{Gate: g.Gate.Name, Readings: []workflow.Reading{{Point: point, Value: value}}}
		err = c.record(ctx, request)
		var refusal *workflow.Refusal
		if !errors.As(err, &refusal) || !refusal.Only(workflow.ByReading) {
			return err
		}
		why := term.Line(page.Capital(refusal.Reasons[0].Text))
		keep, err := c.ask(ctx, why+". [y keeps it, Enter: type it again]", "y keeps the reading; anything else asks for it again")
		if err != nil {
			return err
		}
		if yes, _ := term.YesNo(keep); yes {
			request.Sure = true
			return c.record(ctx, request)
		}
	}
}
