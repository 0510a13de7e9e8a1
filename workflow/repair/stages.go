package repair

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// jointsTaken are the steps that coat or join what is made anew, by the name of the
// step: every part of a joint that holds it, once it was joined.
func (r *rebuild) jointsTaken() map[string]bool {
	taken := map[string]bool{}
	met := map[string]bool{}
	for _, s := range r.Build.Steps() {
		if s.Joint == "" || met[s.Joint] {
			continue
		}
		met[s.Joint] = true
		for _, part := range r.Build.JointParts(s.Joint) {
			join, stage, ok := r.Build.Step(part.Join)
			if !ok || stage.Phase == steps.Recheck || !r.done(part.Join) {
				continue
			}
			zones, makes := lists.Clone(join.Disturbs), r.makes(&join)
			if !slices.ContainsFunc(join.Makes, func(m steps.Made) bool { return lists.Contains(join.Disturbs, m.Zone) }) {
				for _, m := range join.Makes {
					zones = append(zones, m.Zone)
				}
			}
			for _, name := range part.Coats {
				coat, _, _ := r.Build.Step(name)
				zones, makes = append(zones, coat.Disturbs...), makes || r.makes(&coat)
			}
			if !makes && !r.touches(zones) {
				continue
			}
			taken[part.Join] = true
			for _, name := range part.Coats {
				taken[name] = true
			}
		}
	}
	return taken
}

// taken are the stages of the build with the steps that are taken.
func (r *rebuild) taken() []steps.Stage {
	glues := r.jointsTaken()
	joints := map[string]int{} // that are taken, with the number of their joins
	for _, s := range r.Build.Steps() {
		if glues[s.Name] && s.Kind.Traits().Joins {
			joints[s.Joint]++
		}
	}
	var stages []steps.Stage
	for _, stage := range r.Build.Stages {
		left := stage
		left.Steps = nil
		if r.comes(stage) {
			left.Steps = r.of(stage, glues, joints)
		}
		left.Phase = ""
		stages = append(stages, left)
	}
	for i := range stages { // of several joins of a joint, the last one taken is the last
		for k := range stages[i].Steps {
			if s := &stages[i].Steps[k]; s.Kind.Traits().Joins {
				joints[s.Joint]--
				s.More = joints[s.Joint] > 0
			}
		}
	}
	// What nothing is left of is stepped over, whatever governs the steps of the rest.
	bare := steps.Procedure{Stages: slices.Clone(stages)}
	with := map[string][]steps.Step{}
	for i, stage := range stages {
		with[stage.Name] = stage.Steps
		bare.Stages[i].Steps = make([]steps.Step, min(1, len(stage.Steps)))
	}
	stages = bare.For(steps.Selection{}, "").Stages
	for i := range stages {
		stages[i].Steps = with[stages[i].Name]
	}
	return stages
}

// whole finds work that makes what is thrown away, and is done, but is not taken: a part
// is made anew by all of its steps, with every coat and join, or not at all.
func (r *rebuild) whole(taken []steps.Stage) {
	anew := steps.Procedure{Stages: taken}
	for _, stage := range r.Build.Stages {
		for i := range stage.Steps {
			s := &stage.Steps[i]
			does := s.Kind.Traits()
			if stage.Phase == steps.Recheck || !r.makes(s) || !r.done(s.Name) || !does.Glues() && len(s.Disturbs) == 0 || does.Measures || does.Passes {
				continue
			}
			if _, _, is := anew.Step(s.Name); !is && !r.unjoined(s) {
				r.cause("%s of %s makes it, and is not among the steps that would make it anew", s.Name, r.Build.Name)
			}
		}
	}
}

// unjoined reports whether the step coats a joint that was never joined, which counts as
// not done.
func (r *rebuild) unjoined(s *steps.Step) bool {
	return s.Kind.Traits().Coats && slices.ContainsFunc(r.Build.JointParts(s.Joint), func(part steps.JointPart) bool {
		return lists.Contains(part.Coats, s.Name) && !r.done(part.Join)
	})
}

