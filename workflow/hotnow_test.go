package workflow

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/plan"
)

// What the last plan has ended by now, in this sitting, is said at once, also while something is only waited for: not before, not of
// what was set anew since, and not where the step that is suggested needs it.
func TestWhatThePlanHasEndedIsSaid(t *testing.T) {
	cold := []steps.Setting{{Condition: "iron", State: "cold"}}
	b := parts(t, 2)
	b.done("warm")
	other := plain("tidy")
	r := b.step("film-1")
	for _, test := range []struct {
		name          string
		ended, now    int
		step          *steps.Step
		again, spoken bool
	}{
		{"before", 20, 19, &other, false, false},
		{"then", 20, 20, &other, false, true},
		{"while it waits", 20, 25, nil, false, true},
		{"it is needed", 20, 25, &r.Step, false, false},
		{"hot once more", 20, 25, &other, true, false},
		{"hot in the minute that the plan begins with its end", 22, 25, &other, true, true},
		{"long ago", 20, 81, &other, false, false},
	} {
		is := *b
		is.now = evening.Add(minutesOf(22))
		if test.again {
			is.must(setting("iron", "hot"))
		}
		is.state.Planned = []Planned{{Again: AgainSafe, Begins: evening.Add(minutesOf(test.ended)), Ends: cold}}
		g := Suggestion{}
		if test.step != nil {
			g.Step = &StepReport{Job: is.state.Jobs[0].ID, Step: *test.step}
		}
		end, by := is.state.EndFirst(g, evening.Add(minutesOf(test.now)))
		if (len(end) == 1) != test.spoken || !by.IsZero() {
			t.Errorf("%s: %v by %v", test.name, end, by)
		}
	}
}

// What the plan ends later in this sitting is said at once as soon as all that it has with that before is done, however early: not while that is
// left, nor for the end of a later sitting.
func TestWhatIsHotForNothingMoreIsSaidEarly(t *testing.T) {
	in := func(minute int) time.Time { return evening.Add(minutesOf(minute)) }
	b := parts(t, 2)
	b.done("warm")
	job := b.state.Jobs[0].ID
	ended := Planned{Again: AgainSafe, Begins: in(40), Leave: in(60), Ends: setting("iron", "cold").Set}
	films := []Planned{{Job: job, Step: "film-1", Begins: in(20), Minutes: 10, Leave: in(60)}, ended}
	tidy := StepReport{Job: job, Step: plain("tidy")}
	said := func(name string, want int, planned ...Planned) {
		t.Helper()
		b.state.Planned = planned
		if end, by := b.state.EndFirst(Suggestion{Step: &tidy}, in(25)); len(end) != want || want > 0 && !by.IsZero() {
			t.Errorf("%s: %v by %v, want %d", name, textsOf(end), by, want)
		}
	}
	said("what is done with it is left", 0, films...)
	films[0].Step = "warm"
	said("it is done", 1, films...)
	said("more is left", 0, append(films, Planned{Job: job, Step: "film-2", Begins: in(30), Leave: in(60)})...)
	said("more comes after that", 1, append(films, Planned{Job: job, Step: "film-2", Begins: in(50), Leave: in(60)})...)
	said("a rework is left", 0, append(films, Planned{Job: job, Rework: "slot", Begins: in(30), Minutes: 5, Leave: in(60)})...)
	later := ended
	later.Leave = in(1500)
	said("the end of another sitting", 0, films[0], Planned{Job: job, Step: "film-2", Begins: in(50), Leave: in(60)}, later)
}

