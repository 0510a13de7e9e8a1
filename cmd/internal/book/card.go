package book

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"maps"
	"math"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A flight is the flight card as a page shows it.
type flight struct {
	Card    page.Card
	Rows    []page.CardRow
	Sources []string
	Drawn   *balance // nil: the sheet has no geometry
	Made    time.Time
	Zone    string
}

// A balance is the airframe from above with its balance, and the balance on the scale of
// its limits.
type balance struct {
	Plan *plan
	View *view
	Bars []bar
	Key  string
}

// WriteCard writes a flight card as an HTML page of its own.
func WriteCard(w io.Writer, s *workflow.State, card page.Card, clock *page.Clock) error {
	m := &maker{s: s, o: Options{Clock: clock, Zone: time.Local}, now: clock.Now}
	out := bufio.NewWriter(w)
	if err := fill(cleaner{out}, layout("card.gohtml", "cardpage.gohtml"), m.cardCalls(), m.flight(card)); err != nil {
		return fmt.Errorf("writing the flight card of %s: %w", s.Airframe.Mark, err)
	}
	return out.Flush()
}

// cardCalls are the functions of the parts that book and card page share.
func (m *maker) cardCalls() map[string]any {
	calls := basics()
	maps.Copy(calls, map[string]any{
		"when": m.when, "capital": page.Capital,
		"style": func() safe { return safe(layout("book.css")) }, // our own file
		"rules": func() string { return page.LocalRules },
	})
	return calls
}

func (m *maker) flight(card page.Card) *flight {
	return &flight{Card: card, Rows: card.Rows(m.o.Clock), Sources: card.Sources(), Drawn: m.balance(card), Made: m.now, Zone: m.now.In(m.o.Zone).Format("MST (-07:00)")}
}

// balance draws the airframe from above with its balance; nil: the sheet has no geometry.
func (m *maker) balance(card page.Card) *balance {
	p := m.plan()
	if p == nil {
		return nil
	}
	v := p.all(wide)
	out := &balance{Plan: p, View: v, Key: "Seen from above, nose up."}
	said := []string{m.s.Airframe.Mark + " from above"}
	at := func(x, y float64) planform.Place { return planform.Place{X: x, Y: y} }
	add := func(s shape) { v.Here = append(v.Here, s) }
	size := math.Max(p.whole.Wide(), p.whole.Long())
	if b := card.Balance; b != nil {
		if chord, y, ok := b.Chord(); ok {
			for _, side := range []float64{-y, y} {
				add(line("mac", at(chord.X, side), at(chord.X+chord.Length, side)))
			}
			out.Key += " Lines on the wing: mean aerodynamic chord."
		}
		if b.Low != nil || b.High != nil {
			out.Key += " Short lines across: limits of the balance point."
		}
		half := size / 12
		for _, limit := range []*float64{b.Low, b.High} {
			if limit != nil {
				add(line("limit", at(*limit, -half), at(*limit, half)))
			}
		}
		for _, f := range card.Figures {
			if f.Name == workflow.NeutralFigure && f.Value != nil {
				add(line("neutral", at(*f.Value, -2*half), at(*f.Value, 2*half)))
				out.Key += " Dashed: neutral point, estimated."
			}
		}
		if x, u := b.Now(); x != nil {
			if u > 0 {
				add(outline("unsure", []planform.Place{at(*x-u, -half/2), at(*x-u, half/2), at(*x+u, half/2), at(*x+u, -half/2)}))
			}
			v.Point = &balancePoint{num(v.right(0)), num(v.down(*x))}
			what := map[bool]string{true: "balance point", false: "balance point as computed"}[b.Counts]
			said = append(said, what+" "+sized(math.Round(*x*10)/10, "mm")+" aft of the datum")
			out.Key += " Ring: " + what + "."
			if gate, ok := m.s.Sheet.Gate(b.Gate); ok && gate.Limits.Unit() == "mm" && u > 0 {
				g := m.s.Sheet.Geometry
				value := *x - mm(g.Balance.Zero)
				one := newScale(measuring.Limits{Low: gate.Limits.Low, High: gate.Limits.High}, u, []float64{value}).bar([]float64{value})
				one.Says = "Balance: " + sized(math.Round(value*10)/10, "mm")
				out.Bars = append(out.Bars, one)
				out.Key += " Below: the balance on the scale of its limits, forward on the left, hatched where its uncertainty leaves it open."
				if zero := mm(g.Balance.Zero); zero != 0 {
					out.Key += " That scale counts from where it is measured from, which is " + sized(zero, "mm") + " aft of the datum."
				}
			}
		}
	}
	if journal.Any(m.s.Entries, func(e journal.Entry) bool {
		f, is := e.Facts.(journal.EquipmentChanged)
		return is && m.s.Live(e.Position) && (f.Zone != "" || !f.Arm.IsZero() || f.Change == workflow.Moved)
	}) {
		out.Key += " Equipment is drawn where the sheet has it, not where it was fitted or moved to since."
	}
	v.Says = strings.Join(said, "; ")
	return out
}

// plan is the airframe from above, made once a page.
func (m *maker) plan() *plan {
	if m.above == nil {
		m.above = newPlan("plan", m.s.Sheet.Geometry, m.s.Selection())
	}
	return m.above
}

// mm is a length in mm; 0: it is absent.
func mm(q quantity.Quantity) float64 {
	f, err := q.Float("mm")
	if err != nil {
		return 0
	}
	return f
}
