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

// A stepKind is how one kind of step is shown.
type stepKind struct {
	// fill adds the joint or the gates to the page of a step; nil: nothing.
	fill func(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time)
	// commands are what to type when the step is done, by the name to type; nil: fettle done.
	commands func(p *Step, name string) []string
	// about adds a few words to the title of the step; nil: none.
	about func(steps.Step) string
	// joint says how its joint stands; nil: its phase says it.
	joint func(j Joint, c *Clock) string
}

// stepKinds has a row for every kind of step.
func stepKinds() map[steps.Kind]stepKind {
	return map[steps.Kind]stepKind{
		steps.Do: {},
		steps.Coat: {fill: fillCoat, joint: coatWords, commands: glueCommands, about: func(s steps.Step) string {
			return "coats joint " + s.Joint + " with " + withWords(s)
		}},
		steps.Glue: {fill: fillGlue, joint: coatWords, commands: glueCommands, about: func(s steps.Step) string {
			return "glues " + s.Joint + " with " + withWords(s)
		}},
		steps.Join: {fill: fillJoint, about: func(s steps.Step) string { return "joins " + s.Joint }},
		steps.Wait: {commands: waitCommands, about: func(steps.Step) string { return "wait" }},
		steps.Measure: {fill: fillGates, commands: measureCommands, about: func(s steps.Step) string {
			if lists.Contains(s.Gates, steps.Stale) {
				return "measures what is stale"
			}
			return "measures " + strings.Join(s.Gates, ", ")
		}},
		steps.Hold: {commands: holdCommands, about: func(steps.Step) string { return "hold" }},
		steps.Choose: {fill: fillAnswers, commands: chooseCommands, about: func(s steps.Step) string {
			if len(s.Methods) > 0 {
				return "chooses how"
			}
			return "chooses " + s.Choose
		}},
		steps.Release: {commands: releaseCommands},
	}
}

// About is a few words to go with the title of a step; "": none.
func About(step steps.Step) string {
	if about := stepKinds()[step.Kind].about; about != nil {
		return about(step)
	}
	return ""
}

func fillJoint(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time) {
	p.Joint = &Joint{Name: step.Joint}
	if joint, ok := job.Joint(step.Joint); ok {
		w := joint.Window()
		p.Joint.Phase, p.Joint.Opens, p.Joint.Closes = s.Phase(joint, now), w.Opens, w.Closes
	}
}

func fillCoat(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time) {
	fillJoint(p, s, job, step, now)
	may := s.AdhesivesOf(job, step, now)
	for _, a := range may {
		if a.Title == "" {
			continue // the sheet has none of that name
		}
		if p.Joint.Adhesive, p.Joint.Says, p.Joint.Mixed = a.Title, AdhesiveText(a.Adhesive), a.Times.Mixed; len(may) > 1 {
			p.Joint.Adhesive, p.Joint.Says, p.Joint.Mixed = "", "", false
			p.Joint.OneOf = append(p.Joint.OneOf, Adhesive{a.Name, a.Title, AdhesiveText(a.Adhesive), a.Times.Mixed, newReasons(a.Unfit)})
		}
	}
}

func withWords(step steps.Step) string { return strings.Join(step.Adhesives, " or ") }

// fillGlue shows the joint as that of a coat, and once that is on as that of a
// join.
func fillGlue(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time) {
	fillCoat(p, s, job, step, now)
	if p.Act == workflow.ToPress {
		p.Joint.Adhesive, p.Joint.Mixed, p.Joint.OneOf = "", false, nil
	}
}

// AdhesiveText is the clocks of an adhesive in words.
func AdhesiveText(a steps.Adhesive) string {
	says := fmt.Sprintf("join from %s to %s after spreading, at %s; handle after %s, full strength after %s", a.From, a.To, a.At, a.Handling, a.Cure)
	if a.Times.Mixed {
		says = fmt.Sprintf("join within %s of mixing, at %s; handle after %s, full strength after %s", a.To, a.At, a.Handling, a.Cure)
	}
	if !a.Vapour.IsZero() {
		says += fmt.Sprintf("; its vapour hangs for %s after joining", a.Vapour)
	}
	if a.Source != "" {
		says += " (" + a.Source + "; the label on the tube wins)"
	}
	return says
}

