package book

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/planform"
	"fettle/steps/quantity"
)

// A plan is an airframe from above, nose up. A page has its outlines once, and every view
// of it shows them.
type plan struct {
	ID       string
	Shapes   []shape // in mm
	outlines []planform.Outline
	whole    planform.Box
	Key      string // how a view of it is read
}

// A shape is an outline or a line of a plan.
type shape struct{ Class, Path string }

// newPlan draws the airframe with the selection; nil: the sheet does not say how it looks.
func newPlan(id string, g steps.Geometry, selection steps.Selection) *plan {
	p := &plan{ID: id, outlines: planform.Outlines(g, selection), Key: "From above, nose up. Distances aft and ahead count from the line 0: " + sentence(g.Datum)}
	var seen []planform.Place
	for _, o := range p.outlines {
		seen = append(seen, o.Corners...)
		p.Shapes = append(p.Shapes, outline(o.Is, o.Corners))
	}
	p.whole = planform.Around(seen)
	if !(p.whole.Wide() > 0) || !(p.whole.Long() > 0) || math.IsInf(p.whole.Wide()+p.whole.Long(), 0) {
		return nil
	}
	return p
}

func outline(class string, corners []planform.Place) shape {
	var b strings.Builder
	for i, c := range corners {
		fmt.Fprintf(&b, "%c%s %s", "ML"[min(i, 1)], num(c.Y), num(c.X))
	}
	if len(corners) > 2 {
		b.WriteByte('Z')
	}
	return shape{class, b.String()}
}

func line(class string, from, to planform.Place) shape {
	return outline(class, []planform.Place{from, to})
}

