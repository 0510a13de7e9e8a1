package workflow

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// parts is a bench with an iron that takes 8 minutes to heat and 5 to be measured, and so many parts of 20 minutes each that
// are filmed with it; it is off in 1.
func parts(t *testing.T, n int, then ...steps.Step) *bench {
	t.Helper()
	hot, cold := steps.Setting{Condition: "iron", State: "hot"}, steps.Setting{Condition: "iron", State: "cold"}
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", Title: "The iron", States: []string{"cold", "hot"}, Bench: true})
	heat := in.Gates[0]
	heat.Name, heat.Points, heat.Of, heat.Work, heat.Validity = "heat", nil, nil, true, steps.Validity{}
	in.Gates = append(in.Gates, heat)
	in.Tools = []steps.Tool{{Name: "iron", Title: "An iron", Measure: []string{"heat"}, Care: steps.Care{Needs: []steps.Setting{hot}}}}
	warm, off := plain("warm"), plain("off")
	warm.Hands, warm.Sets, warm.Tools = q("8 min"), []steps.Setting{hot}, []string{"iron"}
	off.Hands, off.Sets = q("1 min"), []steps.Setting{cold}
	all := []steps.Step{warm, {Name: "read", Kind: steps.Measure, Gates: []string{"heat"}, Hands: q("5 min"), Tools: []string{"iron"}}}
	for n := range n {
		film := plain(fmt.Sprintf("film-%d", n+1))
		film.Hands, film.Tools = q("20 min"), []string{"iron"}
		all = append(all, film)
	}
	return workingOn(t, in, one("film", append(append(all, then...), off)...))
}

// What is planned to be hot, and what it was for can't be planned, is not heated; where some of that can be, it is off before
// anybody leaves.
func TestScheduleHeatsNothingForNothing(t *testing.T) {
	for n, want := range map[int]string{0: "ends 0, stops at glue by climate", 1: "warm 0, read 8, film-1 13, offsafe 33, | ends 34, stops at glue by climate"} {
		glue := coating("glue", "tab")
		glue.Tools = []string{"iron"}
		celsius := 2.
		b := parts(t, n, glue, joining("press", "tab"))
		p, err := scheduled(t, evening, Hours{Sittings: open(0, 240), Celsius: &celsius}, b.state)
		if err != nil || says(p) != want {
			t.Errorf("%d parts: %s, %v, want %s", n, says(p), err, want)
		}
	}
}

