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

// A Loss is what must be known to build lost zones of an airframe anew.
type Loss struct {
	Zones []string // that are lost
	// Build is the build of the airframe, with the steps that apply to it; nil:
	// there is none.
	Build *steps.Procedure
	// Off is the procedure that takes a lost part off; nil: nothing says how.
	Off *steps.Procedure
	// Sheet is the design sheet that the repair goes by.
	Sheet *steps.Sheet
	// Done reports whether a step of the build is done; nil: all are. What is not done
	// is left to the build.
	Done func(step string) bool
	// There reports whether there is, or was, something of a zone; nil: of every zone.
	There func(zone string) bool
	// Lighter are the zones that the repair of lighter damage to the lost ones disturbs:
	// graver damage has as much measured again.
	Lighter []string
}

// A Rebuilt is how lost zones are built anew.
type Rebuilt struct {
	Procedure *steps.Procedure
	Retires   []string // the zones that are thrown away and made anew
	Wider     []string // those of them that are not lost, but cannot be kept
	// Most says that more than half of the attended time of the build is taken: the
	// builder may rather build a new airframe.
	Most bool
}

// A NoWayError says why lost zones cannot be built anew, with every cause.
type NoWayError struct {
	Zones  []string
	Causes []string
	// Other says that nothing is wrong but that the build is of another sheet: its steps
	// name what the airframe's does not have.
	Other bool
}

func (e *NoWayError) Error() string {
	return fmt.Sprintf("%s cannot be built anew: %s", strings.Join(e.Zones, " and "), strings.Join(e.Causes, "; "))
}

// Rebuild composes the procedure that builds lost zones anew: the part is taken off
// as the procedure for that says, each seam to what stays is parted as its join says,
// and then come the steps of the build that make the zones, with what they carry
// moved over. The error is a [*NoWayError].
func Rebuild(loss Loss) (Rebuilt, error) {
	r := rebuild{Loss: loss}
	if !r.known() {
		return Rebuilt{}, r.noWay()
	}
	r.widen()
	r.reach()
	taken := r.taken()
	r.whole(taken)
	out := r.join(taken)
	if len(r.causes)+len(r.lacking) > 0 {
		return Rebuilt{}, r.noWay()
	}
	wider := sorting.Delete(lists.Clone(r.retires), func(z string) bool {
		return lists.ContainsFunc(loss.Zones, func(lost string) bool { return z == lost || lists.Contains(r.with(lost), z) })
	})
	of := handsOf(loss.Build.Steps())
	return Rebuilt{Procedure: out, Retires: r.retires, Wider: wider, Most: 2*handsOf((&steps.Procedure{Stages: taken}).Steps()) > of}, nil
}

// Makes reports whether the build makes the zone before its last checks, and so can
// make it anew.
func Makes(build *steps.Procedure, zone string) bool {
	return (&rebuild{Loss: Loss{Build: build}}).stage(zone) != ""
}

// rebuild is a loss while its procedure is composed.
type rebuild struct {
	Loss
	made    steps.Making
	seats   []steps.Seat
	seams   []Seam
	retires []string // thrown away
	redo    []string // made by the steps that are taken: what is thrown away, and what is made in place on nothing else
	partly  []string // made in place on these and on others
	causes  []string
	lacking []lack
}

// A lack is what the steps of a procedure name and the sheet does not have.
type lack struct {
	of     *steps.Procedure
	things []string
}

func (r *rebuild) noWay() *NoWayError {
	no := &NoWayError{Zones: r.Zones, Causes: r.causes, Other: len(r.causes) == 0}
	for _, l := range r.lacking {
		no.Causes = append(no.Causes, fmt.Sprintf("%s names %s, which %s does not have", l.of.Name, strings.Join(l.things, ", "), r.Sheet.Name))
		no.Other = no.Other && l.of == r.Build
	}
	return no
}

func (r *rebuild) cause(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !lists.Contains(r.causes, text) {
		r.causes = append(r.causes, text)
	}
}

// known finds what the documents lack from the start, and reports whether the build
// makes what is lost: else no more is known of it.
func (r *rebuild) known() bool {
	switch {
	case r.Build == nil:
		r.cause("no build of the design is on record or in the library")
	default:
		r.made, r.seats, r.seams = r.Build.Made(), r.Build.SeatsMade(), Seams(r.Build)
		if len(r.made) == 0 {
			r.cause("%s does not say which zones its steps make (makes)", r.Build.Name)
			break
		}
		for _, z := range r.Zones {
			if r.stage(z) == "" {
				r.cause("no stage of %s makes the %s before the last checks", r.Build.Name, z)
			}
		}
	}
	if r.Off == nil {
		r.cause("no triage table names a procedure that takes a lost part off (lost)")
		r.Off = &steps.Procedure{}
	} else if !slices.ContainsFunc(r.Off.Steps(), func(s *steps.Step) bool { return len(s.Retires) > 0 }) {
		r.cause("no step of %s throws the lost part away (retires)", r.Off.Name)
	}
	for _, s := range r.Off.Steps() {
		r.lacks(r.Off, *s)
	}
	return len(r.made) > 0 && !lists.ContainsFunc(r.Zones, func(z string) bool { return r.stage(z) == "" })
}

