package workflow

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// weighed says why readings of scales that carry the whole airframe between them can't
// be: one carries less than nothing, or they do not add up to its mass.
func (s *State) weighed(r GateReport, readings []Reading, gauge steps.Gauge, sure bool, at time.Time) []Reason {
	g := r.Gate
	if len(g.Result.Stations) == 0 {
		return nil
	}
	var points []measuring.Point
	for _, name := range g.PointNames() {
		p := measuring.Point{Name: name}
		for _, reading := range readings {
			if reading.Point == name {
				p.Readings = append(p.Readings, reading.Value)
			}
		}
		if i := slices.IndexFunc(r.Points, func(other AtPoint) bool { return other.Name == name }); len(p.Readings) == 0 && i >= 0 {
			p.Readings = r.Points[i].Readings
		}
		points = append(points, p)
	}
	w, err := g.Rule().Weigh(points, measuring.Doubts{Gauges: []measuring.Doubt{s.DoubtOf(g, gauge)}})
	if err != nil {
		return []Reason{{Because: ByReading, Text: err.Error()}}
	}
	if w.Lifted != "" {
		return []Reason{{Because: ByReading, Text: lifted(g.Result, w.Lifted), Remedy: s.measureIt(g, at)}}
	}
	if w.Bare != "" {
		text := fmt.Sprintf("nothing lies on %s: it shows no more than without the aircraft. It must stand on all scales", w.Bare)
		return []Reason{{Because: ByReading, Text: text, Remedy: s.measureIt(g, at)}}
	}
	if w.Sum.IsZero() {
		return nil
	}
	if reasons := s.addUp(w, g, at); len(reasons) > 0 || sure {
		return reasons
	}
	why := g.Rule().UnlikelyTogether(points)
	if _, ok := s.massGate(); !ok && why == "" {
		why = s.offTheParts(w)
	}
	if why == "" {
		return nil
	}
	look := Remedy{Kind: ToBeSure, Gate: g.Name, Unit: g.Unit()}
	for _, r := range readings {
		look.Points = append(look.Points, r.Point)
	}
	return []Reason{{Because: ByReading, Text: why, Remedy: s.remedy(look)}}
}

// offTheParts says why scales are probably misread where the sheet says nothing of the whole
// mass, and they add up to another than its parts do; "": they don't.
func (s *State) offTheParts(w measuring.Weighing) string {
	f := s.fittings()
	parts := s.sumOfParts(f.before(s.whole()), f)
	if len(parts.Unknown) > 0 || !(math.Abs(float(w.Sum.Rat("g"))-parts.Grams) > parts.U) {
		return ""
	}
	return fmt.Sprintf("the scales add up to %s, which is unlikely: the parts of the sheet add up to %.0f g", w.Sum, parts.Grams)
}

// lifted says which way an airframe tips of which a scale carries less than nothing.
func lifted(r measuring.Result, point string) string {
	side, over := "", "the others"
	switch first, last := abreast(r, r.Stations[0]), abreast(r, r.Stations[len(r.Stations)-1]); {
	case point == first && r.Function == measuring.Balance:
		side, over = ", tail down", last
	case point == last && r.Function == measuring.Balance:
		side, over = ", nose down", first
	case point == first:
		side, over = ", right side down", last
	case point == last:
		side, over = ", left side down", first
	}
	return fmt.Sprintf("%s would carry less than nothing, so the aircraft tips over %s%s: look at its tare, or stand the scales so that it balances between them", point, over, side)
}

// abreast are the scales that stand where that one does. Over the line to one of several it
// tips slantwise.
func abreast(r measuring.Result, as measuring.Station) string {
	var points []string
	for _, s := range r.Stations {
		if s.At.Equal(as.At) {
			points = append(points, s.Point)
		}
	}
	return strings.Join(points, " and ")
}

// A KnownMass is what the whole airframe weighs, as far as anything says so.
type KnownMass struct {
	Gate      steps.Gate
	Low, High float64 // g; what it lies between
	Read      bool    // it was weighed; else the limits of the gate say it
	Changed   bool    // with what was fitted or removed since, by the record
}

