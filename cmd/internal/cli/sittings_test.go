package cli

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/workflow"
)

// What is written of sittings, and when they are by the clock on the wall of Berlin. Its clocks went forward at 02:00 on
// 29 March 2026 and back at 03:00 on 25 October 2026 (IANA time zone database, Europe/Berlin).
func TestSittings(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	for _, test := range []struct {
		now, texts string // apart by |
		want       string // the first, with offset where it matters; or what is refused
	}{
		{"2026-03-05 18:00", "today 19:00-21:00|sat 14:00-17:00", "Thu 5 19:00-21:00, Sat 7 14:00-17:00"},
		{"2026-03-05 18:00", "Saturday 14:00 – 17:00|tomorrow 20:00-21:30", "Fri 6 20:00-21:30, Sat 7 14:00-17:00"},
		{"2026-03-07 15:00", "sat 14:00-17:00", "Sat 7 14:00-17:00"},
		{"2026-03-07 17:00", "sat 14:00-17:00", "Sat 7 14:00-17:00, Sat 14 14:00-17:00"}, // what is open may need its overtime
		{"2026-03-07 17:30", "sat 14:00-17:00", "Sat 14 14:00-17:00"},
		{"2026-03-05 18:00", "2026-03-07 14:00-17:00", "Sat 7 14:00-17:00"},
		{"2026-03-06 18:00", "every weekday 19:30-21:00", "Fri 6 19:30-21:00, Mon 9 19:30-21:00, Tue 10 19:30-21:00"},
		{"2026-03-06 18:00", "every day 19:30-21:00", "Fri 6 19:30-21:00, Sat 7 19:30-21:00, Sun 8 19:30-21:00"},
		{"2026-03-06 18:00", "every weekend 9:00-12:00", "Sat 7 09:00-12:00, Sun 8 09:00-12:00, Sat 14 09:00-12:00"},
		{"2026-03-06 18:00", "every tue 19:00-21:00|fri 19:00-20:00", "Fri 6 19:00-20:00, Tue 10 19:00-21:00, Tue 17 19:00-21:00"},

		// What is said of a day comes before what is repeated; those that touch are one; midnight is passed.
		{"2026-03-05 18:00", "every weekday 19:30-21:00|today 19:00-22:00", "Thu 5 19:00-22:00, Fri 6 19:30-21:00, Mon 9 19:30-21:00"},
		{"2026-03-03 18:00", "every tue 19:00-20:00|today 20:10-20:40", "Tue 3 20:10-20:40, Tue 10 19:00-20:00, Tue 17 19:00-20:00"},
		{"2026-03-02 18:00", "wed 20:00-20:40|every weekday 19:00-19:40", "Mon 2 19:00-19:40, Tue 3 19:00-19:40, Wed 4 20:00-20:40"},
		{"2026-03-05 18:00", "sat 00:30-02:00|every fri 22:00-01:00", "Sat 7 00:30-02:00, Fri 13 22:00-01:00, Fri 20 22:00-01:00"},
		{"2026-03-05 18:00", "sat 14:00-17:00|every fri 22:00-01:00", "Fri 6 22:00-01:00, Sat 7 14:00-17:00, Fri 13 22:00-01:00"},
		{"2026-03-05 18:00", "today 19:00-20:00|today 20:00-21:00", "Thu 5 19:00-21:00"},
		{"2026-03-05 18:00", "fri 22:00-01:00", "Fri 6 22:00-01:00"},
		{"2026-03-07 00:30", "every fri 22:00-01:00", "Fri 6 22:00-01:00, Fri 13 22:00-01:00, Fri 20 22:00-01:00"},
		{"2026-03-05 18:00", "fri 22:00-24:00", "Fri 6 22:00-00:00"},

		{"2026-03-05 18:00", "today 19:00-21:00|today 20:00-22:00", `the sittings "today 19:00-21:00" and "today 20:00-22:00" overlap on Thu 5 Mar`},
		{"2026-03-05 18:00", "every day 19:00-21:00|every fri 20:00-22:00", `overlap on Fri 6 Mar`},
		{"2026-03-05 18:00", "today 21:00-19:00", "ends before it starts"},
		{"2026-03-05 18:00", "today 19:00-19:00", "ends before it starts"},
		{"2026-03-05 18:00", "today 19:00-21:00| sat 14:00-13:00", `"sat 14:00-13:00" ends before it starts`}, // as in the config
		{"2026-03-05 21:30", "today 19:00-21:00", `"today 19:00-21:00" is over: it is Thu 5 Mar 21:30 now`},
		{"2026-03-05 21:30", "2026-03-01 19:00-21:00", "is over"},
		{"2026-03-05 21:30", "2062-03-01 19:00-21:00", "more than a year away"},
		{"2026-03-05 18:00", "today", "is not a sitting"},
		{"2026-03-05 18:00", "today 19-21", "is not a sitting"},
		{"2026-03-05 18:00", "today 24:00-01:00", "is not a sitting"},
		{"2026-03-05 18:00", "someday 19:00-21:00", "is not a sitting"},
		{"2026-03-05 18:00", "2026-02-30 19:00-21:00", "is not a sitting"},
		{"2026-03-05 18:00", "every today 19:00-21:00", "is not a sitting"},

		// The nights of the time changes. Of what is repeated only what is certain counts.
		{"2026-03-28 18:00", "sun 02:30-04:00", "02:30 on Sun 29 Mar does not exist"},
		{"2026-03-28 18:00", "sun 01:00-02:30", "02:30 on Sun 29 Mar does not exist"},
		{"2026-03-28 18:00", "sun 01:00-03:30", "Sun 29 01:00+01:00-03:30+02:00"},
		{"2026-03-28 18:00", "every day 02:30-04:00", "Sun 29 03:30+02:00-04:00+02:00, Mon 30 02:30-04:00, Tue 31 02:30-04:00"},
		{"2026-03-28 18:00", "every day 02:10-02:50", "Mon 30 02:10-02:50, Tue 31 02:10-02:50, Wed 1 02:10-02:50"},
		{"2026-03-28 18:00", "every day 23:30-02:30", "Sat 28 23:30+01:00-03:00+02:00, Sun 29 23:30-02:30, Mon 30 23:30-02:30"},
		{"2026-10-24 18:00", "sun 02:15-04:00", "02:15 on Sun 25 Oct comes twice"},
		{"2026-10-24 18:00", "sat 23:00-02:15", "02:15 on Sun 25 Oct comes twice"},
		{"2026-10-24 18:00", "sun 01:15-04:00", "Sun 25 01:15+02:00-04:00+01:00"},
		{"2026-10-24 18:00", "every day 02:15-04:00", "Sun 25 02:15+01:00-04:00+01:00, Mon 26 02:15-04:00, Tue 27 02:15-04:00"},
		{"2026-10-24 18:00", "every day 02:15-02:45", "Mon 26 02:15-02:45, Tue 27 02:15-02:45, Wed 28 02:15-02:45"},
	} {
		now, err := time.ParseInLocation("2006-01-02 15:04", test.now, berlin)
		if err != nil {
			t.Fatal(err)
		}
		found, err := stated(strings.Split(test.texts, "|"), now, byPlan)
		if err != nil {
			if !strings.Contains(err.Error(), test.want) {
				t.Errorf("%s at %s: %v, want %s", test.texts, test.now, err, test.want)
			}
			continue
		}
		layout := "15:04"
		if strings.Contains(test.want, "+") {
			layout = "15:04Z07:00"
		}
		var got []string
		for i, s := range found {
			if i < 3 {
				if i > 0 {
					layout = "15:04"
				}
				got = append(got, s.From.Format("Mon 2 "+layout)+"-"+s.To.Format(layout))
			}
		}
		if text := strings.Join(got, ", "); text != test.want {
			t.Errorf("%s at %s: %s, want %s", test.texts, test.now, text, test.want)
		}
	}
	now := time.Date(2026, 3, 5, 21, 30, 0, 0, berlin)
	if found, err := stated([]string{"2026-03-01 19:00-21:00", "every thu 19:00-21:00"}, now, bySettings); err != nil || len(found) == 0 || found[0].From.Day() != 12 {
		t.Errorf("standing sittings: %v, %v; those that are over are left out", found, err)
	}
	// What was said of today still is said of it once that is over; of the next Thursday nothing is said.
	for text, want := range map[string]int{"2026-03-05 19:00-20:00": 6, "today 19:00-20:00": 6, "thu 19:00-20:00": 5} {
		if found, err := stated([]string{text, "every day 22:00-23:00"}, now, bySettings); err != nil || len(found) == 0 || found[0].From.Day() != want {
			t.Errorf("%s: %d sittings from %v, %v", text, len(found), found[:min(1, len(found))], err)
		}
	}
	if _, err := stated([]string{"every weekday 19:30-21:00"}, now, byPlan); err != nil {
		t.Error(err)
	}
	var short []string
	for minute := 6 * 60; minute < 13*60; minute += 15 {
		short = append(short, fmt.Sprintf("every day %02d:%02d-%02d:%02d", minute/60, minute%60, minute/60, minute%60+10))
	}
	if _, err := stated(short[:24], now, bySettings); err != nil {
		t.Error(err)
	}
	if _, err := stated(short, now, bySettings); err == nil || !strings.Contains(err.Error(), "in 26 weeks; a plan can be for at most 4368: write fewer") {
		t.Errorf("28 sittings a day: %v", err)
	}
}

