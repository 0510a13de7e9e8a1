package steps

import (
	"slices"
	"strings"

	"fettle/steps/quantity"
)

// A Geometry is where everything of an airframe lies and what it weighs. Stations (x)
// count aft from the datum, y to the right of the centre line, seen from behind, and
// z up. A place that is not given is on the centre line. Lengths that are absent are
// not known.
type Geometry struct {
	Datum  string `json:"datum,omitempty"`  // what lies at x = 0; "": the sheet has no geometry
	Source string `json:"source,omitempty"` // where the figures come from

	Surfaces  []Surface   `json:"surfaces,omitempty"`
	Bodies    []Body      `json:"bodies,omitempty"`
	Controls  []Control   `json:"controls,omitempty"`
	Parts     []Component `json:"parts,omitempty"`
	Battery   Travel      `json:"battery,omitzero"`
	Propeller Propeller   `json:"propeller,omitzero"`
	Balance   BalanceAt   `json:"balance,omitzero"`
	Neutral   BodyEffect  `json:"neutral,omitzero"`
	Lift      LargestLift `json:"lift,omitzero"`
	Launch    string      `json:"launch,omitempty"` // ByHand, ByBungee or OnWheels; "": nobody said
}

// How an airframe comes into the air.
const (
	ByHand   = "hand"
	ByBungee = "bungee"
	OnWheels = "wheels"
)

// IsZero reports whether the sheet says nothing of its geometry.
func (g Geometry) IsZero() bool { return g.Datum == "" && len(g.Surfaces) == 0 && len(g.Parts) == 0 }

// Alters reports whether the parts and surfaces of two selections differ.
func (g Geometry) Alters(a, b Selection) bool {
	return slices.ContainsFunc(g.wheres(), func(w Where) bool { return w.In(a) != w.In(b) })
}

// DependsOn reports whether a part or a surface is there by one of the options.
func (g Geometry) DependsOn(options ...string) bool {
	return slices.ContainsFunc(g.wheres(), func(w Where) bool { return intersect(w.Options(), options) })
}

//go:noinline
func (g Geometry) wheres() (all []Where) {
	for _, part := range g.Parts {
		all = append(all, part.Where)
	}
	for _, surface := range g.Surfaces {
		all = append(all, surface.Where)
	}
	return all
}

// What a surface is.
const (
	Wing      = "wing"
	Tailplane = "tailplane" // with dihedral, half a V-tail
	Fin       = "fin"       // its panels stand upright
)

// A Surface is a wing, a tailplane or a fin: its panels on the right from the root
// outward. The left is its mirror image, but for a fin on the centre line.
type Surface struct {
	Name   string            `json:"name"`
	Is     string            `json:"is"` // Wing, Tailplane or Fin
	Zone   string            `json:"zone,omitempty"`
	X      quantity.Quantity `json:"x,omitzero"` // the leading edge at the root
	Y      quantity.Quantity `json:"y,omitzero"`
	Z      quantity.Quantity `json:"z,omitzero"`
	Panels []Panel           `json:"panels,omitempty"`
	Where
}

// Mirrored reports whether it stands on both sides.
//
//go:noinline
func (s Surface) Mirrored() bool { return s.Is != Fin || s.Y.Sign() != 0 }

// Vee reports whether it is half a V-tail.
func (s Surface) Vee() bool {
	return s.Is == Tailplane && slices.ContainsFunc(s.Panels, func(p Panel) bool { return p.Dihedral.Sign() != 0 })
}

// A Panel is a part of a surface with straight edges.
type Panel struct {
	Root     quantity.Quantity `json:"root,omitzero"`  // the chord at its inner end
	Tip      quantity.Quantity `json:"tip,omitzero"`   // and at its outer end
	Span     quantity.Quantity `json:"span,omitzero"`  // measured along the panel
	Sweep    quantity.Quantity `json:"sweep,omitzero"` // how far its leading edge lies further aft at the tip, or the angle of that
	Dihedral quantity.Quantity `json:"dihedral,omitzero"`
}

// A Place is a point of the plan.
type Place struct {
	X quantity.Quantity `json:"x"`
	Y quantity.Quantity `json:"y"`
}

// A Body is the outline of a zone in plan that is not a surface: a box, or a polygon.
type Body struct {
	Name    string            `json:"name"`
	Zone    string            `json:"zone"`
	Front   quantity.Quantity `json:"front,omitzero"` // of a box
	Rear    quantity.Quantity `json:"rear,omitzero"`
	Left    quantity.Quantity `json:"left,omitzero"`
	Right   quantity.Quantity `json:"right,omitzero"`
	Outline []Place           `json:"outline,omitempty"` // of a polygon
	Where
}

// Corners are the corners of the outline, in order.
func (b Body) Corners() []Place {
	if len(b.Outline) > 0 {
		return b.Outline
	}
	return []Place{{b.Front, b.Left}, {b.Front, b.Right}, {b.Rear, b.Right}, {b.Rear, b.Left}}
}

