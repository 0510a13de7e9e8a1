package term

import (
	"fmt"
	"io"
	"regexp"
	"strings"
	"sync"
	"unicode/utf8"

	"fettle/steps/lists"

	xansi "github.com/charmbracelet/x/ansi"
	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	tables "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
	tags "golang.org/x/net/html"
)

// Show renders Markdown to the output.
//
//go:noinline
func (s Streams) Show(markdown string) error {
	return s.ShowTo(s.Out, markdown)
}

// Fits reports whether Markdown has room on the terminal beside the line of a prompt; on
// one of 80 by 24 if there is none.
func (s Streams) Fits(markdown string) bool {
	columns, rows := min(s.Columns, 80), 24
	if s.Size != nil {
		if c, r := s.Size(); c > 0 && r > 0 {
			columns, rows = min(c, Width), r
		}
	}
	var b strings.Builder
	err := Streams{Columns: columns}.ShowTo(&b, markdown)
	return err == nil && strings.Count(b.String(), "\n") < rows
}

// ShowTo renders Markdown to one of the streams.
func (s Streams) ShowTo(w io.Writer, markdown string) error {
	p := page{[]byte(Clean(markdown)), &s}
	lines := p.blocks(markdownParser().Parse(text.NewReader(p.source)), max(s.Wide(), leastColumns)-hanging, style{})
	for i, line := range lines {
		lines[i] = strings.TrimRight(line, " ")
	}
	if _, err := fmt.Fprintln(w, strings.Join(lines, "\n")); err != nil {
		return fmt.Errorf("rendering: %w", err)
	}
	return nil
}

var markdownParser = sync.OnceValue(func() parser.Parser {
	return goldmark.New(goldmark.WithExtensions(extension.Table)).Parser()
})

// Command is a command line as it is shown. One that names them already, and help, which asks
// for nobody, stay as they are.
func (s *Streams) Command(line string) string {
	if !strings.HasPrefix(line, "fettle ") || strings.HasPrefix(line, "fettle help") {
		return line
	}
	end := len(line)
	if i := strings.Index(line, " -- "); i > 0 { // what follows are no options
		end = i
	}
	for _, option := range s.Options {
		if !strings.Contains(line, option) {
			line, end = line[:end]+" "+option+line[end:], end+1+len(option)
		}
	}
	return line
}

// Commands are plain words as they are shown: a command in them comes after a colon, or after another
// one and "or", and ends with the words or before a semicolon, a full stop or a bracket.
//
//go:noinline
func (s *Streams) Commands(text string) string {
	begin, end := -1, len(text)
	for _, mark := range []string{": fettle ", orCommand} {
		if i := strings.Index(text, mark); i >= 0 && (begin < 0 || i < begin) {
			begin = i + strings.Index(mark, "fettle")
		}
	}
	if begin < 0 {
		return text
	}
	for _, mark := range []string{"; ", ". ", " (", orCommand} {
		if i := strings.Index(text[begin:], mark); i >= 0 {
			end = min(end, begin+i)
		}
	}
	return text[:begin] + s.Command(text[begin:end]) + s.Commands(text[end:])
}

const orCommand = ", or fettle "

// leastColumns is the narrowest terminal that a text is set for.
const leastColumns = 20

// hanging is how far the continuation lines of a list item are indented, and code is;
// nested is how far a list inside an item is.
const (
	hanging = 2
	nested  = 4
)

// bar stands before each line of a quotation.
const bar = "┃ "

// reset ends a style.
const reset = "\x1b[0m"

// A page is a text that is set in lines for a terminal.
type page struct {
	source []byte
	*Streams
}

// A style is how words are set. The terminal is asked nothing. The words carry the
// meaning; colour and weight only help the eye.
type style struct{ bold, italic, underline, red bool }

// set puts words in a style. Styles don't nest: each ends with its words.
func (p page) set(words string, s style) string {
	if !p.Colour || s == (style{}) || words == "" {
		return words
	}
	var codes []string
	for _, c := range []struct {
		on   bool
		code string
	}{{s.bold, "1"}, {s.italic, "3"}, {s.underline, "4"}, {s.red, "31"}} { // red can be read on light and on dark; yellow and cyan can't
		if c.on {
			codes = append(codes, c.code)
		}
	}
	return "\x1b[" + strings.Join(codes, ";") + "m" + words + reset
}

