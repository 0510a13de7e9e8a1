package workflow

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/steps"
	"fettle/workflow/journal"
)

// packed is a released airframe whose pod is its battery, with a look that answers
// every damage.
func packed(t *testing.T) *bench {
	b := released(t)
	s := sheet()
	s.Equipment = []steps.Equipment{{Name: "battery", Title: "The battery", Zone: "pod"}, {Name: "camera", Title: "The camera", Disturbs: []string{"tail"}}}
	s.Conditions = append(s.Conditions, steps.Condition{Name: "plug", States: []string{"out", "in"}, Guarded: "in"})
	docs := documents()
	docs.Sheets[sheetSum] = s
	docs.Procedures["sha256:look"] = &steps.Procedure{Name: "plover-look", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{
		{Name: "look-at-it", Kind: steps.Do, Do: "Look."},
		{Name: "strap-in", Kind: steps.Do, Do: "Strap it in.", Fits: "pod"},
		{Name: "plug-in", Kind: steps.Do, Do: "Plug it in.", Sets: []steps.Setting{{Condition: "plug", State: "in"}}},
	}}}}
	docs.Procedures["sha256:glance"] = &steps.Procedure{Name: "plover-glance", Kind: steps.Repair, Revision: 1, Stages: []steps.Stage{{Name: "all", Steps: []steps.Step{
		{Name: "glance-at-it", Kind: steps.Do, Do: "Look."}}}}}
	b.docs = &docs
	b.state = b.replay(b.state.Entries)
	t.Cleanup(func() { b.heardAlike() })
	return b
}

// heardAlike holds that the others hear of quarantines by those entries alone that handle
// things what they hear by all of them, at every point of the record.
func (b *bench) heardAlike() {
	for n := range b.state.Entries {
		entries := b.state.Entries[:n+1]
		records, err := journal.Encode(entries)
		if err != nil {
			b.t.Fatal(err)
		}
		if !journal.Quarantines(records) {
			continue
		}
		few, err := journal.Handling(records)
		if err != nil {
			b.t.Fatal(err)
		}
		whole, part := &Elsewhere{}, &Elsewhere{}
		whole.Add(b.replay(entries))
		if err := part.AddEntries(few, b.docs.Sheets); err != nil || !slices.Equal(whole.kept, part.kept) {
			b.t.Fatalf("after entry %d %v by all entries, %v by %d of them (%v)", n, whole.kept, part.kept, len(few), err)
		}
	}
}

// look starts the procedure that answers every damage that nothing answers yet.
func (b *bench) look(digest string) Start {
	start := Start{Procedure: b.docs.Procedures[digest], Digest: digest, Sheet: b.docs.Sheets[sheetSum], SheetDigest: sheetSum}
	for _, d := range b.state.OpenDamages(b.now) {
		if _, by := b.state.Repaired(d, b.now); by == "" {
			start.Damages = append(start.Damages, d.Damage)
		}
	}
	return start
}

func puffed(zone string) ReportDamage {
	return ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "puffed", Zone: zone, Severity: steps.Total}}}
}

func fit(name string) ChangeEquipment {
	return ChangeEquipment{Item: "battery", Change: Fitted, Name: name}
}

// A finding of one's own that has no quarantine is taken for the worst that can be found
// of the thing, also a slight one of that alone; and an airframe is not retired before it is over,
// also where the finding was taken back.
func TestOwnFindingsOfAThing(t *testing.T) {
	b := packed(t)
	table := triage()
	table.Findings = append(table.Findings, steps.Finding{Name: "scuffed", Title: "Scuffed", Zones: []string{"pod"}})
	report := func(severity string) ReportDamage {
		return ReportDamage{Triage: table, Seen: []Sighting{{Finding: "scuffed", Zone: "pod", Severity: severity}}}
	}
	table.Findings[len(table.Findings)-1].Zones = []string{"pod", "tail"}
	b.must(fit("A"), report(steps.Slight))
	if d := b.state.Damages[0]; d.As != "" || len(b.state.Quarantines) != 0 {
		t.Errorf("a slight one of what it lies in is taken for %q", d.As)
	}
	table.Findings[len(table.Findings)-1].Zones = []string{"pod"}
	b.must(report(steps.Slight))
	if d := b.state.Damages[1]; d.As != "puffed" || len(b.state.Quarantines) != 1 {
		t.Errorf("a slight one is taken for %q", d.As)
	}
	found := b.state.Size() - 1
	b.refused(Retire{Because: "sold"}, ByHold)
	b.must(Undo{Position: found, Reason: "mistaken"})
	mustContain(t, b.refused(Retire{Because: "sold"}, ByHold), "battery A (damage D2, taken back) is in quarantine")
}

