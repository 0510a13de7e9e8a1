package page

import (
	"cmp"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/journal"
)

var ledSheet = &steps.Sheet{Conditions: []steps.Condition{
	{Name: "propeller", States: []string{"off", "on"}, Guarded: "on"},
	{Name: "battery", States: []string{"out", "in"}, Guarded: "in"},
	{Name: "iron", States: []string{"cold", "hot"}, Bench: true},
	{Name: "charger", States: []string{"off", "on"}, Bench: true},
}}

// ledWork heats, plugs in and charges, each with a step after it that needs that not yet, one that does, and one that ends it.
func ledWork() *steps.Procedure {
	is := func(all ...string) (set []steps.Setting) {
		for _, one := range all {
			condition, state, _ := strings.Cut(one, "=")
			set = append(set, steps.Setting{Condition: condition, State: state})
		}
		return set
	}
	var stages []steps.Stage
	for _, part := range [][3][]steps.Setting{{is("iron=hot"), nil, is("iron=cold")}, {is("battery=in"), is("propeller=off"), is("battery=out")}, {is("charger=on"), nil, is("charger=off")}, {is("propeller=on"), is("battery=out"), nil},
		{is("battery=in"), is("propeller=on"), is("battery=out")}, {is("iron=hot"), nil, is("iron=cold")}} {
		name := fmt.Sprint("s", len(stages))
		stage := []steps.Step{{Kind: steps.Do, Name: name + "-set", Sets: part[0], Needs: part[1]}, {Kind: steps.Do, Name: name + "-ready"}, {Kind: steps.Do, Name: name + "-use", Needs: append(slices.Clone(part[0]), part[1]...)}}
		if part[2] != nil {
			stage = append(stage, steps.Step{Kind: steps.Do, Name: name + "-end", Sets: part[2]})
		}
		stages = append(stages, steps.Stage{Name: name, Steps: stage})
	}
	return &steps.Procedure{Name: "work", Stages: stages}
}

// Whoever asks what is next, of all airframes, reads the same at once as the clocks and the board say, in random lives of three airframes at
// one bench: one builder or two, by a plan or by none, who go on, go elsewhere, say how things stand, come back hours or days later, or
// damage one. What another one minds nobody is told to end. Beside what crashed, or one without a job, clocks and board may say more, never less.
func TestAllSayTheSameAtOnce(t *testing.T) {
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{"sheet": ledSheet}, Procedures: map[string]*steps.Procedure{"work": ledWork()}}
	said := map[string]int{}
	if os.Getenv("FETTLE_LONG") == "" {
		was := flag.Lookup("rapid.checks").Value.String()
		defer flag.Set("rapid.checks", was)
		flag.Set("rapid.checks", "25")
	}
	rapid.Check(t, func(t *rapid.T) { ledLife(t, docs, said) })
	if t.Log(said); len(said) < 4 {
		t.Errorf("only %v was said", slices.Sorted(maps.Keys(said)))
	}
}

// What is hot on an airframe that whoever asks what is next is led past is said by the clocks and the board too; and of two that were left
// plugged in in the same second, each is said.
func TestTheClocksSayWhatIsLedPast(t *testing.T) {
	docs := workflow.Documents{Sheets: map[string]*steps.Sheet{"sheet": ledSheet}, Procedures: map[string]*steps.Procedure{"work": ledWork()}}
	at := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	for name, test := range map[string]struct {
		set   [2]string
		after time.Duration
		want  []string
	}{
		"hot where nobody is led to":  {[2]string{"", "iron=hot"}, 0, []string{"PL-02 iron: cold"}},
		"hot where they are led to":   {[2]string{"iron=hot", ""}, 0, nil},
		"both plugged in in a second": {[2]string{"battery=in", "battery=in"}, 24 * time.Hour, []string{"PL-01 battery: out", "PL-02 battery: out"}},
	} {
		var all []*workflow.State
		for i, mark := range []string{"PL-01", "PL-02"} {
			facts := []journal.Facts{journal.Registered{Mark: mark, Sheet: "sheet"}, journal.JobOpened{Job: "work", Procedure: "work", Sheet: "sheet"}}
			if condition, state, ok := strings.Cut(test.set[i], "="); ok {
				facts = append(facts, journal.ConditionSet{Setting: steps.Setting{Condition: condition, State: state}})
			}
			var entries []journal.Entry
			for n, f := range facts {
				entries = append(entries, journal.Entry{Position: int64(n), At: at, Recorded: at, By: "Ann", Facts: f})
			}
			s, err := workflow.Replay(entries, docs)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, s)
		}
		fleet, now := []*workflow.State{all[0].Beside(all[1:]), all[1].Beside(all[:1])}, at.Add(test.after)
		var clocks Clocks
		var tiles []Tile
		for _, s := range fleet {
			clocks.Add(s, now)
			tiles = append(tiles, NewTile(s, now, 1))
		}
		clocks.Lead(fleet, now)
		Lead(tiles, fleet, now)
		for what, harms := range map[string][]Reason{"clocks": clocks.Harms, "board": append(slices.Clone(tiles[0].Airframe.Harms), tiles[1].Airframe.Harms...)} {
			var got []string
			for _, r := range harms {
				if one := r.Remedy.Mark + " " + r.Remedy.Setting.String(); !slices.Contains(got, one) {
					got = append(got, one)
				}
			}
			if !slices.Equal(got, test.want) {
				t.Errorf("%s: the %s say %q, want %q", name, what, got, test.want)
			}
		}
	}
}

