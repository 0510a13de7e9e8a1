package cli

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"fettle/store"
	"fettle/store/seal"
)

// What a bad file may cost: the memory is that of a whole process; the time is of
// processor, so that it holds on a busy machine too.
const (
	mostMemory = 200_000 // KiB
	mostTime   = 4 * time.Second
)

// measured runs the program and returns what it said, its exit code and what it cost.
func measured(t *testing.T, args ...string) (said string, code int) {
	t.Helper()
	cmd := program(t, args...)
	memory := filepath.Join(t.TempDir(), "memory")
	cmd.Env = append(os.Environ(), "MEMORY="+memory)
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	used := cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	status, _ := os.ReadFile(memory)
	peak := regexp.MustCompile(`VmHWM:\s+(\d+) kB`).FindSubmatch(status)
	if peak == nil {
		t.Log("this system does not say what memory a process had")
	} else if kib, _ := strconv.Atoi(string(peak[1])); kib > mostMemory {
		t.Errorf("it took %d KiB of memory", kib)
	} else {
		t.Logf("%d KiB, %v: %.300s", kib, used, out)
	}
	if used > mostTime {
		t.Errorf("it took %v of processor", used)
	}
	return string(out), cmd.ProcessState.ExitCode()
}

// repeated gives the same bytes again and again, without holding them.
type repeated struct {
	what  string
	times int
	rest  string
}

