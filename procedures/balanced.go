package procedures

import (
	"cmp"
	"fmt"
	"math"
	"math/big"
	"slices"

	"fettle/steps"
	"fettle/steps/balance"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
)

// The static margins that are usual, in % MAC: from memory of the MIT lab notes "Basic
// Aircraft Design Rules", so guidance and never a fault. A wing without a tail is held to
// the same (common practice, no source).
const (
	leastMargin = 5
	mostMargin  = 15
)

// noteOnce notes something of a sheet once, whatever it is that says so.
//
//go:noinline
func (c *checker) noteOnce(said map[string]bool, sheet *Document, of, at, text string) {
	if !said[of] {
		said[of] = true
		c.notes = append(c.notes, sheet.fault(sheet.places[at], text))
	}
}

// balanced notes limits of the balance that leave no sensible static margin, and a parts
// table that does not give the balance which they ask for, or lacks equipment. Each is said of the first
// airframe of the design that it holds for.
func (c *checker) balanced(sheet *Document) {
	s, g := sheet.Sheet, sheet.Sheet.Geometry
	if g.IsZero() {
		return
	}
	said := map[string]bool{}
	note := func(of, at, format string, args ...any) {
		c.noteOnce(said, sheet, of, at, fmt.Sprintf(format, args...))
	}
	if len(g.Parts) > 0 {
		for _, e := range s.Equipment {
			if !e.Optional && !slices.ContainsFunc(g.Parts, func(p steps.Component) bool { return p.Equipment == e.Name }) {
				note(e.Name, "the equipment "+e.Name, "no part is the equipment %s, so the balance is not known once that is moved or removed; give it a row in parts with equipment: %s", e.Name, e.Name)
			}
		}
	}
	low, high, limited := limitsOfBalance(s)
	sum, fits := "", false // where the parts as they are listed have it outside the limits
	for _, has := range combined(governing(s, true)) {
		on, when := steps.Selection{Has: has}, variant{options: has}.when()
		if p, err := planform.Of(g, on); err != nil {
			note("wing", "the surface "+g.Surfaces[0].Name, "nothing can be said of the balance%s: %v", when, err)
		} else if limited {
			if said := margins(p, low, high); said != "" {
				note("margin", "the gate "+g.Balance.Gate, "%s%s", said, when)
			}
		}
		if !limited || len(g.Parts) == 0 {
			continue
		}
		t := tableOf(g, on)
		at := "the part " + cmp.Or(g.Battery.Part, g.Parts[0].Name)
		if station, err := t.Station(); err == nil {
			x, _ := station.Float64()
			mass, _ := t.Mass.Float64()
			if x >= low && x <= high {
				fits = true
			} else if sum == "" {
				sum = fmt.Sprintf("the parts add up to %.0f g with their balance at x = %.1f mm%s, and the gate wants %s", mass, x, when, measuring.Between(low, high, "%.4g", "mm"))
			}
		}
		aim, what := (low+high)/2, "the middle of the limits"
		if math.IsInf(aim, 0) { // it has to reach the limit at least
			aim, what = low, "the limit"
			if math.IsInf(low, 0) {
				aim = high
			}
		}
		want, listed := t.batteryFor(aim)
		from, to := in(g.Battery.From, "mm"), in(g.Battery.To, "mm")
		if !listed {
			continue
		}
		if want < from && !math.IsInf(high, 0) || want > to && !math.IsInf(low, 0) {
			note("travel", at, "for %s, x = %.4g mm, the middle of the battery would lie at x = %.0f mm%s, and it can be moved from %.0f mm to %.0f mm", what, aim, want, when, from, to)
		}
	}
	if sum != "" && !fits {
		note("sum", "the part "+cmp.Or(g.Battery.Part, g.Parts[0].Name), "%s", sum)
	}
}

// A Planform is the planform of the airframes of a design that have the options.
type Planform struct {
	Options []string
	planform.Plan
	Low, High float64 // the stations between which its gate wants the balance; without end where it has no limit
}

