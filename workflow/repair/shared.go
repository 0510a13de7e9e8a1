package repair

import (
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// A place is where the plan has shared steps.
type place int

const (
	first  place = iota // before anything else
	middle              // after the repairs
	again               // before what a part checks by itself
	last
)

// shared is a step that repairs have once between them, with the waits that
// count from it. Where they wait for different times, one counts on from the
// other: longer than asked, and never shorter.
type shared struct {
	written  steps.Step
	name     string
	place    place // the first of those that its repairs have it at
	disturbs []string
	waits    []wait
}

// A wait is one that counts from a shared step, as written and in the plan.
type wait struct{ written, named steps.Step }

// gather gathers what the part shares.
func (c *composer) gather(p *part) {
	for _, stage := range p.procedure.Stages {
		var on *shared // what a wait counts from
		for i, step := range stage.Steps {
			switch {
			case step.Shared:
				on = c.share(p, step, p.place(stage, i))
			case on != nil && step.CountsOn():
				if !slices.ContainsFunc(on.waits, func(w wait) bool { return w.written.Alike(step) }) {
					on.waits = append(on.waits, wait{step, c.step(p, step)})
				}
			default:
				on = nil
			}
		}
	}
}

// share gathers a shared step. Another document may have one of its name: that is
// another step, unless it is the same word for word.
func (c *composer) share(p *part, step steps.Step, at place) *shared {
	i := slices.IndexFunc(c.shared, func(s *shared) bool { return s.written.Alike(step) })
	if i < 0 {
		key := ""
		if c.taken["step "+step.Name] {
			key = p.key
		}
		i, c.shared = len(c.shared), append(c.shared, &shared{written: step, name: c.give("step", step.Name, key), place: at})
	}
	s := c.shared[i]
	s.place = min(s.place, at)
	s.disturbs = append(s.disturbs, zonesOf(p, step.Disturbs)...)
	p.shared = append(p.shared, s)
	c.names[named{p, "step", step.Name}] = s.name
	c.isFor(s.name, p)
	return s
}

// common adds the shared steps of a place to the plan, in a stage of their own.
func (c *composer) common(name, title string, at place, parts []*part) {
	stage := steps.Stage{Title: title, Phase: name}
	for _, s := range inOrder(at, parts) {
		step := s.written
		step.Name, step.Shared, step.Was, step.There, step.Disturbs = s.name, false, "", nil, sorted(s.disturbs)
		stage.Steps = append(stage.Steps, step)
		for _, w := range s.waits {
			stage.Steps = append(stage.Steps, w.named)
		}
	}
	if len(stage.Steps) > 0 {
		stage.Name = c.give("stage", name, "")
		b := recheck
		if at == first {
			b = safe
		}
		c.add(b, ends(c.out.Stages), stage)
	}
}

// inOrder gives the shared steps of a place, those of each repair in its order.
func inOrder(at place, parts []*part) []*shared {
	var all []*shared
	for _, p := range parts {
		for i, s := range p.shared {
			if s.place != at || lists.Contains(all, s) {
				continue
			}
			to := len(all)
			for _, later := range p.shared[i+1:] { // before what it comes before
				if k := lists.Index(all, later); k >= 0 {
					to = k
					break
				}
			}
			all = sorting.Insert(all, to, s)
		}
	}
	return all
}

// name is a part's own name for something.
func (c *composer) name(p *part, kind, name string) string {
	of := named{p, kind, name}
	if name != "" && c.names[of] == "" {
		c.names[of] = c.give(kind, name, p.key)
	}
	return c.names[of]
}

// give gives a name that nothing of the kind has: as written, with what tells the part.
func (c *composer) give(kind, name, key string) string {
	if key != "" && !strings.HasSuffix(name, "-"+key) {
		name = strings.TrimRight(name[:min(len(name), max(1, longest-1-len(key)))], "-") + "-" + key
	}
	is := numbered(name, func(name string) bool { return c.taken[kind+" "+name] })
	c.taken[kind+" "+is] = true
	return is
}

// Stem is the name of a step of a plan without what tells its part, which the name of
// its stage ends with too.
func Stem(step, stage string) string {
	for i := range step {
		if rest := step[i:]; rest[0] == '-' && strings.HasSuffix(stage, rest) {
			return step[:i]
		}
	}
	return step
}

// isFor notes for which damages a step of the plan is there.
func (c *composer) isFor(step string, p *part) {
	for _, name := range damagesOf(p.answers) {
		if !lists.Contains(c.of[step], name) {
			c.of[step] = append(c.of[step], name)
		}
	}
}

// step is a part's step as it stands in the plan: with names of its own, and with the
// zone in the place of "here".
func (c *composer) step(p *part, step steps.Step) steps.Step {
	step.Name = c.name(p, "step", step.Name)
	c.isFor(step.Name, p)
	step.Shared, step.Was, step.There = false, "", nil
	step.Joint = c.name(p, "joint", step.Joint)
	c.methods(p, &step)
	step.From = c.name(p, "step", step.From)
	if step.Reopens() {
		step.Late = c.name(p, "step", step.Late)
	}
	step.Disturbs, step.Renews = sorted(zonesOf(p, step.Disturbs)), zonesOf(p, step.Renews)
	return step
}

// methods gives the methods that the step asks for, or that govern it, the names
// that they have in the plan.
func (c *composer) methods(p *part, step *steps.Step) {
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
		names = lists.Clone(names)
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

// zonesOf are the zones that a step of the part names, its own in the place of here.
func zonesOf(p *part, zones []string) []string {
	zones = lists.Clone(zones)
	for i, z := range zones {
		if z == steps.Here {
			zones[i] = p.zone
		}
	}
	return zones
}

func sorted(zones []string) []string {
	slices.Sort(zones)
	return lists.Compact(zones)
}