// A thing that was found bad stays bad under its name: another one takes its place,
// and it comes back only if the finding was taken back and it lay out its time.
func TestAThingStaysInQuarantine(t *testing.T) {
	b := packed(t)
	b.must(fit("A"), fit("B"), fit("A"))
	b.must(puffed("pod"))
	d := b.state.Damages[0]
	if d.Thing != "battery A" || d.Quarantine.Off() || d.Quarantine.Says() != "the battery A" {
		t.Errorf("found on %q, off %v, says %s", d.Thing, d.Quarantine.Off(), d.Quarantine.Says())
	}
	mustContain(t, b.refused(fit("a."), ByHold), "the battery A (damage D1) is in quarantine")
	square := readings("square", "left=500 mm", "right=501 mm") // of the pod, which is the battery
	mustContain(t, b.refused(square, ByHold), "the battery A (damage D1) is in quarantine; what replaces it is measured [record-removed battery")
	if do := b.state.ToMeet(b.gate("square"), b.now); do.Kind != ToRecordRemoved {
		t.Errorf("its gate is met by %+v", do)
	}
	b.refused(fit(""), ByHold)
	mustContain(t, b.refused(ChangeEquipment{Item: "battery", Change: Removed, Name: "B"}, ByState), "aboard is the battery A")
	mustContain(t, b.refused(ReadBench{Set: []steps.Setting{{Condition: "plug", State: "in"}}}, ByHold, ByDamage), "nobody sets plug: in", "damage D1 is open")
	b.must(ReadBench{Set: []steps.Setting{{Condition: "plug", State: "out"}}})
	b.must(fit("B"), square)
	if q := b.state.Damages[0].Quarantine; !q.Off() || !q.Open() {
		t.Errorf("with B aboard: %+v", q)
	}
	mustContain(t, b.refused(ReadBench{Set: []steps.Setting{{Condition: "plug", State: "in"}}}, ByDamage), "only its repair sets plug: in")
	b.must(Undo{Position: d.Position, Reason: "it was the light"})
	b.refused(fit("A"), ByHold)
	b.after(6*time.Hour - time.Second)
	b.refused(ClearQuarantine{Damage: "D1", Answers: []bool{true}}, ByDrying)
	b.after(time.Second)
	b.must(ClearQuarantine{Damage: "D1", Answers: []bool{true}})
	mustContain(t, b.refused(fit("A"), ByDamage), "the battery A has damage D2, which is not repaired")
	b.must(b.look("sha256:glance"), Finish{Step: "glance-at-it"}, fit("A"))
}

// What the report named stays in its quarantine, also where the entry that named it is
// taken back, and so does what may have been there by what stands then.
func TestNoUndoTakesAThingOutOfAQuarantine(t *testing.T) {
	b := packed(t)
	b.must(fit("A"))
	named := b.state.Size()
	b.must(fit("C"))
	b.after(2 * time.Hour)
	b.must(puffed("pod"), Undo{Position: named})
	mustContain(t, b.refused(fit("C"), ByHold), "is in quarantine")
	b.refused(fit("A"), ByHold)
	b.must(fit("B"))
	typed := b.state.Size()
	b.at(time.Hour, fit("E")) // before the finding, and typed in after it
	b.must(Undo{Position: typed})
	b.refused(fit("E"), ByHold)

	b = packed(t) // one that was taken back before the finding was not there
	b.must(fit("A"))
	named = b.state.Size()
	b.must(fit("C"), Undo{Position: named}, puffed("pod"), fit("C"))
}

// Neither is damage repaired before it was found, nor is a repair begun.
func TestNoRepairBeforeItsDamage(t *testing.T) {
	b := packed(t)
	b.after(time.Hour)
	b.must(puffed("pod"))
	var refusal *Refusal
	if err := b.tryAt(b.look("sha256:glance"), b.now.Add(-time.Minute)); !errors.As(err, &refusal) || refusal.Reasons[0].Because != ByOrder {
		t.Fatalf("begun before its damage: %v", err)
	}
	mustContain(t, refusal.Reasons[0].Text, "cannot be started before damage D1 was found")
	b.after(time.Hour)
	b.at(time.Hour, b.look("sha256:glance"))
	if err := b.tryAt(Finish{Step: "glance-at-it"}, b.now.Add(-time.Hour-time.Minute)); !errors.As(err, &refusal) {
		t.Errorf("done before its damage: %v", err)
	}
}

