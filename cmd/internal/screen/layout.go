package screen

import (
	"fmt"
	"slices"
	"strings"
	"time"

	xansi "github.com/charmbracelet/x/ansi"

	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/steps/sorting"
)

// The smallest screen on which something is asked.
const (
	leastWidth  = 24
	leastHeight = 9
)

// A scene is all that a screen shows.
type scene struct {
	question sitting.Question
	offers   []sitting.Key
	read     bool     // the cautions of this question were read on a page of their own
	told     []string // Markdown, since the last answer
	heard    bool     // it was read on a page of its own
	now      time.Time
	timers   []sitting.Timer
	notices  []sitting.Moment // what clocks called for
	strip    int              // how many clocks ran when the question was asked: there is as much room for them
	typed    field
	refused  bool   // what was typed was refused: what is typed next replaces it
	turns    bool   // the rows have several pages
	keyed    bool   // letters are keys, though the field takes words: nothing is typed
	hint     string // about a key that did nothing
	away     bool   // the store is
	more     bool   // what is behind `?` is looked at
}

// A sheet is one page of what a screen shows: all of it where there is room for it.
type sheet struct {
	kind  sheetKind
	lines []string
	told  []string // at the lower end
	asks  bool     // the question is answered here, or a caution is said to be read
	here  bool     // it has what the prompt asks for
	part  bool     // other rows are on other sheets
	keys  []string // then: of the rows that end here
}

type sheetKind int

const (
	cautionSheet sheetKind = iota // the cautions alone, to be read before the action is shown
	toldSheet                     // what was recorded or refused, where it has no room beside the action
	stepSheet                     // the action or a part of it
	moreSheet                     // behind `?`
)

// A frame is what stands on the screen: lines of the height, none wider than the
// width, and where the cursor is.
type frame struct {
	lines []string
	x, y  int // of the cursor; y < 0: none
}

// A painter sets scenes: it knows colours, and no terminal.
type painter struct {
	colour bool
	set    func(markdown string, width int, colour bool) []string // lines of text
}

// bold and alert are how what matters stands out: by weight, and where there is
// colour by the reverse or by red, which can be read on light and on dark.
//
//go:noinline
func (p painter) bold(text string) string { return "\x1b[1m" + text + "\x1b[0m" }

//go:noinline
func (p painter) alert(text string) string {
	if !p.colour {
		return p.bold(text)
	}
	return "\x1b[1;7m" + text + "\x1b[0m"
}

//go:noinline
func (p painter) danger(text string) string {
	if !p.colour {
		return p.bold(text)
	}
	return "\x1b[1;31m" + text + "\x1b[0m"
}

// roomy reports whether there is room for empty lines.
func roomy(height int) bool { return height >= 18 }

// room is how many lines a sheet has over its foot.
// It is not inlined: its copies in its caller would take 1 KB.
//
//go:noinline
func (p painter) room(s scene, width, height int, kind sheetKind, asks bool) int {
	return max(height-1-len(p.foot(s, kind, asks, width, height).lines), 1)
}

