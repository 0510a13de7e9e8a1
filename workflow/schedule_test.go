package workflow

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/plan"
)

// open are sittings from and to so many minutes after the evening.
func open(minutes ...int) (all []Sitting) {
	for i := 0; i < len(minutes); i += 2 {
		all = append(all, Sitting{evening.Add(time.Duration(minutes[i]) * time.Minute), evening.Add(time.Duration(minutes[i+1]) * time.Minute)})
	}
	return all
}

func scheduled(t *testing.T, now time.Time, h Hours, fleet ...*State) (Timetable, error) {
	t.Helper()
	h.Watch = func(p plan.Problem, r plan.Result) {
		if r.Starts == nil {
			return
		}
		if err := plan.Check(p, r.Starts); err != nil {
			t.Error(err)
		}
	}
	return Schedule(t.Context(), fleet, now, h, plan.Options{})
}

// says is a timetable in minutes after the evening: steps by their beginnings, the finish, and what else there is to it.
func says(p Timetable) string {
	var b strings.Builder
	minutes := func(at time.Time) string { return fmt.Sprintf("%g", at.Sub(evening).Minutes()) }
	for _, v := range p.Visits {
		for _, t := range v.Turns {
			name := t.Step
			if t.Rework != "" {
				name = "rework " + t.Rework
			}
			fmt.Fprint(&b, name+string(t.Act)+string(t.Again), " ", minutes(t.Begins), ", ")
		}
		b.WriteString("| ")
	}
	b.WriteString("ends " + minutes(p.Finish))
	for _, l := range p.Lapses {
		fmt.Fprintf(&b, ", %s lost: %t", l.Name, l.Lost)
	}
	for _, s := range p.Stops {
		fmt.Fprintf(&b, ", stops at %s by %s", s.Step, s.Reasons[0].Because)
	}
	if !p.Proven {
		b.WriteString(", not proven")
	}
	return b.String()
}

func (b *bench) planned(t *testing.T, h Hours, want string) Timetable {
	t.Helper()
	p, err := scheduled(t, b.now, h, b.state)
	if err != nil {
		t.Errorf("%v, want %s", err, want)
		return p
	}
	if got := says(p); got != want {
		t.Errorf("planned\n%s, want\n%s", got, want)
	}
	return p
}

