package plan

// A profile is what is used of a resource over time, in order, apart, no part of it zero.
type profile struct{ all []usage }

// from is the first part that ends after t.
func (f *profile) from(t int32) int {
	lo, hi := 0, len(f.all)
	for lo < hi {
		if m := (lo + hi) / 2; f.all[m].to <= t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

func (f *profile) insert(k int, u usage) {
	f.all = append(f.all, usage{})
	copy(f.all[k+1:], f.all[k:])
	f.all[k] = u
}

// add uses more from..to; less where more is negative.
func (f *profile) add(from, to, more int32) {
	if from >= to || more == 0 {
		return
	}
	k := f.from(from)
	first := k
	for t := from; t < to; k++ {
		if k == len(f.all) || f.all[k].from >= to { // nothing there to the end
			f.insert(k, usage{t, to, more})
			t = to
			continue
		}
		u := f.all[k]
		switch {
		case u.from > t:
			f.insert(k, usage{t, u.from, more})
			t = u.from
			continue
		case u.from < t:
			f.all[k].to = t
			f.insert(k+1, usage{t, u.to, u.sum})
			continue
		case u.to > to:
			f.all[k].from = to
			f.insert(k, usage{t, to, u.sum})
		}
		f.all[k].sum += more
		t = f.all[k].to
	}
	// Neighbours of one sum become one; what is not used any more goes.
	lo := max(first-1, 0)
	hi := min(k+1, len(f.all))
	kept := lo
	for _, u := range f.all[lo:hi] {
		if u.sum == 0 {
			continue
		}
		if kept > 0 && f.all[kept-1].to == u.from && f.all[kept-1].sum == u.sum {
			f.all[kept-1].to = u.to
			continue
		}
		f.all[kept] = u
		kept++
	}
	f.all = append(f.all[:kept], f.all[hi:]...)
}

// clear is the first moment from t on at which no more than most is used for length minutes.
func (f *profile) clear(t, length, most int32) int32 {
	for k := f.from(t); k < len(f.all) && f.all[k].from < t+length; k++ {
		if f.all[k].sum > most {
			t = f.all[k].to
		}
	}
	return t
}
