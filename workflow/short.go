package workflow

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/steps/sorting"
)

// This file leaves out of a plan what needs a window that is too short for what must be done in it, at the temperature and the
// pace that are planned, and says what would help, each of which was tried. The rest is planned.

// leavesOut notes a window that is too short. It is false of another error.
func (of *scheduler) leavesOut(err error) bool {
	var no *NoPlan
	if !errors.As(err, &no) || no.Why != TooShort {
		return false
	}
	key := no.key()
	if of.short[key] != nil {
		return false
	}
	if had := of.tried[key]; had != nil && had.Takes == no.Takes && had.Has == no.Has {
		no = had
	}
	if of.short == nil {
		of.short = map[string]*NoPlan{}
	}
	of.short[key] = no
	return true
}

//go:noinline
func (e *NoPlan) key() string { return stepKey(e.Turns[0].Mark, e.Turns[0].Job, e.Turns[0].Step) }

//go:noinline
func stepKey(mark, job, step string) string { return mark + "\n" + job + "\n" + step }

// lacks are the windows that are too short with other hours, whatever the sittings; false: a bench like that stops a step.
func (of *scheduler) lacks(change func(h *Hours)) (map[string]*NoPlan, bool) {
	root := *of
	root.short, root.tried, root.futile, root.long = nil, nil, nil, nil
	change(&root.h)
	root.hands = max(1, root.h.Hands)
	for {
		is := root.begun()
		if is.hours() != nil {
			return nil, false
		}
		err := is.work()
		if byClimate(is.stops) {
			return nil, false
		}
		if err == nil {
			return root.short, true
		}
		if !root.leavesOut(err) {
			return nil, false
		}
	}
}

// byClimate reports whether the bench as it is planned is in the way of any of them.
func byClimate(stops []Stop) bool {
	for i := range stops {
		for k := range stops[i].Reasons {
			if stops[i].Reasons[k].Because == ByClimate {
				return true
			}
		}
	}
	return false
}

// benches tries temperatures in whole degrees, the nearest first, until one is taken.
//
//go:noinline
func benches(celsius float64, takes func(celsius float64) bool) {
	for away := 1.; away <= temperatureMost; away++ {
		for _, other := range [...]float64{math.Ceil(celsius) - away, math.Floor(celsius) + away} {
			if other >= temperatureLeast && other <= temperatureMost && takes(other) {
				return
			}
		}
	}
}

// frees finds what would make windows long enough that are too short: the nearest temperature, another adhesive, one person
// more, the minutes as they are written. It is false where all of that is known.
func (of *scheduler) frees() bool {
	if of.trial {
		return false
	}
	asked := map[string]*NoPlan{}
	if of.tried == nil {
		of.tried = map[string]*NoPlan{}
	}
	for key, no := range of.short {
		if of.tried[key] != no {
			asked[key], of.tried[key] = no, no
		}
	}
	if len(asked) == 0 {
		return false
	}
	try := func(f Freeing, change func(h *Hours)) (all bool) {
		short, works := of.lacks(change)
		all = true
		for key := range short {
			works = works && of.short[key] != nil // none that was long enough
		}
		for key, no := range asked {
			known := f.At != nil && len(no.Free) > 0 // temperatures are tried first
			if works && short[key] == nil && !known {
				no.Free = append(no.Free, f)
			}
			all = all && (known || works && short[key] == nil)
		}
		return all
	}
	is := of.begun()
	var others []string
	for _, no := range asked {
		for _, name := range no.others {
			if !lists.Contains(others, name) {
				others = append(others, name)
			}
		}
	}
	is.measureClimate(of.fleet[0]) // they are planned for one bench
	benches(is.celsius[0], func(celsius float64) bool {
		return try(Freeing{At: &celsius}, func(h *Hours) { h.Celsius = &celsius })
	})
	sorting.Stable(others, func(i, k int) int { return strings.Compare(others[i], others[k]) })
	for _, name := range others {
		try(Freeing{With: name}, func(h *Hours) { h.Consider = append([]string{name}, h.Consider...) })
	}
	if more := moreHands(of.hands); more.Hands > 0 {
		try(more, func(h *Hours) { h.Hands = more.Hands })
	}
	if of.h.Pace != nil {
		try(Freeing{Written: true}, func(h *Hours) { h.Pace = nil })
	}
	return true
}

