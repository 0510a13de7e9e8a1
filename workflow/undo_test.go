package workflow

import (
	"errors"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// moved has the build go on under other documents, which the bench then knows.
func (b *bench) moved(p *steps.Procedure, s *steps.Sheet) {
	b.t.Helper()
	docs := documents()
	docs.Sheets["sha256:newer-sheet"], docs.Procedures["sha256:newer-build"] = s, p
	entries, err := b.state.Decide(MoveJob{b.state.Jobs[0].ID, p, "sha256:newer-build", s, "sha256:newer-sheet"}, Circumstances{Now: b.now, By: b.by, Program: "test"})
	if err != nil {
		b.t.Fatal(err)
	}
	b.docs = &docs
	b.state = b.replay(append(b.state.Entries[:len(b.state.Entries):len(b.state.Entries)], entries...))
}

// No undo may leave a journal that can't be replayed: it could never be corrected.
func TestUndoOfAJobTakesWhatSpeaksOfItAlong(t *testing.T) {
	t.Run("a touch test", func(t *testing.T) {
		b := building(t)
		b.done("coat-left")
		coat := b.state.Size() - 1
		b.done("coat-right")
		b.after(10 * time.Minute)
		var refusal *Refusal
		if err := b.try(Finish{Step: "join-roots", Touch: TouchWet}); !errors.As(err, &refusal) || len(refusal.Record) != 1 {
			t.Fatalf("a wet coat: %v", err)
		}
		b.state = b.replay(append(b.state.Entries, refusal.Record...))
		b.must(Undo{Position: coat}, Undo{Position: b.state.Jobs[0].Position})
		if len(b.state.Jobs) != 0 {
			t.Errorf("left is job %s", b.state.Jobs[0].ID)
		}
	})
	t.Run("a move", func(t *testing.T) {
		b := newBench(t)
		b.must(startBuild())
		b.moved(build(), sheet())
		b.must(Undo{Position: b.state.Jobs[0].Position})
		if len(b.state.Jobs) != 0 || b.state.SheetDigest != sheetSum {
			t.Errorf("%d jobs under %s", len(b.state.Jobs), b.state.SheetDigest)
		}
	})
}

func TestUndoOfAMoveThatWorkNeeds(t *testing.T) {
	b := building(t)
	newer, with := build(), sheet()
	novel := with.Adhesives[0]
	novel.Name = "novel"
	with.Adhesives = append(with.Adhesives, novel)
	for i := range 2 {
		newer.Stages[0].Steps[i].Adhesives = []string{"novel"}
	}
	b.moved(newer, with)
	move := b.state.Size() - 1
	b.done("coat-left")
	coat := b.state.Size() - 1
	mustContain(t, b.refused(Undo{Position: move}, ByState), "later entries depend on it", "Coated", "[take-back-first")
	b.must(Undo{Position: coat}, Undo{Position: move})
	if b.state.SheetDigest != sheetSum {
		t.Errorf("the sheet is %s", b.state.SheetDigest)
	}
}

// repaired is a bench released, repaired at the wing and released again, by a
// release that is no step of a job.
func repaired(t *testing.T) *bench {
	b := released(t)
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"}, ReadBench{Temperature: q("20 °C")})
	b.done("lay-skin", "coat-skin")
	b.after(10 * time.Minute)
	b.done("join-skin")
	b.after(24 * time.Hour)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), readings("square", "left=500 mm", "right=501 mm"))
	b.must(GiveRelease{})
	return b
}

func TestUndoTakesEveryLaterReleaseBack(t *testing.T) {
	b := repaired(t)
	b.must(readings("square", "left=500 mm", "right=500 mm")) // measured once more
	rests := b.state.Release.RestsOn[0]
	b.must(badCheck("rule"))
	bad := b.state.Size() - 1
	b.must(goodCheck("rule"), readings("square", "left=500 mm", "right=500 mm"), GiveRelease{})
	b.must(Undo{Position: rests}, Undo{Position: bad, Reason: "mistyped"}, Finish{Step: "measure-again"})
	if f := b.state.Airworthiness(b.now); f.Released {
		t.Errorf("it stands released by entry %d, of which entry %d was taken back", b.state.Release.Position, rests)
	}
}

