package workflow

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/sorting"
)

// Untimed is why it is not known how long a step took; "": it is known.
type Untimed string

// The reasons.
const (
	Unattended  Untimed = "not attended" // a wait, a choice, a release
	TypedLater  Untimed = "typed in later"
	AtOnce      Untimed = "recorded together with other work"
	NoBeginning Untimed = "nothing was recorded within an hour before"
	MayWait     Untimed = "a clock ran out meanwhile"
	Interrupted Untimed = "something else came between"
)

// What entries tell of times (common practice, no source).
const (
	// promptly is how soon after it was done a step is recorded, if its time is to count.
	promptly = time.Minute
	// pause is how much longer than written a step may take before a break is in it.
	pause = time.Hour
	// hasty is the part of the written time below which a step was not just done.
	hasty = 10
)

// Timed finds out how long each step took. A person works on several airframes side by side, so
// the journals of a store are looked at together: a step took from what its person recorded
// before it, on whichever airframe, or from when its adhesive was mixed or spread. Where
// anything hides when it began, it is not timed.
func Timed(all []WorkDone) {
	people := map[string][]*visit{}
	parts := map[*visit][]*visit{} // by what completes a step, its other entries since it was done before
	for _, w := range all {
		type step struct {
			record *StepRecord
			job    string
		}
		open := map[step][]*visit{}
		for _, v := range w.visits {
			people[v.by] = append(people[v.by], v)
			if of := (step{v.record, v.job}); v.done != nil {
				parts[v] = open[of]
				delete(open, of)
			} else if v.record != nil {
				open[of] = append(open[of], v)
			}
		}
	}
	for _, visits := range people {
		sorting.Stable(visits, func(i, k int) int {
			a, b := visits[i], visits[k]
			return cmp.Or(a.recorded.Compare(b.recorded), strings.Compare(a.mark, b.mark), cmp.Compare(a.position, b.position))
		})
		for i, v := range visits {
			if v.done != nil {
				v.done.Took, v.done.Untimed = timed(visits, i, parts[v])
			}
		}
	}
}

// timed is how long the step took that a visit of a person completes, with its other entries,
// or why that is not known.
func timed(visits []*visit, i int, parts []*visit) (time.Duration, Untimed) {
	v := visits[i]
	step := v.record.Step
	switch {
	case !step.Kind.Traits().Attended:
		return 0, Unattended
	case v.late():
		return 0, TypedLater
	case v.unclear:
		return 0, Interrupted
	}
	var began time.Time
	for _, p := range parts {
		switch {
		case p.by != v.by, p.unclear:
			return 0, Interrupted
		case p.late():
			return 0, TypedLater
		case !p.began.IsZero():
			if began.IsZero() || p.began.Before(began) {
				began = p.began
			}
		case step.Kind.Traits().Glues() && !p.recorded.Equal(v.recorded):
			return 0, Interrupted // the coat, which dried
		}
	}
	var before *visit // the last that is not of this step
	for k := i - 1; k >= 0 && before == nil; k-- {
		if other := visits[k]; other.done != nil || !other.of(v) {
			before = other
		}
	}
	switch {
	case began.IsZero() && before == nil:
		return 0, NoBeginning
	case began.IsZero() && (before.unclear || before.late() || !before.began.IsZero()):
		return 0, Interrupted
	case began.IsZero():
		began = before.recorded
	case before != nil && before.recorded.After(began):
		return 0, Interrupted
	}
	took := v.at.Sub(began)
	switch {
	case took <= 0, took < least(step), followed(visits[i+1:], v):
		return 0, AtOnce
	case took > handsOf(step)+pause:
		return 0, NoBeginning
	case v.opened.After(began):
		return 0, MayWait
	}
	return took, ""
}

func (v *visit) late() bool { return v.recorded.Sub(v.at) > promptly }

// followed reports whether another step was recorded so soon after this one that both were
// done before.
func followed(later []*visit, v *visit) bool {
	for _, next := range later {
		if next.done != nil {
			after := next.recorded.Sub(v.recorded)
			return after == 0 || after < least(next.record.Step)
		}
	}
	return false
}

// handsOf is the attended time of the step; 0: it says none.
//
//go:noinline
func handsOf(step *steps.Step) time.Duration {
	hands, _ := step.Hands.Duration()
	return hands
}

func least(step *steps.Step) time.Duration { return handsOf(step) / hasty }

// A Spread is how values lie: the one in the middle, and the quartiles of at least five, else
// the least and the most.
type Spread struct {
	Median, Low, High float64
	Count             int // of values; 0: nothing is known
}

// quartilesFrom is how many values have quartiles.
const quartilesFrom = 5

// spreadOf takes percentiles as the NIST/SEMATECH e-Handbook has them, section 7.2.6.2:
// between the values beside place p(n+1).
func spreadOf(values []float64) Spread {
	n := len(values)
	if n == 0 {
		return Spread{}
	}
	sorted := slices.Clone(values)
	sorting.Stable(sorted, func(i, k int) int { return cmp.Compare(sorted[i], sorted[k]) })
	at := func(p float64) float64 {
		place := p * float64(n+1)
		k := int(place)
		switch {
		case k < 1:
			return sorted[0]
		case k >= n:
			return sorted[n-1]
		}
		return sorted[k-1] + (place-float64(k))*(sorted[k]-sorted[k-1])
	}
	out := Spread{at(0.5), sorted[0], sorted[n-1], n}
	if n >= quartilesFrom {
		out.Low, out.High = at(0.25), at(0.75)
	}
	return out
}

// How often a person must have been timed (common practice, no source).
const (
	TimedInAll = 5 // at all steps, before others are taken to last accordingly
	timedOnce  = 3 // at a step, before it is taken to last so
)

// An OwnPace is how long somebody takes for a step, where that is known. No window, no clock and no wait is ever made shorter by it.
type OwnPace func(*steps.Procedure, *steps.Step) (takes time.Duration, known bool)

// PaceOf is a person's pace: by how long that step took, else by how all steps compare with what is written, where the record has
// enough of either. The work must be [Timed].
func PaceOf(all []WorkDone, by string) OwnPace {
	type named struct{ procedure, step string }
	each := map[named][]float64{}
	every := pace(all, by, func(r *StepRecord, ratio float64) bool {
		of := named{r.Procedure.Name, r.Step.Name}
		each[of] = append(each[of], ratio)
		return true
	})
	return func(p *steps.Procedure, step *steps.Step) (time.Duration, bool) {
		of := every
		own := each[named{p.Name, step.Name}]
		known := of.Count >= TimedInAll
		if len(own) >= timedOnce {
			of, known = spreadOf(own), true
		}
		if hands := handsOf(step); known && hands > 0 {
			return time.Duration(of.Median * float64(hands)), true
		}
		return 0, false
	}
}

// pace is how a person's minutes at those steps that are meant compare with the written ones: 2 is twice as long. The work must be
// [Timed].
func pace(all []WorkDone, by string, meant func(r *StepRecord, ratio float64) bool) Spread {
	var ratios []float64
	for _, w := range all {
		for _, r := range w.Steps {
			for _, done := range r.Done {
				if done.By != by || done.Untimed != "" {
					continue
				}
				if hands := handsOf(r.Step); hands > 0 {
					if ratio := done.Took.Seconds() / hands.Seconds(); meant(r, ratio) {
						ratios = append(ratios, ratio)
					}
				}
			}
		}
	}
	return spreadOf(ratios)
}
