package page

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// A Part is one value of a gate that is judged by itself: at a point, of a pair, or the
// result.
type Part struct {
	Label   string            `json:"label,omitempty"`
	Value   string            `json:"value,omitempty"` // "": not read yet
	Says    string            `json:"says,omitempty"`  // the verdict
	Verdict measuring.Verdict `json:"verdict,omitempty"`
	Scale   string            `json:"scale,omitempty"` // the value and its limits, drawn
	Of      []string          `json:"of,omitempty"`    // the points; none: the result of all
	U       float64           `json:"uncertainty,omitempty"`
	Likely  float64           `json:"probability,omitempty"` // that it conforms
	Sure    string            `json:"sure,omitempty"`        // how sure it is, where that is not beyond doubt
}

// Parts are the parts of a gate, of which some may be read.
func Parts(s *workflow.State, r workflow.GateReport) []Part {
	var parts []Part
	for _, p := range s.Parts(r) {
		part := Part{Label: strings.Join(p.Of, " / "), Value: valueText(p), Verdict: p.Finding.Verdict, Says: verdictText(p, r.Gate.Repeat), Scale: drawn(p.Scale), Of: p.Of}
		if j := p.Finding.Judged; j.Known {
			part.U, part.Likely = j.U, j.Probability
			if p.Finding.Verdict == measuring.Undecided || j.Plain {
				part.Sure = j.Says()
			}
		}
		if p.Of == nil {
			part.Label = r.Gate.Result.String()
		}
		parts = append(parts, part)
	}
	return parts
}

// valueText is what was read, and the mean of several readings.
func valueText(p measuring.Part) string {
	var read []string
	for _, q := range p.Readings {
		read = append(read, q.String())
	}
	if len(read) == 1 || !p.Known {
		return strings.Join(read, "")
	}
	value := quantity.Written(strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.3f", p.Value), "0"), "."), p.Unit)
	if len(read) > 1 {
		return strings.Join(read, ", ") + ", mean " + value
	}
	return value
}

// verdictText is the verdict in the words used for people; "": there is none yet.
func verdictText(p measuring.Part, repeat int) string {
	switch n := len(p.Readings); p.Finding.Verdict {
	case measuring.Partial:
		if n > 0 && n < repeat {
			return fmt.Sprintf("%d of %d", n, repeat)
		}
		return ""
	case measuring.In:
		if p.Finding.Judged.Plain {
			return workflow.Current.Words() + " by plain acceptance"
		}
		return workflow.Current.Words()
	case measuring.Out:
		if p.Over < 0 {
			return amount(-p.Over, p.Unit) + " UNDER"
		}
		return amount(p.Over, p.Unit) + " OVER"
	}
	return string(p.Finding.Verdict)
}

// drawn is a scale in one row of plain characters: the limits are [ and ], a value that
// passes lies among =, one that can't be decided among ?, and one that is out among -. The
// value is the *; < and > are values beyond the ends.
//
//go:noinline
func drawn(s measuring.Scale) string {
	row := make([]byte, 0, len(s.Cells)+1)
	for i, c := range s.Cells {
		if s.Known && i == s.At {
			row = append(row, '*')
		} else {
			row = append(row, "-?=[]"[c])
		}
	}
	switch {
	case !s.Known || len(row) == 0:
	case s.At < 0:
		row[0] = '<'
	case s.At >= len(row):
		row[len(row)-1] = '>'
	}
	return string(row)
}

// parts draws what was read at a gate, a row each.
func (l *lines) parts(g Gate) {
	if len(g.Parts) == 0 {
		return
	}
	var wide [3]int
	for _, p := range g.Parts {
		for i, text := range []string{p.Label, p.Value, p.Says} {
			wide[i] = max(wide[i], utf8.RuneCountInString(text))
		}
	}
	l.add("\n```")
	for _, p := range g.Parts {
		row := ""
		for i, text := range []string{p.Label, p.Value, p.Says} {
			if wide[i] > 0 {
				row += text + strings.Repeat(" ", wide[i]-utf8.RuneCountInString(text)+2)
			}
		}
		l.add("%s", strings.TrimRight(row+p.Scale, " "))
	}
	l.add("```\n")
}

// ways are the ways out of an undecided gate.
func (l *lines) ways(g Gate) {
	advice, line := Remedy(g.remedy)
	switch g.remedy.Kind {
	case "":
		return
	case workflow.ToDecide, workflow.ToBeginAnew:
		for _, finer := range g.remedy.Names {
			line += "\n" + g.Measure + " --gauge " + finer
		}
		if g.remedy.Concede {
			line += "\nfettle measure " + g.remedy.Mark + " " + g.Name + " --concede " + Blank
		}
	}
	l.add("%s:\n\n```\n%s\n```\n", esc(Capital(advice)), line)
}
