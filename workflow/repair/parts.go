package repair

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// A block is what a part of a plan is split into. All parts have a block behind them
// before the next one begins, but that each of them repairs and cures by itself.
type block int

const (
	safe    block = iota
	look          // before anything is repaired
	off           // what is lost comes off, before what it sits on is repaired
	mend          // the repair itself
	cure          // time until its joints are cured, which needs nobody
	test          // what loads it, once every joint of the plan is cured
	recheck       // what is measured and checked again
	blocks
)

// A part is one repair of a plan.
type part struct {
	answers   []Answer
	procedure *steps.Procedure
	zone      string   // in the place of "here"
	zones     []string // that it repairs
	key       string   // ends the names of its steps
	rebuilds  bool     // it makes anew what is lost
	shared    []*shared
	stages    [blocks][]steps.Stage
}

// partsOf makes one part of each damage that is repaired, one of each zone on which
// something is replaced, and one of each rebuild, with all damage of what it retires.
func partsOf(answers []Answer, on Airframe) []*part {
	var parts []*part
	var rebuilds []Answer
	for i := range answers {
		if len(answers[i].Retires) > 0 {
			rebuilds = append(rebuilds, answers[i])
		}
	}
	for _, a := range answers {
		by := a
		for _, r := range rebuilds { // the one that makes most anew
			if lists.Contains(r.Retires, a.Damage.Zone) && len(r.Retires) > len(by.Retires) {
				by = r
			}
		}
		p := &part{answers: []Answer{a}, procedure: by.Procedure, zone: by.Zone, zones: by.Retires, key: strings.ToLower(a.Damage.Name)}
		if len(p.zones) == 0 {
			p.zones = []string{a.Damage.Zone}
		}
		switch {
		case len(by.Retires) > 0:
			p.key, p.rebuilds = "new-"+by.Damage.Zone, true
		case by.Row.Renews():
			p.key = a.Damage.Zone
			if on := by.Procedure.On; len(on) > 1 && !worksHere(by.Procedure) { // the same work for each of them
				p.key, p.zone = on[0], on[0]
			}
		}
		same := func(have *part) bool {
			return (by.Row.Renews() || len(by.Retires) > 0) && have.key == p.key && have.zone == p.zone && have.procedure.Name == p.procedure.Name
		}
		if i := slices.IndexFunc(parts, same); i >= 0 {
			parts[i].answers = append(parts[i].answers, a)
			if !lists.Contains(parts[i].zones, p.zones[0]) {
				parts[i].zones = append(lists.Clone(parts[i].zones), p.zones[0])
			}
			continue
		}
		parts = append(parts, p)
	}
	made := func(z string) bool {
		return slices.ContainsFunc(rebuilds, func(a Answer) bool { return lists.Contains(a.Retires, z) })
	}
	for _, p := range parts {
		var later []string // made anew only when the part is repaired, since something of it rests on that
		for _, r := range rebuilds {
			rests := func(z string) bool { return meets(on.Made.Below(z), p.zones) }
			if !meets(r.Retires, p.zones) && lists.ContainsFunc(r.Retires, rests) {
				later = append(later, r.Retires...)
			}
		}
		p.procedure = on.withoutAbsent(p.procedure, made, later)
	}
	return parts
}

// worksHere reports whether a step of the procedure works on the zone where it is
// started.
func worksHere(p *steps.Procedure) bool {
	return steps.AnyStep(p.Steps(), func(s *steps.Step) bool {
		return lists.Contains(s.Disturbs, steps.Here) || lists.Contains(s.Retires, steps.Here)
	})
}

