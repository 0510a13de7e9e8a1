// Command manual writes man pages and a command reference. Both are made from the help of
// the program, which stays their only source:
//
//	go run ./cmd/internal/manual FOLDER
package main

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/cpuguy83/go-md2man/v2/md2man"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/cmd/internal/cli"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./cmd/internal/manual FOLDER")
		os.Exit(2)
	}
	if err := write(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "manual:", err)
		os.Exit(1)
	}
}

// write makes the folder: man1 with a page for each command, man7 with the pages of help,
// and reference.md, which has both.
func write(folder string) error {
	root, pages, err := cli.Manual()
	if err != nil {
		return fmt.Errorf("reading the help: %w", err)
	}
	files := map[string][]byte{}
	var reference strings.Builder
	reference.WriteString("# Command reference\n")
	for _, cmd := range commands(root) {
		name := strings.ReplaceAll(cmd.CommandPath(), " ", "-")
		files[filepath.Join("man1", name+".1")] = md2man.Render([]byte(manPage(root, cmd, pages)))
		reference.WriteString("\n## " + cmd.CommandPath() + "\n\n" + cmd.Short + ".\n\n```\n" + cmd.UseLine() + "\n```\n")
		for _, s := range sections(cmd, "- %s: %s\n") {
			reference.WriteString("\n" + s.text + "\n")
		}
	}
	unseen := regexp.MustCompile(`(?s)<!--.*?-->\n?`)
	for _, page := range pages {
		page.Text = unseen.ReplaceAllString(page.Text, "")
		name := "fettle-" + page.Name
		head := fmt.Sprintf("%% \"%s\" \"7\" \"\" \"fettle\" \"Fettle\"\n# NAME\n%s - %s\n\n", strings.ToUpper(name), name, page.Short)
		files[filepath.Join("man7", name+".7")] = md2man.Render([]byte(head + page.Text))
		reference.WriteString("\n" + strings.ReplaceAll("\n"+page.Text, "\n#", "\n##")[1:])
	}
	files["reference.md"] = []byte(reference.String())
	for name, data := range files {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return fmt.Errorf("making the folder: %w", err)
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			return fmt.Errorf("writing a page: %w", err)
		}
	}
	return nil
}

// commands are the command and those below it, each before its own.
func commands(cmd *cobra.Command) []*cobra.Command {
	all := []*cobra.Command{cmd}
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() && c.Name() != "help" {
			all = append(all, commands(c)...)
		}
	}
	return all
}

// manPage is the man page of a command, as Markdown.
func manPage(root, cmd *cobra.Command, pages []cli.Page) string {
	var b strings.Builder
	name := strings.ReplaceAll(cmd.CommandPath(), " ", "-")
	fmt.Fprintf(&b, "%% \"%s\" \"1\" \"\" \"fettle\" \"Fettle\"\n# NAME\n%s - %s\n\n# SYNOPSIS\n%s\n", strings.ToUpper(name), name, plain(cmd.Short), plain(cmd.UseLine()))
	for _, s := range sections(cmd, "%s\n: %s\n\n") {
		b.WriteString("\n# " + s.title + "\n" + s.text + "\n")
	}
	var also []string
	if cmd != root {
		also = append(also, "**fettle**(1)")
	}
	for _, c := range commands(cmd)[1:] {
		also = append(also, "**"+strings.ReplaceAll(c.CommandPath(), " ", "-")+"**(1)")
	}
	if cmd == root {
		for _, p := range pages {
			also = append(also, "**fettle-"+p.Name+"**(7)")
		}
	}
	b.WriteString("\n# SEE ALSO\n" + strings.Join(also, ", ") + "\n")
	return b.String()
}

// A section is a part of what is said of a command.
type section struct{ title, text string }

// sections are the parts; option is how an option stands with what it does.
func sections(cmd *cobra.Command, option string) []section {
	cmd.InitDefaultHelpFlag()
	all := []section{{"DESCRIPTION", paragraphs(cmp.Or(cmd.Long, cmd.Short+"."))}}
	if list := options(cmd.NonInheritedFlags(), option); list != "" {
		all = append(all, section{"OPTIONS", list})
	}
	if cmd.Example != "" {
		var lines []string
		for line := range strings.Lines(cmd.Example) {
			lines = append(lines, strings.TrimSpace(line))
		}
		all = append(all, section{"EXAMPLES", "```\n" + strings.Join(lines, "\n") + "\n```"})
	}
	return all
}

// options is a list of them. Those of all commands stand with the program's own, once.
func options(flags *pflag.FlagSet, option string) string {
	var b strings.Builder
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		value, does := pflag.UnquoteUsage(f)
		name := "**--" + f.Name + "**"
		if f.Shorthand != "" {
			name = "**-" + f.Shorthand + "**, " + name
		}
		if value != "" {
			name += " *" + plain(value) + "*"
		}
		fmt.Fprintf(&b, option, name, plain(does))
	})
	return strings.TrimSpace(b.String())
}

// paragraphs keeps lines that begin with a space, such as lists, as they are written.
func paragraphs(text string) string {
	out, code := "", false
	for line := range strings.Lines(text) {
		if inset := strings.HasPrefix(line, "  "); inset != code && strings.TrimSpace(line) != "" {
			out, code = strings.TrimRight(out, "\n")+"\n"+map[bool]string{true: "\n```\n", false: "```\n\n"}[inset], inset
		}
		if !code {
			line = plain(line)
		}
		out += line
	}
	if code {
		out = strings.TrimRight(out, "\n") + "\n```"
	}
	return strings.TrimSpace(out)
}

// plain is a text in which nothing means anything in Markdown.
func plain(text string) string {
	return strings.NewReplacer("\\", `\\`, "*", `\*`, "_", `\_`, "<", `\<`, "[", `\[`, "]", `\]`, "`", "\\`").Replace(text)
}
