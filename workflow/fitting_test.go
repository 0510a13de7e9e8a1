package workflow

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// leave is what is done until nothing is left to do, by whoever does what is next and needs as long as is written.
func (b *bench) leave(planned []Planned) string {
	b.t.Helper()
	var all []string
	for range 20 {
		g := b.state.NextBut(b.now, nil, planned)
		switch {
		case g.Over || g.Step == nil && g.Until.IsZero():
			return strings.Join(all, " ")
		case g.Step == nil:
			b.after(g.Until.Sub(b.now))
			continue
		}
		b.after(max(time.Minute, handsOf(&g.Step.Step)))
		if r := b.step(g.Step.Step.Name); r.Progress != Ready {
			return strings.Join(append(all, "LAPSED"), " ")
		}
		b.done(g.Step.Step.Name)
		all = append(all, g.Step.Step.Name)
	}
	return strings.Join(all, " ")
}

// Joints that are open at once are joined one after the other: what fits in before one of them leaves time for all. Each is open from
// 10 to 40 minutes after its coat.
func TestNextLeavesTimeForAllThatIsDue(t *testing.T) {
	for _, test := range []struct {
		joints, trim int
		want         string
	}{
		{2, 17, "trim join-0 join-1"},
		{2, 19, "join-0 join-1 trim"},
		{2, 25, "join-0 join-1 trim"},
		{3, 9, "trim join-0 join-1 join-2"},
		{3, 17, "join-0 join-1 join-2 trim"},
		{3, 25, "join-0 join-1 join-2 trim"},
	} {
		stages := []steps.Stage{one("trim", hands("trim", fmt.Sprintf("%d min", test.trim)))}
		for k := range test.joints {
			join := joining(fmt.Sprintf("join-%d", k), fmt.Sprintf("tab%d", k))
			join.Hands = q("8 min")
			stages = append(stages, one(fmt.Sprintf("glue%d", k), coating(fmt.Sprintf("coat-%d", k), join.Joint), join))
		}
		b := working(t, stages...)
		for k := range test.joints {
			b.done(fmt.Sprintf("coat-%d", k))
		}
		if got := b.leave(nil); got != test.want {
			t.Errorf("%d joints, trim %d min: %s, want %s", test.joints, test.trim, got, test.want)
		}
	}
}

// What two people join is not joined one after the other.
func TestNextLeavesEachOfSeveralTheirOwnTime(t *testing.T) {
	var stages []steps.Stage
	for _, name := range []string{"left", "right"} {
		join := joining("join-"+name, name)
		join.Hands = q("15 min")
		stages = append(stages, one(name, coating("coat-"+name, name), join))
	}
	b := working(t, append(stages, one("trim", hands("trim", "16 min")))...)
	b.done("coat-left", "coat-right")
	job := b.state.Jobs[0].ID
	for _, other := range []int{1, 2} {
		g := b.state.NextBut(b.now, nil, []Planned{
			{Job: job, Step: "trim", Begins: b.now, Minutes: 16, Hands: []int{1}},
			{Job: job, Step: "join-left", Begins: b.now.Add(16 * time.Minute), Minutes: 15, Hands: []int{1}},
			{Job: job, Step: "join-right", Begins: b.now.Add(16 * time.Minute), Minutes: 15, Hands: []int{other}},
		})
		if (g.Step != nil) != (other == 2) {
			t.Errorf("person %d joins the other: next is %v", other, g.Step)
		}
	}
}

