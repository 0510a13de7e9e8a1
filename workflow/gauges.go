package workflow

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A GaugeCheck is a check of a gauge with what was found.
type GaugeCheck struct {
	journal.GaugeChecked
	Position int64
	At       time.Time
	By       string
	Off      measuring.Deviation

	doubt measuring.Doubt // of the gauge, by the sheet in force then
}

// Doubts says why this check casts doubt on a reading.
func (c GaugeCheck) Doubts() Cause {
	return Cause{fmt.Sprintf("it was read with %s, which was found %s", c.Gauge, c.Off.Found()), c.At}
}

// gaugeRecord is every check of one gauge that was not taken back.
type gaugeRecord struct {
	entered []*GaugeCheck // in the order of entry
	timed   []*GaugeCheck // in the order in which they were made
}

// checked adds a check to the record of its gauge.
func (s *State) checked(e journal.Entry) error {
	f := e.Facts.(journal.GaugeChecked)
	if s.gauges[f.Gauge] == nil {
		s.gauges[f.Gauge] = &gaugeRecord{}
	}
	g := s.gauges[f.Gauge]
	gauge, _ := s.Sheet.Gauge(f.Gauge)
	c := &GaugeCheck{GaugeChecked: f, Position: e.Position, At: e.At, By: e.By, doubt: gauge.Doubt()}
	g.entered = append(g.entered, c)
	g.timed = sorting.Insert(g.timed, g.byTime(e.Position, e.At), c)
	return nil
}

// judgeChecks decides which checks were good: by the sheet in force then and by
// the present one, which may be stricter.
func (s *State) judgeChecks() {
	for _, g := range s.gauges {
		for _, c := range g.entered {
			c.Off = c.doubt.Check(c.Reads, c.Of)
			gauge, ok := s.Sheet.Gauge(c.Gauge)
			if again := gauge.Doubt().Check(c.Reads, c.Of); ok && c.Off.Good && !again.Good {
				c.Off = again
			}
		}
	}
}

// GaugeChecks returns every check of a gauge that was not taken back, in the
// order of entry.
func (s *State) GaugeChecks() []GaugeCheck {
	var all []GaugeCheck
	for _, g := range s.gauges {
		for _, c := range g.entered {
			all = append(all, *c)
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return cmp.Compare(a.Position, b.Position)
	})
	return all
}

// byEntry and byTime return how many checks come before a place in the journal.
func (g *gaugeRecord) byEntry(position int64) int {
	i, _ := slices.BinarySearchFunc(g.entered, position, func(c *GaugeCheck, p int64) int { return int(c.Position - p) })
	return i
}

func (g *gaugeRecord) byTime(position int64, at time.Time) int {
	i, _ := slices.BinarySearchFunc(g.timed, position, func(c *GaugeCheck, p int64) int {
		if d := c.At.Compare(at); d != 0 {
			return d
		}
		return int(c.Position - p)
	})
	return i
}

// checkBefore and checkAfter return the checks before and after index i; nil:
// none.
func checkBefore(checks []*GaugeCheck, i int) *GaugeCheck {
	if i == 0 {
		return nil
	}
	return checks[i-1]
}

func checkAfter(checks []*GaugeCheck, i int) *GaugeCheck {
	if i == len(checks) {
		return nil
	}
	return checks[i]
}

func (c *GaugeCheck) bad() bool { return c != nil && !c.Off.Good }

// lastBad returns the last check of a gauge if it failed; nil if it was good or
// there is none. Both the last one entered and the last one made by the time
// must be good: of two answers the one that asks for another check is safe.
func (s *State) lastBad(gauge string, at time.Time) *GaugeCheck {
	g := s.gauges[gauge]
	if g == nil {
		return nil
	}
	if c := checkBefore(g.entered, len(g.entered)); c.bad() {
		return c
	}
	if c := checkBefore(g.timed, g.byTime(s.Size(), at)); c.bad() {
		return c
	}
	return nil
}

