package workflow

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/plan"
)

// hotOnly is a sheet with a gun of the bench, and a step that heats it, needs it hot or switches it off.
func hotOnly() (kit *steps.Sheet, heat, bead, cool func(name, of string) steps.Step) {
	hot, cold := []steps.Setting{{Condition: "gun", State: "hot"}}, []steps.Setting{{Condition: "gun", State: "cold"}}
	kit = sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "gun", States: []string{"cold", "hot"}, Bench: true})
	heat = func(name, of string) steps.Step { s := hands(name, of); s.Sets = hot; return s }
	bead = func(name, of string) steps.Step { s := hands(name, of); s.Needs = hot; return s }
	cool = func(name, of string) steps.Step { s := hands(name, of); s.Sets = cold; return s }
	return kit, heat, bead, cool
}

// oneFleet are benches as one fleet, whose marks are PL-00 and so on.
func oneFleet(all ...*bench) (fleet []*State) {
	for n, b := range all {
		b.state.Airframe.Mark = fmt.Sprintf("PL-%02d", n)
		fleet = append(fleet, b.state)
	}
	for i := range fleet {
		fleet[i] = fleet[i].Beside(append(slices.Clone(fleet[:i]), fleet[i+1:]...))
	}
	return fleet
}

// A gun is not heated before both people go to something else together, though its time comes only then: what follows it begins later by
// as much.
func TestScheduleHeatsOnceSomebodyIsBack(t *testing.T) {
	kit, heat, bead, cool := hotOnly()
	both := hands("range", "12 min")
	both.Alone = []string{steps.No}
	p, err := scheduled(t, evening, Hours{Hands: 2, Sittings: open(0, 200)}, oneFleet(
		workingOn(t, kit, one("gun", hands("lay", "21 min"), heat("heat", "1 min"), hands("smooth", "5 min"), bead("bead", "8 min"), cool("cool", "1 min"))),
		workingOn(t, kit, one("radio", hands("throws", "24 min"), both, hands("count", "60 min"))))...)
	if got, want := says(p), "lay 0, throws 0, range 24, heat 36, count 36, smooth 37, bead 42, cool 50, | ends 96"; err != nil || got != want {
		t.Errorf("%v: %s, want %s", err, got, want)
	}
}

// In no plan of several airframes for one to three people what heats the gun could be done later, by itself, or what ends it sooner.
func TestScheduleHeatsLateAndEndsSoon(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 0))
	kit, heat, bead, cool := hotOnly()
	some := func(name string) steps.Step { return someWork(r, name) }
	worse := 0
	for round := range 60 {
		var all []*bench
		for range 1 + r.IntN(2) {
			var beads []steps.Step
			for k := range 1 + r.IntN(3) {
				beads = append(beads, bead(fmt.Sprintf("bead-%d", k+1), fmt.Sprintf("%d min", 2+r.IntN(9))))
			}
			last := one("beads", append(beads, cool("cool", "1 min"))...)
			last.After = []string{"gun", "parts"}
			all = append(all, workingOn(t, kit, one("gun", some("sand"), heat("heat", fmt.Sprintf("%d min", 1+r.IntN(4)))),
				one("parts", some("file"), wait("dry", fmt.Sprintf("%d min", 10+r.IntN(40)))), last, one("rest", coating("coat", "tab"), joining("join", "tab"), some("tape"))))
		}
		of := newScheduler(oneFleet(all...), evening, Hours{Sittings: open(0, 150, 1440, 1590, 2880, 3030)})
		of.hands, of.think = 1+r.IntN(3), &thinking{left: time.Hour}
		d, err := of.draft(t.Context(), plan.Options{})
		if err == nil {
			d, err = of.cutUp(t.Context(), plan.Options{}, d, false)
		}
		if err != nil {
			t.Fatalf("%d: %v", round, err)
		}
		worse += len(movable(d, d.r.Starts))
		if row, _ := d.next(); row >= 0 {
			continue
		}
		is := d.brief(t.Context())
		if err := plan.Check(d.p, is.Starts); err != nil || is.Finish != d.r.Finish {
			t.Fatalf("%d: %v, ends %d, %d", round, err, is.Finish, d.r.Finish)
		}
		if all := movable(d, is.Starts); len(all) > 0 {
			t.Errorf("%d, %d people: %s: %v", round, of.hands, says(d.c.timetable(is)), all)
		}
	}
	if worse < 40 {
		t.Errorf("only %d could be moved as the plans were found", worse)
	}
}

// movable are the tasks that heat, and could begin later in their sitting as all else is, and those that end it, and could begin sooner.
func movable(d *draft, starts []int) (all []string) {
	for i := range d.c.tasks {
		t := &d.c.tasks[i]
		if t.step == nil || len(t.step.Sets) == 0 || t.step.Sets[0].Condition != "gun" {
			continue
		}
		w := d.c.sittings[d.c.sittingOf(i, starts[i])]
		from, to := starts[i]+1, w.To
		if t.step.Sets[0].State == "cold" {
			from, to = w.From, starts[i]
		}
		for at := from; at < to; at++ {
			is := *d
			is.r.Starts = slices.Clone(starts)
			is.r.Starts[i] = at
			if row, _ := is.next(); row < 0 && plan.Check(d.p, is.r.Starts) == nil && at+t.minutes <= d.r.Finish {
				all = append(all, fmt.Sprintf("%s at %d could be at %d", t.step.Name, starts[i], at))
				break
			}
		}
	}
	return all
}
