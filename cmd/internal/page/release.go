package page

import (
	"strings"
	"time"

	"fettle/workflow"
	"fettle/workflow/journal"
)

// LocalRules is printed under every release.
const LocalRules = "Local rules, the site's and the makers' instructions, and licensed practice come first: this record makes nobody legal or insured."

// A Proof is what a release rests on.
type Proof struct {
	Mark     string      `json:"mark"`
	Released bool        `json:"released"`
	By       string      `json:"by,omitempty"`
	At       time.Time   `json:"at,omitzero"`
	Entry    int64       `json:"entry,omitempty"`
	Work     []string    `json:"work,omitempty"`         // the jobs since the previous release
	Done     []string    `json:"performed_by,omitempty"` // who did them
	Licence  string      `json:"certificate,omitempty"`  // of the person who released it
	Lines    []ProofLine `json:"lines"`
	Readings []Reading   `json:"rests_on,omitempty"`
	Reasons  []Reason    `json:"reasons,omitempty"`
	Do       string      `json:"do,omitempty"` // releases it
	Seal     *Seal       `json:"seal,omitempty"`
	Rules    string      `json:"rules"`
	Checks   []string    `json:"before_flight,omitempty"` // to be begun before it flies, where it was just released
}

// A ProofLine is one thing that a release needs, and whether it is so.
type ProofLine struct {
	Text  string `json:"text"`
	Holds bool   `json:"holds"`
	Why   string `json:"why,omitempty"`
}

// A Reading is a reading that a release rests on.
type Reading struct {
	Entry int64     `json:"entry"`
	Gate  string    `json:"gate"`
	Point string    `json:"point,omitempty"`
	Value string    `json:"value"`
	Gauge string    `json:"gauge"`
	At    time.Time `json:"at"`
	By    string    `json:"by"`
}

// NewProof makes the page of a proof, with every reading that it rests on.
func NewProof(s *workflow.State, p workflow.Proof) Proof {
	out := Proof{Mark: s.Airframe.Mark, Rules: LocalRules, Lines: []ProofLine{}, Reasons: newReasons(p.Reasons())}
	for _, line := range p.Lines {
		l := ProofLine{Text: said(workflow.Cause{Text: line.Text, At: line.At}), Holds: line.Fail == nil}
		if line.Fail != nil {
			l.Why = said(workflow.Cause{Text: line.Fail.Text, At: line.Fail.At})
		}
		out.Lines = append(out.Lines, l)
	}
	for _, position := range p.Rests {
		e := s.Entries[position]
		if f, ok := e.Facts.(journal.ReadingTaken); ok {
			out.Readings = append(out.Readings, Reading{e.Position, f.Gate, f.Point, f.Value.Typed(), f.Gauge, e.At, e.By})
		}
	}
	return out
}

// Prove makes the page of what a release given now would rest on, or of the
// release that stands.
func Prove(s *workflow.State, now time.Time) Proof {
	p := s.ReleaseProof(now)
	if r := s.Untrusted(now); r != nil {
		p.Lines = append(p.Lines, workflow.ProofLine{Text: "the clock can be trusted", Fail: r})
	}
	out := NewProof(s, p)
	switch {
	case len(out.Reasons) > 0:
	case s.Airworthiness(now).Released:
		out.given(s.Entries[s.Release.Position])
	default:
		out.Do = releaseLine(s.Airframe.Mark)
	}
	return out
}

// given adds the release that the proof is of.
func (p *Proof) given(e journal.Entry) {
	p.Released, p.By, p.At, p.Entry = true, e.By, e.At, e.Position
	if f, ok := e.Facts.(journal.Released); ok {
		p.Work, p.Done, p.Licence = f.Jobs, f.Performed, f.Certificate
	}
}

func chooseLine(mark, answer string) string { return "fettle choose " + mark + " " + answer }

func releaseLine(mark string) string { return "fettle release " + mark }

// Markdown is the proof as a slip to keep with the airframe.
func (p Proof) Markdown(c *Clock) string {
	var l lines
	switch {
	case p.Released:
		l.add("# %s is released to fly\n", esc(p.Mark))
		l.item("%s, by %s%s, entry %d of its journal", c.At(p.At), esc(p.By), esc(optionally(", certificate ", p.Licence)), p.Entry)
		if len(p.Work) > 0 {
			l.item("work since the previous release: %s; done by %s", esc(strings.Join(p.Work, ", ")), esc(strings.Join(p.Done, ", ")))
		}
	case p.Do != "":
		l.add("# %s can be released; nothing was recorded\n", esc(p.Mark))
	default:
		l.add("# %s is not released\n", esc(p.Mark))
	}
	for _, line := range p.Lines {
		if line.Holds {
			l.item("yes: %s", esc(line.Text))
		} else {
			l.item("**NO:** %s (%s)", esc(line.Text), esc(line.Why))
		}
	}
	if len(p.Readings) > 0 {
		l.add("\n## Rests on\n")
	}
	for _, r := range p.Readings {
		l.item("%s: %s, %s, %s, %s (entry %d)", esc(r.Gate+optionally(" ", r.Point)), esc(r.Value), esc(r.Gauge), c.At(r.At), esc(r.By), r.Entry)
	}
	if p.Seal != nil {
		l.add("\n## Sealed\n\n%s", p.Seal.block())
		l.add("Public key: `%s`\n", p.Seal.Public)
	}
	if p.Do != "" {
		l.add("\nTo release it:\n\n%s", command(p.Do))
	}
	l.add("\n%s", p.Rules)
	if len(p.Checks) > 0 {
		l.WriteString(beforeFlight(p.Mark, p.Checks))
	}
	return l.String()
}
