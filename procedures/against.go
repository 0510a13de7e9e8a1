package procedures

import (
	"fmt"
	"slices"

	"fettle/steps"
)

// Against checks a procedure against a design sheet and returns every fault: names
// that are not in the sheet, steps that no airframe of the design could take, and
// in a build critical gates that are not measured, or not after the last work that
// disturbs them.
func (d *Document) Against(sheet *steps.Sheet) Faults {
	faults := d.named(sheet)
	if d.Procedure == nil || len(faults) > 0 || d.tooLarge() {
		return faults.sorted()
	}
	return d.inEveryVariant(orderOf(d.Procedure), optionNames(sheet), func(v variant) Faults {
		faults := append(d.stepsInOrder(v), d.onSheet(v, sheet)...)
		if d.Procedure.Kind == steps.Build {
			faults = append(faults, d.criticalMeasured(v, sheet)...)
		}
		return faults
	}).sorted()
}

func optionNames(s *steps.Sheet) []string {
	var names []string
	for _, o := range s.Options {
		names = append(names, o.Name)
	}
	return names
}

// named finds the names that are not in the sheet.
func (d *Document) named(s *steps.Sheet) Faults {
	known := map[thing][]string{zone: s.Zones, option: optionNames(s)}
	for _, c := range s.Conditions {
		known[condition] = append(known[condition], c.Name)
	}
	for _, a := range s.Adhesives {
		known[adhesive] = append(known[adhesive], a.Name)
	}
	for _, g := range s.Gauges {
		known[gauge] = append(known[gauge], g.Name)
	}
	for _, g := range s.Gates {
		known[gate] = append(known[gate], g.Name)
	}
	var faults Faults
	for _, r := range d.names {
		valid := known[r.to]
		what := string(r.to)
		if r.to == state {
			c, ok := s.Condition(r.of)
			if !ok {
				continue // the condition's fault says it
			}
			valid, what = c.States, "state of "+r.of
		}
		if !slices.Contains(valid, r.name) {
			text := fmt.Sprintf("unknown %s %q%s", what, r.name, suggest(r.name, valid))
			if d.Sheet == nil {
				text += " (in the design " + s.Name + ")"
			}
			faults = append(faults, d.fault(r.at, text))
		}
	}
	return faults
}

// onSheet checks each step against the sheet, as its kind asks.
func (d *Document) onSheet(v variant, sheet *steps.Sheet) Faults {
	var faults Faults
	for _, s := range v.steps {
		if k := kindOf(v.kinds, s.Kind); k.sheet != nil {
			k.sheet(v, s, sheet, d.complain(s, &faults))
		}
	}
	return faults
}

// orWithout names the options for which a fault holds.
func orWithout(v variant) string {
	if len(v.options) == 0 {
		return " (without any option)"
	}
	return v.when()
}

// criticalMeasured finds critical gates that are not measured after the last step
// that disturbs what they depend on.
func (d *Document) criticalMeasured(v variant, sheet *steps.Sheet) Faults {
	var faults Faults
	for _, g := range sheet.GatesFor(v.options) {
		if !g.Critical || g.Work {
			continue
		}
		var measures []string
		for _, s := range v.steps {
			if slices.Contains(s.Gates, g.Name) {
				measures = append(measures, s.Name)
			}
		}
		if len(measures) == 0 {
			faults = append(faults, d.fault(top(), fmt.Sprintf("no step ever measures the critical gate %s%s", g.Name, v.when())))
			continue
		}
		for _, s := range v.steps {
			if !g.DependsOn(s.Disturbs...) {
				continue
			}
			if !slices.ContainsFunc(measures, func(m string) bool { return v.before(s.Name, m) }) {
				faults = append(faults, d.fault(d.places[stepAt(s.Name)],
					fmt.Sprintf("the step %s can disturb the critical gate %s after it was last measured, by %s%s", s.Name, g.Name, measures[len(measures)-1], v.when())))
			}
		}
	}
	return faults
}
