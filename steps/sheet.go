package steps

import (
	"slices"

	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// A Sheet is a design sheet: the one place where an airframe design's zones,
// limits, adhesives and gauges are written.
type Sheet struct {
	Name     string `json:"name"`
	Title    string `json:"title"`
	About    string `json:"about,omitempty"` // Markdown, optional
	Revision int    `json:"revision"`

	Changes []Change `json:"changes,omitempty"`

	Zones      []string    `json:"zones,omitempty"`
	Options    []Option    `json:"options,omitempty"`
	Conditions []Condition `json:"conditions,omitempty"`
	Adhesives  []Adhesive  `json:"adhesives,omitempty"`
	Tools      []Tool      `json:"tools,omitempty"`
	Gauges     []Gauge     `json:"gauges,omitempty"`
	Gates      []Gate      `json:"gates,omitempty"`
	Equipment  []Equipment `json:"equipment,omitempty"`
	Geometry   Geometry    `json:"geometry,omitzero"`
	Power      Drive       `json:"power,omitzero"`
}

// An Equipment is a kind of thing that is fitted, moved and taken out again.
// Any change of it makes the mass gates and the gates of its zones stale.
type Equipment struct {
	Name     string   `json:"name"`
	Title    string   `json:"title"`
	Zone     string   `json:"zone,omitempty"` // the zone that it is, whose damage is damage of it; "": none
	Disturbs []string `json:"disturbs,omitempty"`
	Optional bool     `json:"optional,omitempty"` // it flies without it as well
	// Aboard says how conditions stand while it is on the airframe. A release wants them
	// so, and it counts as handled whenever one of them changes; none: nothing says.
	Aboard []Setting `json:"aboard,omitempty"`
}

// Zones are those that a change of it disturbs.
func (e Equipment) Zones() []string {
	if e.Zone == "" || lists.Contains(e.Disturbs, e.Zone) {
		return e.Disturbs
	}
	return append([]string{e.Zone}, e.Disturbs...)
}

// Handled are the zones of the equipment that is taken off or put on where the condition
// changes, and that of the mass; none: the condition tells of no equipment.
func (s *Sheet) Handled(condition string) []string {
	var zones []string
	for _, e := range s.Equipment {
		if AnySetting(e.Aboard, func(is Setting) bool { return is.Condition == condition }) {
			zones = append(append(zones, MassZone), e.Zones()...)
		}
	}
	return zones
}

// MassZone is a pseudo-zone for the balance of the whole airframe: a change of
// equipment disturbs it, and every mass gate depends on it. No real zone may have
// this name.
const MassZone = "equipment"

// Another is the pseudo-zone of another piece of the equipment: fitting and removing it
// disturb it, and moving it does not. No real zone has such a name.
func Another(item string) string { return "another " + item }

// OfGate is the pseudo-zone of what one gate alone measures: a rework that names the gates
// that are measured again disturbs it. No real zone has such a name.
func OfGate(gate string) string { return "the gate " + gate }

// A Validity is how long a reading counts, in flights and in days; 0: for ever.
type Validity struct {
	Flights int `json:"flights,omitempty"`
	Days    int `json:"days,omitempty"`
}

// An Option is something that one airframe of a design has and another has not:
// by itself, a choice of yes and no, or one of the answers of a choice, of which
// an airframe has exactly one.
type Option struct {
	Name  string `json:"name"`
	Title string `json:"title"`
	Why   string `json:"why,omitempty"` // what speaks for it

	Choice string `json:"choice,omitempty"` // that it answers; "": it is a choice by itself
}

// A Condition is a lock-out that steps set and require, such as propeller: off.
type Condition struct {
	Name   string   `json:"name"`
	Title  string   `json:"title"`
	States []string `json:"states,omitempty"`
	// Sitting says that the condition lapses with the sitting in which it was
	// set (an open window is not open the day after).
	Sitting bool `json:"sitting,omitempty"`
	// Bench says that it belongs to the bench and not to an airframe, as a hot iron
	// does: what is said of it counts for every airframe of the store, in that sitting.
	Bench bool `json:"bench,omitempty"`
	// Guarded is the state that only a repair sets while damage is open, and nobody
	// while something in quarantine counts as aboard; "": none.
	Guarded string `json:"guarded,omitempty"`
}

// Lapses reports whether it is unknown once the sitting is over in which it was set.
//
//go:noinline
func (c Condition) Lapses() bool { return c.Sitting || c.Bench }

// A Care is what an adhesive or a tool asks of whoever uses it, in any procedure.
type Care struct {
	Caution string    `json:"caution,omitempty"` // in full before the first use in a sitting
	Needs   []Setting `json:"needs,omitempty"`   // the conditions that must hold
	Hold    []string  `json:"hold,omitempty"`    // the lines to confirm before the first use in a sitting
}

// A Tool is what steps are done with.
type Tool struct {
	Name  string `json:"name"`
	Title string `json:"title"`
	Care

	Measure []string `json:"measure,omitempty"` // gates of the work that must have passed in the sitting
	Count   int      `json:"count,omitempty"`   // how many there are; 0: nobody said
}

// An Adhesive is what a joint is coated with.
type Adhesive struct {
	Name  string `json:"name"`
	Title string `json:"title"`
	Care

	Source string `json:"source,omitempty"` // where its times come from

	// As written, to show.
	From     quantity.Quantity `json:"from,omitzero"`
	To       quantity.Quantity `json:"to,omitzero"`
	At       quantity.Quantity `json:"at,omitzero"`
	Handling quantity.Quantity `json:"handling,omitzero"`
	Cure     quantity.Quantity `json:"cure,omitzero"`
	Vapour   quantity.Quantity `json:"vapour,omitzero"`  // absent: bond.DefaultVapour, if it dries before it is joined
	Factor   float64           `json:"factor,omitzero"`  // how many times faster it works for each 10 K warmer; absent: bond.DefaultPer10K
	Coldest  quantity.Quantity `json:"coldest,omitzero"` // below: refused
	Warmest  quantity.Quantity `json:"warmest,omitzero"` // above: refused
	Driest   quantity.Quantity `json:"driest,omitzero"`  // relative humidity, absent: no limit
	Dampest  quantity.Quantity `json:"dampest,omitzero"`

	// Times is the same as numbers, for computing.
	Times bond.Times `json:"-"`
}

// Dries reports whether a coat must dry before its joint may be joined.
// It is not inlined: its many copies would make the program larger.
//
//go:noinline
func (a Adhesive) Dries() bool { return a.Times.From > 0 }

// A Gauge is what a reading is taken with.
type Gauge struct {
	Name        string            `json:"name"`
	Title       string            `json:"title"`
	Resolution  quantity.Quantity `json:"resolution,omitzero"`  // smallest step shown
	Uncertainty quantity.Quantity `json:"uncertainty,omitzero"` // expanded, k = 2; absent: from the resolution alone

	// Repeatability is the spread of repeated set-ups, k = 2; absent: not known.
	Repeatability quantity.Quantity `json:"repeatability,omitzero"`
}

// Doubt is the gauge as the measuring rules see it.
//
//go:noinline
func (g Gauge) Doubt() measuring.Doubt {
	return measuring.Doubt{Resolution: g.Resolution, Uncertainty: g.Uncertainty, Repeatability: g.Repeatability}
}

// A Gate is a measurement with limits. Work stops there until they are met.
type Gate struct {
	Name    string           `json:"name"`
	Title   string           `json:"title"`
	How     string           `json:"how,omitempty"`    // how it is measured, Markdown, optional
	Reworks []Rework         `json:"rework,omitempty"` // the ways to put it right when it is out of tolerance
	Points  []string         `json:"points,omitempty"` // where it is measured; none: one point without a name
	At      []PointAt        `json:"at,omitempty"`     // where its points lie on the plan, of those that the sheet says it of
	Repeat  int              `json:"repeat,omitzero"`  // readings at each point, at least 1
	Limits  measuring.Limits `json:"limits,omitzero"`
	Least   []Share          `json:"least,omitempty"` // of which the greatest is the lower limit; none: it is written as it is
	Most    []Share          `json:"most,omitempty"`  // of which the least is the upper limit
	Pairs   [][2]string      `json:"pairs,omitempty"` // the points that Limits.Alike compares; none: all
	Result  measuring.Result `json:"result,omitzero"` // what is judged in place of the points

	// Acceptance is Plain or Guarded; "": guarded.
	Acceptance string `json:"acceptance,omitempty"`

	Gauge string   `json:"gauge,omitempty"`
	Finer []string `json:"finer,omitempty"` // gauges that it can be measured with too
	Or    Way      `json:"or,omitzero"`     // another way of measuring it, of which either will do
	Of    []string `json:"of,omitempty"`    // the zones it depends on

	// Equipment is what it is measured with: another piece of it makes it stale.
	Equipment []string `json:"equipment,omitempty"`

	// Work: it is of the work and not of the airframe. It depends on no zone and
	// is taken where a step needs it, never asked for afterwards.
	Work bool `json:"work,omitempty"`

	Needs []Setting `json:"needs,omitempty"` // what must stand when it is read

	// Critical: no concession can waive it, and there is no release without it.
	Critical bool `json:"critical,omitempty"`

	// Mass: any change of equipment makes it stale, wherever it is.
	Mass     bool     `json:"mass,omitempty"`
	Validity Validity `json:"life,omitzero"`

	Source string `json:"source,omitempty"` // where its limits come from

	Where
}

// How a gate accepts a value that is close to a limit.
const (
	Guarded = "guarded" // what is within the limits beyond doubt is in tolerance
	Plain   = "plain"   // what is within the limits is in tolerance, whatever its uncertainty
)

// EachFlight reports whether the gate is read anew before each flight.
func (g *Gate) EachFlight() bool { return g.Validity.Flights == 1 }

// Rule is what the gate's readings are judged by.
// It is not inlined: its copies in all callers would take 6 KB.
//
//go:noinline
func (g *Gate) Rule() measuring.Rule {
	return measuring.Rule{Limits: g.Limits, Repeat: g.Repeat, Pairs: g.Pairs, Result: g.Result, Plain: g.Acceptance == Plain}
}

// Unit is the unit in which the gate's readings are asked for and shown, which
// is that of its limits unless a result of another kind is judged.
func (g *Gate) Unit() string { return g.Rule().Unit() }

// Dimension is what a reading of the gate measures.
func (g *Gate) Dimension() quantity.Dimension { return g.Rule().Dimension() }

// Alone reports whether one reading is judged by itself: there are limits, and
// no result of several points stands in between.
func (g *Gate) Alone() bool {
	return g.Result.IsZero() && (!g.Limits.Low.IsZero() || !g.Limits.High.IsZero())
}

// A Way is another way of measuring a gate, at points of its own, against the same limits.
type Way struct {
	How    string           `json:"how,omitempty"`
	Points []string         `json:"points,omitempty"`
	At     []PointAt        `json:"at,omitempty"`
	Repeat int              `json:"repeat,omitzero"`
	Result measuring.Result `json:"result,omitzero"`
	Gauge  string           `json:"gauge,omitempty"` // "": there is no other way
	Finer  []string         `json:"finer,omitempty"`
}

// Other is the gate as it is measured in its other way, if it has one.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func (g Gate) Other() (Gate, bool) {
	own, or := Way{g.How, g.Points, g.At, g.Repeat, g.Result, g.Gauge, g.Finer}, g.Or
	if or.Gauge == "" {
		return g, false
	}
	g.How, g.Points, g.At, g.Repeat, g.Result, g.Gauge, g.Finer = or.How, or.Points, or.At, or.Repeat, or.Result, or.Gauge, or.Finer
	g.Or = own
	return g, true
}

