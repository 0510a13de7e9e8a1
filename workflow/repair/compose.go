// Package repair composes one procedure from the answers to several damages. It
// is pure and knows no journal: package workflow says what is damaged and what
// is already being repaired.
package repair

import (
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
)

// Name is the name of a composed procedure.
const Name = "repair"

// A Damage is what was found, as far as it matters for the repair.
type Damage struct {
	Name, Finding, Zone, Severity string
}

// An Answer is what the triage table answers to one damage.
type Answer struct {
	Damage    Damage
	Row       steps.Row
	Known     bool             // a row of the table answers it; else it is inspected
	Procedure *steps.Procedure // nil: the part is scrapped
	Zone      string           // where the procedure is started; "" if it takes no zone
}

// A part is one repair of a plan: a procedure on a zone, or a part to scrap.
type part struct {
	key       string // what its names begin with where others have them too
	procedure *steps.Procedure
	zone      string
}

// Compose merges the repairs into one procedure: what they share is done once,
// in the order of their phases, and what is stale is measured after all of it.
func Compose(answers []Answer) *steps.Procedure {
	parts := partsOf(answers)
	c := composer{claims: map[string]int{}, taken: map[string]bool{}, names: map[string]string{}}
	for _, p := range parts {
		c.collect(p)
	}
	out := &steps.Procedure{Name: Name, Kind: steps.Repair, Revision: 1, Title: fmt.Sprintf("Repair of %s", damageNames(answers)), About: reasonsOf(answers)}
	var before []string // the stages of the phase before
	for _, phase := range steps.Phases() {
		stages := c.phase(phase, parts, before)
		out.Stages = append(out.Stages, stages...)
		if len(stages) > 0 {
			before = namesOf(stages)
		}
	}
	measureLast(out)
	return out
}

// measureLast has the plan measure what is stale after all work that disturbs
// something: what was measured before it would be stale again.
func measureLast(p *steps.Procedure) {
	stage, step := -1, -1
	for i := range p.Stages {
		for k, s := range p.Stages[i].Steps {
			if measuresStale(s) {
				stage, step = i, k
			}
		}
	}
	if stage >= 0 && !workAfter(p, stage, step) {
		return
	}
	last := steps.Step{
		Name: free(p, "measure-what-is-stale"), Title: "Measure what the repair disturbed", Kind: steps.Measure, Gates: []string{steps.Stale},
		Do: "Measure every gate that is shown.", Why: "What was disturbed is not known to be straight any more.",
	}
	if stage >= 0 && step == len(p.Stages[stage].Steps)-1 && step > 0 {
		last = p.Stages[stage].Steps[step] // nothing of its repair comes after it
		p.Stages[stage].Steps = p.Stages[stage].Steps[:step]
	}
	p.Stages = append(p.Stages, steps.Stage{Name: freeStage(p, "measure-again"), Title: "Measure again", After: namesOf(p.Stages), Phase: steps.Recheck, Steps: []steps.Step{last}})
}

func measuresStale(s steps.Step) bool { return slices.Contains(s.Gates, steps.Stale) }

// workAfter reports whether something may be disturbed after the step.
func workAfter(p *steps.Procedure, stage, step int) bool {
	earlier := p.Before(p.Stages[stage].Name)
	for i, other := range p.Stages {
		if slices.Contains(earlier, other.Name) {
			continue
		}
		for k, s := range other.Steps {
			if (i != stage || k > step) && (len(s.Disturbs) > 0 || s.Kind.Traits().Glues()) {
				return true
			}
		}
	}
	return false
}

func free(p *steps.Procedure, name string) string {
	return numbered(name, func(name string) bool {
		_, _, taken := p.Step(name)
		return taken
	})
}

func freeStage(p *steps.Procedure, name string) string {
	return numbered(name, func(name string) bool {
		_, taken := p.Stage(name)
		return taken
	})
}

// longest is how long a name of a document may be.
const longest = 60

