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
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// A Poise is where an airframe balances by its last weighing and by what was changed since.
// Stations are in mm aft of the datum, masses in g.
type Poise struct {
	Gate      steps.Gate
	Zero      float64 // the station from which the gate is read
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
	Mass    float64 // NaN: nobody says what something on board weighs
	MassU   float64
	MassBy  WeighedMass // what says so
	Unknown []string    // what nobody says of what was changed since
	Lacks   []Lack      // which of it can be said, or needs another weighing
	Assumed []string    // what was taken for granted, so that nothing is decided

	now      balance.Total
	weighing balance.Weighing
	scales   measuring.Result // that it was weighed on last
	changes  []balance.Change
	parts    []Placed
	state    *State
	at       time.Time
}

// ErrUnbalanced says that the sheet does not support it.
var ErrUnbalanced = errors.New("the sheet names no gate of the balance point in its geometry")

// Poise is where the airframe balances at the time: as it was weighed last, by a complete
// set of readings with the same on board, and moved by what was changed after that.
func (s *State) Poise(at time.Time) (*Poise, error) {
	where := s.Sheet.Geometry.Balance
	g, ok := s.Sheet.Gate(where.Gate)
	if !ok || !g.In(s.selected) || g.Limits.Dimension() != quantity.Length {
		return nil, ErrUnbalanced
	}
	zero := in(where.Zero, "mm")
	if zero == nil {
		zero = new(big.Rat)
	}
	offset, _ := zero.Float64()
	p := &Poise{Gate: g, Zero: offset, Low: math.Inf(-1), High: math.Inf(1), state: s, at: at, NowU: math.NaN(), Standing: s.report(g, at)}
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
	spots := f.before(s.whole())
	p.parts = s.placed(f, spots)
	parts, _ := total(p.parts)
	p.MassBy = s.weighedMass(f)
	if p.Mass, p.MassU = p.MassBy.Grams, p.MassBy.U; len(p.MassBy.Unknown) > 0 {
		p.Mass, p.MassU = math.NaN(), math.NaN()
	}
	m := s.measurements(g, "mm")
	if len(m) > 0 {
		p.weighed(m[0], offset, f)
	} else if x, err := parts.Station(); err == nil {
		p.weighing = balance.Weighing{Mass: parts.Mass, X: x, U: math.NaN(), UMass: math.NaN()}
		for _, part := range p.parts {
			if !part.known() {
				l := lackOf(spots[part.Item], part.Load.Mass == nil, part.Load.X == nil)
				p.Lacks, p.Unknown = append(p.Lacks, l), append(p.Unknown, l.String())
			}
		}
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
func (s *State) whole() instant {
	var latest time.Time
	for _, e := range s.Entries {
		if e.At.After(latest) {
			latest = e.At
		}
	}
	return instant{s.Size(), latest.Add(time.Nanosecond)}
}

// weighed takes the weighing and what was changed since.
func (p *Poise) weighed(m *measurement, offset float64, f fittings) {
	s, then := p.state, m.last()
	if r := p.Standing; len(r.Rests) > 0 && r.Finding.Missing == "" { // as the gate has it
		if value, u, ok := s.valueIn(r, "mm"); ok {
			m.value, m.u = value, u
		}
	}
	p.Weighed, p.Station, p.U, p.At = true, offset+m.value, m.u, then.at
	p.Then, p.scales = s.massThen(m, f), m.gate.Result
	d := s.since(f, then)
	p.changes, p.Lacks = d.changes, d.lacks
	for _, l := range append(p.Then.Unknown, d.lacks...) {
		p.Unknown = append(p.Unknown, l.String())
	}
	p.weighing = balance.Weighing{Mass: new(big.Rat).SetFloat64(p.Then.Grams), X: new(big.Rat).SetFloat64(p.Station), U: m.u, UMass: p.Then.U}
	p.doubts(m, f)
}

// doubts are what the record leaves open beside masses and stations.
func (p *Poise) doubts(m *measurement, f fittings) {
	s, then := p.state, m.last()
	later := func(e journal.Entry) bool { return !then.follows(e) }
	for _, c := range f.began {
		switch {
		case then.after(c, true):
		case c.Change == Fitted:
			p.Assumed = append(p.Assumed, notThen(c.Item))
		default:
			p.Assumed = append(p.Assumed, "the "+c.Item+" was on board at the weighing")
		}
	}
	p.outOfOrder(m)
	p.upset(later)
	if p.Then.Worked && len(p.changes) > 0 {
		p.Assumed = append(p.Assumed, "nothing was lost or added between the weighing of its mass and that of its balance")
	}
	own, scales := carried(m)
	for _, other := range s.masses() {
		if scales && len(other.gate.Result.Stations) == 0 && s.sameAboard(f, then, other.last()) {
			if why := unequal(own, "the "+other.gate.Name+" is", other.grams-other.u, other.grams+other.u); why != "" {
				p.unknown("which is right: " + why)
			}
			break
		}
	}
	if why := s.heavier(then); !scales && why != "" {
		p.unknown("why " + why)
	}
}

// notThen is what is taken for granted of what may be left off and was fitted since.
func notThen(item string) string { return "the " + item + " was not on board at the weighing" }

// unknown adds what nobody knows, once.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (p *Poise) unknown(words string) {
	if !lists.Contains(p.Unknown, words) {
		p.Unknown = append(p.Unknown, words)
	}
}

// outOfOrder are the changes of equipment of which the record does not tell whether they
// came before the weighing, or no longer does.
func (p *Poise) outOfOrder(m *measurement) {
	s := p.state
	for _, e := range s.Entries {
		changed, is := e.Facts.(journal.EquipmentChanged)
		if !is {
			continue
		}
		undone, gone := s.undone[e.Position]
		for _, t := range m.readings {
			switch {
			case gone && t.position > e.Position && t.position < undone:
				p.unknown("what was on board at the weighing, since what was said of the " + changed.Item + " before it was taken back after it")
			case !gone && !s.inOrder(e.Position, t.position):
				p.unknown("whether the " + changed.Item + " was " + changed.Change + " before the weighing or after it")
			}
		}
	}
}

// upset is what else than equipment was changed since the weighing.
func (p *Poise) upset(later func(journal.Entry) bool) {
	s := p.state
	var since []string
	for _, e := range s.upsets(p.Gate) {
		if !later(e) {
			continue
		}
		by, _ := s.disturbs(e)
		switch facts := e.Facts.(type) {
		case journal.EquipmentChanged:
		case journal.Chosen:
			p.unknown("what the choice of " + facts.Choice + " changed")
		case journal.Undone:
			p.unknown("what was on board at the weighing, since a choice was taken back after it")
		case journal.Reworked:
			switch said := func(e journal.Entry) bool {
				_, is := e.Facts.(journal.EquipmentChanged)
				return is && s.Live(e.Position) && later(e)
			}; {
			case facts.Gate != p.Gate.Name:
				since = append(since, by)
			case !slices.ContainsFunc(s.Entries, said): // else that was it
				p.unknown("what was moved in the rework")
			}
		case journal.ConditionSet:
			if back := s.putBack(facts.Condition); !lists.Contains(p.Assumed, back) {
				p.Assumed = append(p.Assumed, back)
			}
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
}

// putBack is what is taken for granted of equipment that a condition says is off or was.
func (s *State) putBack(condition string) string {
	for i := range s.Sheet.Equipment {
		e := &s.Sheet.Equipment[i]
		if steps.AnySetting(e.Aboard, func(is steps.Setting) bool { return is.Condition == condition }) {
			condition = e.Name
		}
	}
	return "the " + condition + " is put back as it lay at the weighing"
}

// Shift is how far the computed balance lies aft of the last weighing, in mm.
func (p *Poise) Shift() float64 { return p.Now - p.Station }

// Verdict is what the computed balance says of the limits: undecided where its interval
// crosses one, or where nobody knows how good it is.
//
//go:noinline
func (p *Poise) Verdict() measuring.Verdict { return p.verdict(p.Now) }

//go:noinline
func (p *Poise) verdict(x float64) measuring.Verdict {
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

// Doubtful reports whether the balance is worked out and not weighed as it is. With nothing
// changed since the weighing it is where that had it, whether that counts or not.
func (p *Poise) Doubtful() bool { return !p.Weighed || !p.Counts && len(p.changes) > 0 }

// Sure reports whether all is known of what was changed since the weighing, and nothing
// taken for granted. Else nothing is advised: it has to be weighed first.
func (p *Poise) Sure() bool { return len(p.Unknown)+len(p.Assumed) == 0 }

// Practice is what its interval takes from common practice, as no source says it; advised: also
// that of what is advised.
func (p *Poise) Practice(advised bool) []string {
	var all []string
	take := func(when bool, what string) {
		if when {
			all = append(all, what+" (common practice, no source)")
		}
	}
	unplaced := func(s measuring.Station) bool { return s.Within.IsZero() }
	changed := advised || len(p.changes) > 0
	g, ok := p.state.massGate()
	take(slices.ContainsFunc(p.scales.Stations, unplaced), "each scale stands within 1 mm of its station")
	take(changed, "a stated station is good to half of its last digit, and to no less than 1 mm")
	take(changed && math.IsNaN(p.state.scaleU()), "a stated mass is good to a tenth of itself, as the sheet has no scale for the whole aircraft")
	take(p.MassBy.Gate == "" && (!ok || g.Limits.Low.IsZero() || g.Limits.High.IsZero()), "the sum of the parts is good to a quarter of itself, as no gate limits the mass")
	return all
}

// Asked is the time that it was asked for.
func (p *Poise) Asked() time.Time { return p.at }
