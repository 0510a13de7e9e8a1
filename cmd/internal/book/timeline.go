package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/sorting"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// An event is one line of the timeline.
type event struct {
	At       time.Time
	To       time.Time // when a line covers several events: the last of them
	By       string
	Kind     string // one word
	Says     string
	Position int64 // -1: not one entry
	Own      bool  // the book shows the entry nowhere else
}

// timeline returns what happened to the airframe as a whole, in the order of time.
func (m *maker) timeline() []event {
	var events []event
	for _, e := range m.live() {
		if kind := m.places[e.Facts.Kind()]; kind != "" {
			events = append(events, event{At: e.At, By: e.By, Kind: kind, Says: m.happened(e), Position: e.Position})
		}
	}
	for _, j := range m.s.Jobs {
		if ended := m.ended(j); !ended.IsZero() {
			events = append(events, event{At: ended, Kind: "work", Says: "completed: " + m.jobTitle(j.ID), Position: -1})
		}
	}
	for _, bad := range m.record.BadGauges {
		events = append(events, event{At: bad.At, By: m.entries[bad.Position].By, Kind: "gauge", Says: m.gaugeTitle(bad.Gauge) + " was found " + bad.Off.Found(), Position: -1})
	}
	sorting.Stable(events, func(i, k int) int {
		a, b := &events[i], &events[k]
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Position, b.Position))
	})
	events = m.joined(events)
	for i, e := range events {
		if _, shown := m.anchors[e.Position]; e.Position >= 0 && !shown {
			events[i].Own, m.anchors[e.Position] = true, e.Position
		}
	}
	return events
}

// happened says an entry of the timeline without the names of documents.
func (m *maker) happened(e entry) string {
	switch f := e.Facts.(type) {
	case journal.Registered:
		return "registered: " + titled(m.s.Sheet.Title, f.Design)
	case journal.JobOpened:
		return "begun: " + m.jobTitle(m.jobAt(e.Position))
	case journal.FlightLogged:
		return m.flew(e, f)
	case journal.DamageFound:
		for _, d := range m.s.Damages {
			if d.Position == e.Position {
				text := "found damage " + m.damageText(d)
				if len(d.Quarantine.Lines) > 0 {
					text += "; put in quarantine"
				}
				return text
			}
		}
	case journal.EquipmentChanged:
		return m.changed(f)
	case journal.PartRetired:
		return "thrown away: " + listed(plains(f.Zones))
	case journal.ConcessionGranted:
		return "concession: " + m.gateTitle(f.Gate) + ": " + strings.TrimSuffix(f.Reason, ".")
	}
	return m.told(e.Says)
}

// flew says a flight, and what was aboard.
func (m *maker) flew(e entry, f journal.FlightLogged) string {
	text := "flew"
	if !f.Lasted.IsZero() {
		text += " for " + f.Lasted.Typed()
	}
	text += ", " + f.Landing + " landing"
	for i, t := range f.Trims {
		before := ", trimmed "
		if i > 0 {
			before = ", "
		}
		text += before + t.Control + " " + plain(t.Way) + " " + t.Value.String()
	}
	if f.Grounded != "" {
		text += ", NOT RELEASED TO FLY: " + m.told(f.Grounded)
	}
	if f.Note != "" {
		text += "; “" + f.Note + "”"
	}
	if aboard := m.flights[e.Position].Aboard; len(aboard) > 0 {
		text += "; aboard: " + m.things(aboard)
	}
	return text
}

// things are what has names of its own.
func (m *maker) things(all []workflow.Thing) string {
	var named []string
	for _, t := range all {
		named = append(named, m.itemTitle(t.Item)+" "+t.Name)
	}
	return listed(named)
}

// jobAt is the job that was opened there.
func (m *maker) jobAt(position int64) string {
	for _, j := range m.s.Jobs {
		if j.Position == position {
			return j.ID
		}
	}
	return ""
}

// places says where the book shows an entry of each kind: in the timeline, under
// that word, or only in another section ("").
func places() map[string]string {
	return map[string]string{
		journal.Registered{}.Kind():        "work",
		journal.JobOpened{}.Kind():         "work",
		journal.JobMoved{}.Kind():          "work",
		journal.JobAmended{}.Kind():        "work",
		journal.FlightLogged{}.Kind():      "flight",
		journal.DamageFound{}.Kind():       "damage",
		journal.QuarantineCleared{}.Kind(): "damage",
		journal.PartRetired{}.Kind():       "work",
		journal.EquipmentChanged{}.Kind():  "equipment",
		journal.Released{}.Kind():          "release",
		journal.Retired{}.Kind():           "work",
		journal.Sealed{}.Kind():            "seal",
		journal.ConcessionGranted{}.Kind(): "concession",
		journal.StepDone{}.Kind():          "", // jobs
		journal.HoldCleared{}.Kind():       "",
		journal.UseCleared{}.Kind():        "",
		journal.Witnessed{}.Kind():         "", // at its step
		journal.Chosen{}.Kind():            "",
		journal.Begun{}.Kind():             "", // left out; its coat has the times
		journal.Coated{}.Kind():            "", // joints
		journal.Joined{}.Kind():            "",
		journal.TouchTested{}.Kind():       "",
		journal.BenchRead{}.Kind():         "",
		journal.ReadingTaken{}.Kind():      "", // gates
		journal.Reworked{}.Kind():          "",
		journal.GaugeChecked{}.Kind():      "", // gauges
		journal.GaugeStudied{}.Kind():      "work",
		journal.ConditionSet{}.Kind():      "", // left out; the journal has them
		journal.Noted{}.Kind():             "",
		journal.PhotoKept{}.Kind():         "", // photos
		journal.Undone{}.Kind():            "", // corrections
	}
}