// The step after a wait with an end must be done by then: its minutes are left to it, and a wait that is soon over is waited for.
func TestNextLeavesTimeForWhatFollowsAWait(t *testing.T) {
	for _, test := range []struct{ plan, want string }{
		{"13 min", "plan coat join"},
		{"14 min", "coat plan join"},
		{"24 min", "coat join plan"},
		{"40 min", "coat join plan"},
	} {
		soak := wait("soak", "10 min")
		soak.By, soak.From = q("30 min"), "wet"
		coat := coating("coat", "tab")
		coat.Hands = q("12 min")
		b := working(t, one("plan", hands("plan", test.plan)), one("glue", plain("wet"), soak, coat, joining("join", "tab")))
		b.done("wet")
		if got := b.leave(nil); got != test.want {
			t.Errorf("plan %s: %s, want %s", test.plan, got, test.want)
		}
	}
}

// What else comes before a join keeps its minutes too: a wait that begins once something is done, and the stages before its own.
// The joint is open from 10 to 40 minutes after its coat.
func TestNextLeavesTimeForAllThatComesBeforeAJoin(t *testing.T) {
	passing := func(plan string) *bench {
		return working(t, one("plan", hands("short", "1 min"), hands("plan", plan)),
			one("glue", coating("coat", "tab"), hands("sand", "2 min"), wait("air", "20 min"), joining("join", "tab")))
	}
	stages := func(plan string) *bench {
		return working(t, one("plan", hands("short", "1 min"), hands("plan", plan)), one("glue", coating("coat", "tab")), one("tidy", hands("tidy", "20 min")),
			steps.Stage{Name: "join", After: []string{"glue", "tidy"}, Steps: []steps.Step{joining("join", "tab")}})
	}
	for _, test := range []struct {
		of         func(plan string) *bench
		plan, want string
	}{
		{passing, "5 min", "plan sand join"},
		{passing, "20 min", "sand plan join"}, // while it passes
		{passing, "35 min", "sand join plan"},
		{stages, "5 min", "plan tidy join"},
		{stages, "14 min", "tidy join plan"},
		{stages, "25 min", "tidy join plan"},
	} {
		b := test.of(test.plan)
		b.done("coat", "short")
		if got := b.leave(nil); got != test.want {
			t.Errorf("plan %s: %s, want %s", test.plan, got, test.want)
		}
	}
}

// A join is waited for, rather than that what takes too long is begun, also where a wait before it is over sooner than its coat is dry.
func TestNextWaitsForAJoinWhoseWaitEndsFirst(t *testing.T) {
	for _, air := range []string{"5 min", "10 min", "12 min"} {
		join := joining("join", "tab")
		join.Hands = q("2 min")
		b := working(t, one("glue", coating("coat", "tab"), wait("air", air), join), one("cut", hands("cut", "38 min")))
		b.done("coat")
		if got := b.leave(nil); got != "join cut" {
			t.Errorf("a wait of %s: %s", air, got)
		}
	}
}

// The other face of a joint comes before a join that is open where it must be begun earlier. Both joints are open from 10 to 40 minutes
// after their coats.
func TestNextCoatsAFaceBeforeAnOpenJoin(t *testing.T) {
	join0, join1, face := joining("join-0", "tab0"), joining("join-1", "tab1"), coating("face-0", "tab0")
	join0.Hands, join1.Hands, face.Hands = q("4 min"), q("15 min"), q("3 min")
	b := working(t, one("s0", coating("coat-0", "tab0"), face, hands("sand-0", "4 min"), join0), one("s1", coating("coat-1", "tab1"), join1))
	b.done("coat-1")
	b.after(9 * time.Minute)
	b.done("coat-0")
	b.after(10 * time.Minute)
	var planned []Planned
	for _, p := range []struct {
		step        string
		from, takes int
	}{{"face-0", 19, 3}, {"join-1", 22, 15}, {"sand-0", 37, 4}, {"join-0", 41, 4}} {
		planned = append(planned, Planned{Job: b.state.Jobs[0].ID, Step: p.step, Begins: evening.Add(minutesOf(p.from)), Minutes: p.takes, Leave: evening.Add(10 * time.Hour)})
	}
	if got := b.leave(planned); got != "face-0 join-1 sand-0 join-0" {
		t.Error(got)
	}
}

