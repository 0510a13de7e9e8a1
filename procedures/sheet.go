package procedures

import (
	"fmt"
	"math/big"
	"slices"
	"time"

	"gopkg.in/yaml.v3"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
)

// mostVapour is the longest that vapour may hang: the journals of other airframes are read
// no further back than [workflow.CoatLength].
const mostVapour = 12 * time.Hour

// mostReadings is the most readings that one point may ask for.
const mostReadings = 20

// sheetKeys are the keys of a design sheet. The gauges and the drive come before the
// gates, whose checks and limits need them.
func sheetKeys() *mapping[*steps.Sheet] {
	type s = steps.Sheet
	return &mapping[*s]{what: "a design sheet", check: sheetChecked, keys: []key[*s]{
		{"design", required, field(func(s *s) *string { return &s.Name }, nameValue{}),
			"its name", "plover"},
		{"title", required, field(func(s *s) *string { return &s.Title }, textValue{}),
			"what it is, in a few words", "Plover, a 0.9 m park glider"},
		{"revision", required, field(func(s *s) *int { return &s.Revision }, wholeValue{mostRevision}),
			"raise it with every change", "1"},
		{"changes", optional, field(func(s *s) *[]steps.Change { return &s.Changes }, changesValue{}),
			changesHelp, changesExample},
		{"about", optional, field(func(s *s) *string { return &s.About }, textValue{prose}),
			"what to know about the design", "Two panels of foam on a carbon spar."},
		{"zones", required, field(func(s *s) *[]string { return &s.Zones }, namesValue{}),
			"the parts that work and damage disturb", "[nose, wing, tail]"},
		{"options", optional, field(func(s *s) *[]steps.Option { return &s.Options }, optionsValue{}),
			"what one airframe has and another has not: each with what it is, or `{title, why}`. A name with several of these below it " +
				"is a choice: an airframe has exactly one of them, and the build has a step with `choose` for it",
			"rudder: A moving rudder\nnose:\n  blunt-nose: A nose of soft foam\n  long-nose: {title: A long nose, why: It takes a camera.}"},
		{"conditions", optional, field(func(s *s) *[]steps.Condition { return &s.Conditions }, named[steps.Condition]{
			one: "the condition", name: func(c *steps.Condition) *string { return &c.Name }, is: conditionKeys()}),
			"lock-outs that steps set and require", "propeller: {title: The propeller, states: [off, on]}\nventilation: {title: A window open, states: [on, off], lasts: sitting}"},
		{"adhesives", optional, field(func(s *s) *[]steps.Adhesive { return &s.Adhesives }, named[steps.Adhesive]{
			one: "the adhesive", name: func(a *steps.Adhesive) *string { return &a.Name }, is: adhesiveKeys()}),
			"what joints are coated with", "contact"},
		{"tools", optional, field(func(s *s) *[]steps.Tool { return &s.Tools }, named[steps.Tool]{
			one: "the tool", name: func(t *steps.Tool) *string { return &t.Name }, is: toolKeys()}),
			"what steps are done with", "knife"},
		{"gauges", optional, field(func(s *s) *[]steps.Gauge { return &s.Gauges }, named[steps.Gauge]{
			one: "the gauge", name: func(g *steps.Gauge) *string { return &g.Name }, is: gaugeKeys()}),
			"what readings are taken with", "caliper"},
		{"power", optional, field(func(s *s) *steps.Drive { return &s.Power }, powerKeys()),
			"the drive and its battery", ""},
		{"gates", optional, field(func(s *s) *[]steps.Gate { return &s.Gates }, named[steps.Gate]{
			one: "the gate", name: func(g *steps.Gate) *string { return &g.Name }, is: gateKeys()}),
			"the measurements with limits", "spar-depth"},
		{"equipment", optional, field(func(s *s) *[]steps.Equipment { return &s.Equipment }, named[steps.Equipment]{
			one: "the equipment", name: func(e *steps.Equipment) *string { return &e.Name }, is: equipmentKeys()}),
			"what is fitted, moved and taken out again; needs a gate with `mass: yes`", "camera"},
		{"geometry", optional, field(func(s *s) *steps.Geometry { return &s.Geometry }, geometryKeys()),
			"where everything lies and what it weighs, by which balance and flight are computed", ""},
	}}
}

func sheetChecked(f fields, s *steps.Sheet) {
	f.changed(s.Changes, s.Revision)
	for _, z := range s.Zones {
		switch z {
		case steps.Here:
			f.fault(f.item("zones", z), "a zone cannot be called %q: repairs use that word for the zone they are started on", z)
		case steps.MassZone:
			f.fault(f.item("zones", z), "a zone cannot be called %q: gates with mass: yes already depend on a zone of that name", z)
		}
	}
	f.measuredFor(s)
	optionsChecked(f, s)
	if len(s.Equipment) > 0 && !f.doc.doubts.of(gate) && !slices.ContainsFunc(s.Gates, func(g steps.Gate) bool { return g.Mass }) {
		f.fault(f.get("equipment"), "equipment changes the balance, but no gate has mass: yes")
	}
	f.aboard(s)
	f.measuring(s.Power)
}

// aboard holds that all equipment can be aboard at once, as a release wants it.
func (f fields) aboard(s *steps.Sheet) {
	first := map[string]steps.Equipment{} // by the condition
	for _, e := range s.Equipment {
		for _, is := range e.Aboard {
			if c, ok := s.Condition(is.Condition); ok && c.Bench && !f.kept {
				f.faultAt(f.doc.places["the equipment "+e.Name], fmt.Sprintf("the condition %s belongs to the bench, so it does not say whether the %s is aboard", is.Condition, e.Name))
			}
			other, said := first[is.Condition]
			if !said {
				first[is.Condition] = e
			} else if !lists.Contains(other.Aboard, is) && !f.kept {
				f.faultAt(f.doc.places["the equipment "+e.Name], fmt.Sprintf("no release can ever be given: the %s is aboard with %s, and the %s with another state", e.Name, is, other.Name))
			}
		}
	}
}