// What is longer than every sitting with what belongs in the same one is left out with what comes after it, and nothing is begun for
// it: no coat is put on, and nothing is heated, or plugged in. With a sitting of the length that is said all of it is planned.
func TestScheduleLeavesOutWhatFitsNoSitting(t *testing.T) {
	minutes := func(step steps.Step, hands string) steps.Step {
		step.Hands = q(hands)
		return step
	}
	cut, end := minutes(plain("cut"), "20 min"), plain("end")
	coat, other, join := coating("coat", "tab"), coating("other", "tab"), joining("join", "tab")
	last := one("last", end)
	last.After = []string{"one", "two", "three"}
	third := one("three", minutes(join, "18 min"))
	third.After = last.After[:2]
	for name, is := range map[string]struct {
		b    *bench
		want string
		free int
	}{
		"a step": {working(t, one("one", cut, minutes(plain("charge"), "35 min"), plain("more")), one("two"), one("three", minutes(plain("sand"), "20 min")), last),
			"cut 0, | sand 1440, | ends 1460, charge: it takes 35 min without a break, and your longest sitting has 30 min", 35},
		"a join": {working(t, one("one", cut, coat), one("two", other), third, last),
			"cut 0, | ends 20, coat: with what belongs in the same sitting it takes 35 min, and your longest one has 30 min", 36},
		"what comes between a coat and its join": {working(t, one("one", cut, coat, minutes(plain("trim"), "32 min"), join), one("two"), one("three"), last),
			"cut 0, | ends 20, coat: with what belongs in the same sitting it takes 40 min, and your longest one has 30 min", 40},
		"a coat with its join": {working(t, one("one", cut, coat, minutes(plain("trim"), "15 min"), minutes(join, "12 min")), one("two"), one("three"), last),
			"cut 0, | ends 20, coat: with what belongs in the same sitting it takes 34 min, and your longest one has 30 min", 34},
		"what is hot for it": {parts(t, 1), "", 34},
	} {
		t.Run(name, func(t *testing.T) {
			h := Hours{Sittings: open(0, 30, 1440, 1470), Again: true}
			p, err := scheduled(t, is.b.now, h, is.b.state)
			if no := (*NoPlan)(nil); errors.As(err, &no) && is.want == "" {
				p.Free = no.Free
			} else if err != nil {
				t.Fatal(err)
			}
			got, _, _ := strings.Cut(says(p), ", stops")
			for i, stop := range p.Stops {
				got += map[bool]string{true: ", ", false: "; "}[i == 0] + stop.Step + ": " + stop.Reasons[0].Text
			}
			if err == nil && got != is.want || len(p.Free) == 0 || p.Free[0].Once != minutesOf(is.free) {
				t.Errorf("%s, %+v, want %s", got, p.Free, is.want)
			}
			for less := range 2 {
				h.Sittings = open(0, is.free-less, 1440, 1470)
				p, err := scheduled(t, is.b.now, h, is.b.state)
				if all := err == nil && len(p.Stops) == 0; all != (less == 0) {
					t.Errorf("with %d less: %s, %v", less, says(p), err)
				}
			}
		})
	}
}

func left(p Timetable) (all []string) {
	for _, v := range p.Visits {
		for _, is := range v.Leave {
			all = append(all, fmt.Sprintf("%s %s until %g", is.Mark, is.Setting, is.Again.Sub(evening).Minutes()))
		}
	}
	return all
}