// What was cleared was handed in: it is not fitted again, and somebody names what is
// there instead.
func TestWhatWasClearedIsNotFittedAgain(t *testing.T) {
	b := packed(t)
	b.must(fit("A"), puffed("pod"))
	b.after(6 * time.Hour)
	b.must(ClearQuarantine{Damage: "D1", Answers: []bool{true}})
	mustContain(t, b.refused(fit("A"), ByHold), "was in quarantine, and is not fitted again")
	mustContain(t, b.state.quarantined(b.state.Quarantines[0], b.now).Text, "no entry says that it was taken off")
	b.must(ChangeEquipment{Item: "battery", Change: Removed})
	asked := func() (n int) {
		for _, r := range b.state.Proof(b.now, nil).Reasons() {
			if r.Remedy.Kind == ToFitAnother && r.Remedy.Name == "battery" {
				n++
			}
		}
		return n
	}
	if n := asked(); n != 1 {
		t.Errorf("with none aboard it is asked for %d times", n)
	}
	b.written(0, journal.EquipmentChanged{Item: "battery", Change: Fitted, Disturbs: []string{"pod"}}) // as a journal of before has it
	if why := b.state.unnamed(b.state.Quarantines[0], b.now); why == nil || why.Remedy.Kind != ToFitAnother || asked() != 1 {
		t.Errorf("with one aboard that nobody named: %v", why)
	}
	b.must(fit("B"))
	if why := b.state.unnamed(b.state.Quarantines[0], b.now); why != nil {
		t.Errorf("with B aboard: %v", why)
	}
}

// What several other records have in quarantine is held back from the first of them on,
// however they write its name, and only while it is aboard.
func TestHeldElsewhere(t *testing.T) {
	others := &Elsewhere{}
	for i, found := range []time.Duration{48 * time.Hour, 0} {
		b := packed(t)
		b.after(found)
		b.must(fit([]string{"battery A 01", "a-1"}[i]), puffed("pod"))
		b.state.Airframe.Mark = fmt.Sprintf("PL-0%d", i+2)
		others.Add(b.state)
	}
	b := packed(t)
	before := b.now
	b.must(fit("A1"))
	b.after(24 * time.Hour)
	b.state.Heed(others)
	if why := b.state.heldElsewhere(b.now); why == nil || !strings.Contains(why.Text, "PL-03 (damage D1)") {
		t.Errorf("after a day: %v", why)
	}
	others.Add(b.state)
	b.state.Heed(others)
	if n := len(b.state.elsewhere); n != 2 {
		t.Errorf("told again, it knows of %d", n)
	}
	if why := b.state.heldElsewhere(before.Add(-time.Minute)); why != nil {
		t.Errorf("before it was found: %v", why)
	}
	b.must(fit("B"))
	b.state.Heed(others)
	if why := b.state.heldElsewhere(b.now); why != nil {
		t.Errorf("with another one aboard: %v", why)
	}
}

// Of one without a name nobody knows which it was: it may be any that was named before.
func TestAThingWithoutAName(t *testing.T) {
	b := packed(t)
	b.must(fit("A"), ChangeEquipment{Item: "battery", Change: Removed}, fit(""), puffed("pod"))
	b.refused(fit("A"), ByHold)
	b.must(fit("B"))
	if !b.state.Quarantines[0].Off() {
		t.Error("another one is aboard, and it counts as the same")
	}
	b.must(fit("C"))
	if got := b.state.Fitted(b.now.Add(time.Second)); !slices.Equal(got, []Thing{{"battery", "C"}}) {
		t.Errorf("aboard are %v", got)
	}
}

// What is found in a battery before there is an airframe for it needs no repair of the
// airframe: another battery with a name closes it.
func TestABatteryBeforeItsZone(t *testing.T) {
	b := packed(t)
	b.state = b.replay(b.state.Entries[:1])
	b.must(Start{Procedure: build(), Digest: buildSum, Sheet: b.docs.Sheets[sheetSum], SheetDigest: sheetSum})
	if z := b.state.Zones(b.now).Zone("pod"); z.Standing != ZoneAbsent {
		t.Fatalf("the pod is %s", z.Standing)
	}
	b.must(puffed("pod"))
	for _, name := range []string{"A", "B"} {
		if open := b.state.OpenDamages(b.now); len(open) != 1 && name == "A" {
			t.Errorf("%d damages are open", len(open))
		}
		b.must(fit(name))
	}
	if open := b.state.OpenDamages(b.now); len(open) != 0 || !b.state.Quarantines[0].Open() {
		t.Errorf("%d damages are open", len(open))
	}
	for _, step := range build().Steps() { // what is made later was not there then
		if step.MakesZone("pod") {
			b.written(0, journal.StepDone{Work: journal.Work{Job: b.state.Jobs[0].ID, Step: step.Name, Disturbs: []string{"pod"}}})
		}
	}
	if z := b.state.Zones(b.now).Zone("pod"); z.Standing == ZoneAbsent {
		t.Fatal("the pod is still absent")
	}
	if open := b.state.OpenDamages(b.now); len(open) != 0 {
		t.Error("what was closed is open again once the zone is made")
	}
}