// Of the fixture's build: both coats are on at 6, may be joined from 16 and until 40 minutes after the first was begun, the
// joint has handling strength 30 minutes after it is joined, the saddle is cured 24 hours after.
func TestScheduleByHand(t *testing.T) {
	const day = 24 * 60
	t.Run("one sitting after the other", func(t *testing.T) {
		p := building(t).planned(t, Hours{Sittings: open(0, 240, day, day+240)}, "coat-left 0, coat-right 3, propeller-off 6, blade-care 7, cut-pod 8, "+
			"join-roots 16, sand-pod 33, measure-slot 48, coat-saddle 49, join-saddle 53, | measure-square 1494, release 1495, | ends 1496")
		turn := p.Visits[0].Turns[5]
		if got := turn.Closes.Sub(evening).Minutes(); turn.Opens.Sub(evening) != 16*time.Minute || got != 40 {
			t.Errorf("the window is from %s to %s", turn.Opens, turn.Closes)
		}
		if got := turn.By.Sub(evening).Minutes(); got != 34 { // of the 27 minutes from 13 to 40, when the first is dry, a fifth
			t.Errorf("planned to be over by %g", got)
		}
		if p.Attended != 28*time.Minute || p.Idle != (54-26)*time.Minute+54*time.Minute {
			t.Errorf("attended %s, idle %s", p.Attended, p.Idle)
		}
		var chain []string
		for _, l := range p.Chain {
			chain = append(chain, l.Step+" "+string(l.After))
		}
		if got, want := strings.Join(chain, ", "), "coat-left now, coat-right step, join-roots drying, measure-slot handling, coat-saddle step, join-saddle step, measure-square cure, release step"; got != want {
			t.Errorf("chain %s, want %s", got, want)
		}
	})
	t.Run("what is measured waits for the next one", func(t *testing.T) {
		p, err := scheduled(t, evening, Hours{Sittings: open(0, 45, day, day+45, 2*day, 2*day+45)}, building(t).state)
		if err != nil || !strings.HasSuffix(says(p), "| measure-slot 1440, coat-saddle 1441, join-saddle 1445, | measure-square 2886, release 2887, | ends 2888") {
			t.Errorf("%s, %v", says(p), err)
		}
	})
	t.Run("no coat is put on that can't be joined tonight", func(t *testing.T) {
		building(t).planned(t, Hours{Sittings: open(0, 15, day, day+90, 2*day, 2*day+90)}, "propeller-off 0, blade-care 1, cut-pod 2, | "+
			"coat-left 1440, coat-right 1443, sand-pod 1446, join-roots 1456, measure-slot 1488, coat-saddle 1489, join-saddle 1493, | measure-square 2934, release 2935, | ends 2936")
	})
	// 18 + 6 of the window are spared at the end of the sitting too, so that it takes 24 minutes; with 23 it is too short.
	t.Run("what is spared of a window is spared of the sitting", func(t *testing.T) {
		h := Hours{Sittings: open(0, 24, day, day+240, 2*day, 2*day+240)}
		h.Tight = true
		p, err := scheduled(t, evening, h, building(t).state)
		if err != nil || !strings.Contains(says(p), "join-roots 16,") {
			t.Errorf("%s, %v", says(p), err)
		} else if turns := p.Visits[0].Turns; !turns[len(turns)-1].By.Equal(p.Visits[0].To) { // its window closes at 40
			t.Errorf("to be over by %s", turns[len(turns)-1].By)
		}
		h.Tight = false
		if p, err := scheduled(t, evening, h, building(t).state); err != nil || !strings.Contains(says(p), "join-roots 16,") {
			t.Errorf("%s, %v", says(p), err)
		}
		h.Sittings = open(0, 23, day, day+240, 2*day, 2*day+240)
		if p, err := scheduled(t, evening, h, building(t).state); err != nil || !strings.Contains(says(p), "join-roots 1456,") {
			t.Errorf("%s, %v", says(p), err)
		}
		h.Tight = true
		if p, err := scheduled(t, evening, h, building(t).state); err != nil || !strings.Contains(says(p), "join-roots 16,") {
			t.Errorf("used to the end: %s, %v", says(p), err)
		}
	})
	t.Run("cold makes it later, warmth too short", func(t *testing.T) {
		for celsius, join := range map[float64]string{10: "join-roots 26", 20: "join-roots 16", 30: "join-roots 16"} {
			p, err := scheduled(t, evening, Hours{Sittings: open(0, 240, day, 4*day), Celsius: &celsius}, building(t).state)
			if err != nil || !strings.Contains(says(p), join+",") {
				t.Errorf("at %g °C: %s, %v", celsius, says(p), err)
			}
		}
		celsius := 35. // of 40 minutes 14 are left, in which 18 must pass: the rest is planned
		p, err := scheduled(t, evening, Hours{Sittings: open(0, 240), Celsius: &celsius}, building(t).state)
		if err != nil || says(p) != "propeller-off 0, blade-care 1, cut-pod 2, sand-pod 27, | ends 32, stops at coat-left by climate" {
			t.Fatalf("at 35 °C: %s, %v", says(p), err)
		}
		if r := p.Stops[0].Reasons[0]; r.Text != "what must be done within the window of roots takes 18 min, and at 35 °C it has 14 min" ||
			r.Remedy.Kind != ToCoolBench || r.Remedy.Value.String() != "30 °C" {
			t.Errorf("at 35 °C: %+v", r)
		}
	})
	t.Run("by the builder's own minutes, no window gets longer", func(t *testing.T) {
		quick := func(_ *steps.Procedure, step *steps.Step) (time.Duration, bool) {
			return time.Minute, step.Name == "coat-left"
		}
		p, err := scheduled(t, evening, Hours{Sittings: open(0, 240, day, day+240), Pace: quick}, building(t).state)
		if err != nil || !strings.Contains(says(p), "coat-right 1, ") {
			t.Fatalf("%s, %v", says(p), err)
		}
		for _, turn := range p.Visits[0].Turns { // it counts as 3 minutes old when it is done at 1
			if got := turn.Closes.Sub(evening).Minutes(); turn.Step == "join-roots" && got != 38 {
				t.Errorf("the window closes at %g", got)
			}
		}
	})
	t.Run("the builder's own minutes say what is written", func(t *testing.T) {
		glue := steps.Step{Name: "lay", Kind: steps.Glue, Joint: "tab", Adhesives: []string{"contact"}, Load: true, Hands: q("5 min")}
		s := working(t, one("one", glue, hands("sand", "4 min"), hands("wipe", "4 min"))).state
		for _, test := range []struct {
			pace func(*steps.Procedure, *steps.Step) (time.Duration, bool)
			want string
		}{
			{nil, "laycoat 5/0 laypress 3/0 sand 4/0 wipe 4/0 "},
			{func(_ *steps.Procedure, step *steps.Step) (time.Duration, bool) {
				return 7 * time.Minute, step.Name != "wipe"
			}, "laycoat 7/5 laypress 4/3 sand 7/4 wipe 4/0 "},
		} {
			p, err := scheduled(t, evening, Hours{Sittings: open(0, 240), Pace: test.pace}, s)
			is := ""
			for _, turn := range p.Visits[0].Turns {
				is += fmt.Sprintf("%s%s %g/%d ", turn.Step, turn.Act, turn.Ends.Sub(turn.Begins).Minutes(), turn.Written)
			}
			if err != nil || is != test.want {
				t.Errorf("%s, %v, want %s", is, err, test.want)
			}
		}
	})
}

