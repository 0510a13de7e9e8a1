package procedures

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/nearest"
	"fettle/steps/sorting"
)

// ordered finds what is wrong with the order of a procedure, whatever the design.
func (d *Document) ordered() Faults {
	if d.tooLarge() {
		return nil
	}
	o := d.order()
	if d.Procedure.Kind == steps.Shared {
		return d.releaseLast(o) // the order is that of who uses it
	}
	faults, cyclic := d.stagesInOrder()
	faults = append(faults, d.releaseLast(o)...)
	faults = append(faults, d.renewed(o)...)
	if d.Procedure.Kind != steps.Build { // which is never one of several in a plan
		faults = append(faults, d.sharedAtEnds()...)
	}
	if cyclic {
		return faults // in a cycle there is no order to check
	}
	faults = append(faults, d.methodsInOrder(o)...)
	// The sheet may have options that exclude each other, which is not known here.
	options := o.optionsNamed()
	variants := withMethods(combined(yesOrNo(options)), d.Procedure)
	if len(variants) > mostCombinations {
		return faults // a sheet says what of that can be
	}
	one := func(with []string) bool {
		return len(sorting.Delete(lists.Clone(with), func(n string) bool { return !lists.Contains(options, n) })) < 2
	}
	d.late = d.inEveryVariant(o, covering(variants), one, func(v variant) Faults {
		return append(d.stepsInOrder(v), d.needsInOrder(v)...)
	})
	return append(faults, d.late...)
}

// renewed finds steps that cut a part out which nothing after them sets anew: what was glued
// to it would count no more.
func (d *Document) renewed(o *order) Faults {
	var faults Faults
	for s := range o.all() {
		for _, zone := range s.Renews {
			set := false
			for later := range o.all() {
				set = set || later.Kind.Traits().Joins && lists.Contains(later.Disturbs, zone) && o.before(s.Name, later.Name)
			}
			if takesOff(s) && (!set || d.Procedure.Kind != steps.Repair) {
				d.complain(s, &faults)("renews", "%s renews %s, and no later step of a repair joins a new part there: delete renews", s.Name, zone)
			}
		}
	}
	return faults
}

// sharedAtEnds finds shared steps that a plan of several repairs could not put
// before all work of its own or after it.
func (d *Document) sharedAtEnds() Faults {
	var faults Faults
	for _, stage := range d.Procedure.Stages {
		first, last := stage.SharedEnds()
		for i := range stage.Steps {
			s := &stage.Steps[i]
			if !s.Shared {
				continue
			}
			if i >= first && i < len(stage.Steps)-last {
				d.complain(s, &faults)("shared", "the shared step %s stands between others of its stage: a plan of several repairs does it before them or after them; move it to the beginning or the end", s.Name)
			}
			if s.Kind.Traits().Glues() {
				d.complain(s, &faults)("shared", "the shared step %s works on a joint, which each repair has for itself", s.Name)
			}
		}
	}
	return faults
}

// tooLarge reports whether a procedure must be refused for its size alone: checking
// its order could take for ever.
func (d *Document) tooLarge() bool {
	return d.cut || len(d.Procedure.Stages) > mostStages || stepsOf(d.Procedure.Stages) > mostSteps
}

// inEveryVariant checks every combination of the options. A fault is reported once
// for each smallest set of options with which it is always there, of as many as may
// be if that is given: of more, nobody knows yet whether an airframe can have them.
func (d *Document) inEveryVariant(o *order, variants [][]string, certain func(with []string) bool, check func(variant) Faults) Faults {
	var all Faults            // each once, without its options
	in := map[Fault][]Fault{} // as it is in each variant
	at := map[Fault][]int{}   // which these are
	for i, has := range variants {
		if len(all) > mostFaults {
			break
		}
		v := o.variantOf(has)
		for _, f := range check(v) {
			same := f
			same.Text = strings.Replace(f.Text, orWithout(v), "", 1)
			same.Text = strings.Replace(same.Text, v.when(), "", 1)
			switch where := at[same]; {
			case len(where) == 0:
				all = append(all, same)
			case where[len(where)-1] == i:
				continue
			}
			in[same], at[same] = append(in[same], f), append(at[same], i)
		}
	}
	var faults Faults
	sets := 0
	for _, same := range all {
		var reported [][]string
		for k, i := range at[same] {
			if slices.ContainsFunc(reported, func(before []string) bool { return holds(variants[i], before) }) {
				continue
			}
			if sets++; sets > 2*mostFaults {
				return faults // more than anybody reads
			}
			with := fewest(variants[i], variants, at[same])
			reported = append(reported, with)
			if certain != nil && !(certain(with) && always(with, variants, at[same])) {
				continue
			}
			f := in[same][k]
			if v := (variant{options: variants[i]}); len(with) < len(variants[i]) {
				f.Text = strings.Replace(f.Text, v.when(), variant{options: with}.when(), 1)
			}
			faults = append(faults, f)
		}
	}
	return faults
}

