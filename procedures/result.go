package procedures

import (
	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

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
func (f fields) carrying(g *steps.Gate, at *node) {
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
func scalarOf(n *node, name string) *node {
	if n.Kind == textNode && n.Value == name {
		return n
	}
	for i, below := range n.Content {
		if n.Kind == mappingNode && i%2 == 0 {
			continue // a key
		}
		if found := scalarOf(below, name); found != nil {
			return found
		}
	}
	return nil
}

// resultKeys has a key for each function that a result may be.
func resultKeys() *mapping[*measuring.Result] {
	m := &mapping[*measuring.Result]{what: "result", one: true}
	for _, fn := range measuring.Functions() {
		k := key{name: fn.Name, need: choice, is: whole(&functionOf{fn})}
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

func (v *functionOf) is() part {
	r := new(measuring.Result)
	of := &r.Of
	switch {
	case v.Stations:
		return field(r, &r.Stations, &stationsValue{v.Function, named[measuring.Station]{
			one: "the scale", is: whole(stationKeys())}})
	case !v.Run:
		return field(r, of, &pointsValue{v.Function, namesValue{to: point}})
	}
	return whole(&mapping[*measuring.Result]{what: v.Name, keys: []key{
		{"rise", required, field(r, of, &pointsValue{v.Function, namesValue{to: point}}), "a point, or the first less the second", "[front, rear]"},
		{"run", required, field(r, &r.Run, &amountValue{quantity.Length, aboveZero}), "how far apart they are", "500 mm"},
	}})
}

func (v *functionOf) read(r *reader, n *node, what string, to *measuring.Result) {
	to.Function = v.Name
	v.is().read(r, n, what, to)
	for _, s := range to.Stations {
		to.Of = append(to.Of, s.Point)
	}
}

func (v *functionOf) write(from *measuring.Result) *node {
	if from.Function != v.Name {
		return nil
	}
	return v.is().write(from)
}

func (v *functionOf) typ() *typ { return v.is().typ() }

// stationKeys are where a scale stands: its place alone, or with more.
func stationKeys() *either[*measuring.Station] {
	s := new(measuring.Station)
	at := lengthOf(s, &s.At, unbounded)
	return &either[*measuring.Station]{one: at, short: func(s *measuring.Station) bool { return s.Tare.IsZero() && s.Within.IsZero() }, more: whole(&mapping[*measuring.Station]{what: "a scale", keys: []key{
		{"at", required, at, "where it carries", "-20 mm"},
		{"tare", optional, field(s, &s.Tare, &amountValue{quantity.Mass, fromZero}),
			"what it shows with nothing but the stand on it, if it was not set to zero", "12 g"},
		{"within", optional, field(s, &s.Within, &amountValue{quantity.Length, fromZero}),
			"how closely it is put there: a part of the uncertainty. 1 mm by default (common practice, no source)", "0.5 mm"},
	}})}
}

// stationsValue is the scales of a function, as many as it takes and in their order.
type stationsValue struct {
	of measuring.Function
	named[measuring.Station]
}

func (v *stationsValue) read(r *reader, n *node, what string, to *[]measuring.Station) {
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

func (v *pointsValue) read(r *reader, n *node, what string, to *[]string) {
	v.namesValue.read(r, n, what, to)
	if got := max(len(n.Content), len(*to)); got > 0 && (got < v.of.Least || v.of.Most > 0 && got > v.of.Most) {
		r.fault(n, "%s is of %s, and %d are given", v.of.Name, v.of.Points(), got)
	}
}