// Clocks that run are kept; those that can't be are given up, and what they were of is done again.
func TestScheduleWithClocksRunning(t *testing.T) {
	const day = 24 * 60
	coated := func() *bench {
		b := building(t)
		b.after(3 * time.Minute)
		b.done("coat-left")
		b.after(3 * time.Minute)
		b.done("coat-right")
		return b
	}
	rest := "measure-slot 48, coat-saddle 49, join-saddle 53, | measure-square 1494, release 1495, | ends 1496"
	b := coated()
	b.planned(t, Hours{Sittings: open(0, 240, day, day+240)}, "propeller-off 6, blade-care 7, cut-pod 8, join-roots 16, sand-pod 33, "+rest)
	b.now = evening.Add(10*time.Minute + 20*time.Second)
	b.planned(t, Hours{Sittings: open(0, 240, day, day+240)}, "propeller-off 11, blade-care 12, join-roots 16, cut-pod 18, sand-pod 43, "+rest)
	b.now = evening.Add(36 * time.Minute) // of the five minutes to spare there are four left
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 240, day, day+240)}, b.state)
	if err != nil || !strings.HasPrefix(says(p), "join-roots 36, ") || !strings.Contains(says(p), "roots lost: false") {
		t.Errorf("%s, %v", says(p), err)
	}
	b.now = evening.Add(10 * time.Minute)
	p, err = scheduled(t, b.now, Hours{Sittings: open(day, day+240, 2*day, 2*day+240)}, b.state)
	if err != nil || !strings.Contains(says(p), "coat-left 1440, coat-right 1443, ") || !strings.Contains(says(p), "roots lost: true") {
		t.Errorf("%s, %v", says(p), err)
	}
	b.now = evening.Add(16 * time.Minute)
	b.done("join-roots")
	b.planned(t, Hours{Sittings: open(0, 240, day, day+240)}, "propeller-off 16, blade-care 17, cut-pod 18, sand-pod 43, "+
		"measure-slot 48, coat-saddle 49, join-saddle 53, | measure-square 1494, release 1495, | ends 1496")
}

// Two coats are on and close 40 minutes after they were begun; when the bench is free, there is time to join one. The other is
// coated anew, once its window is over: joined from 36 to 39, coated from 41 to 44, dry at 54, joined until 57.
func TestScheduleGivesUpOneOfTwoWindows(t *testing.T) {
	var fleet []*State
	for _, mark := range []string{"PL-01", "PL-02"} {
		coat, join := coating("coat", "tab"), joining("join", "tab")
		coat.Hands, join.Hands = q("3 min"), q("3 min")
		b := working(t, one("one", coat, join))
		b.after(3 * time.Minute)
		b.done("coat")
		b.state.Airframe.Mark = mark
		fleet = append(fleet, b.state)
	}
	p, err := scheduled(t, evening.Add(10*time.Minute), Hours{Sittings: open(36, 240)}, fleet...)
	if err != nil || says(p) != "join 36, coat 41, join 54, | ends 57, tab lost: false, tab lost: true" && says(p) != "join 36, coat 41, join 54, | ends 57, tab lost: true, tab lost: false" {
		t.Errorf("%s, %v", says(p), err)
	}
	// With time for both, nothing is spared of either, and none is lost.
	p, err = scheduled(t, evening.Add(10*time.Minute), Hours{Sittings: open(33, 240)}, fleet...)
	if err != nil || says(p) != "join 33, join 36, | ends 39, tab lost: false, tab lost: false" {
		t.Errorf("%s, %v", says(p), err)
	}
}

// Where not all that is to be spared of an open window can be, what can be is, though all would be done sooner if it were not: the coat closes at
// 40, six minutes of it are to be spared, and what is mixed first would be dry the sooner.
func TestScheduleGivesUpNoMoreSpareThanItMust(t *testing.T) {
	coat, join, mix := coating("coat", "tab"), joining("join", "tab"), plain("mix")
	coat.Hands, join.Hands, mix.Hands = q("3 min"), q("3 min"), q("3 min")
	b := working(t, one("one", coat, join), one("two", mix, wait("dries", "1 h"), plain("trim")))
	b.after(3 * time.Minute)
	b.done("coat")
	b.now = evening.Add(10 * time.Minute)
	for from, want := range map[int]string{
		27: "mix 27, join 30, trim 90, | ends 91",
		28: "mix 28, join 31, trim 91, | ends 92", // as late as with six minutes to spare
		29: "join 29, mix 32, trim 95, | ends 96", // which five do not leave
		31: "join 31, mix 34, trim 97, | ends 98",
		32: "join 32, mix 35, trim 98, | ends 99, tab lost: false",
		34: "join 34, mix 37, trim 100, | ends 101, tab lost: false",
		36: "join 36, mix 39, trim 102, | ends 103, tab lost: false",
		37: "join 37, mix 40, trim 103, | ends 104, tab lost: false",
	} {
		p, err := scheduled(t, b.now, Hours{Sittings: open(from, 240)}, b.state)
		if err != nil || says(p) != want {
			t.Errorf("from %d: %s, %v, want %s", from, says(p), err, want)
		}
	}
}

// Of a tool the fewest count that any sheet has, whichever airframe is named first.
func TestScheduleCountsToolsTheSameInAnyOrder(t *testing.T) {
	with := func(mark string, count int) *State {
		in := sheet()
		in.Tools = []steps.Tool{{Name: "jig", Title: "A jig", Count: count}}
		step := plain("a")
		step.Hands, step.Tools = q("30 min"), []string{"jig"}
		b := workingOn(t, in, one("one", step))
		b.state.Airframe.Mark = mark
		return b.state
	}
	few, many := with("PL-01", 1), with("PL-02", 3)
	for _, fleet := range [][]*State{{few, many}, {many, few}} {
		if p, err := scheduled(t, evening, Hours{Sittings: open(0, 120), Hands: 2}, fleet...); err != nil || !strings.HasSuffix(says(p), "| ends 60") {
			t.Errorf("%s, %v", says(p), err)
		}
	}
}

