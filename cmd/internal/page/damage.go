package page

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow"
)

// A Damage is one finding, as it stands.
type Damage struct {
	Name       string    `json:"damage"`
	Finding    string    `json:"finding"`
	As         string    `json:"as,omitempty"`    // what words of one's own were taken for
	Words      string    `json:"words,omitempty"` // in which it was reported
	Zone       string    `json:"zone"`
	Severity   string    `json:"severity"`
	Place      string    `json:"place,omitempty"`
	Cause      string    `json:"cause,omitempty"`
	Thing      string    `json:"thing,omitempty"`
	Note       string    `json:"note,omitempty"`
	Found      time.Time `json:"found"`
	Typed      time.Time `json:"typed_in,omitzero"` // if that was later
	By         string    `json:"by"`
	Repaired   bool      `json:"repaired"`
	Job        string    `json:"job,omitempty"`        // the job that repairs it
	Quarantine bool      `json:"quarantine,omitempty"` // open
	Until      time.Time `json:"quarantine_until,omitzero"`
}

// Damages lists the damage of an airframe.
func Damages(s *workflow.State, now time.Time) []Damage {
	var all []Damage
	for _, d := range s.Damages {
		out := Damage{Name: d.Damage, Finding: d.Finding, Zone: d.Zone, Severity: d.Severity, Note: d.Note, Found: d.At, By: d.By, Quarantine: d.Quarantine.Open(),
			Place: d.Place, Cause: d.Cause, Thing: d.Thing, As: d.As, Words: d.Words, Typed: d.Typed, Until: d.Quarantine.Until}
		out.Repaired, out.Job = s.Repaired(d, now)
		all = append(all, out)
	}
	return all
}

// brief is the damage in a few words.
func (d Damage) brief() string {
	text := fmt.Sprintf("%s %s at %s", d.Name, d.Finding, d.Zone)
	switch {
	case d.Quarantine:
		return text + " IN QUARANTINE"
	case d.Repaired:
		return text + " (repaired)"
	}
	return text + " (not repaired)"
}

func (d Damage) line(c *Clock) string {
	text := fmt.Sprintf("damage %s: %s at %s%s, %s%s%s%s; ", d.Name, d.Finding, d.Zone, inBrackets(d.Place), d.Severity, optionally(", caused by ", d.Cause), taken(d.As, d.Words)+optionally(", of the ", d.Thing), optionally(": ", d.Note))
	switch {
	case d.Repaired:
		text += optionally("repaired by ", d.Job)
		if d.Job == "" {
			text += "another one is fitted by its name"
		}
	case d.Job != "":
		text += "under repair by " + d.Job
	default:
		text += "not repaired"
	}
	text = esc(text)
	if d.Quarantine {
		text += "; **IN QUARANTINE** since " + c.At(d.Found)
		if !d.Typed.IsZero() {
			text += " (typed in " + c.At(d.Typed) + ")"
		}
		if d.Until.After(c.Now) {
			text += ", at least until " + c.At(d.Until)
		}
	}
	return text
}

// A Quarantine is what is kept away from everything else, by its name.
type Quarantine struct {
	Damage string    `json:"damage"`
	What   string    `json:"what"`
	Off    bool      `json:"off"` // nothing of it is aboard
	Since  time.Time `json:"since"`
	Until  time.Time `json:"until,omitzero"`
	// TakenBack says that the finding was, which changes nothing of the thing.
	TakenBack bool `json:"taken_back,omitempty"`
}

// quarantines are those that are in force.
func quarantines(s *workflow.State) []Quarantine {
	var all []Quarantine
	for _, q := range s.Quarantines {
		if q.Open() {
			all = append(all, Quarantine{q.Damage, q.Says(), q.Off(), q.Since, q.Until, q.TakenBack})
		}
	}
	return all
}

// quarantined writes what is in quarantine, beside how the airframe stands.
func (l *lines) quarantined(all []Quarantine, c *Clock) {
	for _, q := range all {
		l.item("**QUARANTINE:** %s", esc(q.says(c)))
	}
}

func (q Quarantine) says(c *Clock) string {
	text := "counts as aboard"
	if q.Off {
		text = "is off the airframe"
	}
	if q.TakenBack {
		text += "; the finding was taken back, and the quarantine stays"
	}
	switch {
	case q.Until.After(c.Now):
		text += "; it lasts at least until " + c.At(q.Until)
	case q.Off:
		text += "; its lines can be confirmed"
	}
	return fmt.Sprintf("%s (%s) %s", q.What, q.Damage, text)
}

