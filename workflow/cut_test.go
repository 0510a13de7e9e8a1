package workflow

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/plan"
)

// Whatever is tried for a plan, with all of its cuts, has no more time to think than was given, though each try takes all that it
// gets; and there is a plan.
func TestScheduleThinksNoLongerThanGiven(t *testing.T) {
	const day = 24 * 60
	coats := one("glue", coating("coat", "tab"), joining("join", "tab"))
	for name, c := range map[string]struct {
		b     *bench
		hours Hours
		tries int // at the least
	}{
		"one try":       {working(t, coats), Hours{Sittings: open(0, 240)}, 1},
		"cuts":          {parts(t, 3), Hours{Sittings: open(0, 60, day, day+60)}, 4},
		"many cuts":     {parts(t, 9), Hours{Sittings: open(0, 60, day, day+60, 2*day, 2*day+60, 3*day, 3*day+60, 4*day, 4*day+60, 5*day, 5*day+60)}, 8},
		"in each alone": {parts(t, 3), Hours{Sittings: open(0, 34, day, day+34, 2*day, 2*day+34)}, 3},
	} {
		t.Run(name, func(t *testing.T) {
			const think = time.Hour
			of := newScheduler([]*State{c.b.state}, evening, c.hours)
			given, tries := time.Duration(0), 0
			of.solve = func(ctx context.Context, p plan.Problem, o plan.Options) (plan.Result, error) {
				given, tries = given+o.Think, tries+1
				r, err := plan.Solve(ctx, p, o)
				if err == nil && r.Starts != nil {
					if broken := plan.Check(p, r.Starts); broken != nil {
						t.Error(broken)
					}
				}
				r.Took = o.Think
				return r, err
			}
			p, err := of.find(t.Context(), plan.Options{Think: think})
			if err != nil || len(p.Visits) == 0 {
				t.Fatalf("%s, %v", says(p), err)
			}
			if given > think || tries < c.tries {
				t.Errorf("%d tries had %s of %s: %s", tries, given, think, says(p))
			}
			if c.tries == 1 && given != think {
				t.Errorf("the only try had %s", given)
			}
		})
	}
}

// When all would be done with sittings like those given, where they are too few, is found in the time that is left, and not asked of what
// would help.
func TestScheduleThinksOfTooLittleInItsTime(t *testing.T) {
	for _, trial := range []bool{false, true} {
		const think = time.Hour
		b := parts(t, 3)
		of := newScheduler([]*State{b.state}, evening, Hours{Sittings: open(0, 34)})
		of.trial = trial
		given, tries := time.Duration(0), 0
		of.solve = func(ctx context.Context, p plan.Problem, o plan.Options) (plan.Result, error) {
			given, tries = given+o.Think, tries+1
			r, err := plan.Solve(ctx, p, o)
			r.Took = o.Think
			return r, err
		}
		_, err := of.find(t.Context(), plan.Options{Think: think})
		var no *NoPlan
		if !errors.As(err, &no) || no.Why != TooLittle {
			t.Fatal(err)
		}
		if no.Until.IsZero() != trial || tries == 0 != trial || given > think {
			t.Errorf("tried %t: until %s, %d tries had %s of %s", trial, no.Until, tries, given, think)
		}
	}
}

// What stands hot now is cold for a while where a coat can be on meanwhile: what is left to do is still what it was heated for, though no
// step says so. By hand: cold at 1, coated, joined at 13, trimmed at 60, over at 81. Where nothing is left to do with it, a plan waits for
// the step that ends it, and is not the best of all: that is over at 61.
func TestScheduleWithWhatIsHotIsNotTheBest(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Adhesives[0].Times.Vapour = 0
	heat, trim, cool := hands("heat", "1 min"), hands("trim", "20 min"), hands("cool", "1 min")
	heat.Sets, cool.Sets = []steps.Setting{hot}, []steps.Setting{cold}
	for name, is := range map[string]struct {
		row    steps.Stage
		best   int
		proven bool
	}{
		"more to do":    {one("first", heat, wait("rest", "60 min"), trim, cool), 81, true},
		"nothing to do": {one("first", heat, wait("rest", "60 min"), cool), 61, false},
	} {
		b := workingOn(t, in, is.row, one("glue", coating("coat", "tab"), joining("join", "tab")))
		b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
		b.done("heat")
		p, err := scheduled(t, b.now, Hours{Sittings: open(0, 240)}, b.state)
		if err != nil {
			t.Fatal(err)
		}
		if best := evening.Add(minutesOf(is.best)); p.Proven != is.proven || p.Proven && !p.Finish.Equal(best) || p.Bound.After(best) || hotBesideACoat(p, true) != "" {
			t.Errorf("%s: %s, bound %g: %s", name, says(p), p.Bound.Sub(evening).Minutes(), hotBesideACoat(p, true))
		}
	}
}

