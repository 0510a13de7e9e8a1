package workflow

import (
	"fmt"
	"math/rand/v2"
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