func inBrackets(text string) string {
	if text == "" {
		return ""
	}
	return " (" + text + ")"
}

// taken says what words of one's own were taken for, or which words a finding was
// reported in.
func taken(as, words string) string {
	if words != "" {
		return fmt.Sprintf(" (%q)", words)
	}
	return optionally(", taken for ", as)
}

// A Repair is the plan of repair.
type Repair struct {
	Mark     string            `json:"mark"`
	Answers  []Answer          `json:"answers"`
	Attended int64             `json:"attended_seconds"`
	Waiting  int64             `json:"waiting_seconds"` // of the longest chain
	Climate  workflow.Climates `json:"climate"`         // that the waiting is reckoned with, and the days
	Chain    []RepairWait      `json:"chain,omitempty"`
	Parts    []steps.Part      `json:"parts,omitempty"`
	Uses     []RepairUse       `json:"uses,omitempty"`
	MadeOf   []string          `json:"made_of,omitempty"` // the documents that its steps were written in
	Blocks   []RepairBlock     `json:"blocks"`
	Stages   []RepairStage     `json:"stages"`
	Stale    []StaleGate       `json:"measure_again"`
	Else     []StaleGate       `json:"stale_otherwise,omitempty"` // that are due for other reasons
	Job      string            `json:"job,omitempty"`             // "": not started
	Days     *Days             `json:"days,omitempty"`            // nil: nobody said when somebody is at the bench
	Full     bool              `json:"-"`                         // with every step and reason
	Check    *Reason           `json:"check,omitempty"`           // that is due before it
	Amends   *Amended          `json:"amends,omitempty"`          // the open repair in the place of whose plan it comes

	Forgone []workflow.Lapse `json:"forgone,omitempty"` // open windows that can't be met once it is begun
}

// An Amended is what a plan changes of an open repair.
type Amended struct {
	Job     string   `json:"job"`
	Found   []string `json:"found"` // damage that it did not repair before
	Kept    int      `json:"kept"`  // the steps that stay done
	Reopens []string `json:"done_again"`
}

// An Answer is what the triage table says about one damage.
type Answer struct {
	Damage   string `json:"damage"`
	Finding  string `json:"finding"`
	Zone     string `json:"zone"`
	Severity string `json:"severity"`
	Place    string `json:"place,omitempty"`
	Cause    string `json:"cause,omitempty"`
	Note     string `json:"note,omitempty"`
	Outcome  string `json:"outcome"`
	By       string `json:"procedure,omitempty"`
	Why      string `json:"why"`
	Known    bool   `json:"known"`
}

// A RepairWait is a wait of the longest chain.
type RepairWait struct {
	Step    string `json:"step"`
	Seconds int64  `json:"seconds"`
}

// A RepairUse is what steps of a plan are done with: an adhesive, one of several, or a
// tool.
type RepairUse struct {
	OneOf []string        `json:"one_of"`
	Needs []steps.Setting `json:"needs,omitempty"`
	Steps []string        `json:"steps"`
}

// A RepairBlock is a run of stages that come before the next one.
type RepairBlock struct {
	Title  string   `json:"title"`
	Stages []string `json:"stages"`
}

// A RepairStage is a stage of the plan with its steps.
type RepairStage struct {
	Stage string     `json:"stage"`
	Title string     `json:"title"`
	Phase string     `json:"phase"`
	Steps []string   `json:"steps"`
	For   [][]string `json:"for"` // the damages that each step is there for; none: for all
}

// A StaleGate is a gate to measure again, with every reason.
type StaleGate struct {
	Gate string   `json:"gate"`
	Why  []string `json:"why"`
}

