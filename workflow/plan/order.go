package plan

// inOrderOf sorts activities by a number that each has; of those with the same, the former stays the former. It is much
// quicker with many than what sorts anything.
//
//go:noinline
func inOrderOf(all, by []int) { merge(all, make([]int, len(all)), by) }

func merge(all, room, by []int) {
	if len(all) < 12 {
		for i := range all {
			for k := i; k > 0 && by[all[k-1]] > by[all[k]]; k-- {
				all[k-1], all[k] = all[k], all[k-1]
			}
		}
		return
	}
	half := len(all) / 2
	merge(all[:half], room[:half], by)
	merge(all[half:], room[half:], by)
	if by[all[half-1]] <= by[all[half]] {
		return
	}
	a, b := append(room[:0], all[:half]...), all[half:]
	for k := 0; len(a) > 0; k++ {
		if len(b) == 0 || by[a[0]] <= by[b[0]] {
			all[k], a = a[0], a[1:]
		} else {
			all[k], b = b[0], b[1:]
		}
	}
}

// ends are when activities that start then end.
//
//go:noinline
func (p *Problem) ends(starts []int) []int {
	all := make([]int, len(starts))
	for i, t := range starts {
		all[i] = t + p.Activities[i].Length
	}
	return all
}
