package cli

import (
	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
)

func (a *app) backupCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the whole store to a new file, while others use it",
		Long: "Copy the store, as it is at one moment, to a new file, and its photos beside it. The copy is\n" +
			"read again before it gets its name.",
		Args: arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := a.keeper()
			if err != nil {
				return err
			}
			copied, err := k.Backup(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			return a.show(page.Copied(copied))
		},
	}
}

func (a *app) restoreCommand() *cobra.Command {
	var force bool
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a copy in the place of the store",
		Long: "Put a copy that backup made in the place of the store. It is refused where the store here has\n" +
			"entries that the copy lacks, unless --force; what was here is kept aside either way.",
		Args: arguments(1, 1),
	}
	cmd.Flags().BoolVar(&force, "force", false, "restore although entries are lost; the store here is kept aside")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		k, err := a.keeper()
		if err != nil {
			return err
		}
		copied, err := k.Restore(cmd.Context(), args[0], force)
		if err != nil {
			return err
		}
		return a.show(page.Copied(copied))
	}
	return cmd
}

func (a *app) examineCommand() *cobra.Command {
	var salvage string
	cmd := &cobra.Command{
		Use:   "examine",
		Short: "Read the whole store and say what is damaged; change nothing",
		Long: "Read every page, journal, document and photo of the store and say what is damaged and what can\n" +
			"still be read. The store is not changed. With --salvage, every journal that is whole goes to a\n" +
			"new store; the readable beginning of any other goes to a file of its own, because its end may\n" +
			"have said that the aircraft is not fit to fly.",
		Args: arguments(0, 0),
	}
	cmd.Flags().StringVar(&salvage, "salvage", "", "write what is whole to this new `FILE`")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		k, err := a.keeper()
		if err != nil {
			return err
		}
		if salvage != "" {
			saved, err := k.Salvage(cmd.Context(), salvage)
			if err != nil {
				return err
			}
			return a.show(page.Salvage(saved))
		}
		found, err := k.Examine(cmd.Context())
		if err != nil {
			return err
		}
		if err := a.show(page.Examination(found)); err != nil {
			return err
		}
		if !found.Sound() {
			return &silentError{exitStore}
		}
		return nil
	}
	return cmd
}

func (a *app) exportCommand() *cobra.Command {
	return &cobra.Command{
		Use:               "export MARK FILE",
		Short:             "Write one airframe, with its journal, documents and photos, to a file",
		Long:              "Write one airframe to a single file, so that an aircraft sold takes its record along.",
		Args:              arguments(2, 2),
		ValidArgsFunction: a.completeMarks,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := a.keeper()
			if err != nil {
				return err
			}
			out, err := k.Export(cmd.Context(), args[0], args[1])
			if err != nil {
				return err
			}
			for _, m := range out.Missing {
				a.warn("a photo is left out: %s", m)
			}
			for _, p := range out.Placed {
				a.warn("the photo %s says where it was taken, to whoever gets the file", p)
			}
			return a.show(page.Exported{Mark: args[0], File: args[1], Exported: out})
		},
	}
}

func (a *app) importCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "import FILE",
		Short: "Take in an airframe from a file that export wrote",
		Long: "Take in an airframe after its tree, its entries and its documents were checked. A mark that is\n" +
			"here already is refused: two journals are never merged.",
		Args: arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := a.keeper()
			if err != nil {
				return err
			}
			state, missing, err := k.Import(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			for _, name := range missing {
				a.warn("the photo %s is not in the file; the journal names it all the same", name)
			}
			return a.show(page.Imported{Airframe: page.NewAirframe(state, a.time.Now())})
		},
	}
}
