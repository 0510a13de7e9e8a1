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
		glamour.WithWordWrap(max(s.Columns, leastColumns)-hanging),
	)
	if err != nil {
		return fmt.Errorf("rendering: %w", err)
	}
	tied, code := tie(Clean(markdown))
	text, err := renderer.Render(tied)
	if err != nil {
		return fmt.Errorf("rendering: %w", err)
	}
	text = untie(text, code)
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

// trimmed is a line without space at its end, which the renderer may have given
// a colour.
func trimmed(line string) string {
	plain := strings.TrimRight(xansi.Strip(line), " ")
	if plain == "" {
		return ""
	}
	return xansi.Truncate(line, xansi.StringWidth(plain), "")
}

// leastColumns is the narrowest terminal that a text is set for.
const leastColumns = 40

// hanging is how far the second line of an item stands in.
const hanging = 2

// hang indents what an item of a list runs on with, which the renderer sets
// flush.
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

// style is one fixed style: nothing is asked of the terminal, and meaning is
// in the words; colour and weight only help the eye.
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
	yellow, cyan := "3", "6"
	c.H1.Bold, c.H2.Bold, c.H3.Bold, c.Strong.Bold = &yes, &yes, &yes, &yes
	c.H1.Underline = &yes
	c.Emph.Italic = &yes
	c.BlockQuote.Color = &yellow
	c.Code.Color, c.CodeBlock.Color = &cyan, &cyan
	return c
}

// The renderer breaks lines behind these wherever they stand, and so would part
// 5. from 9 mm, left- from boom and a word from the comma behind it.
const breaks = ".,;-+"

// The renderer reads an ampersand as the begin of a reference wherever it
// stands, and knows no backslash before these.
const literals = "&~"

// While a text is rendered private characters stand for breaks, for what is to
// be shown as it is, and for lines of code, which are to be copied as they are.
// [Clean] leaves none of these in it, and [resolved] lets none of them in.
const (
	tied      = '\uE000'
	literal   = '\uE010'
	codeLines = '\U000F0000'
	mostLines = 0xfffd
)

// tie keeps words and numbers from being broken inside, and takes the lines of
// code out.
func tie(text string) (_ string, code []string) {
	lines := strings.Split(text, "\n")
	block := false
	for i, line := range lines {
		switch fence := strings.HasPrefix(strings.TrimLeft(line, " "), "```"); {
		case fence:
			block = !block
			lines[i] = literally(line)
		case block && len(code) < mostLines:
			// The space before it may say that it belongs to the item of a list.
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

// literally has the ampersands of a line shown as they are.
func literally(line string) string { return strings.ReplaceAll(line, "&", string(literal)) }

// resolved puts the characters that a line refers to, such as &deg;, in the place
// of the references: the renderer would do so after the text was made safe. What
// is safe nowhere or may mean something in Markdown is shown as it was written.
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

// A reference is longer only with zeros in front.
var reference = regexp.MustCompile(`^&(#[0-9]{1,7}|#[xX][0-9a-fA-F]{1,6}|[A-Za-z][A-Za-z0-9]*);`)

func tieLine(line []rune) string {
	code, text := false, false // text: more than the number of an item was there
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

// closes reports whether a word can end so. Emphasis is left alone: what stands
// behind it says where it ends.
func closes(r rune) bool { return inWord(r) || strings.ContainsRune("°%)]`'\"", r) }

func untie(text string, code []string) string {
	if strings.Contains(text, "%EE%80%") { // where a link leads to is encoded meanwhile
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

// encoded is a character as an address of the web has it.
func encoded(r rune) string {
	return strings.ReplaceAll(fmt.Sprintf("% X", "\x00"+string(r))[2:], " ", "%")
}

// numbered reports whether a line begins an item of a numbered list.
func numbered(line string) bool {
	digits := strings.TrimLeft(line, "0123456789")
	return digits != line && strings.HasPrefix(digits, ". ")
}
