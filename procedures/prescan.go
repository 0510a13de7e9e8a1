package procedures

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"fettle/steps/nearest"
)

// The most that a document may be that somebody writes. One that is kept with a
// job, and was accepted in its day, may be larger: mostBytes and deepest.
const (
	largestFile  = 512 << 10
	mostNodes    = 40_000
	deepestNodes = 40
)

// tooMuch refuses a text that would cost too much to take apart. It counts
// what can begin a node, wherever it stands, so that no quote and no comment
// can hide any: more than there are, and at least half of what there are.
func tooMuch(file string, data []byte) Faults {
	at := func(i int, format string, args ...any) Faults {
		line, column := placeOf(data[:i])
		return Faults{{file, line, column, fmt.Sprintf(format, args...)}}
	}
	if len(data) > largestFile {
		return Faults{{file, 0, 0, fmt.Sprintf("the document has %d bytes; the limit is %d (512 KiB)", len(data), largestFile)}}
	}
	nodes, flow := 0, 0
	var indents []int
	for i := 0; i < len(data); i++ {
		switch c := data[i]; c {
		case '\n':
			nodes++
		case ',':
			nodes++
		case '[', '{':
			nodes++
			flow++
		case ']', '}':
			flow = max(0, flow-1)
		case ':', '-', '?':
			if i+1 == len(data) || data[i+1] <= ' ' {
				nodes++
			}
		}
		if i == 0 || data[i-1] == '\n' {
			indents = deeper(indents, data[i:])
		}
		if flow+len(indents) > 2*deepestNodes || flow > deepestNodes || len(indents) > deepestNodes {
			return at(i, "nested more than %d levels deep", deepestNodes)
		}
		if nodes > 2*mostNodes {
			return at(i, "the document has more than %d entries", mostNodes)
		}
	}
	return nil
}

// deeper are the columns at which a line may go deeper, those of the lines
// above it that it stands in among them.
func deeper(indents []int, line []byte) []int {
	column := 0
	for column < len(line) && line[column] == ' ' {
		column++
	}
	if column == len(line) || line[column] == '\n' || line[column] == '\r' {
		return indents
	}
	for len(indents) > 0 && indents[len(indents)-1] >= column {
		indents = indents[:len(indents)-1]
	}
	for {
		indents = append(indents, column)
		if column+1 >= len(line) || line[column] != '-' && line[column] != '?' || line[column+1] != ' ' && line[column+1] != '\t' {
			return indents
		}
		for column++; column < len(line) && (line[column] == ' ' || line[column] == '\t'); column++ {
		}
		if column == len(line) || len(indents) > deepestNodes {
			return indents
		}
	}
}

// A slip is a place where a text breaks YAML, and the line to write instead.
type slip struct {
	line, column int
	text         string
	write        string // "": there is no one line that would do
}

func (s slip) fault(file string) Fault {
	text := s.text
	if w := strings.TrimSpace(s.write); w != "" && len(w) <= 160 {
		text += "; write: " + w
	}
	return Fault{file, s.line, s.column, legible(text)}
}

// proseKeys are the keys whose value is a text for people.
// It is not inlined: its copies in all callers would take 2 KB.
//
//go:noinline
func isProse(key string) bool {
	switch key {
	case "title", "short", "do", "why", "alone", "apart", "how", "caution", "rework", "confirm", "hold", "about", "source", "datum", "quarantine":
		return true
	}
	return false
}

// A level is one depth of a text in block style: the keys of a mapping, or the
// dashes of a list, that stand in one column.
type level struct {
	indent int
	list   bool
	open   bool   // its last key or dash has nothing behind it yet
	plain  bool   // its last value is a text without quotes, which further lines may go on with
	key    string // the last key; of a list, the key that it stands below
	begins string // of a list: the first key of its first item
	met    map[string]bool
	cut    *slip // the comment that ended the text
}

// A prescan goes through a text that YAML refuses, line by line, to find what
// a person wrote amiss. It knows the part of YAML that documents are written
// in. What it says, it says of text that YAML can't take; it is never asked of
// any other.
type prescan struct {
	lines  []string // as they are mended
	at     int      // the line at hand, from 0
	levels []level
	shift  int // by how much the lines above were moved
	known  map[string]bool
	slips  []slip
}

const mostSlips = 100

