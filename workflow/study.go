package workflow

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/spread"
	"fettle/workflow/journal"
)

// A GaugeStudy is a study of a gauge with who entered it and when.
type GaugeStudy struct {
	journal.GaugeStudied
	Position int64
	At       time.Time
	By       string
}

func (s *State) study(e journal.Entry) error {
	f := e.Facts.(journal.GaugeStudied)
	s.studies = append(s.studies, GaugeStudy{f, e.Position, e.At, e.By})
	return nil
}

// Studies are the studies of a gauge that were not taken back, in the order of entry.
func (s *State) Studies(gauge string) []GaugeStudy {
	all := s.studies[:0:0]
	for i := range s.studies {
		if s.studies[i].Gauge == gauge {
			all = append(all, s.studies[i])
		}
	}
	return all
}

// Shows is what the study shows, in the unit of its results.
//
//go:noinline
func (g GaugeStudy) Shows() (spread.Study, error) {
	return studyOf(g.Readings, g.Whole.Unit())
}

func studyOf(readings []journal.StudyReading, unit string) (spread.Study, error) {
	var all []spread.Reading
	for i, r := range readings {
		value, err := r.Value.Rat(unit)
		if err != nil {
			return spread.Study{}, &spread.StudyError{At: i, Why: err.Error()}
		}
		all = append(all, spread.Reading{Person: r.Person, Part: r.Part, Value: value})
	}
	return spread.NewStudy(all)
}

// studied is what is known of the gauge of a reading by its studies as well. A reading of
// the gate that was studied before goes by the last such study, with which the gauge has a
// repeatability, stated or not. To any other reading, also of before, a study only adds
// doubt. Before is by entry and by time.
func (s *State) studied(t reading, doubts []measuring.Doubt) []measuring.Doubt {
	before := func(g GaugeStudy) bool { return g.Position < t.position && !t.at.Before(g.At) }
	var known []measuring.Doubt
	its := false
	studies := s.Studies(t.Gauge)
	for i, g := range studies {
		if before(g) && slices.ContainsFunc(studies[i+1:], func(later GaugeStudy) bool {
			return later.Gate == g.Gate && !later.At.Before(g.At) && before(later)
		}) {
			continue
		}
		its = its || before(g) && g.Gate == t.Gate
		for _, d := range doubts {
			known = append(known, d.Studied(g.Repeatability, g.Whole))
		}
	}
	if its {
		return known
	}
	return append(known, doubts...)
}

// DoubtOf is what is known of a gauge when it reads the gate now: of several descriptions
// that with the widest guard band.
func (s *State) DoubtOf(gate steps.Gate, gauge steps.Gauge) measuring.Doubt {
	now := reading{position: s.Size(), ReadingTaken: journal.ReadingTaken{Gate: gate.Name, Gauge: gauge.Name}}
	for _, g := range s.studies {
		if g.At.After(now.at) {
			now.at = g.At
		}
	}
	return slices.MaxFunc(s.studied(now, []measuring.Doubt{gauge.Doubt()}), func(a, b measuring.Doubt) int {
		return cmp.Compare(a.Guard(gate.Unit()), b.Guard(gate.Unit()))
	})
}

// StudyGauge records a study of a gauge for the readings of a gate.
type StudyGauge struct {
	Gauge, Gate string
	Readings    []journal.StudyReading
	Note        string
}

// What is wrong with one of the readings is a [spread.StudyError], which says which.
func (r StudyGauge) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	gauge, ok := s.Sheet.Gauge(r.Gauge)
	if !ok {
		return nil, unknown("gauge", r.Gauge, gaugeNames(s.Sheet))
	}
	gate, ok := s.Sheet.Gate(r.Gate)
	if !ok {
		return nil, unknown("gate", r.Gate, gateNames(s.Sheet.Gates))
	}
	if have, want := gauge.Resolution.Dimension(), gate.Dimension(); have != want {
		return nil, bad("%s reads a %s, and %s is a %s", gauge.Name, have, gate.Name, want)
	}
	for i, one := range r.Readings {
		for _, name := range []string{one.Person, one.Part} {
			if name == "" || len(name) > 64 {
				return nil, &spread.StudyError{At: i, Why: "name who read, and which part, in at most 64 letters each"}
			}
		}
		if have := one.Value.Dimension(); have != gate.Dimension() {
			return nil, &spread.StudyError{At: i, Why: one.Value.Typed() + " is a " + string(have) + ", not a " + string(gate.Dimension())}
		}
		if err := shown(gauge, one.Value); err != nil {
			return nil, &spread.StudyError{At: i, Why: err.Error()}
		}
	}
	unit := gate.Unit()
	found, err := studyOf(r.Readings, unit)
	if err != nil {
		return nil, err
	}
	if len(r.Note) > 8192 {
		return nil, bad("the note is longer than 8 KiB")
	}
	if reasons := s.barred(r.Gauge, c.At); len(reasons) > 0 {
		return nil, &Refusal{What: "the study of " + r.Gauge, Reasons: reasons}
	}
	if reason := s.Untrusted(c.Now); reason != nil {
		return nil, &Refusal{What: "the study of " + r.Gauge, Reasons: []Reason{*reason}}
	}
	facts := journal.GaugeStudied{Gauge: r.Gauge, Gate: r.Gate, Readings: r.Readings, Note: strings.TrimSpace(r.Note),
		Repeatability: measuring.RoundedUp(found.Factor()*found.Repeatability, unit), Whole: measuring.RoundedUp(found.Factor()*found.Gauge(), unit)}
	if facts.Repeatability.IsZero() || facts.Whole.IsZero() {
		return nil, bad("the readings lie too far apart to be of one kind of part")
	}
	return []journal.Facts{facts}, nil
}

// A StudyReport is a study held against its gate.
type StudyReport struct {
	GaugeStudy
	spread.Study
	Unit        string
	OfTolerance float64 // the share of the tolerance that the gauge takes up; 0: the gate lacks one of its limits
	// Passes are the values that can pass with it; not Decides: there are none.
	Passes  measuring.Limits
	Decides bool
	Now     steps.Gate
}

// StudyReports are the studies of a gauge, held against their gates as they are now.
func (s *State) StudyReports(gauge steps.Gauge) ([]StudyReport, error) {
	var all []StudyReport
	for _, g := range s.Studies(gauge.Name) {
		found, err := g.Shows()
		if err != nil {
			return nil, err
		}
		r := StudyReport{GaugeStudy: g, Study: found, Unit: g.Whole.Unit()}
		if gate, ok := s.Sheet.Gate(g.Gate); ok {
			r.Now = gate
			doubt := s.DoubtOf(gate, gauge)
			within, alike := gate.Rule().Decidable(measuring.Doubts{Gauges: []measuring.Doubt{doubt}})
			if r.Decides = within && alike; r.Decides {
				r.Passes, _ = gate.Rule().Passing(doubt)
			}
			low, err1 := gate.Limits.Low.Span(r.Unit)
			high, err2 := gate.Limits.High.Span(r.Unit)
			if gate.Alone() && err1 == nil && err2 == nil && high.Cmp(low) > 0 {
				r.OfTolerance = spread.OfTolerance(found.Gauge(), high.Sub(high, low))
			}
		}
		all = append(all, r)
	}
	return all, nil
}