// stated are the sittings that were said, without what is assumed.
func stated(texts []string, now time.Time, by sayer) ([]workflow.Sitting, error) {
	h, err := sittings(texts, now, by)
	return h.Sittings, err
}

// Whatever is written, what is read is in order, apart and not over.
func FuzzSittings(f *testing.F) {
	for _, text := range []string{"today 19:00-21:00", "every day 02:30-04:00|sun 01:00-03:30", "every fri 22:00-01:00|sat 00:30-02:00", "2026-10-25 02:15-04:00"} {
		f.Add(text, int64(1792864800))
	}
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		f.Skip(err)
	}
	f.Fuzz(func(t *testing.T, texts string, unix int64) {
		now := time.Unix(unix%(1<<33), 0).In(berlin)
		found, err := stated(strings.Split(texts, "|"), now, byPlan)
		if err != nil {
			return
		}
		last := now
		for i, s := range found {
			if !s.From.Before(s.To) || !s.To.Add(workflow.OvertimeMost).After(now) || i > 0 && !s.From.After(last) {
				t.Fatalf("%q at %s: %v", texts, now, found)
			}
			last = s.To
		}
	})
}

// Whoever waits for the next step waits no longer than half a second for a plan.
func TestReplanningIsShort(t *testing.T) {
	if thinkAgain > 500*time.Millisecond {
		t.Errorf("it is planned anew for %s", thinkAgain)
	}
}

// A day is known where it has no midnight, as where the clocks go forward from 24:00 (IANA time zone database, America/Santiago,
// 6 September 2026).
func TestSittingsOfADayWithoutMidnight(t *testing.T) {
	zone, err := time.LoadLocation("America/Santiago")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	now := time.Date(2026, 9, 5, 12, 0, 0, 0, zone)
	for text, want := range map[string]string{
		"every day 19:00-21:00":  "Sat 5 19:00",
		"tomorrow 14:00-17:00":   "Sun 6 14:00",
		"sun 14:00-17:00":        "Sun 6 14:00",
		"2026-09-06 14:00-17:00": "Sun 6 14:00",
	} {
		if got, err := stated([]string{text}, now, byPlan); err != nil || got[0].From.Format("Mon 2 15:04") != want {
			t.Errorf("%s: %v, %v; want %s", text, got[:min(1, len(got))], err, want)
		}
	}
}