// What no step says it needs is heated anew in the next sitting whether its first heating is planned or done.
func TestScheduleHeatsAnewWhatNothingSaysItNeeds(t *testing.T) {
	const day = 24 * 60
	b := hotAndGlued(t, 0, true)
	h := Hours{Sittings: open(0, 17, day, day+150), Tight: true}
	heated := func() (at map[string]int) {
		p, err := scheduled(t, b.now, h, b.state)
		if err != nil {
			t.Fatal(err)
		}
		at = map[string]int{}
		hot := b.state.Holds("gun", b.now) == "hot"
		for _, v := range p.Visits {
			for _, turn := range v.Turns {
				if at[turn.Step+string(turn.Again)]++; !hot && strings.HasPrefix(turn.Step, "bend") {
					t.Errorf("%s with the gun cold: %s", turn.Step, says(p))
				}
				for _, set := range turn.Sets {
					hot = set.Condition == "gun" && set.State == "hot" || set.Condition != "gun" && hot
				}
			}
		}
		if hot {
			t.Errorf("the gun is left hot: %s", says(p))
		}
		return at
	}
	if at := heated(); at["heat"] != 1 || at["bend-3"] != 1 {
		t.Errorf("before: %v", at)
	}
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
	b.done("heat")
	if at := heated(); at["heat"] != 0 || at["heatready"] != 1 || at["bend-3"] != 1 {
		t.Errorf("with the heat on: %v", at)
	}
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "gun", State: "cold"}}})
	if at := heated(); at["heatready"] != 1 || at["bend-3"] != 1 {
		t.Errorf("once it was ended: %v", at)
	}
}

// Of all ways to cut rows none is finished before the plan, which is called the best: with one row, with two that take turns, with one
// that a coat may not be open beside, and with one that was set before. With FETTLE_LONG that is tried of rows of 1 to 4 things in all
// sittings of half an hour to an hour, with windows used to their ends or not.
func TestScheduleAgainstEveryCut(t *testing.T) {
	t.Parallel()
	const day = 24 * 60
	type tried struct {
		n, length int
		tight     bool
	}
	for name, c := range map[string]struct {
		bench func(n int) *bench
		tries []tried
	}{
		"one row":       {func(n int) *bench { return parts(t, n) }, []tried{{4, 34, true}, {4, 53, true}, {4, 54, true}, {4, 74, true}, {4, 80, true}, {4, 95, true}, {1, 40, false}}},
		"two rows":      {func(n int) *bench { return hotAndGlued(t, n, true) }, []tried{{3, 36, true}, {3, 60, true}, {1, 36, false}}},
		"beside a coat": {func(n int) *bench { return hotAndGlued(t, n, false) }, []tried{{4, 34, true}, {4, 55, true}, {4, 75, true}, {2, 37, false}}},
		"set before": {func(n int) *bench {
			b := hotAndGlued(t, n, false)
			b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
			b.done("warm")
			return b
		}, []tried{{4, 40, true}, {4, 70, true}, {2, 45, false}}},
	} {
		if os.Getenv("FETTLE_LONG") != "" {
			for n := 1; n <= 4; n++ {
				for length := 34; length <= 60; length++ { // which one thing takes at least
					c.tries = append(c.tries, tried{n, length, true}, tried{n, length, false})
				}
			}
		}
		for _, try := range c.tries {
			b := c.bench(try.n)
			var hours []int
			for k := range 7 {
				hours = append(hours, k*day, k*day+try.length)
			}
			h := Hours{Sittings: open(hours...), Tight: try.tight}
			p, err := scheduled(t, b.now, h, b.state)
			if err != nil {
				t.Errorf("%s, %+v: %v", name, try, err)
				continue
			}
			if text := hotBesideACoat(p, b.state.Holds("iron", b.now) == "hot"); text != "" {
				t.Errorf("%s, %+v: %s: %s", name, try, text, says(p))
			}
			if soonest, valid := soonestCut(t, b, h); valid == 0 || !soonest.Equal(p.Finish) || !p.Proven {
				t.Errorf("%s, %+v: %s, bound %g; of %d cuts the soonest ends at %g", name, try, says(p), p.Bound.Sub(evening).Minutes(), valid, soonest.Sub(evening).Minutes())
			}
		}
	}
}

