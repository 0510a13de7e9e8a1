package term

import (
	"fmt"
	"html"
	"io"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/charmbracelet/glamour"
	"github.com/charmbracelet/glamour/ansi"
	"github.com/charmbracelet/glamour/styles"
	xansi "github.com/charmbracelet/x/ansi"
	"github.com/muesli/termenv"
)

// Show renders Markdown to the output.
func (s Streams) Show(markdown string) error {
	return s.ShowTo(s.Out, markdown)
}

// ShowTo renders Markdown to one of the streams.
func (s Streams) ShowTo(w io.Writer, markdown string) error {
	profile := termenv.Ascii
	if s.Colour {
		profile = termenv.ANSI
	}
	renderer, err := glamour.NewTermRenderer(
		glamour.WithStyles(style(s.Colour)),
		glamour.WithColorProfile(profile),
		glamour.WithWordWrap(max(s.width(), leastColumns)-hanging),
	)
	if err != nil {
		return fmt.Errorf("rendering: %w", err)
	}
	tied, code := tie(Clean(markdown))
	text, err := renderer.Render(tied)
	if err != nil {
		return fmt.Errorf("rendering: %w", err)
	}
	text = untie(setApart(text), code)
	// The renderer pads every line to the full width, and leaves runs of empty ones.
	lines := strings.Split(strings.Trim(text, "\n"), "\n")
	for i, line := range lines {
		lines[i] = trimmed(line)
	}
	hang(lines)
	lines = slices.CompactFunc(lines, func(a, b string) bool { return a == "" && b == "" })
	_, err = fmt.Fprintln(w, strings.Trim(strings.Join(lines, "\n"), "\n"))
	return err
}

