package cli

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/page"
	"fettle/cmd/internal/term"
	"fettle/procedures"
	"fettle/store"
	"fettle/store/memory"
	"fettle/store/seal"
)

// evil has something of all that may harm whoever prints, opens or imports what it is part
// of: a formula, a title and a colour for the terminal, characters that turn the reading
// direction, break a line or are not seen, markup and links.
const evil = "=1\x1b]0;a\x07\x1b[31m\x7f\u009b1m\u202e\u2066\u200b\ufeff\u2028\u2029\u3164\u034f\u2800\ufe0f\U000e0041\r\n# b\n<img src=x onerror=alert(1)><script>alert(1)</script>[a](javascript:b)`|*"

// seen says what in an output acts on a terminal or hides from the eye; "": nothing does.
// The characters are listed here and not asked of the program.
func seen(out string) string {
	if !utf8.ValidString(out) {
		return "bytes that are not UTF-8"
	}
	for _, r := range out {
		switch {
		case r == '\n', r == '\t':
		case r < 0x20, r >= 0x7f && r < 0xa0, r >= 0x200b && r <= 0x200f, r >= 0x2028 && r <= 0x202e, r >= 0x2060 && r <= 0x206f,
			r >= 0xfe00 && r <= 0xfe0f, r >= 0xe0000 && r <= 0xe0fff, strings.ContainsRune("\u034f\u061c\u115f\u1160\u180e\u2800\u3164\ufeff\uffa0\ufffd", r):
			return fmt.Sprintf("%U", r)
		}
	}
	return ""
}

// said carries out a command in this process.
func said(t *testing.T, clock scriptTime, args ...string) (out, errs string, code int) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	streams := term.Streams{In: strings.NewReader(evil), Out: &stdout, Err: &stderr, Columns: 80}
	code = (&app{Streams: streams, time: clock, stores: stores(), read: readOnce}).run(context.Background(), args)
	return stdout.String(), stderr.String(), code
}

// Nothing that is given to a command on its command line reaches a terminal as it is. With
// FETTLE_LONG each command has the options of all commands too, and each character that
// acts or hides by itself.
func TestHostileArguments(t *testing.T) {
	play := player(t)
	clock := scriptTime{os.Getenv("CLOCK")}
	t.Chdir(t.TempDir())
	play("fettle airframe add CW-01 --design causeway")
	play("fettle start CW-01 causeway-build")
	long := os.Getenv("FETTLE_LONG") != ""
	texts := []string{"\xff\xc0" + evil}
	if long {
		texts = append(texts, evil)
		for _, r := range evil {
			if text := "a" + string(r) + "b"; (r < ' ' || r > '~') && !slices.Contains(texts, text) {
				texts = append(texts, text)
			}
		}
	}
	tried := 0
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
		path := strings.Fields(cmd.CommandPath())[1:]
		if len(path) == 0 || path[0] == "demo" {
			return
		}
		for _, text := range texts {
			calls := [][]string{{text}, {"CW-01", text}}
			if text == evil {
				calls = append(calls, []string{"CW-01", text, text})
			}
			option := func(f *pflag.Flag) {
				if f.Value.Type() != "bool" && (long || f.Name != "store" && f.Name != "library" && f.Name != "by" || path[0] == "note") {
					calls = append(calls, []string{"CW-01", "--" + f.Name, text})
					if text == evil {
						calls = append(calls, []string{"CW-01", "words", "--" + f.Name, text})
					}
				}
			}
			cmd.LocalFlags().VisitAll(option)
			if len(text) >= len(evil) || path[0] == "note" {
				cmd.InheritedFlags().VisitAll(option)
			}
			for _, args := range calls {
				args = slices.Concat(path, args)
				out, errs, _ := said(t, clock, args...)
				errs = strings.ReplaceAll(errs, "\n\a", "\n") // wait rings by itself
				tried++
				if strings.Contains(out, "<!doctype html>") {
					out = "" // a book, which the other test reads
				}
				if what := seen(strings.ReplaceAll(out, "\r\n", "\n") + errs); what != "" {
					t.Fatalf("%q shows %s: %q%q", args, what, out, errs)
				}
				if !long {
					continue
				}
				if out, errs, _ := said(t, clock, append(args, "--json")...); seen(out+errs) != "" || out != "" && out[0] == '{' && !json.Valid([]byte(out)) {
					t.Errorf("%q as JSON shows %q%q", args, out, errs)
				}
			}
		}
	}
	walk((&app{}).root())
	if tried < 150 {
		t.Errorf("only %d commands were tried", tried)
	}
}