// What crashed is made safe before any other work, on whichever airframe, also where that costs time; but for a joint that is
// open.
func TestScheduleMakesSafeFirst(t *testing.T) {
	safe, long, other := plain("make-safe"), plain("mend"), plain("other")
	other.Hands = q("30 min")
	first := one("first", safe)
	first.Phase = steps.Safe
	crashed := working(t, one("mending", long), first)
	beside := working(t, one("one", other))
	crashed.state.Jobs[0].Damages = []string{"D1"}
	crashed.state.Airframe.Mark = "PL-02"
	for _, fleet := range [][]*State{{crashed.state, beside.state}, {beside.state, crashed.state}} {
		p, err := scheduled(t, evening, Hours{Sittings: open(0, 31, 1440, 1500)}, fleet...)
		if err != nil || !strings.HasPrefix(says(p), "make-safe 0, ") || len(p.Visits) == 0 {
			t.Errorf("%s, %v", says(p), err)
		}
	}
	coated := working(t, one("one", coating("coat", "tab"), joining("join", "tab")))
	coated.done("coat")
	p, err := scheduled(t, evening.Add(30*time.Minute), Hours{Sittings: open(30, 31, 50, 90)}, coated.state, crashed.state)
	if err != nil || !strings.HasPrefix(says(p), "join 30, | make-safe 50, ") {
		t.Errorf("%s, %v", says(p), err)
	}
}

// A wait with an end: the step after it lies in its window, with five minutes to spare.
func TestScheduleOfAWaitWithAnEnd(t *testing.T) {
	again := wait("again", "20 min")
	again.By, again.From, again.Late = q("30 min"), "press", steps.LateSay
	long := plain("long")
	long.Hands = q("25 min")
	b := working(t, one("one", plain("press"), again, plain("press-again")), one("two", long))
	// 25 minutes between the pressings are a minute more than leave five of the ten minutes from 20 to 30: all come one after
	// the other then, with 20 minutes of waiting.
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 60)}, b.state)
	if err != nil || !strings.HasSuffix(says(p), "| ends 47") {
		t.Errorf("%s, %v", says(p), err)
	}
	for _, turn := range p.Visits[0].Turns {
		if turn.Step == "press-again" && (turn.Closes.Sub(turn.Begins) != 10*time.Minute || turn.By.Sub(turn.Begins) != 5*time.Minute) {
			t.Errorf("at %s, it closes at %s, by %s", turn.Begins, turn.Closes, turn.By)
		}
	}
	b.planned(t, Hours{Sittings: open(0, 60), Tight: true}, "press 0, long 1, press-again 26, | ends 27")
}

// What heats stays away from an open coat and its vapour: before it, or half an hour after it is joined.
func TestScheduleKeepsHeatFromCoats(t *testing.T) {
	b := ironing(t)
	// One after the other the coat would be first: it dries, is joined at 11, its vapour is gone at 42. Before it, the three
	// minutes of ironing are over at 3.
	b.planned(t, Hours{Sittings: open(0, 240)}, "warm 0, read 1, iron-it 2, coat 3, join 14, | ends 15")
	b.done("coat")
	b.planned(t, Hours{Sittings: open(0, 240)}, "join 10, warm 41, read 42, iron-it 43, | ends 44")
}

// So it does on another airframe of the bench, planned with it or not, where the iron is the bench's.
func TestScheduleKeepsHeatFromCoatsBeside(t *testing.T) {
	a, b := shared(t, "PL-01", true), shared(t, "PL-02", true)
	p, err := scheduled(t, evening, Hours{Sittings: open(0, 240)}, a.state.Beside([]*State{b.state}), b.state.Beside([]*State{a.state}))
	if err != nil {
		t.Fatal(err)
	}
	type span struct{ from, to time.Time }
	var coats, heats []span
	of := map[string]Turn{}
	for _, turn := range p.Visits[0].Turns {
		of[turn.Mark+turn.Step] = turn
		if turn.Step == "warm" || turn.Step == "warm-again" {
			heats = append(heats, span{turn.Begins, turn.Ends})
		}
	}
	for _, mark := range []string{"PL-01", "PL-02"} {
		coats = append(coats, span{of[mark+"coat"].Begins, of[mark+"join"].Ends.Add(30 * time.Minute)})
	}
	for _, c := range coats {
		for _, h := range heats {
			if h.from.Before(c.to) && c.from.Before(h.to) {
				t.Errorf("it is heated from %s to %s beside what is open from %s to %s", h.from, h.to, c.from, c.to)
			}
		}
	}
	if len(heats) != 4 || !p.Proven || p.Finish.Sub(evening) > 17*time.Minute { // four minutes of heat, two coats, ten to dry, the joins
		t.Errorf("%s", says(p))
	}
	a.must(setting("iron", "cold"), ClearUse{Of: "contact", Answers: []bool{true}})
	a.done("coat") // open for 40 minutes, and then its vapour for 30
	alone, err := scheduled(t, evening, Hours{Sittings: open(0, 240)}, b.state.Beside([]*State{a.state}))
	if err != nil || !strings.Contains(says(alone), "warm 70") {
		t.Errorf("%s, %v", says(alone), err)
	}
	both, err := scheduled(t, evening, Hours{Sittings: open(0, 240)}, a.state.Beside([]*State{b.state}), b.state.Beside([]*State{a.state}))
	if err != nil || both.Finish.Sub(evening) > 60*time.Minute { // joined from 10 on, it is away at 41 or, after that of the other, 42
		t.Errorf("%s, %v", says(both), err)
	}
}

