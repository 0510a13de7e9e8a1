package workflow

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
	"fettle/workflow/repair"
)

// What was found in a thing stays with it when the finding is taken back: it may be
// fitted again only once it lay out its time and was looked over.
func TestUndoneDamageLeavesItsQuarantine(t *testing.T) {
	b := building(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "dented", Zone: "pod", Severity: steps.Total}}})
	found := b.state.Size() - 1
	b.refused(ClearQuarantine{Damage: "D1", Answers: []bool{false}}, ByHold)
	b.must(ClearQuarantine{Damage: "D1", Answers: []bool{true}})
	if err := b.try(Undo{Position: found, Reason: " "}); !errors.Is(err, ErrBadRequest) || !strings.Contains(err.Error(), "say why") {
		t.Errorf("without a reason: %v", err)
	}
	b.must(Undo{Position: found, Reason: "another airframe"})
	if q, ok := b.state.Quarantine("D1"); len(b.state.Damages) != 1 || !ok || !q.TakenBack || !q.Cleared {
		t.Fatalf("left are %d damages, and of the quarantine %+v", len(b.state.Damages), q)
	}
	if d := b.state.Damages[0]; d.Damage != "D2" || d.For != "D1" || d.Zone != "pod" || d.Severity != steps.Cosmetic || d.Note != "D1 was taken back: another airframe" {
		t.Errorf("it leaves %+v", d.DamageFound)
	}
	mustContain(t, b.refused(Undo{Position: b.state.Size() - 1, Reason: "again"}, ByState), "it is the look-over that D1 left", "repair")
	mustContain(t, fmt.Sprint(b.state.Proof(b.now, nil).Reasons()), "damage D2 (dented, pod) is not repaired")
	// It is looked at: what it was found in is in quarantine, whether or not a row has that replaced.
	table := triage()
	table.Rows = append(table.Rows, steps.Row{Findings: []string{"dented"}, Outcome: steps.ToReplace, Procedure: "swap", Why: "It may burn."})
	plan, err := b.state.PlanRepair(table, func(name string) (*steps.Procedure, error) {
		return &steps.Procedure{Name: name, Kind: steps.Repair, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{plain("work")}}}}, nil
	}, b.now)
	if err != nil || len(plan.Answers) != 1 || plan.Answers[0].Row.Procedure != table.Unknown || plan.Answers[0].Row.Renews() {
		t.Errorf("%v; it is answered by %+v", err, plan.Answers)
	}
	// The name is never given twice.
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Slight}}})
	if d := b.state.Damages[1]; d.Damage != "D3" {
		t.Errorf("the next damage is %s", d.Damage)
	}
}

// A job repairs the damages that it was started for, and no others.
func TestAJobRepairsItsOwnDamages(t *testing.T) {
	b := released(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Serious}, {Finding: "cracked", Zone: "pod", Severity: steps.Serious}}})
	mustContain(t, b.refused(GiveRelease{}, ByState, ByState, ByGate, ByGate), "damage D1 (cracked, wing)", "damage D2 (cracked, pod)")
	start := Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing", Damages: []string{"D1"}}
	b.must(start, ReadBench{Temperature: q("20 °C")})
	mustContain(t, b.refused(GiveRelease{}, ByState, ByState, ByState, ByGate, ByGate), "job skin-lifted is open", "damage D2 (cracked, pod)")
	mustContain(t, b.refused(start, ByState), "D1", "skin-lifted")
	b.done("lay-skin", "coat-skin")
	b.after(10 * time.Minute)
	b.done("join-skin")
	b.after(24 * time.Hour)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), readings("square", "left=500 mm", "right=501 mm"))
	if open := b.state.OpenJobs(b.now); len(open) != 0 {
		t.Fatalf("open: %v", open[0].ID)
	}
	if open := b.state.OpenDamages(b.now); len(open) != 1 || open[0].Damage != "D2" {
		t.Errorf("%d damages are open", len(open))
	}
	mustContain(t, b.refused(GiveRelease{}, ByState), "damage D2 (cracked, pod)")
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "D2")
	mustContain(t, b.refused(start, ByState), "D1", "skin-lifted")
}