// sheets are the pages of a scene: one where there is room for everything, else the
// cautions that are to be read, then the action and the rows. There is at least one, and
// the last one asks.
func (p painter) sheets(s scene, width, height int) []sheet {
	if s.more {
		return paged(moreSheet, nil, p.behind(s, width), p.room(s, width, height, moreSheet, false))
	}
	whole, full, short := p.cautions(s, width)
	title, action, told := p.title(s, width), p.action(s, width), p.told(s, width)
	rows, ends, here := p.rows(s, width)
	for _, cautions := range [][]string{whole, full} { // what was read is shortened last
		for _, most := range []int{len(told), 1} { // as many lines of what was told as have room, or one at least
			for _, spaced := range []bool{true, false} {
				if spaced && !roomy(height) {
					continue
				}
				all := joined(spaced, cautions, title, action, rows)
				left := p.room(s, width, height, stepSheet, true) - len(all)
				if spaced {
					left -= min(1, len(told))
				}
				if left >= min(most, len(told)) {
					return []sheet{{kind: stepSheet, lines: all, told: upTo(told, left, width), asks: true, here: true}}
				}
			}
		}
	}
	var all []sheet
	if s.unread() {
		all = paged(cautionSheet, nil, full, p.room(s, width, height, cautionSheet, true))
		all[len(all)-1].asks = true
	}
	most := max(p.room(s, width, height, stepSheet, true)-1, 0)
	top := joined(false, short, title[:min(len(title), max(most-len(short)-1, 1), 2)])
	top = top[:min(len(top), most)] // the rest is behind `?`
	left, more := p.room(s, width, height, stepSheet, true)-len(top), p.room(s, width, height, stepSheet, false)-len(top)
	if both := joined(roomy(height), action, rows); len(both) <= left {
		all = append(all, sheet{kind: stepSheet, lines: joined(false, top, both), asks: true, here: true})
	} else {
		all = append(all, paged(stepSheet, top, action, more)...)
		if s.turns = len(rows) > left; s.turns {
			left = max(p.room(s, width, height, stepSheet, true)-len(top), 1)
		}
		for from := 0; from < len(rows); {
			to, page := min(from+left, len(rows)), sheet{kind: stepSheet, asks: true, part: s.turns}
			for i, end := range ends { // a row is on one sheet where it has room on one
				if end > from && end <= from+left {
					to, page.keys = end, append(page.keys, s.question.View.Rows[i].Key)
				}
			}
			page.lines, page.here = lists.Concat(top, rows[from:to]), here >= from && here < to
			if end := last(action, left-len(rows)-1); !s.turns && len(end) > 0 { // limits, beside what is typed
				page.lines = lists.Concat(top, end, []string{""}, rows)
			}
			all, from = append(all, page), to
		}
		if len(rows) == 0 { // the end of the action stands above the prompt once more
			all = append(all, sheet{kind: stepSheet, lines: joined(false, top, action[len(action)-left:]), asks: true, here: true})
		}
	}
	for _, most := range []int{len(told), 1} {
		for i := range all {
			on := &all[i]
			s.turns = on.part
			if left := p.room(s, width, height, on.kind, on.asks) - len(on.lines); left >= min(most, len(told)) {
				on.told = upTo(told, left, width)
				return all
			}
		}
	}
	if s.heard {
		return all
	}
	return append(paged(toldSheet, nil, told, p.room(s, width, height, toldSheet, false)), all...)
}

// upTo is what was told, as far as so many lines have room for it.
func upTo(told []string, most, width int) []string {
	if len(told) <= most {
		return told
	}
	return append(told[:most-1:most-1], first(told[most-1:], width)...)
}

// first is what was told, as far as one line has room for it.
func first(told []string, width int) []string {
	if len(told) < 2 {
		return told
	}
	in := strings.Repeat(" ", indent(width))
	var words []string
	for _, line := range told {
		of := strings.Fields(xansi.Strip(line))
		if len(of) == 0 { // a paragraph ends
			of = []string{"•"}
		}
		words = append(words, of...)
	}
	one := strings.Join(words, " ")
	for _, r := range [4][2]string{{" • • ", " • "}, {": • ", ": "}, {". • ", ". "}, {" • ", "; "}} {
		one = strings.ReplaceAll(one, r[0], r[1])
	}
	return []string{cut(in+one+strings.Repeat(" ", width), width)}
}

// last is the end of a text that has room: whole paragraphs, or items of a list.
func last(text []string, room int) []string {
	for i, line := range text {
		begins := i == 0 || text[i-1] == "" || strings.HasPrefix(strings.TrimSpace(xansi.Strip(line)), "•")
		if begins && line != "" && len(text)-i <= room {
			return text[i:]
		}
	}
	return nil
}

// paged cuts lines into sheets with the same lines on top. None begins with an empty
// line.
func paged(kind sheetKind, top, lines []string, room int) []sheet {
	var all []sheet
	for len(lines) > 0 {
		n := min(room, len(lines))
		all = append(all, sheet{kind: kind, lines: lists.Concat(top, lines[:n])})
		for lines = lines[n:]; len(lines) > 0 && lines[0] == ""; lines = lines[1:] {
		}
	}
	return all
}

// joined puts blocks of lines below each other, with an empty line between them where
// there is room for it.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func joined(spaced bool, blocks ...[]string) []string {
	var all []string
	for _, block := range blocks {
		if spaced && len(block) > 0 {
			all = append(all, "")
		}
		all = append(all, block...)
	}
	return all
}

// unread reports whether there is a caution that was not read in this sitting.
func (s scene) unread() bool {
	return !s.read && slices.ContainsFunc(s.question.View.Cautions, func(c sitting.Caution) bool { return !c.Read })
}