func coatWords(j Joint, _ *Clock) string {
	if j.Adhesive == "" {
		return ""
	}
	return fmt.Sprintf(", %s: %s", esc(j.Adhesive), esc(j.Says))
}

func fillGates(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time) {
	for _, g := range s.GatesOf(job, step, now) {
		p.Gates = append(p.Gates, NewGate(s, g, now))
	}
}

func fillAnswers(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time) {
	choice := step.Asked(s.Sheet)
	p.Answers = slices.Clone(choice.Answers)
	if choice.Alone {
		p.Answers = append(p.Answers, steps.Option{Name: steps.No, Title: "Do without it"})
	}
	for _, a := range p.Answers {
		name := s.NameOfAnswer(job, a.Name, now)
		if a.Name == steps.No {
			name = choice.Name + " --no"
		}
		p.Commands = append(p.Commands, chooseLine(p.Mark, name))
	}
}

// chooseCommands are made with the answers.
func chooseCommands(p *Step, _ string) []string { return p.Commands }

func doneCommands(p *Step, name string) []string {
	return []string{fmt.Sprintf("fettle done %s %s", p.Mark, name)}
}

// glueCommands has a line for each adhesive that may be used.
func glueCommands(p *Step, name string) []string {
	line := doneCommands(p, name)[0]
	begun := p.Begun != nil && !p.Begun.late
	if p.Act == workflow.ToRecoat && (!begun || p.Begun.Began.IsZero()) || p.Begun != nil && p.Begun.late {
		line += ` --began ` + Blank
	}
	if begun && !p.Begun.Mixed.IsZero() { // both are known by now
		return []string{line}
	}
	mixed := func(line string, of bool) string {
		if of {
			line += ` --mixed ` + Blank
		}
		return line
	}
	if p.Joint != nil && len(p.Joint.OneOf) == 0 {
		line = mixed(line, p.Joint.Mixed)
	}
	if p.Joint == nil || len(p.Joint.OneOf) == 0 {
		return []string{line}
	}
	var lines []string
	for _, a := range p.Joint.OneOf {
		if len(a.Unfit) == 0 {
			lines = append(lines, mixed(line+" --with "+a.Name, a.Mixed))
		}
	}
	return lines
}

// secondCommands are the commands that complete the step, with a second person and
// alone. Readings, and a coat that dries before it is pressed, complete nothing.
func secondCommands(p *Step, r workflow.StepReport, commands []string) []string {
	if r.Act == workflow.ToCoat || r.Act == workflow.ToRecoat || p.measures() {
		return commands
	}
	var lines []string
	for _, line := range commands {
		lines = append(lines, line+" --second "+Blank)
		if len(p.Alone) > 0 {
			lines = append(lines, line+" --alone "+Blank)
		}
	}
	return lines
}

// measures reports whether a gate of the step is still to be measured.
func (p *Step) measures() bool {
	return slices.ContainsFunc(p.Gates, func(g Gate) bool { return !g.met() })
}

func waitCommands(p *Step, name string) []string {
	return []string{fmt.Sprintf("fettle wait %s %s", p.Mark, name)}
}

func measureCommands(p *Step, name string) []string {
	var lines []string
	for _, g := range p.Gates {
		switch {
		case g.Standing == workflow.Failed:
			lines = append(lines, reworkLine(p.Mark, g.Name))
		case !g.met():
			lines = append(lines, g.Measure)
			if g.Or != nil {
				lines = append(lines, g.Or.Measure)
			}
		}
	}
	if len(lines) == 0 {
		return doneCommands(p, name)
	}
	return lines
}

func holdCommands(p *Step, name string) []string {
	return []string{fmt.Sprintf("fettle clear %s %s", p.Mark, name)}
}

func releaseCommands(p *Step, _ string) []string {
	return []string{releaseLine(p.Mark)}
}
