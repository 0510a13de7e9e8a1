package workflow

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/workflow/journal"
)

// judgements are what readings of each gate say that were asked about.
type judgements struct {
	sync.Mutex
	of map[gateWay][]judgement
}

// A gateWay is a gate in one way of measuring it.
type gateWay struct{ gate, gauge string }

type judgement struct {
	counting []int64 // positions
	says     GateReport
}

// judged is what the readings say that count, worked out once. Beside them it goes by the sheet, and by the studies of gauges:
// where a longer journal has the same, it says the same.
func (s *State) judged(empty GateReport, counting []reading) GateReport {
	if s.memo == nil {
		return s.judgeReadings(empty, counting)
	}
	m, way := &s.memo.judged, gateWay{empty.Gate.Name, empty.Gate.Gauge}
	m.Lock()
	all := m.of[way]
	m.Unlock()
	for _, known := range all {
		if slices.EqualFunc(known.counting, counting, func(p int64, t reading) bool { return p == t.position }) {
			r := known.says
			r.Last = empty.Last // which may count or not
			return r
		}
	}
	known := judgement{says: s.judgeReadings(empty, counting)}
	for _, t := range counting {
		known.counting = append(known.counting, t.position)
	}
	m.Lock()
	defer m.Unlock()
	if m.of == nil {
		m.of = map[gateWay][]judgement{}
	}
	m.of[way] = append([]judgement{known}, all[:min(len(all), mostJudged-1)]...)
	return known.says
}

// mostJudged are the sets of readings of which is remembered what they say: more than that of a gate are hardly asked about at once.
const mostJudged = 8

// judges takes over what readings say from a state with the same sheet and the same studies.
func (s *State) judges(as *State) {
	if as.memo == nil || s.Sheet != as.Sheet || len(s.studies) != len(as.studies) {
		return
	}
	as.memo.judged.Lock()
	defer as.memo.judged.Unlock()
	s.memo.judged.of = maps.Clone(as.memo.judged.of)
}

// judgeReadings judges the readings that count. The last reading is the last by entry and
// by time: of two answers the one that asks for another measurement is safe.
func (s *State) judgeReadings(empty GateReport, counting []reading) GateReport {
	r := s.judgeSeries(empty, counting)
	if byTime := inTime(counting); (r.Standing == Current || r.Standing == Measuring) && byTime != nil {
		other := empty
		if s.judge(&other, byTime); other.Standing == Failed || other.Standing == Undecided {
			r = other
		}
	}
	return r
}

// inTime returns the readings in the order in which they were taken; nil if that
// is the order of entry.
func inTime(readings []reading) []reading {
	byTime := func(a, b reading) int { return a.at.Compare(b.at) }
	if slices.IsSortedFunc(readings, byTime) {
		return nil
	}
	sorted := slices.Clone(readings)
	sorting.Stable(sorted, func(i, k int) int { return byTime(sorted[i], sorted[k]) })
	return sorted
}

// judgeSeries judges the readings as they came. What is read at a point of a gate that
// has passed begins anew there: a reading of another day is in no mean with it. And once
// the gate was undecided it passes only by the mean of all that was read since: or else
// who measures until it passes would pick the lucky reading. The mean shrinks what
// repeating can shrink, and the bias stays. Readings that lie too far apart are in no mean
// with those that begin their point anew, once the set-up was steadied.
func (s *State) judgeSeries(empty GateReport, counting []reading) GateReport {
	r := empty
	if !isRepeated(r.Gate, counting) {
		s.judge(&r, counting)
		return r
	}
	var series []reading
	since := int64(-1)         // the first reading of those that decided nothing; -1: there are none
	passed := map[string]int{} // so many readings each point passed with, of its last
	given := map[string]int{}  // readings by point
	for i, t := range counting {
		anew := t.Anew && !slices.ContainsFunc(series, func(old reading) bool {
			return old.Anew && old.Point == t.Point && s.Entries[old.position].Recorded.Equal(s.Entries[t.position].Recorded)
		})
		if passed[t.Point] > 0 || anew {
			was := series
			series = nil
			for k := range was {
				if was[k].Point != t.Point {
					series = append(series, was[k])
				}
			}
			passed[t.Point] = 0
		}
		if anew && since < 0 {
			since = t.position
		}
		series, given[t.Point] = append(series, t), given[t.Point]+1
		if i+1 < len(counting) {
			next := counting[i+1]
			if s.atOnce(r.Gate, given, t.position, next.position) {
				continue // what is given at once is judged as a whole
			}
		}
		clear(given)
		r = empty
		s.judgeBy(&r, r.Gate.Rule(), func(name string) []reading { return lastOf(series, name, max(r.Gate.Repeat, passed[name])) })
		switch {
		case r.Standing == Undecided && since < 0:
			for _, t := range slices.Backward(series) {
				if lists.Contains(r.Rests, t.position) && passed[t.Point] == 0 {
					since = t.position
				}
			}
		case r.Standing == Current && since >= 0:
			r = s.decided(r, series, since)
		case r.Standing == Undecided && !slices.ContainsFunc(series, func(t reading) bool { return t.Alone }):
			r = s.decided(r, series, since)
		}
		if r.Standing == Current {
			since = -1
			for _, p := range r.Points {
				if passed[p.Name] = len(p.Readings); t.Earlier { // it was judged by its last
					passed[p.Name] = r.Gate.Repeat
				}
			}
		}
	}
	return r
}