// fewest drops options of the combination without which the fault is there too,
// whatever else an airframe has.
func fewest(of []string, variants [][]string, at []int) []string {
	with := lists.Clone(of)
	for _, o := range of {
		less := sorting.Delete(lists.Clone(with), func(name string) bool { return name == o })
		if always(less, variants, at) {
			with = less
		}
	}
	return with
}

// always reports whether all variants that have the options are among those.
func always(with []string, variants [][]string, at []int) bool {
	for i, has := range variants {
		if _, there := slices.BinarySearch(at, i); !there && holds(has, with) {
			return false
		}
	}
	return true
}

// holds reports whether all of a few are among the names.
//
//go:noinline
func holds(names, few []string) bool {
	return !lists.ContainsFunc(few, func(one string) bool { return !lists.Contains(names, one) })
}

// stagesInOrder finds stages that wait for unknown stages or for each other.
func (d *Document) stagesInOrder() (faults Faults, cyclic bool) {
	var known []string
	for _, s := range d.Procedure.Stages {
		known = append(known, s.Name)
	}
	for _, s := range d.Procedure.Stages {
		at := d.places[stageAt(s.Name)]
		for _, a := range s.After {
			if !lists.Contains(known, a) {
				d.doubts.order = true
				if d.doubts.stages {
					continue
				}
				faults = d.also(faults, at, fmt.Sprintf("the stage %s comes after an unknown stage %q%s", s.Name, a, suggest(a, known)))
			}
		}
		if ring := d.ring(s.Name); ring != nil {
			cyclic, d.doubts.order = true, true
			if slices.Min(ring) == s.Name { // report each cycle once
				faults = d.also(faults, at, "a cycle: stages come after each other: "+strings.Join(append(ring, s.Name), " after "))
			}
		}
	}
	return faults, cyclic
}

// ring is a path along after from the stage back to itself, if there is one.
func (d *Document) ring(stage string) []string {
	return ringFrom(stage, func(name string) []string {
		s, _ := d.Procedure.Stage(name)
		return s.After
	})
}

// ringFrom is a path from the name along what each leads to back to itself, nil
// if there is none.
func ringFrom(name string, leads func(string) []string) []string {
	var way []string
	seen := map[string]bool{}
	var walk func(string) bool
	walk = func(at string) bool {
		way = append(way, at)
		for _, next := range leads(at) {
			if next == name {
				return true
			}
			if !seen[next] {
				seen[next] = true
				if walk(next) {
					return true
				}
			}
		}
		way = way[:len(way)-1]
		return false
	}
	if walk(name) {
		return way
	}
	return nil
}

// releaseLast makes sure that a build has one release, at its end, and that nothing
// else has one.
func (d *Document) releaseLast(o *order) Faults {
	p := d.Procedure
	if !lists.Contains(kindsOfProcedure(), p.Kind) {
		return nil // the kind's fault says it
	}
	var faults Faults
	say := func(s *steps.Step, format string, args ...any) { d.complain(s, &faults)("", format, args...) }
	var releases []*steps.Step
	for s := range o.all() {
		if s.Kind.Traits().Releases {
			releases = append(releases, s)
		}
	}
	if p.Kind != steps.Build {
		what := articled(p.Kind)
		if p.Kind == steps.Shared {
			what = "a document of shared steps"
		}
		for _, s := range releases {
			say(s, "%s cannot release; only a build ends with a release", what)
		}
		return faults
	}
	if len(releases) == 0 && d.doubts.lost(steps.Release) {
		return nil
	}
	if len(releases) == 0 {
		return Faults{d.fault(top(), "a build must end with a release; this one has none; write as the last step of its last stage: - {step: release, release: yes}")}
	}
	for _, s := range releases[1:] {
		say(s, "a second release; a build has only one")
	}
	last := releases[0]
	if len(last.Options()) > 0 {
		say(last, "the release depends on an option; every airframe needs a release")
	}
	var after []string
	for s := range o.all() {
		if s.Name != last.Name && !o.before(s.Name, last.Name) {
			after = append(after, s.Name)
		}
	}
	if len(after) == 0 {
		return faults
	}
	of, write := "", d.beforeRelease(o, last)
	if write != "" {
		// What may come after the release may come after much else, which follows from it.
		d.doubts.order, o.doubts.order = true, true
	}
	if n := len(after) - 1; n > 0 {
		of = fmt.Sprintf(", and %d more,", n)
	}
	say(last, "the release is not last: the step %s%s may come after it%s", after[0], of, write)
	return faults
}