var (
	keyed = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^("(?:[^"\\]|\\.)*"|'[^']*'|[^\s#&*!|>'"%@` + "`" + `\[\]{},?-][^:]*?|-[^\s:][^:]*?)\s*:(?:[ \t]+|$)`)
	})
	glued      = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^([a-z_]+):(\S.*)$`) })
	gluedDash  = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^-([a-z].*)$`) })
	blockStart = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[|>][0-9+-]*\s*(?:#.*)?$`) })
)

// mend finds the slips of a text, and gives it as it reads with the lines that
// they say to write. It has as many lines as the text.
func mend(data []byte) ([]slip, []byte) {
	p := &prescan{
		lines:  strings.Split(strings.TrimPrefix(string(data), "\uFEFF"), "\n"),
		levels: []level{{indent: -1, open: true}},
		known:  knownKeys(),
	}
	for i, l := range p.lines {
		p.lines[i] = strings.TrimRight(l, "\r")
	}
	for p.at < len(p.lines) && len(p.slips) < mostSlips {
		p.line()
		p.at++
	}
	return p.slips, []byte(strings.Join(p.lines, "\n"))
}

// knownKeys are the keys of all documents.
func knownKeys() map[string]bool {
	known := map[string]bool{}
	var add func(t *typ)
	add = func(t *typ) {
		for _, r := range t.keys {
			known[r.name] = true
			add(r.typ)
		}
		for _, o := range t.of {
			add(o)
		}
	}
	for _, f := range forms() {
		add(f.typ)
	}
	return known
}

func (p *prescan) top() *level { return &p.levels[len(p.levels)-1] }

// say notes a slip at a byte of the line at hand.
//
//go:noinline
func (p *prescan) say(at int, write, format string, args ...any) {
	p.sayOf(p.at, at, write, format, args...)
}

func (p *prescan) sayOf(line, at int, write, format string, args ...any) {
	text := p.lines[line]
	p.slips = append(p.slips, slip{line + 1, utf8.RuneCountInString(text[:min(at, len(text))]) + 1, fmt.Sprintf(format, args...), write})
}

// replace has the line at hand read as though it were written so.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (p *prescan) replace(line string) { p.lines[p.at] = line }

func indentOf(line string) int { return len(line) - len(strings.TrimLeft(line, " ")) }

func blank(line string) bool {
	t := strings.TrimSpace(line)
	return t == "" || t[0] == '#'
}

// line takes one line that begins in block style.
func (p *prescan) line() {
	line := p.lines[p.at]
	if strings.TrimSpace(line) == "" {
		return
	}
	trimmed := strings.TrimLeft(line, " \t")
	top := p.top()
	indent := indentOf(line)
	if trimmed[0] == '#' {
		if top.plain && indent > top.indent && top.cut == nil {
			top.cut = &slip{p.at + 1, utf8.RuneCountInString(line[:len(line)-len(trimmed)]) + 1, "# begins a comment in the middle of text: put it below a |, or in quotes", ""}
		}
		return
	}
	if (trimmed == "---" || trimmed == "..." || strings.HasPrefix(trimmed, "%")) && indent == 0 {
		return
	}
	if strings.IndexByte(line[:len(line)-len(trimmed)], '\t') >= 0 {
		if top.plain && keyed().FindString(trimmed) == "" && trimmed[0] != '-' {
			return
		}
		indent = p.tabbed(line, trimmed)
		line = p.lines[p.at]
	}
	if top.plain && indent > top.indent && p.goesOn(line, trimmed, indent) {
		return
	}
	if m := gluedDash().FindStringSubmatch(trimmed); m != nil {
		if k := keyed().FindStringSubmatch(m[1]); k != nil && p.known[k[1]] {
			trimmed = "- " + m[1]
			p.say(indent, line[:indent]+trimmed, "no space after the dash")
			p.replace(line[:indent] + trimmed)
		}
	}
	if want := p.ahead(indent, trimmed); want != indent {
		write := strings.Repeat(" ", want) + trimmed
		p.say(indent, write, "this line is indented by %d spaces, and the lines below it want %d", indent, want)
		p.replace(write)
		indent = want
	}
	if want := p.section(indent, trimmed); want != indent {
		write := strings.Repeat(" ", want) + trimmed
		p.say(indent, write, "this line is indented by %d spaces, and the entries above it by %d", indent, want)
		p.replace(write)
		indent = want
	}
	p.place(indent, trimmed)
	p.entry(p.top(), indentOf(p.lines[p.at]))
}