// A gate out of tolerance is reworked before it is measured again; the timetable can be kept as JSON and followed.
func TestScheduleReworks(t *testing.T) {
	in := sheet()
	in.Gates[0].Reworks = []steps.Rework{{Do: "sand it"}}
	measure := steps.Step{Name: "measure", Kind: steps.Measure, Gates: []string{"slot"}, Hands: q("4 min")}
	b := workingOn(t, in, one("one", measure, plain("go-on")))
	b.must(readings("slot", "root=5 mm", "tip=5 mm"))
	p := b.planned(t, Hours{Sittings: open(0, 60)}, "rework slot 0, measure 4, go-on 8, | ends 9")
	kept, err := json.Marshal(p)
	var again Timetable
	if err == nil {
		err = json.Unmarshal(kept, &again)
	}
	if err != nil || says(again) != says(p) {
		t.Errorf("%s, %v", says(again), err)
	}
	if rows := p.Planned("PL-01"); len(rows) != 3 || rows[0].Rework != "slot" || rows[0].Step != "" || rows[1].Rework != "" || rows[1].Step != "measure" {
		t.Errorf("it is kept as %+v", rows)
	}
	in = sheet()
	b = workingOn(t, in, one("one", measure, plain("go-on")))
	b.must(readings("slot", "root=5 mm", "tip=5 mm"))
	if p, err := scheduled(t, b.now, Hours{Sittings: open(0, 60)}, b.state); err != nil || says(p) != "ends 0, stops at measure by gate" {
		t.Errorf("%s, %v", says(p), err)
	}
}

// Two pairs of hands work side by side but for a tool that there is once.
func TestScheduleForTwo(t *testing.T) {
	a, b := plain("a"), plain("b")
	a.Hands, b.Hands = q("30 min"), q("30 min")
	a.Tools, b.Tools = []string{"knife"}, []string{"saw"}
	p := working(t, one("one", a, plain("c")), one("two", b)).planned(t, Hours{Sittings: open(0, 90), Hands: 2}, "a 0, b 0, c 30, | ends 31")
	var who []string
	for _, turn := range p.Visits[0].Turns {
		who = append(who, turn.Step+fmt.Sprint(turn.Hands))
	}
	if got := strings.Join(who, " "); got != "a[1] b[2] c[2]" {
		t.Errorf("%s do it", got)
	}
	b.Tools = a.Tools
	working(t, one("one", a), one("two", b)).planned(t, Hours{Sittings: open(0, 90), Hands: 2}, "a 0, b 30, | ends 60")
	a.Alone, b.Tools = []string{steps.No}, nil // takes both
	p = working(t, one("one", a), one("two", b)).planned(t, Hours{Sittings: open(0, 90), Hands: 2}, "a 0, b 30, | ends 60")
	if got := fmt.Sprint(p.Visits[0].Turns[0].Hands); got != "[1 2]" {
		t.Errorf("%s do what wants a second person", got)
	}
	if !p.Visits[0].Turns[0].Second || p.Visits[0].Turns[1].Second {
		t.Error("nobody is told that a second person is wanted")
	}
	// Who has a second person takes them; one alone does what is written for that.
	a.Alone = []string{"A mirror"}
	p = working(t, one("one", a), one("two", b)).planned(t, Hours{Sittings: open(0, 90), Hands: 2}, "a 0, b 30, | ends 60")
	if turn := p.Visits[0].Turns[0]; !turn.Second || len(turn.Alone) != 1 {
		t.Errorf("%+v", turn)
	}
	working(t, one("one", a), one("two", b)).planned(t, Hours{Sittings: open(0, 90)}, "a 0, b 30, | ends 60")
}

// What a choice governs is planned by its first answer, or by what is considered.
func TestScheduleConsiders(t *testing.T) {
	choose := steps.Step{Name: "way", Kind: steps.Choose, Methods: []steps.Option{{Name: "sawn"}, {Name: "cut"}}}
	saw, cut := plain("saw"), plain("cut-it")
	saw.With, cut.With = [][]string{{"sawn"}}, [][]string{{"cut"}}
	glue := coating("coat", "tab")
	glue.Adhesives = []string{"contact", "epoxy"}
	b := working(t, one("one", choose, saw, cut, glue, joining("join", "tab")))
	p := b.planned(t, Hours{Sittings: open(0, 90)}, "way 0, saw 1, coat 2, join 13, | ends 14")
	if len(p.Answers) != 1 || p.Answers[0].Answer != "sawn" {
		t.Errorf("taken as given: %+v", p.Answers)
	}
	p = b.planned(t, Hours{Sittings: open(0, 90), Consider: []string{"cut", "epoxy"}}, "way 0, cut-it 1, coat 2, join 3, | ends 4")
	if len(p.Moot) > 0 {
		t.Errorf("%+v change nothing", p.Moot)
	}
	for _, both := range [][]string{{"cut", "sawn"}, {"epoxy", "contact"}} {
		if _, err := scheduled(t, b.now, Hours{Sittings: open(0, 90), Consider: both}, b.state); !errors.Is(err, ErrBadRequest) {
			t.Errorf("%s: %v", both, err)
		}
	}
	p = b.planned(t, Hours{Sittings: open(0, 90), Consider: []string{"contact", "sawn", "carbon"}}, "way 0, saw 1, coat 2, join 13, | ends 14")
	if got, want := fmt.Sprint(p.Moot), "[{contact true  } {sawn true  } {carbon false  }]"; got != want {
		t.Errorf("%s change nothing, want %s", got, want)
	}
	b.must(Choose{Answer: "cut"})
	p = b.planned(t, Hours{Sittings: open(0, 90), Consider: []string{"sawn"}}, "cut-it 0, coat 1, join 12, | ends 13")
	if got, want := fmt.Sprint(p.Moot), "[{sawn false PL-01 cut}]"; got != want {
		t.Errorf("%s change nothing, want %s", got, want)
	}
}