// For is the gate in the way in which it is measured at the point.
//
//go:noinline
func (g Gate) For(point string) Gate {
	if other, ok := g.Other(); ok && !lists.Contains(g.PointNames(), point) && lists.Contains(other.PointNames(), point) {
		return other
	}
	return g
}

// A Rework is one way to put right what is out of tolerance.
type Rework struct {
	Do       string   `json:"do"`                 // Markdown
	Disturbs []string `json:"disturbs,omitempty"` // the zones; none: those the gate depends on
	Again    []string `json:"again,omitempty"`    // gates that are measured again beside this one, in place of all of its zones

	// The joint that it glues anew, and what with, one of them; "": it glues none.
	Joint     string   `json:"joint,omitempty"`
	Adhesives []string `json:"adhesives,omitempty"`
}

// Reworking are the zones that a rework of the gate disturbs.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func (g *Gate) Reworking(way Rework) []string {
	if len(way.Again) > 0 {
		zones := append(lists.Clone(way.Disturbs), OfGate(g.Name))
		for _, gate := range way.Again {
			zones = append(zones, OfGate(gate))
		}
		return zones
	}
	if len(way.Disturbs) > 0 {
		return way.Disturbs
	}
	return g.Of
}

// PointNames returns the points of the gate; a gate without named points has
// the one point "".
//
//go:noinline
func (g *Gate) PointNames() []string {
	if len(g.Points) == 0 {
		return []string{""}
	}
	return g.Points
}