// The step that fits another one asks for its name, and both are taken back together.
func TestAStepFitsAnother(t *testing.T) {
	b := packed(t)
	b.must(fit("A"), puffed("pod"))
	b.must(b.look("sha256:look"))
	b.done("look-at-it")
	mustContain(t, b.refused(Finish{Step: "strap-in"}, ByHold), "may be the one")
	mustContain(t, b.refused(Finish{Step: "strap-in", Thing: "A"}, ByHold), "is in quarantine")
	b.badly(Finish{Step: "strap-in", Thing: "--"}, "not a name")
	b.must(Finish{Step: "strap-in", Thing: "B"})
	b.badly(Finish{Step: "plug-in", Thing: "B"}, "fits no equipment")
	b.must(Finish{Step: "plug-in"})
	fitted := b.state.Size() - 3
	if f, ok := b.state.Entries[fitted].Facts.(journal.EquipmentChanged); !ok || f.Name != "B" || !slices.Equal(f.Disturbs, []string{"pod"}) {
		t.Fatalf("recorded is %+v", b.state.Entries[fitted].Facts)
	}
	b.must(Undo{Position: fitted, Reason: "it was not strapped"})
	if b.state.Live(fitted+1) || b.state.Live(fitted+2) || b.state.Quarantines[0].Off() {
		t.Error("the step stands without what it fitted")
	}
	b.must(Finish{Step: "strap-in", Thing: "C"})
	b.must(Undo{Position: b.state.Size() - 1, Reason: "nor was this"})
	if b.state.Live(b.state.Size() - 3) {
		t.Error("what it fitted stands without its step")
	}
}

// What nobody may do is tried in any order: find, take back, fit, remove, clear, fly,
// release, at any time. After each the record alone says whether what was found bad
// may be aboard a released airframe.
func TestRandomThings(t *testing.T) {
	t.Parallel()
	start := packed(t)
	often(t, func(t *rapid.T) {
		b := &bench{state: start.state, now: start.now, by: start.by, docs: start.docs}
		try := func(r Request, before time.Duration) {
			entries, err := b.state.Decide(r, Circumstances{Now: b.now, At: b.now.Add(-before), By: "builder", Program: "test"})
			if err != nil {
				return
			}
			s, err := Replay(append(b.state.Entries[:len(b.state.Entries):len(b.state.Entries)], entries...), *b.docs)
			if err != nil {
				t.Fatalf("%+v is recorded and can't be replayed: %v", r, err)
			}
			b.state = s
		}
		name := rapid.SampledFrom([]string{"", "A", "A", "a", "B", "C"})
		for range rapid.IntRange(6, 30).Draw(t, "length") {
			b.now = b.now.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 60, 400}).Draw(t, "minutes")) * time.Minute)
			before := time.Duration(rapid.SampledFrom([]int{0, 0, 0, 0, 30, 500}).Draw(t, "before")) * time.Minute
			n := name.Draw(t, "name")
			switch rapid.SampledFrom([]string{"find", "undo", "fit", "fit", "fit", "remove", "move", "clear", "fly", "repair", "release", "release", "release", "release"}).Draw(t, "act") {
			case "find":
				try(puffed("pod"), before)
			case "undo":
				try(Undo{Position: b.state.Size() - 1 - int64(rapid.IntRange(0, 4).Draw(t, "back")), Reason: "a slip"}, 0)
			case "fit":
				try(fit(n), before)
			case "remove":
				try(ChangeEquipment{Item: "battery", Change: Removed, Name: n}, before)
			case "move":
				try(ChangeEquipment{Item: "battery", Change: Moved, Name: n}, before)
			case "clear":
				try(ClearQuarantine{Damage: rapid.SampledFrom([]string{"D1", "D2", "D3"}).Draw(t, "damage"), Answers: []bool{true}}, before)
			case "fly":
				try(LogFlight{Landing: Soft}, before)
			case "repair":
				try(b.look("sha256:look"), 0)
				for _, step := range []Finish{{Step: "look-at-it"}, {Step: "strap-in", Thing: n}, {Step: "strap-in", Thing: "D"}, {Step: "plug-in"}} {
					try(step, 0)
				}
			default:
				try(b.look("sha256:glance"), 0)
				try(Finish{Step: "glance-at-it"}, 0)
				try(setting("propeller", "off"), 0)
				try(readings("square", "left=500 mm", "right=501 mm"), 0)
				try(GiveRelease{}, 0)
			}
			if b.state.Airworthiness(b.now).Released {
				noneAboard(t, b.state)
			}
		}
	})
}