// measuredFor holds that what a tool asks to be measured is a gate of the work.
func (f fields) measuredFor(s *steps.Sheet) {
	for _, t := range s.Tools {
		for _, name := range t.Measure {
			if g, ok := s.Gate(name); ok && len(g.Of) > 0 {
				f.faultAt(f.doc.places["the tool "+t.Name], fmt.Sprintf("the tool %s measures %s, which is not a gate of the work", t.Name, name))
			}
		}
	}
}

func conditionKeys() *mapping[*steps.Condition] {
	type c = steps.Condition
	return &mapping[*c]{what: "a condition", check: conditionChecked, keys: []key[*c]{
		{"title", required, field(func(c *c) *string { return &c.Title }, textValue{}),
			"what it is, in a few words", "The propeller"},
		{"states", required, field(func(c *c) *[]string { return &c.States }, namesValue{}),
			"the states it can be in, at least two", "[off, on]"},
		{"lasts", optional, field(func(c *c) *bool { return &c.Sitting }, markValue{"sitting"}),
			"if it lapses with the visit to the bench in which it was set", "# sitting"},
		{"of", optional, field(func(c *c) *bool { return &c.Bench }, markValue{"bench"}),
			"if it belongs to the bench and not to one airframe, as a hot iron does: what is said of it on any airframe counts for all whose sheet has it so, and lapses with the visit", "# bench"},
		{"guarded", optional, field(func(c *c) *string { return &c.Guarded }, nameValue{}),
			"the state that only a repair sets while damage is open, and nobody while something in quarantine counts as aboard", "# on"},
	}}
}

func conditionChecked(f fields, c *steps.Condition) {
	if len(c.States) == 1 {
		f.fault(f.get("states"), "the condition %s has one state; it needs at least two", c.Name)
	}
	if c.Guarded != "" && !lists.Contains(c.States, c.Guarded) {
		f.fault(f.get("guarded"), "the condition %s has no state %s to guard", c.Name, c.Guarded)
	}
	if c.Bench && c.Guarded != "" {
		f.fault(f.get("guarded"), "the condition %s belongs to the bench, so no damage of an airframe guards it", c.Name)
	}
}

func adhesiveKeys() *mapping[*steps.Adhesive] {
	type a = steps.Adhesive
	q := quantity.Duration
	return &mapping[*a]{what: "an adhesive", check: adhesiveChecked, keys: slices.Concat([]key[*a]{
		{"title", required, field(func(a *a) *string { return &a.Title }, textValue{}),
			"what it is, in a few words", "Solvent contact adhesive"},
		{"window", required, &mapping[*a]{what: "window", check: windowChecked, keys: []key[*a]{
			{"from", required, field(func(a *a) *quantity.Quantity { return &a.From }, amountValue{q, fromZero}),
				"the earliest", "10 min"},
			{"to", required, field(func(a *a) *quantity.Quantity { return &a.To }, amountValue{q, fromZero}),
				"the latest", "40 min"},
			{"at", required, field(func(a *a) *quantity.Quantity { return &a.At }, amountValue{unit: quantity.Temperature}),
				"the temperature that both times are for", "20 °C"},
		}}, "when a joint can be joined, counted from spreading the coat", "{from: 10 min, to: 40 min, at: 20 °C}"},
		{"handling", required, field(func(a *a) *quantity.Quantity { return &a.Handling }, amountValue{q, fromZero}),
			"after joining, until the joint may be handled, and measured", "30 min"},
		{"cure", required, field(func(a *a) *quantity.Quantity { return &a.Cure }, amountValue{q, fromZero}),
			"after joining, until the joint carries load", "24 h"},
		{"works", required, &mapping[*a]{what: "works", check: worksChecked, keys: []key[*a]{
			{"between", required, rangeValue[*a]{quantity.Temperature, func(a *a) (low, high *quantity.Quantity) { return &a.Coldest, &a.Warmest }},
				"the coldest and the warmest bench", "[10 °C, 35 °C]"},
			{"humidity", optional, rangeValue[*a]{quantity.Ratio, func(a *a) (low, high *quantity.Quantity) { return &a.Driest, &a.Dampest }},
				"the driest and the dampest air", "[0 %, 80 %]"},
		}}, "the conditions it works in; outside them a coat is refused", "{between: [10 °C, 35 °C], humidity: [0 %, 80 %]}"},
		{"vapour", optional, field(func(a *a) *quantity.Quantity { return &a.Vapour }, amountValue{q, fromZero}),
			"how long its vapour hangs after a coat was joined or has lapsed: so long its needs bind as they do while the coat is open; by default 30 min if the window does not open at once, else none", "30 min"},
		{"factor", optional, field(func(a *a) *float64 { return &a.Times.Per10K }, numberValue{1, 10}),
			"how many times faster it works for each 10 K warmer; 2 by default", "1.7"},
		{"mixed", optional, field(func(a *a) *bool { return &a.Times.Mixed }, switchValue{}),
			"whether it has two parts; the end of the window is then counted from mixing", "no"},
	}, careKeys(func(a *a) *steps.Care { return &a.Care },
		", and while a coat of it is open: until that is joined or has lapsed, and its vapour is gone, no other step may set or need them otherwise",
		"Flammable vapour; keep flames away.", "{ventilation: on}", "[Gloves are on, No flame and no hot iron is in the room]"), []key[*a]{
		{"source", optional, field(func(a *a) *string { return &a.Source }, textValue{}),
			"where its times come from", "common practice, no source"},
	})}
}

