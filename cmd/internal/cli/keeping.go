package cli

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/store"
)

func (a *app) backupCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the whole store to a new file, while others use it",
		Long: "Copy the store, as it is at one moment, to a new file, and its photos beside it. The copy is\n" +
			"verified by reading it back before it gets its name.",
		Args:              arguments(1, 1),
		ValidArgsFunction: completeFiles,
		RunE: func(cmd *cobra.Command, args []string) error {
			k, err := a.keeper()
			if err != nil {
				return err
			}
			if err := a.checkKind(args[0]); err != nil {
				return err
			}
			if !a.stores.Files(args[0]) {
				return usage("a backup is a file; to copy into a shed: fettle store copy %s %s", quoted(k.Path), args[0])
			}
			copied, err := k.Backup(cmd.Context(), args[0])
			if err != nil {
				return err
			}
			return a.show(page.Copied(copied))
		},
	}
}

func (a *app) storeCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "store",
		Short: "Bring a store elsewhere",
		Args:  onlyCommands,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(&cobra.Command{
		Use:   "copy FROM TO",
		Short: "Copy every airframe of one store into another",
		Long: "Copy every airframe, with its documents and photos, from one store into another: a file, or a\n" +
			"shed on a cluster (help sheds). What is there is continued if it begins with the same entries, so\n" +
			"a copy that was stopped goes on where it was; records that have gone apart are never merged. Each\n" +
			"record is read back, and its root compared with the original's.",
		Args:              arguments(2, 2),
		ValidArgsFunction: completeFiles,
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := a.config(); err != nil {
				return err
			}
			for _, name := range args {
				if err := a.checkKind(name); err != nil {
					return err
				}
			}
			copied, err := a.stores.Copy(cmd.Context(), args[0], args[1])
			if errors.Is(err, store.ErrAway) || errors.Is(err, store.ErrUnknown) {
				return &outcomeError{err, err.Error() + "; the copy is not complete: run it again once the cluster can be reached, it goes on where it was", false}
			}
			if err != nil {
				return err
			}
			return a.show(page.Copied(copied))
		},
	})
	return cmd
}

func (a *app) restoreCommand() *cobra.Command {
	var force bool
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Replace the store with a backup",
		Long: "Replace the store with a copy that backup made. This is refused if the store has entries that\n" +
			"the copy lacks, unless --force is given. The old store is kept under another name either way.",
		Args:              arguments(1, 1),
		ValidArgsFunction: completeFiles,
	}
	boolFlag(cmd.Flags(), &force, "force", false, "restore even if entries are lost; the old store is kept under another name")
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
		Short: "Read the whole store and report damage; change nothing",
		Long: "Read every page, journal, document and photo of the store and report what is damaged and what\n" +
			"can still be read. The store is not changed. With --salvage, every journal that is whole is\n" +
			"copied to a new store. The readable beginning of any other goes to a text file, because its\n" +
			"lost end may have said that the aircraft is not fit to fly.",
		Args: arguments(0, 0),
	}
	stringFlag(cmd.Flags(), &salvage, "salvage", "", "copy what is whole to this new `FILE`")
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
			if err := a.show(page.Salvage(saved)); err != nil {
				return err
			}
			if saved.Airframes == 0 && len(saved.Faults)+len(saved.Parts) > 0 {
				return &silentError{exitStore}
			}
			return nil
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
		Use:   "export MARK FILE",
		Short: "Write one airframe, with its whole record, to a file",
		Long: "Write one airframe with its journal, documents, photos and seals to one file, so that an\n" +
			"aircraft that is sold takes its record with it.",
		Args:              arguments(2, 2),
		ValidArgsFunction: a.completeMarkAndFile,
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
			for _, p := range out.Geotagged {
				a.warn("photo %s contains the position where it was taken; anyone who gets the file can read it", p)
			}
			return a.show(page.Exported{Mark: strings.ToUpper(args[0]), File: args[1], Exported: out})
		},
	}
}

func (a *app) importCommand() *cobra.Command {
	var against, key string
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Add an airframe from a file that export wrote, or continue it",
		Long: "Add an airframe from a file that export wrote, after checking its entries, documents and\n" +
			"seals. If the airframe is in the store already, a newer export continues it, provided that it\n" +
			"begins with exactly what is here; any other is refused: two journals are never merged. The\n" +
			"seals inside are by whoever sealed it; with --against it must also match a seal that you were\n" +
			"given by other means. At most 100,000 entries, and 40 MiB unpacked without photos.",
		Args:              arguments(1, 1),
		ValidArgsFunction: completeFiles,
	}
	stringFlag(cmd.Flags(), &against, "against", "", "import only a journal that begins with what this `SEAL`, a file, has sealed")
	stringFlag(cmd.Flags(), &key, "key", "", "with --against: the signer's public `KEY`; else your own")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		k, err := a.keeper()
		if err != nil {
			return err
		}
		var held *keep.HeldSeal
		switch {
		case against != "":
			held = &keep.HeldSeal{File: against}
			if held.Note, err = readSeal(against); err == nil {
				held.Public, err = k.Public(key)
			}
			if err != nil {
				return err
			}
		case key != "":
			return usage("--key needs a seal to check; add --against SEAL")
		}
		in, err := k.Import(cmd.Context(), args[0], held)
		if errors.As(err, new(*keep.HeldError)) {
			return strange(err, key)
		}
		if err != nil {
			return err
		}
		for _, text := range in.Missing {
			a.warn("photo %s; the journal still names it", text)
		}
		return a.show(page.Imported{Airframe: page.NewAirframe(in.State, a.time.Now()), New: in.New, Signers: in.Signers, Against: in.Against})
	}
	return cmd
}
