package workflow

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/air"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
)

// A Card is what a pilot wants to know of an airframe before it flies.
type Card struct {
	Airworthiness Airworthiness
	Outside       Outside
	Release       LastRelease // that stands; zero: none
	Figures       []Figure    // in the order of a card; without speeds if it is not released
	Balance       *Poise      // nil: the sheet names no gate of the balance point
	Sideways      Sideways    // by a gate; without one nothing was measured
	Throws        []Throw
	Trims         []Trimmed    // as they were last logged
	Concessions   []GateReport // gates that were accepted and not met
	Lacks         []Lack       // what nobody said of what is on board, for want of which figures are not known
	Twice         []Twice      // what was fitted, and by the mass was on board already
	Exceeded      []Figure     // ratings that the current at full throttle exceeds
	Exchanged     []string     // equipment that another was fitted for, of which the sheet's figures say nothing
}

// Outside is the air in which the airframe is to fly.
type Outside struct {
	Height float64 // m above sea level
	air.Air
}

// The figures of a card.
const (
	MassFigure       = "mass"
	AreaFigure       = "wing-area"
	LoadingFigure    = "wing-loading"
	AirFigure        = "air-density"
	LiftFigure       = "lift-coefficient"
	StallFigure      = "stall-speed"
	LaunchFigure     = "launch-speed"
	Bank45Figure     = "stall-speed-45"
	Bank60Figure     = "stall-speed-60"
	ThrustFigure     = "thrust-to-weight"
	CurrentFigure    = "full-current"
	LoadedFigure     = "full-voltage"
	ReceiverFigure   = "receiver-voltage"
	CruiseFigure     = "cruise-current"
	ControllerFigure = "controller-rating"
	MotorFigure      = "motor-rating"
	BatteryFigure    = "battery-rating"
	ConnectorFigure  = "connectors-rating"
	EnduranceFigure  = "endurance"
	ReserveFigure    = "reserve"
	EnergyFigure     = "battery-energy"
	NeutralFigure    = "neutral-point"
	MarginFigure     = "static-margin"
)

// LaunchFactor is how many times its stalling speed an aircraft has when it is let go
// (common practice, no source).
const LaunchFactor = 1.3

// ThrowSpeed is the most that a throw with a short run is counted on to give, in m/s: of the
// 7 to 10 that throws give (common practice, no source).
const ThrowSpeed = 9

// A Figure is one number of a card with what it rests on.
type Figure struct {
	Name    string
	Value   float64
	Unit    string
	U       float64  // its expanded uncertainty; 0: not known
	Rests   []Ground // what it rests on
	Missing []string // the keys of the sheet without which it is not known; then there is no value
	Unknown []string // what else it is not known for; then there is none either

	Standing string // of the gate that measured it, in words; "": it was passed, or none did
}

// Known reports whether the figure has a value.
func (f *Figure) Known() bool { return len(f.Missing)+len(f.Unknown) == 0 }

// Weakest is the least that the figure rests on.
func (f *Figure) Weakest() Basis {
	all := Bases()
	weakest := 0
	for _, g := range f.Rests {
		weakest = max(weakest, lists.Index(all, g.Basis))
	}
	return all[weakest]
}

// A Basis is how well something is known.
type Basis string

// Bases.
const (
	Measured  Basis = "measured"
	Computed  Basis = "computed" // of what was measured, and of the equipment changed since
	FromSheet Basis = "from the sheet"
	Assumed   Basis = "assumed"
)

// Bases are all of them, the best first.
func Bases() []Basis { return []Basis{Measured, Computed, FromSheet, Assumed} }

// A Ground is one thing that a figure rests on.
type Ground struct {
	What   string
	Basis  Basis
	Entry  int64     // of the reading, if it was measured
	At     time.Time // when it was read
	Source string    // where the sheet has it from, or why it is assumed; "": nothing says
}

// A Throw is how far a control surface goes, by a gate.
type Throw struct {
	Control steps.Control
	Report  GateReport
	Parts   []measuring.Part // the values of its points
}

