package workflow

import (
	"fmt"
	"math"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// gateRecord is everything the journal says of one gate.
type gateRecord struct {
	readings   []reading
	reworked   int64 // position of the last rework; -1: none
	concession *concession
}

type reading struct {
	position int64
	at       time.Time
	journal.ReadingTaken

	doubt  measuring.Doubt  // of its gauge, from the sheet in force then
	result measuring.Result // that it was read for by that sheet

	chord quantity.Quantity // that a throw was converted by; absent: it was read as it is measured
}

type concession struct {
	position int64
	at       time.Time
	reason   string
	by       string
}

//go:noinline
func (s *State) gate(name string) *gateRecord {
	if s.gates[name] == nil {
		s.gates[name] = &gateRecord{reworked: -1}
	}
	return s.gates[name]
}

// A GateStanding is how a gate stands, as JSON has it. Words says it to people.
type GateStanding string

// The values of GateStanding.
const (
	NeverTaken GateStanding = "never taken"
	Measuring  GateStanding = "being measured" // points or readings are missing
	Current    GateStanding = "current"        // in tolerance, newer than every disturbance
	Failed     GateStanding = "out of tolerance"
	Undecided  GateStanding = "undecided"
	Conceded   GateStanding = "conceded" // not met, accepted for use by a concession
	StaleGate  GateStanding = "stale"    // its zones were disturbed since, or what was read is in doubt
)

// Words is the standing in the words used for people.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (s GateStanding) Words() string {
	switch s {
	case NeverTaken:
		return "not measured yet"
	case Current:
		return "passed"
	}
	return string(s)
}

// A GateReport is a gate as it stands.
type GateReport struct {
	Gate     steps.Gate
	Standing GateStanding
	Finding  measuring.Finding
	Reason   Cause            // why it does not count; zero where it does
	Points   []AtPoint        // the readings that count
	Last     time.Time        // of the latest reading of all, counting or not
	Rests    []int64          // the positions of the readings that count
	Doubts   measuring.Doubts // that they were judged with
	Repeat   int              // how many of them at each point were judged; 0: none were
	By       string           // concession: who granted it
	Doubted  bool             // nothing counts, because its gauge was found not to be good
}

// AtPoint is one point of a gate with the readings that count there.
type AtPoint struct {
	Name     string
	Readings []quantity.Quantity
}

// Met reports whether work may go on past the gate.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (r GateReport) Met() bool { return r.Standing == Current || r.Standing == Conceded }

// Gates returns every gate the airframe has, as it stands at the time.
func (s *State) Gates(at time.Time) []GateReport {
	work := func() []GateReport { return s.allGates(at) }
	if s.memo == nil {
		return work()
	}
	return slices.Clone(s.memo.gates.of(at, work))
}

// GatesOfUse are those that are not of the work at a step alone.
func (s *State) GatesOfUse(at time.Time) (all []GateReport) {
	gates := s.Gates(at)
	for i := range gates {
		if !gates[i].Gate.Work {
			all = append(all, gates[i])
		}
	}
	return all
}

func (s *State) allGates(at time.Time) []GateReport {
	var reports []GateReport
	for _, g := range s.Sheet.GatesFor(s.selected) {
		reports = append(reports, s.report(g, at))
	}
	return reports
}

// GateReport returns the gate of that name as it stands at the time.
func (s *State) GateReport(name string, at time.Time) (GateReport, error) {
	if g, ok := s.Sheet.Gate(name); ok && g.In(s.selected) {
		return s.report(g, at), nil
	}
	return GateReport{}, unknown("gate", name, gateNames(s.Sheet.GatesFor(s.selected)))
}

func gateNames(gates []steps.Gate) []string {
	names := make([]string, len(gates))
	for i, g := range gates {
		names[i] = g.Name
	}
	return names
}

// report is the gate as it stands. That nobody measured it may be conceded, and counts
// as long as a reading of then would: neither work nor a reading came after it.
func (s *State) report(g steps.Gate, at time.Time) GateReport {
	r := s.measured(g, at)
	record := s.gates[g.Name]
	if g.Work || record == nil || record.concession == nil || r.Standing != NeverTaken && r.Standing != StaleGate {
		return r
	}
	c := record.concession
	if n := len(record.readings); n > 0 && record.readings[n-1].position > c.position {
		return r
	}
	if no, _ := s.discounts(g, record, nil, s.jointsOf(g), reading{position: c.position, at: c.at}, at); no.IsZero() {
		r.Standing, r.Reason, r.By = Conceded, Cause{Text: "not measured; " + c.reason}, c.by
	}
	return r
}

