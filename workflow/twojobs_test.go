package workflow

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/plan"
)

// Two open jobs of one airframe, of which one has the propeller off and the other fits it, are planned so that each step finds propeller
// and battery as it needs them, however many people there are.
func TestScheduleTwoJobsOfOneAirframe(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 0))
	off, on := steps.Setting{Condition: "propeller", State: "off"}, steps.Setting{Condition: "propeller", State: "on"}
	out, in := steps.Setting{Condition: "battery", State: "out"}, steps.Setting{Condition: "battery", State: "in"}
	all := func(is ...steps.Setting) []steps.Setting { return is }
	for round := range 60 {
		work := func(name string, needs, sets []steps.Setting) steps.Step {
			step := hands(name, fmt.Sprintf("%d min", 1+r.IntN(15)))
			step.Needs, step.Sets = needs, sets
			if r.IntN(4) == 0 {
				step.Alone = []string{steps.No}
			}
			return step
		}
		kit := sheet()
		kit.Conditions = append(kit.Conditions, steps.Condition{Name: "propeller", States: []string{"off", "on"}, Guarded: "on"}, steps.Condition{Name: "battery", States: []string{"out", "in"}, Guarded: "in"})
		b := workingOn(t, kit, one("over", work("bare", nil, all(off, out)), work("feel", all(off, out), nil), work("look", nil, nil), work("turn", all(off), nil)),
			one("powered", work("bare-too", nil, all(off, out)), work("plug", all(off), all(in)), work("try", all(off, in), nil), work("pull", nil, all(out)), work("weigh", nil, nil)))
		docs := *b.docs
		b.docs = &docs
		second := &steps.Procedure{Name: "second", Title: "Second", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{one("mend", work("safe", nil, all(off, out)), work("mend", all(off, out), nil), work("fit", all(off, out), all(on)),
			work("tie", all(on, out), nil), work("arm", all(on, out), all(in)), work("full", all(on, in), nil), work("disarm", nil, all(out)), work("tidy", nil, nil))}}
		docs.Procedures["sha256:second"] = second
		b.must(Start{Procedure: second, Digest: "sha256:second", Sheet: kit, SheetDigest: "sha256:own"})
		made := []string{"bare", "bare-too"}[:r.IntN(3)] // by the one, before the other has fitted it
		for _, name := range append(made, []string{"safe", "mend", "fit", "tie"}[:r.IntN(5)]...) {
			with := Finish{Step: name}
			if r := b.step(name); r.Step.WantsSecond() {
				with.Witness.Second = "Ben"
			}
			b.must(with)
		}
		h := Hours{Hands: 1 + r.IntN(3)}
		length := 60 + r.IntN(200)
		for day := range 8 {
			h.Sittings = append(h.Sittings, open(1440*day, 1440*day+length)...)
		}
		p, err := Schedule(t.Context(), []*State{b.state}, b.now, h, plan.Options{Think: 50 * time.Millisecond})
		if err != nil {
			t.Errorf("%d: %v", round, err)
			continue
		}
		if all := disturbed(p, map[string]string{"propeller": b.state.Holds("propeller", b.now), "battery": b.state.Holds("battery", b.now)}); len(all) > 0 {
			t.Errorf("%d, %d min, %d people: %s: %v", round, length, h.Hands, says(p), all)
		}
	}
}

// The propeller that a repair has fitted comes off for the check that goes on, also where the repair has nothing left that needs it on, or is
// over: the check's own step takes it off once more.
func TestScheduleSetsOnceMoreWhatAnotherJobLeft(t *testing.T) {
	off, on := steps.Setting{Condition: "propeller", State: "off"}, steps.Setting{Condition: "propeller", State: "on"}
	all := func(is ...steps.Setting) []steps.Setting { return is }
	work := func(name string, needs, sets []steps.Setting) steps.Step {
		step := hands(name, "5 min")
		step.Needs, step.Sets = needs, sets
		return step
	}
	for _, done := range [][]string{{"mend", "fit"}, {"mend", "fit", "full"}, {"mend", "fit", "full", "tidy"}} { // of the first it is planned
		kit := sheet()
		kit.Conditions[0].Guarded = "on"
		b := workingOn(t, kit, one("over", work("bare", nil, all(off)), work("feel", all(off), nil)))
		docs := *b.docs
		b.docs = &docs
		second := &steps.Procedure{Name: "second", Title: "Second", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{
			one("mend", work("mend", all(off), nil), work("fit", all(off), all(on)), work("full", all(on), nil), work("tidy", nil, nil))}}
		docs.Procedures["sha256:second"] = second
		b.must(Start{Procedure: second, Digest: "sha256:second", Sheet: kit, SheetDigest: "sha256:own"})
		b.done("bare")
		b.done(done...)
		p, err := Schedule(t.Context(), []*State{b.state}, b.now, Hours{Sittings: open(0, 200)}, plan.Options{})
		if bare := strings.Index(says(p), "bare"); bare < 0 || bare > strings.Index(says(p), "feel") {
			t.Errorf("after %v the propeller stays on: %s", done, says(p))
		}
		if wrong := disturbed(p, map[string]string{"propeller": b.state.Holds("propeller", b.now)}); err != nil || len(wrong) > 0 {
			t.Errorf("after %v: %v %s: %v", done, err, says(p), wrong)
		}
	}
}