// noneAboard recomputes from the entries alone, in their order and in that of their
// times, that no battery is aboard that was found bad.
func noneAboard(t *rapid.T, s *State) {
	key := func(name string) string { return strings.ToLower(name) }
	live := func(e journal.Entry) bool {
		return !slices.ContainsFunc(s.Entries, func(u journal.Entry) bool {
			f, ok := u.Facts.(journal.Undone)
			return ok && slices.Contains(f.TakesBack, e.Position)
		})
	}
	cleared := map[string]bool{}
	for _, e := range s.Entries {
		if f, ok := e.Facts.(journal.QuarantineCleared); ok && live(e) {
			cleared[f.Damage] = true
		}
	}
	byTime := slices.Clone(s.Entries)
	slices.SortStableFunc(byTime, func(a, b journal.Entry) int { return a.At.Compare(b.At) })
	for _, order := range [][]journal.Entry{s.Entries, byTime} {
		aboard, there := "", true
		bad := map[string]journal.DamageFound{} // by the name of the battery; "": one without
		mistaken := map[string]bool{}
		for _, e := range order {
			switch f := e.Facts.(type) {
			case journal.EquipmentChanged:
				switch {
				case f.Item != "battery" || !live(e):
				case f.Change == Removed:
					aboard, there = "", false
				case f.Change == Fitted || !there:
					aboard, there = key(f.Name), true
				}
			case journal.DamageFound:
				if f.Quarantine.IsZero() {
					continue
				}
				there = true // something was
				if live(e) || !cleared[f.Damage] {
					bad[aboard] = f
				}
				mistaken[f.Damage] = !live(e)
			}
		}
		if f, is := bad[aboard]; is && there && (aboard != "" || !cleared[f.Damage]) {
			t.Fatalf("released with the battery %q aboard, found bad as %s (taken back: %v, cleared: %v)", aboard, f.Damage, mistaken[f.Damage], cleared[f.Damage])
		}
	}
}

func TestSayWhereAnUnlistedThingIs(t *testing.T) {
	b := packed(t)
	var asks *BadRequestError
	if err := b.try(ChangeEquipment{Item: "logger", Change: Fitted}); !errors.As(err, &asks) || asks.Remedy.Kind != ToSayWhere {
		t.Fatalf("%v", err)
	}
	b.must(ChangeEquipment{Item: "logger", Change: Fitted, Name: "old", Zone: "wing", Mass: q("9 g")})
	if g := b.gate("square"); g.Standing != StaleGate {
		t.Errorf("square is %v", g.Standing)
	}
	b.must(ChangeEquipment{Item: "logger", Change: Moved}, ChangeEquipment{Item: "logger", Change: Removed})
	b.refused(ChangeEquipment{Item: "logger", Change: Removed}, ByState)
}

// What was replaced for its damage isn't fitted again by its name, nor while the damage is open;
// what was only looked at is.
func TestWhatWasReplacedIsNotFittedAgain(t *testing.T) {
	found := ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "pod", Severity: steps.Slight}}}
	for _, test := range []struct{ digest, says string }{{"sha256:look", "the battery A 1 was replaced for damage D1"}, {"sha256:glance", ""}} {
		b := packed(t)
		b.must(fit("A 1"), found)
		mustContain(t, b.refused(fit("a1"), ByDamage), "the battery A 1 has damage D1, which is not repaired")
		b.must(fit("B"), b.look(test.digest))
		b.refused(fit("A1"), ByDamage)
		if test.says == "" {
			b.must(Finish{Step: "glance-at-it"}, fit("A1"))
			continue
		}
		b.must(Finish{Step: "look-at-it"})
		b.refused(Finish{Step: "strap-in", Thing: "A1"}, ByDamage)
		b.must(Finish{Step: "strap-in", Thing: "C"}, Finish{Step: "plug-in"})
		mustContain(t, b.refused(fit("A1"), ByDamage), test.says)
		b.must(fit("B"))
	}
}