// A journal that comes from elsewhere says what it likes in every field that a replay
// allows it, and in the words of its documents. With FETTLE_LONG all kept journals do.
func TestHostileImport(t *testing.T) {
	names := []string{"cared", "doubted"}
	if os.Getenv("FETTLE_LONG") != "" {
		names = nil
		files, _ := filepath.Glob(filepath.Join("testdata", "kept", "*.zip"))
		for _, file := range files {
			names = append(names, strings.TrimSuffix(filepath.Base(file), ".zip"))
		}
	}
	for _, name := range names {
		t.Run(name, func(t *testing.T) { hostileImport(t, filepath.Join("testdata", "kept", name+".zip")) })
	}
}

func hostileImport(t *testing.T, from string) {
	from, err := filepath.Abs(from)
	if err != nil {
		t.Fatal(err)
	}
	play := player(t)
	clock := scriptTime{os.Getenv("CLOCK")}
	t.Chdir(t.TempDir())
	mark, fields := poison(t, from, "evil.zip")
	t.Logf("%d values took it", fields)
	if fields < 3 {
		t.Fatalf("only %d fields took it", fields)
	}
	out, errs, code := said(t, clock, "import", "evil.zip")
	if code != exitDone {
		t.Fatalf("the import ended with %d: %s%s", code, out, errs)
	}
	if what := seen(out + errs); what != "" {
		t.Errorf("import shows %s: %q", what, out)
	}
	for _, command := range []string{
		"airframe show", "airframe show --entries", "status", "next", "timers", "timers --ics -", "audit", "audit --format md", "gauge", "repair", "audit --prove", "seal", "book -o -",
		"airframe show --json", "airframe show --entries --json", "status --json", "next --json", "timers --json", "audit --json", "gauge --json", "repair --json",
	} {
		args := strings.Fields(command)
		args = slices.Insert(args, min(len(args), 1+strings.Count(command, "airframe show")), mark)
		out, errs, code := said(t, clock, args...)
		if code == exitUsage {
			t.Errorf("%s ended with %d: %s", command, code, errs)
		}
		if what := seen(strings.ReplaceAll(out, "\r\n", "\n") + errs); what != "" {
			t.Errorf("%s shows %s: %q", command, what, out)
		}
		if strings.HasSuffix(command, "--json") && code == exitDone && !json.Valid([]byte(out)) {
			t.Errorf("%s says %s", command, out)
		}
		if markup := regexp.MustCompile(`(^|[^\\])<(img src=x|script>)`).FindString(out); markup != "" && (args[0] == "book" || strings.Contains(command, "md")) {
			t.Errorf("%s has %q", command, markup)
		}
	}
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
		calls := [][]string{{mark, ""}, {""}}
		cmd.LocalFlags().VisitAll(func(f *pflag.Flag) { calls = append(calls, []string{mark, "--" + f.Name, ""}) })
		for _, args := range calls {
			args = slices.Concat([]string{cobra.ShellCompRequestCmd}, strings.Fields(cmd.CommandPath())[1:], args)
			if out, errs, _ := said(t, clock, args...); seen(out+errs) != "" {
				t.Errorf("%q offers %q", args, out)
			}
		}
	}
	walk((&app{}).root())
	entries := play("fettle airframe show " + mark + " --entries --json")
	if quoted, _ := json.Marshal(evil); !strings.Contains(canonical(t, entries), strings.Trim(string(quoted), `"`)) {
		t.Error("no value of the JSON is what was imported")
	}
	for _, table := range page.TableNames() {
		hostileTable(t, play("fettle audit "+mark+" --table "+table))
	}
}

