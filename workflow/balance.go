package workflow

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/balance"
	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
)

// A Placed is a part of the airframe at its place, as far as both are known.
type Placed struct {
	Item  string // the equipment that it is; "": a part of the airframe itself
	Title string
	Load  balance.Load // in g and mm; without a mass or a station: nobody says
}

func (p Placed) known() bool { return p.Load.Mass != nil && p.Load.X != nil }

// Placed are the parts that the airframe has before the entry: those of the sheet, and of
// equipment what was recorded of it since. Equipment that may be left off came aboard when
// it was first fitted by the record, if it was.
func (s *State) Placed(before int64) []Placed {
	type thing struct {
		aboard    bool
		mass, arm quantity.Quantity
	}
	things := map[string]thing{}
	for _, e := range s.Sheet.Equipment {
		first := slices.IndexFunc(s.changes, func(c change) bool { return c.Item == e.Name })
		things[e.Name] = thing{aboard: !e.Optional || first < 0 || s.changes[first].Change != Fitted}
	}
	for _, c := range s.changes {
		if c.position >= before {
			continue
		}
		was := things[c.Item]
		switch {
		case c.Change == Removed:
			things[c.Item] = thing{}
			continue
		case c.Change == Moved && c.Mass.IsZero():
			c.Mass = was.mass
		}
		if c.Change == Moved && c.Arm.IsZero() {
			c.Arm = was.arm
		}
		things[c.Item] = thing{true, c.Mass, c.Arm}
	}
	var all []Placed
	for _, part := range s.Sheet.Geometry.Parts {
		if !part.In(s.selected) {
			continue
		}
		p := Placed{Item: part.Equipment, Title: part.Title, Load: balance.Load{Mass: in(part.Mass, "g"), X: in(part.X, "mm"), Y: in(part.Y, "mm")}}
		if t, ok := things[part.Equipment]; ok && part.Equipment != "" {
			if !t.aboard {
				continue
			}
			if !t.mass.IsZero() {
				p.Load.Mass = in(t.mass, "g")
			}
			if !t.arm.IsZero() {
				p.Load.X = in(t.arm, "mm")
			}
		}
		all = append(all, p)
	}
	for _, c := range s.changes {
		listed := slices.ContainsFunc(all, func(p Placed) bool { return p.Item == c.Item }) ||
			slices.ContainsFunc(s.Sheet.Geometry.Parts, func(p steps.Component) bool { return p.Equipment == c.Item })
		if t := things[c.Item]; t.aboard && !listed {
			all = append(all, Placed{c.Item, c.Item, balance.Load{Mass: in(t.mass, "g"), X: in(t.arm, "mm")}})
		}
	}
	return all
}

// in is a quantity in a unit; nil: there is none.
func in(q quantity.Quantity, unit string) *big.Rat {
	r, err := q.Rat(unit)
	if err != nil {
		return nil
	}
	return r
}

// total is what is known of parts together, and what is not known of any.
func total(parts []Placed) (balance.Total, []string) {
	sum := balance.Of()
	var unknown []string
	for _, p := range parts {
		if !p.known() {
			unknown = append(unknown, p.Title)
			continue
		}
		sum = sum.With(p.Load)
	}
	return sum, unknown
}

// A Poise is where an airframe balances by its last weighing and by what was changed since.
// Stations are in mm aft of the datum, masses in g.
type Poise struct {
	Gate      steps.Gate
	Low, High float64 // the limits
	Wing      planform.Surface

	Weighed  bool // anything was
	Station  float64
	U        float64
	At       time.Time
	Counts   bool // the gate passed, and nothing was changed since
	Standing GateReport

	Now     float64
	NowU    float64 // NaN: nothing was weighed, so nobody knows
	Mass    float64
	Unknown []string // what was changed since and nobody says what it weighs or where it lies, or what was done that moved anything

	now   balance.Total
	parts []Placed
	state *State
	at    time.Time
}

// ErrUnbalanced says that the sheet does not support it.
var ErrUnbalanced = errors.New("the sheet names no gate of the balance point in its geometry")