// What the plan has ended by now is needed again in this sitting, or isn't: by what is left to do, of this airframe or of another one at
// the bench.
func TestWhenWhatThePlanHasEndedIsNeededAgain(t *testing.T) {
	b := parts(t, 2)
	b.done("warm")
	in := func(minute int) time.Time { return evening.Add(minutesOf(minute)) }
	job := b.state.Jobs[0].ID
	ended := Planned{Again: AgainSafe, Begins: in(20), Leave: in(60), Ends: setting("iron", "cold").Set}
	other := parts(t, 2)
	other.state.Airframe.Mark = "PL-02"
	for _, test := range []struct {
		name    string
		planned []Planned
		beside  []Planned
		want    time.Time
	}{
		{"not", []Planned{ended}, nil, time.Time{}},
		{"what is done is over", []Planned{ended, {Job: job, Step: "warm", Begins: in(30), Leave: in(60)}}, nil, time.Time{}},
		{"later", []Planned{ended, {Job: job, Step: "film-2", Begins: in(45), Leave: in(60)}, {Job: job, Step: "film-1", Begins: in(31), Leave: in(60)}}, nil, in(31)},
		{"in the next sitting", []Planned{ended, {Job: job, Step: "film-1", Begins: in(1440), Leave: in(1500)}}, nil, time.Time{}},
		{"set by another one", []Planned{ended}, []Planned{{Job: other.state.Jobs[0].ID, Step: "warm", Begins: in(40), Leave: in(60)}}, in(40)},
	} {
		b.state.Planned, other.state.Planned = test.planned, test.beside
		s := b.state.Beside([]*State{other.state})
		if got := s.NeededAgain(ended.Ends[0], in(25)); !got.Equal(test.want) {
			t.Errorf("%s: at %s, want %s", test.name, got, test.want)
		}
	}
}

// What stands hot is said at once where a wait goes past the end of the sitting, also once that is over; not where the plan has a rework
// now, nor where somebody heated it before its time and goes on with what needs it.
func TestWhatIsHotForWhatIsLater(t *testing.T) {
	b := parts(t, 2)
	b.done("warm")
	is := func(name string, g Suggestion, minute, want int, planned ...Planned) {
		t.Helper()
		b.state.Planned = planned
		if got := b.state.LeftBy(g, evening.Add(minutesOf(minute))); len(got) != want {
			t.Errorf("%s: %v", name, got)
		}
	}
	at := func(minute int) time.Time { return evening.Add(minutesOf(minute)) }
	over := Planned{Job: "work", Step: "gone", Begins: evening, Leave: at(40)}
	for _, minute := range []int{39, 40, 45} {
		is("past the end", Suggestion{Until: at(50)}, minute, 1, over)
	}
	is("before the end", Suggestion{Until: at(40)}, 30, 0, over)
	job := b.state.Jobs[0].ID
	film, tidy := b.step("film-1"), StepReport{Job: job, Step: plain("tidy")}
	tomorrow := at(24 * 60)
	is("tomorrow", Suggestion{Step: &tidy, Planned: tomorrow}, 10, 1)
	is("a rework now", Suggestion{Step: &tidy, Planned: tomorrow}, 10, 0, Planned{Rework: "slot", Begins: at(10), Minutes: 8})
	is("set once more now", Suggestion{Step: &tidy, Planned: tomorrow}, 10, 0, Planned{Again: AgainReady, Begins: at(10), Minutes: 8})
	is("an end now", Suggestion{Step: &tidy, Planned: tomorrow}, 10, 1, Planned{Again: AgainSafe, Begins: at(10), Minutes: 1, Ends: []steps.Setting{{Condition: "iron", State: "cold"}}})
	is("of an older plan", Suggestion{Step: &tidy, Planned: tomorrow}, 10, 1, Planned{Begins: at(10), Minutes: 8})
	is("as planned", Suggestion{Step: &film, Planned: tomorrow}, 10, 1, Planned{Job: job, Step: "warm", Begins: evening})
	is("before its time", Suggestion{Step: &film, Planned: tomorrow}, 10, 0, Planned{Job: job, Step: "warm", Begins: tomorrow})
	is("early in its sitting", Suggestion{Step: &film, Planned: at(50)}, 10, 0, Planned{Job: "work", Step: "gone", Begins: evening, Leave: at(90)})
	is("early for another sitting", Suggestion{Step: &film, Planned: at(50)}, 10, 1, Planned{Job: "work", Step: "gone", Begins: evening, Leave: at(40)})
	is("other work before its time", Suggestion{Step: &tidy, Planned: tomorrow}, 10, 1, Planned{Job: job, Step: "warm", Begins: tomorrow})
}

