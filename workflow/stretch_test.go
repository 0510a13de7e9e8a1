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

// disturbed goes through a plan of airframes at one bench, of whose conditions all are the bench's, and says which turn finds one
// otherwise than it needs it.
func disturbed(p Timetable, now map[string]string) (all []string) {
	type change struct {
		at    int64
		turn  *Turn
		needs bool
	}
	var changes []change
	for _, v := range p.Visits {
		for i := range v.Turns {
			t := &v.Turns[i]
			changes = append(changes, change{t.Begins.Unix(), t, true}, change{t.Ends.Unix(), t, false})
		}
	}
	slices.SortStableFunc(changes, func(a, b change) int {
		if a.at != b.at {
			return int(a.at - b.at)
		}
		return map[bool]int{true: 1}[a.needs] - map[bool]int{true: 1}[b.needs] // what is over sets first
	})
	under := map[*Turn]bool{}
	find := func(t *Turn) {
		for _, is := range t.Needs {
			if had := now[is.Condition]; had != is.State {
				all = append(all, fmt.Sprintf("%s %s needs %s, and it is %s", t.Mark, t.Step, is, had))
			}
		}
	}
	for _, c := range changes {
		if under[c.turn] = c.needs; c.needs {
			find(c.turn)
			continue
		}
		for _, is := range c.turn.Sets {
			now[is.Condition] = is.State
			for t := range under {
				if under[t] {
					find(t)
				}
			}
		}
	}
	return all
}

// What one airframe's job sets for its tasks no other job sets otherwise before they are done, nor is anything done meanwhile that needs
// it otherwise, whoever does it.
func TestScheduleDisturbsNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 0))
	cold, hot := steps.Setting{Condition: "iron", State: "cold"}, steps.Setting{Condition: "iron", State: "hot"}
	standing := 0
	for round := range 40 {
		var fleet []*State
		for n := range 2 + r.IntN(2) {
			b := parts(t, 1+r.IntN(2))
			film := b.state.Jobs[0].Procedure.Stages[0]
			for i := range film.Steps {
				if len(film.Steps[i].Sets) == 0 {
					film.Steps[i].Needs = []steps.Setting{hot}
				}
			}
			safe, try := plain("safe"), plain("try")
			safe.Sets, try.Needs = []steps.Setting{cold}, []steps.Setting{cold}
			safe.Hands, try.Hands = q("3 min"), q(fmt.Sprintf("%d min", 5+r.IntN(20)))
			b = workingOn(t, b.state.Sheet, film, one("first", safe, try))
			if n == 0 {
				b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
				if r.IntN(3) == 0 {
					b.done("warm")
					standing++
				}
			}
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
		length := 60 + r.IntN(120)
		h := Hours{Hands: 1 + r.IntN(2)}
		for day := range 12 {
			h.Sittings = append(h.Sittings, open(1440*day, 1440*day+length)...)
		}
		now := map[string]string{"iron": fleet[0].Holds("iron", fleet[0].Entries[len(fleet[0].Entries)-1].At)}
		p, err := Schedule(t.Context(), fleet, evening, h, plan.Options{Think: 30 * time.Millisecond})
		if err != nil {
			t.Fatalf("%d: %v", round, err)
		}
		if all := disturbed(p, now); len(all) > 0 {
			t.Errorf("%d, %d min, hands %d: %s: %v", round, length, h.Hands, says(p), all)
		}
	}
	if standing < 5 {
		t.Errorf("in %d the iron stands hot", standing)
	}
}

// With several pairs of hands what one airframe's charge switches off as it ends is not switched on for another meanwhile.
func TestScheduleChargesOneAfterTheOther(t *testing.T) {
	on, off := steps.Setting{Condition: "charger", State: "on"}, steps.Setting{Condition: "charger", State: "off"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "charger", States: []string{"off", "on"}, Guarded: "on", Bench: true})
	var fleet []*State
	for n := range 2 {
		plugged, charged := hands("plug", "5 min"), hands("charge", "55 min")
		plugged.Sets, charged.Needs, charged.Sets = []steps.Setting{on}, []steps.Setting{on}, []steps.Setting{off}
		all := []steps.Step{plugged, charged}
		if n > 0 {
			all = append([]steps.Step{hands("look", "7 min")}, all...)
		}
		b := workingOn(t, in, one("pack", all...))
		b.state.Airframe.Mark = fmt.Sprintf("PL-%02d", n)
		fleet = append(fleet, b.state)
	}
	fleet[0], fleet[1] = fleet[0].Beside(fleet[1:]), fleet[1].Beside(fleet[:1])
	p, err := Schedule(t.Context(), fleet, evening, Hours{Hands: 4, Sittings: open(0, 400)}, plan.Options{})
	if want := evening.Add(2 * time.Hour); err != nil || !p.Proven || !p.Finish.Equal(want) {
		t.Errorf("%s, %v: want %s", says(p), err, want)
	}
}

