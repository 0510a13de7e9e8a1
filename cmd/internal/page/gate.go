package page

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// A Gate is a gate as it stands on an airframe.
type Gate struct {
	Name     string                `json:"gate"`
	Title    string                `json:"title"`
	How      string                `json:"how,omitempty"`
	Rework   string                `json:"rework,omitempty"`
	Balance  string                `json:"balance,omitempty"` // the command that says what would put the balance right
	Limits   string                `json:"limits"`
	Gauge    string                `json:"gauge"`
	Critical bool                  `json:"critical"`
	Work     bool                  `json:"of_work,omitempty"`
	Needs    []steps.Setting       `json:"needs,omitempty"`
	Plain    bool                  `json:"plain_acceptance,omitempty"`
	Standing workflow.GateStanding `json:"standing"`
	Reason   string                `json:"reason,omitempty"`
	Passes   string                `json:"passes,omitempty"` // what passes with the gate's own gauge, where that is less than the limits
	Points   []Point               `json:"points,omitempty"`
	Parts    []Part                `json:"parts,omitempty"` // each value that is judged by itself
	Result   *Result               `json:"result,omitempty"`
	Margin   *Margin               `json:"margin,omitempty"`
	Last     time.Time             `json:"last_reading,omitzero"`
	// How much longer it counts, where it has passed and has a life.
	FlightsLeft int       `json:"flights_left,omitempty"`
	ValidUntil  time.Time `json:"valid_until,omitzero"`
	Other       string    `json:"other_units,omitempty"`    // limits and readings in the other unit system
	Throw       string    `json:"throw,omitempty"`          // the same as an angle, or as a travel
	Later       bool      `json:"measured_later,omitempty"` // it is stale or counts for a time, and a step of an open job asks for it
	Scales      string    `json:"scales,omitempty"`         // where they stand, and what is taken off their readings
	Measure     string    `json:"measure"`
	Do          string    `json:"do,omitempty"` // what helps where it is undecided
	Or          *OtherWay `json:"or,omitempty"`

	words  string // for the standing
	sure   string // how sure it is that what was accepted plainly conforms
	remedy workflow.Remedy
	unfit  bool // it must be reworked before it is measured again
}

