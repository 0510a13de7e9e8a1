package workflow

import (
	"slices"
	"time"

	"fettle/steps"
)

// A Rank is how soon a step comes among those of its airframe, or an airframe among others: the least is first.
type Rank int

// The ranks. Those from RankWaited to RankTooLong leave something that is due on the airframe too little time, or nothing to spare.
const (
	RankPresses   Rank = iota // its window is open, or its coat is in hand: it can't wait
	RankMakesSafe             // it makes safe what crashed
	RankStaysBy               // somebody stays by the airframe, since it is plugged in, or what is suggested is what they heated something for; of its steps what it is plugged in for
	RankLooksOver             // it looks a damaged airframe over
	RankRepairs               // it repairs what is damaged
	RankPlanned               // the last plan has it in its next sitting
	RankGoesOn                // it is in the stage last worked on
	RankOpen                  // it can be done
	RankLater                 // the last plan has it for a later sitting, or for other people than a join that is due
	RankWet                   // it was found wet just now, or is too late for the window of its joint: what fits in comes before it
	RankWaits                 // it waits for a join that is due
	RankWaited                // what is due waits for it, and still has the time
	RankOthers                // somebody else does what is due, or the step
	RankTight                 // what is due has the time, and none to spare
	RankTooLong               // what is due lapses meanwhile
	RankCosts                 // a joint of another airframe lapses meanwhile
	RankNothing               // nothing can be done
	RankPutOff                // somebody has put it off
	RankOver                  // every job is complete
)

// Foremost is the airframe to go on with of several, see [Suggestion.ComesBefore]: the one of which something can't wait (but a join waits for
// what is plugged in, where it has the time), then what makes safe what crashed, then the
// one that somebody stays by, then the one that the last plan has first in its next sitting, then the first on which something can be
// done, then what the plan has later, or what other people do than a join that is due, then the one that waits for that join, then
// what somebody else is to do, and only then one whose step would cost that join. Where no job is open on any it is one that is not made
// safe, else one that is left hot, on or plugged in; nil: there is none.
func Foremost(fleet []*State, now time.Time) (first *State) {
	var best Suggestion
	least, leave := RankOver, NextLeave(fleet, now)
	for _, s := range fleet {
		g, costs := s.Next(now), RankPresses
		if slices.ContainsFunc(g.Beside, OtherClock.costs) {
			costs = RankCosts
		} else if len(g.Beside) > 0 {
			costs = RankLater
		}
		rank := s.Among(&g, costs, leave, now)
		if rank < RankOver && g.ComesBefore(rank, &best, least, now) {
			first, best, least = s, g, min(rank, least)
		}
	}
	if first != nil {
		return first
	}
	for _, s := range fleet {
		switch {
		case s.Unsafe(now) != nil:
			return s
		case first == nil && len(s.LeftBy(s.Next(now), now)) > 0:
			first = s
		}
	}
	return first
}

// ComesBefore reports whether what is suggested on one airframe comes before what is suggested on another one, of their ranks among all: what
// can wait, though it is open, comes after what can't wait until that is done, and after what a battery is plugged in for; then by rank; then by when a window closes, by
// when it is planned, or by when something can be done.
func (g *Suggestion) ComesBefore(rank Rank, other *Suggestion, theirs Rank, now time.Time) bool {
	switch {
	case theirs == RankPresses && (g.hurries(rank, other, now) || g.isTended(other, now)):
		return true
	case rank == RankPresses && (other.hurries(theirs, g, now) || other.isTended(g, now)), rank > theirs:
		return false
	}
	return rank < theirs || compareTimes(g.at(), other.at()) < 0
}

// hurries reports whether what is suggested would come too late once the other one is done, and that one in time after it.
func (g *Suggestion) hurries(rank Rank, other *Suggestion, now time.Time) bool {
	late := func(first, then *Suggestion) bool {
		return !then.By.IsZero() && now.Add(first.takes).After(then.By)
	}
	return g.Step != nil && other.Step != nil && rank <= RankCosts && rank != RankOthers && late(other, g) && !late(g, other)
}

// isTended reports whether a battery is plugged in for what is suggested, and is out again before an open join of another airframe must be
// begun, with something to spare: nobody goes from what is plugged in to a join that can wait.
func (g *Suggestion) isTended(join *Suggestion, now time.Time) bool {
	if g.tended == 0 || g.ForOthers || !join.Presses {
		return false
	}
	for _, d := range join.dues {
		if d.is(join.Step) {
			return !now.Add(g.tended).After(d.by)
		}
	}
	return false
}

