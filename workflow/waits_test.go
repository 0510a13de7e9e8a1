package workflow

import (
	"testing"
	"time"

	"fettle/steps"
)

// working is a bench of 20 °C at which a procedure of the stages was started.
func working(t *testing.T, stages ...steps.Stage) *bench {
	t.Helper()
	return workingOn(t, sheet(), stages...)
}

// workingOn is a bench that works by a sheet of its own.
func workingOn(t *testing.T, sheet *steps.Sheet, stages ...steps.Stage) *bench {
	t.Helper()
	p := &steps.Procedure{Name: "work", Title: "Work", Kind: steps.Check, Revision: 1, Stages: stages}
	b := newBench(t)
	docs := documents()
	docs.Procedures["sha256:work"], docs.Sheets["sha256:own"] = p, sheet
	b.docs = &docs
	b.state = b.replay(b.state.Entries)
	b.must(Start{Procedure: p, Digest: "sha256:work", Sheet: sheet, SheetDigest: "sha256:own"})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	return b
}

func plain(name string) steps.Step { return steps.Step{Name: name, Kind: steps.Do, Do: "do " + name} }
func wait(name, of string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Wait, For: q(of)}
}
func coating(name, joint string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Coat, Joint: joint, Adhesive: "contact"}
}
func joining(name, joint string) steps.Step {
	return steps.Step{Name: name, Kind: steps.Join, Joint: joint}
}

// waits asserts that the step waits for so long from now.
func (b *bench) waits(step string, of time.Duration) {
	b.t.Helper()
	if r := b.step(step); r.Progress != Waiting || opens(r).Sub(b.now) != of {
		b.t.Errorf("%s is %s, opens in %v: %v; want %v", step, r.Progress, opens(r).Sub(b.now), r.Reasons, of)
	}
}

func TestAWaitIsWaitedAgainAfterALapse(t *testing.T) {
	for name, stages := range map[string][]steps.Stage{
		"in one stage": {{Name: "one", Steps: []steps.Step{coating("coat", "tab"), plain("roughen"), wait("air", "20 min"), joining("join", "tab")}}},
		"in two stages": {{Name: "one", Steps: []steps.Step{coating("coat", "tab"), plain("roughen")}},
			{Name: "two", After: []string{"one"}, Steps: []steps.Step{wait("air", "20 min"), joining("join", "tab")}}},
	} {
		t.Run(name, func(t *testing.T) {
			b := working(t, stages...)
			b.done("coat", "roughen")
			b.waits("air", 20*time.Minute)
			b.after(20 * time.Minute)
			b.done("air")
			b.after(30 * time.Minute) // the coat lapsed after 40 min
			if b.try(Finish{Step: "join"}) == nil {
				t.Error("joined with a coat that had lapsed")
			}
			b.done("coat")
			b.waits("air", 20*time.Minute)
			b.after(19 * time.Minute)
			b.refused(Finish{Step: "join"}, ByOrder)
			b.after(time.Minute)
			b.done("join")
		})
	}
}

func TestWaits(t *testing.T) {
	t.Run("from the step before, not from the opening of the job", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min")}})
		b.after(time.Hour)
		b.done("lay")
		b.waits("rest", 20*time.Minute)
	})
	t.Run("first of all, from the opening of the job", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{wait("rest", "20 min"), plain("lay")}})
		b.after(5 * time.Minute)
		b.waits("rest", 15*time.Minute)
	})
	t.Run("after a wait", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min"), wait("again", "30 min"), plain("lift")}})
		b.after(time.Hour)
		b.done("lay")
		b.after(25 * time.Minute)
		b.waits("again", 25*time.Minute)
		b.refused(Finish{Step: "lift"}, ByOrder)
		b.after(25 * time.Minute)
		b.done("lift")
		if r := b.step("rest"); r.Progress != Done || r.At.IsZero() {
			t.Errorf("the wait that was over is not in the journal: %+v", r)
		}
	})
	t.Run("after a stage that ends with a wait", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min")}},
			steps.Stage{Name: "two", After: []string{"one"}, Steps: []steps.Step{wait("again", "30 min")}})
		b.done("lay")
		if r := b.step("again"); r.Progress != Waiting || !opens(r).IsZero() {
			t.Errorf("it waits while the stage before is open: %+v", r)
		}
		b.after(25 * time.Minute)
		b.waits("again", 25*time.Minute)
	})
	t.Run("one that was entered as over stays so", func(t *testing.T) {
		b := working(t, steps.Stage{Name: "one", Steps: []steps.Step{plain("lay"), wait("rest", "20 min"), plain("lift")}})
		b.done("lay")
		b.after(20 * time.Minute)
		b.done("rest")
		b.after(-time.Minute)
		if job := b.state.Jobs[0]; !b.state.met(job, job.Procedure.Stages[0], 1, b.now) {
			t.Error("it waits again")
		}
	})
}
