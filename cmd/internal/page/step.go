package page

import (
	"fmt"
	"strings"
	"time"

	"fettle/steps"
	"fettle/workflow"
)

// A Step is one step as it is put before the builder.
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
	Why      string            `json:"why,omitempty"`
	Hands    string            `json:"hands,omitempty"`
	Needs    []steps.Setting   `json:"needs,omitempty"`
	Lines    []string          `json:"lines,omitempty"` // of a hold
	Gates    []Gate            `json:"gates,omitempty"` // of a measure step
	Joint    *Joint            `json:"joint,omitempty"`
	Reopened string            `json:"reopened,omitempty"`
	Reasons  []Reason          `json:"reasons,omitempty"`
	Commands []string          `json:"commands"`
	Done     time.Time         `json:"done,omitzero"`
}

// A Joint is what a coat or a join is about.
type Joint struct {
	Name     string         `json:"name"`
	Adhesive string         `json:"adhesive,omitempty"`
	Says     string         `json:"says,omitempty"`
	Phase    workflow.Phase `json:"phase,omitempty"`
	Opens    time.Time      `json:"opens,omitzero"`
	Closes   time.Time      `json:"closes,omitzero"`
}

// NewStep makes the page of a step.
func NewStep(s *workflow.State, r workflow.StepReport, now time.Time) Step {
	mark := s.Airframe.Mark
	step := r.Step
	p := Step{
		Mark: mark, Job: r.Job, Stage: r.Stage, Step: step.Name, Title: step.Label(), Kind: step.Kind,
		Progress: r.Progress, Cautions: step.Cautions, Do: step.Do, Why: step.Why, Hands: step.Hands.String(),
		Needs: step.Needs, Lines: step.Confirm, Reopened: r.Reopened, Reasons: newReasons(r.Reasons), Done: r.At,
	}
	job, err := s.Job(r.Job)
	if err != nil {
		return p
	}
	switch step.Kind {
	case steps.Coat, steps.Join:
		p.Joint = newJoint(s, job, step, now)
	}
	if step.Kind == steps.Coat {
		if a, ok := s.Sheet.Adhesive(step.Adhesive); ok {
			if a.Caution != "" {
				p.Cautions = append([]string{a.Caution}, p.Cautions...)
			}
			p.Joint.Adhesive, p.Joint.Says = a.Title, adhesiveSays(a)
		}
	}
	if step.Kind == steps.Measure {
		for _, g := range s.GatesOf(job, step, now) {
			p.Gates = append(p.Gates, NewGate(s, g))
		}
	}
	p.Commands = commandsFor(s, step, p.Gates)
	return p
}

func newJoint(s *workflow.State, job *workflow.Job, step steps.Step, now time.Time) *Joint {
	j := &Joint{Name: step.Joint}
	if joint, ok := job.Joint(step.Joint); ok {
		w := joint.Window()
		j.Phase, j.Opens, j.Closes = s.Phase(joint, now), w.Opens, w.Closes
	}
	return j
}

func adhesiveSays(a steps.Adhesive) string {
	says := fmt.Sprintf("join from %s to %s after spreading, at %s; handle after %s, full strength after %s", a.From, a.To, a.At, a.Handling, a.Cure)
	if a.Times.Mixed {
		says = fmt.Sprintf("join within %s of mixing, at %s; handle after %s, full strength after %s", a.To, a.At, a.Handling, a.Cure)
	}
	if a.Source != "" {
		says += " (" + a.Source + "; the label on the tube wins)"
	}
	return says
}

// commandsFor gives what to type when the step is done.
func commandsFor(s *workflow.State, step steps.Step, gates []Gate) []string {
	mark := s.Airframe.Mark
	switch step.Kind {
	case steps.Hold:
		return []string{fmt.Sprintf("fettle clear %s %s", mark, step.Name)}
	case steps.Release:
		return []string{"fettle release " + mark}
	case steps.Wait:
		return []string{fmt.Sprintf("fettle wait %s %s", mark, step.Name)}
	case steps.Measure:
		var lines []string
		for _, g := range gates {
			switch {
			case g.Standing == workflow.Failed:
				lines = append(lines, reworkLine(mark, g.Name))
			case g.Standing != workflow.Current && g.Standing != workflow.Conceded:
				lines = append(lines, g.Measure)
			}
		}
		if len(lines) > 0 {
			return lines
		}
	}
	return []string{fmt.Sprintf("fettle done %s %s", mark, step.Name)}
}

// Markdown is the step as it is read at the bench: cautions first.
func (p Step) Markdown(c Clock) string {
	var l lines
	l.add("# %s\n", esc(p.Title))
	l.add("%s · %s · stage %s · %s\n", esc(p.Mark), esc(p.Job), esc(p.Stage), esc(p.Step))
	if p.Reopened != "" {
		l.add("**Open again:** %s\n", esc(p.Reopened))
	}
	for _, caution := range p.Cautions {
		l.add("> **Caution.** %s\n", strings.ReplaceAll(strings.TrimSpace(caution), "\n", "\n> "))
	}
	for _, need := range p.Needs {
		l.item("needs %s", esc(need.String()))
	}
	l.text(p.Do)
	for i, line := range p.Lines {
		l.add("%d. %s", i+1, strings.TrimSpace(line))
	}
	if p.Joint != nil {
		l.item("joint %s%s", esc(p.Joint.Name), p.Joint.words(p.Kind, c))
	}
	for _, g := range p.Gates {
		l.item("%s", g.line(c))
		if g.Standing == workflow.Failed {
			l.text(g.Rework)
		} else {
			l.text(g.How)
		}
	}
	if p.Why != "" {
		l.add("\n**Why.** %s\n", strings.TrimSpace(p.Why))
	}
	if p.Hands != "" {
		l.item("takes %s", esc(p.Hands))
	}
	if p.Progress == workflow.Done {
		l.item("done %s", c.At(p.Done))
		return l.String()
	}
	if len(p.Reasons) > 0 {
		l.add("\n**It can't be done now:**\n")
		for _, r := range p.Reasons {
			l.item("%s", ReasonText(r.Reason, c))
		}
		return l.String()
	}
	if len(p.Commands) > 0 {
		l.add("\nWhen it is done:\n")
	}
	for _, line := range p.Commands {
		l.add("%s", command(line))
	}
	return l.String()
}

func (j Joint) words(kind steps.Kind, c Clock) string {
	switch {
	case kind == steps.Coat && j.Adhesive != "":
		return fmt.Sprintf(", %s: %s", esc(j.Adhesive), esc(j.Says))
	case j.Phase == workflow.Open:
		return fmt.Sprintf(": open now, close it by **%s** (%s left)", c.At(j.Closes), c.In(j.Closes))
	case j.Phase == workflow.Tacking:
		return fmt.Sprintf(": %s, open from **%s** to %s", j.Phase, c.At(j.Opens), c.At(j.Closes))
	case j.Phase != "":
		return ": " + string(j.Phase)
	}
	return ""
}
