package procedures

import (
	"fmt"
	"slices"
	"strings"

	"fettle/steps"
)

// ordered finds what is wrong with the order of a procedure, whatever design
// it is carried out on.
func (d *Document) ordered() Faults {
	if d.tooLarge() {
		return nil
	}
	faults, cyclic := d.stagesInOrder()
	faults = append(faults, d.releaseLast()...)
	if cyclic {
		return faults // nothing is before anything else
	}
	return append(faults, d.inEveryLife(d.optionsNamed(), d.stepsInOrder)...)
}

// tooLarge reports a procedure that is refused for its size alone: to look at
// the order of it all could take for ever.
func (d *Document) tooLarge() bool {
	return len(d.Procedure.Stages) > mostStages || len(d.Procedure.Steps()) > mostSteps
}

// inEveryLife checks every choice of the options. What is wrong with few of
// them is not said again of more.
func (d *Document) inEveryLife(options []string, check func(life) Faults) Faults {
	var faults Faults
	said := map[Fault][][]string{}
	order := orderOf(d.Procedure)
	for _, chosen := range combinations(options) {
		l := order.lifeOf(d.Procedure, chosen)
		for _, f := range check(l) {
			same := f
			same.Text = strings.Replace(f.Text, orWithout(l), "", 1)
			same.Text = strings.Replace(same.Text, l.when(), "", 1)
			fewer := func(before []string) bool {
				return !slices.ContainsFunc(before, func(o string) bool { return !slices.Contains(chosen, o) })
			}
			if !slices.ContainsFunc(said[same], fewer) {
				said[same] = append(said[same], chosen)
				faults = append(faults, f)
			}
		}
	}
	return faults
}

// stagesInOrder finds stages that wait for what is not there, or for each
// other.
func (d *Document) stagesInOrder() (faults Faults, cyclic bool) {
	var known []string
	for _, s := range d.Procedure.Stages {
		known = append(known, s.Name)
	}
	for _, s := range d.Procedure.Stages {
		at := d.places[stageAt(s.Name)]
		for _, a := range s.After {
			if !slices.Contains(known, a) {
				faults = append(faults, d.fault(at, fmt.Sprintf("the stage %s comes after an unknown stage %q%s", s.Name, a, suggest(a, known))))
			}
		}
		if ring := d.ring(s.Name); ring != nil {
			cyclic = true
			if slices.Min(ring) == s.Name { // say each ring once
				faults = append(faults, d.fault(at, "a cycle: stages come after each other: "+strings.Join(append(ring, s.Name), " after ")))
			}
		}
	}
	return faults, cyclic
}

// ring is a way from the stage along after back to itself, if there is one.
func (d *Document) ring(stage string) []string {
	var way []string
	seen := map[string]bool{}
	var walk func(string) bool
	walk = func(name string) bool {
		s, ok := d.Procedure.Stage(name)
		if !ok {
			return false
		}
		way = append(way, name)
		for _, a := range s.After {
			if a == stage {
				return true
			}
			if !seen[a] {
				seen[a] = true
				if walk(a) {
					return true
				}
			}
		}
		way = way[:len(way)-1]
		return false
	}
	if walk(stage) {
		return way
	}
	return nil
}

// releaseLast asks a build for one release, at its end; nothing else gives one.
func (d *Document) releaseLast() Faults {
	var faults Faults
	p := d.Procedure
	kinds := stepKinds()
	var releases []steps.Step
	for _, s := range p.Steps() {
		if kindOf(kinds, s.Kind).last {
			releases = append(releases, s)
		}
	}
	switch {
	case !slices.Contains(kindsOfProcedure(), p.Kind):
		return nil // said of the kind
	case p.Kind != steps.Build:
		for _, s := range releases {
			faults = append(faults, d.fault(d.places[stepAt(s.Name)], fmt.Sprintf("a %s gives no release; only a build ends with one", p.Kind)))
		}
		return faults
	case len(releases) == 0:
		return Faults{d.fault(place{1, 1}, "a build ends with a release, and this one has none")}
	}
	for _, s := range releases[1:] {
		faults = append(faults, d.fault(d.places[stepAt(s.Name)], "a second release; a build has one"))
	}
	last := releases[0]
	if last.With != "" || last.Without != "" {
		faults = append(faults, d.fault(d.places[stepAt(last.Name)], "the release depends on an option; every airframe is released"))
	}
	all := life{order: orderOf(p), Procedure: p}
	for _, s := range p.Steps() {
		if s.Name != last.Name && !all.before(s.Name, last.Name) {
			faults = append(faults, d.fault(d.places[stepAt(last.Name)], fmt.Sprintf("the release is not last: the step %s may come after it", s.Name)))
			break
		}
	}
	return faults
}

