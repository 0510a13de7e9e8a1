package page

import (
	"strings"
	"testing"
	"time"
)

// That the plan no longer fits is said first, and where it is for several, that each of them is told the same.
func TestThePlanNoLongerFits(t *testing.T) {
	clock := &Clock{Now: time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)}
	const outdated, same = "The plan no longer fits what was chosen", "all of you are told the same step"
	for several, want := range map[bool]int{false: 0, true: 1} {
		text := (&Next{Outdated: true, Several: several}).Later(clock)
		if strings.Count(text, outdated) != 1 || strings.Count(text, same) != want {
			t.Errorf("for several %t: %s", several, text)
		}
	}
}
