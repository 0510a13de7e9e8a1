package repair

import (
	"fmt"
	"slices"
	"strings"

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
	} else if !steps.AnyStep(r.Off.Steps(), func(s *steps.Step) bool { return len(s.Retires) > 0 }) {
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
	return r.stage(zone) == r.stage(on) && steps.AnyStep(r.Build.Steps(), func(s *steps.Step) bool {
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

//go:noinline
func (r *rebuild) there(zone string) bool { return r.There == nil || r.There(zone) }

//go:noinline
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
//
//go:noinline
func (r *rebuild) makes(s *steps.Step) bool { return lists.ContainsFunc(r.retires, s.MakesZone) }

//go:noinline
func (r *rebuild) done(step string) bool { return r.Done == nil || r.Done(step) }
