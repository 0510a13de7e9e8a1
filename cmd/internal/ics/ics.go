// Package ics writes calendars as RFC 5545 has them. It writes what a calendar of the
// bench needs, and no more: events in UTC with alarms that show a text.
package ics

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// An Event is something at a time, or from one time to another.
type Event struct {
	UID         string    // the same for the same thing in every calendar that is written
	Sequence    int64     // counts up when the thing changes
	Start, End  time.Time // End zero: it is at Start
	Summary     string
	Description string
	Alarms      []time.Time // when to show the summary
	Cancelled   bool        // it was written before, and does not come
}

// Write writes a calendar of the events, as they are known at the time. program is who
// wrote it, such as "fettle 0.1".
func Write(to io.Writer, program string, now time.Time, events []Event) error {
	var w writer
	w.line("BEGIN", "VCALENDAR")
	w.line("VERSION", "2.0")
	w.line("PRODID", text("-//"+program+"//EN"))
	for _, e := range events {
		w.line("BEGIN", "VEVENT")
		w.line("UID", text(e.UID))
		w.line("DTSTAMP", instant(now))
		w.line("SEQUENCE", fmt.Sprint(e.Sequence))
		// Of a window that begins or ends within a second that second is left out.
		from := instant(e.Start.Add(time.Second - 1))
		w.line("DTSTART", from)
		if until := instant(e.End); until > from {
			w.line("DTEND", until)
		}
		w.line("SUMMARY", text(e.Summary))
		if e.Cancelled {
			w.line("STATUS", "CANCELLED")
		}
		if e.Description != "" {
			w.line("DESCRIPTION", text(e.Description))
		}
		for _, at := range e.Alarms {
			w.line("BEGIN", "VALARM")
			w.line("ACTION", "DISPLAY")
			w.line("TRIGGER;VALUE=DATE-TIME", instant(at))
			w.line("DESCRIPTION", text(e.Summary))
			w.line("END", "VALARM")
		}
		w.line("END", "VEVENT")
	}
	w.line("END", "VCALENDAR")
	_, err := io.WriteString(to, w.String())
	return err
}

// A writer collects content lines.
type writer struct{ strings.Builder }

// longest is how many octets a line may have without its end (section 3.1).
const longest = 75

// line adds a content line, folded where it is too long: not within a character, though
// the RFC would have it put together again.
func (w *writer) line(name, value string) {
	room := longest
	for _, r := range name + ":" + value {
		if size := utf8.RuneLen(r); size > room {
			w.WriteString("\r\n ")
			room = longest - 1
		}
		n, _ := w.WriteRune(r)
		room -= n
	}
	w.WriteString("\r\n")
}

// text is a value of type TEXT (section 3.3.11). Controls, which it cannot hold, become
// spaces, and bytes that are not UTF-8 the replacement character.
func text(value string) string {
	value = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r\n", `\n`, "\n", `\n`).Replace(strings.ToValidUTF8(value, "\uFFFD"))
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' || r == 0x7f {
			return ' '
		}
		return r
	}, value)
}

// instant is a value of type DATE-TIME in UTC (section 3.3.5, form 2).
func instant(t time.Time) string { return t.UTC().Format(layout) }

const layout = "20060102T150405Z"

// Read returns the events of a calendar that Write wrote, without their alarms. Of another
// calendar it returns what it finds.
func Read(calendar string) []Event {
	var events []Event
	var e Event
	alarm := false
	for line := range strings.SplitSeq(strings.ReplaceAll(calendar, "\r\n ", ""), "\r\n") {
		name, value, _ := strings.Cut(line, ":")
		switch line {
		case "BEGIN:VEVENT":
			e = Event{}
		case "END:VEVENT":
			events = append(events, e)
		case "BEGIN:VALARM", "END:VALARM":
			alarm = name == "BEGIN"
		}
		if alarm {
			continue
		}
		switch name {
		case "UID":
			e.UID = plain(value)
		case "SEQUENCE":
			e.Sequence, _ = strconv.ParseInt(value, 10, 64)
		case "DTSTART":
			e.Start, _ = time.Parse(layout, value)
		case "DTEND":
			e.End, _ = time.Parse(layout, value)
		case "SUMMARY":
			e.Summary = plain(value)
		case "DESCRIPTION":
			e.Description = plain(value)
		case "STATUS":
			e.Cancelled = value == "CANCELLED"
		}
	}
	return events
}

// plain is what a value of type TEXT says.
func plain(value string) string {
	return strings.NewReplacer(`\\`, `\`, `\;`, ";", `\,`, ",", `\n`, "\n", `\N`, "\n").Replace(value)
}