// With a minute left of a sitting in which something stands hot there is a plan still, which heats it anew; a coat that may not lie beside
// it waits for the next sitting. It is ended in the minutes that it takes, once all else is done, and whoever does it stays for longer
// than they said: nothing else is begun meanwhile, also in a sitting that is given for then.
func TestScheduleWithNoTimeToEndWhatStands(t *testing.T) {
	const day = 24 * 60
	for _, is := range []struct {
		minutes string
		pre     bool
		hours   []Sitting
		want    string
		to      int // of the first visit
	}{
		{"1 min", false, open(0, 1, day, day+150), "offsafe 0, | warmready 1440, read 1448, film-1 1453, film-2 1473, off 1493, coat 1494, join 1505, | ends 1506", 1},
		{"3 min", false, open(0, 1, day, day+150), "offsafe 0, | warmready 1440, read 1448, film-1 1453, film-2 1473, off 1493, coat 1496, join 1507, | ends 1508, not proven", 3},
		{"21 min", true, open(0, 3, day, day+150), "pre 0, offsafe 1, | warmready 1440, read 1448, film-1 1453, film-2 1473, off 1493, coat 1514, join 1525, | ends 1526, not proven", 22},
		{"21 min", true, open(0, 3, 5, 10, 15, 150), "pre 0, offsafe 1, | warmready 24, read 32, film-1 37, film-2 57, off 77, coat 98, join 109, | ends 110, not proven", 22},
	} {
		b := hotAndGlued(t, 2, false)
		stages := b.state.Jobs[0].Procedure.Stages
		stages[0].Steps[4].Hands = q(is.minutes)
		if is.pre {
			stages = append([]steps.Stage{one("pre", hands("pre", "1 min"))}, stages...)
		}
		b = workingOn(t, b.state.Sheet, stages...)
		b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
		b.done("warm")
		p, err := scheduled(t, b.now, Hours{Sittings: is.hours, Tight: true}, b.state)
		if err != nil || says(p) != is.want || hotBesideACoat(p, true) != "" {
			t.Errorf("%s: %s, %v, want %s", is.minutes, says(p), err, is.want)
			continue
		}
		if v := p.Visits[0]; !v.To.Equal(evening.Add(minutesOf(is.to))) || v.Overtime != (v.To.After(is.hours[0].To)) || atOnce(p) != "" {
			t.Errorf("%s: until %s, overtime %t: %s", is.minutes, v.To, v.Overtime, atOnce(p))
		}
	}
}

