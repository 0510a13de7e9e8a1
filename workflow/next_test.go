package workflow

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// NextBut is what is next where nobody else is at anything.
func (s *State) NextBut(now time.Time, putOff func(StepReport) bool, planned []Planned) Suggestion {
	return s.NextBeside(now, putOff, nil, planned)
}

// next asserts which step is suggested, "" for none, and what is said with it.
func (b *bench) next(step, why string) Suggestion {
	b.t.Helper()
	s := b.state.Next(b.now)
	have := ""
	if s.Step != nil {
		have = s.Step.Step.Name
	}
	if have != step || why == "" && s.Why != "" || !strings.Contains(s.Why, why) {
		b.t.Errorf("next is %q, %q; want %q, %q", have, s.Why, step, why)
	}
	for _, w := range s.Waiting {
		if w.Step.Name == have || w.Progress != Waiting {
			b.t.Errorf("%s waits, and is %s", w.Step.Name, w.Progress)
		}
	}
	return s
}

func (b *bench) waitingFor(s Suggestion, names ...string) {
	b.t.Helper()
	var have []string
	for _, w := range s.Waiting {
		have = append(have, w.Step.Name)
	}
	if strings.Join(have, " ") != strings.Join(names, " ") {
		b.t.Errorf("waiting are %v, want %v", have, names)
	}
}

// hands is a plain step that takes so long.
func hands(name, of string) steps.Step {
	s := plain(name)
	s.Hands = q(of)
	return s
}

func one(name string, all ...steps.Step) steps.Stage { return steps.Stage{Name: name, Steps: all} }

// Without an open job it is said what keeps the airframe from flying: what happened
// to it, then the gates; of one that is not built nothing but that.
func TestWhatIsDue(t *testing.T) {
	is := func(b *bench, want string) {
		t.Helper()
		got := ""
		for _, r := range b.state.Next(b.now).Due {
			got += fmt.Sprintf("%s %s%s; ", r.Remedy.Kind, r.Remedy.Gate, r.Remedy.Name)
		}
		if got != want {
			t.Errorf("due is %q, want %q", got, want)
		}
	}
	damage := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "crushed by a boot", Zone: "wing", Severity: steps.Slight}}}
	b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("look")}})
	is(b, "")
	b.done("look")
	is(b, "") // a check of what is not built
	b.must(damage)
	is(b, "repair ; clear D1; ") // where a quarantine exists, own words open it

	b = released(t)
	is(b, "")
	b.must(damage)
	is(b, "repair ; clear D1; measure slot; measure square; ")
	b = released(t)
	b.must(LogFlight{Landing: Hard, Check: "look"})
	is(b, "start look; ")
}

// What looks over a damaged airframe comes first, also where only a check is due; what
// comes before a flight waits.
func TestWhichJobsComeFirst(t *testing.T) {
	job := func(name, flight string) *Job {
		return &Job{ID: name, Procedure: &steps.Procedure{Name: name, Kind: steps.Check, Flight: flight}}
	}
	for _, test := range []struct {
		act   Request
		other Rank
	}{{puffed("pod"), RankLooksOver}, {LogFlight{Landing: Hard, Check: "look"}, 0}} { // which looks over no hard landing
		b := packed(t)
		b.must(test.act)
		if turn := b.state.turns([]*Job{job("flight", steps.EachFlight), job("look", ""), job("other", "")}, b.now); turn["look"] != RankLooksOver || turn["flight"] != 0 || turn["other"] != test.other {
			t.Errorf("after %T the turns are %v", test.act, turn)
		}
	}
}

func TestNextStaysInTheStageLastWorkedOn(t *testing.T) {
	b := building(t)
	if s := b.next("coat-left", ""); s.Over {
		t.Error("it is over before it was begun")
	}
	b.done("propeller-off")
	off := b.state.Size() - 1
	b.next("blade-care", "")
	b.must(Undo{Position: off}) // then nothing was worked on
	b.next("coat-left", "")
	b.done("coat-left", "coat-right", "propeller-off")
	b.next("blade-care", "") // of the stage worked on, though join-roots waits

	b = released(t)
	if s := b.next("", ""); !s.Over || !s.Until.IsZero() {
		t.Errorf("released, it goes on: %+v", s)
	}
}

