package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/term"
	"fettle/steps/lists"
)

// formats gives a command --format: text, md and json, and the others that it writes.
// What is asked for is checked before the command runs; --json is one way to ask for it.
func (a *app) formats(cmd *cobra.Command, format *string, note string, others ...string) {
	all := append([]string{"text", "md", "json"}, others...)
	last := len(all) - 1
	listed := strings.Join(all[:last], ", ") + " or " + all[last]
	stringFlag(cmd.Flags(), format, "format", "text", "`"+listed+"`"+note)
	cmd.PreRunE = func(cmd *cobra.Command, _ []string) error {
		if a.json && !cmd.Flags().Changed("format") {
			*format = "json"
		}
		switch {
		case !lists.Contains(all, *format):
			return usage("%q is not a format; write %s", *format, listed)
		case a.json && *format != "json":
			return usage("--json conflicts with --format %s", *format)
		}
		a.json = *format == "json"
		return nil
	}
}

// showAs shows a thing in one of the formats of --format; as CSV one that has a table.
func (a *app) showAs(thing shown, format string) error {
	switch format {
	case "text":
		return a.show(thing)
	case "json":
		return a.showJSON(thing)
	case "csv":
		if tabled, ok := thing.(interface{ CSV(w io.Writer) error }); ok {
			return tabled.CSV(a.Out)
		}
	}
	_, err := fmt.Fprint(a.Out, term.Clean(thing.Markdown(a.clock()))) // md
	return err
}
