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
	"fettle/workflow/journal"
)

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
	Counts   bool        // its readings count: nothing was changed since
	Then     WeighedMass // what it weighed then
	Standing GateReport

	Now     float64
	NowU    float64 // NaN: nothing was weighed, or something is not known, so nobody knows
	Mass    float64
	MassU   float64
	MassBy  WeighedMass // what says so
	Unknown []string    // what nobody says of what was changed since
	Lacks   []Lack      // which of it can be said, or needs another weighing
	Assumed []string    // what was taken for granted, so that nothing is decided

	now      balance.Total
	weighing balance.Weighing
	changes  []balance.Change
	parts    []Placed
	state    *State
	at       time.Time
}

// ErrUnbalanced says that the sheet does not support it.
var ErrUnbalanced = errors.New("the sheet names no gate of the balance point in its geometry")

// Poise is where the airframe balances at the time: as it was weighed last, by a complete
// set of readings with the same on board, and moved by what was changed after that.
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
	f := s.fittings()
	p.parts = s.placed(f, f.before(s.whole()))
	parts, unknown := total(p.parts)
	p.MassBy = s.weighedMass(f)
	p.Mass, p.MassU = p.MassBy.Grams, p.MassBy.U
	m := s.measurements(g, "mm")
	if len(m) > 0 {
		p.weighed(m[0], offset, f)
	} else if x, err := parts.Station(); err == nil {
		p.weighing = balance.Weighing{Mass: parts.Mass, X: x, U: math.NaN(), UMass: math.NaN()}
		p.Unknown = unknown
	} else {
		return p, err
	}
	p.now = p.weighing.After(p.changes...)
	x, err := p.now.Station()
	if err != nil {
		return p, err
	}
	p.Now, _ = x.Float64()
	if len(p.Unknown) == 0 {
		p.NowU, _ = p.weighing.Uncertainty(p.changes...)
	}
	p.Counts = p.Weighed && len(p.Standing.Rests) > 0 && p.Standing.Finding.Missing == "" && len(p.changes)+len(p.Unknown)+len(p.Assumed) == 0
	return p, nil
}

// whole is the instant after all that was recorded.
func (s *State) whole() instant { return instant{s.Size(), s.latestAt().Add(time.Nanosecond)} }

// weighed takes the weighing and what was changed since.
func (p *Poise) weighed(m measurement, offset float64, f fittings) {
	s, then := p.state, m.last()
	if r := p.Standing; len(r.Rests) > 0 && r.Finding.Missing == "" { // as the gate has it
		if value, u, ok := s.valueIn(r, "mm"); ok {
			m.value, m.u = value, u
		}
	}
	p.Weighed, p.Station, p.U, p.At = true, offset+m.value, m.u, then.at
	p.Then = s.massThen(m, f)
	d := s.since(f, then)
	p.changes, p.Lacks = d.changes, d.lacks
	for _, l := range append(p.Then.Unknown, d.lacks...) {
		p.Unknown = append(p.Unknown, l.String())
	}
	p.weighing = balance.Weighing{Mass: new(big.Rat).SetFloat64(p.Then.Grams), X: new(big.Rat).SetFloat64(p.Station), U: m.u, UMass: p.Then.U}
	p.doubts(m, f)
}

