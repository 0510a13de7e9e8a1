package robot_test

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/quantity"
	"fettle/store"
	"fettle/workflow"
	"fettle/workflow/journal"
	"fettle/workflow/plan"
	"fettle/workflow/robot"
)

// evenings are two sittings a week, an evening and an afternoon, for so many weeks.
func evenings(from time.Time, weeks int) (all []workflow.Sitting) {
	for w := range weeks {
		day := from.AddDate(0, 0, 7*w)
		all = append(all, workflow.Sitting{From: day, To: day.Add(2 * time.Hour)})
		day = day.AddDate(0, 0, 4).Add(-5 * time.Hour)
		all = append(all, workflow.Sitting{From: day, To: day.Add(3 * time.Hour)})
	}
	return all
}

// begun is an airframe of the design of which nothing of the build is done.
func begun(t testing.TB, design, mark string) *robot.Worker {
	t.Helper()
	w, sheet := worker(t), named(t, design)
	act(t, w, workflow.Register{Mark: mark, Sheet: sheet.Sheet, Digest: store.Digest(sheet.Bytes)})
	start(t, w, named(t, design+"-build"), "")
	return w
}

func show(t *testing.T, p workflow.Timetable) {
	t.Helper()
	for _, v := range p.Visits {
		t.Log(v.From.Format("Mon 2 Jan 15:04"), "to", v.To.Format("15:04"))
		for _, turn := range v.Turns {
			window := ""
			if !turn.Closes.IsZero() {
				window = fmt.Sprintf("%s to %s, by %s", turn.Opens.Format("15:04"), turn.Closes.Format("15:04"), turn.By.Format("15:04"))
			}
			t.Log("   ", turn.Begins.Format("15:04"), turn.Ends.Format("15:04"), turn.Mark, turn.Step, turn.Act, turn.With, window)
		}
	}
	t.Logf("finish %s, bound %s, proven %t, attended %s, idle %s", p.Finish.Format("Mon 2 Jan 15:04"), p.Bound.Format("Mon 2 Jan 15:04"), p.Proven, p.Attended, p.Idle)
	for _, l := range p.Chain {
		t.Log("   ", l.Begins.Format("Mon 2 Jan 15:04"), l.Step, l.After, l.Joint, l.Wait, l.Sitting)
	}
	for _, a := range p.Answers {
		t.Logf("   %+v", a)
	}
	for _, a := range p.Stops {
		t.Logf("   %+v", a)
	}
}