// What one stage heats for three things, glues then, and cools at last, is planned in sittings that are too short for all of it: it is
// cooled in each, also before the coat, and cooled by its own step at last.
func TestScheduleGluesWithinAStageThatHeats(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Adhesives[0].Times.Vapour = 0
	warm, first, second, third, cool := hands("warm", "3 min"), hands("one", "10 min"), hands("two", "10 min"), hands("three", "7 min"), hands("cool", "1 min")
	warm.Sets, cool.Sets = []steps.Setting{hot}, []steps.Setting{cold}
	first.Needs, second.Needs, third.Needs = []steps.Setting{hot}, []steps.Setting{hot}, []steps.Setting{hot}
	for _, is := range []struct {
		length int
		warm   bool
		want   string
	}{
		{14, false, "warm 0, one 3, coolsafe 13, | warmready 1440, two 1443, coolsafe 1453, | warmready 2880, three 2883, coolsafe 2890, | coat 4320, join 4331, cool 4332, | ends 4333"},
		{14, true, "one 0, coolsafe 10, | warmready 1440, two 1443, coolsafe 1453, | warmready 2880, three 2883, coolsafe 2890, | coat 4320, join 4331, cool 4332, | ends 4333"},
		{22, true, "one 0, two 10, coolsafe 20, | warmready 1440, three 1443, coolsafe 1450, | coat 2880, join 2891, cool 2892, | ends 2893"},
	} {
		b := workingOn(t, in, one("stage", warm, first, second, third, coating("coat", "tab"), joining("join", "tab"), cool))
		b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
		if is.warm {
			b.done("warm")
		}
		var hours []int
		for k := range 5 {
			hours = append(hours, 1440*k, 1440*k+is.length)
		}
		p, err := scheduled(t, b.now, Hours{Sittings: open(hours...), Tight: true}, b.state)
		if err != nil || says(p) != is.want || hotBesideACoat(p, is.warm) != "" {
			t.Errorf("%d min, warm %t: %s, %v, want %s: %s", is.length, is.warm, says(p), err, is.want, hotBesideACoat(p, is.warm))
		}
	}
}

// What stands hot, and is hot for nothing that can be planned, is ended before anything else: no coat is on beside it, in a sitting of
// whatever length.
func TestScheduleEndsWhatIsHotForNothing(t *testing.T) {
	for _, minutes := range []string{"1 min", "21 min"} {
		for parts := range 2 {
			b := hotAndGlued(t, parts, false)
			in := b.state.Sheet
			in.Adhesives[1].Coldest = q("25 °C") // so that the last thing that the iron is hot for is not planned, nor what comes after it
			all := b.state.Jobs[0].Procedure.Stages
			n := len(all[0].Steps) - 1
			off := all[0].Steps[n]
			off.Hands = q(minutes)
			stick := steps.Step{Name: "stick", Kind: steps.Glue, Joint: "other", Adhesives: []string{"epoxy"}, Hands: q("3 min")}
			all[0].Steps = append(all[0].Steps[:n:n], stick, off)
			if parts == 0 {
				all[0].Steps = []steps.Step{all[0].Steps[0], stick, off}
			}
			all[1].Steps = append([]steps.Step{hands("pre", "10 min")}, all[1].Steps...)
			b = workingOn(t, in, all...)
			b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
			b.done("warm")
			for length := 1; length < 60; length += 3 {
				p, err := scheduled(t, b.now, Hours{Sittings: open(0, length, 1440, 1440+150), Tight: true}, b.state)
				if err != nil || hotBesideACoat(p, true) != "" || atOnce(p) != "" {
					t.Errorf("off in %s, %d minutes: %s, %v: %s, %s", minutes, length, says(p), err, hotBesideACoat(p, true), atOnce(p))
					continue
				}
				ends := 0
				for _, turn := range p.Visits[0].Turns {
					if turn.Again == AgainSafe {
						ends++
					}
				}
				if ends != 1 {
					t.Errorf("off in %s, %d minutes: it is ended %d times before anybody leaves: %s", minutes, length, ends, says(p))
				}
			}
		}
	}
}

// atOnce is what one pair of hands is to do while it does something else, or once the sitting is over; "": nothing.
func atOnce(p Timetable) string {
	last := time.Time{}
	for _, v := range p.Visits {
		for _, turn := range v.Turns {
			if turn.Begins.Before(last) || turn.Begins.Before(v.From) || turn.Ends.After(v.To) {
				return fmt.Sprintf("%s from %s to %s in the sitting from %s to %s", turn.Step, turn.Begins, turn.Ends, v.From, v.To)
			}
			last = turn.Ends
		}
	}
	return ""
}