func ledLife(t *rapid.T, docs workflow.Documents, said map[string]int) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	people := rapid.IntRange(1, 2).Draw(t, "people")
	names, marks := []string{"Ann", "Bob"}[:people], []string{"PL-01", "PL-02", "PL-03"}
	journals := map[string][]journal.Entry{}
	states := map[string]*workflow.State{}
	var at []workflow.Place
	record := func(mark, by string, facts ...journal.Facts) {
		for _, f := range facts {
			journals[mark] = append(journals[mark], journal.Entry{Position: int64(len(journals[mark])), At: now, Recorded: now, By: by, Facts: f})
		}
		s, err := workflow.Replay(journals[mark], docs)
		if err != nil {
			t.Fatal(err)
		}
		states[mark] = s
	}
	for i, mark := range marks {
		record(mark, "Ann", journal.Registered{Mark: mark, Sheet: "sheet"})
		if i < 2 || rapid.Bool().Draw(t, "three are built") {
			record(mark, "Ann", journal.JobOpened{Job: "work", Procedure: "work", Sheet: "sheet"})
		}
	}
	for range rapid.IntRange(3, 25).Draw(t, "length") {
		now = now.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 1, 3, 8, 15, 40, 65, 60 * 13, 60 * 24 * 20}).Draw(t, "minutes")) * time.Minute)
		mark, who := rapid.SampledFrom(marks).Draw(t, "mark"), rapid.IntRange(1, people).Draw(t, "who")
		switch rapid.IntRange(0, 9).Draw(t, "what") {
		case 0:
			def := rapid.SampledFrom(ledSheet.Conditions).Draw(t, "condition")
			is := steps.Setting{Condition: def.Name, State: rapid.SampledFrom(def.States).Draw(t, "state")}
			if def.Guarded == is.State && len(states[mark].OpenDamages(now)) > 0 {
				continue // it would be refused
			}
			record(mark, names[who-1], journal.ConditionSet{Setting: is})
		case 1:
			record(mark, names[who-1], journal.DamageFound{Finding: "cracked", Zone: "wing"})
		default:
			if step := states[mark].Next(now).Step; step != nil && len(step.Reasons) == 0 {
				work := journal.Work{Job: step.Job, Step: step.Step.Name}
				facts := []journal.Facts{journal.StepDone{Work: work}}
				for _, is := range step.Step.Sets {
					facts = append(facts, journal.ConditionSet{Setting: is})
				}
				record(mark, names[who-1], facts...)
			}
		}
		seat := workflow.Seat{By: names[who-1]}
		if people == 2 {
			at = append(at, workflow.Place{Who: who, Mark: mark, Since: now})
			seat = workflow.Seat{By: names[who-1], Who: who, Known: 1 << (3 - who), Here: 1 << (3 - who), Names: "1 Ann\n2 Bob", At: slices.Clone(at)}
		}
		plans, ends := ledPlans(t, marks, people, now)
		var fleet []*workflow.State
		for i, mark := range marks {
			others := []*workflow.State{}
			for k := range marks {
				if k != i {
					others = append(others, states[marks[k]])
				}
			}
			states[mark].Planned, states[mark].Plans, states[mark].Sits = plans[mark], plans, func() time.Time { return ends }
			fleet = append(fleet, states[mark].Seated(seat).Beside(others))
		}
		compareLed(t, fleet, now, said)
	}
}