// What is in quarantine aboard stops a release although it was repaired.
func TestAQuarantineStopsARelease(t *testing.T) {
	b := released(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "dented", Zone: "wing", Severity: steps.Serious}}})
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing", Damages: []string{"D1"}}, ReadBench{Temperature: q("20 °C")})
	b.done("lay-skin", "coat-skin")
	b.after(10 * time.Minute)
	b.done("join-skin")
	b.after(24 * time.Hour)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), readings("square", "left=500 mm", "right=501 mm"))
	mustContain(t, b.refused(GiveRelease{}, ByHold), "quarantine")
	b.must(ClearQuarantine{Damage: "D1", Answers: []bool{true}})
	b.refused(ClearQuarantine{Damage: "D1", Answers: []bool{true}}, ByState)
	b.must(GiveRelease{})
}

// No line of a quarantine is confirmed before its time is over, counted from when
// the damage was found.
func TestAQuarantineHasItsTime(t *testing.T) {
	b := building(t)
	found := b.now
	b.after(2 * time.Hour)
	b.at(2*time.Hour, ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "puffed", Zone: "pod", Severity: steps.Total}}})
	d := b.state.Damages[0]
	if !d.At.Equal(found) || !d.Typed.Equal(b.now) || !d.Quarantine.Until.Equal(found.Add(6*time.Hour)) {
		t.Errorf("found %v, typed in %v, until %v", d.At, d.Typed, d.Quarantine.Until)
	}
	clearing := ClearQuarantine{Damage: "D1", Answers: []bool{true}}
	mustContain(t, b.refused(clearing, ByDrying), "its time is not over")
	b.after(4*time.Hour - time.Second)
	b.refused(clearing, ByDrying)
	b.after(time.Second)
	b.must(clearing)
}

// Words of one's own are asked back where they may mean a finding, and else mean
// the finding with the longest quarantine of the zone.
func TestWordsOfOnesOwn(t *testing.T) {
	report := func(words, zone string, own bool) ReportDamage {
		return ReportDamage{Triage: triage(), OwnWords: own, Seen: []Sighting{{Finding: words, Zone: zone, Severity: steps.Serious}}}
	}
	for _, c := range []struct{ words, zone, sounds, as string }{
		{"smells of fish", "pod", "", "puffed"},
		{"smells of fish", "wing", "", "dented"},
		{"smells of fish", "tail", "", ""},
		{"it is Swollen!", "pod", "", "puffed"},       // recorded at once
		{"it is swollen", "wing", "puffed", "dented"}, // a word of what is put in quarantine elsewhere
		{"it is swollen", "tail", "puffed", ""},
		{"a split pod", "tail", "cracked", ""},
		{"swollenish", "pod", "", "puffed"},
		{"has a  tear in it", "tail", "cracked", ""},
		{"tear", "tail", "", ""},
		{"looks cracked", "tail", "cracked", ""},
	} {
		b := building(t)
		err := b.try(report(c.words, c.zone, false))
		var sounds *SoundsLikeError
		if errors.As(err, &sounds) != (c.sounds != "") || sounds != nil && (len(sounds.Meanings) != 1 || sounds.Meanings[0].Name != c.sounds) {
			t.Errorf("%q at %s: %v", c.words, c.zone, err)
		}
		if err != nil {
			b.must(report(c.words, c.zone, true))
		}
		d := b.state.Damages[0]
		if d.As != c.as || d.Quarantine.Open() != (c.as != "") || d.Finding != c.words {
			t.Errorf("%q at %s is taken for %q, in quarantine: %v", c.words, c.zone, d.As, d.Quarantine.Open())
		}
	}
	b := building(t)
	if err := b.try(report("puffed", "wing", true)); err == nil || !strings.Contains(err.Error(), "puffed is not possible on wing; its zones are pod") {
		t.Errorf("a finding elsewhere: %v", err)
	}
}