// careKeys are the keys of what an adhesive or a tool asks.
func careKeys[P any](of func(P) *steps.Care, until, caution, needs, hold string) []key[P] {
	return []key[P]{
		{"caution", optional, field(func(t P) *string { return &of(t).Caution }, textValue{prose}),
			"what can hurt; shown in full before the first step of a sitting that uses it, then its first line", caution},
		{"needs", optional, field(func(t P) *[]steps.Setting { return &of(t).Needs }, settingsValue{}),
			"the conditions that must hold at every step that uses it" + until, needs},
		{"hold", optional, field(func(t P) *[]string { return &of(t).Hold }, textsValue{}),
			"what must be confirmed, line by line, before it is used for the first time in a sitting", hold},
	}
}

func toolKeys() *mapping[*steps.Tool] {
	type t = steps.Tool
	return &mapping[*t]{what: "a tool", check: toolChecked, keys: slices.Concat([]key[*t]{
		{"title", required, field(func(t *t) *string { return &t.Title }, textValue{}),
			"what it is, in a few words", "Knife with a new blade"},
	}, careKeys(func(t *t) *steps.Care { return &t.Care },
		"", "Keep the holding hand behind the blade.", "# {ventilation: on}", "The old blade lies in a closed tin."), []key[*t]{
		{"measure", optional, field(func(t *t) *[]string { return &t.Measure }, namesValue{to: gate}),
			"the gates of the work that must have passed in the sitting, since the tool's needs have stood without a break; not asked of a step that sets a condition which the tool needs", "# [iron-temperature]"},
		{"count", optional, field(func(t *t) *int { return &t.Count }, wholeValue{mostReadings}),
			"how many there are", "2"},
	})}
}

// toolChecked holds that it can be told whose hold is meant.
func toolChecked(f fields, t *steps.Tool) {
	if slices.ContainsFunc(f.doc.Sheet.Adhesives, func(a steps.Adhesive) bool { return a.Name == t.Name }) {
		f.fault(f.node, "%s and an adhesive have one name: the hold of each is cleared by its name", f.what)
	}
}

func windowChecked(f fields, a *steps.Adhesive) {
	if less(a.To, a.From) {
		f.fault(f.node, "the window is the wrong way round: it opens after %s and closes after %s", a.From, a.To)
	}
}

func worksChecked(f fields, a *steps.Adhesive) {
	for _, q := range []quantity.Quantity{a.Driest, a.Dampest} {
		if v, err := q.Float("%"); err == nil && (v < 0 || v > 100) {
			f.fault(f.get("humidity"), "relative humidity must be from 0 to 100 %%")
		}
	}
	if !f.lost("between") && (less(a.At, a.Coldest) || less(a.Warmest, a.At)) {
		f.fault(f.node, "the window's times are given at %s, where the adhesive %s does not work", a.At, a.Name)
	}
}

func adhesiveChecked(f fields, a *steps.Adhesive) {
	if less(a.Cure, a.Handling) {
		f.fault(f.get("cure"), "the adhesive %s is cured (%s) before it can be handled (%s)", a.Name, a.Cure, a.Handling)
	}
	// The same times as numbers, for the clocks.
	t := &a.Times
	t.From, _ = a.From.Duration()
	t.To, _ = a.To.Duration()
	t.Handling, _ = a.Handling.Duration()
	t.Cure, _ = a.Cure.Duration()
	t.Vapour, _ = a.Vapour.Duration()
	if a.Vapour.IsZero() && a.Dries() {
		t.Vapour = bond.DefaultVapour
	}
	if t.Vapour > mostVapour && !f.kept {
		f.fault(f.get("vapour"), "vapour of %s would hang for %s; at most %s", a.Name, a.Vapour, mostVapour)
	}
	t.At, _ = a.At.Celsius()
}

// less reports whether both are set and a is less than b.
func less(a, b quantity.Quantity) bool {
	return !a.IsZero() && !b.IsZero() && a.Cmp(b) < 0
}

func gaugeKeys() *mapping[*steps.Gauge] {
	type g = steps.Gauge
	return &mapping[*g]{what: "a gauge", check: gaugeChecked, keys: []key[*g]{
		{"title", required, field(func(g *g) *string { return &g.Title }, textValue{}),
			"what it is, in a few words", "Caliper"},
		{"resolution", required, field(func(g *g) *quantity.Quantity { return &g.Resolution }, amountValue{least: aboveZero}),
			"the smallest step it shows; a finer reading than half of it is refused", "0.01 mm"},
		{"uncertainty", optional, amountLike[*g]{of: func(g *g) *quantity.Quantity { return &g.Uncertainty }, least: fromZero,
			like: func(g *g) quantity.Dimension { return g.Resolution.Dimension() }},
			"expanded (k=2), as used on foam; by default, from the resolution alone", "0.3 mm"},
		{"repeatability", optional, amountLike[*g]{of: func(g *g) *quantity.Quantity { return &g.Repeatability }, least: aboveZero,
			like: func(g *g) quantity.Dimension { return g.Resolution.Dimension() }},
			"the part of the uncertainty by which repeated set-ups differ (k=2); the rest cancels in a difference. By default nothing cancels", "0.15 mm"},
	}}
}

