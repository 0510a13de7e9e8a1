package sitting

import (
	"context"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

// mostMoved is by how much a finish moves that nobody is told of.
const mostMoved = 5 * time.Minute

// replan has what is left planned anew, which is followed from here, and says what that puts off, and once by how much it moves the finish, or where it ends
// before the work does; and first what the sitting has.
func (c *conversation) replan(ctx context.Context, now time.Time) error {
	first := c.planned.IsZero()
	c.planned = now
	if c.Replan == nil {
		return nil
	}
	before := map[string][]workflow.Planned{}
	for _, s := range c.states {
		before[s.Airframe.Mark] = s.Planned
	}
	followed, aside := c.Desk.Plan.Followed(c.states, now)
	if last := c.Desk.Plan.Last(followed); last != nil && first && len(last.Stops) == 0 {
		c.finishes = last.Finish
	}
	t := c.Replan(ctx, c.states)
	if t == nil {
		return nil
	}
	for _, s := range c.states {
		c.Desk.Plan.Tell(s)
		s.Planned = t.Planned(s.Airframe.Mark)
	}
	if text := page.PlannedNow(t, c.clock()); first && text != "" {
		if err := c.Front.Tell(strings.TrimSpace(text + " " + page.Without(aside))); err != nil {
			return err
		}
	}
	was, stops := c.finishes, page.StopsAt(t)
	if stops+c.stops != "" { // not all is done then, or was
		was, c.finishes = time.Time{}, time.Time{}
	}
	if was.IsZero() || t.Finish.Sub(was).Abs() < mostMoved {
		was = time.Time{}
	}
	if c.finishes.IsZero() || !was.IsZero() {
		c.finishes = t.Finish
	}
	putOff := page.PutOff(workflow.PutOff(c.states, before, now), t.Finish, was, c.clock())
	if stops != c.stops {
		putOff, c.stops = strings.TrimSpace(putOff+" "+stops), stops
	}
	for _, s := range c.states {
		c.Bench.follow(s) // c.states may be made anew from there
	}
	if putOff == "" {
		return nil
	}
	return c.say(putOff)
}

// choose returns what was chosen from the list, or the step that the builder was at when others
// recorded something, or the step that was answered last and is not done, or what is most urgent of
// all airframes. It leaves a step that was answered only for a joint whose time would run out
// meanwhile. Beside what must be joined soon, it stays with the airframe at hand.
func (c *conversation) choose(now time.Time) (*workflow.State, workflow.Suggestion) {
	var of, keep *workflow.State
	var best, kept workflow.Suggestion
	least, stays, jumps := workflow.RankOver, false, false
	leave := workflow.NextLeave(c.states, now)
	for _, s := range c.states {
		s = c.Desk.Seated(s, c.who)
		suggestion := s.NextBeside(now, func(r workflow.StepReport) bool { return c.off[placeOf(s, r)] },
			func(of *workflow.State, r *workflow.StepReport) bool { return c.Bench.at(of, *r) != nil }, s.Planned)
		if r, ok := atHand(s, c.jump, now); ok {
			s.Apart(&suggestion, &r, now)
			keep, kept, stays, jumps = s, s.GoTo(suggestion, r, now), true, true
		} else if r, ok := atHand(s, c.stay, now); !stays && ok && placeOf(s, r) == c.stay && goesOn(r, now) {
			keep, kept, stays = s, s.GoTo(suggestion, r, now), true
		} else if r, ok := atHand(s, c.kept, now); !stays && ok && !c.off[placeOf(s, r)] && c.Bench.at(s, r) == nil && goesOn(r, now) {
			keep, kept = s, s.GoTo(suggestion, r, now)
		}
		rank := c.rank(s, &suggestion, leave, now)
		if of == nil || suggestion.ComesBefore(rank, &best, least, now) {
			of, best, least = s, suggestion, min(rank, least)
		}
	}
	if !jumps {
		c.jump = place{}
	}
	switch {
	case stays:
		if (best.Presses || !best.By.IsZero()) && least == workflow.RankPresses && c.stay != (place{}) && placeOf(of, *best.Step) != placeOf(keep, *kept.Step) {
			c.presses = &best
		}
		fallthrough
	case keep != nil && (least > workflow.RankMakesSafe || least == workflow.RankPresses && c.fits(keep, kept.Step, false, now)):
		return keep, kept
	}
	return of, best
}

// goesOn reports whether whoever is at the step can go on, once what holds it back is answered.
//
//go:noinline
func goesOn(r workflow.StepReport, now time.Time) bool {
	return r.AtHand() && !now.Before(r.Touch) && (len(r.Reasons) == 0 || slices.ContainsFunc(r.Reasons, answerable))
}

// rank is how soon a suggestion comes among those of all airframes; less is sooner. What somebody has put off comes last, what was wet
// waits, and work goes on at the airframe at hand.
func (c *conversation) rank(s *workflow.State, g *workflow.Suggestion, leave, now time.Time) workflow.Rank {
	r, costs := g.Step, workflow.RankPresses
	switch {
	case len(g.PutOff) > 0 && c.putOff(s, *g) == nil:
		return workflow.RankPutOff
	case r == nil || g.Presses:
	case !r.Touch.IsZero():
		return workflow.RankWaits
	case !c.fits(s, r, false, now):
		if costs = workflow.RankCosts; c.fits(s, r, true, now) { // it costs nothing that is due for whoever does it
			costs = workflow.RankLater
		}
	}
	rank := s.Among(g, costs, leave, now)
	if rank == workflow.RankOpen && s.Airframe.Mark == c.mark {
		return workflow.RankPlanned
	}
	return rank
}

// fits reports whether all that is due at the bench can wait for the step: theirs, all that is due for whoever does it.
func (c *conversation) fits(s *workflow.State, r *workflow.StepReport, theirs bool, now time.Time) bool {
	return !slices.ContainsFunc(c.Bench.States(), func(other *workflow.State) bool {
		if other.Airframe.Mark == s.Airframe.Mark {
			other = s
		}
		return !other.CanWaitFor(r, s, theirs, now)
	})
}

// atHand is the step at a place of the airframe, if it can still be done or seen to.
func atHand(s *workflow.State, at place, now time.Time) (workflow.StepReport, bool) {
	r, ok := reportAt(s, at, now)
	return r, ok && r.AtHand()
}

// reportAt is the step at a place of the airframe, however it stands.
func reportAt(s *workflow.State, at place, now time.Time) (workflow.StepReport, bool) {
	if at.mark != s.Airframe.Mark {
		return workflow.StepReport{}, false
	}
	job, err := s.Job(at.job)
	if err != nil {
		return workflow.StepReport{}, false
	}
	for _, r := range s.Steps(job, now) {
		if r.Step.Name == at.step {
			return r, true
		}
	}
	return workflow.StepReport{}, false
}