// live reports whether an entry that completes the step still stands.
func (b *bench) live(step string) bool {
	for _, e := range b.state.Entries {
		if w, ok := journal.WorkOf(e.Facts); ok && w.Step == step && b.state.Live(e.Position) {
			return true
		}
	}
	return false
}

// A concession goes with a reading that it is about, and with no other.
func TestUndoOfAReadingTakesItsConcessionAlong(t *testing.T) {
	b := assembled(t)
	before := b.gate("slot").Rests[0]
	b.must(readings("slot", "root=5 mm", "tip=4 mm"), Concede{Gate: "slot", Reason: "holds"})
	about := b.gate("slot").Rests[0]
	b.must(Undo{Position: before})
	if g := b.gate("slot"); g.Standing != Conceded {
		t.Errorf("an older reading was taken back, and slot is %s", g.Says().Text)
	}
	b.must(Undo{Position: about})
	if g := b.gate("slot"); g.Standing != Measuring {
		t.Errorf("slot is %s", g.Says().Text)
	}
	for _, e := range b.state.Entries {
		if _, ok := e.Facts.(journal.ConcessionGranted); ok && b.state.Live(e.Position) {
			t.Error("the concession stands without its reading")
		}
	}
}

// A measure step is open again where a reading of one of its gates was taken
// back, and no other step is.
func TestUndoOfAReadingReopensItsSteps(t *testing.T) {
	b := released(t)
	square := b.gate("square").Rests[0]
	b.must(Undo{Position: square})
	if !b.live("measure-slot") || b.live("measure-square") {
		t.Errorf("measure-slot stands: %v, measure-square: %v", b.live("measure-slot"), b.live("measure-square"))
	}

	b = repaired(t)
	b.must(Undo{Position: b.gate("square").Rests[0]})
	if b.live("measure-again") || b.live("measure-slot") != true || b.live("measure-square") != true {
		t.Errorf("measure-again stands: %v, measure-slot: %v, measure-square: %v", b.live("measure-again"), b.live("measure-slot"), b.live("measure-square"))
	}
}

// A hold is cleared by the lines that were shown: where its job was moved
// meanwhile, a yes to the old lines confirms none of the new ones.
func TestAHoldIsClearedByTheLinesThatWereShown(t *testing.T) {
	b := building(t)
	b.done("propeller-off")
	hold, _, _ := b.state.Jobs[0].Procedure.Step("blade-care")
	newer := build()
	for i, stage := range newer.Stages {
		for j, step := range stage.Steps {
			if step.Name == "blade-care" {
				newer.Stages[i].Steps[j].Confirm = []string{"The blade is blunt", "The spare hand is behind it"}
			}
		}
	}
	b.moved(newer, b.state.Sheet)
	mustContain(t, b.refused(Clear{Step: "blade-care", Answers: []bool{true, true}, Lines: hold.Confirm}, ByHold), "no longer those that were answered", "[clear blade-care")
	now, _, _ := b.state.Jobs[0].Procedure.Step("blade-care")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}, Lines: now.Confirm})
}

