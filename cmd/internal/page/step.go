package page

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/term"
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Step is one step, for the builder.
type Step struct {
	Mark     string            `json:"mark"`
	Job      string            `json:"job"`
	Stage    string            `json:"stage"`
	Step     string            `json:"step"`
	Title    string            `json:"title"`
	Kind     steps.Kind        `json:"kind"`
	Progress workflow.Progress `json:"progress"`
	Cautions []string          `json:"cautions,omitempty"`
	Do       string            `json:"do,omitempty"`
	Short    string            `json:"short,omitempty"` // shown in place of Do, which whoever asks has read before
	Why      string            `json:"why,omitempty"`
	Picture  string            `json:"picture,omitempty"` // the name of its file
	Hands    string            `json:"hands,omitempty"`
	Tools    []string          `json:"tools,omitempty"`
	Needs    []steps.Setting   `json:"needs,omitempty"`
	Lines    []string          `json:"lines,omitempty"`   // of a hold
	Gates    []Gate            `json:"gates,omitempty"`   // of a measure step
	Answers  []steps.Option    `json:"answers,omitempty"` // of a choose step
	Second   bool              `json:"second,omitempty"`  // it wants a second person
	Alone    []string          `json:"alone,omitempty"`   // what one alone may do instead; none: it must not be done alone
	Joint    *Joint            `json:"joint,omitempty"`
	Reopened string            `json:"reopened,omitempty"`
	TooLate  string            `json:"too_late,omitempty"`
	By       time.Time         `json:"by,omitzero"` // it must be done by then, after a wait
	Reasons  []Reason          `json:"reasons,omitempty"`
	Commands []string          `json:"commands"`
	Done     time.Time         `json:"done,omitzero"`
	Act      workflow.Act      `json:"act,omitempty"`
	Begun    *BegunCoat        `json:"begun,omitempty"`
	Full     bool              `json:"-"` // why, with what and all of the adhesive are shown as well
	Whole    []string          `json:"-"` // the cautions as long as they are, in the order of Cautions
	again    []*steps.Step     // what is done once more, as it is set once more for this step
	more     string            // what shows Do again
	asked    bool              // for Short
	reads    bool              // a gate of the step was read just now
}

// A Joint is the joint of a coat or a join.
type Joint struct {
	Name     string         `json:"name"`
	Adhesive string         `json:"adhesive,omitempty"`
	Says     string         `json:"says,omitempty"`
	Mixed    bool           `json:"mixed,omitempty"`  // its adhesive counts from mixing
	OneOf    []Adhesive     `json:"one_of,omitempty"` // what a coat may be of, where that is still open
	Phase    workflow.Phase `json:"phase,omitempty"`
	Opens    time.Time      `json:"opens,omitzero"`
	Closes   time.Time      `json:"closes,omitzero"`
}

// A BegunCoat is a coat that was begun and is not on yet.
type BegunCoat struct {
	Adhesive string    `json:"adhesive"`
	Mixed    time.Time `json:"mixed,omitzero"`
	Began    time.Time `json:"began,omitzero"` // spreading
	Closes   time.Time `json:"closes"`
	By       string    `json:"by,omitempty"` // who began it, where that was somebody else
	late     bool
}

func (b BegunCoat) words(c *Clock) string {
	text := "begun:"
	if !b.Mixed.IsZero() {
		text += " " + esc(b.Adhesive) + " mixed " + c.At(b.Mixed)
	}
	if !b.Mixed.IsZero() && !b.Began.IsZero() {
		text += ","
	}
	if !b.Began.IsZero() {
		text += " spreading since " + c.At(b.Began)
	}
	if b.By != "" {
		text += ", by **" + esc(b.By) + "**"
	}
	if b.late {
		return text + "; that is too long ago, begin again"
	}
	return text + "; join it by **" + c.At(b.Closes) + "**"
}

// An Adhesive is one of several that a joint may be coated with.
type Adhesive struct {
	Name  string   `json:"name"`
	Title string   `json:"title"`
	Says  string   `json:"says"`
	Mixed bool     `json:"mixed,omitempty"` // it counts from mixing
	Unfit []Reason `json:"unfit,omitempty"` // why it can't be used now
}

