// Package repair composes one procedure from the answers to several damages. It
// is pure and knows no journal: package workflow says what is damaged and what
// is already being repaired.
package repair

import (
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
)

// Name is the name of a composed procedure.
const Name = "repair"

// A Damage is what was found, as far as it matters for the repair.
type Damage struct {
	Name, Finding, Zone, Severity, Note, Place, Cause string
}

// An Answer is what the triage table answers to one damage.
type Answer struct {
	Damage    Damage
	Row       steps.Row
	At        int  // the place of the row in the table
	Known     bool // a row of the table answers it; else it is inspected
	Procedure *steps.Procedure
	Zone      string // where the procedure is started; "" if it takes no zone
	// Retires are the zones that the procedure makes anew: it answers every damage of
	// them.
	Retires []string
}

// An Airframe is what a plan must know of the airframe.
type Airframe struct {
	Sheet *steps.Sheet
	Gates []steps.Gate           // those of its options
	Made  steps.Making           // its zones and what each rests on; none: nothing is known of it
	There func(zone string) bool // it is made; nil: every zone is
	Begun func(zone string) bool // it is made, or in work: there is something to measure; nil: every zone is
}

// A Plan is one procedure for several damages.
type Plan struct {
	Procedure *steps.Procedure
	// For has the damages that each step is there for.
	For map[string][]string
	// Blocks are its stages in the order in which they come.
	Blocks []Block
}

// A Block is a run of stages that all come before the next one, but that each part is
// repaired and cures by itself.
type Block struct {
	Title  string
	Stages []string
}

// Compose merges the repairs into one procedure. What they share is done once. All
// is looked at before anything is repaired, and what is lost comes off; what a zone rests on is repaired before
// it; joints cure side by side, and nothing is loaded before all of them have. What
// is stale is measured after all of it.
func Compose(answers []Answer, on Airframe) Plan {
	parts := partsOf(answers, on)
	c := composer{on: on, taken: map[string]bool{}, names: map[named]string{}, of: map[string][]string{}}
	c.out = &steps.Procedure{Name: Name, Kind: steps.Repair, Revision: 1, Title: "Repair of " + strings.Join(damagesOf(answers), ", "), About: reasonsOf(answers)}
	for _, p := range parts { // in the order of the damages, whose names then stay when more is found
		c.collect(p)
	}
	parts = on.baseFirst(parts)
	each := func(b block) {
		after := ends(c.out.Stages)
		for _, p := range parts {
			c.add(b, after, p.stages[b]...)
		}
	}
	c.common(steps.Safe, "Before anything is touched", first, parts)
	each(safe)
	each(look)
	for _, p := range slices.Backward(parts) { // what sits on another before that one
		c.add(off, ends(c.out.Stages), p.stages[off]...)
	}
	before := ends(c.out.Stages)
	for i, p := range parts {
		after := lists.Clone(before)
		for _, earlier := range parts[:i] {
			after = append(after, c.waits(p, earlier)...)
		}
		c.add(mend, after, p.stages[mend]...)
		c.add(cure, ends(p.stages[mend]), p.stages[cure]...)
	}
	for _, p := range parts {
		c.add(test, ends(c.out.Stages), p.stages[test]...)
	}
	c.common(steps.Structure, "After all repairs", middle, parts)
	c.common(steps.Recheck, "Before the last checks", again, parts)
	each(recheck)
	c.common(steps.Recheck, "When all work is done", last, parts)
	composed := len(c.out.Stages)
	measureLast(c.out)
	for _, s := range c.out.Stages[composed:] {
		c.in[recheck] = append(c.in[recheck], s.Name)
	}
	plan := Plan{Procedure: c.out, For: c.of}
	for b, title := range [blocks]string{"Make it safe", "Look at all of it", "Take off what is lost", "Repair", "Let it cure", "Test it", "Check it again"} {
		if len(c.in[b]) > 0 {
			plan.Blocks = append(plan.Blocks, Block{title, c.in[b]})
		}
	}
	return plan
}

func damagesOf(answers []Answer) []string {
	var names []string
	for _, a := range answers {
		names = append(names, a.Damage.Name)
	}
	return names
}

func reasonsOf(answers []Answer) string {
	var b strings.Builder
	for _, a := range answers {
		how := strings.TrimSuffix(a.Row.Outcome+" by "+a.Row.Procedure, " by ")
		fmt.Fprintf(&b, "- %s, %s at %s (%s): %s. %s\n", a.Damage.Name, a.Damage.Finding, a.Damage.Zone, a.Damage.Severity, how, a.Row.Why)
	}
	return b.String()
}

// A composer gives steps, joints and stages their names and puts them in order.
type composer struct {
	on     Airframe
	out    *steps.Procedure
	in     [blocks][]string // the stages of each block
	taken  map[string]bool
	names  map[named]string // of a part's steps, joints and methods
	of     map[string][]string
	shared []*shared
}

// named is something of a part that has a name.
type named struct {
	part       *part
	kind, name string
}

