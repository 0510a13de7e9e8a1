package planform

import (
	"cmp"
	"math"
	"slices"

	"fettle/steps"
)

// A Place is a point of the plan: aft of the datum, and to the right of the centre line.
type Place struct{ X, Y float64 }

// What an outline is of.
const (
	OfSurface = "surface"
	OfFin     = "fin" // seen from above it is a line
	OfControl = "control"
	OfBody    = "body"
)

// An Outline is what is seen from above of one thing, on one side.
type Outline struct {
	Name    string
	Zone    string // "": it is a part of a zone
	Is      string
	Corners []Place // two of a fin and of a propeller without an outline of its own
}

// Outlines are what is seen from above of an airframe with the selection, each after
// what lies under it.
func Outlines(g steps.Geometry, selection steps.Selection) []Outline {
	var all []Outline
	add := func(o Outline, mirrored bool) {
		all = append(all, o)
		if mirrored {
			o.Corners = mirror(o.Corners)
			all = append(all, o)
		}
	}
	for _, s := range g.Surfaces {
		if !s.In(selection) {
			continue
		}
		is := OfSurface
		if s.Is == steps.Fin {
			is = OfFin
		}
		add(Outline{s.Name, s.Zone, is, corners(s)}, s.Mirrored())
		for _, c := range g.Controls {
			if strip := hinged(s, c); c.Surface == s.Name && c.In(selection) && strip != nil {
				add(Outline{c.Name, "", OfControl, strip}, s.Mirrored())
			}
		}
	}
	for _, b := range g.Bodies {
		if !b.In(selection) {
			continue
		}
		var around []Place
		for _, c := range b.Corners() {
			around = append(around, Place{mm(c.X), mm(c.Y)})
		}
		add(Outline{b.Name, b.Zone, OfBody, around}, false)
	}
	if p := g.Propeller; !p.Diameter.IsZero() {
		x, y, half := mm(p.X), mm(p.Y), mm(p.Diameter)/2
		add(Outline{"propeller", "", OfBody, []Place{{x, y - half}, {x, y + half}}}, y != 0)
	}
	return all
}

// edges are the leading and the trailing edge of the right half of a surface, from the
// root outward.
func edges(s steps.Surface) (front, rear []Place) {
	x, y := mm(s.X), mm(s.Y)
	for i, p := range s.Panels {
		if i == 0 {
			front, rear = append(front, Place{x, y}), append(rear, Place{x + mm(p.Root), y})
		}
		if s.Is != steps.Fin {
			y += mm(p.Span) * math.Cos(radians(p.Dihedral))
		}
		x += sweep(p)
		front, rear = append(front, Place{x, y}), append(rear, Place{x + mm(p.Tip), y})
	}
	return front, rear
}

// corners go along the leading edge and back along the trailing edge; of a fin they are
// its ends.
func corners(s steps.Surface) []Place {
	front, rear := edges(s)
	if s.Is == steps.Fin && len(front) > 0 {
		both := slices.Concat(front, rear)
		byX := func(a, b Place) int { return cmp.Compare(a.X, b.X) }
		return []Place{slices.MinFunc(both, byX), slices.MaxFunc(both, byX)}
	}
	slices.Reverse(rear)
	return append(front, rear...)
}

// Sized is the least box around half of a surface.
func Sized(s steps.Surface) Box { return Around(corners(s)) }

// hinged is the strip of a control surface at the trailing edge of what it is a part of;
// none: the sheet does not say from where to where it goes, or it stands upright.
func hinged(s steps.Surface, c steps.Control) []Place {
	front, rear := edges(s)
	inner, outer, chord := mm(c.Inner), mm(c.Outer), mm(c.Chord)
	if s.Is == steps.Fin || len(front) < 2 || outer <= inner || chord <= 0 || inner < rear[0].Y || outer > rear[len(rear)-1].Y {
		return nil
	}
	edge := []Place{at(rear, inner)}
	for _, p := range rear {
		if p.Y > inner && p.Y < outer {
			edge = append(edge, p)
		}
	}
	edge = append(edge, at(rear, outer))
	for _, p := range slices.Backward(slices.Clone(edge)) {
		edge = append(edge, Place{p.X - chord, p.Y})
	}
	return edge
}

// at is where an edge lies so far out.
func at(edge []Place, y float64) Place {
	for i := 1; i < len(edge); i++ {
		a, b := edge[i-1], edge[i]
		if y <= b.Y && b.Y > a.Y {
			return Place{a.X + (b.X-a.X)*(y-a.Y)/(b.Y-a.Y), y}
		}
	}
	return Place{edge[len(edge)-1].X, y}
}

func mirror(places []Place) []Place {
	out := make([]Place, len(places))
	for i, p := range places {
		out[i] = Place{p.X, -p.Y}
	}
	return out
}

// A Box is a part of the plan.
type Box struct{ From, To Place }

// Around is the least box around the places; without any it is empty.
func Around(places []Place) Box {
	if len(places) == 0 {
		return Box{}
	}
	b := Box{places[0], places[0]}
	for _, p := range places {
		b.From = Place{math.Min(b.From.X, p.X), math.Min(b.From.Y, p.Y)}
		b.To = Place{math.Max(b.To.X, p.X), math.Max(b.To.Y, p.Y)}
	}
	return b
}

// Long and Wide are its sizes along the airframe and across it.
func (b Box) Long() float64 { return b.To.X - b.From.X }
func (b Box) Wide() float64 { return b.To.Y - b.From.Y }

// Middle is its middle.
func (b Box) Middle() Place { return Place{(b.From.X + b.To.X) / 2, (b.From.Y + b.To.Y) / 2} }

// Sized is a box of that size with the same middle.
func (b Box) Sized(long, wide float64) Box {
	m := b.Middle()
	return Box{Place{m.X - long/2, m.Y - wide/2}, Place{m.X + long/2, m.Y + wide/2}}
}

// On is where a point of the plan lies, as a design sheet gives it.
func On(p steps.Place) Place { return Place{mm(p.X), mm(p.Y)} }
