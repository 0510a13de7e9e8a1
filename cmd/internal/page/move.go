package page

import (
	"fmt"
	"strings"

	"fettle/procedures"
	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// A Move is what moving a job to newer documents changes.
type Move struct {
	Mark     string   `json:"mark"`
	Job      string   `json:"job"`
	Changes  []Change `json:"changes"`
	Accepted bool     `json:"accepted"`
	Accept   string   `json:"accept,omitempty"`
}

// A Change is one difference that newer documents make.
type Change struct {
	Job     string                  `json:"job,omitempty"` // another one that moves along
	What    string                  `json:"what"`
	Reopens bool                    `json:"reopens"`
	Keys    []procedures.Difference `json:"keys,omitempty"`
}

// NewMove makes the page of moving a job.
func NewMove(mark, job string, changes []workflow.Change) Move {
	return Move{Mark: mark, Job: job, Changes: newChanges(changes)}
}

func newChanges(changes []workflow.Change) []Change {
	all := []Change{}
	for _, c := range changes {
		one := Change{Job: c.Job, What: said(c.What), Reopens: c.Reopens}
		switch {
		case c.Step != nil:
			one.Keys = procedures.StepDifferences(&c.Step[0], &c.Step[1])
		case c.Gate != nil && c.Gate[0].Name == "":
			one.What += ": " + LimitsText(c.Gate[1])
		case c.Gate != nil:
			one.Keys = procedures.GateDifferences(&c.Gate[0], &c.Gate[1], "between", "at_least", "at_most")
			if was, is := briefly(c.Gate[0]), briefly(c.Gate[1]); was != is {
				one.What = fmt.Sprintf("gate %s: %s → %s", c.Gate[1].Name, was, is)
			}
		case c.Sheet != nil:
			one.Keys = procedures.SheetDifferences(c.Sheet[0], c.Sheet[1])
		}
		all = append(all, one)
	}
	return all
}

// briefly is the range of a gate's limits.
func briefly(g steps.Gate) string {
	low, high := g.Limits.Low, g.Limits.High
	switch {
	case low.IsZero() && high.IsZero():
		return "no limits"
	case high.IsZero():
		return "at least " + low.String()
	case low.IsZero():
		return "at most " + high.String()
	case low.Sign() < 0 || low.Unit() != high.Unit():
		return low.String() + " to " + high.String()
	}
	return number(low) + "-" + high.String()
}

func number(q quantity.Quantity) string {
	return strings.TrimSpace(strings.TrimSuffix(q.String(), q.Unit()))
}

// changes lists what changes.
func (l *lines) changed(changes []Change) {
	for _, c := range changes {
		what := esc(c.What)
		if c.Job != "" {
			what = "job " + esc(c.Job) + ": " + what
		}
		if c.Reopens {
			what = "**No longer counts:** " + what
		}
		l.item("%s", what)
		for _, k := range c.Keys {
			for _, line := range keyLines(k) {
				l.add("  - %s", esc(line))
			}
		}
	}
}

// keyLines say what a key was and what it is.
func keyLines(d procedures.Difference) []string {
	if len(d.Was) == 1 && len(d.Is) == 1 {
		return []string{fmt.Sprintf("%s: %s → %s", d.Key, d.Was[0], d.Is[0])}
	}
	was, is := "was", "is"
	if len(d.Was) == 0 {
		is = "new"
	} else if len(d.Is) == 0 {
		was = "gone"
	}
	var all []string
	for _, line := range d.Was {
		all = append(all, d.Key+", "+was+": "+line)
	}
	for _, line := range d.Is {
		all = append(all, d.Key+", "+is+": "+line)
	}
	return all
}

// Markdown is the list of changes.
func (m Move) Markdown(*Clock) string {
	var l lines
	l.add("# %s of %s under newer documents\n", esc(m.Job), esc(m.Mark))
	l.changed(m.Changes)
	if len(m.Changes) == 0 {
		l.item("nothing changes for this job")
	}
	if m.Accepted {
		l.add("\nThe job is moved.\n")
	} else {
		l.add("\nNothing is recorded yet. To move the job:\n\n%s", command(m.Accept))
	}
	return l.String()
}

// A SheetInForce says that an airframe goes by another design sheet from now on.
type SheetInForce struct {
	Mark     string   `json:"mark"`
	Design   string   `json:"design"`
	Revision int      `json:"revision"`
	Changes  []Change `json:"changes"`
}

// NewSheetInForce makes the page of it.
func NewSheetInForce(mark string, from, to *steps.Sheet) SheetInForce {
	return SheetInForce{mark, to.Name, to.Revision, newChanges(workflow.SheetChanges(from, to, true))}
}

// Markdown is the list of changes.
func (s SheetInForce) Markdown(*Clock) string {
	var l lines
	l.add("%s goes by another design sheet from now on, %s, revision %d:\n", esc(s.Mark), esc(s.Design), s.Revision)
	l.changed(s.Changes)
	return l.String()
}
