package cli

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/workflow"
)

func (a *app) nextCommand() *cobra.Command {
	var full, short bool
	cmd := &cobra.Command{
		Use:               "next [MARK]",
		Short:             "Show the next step, and why the others wait",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
		RunE: func(cmd *cobra.Command, args []string) error {
			if full && short {
				return usage("--full and --short contradict each other")
			}
			if err := a.recall(); err != nil {
				return err
			}
			s, err := a.airframeAlone(cmd.Context(), args)
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
			next := page.NewNext(s, a.time.Now())
			if next.Step != nil && !full {
				next.Step.Brief(s, d.By, "fettle next "+s.Airframe.Mark+" --full", short)
			}
			next.Full = full
			if next.Over && len(s.Jobs) == 0 {
				next.Begin = a.buildOf(s.Airframe.Design)
			}
			next.Checks = d.BeforeFlight(s)
			return a.show(next)
		},
	}
	cmd.Flags().BoolVar(&full, "full", false, "all that the step says, with why, tools and what waits, also where you have done it before")
	cmd.Flags().BoolVar(&short, "short", false, "the short text of a step that has one, for who has built one before; cautions stay whole")
	return cmd
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
