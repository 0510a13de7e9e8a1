package workflow

import (
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
	if hot, by := other.HotBeside(other.Next(now), now), other.PluggedIn(now); len(hot) != 0 || len(by) != 1 {
		t.Errorf("plugged in beside: at once %v, stayed by %v", hot, by)
	}
	armed.Planned = []Planned{{Again: AgainSafe, Begins: now, Minutes: 1, Ends: []steps.Setting{{Condition: "battery", State: "out"}}}}
	other.others[0].Planned = armed.Planned
	is("to be pulled by now", "PL-00")
	if hot, by := other.HotBeside(other.Next(now), now), other.PluggedIn(now); len(hot) != 1 || len(by) != 0 {
		t.Errorf("to be pulled by now: at once %v, stayed by %v", hot, by)
	}
}