// section is where an entry of a section belongs that stands in the column of the
// sections: its name is no key of a document.
func (p *prescan) section(indent int, trimmed string) int {
	m := keyed().FindStringSubmatch(trimmed)
	if indent > 0 || m == nil || m[0] != trimmed || len(p.levels) < 3 || !isName(m[1]) || p.levels[2].list {
		return indent
	}
	if _, named := thingsUnder(p.levels[1].key); !named {
		return indent
	}
	for _, f := range forms() {
		for _, k := range f.typ.keys {
			if nearest.Of(m[1], []string{k.name}) != "" {
				return indent
			}
		}
	}
	return p.levels[2].indent
}

// ahead is where the first item of a list belongs that stands in the column of
// its key, by the keys that go on below it.
func (p *prescan) ahead(indent int, trimmed string) int {
	if top := p.top(); !dash(trimmed) || !top.open || top.list || top.indent != indent {
		return indent
	}
	body := strings.TrimLeft(trimmed[1:], " ")
	m := keyed().FindStringSubmatchIndex(body)
	if m == nil || m[1] >= len(body) || strings.IndexByte("|>[{\"'", body[m[1]]) >= 0 {
		return indent
	}
	for _, next := range p.lines[p.at+1:] {
		if blank(next) {
			continue
		}
		if n := indentOf(next); n > indent+2 && keyed().MatchString(next[n:]) {
			return n - 2
		}
		break
	}
	return indent
}

// tabbed mends a line that is indented with a tab.
func (p *prescan) tabbed(line, trimmed string) int {
	want := p.columnFor(-1, trimmed)
	write := strings.Repeat(" ", want) + trimmed
	p.say(strings.IndexByte(line, '\t'), write, "a tab: lines are indented with spaces, this one with %d", want)
	p.replace(write)
	return want
}

// goesOn takes a further line of a text without quotes. It reports false where
// the line is a key that stands too far to the right.
func (p *prescan) goesOn(line, trimmed string, indent int) bool {
	top := p.top()
	if m := keyed().FindStringSubmatch(trimmed); m != nil {
		if p.known[m[1]] {
			want := p.columnFor(indent, trimmed)
			write := strings.Repeat(" ", want) + trimmed
			if p.shift == want-indent {
				p.replace(write) // it stands so with the lines above
				shift := p.shift
				p.place(want, trimmed)
				p.shift = shift
				p.entry(p.top(), want)
				return true
			}
			p.say(indent, write, "%s: is indented by %d spaces, and the keys above by %d", m[1], indent, want)
			p.replace(write)
			p.place(want, trimmed)
			p.shift = want - indent
			p.entry(p.top(), want)
			return true
		}
	}
	if top.cut != nil {
		cut := *top.cut
		cut.write = "" // of the first line alone
		p.slips = append(p.slips, cut)
		l := cut.line - 1
		p.lines[l] = uncommented(p.lines[l])
		top.cut = nil
	}
	body, comment := cutComment(trimmed)
	if i := colonIn(body); i >= 0 {
		p.say(indent+i, "", "%q in text without quotes makes a key of it: put the text below %s |, or in quotes", ": ", top.key+":")
		p.replace(line[:indent] + strings.ReplaceAll(body, ":", "") + comment)
	}
	if comment != "" {
		top.cut = &slip{p.at + 1, utf8.RuneCountInString(line[:indent+len(body)]) + 2, hashSays(top.key), ""}
	}
	return true
}

func hashSays(key string) string {
	return fmt.Sprintf("the text of %s ends before the #, which begins a comment: put it in quotes", key)
}

func uncommented(line string) string {
	if blank(line) {
		return ""
	}
	body, _ := cutComment(line)
	return body
}

// cutComment parts a text from the comment behind it.
func cutComment(text string) (body, comment string) {
	for i := 1; i < len(text); i++ {
		if text[i] == '#' && (text[i-1] == ' ' || text[i-1] == '\t') {
			body := strings.TrimRight(text[:i], " \t")
			return body, text[len(body):]
		}
	}
	return text, ""
}

// colonIn is the place of a colon that ends a key.
func colonIn(text string) int {
	for i := range len(text) {
		if text[i] == ':' && (i+1 == len(text) || text[i+1] == ' ' || text[i+1] == '\t') {
			return i
		}
	}
	return -1
}

func dash(trimmed string) bool {
	return trimmed == "-" || strings.HasPrefix(trimmed, "- ") || strings.HasPrefix(trimmed, "-\t")
}