// blocks are the lines of what stands in a block, with an empty line between the parts.
func (p page) blocks(parent ast.Node, width int, s style) []string {
	var lines []string
	for n := parent.FirstChild(); n != nil; n = n.NextSibling() {
		if next := p.block(n, width, s); !lists.Equal(next, []string{""}) {
			lines = apart(lines, next)
		}
	}
	return lines
}

// apart appends lines with an empty line before them.
func apart(lines, more []string) []string {
	if len(lines) > 0 && len(more) > 0 {
		lines = append(lines, "")
	}
	return append(lines, more...)
}

func (p page) block(n ast.Node, width int, s style) []string {
	switch n := n.(type) {
	case *ast.Heading:
		s.bold, s.underline = true, n.Level == 1
	case *ast.Blockquote:
		lines := p.blocks(n, width-1, style{bold: true, red: true})
		return before(lines, p.set(bar, style{bold: true, red: true}))
	case *ast.List:
		return p.list(n, width, s)
	case *ast.FencedCodeBlock, *ast.CodeBlock:
		s.bold = true
		code := strings.Split(strings.TrimRight(string(n.Lines().Value(p.source)), "\n"), "\n")
		for i, line := range code { // it is to be copied: it is not wrapped
			code[i] = p.set(p.Command(strings.TrimRight(line, " ")), s)
		}
		return before(code, strings.Repeat(" ", hanging))
	case *ast.HTMLBlock:
		written := n.Lines().Value(p.source)
		if n.HasClosure() {
			written = append(written, n.ClosureLine.Value(p.source)...)
		}
		return wrap(p.set(strings.Join(strings.Fields(words(untagged(written))), " "), s), width)
	case *ast.ThematicBreak:
		return []string{"--------"}
	case *tables.Table:
		return p.table(n, width, s)
	}
	return wrap(strings.ReplaceAll(p.inline(n, s), "\n", " "), width)
}

// before puts the same before each line.
func before(lines []string, prefix string) []string {
	for i, line := range lines {
		lines[i] = prefix + line
	}
	return lines
}

// list sets a list. What follows the first words of an item stands apart, but for a list.
func (p page) list(list *ast.List, width int, s style) []string {
	var lines []string
	number, spaced := list.Start, false
	for item := list.FirstChild(); item != nil; item = item.NextSibling() {
		mark := "• "
		if list.IsOrdered() {
			mark = fmt.Sprintf("%d. ", number)
			number++
		}
		if spaced {
			lines, spaced = append(lines, ""), false
		}
		first := item.FirstChild()
		if first != nil && isWords(first) {
			opening := wrap(mark+p.inline(first, s), width)
			lines = append(append(lines, opening[0]), before(opening[1:], strings.Repeat(" ", hanging))...)
			first = first.NextSibling()
		} else {
			lines = append(lines, mark)
		}
		for ; first != nil; first = first.NextSibling() {
			switch n := first.(type) {
			case *ast.List:
				lines = append(lines, before(p.list(n, width-nested, s), strings.Repeat(" ", nested))...)
			case *ast.FencedCodeBlock, *ast.CodeBlock: // it is indented of itself
				lines, spaced = apart(lines, p.block(n, width, s)), true
			default:
				lines, spaced = apart(lines, before(p.block(n, width-hanging, s), strings.Repeat(" ", hanging))), true
			}
		}
	}
	return lines
}

// isWords reports whether a block has nothing but words.
func isWords(n ast.Node) bool {
	return n.Kind() == ast.KindParagraph || n.Kind() == ast.KindTextBlock
}

