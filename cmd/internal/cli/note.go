package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"fettle/workflow"
)

func (a *app) noteCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:               "note [MARK] WORDS…",
		Short:             "Write a note into an airframe's journal",
		Example:           "  fettle note CW-01 \"left aileron slightly stiff\"",
		Args:              arguments(0, -1),
		ValidArgsFunction: a.completeMarks,
	}
	at, photos := atFlag(cmd), photoFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		s, words, err := a.airframeAnd(cmd.Context(), "note", "", nothing, args, len(args))
		if err != nil {
			return err
		}
		return a.act(cmd.Context(), s, workflow.Note{Text: strings.Join(words, " ")}, *at, *photos...)
	}
	return cmd
}
