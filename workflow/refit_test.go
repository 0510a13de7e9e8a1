package workflow

import (
	"slices"
	"testing"
	"time"

	"fettle/steps"
)

// refitting is a bench of an airframe with hard fins, and a gate of these. Jobs
// change them.
func refitting(t *testing.T, jobs ...*steps.Procedure) *bench {
	t.Helper()
	s := choiceSheet()
	s.Gates = append(s.Gates, steps.Gate{Name: "height", Repeat: 1, Gauge: "rule", Where: steps.Where{With: [][]string{{"hard"}}},
		Limits: s.Gates[0].Limits, Of: []string{"tail"}, Critical: true})
	b := newBench(t)
	docs := documents()
	docs.Sheets["sha256:own"] = s
	for _, p := range append(jobs, refit("hard"), refit("soft"), refit("none")) {
		docs.Procedures["sha256:"+p.Name] = p
	}
	b.docs, b.state = &docs, b.replay(nil)
	b.must(Register{Mark: "PL-01", Sheet: s, Digest: "sha256:own", Options: []string{"hard"}})
	return b
}

func (b *bench) start(p *steps.Procedure) {
	b.t.Helper()
	b.must(Start{Procedure: p, Digest: "sha256:" + p.Name, Sheet: b.docs.Sheets["sha256:own"], SheetDigest: "sha256:own"})
}

// refit fits other fins.
func refit(to string) *steps.Procedure {
	fit := plain("fit-" + to)
	fit.With = [][]string{{to}}
	return &steps.Procedure{Name: "to-" + to, Title: "Refit", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{{Name: "one",
		Steps: []steps.Step{plain("off-" + to), {Name: "choose-" + to, Kind: steps.Choose, Choose: to}, fit, plain("look-" + to)}}}}
}

func TestAChoiceChangedTwiceOpensNoCompleteJob(t *testing.T) {
	b := refitting(t)
	for _, to := range []string{"soft", "none", "soft", "hard"} {
		b.start(refit(to))
		b.done("off-" + to)
		b.must(Choose{Answer: to})
		b.done("fit-"+to, "look-"+to)
		if open := b.state.OpenJobs(b.now); len(open) > 0 {
			t.Fatalf("to %s: job %s is open", to, open[0].ID)
		}
	}
}

// An answer is not changed over what another open job did by it.
func TestAnAnswerStandsWhileAnOpenJobRestsOnIt(t *testing.T) {
	coat, join := coating("coat", "fin"), joining("join", "fin")
	coat.With, join.With = [][]string{{"hard"}}, [][]string{{"hard"}}
	fix := &steps.Procedure{Name: "fix", Title: "Fix", Kind: steps.Check, Revision: 1, Stages: []steps.Stage{{Name: "one", Steps: []steps.Step{coat, join, plain("wipe")}}}}
	b := refitting(t, fix)
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.start(fix)
	b.done("coat")
	b.start(refit("soft"))
	b.done("off-soft")
	mustContain(t, b.refused(Choose{Answer: "soft"}, ByState), "hard was chosen, and coat, which depends on it, is done in job ", "[finish ")
	b.after(15 * time.Minute)
	b.done("join", "wipe")
	b.must(Choose{Answer: "soft"})
	b.start(refit("none"))
	b.done("fit-soft", "off-none")
	mustContain(t, b.refused(Choose{Answer: "none"}, ByState), "soft was chosen, and fit-soft")
	b.done("look-soft")
	b.must(Choose{Answer: "none"})
}

// What was measured of the first fins says nothing of the second.
func TestAReadingIsOfWhatIsFittedNow(t *testing.T) {
	b := refitting(t)
	b.must(readings("height", "4 mm"))
	if g := b.gate("height"); g.Standing != Current {
		t.Fatalf("height is %s", g.Says().Text)
	}
	for _, to := range []string{"soft", "hard"} {
		b.after(time.Minute)
		b.start(refit(to))
		b.done("off-" + to)
		b.must(Choose{Answer: to})
		b.done("fit-"+to, "look-"+to)
	}
	if g := b.gate("height"); g.Standing != StaleGate || g.Reason.Text != "hard was chosen" {
		t.Errorf("height is %s", g.Says().Text)
	}
	if !slices.ContainsFunc(b.state.Proof(b.now, nil).Reasons(), func(r Reason) bool { return r.Remedy.Gate == "height" }) {
		t.Error("a release does not ask for it")
	}
	// Typed in after the answer, and taken before it.
	b.after(time.Minute)
	if err := b.tryAt(readings("height", "4 mm"), b.now.Add(-90*time.Second)); err != nil {
		t.Fatal(err)
	}
	if g := b.gate("height"); g.Met() {
		t.Error("it was taken before")
	}
	b.must(readings("height", "4 mm"))
	if g := b.gate("height"); g.Standing != Current {
		t.Errorf("height is %s", g.Says().Text)
	}
}
