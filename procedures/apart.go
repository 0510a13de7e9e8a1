package procedures

import (
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// A scan takes apart the part of YAML that nearly all documents are written in: mappings and lists in block style or in
// brackets, texts with quotes and without, and below a |. What it gives is what package yaml gives, but for the comments, at a
// tenth of the cost. It knows no faults: a text that has anything else in it, right or wrong, is left to package yaml.
type scan struct {
	text   string
	at     int // the byte at hand
	begins int // where its line begins
	ends   int // and where it ends, with a line end
	line   int // its number, from 1
	indent int // of the line, where its first character is at hand; -1: the text is over

	counted, column int // up to where the characters of the line are counted, and the column there; 0: none are

	commented bool // a comment stands behind something else
	depth     int

	open  []*node // children of the nodes that have not ended yet
	nodes []node  // room for the next ones
	links []*node
	lines []byte // room for those of a text below a |
}

// longestKey is the most bytes that a key may have here; in YAML it may have 1,024 characters.
const longestKey = 500

// takenApart is the node of a text, nil where package yaml must be asked. commented: a comment stands behind something else,
// which package yaml would have said of a node.
func takenApart(data []byte) (root *node, commented bool) {
	p := &scan{text: string(data)}
	if !p.suits() {
		return nil, false
	}
	if p.next(); p.indent != 0 || !p.key() {
		return nil, false
	}
	if root = p.mapping(); root == nil || p.indent >= 0 {
		return nil, false
	}
	return root, p.commented
}

// suits reports whether the text has no other blanks than spaces and line ends, and no marks of documents.
func (p *scan) suits() bool {
	for i := 0; i < len(p.text); i++ {
		switch c := p.text[i]; {
		case c == '\t', c == '\r', c == 0, c == 0xEF && strings.HasPrefix(p.text[i:], "\uFEFF"),
			c == 0xC2 && strings.HasPrefix(p.text[i:], "\u0085"),
			c == 0xE2 && (strings.HasPrefix(p.text[i:], "\u2028") || strings.HasPrefix(p.text[i:], "\u2029")):
			return false
		case c == '-' || c == '.' || c == '%':
			if i == 0 || p.text[i-1] == '\n' {
				if c == '%' || strings.HasPrefix(p.text[i:], "---") || strings.HasPrefix(p.text[i:], "...") {
					return false
				}
			}
		}
	}
	return strings.HasSuffix(p.text, "\n")
}

// next goes from the beginning of a line to the first character that is no comment.
func (p *scan) next() {
	for p.at < len(p.text) {
		p.begin()
		p.spaces()
		if c := p.text[p.at]; c != '\n' && c != '#' {
			p.indent = p.at - p.begins
			return
		}
		p.at = p.ends + 1
	}
	p.indent = -1
}

// nextLine is the line that begins here, of which nothing is known yet.
func (p *scan) nextLine() string { return p.text[p.at : p.at+strings.IndexByte(p.text[p.at:], '\n')] }

// begin begins the next line.
func (p *scan) begin() {
	p.begins, p.ends = p.at, p.at+strings.IndexByte(p.text[p.at:], '\n')
	p.line++
}

func (p *scan) spaces() {
	for p.text[p.at] == ' ' {
		p.at++
	}
}

// rest is what is left of the line at hand.
func (p *scan) rest() string { return p.text[p.at:p.ends] }

// over reports whether nothing more stands in the line but a comment, and goes on behind it.
func (p *scan) over() bool {
	p.spaces()
	switch {
	case p.text[p.at] == '#' && p.text[p.at-1] == ' ':
		p.commented = true
	case p.text[p.at] != '\n':
		return false
	}
	p.at = p.ends + 1
	return true
}

// node is a new one that begins at a byte of the line at hand.
//
//go:noinline
func (p *scan) node(kind nodeKind, tag nodeTag) *node {
	if len(p.nodes) == 0 {
		p.nodes = make([]node, 256)
	}
	n := &p.nodes[0]
	p.nodes = p.nodes[1:]
	if p.column == 0 || p.counted < p.begins || p.counted > p.at {
		p.counted, p.column = p.begins, 1
	}
	p.column += utf8.RuneCountInString(p.text[p.counted:p.at])
	p.counted = p.at
	n.Kind, n.Tag, n.Line, n.Column = kind, tag, int32(p.line), int32(p.column)
	return n
}

// ended gives a node its children, which are those from the first one.
func (p *scan) ended(n *node, first int) *node {
	if count := len(p.open) - first; count > 0 {
		if len(p.links) < count {
			p.links = make([]*node, max(256, count))
		}
		n.Content = p.links[:count:count]
		p.links = p.links[count:]
		copy(n.Content, p.open[first:])
		p.open = p.open[:first]
	}
	p.depth--
	return n
}

// add is one more child of the node that has not ended; false: it is not known what it is.
func (p *scan) add(n *node) bool {
	p.open = append(p.open, n)
	return n != nil
}

// dash reports whether an entry of a list begins here.
func (p *scan) dash() bool {
	return p.text[p.at] == '-' && (p.text[p.at+1] == ' ' || p.text[p.at+1] == '\n')
}

// key reports whether a key begins here, with its colon in the same line.
func (p *scan) key() bool {
	line := p.rest()
	if line[0] == '"' || line[0] == '\'' {
		end := closing(line[1:], line[0])
		return end >= 0 && colon(line[1+end:]) == 0
	}
	return starts(line) && colon(line) > 0
}

// colon is where in the line the first colon is that ends a key, -1: none is.
//
//go:noinline
func colon(line string) int {
	for i := 0; i < len(line); i++ {
		if line[i] == ':' && (i+1 == len(line) || line[i+1] == ' ') {
			return i
		}
	}
	return -1
}

// starts reports whether a text without quotes begins like this.
func starts(line string) bool {
	if line[0] == '-' {
		return len(line) > 1 && strings.IndexByte(" ,[]{}?:#", line[1]) < 0
	}
	return strings.IndexByte("-?:,[]{}#&*!|>'\"%@`", line[0]) < 0
}

// block is what begins with a line of its own, or behind a dash.
func (p *scan) block(parent int) *node {
	switch {
	case p.dash():
		return p.list()
	case p.key():
		return p.mapping()
	}
	return p.value(parent)
}

// mapping is one in block style, of which the first key begins here.
func (p *scan) mapping() *node {
	n, first, column := p.node(mappingNode, otherTag), len(p.open), p.at-p.begins
	for p.depth++; p.depth < deepest; {
		if !p.add(p.keyHere()) {
			return nil
		}
		p.at++ // behind the colon
		var value *node
		if !p.over() {
			value = p.value(column)
		} else if p.next(); p.indent > column {
			value = p.block(column)
		} else if p.indent == column && p.dash() {
			value = p.list()
		}
		switch {
		case !p.add(value):
			return nil
		case p.indent < column:
			return p.ended(n, first)
		case p.indent > column || !p.key():
			return nil
		}
	}
	return nil
}

// keyHere is the key that begins here. Its colon is at hand then.
func (p *scan) keyHere() *node {
	if c := p.text[p.at]; c == '"' || c == '\'' {
		return p.quoted()
	}
	line := p.rest()
	end := colon(line)
	if end < 0 || end > longestKey || line[end-1] == ' ' || strings.Contains(line[:end], " #") {
		return nil
	}
	return p.scalar(line[:end], end)
}

// scalar is a text without quotes that has so many bytes.
func (p *scan) scalar(value string, length int) *node {
	n := p.node(textNode, otherTag)
	p.at += length
	return textOf(n, value)
}

// textOf gives a node a text without quotes, which package yaml may take for a number or the like; nil: it merges.
func textOf(n *node, value string) *node {
	n.Value, n.Tag = value, stringTag
	first := value[0] | 0x20 // in lower case
	switch {
	case value == "<<":
		return nil
	case first >= 'a' && len(value) > len("false"), strings.IndexByte(value, ' ') >= 0 && (len(value) < len("2001-") || value[4] != '-'): // then it is text
	case strings.IndexByte("+-.0123456789yntfo~", first) >= 0:
		n.Tag = tagOf(&yaml.Node{Kind: yaml.ScalarNode, Value: value})
	}
	return n
}

// list is one in block style, of which the first dash is at hand.
func (p *scan) list() *node {
	n, first, column := p.node(listNode, otherTag), len(p.open), p.at-p.begins
	for p.depth++; p.depth < deepest; {
		p.at++ // behind the dash
		var entry *node
		if !p.over() {
			entry = p.block(column)
		} else if p.next(); p.indent > column {
			entry = p.block(column)
		}
		switch {
		case !p.add(entry):
			return nil
		case p.indent < column, p.indent == column && !p.dash(): // then a key of the mapping that it is in
			return p.ended(n, first)
		case p.indent > column:
			return nil
		}
	}
	return nil
}

// value is a text, or a list or mapping in brackets, of a key or dash in the column, with the rest of its line.
func (p *scan) value(column int) (n *node) {
	switch c := p.text[p.at]; {
	case c == '|':
		return p.literal(column)
	case c == '"' || c == '\'':
		n = p.quoted()
	case c == '[' || c == '{':
		n = p.flow()
	case starts(p.text[p.at:]):
		return p.unquoted(column)
	}
	if n == nil || !p.over() {
		return nil
	}
	p.next()
	return n
}

// unquoted is a text without quotes, and the lines that it goes on in.
func (p *scan) unquoted(column int) *node {
	line := p.rest()
	text, commented := bareText(line)
	n := p.scalar(text, len(line)+1)
	if n == nil || colon(text) >= 0 {
		return nil
	}
	var whole []byte
	for blank := 0; !commented && p.at < len(p.text); p.line++ {
		line := p.nextLine()
		inside := strings.TrimLeft(line, " ")
		if inside == "" {
			blank++
			p.at += len(line) + 1
			continue
		}
		if inside[0] == '#' || len(line)-len(inside) <= column {
			break
		}
		if text, commented = bareText(inside); colon(text) >= 0 {
			return nil
		}
		if whole == nil {
			whole = append(whole, n.Value...)
		}
		if blank == 0 {
			whole = append(whole, ' ')
		}
		for ; blank > 0; blank-- {
			whole = append(whole, '\n')
		}
		whole = append(whole, text...)
		p.at += len(line) + 1
	}
	p.commented = p.commented || commented
	if p.next(); whole != nil {
		return textOf(n, string(whole))
	}
	return n
}

// bareText is a line, or the end of one, without the comment behind it.
func bareText(line string) (text string, commented bool) {
	text, _, commented = strings.Cut(line, " #")
	return strings.TrimRight(text, " "), commented
}

// quoted is a text in quotes that ends in the same line.
func (p *scan) quoted() *node {
	line := p.rest()
	end := closing(line[1:], line[0])
	if end < 0 || end > longestKey && colon(line[1+end:]) == 0 {
		return nil
	}
	n := p.node(textNode, stringTag)
	p.at += 1 + end
	n.Value, n.Style = line[1:end], quotedStyle
	if line[0] == '\'' {
		n.Value = strings.ReplaceAll(n.Value, "''", "'")
		return n
	}
	n.Style = quotedStyle
	if !strings.Contains(n.Value, `\`) {
		return n
	}
	var whole strings.Builder
	for rest := n.Value; ; {
		before, after, escaped := strings.Cut(rest, `\`)
		whole.WriteString(before)
		if !escaped {
			n.Value = whole.String()
			return n
		}
		switch after[0] {
		case '"', '\\':
			whole.WriteByte(after[0])
		case 'n':
			whole.WriteByte('\n')
		default:
			return nil
		}
		rest = after[1:]
	}
}

// literal is a text below a |.
func (p *scan) literal(column int) *node {
	n := p.node(textNode, stringTag)
	n.Style = blockStyle
	header, commented := bareText(p.rest()[1:])
	p.commented = p.commented || commented
	p.at = p.ends + 1
	indent, end := 0, byte(0)
	for i := range len(header) {
		switch c := header[i]; {
		case (c == '-' || c == '+') && end == 0:
			end = c
		case '1' <= c && c <= '9' && indent == 0:
			indent = column + int(c-'0')
		default:
			return nil
		}
	}
	if indent == 0 {
		blank := 0
		for rest := p.text[p.at:]; ; {
			line, after, more := strings.Cut(rest, "\n")
			if !more {
				return nil
			}
			inside := strings.TrimLeft(line, " ")
			indent = len(line) - len(inside)
			if inside != "" {
				break
			}
			blank, rest = max(blank, indent), after
		}
		if indent <= column || indent < blank {
			return nil
		}
	}
	value, blank := p.lines[:0], 0
	for ; p.at < len(p.text); p.line++ {
		line := p.nextLine()
		if strings.TrimLeft(line[:min(indent, len(line))], " ") != "" {
			break
		}
		p.at += len(line) + 1
		if len(line) <= indent {
			blank++
			continue
		}
		for ; blank > 0; blank-- {
			value = append(value, '\n')
		}
		value = append(append(value, line[indent:]...), '\n')
	}
	switch {
	case len(value) == 0:
		return nil
	case end == '-':
		value = value[:len(value)-1]
	case end == '+':
		for ; blank > 0; blank-- {
			value = append(value, '\n')
		}
	}
	n.Value, p.lines = string(value), value
	p.next()
	return n
}

// flow is a list or a mapping in brackets.
func (p *scan) flow() *node {
	n, first := p.node(listNode, otherTag), len(p.open)
	closes := byte(']')
	if p.text[p.at] == '{' {
		n.Kind, closes = mappingNode, '}'
	}
	n.Style = flowStyle
	for p.depth++; p.depth < deepest; {
		p.at++ // behind the bracket, or a comma
		if !p.gap() {
			return nil
		}
		if p.text[p.at] != closes {
			if n.Kind == mappingNode && (!p.add(p.flowKey()) || !p.gap()) || !p.add(p.within()) || !p.gap() {
				return nil
			}
		}
		switch p.text[p.at] {
		case closes:
			p.at++
			return p.ended(n, first)
		case ',':
		default:
			return nil
		}
	}
	return nil
}

// gap goes to what comes next within brackets.
func (p *scan) gap() bool {
	for {
		switch c := p.text[p.at]; {
		case c == '\n':
			if p.at++; p.at == len(p.text) {
				return false
			}
			p.begin()
			continue
		case c == '#' && strings.IndexByte(" \n", p.text[p.at-1]) >= 0:
			p.commented = true
			p.at = p.ends
			continue
		case c != ' ':
			return true
		}
		p.at++
	}
}

// flowKey is a key within brackets, with its colon.
func (p *scan) flowKey() *node {
	from := p.at
	n := p.within()
	if n == nil || n.Kind != textNode || p.at-from > longestKey || colon(p.rest()) != 0 {
		return nil
	}
	p.at++
	return n
}

// within is what begins here within brackets.
func (p *scan) within() *node {
	switch line := p.rest(); {
	case line[0] == '"' || line[0] == '\'':
		return p.quoted()
	case line[0] == '[' || line[0] == '{':
		return p.flow()
	case starts(line):
		for i := range len(line) {
			switch c := line[i]; {
			case c == ',' || c == ']' || c == '}', c == ':' && colon(line[i:]) == 0:
				return p.scalar(strings.TrimRight(line[:i], " "), i)
			case c == '[' || c == '{' || c == '?' || c == ':', c == '#' && line[i-1] == ' ':
				return nil
			}
		}
	}
	return nil
}