// KnownMass is the mass of the whole airframe: as it was read last, with what the record says
// of equipment since. Moving things in a rework of the balance adds nothing. Where something
// else may have, or nobody said what a thing weighs, it is known by the limits alone, and by
// what the record comes to if that is outside of them.
func (s *State) KnownMass(at time.Time) (KnownMass, bool) {
	g, ok := s.massGate()
	if !ok {
		return KnownMass{}, false
	}
	k := KnownMass{Gate: g, Low: math.Inf(-1), High: math.Inf(1)}
	f := s.fittings()
	if all := s.measurements(g, "g"); len(all) > 0 {
		m := all[0]
		d := s.since(f, m.last())
		if len(d.mass) == 0 && !s.workedBetween(f, g, m.last(), s.whole(), s.Sheet.Geometry.Balance.Gate) {
			grams, u := m.value+float(d.grams, nil), m.u
			for _, c := range d.changes {
				if c.From == nil || c.To == nil {
					u = math.Hypot(u, c.U)
				}
			}
			k.Low, k.High, k.Read, k.Changed = grams-u, grams+u, true, d.grams.Sign() != 0
			return k, true
		}
	}
	if !g.Limits.Low.IsZero() {
		k.Low = float(g.Limits.Low.Rat("g"))
	}
	if !g.Limits.High.IsZero() {
		k.High = float(g.Limits.High.Rat("g"))
	}
	if by := s.weighedMass(f); len(by.Unknown) == 0 {
		if k.High = max(k.High, by.Grams); by.Basis == Measured { // a parts table may lack parts
			k.Low = min(k.Low, by.Grams)
		}
	}
	return k, true
}

// massGate is the gate of the mass of the whole airframe: of those that any change of
// equipment makes stale and that limit a mass, the heaviest. Others are of what is laid on
// a wing tip.
func (s *State) massGate() (heaviest steps.Gate, found bool) {
	most := math.Inf(-1)
	for _, g := range s.Sheet.GatesFor(s.selected) {
		if !g.Mass || g.Work || g.Dimension() != quantity.Mass || !g.Result.IsZero() || len(g.Points) > 1 {
			continue
		}
		for _, limit := range []quantity.Quantity{g.Limits.Low, g.Limits.High} {
			if m, err := limit.Float("g"); err == nil && m > most {
				most, heaviest, found = m, g, true
			}
		}
	}
	if parts := s.partsMass(); found && parts > 2*most { // as the sheet has it, whatever was fitted since
		return steps.Gate{}, false // there is none of the whole
	}
	return heaviest, found
}

// partsMass is what the parts of the sheet weigh together, in g, as far as it says so.
func (s *State) partsMass() float64 {
	sum := new(big.Rat)
	for _, part := range s.Sheet.Geometry.Parts {
		if l := load(part); l.Mass != nil && part.In(s.selected) {
			sum.Add(sum, l.Mass)
		}
	}
	return float(sum, nil)
}

// addUp says by how much scales do not add up to the known mass.
func (s *State) addUp(w measuring.Weighing, g steps.Gate, at time.Time) []Reason {
	known, ok := s.KnownMass(at)
	sum, u := float(w.Sum.Rat("g")), w.U*scaleOf(w.Sum.Unit(), "g")
	if off := max(known.Low-sum, sum-known.High); !ok || !(off > u) {
		return nil
	}
	text := fmt.Sprintf("the scales add up to %s, and the %s is %s", w.Sum, known.Gate.Name, measuring.Between(known.Low, known.High, s.gramsAs(), "g"))
	switch {
	case !known.Read:
		text += " by its limits, as it was not weighed since the last change"
	case known.Changed:
		text += " by the record of what was fitted and removed since it was weighed"
	}
	missing := known.Low - sum
	words := "less"
	if sum > known.High {
		missing, words = sum-known.High, "more"
	}
	step := math.Pow10(s.MassDigits())
	text += fmt.Sprintf(": that is "+s.gramsAs()+" g %s, and the scales are good to "+s.gramsAs()+" g together", math.Ceil(missing*step-1e-9)/step, words, math.Ceil(u*step-1e-9)/step)
	if less := sum / 1000; less >= known.Low-u && less <= known.High+u {
		text += "; were they read in kg?"
	}
	if known.Read && !known.Changed { // the mass was weighed as it is, so it is more likely the scales
		return []Reason{{Because: ByReading, Text: text, Remedy: s.measureIt(g, at)}}
	}
	reasons := []Reason{{Because: ByReading, Text: text, Remedy: s.measureIt(known.Gate, at)}}
	return reasons
}

