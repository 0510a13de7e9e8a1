package workflow

import (
	"cmp"
	"errors"
	"math/big"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
	"fettle/steps/spread"
	"fettle/workflow/journal"
)

// A Drawn is what one airframe has to say of how the values of a gate lie.
type Drawn struct {
	Mark   string
	Sheet  *steps.Sheet // that it goes by
	Gate   steps.Gate   // of that sheet
	Has    bool         // the design has the gate
	Values []DrawnValue // by thing and time

	Reworked bool // the gate was reworked before the first release and the first damage
}

// Which says which values of a gate are drawn.
type Which string

// The values of Which.
const (
	FirstJudged Which = "first"        // of the build, before any rework
	AfterRework Which = "after rework" // of the build, as the gate passed
	EveryValue  Which = "every"        // one a sitting
)

// A DrawnValue is a value that was judged: at a point, of a pair, the first less the
// second, or the result.
type DrawnValue struct {
	Mark     string
	Of       []string
	At       time.Time
	Entry    int64 // the last reading of the sitting
	Value    *big.Rat
	Unit     string
	Verdict  measuring.Verdict
	Reworked bool             // after a rework of the gate
	Limits   measuring.Limits // then
	Other    bool             // they were not those of the newest sheet
}

// Drawn are the values of a gate as they were judged, one a sitting. A value that is in
// doubt since is left out, and so is one that no reading of the sitting was for. Of the
// build alone, which ends with the first release or the first damage, there is one: that
// with which the gate was decided first, or of AfterRework passed first, or else that of the
// last sitting which had all its readings. What is judged first tells what the work gives;
// a rework sorts out the bad ones.
func (s *State) Drawn(gate string, which Which, at time.Time) (Drawn, error) {
	life := which == EveryValue
	d := Drawn{Mark: s.Airframe.Mark, Sheet: s.Sheet}
	if d.Gate, d.Has = s.Sheet.Gate(gate); !d.Has {
		return d, nil
	}
	record, err := s.Record(at)
	if err != nil {
		return Drawn{}, err
	}
	built, reworked := s.Size(), s.Size()
	for _, e := range s.Entries {
		if !s.Live(e.Position) {
			continue
		}
		switch f := e.Facts.(type) {
		case journal.Released, journal.DamageFound:
			built = min(built, e.Position)
		case journal.Reworked:
			if f.Gate == gate {
				reworked = min(reworked, e.Position)
			}
		}
	}
	d.Reworked = reworked < built
	var first []DrawnValue
	done := false
	for _, j := range record.Judgements {
		if j.Gate.Name != gate || j.Doubt != nil {
			continue
		}
		last := j.Entries[len(j.Entries)-1]
		whole := j.Report.Finding.Missing == "" && len(j.Report.Points) > 0
		if !life && (last > built || !whole || done || which == FirstJudged && first != nil && last > reworked) {
			continue
		}
		values := s.drawnOf(&j, life)
		for i := range values {
			values[i].Reworked = j.Entries[0] > reworked
		}
		if life {
			d.Values = append(d.Values, values...)
		} else {
			first, done = values, j.Passed() || which == FirstJudged && j.Report.Standing == Failed
		}
	}
	if !life {
		d.Values = first
	}
	return d, nil
}