// A mark grounds until it was looked at and a release was given, and disturbs no gate of several zones. Where damage can
// hurt there are no marks.
func TestCosmetic(t *testing.T) {
	b := released(t)
	report := func(finding, zone string) ReportDamage {
		return ReportDamage{Triage: triage(), OwnWords: true, Seen: []Sighting{{Finding: finding, Zone: zone, Severity: steps.Cosmetic}}}
	}
	b.badly(report("cracked", "wing"), "cracked on wing is never cosmetic by the triage tables; the least is slight")
	b.badly(report("smells odd", "tail"), "the least is slight")
	b.must(report("cracked", "tail"))
	for _, g := range b.state.Gates(b.now) {
		if g.Standing == StaleGate {
			t.Errorf("%s is stale", g.Gate.Name)
		}
	}
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "damage D1")
	look := &steps.Procedure{Name: "plover-look", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{{Name: "look-at-it", Kind: steps.Do, Do: "Look."}}}}}
	plan, err := b.state.PlanRepair(triage(), func(string) (*steps.Procedure, error) { return look, nil }, b.now)
	if err != nil || len(plan.Answers) != 1 || plan.Answers[0].Procedure != look || len(plan.Stale) > 0 {
		t.Fatalf("%v, %+v", err, plan)
	}
	docs := documents()
	docs.Procedures["sha256:look"] = look
	b.docs = &docs
	b.must(Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	b.done("look-at-it")
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "not released since damage D1 was found and repaired")
	b.must(GiveRelease{})
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("it is grounded: %s", f.Why.Text)
	}
}

// Of an airframe without a build on record too, what rests on a part waits for its
// repair, as the build of the library says.
func TestWhatRestsOnAPartWaitsForItsRepair(t *testing.T) {
	b := newBench(t)
	repairs := &steps.Procedure{Name: "repairs", Kind: steps.Repair, Stages: []steps.Stage{{Name: "work", Steps: []steps.Step{{Name: "repair-it", Kind: steps.Do, Do: "Repair it."}}}}}
	find := func(name string) (*steps.Procedure, error) {
		if name == "plover" {
			return build(), nil
		}
		return repairs, nil
	}
	for _, zone := range []string{"pod", "wing"} {
		b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: zone, Severity: steps.Serious}}})
	}
	plan, err := b.state.PlanRepair(triage(), find, b.now)
	if err != nil {
		t.Fatal(err)
	}
	if before := plan.Procedure.Before("work-d1"); !slices.Contains(before, "work-d2") {
		t.Errorf("the work on the pod comes after %v, and not after that on the wing", before)
	}
}

