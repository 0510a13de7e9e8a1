package procedures

import (
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"fettle/steps"
	"fettle/steps/quantity"
)

// The most that a procedure may have.
const (
	mostStages = 100
	mostSteps  = 1000
)

func (r *reader) procedure(n *yaml.Node) *steps.Procedure {
	f := r.fields(n, "a procedure", "procedure", "kind", "design", "on", "title", "revision", "about", "stages")
	p := &steps.Procedure{
		Name: f.mustName("procedure"), Title: f.mustText("title"), About: f.text("about"), Design: f.name("design"),
		On: f.names("on", func(n *yaml.Node, name string) { r.refer(zone, n, name, "") }),
	}
	if f.must("revision") != nil {
		p.Revision = f.whole("revision", 1_000_000)
	}
	kinds := []string{steps.Build, steps.Repair, steps.Check}
	if v := f.must("kind"); v != nil {
		p.Kind = f.text("kind")
		if p.Kind != "" && !slices.Contains(kinds, p.Kind) {
			r.fault(v, "unknown kind %q%s", p.Kind, suggest(p.Kind, kinds))
		}
	}
	if p.Kind == steps.Build && p.Design == "" && !f.has("design") {
		r.fault(n, "a build names its design")
	}
	if v := f.must("stages"); v != nil {
		seen := map[string]bool{}
		r.list(v, "stages", func(item *yaml.Node) {
			stage := r.stage(item, p, seen)
			if stage.Name != "" {
				p.Stages = append(p.Stages, stage)
			}
		})
		if len(p.Stages) > mostStages || len(seen) > mostSteps {
			r.fault(v, "%d stages with %d steps; at most %d with %d", len(p.Stages), len(seen), mostStages, mostSteps)
		}
	}
	return p
}

func (r *reader) stage(n *yaml.Node, p *steps.Procedure, seen map[string]bool) steps.Stage {
	f := r.fields(n, "a stage", "stage", "title", "after", "phase", "steps")
	s := steps.Stage{Name: f.mustName("stage"), Title: f.text("title"), After: f.names("after", nil)}
	if v := f.values["phase"]; v != nil {
		s.Phase = f.text("phase")
		if s.Phase != "" && !slices.Contains(steps.Phases(), s.Phase) {
			r.fault(v, "unknown phase %q%s", s.Phase, suggest(s.Phase, steps.Phases()))
		}
	}
	if s.Name != "" {
		if _, twice := p.Stage(s.Name); twice {
			r.fault(f.values["stage"], "a stage %q is there already", s.Name)
		}
		r.doc.places[stageAt(s.Name)] = at(n)
	}
	if v := f.must("steps"); v != nil {
		r.list(v, "steps", func(item *yaml.Node) {
			step := r.step(item, p)
			if step.Name == "" {
				return
			}
			if seen[step.Name] {
				r.fault(item, "a step %q is there already", step.Name)
			}
			seen[step.Name] = true
			s.Steps = append(s.Steps, step)
		})
	}
	return s
}

// stepKinds are the keys of which a step has at most one.
func stepKinds() []string {
	kinds := make([]string, 0, 6)
	for _, k := range []steps.Kind{steps.Coat, steps.Join, steps.Wait, steps.Measure, steps.Hold, steps.Release} {
		kinds = append(kinds, string(k))
	}
	return kinds
}

func (r *reader) step(n *yaml.Node, p *steps.Procedure) steps.Step {
	known := append([]string{"step", "title", "caution", "do", "why", "hands", "needs", "sets", "disturbs", "with", "without", "shared"}, stepKinds()...)
	f := r.fields(n, "a step", known...)
	s := steps.Step{
		Name: f.mustName("step"), Title: f.text("title"), Do: f.text("do"), Why: f.text("why"), Cautions: f.texts("caution"),
		Hands: f.size("hands", quantity.Duration), Kind: steps.Do, Shared: f.yes("shared"), Needs: r.settings(f, "needs"), Sets: r.settings(f, "sets"),
	}
	if s.Name != "" {
		r.doc.places[stepAt(s.Name)] = at(n)
		f.what = "the step " + s.Name
	}
	s.Disturbs = f.names("disturbs", func(n *yaml.Node, name string) {
		switch {
		case name != steps.Here:
			r.refer(zone, n, name, "")
		case len(p.On) == 0:
			r.fault(n, "here is the zone that a repair was started on, and this procedure has no line on:")
		}
	})
	s.With, s.Without = r.governed(f)
	r.kind(f, &s)
	return s
}

