package page

import (
	"fmt"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// A Gate is a gate as it stands on an airframe.
type Gate struct {
	Name     string                `json:"gate"`
	Title    string                `json:"title"`
	How      string                `json:"how,omitempty"`
	Rework   string                `json:"rework,omitempty"`
	Limits   string                `json:"limits"`
	Gauge    string                `json:"gauge"`
	Critical bool                  `json:"critical"`
	Work     bool                  `json:"of_work,omitempty"`
	Needs    []steps.Setting       `json:"needs,omitempty"`
	Standing workflow.GateStanding `json:"standing"`
	Reason   string                `json:"reason,omitempty"`
	Points   []Point               `json:"points,omitempty"`
	Result   *Result               `json:"result,omitempty"`
	Margin   *Margin               `json:"margin,omitempty"`
	Last     time.Time             `json:"last_reading,omitzero"`
	// How much longer it counts, where it has passed and has a life.
	FlightsLeft int       `json:"flights_left,omitempty"`
	ValidUntil  time.Time `json:"valid_until,omitzero"`
	Other       string    `json:"other_units,omitempty"` // limits and readings in the other unit system
	Measure     string    `json:"measure"`

	unfit bool // it must be reworked before it is measured again
}

// A Margin is how far the worst point is inside its nearest limit; negative:
// outside.
type Margin struct {
	By    float64 `json:"by"`
	Unit  string  `json:"unit"`
	Point string  `json:"point,omitempty"`
}

// A Result is what the readings of a gate come to.
type Result struct {
	Of    string  `json:"of"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// A Point is a point of a gate with the readings that count there.
type Point struct {
	Name     string   `json:"point"`
	Readings []string `json:"readings"`
}

// reworkText is how a gate is reworked: the ways are numbered where there are
// several.
func reworkText(ways []steps.Rework) string {
	var b strings.Builder
	for i, w := range ways {
		if len(ways) > 1 {
			fmt.Fprintf(&b, "**Way %d** (`--way %d`)\n\n", i+1, i+1)
		}
		b.WriteString(strings.TrimSpace(w.Do) + "\n\n")
		if w.Joint != "" {
			fmt.Fprintf(&b, "Joint %s is glued again, with %s: its clocks start anew.\n\n", w.Joint, strings.Join(w.Adhesives, " or "))
		}
	}
	return strings.TrimRight(b.String(), "\n")
}

// NewGate makes the page of a gate.
func NewGate(s *workflow.State, r workflow.GateReport) Gate {
	g := Gate{
		Name: r.Gate.Name, Title: r.Gate.Title, How: r.Gate.How, Rework: reworkText(r.Gate.Reworks), Limits: LimitsText(r.Gate),
		Gauge: r.Gate.Gauge, Critical: r.Gate.Critical, Work: r.Gate.Work, Needs: r.Gate.Needs, Standing: r.Standing, Reason: said(r.Reason), Last: r.Last,
		Measure: measureGate(s.Airframe.Mark, r.Gate), Other: otherUnits(r),
	}
	g.FlightsLeft, g.ValidUntil = s.LifeLeft(r)
	g.unfit = r.NeedsRework()
	if gauge, ok := s.Sheet.Gauge(r.Gate.Gauge); ok {
		g.Gauge = gauge.Title
	}
	if m := r.Finding.Margin; m.Known {
		g.Margin = &Margin{m.By, r.Gate.Limits.Unit(), m.Point}
	}
	if result := r.Finding.Result; result.Known {
		g.Result = &Result{r.Gate.Result.String(), result.Value, r.Gate.Limits.Unit()}
	}
	for _, p := range r.Points {
		at := Point{Name: p.Name}
		for _, q := range p.Readings {
			at.Readings = append(at.Readings, q.String())
		}
		g.Points = append(g.Points, at)
	}
	return g
}

// LimitsText is the limits of a gate in words.
func LimitsText(g steps.Gate) string {
	var parts []string
	l := g.Limits
	of := ""
	if !g.Result.IsZero() {
		of = g.Result.String() + " "
	}
	switch {
	case !l.Low.IsZero() && !l.High.IsZero():
		parts = append(parts, fmt.Sprintf("%sbetween %s and %s", of, l.Low, l.High))
	case !l.Low.IsZero():
		parts = append(parts, fmt.Sprintf("%sat least %s", of, l.Low))
	case !l.High.IsZero():
		parts = append(parts, fmt.Sprintf("%sat most %s", of, l.High))
	}
	if !l.Alike.IsZero() {
		what := "all points"
		if len(g.Pairs) > 0 {
			var pairs []string
			for _, p := range g.Pairs {
				pairs = append(pairs, p[0]+" and "+p[1])
			}
			what = strings.Join(pairs, ", ")
		}
		parts = append(parts, fmt.Sprintf("%s alike to %s", what, l.Alike))
	}
	return strings.Join(parts, "; ")
}

// otherUnits are a gate's limits and readings in the other system of units, with
// the rounding error; "" if both systems use the same unit.
func otherUnits(r workflow.GateReport) string {
	var parts []string
	say := func(label string, q quantity.Quantity) {
		if other := q.Other(); other != "" {
			parts = append(parts, strings.TrimSpace(label+" "+q.String())+" is "+other)
		}
	}
	say("", r.Gate.Limits.Low)
	say("", r.Gate.Limits.High)
	say("", r.Gate.Limits.Alike)
	for _, p := range r.Points {
		for _, q := range p.Readings {
			say(p.Name, q)
		}
	}
	return strings.Join(parts, "; ")
}

// line is the gate in a list.
func (g Gate) line(c Clock) string {
	text := fmt.Sprintf("**%s** (%s): %s, with the %s", esc(g.Name), esc(g.Title), esc(g.Limits), esc(strings.ToLower(g.Gauge)))
	if g.Critical {
		text += "; critical"
	}
	for _, need := range g.Needs {
		text += "; needs " + esc(need.String())
	}
	text += ". " + g.says()
	if c.BothUnits && g.Other != "" {
		text += " In other units: " + esc(g.Other) + "."
	}
	return text
}

// says is how the gate stands, with its readings.
func (g Gate) says() string {
	text := g.Standing.Words()
	if g.Reason != "" && g.Reason != text {
		text += ": " + g.Reason
	}
	text = Capital(text)
	var readings []string
	for _, p := range g.Points {
		if len(p.Readings) > 0 {
			readings = append(readings, strings.TrimSpace(p.Name+" "+strings.Join(p.Readings, ", ")))
		}
	}
	if len(readings) > 0 {
		text += " [" + strings.Join(readings, "; ") + "]"
	}
	if g.Result != nil {
		text += fmt.Sprintf(", %s is %s", g.Result.Of, amount(g.Result.Value, g.Result.Unit))
	}
	if g.Margin != nil && (g.Standing == workflow.Current || g.Standing == workflow.Conceded) {
		text += ", " + g.Margin.words()
	}
	return esc(text) + "."
}

func (m Margin) words() string {
	if m.By < 0 {
		return amount(-m.By, m.Unit) + " outside"
	}
	return "closest margin " + amount(m.By, m.Unit)
}

// Action is what to measure and within what, or how to rework it.
func (g Gate) Action(c Clock) string {
	var l lines
	if g.Standing == workflow.Failed {
		l.text(g.Rework)
	} else {
		l.text(g.How)
	}
	l.item("%s", g.line(c))
	return l.String()
}

// Markdown is the gate on a page of its own.
func (g Gate) Markdown(c Clock) string {
	var l lines
	l.add("# %s\n", esc(g.Title))
	l.item("%s", g.line(c))
	if !g.Last.IsZero() {
		l.item("last reading %s", c.At(g.Last))
	}
	if g.Standing == workflow.Failed {
		l.add("\n**Rework.**")
		l.text(g.Rework)
	} else {
		l.text(g.How)
	}
	return l.String()
}
