package cli

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"

	"fettle/cmd/internal/term"
	"fettle/procedures"
)

// exampleColumns is the width of the output in examples, so that a page shown on
// 80 columns has room for it.
const exampleColumns = 76

// Of a page with examples these parts are acted on, in order: commands that are
// carried out unseen, documents, commands that are shown, the grammar's documents.
var exampleParts = regexp.MustCompile("(?s)<!-- meanwhile\n(.*?)-->|```yaml\n(.*?)```|```console\n(.*?)```|" + regexp.QuoteMeta(grammarMark))

// playExamples carries out the examples of a page on a fresh bench, compares the
// output with what the page shows, and says how many commands it shows. With
// -update it writes the output into the page.
func playExamples(t *testing.T, path string) (shown int) {
	t.Helper()
	path, err := filepath.Abs(path)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bench := newExampleBench(t)
	dir := t.TempDir()
	t.Chdir(dir)
	page := string(data)
	got := exampleParts.ReplaceAllStringFunc(page, func(part string) string {
		if part == grammarMark {
			for _, block := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(procedures.Grammar(), -1) {
				writeDocument(t, block[1])
			}
			return part
		}
		m := exampleParts.FindStringSubmatch(part)
		unseen, document, seen := m[1], m[2], m[3]
		switch {
		case document != "":
			writeDocument(t, document)
		case unseen != "":
			for line := range strings.Lines(unseen) {
				if out, code := bench.command(strings.TrimSpace(line)); code != exitDone {
					t.Fatalf("%sends with %d: %s", line, code, out)
				}
			}
		default:
			var out strings.Builder
			for line := range strings.Lines(seen) {
				if command, ok := strings.CutPrefix(line, "$ "); ok {
					shown++
					said, _ := bench.command(strings.TrimSpace(command))
					out.WriteString(line + said)
				}
			}
			return "```console\n" + out.String() + "```"
		}
		return part
	})
	if got == page {
		return shown
	}
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return shown
	}
	was, is := strings.Split(page, "\n"), strings.Split(got, "\n")
	for i := range min(len(was), len(is)) {
		if was[i] != is[i] {
			t.Fatalf("%s:%d shows\n%s\nand the program says\n%s\n(go test ./cmd/internal/cli -run 'Readme|Help' -update writes it)",
				path, i+1, was[i], is[i])
		}
	}
	t.Fatalf("%s shows more or less than the program says", path)
	return shown
}

// writeDocument gives a document a file of its name, NAME.yaml.
func writeDocument(t *testing.T, text string) {
	t.Helper()
	name := regexp.MustCompile(`^\w+: (\S+)`).FindStringSubmatch(text)
	if name == nil {
		t.Fatalf("this is not a document:\n%s", text)
	}
	if err := os.WriteFile(name[1]+".yaml", []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// An exampleBench is where commands are carried out one after the other, with a store, a
// clock and a key of its own.
type exampleBench struct {
	t       *testing.T
	clock   scriptTime
	columns int
}

func newExampleBench(t *testing.T) *exampleBench {
	t.Helper()
	dir := t.TempDir()
	if err := setUp(dir, t.Setenv); err != nil {
		t.Fatal(err)
	}
	time.Local = time.UTC
	key := filepath.Join(dir, "seal.key")
	if err := os.WriteFile(key, []byte(fixedKey(t)), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("FETTLE_KEY", key)
	return &exampleBench{t, scriptTime{filepath.Join(dir, "clock")}, exampleColumns}
}

// fixedKey is a private key that everybody can make, so that seals come out the
// same each time.
func fixedKey(t *testing.T) string {
	t.Helper()
	seed := make([]byte, ed25519.SeedSize)
	public, err := note.NewEd25519VerifierKey("fettle", ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey))
	if err != nil {
		t.Fatal(err)
	}
	const ed25519Key = 1 // how the text of a note's key says of which kind it is
	id := strings.Split(public, "+")[1]
	return "PRIVATE+KEY+fettle+" + id + "+" + base64.StdEncoding.EncodeToString(append([]byte{ed25519Key}, seed...))
}

// command carries out one line: "fettle …", whose output may go to a file by
// "> FILE", or "pass 20m", by which time goes by.
func (b *exampleBench) command(line string) (out string, code int) {
	b.t.Helper()
	if d, ok := strings.CutPrefix(line, "pass "); ok {
		length, err := time.ParseDuration(d)
		if err != nil {
			b.t.Fatal(err)
		}
		b.clock.set(b.clock.Now().Add(length))
		return "", exitDone
	}
	line, file, redirected := strings.Cut(line, " > ")
	command, ok := strings.CutPrefix(line, "fettle ")
	if !ok {
		b.t.Fatalf("%q is not a command", line)
	}
	var stdout, both bytes.Buffer
	streams := term.Streams{In: strings.NewReader(""), Out: &both, Err: &both, Columns: b.columns}
	if redirected {
		streams.Out = &stdout
	}
	code = (&app{Streams: streams, time: b.clock, stores: stores(), read: readOnce}).run(context.Background(), splitCommand(command))
	if redirected {
		if err := os.WriteFile(file, stdout.Bytes(), 0o600); err != nil {
			b.t.Fatal(err)
		}
	}
	if out = strings.Trim(strings.ReplaceAll(both.String(), "\a", ""), "\n"); out != "" {
		out += "\n"
	}
	return out, code
}

// player carries out commands that are done or refused, on a fresh bench.
func player(t *testing.T) func(line string) string {
	t.Helper()
	b := newExampleBench(t)
	b.columns = term.Width
	return func(line string) string {
		t.Helper()
		out, code := b.command(line)
		if code != exitDone && code != exitRefused {
			t.Fatalf("%s ended with %d: %s", line, code, out)
		}
		return out
	}
}
