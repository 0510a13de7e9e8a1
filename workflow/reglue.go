package workflow

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/workflow/journal"
)

// A rework that glues makes a joint anew that some job had joined, or a new one.
// Its coat and its join are entries without a job. They are decided and folded as
// those of a glue step, in a job of reworks that no list of jobs has.

// A reglue is what the last rework of a joint was.
type reglue struct {
	gate string
	job  string // whose joint it was; "": of a rework, or of nobody
	with []string
}

// Rework records that what was out of tolerance at a gate was worked on. Where
// the way to do it glues, it records the coat and the join too; with an adhesive
// that dries first it is given twice.
type Rework struct {
	Gate  string
	Way   int       // which of several ways, from 1; 0: there is only one
	With  string    // as in Finish
	Began time.Time // as in Finish
	Mixed time.Time // as in Finish, but it must be given
	Touch string    // as in Finish
}

func (r Rework) decide(s *State, c Circumstances) ([]journal.Facts, error) {
	report, err := s.GateReport(r.Gate, c.At)
	if err != nil {
		return nil, err
	}
	what := "rework of " + r.Gate
	if reason := s.Untrusted(c.Now); reason != nil {
		return nil, &Refusal{What: what, Reasons: []Reason{*reason}}
	}
	if joint := s.unjoined(r.Gate); joint != nil { // the second act
		if r.Way != 0 {
			return nil, bad("%s is being reworked already: joint %s is left to join", r.Gate, joint.Name)
		}
		return r.glued(s, joint.Name, c)
	}
	if report.Standing != Failed && report.Standing != Undecided && !s.trimmedAt(r.Gate) && !s.movedFirst(report) {
		return nil, refuse(what, ByState, fmt.Sprintf("%s is %s; there is nothing to rework", r.Gate, report.Standing.Words()), Remedy{})
	}
	way, err := r.chosen(s, report.Gate)
	if err != nil {
		return nil, err
	}
	facts := []journal.Facts{journal.Reworked{Gate: r.Gate, Disturbs: report.Gate.Reworking(way), Way: r.Way, Joint: way.Joint, With: way.Adhesives}}
	if way.Joint == "" {
		if r.With != "" || !r.Began.IsZero() || !r.Mixed.IsZero() || r.Touch != "" {
			return nil, bad("the rework of %s glues nothing", r.Gate)
		}
		return facts, nil
	}
	after, err := s.then(facts, c)
	if err != nil {
		return nil, err
	}
	glued, err := r.glued(after, way.Joint, c)
	return append(facts, glued...), err
}

// movedFirst reports whether a gate is the one of the balance that was not met, and what was
// moved for that was recorded before its rework is.
func (s *State) movedFirst(r GateReport) bool {
	if r.Standing != StaleGate || r.Gate.Name != s.Sheet.Geometry.Balance.Gate {
		return false
	}
	_, moved := s.movedFor(journal.Entry{Position: s.Size()})
	was := s.measurements(r.Gate, "mm")
	return moved && len(was) > 0 && (was[0].report.Standing == Failed || was[0].report.Standing == Undecided)
}

// chosen is the way that is meant.
func (r Rework) chosen(s *State, g steps.Gate) (steps.Rework, error) {
	switch ways := g.Reworks; {
	case len(ways) == 0 && r.Way == 0:
		return steps.Rework{}, nil
	case r.Way < 0 || r.Way > len(ways):
		return steps.Rework{}, bad("%s has %d ways to be reworked; %d is not one of them", g.Name, len(ways), r.Way)
	case r.Way > 0:
		return ways[r.Way-1], nil
	case len(ways) > 1:
		return steps.Rework{}, refuse("rework of "+g.Name, ByState, fmt.Sprintf("there are %d ways to rework it: say which was taken", len(ways)),
			s.remedy(Remedy{Kind: ToChooseWay, Gate: g.Name}))
	default:
		return ways[0], nil
	}
}

