package cli

import (
	"context"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
)

func (a *app) moveJobCommand() *cobra.Command {
	var accept bool
	var procedure string
	cmd := &cobra.Command{
		Use:   "move-job MARK JOB",
		Short: "Show what newer documents change for an open job, or move it",
		Long: "An open job keeps the documents it was started with. move-job shows what the library's newer\n" +
			"ones would change: steps added, dropped and changed, with their words and limits as they were\n" +
			"and as they are, and readings that no longer count. With --accept the job moves to them, and\n" +
			"the journal says so. The design sheet is that of the airframe: where it becomes another one,\n" +
			"every open job moves with it, or none does.",
		Args:              arguments(2, 2),
		ValidArgsFunction: a.completeAfterMark(openJobs, nothing),
	}
	boolFlag(cmd.Flags(), &accept, "accept", false, "move the job")
	stringFlag(cmd.Flags(), &procedure, "procedure", "", "the procedure's `FILE`, if not the library's")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.moveJob(cmd.Context(), args[0], args[1], procedure, accept, *at)
	}
	return cmd
}

func (a *app) moveJob(ctx context.Context, mark, job, procedure string, accept bool, at string) error {
	when, err := a.when(at)
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	state, err := d.State(ctx, mark)
	if err != nil {
		return err
	}
	mark = state.Airframe.Mark
	move, err := d.Newer(ctx, state, job, procedure)
	if err != nil {
		return err
	}
	changes, err := state.Changes(move, a.time.Now())
	if err != nil {
		return err
	}
	shown := page.NewMove(mark, job, changes)
	shown.Accepted = accept
	if !accept {
		shown.Accept = "fettle move-job " + mark + " " + job + " --accept"
		if procedure != "" {
			shown.Accept += " --procedure " + quoted(procedure)
		}
		if at != "" {
			shown.Accept += " --at " + quoted(at)
		}
		for _, option := range a.placed() {
			shown.Accept += " " + option
		}
		return a.show(shown)
	}
	if err := d.Move(ctx, state, move, when); err != nil {
		return err
	}
	return a.show(shown)
}