// What stands hot keeps a coat waiting, whatever is left of the sitting, also where all that it is hot for is one thing.
func TestScheduleCoatsNothingBesideWhatStands(t *testing.T) {
	for parts := 1; parts <= 2; parts++ {
		for minutes := 2; minutes <= 80; minutes += 3 {
			for _, tight := range []bool{false, true} {
				b := hotAndGlued(t, parts, false)
				b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
				b.done("warm")
				p, err := scheduled(t, b.now, Hours{Sittings: open(0, minutes, 1440, 1440+150), Tight: tight}, b.state)
				if err != nil || hotBesideACoat(p, true) != "" {
					t.Errorf("%d parts, %d minutes, tight %t: %s, %v: %s", parts, minutes, tight, says(p), err, hotBesideACoat(p, true))
				}
			}
		}
	}
}

// Where the time is too short for that as well, it is said that there is no plan.
func TestScheduleWithNoTimeToSetAnewWhatStands(t *testing.T) {
	const day = 24 * 60
	b := parts(t, 2)
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
	b.done("warm")
	for length, enough := range map[int]bool{53: false, 54: true} { // 8 to heat, 5 to measure, and 41 of work
		p, err := scheduled(t, b.now, Hours{Sittings: open(0, 1, day, day+length)}, b.state)
		if (err == nil) != enough || err != nil && !errors.As(err, new(*NoPlan)) {
			t.Errorf("%d minutes: %s, %v", length, says(p), err)
		}
	}
}

// soaking is a bench at which a soak is over before the second step that needs the iron hot is, and the coat after it may not wait
// until then.
func soaking(t *testing.T, cooling string) *bench {
	t.Helper()
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Adhesives[0].Times.Vapour = 0
	warm, first, second, cool := hands("warm", "1 min"), hands("hot-one", "10 min"), hands("hot-two", "40 min"), hands("cool", cooling)
	warm.Sets, cool.Sets = []steps.Setting{hot}, []steps.Setting{cold}
	first.Needs, second.Needs = []steps.Setting{hot}, []steps.Setting{hot}
	soak := wait("soak", "1 min")
	soak.By, soak.From = q("30 min"), "hot-one"
	b := workingOn(t, in, one("heat", warm, first), steps.Stage{Name: "more", After: []string{"heat"}, Steps: []steps.Step{second, cool}},
		steps.Stage{Name: "glue", After: []string{"heat"}, Steps: []steps.Step{soak, coating("coat", "tab"), joining("join", "tab")}})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
	return b
}

// What is hot is cooled for a coat also where no plan keeps it hot for all that needs it.
func TestScheduleCutsWhatCannotStayWhole(t *testing.T) {
	b := soaking(t, "1 min")
	h := Hours{Sittings: open(0, 240), Tight: true}
	for range 2 { // and once more, as it was shown
		p, err := scheduled(t, b.now, h, b.state)
		if want := "warm 0, hot-one 1, coolsafe 11, coat 12, join 23, warmready 24, hot-two 25, cool 65, | ends 66"; says(p) != want || !p.Proven {
			t.Errorf("%s, proven %t, %v; want %s", says(p), p.Proven, err, want)
		}
		h.Like = &p
	}
	b = soaking(t, "3 min")
	b.done("warm")
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 2, 1440, 1440+240), Tight: true}, b.state) // too short to cool it as written
	if want := evening.Add(1510 * time.Minute); err != nil || !p.Finish.Equal(want) {
		t.Errorf("%s, %v; want the end at 1510", says(p), err)
	}
}

// What could be given up is, where nobody found in time whether cuts would do; and it is not called the best.
func TestScheduleGivesUpWhatIsNotKnown(t *testing.T) {
	for _, late := range []int{-1, 1} {
		b := soaking(t, "1 min")
		b.done("warm", "hot-one")
		of := newScheduler([]*State{b.state}, b.now, Hours{Sittings: open(0, 33, 1440, 1440+240), Tight: true})
		n := -1
		of.solve = func(ctx context.Context, p plan.Problem, o plan.Options) (plan.Result, error) {
			if n++; n == late { // this one is not solved in its share
				return plan.Result{Took: o.Think}, nil
			}
			return plan.Solve(ctx, p, o)
		}
		p, err := of.find(t.Context(), plan.Options{Think: time.Second})
		if err != nil || p.Proven != (late < 0) || (len(p.Lapses) > 0) != (late > 0) {
			t.Errorf("solve %d: %s, proven %t, %v", late, says(p), p.Proven, err)
		}
	}
}