// What fits in leaves the join its minutes and a fifth of its window: 33 of the 40 minutes until it closes, of which it is open for 30
// and takes 1. What takes longer is not begun meanwhile, and where the join waits for it as well, it is said.
func TestNextTakesWhatFitsInBeforeAJointIsJoined(t *testing.T) {
	b := working(t, one("plan", hands("plan", "34 min")), one("trim", hands("trim", "33 min")), one("glue", coating("coat", "tab"), joining("join", "tab")))
	b.next("plan", "")
	b.done("coat")
	b.next("trim", `while "join" waits`)
	b.done("trim")
	if s := b.next("", ""); s.Until.Sub(b.now) != 10*time.Minute {
		t.Errorf("it waits until %v", s.Until)
	}
	between := working(t, one("glue", coating("coat", "tab"), hands("trim", "34 min"), joining("join", "tab")))
	between.done("coat")
	between.next("trim", "this takes 34 min; joint tab")
	b.after(10 * time.Minute)
	b.next("join", "its window is open")
	b.after(30*time.Minute + time.Second)
	s := b.next("plan", "")
	b.waitingFor(s)
	b.done("plan")
	b.next("coat", "lapsed")
}

// What the last plan has after a join is not begun before it, but by another of several people; what it has before goes by the window,
// and both for as long as they take at the builder's own pace. The window is open from 10 to 40 minutes after the coat.
func TestNextKeepsToThePlanBeforeAJoin(t *testing.T) {
	b := working(t, one("trim", hands("trim", "20 min")), one("glue", coating("coat", "tab"), joining("join", "tab")))
	b.done("coat")
	job := b.state.Jobs[0].ID
	trim := func(at, takes int, who ...int) Planned {
		return Planned{Job: job, Step: "trim", Begins: b.now.Add(minutesOf(at)), Minutes: takes, Hands: who}
	}
	join := func(at, takes int, who ...int) Planned {
		return Planned{Job: job, Step: "join", Begins: b.now.Add(minutesOf(at)), Minutes: takes, Hands: who}
	}
	for _, test := range []struct {
		planned []Planned
		takes   bool
	}{
		{nil, true},
		{[]Planned{join(10, 1)}, false},
		{[]Planned{join(10, 1), trim(12, 20)}, false},
		{[]Planned{join(-10, 1), trim(-8, 20)}, false}, // late as well
		{[]Planned{trim(0, 20), join(20, 1)}, true},
		{[]Planned{trim(-5, 20), join(15, 1)}, true}, // begun late, it still fits the window
		{[]Planned{trim(0, 34), join(34, 1)}, false}, // at the builder's own pace
		{[]Planned{trim(0, 33), join(33, 1)}, true},
		{[]Planned{trim(0, 20), join(20, 15)}, false}, // of the join too
		{[]Planned{join(10, 1, 1), trim(12, 20, 2)}, true},
		{[]Planned{join(10, 1, 1), trim(12, 20, 1, 2)}, false},
	} {
		g := b.state.NextBut(b.now, nil, test.planned)
		if (g.Step != nil) != test.takes || g.WaitsForDue == test.takes {
			t.Errorf("%+v: next is %+v, and it waits: %t", test.planned, g.Step, g.WaitsForDue)
		}
	}
}

// So it is where the join also lacks what is seen to at once, as the hold of its adhesive by whoever takes over at the bench.
func TestNextWaitsForAJoinThatIsToBeSeenToAsWell(t *testing.T) {
	join := joining("join", "tab")
	join.Needs = []steps.Setting{{Condition: "ventilation", State: "on"}}
	b := working(t, one("plan", hands("plan", "34 min")), one("glue", coating("coat", "tab"), join))
	b.done("coat")
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "off"}}})
	if s := b.next("", ""); s.Until.Sub(b.now) != 10*time.Minute {
		t.Errorf("it waits until %v", s.Until)
	}
	b.after(10 * time.Minute)
	b.next("join", "its window is open")
}

