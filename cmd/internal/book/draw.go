package book

import (
	"fmt"
	"time"

	"fettle/workflow"
)

// A barRow is one reading with a drawing of where it sits in its limits. The
// drawings are made by hand: a plotting library draws axes and series, and this
// is one mark on one bar.
type barRow struct {
	Gate, Point, Value, Gauge, Limits string
	By, At, Verdict                   string
	Entry                             int64
	Critical, Counts                  bool
	Drawn                             bool
	// In the drawing's units: the limits stand at 50 and 150 of 200.
	Low, Width, High, Mark, Guard float64 // High: where the upper guard begins
}

// bars are the readings that were never taken back.
func bars(readings []workflow.AuditedReading) []barRow {
	var rows []barRow
	for _, r := range readings {
		if r.TakenBack > 0 {
			continue
		}
		row := barRow{
			Gate: r.Reading.Gate, Point: r.Reading.Point, Value: r.Reading.Value.Typed(), Gauge: r.Reading.Gauge, Entry: r.Entry.Position,
			By: r.Entry.By, At: stamp(r.Entry.At), Critical: r.Gate.Critical, Counts: r.StaleBy == "" && r.Superseded == 0 && r.Doubt == nil,
			Verdict: string(r.Alone.Verdict),
		}
		l := r.Gate.Limits
		row.Limits = fmt.Sprintf("%s to %s", orOpen(l.Low.String()), orOpen(l.High.String()))
		if l.Low.IsZero() && l.High.IsZero() {
			row.Limits, row.Verdict = "points alike to "+l.Alike.String(), "compared with the other points"
		}
		unit := l.Unit()
		low, err1 := l.Low.Float(unit)
		high, err2 := l.High.Float(unit)
		value, err3 := r.Reading.Value.Float(unit)
		if err1 == nil && err2 == nil && err3 == nil && high > low {
			row.place(low, high, value, r.Gauge.Doubt().Guard(unit))
		}
		rows = append(rows, row)
	}
	return rows
}

func orOpen(limit string) string {
	if limit == "" {
		return "open"
	}
	return limit
}

// place puts the limits at 50 and 150 of 200, so that a reading outside them
// is seen outside, and one far outside at the edge.
func (b *barRow) place(low, high, value, guard float64) {
	scale := 100 / (high - low)
	at := 50 + (value-low)*scale
	b.Drawn, b.Low, b.Width = true, 50, 100
	b.Mark = min(max(at, 4), 196)
	b.Guard = min(guard*scale, 50)
	b.High = 150 - b.Guard
}

// A line is an airframe's life as a drawing: what happened, from left to right.
type line struct {
	From, To string
	Events   []event
}

// An event is one mark on the line; Row keeps kinds apart, so that nothing is
// told by colour alone.
type event struct {
	X    float64
	Row  float64
	Sign string
	Says string
}

// lifeLine draws builds, flights, damage, repairs and releases over time.
func lifeLine(s *workflow.State, now time.Time) line {
	from := s.Since
	span := now.Sub(from).Seconds()
	l := line{From: stamp(from), To: stamp(now)}
	add := func(at time.Time, row float64, sign, says string) {
		x := 60.0
		if span > 0 {
			x += at.Sub(from).Seconds() / span * 520
		}
		l.Events = append(l.Events, event{min(max(x, 60), 580), row, sign, says + ", " + stamp(at)})
	}
	for _, e := range s.Entries {
		if !s.Live(e.Position) {
			continue
		}
		switch f := e.Facts.(type) {
		case workflow.JobOpened:
			add(e.At, 25, "▸", "job "+f.Job)
		case workflow.DamageFound:
			add(e.At, 50, "×", "damage "+f.Damage+": "+f.Finding+" at "+f.Zone)
		case workflow.FlightLogged:
			add(e.At, 75, "^", "flight, landing "+f.Landing)
		case workflow.EquipmentChanged:
			add(e.At, 75, "+", f.Item+" "+f.Change)
		case workflow.Released:
			add(e.At, 100, "●", "release")
		}
	}
	return l
}
