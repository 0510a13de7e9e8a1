package procedures

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/steps/planform"
)

// What a design's dimensions come to must be what its gates ask for: whoever builds by
// the words of the build can't be out of tolerance by them. Figures are read from the words
// of the sheet and the build, so that one that is changed in one place alone fails.
// Formulas are plane trigonometry; lengths are in mm, angles in degrees, masses in g.

// A drawing reads the figures that a design states: those of its sheet, and those that
// stand in the prose of its steps.
type drawing struct {
	t     *testing.T
	sheet *steps.Sheet
	build *steps.Procedure
}

func drawingOf(t *testing.T, design string) *drawing {
	t.Helper()
	d, err := Open("").Procedure(design + "-build")
	if err != nil {
		t.Fatal(err)
	}
	return &drawing{t, sheetOf(t, design), d.Procedure}
}

// read finds the one place where a text says a figure, with a number in each group, and
// gives the numbers.
func (d *drawing) read(where, text, pattern string) []float64 {
	d.t.Helper()
	found := regexp.MustCompile(pattern).FindAllStringSubmatch(strings.ReplaceAll(text, "−", "-"), -1)
	if len(found) != 1 {
		d.t.Fatalf("%s says %q %d times, want once", where, pattern, len(found))
	}
	var all []float64
	for _, number := range found[0][1:] {
		v, err := strconv.ParseFloat(number, 64)
		if err != nil {
			d.t.Fatal(err)
		}
		all = append(all, v)
	}
	return all
}

// about are the figures that the text of the sheet states.
func (d *drawing) about(pattern string) []float64 {
	d.t.Helper()
	return d.read(d.sheet.Name, d.sheet.About, pattern)
}

// said are those that a step states, or a gate where it says how it is measured, in its other
// way too.
func (d *drawing) said(name, pattern string) []float64 {
	d.t.Helper()
	text := ""
	if g, ok := d.sheet.Gate(name); ok {
		text = g.How + "\n" + g.Or.How
	}
	if s, _, ok := d.build.Step(name); ok {
		text += "\n" + s.Do
	}
	return d.read(d.sheet.Name+"/"+name, text, pattern)
}

// words holds that a step has the words.
func (d *drawing) words(step, words string) {
	d.t.Helper()
	if s, _, ok := d.build.Step(step); !ok || !strings.Contains(s.Do, words) {
		d.t.Errorf("%s: %s does not say: %s", d.build.Name, step, words)
	}
}

func (d *drawing) gate(name string) steps.Gate {
	d.t.Helper()
	g, ok := d.sheet.Gate(name)
	if !ok {
		d.t.Fatalf("%s has no gate %s", d.sheet.Name, name)
	}
	return g
}

// passes holds that what the geometry comes to, in the unit of a gate's limits, passes the
// gate by as much as its gauge is uncertain. Where it asks for likeness alone it is a difference.
func (d *drawing) passes(gate string, comes float64) (low, high float64) {
	d.t.Helper()
	g := d.gate(gate)
	l := g.Limits
	gauge, _ := d.sheet.Gauge(g.Gauge)
	doubt := in(gauge.Uncertainty, l.Unit())
	low, high = math.Inf(-1), math.Inf(1)
	if !l.Low.IsZero() {
		low = in(l.Low, l.Unit())
	}
	if !l.High.IsZero() {
		high = in(l.High, l.Unit())
	}
	if math.IsInf(low, 0) && math.IsInf(high, 0) {
		high = in(l.Alike, l.Unit())
		low = -high
	}
	if !(comes >= low+doubt && comes <= high-doubt) { // not a number does not pass
		d.t.Errorf("%s: the geometry comes to %.2f %s, which does not pass %s, %.2f to %.2f, with a gauge of ± %g", d.sheet.Name, comes, l.Unit(), gate, low, high, doubt)
	}
	return low, high
}

// asks holds that it passes, and lies near the middle of the limits: a quarter of the tolerance
// is left to it, and the rest is the builder's.
func (d *drawing) asks(gate string, comes float64) {
	d.t.Helper()
	low, high := d.passes(gate, comes)
	if middle := (low + high) / 2; math.Abs(middle-comes) > (high-low)/8 { // never of one limit
		d.t.Errorf("%s: the geometry comes to %.2f, and the middle of %s is %.2f", d.sheet.Name, comes, gate, middle)
	}
}

// same holds that what is stated in one place is what another comes to.
func (d *drawing) same(what string, stated, comes, within float64) {
	d.t.Helper()
	if !(math.Abs(stated-comes) <= within) {
		d.t.Errorf("%s: %s is stated as %.2f, and comes to %.2f", d.sheet.Name, what, stated, comes)
	}
}