// A coat found wet comes back by itself after five minutes, and at once before what does
// not fit in; so does an open joint that a condition or the climate holds back.
func TestNextComesBackToAWetCoat(t *testing.T) {
	b := working(t, one("trim", hands("trim", "5 min"), hands("trim-more", "5 min")), one("plan", hands("plan", "25 min")), one("glue", coating("coat", "tab"), joining("join", "tab")))
	b.done("coat")
	b.after(15 * time.Minute)
	wet := func() {
		t.Helper()
		b.state = b.replay(append(b.state.Entries, recorded(b.try(Finish{Step: "join", Touch: TouchWet}))...))
	}
	wet()
	b.next("trim", "")
	b.after(4 * time.Minute)
	b.done("trim")
	b.next("trim-more", "")
	b.after(time.Minute)
	s := b.next("join", "its window is open")
	if len(s.Resolve) != 1 || s.Resolve[0].Because != ByTouch {
		t.Errorf("to be seen to: %+v", s.Resolve)
	}
	b.done("trim-more")
	wet()
	b.next("join", "its window is open") // 20 minutes are left, and plan takes 25
	off := func(r StepReport) bool { return r.Step.Name == "join" }
	if s := b.state.NextBut(b.now, off, nil); s.Step.Step.Name != "plan" || len(s.PutOff) != 1 || s.PutOff[0].Step.Name != "join" {
		t.Errorf("put off, next is %+v", s)
	}
	b.after(21 * time.Minute)
	b.next("plan", "")
}

