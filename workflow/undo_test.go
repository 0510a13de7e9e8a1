package workflow

import (
	"errors"
	"math"
	"slices"
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
	entries, err := b.state.Decide(MoveJob{Job: b.state.Jobs[0].ID, Procedure: p, Digest: "sha256:newer-build", Sheet: s, SheetDigest: "sha256:newer-sheet"}, Circumstances{Now: b.now, By: b.by, Program: "test"})
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
		err := b.try(Finish{Step: "join-roots", Touch: TouchWet})
		if !errors.As(err, &refusal) || len(recorded(err)) != 1 {
			t.Fatalf("a wet coat: %v", err)
		}
		b.state = b.replay(append(b.state.Entries, recorded(err)...))
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
	b.must(Undo{Position: rests, Reason: "mistaken"}, Undo{Position: bad, Reason: "mistyped"}, Finish{Step: "measure-again"})
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
	b.must(Undo{Position: square, Reason: "mistaken"})
	if !b.live("measure-slot") || b.live("measure-square") {
		t.Errorf("measure-slot stands: %v, measure-square: %v", b.live("measure-slot"), b.live("measure-square"))
	}

	b = repaired(t)
	b.must(Undo{Position: b.gate("square").Rests[0], Reason: "mistaken"})
	if b.live("measure-again") || b.live("measure-slot") != true || b.live("measure-square") != true {
		t.Errorf("measure-again stands: %v, measure-slot: %v, measure-square: %v", b.live("measure-again"), b.live("measure-slot"), b.live("measure-square"))
	}
}

// A hold is cleared by the lines that were shown: where its job was moved
// meanwhile, a yes to the old lines confirms none of the new ones.
// Without the reading that is taken back the first coat would have lapsed before the second was on. Whether it had when the joint was
// joined is judged by what is known of the bench: of a joint that is joined nobody coats one face again, which no join would follow.
func TestUndoOfAReadingLosesNoCoatOfAJoint(t *testing.T) {
	for _, again := range []bool{true, false} { // without a reading it may have lapsed
		b := newBench(t)
		b.must(startBuild(), setting("ventilation", "on"), ReadBench{Temperature: q("12 °C")})
		read := b.state.Size() - 1
		b.must(Finish{Step: "coat-left", Began: b.now})
		if again {
			b.must(ReadBench{Temperature: q("12 °C")})
		}
		b.must(Finish{Step: "coat-right", Began: b.now})
		b.after(18 * time.Minute)
		b.must(Finish{Step: "join-roots", Touch: TouchDry}, Undo{Position: read, Reason: "a mistake"})
		for _, name := range []string{"coat-left", "coat-right", "join-roots"} {
			if is := b.step(name).Progress; (is == Done) != again {
				t.Errorf("read again: %t, %s is %s", again, name, is)
			}
		}
		p, err := scheduled(t, b.now, Hours{Sittings: open(20, 240, 1440, 1440+240, 2880, 2880+240)}, b.state)
		if err != nil || strings.Contains(says(p), "coat-left") == again || strings.Contains(says(p), "join-roots") == again {
			t.Errorf("read again: %t, planned %s, %v", again, says(p), err)
		}
	}
}

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
	move := MoveJob{Job: "plover-build", Procedure: newer, Digest: "sha256:newer-build", Sheet: asks, SheetDigest: "sha256:newer-sheet"}
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
	mustContain(t, all, "step polish is new", "step coat-left says something else, and stays done\n", "step coat-saddle says something else\n", "step sand-pod is dropped",
		"the design sheet says something else, and its revision is 1 as before", "the procedure says something else, and its revision is 1 as before",
		"gate twist is new", "gate slot says something else", "gate square says something else", "gate throw is dropped", "gate slot: passed now, then out of tolerance")
	if len(changes) != 11 || !reopens["gate slot"] || reopens["gate square"] {
		t.Errorf("%d changes, of which reopen %v:\n%s", len(changes), reopens, all)
	}
	if b.state.SheetDigest != sheetSum || b.gate("slot").Standing != Current {
		t.Error("asking has moved it")
	}

	// One thing each of what may differ in a gate.
	for what, change := range map[string]func(*steps.Gate){
		"low":      func(g *steps.Gate) { g.Limits.Low = q("3.6 mm") },
		"high":     func(g *steps.Gate) { g.Limits.High = q("4.4 mm") },
		"alike":    func(g *steps.Gate) { g.Limits.Alike = q("1 mm") },
		"points":   func(g *steps.Gate) { g.Points = []string{"tip", "root"} },
		"repeat":   func(g *steps.Gate) { g.Repeat = 2 },
		"critical": func(g *steps.Gate) { g.Critical = true },
		"gauge":    func(g *steps.Gate) { g.Gauge = "rule" },
		"zones":    func(g *steps.Gate) { g.Of = []string{"pod"} },
	} {
		other := sheet()
		change(&other.Gates[0])
		changes := SheetChanges(sheet(), other, true)
		if len(changes) != 2 || changes[1].Gate == nil || !strings.HasSuffix(changes[1].What.Text, "says something else") {
			t.Errorf("%s: %v", what, changes)
		}
	}
	if changes := SheetChanges(sheet(), sheet(), false); len(changes) != 0 {
		t.Errorf("nothing differs: %v", changes)
	}
}