// advises names the nearest temperature at which the bench stops nothing of all that is left, also of what comes after what fits no
// sitting, in place of what each adhesive and each window would do with alone; rather one at which a plan was found in the time, and what
// fits no sitting there is left out. Where a window is too short at each, it is one at which the fewest are. None is named where another
// bench changes nothing.
func (of *scheduler) advises(ctx context.Context, t *Timetable) {
	if of.trial || len(t.Climate) == 0 || !byClimate(t.Stops) && len(of.long) == 0 {
		return
	}
	fewest := math.MaxInt
	if short, works := of.lacks(func(*Hours) {}); works {
		fewest = len(short)
	}
	if fewest == 0 {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, min(tryAll, max(of.think.left, of.think.all)))
	defer cancel()
	of.root = of
	benches(t.Climate[0].Celsius, func(celsius float64) bool {
		short, works := of.lacks(func(h *Hours) { h.Celsius = &celsius })
		if !works || len(short) > fewest || len(short) == fewest && t.Bench == nil {
			return false
		}
		if t.Bench == nil || len(short) < fewest {
			t.Bench, fewest = &celsius, len(short)
		}
		if fewest > 0 {
			return false
		}
		h := of.h
		h.Celsius = &celsius
		long, err := of.try(ctx, &h)
		if err == nil {
			t.Bench, of.long = &celsius, long
		}
		return err == nil || ctx.Err() != nil
	})
	if t.Bench == nil {
		return
	}
	for i := range t.Stops {
		for k := range t.Stops[i].Reasons {
			help := &t.Stops[i].Reasons[k].Remedy
			if help.Kind != ToWarmBench && help.Kind != ToCoolBench {
				continue
			}
			help.Kind = ToWarmBench
			if *t.Bench < t.Climate[0].Celsius {
				help.Kind = ToCoolBench
			}
			help.Value = degrees(*t.Bench)
		}
	}
}

func degrees(celsius float64) quantity.Quantity {
	q, _ := quantity.Parse(fmt.Sprintf("%g °C", celsius), quantity.Temperature)
	return q
}

// hurried says why a step that glues is left out: the window of its joint is too short.
func (c *scheduler) hurried(of int, s *State, j *Job, step *steps.Step) []Reason {
	if !step.Kind.Traits().Glues() {
		return nil
	}
	no := c.short[stepKey(s.Airframe.Mark, j.ID, step.Name)]
	for _, part := range j.Procedure.JointParts(step.Joint) {
		if no == nil && lists.Contains(part.Coats, step.Name) {
			no = c.short[stepKey(s.Airframe.Mark, j.ID, part.Join)]
		}
	}
	if no == nil {
		return nil
	}
	r, help, others := Reason{Because: ByLapse}, Remedy{}, ""
	pace := ""
	for _, f := range no.Free {
		switch {
		case f.At != nil:
			r.Because, help.Kind = ByClimate, ToWarmBench
			help.Value = degrees(*f.At)
			if *f.At < c.celsius[of] {
				help.Kind = ToCoolBench
			}
		case f.With != "":
			help.Names = append(help.Names, f.With)
		case f.Hands > 0:
			others += fmt.Sprintf("; %d people have the time", f.Hands)
		case f.Written:
			pace = " at your own pace"
			others += "; in the minutes as written there is time: practise it without adhesive first"
		}
	}
	r.Text = fmt.Sprintf("what must be done within the window of %s takes %d min%s, and at %.4g °C it has %d min%s", step.Joint, down(no.Takes), pace, c.celsius[of], down(no.Has), others)
	switch {
	case r.Because == ByClimate:
		r.Remedy = s.remedy(help)
	case len(help.Names) > 0:
		r.Text += "; with " + help.Names[0] + " there is time"
	case others == "":
		r.Text += "; no other temperature, adhesive or second person would help: less must be done between the coat and the join"
	}
	return []Reason{r}
}

// Nobody plans a bench outside these temperatures, in °C (common practice, no source).
const (
	temperatureLeast = 0
	temperatureMost  = 50
)

// windowTooShort says so.
func (c *scheduler) windowTooShort(t task, needs, most int) error {
	no := &NoPlan{Why: TooShort, Turns: []Turn{c.turnOf(&t, -1)}, Joint: t.step.Joint, Takes: minutesOf(needs), Has: minutesOf(most)}
	for _, step := range t.work.Steps() {
		for _, name := range step.Adhesives {
			if step.Joint == no.Joint && name != t.adhesive.Name && !lists.Contains(no.others, name) {
				no.others = append(no.others, name)
			}
		}
	}
	return no
}
