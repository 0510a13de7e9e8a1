package term

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"

	xansi "github.com/charmbracelet/x/ansi"
)

// Text from documents and journals is untrusted: nothing of it that a terminal
// would act on is left.
func TestCleanLeavesNothingToAct(t *testing.T) {
	for text, want := range map[string]string{
		"plain text, µ and ½": "plain text, µ and ½",
		"a\x1b[31mb":          `a\u001b[31mb`,
		"bell\x07":            `bell\u0007`,
		"csi\u009bm":          `csi\u009bm`,
		"del\x7f":             `del\u007f`,
		"turn\u202eed":        `turn\u202eed`,
		"zero\u200bwidth":     `zero\u200bwidth`,
		"bad\xffbyte":         `bad\ufffdbyte`,
		"two\nlines\tand":     "two\nlines\tand",
		"private\ue000":       `private\ue000`,
		"plane\U000e0041":     `plane\udb40\udc41`, // a tag, as JSON would write it
		// Drawn as nothing, or breaking a line, though none of them is a control.
		"a\u2028b\u2029c":     `a\u2028b\u2029c`,
		"\u3164\u034f\u2800":  `\u3164\u034f\u2800`,
		"\u2800\ufe0f":        `\u2800\ufe0f`,
		"a\ufe0fb\U000e0100c": `a\ufe0fb\udb40\udd00c`,
		"red ❤\ufe0f ↔\ufe0f": "red ❤\ufe0f ↔\ufe0f", // emoji; the selector says that it is a picture
		"❤\ufe0f\ufe0f":       "❤\ufe0f" + `\ufe0f`,
	} {
		if got := Clean(text); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
	}
}

// JSON has the same characters as escapes: nothing reaches a terminal, and the value is
// what it was.
func TestJSONKeepsTheValue(t *testing.T) {
	words := "a\x1b]0;b\x7f\u009b\u202e\u200b\u2028\u3164\ufe0f\U000e0041\n\t<&> ❤\ufe0f µ ½"
	for _, indent := range []string{"", "  "} {
		written, err := JSON(map[string]string{words: words}, indent)
		if err != nil {
			t.Fatal(err)
		}
		if plain := strings.ReplaceAll(string(written), "❤\ufe0f", ""); strings.ContainsFunc(plain, hidden) || strings.Count(plain, "\t") > 0 {
			t.Errorf("written as %q", written)
		}
		var read map[string]string
		if err := json.Unmarshal(written, &read); err != nil || read[words] != words {
			t.Errorf("%s is read as %q: %v", written, read, err)
		}
	}
}