// comes reports whether steps of the stage may be taken: it makes what is lost, or
// comes after a stage that does, before the last checks.
func (r *rebuild) comes(stage steps.Stage) bool {
	return stage.Phase != steps.Recheck && lists.ContainsFunc(r.retires, func(z string) bool {
		return stage.Name == r.stage(z) || lists.Contains(r.Build.Before(stage.Name), r.stage(z))
	})
}

// isWork reports whether a step is work, in contrast to what only goes with it.
//
//go:noinline
func isWork(s *steps.Step) bool {
	does := s.Kind.Traits()
	return does.Glues() || !does.Measures && !does.Passes && len(s.Disturbs) > 0
}

// of are the steps of one stage that are taken: those that work on what is made anew,
// and what goes with them.
func (r *rebuild) of(stage steps.Stage, glues map[string]bool, joints map[string]int) []steps.Step {
	of := slices.Clone(stage.Steps)
	taken := make([]bool, len(of))
	var begun, ahead bool // the work on the part alone; what is partly on it only gets ready for that, such as a hot iron
	for i := range of {
		if s := &of[i]; isWork(s) {
			taken[i] = glues[s.Name] || !s.Kind.Traits().Glues() && r.done(s.Name) && (r.makes(s) || r.touches(s.Disturbs))
			begun = begun || taken[i] && (glues[s.Name] || r.makes(s) || meets(s.Disturbs, r.redo))
			ahead = ahead || !taken[i] && meets(s.Disturbs, r.redo)
		}
	}
	if ahead && !begun {
		return nil // left to the build
	}
	r.conditions(of, taken)
	beside := func(i, by int) bool { // the work before it, or after it
		for i += by; i >= 0 && i < len(of); i += by {
			if isWork(&of[i]) {
				return taken[i]
			}
		}
		return false
	}
	worked := lists.Clone(r.redo) // what is disturbed by what is taken so far
	for i := range of {
		s := &of[i]
		switch does := s.Kind.Traits(); {
		case isWork(s):
			if taken[i] {
				worked = append(worked, s.Disturbs...)
			}
		case does.Passes && s.Joint != "":
			taken[i] = joints[s.Joint] > 0
		case does.Passes, does.Releases, s.Choose != "", len(s.Methods) > 0, !r.done(s.Name):
		case does.Measures:
			s.Gates = r.gates(*s, func(g steps.Gate) bool {
				if len(g.Of) == 0 || beside(i, 1) && g.DependsOn(worked...) {
					return beside(i, -1) || beside(i, 1)
				}
				for k := i - 1; k >= 0; k-- { // what worked on it last
					if isWork(&of[k]) && g.DependsOn(of[k].Disturbs...) && (taken[k] || !r.besides(of[k], g)) {
						return taken[k]
					}
				}
				return false
			})
			taken[i] = len(s.Gates) > 0
		default:
			taken[i] = beside(i, -1) || beside(i, 1)
		}
	}
	r.conditions(of, taken)
	var left []steps.Step
	called := map[string]bool{}
	for i, s := range of {
		if s.Kind.Traits().Passes && s.Joint == "" { // time goes with the step that it counts from
			taken[i] = s.From == "" && i > 0 && taken[i-1] || called[s.From]
			taken[i] = taken[i] && (!s.Reopens() || called[s.Late])
		}
		if taken[i] {
			called[s.Name] = true
			left = append(left, r.adapted(s))
		}
	}
	return left
}

// conditions takes what brings about a condition that a taken step needs, such as a hot
// iron, and what ends one that a taken step brought about.
func (r *rebuild) conditions(of []steps.Step, taken []bool) {
	var needs []steps.Setting
	set := map[string]bool{}
	for i, s := range of {
		if !taken[i] {
			continue
		}
		needs = append(needs, s.Needs...)
		for _, use := range r.Sheet.UsesOf(s, s.Adhesives...) {
			needs = append(needs, use.NeedsAt(s)...)
		}
	}
	brings := func(is func(steps.Setting) bool) {
		for i, s := range of {
			if !taken[i] && r.done(s.Name) && slices.ContainsFunc(s.Sets, is) {
				taken[i] = true
			}
			for _, c := range s.Sets {
				set[c.Condition] = set[c.Condition] || taken[i]
			}
		}
	}
	brings(func(c steps.Setting) bool { return lists.Contains(needs, c) })
	brings(func(c steps.Setting) bool { return set[c.Condition] })
}

