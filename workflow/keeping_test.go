package workflow

import (
	"slices"
	"testing"
	"time"

	"fettle/workflow/plan"
)

// A plan that was shown and still is one is not given up for a worse one that is found in less time.
func TestScheduleGivesUpNoBetterPlan(t *testing.T) {
	const day = 24 * 60
	var fleet []*State
	for _, mark := range []string{"PL-01", "PL-02", "PL-03"} {
		b := building(t)
		b.state.Airframe.Mark = mark
		fleet = append(fleet, b.state)
	}
	h := Hours{Sittings: open(0, 40, day, day+45, 2*day, 2*day+40), Again: true}
	h.Watch = func(p plan.Problem, r plan.Result) {
		if err := plan.Check(p, r.Starts); err != nil {
			t.Error(err)
		}
	}
	planned := func(think time.Duration) Timetable {
		p, err := Schedule(t.Context(), fleet, evening, h, plan.Options{Think: think})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	best, hasty := planned(time.Second), planned(1)
	if !hasty.Finish.After(best.Finish) {
		t.Fatalf("in no time it is done by %s, in a second by %s", hasty.Finish, best.Finish)
	}
	h.Like = &best
	again := planned(1)
	if again.Finish.After(best.Finish) {
		t.Errorf("%s\n%s, %t", says(again), says(best), again.Kept)
	}
	order := func(p Timetable) (all []string) {
		for _, v := range p.Visits {
			for _, turn := range v.Turns {
				all = append(all, turn.Mark+" "+turn.Step)
			}
		}
		return all
	}
	if again.Finish.Equal(best.Finish) && !slices.Equal(order(again), order(best)) {
		t.Errorf("it is done no sooner, in another order: %q, before %q", order(again), order(best))
	}
	h.Like = &hasty
	if better := planned(time.Second); better.Finish.After(best.Finish) || better.Kept {
		t.Errorf("%s", says(better))
	}
	// With other sittings it is no plan any more.
	h.Like, h.Sittings = &best, open(15, 55, day, day+45, 2*day, 2*day+40)
	if other := planned(1); other.Kept {
		t.Errorf("%s", says(other))
	}
}

// A plan that was shown is kept with what it ends first, and sets once more in the same sitting.
func TestSchedulePullsThePlugFirstAsShown(t *testing.T) {
	fleet := func(takes string) []*State {
		return pluggedBesideACoat(t, takes, coating("coat", "tab"), joining("join", "tab"))
	}
	now, h := evening.Add(20*time.Minute), Hours{Hands: 1, Sittings: open(20, 300)}
	shown, err := Schedule(t.Context(), fleet("60 min"), now, h, plan.Options{Think: 1})
	if err != nil || shown.Visits[0].Turns[0].Step != "pull" {
		t.Fatalf("%v %s", err, says(shown))
	}
	h.Like = &shown
	again, err := Schedule(t.Context(), fleet("10 min"), now, h, plan.Options{Think: 1})
	if err != nil || again.Visits[0].Turns[0].Step != "pull" || !again.Kept {
		t.Errorf("%v %s, shown %s", err, says(again), says(shown))
	}
}