// Poise is where the airframe balances at the time.
func (s *State) Poise(at time.Time) (Poise, error) {
	where := s.Sheet.Geometry.Balance
	g, ok := s.Sheet.Gate(where.Gate)
	if !ok || !g.In(s.selected) || g.Limits.Dimension() != quantity.Length {
		return Poise{}, ErrUnbalanced
	}
	zero := in(where.Zero, "mm")
	if zero == nil {
		zero = new(big.Rat)
	}
	offset, _ := zero.Float64()
	p := Poise{Gate: g, Low: math.Inf(-1), High: math.Inf(1), state: s, at: at, NowU: math.NaN(), Standing: s.report(g, at)}
	if !g.Limits.Low.IsZero() {
		p.Low = offset + float(g.Limits.Low.Rat("mm"))
	}
	if !g.Limits.High.IsZero() {
		p.High = offset + float(g.Limits.High.Rat("mm"))
	}
	if plan, err := planform.Of(s.Sheet.Geometry, s.selected); err == nil { // else nothing is said in % MAC
		p.Wing = plan.Wing
	}
	p.parts = s.Placed(s.Size())
	now, unknown := total(p.parts)
	p.now = now
	if position, value, u, when := s.lastWeighing(g); !when.IsZero() {
		p.Weighed, p.Station, p.U, p.At = true, offset+value, u, when
		before, unknownThen := total(s.Placed(position))
		mass := before.Mass
		if k, ok := s.KnownMass(at); ok && k.Read {
			mass = new(big.Rat).SetFloat64((k.Low + k.High) / 2)
		}
		// What the parts table has wrong is in both, so the change alone counts.
		was := balance.Total{Mass: mass, Moment: new(big.Rat).Mul(mass, new(big.Rat).SetFloat64(p.Station)), Lateral: before.Lateral}
		p.now = balance.Total{Mass: new(big.Rat).Add(was.Mass, new(big.Rat).Sub(now.Mass, before.Mass)),
			Moment: new(big.Rat).Add(was.Moment, new(big.Rat).Sub(now.Moment, before.Moment)), Lateral: now.Lateral}
		for _, title := range unknown {
			if !slices.Contains(unknownThen, title) {
				p.Unknown = append(p.Unknown, title)
			}
		}
		for _, c := range s.changes {
			if c.position >= position && c.Change == Moved && c.Arm.IsZero() {
				p.Unknown = append(p.Unknown, "where the "+c.Item+" was moved to")
			}
		}
		if record := s.gates[g.Name]; record.reworked > position {
			p.Unknown = append(p.Unknown, "what was moved in the rework")
		}
		if w, ok := ratio(mass, p.now.Mass); ok {
			p.NowU = u * w
		}
	} else {
		p.Unknown = unknown
	}
	x, err := p.now.Station()
	if err != nil {
		return p, err
	}
	p.Now, _ = x.Float64()
	p.Mass, _ = p.now.Mass.Float64()
	p.Counts = p.Weighed && len(p.Standing.Rests) > 0 && p.Standing.Finding.Missing == ""
	return p, nil
}

func ratio(a, b *big.Rat) (float64, bool) {
	if b.Sign() <= 0 {
		return 0, false
	}
	f, _ := new(big.Rat).Quo(a, b).Float64()
	return f, true
}

// lastWeighing is the last value of the balance that can be worked out of readings, whether
// they count still or not, in mm; no time: there is none.
func (s *State) lastWeighing(g steps.Gate) (position int64, value, u float64, at time.Time) {
	record := s.gates[g.Name]
	if record == nil || len(record.readings) == 0 {
		return 0, 0, 0, time.Time{}
	}
	g = g.For(last(record.readings).Point)
	for range 2 {
		var usable []reading
		for _, t := range record.readings {
			if s.otherwise(g, t) == "" && s.inDoubt(t) == nil {
				usable = append(usable, t)
			}
		}
		r := GateReport{Gate: g}
		if len(usable) > 0 {
			s.judge(&r, usable)
			if value, u, ok := s.valueOf(r); ok {
				one := scaleOf(g.Limits.Unit(), "mm")
				return last(usable).position, value * one, u * one, last(usable).at
			}
		}
		g, _ = g.Other() // of the last way not all was read
	}
	return 0, 0, 0, time.Time{}
}