// What of the bench is hot for another airframe, at which the plan has nobody, is said where the work goes on.
func TestWhatIsHotForAnother(t *testing.T) {
	hot := parts(t, 2)
	hot.done("warm")
	b := working(t, one("tidy", plain("tidy")))
	b.state.Airframe.Mark = "PL-02"
	s := b.state.Beside([]*State{hot.state})
	if got, _ := standsBeside(s, b.now); len(got) != 1 {
		t.Errorf("hot beside is %v", got)
	}
	hot.state.Planned = []Planned{{Job: hot.state.Jobs[0].ID, Step: "film-1", Begins: b.now.Add(20 * time.Minute), Minutes: 20}}
	if got, _ := standsBeside(s, b.now); len(got) != 0 {
		t.Errorf("somebody goes on with it: %v", got)
	}
}

// What the plan has for a later sitting comes after what it does not have, as what an answer has brought in: on one airframe, and among
// several, where the first sitting of any counts.
func TestWhatIsPlannedForLater(t *testing.T) {
	day := 24 * time.Hour
	b := working(t, one("one", plain("soon")), one("two", plain("later")), one("three", plain("new")))
	job := b.state.Jobs[0].ID
	planned := []Planned{
		{Job: job, Step: "soon", Begins: evening, Leave: evening.Add(time.Hour)},
		{Job: job, Step: "later", Begins: evening.Add(day), Leave: evening.Add(day + time.Hour)},
	}
	for _, want := range []string{"soon", "new", "later"} {
		if g := b.state.NextBut(b.now, nil, planned); g.Step == nil || g.Step.Step.Name != want {
			t.Fatalf("next is %+v, want %s", g.Step, want)
		}
		b.done(want)
	}
	a, c := working(t, one("one", plain("later"))), working(t, one("one", plain("new")), one("two", plain("soon")))
	c.done("soon")
	a.state.Airframe.Mark, c.state.Airframe.Mark = "PL-01", "PL-02"
	a.state.Planned = []Planned{{Job: job, Step: "later", Begins: evening.Add(day), Leave: evening.Add(day + time.Hour)}}
	c.state.Planned = []Planned{{Job: job, Step: "soon", Begins: evening, Leave: evening.Add(time.Hour)}}
	fleet := []*State{a.state.Beside([]*State{c.state}), c.state.Beside([]*State{a.state})}
	if got := Foremost(fleet, evening); got == nil || got.Airframe.Mark != "PL-02" {
		t.Errorf("the foremost is %v", got)
	}
}

// What stands hot, and nothing needs in this sitting, is ended before anything else is done, but for what has a clock that runs.
func TestScheduleEndsFirstWhatNothingNeeds(t *testing.T) {
	b := parts(t, 1)
	b.done("warm")
	other := working(t, one("tidy", hands("tidy", "10 min")))
	b.state.Airframe.Mark, other.state.Airframe.Mark = "PL-01", "PL-02"
	fleet := []*State{b.state.Beside([]*State{other.state}), other.state.Beside([]*State{b.state})}
	p, err := Schedule(t.Context(), fleet, evening, Hours{Sittings: open(0, 20, 1440, 1500)}, plan.Options{})
	if want := "offsafe 0, tidy 1, | warmready 1440, read 1448, film-1 1453, off 1473, | ends 1474"; err != nil || says(p) != want {
		t.Errorf("%s, %v; want %s", says(p), err, want)
	}
}