// decided judges a gate that has passed by its last readings by the mean of all since a
// reading that left it undecided. What was read with a finer gauge that the sheet names for
// the gate stands for itself, but only where it agrees with what was read before: or else one of the gauges is wrong, and
// nobody knows which. Any other gauge joins the mean, with the doubts of all.
func (s *State) decided(r GateReport, series []reading, since int64) GateReport {
	var by, before []reading // with the gauges that it passed with, and with others
	for _, t := range series {
		its := func(rests reading) bool { return rests.Gauge == t.Gauge && lists.Contains(r.Rests, rests.position) }
		if slices.ContainsFunc(series, its) {
			by = append(by, t)
		} else if t.position >= since {
			before = append(before, t)
		}
	}
	words := "this is the mean of all that was read there since the reading that left it undecided"
	switch {
	case len(before) == 0:
	case !s.finerThan(r.Gate, by, before):
		by = series
	default:
		words += ", with the finer gauge"
		for _, name := range r.Gate.PointNames() {
			then, now := lastOf(before, name, len(before)), lastOf(by, name, len(by))
			if len(then) > 0 && !measuring.Agree(s.readSet(then), s.readSet(now), r.Gate.Unit()) {
				r.Standing, r.Finding.Verdict = Undecided, measuring.Undecided
				r.Reason = Cause{Text: fmt.Sprintf("%s and %s differ%s by more than both are accurate to: check both gauges", then[0].Gauge, now[0].Gauge, where(name))}
				r.Finding.Reason = r.Reason.Text
				return r
			}
		}
	}
	rule := r.Gate.Rule()
	rule.Repeat = len(by)
	moment := since
	var few string
	at := map[string][]reading{}
	for _, name := range r.Gate.PointNames() {
		n := 0
		for _, t := range by {
			if t.Point == name && t.position >= since {
				n++
			}
		}
		at[name] = lastOf(by, name, max(n, r.Gate.Repeat))
		rule.Repeat = min(rule.Repeat, len(at[name]))
		if first := at[name]; len(first) > 0 && first[0].Anew {
			words, moment = "this is the mean of all that was read there since the set-up was steadied", first[0].position
			if want := r.Gate.Rule().Anew(); len(first) < want { // the others were taken back
				few = fmt.Sprintf("%d of %d readings%s since the set-up was steadied", len(first), want, where(name))
			}
		}
	}
	rule.Repeat = max(rule.Repeat, r.Gate.Repeat) // a point with less than the gate asks for is not measured yet
	all := GateReport{Gate: r.Gate, Last: r.Last}
	s.judgeBy(&all, rule, func(name string) []reading { return at[name] })
	if all.Reason.Text != "" {
		words = all.Reason.Text + "; " + words
	}
	all.Reason = Cause{words, s.Entries[moment].At}
	if few != "" && all.Standing == Current {
		all.Standing, all.Finding.Verdict, all.Finding.Reason = Undecided, measuring.Undecided, few
		all.Reason = Cause{Text: few}
	}
	return all
}

// atOnce reports whether a later reading of the gate was given at once with an earlier one:
// so many were given with that at each point. What has all its readings was judged, also
// where the clock says the same of what was given next.
func (s *State) atOnce(g steps.Gate, given map[string]int, earlier, later int64) bool {
	next, is := s.Entries[later].Facts.(journal.ReadingTaken)
	return is && next.Gate == g.Name && (given[next.Point] < g.Repeat || next.Anew) && s.Entries[earlier].Recorded.Equal(s.Entries[later].Recorded)
}

func where(point string) string {
	if point == "" {
		return ""
	}
	return " at " + point
}

// finerThan reports whether each of the readings is by a gauge that can measure the gate by
// the sheet, and of less uncertainty than that of any of the others, then and now.
func (s *State) finerThan(g steps.Gate, these, others []reading) bool {
	guard := func(t reading) (most float64) {
		for _, d := range s.doubtsOf(t) {
			most = max(most, d.Guard(g.Unit()))
		}
		return most
	}
	finest := math.Inf(1)
	for _, t := range others {
		finest = min(finest, guard(t))
	}
	return !slices.ContainsFunc(these, func(t reading) bool {
		return t.Gauge != g.Gauge && !lists.Contains(g.Finer, t.Gauge) || guard(t) >= finest
	})
}

