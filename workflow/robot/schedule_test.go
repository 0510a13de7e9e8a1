package robot_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"fettle/store"
	"fettle/workflow"
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
			p, err := workflow.Schedule(t.Context(), []*workflow.State{w.State}, w.Now, workflow.Hours{Sittings: evenings(w.Now, 26)}, plan.Options{})
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
		})
	}
}
