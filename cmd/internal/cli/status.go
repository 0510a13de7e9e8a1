package cli

import (
	"cmp"
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
			fleet, unread := a.fleet(cmd.Context(), args)
			if unread != nil && len(fleet) == 0 {
				return unread
			}
			board := page.Board{Airframes: []page.Airframe{}}
			for _, s := range fleet {
				board.Airframes = append(board.Airframes, page.NewAirframe(s, a.time.Now()))
			}
			return cmp.Or(a.show(board), unread)
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
			fleet, unread := a.fleet(cmd.Context(), args)
			if unread != nil && len(fleet) == 0 {
				return unread
			}
			clocks := page.Clocks{Timers: []page.Timer{}}
			for _, s := range fleet {
				clocks.Timers = append(clocks.Timers, page.Timers(s, a.time.Now())...)
			}
			return cmp.Or(a.show(clocks), unread)
		},
	}
}

// fleet reads the airframes named, or all of them; then those that could be
// read come beside the error of the others.
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