func (d *drawing) surface(name string) steps.Surface {
	d.t.Helper()
	i := slices.IndexFunc(d.sheet.Geometry.Surfaces, func(s steps.Surface) bool { return s.Name == name })
	if i < 0 {
		d.t.Fatalf("%s has no surface %s", d.sheet.Name, name)
	}
	return d.sheet.Geometry.Surfaces[i]
}

func (d *drawing) body(name string) steps.Body {
	d.t.Helper()
	i := slices.IndexFunc(d.sheet.Geometry.Bodies, func(b steps.Body) bool { return b.Name == name })
	if i < 0 {
		d.t.Fatalf("%s has no body %s", d.sheet.Name, name)
	}
	return d.sheet.Geometry.Bodies[i]
}

func (d *drawing) control(name string) steps.Control {
	d.t.Helper()
	i := slices.IndexFunc(d.sheet.Geometry.Controls, func(c steps.Control) bool { return c.Name == name })
	if i < 0 {
		d.t.Fatalf("%s has no control %s", d.sheet.Name, name)
	}
	return d.sheet.Geometry.Controls[i]
}

// part is where a part lies and what it weighs.
func (d *drawing) part(name string) (x, g float64) {
	d.t.Helper()
	i := slices.IndexFunc(d.sheet.Geometry.Parts, func(p steps.Component) bool { return p.Name == name })
	if i < 0 {
		d.t.Fatalf("%s has no part %s", d.sheet.Name, name)
	}
	g, err := d.sheet.Geometry.Parts[i].Mass.Float("g")
	if err != nil {
		d.t.Fatal(err)
	}
	return d.mm(d.sheet.Geometry.Parts[i].X), g
}

func (d *drawing) mm(q interface{ Float(string) (float64, error) }) float64 {
	d.t.Helper()
	v, err := q.Float("mm")
	if err != nil {
		d.t.Fatal(err)
	}
	return v
}

func grams(q interface{ Float(string) (float64, error) }) float64 {
	v, err := q.Float("g")
	if err != nil {
		return math.NaN()
	}
	return v
}

func degrees(q interface{ Float(string) (float64, error) }) float64 {
	v, err := q.Float("°")
	if err != nil {
		return math.NaN()
	}
	return v
}

// Of an angle, and of a rise over a run; all in degrees.
func sin(a float64) float64           { return math.Sin(a * math.Pi / 180) }
func tan(a float64) float64           { return math.Tan(a * math.Pi / 180) }
func cos(a float64) float64           { return math.Cos(a * math.Pi / 180) }
func slope(rise, run float64) float64 { return math.Atan2(rise, run) * 180 / math.Pi }
func lean(rise, along float64) float64 {
	return math.Asin(rise/along) * 180 / math.Pi
}

// travel is how far the edge of a control surface moves, by its linkage: the servo's arm
// swings by an angle and moves the clevis, at the horn's radius, by as much as its own end
// goes fore and aft.
func (d *drawing) travel(control string, arm, swing float64) float64 {
	d.t.Helper()
	c := d.control(control)
	return d.mm(c.Chord) * sin(lean(arm*sin(swing), d.mm(c.Horn)))
}

// batteryAt is where the battery lies for the middle of the limits of the balance.
func (d *drawing) batteryAt(has ...string) float64 {
	d.t.Helper()
	low, high, _ := limitsOfBalance(d.sheet)
	x, ok := tableOf(d.sheet.Geometry, steps.Selection{Has: has}).batteryFor((low + high) / 2)
	if !ok {
		d.t.Errorf("%s has no battery in its parts table", d.sheet.Name)
	}
	return x
}

// steady holds the static margin at the middle of the balance limits to what is usual.
func (d *drawing) steady(has ...string) {
	d.t.Helper()
	low, high, _ := limitsOfBalance(d.sheet)
	p, err := planform.Of(d.sheet.Geometry, steps.Selection{Has: has})
	if err != nil {
		d.t.Fatal(err)
	}
	if margin, err := p.Margin((low + high) / 2); err != nil || 100*margin < leastMargin || 100*margin > mostMargin {
		d.t.Errorf("%s %v: a static margin of %.1f %%, %v", d.sheet.Name, has, 100*margin, err)
	}
}

// balanced is where the parts balance, with the battery's middle somewhere else.
func (d *drawing) balanced(has []string, battery float64) (at, mass float64) {
	var moment float64
	on := steps.Selection{Has: has}
	for _, p := range d.sheet.Geometry.Parts {
		if !p.In(on) {
			continue
		}
		x, g := d.part(p.Name)
		if p.Name == d.sheet.Geometry.Battery.Part {
			x = battery
		}
		mass, moment = mass+g, moment+g*x
	}
	return moment / mass, mass
}
