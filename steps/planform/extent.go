package planform

import (
	"math"

	"fettle/steps"
)

// An Extent is from where to where something reaches, as stations.
type Extent struct{ Front, Rear float64 }

// Has reports whether a station lies in it, or no further off than that.
func (e Extent) Has(x, off float64) bool { return x >= e.Front-off && x <= e.Rear+off }

// ExtentOf is from where to where an airframe with the selection reaches: its bodies, its
// surfaces up to their hinges, its parts and the battery's travel, but for the propeller.
// In the middle it is that of what lies on the centre line; false: nothing says.
func ExtentOf(g steps.Geometry, selection steps.Selection, middle bool) (Extent, bool) {
	e := Extent{math.Inf(1), math.Inf(-1)}
	take := func(stations ...float64) {
		for _, x := range stations {
			e.Front, e.Rear = min(e.Front, x), max(e.Rear, x)
		}
	}
	for _, b := range g.Bodies {
		of, left, right := Extent{math.Inf(1), math.Inf(-1)}, math.Inf(1), math.Inf(-1)
		for _, c := range b.Corners() {
			of = Extent{min(of.Front, mm(c.X)), max(of.Rear, mm(c.X))}
			left, right = min(left, mm(c.Y)), max(right, mm(c.Y))
		}
		disc := !g.Propeller.X.IsZero() && of.Has(mm(g.Propeller.X), 0) && right-left > of.Rear-of.Front
		if b.In(selection) && !disc && !(middle && left*right > 0) {
			take(of.Front, of.Rear)
		}
	}
	for _, s := range g.Surfaces {
		if !s.In(selection) || middle && mm(s.Y) != 0 {
			continue
		}
		moves := 0.
		for _, c := range g.Controls {
			if c.Surface == s.Name && c.In(selection) {
				moves = max(moves, mm(c.Chord))
			}
		}
		x := mm(s.X)
		for _, p := range s.Panels {
			take(x, x+max(0, mm(p.Root)-moves))
			if middle && s.Is != steps.Fin {
				break
			}
			x += sweep(p)
			take(x, x+max(0, mm(p.Tip)-moves))
		}
	}
	for _, p := range g.Parts {
		turns := !g.Propeller.X.IsZero() && mm(p.X) == mm(g.Propeller.X)
		if p.In(selection) && !p.X.IsZero() && !turns && !(middle && mm(p.Y) != 0) {
			take(mm(p.X))
		}
	}
	if half := mm(g.Battery.Length) / 2; g.Battery.Part != "" {
		take(mm(g.Battery.From)-half, mm(g.Battery.To)+half)
	}
	return e, e.Front <= e.Rear
}