// The plan goes as far as the record lets it.
func TestScheduleStops(t *testing.T) {
	b := building(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "pod", Severity: steps.Serious}}})
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 240)}, b.state)
	if err != nil || len(p.Stops) == 0 || p.Stops[0].Reasons[0].Because != ByDamage || !strings.Contains(says(p), "measure-slot") || strings.Contains(says(p), "saddle") {
		t.Errorf("%s, %v", says(p), err)
	}
}

// Where a repair stops, so does what waits for it: nothing of another job is planned on what is damaged still.
func TestScheduleStopsWithARepair(t *testing.T) {
	b := released(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
	start := Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing", Damages: []string{"D1"}}
	other := start
	again := repairWork()
	again.Name = "skin-again"
	other.Procedure, other.Digest, other.Damages = again, "sha256:skin-again", nil
	docs := documents()
	docs.Procedures[other.Digest] = again
	b.docs = &docs
	b.must(start, other)
	for celsius, want := range map[float64][]string{20: {"skin-lifted", "skin-again"}, 2: {"skin-lifted"}} {
		p, err := scheduled(t, b.now, Hours{Sittings: []Sitting{{b.now, b.now.Add(4 * time.Hour)}}, Again: true, Celsius: &celsius}, b.state)
		if err != nil {
			t.Fatal(err)
		}
		var jobs []string
		for _, planned := range p.Planned("PL-01") {
			if jobs == nil || jobs[len(jobs)-1] != planned.Job {
				jobs = append(jobs, planned.Job)
			}
		}
		if fmt.Sprint(jobs) != fmt.Sprint(want) {
			t.Errorf("at %g °C %v are planned: %s", celsius, jobs, says(p))
		}
	}
}

// What cannot be is said with what is in conflict, and what would free it.
func TestNoPlan(t *testing.T) {
	long := plain("long")
	long.Hands = q("50 min")
	far := coating("coat", "tab")
	between := plain("between")
	between.Hands = q("35 min")
	for name, c := range map[string]struct {
		b        *bench
		sittings []Sitting
		want     NoPlan
	}{
		"all over":    {building(t), open(-60, -10), NoPlan{Why: NoSitting, Sittings: open(-60, -10)}},
		"none":        {building(t), nil, NoPlan{Why: NoSitting}},
		"ends first":  {building(t), open(10, 5), NoPlan{Why: BadSitting, Sittings: open(10, 5)}},
		"two at once": {building(t), open(10, 50, 40, 90), NoPlan{Why: Overlap, Sittings: open(40, 90)}},
		"a long step": {working(t, one("one", long)), open(0, 45, 60, 90), NoPlan{Why: TooLong, Takes: 50 * time.Minute, Has: 45 * time.Minute, Free: []Freeing{{Once: 50 * time.Minute}}}},
		"too little":  {working(t, one("one", long, long)), open(0, 60), NoPlan{Why: TooLittle, Takes: 120 * time.Minute, Has: 60 * time.Minute, Until: evening.AddDate(0, 0, 7).Add(50 * time.Minute), Free: []Freeing{{More: 60 * time.Minute}}}},
		// 12 minutes and 6 of the window to spare.
		"a coat in short sittings": {working(t, one("one", far, joining("join", "tab"))), open(0, 15, 60, 75), NoPlan{Why: TooLong, Together: true, Takes: 18 * time.Minute, Has: 15 * time.Minute, Free: []Freeing{{Once: 18 * time.Minute}, {Tight: true}}}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := scheduled(t, evening, Hours{Sittings: c.sittings}, c.b.state)
			var no *NoPlan
			if !errors.As(err, &no) {
				t.Fatal(err)
			}
			got := *no
			got.Turns, got.Windows = nil, nil
			if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", c.want) {
				t.Errorf("%+v, want %+v", got, c.want)
			}
			if name == "a coat in short sittings" {
				var names []string
				for _, turn := range no.Turns {
					names = append(names, turn.Step)
				}
				if strings.Join(names, " ") != "coat join" {
					t.Errorf("in one sitting belong %v", names)
				}
			}
		})
	}
}

