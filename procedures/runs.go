package procedures

import (
	"slices"

	"fettle/steps"
)

// stagesValue is the stages of a procedure, each of which may be repeated.
type stagesValue struct{}

func (*stagesValue) read(r *reader, n *node, what string, to *[]steps.Stage) {
	table := stageKeys()
	r.list(n, what, func(item *node) {
		r.repeated(item, func() {
			r.inside(func() {
				if !r.room(item, len(*to), mostStages, "stages") {
					return
				}
				filled := r.fill(item, "each", "steps", "use")
				if r.full {
					return
				}
				var s steps.Stage
				table.read(r, filled, table.what, &s)
				if s.Name != "" {
					*to = append(*to, s)
				}
			})
		})
	})
}

func (*stagesValue) write(from *[]steps.Stage) *node {
	return (&list[steps.Stage]{is: stageKeys()}).write(from)
}

func (*stagesValue) typ() *typ { return &typ{is: aList, of: []*typ{stageKeys().typ()}} }

// stepsValue is steps, and runs of steps between them.
type stepsValue struct{}

func (*stepsValue) read(r *reader, n *node, what string, to *[]steps.Step) {
	if n.Kind == listNode {
		*to = slices.Grow(*to, min(len(n.Content), mostSteps))
	}
	r.list(n, what, func(item *node) {
		if isRun(item) {
			r.run(item, to)
		} else {
			r.step(item, to)
		}
	})
}

// isRun reports whether an entry of steps is a run.
func isRun(n *node) bool {
	f := fields{node: n}
	return n.Kind == mappingNode && !hasKey(n, "step") && (f.has("steps") || f.has("use") || f.has("each"))
}

// run reads a run: steps in it, or used by it.
//
//go:noinline
func (r *reader) run(n *node, to *[]steps.Step) {
	r.repeated(n, func() {
		r.inside(func() {
			if !r.room(n, r.total, mostSteps, "steps") {
				return
			}
			if filled := r.fill(n, "each", "steps", "use"); !r.full {
				runKeys().read(r, filled, "a run", to)
			}
		})
	})
}

// step reads one step.
func (r *reader) step(n *node, to *[]steps.Step) {
	if r.steps == nil {
		r.steps = stepKeys()
	}
	r.inside(func() {
		if !r.room(n, r.total, mostSteps, "steps") {
			return
		}
		r.within.of = nil
		if name := (fields{node: n}).get("step"); name != nil && n.Kind == mappingNode {
			r.within.step = name.Value
		}
		filled := r.fill(n, "origin")
		if r.full && r.within.many() {
			return
		}
		*to = append(*to, steps.Step{})
		last := &(*to)[len(*to)-1] // in its place: a step is large
		if r.steps.read(r, filled, r.steps.what, last); last.Name == "" {
			*to = (*to)[:len(*to)-1]
			return
		}
		r.total++
	})
}

// The write of steps gives each by itself; one that several lists of options govern
// stands in a run for each but one.
func (*stepsValue) write(from *[]steps.Step) *node {
	table := stepKeys()
	n := &node{Kind: listNode}
	for i := range *from {
		s := (*from)[i]
		var with [][]string
		if len(s.With) > 1 {
			with, s.With = s.With[:len(s.With)-1], s.With[len(s.With)-1:]
		}
		item := table.write(&s)
		for _, any := range slices.Backward(with) {
			item = &node{Kind: mappingNode, Content: []*node{
				scalar("with"), flow(any), scalar("steps"), {Kind: listNode, Content: []*node{item}},
			}}
		}
		n.Content = append(n.Content, item)
	}
	return unlessEmpty(n)
}

func (*stepsValue) typ() *typ { return &typ{is: aList, of: []*typ{stepKeys().typ(), runKeys().typ()}} }

// runKeys are the keys of a run.
func runKeys() *mapping[*[]steps.Step] {
	type s = []steps.Step
	return &mapping[*s]{what: "a run", one: true, keys: append(whereKeys[*s]("{side: [left, right]}", "# [wing]"), []key{
		{"steps", choice, whole(&nestedValue{}), "steps and runs, in this order", "- step: mark-<side>-root\n  do: Mark the middle of the <side> root."},
		{"use", choice, whole(&useValue{}), "steps that are written elsewhere", "use: safe/air-the-bench"},
	}...)}
}

// whereKeys are the keys that repeat and govern a run or a stage.
func whereKeys[P any](each, makes string) []key {
	return []key{
		{"each", optional, whole(&eachValue[P]{}), "it comes once for each of the words, which stand for `<side>` in its names and texts; `<Side>` begins with a capital", each},
		{"with", optional, whole(&governValue[P]{}), "only on an airframe with any of these options", "# rudder"},
		{"without", optional, whole(&governValue[P]{not: true}), "only on an airframe with none of these options", "# rudder"},
		{"makes", optional, whole(&makesValue[P]{}), "of a build: the zones that it makes, so that doing it again is part of making them anew; where one rests on others, with these: `{tail: [left-boom, right-boom]}`. Of runs inside each other the innermost counts", makes},
	}
}

// nestedValue is the steps of a run.
type nestedValue struct{ stepsValue }

func (*nestedValue) typ() *typ { return &typ{is: entries} }
