package book

import (
	"fmt"
	"math"
	"strings"
	"time"

	"fettle/steps/lists"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// jobJoints are the joints of one job.
type jobJoints struct {
	Job    string
	Joints []joint
}

// A joint is one joint with its times.
type joint struct {
	Name, Adhesive string
	Coats          []coat
	Touches        []entry
	Opens, Closes  time.Time // when it may be joined
	NoWindow       bool
	Joined         time.Time
	JoinEntry      int64
	By             string
	Cures          time.Time
	Load           bool
	Standing       string
	Bench          string // the temperatures that its clocks count
}

// A coat is one coat, on one or both faces.
type coat struct {
	Step  string
	Began time.Time
	entry
}

func (m *maker) joints() []jobJoints {
	var all []jobJoints
	for _, j := range m.s.Jobs {
		out := jobJoints{Job: m.jobTitle(j.ID)}
		seen := map[string]bool{}
		for _, st := range j.Procedure.Steps() {
			if !st.Kind.Traits().Glues() || seen[st.Joint] {
				continue
			}
			seen[st.Joint] = true
			parts := j.Parts(st.Joint)
			for n, made := range parts {
				one := m.joint(made)
				if len(parts) > 1 {
					one.Name = fmt.Sprintf("%s, part %d of %d", one.Name, n+1, len(parts))
				}
				out.Joints = append(out.Joints, one)
			}
		}
		if len(out.Joints) > 0 {
			all = append(all, out)
		}
	}
	return all
}

// jointTitle is what was done to join it.
func (m *maker) jointTitle(j *workflow.Joint) string {
	if _, join := m.s.MadeBy(j); join != "" {
		title := m.stepTitle(j.Job, join)
		if job, err := m.s.Job(j.Job); err == nil && len(job.Damages) > 0 { // its stage says of which damage
			if _, st, ok := job.Procedure.Step(join); ok {
				title = m.told(titled(st.Title, st.Name)) + ": " + title
			}
		}
		return title
	}
	return plain(j.Name)
}

func (m *maker) joint(j *workflow.Joint) joint {
	w := j.Window()
	out := joint{
		Name: m.jointTitle(j), Adhesive: titled(j.Adhesive.Title, j.Adhesive.Name), Opens: w.Opens, Closes: w.Closes, NoWindow: w.Empty(), Joined: j.Joined,
		Load: j.Load, Standing: string(m.s.Phase(j, m.now)), Bench: fmt.Sprintf("%.3g °C", j.Coldest()),
	}
	if math.Abs(j.Warmest()-j.Coldest()) >= 0.05 {
		out.Bench = fmt.Sprintf("%.3g to %.3g °C", min(j.Coldest(), j.Warmest()), max(j.Coldest(), j.Warmest()))
	}
	if damages, _ := m.s.Hurt(j); len(damages) > 0 { // what was joined since stands below, in its repair
		var found []string
		for _, d := range damages {
			found = append(found, d.Damage)
		}
		out.Standing += " by its clock; found there since: damage " + listed(found)
	}
	if !j.Joined.IsZero() {
		out.Cures = j.Cures()
	}
	coats, join := m.s.MadeBy(j)
	for _, e := range m.live() {
		switch f := e.Facts.(type) {
		case journal.Coated:
			if f.Job == j.Job && f.Joint == j.Name && lists.Contains(coats, m.s.StepOf(f.Work)) {
				out.Coats = append(out.Coats, coat{m.stepTitle(f.Job, f.Step), f.Began, e})
			}
		case journal.TouchTested:
			if f.Job == j.Job && f.Joint == j.Name {
				out.Touches = append(out.Touches, e)
			}
		case journal.Joined:
			if f.Job == j.Job && f.Joint == j.Name && join == m.s.StepOf(f.Work) {
				out.JoinEntry, out.By = e.Position, e.By
			}
		}
	}
	return out
}

// A bench summarizes the bench readings.
type bench struct {
	Readings         int
	Coldest, Warmest string
	Driest, Dampest  string // "": never read
}

func (m *maker) bench() bench {
	var b bench
	var cold, warm, dry, damp float64
	for _, e := range m.live() {
		f, ok := e.Facts.(journal.BenchRead)
		if !ok {
			continue
		}
		if t, err := f.Temperature.Celsius(); err == nil {
			if b.Readings == 0 || t < cold {
				cold, b.Coldest = t, f.Temperature.String()
			}
			if b.Readings == 0 || t > warm {
				warm, b.Warmest = t, f.Temperature.String()
			}
		}
		if h, err := f.Humidity.Float("%"); err == nil {
			if b.Driest == "" || h < dry {
				dry, b.Driest = h, f.Humidity.String()
			}
			if b.Dampest == "" || h > damp {
				damp, b.Dampest = h, f.Humidity.String()
			}
		}
		b.Readings++
	}
	return b
}

// Words is the summary in one sentence.
func (b bench) Words() string {
	if b.Readings == 0 {
		return "The bench was never read."
	}
	times := "once"
	if b.Readings > 1 {
		times = fmt.Sprintf("%d times", b.Readings)
	}
	text := fmt.Sprintf("The bench was read %s: %s", times, between(b.Coldest, b.Warmest))
	if b.Driest != "" {
		text += ", humidity " + between(b.Driest, b.Dampest)
	}
	return text + "."
}

func between(a, b string) string {
	if a == b {
		return a
	}
	return strings.TrimSpace(a) + " to " + b
}