// The job of a repair asks for all that is due, even where its steps disturb nothing,
// and the plan says the same gates. What is due for other reasons is said apart.
func TestAPlanSaysWhatItsJobAsksFor(t *testing.T) {
	b := released(t)
	b.must(LogFlight{Landing: Soft}, LogFlight{Landing: Soft}) // the slot counts for two
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "pod", Severity: steps.Serious}}})
	look := &steps.Procedure{Name: "plover-look", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{{Name: "look-at-it", Kind: steps.Do, Do: "Look."}}}}}
	plan, err := b.state.PlanRepair(triage(), func(string) (*steps.Procedure, error) { return look, nil }, b.now)
	if err != nil {
		t.Fatal(err)
	}
	names := func(all []WillBeStale) (names []string) {
		for _, g := range all {
			names = append(names, g.Gate)
		}
		return names
	}
	docs := documents()
	docs.Procedures["sha256:plan"] = plan.Procedure
	b.docs = &docs
	b.must(Start{Procedure: plan.Procedure, Digest: "sha256:plan", Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	job, err := b.state.Job(repair.Name)
	if err != nil {
		t.Fatal(err)
	}
	var asked []string
	for _, g := range b.state.GatesOf(job, *job.Procedure.Steps()[1], b.now) {
		asked = append(asked, g.Gate.Name)
	}
	if want := []string{"slot", "square"}; !slices.Equal(asked, want) {
		t.Errorf("asked are %v, want %v", asked, want)
	}
	if want := []string{"square"}; !slices.Equal(names(plan.Stale), want) {
		t.Errorf("the plan says %v, want %v", names(plan.Stale), want)
	}
	if other := names(plan.Else); !slices.Equal(other, []string{"slot"}) {
		t.Errorf("stale otherwise are %v", other)
	}
	b.done("look-at-it")
	mustContain(t, b.refused(Finish{Step: "measure-what-is-stale"}, ByGate, ByGate), "square")
}

func TestWhatIsNoEquipment(t *testing.T) {
	b := released(t)
	change := func(mass, arm string) ChangeEquipment {
		c := ChangeEquipment{Item: "camera", Change: Moved}
		if mass != "" {
			c.Mass = q(mass)
		}
		if arm != "" {
			c.Arm = q(arm)
		}
		return c
	}
	b.badly(change("-1 g", ""), "-1 g")
	b.badly(change("0 g", "-10 mm"), "0 g")
	b.badly(change("1 mm", ""), "1 mm")
	b.badly(change("", "1 g"), "1 g")
	for _, good := range []ChangeEquipment{change("1 g", "-10 mm"), change("45 g", ""), change("", "120 mm")} {
		b.must(good)
	}
}

// A journal in which a step of no job was done is not replayed.
func TestAnEntryOfNoJobIsAnError(t *testing.T) {
	b := building(t)
	e := b.state.entries([]journal.Facts{journal.StepDone{Work: journal.Work{Job: "none", Step: "none"}}}, Circumstances{Now: b.now, At: b.now})
	if _, err := Replay(append(b.state.Entries, e...), documents()); err == nil {
		t.Error("it was replayed")
	}
}

// A check that was done before a hard landing was entered is not the one that
// it asks for, although the landing was before it.
func TestAHardLandingTypedInLaterAsksForItsCheck(t *testing.T) {
	b := working(t, steps.Stage{Name: "look", Steps: []steps.Step{plain("look")}})
	b.after(2 * time.Hour)
	b.done("look")
	b.at(3*time.Hour, LogFlight{Landing: Hard, Check: "work"})
	if check, _ := b.state.CheckDue(b.now); check != "work" {
		t.Error("no check is due")
	}
	again := b.state.docs.Procedures["sha256:work"]
	b.must(Start{Procedure: again, Digest: "sha256:work", Sheet: sheet(), SheetDigest: sheetSum})
	if check, _ := b.state.CheckDue(b.now); check != "work" {
		t.Error("no check is due while it is open")
	}
	b.done("work-2/look")
	if check, _ := b.state.CheckDue(b.now); check != "" {
		t.Errorf("%s is due", check)
	}
	b.must(LogFlight{Landing: Soft})
	if check, _ := b.state.CheckDue(b.now); check != "" {
		t.Errorf("after a soft landing %s is due", check)
	}
	b.must(LogFlight{Landing: Hard}) // of a table that asks for none
	if check, _ := b.state.CheckDue(b.now); check != "" {
		t.Errorf("%s is due", check)
	}
	b.must(LogFlight{Landing: Hard, Check: "work"})
	landed := b.now
	b.after(time.Hour)
	b.must(LogFlight{Landing: Hard}, LogFlight{Landing: Soft})
	if check, at := b.state.CheckDue(b.now); check != "work" || !at.Equal(landed) {
		t.Errorf("%q is due after the landing of %v", check, at)
	}
}

// A hard landing is taken back with a reason, and its check stays due: the release of
// before does not stand by words.
func TestAHardLandingThatIsTakenBackAsksForItsCheck(t *testing.T) {
	b := working(t, steps.Stage{Name: "look", Steps: []steps.Step{plain("look")}})
	b.done("look")
	b.after(time.Hour)
	landed := b.state.Size()
	b.must(LogFlight{Landing: Hard, Check: "work"})
	b.badly(Undo{Position: landed}, "say why the flight is taken back")
	b.must(Undo{Position: landed, Reason: "of another airframe"})
	if check, _ := b.state.CheckDue(b.now); check != "work" {
		t.Errorf("%q is due", check)
	}
	b.must(Start{Procedure: b.state.docs.Procedures["sha256:work"], Digest: "sha256:work", Sheet: sheet(), SheetDigest: sheetSum})
	b.done("look")
	if check, _ := b.state.CheckDue(b.now); check != "" {
		t.Errorf("%s is due", check)
	}
}

// Whether a flight that is typed in later was made while grounded is asked of what had
// happened by then, whatever was noted or read since.
func TestAFlightTypedInLaterAfterANote(t *testing.T) {
	for name, meanwhile := range map[string]Request{"a note": Note{Text: "back"}, "a reading": ReadBench{Temperature: q("20 °C")}} {
		t.Run(name, func(t *testing.T) {
			b := packed(t)
			b.after(4 * time.Hour)
			b.must(meanwhile)
			b.at(3*time.Hour, puffed("pod"))
			b.at(2*time.Hour, LogFlight{Landing: Soft, Check: "work"})
			if f := b.state.Flights[0]; !strings.Contains(f.Grounded, "damage D1") || f.Check != "work" {
				t.Errorf("it flew, grounded by %q, and %q is due", f.Grounded, f.Check)
			}
		})
	}
}

// Where two jobs have an open step of one name, it is said of which.
func TestAStepOfTwoJobs(t *testing.T) {
	b := released(t)
	start := Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"}
	b.must(start)
	start.Zone = "tail"
	b.must(start)
	b.badly(Finish{Step: "lay-skin"}, "write skin-lifted/lay-skin or skin-lifted-2/lay-skin")
	if name := b.state.NameOf("skin-lifted", "lay-skin", b.now); name != "skin-lifted/lay-skin" {
		t.Errorf("the step is called %s", name)
	}
	b.done("skin-lifted/lay-skin")
	if name := b.state.NameOf("skin-lifted-2", "lay-skin", b.now); name != "lay-skin" {
		t.Errorf("the only open step is called %s", name)
	}
	b.done("lay-skin") // only one is open now
	if !b.live("lay-skin") || len(b.state.Jobs[2].done) != 1 || len(b.state.Jobs[1].done) != 1 {
		t.Error("not each was done once")
	}
}

// Only what was removed from the zone in quarantine takes it off.
func TestWhatTakesAQuarantineOff(t *testing.T) {
	b := released(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "dented", Zone: "pod", Severity: steps.Serious}, {Finding: "dented", Zone: "wing", Severity: steps.Serious}}})
	off := func() [2]bool {
		return [2]bool{b.state.Damages[0].Quarantine.Off(), b.state.Damages[1].Quarantine.Off()}
	}
	b.must(ChangeEquipment{Item: "camera", Change: Moved})
	b.written(0, journal.EquipmentChanged{Item: "camera", Change: Fitted, Disturbs: []string{"pod"}})
	if off() != [2]bool{} {
		t.Errorf("moved and fitted, and held to be off: %v", off())
	}
	b.must(ChangeEquipment{Item: "camera", Change: Removed}) // of the pod
	if off() != [2]bool{true, false} {
		t.Errorf("held to be off: %v", off())
	}
}