// Readings are the points of one whole measurement, each point once per reading.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (g *Gate) Readings() []string {
	var points []string
	for _, p := range g.PointNames() {
		for range g.Repeat {
			points = append(points, p)
		}
	}
	return points
}

// Zones are those whose disturbance makes the gate stale, with the pseudo-zones.
func (g *Gate) Zones() []string {
	if !g.Mass && len(g.Equipment) == 0 {
		return g.Of
	}
	zones := lists.Clone(g.Of)
	if g.Mass {
		zones = append(zones, MassZone)
	}
	for _, item := range g.Equipment {
		zones = append(zones, Another(item))
	}
	return zones
}

// Touched reports whether the disturbance of any of the zones makes the gate stale.
func (g *Gate) Touched(zones ...string) bool {
	if lists.Contains(zones, OfGate(g.Name)) {
		return true
	}
	return lists.ContainsFunc(g.Zones(), func(z string) bool { return lists.Contains(zones, z) })
}

// DependsOn reports whether the gate depends on any of the zones.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func (g *Gate) DependsOn(zones ...string) bool {
	return lists.ContainsFunc(zones, func(z string) bool { return lists.Contains(g.Of, z) })
}

// A Where says on which airframes something is there, by their options.
type Where struct {
	With    [][]string `json:"with,omitempty"`    // any of each list
	Without []string   `json:"without,omitempty"` // none of these
}

