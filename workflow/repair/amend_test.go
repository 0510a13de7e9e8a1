package repair

import (
	"slices"
	"testing"

	"fettle/steps"
)

// What an amendment opens again, one rule a row: the plan has the parts of D1, which
// the new damage may have touched, and of D2, which it may not have.
func TestReopens(t *testing.T) {
	off := steps.Setting{Condition: "propeller", State: "off"}
	confirms := func(name string) steps.Step { return steps.Step{Name: name, Kind: steps.Hold} }
	joins := func(name, joint string) steps.Step {
		return steps.Step{Name: name, Kind: steps.Join, Joint: joint}
	}
	unplug := works("unplug")
	unplug.Sets = []steps.Setting{off}
	from := rests("air-out", "10 min")
	from.From = "unplug"
	cure := steps.Step{Name: "cure-d1", Kind: steps.Wait, Joint: "crack-d1", Until: steps.UntilCure}
	hinge := joins("tape-last", "tape")
	was := &steps.Procedure{Stages: []steps.Stage{
		stage("safe", steps.Safe, unplug, rests("cool", "5 min"), works("photograph"), works("blinds")),
		stage("look-d1", steps.Look, works("look-d1"), rests("look-long-d1", "2 min")),
		stage("look-d2", steps.Look, works("look-d2")),
		stage("mend-d1", steps.Structure, confirms("blade-d1"), joins("join-d1", "crack-d1"), cure, confirms("bend-d1"), from),
		stage("mend-d2", steps.Structure, joins("join-d2", "crack-d2"), confirms("bend-d2")),
		stage("both", steps.Structure, works("tape-all", "wing"), stale),
		stage("last", steps.Recheck, works("measure-last"), hinge),
	}}
	one, two, all := []string{"D1"}, []string{"D2"}, []string{"D1", "D2"}
	wasFor := map[string][]string{
		"unplug": all, "cool": all, "photograph": all, "blinds": all, "look-d1": one, "look-long-d1": one, "look-d2": two, "blade-d1": one, "join-d1": one, "cure-d1": one,
		"bend-d1": one, "air-out": one, "join-d2": two, "bend-d2": two, "tape-all": all, "again": all, "measure-last": all, "tape-last": all,
	}
	for _, c := range []struct {
		name  string
		alter func(a *Amendment, is *steps.Procedure)
		want  []string
	}{
		{"nothing is touched: the last checks alone", nil, []string{"again", "measure-last"}},
		{"D1 may be touched: it is looked at and tested again", func(a *Amendment, _ *steps.Procedure) { a.Moved = one },
			[]string{"look-d1", "look-long-d1", "bend-d1", "again", "measure-last"}},
		{"a condition no longer holds: it is set again, and what counts from it begins again",
			func(a *Amendment, _ *steps.Procedure) { a.Holds = func(steps.Setting) bool { return false } },
			[]string{"unplug", "cool", "air-out", "again", "measure-last"}},
		{"more damages ask for a step", func(a *Amendment, _ *steps.Procedure) { a.IsFor["photograph"] = []string{"D1", "D2", "D3"} },
			[]string{"photograph", "again", "measure-last"}},
		{"more damages ask for a part: all of it is done again, with its glue and the cure", func(a *Amendment, _ *steps.Procedure) {
			for _, name := range []string{"blade-d1", "join-d1", "cure-d1", "bend-d1"} {
				a.IsFor[name] = []string{"D1", "D3"}
			}
		}, []string{"blade-d1", "join-d1", "cure-d1", "bend-d1", "again", "measure-last"}},
		{"a step is on more zones than it was", func(_ *Amendment, is *steps.Procedure) {
			is.Stages[5].Steps = []steps.Step{works("tape-all", "wing", "tail"), stale}
		}, []string{"tape-all", "again", "measure-last"}},
		{"a step that is new was not done", func(_ *Amendment, is *steps.Procedure) {
			is.Stages[6].Steps = append(is.Stages[6].Steps, works("new-last"))
		}, []string{"again", "measure-last"}},
		{"what is not done is not opened again", func(a *Amendment, _ *steps.Procedure) { a.Done = func(string) bool { return false } }, nil},
	} {
		is := &steps.Procedure{Stages: slices.Clone(was.Stages)}
		a := Amendment{Was: was, Is: is, WasFor: wasFor, IsFor: map[string][]string{},
			Done:  func(step string) bool { return step != "new-last" },
			Holds: func(s steps.Setting) bool { return s == off },
		}
		for step, of := range wasFor {
			a.IsFor[step] = of
		}
		if c.alter != nil {
			c.alter(&a, is)
		}
		if got := a.Reopens(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// A part that was made anew in this repair is thrown away again, with more: all that
// makes the new one is done again, also what is glued. Other parts stay as they are.
// What was hot for a few steps, or on, is not made so again by an amendment: nothing would end it.
func TestReopensNothingThatWasEnded(t *testing.T) {
	sets := func(name, state string) steps.Step {
		s := works(name)
		s.Sets = []steps.Setting{{Condition: "charger", State: state}}
		return s
	}
	plan := &steps.Procedure{Stages: []steps.Stage{stage("fit", steps.Power, sets("begin", "on"), sets("end", "off"), works("strap-in"))}}
	done := map[string]bool{"begin": true, "end": true}
	a := Amendment{Was: plan, Is: plan, Done: func(name string) bool { return done[name] }, Holds: func(s steps.Setting) bool { return s.State == "off" }}
	if got := a.Reopens(); len(got) > 0 {
		t.Errorf("the charger was on and is off, and %v are done again", got)
	}
	delete(done, "end")
	if got := a.Reopens(); !slices.Equal(got, []string{"begin"}) {
		t.Errorf("the charger should be on, and %v are done again", got)
	}
}

func TestReopensANewPart(t *testing.T) {
	scrap := func(zones ...string) steps.Step {
		return steps.Step{Name: "scrap", Kind: steps.Hold, Retires: zones, Disturbs: zones}
	}
	join := func(name string) steps.Step { return steps.Step{Name: name, Kind: steps.Join, Joint: name} }
	plan := func(zones ...string) *steps.Procedure {
		return &steps.Procedure{Stages: []steps.Stage{stage("new", steps.Structure, join("part"), scrap(zones...), join("seat")), stage("other", steps.Structure, join("other"))}}
	}
	of := map[string][]string{"part": {"D1"}, "scrap": {"D1"}, "seat": {"D1"}, "other": {"D2"}}
	a := Amendment{Was: plan("tail"), Is: plan("tail", "nose"), WasFor: of, IsFor: of,
		Done: func(string) bool { return true }, Holds: func(steps.Setting) bool { return true }}
	if got := a.Reopens(); !slices.Equal(got, []string{"scrap", "seat"}) {
		t.Errorf("%v are done again", got)
	}
	a.Is = plan("tail")
	if got := a.Reopens(); len(got) > 0 {
		t.Errorf("nothing more is thrown away, and %v are done again", got)
	}
}
