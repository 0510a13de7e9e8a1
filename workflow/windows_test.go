package workflow

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/bond"
)

// Where the bench is planned colder or warmer than an adhesive works, what is glued with it is not planned: the adhesive is
// named with its range, and what would help. Contact adhesive works from 5 to 35 °C here, epoxy from 10 to 30.
func TestScheduleGluesWhereAdhesivesWork(t *testing.T) {
	sittings := open(0, 240, 1440, 1680)
	for celsius, want := range map[float64]string{
		2:  "coat-left: contact works between 5 °C and 35 °C, and the bench is planned at 2 °C; warm-bench 10 °C",
		8:  "coat-saddle: epoxy works between 10 °C and 30 °C, and the bench is planned at 8 °C; warm-bench 10 °C",
		30: "",
		31: "coat-saddle: epoxy works between 10 °C and 30 °C, and the bench is planned at 31 °C; cool-bench 30 °C",
		40: "coat-left: contact works between 5 °C and 35 °C, and the bench is planned at 40 °C; cool-bench 30 °C",
	} {
		p, err := scheduled(t, evening, Hours{Sittings: sittings, Again: true, Celsius: &celsius}, building(t).state)
		if err != nil {
			t.Fatalf("at %g °C: %v", celsius, err)
		}
		got := ""
		for _, s := range p.Stops {
			r := s.Reasons[0]
			got += fmt.Sprintf("%s: %s; %s %s", s.Step, r.Text, r.Remedy.Kind, r.Remedy.Value)
		}
		if got != want {
			t.Errorf("at %g °C it stops at %q, want %q", celsius, got, want)
		}
		for _, planned := range p.Planned("PL-01") {
			if strings.HasPrefix(want, planned.Step+":") {
				t.Errorf("at %g °C: %s", celsius, says(p))
			}
		}
	}
	t.Run("as it was read", func(t *testing.T) {
		b := building(t)
		b.must(ReadBench{Temperature: q("3 °C")})
		if p, err := scheduled(t, evening, Hours{Sittings: sittings}, b.state); err != nil || !strings.Contains(says(p), "stops at coat-left by climate") {
			t.Errorf("%s, %v", says(p), err)
		}
	})
	t.Run("of several on one bench, as it was read last", func(t *testing.T) {
		a, b := building(t), building(t)
		b.after(time.Minute)
		b.must(ReadBench{Temperature: q("3 °C")})
		p, err := scheduled(t, b.now, Hours{Sittings: sittings}, a.state, b.state)
		if err != nil || len(p.Stops) != 2 || p.Climate[0].Celsius != 3 || !p.Climate[0].Same(p.Climate[1]) {
			t.Errorf("%s, %+v, %v", says(p), p.Climate, err)
		}
	})
	t.Run("an open joint is not joined where it may not be", func(t *testing.T) {
		b := working(t, one("one", coating("coat", "tab"), joining("join", "tab")))
		b.done("coat")
		celsius := 2.
		if p, err := scheduled(t, evening, Hours{Sittings: sittings, Celsius: &celsius}, b.state); err != nil || !strings.Contains(says(p), "stops at join by climate") {
			t.Errorf("%s, %v", says(p), err)
		}
	})
	t.Run("another adhesive works", func(t *testing.T) {
		coat := coating("coat", "tab")
		coat.Adhesives = []string{"epoxy", "contact"}
		b := working(t, one("one", coat, joining("join", "tab")))
		celsius := 7.
		h := Hours{Sittings: sittings, Celsius: &celsius}
		if p, err := scheduled(t, evening, h, b.state); err != nil || len(p.Stops) > 0 || p.Visits[0].Turns[0].With != "contact" {
			t.Errorf("%s, %v", says(p), err)
		}
		h.Consider = []string{"epoxy"}
		p, err := scheduled(t, evening, h, b.state)
		if err != nil || len(p.Stops) != 1 || fmt.Sprint(p.Stops[0].Reasons[0].Remedy.Names) != "[contact]" {
			t.Errorf("%+v, %v", p.Stops, err)
		}
	})
}