// A Selection is what is decided of an airframe, and of a job: the options and
// the methods that were chosen, and those of choices that nobody answered yet.
type Selection struct{ Has, Open []string }

// In reports whether it is there with the selection. What an open choice governs
// is not there, whatever the answer will be.
func (w Where) In(s Selection) bool { return w.Applies(s.Has) && !intersect(w.Without, s.Open) }

// May reports whether it is there with the selection, or can be once what is open is chosen.
func (w Where) May(s Selection) bool {
	for _, any := range w.With {
		if !intersect(any, s.Has) && !intersect(any, s.Open) {
			return false
		}
	}
	return !intersect(w.Without, s.Has)
}

// Applies reports whether it is there on an airframe that has the options, and
// of which no choice is open.
func (w Where) Applies(options []string) bool {
	for _, any := range w.With {
		if !intersect(any, options) {
			return false
		}
	}
	return !intersect(w.Without, options)
}

// And is where both are there.
func (w Where) And(other Where) Where {
	return Where{slices.Concat(w.With, other.With), lists.Concat(w.Without, other.Without)}
}

// Options are those that it goes by, each once.
func (w Where) Options() []string {
	all := lists.Concat(slices.Concat(w.With...), w.Without)
	slices.Sort(all)
	return lists.Compact(all)
}

// Never returns options of which it asks for one and forbids all, if there are
// such: it is nowhere.
func (w Where) Never() []string {
	for _, any := range w.With {
		if !lists.ContainsFunc(any, func(o string) bool { return !lists.Contains(w.Without, o) }) {
			return any
		}
	}
	return nil
}

//go:noinline
func intersect(a, b []string) bool {
	return lists.ContainsFunc(a, func(one string) bool { return lists.Contains(b, one) })
}

// Gate returns the gate of that name.
//
//go:noinline
func (s *Sheet) Gate(name string) (Gate, bool) {
	for i := range s.Gates { // by index, because a gate is large
		if s.Gates[i].Name == name {
			return s.Gates[i], true
		}
	}
	return Gate{}, false
}

// Adhesive returns the adhesive of that name.
func (s *Sheet) Adhesive(name string) (Adhesive, bool) {
	return find(s.Adhesives, func(a Adhesive) bool { return a.Name == name })
}

// Tool returns the tool of that name.
func (s *Sheet) Tool(name string) (Tool, bool) {
	return find(s.Tools, func(t Tool) bool { return t.Name == name })
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

// GatesFor returns the gates that an airframe with the selection has.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func (s *Sheet) GatesFor(selection Selection) []Gate {
	gates := make([]Gate, 0, len(s.Gates))
	for i := range s.Gates { // by index, because a gate is large
		if s.Gates[i].In(selection) {
			gates = append(gates, s.Gates[i])
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