// lacks finds what a step names and the sheet does not have.
func (r *rebuild) lacks(p *steps.Procedure, s steps.Step) {
	if r.Sheet == nil {
		return
	}
	says := func(what, name string) {
		i := slices.IndexFunc(r.lacking, func(l lack) bool { return l.of == p })
		if i < 0 {
			i, r.lacking = len(r.lacking), append(r.lacking, lack{of: p})
		}
		if thing := "the " + what + " " + name; !lists.Contains(r.lacking[i].things, thing) {
			r.lacking[i].things = append(r.lacking[i].things, thing)
		}
	}
	for _, z := range s.Disturbs {
		if z != steps.Here && !lists.Contains(r.Sheet.Zones, z) {
			says("zone", z)
		}
	}
	for _, g := range s.Gates {
		if _, ok := r.Sheet.Gate(g); !ok && g != steps.Stale {
			says("gate", g)
		}
	}
	for _, a := range s.Adhesives {
		if _, ok := r.Sheet.Adhesive(a); !ok {
			says("adhesive", a)
		}
	}
	for _, t := range s.Tools {
		if _, ok := r.Sheet.Tool(t); !ok {
			says("tool", t)
		}
	}
	for _, c := range slices.Concat(s.Needs, s.Sets) {
		if _, ok := r.Sheet.Condition(c.Condition); !ok && !lists.Contains(s.MayLack, c.Condition) {
			says("condition", c.Condition)
		}
	}
}

// stage is the first stage that makes the zone; "": none does before the last checks.
func (r *rebuild) stage(zone string) string {
	for _, stage := range r.Build.Stages {
		if stage.Phase != steps.Recheck && slices.ContainsFunc(stage.Steps, func(s steps.Step) bool { return s.MakesZone(zone) }) {
			return stage.Name
		}
	}
	return ""
}

// with are the zones that are thrown away with a lost one: what rests on it and is
// made in the same stage. A wing goes with its spars; motor and radio are moved over.
func (r *rebuild) with(lost string) []string {
	var all []string
	for _, z := range r.made.Above(lost) {
		if r.stage(z) == r.stage(lost) {
			all = append(all, z)
		}
	}
	return all
}

// widen finds what is thrown away: the lost zones with what rests on them, what they
// are made in, and what joins of their stage hold together with them and nothing parts.
func (r *rebuild) widen() {
	add := func(zones ...string) (more bool) {
		for _, z := range zones {
			if !lists.Contains(r.retires, z) && (r.there(z) || lists.Contains(r.Zones, z)) {
				r.retires, more = append(r.retires, z), true
			}
		}
		return more
	}
	for _, z := range r.Zones {
		add(z)
		add(r.with(z)...)
	}
	for i := 0; i < len(r.retires); i++ { // which grows
		for _, on := range r.made.On(r.retires[i]) {
			if r.within(r.retires[i], on) {
				add(on)
				add(r.with(on)...)
			}
		}
	}
	for grown := true; grown; {
		grown = false
		for _, stage := range r.Build.Stages {
			if !lists.ContainsFunc(r.retires, func(lost string) bool { return r.stage(lost) == stage.Name }) {
				continue
			}
			for i := range stage.Steps {
				if !stage.Steps[i].Kind.Traits().Joins || stage.Steps[i].Apart != "" {
					continue
				}
				held := r.Build.HeldBy(stage.Steps[i].Joint)
				if !meets(held, r.retires) {
					continue
				}
				for _, z := range held {
					if r.stage(z) == stage.Name {
						grown = add(z) || grown
						grown = add(r.with(z)...) || grown
					}
				}
			}
		}
	}
}

// within reports whether the zone is made in the other one, by the same work: spars in a
// wing, whose steps don't say which of them is the spars'.
func (r *rebuild) within(zone, on string) bool {
	return r.stage(zone) == r.stage(on) && slices.ContainsFunc(r.Build.Steps(), func(s *steps.Step) bool {
		return s.MakesZone(zone) && s.MakesZone(on) && lists.Contains(s.Disturbs, on) && !lists.Contains(s.Disturbs, zone)
	})
}

