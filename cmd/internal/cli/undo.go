package cli

import (
	"context"
	"errors"
	"strconv"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

func (a *app) undoCommand() *cobra.Command {
	var reason string
	cmd := &cobra.Command{
		Use:   "undo [MARK] ENTRY",
		Short: "Take an entry back, and what depended on it",
		Long: "Take an entry back by its number. Nothing is deleted: a new entry names what is taken\n" +
			"back, and the steps that depended on it are open again. Damage, a release, more than five\n" +
			"entries and what somebody else recorded are taken back only with a reason; damage leaves a\n" +
			"look-over of the place. To list the numbers:\n" +
			"fettle airframe show MARK --entries",
		Example:           "  fettle undo CW-01 14 --reason \"ticked the wrong step\"",
		Args:              arguments(0, 2),
		ValidArgsFunction: a.completeAfterMark(entries, nothing),
	}
	stringFlag(cmd.Flags(), &reason, "reason", "", "`WHY` it is taken back")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return a.undo(cmd.Context(), args, reason, *at)
	}
	return cmd
}

func (a *app) undo(ctx context.Context, args []string, reason, at string) error {
	s, rest, err := a.airframeWith(ctx, args, 1)
	if err != nil {
		return err
	}
	mark := s.Airframe.Mark
	if len(rest) == 0 {
		if err := a.ShowTo(a.Err, page.NewJournal(s).Last(10).Markdown(a.clock())); err != nil {
			return err
		}
		return usage("name the entry by its number: fettle undo %s %s", mark, page.Blank)
	}
	position, err := strconv.ParseInt(rest[0], 10, 64)
	if err != nil {
		return usage("%q is not the number of an entry; to list the entries: fettle airframe show %s --entries", rest[0], mark)
	}
	err = a.act(ctx, s, workflow.Undo{Position: position, Reason: reason}, at)
	var much *workflow.TakesMuchError
	if errors.As(err, &much) {
		return usage("that takes back %s; say why: fettle undo %s %d --reason %s", page.TakenBack(s, much.TakesBack), mark, position, page.Blank)
	}
	return err
}
