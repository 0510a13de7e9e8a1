package cli

import (
	"flag"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

var update = flag.Bool("update", false, "write real output into the examples of README.md and of the help pages")

const readmePath = "../../../README.md"

// mostWords is how long the README may be, as wc -w counts.
const mostWords = 1800

func readme(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(readmePath)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestReadmeTour runs the README's tour, the commands shown and those between,
// and compares every line of output with what is printed there.
func TestReadmeTour(t *testing.T) {
	if shown := playExamples(t, readmePath); shown < 8 {
		t.Errorf("the tour shows %d commands", shown)
	}
}

func TestReadmeIsShort(t *testing.T) {
	if words := len(strings.Fields(readme(t))); words > mostWords {
		t.Errorf("the README has %d words, more than %d: put what is not needed first into a help page", words, mostWords)
	}
}

// TestReadmeFirstCommands checks that the README begins with the two commands;
// what they run is run by the demo's script and by this very test.
func TestReadmeFirstCommands(t *testing.T) {
	head, _, _ := strings.Cut(readme(t), "\n## ")
	for _, command := range []string{"\ngo run ./cmd/fettle demo\n", "\ngo test ./...\n"} {
		if !strings.Contains(head, command) {
			t.Errorf("the README does not begin with%s", command)
		}
	}
}

// TestReadmeNamesEveryCommand checks the README's table of commands against the
// program, both ways, and that it names every help page.
func TestReadmeNamesEveryCommand(t *testing.T) {
	_, table, _ := strings.Cut(readme(t), "\n## Commands\n")
	table, _, _ = strings.Cut(table, "\n## ")
	var named []string
	for _, row := range regexp.MustCompile("(?m)^\\| `.*").FindAllString(table, -1) {
		cell := strings.Split(row, "|")[1]
		for _, code := range regexp.MustCompile("`([a-z-]+)").FindAllStringSubmatch(cell, -1) {
			named = append(named, code[1])
		}
	}
	root := (&app{}).root()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if !c.Hidden && !slices.Contains(named, c.Name()) {
			t.Errorf("the table lacks %s", c.Name())
		}
	}
	for _, name := range named {
		if !slices.ContainsFunc(root.Commands(), func(c *cobra.Command) bool { return c.Name() == name }) {
			t.Errorf("the table has %s, which is not a command", name)
		}
	}
	for _, topic := range topics() {
		if !strings.Contains(readme(t), "`fettle help "+topic.name+"`") {
			t.Errorf("the README does not name the help page %s", topic.name)
		}
	}
}