// An OtherWay is another way of measuring a gate, of which either will do.
type OtherWay struct {
	With    string   `json:"with"` // what it is measured with and where
	Points  []string `json:"points,omitempty"`
	How     string   `json:"how,omitempty"`
	Scales  string   `json:"scales,omitempty"`
	Measure string   `json:"measure"`
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
func NewGate(s *workflow.State, r workflow.GateReport, now time.Time) Gate {
	g := Gate{
		Name: r.Gate.Name, Title: r.Gate.Title, How: r.Gate.How, Rework: reworkText(r.Gate.Reworks), Limits: LimitsText(r.Gate),
		Plain: r.Gate.Acceptance == steps.Plain,
		Gauge: r.Gate.Gauge, Critical: r.Gate.Critical, Work: r.Gate.Work, Needs: r.Gate.Needs, Standing: r.Standing, Reason: said(r.Reason), Last: r.Last,
		Scales: scalesText(r.Gate.Result), Measure: measureGate(s.Airframe.Mark, r.Gate), words: r.Words(),
	}
	if len(r.Points) > 0 {
		g.Parts = Parts(s, r)
	}
	g.FlightsLeft, g.ValidUntil = s.LifeLeft(r)
	g.unfit = r.NeedsRework()
	if r.Gate.Name == s.Sheet.Geometry.Balance.Gate && (r.Standing == workflow.Failed || r.Standing == workflow.Undecided) {
		g.Balance = balanceLine(s.Airframe.Mark)
	}
	if gauge, ok := s.Sheet.Gauge(r.Gate.Gauge); ok {
		g.Gauge = gauge.Title
		pass, ok := r.Gate.Rule().Passing(s.DoubtOf(r.Gate, gauge))
		if r.Met() || g.Plain { // nothing is left to pass, or all within the limits does
			pass, ok = r.Gate.Limits, true
		}
		g.Passes, g.Other, g.Throw = passesText(r.Gate, pass, ok), otherUnits(r, pass), thrown(s, r, pass)
	}
	if r.Standing == workflow.Undecided {
		g.remedy = s.ToMeet(r, now)
		g.Do = joined(Remedy(g.remedy))
	}
	if j := r.Finding.Judged; j.Plain && r.Standing == workflow.Current {
		g.sure = "by plain acceptance, " + j.Says()
	}
	if m := r.Finding.Margin; m.Known {
		g.Margin = &Margin{m.By, r.Gate.Limits.Unit(), m.Point}
	}
	if result := r.Finding.Result; result.Known {
		g.Result = &Result{r.Gate.Result.String(), result.Value, r.Gate.Limits.Unit()}
	}
	if other, ok := r.Gate.Other(); ok {
		gauge, _ := s.Sheet.Gauge(other.Gauge)
		g.Or = &OtherWay{strings.ToLower(first(gauge.Title, other.Gauge)) + optionally(" at ", strings.Join(other.Points, " and ")), other.Points, other.How, scalesText(other.Result), measureGate(s.Airframe.Mark, other)}
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
	for _, shares := range []struct {
		of   []steps.Share
		word string
	}{{g.Least, "greatest"}, {g.Most, "least"}} {
		if text := sharesText(shares.of, shares.word); text != "" {
			parts[0] += " (" + text + ")"
		}
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

// sharesText is the arithmetic of a limit, of which the strictest share counts.
func sharesText(shares []steps.Share, strictest string) string {
	var all []string
	for _, s := range shares {
		all = append(all, s.String())
	}
	text := strings.Join(all, ", ")
	if len(all) > 1 {
		text = "the " + strictest + " of " + text
	}
	return text
}

// scalesText says where each of the scales under an airframe stands, and what is taken off
// its reading, so that nobody takes it off twice; "": there are none.
func scalesText(r measuring.Result) string {
	var scales []string
	tared := slices.ContainsFunc(r.Stations, func(s measuring.Station) bool { return !s.Tare.IsZero() })
	for _, s := range r.Stations {
		text := s.Point + " at " + s.At.String()
		switch {
		case !s.Tare.IsZero():
			text += fmt.Sprintf(" (stand on, %s taken off)", s.Tare)
		case tared:
			text += " (zeroed)"
		}
		scales = append(scales, text)
	}
	text := strings.Join(scales, ", ")
	if text != "" && !tared {
		text += "; zero each with its stand on"
	}
	return text
}

// PassText is what passes with the gate's gauge, where that is less than the limits.
func PassText(g steps.Gate, gauge steps.Gauge) string {
	pass, ok := g.Rule().Passing(gauge.Doubt())
	if g.Acceptance == steps.Plain { // all within the limits does
		pass, ok = g.Limits, true
	}
	return passesText(g, pass, ok)
}

// passesText is what passes with a gauge, where that is less than the limits.
func passesText(g steps.Gate, pass measuring.Limits, ok bool) string {
	if !g.Result.IsZero() { // it depends on the readings
		return ""
	}
	if !ok {
		return "nothing passes with this gauge"
	}
	var what []string
	of := ""
	if g.Repeat > 1 {
		of = "a mean of "
	}
	l := g.Limits
	switch same := pass.Low.Equal(l.Low) && pass.High.Equal(l.High); {
	case same:
	case pass.Low.IsZero():
		what = append(what, of+"up to "+pass.High.String())
	case pass.High.IsZero():
		what = append(what, of+pass.Low.String()+" or more")
	default:
		what = append(what, of+pass.Low.String()+" to "+pass.High.String())
	}
	if !pass.Alike.Equal(l.Alike) {
		what = append(what, "a difference of up to "+pass.Alike.String())
	}
	if len(what) == 0 {
		return ""
	}
	return "only " + strings.Join(what, ", and ") + " passes with this gauge"
}

// otherUnits are a gate's limits, what passes and its readings in the other system of
// units, with the rounding error; "" if both systems use the same unit. Limits are
// rounded to their strict side.
func otherUnits(r workflow.GateReport, pass measuring.Limits) string {
	var parts []string
	say := func(label string, q quantity.Quantity, side quantity.Side) {
		text := strings.TrimSpace(label+" "+q.String()) + " is " + q.Other(side)
		if q.Other(side) != "" && !lists.Contains(parts, text) {
			parts = append(parts, text)
		}
	}
	for _, l := range []measuring.Limits{r.Gate.Limits, pass} {
		say("", l.Low, quantity.Up)
		say("", l.High, quantity.Down)
		say("", l.Alike, quantity.Down)
	}
	for _, p := range r.Points {
		for _, q := range p.Readings {
			say(p.Name, q, quantity.Nearest)
		}
	}
	return strings.Join(parts, "; ")
}

// met reports whether nothing is left to do at the gate.
func (g Gate) met() bool { return g.Standing == workflow.Current || g.Standing == workflow.Conceded }

// line is the gate in a list, with what was read.
func (g Gate) line(c *Clock) string { return g.head() + ". " + g.says(true) + g.other(c) }

// brief is the gate above its parts.
func (g Gate) brief(c *Clock) string {
	text := g.head()
	if g.Passes != "" {
		text += "; " + esc(g.Passes)
	}
	return text + ". " + g.says(len(g.Parts) == 0) + optionally(" ", Capital(esc(g.Throw))) + g.other(c)
}

// atBench is what a gate that is measured now is read within, and with what.
func (g Gate) atBench(c *Clock) string {
	text := fmt.Sprintf("**%s**: %s, with the %s", esc(g.Title), esc(g.Limits), esc(strings.ToLower(g.Gauge)))
	text += optionally("; ", esc(strings.TrimSuffix(g.Passes, " with this gauge"))) + "."
	if g.Reason != g.words { // why what was read before does not count
		text += " " + g.says(false)
	}
	return text + g.other(c)
}

// gate adds the gate above its parts, and where its scales stand.
func (l *lines) gate(g Gate, c *Clock) {
	l.item("%s", g.brief(c))
	if g.Scales != "" {
		l.item("scales: %s", esc(g.Scales))
	}
}

//go:noinline
func (g Gate) other(c *Clock) string {
	if c.BothUnits && g.Other != "" {
		return " In other units: " + esc(g.Other) + "."
	}
	return ""
}

// head is the gate without its standing.
func (g Gate) head() string {
	text := fmt.Sprintf("**%s** (%s): %s, with the %s", esc(g.Name), esc(g.Title), esc(g.Limits), esc(strings.ToLower(g.Gauge)))
	if g.Critical {
		text += "; critical"
	}
	if g.Plain {
		text += "; plain acceptance"
	}
	for _, need := range g.Needs {
		text += "; needs " + esc(need.String())
	}
	return text
}

// says is how the gate stands, with or without its readings.
func (g Gate) says(whole bool) string {
	text := g.words + optionally(" ", g.sure)
	if g.Reason != "" && g.Reason != text {
		text += ": " + g.Reason
	}
	text = Capital(text)
	var readings []string
	for _, p := range g.Points {
		if whole && len(p.Readings) > 0 {
			readings = append(readings, strings.TrimSpace(p.Name+" "+strings.Join(p.Readings, ", ")))
		}
	}
	if len(readings) > 0 {
		text += " [" + strings.Join(readings, "; ") + "]"
	}
	if g.Result != nil && !strings.Contains(g.Reason, g.Result.Of+" is ") { // else that has said it
		text += fmt.Sprintf(", %s is %s", g.Result.Of, quantity.Written(figures(g.Result.Value), g.Result.Unit))
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
func (g Gate) Action(c *Clock) string {
	var l lines
	if g.Standing == workflow.Failed {
		l.text(g.Rework)
		l.advised(g.Balance)
	} else {
		l.text(g.How)
	}
	l.gate(g, c)
	if advice, _ := Remedy(g.remedy); advice != "" {
		l.item("%s", esc(advice))
	}
	if g.Or != nil && g.Standing != workflow.Failed {
		l.item("or with the %s", esc(g.Or.With))
	}
	return l.String()
}

// Markdown is the gate on a page of its own.
func (g Gate) Markdown(c *Clock) string {
	var l lines
	l.add("# %s\n", esc(g.Title))
	l.gate(g, c)
	if !g.Last.IsZero() {
		l.item("last reading %s", c.At(g.Last))
	}
	l.parts(g)
	switch g.Standing {
	case workflow.Failed:
		l.add("\n**Rework.**")
		l.text(g.Rework)
		l.advised(g.Balance)
	case workflow.Undecided:
		l.ways(g)
	default:
		l.text(g.How)
		if g.Or != nil {
			l.add("\n**Or with the %s:**\n", esc(g.Or.With))
			l.text(g.Or.How)
			if g.Or.Scales != "" {
				l.item("scales: %s", esc(g.Or.Scales))
			}
			l.add("\n%s", command(g.Or.Measure))
		}
	}
	return l.String()
}