// A Control is a control surface with its linkage.
type Control struct {
	Name    string            `json:"name"`
	Title   string            `json:"title"`
	Surface string            `json:"surface"`         // that it is a part of
	Chord   quantity.Quantity `json:"chord,omitzero"`  // from the hinge to the edge, where its throw is measured
	Inner   quantity.Quantity `json:"inner,omitzero"`  // where it begins, out from the centre line
	Outer   quantity.Quantity `json:"outer,omitzero"`  // and ends
	Horn    quantity.Quantity `json:"horn,omitzero"`   // from the hinge to the hole of the clevis
	Thread  quantity.Quantity `json:"thread,omitzero"` // the pitch of the clevis's thread
	Gates   []string          `json:"gates,omitempty"` // that measure its throw
	Clevis  Clevis            `json:"clevis,omitzero"`
	Where
}

// A Clevis is where the thread in the clevises of a control is counted.
type Clevis struct {
	Gate   string   `json:"gate"`             // "": nobody counts it
	Points []string `json:"points,omitempty"` // of one clevis, or of the left one and the right one; none: the gate has none
}

// On is the point of the clevis that is on the side of a way.
func (c Clevis) On(way string) string {
	side, _ := Side(way)
	switch n := len(c.Points); {
	case n == 0:
		return ""
	case strings.HasPrefix(side, "right"):
		return c.Points[n-1]
	}
	return c.Points[0]
}

// A Component is a row of the parts table: what is weighed as one.
type Component struct {
	Name      string            `json:"name"`
	Title     string            `json:"title"`
	Mass      quantity.Quantity `json:"mass,omitzero"`
	X         quantity.Quantity `json:"x,omitzero"`
	Y         quantity.Quantity `json:"y,omitzero"`
	Z         quantity.Quantity `json:"z,omitzero"`
	Equipment string            `json:"equipment,omitempty"` // that it is: fitted, moved and removed with it
	Where
}

// A Travel is how far the battery can be moved to find the balance.
type Travel struct {
	Part   string            `json:"part,omitempty"` // the battery in the parts table
	From   quantity.Quantity `json:"from,omitzero"`  // the station of its middle, furthest forward
	To     quantity.Quantity `json:"to,omitzero"`    // and furthest aft
	Length quantity.Quantity `json:"length,omitzero"`
}

// A Propeller is where a propeller turns, and its size. One that is off the centre line
// has another opposite.
type Propeller struct {
	X        quantity.Quantity `json:"x,omitzero"`
	Y        quantity.Quantity `json:"y,omitzero"`
	Z        quantity.Quantity `json:"z,omitzero"`
	Diameter quantity.Quantity `json:"diameter,omitzero"`
	Pitch    quantity.Quantity `json:"pitch,omitzero"`
}

// A BalanceAt is the gate that limits the balance point, and the station from which
// its readings count.
type BalanceAt struct {
	Gate string            `json:"gate,omitempty"`
	Zero quantity.Quantity `json:"zero,omitzero"` // absent: the datum
}

// A BodyEffect is how far body and propeller shift the neutral point of the surfaces
// forward, in % MAC.
type BodyEffect struct {
	Body   quantity.Quantity `json:"body,omitzero"`
	Source string            `json:"source,omitempty"`
}

// A LargestLift is the lift coefficient of the whole aircraft at the stall; 0: nobody said.
type LargestLift struct {
	Most    float64 `json:"most,omitempty"`
	Source  string  `json:"source,omitempty"`
	Assumed bool    `json:"assumed,omitempty"` // nobody measured it
}

// A Drive is what the sheet says of the drive and its battery.
type Drive struct {
	Cells    int               `json:"cells,omitempty"` // in series
	Capacity quantity.Quantity `json:"capacity,omitzero"`
	Nominal  quantity.Quantity `json:"nominal,omitzero"` // the voltage of a cell by its label
	Limits   Currents          `json:"limits,omitzero"`
	Full     quantity.Quantity `json:"full,omitzero"`     // the current at full throttle
	Cruise   quantity.Quantity `json:"cruise,omitzero"`   // the current in level flight
	Thrust   quantity.Quantity `json:"thrust,omitzero"`   // at a standstill, full throttle
	Reserve  quantity.Quantity `json:"reserve,omitzero"`  // of the capacity, left at landing
	Brownout quantity.Quantity `json:"brownout,omitzero"` // the voltage below which the receiver stops
	Source   string            `json:"source,omitempty"`
	Gate     string            `json:"gate,omitempty"`    // that measures the current at full throttle
	Loaded   string            `json:"loaded,omitempty"`  // the gate that measures the voltage of the battery then
	Assumed  []string          `json:"assumed,omitempty"` // the keys of figures that no label gives and nobody measured
}

// The keys of figures of a drive that may be assumed.
const (
	FullCurrent   = "full"
	CruiseCurrent = "cruise"
	StaticThrust  = "thrust"
)

// Currents are the most that things of the drive carry, by their labels.
type Currents struct {
	Battery    quantity.Quantity `json:"battery,omitzero"`
	Rate       float64           `json:"rate,omitempty"` // the battery's by its label, in C; 0: the current itself is given
	Connectors quantity.Quantity `json:"connectors,omitzero"`
	Controller quantity.Quantity `json:"controller,omitzero"`
	Motor      quantity.Quantity `json:"motor,omitzero"`
	Supply     quantity.Quantity `json:"supply,omitzero"` // of receiver and servos
}

// A PointAt is where a point of a gate lies on the plan.
type PointAt struct {
	Point string `json:"point"` // "": the one point of a gate without named points
	Place
	From *Place `json:"from,omitempty"` // where what is read begins, such as a thread; nil: it has one place
}