// fits reports whether an entry may stand in the column as things are; and how
// many levels are left then.
func (p *prescan) fits(indent int, isDash bool) (levels int, below, ok bool) {
	n := len(p.levels)
	for n > 1 && p.levels[n-1].indent > indent {
		n--
	}
	top := p.levels[n-1]
	switch {
	case top.indent == indent && top.list && !isDash:
		// A list in the column of its key ends with the next key.
		if n >= 2 && p.levels[n-2].indent == indent {
			return n - 1, false, true
		}
		return n, false, false
	case top.indent == indent && !top.list && isDash:
		return n, true, top.open
	case top.indent == indent:
		return n, false, true
	}
	return n, true, top.open
}

// columnFor is the column that an entry was meant to stand in: of those that
// may be, the one next to where it stands; where it stands nowhere, the deepest.
func (p *prescan) columnFor(indent int, trimmed string) int {
	top := p.top()
	if top.open {
		if !top.list && dash(trimmed) || top.indent < 0 {
			return max(0, top.indent+2*min(1, top.indent+1))
		}
		return top.indent + 2
	}
	best := 0
	key := ""
	if m := keyed().FindStringSubmatch(strings.TrimLeft(strings.TrimPrefix(trimmed, "-"), " ")); m != nil {
		key = m[1]
	}
	for i := len(p.levels) - 1; i > 0; i-- {
		l := p.levels[i]
		if l.list != dash(trimmed) || l.list && l.begins != "" && l.begins != key || !l.list && l.met[key] {
			continue
		}
		if indent < 0 {
			return l.indent
		}
		if best == 0 || abs(l.indent-indent) < abs(p.levels[best].indent-indent) {
			best = i
		}
	}
	if best == 0 {
		return max(0, top.indent)
	}
	return p.levels[best].indent
}

func abs(n int) int { return max(n, -n) }

// place finds the level of a line, and mends one that stands in none.
func (p *prescan) place(indent int, trimmed string) {
	isDash := dash(trimmed)
	n, below, ok := p.fits(indent, isDash)
	if ok {
		p.shift = 0
	} else if n2, below2, ok2 := p.fits(indent+p.shift, isDash); p.shift != 0 && indent+p.shift >= 0 && ok2 {
		n, below, indent = n2, below2, indent+p.shift
		p.replace(strings.Repeat(" ", indent) + trimmed)
	} else {
		want := p.columnFor(indent, trimmed)
		what := "keys"
		if isDash {
			what = "items of the list"
		}
		write := strings.Repeat(" ", want) + trimmed
		p.say(indent, write, "this line is indented by %d spaces, and the %s above by %d", indent, what, want)
		p.replace(write)
		p.shift = want - indent
		indent = want
		n, below, _ = p.fits(indent, isDash)
	}
	p.levels = p.levels[:n]
	if below {
		key := p.top().key
		p.top().open = false
		p.levels = append(p.levels, level{indent: indent, list: isDash, key: key})
	}
}

// entry takes a key or a dash with what stands behind it, from the byte on.
func (p *prescan) entry(l *level, from int) {
	l.open, l.plain, l.cut = false, false, nil
	line := p.lines[p.at]
	rest := line[from:]
	if dash(rest) {
		after := strings.TrimLeft(rest[1:], " \t")
		l.plain = false
		if after == "" || after[0] == '#' {
			l.open = true
			return
		}
		column := len(line) - len(after)
		if isProse(l.key) {
			p.value(l, column, l.key, true)
			return
		}
		if dash(after) || keyed().MatchString(after) {
			p.levels = append(p.levels, level{indent: column, list: dash(after), key: l.key})
			p.entry(p.top(), column)
			return
		}
		if m := glued().FindStringSubmatch(after); m != nil && p.known[m[1]] {
			write := line[:column] + m[1] + ": " + m[2]
			p.say(column+len(m[1]), write, "no space after the colon")
			p.replace(write)
			p.levels = append(p.levels, level{indent: column, key: l.key})
			p.entry(p.top(), column)
			return
		}
		p.value(l, column, l.key, true)
		return
	}
	m := keyed().FindStringSubmatchIndex(rest)
	if m == nil {
		p.neither(l, line, from)
		return
	}
	l.key = strings.Trim(rest[m[2]:m[3]], `"'`)
	if l.met == nil {
		l.met = map[string]bool{}
	}
	l.met[l.key] = true
	if n := len(p.levels); n > 1 && len(l.met) == 1 && p.levels[n-2].list && p.levels[n-2].begins == "" {
		p.levels[n-2].begins = l.key
	}
	after := rest[m[1]:]
	if after == "" || after[0] == '#' {
		l.open = true
		return
	}
	p.value(l, from+m[1], l.key, false)
}

