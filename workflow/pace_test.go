package workflow

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
)

// A told is one act of a story at a bench with two airframes.
type told struct {
	after string // the act before
	on    int    // the airframe: 1 or 2
	by    string // "": the builder
	act   Request
	ago   string // it is typed in so long after
}

// story plays acts on two airframes that are built side by side, and times the steps.
func story(t *testing.T, acts ...told) []WorkDone {
	t.Helper()
	benches := []*bench{{t: t, by: "builder"}, {t: t, by: "builder"}}
	now := evening
	for i, b := range benches {
		b.now, b.state = now, replay(t, nil)
		b.must(Register{Mark: fmt.Sprintf("PL-0%d", i+1), Sheet: sheet(), Digest: sheetSum}, startBuild())
	}
	for _, a := range acts {
		if a.after != "" {
			d, err := time.ParseDuration(a.after)
			if err != nil {
				t.Fatal(err)
			}
			now = now.Add(d)
		}
		b := benches[max(a.on, 1)-1]
		b.now, b.by = now, "builder"
		if a.by != "" {
			b.by = a.by
		}
		var at time.Time
		if a.ago != "" {
			d, err := time.ParseDuration(a.ago)
			if err != nil {
				t.Fatal(err)
			}
			at = now.Add(-d)
		}
		if err := b.tryAt(a.act, at); err != nil {
			t.Fatalf("%+v: %v", a.act, err)
		}
	}
	return worked(t, now, benches...)
}

func worked(t *testing.T, now time.Time, benches ...*bench) []WorkDone {
	t.Helper()
	var all []WorkDone
	for _, b := range benches {
		w, err := b.state.WorkDone(now)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, w)
	}
	Timed(all)
	return all
}

// times are how long the steps took, and why others are not timed, each as NUMBER-STEP.
func times(all []WorkDone) string {
	out := map[string]bool{}
	for i, w := range all {
		for _, r := range w.Steps {
			for _, d := range r.Done {
				if d.Untimed != Unattended {
					says := string(d.Untimed)
					if says == "" {
						says = d.Took.String()
					}
					out[fmt.Sprintf("%d-%s: %s", i+1, r.Step.Name, says)] = true
				}
			}
		}
	}
	return strings.Join(slices.Sorted(maps.Keys(out)), "\n")
}