// barred says why a gauge may not be used at the time. One that was never
// checked may.
func (s *State) barred(gauge string, at time.Time) []Reason {
	c := s.lastBad(gauge, at)
	if c == nil {
		return nil
	}
	return []Reason{{Because: ByGauge,
		Text: fmt.Sprintf("%s failed its last check (entry %d): it was found %s", gauge, c.Position, c.Off.Found()), At: c.At,
		Remedy: s.remedy(Remedy{Kind: ToCheckGauge, Gauge: gauge, Value: c.Of})}}
}

// measureIt is the remedy for a gate that must be measured: check its gauge
// first if that is barred.
func (s *State) measureIt(g steps.Gate, at time.Time) Remedy {
	if c := s.lastBad(g.Gauge, at); c != nil {
		return s.remedy(Remedy{Kind: ToCheckGauge, Gauge: g.Gauge, Value: c.Of, Gate: g.Name})
	}
	return s.remedy(Remedy{Kind: ToMeasure, Gate: g.Name, Points: g.Readings(), Unit: g.Unit()})
}

// ToMeet is what helps where a gate is not met.
func (s *State) ToMeet(r GateReport, at time.Time) Remedy {
	if r.NeedsRework() {
		return s.remedy(Remedy{Kind: ToRework, Gate: r.Gate.Name})
	}
	if not := s.nothingToMeasure(r.Gate, at); len(not) > 0 {
		return not[0].Remedy
	}
	do := s.measureIt(r.Gate, at)
	if do.Kind == ToMeasure && r.Finding.Missing != "" {
		do.Points = r.Missing() // one that is out already takes no more
	}
	if r.Standing == Undecided && r.Finding.Missing == "" && do.Kind == ToMeasure {
		do.Kind, do.Names, do.Concede, do.Coarse = ToDecide, s.finer(r.Gate, at), !r.Gate.Critical, r.Finding.Judged.TooCoarse()
		if apart := r.Finding.Unsteady; len(apart) > 0 {
			do.Kind, do.Anew, do.Points = ToBeginAnew, r.Gate.Rule().Anew(), nil
			for _, point := range apart {
				do.Points = append(do.Points, slices.Repeat([]string{point}, do.Anew)...)
			}
		}
	}
	return do
}

// finer are the gauges that could decide a gate which its own leaves undecided, of those
// that can measure it by the sheet.
func (s *State) finer(g steps.Gate, at time.Time) []string {
	own, _ := s.Sheet.Gauge(g.Gauge)
	var names []string
	for _, name := range g.Finer {
		if other, ok := s.Sheet.Gauge(name); ok && other.Resolution.Dimension() == own.Resolution.Dimension() && s.DoubtOf(g, other).Guard(g.Unit()) < s.DoubtOf(g, own).Guard(g.Unit()) && s.lastBad(other.Name, at) == nil {
			names = append(names, other.Name)
		}
	}
	return names
}

// inDoubt returns the check that casts doubt on a reading: a failed one that is
// the next after the reading, or the last before it, by entry or by time. nil:
// the reading is not in doubt.
func (s *State) inDoubt(t reading) *GaugeCheck {
	g := s.gauges[t.Gauge]
	if g == nil {
		return nil
	}
	entered, timed := g.byEntry(t.position), g.byTime(t.position, t.at)
	for _, c := range []*GaugeCheck{checkAfter(g.entered, entered), checkAfter(g.timed, timed), checkBefore(g.entered, entered), checkBefore(g.timed, timed)} {
		if c.bad() {
			return c
		}
	}
	return nil
}

// lastDoubt is the last place, by entry and by time, of a reading in doubt, and
// the check that casts the doubt.
type lastDoubt struct {
	position int64
	at       time.Time
	check    *GaugeCheck
}

// lastInDoubt returns the last reading in doubt at each point of a gate.
func (s *State) lastInDoubt(record *gateRecord) map[string]lastDoubt {
	var last map[string]lastDoubt
	if len(s.gauges) == 0 {
		return last
	}
	for _, t := range record.readings {
		if c := s.inDoubt(t); c != nil {
			if last == nil {
				last = map[string]lastDoubt{}
			}
			at := t.at
			if before := last[t.Point].at; before.After(at) {
				at = before
			}
			last[t.Point] = lastDoubt{t.position, at, c}
		}
	}
	return last
}