// More people are tried as a help up to as many as a plan can be for.
func TestMoreHands(t *testing.T) {
	for hands, want := range map[int]int{1: 2, MostHands - 1: MostHands, MostHands: 0} {
		if got := moreHands(hands); got != (Freeing{Hands: want}) {
			t.Errorf("for %d people %+v is tried, want %d", hands, got, want)
		}
	}
}

// After a slip the order that was shown is kept where that costs nothing.
func TestScheduleLikeBefore(t *testing.T) {
	var all []steps.Stage
	for _, name := range []string{"a", "b", "c", "d", "e", "f"} {
		step := plain(name)
		step.Hands = q("10 min")
		all = append(all, one(name, step))
	}
	b := working(t, all...)
	shown := Timetable{Visits: []Visit{{Turns: []Turn{}}}}
	for i, name := range []string{"d", "a", "f", "b", "e", "c"} {
		shown.Visits[0].Turns = append(shown.Visits[0].Turns, Turn{Mark: "PL-01", Job: b.state.Jobs[0].ID, Step: name, Begins: evening.Add(time.Duration(10*i) * time.Minute)})
	}
	b.planned(t, Hours{Sittings: open(7, 90), Like: &shown}, "d 7, a 17, f 27, b 37, e 47, c 57, | ends 67")
}

// Where the sittings are too few, ones like them follow; else it is said how much more time it takes.
func TestScheduleGoesOnWeekAfterWeek(t *testing.T) {
	const week = 7 * 24 * 60
	b := building(t)
	p, err := scheduled(t, b.now, Hours{Sittings: open(0, 60), Again: true}, b.state)
	if err != nil || says(p) != "coat-left 0, coat-right 3, propeller-off 6, blade-care 7, cut-pod 8, join-roots 16, sand-pod 33, measure-slot 48, coat-saddle 49, join-saddle 53, | "+
		"measure-square 10080, release 10081, | ends 10082" || p.Visits[0].Added || !p.Visits[1].Added {
		t.Errorf("%s, %v", says(p), err)
	}
	_, err = scheduled(t, b.now, Hours{Sittings: open(0, 60)}, b.state)
	var no *NoPlan
	if !errors.As(err, &no) || no.Why != TooLittle || no.Until.Sub(evening) != (week+2)*time.Minute || no.Has != time.Hour || no.Free[0].More != time.Hour {
		t.Errorf("%+v", no)
	}
	// At the same time of the day across the change of the time: at 19:00 of Berlin, which is 18:00 UTC and then 17:00.
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	from := time.Date(2026, 3, 24, 19, 0, 0, 0, berlin)
	b.now = from
	p, err = scheduled(t, from, Hours{Sittings: []Sitting{{from, from.Add(time.Hour)}}, Again: true}, b.state)
	if err != nil || len(p.Visits) != 2 || !p.Visits[1].From.Equal(from.Add(7*24*time.Hour-time.Hour)) {
		t.Errorf("%s, %v", says(p), err)
	}
}

// Sittings of the small hours come again in the nights of the time changes too, as far as it is certain when they are: in
// Berlin no clock showed 02:00 to 03:00 on 29 March 2026, and all showed it twice on 25 October (IANA time zone database).
func TestSittingsComeAgainInTheSmallHours(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, berlin) }
	for _, c := range []struct {
		given      []Sitting
		days       int    // later
		want, plus string // of that day; and how many in all of 52 weeks
	}{
		{[]Sitting{{at(22, 2, 30), at(22, 3, 15)}}, 7, "", "51"},
		{[]Sitting{{at(22, 2, 30), at(22, 3, 45)}}, 7, "03:30-03:45", "52"},
		{[]Sitting{{at(22, 1, 0), at(22, 2, 30)}, {at(22, 3, 0), at(22, 4, 0)}}, 7, "01:00-01:30 03:00-04:00", "104"},
		{[]Sitting{{at(22, 2, 15), at(22, 4, 0)}}, 217, "02:15-04:00", "52"},
		{[]Sitting{{at(22, 2, 15), at(22, 2, 45)}}, 217, "", "50"},
	} {
		all := repeated(c.given, 51)
		var got []string
		for i, s := range all {
			if s.From.Format(time.DateOnly) == at(22+c.days, 0, 0).Format(time.DateOnly) {
				got = append(got, s.From.Format("15:04-")+s.To.Format("15:04"))
			}
			if !s.From.Before(s.To) || i > 0 && s.From.Before(all[i-1].To) || s.To.Sub(s.From) > c.given[0].To.Sub(c.given[0].From) {
				t.Errorf("%s to %s", s.From, s.To)
			}
		}
		if strings.Join(got, " ") != c.want || fmt.Sprint(len(all)) != c.plus {
			t.Errorf("%s: %q, %d in all, want %q, %s", c.given[0].From, got, len(all), c.want, c.plus)
		}
	}
	var half []Sitting // of a year: once more is enough for a few weeks
	for day := range 26 * 7 {
		half = append(half, Sitting{at(1+day, 12, 0), at(1+day, 13, 0)})
	}
	if all := repeated(half, 8); len(all) != 2*len(half) {
		t.Errorf("%d sittings of 26 weeks, and 8 weeks more: %d", len(half), len(all))
	}
	b := working(t, one("one", plain("short")))
	for hour := range 4 {
		p, err := scheduled(t, at(21, 12, 0), Hours{Sittings: []Sitting{{at(22, hour, 30), at(22, hour+1, 15)}}, Again: true}, b.state)
		if err != nil || len(p.Visits) != 1 || p.Visits[0].Added {
			t.Errorf("at %d:30: %v", hour, err)
		}
	}
}