// settings are conditions in their states.
func (r *reader) settings(f fields, key string) []steps.Setting {
	n := f.values[key]
	if n == nil {
		return nil
	}
	var all []steps.Setting
	r.pairs(n, key, func(name string, k, v *yaml.Node) {
		if r.name(k, "a condition") == "" {
			return
		}
		is := r.name(v, "the state of "+name)
		r.refer(condition, k, name, "")
		r.refer(state, v, is, name)
		all = append(all, steps.Setting{Condition: name, State: is})
	})
	return all
}

// kind reads what satisfies the step.
func (r *reader) kind(f fields, s *steps.Step) {
	var has []string
	for _, k := range stepKinds() {
		if f.has(k) {
			has = append(has, k)
		}
	}
	switch len(has) {
	case 0:
		if s.Do == "" && !f.has("do") {
			r.fault(f.node, "%s has nothing to do: write do, or one of %s", f.what, strings.Join(stepKinds(), ", "))
		}
		return
	case 1:
	default:
		r.fault(f.values[has[1]], "%s has %s: a step is one of them", f.what, strings.Join(has, " and "))
		return
	}
	n := f.values[has[0]]
	s.Kind = steps.Kind(has[0])
	switch s.Kind {
	case steps.Coat:
		c := r.fields(n, "coat", "joint", "with")
		s.Joint = c.mustName("joint")
		if c.must("with") != nil {
			s.Adhesive = c.refers("with", adhesive)
		}
	case steps.Join:
		r.join(n, f, s)
	case steps.Wait:
		r.wait(n, s)
	case steps.Measure:
		s.Gates = f.names(has[0], func(n *yaml.Node, name string) {
			if name != steps.Stale {
				r.refer(gate, n, name, "")
			}
		})
		if slices.Contains(s.Gates, steps.Stale) && len(s.Gates) > 1 {
			r.fault(n, "%s stands alone: it is every gate that this job made stale", steps.Stale)
		}
	case steps.Hold:
		h := r.fields(n, "hold", "confirm")
		if h.must("confirm") != nil {
			s.Confirm = h.texts("confirm")
		}
	case steps.Release:
		if !r.yes(n, "release") && n.Kind == yaml.ScalarNode {
			r.fault(n, "release is yes, or the line is left away")
		}
	}
}

func (r *reader) join(n *yaml.Node, f fields, s *steps.Step) {
	s.Load = true
	if n.Kind == yaml.MappingNode {
		j := r.fields(n, "join", "joint", "load")
		s.Joint = j.mustName("joint")
		if j.has("load") {
			s.Load = j.yes("load")
		}
	} else {
		s.Joint = f.name("join")
	}
	if len(s.Disturbs) == 0 && !f.has("disturbs") {
		r.fault(f.node, "%s joins something and disturbs nothing: name the zones whose gates must be measured again", f.what)
	}
}

func (r *reader) wait(n *yaml.Node, s *steps.Step) {
	if n.Kind == yaml.ScalarNode {
		s.For = r.quantity(n, "wait", quantity.Duration)
		if !s.For.IsZero() && nought(s.For) {
			r.fault(n, "wait is nought or less")
		}
		return
	}
	w := r.fields(n, "wait", "joint", "until")
	s.Joint = w.mustName("joint")
	if v := w.must("until"); v != nil {
		s.Until = w.text("until")
		known := []string{steps.UntilHandling, steps.UntilCure}
		if s.Until != "" && !slices.Contains(known, s.Until) {
			r.fault(v, "a joint is waited for until %s, not until %q", strings.Join(known, " or "), s.Until)
		}
	}
}