// What is hot is switched off before a sitting is over, and heated and measured anew in the one that goes on: the record asks for
// both there.
func TestScheduleLeavesNothingHot(t *testing.T) {
	const day = 24 * 60
	b := parts(t, 3)
	b.planned(t, Hours{Sittings: open(0, 80, day, day+80)}, "warm 0, read 8, film-1 13, film-2 33, film-3 53, off 73, | ends 74")
	p := b.planned(t, Hours{Sittings: open(0, 60, day, day+60)}, "warm 0, read 8, film-1 13, film-2 33, offsafe 53, | "+
		"warmready 1440, readready 1448, film-3 1453, off 1473, | ends 1474")
	if got := fmt.Sprint(left(p)); got != "[PL-01 iron: cold until 1440]" {
		t.Errorf("left is %s", got)
	}
	// In 54 minutes it is off in time, in 53 the second part has to wait.
	b.planned(t, Hours{Sittings: open(0, 54, day, day+60)}, "warm 0, read 8, film-1 13, film-2 33, offsafe 53, | "+
		"warmready 1440, readready 1448, film-3 1453, off 1473, | ends 1474")
	b.planned(t, Hours{Sittings: open(0, 53, day, day+60)}, "warm 0, read 8, film-1 13, offsafe 33, | "+
		"warmready 1440, readready 1448, film-2 1453, film-3 1473, off 1493, | ends 1494")
	// Nobody heats it for nothing.
	b.planned(t, Hours{Sittings: open(0, 30, day, day+80)}, "warm 1440, read 1448, film-1 1453, film-2 1473, film-3 1493, off 1513, | ends 1514")
	// 8 to heat it, 5 to measure, 20, and 1 to switch it off.
	b.planned(t, Hours{Sittings: open(0, 34, day, day+34, 2*day, 2*day+34)}, "warm 0, read 8, film-1 13, offsafe 33, | warmready 1440, readready 1448, film-2 1453, offsafe 1473, | "+
		"warmready 2880, readready 2888, film-3 2893, off 2913, | ends 2914")
	_, err := scheduled(t, b.now, Hours{Sittings: open(0, 33, day, day+33, 2*day, 2*day+33, 3*day, 3*day+33, 4*day, 4*day+33)}, b.state)
	// With one longer sitting in that week all of it lies in that, since no part goes into another one.
	if no := (*NoPlan)(nil); !errors.As(err, &no) || no.Turns[0].Step != "film-1" || no.Takes != 34*time.Minute || fmt.Sprint(no.Free) != fmt.Sprint([]Freeing{{Once: 74 * time.Minute}, {Each: 34 * time.Minute}}) {
		t.Errorf("%+v", err)
	}
	// In the record: in the sitting that goes on it is hot, and measured.
	b.after(8 * time.Minute)
	b.done("warm")
	b.after(5 * time.Minute)
	b.must(readings("heat", "4 mm"))
	b.after(20 * time.Minute)
	b.done("film-1")
	b.planned(t, Hours{Sittings: open(0, 60, day, day+60)}, "film-2 33, offsafe 53, | warmready 1440, readready 1448, film-3 1453, off 1473, | ends 1474")
	// What is left of this evening is too short for a part: it is switched off now, and so said before anybody leaves. So it is
	// where the only sitting that is left has no more than the minute for that.
	p = b.planned(t, Hours{Sittings: open(0, 40, day, day+60)}, "offsafe 33, | warmready 1440, readready 1448, film-2 1453, film-3 1473, off 1493, | ends 1494")
	if got := fmt.Sprint(left(p)); got != "[PL-01 iron: cold until 1440]" {
		t.Errorf("left is %s", got)
	}
	p = b.planned(t, Hours{Sittings: open(0, 34, day, day+60)}, "offsafe 33, | warmready 1440, readready 1448, film-2 1453, film-3 1473, off 1493, | ends 1494")
	if turn := p.Visits[0].Turns[0]; len(left(p)) != 1 || len(turn.Sets) != 1 || turn.Sets[0].String() != "iron: cold" {
		t.Errorf("left is %v by %+v", left(p), turn)
	}
	if turn := p.Visits[1].Turns[1]; len(turn.Gates) != 1 || turn.Gates[0] != "heat" {
		t.Errorf("measured is %+v", turn.Gates)
	}
	if rows := p.Planned("PL-01"); rows[0].Again != AgainSafe || len(rows[0].Ends) != 1 || rows[1].Again != AgainReady || rows[1].Ends != nil || rows[1].Step+rows[1].Rework != "" || rows[3].Again != "" || rows[3].Step != "film-2" {
		t.Errorf("it is kept as %+v", rows)
	}
	if r := b.state.Left(Suggestion{}, b.now); len(r) != 0 {
		t.Errorf("at the bench: %+v", r)
	}
	// The next part goes on with it: nothing is said. Planned for the next day, or with an hour of silence, it is.
	for _, is := range []struct {
		planned, now, says int
	}{{33, 33, 0}, {63, 33, 0}, {64, 33, 1}, {day, 33, 1}, {33, 92, 0}, {33, 93, 1}} {
		at := evening.Add(time.Duration(is.now) * time.Minute)
		g := b.state.NextBut(at, nil, []Planned{{Job: b.state.Jobs[0].ID, Step: "film-2", Begins: evening.Add(time.Duration(is.planned) * time.Minute)}})
		if r := b.state.LeftBy(g, at); len(r) != is.says || g.Step.Step.Name != "film-2" {
			t.Errorf("planned for %d, at %d: %+v", is.planned, is.now, r)
		}
	}
	// So it is where the wait goes past the end of the sitting.
	for until, says := range map[int]int{40: 0, 41: 1} {
		b.state.Planned = []Planned{{Begins: b.now, Leave: evening.Add(40 * time.Minute)}}
		if r := b.state.LeftBy(Suggestion{Until: evening.Add(time.Duration(until) * time.Minute)}, b.now); len(r) != says {
			t.Errorf("waiting until %d: %+v", until, r)
		}
	}
	b.state.Planned = nil
	g := b.state.Next(b.now)
	if g.Step.Step.Tools = nil; len(b.state.LeftBy(g, b.now)) != 0 {
		t.Error("the work goes on without it for a while, and it is said at each step")
	}
	if r := Standing([]*State{b.state, b.state}, b.now); len(r) != 1 {
		t.Errorf("at the bench stands %+v", r)
	}
	why := func(step string) []Reason {
		var refusal *Refusal
		if err := b.try(Finish{Step: step}); !errors.As(err, &refusal) {
			t.Fatalf("%s: %v", step, err)
		}
		return refusal.Reasons
	}
	// What is done is done once more by saying so; nothing is taken back for it.
	b.must(setting("iron", "cold"))
	if r := why("warm")[0]; r.Remedy.Kind != ToSetCondition || r.Remedy.Setting.String() != "iron: hot" {
		t.Errorf("done once more it is %+v", r)
	}
	b.must(setting("iron", "hot"))
	if r := why("warm")[0]; r.Remedy.Kind != ToTakeBack {
		t.Errorf("while it is hot it is %+v", r)
	}
	if r := why("off"); r[len(r)-1].Remedy.Setting.String() != "iron: cold" {
		t.Errorf("before its turn it is %+v", r)
	}
	// The next day it is not, and whoever left it so is told.
	b.now = evening.Add(day * time.Minute)
	if r := b.state.Left(Suggestion{}, b.now); len(r) != 1 || r[0].Text != "The iron: hot, as the journal says, and nothing since says that it is cold" || r[0].Remedy.Setting.State != "cold" || !r[0].At.Equal(evening.Add(33*time.Minute)) {
		t.Errorf("left is %+v", r)
	}
	p = b.planned(t, Hours{Sittings: open(day, day+60)}, "offsafe 1440, warmready 1441, readready 1449, film-2 1454, film-3 1474, off 1494, | ends 1495")
	if len(p.Left) != 1 {
		t.Errorf("left is %+v", p.Left)
	}
	b.must(setting("iron", "cold"))
	b.after(7 * time.Hour)
	if r := b.state.Left(Suggestion{}, b.now); len(r) != 0 {
		t.Errorf("left is %+v", r)
	}
}

