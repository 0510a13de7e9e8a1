package page

import (
	"testing"
	"time"
)

func TestTheLastMinuteHasSeconds(t *testing.T) {
	c := Clock{Now: time.Date(2026, 3, 3, 19, 0, 30, 500, time.Local)}
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
