package term

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf16"
)

// What a text from outside may do to whoever reads it is decided here, for all that is
// printed: a terminal, Markdown, CSV and the book get [Clean], and JSON the same
// characters as escapes ([JSON]), which leave the value as it is.

// Clean makes a text from a document, a journal or a command line safe to
// print: what [hidden] finds is shown as its code, and so are bytes that are not UTF-8.
func Clean(text string) string {
	if !strings.ContainsFunc(text, hidden) {
		return text
	}
	var b strings.Builder
	escape(&b, text)
	return b.String()
}

// Line is Clean on one line.
//
//go:noinline
func Line(text string) string {
	return strings.Join(strings.Fields(Clean(text)), " ")
}

// Cleaned is a writer that cleans what is written, a text at a time.
func Cleaned(to io.Writer) io.Writer { return cleaned{to} }

type cleaned struct{ to io.Writer }

func (c cleaned) Write(p []byte) (int, error) {
	if _, err := io.WriteString(c.to, Clean(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// JSON is a value as JSON, indented, or on one line if indent is "". It ends with a line
// break. What Clean would show as a code is written as an escape.
func JSON(value any, indent string) ([]byte, error) {
	var raw bytes.Buffer
	e := json.NewEncoder(&raw)
	e.SetIndent("", indent)
	e.SetEscapeHTML(false)
	if err := e.Encode(value); err != nil {
		return nil, err
	}
	if !bytes.ContainsFunc(raw.Bytes(), hidden) {
		return raw.Bytes(), nil
	}
	// The encoder has escaped the controls below U+0020, and outside of strings JSON
	// is plain ASCII.
	var b bytes.Buffer
	escape(&b, raw.String())
	return b.Bytes(), nil
}

// escape writes a text with each hidden character as the escape that JSON has for it.
func escape(to interface{ WriteString(string) (int, error) }, text string) {
	before := rune(0)
	for _, r := range text {
		switch {
		case !hidden(r), emoji(before, r):
			_, _ = to.WriteString(string(r))
		case r > 0xffff:
			high, low := utf16.EncodeRune(r)
			_, _ = to.WriteString(fmt.Sprintf("\\u%04x\\u%04x", high, low))
		default:
			_, _ = to.WriteString(fmt.Sprintf("\\u%04x", r))
		}
		before = r
	}
}

// emoji reports whether r asks for the symbol before it as a picture or as a letter
// (Unicode Technical Standard #51): it changes how that is drawn and hides nothing.
func emoji(before, r rune) bool {
	return (r == '\ufe0e' || r == '\ufe0f') && unicode.In(before, unicode.So, unicode.Sm) && !hidden(before)
}

// hidden reports whether a character acts on a terminal, changes the reading
// direction, breaks a line where none is seen, or is not seen at all.
func hidden(r rune) bool {
	switch r {
	case '\n', '\t':
		return false
	case unicode.ReplacementChar, '\u2800': // the Braille pattern without dots, which is blank
		return true
	}
	if r < 0x7f {
		return r < ' '
	}
	return unicode.In(r,
		unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, // controls, such as escape; formatting; what has no meaning of its own
		unicode.Zl, unicode.Zp, // the separators of lines and paragraphs
		unicode.Variation_Selector, unicode.Other_Default_Ignorable_Code_Point, // drawn as nothing, such as fillers and joiners
	)
}