// What a join waits for comes before another one that is open where it must be begun earlier, and that one can wait for it. Both joints are
// open from 10 to 40 minutes after their coats, and a wait of 5 minutes comes before the first one.
func TestNextTakesWhatAJoinWaitsForBeforeAnOpenOne(t *testing.T) {
	for _, test := range []struct {
		at, sand, join int
		want           string
	}{
		{28, 5, 5, "sand-0 join-1 join-0"},         // joined last, tab0 would lapse
		{20, 5, 5, "join-1 sand-0 join-0"},         // there is time for both
		{20, 5, 12, "sand-0 join-1 join-0"},        // not for one that takes as long
		{28, 5, 17, "join-1 coat-0 sand-0 join-0"}, // the other one would be lost
		{31, 5, 5, "join-1 LAPSED"},                // it can't be met any more
	} {
		sand, join0, join1 := hands("sand-0", fmt.Sprintf("%d min", test.sand)), joining("join-0", "tab0"), joining("join-1", "tab1")
		join0.Hands, join1.Hands = q("1 min"), q(fmt.Sprintf("%d min", test.join))
		b := working(t, one("one", coating("coat-0", "tab0"), sand, wait("air", "5 min"), join0), one("two", coating("coat-1", "tab1"), join1))
		b.done("coat-0")
		b.after(9 * time.Minute)
		b.done("coat-1")
		b.now = evening.Add(minutesOf(test.at))
		if got := b.leave(nil); got != test.want {
			t.Errorf("at %d, sand for %d and join for %d min: %s, want %s", test.at, test.sand, test.join, got, test.want)
		}
	}
}

// The other face dries while what is left before the join is done: coated by 23 it is joined in time, by 40.
func TestNextDoesNotGiveUpAFaceTooSoon(t *testing.T) {
	join, face := joining("join", "tab"), coating("face", "tab")
	join.Hands, face.Hands = q("4 min"), q("3 min")
	for _, at := range []int{14, 16, 20, 23} {
		b := working(t, one("tidy", hands("tidy", "30 min")), one("glue", coating("coat", "tab"), face, hands("sand", "8 min"), join))
		b.done("coat")
		b.after(minutesOf(at))
		if got := b.leave(nil); got != "face sand join tidy" {
			t.Errorf("at %d: %s", at, got)
		}
	}
}

// nextIn is what is next so many minutes from now, and why.
func (b *bench) nextIn(minutes int, planned []Planned) (step, why string) {
	g := b.state.NextBut(b.now.Add(minutesOf(minutes)), nil, planned)
	if g.Step == nil {
		return "", ""
	}
	return g.Step.Step.Name, g.Why
}

// Where nothing is left to spare before a join, what the join itself waits for still comes first, as long as both can be done.
func TestNextTakesWhatTheJoinWaitsFor(t *testing.T) {
	b := working(t, one("plan", hands("plan", "34 min")), one("tidy", hands("tidy", "4 min")),
		one("glue", coating("coat", "tab"), hands("sand", "2 min"), joining("join", "tab")))
	b.done("coat")
	for _, test := range []struct {
		at   int
		want string
	}{
		{0, "sand"}, {31, "sand"}, {32, "sand"}, {36, "sand"}, {37, "sand"}, {38, "plan"},
	} {
		if got, why := b.nextIn(test.at, nil); got != test.want || test.at > 32 && !strings.Contains(why, "joint tab must be joined") {
			t.Errorf("at %d min next is %s, %q, want %s", test.at, got, why, test.want)
		}
	}
	b.done("sand")
	b.after(35 * time.Minute)
	b.next("join", "its window is open")
	b = working(t, one("plan", hands("plan", "34 min")), one("glue", coating("coat", "tab")), one("tidy", hands("tidy", "4 min")),
		steps.Stage{Name: "join", After: []string{"glue", "tidy"}, Steps: []steps.Step{joining("join", "tab")}})
	b.done("coat")
	if got, _ := b.nextIn(34, nil); got != "tidy" { // of what has nothing to spare, what still leaves time
		t.Errorf("next is %s", got)
	}
}