// head is the top line: which airframe, which part of it, how far, and the time.
func (p painter) head(s scene, width int) string {
	v := s.question.View
	parts := []string{}
	for _, part := range []string{v.Mark, v.Part} {
		if part != "" {
			parts = append(parts, term.Line(part))
		}
	}
	if v.Of > 0 {
		count := fmt.Sprintf("%d of %d", v.Step, v.Of)
		if width >= 60 {
			count = "step " + count
		}
		parts = append(parts, count)
	}
	clock := s.now.In(time.Local).Format("15:04")
	left := xansi.Truncate(strings.Join(parts, " · "), width-len(clock)-1, "…")
	return padded(left, width-len(clock)) + clock
}

// indent is how far the text stands in.
func indent(width int) int {
	if width >= 60 {
		return 2
	}
	return 0
}

// text sets Markdown in lines that stand in.
func (p painter) text(markdown string, width int, colour bool) []string {
	if markdown == "" {
		return nil
	}
	in := indent(width)
	var all []string
	for _, line := range p.set(markdown, width-in, colour) {
		if xansi.StringWidth(line) > width-in { // code, which is not broken elsewhere
			for part := range strings.SplitSeq(xansi.Wrap(line, width-in, " "), "\n") {
				all = append(all, strings.Repeat(" ", in)+part)
			}
			continue
		}
		if line != "" {
			line = strings.Repeat(" ", in) + line
		}
		all = append(all, line)
	}
	return all
}

// cautions are the cautions whole; those that were read as one line each; and all as
// one line each, or one for all of them on a small screen.
func (p painter) cautions(s scene, width int) (whole, full, short []string) {
	var first []string
	for _, c := range s.question.View.Cautions {
		lines := p.set(c.Text, width, false)
		if slices.ContainsFunc(lines, func(line string) bool { return xansi.StringWidth(line) > width-2 }) { // a list, behind the mark
			lines = p.set(c.Text, width-2, false)
		}
		one := term.Line(strings.Join(lines, " "))
		first = append(first, one)
		from := len(whole)
		for i, line := range lines {
			for j, part := range strings.Split(xansi.Wrap(line, width-2, " "), "\n") {
				mark := "! "
				if i > 0 || j > 0 {
					mark = "  "
				}
				whole = append(whole, p.danger(mark+part))
			}
		}
		if c.Read || s.read {
			full = append(full, p.danger(cut("! "+one, width)))
		} else {
			full = append(full, whole[from:]...)
		}
	}
	for _, one := range first {
		short = append(short, p.danger(cut("! "+one, width)))
	}
	if len(short) > 1 && width < 60 {
		short = []string{p.danger(cut(fmt.Sprintf("! %d cautions: %s", len(first), strings.Join(first, " ")), width))}
	}
	return whole, full, short
}

// cut is a line that ends with a whole word and what shows the rest of it.
func cut(line string, width int) string {
	if xansi.StringWidth(line) <= width {
		return line
	}
	const rest = " … ?"
	line = xansi.Truncate(line, width-len("   ?")-1, "")
	if i := strings.LastIndexByte(line, ' '); i > width/2 {
		line = line[:i]
	}
	return line + rest
}

func (p painter) title(s scene, width int) []string {
	in := indent(width)
	var all []string
	for line := range strings.SplitSeq(xansi.Wrap(term.Line(s.question.View.Title), width-in, " "), "\n") {
		if line != "" {
			all = append(all, strings.Repeat(" ", in)+p.bold(line))
		}
	}
	return all
}

//go:noinline
func (p painter) action(s scene, width int) []string {
	return p.text(s.question.View.Action, width, p.colour)
}

func (p painter) told(s scene, width int) []string {
	return p.text(strings.TrimSpace(strings.Join(append(s.told[:len(s.told):len(s.told)], s.question.View.Where), "\n\n")), width, p.colour)
}

// mark is how a row stands, without a word.
func mark(r sitting.Row) string {
	switch {
	case r.Here:
		return "▸"
	case r.State == sitting.Good:
		return "✓"
	case r.State == sitting.Bad:
		return "✗"
	case r.State == sitting.Unsure:
		return "?"
	}
	return " "
}

