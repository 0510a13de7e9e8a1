package cli

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/term"
)

var update = flag.Bool("update", false, "write the tour's real output into README.md")

const readmePath = "../../../README.md"

func readme(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(readmePath)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestReadmeTour runs the README's tour, the commands shown and those between,
// and holds every line of output against what is printed there.
func TestReadmeTour(t *testing.T) {
	text := readme(t)
	before, rest, ok := strings.Cut(text, "## A short tour\n")
	tour, after, ok2 := strings.Cut(rest, "\n## ")
	if !ok || !ok2 {
		t.Fatal("the README has no tour")
	}
	play := player(t)
	blocks := regexp.MustCompile("(?s)<!-- meanwhile\n(.*?)-->|```console\n(.*?)```")
	shown := 0
	got := blocks.ReplaceAllStringFunc(tour, func(block string) string {
		m := blocks.FindStringSubmatch(block)
		if m[2] == "" {
			for _, line := range strings.Split(strings.TrimSpace(m[1]), "\n") {
				if out := play(line); strings.HasPrefix(out, "Refused") {
					t.Fatalf("%s: %s", line, out)
				}
			}
			return block
		}
		var out strings.Builder
		for _, line := range strings.Split(m[2], "\n") {
			if command, ok := strings.CutPrefix(line, "$ "); ok {
				shown++
				out.WriteString("$ " + command + "\n" + play(command))
			}
		}
		return "```console\n" + out.String() + "```"
	})
	if shown < 8 {
		t.Errorf("the tour shows %d commands", shown)
	}
	if got == tour {
		return
	}
	if *update {
		if err := os.WriteFile(readmePath, []byte(before+"## A short tour\n"+got+"\n## "+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	was, is := strings.Split(tour, "\n"), strings.Split(got, "\n")
	for i := range min(len(was), len(is)) {
		if was[i] != is[i] {
			t.Fatalf("the README shows\n%s\nand the program says\n%s\n(go test ./cmd/internal/cli -run Readme -update writes it)", was[i], is[i])
		}
	}
	t.Fatal("the README's tour is longer or shorter than what the program says")
}

// player runs commands one after the other on a bench of their own.
func player(t *testing.T) func(line string) string {
	t.Helper()
	dir := t.TempDir()
	if err := setUp(dir, t.Setenv); err != nil {
		t.Fatal(err)
	}
	time.Local = time.UTC
	clock := scriptTime{filepath.Join(dir, "clock")}
	return func(line string) string {
		if d, ok := strings.CutPrefix(line, "pass "); ok {
			length, err := time.ParseDuration(d)
			if err != nil {
				t.Fatal(err)
			}
			clock.set(clock.Now().Add(length))
			return ""
		}
		command, ok := strings.CutPrefix(line, "fettle ")
		if !ok {
			t.Fatalf("%q is no command", line)
		}
		var out bytes.Buffer
		streams := term.Streams{In: strings.NewReader(""), Out: &out, Err: &out, Columns: term.Width}
		code := run(context.Background(), stores(), splitCommand(command), streams, clock)
		if code != exitDone && code != exitRefused {
			t.Fatalf("%s ended with %d: %s", line, code, out.String())
		}
		return strings.Trim(out.String(), "\n") + "\n"
	}
}

// TestReadmeDocuments checks the documents that the README shows.
func TestReadmeDocuments(t *testing.T) {
	play := player(t)
	dir := t.TempDir()
	for _, block := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(readme(t), -1) {
		name := regexp.MustCompile(`^\w+: (\S+)`).FindStringSubmatch(block[1])[1]
		if err := os.WriteFile(filepath.Join(dir, name+".yaml"), []byte(block[1]), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	if out := play("fettle check plover.yaml plover-build.yaml"); !strings.Contains(out, "it serves plover") {
		t.Errorf("check says %s", out)
	}
	play("fettle --library . airframe add PL-01 --design plover")
	if out := play("fettle --library . start PL-01 plover-build"); !strings.Contains(out, "is open on PL-01") {
		t.Errorf("start says %s", out)
	}
}

// TestReadmeFirstCommands holds the two commands at the top: what they run is
// run by the demo's script and by this very test.
func TestReadmeFirstCommands(t *testing.T) {
	head, _, _ := strings.Cut(readme(t), "## A short tour")
	for _, command := range []string{"\ngo run ./cmd/fettle demo\n", "\ngo test ./...\n"} {
		if !strings.Contains(head, command) {
			t.Errorf("the README does not begin with%s", command)
		}
	}
}