// gates are those of a measure step that are taken again: nothing that they depend on
// is absent, and the work that they see is done again.
func (r *rebuild) gates(s steps.Step, again func(steps.Gate) bool) []string {
	return sorting.Delete(lists.Clone(s.Gates), func(name string) bool {
		g, ok := r.Sheet.Gate(name)
		if !ok {
			return false // said as a cause
		}
		absent := func(z string) bool { return !r.there(z) && !lists.Contains(r.retires, z) }
		return lists.ContainsFunc(g.Of, absent) || !again(g)
	})
}

// adapted is a step of the build as it stands in the rebuild: of what it makes only what was thrown away is made.
func (r *rebuild) adapted(s steps.Step) steps.Step {
	r.lacks(r.Build, s)
	s.Shared, s.Was = false, ""
	if lists.ContainsFunc(slices.Concat(append(slices.Clip(s.With), s.Without)...), func(name string) bool { _, is := r.Sheet.Option(name); return !is }) {
		s.Where = steps.Where{} // a method of the build, which was chosen there
	}
	makes := s.Makes
	s.Makes = makes[:0:0]
	for i := range makes {
		if lists.Contains(r.retires, makes[i].Zone) {
			s.Makes = append(s.Makes, makes[i])
		}
	}
	if s.Do != "" && r.shares(s) {
		only := fmt.Sprintf("Only what belongs to %s.\n\n", r.newParts())
		s.Do = only + s.Do
		if s.Short != "" {
			s.Short = only + s.Short
		}
	}
	return s
}

// shares reports whether the step works on what stays too, or on another of its kind,
// and is no seat of the new part on it.
func (r *rebuild) shares(s steps.Step) bool {
	does := s.Kind.Traits()
	zones := s.Disturbs
	if does.Glues() {
		zones = r.Build.DisturbedBy(s.Joint)
		if slices.ContainsFunc(r.seams, func(seam Seam) bool { return seam.Step.Joint == s.Joint }) {
			return false
		}
	}
	return !does.Passes && !does.Measures && !does.Confirms && len(s.Sets) == 0 &&
		lists.ContainsFunc(zones, func(z string) bool { return !lists.Contains(r.redo, z) })
}

// newParts are the new parts in words: the new wing.
func (r *rebuild) newParts() string {
	var lost []string
	for _, z := range r.retires { // without what only goes with another
		if !lists.ContainsFunc(r.retires, func(base string) bool { return z != base && lists.Contains(r.with(base), z) }) {
			lost = append(lost, z)
		}
	}
	return "the new " + strings.Join(lost, " and ")
}

