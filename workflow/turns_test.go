package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// Whoever is one of several is led to no step of their own that leaves a join of theirs too little time: on the same airframe, or on
// another one of the bench. A join of other people costs them nothing.
func TestATurnCostsNobodyTheirJoin(t *testing.T) {
	for _, test := range []struct {
		beside bool
		takes  int
		joins  []int
		want   string
	}{
		{false, 30, []int{2}, "long"}, {false, 38, []int{2}, ""}, {false, 38, []int{3}, "long"},
		{true, 30, []int{2}, "long"}, {true, 38, []int{2}, ""}, {true, 38, []int{3}, "long"},
	} {
		work, glue := []steps.Stage{one("hollow", hands("hollow", "20 min")), one("long", hands("long", "30 min"))}, one("glue", coating("coat", "tab"), joining("join", "tab"))
		if !test.beside {
			work = append(work, glue)
		}
		b, other := working(t, work...), working(t, glue)
		row := func(step string, at, takes int, who ...int) Planned {
			return Planned{Job: b.state.Jobs[0].ID, Step: step, Begins: b.now.Add(minutesOf(at)), Minutes: takes, Hands: who}
		}
		planned, join := []Planned{row("hollow", 0, 20, 1), row("long", 1, test.takes, 2)}, row("join", 39, 1, test.joins...)
		var s *State
		if test.beside {
			other.done("coat")
			other.state.Airframe.Mark, other.state.Planned = "PL-02", []Planned{join}
			s = b.state.Beside([]*State{other.state})
		} else {
			b.done("coat")
			s, planned = b.state, append(planned, join)
		}
		s.Planned = planned
		g := s.NextBut(b.now, nil, planned)
		if g.Step == nil || g.Step.Step.Name != "hollow" {
			t.Fatalf("%+v: next is %+v", test, g.Step)
		}
		got := ""
		if r := s.TurnOf(2, &g, b.now); r != nil {
			got = r.Step.Name
		}
		if got != test.want {
			t.Errorf("%+v: it is the turn of %q", test, got)
		}
	}
}

// A join whose window is open is for whoever is at the bench, unless those whom the plan has it for are there and it is not too late; what
// makes safe what crashed is for everybody, unless the plan has it now for one who is there, and never planned for later.
func TestWhatIsForEverybody(t *testing.T) {
	b := working(t, one("glue", coating("coat", "tab"), joining("join", "tab")), one("cut", plain("cut")))
	b.done("coat")
	job := b.state.Jobs[0].ID
	for name, test := range map[string]struct {
		who, known, after int
		others            bool
	}{
		"the other one is there":     {2, 1 << 1, 15, true},
		"and a little late":          {2, 1 << 1, 22, true},
		"and late, not too late":     {2, 1 << 1, 23, true},
		"too late for its window":    {2, 1 << 1, 40, false},
		"nobody knows who is there":  {2, 0, 15, false},
		"a third one is":             {2, 1 << 3, 15, false},
		"it is one's own":            {1, 1 << 2, 15, false},
		"a third one asks":           {0, 1 << 1, 15, true},
		"its window is not open yet": {2, 1 << 1, 5, false},
	} {
		now := b.now.Add(minutesOf(test.after))
		s := b.state.Seated(Seat{By: "builder", Who: test.who, Known: test.known, Here: test.known})
		s.Planned = []Planned{{Job: job, Step: "join", Begins: b.now.Add(12 * time.Minute), Minutes: 1, Hands: []int{1}}}
		if g := s.Next(now); g.ForOthers != test.others {
			t.Errorf("%s: next is %+v, for others %t", name, g.Step.Step.Name, g.ForOthers)
		}
	}

	unplug, mend := plain("unplug"), plain("mend")
	unplug.Sets = setting("battery", "out").Set
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	safe := one("safe", unplug)
	safe.Phase = steps.Safe
	crashed := workingOn(t, kit, safe, one("mend", mend))
	crashed.state.Jobs[0].Damages = []string{"D1"}
	for _, days := range []int{0, 1} {
		begins := crashed.now.Add(time.Duration(days) * 24 * time.Hour)
		s := crashed.state.Seated(Seat{By: "builder", Who: 2, Known: 1 << 1, Here: 1 << 1})
		s.Planned = []Planned{{Job: job, Step: "unplug", Begins: begins, Minutes: 1, Hands: []int{1}}}
		g := s.Next(crashed.now)
		if g.Step == nil || g.Step.Step.Name != "unplug" || !g.AtOnce || g.ForOthers != (days == 0) || !g.Planned.IsZero() != (days == 0) {
			t.Errorf("in %d days: next is %+v, at once %t, for others %t, planned for %s", days, g.Step, g.AtOnce, g.ForOthers, g.Planned)
		}
	}
}

// What a plan made anew puts off is what the sitting that comes first had, on whichever airframe, in its order; not what heats or plugs in.
func TestWhatAnotherPlanPutsOff(t *testing.T) {
	warm := plain("warm")
	warm.Sets = setting("ventilation", "on").Set
	b, on := working(t, one("one", warm, plain("saw"), plain("sand"))), working(t, one("one", plain("cut"), plain("bend")))
	on.state.Airframe.Mark = "PL-02"
	row := func(s *State, step string, at int) Planned {
		leave := b.now.Add(2 * time.Hour)
		for b.now.Add(minutesOf(at)).After(leave) {
			leave = leave.Add(24 * time.Hour)
		}
		return Planned{Job: s.Jobs[0].ID, Step: step, Begins: b.now.Add(minutesOf(at)), Leave: leave}
	}
	before := map[string][]Planned{
		"PL-02":               {row(on.state, "cut", 20), row(on.state, "bend", 1500)},
		b.state.Airframe.Mark: {row(b.state, "warm", 0), row(b.state, "saw", 10), row(b.state, "sand", 30)},
	}
	on.state.Planned = []Planned{row(on.state, "cut", 1500), row(on.state, "bend", 3000)}
	b.state.Planned = []Planned{row(b.state, "warm", 1440), row(b.state, "saw", 1450), row(b.state, "sand", 100)}
	text := ""
	for _, is := range PutOff([]*State{on.state, b.state}, before, b.now) {
		text += is.Mark + " " + is.Step + " " + is.Begins.Sub(b.now).String() + "; "
	}
	if want := b.state.Airframe.Mark + " saw 24h10m0s; PL-02 cut 25h0m0s; "; text != want {
		t.Errorf("%q, want %q", text, want)
	}
}