// The other face of a joint is coated before anything else, whoever does it, and by when the joint must be joined is said; so is it
// where it can't dry in time any more. The first coat must be joined within 40 minutes, and the other one dries for 10.
func TestNextCoatsTheOtherFace(t *testing.T) {
	b := working(t, one("tidy", hands("tidy", "5 min")), one("glue", coating("coat-left", "tab"), coating("coat-right", "tab"), joining("join", "tab")))
	job := b.state.Jobs[0].ID
	b.done("coat-left")
	planned := func(at int) []Planned {
		return []Planned{{Job: job, Step: "tidy", Begins: b.now, Minutes: 5, Hands: []int{2}},
			{Job: job, Step: "coat-right", Begins: b.now.Add(minutesOf(at)), Minutes: 1, Hands: []int{1}},
			{Job: job, Step: "join", Begins: b.now.Add(20 * time.Minute), Minutes: 1, Hands: []int{1}}}
	}
	const none, first, late = "-", "its other face is coated; joint tab must be joined", "this face can't dry in time"
	for _, test := range []struct {
		at      int
		planned []Planned
		want    string
		why     string
	}{
		{0, nil, "coat-right", none}, // in its place, with time
		{0, planned(0), "coat-right", first},
		{2, planned(5), "tidy", ""}, // as planned
		{6, planned(5), "coat-right", first},
		{29, nil, "coat-right", first},
		{29, planned(0), "coat-right", first},
		{30, planned(0), "tidy", ""},
	} {
		if got, why := b.nextIn(test.at, test.planned); got != test.want || test.why == none && why != "" || test.why != none && test.why != "" && !strings.Contains(why, test.why) {
			t.Errorf("at %d min next is %s, %q, want %s, %q", test.at, got, why, test.want, test.why)
		}
	}
	b.done("tidy")
	if got, why := b.nextIn(30, nil); got != "coat-right" || !strings.Contains(why, late) || !strings.Contains(why, "takes 11 min; joint tab must be joined") {
		t.Errorf("next is %s, %q", got, why)
	}
}

// Whoever is led past the coat or the join of somebody else who is at it is told of that, and by when it must be joined.
func TestWhoIsAtAnOpenCoatIsSaid(t *testing.T) {
	b := working(t, one("tidy", hands("tidy", "5 min")), one("glue", coating("coat-left", "tab"), coating("coat-right", "tab"), joining("join", "tab")))
	b.done("coat-left")
	closes := b.now.Add(40 * time.Minute)
	is := func(name, at, want string, by time.Time) {
		t.Helper()
		if at != "" {
			at = "1 " + b.state.Airframe.Mark + " " + b.state.Jobs[0].ID + "/" + at
		}
		s := b.state.Seated(Seat{By: "Ben", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: ledSo(at, b.now)})
		g := s.Next(b.now)
		got, due := "", time.Time{}
		if r, who := g.Held(); r != nil {
			if due = g.DueBy(r); !due.IsZero() {
				got = fmt.Sprint(r.Step.Name, " by ", who)
			}
		}
		if got != want || !due.Equal(by) || want != "" && g.Step.Step.Name != "tidy" {
			t.Errorf("%s: led to %s past %q, due at %v; want %q, %v", name, g.Step.Step.Name, got, due, want, by)
		}
	}
	is("nobody is known to be there", "", "", time.Time{})
	is("Ann is at the other face", "coat-right", "coat-right by 1", closes)
	is("Ann is at what isn't due", "tidy", "", time.Time{})
	late := b.state.Seated(Seat{By: "Ben", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: ledSo("1 "+b.state.Airframe.Mark+" "+b.state.Jobs[0].ID+"/coat-right", b.now)})
	if g := late.Next(b.now.Add(29 * time.Minute)); g.Step.Step.Name != "tidy" || strings.HasSuffix(strings.TrimSpace(g.Why), ";") {
		t.Errorf("of %s it is said %q", g.Step.Step.Name, g.Why)
	}
	b.done("coat-right")
	b.after(15 * time.Minute)
	is("Ann is at the join", "join", "join by 1", closes)
	b.done("tidy")
	s := b.state.Seated(Seat{By: "Ben", Who: 2, Known: 2, Here: 2, Names: "1 Ann", At: ledSo("1 "+b.state.Airframe.Mark+" "+b.state.Jobs[0].ID+"/join", b.now)})
	g := s.Next(b.now)
	if r, _ := g.Held(); r != nil || !g.Theirs || !g.DueBy(g.Step).Equal(closes) {
		t.Errorf("nothing else is left: past %v; %+v", r, g)
	}
}

