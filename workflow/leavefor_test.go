package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// tried is a bench at which it takes 2 min to plug in, 20 to try, and 3 to pull the plug.
func tried(t *testing.T) *bench {
	t.Helper()
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, try, pull := hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min")
	plug.Sets, pull.Sets = []steps.Setting{{Condition: "battery", State: "in"}}, []steps.Setting{{Condition: "battery", State: "out"}}
	try.Needs = plug.Sets
	return workingOn(t, kit, one("power", plug, try, pull))
}

// What is plugged in for a step, and pulled after it, is left for a later sitting where this one has no time for all of that, and where the
// last plan has the step later: else it is plugged in, and at once pulled again. It takes 2 min to plug it in, 20 to try, and 3 to pull.
func TestWhatIsPluggedInIsLeftForALaterSitting(t *testing.T) {
	b := tried(t)
	b.done("plug")
	now := evening.Add(time.Minute)
	in := func(minutes int) time.Time { return now.Add(minutesOf(minutes)) }
	tries := func(at int) []Planned {
		return []Planned{{Job: b.state.Jobs[0].ID, Step: "try", Begins: in(at), Minutes: 20, Leave: in(at + 30)}}
	}
	for _, test := range []struct {
		name    string
		battery string
		over    int
		planned []Planned
		left    bool
		takes   int
	}{
		{"time for all of it", "out", 25, nil, false, 0},
		{"not for all of it", "out", 24, nil, true, 25},
		{"it is over", "out", -30, nil, true, 25},
		{"over for long", "out", -90, nil, false, 0},
		{"it is in", "in", 24, nil, false, 0},
		{"planned now", "out", 0, tries(0), false, 0},
		{"planned for tomorrow", "out", 0, tries(24 * 60), true, 0},
		{"planned for tomorrow, and in", "in", 0, tries(24 * 60), false, 0},
	} {
		is := *b
		is.now = now
		is.must(setting("battery", test.battery))
		s := is.state
		s.Planned = test.planned
		if test.over != 0 {
			s.Sits = func() time.Time { return in(test.over) }
		}
		g := s.Next(now)
		if o := s.Overruns(g, now); (o != nil) != (test.takes > 0) || o != nil && o.Takes != minutesOf(test.takes) {
			t.Errorf("%s: it outlasts the sitting by %+v", test.name, o)
		}
		s.LeaveFor(&g, now)
		if left := len(g.Resolve) == 1 && g.Resolve[0].Remedy.Kind == ToPlan; g.Step == nil || g.Step.Step.Name != "try" || left != test.left {
			t.Errorf("%s: %+v", test.name, g.Resolve)
		}
	}
}

// What a step plugs in itself is for the first step after it, and is pulled after that: too little time for all three is said, and the
// step left. So is too little time to pull what stands plugged in, as long as that takes.
func TestWhatAStepPlugsInIsLeftWithTheStep(t *testing.T) {
	b := tried(t)
	over := 0
	sits := func() time.Time { return b.now.Add(minutesOf(over)) }
	for at, left := range map[int]bool{25: false, 24: true} {
		b.state.Sits, over = sits, at
		g := b.state.Next(b.now)
		if o := b.state.Overruns(g, b.now); (o != nil) != left || left && (!o.Uses || o.Takes != 25*time.Minute) {
			t.Errorf("%d min are left: it outlasts the sitting by %+v", at, o)
		}
		if b.state.LeaveFor(&g, b.now); len(g.Resolve) > 0 != left {
			t.Errorf("%d min are left: %+v", at, g.Resolve)
		}
	}
	b.done("plug")
	for at, ends := range map[int]bool{23: false, 22: true} {
		b.state.Sits, over = sits, at
		if end, _ := b.state.EndFirst(b.state.Next(b.now), b.now); len(end) > 0 != ends {
			t.Errorf("%d min are left for try and pull: %v", at, end)
		}
	}
}

