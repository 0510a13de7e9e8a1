package workflow

import (
	"errors"
	"testing"
	"time"
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
