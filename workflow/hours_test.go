package workflow

import (
	"errors"
	"testing"
	"time"

	"fettle/steps"
)

// A coat that is open when the sitting is over is joined in overtime, for as long as that takes and no other work; what can
// wait does. Its coat is on at 1 here, it may be joined from 11 until 40.
func TestScheduleJoinsInOvertime(t *testing.T) {
	const day = 24 * 60
	for name, c := range map[string]struct {
		now      int
		sittings []Sitting
		want     string
		overtime []int // from, to
	}{
		"over by a minute":         {31, open(0, 30, day, day+60), "join 31, | other 1440, | ends 1445", []int{31, 32}},
		"over by a minute, at end": {31, open(0, 30), "join 31, | other 10080, | ends 10085", []int{31, 32}},
		"it is over too soon":      {8, open(0, 9, day, day+60), "join 11, | other 1440, | ends 1445", []int{11, 12}},
		"over for an hour":         {31, open(-90, -30, day, day+60), "", nil},
		"the next one is in time":  {31, open(0, 30, 34, 60), "join 34, other 35, | ends 40", nil},
		"it goes on for longer":    {29, open(0, 29, 29, 30, day, day+60), "join 29, | other 1440, | ends 1445", nil},
	} {
		coat, other := coating("coat", "tab"), plain("other")
		coat.Hands, other.Hands = q("1 min"), q("5 min")
		b := working(t, one("one", coat, joining("join", "tab")), one("two", other))
		b.after(time.Minute)
		b.done("coat")
		now := evening.Add(time.Duration(c.now) * time.Minute)
		p, err := scheduled(t, now, Hours{Sittings: c.sittings, Again: name == "over by a minute, at end"}, b.state)
		switch {
		case err != nil:
			t.Errorf("%s: %v", name, err)
		case c.want == "" && (len(p.Lapses) != 1 || !p.Lapses[0].Lost):
			t.Errorf("%s: %s", name, says(p))
		case c.overtime != nil:
			v := p.Visits[0]
			if !v.Overtime || p.Visits[1].Overtime || v.From.Sub(evening).Minutes() != float64(c.overtime[0]) || v.To.Sub(evening).Minutes() != float64(c.overtime[1]) || len(v.Turns) != 1 || v.Turns[0].Step != "join" {
				t.Errorf("%s: from %s to %s: %s", name, v.From, v.To, says(p))
			}
		case c.want != "" && says(p) != c.want:
			t.Errorf("%s: %s, want %s", name, says(p), c.want)
		}
	}
	b := working(t, one("one", plain("other")))
	var no *NoPlan
	if _, err := scheduled(t, evening.Add(31*time.Minute), Hours{Sittings: open(0, 30)}, b.state); !errors.As(err, &no) || no.Why != NoSitting {
		t.Errorf("with nothing open: %v", err)
	}
}

// A coat is joined in overtime also where something must be hot for that: it is heated again if it stands cold, and ended before anybody
// leaves. What else it is for waits for the next sitting.
func TestScheduleHeatsInOvertime(t *testing.T) {
	hot, cold := steps.Setting{Condition: "gun", State: "hot"}, steps.Setting{Condition: "gun", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "gun", States: []string{"hot", "cold"}, Bench: true})
	heat, cool, join, more := hands("heat", "5 min"), hands("cool", "2 min"), joining("join", "tab"), hands("more", "5 min")
	heat.Sets, cool.Sets, join.Needs, more.Needs = []steps.Setting{hot}, []steps.Setting{cold}, []steps.Setting{hot}, []steps.Setting{hot}
	for _, is := range []struct {
		now    int
		stands bool
		want   string
		lasts  []int
	}{
		{8, false, "heatready 8, join 13, coolsafe 14, ", []int{8, 16}},
		{8, true, "join 10, coolsafe 11, ", []int{8, 16}},
		{16, false, "heatready 16, join 21, coolsafe 22, ", []int{16, 24}},
		{16, true, "join 16, coolsafe 17, ", []int{16, 19}},
	} {
		b := workingOn(t, in, one("one", heat, coating("coat", "tab"), join, more, cool))
		b.done("heat", "coat")
		if !is.stands {
			b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
		}
		b.after(minutesOf(is.now))
		p, err := scheduled(t, b.now, Hours{Sittings: open(-60, 8, 1440, 1500)}, b.state)
		want := is.want + "| heatready 1440, more 1445, cool 1450, | ends 1452"
		if err != nil || says(p) != want || atOnce(p) != "" {
			t.Errorf("at %d: %s, %v, want %s: %s", is.now, says(p), err, want, atOnce(p))
			continue
		}
		if v := p.Visits[0]; !v.Overtime || !v.From.Equal(evening.Add(minutesOf(is.lasts[0]))) || !v.To.Equal(evening.Add(minutesOf(is.lasts[1]))) {
			t.Errorf("at %d: from %s to %s, overtime %t", is.now, v.From, v.To, v.Overtime)
		}
	}
}

// What stands hot while a coat is joined in overtime is ended after that, by whoever joins it: no coat is lost for it.
func TestScheduleEndsWhatStandsInOvertime(t *testing.T) {
	const day = 24 * 60
	b := parts(t, 3)
	b = workingOn(t, b.state.Sheet, b.state.Jobs[0].Procedure.Stages[0], one("glue", coating("coat", "tab"), joining("join", "tab")))
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
	b.done("warm", "coat")
	b.after(14 * time.Minute)
	p, err := scheduled(t, b.now, Hours{Sittings: open(-60, 5, day, day+60, 2*day, 2*day+60)}, b.state)
	want := "join 14, offsafe 15, | warmready 1440, read 1448, film-1 1453, film-2 1473, offsafe 1493, | warmready 2880, readready 2888, film-3 2893, off 2913, | ends 2914, not proven"
	if err != nil || says(p) != want || atOnce(p) != "" {
		t.Errorf("%s, %v, want %s: %s", says(p), err, want, atOnce(p))
	}
}
