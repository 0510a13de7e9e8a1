package procedures

import (
	"fmt"

	"fettle/steps"
	"fettle/steps/lists"
)

// unused notes what a design sheet has and nothing in the library uses. It may
// be meant so: a document that uses it is still to be written.
func (c *checker) unused() {
	for _, sheet := range c.sheets() {
		used := c.usedOn(sheet)
		note := func(what thing, name, says string) {
			if used[reference{to: what, name: name}] {
				return
			}
			at, ok := sheet.places["the "+string(what)+" "+name]
			if !ok {
				at = top()
			}
			c.notes = append(c.notes, sheet.fault(at, fmt.Sprintf("the %s %s %s", what, name, says)))
		}
		s := sheet.Sheet
		for _, z := range s.Zones {
			note(zone, z, "is disturbed by no step and no gate depends on it")
		}
		for _, o := range s.Options {
			c, _ := s.Choice(o.Name)
			if o.Choice == "" || !lists.ContainsFunc(c.Names(), func(a string) bool { return used[reference{to: option, name: a}] }) {
				note(option, o.Name, "changes nothing: no step and no gate depends on it")
			}
		}
		for _, one := range s.Conditions {
			note(condition, one.Name, "is set by no step, and no step and no gate needs it")
		}
		for _, a := range s.Adhesives {
			note(adhesive, a.Name, "coats no joint")
		}
		for _, t := range s.Tools {
			note(tool, t.Name, "is used by no step")
		}
		for _, g := range s.Gauges {
			note(gauge, g.Name, "measures no gate")
		}
		for _, g := range s.Gates {
			note(gate, g.Name, "is measured by no step")
		}
	}
}

// usedOn are the names that the sheet itself uses, and the procedures that can
// be carried out on the design.
func (c *checker) usedOn(sheet *Document) map[reference]bool {
	s := sheet.Sheet
	used := map[reference]bool{}
	use := func(to thing, names ...string) {
		for _, n := range names {
			used[reference{to: to, name: n}] = true
		}
	}
	for _, g := range s.Gates {
		use(zone, g.Of...)
		use(gauge, g.Gauge, g.Or.Gauge)
		use(option, g.Options()...)
		for _, w := range g.Reworks {
			use(zone, w.Disturbs...)
			use(adhesive, w.Adhesives...)
		}
		for _, need := range g.Needs {
			use(condition, need.Condition)
		}
	}
	for _, e := range s.Equipment {
		use(zone, e.Disturbs...)
		if e.Zone != "" {
			use(zone, e.Zone)
		}
		for _, is := range e.Aboard {
			use(condition, is.Condition)
		}
	}
	asked := func(c steps.Care) {
		for _, need := range c.Needs {
			use(condition, need.Condition)
		}
	}
	for _, a := range s.Adhesives {
		asked(a.Care)
	}
	for _, t := range s.Tools {
		asked(t.Care)
		use(gate, t.Measure...)
	}
	for _, d := range c.all() {
		if !c.serves(d, sheet) {
			continue
		}
		for _, r := range d.names {
			use(r.to, r.name)
		}
	}
	return used
}
