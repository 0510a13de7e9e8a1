package workflow

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/plan"
)

// leftAlone goes through a plan of airframes and says at which nobody is, and for how long, while the plug of its battery is in by what
// the plan sets, or now, on those with these marks. Till another one that is plugged in now is pulled, whoever does nothing may be there.
func leftAlone(p Timetable, now ...string) (all []string) {
	for n, v := range p.Visits {
		in, until := map[string]bool{}, map[string]time.Time{} // what is plugged in; until when somebody is at it
		for _, mark := range now {
			in[mark], until[mark] = n == 0, v.From
		}
		for i := range v.Turns {
			t := &v.Turns[i]
			if slices.Contains(now, t.Mark) && until[t.Mark].Equal(v.From) && len(t.Hands) > 0 {
				if pulls := v.Turns[0]; len(pulls.Sets) == 1 && pulls.Sets[0].State == "out" && len(pulls.Hands) == 1 && !v.Turns[1].Begins.Before(pulls.Ends) {
					until[t.Mark] = pulls.Ends
				}
			}
			if in[t.Mark] && t.Begins.After(until[t.Mark]) {
				all = append(all, fmt.Sprintf("%s for %s before %s", t.Mark, t.Begins.Sub(until[t.Mark]), t.Step))
			}
			if t.Ends.After(until[t.Mark]) {
				until[t.Mark] = t.Ends
			}
			for _, is := range t.Sets {
				in[t.Mark] = is.State == "in"
			}
		}
	}
	return all
}

// someWork takes 2 to 31 minutes, and one in three wants a second person.
func someWork(r *rand.Rand, name string) steps.Step {
	step := hands(name, fmt.Sprintf("%d min", 2+r.IntN(30)))
	if r.IntN(3) == 0 {
		step.Alone = []string{steps.No}
	}
	return step
}

// What is plugged in on one of several airframes waits for no second person: it is plugged in when they come.
func TestScheduleLeavesNothingPluggedInAlone(t *testing.T) {
	in, out := steps.Setting{Condition: "battery", State: "in"}, steps.Setting{Condition: "battery", State: "out"}
	r := rand.New(rand.NewPCG(7, 0))
	some := func(name string) steps.Step { return someWork(r, name) }
	for round := range 40 {
		kit := sheet()
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		var fleet []*State
		for n := range 2 + r.IntN(2) {
			all := []steps.Step{some("sand")}
			if n == 0 || r.IntN(2) == 0 {
				plug, pull := hands("plug", "2 min"), hands("pull", "1 min")
				plug.Sets, pull.Sets = []steps.Setting{in}, []steps.Setting{out}
				all = append(all, plug)
				for k := range 1 + r.IntN(3) {
					try := some(fmt.Sprintf("try-%d", k+1))
					try.Needs = []steps.Setting{in}
					all = append(all, try)
				}
				all = append(all, pull)
			}
			b := workingOn(t, kit, one("power", append(all, some("weigh"))...), one("rest", some("file"), some("tape")))
			b.state.Airframe.Mark = fmt.Sprintf("PL-%02d", n)
			fleet = append(fleet, b.state)
		}
		for i := range fleet {
			var others []*State
			for k, other := range fleet {
				if k != i {
					others = append(others, other)
				}
			}
			fleet[i] = fleet[i].Beside(others)
		}
		people := 2 + r.IntN(2)
		p, err := Schedule(t.Context(), fleet, evening, Hours{Hands: people, Sittings: open(0, 300, 1440, 1740)}, plan.Options{Think: 50 * time.Millisecond})
		if err != nil {
			t.Fatalf("%d: %v", round, err)
		}
		if all := leftAlone(p); len(all) > 0 {
			t.Errorf("%d, %d people: %s: %v", round, people, says(p), all)
		}
	}
}