// gramsAs is the format of a mass that is as fine as the scale shows.
func (s *State) gramsAs() string { return fmt.Sprintf("%%.%df", s.MassDigits()) }

// unequal says by how much scales do not add up to what something else says, in g; "":
// they do.
func unequal(scales massed, says string, low, high float64) string {
	if off := max(low-scales.grams, scales.grams-high); !(off > scales.u) {
		return ""
	}
	return fmt.Sprintf("its scales add up to %.0f g, and %s %s", scales.grams, says, measuring.Between(low, high, "%.0f", "g"))
}

// heavier says by how much the mass was read to be another, after an airframe was balanced at
// an instant, than it was then, with what was changed between; "": it is the same, as far as
// both are accurate to. What it was then is what was read last before, else first after, and
// no work or damage between. Something was added or lost since that nobody recorded.
func (s *State) heavier(then instant) string {
	g, ok := s.massGate()
	if !ok || s.gates[g.Name] == nil || !s.weighedAfter(g, then) {
		return ""
	}
	all := s.masses()
	if len(all) == 0 || !all[0].last().later(then) {
		return ""
	}
	cuts := []instant{then}
	for _, t := range s.gates[g.Name].readings {
		if cut := (instant{t.position, t.at}); cut.later(then) {
			cuts = append(cuts, cut)
		}
	}
	f := s.fittings()
	now, later := all[0], s.since(f, all[0].last())
	for _, cut := range cuts {
		for _, was := range s.massesUntil(cut) {
			if s.workedBetween(f, was.gate, was.last(), then, "") {
				continue
			}
			d := s.since(f, was.last())
			if len(d.mass)+len(later.mass) > 0 && !s.sameAboard(f, was.last(), now.last()) {
				return ""
			}
			u := math.Hypot(was.u, now.u)
			for _, c := range d.changes {
				if c.From == nil || c.To == nil {
					u = math.Hypot(u, c.U)
				}
			}
			by := now.grams + float(later.grams, nil) - was.grams - float(d.grams, nil)
			switch {
			case !(math.Abs(by) > u):
				return ""
			case by < 0:
				return fmt.Sprintf("the mass is %.0f g less than when it was balanced", -by)
			}
			return fmt.Sprintf("the mass is %.0f g more than when it was balanced", by)
		}
	}
	return ""
}

// weighedAfter reports whether anything was read after an instant that may say what the whole weighs: at the gate of its mass,
// or on scales. What it says takes long to find out, and mostly nothing was.
func (s *State) weighedAfter(mass steps.Gate, then instant) bool {
	return slices.ContainsFunc(s.Sheet.GatesFor(s.selected), func(g steps.Gate) bool {
		record := s.gates[g.Name]
		return record != nil && (g.Name == mass.Name || onScales(g)) && slices.ContainsFunc(record.readings, func(t reading) bool { return instant{t.position, t.at}.later(then) })
	})
}

// atOdds says why the readings of a balance that count do not: the scales do not add up to the
// mass that counts, or to what the scales of another gate carried, whichever was read first;
// or it was balanced with another mass. "": they do.
func (s *State) atOdds(r GateReport, at time.Time) string {
	if r.Gate.Work || !r.Gate.Mass || r.Finding.Missing != "" || r.Gate.Limits.Dimension() != quantity.Length {
		return ""
	}
	if len(r.Gate.Result.Stations) == 0 {
		var then instant
		for _, p := range r.Rests {
			if read := (instant{p, s.Entries[p].At}); read.later(then) {
				then = read
			}
		}
		return s.heavier(then)
	}
	scales, ok := carried(&measurement{gate: r.Gate, report: r})
	if !ok {
		return ""
	}
	if known, _ := s.KnownMass(at); known.Read {
		return unequal(scales, "the "+known.Gate.Name+" is", known.Low, known.High)
	}
	for _, g := range s.Sheet.GatesFor(s.selected) {
		if g.Name == r.Gate.Name || !onScales(g) || !g.Mass || g.Work {
			continue
		}
		for _, m := range s.measurements(g, "mm") {
			other, ok := carried(m)
			if ok && !journal.Any(s.upsets(g), func(e journal.Entry) bool { return !m.last().follows(e) }) {
				return unequal(scales, "those of "+g.Name+" to", other.grams-other.u, other.grams+other.u)
			}
			break
		}
	}
	return ""
}
