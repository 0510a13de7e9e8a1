package cli

import (
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/steps/quantity"
)

// when reads a moment as people write it: 19:02 (today), 2026-03-03 19:02, RFC
// 3339, or how long ago it was: -10m, "10 min ago". A moment in the future is refused. In an
// hour that occurs twice it is the later moment, unless that is in the future.
func (a *app) when(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	now := a.time.Now().In(time.Local)
	t, err := moment(text, now)
	if err == nil && t.After(now) {
		return t, usage("%q is in the future: it is %s now; write the day too, as in \"2026-03-03 19:02\"", text, now.Format("2006-01-02 15:04"))
	}
	return t, err
}

func moment(text string, now time.Time) (time.Time, error) {
	before, ago := strings.CutSuffix(text, " ago")
	if !ago {
		before, ago = strings.CutPrefix(text, "-")
	}
	if ago {
		d, err := parseDuration(before)
		return now.Add(-d), err
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	for _, layout := range []string{"15:04", "2006-01-02 15:04", "2006-01-02T15:04"} {
		t, err := time.ParseInLocation(layout, text, now.Location())
		if err != nil {
			continue
		}
		if layout == "15:04" {
			t = time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, now.Location())
		}
		return lastInstant(t, now), nil
	}
	return time.Time{}, usage("%q is not a time; write 19:02, \"2026-03-03 19:02\" or -10m, which is ten minutes ago", text)
}

// lastInstant is the latest instant, not in the future, with the same local time
// as t. When clocks go back an hour is repeated, and there are two such instants.
// If both are in the future it is the earlier.
func lastInstant(t, now time.Time) time.Time {
	_, before := t.Add(-24 * time.Hour).Zone()
	_, after := t.Add(24 * time.Hour).Zone()
	_, offset := t.Zone()
	first, second := t.Add(time.Duration(offset-before)*time.Second), t.Add(time.Duration(offset-after)*time.Second)
	const wall = "2006-01-02 15:04:05"
	switch {
	case first.Format(wall) != second.Format(wall): // the hour does not exist or is not repeated
		return t
	case second.After(now):
		return first
	}
	return second
}

func parseDuration(text string) (time.Duration, error) {
	q, err := quantity.Parse(text, quantity.Duration)
	if err == nil {
		err = quantity.Unclear(text, quantity.Duration)
	}
	if err != nil {
		return 0, usage("%v", err)
	}
	return q.Duration()
}

// day is the start of a day, or of the day so many days later.
func day(text string, after int) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.ParseInLocation("2006-01-02", text, time.Local)
	if err != nil {
		return t, usage("%q is not a day; write 2026-03-03", text)
	}
	return t.AddDate(0, 0, after), nil
}

// atFlag adds --at to a command and returns its value.
func atFlag(cmd *cobra.Command) *string {
	return cmd.Flags().String("at", "", "`WHEN` it happened, if not now: 19:02, \"2026-03-03 19:02\", -10m")
}