// Shift is how far the computed balance lies aft of the last weighing, in mm.
func (p Poise) Shift() float64 { return p.Now - p.Station }

// Verdict is what the computed balance says of the limits: undecided where its interval
// crosses one, or where nobody knows how good it is.
func (p Poise) Verdict() measuring.Verdict { return p.verdict(p.Now) }

func (p Poise) verdict(x float64) measuring.Verdict {
	u := p.NowU
	switch {
	case math.IsNaN(u) || len(p.Unknown) > 0:
		return measuring.Undecided
	case x+u < p.Low || x-u > p.High:
		return measuring.Out
	case x-u < p.Low || x+u > p.High:
		return measuring.Undecided
	}
	return measuring.In
}

// Doubtful reports whether the balance is worked out and not weighed as it is.
func (p Poise) Doubtful() bool { return !p.Counts || len(p.Unknown) > 0 }

// Target is where it should balance: in the middle of the limits or, in doubt, half the way
// from there to the forward one, since an aircraft that is nose-heavy can be flown.
func (p Poise) Target() (float64, bool) {
	if math.IsInf(p.Low, 0) || math.IsInf(p.High, 0) {
		return 0, false
	}
	middle := (p.Low + p.High) / 2
	if p.Doubtful() {
		return (p.Low + middle) / 2, true
	}
	return middle, true
}

// Tried is where it would balance with more on board.
type Tried struct {
	Name          string
	Mass, Station float64
	Then          float64 // with it and all that were tried before it
	Verdict       measuring.Verdict
}

// Try is where it would balance with parts that are not fitted yet.
func (p Poise) Try(parts []Placed) (tried []Tried, with Poise, err error) {
	with = p
	for _, part := range parts {
		with.now = with.now.With(part.Load)
		x, err := with.now.Station()
		if err != nil {
			return nil, p, err
		}
		if w, ok := ratio(p.now.Mass, with.now.Mass); ok {
			with.NowU = p.NowU * w
		}
		with.Now, _ = x.Float64()
		with.Mass, _ = with.now.Mass.Float64()
		mass, _ := part.Load.Mass.Float64()
		station, _ := part.Load.X.Float64()
		tried = append(tried, Tried{part.Title, mass, station, with.Now, with.verdict(with.Now)})
	}
	return tried, with, nil
}

// A Slide is where the battery has to lie.
type Slide struct {
	Title       string
	By          float64 // how far aft, in mm
	Front, Rear float64 // the stations between which it lies then
	Width       float64 // of its bed
	Short       bool    // it is at the end of its travel, and that is not far enough
	Then        float64 // where it balances then
}

// Slide is where the battery brings the balance to the target; false: the sheet says
// nothing of its travel. It is rounded to whole millimetres forward.
func (p Poise) Slide(target float64) (Slide, bool) {
	travel := p.state.Sheet.Geometry.Battery
	part, ok := p.battery(travel)
	if !ok {
		return Slide{}, false
	}
	by, err := p.now.Travel(part.Load.Mass, new(big.Rat).SetFloat64(target))
	if err != nil {
		return Slide{}, false
	}
	from, to, is := float(travel.From.Rat("mm")), float(travel.To.Rat("mm")), float(part.Load.X, nil)
	at := math.Floor(is + float(by, nil) + 1e-9)
	s := Slide{Title: part.Title, Width: float(travel.Length.Rat("mm"))}
	if at < from || at > to {
		s.Short = true
	}
	at = min(max(at, from), to)
	s.By, s.Front, s.Rear = at-is, at-s.Width/2, at+s.Width/2
	then, err := p.now.Moved(part.Load.Mass, new(big.Rat).SetFloat64(s.By)).Station()
	s.Then = float(then, err)
	return s, true
}

func (p Poise) battery(travel steps.Travel) (Placed, bool) {
	for _, c := range p.state.Sheet.Geometry.Parts {
		if c.Name != travel.Part || travel.Part == "" {
			continue
		}
		i := slices.IndexFunc(p.parts, func(part Placed) bool {
			return part.known() && part.Item == c.Equipment && part.Title == c.Title
		})
		if i >= 0 {
			return p.parts[i], true
		}
	}
	return Placed{}, false
}

// A Ballast is a mass that brings the balance to a target.
type Ballast struct{ Mass, Station, Then float64 }

