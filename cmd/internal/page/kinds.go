package page

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/workflow"
)

// A stepKind is how one kind of step is shown.
type stepKind struct {
	// fill adds the joint or the gates to the page of a step; nil: nothing.
	fill func(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time)
	// commands are what to type when the step is done, by the name to type; nil: fettle done.
	commands func(mark, step string, gates []Gate) []string
	// about adds a few words to the title of the step; nil: none.
	about func(steps.Step) string
	// joint says how its joint stands; nil: its phase says it.
	joint func(j Joint, c Clock) string
}

// stepKinds has a row for every kind of step.
func stepKinds() map[steps.Kind]stepKind {
	return map[steps.Kind]stepKind{
		steps.Do: {},
		steps.Coat: {fill: fillCoat, joint: coatWords, about: func(s steps.Step) string {
			return "coats joint " + s.Joint + " with " + s.Adhesive
		}},
		steps.Join: {fill: fillJoint, about: func(s steps.Step) string { return "joins " + s.Joint }},
		steps.Wait: {commands: waitCommands, about: func(steps.Step) string { return "wait" }},
		steps.Measure: {fill: fillGates, commands: measureCommands, about: func(s steps.Step) string {
			if slices.Contains(s.Gates, steps.Stale) {
				return "measures what is stale"
			}
			return "measures " + strings.Join(s.Gates, ", ")
		}},
		steps.Hold: {commands: holdCommands, about: func(steps.Step) string { return "hold" }},
		steps.Choose: {fill: fillAnswers, about: func(s steps.Step) string {
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
	a, ok := s.Sheet.Adhesive(step.Adhesive)
	if !ok {
		return
	}
	if a.Caution != "" {
		p.Cautions = append([]string{a.Caution}, p.Cautions...)
	}
	p.Joint.Adhesive, p.Joint.Says = a.Title, adhesiveSays(a)
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

func coatWords(j Joint, _ Clock) string {
	if j.Adhesive == "" {
		return ""
	}
	return fmt.Sprintf(", %s: %s", esc(j.Adhesive), esc(j.Says))
}

func fillGates(p *Step, s *workflow.State, job *workflow.Job, step steps.Step, now time.Time) {
	for _, g := range s.GatesOf(job, step, now) {
		p.Gates = append(p.Gates, NewGate(s, g))
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

func doneCommands(mark, step string, _ []Gate) []string {
	return []string{fmt.Sprintf("fettle done %s %s", mark, step)}
}

func waitCommands(mark, step string, _ []Gate) []string {
	return []string{fmt.Sprintf("fettle wait %s %s", mark, step)}
}

func measureCommands(mark, step string, gates []Gate) []string {
	var lines []string
	for _, g := range gates {
		switch {
		case g.Standing == workflow.Failed:
			lines = append(lines, reworkLine(mark, g.Name))
		case g.Standing != workflow.Current && g.Standing != workflow.Conceded:
			lines = append(lines, g.Measure)
		}
	}
	if len(lines) == 0 {
		return doneCommands(mark, step, gates)
	}
	return lines
}

func holdCommands(mark, step string, _ []Gate) []string {
	return []string{fmt.Sprintf("fettle clear %s %s", mark, step)}
}

func releaseCommands(mark, _ string, _ []Gate) []string {
	return []string{releaseLine(mark)}
}
