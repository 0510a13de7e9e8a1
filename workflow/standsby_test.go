package workflow

import (
	"slices"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
	"fettle/workflow/plan"
)

// lit is a bench of an airframe on which a battery is plugged in, a lamp lit, and the charger and the iron of the bench are on.
func lit(t *testing.T) *bench {
	t.Helper()
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"},
		steps.Condition{Name: "lamp", States: []string{"off", "lit"}, Sitting: true},
		steps.Condition{Name: "charger", States: []string{"off", "on"}, Guarded: "on", Bench: true},
		steps.Condition{Name: "iron", States: []string{"cold", "hot"}, Bench: true})
	var stages []steps.Stage
	for _, is := range [][3]string{{"battery", "in", "out"}, {"lamp", "lit", "off"}, {"charger", "on", "off"}, {"iron", "hot", "cold"}} {
		begin, end := plain(is[0]+"-"+is[1]), plain(is[0]+"-"+is[2])
		begin.Sets, end.Sets = setting(is[0], is[1]).Set, setting(is[0], is[2]).Set
		stages = append(stages, one(is[0], begin, plain(is[0]+"-use"), end))
	}
	return workingOn(t, kit, stages...)
}

// Somebody stays by what is plugged in on an airframe, and by nothing else that is on there or at the bench. What crashed plugged in comes
// before that, whoever its next step is for, and after an open window alone.
func TestWhichAirframeIsStayedBy(t *testing.T) {
	b := lit(t)
	step := b.step("lamp-use")
	is := func(when string, g Suggestion, want Rank) {
		t.Helper()
		g.Step = &step
		if got := b.state.Among(&g, RankPresses, time.Time{}, b.now); got != want {
			t.Errorf("%s it comes %d, want %d", when, got, want)
		}
	}
	b.done("lamp-lit", "charger-on", "iron-hot")
	is("lit", Suggestion{}, RankOpen)
	b.done("battery-in")
	is("plugged in", Suggestion{}, RankStaysBy)
	is("plugged in, for others", Suggestion{ForOthers: true}, RankOthers)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
	is("crashed", Suggestion{}, RankMakesSafe)
	is("crashed, for others", Suggestion{ForOthers: true}, RankMakesSafe)
	is("crashed, with every job over", Suggestion{Over: true}, RankMakesSafe)
	is("crashed, with an open window", Suggestion{Presses: true}, RankPresses)
}

// What the plan of another airframe has ended by now counts for the bench, and not for what each airframe has of its own.
func TestWhatAnotherPlanHasEnded(t *testing.T) {
	for condition, want := range map[string]int{"battery": 0, "iron": 1} {
		b, other := lit(t), lit(t)
		b.done(map[string]string{"battery": "battery-in", "iron": "iron-hot"}[condition])
		other.state.Airframe.Mark = "PL-02"
		off := map[string]string{"battery": "out", "iron": "cold"}[condition]
		other.state.Planned = []Planned{{Again: AgainSafe, Begins: b.now.Add(time.Minute), Minutes: 1, Ends: setting(condition, off).Set}}
		s := b.state.Beside([]*State{other.state})
		step := b.step("lamp-lit")
		if end, by := s.EndFirst(Suggestion{Step: &step}, b.now.Add(2*time.Minute)); len(end) != want || !by.IsZero() {
			t.Errorf("%s: to be ended %v by %v, want %d", condition, textsOf(end), by, want)
		}
	}
}