// measured is the gate by what was read.
func (s *State) measured(g steps.Gate, at time.Time) GateReport {
	var r GateReport
	found := false
	if g.Work { // it stands as the step has it whose turn it is
		for _, j := range s.Jobs {
			for _, step := range s.heads(j, at) {
				if lists.Contains(step.Gates, g.Name) && (!found || r.Met()) {
					r, found = s.reportFrom(g, s.readFrom(j, *step, at), at), true
				}
			}
		}
	}
	if found {
		return r
	}
	return s.reportFrom(g, moment{}, at)
}

// A moment is a place in the journal and a time. What is newer is newer by both.
type moment struct {
	position int64
	at       time.Time
	what     string // in words: since … was done
}

// reportFrom is the gate by what was read since a moment, in the way in which it was read
// last. What was read in its other way speaks only against it: what failed there by a
// reading typed in later, and what it left undecided unless this way is at least as
// accurate and agrees with it. Else who measures until it passes would pick the lucky way.
func (s *State) reportFrom(g steps.Gate, from moment, at time.Time) GateReport {
	record := s.gates[g.Name]
	if g.Or.Gauge == "" || record == nil || len(record.readings) == 0 {
		return s.reportOf(g, from, at)
	}
	r := s.reportOf(g.For(last(record.readings).Point), from, at)
	if r.Standing != Current && r.Standing != Measuring {
		return r
	}
	way, _ := r.Gate.Other()
	other := s.reportOf(way, from, at)
	if other.Standing == Failed && other.Finding.Missing == "" {
		return other
	}
	if r.Standing != Current || other.Standing != Undecided || other.Finding.Missing != "" {
		return r
	}
	was, wasU, ok := s.valueOf(other)
	value, u, _ := s.valueOf(r)
	switch {
	case !ok || u > wasU:
		why := fmt.Sprintf("the %s left it undecided, and the %s is less accurate here", way.Gauge, r.Gate.Gauge)
		other.Finding.Reason, other.Reason = why, Cause{Text: why}
		return other
	case math.Abs(value-was) > math.Hypot(u, wasU):
		why := fmt.Sprintf("%s and %s differ by more than both are accurate to: check both gauges", way.Gauge, r.Gate.Gauge)
		r.Standing, r.Finding.Verdict, r.Finding.Reason, r.Reason = Undecided, measuring.Undecided, why, Cause{Text: why}
	}
	return r
}

// OtherWay is a gate by what was read in its other way, if it has one.
func (s *State) OtherWay(r GateReport, at time.Time) (GateReport, bool) {
	way, ok := r.Gate.Other()
	if !ok {
		return r, false
	}
	return s.reportOf(way, moment{}, at), true
}

// valueOf is the one value that a gate was judged by and its expanded uncertainty, in the
// unit of its limits.
func (s *State) valueOf(r GateReport) (value, u float64, ok bool) {
	for _, part := range s.Parts(r) {
		if part.Known && (len(part.Of) == 0 || len(part.Of) == 1 && r.Gate.Result.IsZero()) && !math.IsInf(part.U, 0) {
			one := scaleOf(part.Unit, r.Gate.Limits.Unit())
			return part.Value * one, part.U * one, true
		}
	}
	return 0, math.Inf(1), false
}

// reportOf is the gate, in one way of measuring it, by what was read since a moment.
func (s *State) reportOf(g steps.Gate, from moment, at time.Time) GateReport {
	record, known := s.gates[g.Name]
	r := GateReport{Gate: g}
	if !known || len(record.readings) == 0 {
		r.Standing, r.Reason.Text = NeverTaken, NeverTaken.Words()
		return r
	}
	r.Last = record.readings[len(record.readings)-1].at
	counting, why, doubted := s.counting(g, record, at)
	if was := counting; len(was) > 0 {
		counting = nil
		for i := range was {
			if t := &was[i]; t.position >= from.position && !t.at.Before(from.at) {
				counting = append(counting, *t)
			}
		}
		if len(counting) == 0 {
			why, doubted = Cause{"not " + from.what, from.at}, false
		}
	}
	if len(counting) == 0 {
		r.Standing, r.Reason, r.Doubted = StaleGate, why, doubted
		if g.Work {
			r.Standing = NeverTaken // nothing makes it stale: it is not taken yet
		}
		return r
	}
	r = s.judged(r, counting)
	if r.Finding.Missing != "" && doubted {
		r.Reason = why.after(r.Reason.Text + "; ")
	}
	if odds := s.atOdds(r, at); odds != "" {
		return GateReport{Gate: g, Standing: StaleGate, Reason: Cause{Text: odds}, Last: r.Last}
	}
	if c := record.concession; c != nil && !r.Met() && r.Finding.Missing == "" && c.position > last(counting).position {
		r.Standing, r.Reason, r.By = Conceded, Cause{Text: c.reason}, c.by
	}
	return r
}

