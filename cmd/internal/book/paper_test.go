package book_test

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/page"
	"fettle/procedures"
	"fettle/steps"
)

// onPaper is a document as it is printed, by a design sheet or by none.
func onPaper(t *testing.T, doc *procedures.Document, sheet *steps.Sheet) string {
	t.Helper()
	var out strings.Builder
	if err := book.WriteDocument(&out, page.NewFullDocument(doc, procedures.Origin{}, nil), sheet, nil, nil); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func having(root *html.Node, class string) (all []*html.Node) {
	for n := range root.Descendants() {
		if n.Type == html.ElementNode && attribute(n, "class") == class {
			all = append(all, n)
		}
	}
	return all
}

var eitherTime = regexp.MustCompile(`[0-9] (h|min) or [0-9]`)

// Every document of the library is printed, inert as a book is. Of a procedure every step
// has a box, its cautions stand before what to do, a glue step has its clocks, and every
// reading of a gate that it measures a line.
func TestOnPaper(t *testing.T) {
	t.Parallel()
	listed, faults := procedures.Open("").List()
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for _, l := range listed {
		doc := l.Document
		sheet := doc.Sheet
		for _, l := range listed {
			if is := l.Document.Sheet; is != nil && sheet == nil && doc.Starts() && doc.Serves(is) {
				sheet = is
			}
		}
		root := parse(t, onPaper(t, doc, sheet))
		if !strings.Contains(textOf(root), page.LocalRules) {
			t.Errorf("%s does not defer to local rules", doc.Name())
		}
		if doc.Procedure == nil {
			continue
		}
		all := having(root, "step")
		if len(all) != len(doc.Procedure.Steps()) {
			t.Errorf("%s has %d boxes for its %d steps", doc.Name(), len(all), len(doc.Procedure.Steps()))
			continue
		}
		for i, s := range doc.Procedure.Steps() {
			says, does := textOf(all[i]), s.Kind.Traits()
			for _, c := range s.Cautions {
				word := strings.Fields(strings.NewReplacer("*", "", "`", "").Replace(c))
				if at, do := strings.Index(says, word[0]), strings.Index(says, "Why."); at < 0 || do >= 0 && do < at {
					t.Errorf("%s, %s: its caution %q does not stand first", doc.Name(), s.Name, c)
				}
			}
			boxes := having(all[i], "caution")
			if len(boxes) < len(s.Cautions) {
				t.Errorf("%s, %s: %d of %d cautions are marked", doc.Name(), s.Name, len(boxes), len(s.Cautions))
			}
			if s.Kind.Traits().Glues() && len(having(all[i], "clock")) == 0 || does.Passes && len(having(all[i], "clock")) != 1 {
				t.Errorf("%s, %s: no line for its times", doc.Name(), s.Name)
			}
			joins, glues := 0, map[string]bool{} // a joint of several glues has the clocks of those that this way has
			for _, other := range doc.Procedure.Steps() {
				joint := other.Joint
				for _, glue := range other.Adhesives {
					other := other.Where
					against := slices.ContainsFunc(other.With, func(any []string) bool { return len(any) == 1 && slices.Contains(s.Without, any[0]) })
					glues[glue] = glues[glue] || joint == s.Joint && !against && (len(s.With) == 0 || slices.EqualFunc(s.With, other.With, slices.Equal))
				}
			}
			maps.DeleteFunc(glues, func(_ string, has bool) bool { return !has })
			for _, clock := range having(all[i], "clock") {
				joins += strings.Count(textOf(clock), "handle after")
				if lines := len(having(clock, "box")); textOf(having(clock, "clock-says")[0]) == "" || lines == 1 || lines > len(glues) {
					t.Errorf("%s, %s: %d of %d glues to choose from have a box: %s", doc.Name(), s.Name, lines, len(glues), textOf(clock))
				}
				if says := textOf(having(clock, "clock-says")[0]); eitherTime.MatchString(says) {
					t.Errorf("%s, %s: which of them? %s", doc.Name(), s.Name, says)
				}
			}
			if sheet != nil && does.Joins && joins != len(glues) {
				t.Errorf("%s, %s: %d glues, the clocks of %d", doc.Name(), s.Name, len(glues), joins)
			}
			readings := 0
			for _, name := range s.Gates {
				if g, ok := gateOf(sheet, name); ok {
					readings += len(g.Readings())
				}
			}
			if got := len(having(all[i], "line")); got < readings+1 {
				t.Errorf("%s, %s: %d lines for %d readings", doc.Name(), s.Name, got, readings)
			}
			ticks := len(s.Confirm)
			if got := len(having(all[i], "box")); got < ticks+1 {
				t.Errorf("%s, %s: %d boxes for %d lines", doc.Name(), s.Name, got, ticks)
			}
		}
	}
}

func gateOf(sheet *steps.Sheet, name string) (steps.Gate, bool) {
	if sheet == nil {
		return steps.Gate{}, false
	}
	return sheet.Gate(name)
}

// The full caution of a glue stands before its first use in a stage, with its lines, and
// one line of it at each other.
func TestCautionsOnPaper(t *testing.T) {
	t.Parallel()
	text := onPaper(t, find(t, "causeway-build"), find(t, "causeway").Sheet)
	for _, stage := range having(parse(t, text), "stage") {
		says := textOf(stage)
		if full := strings.Count(says, "Put the lid back after each dip"); full > 1 || full == 0 && strings.Contains(says, "Solvent contact adhesive, foam-safe, a coat on both faces:") {
			t.Errorf("the caution of the contact adhesive stands %d times in %.40q", full, says)
		}
	}
	for _, says := range []string{"Join wing roots, from 10 min after the last coat to 40 min after the first, at 20 °C; handle after 30 min, cured after 24 h.", "Mark of the airframe", "within 20 min of mixing"} {
		if !strings.Contains(text, says) {
			t.Errorf("the sheet does not say %q", says)
		}
	}
	text = onPaper(t, find(t, "reed"), find(t, "reed").Sheet)
	for _, says := range []string{"front − rear from 1.5 mm to 2.5 mm passes with this gauge", "(120 mm × rear − 60 mm × front) ÷ (front &#43; rear)"} {
		if !strings.Contains(text, says) {
			t.Errorf("the sheet does not say how to work out %q", says)
		}
	}
	// Of a design whose wings are a choice no drawing is without one, and it says which.
	text = onPaper(t, find(t, "reed"), find(t, "reed").Sheet)
	plans := 0
	for n := range parse(t, text).Descendants() {
		if id := attribute(n, "id"); n.Type == html.ElementNode && strings.HasPrefix(id, "plan-") {
			plans++
			if wings := len(having(n, "surface")); wings < 4 {
				t.Errorf("%s shows %d surfaces, and a Reed has two halves of a wing and of a tail", id, wings)
			}
		}
	}
	if says := "Drawn: two panels, raised from the middle."; plans != 3 || !strings.Contains(text, says) {
		t.Errorf("%d plans, want one of each wing for its gates and one that says %q", plans, says)
	}
}
