package robot_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

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

// Every build from its start, with two sittings a week, is planned as well as can be.
func TestBuildsArePlanned(t *testing.T) {
	for _, design := range []string{"reed", "skerry", "jetty", "causeway"} {
		t.Run(design, func(t *testing.T) {
			w := begun(t, design, "X-1")
			began := time.Now()
			c := crew{w}
			p, err := c.plan(t, w.Now, workflow.Hours{Sittings: evenings(w.Now, 26)}, plan.Options{})
			if err != nil {
				var no *workflow.NoPlan
				errors.As(err, &no)
				t.Fatalf("%v %+v", err, no)
			}
			t.Logf("%s: %v", design, time.Since(began))
			show(t, p)
			if !p.Proven {
				t.Errorf("finish %s is not proven, bound %s", p.Finish, p.Bound)
			}
			c.carry(t, p)
		})
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

// carry does everything at its time.
func (c crew) carry(t testing.TB, p workflow.Timetable) {
	t.Helper()
	for _, v := range p.Visits {
		for _, turn := range v.Turns {
			w := c.of(t, turn.Mark)
			w.Now = turn.Begins
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

// All builds at once on one bench.
func TestFourAtOnce(t *testing.T) {
	var c crew
	for i, design := range []string{"reed", "skerry", "jetty", "causeway"} {
		c = append(c, begun(t, design, fmt.Sprintf("X-%d", i)))
	}
	began := time.Now()
	p, err := c.plan(t, c[0].Now, workflow.Hours{Sittings: evenings(c[0].Now, 40)}, plan.Options{Think: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%v", time.Since(began))
	show(t, p)
	c.carry(t, p)
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
		if err := w.Do(name, takes); err != nil {
			t.Logf("%s %s %s: %v", turn.Begins, turn.Mark, turn.Step, err)
			left = nil
		}
		if now = w.Now; now.After(turn.Ends) {
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

func TestSlowHands(t *testing.T) {
	coats, lapsed := 0, 0
	for seed := range uint64(3) {
		for _, design := range []string{"skerry", "jetty", "causeway"} {
			w := begun(t, design, "X-1")
			n, k, plans := crew{w}.slowly(t, rand.New(rand.NewPCG(seed, 1)), 0.3, workflow.Hours{Sittings: evenings(w.Now, 30)})
			t.Logf("%s, %d: %d of %d coats lapsed, %d plans, %s", design, seed, k, n, plans, w.Now)
			coats, lapsed = coats+n, lapsed+k
		}
	}
	t.Logf("%d of %d coats lapsed", lapsed, coats)
}
