package cli

import (
	"cmp"
	_ "embed"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/packed"
	"fettle/procedures"
	"fettle/steps/nearest"
)

// The pages of help, the files of the folder help, packed. They are only read and rendered when one is asked for. A test
// holds them against the files, and packs them anew with -update.
//
//go:embed help.zip
var helpPages string

// grammarMark is the line of a page where the grammar of documents stands: it is
// made from the table of keys, so the page cannot disagree with the parser.
const grammarMark = "<!-- grammar -->\n"

// A topic is a page of help on something that is not one command.
type topic struct {
	name, short string
	also        []string // other names under which it is found
}

// topics lists the pages in the order in which help names them.
func topics() []topic {
	return []topic{
		{"documents", "The grammar of design sheets, procedures and triage tables", nil},
		{"authors", "How to write a procedure for others to follow", nil},
		{"clocks", "When clocks call, a command that is called then, and a calendar", nil},
		{"keeping", "Backups, damaged stores, photos, and an aircraft that is sold", nil},
		{"seals", "What a seal proves, and how to check one", nil},
		{"sheds", "Several benches with one record, on an etcd cluster", []string{"claims", "benches"}},
		{"capacity", "How much an etcd cluster holds, and when to split it", nil},
	}
}

// A Page is a page of help.
type Page struct {
	Name, Short string
	Text        string // Markdown
}

// Manual is what manuals are made of: the commands, with their help, and the pages of it.
func Manual() (*cobra.Command, []Page, error) {
	root := (&app{}).root()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	root.InitDefaultVersionFlag()
	var pages []Page
	for _, t := range topics() {
		text, err := topicPage(t.name)
		if err != nil {
			return nil, nil, err
		}
		pages = append(pages, Page{t.name, t.short, text})
	}
	return root, pages, nil
}

// topicPage is the Markdown of a page.
func topicPage(name string) (string, error) {
	text, err := packed.Text(helpPages, name+".md")
	if err != nil {
		return "", fmt.Errorf("reading a page of help: %w", err)
	}
	page, err := withExcerpts(text)
	if err != nil {
		return "", err
	}
	before, after, found := strings.Cut(page, grammarMark)
	if !found {
		return before, nil
	}
	return before + procedures.Grammar() + after, nil
}

// withExcerpts is the page with parts of embedded documents where a line names
// them: <!-- excerpt reed.yaml | gauges: | gates: -->.
func withExcerpts(page string) (string, error) {
	const begin, end = "<!-- excerpt ", " -->\n"
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(page, begin)
		b.WriteString(before)
		if !found {
			return b.String(), nil
		}
		mark, after, _ := strings.Cut(rest, end)
		parts := strings.Split(mark, " | ")
		text, err := procedures.Excerpt(parts[0], parts[1:]...)
		if err != nil {
			return "", err
		}
		b.WriteString("```yaml\n" + text + "```\n")
		page = after
	}
}

// helpList is the list of pages at the end of what fettle help says.
func helpList() string {
	var b strings.Builder
	b.WriteString("Help pages (fettle help PAGE):\n")
	for _, t := range topics() {
		fmt.Fprintf(&b, "  %-11s %s\n", t.name, t.short)
	}
	return b.String()
}

func (a *app) helpCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "help [COMMAND | PAGE]",
		Short:   "Show help on a command, or a page of help",
		Example: "  fettle help measure\n  fettle help documents",
		Args:    cobra.ArbitraryArgs,
		RunE:    helpOn,
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) (names []string, _ cobra.ShellCompDirective) {
			if len(args) == 0 {
				names = commandNames(cmd.Root())
			}
			return names, noFiles
		},
	}
	for _, t := range topics() {
		cmd.AddCommand(&cobra.Command{
			Use:     t.name,
			Aliases: t.also,
			Short:   t.short,
			Args:    arguments(0, 0),
			RunE: func(*cobra.Command, []string) error {
				text, err := topicPage(t.name)
				if err != nil {
					return err
				}
				return a.Show(text)
			},
		})
	}
	return cmd
}

// help shows the help of a command; its text is set as wide as the terminal is.
func (a *app) help(cmd *cobra.Command, _ []string) {
	text := cmp.Or(cmd.Long, cmd.Short) + "\n\n" + cmd.UsageString()
	if a.Size != nil {
		text = a.Fold(joined(text))
	}
	fmt.Fprint(cmd.OutOrStdout(), text)
}

// joined makes one line of each paragraph: of lines that follow one another without an
// indent.
func joined(text string) string {
	flush := func(line string) bool { return line != "" && line[0] != ' ' }
	var lines []string
	for line := range strings.SplitSeq(text, "\n") {
		if n := len(lines); n > 0 && flush(line) && flush(lines[n-1]) {
			lines[n-1] += " " + line
		} else {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "\n")
}

// helpOn shows the help of the command that the arguments name.
func helpOn(cmd *cobra.Command, args []string) error {
	root := cmd.Root()
	named, rest, err := root.Find(args)
	if err != nil || len(rest) > 0 {
		known := commandNames(root)
		for _, t := range topics() {
			known = append(known, t.name)
		}
		asked := strings.Join(args, " ")
		if near := nearest.Of(asked, known); near != "" {
			return usage("there is no help on %q; did you mean: fettle help %s", asked, near)
		}
		return usage("there is no help on %q; to list all: fettle help", asked)
	}
	named.InitDefaultHelpFlag()
	return named.Help()
}

func commandNames(cmd *cobra.Command) []string {
	var names []string
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	return names
}