// So it is with what is plugged in, though the record takes that for so until somebody says otherwise; what may stay does, as a
// propeller that is on.
func TestScheduleLeavesNothingPluggedIn(t *testing.T) {
	const day = 24 * 60
	in := sheet()
	in.Conditions = append(in.Conditions[:len(in.Conditions):len(in.Conditions)], steps.Condition{Name: "propeller", States: []string{"off", "on"}, Guarded: "on"},
		steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	is := func(condition, state string) []steps.Setting {
		return []steps.Setting{{Condition: condition, State: state}}
	}
	plug, try, again, out, fit, look := plain("plug"), plain("try"), plain("try-again"), plain("out"), plain("fit"), plain("look")
	plug.Hands, try.Hands, again.Hands, out.Hands = q("4 min"), q("20 min"), q("20 min"), q("2 min")
	plug.Kind, plug.Confirm = steps.Hold, []string{"The shaft is bare", "It is strapped down"}
	plug.Needs = is("propeller", "off")
	plug.Sets, try.Needs, again.Needs, out.Sets, fit.Sets, look.Needs = is("battery", "in"), is("battery", "in"), is("battery", "in"), is("battery", "out"), is("propeller", "on"), is("propeller", "on")
	look.Hands = q("20 min")
	b := workingOn(t, in, one("one", plug, try, again, out, fit, look))
	p := b.planned(t, Hours{Sittings: open(0, 30, day, day+30, 2*day, 2*day+30)}, "plug 0, try 4, outsafe 24, | plugready 1440, try-again 1444, out 1464, fit 1466, | look 2880, | ends 2900")
	if got := fmt.Sprint(left(p)); got != "[PL-01 battery: out until 1440]" {
		t.Errorf("left is %s", got)
	}
	b.must(setting("propeller", "off"), Clear{Step: "plug", Answers: []bool{true, true}})
	b.done("try")
	b.after(20 * time.Minute)
	// In the two minutes that are left of the evening nothing fits but the plug.
	p = b.planned(t, Hours{Sittings: open(0, 22, day, day+30, 2*day, 2*day+30)}, "outsafe 20, | plugready 1440, try-again 1444, out 1464, fit 1466, | look 2880, | ends 2900")
	if got := fmt.Sprint(left(p)); got != "[PL-01 battery: out until 1440]" {
		t.Errorf("left is %s", got)
	}
	if turn := p.Visits[1].Turns[0]; len(turn.Look) != 2 {
		t.Errorf("looked at is %+v", turn.Look)
	}
	p = b.planned(t, Hours{Sittings: open(day, day+30, 2*day, 2*day+30)}, "plugready 1440, try-again 1444, out 1464, fit 1466, | look 2880, | ends 2900")
	if len(p.Left) != 1 || p.Left[0].Remedy.Setting.String() != "battery: out" {
		t.Errorf("left is %+v", p.Left)
	}
	// Whoever plugs it in anew confirms what was confirmed the first time, each line, and with what it needed then. Where it is only
	// said that it is in, nothing goes on with it.
	b.must(setting("battery", "out"))
	clear := func(answers ...bool) Clear { return Clear{Step: "plug", Answers: answers} }
	anew := func(text string) {
		t.Helper()
		mustContain(t, b.refused(Finish{Step: "try-again"}, ByCondition), text)
		if r := b.state.stands(is("battery", "in")[0], b.now)[0].Remedy; r.Kind != ToClear || r.Name != b.state.Jobs[0].ID+"/plug" {
			t.Errorf("what helps is %+v", r)
		}
	}
	anew("it needs battery: in, but the journal says battery: out")
	b.must(setting("battery", "in"))
	anew("it needs battery: in; confirm the lines of plug again")
	mustContain(t, b.refused(clear(true), ByHold), "line 2 is not confirmed: It is strapped down")
	b.must(setting("propeller", "on"))
	mustContain(t, b.refused(clear(true, true), ByCondition), "it needs propeller: off, but the journal says propeller: on")
	b.must(setting("propeller", "off"), clear(true, true))
	b.refused(clear(true, true), ByState)
	b.must(setting("battery", "in")) // said again of what is plugged in
	b.done("try-again")
	// The lines count for the one time.
	b.must(Undo{Position: b.state.Size() - 1}, setting("battery", "out"), setting("battery", "in"))
	anew("confirm the lines of plug again")
	// What the lines were confirmed for counts no more without them.
	b.must(clear(true, true))
	b.must(Undo{Position: b.state.Size() - 2})
	anew("confirm the lines of plug again")
}

// A joint that is open is joined in overtime though something else fits no sitting. It is named where there is no plan, since its join
// fits none.
func TestNoPlanNamesWhatIsOpen(t *testing.T) {
	coat, join, long := coating("coat", "tab"), joining("join", "tab"), plain("long")
	coat.Hands, long.Hands = q("1 min"), q("12 min")
	b := working(t, one("one", coat, join), one("two", long))
	b.after(time.Minute)
	b.done("coat")
	b.after(time.Minute)
	b.planned(t, Hours{Sittings: open(2, 7), Again: true}, "join 11, | ends 12, stops at long by time")
	join.Hands = q("12 min")
	b = working(t, one("one", coat, join))
	b.after(time.Minute)
	b.done("coat")
	b.after(time.Minute)
	_, err := scheduled(t, b.now, Hours{Sittings: open(1440, 1445), Again: true}, b.state)
	if no := (*NoPlan)(nil); !errors.As(err, &no) || no.Why != TooLong || len(no.Open) != 1 || no.Open[0].Name != "tab" || no.Open[0].Closes.Sub(evening) != 40*time.Minute {
		t.Errorf("%+v", err)
	} else if save := no.Open[0].Save; save != open(11, 28)[0] {
		t.Errorf("saved from %s to %s", save.From, save.To)
	}
}

// So is what stands hot.
func TestNoPlanNamesWhatIsHot(t *testing.T) {
	b := parts(t, 3)
	b.after(8 * time.Minute)
	b.done("warm")
	for from, says := range map[int]int{8: 1, 24 * 60: 1} { // whether somebody is at the bench or not
		_, err := scheduled(t, b.now, Hours{Sittings: open(from, from+15), Again: true}, b.state)
		if no := (*NoPlan)(nil); !errors.As(err, &no) || len(no.Left) != says || no.Left[0].Remedy.Setting.String() != "iron: cold" {
			t.Errorf("%+v", err)
		}
	}
	b.must(setting("iron", "cold"))
	_, err := scheduled(t, b.now, Hours{Sittings: open(8, 23), Again: true}, b.state)
	if no := (*NoPlan)(nil); !errors.As(err, &no) || len(no.Left) != 0 {
		t.Errorf("%+v", err)
	}
}

// What is waited for with nothing to do is said with the turn that it comes after; at the end of a sitting nobody waits, and what
// goes on by itself then is said of the sitting.
func TestScheduleSaysWhatIsWaitedFor(t *testing.T) {
	b := working(t, one("one", plain("iron"), wait("cool", "45 min"), plain("look"), wait("rest", "45 min"), plain("last")))
	p := b.planned(t, Hours{Sittings: open(0, 60, 1440, 1500)}, "iron 0, look 46, | last 1440, | ends 1441")
	first, second := p.Visits[0].Turns[0], p.Visits[0].Turns[1]
	if len(first.Dries) != 1 || first.Dries[0].Step != "cool" || first.Dries[0].Until.Sub(evening) != 46*time.Minute {
		t.Errorf("with the first: %+v", first.Dries)
	}
	if len(second.Dries) != 0 {
		t.Errorf("with the last: %+v", second.Dries)
	}
	if after := p.Visits[0].After; len(after) != 1 || after[0].Step != "rest" || after[0].Until.Sub(evening) != 92*time.Minute {
		t.Errorf("after the last: %+v", after)
	}
	if after := p.Visits[1].After; len(after) != 0 {
		t.Errorf("when all is done: %+v", after)
	}
}

// What is glued last in an evening sets and cures while nobody is there, though the next sitting finds it set; a coat dries so too.
func TestScheduleSaysWhatDriesOverNight(t *testing.T) {
	const day = 24 * 60
	passes := func(v Visit) string {
		var all []string
		for _, d := range v.After {
			all = append(all, fmt.Sprintf("%s %s %g-%g", d.Joint, d.For, d.From.Sub(evening).Minutes(), d.Until.Sub(evening).Minutes()))
		}
		return strings.Join(all, ", ")
	}
	coat, join := coating("coat", "tab"), joining("join", "tab")
	coat.Hands, join.Hands = q("3 min"), q("3 min")
	b := working(t, one("one", coat, join, wait("rest", "1 min"), plain("last")))
	p := b.planned(t, Hours{Sittings: open(0, 25, day, day+25)}, "coat 0, join 13, last 17, | ends 18")
	if got := passes(p.Visits[0]); got != "tab handling 16-46, tab cure 46-1456" {
		t.Errorf("after the first: %s", got)
	}
	// The coat is on already, and its window reaches into the next sitting.
	other := plain("other")
	other.Hands = q("5 min")
	b = working(t, one("one", coat, join), one("two", other))
	b.after(3 * time.Minute)
	b.done("coat")
	p = b.planned(t, Hours{Sittings: open(3, 10, 20, 40)}, "other 3, | join 20, | ends 23")
	if got := passes(p.Visits[0]); got != "tab drying 3-13" {
		t.Errorf("after the first: %s", got)
	}
}

// In a sitting that runs late it is said what must be ended before it is over, or was to be, where the step that is suggested takes
// longer: not where there is time for both, for a step that ends it, nor of what was set long after it.
func TestWhatIsEndedBeforeASittingIsOver(t *testing.T) {
	b := parts(t, 2)
	b.done("warm")
	job := b.state.Jobs[0].ID
	b.state.Planned = []Planned{{Job: job, Step: "film-1", Begins: b.now.Add(-time.Hour), Leave: b.now.Add(-time.Hour)}, {Job: job, Step: "film-2", Begins: b.now.Add(-time.Minute), Leave: b.now.Add(20 * time.Minute)}}
	for _, is := range []struct {
		takes string
		sets  bool
		after time.Duration
		want  bool
	}{
		{"19 min", false, 0, false}, // and a minute to end it
		{"20 min", false, 0, true},
		{"20 min", true, 0, false}, // it ends it in time itself
		{"21 min", true, 0, true},
		{"1 min", true, 20 * time.Minute, true},
		{"1 min", false, 20 * time.Minute, true},
		{"1 min", false, 2 * time.Hour, true}, // whoever goes on for so long still has it hot since before
	} {
		step := hands("trim", is.takes)
		if is.sets {
			step.Sets = []steps.Setting{{Condition: "iron", State: "cold"}}
		}
		end, by := b.state.EndFirst(Suggestion{Step: &StepReport{Step: step}}, b.now.Add(is.after))
		if got := len(end) == 1 && end[0].Remedy.Setting.State == "cold"; got != is.want || !by.Equal(b.now.Add(20*time.Minute)) {
			t.Errorf("%+v: to be ended by %s: %+v", is, by, end)
		}
	}
	b.now = b.now.Add(2 * time.Hour)
	b.must(setting("iron", "cold"), setting("iron", "hot")) // by whoever comes back after it
	if end, _ := b.state.EndFirst(Suggestion{Step: &StepReport{Step: hands("trim", "1 min")}}, b.now); len(end) != 0 {
		t.Errorf("set after the sitting: %+v", end)
	}
}

// What passes by itself after several steps, and before several others, is said once, with its end after the last of them.
func TestAWaitIsLeftOnce(t *testing.T) {
	b := working(t, one("spray", hands("spray", "10 min")), one("dip", hands("dip", "5 min")),
		steps.Stage{Name: "dry", After: []string{"spray", "dip"}, Steps: []steps.Step{wait("air", "2 h")}},
		steps.Stage{Name: "sand", After: []string{"dry"}, Steps: []steps.Step{hands("sand", "5 min")}},
		steps.Stage{Name: "trim", After: []string{"dry"}, Steps: []steps.Step{hands("trim", "5 min")}})
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 60, 24*60, 25*60)}, b.state)
	if err != nil || len(p.Visits) != 2 || len(p.Visits[0].After) != 1 || p.Visits[0].After[0].Step != "air" || p.Visits[0].After[0].Until.Sub(b.now) != 135*time.Minute {
		t.Errorf("%v: %+v", err, p.Visits)
	}
}