func (r *repeated) Read(b []byte) (int, error) {
	if r.rest == "" {
		if r.times == 0 {
			return 0, io.EOF
		}
		r.times--
		r.rest = r.what
	}
	n := copy(b, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

func again(what string, times int) io.Reader { return &repeated{what: what, times: times} }

// aZip writes a zip file with these contents, names before contents.
func aZip(t *testing.T, parts ...any) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "crafted.zip")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(file)
	z.RegisterCompressor(zip.Deflate, func(to io.Writer) (io.WriteCloser, error) { return flate.NewWriter(to, flate.BestSpeed) })
	for i := 0; i < len(parts); i += 2 {
		in, isReader := parts[i+1].(io.Reader)
		if !isReader {
			in = strings.NewReader(parts[i+1].(string))
		}
		w, err := z.Create(parts[i].(string))
		if err == nil {
			_, err = io.Copy(w, in)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(z.Close(), file.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

func aManifest(mark string, size int64, root string) string {
	return fmt.Sprintf(`{"format": "fettle-airframe/1", "mark": %q, "size": %d, "root": %q, "made": "2026-03-03T19:00:00Z"}`, mark, size, root)
}

// aJournal gives a manifest and a journal that belong together.
func aJournal(mark string, records ...string) (manifest, journal string) {
	var all [][]byte
	var lines strings.Builder
	for _, r := range records {
		all = append(all, []byte(r))
		lines.WriteString(base64.StdEncoding.EncodeToString([]byte(r)) + "\n")
	}
	head := seal.HeadOf(all)
	return aManifest(mark, head.Size, head.Root.String()), lines.String()
}

// anEntry is a record with these facts, as the program writes it.
func anEntry(position int, kind string, facts string) string {
	return fmt.Sprintf(`{"position":%d,"kind":%q,"v":1,"at":"2026-03-03T19:00:00Z","recorded":"2026-03-03T19:00:00Z","by":"Ro","program":"0.1","facts":%s}`, position, kind, facts)
}

// Files that were made to cost much, or to be read in two ways, are refused with a
// message, cheaply, and nothing of them stays.
func TestImportOfBombs(t *testing.T) {
	registered := anEntry(0, "Registered", `{"mark":"FN-01","design":"finch","sheet":"`+store.Digest(nil)+`"}`)
	note := base64.StdEncoding.EncodeToString([]byte(anEntry(1, "Noted", `{"text":"`+strings.Repeat("salt ", 200_000)+`"}`))) + "\n"
	first := base64.StdEncoding.EncodeToString([]byte(registered)) + "\n"
	million := aManifest("FN-01", 1_000_000, "")
	one := func(record string) []any {
		manifest, journal := aJournal("FN-01", record)
		return []any{"manifest.json", manifest, "journal", journal}
	}
	changed := func(old, new string) []any {
		if !strings.Contains(registered, old) {
			t.Fatal(old)
		}
		return one(strings.Replace(registered, old, new, 1))
	}
	sealed := []string{registered}
	documents := []any{}
	for i := range 70 {
		text := strings.Repeat("# ", 1<<20) + strconv.Itoa(i)
		sealed = append(sealed, anEntry(i+1, "Sealed", `{"size":1,"root":"","key":"","note":"`+store.Digest([]byte(text))+`"}`))
		documents = append(documents, "documents/"+strings.TrimPrefix(store.Digest([]byte(text)), "sha256:"), text)
	}
	documents = append(documents, "documents/"+strings.TrimPrefix(store.Digest(nil), "sha256:"), "")
	manifest, journal := aJournal("FN-01", sealed...)
	many := []any{"manifest.json", million}
	for i := range 20_000 {
		many = append(many, "photos/"+strings.Repeat("0", 200)+strconv.Itoa(i), "")
	}
	tests := map[string]struct {
		parts []any
		says  string
	}{
		"bare newlines":         {[]any{"manifest.json", million, "journal", again(strings.Repeat("\n", 1<<16), 1280)}, "line 1: the line is empty"},
		"more entries":          {[]any{"manifest.json", aManifest("FN-01", 1_000_001, ""), "journal", ""}, "1000001 entries; the limit is 1000000"},
		"no entries":            {[]any{"manifest.json", aManifest("FN-01", 0, ""), "journal", ""}, "is empty"},
		"one endless line":      {[]any{"manifest.json", million, "journal", again(strings.Repeat("A", 1<<16), 3200)}, "a line is longer than any entry"},
		"more than may be":      {[]any{"manifest.json", million, "journal", again(strings.Repeat("A", 1<<20), 257)}, "too large"},
		"many tiny records":     {[]any{"manifest.json", million, "journal", again(strings.Repeat("e30=\n", 1<<14), 800)}, "line 1"},
		"many large records":    {[]any{"manifest.json", million, "journal", io.MultiReader(strings.NewReader(first), again(note, 180))}, "line 3"},
		"an endless manifest":   {[]any{"manifest.json", again(strings.Repeat(" ", 1<<16), 1600), "journal", ""}, "too large"},
		"an endless document":   {append(one(registered), "documents/"+strings.TrimPrefix(store.Digest(nil), "sha256:"), again(strings.Repeat("#", 1<<16), 1600)), "too large"},
		"many large documents":  {append([]any{"manifest.json", manifest, "journal", journal}, documents...), "too large"},
		"a long list of files":  {many, "too many files"},
		"a deep record":         {one(strings.Replace(registered, `"facts":`, `"facts":`+strings.Repeat(`[`, 500_000), 1)), "depth"},
		"a deep manifest":       {[]any{"manifest.json", strings.Repeat("[", 8000), "journal", ""}, "deep"},
		"a huge number":         {changed(`"position":0`, `"position":1e999999999`), "cannot unmarshal"},
		"a long number":         {changed(`"position":0`, `"position":`+strings.Repeat("9", 700_000)), "cannot unmarshal"},
		"a key twice":           {changed(`"by":"Ro"`, `"by":"Ro","by":"Di"`), `gives "by" twice`},
		"a key in two cases":    {changed(`"by":"Ro"`, `"by":"Ro","BY":"Di"`), `gives "BY" twice`},
		"a key of facts twice":  {changed(`"mark":"FN-01"`, `"mark":"FN-02","mark":"FN-01"`), `gives "mark" twice`},
		"not UTF-8":             {changed(`"by":"Ro"`, "\"by\":\"R\xff\""), "not in UTF-8"},
		"the year 1":            {changed(`"at":"2026`, `"at":"0001`), "not in the years 1970 to 2200"},
		"the year 9999":         {changed(`"recorded":"2026`, `"recorded":"9999`), "not in the years 1970 to 2200"},
		"a manifest with twice": {[]any{"manifest.json", strings.Replace(million, `"mark"`, `"MARK": "FN-02", "mark"`, 1), "journal", ""}, "twice"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			player(t)
			folder := filepath.Dir(os.Getenv("CLOCK"))
			said, code := measured(t, "import", aZip(t, test.parts...))
			if said = strings.Join(strings.Fields(said), " "); code != exitUsage || !strings.Contains(said, test.says) || len(said) > 1500 {
				t.Errorf("it ended with %d: %.400s", code, said)
			}
			for _, left := range []string{".db", ".photos", ".fettle-new-"} {
				if found, _ := filepath.Glob(filepath.Join(folder, "*"+left+"*")); len(found) > 0 {
					t.Errorf("it left %v", found)
				}
			}
		})
	}
	t.Run("a size that is a lie", func(t *testing.T) {
		player(t)
		path := aZip(t, "manifest.json", million, "journal", again(strings.Repeat("\n", 1<<16), 160))
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		size := []byte{0, 0, 160, 0} // 160 × 65,536, as the list of files has it
		at := bytes.LastIndex(data, size)
		copy(data[at:], []byte{1, 0, 0, 0})
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if said, code := measured(t, "import", path); code != exitUsage {
			t.Errorf("it ended with %d: %.400s", code, said)
		}
	})
	if !json.Valid([]byte(registered)) {
		t.Error("the entry that all of them begin with is not one")
	}
}
