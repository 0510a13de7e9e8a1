package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
)

func (a *app) libraryCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "library",
		Short: "List and show design sheets and procedures",
		Args:  arguments(0, 0),
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(
		&cobra.Command{
			Use:   "list",
			Short: "List all documents: the embedded ones and your own",
			Args:  arguments(0, 0),
			RunE: func(*cobra.Command, []string) error {
				library, err := a.library()
				if err != nil {
					return err
				}
				entries, faults := library.List()
				return a.show(page.NewLibrary(entries, faults))
			},
		},
		&cobra.Command{
			Use:               "show NAME",
			Short:             "Show one document as it appears at the bench",
			Args:              arguments(1, 1),
			ValidArgsFunction: a.completeDocuments,
			RunE: func(_ *cobra.Command, args []string) error {
				library, err := a.library()
				if err != nil {
					return err
				}
				doc, err := library.Find(args[0])
				if err != nil {
					return err
				}
				return a.show(page.NewDocument(doc))
			},
		},
	)
	return cmd
}

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check [FILE…]",
		Short: "Check the documents you write, or your whole library",
		Args:  arguments(0, -1),
		RunE: func(cmd *cobra.Command, args []string) error {
			library, err := a.library()
			if err != nil {
				return err
			}
			var report procedures.Report
			if len(args) == 0 {
				report, err = library.CheckAll(cmd.Context())
			} else {
				report, err = library.Check(cmd.Context(), args...)
			}
			if err != nil {
				return err
			}
			return a.showCheck(report)
		},
	}
}

func (a *app) showCheck(report procedures.Report) error {
	check := page.NewCheck(report)
	if a.json {
		if err := a.showJSON(check); err != nil {
			return err
		}
	} else if _, err := fmt.Fprint(a.Out, term.Clean(check.Plain())); err != nil {
		return err
	}
	if len(report.Faults) > 0 {
		return &silentError{exitUsage}
	}
	return nil
}