// inline are the words of a block, with what they are set in.
func (p page) inline(parent ast.Node, s style) string {
	var b strings.Builder
	for n := parent.FirstChild(); n != nil; n = n.NextSibling() {
		within := s
		switch n := n.(type) {
		case *ast.Text:
			b.WriteString(p.set(words(n.Segment.Value(p.source)), s))
			if n.SoftLineBreak() || n.HardLineBreak() {
				b.WriteByte('\n')
			}
			continue
		case *ast.CodeSpan:
			within.bold = true
			var code []byte
			for part := n.FirstChild(); part != nil; part = part.NextSibling() {
				if t, ok := part.(*ast.Text); ok {
					code = append(code, t.Segment.Value(p.source)...)
				}
			}
			b.WriteString(p.set(p.Command(strings.ReplaceAll(string(code), "\n", " ")), within))
			continue
		case *ast.AutoLink:
			b.WriteString(p.set(string(n.Label(p.source)), s))
			continue
		case *ast.RawHTML:
			b.WriteString(p.set(words(untagged(n.Segments.Value(p.source))), s))
			continue
		case *ast.Emphasis:
			within.italic, within.bold = s.italic || n.Level == 1, s.bold || n.Level > 1
		}
		b.WriteString(p.inline(n, within))
		b.WriteString(p.set(target(n), s))
	}
	return b.String()
}

// target is where a link leads, which stands behind its words.
func target(n ast.Node) string {
	var to []byte
	switch n := n.(type) {
	case *ast.Link:
		to = n.Destination
	case *ast.Image:
		to = n.Destination
	}
	if len(to) == 0 {
		return ""
	}
	return " (" + Clean(string(to)) + ")"
}

// words are the characters that a source means. A reference such as &deg; to an unsafe
// character, or to one that means something in Markdown, stays as written.
func words(source []byte) string {
	var b strings.Builder
	for text := string(source); text != ""; {
		r, size := utf8.DecodeRuneInString(text)
		switch {
		case r == '\\' && len(text) > 1 && util.IsPunct(text[1]):
			r, size = rune(text[1]), 2
		case r == '&':
			if written := reference.FindString(text); written != "" {
				meant := util.ResolveEntityNames(util.ResolveNumericReferences([]byte(written)))
				if first, n := utf8.DecodeRune(meant); first >= utf8.RuneSelf && n == len(meant) && !hidden(first) {
					r, size = first, len(written)
				}
			}
		}
		b.WriteRune(r)
		text = text[size:]
	}
	return b.String()
}

// A longer numeric reference could only have leading zeros.
var reference = regexp.MustCompile(`^&(#[0-9]{1,7}|#[xX][0-9a-fA-F]{1,6}|[A-Za-z][A-Za-z0-9]*);`)

// untagged is the text between the tags of HTML, without what stands in elements that
// show none. It is not fit for web pages.
func untagged(source []byte) []byte {
	var text []byte
	unseen := 0 // how many such elements are open
	for tokens := tags.NewTokenizer(strings.NewReader(string(source))); ; {
		switch kind := tokens.Next(); kind {
		case tags.ErrorToken: // the end
			return text
		case tags.TextToken:
			if unseen == 0 {
				text = append(text, tokens.Raw()...)
			}
		case tags.StartTagToken, tags.EndTagToken:
			switch name, _ := tokens.TagName(); string(name) {
			case "frame", "frameset", "iframe", "noembed", "noframes", "noscript", "nostyle", "object", "script", "style":
				if kind == tags.StartTagToken {
					unseen++
				} else {
					unseen = max(unseen-1, 0)
				}
			}
		}
	}
}

// wrap breaks words into lines, at spaces alone: neither a number is parted at its point
// nor a name at its hyphen. What a line is set in ends with it, and goes on in the next.
// There is always a first line.
func wrap(words string, width int) []string {
	lines := []string{}
	for written := range strings.SplitSeq(words, "\n") {
		line, room := "", 0
		for written != "" {
			word := strings.TrimLeft(written, " ")
			gap := len(written) - len(word)
			if end := strings.IndexByte(word, ' '); end >= 0 {
				word = word[:end]
			}
			written = written[gap+len(word):]
			n := xansi.StringWidth(word)
			if n == 0 { // what it is set in, or the end
				line += word
				continue
			}
			if line != "" && room+gap+n > width {
				lines, line, room, gap = append(lines, line), "", 0, 0
			}
			line += strings.Repeat(" ", gap) + word
			room += gap + n
		}
		lines = append(lines, line)
	}
	set := ""
	for i, line := range lines {
		line = set + line
		if at := strings.LastIndex(line, "\x1b["); at >= 0 {
			if set = line[at : at+strings.IndexByte(line[at:], 'm')+1]; set == reset {
				set = ""
			} else {
				line += reset
			}
		}
		lines[i] = line
	}
	return lines
}