func TestNextSeesToWhatHoldsAnOpenJointBack(t *testing.T) {
	join := joining("join", "tab")
	join.Needs = []steps.Setting{{Condition: "ventilation", State: "on"}}
	b := working(t, one("glue", coating("coat", "tab"), join), one("plan", hands("plan", "5 min")))
	b.done("coat")
	b.must(ReadBench{Temperature: q("34 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "off"}}})
	b.next("plan", "")
	b.after(12 * time.Minute)
	if s := b.next("join", "its window is open"); len(s.Resolve) != 1 || s.Resolve[0].Because != ByCondition {
		t.Errorf("to be seen to: %+v", s.Resolve)
	}
}

func TestNextTakesTheWindowThatClosesFirst(t *testing.T) {
	b := working(t, one("fin", coating("coat-fin", "fin"), joining("join-fin", "fin")), one("tab", coating("coat-tab", "tab"), joining("join-tab", "tab")))
	b.done("coat-tab")
	b.after(5 * time.Minute)
	b.done("coat-fin")
	if due, what := soonest(b.state.dues(b.now, nil, b.state)); what != "joint tab must be joined" || due.Sub(evening) != 40*time.Minute {
		t.Errorf("first due is %s, after %v", what, due.Sub(evening))
	}
	b.after(10 * time.Minute)
	b.next("join-tab", "its window is open")
	b.done("join-tab")
	if due, what := soonest(b.state.dues(b.now, nil, b.state)); what != "joint fin must be joined" || due.Sub(evening) != 45*time.Minute {
		t.Errorf("first due is %s, after %v", what, due.Sub(evening))
	}
	b.done("join-fin")
	if due, what := soonest(b.state.dues(b.now, nil, b.state)); what != "" || !due.IsZero() {
		t.Errorf("due is %s", what)
	}
}

// In a plan for several it is said whose step it is, and what the others have to do meanwhile.
func TestNextSaysWhoseStepItIs(t *testing.T) {
	b := working(t, one("glue", coating("coat", "tab"), joining("join", "tab")), one("cut", plain("cut"), plain("sand")), one("tidy", plain("tidy")))
	job := b.state.Jobs[0].ID
	planned := []Planned{
		{Job: job, Step: "cut", Begins: b.now, Minutes: 10, Hands: []int{2}},
		{Job: job, Step: "coat", Begins: b.now.Add(2 * time.Minute), Hands: []int{1}},
		{Job: job, Step: "tidy", Begins: b.now.Add(6 * time.Minute), Hands: []int{1}},
	}
	is := func() (text string) {
		g := b.state.NextBut(b.now, nil, planned)
		text = fmt.Sprint(g.Step.Step.Name, g.Hands)
		for _, o := range g.Others {
			text += fmt.Sprint(" ", o.Who, " ", o.Step.Step.Name, o.Planned.Sub(b.now))
		}
		return text
	}
	for _, test := range []struct {
		but  func()
		want string
	}{
		{func() {}, "cut[2] 1 coat2m0s"},
		{func() { planned[1].Hands = []int{1, 2} }, "cut[2] 1 tidy6m0s"},       // the one for both is not done meanwhile
		{func() { planned[2].Begins = b.now.Add(10 * time.Minute) }, "cut[2]"}, // nor what comes after it
		{func() { planned[0].Minutes = 40; planned[2].Begins = b.now.Add(Soon) }, "cut[2] 1 tidy30m0s"},
		{func() { planned[2].Begins = b.now.Add(Soon + time.Minute) }, "cut[2]"},          // nor what is for later
		{func() { planned[0].Hands, planned[2].Begins = []int{1, 2}, b.now }, "cut[1 2]"}, // nobody is left
		{func() { planned[0].Hands = nil }, "cut[]"},                                      // for one
		{func() {
			planned[0].Minutes, planned[0].Hands, planned[1].Hands = 10, []int{2}, []int{1}
			b.done("coat")
			b.after(2 * time.Minute)
		}, "cut[2] 1 tidy-2m0s"},
	} {
		if test.but(); is() != test.want {
			t.Errorf("%s, want %s", is(), test.want)
		}
	}
	b.after(15 * time.Minute)
	if got := is(); got != "join[]" { // an open joint comes before both
		t.Errorf("%s", got)
	}
}

// In a plan for several, what takes longer than a joint leaves is begun by whoever does not join it: after all that fits in, and
// with the join said beside it. What the same person does, or nobody's plan has, waits.
func TestNextKeepsTheOtherHandsAtWork(t *testing.T) {
	b := working(t, one("glue", coating("coat", "tab"), joining("join", "tab")), one("long", hands("hollow", "40 min")), one("tidy", plain("tidy")))
	job := b.state.Jobs[0].ID
	planned := []Planned{
		{Job: job, Step: "hollow", Begins: b.now, Minutes: 40, Hands: []int{2}},
		{Job: job, Step: "join", Begins: b.now.Add(5 * time.Minute), Hands: []int{1}},
		{Job: job, Step: "tidy", Begins: b.now.Add(time.Hour), Hands: []int{1}},
	}
	is := func() (text string) {
		g := b.state.NextBut(b.now, nil, planned)
		if g.Step == nil {
			return "nothing"
		}
		text = fmt.Sprint(g.Step.Step.Name, g.Hands, g.JoinBy.IsZero())
		for _, o := range g.Others {
			text += fmt.Sprint(" ", o.Who, " ", o.Step.Step.Name, o.Planned.Sub(b.now))
		}
		return text
	}
	b.done("coat")
	if got := is(); got != "tidy[1] true 2 hollow0s" { // it fits in
		t.Errorf("%s", got)
	}
	b.done("tidy")
	if got := is(); got != "hollow[2] true 1 join10m0s" {
		t.Errorf("%s", got)
	}
	planned[1].Hands = []int{1, 2}
	if got := is(); got != "nothing" {
		t.Errorf("%s, and the join wants both", got)
	}
	planned[1].Hands = nil
	if got := is(); got != "nothing" {
		t.Errorf("%s, and nobody has the join", got)
	}
	planned[1].Hands = []int{1}
	b.after(15 * time.Minute)
	if got := is(); got != "join[1] true 2 hollow-15m0s" {
		t.Errorf("%s", got)
	}
}

// A step that is not over when the sitting of the plan is says so: with the join that its coat must have in that sitting, and with the
// step that something is set hot for, also where it is planned for another sitting. What can't wait does not.
func TestAStepOutlastsTheSitting(t *testing.T) {
	heat, iron := hands("heat", "8 min"), hands("iron", "30 min")
	cool := hands("cool", "1 min")
	heat.Sets, iron.Needs = []steps.Setting{{Condition: "iron", State: "hot"}}, []steps.Setting{{Condition: "iron", State: "hot"}}
	cool.Sets = []steps.Setting{{Condition: "iron", State: "cold"}}
	in := sheet()
	in.Conditions = append(in.Conditions[:len(in.Conditions):len(in.Conditions)], steps.Condition{Name: "iron", States: []string{"cold", "hot"}, Bench: true})
	b := workingOn(t, in, one("glue", coating("coat", "tab"), joining("join", "tab")), one("film", heat, iron, cool), one("tidy", hands("tidy", "20 min")))
	job, leave := b.state.Jobs[0].ID, b.now.Add(30*time.Minute)
	for _, p := range []struct {
		step   string
		at, of int
	}{{"coat", 0, 5}, {"join", 15, 6}, {"heat", 21, 8}, {"iron", 29, 0}} {
		b.state.Planned = append(b.state.Planned, Planned{Job: job, Step: p.step, Begins: b.now.Add(time.Duration(p.at) * time.Minute), Minutes: p.of, Leave: leave})
	}
	for _, test := range []struct {
		step     string
		after    int
		presses  bool
		planned  int
		want     int
		with     string
		unspoken bool
	}{
		{step: "coat", after: 9, unspoken: true},
		{step: "coat", after: 10, want: 21, with: "joins"},
		{step: "tidy", after: 10, unspoken: true},
		{step: "tidy", after: 11, want: 20},
		{step: "tidy", after: 11, presses: true, unspoken: true},
		{step: "tidy", after: 11, planned: 60, want: 20},
		{step: "heat", want: 39, with: "uses"},
		{step: "tidy", after: 89, want: 20},
		{step: "tidy", after: 91, unspoken: true},
	} {
		g := Suggestion{Presses: test.presses}
		r := b.step(test.step)
		g.Step = &r
		if test.planned > 0 {
			g.Planned = b.now.Add(time.Duration(test.planned) * time.Minute)
		}
		o := b.state.Overruns(g, b.now.Add(time.Duration(test.after)*time.Minute))
		if (o == nil) != test.unspoken || o != nil && (int(o.Takes/time.Minute) != test.want || o.Joins != (test.with == "joins") || o.Uses != (test.with == "uses") || !o.By.Equal(leave)) {
			t.Errorf("%+v: %+v", test, o)
		}
	}
}

// What the last plan has first comes first, but neither before an open joint nor where it does not fit in before one.
func TestNextFollowsThePlan(t *testing.T) {
	b := working(t, one("sweep", plain("sweep"), plain("sweep-more")), one("glue", coating("coat", "tab"), joining("join", "tab")), one("long", hands("plan", "45 min")))
	job := b.state.Jobs[0].ID
	at := b.now.Add(48 * time.Hour)
	planned := []Planned{{Job: job, Step: "plan", Begins: at}, {Job: job, Step: "coat"}, {Job: job, Step: "join"}, {Job: job, Step: "gone"}}
	next := func(want string) Suggestion {
		t.Helper()
		s := b.state.NextBut(b.now, nil, planned)
		if s.Step == nil || s.Step.Step.Name != want {
			t.Fatalf("next is %+v, want %s", s.Step, want)
		}
		return s
	}
	if s := next("plan"); !s.Planned.Equal(at) {
		t.Errorf("planned for %s", s.Planned)
	}
	b.next("sweep", "") // without a plan
	b.done("coat")
	next("sweep") // plan takes longer than the window is open
	b.after(15 * time.Minute)
	next("join")
	b.done("join")
	next("plan")
	planned[0].Job = "another"
	next("sweep")
	b.state.Planned = []Planned{{Job: job, Step: "plan"}}
	b.next("plan", "")
}

// A planned step that waits only for what can be seen to at the bench now takes its place in the plan; one that waits for more
// does not, nor does it without a plan, and what can't wait comes before it.
func TestNextFollowsThePlanToWhatIsSeenTo(t *testing.T) {
	needing := func(step steps.Step) steps.Step {
		step.Needs = []steps.Setting{{Condition: "propeller", State: "off"}}
		return step
	}
	b := working(t, one("sweep", plain("sweep"), plain("sweep-more")), one("glue", needing(coating("coat", "tab")), joining("join", "tab")), one("warm", needing(coating("spread", "fin")), joining("close", "fin")))
	job := b.state.Jobs[0].ID
	planned := []Planned{{Job: job, Step: "coat"}, {Job: job, Step: "sweep"}, {Job: job, Step: "join"}, {Job: job, Step: "spread"}}
	next := func(want string, reasons int) {
		t.Helper()
		s := b.state.NextBut(b.now, nil, planned)
		if s.Step == nil || s.Step.Step.Name != want || len(s.Resolve) != reasons || slices.ContainsFunc(s.Waiting, func(w StepReport) bool { return w.Step.Name == want }) {
			t.Fatalf("next is %+v, to be seen to %+v; want %s and %d reasons", s.Step, s.Resolve, want, reasons)
		}
	}
	next("coat", 1)
	b.next("sweep", "") // without a plan
	b.refused(Finish{Step: "coat"}, ByCondition)
	b.must(ReadBench{Temperature: q("4 °C")}) // too cold for the adhesive: that takes more than a look
	next("sweep", 0)
	b.must(ReadBench{Temperature: q("20 °C")})
	next("coat", 1)
	b.must(ReadBench{Set: []steps.Setting{{Condition: "propeller", State: "off"}}})
	next("coat", 0)
	b.done("coat")
	next("sweep", 0)
	b.must(ReadBench{Set: []steps.Setting{{Condition: "propeller", State: "on"}}})
	planned = planned[3:]
	next("spread", 1)
	b.after(15 * time.Minute)
	next("join", 0)
}

func TestNextPutsReworkBeforeOtherWorkAndAfterAnOpenJoint(t *testing.T) {
	b := working(t, one("glue", coating("coat", "tab"), joining("join", "tab")), one("other", plain("sweep")),
		one("slot", plain("cut"), steps.Step{Name: "gauge", Kind: steps.Measure, Gates: []string{"slot"}}))
	b.done("coat", "cut")
	b.must(readings("slot", "root=5 mm", "tip=4 mm"))
	s := b.next("gauge", "")
	if len(s.Resolve) != 1 || s.Resolve[0].Remedy.Kind != ToRework {
		t.Errorf("to be seen to: %+v", s.Resolve)
	}
	b.waitingFor(s, "join")
	b.after(10 * time.Minute)
	b.waitingFor(b.next("join", "its window is open"), "gauge")
	b.done("join")
	b.next("sweep", "") // another stage was worked on since
	b.done("sweep")
	b.next("gauge", "")
	b.must(Rework{Gate: "slot"})
	if s := b.next("gauge", ""); len(s.Resolve) != 0 {
		t.Errorf("reworked, to be seen to: %+v", s.Resolve)
	}
}

func TestNextSaysWhatAPersonCanSeeTo(t *testing.T) {
	coat := coating("coat", "tab")
	coat.Needs = []steps.Setting{{Condition: "ventilation", State: "on"}}
	b := working(t, one("rest", plain("lay"), wait("dry", "20 min")), one("glue", coat, joining("join", "tab")))
	b.after(SittingLength + time.Second)
	b.done("lay")
	s := b.next("coat", "")
	if len(s.Resolve) != 2 || s.Resolve[0].Because != ByCondition || s.Resolve[1].Because != ByClimate {
		t.Errorf("to be seen to: %+v", s.Resolve)
	}
	b.waitingFor(s, "dry")
	if s.Until.Sub(b.now) != 20*time.Minute {
		t.Errorf("until %v", s.Until.Sub(b.now))
	}
	b.after(-time.Minute) // no one can see to a wait, or says more while the clock is wrong
	b.next("", "")
}

func TestNextSaysWhenTheFirstOpens(t *testing.T) {
	b := working(t, one("a", plain("lay-a"), wait("dry-a", "30 min"), plain("lift-a")), one("b", plain("lay-b"), wait("dry-b", "20 min"), plain("lift-b")),
		steps.Stage{Name: "c", After: []string{"a"}, Steps: []steps.Step{plain("sand")}})
	b.done("lay-a", "lay-b")
	s := b.next("", "")
	b.waitingFor(s, "dry-b", "dry-a", "sand") // what time does not open comes last
	if s.Until.Sub(b.now) != 20*time.Minute {
		t.Errorf("until %v", s.Until.Sub(b.now))
	}
}

// What runs, the next moment first: the joints by their phase, and the waits.
func TestTimers(t *testing.T) {
	b := building(t)
	var have []Timer
	runs := func(names ...string) {
		t.Helper()
		have = b.state.Timers(b.now)
		var all []string
		for _, r := range have {
			all = append(all, r.Name)
		}
		if strings.Join(all, " ") != strings.Join(names, " ") {
			t.Fatalf("%v run, want %v", all, names)
		}
	}
	is := func(i int, phase Phase, began, opens, closes, handles, cures, ready time.Duration) {
		t.Helper()
		since := func(at time.Time) time.Duration {
			if at.IsZero() {
				return 0
			}
			return at.Sub(evening)
		}
		r := have[i]
		got := []time.Duration{since(r.Began), since(r.Opens), since(r.Closes), since(r.Handles), since(r.Cures), since(r.Ready)}
		want := []time.Duration{began, opens, closes, handles, cures, ready}
		for k := range want {
			if got[k] != want[k]*time.Minute {
				t.Errorf("%s, %s: %v, want %v minutes", r.Name, r.Phase, got, want)
				break
			}
		}
		if r.Phase != phase || r.Joint != (phase != "") {
			t.Errorf("%s is %q", r.Name, r.Phase)
		}
	}
	runs()
	b.after(time.Minute)
	b.done("coat-left")
	runs("roots") // time alone opens nothing while a face is bare
	is(0, HalfCoated, 1, 11, 38, 0, 0, 0)
	b.after(time.Minute)
	b.done("coat-right", "propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	runs("roots", "rest")
	is(0, Tacking, 2, 12, 38, 0, 0, 12)
	is(1, "", 2, 22, 0, 0, 0, 22)
	b.after(10 * time.Minute)
	b.state = b.replay(append(b.state.Entries, recorded(b.try(Finish{Step: "join-roots", Touch: TouchWet}))...))
	runs("rest", "roots") // found wet: no moment at which it is dry is known
	is(1, Tacking, 2, 12, 38, 0, 0, 0)
	b.must(Finish{Step: "join-roots", Touch: TouchDry})
	runs("rest", "roots")
	is(1, Setting, 12, 0, 0, 42, 24*60+12, 42)
	b.after(30 * time.Minute)
	runs("roots")
	is(0, Curing, 12, 0, 0, 42, 24*60+12, 24*60+12)
	b.after(24 * time.Hour)
	runs()
}

func TestWhatIsWaitedFor(t *testing.T) {
	b := building(t)
	for _, name := range []string{"roots", "wing", "rest-pod"} {
		if _, err := b.state.Await(b.now, name); !errors.As(err, new(*UnknownError)) {
			t.Errorf("%s: %v", name, err)
		}
	}
	await := func(name string, event Event, ready, then time.Duration) {
		t.Helper()
		w, err := b.state.Await(b.now, name)
		if err != nil {
			t.Errorf("%q: %v", name, err)
			return
		}
		if w.Event != event || w.At.Sub(evening) != ready || then == 0 && !w.Until.IsZero() || then > 0 && w.Until.Sub(evening) != then {
			t.Errorf("%q: %s of %s in %v, then %v", name, w.Event, w.Name, w.At.Sub(evening), w.Until.Sub(evening))
		}
	}
	refused := func(name string, because Because) {
		t.Helper()
		_, err := b.state.Await(b.now, name)
		var refusal *Refusal
		if !errors.As(err, &refusal) || refusal.Reasons[0].Because != because {
			t.Errorf("%q: %v", name, err)
		}
	}
	const m = time.Minute
	b.done("coat-left")
	refused("roots", ByState) // a face is bare
	b.done("coat-right")
	await("", MayJoin, 10*m, 37*m)
	await("join-roots", MayJoin, 10*m, 37*m)
	refused("measure-slot", ByOrder)
	b.after(10 * m)
	await("roots", ClosesSoon, 32*m, 37*m) // open, and so it stays in the last minutes
	b.after(25 * m)
	await("roots", ClosesSoon, 32*m, 37*m)
	await("", HasLapsed, 37*m, 0)
	b.after(-25 * m)
	await("join-roots", MayJoin, 10*m, 37*m) // as its joint
	await("coat-left", MayDo, 10*m, 0)
	b.done("join-roots", "propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	await("", WaitOver, 30*m, 0)
	await("rest", WaitOver, 30*m, 0)
	await("roots", MayHandle, 40*m, 24*60*m+10*m)
	await("set", MayDo, 40*m, 0)
	b.after(20 * m)
	await("rest", MayDo, 30*m, 0)
	await("", MayHandle, 40*m, 24*60*m+10*m)
	b.after(10 * m)
	await("roots", IsCured, 24*60*m+10*m, 0)
	b.after(24 * 60 * m)
	await("roots", IsCured, 24*60*m+10*m, 0)
	if _, err := b.state.Await(b.now, ""); !errors.As(err, new(*UnknownError)) {
		t.Errorf("everything is cured: %v", err)
	}
	b.done("sand-pod")
	b.after(-time.Second)
	refused("", ByClock)
}

// Who waits for a join waits for its coat, also while a condition is to be confirmed first.
func TestJoinIsWaitedForWhateverElseIsToDo(t *testing.T) {
	join := joining("join", "tab")
	join.Needs = []steps.Setting{{Condition: "propeller", State: "off"}}
	b := working(t, one("a", coating("coat", "tab"), join))
	b.done("coat")
	for range 2 {
		w, err := b.state.Await(b.now, "join")
		if err != nil || w.Name != "tab" || w.Event != MayJoin || w.At.Sub(b.now) != 10*time.Minute {
			t.Errorf("%+v, %v", w, err)
		}
		b.must(setting("propeller", "off"))
	}
}

// What can be waited for is named once, however many moments it has.
func TestWhatCanBeWaitedFor(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right", "propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	_, err := b.state.Await(b.now, "nosuch")
	var unknown *UnknownError
	if !errors.As(err, &unknown) || strings.Join(unknown.Known, " ") != "roots rest" {
		t.Errorf("%v", err)
	}
}

// A bench that cools moves what is waited for; what became ready keeps its time.
func TestWaitingOn(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	w, err := b.state.Await(b.now, "roots")
	if err != nil {
		t.Fatal(err)
	}
	b.must(celsius("10 °C"))
	w, err = b.state.AwaitAgain(b.now, w)
	if err != nil || w.Event != MayJoin || w.At.Sub(evening) != 20*time.Minute {
		t.Errorf("at 10 °C: %+v, %v", w, err)
	}
	b.after(20 * time.Minute)
	if again, err := b.state.AwaitAgain(b.now, w); err != nil || again != w {
		t.Errorf("ready: %+v, %v", again, err)
	}
	b.done("join-roots")
	if again, err := b.state.AwaitAgain(b.now, w); err != nil || again != w {
		t.Errorf("joined: %+v, %v", again, err)
	}
	b.done("propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	w, err = b.state.Await(b.now, "roots") // handling strength after an hour, the rest over after 20 min
	if again, errAgain := b.state.AwaitAgain(b.now, w); err != nil || errAgain != nil || again.Name != "roots" || again.At.Sub(b.now) != time.Hour {
		t.Errorf("beside a wait: %+v, %v, %v", again, err, errAgain)
	}
	b.must(Undo{Position: position(b, "coat-left")})
	if _, err := b.state.AwaitAgain(b.now.Add(-time.Minute), w); err == nil {
		t.Error("the coat was taken back, and is waited for")
	}
}

// A wait without a name is for what is waited for, and not for a clock that opens
// nothing.
func TestAwaitIsForWhatNextWaitsFor(t *testing.T) {
	b := working(t, one("a", coating("coat", "tab"), joining("join", "tab")), one("b", plain("lay"), wait("dry", "55 min"), plain("lift")))
	b.done("coat")
	b.after(10 * time.Minute)
	b.done("join", "lay") // handling strength comes after 30 min, and nothing with it
	next := b.state.Next(b.now)
	w, err := b.state.Await(b.now, "")
	if err != nil || next.Step != nil || next.Until.Sub(b.now) != 55*time.Minute || !w.At.Equal(next.Until) || w.Name != "dry" {
		t.Errorf("next waits until %v, wait for %+v, %v", next.Until, w, err)
	}
}