// What of the times of a bench can be known is known, and nothing else.
func TestWhatIsTimed(t *testing.T) {
	look := ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}}
	off, cut, sand := Finish{Step: "propeller-off"}, Finish{Step: "cut-pod"}, Finish{Step: "sand-pod"}
	left, right, join := Finish{Step: "coat-left"}, Finish{Step: "coat-right"}, Finish{Step: "join-roots"}
	care := Clear{Step: "blade-care", Answers: []bool{true, true}}
	ready := []told{{act: look}, {on: 2, act: look}, {after: "1m", act: off}, {after: "1m", act: care}} // cut-pod is next
	both := append(slices.Clone(ready), told{after: "1m", on: 2, act: off}, told{after: "1m", on: 2, act: care})
	undo := func(n int64) Undo { return Undo{Position: n, Reason: "a slip"} }

	for name, c := range map[string]struct {
		begin []told
		acts  []told
		want  []string
	}{
		"from the step before":                   {ready, []told{{after: "7m", act: cut}}, []string{"1-cut-pod: 7m0s", "1-blade-care: 1m0s"}},
		"two airframes side by side":             {both, []told{{after: "6m", act: cut}, {after: "4m", on: 2, act: cut}, {after: "3m", act: left}}, []string{"1-cut-pod: 6m0s", "2-cut-pod: 4m0s", "1-coat-left: 3m0s"}},
		"both recorded at the end":               {both, []told{{after: "12m", act: cut}, {after: "5s", on: 2, act: cut}}, []string{"1-cut-pod: " + string(AtOnce), "2-cut-pod: " + string(AtOnce)}},
		"both in one second":                     {both, []told{{after: "12m", act: cut}, {on: 2, act: cut}}, []string{"1-cut-pod: " + string(AtOnce), "2-cut-pod: " + string(AtOnce)}},
		"two persons are two":                    {both, []told{{after: "6m", act: cut}, {after: "4m", on: 2, by: "other", act: left}, {after: "5m", on: 2, by: "other", act: right}}, []string{"1-cut-pod: 6m0s", "2-coat-left: " + string(NoBeginning), "2-coat-right: 5m0s"}},
		"over night":                             {ready, []told{{after: "22h", act: cut}}, []string{"1-cut-pod: " + string(NoBeginning)}},
		"over night, and the bench is read":      {ready, []told{{after: "22h", act: look}, {after: "6m", act: cut}}, []string{"1-cut-pod: 6m0s"}},
		"an hour more than written may be":       {ready, []told{{after: "65m", act: cut}}, []string{"1-cut-pod: 1h5m0s"}},
		"more is a break":                        {ready, []told{{after: "66m", act: cut}}, []string{"1-cut-pod: " + string(NoBeginning)}},
		"typed in later":                         {ready, []told{{after: "30m", act: cut, ago: "20m"}}, []string{"1-cut-pod: " + string(TypedLater)}},
		"after what was typed in later":          {ready, []told{{after: "30m", act: cut, ago: "20m"}, {after: "5m", act: left}}, []string{"1-coat-left: " + string(Interrupted)}},
		"a note within":                          {ready, []told{{after: "5m", act: Note{"odd foam"}}, {after: "2m", act: cut}}, []string{"1-cut-pod: 7m0s"}},
		"taken back and done again":              {ready, []told{{after: "5m", act: cut}, {after: "10s", act: undo(6)}, {after: "4m", act: cut}}, []string{"1-cut-pod: " + string(Interrupted)}},
		"a wait of which the end is within":      {ready, []told{{after: "5m", act: cut}, {after: "24m", act: sand}}, []string{"1-sand-pod: " + string(MayWait)}},
		"a wait that was over before":            {ready, []told{{after: "5m", act: cut}, {after: "21m", act: look}, {after: "6m", act: sand}}, []string{"1-sand-pod: 6m0s"}},
		"a coat that lapsed and is put on again": {ready, []told{{after: "3m", act: left}, {after: "50m", act: left}}, []string{"1-coat-left: 3m0s", "1-coat-left: " + string(MayWait)}},
		"a coat that dried meanwhile":            {ready, []told{{after: "3m", act: left}, {after: "3m", act: right}, {after: "14m", act: join}}, []string{"1-coat-right: 3m0s", "1-join-roots: " + string(MayWait)}},
		"a coat that was dry before":             {ready, []told{{after: "3m", act: left}, {after: "3m", act: right}, {after: "12m", act: cut}, {after: "2m", act: join}}, []string{"1-cut-pod: 12m0s", "1-join-roots: 2m0s"}},
		"begun as it happened":                   {ready, []told{{after: "30m", act: Begin{Step: "coat-left", Began: evening.Add(32 * time.Minute)}}, {after: "4m", act: left}}, []string{"1-coat-left: 4m0s"}},
		"begun, and other work within":           {both, []told{{after: "1m", act: Begin{Step: "coat-left", Began: evening.Add(5 * time.Minute)}}, {after: "3m", on: 2, act: cut}, {after: "4m", act: left}}, []string{"1-coat-left: " + string(Interrupted), "2-cut-pod: " + string(Interrupted)}},
		"begun by another":                       {ready, []told{{after: "1m", by: "other", act: Begin{Step: "coat-left", Began: evening.Add(3 * time.Minute)}}, {after: "4m", act: left}}, []string{"1-coat-left: " + string(Interrupted)}},
		"the clock went back":                    {ready, []told{{after: "5m", act: Note{"ahead"}}, {after: "-3m", act: Note{"set right"}}, {after: "6m", act: cut}}, []string{"1-cut-pod: 8m0s"}},
	} {
		t.Run(name, func(t *testing.T) {
			got := times(story(t, append(slices.Clone(c.begin), c.acts...)...))
			for _, want := range c.want {
				if !slices.Contains(strings.Split(got, "\n"), want) {
					t.Errorf("want %s; it is\n%s", want, got)
				}
			}
		})
	}
}