// NewStep makes the page of a step.
func NewStep(s *workflow.State, r workflow.StepReport, now time.Time) Step {
	mark := s.Airframe.Mark
	step := r.Step
	p := Step{
		Mark: mark, Job: r.Job, Stage: r.Stage, Step: step.Name, Title: step.Label(), Kind: step.Kind,
		Progress: r.Progress, Cautions: step.Cautions, Do: step.Do, Why: step.Why, Picture: step.Picture.Name, Hands: step.Hands.String(),
		Needs: step.Needs, Lines: step.Confirm, Reopened: r.Reopened, Reasons: newReasons(r.Reasons), Done: r.At,
		Whole: step.Cautions, Act: r.Act, TooLate: r.TooLate, By: r.Closes, Second: step.WantsSecond(), Alone: step.WaysAlone(),
	}
	job, err := s.Job(r.Job)
	if err != nil {
		return p
	}
	p.Needs, p.Tools = s.NeedsAt(job, step, now), toolsOf(s.Sheet, step.Tools)
	oneOf := s.OneOf(job, step, now)
	for _, need := range sharedNeeds(s.Sheet, step, oneOf) {
		if !lists.Contains(p.Needs, need) {
			p.Needs = append(p.Needs, need)
		}
	}
	for _, u := range slices.Backward(s.UsesOf(job, step, now)) {
		if caution := cautionOf(s, u, now); caution != "" {
			with := ""
			if len(oneOf) > 1 && lists.Contains(oneOf, u.Name) {
				with = "With " + u.Name + ": "
			}
			p.Cautions = append([]string{with + caution}, p.Cautions...)
			p.Whole = append([]string{with + strings.TrimSpace(u.Caution)}, p.Whole...)
		}
	}
	kind := stepKinds()[step.Kind]
	if kind.fill != nil {
		kind.fill(&p, s, job, step, now)
	}
	if b := r.Begun; b.Adhesive != "" {
		p.Begun = &BegunCoat{b.Adhesive, b.Mixed, b.Spread, b.Closes, b.By, now.After(b.Closes)}
	}
	p.reads = p.readsNow(s, now)
	name := s.NameOf(r.Job, step.Name, now)
	if kind.commands == nil {
		kind.commands = doneCommands
	}
	p.Commands = kind.commands(&p, name)
	if step.Fits != "" {
		for i := range p.Commands {
			p.Commands[i] += " --name " + Blank
		}
	}
	if p.Second {
		p.Commands = secondCommands(&p, r, p.Commands)
	}
	return p
}

// readsNow reports whether the last entry is a reading of a gate of the step, in this
// sitting: then what to do for all of them was shown.
func (p *Step) readsNow(s *workflow.State, now time.Time) bool {
	if len(s.Entries) == 0 {
		return false
	}
	e := s.Entries[len(s.Entries)-1]
	f, ok := e.Facts.(journal.ReadingTaken)
	return ok && now.Sub(e.At) <= workflow.SittingLength && slices.ContainsFunc(p.Gates, func(g Gate) bool { return g.Name == f.Gate })
}

// Brief puts the short text of the step, if it has one, in place of what to do,
// where the person has done it before or asks for it. It shortens neither cautions nor
// lines. more is what to type to see the whole text.
func (p *Step) Brief(s *workflow.State, by, more string, short bool) {
	job, err := s.Job(p.Job)
	if err != nil {
		return
	}
	if step, _, ok := job.Procedure.Step(p.Step); ok && step.Short != "" && (short || s.DidBefore(by, step)) {
		p.Short, p.more, p.asked = step.Short, more, short
	}
}

// before says why the step is shown in short, if nobody asked for that.
func (p *Step) before() string {
	if p.asked {
		return ""
	}
	return ", as you have done it before"
}

