package workflow

import (
	"math"
	"math/big"
	"slices"
	"time"

	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
)

// Sideways is which side an airframe is heavy on, and what levels it.
type Sideways struct {
	Gate string // that it was weighed at; "": it was not, and this is by the parts table
	At   time.Time

	// Counts: that weighing does, for nothing was changed since. Else Why says why not, and
	// no mass is worked out.
	Counts bool
	Why    Cause

	Y, U        float64 // where it balances, in mm to the right of the centre line
	Mass, MassU float64 // that levels it at a wing tip, in g; without an uncertainty by the parts table
	Left        bool    // it is the left tip
	Laid        bool    // the mass was laid on a tip to level it, and which one that was is not on record
	Standing    string  // of the gate, in words; "": it was passed
}

// Sideways is where it balances across: as it was weighed last on scales to the left and
// to the right, else by the parts table; false: nothing says.
func (s *State) Sideways(at time.Time) (Sideways, bool) {
	plan, err := planform.Of(s.Sheet.Geometry, s.selected)
	half := plan.Wing.Span / 2
	if err != nil || !(half > 0) {
		return Sideways{}, false
	}
	for _, g := range s.Sheet.GatesFor(s.selected) {
		if g.Work || g.Result.Function != measuring.Lateral && g.Or.Result.Function != measuring.Lateral {
			continue
		}
		all := s.measurements(g, "mm")
		if len(all) == 0 {
			continue
		}
		m, r := all[0], s.report(g, at)
		side := Sideways{Gate: g.Name, At: m.last().at, Y: m.value, U: m.u, Counts: len(r.Rests) > 0 && r.Finding.Missing == ""}
		if !r.Met() {
			side.Standing = r.Words()
		}
		if !side.Counts {
			side.Why = r.Reason
			return side, true
		}
		w := s.massThen(m, s.fittings())
		side.Mass, side.Left = math.Abs(w.Grams*m.value)/half, m.value > 0
		side.MassU = math.Hypot(w.Grams*m.u, w.U*m.value) / half
		return side, true
	}
	if side, was := s.levelled(at); was {
		return side, true
	}
	parts := s.Placed(s.Size())
	sum, unknown := total(parts)
	y, err := sum.Side()
	if err != nil || len(unknown) > 0 || !slices.ContainsFunc(parts, func(p Placed) bool { return p.Load.Y != nil && p.Load.Y.Sign() != 0 }) {
		return Sideways{}, false
	}
	mass, err := sum.Level(new(big.Rat).SetFloat64(half))
	f := float(mass, err)
	return Sideways{Y: float(y, nil), Mass: math.Abs(f), Left: f < 0}, true
}

// levelled is what was laid on a wing tip to level it, whether that counts still or not: the
// parts table knows it no better. False: nothing ever was.
func (s *State) levelled(at time.Time) (side Sideways, was bool) {
	whole, _ := s.massGate()
	for _, g := range s.Sheet.GatesFor(s.selected) {
		record := s.gates[g.Name]
		if !g.Mass || g.Work || g.Name == whole.Name || g.Dimension() != quantity.Mass || !g.Result.IsZero() || record == nil || len(record.readings) == 0 {
			continue
		}
		r, t := s.report(g, at), last(record.readings)
		side = Sideways{Gate: g.Name, At: t.at, Laid: true, Mass: float(t.Value.Rat("g")), Counts: len(r.Rests) > 0, Why: r.Reason}
		if !r.Met() {
			side.Standing = r.Words()
		}
		return side, true
	}
	return side, false
}