// A joint isn't coated where this sitting has no time to join it: the coat would lapse once everybody is at home. It takes 3 min for each face,
// 10 till the second one is dry at 20 °C, and 2 to join. Once a face is coated, whoever stays a little longer can still save it.
func TestWhatCannotBeJoinedInTheSittingIsNotCoated(t *testing.T) {
	coats := func(name string) steps.Step {
		step := coating(name, "roots")
		step.Hands = q("3 min")
		return step
	}
	join := joining("join", "roots")
	join.Hands = q("2 min")
	b := working(t, one("wing", coats("left"), coats("right"), join))
	over := 0
	b.state.Sits = func() time.Time { return b.now.Add(minutesOf(over)) }
	for at, left := range map[int]bool{18: false, 17: true, -30: true, -90: false} {
		over = at
		g := b.state.Next(b.now)
		o := b.state.Overruns(g, b.now)
		if (o != nil) != left || left && (!o.Joins || o.Takes != 18*time.Minute) {
			t.Errorf("%d min are left: it outlasts the sitting by %+v", at, o)
		}
		b.state.LeaveFor(&g, b.now)
		if waits := len(g.Resolve) == 1 && g.Resolve[0].Remedy.Kind == ToPlan && g.Step.Progress == Waiting; waits != left {
			t.Errorf("%d min are left: %s, %+v", at, g.Step.Progress, g.Resolve)
		}
	}
	b.done("left")
	b.state.Sits, over = func() time.Time { return b.now.Add(minutesOf(over)) }, 5
	g := b.state.Next(b.now)
	if b.state.LeaveFor(&g, b.now); g.Step == nil || g.Step.Step.Name != "right" || len(g.Resolve) > 0 {
		t.Errorf("the other face is coated: %+v", g.Step)
	}
}

// Until when a coat, or what is plugged in for a step, can be begun in the sitting is the last second at which it isn't left for a later one.
func TestBeginByIsWhenItIsLeft(t *testing.T) {
	left := func(b *bench, at time.Time) bool {
		g := b.state.Next(b.now)
		b.state.LeaveFor(&g, at)
		return len(g.Resolve) > 0
	}
	coat := coating("left", "roots")
	coat.Hands = q("3 min")
	for name, b := range map[string]*bench{"coat": working(t, one("wing", coat, joining("join", "roots"))), "plug": tried(t)} {
		over := b.now.Add(time.Hour)
		b.state.Sits = func() time.Time { return over }
		g := b.state.Next(b.now)
		by := time.Unix(b.state.BeginBy(&g, b.now), 0)
		if !by.After(b.now) || !by.Before(over) || left(b, by) || !left(b, by.Add(time.Second)) || left(b, b.now) {
			t.Errorf("%s: it can be begun by %s, and the sitting is over at %s", name, by, over)
		}
		if again := b.state.BeginBy(&g, by.Add(time.Second)); again != 0 {
			t.Errorf("%s: it is left, and can be begun by %d", name, again)
		}
	}
	b := tried(t)
	b.done("plug")
	b.state.Sits = func() time.Time { return b.now.Add(time.Hour) }
	if g := b.state.Next(b.now); b.state.BeginBy(&g, b.now) != 0 {
		t.Errorf("what is plugged in is left for a later sitting: %s", g.Step.Step.Name)
	}
}

// What a battery was plugged in for isn't shown beside the caution that has it pulled: nobody was at it for more than an hour.
func TestWhatIsEndedAtOnceIsNotUsedFirst(t *testing.T) {
	b := tried(t)
	b.done("plug")
	for after, first := range map[int]bool{59: false, 61: true} {
		now := b.now.Add(minutesOf(after))
		g := b.state.Next(now)
		if got := b.state.UnsafeFirst(&g, now); g.Step == nil || g.Step.Step.Name != "try" || got != first {
			t.Errorf("after %d min: %+v comes first: %t, want %t", after, g.Step, !got, !first)
		}
	}
	b.after(61 * time.Minute)
	b.must(setting("battery", "out"))
	if g := b.state.Next(b.now); b.state.UnsafeFirst(&g, b.now) {
		t.Error("it is out")
	}
}

// Once the sitting was to be over, the plug is pulled at once, and what it is in for isn't shown beside that: what ends it is.
func TestNothingIsUsedOnceTheSittingIsOver(t *testing.T) {
	b := tried(t)
	b.done("plug")
	over := b.now.Add(10 * time.Minute)
	b.state.Sits = func() time.Time { return over }
	first := func(step string, after int, want bool) {
		now := b.now.Add(minutesOf(after))
		g := b.state.Next(now)
		if got := b.state.UnsafeFirst(&g, now); g.Step == nil || g.Step.Step.Name != step || got != want {
			t.Errorf("after %d min: %+v comes first: %t, want %t", after, g.Step, !got, !want)
		}
	}
	first("try", 9, false)
	first("try", 10, true)
	b.done("try")
	first("pull", 11, false)
}
