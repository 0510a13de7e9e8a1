package cli

import (
	"cmp"
	"context"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

func (a *app) airframeCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "airframe",
		Short: "Register, list, show and retire airframes",
		Args:  onlyCommands,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.airframeAddCommand(), a.airframeListCommand(), a.airframeShowCommand(), a.airframeRetireCommand())
	return cmd
}

func (a *app) airframeAddCommand() *cobra.Command {
	var design string
	var options []string
	var asBuilt bool
	cmd := &cobra.Command{
		Use:   "add MARK --design DESIGN [--with OPTION]… [--as-built]",
		Short: "Register an airframe",
		Long: "Register an airframe. With --as-built it was built elsewhere: the check of the library that takes over\n" +
			"such an airframe is started, and the record says for ever that its build is not on record.",
		Example: "  fettle airframe add CW-01 --design causeway --with working-rudders\n  fettle airframe add CW-02 --design causeway --as-built",
		Args:    arguments(1, 1),
	}
	stringFlag(cmd.Flags(), &design, "design", "", "the `DESIGN` sheet, by name or file")
	cmd.Flags().StringArrayVar(&options, "with", nil, "an `OPTION` of the design that this airframe has; may be repeated")
	boolFlag(cmd.Flags(), &asBuilt, "as-built", false, "its build is not on record: start the check that takes it over")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if design == "" {
			return usage("name the design with --design DESIGN; to list the designs: fettle library list")
		}
		return a.addAirframe(cmd.Context(), args[0], design, options, asBuilt, *at)
	}
	return cmd
}

func (a *app) addAirframe(ctx context.Context, mark, design string, options []string, asBuilt bool, at string) error {
	d, err := a.desk()
	if err != nil {
		return err
	}
	when, err := a.when(at)
	if err != nil {
		return err
	}
	if asBuilt { // asked before anything is registered
		sheet, err := d.Library.Sheet(design)
		if err != nil {
			return err
		}
		if _, err := d.AsBuilt(sheet.Sheet); err != nil {
			return err
		}
	}
	state, err := d.Register(ctx, mark, design, options, when)
	if err != nil {
		return err
	}
	mark = state.Airframe.Mark
	if asBuilt {
		if !a.json {
			a.say("%s is registered as a %s.", mark, state.Sheet.Title)
		}
		return a.startOn(ctx, state, "", "", when)
	}
	if a.json {
		return a.showJSON(page.NewAirframe(state, a.time.Now()))
	}
	if err := a.sayInPlace(state, state.SheetDigest); err != nil {
		return err
	}
	a.say("%s is registered as a %s. Next: fettle start %s %s", mark, state.Sheet.Title, mark, a.buildOf(state.Airframe.Design))
	return nil
}

func (a *app) airframeRetireCommand() *cobra.Command {
	var retire workflow.Retire
	cmd := &cobra.Command{
		Use:   "retire MARK --because sold|scrapped|kept",
		Short: "Retire an airframe; its record stays",
		Long: "Retire an airframe that was sold or scrapped, or is kept and no longer flown. It leaves the board\n" +
			"and the clocks, and nothing more is done on it; its record stays. To take it back: fettle undo",
		Example:           "  fettle airframe retire CW-02 --because sold --note \"to the school\"",
		Args:              arguments(1, 1),
		ValidArgsFunction: a.completeMarks,
	}
	stringFlag(cmd.Flags(), &retire.Because, "because", "", "why: `"+strings.Join(workflow.RetiredBecause(), " or ")+"`")
	stringFlag(cmd.Flags(), &retire.Note, "note", "", "a `NOTE`")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if retire.Because == "" {
			return usage("say why: --because %s", strings.Join(workflow.RetiredBecause(), ", --because "))
		}
		return a.actOn(cmd.Context(), args[0], retire, *at)
	}
	return cmd
}

// buildOf names the procedure that builds a design, to go with "fettle start", which
// lists what fits without one; "": the library has none, or several.
func (a *app) buildOf(design string) string {
	library, err := a.library()
	if err != nil {
		return ""
	}
	if builds := library.Builds(design); len(builds) == 1 {
		return builds[0].Document.Name()
	}
	return ""
}

func (a *app) airframeListCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the airframes",
		Args:  arguments(0, 0),
		RunE:  func(cmd *cobra.Command, _ []string) error { return a.listAirframes(cmd.Context()) },
	}
}

func (a *app) listAirframes(ctx context.Context) error {
	now := a.time.Now()
	list, unread := rows(ctx, a, nil, func(s *workflow.State, _ int) page.Airframe {
		if a.json {
			return page.NewAirframe(s, now)
		}
		return page.Brief(s, now)
	})
	if unread != nil && len(list) == 0 {
		return unread
	}
	return cmp.Or(a.show(page.Fleet{Airframes: list}), unread)
}

func (a *app) airframeShowCommand() *cobra.Command {
	var entries bool
	cmd := &cobra.Command{
		Use:               "show [MARK]",
		Short:             "Show one airframe: jobs, clocks, gates, conditions",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	boolFlag(cmd.Flags(), &entries, "entries", false, "show the entries of its journal instead")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		s, err := a.airframeAlone(cmd.Context(), args)
		if err != nil {
			return err
		}
		if entries {
			return a.show(page.NewJournal(s))
		}
		shown := page.NewAirframe(s, a.time.Now())
		if shown.Documents, err = a.cited(s); err != nil {
			return err
		}
		return a.show(shown)
	}
	return cmd
}
