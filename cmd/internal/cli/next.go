package cli

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/steps/sorting"
	"fettle/store"
	"fettle/workflow"
)

func (a *app) nextCommand() *cobra.Command {
	var full, short, take bool
	cmd := &cobra.Command{
		Use:   "next [MARK [STEP]]",
		Short: "Show the next step, and why the others wait",
		Long: "Show the next step, and why the others wait; or the step that is named, such as that of the other\n" +
			"person in a plan for two, with its cautions and what it needs. In a shed that several benches share,\n" +
			"the step is claimed for the time it takes: the others see who is at it, and are shown another one.",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(dueSteps, nothing),
		RunE: func(cmd *cobra.Command, args []string) error {
			if full && short {
				return usage("--full and --short contradict each other")
			}
			if err := a.recall(); err != nil {
				return err
			}
			step := ""
			s, rest, err := a.airframeWith(cmd.Context(), args, max(0, len(args)-1))
			if several := (*desk.AmbiguousError)(nil); len(args) == 0 && errors.As(err, &several) {
				s, err = a.foremost(cmd.Context(), err)
			}
			if err != nil {
				return err
			}
			d, err := a.desk()
			if err != nil {
				return err
			}
			if !s.SharesBench() { // what is plugged in beside it is said all the same
				if s, err = d.Beside(cmd.Context(), s, time.Time{}); err != nil {
					return err
				}
			}
			if len(rest) > 0 {
				step = rest[0]
			}
			var from, by string
			var at time.Time
			if step == "" && !a.json {
				d.BePerson(cmd.Context(), 0)
				s = d.Seated(s, 0)
			}
			if take && !a.json {
				g := s.Next(a.time.Now())
				if r, _, err := s.FindStep(step, a.time.Now()); step != "" && err == nil {
					g = s.GoTo(g, r, a.time.Now())
				}
				if g.Theirs && step == "" || g.Asked {
					from = s.Persons(g.Hands)
					by, at = s.AtItLast(a.time.Now())
					var anew bool
					if s, anew = d.Take(cmd.Context(), s, g.Step); anew { // somebody else did in the same instant
						from, by, take = "", "", false
					}
				}
			}
			suggestion, took, others, err := a.suggest(cmd.Context(), d, s, step, take)
			noted := false
			for anew := true; anew && err == nil; {
				if step == "" && !suggestion.Theirs {
					s.LeaveFor(&suggestion, a.time.Now())
				}
				if anew = false; step == "" && !a.json {
					noted, anew = d.Led(cmd.Context(), s, &suggestion)
				}
				if anew {
					s = d.Seated(s, 0)
					suggestion, took, others, err = a.suggest(cmd.Context(), d, s, step, take)
				}
			}
			if err != nil {
				return err
			}
			next := page.NextOf(s, suggestion, a.time.Now())
			next.TakenFrom(from, by, at)
			next.Heed(s, a.time.Now())
			next.Unsettled = a.unsettled()
			if people, _, err := a.hands(""); err == nil {
				next.ToldAlike(people, noted)
			}
			next.Claims, next.Took = others, took
			if step != "" {
				next.Command += " " + step
			}
			if next.Step != nil && next.Theirs == "" && !full {
				next.Step.Brief(s, d.By, next.Command+" --full", short)
			}
			next.Full = full
			if next.Over && len(s.Jobs) == 0 {
				next.Begin = a.buildOf(s.Airframe.Design)
			}
			next.Checks = d.BeforeFlight(s)
			return a.show(next)
		},
	}
	boolFlag(cmd.Flags(), &full, "full", false, "all that the step says, with why, tools and what waits, also where you have done it before")
	boolFlag(cmd.Flags(), &take, "take", false, "the step that comes first, or is named, also where somebody else is at it: it is taken over")
	boolFlag(cmd.Flags(), &short, "short", false, "the short text of a step that has one, for who has built one before; cautions stay whole")
	return cmd
}

// suggest suggests the step that is named, or one that nobody else is at, if there is one, or where it is taken over the
// one that comes first, and claims it. took is the claim that it was taken over from; nil: there was none.
// others are where others are. Who reads JSON only looks.
func (a *app) suggest(ctx context.Context, d *desk.Desk, s *workflow.State, step string, take bool) (next workflow.Suggestion, took *store.Claim, others []*store.Claim, err error) {
	now, mark := a.time.Now(), s.Airframe.Mark
	next = s.Next(now)
	if step == "" && take && next.Theirs { // nobody could note that it is taken over, or it is for several
		s = s.Unshared()
		next = s.Next(now)
	}
	all, err := d.Others(ctx)
	if err != nil {
		return next, nil, nil, err
	}
	others = sorting.Delete(slices.Clone(all), func(c *store.Claim) bool { return c.Mark != mark || !s.Claimed(c.Step, now) })
	at := func(of *workflow.State, r *workflow.StepReport) bool {
		step, _ := r.Claim()
		return slices.ContainsFunc(all, func(c *store.Claim) bool { return c.Mark == of.Airframe.Mark && c.Step == step })
	}
	if free := next; step != "" || len(all) > 0 && !take {
		if len(all) > 0 {
			free = s.NextBeside(now, nil, at, s.Planned)
		}
		if step != "" {
			r, _, err := s.FindStep(step, now)
			if err != nil {
				return next, nil, nil, err
			}
			if !at(s, &r) {
				s.Apart(&free, &r, now)
			}
			next = s.GoTo(next, r, now)
		} else if free.Step != nil || free.KeptApart {
			next = free
		}
	}
	if next.Step == nil || next.Theirs || a.json || step != "" && !next.Step.AtHand() {
		return next, nil, others, nil
	}
	step, lasts := next.Step.Claim()
	if step == "" {
		return next, nil, others, nil
	}
	if sits, err := d.Sitting(ctx); !take && err == nil && sits != nil {
		if sits.Mark != mark || sits.Step != step {
			a.warn("your follow is at %s of %s: the others see you there, and not at this step", sits.Step, sits.Mark)
		}
		return next, nil, others, nil
	}
	stands, ours, err := d.Claim(ctx, mark, step, lasts, take)
	if err != nil && !errors.Is(err, store.ErrAway) { // else that was said
		a.warn("the other benches are not told at which step you are: %v", err)
	}
	if ours && stands != nil {
		if i := slices.IndexFunc(others, stands.Of); i >= 0 {
			took = others[i]
		}
		others = sorting.Delete(others, stands.Of)
	} else if !ours && !at(s, next.Step) { // it was claimed just now
		others = append(others, stands)
	}
	return next, took, others, nil
}

// foremost is the airframe to go on with where none is named; the error where no job is open on any.
func (a *app) foremost(ctx context.Context, ambiguous error) (*workflow.State, error) {
	now := a.time.Now()
	all, err := rows(ctx, a, nil, func(s *workflow.State, _ int) *workflow.State { return s })
	if err != nil {
		return nil, err
	}
	s := workflow.Foremost(all, now)
	if s == nil {
		return nil, ambiguous
	}
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	return d.State(ctx, s.Airframe.Mark)
}