func gaugeChecked(f fields, g *steps.Gauge) {
	n := f.get("repeatability")
	if n == nil || g.Repeatability.Sign() <= 0 || g.Resolution.IsZero() {
		return
	}
	unit := g.Resolution.Unit()
	size, err1 := g.Repeatability.Span(unit)
	step, err2 := g.Resolution.Span(unit)
	if err1 != nil || err2 != nil {
		return // said of it
	}
	whole, err := g.Uncertainty.Span(unit)
	switch {
	case err != nil && !f.has("uncertainty") && !f.lost("uncertainty"):
		f.fault(n, "repeatability is a part of the uncertainty, which the gauge %s does not say", g.Name)
	case err == nil && size.Cmp(whole) > 0:
		f.fault(n, "repeatability is a part of the uncertainty, and %s is more than %s", g.Repeatability, g.Uncertainty)
	case size.Cmp(step.Quo(step, big.NewRat(2, 1))) < 0:
		f.fault(n, "the gauge %s shows steps of %s, and repeats no better than half a step: %s is less", g.Name, g.Resolution, g.Repeatability)
	}
}

func gateKeys() *mapping[*steps.Gate] {
	type g = steps.Gate
	return &mapping[*g]{what: "a gate", check: gateChecked, keys: []key[*g]{
		{"title", required, field(func(g *g) *string { return &g.Title }, textValue{}),
			"what is measured, in a few words", "Depth of the spar slot"},
		{"how", optional, field(func(g *g) *string { return &g.How }, textValue{prose}),
			"how it is measured", "Put the tail of the caliper on the floor of the slot."},
		{"rework", optional, field(func(g *g) *[]steps.Rework { return &g.Reworks }, reworksValue{}),
			"what to do when it is out of tolerance: a text; or a text with what it disturbs and glues; or a list of such, of which one is taken", "Deepen a high spot with the sanding stick."},
		{"points", optional, field(func(g *g) *[]string { return &g.Points }, namesValue{}),
			"where it is measured; by default one point without a name", "[left, right]"},
		{"at", optional, field(func(g *g) *[]steps.PointAt { return &g.At }, pointsAtValue{}),
			"where its points lie on the plan, x and y as in `geometry`: each by its name, or the place alone if they have no names; of a thread both ends, first where it is held: `{left: [[0 mm, 0 mm], [60 mm, -200 mm]]}`", "{left: [60 mm, -200 mm], right: [60 mm, 200 mm]}"},
		{"readings", optional, field(func(g *g) *int { return &g.Repeat }, wholeValue{mostReadings}),
			"how many readings at each point, 1 by default; their mean is judged", "3"},
		{"between", optional, writtenLimits{rangeValue[*g]{"", func(g *g) (low, high *quantity.Quantity) { return &g.Limits.Low, &g.Limits.High }}},
			"the lower and the upper limit, or `4 mm ± 0.5 mm`, `107 °C +8 -7 °C`", "[3.5 mm, 4.5 mm]"},
		{"at_least", optional, limitValue{amountLike[*g]{of: func(g *g) *quantity.Quantity { return &g.Limits.Low },
			like: func(*g) quantity.Dimension { return "" }}, func(g *g) *[]steps.Share { return &g.Least }, 1},
			"the lower limit; with `at_most` in place of `between`, or alone. " + shareHelp + "the greatest counts", "# 3.5 mm"},
		{"at_most", optional, limitValue{amountLike[*g]{of: func(g *g) *quantity.Quantity { return &g.Limits.High },
			like: func(g *g) quantity.Dimension { return g.Limits.Low.Dimension() }}, func(g *g) *[]steps.Share { return &g.Most }, -1},
			"the upper limit; with `at_least` in place of `between`, or alone. " + shareHelp + "the least counts", "# 4.5 mm"},
		{"alike", optional, amountLike[*g]{of: func(g *g) *quantity.Quantity { return &g.Limits.Alike }, least: fromZero,
			like: func(g *g) quantity.Dimension { return g.Limits.Dimension() }},
			"the most that points may differ by; can be the only limit", "1 mm"},
		{"pairs", optional, field(func(g *g) *[][2]string { return &g.Pairs }, pairsValue{}),
			"the points that `alike` compares; all of them by default", "[[left, right]]"},
		{"result", optional, field(func(g *g) *measuring.Result { return &g.Result }, resultKeys()),
			"a function of the points that is judged instead of them", "# {difference: [left, right]}"},
		{"acceptance", optional, field(func(g *g) *string { return &g.Acceptance }, wordValue{known: []string{steps.Guarded, steps.Plain}}),
			"`guarded`, the default: the uncertainty is taken off the limits (ISO 14253-1); `plain`: what lies within them passes, with the risk of whoever wrote them, and never at a critical gate", "guarded"},
		{"gauge", required, field(func(g *g) *string { return &g.Gauge }, nameValue{gauge}),
			"what it is measured with", "caliper"},
		{"finer", optional, field(func(g *g) *[]string { return &g.Finer }, namesValue{to: gauge}),
			"finer gauges that can measure it too: offered where it stays undecided", "# [feelers]"},
		{"or", optional, field(func(g *g) *steps.Way { return &g.Or }, wayKeys()),
			"another way of measuring it, at points of its own, against the same limits: either will do. Each way comes to one value", "# {points: [front, rear], result: …, gauge: scale}"},
		{"of", required, ofValue{},
			"the zones it depends on; `work` for a gate of the work, measured only where a step needs it", "[wing]"},
		{"equipment", optional, field(func(g *g) *[]string { return &g.Equipment }, namesValue{to: equipment}),
			"the equipment that it is measured with: another one makes it stale, and moving it does not", "# [camera]"},
		{"needs", optional, field(func(g *g) *[]steps.Setting { return &g.Needs }, settingsValue{}),
			"the conditions that must stand when it is read", "{propeller: off}"},
		{"critical", optional, field(func(g *g) *bool { return &g.Critical }, switchValue{}),
			"no concession can waive it, and there is no release without it", "yes"},
		{"mass", optional, field(func(g *g) *bool { return &g.Mass }, switchValue{}),
			"any change of equipment makes it stale: balance, mass", "yes"},
		{"life", optional, field(func(g *g) *steps.Validity { return &g.Validity }, lifeKeys()),
			"how long a reading counts; by default until its zones are disturbed", "{flights: 20, days: 90}"},
		{"source", optional, field(func(g *g) *string { return &g.Source }, textValue{}),
			"where its limits come from", "common practice, no source"},
		{"with", optional, field(func(g *g) *steps.Where { return &g.Where }, whereValue{}),
			"only on an airframe with any of these options", "# rudder"},
		{"without", optional, field(func(g *g) *steps.Where { return &g.Where }, whereValue{not: true}),
			"only on an airframe with none of these options", "# rudder"},
	}}
}