// What is plugged in now on one of several airframes, or on two, is left by none of several people: somebody goes on there at once, or pulls
// it, and nobody is at something else first.
func TestScheduleLeavesNothingPluggedInNow(t *testing.T) {
	plug, try, pull, lift := hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min"), hands("lift", "30 min")
	lift.Alone = []string{steps.No}
	fleet := powered(t, []string{"plug"}, []steps.Step{plug, try, pull}, one("rest", lift, wait("dry", "200 min"), hands("file", "5 min")))
	p, err := scheduled(t, evening, Hours{Hands: 2, Sittings: open(0, 400)}, fleet...)
	if all := leftAlone(p, "PL-00"); err != nil || len(all) > 0 {
		t.Errorf("both are at PL-01: %v %s: %v", err, whoDoes(p), all)
	}

	in, out := setting("battery", "in").Set, setting("battery", "out").Set
	r := rand.New(rand.NewPCG(17, 0))
	some := func(name string) steps.Step { return someWork(r, name) }
	for round := range 14 {
		kit := sheet()
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		var fleet []*State
		var now []string
		for n := range 2 + r.IntN(2) {
			plug, pull := hands("plug", "2 min"), hands("pull", "1 min")
			plug.Sets, pull.Sets = in, out
			all := []steps.Step{plug}
			for k := range 1 + r.IntN(3) {
				try := some(fmt.Sprintf("try-%d", k+1))
				try.Needs = in
				all = append(all, try)
			}
			b := workingOn(t, kit, one("power", append(all, pull, some("weigh"))...), one("rest", some("file"), some("tape")))
			mark := fmt.Sprintf("PL-%02d", n)
			if n < 1+r.IntN(2) {
				b.done("plug")
				now = append(now, mark)
			}
			b.state.Airframe.Mark = mark
			fleet = append(fleet, b.state)
		}
		for i := range fleet {
			fleet[i] = fleet[i].Beside(append(slices.Clone(fleet[:i]), fleet[i+1:]...))
		}
		people := 2 + r.IntN(2)
		p, err := scheduled(t, evening, Hours{Hands: people, Sittings: open(0, 300, 1440, 1740)}, fleet...)
		if all := leftAlone(p, now...); err != nil || len(all) > 0 {
			t.Errorf("%d, %d people, plugged in on %v: %v %s: %v", round, people, now, err, whoDoes(p), all)
		}
	}
}

// Whoever of several coated last presses, unless they are at something else then.
func TestScheduleHasPressedByWhoeverCoated(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 0))
	both := 0
	for round := range 40 {
		stages := []steps.Stage{}
		for n := range 2 + r.IntN(2) {
			tab := fmt.Sprintf("tab-%d", n)
			coat, join := coating("coat-"+tab, tab), joining("join-"+tab, tab)
			coat.Hands, join.Hands = q(fmt.Sprintf("%d min", 2+r.IntN(4))), q("2 min")
			stages = append(stages, one(tab, coat, join), one("beside-"+tab, hands("sand-"+tab, fmt.Sprintf("%d min", 1+r.IntN(9))), hands("trim-"+tab, fmt.Sprintf("%d min", 1+r.IntN(9)))))
		}
		people := 2 + r.IntN(2)
		p, err := scheduled(t, evening, Hours{Hands: people, Sittings: open(0, 400)}, workingOn(t, sheet(), stages...).state)
		if err != nil {
			t.Fatalf("%d: %v", round, err)
		}
		coated := map[string][]int{}
		for _, v := range p.Visits {
			for _, turn := range v.Turns {
				kind, of, _ := strings.Cut(turn.Step, "-")
				switch {
				case kind == "coat":
					coated[of] = turn.Hands
				case kind == "join" && !slices.Equal(turn.Hands, coated[of]):
					busy := slices.ContainsFunc(v.Turns, func(other Turn) bool {
						return slices.Equal(other.Hands, coated[of]) && other.Begins.Before(turn.Ends) && other.Ends.After(turn.Begins)
					})
					if !busy {
						t.Errorf("%d, %d people: %d coats %s, and %d presses it: %s", round, people, coated[of], of, turn.Hands, says(p))
					}
				case kind == "join":
					both++
				}
			}
		}
	}
	if both < 40 {
		t.Errorf("%d joins are pressed by whoever coated", both)
	}
}