// On a bench with several airframes a join that is due is waited for, rather than that a step of another one is begun that costs it.
func TestForemostWaitsForWhatIsDue(t *testing.T) {
	join := joining("join", "tab")
	join.Hands = q("10 min")
	coated := working(t, one("glue", coating("coat", "tab"), join))
	coated.done("coat")
	coated.state.Airframe.Mark = "PL-09"
	for length, want := range map[string]string{"38 min": "PL-09", "10 min": "PL-01"} {
		other := working(t, one("plan", hands("plan", length)))
		other.state.Airframe.Mark = "PL-01"
		beside := other.state.Beside([]*State{coated.state})
		if got := Foremost([]*State{coated.state, beside}, coated.now).Airframe.Mark; got != want {
			t.Errorf("beside a step of %s it is %s, want %s", length, got, want)
		}
	}
	// The other one of two does a step that takes longer, and is told of the join; nobody else does.
	other := working(t, one("plan", hands("plan", "38 min")))
	other.state.Airframe.Mark = "PL-01"
	for _, test := range []struct {
		step, join []int
		want       string
		waits      bool // for what is due for whoever does the step
	}{{[]int{2}, []int{1}, "PL-01", true}, {[]int{1}, []int{1}, "PL-09", false}, {[]int{1, 2}, []int{1}, "PL-09", false}, {[]int{2}, nil, "PL-09", false}, {nil, []int{1}, "PL-09", false}} {
		joins := *coated.state
		joins.Planned = []Planned{{Job: joins.Jobs[0].ID, Step: "join", Begins: coated.now.Add(10 * time.Minute), Minutes: 10, Hands: test.join}}
		beside := other.state.Beside([]*State{&joins})
		beside.Planned = []Planned{{Job: beside.Jobs[0].ID, Step: "plan", Begins: coated.now, Minutes: 38, Hands: test.step}}
		if got := Foremost([]*State{&joins, beside}, coated.now).Airframe.Mark; got != test.want {
			t.Errorf("a step of %v beside a join of %v: it is %s", test.step, test.join, got)
		}
		g := beside.Next(coated.now)
		if len(g.Beside) != 1 || joins.CanWaitFor(g.Step, beside, false, coated.now) || joins.CanWaitFor(g.Step, beside, true, coated.now) != test.waits {
			t.Errorf("a step of %v beside a join of %v: %+v", test.step, test.join, g.Beside)
		}
	}
}