// plugged is a bench of airframes each of which is plugged in, measured and unplugged once it was armed; the second of them looks at
// something before.
func plugged(t *testing.T, look string) (fleet []*State) {
	t.Helper()
	in, out := steps.Setting{Condition: "battery", State: "in"}, steps.Setting{Condition: "battery", State: "out"}
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	for n := range 2 {
		plug, try, pull := hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min")
		plug.Sets, try.Needs, pull.Sets = []steps.Setting{in}, []steps.Setting{in}, []steps.Setting{out}
		all := []steps.Step{plug, try, pull, hands("weigh", "10 min")}
		if n > 0 {
			all = append([]steps.Step{hands("look", look)}, all...)
		}
		b := workingOn(t, kit, one("power", all...))
		b.state.Airframe.Mark = fmt.Sprintf("PL-%02d", n)
		fleet = append(fleet, b.state)
	}
	return []*State{fleet[0].Beside(fleet[1:]), fleet[1].Beside(fleet[:1])}
}

// The batteries of two airframes are not plugged in at once, however many people there are.
func TestSchedulePlugsOneInAtATime(t *testing.T) {
	for hands := 1; hands <= 3; hands++ {
		p, err := Schedule(t.Context(), plugged(t, "7 min"), evening, Hours{Hands: hands, Sittings: open(0, 400)}, plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		in := map[string]bool{}
		for _, v := range p.Visits {
			for _, turn := range v.Turns {
				for _, set := range turn.Sets {
					if in[turn.Mark] = set.State == "in"; in["PL-00"] && in["PL-01"] {
						t.Errorf("hands %d: %s", hands, says(p))
					}
				}
			}
		}
		if want := evening.Add(time.Duration([]int{77, 60, 60}[hands-1]) * time.Minute); !p.Finish.Equal(want) {
			t.Errorf("hands %d: %s, want the end at %s", hands, says(p), want)
		}
	}
}

// What is cut is set anew by the step that sets it, not by one that set it for other work before.
func TestScheduleSetsAnewByItsOwnStep(t *testing.T) {
	in, out := steps.Setting{Condition: "battery", State: "in"}, steps.Setting{Condition: "battery", State: "out"}
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, try, pull := hands("plug", "2 min"), hands("try", "5 min"), hands("pull", "1 min")
	arm, first, second, disarm := hands("arm", "3 min"), hands("full", "20 min"), hands("half", "20 min"), hands("disarm", "1 min")
	plug.Sets, pull.Sets, arm.Sets, disarm.Sets = []steps.Setting{in}, []steps.Setting{out}, []steps.Setting{in}, []steps.Setting{out}
	try.Needs, first.Needs, second.Needs = []steps.Setting{in}, []steps.Setting{in}, []steps.Setting{in}
	b := workingOn(t, kit, one("power", plug, try, pull, arm, first, second, disarm))
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 32, 1440, 1440+32), Tight: true}, b.state)
	if want := "plug 0, try 2, pull 7, arm 8, full 11, disarmsafe 31, | armready 1440, half 1443, disarm 1463, | ends 1464"; says(p) != want {
		t.Errorf("%s, %v; want %s", says(p), err, want)
	}
}

