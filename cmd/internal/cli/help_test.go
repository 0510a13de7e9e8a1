package cli

import (
	"bytes"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/packed/packedtest"
	"fettle/cmd/internal/term"
)

// TestHelpExamples carries out the examples of every page.
func TestHelpExamples(t *testing.T) {
	for _, topic := range topics() {
		t.Run(topic.name, func(t *testing.T) {
			if shown := playExamples(t, "help/"+topic.name+".md"); shown < 2 {
				t.Errorf("the page shows %d commands", shown)
			}
		})
	}
}

// TestHelpPages checks that each file is a page and each page a file.
func TestHelpPages(t *testing.T) {
	files, err := os.ReadDir("help")
	if err != nil {
		t.Fatal(err)
	}
	var named []string
	for _, topic := range topics() {
		named = append(named, topic.name+".md")
	}
	for _, f := range files {
		if !slices.Contains(named, f.Name()) {
			t.Errorf("help/%s is not a topic", f.Name())
		}
	}
	if len(files) != len(named) {
		t.Errorf("%d files and %d topics", len(files), len(named))
	}
}

// Whatever the width, every word of a page is shown whole and in its place, code
// is shown line by line as it is written, and what is not code fits the terminal.
func TestHelpIsShownWhole(t *testing.T) {
	for _, topic := range topics() {
		page, err := topicPage(topic.name)
		if err != nil {
			t.Fatal(err)
		}
		words, code := readPage(page)
		for _, document := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(page, -1) {
			for line := range strings.Lines(document[1]) {
				if len([]rune(line)) > exampleColumns {
					t.Errorf("%s: a line of a document is too wide to be shown: %s", topic.name, line)
				}
			}
		}
		for _, columns := range []int{40, 80} {
			var out, errs bytes.Buffer
			run(t.Context(), stores(), []string{"help", topic.name}, term.Streams{Out: &out, Err: &errs, Columns: columns}, realTime{})
			if errs.Len() > 0 {
				t.Fatalf("%s: %s", topic.name, errs.String())
			}
			var shown []string
			for line := range strings.Lines(out.String()) {
				line = strings.TrimSuffix(line, "\n")
				isCode := slices.Contains(code, strings.TrimSpace(line))
				if wide := len([]rune(line)); wide > columns && !isCode {
					t.Errorf("%s on %d columns has a line of %d: %s", topic.name, columns, wide, line)
				}
				if strings.TrimSpace(line) == "•" {
					t.Errorf("%s on %d columns has an item with nothing beside it", topic.name, columns)
				}
				line = strings.TrimPrefix(strings.TrimLeft(line, " "), "• ")
				shown = append(shown, strings.Fields(line)...)
			}
			for i := range max(len(shown), len(words)) {
				if i >= len(shown) || i >= len(words) || shown[i] != words[i] {
					t.Errorf("%s on %d columns shows %q where the page says %q", topic.name, columns, from(shown, i), from(words, i))
					break
				}
			}
		}
	}
}

func from(words []string, i int) []string { return words[min(i, len(words)):min(i+8, len(words))] }

// readPage gives the words of a page as they are to be shown, and those of its
// lines that are code.
func readPage(page string) (words, code []string) {
	page = regexp.MustCompile("(?s)<!--.*?-->").ReplaceAllString(page, "")
	fenced := false
	for line := range strings.Lines(page) {
		line = strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(line, "```"):
			fenced = !fenced
			continue
		case fenced:
			code = append(code, line)
			line = strings.TrimPrefix(line, "• ")
		default:
			line = strings.TrimLeft(line, "# ")
			line = strings.TrimPrefix(line, "- ")
			line = strings.NewReplacer("`", "", "**", "").Replace(line)
		}
		words = append(words, strings.Fields(line)...)
	}
	return words, code
}

// The list of help names every page, and what is not there is a usage error
// that says what may be meant.
func TestHelpNames(t *testing.T) {
	b := newExampleBench(t)
	list, code := b.command("fettle help")
	if code != exitDone {
		t.Fatal(list)
	}
	for _, topic := range topics() {
		if !strings.Contains(list, topic.name+" ") || !strings.Contains(list, topic.short) {
			t.Errorf("fettle help does not list %s", topic.name)
		}
	}
	for asked, want := range map[string]string{
		"documnts":   "did you mean: fettle help documents",
		"mesure":     "did you mean: fettle help measure",
		"quarantine": "to list all: fettle help",
	} {
		if out, code := b.command("fettle help " + asked); code != exitUsage || !strings.Contains(out, want) {
			t.Errorf("fettle help %s ends with %d: %s", asked, code, out)
		}
	}
	if out, code := b.command("fettle help airframe add"); code != exitDone || !strings.Contains(out, "fettle airframe add MARK") {
		t.Errorf("fettle help airframe add ends with %d: %s", code, out)
	}
	if out, code := b.command("fettle help claims"); code != exitDone || !strings.Contains(out, "Several benches, one record") {
		t.Errorf("fettle help claims ends with %d: %s", code, out)
	}
}

// The examples in the help of commands are carried out on a bench that has what
// they are about: each is done, or refused with a reason. What a command is for is
// said in one short line.
func TestHelpOfCommands(t *testing.T) {
	b := newExampleBench(t)
	t.Chdir(t.TempDir())
	for _, line := range []string{
		"airframe add CW-01 --design causeway", "start CW-01 causeway-build", "airframe add SK-01 --design skerry",
	} {
		if out, code := b.command("fettle " + line); code != exitDone {
			t.Fatal(out)
		}
	}
	readings := "person,part,reading\nJo,1,1.0\nJo,1,1.1\nJo,2,1.2\nJo,2,1.2\nRo,1,1.0\nRo,1,1.1\nRo,2,1.2\nRo,2,1.3\n"
	if err := os.WriteFile("study.csv", []byte(readings), 0o600); err != nil {
		t.Fatal(err)
	}
	examples := 0
	root := (&app{}).root()
	var look func(*cobra.Command)
	look = func(cmd *cobra.Command) {
		for _, c := range cmd.Commands() {
			look(c)
		}
		if len([]rune(cmd.Short)) > 64 || cmd.Short == "" {
			t.Errorf("%s is described as %q", cmd.CommandPath(), cmd.Short)
		}
		for line := range strings.Lines(cmd.Example) {
			examples++
			out, code := b.command(strings.TrimSpace(line))
			if code != exitDone && code != exitRefused {
				t.Errorf("%s ends with %d: %s", strings.TrimSpace(line), code, out)
			}
		}
	}
	look(root)
	if examples < 15 {
		t.Errorf("%d examples", examples)
	}
}

// The program carries the pages of help as they are.
func TestHelpIsPacked(t *testing.T) { packedtest.Check(t, *update, "help", "help.zip") }