// ledPlans are plans of the airframes, or none, and when the sitting ends by the settings.
func ledPlans(t *rapid.T, marks []string, people int, now time.Time) (plans map[string][]workflow.Planned, ends time.Time) {
	from := func(name string, minutes ...int) time.Time {
		return now.Add(time.Duration(rapid.SampledFrom(minutes).Draw(t, name)) * time.Minute)
	}
	if rapid.Bool().Draw(t, "the settings say when the sitting ends") {
		ends = from("it ends", -90, -10, 5, 60)
	}
	if rapid.Bool().Draw(t, "no plan") {
		return nil, ends
	}
	plans = map[string][]workflow.Planned{}
	leave := from("they leave", -10, 5, 60)
	var names []string
	for _, step := range ledWork().Steps() {
		names = append(names, step.Name)
	}
	for _, mark := range marks {
		for range rapid.IntRange(0, 4).Draw(t, "rows") {
			row := workflow.Planned{Job: "work", Step: rapid.SampledFrom(names).Draw(t, "step"), Begins: from("begins", -40, -5, 0, 20, 45), Minutes: 5, Leave: leave}
			if rapid.IntRange(0, 4).Draw(t, "ends") == 0 {
				def := rapid.SampledFrom(ledSheet.Conditions).Draw(t, "what it ends")
				row.Step, row.Again, row.Ends = "", workflow.AgainSafe, []steps.Setting{{Condition: def.Name, State: def.States[0]}}
			}
			if people == 2 {
				row.Hands = []int{rapid.IntRange(1, 2).Draw(t, "by")}
			}
			plans[mark] = append(plans[mark], row)
		}
	}
	return plans, ends
}

func compareLed(t *rapid.T, fleet []*workflow.State, now time.Time, said map[string]int) {
	first := workflow.Foremost(fleet, now)
	if first == nil {
		return
	}
	key := func(r *Reason) string {
		if is := r.Remedy.Setting; is.Condition == "iron" || is.Condition == "charger" {
			return is.String()
		} else if is.Condition != "" {
			return r.Remedy.Mark + " " + is.String()
		}
		return "" // what crashed is said by its own line
	}
	keys := func(all []Reason) string {
		found := map[string]bool{}
		for i := range all {
			if k := key(&all[i]); k != "" {
				found[k] = true
			}
		}
		return strings.Join(slices.Sorted(maps.Keys(found)), ", ")
	}
	g := first.Next(now) // as the command shows it
	if !g.Theirs {
		first.LeaveFor(&g, now)
	}
	ended := func(all []Reason, plugged []NextPlugged) []Reason { // by whomever
		all = slices.Clone(all)
		for _, p := range plugged {
			if p.ends && p.set.Condition != "" {
				all = append(all, Reason{Reason: workflow.Reason{Remedy: workflow.Remedy{Mark: p.Mark, Setting: p.set}}})
			}
		}
		return all
	}
	n := NextOf(first, g, now)
	next := ended(append(slices.Clone(n.Harms), n.EndFirst...), n.Plugged)
	var clocks Clocks
	var tiles, lines []Tile
	for _, s := range fleet {
		clocks.Add(s, now)
		tiles, lines = append(tiles, NewTile(s, now, 1)), append(lines, NewTile(s, now, Crowded))
	}
	if clocks.Stands {
		clocks.Lead(fleet, now)
		Lead(tiles, fleet, now)
		Lead(lines, fleet, now)
	}
	var board, crowded []Reason
	for i := range tiles {
		board, crowded = append(board, ended(tiles[i].Airframe.Harms, tiles[i].Airframe.Plugged)...), append(crowded, ended(lines[i].harms, lines[i].stays)...)
	}
	want := keys(next)
	for what, got := range map[string]string{"the clocks": keys(ended(clocks.Harms, clocks.Plugged)), "the board": keys(board), "a crowded board": keys(crowded)} {
		aside := slices.ContainsFunc(fleet, func(s *workflow.State) bool { return s.Unsafe(now) != nil || len(s.Jobs) == 0 })
		more := aside && !slices.ContainsFunc(strings.Split(want, ", "), func(one string) bool { return !strings.Contains(got, one) }) // beside a wreck, or one without a job, clocks and board may say more
		if got != want && !more {
			step := "-"
			if g.Step != nil {
				step = g.Step.Step.Name
			}
			for _, s := range fleet {
				for _, e := range s.Entries {
					t.Logf("%s %s %s %T %+v", s.Airframe.Mark, e.At.Format("2 15:04"), e.By, e.Facts, e.Facts)
				}
			}
			t.Fatalf("%s %s say at once %q, what is next (%s of %s, by others %t) says %q and %s", now.Format("2 15:04"), what, got, step, first.Airframe.Mark, g.Theirs, want, n.AtOnce(&Clock{Now: now}))
		}
	}
	said[cmp.Or(want, "nothing")]++
}