// Impossible is why ballast can't do what is asked.
type Impossible struct{ Why string }

func (e *Impossible) Error() string { return e.Why }

// Ballast is the ballast at a station that brings the balance to the target, in whole steps
// of the scale on the nose-heavy side.
func (p Poise) Ballast(at, target, step float64) (Ballast, error) {
	x, to := new(big.Rat).SetFloat64(at), new(big.Rat).SetFloat64(target)
	if x == nil || to == nil {
		return Ballast{}, &Impossible{"the target is not known"}
	}
	mass, err := p.now.Ballast(x, to)
	if math.Abs(at-target) < 1 && err == nil && mass.Sign() != 0 { // nobody places it closer
		err = balance.ErrAtTarget
	}
	switch {
	case errors.Is(err, balance.ErrAtTarget):
		return Ballast{}, &Impossible{fmt.Sprintf("ballast at %.0f mm moves nothing: that is where it should balance; give a station well ahead of it or behind it", at)}
	case errors.Is(err, balance.ErrWrongSide):
		side := "ahead of"
		if p.Now < target {
			side = "behind"
		}
		return Ballast{}, &Impossible{fmt.Sprintf("ballast at %.0f mm moves the balance the wrong way; give a station %s %.1f mm", at, side, target)}
	case err != nil:
		return Ballast{}, &Impossible{err.Error()}
	}
	grams := float(mass, nil)
	if step <= 0 {
		step = 1
	}
	if at < target {
		grams = math.Ceil(grams/step-1e-9) * step
	} else {
		grams = math.Floor(grams/step+1e-9) * step
	}
	if k, ok := p.state.KnownMass(p.at); ok && !k.Gate.Limits.High.IsZero() {
		if most := float(k.Gate.Limits.High.Rat("g")); p.Mass+grams > most {
			return Ballast{}, &Impossible{fmt.Sprintf("that takes %.0f g at %.0f mm, and with %.0f g on board the limit of %.0f g (%s) leaves %.0f g", grams, at, p.Mass, most, k.Gate.Name, max(0, most-p.Mass))}
		}
	}
	then, err := p.now.With(balance.Load{Mass: new(big.Rat).SetFloat64(grams), X: x}).Station()
	return Ballast{grams, at, float(then, err)}, nil
}

// Least is the least ballast and where: as far from the target as there is any airframe.
func (p Poise) Least(target, step float64) (Ballast, error) {
	front, rear := p.ends()
	at := p.now.Farthest(front, rear, new(big.Rat).SetFloat64(target))
	if at == nil {
		return Ballast{}, &Impossible{"the sheet does not say where its parts lie"}
	}
	return p.Ballast(float(at, nil), target, step)
}

// ends are the foremost and the rearmost station of a part or of the middle of a body.
func (p Poise) ends() (front, rear *big.Rat) {
	take := func(x *big.Rat) {
		if x == nil {
			return
		}
		if front == nil || x.Cmp(front) < 0 {
			front = x
		}
		if rear == nil || x.Cmp(rear) > 0 {
			rear = x
		}
	}
	for _, part := range p.parts {
		take(part.Load.X)
	}
	return front, rear
}

// AtTip is the mass that levels it at a wing tip, by the parts table, and whether that is
// the left one; false: it has no wing, or no part lies off the centre line.
func (p Poise) AtTip() (mass float64, left, ok bool) {
	if !(p.Wing.Span > 0) || !slices.ContainsFunc(p.parts, func(part Placed) bool { return part.Load.Y != nil && part.Load.Y.Sign() != 0 }) {
		return 0, false, false
	}
	m, err := p.now.Level(new(big.Rat).SetFloat64(p.Wing.Span / 2))
	f := float(m, err)
	return math.Abs(f), f < 0, true
}

// Step is the resolution of the scale that masses are read with, in g.
func (p Poise) Step() float64 {
	if k, ok := p.state.KnownMass(p.at); ok {
		if gauge, ok := p.state.Sheet.Gauge(k.Gate.Gauge); ok {
			return float(gauge.Resolution.Rat("g"))
		}
	}
	return 1
}

// Asked is the time that it was asked for.
func (p Poise) Asked() time.Time { return p.at }
