package procedures

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fettle/steps"
	"fettle/steps/planform"
	"fettle/steps/quantity"
)

// The static margins that are usual, in % MAC: from memory of the MIT lab notes "Basic
// Aircraft Design Rules", so guidance and never a fault.
const (
	leastMargin = 5
	mostMargin  = 15
)

// balanced notes limits of the balance that leave no sensible static margin, and a parts
// table that does not give the balance which they ask for. Each is said of the first
// airframe of the design that it holds for.
func (c *checker) balanced(sheet *Document) {
	s, g := sheet.Sheet, sheet.Sheet.Geometry
	if g.IsZero() {
		return
	}
	said := map[string]bool{}
	note := func(of, at, format string, args ...any) {
		if !said[of] {
			said[of] = true
			c.notes = append(c.notes, sheet.fault(sheet.places[at], fmt.Sprintf(format, args...)))
		}
	}
	low, high, limited := limitsOfBalance(s)
	sum, fits := "", false // where the parts as they are listed have it outside the limits
	for _, has := range combined(governing(s)) {
		on, when := steps.Selection{Has: has}, variant{options: has}.when()
		if p, err := planform.Of(g, on); err != nil {
			note("wing", "the surface "+g.Surfaces[0].Name, "nothing can be said of the balance%s: %v", when, err)
		} else if limited {
			marginsNoted(p, low, high, func(format string, args ...any) {
				note("margin", "the gate "+g.Balance.Gate, format+"%s", append(args, when)...)
			})
		}
		if !limited || len(g.Parts) == 0 {
			continue
		}
		t := partsTable(g, on)
		at := "the part " + cmp.Or(g.Battery.Part, g.Parts[0].Name)
		if x := t.balance(); x >= low && x <= high {
			fits = true
		} else if t.mass > 0 && sum == "" {
			sum = fmt.Sprintf("the parts add up to %.0f g with their balance at x = %.1f mm%s, and the gate wants it from %.4g mm to %.4g mm", t.mass, x, when, low, high)
		}
		if t.battery == 0 {
			continue
		}
		want := t.batteryFor((low + high) / 2)
		if from, to := in(g.Battery.From, "mm"), in(g.Battery.To, "mm"); want < from || want > to {
			note("travel", at, "for the middle of the limits, x = %.4g mm, the middle of the battery would lie at x = %.0f mm%s, and it can be moved from %.0f mm to %.0f mm", (low+high)/2, want, when, from, to)
		}
	}
	if sum != "" && !fits {
		note("sum", "the part "+cmp.Or(g.Battery.Part, g.Parts[0].Name), "%s", sum)
	}
}

// A total is what the parts of an airframe add up to.
type total struct{ mass, moment, battery, at float64 }

// partsTable adds up the parts table.
func partsTable(g steps.Geometry, on steps.Selection) total {
	var t total
	for _, p := range g.Parts {
		if !p.In(on) {
			continue
		}
		m, x := in(p.Mass, "g"), in(p.X, "mm")
		t.mass, t.moment = t.mass+m, t.moment+m*x
		if p.Name == g.Battery.Part {
			t.battery, t.at = m, x
		}
	}
	return t
}

func (t total) balance() float64 { return t.moment / t.mass }

// batteryFor is where the battery must lie for the balance to lie at the station.
func (t total) batteryFor(x float64) float64 { return t.at + t.mass*(x-t.balance())/t.battery }

// limitsOfBalance are the stations between which the gate of the balance wants it.
func limitsOfBalance(s *steps.Sheet) (low, high float64, ok bool) {
	gate, ok := s.Gate(s.Geometry.Balance.Gate)
	if !ok || gate.Limits.Low.Dimension() != quantity.Length || gate.Limits.High.Dimension() != quantity.Length {
		return 0, 0, false
	}
	zero := in(s.Geometry.Balance.Zero, "mm")
	return zero + in(gate.Limits.Low, "mm"), zero + in(gate.Limits.High, "mm"), true
}

// in is a quantity as a number of the unit; what is absent is nought.
func in(q quantity.Quantity, unit string) float64 {
	f, err := q.Float(unit)
	if err != nil {
		return 0
	}
	return f
}

// governing are the choices that something of the geometry goes by.
func governing(s *steps.Sheet) []steps.Choice {
	var names []string
	for _, one := range s.Geometry.Surfaces {
		names = append(names, one.Options()...)
	}
	for _, one := range s.Geometry.Parts {
		names = append(names, one.Options()...)
	}
	return slices.DeleteFunc(s.Choices(), func(c steps.Choice) bool {
		return !slices.ContainsFunc(c.Names(), func(a string) bool { return slices.Contains(names, a) })
	})
}

// marginsNoted judges margins in whole percents: no estimate is finer.
func marginsNoted(p planform.Plan, low, high float64, note func(string, ...any)) {
	ahead, err := p.Margin(low)
	behind, _ := p.Margin(high)
	most, least := math.Round(100*ahead), math.Round(100*behind)
	switch {
	case err != nil:
	case behind <= 0:
		note("by an estimate of the neutral point, %s, the balance may lie behind it: static margins from %.0f %% down to %.0f %% of the mean chord; it could not be flown", planform.Formula, most, least)
	case least < leastMargin || most > mostMargin:
		note("by an estimate of the neutral point, %s, the limits leave static margins from %.0f %% down to %.0f %% of the mean chord; as guidance, from memory, they are from %d %% to %d %%", planform.Formula, most, least, leastMargin, mostMargin)
	}
}