// setApart puts an empty line before each block of code, which the renderer
// leaves out inside the items of a list. The code must still be tied.
func setApart(text string) string {
	isCode := func(line string) bool {
		return strings.ContainsFunc(line, func(r rune) bool { return r >= codeLines && r < codeLines+mostLines })
	}
	var lines []string
	for line := range strings.SplitSeq(text, "\n") {
		if n := len(lines); n > 0 && isCode(line) && !isCode(lines[n-1]) && trimmed(lines[n-1]) != "" {
			lines = append(lines, "")
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "\n")
}

// trimmed removes the space at the end of a line, even if the renderer coloured
// it.
func trimmed(line string) string {
	plain := strings.TrimRight(xansi.Strip(line), " ")
	if plain == "" {
		return ""
	}
	return xansi.Truncate(line, xansi.StringWidth(plain), "")
}

// leastColumns is the narrowest terminal that a text is set for.
const leastColumns = 20

// hanging is how far the continuation lines of a list item are indented.
const hanging = 2

// hang indents the continuation lines of list items, which the renderer sets
// flush left.
func hang(lines []string) {
	in := false
	for i, line := range lines {
		plain := xansi.Strip(line)
		switch {
		case strings.HasPrefix(plain, "• "), numbered(plain):
			in = true
		case plain == "", strings.HasPrefix(plain, "  "), strings.HasPrefix(plain, "┃"):
			in = false
		case in:
			lines[i] = strings.Repeat(" ", hanging) + line
		}
	}
}

// style is one fixed style: the terminal is asked nothing. The words carry the
// meaning; colour and weight only help the eye.
func style(colour bool) ansi.StyleConfig {
	c := styles.ASCIIStyleConfig
	margin := uint(0)
	c.Document.Margin = &margin
	c.Document.BlockPrefix, c.Document.BlockSuffix = "", ""
	c.CodeBlock.Margin = &margin
	indent := uint(2)
	c.CodeBlock.Indent = &indent
	c.H1.Prefix, c.H2.Prefix, c.H3.Prefix = "", "", ""
	c.Code.BlockPrefix, c.Code.BlockSuffix = "", ""
	c.Strong.BlockPrefix, c.Strong.BlockSuffix = "", ""
	c.Emph.BlockPrefix, c.Emph.BlockSuffix = "", ""
	bar := "┃ "
	c.BlockQuote.IndentToken = &bar
	if !colour {
		return c
	}
	yes := true
	red := "1" // it can be read on light and on dark; yellow and cyan can't
	c.H1.Bold, c.H2.Bold, c.H3.Bold, c.Strong.Bold = &yes, &yes, &yes, &yes
	c.H1.Underline = &yes
	c.Emph.Italic = &yes
	c.Code.Bold, c.CodeBlock.Bold = &yes, &yes
	c.BlockQuote.Color, c.BlockQuote.Bold = &red, &yes
	return c
}

// The renderer breaks lines after these characters, even inside a number or a
// word: 5.9 mm after the point, left-boom after the hyphen.
const breaks = ".,;-+"

// The renderer takes every ampersand for the start of a reference, and does not
// treat a backslash before these as an escape.
const literals = "&~"

// While a text is rendered, private characters take the place of breaks, of
// literals and of whole lines of code, so that the renderer leaves them alone.
// [Clean] removes such characters from the text first, and [resolved] adds none.
const (
	tied      = '\uE000'
	literal   = '\uE010'
	codeLines = '\U000F0000'
	mostLines = 0xfffd
)

// tie replaces what must not be broken or interpreted by private characters, and
// returns the lines of code that it took out.
func tie(text string) (_ string, code []string) {
	lines := strings.Split(text, "\n")
	block := false
	for i, line := range lines {
		switch fence := strings.HasPrefix(strings.TrimLeft(line, " "), "```"); {
		case fence:
			block = !block
			lines[i] = literally(line)
		case block && len(code) < mostLines:
			// Keep the indent: it may put the code inside a list item.
			if words := strings.TrimLeft(line, " "); words != "" {
				lines[i] = strings.TrimSuffix(line, words) + string(codeLines+rune(len(code)))
				code = append(code, words)
			}
		case block:
			lines[i] = literally(line)
		default:
			lines[i] = tieLine([]rune(resolved(line)))
		}
	}
	return strings.Join(lines, "\n"), code
}

// literally makes the ampersands of a line literal.
func literally(line string) string { return strings.ReplaceAll(line, "&", string(literal)) }

// resolved replaces references such as &deg; by their characters, because the
// renderer would do so only after the text was made safe. A reference to an
// unsafe character, or to one that means something in Markdown, stays as written.
func resolved(line string) string {
	if !strings.ContainsAny(line, literals) {
		return line
	}
	var b strings.Builder
	code := false
	for line != "" {
		r, size := utf8.DecodeRuneInString(line)
		switch next := strings.IndexByte(literals, line[min(1, len(line)-1)]); {
		case r == '`':
			code = !code
		case r == '\\' && !code && next >= 0:
			r, size = literal+rune(next), 2
		case r == '\\' && !code && len(line) > 1 && line[1] < utf8.RuneSelf:
			b.WriteByte('\\')
			r, size = rune(line[1]), 2
		case r == '&':
			r = literal
			if written := reference.FindString(line); !code && written != "" {
				meant := html.UnescapeString(written)
				if first, n := utf8.DecodeRuneInString(meant); first >= utf8.RuneSelf && n == len(meant) && !hidden(first) {
					r, size = first, len(written)
				}
			}
		}
		b.WriteRune(r)
		line = line[size:]
	}
	return b.String()
}

// A longer numeric reference could only have leading zeros.
var reference = regexp.MustCompile(`^&(#[0-9]{1,7}|#[xX][0-9a-fA-F]{1,6}|[A-Za-z][A-Za-z0-9]*);`)

func tieLine(line []rune) string {
	code, text := false, false // text: there was more than the number of a list item
	for i, r := range line {
		n := strings.IndexRune(breaks, r)
		switch {
		case r == '`' && (i == 0 || line[i-1] != '\\'):
			code = !code
		case n < 0 || i == 0:
		case code,
			i+1 < len(line) && inWord(line[i-1]) && inWord(line[i+1]),
			text && n < strings.Index(breaks, "-") && closes(line[i-1]) && (i+1 == len(line) || unicode.IsSpace(line[i+1])):
			line[i] = tied + rune(n)
		}
		text = text || !unicode.IsSpace(r) && !unicode.IsDigit(r)
	}
	return string(line)
}

func inWord(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsDigit(r) || r >= tied && r < tied+rune(len(breaks))
}

// closes reports whether a word can end with the character. The marks of emphasis
// are not among them: Markdown looks at what follows them to see where it ends.
func closes(r rune) bool { return inWord(r) || strings.ContainsRune("°%)]`'\"", r) }

func untie(text string, code []string) string {
	if strings.Contains(text, "%EE%80%") { // the renderer has percent-encoded the targets of links
		for n, c := range breaks {
			text = strings.ReplaceAll(text, encoded(tied+rune(n)), string(c))
		}
		for n, c := range literals {
			text = strings.ReplaceAll(text, encoded(literal+rune(n)), string(c))
		}
	}
	var b strings.Builder
	for _, r := range text {
		switch n, line := int(r-tied), int(r-codeLines); {
		case n >= 0 && n < len(breaks):
			b.WriteByte(breaks[n])
		case r >= literal && r < literal+rune(len(literals)):
			b.WriteByte(literals[r-literal])
		case line >= 0 && line < len(code):
			b.WriteString(code[line])
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// encoded is a character percent-encoded, as in a URL.
func encoded(r rune) string {
	return strings.ReplaceAll(fmt.Sprintf("% X", "\x00"+string(r))[2:], " ", "%")
}

// numbered reports whether a line starts an item of a numbered list.
func numbered(line string) bool {
	digits := strings.TrimLeft(line, "0123456789")
	return digits != line && strings.HasPrefix(digits, ". ")
}