// What is in quarantine is off the airframe until something is fitted there
// again, by entry or by time.
func TestWhatIsInQuarantineIsOffUntilItIsFittedAgain(t *testing.T) {
	type change struct {
		how    string
		before time.Duration
	}
	for name, c := range map[string]struct {
		changes []change
		off     bool
	}{
		"taken off":                  {[]change{{Removed, 0}}, true},
		"before it was found":        {[]change{{Removed, 3 * time.Hour}}, false},
		"fitted again":               {[]change{{Removed, 0}, {Fitted, 0}}, false},
		"moved":                      {[]change{{Removed, 0}, {Moved, 0}}, false},
		"fitted before, typed later": {[]change{{Removed, 0}, {Fitted, time.Hour}}, false},
		"fitted after, typed before": {[]change{{Fitted, 0}, {Removed, time.Hour}}, false},
		"taken off again":            {[]change{{Removed, 0}, {Fitted, 0}, {Removed, 0}}, true},
	} {
		b := newBench(t)
		b.after(4 * time.Hour)
		b.at(2*time.Hour, ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "dented", Zone: "pod", Severity: steps.Serious}}})
		for _, change := range c.changes {
			b.written(change.before, journal.EquipmentChanged{Item: "camera", Change: change.how, Disturbs: []string{"pod"}})
		}
		if d, _ := b.state.Damage("D1"); d.Quarantine.Off() != c.off {
			t.Errorf("%s: off the airframe: %v", name, d.Quarantine.Off())
		}
	}
}