// Nobody leaves an airframe that is plugged in for work at another one: the plug is pulled for it.
func TestScheduleStaysByWhatIsPluggedIn(t *testing.T) {
	in, out := steps.Setting{Condition: "battery", State: "in"}, steps.Setting{Condition: "battery", State: "out"}
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	power := []steps.Step{hands("plug", "2 min")}
	for n := range 5 {
		try := hands(fmt.Sprintf("try-%d", n+1), "9 min")
		try.Needs = []steps.Setting{in}
		power = append(power, try)
	}
	pull := hands("pull", "1 min")
	power[0].Sets, pull.Sets = []steps.Setting{in}, []steps.Setting{out}
	live, glued := workingOn(t, kit, one("power", append(power, pull)...)), workingOn(t, kit, one("glue", coating("coat", "tab"), joining("join", "tab")))
	live.state.Airframe.Mark, glued.state.Airframe.Mark = "PL-01", "PL-02"
	fleet := []*State{live.state.Beside([]*State{glued.state}), glued.state.Beside([]*State{live.state})}
	p, err := Schedule(t.Context(), fleet, evening, Hours{Sittings: open(0, 400), Tight: true}, plan.Options{})
	if want := evening.Add((2 + 5*9 + 1 + 1 + 1 + 2 + 1) * time.Minute); err != nil || !p.Proven || !p.Finish.Equal(want) {
		t.Errorf("%s, %v; want the end at %s", says(p), err, want)
	}
	plugged := false
	for _, v := range p.Visits {
		for _, turn := range v.Turns {
			if plugged = turn.Step != "pull" && (plugged || turn.Step == "plug"); plugged && turn.Mark == "PL-02" {
				t.Errorf("%s: %s", says(p), turn.Step)
			}
		}
	}
}

// powered is a bench of an airframe whose battery is needed in by some steps, of which some are done, and of another one.
func powered(t *testing.T, done []string, power []steps.Step, other ...steps.Stage) []*State {
	t.Helper()
	in, out := steps.Setting{Condition: "battery", State: "in"}, steps.Setting{Condition: "battery", State: "out"}
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	wired := func(all []steps.Step) []steps.Step {
		all = slices.Clone(all)
		for i := range all {
			switch s := &all[i]; s.Name {
			case "plug":
				s.Sets = []steps.Setting{in}
			case "pull":
				s.Sets = []steps.Setting{out}
			case "try", "read":
				s.Needs = []steps.Setting{in}
			}
		}
		return all
	}
	for i := range other {
		other[i].Steps = wired(other[i].Steps)
	}
	a, b := workingOn(t, kit, one("power", wired(power)...)), workingOn(t, kit, other...)
	a.done(done...)
	a.state.Airframe.Mark, b.state.Airframe.Mark = "PL-00", "PL-01"
	return []*State{a.state.Beside([]*State{b.state}), b.state.Beside([]*State{a.state})}
}

// Nothing is plugged in on one airframe while another one still is, and the only person does not leave that: also where nothing is left
// to do there but to unplug it, and where time must pass.
func TestScheduleStaysByWhatIsPluggedInNow(t *testing.T) {
	plug, try, read, pull := hands("plug", "2 min"), hands("try", "20 min"), hands("read", "5 min"), hands("pull", "3 min")
	live := one("power", plug, try, pull)
	glue := one("glue", coating("coat", "tab"), joining("join", "tab"))
	sand := one("plain", hands("sand", "20 min"), hands("file", "20 min"))
	for name, test := range map[string]struct {
		done  []string
		power []steps.Step
		other []steps.Stage
	}{
		"to be tried":    {[]string{"plug"}, []steps.Step{plug, try, pull}, []steps.Stage{live, glue}},
		"to be pulled":   {[]string{"plug", "try"}, []steps.Step{plug, try, pull}, []steps.Stage{live, glue}},
		"while it waits": {nil, []steps.Step{plug, try, wait("warm", "60 min"), read, pull}, []steps.Stage{sand}},
		"other work":     {[]string{"plug"}, []steps.Step{plug, try, pull}, []steps.Stage{one("rest", hands("sand", "5 min"), wait("dry", "200 min"), hands("file", "5 min"))}},
	} {
		for people := 1; people <= 2; people++ {
			fleet := powered(t, test.done, test.power, test.other...)
			p, err := Schedule(t.Context(), fleet, evening, Hours{Hands: people, Sittings: open(0, 400)}, plan.Options{})
			if err != nil {
				t.Fatal(err)
			}
			in := map[string]bool{"PL-00": test.done != nil}
			for _, v := range p.Visits {
				for _, turn := range v.Turns {
					if turn.Mark == "PL-01" && in["PL-00"] && people == 1 {
						t.Errorf("%s: nobody is by what is plugged in from %s on: %s", name, turn.Step, says(p))
					}
					for _, set := range turn.Sets {
						if in[turn.Mark] = set.State == "in"; in["PL-00"] && in["PL-01"] {
							t.Errorf("%s, %d people: both are plugged in: %s", name, people, says(p))
						}
					}
				}
			}
		}
	}
}
