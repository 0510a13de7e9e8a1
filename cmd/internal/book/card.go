package book

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

//go:embed card.gohtml
var cardParts string // of book and card page

//go:embed cardpage.gohtml
var cardLayout string

// A flight is the flight card as a page shows it.
type flight struct {
	Card    page.Card
	Rows    []page.CardRow
	Sources []string
	Plan    *plan // nil: the sheet has no geometry
	Made    time.Time
	Zone    string
}

// A plan is the airframe from above, nose up, with its balance, and the balance on the
// scale of its limits.
type plan struct {
	Box    string // what the drawing shows, in mm
	Says   string // in words, for screen readers
	Shapes []shape
	Point  *balancePoint // nil: it was not measured
	Bars   []bar
	Key    string
}

// A shape is an outline or a line of the plan.
type shape struct{ Class, Path string }

// A balancePoint is the mark of the balance point.
type balancePoint struct{ Y, R, Cross string }

// WriteCard writes a flight card as an HTML page of its own.
func WriteCard(w io.Writer, s *workflow.State, card page.Card, clock page.Clock) error {
	m := &maker{s: s, o: Options{Clock: clock, Zone: time.Local}, now: clock.Now}
	out := bufio.NewWriter(w)
	if err := fill(cleaner{out}, cardParts+cardLayout, m.cardCalls(), m.flight(card)); err != nil {
		return fmt.Errorf("writing the flight card of %s: %w", s.Airframe.Mark, err)
	}
	return out.Flush()
}

// cardCalls are the functions of the parts that book and card page share.
func (m *maker) cardCalls() map[string]any {
	calls := basics()
	maps.Copy(calls, map[string]any{
		"when": m.when, "capital": page.Capital,
		"style": func() safe { return safe(style) }, // our own file
		"rules": func() string { return page.LocalRules },
	})
	return calls
}

func (m *maker) flight(card page.Card) *flight {
	return &flight{Card: card, Rows: card.Rows(m.o.Clock), Sources: card.Sources(), Plan: m.plan(card), Made: m.now, Zone: m.now.In(m.o.Zone).Format("MST (-07:00)")}
}

// plan draws the airframe from above.
func (m *maker) plan(card page.Card) *plan {
	g := m.s.Sheet.Geometry
	if len(g.Surfaces) == 0 {
		return nil
	}
	d := drawn{}
	has := m.s.Selection()
	for _, b := range g.Bodies {
		if b.In(has) {
			var corners []spot
			for _, c := range b.Corners() {
				corners = append(corners, spot{mm(c.Y), mm(c.X)})
			}
			d.outline("body", corners)
		}
	}
	for _, s := range g.Surfaces {
		if s.In(has) {
			d.surface(s)
		}
	}
	p := &plan{Key: "Seen from above, nose up."}
	said := []string{m.s.Airframe.Mark + " from above"}
	if b := card.Balance; b != nil {
		if chord, y, ok := b.Chord(); ok {
			for _, side := range []float64{-y, y} {
				d.line("mac", spot{side, chord.X}, spot{side, chord.X + chord.Length})
			}
			p.Key += " Lines on the wing: mean aerodynamic chord."
		}
		if b.Low != nil || b.High != nil {
			p.Key += " Short lines across: limits of the balance point."
		}
		half := d.widest() / 12
		for _, limit := range []*float64{b.Low, b.High} {
			if limit != nil {
				d.line("limit", spot{-half, *limit}, spot{half, *limit})
			}
		}
		for _, f := range card.Figures {
			if f.Name == workflow.NeutralFigure && f.Value != nil {
				d.line("neutral", spot{-2 * half, *f.Value}, spot{2 * half, *f.Value})
				p.Key += " Dashed: neutral point, estimated."
			}
		}
		if at, u := b.Now(); at != nil {
			r := d.widest() / 60
			if u > 0 {
				d.outline("unsure", []spot{{-half / 2, *at - u}, {half / 2, *at - u}, {half / 2, *at + u}, {-half / 2, *at + u}})
			}
			p.Point = &balancePoint{num(*at), num(r), fmt.Sprintf("M%s %sH%sM0 %sV%s", num(-1.6*r), num(*at), num(1.6*r), num(*at-1.6*r), num(*at+1.6*r))}
			what := map[bool]string{true: "balance point", false: "balance point as computed"}[b.Counts]
			said = append(said, what+" "+sized(*at, "mm")+" aft of the datum")
			p.Key += " Ring: " + what + "."
			if gate, ok := m.s.Sheet.Gate(b.Gate); ok && gate.Limits.Unit() == "mm" && u > 0 {
				value := *at - mm(g.Balance.Zero)
				one := newScale(measuring.Limits{Low: gate.Limits.Low, High: gate.Limits.High}, u, []float64{value}).bar([]float64{value})
				one.Says = "Balance: " + sized(value, "mm")
				p.Bars = append(p.Bars, one)
				p.Key += " Below: the balance on the scale of its limits, forward on the left, hatched where its uncertainty leaves it open."
				if zero := mm(g.Balance.Zero); zero != 0 {
					p.Key += " That scale counts from where it is measured from, which is " + sized(zero, "mm") + " aft of the datum."
				}
			}
		}
	}
	p.Shapes, p.Box, p.Says = d.shapes, d.box(), strings.Join(said, "; ")
	return p
}

