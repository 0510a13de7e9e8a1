package page

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/workflow"
)

// AwaitLine says what the wait is for, with its times.
func AwaitLine(mark string, w workflow.Await, c Clock) string {
	what, then := eventWords(w)
	if c.Now.Before(w.Ready) {
		what = strings.Replace(what, " is ", " will be ", 1)
	}
	line := fmt.Sprintf("%s: %s: ready at %s", mark, what, c.At(w.Ready))
	if !w.Then.IsZero() {
		line += fmt.Sprintf(", %s %s", then, c.At(w.Then))
	}
	return line
}

// OpenedLine says that a job was opened, and how to go on.
func OpenedLine(mark, job string, of []*steps.Step) string {
	more := ""
	if slices.ContainsFunc(of, func(s *steps.Step) bool { return s.Choose != "" || len(s.Methods) > 0 }) {
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

// eventWords says what the wait is for, and what its second time means.
func eventWords(w workflow.Await) (what, then string) {
	switch w.Event {
	case workflow.MayJoin:
		return "joint " + w.Name + " may be joined", "join it by"
	case workflow.MayHandle:
		return "joint " + w.Name + " may be handled", "cured"
	case workflow.IsCured:
		return "joint " + w.Name + " is cured", ""
	case workflow.WaitOver:
		return "wait " + w.Name + " is over", ""
	}
	return "step " + w.Name + " can be done", ""
}

// A Ready is a wait that is over.
type Ready struct {
	Mark  string    `json:"mark"`
	What  string    `json:"what"`
	Ready time.Time `json:"ready"`
	Then  time.Time `json:"then,omitzero"`
	Says  string    `json:"then_what,omitempty"`
}

// NewReady makes the page of a wait that is over.
func NewReady(mark string, w workflow.Await) Ready {
	what, then := eventWords(w)
	return Ready{mark, what, w.Ready, w.Then, then}
}

// Markdown is the answer in one line.
func (r Ready) Markdown(c Clock) string {
	line := fmt.Sprintf("**Ready:** %s, %s, since %s", esc(r.Mark), esc(r.What), c.At(r.Ready))
	if !r.Then.IsZero() {
		line += fmt.Sprintf("; %s **%s** (%s)", esc(r.Says), c.At(r.Then), c.In(r.Then))
	}
	return line + "\n"
}
