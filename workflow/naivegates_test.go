package workflow

import (
	"maps"
	"math"
	"slices"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// naiveGuard recomputes how good a gauge is, and how much of that is not the same
// for all its readings: without a word about it, that is unknown and negative.
func naiveGuard(s *steps.Sheet, gauge string) (guard, spread float64) {
	g, _ := s.Gauge(gauge)
	d, _ := g.Resolution.Float("mm")
	u := 0.0
	if !g.Uncertainty.IsZero() {
		u, _ = g.Uncertainty.Float("mm")
	}
	step := 2 * d / math.Sqrt(12)
	if g.Repeatability.IsZero() {
		return max(u, step), -1
	}
	r, _ := g.Repeatability.Float("mm")
	return max(u, step), max(r, step)
}

// naiveBands recomputes the guard bands of a mean of n readings, and of its difference
// from one of m readings.
func naiveBands(guard, spread float64, n, m int, several bool) (mean, pair float64) {
	if spread < 0 {
		return guard, math.Hypot(guard, guard)
	}
	bias := math.Sqrt(max(0, guard*guard-spread*spread))
	left, right := spread/math.Sqrt(float64(n)), spread/math.Sqrt(float64(m))
	mean, pair = math.Hypot(bias, left), math.Hypot(left, right)
	if several {
		pair = math.Hypot(mean, math.Hypot(bias, right))
	}
	return mean, pair
}

// naiveStanding recomputes how a gate stands by the last readings at each of its points;
// Failed stands for undecided, too, and "" for what lies so near to a border that rounding
// decides.
func naiveStanding(entries []journal.Entry, now time.Time, g steps.Gate) GateStanding {
	counting := naiveCounting(entries, now, g)
	if len(counting) == 0 {
		return StaleGate
	}
	live := standing(entries)
	worst := Current
	for _, less := range orders() {
		switch has := naiveVerdict(live, inOrder(counting, less), g, nil); {
		case has == "":
			return ""
		case has == Failed, worst == Current:
			worst = has
		}
	}
	return worst
}

// naiveStands is how a gate stands by [naiveStanding], or as the engine says, has, where that
// is allowed: where more was read at a point than is judged there, it may stand by a mean of
// the last readings at each point, however many of them, since what is read at a point that
// has passed begins anew there, and what was undecided is decided by all that was read since.
// What a finer gauge read may stand for itself, and two gauges that differ by more than they
// are accurate to leave it undecided. gates_test.go works out by hand how many are in a mean.
func naiveStands(entries []journal.Entry, now time.Time, g steps.Gate, has GateStanding) GateStanding {
	want := naiveStanding(entries, now, g)
	if want == has || want == "" {
		return want
	}
	counting := naiveCounting(entries, now, g)
	byTime := inOrder(counting, orders()[1])
	late := !slices.EqualFunc(counting, byTime, func(a, b journal.Entry) bool { return a.Position == b.Position })
	live := standing(entries)
	if late && has != Failed && naiveVerdict(live, byTime, g, nil) == Failed {
		return want
	}
	read := func(e journal.Entry) (gauge, point string, mm float64) {
		f := e.Facts.(journal.ReadingTaken)
		mm, _ = f.Value.Float("mm")
		return f.Gauge, f.Point, mm
	}
	var fine []journal.Entry
	for _, e := range counting {
		gauge, point, mm := read(e)
		if g.Gauge != "caliper" || gauge != g.Gauge {
			continue
		}
		fine = append(fine, e)
		for _, o := range counting {
			other, at, is := read(o)
			guard, _ := naiveGuard(inForce(live, math.MaxInt64), other)
			if other != gauge && at == point && math.Abs(mm-is) > guard && has == Failed {
				return has
			}
		}
	}
	for _, of := range [][]journal.Entry{counting, fine} {
		numbers := []map[string]int{{}}
		for _, p := range g.PointNames() {
			var more []map[string]int
			left := 0 // readings at the point
			for _, e := range of {
				if _, at, _ := read(e); at == p {
					left++
				}
			}
			for n := min(left, 1); n <= left; n++ {
				for _, others := range numbers {
					all := maps.Clone(others)
					all[p] = n
					more = append(more, all)
				}
			}
			numbers = more
		}
		for _, last := range numbers {
			if is := naiveVerdict(live, of, g, last); len(of) > 0 && (is == has || is == "") {
				return has
			}
		}
	}
	return want
}

// naiveVerdict recomputes what the last readings at each point say, so many of them as are
// given or as the gate is judged by.
func naiveVerdict(live, counting []journal.Entry, g steps.Gate, last map[string]int) GateStanding {
	means, spread, missing := map[string]float64{}, 0.0, false
	variances, numbers := map[string]float64{}, map[string]int{}
	gauges, described := map[string]bool{}, [][2]float64{}
	for _, p := range g.PointNames() {
		var values []float64
		sum := 0.0
		n, given := last[p]
		if !given {
			n = g.Repeat
		}
		for _, e := range slices.Backward(counting) {
			f := e.Facts.(journal.ReadingTaken)
			if f.Point != p || len(values) == n {
				continue
			}
			v, _ := f.Value.Float("mm")
			values, sum = append(values, v), sum+v
			gauges[f.Gauge] = true
			for _, s := range []*steps.Sheet{inForce(live, e.Position), inForce(live, math.MaxInt64)} {
				guard, spread := naiveGuard(s, f.Gauge)
				described = append(described, [2]float64{guard, spread})
			}
		}
		if len(values) < max(n, g.Repeat) {
			missing = true
			continue
		}
		means[p], numbers[p] = sum/float64(n), n
		spread = max(spread, slices.Max(values)-slices.Min(values))
		for _, v := range values {
			variances[p] += (v - means[p]) * (v - means[p]) / float64(max(1, n-1))
		}
	}
	guard, ofPair := map[string]float64{}, 0.0
	for _, d := range described {
		for p, n := range numbers {
			one, _ := naiveBands(d[0], d[1], n, n, len(gauges) > 1)
			guard[p] = max(guard[p], naiveWiden(one, d[1], sample{n, variances[p]}))
		}
		if left, right := numbers["left"], numbers["right"]; left > 0 && right > 0 {
			_, two := naiveBands(d[0], d[1], left, right, len(gauges) > 1)
			ofPair = max(ofPair, naiveWiden(two, d[1], sample{left, variances["left"]}, sample{right, variances["right"]}))
		}
	}
	room := math.Inf(1) // of the worst point
	if !g.Limits.Low.IsZero() {
		low, _ := g.Limits.Low.Float("mm")
		high, _ := g.Limits.High.Float("mm")
		room = (high-low)/2 - spread
		for p, m := range means {
			room = min(room, m-low-guard[p], high-m-guard[p])
		}
	}
	if !g.Limits.Alike.IsZero() && !missing {
		limit, _ := g.Limits.Alike.Float("mm")
		room = min(room, limit-math.Abs(means["left"]-means["right"])-ofPair)
	}
	switch {
	case math.Abs(room) < 1e-6:
		return ""
	case room < 0:
		return Failed
	case missing:
		return Measuring
	}
	return Current
}

// inOrder are entries in one order.
func inOrder(entries []journal.Entry, less func(a, b journal.Entry) bool) []journal.Entry {
	sorted := slices.Clone(entries)
	slices.SortFunc(sorted, func(a, b journal.Entry) int {
		if less(a, b) {
			return -1
		}
		return 1
	})
	return sorted
}

// sample is the variance of n readings.
type sample struct {
	n        int
	variance float64
}

// naiveWiden widens a band by what readings spread beyond the repeatability r, with
// Student's factor for the effective degrees of freedom.
func naiveWiden(band, r float64, readings ...sample) float64 {
	r = max(0, r) // less: none is stated
	var more, quartic float64
	for _, of := range readings {
		if beyond := (of.variance - r*r/4) / float64(of.n); of.n > 1 && beyond > 1e-12 {
			more, quartic = more+beyond, quartic+beyond*beyond/float64(of.n-1)
		}
	}
	if more == 0 {
		return band
	}
	combined := band*band/4 + more
	freedom := int(combined*combined/quartic + 1e-9)
	k := 2.0
	if freedom < 1000 {
		for _, row := range [][2]float64{{1, 13.97}, {2, 4.53}, {3, 3.31}, {4, 2.87}, {5, 2.65}, {6, 2.52}, {7, 2.43}, {8, 2.37}, {9, 2.32}, {10, 2.28}, {11, 2.25}, {12, 2.23}, {13, 2.21}, {14, 2.20}, {15, 2.18},
			{16, 2.17}, {17, 2.16}, {18, 2.15}, {19, 2.14}, {20, 2.13}, {25, 2.11}, {30, 2.09}, {35, 2.07}, {40, 2.06}, {50, 2.05}, {100, 2.025}} {
			if freedom >= int(row[0]) {
				k = row[1]
			}
		}
	}
	return k * math.Sqrt(combined)
}

// naiveBad recomputes that a check was not good, by the sheet in force then or
// by the last one.
func naiveBad(live []journal.Entry, e journal.Entry) bool {
	f := e.Facts.(journal.GaugeChecked)
	reads, _ := f.Reads.Float("mm")
	of, _ := f.Of.Float("mm")
	then, _ := naiveGuard(inForce(live, e.Position), f.Gauge)
	now, _ := naiveGuard(inForce(live, math.MaxInt64), f.Gauge)
	return math.Abs(reads-of) > min(then, now)+1e-9
}

// orders are the two orders in which entries stand: by entry and by time.
func orders() []func(a, b journal.Entry) bool {
	byEntry := func(a, b journal.Entry) bool { return a.Position < b.Position }
	byTime := func(a, b journal.Entry) bool { return a.At.Before(b.At) || a.At.Equal(b.At) && byEntry(a, b) }
	return []func(a, b journal.Entry) bool{byEntry, byTime}
}

// naiveDoubt recomputes that a reading is in doubt: in one order or the other
// there is a bad check of its gauge with no good one between the two.
func naiveDoubt(live []journal.Entry, r journal.Entry) bool {
	return slices.ContainsFunc(live, func(b journal.Entry) bool {
		return isCheck(live, b, r, true) && slices.ContainsFunc(orders(), func(less func(a, b journal.Entry) bool) bool {
			return !slices.ContainsFunc(live, func(g journal.Entry) bool {
				return isCheck(live, g, r, false) && (less(r, g) && less(g, b) || less(b, g) && less(g, r))
			})
		})
	})
}

// isCheck reports whether the entry checks the gauge of a reading, and finds it so.
func isCheck(live []journal.Entry, e, reading journal.Entry, bad bool) bool {
	f, ok := e.Facts.(journal.GaugeChecked)
	return ok && f.Gauge == reading.Facts.(journal.ReadingTaken).Gauge && naiveBad(live, e) == bad
}

// naiveBarred recomputes that a reading was taken with a gauge of which the
// last check, entered or made, was not good.
func naiveBarred(live []journal.Entry, r journal.Entry) bool {
	for _, less := range orders() {
		var last *journal.Entry
		for _, e := range live {
			if _, ok := e.Facts.(journal.GaugeChecked); ok && (isCheck(live, e, r, true) || isCheck(live, e, r, false)) && less(e, r) && (last == nil || less(*last, e)) {
				last = &e
			}
		}
		if last != nil && isCheck(live, *last, r, true) {
			return true
		}
	}
	return false
}

// naiveMet recomputes whether a release may be given on a gate that stands so: it is
// in tolerance, or it is not critical and was conceded.
func naiveMet(entries []journal.Entry, now time.Time, g steps.Gate, stands GateStanding) bool {
	switch stands {
	case Current, "":
		return true
	case Failed:
		last := int64(-1)
		for _, r := range naiveCounting(entries, now, g) {
			last = max(last, r.Position)
		}
		return !g.Critical && slices.ContainsFunc(standing(entries), func(e journal.Entry) bool {
			f, ok := e.Facts.(journal.ConcessionGranted)
			return ok && f.Gate == g.Name && e.Position > last
		})
	case StaleGate:
		return naiveAccepted(entries, now, g)
	}
	return false
}

// naiveAccepted recomputes that it is conceded that nobody measured the gate: the last
// concession was granted after every reading, and a reading in its place would count.
func naiveAccepted(entries []journal.Entry, now time.Time, g steps.Gate) bool {
	last := int64(-1)
	for _, e := range standing(entries) {
		switch f := e.Facts.(type) {
		case journal.ConcessionGranted:
			if f.Gate == g.Name {
				last = e.Position
			}
		case journal.ReadingTaken:
			if f.Gate == g.Name {
				last = -1
			}
		}
	}
	if last < 0 {
		return false
	}
	as := slices.Clone(entries)
	as[last].Facts = journal.ReadingTaken{Gate: g.Name, Point: "all of it"}
	return slices.ContainsFunc(naiveCounting(as, now, g), func(e journal.Entry) bool { return e.Position == last })
}

// naiveCounting recomputes the readings that count from the whole journal: no
// later entry disturbed a zone of its gate, by entry or by time, its life has
// not run out, and neither it nor a later one at its point is in doubt.
func naiveCounting(entries []journal.Entry, now time.Time, g steps.Gate) []journal.Entry {
	live := map[int64]bool{}
	stand := standing(entries)
	for _, e := range stand {
		live[e.Position] = true
	}
	var counting []journal.Entry
	for _, r := range entries {
		f, ok := r.Facts.(journal.ReadingTaken)
		if !ok || f.Gate != g.Name || !live[r.Position] {
			continue
		}
		doubted := slices.ContainsFunc(stand, func(o journal.Entry) bool {
			of, ok := o.Facts.(journal.ReadingTaken)
			return ok && of.Gate == f.Gate && of.Point == f.Point && (o.Position >= r.Position || o.At.After(r.At)) && naiveDoubt(stand, o)
		})
		good, flights := !doubted, 0
		for _, d := range entries {
			var zones []string
			if w, ok := journal.WorkOf(d.Facts); ok {
				zones = w.Disturbs
			}
			switch f := d.Facts.(type) {
			case journal.Reworked:
				zones = f.Disturbs
			case journal.DamageFound:
				if f.Severity != "cosmetic" || len(g.Of) == 1 { // a mark shifts nothing
					zones = []string{f.Zone}
				}
			case journal.EquipmentChanged:
				zones = append(zones, f.Disturbs...)
				if g.Mass {
					zones = append(zones, g.Of...)
				}
			case journal.Undone:
				for _, p := range f.TakesBack {
					if c, is := entries[p].Facts.(journal.EquipmentChanged); is && c.Change != Moved {
						zones = append(zones, c.Disturbs...)
						if g.Mass {
							zones = append(zones, g.Of...)
						}
					}
				}
			case journal.FlightLogged:
				if live[d.Position] && (d.Position > r.Position || d.At.After(r.At)) {
					flights++
				}
			}
			if !g.DependsOn(zones...) {
				continue
			}
			if d.Position > r.Position || live[d.Position] && d.At.After(r.At) {
				good = false
			}
		}
		for _, j := range joins(stand) {
			if g.DependsOn(j.Disturbs...) && r.At.Before(naiveHandles(stand, j)) {
				good = false
			}
		}
		old := g.Validity.Days > 0 && !now.Before(r.At.AddDate(0, 0, g.Validity.Days))
		flown := g.Validity.Flights > 0 && flights >= g.Validity.Flights
		if good && !old && !flown {
			counting = append(counting, r)
		}
	}
	return counting
}

// naiveHandles recomputes when a joint has handling strength: at the coldest of
// the bench in force when it was joined, of the one entered last before that, of
// all that was entered since, and of all that was read while it set. What is
// typed in later, of earlier, makes it later and never sooner.
func naiveHandles(live []journal.Entry, j joined) time.Time {
	var known []journal.Entry
	for _, e := range live {
		if e.Position < j.position {
			known = append(known, e)
		}
	}
	coldest, ok := inForceAt(known, j.at)
	if !ok {
		coldest, _ = works(j.Joint)
	}
	for _, e := range slices.Backward(known) {
		if f, ok := e.Facts.(journal.BenchRead); ok {
			celsius, _ := f.Temperature.Celsius()
			coldest = min(coldest, celsius)
			break
		}
	}
	least := adhesiveOf(j.Joint).Times.Handling
	handles := func() time.Time { return j.at.Add(slower(least, coldest)) }
	whileItSets := func() {
		all := readingsBy(known)
		for i, r := range all {
			replaced := i+1 < len(all) && all[i+1].at.Equal(r.at)
			if r.at.After(j.at) && r.at.Before(handles()) && !replaced {
				coldest = min(coldest, r.celsius)
			}
		}
	}
	whileItSets()
	for _, e := range live {
		f, ok := e.Facts.(journal.BenchRead)
		if !ok || e.Position < j.position {
			continue
		}
		known = append(known, e)
		if celsius, _ := f.Temperature.Celsius(); e.At.Before(handles()) {
			coldest = min(coldest, celsius)
			whileItSets()
		}
	}
	return handles()
}
