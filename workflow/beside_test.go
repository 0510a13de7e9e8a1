package workflow

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow/journal"
)

// shared is a bench of the mark with an iron that is the bench's, or is not by its sheet.
func shared(t testing.TB, mark string, of bool) *bench {
	t.Helper()
	in := sheet()
	in.Conditions = append(in.Conditions, steps.Condition{Name: "iron", States: []string{"hot", "cold"}, Bench: of})
	in.Adhesives[0].Care = steps.Care{Needs: []steps.Setting{{Condition: "iron", State: "cold"}}, Hold: []string{"Nothing is hot"}}
	in.Adhesives[0].Times.Vapour = 30 * time.Minute
	warm, again := plain("warm"), plain("warm-again")
	warm.Sets = []steps.Setting{{Condition: "iron", State: "hot"}}
	again.Sets = warm.Sets
	work := &steps.Procedure{Name: "work", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{
		one("glue", coating("coat", "tab"), joining("join", "tab")), one("iron", warm, again)}}
	docs := documents()
	docs.Sheets[sheetSum], docs.Procedures["sha256:work"] = in, work
	b := &bench{t: t, now: evening, by: "builder", docs: &docs}
	b.state = b.replay(nil)
	b.must(Register{Mark: mark, Sheet: in, Digest: sheetSum})
	b.must(Start{Procedure: work, Digest: "sha256:work", Sheet: in, SheetDigest: sheetSum}, ReadBench{Temperature: q("20 °C")})
	return b
}