func show(t *testing.T, markdown string, columns int) string {
	t.Helper()
	var b bytes.Buffer
	if err := (Streams{Columns: columns}).ShowTo(&b, markdown); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestShownWithoutEscapes(t *testing.T) {
	out := show(t, "# Title\n\n- **bold** \x1b[31mred\n\n```\nfettle done CW-01 a-very-long-step-name-that-is-not-wrapped-at-all-although-it-is-long\n```\n", 40)
	if strings.Contains(out, "\x1b") || !strings.Contains(out, "not-wrapped-at-all-although-it-is-long\n") {
		t.Errorf("shown as %q", out)
	}
}

// The renderer resolves references, so one to an escape would be made safe too
// late; and it knows no backslash before an ampersand.
func TestReferences(t *testing.T) {
	for text, want := range map[string]string{
		"21 &deg;C &frac12;&nbsp;mm":      "21 °C ½\u00a0mm",
		"&#27;[31mred &#x1B;]0;title&#7;": "&#27;[31mred &#x1B;]0;title&#7;",
		"&#x202e;turned &shy &zwj;":       "&#x202e;turned &shy &zwj;",
		"a &NewLine; &amp;lt; R & D":      "a &NewLine; &amp;lt; R & D",
		`R \& D, \~5, \\& \&shy;`:         `R & D, ~5, \& &shy;`,
		"`&deg; \\&`":                     `&deg; \&`,
		"&#xE000; &#xF0000; &#xE010;":     "&#xE000; &#xF0000; &#xE010;",
		"```a`&#27;`":                     "```a&#27;",
		"[the drawing](a.b/c-d.pdf)":      "the drawing (a.b/c-d.pdf)",
	} {
		if got := strings.TrimSpace(show(t, text, 90)); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
	}
}

// Tags of HTML are left out, with what stands in elements that show no text; the
// text between others stays.
func TestTags(t *testing.T) {
	for text, want := range map[string]string{
		"a <b>bold</b> word<br/> and <img src=x>more":             "a bold word and more",
		"<div title=\"a>b\">\nbetween the tags\n</div>":           "between the tags",
		"<div>\n3 < 4 & 5 > 2\n</div>":                            "3 < 4 & 5 > 2",
		"<!-- a comment -->\n\nseen":                              "seen",
		"<script>\nalert(1)</script> seen":                        "seen",
		"<style>\np { color: red }\n</style>\n\nseen":             "seen",
		"<p>\n<object><object>x</object>y</object>z</p>":          "z",
		"<p>\n<iframe>x <b>y</b></iframe><noscript>z</noscript>k": "k",
		"<div>\nnever <em>closed":                                 "never closed",
		"<div>\na </object>b</div>":                               "a b",
		"<?php echo 1 ?>\n\nseen":                                 "seen",
		"<p>\ncut <a href=\"":                                     "cut",
	} {
		if got := strings.TrimSpace(show(t, text, 90)); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
	}
}

// A number is never parted at its point, nor a name at its hyphen, and an item
// that runs on stands in.
func TestBreaks(t *testing.T) {
	out := show(t, "- the gap of the left-boom is 5.9 mm and more than 5.2 mm at bottom-right and 1.25 mm elsewhere\n", 44)
	for _, whole := range []string{"left-boom", "5.9", "5.2", "bottom-right", "1.25"} {
		if !strings.Contains(out, whole) {
			t.Errorf("%s is broken in\n%s", whole, out)
		}
	}
	for i, line := range strings.Split(strings.TrimRight(out, "\n"), "\n") {
		if i > 0 && !strings.HasPrefix(line, "  ") || len([]rune(line)) > 44 {
			t.Errorf("line %d is %q", i, line)
		}
	}
}

// What stands behind a word stays with it, whatever the width, and what is code
// is shown as it is.
func TestBreaksKeepWhatBelongsTogether(t *testing.T) {
	const words = "1. entry 26 of the left-boom, 5.9 mm: **good**; inside `[-------o-------]`; stale, by (work) on it; and so on.\n"
	for width := 45; width < 90; width++ {
		out := show(t, words, width)
		for i, line := range strings.Split(out, "\n") {
			if first := strings.TrimLeft(line, " "); first != "" && strings.ContainsRune(".,;", rune(first[0])) {
				t.Errorf("at %d columns line %d begins with %q", width, i, first)
			}
		}
		for _, whole := range []string{"1. entry", "left-boom,", "[-------o-------];", "(work)", "good;"} {
			if !strings.Contains(out, whole) {
				t.Errorf("at %d columns %s is broken in\n%s", width, whole, out)
			}
		}
		const code = "— fettle /T5mlG1RQPUnkLrAK7oy4IJV7JmfeJLpmkkkNtrQf6wK9sptRWLca5gOZ + \"a - b\", a; b"
		if out := show(t, "```\n"+code+"\n```\n", width); strings.TrimSpace(out) != code {
			t.Errorf("at %d columns code is shown as %q", width, out)
		}
	}
}

// Code may stand in an item of a list, and the list goes on behind it.
func TestCodeInAnItem(t *testing.T) {
	const want = "• do it again:\n\n  fettle gauge CW-01 depth --reads …mm --of …mm --note \"a block\"\n\n• next: fit-radio\n"
	out := show(t, "- do it again:\n  ```\n  fettle gauge CW-01 depth --reads …mm --of …mm --note \"a block\"\n  ```\n- next: `fit-radio`\n", 50)
	if out != want {
		t.Errorf("shown as %q", out)
	}
}

// A line in colour ends where its words end: what is copied has no space behind
// it, and a long line of code is not drawn over two.
func TestColourEndsWithTheWords(t *testing.T) {
	var out bytes.Buffer
	s := Streams{Out: &out, Columns: 60, Colour: true}
	code := strings.Repeat("fettle ", 12) + "end"
	if err := s.Show("# Title\n\nWords **bold**; more\n\n```\nshort\n" + code + "\n```\n\nlast\n"); err != nil {
		t.Fatal(err)
	}
	plain := xansi.Strip(out.String())
	if want := "Title\n\nWords bold; more\n\n  short\n  " + code + "\n\nlast\n"; plain != want {
		t.Errorf("shown as %q, not %q", plain, want)
	}
	if plain == out.String() {
		t.Error("nothing is in colour")
	}
}

// A table is as wide as its words need, no word of it is cut off, and what is bold in a
// cell ends there.
func TestTable(t *testing.T) {
	const table = "| Part | What it is made of | n |\n|---|:-:|--:|\n| wing | EPP foam of 20 g/l, **cut by wire and sanded** | 2 |\n| left-boom | carbon | 12 |\n"
	want := ` Part      | What it is made of  |  n
-----------|---------------------|----
 wing      | EPP foam of 20 g/l, |  2
           |   cut by wire and   |
           |       sanded        |
 left-boom |       carbon        | 12
`
	if out := show(t, table, 40); out != want {
		t.Errorf("shown as\n%s", out)
	}
	var out bytes.Buffer
	if err := (Streams{Out: &out, Columns: 40, Colour: true}).Show(table); err != nil {
		t.Fatal(err)
	}
	if xansi.Strip(out.String()) != want {
		t.Errorf("in colour it is shown as\n%s", out.String())
	}
	for line := range strings.SplitSeq(out.String(), "\n") {
		if before, after, _ := strings.Cut(line, "cut by wire and"); after != "" && (!strings.HasSuffix(before, "\x1b[1m") || !strings.HasPrefix(after, "\x1b[0m")) {
			t.Errorf("bold runs on in %q", line)
		}
	}
}

// What one item says in more than one part stands apart and in, and so do lists in lists,
// quotations and words that are wider than their column.
func TestParts(t *testing.T) {
	for text, want := range map[string]string{
		"1. one\n\n   two\n2. three\n":                            "1. one\n\n  two\n\n2. three\n",
		"- one\n  - an item that runs on and on\n- two\n":         "• one\n    • an item that runs on\n      and on\n• two\n",
		"> - quoted, and\n>   more\n>\n> ```\n> code -x\n> ```\n": "┃ • quoted, and\n┃   more\n┃\n┃   code -x\n",
		"- > quoted\n": "•\n\n  ┃ quoted\n",
		"##### Five\n\n---\n\n<!-- unseen -->\nseen\n":                  "Five\n\n--------\n\nseen\n",
		"| a | n |\n|---|---|\n| abcdefghijklmnopqrstuvwxyz in | 1 |\n": " a                      | n\n------------------------|---\n abcdefghijklmnopqrstuv | 1\n wxyz in                |\n",
	} {
		if out := show(t, text, 30); out != want {
			t.Errorf("%q is shown as\n%s", text, out)
		}
	}
}

// Code is plain code, whatever language its fence names.
func TestCodeOfALanguage(t *testing.T) {
	const code = "func main() { // a \"string\"\n\treturn 1 + 2\n}\n"
	shown := map[string]string{}
	for _, language := range []string{"", "go", "yaml", "no-such-language"} {
		var out bytes.Buffer
		s := Streams{Out: &out, Columns: 60, Colour: true}
		if err := s.Show("```" + language + "\n" + code + "```\n"); err != nil {
			t.Fatal(err)
		}
		shown[language] = out.String()
		if shown[language] != shown[""] {
			t.Errorf("%s is shown as %q, and without a language as %q", language, shown[language], shown[""])
		}
	}
	if plain := xansi.Strip(shown["go"]); !strings.Contains(plain, "func main() { // a \"string\"\n") || !strings.Contains(plain, "return 1 + 2\n") {
		t.Errorf("shown as %q", plain)
	}
}

func TestAsking(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	var out bytes.Buffer
	p := NewPrompter(ctx, Streams{In: strings.NewReader(" yes \nno"), Err: &out})
	for _, want := range []string{"yes", "no"} {
		if got, err := p.Ask(ctx, "? "); err != nil || got != want {
			t.Fatalf("%q, %v", got, err)
		}
	}
	if _, err := p.Ask(ctx, "? "); !errors.Is(err, ErrEnd) {
		t.Errorf("at the end: %v", err)
	}
	cancel()
	silent := NewPrompter(ctx, Streams{In: &bytes.Buffer{}, Err: &out})
	if _, err := silent.Ask(ctx, "? "); err == nil {
		t.Error("a stopped question was answered")
	}
	for answer, want := range map[string][2]bool{"y": {true, true}, "YES": {true, true}, "n": {false, true}, "": {false, false}, "maybe": {false, false}} {
		if yes, ok := YesNo(answer); yes != want[0] || ok != want[1] {
			t.Errorf("%q is %v, %v", answer, yes, ok)
		}
	}
}

// A terminal gives a line at a time: one before there is a question, one when it
// stands there.
type typist struct {
	lines  []string
	struck int
	next   chan struct{} // the question stands there
	first  chan struct{} // the stray line was taken
}

func (p *typist) Read(b []byte) (int, error) {
	if p.struck == 1 {
		close(p.first)
		<-p.next
	}
	if p.struck == len(p.lines) {
		return 0, io.EOF
	}
	p.struck++
	return copy(b, p.lines[p.struck-1]), nil
}

func (p *typist) Write(b []byte) (int, error) {
	close(p.next)
	return len(b), nil
}

// An enter struck before the question stood there answers nothing, on a
// terminal; in a pipe every line is an answer.
func TestTypedBeforeTheQuestion(t *testing.T) {
	for want, interactive := range map[string]bool{"": false, "yes": true} {
		keys := &typist{lines: []string{"\n", "yes\n"}, next: make(chan struct{}), first: make(chan struct{})}
		var out io.Writer = keys
		if !interactive {
			out = io.Discard
			close(keys.next)
		}
		p := NewPrompter(t.Context(), Streams{In: keys, Err: out, Interactive: interactive})
		if interactive { // a pipe is read no faster than it is asked
			<-keys.first
		}
		if got, err := p.Ask(t.Context(), "? "); err != nil || got != want {
			t.Errorf("interactive %v: %q, %v; want %q", interactive, got, err, want)
		}
	}
}

// Lines are broken between words, whatever the width, and follow a terminal that changes.
func TestFold(t *testing.T) {
	for _, c := range []struct {
		width      int
		text, want string
	}{
		{20, "it all fits here\n", "it all fits here\n"},
		{20, "exactly twenty chars\n", "exactly twenty chars\n"},
		{12, "one two three four\n", "one two\nthree four\n"},
		{8, "a unbreakable b\n", "a\nunbreakable\nb\n"},
		{30, "  --at WHEN   when it was, if not now\n", "  --at WHEN   when it was, if\n              not now\n"},
		{14, "  follow MARK now\n", "  follow MARK\n  now\n"},
		{12, "Really? [y/n] ", "Really?\n[y/n] "},
		{9, "größte Höhe 5\n", "größte\nHöhe 5\n"},
	} {
		width := c.width
		s := Streams{Columns: 100, Size: func() (int, int) { return width, 24 }}
		if got := s.Fold(c.text); got != c.want {
			t.Errorf("%q in %d columns is %q, want %q", c.text, c.width, got, c.want)
		}
		if width = 90; s.Fold(c.text) != c.text {
			t.Errorf("%q is not followed to 90 columns", c.text)
		}
		s.Size = nil
		if s.Fold(c.text) != c.text {
			t.Errorf("%q is broken where there is no terminal", c.text)
		}
	}
}
