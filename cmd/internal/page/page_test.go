package page

import (
	"strings"
	"testing"
	"time"
)

func TestTheLastMinuteHasSeconds(t *testing.T) {
	c := &Clock{Now: time.Date(2026, 3, 3, 19, 0, 30, 500, time.Local)}
	at := func(d time.Duration) time.Time { return c.Now.Truncate(time.Second).Add(d) }
	for d, want := range map[time.Duration]string{20 * time.Second: "19:00:50", time.Second: "19:00:31", 2 * time.Minute: "19:02", -5 * time.Second: "19:00"} {
		if got := c.At(at(d)); got != want {
			t.Errorf("%s away: %q, want %q", d, got, want)
		}
	}
	if got := c.In(at(time.Second)); got != "1 s" { // and not 0 s
		t.Errorf("in %s", got)
	}
	if from, to := c.Between(at(5*time.Minute), at(5*time.Minute+40*time.Second)); from != "19:05:30" || to != "19:06:10" {
		t.Errorf("from %s to %s", from, to)
	}
	if from, to := c.Between(at(5*time.Minute), at(9*time.Minute)); from != "19:05" || to != "19:09" {
		t.Errorf("from %s to %s", from, to)
	}
}

// Whoever was warned a moment ago is reminded, and never by half a sentence.
func TestALineOfACaution(t *testing.T) {
	for text, want := range map[string]string{
		"Knife.":                                 "Knife.",
		"Battery out. Never reach through it.":   "Battery out. Never reach through it.",
		"It burns.\n- The vapour sinks.":         "It burns.",
		strings.Repeat("long ", 30) + "end. Go.": strings.Repeat("long ", 30) + "end.",
		"Full power. Tied down, never in the hand. Everyone stands behind it, three metres off, and waits.": "Full power. Tied down, never in the hand.",
	} {
		if short := aLineOf(text); short != want {
			t.Errorf("of %q there is %q, want %q", text, short, want)
		}
	}
}
