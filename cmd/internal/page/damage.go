package page

import (
	"fmt"
	"strings"
	"time"

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

func (d Damage) line(c Clock) string {
	text := fmt.Sprintf("damage %s: %s at %s%s, %s%s%s%s; ", d.Name, d.Finding, d.Zone, inBrackets(d.Place), d.Severity, optionally(", caused by ", d.Cause), taken(d.As, d.Words), optionally(": ", d.Note))
	switch {
	case d.Repaired:
		text += "repaired by " + d.Job
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
		if !d.Until.IsZero() {
			text += ", at least until " + c.At(d.Until)
		}
	}
	return text
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
	Mark    string        `json:"mark"`
	Answers []Answer      `json:"answers"`
	MadeOf  []string      `json:"made_of,omitempty"` // the documents that its steps were written in
	Stages  []RepairStage `json:"stages"`
	Stale   []StaleGate   `json:"measure_again"`
	Else    []StaleGate   `json:"stale_otherwise,omitempty"` // that the repair does not ask for
	Job     string        `json:"job,omitempty"`             // "": not started
	Amends  *Amended      `json:"amends,omitempty"`          // the open repair in the place of whose plan it comes
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
	Damage  string `json:"damage"`
	Finding string `json:"finding"`
	Zone    string `json:"zone"`
	Outcome string `json:"outcome"`
	By      string `json:"procedure,omitempty"`
	Why     string `json:"why"`
	Known   bool   `json:"known"`
}

// A RepairStage is a stage of the plan with its steps.
type RepairStage struct {
	Stage string   `json:"stage"`
	Title string   `json:"title"`
	Phase string   `json:"phase"`
	Steps []string `json:"steps"`
}

// A StaleGate is a gate to measure again, with every reason.
type StaleGate struct {
	Gate string   `json:"gate"`
	Why  []string `json:"why"`
}

// NewRepair makes the page of a plan that is made of these documents.
func NewRepair(mark, job string, plan workflow.RepairPlan, madeOf []string) Repair {
	m := Repair{Mark: mark, Job: job, MadeOf: madeOf}
	for _, a := range plan.Answers {
		m.Answers = append(m.Answers, Answer{a.Damage.Name, a.Damage.Finding, a.Damage.Zone, a.Row.Outcome, a.Row.Procedure, a.Row.Why, a.Known})
	}
	if a := plan.Amends; a != nil {
		m.Amends = &Amended{a.Job, a.Found, a.Kept, a.Reopens}
	}
	for _, stage := range plan.Procedure.Stages {
		s := RepairStage{Stage: stage.Name, Title: stage.Title, Phase: stage.Phase}
		for _, step := range stage.Steps {
			s.Steps = append(s.Steps, step.Name)
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

func stayDone(n int) string {
	if n == 1 {
		return "1 step stays done"
	}
	return fmt.Sprintf("%s stay done", many(n, "step"))
}

// Markdown is the plan.
func (m Repair) Markdown(Clock) string {
	var l lines
	l.add("# The repair of %s\n", esc(m.Mark))
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
		l.item("%s, %s at %s: %s. %s", esc(a.Damage), esc(a.Finding), esc(a.Zone), outcome, esc(a.Why))
	}
	l.add("\n## In this order\n")
	for i, s := range m.Stages {
		l.add("%d. %s: %s", i+1, esc(first(s.Title, s.Stage)), esc(strings.Join(s.Steps, ", ")))
	}
	if len(m.MadeOf) > 0 {
		l.add("\nMade of %s.\n", esc(strings.Join(m.MadeOf, "; ")))
	}
	gates := func(title string, all []StaleGate) {
		if len(all) > 0 {
			l.add("\n## %s\n", title)
		}
		for _, g := range all {
			l.item("%s: %s", esc(g.Gate), esc(strings.Join(g.Why, "; ")))
		}
	}
	gates("Measure again", m.Stale)
	gates("Due too, for other reasons", m.Else)
	if m.Job == "" {
		l.add("\nNothing is recorded yet. To start the repair:\n\n%s", command("fettle repair "+m.Mark+" --start"))
	} else {
		l.add("\nThe repair is open as job %s. Go on with:\n\n%s", esc(m.Job), command("fettle follow "+m.Mark))
	}
	return l.String()
}