// What moving a job to newer documents would change is said beforehand.
func TestWhatAMoveChanges(t *testing.T) {
	b := assembled(t)
	newer, asks := build(), sheet()
	newer.Stages[0].Steps[0].Title = "Coat the left root" // done
	newer.Stages[3].Steps[0].Title = "Coat the saddle"    // not done
	newer.Stages[1].Steps = append(newer.Stages[1].Steps[:4:4], plain("polish"))
	asks.Gates[0].Limits.High = q("3.95 mm") // root was read at 4 mm
	asks.Gates[1].Of = []string{"wing"}
	asks.Gates = append(asks.Gates[:2:2], steps.Gate{Name: "twist", Repeat: 1, Gauge: "rule", Limits: asks.Gates[2].Limits})
	move := MoveJob{"plover-build", newer, "sha256:newer-build", asks, "sha256:newer-sheet"}
	changes, err := b.state.Changes(move, b.now)
	if err != nil {
		t.Fatal(err)
	}
	reopens := map[string]bool{}
	all := ""
	for _, c := range changes {
		all += c.What.Text + "\n"
		reopens[strings.TrimSuffix(strings.Join(strings.Fields(c.What.Text)[:2], " "), ":")] = c.Reopens
	}
	mustContain(t, all, "step polish is new", "step coat-left is rewritten, and stays done\n", "step coat-saddle is rewritten\n", "step sand-pod is dropped",
		"gate twist is new", "gate slot has other limits", "gate square differs in its gauge, its zones or in being critical", "gate throw is dropped", "gate slot: passed now, then out of tolerance")
	if len(changes) != 9 || !reopens["gate slot"] || reopens["gate square"] {
		t.Errorf("%d changes, of which reopen %v:\n%s", len(changes), reopens, all)
	}
	if b.state.SheetDigest != sheetSum || b.gate("slot").Standing != Current {
		t.Error("asking has moved it")
	}

	// One thing each of what may differ in a gate.
	for says, change := range map[string]func(*steps.Gate){
		"has other limits":     func(g *steps.Gate) { g.Limits.Low = q("3.6 mm") },
		"has other limits ":    func(g *steps.Gate) { g.Limits.High = q("4.4 mm") },
		"has other limits  ":   func(g *steps.Gate) { g.Limits.Alike = q("1 mm") },
		"has other limits   ":  func(g *steps.Gate) { g.Points = []string{"tip", "root"} },
		"has other limits    ": func(g *steps.Gate) { g.Repeat = 2 },
		"differs in its gauge, its zones or in being critical": func(g *steps.Gate) { g.Critical = true },
		"differs in its gauge":                                 func(g *steps.Gate) { g.Gauge = "rule" },
		"differs in its gauge, its zones":                      func(g *steps.Gate) { g.Of = []string{"pod"} },
	} {
		other := sheet()
		change(&other.Gates[0])
		changes := gateChanges(sheet(), other)
		if len(changes) != 1 || !strings.Contains(changes[0].What.Text, strings.TrimSpace(says)) {
			t.Errorf("want %q: %v", says, changes)
		}
	}
	if changes := gateChanges(sheet(), sheet()); len(changes) != 0 {
		t.Errorf("nothing differs: %v", changes)
	}
}

func TestWhatIsNoMove(t *testing.T) {
	move := func() MoveJob { return MoveJob{"plover-build", build(), "sha256:newer-build", sheet(), sheetSum} }
	b := building(t)
	for name, change := range map[string]func(*MoveJob){
		"the same documents": func(m *MoveJob) { m.Digest = buildSum },
		"another procedure":  func(m *MoveJob) { m.Procedure = repairWork() },
		"another design":     func(m *MoveJob) { m.Sheet.Name = "curlew" },
	} {
		m := move()
		change(&m)
		var refusal *Refusal
		if _, err := b.state.Decide(m, Circumstances{Now: b.now, By: "builder"}); !errors.As(err, &refusal) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := b.state.Changes(m, b.now); !errors.As(err, &refusal) {
			t.Errorf("the changes of %s: %v", name, err)
		}
	}
	other := move()
	other.Digest, other.SheetDigest = buildSum, strictSum // the sheet alone
	for _, m := range []MoveJob{move(), other} {
		if _, err := b.state.Decide(m, Circumstances{Now: b.now, By: "builder"}); err != nil {
			t.Errorf("%v", err)
		}
	}
	m := move()
	m.Job = "plover"
	if _, err := b.state.Changes(m, b.now); !errors.As(err, new(*UnknownError)) {
		t.Errorf("a job that is not there: %v", err)
	}
	b = released(t)
	mustContain(t, b.refused(move(), ByState), "complete")
}