// A step by a clock that had gone back is not timed.
func TestTimedByAClockThatWentBack(t *testing.T) {
	b := building(t)
	b.done("propeller-off")
	b.after(5 * time.Minute)
	b.must(Note{"ahead"})
	b.after(-4 * time.Minute)
	b.done("coat-left")
	all := worked(t, b.now, b)
	if !strings.Contains(times(all), "coat-left: "+string(Interrupted)) {
		t.Error(times(all))
	}
}

// What went wrong is counted at its step: measured twice, it is one failure until it passes.
func TestTroubleOfSteps(t *testing.T) {
	b := building(t)
	b.done("coat-left")
	b.after(time.Minute)
	b.done("coat-right")
	b.after(2 * time.Hour)
	b.done("coat-left", "coat-right") // both had lapsed
	b.after(11 * time.Minute)
	b.done("join-roots")
	b.after(time.Hour)
	b.must(readings("slot", "root=5 mm"))
	b.must(readings("slot", "tip=4 mm")) // out all the same
	b.must(Rework{Gate: "slot"})
	b.must(readings("slot", "root=4.49 mm", "tip=4 mm"))
	b.after(24 * time.Hour)
	b.must(readings("slot", "root=4.2 mm", "tip=4 mm"))
	b.must(Undo{Position: b.state.Size() - 1})
	lessons := LessonsOf(build(), "", worked(t, b.now, b))
	trouble := map[string]Trouble{}
	for _, l := range lessons.Steps {
		if l.Sum() > 0 {
			trouble[l.Step.Name] = l.Trouble
		}
	}
	want := map[string]Trouble{"coat-left": {Lapsed: 1}, "coat-right": {Lapsed: 1}, "measure-slot": {Failed: 1, Undecided: 2, Reworked: 1, TakenBack: 1}}
	if !maps.Equal(trouble, want) {
		t.Errorf("trouble is %+v, want %+v", trouble, want)
	}
	if lessons.Steps[0].Step.Name != "measure-slot" || lessons.Jobs != 1 || !slices.Equal(lessons.Marks, []string{"PL-01"}) || !slices.Equal(lessons.Revisions, []int{1}) {
		t.Errorf("%+v", lessons)
	}
}

// The quartiles of 1 to 9 and of the first ten primes, by the definition of the NIST/SEMATECH
// e-Handbook 7.2.6.2, worked out by hand.
func TestSpread(t *testing.T) {
	for _, c := range []struct {
		of   []float64
		want Spread
	}{
		{nil, Spread{}},
		{[]float64{7}, Spread{7, 7, 7, 1}},
		{[]float64{4, 1, 3, 2}, Spread{2.5, 1, 4, 4}}, // too few for quartiles
		{[]float64{9, 8, 7, 6, 5, 4, 3, 2, 1}, Spread{5, 2.5, 7.5, 9}},
		{[]float64{2, 3, 5, 7, 11, 13, 17, 19, 23, 29}, Spread{12, 4.5, 20, 10}},
	} {
		got := spreadOf(c.of)
		if got.Count != c.want.Count || math.Abs(got.Median-c.want.Median)+math.Abs(got.Low-c.want.Low)+math.Abs(got.High-c.want.High) > 1e-12 {
			t.Errorf("%v: %+v, want %+v", c.of, got, c.want)
		}
	}
}