// numbered is the name, cut to what a name may be long, with a number where it
// is taken.
func numbered(name string, taken func(string) bool) string {
	cut := func(most int) string { return strings.TrimRight(name[:min(most, len(name))], "-") }
	is := cut(longest)
	for n := 2; taken(is); n++ {
		number := fmt.Sprintf("-%d", n)
		is = cut(longest-len(number)) + number
	}
	return is
}

func damageNames(answers []Answer) string {
	var names []string
	for _, a := range answers {
		names = append(names, a.Damage.Name)
	}
	return strings.Join(names, ", ")
}

func reasonsOf(answers []Answer) string {
	var b strings.Builder
	for _, a := range answers {
		how := a.Row.Outcome + " by " + a.Row.Procedure
		if a.Procedure == nil {
			how = steps.ToScrap
		}
		fmt.Fprintf(&b, "- %s, %s at %s (%s): %s. %s\n", a.Damage.Name, a.Damage.Finding, a.Damage.Zone, a.Damage.Severity, how, a.Row.Why)
	}
	return b.String()
}

// partsOf returns each procedure on each zone once, however many damages it
// answers.
func partsOf(answers []Answer) []part {
	var parts []part
	for _, a := range answers {
		p := part{procedure: a.Procedure, zone: a.Zone}
		switch {
		case p.procedure == nil:
			p.procedure, p.zone = scrapping(a), a.Damage.Zone
		case a.Row.Outcome == steps.ToScrap:
			p.procedure = cutFree(p.procedure, scrapping(a).Stages[0])
		}
		p.key = p.procedure.Name
		if p.zone != "" {
			p.key += "-" + p.zone
		}
		if !slices.ContainsFunc(parts, func(have part) bool { return have.procedure.Name == p.procedure.Name && have.zone == p.zone }) {
			parts = append(parts, p)
		}
	}
	return parts
}

// cutFree is the procedure that cuts a lost part free, with what is done about it
// after its work on the structure.
func cutFree(p *steps.Procedure, scrap steps.Stage) *steps.Procedure {
	out := *p
	out.Name = "scrap-" + p.Name
	out.Stages = slices.Clone(p.Stages)
	for _, s := range p.Stages {
		if slices.Index(steps.Phases(), s.Phase) <= slices.Index(steps.Phases(), scrap.Phase) {
			scrap.After = append(scrap.After, s.Name)
		}
	}
	scrap.Name = freeStage(&out, scrap.Name)
	scrap.Steps[0].Name = free(&out, scrap.Steps[0].Name)
	out.Stages = append(out.Stages, scrap)
	return &out
}

// scrapping is the procedure for a part that is not worth repairing.
func scrapping(a Answer) *steps.Procedure {
	return &steps.Procedure{Name: "scrap", Stages: []steps.Stage{{Name: "scrap", Title: "Scrap and replace", Phase: steps.Structure, Steps: []steps.Step{{
		Name: "scrap-" + a.Damage.Zone, Title: "Scrap the " + a.Damage.Zone, Kind: steps.Hold, Disturbs: []string{a.Damage.Zone},
		Do: "- Take the part off and mark it as scrap, so that nobody fits it again.\n- Fit a new one as the build of the design says.\n", Why: a.Row.Why,
		Confirm: []string{"The old part is off, and marked as scrap", "A new part is fitted, as the build of the design says"},
	}}}}}
}

// A composer gives steps, joints and stages unique names.
type composer struct {
	claims map[string]int    // how many want a step or a joint of the name
	taken  map[string]bool   // names that are given
	names  map[string]string // of a part's steps and joints
	shared []*shared
}

// shared is a step that repairs have once between them, with the waits that
// count from it. Where they wait for different times, one counts on from the
// other: longer than asked, and never shorter.
type shared struct {
	written  steps.Step
	part     part // that has it first
	disturbs []string
	waits    []ofPart
	first    bool // a repair does it before its own work of the phase
	placed   bool
}

// ofPart is a step of a repair.
type ofPart struct {
	part part
	step steps.Step
}

