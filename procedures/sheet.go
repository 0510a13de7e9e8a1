package procedures

import (
	"fmt"
	"math/big"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
	"fettle/steps/lists"
	"fettle/steps/quantity"
)

// mostVapour is the longest that vapour may hang: the journals of other airframes are read
// no further back than [workflow.CoatLength].
const mostVapour = 12 * time.Hour

// sheetKeys are the keys of a design sheet. The gauges and the drive come before the
// gates, whose checks and limits need them.
func sheetKeys() *mapping[*steps.Sheet] {
	s := new(steps.Sheet)
	return &mapping[*steps.Sheet]{what: "a design sheet", check: sheetChecked, keys: []key{
		{"design", required, field(s, &s.Name, &nameValue{}),
			"its name", "plover"},
		{"title", required, field(s, &s.Title, &textValue{}),
			"what it is, in a few words", "Plover, a 0.9 m park glider"},
		{"revision", required, field(s, &s.Revision, &wholeValue{mostRevision}),
			"raise it with every change", "1"},
		{"changes", optional, field(s, &s.Changes, &changesValue{}),
			changesHelp, changesExample},
		{"about", optional, field(s, &s.About, &textValue{prose}),
			"what to know about the design", "Two panels of foam on a carbon spar."},
		{"zones", required, field(s, &s.Zones, &namesValue{}),
			"the parts that work and damage disturb", "[nose, wing, tail]"},
		{"options", optional, field(s, &s.Options, &optionsValue{}),
			"what one airframe has and another has not: each with what it is, or `{title, why}`. A name with several of these below it " +
				"is a choice: an airframe has exactly one of them, and the build has a step with `choose` for it",
			"rudder: A moving rudder\nnose:\n  blunt-nose: A nose of soft foam\n  long-nose: {title: A long nose, why: It takes a camera.}"},
		{"conditions", optional, field(s, &s.Conditions, &named[steps.Condition]{
			one: "the condition", is: whole(conditionKeys())}),
			"lock-outs that steps set and require", "propeller: {title: The propeller, states: [off, on]}\nventilation: {title: A window open, states: [on, off], lasts: sitting}"},
		{"adhesives", optional, field(s, &s.Adhesives, &named[steps.Adhesive]{
			one: "the adhesive", is: whole(adhesiveKeys())}),
			"what joints are coated with", "contact"},
		{"tools", optional, field(s, &s.Tools, &named[steps.Tool]{
			one: "the tool", is: whole(toolKeys())}),
			"what steps are done with", "knife"},
		{"gauges", optional, field(s, &s.Gauges, &named[steps.Gauge]{
			one: "the gauge", is: whole(gaugeKeys())}),
			"what readings are taken with", "caliper"},
		{"power", optional, field(s, &s.Power, powerKeys()),
			"the drive and its battery", ""},
		{"gates", optional, field(s, &s.Gates, &named[steps.Gate]{
			one: "the gate", is: whole(gateKeys())}),
			"the measurements with limits", "spar-depth"},
		{"equipment", optional, field(s, &s.Equipment, &named[steps.Equipment]{
			one: "the equipment", is: whole(equipmentKeys())}),
			"what is fitted, moved and taken out again; needs a gate with `mass: yes`", "camera"},
		{"geometry", optional, field(s, &s.Geometry, geometryKeys()),
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
	c := new(steps.Condition)
	return &mapping[*steps.Condition]{what: "a condition", check: conditionChecked, keys: []key{
		{"title", required, field(c, &c.Title, &textValue{}),
			"what it is, in a few words", "The propeller"},
		{"states", required, field(c, &c.States, &namesValue{}),
			"the states it can be in, at least two", "[off, on]"},
		{"lasts", optional, field(c, &c.Sitting, &markValue{"sitting"}),
			"if it lapses with the visit to the bench in which it was set", "# sitting"},
		{"of", optional, field(c, &c.Bench, &markValue{"bench"}),
			"if it belongs to the bench and not to one airframe, as a hot iron does: what is said of it on any airframe counts for all whose sheet has it so, and lapses with the visit", "# bench"},
		{"guarded", optional, field(c, &c.Guarded, &nameValue{}),
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
	a := new(steps.Adhesive)
	q := quantity.Duration
	return &mapping[*steps.Adhesive]{what: "an adhesive", check: adhesiveChecked, keys: slices.Concat([]key{
		{"title", required, field(a, &a.Title, &textValue{}),
			"what it is, in a few words", "Solvent contact adhesive"},
		{"window", required, whole(&mapping[*steps.Adhesive]{what: "window", check: windowChecked, keys: []key{
			{"from", required, field(a, &a.From, &amountValue{q, fromZero}),
				"the earliest", "10 min"},
			{"to", required, field(a, &a.To, &amountValue{q, fromZero}),
				"the latest", "40 min"},
			{"at", required, field(a, &a.At, &amountValue{unit: quantity.Temperature}),
				"the temperature that both times are for", "20 °C"},
		}}), "when a joint can be joined, counted from spreading the coat", "{from: 10 min, to: 40 min, at: 20 °C}"},
		{"handling", required, field(a, &a.Handling, &amountValue{q, fromZero}),
			"after joining, until the joint may be handled, and measured", "30 min"},
		{"cure", required, field(a, &a.Cure, &amountValue{q, fromZero}),
			"after joining, until the joint carries load", "24 h"},
		{"works", required, whole(&mapping[*steps.Adhesive]{what: "works", check: worksChecked, keys: []key{
			{"between", required, whole(&rangeValue[*steps.Adhesive]{quantity.Temperature, func(a *steps.Adhesive) (low, high *quantity.Quantity) { return &a.Coldest, &a.Warmest }}),
				"the coldest and the warmest bench", "[10 °C, 35 °C]"},
			{"humidity", optional, whole(&rangeValue[*steps.Adhesive]{quantity.Ratio, func(a *steps.Adhesive) (low, high *quantity.Quantity) { return &a.Driest, &a.Dampest }}),
				"the driest and the dampest air", "[0 %, 80 %]"},
		}}), "the conditions it works in; outside them a coat is refused", "{between: [10 °C, 35 °C], humidity: [0 %, 80 %]}"},
		{"vapour", optional, field(a, &a.Vapour, &amountValue{q, fromZero}),
			"how long its vapour hangs after a coat was joined or has lapsed: so long its needs bind as they do while the coat is open; by default 30 min if the window does not open at once, else none", "30 min"},
		{"factor", optional, field(a, &a.Factor, &numberValue{1, 10}),
			"how many times faster it works for each 10 K warmer; 2 by default", "1.7"},
		{"mixed", optional, field(a, &a.Times.Mixed, &switchValue{}),
			"whether it has two parts; the end of the window is then counted from mixing", "no"},
	}, careKeys(a, &a.Care,
		", and while a coat of it is open: until that is joined or has lapsed, and its vapour is gone, no other step may set or need them otherwise",
		"Flammable vapour; keep flames away.", "{ventilation: on}", "[Gloves are on, No flame and no hot iron is in the room]"), []key{
		{"source", optional, field(a, &a.Source, &textValue{}),
			"where its times come from", "common practice, no source"},
	})}
}

// careKeys are the keys of what an adhesive or a tool asks.
func careKeys[P any](example P, care *steps.Care, until, caution, needs, hold string) []key {
	return []key{
		{"caution", optional, field(example, &care.Caution, &textValue{prose}),
			"what can hurt; shown in full before the first step of a sitting that uses it, then its first line", caution},
		{"needs", optional, field(example, &care.Needs, &settingsValue{}),
			"the conditions that must hold at every step that uses it" + until, needs},
		{"hold", optional, field(example, &care.Hold, &textsValue{}),
			"what must be confirmed, line by line, before it is used for the first time in a sitting", hold},
	}
}

func toolKeys() *mapping[*steps.Tool] {
	t := new(steps.Tool)
	return &mapping[*steps.Tool]{what: "a tool", check: toolChecked, keys: slices.Concat([]key{
		{"title", required, field(t, &t.Title, &textValue{}),
			"what it is, in a few words", "Knife with a new blade"},
	}, careKeys(t, &t.Care,
		"", "Keep the holding hand behind the blade.", "# {ventilation: on}", "The old blade lies in a closed tin."), []key{
		{"measure", optional, field(t, &t.Measure, &namesValue{to: gate}),
			"the gates of the work that must have passed in the sitting, since the tool's needs have stood without a break; not asked of a step that sets a condition which the tool needs", "# [iron-temperature]"},
		{"count", optional, field(t, &t.Count, &wholeValue{mostReadings}),
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
	t.Per10K = a.Factor
}

// less reports whether both are set and a is less than b.
func less(a, b quantity.Quantity) bool {
	return !a.IsZero() && !b.IsZero() && a.Cmp(b) < 0
}

func gaugeKeys() *mapping[*steps.Gauge] {
	g := new(steps.Gauge)
	return &mapping[*steps.Gauge]{what: "a gauge", check: gaugeChecked, keys: []key{
		{"title", required, field(g, &g.Title, &textValue{}),
			"what it is, in a few words", "Caliper"},
		{"resolution", required, field(g, &g.Resolution, &amountValue{least: aboveZero}),
			"the smallest step it shows; a finer reading than half of it is refused", "0.01 mm"},
		{"uncertainty", optional, whole(&amountLike[*steps.Gauge]{of: func(g *steps.Gauge) *quantity.Quantity { return &g.Uncertainty }, least: fromZero,
			like: func(g *steps.Gauge) quantity.Dimension { return g.Resolution.Dimension() }}),
			"expanded (k=2), as used on foam; by default, from the resolution alone", "0.3 mm"},
		{"repeatability", optional, whole(&amountLike[*steps.Gauge]{of: func(g *steps.Gauge) *quantity.Quantity { return &g.Repeatability }, least: aboveZero,
			like: func(g *steps.Gauge) quantity.Dimension { return g.Resolution.Dimension() }}),
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

func equipmentKeys() *mapping[*steps.Equipment] {
	e := new(steps.Equipment)
	return &mapping[*steps.Equipment]{what: "equipment", keys: []key{
		{"title", required, field(e, &e.Title, &textValue{}),
			"what it is, in a few words", "The camera"},
		{"zone", optional, field(e, &e.Zone, &nameValue{zone}),
			"the zone that it is: damage there is damage of it, and fitting another one by its name takes it out of a quarantine", "nose"},
		{"disturbs", optional, field(e, &e.Disturbs, &namesValue{to: zone}),
			"the zones that fitting it disturbs", "[nose]"},
		{"optional", optional, field(e, &e.Optional, &switchValue{}),
			"yes: the aircraft flies without it as well. What else was removed is fitted before a release", "yes"},
		{"aboard", optional, field(e, &e.Aboard, &settingsValue{}),
			"how conditions stand while it is on the aircraft. A release wants them so, and a change of one disturbs the same zones", "# {propeller: on}"},
	}}
}
