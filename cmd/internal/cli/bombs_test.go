package cli

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/procedures"
	"fettle/store"
	"fettle/store/bolt"
	"fettle/store/photos"
	"fettle/store/seal"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// What a bad file may cost: the memory is that of a whole process; the time is of
// processor, so that it holds on a busy machine too.
const (
	mostMemory = 200_000 // KiB
	mostTime   = 4 * time.Second
)

// measured runs the program, which may cost no more than a bad file may, and returns what
// it said and its exit code.
func measured(t *testing.T, args ...string) (said string, code int) {
	t.Helper()
	return measuredIn(t, mostTime, args...)
}

func measuredIn(t *testing.T, most time.Duration, args ...string) (said string, code int) {
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
	if used > most {
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
	deflate, err := flate.NewWriter(nil, flate.BestSpeed) // one for all parts: with tables of their own 20,000 take seconds
	if err != nil {
		t.Fatal(err)
	}
	z.RegisterCompressor(zip.Deflate, func(to io.Writer) (io.WriteCloser, error) {
		deflate.Reset(to)
		return deflate, nil
	})
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
	most := aManifest("FN-01", 100_000, "")
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
	text := slices.Grow(bytes.Repeat([]byte("# "), 1<<20), 2) // not copied for each
	for i := range 70 {
		number := strconv.Itoa(i)
		digest := store.Digest(append(text, number...))
		sealed = append(sealed, anEntry(i+1, "Sealed", `{"size":1,"root":"","key":"","note":"`+digest+`"}`))
		documents = append(documents, "documents/"+strings.TrimPrefix(digest, "sha256:"), io.MultiReader(bytes.NewReader(text), strings.NewReader(number)))
	}
	documents = append(documents, "documents/"+strings.TrimPrefix(store.Digest(nil), "sha256:"), "")
	manifest, journal := aJournal("FN-01", sealed...)
	many := []any{"manifest.json", most}
	for i := range 20_000 {
		many = append(many, "photos/"+strings.Repeat("0", 200)+strconv.Itoa(i), "")
	}
	tests := map[string]struct {
		parts []any
		says  string
	}{
		"bare newlines":         {[]any{"manifest.json", most, "journal", again(strings.Repeat("\n", 1<<16), 600)}, "line 1: it is empty"},
		"more entries":          {[]any{"manifest.json", aManifest("FN-01", 100_001, ""), "journal", ""}, "100001 entries; the limit is 100000"},
		"no entries":            {[]any{"manifest.json", aManifest("FN-01", 0, ""), "journal", ""}, "is empty"},
		"one endless line":      {[]any{"manifest.json", most, "journal", again(strings.Repeat("A", 1<<16), 600)}, "a line is longer than any entry"},
		"more than may be":      {[]any{"manifest.json", most, "journal", again(strings.Repeat("A", 1<<20), 49)}, "too large"},
		"many tiny records":     {[]any{"manifest.json", most, "journal", again(strings.Repeat("e30=\n", 1<<14), 500)}, "line 1"},
		"many large records":    {[]any{"manifest.json", most, "journal", io.MultiReader(strings.NewReader(first), again(note, 29))}, "line 3"},
		"an endless manifest":   {[]any{"manifest.json", again(strings.Repeat(" ", 1<<16), 1600), "journal", ""}, "too large"},
		"an endless document":   {append(one(registered), "documents/"+strings.TrimPrefix(store.Digest(nil), "sha256:"), again(strings.Repeat("#", 1<<16), 1600)), "too large"},
		"many large documents":  {append([]any{"manifest.json", manifest, "journal", journal}, documents...), "too large"},
		"a long list of files":  {many, "too many files"},
		"a deep record":         {one(strings.Replace(registered, `"facts":`, `"facts":`+strings.Repeat(`[`, 500_000), 1)), "depth"},
		"a deep manifest":       {[]any{"manifest.json", strings.Repeat("[", 8000), "journal", ""}, "manifest.json: it is nested more than 100 deep"},
		"a huge number":         {changed(`"position":0`, `"position":1e999999999`), "cannot unmarshal"},
		"a long number":         {changed(`"position":0`, `"position":`+strings.Repeat("9", 700_000)), "cannot unmarshal"},
		"a key twice":           {changed(`"by":"Ro"`, `"by":"Ro","by":"Di"`), `gives "by" twice`},
		"a key in two cases":    {changed(`"by":"Ro"`, `"by":"Ro","BY":"Di"`), `gives "BY" twice`},
		"a key of facts twice":  {changed(`"mark":"FN-01"`, `"mark":"FN-02","mark":"FN-01"`), `gives "mark" twice`},
		"not UTF-8":             {changed(`"by":"Ro"`, "\"by\":\"R\xff\""), "not in UTF-8"},
		"half a character":      {changed(`"by":"Ro"`, `"by":"R\ud800o"`), `half a character, \ud800`},
		"two first halves":      {changed(`"program":"0.1"`, `"program":"\\\ud83d\ude00\ud83d\ud83d"`), `half a character, \ud83d`},
		"by nobody":             {changed(`"by":"Ro"`, `"by":" "`), "does not say by whom"},
		"by a great many":       {changed(`"by":"Ro"`, `"by":"`+strings.Repeat("Ro", 101)+`"`), `its "by" has 202 bytes; the limit is 200`},
		"a program of lines":    {changed(`"program":"0.1"`, `"program":"0.1\nby Di"`), `its "program" has more than one line`},
		"a record of lines":     {changed(`,"by":"Ro"`, ",\n\"by\":\"Ro\""), "more than one line"},
		"no kind":               {changed(`"kind":"Registered",`, ``), "position 0: the journal holds something that is not an entry: it has no kind"},
		"no facts":              {one(`{"position":0,"kind":"Noted","v":1}`), "Noted has no facts"},
		"a newer kind":          {changed(`"Registered"`, `"Painted"`), "import it with the fettle that wrote it, or a newer one"},
		"a bad document":        {append(changed(store.Digest(nil), store.Digest([]byte("glue: x"))), "documents/"+strings.TrimPrefix(store.Digest([]byte("glue: x")), "sha256:"), "glue: x"), "can be imported: the document sha256:"},
		"the year 1":            {changed(`"at":"2026`, `"at":"0001`), "not in the years 1970 to 2200"},
		"the year 9999":         {changed(`"recorded":"2026`, `"recorded":"9999`), "not in the years 1970 to 2200"},
		"a manifest with twice": {[]any{"manifest.json", strings.Replace(most, `"mark"`, `"MARK": "FN-02", "mark"`, 1), "journal", ""}, `manifest.json: it gives "mark" twice`},
		"a newer format":        {[]any{"manifest.json", strings.Replace(most, "airframe/1", "airframe/2", 1), "journal", ""}, `its format is "fettle-airframe/2", but this program reads "fettle-airframe/1"; import it with`},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			player(t)
			folder := filepath.Dir(os.Getenv("CLOCK"))
			path := aZip(t, test.parts...)
			said, code := measured(t, "import", path)
			said = strings.ReplaceAll(said, path, "crafted.zip") // which names the test
			if said = strings.Join(strings.Fields(said), " "); code != exitUsage || !strings.Contains(said, test.says) || len(said) > 1500 {
				t.Errorf("it ended with %d: %.400s", code, said)
			}
			if !strings.Contains(said, "; ask whoever gave it to you for a new export") && !strings.Contains(said, "; import it with the fettle that") && !strings.Contains(said, "; ask for a backup") {
				t.Errorf("it does not say what to do: %.400s", said)
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
		path := aZip(t, "manifest.json", most, "journal", again(strings.Repeat("\n", 1<<16), 160))
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

// aBomb is a PNG of one colour, of so many pixels a side and 16 bits a sample: small as a
// file, and eight bytes a pixel when it is drawn.
func aBomb(t *testing.T, side int) []byte {
	t.Helper()
	const piece = 1 << 20
	packed := func(n int) string {
		var out bytes.Buffer
		w, err := flate.NewWriter(&out, flate.BestCompression)
		if err == nil {
			_, err = w.Write(make([]byte, n))
		}
		if err := errors.Join(err, w.Flush()); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	length := side * (8*side + 1)
	rows := "\x78\xda" + strings.Repeat(packed(piece), length/piece) + packed(length%piece) + "\x03\x00"
	rows += string(binary.BigEndian.AppendUint32(nil, uint32(length%65521)<<16|1)) // Adler-32 of zeros, RFC 1950
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(side)), uint32(side))
	var out bytes.Buffer
	out.WriteString("\x89PNG\r\n\x1a\n")
	for _, chunk := range []struct{ name, data string }{{"IHDR", string(head) + "\x10\x06\x00\x00\x00"}, {"IDAT", rows}, {"IEND", ""}} {
		sized := append([]byte(chunk.name), chunk.data...)
		_ = binary.Write(&out, binary.BigEndian, uint32(len(chunk.data)))
		out.Write(sized)
		_ = binary.Write(&out, binary.BigEndian, crc32.ChecksumIEEE(sized))
	}
	return out.Bytes()
}

// A small file of a huge picture is refused by its head at every door; one that an older
// program kept does no harm in a book, and comes along in a backup.
func TestPhotoBombs(t *testing.T) {
	play := player(t)
	folder := filepath.Dir(os.Getenv("CLOCK"))
	t.Setenv("FETTLE_LIBRARY", filepath.Join(folder, "own"))
	path := filepath.Join(folder, "huge.png")
	bomb := aBomb(t, 10_000)
	if err := os.WriteFile(path, bomb, 0o600); err != nil {
		t.Fatal(err)
	}
	play("fettle airframe add FN-01 --design finch")
	says := func(said, what string) {
		t.Helper()
		if !strings.Contains(strings.Join(strings.Fields(said), " "), what) {
			t.Errorf("it said %.500s, want %q", said, what)
		}
	}
	said, code := measured(t, "note", "FN-01", "a picture", "--photo", path)
	says(said, "10000 × 10000 pixels take 8")
	says(said, "add a smaller version of it")
	if code != exitUsage {
		t.Errorf("note ended with %d", code)
	}

	// An older program kept it, and packed it.
	at, hex := os.Getenv("FETTLE_STORE"), strings.TrimPrefix(store.Digest(bomb), "sha256:")
	kept := filepath.Join(at+".photos", hex[:2], hex)
	d := &desk.Desk{Store: bolt.New(at), Photos: photos.Beside(at), Library: procedures.Open(""), Now: scriptTime{os.Getenv("CLOCK")}.Now, By: "Ro", Program: "0.1"}
	s, err := d.State(t.Context(), "FN-01")
	if err == nil {
		_, _, err = d.Act(t.Context(), s, workflow.KeepPhoto{PhotoKept: journal.PhotoKept{Photo: "sha256:" + hex, Name: "huge.png", Type: "image/png", Bytes: int64(len(bomb)), Of: []int64{0}}}, time.Time{})
	}
	if err := errors.Join(err, os.MkdirAll(filepath.Dir(kept), 0o700), os.WriteFile(kept, bomb, 0o600)); err != nil {
		t.Fatal(err)
	}
	said, code = measured(t, "book", "FN-01", "-o", filepath.Join(folder, "book.html"))
	if code != exitDone {
		t.Errorf("book ended with %d: %s", code, said)
	}
	if page, err := os.ReadFile(filepath.Join(folder, "book.html")); err != nil || !bytes.Contains(page, []byte("memory to draw")) {
		t.Errorf("the book does not say why the photo is not there: %v", err)
	}
	copied := filepath.Join(folder, "copy.db")
	if said, code = measured(t, "backup", copied); code != exitDone {
		t.Errorf("backup ended with %d: %s", code, said)
	}
	says(said, "1 photo;")
	packed := filepath.Join(folder, "huge.zip")
	play("fettle export FN-01 " + packed)
	said, code = measured(t, "--store", filepath.Join(folder, "other.db"), "import", packed)
	says(said, "photo huge.png: a picture that takes more than 160 MB of memory to draw")
	if code != exitDone {
		t.Errorf("import ended with %d", code)
	}
	if os.Getenv("FETTLE_LONG") == "" {
		return
	}
	for _, side := range []int{4460, 4461, 4462} { // the largest that are kept
		path := filepath.Join(folder, strconv.Itoa(side)+".png")
		if err := os.WriteFile(path, aBomb(t, side), 0o600); err != nil {
			t.Fatal(err)
		}
		if said, code := measured(t, "note", "FN-01", "a large picture", "--photo", path); code != exitDone {
			t.Errorf("note ended with %d: %s", code, said)
		}
	}
	if said, code := measuredIn(t, time.Minute, "book", "FN-01", "-o", filepath.Join(folder, "large.html")); code != exitDone {
		t.Errorf("book ended with %d: %s", code, said)
	}
}

// Ctrl-C stops an import at once, also in the midst of a large journal.
func TestImportInterrupted(t *testing.T) {
	player(t)
	sheet, err := os.ReadFile(filepath.Join("testdata", "finch.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	records := []string{anEntry(0, "Registered", `{"mark":"FN-01","design":"finch","sheet":"`+store.Digest(sheet)+`"}`)}
	for i := 1; i < 100_000; i++ { // as many as are taken
		records = append(records, anEntry(i, "Noted", `{"text":"salt"}`))
	}
	manifest, journal := aJournal("FN-01", records...)
	path := aZip(t, "manifest.json", manifest, "journal", journal, "documents/"+strings.TrimPrefix(store.Digest(sheet), "sha256:"), string(sheet))
	cmd := program(t, "import", path)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(700 * time.Millisecond) // it has begun, and takes three seconds of processor
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // it was stopped
	if code, used := cmd.ProcessState.ExitCode(), cmd.ProcessState.UserTime()+cmd.ProcessState.SystemTime(); code != exitInterrupted || used > 2*time.Second {
		t.Errorf("it ended with %d after %v of processor", code, used)
	}
}