// A step without lines that plugs something in has its cautions heeded once more.
func TestWhatIsPluggedInOnceMore(t *testing.T) {
	in := sheet()
	in.Conditions = append(in.Conditions[:len(in.Conditions):len(in.Conditions)], steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	is, out := steps.Setting{Condition: "battery", State: "in"}, steps.Setting{Condition: "battery", State: "out"}
	plug, look, end := plain("plug"), plain("look"), plain("end")
	plug.Sets, look.Needs, end.Sets = []steps.Setting{is}, []steps.Setting{is}, []steps.Setting{out}
	plug.Cautions = []string{"The motor can start"}
	b := workingOn(t, in, one("one", plug, look, end))
	heeded := func(want int) {
		t.Helper()
		if got := b.state.Heeded(is, b.now); len(got) != want || want > 0 && got[0] != plug.Cautions[0] {
			t.Errorf("heeded is %q", got)
		}
	}
	heeded(0)
	b.done("plug")
	heeded(0)
	b.must(ReadBench{Set: []steps.Setting{out}})
	heeded(1)
	b.must(ReadBench{Set: []steps.Setting{is}})
	heeded(0)
	plug.Kind, plug.Confirm = steps.Hold, []string{"The shaft is bare"} // which shows them with its lines
	b = workingOn(t, in, one("one", plug, look, end))
	b.must(Clear{Step: "plug", Answers: []bool{true}}, ReadBench{Set: []steps.Setting{out}})
	heeded(0)
}

// A plan is made again from the one before also where what ends a row is left out of both.
func TestSchedulePlansAgainWithoutAnEnd(t *testing.T) {
	b := parts(t, 2)
	film := b.state.Jobs[0].Procedure.Stages[0]
	film.Steps[3].Hands = q("25 min")
	b = workingOn(t, b.state.Sheet, film)
	h := Hours{Sittings: open(0, 36, 1440, 1476), Again: true}
	first, err := scheduled(t, b.now, h, b.state)
	if err != nil || len(first.Stops) == 0 {
		t.Fatalf("%s, %v", says(first), err)
	}
	h.Like = &first
	again, err := scheduled(t, b.now, h, b.state)
	if err != nil || says(again) != says(first) {
		t.Errorf("%s, %v, want %s", says(again), err, says(first))
	}
}

// A gate of the tool that no step of the job measures is measured before the tool is used, also where it stands hot and nothing is set
// anew: by hand 5 minutes, once a sitting.
func TestScheduleMeasuresWhatNoStepMeasures(t *testing.T) {
	b := parts(t, 2)
	film := b.state.Jobs[0].Procedure.Stages[0]
	film.Steps = append(film.Steps[:1:1], film.Steps[2:]...) // without read
	b = workingOn(t, b.state.Sheet, film)
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
	b.done("warm")
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 40, 1440, 1480), Tight: true}, b.state)
	if want := "ready 0, film-1 5, offsafe 25, | warmready 1440, film-2 1453, off 1473, | ends 1474"; err != nil || says(p) != want {
		t.Fatalf("%s, %v, want %s", says(p), err, want)
	}
	if turn := p.Visits[0].Turns[0]; turn.Title != "Slot depth" || len(turn.Gates) != 1 || turn.Gates[0] != "heat" || turn.Ends.Sub(turn.Begins) != 5*time.Minute {
		t.Errorf("%+v", turn)
	}
}

