package workflow

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// A coat in hand, and a join whose window is open, come first whatever somebody else has claimed, or has in the plan, since.
func TestWhatCannotWaitGivesWayToNoClaim(t *testing.T) {
	is := func(to string) []steps.Setting { return []steps.Setting{{Condition: "propeller", State: to}} }
	for _, planned := range []bool{false, true} {
		for _, open := range []bool{false, true} {
			kit := sheet()
			kit.Conditions[0].Guarded = "on"
			coat, join, turn := coating("coat", "tab"), joining("join", "tab"), plain("turn")
			coat.Needs, coat.Hands, join.Needs, turn.Sets = is("off"), q("4 min"), is("off"), is("on")
			b := workingOn(t, kit, one("glue", coat, join), one("prop", turn), one("long", hands("sand", "50 min")))
			b.must(setting("propeller", "off"))
			want := "coat"
			if open {
				want = "join"
				b.done("coat")
				b.after(15 * time.Minute) // open from 10 to 40
			} else {
				b.must(Begin{Step: "coat", Began: b.now})
				b.after(time.Minute)
			}
			of := func(r StepReport) bool { return r.Step.Name == "turn" }
			g := b.state.NextBeside(b.now, nil, func(_ *State, r *StepReport) bool { return of(*r) }, nil)
			if planned {
				g = b.state.NextBeside(b.now, of, nil, []Planned{{Job: b.state.Jobs[0].ID, Step: "turn", Begins: b.now, Minutes: 5, Hands: []int{1}}})
			}
			if g.Step == nil || g.Step.Step.Name != want {
				t.Errorf("planned %t: %s can't wait, and next is %s: %s", planned, want, g.Step.Step.Name, g.Why)
			}
		}
	}
}

// Of a wait that is over once the sitting has ended as it was stated, what is hot is said, as by the plan's own end.
func TestAWaitPastTheStatedEnd(t *testing.T) {
	b := parts(t, 2)
	b.done("warm")
	in := func(minutes int) time.Time { return evening.Add(minutesOf(minutes)) }
	b.state.Planned = []Planned{{Job: b.state.Jobs[0].ID, Step: "film-1", Begins: in(24 * 60), Leave: in(25 * 60)}}
	b.state.Sits = func() time.Time { return in(10) }
	g := Suggestion{Until: in(25)}
	for _, now := range []time.Time{in(0), in(12)} {
		if end, _ := b.state.EndFirst(g, now); len(end)+len(b.state.LeftBy(g, now)) != 1 {
			t.Errorf("at %s nothing is said of the iron", now.Format("15:04"))
		}
	}
}

// A battery that is in since a crash does not keep it from being said that the iron is left hot.
func TestAWreckHidesNotTheIron(t *testing.T) {
	set := func(name, to string) []steps.Setting { return []steps.Setting{{Condition: name, State: to}} }
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"},
		steps.Condition{Name: "iron", States: []string{"cold", "hot"}, Bench: true})
	plug, pull, warm, off := plain("plug"), plain("pull"), plain("warm"), plain("off")
	plug.Sets, pull.Sets, warm.Sets, off.Sets = set("battery", "in"), set("battery", "out"), set("iron", "hot"), set("iron", "cold")
	b := workingOn(t, kit, one("a", warm, hands("film", "20 min"), off), one("b", plug, hands("try", "5 min"), pull))
	b.done("warm", "plug")
	later := Suggestion{Step: &StepReport{Job: b.state.Jobs[0].ID, Step: hands("try", "5 min")}, Planned: b.now.Add(24 * time.Hour)}
	if got := textsOf(b.state.LeftBy(later, b.now)); len(got) != 2 {
		t.Fatalf("whole: %v", got)
	}
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}}, setting("iron", "hot")) // for another airframe
	if got := textsOf(b.state.LeftBy(later, b.now)); len(got) != 2 {
		t.Errorf("crashed: %v", got)
	}
}

// Whoever has mixed stays at the pot when it is planned anew, however much sooner it was mixed than planned.
func TestMixedMuchSooner(t *testing.T) {
	for _, at := range []int{20, 33, 90} {
		coat := coating("coat", "tab")
		coat.Hands = q("4 min")
		b := working(t, one("hollow", hands("hollow", "15 min")), one("bed", hands("bed", "15 min")), one("glue", coat, joining("join", "tab")))
		row := func(step string, from, to int, who int) Turn {
			return Turn{Mark: b.state.Airframe.Mark, Job: b.state.Jobs[0].ID, Step: step, Begins: evening.Add(minutesOf(from)), Ends: evening.Add(minutesOf(to)), Hands: []int{who}}
		}
		like := &Timetable{Hands: 2, Visits: []Visit{{Sitting: open(0, 180)[0], Turns: []Turn{row("hollow", 3, 18, 2), row("bed", 3, 18, 1), row("coat", at, at+4, 2), row("join", at+14, at+15, 2)}}}}
		b.after(time.Minute)
		b.must(Begin{Step: "coat", Began: b.now})
		b.after(time.Minute)
		p, err := scheduled(t, b.now, Hours{Sittings: open(0, 180), Hands: 2, Like: like}, b.state)
		if who := whoDoes(p); err != nil || !strings.Contains(who, "coat 2-5 [2]") {
			t.Errorf("planned for %d: %v %s", at, err, who)
		}
	}
}

// The one saw of the bench that somebody is at on another airframe is not offered here meanwhile, as on the same airframe, and in a plan.
func TestOneToolOfTheBench(t *testing.T) {
	kit := sheet()
	kit.Tools = append(kit.Tools, steps.Tool{Name: "saw", Title: "A saw"}, steps.Tool{Name: "knife", Title: "A knife", Count: 2})
	tool := func(name, with string) steps.Step {
		s := hands(name, "5 min")
		s.Tools = []string{with}
		return s
	}
	a := workingOn(t, kit, one("a", tool("saw-a", "saw")), one("b", hands("sand", "5 min")))
	b := workingOn(t, kit, one("a", tool("saw-b", "saw")), one("b", tool("cut-b", "knife")))
	a.state.Airframe.Mark, b.state.Airframe.Mark = "PL-00", "PL-01"
	for at, want := range map[string]string{"": "saw-a", "saw-b": "sand", "cut-b": "saw-a"} {
		g := a.state.Beside([]*State{b.state}).NextBeside(a.now, nil, func(of *State, r *StepReport) bool { return of == b.state && r.Step.Name == at }, nil)
		if g.Step.Step.Name != want {
			t.Errorf("beside %q next is %s, want %s", at, g.Step.Step.Name, want)
		}
	}
}

// Nobody is told of a step of their own, which they have put off, that the plan has it for somebody else.
func TestPutOffOnesOwn(t *testing.T) {
	is := func(to string) []steps.Setting { return []steps.Setting{{Condition: "propeller", State: to}} }
	fit, plug := plain("fit"), plain("plug")
	fit.Needs, plug.Needs = is("off"), is("on")
	b := workingOn(t, sheet(), one("a", fit), one("b", plug))
	s := b.state.Seated(Seat{By: "builder", Who: 1})
	g := s.NextBeside(b.now, func(r StepReport) bool { return r.Step.Name == "fit" }, nil, []Planned{{Job: b.state.Jobs[0].ID, Step: "fit", Begins: b.now, Minutes: 5, Hands: []int{1}}})
	for i := range g.Waiting {
		if texts := textsOf(g.Waiting[i].Reasons); slices.ContainsFunc(texts, func(text string) bool { return strings.Contains(text, "somebody else") }) {
			t.Errorf("person 1, for whom fit is, is told: %v", texts)
		}
	}
}
