package workflow

import (
	"fmt"
	"testing"
	"time"

	"fettle/steps"
)

// Of several airframes the one that somebody stays by is gone on with first, planned or not; what crashed with its battery in comes
// before that, and what a plan has ended by now is said wherever the work goes on.
func TestForemostStaysByWhatIsPluggedIn(t *testing.T) {
	fleet := powered(t, []string{"plug"}, []steps.Step{hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min")}, one("plain", hands("sand", "20 min")))
	armed, other := fleet[0], fleet[1]
	now := evening.Add(10 * time.Minute)
	is := func(name, want string) {
		t.Helper()
		for _, all := range [][]*State{{armed, other}, {other, armed}} {
			if got := Foremost(all, now); got == nil || got.Airframe.Mark != want {
				t.Errorf("%s: %s is not the foremost", name, want)
			}
		}
	}
	is("unplanned", "PL-00")
	sand := Planned{Job: other.Jobs[0].ID, Step: "sand", Begins: now, Minutes: 20}
	other.Planned = []Planned{sand}
	is("the other planned now", "PL-00")
	if hot, by := standsBeside(other, now); len(hot) != 0 || len(by) != 1 {
		t.Errorf("plugged in beside: at once %v, stayed by %v", hot, by)
	}
	armed.Planned = []Planned{{Again: AgainSafe, Begins: now, Minutes: 1, Ends: []steps.Setting{{Condition: "battery", State: "out"}}}}
	other.others[0].Planned = armed.Planned
	is("to be pulled by now", "PL-00")
	if hot, by := standsBeside(other, now); len(hot) != 1 || len(by) != 0 {
		t.Errorf("to be pulled by now: at once %v, stayed by %v", hot, by)
	}
}

// The other face of a joint on one airframe comes before the open join of another one that can wait for it, where it can't wait for that:
// both joints are open from 10 to 40 minutes after their coats, and the face dries for 10.
func TestForemostCoatsTheOtherFaceBeforeAnOpenJoin(t *testing.T) {
	for _, test := range []struct {
		at, join int
		want     string
	}{
		{21, 5, "joins"}, // there is time for both
		{25, 5, "coats"},
		{25, 25, "joins"}, // the open one would be lost
		{31, 5, "joins"},  // the face can't dry in time any more
	} {
		join := joining("join", "tab")
		join.Hands = q(fmt.Sprintf("%d min", test.join))
		coats := working(t, one("one", coating("coat", "tab"), coating("face", "tab"), joining("join", "tab")))
		joins := working(t, one("one", coating("coat", "tab"), join))
		coats.done("coat")
		joins.after(9 * time.Minute)
		joins.done("coat")
		coats.state.Airframe.Mark, joins.state.Airframe.Mark = "coats", "joins"
		now := evening.Add(minutesOf(test.at))
		fleet := []*State{coats.state.Beside([]*State{joins.state}), joins.state.Beside([]*State{coats.state})}
		for range fleet {
			if got := Foremost(fleet, now); got.Airframe.Mark != test.want {
				t.Errorf("at %d, join for %d min: %s, want %s", test.at, test.join, got.Airframe.Mark, test.want)
			}
			fleet[0], fleet[1] = fleet[1], fleet[0]
		}
	}
}

// What a battery is plugged in for comes before the open join of another airframe, where the battery is out again before that must be begun
// with something to spare, for next as in a plan; else the coat would lapse. It is open until 49, and so joined for five minutes from 38 at the
// latest: six minutes are spared.
func TestForemostPullsThePlugBeforeAJoinThatCanWait(t *testing.T) {
	for _, test := range []struct {
		at, try int
		tried   bool
		want    string
	}{
		{25, 9, false, "armed"}, // and three minutes to pull it
		{25, 12, false, "joins"},
		{34, 9, true, "armed"}, // it is only to be pulled
		{39, 9, true, "joins"},
	} {
		in, out := setting("battery", "in").Set, setting("battery", "out").Set
		kit := sheet()
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		plug, try, pull, join := hands("plug", "2 min"), hands("try", fmt.Sprintf("%d min", test.try)), hands("pull", "3 min"), joining("join", "tab")
		plug.Sets, try.Needs, pull.Sets, join.Hands = in, in, out, q("5 min")
		armed := workingOn(t, kit, one("power", plug, try, pull))
		joins := workingOn(t, kit, one("one", coating("coat", "tab"), join))
		joins.after(9 * time.Minute)
		joins.done("coat")
		armed.after(15 * time.Minute)
		armed.done("plug")
		if test.tried {
			armed.done("try")
		}
		armed.state.Airframe.Mark, joins.state.Airframe.Mark = "armed", "joins"
		now := evening.Add(minutesOf(test.at))
		fleet := []*State{armed.state.Beside([]*State{joins.state}), joins.state.Beside([]*State{armed.state})}
		for range fleet {
			if got := Foremost(fleet, now); got.Airframe.Mark != test.want {
				t.Errorf("at %d, try for %d min: %s, want %s", test.at, test.try, got.Airframe.Mark, test.want)
			}
			p, err := scheduled(t, now, Hours{Sittings: open(0, 240)}, fleet...)
			if err != nil || test.want == "armed" && p.Visits[0].Turns[0].Mark != test.want {
				t.Errorf("at %d, try for %d min: planned %s, %v", test.at, test.try, says(p), err)
			}
			fleet[0], fleet[1] = fleet[1], fleet[0]
		}
	}
}

func standsBeside(s *State, now time.Time) (end []Reason, stay []Plugged) {
	g := s.Next(now)
	return s.StandsBeside(&g, now)
}
