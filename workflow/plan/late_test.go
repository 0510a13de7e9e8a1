package plan_test

import (
	"testing"

	"fettle/workflow/plan"
)

// A conflict that a resource has had for some decisions is traced back from where it began, not from where it is seen: two people at an
// iron that one at a time uses, and at most 113 minutes.
func TestConflictSeenLate(t *testing.T) {
	p := plan.Problem{Capacity: []int{2, 1}, Together: [][]int{{0, 17}, {18, 19, 1}, {5, 6, 7, 20}}}
	for _, a := range [...]struct{ length, iron int }{
		{5, 1}, {20, 1}, {1, 0}, {3, 0}, {5, 0}, {8, 1}, {5, 1}, {20, 1}, {1, 0}, {3, 0}, {17, 0}, {8, 1},
		{5, 1}, {20, 1}, {1, 0}, {3, 0}, {10, 0}, {1, 0}, {8, 1}, {5, 1}, {1, 0},
	} {
		p.Activities = append(p.Activities, plan.Activity{Length: a.length, Needs: []int{1, a.iron}, Attended: true})
	}
	for _, d := range [...][3]int{
		{0, 1, 5}, {1, 2, 20}, {3, 4, 3}, {5, 6, 8}, {6, 7, 5}, {7, 8, 20}, {9, 10, 3}, {11, 12, 8}, {12, 13, 5},
		{13, 14, 20}, {15, 16, 3}, {0, 17, 5}, {17, 18, 1}, {18, 19, 8}, {19, 1, 5}, {6, 20, 5}, {7, 20, 20},
	} {
		p.Delays = append(p.Delays, plan.Delay{From: d[0], To: d[1], Least: d[2]})
	}
	for _, e := range [...][6]int{
		{4, 0, 5, 17, 4, 1}, {10, 0, 17, 17, 10, 1}, {16, 0, 10, 17, 16, 1}, {3, 18, 3, 1, 3, 20}, {4, 18, 5, 1, 4, 20}, {8, 18, 1, 1, 8, 20},
		{9, 18, 3, 1, 9, 20}, {10, 18, 17, 1, 10, 20}, {14, 18, 1, 1, 14, 20}, {15, 18, 3, 1, 15, 20}, {16, 18, 10, 1, 16, 20}, {20, 18, 1, 1, 20, 20},
		{4, 2, 5, 2, 4, 1}, {10, 2, 17, 2, 10, 1}, {16, 2, 10, 2, 16, 1}, {2, 5, 1, 7, 2, 20}, {3, 5, 3, 7, 3, 20}, {4, 5, 5, 20, 4, 1},
		{9, 5, 3, 7, 9, 20}, {10, 5, 17, 20, 10, 1}, {14, 5, 1, 7, 14, 20}, {15, 5, 3, 7, 15, 20}, {16, 5, 10, 20, 16, 1}, {17, 5, 1, 7, 17, 20},
		{4, 14, 5, 14, 4, 1}, {10, 14, 17, 14, 10, 1}, {16, 14, 10, 14, 16, 1},
	} {
		p.Either = append(p.Either, plan.Either{One: plan.Delay{From: e[0], To: e[1], Least: e[2]}, Other: plan.Delay{From: e[3], To: e[4], Least: e[5]}})
	}
	for day := range 12 {
		p.Sittings = append(p.Sittings, plan.Span{From: 1440 * day, To: 1440*day + 113})
	}
	for before := 80; before <= 113; before++ {
		r, err := plan.Solve(t.Context(), p, plan.Options{Before: before, Sure: true})
		switch {
		case err != nil:
			t.Error(err)
		case r.Starts == nil && !r.Proven:
			t.Errorf("before %d: nothing is known", before)
		case r.Starts != nil && (r.Finish >= before || plan.Check(p, r.Starts) != nil):
			t.Errorf("before %d: finish %d, %v", before, r.Finish, plan.Check(p, r.Starts))
		}
	}
}
