package cli

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow"
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
		a.showCommand(),
	)
	return cmd
}

func (a *app) showCommand() *cobra.Command {
	var parts bool
	var with []string
	cmd := &cobra.Command{
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
			switch {
			case !parts && len(with) > 0:
				return usage("--with goes with --parts")
			case !parts:
				return a.show(page.NewDocument(doc, library.OriginOf(doc)))
			case doc.Procedure == nil:
				return usage("%s is not a procedure; only a procedure has tools and parts to list", args[0])
			}
			things, err := page.NewThings(doc.Procedure.For(steps.Selection{Has: with}, ""))
			if err != nil {
				return err
			}
			return a.show(things)
		},
	}
	cmd.Flags().BoolVar(&parts, "parts", false, "of a procedure: its tools, and its parts added up")
	cmd.Flags().StringSliceVar(&with, "with", nil, "with --parts: the `OPTIONS` of the airframe")
	return cmd
}

// cited lists the documents that an airframe goes by, with where each is from.
func (a *app) cited(s *workflow.State) ([]page.Cited, error) {
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	return page.Cite(s, d.Origin), nil
}

// sayInPlace says which of these documents of one's own are in force in the place
// of embedded ones.
func (a *app) sayInPlace(s *workflow.State, digests ...string) error {
	cited, err := a.cited(s)
	for _, c := range cited {
		if c.Replaces > 0 && slices.Contains(digests, c.Digest) {
			a.say("%s", page.Capital(c.Line()))
		}
	}
	return err
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