// Card is the card of the airframe at the time, in air of the altitude and the
// temperature; of what nobody said the standard atmosphere has it.
func (s *State) Card(at time.Time, altitude, temperature quantity.Quantity) (Card, error) {
	c := carding{state: s, at: at, sheet: s.Sheet, exchanged: s.exchanged()}
	c.plan, c.planless = planform.Of(s.Sheet.Geometry, s.selected)
	outside, density, err := c.outside(altitude, temperature)
	if err != nil {
		return Card{}, err
	}
	card := Card{Outside: outside, Airworthiness: s.Airworthiness(at), Throws: c.throws(), Trims: s.Trims()}
	if p, err := s.Poise(at); err == nil {
		card.Balance = p
	}
	if side, ok := s.Sideways(at); ok && side.Gate != "" {
		card.Sideways = side
	}
	for _, e := range c.exchanged {
		card.Exchanged = append(card.Exchanged, e.Title)
	}
	weighed := s.WeighedMass()
	card.Lacks, card.Twice = weighed.Unknown, weighed.Twice
	if card.Balance != nil && len(card.Balance.Lacks) > 0 {
		card.Lacks = card.Balance.Lacks
	}
	mass, area := c.mass(), c.area()
	loading := c.of(LoadingFigure, "kg/m²", func(v []float64) float64 { return air.Loading(v[0], v[1]) }, mass, area)
	card.Figures = append(card.Figures, mass, area, loading, density)
	if card.Airworthiness.Released {
		card.Release = *s.Release
		card.Figures = append(card.Figures, c.speeds(mass, area, density)...)
	}
	card.Figures = append(card.Figures, c.margin(card.Balance)...)
	power := c.power(mass)
	card.Figures = append(card.Figures, power...)
	full := s.FullCurrent(at)
	for _, f := range power {
		if rated(f.Name) && f.Known() && full.Known() && f.Value < full.Value+full.U { // in doubt it is exceeded
			card.Exceeded = append(card.Exceeded, f)
		}
	}
	for _, g := range s.Gates(at) {
		if g.Standing == Conceded {
			card.Concessions = append(card.Concessions, g)
		}
	}
	return card, nil
}

// carding makes a card.
type carding struct {
	state *State
	sheet *steps.Sheet
	at    time.Time

	plan      planform.Plan
	planless  error // why there is none
	exchanged []steps.Equipment
}

// off says what was removed without which there is no figure of the drive: the battery and,
// but for a figure of the battery alone, what the current at full throttle depends on.
func (c *carding) off(batteryAlone bool) (all []string) {
	battery := c.state.flightBattery()
	full, gated := c.sheet.Gate(c.sheet.Power.Gate)
	for i := range c.sheet.Equipment {
		e := &c.sheet.Equipment[i]
		drives := e.Name == battery
		if !drives && !batteryAlone {
			drives = !gated && !e.Optional || gated && full.DependsOn(e.Zones()...)
		}
		if drives && c.state.mayBeOff(e.Name, c.at) {
			all = append(all, "the "+e.Name+" is not on board")
		}
	}
	return all
}

// exchanged is the equipment of the sheet that is named, and not what was built in: what the
// sheet says of the drive was said of another. What may be left off drives nothing.
func (s *State) exchanged() []steps.Equipment {
	var all []steps.Equipment
	for _, e := range s.Sheet.Equipment {
		built, now := "", ""
		first := true
		for i := range s.changes {
			c := &s.changes[i]
			if c.Item != e.Name || c.Change != Fitted {
				continue
			}
			if now = c.Name; first && c.Step != "" {
				built = c.Name
			}
			first = false
		}
		if now != "" && now != built && !e.Optional {
			all = append(all, e)
		}
	}
	return all
}

// lacking is a figure that the sheet lacks something for.
func lacking(name string, keys ...string) Figure { return Figure{Name: name, Missing: keys} }

// of is a figure worked out of others. It rests on all that they rest on.
func (c *carding) of(name, unit string, value func([]float64) float64, from ...Figure) Figure {
	f := Figure{Name: name, Unit: unit}
	var values []float64
	for _, other := range from {
		values = append(values, other.Value)
		f.Missing = append(f.Missing, other.Missing...)
		for _, why := range other.Unknown {
			if !lists.Contains(f.Unknown, why) {
				f.Unknown = append(f.Unknown, why)
			}
		}
		f.Rests = append(f.Rests, other.Rests...)
	}
	slices.Sort(f.Missing)
	if f.Missing = lists.Compact(f.Missing); f.Known() {
		f.Value = value(values)
	}
	return f
}

