package main

import (
	"context"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

func (a *app) statusCommand() *cobra.Command {
	return &cobra.Command{
		Use:               "status [MARK]…",
		Short:             "Show the board: where each airframe stands, what is drying, what may fly",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeMarks,
		RunE: func(cmd *cobra.Command, args []string) error {
			fleet, err := a.fleet(cmd.Context(), args)
			if err != nil {
				return err
			}
			board := page.Board{Airframes: []page.Airframe{}}
			for _, s := range fleet {
				board.Airframes = append(board.Airframes, page.NewAirframe(s, a.time.Now()))
			}
			return a.show(board)
		},
	}
}

func (a *app) timersCommand() *cobra.Command {
	return &cobra.Command{
		Use:               "timers [MARK]…",
		Short:             "Show every running clock",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeMarks,
		RunE: func(cmd *cobra.Command, args []string) error {
			fleet, err := a.fleet(cmd.Context(), args)
			if err != nil {
				return err
			}
			clocks := page.Clocks{Timers: []page.Timer{}}
			for _, s := range fleet {
				clocks.Timers = append(clocks.Timers, page.Timers(s, a.time.Now())...)
			}
			return a.show(clocks)
		},
	}
}

// fleet reads the airframes named, or all of them.
func (a *app) fleet(ctx context.Context, marks []string) ([]*workflow.State, error) {
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	if len(marks) == 0 {
		return d.Fleet(ctx)
	}
	var fleet []*workflow.State
	for _, mark := range marks {
		s, err := d.State(ctx, mark)
		if err != nil {
			return nil, err
		}
		fleet = append(fleet, s)
	}
	return fleet, nil
}