// at is by what time suggestions of one rank are ordered.
func (g *Suggestion) at() time.Time {
	switch {
	case g.Step == nil:
		return g.Until
	case g.Step.Closes.IsZero():
		return g.Planned
	}
	return g.Step.Closes
}

// NextLeave is when the first sitting of the last plans of several airframes is over that is not yet.
func NextLeave(fleet []*State, now time.Time) (leave time.Time) {
	for _, s := range fleet {
		leave = nextLeave(leave, s.Planned, now)
	}
	return leave
}

// Among is how soon what is suggested comes among what is suggested on other airframes. It costs a joint of one of them that lapses
// meanwhile, [RankCosts], or that other people join, [RankLater]; else nothing. Leave is their [NextLeave].
func (s *State) Among(g *Suggestion, costs Rank, leave, now time.Time) Rank {
	standing := s.standing(now)
	wreck := slices.ContainsFunc(standing, func(is *hotThing) bool { return is.wreck })
	switch {
	case g.ForOthers && !wreck:
		return RankOthers
	case g.Presses:
		return RankPresses
	case wreck:
		return RankMakesSafe
	case g.Over:
		return RankOver
	case g.WaitsForDue:
		return RankWaits
	case g.Step == nil:
		return RankNothing
	case costs == RankCosts:
		return costs
	case g.AtOnce:
		return RankMakesSafe
	case slices.ContainsFunc(standing, func(is *hotThing) bool { return !is.bench && s.isGuarded(is.is) || s.usesOn(g, is, now) }):
		return RankStaysBy
	case costs == RankLater:
		return costs
	case g.Planned.IsZero():
		return RankOpen
	case !leave.IsZero() && g.Planned.After(leave):
		return RankLater
	}
	return RankPlanned
}

// usesOn reports whether whoever sits here set something hot for the airframe in this sitting, recorded something of it a moment ago, and goes
// on with what needs it: they aren't led elsewhere, and told to end it first.
func (s *State) usesOn(g *Suggestion, is *hotThing, now time.Time) bool {
	last := &s.Entries[len(s.Entries)-1]
	return is.bench && is.by == "" && (s.seat.By == "" || last.By == s.seat.By) && now.Sub(last.Recorded) <= untended && s.needsIt(g.Step, is, now) && !saysOf(s.LeftBy(*g, now), is)
}

// tight is the rank of what doesn't fit in.
func tight(r *StepReport, of *Planned, dues []*dueWork, now time.Time) Rank {
	in, waited := true, false
	for _, d := range dues {
		in, waited = in && (d.is(r) || d.inTime(r, of, now)), waited || d.waitsFor(r)
	}
	switch {
	case in && waited:
		return RankWaited
	case fits(r, of, forTheSame(of, dues), true, now):
		return RankOthers
	case in:
		return RankTight
	}
	return RankTooLong
}

// turns are the open jobs that come before others while damage is open or a check is due: what looks the airframe over, which is the check
// that is due where one is, and the repair. What comes before a flight is neither, nor is what plugs in, where a repair
// is begun, which it waits for.
func (s *State) turns(jobs []*Job, now time.Time) map[string]Rank {
	flight, _, due := s.checkDue(now)
	if len(s.OpenDamages(now)) == 0 && !due {
		return nil
	}
	turns, repaired := map[string]Rank{}, slices.ContainsFunc(s.Jobs, func(j *Job) bool { return len(j.Damages) > 0 && s.Open(j, now) })
	for _, j := range jobs {
		switch {
		case len(j.Damages) > 0:
			turns[j.ID] = RankRepairs
		case due && j.Procedure.Name == flight.Check, !due && j.Procedure.Kind == steps.Check && j.Procedure.Flight == "" && !(repaired && s.guards(j.Procedure)):
			turns[j.ID] = RankLooksOver
		}
	}
	return turns
}

// guards reports whether a step of a procedure sets what is guarded on an airframe, as it plugs a battery in or fits a propeller.
func (s *State) guards(p *steps.Procedure) bool {
	return steps.AnyStep(p.Steps(), func(step *steps.Step) bool { return steps.AnySetting(step.Sets, s.isGuarded) })
}
