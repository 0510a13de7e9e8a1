package procedures

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// quoted is a text as YAML in quotes.
func quoted(text string) string {
	if !strings.ContainsAny(text, "\"\\") {
		return `"` + text + `"`
	}
	return "'" + strings.ReplaceAll(text, "'", "''") + "'"
}

// value takes what stands behind a key or a dash, from the byte of the line on.
func (p *prescan) value(l *level, from int, key string, item bool) {
	line := p.lines[p.at]
	text := line[from:]
	whole := func(format string, args ...any) {
		write := line[:from] + quoted(strings.TrimRight(text, " "))
		p.say(from, write, format, args...)
		p.replace(write)
	}
	begins := func() { whole("%s begins with %c, which means something else in YAML: put it in quotes", key, text[0]) }
	switch c := text[0]; c {
	case '|', '>':
		if !blockStart().MatchString(text) {
			begins()
			return
		}
		p.block(l)
	case '"', '\'':
		p.quote(l, from, key, whole)
	case '[', '{':
		p.flow(from, key, item, whole)
	case '*', '&', '!':
		if isProse(key) || len(text) == 1 || text[1] == ' ' || text[1] == c {
			begins()
			return
		}
		what := map[byte]string{'*': "an alias", '&': "an anchor", '!': "a tag"}[c]
		p.say(from, "", "%s: write it out, or put it in quotes if it is text", what)
		p.replace(line[:from] + quoted(text))
	case '@', '`', '%', ']', '}':
		begins()
	case '-', '?':
		if len(text) == 1 || text[1] == ' ' {
			begins()
			return
		}
		p.plain(l, from, key, whole)
	default:
		p.plain(l, from, key, whole)
	}
}

// plain takes a text without quotes.
func (p *prescan) plain(l *level, from int, key string, whole func(string, ...any)) {
	line := p.lines[p.at]
	body, comment := cutComment(line[from:])
	if i := colonIn(body); i >= 0 {
		text, write := body, comment
		if isProse(key) {
			text, write = line[from:], ""
		}
		write = line[:from] + quoted(strings.TrimRight(text, " ")) + write
		p.say(from+i, write, "%q in text without quotes makes a key of it", ": ")
		p.replace(write)
		return
	}
	l.plain = true
	if comment != "" {
		l.cut = &slip{p.at + 1, utf8.RuneCountInString(line[:from+len(body)]) + 2, hashSays(key), line[:from] + quoted(line[from:])}
	}
}

// block skips the lines of a text below a | or >.
func (p *prescan) block(l *level) {
	parent, inside := l.indent, -1
	for p.at+1 < len(p.lines) {
		next := p.lines[p.at+1]
		if strings.TrimSpace(next) == "" {
			p.at++
			continue
		}
		indent := indentOf(next)
		if next[indent] == '\t' && (inside < 0 || indent < inside) && !(inside < 0 && indent > parent) {
			p.at++
			want := inside
			if want < 0 {
				want = parent + 2
			}
			write := strings.Repeat(" ", want) + strings.TrimLeft(next, " \t")
			p.say(indent, write, "a tab: lines are indented with spaces, this one with %d", want)
			p.replace(write)
			continue
		}
		if indent <= parent {
			if inside < 0 && !l.list && p.isText(next[indent:]) {
				p.unindented(l.key, parent+2)
			}
			return
		}
		if inside < 0 {
			inside = indent
		}
		if indent < inside {
			p.at++
			write := strings.Repeat(" ", inside) + next[indent:]
			p.say(indent, write, "this line is indented by %d spaces, and the first line of the text by %d", indent, inside)
			p.replace(write)
			continue
		}
		p.at++
	}
}

// isText reports whether a line begins neither a known key nor an entry.
func (p *prescan) isText(trimmed string) bool {
	m := keyed().FindStringSubmatch(strings.TrimLeft(trimmed, "- "))
	return trimmed[0] != '#' && (m == nil || !p.known[m[1]])
}