// outside is the air. Of what nobody said it is the standard atmosphere at sea level.
func (c *carding) outside(altitude, temperature quantity.Quantity) (Outside, Figure, error) {
	var o Outside
	var err error
	if !altitude.IsZero() {
		o.Height = float(altitude.Rat("m"))
	}
	if o.Air, err = air.Standard(o.Height); !temperature.IsZero() {
		o.Air, err = air.At(o.Height, float(temperature.Rat("K")))
	}
	source := "altitude and temperature as given"
	switch {
	case altitude.IsZero() && temperature.IsZero():
		source = "standard atmosphere at sea level"
	case altitude.IsZero():
		source = "temperature as given, pressure of sea level"
	case temperature.IsZero():
		source = "standard atmosphere at the altitude given"
	}
	return o, Figure{Name: AirFigure, Unit: "kg/m³", Value: o.Density, Rests: []Ground{{What: "air", Basis: Assumed, Source: source}}}, err
}

// area is that of the wing.
func (c *carding) area() Figure {
	if c.planless != nil {
		for _, surface := range c.sheet.Geometry.Surfaces {
			if surface.Is == steps.Wing && !surface.In(c.state.selected) {
				return lacking(AreaFigure, "geometry: surfaces (a wing for the options chosen)")
			}
		}
		return lacking(AreaFigure, "geometry: surfaces")
	}
	return Figure{Name: AreaFigure, Unit: "m²", Value: c.plan.Wing.Area / 1e6,
		Rests: []Ground{{What: "area", Basis: FromSheet, Source: c.sheet.Geometry.Source}}}
}

// mass is that of the whole airframe; not known if nobody says what something on board weighs.
func (c *carding) mass() Figure {
	w := c.state.WeighedMass()
	f := Figure{Name: MassFigure, Unit: "kg", Value: w.Grams / 1000, Rests: []Ground{{What: "mass", Basis: FromSheet, Source: "the sum of its parts"}}}
	switch {
	case len(w.Unknown) > 0:
		f.Rests = nil
		for _, l := range w.Unknown {
			f.Unknown = append(f.Unknown, l.String())
		}
	case w.Basis == Measured:
		f.U, f.Rests[0] = w.U/1000, Ground{What: "mass", Basis: Measured, Entry: w.Entry, At: w.At}
		r, err := c.state.GateReport(w.Gate, c.at)
		switch {
		case w.Changed:
			f.Rests[0].Basis, f.Rests[0].Source = Computed, "changed since by the record"
			if len(w.Assumed) > 0 {
				f.Rests[0].Source += ", taking it that " + strings.Join(w.Assumed, ", ")
			}
		case w.Worked:
			f.Rests[0].Basis, f.Rests[0].Source = Computed, "before work, damage or a change that may have made it another"
		case err != nil || !lists.Contains(r.Rests, w.Entry):
			f.Rests[0].Basis, f.Rests[0].Source = Computed, "nothing that weighs came or went since, and that reading no longer counts"
		}
	case !(f.Value > 0) || !slices.ContainsFunc(c.sheet.Geometry.Parts, func(part steps.Component) bool { return !part.Mass.IsZero() }):
		return lacking(MassFigure, "geometry: parts")
	}
	return f
}

// margin is how far the balance point lies ahead of the neutral point, both estimates by
// the planform; none where the planform gives none.
func (c *carding) margin(p *Poise) []Figure {
	if c.planless != nil || p == nil || math.IsNaN(p.Now) || !(p.Mass > 0) || len(p.Unknown) > 0 {
		return nil
	}
	at, err := c.plan.NeutralPoint()
	if err != nil {
		return nil
	}
	estimate := Ground{What: "neutral point, estimated", Basis: Assumed, Source: c.plan.Formula()}
	point := Ground{What: "balance point", Basis: FromSheet, Source: "computed of the parts"}
	switch {
	case p.Counts:
		point = Ground{What: "balance point", Basis: Measured, At: p.At}
	case p.Weighed:
		point = Ground{What: "balance point", Basis: Computed, At: p.At, Source: "weighed, and changed since by the record"}
	}
	margin := Figure{Name: MarginFigure, Unit: "% MAC", Rests: []Ground{estimate, point}}
	value, _ := c.plan.Margin(p.Now)
	if margin.Value = 100 * value; !math.IsNaN(p.NowU) {
		margin.U = 100 * p.NowU / c.plan.Wing.Chord.Length
	}
	return []Figure{{Name: NeutralFigure, Unit: "mm", Value: at, Rests: []Ground{estimate}}, margin}
}

