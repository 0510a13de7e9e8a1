package page

import (
	"fmt"
	"strings"
	"time"

	"fettle/steps"
	"fettle/workflow"
)

// Await says what is waited for on an airframe, and what to leave alone until then.
func Await(s *workflow.State, m workflow.Moment, c *Clock) string {
	var l lines
	if left := harms(s, s.LeftBy(workflow.Suggestion{Until: m.At}, c.Now), c.Now); len(left) > 0 {
		l.harmed(left, c)
		l.add("")
	}
	l.add("Waiting until %s (%s). Then %s", c.At(m.At), c.In(m.At), esc(MomentLine(m, c)))
	next := NewNext(s, c.Now)
	next.rest(&l)
	return l.String()
}

// OpenedLine says that a job was opened, and how to go on.
func OpenedLine(mark, job string, of []*steps.Step) string {
	more := ""
	if steps.AnyStep(of, func(s *steps.Step) bool { return s.Choose != "" || len(s.Methods) > 0 }) {
		more = ", and those that a choice brings in"
	}
	return fmt.Sprintf("Job %s is open on %s: %s%s. Next: fettle next %s, or fettle follow %s", job, mark, many(len(of), "step"), more, mark, mark)
}

// RepairLine says which damage a job that was just opened repairs, and which stays
// open without a repair; "": there is neither.
func RepairLine(s *workflow.State, job *workflow.Job, now time.Time) string {
	var text []string
	if len(job.Damages) > 0 {
		text = append(text, "It repairs "+strings.Join(job.Damages, ", ")+".")
	}
	var left []string
	for _, d := range s.Unplanned(now) {
		left = append(left, fmt.Sprintf("%s (%s at %s)", d.Damage, d.Finding, d.Zone))
	}
	if len(left) > 0 {
		stay := "stays"
		if len(left) > 1 {
			stay = "stay"
		}
		text = append(text, fmt.Sprintf("%s %s open: fettle repair %s", strings.Join(left, ", "), stay, s.Airframe.Mark))
	}
	return strings.Join(text, " ")
}

// A Ready is a moment that was waited for, with what can be done next.
type Ready struct {
	Mark     string         `json:"mark"`
	Job      string         `json:"job,omitempty"`
	Name     string         `json:"name"`
	Event    workflow.Event `json:"event"`
	What     string         `json:"what"`
	Ready    time.Time      `json:"ready"`
	Then     time.Time      `json:"then,omitzero"`
	Next     string         `json:"next,omitempty"` // the step to do now
	Commands []string       `json:"commands"`       // that go on
}

// NewReady makes the page of a moment that has come.
func NewReady(s *workflow.State, m workflow.Moment, now time.Time) Ready {
	if m.Event == workflow.HasLapsed && !now.After(m.At) { // to the second
		now = m.At.Add(time.Second)
	}
	c := &Clock{Now: now}
	r := Ready{Mark: m.Mark, Job: m.Job, Name: m.Name, Event: m.Event, What: momentWords(m, c), Ready: m.At, Then: m.Until}
	next := s.Next(now)
	switch {
	case next.Step != nil && !next.Theirs && len(next.Resolve) == 0:
		step := NewStep(s, *next.Step, now)
		r.Next, r.Commands = step.Title, step.Commands
	case next.Step == nil && !next.Until.IsZero():
		r.Commands = []string{"fettle wait " + m.Mark}
	default:
		r.Commands = []string{"fettle next " + m.Mark}
	}
	if m.Event == workflow.MayConfirm {
		r.Commands = append(r.Commands, fmt.Sprintf("fettle clear %s %s", m.Mark, m.Name))
	}
	return r
}

// Markdown is what has come, and how to go on.
func (r Ready) Markdown(c *Clock) string {
	var l lines
	line := fmt.Sprintf("**%s · %s:** %s", esc(r.Mark), esc(r.Name), esc(r.What))
	if c.Now.Sub(r.Ready) > time.Minute {
		line += ", since " + c.At(r.Ready)
	}
	l.add("%s\n", line)
	if r.Next != "" {
		l.add("Next: %s\n", esc(r.Next))
	}
	for _, line := range r.Commands {
		l.add("%s", command(line))
	}
	return l.String()
}
