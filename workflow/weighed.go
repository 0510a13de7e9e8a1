package workflow

import (
	"math"
	"math/big"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// A measurement is what a gate of the whole airframe came to, by readings all taken with
// the same on board.
type measurement struct {
	gate     steps.Gate
	report   GateReport
	value, u float64 // in the unit asked for
	readings []reading
}

// last is the instant of the last of its readings.
func (m *measurement) last() instant {
	t := last(m.readings)
	for _, other := range m.readings {
		if other.at.After(t.at) {
			t = other
		}
	}
	return instant{t.position, t.at}
}

// measurements are the complete ones of a gate, the latest first, whether they count still
// or not. One reading taken after a change and another from before it are none.
func (s *State) measurements(g steps.Gate, unit string) []*measurement {
	return s.measurementsUntil(g, unit, s.whole())
}

// measurementsUntil are those by what was read until an instant.
func (s *State) measurementsUntil(g steps.Gate, unit string, until instant) []*measurement {
	all := s.measuredOneWay(g, unit, until)
	if other, ok := g.Other(); ok {
		all = append(all, s.measuredOneWay(other, unit, until)...)
		sorting.Stable(all, func(i, k int) int {
			a, b := all[i], all[k]
			return b.last().at.Compare(a.last().at)
		})
	}
	return all
}

func (s *State) measuredOneWay(g steps.Gate, unit string, until instant) []*measurement {
	record := s.gates[g.Name]
	if record == nil {
		return nil
	}
	changes := s.upsets(g)
	runs := map[int][]reading{}
	for _, t := range record.readings {
		if s.otherwise(g, t) != "" || s.inDoubt(t) != nil || (instant{t.position, t.at}).later(until) {
			continue
		}
		n := 0
		for _, e := range changes {
			if (instant{t.position, t.at}).follows(e) {
				n++
			}
		}
		runs[n] = append(runs[n], t)
	}
	var all []*measurement
	for n := len(changes); n >= 0; n-- {
		if len(runs[n]) == 0 {
			continue
		}
		m := &measurement{gate: g, readings: runs[n]}
		m.report = s.judged(GateReport{Gate: g}, runs[n])
		if m.report.Finding.Missing != "" {
			continue
		}
		var ok bool
		if m.value, m.u, ok = s.valueIn(m.report, unit); ok {
			all = append(all, m)
		}
	}
	return all
}

// valueIn is the one value that a gate was judged by and its expanded uncertainty.
func (s *State) valueIn(r GateReport, unit string) (value, u float64, ok bool) {
	one := scaleOf(r.Gate.Limits.Unit(), unit)
	value, u, ok = s.valueOf(r)
	return value * one, u * one, ok && !math.IsNaN(one)
}

// follows reports whether the instant comes after an entry, by time.
//
//go:noinline
func (m instant) follows(e journal.Entry) bool {
	return m.after(change{position: e.Position, at: e.At}, true)
}

// upsets are the entries, by time, after which a gate measures another airframe than before.
func (s *State) upsets(g steps.Gate) []journal.Entry {
	var all []journal.Entry
	for _, e := range s.Entries {
		if !s.Live(e.Position) {
			continue
		}
		_, zones := s.disturbs(e)
		zones = lists.Concat(zones, s.handledAt[e.Position])
		rework, is := e.Facts.(journal.Reworked)
		_, damage := e.Facts.(journal.DamageFound) // anywhere: what broke off weighed something
		if g.DependsOn(zones...) || g.Mass && (damage || lists.Contains(zones, steps.MassZone)) || is && rework.Gate == g.Name {
			all = append(all, e)
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return a.At.Compare(b.At)
	})
	return all
}

// workedBetween reports whether something else than equipment upset a gate between two
// instants, or equipment of which nobody said before whether it was on board. A rework of the
// gate but does not; "": every one does.
func (s *State) workedBetween(f fittings, g steps.Gate, a, b instant, but string) bool {
	began := func(c change) bool { return a.after(c, true) != b.after(c, true) }
	return slices.ContainsFunc(f.began, began) || slices.ContainsFunc(s.upsets(g), func(e journal.Entry) bool {
		_, equipment := e.Facts.(journal.EquipmentChanged)
		rework, is := e.Facts.(journal.Reworked)
		return !equipment && !(is && rework.Gate == but) && a.follows(e) != b.follows(e)
	})
}

// inOrder reports whether the record tells which of two entries came first: what was
// typed in later is told to the minute.
func (s *State) inOrder(a, b int64) bool {
	one, other := s.Entries[a], s.Entries[b]
	late := !one.At.Equal(one.Recorded) || !other.At.Equal(other.Recorded)
	return !late || one.At.Sub(other.At).Abs() >= time.Minute
}

// firstWeighed is when the airframe was first weighed or balanced; zero: it never was.
func (s *State) firstWeighed() (first instant) {
	for _, g := range s.Sheet.Gates {
		record := s.gates[g.Name]
		if record == nil || g.Name != s.Sheet.Geometry.Balance.Gate && !onScales(g) && !(g.Mass && g.Dimension() == quantity.Mass) {
			continue
		}
		for _, t := range record.readings {
			if first.at.IsZero() || t.at.Before(first.at) || t.at.Equal(first.at) && t.position < first.position {
				first = instant{t.position, t.at}
			}
		}
	}
	return first
}

// A WeighedMass is what the whole airframe weighs and what says so, in g.
type WeighedMass struct {
	Grams, U float64
	Basis    Basis     // Measured: it was weighed; Assumed: it is the sum of the parts
	Gate     string    // that it was measured at; "": none
	Entry    int64     // of the last reading
	At       time.Time // of that
	Changed  bool      // equipment was changed since
	Worked   bool      // work, damage or what may be left off may have added or taken some since
	Unknown  []Lack    // what of that nobody says the mass of
	Assumed  []string  // what was taken for granted of what may be left off
	Twice    []Twice   // what it speaks for that was on board already
}

// A Twice is what may be left off and was fitted, and by the mass that was weighed before one
// was on board already.
type Twice struct {
	Thing
	Entry int64 // that fitted it
}

// twice finds them: what was weighed then is closer to the parts with one than without.
func (w *WeighedMass) twice(s *State, f fittings, then instant, grams float64) {
	parts := s.sumOfParts(f.before(then), f)
	for _, c := range f.began {
		if c.Change != Fitted || then.after(c, true) {
			continue
		}
		w.Assumed = append(w.Assumed, notThen(c.Item))
		i := slices.IndexFunc(s.Sheet.Equipment, func(e steps.Equipment) bool { return e.Name == c.Item })
		own, there := s.sheetBody(s.Sheet.Equipment[i])
		if there && own.mass != nil && len(parts.Unknown) == 0 && grams-parts.Grams > float(own.mass, nil)/2 {
			w.Twice = append(w.Twice, Twice{Thing{c.Item, c.Name}, c.position})
		}
	}
}

// onScales reports whether a gate can be read on scales that carry the whole.
func onScales(g steps.Gate) bool {
	return len(g.Result.Stations) > 0 || len(g.Or.Result.Stations) > 0
}

// massed is one time that the whole airframe was weighed.
type massed struct {
	*measurement
	grams, u float64
}

// masses are the times that the airframe was weighed, the latest first: at the gate of its
// mass, or by what scales carried together.
func (s *State) masses() []massed { return s.massesUntil(s.whole()) }

// massesUntil are those by what was read until an instant.
func (s *State) massesUntil(until instant) []massed {
	var all []massed
	if g, ok := s.massGate(); ok {
		for _, m := range s.measurementsUntil(g, "g", until) {
			all = append(all, massed{m, m.value, m.u})
		}
	}
	for _, g := range s.Sheet.GatesFor(s.selected) {
		if !onScales(g) || !g.Mass || g.Work {
			continue
		}
		for _, m := range s.measurementsUntil(g, "mm", until) {
			if one, ok := carried(m); ok {
				all = append(all, one)
			}
		}
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return b.last().at.Compare(a.last().at)
	})
	return all
}

