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

// heated has the first cut of every fourth stage done with heat, which no coat of the same airframe may be open beside, nor
// one of the next.
func heated(p plan.Problem) plan.Problem {
	for hot := 0; hot < len(p.Activities); hot += 20 {
		for cut := 0; cut < len(p.Activities); cut += 5 {
			coat, join := cut+1, cut+2
			if g := p.Activities[cut].Group - p.Activities[hot].Group; g == 0 || g == 1 {
				p.Either = append(p.Either, plan.Either{One: plan.Delay{From: hot, To: coat, Least: p.Activities[hot].Length},
					Other: plan.Delay{From: join, To: hot, Least: p.Activities[join].Length}})
			}
		}
	}
	return p
}

// The time to proof.
func BenchmarkExact(b *testing.B) {
	for _, c := range []struct {
		name string
		p    plan.Problem
	}{{"ft06", jobShop(ft06)}, {"ft10", jobShop(ft10)}, {"ft20", jobShop(ft20)}, {"la01", jobShop(la01)}, {"la02", jobShop(la02)},
		{"la03", jobShop(la03)}, {"la04", jobShop(la04)}, {"la05", jobShop(la05)}, {"psp2", projectMax(psp2)}, {"fleet1", fleet(1, 12, 1)},
		{"fleet2", fleet(2, 12, 1)}, {"fleet2-heated", heated(fleet(2, 12, 1))}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if r := solved(b, c.p, plan.Options{Think: time.Minute}); !r.Proven {
					b.Fatal("not proven")
				}
			}
		})
	}
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