// An iron that is hot beside an open coat that needs it cold is ended at once in a plan, also where the step that heated it is done and only
// one is left that needs it, and where the coat is on another airframe; it is heated anew for that step, after the join.
func TestScheduleCoolsWhatHarmsACoat(t *testing.T) {
	hot, cold := setting("iron", "hot"), setting("iron", "cold")
	b := solderer(t)
	b.done("heat")
	b.must(cold)
	b.done("coat")
	b.must(hot)
	p, err := Schedule(t.Context(), []*State{b.state}, evening, Hours{Sittings: open(0, 120)}, plan.Options{})
	if want := "safe 0, press 10, heatready 11, solder 14, | ends 44"; err != nil || says(p) != want {
		t.Errorf("%s, %v; want %s", says(p), err, want)
	}

	coated, other := solderer(t), solderer(t)
	coated.done("coat")
	other.after(time.Minute)
	other.must(hot)
	coated.state.Airframe.Mark, other.state.Airframe.Mark = "PL-00", "PL-01"
	fleet := []*State{coated.state.Beside([]*State{other.state}), other.state.Beside([]*State{coated.state})}
	for _, order := range [][]*State{fleet, {fleet[1], fleet[0]}} {
		p, err := Schedule(t.Context(), order, evening.Add(2*time.Minute), Hours{Sittings: open(2, 240)}, plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		first := p.Visits[0].Turns[0]
		if first.Again != AgainSafe || !first.Begins.Equal(evening.Add(2*time.Minute)) || len(first.Sets) != 1 || first.Sets[0] != cold.Set[0] {
			t.Errorf("the iron stays hot beside the coat: %s", says(p))
		}
	}
}

// pluggedBesideACoat is one airframe that is plugged in for something that takes so long, and another with this work, of which the coat is
// on: its window is open from 10 to 40 minutes from now.
func pluggedBesideACoat(t *testing.T, takes string, work ...steps.Step) []*State {
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, try, pull := hands("plug", "2 min"), hands("try", takes), hands("pull", "3 min")
	plug.Sets, try.Needs, pull.Sets = setting("battery", "in").Set, setting("battery", "in").Set, setting("battery", "out").Set
	power, glued := workingOn(t, kit, one("power", plug, try, pull)), workingOn(t, kit, one("glue", work...))
	power.done("plug")
	glued.done("coat")
	power.state.Airframe.Mark, glued.state.Airframe.Mark = "PL-00", "PL-01"
	return []*State{power.state.Beside([]*State{glued.state}), glued.state.Beside([]*State{power.state})}
}

// The only person is done with what is plugged in before they press on another airframe, where the window leaves time for that, and else
// loses no coat for it.
func TestScheduleLosesNoCoatToAPlug(t *testing.T) {
	for takes, afterwards := range map[string]bool{"20 min": true, "60 min": false} {
		fleet := pluggedBesideACoat(t, takes, coating("coat", "tab"), joining("join", "tab"))
		p, err := scheduled(t, evening, Hours{Hands: 1, Sittings: open(0, 240)}, fleet...)
		if err != nil || len(p.Lapses) > 0 {
			t.Fatalf("try takes %s: %v %+v", takes, err, p.Lapses)
		}
		pulled := false
		for _, turn := range p.Visits[0].Turns {
			pulled = pulled || turn.Step == "pull"
			if turn.Step == "join" && (turn.Begins.After(evening.Add(39*time.Minute)) || afterwards && !pulled) {
				t.Errorf("try takes %s: %s", takes, says(p))
			}
		}
	}
}

// Nor does the only person leave it plugged in for all that leads to a join, or for the join, where the window leaves time to pull the plug:
// only what it leaves none for comes before that. Each row is minutes of work before the join, and what is done first.
func TestSchedulePullsThePlugBeforeWhatLeadsToAJoin(t *testing.T) {
	for trim, first := range map[string]string{"25 min": "pull", "32 min": "trim", "": "pull"} {
		work := []steps.Step{coating("coat", "tab"), joining("join", "tab")}
		if trim != "" {
			work = slices.Insert(work, 1, hands("trim", trim))
		}
		fleet := pluggedBesideACoat(t, "60 min", work...)
		p, err := scheduled(t, evening, Hours{Hands: 1, Sittings: open(0, 240)}, fleet...)
		if err != nil || len(p.Lapses) > 0 {
			t.Fatalf("%v %+v", err, p.Lapses)
		}
		turns := p.Visits[0].Turns
		if turns[0].Step != first || first == "trim" && turns[1].Step != "join" {
			t.Errorf("trim takes %s: %s", trim, says(p))
		}
	}
}

// It is pulled for a join also where nobody has the time to look for a better plan, and what it is in for is in several parts.
func TestSchedulePullsThePlugForAJoinAtOnce(t *testing.T) {
	fleet := pluggedBesideACoat(t, "60 min", coating("coat", "tab"), joining("join", "tab"))
	now := evening.Add(20 * time.Minute)
	p, err := Schedule(t.Context(), fleet, now, Hours{Hands: 1, Sittings: open(20, 300)}, plan.Options{Think: 1})
	if err != nil || len(p.Lapses) > 0 {
		t.Fatalf("%v %+v %s", err, p.Lapses, says(p))
	}
	if turns := p.Visits[0].Turns; turns[0].Step != "pull" || turns[1].Step != "join" {
		t.Error(says(p))
	}
}

// What is hot, on or plugged in by its own journal is ended before an airframe is retired, and what an older program retired so can be
// recorded as ended, and nothing else.
func TestNothingIsRetiredPluggedIn(t *testing.T) {
	for _, is := range [][3]string{{"battery", "in", "out"}, {"charger", "on", "off"}, {"iron", "hot", "cold"}} {
		b, other := lit(t), lit(t)
		b.done(is[0] + "-" + is[1])
		other.state.Airframe.Mark = "PL-02"
		if _, err := other.state.Beside([]*State{b.state}).Decide(Retire{Because: "kept"}, Circumstances{Now: b.now, By: "builder"}); err != nil {
			t.Errorf("%s: another one is refused: %v", is[0], err)
		}
		mustContain(t, b.refused(Retire{Because: "kept"}, ByCondition), is[0]+": "+is[1]+", as the journal says, and nothing since says that it is "+is[2])
		b.after(25 * time.Hour)
		b.refused(Retire{Because: "kept"}, ByCondition)
		b.must(setting(is[0], is[2]), Retire{Because: "kept"})
		b.refused(setting(is[0], is[2]), ByState)

		b = lit(t)
		b.done(is[0] + "-" + is[1])
		b.written(0, journal.Retired{Because: "kept"})
		b.refused(setting(is[0], is[1]), ByState)
		b.refused(setting("lamp", "off"), ByState)
		b.refused(ReadBench{Temperature: q("20 °C"), Set: setting(is[0], is[2]).Set}, ByState)
		b.must(setting(is[0], is[2]))
		b.refused(setting(is[0], is[2]), ByState)
	}
}