// glued is the coat and the join of a rework, or what is left of them.
func (r Rework) glued(s *State, joint string, c Circumstances) ([]journal.Facts, error) {
	step, _ := s.reworks.gluing(joint)
	finish := Finish{Began: r.Began, Mixed: r.Mixed, Touch: r.Touch, With: r.With}
	if !s.reworks.coated(step, c.At) && r.Mixed.IsZero() {
		if a, err := s.adhesiveFor(finish, s.reworks, step, c.At); err == nil && a.Times.Mixed {
			return nil, refuse("rework of "+r.Gate, ByState, "its time counts from mixing: say when "+a.Name+" was mixed", s.remedy(Remedy{Kind: ToSayMixed, Gate: r.Gate}))
		}
	}
	var facts []journal.Facts
	if r.Touch != "" {
		touched, err := s.touch(s.reworks, step, r.Touch)
		if err != nil {
			return nil, err
		}
		facts = append(facts, touched)
		if s, err = s.then(facts, c); err != nil {
			return nil, err
		}
	}
	var reasons []Reason
	if s.reworks.coated(step, c.At) { // the press asks for what the coat asked for
		for _, name := range s.reworks.adhesives(step, c.At) {
			reasons = s.unready(name, step, c.At)
		}
		reasons = append(reasons, s.shut(s.reworks, step, c.At)...)
	}
	glued, err := finish.glued(s, s.reworks, step, c)
	var refusal *Refusal
	if errors.As(err, &refusal) {
		reasons = refusal.Reasons
	} else if err != nil {
		return nil, err
	}
	if len(reasons) > 0 {
		for i := range reasons {
			if reasons[i].Remedy.Kind != "" {
				reasons[i].Remedy.Gate = r.Gate
			}
		}
		return nil, &Refusal{What: "rework of " + r.Gate, Reasons: reasons}
	}
	for _, f := range glued {
		switch f := f.(type) {
		case journal.Coated:
			f.Disturbs = nil // which the rework did
			facts = append(facts, f)
		case journal.Joined:
			f.Disturbs = nil
			facts = append(facts, f)
		}
	}
	return facts, nil
}

// gluing is the step by which reworks glue the joint.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (j *Job) gluing(joint string) (steps.Step, bool) {
	for _, stage := range j.Procedure.Stages {
		for _, step := range stage.Steps {
			if step.Joint == joint {
				return step, true
			}
		}
	}
	return steps.Step{}, false
}

// unjoined returns the joint that the rework of the gate coated, or joined
// outside its window, and that is still to be joined; nil: there is none.
func (s *State) unjoined(gate string) *Joint {
	for name, of := range s.reglued {
		for _, p := range s.reworks.Parts(name) {
			if of.gate == gate && !p.holds() {
				return p
			}
		}
	}
	return nil
}

// rework applies a rework. One that glues takes the place of the joint of that
// name that was joined last, wherever that was.
func (s *State) rework(e journal.Entry) error {
	f := e.Facts.(journal.Reworked)
	s.gate(f.Gate).reworked = e.Position
	if f.Joint == "" {
		return nil
	}
	step := steps.Step{Kind: steps.Glue, Joint: f.Joint, Adhesives: f.With, Load: true, Disturbs: lists.Clone(f.Disturbs)}
	var of string
	var last time.Time
	for _, job := range s.Jobs {
		for _, p := range job.Parts(f.Joint) {
			if !p.Joined.IsZero() && !p.Joined.Before(last) {
				last, of = p.Joined, job.ID
				step.Load = p.Load
				step.Disturbs = append(lists.Clone(f.Disturbs), p.Zones...)
			}
		}
	}
	if before, ok := s.reworks.gluing(f.Joint); ok {
		if p, ok := s.reworks.Joint(f.Joint); ok && !p.Joined.Before(last) {
			of, step.Load = s.reglued[f.Joint].job, before.Load
			step.Disturbs = append(step.Disturbs, before.Disturbs...)
		}
	}
	delete(s.reworks.joints, f.Joint)
	slices.Sort(step.Disturbs)
	step.Disturbs = lists.Compact(step.Disturbs)
	var all []steps.Step
	for _, other := range s.reworks.Procedure.Steps() {
		if other.Joint != f.Joint {
			all = append(all, *other)
		}
	}
	s.reworks.Procedure = &steps.Procedure{Stages: []steps.Stage{{Steps: append(all, step)}}}
	s.reglued[f.Joint] = reglue{f.Gate, of, f.With}
	return nil
}

// again returns the joint that a rework glued in place of one of the job.
func (s *State) again(job, name string) []*Joint {
	if of, ok := s.reglued[name]; ok && of.job == job {
		return s.reworks.Parts(name)
	}
	return nil
}

// loose says which joints that were coated are not joined: those of a rework, and
// those that no step of their job is left to join, as after a move or an answer.
// What a step is left for, its job says.
func (s *State) loose(at time.Time, zones func(*Joint) bool) []Reason {
	var reasons []Reason
	for _, j := range s.joints() {
		if j.holds() || !zones(j) {
			continue
		}
		if j.Job != "" {
			if !s.leftToMake(j, at) && !slices.ContainsFunc(s.again(j.Job, j.Name), func(p *Joint) bool { return p.holds() && p.Joined.After(j.starts()) }) {
				reasons = append(reasons, s.abandoned(j))
			}
			continue
		}
		reason := Reason{Because: ByGate, Text: fmt.Sprintf("joint %s is being glued again, and is not joined", j.Name),
			Remedy: s.remedy(Remedy{Kind: ToRework, Gate: s.reglued[j.Name].gate})}
		if w := j.Window(); s.Phase(j, at) == Tacking && at.Before(w.Opens) {
			reason.Because, reason.Until, reason.Closes, reason.Remedy = ByDrying, w.Opens, w.Closes, Remedy{}
		}
		reasons = append(reasons, reason)
	}
	return reasons
}

