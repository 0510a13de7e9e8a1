package procedures

import (
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/repair"
)

// meant notes what may be meant so and is more often forgotten: in a repair, to
// measure what it disturbed, and zones that no design has; of a tool, what is measured and set before it is used; in a build,
// how a seat is parted; of a sheet, limits of the balance that its geometry does not bear out.
func (c *checker) meant() {
	for _, d := range c.docs {
		switch {
		case !c.own[d] || c.bad[d]:
		case d.Procedure != nil && d.Starts():
			c.remeasured(d)
			c.parted(d)
			c.nowhere(d)
		case d.Sheet != nil:
			c.readied(d)
			c.unguarded(d)
			c.balanced(d)
		}
	}
}

// remeasured notes a repair that leaves stale what it disturbed.
func (c *checker) remeasured(d *Document) {
	if d.Procedure.Kind != steps.Repair || d.doubts.lost(steps.Measure) {
		return
	}
	disturbs := false
	for _, s := range d.Procedure.Steps() {
		if lists.Contains(s.Gates, steps.Stale) {
			return
		}
		disturbs = disturbs || len(s.Disturbs) > 0
	}
	if disturbs {
		c.notes = append(c.notes, d.fault(top(), "the repair disturbs zones and does not measure again what that makes stale; write as its last step: - {step: measure-again, measure: stale}"))
	}
}

// nowhere notes zones that a step asks to be there and no design has: a plan never leaves
// the step out for them; and conditions that a design may lack, and every design does.
func (c *checker) nowhere(d *Document) {
	var zones, conditions []string
	for _, sheet := range c.sheets() {
		zones = append(zones, sheet.Sheet.Zones...)
		for _, one := range sheet.Sheet.Conditions {
			conditions = append(conditions, one.Name)
		}
	}
	for _, s := range d.Procedure.Steps() {
		for _, one := range s.MayLack {
			if !lists.Contains(conditions, one) {
				d.complain(s, &c.notes)("may_lack", "no design has the condition %s, so nothing is ever asked of it%s", one, suggest(one, conditions))
			}
		}
		for _, z := range s.There {
			if !lists.Contains(zones, z) {
				d.complain(s, &c.notes)("there", "no design has the zone %s, so the step is never left out for it%s", z, suggest(z, zones))
			}
		}
	}
}

// parted notes glued seats of a build that nothing says how to part: of a part that
// is lost, what it rests on and what rests on it could not be kept.
func (c *checker) parted(d *Document) {
	if d.Procedure.Kind != steps.Build || d.doubts.makes || d.doubts.order {
		return
	}
	for _, seam := range repair.Seams(d.Procedure) {
		if seam.Step.Apart == "" {
			d.complain(&seam.Step, &c.notes)("", "it joins %s, and does not say how they are parted again: without that, one that is lost cannot be built anew; write apart", strings.Join(seam.Zones, " and "))
		}
	}
}

// readied notes tools in use whose gate no step measures, or whose condition no
// step sets; and glue that grips while it is laid, sooner than the step takes.
func (c *checker) readied(sheet *Document) {
	measured, set, used := map[string]bool{}, map[steps.Setting]bool{}, map[string]bool{}
	said := map[string]bool{} // of which documents
	for _, d := range c.all() {
		if d.Procedure == nil || !d.Starts() || d.Procedure.Design != sheet.Sheet.Name && !c.serves(d, sheet) {
			continue
		}
		for _, s := range d.Procedure.Steps() {
			for _, g := range s.Gates {
				measured[g] = true
			}
			for _, on := range s.Sets {
				set[on] = true
			}
			for _, t := range s.Tools {
				used[t] = true
			}
			if c.own[d] && !said[d.Name()] {
				said[d.Name()] = c.grips(d, s, sheet.Sheet)
			}
		}
	}
	for _, t := range sheet.Sheet.Tools {
		at := sheet.places["the tool "+t.Name]
		for _, g := range t.Measure {
			if used[t.Name] && !measured[g] {
				c.notes = append(c.notes, sheet.fault(at, fmt.Sprintf("the tool %s is used once %s has passed, and no step measures that: write measure: %s in a step before it is used", t.Name, g, g)))
			}
		}
		for _, n := range t.Needs {
			if used[t.Name] && !set[n] {
				c.notes = append(c.notes, sheet.fault(at, fmt.Sprintf("the tool %s needs %s, which no step sets: write sets: {%s: %s} in a step before it is used", t.Name, n, n.Condition, n.State)))
			}
		}
	}
}

// unguarded notes glue with a vapour of which nothing is asked that a procedure brings about and ends
// again wherever the design has a condition for it, such as a charger: without the condition
// the procedure is carried out beside the open glue.
func (c *checker) unguarded(sheet *Document) {
	for _, near := range c.passing() {
		for _, a := range sheet.Sheet.Adhesives {
			if a.Times.Vapour == 0 || steps.AnySetting(a.Needs, func(n steps.Setting) bool { return n.Condition == near.Condition }) {
				continue
			}
			c.notes = append(c.notes, sheet.fault(sheet.places["the adhesive "+a.Name], fmt.Sprintf("the adhesive %s has a vapour, and nothing keeps it from the %s in %s: write needs: {%s: %s}, and the condition with of: bench if the design lacks it; or vapour: 0 min where it does not burn",
				a.Name, near.Condition, near.who, near.Condition, near.State)))
		}
	}
}

// passing are the conditions that a design may lack and a procedure brings about and ends, each as it is left,
// with the name of the first such procedure.
func (c *checker) passing() []wanted {
	var all []wanted
	for _, d := range c.all() {
		if d.Procedure == nil {
			continue
		}
		was := map[string]string{}
		for _, s := range d.Procedure.Steps() {
			for _, set := range s.Sets {
				known := func(w wanted) bool { return w.Condition == set.Condition }
				if !lists.Contains(s.MayLack, set.Condition) || slices.ContainsFunc(all, known) {
					continue
				}
				if before := was[set.Condition]; before != "" && before != set.State {
					all = append(all, wanted{d.Name(), set})
				}
				was[set.Condition] = set.State
			}
		}
	}
	return all
}

// grips notes glue that is pressed within a time shorter than its step takes.
func (c *checker) grips(d *Document, s *steps.Step, sheet *steps.Sheet) bool {
	if t := s.Kind.Traits(); !t.Coats || !t.Joins {
		return false
	}
	hands, _ := s.Hands.Duration()
	for _, name := range s.Adhesives {
		if a, ok := sheet.Adhesive(name); ok && !a.Times.Mixed && a.Times.From == 0 && hands > a.Times.To {
			d.complain(s, &c.notes)("hands", "%s grips within %s of the last bead, and the step takes %s: make sure that the last bead is laid late enough, here and in steps like it", name, a.To, s.Hands)
			return true
		}
	}
	return false
}
