package book

import (
	"fmt"
	"io"
	"math"
	"math/big"
	"strings"
	"time"

	"fettle/cmd/internal/term"
	"fettle/steps/measuring"
	"fettle/workflow"
)

// The colours of a chart on its own; in a book its style sheet says them.
const chartStyle = `<style>text{font:13px sans-serif;fill:#111}.tick{font-size:11px}.name{font-size:11px;paint-order:stroke;stroke:#fff;stroke-width:3}.rail{stroke:#ccc}.edge{stroke:#333;stroke-width:2}.sigma{stroke:#666;stroke-dasharray:4 3}.mean{stroke:#666}.reading{fill:#111}.fires{fill:#fff;stroke:#b00;stroke-width:3}@media(prefers-color-scheme:dark){svg{background:#111}text,.reading{fill:#eee}.rail{stroke:#444}.edge{stroke:#ddd}.sigma,.mean{stroke:#aaa}.name{stroke:#111}.fires{fill:#111;stroke:#f77}}</style>`

const (
	chartHead = 74 // the name and what the lines are
	chartRow  = 20
	chartFoot = 28
)

// WriteChart draws how the values of a gate lie as an SVG of its own: as on the bars of
// a book, across by a share of the width and down by pixels, a row a value.
func WriteChart(w io.Writer, sp workflow.GateSpread) error {
	var b strings.Builder
	y := 0
	for _, s := range sp.Series {
		if s.Count > 0 {
			y = drawSeries(&b, sp, s, y)
		}
	}
	_, err := fmt.Fprintf(w, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"100%%\" height=\"%d\" role=\"img\"><title>%s</title>%s\n%s</svg>\n",
		y, escaped(sp.Gate.Title+": how its values lie"), chartStyle, b.String())
	return err
}

// escaped is text that stands between tags, in one line.
func escaped(text string) string { return escaper.Replace(term.Line(text)) }

//go:noinline
func nearestFloat(r *big.Rat) float64 {
	v, _ := r.Float64()
	return v
}

// drawSeries draws from y on and returns where it ends.
func drawSeries(b *strings.Builder, sp workflow.GateSpread, s workflow.Series, y int) int {
	f := nearestFloat
	sc := scale{from: f(s.Least), to: f(s.Most)}
	see := func(v float64) { sc.from, sc.to = math.Min(sc.from, v), math.Max(sc.to, v) }
	type chartLine struct {
		at    float64
		class string
		says  string
	}
	var drawn []chartLine
	if s.Charted {
		for _, n := range []int{-3, 0, 3} {
			class := "sigma"
			if n == 0 {
				class = "mean"
			}
			drawn = append(drawn, chartLine{f(s.Chart.Line(n)), class, ""})
		}
	}
	for _, limit := range []*big.Rat{s.Limits.Low, s.Limits.High} {
		if limit != nil {
			drawn = append(drawn, chartLine{f(limit), "edge", sized(f(limit), s.Unit)})
		}
	}
	for _, l := range drawn {
		see(l.at)
	}
	wide := sc.to - sc.from
	sc.from, sc.to = sc.from-wide/5, sc.to+wide/8 // the names stand at the left, and the limits have theirs below
	name := sp.Gate.Title
	switch len(s.Of) {
	case 2:
		name += ": " + s.Of[0] + " less " + s.Of[1]
	case 1:
		name += strings.TrimRight(": "+s.Of[0], ": ")
	}
	fmt.Fprintf(b, "<text x=\"3%%\" y=\"%d\">%s</text>\n", y+20, escaped(name))
	if s.Count > 1 {
		for i, text := range []string{
			fmt.Sprintf("%d values, mean %s, s %.3g %s", s.Count, sized(f(s.Mean), s.Unit), s.Deviation(), s.Unit),
			"dashed: mean ± 3 sigma; thick: limits; ring: a rule fires",
		} {
			fmt.Fprintf(b, "<text class=\"tick\" x=\"3%%\" y=\"%d\">%s</text>\n", y+38+16*i, escaped(text))
		}
	}
	top, bottom := y+chartHead, y+chartHead+chartRow*len(s.Values)
	for _, l := range drawn {
		x := percent(sc.across(l.at))
		fmt.Fprintf(b, "<line class=\"%s\" x1=\"%s\" x2=\"%s\" y1=\"%d\" y2=\"%d\"/>", l.class, x, x, top-6, bottom)
		if l.says != "" {
			fmt.Fprintf(b, "<text class=\"tick\" x=\"%s\" y=\"%d\" text-anchor=\"middle\">%s</text>", x, bottom+14, escaped(l.says))
		}
		b.WriteByte('\n')
	}
	fires := map[int]string{}
	for _, signal := range s.Chart.Signals {
		fires[signal.At] += "; " + signal.Says
	}
	for i, v := range s.Values {
		at := top + chartRow*i + 8
		class := "reading"
		if fires[i] != "" {
			class = "fires"
		}
		says, name := v.Mark+", "+v.At.In(time.Local).Format("2 Jan 2006")+": "+sized(f(v.Value), s.Unit), v.Mark
		if v.Verdict == measuring.Out || v.Verdict == measuring.Undecided {
			says, name = says+", "+string(v.Verdict), name+map[measuring.Verdict]string{measuring.Out: " !", measuring.Undecided: " ?"}[v.Verdict]
		}
		if v.Reworked {
			says, name = says+", after a rework", name+" ~"
		}
		says += fires[i]
		fmt.Fprintf(b, "<line class=\"rail\" x1=\"3%%\" x2=\"97%%\" y1=\"%d\" y2=\"%d\"/><circle class=\"%s\" cx=\"%s\" cy=\"%d\" r=\"5\"><title>%s</title></circle><text class=\"name\" x=\"3%%\" y=\"%d\">%s</text>\n",
			at, at, class, percent(sc.across(f(v.Value))), at, escaped(says), at+4, escaped(name))
	}
	return bottom + chartFoot
}
