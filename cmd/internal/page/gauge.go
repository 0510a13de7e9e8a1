package page

import (
	"strings"
	"time"

	"fettle/workflow"
)

// A GaugeCheck is one check of a gauge.
type GaugeCheck struct {
	Entry int64     `json:"entry"`
	At    time.Time `json:"at"`
	By    string    `json:"by"`
	Of    string    `json:"of"`    // as typed
	Reads string    `json:"reads"` // as typed
	Note  string    `json:"note,omitempty"`
	Off   float64   `json:"deviation"` // in the SI unit; negative: it reads too little
	Unit  string    `json:"unit"`
	Found string    `json:"found"`
	Good  bool      `json:"good"`
}

func newCheck(c workflow.GaugeCheck) *GaugeCheck {
	p := &GaugeCheck{Entry: c.Position, At: c.At, By: c.By, Of: c.Of.Typed(), Reads: c.Reads.Typed(), Note: c.Note, Found: c.Off.Found(), Good: c.Off.Good}
	p.Off, p.Unit, _ = c.Reads.SIMore(c.Of) // a stored check has comparable units
	return p
}

func (c *GaugeCheck) word() string {
	if c.Good {
		return "good"
	}
	return "NOT GOOD"
}

// A Gauge is a gauge as it stands on an airframe.
type Gauge struct {
	Name    string      `json:"gauge"`
	Title   string      `json:"title"`
	Last    *GaugeCheck `json:"last_check,omitempty"`
	Barred  []Reason    `json:"barred,omitempty"` // why it may not be used
	InDoubt []int64     `json:"in_doubt,omitempty"`
	Again   []string    `json:"measure_again,omitempty"`
	Stays   []string    `json:"stays_in_doubt,omitempty"` // gates of work that is done, which no step measures again
	Studies []Study     `json:"studies,omitempty"`
}

// NewGauge makes the page of a gauge.
func NewGauge(r workflow.GaugeReport) Gauge {
	g := Gauge{Name: r.Gauge.Name, Title: r.Gauge.Title, Barred: newReasons(r.Barred), InDoubt: r.InDoubt, Again: r.Again, Stays: r.Stays}
	if r.Last != nil {
		g.Last = newCheck(*r.Last)
	}
	for _, study := range r.Studies {
		g.Studies = append(g.Studies, newStudy(study))
	}
	return g
}

// items adds the gauge to a list.
func (g Gauge) items(l *lines, c *Clock) {
	if g.Last == nil {
		l.item("gauge %s (%s): never checked in this record", esc(g.Name), esc(g.Title))
	} else {
		l.item("gauge %s: **%s**, found %s; checked %s", esc(g.Name), strings.ToUpper(g.Last.word()), esc(g.Last.Found), c.At(g.Last.At))
	}
	if len(g.InDoubt) > 0 {
		text := "its readings in " + numbers(g.InDoubt) + " are **in doubt**"
		if len(g.Again) > 0 {
			text += "; measure again: " + esc(strings.Join(g.Again, ", "))
		}
		if len(g.Stays) > 0 {
			text += "; of work that is done, and stay so: " + esc(strings.Join(g.Stays, ", "))
		}
		l.item("%s", text)
	}
	for _, r := range g.Barred {
		l.item("%s", ReasonText(r.Reason, c))
	}
	for _, s := range g.Studies {
		l.item("%s", s.line(c))
	}
}

// Gauges are all those of an airframe.
type Gauges struct {
	Mark   string  `json:"mark"`
	Gauges []Gauge `json:"gauges"`
}

// Markdown is a list of them.
func (g Gauges) Markdown(c *Clock) string {
	var l lines
	l.add("# The gauges of %s\n", esc(g.Mark))
	for _, one := range g.Gauges {
		one.items(&l, c)
	}
	return l.String()
}

// Markdown is the gauge on a page of its own.
func (g Gauge) Markdown(c *Clock) string {
	var l lines
	l.add("# %s\n", esc(g.Title))
	g.items(&l, c)
	if g.Last != nil {
		l.item("it read %s on a reference of %s, by %s, entry %d%s", esc(g.Last.Reads), esc(g.Last.Of), esc(g.Last.By), g.Last.Entry, esc(optionally(": ", g.Last.Note)))
	}
	return l.String()
}
