package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// What is plugged in on another airframe since an earlier sitting is ended at once, by whoever is told of it, and whoever is at that
// airframe by the plan. In this one somebody stays by it: who is known to be at the bench, and is there by the plan, else whoever is led to
// other work. That one ends it first where it would be said there, and before hands are at what crashed; not under other hands.
func TestWhatIsPluggedInBeside(t *testing.T) {
	two := Seat{By: "Ann", Who: 1, Known: 1 << 2, Here: 1 << 2, Names: "2 Ben"}
	tomorrow := Planned{Step: "try", Begins: evening.Add(24 * time.Hour)}
	for _, test := range []struct {
		name   string
		after  time.Duration // it was plugged in
		seat   Seat
		plan   []Planned
		atOnce bool // what is suggested makes safe what crashed
		by     int  // -1: it is ended at once
	}{
		{"just now, by whoever reads it", time.Minute, Seat{By: "builder"}, nil, false, 0},
		{"just now, and there is a wreck here", time.Minute, Seat{By: "builder"}, nil, true, -1},
		{"just now by somebody else, and there is a wreck here", time.Minute, Seat{By: "Ann"}, nil, true, 0},
		{"an hour and more ago", 61 * time.Minute, Seat{By: "builder"}, nil, false, -1},
		{"just now, and what is left there is planned for tomorrow", time.Minute, Seat{By: "builder"}, []Planned{tomorrow}, false, -1},
		{"just now by somebody else, ahead of the plan", time.Minute, Seat{By: "Ann"}, []Planned{tomorrow}, false, 0},
		{"somebody is there by the plan", time.Minute, two, []Planned{{Step: "try", Hands: []int{2}, Minutes: 10}}, false, 2},
		{"somebody is there by the plan, and there is a wreck here", time.Minute, two, []Planned{{Step: "try", Hands: []int{2}, Minutes: 10}}, true, 2},
		{"by the plan, and nobody knows of them", time.Minute, Seat{By: "builder", Who: 1}, []Planned{{Step: "try", Hands: []int{2}, Minutes: 10}}, false, 0},
		{"yesterday, whoever is there by the plan", 24 * time.Hour, two, []Planned{{Step: "try", Hands: []int{2}, Minutes: 10}}, false, -1},
		{"yesterday", 24 * time.Hour, Seat{By: "builder"}, nil, false, -1},
	} {
		fleet := powered(t, []string{"plug"}, []steps.Step{hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min")}, one("plain", hands("sand", "20 min")))
		armed, now := fleet[0], evening.Add(test.after)
		for i := range test.plan {
			p := &test.plan[i]
			if p.Job = armed.Jobs[0].ID; p.Begins.IsZero() {
				p.Begins = now
			}
		}
		armed.Planned = test.plan
		s := fleet[1].Seated(test.seat).Beside([]*State{armed})
		g := s.Next(now)
		g.AtOnce = test.atOnce
		if test.plan != nil && len(test.plan[0].Hands) > 0 {
			g.Others = []Share{{Who: 2, Mark: "PL-00", Planned: now}}
		}
		end, stay := s.StandsBeside(&g, now)
		switch {
		case test.by < 0 && (len(end) != 1 || len(stay) != 0 || end[0].Remedy.Mark != "PL-00" || end[0].Remedy.Setting.String() != "battery: out"):
			t.Errorf("%s: ended at once is %v, stayed by %v", test.name, textsOf(end), stay)
		case test.by >= 0 && (len(end) != 0 || len(stay) != 1 || stay[0].By != test.by || stay[0].Mark != "PL-00"):
			t.Errorf("%s: ended at once is %v, stayed by %v, want by %d", test.name, textsOf(end), stay, test.by)
		}
	}
}

// What is plugged in or hot since an earlier sitting is said also on the airframe itself, whatever was recorded there since but that it is out or cold.
func TestWhatIsPluggedInSinceYesterday(t *testing.T) {
	hot := lit(t)
	hot.done("iron-hot")
	hot.after(24 * time.Hour)
	hot.must(Note{Text: "swept"})
	if got := hot.state.LeftBy(hot.state.Next(hot.now), hot.now); len(got) != 1 {
		t.Errorf("of the iron %v is said", textsOf(got))
	}
	b := lit(t)
	b.done("battery-in")
	b.after(24 * time.Hour)
	for _, now := range []Request{ReadBench{Temperature: q("20 °C")}, setting("battery", "in")} {
		b.must(now)
		if got := b.state.LeftBy(b.state.Next(b.now), b.now); len(got) != 1 {
			t.Errorf("%v is said", textsOf(got))
		}
	}
	b.must(setting("battery", "out"), setting("battery", "in"))
	if got := b.state.LeftBy(b.state.Next(b.now), b.now); len(got) != 0 {
		t.Errorf("in anew: %v", textsOf(got))
	}
}

// What of the bench is hot for another airframe is in use where the work there needs it, and somebody recorded something there a moment
// ago: nobody is told to end it, also where the plan has ended it by now, or what is left here is planned for later. Whoever used it there,
// and is led here, ends it first; somebody else doesn't. It is not in use once nothing was recorded there for an hour, in another sitting, or
// where the work there goes on without it.
func TestWhatIsInUseOnAnotherAirframe(t *testing.T) {
	film := parts(t, 2)
	film.done("warm")
	is := func(name string, there *State, seat Seat, after time.Duration, said, ended int, plan ...Planned) {
		t.Helper()
		b, now := parts(t, 1), film.now.Add(after)
		b.now = now
		b.must(Note{Text: "swept"})
		b.state.Airframe.Mark = "PL-02"
		s := b.state.Seated(seat).Beside([]*State{there})
		s.Planned = plan
		job := s.Jobs[0].ID
		g := Suggestion{Step: &StepReport{Job: job, Step: plain("tidy")}}
		later := g
		later.Planned = now.Add(24 * time.Hour)
		end, _ := s.EndFirst(g, now)
		if got := append(s.LeftBy(later, now), end...); len(got) != said {
			t.Errorf("%s: on the airframe %v is said, want %d", name, textsOf(got), said)
		}
		if got, stay := s.StandsBeside(&g, now); len(got) != ended || len(stay) != 0 {
			t.Errorf("%s: ended before work here is %v, stayed by %v; want %d ended", name, textsOf(got), stay, ended)
		}
	}
	own, ann := Seat{By: "builder"}, Seat{By: "Ann"}
	is("used by whoever reads it", film.state, own, time.Minute, 0, 1)
	is("used by somebody else", film.state, ann, time.Minute, 0, 0)
	ends := Planned{Again: AgainSafe, Begins: film.now, Ends: []steps.Setting{{Condition: "iron", State: "cold"}}}
	is("behind the plan, which has ended it", film.state, ann, time.Minute, 0, 0, ends)
	is("an hour later", film.state, ann, 61*time.Minute, 1, 1)
	is("in another sitting", film.state, ann, 24*time.Hour, 1, 1)
	again := *film
	again.after(24 * time.Hour)
	again.must(Note{Text: "swept"})
	is("in another sitting, in which somebody is there", again.state, ann, 24*time.Hour, 1, 1)
	cold := *film
	cold.must(setting("iron", "cold"))
	is("once it is cold", cold.state, ann, time.Minute, 0, 0)
	fed := *film.state
	fed.Planned = []Planned{{Job: fed.Jobs[0].ID, Step: "film-1", Begins: film.now.Add(80 * time.Minute), Minutes: 20}}
	is("the plan has somebody there soon", &fed, own, 61*time.Minute, 0, 0)
}

// Of an iron that is hot by one journal nothing is said where another one says since that it is cold, also to an airframe that has no iron.
func TestWhatIsColdByAnotherRecord(t *testing.T) {
	hot, cold, here := parts(t, 1), parts(t, 1), working(t, one("tidy", plain("tidy")))
	hot.done("warm")
	cold.now = hot.now.Add(time.Minute)
	cold.must(setting("iron", "cold"))
	hot.state.Airframe.Mark, cold.state.Airframe.Mark = "PL-02", "PL-03"
	for _, test := range []struct {
		others []*State
		want   int
	}{{[]*State{hot.state}, 1}, {[]*State{hot.state, cold.state}, 0}} {
		s := here.state.Beside(test.others)
		if got, _ := standsBeside(s, cold.now.Add(time.Minute)); len(got) != test.want {
			t.Errorf("beside %d others %v is said", len(test.others), textsOf(got))
		}
	}
}

// What somebody else heated a moment ago is theirs to end, whatever is next there; not a while later, in another sitting, or for whoever
// heated it and is led to other work.
func TestWhatSomebodyElseJustHeated(t *testing.T) {
	hot, here := lit(t), working(t, one("tidy", plain("tidy")))
	hot.done("iron-hot")
	here.state.Airframe.Mark = "PL-02"
	again := *hot
	again.after(24 * time.Hour)
	again.must(Note{Text: "swept"})
	for _, test := range []struct {
		name   string
		there  *bench
		by     string
		minute int
		want   int
	}{
		{"just now", hot, "Ann", 10, 0},
		{"a while ago", hot, "Ann", 11, 1},
		{"by whoever reads it", hot, "builder", 1, 1},
		{"in another sitting, and they are there", &again, "Ann", 1, 1},
	} {
		s := here.state.Seated(Seat{By: test.by}).Beside([]*State{test.there.state})
		if got, _ := standsBeside(s, test.there.now.Add(minutesOf(test.minute))); len(got) != test.want {
			t.Errorf("%s: %v is ended, want %d", test.name, textsOf(got), test.want)
		}
	}
}

// What somebody has just set hot for another airframe, and comes to after a step that doesn't need it, is not said to be ended on one that is
// built and stands beside it: it would be cold a step before its work. Once nobody goes on there, both say it.
func TestWhatIsHotIsNotEndedByOneThatStandsBeside(t *testing.T) {
	built := lit(t)
	for _, is := range [][3]string{{"battery", "in", "out"}, {"lamp", "lit", "off"}, {"charger", "on", "off"}, {"iron", "hot", "cold"}} {
		built.done(is[0]+"-"+is[1], is[0]+"-use", is[0]+"-"+is[2])
	}
	built.state.Airframe.Mark = "PL-02"
	hot := lit(t)
	hot.now = built.now.Add(time.Minute)
	hot.done("iron-hot")
	for minutes, want := range map[int]int{1: 0, 59: 0, 61: 1, 24 * 60: 1} {
		now := hot.now.Add(minutesOf(minutes))
		is := steps.Setting{Condition: "iron", State: "hot"}
		if next := hot.state.Next(now).Step; hot.state.needsIt(next, hot.state.standing(now)[0], now) {
			t.Fatalf("%s needs %v", next.Step.Name, is)
		}
		s := built.state.Beside([]*State{hot.state})
		end, _ := s.EndFirst(s.Next(now), now)
		if got := append(s.LeftBy(s.Next(now), now), end...); len(got) != want || len(hot.state.LeftBy(hot.state.Next(now), now)) != want {
			t.Errorf("after %d min: %v, want %d", minutes, textsOf(got), want)
		}
	}
}

// Whoever has just set something hot for an airframe, and goes on with what needs it, is led to that one first, and not past it; somebody else
// isn't, nor they once they left it alone for an hour, or went on with something else.
func TestWhatIsHotIsUsedFirst(t *testing.T) {
	film, other := parts(t, 2), working(t, one("tidy", plain("tidy")))
	film.done("warm")
	cold := *film
	cold.must(setting("iron", "cold"))
	film.state.Airframe.Mark, cold.state.Airframe.Mark = "PL-02", "PL-02"
	for _, test := range []struct {
		name  string
		there *State
		by    string
		after int
		want  string
	}{
		{"by whoever heated it", film.state, "builder", 1, "PL-02"},
		{"where nobody is told apart", film.state, "", 1, "PL-02"},
		{"by somebody else", film.state, "Ann", 1, "PL-01"},
		{"an hour later", film.state, "builder", 61, "PL-01"},
		{"once it is cold", cold.state, "builder", 1, "PL-01"},
	} {
		seat := Seat{By: test.by}
		fleet := []*State{other.state.Seated(seat).Beside([]*State{test.there}), test.there.Seated(seat).Beside([]*State{other.state})}
		if got := Foremost(fleet, film.now.Add(minutesOf(test.after))).Airframe.Mark; got != test.want {
			t.Errorf("%s: led to %s, want %s", test.name, got, test.want)
		}
	}
}
