package procedures

import (
	"math"
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// geometryKeys are where everything lies on the airframe, and what it weighs.
func geometryKeys() *mapping[*steps.Geometry] {
	g := new(steps.Geometry)
	return &mapping[*steps.Geometry]{what: "geometry", check: geometryChecked, keys: []key{
		{"datum", required, field(g, &g.Datum, &textValue{prose}),
			"what lies at x = 0. All stations `x` count aft from it and are negative ahead of it; `y` counts to the right of the centre line, seen from behind, and `z` up; " +
				"what has no `y` lies on the centre line, or alike on both sides", "the leading edge of the wing at the root"},
		{"source", optional, field(g, &g.Source, &textValue{prose}),
			"where its figures come from", "the design's own"},
		{"surfaces", required, field(g, &g.Surfaces, &named[steps.Surface]{
			one: "the surface", is: whole(surfaceKeys())}),
			"the wing, the tail and the fins", "main-wing"},
		{"bodies", optional, field(g, &g.Bodies, &named[steps.Body]{
			one: "the body", is: whole(bodyKeys())}),
			"the outlines in plan of the other zones: pod, booms, battery", "pod"},
		{"controls", optional, field(g, &g.Controls, &named[steps.Control]{
			one: "the control", is: whole(controlKeys())}),
			"the control surfaces", "# elevator"},
		{"parts", optional, field(g, &g.Parts, &named[steps.Component]{
			one: "the part", is: whole(componentKeys())}),
			"the parts table: all that is weighed, of which the balance is computed", "camera"},
		{"battery", optional, field(g, &g.Battery, travelKeys()),
			"how far the battery can be moved to find the balance", "# {part: pack, from: -200 mm, to: -100 mm, length: 90 mm}"},
		{"propeller", optional, field(g, &g.Propeller, propellerKeys()),
			"where the propeller turns, and its size", "# {x: -210 mm, diameter: 8 in, pitch: 5 in}"},
		{"balance", optional, field(g, &g.Balance, &mapping[*steps.BalanceAt]{what: "balance", check: balanceAtChecked, keys: []key{
			{"gate", required, field(&g.Balance, &g.Balance.Gate, &nameValue{gate}),
				"the gate that limits the balance point along the airframe, with `mass: yes`", "spar-depth"},
			{"zero", optional, field(&g.Balance, &g.Balance.Zero, &amountValue{unit: quantity.Length}),
				"the station from which its limits and readings count, and the stations of its scales, if that is not the datum", "18 mm"},
		}}), "the gate of the balance point", "# {gate: balance}"},
		{"neutral", optional, field(g, &g.Neutral, &mapping[*steps.BodyEffect]{what: "neutral", keys: []key{
			{"body", required, field(&g.Neutral, &g.Neutral.Body, &amountValue{unit: quantity.Ratio}),
				"how far body and propeller shift it forward, in % MAC", "3 %"},
			{"source", optional, field(&g.Neutral, &g.Neutral.Source, &textValue{prose}),
				"where that comes from", "common practice, no source"},
		}}), "what the estimate of the neutral point, made from the surfaces alone, lacks", "{body: 3 %, source: 'common practice, no source'}"},
		{"lift", optional, field(g, &g.Lift, &mapping[*steps.LargestLift]{what: "lift", check: liftChecked, keys: []key{
			{"most", required, field(&g.Lift, &g.Lift.Most, &numberValue{0, 5}),
				"the lift coefficient of the whole aircraft at the stall", "0.8"},
			{"source", optional, field(&g.Lift, &g.Lift.Source, &textValue{prose}),
				"where that comes from", "common practice, no source"},
			{"assumed", optional, field(&g.Lift, &g.Lift.Assumed, &switchValue{}),
				"true if nobody measured it: the flight card marks what rests on it", "true"},
		}}), "what the stalling speed rests on", "{most: 0.8, source: 'common practice, no source'}"},
		{"launch", optional, field(g, &g.Launch, &wordValue{known: []string{steps.ByHand, steps.ByBungee, steps.OnWheels}}),
			"how it comes into the air: of one that is thrown, the flight card says how much wind its launch wants", "hand"},
	}}
}

// lengthOf is a length of any sign, or one that its bound allows.
//
//go:noinline
func lengthOf[P any](example P, at *quantity.Quantity, least bound) part {
	return field(example, at, &amountValue{quantity.Length, least})
}

// onlyKeys are the keys of what only some airframes have.
func onlyKeys[P any](example P, at *steps.Where) []key {
	return []key{
		{"with", optional, field(example, at, &whereValue{}), "only on an airframe with any of these options", "# rudder"},
		{"without", optional, field(example, at, &whereValue{not: true}), "only on an airframe with none of these options", "# rudder"},
	}
}

func surfaceKeys() *mapping[*steps.Surface] {
	s := new(steps.Surface)
	return &mapping[*steps.Surface]{what: "a surface", check: surfaceChecked, keys: slices.Concat([]key{
		{"is", required, field(s, &s.Is, &wordValue{known: []string{steps.Wing, steps.Tailplane, steps.Fin}}),
			"what it is. The panels of a fin stand upright; a V-tail is a tailplane with dihedral", "wing"},
		{"zone", required, field(s, &s.Zone, &nameValue{zone}),
			"the zone that it is", "wing"},
		{"x", required, lengthOf(s, &s.X, unbounded),
			"the station of its leading edge at the root", "0 mm"},
		{"y", optional, lengthOf(s, &s.Y, fromZero),
			"how far to the right its root lies. It has a mirror image on the left, but for a fin on the centre line", "0 mm"},
		{"z", optional, lengthOf(s, &s.Z, unbounded),
			"the height of its root", "40 mm"},
		{"panels", required, field(s, &s.Panels, &list[steps.Panel]{is: panelKeys(), keep: func(*steps.Panel) bool { return true }}),
			"its right half from the root outward, or upward", ""},
	}, onlyKeys(s, &s.Where))}
}

func panelKeys() *mapping[*steps.Panel] {
	p := new(steps.Panel)
	return &mapping[*steps.Panel]{what: "a panel", check: panelChecked, keys: []key{
		{"root", required, lengthOf(p, &p.Root, fromZero),
			"the chord at its inner end", "180 mm"},
		{"tip", required, lengthOf(p, &p.Tip, fromZero),
			"the chord at its outer end", "140 mm"},
		{"span", required, lengthOf(p, &p.Span, aboveZero),
			"its length, measured along the panel", "450 mm"},
		{"sweep", optional, field(p, &p.Sweep, &amountValue{}),
			"how far its leading edge lies further aft at the outer end, or the angle of that; 0 by default", "20 mm"},
		{"dihedral", optional, field(p, &p.Dihedral, &amountValue{unit: quantity.Angle}),
			"the angle at which it rises; 0 by default", "3°"},
	}}
}

func bodyKeys() *mapping[*steps.Body] {
	b := new(steps.Body)
	return &mapping[*steps.Body]{what: "a body", one: true, keys: slices.Concat([]key{
		{"zone", required, field(b, &b.Zone, &nameValue{zone}),
			"the zone that it is", "nose"},
		{"box", choice, whole(&mapping[*steps.Body]{what: "box", keys: []key{
			{"x", required, whole(&rangeValue[*steps.Body]{quantity.Length, func(b *steps.Body) (low, high *quantity.Quantity) { return &b.Front, &b.Rear }}),
				"from its front to its rear end", "[-200 mm, 150 mm]"},
			{"y", required, whole(&rangeValue[*steps.Body]{quantity.Length, func(b *steps.Body) (low, high *quantity.Quantity) { return &b.Left, &b.Right }}),
				"from its left to its right flank", "0 mm ± 30 mm"},
		}}), "a rectangle", "{x: [-200 mm, 150 mm], y: 0 mm ± 30 mm}"},
		{"outline", choice, field(b, &b.Outline, &outlineValue{}),
			"the corners of a polygon, in order", "# [[-200 mm, 0 mm], [150 mm, 30 mm], [150 mm, -30 mm]]"},
	}, onlyKeys(b, &b.Where))}
}

func controlKeys() *mapping[*steps.Control] {
	c := new(steps.Control)
	return &mapping[*steps.Control]{what: "a control", check: controlChecked, keys: slices.Concat([]key{
		{"title", required, field(c, &c.Title, &textValue{}),
			"what it is, in a few words", "The elevator"},
		{"surface", required, field(c, &c.Surface, &nameValue{}),
			"the surface that it is a part of", "main-wing"},
		{"chord", required, lengthOf(c, &c.Chord, aboveZero),
			"from its hinge to its edge, where the throw is measured", "38 mm"},
		{"span", optional, whole(&rangeValue[*steps.Control]{quantity.Length, func(c *steps.Control) (low, high *quantity.Quantity) { return &c.Inner, &c.Outer }}),
			"from its inner to its outer end, out from the root of the surface's centre line, or up from the root of a fin", "[20 mm, 200 mm]"},
		{"horn", optional, lengthOf(c, &c.Horn, aboveZero),
			"from the hinge line to the hole of the horn in which the clevis sits", "12 mm"},
		{"thread", optional, lengthOf(c, &c.Thread, aboveZero),
			"the pitch of the clevis's thread: how far one turn moves it", "0.4 mm"},
		{"gates", optional, field(c, &c.Gates, &namesValue{to: gate}),
			"the gates that measure its throw", "# [elevator-throw]"},
		{"clevis", optional, whole(&mapping[*steps.Control]{what: "clevis", check: clevisChecked, keys: []key{
			{"gate", required, field(c, &c.Clevis.Gate, &nameValue{gate}),
				"the gate that counts the turns of thread in it", "clevis-turns"},
			{"points", optional, field(c, &c.Clevis.Points, &namesValue{}),
				"the point of that gate at its clevis; of one on each side, the left and the right", "[elevator]"},
		}}), "where the thread in its clevis is counted, so that no trim asks for more turns than there are", "# {gate: clevis-turns, points: [elevator]}"},
	}, onlyKeys(c, &c.Where))}
}

func componentKeys() *mapping[*steps.Component] {
	c := new(steps.Component)
	return &mapping[*steps.Component]{what: "a part", check: func(f fields, c *steps.Component) { f.governed(c.Where) }, keys: slices.Concat([]key{
		{"title", required, field(c, &c.Title, &textValue{}),
			"what it is, in a few words", "The camera"},
		{"mass", required, field(c, &c.Mass, &amountValue{quantity.Mass, aboveZero}),
			"what it weighs, with its mirror image where it has one", "42 g"},
		{"x", required, lengthOf(c, &c.X, unbounded),
			"the station of its middle", "-180 mm"},
		{"y", optional, lengthOf(c, &c.Y, unbounded),
			"how far to the right its middle lies; negative on the left", "0 mm"},
		{"z", optional, lengthOf(c, &c.Z, unbounded),
			"the height of its middle", "10 mm"},
		{"equipment", optional, field(c, &c.Equipment, &nameValue{equipment}),
			"the equipment that it is: it counts while that is aboard, where that is", "camera"},
	}, onlyKeys(c, &c.Where))}
}

func travelKeys() *mapping[*steps.Travel] {
	t := new(steps.Travel)
	return &mapping[*steps.Travel]{what: "battery", check: travelChecked, keys: []key{
		{"part", required, field(t, &t.Part, &nameValue{}),
			"the battery in the parts table", "pack"},
		{"from", required, lengthOf(t, &t.From, unbounded),
			"the station of its middle, as far forward as it goes", "-200 mm"},
		{"to", required, lengthOf(t, &t.To, unbounded),
			"the station of its middle, as far aft as it goes", "-100 mm"},
		{"length", required, lengthOf(t, &t.Length, aboveZero),
			"how long it is", "90 mm"},
	}}
}

func propellerKeys() *mapping[*steps.Propeller] {
	p := new(steps.Propeller)
	return &mapping[*steps.Propeller]{what: "propeller", keys: []key{
		{"x", required, lengthOf(p, &p.X, unbounded),
			"the station of its disc", "-210 mm"},
		{"y", optional, lengthOf(p, &p.Y, fromZero),
			"how far to the right its shaft lies; another one turns opposite", "# 150 mm"},
		{"z", optional, lengthOf(p, &p.Z, unbounded),
			"the height of its shaft", "15 mm"},
		{"diameter", required, lengthOf(p, &p.Diameter, aboveZero),
			"its diameter", "8 in"},
		{"pitch", optional, lengthOf(p, &p.Pitch, aboveZero),
			"its pitch", "5 in"},
	}}
}

// powerKeys are what the sheet says of the drive.
func powerKeys() *mapping[*steps.Drive] {
	p := new(steps.Drive)
	current := func(at *quantity.Quantity) part {
		return field(&p.Limits, at, &amountValue{quantity.Current, aboveZero})
	}
	return &mapping[*steps.Drive]{what: "power", check: driveChecked, keys: []key{
		{"cells", required, field(p, &p.Cells, &wholeValue{50}),
			"the cells of the battery in series", "3"},
		{"capacity", optional, field(p, &p.Capacity, &amountValue{quantity.Charge, aboveZero}),
			"the rated capacity of the battery", "1000 mAh"},
		{"nominal", optional, field(p, &p.Nominal, &amountValue{quantity.Voltage, aboveZero}),
			"the nominal voltage of a cell, by its label", "3.7 V"},
		{"limits", optional, field(p, &p.Limits, &mapping[*steps.Currents]{what: "limits", keys: []key{
			{"battery", optional, whole(&ratedValue{}), "the battery, as a current or as its label has it: `25 C` is 25 times its capacity in an hour", "25 A"},
			{"connectors", optional, current(&p.Limits.Connectors), "its connectors", "30 A"},
			{"controller", optional, current(&p.Limits.Controller), "the speed controller", "20 A"},
			{"motor", optional, current(&p.Limits.Motor), "the motor", "15 A"},
			{"supply", optional, current(&p.Limits.Supply), "the supply of receiver and servos", "3 A"},
		}}), "the most current that each carries for long, by its label", "{battery: 25 A, controller: 20 A, motor: 15 A}"},
		{"full", optional, field(p, &p.Full, &amountValue{quantity.Current, aboveZero}),
			"the current at full throttle", "12 A"},
		{"cruise", optional, field(p, &p.Cruise, &amountValue{quantity.Current, aboveZero}),
			"the current in level flight", "4 A"},
		{"thrust", optional, field(p, &p.Thrust, &amountValue{quantity.Force, aboveZero}),
			"the thrust at full throttle, standing still", "400 gf"},
		{"reserve", optional, field(p, &p.Reserve, &amountValue{quantity.Ratio, fromZero}),
			"how much of the capacity is left at the landing", "25 %"},
		{"brownout", optional, field(p, &p.Brownout, &amountValue{quantity.Voltage, aboveZero}),
			"the voltage below which the receiver stops, by its maker", "3.5 V"},
		{"source", optional, field(p, &p.Source, &textValue{prose}),
			"where its figures come from", "the labels of the parts"},
		{"gate", optional, field(p, &p.Gate, &nameValue{gate}),
			"the gate that measures the current at full throttle: on the flight card what was measured comes before `full`", "# full-current"},
		{"loaded", optional, field(p, &p.Loaded, &nameValue{gate}),
			"the gate that measures the voltage of the battery at full throttle", "# full-voltage"},
		{"assumed", optional, field(p, &p.Assumed, &wordsValue{[]string{steps.FullCurrent, steps.CruiseCurrent, steps.StaticThrust}}),
			"those of its figures that no label gives and nobody measured: the flight card marks what rests on them", "[cruise, thrust]"},
	}}
}

// measuring holds that the gates of the drive measure what it says.
func (f fields) measuring(d steps.Drive) {
	power := fields{node: f.get("power")}
	for _, is := range []struct {
		key, gate string
		of        quantity.Dimension
	}{{"gate", d.Gate, quantity.Current}, {"loaded", d.Loaded, quantity.Voltage}} {
		g, ok := f.doc.Sheet.Gate(is.gate)
		switch of := g.Limits.Dimension(); {
		case !ok || of == "":
		case of != is.of:
			f.fault(power.get(is.key), "the gate %s measures %s, and the %s at full throttle is wanted", g.Name, articled(string(of)), is.of)
		case len(g.Points) > 1 && g.Result.IsZero() && !f.kept && !f.doc.doubts.of(gate):
			f.fault(power.get(is.key), "the gate %s comes to several values: say with result which one the %s at full throttle is", g.Name, is.of)
		}
	}
}

func geometryChecked(f fields, g *steps.Geometry) {
	if len(g.Surfaces) > 0 && !f.lost("surfaces") && !slices.ContainsFunc(g.Surfaces, func(s steps.Surface) bool { return s.Is == steps.Wing }) {
		f.fault(f.get("surfaces"), "no surface is a wing")
	}
}

// balanceAtChecked holds that the gate gives a station along the airframe which every
// change of equipment makes stale.
func balanceAtChecked(f fields, b *steps.BalanceAt) {
	g, ok := f.doc.Sheet.Gate(b.Gate)
	if !ok || f.kept || f.doc.doubts.of(gate) {
		return
	}
	at := f.get("gate")
	switch d := g.Limits.Dimension(); {
	case g.Result.Function == measuring.Lateral:
		f.fault(at, "the gate %s limits where it balances sideways; name the gate of its balance point along the airframe", g.Name)
	case d != "" && d != quantity.Length:
		f.fault(at, "the balance point is a length, and the gate %s limits %s", g.Name, articled(string(d)))
	case !g.Mass:
		f.fault(at, "equipment moves the balance point: the gate %s needs mass: yes", g.Name)
	}
	stands := func(s measuring.Station, places []steps.PointAt) {
		i := slices.IndexFunc(places, func(at steps.PointAt) bool { return at.Point == s.Point })
		if i < 0 {
			return
		}
		if by, is := in(b.Zero, "mm")+in(s.At, "mm"), in(places[i].X, "mm"); math.Abs(by-is) > 0.05 {
			f.fault(f.node, "the scale %s of the gate %s stands at x = %.4g mm by its station, and at x = %.4g mm by at: they count from the datum in at, and from zero in result", s.Point, g.Name, by, is)
		}
	}
	for _, way := range []steps.Way{{At: g.At, Result: g.Result}, g.Or} {
		for _, s := range way.Result.Stations {
			stands(s, way.At)
		}
	}
}

func liftChecked(f fields, l *steps.LargestLift) {
	if n := f.get("most"); n != nil && !f.lost("most") && l.Most == 0 {
		f.fault(n, "most must be more than 0")
	}
}

func surfaceChecked(f fields, s *steps.Surface) {
	f.governed(s.Where)
	for i, p := range s.Panels {
		if n := f.get("panels"); i < len(n.Content) && p.Root.Dimension() != "" && p.Tip.Dimension() != "" && p.Root.Sign() == 0 && p.Tip.Sign() == 0 {
			f.fault(n.Content[i], "a panel of %s has no area: both chords are 0", f.what)
		}
		if s.Is == steps.Fin && p.Dihedral.Sign() != 0 {
			f.fault(f.get("panels"), "%s stands upright: its panels have no dihedral", f.what)
		}
	}
}

func panelChecked(f fields, p *steps.Panel) {
	if n := f.get("dihedral"); n != nil {
		f.steep(n, "dihedral", p.Dihedral)
	}
	n := f.get("sweep")
	if n == nil || p.Sweep.IsZero() {
		return
	}
	switch d := p.Sweep.Dimension(); d {
	case quantity.Length:
	case quantity.Angle:
		f.steep(n, "sweep", p.Sweep)
	default:
		f.fault(n, "sweep must be a length or an angle, not %s", articled(string(d)))
	}
}

// steep holds that an angle of a panel leaves it a span.
func (f fields) steep(n *node, what string, q quantity.Quantity) {
	if deg, err := q.Float("°"); err == nil && (deg <= -90 || deg >= 90) {
		f.fault(n, "%s must be less than 90° either way", what)
	}
}

// clevisChecked holds that turns are counted at the clevises of a control.
func clevisChecked(f fields, c *steps.Control) {
	g, ok := f.doc.Sheet.Gate(c.Clevis.Gate)
	if !ok {
		return
	}
	if u := g.Unit(); u != "" && u != "turn" {
		f.fault(f.get("gate"), "the gate %s is in %s, and turns of thread are wanted", g.Name, u)
	}
	switch n := len(c.Clevis.Points); {
	case n > 2:
		f.fault(f.get("points"), "a control has one clevis, or one on each side, and here are %d", n)
		return
	case n == 0 && len(g.Points) > 0:
		f.fault(f.node, "the gate %s has several points: say with points which one is at this clevis", g.Name)
	}
	for _, p := range c.Clevis.Points {
		if !lists.Contains(g.PointNames(), p) {
			f.fault(f.get("points"), "the gate %s has no point %s%s", g.Name, p, suggest(p, g.PointNames()))
		}
	}
}

func controlChecked(f fields, c *steps.Control) {
	f.governed(c.Where)
	f.oneOf("surface", c.Surface, "surface", surfaceNames(f.doc.Sheet.Geometry))
}

func travelChecked(f fields, t *steps.Travel) {
	f.oneOf("part", t.Part, "part", componentNames(f.doc.Sheet.Geometry))
	if !less(t.From, t.To) && !t.From.IsZero() && !t.To.IsZero() {
		f.fault(f.get("to"), "the battery's travel is the wrong way round: from %s, which is not ahead of %s", t.From, t.To)
	}
}

// oneOf holds that a name within the geometry is known.
func (f fields) oneOf(key, name, what string, known []string) {
	if n := f.get(key); n != nil && name != "" && !lists.Contains(known, name) {
		f.fault(n, "unknown %s %q%s", what, name, suggest(name, known))
	}
}

func surfaceNames(g steps.Geometry) []string {
	var names []string
	for _, s := range g.Surfaces {
		names = append(names, s.Name)
	}
	return names
}

func componentNames(g steps.Geometry) []string {
	var names []string
	for _, c := range g.Parts {
		names = append(names, c.Name)
	}
	return names
}

// placeValue is a point of the plan: x and y.
type placeValue struct{}

func (*placeValue) read(r *reader, n *node, what string, to *steps.Place) {
	if n.Kind == listNode && r.decimalCommas(n, what) {
		return
	}
	if n.Kind != listNode || len(n.Content) != 2 {
		r.fault(n, "%s must be a point of the plan, x and y: [120 mm, -40 mm]", what)
		return
	}
	to.X = r.amount(n.Content[0], "x of "+what, quantity.Length)
	to.Y = r.amount(n.Content[1], "y of "+what, quantity.Length)
}

//go:noinline
func (*placeValue) write(from *steps.Place) *node {
	return flow([]string{from.X.Typed(), from.Y.Typed()})
}

func (*placeValue) typ() *typ { return &typ{is: aPlace} }

// outlineValue is the corners of a polygon.
type outlineValue struct{}

func (*outlineValue) read(r *reader, n *node, what string, to *[]steps.Place) {
	r.list(n, what, func(item *node) {
		var p steps.Place
		(&placeValue{}).read(r, item, "a corner of "+what, &p)
		*to = append(*to, p)
	})
	if n.Kind == listNode && len(n.Content) > 0 && len(n.Content) < 3 {
		r.fault(n, "%s needs three corners or more", what)
	}
}

func (*outlineValue) write(from *[]steps.Place) *node {
	n := &node{Kind: listNode, Style: flowStyle}
	for i := range *from {
		n.Content = append(n.Content, (&placeValue{}).write(&(*from)[i]))
	}
	return unlessEmpty(n)
}

func (*outlineValue) typ() *typ { return &typ{is: places} }

// pointsAtValue is where the points of a gate lie on the plan: each by its name, or
// the one of a gate without named points.
type pointsAtValue struct{}

func (*pointsAtValue) read(r *reader, n *node, what string, to *[]steps.PointAt) {
	if n.Kind == listNode {
		at := steps.PointAt{}
		(&placeValue{}).read(r, n, what, &at.Place)
		*to = append(*to, at)
		return
	}
	r.pairs(n, what, func(k, v *node) {
		at := steps.PointAt{Point: r.name(k, "a point")}
		end := v
		if v.Kind == listNode && len(v.Content) == 2 && v.Content[0].Kind == listNode {
			at.From, end = &steps.Place{}, v.Content[1]
			(&placeValue{}).read(r, v.Content[0], what, at.From)
		}
		(&placeValue{}).read(r, end, what, &at.Place)
		if at.Point != "" {
			*to = append(*to, at)
		}
	})
}

func (*pointsAtValue) write(from *[]steps.PointAt) *node {
	n := &node{Kind: mappingNode, Style: flowStyle}
	for i := range *from {
		at := (&placeValue{}).write(&(*from)[i].Place)
		if (*from)[i].Point == "" {
			return at
		}
		if begins := (*from)[i].From; begins != nil {
			at = &node{Kind: listNode, Style: flowStyle, Content: []*node{(&placeValue{}).write(begins), at}}
		}
		n.Content = append(n.Content, scalar((*from)[i].Point), at)
	}
	return unlessEmpty(n)
}

func (*pointsAtValue) typ() *typ {
	return &typ{is: anEither, of: []*typ{{is: aPlace}, {is: aMap, what: "the point", to: point, of: []*typ{{is: anEither, of: []*typ{{is: aPlace}, {is: aLine}}}}}}}
}

// placed finds places of points that the gate has not.
func (f fields) placed(g *steps.Gate) {
	n := f.get("at")
	if n == nil || f.lost("points") || f.lost("at") {
		return
	}
	for _, at := range g.At {
		switch {
		case lists.Contains(g.PointNames(), at.Point):
		case at.Point == "":
			f.fault(n, "the gate %s has several points: write at: with the place of each, {%s: [120 mm, -40 mm]}", g.Name, g.Points[0])
		case len(g.Points) == 0:
			f.fault(n, "the gate %s has no named points: write at: [120 mm, -40 mm]", g.Name)
		default:
			f.fault(scalarKey(n, at.Point), "unknown point %q%s", at.Point, suggest(at.Point, g.Points))
		}
	}
}

// scalarKey is the key of that name in a mapping.
func scalarKey(n *node, name string) *node {
	for i := 0; i < len(n.Content); i += 2 {
		if n.Content[i].Value == name {
			return n.Content[i]
		}
	}
	return n
}