// lastCheck returns the last check of a gauge before a place in the journal; nil:
// none.
func (s *State) lastCheck(gauge string, position int64, at time.Time) *GaugeCheck {
	g := s.gauges[gauge]
	if g == nil {
		return nil
	}
	return checkBefore(g.timed, g.byTime(position, at))
}

// A GaugeReport is a gauge as it stands.
type GaugeReport struct {
	Gauge   steps.Gauge
	Last    *GaugeCheck // nil: never checked in this record
	Barred  []Reason    // why it may not be used; none: it may
	InDoubt []int64     // its readings that are in doubt
	Again   []string    // the gates that are to be measured again for that
	Stays   []string    // the gates that stay in doubt: of work that is done, which no step measures again
	Studies []StudyReport
}

// GaugeReport returns the gauge of that name as it stands at the time.
func (s *State) GaugeReport(name string, at time.Time) (GaugeReport, error) {
	gauge, ok := s.Sheet.Gauge(name)
	if !ok {
		return GaugeReport{}, unknown("gauge", name, gaugeNames(s.Sheet))
	}
	studies, err := s.StudyReports(gauge)
	if err != nil {
		return GaugeReport{}, err
	}
	r := GaugeReport{Gauge: gauge, Last: s.lastCheck(name, s.Size(), at), Barred: s.barred(name, at), Studies: studies}
	for _, e := range s.Entries {
		f, ok := e.Facts.(journal.ReadingTaken)
		if ok && f.Gauge == name && s.Live(e.Position) && s.inDoubt(reading{position: e.Position, at: e.At, ReadingTaken: f}) != nil {
			r.InDoubt = append(r.InDoubt, e.Position)
		}
	}
	for _, g := range s.Gates(at) {
		read := func(p int64) bool { return s.Entries[p].Facts.(journal.ReadingTaken).Gate == g.Gate.Name }
		switch {
		case !g.Doubted || !slices.ContainsFunc(r.InDoubt, read):
		case g.Gate.Work && !s.stillAsked(g.Gate.Name, at):
			r.Stays = append(r.Stays, g.Gate.Name)
		default:
			r.Again = append(r.Again, g.Gate.Name)
		}
	}
	return r, nil
}

// stillAsked reports whether a step that is not done asks for the gate by its name.
func (s *State) stillAsked(gate string, at time.Time) bool {
	for _, j := range s.Jobs {
		for _, stage := range j.Procedure.Stages {
			for i := range stage.Steps {
				if lists.Contains(stage.Steps[i].Gates, gate) && !s.met(j, stage, i, at) {
					return true
				}
			}
		}
	}
	return false
}

// CheckGauge records what a gauge read of a reference of known size.
type CheckGauge struct {
	Gauge     string
	Of, Reads quantity.Quantity
	Note      string
}

func (r CheckGauge) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	gauge, ok := s.Sheet.Gauge(r.Gauge)
	if !ok {
		return nil, unknown("gauge", r.Gauge, gaugeNames(s.Sheet))
	}
	if r.Of.IsZero() || r.Reads.IsZero() {
		return nil, bad("a check of %s needs both what it reads and the size of the reference", r.Gauge)
	}
	for _, q := range []quantity.Quantity{r.Of, r.Reads} {
		if want := gauge.Resolution.Dimension(); q.Dimension() != want {
			return nil, bad("%s is a %s, not a %s; %s reads %s", q.Typed(), q.Dimension(), want, r.Gauge, gauge.Resolution.Unit())
		}
	}
	if err := shown(gauge, r.Reads); err != nil {
		return nil, err
	}
	if len(r.Note) > 8192 {
		return nil, bad("the note is longer than 8 KiB")
	}
	if reason := s.Untrusted(c.Now); reason != nil {
		return nil, &Refusal{What: "the check of " + r.Gauge, Reasons: []Reason{*reason}}
	}
	return []journal.Facts{journal.GaugeChecked{Gauge: r.Gauge, Of: r.Of, Reads: r.Reads, Note: strings.TrimSpace(r.Note)}}, nil
}
