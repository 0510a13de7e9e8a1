package workflow

import (
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
)

// blocked are the zones of open damage and all that sits on them: no work but the
// repair's touches them. They are worked out when the first step asks.
type blocked struct {
	known   bool
	damages []*Damage
	zones   Zones
}

// blockedFor are the zones that are blocked for a job; nil: none. A repair
// of damage works on them.
//
//go:noinline
func (s *State) blockedFor(j *Job) *blocked {
	if len(j.Damages) > 0 || len(s.Damages) == 0 {
		return nil
	}
	return &blocked{}
}

// by is the damage that blocks one of the zones, and which zone; nil: none does.
func (b *blocked) by(zones []string) (*Damage, string) {
	for _, d := range b.damages {
		near := append(b.zones.SeatedOn(d.Zone), d.Zone)
		if i := slices.IndexFunc(zones, func(z string) bool { return lists.Contains(near, z) }); i >= 0 {
			return d, zones[i]
		}
	}
	return nil, ""
}

// keptByDamage reports whether damage keeps what is coated from being joined.
func (s *State) keptByDamage(j *Joint, at time.Time) bool {
	job, err := s.workOf(j.Job)
	if err != nil {
		return false
	}
	b := s.blockedFor(job)
	if b == nil {
		return false
	}
	b.damages, b.zones = s.OpenDamages(at), s.Zones(at)
	d, _ := b.by(job.worksOn(&steps.Step{Kind: steps.Join, Joint: j.Name}))
	return d != nil
}

// blocks says why damage holds a step of another job back: it works on what is
// damaged or on what sits on that, or it measures a gate of it. A step that only
// looks goes on.
func (s *State) blocks(b *blocked, j *Job, step steps.Step, at time.Time) []Reason {
	if b == nil {
		return nil
	}
	if !b.known {
		b.known, b.damages = true, s.OpenDamages(at)
		if len(b.damages) > 0 {
			b.zones = s.Zones(at)
		}
	}
	reason := func(d *Damage, zone, what string) Reason {
		text := fmt.Sprintf("damage %s (%s, %s) is not repaired, and %s", d.Damage, d.Finding, d.Zone, what)
		if zone != d.Zone {
			text += ", which sits on it"
		}
		r := Reason{Because: ByDamage, Text: text, Remedy: s.remedy(Remedy{Kind: ToPlanRepair})}
		if _, by := s.Repaired(d, at); by != "" {
			r.Remedy = s.remedy(Remedy{Kind: ToFinish, Name: by})
		}
		return r
	}
	if d, zone := b.by(j.worksOn(&step)); d != nil {
		return []Reason{reason(d, zone, "it works on the "+zone)}
	}
	if len(step.Gates) == 0 {
		return nil
	}
	for _, g := range s.GatesOf(j, step, at) {
		if d, zone := b.by(g.Gate.Of); d != nil && !g.Met() {
			return []Reason{reason(d, zone, fmt.Sprintf("%s is a gate of the %s", g.Gate.Name, zone))}
		}
	}
	return nil
}

// worksOn are the zones that a step works on: those that it disturbs, and for a step of
// a joint those that its join does, or the coat would lapse before it.
func (j *Job) worksOn(step *steps.Step) []string {
	zones := lists.Clone(step.Disturbs)
	if !step.Kind.Traits().Glues() {
		return zones
	}
	for _, stage := range j.Procedure.Stages {
		for i := range stage.Steps {
			if other := &stage.Steps[i]; other.Joint == step.Joint && other.Kind.Traits().Joins {
				zones = append(zones, other.Disturbs...)
			}
		}
	}
	return zones
}

// passing goes past steps of a stage that damage holds back, to work on other zones:
// plain steps alone, since what is joined, measured or confirmed comes in its order.
type passing struct {
	zones *blocked
	past  []string // the zones of the steps that were passed
	begun bool
	ended bool
}

// may reports whether the step, which is not the first open one, may be done before
// those: they are passed, and it works on other zones, which do not sit on theirs.
func (p *passing) may(j *Job, step *steps.Step) bool {
	zones := j.worksOn(step)
	if !p.begun || p.ended || len(zones) == 0 || !step.Kind.Traits().Plain() {
		return false
	}
	if held, _ := p.zones.by(zones); held != nil {
		return true // it is held back too
	}
	near := append(p.zones.zones.SeatedOn(p.past...), p.past...)
	return !lists.ContainsFunc(zones, func(z string) bool { return lists.Contains(near, z) })
}

// over goes past an open step if damage holds it back.
func (p *passing) over(j *Job, step *steps.Step, held bool) {
	p.begun, p.ended = true, p.ended || !held || !step.Kind.Traits().Plain()
	p.past = append(p.past, j.worksOn(step)...)
}
