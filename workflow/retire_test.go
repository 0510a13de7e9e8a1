package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// newWing throws the wing away, and makes a new one.
func newWing() *steps.Procedure {
	makes := []steps.Made{{Zone: "wing"}}
	return &steps.Procedure{Name: "new-wing", Kind: steps.Repair, Stages: []steps.Stage{{Name: "new", Steps: []steps.Step{
		{Name: "scrap", Kind: steps.Hold, Confirm: []string{"It is marked as scrap"}, Disturbs: []string{"wing"}, Retires: []string{"wing"}},
		{Name: "coat-new", Kind: steps.Coat, Joint: "roots", Adhesives: []string{"contact"}, Makes: makes},
		{Name: "join-new", Kind: steps.Join, Joint: "roots", Load: true, Disturbs: []string{"wing"}, Makes: makes},
	}}}}
}

// joined are the joints that the proof names, by their jobs.
func (b *bench) joined() string {
	var all []string
	for _, j := range b.state.joints() {
		all = append(all, j.Job+"/"+j.Name)
	}
	return strings.Join(all, " ")
}

// A part that is thrown away leaves neither joint nor reading in a proof. All of it
// comes back with the step.
func TestAPartIsThrownAway(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(15 * time.Minute)
	b.done("join-roots", "propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	b.after(time.Hour)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	b.done("sand-pod")
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.done("coat-saddle")
	const before = "plover-build/roots plover-build/saddle"
	if b.joined() != before || b.gate("slot").Standing != Current {
		t.Fatalf("at first %s, slot %s", b.joined(), b.gate("slot").Standing)
	}
	off := newWing() // throws it away and makes none
	off.Name, off.Stages[0].Steps = "off", off.Stages[0].Steps[:1]
	for _, do := range []RemedyKind{ToReportDamage, ToPlanRepair} {
		err := b.try(Start{Procedure: off, Digest: newWingSum, Sheet: sheet(), SheetDigest: sheetSum})
		var refusal *Refusal
		if !errors.As(err, &refusal) || refusal.Reasons[0].Remedy.Kind != do || !strings.Contains(refusal.Reasons[0].Text, "throws the wing away") {
			t.Errorf("by hand: %v", err)
		}
		if do == ToReportDamage {
			b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Total}}})
		}
	}
	b.must(Start{Procedure: newWing(), Digest: newWingSum, Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	b.must(Clear{Step: "scrap", Answers: []bool{true}})
	thrown := b.state.Size() - 1
	f, ok := b.state.Entries[thrown].Facts.(journal.PartRetired)
	if !ok || f.Step != "scrap" || !slices.Equal(f.Zones, []string{"wing"}) || !slices.Equal(f.Damages, []string{"D1"}) {
		t.Fatalf("it is recorded as %+v", b.state.Entries[thrown].Facts)
	}
	if b.joined() != "" || b.step("coat-saddle").Progress == Done || b.step("join-roots").Progress != Done {
		t.Errorf("of the old wing %q are left; coat %s, join %s", b.joined(), b.step("coat-saddle").Progress, b.step("join-roots").Progress)
	}
	if g := b.gate("slot"); g.Standing != StaleGate || !strings.Contains(g.Reason.Text, "the wing being thrown away") {
		t.Errorf("its slot is %s: %s", g.Standing, g.Reason.Text)
	}
	if b.zones() != "wing lost, pod there, tail there" {
		t.Error(b.zones())
	}
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.done("coat-new")
	b.after(15 * time.Minute)
	b.done("join-new")
	if b.joined() != "new-wing/roots" || b.zones() != "wing there, pod there, tail there" {
		t.Errorf("made anew: %s; %s", b.joined(), b.zones())
	}
	b.must(Undo{Position: thrown, Reason: "the other airframe"})
	if live := b.state.Live(thrown - 1); live || b.joined() != before || b.zones() != "wing there, pod there, tail there" {
		t.Errorf("taken back: %s; %s; the step stands: %v", b.joined(), b.zones(), live)
	}
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("hands were on it, and its slot is %s", g.Standing)
	}
}