// beforeRelease says what to write for the stages that need not come before that of
// the release; "" where none is left out.
func (d *Document) beforeRelease(o *order, release *steps.Step) string {
	i := o.stageOf[release.Name]
	own := o.stages[i]
	var out []string
	for j, s := range o.stages {
		if j != i && !o.earlier[i][s.Name] {
			out = append(out, s.Name)
		}
	}
	last := sorting.Delete(lists.Clone(out), func(name string) bool { // another of them comes after it
		return lists.ContainsFunc(out, func(other string) bool {
			return other != name && lists.Contains(d.Procedure.Before(other), name)
		})
	})
	if len(last) == 0 || lists.ContainsFunc(last, func(name string) bool { return lists.Contains(d.Procedure.Before(name), own.Name) }) {
		return ""
	}
	return fmt.Sprintf(": no stage before it comes after %s; write, for the stage %s or one before it: after: [%s]", listed(last), own.Name, strings.Join(lists.Concat(own.After, last), ", "))
}

// optionsNamed are the options that the steps depend on, without the methods.
func (o *order) optionsNamed() []string {
	var names, methods []string
	for s := range o.all() {
		for _, m := range s.Methods {
			methods = append(methods, m.Name)
		}
	}
	for s := range o.all() {
		for _, name := range s.Options() {
			if !lists.Contains(names, name) && !lists.Contains(methods, name) {
				names = append(names, name)
			}
		}
	}
	return names
}

// An order is the order of a procedure's steps: within a stage as written, between
// stages as after says. It does not depend on the options.
type order struct {
	kinds   []stepKind
	stages  []steps.Stage
	stageOf map[string]int
	rank    map[string]int    // of steps, within their stage
	earlier []map[string]bool // by stage: the stages complete before it
	doubts  doubts
	twice   map[string]bool // steps of one name
	asked   int             // how often a joint was suggested
}

// order is the order of the document's steps.
//
//go:noinline
func (d *Document) order() *order {
	o := orderOf(d.Procedure)
	o.doubts = d.doubts
	return o
}

func orderOf(p *steps.Procedure) *order {
	o := &order{kinds: stepKinds(), stages: p.Stages, stageOf: map[string]int{}, rank: map[string]int{}, twice: map[string]bool{}}
	for i, stage := range p.Stages {
		earlier := map[string]bool{}
		for _, name := range p.Before(stage.Name) {
			earlier[name] = true
		}
		o.earlier = append(o.earlier, earlier)
		for j := range stage.Steps {
			name := stage.Steps[j].Name
			if _, met := o.rank[name]; met {
				o.twice[name] = true
			}
			o.stageOf[name], o.rank[name] = i, j
		}
	}
	return o
}

// all are the steps, as written.
func (o *order) all() iter.Seq[*steps.Step] {
	return func(yield func(*steps.Step) bool) {
		for _, stage := range o.stages {
			for j := range stage.Steps {
				if !yield(&stage.Steps[j]) {
					return
				}
			}
		}
	}
}

// before reports whether the one step is always complete before the other, or
// may be where that is in doubt.
// It is not inlined: its copies in all callers would take 5 KB.
//
//go:noinline
func (o *order) before(one, other string) bool {
	if o.twice[one] || o.twice[other] {
		return true
	}
	a, b := o.stageOf[one], o.stageOf[other]
	if a == b {
		return o.rank[one] < o.rank[other]
	}
	return o.doubts.order || o.earlier[b][o.stages[a].Name]
}

// A variant is a procedure for one airframe: the steps that apply with its options.
type variant struct {
	*order
	options []string
	steps   []*steps.Step
	first   map[int]*steps.Step       // of each stage
	joints  map[atJoint][]*steps.Step // as written
	part    map[*steps.Step]int       // how many joins of its joint are written before it
}

