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
	recorded := Next{Step: &Step{}, Last: "Ann", LastAt: clock.Now, Mark: "SK-01"}
	for people, want := range map[int]bool{0: false, 1: false, 2: true} {
		n := recorded
		n.ToldAlike(people, false)
		text := strings.Contains(n.Later(clock), "No plan says who of you does what: all of you are told the same step")
		if text != want || !strings.Contains(n.Later(clock), "Ann recorded something of SK-01 at 19:00: ask them before you begin this too.") {
			t.Errorf("for %d people: %s", people, n.Later(clock))
		}
	}
	n := recorded
	n.ToldAlike(2, true)
	if text := n.Later(clock); !n.Several || strings.Contains(text, "told the same") || !strings.Contains(text, "No plan says who of you does what: whoever asks next is led to something else. Plan: `fettle plan`") {
		t.Errorf("whoever asks next is told the same: %s", text)
	}
	n = recorded
	n.Behind = 50
	n.ToldAlike(2, false)
	if text := n.Later(clock); strings.Count(text, "fettle plan") != 1 {
		t.Errorf("how to plan is said more than once: %s", text)
	}
	if n.Unsettled = true; !strings.Contains(n.Later(clock), "fettle plan --sitting \"today __-__\"") {
		t.Errorf("what plans is refused without a setting: %s", n.Later(clock))
	}
	n = recorded
	n.apart = true
	if n.ToldAlike(2, false); n.Several {
		t.Error("a plan that tells two people apart is said not to")
	}
}

// Whoever takes a step over reads who was at it, and who recorded something there last, where that is another one.
func TestWhoATakenStepWasOf(t *testing.T) {
	at := time.Date(2026, 3, 3, 19, 0, 0, 0, time.UTC)
	for _, test := range []struct {
		who, by string
		was     bool
	}{{"person 2 (Bob)", "Ann", true}, {"person 2 (Bob)", "", true}, {"person 1 (Ann)", "Ann", false}} {
		n := Next{Mark: "SK-01"}
		n.TakenFrom(test.who, test.by, at)
		text := n.Later(&Clock{Now: at})
		if got := strings.Contains(text, "Person 2 (Bob) was at it: ask them"); got != test.was {
			t.Errorf("%+v: %q", test, text)
		}
		if got := strings.Contains(text, "Ann recorded something of SK-01 at 19:00: ask them"); got != (test.by != "") {
			t.Errorf("%+v: %q", test, text)
		}
	}
}