// What was glued within a part that is cut out and replaced leaves the proof, and with
// the next one what set the last. A seat that holds more stays, and so does what the same
// job has joined.
func TestAPartIsCutOut(t *testing.T) {
	b := building(t)
	docs := documents()
	b.docs = &docs
	b.done("coat-left", "coat-right")
	b.after(15 * time.Minute)
	b.done("join-roots", "propeller-off")
	b.must(Clear{Step: "blade-care", Answers: []bool{true, true}})
	b.done("cut-pod")
	b.after(time.Hour)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	b.done("sand-pod")
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.done("coat-saddle", "join-saddle")
	const built = "plover-build/roots plover-build/saddle"
	cut := 0
	replace := func(job string) string {
		p := &steps.Procedure{Name: job, Kind: steps.Repair, Stages: []steps.Stage{{Name: "new", Steps: []steps.Step{
			{Name: job + "-cut", Kind: steps.Do, Do: "cut it out", Disturbs: []string{"wing"}, Renews: []string{"wing"}},
			{Name: job + "-coat", Kind: steps.Coat, Joint: "stub", Adhesives: []string{"epoxy"}},
			{Name: job + "-join", Kind: steps.Join, Joint: "stub", Load: true, Disturbs: []string{"wing", "pod"}},
		}}}}
		docs.Procedures["sha256:"+job] = p
		b.must(Start{Procedure: p, Digest: "sha256:" + job, Sheet: sheet(), SheetDigest: sheetSum})
		b.done(job + "-cut")
		cut = int(b.state.Size() - 1)
		between := b.joined()
		b.done(job+"-coat", job+"-join")
		return between + " | " + b.joined()
	}
	if b.joined() != built {
		t.Fatalf("at first %s", b.joined())
	}
	if got := replace("first"); got != "plover-build/saddle | plover-build/saddle first/stub" {
		t.Errorf("cut out: %s", got)
	}
	if got := replace("second"); got != "plover-build/saddle | plover-build/saddle second/stub" {
		t.Errorf("cut out again: %s", got)
	}
	b.must(Undo{Position: int64(cut), Reason: "the other airframe"})
	if got := b.joined(); got != "plover-build/saddle first/stub" {
		t.Errorf("taken back: %s", got)
	}
}