// What was left hot is ended before anything else is done, on any airframe; in use on another one, it is gone on with.
func TestScheduleEndsFirstWhatWasLeft(t *testing.T) {
	for _, test := range []struct {
		name   string
		after  int // minutes
		filmed bool
		used   bool // on the other one, a minute ago
		want   string
	}{
		{"since yesterday", 1440, false, false, "offsafe 1440, tidy 1441, | warmready 2880, read 2888, film-1 2893, off 2913, | ends 2914"},
		{"since an hour", 60, false, false, "offsafe 60, tidy 61, | warmready 1500, read 1508, film-1 1513, off 1533, | ends 1534"},
		{"all is done with it", 1440, true, false, "off 1440, tidy 1441, | ends 1451"},
		{"in use on the other one", 61, false, true, "read 61, film-1 66, film-1 86, off 106, off 107, | ends 108"},
	} {
		b := parts(t, 1)
		b.done("warm")
		if test.filmed {
			b.must(readings("heat", "4 mm"))
			b.done("film-1")
		}
		other, long := working(t, one("tidy", hands("tidy", "10 min"))), 20
		if test.used {
			other = parts(t, 1)
			other.done("warm")
			other.now = evening.Add(minutesOf(test.after - 1))
			other.must(readings("heat", "4 mm"))
			long = 60
		}
		b.state.Airframe.Mark, other.state.Airframe.Mark = "PL-01", "PL-02"
		fleet := []*State{b.state.Beside([]*State{other.state}), other.state.Beside([]*State{b.state})}
		p, err := Schedule(t.Context(), fleet, evening.Add(minutesOf(test.after)), Hours{Sittings: open(test.after, test.after+long, test.after+1440, test.after+1500)}, plan.Options{})
		if err != nil || says(p) != test.want {
			t.Errorf("%s: %s, %v; want %s", test.name, says(p), err, test.want)
		}
	}
}

// What looks over a damaged airframe is planned before its repair, as it is next.
func TestScheduleLooksOverFirst(t *testing.T) {
	b := released(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing", Damages: []string{"D1"}}, ReadBench{Temperature: q("20 °C")})
	docs := documents()
	b.docs = &docs
	docs.Procedures["sha256:all-over"] = &steps.Procedure{Name: "all-over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("all", hands("look", "30 min"), hands("feel", "30 min"))}}
	b.must(Start{Procedure: docs.Procedures["sha256:all-over"], Digest: "sha256:all-over", Sheet: sheet(), SheetDigest: sheetSum})
	p, err := Schedule(t.Context(), []*State{b.state}, b.now, Hours{Sittings: open(0, 400, 1440, 1840)}, plan.Options{})
	if err != nil || !strings.HasPrefix(says(p), "look 1480, feel 1510, lay-skin ") {
		t.Errorf("%s, %v", says(p), err)
	}
	if g := b.state.Next(b.now); g.Step == nil || g.Step.Step.Name != "look" {
		t.Errorf("next is %+v", g.Step)
	}
}

// What only a repair may plug in while damage is open is plugged in for other work once that is repaired.
func TestSchedulePlugsInAfterTheRepair(t *testing.T) {
	b := released(t)
	kit := sheet()
	kit.Conditions = append(kit.Conditions, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
	plug, try := hands("plug", "2 min"), hands("try", "5 min")
	plug.Sets, try.Needs = []steps.Setting{{Condition: "battery", State: "in"}}, []steps.Setting{{Condition: "battery", State: "in"}}
	docs := documents()
	b.docs = &docs
	docs.Sheets["sha256:powered"] = kit
	docs.Procedures["sha256:all-over"] = &steps.Procedure{Name: "all-over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("all", hands("look", "30 min"), plug, try)}}
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}})
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: kit, SheetDigest: "sha256:powered", Zone: "wing", Damages: []string{"D1"}}, ReadBench{Temperature: q("20 °C")})
	b.must(Start{Procedure: docs.Procedures["sha256:all-over"], Digest: "sha256:all-over", Sheet: kit, SheetDigest: "sha256:powered"})
	if turns := b.state.turns(b.state.OpenJobs(b.now), b.now); len(turns) != 1 { // the repair's alone
		t.Errorf("what plugs in comes before the repair: %v", turns)
	}
	p, err := Schedule(t.Context(), []*State{b.state}, b.now, Hours{Sittings: open(0, 400, 1440, 1840, 2880, 3280, 4320, 4700)}, plan.Options{})
	if got := says(p); err != nil || strings.Index(got, "plug ") < strings.Index(got, "join-skin ") || !strings.Contains(got, "plug ") {
		t.Errorf("%s, %v", got, err)
	}
}