// canonical is JSON as the standard library writes it.
func canonical(t *testing.T, text string) string {
	var value any
	if err := json.Unmarshal([]byte(text), &value); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	data, err := json.Marshal(value)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// hostileTable reads a table as a program and as a spreadsheet would.
func hostileTable(t *testing.T, table string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil || len(rows) < 1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if len(rows) == 1 {
		return // nothing was measured
	}
	for _, row := range rows {
		for i, field := range row {
			_, err := strconv.ParseFloat(field, 64)
			if what := seen(field); what != "" || err != nil && field != "" && strings.ContainsRune("=+-@\t\r", rune(field[0])) && !regexp.MustCompile(`^[+-][\d.]+ `).MatchString(field) {
				t.Errorf("%s is %q (%s)", rows[0][i], field, what)
			}
		}
	}
	if _, err := exec.LookPath("sqlite3"); err != nil {
		return
	}
	if err := os.WriteFile("table.csv", []byte(table), 0o600); err != nil {
		t.Fatal(err)
	}
	by := max(0, slices.Index(rows[0], "by")) // else the mark
	out, err := exec.Command("sqlite3", ":memory:", ".import --csv table.csv t", "select count(*), group_concat(hex("+rows[0][by]+")) from t").CombinedOutput()
	want := []string{}
	for _, row := range rows[1:] {
		want = append(want, fmt.Sprintf("%X", row[by]))
	}
	if text := strings.TrimSpace(string(out)); err != nil || text != fmt.Sprintf("%d|%s", len(want), strings.Join(want, ",")) {
		t.Errorf("sqlite3 reads %s, %v", text, err)
	}
}

// poison writes an airframe file anew, with evil before each value of its entries that a
// replay allows, and after the words of its documents. It returns the mark, and how many
// values took it.
func poison(t *testing.T, from, to string) (mark string, fields int) {
	t.Helper()
	z, err := zip.OpenReader(from)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	inside := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if inside[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
	var manifest map[string]any
	if err := json.Unmarshal(inside["manifest.json"], &manifest); err != nil {
		t.Fatal(err)
	}
	mark = manifest["mark"].(string)
	var entries []any
	sealed := map[string]bool{} // its seals would no longer match
	for line := range strings.Lines(string(inside["journal"])) {
		record, err := base64.StdEncoding.DecodeString(strings.TrimSpace(line))
		if err != nil {
			t.Fatal(err)
		}
		var entry any
		if err := json.Unmarshal(record, &entry); err != nil {
			t.Fatal(err)
		}
		if kind, _ := entry.(map[string]any)["kind"].(string); kind == "Sealed" {
			sealed[kind] = true
		}
		entries = append(entries, entry)
	}
	if len(sealed) > 0 {
		t.Skip("its seals would contradict it")
	}
	// The words of a document, which gets another digest by that.
	words := regexp.MustCompile(`(?m)^(\s*(?:- )?(?:title|why|caution): )([A-Za-z][^'"\n#&]*)$`)
	quoted := strings.Map(func(r rune) rune { // with a control character it would be refused
		if unicode.In(r, unicode.Cc, unicode.Cf) {
			return -1
		}
		return r
	}, evil)
	quoted = strings.Trim(strconv.QuoteToASCII(quoted), `"`) // YAML has the same escapes
	renamed := map[string]string{}
	trial := &desk.Desk{Store: memory.New(), Now: scriptTime{os.Getenv("CLOCK")}.Now}
	for _, name := range slices.Sorted(maps.Keys(inside)) {
		digest, ok := strings.CutPrefix(name, "documents/")
		if !ok {
			continue
		}
		data := words.ReplaceAll(inside[name], []byte(`${1}"${2} `+strings.ReplaceAll(quoted, "$", "$$")+`"`))
		if _, err := procedures.Read(name, data); err != nil {
			data = inside[name] // the words go on in the next line
		}
		delete(inside, name)
		now := store.Digest(data)
		renamed["sha256:"+digest] = now
		inside["documents/"+strings.TrimPrefix(now, "sha256:")] = data
		if _, err := trial.Store.Keep(t.Context(), data); err != nil {
			t.Fatal(err)
		}
	}
	records := func(as map[string]string) (all [][]byte) {
		for _, entry := range entries {
			said := replaced(entry, as).(map[string]any)
			for _, name := range []string{"by", "program"} { // an import refuses more than one line
				said[name] = strings.NewReplacer("\r", "", "\n", "").Replace(said[name].(string))
			}
			data, err := json.Marshal(said)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, data)
		}
		return all
	}
	replays := func(as map[string]string) error {
		_, err := trial.Replay(t.Context(), mark, records(as))
		return err
	}
	if err := replays(renamed); err != nil {
		t.Fatalf("with hostile documents: %v", err)
	}
	values := map[string]bool{}
	collect(entries, values)
	for _, value := range slices.Sorted(maps.Keys(values)) {
		if _, digest := renamed[value]; digest || value == mark {
			continue
		}
		renamed[value] = evil + value
		if replays(renamed) != nil {
			delete(renamed, value)
			continue
		}
		fields++
	}
	final := records(renamed)
	var lines strings.Builder
	for _, record := range final {
		lines.WriteString(base64.StdEncoding.EncodeToString(record) + "\n")
	}
	head := seal.HeadOf(final)
	manifest["root"], manifest["made"] = base64.StdEncoding.EncodeToString(head.Root[:]), evil
	inside["journal"] = []byte(lines.String())
	if inside["manifest.json"], err = json.Marshal(manifest); err != nil {
		t.Fatal(err)
	}
	var packed bytes.Buffer
	w := zip.NewWriter(&packed)
	for name, data := range inside {
		f, err := w.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, packed.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return mark, fields
}

// replaced is a value of JSON with other strings in it.
func replaced(value any, as map[string]string) any {
	switch v := value.(type) {
	case string:
		if other, ok := as[v]; ok {
			return other
		}
	case []any:
		all := make([]any, len(v))
		for i, inner := range v {
			all[i] = replaced(inner, as)
		}
		return all
	case map[string]any:
		all := map[string]any{}
		for name, inner := range v {
			all[name] = replaced(inner, as)
		}
		return all
	}
	return value
}

// collect finds all strings in a value of JSON.
func collect(value any, found map[string]bool) {
	switch v := value.(type) {
	case string:
		found[v] = true
	case []any:
		for _, inner := range v {
			collect(inner, found)
		}
	case map[string]any:
		for _, inner := range v {
			collect(inner, found)
		}
	}
}