// carried is what the scales of a weighing carried together.
func carried(m *measurement) (massed, bool) {
	var points []measuring.Point
	for _, p := range m.report.Points {
		points = append(points, measuring.Point(p))
	}
	w, err := m.gate.Rule().Weigh(points, m.report.Doubts)
	if err != nil || w.Sum.IsZero() || w.Sum.Sign() <= 0 || math.IsInf(w.U, 0) {
		return massed{}, false
	}
	one := scaleOf(w.Sum.Unit(), "g")
	return massed{m, float(w.Sum.Rat("g")), w.U * one}, true
}

// scale is the finest one that the airframe is weighed with, and at which gate; false: the
// sheet has none.
func (s *State) scale() (at steps.Gate, finest steps.Gauge, found bool) {
	look := func(g steps.Gate) {
		gauge, ok := s.Sheet.Gauge(g.Gauge)
		if step := float(gauge.Resolution.Rat("g")); ok && step > 0 && (!found || step < float(finest.Resolution.Rat("g"))) {
			at, finest, found = g, gauge, true
		}
	}
	if g, ok := s.massGate(); ok {
		look(g)
	}
	for _, g := range s.Sheet.GatesFor(s.selected) {
		if other, ok := g.Other(); ok && onScales(g) && g.Mass && !g.Work {
			look(other)
		}
		if onScales(g) && g.Mass && !g.Work {
			look(g)
		}
	}
	return at, finest, found
}