// Where a window is too short for what must be done in it, what would help was tried: a cooler bench where warmth shortens
// the window, a warmer one where cold has the coat dry too late, another adhesive, or none of them.
func TestScheduleSaysWhatMakesAWindowLongEnough(t *testing.T) {
	// Dry after 10 minutes at 20 °C and open for 40; twice as fast for each 10 K, longer by cold alone, shorter by warmth alone.
	slow := joining("join", "tab")
	slow.Hands = q("10 min")
	in := sheet()
	in.Adhesives = append(in.Adhesives, steps.Adhesive{Name: "slow", Title: "Slow epoxy", From: q("0 min"), To: q("4 h"), At: q("20 °C"), Handling: q("8 h"), Cure: q("24 h"),
		Coldest: q("10 °C"), Warmest: q("30 °C"), Times: bond.Times{To: 4 * time.Hour, Handling: 8 * time.Hour, Cure: 24 * time.Hour, At: 20, Mixed: true}})
	quick := coating("coat", "tab")
	quick.Hands = q("5 min")
	coat, between := coating("coat", "tab"), plain("between")
	coat.Hands, between.Hands = q("3 min"), q("50 min")
	either := coat
	either.Adhesives = []string{"contact", "slow"}
	for name, c := range map[string]struct {
		b       *bench
		celsius float64
		want    string
	}{
		// 18 minutes are needed of 40 · 2^((20-T)/10): 17.4 at 32 °C, 18.7 at 31; the epoxy of the saddle works up to 30.
		"too warm": {building(t), 35, "at 30"},
		// 5 + 1 + 10 + 1.
		"too warm alone": {working(t, one("one", quick, coating("more", "tab"), joining("join", "tab"))), 35, "at 32"},
		// 3 + 10 · 2^((20-T)/10) + 10 of 40: 28.3 to dry at 5 °C, 26.4 at 6.
		"too cold": {working(t, one("one", coat, slow)), 5, "at 6"},
		// 3 + 50 + 1 of 40.
		"with another adhesive": {workingOn(t, in, one("one", either, between, joining("join", "tab"))), 20, "with slow there is time"},
		"nothing":               {working(t, one("one", coat, between, joining("join", "tab"))), 20, "no other temperature, adhesive or second person would help: less must be done between the coat and the join"},
	} {
		p, err := scheduled(t, evening, Hours{Sittings: open(0, 240, 1440, 1680), Celsius: &c.celsius}, c.b.state)
		if err != nil || len(p.Stops) == 0 {
			t.Errorf("%s: %v, %s", name, err, says(p))
			continue
		}
		r := p.Stops[0].Reasons[0]
		got := []string{strings.Split(r.Text+"; ", "; ")[1]}
		if help := r.Remedy; help.Kind != "" {
			got = append([]string{"at " + strings.TrimSuffix(help.Value.String(), " °C")}, help.Names...)
			if celsius, err := help.Value.Celsius(); err != nil || (help.Kind == ToCoolBench) != (celsius < c.celsius) {
				t.Errorf("%s: %+v", name, help)
			}
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s: %q would help, want %q", name, got, c.want)
		}
	}
}

// A window of which less than five minutes can be spared is named, unless nothing is to be spared.
func TestScheduleNamesWindowsWithLittleToSpare(t *testing.T) {
	between, join := plain("between"), joining("join", "tab")
	join.Hands = q("2 min")
	for minutes, want := range map[string]string{"32 min": "[]", "33 min": "[{PL-01 work tab 2026-03-03 19:40:00 +0000 UTC 4}]", "37 min": "[{PL-01 work tab 2026-03-03 19:40:00 +0000 UTC 0}]"} {
		between.Hands = q(minutes)
		b := working(t, one("one", coating("coat", "tab"), between, join)) // of 40 minutes: 1, those, 2
		h := Hours{Sittings: open(0, 240)}
		p, err := scheduled(t, evening, h, b.state)
		if err != nil || fmt.Sprint(p.Hasty) != want {
			t.Errorf("%s: %v, %v, want %s", minutes, p.Hasty, err, want)
		}
		h.Tight = true
		if p, err := scheduled(t, evening, h, b.state); err != nil || p.Hasty != nil {
			t.Errorf("%s: used to the end: %v, %v", minutes, p.Hasty, err)
		}
	}
}