// What the job itself joined to a part before that was thrown away is joined again.
func TestWhatIsThrownAwayIsJoinedAgain(t *testing.T) {
	b := building(t)
	docs := documents()
	b.docs = &docs
	p := newWing()
	tip := []steps.Step{
		{Name: "coat-tip", Kind: steps.Coat, Joint: "tip", Adhesives: []string{"contact"}},
		{Name: "join-tip", Kind: steps.Join, Joint: "tip", Disturbs: []string{"wing"}},
	}
	p.Stages = append([]steps.Stage{{Name: "tip", Steps: tip}}, p.Stages...)
	docs.Procedures["sha256:tip"] = p
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Total}}})
	b.must(Start{Procedure: p, Digest: "sha256:tip", Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.done("coat-tip")
	b.after(15 * time.Minute)
	b.done("join-tip")
	if b.joined() != "new-wing/tip" {
		t.Fatalf("joined is %s", b.joined())
	}
	b.must(Clear{Step: "scrap", Answers: []bool{true}})
	if b.joined() != "" || b.step("coat-tip").Progress == Done || b.step("join-tip").Progress == Done {
		t.Errorf("thrown away, %q is left; coat %s, join %s", b.joined(), b.step("coat-tip").Progress, b.step("join-tip").Progress)
	}
	b.done("coat-tip")
	b.after(15 * time.Minute)
	b.done("join-tip")
	if b.joined() != "new-wing/tip" || b.step("join-tip").Progress != Done {
		t.Errorf("joined again is %s, join %s", b.joined(), b.step("join-tip").Progress)
	}
}

// What it joined by a plan that was amended since, and no longer joins it, leaves the proof.
func TestWhatIsThrownAwayByAnAmendedPlan(t *testing.T) {
	b := building(t)
	docs := documents()
	b.docs = &docs
	docs.Procedures["sha256:crack"] = &steps.Procedure{Name: "crack", Kind: steps.Repair, Stages: []steps.Stage{{Name: "glue", Steps: []steps.Step{
		{Name: "coat-crack", Kind: steps.Coat, Joint: "crack", Adhesives: []string{"contact"}},
		{Name: "join-crack", Kind: steps.Join, Joint: "crack", Load: true, Disturbs: []string{"wing"}},
		{Name: "look-again", Kind: steps.Do, Do: "Look."},
	}}}}
	report := func(severity string) ReportDamage {
		return ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: severity}}}
	}
	b.must(report(steps.Serious))
	b.must(Start{Procedure: docs.Procedures["sha256:crack"], Digest: "sha256:crack", Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	b.done("coat-crack")
	b.after(15 * time.Minute)
	b.done("join-crack")
	b.must(report(steps.Total), Amend{Job: "crack", Procedure: newWing(), Digest: newWingSum, Damages: []string{"D1", "D2"}, Found: []string{"D2"}})
	if b.joined() != "crack/crack" {
		t.Fatalf("before it is thrown away %q is joined", b.joined())
	}
	b.must(Clear{Step: "scrap", Answers: []bool{true}})
	if b.joined() != "" {
		t.Errorf("thrown away, %q is left", b.joined())
	}
}

// A part that was thrown away is there again once steps have made it, not once the job
// that threw it away is complete. Till then it may be found lost, and is made anew.
func TestAPartIsMadeAgainByWorkOnly(t *testing.T) {
	table := triage()
	table.Findings, table.Lost = table.Findings[:1], "off" // nothing that is dangerous
	seen := func(severity string) ReportDamage {
		return ReportDamage{Triage: table, Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: severity}}}
	}
	lost := seen(steps.Total)
	thrown := func(rest ...steps.Step) *bench {
		t.Helper()
		b := released(t)
		p := newWing()
		p.Stages[0].Steps = append(p.Stages[0].Steps[:1], rest...)
		docs := documents()
		docs.Procedures[newWingSum] = p
		b.docs = &docs
		b.must(lost, Start{Procedure: p, Digest: newWingSum, Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}})
		b.must(Clear{Step: "scrap", Answers: []bool{true}})
		return b
	}
	works := func(name, zone string) steps.Step {
		s := plain(name)
		s.Disturbs = []string{zone}
		return s
	}
	// A step beside it that measures it waits for the new one, and what makes that goes on.
	b := released(t)
	beside, docs := newWing(), documents()
	beside.Stages = slices.Insert(beside.Stages, 0, steps.Stage{Name: "jig", Steps: []steps.Step{{Name: "compare", Kind: steps.Measure, Gates: []string{"square"}}}})
	docs.Procedures[newWingSum] = beside
	b.docs = &docs
	b.must(lost, Start{Procedure: beside, Digest: newWingSum, Sheet: sheet(), SheetDigest: sheetSum, Damages: []string{"D1"}}, Clear{Step: "scrap", Answers: []bool{true}})
	b.must(ReadBench{Temperature: q("20 °C"), Set: []steps.Setting{{Condition: "ventilation", State: "on"}}})
	compare := b.step("compare")
	if next := b.state.Next(b.now).Step; next == nil || next.Step.Name != "coat-new" || len(compare.Reasons) != 1 || !strings.Contains(compare.Reasons[0].Text, "not made again yet") {
		t.Errorf("next is %+v; the other step waits for %+v", next, compare.Reasons)
	}
	b.done("coat-new")
	b.after(15 * time.Minute)
	b.done("join-new")
	if compare = b.step("compare"); len(compare.Reasons) != 1 || compare.Reasons[0].Because != ByDrying {
		t.Errorf("once it is made, the step waits for %+v", compare.Reasons)
	}

	// Where no step says that it makes it, the work on it after that does.
	b = thrown(works("build-wing", "wing"), plain("tidy"))
	mustContain(t, b.refused(lost, ByState), "thrown away, and job new-wing makes it again", "finish new-wing")
	b.done("build-wing", "tidy")
	if b.zones() != "wing there, pod there, tail there" {
		t.Error(b.zones())
	}

	b = thrown(works("tidy", "pod"))
	b.done("tidy")
	if open := b.state.OpenJobs(b.now); len(open) > 0 || b.zones() != "wing lost, pod there, tail there" {
		t.Errorf("open are %d jobs; %s", len(open), b.zones())
	}
	lines := b.state.Proof(b.now, nil).Reasons()
	if !slices.ContainsFunc(lines, func(r Reason) bool {
		return strings.Contains(r.Text, "the wing was thrown away and is not made again") && r.Remedy.Kind == ToReportDamage
	}) {
		t.Errorf("the proof says %+v", lines)
	}
	mustContain(t, b.refused(seen(steps.Slight), ByState), "not made again yet: what is lost is total", "report-damage")
	b.must(lost)
	_, err := b.state.PlanRepair(table, func(string) (*steps.Procedure, error) { return nil, errors.New("there is none") }, b.now)
	if err == nil || !strings.Contains(err.Error(), "the lost wing cannot be made anew") {
		t.Errorf("its answer is not to make it anew: %v", err)
	}
}
