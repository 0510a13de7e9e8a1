// Package page has one page for each thing that is shown: a value that marshals
// to JSON, and its Markdown, which the terminal and files render. Nothing is
// decided here.
package page

import (
	"fmt"
	"regexp"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"fettle/cmd/internal/term"
	"fettle/steps/quantity"
)

// A Clock says how to show things. It shows moments as a person at the bench
// reads them: in local time, and with the day if it is not today.
type Clock struct {
	Now time.Time
	// BothUnits says to show quantities in the other system of units too.
	BothUnits bool
	// Stands says that the page is looked at for a while, beside clocks that count: it
	// does not say how long it is to a time.
	Stands bool
}

// At shows a moment, with its seconds if it is less than a minute away; "" for the
// zero one.
//
//go:noinline
func (c *Clock) At(t time.Time) string {
	return c.at(t, !t.IsZero() && t.After(c.Now) && t.Sub(c.Now) < time.Minute)
}

// Between shows the ends of a window: both with their seconds if it is shorter
// than a minute.
//
//go:noinline
func (c *Clock) Between(opens, closes time.Time) (from, to string) {
	if length := closes.Sub(opens); length > 0 && length < time.Minute {
		return c.at(opens, true), c.at(closes, true)
	}
	return c.At(opens), c.At(closes)
}

func (c *Clock) at(t time.Time, seconds bool) string {
	if t.IsZero() {
		return ""
	}
	if seconds {
		return strings.Replace(c.at(t, false), t.In(time.Local).Format("15:04"), t.In(time.Local).Format("15:04:05"), 1)
	}
	local, now := t.In(time.Local), c.Now.In(time.Local)
	switch {
	case sameDay(local, now):
		return local.Format("15:04") + zoneOf(local)
	case local.Year() == now.Year():
		return local.Format("Mon 2 Jan 15:04") + zoneOf(local)
	}
	return local.Format("Mon 2 Jan 2006 15:04") + zoneOf(local)
}

// zoneOf is the zone of a time that the clock on the wall shows twice, since clocks go back; else "".
//
//go:noinline
func zoneOf(local time.Time) string {
	if shows := local.Format("15:04"); local.Add(time.Hour).Format("15:04") == shows || local.Add(-time.Hour).Format("15:04") == shows {
		return local.Format(" MST")
	}
	return ""
}

// Full shows a moment with its day and year, for what is kept and read later.
func (c *Clock) Full(t time.Time) string { return t.In(time.Local).Format("2 Jan 2006 15:04") }

// In shows how long it is until a moment.
//
//go:noinline
func (c *Clock) In(t time.Time) string {
	if left := t.Sub(c.Now); left < time.Minute { // a part of a second is not over yet
		return Span((left + time.Second - 1).Truncate(time.Second))
	}
	return Span(t.Sub(c.Now))
}

// Span shows a length of time: with seconds only below ten minutes.
func Span(d time.Duration) string {
	d = max(d, 0)
	switch {
	case d >= 48*time.Hour && d%(24*time.Hour) < time.Hour:
		return fmt.Sprintf("%d days", d/(24*time.Hour))
	case d >= 48*time.Hour:
		return fmt.Sprintf("%d days %d h", d/(24*time.Hour), d%(24*time.Hour)/time.Hour)
	case d >= time.Hour && d%time.Hour < time.Minute:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d >= time.Hour:
		return fmt.Sprintf("%d h %d min", d/time.Hour, d%time.Hour/time.Minute)
	case d >= 10*time.Minute || d >= time.Minute && d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	case d >= time.Minute:
		return fmt.Sprintf("%d min %d s", d/time.Minute, d%time.Minute/time.Second)
	}
	return fmt.Sprintf("%d s", d/time.Second)
}

// short shows a number to two figures, and whole from ten on.
func short(v float64) string {
	if v >= 10 || v <= -10 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.2g", v)
}

// amount shows a computed number with its unit.
//
//go:noinline
func amount(v float64, unit string) string { return quantity.Written(short(v), unit) }

// many is a number of things, in the singular or the plural.
func many[N int | int64](n N, one string) string {
	text, ends := one, strings.HasSuffix(one, "y")
	switch {
	case n == 1:
	case ends:
		text = strings.TrimSuffix(one, "y") + "ies"
	default:
		text += "s"
	}
	return fmt.Sprintf("%d %s", n, text)
}

// Capital begins words with a capital letter.
//
//go:noinline
func Capital(words string) string {
	if words == "" {
		return ""
	}
	r, size := utf8.DecodeRuneInString(words)
	return string(unicode.ToUpper(r)) + words[size:]
}

func sameDay(a, b time.Time) bool {
	ya, ma, da := a.Date()
	yb, mb, db := b.Date()
	return ya == yb && ma == mb && da == db
}

// escapes are the characters that mean something in Markdown.
var escapes = sync.OnceValue(func() *strings.Replacer {
	return strings.NewReplacer(
		`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`,
		"<", `\<`, ">", `\>`, "#", `\#`, "|", `\|`, "~", `\~`, "!", `\!`, "&", `\&`,
	)
})

// esc escapes words for use inside Markdown, on one line.
//
//go:noinline
func esc(text string) string { return escapes().Replace(term.Line(text)) }

// command shows what to type, in a code block, which is never wrapped.
//
//go:noinline
func command(line string) string { return "```\n" + term.Line(line) + "\n```\n" }

// lines collects Markdown.
type lines struct{ strings.Builder }

// WriteString adds text as it is.
// It is not inlined: its copies in all callers would take 10 KB.
//
//go:noinline
func (l *lines) WriteString(text string) (int, error) { return l.Builder.WriteString(text) }

// Inlined, it would stand in the program a hundred times.
//
//go:noinline
func (l *lines) add(format string, args ...any) { fmt.Fprintf(l, format+"\n", args...) }

// item adds one line of a list.
// It is not inlined: its copies in all callers would take 12 KB.
//
//go:noinline
func (l *lines) item(format string, args ...any) { l.add("- "+format, args...) }

// fact adds one line of a list that is not part of the document's own lists.
//
//go:noinline
func (l *lines) fact(format string, args ...any) { l.add("* "+format, args...) }

// caution adds a caution from a document, set off from the rest.
func (l *lines) caution(text string) {
	l.add("> **Caution.** %s\n", strings.ReplaceAll(tagless(strings.TrimSpace(text)), "\n", "\n> "))
}

// text adds Markdown from a document as it stands, between blank lines.
func (l *lines) text(markdown string) {
	if markdown = strings.TrimSpace(markdown); markdown != "" {
		l.add("\n%s\n", tagless(markdown))
	}
}

// tagsAndCode are code, which stays as it is, and a word in angle brackets.
var tagsAndCode = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile("(?s)```.*?```|`[^`\n]*`|\\\\.|<[A-Za-z/][^<>:@]*>")
})

// tagless has a word in angle brackets stay a word: documents have no HTML, which
// the terminal would leave out.
func tagless(markdown string) string {
	return tagsAndCode().ReplaceAllStringFunc(markdown, func(s string) string {
		if s[0] == '<' {
			return `\` + s
		}
		return s
	})
}
