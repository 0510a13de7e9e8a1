package page

import (
	"fmt"
	"strings"
	"time"

	"fettle/workflow"
)

// A NoPlan says why there is no plan, and what would free it. Times are in minutes.
type NoPlan struct {
	Why      workflow.Hindrance `json:"no_plan"`
	Steps    []PlanStep         `json:"steps,omitempty"`
	Windows  []workflow.Lapse   `json:"windows,omitempty"`
	Sittings bool               `json:"sittings,omitempty"` // they belong to the conflict
	Together bool               `json:"one_sitting,omitempty"`
	Takes    int                `json:"takes_min,omitempty"`
	Has      int                `json:"has_min,omitempty"`
	Help     []PlanHelp         `json:"would_help"`
	Open     []workflow.Lapse   `json:"open_now,omitempty"` // windows that can't wait for a plan
	Left     []Reason           `json:"left,omitempty"`     // what is hot, on or plugged in now

	of *workflow.NoPlan
}

// A PlanStep is a step of a conflict.
type PlanStep struct {
	Mark  string `json:"mark"`
	Job   string `json:"job"`
	Step  string `json:"step"`
	Title string `json:"title"`
}

// A PlanHelp is what would make a plan possible, and the flag that asks for it, where there is one.
type PlanHelp struct {
	Text string `json:"text"`
	Flag string `json:"flag,omitempty"`
}

// NewNoPlan makes the page of a plan that there is not.
func NewNoPlan(e *workflow.NoPlan) NoPlan {
	p := NoPlan{Why: e.Why, Windows: e.Windows, Sittings: e.InHours, Together: e.Together, Takes: int(e.Takes / time.Minute), Has: int(e.Has / time.Minute), Help: []PlanHelp{}, Open: e.Open, Left: newReasons(e.Left), of: e}
	for _, t := range e.Turns {
		p.Steps = append(p.Steps, PlanStep{t.Mark, t.Job, t.Step, turnWords(t)})
	}
	p.Help = append(p.Help, newPlanHelp(e.Free)...)
	return p
}

// newPlanHelp spells what would make a plan possible.
func newPlanHelp(free []workflow.Freeing) (all []PlanHelp) {
	for _, f := range free {
		var help PlanHelp
		switch {
		case f.Once > 0:
			help.Text = fmt.Sprintf("have one sitting a week of at least %s", Span(f.Once))
		case f.Each > 0:
			help.Text = fmt.Sprintf("make each sitting at least %s long", Span(f.Each))
		case f.Needs > 0:
			help.Text = fmt.Sprintf("it needs a sitting of at least %s; whether that is enough was not found in the time", Span(f.Needs))
		case f.More > 0:
			help = PlanHelp{fmt.Sprintf("add at least %s of sittings, or repeat one", Span(f.More)), `--sitting "every sat 14:00-17:00"`}
		case f.Tight:
			help = PlanHelp{"use windows to their ends", "--tight"}
		case f.Hands > 0:
			help = PlanHelp{fmt.Sprintf("work with %d people", f.Hands), fmt.Sprintf("--hands %d", f.Hands)}
		}
		all = append(all, help)
	}
	return all
}

// thinkMore is the flag of more time to think than was given; "": it may not be more.
func thinkMore(given time.Duration) string {
	for _, more := range [...]string{"10s", "1min", "10min", "1h"} {
		if d, _ := time.ParseDuration(strings.TrimSuffix(more, "in")); given < d {
			return "`--think " + more + "`"
		}
	}
	return ""
}

// help lists what would make a plan possible.
func (l *lines) help(all []PlanHelp) {
	for _, help := range all {
		if help.Flag != "" {
			help.Text += ": `" + help.Flag + "`"
		}
		l.item("%s", help.Text)
	}
}

// Markdown is why there is no plan.
func (p NoPlan) Markdown(c *Clock) string {
	var l lines
	var turns []string
	for _, t := range p.Steps {
		turns = append(turns, fmt.Sprintf("%s · **%s** (`%s`)", esc(t.Mark), esc(t.Title), t.Step))
	}
	one, takes, has := strings.Join(turns, ", "), minutes(p.Takes), minutes(p.Has)
	l.add("**There is no plan.**\n")
	l.harmed(p.Left, c)
	for _, w := range p.Open {
		l.add("**%s** on %s is open, plan or not, and closes at %s: `fettle next %s` goes on with it.%s\n", esc(w.Name), esc(w.Mark), c.At(w.Closes), w.Mark, saved(w, c))
	}
	switch p.Why {
	case workflow.NoSitting:
		if n := len(p.of.Sittings); n > 0 {
			l.add("%s is over.", hours(p.of.Sittings[n-1], c))
			break
		}
		l.add("No sitting is left.")
	case workflow.BadSitting, workflow.Overlap:
		l.add("The sitting %s ends before it starts, or overlaps another.", hours(p.of.Sittings[0], c))
	case workflow.TooLong:
		if p.Together {
			l.add("%s: with what belongs in the same sitting it takes %s. Your longest sitting has %s.", one, takes, has)
			break
		}
		l.add("%s takes %s without a break. Your longest sitting has %s.", one, takes, has)
	case workflow.TooLittle:
		l.add("It takes sittings of %s in all, and yours have %s.", takes, has)
	case workflow.NotFound:
		l.add("None was found in the time. One may exist%s.", optionally(": look longer, with ", thinkMore(p.of.Thought)))
	default:
		l.add("These don't go together:\n")
		for _, t := range turns {
			l.item("%s", t)
		}
		for _, w := range p.Windows {
			l.item("%s · the window of `%s`%s", esc(w.Mark), w.Name, optionally(", which closes at ", c.At(w.Closes)))
		}
		if p.Together {
			l.item("two of them belong in one sitting")
		}
		if p.Sittings {
			l.item("your sittings")
		}
		if p.of.Least {
			l.add("\nWithout any one of them there would be a plan.")
		}
	}
	if len(p.Help) > 0 {
		l.add("\nWhat would help:\n")
	}
	l.help(p.Help)
	return l.String()
}
