package steps

import (
	"slices"

	"fettle/steps/bond"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// A Sheet is a design sheet: the one place where an airframe design's zones,
// limits, adhesives and gauges are written.
type Sheet struct {
	Name     string
	Title    string
	About    string // Markdown, optional
	Revision int

	Zones      []string
	Options    []Option
	Conditions []Condition
	Adhesives  []Adhesive
	Gauges     []Gauge
	Gates      []Gate
}

// An Option is a choice made for one airframe of a design when it is registered.
type Option struct{ Name, Title string }

// A Condition is a lock-out that steps set and require, such as propeller: off.
type Condition struct {
	Name   string
	Title  string
	States []string
	// Sitting says that the condition lapses with the sitting in which it was
	// set (an open window is not open the day after).
	Sitting bool
}

// An Adhesive is what a joint is coated with.
type Adhesive struct {
	Name    string
	Title   string
	Caution string // shown before every step that spreads it
	Source  string // where its times come from

	// As written, for showing.
	From, To, At   quantity.Quantity
	Handling, Cure quantity.Quantity
	Coldest        quantity.Quantity // below: refused
	Warmest        quantity.Quantity // above: refused
	Driest         quantity.Quantity // relative humidity, absent: no limit
	Dampest        quantity.Quantity

	// Times is the same as numbers, for the clocks.
	Times bond.Times
}

// A Gauge is what a reading is taken with.
type Gauge struct {
	Name        string
	Title       string
	Resolution  quantity.Quantity // smallest step shown
	Uncertainty quantity.Quantity // expanded, k = 2; absent: from the resolution alone
}

// Doubt is the gauge as the measuring rules see it.
func (g Gauge) Doubt() measuring.Doubt {
	return measuring.Doubt{Resolution: g.Resolution, Uncertainty: g.Uncertainty}
}

// A Gate is a measurement with limits at which work stops until they are met.
type Gate struct {
	Name   string
	Title  string
	How    string   // how it is measured, Markdown, optional
	Rework string   // what to do when it is out of tolerance, Markdown, optional
	Points []string // where it is measured; none: one point without a name
	Repeat int      // readings at each point, at least 1
	Limits measuring.Limits
	Pairs  [][2]string // the points that Limits.Alike compares; none: all
	Gauge  string
	Of     []string // the zones it depends on

	// Critical: no concession can waive it, and no release goes without it.
	Critical bool

	With, Without string // the option that governs it
}

// PointNames returns the points of the gate; a gate without named points has
// the one point "".
func (g Gate) PointNames() []string {
	if len(g.Points) == 0 {
		return []string{""}
	}
	return g.Points
}

// DependsOn reports whether the gate depends on any of the zones.
func (g Gate) DependsOn(zones ...string) bool {
	return slices.ContainsFunc(zones, func(z string) bool { return slices.Contains(g.Of, z) })
}

// Applies reports whether something governed by with and without is there on
// an airframe that has the options.
func Applies(with, without string, options []string) bool {
	if with != "" && !slices.Contains(options, with) {
		return false
	}
	return without == "" || !slices.Contains(options, without)
}

// Gate returns the gate of that name.
func (s *Sheet) Gate(name string) (Gate, bool) {
	return find(s.Gates, func(g Gate) bool { return g.Name == name })
}

// Adhesive returns the adhesive of that name.
func (s *Sheet) Adhesive(name string) (Adhesive, bool) {
	return find(s.Adhesives, func(a Adhesive) bool { return a.Name == name })
}

// Gauge returns the gauge of that name.
func (s *Sheet) Gauge(name string) (Gauge, bool) {
	return find(s.Gauges, func(g Gauge) bool { return g.Name == name })
}

// Condition returns the condition of that name.
func (s *Sheet) Condition(name string) (Condition, bool) {
	return find(s.Conditions, func(c Condition) bool { return c.Name == name })
}

// Option returns the option of that name.
func (s *Sheet) Option(name string) (Option, bool) {
	return find(s.Options, func(o Option) bool { return o.Name == name })
}

// GatesFor returns the gates that an airframe with the options has.
func (s *Sheet) GatesFor(options []string) []Gate {
	var gates []Gate
	for _, g := range s.Gates {
		if Applies(g.With, g.Without, options) {
			gates = append(gates, g)
		}
	}
	return gates
}

func find[T any](list []T, is func(T) bool) (T, bool) {
	if i := slices.IndexFunc(list, is); i >= 0 {
		return list[i], true
	}
	var none T
	return none, false
}