// At a pace at which a window is too short what comes after it is left out, on whichever airframe it is. The rest of all of them
// is planned, and what would help is said. The pace must fit the whole of a window; only what is left of it is spared.
func TestSlowHandsLeaveOutWhatTheyCannotMeet(t *testing.T) {
	between, after := plain("between"), plain("after")
	between.Hands = q("32 min")
	coat := coating("coat", "tab")
	coat.Hands = q("3 min")
	work := func() []*State {
		slow := working(t, one("one", plain("before"), coat, between, joining("join", "tab"), after), one("two", plain("beside"))) // 36 of 40
		other := working(t, one("one", plain("there")))
		other.state.Airframe.Mark = "PL-02"
		return []*State{slow.state, other.state}
	}
	for percent, c := range map[int]struct{ want, hasty string }{
		100: {"", "[4]"},
		106: {"", "[1]"}, // 4 + 34 + 1 of 40
		112: {"what must be done within the window of tab takes 41 min at your own pace, and at 20 °C it has 40 min; in the minutes as written there is time: practise it without adhesive first", "[]"},
	} {
		pace := func(_ *steps.Procedure, step *steps.Step) (time.Duration, bool) {
			return handsOf(step) * time.Duration(percent) / 100, true
		}
		p, err := scheduled(t, evening, Hours{Sittings: open(0, 240), Pace: pace}, work()...)
		if err != nil {
			t.Errorf("%d %%: %v", percent, err)
			continue
		}
		spare := []int{}
		for _, h := range p.Hasty {
			spare = append(spare, h.Spare)
		}
		done, text := says(p), ""
		if len(p.Stops) > 0 {
			text = p.Stops[0].Reasons[0].Text
		}
		met := !strings.Contains(done, "stops at coat")
		for _, step := range []string{"before", "beside", "there"} {
			if !strings.Contains(done, step+" ") {
				t.Errorf("%d %%: %s is left out: %s", percent, step, done)
			}
		}
		for _, step := range []string{"coat", "join", "after"} {
			if strings.Contains(strings.Split(done, "|")[0], step+" ") != (c.want == "") {
				t.Errorf("%d %%: %s", percent, done)
			}
		}
		if text != c.want || met != (c.want == "") || fmt.Sprint(spare) != c.hasty {
			t.Errorf("%d %%: %q, to spare %v: %s", percent, text, spare, done)
		}
	}
}

// The sitting that would save an open window is found also where something stands hot meanwhile: by hand, the coat is joined in a minute
// from now on, with five to spare.
func TestWhatSavesAWindowWhileSomethingIsHot(t *testing.T) {
	b := hotAndGlued(t, 1, true)
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
	b.done("heat")
	b.done("coat")
	b.after(14 * time.Minute)
	p, err := scheduled(t, b.now, Hours{Sittings: open(100, 130, 1440, 1500)}, b.state)
	if want := (Sitting{b.now, b.now.Add(6 * time.Minute)}); err != nil || len(p.Lapses) != 1 || p.Lapses[0].Save != want {
		t.Errorf("%s, %v: %+v, want %v", says(p), err, p.Lapses, want)
	}
}

// A sitting that would save a soak has room for what is coated in it to be joined, with something to spare.
func TestScheduleSavesASoakWithItsJoin(t *testing.T) {
	b := soaking(t, "1 min")
	b.done("warm", "hot-one")
	b.must(ReadBench{Set: []steps.Setting{{Condition: "iron", State: "cold"}}})
	later := open(1440, 1440+240)
	p, err := scheduled(t, b.now, Hours{Sittings: later}, b.state)
	if err != nil || len(p.Lapses) != 1 || p.Lapses[0].Save.From.IsZero() {
		t.Fatalf("%s, %v, %+v", says(p), err, p.Lapses)
	}
	p, err = scheduled(t, b.now, Hours{Sittings: append([]Sitting{p.Lapses[0].Save}, later...)}, b.state)
	if err != nil || len(p.Lapses) > 0 {
		t.Errorf("%s, %v", says(p), err)
	}
}

// One face of a joint is coated at 0 and must be joined by 40. The other takes 1 minute, dries for 10, and is joined in 1: from minute 5
// that is over at 17. A sitting that ends with it, or before what is to be spared of the window of the second coat, still has it, and
// says that little is spared; one that ends sooner gives both coats up. Of one that is long enough nothing is said.
func TestASittingThatEndsWithTheJoinHasIt(t *testing.T) {
	const day = 24 * 60
	b := working(t, one("one", coating("left", "tab"), coating("right", "tab"), joining("join", "tab")))
	b.after(time.Minute)
	b.done("left")
	b.now = evening.Add(5 * time.Minute)
	for to, want := range map[int]string{
		16: "left 1440, right 1441, join 1452, | ends 2892.*lost: true",
		17: "right 5, join 16, | ends 1457, tab lost: false",
		22: "right 5, join 16, | ends 1457, tab lost: false",
		23: "right 5, join 16, | ends 1457",
	} {
		p, err := scheduled(t, b.now, Hours{Sittings: open(5, to, day, day+90)}, b.state)
		if got := says(p); err != nil || !regexp.MustCompile("^"+want+"$").MatchString(got) {
			t.Errorf("till %d: %s, %v; want %s", to, got, err, want)
		}
	}
}