// A plan that has nothing left for the sitting that goes on says nothing of its end: it is over as it was stated.
func TestASittingIsOverAsItWasStated(t *testing.T) {
	b := parts(t, 2)
	b.done("warm")
	job := b.state.Jobs[0].ID
	in := func(minutes int) time.Time { return b.now.Add(minutesOf(minutes)) }
	b.state.Planned = []Planned{{Job: job, Step: "film-1", Begins: in(24 * 60), Leave: in(25 * 60)}}
	b.state.Sits = func() time.Time { return in(20) }
	g := Suggestion{Step: &StepReport{Job: job, Step: hands("trim", "30 min")}}
	if o := b.state.Overruns(g, b.now); o == nil || !o.By.Equal(in(20)) || o.Takes != 30*time.Minute {
		t.Errorf("it outlasts %+v", o)
	}
	if end, by := b.state.EndFirst(g, b.now); len(end) != 1 || !by.Equal(in(20)) {
		t.Errorf("to be ended by %s: %+v", by, end)
	}
	b.state.Planned = append(b.state.Planned, Planned{Job: job, Step: "film-2", Begins: in(-1), Leave: in(40)}) // a plan for other hours
	if o := b.state.Overruns(g, b.now); o != nil {
		t.Errorf("by the plan it outlasts %+v", o)
	}
}
