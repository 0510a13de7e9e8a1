package procedures

import (
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
)

// madeValue is the zones that work makes: a list, or each with the zones that it
// rests on.
type madeValue struct{}

func (*madeValue) read(r *reader, n *node, what string, to *[]steps.Made) {
	rests := &namesValue{to: zone}
	if n.Kind == mappingNode {
		r.pairs(n, what, func(k, v *node) {
			m := steps.Made{Zone: r.name(k, what)}
			if m.Zone == "" {
				return
			}
			r.refer(zone, k, m.Zone, "")
			if v.Kind != listNode || len(v.Content) > 0 {
				rests.read(r, v, "what "+m.Zone+" rests on", &m.On)
			}
			*to = append(*to, m)
		})
	} else {
		var zones []string
		rests.read(r, n, what, &zones)
		for _, z := range zones {
			*to = append(*to, steps.Made{Zone: z})
		}
	}
	switch kind := r.doc.Procedure.Kind; {
	case kind != steps.Repair && kind != steps.Check:
	case len(r.within.targets) > 0:
		*to = nil // what it makes belongs to the build that it is used from
	case !r.kept && r.sources != nil: // in a plan, which the program made, a lost part is made anew
		r.fault(n, "%s cannot make a zone: makes belongs in a build", articled(kind))
	}
}

func (*madeValue) write(from *[]steps.Made) *node {
	n := &node{Kind: mappingNode}
	for _, m := range *from {
		on := &node{Kind: listNode, Style: flowStyle}
		for _, z := range m.On {
			on.Content = append(on.Content, scalar(z))
		}
		n.Content = append(n.Content, scalar(m.Zone), on)
	}
	return unlessEmpty(n)
}

// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func (*madeValue) typ() *typ {
	zones := (&namesValue{to: zone}).typ()
	rests := zones
	rests.none = true
	return &typ{is: anEither, of: []*typ{zones, {is: aMap, to: zone, what: "the zone", of: []*typ{rests}}}}
}

// makesValue is what all that is below makes.
type makesValue[P any] struct{ madeValue }

func (v *makesValue[P]) read(r *reader, n *node, what string, _ P) {
	var made []steps.Made
	v.madeValue.read(r, n, what, &made)
	r.within.makes = made
}

func (*makesValue[P]) write(P) *node { return nil }

// made finds what is wrong with the zones that a build makes: that it makes some
// of the sheet and not others, that what a zone rests on rests on it, and work on
// a zone that cannot be begun yet.
func (d *Document) made(sheet *steps.Sheet, variants [][]string) Faults {
	made := d.Procedure.Made()
	if len(made) == 0 {
		return nil
	}
	on := map[string][]string{}
	for _, m := range made {
		on[m.Zone] = m.On
	}
	var faults Faults
	var without []string
	for _, z := range sheet.Zones {
		if _, ok := on[z]; !ok {
			without = append(without, z)
		}
	}
	if len(without) > 0 && !d.doubts.steps && !d.doubts.makes {
		faults = d.also(faults, top(), fmt.Sprintf("no step makes %s: say of each zone of the design what makes it, or of none", listed(without)))
	}
	for _, m := range made {
		if ring := ringFrom(m.Zone, func(z string) []string { return on[z] }); ring != nil && slices.Min(ring) == m.Zone { // report each ring once
			faults = append(faults, d.fault(d.places[stepAt(d.maker(m.Zone).Name)],
				"a ring of zones that rest on each other: "+strings.Join(append(ring, m.Zone), " on ")))
		}
	}
	if d.doubts.order || d.doubts.steps || d.doubts.makes {
		return faults
	}
	return append(faults, d.inEveryVariant(d.order(), variants, nil, func(v variant) Faults {
		makers := map[string][]*steps.Step{}
		for _, s := range v.steps {
			for _, m := range s.Makes {
				makers[m.Zone] = append(makers[m.Zone], s)
			}
		}
		faults := d.unseated(v)
		for _, s := range v.steps {
			for _, z := range s.Disturbs {
				late := makers[z]
				if len(late) > 0 && !steps.AnyStep(late, func(m *steps.Step) bool { return m == s || !v.before(s.Name, m.Name) }) {
					d.complain(s, &faults)("disturbs", "it works on %s, which only later steps make, %s the first: move it behind that, or write makes: [%s] at what makes the zone before it%s", z, late[0].Name, z, v.when())
				}
			}
		}
		return faults
	})...)
}

// unseated finds zones that are made beside what they rest on, and that no step puts
// together with it: nobody could tell when they sit there.
func (d *Document) unseated(v variant) Faults {
	var faults Faults
	for _, seat := range d.Procedure.SeatsMade() {
		if steps.AnyStep(v.steps, func(s *steps.Step) bool { return d.Procedure.Seats(s, seat.Zone, seat.On) }) {
			continue
		}
		maker := d.maker(seat.Zone)
		d.complain(&maker, &faults)("makes", "%s rests on %s and is made beside it, and no step puts them together%s: write disturbs: [%s, %s] at what does, a join, bolts or bands", seat.Zone, seat.On, v.when(), seat.On, seat.Zone)
	}
	return faults
}

// maker is the first step that makes the zone.
func (d *Document) maker(zone string) steps.Step {
	for _, s := range d.Procedure.Steps() {
		if slices.ContainsFunc(s.Makes, func(m steps.Made) bool { return m.Zone == zone }) {
			return *s
		}
	}
	return steps.Step{}
}
