package book

import (
	"cmp"
	"fmt"
	"strings"
	"time"

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
}

// timeline returns what happened to the airframe as a whole, in the order of time.
func (m *maker) timeline() []event {
	var events []event
	for _, e := range m.live() {
		if kind := m.places[e.Facts.Kind()]; kind != "" {
			events = append(events, event{At: e.At, By: e.By, Kind: kind, Says: e.Says, Position: e.Position})
		}
	}
	for _, j := range m.s.Jobs {
		if ended := m.ended(j); !ended.IsZero() {
			events = append(events, event{At: ended, Kind: "work", Says: "completed job " + j.ID, Position: -1})
		}
	}
	sorting.Stable(events, func(a, b event) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Position, b.Position)) })
	return m.joined(events)
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
	n := 0
	for _, e := range events {
		if e.Kind != "flight" || !m.plainFlight(e.Position) {
			n = 0
			out = append(out, e)
			continue
		}
		if n == 0 || out[len(out)-1].By != e.By {
			n = 1
			out = append(out, e)
			continue
		}
		n++
		last := &out[len(out)-1]
		last.To, last.Says, last.Position = e.At, fmt.Sprintf("flew %d times, all with soft landings", n), -1
	}
	return out
}

func (m *maker) plainFlight(position int64) bool {
	f, ok := m.s.Entries[position].Facts.(journal.FlightLogged)
	return ok && f.Landing == workflow.Soft && f.Note == "" && f.Grounded == "" && f.Lasted.IsZero()
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

// A drawing is the timeline drawn; bars.go says why it is drawn by hand.
type drawing struct {
	Height int
	Axis   int // where the line of dates is
	Says   string
	Lanes  []lane
	Ticks  []edge
}

// A lane is one row of the drawing.
type lane struct {
	Y, Bar, Middle int
	Label          string
	Spans          []span
	Open           bool // the last of the spans has not ended
	Dots           []dot
}

type dot struct{ X, Kind string }

const (
	laneHeight = 34
	mostLanes  = 8 // how many jobs have a lane of their own
)

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
		return 2 + 96*min(1, max(0, float64(t.Sub(from))/float64(whole)))
	}
	var s drawing
	for _, j := range m.s.Jobs {
		end, open := m.ended(j), false
		if end.IsZero() {
			end, open = m.now, true
		}
		a, b := x(j.Opened), x(end)
		job := span{percent(a), percent(max(0.6, b-a))}
		label := j.ID + ", complete"
		if open {
			label = j.ID + ", open"
		}
		if len(s.Lanes) >= mostLanes { // the rest share the last lane
			last := &s.Lanes[len(s.Lanes)-1]
			last.Label, last.Open = "later jobs", open
			last.Spans = append(last.Spans, job)
			continue
		}
		s.Lanes = append(s.Lanes, lane{Label: label, Spans: []span{job}, Open: open})
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
		if len(l.Dots) > 0 {
			l.Label = counted(len(l.Dots), kind)
			s.Lanes = append(s.Lanes, l)
		}
	}
	var says []string
	for i := range s.Lanes {
		l := &s.Lanes[i]
		l.Y = i*laneHeight + 12
		l.Bar, l.Middle = l.Y+7, l.Y+11
		says = append(says, l.Label)
		l.Label = shorten(l.Label)
	}
	s.Axis = len(s.Lanes)*laneHeight + 6
	s.Height = s.Axis + 20
	layout := "2 Jan 2006"
	if whole < 48*time.Hour {
		layout = "2 Jan 15:04"
	}
	for i, anchor := range []string{"start", "middle", "end"} {
		at := from.Add(whole * time.Duration(i) / 2)
		s.Ticks = append(s.Ticks, edge{percent(x(at)), anchor, at.In(m.o.Zone).Format(layout)})
	}
	s.Says = fmt.Sprintf("From %s to %s: %s.", from.In(m.o.Zone).Format("2 January 2006"), to.In(m.o.Zone).Format("2 January 2006"), strings.Join(says, "; "))
	return s
}

func counted(n int, kind string) string {
	words := map[string][2]string{
		"flight": {"flight", "flights"}, "damage": {"damage", "damages"},
		"equipment": {"change of equipment", "changes of equipment"}, "release": {"release", "releases"},
	}[kind]
	if n == 1 {
		return "1 " + words[0]
	}
	return fmt.Sprintf("%d %s", n, words[1])
}