// rows are the rows of a question, after how many lines each ends, and the line of the
// one that the prompt asks for.
func (p painter) rows(s scene, width int) (lines []string, ends []int, here int) {
	rows := s.question.View.Rows
	in := strings.Repeat(" ", indent(width))
	label, value, key := 0, 0, 0
	for _, r := range rows {
		key = max(key, xansi.StringWidth(r.Key))
		label = max(label, xansi.StringWidth(term.Line(r.Label)))
		value = max(value, xansi.StringWidth(term.Line(r.Value)))
	}
	if key > 0 {
		key++
	}
	here = -1
	label = min(label, width-len(in)-2-key)
	for _, r := range rows {
		if r.Here {
			here = len(lines)
		}
		start := in + mark(r) + " "
		if key > 0 {
			start += fmt.Sprintf("%-*s", key, r.Key)
		}
		room := width - xansi.StringWidth(start)
		parts := strings.Split(xansi.Wrap(term.Line(r.Label), room, " "), "\n")
		line := parts[len(parts)-1]
		rest := term.Line(r.Value)
		if scale := term.Clean(r.Scale); scale != "" && room >= label+value+xansi.StringWidth(scale)+4 {
			rest = padded(rest, value) + "  " + scale
		}
		switch {
		case rest == "":
		case room >= max(label, xansi.StringWidth(line))+2+xansi.StringWidth(rest):
			line = padded(line, label) + "  " + rest
		default:
			for part := range strings.SplitSeq(xansi.Wrap(rest, room-2, " "), "\n") {
				parts = append(parts, "  "+part)
			}
			line = ""
		}
		if line != "" {
			parts[len(parts)-1] = line
		}
		for i, part := range parts {
			lead := start
			if i > 0 {
				lead = strings.Repeat(" ", xansi.StringWidth(start))
			}
			part = strings.TrimRight(lead+part, " ")
			switch {
			case r.State == sitting.Bad:
				part = p.danger(part)
			case r.Here:
				part = p.bold(part)
			}
			lines = append(lines, part)
		}
		ends = append(ends, len(lines))
	}
	return lines, ends, here
}

func padded(text string, width int) string {
	return text + strings.Repeat(" ", max(width-xansi.StringWidth(text), 0))
}

// behind is what stands behind `?`: the cautions in full, what was told, the action, why, tools and
// the rest, and what every key does.
func (p painter) behind(s scene, width int) []string {
	view, in := s.question.View, strings.Repeat(" ", indent(width))
	whole, _, _ := p.cautions(s, width)
	var keys []string
	if f := s.question.Field; f != nil && f.Label != "" {
		keys = append(strings.Split(xansi.Wrap(in+"Type "+term.Line(f.Label), width-len(in), " "), "\n"), "")
	}
	for _, k := range s.keys() {
		keys = append(keys, xansi.Truncate(in+p.bold(padded(k.Key, len(sitting.Enter)))+"  "+term.Line(k.Word), width, "…"))
	}
	blocks := [][]string{whole, p.told(s, width), p.title(s, width), p.action(s, width), p.text(view.More, width, p.colour), keys}
	return joined(true, sorting.Delete(blocks, func(b []string) bool { return len(b) == 0 })...)[1:]
}

// The keys of the screen itself.
const (
	readKey = "r"
	moreKey = "?"
)

// small reports whether there is too little room to ask anything.
func small(width, height int) bool { return width < leastWidth || height < leastHeight }

// frame is one of the sheets of a scene on the screen.
func (p painter) frame(s scene, sheets []sheet, at, width, height int) frame {
	if small(width, height) {
		f := frame{lines: make([]string, max(height, 1)), y: -1}
		for i, line := range strings.Split(xansi.Wrap("The window is too small: make it larger.", max(width, 1), ""), "\n") {
			if i < len(f.lines) {
				f.lines[i] = line
			}
		}
		return f
	}
	page := sheets[at]
	s.turns = page.part
	foot := p.foot(s, page.kind, page.asks, width, height)
	top := height - len(foot.lines)
	f := frame{lines: make([]string, height), y: -1}
	f.lines[0] = p.head(s, width)
	copy(f.lines[1:top], page.lines)
	copy(f.lines[top-len(page.told):], page.told)
	copy(f.lines[top:], foot.lines)
	if n := fmt.Sprintf(" page %d of %d ", at+1, len(sheets)); len(sheets) > 1 && (s.hint == "" || xansi.StringWidth(term.Line(s.hint))+len(n)+4 <= width) {
		left := xansi.Truncate(f.lines[top], width-len(n)-2, "")
		if !strings.HasSuffix(left, "─") {
			left += "…"
		}
		f.lines[top] = left + strings.Repeat("─", max(width-len(n)-xansi.StringWidth(left), 0)) + n
	}
	if foot.y >= 0 {
		f.x, f.y = foot.x, top+foot.y
	}
	return f
}
