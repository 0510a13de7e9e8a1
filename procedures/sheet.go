package procedures

import (
	"math"
	"slices"

	"gopkg.in/yaml.v3"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// mostOptions bounds the combinations that are checked.
const mostOptions = 6

// mostReadings is how many readings one point may ask for.
const mostReadings = 20

func (r *reader) sheet(n *yaml.Node) *steps.Sheet {
	f := r.fields(n, "a design sheet", "design", "title", "revision", "about", "zones", "options", "conditions", "adhesives", "gauges", "gates", "equipment")
	s := &steps.Sheet{Name: f.mustName("design"), Title: f.mustText("title"), About: f.text("about")}
	if f.must("revision") != nil {
		s.Revision = f.whole("revision", 1_000_000)
	}
	if f.must("zones") != nil {
		s.Zones = f.names("zones", func(n *yaml.Node, name string) {
			switch name {
			case steps.Here:
				f.fault(n, "a zone can't be called %q: repairs call the zone they are started on so", name)
			case steps.MassZone:
				f.fault(n, "a zone can't be called %q: gates with mass: yes depend on it already", name)
			}
		})
	}
	f.each("options", func(name string, v *yaml.Node) {
		s.Options = append(s.Options, steps.Option{Name: name, Title: r.text(v, "the option "+name)})
	})
	if len(s.Options) > mostOptions {
		f.fault(f.values["options"], "%d options; at most %d", len(s.Options), mostOptions)
	}
	f.each("conditions", func(name string, v *yaml.Node) { s.Conditions = append(s.Conditions, r.condition(name, v)) })
	f.each("adhesives", func(name string, v *yaml.Node) { s.Adhesives = append(s.Adhesives, r.adhesive(name, v)) })
	f.each("gauges", func(name string, v *yaml.Node) { s.Gauges = append(s.Gauges, r.gauge(name, v)) })
	f.each("gates", func(name string, v *yaml.Node) { s.Gates = append(s.Gates, r.gate(name, v, s)) })
	f.each("equipment", func(name string, v *yaml.Node) { s.Equipment = append(s.Equipment, r.equipment(name, v)) })
	if len(s.Equipment) > 0 && !slices.ContainsFunc(s.Gates, func(g steps.Gate) bool { return g.Mass }) {
		r.fault(f.values["equipment"], "equipment changes the balance, and no gate says mass: yes")
	}
	return s
}

func (r *reader) equipment(name string, n *yaml.Node) steps.Equipment {
	f := r.fields(n, "the equipment "+name, "title", "disturbs")
	return steps.Equipment{
		Name: name, Title: f.mustText("title"),
		Disturbs: f.names("disturbs", func(n *yaml.Node, name string) { r.refer(zone, n, name, "") }),
	}
}

// life is how long a gate's readings count.
func (r *reader) life(f fields) steps.Life {
	n := f.values["life"]
	if n == nil {
		return steps.Life{}
	}
	l := r.fields(n, "life", "flights", "days")
	life := steps.Life{Flights: l.whole("flights", 10_000), Days: l.whole("days", 10_000)}
	if !l.has("flights") && !l.has("days") {
		r.fault(n, "life is a number of flights, or of days, or both")
	}
	return life
}

// each goes through a mapping whose keys are names.
func (f fields) each(key string, do func(name string, v *yaml.Node)) {
	n := f.values[key]
	if n == nil {
		return
	}
	f.pairs(n, key, func(_ string, k, v *yaml.Node) {
		if name := f.reader.name(k, key); name != "" {
			do(name, v)
		}
	})
}

func (r *reader) condition(name string, n *yaml.Node) steps.Condition {
	f := r.fields(n, "the condition "+name, "title", "states", "lasts")
	c := steps.Condition{Name: name, Title: f.mustText("title")}
	if f.must("states") != nil {
		c.States = f.names("states", nil)
		if len(c.States) == 1 {
			f.fault(f.values["states"], "the condition %s has one state; it needs two at least", name)
		}
	}
	if f.has("lasts") {
		c.Sitting = f.text("lasts") == "sitting"
		if !c.Sitting {
			f.fault(f.values["lasts"], "lasts is %q or left away", "sitting")
		}
	}
	return c
}

func (r *reader) adhesive(name string, n *yaml.Node) steps.Adhesive {
	f := r.fields(n, "the adhesive "+name, "title", "window", "handling", "cure", "works", "factor", "mixed", "caution", "source")
	a := steps.Adhesive{
		Name: name, Title: f.mustText("title"), Caution: f.text("caution"), Source: f.text("source"),
		Handling: f.mustSize("handling", quantity.Duration), Cure: f.mustSize("cure", quantity.Duration),
	}
	if v := f.must("window"); v != nil {
		w := r.fields(v, "window", "from", "to", "at")
		a.From, a.To = w.mustSize("from", quantity.Duration), w.mustSize("to", quantity.Duration)
		if w.must("at") != nil {
			a.At = w.quantity("at", quantity.Temperature)
		}
		if less(a.To, a.From) {
			r.fault(v, "the window is the wrong way round: it opens after %s and closes after %s", a.From, a.To)
		}
	}
	if less(a.Cure, a.Handling) {
		f.fault(f.values["cure"], "the adhesive %s is cured (%s) before it can be handled (%s)", name, a.Cure, a.Handling)
	}
	if v := f.must("works"); v != nil {
		w := r.fields(v, "works", "between", "humidity")
		if b := w.must("between"); b != nil {
			a.Coldest, a.Warmest = r.limits(b, "between", quantity.Temperature)
		}
		if h := w.values["humidity"]; h != nil {
			a.Driest, a.Dampest = r.limits(h, "humidity", quantity.Ratio)
			for _, q := range []quantity.Quantity{a.Driest, a.Dampest} {
				if v, err := q.Float("%"); err == nil && (v < 0 || v > 100) {
					r.fault(h, "a relative humidity is from 0 to 100 %%")
				}
			}
		}
		if less(a.At, a.Coldest) || less(a.Warmest, a.At) {
			r.fault(v, "the window's times are given at %s, where the adhesive %s does not work", a.At, name)
		}
	}
	a.Times = r.times(f, a)
	return a
}

// times are the adhesive's times as numbers.
func (r *reader) times(f fields, a steps.Adhesive) bond.Times {
	t := bond.Times{Mixed: f.yes("mixed")}
	t.From, _ = a.From.Duration()
	t.To, _ = a.To.Duration()
	t.Handling, _ = a.Handling.Duration()
	t.Cure, _ = a.Cure.Duration()
	t.At, _ = a.At.Celsius()
	if n := f.values["factor"]; n != nil {
		// A bare number: a factor has no unit.
		q, err := quantity.Parse(n.Value+" %", quantity.Ratio)
		factor, _ := q.Float("%")
		if err != nil || factor < 1 || factor > 10 {
			r.fault(n, "factor is a number from 1 to 10: how many times faster for each 10 K warmer")
		}
		t.Per10K = factor
	}
	return t
}

// mustSize is a size that has to be there.
func (f fields) mustSize(key string, want quantity.Dimension) quantity.Quantity {
	if f.must(key) == nil {
		return quantity.Quantity{}
	}
	return f.size(key, want)
}

// less reports whether both are there and a is less than b.
func less(a, b quantity.Quantity) bool {
	return !a.IsZero() && !b.IsZero() && a.Cmp(b) < 0
}

func (r *reader) gauge(name string, n *yaml.Node) steps.Gauge {
	f := r.fields(n, "the gauge "+name, "title", "resolution", "uncertainty")
	g := steps.Gauge{Name: name, Title: f.mustText("title"), Resolution: f.mustSize("resolution", "")}
	if !g.Resolution.IsZero() && nought(g.Resolution) {
		f.fault(f.values["resolution"], "resolution is nought: no gauge is that fine")
	}
	g.Uncertainty = f.size("uncertainty", g.Resolution.Dimension())
	return g
}

func (r *reader) gate(name string, n *yaml.Node, s *steps.Sheet) steps.Gate {
	f := r.fields(n, "the gate "+name, "title", "how", "rework", "points", "readings", "between", "at_least", "at_most", "alike", "pairs", "gauge", "of", "critical", "mass", "life", "with", "without")
	g := steps.Gate{
		Name: name, Title: f.mustText("title"), How: f.text("how"), Rework: f.text("rework"),
		Points: f.names("points", nil), Repeat: max(1, f.whole("readings", mostReadings)), Critical: f.yes("critical"),
		Mass: f.yes("mass"), Life: r.life(f),
	}
	if name == steps.Stale {
		f.fault(n, "a gate can't be called %q: measure steps ask so for every stale gate", name)
	}
	if f.must("gauge") != nil {
		g.Gauge = f.refers("gauge", gauge)
	}
	if f.must("of") != nil {
		g.Of = f.names("of", func(n *yaml.Node, name string) { r.refer(zone, n, name, "") })
	}
	g.With, g.Without = r.governed(f)
	g.Limits = r.gateLimits(f, name)
	g.Pairs = r.comparedPairs(f, g)
	r.decidable(f, g, s)
	return g
}

func (r *reader) gateLimits(f fields, name string) measuring.Limits {
	var l measuring.Limits
	if v := f.values["between"]; v != nil {
		l.Low, l.High = r.limits(v, "between", "")
		if f.has("at_least") || f.has("at_most") {
			r.fault(v, "the gate %s has between beside at_least or at_most: write one of them", name)
		}
	} else {
		l.Low = f.quantity("at_least", "")
		l.High = f.quantity("at_most", l.Low.Dimension())
		if !l.Low.IsZero() && !l.High.IsZero() && l.Low.Cmp(l.High) >= 0 {
			r.fault(f.values["at_most"], "the limits are the wrong way round: at least %s and at most %s", l.Low, l.High)
		}
	}
	l.Alike = f.size("alike", l.Dimension())
	if l.Dimension() == "" && !f.has("between") && !f.has("at_least") && !f.has("at_most") && !f.has("alike") {
		r.fault(f.node, "the gate %s has no limit: write between, at_least, at_most or alike", name)
	}
	return l
}

func (r *reader) comparedPairs(f fields, g steps.Gate) [][2]string {
	if f.has("alike") && len(g.Points) < 2 {
		r.fault(f.values["alike"], "alike compares points, and the gate %s has fewer than two", g.Name)
	}
	n := f.values["pairs"]
	if n == nil {
		return nil
	}
	if !f.has("alike") {
		r.fault(n, "pairs are compared by alike, which is not there")
	}
	var pairs [][2]string
	r.list(n, "pairs", func(item *yaml.Node) {
		if item.Kind != yaml.SequenceNode || len(item.Content) != 2 {
			r.fault(item, "a pair is two points: [left, right]")
			return
		}
		var pair [2]string
		for i, p := range item.Content {
			pair[i] = r.name(p, "a point")
			if pair[i] != "" && !slices.Contains(g.Points, pair[i]) {
				r.fault(p, "unknown point %q%s", pair[i], suggest(pair[i], g.Points))
			}
		}
		if pair[0] == pair[1] {
			r.fault(item, "a point is compared with itself")
		}
		pairs = append(pairs, pair)
	})
	return pairs
}

// decidable finds gates whose gauge measures something else, or is too coarse
// for the limits, so that no reading could ever be in tolerance.
func (r *reader) decidable(f fields, g steps.Gate, s *steps.Sheet) {
	gauge, ok := s.Gauge(g.Gauge)
	if !ok || gauge.Resolution.IsZero() || g.Limits.Dimension() == "" {
		return
	}
	at := f.values["gauge"]
	if gauge.Resolution.Dimension() != g.Limits.Dimension() {
		r.fault(at, "the gauge %s reads a %s, and the gate %s limits a %s", g.Gauge, gauge.Resolution.Dimension(), g.Name, g.Limits.Dimension())
		return
	}
	low, err1 := g.Limits.Low.Float(g.Limits.Unit())
	high, err2 := g.Limits.High.Float(g.Limits.Unit())
	if err1 == nil && err2 == nil && high > low && 2*gauge.Doubt().Guard(g.Limits.Unit()) >= high-low {
		r.fault(at, "the gauge %s is too coarse for the gate %s: no reading could be in tolerance beyond doubt", g.Gauge, g.Name)
	}
	// Two readings with one gauge: its bias cancels, its resolution does not.
	step := measuring.Doubt{Resolution: gauge.Resolution}.Guard(g.Limits.Unit())
	if alike, err := g.Limits.Alike.Float(g.Limits.Unit()); err == nil && alike >= 0 && alike < math.Sqrt2*step {
		r.fault(at, "the gauge %s is too coarse for the gate %s: no two readings could be alike beyond doubt", g.Gauge, g.Name)
	}
}

// governed is the option that something is there with, or without.
func (r *reader) governed(f fields) (with, without string) {
	with, without = f.refers("with", option), f.refers("without", option)
	if with != "" && with == without {
		r.fault(f.values["without"], "nobody can reach this: it is there with the option %s and without it", with)
	}
	return with, without
}