// drawnOf are the values of a judgement; of those read anew in its sitting alone if new.
func (s *State) drawnOf(j *Judgement, anew bool) []DrawnValue {
	read := map[string]bool{}
	for _, p := range j.Entries {
		read[s.Entries[p].Facts.(journal.ReadingTaken).Point] = true
	}
	means, unit := map[string]*big.Rat{}, j.Gate.Unit()
	for _, p := range j.Report.Points {
		var values []*big.Rat
		for _, q := range p.Readings {
			if v, err := q.Rat(unit); err == nil {
				values = append(values, v)
			}
		}
		if len(values) > 0 && len(values) == len(p.Readings) {
			means[p.Name] = spread.Of(values).Mean
		}
	}
	var all []DrawnValue
	for _, v := range j.Judged {
		of := v.Of
		if of == nil {
			of = j.Gate.Result.Of
		}
		if anew && !lists.ContainsFunc(of, func(point string) bool { return read[point] }) || len(v.Readings) < max(1, j.Gate.Repeat) && len(v.Of) == 1 {
			continue
		}
		d := DrawnValue{Mark: s.Airframe.Mark, Of: v.Of, At: j.At, Entry: j.Entries[len(j.Entries)-1], Unit: v.Unit, Verdict: v.Finding.Verdict, Limits: j.Gate.Limits}
		switch {
		case len(v.Of) == 1:
			d.Value = means[v.Of[0]]
		case len(v.Of) == 2 && means[v.Of[0]] != nil && means[v.Of[1]] != nil:
			d.Value = new(big.Rat).Sub(means[v.Of[0]], means[v.Of[1]])
		case len(v.Of) == 0 && v.Known:
			d.Value = new(big.Rat).SetFloat64(v.Value)
		}
		if d.Value != nil {
			all = append(all, d)
		}
	}
	return all
}

// A GateSpread is how the values of a gate lie.
type GateSpread struct {
	Gate     steps.Gate // of the newest sheet of all
	Design   string
	Revision int
	Series   []Series
	Without  []string // airframes of the design that have no value
	Reworked int      // airframes with a value whose gate was reworked as they were built
	Sorted   bool     // values of after a rework are among them, so they forecast nothing
}

// A Series are the values of one thing that is judged, in the order of time.
type Series struct {
	Of     []string // as of a [DrawnValue]
	Unit   string
	Limits spread.Limits // in the unit; of a pair either way
	Values []DrawnValue
	spread.Summary
	Chart      spread.Chart
	Charted    bool // there are two values
	Ability    spread.Capability
	HasAbility bool
}

// Name is what the series is of, as it is chosen; "": the gate has one point.
//
//go:noinline
func (s Series) Name() string { return strings.Join(s.Of, "/") }

// Share is the share of the next value outside the limits; not a number: it is not known.
func (s Series) Share() float64 { return s.Outside(s.Limits) }

// NewSpread puts together what airframes of one design have drawn. point chooses one
// point, or a pair as A/B; "": all that the gate judges.
func NewSpread(drawn []Drawn, point string) (GateSpread, error) {
	var sp GateSpread
	for _, d := range drawn {
		if d.Has && d.Sheet.Revision > sp.Revision {
			sp.Gate, sp.Design, sp.Revision = d.Gate, d.Sheet.Name, d.Sheet.Revision
		}
	}
	if sp.Design == "" {
		return GateSpread{}, errors.New("no design has the gate")
	}
	rule := sp.Gate.Rule()
	low, high := rule.Edges()
	series := func(of []string, unit string, l spread.Limits) {
		sp.Series = append(sp.Series, Series{Of: of, Unit: unit, Limits: l})
	}
	limits := spread.Limits{Low: low, High: high}
	if !sp.Gate.Result.IsZero() {
		series(nil, sp.Gate.Limits.Unit(), limits)
		limits = spread.Limits{}
	}
	var points []measuring.Point
	for _, name := range sp.Gate.PointNames() {
		series([]string{name}, sp.Gate.Unit(), limits)
		points = append(points, measuring.Point{Name: name})
	}
	if most, err := sp.Gate.Limits.Alike.Span(sp.Gate.Unit()); err == nil {
		for _, pair := range measuring.Compared(points, sp.Gate.Pairs) {
			series(pair[:], sp.Gate.Unit(), spread.Limits{Low: new(big.Rat).Neg(most), High: most})
		}
	}
	var names []string
	for _, s := range sp.Series {
		if s.Name() != "" {
			names = append(names, s.Name())
		}
	}
	every := sp.Series
	sp.Series = every[:0:0]
	for i := range every {
		if s := &every[i]; point != "" && s.Name() == point || point == "" && s.Limits != (spread.Limits{}) {
			sp.Series = append(sp.Series, *s)
		}
	}
	if len(sp.Series) == 0 {
		return GateSpread{}, unknown("point", point, names)
	}
	for _, d := range drawn {
		has := false
		for i := range sp.Series {
			for _, v := range d.Values {
				// The one value of a gate has no name, whichever of its two ways it was measured in.
				if strings.Join(v.Of, "/") == sp.Series[i].Name() {
					has = sp.Series[i].add(v, sp.Gate.Limits) || has
				}
			}
		}
		if !has {
			sp.Without = append(sp.Without, d.Mark)
		} else if d.Reworked {
			sp.Reworked++
		}
		sp.Sorted = sp.Sorted || slices.ContainsFunc(d.Values, func(v DrawnValue) bool { return v.Reworked })
	}
	for i := range sp.Series {
		sp.Series[i].finish()
		sp.Series[i].HasAbility = sp.Series[i].HasAbility && !sp.Sorted
	}
	return sp, nil
}