// scaleU is how good a mass is that is stated, in g: as the scale is that the airframe is
// weighed with; NaN: the sheet has none.
func (s *State) scaleU() float64 {
	g, gauge, ok := s.scale()
	if !ok {
		return math.NaN()
	}
	return s.DoubtOf(g, gauge).Guard("g")
}

// statedU is how good a mass is that is stated, in g: as the scale is, else a tenth of it
// (common practice, no source).
func (s *State) statedU(mass *big.Rat) float64 {
	if u := s.scaleU(); !math.IsNaN(u) {
		return u
	}
	return float(mass, nil) / 10
}

// WeighedMass is what the airframe weighs: as it was weighed last, and what was changed
// since; else the sum of its parts.
func (s *State) WeighedMass() WeighedMass { return s.weighedMass(s.fittings()) }

func (s *State) weighedMass(f fittings) WeighedMass {
	all := s.masses()
	if len(all) == 0 {
		return s.sumOfParts(f.before(s.whole()), f)
	}
	m := all[0]
	then := m.last()
	d := s.since(f, then)
	w := WeighedMass{Grams: m.grams + float(d.grams, nil), U: m.u, Basis: Measured, Gate: m.gate.Name, Entry: then.position, At: then.at, Unknown: d.mass}
	sum := w.U * w.U
	for _, c := range d.changes {
		if c.From == nil || c.To == nil {
			sum += c.U * c.U
		}
	}
	w.U, w.Changed = math.Sqrt(sum), d.grams.Sign() != 0 || len(d.mass) > 0
	w.Worked = s.workedBetween(f, m.gate, then, s.whole(), "")
	w.twice(s, f, then, m.grams)
	return w
}

// MassDigits is how many decimals of a gram the finest scale of the airframe shows.
func (s *State) MassDigits() int {
	_, gauge, ok := s.scale()
	if step := float(gauge.Resolution.Rat("g")); ok && step < 1 {
		return int(math.Ceil(-math.Log10(step) - 1e-9))
	}
	return 0
}

// sumOfParts is what the parts weigh together: as far off, for all that anybody knows, as
// the limits of the mass allow, else a quarter of it (no source).
func (s *State) sumOfParts(at map[string]spot, f fittings) WeighedMass {
	w := WeighedMass{Basis: Assumed}
	sum := new(big.Rat)
	for _, p := range s.placed(f, at) {
		if p.Load.Mass == nil {
			w.Unknown = append(w.Unknown, lackOf(at[p.Item], true, false))
			continue
		}
		sum.Add(sum, p.Load.Mass)
	}
	w.Grams = float(sum, nil)
	w.U = w.Grams / 4
	if g, ok := s.massGate(); ok && !g.Limits.Low.IsZero() && !g.Limits.High.IsZero() {
		w.U = max(w.Grams-float(g.Limits.Low.Rat("g")), float(g.Limits.High.Rat("g"))-w.Grams)
	}
	return w
}

// massThen is what the airframe weighed when it was balanced: what the scales carried, else
// as it was weighed with the same on board or, with what was changed between, otherwise;
// else the sum of its parts.
func (s *State) massThen(m *measurement, f fittings) WeighedMass {
	if own, ok := carried(m); ok {
		return WeighedMass{Grams: own.grams, U: own.u, Basis: Measured, Gate: m.gate.Name, Entry: m.last().position, At: m.last().at}
	}
	var nearest *WeighedMass
	then := m.last()
	from := s.since(f, then)
	for _, other := range s.masses() {
		to := s.since(f, other.last())
		if len(from.mass) > 0 || len(to.mass) > 0 {
			if !s.sameAboard(f, then, other.last()) {
				continue
			}
			from.grams, to.grams = new(big.Rat), new(big.Rat)
		}
		by := new(big.Rat).Sub(to.grams, from.grams)
		w := WeighedMass{Grams: other.grams + float(by, nil), U: other.u, Basis: Measured, Gate: other.gate.Name, Entry: other.last().position, At: other.last().at, Changed: by.Sign() != 0}
		w.Worked = s.workedBetween(f, other.gate, then, other.last(), "")
		if s.sameAboard(f, then, other.last()) {
			return w
		}
		if nearest == nil {
			for _, c := range slices.Concat(from.changes, to.changes) {
				w.U = math.Hypot(w.U, c.U)
			}
			nearest = &w
		}
	}
	if nearest != nil {
		return *nearest
	}
	return s.sumOfParts(f.before(then), f)
}

// sameAboard reports whether no equipment came aboard or went between two instants.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (s *State) sameAboard(f fittings, a, b instant) bool {
	return !slices.ContainsFunc(f.all, func(one fitting) bool {
		return one.Change != Moved && !one.said && a.after(one.change, true) != b.after(one.change, true)
	})
}
