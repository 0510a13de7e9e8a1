package cli

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/bolt"
)

// A killBench is a bench on which commands are killed.
type killBench struct {
	t    *testing.T
	self string
	env  []string
	dir  string
}

// command is the program on this bench.
func (b *killBench) command(args ...string) *exec.Cmd {
	cmd := exec.Command(b.self, args...)
	cmd.Dir, cmd.Env = b.dir, append(slices.Clip(b.env), "HOME="+filepath.Join(b.dir, "home"))
	return cmd
}

func (b *killBench) must(args ...string) {
	b.t.Helper()
	if out, err := b.command(args...).CombinedOutput(); err != nil {
		b.t.Fatalf("%q: %v: %s", args, err, out)
	}
}

// journals are the records of a store that must be sound.
func (b *killBench) journals(name string) map[string][]string {
	b.t.Helper()
	s := bolt.New(filepath.Join(b.dir, name))
	report, err := s.Examine(b.t.Context())
	if err != nil || len(report.Faults) > 0 {
		b.t.Fatalf("%s: %v, %v", name, report.Faults, err)
	}
	all := map[string][]string{}
	for _, j := range report.Journals {
		records, err := store.Records(b.t.Context(), s, j.Mark)
		if err != nil {
			b.t.Fatal(err)
		}
		for _, record := range records {
			all[j.Mark] = append(all[j.Mark], string(record))
		}
	}
	return all
}

// TestKilled kills every command that writes, at any moment: what was there before is
// there, what a command ended well with too, a file that has its name is whole, and the
// next command goes on.
func TestKilled(t *testing.T) {
	t.Parallel()
	photo, err := filepath.Abs(filepath.Join("testdata", "break.png"))
	if err != nil {
		t.Fatal(err)
	}
	base := &killBench{t: t, self: program(t).Path, env: os.Environ(), dir: t.TempDir()}
	if err := setUp(base.dir, func(k, v string) { base.env = append(base.env, k+"="+v) }); err != nil {
		t.Fatal(err)
	}
	// The store is named by where a command runs, so that its bench can be copied.
	base.env = append(base.env, "FETTLE_STORE=bench.db", "CLOCK=clock", "XDG_CONFIG_HOME=", "XDG_DATA_HOME=")
	for _, args := range [][]string{
		{"--store", "other.db", "airframe", "add", "SK-09", "--design", "skerry"}, {"--store", "other.db", "export", "SK-09", "sk.zip"},
		{"airframe", "add", "CW-01", "--design", "causeway"}, {"backup", "copy.db"}, {"start", "CW-01", "causeway-build"},
		{"airframe", "add", "RD-01", "--design", "reed"}, {"note", "CW-01", "the bench is swept", "--photo", photo},
	} {
		base.must(args...)
	}
	before, copied := base.journals("bench.db"), base.journals("copy.db")

	const grows, restores = "more entries", "the copy"
	commands := []struct {
		ends string // what there is once it has ended well: this, or a file
		args []string
	}{
		{grows, []string{"airframe", "add", "CW-02", "--design", "causeway"}},
		{grows, []string{"start", "RD-01", "reed-build"}},
		{grows, []string{"note", "CW-01", "foam dust"}},
		{grows, []string{"note", "RD-01", "a chip", "--photo", photo}},
		{grows, []string{"bench", "CW-01", "--set", "ventilation=on"}},
		{grows, []string{"equip", "RD-01", "fitted", "ballast", "--zone", "nose", "--mass", "5g"}},
		{grows, []string{"undo", "CW-01", "2", "--reason", "not tonight"}},
		{grows, []string{"seal", "CW-01"}},
		{grows, []string{"import", "sk.zip"}},
		{restores, []string{"restore", "copy.db", "--force"}},
		{"out.db", []string{"backup", "out.db"}},
		{"out.db", []string{"examine", "--salvage", "out.db"}},
		{"out.zip", []string{"export", "CW-01", "out.zip"}},
		{"out.html", []string{"book", "CW-01", "-o", "out.html"}},
	}
	kills, late := 1, 30*time.Millisecond
	if os.Getenv("FETTLE_LONG") != "" {
		kills = 40
	}
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	ended := 0
	for _, command := range commands {
		for n := range kills {
			b := *base
			b.dir = t.TempDir()
			if err := os.CopyFS(b.dir, os.DirFS(base.dir)); err != nil {
				t.Fatal(err)
			}
			cmd := b.command(command.args...)
			var said bytes.Buffer
			cmd.Stdout, cmd.Stderr = &said, &said
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			measured := n == 0 && kills > 1 // it shows how long it takes, and that it works
			if !measured {
				time.AfterFunc(time.Duration(random.Int64N(int64(late))), func() { _ = cmd.Process.Kill() })
			}
			began := time.Now()
			err := cmd.Wait()
			if measured {
				late = time.Since(began)
			}
			if err == nil {
				ended++
			} else if code := cmd.ProcessState.ExitCode(); code >= 0 {
				t.Fatalf("%q: exit %d: %s", command.args, code, &said)
			}
			after := b.journals("bench.db")
			b.checkJournals(before, copied, after, command.ends == restores)
			done := true
			switch command.ends {
			case grows:
				done = entriesIn(after) > entriesIn(before)
			case restores:
				done = entriesIn(after) == entriesIn(copied)
			default:
				done = b.wholeFile(command.ends, before)
			}
			if err == nil && !done {
				t.Errorf("it ended well, but there is no trace of it")
			}
			b.must("note", "CW-01", "after all")
			if left, _ := filepath.Glob(filepath.Join(b.dir, ".fettle-new-*")); runtime.GOOS == "linux" && len(left) > 0 {
				t.Errorf("left behind: %v", left)
			}
			if t.Failed() {
				t.Fatalf("seed %d, kill %d: %q", seed, n, command.args)
			}
		}
	}
	t.Logf("%d runs of %d commands, %d of which ended before they were killed", kills*len(commands), len(commands), ended)
}

func entriesIn(journals map[string][]string) (n int) {
	for _, records := range journals {
		n += len(records)
	}
	return n
}

// checkJournals wants each journal to go on from what was there, or all of them to be
// those of the copy where it was restored.
func (b *killBench) checkJournals(before, copied, after map[string][]string, restores bool) {
	b.t.Helper()
	if restores && entriesIn(after) == entriesIn(copied) {
		before = copied
	}
	for mark, records := range before {
		if len(after[mark]) < len(records) || !slices.Equal(after[mark][:len(records)], records) {
			b.t.Errorf("%s has %d entries, and had %d", mark, len(after[mark]), len(records))
		}
	}
}

// wholeFile wants a file to be whole if it is there, and reports whether it is.
func (b *killBench) wholeFile(name string, before map[string][]string) bool {
	b.t.Helper()
	path := filepath.Join(b.dir, name)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return false
	}
	if err != nil {
		b.t.Fatal(err)
	}
	switch filepath.Ext(name) {
	case ".db":
		if got := b.journals(name); entriesIn(got) != entriesIn(before) {
			b.t.Errorf("%s has %d entries of %d", name, entriesIn(got), entriesIn(before))
		}
	case ".zip":
		z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			b.t.Fatal(err)
		}
		for _, file := range z.File {
			if r, err := file.Open(); err != nil {
				b.t.Error(err)
			} else if _, err := io.Copy(io.Discard, r); err != nil {
				b.t.Error(err)
			}
		}
	case ".html":
		if !strings.HasSuffix(strings.TrimSpace(string(data)), "</html>") {
			b.t.Errorf("%s ends with %.40q", name, data[max(0, len(data)-40):])
		}
	}
	return true
}
