package procedures

import (
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/nearest"
	"fettle/steps/quantity"
)

// mostReadings is the most readings that one point may ask for.
const mostReadings = 20

func gateKeys() *mapping[*steps.Gate] {
	g := new(steps.Gate)
	return &mapping[*steps.Gate]{what: "a gate", check: gateChecked, keys: []key{
		{"title", required, field(g, &g.Title, &textValue{}),
			"what is measured, in a few words", "Depth of the spar slot"},
		{"how", optional, field(g, &g.How, &textValue{prose}),
			"how it is measured", "Put the tail of the caliper on the floor of the slot."},
		{"rework", optional, field(g, &g.Reworks, &reworksValue{}),
			"what to do when it is out of tolerance: a text; or a text with what it disturbs and glues; or a list of such, of which one is taken", "Deepen a high spot with the sanding stick."},
		{"points", optional, field(g, &g.Points, &namesValue{}),
			"where it is measured; by default one point without a name", "[left, right]"},
		{"at", optional, field(g, &g.At, &pointsAtValue{}),
			"where its points lie on the plan, x and y as in `geometry`: each by its name, or the place alone if they have no names; of a thread both ends, first where it is held: `{left: [[0 mm, 0 mm], [60 mm, -200 mm]]}`", "{left: [60 mm, -200 mm], right: [60 mm, 200 mm]}"},
		{"readings", optional, field(g, &g.Repeat, &wholeValue{mostReadings}),
			"how many readings at each point, 1 by default; their mean is judged", "3"},
		{"between", optional, whole(&writtenLimits{rangeValue[*steps.Gate]{"", func(g *steps.Gate) (low, high *quantity.Quantity) { return &g.Limits.Low, &g.Limits.High }}}),
			"the lower and the upper limit, or `4 mm ± 0.5 mm`, `107 °C +8 -7 °C`", "[3.5 mm, 4.5 mm]"},
		{"at_least", optional, whole(&limitValue{amountLike[*steps.Gate]{of: func(g *steps.Gate) *quantity.Quantity { return &g.Limits.Low },
			like: func(*steps.Gate) quantity.Dimension { return "" }}, func(g *steps.Gate) *[]steps.Share { return &g.Least }, 1}),
			"the lower limit; with `at_most` in place of `between`, or alone. " + shareHelp + "the greatest counts", "# 3.5 mm"},
		{"at_most", optional, whole(&limitValue{amountLike[*steps.Gate]{of: func(g *steps.Gate) *quantity.Quantity { return &g.Limits.High },
			like: func(g *steps.Gate) quantity.Dimension { return g.Limits.Low.Dimension() }}, func(g *steps.Gate) *[]steps.Share { return &g.Most }, -1}),
			"the upper limit; with `at_least` in place of `between`, or alone. " + shareHelp + "the least counts", "# 4.5 mm"},
		{"alike", optional, whole(&amountLike[*steps.Gate]{of: func(g *steps.Gate) *quantity.Quantity { return &g.Limits.Alike }, least: fromZero,
			like: func(g *steps.Gate) quantity.Dimension { return g.Limits.Dimension() }}),
			"the most that points may differ by; can be the only limit", "1 mm"},
		{"pairs", optional, field(g, &g.Pairs, &pairsValue{}),
			"the points that `alike` compares; all of them by default", "[[left, right]]"},
		{"result", optional, field(g, &g.Result, resultKeys()),
			"a function of the points that is judged instead of them", "# {difference: [left, right]}"},
		{"acceptance", optional, field(g, &g.Acceptance, &wordValue{known: []string{steps.Guarded, steps.Plain}}),
			"`guarded`, the default: the uncertainty is taken off the limits (ISO 14253-1); `plain`: what lies within them passes, with the risk of whoever wrote them, and never at a critical gate", "guarded"},
		{"gauge", required, field(g, &g.Gauge, &nameValue{gauge}),
			"what it is measured with", "caliper"},
		{"finer", optional, field(g, &g.Finer, &namesValue{to: gauge}),
			"finer gauges that can measure it too: offered where it stays undecided", "# [feelers]"},
		{"or", optional, field(g, &g.Or, wayKeys()),
			"another way of measuring it, at points of its own, against the same limits: either will do. Each way comes to one value", "# {points: [front, rear], result: …, gauge: scale}"},
		{"of", required, whole(&ofValue{}),
			"the zones it depends on; `work` for a gate of the work, measured only where a step needs it", "[wing]"},
		{"equipment", optional, field(g, &g.Equipment, &namesValue{to: equipment}),
			"the equipment that it is measured with: another one makes it stale, and moving it does not", "# [camera]"},
		{"needs", optional, field(g, &g.Needs, &settingsValue{}),
			"the conditions that must stand when it is read", "{propeller: off}"},
		{"critical", optional, field(g, &g.Critical, &switchValue{}),
			"no concession can waive it, and there is no release without it", "yes"},
		{"mass", optional, field(g, &g.Mass, &switchValue{}),
			"any change of equipment makes it stale: balance, mass", "yes"},
		{"life", optional, field(g, &g.Validity, lifeKeys()),
			"how long a reading counts; by default until its zones are disturbed", "{flights: 20, days: 90}"},
		{"source", optional, field(g, &g.Source, &textValue{}),
			"where its limits come from", "common practice, no source"},
		{"with", optional, field(g, &g.Where, &whereValue{}),
			"only on an airframe with any of these options", "# rudder"},
		{"without", optional, field(g, &g.Where, &whereValue{not: true}),
			"only on an airframe with none of these options", "# rudder"},
	}}
}

