package page

import (
	"fmt"
	"strings"
	"time"

	"fettle/workflow"
	"fettle/workflow/journal"
)

// Escape is plain text on one line, as Markdown.
//
//go:noinline
func Escape(text string) string { return esc(text) }

// A Leaving is what a builder is told who leaves the bench.
type Leaving struct {
	Mark    string   // "": of all airframes
	Options string   // as the visit was begun with them
	Nothing bool     // was recorded in the visit
	Lacks   []string // what could not be recorded of what was answered
	Unknown string   // the airframe of which it is not known whether all that was answered is; "": it is known
	Timers  []Timer
	Stands  []workflow.Reason // what is hot, on or plugged in
	Stays   []NextPlugged     // and of that, what somebody else stays by
}

// Markdown is what stands hot, on or plugged in, what is still running, and how to go on.
func (p Leaving) Markdown(c *Clock) string {
	var l lines
	switch {
	case p.Nothing && p.Unknown == "" && len(p.Lacks) == 0:
		l.add("Nothing was recorded.\n")
	case p.Unknown == "" && len(p.Lacks) == 0:
		l.add("All that was answered is recorded.\n")
	case p.Unknown != "":
		l.add("It is not known whether all that you answered was recorded. Once the store answers, this shows it:\n\n%s", command(LookAt(p.Unknown)))
	}
	if len(p.Lacks) > 0 {
		l.add("Not recorded: %s. Write down what is done and when, and record it later with --at.\n", esc(strings.Join(p.Lacks, ", ")))
	}
	l.harmed(newReasons(p.Stands), c)
	for i := range p.Stays {
		l.item("%s", p.Stays[i].caution(c))
	}
	if len(p.Stands)+len(p.Stays) > 0 {
		l.add("")
	}
	if len(p.Timers) > 0 {
		l.add("Still running:\n")
		l.WriteString(Clocks{Timers: p.Timers}.Strip(c))
	}
	l.add("\nGo on with:\n\n%s", command("fettle follow"+optionally(" ", p.Mark)+optionally(" ", p.Options)))
	return l.String()
}

// Standing is how an open step stands, on one line.
func Standing(r workflow.StepReport, c *Clock) string {
	var texts []string
	for _, reason := range r.Reasons {
		texts = append(texts, reasonTimes(reason, c))
	}
	switch {
	case r.Progress == workflow.Done:
		return "done " + c.At(r.At)
	case len(texts) > 0:
		return "waits: " + strings.ReplaceAll(strings.Join(texts, "; "), "**", "")
	case !r.Closes.IsZero():
		return fmt.Sprintf("can be done, by %s", c.At(r.Closes))
	}
	return "can be done"
}

// WhyNot says why a step can't be gone to.
func WhyNot(r workflow.StepReport, c *Clock) string {
	var l lines
	l.add("**\"%s\" is not to be done now:**\n", esc(r.Step.Label()))
	if r.Progress == workflow.Done {
		l.item("it was done %s", c.At(r.At))
	}
	for _, reason := range r.Reasons {
		l.item("%s", reasonAdvice(reason, c))
	}
	return l.String()
}

// A Waits is a wait that has just begun.
type Waits struct {
	Title string `json:"title"`
	Do    string `json:"do"` // what to leave alone until it is over
}

// waitsAfter are the waits that began with what the entries did.
func waitsAfter(s *workflow.State, entries []journal.Entry, now time.Time) []Waits {
	did := map[string]bool{}
	for _, e := range entries {
		if work, ok := journal.WorkOf(e.Facts); ok {
			did[work.Job+"/"+s.StepOf(work)] = true
		}
	}
	var waits []Waits
	for _, job := range s.OpenJobs(now) {
		reports := s.Steps(job, now)
		for i, r := range reports {
			if i > 0 && r.Step.Kind.Traits().Passes && r.Progress == workflow.Waiting && did[r.Job+"/"+reports[i-1].Step.Name] && r.Step.Do != "" {
				waits = append(waits, Waits{r.Step.Label(), r.Step.Do})
			}
		}
	}
	return waits
}
