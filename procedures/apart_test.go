package procedures

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
)

// otherwise is where takenApart and package yaml first differ on a text, "" where they don't. known: takenApart did not leave it
// to package yaml.
func otherwise(data []byte) (difference string, known bool) {
	have, commented := takenApart(data)
	if _, _, what := unprintable(data); have == nil || what != "" {
		return "", false
	}
	want, more, err := decode(data)
	if err != nil || more != nil {
		return fmt.Sprintf("package yaml refuses it: %v", err), true
	}
	return nodesDiffer(want.Content[0], have, commented), true
}

func nodesDiffer(want, have *node, commented bool) string {
	if !commented && want.Comment != nil {
		return fmt.Sprintf("line %d has the comment %q, which is passed over", want.Line, *want.Comment)
	}
	w, h := *want, *have
	w.Comment, w.Content, h.Content = nil, nil, nil
	if fmt.Sprint(w) != fmt.Sprint(h) || len(want.Content) != len(have.Content) {
		return fmt.Sprintf("package yaml has %+v with %d nodes in it, and here is %+v with %d", w, len(want.Content), h, len(have.Content))
	}
	for i := range want.Content {
		if d := nodesDiffer(want.Content[i], have.Content[i], commented); d != "" {
			return d
		}
	}
	return ""
}

// textsApart are all embedded documents, and procedures as they are written out.
func textsApart(t testing.TB) map[string][]byte {
	texts := map[string][]byte{}
	for _, name := range embeddedFiles() {
		data, err := embeddedFile(name)
		if err != nil {
			t.Fatal(err)
		}
		texts[name] = data
		if doc := embeddedNamed(name); doc.Procedure != nil {
			if texts[name+", written out"], err = Write(doc.Procedure); err != nil {
				t.Fatal(err)
			}
		}
	}
	return texts
}

// Documents are taken apart as package yaml does it, which is the reference here, and none of them is left to it.
func TestTakenApart(t *testing.T) {
	t.Parallel()
	for name, data := range textsApart(t) {
		if difference, known := otherwise(data); !known || difference != "" {
			t.Errorf("%s: known: %v, %s", name, known, difference)
		}
	}
}

// What takenApart knows, and what it leaves to package yaml, form by form.
func TestFormsTakenApart(t *testing.T) {
	for text, want := range map[string]bool{
		"a: b\n":                     true,
		"a: b":                       false,
		"a: b\r\n":                   false,
		"a:\tb\n":                    false,
		"# c\n\na: b # c\n# d\n":     true,
		"a: b#c\n":                   true,
		"a#b: c\n":                   true,
		"a #b: c\n":                  false,
		" a: b\n":                    false,
		"a: b\n c: d\n":              false,
		"a: b\n  c\n\n\n  d\ne: f\n": true,
		"a: b\n  c # d\n  e\n":       false,
		"a: b\n# d\n  e\n":           false,
		"a: b\n  c: d\n":             false,
		"a: b: c\n":                  false,
		"a: b:\n":                    false,
		"a : b\n":                    false,
		"a:\n":                       false,
		"a: # c\n  b: d\n":           true,
		"a:\n- b\n- c\nd: e\n":       true,
		"a:\n- b\nc\n":               false,
		"a:\n  - b\n  - - c\n    - d\n  -\n    e: f\n    g: h\n": true,
		"a:\n  - b\n - c\n":                    false,
		"a:\n  - b: c\n    d: e\n   f: g\n":    false,
		"a: - b\n":                             false,
		"a: -b\nc: -1 mm\n":                    true,
		"- a\n":                                false,
		"a:\n  b\n":                            true,
		"a: \"b: # c\" # d\n'e: f': 'it''s'\n": true,
		"a: \"b\\n\\\"c\\\\\"\n":               true,
		"a: \"b\\tc\"\n":                       false,
		"a: \"b\n  c\"\n":                      false,
		"a: \"b\" c\n":                         false,
		"a: |\n  b\n\n   c # d\n \n  e\n\n\nf: g\n":   true,
		"a: |-\n  b\n\nc: |+\n  d\n\n":                true,
		"a: |2-\n    b\n   c\n":                       true,
		"a: |\n   \n  b\n":                            false,
		"a: |\nb: c\n":                                false,
		"a: |\n":                                      false,
		"a: |3x\n   b\n":                              false,
		"a: >\n  b\n  c\n":                            false,
		"a: [b, {c: d, 'e': \"f\"}, [], {}, 1 mm,]\n": true,
		"a: [b,\n  c, # d\n\n# e\n  f]\ng: h\n":       true,
		"a: [b\n  c]\n":                               false,
		"a: [b: c]\n":                                 false,
		"a: [b, , c]\n":                               false,
		"a: [b}\n":                                    false,
		"a: [b] c\n":                                  false,
		"a: [b\n":                                     false,
		"a: {b}\n":                                    false,
		"a: {b: }\n":                                  false,
		"a: {b: c: d}\n":                              false,
		"a: {\"b\":c}\n":                              false,
		"a: [12:30]\n":                                false,
		"{a: b}\n":                                    false,
		"a: &b c\n":                                   false,
		"a: *b\n":                                     false,
		"a: !b c\n":                                   false,
		"a: <<\n":                                     false,
		"<<: {a: b}\n":                                false,
		"? a\n: b\n":                                  false,
		"---\na: b\n":                                 false,
		"a: b\n---\nc: d\n":                           false,
		"a: b\n...\n":                                 false,
		"a: b\u2028c: d\n":                            false,
		"\uFEFFa: b\n":                                false,
		"a: 1\nb: 1 mm\nc: 2026-03-07\nd: 2026-03-07 10:00:00\ne: 0x1F\nf: 1e3\ng: .5\nh: true\ni: no\nj: null\nk: ~\nl: -.inf\nm: 1_000\nn: Falsehood\no: 0o17\n": true,
		"ä: {b: µ°, c: [d]}\n":                                                     true,
		strings.Repeat("a", longestKey+1) + ": b\n":                                false,
		"a: " + strings.Repeat("[", deepest) + strings.Repeat("]", deepest) + "\n": false,
	} {
		difference, known := otherwise([]byte(text))
		if difference != "" {
			t.Errorf("%q: %s", text, difference)
		}
		if known != want {
			t.Errorf("%q: known: %v, want %v", text, known, want)
		}
	}
}