// Who asks a second time is shown the same plan.
func TestASecondLookShowsTheSamePlan(t *testing.T) {
	t.Parallel()
	w, celsius := begun(t, "causeway", "CW-01"), 18.0
	h := workflow.Hours{Sittings: evenings(w.Now, 26), Celsius: &celsius}
	first, err := crew{w}.plan(t, w.Now, h, plan.Options{Think: time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	h.Like = &first
	again, err := crew{w}.plan(t, w.Now, h, plan.Options{Think: time.Minute})
	if err != nil || !reflect.DeepEqual(again.Visits, first.Visits) {
		t.Errorf("%v: at first %s of work, then %s", err, first.Attended, again.Attended)
	}
}

// Every build from its start, with two sittings a week, is planned as well as can be or minutes from it, and can be carried out as planned:
// FETTLE_LONG carries all of them, and all at once.
func TestBuildsArePlanned(t *testing.T) {
	t.Parallel()
	var all crew
	for _, design := range []string{"reed", "skerry", "jetty", "causeway"} {
		w := begun(t, design, strings.ToUpper(design))
		c := crew{w}
		began := time.Now()
		p, err := c.plan(t, w.Now, workflow.Hours{Sittings: evenings(w.Now, 26)}, plan.Options{Think: time.Minute}) // on any machine
		if err != nil {
			t.Fatalf("%s: %v", design, err)
		}
		t.Logf("%s: %v", design, time.Since(began))
		show(t, p)
		if !p.Proven || len(p.Stops) > 0 {
			t.Errorf("%s: finish %s is not proven, bound %s; stops %+v", design, p.Finish, p.Bound, p.Stops)
		}
		one := *w
		all = append(all, &one)
		if design == "reed" || os.Getenv("FETTLE_LONG") != "" {
			c.carry(t, p)
		}
	}
	if testing.Short() || os.Getenv("FETTLE_LONG") == "" {
		return
	}
	began := time.Now()
	p, err := all.plan(t, all[0].Now, workflow.Hours{Sittings: evenings(all[0].Now, 40)}, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("all at once: %v", time.Since(began))
	show(t, p)
	all.carry(t, p)
}

// Longer sittings finish no build later, nor do two pairs of hands: the small design is proven the best with each.
func TestLongerSittingsFinishNoLater(t *testing.T) {
	t.Parallel()
	w := begun(t, "reed", "REED")
	last := map[int]time.Time{}
	for minutes := 60; minutes <= 80; minutes += 4 {
		for hands := 1; hands <= 2; hands++ {
			var sittings []workflow.Sitting
			for week := range 8 {
				from := w.Now.AddDate(0, 0, 7*week)
				sittings = append(sittings, workflow.Sitting{From: from, To: from.Add(time.Duration(minutes) * time.Minute)})
			}
			p, err := crew{w}.plan(t, w.Now, workflow.Hours{Sittings: sittings, Hands: hands}, plan.Options{Think: time.Minute})
			if err != nil {
				t.Fatal(err)
			}
			for _, before := range []int{hands, 1} {
				if !p.Proven || !last[before].IsZero() && p.Finish.After(last[before]) {
					t.Errorf("%d minutes, hands %d: finish %s, bound %s; before %v", minutes, hands, p.Finish, p.Bound, last)
				}
			}
			last[hands] = p.Finish
		}
	}
}

// However many sittings there are, time is left to look for the best plan: what lies in one sitting and fits into none is not pushed
// through all of them before there is a plan.
func TestManySittings(t *testing.T) {
	t.Parallel()
	w := begun(t, "reed", "REED")
	var sittings []workflow.Sitting
	for day := range 4 * 365 {
		if from := w.Now.AddDate(0, 0, day); from.Weekday() != time.Saturday && from.Weekday() != time.Sunday {
			sittings = append(sittings, workflow.Sitting{From: from, To: from.Add(63 * time.Minute)})
		}
	}
	p, err := crew{w}.plan(t, w.Now, workflow.Hours{Sittings: sittings}, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if want := w.Now.AddDate(0, 0, 1).Add(40 * time.Minute); !p.Proven || !p.Finish.Equal(want) {
		t.Errorf("finish %s, bound %s, want %s, proven", p.Finish, p.Bound, want)
	}
}

// Nothing is ended for a while and set anew in the same sitting where nothing between needs that, also where there is little time to think.
func TestNothingIsHeatedTwiceForNothing(t *testing.T) {
	t.Parallel()
	c := crew{begun(t, "reed", "RD-01"), begun(t, "skerry", "SK-01")}
	var sittings []workflow.Sitting
	for day := range 40 {
		from := c[0].Now.AddDate(0, 0, day)
		sittings = append(sittings, workflow.Sitting{From: from, To: from.Add(45 * time.Minute)})
	}
	p, err := c.plan(t, c[0].Now, workflow.Hours{Sittings: sittings}, plan.Options{Think: 100 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range p.Visits {
		for i := 1; i < len(v.Turns); i++ {
			if off, on := v.Turns[i-1], v.Turns[i]; off.Again == workflow.AgainSafe && on.Again == workflow.AgainReady && off.Mark == on.Mark && len(off.Sets) == 1 && len(on.Sets) == 1 && off.Sets[0].Condition == on.Sets[0].Condition {
				t.Errorf("%s: %s, and right after it %s", off.Begins, off.Title, on.Title)
			}
		}
	}
}

// A crew are the robots of the airframes of one bench.
type crew []*robot.Worker

func (c crew) states() (all []*workflow.State) {
	for _, w := range c {
		all = append(all, w.State)
	}
	return all
}

func (c crew) of(t testing.TB, mark string) *robot.Worker {
	t.Helper()
	for _, w := range c {
		if w.State.Airframe.Mark == mark {
			w.State = w.State.Beside(c.states())
			return w
		}
	}
	t.Fatalf("no airframe %s", mark)
	return nil
}

// plan makes a timetable that is judged by the checker of plans.
func (c crew) plan(t testing.TB, now time.Time, h workflow.Hours, o plan.Options) (workflow.Timetable, error) {
	t.Helper()
	h.Watch = func(p plan.Problem, r plan.Result) {
		if r.Starts == nil {
			return
		}
		if err := plan.Check(p, r.Starts); err != nil {
			t.Fatal(err)
		}
	}
	var all []*workflow.State
	for _, w := range c {
		all = append(all, w.State.Beside(c.states()))
	}
	return workflow.Schedule(t.Context(), all, now, h, o)
}

// untimely is what the record asks for before a step that takes longer than a look: a tool that is not hot, or was not measured in
// this sitting.
func untimely(w *robot.Worker, turn workflow.Turn) string {
	r, _, err := w.State.FindStep(turn.Job+"/"+turn.Step, w.Now)
	if err != nil {
		return err.Error()
	}
	for _, reason := range r.Reasons {
		for _, u := range w.State.Sheet.UsesOf(r.Step) {
			if slices.Contains(u.Measure, reason.Remedy.Gate) || slices.ContainsFunc(u.Needs, func(n steps.Setting) bool {
				return reason.Remedy.Setting == n && n.State == "hot"
			}) {
				return reason.Text
			}
		}
	}
	return ""
}

// carry does everything at its time.
func (c crew) carry(t testing.TB, p workflow.Timetable) {
	t.Helper()
	for _, v := range p.Visits {
		for _, turn := range v.Turns {
			w := c.of(t, turn.Mark)
			w.Now = turn.Begins
			if turn.Again != "" {
				if err := w.Again(turn); err != nil {
					t.Fatalf("%s %s %s: %v", turn.Begins, turn.Mark, turn.Step, err)
				}
				continue
			}
			if text := untimely(w, turn); text != "" {
				t.Errorf("%s %s %s has no time for it: %s", turn.Begins, turn.Mark, turn.Step, text)
			}
			if err := w.Do(turn.Job+"/"+turn.Step, turn.Ends.Sub(turn.Begins)); err != nil {
				t.Fatalf("%s %s %s %s: %v", turn.Begins, turn.Mark, turn.Step, turn.Act, err)
			}
			if !w.Now.Equal(turn.Ends) {
				t.Errorf("%s %s ends at %s, planned %s", turn.Mark, turn.Step, w.Now, turn.Ends)
			}
		}
	}
	for _, w := range c {
		if jobs := w.State.OpenJobs(p.Finish); len(jobs) > 0 {
			t.Errorf("%s: %s is still open", w.State.Airframe.Mark, jobs[0].ID)
		}
	}
}

// slowly does all that is open, in the order that is planned, with minutes that are off by up to so much, and plans anew
// after a slip and for each sitting. It gives how many coats were put on and how many of them lapsed.
func (c crew) slowly(t testing.TB, r *rand.Rand, off float64, h workflow.Hours) (coats, lapsed, plans int) {
	t.Helper()
	now := c[0].Now
	o := plan.Options{Think: 200 * time.Millisecond}
	var p workflow.Timetable
	var left []workflow.Turn
	for range 2000 {
		if len(left) == 0 {
			var err error
			if p, err = c.plan(t, now, h, o); err != nil {
				t.Fatalf("%s: %v", now, err)
			}
			plans++
			h.Like = &p
			if len(p.Visits) == 0 {
				break
			}
			left = p.Visits[0].Turns
		}
		turn := left[0]
		left = left[1:]
		w := c.of(t, turn.Mark)
		w.Now = turn.Begins
		name := turn.Job + "/" + turn.Step
		if report, _, err := w.State.FindStep(name, w.Now); err == nil {
			for _, reason := range report.Reasons {
				if reason.Remedy.Kind == workflow.ToClearUse { // nobody plans for what is confirmed once a sitting
					w.Now = w.Now.Add(time.Minute)
				}
			}
		}
		takes := time.Duration(float64(turn.Ends.Sub(turn.Begins)) * (1 - off + 2*off*r.Float64())).Truncate(time.Second)
		ends, do := turn.Ends, func() error { return w.Do(name, takes) }
		if turn.Again != "" {
			turn.Ends = w.Now.Add(takes)
			do = func() error { return w.Again(turn) }
		}
		if err := do(); err != nil {
			t.Logf("%s %s %s: %v", turn.Begins, turn.Mark, turn.Step, err)
			left = nil
		}
		if now = w.Now; now.After(ends) {
			left = nil
		}
	}
	for _, w := range c {
		if jobs := w.State.OpenJobs(now); len(jobs) > 0 {
			t.Errorf("%s: %s is still open", w.State.Airframe.Mark, jobs[0].ID)
		}
		put := map[string]bool{}
		for _, e := range w.State.Entries {
			if coated, is := e.Facts.(journal.Coated); is && w.State.Live(e.Position) {
				coats++
				if name := coated.Job + "/" + coated.Step; put[name] {
					lapsed++
				} else {
					put[name] = true
				}
			}
		}
	}
	return coats, lapsed, plans
}

// Where minutes are off by up to 30 %, fewer than one coat in a hundred lapses: of the coats of a small job, and with
// FETTLE_LONG of the builds.
func TestSlowHands(t *testing.T) {
	t.Parallel()
	works, seeds := []func() *robot.Worker{func() *robot.Worker { return smallWork(t) }}, uint64(4)
	if os.Getenv("FETTLE_LONG") != "" {
		seeds = 20
		for _, design := range []string{"reed", "skerry", "jetty", "causeway"} {
			works = append(works, func() *robot.Worker { return begun(t, design, strings.ToUpper(design)) })
		}
	}
	coats, lapsed := 0, 0
	for seed := range seeds {
		for _, work := range works {
			w := work()
			n, k, plans := crew{w}.slowly(t, rand.New(rand.NewPCG(seed, 1)), 0.3, workflow.Hours{Sittings: evenings(w.Now, 30)})
			t.Logf("%s, %d: %d of %d coats lapsed, %d plans, %s", w.State.Airframe.Mark, seed, k, n, plans, w.Now)
			coats, lapsed = coats+n, lapsed+k
		}
	}
	t.Logf("%d of %d coats lapsed", lapsed, coats)
	if coats < 12 || lapsed*100 >= coats {
		t.Errorf("%d of %d coats lapsed", lapsed, coats)
	}
}

// smallWork is a Skerry with a short job: two coats that dry, two that are mixed, and an iron beside them.
func smallWork(t testing.TB, otherwise ...func(*steps.Procedure)) *robot.Worker {
	t.Helper()
	w, design := worker(t), named(t, "skerry")
	act(t, w, workflow.Register{Mark: "SK-01", Sheet: design.Sheet, Digest: store.Digest(design.Bytes)})
	minutes := func(name string, n int64, kind steps.Kind, joint string, adhesives ...string) steps.Step {
		hands, err := quantity.New(big.NewRat(n, 1), "min")
		if err != nil {
			t.Fatal(err)
		}
		return steps.Step{Name: name, Kind: kind, Joint: joint, Adhesives: adhesives, Hands: hands, Do: name}
	}
	heat, cool := minutes("heat", 8, steps.Do, ""), minutes("cool", 1, steps.Do, "")
	heat.Sets, cool.Sets = []steps.Setting{{Condition: "iron", State: "hot"}}, []steps.Setting{{Condition: "iron", State: "cold"}}
	p := &steps.Procedure{Name: "small", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{
		{Name: "dry", Steps: []steps.Step{minutes("sand", 50, steps.Do, ""), minutes("left", 5, steps.Coat, "tab", "contact"), minutes("right", 5, steps.Coat, "tab", "contact"),
			minutes("press", 4, steps.Join, "tab"), minutes("trim", 30, steps.Do, "")}},
		{Name: "wet", Steps: []steps.Step{minutes("fit", 40, steps.Do, ""), minutes("fill", 6, steps.Coat, "slot", "epoxy"), minutes("close", 5, steps.Join, "slot")}},
		{Name: "iron", Steps: []steps.Step{heat, minutes("iron-it", 25, steps.Do, ""), cool}},
	}}
	for _, change := range otherwise {
		change(p)
	}
	w.Documents.Procedures["sha256:small"] = p
	act(t, w, workflow.Start{Procedure: p, Digest: "sha256:small", Sheet: w.State.Sheet, SheetDigest: w.State.SheetDigest})
	return w
}

// A job that films goes over two sittings: each is carried out at its minutes, with all that the record asks for anew in the
// second.
func TestFilmingOverTwoSittingsIsCarriedOut(t *testing.T) {
	t.Parallel()
	w := smallWork(t, func(p *steps.Procedure) {
		stage := &p.Stages[2]
		heat, film, cool := stage.Steps[0], stage.Steps[1], stage.Steps[2]
		heat.Tools, film.Tools = []string{"iron"}, []string{"iron"}
		measure, more := heat, film
		measure.Name, measure.Kind, measure.Sets, measure.Gates, more.Name = "measure-iron", steps.Measure, nil, []string{"iron-temperature"}, "iron-more"
		stage.Steps = []steps.Step{heat, measure, film, more, cool}
	})
	c := crew{w}
	var h workflow.Hours
	for day := range 6 {
		from := w.Now.AddDate(0, 0, day)
		h.Sittings = append(h.Sittings, workflow.Sitting{From: from, To: from.Add(60 * time.Minute)})
	}
	p, err := c.plan(t, w.Now, h, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// 8, 8, 25, 25 and 1 minutes are more than an hour.
	var leave []workflow.Left
	again := 0
	for _, v := range p.Visits {
		leave = append(leave, v.Leave...)
		for _, turn := range v.Turns {
			if turn.Again != "" {
				again++
			}
		}
	}
	if len(leave) != 1 || again != 3 {
		t.Errorf("left is %+v, and %d are done once more", leave, again)
		show(t, p)
	}
	c.carry(t, p)
}

// What a plan is judged by can say no: a join after its window, and heat beside an open coat.
func TestATimetableThatIsBrokenIsRefused(t *testing.T) {
	for name, spoil := range map[string]func(of map[string]*workflow.Turn){
		"":        func(map[string]*workflow.Turn) {},
		"late":    func(of map[string]*workflow.Turn) { of["press"].Begins = of["left"].Begins.Add(41 * time.Minute) },
		"early":   func(of map[string]*workflow.Turn) { of["press"].Begins = of["right"].Ends.Add(time.Minute) },
		"heating": func(of map[string]*workflow.Turn) { of["heat"].Begins = of["right"].Ends },
	} {
		w := smallWork(t)
		c := crew{w}
		p, err := c.plan(t, w.Now, workflow.Hours{Sittings: []workflow.Sitting{{From: w.Now, To: w.Now.Add(5 * time.Hour)}}}, plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		of, takes := map[string]*workflow.Turn{}, map[string]time.Duration{}
		for i := range p.Visits[0].Turns {
			turn := &p.Visits[0].Turns[i]
			of[turn.Step], takes[turn.Step] = turn, turn.Ends.Sub(turn.Begins)
		}
		spoil(of)
		slices.SortStableFunc(p.Visits[0].Turns, func(a, b workflow.Turn) int { return a.Begins.Compare(b.Begins) })
		broken := ""
		for _, turn := range p.Visits[0].Turns {
			w.Now = turn.Begins
			if err := w.Do(turn.Job+"/"+turn.Step, takes[turn.Step]); err != nil {
				broken = turn.Step
				break
			}
		}
		if (broken == "") != (name == "") {
			t.Errorf("%s: refused is %q", name, broken)
		}
	}
}

// keepsTime plans what is open of an airframe, an afternoon a day, and with FETTLE_LONG carries it out.
func keepsTime(t testing.TB, w robot.Worker) {
	t.Helper()
	var h workflow.Hours
	h.Consider = w.Answers
	for day := range 60 {
		from := w.Now.AddDate(0, 0, day)
		h.Sittings = append(h.Sittings, workflow.Sitting{From: from, To: from.Add(5 * time.Hour)})
	}
	c := crew{&w}
	p, err := c.plan(t, w.Now, h, plan.Options{})
	if err != nil {
		t.Errorf("%v", err)
		return
	}
	if len(p.Stops) > 0 {
		t.Errorf("it stops: %+v", p.Stops)
	}
	if os.Getenv("FETTLE_LONG") != "" {
		c.carry(t, p)
	}
}

// There is a plan of builds from their start whatever the time to think, and it says how far from the best it may be.
func TestScheduleWhateverTheTime(t *testing.T) {
	t.Parallel()
	sizes := []int{1, 4, 12}
	if os.Getenv("FETTLE_LONG") != "" {
		sizes = append(sizes, 50, 100) // of 300 the timetable alone takes minutes
	}
	var begin crew
	for _, design := range []string{"reed", "skerry", "jetty", "causeway"} {
		begin = append(begin, begun(t, design, strings.ToUpper(design)))
	}
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	for _, n := range sizes {
		h := workflow.Hours{Sittings: evenings(now, 10*n)}
		h.Watch = func(p plan.Problem, r plan.Result) {
			if r.Starts != nil {
				if broken := plan.Check(p, r.Starts); broken != nil {
					t.Error(broken)
				}
			}
		}
		p, err := workflow.Schedule(t.Context(), fleetOf(begin.states(), n), now, h, plan.Options{Think: 1})
		if err != nil {
			t.Fatalf("%d: %v", n, err)
		}
		gap := p.Finish.Sub(p.Bound).Seconds() / p.Finish.Sub(now).Seconds()
		t.Logf("%d: over at %s, at most %.0f %% from the best", n, p.Finish.Format(time.DateOnly), 100*gap)
		if gap > 0.5 || p.Proven != p.Finish.Equal(p.Bound) {
			t.Errorf("%d: it is over at %s and cannot be before %s; the best: %t", n, p.Finish, p.Bound, p.Proven)
		}
	}
}

// fleetOf are so many airframes, by turns like those given.
func fleetOf(like []*workflow.State, n int) (fleet []*workflow.State) {
	for i := range n {
		s := *like[i%len(like)]
		s.Airframe.Mark = fmt.Sprintf("X-%d", i)
		fleet = append(fleet, &s)
	}
	return fleet
}

// The time to plan builds from their start: each by itself, until it is proven, and several on one bench.
func BenchmarkSchedule(b *testing.B) {
	var begin []*workflow.State
	for _, design := range []string{"reed", "skerry", "jetty", "causeway"} {
		begin = append(begin, begun(b, design, strings.ToUpper(design)).State)
	}
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	run := func(name string, fleet []*workflow.State, weeks int) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				p, err := workflow.Schedule(b.Context(), fleet, now, workflow.Hours{Sittings: evenings(now, weeks)}, plan.Options{})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(p.Finish.Sub(p.Bound).Seconds()/p.Finish.Sub(now).Seconds()*100, "%gap")
			}
		})
	}
	for _, s := range begin {
		run(s.Airframe.Mark, []*workflow.State{s}, 30)
	}
	for _, n := range []int{4, 12, 50} {
		run(fmt.Sprint(n), fleetOf(begin, n), 10*n)
	}
}