// withoutAbsent leaves out the steps that ask for zones that are neither there nor
// made by the plan, and the gates of such zones. What is made later has its gates
// measured after all work, not by the repair that it waits for.
func (on Airframe) withoutAbsent(p *steps.Procedure, made func(zone string) bool, later []string) *steps.Procedure {
	absent := func(z string) bool { return on.There != nil && !on.There(z) && !made(z) }
	nothing := func(z string) bool { return on.Begun != nil && !on.Begun(z) && !made(z) }
	out := *p
	out.Stages = slices.Clone(p.Stages)
	for i, stage := range p.Stages {
		var left []steps.Step
		for _, s := range stage.Steps {
			gates := sorting.Delete(lists.Clone(s.Gates), func(name string) bool {
				return slices.ContainsFunc(on.Gates, func(g steps.Gate) bool {
					return g.Name == name && (lists.ContainsFunc(g.Of, nothing) || blockOf(stage) == mend && g.DependsOn(later...))
				})
			})
			if !lists.ContainsFunc(s.There, absent) && (len(gates) > 0 || len(s.Gates) == 0) {
				s.Gates = gates
				left = append(left, s)
			}
		}
		out.Stages[i].Steps = left
	}
	return &out
}

// lies are the zones that the part is glued into, without work on its own: a spar lies in
// the foam of its wing, which is closed over it.
func (p *part) lies() []string {
	var in []string
	for _, s := range p.procedure.Steps() {
		if s.Kind.Traits().Joins {
			if lists.Contains(s.Disturbs, steps.Here) || meets(s.Disturbs, p.zones) {
				return nil
			}
			in = append(in, s.Disturbs...)
		}
	}
	return in
}

// baseFirst are the parts in the order of their zones, on one zone in the order of
// the rows that answer them. What lies in a zone comes before that.
func (on Airframe) baseFirst(parts []*part) []*part {
	order := on.Made.InOrder()
	if on.Sheet != nil { // what nothing makes comes last
		order = append(order, on.Sheet.Zones...)
	}
	at := func(p *part) int {
		if i := slices.IndexFunc(order, func(z string) bool { return lists.Contains(p.lies(), z) }); i >= 0 {
			return 2 * i
		}
		i := slices.IndexFunc(order, func(z string) bool { return lists.Contains(p.zones, z) })
		if i < 0 {
			i = len(order)
		}
		return 2*i + 1
	}
	sorted := slices.Clone(parts)
	sorting.Stable(sorted, func(i, k int) int {
		a, b := sorted[i], sorted[k]
		if d := at(a) - at(b); d != 0 {
			return d
		}
		return a.answers[0].At - b.answers[0].At
	})
	return sorted
}

// blockOf is where a stage comes as it is written.
func blockOf(s steps.Stage) block {
	switch s.Phase {
	case steps.Safe:
		return safe
	case steps.Look:
		return look
	case steps.Recheck:
		return recheck
	}
	return mend
}

// blockOf is where a stage of the part comes: what takes a lost part off, up to the step
// that throws it away, has a block of its own.
func (p *part) blockOf(stage steps.Stage) block {
	b := blockOf(stage)
	if b != mend || !p.rebuilds {
		return b
	}
	for _, s := range p.procedure.Stages {
		retires := slices.ContainsFunc(s.Steps, func(s steps.Step) bool { return len(s.Retires) > 0 })
		if retires && (s.Name == stage.Name || lists.Contains(p.procedure.Before(s.Name), stage.Name)) {
			return off
		}
	}
	return b
}

// collect gathers what the part shares, gives the rest its names in the plan, and
// splits it.
func (c *composer) collect(p *part) {
	c.gather(p)
	own := map[string]steps.Stage{} // as it is in the plan, by the name as written
	for _, stage := range p.procedure.Stages {
		made := steps.Stage{Title: p.titled(stage.Title), Phase: cmp.Or(stage.Phase, steps.Structure), Steps: c.own(p, stage)}
		if len(made.Steps) > 0 {
			made.Name = c.give("stage", stage.Name, p.key)
			own[stage.Name] = made
		}
	}
	for _, stage := range p.procedure.Stages {
		made, ok := own[stage.Name]
		if !ok {
			continue
		}
		b := p.blockOf(stage)
		for _, a := range p.directly(stage, func(a steps.Stage) bool { _, ok := own[a.Name]; return ok && p.blockOf(a) == b }) {
			made.After = append(made.After, own[a].Name)
		}
		p.stages[b] = append(p.stages[b], made)
	}
	last := ends(p.stages[mend])
	joined := steps.AnyStep(p.procedure.Steps(), func(s *steps.Step) bool { return s.Kind.Traits().Joins })
	for i, stage := range p.stages[mend] {
		if !lists.Contains(last, stage.Name) {
			continue
		}
		var curing, tests []steps.Step
		p.stages[mend][i].Steps, curing, tests = split(stage, joined && len(stage.After) > 0)
		if len(curing) > 0 {
			p.stages[cure] = append(p.stages[cure], steps.Stage{Name: c.give("stage", "cure", p.key), Title: p.titled("Let it cure"), Phase: stage.Phase, Steps: curing})
		}
		if len(tests) > 0 {
			p.stages[test] = append(p.stages[test], steps.Stage{Name: c.give("stage", "test", p.key), Title: p.titled("Test it"), Phase: stage.Phase, Steps: tests})
		}
	}
	all := p.stages[mend]
	p.stages[mend] = all[:0:0]
	for i := range all {
		if len(all[i].Steps) > 0 {
			p.stages[mend] = append(p.stages[mend], all[i])
		}
	}
}

