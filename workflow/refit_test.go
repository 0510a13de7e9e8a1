package workflow

import (
	"maps"
	"slices"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
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

// goOn asks for the first job to go on by another revision of its work.
func (b *bench) goOn(list ...steps.Step) MoveJob {
	p := &steps.Procedure{Name: "work", Title: "Work", Kind: steps.Check, Revision: 2, Stages: []steps.Stage{{Name: "one", Steps: list}}}
	b.docs.Procedures = maps.Clone(b.docs.Procedures)
	b.docs.Procedures["sha256:newer"] = p
	return MoveJob{Job: b.state.Jobs[0].ID, Procedure: p, Digest: "sha256:newer", Sheet: b.state.Sheet, SheetDigest: b.state.SheetDigest}
}

// orphans are the remedies for joints that nothing is left to join.
func (b *bench) orphans() (entries []int64) {
	for _, line := range b.state.Proof(b.now, nil).Lines {
		if line.Text == "what is coated is joined" {
			entries = append(entries, line.Fail.Remedy.Entry)
		}
	}
	return entries
}

// A coat whose join was dropped holds a release back until it is taken back.
func TestNothingIsReleasedThatWasCoatedAndNotJoined(t *testing.T) {
	b := workingOn(t, sheet(), steps.Stage{Name: "one", Steps: []steps.Step{coating("coat", "spar"), joining("join", "spar"), plain("look")}})
	b.done("coat")
	coat := b.state.Size() - 1
	if got := b.orphans(); len(got) > 0 { // its job is open, and says so
		t.Errorf("with its join left: %v", got)
	}
	b.must(b.goOn(plain("look")))
	b.done("look")
	if got := b.orphans(); !slices.Equal(got, []int64{coat}) {
		t.Fatalf("remedies %v, want that entry %d is taken back", got, coat)
	}
	b.after(3 * time.Hour) // it lapsed
	if got := b.orphans(); !slices.Equal(got, []int64{coat}) {
		t.Errorf("lapsed: %v", got)
	}
	b.must(Undo{Position: coat})
	if got := b.orphans(); len(got) > 0 {
		t.Errorf("taken back: %v", got)
	}
}

// So does one that was joined too late, as a colder or a warmer bench typed in
// later says: first the join is taken back, then the coat.
func TestNothingIsReleasedWithAJoinInDoubtThatNothingRepeats(t *testing.T) {
	b := workingOn(t, sheet(), steps.Stage{Name: "one", Steps: []steps.Step{coating("coat", "spar"), joining("join", "spar"), plain("look"), plain("tidy")}})
	b.done("coat")
	coat := b.state.Size() - 1
	b.after(35 * time.Minute)
	b.done("join", "look")
	b.must(b.goOn(plain("look"), plain("tidy")))
	if got := b.orphans(); len(got) > 0 {
		t.Fatalf("joined in time: %v", got)
	}
	if err := b.tryAt(ReadBench{Temperature: q("34 °C")}, b.now.Add(-30*time.Minute)); err != nil {
		t.Fatal(err)
	}
	for _, want := range []int64{coat + 1, coat} {
		if got := b.orphans(); !slices.Equal(got, []int64{want}) {
			t.Fatalf("remedies %v, want entry %d", got, want)
		}
		b.must(Undo{Position: want})
	}
	if got := b.orphans(); len(got) > 0 {
		t.Errorf("taken back: %v", got)
	}
}

// Another coat, for the rest of a joint, is taken back without the part that was
// joined before it.
func TestUndoOfALaterCoatLeavesThePartBeforeIt(t *testing.T) {
	b := workingOn(t, sheet(), steps.Stage{Name: "one", Steps: []steps.Step{coating("coat", "spar"), joining("half", "spar"), joining("rest", "spar"), plain("look")}})
	b.done("coat")
	b.after(15 * time.Minute)
	b.done("half")
	b.after(2 * time.Hour)
	b.done("coat")
	again := b.state.Size() - 1
	b.after(15 * time.Minute)
	b.done("rest")
	b.must(Undo{Position: again})
	if f := b.state.Entries[b.state.Size()-1].Facts.(journal.Undone); !slices.Equal(f.TakesBack, []int64{again, again + 1}) {
		t.Errorf("took back %v, want %d and the join after it", f.TakesBack, again)
	}
	b.progress("half", Done, "")
}

// A method that was chosen is not forgotten under the work that goes by it.
func TestAMoveForgetsNoAnswer(t *testing.T) {
	ask := func(name, was string, answers ...string) steps.Step {
		s := steps.Step{Name: name, Was: was, Kind: steps.Choose}
		for _, a := range answers {
			s.Methods = append(s.Methods, steps.Option{Name: a})
		}
		return s
	}
	with := func(name string, answers ...string) steps.Step {
		s := plain(name)
		s.With = [][]string{answers}
		return s
	}
	for _, c := range []struct {
		ask     steps.Step
		done    bool
		refused bool
	}{
		{ask("how", "", "thick", "thin"), true, false},
		{ask("how-thick", "how", "thick", "thin"), true, false},
		{ask("how-thick", "", "thick", "thin"), true, true},
		{ask("how-thick", "", "thick", "thin"), false, false},
		{ask("how-thick", "how", "fat", "thin"), true, true},
		{ask("how", "", "fat", "thin"), true, true},
		{plain("measure-it"), true, false}, // nothing is asked
	} {
		b := workingOn(t, sheet(), steps.Stage{Name: "one", Steps: []steps.Step{ask("how", "", "thick", "thin"), with("bend", "thick"), with("roll", "thin"), plain("look")}})
		b.must(Choose{Answer: "thick"})
		if c.done {
			b.done("bend")
		}
		move := b.goOn(c.ask, with("bend", "thick", "fat"), with("roll", "thin"), plain("look"))
		if !c.refused {
			b.must(move)
			continue
		}
		mustContain(t, b.refused(move, ByState), "thick was chosen at how, and bend, which depends on it, is done", "was: how", string(ToTakeBack))
	}
}

// Nor is an answer whose choice is called otherwise in a newer sheet.
func TestAnAnswerOutlastsTheNameOfItsChoice(t *testing.T) {
	b := refitting(t)
	b.start(refit("soft"))
	b.done("off-soft")
	b.must(Choose{Answer: "soft"})
	newer := choiceSheet()
	for i := range newer.Options {
		if newer.Options[i].Choice != "" {
			newer.Options[i].Choice = "surfaces"
		}
	}
	if got := b.state.selection(newer).Has; !slices.Equal(got, []string{"soft"}) {
		t.Errorf("it has %v", got)
	}
}
