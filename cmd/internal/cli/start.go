package cli

import (
	"context"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow/journal"
)

func (a *app) startCommand() *cobra.Command {
	var zone string
	cmd := &cobra.Command{
		Use:               "start [MARK] PROCEDURE [--zone ZONE]",
		Short:             "Start a procedure on an airframe",
		Long:              "Start a procedure on an airframe. PROCEDURE is a name in the library, or a file.",
		Example:           "  fettle start CW-01 causeway-build\n  fettle start CW-01 boom-snapped --zone left-boom",
		Args:              arguments(1, 2),
		ValidArgsFunction: a.completeStart,
	}
	cmd.Flags().StringVar(&zone, "zone", "", "the `ZONE` it is about, for a repair that asks for one")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.start(cmd.Context(), args, zone, *at)
	}
	return cmd
}

func (a *app) start(ctx context.Context, args []string, zone, at string) error {
	s, rest, err := a.airframe(ctx, args)
	if err != nil {
		return err
	}
	mark := s.Airframe.Mark
	if len(rest) != 1 {
		return usage("name the procedure: fettle start %s PROCEDURE; to list the procedures: fettle library list", mark)
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	entries, state, err := d.Start(ctx, s, rest[0], zone, when)
	if err != nil {
		return err
	}
	if a.json {
		return a.showJSON(page.NewNext(state, a.time.Now()))
	}
	opened := entries[len(entries)-1].Facts.(journal.JobOpened)
	job, err := state.Job(opened.Job)
	if err != nil {
		return err
	}
	if err := a.sayInForce(s, state, job); err != nil {
		return err
	}
	a.say("%s", page.OpenedLine(mark, opened.Job, job.Procedure.Steps()))
	if line := page.RepairLine(state, job, a.time.Now()); line != "" {
		a.say("%s", line)
	}
	return nil
}
