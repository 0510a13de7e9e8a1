package plan

// A heap holds numbers, the heaviest first.
type heap struct {
	all, at []int32 // at: by number, 1 + where it is; 0: not in the heap, -1: never to be
}

func (h *heap) up(x int32, weight []float64) {
	if int(x) >= len(h.at) || h.at[x] <= 0 {
		return
	}
	i := h.at[x] - 1
	for i > 0 {
		up := (i - 1) / 2
		if y := h.all[up]; weight[y] >= weight[x] {
			break
		} else {
			h.all[i], h.at[y] = y, i+1
		}
		i = up
	}
	h.all[i], h.at[x] = x, i+1
}

//go:noinline
func (h *heap) insert(x int32, weight []float64) {
	if int(x) < len(h.at) && h.at[x] == 0 {
		h.all = append(h.all, x)
		h.at[x] = int32(len(h.all))
		h.up(x, weight)
	}
}

// top takes the heaviest out; -1 when empty.
func (h *heap) top(weight []float64) int32 {
	if len(h.all) == 0 {
		return -1
	}
	first := h.all[0]
	h.at[first] = 0
	n := int32(len(h.all) - 1)
	x := h.all[n]
	h.all = h.all[:n]
	if n == 0 {
		return first
	}
	i := int32(0)
	for {
		k := 2*i + 1
		if k >= n {
			break
		}
		if k+1 < n && weight[h.all[k+1]] > weight[h.all[k]] {
			k++
		}
		if weight[x] >= weight[h.all[k]] {
			break
		}
		h.all[i], h.at[h.all[k]] = h.all[k], i+1
		i = k
	}
	h.all[i], h.at[x] = x, i+1
	return first
}
