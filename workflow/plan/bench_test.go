package plan_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"fettle/workflow/plan"
)

// fleet makes airframes of so many stages of five steps: cut, coat, join inside a window, press again inside another,
// cure and look; two sittings a week and one pair of hands.
func fleet(airframes, stages int, seed uint64) plan.Problem {
	r := rand.New(rand.NewPCG(seed, 0))
	p := plan.Problem{Capacity: []int{1}}
	work := 0
	for f := range airframes {
		add := func(length int) int {
			work += length
			p.Activities = append(p.Activities, plan.Activity{Length: length, Needs: []int{1}, Attended: true, Group: f})
			return len(p.Activities) - 1
		}
		delay := func(from, to, least int) { p.Delays = append(p.Delays, plan.Delay{From: from, To: to, Least: least}) }
		before, gap := -1, 0
		for range stages {
			cut, coat, join, press, look := add(5+r.IntN(16)), add(3+r.IntN(4)), add(2+r.IntN(4)), add(1), add(3+r.IntN(5))
			if before >= 0 {
				delay(before, cut, gap)
			}
			delay(cut, coat, p.Activities[cut].Length)
			delay(coat, join, 12)
			delay(join, coat, -35)
			delay(join, press, 20)
			delay(press, join, -30)
			delay(join, look, 24*60/(1+r.IntN(24)))
			before, gap = look, p.Activities[look].Length
			if r.IntN(3) == 0 { // the next stage need not wait for this cure
				before, gap = press, 1
			}
		}
	}
	const day = 24 * 60
	for week := range work/100 + stages + 3 {
		p.Sittings = append(p.Sittings, plan.Span{From: week * 7 * day, To: week*7*day + 120},
			plan.Span{From: week*7*day + 4*day, To: week*7*day + 4*day + 180})
	}
	return p
}

func BenchmarkFleet(b *testing.B) {
	for _, c := range []struct {
		airframes int
		think     time.Duration
	}{{1, time.Second}, {2, time.Second}, {4, time.Second}, {8, 5 * time.Second}, {16, 5 * time.Second}, {50, 5 * time.Second},
		{100, 10 * time.Second}, {300, 20 * time.Second}, {1000, 60 * time.Second}} {
		b.Run(fmt.Sprint(c.airframes), func(b *testing.B) {
			var r plan.Result
			for i := 0; b.Loop(); i++ {
				r = solved(b, fleet(c.airframes, 12, 1), plan.Options{Think: c.think})
			}
			b.ReportMetric(float64(r.Finish), "finish")
			b.ReportMetric(float64(r.Bound), "bound")
			b.ReportMetric(100*float64(r.Finish-r.Bound)/float64(max(r.Bound, 1)), "gap%")
		})
	}
}
