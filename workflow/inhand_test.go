package workflow

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// whoDoes is who does what in a plan, in minutes after the evening.
func whoDoes(p Timetable) string {
	var all []string
	for _, v := range p.Visits {
		for _, t := range v.Turns {
			all = append(all, fmt.Sprint(t.Step, t.Act, " ", t.Begins.Sub(evening).Minutes(), "-", t.Ends.Sub(evening).Minutes(), " ", t.Hands))
		}
	}
	return strings.Join(all, ", ")
}

// Planned anew, whoever is at a step stays at it, for what is left of it, half of it at least; and the rest is for those who were to do it.
// What should have been over twice by now was not begun.
func TestScheduleKeepsWhoIsAtWhat(t *testing.T) {
	stages := func(more ...steps.Stage) []steps.Stage {
		return append([]steps.Stage{one("pod", hands("hollow", "40 min"), hands("slit", "10 min")),
			one("wing", hands("draw", "20 min"), hands("cut", "20 min"))}, more...)
	}
	shown := func(b *bench, all ...Turn) *Timetable {
		for i := range all {
			all[i].Mark, all[i].Job = b.state.Airframe.Mark, b.state.Jobs[0].ID
		}
		return &Timetable{Hands: 2, Visits: []Visit{{Sitting: open(0, 180)[0], Turns: all}}}
	}
	turn := func(step string, from, to int, who ...int) Turn {
		return Turn{Step: step, Begins: evening.Add(minutesOf(from)), Ends: evening.Add(minutesOf(to)), Hands: who}
	}
	for name, test := range map[string]struct {
		more  []steps.Stage
		shown []Turn
		done  []string
		at    int
		want  string
	}{
		"nothing is begun": {nil, []Turn{turn("hollow", 0, 40, 2), turn("draw", 0, 20, 1), turn("cut", 20, 40, 1), turn("slit", 40, 50, 2)}, nil, 0,
			"hollow 0-40 [2], draw 0-20 [1], cut 20-40 [1], slit 40-50 [2]"},
		"both are on time": {nil, []Turn{turn("hollow", 0, 40, 2), turn("draw", 0, 20, 1), turn("cut", 20, 40, 1), turn("slit", 40, 50, 2)}, []string{"draw"}, 20,
			"hollow 0-40 [2], cut 20-40 [1], slit 40-50 [2]"},
		"the other one is late": {nil, []Turn{turn("hollow", 0, 40, 2), turn("draw", 0, 20, 1), turn("cut", 20, 40, 1), turn("slit", 40, 50, 2)}, []string{"draw", "cut"}, 39,
			"hollow 0-59 [2], slit 59-69 [2]"},
		"the other one is later": {nil, []Turn{turn("hollow", 0, 40, 2), turn("draw", 0, 20, 1), turn("cut", 20, 40, 1), turn("slit", 40, 50, 2)}, []string{"draw"}, 79,
			"hollow 0-99 [2], cut 79-99 [1], slit 99-109 [2]"},
		"nobody began it": {nil, []Turn{turn("hollow", 0, 40, 2), turn("draw", 0, 20, 1), turn("cut", 20, 40, 1), turn("slit", 40, 50, 2)}, []string{"draw"}, 80,
			"hollow 80-120 [2], cut 80-100 [1], slit 120-130 [2]"},
		"each is at one": {nil, []Turn{turn("hollow", 0, 40, 2), turn("draw", 0, 20, 1), turn("cut", 20, 40, 1), turn("slit", 40, 50, 2)}, nil, 25,
			"hollow 0-45 [2], draw 0-35 [1], cut 35-55 [1], slit 45-55 [2]"},
		"what nobody was to do is for whoever is free": {[]steps.Stage{one("tail", hands("block", "15 min"))},
			[]Turn{turn("hollow", 0, 40, 2), turn("draw", 0, 20, 1), turn("cut", 20, 40, 1), turn("slit", 40, 50, 2)}, []string{"draw"}, 20,
			"hollow 0-40 [2], cut 20-40 [1], slit 40-50 [2], block 40-55 [1]"},
		"in a plan for one nobody was": {nil, []Turn{turn("hollow", 0, 40), turn("draw", 40, 60), turn("cut", 60, 80), turn("slit", 80, 90)}, nil, 10,
			"hollow 10-50 [1], draw 10-30 [2], cut 30-50 [2], slit 50-60 [2]"},
		"who isn't there any more is at nothing": {nil, []Turn{turn("hollow", 0, 40, 3), turn("draw", 0, 20, 2), turn("cut", 20, 40, 2), turn("slit", 40, 50, 3)}, nil, 10,
			"draw 0-20 [2], hollow 10-50 [1], cut 20-40 [2], slit 50-60 [2]"},
	} {
		t.Run(name, func(t *testing.T) {
			b := working(t, stages(test.more...)...)
			for _, step := range test.done {
				b.done(step)
			}
			b.now = evening.Add(minutesOf(test.at))
			p, err := scheduled(t, b.now, Hours{Sittings: open(0, 180), Hands: 2, Like: shown(b, test.shown...)}, b.state)
			if got := whoDoes(p); err != nil || got != test.want {
				t.Errorf("%v\n%s, want\n%s", err, got, test.want)
			}
		})
	}
	// What both are at makes way for a join that would be lost.
	b := working(t, one("pod", hands("hollow", "40 min")), one("glue", coating("coat", "tab"), joining("join", "tab")), one("wing", hands("draw", "40 min")))
	b.done("coat") // its window is open from 10 to 40 minutes after
	b.now = evening.Add(30 * time.Minute)
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 180), Hands: 2, Like: shown(b, turn("hollow", 0, 40, 2), turn("draw", 0, 40, 1), turn("join", 40, 41, 1))}, b.state)
	if got := whoDoes(p); err != nil || len(p.Lapses) > 0 || got != "draw 30-70 [1], join 30-31 [2], hollow 31-71 [2]" {
		t.Errorf("%v %+v %s", err, p.Lapses, got)
	}
	// They go on where it is lost all the same.
	b.now = evening.Add(40 * time.Minute)
	p, err = scheduled(t, b.now, Hours{Sittings: open(0, 180), Hands: 2, Like: shown(b, turn("hollow", 5, 45, 2), turn("draw", 10, 50, 1), turn("join", 50, 51, 1))}, b.state)
	if got := whoDoes(p); err != nil || len(p.Lapses) != 1 || !strings.HasPrefix(got, "hollow 5-60 [2], draw 10-60 [1], ") {
		t.Errorf("%v %+v %s", err, p.Lapses, got)
	}
}

