package workflow

import (
	"context"
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

// What stands hot now could be cold for a while, and a coat be on meanwhile: a plan that waits for the step that ends it is not the
// best of all. By hand: coated at 2, joined at 13, trimmed at 60, over at 81.
func TestScheduleWithWhatIsHotIsNotTheBest(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: true})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Adhesives[0].Times.Vapour = 0
	heat, trim, cool := plain("heat"), plain("trim"), plain("cool")
	heat.Hands, trim.Hands, cool.Hands = q("1 min"), q("20 min"), q("1 min")
	heat.Sets, cool.Sets = []steps.Setting{hot}, []steps.Setting{cold}
	b := workingOn(t, in, one("first", heat, wait("rest", "60 min"), trim, cool), one("glue", coating("coat", "tab"), joining("join", "tab")))
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
	b.done("heat")
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 240)}, b.state)
	if err != nil {
		t.Fatal(err)
	}
	if best := evening.Add(81 * time.Minute); p.Proven || p.Bound.After(best) {
		t.Errorf("%s, bound %g", says(p), p.Bound.Sub(evening).Minutes())
	}
}

// No cut of a row finishes before the bound that is said, nor before a plan that is called the best: every way to cut four parts is
// tried. Of these few the one that is planned is the soonest, too.
func TestScheduleAgainstEveryCut(t *testing.T) {
	const day = 24 * 60
	for _, length := range []int{34, 50, 53, 54, 60, 73, 74, 80, 94, 95, 120} {
		b := parts(t, 4)
		var hours []int
		for k := range 5 {
			hours = append(hours, k*day, k*day+length)
		}
		p, err := scheduled(t, evening, Hours{Sittings: open(hours...)}, b.state)
		if err != nil {
			t.Errorf("%d: %v", length, err)
			continue
		}
		of := newScheduler([]*State{b.state}, evening, Hours{Sittings: open(hours...)})
		of.hands, of.rough, of.think = 1, true, &thinking{left: time.Hour}
		of.h.Watch = func(p plan.Problem, r plan.Result) {
			if r.Starts != nil && plan.Check(p, r.Starts) != nil {
				t.Error(plan.Check(p, r.Starts))
			}
		}
		soonest, valid := time.Time{}, 0
		for mask := range 1 << 4 { // after which of the tasks there is a cut
			d, err := of.draft(t.Context(), plan.Options{})
			if of.cuts != nil || err != nil || d.r.Starts == nil {
				t.Fatalf("%d: %v", length, err)
			}
			is := d.c.bounded(d.c.rows[0], d.c.cutOf(0, d.r.Starts))
			for i := range is.tasks {
				switch {
				case is.gaps[i] != undecided:
				case i > 0 && mask>>(i-1)&1 == 1:
					is.gaps[i] = parted
				default:
					is.gaps[i] = stays
				}
			}
			of.cuts = map[int]cut{0: is}
			d, err = of.draft(t.Context(), plan.Options{})
			if of.cuts = nil; err != nil || d.r.Starts == nil || len(d.c.leaves(d.r.Starts)) > 0 {
				continue
			}
			if valid++; soonest.IsZero() || d.t.Finish.Before(soonest) {
				soonest = d.t.Finish
			}
		}
		if valid == 0 || soonest.Before(p.Bound) || soonest.Before(p.Finish) {
			t.Errorf("%d minutes: %s, bound %g; of %d cuts the soonest ends at %g", length, says(p), p.Bound.Sub(evening).Minutes(), valid, soonest.Sub(evening).Minutes())
		}
	}
}