// wayKeys are those of the keys of a gate that say how it is measured.
func wayKeys() *mapping[*steps.Way] {
	type w = steps.Way
	return &mapping[*w]{what: "or", keys: []key[*w]{
		{"how", optional, field(func(w *w) *string { return &w.How }, textValue{prose}),
			"how it is measured so", "Lay it on two scales."},
		{"points", optional, field(func(w *w) *[]string { return &w.Points }, namesValue{}),
			"where it is measured; names that the gate's own points do not have", "[front, rear]"},
		{"at", optional, field(func(w *w) *[]steps.PointAt { return &w.At }, pointsAtValue{}),
			"where its points lie on the plan, as in the gate", "{front: [-20 mm, 0 mm], rear: [250 mm, 0 mm]}"},
		{"readings", optional, field(func(w *w) *int { return &w.Repeat }, wholeValue{mostReadings}),
			"how many readings at each point, 1 by default", "1"},
		{"result", optional, field(func(w *w) *measuring.Result { return &w.Result }, resultKeys()),
			"a function of the points", "# {balance: {front: -20 mm, rear: 250 mm}}"},
		{"gauge", required, field(func(w *w) *string { return &w.Gauge }, nameValue{gauge}),
			"what it is measured with", "scale"},
		{"finer", optional, field(func(w *w) *[]string { return &w.Finer }, namesValue{to: gauge}),
			"finer gauges for it", "# [fine-scale]"},
	}}
}

// otherWay finds what is wrong with another way of measuring a gate. Where each way
// comes to one value, one says nothing that the other does not.
func (f fields) otherWay(g *steps.Gate) {
	n := f.get("or")
	if n == nil || f.lost("or") || n.Kind != yaml.MappingNode {
		return
	}
	g.Or.Repeat = max(1, g.Or.Repeat)
	within := fields{reader: f.reader, node: n, what: "or"}
	other, ok := g.Other()
	if !ok {
		return
	}
	for _, name := range []string{"pairs", "alike"} {
		if v := f.get(name); v != nil {
			f.fault(v, "%s compares points, and the gate %s may be measured in two ways, which each come to one value", name, g.Name)
		}
	}
	if g.Work {
		f.fault(n, "the gate %s is of the work, which is measured in one way: delete or", g.Name)
	}
	for _, way := range []struct {
		of   fields
		gate steps.Gate
	}{{f, *g}, {within, other}} {
		if len(way.gate.Points) > 1 && way.gate.Result.IsZero() {
			f.fault(way.of.node, "the gate %s may be measured in two ways, and each must come to one value: say what its points come to with result", g.Name)
		}
	}
	for _, p := range other.PointNames() {
		if lists.Contains(g.PointNames(), p) {
			f.fault(n, "a reading must tell in which way the gate %s was measured: give this way points of its own", g.Name)
			break
		}
	}
	within.placed(&other)
	within.resulting(&other)
	within.decidable(&other)
	g.Or.Result = other.Result
}

// reworkOne is one way of a rework.
func reworkOne() either[*steps.Rework] {
	type w = steps.Rework
	do := field(func(w *w) *string { return &w.Do }, textValue{prose})
	return either[*w]{one: do, short: func(w *w) bool { return len(w.Disturbs) == 0 && len(w.Again) == 0 && w.Joint == "" }, more: &mapping[*w]{what: "rework", keys: []key[*w]{
		{"do", required, do, "what to do", "Deepen a high spot."},
		{"disturbs", optional, field(func(w *w) *[]string { return &w.Disturbs }, namesValue{to: zone}),
			"the zones it disturbs; by default those the gate depends on", "[wing]"},
		{"again", optional, field(func(w *w) *[]string { return &w.Again }, namesValue{to: gate}),
			"the gates that are measured again beside this one, where the work touches nothing else of its zones", "# [clevis-turns]"},
		{"glue", optional, &mapping[*w]{what: "glue", check: regluedAt, keys: []key[*w]{
			{"joint", required, field(func(w *w) *string { return &w.Joint }, nameValue{joint}), "the joint, as it is called where it is joined", "halves"},
			{"with", required, field(func(w *w) *[]string { return &w.Adhesives }, oneOrMore{namesValue{to: adhesive}}), "what it is glued with; of a list, one is named", "contact"},
		}}, "the joint that it glues anew: nothing that depends on it is measured before that can be handled, and there is no release before it is cured", "{joint: halves, with: contact}"},
	}}}
}

// reworkAt is where a joint that a rework glues anew is named.
func reworkAt(joint string) string { return "the rework of joint " + joint }

