package steps

import (
	"slices"

	"fettle/steps/lists"
)

// A Made is a zone that work makes, and the zones that it rests on.
type Made struct {
	Zone string   `json:"zone"`
	On   []string `json:"on,omitempty"`
}

// A Making is what a procedure makes, zone by zone, in the order of their first makers.
type Making []Made

// MadeBy are the zones that the procedures make, each with all that it rests on.
func MadeBy(procedures ...*Procedure) Making {
	var all Making
	for _, p := range procedures {
		for _, step := range p.Steps() {
			for _, m := range step.Makes {
				k := all.index(m.Zone)
				if k < 0 {
					k, all = len(all), append(all, Made{Zone: m.Zone})
				}
				for _, z := range m.On {
					if !lists.Contains(all[k].On, z) {
						all[k].On = append(all[k].On, z)
					}
				}
			}
		}
	}
	return all
}

// Made are the zones that the procedure makes.
//
//go:noinline
func (p *Procedure) Made() Making { return MadeBy(p) }

//go:noinline
func (m Making) index(zone string) int {
	return slices.IndexFunc(m, func(o Made) bool { return o.Zone == zone })
}

// On are the zones that the zone rests on directly.
//
//go:noinline
func (m Making) On(zone string) []string {
	if i := m.index(zone); i >= 0 {
		return m[i].On
	}
	return nil
}

// Below are the zones that the zone rests on, near or far.
func (m Making) Below(zone string) []string { return reach(zone, m.On) }

// Above are the zones that rest on the zone, near or far.
func (m Making) Above(zone string) []string {
	return reach(zone, func(z string) []string {
		var on []string
		for _, o := range m {
			if lists.Contains(o.On, z) {
				on = append(on, o.Zone)
			}
		}
		return on
	})
}

// reach are the zones that a chain of steps leads to from the zone, each once.
func reach(zone string, next func(string) []string) []string {
	var all []string
	for left := next(zone); len(left) > 0; left = left[1:] {
		if z := left[0]; z != zone && !lists.Contains(all, z) {
			all = append(all, z)
			left = append(lists.Clone(left), next(z)...)
		}
	}
	return all
}

// InOrder are the zones in the order in which they are made: what is rested on
// first, then by their makers.
func (m Making) InOrder() []string {
	var all []string
	var put func(zone string, through []string)
	put = func(zone string, through []string) {
		if lists.Contains(all, zone) || lists.Contains(through, zone) {
			return
		}
		for _, o := range m { // of several, the one made first
			if lists.Contains(m.On(zone), o.Zone) {
				put(o.Zone, append(through, zone))
			}
		}
		all = append(all, zone)
	}
	for _, o := range m {
		put(o.Zone, nil)
	}
	return all
}

// Apart reports whether a zone is made beside another that it rests on, and so has
// to be put together with it: its stage does not come after the other's.
func (p *Procedure) Apart(zone, on string) bool {
	own, other := p.makerOf(zone), p.makerOf(on)
	return own != "" && other != "" && own != other && !lists.Contains(p.Before(own), other)
}

// A Seat is where a zone sits on another one that it rests on and that it was made beside:
// a step puts them together.
type Seat struct{ Zone, On string }

// SeatsMade are the seats of what the procedure makes.
func (p *Procedure) SeatsMade() []Seat {
	var all []Seat
	for _, m := range p.Made() {
		for _, on := range m.On {
			if p.Apart(m.Zone, on) {
				all = append(all, Seat{m.Zone, on})
			}
		}
	}
	return all
}

// makerOf is the first stage that makes the zone; "": none.
func (p *Procedure) makerOf(zone string) string {
	for _, stage := range p.Stages {
		for i := range stage.Steps {
			if stage.Steps[i].MakesZone(zone) {
				return stage.Name
			}
		}
	}
	return ""
}

// MakesZone reports whether the step is part of making the zone.
//
//go:noinline
func (s *Step) MakesZone(zone string) bool {
	return slices.ContainsFunc(s.Makes, func(m Made) bool { return m.Zone == zone })
}

// Seats reports whether the step puts the two zones together: a join, bolts or bands.
// Where a join does, or one of several whatever is chosen, work on both, such as a dry fit, does not.
func (p *Procedure) Seats(step *Step, zone, on string) bool {
	does := step.Kind.Traits()
	switch {
	case does.Joins:
		return p.holds(step.Joint, zone, on)
	case does.Coats, does.Passes, does.Measures, does.Confirms, !lists.Contains(step.Disturbs, zone), !lists.Contains(step.Disturbs, on):
		return false
	}
	var with []string // of the joins that do with one answer alone
	for _, stage := range p.Stages {
		for i := range stage.Steps { // by index, because a step is large
			join := &stage.Steps[i]
			if !join.Kind.Traits().Joins || !p.holds(join.Joint, zone, on) {
				continue
			}
			if len(join.With)+len(join.Without) == 0 || slices.EqualFunc(join.With, step.With, slices.Equal) {
				return false
			}
			if len(join.With) == 1 && len(join.Without) == 0 {
				with = append(with, join.With[0]...)
			}
		}
	}
	return len(with) == 0 || len(step.With) > 0 || !p.answersAll(with)
}

// answersAll reports whether a step of the procedure asks for a choice of its own of which every answer is among these.
func (p *Procedure) answersAll(names []string) bool {
	for _, stage := range p.Stages {
		for i := range stage.Steps {
			methods := stage.Steps[i].Methods
			if len(methods) > 0 && !slices.ContainsFunc(methods, func(m Option) bool { return !lists.Contains(names, m.Name) }) {
				return true
			}
		}
	}
	return false
}