// Planforms are those of a design: several where options change its surfaces.
func Planforms(s *steps.Sheet) []Planform {
	low, high, limited := limitsOfBalance(s)
	if !limited {
		low, high = math.Inf(-1), math.Inf(1)
	}
	var all []Planform
	for _, has := range combined(governing(s, false)) {
		if p, err := planform.Of(s.Geometry, steps.Selection{Has: has}); err == nil {
			all = append(all, Planform{has, p, low, high})
		}
	}
	return all
}

// A partsTable is what the parts of an airframe add up to, with its battery.
type partsTable struct {
	balance.Total
	battery balance.Load // no mass: none is listed
}

// tableOf adds up the parts table, in g and mm.
func tableOf(g steps.Geometry, on steps.Selection) partsTable {
	t := partsTable{Total: balance.Of()}
	for _, p := range g.Parts {
		mass, err1 := p.Mass.Rat("g")
		x, err2 := p.X.Rat("mm")
		if !p.In(on) || err1 != nil || err2 != nil {
			continue
		}
		part := balance.Load{Mass: mass, X: x}
		t.Total = t.With(part)
		if p.Name == g.Battery.Part {
			t.battery = part
		}
	}
	return t
}

// batteryFor is where the battery must lie for the balance to lie at the station.
func (t partsTable) batteryFor(x float64) (float64, bool) {
	to := new(big.Rat).SetFloat64(x)
	if t.battery.Mass == nil || to == nil {
		return 0, false
	}
	by, err := t.Travel(t.battery.Mass, to)
	if err != nil {
		return 0, false
	}
	at, _ := by.Add(by, t.battery.X).Float64()
	return at, true
}

// limitsOfBalance are the stations between which the gate of the balance wants it;
// without end where it has one limit.
func limitsOfBalance(s *steps.Sheet) (low, high float64, ok bool) {
	gate, ok := s.Gate(s.Geometry.Balance.Gate)
	if !ok || gate.Limits.Dimension() != quantity.Length {
		return 0, 0, false
	}
	low, high = math.Inf(-1), math.Inf(1)
	zero := in(s.Geometry.Balance.Zero, "mm")
	if !gate.Limits.Low.IsZero() {
		low = zero + in(gate.Limits.Low, "mm")
	}
	if !gate.Limits.High.IsZero() {
		high = zero + in(gate.Limits.High, "mm")
	}
	return low, high, low < high
}

// in is a quantity as a number of the unit; what is absent is nought.
//
//go:noinline
func in(q quantity.Quantity, unit string) float64 {
	f, err := q.Float(unit)
	if err != nil {
		return 0
	}
	return f
}

// governing are the choices that the surfaces go by, and the parts as well if they are asked for.
func governing(s *steps.Sheet, parts bool) []steps.Choice {
	var names []string
	for _, one := range s.Geometry.Surfaces {
		names = append(names, one.Options()...)
	}
	for _, one := range s.Geometry.Parts {
		if parts {
			names = append(names, one.Options()...)
		}
	}
	return sorting.Delete(s.Choices(), func(c steps.Choice) bool {
		return !lists.ContainsFunc(c.Names(), func(a string) bool { return lists.Contains(names, a) })
	})
}

// margins says what is wrong with the static margins that limits of the balance leave, or
// why there is no estimate of them; "": nothing. They are in whole percents: no estimate is finer.
func margins(p planform.Plan, low, high float64) string {
	ahead, err := p.Margin(low)
	if err != nil {
		return "the limits can't be held against the neutral point, of which there is no estimate: " + err.Error()
	}
	behind, _ := p.Margin(high)
	most, least := math.Round(100*ahead), math.Round(100*behind)
	leave := fmt.Sprintf("static margins from %.0f %% down to %.0f %%", most, least)
	switch {
	case math.IsInf(high, 0):
		leave = fmt.Sprintf("static margins of %.0f %% and less", most)
	case math.IsInf(low, 0):
		most, leave = least, fmt.Sprintf("static margins of %.0f %% and more", least)
	}
	by := "by an estimate of the neutral point, " + p.Formula() + ", "
	switch {
	case behind <= 0:
		return by + "the balance may lie behind it: " + leave + " of the mean chord; it could not be flown"
	case least < leastMargin || most > mostMargin:
		return fmt.Sprintf("%sthe limits leave %s of the mean chord; as guidance, from memory, they are from %d %% to %d %%", by, leave, leastMargin, mostMargin)
	}
	return ""
}