func TestWhatIsSaidOfTheBenchCountsForAll(t *testing.T) {
	type act struct {
		who, minute, of int // of: the minute that it tells of, if that was earlier
		do              string
	}
	for name, test := range map[string]struct {
		loose bool // the other's sheet doesn't know that the iron is the bench's
		acts  []act
		at    int // the minute
		want  string
		by    string
	}{
		"said here":                          {acts: []act{{who: 0, minute: 1, do: "cold"}}, at: 5, want: "cold"},
		"said there":                         {acts: []act{{who: 1, minute: 1, do: "hot"}}, at: 5, want: "hot", by: "PL-02"},
		"hot there after cold here":          {acts: []act{{who: 0, minute: 1, do: "cold"}, {who: 1, minute: 2, do: "hot"}}, at: 5, want: "hot", by: "PL-02"},
		"before it was hot there":            {acts: []act{{who: 0, minute: 1, do: "cold"}, {who: 1, minute: 4, do: "hot"}}, at: 3, want: "cold"},
		"cold here after hot there":          {acts: []act{{who: 1, minute: 1, do: "hot"}, {who: 0, minute: 2, do: "cold"}}, at: 5, want: "cold"},
		"cold there after hot here":          {acts: []act{{who: 0, minute: 1, do: "hot"}, {who: 1, minute: 2, do: "cold"}}, at: 5, want: "cold", by: "PL-02"},
		"a third one has the last word":      {acts: []act{{who: 1, minute: 1, do: "cold"}, {who: 2, minute: 2, do: "hot"}, {who: 0, minute: 0, do: "cold"}}, at: 5, want: "hot", by: "PL-03"},
		"nobody knows which was later":       {acts: []act{{who: 0, minute: 2, do: "cold"}, {who: 1, minute: 2, do: "hot"}}, at: 5},
		"both say the same":                  {acts: []act{{who: 0, minute: 2, do: "cold"}, {who: 1, minute: 2, do: "cold"}}, at: 5, want: "cold", by: "PL-02"},
		"typed in later, it was hot since":   {acts: []act{{who: 0, minute: 2, do: "cold"}, {who: 1, minute: 5, of: 3, do: "hot"}}, at: 5, want: "hot", by: "PL-02"},
		"typed in later, it was hot before":  {acts: []act{{who: 0, minute: 2, do: "cold"}, {who: 1, minute: 5, of: 1, do: "hot"}}, at: 5, want: "cold"},
		"taken back there":                   {acts: []act{{who: 0, minute: 1, do: "cold"}, {who: 1, minute: 2, do: "hot"}, {who: 1, minute: 3, do: "undo"}}, at: 5},
		"taken back there, and said again":   {acts: []act{{who: 0, minute: 1, do: "cold"}, {who: 1, minute: 2, do: "hot"}, {who: 1, minute: 3, do: "undo"}, {who: 0, minute: 4, do: "cold"}}, at: 5, want: "cold"},
		"taken back here":                    {acts: []act{{who: 1, minute: 1, do: "cold"}, {who: 0, minute: 2, do: "hot"}, {who: 0, minute: 3, do: "undo"}}, at: 5},
		"flown there, where it was said":     {acts: []act{{who: 1, minute: 1, do: "cold"}, {who: 1, minute: 2, do: "fly"}}, at: 5},
		"flown there, and said here":         {acts: []act{{who: 1, minute: 1, do: "hot"}, {who: 0, minute: 2, do: "cold"}, {who: 1, minute: 3, do: "fly"}}, at: 5, want: "cold"},
		"flown there, as a third says it":    {acts: []act{{who: 1, minute: 1, do: "hot"}, {who: 1, minute: 2, do: "fly"}, {who: 2, minute: 2, do: "cold"}}, at: 5, want: "cold", by: "PL-03"},
		"flown here":                         {acts: []act{{who: 1, minute: 1, do: "cold"}, {who: 0, minute: 2, do: "fly"}}, at: 5},
		"lapsed there":                       {acts: []act{{who: 1, minute: 1, do: "cold"}}, at: 362},
		"another sheet frees nothing":        {loose: true, acts: []act{{who: 0, minute: 1, do: "hot"}, {who: 1, minute: 2, do: "cold"}}, at: 5},
		"another sheet alone says nothing":   {loose: true, acts: []act{{who: 1, minute: 2, do: "cold"}}, at: 5},
		"another sheet makes it unknown":     {loose: true, acts: []act{{who: 0, minute: 1, do: "cold"}, {who: 1, minute: 2, do: "hot"}}, at: 5},
		"another sheet says the same":        {loose: true, acts: []act{{who: 0, minute: 1, do: "cold"}, {who: 1, minute: 2, do: "cold"}}, at: 5, want: "cold"},
		"another sheet, and said here since": {loose: true, acts: []act{{who: 1, minute: 2, do: "hot"}, {who: 0, minute: 3, do: "cold"}}, at: 5, want: "cold"},
	} {
		bs := []*bench{shared(t, "PL-01", true), shared(t, "PL-02", !test.loose), shared(t, "PL-03", true)}
		minute := func(n int) time.Time { return evening.Add(time.Duration(n) * time.Minute) }
		for _, a := range test.acts {
			b, at := bs[a.who], time.Time{}
			if b.now = minute(a.minute); a.of > 0 {
				at = minute(a.of)
			}
			var r Request
			switch a.do {
			case "undo":
				r = Undo{Position: b.state.Size() - 1}
			case "fly":
				r = LogFlight{Landing: Soft}
			default:
				r = setting("iron", a.do)
			}
			if err := b.tryAt(r, at); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		s := bs[0].state.Beside([]*State{bs[1].state, bs[2].state, bs[0].state})
		if have := s.Holds("iron", minute(test.at)); have != test.want {
			t.Errorf("%s: the iron is %q, want %q", name, have, test.want)
		}
		if by, _, _ := s.SaidBeside("iron", minute(test.at)); test.want != "" && by != test.by {
			t.Errorf("%s: said by %q, want %q", name, by, test.by)
		}
		if again := s.Beside(s.others).Holds("iron", minute(test.at)); again != test.want {
			t.Errorf("%s: told twice, the iron is %q, want %q", name, again, test.want)
		}
	}
}

// Of two entries of one second nobody knows which was later: that is said, and whoever
// says it again is heard.
func TestTwoEntriesOfOneSecond(t *testing.T) {
	a, b := shared(t, "PL-01", true), shared(t, "PL-02", true)
	beside := func(of, other *bench) { of.now, of.state = other.now, of.state.Beside([]*State{other.state}) }
	b.done("warm")
	a.must(setting("iron", "cold"))
	beside(a, b)
	mustContain(t, a.refused(Finish{Step: "coat"}, ByCondition, ByHold), "two entries of one second contradict each other", "one that says hot", "one that says cold", "[set-condition []iron: cold]")
	b.after(time.Second)
	beside(a, b)
	a.must(setting("iron", "cold"))
	beside(a, b)
	if is := a.state.Holds("iron", a.now); is != "cold" {
		t.Errorf("said again, the iron is %q", is)
	}
}

// Glue that burns is not spread beside an iron that another airframe's job left hot, and
// none is heated beside its coat on another airframe.
func TestAnotherAirframesIron(t *testing.T) {
	a, b := shared(t, "PL-01", true), shared(t, "PL-02", true)
	beside := func(of, other *bench) { of.now, of.state = other.now, of.state.Beside([]*State{other.state}) }
	a.must(setting("iron", "cold"))
	b.after(time.Minute)
	b.done("warm")
	b.after(time.Minute)
	beside(a, b)
	mustContain(t, a.refused(Finish{Step: "coat"}, ByCondition, ByHold), "it needs iron: cold, but PL-02 says iron: hot", "[set-condition []iron: cold]")
	if next := a.state.Next(a.now); next.Step == nil || len(next.Resolve) == 0 && next.Step.Step.Name == "coat" {
		t.Errorf("the coat is suggested beside the hot iron: %+v", next)
	}
	mustContain(t, a.refused(ClearUse{Of: "contact", Answers: []bool{true}}, ByCondition), "it needs iron: cold, but PL-02 says iron: hot", "[set-condition []iron: cold]")
	a.must(setting("iron", "cold"))
	beside(a, b)
	a.must(ClearUse{Of: "contact", Answers: []bool{true}})
	a.must(Begin{Step: "coat", Began: a.now})
	a.after(time.Minute)
	beside(b, a)
	mustContain(t, b.refused(Finish{Step: "warm-again"}, ByDrying), "it sets iron: hot, but the open coat of contact that is being spread on joint tab of PL-01 needs iron: cold")
	mustContain(t, a.refused(Finish{Step: "warm"}, ByDrying), "it sets iron: hot, but the open coat of contact that is being spread on joint tab needs iron: cold")
	for later, refused := range map[time.Duration]bool{69 * time.Minute: true, 69*time.Minute + time.Second: false} { // began a minute ago, and never comes on
		at := a.now.Add(later)
		if _, err := a.state.Decide(Finish{Step: "warm"}, Circumstances{Now: at, By: "builder", Program: "test"}); (err != nil) != refused {
			t.Errorf("heated %s later: %v", later, err)
		}
	}
	a.done("coat")
	a.after(time.Minute)
	beside(b, a)
	mustContain(t, b.refused(Finish{Step: "warm-again"}, ByDrying), "it sets iron: hot, but the open coat of contact on joint tab of PL-01 needs iron: cold")
	if got := b.state.Holds("iron", b.now); got != "cold" {
		t.Errorf("the iron that went cold on PL-01 is %q on PL-02", got)
	}
	b.must(setting("iron", "hot")) // a fact is recorded all the same
	b.after(time.Minute)
	beside(a, b)
	beside(b, a)
	for _, s := range []*State{a.state, b.state} {
		harms := s.Harms(a.now)
		if len(harms) != 1 || harms[0].State != "hot" || harms[0].Remedy.Mark != s.Airframe.Mark {
			t.Errorf("harms on %s: %+v", s.Airframe.Mark, harms)
		}
	}
	if by := a.state.Harms(a.now)[0].By; by != "PL-02" {
		t.Errorf("%q says that it is hot", by)
	}
	b.must(setting("iron", "cold"))
	a.after(40 * time.Minute) // the coat has lapsed, and its vapour hangs
	beside(b, a)
	mustContain(t, b.refused(Finish{Step: "warm-again"}, ByDrying), "it sets iron: hot, but the vapour of contact on joint tab of PL-01 needs iron: cold")
	b.after(30 * time.Minute)
	b.done("warm-again")
	if harms := b.state.Harms(b.now); len(harms) != 0 {
		t.Errorf("beside a coat that lapsed: %+v", harms)
	}
}

// Whoever is asked, the bench is never said to be in another state than the last statement
// of all says, and with no flight all say the same.
func TestBenchIsOne(t *testing.T) {
	start := []*State{shared(t, "PL-01", true).state, shared(t, "PL-02", true).state, shared(t, "PL-03", true).state}
	docs := start[0].docs
	rapid.Check(t, func(t *rapid.T) {
		states := slices.Clone(start)
		now, flown, undone := evening, false, false
		type told struct {
			at    time.Time
			state string
		}
		var last told
		for range rapid.IntRange(1, 12).Draw(t, "acts") {
			now = now.Add(time.Duration(rapid.IntRange(1, 200).Draw(t, "minutes")) * time.Minute)
			who, at := rapid.IntRange(0, 2).Draw(t, "who"), now
			if rapid.IntRange(0, 3).Draw(t, "late") == 0 {
				at = now.Add(-time.Duration(rapid.IntRange(1, 300).Draw(t, "earlier"))*time.Minute - time.Second)
			}
			var r Request
			s := states[who].Beside(states)
			switch what := rapid.SampledFrom([]string{"hot", "cold", "hot", "cold", "undo", "fly"}).Draw(t, "what"); what {
			case "undo":
				if _, is := s.Entries[s.Size()-1].Facts.(journal.ConditionSet); !is {
					continue
				}
				r, undone, at = Undo{Position: s.Size() - 1}, true, now
			case "fly":
				r, flown, at = LogFlight{Landing: Soft}, true, now
			default:
				r = setting("iron", what)
				if !at.Before(last.at) {
					last = told{at, what}
				}
			}
			entries, err := s.Decide(r, Circumstances{Now: now, At: at, By: "builder", Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			if states[who], err = Replay(append(slices.Clone(s.Entries), entries...), docs); err != nil {
				t.Fatal(err)
			}
		}
		var said []string
		for _, s := range states {
			said = append(said, s.Beside(states).Holds("iron", now))
		}
		for _, state := range said {
			if state != "" && !undone && (state != last.state || now.Sub(last.at) > SittingLength) {
				t.Fatalf("they say %q, and the last statement, %s before, was %q", said, now.Sub(last.at), last.state)
			}
			if !flown && state != said[0] {
				t.Fatalf("they say %q", said)
			}
		}
	})
}

// What can't wait on another airframe of the bench is said before what is next here, and that airframe is gone on with first,
// whatever the last plan has: an open coat, and one that would close while the next step is done.
func TestWhatCantWaitBeside(t *testing.T) {
	a, b := shared(t, "PL-01", true), shared(t, "PL-02", true)
	a.must(setting("iron", "cold"), ClearUse{Of: "contact", Answers: []bool{true}})
	a.done("coat") // it may be joined from 10 until 40
	is := func(minute int, want string) {
		t.Helper()
		now := evening.Add(time.Duration(minute) * time.Minute)
		mine := b.state.Beside([]*State{a.state})
		mine.Planned = []Planned{{Job: mine.Jobs[0].ID, Step: "coat", Begins: now}}
		next, got := mine.Next(now), ""
		for _, o := range next.Beside {
			got += o.Mark + " " + o.Name + " "
		}
		for _, fleet := range [][]*State{{a.state, mine}, {mine, a.state}} {
			got += Foremost(fleet, now).Airframe.Mark + " "
		}
		if strings.TrimSpace(got) != want {
			t.Errorf("at %d it is %q, want %q", minute, got, want)
		}
	}
	is(5, "PL-02 PL-02")
	is(12, "PL-01 tab PL-01 PL-01")
	is(39, "PL-01 tab PL-01 PL-01")
	is(45, "PL-02 PL-02") // it has lapsed
	if Foremost(nil, evening) != nil {
		t.Error("an airframe of none")
	}
}

// The window of a join on another airframe is open once it can be joined: not while a wait before the join passes.
func TestNothingWaitsBesideAJoinThatAWaitHoldsBack(t *testing.T) {
	coat, face, join := coating("coat", "tab"), coating("face", "tab"), joining("join", "tab")
	coat.Hands, face.Hands, join.Hands = q("3 min"), q("2 min"), q("1 min")
	held, other := working(t, one("one", coat, wait("air", "25 min"), join)), working(t, one("one", coat, face, join))
	held.must(Finish{Step: "coat", Began: held.now})
	held.after(11 * time.Minute) // it is dry, and the wait is over at 25
	other.now = held.now
	other.must(Finish{Step: "coat", Began: held.now})
	held.state.Airframe.Mark, other.state.Airframe.Mark = "PL-02", "PL-01"
	is := func(minute int, want string) {
		t.Helper()
		now := evening.Add(minutesOf(minute))
		fleet := []*State{held.state.Beside([]*State{other.state}), other.state.Beside([]*State{held.state})}
		got := Foremost(fleet, now).Airframe.Mark
		for _, o := range fleet[1].Next(now).Beside {
			got += " " + o.Name
		}
		if got != want {
			t.Errorf("at %d it is %q, want %q", minute, got, want)
		}
	}
	is(11, "PL-01")
	is(24, "PL-01")
	is(26, "PL-02 tab")
}