func TestWhatIsNoMove(t *testing.T) {
	move := func() MoveJob {
		return MoveJob{Job: "plover-build", Procedure: build(), Digest: "sha256:newer-build", Sheet: sheet(), SheetDigest: sheetSum}
	}
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

// The sheet is that of the airframe: the open jobs move to another one in one act,
// and are taken back from it in one.
func TestOpenJobsMoveTogether(t *testing.T) {
	b := building(t)
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"})
	open := b.state.OpenJobs(b.now)
	move := movedTo(open, strictSum)
	alone := move
	alone.Others = nil
	mustContain(t, b.refused(alone, ByState), "job skin-lifted is open too, and must move to the newer sheet with it")
	wrong := move
	wrong.Others = []MovedJob{{open[1].ID, build(), buildSum}}
	mustContain(t, b.refused(wrong, ByState), "its procedure is skin-lifted, not plover-build")

	changes, err := b.state.Changes(move, b.now)
	if err != nil {
		t.Fatal(err)
	}
	if i := slices.IndexFunc(changes, func(c Change) bool { return c.Job == "skin-lifted" }); i < 0 || !strings.Contains(changes[i].What.Text, "it moves too") {
		t.Errorf("nothing is said of the other job: %v", changes)
	}
	b.must(move)
	var moved []journal.JobMoved
	for _, e := range b.state.Entries {
		if f, ok := e.Facts.(journal.JobMoved); ok {
			moved = append(moved, f)
		}
	}
	want := []journal.JobMoved{{Job: "plover-build", Procedure: buildSum, Sheet: strictSum}, {Job: "skin-lifted", Procedure: repairSum, Sheet: strictSum}}
	if !slices.Equal(moved, want) || b.state.SheetDigest != strictSum {
		t.Errorf("moved %v, under the sheet %s", moved, b.state.SheetDigest)
	}
	b.must(Undo{Position: b.state.Size() - 1})
	if b.state.SheetDigest != sheetSum || b.state.Live(b.state.Size()-3) {
		t.Errorf("one of two moves was taken back; the sheet is %s", b.state.SheetDigest)
	}

	// A procedure alone is moved alone.
	newer := move
	newer.Procedure, newer.Digest, newer.Sheet, newer.SheetDigest, newer.Others = build(), "sha256:newer-build", sheet(), sheetSum, nil
	if facts, err := newer.decide(b.state, Circumstances{Now: b.now, At: b.now}); err != nil || len(facts) != 1 {
		t.Errorf("the procedure alone: %v, %v", facts, err)
	}
}

// An entry names only what comes before it. A journal in which one does not is not one.
func TestOnlyEarlierEntriesAreNamed(t *testing.T) {
	b := building(t)
	size := b.state.Size()
	for _, p := range []int64{math.MinInt64, -1, size, size + 1, math.MaxInt64} {
		for _, facts := range []journal.Facts{journal.Undone{TakesBack: []int64{p}}, journal.PhotoKept{Of: []int64{0, p}}, journal.ConcessionGranted{Readings: []int64{p}}, journal.Released{RestsOn: []int64{p}}} {
			e := journal.Entry{Position: size, At: b.now, Recorded: b.now, By: "Ro", Program: "test", Facts: facts}
			later := journal.Entry{Position: size + 1, At: b.now, Recorded: b.now, By: "Ro", Program: "test", Facts: journal.Noted{Text: "salt"}}
			if _, err := Replay(append(slices.Clone(b.state.Entries), e, later), documents()); !errors.Is(err, journal.ErrBadEntry) {
				t.Errorf("%+v at %d: %v", facts, size, err)
			}
		}
	}
}

// A journal whose registration is taken back is not one: of a job without a name, all
// entries would go with it.
func TestRegistrationStands(t *testing.T) {
	b := building(t)
	e := journal.Entry{Position: b.state.Size(), At: b.now, Recorded: b.now, By: "Ro", Program: "test", Facts: journal.Undone{TakesBack: []int64{0}}}
	if _, err := Replay(append(slices.Clone(b.state.Entries), e), documents()); !errors.Is(err, journal.ErrBadEntry) {
		t.Errorf("%v", err)
	}
}

// What is older, or has the number of another text, is said.
func TestWhatRevisionsChange(t *testing.T) {
	notes := []steps.Change{{Revision: 1, Text: "one"}, {Revision: 2, Text: "two"}, {Revision: 3, Text: "three"}}
	for _, test := range []struct {
		from, to int
		other    bool
		want     []string
	}{
		{1, 3, true, []string{"revision 2 of the sheet: two", "revision 3 of the sheet: three"}},
		{3, 2, true, []string{"the sheet goes back from revision 3 to revision 2"}},
		{2, 2, true, []string{"the sheet says something else, and its revision is 2 as before"}},
		{2, 2, false, nil},
	} {
		var said []string
		for _, c := range revisionChanges("sheet", test.from, test.to, notes, test.other) {
			said = append(said, c.What.Text)
		}
		if !slices.Equal(said, test.want) {
			t.Errorf("%d to %d: %q", test.from, test.to, said)
		}
	}
}