// directly are the stages of the kind that a stage comes after, without those that
// another of them comes after.
func (p *part) directly(stage steps.Stage, of func(steps.Stage) bool) []string {
	var before []string
	for _, name := range p.procedure.Before(stage.Name) {
		if a, ok := p.procedure.Stage(name); ok && of(a) {
			before = append(before, name)
		}
	}
	return sorting.Delete(lists.Clone(before), func(name string) bool {
		return lists.ContainsFunc(before, func(other string) bool { return lists.Contains(p.procedure.Before(other), name) })
	})
}

// titled is a title with what the part is of.
func (p *part) titled(title string) string {
	if title == "" {
		return ""
	}
	return fmt.Sprintf("%s (%s, %s)", title, strings.Join(damagesOf(p.answers), ", "), strings.Join(p.zones, ", "))
}

// split splits off the end of a stage what only waits for the cure and what tests it
// after that. One that comes after joints is all test, where nothing in it glues and
// nothing but a hold disturbs.
func split(stage steps.Stage, after bool) (mend, cure, test []steps.Step) {
	all := stage.Steps
	ends := func(s steps.Step) bool {
		does := s.Kind.Traits()
		return (does.Passes || does.Confirms) && s.By.IsZero()
	}
	quiet := func(s steps.Step) bool {
		does := s.Kind.Traits()
		return !does.Glues() && (does.Confirms || len(s.Disturbs)+len(s.Sets) == 0) && s.By.IsZero()
	}
	from := 0
	if !after || slices.ContainsFunc(all, func(s steps.Step) bool { return !quiet(s) }) {
		from = len(all)
		for i := len(all) - 1; i >= 0 && ends(all[i]); i-- {
			if all[i].Kind.Traits().Passes && all[i].Until == steps.UntilCure {
				from = i
			}
		}
	}
	to := from
	for to < len(all) && all[to].Kind.Traits().Passes {
		to++
	}
	return all[:from], all[from:to], all[to:]
}

// own are the steps of the stage that are the part's alone, as they stand in the plan.
func (c *composer) own(p *part, stage steps.Stage) []steps.Step {
	var own []steps.Step
	counts := false // on from a shared step
	for _, step := range stage.Steps {
		counts = step.Shared || counts && step.CountsOn()
		if !counts {
			own = append(own, c.step(p, step))
		}
	}
	return own
}

// place is where the plan has a shared step of the stage: those at the beginning of
// a stage come before all work of the block, those at its end after it.
func (p *part) place(stage steps.Stage, i int) place {
	b := blockOf(stage)
	var before, after bool // other stages of the block with work of its own
	for _, other := range p.procedure.Stages {
		if blockOf(other) == b && slices.ContainsFunc(other.Steps, func(s steps.Step) bool { return !s.Shared }) {
			before = before || lists.Contains(p.procedure.Before(stage.Name), other.Name)
			after = after || lists.Contains(p.procedure.Before(other.Name), stage.Name)
		}
	}
	lead, trail := stage.SharedEnds()
	leads, mixed := i < lead, trail < len(stage.Steps)
	switch {
	case b < mend, b == mend && leads && (mixed || !before):
		return first
	case b == mend:
		return middle
	case leads && (mixed || after):
		return again
	}
	return last
}
