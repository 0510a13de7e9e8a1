package plan

import "fettle/steps/sorting"

// turnsMost is how many sets of activities that take turns are looked at besides the resources, and in how large a problem.
const (
	turnsMost  = 4
	turnsAmong = 100
)

// turns makes a unary for activities of which each two are kept apart, some by a resource of which both need too much, some by
// delays: for the sets with most to do (Brucker, Knust, Schoo and Thiele 1998: from memory, not opened).
func (m *model) turns(p *Problem, d [][]int32) {
	s, n := m.s, len(m.free)
	if len(m.pairs) == 0 || n > turnsAmong {
		return
	}
	length := func(x int) int32 { return int32(p.Activities[m.free[x]].Length) }
	apart, clashes := make([][]bool, n), make([]bool, n)
	for x := range apart {
		apart[x] = make([]bool, n)
		for y := range n {
			apart[x][y] = x != y && (d[x][y] >= length(x) || d[y][x] >= length(y))
		}
	}
	for _, o := range m.pairs {
		x, y := o[0], o[1]
		apart[x][y], apart[y][x], clashes[x], clashes[y] = true, true, true, true
	}
	var all []turnTakers
	for seed := range n {
		if !clashes[seed] {
			continue
		}
		c := turnTakers{in: make([]bool, n)}
		for x := seed; x >= 0; {
			c.in[x] = true
			c.work += length(x)
			x = -1
			for y := range n { // the longest of those apart from all that are in
				fits := !c.in[y] && length(y) > 0 && (x < 0 || length(y) > length(x))
				for z := 0; fits && z < n; z++ {
					fits = !c.in[z] || apart[y][z]
				}
				if fits {
					x = y
				}
			}
		}
		all = append(all, c)
	}
	sorting.Stable(all, func(i, k int) int {
		a, b := &all[i], &all[k]
		return int(b.work - a.work)
	})
	count := 0
	for k := range all {
		if count == turnsMost {
			break
		}
		u := &unary{}
		for x, in := range all[k].in {
			if in {
				u.x, u.length = append(u.x, int32(x)), append(u.length, length(x))
			}
		}
		if len(u.x) < 4 || len(u.x) > unaryMost || m.known(u.x) {
			continue
		}
		s.propagator(u, u.x)
		count++
	}
}

// Turn takers are activities by variable, and the minutes that they take together.
type turnTakers struct {
	in   []bool
	work int32
}

// known says whether some unary has these activities already.
func (m *model) known(x []int32) bool {
	for _, t := range m.s.tables {
		u, is := t.(*unary)
		same := is && len(u.x) == len(x)
		for k := 0; same && k < len(x); k++ {
			same = u.x[k] == x[k]
		}
		if same {
			return true
		}
	}
	return false
}