// A person's pace rests on what that person did, as part of what was written then.
func TestPace(t *testing.T) {
	all := []WorkDone{{Steps: []*StepRecord{
		{Step: &steps.Step{Name: "a", Hands: q("10 min")}, Done: []*StepTime{{By: "x", Took: 15 * time.Minute}, {By: "y", Took: time.Minute}, {By: "x", Untimed: TypedLater}}},
		{Step: &steps.Step{Name: "b", Hands: q("4 min")}, Done: []*StepTime{{By: "x", Took: 8 * time.Minute}}},
		{Step: &steps.Step{Name: "c"}, Done: []*StepTime{{By: "x", Took: 8 * time.Minute}}}, // which says nothing
	}}}
	any := func(*StepRecord, float64) bool { return true }
	if got, want := pace(all, "x", any), (Spread{1.75, 1.5, 2, 2}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := pace(all, "x", func(r *StepRecord, _ float64) bool { return r.Step.Name == "a" }); got.Median != 1.5 {
		t.Errorf("%+v", got)
	}
	if got := pace(all, "z", any); got != (Spread{}) {
		t.Errorf("%+v", got)
	}
}

// Before a join is due there is as much time as the builder takes, and not as is written: no step is ever taken to last less.
func TestOwnPaceBeforeAJoin(t *testing.T) {
	for _, c := range []struct {
		each time.Duration // of 10 minutes, six times
		by   string
		want bool // 18 minutes fit in
	}{{10 * time.Minute, "builder", true}, {20 * time.Minute, "builder", false}, {20 * time.Minute, "another", true}, {5 * time.Minute, "builder", true}} {
		var all []steps.Stage
		for i := range TimedInAll + 1 {
			all = append(all, one(fmt.Sprint("s", i), hands(fmt.Sprint("s", i), "10 min")))
		}
		b := working(t, append(all, one("one", coating("coat", "tab"), joining("join", "tab")), one("trim", hands("trim", "18 min")))...)
		for i := range TimedInAll + 1 {
			b.now = b.now.Add(c.each)
			b.must(Finish{Step: fmt.Sprint("s", i)})
		}
		b.now = b.now.Add(time.Minute)
		b.must(Finish{Step: "coat"})
		s := b.state.Seated(Seat{By: c.by})
		trim := b.step("trim")
		if got := s.CanWaitFor(&trim, s, false, b.now); got != c.want {
			t.Errorf("%s at %v for 10 min: it fits in: %v", c.by, c.each, got)
		}
		if got := s.Next(b.now).Step; (got != nil && got.Step.Name == "trim") != c.want {
			t.Errorf("%s at %v for 10 min is led to %+v", c.by, c.each, got)
		}
		s.Planned = []Planned{{Job: trim.Job, Step: "gone", Begins: b.now}}
		if got := s.CanWaitFor(&trim, s, false, b.now); got != c.want {
			t.Errorf("%s at %v for 10 min: by a plan that has it not it fits in: %v", c.by, c.each, got)
		}
		other := working(t, one("trim", hands("trim", "18 min"))).state
		other.Airframe.Mark = "PL-02"
		at := other.Seated(Seat{By: c.by}).Beside([]*State{b.state})
		if clocks := at.beside(other.Steps(other.Jobs[0], b.now)[0], false, b.now); (len(clocks) == 0) != c.want {
			t.Errorf("%s at %v for 10 min: beside a step of another airframe %+v", c.by, c.each, clocks)
		}
	}
}

// What somebody takes for a step is found of that step, where it was timed often enough.
func TestPaceOf(t *testing.T) {
	p := &steps.Procedure{Name: "tidy"}
	of := func(name string, took ...time.Duration) *StepRecord {
		r := &StepRecord{Procedure: p, Step: &steps.Step{Name: name, Hands: q("10 min")}}
		for _, each := range took {
			r.Done = append(r.Done, &StepTime{By: "x", Took: each})
		}
		return r
	}
	const m = time.Minute
	quick, slow := of("quick", 8*m, 8*m, 8*m), of("slow", 30*m, 30*m)
	own := PaceOf([]WorkDone{{Steps: []*StepRecord{quick}}, {Steps: []*StepRecord{slow}}}, "x")
	for step, want := range map[*steps.Step]time.Duration{quick.Step: 8 * m, slow.Step: 8 * m, {Name: "new", Hands: q("20 min")}: 16 * m, {Name: "free"}: 0} {
		if got, known := own(p, step); got != want || known != (want > 0) {
			t.Errorf("%s takes %v, %v; want %v", step.Name, got, known, want)
		}
	}
	if got, known := own(&steps.Procedure{Name: "another"}, &steps.Step{Name: "quick", Hands: q("30 min")}); got != 24*m || !known {
		t.Errorf("a step of the same name takes %v", got)
	}
	if got, known := PaceOf([]WorkDone{{Steps: []*StepRecord{slow, of("more", m, m)}}}, "x")(p, slow.Step); known {
		t.Errorf("of four it is known to take %v", got)
	}
}
