package screen

import (
	"fmt"
	"slices"
	"strings"
	"time"

	xansi "github.com/charmbracelet/x/ansi"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow"
)

// leaveHint is what Esc says where there is nothing to go back to.
const leaveHint = sitting.Quit + " leaves the bench"

// letters reports whether a letter is typed and no key.
func (s scene) letters() bool {
	return s.question.Field != nil && s.question.Field.Words && !s.keyed
}

// keys are all keys of a question, with what is offered at the moment and what the
// screen itself has at each.
func (s scene) keys() []sitting.Key {
	return append(slices.Concat(s.offers, s.question.Keys), sitting.Key{Key: moreKey, Word: "more", Common: true})
}

// foot is what stands below: the clocks, and on a page that asks the prompt and
// the keys that answer it.
func (p painter) foot(s scene, kind sheetKind, asks bool, width, height int) frame {
	f := frame{y: -1}
	strip := p.strip(s, width, height)
	f.lines = append([]string{""}, strip...)
	if len(strip) > 0 && roomy(height) {
		f.lines[0] = ruled("", width)
		f.lines = append(f.lines, p.bar(s, width))
	} else {
		f.lines[0] = p.bar(s, width)
	}
	rest := ""
	if kind == stepSheet && asks {
		rest = p.prompt(&f, s, width)
	}
	f.lines = append(f.lines, p.keyLines(s, kind, asks, width)...)
	if rest != "" { // nothing moves while a text is typed, and most keys would be typed
		f.lines[len(f.lines)-1] = rest
	}
	return f
}

// bar is the line above the prompt: what a key did not do, which further keys there are
// at the moment, or what a clock called for that runs no more. It is always there, so
// that nothing else moves when it says something.
func (p painter) bar(s scene, width int) string {
	var says []string
	if s.away {
		says = append(says, "no answer from the store")
	}
	for _, k := range s.offers {
		way := k.Key + " "
		if s.letters() || len(s.typed.text) > 0 { // it would be typed
			way = "esc, then " + way
		}
		says = append(says, way+term.Line(k.Word))
	}
	for _, n := range slices.Backward(s.notices) {
		told := func(t sitting.Timer) bool { // its clock says how it stands now
			_, calls := page.ClockWords(t.Timer, &page.Clock{Now: s.now})
			return t.Mark == n.Mark && t.Name == n.Joint && (calls || t.Joint && t.Phase != workflow.Curing)
		}
		if !slices.ContainsFunc(s.timers, told) {
			says = append(says, n.At.In(time.Local).Format("15:04")+" "+term.Line(n.Says))
		}
	}
	if s.hint != "" {
		says = []string{term.Line(s.hint)}
	}
	if len(says) == 0 {
		return ruled("", width)
	}
	return ruled(" "+strings.Join(says, " ── ")+" ", width)
}

// ruled is a line across the screen with words in it.
func ruled(words string, width int) string {
	if words != "" {
		words = "──" + xansi.Truncate(words, width-4, "… ")
	}
	return words + strings.Repeat("─", max(width-xansi.StringWidth(words), 0))
}

// strip has the clocks: first those that call for somebody, then those that wait for
// somebody and close, then the next moment.
func (p painter) strip(s scene, width, height int) []string {
	most := min(max((height-8)/4, 1), 6, s.strip)
	in := strings.Repeat(" ", indent(width))
	var calling, closing, running []string
	name := 0
	for _, t := range s.timers {
		name = min(max(name, xansi.StringWidth(s.clockName(t))), width/3)
	}
	for _, t := range s.timers {
		words, calls := page.ClockWords(t.Timer, &page.Clock{Now: s.now})
		line := in + padded(xansi.Truncate(s.clockName(t), name, "…"), name) + "  "
		room := width - xansi.StringWidth(line)
		if most == 1 && len(s.timers) > 1 {
			room -= len(fmt.Sprintf(moreClocks, len(s.timers)-1))
		}
		line = xansi.Truncate(line+shortened(t, words, room), width, "…")
		switch {
		case calls:
			calling = append(calling, p.alert(line))
		case t.Ready.IsZero() && !t.Closes.IsZero():
			closing = append(closing, line)
		default:
			running = append(running, line)
		}
	}
	lines := lists.Concat(calling, closing, running)
	if left := len(lines) - most; left > 0 && most > 0 {
		more := fmt.Sprintf(moreClocks, left)
		lines = lines[:most]
		lines[most-1] = padded(xansi.Truncate(lines[most-1], width-len(more), "…"), width-len(more)) + more
	}
	return lines[:min(len(lines), most)]
}

// moreClocks stands behind the last clock where there is no room for all.
const moreClocks = " +%d"

// shortened is what a clock says, where that has no room without how long is left, and then its last clause alone: in it is the
// deadline.
func shortened(t sitting.Timer, words string, room int) string {
	if t.Closes.IsZero() || t.Phase == workflow.Late || t.Phase == workflow.Unclocked {
		return words
	}
	if xansi.StringWidth(words) > room {
		words = strings.Join(sorting.Delete(strings.Split(words, ", "), func(clause string) bool { return strings.HasSuffix(clause, " left") }), ", ")
	}
	if xansi.StringWidth(words) > room {
		words = words[strings.LastIndexAny(words, ",;")+1:]
		words = strings.TrimPrefix(words, " ")
	}
	if over := xansi.StringWidth(words) - room; over > 0 {
		words = xansi.TruncateLeft(words, over+1, "…")
	}
	return words
}