// find is the shared step that this one is. Another document may have one of
// its name: that is another step, unless it is the same word for word.
func (c *composer) find(step steps.Step) *shared {
	i := slices.IndexFunc(c.shared, func(s *shared) bool { return s.written.Alike(step) })
	if i < 0 {
		return nil
	}
	return c.shared[i]
}

// collect counts the names that a part asks for, and gathers what it shares.
func (c *composer) collect(p part) {
	seen := map[string]bool{}
	claim := func(name string) {
		if !seen[name] {
			seen[name] = true
			c.claims[name]++
		}
	}
	for _, stage := range p.procedure.Stages {
		var on *shared // what a wait counts from
		first, last := stage.SharedEnds()
		for i, step := range stage.Steps {
			switch {
			case step.Shared:
				on = c.find(step)
				if on == nil {
					on = &shared{written: step, part: p}
					c.shared = append(c.shared, on)
					c.claims["step "+step.Name]++
				}
				on.disturbs = append(on.disturbs, zonesOf(p, step)...)
				on.first = on.first || i < first && (last < len(stage.Steps) || leads(p.procedure, stage))
			case on != nil && step.CountsOn():
				if !slices.ContainsFunc(on.waits, func(w ofPart) bool { return w.step.Alike(step) }) {
					on.waits = append(on.waits, ofPart{p, step})
					claim("step " + step.Name)
				}
			default:
				on = nil
				claim("step " + step.Name)
				claim("joint " + step.Joint)
				for _, m := range step.Methods {
					claim("method " + m.Name)
				}
			}
		}
	}
}

// leads reports whether a stage of nothing but shared steps is done before the
// work of its phase: in the last phase it is so where own work comes after it.
func leads(p *steps.Procedure, stage steps.Stage) bool {
	if phaseOf(stage) != steps.Recheck {
		return true
	}
	return slices.ContainsFunc(p.Stages, func(other steps.Stage) bool {
		return phaseOf(other) == steps.Recheck && slices.Contains(p.Before(other.Name), stage.Name)
	})
}

// name is a part's own name for something, told from another's.
func (c *composer) name(p part, kind, name string) string {
	if name == "" {
		return ""
	}
	key := strings.Join([]string{p.procedure.Name, p.zone, kind, name}, " ")
	if c.names[key] == "" {
		is := name
		if c.claims[kind+" "+name] > 1 {
			is = p.key + "-" + name
		}
		c.names[key] = c.give(kind, is)
	}
	return c.names[key]
}

// give gives a name that nothing of the kind has.
func (c *composer) give(kind, name string) string {
	is := numbered(name, func(name string) bool { return c.taken[kind+" "+name] })
	c.taken[kind+" "+is] = true
	return is
}

// phase gives the stages of one phase: what the repairs share, once, before
// the rest of it or after it.
func (c *composer) phase(phase string, parts []part, before []string) []steps.Stage {
	first := steps.Stage{Name: phase, Title: "Common steps: " + phase, Phase: phase}
	last := first
	var own []steps.Stage
	for _, p := range parts {
		names := map[string]string{} // of the part's stages in this phase
		for _, stage := range p.procedure.Stages {
			if phaseOf(stage) != phase {
				continue
			}
			made := steps.Stage{Title: stage.Title, Phase: phase}
			counting := false
			for _, step := range stage.Steps {
				switch {
				case step.Shared || counting && step.CountsOn():
					counting = true
				default:
					counting = false
					made.Steps = append(made.Steps, c.step(p, step))
				}
			}
			for _, a := range stage.After {
				if name, ok := names[a]; ok {
					made.After = append(made.After, name)
				}
			}
			if len(made.Steps) == 0 {
				continue
			}
			made.Name = c.give("stage", p.key+"-"+stage.Name)
			names[stage.Name] = made.Name
			own = append(own, made)
		}
	}
	for _, s := range c.inOrder(phase, parts) {
		to := &last
		if s.first {
			to = &first
		}
		to.Steps = append(to.Steps, c.common(s)...)
	}
	var all []steps.Stage
	if len(first.Steps) > 0 {
		first.Name = c.give("stage", phase)
		all = chain([]steps.Stage{first}, before)
		before = []string{first.Name}
	}
	own = chain(own, before)
	all = append(all, own...)
	if len(last.Steps) > 0 {
		last.Name = c.give("stage", phase)
		all = append(all, chain([]steps.Stage{last}, append(namesOf(own), before...))...)
	}
	return all
}