// doubts are what the record leaves open beside masses and stations.
func (p *Poise) doubts(m measurement, f fittings) {
	s, then := p.state, m.last()
	later := func(e journal.Entry) bool { return !then.follows(e) }
	day := func(words string) string { return words + " at the weighing" }
	for _, c := range f.began {
		if !later(s.Entries[c.position]) {
			continue
		}
		was := "was not on board"
		if c.Change != Fitted {
			was = "was on board"
		}
		p.Assumed = append(p.Assumed, day("the "+c.Item+" "+was))
	}
	open := map[string]bool{}
	unknown := func(words string) {
		if !open[words] {
			open[words] = true
			p.Unknown = append(p.Unknown, words)
		}
	}
	for _, e := range s.Entries {
		changed, is := e.Facts.(journal.EquipmentChanged)
		if !is {
			continue
		}
		undone, gone := s.undone[e.Position]
		for _, t := range m.readings {
			switch {
			case gone && t.position > e.Position && t.position < undone:
				unknown("what was on board at the weighing, since what was said of the " + changed.Item + " before it was taken back after it")
			case !gone && !s.inOrder(e.Position, t.position):
				unknown("whether the " + changed.Item + " was " + changed.Change + " before the weighing or after it")
			}
		}
	}
	var since []string
	for _, e := range s.upsets(p.Gate) {
		if !later(e) {
			continue
		}
		by, _ := s.disturbs(e)
		switch facts := e.Facts.(type) {
		case journal.EquipmentChanged:
		case journal.Chosen:
			unknown("what the choice of " + facts.Choice + " changed")
		case journal.Undone:
			unknown("what was on board at the weighing, since a choice was taken back after it")
		case journal.Reworked:
			if facts.Gate == p.Gate.Name {
				unknown("what was moved in the rework")
			} else {
				since = append(since, by)
			}
		case journal.ConditionSet:
			since = append(since, "the change to "+facts.Setting.String())
		default:
			since = append(since, by)
		}
	}
	if n := len(since); n > 0 {
		words := since[0]
		if n > 1 {
			words = fmt.Sprintf("%s and %d more", words, n-1)
		}
		p.Assumed = append(p.Assumed, "nothing was lost or added by "+words)
	}
	own, scales := carried(m)
	for _, other := range s.masses() {
		if scales && len(other.gate.Result.Stations) == 0 && s.sameAboard(f, then, other.last()) {
			if why := unequal(own, "the "+other.gate.Name+" is", other.grams-other.u, other.grams+other.u); why != "" {
				unknown("which is right: " + why)
			}
			break
		}
	}
}

// Shift is how far the computed balance lies aft of the last weighing, in mm.
func (p Poise) Shift() float64 { return p.Now - p.Station }

// Verdict is what the computed balance says of the limits: undecided where its interval
// crosses one, or where nobody knows how good it is.
func (p Poise) Verdict() measuring.Verdict { return p.verdict(p.Now) }

func (p Poise) verdict(x float64) measuring.Verdict {
	u := p.NowU
	switch {
	case math.IsNaN(u) || !p.Sure():
		return measuring.Undecided
	case x+u < p.Low || x-u > p.High:
		return measuring.Out
	case x-u < p.Low || x+u > p.High:
		return measuring.Undecided
	}
	return measuring.In
}

// Doubtful reports whether the balance is worked out and not weighed as it is.
func (p Poise) Doubtful() bool { return !p.Counts }

// Sure reports whether all is known of what was changed since the weighing, and nothing
// taken for granted. Else nothing is advised: it has to be weighed first.
func (p Poise) Sure() bool { return len(p.Unknown)+len(p.Assumed) == 0 }

// Target is where it should balance, if it is known where it does: in the middle of the limits or, in doubt, half the way
// from there to the forward one, since an aircraft that is nose-heavy can be flown.
func (p Poise) Target() (float64, bool) {
	if math.IsInf(p.Low, 0) || math.IsInf(p.High, 0) || !p.Sure() {
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
	Then, U       float64 // with it and all that were tried before it
	Verdict       measuring.Verdict
}

// Try is where it would balance with parts that are not fitted yet: as it is computed once
// they are.
func (p Poise) Try(parts []Placed) (tried []Tried, with Poise, err error) {
	with = p
	with.changes = slices.Clone(p.changes)
	for _, part := range parts {
		c := balance.Change{Mass: part.Load.Mass, U: p.state.scaleU(), To: &balance.Place{X: part.Load.X, U: max(1, part.UX)}}
		if math.IsNaN(c.U) {
			c.U = float(c.Mass, nil) / 10
		}
		with.changes = append(with.changes, c)
		with.now = p.weighing.After(with.changes...)
		x, err := with.now.Station()
		if err != nil {
			return nil, p, err
		}
		if len(p.Unknown) == 0 {
			with.NowU, _ = p.weighing.Uncertainty(with.changes...)
		}
		with.Now, _ = x.Float64()
		mass, _ := part.Load.Mass.Float64()
		station, _ := part.Load.X.Float64()
		with.Mass, with.MassU, with.Counts = with.Mass+mass, math.Hypot(with.MassU, c.U), false
		tried = append(tried, Tried{part.Title, mass, station, with.Now, with.NowU, with.verdict(with.Now)})
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
			return part.known() && part.Item == c.Equipment && (part.Item != "" || part.Title == c.Title)
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