// A plan that was made without an airframe keeps no time for its coat. Whoever goes by it is free when that opens, and doesn't use the
// window to its last minute by a step that they may be slow at.
func TestAPlanOfOthersLeavesACoatItsWholeWindow(t *testing.T) {
	join := joining("join", "tab")
	join.Hands = q("4 min")
	coated := working(t, one("glue", coating("coat", "tab"), join)) // open from 10 min to 40 min, of which 6 min are to spare
	coated.done("coat")
	coated.state.Airframe.Mark = "PL-09"
	closes := coated.state.Timers(coated.now)[0].Closes
	opens := coated.state.Timers(coated.now)[0].Opens
	for _, test := range []struct {
		length, planned string // of the step; the airframe that a plan has
		over            bool   // the sitting of the plan is
		want            string
	}{
		{"20 min", "", false, "PL-01"}, // it can be joined after it
		{"20 min", "PL-01", false, "PL-09"},
		{"20 min", "PL-01", true, "PL-01"},
		{"20 min", "PL-02", false, "PL-09"}, // nor is a step begun that no plan has
		{"5 min", "PL-01", false, "PL-01"},
	} {
		other := working(t, one("sand", hands("sand", test.length)))
		other.state.Airframe.Mark = "PL-01"
		beside := other.state.Beside([]*State{coated.state})
		if test.planned != "" {
			leave := coated.now.Add(time.Hour)
			if test.over {
				leave = coated.now.Add(-time.Minute)
			}
			beside.Plans = map[string][]Planned{test.planned: {{Job: beside.Jobs[0].ID, Step: "sand", Begins: coated.now, Leave: leave}}}
			beside.Planned = beside.Plans["PL-01"]
		}
		if got := Foremost([]*State{coated.state, beside}, coated.now).Airframe.Mark; got != test.want {
			t.Errorf("with a plan of %q, over %t, beside a step of %s it is %s, want %s", test.planned, test.over, test.length, got, test.want)
		}
		g := beside.Next(coated.now)
		if told := len(g.Beside) == 1 && g.Beside[0].Opens.Equal(opens) && g.Beside[0].Closes.Equal(closes); told != (test.want == "PL-09") || coated.state.CanWaitFor(g.Step, beside, false, coated.now) == told {
			t.Errorf("with a plan of %q, over %t, beside a step of %s the clocks are told: %+v", test.planned, test.over, test.length, g.Beside)
		}
	}
}

// A coat that damage keeps from its join is not due: nothing waits for it, here or on another airframe.
func TestNothingWaitsForAJoinThatDamageKeeps(t *testing.T) {
	other := working(t, one("cut", hands("cut", "38 min")))
	other.state.Airframe.Mark = "PL-02"
	for _, damaged := range []bool{false, true} {
		b := building(t)
		b.done("coat-left")
		b.after(time.Minute)
		b.done("coat-right")
		if damaged {
			b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
		}
		b.after(12 * time.Minute)
		dues := b.state.dues(b.now, nil, b.state)
		_, what := soonest(dues)
		beside := other.state.Beside([]*State{b.state}).Next(b.now).Beside
		if due := len(dues) > 0; due == damaged || (what != "") == damaged || (len(beside) > 0) == damaged {
			t.Errorf("damaged %t: due %t, %q, beside %+v", damaged, due, what, beside)
		}
	}
}

// A join is in reach also while a wait before it passes, as long as its window is open once that is over.
func TestAJoinIsInReachAfterAWait(t *testing.T) {
	for air, want := range map[string]bool{"": true, "5 min": true, "15 min": true, "45 min": false} {
		all := []steps.Step{coating("coat", "tab"), joining("join", "tab")}
		if air != "" {
			all = []steps.Step{all[0], wait("air", air), all[1]}
		}
		b := working(t, one("glue", all...))
		b.done("coat")
		timers := b.state.Timers(b.now)
		i := slices.IndexFunc(timers, func(t Timer) bool { return t.Joint })
		if w := (Lapse{Job: timers[i].Job, Name: timers[i].Name, Closes: timers[i].Closes}); b.state.InReach(w, b.now) != want || b.state.InReach(w, w.Closes.Add(time.Second)) {
			t.Errorf("with a wait of %q between: in reach %t", air, !want)
		}
	}
}