// hotBesideACoat goes through the turns in their order: from its coat until it is joined nothing heats the iron, nor is it hot.
func hotBesideACoat(p Timetable, hot bool) string {
	open := false
	for _, v := range p.Visits {
		for i := range v.Turns {
			turn := &v.Turns[i]
			for _, set := range turn.Sets {
				if set.Condition == "iron" {
					hot = set.State == "hot"
				}
			}
			open = open && turn.Step != "join" || turn.Step == "coat"
			if open && hot {
				return turn.Step + " with the iron hot and the coat open"
			}
		}
	}
	return ""
}

// soonestCut goes through all ways to cut the rows, each gap of which is kept or parted.
func soonestCut(t *testing.T, b *bench, h Hours) (soonest time.Time, valid int) {
	t.Helper()
	of := newScheduler([]*State{b.state}, b.now, h)
	of.hands, of.rough, of.think = 1, true, &thinking{left: time.Hour}
	of.h.Watch = func(p plan.Problem, r plan.Result) {
		if r.Starts != nil && plan.Check(p, r.Starts) != nil {
			t.Error(plan.Check(p, r.Starts))
		}
	}
	whole, err := of.draft(t.Context(), plan.Options{})
	if err != nil || whole.r.Starts == nil {
		t.Fatal(err)
	}
	c := whole.c
	var gaps [][2]int // row, gap
	cuts := map[int]cut{}
	for at, r := range c.rows {
		is := c.bounded(r, c.cutOf(at, whole.r.Starts))
		for g, what := range is.gaps {
			if what == undecided {
				gaps = append(gaps, [2]int{at, g})
			}
		}
		cuts[at] = is
	}
	for mask := range 1 << len(gaps) {
		of.cuts = map[int]cut{}
		for at, is := range cuts {
			of.cuts[at] = cut{is.tasks, slices.Clone(is.gaps)}
		}
		for k, g := range gaps {
			if of.cuts[g[0]].gaps[g[1]] = stays; mask>>k&1 == 1 {
				of.cuts[g[0]].gaps[g[1]] = parted
			}
		}
		d, err := of.draft(t.Context(), plan.Options{Before: 1 << 28})
		if err != nil || d.r.Starts == nil || len(d.c.leaves(d.r.Starts)) > 0 {
			continue
		}
		if valid++; soonest.IsZero() || d.t.Finish.Before(soonest) {
			soonest = d.t.Finish
		}
	}
	return soonest, valid
}

// hotAndGlued is the bench of parts, with a joint that wants the iron cold from its coat until its vapour is gone; with a gun, another
// row lies beside it.
func hotAndGlued(t *testing.T, n int, gun bool) *bench {
	t.Helper()
	b := parts(t, n)
	in := b.state.Sheet
	in.Adhesives = slices.Clone(in.Adhesives)
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{{Condition: "iron", State: "cold"}}}
	all := []steps.Stage{b.state.Jobs[0].Procedure.Stages[0], one("glue", coating("coat", "tab"), joining("join", "tab"))}
	if gun {
		in.Conditions = append(slices.Clone(in.Conditions), steps.Condition{Name: "gun", States: []string{"hot", "cold"}, Bench: true})
		heat, cool := plain("heat"), plain("cool")
		heat.Hands, cool.Hands = q("5 min"), q("1 min")
		heat.Sets, cool.Sets = []steps.Setting{{Condition: "gun", State: "hot"}}, []steps.Setting{{Condition: "gun", State: "cold"}}
		row := []steps.Step{heat}
		for n := range 3 {
			bend := plain(fmt.Sprintf("bend-%d", n+1))
			bend.Hands = q("10 min")
			row = append(row, bend)
		}
		all = append(all, one("bent", append(row, cool)...))
	}
	return workingOn(t, in, all...)
}