func regluedAt(f fields, w *steps.Rework) {
	if n := f.get("joint"); n != nil {
		f.doc.places[reworkAt(w.Joint)] = f.at(n)
	}
}

// reworksValue is one way of a rework, or a list of them.
type reworksValue struct{}

func (reworksValue) read(r *reader, n *yaml.Node, what string, to *[]steps.Rework) {
	one := func(item *yaml.Node) {
		var w steps.Rework
		if reworkOne().read(r, item, what, &w); w.Do != "" {
			*to = append(*to, w)
		}
	}
	if n.Kind != yaml.SequenceNode {
		one(n)
		return
	}
	r.list(n, what, one)
}

func (reworksValue) write(from *[]steps.Rework) *yaml.Node {
	n := &yaml.Node{Kind: yaml.SequenceNode}
	for i := range *from {
		n.Content = append(n.Content, reworkOne().write(&(*from)[i]))
	}
	if len(n.Content) == 1 {
		return n.Content[0]
	}
	return unlessEmpty(n)
}

func (reworksValue) typ() *typ {
	one := reworkOne().typ()
	return &typ{is: anEither, of: append(slices.Clip(one.of), &typ{is: aList, of: []*typ{one}})}
}

func lifeKeys() *mapping[*steps.Validity] {
	type l = steps.Validity
	return &mapping[*l]{what: "life", check: lifeChecked, keys: []key[*l]{
		{"flights", optional, field(func(l *l) *int { return &l.Flights }, wholeValue{10_000}), "the number of flights", "20"},
		{"days", optional, field(func(l *l) *int { return &l.Days }, wholeValue{10_000}), "the number of days", "90"},
	}}
}

func lifeChecked(f fields, l *steps.Validity) {
	if !f.has("flights") && !f.has("days") {
		f.fault(f.node, "life must be a number of flights, or of days, or both")
	}
}

func equipmentKeys() *mapping[*steps.Equipment] {
	type e = steps.Equipment
	return &mapping[*e]{what: "equipment", keys: []key[*e]{
		{"title", required, field(func(e *e) *string { return &e.Title }, textValue{}),
			"what it is, in a few words", "The camera"},
		{"zone", optional, field(func(e *e) *string { return &e.Zone }, nameValue{zone}),
			"the zone that it is: damage there is damage of it, and fitting another one by its name takes it out of a quarantine", "nose"},
		{"disturbs", optional, field(func(e *e) *[]string { return &e.Disturbs }, namesValue{to: zone}),
			"the zones that fitting it disturbs", "[nose]"},
		{"optional", optional, field(func(e *e) *bool { return &e.Optional }, switchValue{}),
			"yes: the aircraft flies without it as well. What else was removed is fitted before a release", "yes"},
		{"aboard", optional, field(func(e *e) *[]steps.Setting { return &e.Aboard }, settingsValue{}),
			"how conditions stand while it is on the aircraft. A release wants them so, and a change of one disturbs the same zones", "# {propeller: on}"},
	}}
}

func gateChecked(f fields, g *steps.Gate) {
	g.Repeat = max(1, g.Repeat)
	if g.Name == steps.Stale {
		f.fault(f.node, "a gate cannot be called %q: measure steps use that word for every stale gate", g.Name)
	}
	f.governed(g.Where)
	f.limits(g)
	f.compared(g)
	f.placed(g)
	f.ofWork(g)
	f.resulting(g)
	f.decidable(g)
	f.otherWay(g)
	if g.Critical && g.Acceptance == steps.Plain {
		f.fault(f.get("acceptance"), "the gate %s is critical, and a critical gate is guarded: delete acceptance", g.Name)
	}
}

// ofWork finds what a gate of the work can't have.
func (f fields) ofWork(g *steps.Gate) {
	for _, name := range []string{"mass", "life", "equipment"} {
		if n := f.get(name); n != nil && g.Work {
			f.fault(n, "the gate %s is of the work, which is over once it is done: delete %s", g.Name, name)
		}
	}
}

// resulting finds results that can't be worked out.
func (f fields) resulting(g *steps.Gate) {
	n := f.get("result")
	if n == nil || g.Result.IsZero() {
		return
	}
	if a := f.get("alike"); a != nil {
		f.fault(a, "alike compares points, and the gate %s judges their result", g.Name)
	}
	if gauge, ok := f.doc.Sheet.Gauge(g.Gauge); ok {
		g.Result.Reads = gauge.Resolution
	}
	if f.lost("points") {
		return
	}
	if len(g.Points) == 0 {
		f.fault(n, "a result is worked out of points, and the gate %s has none", g.Name)
		return
	}
	known := true
	for _, p := range g.Result.Of {
		if !lists.Contains(g.Points, p) {
			known = false
			at := scalarOf(n, p)
			if at == nil && len(n.Content) > 1 {
				at = scalarKey(n.Content[1], p)
			}
			f.fault(at, "unknown point %q%s", p, suggest(p, g.Points))
		}
	}
	if fn, _ := measuring.FunctionOf(g.Result.Function); !known || len(g.Result.Of) < fn.Least {
		return // the mistake may be there
	}
	for _, p := range g.Points {
		if !lists.Contains(g.Result.Of, p) {
			f.fault(f.item("points", p), "the point %s is read and takes no part in the result", p)
		}
	}
	f.carrying(g, n)
}

