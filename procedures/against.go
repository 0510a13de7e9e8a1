package procedures

import (
	"fmt"
	"slices"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// Against checks a procedure against a design sheet and returns every fault: names
// that are not in the sheet, steps that no airframe of the design could take, and
// in a build critical gates that are not measured, or not after the last work that
// disturbs them.
func (d *Document) Against(sheet *steps.Sheet) Faults {
	return d.against(sheet, doubts{}).capped()
}

// against checks against a sheet of which something may be in doubt. Where a
// name is unknown, nothing is said that may only follow from that.
func (d *Document) against(sheet *steps.Sheet, doubt doubts) Faults {
	faults := d.named(sheet, doubt)
	if d.Procedure == nil || d.tooLarge() || d.hasUnknown(option, optionNames(sheet)) || d.hasUnknown(chosen, choiceNames(sheet)) || doubt.of(option) || doubt.of(variants) {
		return faults.sorted()
	}
	measured := !d.doubts.lost(steps.Measure) && !d.hasUnknown(gate, gateNames(sheet)) && !doubt.of(gate)
	o := d.order()
	faults = append(faults, d.chosen(o, sheet)...)
	all := d.variantsOn(sheet)
	if n := len(all); n > mostCombinations || n*stepsOf(d.Procedure.Stages) > mostChecked {
		return append(faults, d.fault(top(), fmt.Sprintf("too many to check: %d combinations of its methods and the options of the design, of %d steps", n, stepsOf(d.Procedure.Stages)))).sorted()
	}
	all = covering(all)
	if d.Procedure.Kind == steps.Build && !doubt.of(zone) && !d.hasUnknown(zone, sheet.Zones) {
		faults = append(faults, d.made(sheet, all)...)
	}
	critical := newCritical(d, sheet)
	return append(faults, d.inEveryVariant(o, all, nil, func(v variant) Faults {
		faults := append(d.stepsInOrder(v), d.needsInOrder(v)...)
		if measured {
			faults = append(faults, d.acceptsUnmeasured(v)...)
			faults = append(faults, d.onSheet(v, sheet)...)
			faults = append(faults, d.usesInOrder(v, sheet)...)
			if d.Procedure.Kind == steps.Build {
				faults = append(faults, critical.measured(v)...)
			}
		}
		return faults
	})...).sorted()
}

func gateNames(s *steps.Sheet) []string {
	var names []string
	for _, g := range s.Gates {
		names = append(names, g.Name)
	}
	return names
}

// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func optionNames(s *steps.Sheet) []string {
	var names []string
	for _, o := range s.Options {
		names = append(names, o.Name)
	}
	return names
}

// choiceNames are what a choose step may name.
func choiceNames(s *steps.Sheet) []string {
	names := optionNames(s)
	for _, c := range s.Choices() {
		if !c.Alone {
			names = append(names, c.Name)
		}
	}
	return names
}

// named finds the names that are not in the sheet, each once.
func (d *Document) named(s *steps.Sheet, doubt doubts) Faults {
	where := ""
	if d.Sheet == nil {
		where = " (in the design " + s.Name + ")"
	}
	known := knownOn(s)
	if d.Procedure != nil { // which has the methods of its own choices
		choices, _ := methodsOf(d.Procedure)
		for _, c := range choices {
			known[reference{to: option}] = append(known[reference{to: option}], c.Names()...)
		}
		known[reference{to: condition}] = append(known[reference{to: condition}], lackable(d.Procedure)...)
	}
	return d.unknown(known, doubt, where)
}

// lackable are the conditions that a design may lack by each step that names them.
func lackable(p *steps.Procedure) []string {
	var may, must []string
	for _, s := range p.Steps() {
		may = append(may, s.MayLack...)
		for _, set := range slices.Concat(s.Needs, s.Sets) {
			if !lists.Contains(s.MayLack, set.Condition) {
				must = append(must, set.Condition)
			}
		}
	}
	return sorting.Delete(may, func(c string) bool { return lists.Contains(must, c) })
}

// A vocabulary has the names that are known of each thing.
type vocabulary map[reference][]string

// add adds one.
// It is not inlined: its copies in its caller would take 1 KB.
//
//go:noinline
func (v vocabulary) add(to thing, name string) {
	v[reference{to: to}] = append(v[reference{to: to}], name)
}

// knownOn are the names that a sheet has, by what they name, and for a state by its
// condition too.
func knownOn(s *steps.Sheet) vocabulary {
	known := vocabulary{{to: zone}: s.Zones, {to: option}: optionNames(s), {to: chosen}: choiceNames(s)}
	for _, c := range s.Conditions {
		known.add(condition, c.Name)
		known[reference{to: state, of: c.Name}] = c.States
	}
	for _, a := range s.Adhesives {
		known.add(adhesive, a.Name)
	}
	for _, t := range s.Tools {
		known.add(tool, t.Name)
	}
	for _, g := range s.Gauges {
		known.add(gauge, g.Name)
	}
	for _, g := range s.Gates {
		known.add(gate, g.Name)
	}
	for _, e := range s.Equipment {
		known.add(equipment, e.Name)
	}
	return known
}

// acceptsUnmeasured finds a check that takes an airframe over without measuring all of it.
func (d *Document) acceptsUnmeasured(v variant) Faults {
	stale := func(s *steps.Step) bool { return lists.Contains(s.Gates, steps.Stale) }
	if d.Procedure.Accepts != steps.AsBuilt || d.Procedure.Kind != steps.Check || slices.ContainsFunc(v.steps, stale) {
		return nil
	}
	return Faults{d.fault(top(), "it accepts an airframe that nobody measured"+v.when()+"; write as its last step: - {step: measure-all, measure: stale}")}
}

// onSheet checks each step against the sheet, as its kind asks.
func (d *Document) onSheet(v variant, sheet *steps.Sheet) Faults {
	var faults Faults
	for _, s := range v.steps {
		if u, ok := sheet.Use(s.Name); ok && len(u.Hold) > 0 && s.Kind.Traits().Confirms {
			d.complain(s, &faults)("", "the hold %s has the name of something in the sheet that has a hold of its own: clear could mean either", s.Name)
		}
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