// Where the time to think is over before the ways to cut rows were gone through, it is said that no plan was found, and not that what is
// left does not go together, though the first ways that were tried do not: with the time there is one.
func TestScheduleSaysThatItFoundNone(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	heat, first, more, cool := hands("heat", "5 min"), hands("first", "10 min"), hands("more", "20 min"), hands("cool", "1 min")
	heat.Sets, first.Needs, cool.Sets = []steps.Setting{hot}, []steps.Setting{hot}, []steps.Setting{cold}
	b := workingOn(t, in, one("one", heat, first, more, cool))
	for _, slow := range []bool{false, true} {
		of := newScheduler([]*State{b.state}, b.now, Hours{Sittings: open(0, 30, 1440, 1470)})
		of.trial = true
		of.solve = func(ctx context.Context, p plan.Problem, o plan.Options) (plan.Result, error) {
			if of.loose && slow {
				return plan.Result{Took: o.Think}, nil
			}
			return plan.Solve(ctx, p, o)
		}
		p, err := of.find(t.Context(), plan.Options{Think: time.Hour})
		var no *NoPlan
		switch want := "heat 0, first 5, coolsafe 15, | more 1440, cool 1460, | ends 1461"; {
		case !slow && (err != nil || says(p) != want):
			t.Errorf("%s, %v, want %s", says(p), err, want)
		case slow && (!errors.As(err, &no) || no.Why != NotFound || no.Least):
			t.Errorf("in no time: %s, %v", says(p), err)
		}
	}
}

// What was cut for something that does not come between any more is not ended and set anew within a sitting, also where what is
// whole on another airframe must stay apart from it, and there is time for little more than to put what is known in order.
func TestScheduleRejoinsWithinASitting(t *testing.T) {
	in, out := steps.Setting{Condition: "battery", State: "in"}, steps.Setting{Condition: "battery", State: "out"}
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	var fleet []*State
	for n := range 3 {
		plug, pull := hands("plug", "2 min"), hands("pull", "3 min")
		plug.Sets, pull.Sets = []steps.Setting{in}, []steps.Setting{out}
		all := []steps.Step{plug}
		for k := range 3 {
			try := hands(fmt.Sprintf("try-%d", k+1), "20 min")
			try.Needs = []steps.Setting{in}
			all = append(all, try)
		}
		b := workingOn(t, kit, one("power", append(all, pull)...))
		b.state.Airframe.Mark = fmt.Sprintf("PL-%02d", n)
		fleet = append(fleet, b.state)
	}
	of := newScheduler(fleet, evening, Hours{Hands: 2, Sittings: open(0, 400)})
	of.hands, of.think = 2, &thinking{left: time.Hour}
	whole, err := of.draft(t.Context(), plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	of.cuts = map[int]cut{}
	for at := range 2 {
		c := whole.c
		is := c.bounded(c.rows[at], c.cutOf(at, whole.r.Starts)).lying(c, at, whole.r.Starts)
		is.gaps[1] = parted
		of.cuts[at] = is
	}
	best, err := of.draft(t.Context(), plan.Options{})
	if err != nil || strings.Count(says(best.whole(t.Context())), "safe") != 2 {
		t.Fatalf("%s, %v", says(best.whole(t.Context())), err)
	}
	of.solve = func(ctx context.Context, p plan.Problem, o plan.Options) (plan.Result, error) {
		o.Think = 1
		return plan.Solve(ctx, p, o)
	}
	of.loose, of.rough = true, true // as at the end of a search
	s := search{of: of, whole: whole, best: best}
	s.rejoin(t.Context())
	if got := says(s.best.whole(t.Context())); strings.Contains(got, "safe") || s.best.r.Finish > best.r.Finish {
		t.Errorf("%s, cut as %s", got, says(best.whole(t.Context())))
	}
}

// Sittings that come again for too few weeks are no conflict with a window, also where there is no time to find out what of it is one.
func TestScheduleComesAgainForLongEnough(t *testing.T) {
	var all []steps.Step
	for n := range 8 {
		all = append(all, hands(fmt.Sprintf("trim-%d", n+1), "10 min"), wait(fmt.Sprintf("rest-%d", n+1), "192 h"))
	}
	b := working(t, one("glue", append(all, coating("coat", "tab"), joining("join", "tab"))...))
	p, err := Schedule(t.Context(), []*State{b.state}, evening, Hours{Sittings: open(0, 60), Again: true}, plan.Options{Think: 1})
	if err != nil || !strings.Contains(says(p), "join ") {
		t.Errorf("%s, %v", says(p), err)
	}
}
