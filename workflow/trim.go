package workflow

import (
	"math"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// A Trimmed is a control surface as it stood after the last flight whose trims were
// logged, and how that is taken out of the transmitter: by the linkage.
type Trimmed struct {
	journal.Trim
	Control steps.Control
	Flight  int64 // the entry of the flight; 0: it is not logged yet
	At      time.Time

	Turns  float64  // of the clevis, that take it out
	Lacks  []string // the keys of the control without which nobody knows the turns
	Rework string   // the gate whose rework is recorded then; "": no gate measures its throw
	ByWay  int      // of its rework, where there are several
	Again  []string // the gates that are measured again then
	Out    bool     // its gate was reworked since
}

// A Thread is what is known of the turns of thread in the clevis of a control.
type Thread struct {
	Gate, Point string  // where they are counted; "": nowhere
	Seen        float64 // turns
	Known       bool    // they were counted, and the reading counts
	Low, High   float64 // turns that pass the gate, with its gauge; NaN: no such limit
}

// Longer is by how many turns the rod may be lengthened, and Shorter shortened, in half
// turns, so that the gate still passes.
func (t Thread) Longer() float64  { return room(t.Seen - t.Low) }
func (t Thread) Shorter() float64 { return room(t.High - t.Seen) }

func room(turns float64) float64 {
	if math.IsNaN(turns) {
		return math.Inf(1)
	}
	return max(0, math.Floor(turns*2+1e-9)/2)
}

// Thread is the thread in the clevis by which a trim is taken out.
func (s *State) Thread(of Trimmed, at time.Time) Thread {
	gate, ok := s.Sheet.Gate(of.Control.Clevis.Gate)
	if !ok || !gate.In(s.selected) {
		return Thread{}
	}
	t := Thread{Gate: gate.Name, Point: of.Control.Clevis.On(of.Way)}
	turns := func(q quantity.Quantity) float64 {
		if q.IsZero() {
			return math.NaN()
		}
		return float(q.Rat("turn"))
	}
	limits := gate.Limits
	if gauge, ok := s.Sheet.Gauge(gate.Gauge); ok {
		if pass, ok := gate.Rule().Passing(s.DoubtOf(gate, gauge)); ok {
			limits = pass
		}
	}
	t.Low, t.High = turns(limits.Low), turns(limits.High)
	for _, p := range s.report(gate, at).Points {
		if p.Name == t.Point && len(p.Readings) > 0 {
			t.Seen, t.Known = turns(p.Readings[len(p.Readings)-1]), true
		}
	}
	return t
}

// Trims are the surfaces that a logged trim left away from neutral, each by the latest
// flight that says how it stood.
func (s *State) Trims() []Trimmed {
	type stood struct {
		journal.Trim
		flight Flight
	}
	var latest []stood
	for _, f := range s.Flights {
		for _, t := range f.Trims {
			if s.trims([]journal.Trim{t}) != nil { // of another sheet, or of a store elsewhere
				continue
			}
			i := slices.IndexFunc(latest, func(o stood) bool { return sameSurface(o.Trim, t) })
			switch {
			case i < 0:
				latest = append(latest, stood{t, f})
			case !f.At.Before(latest[i].flight.At):
				latest[i] = stood{t, f}
			}
		}
	}
	var all []Trimmed
	for _, t := range latest {
		if one, ok := s.Trimmed(t.Trim); ok && t.Value.Sign() > 0 {
			one.Flight, one.At = t.flight.Position, t.flight.At
			one.Out = lists.ContainsFunc(one.Control.Gates, func(gate string) bool { return s.reworkedSince(gate, t.flight) })
			all = append(all, one)
		}
	}
	return all
}

func sameSurface(a, b journal.Trim) bool {
	one, _ := steps.Side(a.Way)
	other, _ := steps.Side(b.Way)
	return a.Control == b.Control && one == other
}

// reworkedSince reports whether the gate was reworked after the flight, by entry and by time.
func (s *State) reworkedSince(gate string, f Flight) bool {
	record := s.gates[gate]
	return record != nil && record.reworked > f.Position && !s.Entries[record.reworked].At.Before(f.At)
}

// trimmedAt reports whether a trim is left to take out at the control whose throw the gate
// measures, so that the gate is reworked though it has passed.
func (s *State) trimmedAt(gate string) bool {
	return slices.ContainsFunc(s.Trims(), func(t Trimmed) bool { return t.Rework == gate && !t.Out })
}

// Trimmed is how the trim is taken out, and what is measured again then: what the rework of
// its throw makes stale. False: the airframe has no such control.
func (s *State) Trimmed(t journal.Trim) (Trimmed, bool) {
	control, ok := s.Sheet.Control(t.Control)
	if !ok || !control.In(s.selected) {
		return Trimmed{}, false
	}
	one := Trimmed{Trim: t, Control: control}
	one.Turns, _ = control.Turns(t.Value)
	for _, key := range []struct {
		name string
		is   quantity.Quantity
	}{{"horn", control.Horn}, {"thread", control.Thread}} {
		if key.is.IsZero() {
			one.Lacks = append(one.Lacks, key.name)
		}
	}
	var zones []string
	for _, name := range control.Gates {
		gate, ok := s.Sheet.Gate(name)
		if !ok || !gate.In(s.selected) || one.Rework != "" {
			continue
		}
		one.Rework = name
		zones = gate.Of
		for i, way := range gate.Reworks {
			if i == 0 {
				zones = nil
			}
			zones = append(zones, gate.Reworking(way)...)
		}
		if i := slices.IndexFunc(gate.Reworks, func(w steps.Rework) bool { return lists.Contains(w.Again, control.Clevis.Gate) }); i >= 0 {
			one.ByWay, zones = i+1, gate.Reworking(gate.Reworks[i])
		}
		if len(gate.Reworks) < 2 {
			one.ByWay = 0
		}
	}
	for _, gate := range s.Sheet.GatesFor(s.selected) {
		if !gate.Work && (gate.Touched(zones...) || lists.Contains(control.Gates, gate.Name)) {
			one.Again = append(one.Again, gate.Name)
		}
	}
	return one, true
}

// trims refuses trims that the airframe can't have had.
func (s *State) trims(all []journal.Trim) error {
	if len(all) > 0 && len(s.controls()) == 0 {
		return bad("the design sheet has no geometry: controls, which trims are of; say them in a note")
	}
	for i, t := range all {
		control, ok := s.Sheet.Control(t.Control)
		if !ok || !control.In(s.selected) {
			return unknown("control", t.Control, s.controls())
		}
		if ways := s.Sheet.Geometry.Ways(control); !lists.Contains(ways, t.Way) {
			return unknown("way of "+t.Control, t.Way, ways)
		}
		if slices.ContainsFunc(all[:i], func(u journal.Trim) bool { return sameSurface(t, u) }) {
			return bad("the trim of %s is given twice", t.Control)
		}
		if t.Value.Sign() < 0 {
			return bad("%s: %s is less than nothing; the word before it says which way", t.Control, t.Value.Typed())
		}
		if _, err := control.Throw(t.Value, "°"); err != nil {
			return bad("%s: %v", t.Control, err)
		}
	}
	return nil
}

// beyondThrow refuses a trim that is more than the whole throw of its control, as it was
// measured, or else as its gates limit it.
func (s *State) beyondThrow(all []journal.Trim, at time.Time) error {
	for _, t := range all {
		control, _ := s.Sheet.Control(t.Control)
		var most quantity.Quantity
		size := func(q quantity.Quantity) float64 {
			angle, err := control.Throw(q, "°")
			if err != nil {
				return 0
			}
			return math.Abs(float(angle.Rat("°")))
		}
		for _, name := range control.Gates {
			r, err := s.GateReport(name, at)
			if err != nil {
				continue
			}
			throws := []quantity.Quantity{r.Gate.Limits.High}
			if len(r.Points) > 0 {
				throws = nil
			}
			for _, p := range r.Points {
				throws = append(throws, p.Readings...)
			}
			for _, q := range throws {
				if !q.IsZero() && (most.IsZero() || size(q) > size(most)) {
					most = q
				}
			}
		}
		if !most.IsZero() && size(t.Value) > size(most) {
			return bad("%s: %s is more than its whole throw of %s; measure how far the edge stands from neutral. If it does stand there, its linkage slipped: report that as damage",
				t.Control, t.Value.Typed(), most)
		}
	}
	return nil
}

// controls are the names of the control surfaces that the airframe has.
//
//go:noinline
func (s *State) controls() (names []string) {
	for _, c := range s.Controls() {
		names = append(names, c.Name)
	}
	return names
}

// Controls are the control surfaces that the airframe has.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (s *State) Controls() (all []steps.Control) {
	for _, c := range s.Sheet.Geometry.Controls {
		if c.In(s.selected) {
			all = append(all, c)
		}
	}
	return all
}