// What was plugged in in another sitting, or for an hour in which nothing was recorded, is not taken for plugged in by a plan: it is pulled
// before anything is done, as is said at once, and plugged in anew for what needs it.
func TestSchedulePlugsInAnewWhatWasLeft(t *testing.T) {
	b := powered(t, []string{"plug"}, []steps.Step{hands("plug", "2 min"), hands("try", "20 min"), hands("pull", "3 min")}, one("plain", hands("sand", "20 min")))[0]
	for after, want := range map[int]string{59: "try 59, pull 79, | ends 82", 60: "pullsafe 60, plugready 63, try 65, pull 85, | ends 88", 1440: "pullsafe 1440, plugready 1443, try 1445, pull 1465, | ends 1468"} {
		now := evening.Add(minutesOf(after))
		p, err := Schedule(t.Context(), []*State{b}, now, Hours{Sittings: open(after, after+100)}, plan.Options{})
		if err != nil || says(p) != want {
			t.Errorf("after %d min: %s, %v; want %s", after, says(p), err, want)
		}
		if said := b.Left(Suggestion{}, now); (len(said) > 0) != strings.HasPrefix(want, "pullsafe") {
			t.Errorf("after %d min %v is said at once", after, textsOf(said))
		}
	}
}

// What is hot or on at the bench stays so when an airframe crashes or flies: it is said as before until somebody says that it is cold or
// off, also on other airframes, and a plan ends it before the sitting is over. For what needs it hot it is unknown.
func TestWhatIsHotAtTheBenchStaysSoInACrash(t *testing.T) {
	for _, is := range [][3]string{{"iron", "hot", "cold"}, {"charger", "on", "off"}} {
		for name, r := range map[string]Request{
			"crashed":      ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}}},
			"landed soft":  LogFlight{Landing: Soft},
			"landed hard":  LogFlight{Landing: Hard, Check: "look"},
			"never at all": nil,
		} {
			b, other := lit(t), lit(t)
			other.state.Airframe.Mark = "PL-02"
			far := &steps.Procedure{Name: "look", Title: "Look it over", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("far", plain("far"))}}
			b.docs.Procedures["sha256:look"] = far
			b.done(is[0] + "-" + is[1])
			b.after(time.Minute)
			if r != nil {
				b.must(r)
				b.after(time.Minute)
				if held := b.state.Holds(is[0], b.now); held != "" {
					t.Errorf("%s, %s: by the record it is %s", is[0], name, held)
				}
			}
			said := func(when string, want int) {
				t.Helper()
				later := b.now.Add(2 * time.Hour)
				beside := other.state.Beside([]*State{b.state})
				g := beside.Next(later)
				end, _ := beside.StandsBeside(&g, later)
				here, there := b.state.Left(b.state.Next(later), later), beside.Left(g, later)
				if len(here) != want || len(there) != want || len(end) != want {
					t.Errorf("%s, %s, %s: %v is said, and on another airframe %v, want %d each", is[0], name, when, textsOf(here), textsOf(slices.Concat(there, end)), want)
				}
			}
			said("hot", 1)
			p, err := scheduled(t, b.now, Hours{Sittings: open(0, 6, 1440, 1700)}, b.state)
			if err != nil || len(p.Visits) == 0 {
				t.Fatal(err)
			}
			if !slices.ContainsFunc(p.Visits[0].Turns, func(turn Turn) bool { return slices.Equal(turn.Sets, setting(is[0], is[2]).Set) }) {
				t.Errorf("%s, %s: the plan leaves it %s: %s", is[0], name, is[1], says(p))
			}
			b.must(setting(is[0], is[2]))
			said("ended", 0)
		}
	}
}