// optionsNamed are the options that the steps depend on.
func (d *Document) optionsNamed() []string {
	var names []string
	for _, s := range d.Procedure.Steps() {
		for _, o := range []string{s.With, s.Without} {
			if o != "" && !slices.Contains(names, o) {
				names = append(names, o)
			}
		}
	}
	return names
}

// combinations are all choices of the options. Beyond mostOptions, which no
// sheet has, it gives none and all of them.
func combinations(options []string) [][]string {
	if len(options) > mostOptions {
		return [][]string{nil, options}
	}
	all := [][]string{nil}
	for _, o := range options {
		for _, have := range all {
			all = append(all, append(slices.Clone(have), o))
		}
	}
	return all
}

// An order is where the steps of a procedure stand: within a stage as written,
// between stages as after says. It is the same for every choice of the options.
type order struct {
	kinds   []stepKind
	stageOf map[string]int
	rank    map[string]int    // of steps, within their stage
	earlier []map[string]bool // by stage: the stages complete before it
}

func orderOf(p *steps.Procedure) *order {
	o := &order{kinds: stepKinds(), stageOf: map[string]int{}, rank: map[string]int{}}
	for i, stage := range p.Stages {
		earlier := map[string]bool{}
		for _, name := range p.Before(stage.Name) {
			earlier[name] = true
		}
		o.earlier = append(o.earlier, earlier)
		for j, s := range stage.Steps {
			o.stageOf[s.Name], o.rank[s.Name] = i, j
		}
	}
	return o
}

// A life is a procedure as one airframe meets it.
type life struct {
	*order
	*steps.Procedure
	options []string
	steps   []steps.Step
	joints  map[atJoint][]int // by index of steps
}

// atJoint are the steps of one kind at one joint.
type atJoint struct {
	kind  steps.Kind
	joint string
}

func (o *order) lifeOf(p *steps.Procedure, options []string) life {
	l := life{order: o, Procedure: p.For(options, steps.Here), options: options, joints: map[atJoint][]int{}}
	l.steps = l.Procedure.Steps()
	for i := range l.steps {
		if s := &l.steps[i]; s.Joint != "" {
			l.joints[atJoint{s.Kind, s.Joint}] = append(l.joints[atJoint{s.Kind, s.Joint}], i)
		}
	}
	return l
}

// at are the steps of the kind at the joint, as written.
func (l life) at(kind steps.Kind, joint string) []steps.Step {
	var all []steps.Step
	for _, i := range l.joints[atJoint{kind, joint}] {
		all = append(all, l.steps[i])
	}
	return all
}

// suggestJoint is a suggestion out of the joints that steps of the kind name.
func (l life) suggestJoint(kind steps.Kind, name string) string {
	var known []string
	for at := range l.joints {
		if at.kind == kind {
			known = append(known, at.joint)
		}
	}
	slices.Sort(known)
	return suggest(name, known)
}

// before reports whether the one step is always complete before the other.
func (l life) before(one, other string) bool {
	a, b := l.stageOf[one], l.stageOf[other]
	if a == b {
		return l.rank[one] < l.rank[other]
	}
	return l.earlier[b][l.Stages[a].Name]
}

func (l life) firstOfStage(step string) bool {
	return l.Stages[l.stageOf[step]].Steps[0].Name == step
}

// when says for which options something is so, where it is not so for all.
func (l life) when() string {
	if len(l.options) == 0 {
		return ""
	}
	return " (with " + strings.Join(slices.Sorted(slices.Values(l.options)), " and ") + ")"
}

// stepsInOrder checks each step as its kind asks: joints are coated, then
// joined, then waited for.
func (d *Document) stepsInOrder(l life) Faults {
	var faults Faults
	for _, s := range l.steps {
		if k := kindOf(l.kinds, s.Kind); k.order != nil {
			k.order(l, s, d.complain(s, &faults))
		}
	}
	return faults
}

// complain reports faults of the step.
func (d *Document) complain(s steps.Step, faults *Faults) complain {
	return func(format string, args ...any) {
		*faults = append(*faults, d.fault(d.places[stepAt(s.Name)], fmt.Sprintf(format, args...)))
	}
}
