package procedures

import (
	"fmt"
	"regexp"
	"strings"
	"sync"
	"unicode/utf8"

	"fettle/steps/nearest"
)

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
	keyed      = pattern(`^("(?:[^"\\]|\\.)*"|'[^']*'|[^\s#&*!|>'"%@` + "`" + `\[\]{},?-][^:]*?|-[^\s:][^:]*?)\s*:(?:[ \t]+|$)`)
	glued      = pattern(`^([a-z_]+):(\S.*)$`)
	gluedDash  = pattern(`^-([a-z].*)$`)
	blockStart = pattern(`^[|>][0-9+-]*\s*(?:#.*)?$`)
)

// pattern is an expression that is compiled once it is asked for. In place, each would have three functions of its own.
//
//go:noinline
func pattern(text string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })
}

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

//go:noinline
func indentOf(line string) int { return len(line) - len(strings.TrimLeft(line, " ")) }

//go:noinline
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

//go:noinline
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