// unindented mends a text below a | that is not indented. It goes on to the next
// line that is none.
func (p *prescan) unindented(key string, want int) {
	p.at++
	first := p.lines[p.at]
	p.say(indentOf(first), strings.Repeat(" ", want)+strings.TrimLeft(first, " "), "the text below %s: | is not indented: each line of it begins with %d spaces or more", key, want)
	for ; p.at < len(p.lines); p.at++ {
		line := p.lines[p.at]
		if trimmed := strings.TrimLeft(line, " "); strings.TrimSpace(trimmed) != "" {
			if !p.isText(trimmed) {
				break
			}
			p.replace(strings.Repeat(" ", want) + trimmed)
		}
	}
	p.at--
}

// closing is the byte after the closing quote, -1 where there is none.
//
//go:noinline
func closing(text string, quote byte) int {
	for i := 0; i < len(text); i++ {
		switch {
		case text[i] == '\\' && quote == '"':
			i++
		case text[i] == quote && quote == '\'' && i+1 < len(text) && text[i+1] == quote:
			i++
		case text[i] == quote:
			return i + 1
		}
	}
	return -1
}

// quote takes a text in quotes, over several lines if need be.
func (p *prescan) quote(l *level, from int, key string, whole func(string, ...any)) {
	line := p.lines[p.at]
	q := line[from]
	if end := closing(line[from+1:], q); end >= 0 {
		if rest := line[from+1+end:]; !blank(rest) || strings.HasPrefix(rest, "#") {
			whole("%s goes on after the closing quote: put all of it in quotes", key)
		}
		return
	}
	for n := p.at + 1; n < len(p.lines); n++ {
		next := p.lines[n]
		trimmed := strings.TrimSpace(next)
		if trimmed != "" && indentOf(next) <= l.indent {
			break
		}
		if m := keyed().FindStringSubmatch(trimmed); m != nil && p.known[m[1]] && indentOf(next) == l.indent {
			break
		}
		if end := closing(next, q); end >= 0 {
			p.at = n
			if rest := next[end:]; !blank(rest) {
				p.say(end, "", "%s goes on after the closing quote: put all of it in quotes", key)
				p.replace(next[:end])
			}
			return
		}
	}
	write := line + string(q)
	if strings.ContainsRune(line[from+1:], rune(q)) || q == '"' && strings.HasSuffix(line, `\`) {
		write = line[:from] + quoted(line[from:])
	}
	says := "the quote that opens here is never closed"
	if r, _ := utf8.DecodeRuneInString(line[from+1:]); q == '\'' && isProse(key) && unicode.IsLetter(r) {
		write = line[:from] + quoted(line[from:])
		says += "; where it is an apostrophe, the whole text needs double quotes"
	}
	p.say(from, write, "%s", says)
	p.replace(write)
}

// An opened is a bracket that is open in flow style.
type opened struct {
	bracket byte
	line    int
	at      int
	colons  int
	value   int  // where the value of the entry begins, -1: not yet
	inText  bool // within a text without quotes
}

// flow takes a value in flow style, over several lines if need be.
func (p *prescan) flow(from int, key string, item bool, whole func(string, ...any)) {
	start, parent := p.at, p.top().indent
	var open []opened
	var q byte
	i := from
	for {
		line := p.lines[p.at]
		for i < len(line) {
			c := line[i]
			if q != 0 {
				end := closing(line[i:], q)
				if end < 0 {
					break
				}
				i += end
				q = 0
				continue
			}
			switch {
			case c == '#' && i > 0 && (line[i-1] == ' ' || line[i-1] == '\t'):
				i = len(line)
				continue
			case c == '[' || c == '{':
				if n := len(open); n == 0 || !open[n-1].inText {
					open = append(open, opened{bracket: c, line: p.at, at: i, value: i + 1})
				}
			case c == ']' || c == '}':
				if n := len(open); n > 0 {
					want := map[byte]byte{'[': ']', '{': '}'}[open[n-1].bracket]
					if c != want {
						write := line[:i] + string(want) + line[i+1:]
						p.say(i, write, "%c closes what %c opened", c, open[n-1].bracket)
						p.replace(write)
						line = write
					}
					open = open[:n-1]
					if n > 1 {
						open[n-2].inText = true // nothing may follow but a comma
					}
				}
				if len(open) == 0 {
					p.afterFlow(i+1, start, key, whole)
					return
				}
			case c == ',':
				o := &open[len(open)-1]
				o.colons, o.value, o.inText = 0, i+1, false
			case c == ':' && (i+1 == len(line) || line[i+1] == ' ' || line[i+1] == '\t'):
				o := &open[len(open)-1]
				if o.colons++; o.colons > 1 {
					i = p.quoteEntry(o, i)
					line = p.lines[p.at]
					continue
				}
				o.value, o.inText = i+1, false
			case (c == '"' || c == '\'') && !open[len(open)-1].inText:
				q = c
				open[len(open)-1].inText = true
			case c != ' ' && c != '\t':
				if o := &open[len(open)-1]; !o.inText && strings.IndexByte("*&!@`%", c) >= 0 {
					i = p.quoteEntry(o, i)
					line = p.lines[p.at]
					continue
				}
				open[len(open)-1].inText = true
			}
			i++
		}
		if p.at+1 >= len(p.lines) || p.unclosed(parent, p.lines[p.at+1], open, key) {
			break
		}
		p.at++
		i = 0
	}
	p.at = start
	if isProse(key) {
		whole("%s begins with %c, which means something else in YAML: put it in quotes", key, p.lines[p.at][from])
		return
	}
	line := p.lines[start]
	var closers []byte
	for _, o := range slices.Backward(open) {
		closers = append(closers, map[byte]byte{'[': ']', '{': '}'}[o.bracket])
	}
	last := open[len(open)-1]
	write := ""
	if last.line == start {
		write = strings.TrimRight(line, " ") + string(closers)
	}
	if q != 0 {
		p.sayOf(last.line, max(0, last.value), "", "a quote that is opened here is never closed")
	} else {
		p.sayOf(last.line, last.at, write, "the %c that opens here is never closed", last.bracket)
	}
	if write != "" {
		p.replace(write)
	}
}