// A spot is a point of the drawing: to the right and down, in mm.
type spot struct{ x, y float64 }

// drawn is what was drawn so far.
type drawn struct {
	shapes []shape
	seen   []spot
}

func (d *drawn) path(class string, spots []spot, end string) {
	var b strings.Builder
	for i, s := range spots {
		if math.IsNaN(s.x) || math.IsNaN(s.y) {
			return
		}
		fmt.Fprintf(&b, "%c%s %s", "ML"[min(i, 1)], num(s.x), num(s.y))
	}
	d.shapes = append(d.shapes, shape{class, b.String() + end})
	d.seen = append(d.seen, spots...)
}

func (d *drawn) outline(class string, spots []spot) { d.path(class, spots, "Z") }
func (d *drawn) line(class string, from, to spot)   { d.path(class, []spot{from, to}, "") }

// surface draws a surface and its mirror image: fins stand upright and are lines.
func (d *drawn) surface(s steps.Surface) {
	y, x := mm(s.Y), mm(s.X)
	front, rear := []spot{}, []spot{}
	for i, p := range s.Panels {
		if i == 0 {
			front, rear = append(front, spot{y, x}), append(rear, spot{y, x + mm(p.Root)})
		}
		if s.Is != steps.Fin {
			y += mm(p.Span) * math.Cos(radians(p.Dihedral))
		}
		x += swept(p)
		front, rear = append(front, spot{y, x}), append(rear, spot{y, x + mm(p.Tip)})
	}
	slices.Reverse(rear)
	all := append(front, rear...)
	d.outline("surface", all)
	if s.Mirrored() {
		for i := range all {
			all[i].x = -all[i].x
		}
		d.outline("surface", slices.Clone(all))
	}
}

// swept is how far the leading edge of a panel lies further aft at its outer end.
func swept(p steps.Panel) float64 {
	if p.Sweep.Dimension() == quantity.Angle {
		return mm(p.Span) * math.Tan(radians(p.Sweep))
	}
	return mm(p.Sweep)
}

func (d *drawn) bounds() (from, to spot) {
	from, to = spot{math.Inf(1), math.Inf(1)}, spot{math.Inf(-1), math.Inf(-1)}
	for _, s := range d.seen {
		from = spot{math.Min(from.x, s.x), math.Min(from.y, s.y)}
		to = spot{math.Max(to.x, s.x), math.Max(to.y, s.y)}
	}
	return from, to
}

func (d *drawn) widest() float64 {
	from, to := d.bounds()
	return math.Max(to.x-from.x, to.y-from.y)
}

// box is what the drawing shows: all of it, with a little room around.
func (d *drawn) box() string {
	from, to := d.bounds()
	pad := d.widest() / 50
	return strings.Join([]string{num(from.x - pad), num(from.y - pad), num(to.x - from.x + 2*pad), num(to.y - from.y + 2*pad)}, " ")
}

// mm is a length in mm; 0: it is absent.
func mm(q quantity.Quantity) float64 {
	f, err := q.Float("mm")
	if err != nil {
		return 0
	}
	return f
}

func radians(q quantity.Quantity) float64 {
	f, err := q.Float("°")
	if err != nil {
		return 0
	}
	return f * math.Pi / 180
}

// num is a number of a drawing, to a hundredth of a millimetre.
func num(f float64) string { return fmt.Sprintf("%.6g", math.Round(f*100)/100) }