// What a join waits for comes first also where another one is due later, for which nothing is left to do.
func TestNextTakesWhatTheFirstOfTwoJoinsWaitsFor(t *testing.T) {
	b := working(t, one("plan", hands("plan", "34 min")), one("glue", coating("coat", "tab"), hands("sand", "2 min"), joining("join", "tab")), one("fin", coating("coat-fin", "fin"), joining("join-fin", "fin")))
	b.done("coat")
	b.after(34 * time.Minute)
	b.done("coat-fin")
	if got, _ := b.nextIn(2, nil); got != "sand" {
		t.Errorf("next is %q", got)
	}
}

// What the plan has late in a window still leaves what is spared of it.
func TestNextSparesOfAWindowWhatThePlanDoesNot(t *testing.T) {
	for long, want := range map[string]string{"33 min": "trim", "35 min": ""} {
		b := working(t, one("trim", hands("trim", long)), one("glue", coating("coat", "tab"), joining("join", "tab")))
		b.done("coat")
		planned := []Planned{{Job: b.state.Jobs[0].ID, Step: "join", Begins: b.now.Add(38 * time.Minute), Minutes: 1}}
		if got, _ := b.nextIn(0, planned); got != want {
			t.Errorf("trim of %s: next is %q, want %q", long, got, want)
		}
	}
}

// A face that can't dry in time any more takes no time from another join.
func TestAMissedFaceTakesNoTime(t *testing.T) {
	b := working(t, one("tidy", hands("tidy", "1 min")), one("one", coating("coat-tab", "tab"), joining("join-tab", "tab")), one("two", coating("coat-left", "fin"), coating("coat-right", "fin"), joining("join-fin", "fin")))
	b.done("coat-tab")
	b.after(time.Minute)
	b.done("coat-left")
	for at, want := range map[int]bool{25: false, 30: true} { // it must be joined 40 min after the first face, and the other dries for 10
		now, tidy := b.now.Add(minutesOf(at)), b.step("tidy")
		if got := b.state.CanWaitFor(&tidy, b.state, false, now); got != want {
			t.Errorf("after %d min the joins can wait: %v", at, got)
		}
	}
}

// Of two joints of another airframe the one is told of that can't wait.
func TestOneOfTwoJointsBeside(t *testing.T) {
	both := working(t, one("one", coating("coat-left", "left"), joining("join-left", "left")), one("two", coating("coat-right", "right"), joining("join-right", "right")))
	both.done("coat-left")
	both.after(8 * time.Minute)
	both.done("coat-right")
	both.state.Airframe.Mark = "PL-02"
	b := working(t, one("plan", hands("plan", "30 min")))
	g := b.state.Beside([]*State{both.state}).Next(both.now)
	if len(g.Beside) != 1 || g.Beside[0].Name != "left" {
		t.Errorf("beside it: %+v", g.Beside)
	}
}

// The other face of a joint, planned after the window of the first, is that of another coat: the one that is due now has no time of a
// plan, and comes first as without one. Planned in time, it is at its time.
func TestTheTimeOfASecondCoatIsNotThatOfTheFirst(t *testing.T) {
	b := working(t, one("tidy", hands("tidy", "4 min")), one("glue", coating("left", "tab"), coating("right", "tab"), joining("join", "tab")))
	b.done("left")
	b.after(time.Minute)
	row := func(step string, at int) Planned {
		return Planned{Job: "work", Step: step, Begins: b.now.Add(minutesOf(at)), Minutes: 1, Leave: b.now.Add(minutesOf(at + 60))}
	}
	for at, planned := range map[int]bool{0: true, 8: true, 3000: false} {
		g := b.state.NextBut(b.now, nil, []Planned{row("tidy", 0), row("right", at), row("join", at+11)})
		if step := g.Step.Step.Name; at != 8 && step != "right" || step == "right" && g.Planned.IsZero() == planned {
			t.Errorf("planned in %d min, next is %s, planned for %s", at, step, g.Planned)
		}
	}
}