// A strap of the same zone takes nothing off: all of it is, but for what was off before.
func TestAllOfAQuarantineIsTakenOff(t *testing.T) {
	b := newBench(t)
	more := sheet()
	for _, item := range []string{"strap", "spare"} {
		more.Equipment = append(more.Equipment, steps.Equipment{Name: item, Disturbs: []string{"pod"}})
	}
	b.docs = &Documents{Sheets: map[string]*steps.Sheet{sheetSum: more}}
	b.state = b.replay(b.state.Entries)
	b.after(time.Hour)
	b.must(ChangeEquipment{Item: "spare", Change: Removed})
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "puffed", Zone: "pod", Severity: steps.Total}}})
	off := func() bool { return b.state.Damages[0].Quarantine.Off() }
	b.must(ChangeEquipment{Item: "strap", Change: Removed})
	if off() {
		t.Error("the strap took it off")
	}
	if why := b.state.quarantined(b.state.Damages[0].Quarantine, b.now); why == nil || !strings.Contains(why.Text, "the camera was taken off too") {
		t.Errorf("what is still aboard: %v", why)
	}
	b.must(ChangeEquipment{Item: "camera", Change: Removed})
	if !off() {
		t.Error("all was removed, and it is held to be aboard")
	}
}

// A quarantine counts from the last time that what is in it flew or was released, and
// nothing is found before the airframe was there.
func TestAQuarantineCountsFromWhenItWasAboard(t *testing.T) {
	report := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "puffed", Zone: "pod", Severity: steps.Total}}}
	b := released(t)
	given := b.now
	b.after(8 * time.Hour)
	b.at(9*time.Hour, report)
	until := func() time.Duration { return b.state.Damages[0].Quarantine.Until.Sub(given) }
	if until() != 6*time.Hour {
		t.Errorf("it lasts until %v after the release", until())
	}
	b.at(4*time.Hour, LogFlight{Landing: Soft}) // typed in after it
	if until() != 10*time.Hour {
		t.Errorf("it lasts until %v after the release, and flew after 4 h", until())
	}
	b.must(ChangeEquipment{Item: "camera", Change: Removed})
	b.must(LogFlight{Landing: Soft})
	if until() != 10*time.Hour || !b.state.Damages[0].Quarantine.Off() {
		t.Errorf("it flew without it, and it lasts until %v after the release", until())
	}
	if err := b.tryAt(report, b.state.Since.Add(-time.Second)); err == nil || !strings.Contains(err.Error(), "before the airframe was registered") {
		t.Errorf("found before it was registered: %v", err)
	}
}

func TestAQuarantineIsNotClearedBeforeTheDamage(t *testing.T) {
	b := newBench(t)
	b.after(time.Hour)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "dented", Zone: "pod", Severity: steps.Serious}}})
	clear := ClearQuarantine{Damage: "D1", Answers: []bool{true}}
	if err := b.tryAt(clear, b.now.Add(-time.Second)); err == nil || !strings.Contains(err.Error(), "before the damage was found") {
		t.Errorf("cleared before it was found: %v", err)
	}
	b.must(clear)
}

// A hard landing typed in later, of earlier, does not hide that the one after it
// was not checked.
func TestEveryHardLandingAsksForItsCheck(t *testing.T) {
	b := working(t, one("look", plain("look")))
	b.done("look")
	start := Start{Procedure: b.state.docs.Procedures["sha256:work"], Digest: "sha256:work", Sheet: sheet(), SheetDigest: sheetSum}
	b.after(time.Hour)
	b.must(start)
	b.done("look")
	b.after(2 * time.Hour)
	b.must(LogFlight{Landing: Hard, Check: "work"})
	late := b.now
	b.must(start) // opened at a time before the landing that is typed in now
	b.at(3*time.Hour, LogFlight{Landing: Hard, Check: "look-closer"})
	b.done("look")
	if check, at := b.state.CheckDue(b.now); check != "look-closer" || !at.Equal(late.Add(-3*time.Hour)) {
		t.Errorf("%q is due after the landing of %v", check, at)
	}
	b = working(t, one("look", plain("look")))
	b.done("look")
	b.after(3 * time.Hour)
	b.must(LogFlight{Landing: Hard, Check: "work"})
	b.at(2*time.Hour, LogFlight{Landing: Hard, Check: "work"})
	b.at(time.Hour, start) // after one and before the other
	b.done("look")
	if check, at := b.state.CheckDue(b.now); check != "work" || !at.Equal(b.now) {
		t.Errorf("%q is due after the landing of %v", check, at)
	}
	b.must(start)
	b.done("look")
	if check, _ := b.state.CheckDue(b.now); check != "" {
		t.Errorf("%s is due", check)
	}
}

