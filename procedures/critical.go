package procedures

import (
	"fmt"
	"math"

	"fettle/steps"
)

// critical knows which steps measure the critical gates of a sheet, and which
// disturb them. All options are gone through for it, so what does not depend
// on them is worked out once.
type critical struct {
	doc      *Document
	sheet    *steps.Sheet
	gates    map[string]int // by name, the critical ones
	depends  [][]uint64     // by gate: the zones
	disturbs map[*steps.Step][]uint64
}

func newCritical(d *Document, sheet *steps.Sheet) *critical {
	c := &critical{doc: d, sheet: sheet, gates: map[string]int{}, disturbs: map[*steps.Step][]uint64{}}
	zones := map[string]int{}
	bits := func(names []string) []uint64 {
		var set []uint64
		for _, name := range names {
			if _, ok := zones[name]; !ok {
				zones[name] = len(zones)
			}
			for len(set) <= zones[name]/64 {
				set = append(set, 0)
			}
			set[zones[name]/64] |= 1 << (zones[name] % 64)
		}
		return set
	}
	for _, g := range sheet.Gates {
		// A gate of no zone is one whose zones could not be read: it may be of the work.
		if g.Critical && !g.Work && len(g.Of) > 0 {
			c.gates[g.Name] = len(c.depends)
			c.depends = append(c.depends, bits(g.Of))
		}
	}
	for i := range d.Procedure.Stages {
		for j := range d.Procedure.Stages[i].Steps {
			s := &d.Procedure.Stages[i].Steps[j]
			if len(s.Disturbs) > 0 {
				c.disturbs[s] = bits(s.Disturbs)
			}
		}
	}
	return c
}

func share(a, b []uint64) bool {
	for i := range min(len(a), len(b)) {
		if a[i]&b[i] != 0 {
			return true
		}
	}
	return false
}

// measured finds critical gates that are not measured after the last step that
// disturbs what they depend on.
func (c *critical) measured(v variant) Faults {
	type measures struct {
		last  *steps.Step
		ranks map[int]int // by stage, of the last step that measures it there
	}
	of := make([]measures, len(c.depends))
	for _, s := range v.steps {
		for _, name := range s.Gates {
			i, ok := c.gates[name]
			if !ok {
				continue
			}
			if of[i].ranks == nil {
				of[i].ranks = map[int]int{}
			}
			of[i].last = s
			stage := v.stageOf[s.Name]
			of[i].ranks[stage] = max(of[i].ranks[stage], v.rank[s.Name]+1)
		}
	}
	type work struct {
		step        *steps.Step
		disturbs    []uint64
		stage, rank int
	}
	var works []work
	for _, s := range v.steps {
		if zones := c.disturbs[s]; zones != nil && !v.twice[s.Name] {
			works = append(works, work{s, zones, v.stageOf[s.Name], v.rank[s.Name] + 1})
		}
	}
	var faults Faults
	for _, g := range c.sheet.GatesFor(steps.Selection{Has: v.options}) {
		i, ok := c.gates[g.Name]
		if !ok {
			continue
		}
		m := of[i]
		if m.last == nil {
			faults = c.doc.also(faults, top(), fmt.Sprintf("no step ever measures the critical gate %s%s", g.Name, v.when()))
			continue
		}
		if v.doubts.order {
			continue
		}
		// By stage: until which of its steps the gate is measured after them.
		until := make([]int, len(v.stages))
		for stage := range v.stages {
			until[stage] = m.ranks[stage]
			for other := range m.ranks {
				if v.earlier[other][v.stages[stage].Name] {
					until[stage] = math.MaxInt
				}
			}
		}
		for _, w := range works {
			if w.rank >= until[w.stage] && share(w.disturbs, c.depends[i]) {
				faults = append(faults, c.doc.fault(c.doc.places[stepAt(w.step.Name)],
					fmt.Sprintf("the step %s can disturb the critical gate %s after it was last measured, by %s%s", w.step.Name, g.Name, m.last.Name, v.when())))
			}
			if len(faults) > mostFaults {
				return faults
			}
		}
	}
	return faults
}
