package cli

import (
	"context"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/steps/nearest"
)

// run is the whole program, apart from the process around it.
func run(ctx context.Context, stores keep.Kinds, args []string, streams term.Streams, tp timepiece) int {
	return (&app{Streams: streams, time: tp, stores: stores}).run(ctx, args)
}

// runProcess is run for a process that is the program.
func runProcess(ctx context.Context, stores keep.Kinds, tp timepiece) int {
	return (&app{Streams: term.Standard(), time: tp, stores: stores, self: os.Args[0]}).run(ctx, os.Args[1:])
}

func (a *app) run(ctx context.Context, args []string) int {
	root := a.root()
	out := a.Out
	if len(args) > 0 && strings.HasPrefix(args[0], cobra.ShellCompRequestCmd) {
		a.completeValues(root)
		out = term.Cleaned(out) // the shell shows it as it is
	}
	root.SetArgs(args)
	root.SetIn(a.In)
	root.SetOut(out)
	root.SetErr(a.Err)
	cmd, err := root.ExecuteContextC(ctx)
	err = a.outcome(cmd, err)
	if err != nil {
		report(a.Streams, &page.Clock{Now: a.time.Now()}, err, args)
	}
	if err == nil {
		err = a.unsure()
	}
	if a.apart {
		return apartCodes + exitCode(err)
	}
	return exitCode(err)
}

// unsure is how a command ends that did not fail, where it showed what is not the record now, or where
// it is not known what became of what was to be recorded.
func (a *app) unsure() error {
	if a.kept == nil {
		return nil
	}
	switch became := a.kept.Desk.Outcome(); {
	case became != nil && (a.stale || became.Unknown):
		return &silentError{exitUnsure}
	case a.stale:
		return &silentError{exitStore}
	}
	return nil
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "fettle",
		Short: "The build book and repair record of a foam aircraft bench",
		Long: "Fettle leads a builder one step at a time, times every glue joint, stops at\n" +
			"measurements and safety holds, and keeps a record of it all.\n" +
			"Without a command it shows the board.\n\n" +
			"MARK may be left out while only one airframe has an open job.\n\n" + helpList() + "\n" + exitHelp,
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          onlyCommands,
		RunE:          func(cmd *cobra.Command, _ []string) error { return a.status(cmd.Context(), nil) },
	}
	flags := root.PersistentFlags()
	stringFlag(flags, &a.storePath, "store", "", "the store `FILE` (else FETTLE_STORE, else fettle.db in the XDG data folder)")
	stringFlag(flags, &a.libraryPath, "library", "", "a `FOLDER` of your own documents, found before the embedded ones (else FETTLE_LIBRARY)")
	stringFlag(flags, &a.by, "by", "", "`WHO` is at the bench (else FETTLE_BY, the config, the login name)")
	boolFlag(flags, &a.bothUnits, "both-units", false, "show limits and readings in the other system of units too, to the nearest 1/64 in")
	boolFlag(flags, &a.json, "json", false, "print JSON where the command reports")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		if value := negative(err); value != "" {
			return usage("put -- before a negative value, and options before that: %s … -- %s", cmd.CommandPath(), value)
		}
		return usage("%v; for its options: %s --help", err, cmd.CommandPath())
	})
	root.AddCommand(
		a.airframeCommand(), a.libraryCommand(), a.checkCommand(), a.startCommand(), a.nextCommand(),
		a.doneCommand(), a.measureCommand(), a.gaugeCommand(), a.clearCommand(), a.chooseCommand(), a.benchCommand(), a.noteCommand(),
		a.undoCommand(), a.planCommand(), a.statusCommand(), a.timersCommand(), a.waitCommand(), a.followCommand(),
		a.releaseCommand(), a.crashCommand(), a.repairCommand(), a.equipCommand(), a.flightCommand(), a.moveJobCommand(), a.auditCommand(), a.balanceCommand(), a.cardCommand(), a.spreadCommand(), a.sealCommand(), a.bookCommand(),
		a.backupCommand(), a.restoreCommand(), a.storeCommand(), a.exportCommand(), a.importCommand(),
		a.demoCommand(), a.configCommand(), a.versionCommand(),
	)
	root.AddCommand(a.bothWays(a.examineCommand)...)
	root.SetHelpCommand(a.helpCommand())
	root.SetHelpFunc(a.help)
	root.PersistentPreRunE = func(cmd *cobra.Command, args []string) error {
		if err := notEmpty(cmd, args); err != nil {
			return err
		}
		a.Options = a.placed() // typed as it is shown, a command is of the same person and store
		args = lists.Clone(args)
		cmd.Flags().Visit(func(f *pflag.Flag) { args = append(args, strings.Trim(f.Value.String(), "[]")) })
		for _, arg := range args {
			if page.HasBlank(arg) {
				return usage("fill in the blank: %q is for you to say", arg)
			}
		}
		return nil
	}
	return root
}

// onlyCommands refuses an argument of a command that has commands: it is none of them.
func onlyCommands(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if near := nearest.Of(args[0], commandNames(cmd)); near != "" {
		return usage("there is no command %q; did you mean %q?", args[0], near)
	}
	return usage("there is no command %q; to list the commands: %s --help", args[0], cmd.CommandPath())
}

// negative returns the negative value that was taken for an option; "": none was.
func negative(err error) string {
	_, what, _ := strings.Cut(err.Error(), "unknown shorthand flag: ")
	if _, value, ok := strings.Cut(what, " in "); ok && len(value) > 1 && strings.ContainsRune(".0123456789", rune(value[1])) {
		return value
	}
	return ""
}

// arguments returns a usage error if the number of arguments is out of range.
// It is not inlined: its many copies would make the program larger.
//
//go:noinline
func arguments(least, most int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) < least:
			return usage("missing argument; usage: %s", cmd.UseLine())
		case most >= 0 && len(args) > most:
			return usage("unexpected argument %q; usage: %s", args[most], cmd.UseLine())
		}
		return nil
	}
}

// notEmpty refuses arguments and options that are empty: a variable of the shell that is not
// set would have something else done than was meant.
func notEmpty(cmd *cobra.Command, args []string) (err error) {
	for i, arg := range args {
		if arg == "" && cmd.Name() != cobra.ShellCompRequestCmd { // what is to be completed may have nothing yet
			return usage("argument %d is empty; usage: %s", i+1, cmd.UseLine())
		}
	}
	cmd.Flags().Visit(func(f *pflag.Flag) {
		values := []string{f.Value.String()}
		if several, ok := f.Value.(pflag.SliceValue); ok {
			values = several.GetSlice()
		}
		if f.Name != "place" && lists.Contains(values, "") { // of one of several, nothing may be said
			what, _ := pflag.UnquoteUsage(f)
			err = usage("--%s is empty: give it its %s, or leave it out", f.Name, what)
		}
	})
	return err
}

// photoFlag adds --photo to a command and returns its value.
func photoFlag(cmd *cobra.Command) *[]string {
	return cmd.Flags().StringArray("photo", nil, "a photo of it, a JPEG or PNG `FILE`; may be repeated")
}