// carrying finds scales beside which the limits lie: there the aircraft tips over, and no
// reading of them passes.
func (f fields) carrying(g *steps.Gate, at *yaml.Node) {
	all := g.Result.Stations
	if len(all) < 2 || f.kept || g.Limits.Dimension() != quantity.Length {
		return
	}
	first, last := all[0].At, all[len(all)-1].At
	for _, limit := range []quantity.Quantity{g.Limits.Low, g.Limits.High} {
		if !limit.IsZero() && less(first, last) && (less(limit, first) || less(last, limit)) {
			f.fault(at, "the limit %s of the gate %s lies outside the scales, which stand from %s to %s: there it would tip over; stand them on both sides of the limits", limit, g.Name, first, last)
			return
		}
	}
}

// scalarOf is the text within a node that is the name.
func scalarOf(n *yaml.Node, name string) *yaml.Node {
	if n.Kind == yaml.ScalarNode && n.Value == name {
		return n
	}
	for i, below := range n.Content {
		if n.Kind == yaml.MappingNode && i%2 == 0 {
			continue // a key
		}
		if found := scalarOf(below, name); found != nil {
			return found
		}
	}
	return nil
}

// limits finds gates without a limit, and limits that contradict each other.
func (f fields) limits(g *steps.Gate) {
	l := g.Limits
	switch between, least, most := f.has("between"), f.has("at_least"), f.has("at_most"); {
	case between && (least || most):
		f.fault(f.get("between"), "the gate %s has both between and at_least or at_most: keep one or the other", g.Name)
	case least && most && !l.Low.IsZero() && !l.High.IsZero() && l.Low.Cmp(l.High) >= 0:
		f.fault(f.get("at_most"), "the limits are the wrong way round: at least %s and at most %s", l.Low, l.High)
	case !between && !least && !most && !f.has("alike") && !f.meant:
		f.fault(f.node, "the gate %s has no limit: write between, at_least, at_most or alike", g.Name)
	}
}

// compared finds points that cannot be compared.
func (f fields) compared(g *steps.Gate) {
	if f.has("alike") && len(g.Points) < 2 && !f.lost("points") {
		f.fault(f.get("alike"), "alike compares points, but the gate %s has fewer than two", g.Name)
	}
	n := f.get("pairs")
	if n == nil {
		return
	}
	if !f.has("alike") {
		f.fault(n, "pairs need alike, which is missing")
	}
	for _, pair := range n.Content {
		if pair.Kind != yaml.SequenceNode || len(pair.Content) != 2 {
			continue // the pair's fault says it
		}
		for _, p := range pair.Content {
			if isName(p.Value) && !lists.Contains(g.Points, p.Value) {
				f.fault(p, "unknown point %q%s", p.Value, suggest(p.Value, g.Points))
			}
		}
		if pair.Content[0].Value == pair.Content[1].Value {
			f.fault(pair, "a point is compared with itself")
		}
	}
}

// decidable finds gates whose gauge measures something else, or is too coarse
// for the limits, so that no reading could ever be in tolerance.
func (f fields) decidable(g *steps.Gate) {
	gauge, ok := f.doc.Sheet.Gauge(g.Gauge)
	if !ok || gauge.Resolution.IsZero() || g.Limits.Dimension() == "" {
		return
	}
	at := f.get("gauge")
	reads := gauge.Resolution.Dimension()
	if fn, ok := measuring.FunctionOf(g.Result.Function); ok {
		if gives := fn.Gives(reads); gives != g.Limits.Dimension() {
			f.notOfResult(g, reads, gives)
			return
		}
	} else if reads != g.Limits.Dimension() {
		f.fault(at, "the gauge %s reads a %s, and the gate %s limits a %s", g.Gauge, reads, g.Name, g.Limits.Dimension())
		return
	}
	if f.kept {
		return
	}
	within, alike := g.Rule().Decidable(measuring.Doubts{Gauges: []measuring.Doubt{gauge.Doubt()}})
	if !within {
		f.fault(at, "the gauge %s is too coarse for the gate %s: no reading could be in tolerance beyond doubt", g.Gauge, g.Name)
	}
	if !alike {
		f.fault(at, "the gauge %s is too coarse for the gate %s: no two readings could be alike beyond doubt%s", g.Gauge, g.Name, unrepeated(gauge))
	}
}

// unrepeated says what helps a gauge of which nobody knows what would cancel.
func unrepeated(g steps.Gauge) string {
	if g.Repeatability.IsZero() {
		return "; its repeatability would say how much of its uncertainty cancels"
	}
	return ""
}

// notOfResult says that the limits are not of the result's kind.
func (f fields) notOfResult(g *steps.Gate, reads, gives quantity.Dimension) {
	if gives == "" {
		f.fault(f.get("result"), "the %s of a %s means nothing", g.Result.Function, reads)
		return
	}
	for _, name := range []string{"between", "at_least", "at_most"} {
		if n := f.get(name); n != nil {
			f.fault(n, "the %s of a %s is %s, and the gate %s limits %s", g.Result.Function, reads, articled(string(gives)), g.Name, articled(string(g.Limits.Dimension())))
			return
		}
	}
}

// ofValue is the zones of a gate, or the word work alone.
type ofValue struct{}

const work = "work"

func (ofValue) read(r *reader, n *yaml.Node, what string, to *steps.Gate) {
	if to.Work = n.Kind == yaml.ScalarNode && n.Value == work; !to.Work {
		if n.Kind == yaml.ScalarNode && !lists.Contains(r.doc.Sheet.Zones, n.Value) && nearest.Of(n.Value, []string{work}) != "" {
			r.fault(n, "unknown zone %q; did you mean %q?", n.Value, work)
			return
		}
		namesValue{to: zone}.read(r, n, what, &to.Of)
	}
}

func (ofValue) write(from *steps.Gate) *yaml.Node {
	if from.Work {
		return scalar(work)
	}
	return flow(from.Of)
}