// unclosed reports whether the next line can't be within what is open.
func (p *prescan) unclosed(parent int, next string, open []opened, key string) bool {
	trimmed := strings.TrimSpace(next)
	if trimmed == "" || trimmed[0] == '#' {
		return false
	}
	if isProse(key) {
		return true
	}
	m := keyed().FindStringSubmatch(trimmed)
	if dash(trimmed) && indentOf(next) <= parent {
		return true
	}
	return m != nil && indentOf(next) <= parent && p.known[m[1]] && !strings.ContainsAny(trimmed[len(trimmed)-1:], ",}]")
}

// afterFlow finds what stands behind the closing bracket.
func (p *prescan) afterFlow(i, start int, key string, whole func(string, ...any)) {
	rest := p.lines[p.at][i:]
	if strings.TrimSpace(rest) == "" || strings.HasPrefix(strings.TrimLeft(rest, " \t"), "#") && rest[0] <= ' ' {
		return
	}
	if p.at == start {
		whole("%s goes on after the closing bracket: put all of it in quotes if it is text", key)
		return
	}
	p.say(i, "", "nothing can follow the closing bracket")
	p.replace(p.lines[p.at][:i])
}

// quoteEntry mends an entry in flow style whose value needs quotes, and returns
// where it goes on behind it.
func (p *prescan) quoteEntry(o *opened, i int) int {
	line := p.lines[p.at]
	end := i
	for end < len(line) && line[end] != ',' && line[end] != '}' && line[end] != ']' {
		end++
	}
	from := min(o.value, i)
	for from < len(line) && line[from] == ' ' {
		from++
	}
	body := strings.TrimRight(line[from:end], " ")
	write := line[:from] + quoted(body) + line[from+len(body):]
	if line[i] == ':' {
		p.say(i, write, "%q in text without quotes makes a key of it", ": ")
	} else {
		p.say(i, write, "text that begins with %c needs quotes", line[i])
	}
	p.replace(write)
	o.inText = true
	return from + len(quoted(body))
}
