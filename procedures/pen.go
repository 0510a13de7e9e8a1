package procedures

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// A pen writes a document as package yaml would write it, byte for byte, with the part of YAML that documents have: two spaces a
// level, no line broken, no comments. A test holds it against package yaml, whose writer would be another 137 KB of the program.
type pen struct{ out []byte }

// node writes a node whose own lines begin at the column; here: its first line goes on in the line that is begun.
func (p *pen) node(n *node, column int, here, within bool) {
	switch {
	case n.Kind == textNode:
		p.text(n, column, within, false)
	case within || n.Style&flowStyle != 0 || len(n.Content) == 0:
		p.flow(n)
	default:
		p.block(n, column, here)
	}
}

// block writes a list or a mapping, a line or more for each that it has.
func (p *pen) block(n *node, column int, here bool) {
	for i := 0; i < len(n.Content); i++ {
		if i == 0 && here {
			p.space()
		} else {
			p.line(column)
		}
		one := n.Content[i]
		if n.Kind == listNode {
			p.put("-")
			p.node(one, column+2, true, false)
			continue
		}
		i++
		long := !isShort(one)
		if long {
			p.put("?")
			p.node(one, column+2, true, false)
			p.line(column)
		} else {
			p.text(one, column+2, false, true)
		}
		p.put(":")
		p.node(n.Content[i], column+2, long, false)
	}
}

// flow writes a list or a mapping in one line, between brackets.
func (p *pen) flow(n *node) {
	brackets := "[]"
	if n.Kind == mappingNode {
		brackets = "{}"
	}
	p.space()
	p.put(brackets[:1])
	for i := 0; i < len(n.Content); i++ {
		if i > 0 {
			p.put(",")
		}
		one := n.Content[i]
		if n.Kind == listNode {
			p.node(one, 0, true, true)
			continue
		}
		i++
		if isShort(one) {
			p.text(one, 0, true, true)
		} else {
			p.space()
			p.put("?")
			p.text(one, 0, true, false)
			p.space()
		}
		p.put(":")
		p.node(n.Content[i], 0, true, true)
	}
	p.put(brackets[1:])
}

// isShort reports whether YAML takes a text for a key without a mark before it.
func isShort(n *node) bool {
	return len(n.Value) <= 128 && !strings.ContainsAny(n.Value, "\n\r\u0085\u2028\u2029")
}

// text writes a text: as it is where YAML takes it for that, else in quotes, and below a | where it has several lines.
func (p *pen) text(n *node, column int, within, key bool) {
	is := mannerOf(n.Value, within)
	lines := strings.Contains(n.Value, "\n")
	switch {
	case lines && is.lines && !within && !key:
		p.literal(n.Value, column)
	case lines || n.Tag == stringTag && tagOf(&yaml.Node{Kind: yaml.ScalarNode, Value: n.Value}) != stringTag:
		p.escaped(n.Value)
	case is.plain && (n.Value != "" || !within && !key):
		if n.Value != "" {
			p.space()
			p.put(n.Value)
		}
	case is.quoted:
		p.space()
		p.put("'" + strings.ReplaceAll(n.Value, "'", "''") + "'")
	default:
		p.escaped(n.Value)
	}
}

// literal writes the lines of a text below a |.
func (p *pen) literal(text string, column int) {
	p.space()
	p.put("|")
	if text[0] == ' ' || text[0] == '\n' {
		p.put("2")
	}
	all := strings.TrimSuffix(text, "\n")
	switch {
	case all == text:
		p.put("-")
	case all == "" || strings.HasSuffix(all, "\n"):
		p.put("+")
	}
	for line := range strings.SplitSeq(all, "\n") {
		p.put("\n")
		if line != "" {
			p.put(strings.Repeat(" ", column) + line)
		}
	}
	if all != text {
		p.put("\n")
	}
}

// escaped writes a text between double quotes.
func (p *pen) escaped(text string) {
	p.space()
	p.put(`"`)
	for i, c := range text {
		short := ""
		switch c {
		case 0:
			short = "0"
		case '\x1b':
			short = "e"
		case '"':
			short = `"`
		case '\\':
			short = `\`
		case '\u0085':
			short = "N"
		case '\u2028':
			short = "L"
		case '\u2029':
			short = "P"
		default:
			if '\a' <= c && c <= '\r' {
				short = "abtnvfr"[c-'\a':][:1]
			}
		}
		switch {
		case short != "":
			p.put(`\` + short)
		case isPrinted(c):
			_, size := utf8.DecodeRuneInString(text[i:])
			p.put(text[i : i+size]) // also where it is none: whoever reads it is told
		case c <= 0xff:
			p.put(fmt.Sprintf(`\x%02X`, c))
		case c <= 0xffff:
			p.put(fmt.Sprintf(`\u%04X`, c))
		default:
			p.put(fmt.Sprintf(`\U%08X`, c))
		}
	}
	p.put(`"`)
}

// isPrinted reports whether package yaml writes a character as it is.
func isPrinted(c rune) bool {
	return ' ' <= c && c <= '~' || '\u00a0' <= c && c <= '\uffff' && c != '\u2028' && c != '\u2029' && c != '\ufeff' && c < '\ufffe'
}

// A manner is how a text may be written: as it is, between single quotes, below a |.
type manner struct{ plain, quoted, lines bool }

// mannerOf is how a text may be written, within brackets or not.
func mannerOf(text string, within bool) manner {
	is := manner{true, true, true}
	if strings.HasPrefix(text, "---") || strings.HasPrefix(text, "...") {
		is.plain = false
	}
	before := ' '
	for i, c := range text {
		_, size := utf8.DecodeRuneInString(text[i:])
		after := ' '
		if i+size < len(text) {
			after = rune(text[i+size])
		}
		ends := after == ' ' || after == '\t'
		switch c {
		case ',', '[', ']', '{', '}':
			is.plain = is.plain && i > 0 && !within
		case '&', '*', '!', '|', '>', '\'', '"', '%', '@', '`':
			is.plain = is.plain && i > 0
		case '?':
			is.plain = is.plain && !within && (i > 0 || !ends)
		case ':':
			is.plain = is.plain && !within && !ends
		case '-':
			is.plain = is.plain && (i > 0 || !ends)
		case '#':
			is.plain = is.plain && before != ' ' && before != '\t' && before != '\n'
		case ' ':
			last := i+1 == len(text)
			is.plain = is.plain && i > 0 && !last
			is.quoted = is.quoted && before != '\n' && after != '\n'
			is.lines = is.lines && !last && after != '\n'
		case '\t':
			is.plain, is.quoted = false, false
		case '\n':
			is.plain = false
		default:
			if !isPrinted(c) {
				is = manner{}
			}
		}
		before = c
	}
	return is
}

// space parts what comes from what the line has before it.
func (p *pen) space() {
	if last := len(p.out) - 1; last >= 0 && strings.IndexByte(" \n[{", p.out[last]) < 0 {
		p.put(" ")
	}
}

// line begins a line.
func (p *pen) line(column int) {
	if last := len(p.out) - 1; last >= 0 && p.out[last] != '\n' {
		p.put("\n")
	}
	p.put(strings.Repeat(" ", column))
}

//go:noinline
func (p *pen) put(text string) { p.out = append(p.out, text...) }
