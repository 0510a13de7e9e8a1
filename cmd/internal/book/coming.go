package book

import (
	"fmt"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

// A coming is what the last plan has for the airframe, of what is not done.
type coming struct {
	Says    string
	Drawing drawing
	Days    []comingDay
}

// A comingDay is what is planned in a sitting: in the first one step by step, in the others the first and the last.
type comingDay struct{ Label, Text string }

// mostLanes is how many sittings are drawn.
const mostLanes = 12

// narrowest is how much of a lane, in percent, a bar takes at least that has its letter on it.
const narrowest = 2

// coming draws the sittings of the plan that are not over, a lane for each, from their beginnings, with what is not done in
// them: late or not. nil: nothing is planned.
func (m *maker) coming() *coming {
	if m.o.Plan == nil {
		return nil
	}
	var of []workflow.Visit
	var last time.Time
	longest, turns := time.Hour, 0
	for _, v := range m.o.Plan.Visits {
		if !v.To.After(m.now) {
			continue
		}
		left := workflow.Visit{Sitting: v.Sitting, Leave: v.Leave}
		for _, t := range v.Turns {
			if t.Mark == m.s.Airframe.Mark && (t.Again != "" && t.Ends.After(m.now) || t.Again == "" && len(m.done[t.Job+"/"+t.Step]) == 0) {
				left.Turns, last = append(left.Turns, t), t.Ends
			}
		}
		if len(left.Turns) > 0 {
			of, turns = append(of, left), turns+len(left.Turns)
			longest = max(longest, v.To.Sub(v.From))
		}
	}
	if len(of) == 0 {
		return nil
	}
	x := func(v workflow.Visit, t time.Time) float64 { return 1 + 98*float64(t.Sub(v.From))/float64(longest) }
	says := func(t time.Time) string { return t.In(m.o.Zone).Format("Mon 2 January 15:04") }
	c := &coming{Says: fmt.Sprintf("By the plan of %s: %s in %s, the last of them over on %s.", says(m.o.Plan.Made), numbered(turns, "step"), numbered(len(of), "sitting"), says(last))}
	c.Drawing.Says = c.Says
	for i, v := range of {
		l := lane{Label: says(v.From)}
		var text []string
		for k, t := range v.Turns {
			a, b := x(v, t.Begins), x(v, t.Ends)
			s := span{X: percent(a), W: percent(max(0.4, b-a-0.2))}
			if i == 0 { // whose steps are said one by one
				letter := page.Letter(k)
				text = append(text, letter+" "+page.TurnLine(t, ""))
				if b-a > narrowest {
					s.Name, s.At = letter, percent((a+b)/2)
				}
			} else if k == 0 || k == len(v.Turns)-1 {
				text = append(text, page.TurnLine(t, ""))
			}
			l.Spans = append(l.Spans, s)
		}
		if i < mostLanes {
			c.Drawing.Lanes = append(c.Drawing.Lanes, l)
		}
		between := " … "
		if i == 0 {
			between = "; "
		}
		day := strings.Join(text, between)
		for _, is := range v.Leave {
			if is.Mark == m.s.Airframe.Mark {
				day += "; before you leave: " + is.Says()
			}
		}
		c.Days = append(c.Days, comingDay{v.From.In(m.o.Zone).Format("Mon 2 January"), day})
	}
	if len(of) > mostLanes {
		c.Says += fmt.Sprintf(" The first %d sittings are drawn.", mostLanes)
	}
	for i, anchor := range []string{"start", "middle", "end"} {
		at := longest * time.Duration(i) / 2
		c.Drawing.Ticks = append(c.Drawing.Ticks, edge{percent(1 + 49*float64(i)), anchor, fmt.Sprintf("%d:%02d h", at/time.Hour, at%time.Hour/time.Minute)})
	}
	return c
}