// ParseReading reads a value at the gate. A throw may be an angle or a travel.
func (s *State) ParseReading(gate steps.Gate, text string) (quantity.Quantity, error) {
	q, err := quantity.ParseIn(text, gate.Unit())
	if _, throw := s.Sheet.ControlOf(gate.Name); err != nil && throw {
		for _, of := range []quantity.Dimension{quantity.Angle, quantity.Length} {
			if other, err := quantity.Parse(text, of); err == nil {
				return other, nil
			}
		}
	}
	return q, err
}

// counting returns the readings that count. They are newer than every
// disturbance of the gate's zones, than its last rework and, at each point, by
// entry and by time, than the last reading in doubt. A reading before one in
// doubt does not count again, because the doubted one may have been true. why
// says why the last of the others does not count, and doubted whether that is
// because of doubt.
func (s *State) counting(g steps.Gate, record *gateRecord, at time.Time) (left []reading, why Cause, doubted bool) {
	last, joints := s.lastInDoubt(record), s.jointsOf(g)
	for _, t := range record.readings {
		if no, inDoubt := s.discounts(g, record, last, joints, t, at); !no.IsZero() {
			why, doubted = no, inDoubt
			continue
		}
		left = append(left, t)
	}
	return left, why, doubted
}

// discounts says why a reading does not count, and whether that is because of
// doubt; the zero Cause if it counts.
func (s *State) discounts(g steps.Gate, record *gateRecord, last map[string]lastDoubt, joints []*Joint, t reading, at time.Time) (why Cause, doubted bool) {
	if d, zone, ok := s.disturbedSince(g, t); ok {
		by, when := s.disturber(zone, d, t)
		if zone == steps.MassZone {
			return Cause{"the balance was changed by " + by, when}, false
		}
		if lists.Contains(g.Of, zone) {
			return Cause{zone + " was disturbed by " + by, when}, false
		}
		return Cause{"it was measured before " + by, when}, false
	}
	if t.position < record.reworked {
		return Cause{Text: "it was reworked"}, false
	}
	if why := s.chosenSince(g.Where, t); !why.IsZero() {
		return why, false
	}
	if why := s.otherwise(g, t); why != "" {
		return Cause{Text: why}, false
	}
	if since := wayLeft(g, record, t); !since.IsZero() {
		return Cause{"it was measured in another way since", since}, false
	}
	// When it was measured the joint had its strength, by what was known then; a
	// colder bench was typed in later.
	for _, joint := range joints {
		if t.at.Before(joint.Handles()) {
			return Cause{Text: fmt.Sprintf("joint %s had no handling strength yet", joint.Name)}, false
		}
	}
	if over := s.outlived(g.Validity, t, at); over != "" {
		return Cause{Text: over}, false
	}
	if d, ok := last[t.Point]; ok && (t.position <= d.position || t.at.Before(d.at)) {
		return d.check.Doubts(), true
	}
	return Cause{}, false
}

// jointsOf are the joined joints of the gate's zones.
func (s *State) jointsOf(g steps.Gate) (of []*Joint) {
	for _, j := range s.joints() {
		if !j.Joined.IsZero() && g.DependsOn(j.Zones...) {
			of = append(of, j)
		}
	}
	return of
}

// wayLeft is when a gate was read in its other way after a reading, by entry or by time,
// where it is read in the first way again; zero: it was not. The set of a way is begun
// anew then, or one scale alone would revive what the other one showed before.
func wayLeft(g steps.Gate, record *gateRecord, t reading) (at time.Time) {
	if g.Or.Gauge == "" || t.Value.IsZero() {
		return at
	}
	is := func(r reading) bool { return lists.Contains(g.PointNames(), r.Point) }
	if !is(last(record.readings)) {
		return at
	}
	for _, r := range record.readings {
		if !is(r) && (r.position > t.position || r.at.After(t.at)) {
			at = r.at
		}
	}
	return at
}