// scaleOf is one of a unit in another; NaN: it is of another dimension.
func scaleOf(unit, other string) float64 {
	one, err := quantity.ParseIn("1", unit)
	if err != nil {
		return math.NaN()
	}
	return float(one.Rat(other))
}

// speeds are those that the air asks for.
func (c *carding) speeds(mass, area, density Figure) []Figure {
	most := lacking(LiftFigure, "geometry: lift")
	if l := c.sheet.Geometry.Lift; l.Most > 0 {
		most = Figure{Name: LiftFigure, Value: l.Most, Rests: []Ground{{What: fmt.Sprintf("lift coefficient %g", l.Most), Basis: FromSheet, Source: l.Source}}}
		if l.Assumed {
			most.Rests[0].Basis = Assumed
		}
	}
	stall := c.of(StallFigure, "m/s", func(v []float64) float64 {
		return air.Stall(v[0]*air.Gravity, v[1], v[2], v[3])
	}, mass, area, most, density)
	factor := Figure{Value: LaunchFactor, Rests: []Ground{{What: "1.3 times the stall", Basis: Assumed, Source: "common practice, no source"}}}
	launch := c.of(LaunchFigure, "m/s", func(v []float64) float64 { return v[0] * v[1] }, stall, factor)
	banked := func(name string, bank float64) Figure {
		return c.of(name, "m/s", func(v []float64) float64 { return air.UnderLoad(v[0], air.LoadFactor(bank)) }, stall)
	}
	return []Figure{most, stall, launch, banked(Bank45Figure, 45), banked(Bank60Figure, 60)}
}

// said is a figure that the sheet gives of the drive.
func (c *carding) said(name, what, key string, q quantity.Quantity, unit string) Figure {
	ofBattery := lists.Contains([]string{"capacity", "nominal", "limits: battery"}, key)
	ofDrive := lists.Contains([]string{steps.FullCurrent, steps.CruiseCurrent, steps.StaticThrust}, key)
	if off := c.off(ofBattery); len(off) > 0 && (ofBattery || ofDrive) {
		return Figure{Name: name, Unit: unit, Unknown: off}
	}
	if q.IsZero() {
		return lacking(name, "power: "+key)
	}
	g := Ground{What: what, Basis: FromSheet, Source: c.sheet.Power.Source}
	for _, e := range c.exchanged {
		if key != "reserve" && key != "limits: connectors" && ofBattery == (e.Name == c.state.flightBattery()) {
			g.Basis, g.Source = Assumed, "as of what the sheet has, and another is fitted: "+e.Title
		}
	}
	if lists.Contains(c.sheet.Power.Assumed, key) {
		g.Basis, g.Source = Assumed, "by the sheet, measured by nobody"
	}
	return Figure{Name: name, Unit: unit, Value: float(q.Rat(unit)), Rests: []Ground{g}}
}

// FullCurrent is the current at full throttle: as the gate of the sheet for it has measured
// it, met or not, else as the sheet says, else assumed to be all that the motor is rated for.
func (s *State) FullCurrent(at time.Time) Figure {
	c := &carding{state: s, at: at, sheet: s.Sheet, exchanged: s.exchanged()}
	motor := s.Sheet.Power.Limits.Motor
	if off := c.off(false); len(off) > 0 {
		return Figure{Name: CurrentFigure, Unit: "A", Unknown: off}
	}
	f, measured := c.measured(CurrentFigure, "current", s.Sheet.Power.Gate, "A", func(one, other float64) bool { return one > other })
	switch {
	case measured:
		return f
	case !s.Sheet.Power.Full.IsZero() || motor.IsZero():
		return c.said(CurrentFigure, "current", steps.FullCurrent, s.Sheet.Power.Full, "A")
	}
	f.Value = float(motor.Rat("A"))
	f.Rests = []Ground{{What: "current", Basis: Assumed, Source: "all that the motor is rated for, since the sheet lacks power: full"}}
	return f
}

