package workflow

import (
	"fmt"
	"slices"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// This file knows what the others of a plan for several do beside a step.

// GoTo puts another step in the place of what is suggested: with whose it is by the plan, and what the others do meanwhile.
func (s *State) GoTo(g Suggestion, r StepReport, now time.Time) Suggestion {
	if g.Step == nil || g.Step.Job != r.Job || g.Step.Step.Name != r.Step.Name {
		g.Why, g.JoinBy = "", time.Time{}
	}
	g.Step, g.Resolve, g.Presses, g.AtOnce = &r, r.Reasons, presses(&r, now), s.makesSafe(&r, now)
	g.Beside, g.takes = s.beside(r, g.Presses, now), s.takes(&r, planOf(&r, g.planned))
	g.By, g.tended = begunBy(&r, &StepReport{}, g.takes, g.dues, now), s.tendedFor(&g, now)
	g.Planned, g.Hands, g.Others = time.Time{}, nil, nil
	g.ForOthers, g.Theirs, g.Mine, g.Becomes, g.Asked = false, false, nil, 0, false
	if of := planBy(&r, g.planned, g.dues); of != nil {
		if g.Hands = of.Hands; !g.AtOnce || !of.Begins.After(now) {
			g.Planned = of.Begins
		}
		g.Others = s.meanwhile(&g, of, now)
		_, g.Asked = s.forOthers(s.seat.Who, &g, now)
	}
	if g.held != nil && len(g.Hands) == 0 && g.held.Job == r.Job && g.held.Step.Name == r.Step.Name {
		g.Hands = []int{g.heldBy}
		_, g.Asked = s.forOthers(s.seat.Who, &g, now)
	}
	return g
}

// presses reports whether a step can't wait: an open joint, a coat in hand.
func presses(r *StepReport, now time.Time) bool {
	return !now.Before(r.Touch) && (!r.Closes.IsZero() || r.Begun.runs(now))
}

// meanwhile is what people who don't do the step have to do by the plan meanwhile: of each the first of what is ready, or will be in
// time, if it is to begin soon. What the plan has after the step is none of it, nor what can't be done beside it.
func (s *State) meanwhile(g *Suggestion, step *Planned, now time.Time) (all []Share) {
	busy, beside := step.Hands, []*StepReport{g.Step}
	if len(busy) == 0 {
		return nil
	}
	dues := otherThan(g.dues, func(d *dueWork) bool { return d.is(g.Step) })
	for i := range g.planned {
		of := &g.planned[i]
		if of.Begins.Sub(now) > Soon || !of.Begins.Before(step.ends()) || !apart(of.Hands, busy) {
			continue
		}
		r, begins := reportOf(of, g.meanwhile), of.Begins
		if r == nil || s.clash(r, beside, now) {
			continue
		}
		if s.awaitedElsewhere(of, now) { // also for what comes after it here
			busy = slices.Concat(busy, of.Hands)
			continue
		}
		if atHand(r) || seenToNow(r) {
			if now.Before(r.Touch) || !fits(r, of, forTheSame(of, dues), true, now) {
				continue
			}
		} else if at := opensOnceSeenTo(r); at.IsZero() || at.Sub(now) > Soon {
			continue
		} else if begins.Before(at) {
			begins = at
		}
		for _, who := range of.Hands {
			all = append(all, Share{who, "", *r, begins, nil})
		}
		busy, beside = slices.Concat(busy, of.Hands), append(beside, r)
	}
	named := slices.Clone(step.Hands)
	for _, o := range all {
		named = append(named, o.Who)
	}
	return append(all, s.sharesElsewhere(named, step, now)...)
}

// TurnOf is the step that the plan has about now for one of several who is not to do what is suggested; nil: it has none that can be done
// beside that, something that is due for them can't wait for it, or what is suggested comes first for everybody.
func (s *State) TurnOf(who int, g *Suggestion, now time.Time) *StepReport {
	if others, _ := s.forOthers(who, g, now); !others {
		return nil
	}
	for i := range g.planned {
		p := &g.planned[i]
		if p.Begins.Sub(now) > Slip {
			break
		}
		r := reportOf(p, g.meanwhile)
		if r == nil || len(p.Hands) != 1 || p.Hands[0] != who || reportOf(p, g.PutOff) != nil {
			continue
		}
		if r.AtHand() && !now.Before(r.Touch) && fits(r, p, forTheSame(p, g.dues), true, now) && !s.clash(r, []*StepReport{g.Step}, now) &&
			!slices.ContainsFunc(s.beside(*r, presses(r, now), now), OtherClock.costs) {
			return r
		}
	}
	return nil
}

// PersonOf is who of several the last plan has the step for of which was recorded last; 0: it has it for nobody alone, or for later and for
// one who is at the bench.
func (s *State) PersonOf(entries []journal.Entry) int {
	for _, e := range slices.Backward(entries) {
		work, ok := journal.WorkOf(e.Facts)
		if begun, is := e.Facts.(journal.Begun); is {
			work.Job, work.Step, ok = begun.Job, begun.Step, true
		}
		for i := range s.Planned {
			if p := &s.Planned[i]; ok && p.Job == work.Job && p.Step == s.StepOf(work) && len(p.Hands) == 1 && (p.Begins.Sub(e.Recorded) <= Soon || s.seat.Here>>p.Hands[0]&1 == 0) {
				return p.Hands[0]
			}
		}
	}
	return 0
}

// forOthers reports whether what is suggested is for other people than one of several; theirs: and they are at the bench, so that nobody
// else begins it too. It is not where they are not there and it is late, makes safe what crashed or can't wait; nor is an open joint theirs
// once it is late for its window.
func (s *State) forOthers(who int, g *Suggestion, now time.Time) (others, theirs bool) {
	if g.Step == nil || len(g.Hands) == 0 || !apart(g.Hands, []int{who}) {
		return false, false
	}
	of := planOf(g.Step, g.planned)
	theirs = s.there(g.Hands, of, now)
	switch {
	case g.Presses:
		theirs = theirs && (now.Before(g.By) || now.Sub(g.Planned) <= Slip || g.Planned.IsZero() && g.By.IsZero())
		return theirs, theirs
	case g.AtOnce:
		theirs = theirs && (of == nil || of.Begins.Sub(now) <= Soon)
		return theirs, theirs
	case theirs, who == 0:
		return theirs, theirs
	}
	return g.Late(now) == 0, false
}

// there reports whether all of them are at the bench: they asked or recorded something lately, or did so in this sitting and are at it by
// the plan.
//
//go:noinline
func (s *State) there(hands []int, of *Planned, now time.Time) bool {
	for _, who := range hands {
		at := of != nil && !of.Begins.After(now) && now.Before(of.ends()) && s.seat.Known>>who&1 == 1
		if !at && s.seat.Here>>who&1 == 0 {
			return false
		}
	}
	return len(hands) > 0
}

// mine is what whoever sits here does next by the last plan, here or on another airframe of the bench, but for what its
// damage keeps, see [Suggestion.Kept]; nil: nothing more.
//
//go:noinline
func (s *State) mine(g *Suggestion, now time.Time) *Share {
	var first *Share
	for n := -1; n < len(s.others) && s.seat.Who > 0; n++ {
		of, mark, planned := s, "", g.planned
		if n >= 0 {
			of, mark, planned = s.others[n], s.others[n].Airframe.Mark, s.Plans[s.others[n].Airframe.Mark]
		}
		for i := range planned {
			p := &planned[i]
			if first != nil && !p.Begins.Before(first.Planned) {
				break
			}
			if !lists.Contains(p.Hands, s.seat.Who) {
				continue
			}
			r, _, err := of.FindStep(p.Job+"/"+p.Step, now)
			if err != nil || r.Progress == Done {
				continue
			}
			if kept := of.keeps(&r, now); kept != nil {
				if g.Kept == nil {
					g.Kept = kept
				}
				break // what comes after it there waits too
			}
			if at := placeOf(&r, planned); at == len(planned) || at <= i { // else it is left of an act that comes after this one
				first = &Share{s.seat.Who, mark, r, p.Begins, nil}
				break
			}
		}
	}
	return first
}

// StaysBy is who else of several stays by an airframe of the bench, and is at the bench: who is at it by the last plan or is soon, else who
// [State.isAt] it. 0: nobody does, or whoever sits here.
//
//go:noinline
func (s *State) StaysBy(of *State, now time.Time) int {
	first := true // of what is left
	for i := range of.Planned {
		p := &of.Planned[i]
		if p.Begins.Sub(now) > Soon {
			break
		}
		job, err := of.Job(p.Job)
		if err != nil || len(p.Hands) == 0 || p.givenUp(now) {
			continue
		}
		if _, done := job.done[p.Step]; done {
			continue
		}
		for _, who := range p.Hands {
			if (first || !p.Begins.After(now)) && who != s.seat.Who && s.there([]int{who}, p, now) {
				return who
			}
		}
		first = false
	}
	if !first {
		return 0
	}
	if who, me := s.isAt(of, of.Next(now).Step, now); !me {
		return who
	}
	return 0
}

// awaitedElsewhere reports whether any of those who are to do a step is to do another one before it on another airframe of the bench.
//
//go:noinline
func (s *State) awaitedElsewhere(of *Planned, now time.Time) bool {
	for mark, all := range s.Plans {
		for i := range all {
			p := &all[i]
			if mark == s.Airframe.Mark || p.Begins.After(of.Begins) {
				break
			}
			if ends := p.ends(); !apart(p.Hands, of.Hands) && len(p.Hands) > 0 && (!now.Before(ends) || ends.After(of.Begins)) && s.leftElsewhere(mark, p, now) {
				return true
			}
		}
	}
	return false
}

// leftElsewhere reports whether a step of another airframe of the bench is not done, as far as is known, and not so late that nobody is at
// it.
//
//go:noinline
func (s *State) leftElsewhere(mark string, p *Planned, now time.Time) bool {
	ends := p.ends()
	done := !now.Before(ends) // so it is taken where nothing is known of it
	for _, other := range s.others {
		if job, err := other.Job(p.Job); err == nil && other.Airframe.Mark == mark {
			_, done = job.done[p.Step]
		}
	}
	return !done && !p.givenUp(now)
}

// sharesElsewhere is what people who are not busy here have to do by the plan meanwhile on other airframes of the bench: of each the first.
func (s *State) sharesElsewhere(busy []int, step *Planned, now time.Time) (all []Share) {
	for who := 1; who <= PeopleOf(s.Plans); who++ {
		first := Share{Who: who}
		for _, other := range s.others {
			mark := other.Airframe.Mark
			for i := range s.Plans[mark] {
				p := &s.Plans[mark][i]
				if p.Begins.Sub(now) > Soon || !p.Begins.Before(step.ends()) {
					break
				}
				if !lists.Contains(p.Hands, who) || !apart(p.Hands, busy) || !s.leftElsewhere(mark, p, now) {
					continue
				}
				if r, _, err := other.FindStep(p.Job+"/"+p.Step, now); err == nil && other.keeps(&r, now) == nil && (first.Mark == "" || p.Begins.Before(first.Planned)) {
					if first.Mark, first.Step, first.Planned, first.Beside = mark, r, p.Begins, nil; slices.ContainsFunc(r.Step.Needs, other.isGuarded) || slices.ContainsFunc(r.Step.Sets, other.isGuarded) {
						first.Beside = other
					}
				}
				break
			}
		}
		if first.Mark != "" {
			all = append(all, first)
		}
	}
	return all
}

// A busyStep is a step that somebody else is at.
type busyStep struct {
	*StepReport
	on *State   // the airframe
	of *Planned // by which they are to be at it; nil: they are, as far as is known
}

// busyAt is a step that is not offered as one that somebody is at: theirs, it is claimed; or it is begun, or the last plan of several has it
// now. nil: nobody is.
func (s *State) busyAt(r *StepReport, theirs bool, planned []Planned, now time.Time) *busyStep {
	of := planOf(r, planned)
	switch {
	case theirs, r.Begun.runs(now):
		return &busyStep{r, s, nil}
	case of != nil && lists.Contains(of.Hands, s.seat.Who): // it is put off by whoever asks
	case of != nil && len(of.Hands) > 0 && !of.Begins.After(now) && !of.givenUp(now):
		return &busyStep{r, s, of}
	}
	return nil
}

// busyBeside are the steps that others are at on other airframes of the bench.
func (s *State) busyBeside(at func(*State, *StepReport) bool, now time.Time) (all []*busyStep) {
	for _, other := range s.others {
		for _, job := range other.OpenJobs(now) {
			steps := other.stepsIn(job, now, every, false)
			for i := range steps {
				if r := &steps[i]; r.AtHand() && at(other, r) {
					all = append(all, &busyStep{r, other, nil})
				}
			}
		}
	}
	return all
}

// Apart has the report of a step that could be done wait for what somebody else is at, where it can't be done beside that. What the
// plan has for the same people is done by them one after the other. A coat in hand, or an open join, waits for nobody: it would be lost.
func (s *State) Apart(g *Suggestion, r *StepReport, now time.Time) {
	if presses(r, now) {
		return
	}
	of := planOf(r, g.planned)
	for _, busy := range g.elsewhere {
		if !r.AtHand() || busy.of != nil && of != nil && len(of.Hands) > 0 && !apart(of.Hands, busy.of.Hands) || !s.clashes(r, busy, now) {
			continue
		}
		which, who := fmt.Sprintf("%q", busy.Step.Label()), "somebody else is at"
		if busy.on != s {
			which += " of " + busy.on.Airframe.Mark
		}
		if busy.of != nil {
			who = "the plan has for somebody else now"
		}
		r.Progress = Waiting
		r.Reasons = append(r.Reasons[:len(r.Reasons):len(r.Reasons)], Reason{Because: ByState, Text: fmt.Sprintf("it can't be done beside %s, which %s", which, who)})
	}
}

// clashes reports whether a step can't be done beside what somebody else is at. Of another airframe only what belongs to the bench counts,
// and its tools.
func (s *State) clashes(r *StepReport, busy *busyStep, now time.Time) bool {
	if busy.on == s {
		return s.clash(r, []*StepReport{busy.StepReport}, now)
	}
	return s.lacksTool(r, []*StepReport{busy.StepReport}) || opposed(s.asks(r, now), sorting.Delete(busy.on.asks(busy.StepReport, now), func(is steps.Setting) bool { return !s.ofBench(is.Condition) }))
}

// opposed reports whether two steps ask for different states of a condition.
//
//go:noinline
func opposed(some, others []steps.Setting) bool {
	return steps.AnySetting(some, func(is steps.Setting) bool {
		return steps.AnySetting(others, func(so steps.Setting) bool { return so.Condition == is.Condition && so.State != is.State })
	})
}

// clash reports whether a step can't be done beside others: it needs or sets a condition otherwise than one of them, or its adhesive,
// or there is not another tool for it.
func (s *State) clash(r *StepReport, beside []*StepReport, now time.Time) bool {
	for _, other := range beside {
		if opposed(s.asks(r, now), s.asks(other, now)) {
			return true
		}
	}
	return s.lacksTool(r, beside)
}

// lacksTool reports whether there is not another tool for a step beside others.
func (s *State) lacksTool(r *StepReport, beside []*StepReport) bool {
	used := lists.Clone(r.Step.Tools)
	for _, other := range beside {
		used = append(used, other.Step.Tools...)
	}
	for _, name := range r.Step.Tools {
		n := 0
		for _, is := range used {
			if is == name {
				n++
			}
		}
		if tool, _ := s.Sheet.Tool(name); n > max(1, tool.Count) {
			return true
		}
	}
	return false
}

// asks are the conditions that a step needs and sets, and what it is done with.
func (s *State) asks(r *StepReport, now time.Time) []steps.Setting {
	job, err := s.Job(r.Job)
	if err != nil {
		return settingsOf(&r.Step, nil)
	}
	return settingsOf(&r.Step, s.UsesOf(job, r.Step, now))
}