// A night in which the clock is put forward has an hour less between its ends, one in which it is put back an hour more.
func TestScheduleInTheNightsOfTheTimeChanges(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	long := plain("long")
	long.Hands = q("90 min")
	b := working(t, one("one", long))
	for _, c := range []struct {
		day  time.Time
		fits bool
	}{{time.Date(2026, 3, 29, 1, 0, 0, 0, berlin), false}, {time.Date(2026, 10, 25, 1, 0, 0, 0, berlin), true}} {
		to := time.Date(c.day.Year(), c.day.Month(), c.day.Day(), 3, 0, 0, 0, berlin) // two hours later by the clock
		p, err := scheduled(t, c.day, Hours{Sittings: []Sitting{{c.day, to}}}, b.state)
		if (err == nil) != c.fits {
			t.Errorf("%s: %v", c.day, err)
		}
		if c.fits && p.Finish.Sub(c.day) != 90*time.Minute {
			t.Errorf("%s: it ends at %s", c.day, p.Finish)
		}
	}
}

// An open window that no sitting meets is met in the shortest one that is named, with what must be done before, and not in one that
// is shorter by more than what is spared of it.
func TestScheduleSaysWhichSittingSavesAWindow(t *testing.T) {
	const day = 24 * 60
	mask := plain("mask")
	mask.Hands = q("4 min")
	for name, c := range map[string]struct {
		stages []steps.Stage
		at     int    // now
		want   [2]int // minutes after the evening
	}{
		"the join alone":     {[]steps.Stage{one("one", coating("coat", "tab"), joining("join", "tab"))}, 5, [2]int{11, 17}},
		"with a step before": {[]steps.Stage{one("one", coating("coat", "tab"), mask, joining("join", "tab"))}, 5, [2]int{7, 17}},
		"a step and a wait":  {[]steps.Stage{one("one", coating("coat", "tab"), mask, wait("rest", "20 min"), joining("join", "tab"))}, 5, [2]int{5, 35}},
		"nothing to spare":   {[]steps.Stage{one("one", coating("coat", "tab"), joining("join", "tab"))}, 37, [2]int{37, 41}},
	} {
		t.Run(name, func(t *testing.T) {
			b := working(t, c.stages...)
			b.after(time.Minute)
			b.done("coat")
			b.now = evening.Add(time.Duration(c.at) * time.Minute)
			h := Hours{Sittings: open(day, day+90)}
			p, err := scheduled(t, b.now, h, b.state)
			if err != nil || len(p.Lapses) != 1 || !p.Lapses[0].Lost {
				t.Fatalf("%s, %v", says(p), err)
			}
			save := p.Lapses[0].Save
			if want := open(c.want[0], c.want[1])[0]; !save.From.Equal(want.From) || !save.To.Equal(want.To) {
				t.Errorf("saved from %g to %g", save.From.Sub(evening).Minutes(), save.To.Sub(evening).Minutes())
			}
			for cut, lost := range map[time.Duration]bool{0: false, spareLeast*time.Minute + time.Minute: true} {
				s := Sitting{save.From, save.To.Add(-cut)}
				if !s.From.Before(s.To) {
					continue
				}
				h.Sittings = append([]Sitting{s}, open(day, day+90)...)
				p, err := scheduled(t, b.now, h, b.state)
				if err != nil {
					t.Fatal(err)
				}
				is, overtime := len(p.Lapses) > 0 && p.Lapses[0].Lost, p.Visits[0].Overtime // which goes on for longer
				if is != lost && !(lost && overtime) {
					t.Errorf("in %s to %s: %s", s.From, s.To, says(p))
				}
			}
		})
	}
}

// What has no room in the rest of a sitting is the first that holds the finish back, with what comes before it, and how much later that could
// be: until the sitting is full.
func TestChainSaysWhatIsToSpare(t *testing.T) {
	long, longest := plain("long"), plain("longest")
	long.Hands, longest.Hands = q("20 min"), q("30 min")
	for name, is := range map[string]struct {
		b      *bench
		chain  string
		before string
		spare  int
	}{
		"a wait":         {working(t, one("one", plain("glue"), wait("sets", "10 min"), long)), "long sitting", "glue", 29},
		"a step":         {working(t, one("one", plain("first"), long, long)), "long sitting", "long", 9},
		"a full sitting": {working(t, one("one", longest, long)), "longest now, long step", "", 0},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := scheduled(t, is.b.now, Hours{Sittings: open(0, 30, 1440, 1470)}, is.b.state)
			if err != nil {
				t.Fatal(err)
			}
			var chain []string
			for _, l := range p.Chain {
				chain = append(chain, l.Step+" "+string(l.After))
			}
			if got := strings.Join(chain, ", "); got != is.chain || p.Chain[0].Before != is.before || p.Chain[0].Spare != is.spare {
				t.Errorf("%s: %+v", says(p), p.Chain)
			}
		})
	}
}