// Whoever has begun a coat, sooner than was planned, stays at it when it is planned anew.
func TestScheduleKeepsWhoHasBegunACoat(t *testing.T) {
	for _, begun := range []bool{true, false} { // else it may be anybody's
		coat := coating("coat", "tab")
		coat.Hands = q("4 min")
		b := working(t, one("bed", hands("bed", "15 min")), one("glue", hands("cut", "12 min"), coat, joining("join", "tab")))
		row := func(step string, from, to int, who int) Turn {
			return Turn{Mark: b.state.Airframe.Mark, Job: b.state.Jobs[0].ID, Step: step, Begins: evening.Add(minutesOf(from)), Ends: evening.Add(minutesOf(to)), Hands: []int{who}}
		}
		like := &Timetable{Hands: 2, Visits: []Visit{{Sitting: open(0, 180)[0], Turns: []Turn{row("cut", 0, 12, 2), row("coat", 12, 16, 2), row("bed", 16, 31, 2), row("join", 26, 27, 2)}}}}
		b.after(8 * time.Minute)
		b.done("cut")
		b.after(time.Minute)
		if begun {
			b.must(Begin{Step: "coat", Began: b.now})
		}
		b.after(time.Minute)
		p, err := scheduled(t, b.now, Hours{Sittings: open(0, 180), Hands: 2, Like: like}, b.state)
		who := whoDoes(p)
		if err != nil || begun && who != "coat 10-13 [2], bed 10-25 [1], join 23-24 [2]" {
			t.Errorf("begun %t: %v %s", begun, err, who)
		}
	}
}

// Who is at what goes on in a plan for several, also in the first one: what they were led to, or what comes first where they recorded
// something since.
func TestAFirstPlanKeepsWhoIsAtWhat(t *testing.T) {
	stages := []steps.Stage{one("pod", hands("hollow", "40 min"), hands("slit", "10 min")), one("wing", hands("draw", "20 min"), hands("cut", "20 min"))}
	const (
		firstIsFirst  = "hollow 0-40 [1], draw 0-20 [2], cut 20-40 [2], slit 40-50 [2]"
		secondIsFirst = "hollow 0-40 [2], draw 0-20 [1], cut 20-40 [1], slit 40-50 [1]"
	)
	for name, test := range map[string]struct{ at, want string }{
		"nobody is at anything":            {"", firstIsFirst},
		"one was led to the first step":    {"2 PL-01 JOB/hollow", secondIsFirst},
		"one was led to the second":        {"1 PL-01 JOB/draw", secondIsFirst},
		"each was led to one":              {"1 PL-01 JOB/draw\n2 PL-01 JOB/hollow", secondIsFirst},
		"one recorded something":           {"2 PL-01 ", secondIsFirst},
		"one was led to what is over":      {"2 PL-01 JOB/begin", secondIsFirst},
		"one is at another airframe":       {"2 PL-09 JOB/hollow", firstIsFirst},
		"one is none whom the plan is for": {"3 PL-01 JOB/hollow", firstIsFirst},
	} {
		b := working(t, stages...)
		b.now = evening
		at := strings.NewReplacer("PL-01", b.state.Airframe.Mark, "JOB", b.state.Jobs[0].ID).Replace(test.at)
		s := b.state.Seated(Seat{By: "Bob", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: ledSo(at, evening)})
		p, err := scheduled(t, b.now, Hours{Sittings: open(0, 180), Hands: 2}, s)
		if got := whoDoes(p); err != nil || got != test.want {
			t.Errorf("%s: %v\n%s, want\n%s", name, err, got, test.want)
		}
	}
}

// Whoever recorded something last beside what is plugged in has it by a plan too, also where they looked at another airframe since.
func TestAFirstPlanTakesNobodyFromAPlug(t *testing.T) {
	fleet := powered(t, []string{"plug"}, []steps.Step{hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min")}, one("plain", hands("sand", "20 min")))
	by := fleet[0].Entries[len(fleet[0].Entries)-1].By
	now := fleet[0].Entries[len(fleet[0].Entries)-1].Recorded
	for i, s := range fleet {
		fleet[i] = s.Seated(Seat{By: "Bob", Who: 1, Known: 4, Here: 4, Names: "2 " + by, At: ledSo("2 PL-01 "+fleet[1].Jobs[0].ID+"/sand", evening)})
	}
	p, err := scheduled(t, now, Hours{Sittings: open(0, 180), Hands: 2}, fleet...)
	if err != nil {
		t.Fatal(err)
	}
	for _, turn := range p.Visits[0].Turns {
		if want := map[string]int{"try": 2, "pull": 2, "sand": 1}[turn.Step]; len(turn.Hands) != 1 || turn.Hands[0] != want {
			t.Errorf("%s is for %v, want %d", turn.Step, turn.Hands, want)
		}
	}
}
