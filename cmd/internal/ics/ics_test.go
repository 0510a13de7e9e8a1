package ics

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// The values are examples of RFC 5545, from the sections named.
func TestExamplesOfTheStandard(t *testing.T) {
	for _, test := range []struct{ section, got, want string }{
		{"3.3.5", instant(time.Date(1998, 1, 19, 2, 0, 0, 0, time.FixedZone("EST", -5*3600))), "19980119T070000Z"},
		{"3.5", "DTSTART:" + instant(time.Date(1996, 4, 15, 13, 30, 0, 0, time.UTC)), "DTSTART:19960415T133000Z"},
		{"3.3.11", text("Project XYZ Final Review\nConference Room - 3B\nCome Prepared."), `Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`},
		{"3.2.1", text("Project XYZ Review Meeting will include the following agenda items: (a) Market Overview, (b) Finances, (c) Project Management"),
			`Project XYZ Review Meeting will include the following agenda items: (a) Market Overview\, (b) Finances\, (c) Project Management`},
	} {
		if test.got != test.want {
			t.Errorf("section %s: %s, want %s", test.section, test.got, test.want)
		}
	}
	// Section 3.1: a fold is a line end and a space, which are taken out again.
	if got := unfold("DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"); got != "DESCRIPTION:This is a long description that exists on a long line.\r\n" {
		t.Errorf("section 3.1: %q", got)
	}
	// Section 3.4, with the sequence that every event here has.
	var b bytes.Buffer
	err := Write(&b, "hacksw/handcal", time.Date(1997, 6, 10, 17, 23, 45, 0, time.UTC), []Event{{
		UID: "19970610T172345Z-AF23B2@example.com", Summary: "Bastille Day Party",
		Start: time.Date(1997, 7, 14, 17, 0, 0, 0, time.UTC), End: time.Date(1997, 7, 15, 4, 0, 0, 0, time.UTC),
	}})
	want := strings.ReplaceAll(`BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//hacksw/handcal//EN
BEGIN:VEVENT
UID:19970610T172345Z-AF23B2@example.com
DTSTAMP:19970610T172345Z
SEQUENCE:0
DTSTART:19970714T170000Z
DTEND:19970715T040000Z
SUMMARY:Bastille Day Party
END:VEVENT
END:VCALENDAR
`, "\n", "\r\n")
	if err != nil || b.String() != want {
		t.Errorf("section 3.4: %v\n%s, want\n%s", err, b.String(), want)
	}
}

// unfold takes folds out, as section 3.1 says.
func unfold(calendar string) string { return strings.ReplaceAll(calendar, "\r\n ", "") }

// Whatever the texts are, no line is longer than 75 octets, none breaks a character, and
// what is read back by sections 3.1 and 3.3.11 is what was written.
func TestAnyText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		said := rapid.StringOfN(rapid.RuneFrom([]rune(`abc ,;:\"é—漢🪶`+"\n")), 0, 200, -1).Draw(t, "text")
		var b bytes.Buffer
		at := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
		if err := Write(&b, "fettle", at, []Event{{UID: "u", Start: at, Summary: said, Alarms: []time.Time{at}}}); err != nil {
			t.Fatal(err)
		}
		for line := range strings.SplitSeq(b.String(), "\r\n") {
			if len(line) > 75 || !utf8.ValidString(line) || strings.ContainsAny(line, "\r\n") {
				t.Fatalf("line of %d octets: %q", len(line), line)
			}
		}
		found := 0
		for line := range strings.SplitSeq(unfold(b.String()), "\r\n") {
			name, value, _ := strings.Cut(line, ":")
			if name != "SUMMARY" && name != "DESCRIPTION" {
				continue
			}
			found++
			var back strings.Builder
			for i := 0; i < len(value); i++ {
				switch {
				case value[i] != '\\':
					back.WriteByte(value[i])
				case value[i+1] == 'n':
					back.WriteByte('\n')
					i++
				default:
					i++
					back.WriteByte(value[i])
				}
			}
			if back.String() != said {
				t.Fatalf("%q is read back as %q", said, back.String())
			}
		}
		if found != 2 {
			t.Fatalf("%d texts in\n%s", found, b.String())
		}
	})
}

// What no calendar can hold is not in it.
func TestControls(t *testing.T) {
	if got := text("bell\a, escape \x1b[31m\x7f and \xff"); got != `bell \, escape  [31m  and `+"\uFFFD" {
		t.Errorf("%q", got)
	}
	var b bytes.Buffer
	at := time.Date(2026, 3, 3, 19, 0, 0, 1, time.UTC)
	for end, want := range map[time.Duration]string{90 * time.Second: "DTSTART:20260303T190001Z\r\nDTEND:20260303T190130Z\r\n", time.Second: "DTSTART:20260303T190001Z\r\nSUMMARY"} {
		if err := Write(&b, "fettle", at, []Event{{UID: "u", Start: at, End: at.Add(end)}}); err != nil || !strings.Contains(b.String(), want) {
			t.Errorf("a window of %v is\n%s", end, b.String())
		}
	}
}