// join puts the procedure together: the part is taken off and its seams are parted,
// the steps of the build follow, and it is checked as the procedure for taking off
// says.
func (r *rebuild) join(taken []steps.Stage) *steps.Procedure {
	out := &steps.Procedure{Name: "rebuild", Kind: steps.Repair, Revision: 1, Title: "Build " + r.newParts()}
	var before []string
	var last []steps.Stage
	names := map[string]bool{} // of the steps of the procedure that takes it off
	for _, stage := range r.Off.Stages {
		stage.Steps = r.takenOff(stage.Steps)
		for _, s := range stage.Steps {
			names[s.Name] = true
		}
		if stage.Phase == steps.Recheck {
			last = append(last, stage)
			continue
		}
		out.Stages = append(out.Stages, stage)
		before = append(before, stage.Name)
	}
	if len(taken) == 0 {
		r.cause("no step of %s that is done works on %s", r.Build.Name, strings.Join(r.Zones, " or "))
	}
	called := map[string]string{}
	for _, s := range (&steps.Procedure{Stages: taken}).Steps() {
		called[s.Name] = numbered(s.Name, func(name string) bool { return names[name] })
		names[called[s.Name]] = true
	}
	stages := map[string]string{}
	for _, stage := range taken {
		stages[stage.Name] = numbered(stage.Name, func(name string) bool {
			_, there := out.Stage(name)
			_, off := r.Off.Stage(name)
			return there || off
		})
	}
	for _, stage := range taken {
		stage.Name = stages[stage.Name]
		after := lists.Clone(before)
		for _, a := range stage.After {
			after = append(after, stages[a])
		}
		stage.After = after
		stage.Steps = slices.Clone(stage.Steps)
		for i := range stage.Steps {
			s := &stage.Steps[i]
			s.Name = called[s.Name]
			if s.From != "" {
				s.From = called[s.From]
			}
			if s.Reopens() {
				s.Late = called[s.Late]
			}
		}
		out.Stages = append(out.Stages, stage)
	}
	for _, stage := range last {
		for _, s := range taken {
			stage.After = append(lists.Clone(stage.After), stages[s.Name])
		}
		out.Stages = append(out.Stages, stage)
	}
	return out
}

// takenOff are steps of the procedure that takes the lost part off. Before it is
// thrown away, each seam to what stays is parted, with the cautions and tools of that
// step.
func (r *rebuild) takenOff(of []steps.Step) []steps.Step {
	var all []steps.Step
	for _, s := range of {
		if len(s.Retires) > 0 {
			for _, seam := range r.seams {
				if part, ok := r.part(seam, s); ok {
					all = append(all, part)
				}
			}
			s.Retires = r.retires
			s.Disturbs = sorting.Delete(lists.Clone(s.Disturbs), func(z string) bool { return z == steps.Here })
			s.Disturbs = append(s.Disturbs, r.retires...)
			for _, z := range r.Lighter {
				if r.there(z) && !lists.Contains(s.Disturbs, z) {
					s.Disturbs = append(s.Disturbs, z)
				}
			}
		}
		all = append(all, s)
	}
	return all
}

// part is the step that parts a seam between what is thrown away and what stays.
func (r *rebuild) part(seam Seam, off steps.Step) (steps.Step, bool) {
	thrown := func(z string) bool { return lists.Contains(r.retires, z) }
	var lost, stays []string
	for _, z := range seam.Zones {
		for _, other := range seam.Zones {
			if thrown(z) && !thrown(other) && (seam.Step.Apart != "" || r.seated(z, other)) {
				lost, stays = append(lost, z), append(stays, other)
			}
		}
	}
	if len(lost) == 0 || !r.done(seam.Step.Name) {
		return steps.Step{}, false
	}
	slices.Sort(lost)
	slices.Sort(stays)
	between := strings.Join(lists.Compact(lost), " and ") + " from " + strings.Join(lists.Compact(stays), " and ")
	if seam.Step.Apart == "" {
		r.cause("%s of %s does not say how its joint is parted (apart), to free %s", seam.Step.Name, r.Build.Name, between)
	}
	return steps.Step{
		Name: "part-" + seam.Step.Joint, Title: "Part " + between, Kind: steps.Do, Do: seam.Step.Apart,
		Why: "What stays is glued to the new part. What is torn out of it now has to be let in again.", Cautions: off.Cautions,
		Hands: off.Hands, Tools: lists.Concat(off.Tools, seam.Step.Tools), Needs: off.Needs, Disturbs: lists.Clone(seam.Zones),
	}, true
}

// seated reports whether one of two zones was made beside the other, and is seated on
// it.
func (r *rebuild) seated(one, other string) bool {
	return lists.Contains(r.seats, steps.Seat{Zone: one, On: other}) || lists.Contains(r.seats, steps.Seat{Zone: other, On: one})
}

// handsOf is the attended time of the steps.
func handsOf(of []*steps.Step) time.Duration {
	var sum time.Duration
	for _, s := range of {
		d, err := s.Hands.Duration()
		if err == nil {
			sum += d
		}
	}
	return sum
}