// wayKeys are those of the keys of a gate that say how it is measured.
func wayKeys() *mapping[*steps.Way] {
	w := new(steps.Way)
	return &mapping[*steps.Way]{what: "or", keys: []key{
		{"how", optional, field(w, &w.How, &textValue{prose}),
			"how it is measured so", "Lay it on two scales."},
		{"points", optional, field(w, &w.Points, &namesValue{}),
			"where it is measured; names that the gate's own points do not have", "[front, rear]"},
		{"at", optional, field(w, &w.At, &pointsAtValue{}),
			"where its points lie on the plan, as in the gate", "{front: [-20 mm, 0 mm], rear: [250 mm, 0 mm]}"},
		{"readings", optional, field(w, &w.Repeat, &wholeValue{mostReadings}),
			"how many readings at each point, 1 by default", "1"},
		{"result", optional, field(w, &w.Result, resultKeys()),
			"a function of the points", "# {balance: {front: -20 mm, rear: 250 mm}}"},
		{"gauge", required, field(w, &w.Gauge, &nameValue{gauge}),
			"what it is measured with", "scale"},
		{"finer", optional, field(w, &w.Finer, &namesValue{to: gauge}),
			"finer gauges for it", "# [fine-scale]"},
	}}
}

// otherWay finds what is wrong with another way of measuring a gate. Where each way
// comes to one value, one says nothing that the other does not.
func (f fields) otherWay(g *steps.Gate) {
	n := f.get("or")
	if n == nil || f.lost("or") || n.Kind != mappingNode {
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
func reworkOne() *either[*steps.Rework] {
	w := new(steps.Rework)
	do := field(w, &w.Do, &textValue{prose})
	return &either[*steps.Rework]{one: do, short: func(w *steps.Rework) bool { return len(w.Disturbs) == 0 && len(w.Again) == 0 && w.Joint == "" }, more: whole(&mapping[*steps.Rework]{what: "rework", keys: []key{
		{"do", required, do, "what to do", "Deepen a high spot."},
		{"disturbs", optional, field(w, &w.Disturbs, &namesValue{to: zone}),
			"the zones it disturbs; by default those the gate depends on", "[wing]"},
		{"again", optional, field(w, &w.Again, &namesValue{to: gate}),
			"the gates that are measured again beside this one, where the work touches nothing else of its zones", "# [clevis-turns]"},
		{"glue", optional, whole(&mapping[*steps.Rework]{what: "glue", check: regluedAt, keys: []key{
			{"joint", required, field(w, &w.Joint, &nameValue{joint}), "the joint, as it is called where it is joined", "halves"},
			{"with", required, field(w, &w.Adhesives, &oneOrMore{namesValue{to: adhesive}}), "what it is glued with; of a list, one is named", "contact"},
		}}), "the joint that it glues anew: nothing that depends on it is measured before that can be handled, and there is no release before it is cured", "{joint: halves, with: contact}"},
	}})}
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

func (*reworksValue) read(r *reader, n *node, what string, to *[]steps.Rework) {
	one := func(item *node) {
		var w steps.Rework
		if reworkOne().read(r, item, what, &w); w.Do != "" {
			*to = append(*to, w)
		}
	}
	if n.Kind != listNode {
		one(n)
		return
	}
	r.list(n, what, one)
}

func (*reworksValue) write(from *[]steps.Rework) *node {
	n := &node{Kind: listNode}
	for i := range *from {
		n.Content = append(n.Content, reworkOne().write(&(*from)[i]))
	}
	if len(n.Content) == 1 {
		return n.Content[0]
	}
	return unlessEmpty(n)
}

func (*reworksValue) typ() *typ {
	one := reworkOne().typ()
	return &typ{is: anEither, of: append(slices.Clip(one.of), &typ{is: aList, of: []*typ{one}})}
}

func lifeKeys() *mapping[*steps.Validity] {
	l := new(steps.Validity)
	return &mapping[*steps.Validity]{what: "life", check: lifeChecked, keys: []key{
		{"flights", optional, field(l, &l.Flights, &wholeValue{10_000}), "the number of flights", "20"},
		{"days", optional, field(l, &l.Days, &wholeValue{10_000}), "the number of days", "90"},
	}}
}

func lifeChecked(f fields, l *steps.Validity) {
	if !f.has("flights") && !f.has("days") {
		f.fault(f.node, "life must be a number of flights, or of days, or both")
	}
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
		if pair.Kind != listNode || len(pair.Content) != 2 {
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

func (*ofValue) read(r *reader, n *node, what string, to *steps.Gate) {
	if to.Work = n.Kind == textNode && n.Value == work; !to.Work {
		if n.Kind == textNode && !lists.Contains(r.doc.Sheet.Zones, n.Value) && nearest.Of(n.Value, []string{work}) != "" {
			r.fault(n, "unknown zone %q; did you mean %q?", n.Value, work)
			return
		}
		(&namesValue{to: zone}).read(r, n, what, &to.Of)
	}
}

func (*ofValue) write(from *steps.Gate) *node {
	if from.Work {
		return scalar(work)
	}
	return flow(from.Of)
}

func (*ofValue) typ() *typ {
	return &typ{is: anEither, of: []*typ{(&namesValue{to: zone}).typ(), {is: aWord, words: []string{work}}}}
}
