package workflow

import "slices"

// givingsMost is how many ways to give up ends that run are tried before all of a conflict are given up at once.
const givingsMost = 40

// A givenUp is how far each of the ends that run already is given up: 1, what was to be spared of it; 2, all of it. The
// others are kept.
type givenUp []struct {
	end runningEnd
	far int
}

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
	return append(g, givenUp{{end, 1}}...)
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