// atJoint are the steps that do the same to one joint.
type atJoint struct {
	does  deed
	joint string
}

// A deed is what steps do to a joint.
type deed int

const (
	coats deed = iota
	joins
)

func (d deed) of(t steps.Traits) bool { return d == coats && t.Coats || d == joins && t.Joins }

func (o *order) variantOf(options []string) variant {
	v := variant{order: o, options: options, first: map[int]*steps.Step{}, joints: map[atJoint][]*steps.Step{}, part: map[*steps.Step]int{}}
	for i, stage := range o.stages {
		for j := range stage.Steps {
			s := &stage.Steps[j]
			if !s.Applies(options) {
				continue
			}
			v.steps = append(v.steps, s)
			if v.first[i] == nil {
				v.first[i] = s
			}
			if s.Kind.Traits().Glues() {
				v.part[s] = len(v.at(joins, s.Joint))
			}
			for _, does := range []deed{coats, joins} {
				if s.Joint != "" && does.of(s.Kind.Traits()) {
					v.joints[atJoint{does, s.Joint}] = append(v.joints[atJoint{does, s.Joint}], s)
				}
			}
		}
	}
	return v
}

// at are the steps that do it to the joint.
func (v variant) at(does deed, joint string) []*steps.Step {
	return v.joints[atJoint{does, joint}]
}

// suggestJoint suggests one of the joints to which some step does it.
func (v variant) suggestJoint(does deed, name string) string {
	if v.asked++; v.asked > mostFaults {
		return ""
	}
	var known []string
	for at := range v.joints {
		if at.does == does {
			known = append(known, at.joint)
		}
	}
	slices.Sort(known)
	return suggest(name, known)
}

// called is the step of that name, nil if there is none.
func (v variant) called(name string) *steps.Step {
	rank, ok := v.rank[name]
	if !ok {
		return nil
	}
	if s := &v.stages[v.stageOf[name]].Steps[rank]; s.Applies(v.options) {
		return s
	}
	return nil
}

// beside is the step after another one in its stage, or with -1 the one before,
// nil if there is none.
func (v variant) beside(s *steps.Step, by int) *steps.Step {
	of := v.stages[v.stageOf[s.Name]].Steps
	for i := v.rank[s.Name] + by; i >= 0 && i < len(of); i += by {
		if of[i].Applies(v.options) {
			return &of[i]
		}
	}
	return nil
}

// suggestStep suggests one of the steps.
func (v variant) suggestStep(name string) string {
	if v.asked++; v.asked > mostFaults {
		return ""
	}
	var known []string
	for _, s := range v.steps {
		known = append(known, s.Name)
	}
	if near := nearest.Of(name, known); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	return ""
}

// firstOfStage reports whether the step is the first of its stage.
func (v variant) firstOfStage(s *steps.Step) bool { return v.first[v.stageOf[s.Name]] == s }

// when names the options for which a fault holds, unless it holds for all.
func (v variant) when() string {
	if len(v.options) == 0 {
		return ""
	}
	return " (with " + strings.Join(slices.Sorted(slices.Values(v.options)), " and ") + ")"
}

// stepsInOrder runs the checks of each step's kind: joints are coated, then joined,
// then waited for.
func (d *Document) stepsInOrder(v variant) Faults {
	var faults Faults
	for _, s := range v.steps {
		if k := kindOf(v.kinds, s.Kind); k.order != nil {
			k.order(v, s, d.complain(s, &faults))
		}
	}
	return faults
}

// complain reports faults of the step, at the value of one of its keys, or of those
// below that of its kind.
//
//go:noinline
func (d *Document) complain(s *steps.Step, faults *Faults) complain {
	return func(key, format string, args ...any) {
		at := d.places[stepAt(s.Name)]
		if n := d.nodes[s.Name]; n != nil && key != "" {
			step := fields{node: n}
			of := step.get(string(s.Kind))
			if of != nil && of.Kind == mappingNode {
				of = fields{node: of}.get(key)
			}
			if here := step.get(key); here != nil && key != "with" { // which is of the step's options
				of = here
			}
			if of != nil {
				at.line, at.column = int(of.Line), int(of.Column)
			}
		}
		*faults = append(*faults, d.fault(at, fmt.Sprintf(format, args...)))
	}
}