// inOrder gives the shared steps of a phase that are in no phase before: those
// of each repair in its order.
func (c *composer) inOrder(phase string, parts []part) []*shared {
	var all []*shared
	for _, p := range parts {
		var of []*shared
		for _, stage := range p.procedure.Stages {
			for _, step := range stage.Steps {
				if step.Shared && phaseOf(stage) == phase {
					of = append(of, c.find(step))
				}
			}
		}
		for i, s := range of {
			if s.placed {
				continue
			}
			s.placed = true
			at := len(all)
			for _, later := range of[i+1:] { // before what it comes before
				if k := slices.Index(all, later); k >= 0 {
					at = k
					break
				}
			}
			all = slices.Insert(all, at, s)
		}
	}
	return all
}

// common is a shared step in the plan, with the waits after it.
func (c *composer) common(s *shared) []steps.Step {
	step := s.written
	step.Name = c.name(s.part, "step", step.Name)
	step.Shared, step.Was, step.Disturbs = false, "", sorted(s.disturbs)
	all := []steps.Step{step}
	for _, w := range s.waits {
		all = append(all, c.step(w.part, w.step))
	}
	return all
}

func phaseOf(stage steps.Stage) string {
	if stage.Phase == "" {
		return steps.Structure
	}
	return stage.Phase
}

// chain makes the stages come after others.
func chain(stages []steps.Stage, before []string) []steps.Stage {
	for i := range stages {
		stages[i].After = append(stages[i].After, before...)
	}
	return stages
}

func namesOf(stages []steps.Stage) []string {
	var names []string
	for _, s := range stages {
		names = append(names, s.Name)
	}
	return names
}

// step is a part's step as it stands in the plan: with unique names, and with
// the zone in the place of "here".
func (c *composer) step(p part, step steps.Step) steps.Step {
	step.Name = c.name(p, "step", step.Name)
	step.Shared, step.Was = false, ""
	step.Joint = c.name(p, "joint", step.Joint)
	c.methods(p, &step)
	step.From = c.named(p, step.From)
	if step.Reopens() {
		step.Late = c.named(p, step.Late)
	}
	step.Disturbs = sorted(zonesOf(p, step))
	return step
}

// named is what a step of the part is called in the plan.
func (c *composer) named(p part, name string) string {
	if step, _, ok := p.procedure.Step(name); ok && step.Shared {
		if s := c.find(step); s != nil {
			return c.name(s.part, "step", s.written.Name)
		}
	}
	return c.name(p, "step", name)
}

// methods gives the methods that the step asks for, or that govern it, the names
// that they have in the plan.
func (c *composer) methods(p part, step *steps.Step) {
	own := map[string]bool{}
	for _, s := range p.procedure.Steps() {
		for _, m := range s.Methods {
			own[m.Name] = true
		}
	}
	if len(own) == 0 {
		return
	}
	renamed := func(names []string) []string {
		names = slices.Clone(names)
		for i, name := range names {
			if own[name] {
				names[i] = c.name(p, "method", name)
			}
		}
		return names
	}
	step.Methods = slices.Clone(step.Methods)
	for i, m := range step.Methods {
		step.Methods[i].Name = c.name(p, "method", m.Name)
	}
	with := step.With
	step.With = nil
	for _, any := range with {
		step.With = append(step.With, renamed(any))
	}
	step.Without = renamed(step.Without)
}

// zonesOf are the zones that a step of the part disturbs.
func zonesOf(p part, step steps.Step) []string {
	zones := slices.Clone(step.Disturbs)
	for i, z := range zones {
		if z == steps.Here {
			zones[i] = p.zone
		}
	}
	return zones
}

func sorted(zones []string) []string {
	slices.Sort(zones)
	return slices.Compact(zones)
}
