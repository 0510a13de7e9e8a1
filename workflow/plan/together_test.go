package plan_test

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"fettle/workflow/plan"
)

// paired has of every other stage the cut in one sitting with what is glued after it, and of the third with the cut of the same stage
// of the next of every other airframe.
func paired(p plan.Problem) plan.Problem {
	stages := 0
	for stages < len(p.Activities) && p.Activities[stages].Group == 0 {
		stages++
	}
	for cut := 0; cut < len(p.Activities); cut += 10 {
		set := []int{cut, cut + 1, cut + 3}
		if next := cut + stages; cut%15 == 0 && cut/stages%2 == 0 && next < len(p.Activities) {
			set = []int{cut, next}
		}
		p.Together = append(p.Together, set)
	}
	return p
}

// near says the same of sittings that are days apart, and no longer than three hours, by delays.
func near(p plan.Problem) plan.Problem {
	p.Delays = slices.Clone(p.Delays)
	for _, set := range p.Together {
		for _, i := range set {
			for _, j := range set {
				if i != j {
					p.Delays = append(p.Delays, plan.Delay{From: i, To: j, Least: p.Activities[i].Length - 180})
				}
			}
		}
	}
	p.Together = nil
	return p
}

// What lies in one sitting finishes when what lies within three hours does, where sittings are days apart.
func TestTogetherIsNear(t *testing.T) {
	for n := range 12 {
		p := paired(fleet(1+n%2, 6, uint64(n)))
		if n%3 == 0 {
			p = heated(p)
		}
		one, other := solved(t, p, plan.Options{Think: time.Minute}), solved(t, near(p), plan.Options{Think: time.Minute})
		if one.Starts == nil || one.Finish != other.Finish || !one.Proven || !other.Proven || plan.Check(near(p), one.Starts) != nil || plan.Check(p, other.Starts) != nil {
			t.Errorf("%d: finish %d, proven %t; by delays %d, %t", n, one.Finish, one.Proven, other.Finish, other.Proven)
		}
	}
}

// Three that take 40 minutes of an hour's sitting each lie in one only where two of them can be done at once; the first of them has
// nothing to do with it.
func TestTogetherConflict(t *testing.T) {
	p := plan.Problem{Capacity: []int{1}, Sittings: []plan.Span{{From: 0, To: 60}, {From: 100, To: 160}, {From: 200, To: 260}}, Together: [][]int{{0, 1}, {1, 2}}}
	for _, length := range []int{10, 40, 40} {
		p.Activities = append(p.Activities, plan.Activity{Length: length, Needs: []int{1}, Attended: true})
	}
	r := solved(t, p, plan.Options{})
	want := &plan.Conflict{Activities: []int{1, 2}, Together: []int{1}, Sittings: true, Irreducible: true}
	if r.Starts != nil || !r.Proven || !reflect.DeepEqual(r.Conflict, want) {
		t.Errorf("%+v, conflict %+v, want %+v", r, r.Conflict, want)
	}
	p.Capacity[0] = 2
	if r = solved(t, p, plan.Options{}); r.Finish != 50 || !r.Proven {
		t.Errorf("for two: finish %d, proven %t, want 50", r.Finish, r.Proven)
	}
}

// A pair that lies in one sitting, and finds no room for both in the rest of the one before, begins the chain: what comes before it has
// that rest to spare.
func TestTogetherChain(t *testing.T) {
	p := plan.Problem{Capacity: []int{1}, Sittings: []plan.Span{{From: 0, To: 60}, {From: 100, To: 160}}, Together: [][]int{{1, 2}},
		Delays: []plan.Delay{{From: 0, To: 1, Least: 50}}}
	for _, length := range []int{50, 30, 5} {
		p.Activities = append(p.Activities, plan.Activity{Length: length, Needs: []int{1}, Attended: true})
	}
	r := solved(t, p, plan.Options{})
	if got := from(r); r.Finish != 135 || !slices.Equal(got, []int{1, 2}) || r.Chain[1].Spare != 10 {
		t.Errorf("finish %d, chain %v, %+v", r.Finish, got, r.Chain)
	}
}