// clockName is the name of a clock, with the airframe if that is another one.
func (s scene) clockName(t sitting.Timer) string {
	if t.Mark == s.question.View.Mark {
		return term.Line(t.Name)
	}
	return t.Mark + " " + term.Line(t.Name)
}

// prompt is the one thing that is asked, and what is typed. rest is what of its verdict has
// no room on the line below it.
func (p painter) prompt(f *frame, s scene, width int) (rest string) {
	q, in := s.question, strings.Repeat(" ", indent(width))
	if q.Prompt != "" {
		for line := range strings.SplitSeq(xansi.Wrap(term.Line(q.Prompt), width-len(in), " "), "\n") {
			f.lines = append(f.lines, in+line)
		}
	}
	if q.Field == nil {
		return ""
	}
	lead := in + "> "
	text, at := s.typed.shown(width - xansi.StringWidth(lead) - 1)
	f.x, f.y = xansi.StringWidth(lead)+at, len(f.lines)
	typed := p.bold(text)
	if s.refused { // as what is selected, which the next character replaces
		typed = "\x1b[7m" + text + "\x1b[0m"
	}
	f.lines = append(f.lines, lead+typed)
	said, set := term.Line(q.Field.Label), func(text string) string { return text }
	if s.keyed {
		f.y, said = -1, "Letters are keys now."
		f.lines[len(f.lines)-1] = ""
	}
	if text := s.typed.String(); strings.TrimSpace(text) != "" {
		said = ""
		if q.Field.Check != nil {
			v := q.Field.Check(text)
			said, set = term.Line(v.Said), p.bold
			if scale := term.Clean(v.Scale); scale != "" && xansi.StringWidth(said)+2+xansi.StringWidth(scale) <= width-len(in) {
				said += "  " + scale
			}
			if v.State == sitting.Bad {
				set = p.danger
			}
		}
	}
	if text, more, ok := strings.Cut(xansi.Wrap(said, width-len(in), " "), "\n"); ok && len(s.typed.text) > 0 {
		said, rest = text, set(xansi.Truncate(in+term.Line(more), width, "…"))
	}
	f.lines = append(f.lines, set(xansi.Truncate(in+said, width, "…")))
	return rest
}

// between is how far two keys stand apart.
const between = 2

// keyLines are the keys that do something now: those of the question first, then
// those that are there at every question, as far as there is room for them.
func (p painter) keyLines(s scene, kind sheetKind, asks bool, width int) []string {
	var own, common []sitting.Key
	turn := sitting.Key{Key: "space", Word: "next page"}
	switch {
	case kind == moreSheet:
		own = []sitting.Key{turn, {Key: "b", Word: "page before"}, {Key: "esc", Word: "back"}}
	case kind == cautionSheet && asks:
		own = []sitting.Key{{Key: readKey, Word: "I have read it"}}
	case kind != stepSheet, !asks:
		own = []sitting.Key{turn}
	case s.letters() && !slices.ContainsFunc(s.question.Keys, func(k sitting.Key) bool { return k.Key == sitting.Enter }):
		own = []sitting.Key{{Key: "esc", Word: "other keys"}}
	case s.letters():
		own = []sitting.Key{{Key: "esc", Word: "back"}}
	case s.keyed:
		own = []sitting.Key{{Key: "esc", Word: "type it"}}
	}
	if kind == stepSheet && asks && s.turns {
		own = append([]sitting.Key{turn}, own...)
	}
	for _, k := range s.keys()[len(s.offers):] { // those are in the bar
		switch {
		case kind == moreSheet, kind != stepSheet && k.Key != moreKey && k.Key != sitting.Quit:
		case kind == stepSheet && asks && s.letters() && k.Common && k.Key != moreKey: // letters
		case k.Key == moreKey || k.Key == sitting.Quit: // the first of those, so that they are always there
			common = sorting.Insert(common, 0, k)
		case slices.ContainsFunc(s.question.View.Rows, func(r sitting.Row) bool { return r.Key == k.Key }): // it says so
		case k.Common:
			common = append(common, k)
		case asks:
			own = append(own, k)
		}
	}
	in := strings.Repeat(" ", indent(width))
	var lines []string
	line, at := "", 0
	add := func(k sitting.Key, must bool) {
		word := term.Line(k.Word)
		wide := xansi.StringWidth(k.Key) + 1 + xansi.StringWidth(word)
		gap := between
		if line == "" {
			gap = 0
		}
		if at+gap+wide > width-len(in) {
			if !must {
				return
			}
			if line != "" {
				lines, line, at, gap = append(lines, line), "", 0, 0
			}
			word = xansi.Truncate(word, width-len(in)-xansi.StringWidth(k.Key)-1, "…")
			wide = xansi.StringWidth(k.Key) + 1 + xansi.StringWidth(word)
		}
		if line == "" {
			line = in
		}
		line += strings.Repeat(" ", gap) + p.bold(k.Key) + " " + word
		at += gap + wide
	}
	for _, k := range own {
		add(k, true)
	}
	room := width - len(in)
	for i, k := range common {
		must := k.Key == moreKey || k.Key == sitting.Quit
		if wide := xansi.StringWidth(k.Key + " " + k.Word); !must && (at+between+wide > room || i < len(common)-1 && at+between+wide > room-2) {
			if at+2 <= room {
				line += " …" // the rest is behind `?`
			}
			break
		}
		add(k, must)
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}