// Markdown is the step, cautions first: what is needed at the bench now, or where it is to
// be full all of it.
func (p Step) Markdown(c *Clock) string {
	if !p.Full {
		return p.atBench(c)
	}
	var l lines
	l.add("# %s\n", esc(p.Title))
	l.add("%s · %s · stage %s · %s\n", esc(p.Mark), esc(p.Job), esc(p.Stage), esc(p.Step))
	p.pressing(&l, c)
	for _, caution := range p.Whole {
		l.caution(caution)
	}
	p.withWhat(&l)
	l.doing(&p)
	p.asks(&l)
	p.glued(&l, c)
	if p.Begun != nil {
		l.fact("%s", p.Begun.words(c))
	}
	p.gates(&l, c)
	p.why(&l)
	if p.Progress == workflow.Done {
		if !p.Done.IsZero() { // else it was met without an act
			l.item("done %s", c.At(p.Done))
		}
		return l.String()
	}
	if len(p.Reasons) > 0 {
		p.doAgain(&l)
		l.add("\n**It can't be done now:**\n")
		l.reasonList(p.Reasons, noWords, c)
		return l.String()
	}
	switch {
	case len(p.Answers) > 0 && len(p.Commands) > 0:
		l.add("\nChoose one:\n")
	case len(p.Commands) > 0:
		l.add("\nWhen %s:\n", whenDone(p.Act))
	}
	l.commands(p.Commands)
	return l.String()
}

// atBench is what is needed to do the step now. What must be seen to at the bench first
// comes without what to do, unless a clock runs; each caution is then its first line.
func (p *Step) atBench(c *Clock) string {
	var l lines
	l.add("# %s (%s, %s)\n", esc(p.Title), esc(p.Mark), esc(p.Stage))
	p.pressing(&l, c)
	if p.Progress != workflow.Done && p.unprepared() && p.By.IsZero() && !p.pressed() && p.Begun == nil {
		for _, caution := range p.Cautions {
			line, _, _ := strings.Cut(strings.TrimSpace(caution), "\n")
			l.caution(line)
		}
		p.doAgain(&l)
		l.seeTo(p.Reasons, c)
		return l.String()
	}
	for _, caution := range p.Cautions {
		l.caution(caution)
	}
	if !p.reads { // what to do was shown with its first gate
		l.doing(p)
	}
	p.asks(&l)
	p.glued(&l, c)
	if p.Begun != nil {
		l.fact("%s", p.Begun.words(c))
	}
	p.gates(&l, c)
	switch {
	case p.Progress == workflow.Done:
		if !p.Done.IsZero() {
			l.item("done %s", c.At(p.Done))
		}
		return l.String()
	case p.unprepared():
		p.doAgain(&l)
		l.seeTo(p.Reasons, c)
		return l.String()
	case len(p.Reasons) > 0:
		p.doAgain(&l)
		l.add("\n**It can't be done now:**\n")
		l.reasonList(p.Reasons, noWords, c)
		return l.String()
	case len(p.Commands) > 0 && whenDone(p.Act) != whenDone(""): // the others say so themselves
		l.add("\nWhen %s:\n", whenDone(p.Act))
	}
	commands := p.Commands
	if now, later := p.turns(); len(later) > 0 {
		commands = measureCommands(&Step{Mark: p.Mark, Gates: now}, "")
	}
	l.commands(commands)
	return l.String()
}

// unprepared reports whether it waits for nothing but a hold, a condition or the bench.
//
//go:noinline
func (p *Step) unprepared() bool {
	return len(p.Reasons) > 0 && !slices.ContainsFunc(p.Reasons, func(r Reason) bool {
		return r.Because != workflow.ByHold && r.Because != workflow.ByCondition && r.Because != workflow.ByClimate
	})
}

// asks are the lines that are confirmed, the answers of which one is chosen, and that a
// second person is wanted.
func (p *Step) asks(l *lines) {
	for i, line := range p.Lines {
		l.add("%d. %s", i+1, tagless(strings.TrimSpace(line)))
	}
	for i, a := range p.Answers {
		l.add("%d. %s", i+1, answerText(a))
	}
	if p.Second {
		l.fact("%s", secondWords(p.Alone))
	}
}

// commands adds one block, and each on a line of its own.
func (l *lines) commands(all []string) {
	if len(all) > 0 {
		l.add("\n%s", "```\n"+strings.Join(all, "\n")+"\n```\n")
	}
}

