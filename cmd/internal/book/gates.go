package book

import (
	"fmt"
	"slices"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A gate is one gate with every reading that was taken there and not taken back.
type gate struct {
	page.Gate
	ID       string
	Words    string // how it stands
	Bars     bars
	Readings []reading
	Acts     []entry // rework and concessions
	By       string  // who granted the concession, if it is conceded
}

// A reading is one reading, and whether it counts.
type reading struct {
	workflow.AuditedReading
	Gauge   string // in a table: only if it is not the gate's own
	Verdict string
	Counts  string // "yes", or why not
	Late    bool
	Full    bool // the gate is named with the point
}

// gates returns every gate of the design in order, and the readings of gates
// that are no longer in it.
func (m *maker) gates() ([]gate, []reading) {
	var gates []gate
	have := map[string]bool{}
	for i, r := range m.s.Gates(m.now) {
		have[r.Gate.Name] = true
		g := gate{Gate: page.NewGate(m.s, r, m.now), ID: fmt.Sprintf("gate-%d", i), Words: page.Said(r.Says(), m.o.Zone), By: r.By}
		var live []workflow.AuditedReading
		for _, a := range m.readings {
			if a.Reading.Gate == r.Gate.Name && m.s.Live(a.Entry.Position) {
				live = append(live, a)
				one := m.reading(a, slices.Contains(r.Rests, a.Entry.Position))
				if a.Reading.Gauge == r.Gate.Gauge {
					one.Gauge = ""
				}
				g.Readings = append(g.Readings, one)
			}
		}
		g.Bars = m.bars(r, live)
		for _, e := range m.live() {
			switch f := e.Facts.(type) {
			case journal.Reworked:
				if f.Gate == r.Gate.Name {
					g.Acts = append(g.Acts, e)
				}
			case journal.ConcessionGranted:
				if f.Gate == r.Gate.Name {
					g.Acts = append(g.Acts, e)
				}
			}
		}
		for _, e := range g.Acts {
			m.anchors[e.Position] = true
		}
		gates = append(gates, g)
	}
	var strays []reading
	for _, a := range m.readings {
		if !have[a.Reading.Gate] && m.s.Live(a.Entry.Position) {
			stray := m.reading(a, false)
			stray.Full = true
			strays = append(strays, stray)
		}
	}
	return gates, strays
}

// Inside says how far the worst point is inside its nearest limit; "": it is outside.
func (g gate) Inside() string {
	if g.Margin == nil || g.Margin.By < 0 {
		return ""
	}
	return "closest margin " + sized(g.Margin.By, g.Margin.Unit)
}

func (m *maker) reading(a workflow.AuditedReading, counts bool) reading {
	m.anchors[a.Entry.Position] = true
	r := reading{AuditedReading: a, Gauge: a.Reading.Gauge, Verdict: verdict(a.OwnVerdict), Late: a.Entry.Late()}
	if a.Gauge.Title != "" {
		r.Gauge = a.Gauge.Title
	}
	switch {
	case counts:
		r.Counts = "yes"
	case a.Superseded > 0 && a.StaleBy.IsZero():
		r.Counts = fmt.Sprintf("no: measured again, entry %d", a.Superseded)
	case !a.StaleBy.IsZero():
		r.Counts = "no: " + page.Said(a.StaleBy, m.o.Zone)
	default:
		r.Counts = "no"
	}
	if a.Doubt != nil {
		r.Counts += fmt.Sprintf("; in doubt: %s, entry %d", page.Said(a.Doubt.Doubts(), m.o.Zone), a.Doubt.Position)
	}
	if a.Concession > 0 {
		r.Counts += fmt.Sprintf("; accepted by a concession (entry %d)", a.Concession)
	}
	return r
}

// verdict is a verdict in words. A reading that is only compared with others has
// no verdict alone.
func verdict(f measuring.Finding) string {
	switch {
	case f.Verdict == measuring.Partial, f.Verdict == measuring.In && !f.Margin.Known:
		return "judged with others"
	case f.Verdict != measuring.In && f.Reason != "":
		return says(f.Verdict) + ": " + f.Reason
	}
	return says(f.Verdict)
}

// doubtsOf is what is known of the gauges that the readings were taken with;
// where there are none, of the gate's own gauge.
func doubtsOf(s *workflow.State, g steps.Gate, readings []workflow.AuditedReading) measuring.Doubts {
	own, _ := s.Sheet.Gauge(g.Gauge)
	var doubts measuring.Doubts
	for _, r := range readings {
		gauge := r.Gauge
		if gauge.Name == "" {
			gauge = own
		}
		doubts.Add(gauge.Doubt())
		doubts.Several = doubts.Several || r.Reading.Gauge != readings[0].Reading.Gauge
	}
	if len(readings) == 0 {
		doubts.Add(s.DoubtOf(g, own))
	}
	return doubts
}