// measured is a figure as a gate has measured it, met or not: the worst of its values;
// false: no reading of it counts.
func (c *carding) measured(name, what, gate, unit string, worse func(one, other float64) bool) (Figure, bool) {
	f := Figure{Name: name, Unit: unit}
	g, ok := c.sheet.Gate(gate)
	if !ok || !g.In(c.state.selected) {
		return f, false
	}
	r := c.state.report(g, c.at)
	if len(r.Rests) == 0 {
		return f, false
	}
	if !r.Met() {
		f.Standing = r.Words()
	}
	for _, part := range c.state.Parts(r) {
		one := scaleOf(part.Unit, unit)
		if !part.Known || len(part.Of) > 1 || math.IsNaN(one) || len(f.Rests) > 0 && !worse(part.Value*one, f.Value) {
			continue
		}
		f.Value, f.U = part.Value*one, part.U*one
		f.Rests = []Ground{{What: what, Basis: Measured, Entry: slices.Max(r.Rests), At: r.Last}}
	}
	return f, len(f.Rests) > 0
}

// rated reports whether a figure is the most that something carries.
func rated(name string) bool {
	return lists.Contains([]string{ControllerFigure, MotorFigure, BatteryFigure, ConnectorFigure}, name)
}

// power are the figures of the drive; none where the sheet has no drive.
func (c *carding) power(mass Figure) []Figure {
	p := c.sheet.Power
	if p.Cells == 0 {
		return nil
	}
	thrust := c.said("", "thrust", steps.StaticThrust, p.Thrust, "N")
	capacity := c.said("", "capacity", "capacity", p.Capacity, "Ah")
	cruise := c.said(CruiseFigure, "cruise current", steps.CruiseCurrent, p.Cruise, "A")
	reserve := c.said(ReserveFigure, "reserve", "reserve", p.Reserve, "%")
	figures := []Figure{
		c.of(ThrustFigure, "", func(v []float64) float64 { return air.ThrustToWeight(v[0], v[1]) }, thrust, mass),
		c.state.FullCurrent(c.at),
		c.said(ControllerFigure, "rating", "limits: controller", p.Limits.Controller, "A"),
		c.said(MotorFigure, "rating", "limits: motor", p.Limits.Motor, "A"),
		c.said(BatteryFigure, "rating", "limits: battery", p.Limits.Battery, "A"),
		c.said(ConnectorFigure, "rating", "limits: connectors", p.Limits.Connectors, "A"),
		c.of(EnduranceFigure, "h", func(v []float64) float64 { return air.Endurance(v[0], v[1]/100, v[2]) },
			capacity, reserve, cruise),
		cruise,
		reserve,
		c.of(EnergyFigure, "Wh", func(v []float64) float64 {
			_, energy := air.Pack(p.Cells, v[1], v[0])
			return energy
		}, capacity, c.said("", "nominal voltage", "nominal", p.Nominal, "V")),
	}
	lower := func(one, other float64) bool { return one < other }
	if loaded, measured := c.measured(LoadedFigure, "voltage then", p.Loaded, "V", lower); measured && len(c.off(false)) == 0 {
		figures = append(figures, loaded)
	}
	for i := range c.sheet.Gates { // that of the receiver is held against the voltage below which it stops
		g := &c.sheet.Gates[i]
		if slices.ContainsFunc(g.Least, func(of steps.Share) bool { return of.Figure.Name == steps.BrownoutFigure }) {
			if receiver, measured := c.measured(ReceiverFigure, "voltage", g.Name, "V", lower); measured {
				figures = append(figures, receiver)
				break
			}
		}
	}
	return figures
}

// throws are how far the control surfaces go.
func (c *carding) throws() []Throw {
	var all []Throw
	for _, control := range c.sheet.Geometry.Controls {
		for _, name := range control.Gates {
			g, ok := c.sheet.Gate(name)
			if !ok || !g.In(c.state.selected) || !control.In(c.state.selected) {
				continue
			}
			t := Throw{Control: control, Report: c.state.report(g, c.at)}
			for _, part := range c.state.Parts(t.Report) {
				if len(part.Of) < 2 {
					t.Parts = append(t.Parts, part)
				}
			}
			all = append(all, t)
		}
	}
	return all
}