// besides reports whether the step works on what is made beside a part of the gate that is
// made anew, and is alike: on the other one of two booms.
func (r *rebuild) besides(s steps.Step, g steps.Gate) bool {
	return !lists.ContainsFunc(s.Disturbs, func(z string) bool {
		return !lists.ContainsFunc(r.redo, func(lost string) bool {
			return lost != z && lists.Contains(g.Of, lost) && r.stage(lost) == r.stage(z) && lists.Equal(r.made.On(lost), r.made.On(z))
		})
	})
}

func (r *rebuild) there(zone string) bool { return r.There == nil || r.There(zone) }

func meets(zones, others []string) bool {
	return lists.ContainsFunc(zones, func(z string) bool { return lists.Contains(others, z) })
}

// inPlace reports whether the zone is made where it rests on the other one, in its
// stage or after it.
func (r *rebuild) inPlace(zone, on string) bool { return !r.Build.Apart(zone, on) }

// reach finds the zones that the steps to take make: those thrown away, what is made
// in place and rests on nothing else, and partly what rests on these and on others.
func (r *rebuild) reach() {
	r.redo = lists.Clone(r.retires)
	all := func(zones []string, is func(string) bool) bool {
		return !lists.ContainsFunc(zones, func(z string) bool { return !is(z) })
	}
	redone := func(z string) bool { return lists.Contains(r.redo, z) }
	for grown := true; grown; {
		grown = false
		for _, m := range r.made {
			if !redone(m.Zone) && r.stage(m.Zone) != "" && len(m.On) > 0 && all(m.On, func(on string) bool { return redone(on) && r.inPlace(m.Zone, on) }) {
				r.redo, grown = append(r.redo, m.Zone), true
			}
		}
	}
	for grown := true; grown; {
		grown = false
		for _, m := range r.made {
			rests := func(on string) bool {
				return (redone(on) || lists.Contains(r.partly, on)) && r.inPlace(m.Zone, on)
			}
			if !redone(m.Zone) && !lists.Contains(r.partly, m.Zone) && r.stage(m.Zone) != "" && lists.ContainsFunc(m.On, rests) {
				r.partly, grown = append(r.partly, m.Zone), true
			}
		}
	}
}

// touches reports whether work on the zones is work on what is made anew.
func (r *rebuild) touches(zones []string) bool {
	within := func(z string) bool { return lists.Contains(r.redo, z) || lists.Contains(r.partly, z) }
	return meets(zones, r.redo) || len(zones) > 0 && !lists.ContainsFunc(zones, func(z string) bool { return !within(z) })
}

// makes reports whether the step is part of making what is thrown away.
func (r *rebuild) makes(s *steps.Step) bool { return lists.ContainsFunc(r.retires, s.MakesZone) }

func (r *rebuild) done(step string) bool { return r.Done == nil || r.Done(step) }

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

// of are the steps of one stage that are taken: those that work on what is made anew,
// and what goes with them.
func (r *rebuild) of(stage steps.Stage, glues map[string]bool, joints map[string]int) []steps.Step {
	of := slices.Clone(stage.Steps)
	taken := make([]bool, len(of))
	works := func(s steps.Step) bool { // in contrast to what only goes with work
		does := s.Kind.Traits()
		return does.Glues() || !does.Measures && !does.Passes && len(s.Disturbs) > 0
	}
	var begun, ahead bool // the work on the part alone; what is partly on it only gets ready for that, such as a hot iron
	for i, s := range of {
		if works(s) {
			taken[i] = glues[s.Name] || !s.Kind.Traits().Glues() && r.done(s.Name) && (r.makes(&s) || r.touches(s.Disturbs))
			begun = begun || taken[i] && (glues[s.Name] || r.makes(&s) || meets(s.Disturbs, r.redo))
			ahead = ahead || !taken[i] && meets(s.Disturbs, r.redo)
		}
	}
	if ahead && !begun {
		return nil // left to the build
	}
	r.conditions(of, taken)
	beside := func(i, by int) bool { // the work before it, or after it
		for i += by; i >= 0 && i < len(of); i += by {
			if works(of[i]) {
				return taken[i]
			}
		}
		return false
	}
	worked := lists.Clone(r.redo) // what is disturbed by what is taken so far
	for i := range of {
		s := &of[i]
		switch does := s.Kind.Traits(); {
		case works(*s):
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
					if works(of[k]) && g.DependsOn(of[k].Disturbs...) && (taken[k] || !r.besides(of[k], g)) {
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
	s.Makes = sorting.Delete(slices.Clone(s.Makes), func(m steps.Made) bool { return !lists.Contains(r.retires, m.Zone) })
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
