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
	return append(faults, d.inEveryLife(d.optionsNamed(), d.jointsInOrder)...)
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
	for _, chosen := range combinations(options) {
		l := d.lifeOf(chosen)
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
	var releases []steps.Step
	for _, s := range p.Steps() {
		if s.Kind == steps.Release {
			releases = append(releases, s)
		}
	}
	switch {
	case p.Kind != steps.Repair && p.Kind != steps.Check && p.Kind != steps.Build:
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
	life := lifeOf(p)
	for _, s := range p.Steps() {
		if s.Name != last.Name && !life.before(s.Name, last.Name) {
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

// A life is a procedure as one airframe meets it, with the order of its steps:
// within a stage as written, between stages as after says.
type life struct {
	*steps.Procedure
	options []string
	stageOf map[string]int
	rank    map[string]int    // of steps, within their stage
	earlier []map[string]bool // by stage: the stages complete before it
}

func (d *Document) lifeOf(options []string) life {
	l := lifeOf(d.Procedure.For(options, steps.Here))
	l.options = options
	return l
}

func lifeOf(p *steps.Procedure) life {
	l := life{Procedure: p, stageOf: map[string]int{}, rank: map[string]int{}}
	for i, stage := range p.Stages {
		earlier := map[string]bool{}
		for _, name := range p.Before(stage.Name) {
			earlier[name] = true
		}
		l.earlier = append(l.earlier, earlier)
		for j, s := range stage.Steps {
			l.stageOf[s.Name], l.rank[s.Name] = i, j
		}
	}
	return l
}

// before reports whether the one step is always complete before the other.
func (l life) before(one, other string) bool {
	a, b := l.stageOf[one], l.stageOf[other]
	if a == b {
		return l.rank[one] < l.rank[other]
	}
	return l.earlier[b][l.Stages[a].Name]
}

// when says for which options something is so, where it is not so for all.
func (l life) when() string {
	if len(l.options) == 0 {
		return ""
	}
	return " (with " + strings.Join(slices.Sorted(slices.Values(l.options)), " and ") + ")"
}

// jointsInOrder finds joints that are not coated, then joined, then waited for.
func (d *Document) jointsInOrder(l life) Faults {
	var faults Faults
	say := func(s steps.Step, format string, args ...any) {
		faults = append(faults, d.fault(d.places[stepAt(s.Name)], fmt.Sprintf(format, args...)))
	}
	coats, joins := map[string][]steps.Step{}, map[string][]steps.Step{}
	for _, s := range l.Steps() {
		switch {
		case s.Joint == "": // waits for none, or said of the step
		case s.Kind == steps.Coat:
			coats[s.Joint] = append(coats[s.Joint], s)
		case s.Kind == steps.Join:
			joins[s.Joint] = append(joins[s.Joint], s)
		}
	}
	for _, stage := range l.Stages {
		for i, s := range stage.Steps {
			if s.Joint == "" && s.Kind != steps.Wait {
				continue
			}
			switch s.Kind {
			case steps.Coat:
				if len(joins[s.Joint]) == 0 {
					say(s, "the joint %s is coated and never joined%s%s", s.Joint, l.when(), suggestOnly(s.Joint, joins))
				}
				if first := coats[s.Joint][0]; s.Adhesive != first.Adhesive {
					say(s, "the joint %s is coated with %s here and with %s by the step %s: one joint has one adhesive", s.Joint, s.Adhesive, first.Adhesive, first.Name)
				}
			case steps.Join:
				if s.Name != joins[s.Joint][0].Name {
					say(s, "the joint %s is joined a second time%s", s.Joint, l.when())
					continue
				}
				if len(coats[s.Joint]) == 0 {
					say(s, "the joint %s is joined and never coated%s%s", s.Joint, l.when(), suggestOnly(s.Joint, coats))
				}
				for _, c := range coats[s.Joint] {
					if !l.before(c.Name, s.Name) {
						say(s, "the joint %s can be joined before it is coated by the step %s%s", s.Joint, c.Name, l.when())
					}
				}
			case steps.Wait:
				switch {
				case s.Joint == "" && i == 0:
					say(s, "it waits from the step before, and is the first of its stage%s", l.when())
				case s.Joint != "" && len(joins[s.Joint]) == 0:
					say(s, "it waits for the joint %s, which is never joined%s%s", s.Joint, l.when(), suggestOnly(s.Joint, joins))
				case s.Joint != "" && !l.before(joins[s.Joint][0].Name, s.Name):
					say(s, "it waits for the joint %s and can come before the joint is joined by the step %s%s", s.Joint, joins[s.Joint][0].Name, l.when())
				}
			}
		}
	}
	return faults
}

// suggestOnly is a suggestion out of the joints that others name.
func suggestOnly(name string, others map[string][]steps.Step) string {
	var known []string
	for k := range others {
		known = append(known, k)
	}
	slices.Sort(known)
	return suggest(name, known)
}