func TestEquipmentIsRemovedOnce(t *testing.T) {
	b := released(t)
	off := ChangeEquipment{Item: "camera", Change: Removed}
	b.must(off) // which may have come with the build
	mustContain(t, b.refused(off, ByState), "it was removed already")
	b.must(ChangeEquipment{Item: "camera", Change: Fitted}, off)
}

func TestAReadingValidForOneFlight(t *testing.T) {
	b := released(t)
	b.must(LogFlight{Landing: Soft})
	slot := b.state.gates["slot"].readings[0]
	if got := b.state.outlived(steps.Validity{Flights: 1}, slot, b.now); got != "1 flight since it was taken, and it is valid for 1" {
		t.Error(got)
	}
}

func TestNothingToConcede(t *testing.T) {
	b := released(t)
	mustContain(t, b.refused(Concede{Gate: "square", Reason: "it flies"}, ByGate), "the gate has passed; there is nothing to concede")
}

// Damage is never answered with less than lighter damage to the same, whichever of the
// lighter answers that is, and a graver one is no measure.
func TestNotLess(t *testing.T) {
	procedures := map[string]*steps.Procedure{}
	for name, disturbs := range map[string][]string{"look": nil, "wing": {"wing"}, "tail": {"tail"}, "both": {"wing", "tail"}} {
		procedures[name] = &steps.Procedure{Name: name, Stages: []steps.Stage{{Name: name, Steps: []steps.Step{{Name: name, Disturbs: disturbs}}}}}
	}
	find := func(name string) (*steps.Procedure, error) { return procedures[name], nil }
	row := func(procedure string, severities ...string) steps.Row {
		return steps.Row{Findings: []string{"bent"}, Severities: severities, Outcome: steps.ToRepair, Procedure: procedure}
	}
	pack := func(procedure, outcome string, severities ...string) steps.Row {
		r := row(procedure, severities...)
		r.Outcome = outcome
		return r
	}
	for _, c := range []struct {
		name, severity, want, than string
		rows                       []steps.Row
	}{
		{"the first row asks enough", steps.Total, "both", "", []steps.Row{row("wing", steps.Slight), row("both", steps.Total)}},
		{"the next row", steps.Serious, "both", "slight", []steps.Row{row("wing", steps.Slight), row("look", steps.Serious), row("both", steps.Serious)}},
		{"the lighter answer", steps.Serious, "wing", "slight", []steps.Row{row("wing", steps.Slight), row("look", steps.Serious)}},
		// tail is not less than the answer to serious damage, but than that to slight.
		{"not less than any", steps.Total, "both", "slight", []steps.Row{row("wing", steps.Slight), row("tail", steps.Total), row("look", steps.Serious), row("both", steps.Serious, steps.Total)}},
		// Serious damage is answered with both, since look asks less than the answer to slight.
		{"than what is done", steps.Total, "both", "serious", []steps.Row{row("wing", steps.Slight, steps.Total), row("look", steps.Serious), row("both", steps.Serious)}},
		{"a part that is made anew", steps.Total, "", "serious", []steps.Row{pack("", steps.ToRebuild, steps.Serious), pack("both", steps.ToReplace, steps.Total)}},
		{"a graver answer is no measure", steps.Cosmetic, "look", "", []steps.Row{row("look", steps.Slight), row("both", steps.Serious, steps.Total)}},
	} {
		triage := &steps.Triage{Findings: []steps.Finding{{Name: "bent"}}, Rows: c.rows}
		d := &Damage{DamageFound: journal.DamageFound{Finding: "bent", Zone: "wing", Severity: c.severity}}
		first, known := triage.Answer("bent", "wing", c.severity)
		if !known {
			first = c.rows[0]
		}
		got := notLess(first, triage, find, d)
		if got.Procedure != c.want || strings.Contains(got.Why, "less than the answer to "+c.than+" damage") != (c.than != "") {
			t.Errorf("%s: %s %q; want %s, not less than %q", c.name, got.Procedure, got.Why, c.want, c.than)
		}
	}
}