// marksApart are what YAML has a meaning for somewhere, and texts that it may take for something else.
var marksApart = []string{
	" ", "  ", "\n", "\n\n", ":", ": ", "- ", "-", "#", " # c", "|", "|-\n", "|2", ">", "[", "]", "{", "}", ",", "'", "\"", "?", "? ", "&", "*", "!", "~",
	"null", "<<", "<<: ", "a: b", "\n  x: y", "%", "@", "`", "°", "\\", "...", "---", "\n---\n", "0x1", "2026-01-01", "1e3", ".5", "yes",
}

// Parts of documents, with slips in them, are taken apart as package yaml does it, or left to it.
func TestSlipsTakenApart(t *testing.T) {
	t.Parallel()
	tries := 3000
	if os.Getenv("FETTLE_LONG") != "" {
		tries = 1_000_000
	}
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	all := textsApart(t)
	names := slices.Sorted(maps.Keys(all))
	several := 0
	for range tries {
		text := partOf(r, string(all[names[r.IntN(len(names))]]))
		for range r.IntN(4) {
			text = slipIn(r, text)
		}
		difference, known := otherwise([]byte(text))
		if difference != "" {
			t.Fatalf("seed %d: %s\n%s", seed, difference, text)
		}
		if known {
			several++
		}
	}
	if several < tries/20 {
		t.Errorf("seed %d: %d of %d were known", seed, several, tries)
	}
}

// partOf is some lines of a text, which begin in the first column.
func partOf(r *rand.Rand, text string) string {
	lines := strings.SplitAfter(text, "\n")
	from := r.IntN(len(lines))
	lines = lines[from:min(len(lines), from+1+r.IntN(25))]
	indent := len(lines[0]) - len(strings.TrimLeft(lines[0], " "))
	var part strings.Builder
	if r.IntN(2) == 0 {
		part.WriteString("top:\n")
	}
	for _, line := range lines {
		part.WriteString(line[min(indent, len(line)-len(strings.TrimLeft(line, " "))):])
	}
	return part.String()
}

// slipIn is the text with something put in, taken out, indented or exchanged.
func slipIn(r *rand.Rand, text string) string {
	at := r.IntN(len(text) + 1)
	lines := strings.SplitAfter(text, "\n")
	one, other := r.IntN(len(lines)), r.IntN(len(lines))
	switch r.IntN(4) {
	case 0:
		return text[:at] + marksApart[r.IntN(len(marksApart))] + text[at:]
	case 1:
		return text[:at] + text[min(len(text), at+1+r.IntN(3)):]
	case 2:
		lines[one] = strings.Repeat(" ", r.IntN(5)) + strings.TrimLeft(lines[one], " ")
	default:
		lines[one], lines[other] = lines[other], lines[one]
	}
	return strings.Join(lines, "")
}

func FuzzTakenApart(f *testing.F) {
	for name, data := range textsApart(f) {
		f.Add(data[:min(len(data), 2000)])
		if strings.HasPrefix(name, "reed") {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if difference, _ := otherwise(data); difference != "" {
			t.Error(difference)
		}
	})
}