// doubtsOf are what is known of the gauge of a reading. A better gauge in a newer sheet
// makes no reading better that was taken with the old one.
func (s *State) doubtsOf(t reading) []measuring.Doubt {
	all := []measuring.Doubt{t.doubt}
	if now, ok := s.Sheet.Gauge(t.Gauge); ok {
		all = append(all, now.Doubt())
	}
	return turned(s.Sheet, t.ReadingTaken, s.studied(t, all))
}

// thrown is the value of a reading in the dimension of its gate: a throw is read as an
// angle or as a travel, and converted by the chord, which is absent if it is as it was read.
// What can't be converted is left, and decides nothing.
func thrown(sheet *steps.Sheet, f journal.ReadingTaken) (value, chord quantity.Quantity) {
	gate, _ := sheet.Gate(f.Gate)
	way := gate.For(f.Point)
	if control, ok := sheet.ControlOf(f.Gate); ok && f.Value.Dimension() != way.Dimension() {
		if v, err := control.Throw(f.Value, gate.Unit()); err == nil {
			return v, control.Chord
		}
	}
	return f.Value, quantity.Quantity{}
}

// turned are the doubts of a gauge that read a throw in the other dimension.
func turned(sheet *steps.Sheet, f journal.ReadingTaken, doubts []measuring.Doubt) []measuring.Doubt {
	if control, ok := sheet.ControlOf(f.Gate); ok {
		doubts = slices.Clone(doubts)
		for i := range doubts {
			doubts[i] = control.Doubt(doubts[i], f.Value)
		}
	}
	return doubts
}

// readSet are readings of one thing, with the doubts of their gauges.
func (s *State) readSet(readings []reading) measuring.Set {
	set := measuring.Set{Doubts: measuring.Doubts{Earlier: true}}
	for i, t := range readings {
		set.Readings = append(set.Readings, t.Value)
		set.Doubts.Earlier = set.Doubts.Earlier && t.Earlier
		for _, d := range s.doubtsOf(t) {
			set.Doubts.Add(d)
		}
		set.Doubts.Several = set.Doubts.Several || i > 0 && t.Gauge != readings[0].Gauge
	}
	return set
}

// isRepeated reports whether more was read at any point than is judged there.
func isRepeated(g steps.Gate, counting []reading) bool {
	if len(counting) <= g.Repeat {
		return false
	}
	at := map[string]int{}
	for _, t := range counting {
		if at[t.Point]++; at[t.Point] > g.Repeat {
			return true
		}
	}
	return false
}

// judge decides how the gate stands by the last of the readings at each point.
func (s *State) judge(r *GateReport, counting []reading) {
	s.judgeBy(r, r.Gate.Rule(), func(name string) []reading { return lastOf(counting, name, r.Gate.Repeat) })
}

// judgeBy decides how the gate stands by readings at each point.
func (s *State) judgeBy(r *GateReport, rule measuring.Rule, at func(point string) []reading) {
	g := r.Gate
	var points []measuring.Point
	gauge := ""
	r.Doubts.Earlier = true
	for _, name := range g.PointNames() {
		p := measuring.Point{Name: name}
		for _, t := range at(name) {
			p.Readings = append(p.Readings, t.Value)
			r.Doubts.Earlier = r.Doubts.Earlier && t.Earlier
			r.Rests = append(r.Rests, t.position)
			for _, d := range s.doubtsOf(t) {
				r.Doubts.Add(d)
			}
			r.Doubts.Several = r.Doubts.Several || gauge != "" && t.Gauge != gauge
			gauge = t.Gauge
		}
		points = append(points, p)
		r.Points = append(r.Points, AtPoint(p))
	}
	sorting.Positions(r.Rests)
	r.Repeat = rule.Repeat
	finding, err := rule.Judge(points, r.Doubts)
	if err != nil {
		finding = measuring.Finding{Verdict: measuring.Undecided, Reason: err.Error()}
	}
	r.Finding, r.Reason = finding, Cause{Text: finding.Reason}
	r.Standing = map[measuring.Verdict]GateStanding{
		measuring.In: Current, measuring.Out: Failed, measuring.Undecided: Undecided, measuring.Partial: Measuring,
	}[finding.Verdict]
}

// Parts are the values of a gate as they are judged, each with its verdict, its
// uncertainty and the probability that it conforms. Of a gate that nothing was read of
// they have the scale of its own gauge.
func (s *State) Parts(r GateReport) []measuring.Part {
	doubts, rule := r.Doubts, r.Gate.Rule()
	if gauge, ok := s.Sheet.Gauge(r.Gate.Gauge); ok && len(doubts.Gauges) == 0 {
		doubts.Add(s.DoubtOf(r.Gate, gauge))
	}
	rule.Repeat = max(rule.Repeat, r.Repeat)
	var points []measuring.Point
	for _, name := range r.Gate.PointNames() {
		p := measuring.Point{Name: name}
		for _, at := range r.Points {
			if at.Name == name {
				p.Readings = at.Readings
			}
		}
		points = append(points, p)
	}
	return rule.Parts(points, doubts)
}
