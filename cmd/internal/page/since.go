package page

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// A Since is what changed on an airframe since its last good flight.
type Since struct {
	Mark       string        `json:"mark"`
	Flight     *Entry        `json:"flight"` // the last good one; null: there was none
	Flights    []Entry       `json:"flights"`
	Equipment  []Entry       `json:"equipment"`
	Balance    []SinceGate   `json:"balance"`
	Moved      *SinceBalance `json:"balance_moved,omitempty"`
	Trims      []SinceTrim   `json:"trims"`
	Throws     []SinceGate   `json:"throws"`
	Damages    []Damage      `json:"damages"`
	Jobs       []SinceJob    `json:"jobs"`
	Reworked   []string      `json:"reworked"`
	Readings   []SinceGate   `json:"readings"`
	Conditions []SinceStated `json:"conditions"`
}

// A SinceGate is a gate that stands otherwise than before the flight, or by other readings.
type SinceGate struct {
	Gate     string                `json:"gate"`
	Was      workflow.GateStanding `json:"was"`
	Standing workflow.GateStanding `json:"standing"`
	Reason   string                `json:"reason,omitempty"`
	Values   []SinceValue          `json:"values"`
}

// A SinceBalance is where it balanced before the flight and does now.
type SinceBalance struct {
	Was     Station  `json:"was"`
	Is      *Station `json:"is,omitempty"`               // none: not known
	Low     *float64 `json:"forward_limit_mm,omitempty"` // now, from the datum
	High    *float64 `json:"aft_limit_mm,omitempty"`
	Zero    float64  `json:"gate_reads_from_mm,omitempty"`
	Verdict string   `json:"verdict"`
	By      []string `json:"by"`
	Unknown []string `json:"unknown,omitempty"`
}

// line is where it balanced, where it does, and within which limits: what moved it stands
// with the equipment and the work.
func (b SinceBalance) line(c *Clock) string {
	limits := optionally("; limits ", Balance{Low: b.Low, High: b.High, Zero: b.Zero}.limits(c))
	if len(b.Unknown) > 0 {
		return fmt.Sprintf("%s → not known%s: %s", b.Was.words(c), limits, strings.Join(b.Unknown, ", "))
	}
	text := fmt.Sprintf("%s → %s, %s%s", b.Was.words(c), b.Is.words(c), b.Verdict, limits)
	if len(b.By) == 0 {
		text += "; weighed again"
	}
	return text
}

// A SinceTrim is a control surface that was trimmed otherwise before the flight.
type SinceTrim struct {
	Was *Trim `json:"was,omitempty"` // absent: no trim was logged
	Is  *Trim `json:"is,omitempty"`  // absent: it has none now
}

func (t SinceTrim) line() string {
	switch {
	case t.Was == nil:
		return t.Is.line()
	case t.Is == nil:
		return t.Was.named() + " " + t.Was.Value + " → none"
	case t.Was.Way == t.Is.Way:
		return t.Was.named() + " " + t.Was.Value + " → " + strings.TrimPrefix(t.Is.line(), t.Is.named()+" ")
	}
	return t.Was.named() + " " + t.Was.Value + " → " + t.Is.line()
}

// A SinceValue is one value that a gate is judged by, before the flight and now.
type SinceValue struct {
	Of   string   `json:"of,omitempty"`
	Was  *float64 `json:"was,omitempty"` // absent: it was not known
	Is   *float64 `json:"is,omitempty"`
	Unit string   `json:"unit"`
}

// A SinceJob is a job with how many of its steps were done since the flight.
type SinceJob struct {
	Job   string `json:"job"`
	Kind  string `json:"kind"`
	Steps int    `json:"steps"`
	Open  bool   `json:"open"`
}

// A SinceStated is a condition that was said to be otherwise; without was it was unknown.
type SinceStated struct {
	Condition string `json:"condition"`
	Was       string `json:"was,omitempty"`
	Is        string `json:"is"`
}

// NewSince makes the page of what changed since the last good flight, if there was one.
func NewSince(s *workflow.State, all *workflow.SinceGood, now time.Time) Since {
	p := Since{Mark: s.Airframe.Mark, Flights: []Entry{}, Equipment: []Entry{}, Damages: []Damage{}, Jobs: []SinceJob{}, Reworked: []string{}, Conditions: []SinceStated{},
		Balance: []SinceGate{}, Trims: []SinceTrim{}, Throws: []SinceGate{}, Readings: []SinceGate{}}
	if all == nil {
		return p
	}
	flown := newEntry(s, s.Entries[all.Flight.Position])
	p.Flight = &flown
	for _, f := range all.Flights {
		p.Flights = append(p.Flights, newEntry(s, s.Entries[f.Position]))
	}
	for _, e := range all.Equipment {
		p.Equipment = append(p.Equipment, newEntry(s, e))
	}
	for _, d := range Damages(s, now) {
		if slices.ContainsFunc(all.Damages, func(since *workflow.Damage) bool { return since.Damage == d.Name }) {
			p.Damages = append(p.Damages, d)
		}
	}
	for _, j := range all.Work {
		p.Jobs = append(p.Jobs, SinceJob{j.Job.ID, string(j.Job.Procedure.Kind), j.Steps, j.Open})
	}
	for _, f := range all.Reworked {
		p.Reworked = append(p.Reworked, says(f))
	}
	for _, c := range all.Conditions {
		p.Conditions = append(p.Conditions, SinceStated(c))
	}
	if m := all.Moved; m != nil {
		p.Moved = &SinceBalance{stationOf(m.Was.Now, m.Was.NowU, m.Was.Wing, m.Was.Zero), stationIf(stationOf(m.Is.Now, m.Is.NowU, m.Is.Wing, m.Is.Zero), m.Is.Unknown),
			finite(m.Is.Low), finite(m.Is.High), m.Is.Zero, string(m.Is.Verdict()), m.By, m.Is.Unknown}
	}
	for _, t := range all.Trims {
		var one SinceTrim
		for _, side := range []struct {
			from *workflow.Trimmed
			to   **Trim
		}{{t.Was, &one.Was}, {t.Is, &one.Is}} {
			if side.from != nil {
				trim := newTrim(*side.from)
				*side.to = &trim
			}
		}
		p.Trims = append(p.Trims, one)
	}
	for _, group := range []struct {
		from []workflow.GateChange
		to   *[]SinceGate
	}{{all.Balance, &p.Balance}, {all.Throws, &p.Throws}, {all.Readings, &p.Readings}} {
		for _, g := range group.from {
			*group.to = append(*group.to, newSinceGate(s, g))
		}
	}
	return p
}