// joined merges consecutive soft flights by one pilot, without notes, into one line.
func (m *maker) joined(events []event) []event {
	var out []event
	n, lasted := 0, time.Duration(0)
	var aboard []workflow.Thing
	for _, e := range events {
		f, plain := m.plainFlight(e)
		if again := plain && n > 0 && out[len(out)-1].By == e.By && slices.Equal(aboard, f.Aboard); !again {
			n, lasted = 0, 0
			out = append(out, e)
		}
		if !plain {
			continue
		}
		n, aboard = n+1, f.Aboard
		if d, err := f.Lasted.Duration(); err == nil {
			lasted += d
		}
		if n == 1 {
			continue
		}
		last := &out[len(out)-1]
		last.To, last.Says, last.Position = e.At, fmt.Sprintf("flew %d times, all with soft landings", n), -1
		if lasted > 0 {
			last.Says += fmt.Sprintf(", %d min in all", int(lasted.Minutes()))
		}
		if len(aboard) > 0 {
			last.Says += "; aboard: " + m.things(aboard)
		}
	}
	return out
}

func (m *maker) plainFlight(e event) (workflow.FlightFacts, bool) {
	f, ok := m.flights[e.Position]
	return f, ok && f.Landing == workflow.Soft && f.Note == "" && f.Grounded == ""
}

// ended is when the last step of a job was done; zero: it is not complete.
func (m *maker) ended(j *workflow.Job) time.Time {
	var last time.Time
	if m.s.Open(j, m.now) {
		return last
	}
	for key, all := range m.done {
		if !strings.HasPrefix(key, j.ID+"/") {
			continue
		}
		for _, e := range all {
			if e.At.After(last) {
				last = e.At
			}
		}
	}
	return last
}

// A drawing is the life as a strip, a lane for each kind of thing that happened;
// chart.go says why it is drawn by hand.
type drawing struct {
	Says  string
	Lanes []lane
	Ticks []edge
}

// A lane is one row of the drawing.
type lane struct {
	Label string
	Spans []span
	Dots  []dot
}

type dot struct{ X, Kind string }

// drawing draws jobs as spans and everything else as marks.
func (m *maker) drawing() drawing {
	from, to := m.s.Since, m.now
	for _, e := range m.entries {
		if e.At.Before(from) {
			from = e.At
		}
		if e.At.After(to) {
			to = e.At
		}
	}
	whole := max(to.Sub(from), time.Hour)
	x := func(t time.Time) float64 {
		return 1 + 98*min(1, max(0, float64(t.Sub(from))/float64(whole)))
	}
	var s drawing
	for _, kind := range []string{steps.Build, steps.Repair, steps.Check} {
		var l lane
		open := 0
		for _, j := range m.s.Jobs {
			if j.Procedure.Kind != kind {
				continue
			}
			end := m.ended(j)
			if end.IsZero() {
				end, open = m.now, open+1
			}
			a, b := x(j.Opened), x(end)
			l.Spans = append(l.Spans, span{X: percent(a), W: percent(max(0.6, b-a))})
		}
		if n := len(l.Spans); n > 0 {
			if l.Label = numbered(n, kind); open > 0 {
				l.Label += fmt.Sprintf(", %d open", open)
			}
			s.Lanes = append(s.Lanes, l)
		}
	}
	for _, kind := range []string{"flight", "damage", "equipment", "release"} {
		l := lane{}
		for _, e := range m.live() {
			if m.places[e.Facts.Kind()] != kind {
				continue
			}
			if _, ok := e.Facts.(journal.QuarantineCleared); ok {
				continue
			}
			l.Dots = append(l.Dots, dot{percent(x(e.At)), kind})
		}
		if n := len(l.Dots); n > 0 {
			if l.Label = numbered(n, kind); kind == "equipment" {
				l.Label = numbered(n, "change of equipment", "changes of equipment")
			}
			s.Lanes = append(s.Lanes, l)
		}
	}
	var says []string
	for _, l := range s.Lanes {
		says = append(says, l.Label)
	}
	layout := "2 Jan 2006"
	if whole < 48*time.Hour {
		layout = "2 Jan 15:04"
	}
	for i, anchor := range []string{"start", "middle", "end"} {
		at := from.Add(whole * time.Duration(i) / 2)
		s.Ticks = append(s.Ticks, edge{percent(x(at)), anchor, at.In(m.o.Zone).Format(layout)})
	}
	s.Says = fmt.Sprintf("Life of %s. From %s to %s: %s.", m.s.Airframe.Mark, from.In(m.o.Zone).Format("2 January 2006"), to.In(m.o.Zone).Format("2 January 2006"), strings.Join(says, "; "))
	return s
}
