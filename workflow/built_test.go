package workflow

import (
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// Nothing flies that no build on record made, unless a check took it over as built.
// That is said for ever; a release of before that rule stands.
func TestBuiltOrTakenOver(t *testing.T) {
	look := &steps.Procedure{Name: "as-it-is", Title: "Take it over", Kind: steps.Check, Accepts: steps.AsBuilt, Revision: 1, Stages: []steps.Stage{one("look",
		plain("look"), steps.Step{Name: "figures", Kind: steps.Measure, Gates: []string{steps.Stale}})}}
	docs := documents()
	docs.Procedures["sha256:look"] = look
	b := newBench(t)
	b.docs = &docs
	measured := func() {
		b.must(readings("slot", "root=4mm", "tip=4mm"), readings("square", "left=500mm", "right=501mm"))
	}
	line := func() string {
		for _, l := range b.state.Proof(b.now, nil).Lines {
			if strings.Contains(l.Text, "built") {
				return l.Text
			}
		}
		return ""
	}
	measured()
	mustContain(t, b.refused(GiveRelease{}, ByState), "no build of it is on record, and no check took it over as built", "accept-as-built")
	if why := b.state.BuildMissing(b.now); !why.IsZero() {
		t.Errorf("of what was never released the record lacks %q", why.Text)
	}

	// A release that was given before anybody asked for a build stands; the next one asks.
	rests := b.state.Proof(b.now, nil).Rests
	old := &bench{t: t, now: b.now.Add(time.Minute), by: "builder", docs: &docs}
	old.state = old.replay(append(slices.Clone(b.state.Entries), journal.Entry{Position: b.state.Size(), At: b.now, Recorded: b.now, By: "builder", Program: "test", Facts: journal.Released{RestsOn: rests}}))
	if !old.state.Airworthiness(old.now).Released || len(old.state.Next(old.now).Due) > 0 {
		t.Errorf("it is %+v, due %v", old.state.Airworthiness(old.now), old.state.Next(old.now).Due)
	}
	mustContain(t, old.state.BuildMissing(old.now).Text, "no check took it over")
	old.must(ChangeEquipment{Item: "camera", Change: Moved})
	old.must(readings("square", "left=500mm", "right=501mm"))
	mustContain(t, old.refused(GiveRelease{}, ByState), "no build of it is on record")
	if due := old.state.Next(old.now).Due; len(due) != 1 || due[0].Remedy.Kind != ToAccept {
		t.Errorf("due is %+v", due)
	}

	// The check asks for every gate, and only its end takes the airframe over.
	b = newBench(t)
	b.docs = &docs
	b.must(Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum})
	b.done("look")
	b.must(readings("square", "left=500mm", "right=501mm"))
	mustContain(t, b.refused(GiveRelease{}, ByState, ByGate), "job as-it-is is open")
	if s := line(); s != "" {
		t.Errorf("with the check open the proof says %q", s)
	}
	b.after(time.Hour)
	over := b.now
	measured()
	mustContain(t, line(), "its build is not on record; it was taken over as built by job as-it-is")
	b.after(time.Hour)
	b.must(GiveRelease{})
	if why := b.state.BuildMissing(b.now.Add(1000 * time.Hour)); why.Text != "its build is not on record; it was taken over as built by job as-it-is" || !why.At.Equal(over) {
		t.Errorf("the record lacks %+v", why)
	}
	// Taken back, it is not taken over.
	for _, e := range b.state.Entries {
		if w, ok := journal.WorkOf(e.Facts); ok && w.Step == "look" {
			b.must(Undo{Position: e.Position, Reason: "mistaken"})
		}
	}
	if _, ok := b.state.Built(b.now); ok {
		t.Error("it is built, with a step of the check taken back")
	}

	// Nor is it while a build is open. One that is opened beside the check changes
	// nothing of what that asks for, whether or not it is taken back.
	takeOver := Start{Procedure: look, Digest: "sha256:look", Sheet: sheet(), SheetDigest: sheetSum}
	b = building(t)
	mustContain(t, b.refused(takeOver, ByState), "its build is on record and not complete: job plover-build", "finish plover-build")
	b = newBench(t)
	b.docs = &docs
	b.must(takeOver, startBuild())
	opened := b.state.Size() - 1
	b.must(Finish{Step: "as-it-is/look"})
	for range 2 {
		mustContain(t, b.refused(Finish{Step: "as-it-is/figures"}, ByGate, ByGate), "slot", "square")
		if _, ok := b.state.Built(b.now); ok || b.zones() == "" {
			t.Error("it is built, with nothing measured")
		}
		if b.state.Live(opened) {
			b.must(Undo{Position: opened})
		}
	}

	// What is retired is left alone: only its record goes on, until that is taken back.
	b = released(t)
	if err := b.try(Retire{Because: "lost"}); err == nil {
		t.Error("it is retired for no reason")
	}
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: sheet(), SheetDigest: sheetSum, Zone: "wing"}, Retire{Because: "sold", Note: "to a pupil"})
	end := b.state.Size() - 1
	if f := b.state.Airworthiness(b.now); f.Released || f.Why.Text != "retired: sold, with skin-lifted not finished" || len(b.state.OpenJobs(b.now))+len(b.state.Timers(b.now)) > 0 {
		t.Errorf("retired, it is %+v", f)
	}
	mustContain(t, b.refused(readings("square", "left=500mm", "right=501mm"), ByState), "retired: sold", "take-back")
	b.refused(GiveRelease{}, ByState)
	b.refused(Retire{Because: "scrapped"}, ByState)
	b.must(Note{Text: "It flies in the next village."}, Undo{Position: end})
	if f := b.state.Airworthiness(b.now); strings.HasPrefix(f.Why.Text, "retired") || len(b.state.OpenJobs(b.now)) != 1 || b.state.Holds("propeller", b.now) != "" {
		t.Errorf("back again it is %+v", f)
	}
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "puffed", Zone: "pod", Severity: steps.Total}}})
	mustContain(t, b.refused(Retire{Because: "scrapped"}, ByHold), "in quarantine")

	// A build that is complete needs no check, and nothing is missing. None begins again,
	// which would say of every part that it is not there.
	b = released(t)
	mustContain(t, b.refused(startBuild(), ByState), "it is built: job plover-build is complete")
	mustContain(t, line(), "it was built: job plover-build is complete")
	if why := b.state.BuildMissing(b.now); !why.IsZero() {
		t.Errorf("of what was built the record lacks %q", why.Text)
	}
}