// add puts the stages into the plan. Those that come after no other of them come
// after these; what comes before one of these is not named again.
func (c *composer) add(b block, after []string, stages ...steps.Stage) {
	slices.Sort(after)
	after = lists.Compact(after)
	after = sorting.Delete(lists.Clone(after), func(name string) bool {
		return lists.ContainsFunc(after, func(other string) bool { return lists.Contains(c.out.Before(other), name) })
	})
	for _, s := range stages {
		if len(s.After) == 0 {
			s.After = after
		}
		c.out.Stages = append(c.out.Stages, s)
		c.in[b] = append(c.in[b], s.Name)
	}
}

// ends are the stages that no other of them comes after.
func ends(stages []steps.Stage) []string {
	var names []string
	for _, s := range stages {
		if !slices.ContainsFunc(stages, func(other steps.Stage) bool { return lists.Contains(other.After, s.Name) }) {
			names = append(names, s.Name)
		}
	}
	return names
}

// waits are the stages of an earlier part that the work of one waits for: for handling
// strength where its zone rests directly on that one's or closes over it, or farther off and a gate sees
// how one stands to the other, or where both work on one zone. Where it needs a
// condition that the glue of the earlier one forbids, such as a hot iron, it waits for
// the cure.
func (c *composer) waits(p, earlier *part) []string {
	same, rests, directly := false, false, false
	for _, z := range p.zones {
		for _, base := range earlier.zones {
			same = same || z == base
			rests = rests || lists.Contains(c.on.Made.Below(z), base)
			directly = directly || lists.Contains(c.on.Made.On(z), base) || lists.Contains(earlier.lies(), z)
		}
	}
	harms := (same || rests) && c.harms(p, earlier)
	sees := func(g steps.Gate) bool { return g.DependsOn(p.zones...) && g.DependsOn(earlier.zones...) }
	weighs := func(g steps.Gate) bool { return sees(g) && (g.Mass || g.Limits.Dimension() == quantity.Mass) }
	// Where all weighs together, such as the balance: it says nothing of how one stands.
	whole := func(g steps.Gate) bool {
		return slices.ContainsFunc(c.on.Gates, func(m steps.Gate) bool {
			return weighs(m) && !lists.ContainsFunc(m.Of, func(z string) bool { return !g.DependsOn(z) })
		})
	}
	switch {
	case harms:
		return c.rested(earlier, steps.UntilCure)
	case directly, same && p.procedure.Name != earlier.procedure.Name, rests && slices.ContainsFunc(c.on.Gates, func(g steps.Gate) bool { return sees(g) && !whole(g) }):
		return c.rested(earlier, steps.UntilHandling)
	}
	return nil
}

// harms reports whether the work of the part needs or sets a condition in another state than the
// glue of the earlier one needs it.
func (c *composer) harms(p, earlier *part) bool {
	var need []steps.Setting
	for _, s := range earlier.procedure.Steps() {
		if !s.Kind.Traits().Glues() {
			continue
		}
		need = append(need, s.Needs...)
		if c.on.Sheet != nil {
			for _, u := range c.on.Sheet.UsesOf(*s, s.Adhesives...) {
				need = append(need, u.NeedsAt(*s)...)
			}
		}
	}
	work := steps.Procedure{Stages: p.stages[mend]}
	return steps.AnyStep(work.Steps(), func(s *steps.Step) bool {
		return steps.AnySetting(slices.Concat(s.Needs, s.Sets), func(set steps.Setting) bool {
			return steps.AnySetting(need, func(n steps.Setting) bool { return n.Condition == set.Condition && n.State != set.State })
		})
	})
}

// rested are the stages with which the part's joints have the strength. A joint that
// its procedure doesn't wait for is waited for here.
func (c *composer) rested(p *part, until string) []string {
	stages := p.stages[mend]
	if until == steps.UntilCure {
		stages = slices.Concat(stages, p.stages[cure])
	}
	var left steps.Stage
	var waited []string
	for _, s := range slices.Backward((&steps.Procedure{Stages: stages}).Steps()) {
		if s.Kind.Traits().Passes && (s.Until == steps.UntilCure || s.Until == until) {
			waited = append(waited, s.Joint)
		}
		if s.Kind.Traits().Joins && !lists.Contains(waited, s.Joint) {
			waited = append(waited, s.Joint)
			left.Steps = append(left.Steps, steps.Step{
				Name: until + "-" + s.Joint, Title: "Leave " + s.Joint + " alone", Kind: steps.Wait, Joint: s.Joint, Until: until, Where: s.Where,
				Do: "Nobody leans on it.", Why: "What comes next works on it, or is set by it.",
			})
		}
	}
	names := ends(stages)
	if len(left.Steps) == 0 {
		return names
	}
	left.Name, left.Title, left.Phase = until+"-"+p.key, "Let it set: "+p.zone, steps.Structure
	if _, there := c.out.Stage(left.Name); !there {
		c.add(cure, names, left)
	}
	return []string{left.Name}
}