// neither is a line without a key and without a dash.
func (p *prescan) neither(l *level, line string, from int) {
	rest := line[from:]
	write := ""
	switch g, d := glued().FindStringSubmatch(rest), gluedDash().FindStringSubmatch(rest); {
	case g != nil:
		write = line[:from] + g[1] + ": " + g[2]
		p.say(from+len(g[1]), write, "no space after the colon")
	case d != nil:
		write = line[:from] + "- " + d[1]
		p.say(from, write, "no space after the dash")
	case strings.HasPrefix(rest, "{") || strings.HasPrefix(rest, "["):
		p.value(l, from, l.key, false)
		return
	default:
		p.say(from, "", "this line has no key: a line is key: value, or - and an entry of a list; a text of several lines stands below a |")
		p.replace("")
		return
	}
	p.replace(write)
	if d := dash(write[from:]); d == l.list {
		p.entry(l, from)
	}
}

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

// notYAML names what is wrong with a text that YAML refuses: the slips that are
// seen, and where they are not all of it, the line at which it stops. The text
// is given as it reads once they are mended, nil where it can't be read then.
func notYAML(file string, data []byte, refused error) (Faults, []byte) {
	if odd := oddSpaces(file, data); odd != nil {
		return odd, nil
	}
	slips, mended := mend(data)
	var faults Faults
	for _, s := range slips {
		faults = append(faults, s.fault(file))
	}
	err := refused
	if len(slips) > 0 {
		if err = parses(mended); err == nil {
			return faults, mended
		}
	}
	line := stopsAt(mended, err)
	if slices.ContainsFunc(slips, func(s slip) bool { return abs(s.line-line) <= 1 }) {
		return faults, nil
	}
	_, text := yamlError(err)
	text = "not YAML here, or in the lines just above: " + strings.TrimPrefix(text, "not YAML: ")
	lines := bytes.Split(data, []byte("\n"))
	column := 1
	if line <= len(lines) {
		column = len(lines[line-1]) - len(bytes.TrimLeft(lines[line-1], " ")) + 1
	}
	return append(faults, Fault{file, line, column, legible(text)}), nil
}

// oddSpaces finds lines that are indented with another space than the plain one,
// which YAML takes for text: where the text can be read with plain ones.
func oddSpaces(file string, data []byte) Faults {
	var first Faults
	more := 0
	lines := strings.Split(string(data), "\n")
	for i, line := range lines {
		rest := strings.TrimLeft(line, " \t\uFEFF")
		c, _ := utf8.DecodeRuneInString(rest)
		trimmed := strings.TrimLeftFunc(rest, isSpace)
		if !isSpace(c) || !dash(trimmed) && !keyed().MatchString(trimmed) {
			continue
		}
		indent := utf8.RuneCountInString(line[:len(line)-len(trimmed)])
		lines[i] = strings.Repeat(" ", indent) + trimmed
		if first != nil {
			more++
			continue
		}
		s := slip{i + 1, utf8.RuneCountInString(line[:len(line)-len(rest)]) + 1,
			fmt.Sprintf("the space U+%04X in the indentation is not the plain one: lines are indented with plain spaces, this one with %d", c, indent), trimmed}
		first = Faults{s.fault(file)}
	}
	if first == nil {
		return nil
	}
	if _, mended := mend([]byte(strings.Join(lines, "\n"))); parses(mended) != nil {
		return nil
	}
	if more > 0 {
		first[0].Text += fmt.Sprintf("; so in %d more lines", more)
	}
	return first
}

// isSpace reports whether a character shows as a space, or as nothing.
func isSpace(c rune) bool {
	return unicode.IsSpace(c) && c != '\r' && c != '\n' || c == '\u200b' || c == '\u2060' || c == '\ufeff'
}

// stopsAt is the line at which YAML refuses a text. The library's own number is
// often that of the beginning of what surrounds it; the text up to a line that
// begins a key or an entry can be read for itself, unless the fault is in it.
func stopsAt(data []byte, err error) int {
	said, _ := yamlError(err)
	lines := bytes.SplitAfter(data, []byte("\n"))
	good, bad := 0, len(lines) // lines that can be read, and that can't
	for bad-good > 1 && len(data) <= largestFile/4 {
		middle := (good + bad) / 2
		if parses(bytes.Join(lines[:middle], nil)) == nil {
			good = middle
		} else {
			bad = middle
		}
	}
	if len(data) > largestFile/4 {
		return min(max(1, said), len(lines))
	}
	return min(max(bad, 1), len(lines))
}
