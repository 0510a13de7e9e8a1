package workflow

import (
	"errors"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// exactly is a clock of another bench that is ahead by d, known to a second and a bit.
func exactly(bench string, d time.Duration, older bool) BenchClock {
	return BenchClock{Bench: bench, Least: d - 600*time.Millisecond, Most: d + 600*time.Millisecond, Older: older}
}

func TestCompareClocks(t *testing.T) {
	const s, m, h = time.Second, time.Minute, time.Hour
	u := 600 * time.Millisecond
	for _, c := range []struct {
		name   string
		others []BenchClock
		want   ClockDoubt
	}{
		{"nobody else", nil, ClockDoubt{Shared: true}},
		{"1 s ahead", []BenchClock{exactly("b", s, true)}, ClockDoubt{Shared: true}},
		{"1 s behind", []BenchClock{exactly("b", -s, true)}, ClockDoubt{Shared: true}},
		{"1 min ahead", []BenchClock{exactly("b", m, true)}, ClockDoubt{Shared: true, Off: m + u, Bench: "b"}},
		{"1 min behind", []BenchClock{exactly("b", -m, false)}, ClockDoubt{Shared: true, Off: m + u, Bench: "b", Behind: true}},
		{"1 h ahead", []BenchClock{exactly("b", h, true)}, ClockDoubt{Shared: true, Off: h + u, Bench: "b", Refused: true, Agree: 1, Alone: true}},
		{"1 h behind", []BenchClock{exactly("b", -h, true)}, ClockDoubt{Shared: true, Off: h + u, Bench: "b", Behind: true, Refused: true, Agree: 1, Alone: true}},
		{"1 h, but this one was known first", []BenchClock{exactly("b", h, false)}, ClockDoubt{Shared: true, Alone: true, Astray: "b"}},
		{"the one that differs most", []BenchClock{exactly("b", 5*s, true), exactly("c", -m, true), exactly("d", 10*s, false)}, ClockDoubt{Shared: true, Off: m + u, Bench: "c", Behind: true}},
		{"more agree with this one", []BenchClock{exactly("b", h, true), exactly("c", 10*s, false)}, ClockDoubt{Shared: true, Off: 10*s + u, Bench: "c", Many: true, Astray: "b"}},
		{"fewer do", []BenchClock{exactly("b", h, false), exactly("c", h, false)}, ClockDoubt{Shared: true, Off: h + u, Bench: "b", Refused: true, Agree: 2, Many: true}},
		{"fewer do, and one is wrong another way", []BenchClock{exactly("b", h, false), exactly("d", 2*h, false), exactly("c", h+s, false)}, ClockDoubt{Shared: true, Off: h + s + u, Bench: "c", Refused: true, Agree: 2, Many: true}},
		{"no two agree", []BenchClock{exactly("b", h, false), exactly("c", 2*h, false)}, ClockDoubt{Shared: true, Off: h + u, Bench: "b", Refused: true, Agree: 1, Alone: true, Many: true}},
		{"two are wrong, each another way", []BenchClock{exactly("c", h, true), exactly("d", -h, true), exactly("b", s, false)}, ClockDoubt{Shared: true, Many: true, Astray: "c"}},
		{"as many, and an older one agrees", []BenchClock{exactly("b", s, true), exactly("c", h, true), exactly("d", h, true)}, ClockDoubt{Shared: true, Many: true, Astray: "c"}},
		{"it may be 3 s, or none", []BenchClock{{"b", -s, 3 * s, true}}, ClockDoubt{Shared: true}},
		{"it may be 3 s, or 4 min", []BenchClock{{"b", 3 * s, 4 * m, true}}, ClockDoubt{Shared: true, Off: 4 * m, Bench: "b"}},
		{"at least a minute ahead", []BenchClock{{"b", m, UnknownMost, true}}, ClockDoubt{Shared: true, Off: m, Bench: "b"}},
		{"at least an hour ahead", []BenchClock{{"b", h, UnknownMost, true}}, ClockDoubt{Shared: true, Off: h, Bench: "b", Refused: true, Agree: 1, Alone: true}},
		{"it may be ahead by anything", []BenchClock{{"b", -h, UnknownMost, true}}, ClockDoubt{Shared: true}},
	} {
		if got := CompareClocks(c.others); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestClockDoubtSays(t *testing.T) {
	for _, c := range []struct {
		want   string
		others []BenchClock
	}{
		{"", []BenchClock{exactly("b", time.Second, true)}},
		{"the clock of this bench reads 61 s behind that of b, so times count to the safe side by that; set the clock that is wrong", []BenchClock{exactly("b", time.Minute, true)}},
		{"the clocks of b and of this bench differ by more than 2 min; nothing can be recorded there until the one that is wrong is set", []BenchClock{exactly("b", -time.Hour, false)}},
		{"the clock of b is wrong by more than 2 min; nothing can be recorded there until it is set", []BenchClock{exactly("b", -time.Hour, false), exactly("c", 0, false)}},
		{"", []BenchClock{exactly("b", -time.Hour, true)}}, // it is refused, with that as the reason
	} {
		if got := CompareClocks(c.others).Says(); got != c.want {
			t.Errorf("%+v: %q, want %q", c.others, got, c.want)
		}
	}
	if got := UnknownClocks().Says(); !strings.Contains(got, "120 s") {
		t.Error(got)
	}
	for want, others := range map[string][]BenchClock{
		"60 min ahead of that of b":                                          {exactly("b", -time.Hour, true)},
		"60 min behind that of b, with which that of another bench agrees":   {exactly("b", time.Hour, true), exactly("c", time.Hour, true), exactly("d", 2*time.Hour, true)},
		"60 min behind that of b, with which those of 2 other benches agree": {exactly("b", time.Hour, true), exactly("c", time.Hour, true), exactly("e", time.Hour, true)},
		"60 min behind that of b, and no two benches agree":                  {exactly("b", time.Hour, true), exactly("d", -3*time.Hour, true)},
	} {
		if got := CompareClocks(others).refuses().Text; got != "the clock of this bench reads "+want+", so no waiting time can be trusted" {
			t.Error(got)
		}
	}
}

func (b *bench) doubt(d time.Duration) {
	b.state = replay(b.t, b.state.Entries)
	b.state.Doubt(CompareClocks([]BenchClock{exactly("other", d, true)}))
}

// A joint opens later, closes earlier and cures later by what the clocks differ by, whichever of
// them is ahead.
func TestClocksCountToTheSafeSide(t *testing.T) {
	const u = 600 * time.Millisecond
	for _, d := range []time.Duration{time.Second, -time.Second, time.Minute, -time.Minute, time.Hour, -time.Hour} {
		b := building(t)
		b.done("coat-left", "coat-right")
		joint, _ := b.state.Jobs[0].Joint("roots")
		opens, closes := joint.Window().Opens, joint.Window().Closes
		b.doubt(d)
		joint, _ = b.state.Jobs[0].Joint("roots")
		by := d.Abs() + u
		if d.Abs() == time.Second {
			by = 0
		}
		if w := joint.Window(); !w.Opens.Equal(opens.Add(by)) || !w.Closes.Equal(closes.Add(-by)) {
			t.Errorf("%v: the window is %v to %v, was %v to %v", d, w.Opens, w.Closes, opens, closes)
		}
		b.after(5 * time.Minute)
		if d.Abs() == time.Hour {
			b.refused(Finish{Step: "propeller-off"}, ByClock)
			b.refused(Note{"a note"}, ByClock)
			continue
		}
		b.must(Finish{Step: "propeller-off"})
		b.now = opens
		b.doubt(d)
		if by == 0 {
			b.must(Finish{Step: "join-roots"})
		} else {
			b.refused(Finish{Step: "join-roots"}, ByDrying)
			b.now = closes
			b.refused(Finish{Step: "join-roots"}, ByOrder) // the coat comes first, again
			b.now = opens.Add(by + time.Second).Truncate(time.Second)
			b.must(Finish{Step: "join-roots"})
		}
		joined := b.now
		b.doubt(d)
		joint, _ = b.state.Jobs[0].Joint("roots")
		if !joint.Handles().Equal(joined.Add(30*time.Minute+by)) || !joint.Cures().Equal(joined.Add(24*time.Hour+by)) {
			t.Errorf("%v: handles %v and cures %v after joining", d, joint.Handles().Sub(joined), joint.Cures().Sub(joined))
		}
		if raw := replay(t, b.state.Entries); raw.Jobs[0].joints["roots"][0].outside {
			t.Errorf("%v: the record says that it was joined outside its window", d)
		}
	}
}

// With clocks too far apart nothing is ready, and nothing recorded.
func TestClocksTooFarApart(t *testing.T) {
	b := building(t)
	b.doubt(time.Hour)
	if r := b.step("coat-left"); r.Progress != Waiting || r.Reasons[len(r.Reasons)-1].Because != ByClock {
		t.Errorf("%s: %v", r.Progress, r.Reasons)
	}
	var refusal *Refusal
	_, err := b.state.Decide(Note{"a note"}, Circumstances{Now: b.now, By: "builder"})
	if !errors.As(err, &refusal) || refusal.Reasons[0].Remedy.Kind != ToSetBenchClock {
		t.Errorf("said: %v", err)
	}
}

// By a clock that is known to be wrong no coat has lapsed, so that nobody coats a sound joint again,
// and none is ready either.
func TestNothingLapsesByAWrongClock(t *testing.T) {
	for _, d := range []time.Duration{time.Hour, -time.Hour} {
		b := building(t)
		b.done("coat-left", "coat-right")
		begun := b.now
		b.doubt(d)
		for at := begun; at.Before(begun.Add(2 * time.Hour)); at = at.Add(time.Minute) {
			for _, timer := range b.state.Timers(at) {
				if timer.Phase == Late || timer.Phase == Open {
					t.Fatalf("%v: after %v %s is %s", d, at.Sub(begun), timer.Name, timer.Phase)
				}
			}
		}
		for _, later := range []time.Duration{0, 41 * time.Minute, 2 * time.Hour} {
			for _, r := range b.state.Steps(b.state.Jobs[0], begun.Add(later)) {
				if coats := r.Step.Name == "coat-left" || r.Step.Name == "coat-right"; coats && r.Progress != Done || r.Reopened != "" || r.Progress == Ready {
					t.Errorf("%v: after %v %s is %s: %q", d, later, r.Step.Name, r.Progress, r.Reopened)
				}
			}
			if next := b.state.Next(begun.Add(later)); next.Step != nil {
				t.Errorf("%v: after %v it leads to %s", d, later, next.Step.Step.Name)
			}
		}
		for _, m := range b.state.Moments(begun, begun.Add(2*time.Hour)) {
			if m.Event == HasLapsed || m.Event == MayJoin {
				t.Errorf("%v: it calls %s", d, m.Event)
			}
		}
	}
}

// Whatever is open by clocks that differ is open by clocks that agree, and what has ended by
// clocks that agree has ended by those that differ.
func TestDoubtOnlyHoldsBack(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b := building(t)
		b.done("coat-left", "coat-right")
		if rapid.Bool().Draw(r, "joined") {
			b.after(15 * time.Minute)
			b.done("propeller-off", "join-roots")
		}
		sure := b.state
		b.doubt(time.Duration(rapid.IntRange(-119, 119).Draw(r, "off")) * time.Second)
		now := b.now.Add(time.Duration(rapid.IntRange(0, 26*3600).Draw(r, "later")) * time.Second)
		for i, step := range b.state.Steps(b.state.Jobs[0], now) {
			was := sure.Steps(sure.Jobs[0], now)[i]
			if step.Progress == Ready && was.Progress != Ready && was.Reopened == "" && !step.Step.Kind.Traits().Coats {
				t.Fatalf("%s is open in doubt, and %s without: %v", step.Step.Name, was.Progress, was.Reasons)
			}
			if step.Progress == Done && was.Progress != Done {
				t.Fatalf("%s is done in doubt, and %s without", step.Step.Name, was.Progress)
			}
		}
	})
}
