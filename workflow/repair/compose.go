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
	key       string // unique
	procedure *steps.Procedure
	zone      string
}

// Compose merges the repairs into one procedure, in the order of their phases.
// Steps that they share are done once.
func Compose(answers []Answer) *steps.Procedure {
	c := composer{taken: map[string]int{}, shared: map[string]bool{}}
	out := &steps.Procedure{Name: Name, Kind: steps.Repair, Revision: 1, Title: fmt.Sprintf("Repair of %s", damageNames(answers)), About: reasonsOf(answers)}
	parts := partsOf(answers)
	for _, p := range parts {
		c.count(p)
	}
	var before []string // the stages of the phase before
	for _, phase := range steps.Phases() {
		stages := c.phase(phase, parts, before)
		out.Stages = append(out.Stages, stages...)
		if len(stages) > 0 {
			before = nil
			for _, stage := range stages {
				before = append(before, stage.Name)
			}
		}
	}
	if !measuresStale(out) {
		out.Stages = append(out.Stages, steps.Stage{Name: "measure-again", Title: "Measure again", After: before, Phase: steps.Recheck, Steps: []steps.Step{{
			Name: "measure-what-is-stale", Title: "Measure what the repair disturbed", Kind: steps.Measure, Gates: []string{steps.Stale},
			Do: "Measure every gate that is shown.", Why: "What was disturbed is not known to be straight any more.",
		}}})
	}
	return out
}

func measuresStale(p *steps.Procedure) bool {
	return slices.ContainsFunc(p.Steps(), func(s steps.Step) bool { return slices.Contains(s.Gates, steps.Stale) })
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
		if p.procedure == nil {
			p.procedure, p.zone = scrapping(a), a.Damage.Zone
		}
		p.key = p.procedure.Name
		if p.zone != "" {
			p.key += "-" + p.zone
		}
		if !slices.ContainsFunc(parts, func(have part) bool { return have.key == p.key }) {
			parts = append(parts, p)
		}
	}
	return parts
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
	taken  map[string]int // how many parts have a step or a joint of that name
	shared map[string]bool
}

func (c *composer) count(p part) {
	seen := map[string]bool{}
	for _, s := range p.procedure.Steps() {
		for _, name := range []string{"step " + s.Name, "joint " + s.Joint} {
			if !seen[name] {
				seen[name] = true
				c.taken[name]++
			}
		}
	}
}

// name makes the name of a part's step or joint unique: if another part has the
// same one, the part's key goes in front.
func (c *composer) name(p part, kind, name string) string {
	if name == "" || c.taken[kind+" "+name] < 2 {
		return name
	}
	return p.key + "-" + name
}

// phase returns the stages of one phase: the shared steps, once, then each
// repair's own. In the last phase the shared steps come last.
func (c *composer) phase(phase string, parts []part, before []string) []steps.Stage {
	common := steps.Stage{Name: phase, Title: "Common steps: " + phase, Phase: phase}
	var own []steps.Stage
	for _, p := range parts {
		names := map[string]string{} // of the part's stages in this phase
		for _, stage := range p.procedure.Stages {
			if phaseOf(stage) != phase {
				continue
			}
			made := steps.Stage{Name: p.key + "-" + stage.Name, Title: stage.Title, Phase: phase}
			for _, step := range stage.Steps {
				if !step.Shared {
					made.Steps = append(made.Steps, c.step(p, step))
				} else if !c.shared[step.Name] {
					c.shared[step.Name] = true
					common.Steps = append(common.Steps, c.step(p, step))
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
			names[stage.Name] = made.Name
			own = append(own, made)
		}
	}
	switch {
	case len(common.Steps) == 0:
		return chain(own, before)
	case phase == steps.Recheck:
		own = chain(own, before)
		return append(own, chain([]steps.Stage{common}, append(namesOf(own), before...))...)
	}
	first := chain([]steps.Stage{common}, before)
	return append(first, chain(own, []string{common.Name})...)
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
	if !step.Shared {
		step.Name = c.name(p, "step", step.Name)
	}
	step.Shared = false
	step.Joint = c.name(p, "joint", step.Joint)
	step.Disturbs = slices.Clone(step.Disturbs)
	for i, z := range step.Disturbs {
		if z == steps.Here {
			step.Disturbs[i] = p.zone
		}
	}
	slices.Sort(step.Disturbs)
	step.Disturbs = slices.Compact(step.Disturbs)
	return step
}