// add adds a value, in the unit of the series; false: it has another dimension.
func (s *Series) add(v DrawnValue, now measuring.Limits) bool {
	if v.Unit != s.Unit {
		value, err := inUnit(v.Value, v.Unit, s.Unit, len(v.Of) == 2)
		if err != nil {
			return false
		}
		v.Value, v.Unit = value, s.Unit
	}
	same := func(a, b quantity.Quantity) bool {
		return a.IsZero() && b.IsZero() || !a.IsZero() && !b.IsZero() && a.Cmp(b) == 0
	}
	v.Other = !same(v.Limits.Low, now.Low) || !same(v.Limits.High, now.High) || !same(v.Limits.Alike, now.Alike)
	s.Values = append(s.Values, v)
	return true
}

// inUnit is a value, or a difference, in another unit.
func inUnit(value *big.Rat, from, to string, difference bool) (*big.Rat, error) {
	one, err := quantity.New(big.NewRat(1, 1), from)
	if err != nil {
		return nil, err
	}
	factor, err := one.Span(to)
	if err != nil {
		return nil, err
	}
	at, err := one.Rat(to)
	if err != nil {
		return nil, err
	}
	moved := new(big.Rat).Mul(value, factor)
	if !difference {
		moved.Add(moved, at.Sub(at, factor)) // the zero of the one in the other
	}
	return moved, nil
}

func (s *Series) finish() {
	sorting.Stable(s.Values, func(i, k int) int {
		a, b := &s.Values[i], &s.Values[k]
		return cmp.Or(a.At.Compare(b.At), strings.Compare(a.Mark, b.Mark))
	})
	if len(s.Values) == 0 {
		return
	}
	var values []*big.Rat
	for _, v := range s.Values {
		values = append(values, v.Value)
	}
	s.Summary = spread.Of(values)
	s.Chart, s.Charted = spread.NewChart(values)
	s.Ability, s.HasAbility = s.Capability(s.Limits)
}

// OfDesign are those that are of the design; "": of the only one that has the gate.
func OfDesign(drawn []Drawn, gate, design string) ([]Drawn, error) {
	var designs, gates, have []string
	add := func(to *[]string, name string) {
		if !lists.Contains(*to, name) {
			*to = append(*to, name)
		}
	}
	for _, d := range drawn {
		add(&designs, d.Sheet.Name)
		if d.Has {
			add(&have, d.Sheet.Name)
		}
		if design == "" || d.Sheet.Name == design {
			for _, g := range d.Sheet.Gates {
				add(&gates, g.Name)
			}
		}
	}
	switch {
	case design != "" && !lists.Contains(designs, design):
		return nil, unknown("design", design, designs)
	case !lists.Contains(gates, gate):
		return nil, unknown("gate", gate, gates)
	case design == "" && len(have) > 1:
		return nil, bad("%s is a gate of several designs; name one of %s", gate, strings.Join(have, ", "))
	case design == "":
		design = have[0]
	}
	of := drawn[:0:0]
	for i := range drawn {
		if drawn[i].Sheet.Name == design {
			of = append(of, drawn[i])
		}
	}
	return of, nil
}
