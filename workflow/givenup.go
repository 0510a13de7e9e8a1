package workflow

import (
	"context"
	"errors"
	"slices"

	"fettle/steps/sorting"
	"fettle/workflow/plan"
)

// givingsMost is how many ways to give up ends that run are tried before all of a conflict are given up at once.
const givingsMost = 40

// A givenUp is how far each of the ends that run already is given up: 1, what was to be spared of it, but for so many of [spareParts]; 2, all of
// it. The others are kept.
type givenUp []struct {
	end   runningEnd
	far   int
	spare int
}

// spareParts are in how many what is to be spared of a window is parted, where not all of it can be.
const spareParts = 8

//go:noinline
func (g givenUp) of(end runningEnd) int {
	for i := range g {
		if g[i].end == end {
			return g[i].far
		}
	}
	return 0
}

// with gives up one end further.
func (g givenUp) with(end runningEnd) givenUp {
	g = slices.Clone(g)
	for i := range g {
		if g[i].end == end {
			g[i].far++
			return g
		}
	}
	return append(g, givenUp{{end, 1, 0}}...)
}

// left is what can be spared of an end, where so many minutes were to be.
//
//go:noinline
func (g givenUp) left(end runningEnd, minutes int) int {
	for i := range g {
		if g[i].end == end && g[i].far > 0 {
			return minutes * g[i].spare / spareParts
		}
	}
	return minutes
}

// sparing looks for a plan that spares as much as can be of each end that it gives up only that of, the first to close first: also where it
// finishes later for that. So nobody waits with a join till its window closes who could do it before.
func (of *scheduler) sparing(ctx context.Context, o plan.Options, best Timetable, g givenUp) Timetable {
	g = slices.Clone(g)
	sorting.Stable(g, func(i, k int) int { return compareTimes(g[i].end.closes, g[k].end.closes) })
	for i := range g {
		for least, most := 0, spareParts-1; g[i].far == 1 && least < most && !of.think.over(ctx, searchLeast); {
			g[i].spare = (least + most + 1) / 2
			of.slack = slices.Clone(g)
			t, ends, err := of.attempt(ctx, o)
			if len(ends) > 0 || err != nil {
				var no *NoPlan
				if errors.As(err, &no) && no.Why == NotFound {
					best.Proven, best.Bound = false, of.base
				}
				most, g[i].spare = g[i].spare-1, least
				continue
			}
			t.Proven = t.Proven && best.Proven
			best, least = t, g[i].spare
		}
	}
	return best
}

func (g givenUp) same(other givenUp) bool {
	for i := range g {
		if other.of(g[i].end) != g[i].far {
			return false
		}
	}
	return len(g) == len(other)
}

// cost is least where the fewest are lost, and then where something is spared of the most.
func (g givenUp) cost() (n int) {
	for i := range g {
		if n++; g[i].far == 2 {
			n += 1 << 16
		}
	}
	return n
}