func newSinceGate(s *workflow.State, g workflow.GateChange) SinceGate {
	one := SinceGate{Gate: g.Is.Gate.Name, Was: g.Was.Standing, Standing: g.Is.Standing, Reason: said(g.Is.Reason), Values: []SinceValue{}}
	was := s.Judged(g.Was)
	for i, v := range s.Judged(g.Is) {
		value := SinceValue{Of: v.Named(), Unit: v.Unit}
		if v.Known {
			value.Is = &v.Value
		}
		if i < len(was) && was[i].Known && was[i].Unit == v.Unit && lists.Equal(was[i].Of, v.Of) {
			value.Was = &was[i].Value
		}
		if value.Is != nil || value.Was != nil {
			one.Values = append(one.Values, value)
		}
	}
	return one
}

// line is the gate in a few words: what it came to, where it was read again, and how it
// stands, where it has not passed.
func (g SinceGate) line() string {
	var values []string
	for _, v := range g.Values {
		if v.Is == nil || strings.Contains(v.Of, " / ") || v.Was != nil && *v.Was == *v.Is {
			continue
		}
		text := strings.TrimSpace(v.Of + " ")
		if v.Was != nil {
			text = strings.TrimSpace(text+" "+figure(*v.Was)) + " →"
		}
		values = append(values, strings.TrimSpace(text+" "+quantity.Written(figure(*v.Is), v.Unit)))
	}
	text := g.Gate
	if g.Standing != workflow.Current {
		text += " " + strings.ToUpper(g.Standing.Words())
		if g.Standing == workflow.StaleGate {
			text += optionally(", ", g.Reason)
		}
	} else if len(values) == 0 {
		text += " as before"
	}
	return text + optionally(" ", strings.Join(values, ", "))
}

// figure is a number to hundredths, without noughts at its end.
func figure(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }

// Markdown is what changed, on one screen: of each group as much as two lines hold.
func (p Since) Markdown(c *Clock) string {
	var l lines
	if p.Flight == nil {
		l.add("%s has made no good flight yet: none that it was released for, with a soft landing.", esc(p.Mark))
		return l.String()
	}
	l.add("# What changed on %s since its last good flight\n", esc(p.Mark))
	l.item("%s", esc(cut(fmt.Sprintf("%s, entry %d: %s", c.At(p.Flight.At), p.Flight.Position, p.Flight.Says), screenLong)))
	var repairs, conditions, trims []string
	for _, t := range p.Trims {
		trims = append(trims, t.line())
	}
	for _, d := range p.Damages {
		repairs = append(repairs, d.brief())
	}
	for _, j := range p.Jobs {
		text := fmt.Sprintf("%s of %s", many(j.Steps, "step"), j.Job)
		if j.Open {
			text += " (open)"
		}
		repairs = append(repairs, text)
	}
	for _, stated := range p.Conditions {
		text := stated.Condition + ": " + stated.Is
		if stated.Was != "" {
			text = stated.Condition + ": " + stated.Was + " → " + stated.Is
		}
		conditions = append(conditions, text)
	}
	nothing := true
	var balance []string
	if p.Moved != nil {
		balance = []string{p.Moved.line(c)}
	}
	for _, group := range []struct {
		name  string
		items []string
	}{
		{"flights", entriesSay(p.Flights)}, {"equipment", entriesSay(p.Equipment)}, {"balance", balance}, {"weighings", gateLines(p.Balance)}, {"trims", trims}, {"throws", gateLines(p.Throws)},
		{"repairs and work", append(repairs, p.Reworked...)}, {"readings", gateLines(p.Readings)}, {"conditions", conditions},
	} {
		if len(group.items) > 0 {
			nothing = false
			l.item("**%s:** %s", Capital(group.name), esc(fitting(group.items, screenLong-len(group.name)-4)))
		}
	}
	if nothing {
		l.item("nothing: no equipment, gate, repair or condition")
	}
	l.add("\nAll of it: `fettle status %s --since good --json`", p.Mark)
	return l.String()
}

func entriesSay(entries []Entry) (all []string) {
	for _, e := range entries {
		all = append(all, e.Says)
	}
	return all
}

func gateLines(gates []SinceGate) (all []string) {
	// What keeps it on the ground comes first.
	for _, passed := range []bool{false, true} {
		for _, g := range gates {
			if (g.Standing == workflow.Current) == passed {
				all = append(all, g.line())
			}
		}
	}
	return all
}