// otherwise says why a reading tells nothing of a gate that a newer sheet has measured in
// another way: with other things, on scales at other places, or a throw at another chord;
// "": it does.
func (s *State) otherwise(g steps.Gate, t reading) string {
	control, _ := s.Sheet.ControlOf(g.Name)
	switch {
	case t.Value.IsZero(): // of a concession, nothing was read
	case g.Or.Gauge != "" && !lists.Contains(g.PointNames(), t.Point):
		return "it was measured in another way since"
	case t.Value.Dimension() != g.Dimension():
		return fmt.Sprintf("it was read as a %s, and is measured as a %s now", t.Value.Dimension(), g.Dimension())
	case !t.result.SamePlaces(g.Result):
		return "its scales stood at other places, or were others"
	case !t.chord.IsZero() && !t.chord.Equal(control.Chord):
		return fmt.Sprintf("it was converted by a chord of %s, which is another now", t.chord)
	}
	return ""
}

// chosenSince says that an answer which decides whether a gate is there was given
// after the reading: what was measured then may have been taken off since.
func (s *State) chosenSince(w steps.Where, t reading) Cause {
	for _, option := range w.Options() {
		c, _ := s.Sheet.Choice(option)
		for _, choice := range []string{option, c.Name} { // it may have been a choice of its own
			at, chosen := s.chosenAt[choice]
			if !chosen || t.position > at && !t.at.Before(s.Entries[at].At) {
				continue
			}
			answer := s.chosen[choice]
			if answer == steps.No {
				answer = "no " + choice
			}
			return Cause{answer + " was chosen", s.Entries[at].At}
		}
	}
	return Cause{}
}

// outlived says why a reading has expired: it is older, or has seen more
// flights, than the sheet allows. "": it has not.
func (s *State) outlived(life steps.Validity, t reading, at time.Time) string {
	if life.Flights > 0 {
		if n := s.flightsSince(t); n >= life.Flights {
			flights := "flights"
			if n == 1 {
				flights = "flight"
			}
			return fmt.Sprintf("%d %s since it was taken, and it is valid for %d", n, flights, life.Flights)
		}
	}
	if life.Days > 0 && !at.Before(t.at.AddDate(0, 0, life.Days)) {
		return fmt.Sprintf("it is more than %d days old", life.Days)
	}
	return ""
}

// disturbedSince reports whether a zone of the gate was disturbed after the
// reading. Newer must hold by position and by time: of two answers the one
// that asks for another measurement is safe. A mark matters to the gates of no zone but
// its own.
func (s *State) disturbedSince(g steps.Gate, t reading) (disturbance, string, bool) {
	var last disturbance
	var zone string
	found := false
	marks := s.shifted
	if len(g.Of) == 1 {
		marks = s.zones
	}
	see := func(z string) {
		d, ok := marks[z]
		if !ok || t.position > d.position && !t.at.Before(d.at) {
			return
		}
		if !found || d.position > last.position {
			last, zone, found = d, z, true
		}
	}
	for _, z := range g.Zones() {
		see(z)
	}
	see(steps.OfGate(g.Name))
	return last, zone, found
}

// disturber is what disturbed the zone after the reading, and when that happened: the
// one entered last, or one entered before the reading and of a later time.
func (s *State) disturber(zone string, d disturbance, t reading) (by string, at time.Time) {
	if t.position <= d.position {
		return d.by, s.Entries[d.position].At
	}
	for _, e := range slices.Backward(s.Entries[:d.position+1]) {
		if by, zones := s.disturbs(e); s.Live(e.Position) && e.At.Equal(d.at) && lists.Contains(zones, zone) {
			return by, d.at
		}
	}
	return d.by, d.at
}

// LifeLeft is how much longer the gate counts: for so many flights, and until a
// time; 0 and zero where it has no such life. It is of no use for a gate that has
// not passed.
func (s *State) LifeLeft(g GateReport) (flights int, until time.Time) {
	life := g.Gate.Validity
	for _, t := range s.gate(g.Gate.Name).readings {
		if !lists.Contains(g.Rests, t.position) {
			continue
		}
		if left := life.Flights - s.flightsSince(t); life.Flights > 0 && (flights == 0 || left < flights) {
			flights = left
		}
		if end := t.at.AddDate(0, 0, life.Days); life.Days > 0 && (until.IsZero() || end.Before(until)) {
			until = end
		}
	}
	return flights, until
}

// It is not inlined: its copies in all callers would take 4 KB.
//
//go:noinline
func lastOf(readings []reading, point string, n int) []reading {
	var at []reading
	for _, t := range readings {
		if t.Point == point {
			at = append(at, t)
		}
	}
	return at[max(0, len(at)-n):]
}

func last(readings []reading) reading { return readings[len(readings)-1] }

// NeedsRework reports whether a gate must be reworked before it is measured
// again. The rest of its points are measured first.
func (r GateReport) NeedsRework() bool { return r.Standing == Failed && r.Finding.Missing == "" }