// NewRepair makes the page of a plan that is made of these documents.
func NewRepair(mark, job string, plan workflow.RepairPlan, madeOf []string) Repair {
	m := Repair{Mark: mark, Job: job, MadeOf: madeOf, Parts: plan.Parts,
		Attended: int64(plan.Time.Attended.Seconds()), Waiting: int64(plan.Time.Waiting.Seconds()), Climate: plan.Climate}
	for _, a := range plan.Answers {
		d := a.Damage
		m.Answers = append(m.Answers, Answer{d.Name, d.Finding, d.Zone, d.Severity, d.Place, d.Cause, d.Note, a.Row.Outcome, a.Row.Procedure, a.Row.Why, a.Known})
	}
	for _, w := range plan.Time.Chain {
		m.Chain = append(m.Chain, RepairWait{w.Step, int64(w.Lasts.Seconds())})
	}
	for _, u := range plan.Uses {
		use := RepairUse{Steps: u.Steps}
		for _, of := range u.OneOf {
			use.OneOf = append(use.OneOf, first(of.Title, of.Name))
			for _, need := range of.Needs {
				if !lists.Contains(use.Needs, need) {
					use.Needs = append(use.Needs, need)
				}
			}
		}
		m.Uses = append(m.Uses, use)
	}
	for _, b := range plan.Blocks {
		m.Blocks = append(m.Blocks, RepairBlock(b))
	}
	if plan.Check != nil {
		check := newReason(*plan.Check)
		m.Check = &check
	}
	m.Climate.Read = m.Climate.Read.In(time.Local)
	if a := plan.Amends; a != nil {
		m.Amends = &Amended{a.Job, a.Found, a.Kept, a.Reopens}
	}
	for _, stage := range plan.Procedure.Stages {
		s := RepairStage{Stage: stage.Name, Title: stage.Title, Phase: stage.Phase}
		for _, step := range stage.Steps {
			s.Steps, s.For = append(s.Steps, step.Name), append(s.For, append([]string{}, plan.For[step.Name]...))
		}
		m.Stages = append(m.Stages, s)
	}
	for _, g := range plan.Stale {
		m.Stale = append(m.Stale, StaleGate{g.Gate, allSaid(g.Why)})
	}
	for _, g := range plan.Else {
		m.Else = append(m.Else, StaleGate{g.Gate, allSaid(g.Why)})
	}
	return m
}

// ForgoneLine says which open window can't be met once a repair is begun.
func ForgoneLine(w workflow.Lapse, c *Clock) string {
	return fmt.Sprintf("joint %s must be joined by %s, and can't be any more once the repair is begun", esc(w.Name), c.At(w.Closes))
}

func stayDone(n int) string {
	if n == 1 {
		return "1 step stays done"
	}
	return fmt.Sprintf("%s stay done", many(n, "step"))
}

// Markdown is the plan: on one screen, or in full.
func (m Repair) Markdown(c *Clock) string {
	var l lines
	l.add("# The repair of %s\n", esc(m.Mark))
	if m.Check != nil {
		l.add("**First:** %s\n", ReasonText(m.Check.Reason, c))
	}
	for _, w := range m.Forgone {
		l.add("**First:** %s. `fettle next %s` goes on with it.\n", ForgoneLine(w, c), m.Mark)
	}
	if a := m.Amends; a != nil {
		found := "with what is left of its damage"
		if len(a.Found) > 0 {
			found = "with " + strings.Join(a.Found, ", ") + " too"
		}
		l.add("It amends the open job %s, %s. %s: joints and their clocks go on.", esc(a.Job), esc(found), stayDone(a.Kept))
		if len(a.Reopens) > 0 {
			l.add("Done again: %s.", esc(strings.Join(a.Reopens, ", ")))
		}
		l.add("")
	}
	for _, a := range m.Answers {
		outcome := "**" + a.Outcome + "**"
		if a.By != "" {
			outcome += " by " + esc(a.By)
		}
		says := a.Severity + optionally(", caused by ", a.Cause) + inBrackets(a.Note)
		l.item("%s, %s at %s%s, %s: %s. %s", esc(a.Damage), esc(a.Finding), esc(a.Zone), esc(optionally(", ", a.Place)), esc(says), outcome, esc(a.Why))
	}
	if m.Attended+m.Waiting > 0 {
		l.add("\n%s.\n", esc(m.takes(c)))
	}
	m.ready(&l)
	l.add("\n## In this order\n")
	stages := map[string]RepairStage{}
	for _, s := range m.Stages {
		stages[s.Stage] = s
	}
	for i, b := range m.Blocks {
		var titles []string
		for _, name := range b.Stages {
			titles = append(titles, first(stages[name].Title, name))
		}
		if !m.Full {
			l.add("%d. %s: %s", i+1, esc(b.Title), esc(strings.Join(titles, "; ")))
			continue
		}
		l.add("\n### %d. %s\n", i+1, esc(b.Title))
		for k, name := range b.Stages {
			l.item("%s: %s", esc(titles[k]), esc(m.stepsOf(stages[name])))
		}
	}
	gates := func(title string, all []StaleGate) {
		if len(all) == 0 {
			return
		}
		l.add("\n## %s\n", title)
		var names []string
		for _, g := range all {
			names = append(names, g.Gate)
			if m.Full {
				l.item("%s: %s", esc(g.Gate), esc(strings.Join(g.Why, "; ")))
			}
		}
		if !m.Full {
			l.add("%s.", esc(strings.Join(names, ", ")))
		}
	}
	gates("Measure again", m.Stale)
	gates("Due too, for other reasons", m.Else)
	l.days(m.Days, m.Mark, c)
	if len(m.MadeOf) > 0 {
		l.add("\nMade of %s.", esc(strings.Join(m.MadeOf, "; ")))
	}
	if !m.Full {
		l.add("\nEach step, and why it is there: `fettle repair %s --full`", esc(m.Mark))
	}
	if m.Job == "" {
		l.add("\nNothing is recorded yet. To start the repair:\n\n%s", command("fettle repair "+m.Mark+" --start"))
	} else {
		l.add("\nThe repair is open as job %s. Go on with:\n\n%s", esc(m.Job), command("fettle follow "+m.Mark))
	}
	return l.String()
}