// of are the outlines of the zones, and of which there are any.
func (p *plan) of(zones ...string) (here []shape, names []string) {
	for _, o := range p.outlines {
		if o.Zone != "" && lists.Contains(zones, o.Zone) {
			here = append(here, outline("here", o.Corners))
			if name := plain(o.Zone); !lists.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return here, names
}

// A view is what a drawing shows of a plan: all of it, or the part where points lie.
// It is as wide as its letters need: across in units of which a letter has 12.
type view struct {
	ID      string
	W, H    string // how large it is, in its units
	Inner   string // and the drawing in it
	Move    string // from mm to these units, in the drawing
	Here    []shape
	Threads []thread
	Pins    []pin
	Labels  []label
	Datum   string        // where the datum lies; "": not in the view
	Centre  string        // and the centre line
	Bar     string        // the path of a length
	Point   *balancePoint // nil: there is none
	Frame   *frame        // of the part that another view shows; nil: none
	Says    string        // in words, for screen readers

	box            planform.Box
	across, k, top float64
	taken          []area
}

// A pin is a numbered place.
type pin struct{ X, Y, Lead, LabelX, LabelY, TextY, N string }

// A thread is a line that is read from its beginning to a pin.
type thread struct{ X, Y, Path string }

// A label is a word of a view.
type label struct{ X, Y, Anchor, Says string }

// A balancePoint is the mark of the balance point.
type balancePoint struct{ X, Y string }

// A frame is a part of the plan.
type frame struct{ X, Y, W, H string }

// An area is a part of a view, in its units.
type area struct{ x, y, w, h float64 }

func (a area) meets(b area) bool {
	return a.x < b.x+b.w && b.x < a.x+a.w && a.y < b.y+b.h && b.y < a.y+a.h
}

// The units of a view.
const (
	wide   = 360.0 // of a drawing by itself
	narrow = 220.0 // and beside a text
	margin = 20.0  // for the words above and the length below
	round  = 9.0   // the radius around a number
)

// see makes the view of a box.
func (p *plan) see(box planform.Box, across float64) *view {
	box = box.Sized(math.Max(box.Long(), box.Wide()*0.3), math.Max(box.Wide(), box.Long()*0.8))
	v := &view{ID: p.ID, W: num(across), box: box, across: across, k: across / box.Wide(), top: margin}
	v.H, v.Inner = num(box.Long()*v.k+2*margin), num(box.Long()*v.k)
	v.Move = fmt.Sprintf("translate(%s %s) scale(%s)", num(-box.From.Y*v.k), num(-box.From.X*v.k), strconv.FormatFloat(v.k, 'g', 6, 64))
	v.say(2, 13, "start", "◂ left")
	v.say(across/2, 13, "middle", "▴ front")
	v.say(across-2, 13, "end", "right ▸")
	bottom := box.Long()*v.k + 2*margin
	v.bar(bottom)
	if y := v.down(0); y > margin && y < bottom-margin {
		v.Datum = num(y)
		v.say(2, y-3, "start", "0")
	}
	if x := v.right(0); x > 0 && x < across {
		v.Centre = fmt.Sprintf("M%s %sV%s", num(x), num(margin), num(bottom-margin))
	}
	return v
}

// all is the view of all of it, with places that lie beside it.
func (p *plan) all(across float64, places ...planform.Place) *view {
	box := planform.Around(append([]planform.Place{p.whole.From, p.whole.To}, places...))
	return p.see(box.Sized(box.Long()*1.06, box.Wide()*1.06), across)
}

func (v *view) right(y float64) float64 { return (y - v.box.From.Y) * v.k }
func (v *view) down(x float64) float64  { return (x-v.box.From.X)*v.k + v.top }

func (v *view) say(x, y float64, anchor, says string) {
	v.Labels = append(v.Labels, label{num(x), num(y), anchor, says})
	w := 7 * float64(len([]rune(says)))
	left := map[string]float64{"start": x, "middle": x - w/2, "end": x - w}[anchor]
	v.taken = append(v.taken, area{left, y - 11, w, 13})
}

// bar draws a length that is a round number of millimetres, a fifth of the width or less.
func (v *view) bar(bottom float64) {
	length := 1.0
	for _, by := range []float64{2, 2.5, 2, 2, 2.5, 2, 2, 2.5, 2, 2, 2.5, 2} {
		if length*by*v.k > v.across/5 {
			break
		}
		length *= by
	}
	w := length * v.k
	v.Bar = fmt.Sprintf("M%s %sv6m0-3h%sm0-3v6", num(v.across-w-2), num(bottom-13), num(w))
	v.say(v.across-w-6, bottom-6, "end", sized(length, "mm"))
}

// thread draws a line with a ring where it begins.
func (v *view) thread(from, to planform.Place) {
	x, y := v.right(from.Y), v.down(from.X)
	v.taken = append(v.taken, area{x - 6, y - 6, 12, 12})
	v.Threads = append(v.Threads, thread{num(x), num(y), fmt.Sprintf("M%s %sL%s %s", num(x), num(y), num(v.right(to.Y)), num(v.down(to.X)))})
}

// number puts numbers beside the places, so that neither a number nor a place is covered.
func (v *view) number(places []planform.Place) {
	bottom := v.box.Long()*v.k + margin
	for _, p := range places {
		v.taken = append(v.taken, area{v.right(p.Y) - 4, v.down(p.X) - 4, 8, 8})
	}
	for i, p := range places {
		x, y := v.right(p.Y), v.down(p.X)
		at, free := area{}, false
	search:
		for _, far := range []float64{17, 25, 36, 50, 70} {
			for turn := range 12 {
				a := (float64(turn)*30 - 60) * math.Pi / 180
				cx, cy := x+far*math.Cos(a), y+far*math.Sin(a)
				if p.Y < 0 { // of a pair, the numbers lie alike
					cx = x - far*math.Cos(a)
				}
				at = area{cx - round - 1, cy - round - 1, 2*round + 2, 2*round + 2}
				if free = at.x >= 0 && at.x+at.w <= v.across && at.y >= margin && at.y+at.h <= bottom && !slices.ContainsFunc(v.taken, at.meets); free {
					break search
				}
			}
		}
		if !free { // beside the last: crowded, and still told apart by its line
			at = area{math.Min(math.Max(x+17, 0), v.across-2*round-2), math.Max(y-17, 0), 2*round + 2, 2*round + 2}
		}
		v.taken = append(v.taken, at)
		cx, cy := at.x+round+1, at.y+round+1
		v.Pins = append(v.Pins, pin{num(x), num(y), fmt.Sprintf("M%s %sL%s %s", num(x), num(y), num(cx), num(cy)), num(cx), num(cy), num(cy + 4), strconv.Itoa(i + 1)})
	}
}

// A planned is where something is on the airframe: the part where its points lie, and if
// that is a small one, where that is on the whole.
type planned struct {
	View  *view
	Whole *view // nil: the view is the whole
	Rows  []placed
	Key   string // how it is read
	Says  string // what is filled
}

// A placed is a numbered point.
type placed struct{ N, Name, Says string }

// gate draws where the points of a gate lie; nil: the sheet does not say it of all of them,
// and a gauge in the wrong place is worse than no drawing.
func (p *plan) gate(g steps.Gate, across float64) *planned {
	var places, begins []planform.Place
	var rows []placed
	for i, name := range g.PointNames() {
		at := slices.IndexFunc(g.At, func(at steps.PointAt) bool { return at.Point == name })
		if p == nil || at < 0 {
			return nil
		}
		places = append(places, planform.On(g.At[at].Place))
		says := placeText(g.At[at].Place)
		if from := g.At[at].From; from != nil {
			begins = append(begins, planform.On(*from))
			says = "from the ring at " + placeText(*from) + "; to " + says
		} else {
			begins = append(begins, places[i])
		}
		rows = append(rows, placed{strconv.Itoa(i + 1), plain(name), says})
	}
	here, names := p.of(g.Of...)
	if len(here) > len(p.outlines)/2 { // nearly all of it is marked by no mark
		here, names = nil, nil
	}
	d := p.draw(places, begins, here, across)
	d.Rows = rows
	d.View.Says = "Where it is read, from above"
	d.Key = p.Key
	if len(names) > 0 {
		d.Says = "Filled: " + listed(names) + "."
	}
	return d
}

// zone draws where a zone is; nil: it has no outline.
func (p *plan) zone(zone string) *planned {
	if p == nil {
		return nil
	}
	here, _ := p.of(zone)
	if here == nil {
		return nil
	}
	d := &planned{View: p.all(narrow), Says: "Filled: " + plain(zone) + "."}
	d.View.Here, d.View.Says = here, "Where the "+plain(zone)+" is, from above"
	return d
}

// zones draws all zones that have an outline, each with its number.
func (p *plan) zones(zones []string) *planned {
	if p == nil {
		return nil
	}
	d := &planned{View: p.all(wide), Key: p.Key}
	var places []planform.Place
	for _, zone := range zones {
		i := slices.IndexFunc(p.outlines, func(o planform.Outline) bool { return o.Zone == zone })
		if i < 0 {
			continue
		}
		places = append(places, inside(p.outlines[i]))
		d.Rows = append(d.Rows, placed{strconv.Itoa(len(places)), plain(zone), ""})
	}
	d.View.number(places)
	d.View.Says = "The zones, from above"
	return d
}

// inside is a place within an outline, off the centre line where it is wide.
func inside(o planform.Outline) planform.Place {
	box := planform.Around(o.Corners)
	at := box.Middle()
	if o.Is == planform.OfSurface {
		at = planform.Place{X: (o.Corners[0].X + o.Corners[len(o.Corners)-1].X + 2*at.X) / 4, Y: box.From.Y + box.Wide()/3}
	}
	return at
}

// part is the share of the whole below which a part is drawn larger, and least how much is
// then shown around it.
const part, least = 0.45, 0.2

func (p *plan) draw(places, begins []planform.Place, here []shape, across float64) *planned {
	all := slices.Concat(places, begins)
	whole, around := p.all(across, all...), planform.Around(all)
	size := math.Max(p.whole.Wide(), p.whole.Long())
	d := &planned{View: whole}
	if w, l := math.Max(around.Wide()*1.6, size*least), math.Max(around.Long()*1.6, size*least*0.7); w < p.whole.Wide()*part && l < p.whole.Wide()*part {
		d.View, d.Whole = p.see(around.Sized(l, w), across), whole
		box := d.View.box
		whole.Here, whole.Says, whole.Labels, whole.Bar, whole.Datum, whole.Centre = here, "Where that is on the airframe", nil, "", "", ""
		whole.Frame = &frame{num(whole.right(box.From.Y)), num(whole.down(box.From.X)), num(box.Wide() * whole.k), num(box.Long() * whole.k)}
	}
	d.View.Here = here
	for i, from := range begins {
		if from != places[i] {
			d.View.thread(from, places[i])
		}
	}
	d.View.number(places)
	return d
}

// placeText is a place in words, as the sheet gives its distances.
func placeText(p steps.Place) string {
	x, y := away(p.X), away(p.Y)
	switch {
	case p.X.Sign() < 0:
		x += " ahead of 0"
	case p.X.Sign() > 0:
		x += " aft of 0"
	default:
		x = "at 0"
	}
	switch {
	case p.Y.Sign() < 0:
		return x + ", " + y + " left"
	case p.Y.Sign() > 0:
		return x + ", " + y + " right"
	}
	return x + ", on the centre line"
}

// away is a distance without its sign.
func away(q quantity.Quantity) string { return strings.TrimLeft(q.String(), "-−") }

// sentence is the first sentence of a document's text, within another.
func sentence(text string) string {
	first, _, _ := strings.Cut(strings.Join(strings.Fields(text), " "), ". ")
	return small(strings.TrimRight(first, ".")) + "."
}

// num is a number of a drawing, to a hundredth.
func num(f float64) string { return fmt.Sprintf("%.6g", math.Round(f*100)/100+0) } // and no negative nought