// doAgain adds what is done once more where something is plugged in or set hot once more, before the command that records that it is:
// not before a hold is cleared that guards it.
//
//go:noinline
func (p *Step) doAgain(l *lines) {
	for i := range p.Reasons {
		if p.Reasons[i].Because == workflow.ByHold {
			return
		}
	}
	for _, by := range p.again {
		l.add("\n**%s, once more:**\n", esc(by.Title))
		l.text(by.Do)
	}
}

// seeTo adds what must be seen to first, and the commands that record it. A hold and a
// reading of the bench need no words beside their command.
func (l *lines) seeTo(reasons []Reason, c *Clock) {
	var blocks []string
	at := map[string]int{}
	l.add("\n**First make sure, then record it:**\n")
	ordered, _ := holdsFirst(reasons, noWords)
	for _, r := range ordered {
		_, line := Remedy(r.Remedy)
		switch r.Remedy.Kind {
		case workflow.ToClearUse, workflow.ToReadBench:
		case workflow.ToSetCondition:
			l.item("%s", reasonTimes(r.Reason, c))
		default:
			l.item("%s", reasonAdvice(r.Reason, c))
		}
		if line == "" {
			continue
		}
		key, options := apart(r, line)
		i, met := at[key]
		if !met {
			i = len(blocks)
			at[key], blocks = i, append(blocks, options[0])
		}
		for _, o := range options[1:] {
			if !lists.Contains(strings.Split(blocks[i], " --"), o) {
				blocks[i] += " --" + o
			}
		}
	}
	for i, line := range blocks {
		blocks[i] = term.Line(line)
	}
	l.commands(blocks)
}

// action is what to do, without the title and the cautions. By when says the clock beside it.
func (p *Step) action(c *Clock) string {
	var l lines
	p.pressing(&l, c)
	l.doing(p)
	return l.String()
}

// doing is what to do, whole or in short.
func (l *lines) doing(p *Step) {
	if p.Short == "" {
		l.text(p.Do)
		l.picture(p.Picture)
		return
	}
	l.text(p.Short)
	l.picture(p.Picture)
	l.add("\n*In short%s; `%s` shows all of it.*\n", p.before(), p.more)
}

// picture names the picture of a step, if it has one.
func (l *lines) picture(name string) {
	if name != "" {
		l.add("\n**Picture:** %s, printed with the step on paper and in the full book\n", esc(name))
	}
}

// gates adds those that are measured or reworked now, and the names of those that come after.
func (p *Step) gates(l *lines, c *Clock) {
	now, later := p.turns()
	for _, g := range now {
		if p.Full || g.Standing != workflow.NeverTaken && g.Standing != workflow.StaleGate {
			l.gate(g, c)
		} else {
			l.item("%s", g.atBench(c))
			if g.Scales != "" {
				l.item("scales: %s", esc(g.Scales))
			}
		}
		l.parts(g)
		if g.Standing == workflow.Failed {
			l.text(g.Rework)
		} else {
			l.text(g.How)
			if g.Or != nil {
				l.item("or with the %s; how: `fettle measure %s %s`", esc(g.Or.With), esc(p.Mark), g.Name)
			}
		}
	}
	var then []string
	for _, g := range later {
		then = append(then, g.Name)
	}
	if len(then) > 0 {
		l.item("then: %s", esc(strings.Join(then, ", ")))
	}
}

// turns are the gates of the step that have not passed: those to measure or rework now, and
// the rest. Of a full step all of them are shown.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func (p *Step) turns() (now, later []Gate) {
	if p.Full {
		return p.Gates, nil
	}
	measured := false
	for _, g := range p.Gates {
		switch {
		case g.met():
		case g.Standing == workflow.Failed:
			now = append(now, g)
		case !measured:
			now, measured = append(now, g), true
		default:
			later = append(later, g)
		}
	}
	return now, later
}