// ready says what must be had before it begins: what is used up or fitted anew, and what
// it is done with.
func (m Repair) ready(l *lines) {
	if len(m.Parts)+len(m.Uses) == 0 {
		return
	}
	var parts, uses []string
	for _, p := range m.Parts {
		text := p.Name
		if p.Count != 1 {
			text += inBrackets(amountOf(p))
		}
		parts = append(parts, text)
	}
	for _, u := range m.Uses {
		if !m.Full {
			var titles []string
			for _, title := range u.OneOf {
				short, _, _ := strings.Cut(title, ",")
				titles = append(titles, short)
			}
			uses = append(uses, strings.Join(titles, " or "))
			continue
		}
		var needs []string
		for _, need := range u.Needs {
			needs = append(needs, need.String())
		}
		uses = append(uses, strings.Join(u.OneOf, " or ")+optionally("; it needs ", strings.Join(needs, ", "))+"; for "+strings.Join(u.Steps, ", "))
	}
	if m.Full {
		l.add("\n## To have ready\n")
		for _, text := range append(parts, uses...) {
			l.item("%s", esc(text))
		}
		return
	}
	if len(parts) > 0 {
		l.add("\nTo have ready: %s.\n", esc(strings.Join(parts, "; ")))
	}
	if len(uses) > 0 {
		l.add("\nGlue and tools: %s.\n", esc(strings.Join(uses, ", ")))
	}
}

// takes says how long it takes, and which waits hold it.
func (m Repair) takes(c *Clock) string {
	seconds := func(n int64) string { return Span(time.Duration(n) * time.Second) }
	text := "About " + seconds(m.Attended) + " of work"
	if m.Waiting == 0 {
		return text + ", and no waiting"
	}
	var waits []string
	for _, w := range m.Chain {
		if w.Seconds >= 3600 || len(m.Chain) == 1 {
			waits = append(waits, w.Step+" "+seconds(w.Seconds))
		}
	}
	return text + fmt.Sprintf(", and %s of waiting%s", seconds(m.Waiting), climate(m.Climate, c)) + optionally(": ", strings.Join(waits, ", "))
}

// stepsOf names the steps of a stage. What they are for is in its title, but in a stage
// that repairs share: there it is said of those that are not for all.
func (m Repair) stepsOf(s RepairStage) string {
	shared := slices.ContainsFunc(s.For, func(of []string) bool { return !lists.Equal(of, s.For[0]) })
	var all []string
	for i, step := range s.Steps {
		if of := s.For[i]; shared && len(of) > 0 && len(of) < len(m.Answers) {
			step = fmt.Sprintf("%s (%s)", step, strings.Join(of, ", "))
		}
		all = append(all, step)
	}
	return strings.Join(all, ", ")
}