// leftToMake reports whether a step of its job is left that coats or joins the
// joint.
func (s *State) leftToMake(j *Joint, at time.Time) bool {
	job, err := s.Job(j.Job)
	if err != nil {
		return false
	}
	for _, stage := range job.Procedure.Stages {
		for i := range stage.Steps {
			if does := stage.Steps[i].Kind.Traits(); stage.Steps[i].Joint == j.Name && (does.Coats || does.Joins) && !s.met(job, stage, i, at) {
				return true
			}
		}
	}
	return false
}

// abandoned says that no step is left to join what was coated.
func (s *State) abandoned(j *Joint) Reason {
	reason := Reason{Because: ByState, Text: fmt.Sprintf("joint %s was coated and is not joined, and no step of job %s is left to join it", j.Name, j.Job)}
	if j.Doubted() {
		reason.Text = fmt.Sprintf("joint %s was joined outside its window, by the bench as it is known now, and no step of job %s is left to join it again", j.Name, j.Job)
	}
	for _, e := range s.Entries {
		coated, _ := e.Facts.(journal.Coated)
		joined, _ := e.Facts.(journal.Joined)
		if s.Live(e.Position) && (coated.Job == j.Job && coated.Joint == j.Name || joined.Job == j.Job && joined.Joint == j.Name) {
			reason.Remedy = s.remedy(Remedy{Kind: ToTakeBack, Entry: e.Position})
		}
	}
	return reason
}

// gluedBy returns the entries of the coats and the join of a rework.
func gluedBy(s *State, e journal.Entry) []int64 {
	joint := e.Facts.(journal.Reworked).Joint
	var positions []int64
	if joint == "" {
		return nil
	}
	for _, later := range s.Entries[e.Position+1:] {
		switch f := later.Facts.(type) {
		case journal.Reworked:
			if f.Joint == joint && s.Live(later.Position) {
				return positions
			}
		case journal.Coated:
			if f.Job == "" && f.Joint == joint {
				positions = append(positions, later.Position)
			}
		case journal.Joined:
			if f.Job == "" && f.Joint == joint {
				positions = append(positions, later.Position)
			}
		}
	}
	return positions
}

// reworkOf returns the entry of the rework that a coat without a job is of.
func (s *State) reworkOf(coat journal.Entry) []int64 {
	of, ok := coat.Facts.(journal.Coated)
	if !ok || of.Job != "" {
		return nil
	}
	for p := coat.Position - 1; p >= 0; p-- {
		if f, ok := s.Entries[p].Facts.(journal.Reworked); ok && f.Joint == of.Joint && s.Live(p) {
			return []int64{p}
		}
	}
	return nil
}

// AdhesivesOfRework returns the adhesives that a rework of the gate may spread now,
// by that way of it; none: it glues nothing, or is only left to join.
func (s *State) AdhesivesOfRework(gate string, way int, at time.Time) []AdhesiveReport {
	g, ok := s.Sheet.Gate(gate)
	if joint := s.unjoined(gate); joint != nil {
		step, _ := s.reworks.gluing(joint.Name)
		if s.reworks.coated(step, at) {
			return nil
		}
		return s.AdhesivesOf(s.reworks, step, at)
	}
	if !ok || way > len(g.Reworks) || len(g.Reworks) == 0 || g.Reworks[max(0, way-1)].Joint == "" {
		return nil
	}
	w := g.Reworks[max(0, way-1)]
	return s.AdhesivesOf(&Job{Procedure: &steps.Procedure{}}, steps.Step{Kind: steps.Glue, Joint: w.Joint, Adhesives: w.Adhesives}, at)
}

// ReworkLeft says what is left of a rework of the gate that glues: ToPress,
// ToRecoat, or "" where none is under way.
func (s *State) ReworkLeft(gate string, at time.Time) Act {
	joint := s.unjoined(gate)
	if joint == nil {
		return ""
	}
	step, _ := s.reworks.gluing(joint.Name)
	if s.reworks.coated(step, at) {
		return ToPress
	}
	return ToRecoat
}
