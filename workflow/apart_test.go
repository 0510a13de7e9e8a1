package workflow

import (
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// What one stage heats and a later one ends keeps coats out from between them, though they are in another stage: before it is
// set or once it is ended. So it does where it was set before the plan begins.
func TestScheduleKeepsCoatsOutOfWhatALaterStageEnds(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Adhesives[0].Times.Vapour = 0
	heat, film, trim, cool := plain("heat"), plain("film"), plain("trim"), plain("cool")
	heat.Hands, film.Hands, trim.Hands, cool.Hands = q("1 min"), q("20 min"), q("20 min"), q("1 min")
	heat.Sets, cool.Sets = []steps.Setting{hot}, []steps.Setting{cold}
	rest := one("second", wait("rest", "60 min"), trim, cool)
	rest.After = []string{"first"}
	b := workingOn(t, in, one("first", heat, film), rest, one("glue", coating("coat", "tab"), joining("join", "tab")))
	holds := func(now time.Time, h Hours) Timetable {
		t.Helper()
		p, err := scheduled(t, now, h, b.state)
		if err != nil {
			t.Fatal(err)
		}
		at := map[string]Turn{}
		for _, v := range p.Visits {
			for _, turn := range v.Turns {
				at[turn.Step] = turn
			}
		}
		from := at["heat"].Begins // zero: it was set before
		if coat, join := at["coat"], at["join"]; coat.Begins.Before(at["cool"].Ends) && join.Ends.After(from) {
			t.Errorf("it is glued from %s to %s, and hot from %s to %s: %s", coat.Begins, join.Ends, from, at["cool"].Ends, says(p))
		}
		return p
	}
	// Twelve minutes of gluing would fit into the hour of rest.
	holds(evening, Hours{Sittings: open(0, 240)})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{cold}})
	b.done("heat", "film")
	if p := holds(b.now, Hours{Sittings: open(0, 240)}); !strings.Contains(says(p), "trim 60, cool 80, coat 81, ") {
		t.Errorf("%s", says(p))
	}
}

// Two people do not do at once what may not be beside one another, though no coat lies open between two steps and no vapour hangs.
func TestScheduleKeepsTwoPeopleApart(t *testing.T) {
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}})
	in.Adhesives[1].Care = steps.Care{Needs: []steps.Setting{cold}}
	in.Adhesives[1].Times.Vapour = 0
	stick := steps.Step{Name: "stick", Kind: steps.Glue, Joint: "tab", Adhesives: []string{"epoxy"}, Hands: q("3 min")}
	film := plain("film")
	film.Hands, film.Needs = q("10 min"), []steps.Setting{hot}
	b := workingOn(t, in, one("glue", stick), one("film", film))
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{hot}})
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 60), Hands: 2}, b.state)
	if err != nil {
		t.Fatal(err)
	}
	of := map[string]Turn{}
	for _, turn := range p.Visits[0].Turns {
		of[turn.Step] = turn
	}
	if a, b := of["stick"], of["film"]; a.Ends.IsZero() || b.Ends.IsZero() || a.Begins.Before(b.Ends) && b.Begins.Before(a.Ends) {
		t.Error(says(p))
	}
}

// What is plugged in is unplugged in the same sitting, and not at once where a coat dries meanwhile. By hand: there are 52 minutes to work,
// and a coat that dries for ten beside them; with nothing between plugging in and out it is over at 62.
func TestScheduleCoatsWhileItCharges(t *testing.T) {
	on, off := steps.Setting{Condition: "charger", State: "on"}, steps.Setting{Condition: "charger", State: "off"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "charger", States: []string{"on", "off"}, Bench: true})
	plug, out, coat, join := hands("plug", "30 min"), hands("out", "20 min"), coating("coat", "tab"), joining("join", "tab")
	plug.Sets, out.Sets = []steps.Setting{on}, []steps.Setting{off}
	b := workingOn(t, in, one("charge", plug, out), one("glue", coat, join))
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{off}})
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 240), Tight: true}, b.state)
	if want := "plug 0, coat 30, out 31, join 51, | ends 52"; err != nil || says(p) != want {
		t.Errorf("%s, %v, want %s", says(p), err, want)
	}
}