// glued says how its joint stands, and which adhesives can't be used now; where it is full
// also what they are.
func (p *Step) glued(l *lines, c *Clock) {
	j := p.Joint
	switch {
	case j == nil:
		return
	case p.Full:
		l.fact("joint %s%s", esc(j.Name), j.words(p.Kind, c))
	case p.pressed():
		l.fact("joint %s%s", esc(j.Name), Joint{Phase: j.Phase, Opens: j.Opens, Closes: j.Closes}.words(steps.Join, c))
	}
	for _, a := range j.OneOf {
		if p.Full {
			l.fact("with **%s**, %s: %s", esc(a.Name), esc(a.Title), esc(a.Says))
		}
		for _, r := range a.Unfit {
			l.fact("not with %s now: %s", esc(a.Name), ReasonText(r.Reason, c))
		}
	}
}

// pressed reports whether the window of its joint is open, or about to be.
func (p *Step) pressed() bool {
	return p.Joint != nil && (p.Joint.Phase == workflow.Open || p.Joint.Phase == workflow.Tacking)
}

// behind is why it is done, with what, and all of what is shown in short.
func (p *Step) behind() string {
	var l lines
	if p.Short != "" {
		l.text(p.Do)
	}
	p.why(&l)
	p.withWhat(&l)
	if p.Joint != nil && p.Joint.Says != "" {
		l.fact("joint %s, %s: %s", esc(p.Joint.Name), esc(p.Joint.Adhesive), esc(p.Joint.Says))
	}
	if p.Joint != nil {
		for _, a := range p.Joint.OneOf {
			l.fact("with **%s**, %s: %s", esc(a.Name), esc(a.Title), esc(a.Says))
		}
	}
	return l.String()
}

// why it is done, and how long it takes.
func (p *Step) why(l *lines) {
	if p.Why != "" {
		l.add("\n**Why.** %s\n", tagless(strings.TrimSpace(p.Why)))
	}
	if p.Hands != "" {
		l.fact("takes %s", esc(p.Hands))
	}
}

// withWhat is the tools that it is done with, and the conditions.
func (p *Step) withWhat(l *lines) {
	if len(p.Tools) > 0 {
		l.fact("tools: %s", esc(strings.Join(p.Tools, ", ")))
	}
	for _, need := range p.Needs {
		l.fact("needs %s", esc(need.String()))
	}
}

// pressing is what makes it urgent, or why it is open again.
func (p *Step) pressing(l *lines, c *Clock) {
	if p.Reopened != "" {
		l.add("**Open again:** %s\n", esc(p.Reopened))
	}
	if p.TooLate != "" {
		l.add("**Too late:** %s\n", esc(p.TooLate))
	}
	if !p.By.IsZero() && p.Joint == nil {
		l.add("**Do it by %s** (%s left).\n", c.At(p.By), c.In(p.By))
	}
}

// secondWords say that a step wants a second person, and what one alone may do.
func secondWords(alone []string) string {
	if len(alone) == 0 {
		return "wants a second person; **do not do it alone**"
	}
	return "wants a second person; alone, instead: " + strings.Join(numbered(alone, "%d. %s"), "; ")
}

// whenDone says what the commands are for.
func whenDone(act workflow.Act) string {
	switch act {
	case workflow.ToCoat:
		return "the coat is on"
	case workflow.ToRecoat:
		return "a fresh coat is on, with the time it was begun"
	case workflow.ToPress:
		return "the joint is pressed"
	}
	return "it is done"
}

func (j Joint) words(kind steps.Kind, c *Clock) string {
	if words := stepKinds()[kind].joint; words != nil {
		if says := words(j, c); says != "" {
			return says
		}
	}
	switch {
	case j.Phase == workflow.Open:
		return fmt.Sprintf(": open now, join it by **%s** (%s left)", c.At(j.Closes), c.In(j.Closes))
	case j.Phase == workflow.Tacking && !c.Now.Before(j.Opens):
		return fmt.Sprintf(": wet at the last touch test, join it by **%s**", c.At(j.Closes))
	case j.Phase == workflow.Tacking:
		from, to := c.Between(j.Opens, j.Closes)
		return fmt.Sprintf(": %s, open from **%s** to %s", j.Phase, from, to)
	case j.Phase != "":
		return ": " + string(j.Phase)
	}
	return ""
}
