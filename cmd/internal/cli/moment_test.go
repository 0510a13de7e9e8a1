package cli

import (
	"testing"
	"time"
	_ "time/tzdata" // the zones of the test, wherever it runs
)

// When the clocks go back an hour is there twice. They went back at 06:00 UTC on
// 1 November 2026 in New York (02:00 summer time) and at 01:00 UTC on 25 October
// 2026 in Berlin (03:00 summer time): the rules of the IANA time zone database.
func TestMomentInARepeatedHour(t *testing.T) {
	for _, c := range []struct{ zone, now, text, want string }{
		{"America/New_York", "2026-11-01T07:00:00Z", "01:15", "2026-11-01T06:15:00Z"},
		{"America/New_York", "2026-11-01T06:15:00Z", "01:15", "2026-11-01T06:15:00Z"},
		{"America/New_York", "2026-11-01T06:14:59Z", "01:15", "2026-11-01T05:15:00Z"},
		{"America/New_York", "2026-11-01T05:20:00Z", "01:15", "2026-11-01T05:15:00Z"},
		{"America/New_York", "2026-11-01T05:10:00Z", "01:15", "2026-11-01T05:15:00Z"}, // yet to come
		{"America/New_York", "2026-11-03T12:00:00Z", "2026-11-01 01:15", "2026-11-01T06:15:00Z"},
		{"America/New_York", "2026-11-03T12:00:00Z", "2026-11-01T01:15", "2026-11-01T06:15:00Z"},
		{"America/New_York", "2026-11-03T12:00:00Z", "2026-11-01T01:15:00-04:00", "2026-11-01T05:15:00Z"},
		{"America/New_York", "2026-11-03T12:00:00Z", "2026-11-01 00:15", "2026-11-01T04:15:00Z"},
		{"America/New_York", "2026-11-03T12:00:00Z", "2026-11-01 02:15", "2026-11-01T07:15:00Z"},
		{"Europe/Berlin", "2026-10-25T02:00:00Z", "02:15", "2026-10-25T01:15:00Z"},
		{"Europe/Berlin", "2026-10-25T01:14:59Z", "02:15", "2026-10-25T00:15:00Z"},
		{"Europe/Berlin", "2026-10-25T00:20:00Z", "02:15", "2026-10-25T00:15:00Z"},
		{"Europe/Berlin", "2026-10-27T12:00:00Z", "2026-10-25 02:15", "2026-10-25T01:15:00Z"},
		{"Europe/Berlin", "2026-10-27T12:00:00Z", "2026-10-25 03:15", "2026-10-25T02:15:00Z"},
		{"Europe/Berlin", "2026-07-01T12:00:00Z", "13:15", "2026-07-01T11:15:00Z"},
		{"Europe/Berlin", "2026-07-01T12:00:00Z", "-10m", "2026-07-01T11:50:00Z"},
		{"Europe/Berlin", "2026-07-01T12:00:00Z", "-1h30m", "2026-07-01T10:30:00Z"},
		{"Europe/Berlin", "2026-07-01T12:00:00Z", "-10 min", "2026-07-01T11:50:00Z"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		now, err := time.Parse(time.RFC3339, c.now)
		if err != nil {
			t.Fatal(err)
		}
		got, err := moment(c.text, now.In(zone))
		if err != nil || got.UTC().Format(time.RFC3339) != c.want {
			t.Errorf("%s in %s at %s is %s, %v; want %s", c.text, c.zone, c.now, got.UTC().Format(time.RFC3339), err, c.want)
		}
	}
}