func (ofValue) typ() *typ {
	return &typ{is: anEither, of: []*typ{namesValue{to: zone}.typ(), {is: aWord, words: []string{work}}}}
}

// resultKeys has a key for each function that a result may be.
func resultKeys() *mapping[*measuring.Result] {
	m := &mapping[*measuring.Result]{what: "result", one: true}
	for _, fn := range measuring.Functions() {
		k := key[*measuring.Result]{name: fn.Name, need: choice, is: functionOf{fn}}
		k.help, k.example = helpOf(fn.Name)
		m.keys = append(m.keys, k)
	}
	return m
}

// helpOf says what a function is, with an example.
func helpOf(function string) (help, example string) {
	switch function {
	case "difference":
		return "the first less the second", "[upper, lower]"
	case "mean":
		return "of all of them", "[left, middle, right]"
	case "sum":
		return "of all of them", "[left, right]"
	case "ratio":
		return "the first by the second, in %", "[left, right]"
	case "angle":
		return "of a rise over a run, in degrees", "{rise: [front, rear], run: 500 mm}"
	case measuring.Balance:
		return "where it balances, of what two or three scales read that carry all of it, each with its station aft, from the front backward; two may stand abreast. They count from where the limits do: the datum or, where `geometry` has `balance: {zero: …}`, from there", "{front: -20 mm, rear: 250 mm}"
	case measuring.Lateral:
		return "the same across it, with how far right of the centre line each scale stands, from left to right", "{left: -400 mm, right: 400 mm}"
	}
	return "", ""
}

// functionOf is what stands behind the key of a function.
type functionOf struct{ measuring.Function }

func (v functionOf) is() value[*measuring.Result] {
	type r = measuring.Result
	of := func(r *r) *[]string { return &r.Of }
	switch {
	case v.Stations:
		return field(func(r *r) *[]measuring.Station { return &r.Stations }, stationsValue{v.Function, named[measuring.Station]{
			one: "the scale", name: func(s *measuring.Station) *string { return &s.Point }, is: stationKeys()}})
	case !v.Run:
		return field(of, pointsValue{v.Function, namesValue{to: point}})
	}
	return &mapping[*r]{what: v.Name, keys: []key[*r]{
		{"rise", required, field(of, pointsValue{v.Function, namesValue{to: point}}), "a point, or the first less the second", "[front, rear]"},
		{"run", required, field(func(r *r) *quantity.Quantity { return &r.Run }, amountValue{quantity.Length, aboveZero}), "how far apart they are", "500 mm"},
	}}
}

func (v functionOf) read(r *reader, n *yaml.Node, what string, to *measuring.Result) {
	to.Function = v.Name
	v.is().read(r, n, what, to)
	for _, s := range to.Stations {
		to.Of = append(to.Of, s.Point)
	}
}

func (v functionOf) write(from *measuring.Result) *yaml.Node {
	if from.Function != v.Name {
		return nil
	}
	return v.is().write(from)
}

func (v functionOf) typ() *typ { return v.is().typ() }

// stationKeys are where a scale stands: its place alone, or with more.
func stationKeys() either[*measuring.Station] {
	type s = measuring.Station
	at := lengthOf(func(s *s) *quantity.Quantity { return &s.At }, unbounded)
	return either[*s]{one: at, short: func(s *s) bool { return s.Tare.IsZero() && s.Within.IsZero() }, more: &mapping[*s]{what: "a scale", keys: []key[*s]{
		{"at", required, at, "where it carries", "-20 mm"},
		{"tare", optional, field(func(s *s) *quantity.Quantity { return &s.Tare }, amountValue{quantity.Mass, fromZero}),
			"what it shows with nothing but the stand on it, if it was not set to zero", "12 g"},
		{"within", optional, field(func(s *s) *quantity.Quantity { return &s.Within }, amountValue{quantity.Length, fromZero}),
			"how closely it is put there: a part of the uncertainty. 1 mm by default (common practice, no source)", "0.5 mm"},
	}}}
}

// stationsValue is the scales of a function, as many as it takes and in their order.
type stationsValue struct {
	of measuring.Function
	named[measuring.Station]
}

func (v stationsValue) read(r *reader, n *yaml.Node, what string, to *[]measuring.Station) {
	v.named.read(r, n, what, to)
	if got := len(*to); got > 0 && (got < v.of.Least || got > v.of.Most) {
		r.fault(n, "%s is of %s, and %d are given", v.of.Name, v.of.Points(), got)
	}
	apart := false
	for i, s := range *to {
		if s.At.Dimension() == "" {
			return // the mistake is there
		}
		if i == 0 {
			continue
		}
		before := (*to)[i-1]
		apart = apart || less(before.At, s.At)
		if less(s.At, before.At) {
			r.fault(scalarKey(n, s.Point), "the scales are in the wrong order: %s stands at %s, and %s before it at %s. Write them from the front backward, or from left to right",
				s.Point, s.At, before.Point, before.At)
			return
		}
	}
	if len(*to) >= v.of.Least && !apart {
		r.fault(n, "the scales all stand at %s, where they carry the same wherever it balances: stand them apart", (*to)[0].At)
	}
}

// pointsValue is the points that a function is of, as many as it takes.
type pointsValue struct {
	of measuring.Function
	namesValue
}

func (v pointsValue) read(r *reader, n *yaml.Node, what string, to *[]string) {
	v.namesValue.read(r, n, what, to)
	if got := max(len(n.Content), len(*to)); got > 0 && (got < v.of.Least || v.of.Most > 0 && got > v.of.Most) {
		r.fault(n, "%s is of %s, and %d are given", v.of.Name, v.of.Points(), got)
	}
}
