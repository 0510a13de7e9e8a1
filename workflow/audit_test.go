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

// inspected is a bench whose record has something of everything that an audit
// tells: readings that were in, out and undecided, a concession, a lapsed coat,
// a release, a flight, damage, a correction and an entry typed in late.
func inspected(t *testing.T) *bench {
	b := assembled(t) // slot: in
	b.after(time.Hour)
	b.must(readings("slot", "root=5 mm", "tip=4 mm"), Concede{Gate: "slot", Reason: "holds"})
	b.done("coat-saddle")
	b.after(time.Hour) // it lapsed after 25 min
	b.done("coat-saddle", "join-saddle")
	b.after(24 * time.Hour)
	b.must(readings("square", "left=500 mm", "right=501 mm"), readings("slot", "root=4.475 mm", "tip=4 mm"), readings("slot", "root=4.46 mm"))
	b.must(GiveRelease{}, LogFlight{Landing: Soft})
	b.must(Note{Text: "mistyped"}, Undo{Position: b.state.Size(), Reason: "another airframe"})
	b.after(time.Hour)
	b.at(10*time.Minute, Note{Text: "just in time"})
	b.at(10*time.Minute+time.Second, Note{Text: "late"})
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Slight}}})
	return b
}

func TestAuditSummary(t *testing.T) {
	b := inspected(t)
	sum, err := b.state.AuditSummary(b.now)
	if err != nil {
		t.Fatal(err)
	}
	for what, c := range map[string][2]int{
		"entries": {sum.Entries, int(b.state.Size())}, "readings": {sum.Readings, 9}, "out": {sum.Out, 1}, "undecided": {sum.Undecided, 1},
		"current": {len(sum.Current), 0}, "not current": {len(sum.NotCurrent), 1}, "never taken": {len(sum.NeverTaken), 0}, "never checked": {len(sum.NeverChecked), 2},
		"not good": {len(sum.NotGood), 0}, "in doubt": {len(sum.InDoubt), 0}, "lapsed": {len(sum.Lapsed), 1}, "concessions": {len(sum.Concessions), 1},
		"corrections": {len(sum.Corrections), 1}, "backwards": {len(sum.Backwards), 0}, "late": {sum.Late, 1}, "releases": {sum.Releases, 1},
		"flights": {sum.Flights, 1}, "damages": {sum.Damages, 1}, "open damages": {sum.OpenDamage, 1},
	} {
		if c[0] != c[1] {
			t.Errorf("%s: %d, want %d", what, c[0], c[1])
		}
	}
	if got := sum.NotCurrent[0]; !slices.Equal(got.Gates, []string{"slot", "square"}) {
		t.Errorf("not passed: %q", got.Gates)
	}
	mustContain(t, sum.NotCurrent[0].Why.Text, "stale", "wing was disturbed by damage D1")
	mustContain(t, sum.Lapsed[0], "saddle of plover-build", "again")
	mustContain(t, sum.Concessions[0], "slot", "builder", "holds")
	mustContain(t, sum.Corrections[0], ": another airframe")

	b = building(t)
	sum, err = b.state.AuditSummary(b.now)
	if err != nil || !slices.Equal(sum.NeverTaken, []string{"slot", "square"}) || len(sum.NotCurrent) != 0 || sum.OpenDamage != 0 {
		t.Errorf("nothing was measured: %+v, %v", sum, err)
	}
	b = assembled(t)
	b.done("coat-saddle")
	b.must(Note{Text: "x"}, Undo{Position: b.state.Size()}, badCheck("caliper"), goodCheck("rule"))
	b.after(21*time.Minute + time.Second) // 25, of which coating took four
	sum, err = b.state.AuditSummary(b.now)
	if err != nil || len(sum.Lapsed) != 1 || len(sum.NotGood) != 1 || len(sum.InDoubt) != 2 || len(sum.NeverChecked) != 0 || len(sum.Corrections) != 1 {
		t.Fatalf("%+v, %v", sum, err)
	}
	mustContain(t, sum.Lapsed[0], "not joined in time")
	mustContain(t, sum.InDoubt[0].Text, "slot root", "caliper")
	if strings.Contains(sum.Corrections[0], ":") {
		t.Errorf("a reason that nobody gave: %s", sum.Corrections[0])
	}
}

// What was taken back counts as nothing; entries that go back in time are told.
func TestAuditSummaryOfWhatWasTakenBack(t *testing.T) {
	b := inspected(t)
	var concession, second int64
	for _, e := range b.state.Entries {
		if _, ok := e.Facts.(journal.ConcessionGranted); ok {
			concession = e.Position
		}
		if f, ok := e.Facts.(journal.Coated); ok && f.Joint == "saddle" {
			second = e.Position
		}
	}
	b.must(Undo{Position: concession, Reason: "mistaken"}, Undo{Position: second})
	b.after(-2 * time.Hour)
	b.must(Note{Text: "the clock was wrong"}, Note{Text: "still"})
	b.after(3 * time.Hour)
	b.must(Note{Text: "right again"})
	sum, err := b.state.AuditSummary(b.now)
	if err != nil || len(sum.Concessions) != 0 || sum.Releases != 0 || len(sum.Lapsed) != 1 || len(sum.Backwards) != 2 || sum.Readings != 9 {
		t.Fatalf("%+v, %v", sum, err)
	}
	mustContain(t, sum.Lapsed[0], "not joined in time") // the first coat, which stands
	all, err := b.state.Audit(AuditFilter{}, b.now)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range all {
		if r.Concession != 0 || r.Reason != "" || len(r.Releases) != 0 {
			t.Errorf("reading %d: %+v", i, r)
		}
	}
	b = building(t)
	b.done("coat-left")
	b.must(Undo{Position: b.state.Size() - 1})
	b.done("coat-left")
	if sum, err := b.state.AuditSummary(b.now); err != nil || len(sum.Lapsed) != 0 {
		t.Errorf("a coat that was taken back lapsed: %v, %v", sum.Lapsed, err)
	}
}

func TestAuditFilters(t *testing.T) {
	b := inspected(t)
	job := "plover-build"
	then := evening.Add(10*time.Minute + 30*time.Minute) // the first two readings
	for _, c := range []struct {
		name   string
		filter AuditFilter
		want   int
	}{
		{"all", AuditFilter{}, 9},
		{"of a gate", AuditFilter{Gate: "square"}, 2},
		{"of a zone of both gates", AuditFilter{Zone: "wing"}, 9},
		{"of a zone of one gate", AuditFilter{Zone: "pod"}, 2},
		{"of a zone of none", AuditFilter{Zone: "tail"}, 0},
		{"of a job", AuditFilter{Job: job}, 9},
		{"from", AuditFilter{From: then}, 9},
		{"from later", AuditFilter{From: then.Add(time.Second)}, 7},
		{"to", AuditFilter{To: then}, 0},
		{"to later", AuditFilter{To: then.Add(time.Second)}, 2},
		{"critical", AuditFilter{Critical: true}, 2},
		{"failures", AuditFilter{Failures: true}, 2},
		{"critical failures", AuditFilter{Critical: true, Failures: true}, 0},
	} {
		all, err := b.state.Audit(c.filter, b.now)
		if err != nil || len(all) != c.want {
			t.Errorf("%s: %d readings, want %d: %v", c.name, len(all), c.want, err)
		}
	}
	for _, f := range []AuditFilter{{Gate: "slat"}, {Zone: "wng"}, {Job: "build"}, {Gate: "slot", Zone: "wing", Job: "build"}} {
		if _, err := b.state.Audit(f, b.now); !errors.As(err, new(*UnknownError)) {
			t.Errorf("%+v: %v", f, err)
		}
	}
	all, err := b.state.Audit(AuditFilter{}, b.now)
	if err != nil || all[0].Reading.Gate != "slot" || all[6].Reading.Gate != "slot" || all[7].Reading.Gate != "square" {
		t.Errorf("not gate by gate as the sheet has them: %v", err)
	}
}

// What became of each reading of the slot and of the square.
func TestWhatBecameOfAReading(t *testing.T) {
	b := inspected(t)
	all, err := b.state.Audit(AuditFilter{}, b.now)
	if err != nil {
		t.Fatal(err)
	}
	at := func(i int) int64 { return all[i].Entry.Position }
	for i, c := range []struct {
		verdict    string
		superseded int64
		conceded   bool
		releases   int
		stale      string
	}{
		{"in tolerance", at(2), false, 0, "join-saddle"}, {"in tolerance", at(3), false, 0, "join-saddle"},
		{"out of tolerance", at(4), true, 0, "join-saddle"}, {"in tolerance", at(5), true, 0, "join-saddle"},
		{"undecided", at(6), false, 0, "damage D1"}, {"in tolerance", 0, false, 0, "damage D1"}, {"in tolerance", 0, false, 0, "damage D1"},
		{"", 0, false, 1, "damage D1"}, {"", 0, false, 1, "damage D1"}, // alike only: one alone has no verdict
	} {
		r := all[i]
		if c.verdict != "" && string(r.OwnVerdict.Verdict) != c.verdict || r.Superseded != c.superseded || (r.Concession > 0) != c.conceded || len(r.Releases) != c.releases || r.TakenBack != 0 {
			t.Errorf("%s %s, reading %d: %+v", r.Reading.Gate, r.Reading.Point, i, r)
		}
		if c.conceded && r.Reason != "holds" {
			t.Errorf("reading %d was conceded for %q", i, r.Reason)
		}
		mustContain(t, r.StaleBy.Text, "wing was disturbed by "+c.stale)
		if by, _ := b.state.disturbs(b.state.Entries[r.StaleEntry]); !strings.Contains(r.StaleBy.Text, by) {
			t.Errorf("reading %d: %q is not entry %d", i, r.StaleBy.Text, r.StaleEntry)
		}
	}
}

// A reading is of the job that measured the gate then.
func TestAReadingIsOfTheJobThatMeasuredIt(t *testing.T) {
	b := repaired(t)
	b.must(readings("slot", "root=4 mm"))
	all, err := b.state.Audit(AuditFilter{Gate: "slot"}, b.now)
	if err != nil {
		t.Fatal(err)
	}
	var jobs []string
	for _, r := range all {
		jobs = append(jobs, r.Job)
	}
	if strings.Join(jobs, " ") != "plover-build plover-build plover-build plover-build skin-lifted skin-lifted " {
		t.Errorf("of jobs %q", jobs)
	}
}

func TestAnOldReadingInTheAudit(t *testing.T) {
	b := released(t)
	of := func() *AuditedReading {
		all, err := b.state.Audit(AuditFilter{Gate: "slot"}, b.now)
		if err != nil {
			t.Fatal(err)
		}
		return all[len(all)-1]
	}
	b.after(30*24*time.Hour - time.Second)
	if r := of(); !r.StaleBy.IsZero() {
		t.Errorf("a second before its thirty days are over: %s", r.StaleBy.Text)
	}
	b.must(LogFlight{Landing: Soft}, LogFlight{Landing: Soft})
	mustContain(t, of().StaleBy.Text, "2 flights")
	b.must(Undo{Position: of().Entry.Position, Reason: "mistaken"})
	if r := of(); r.TakenBack != b.state.Size()-1 {
		t.Errorf("taken back by %d", r.TakenBack)
	}
}

func TestTheAuditSaysWhichGateOrPointIsGone(t *testing.T) {
	none, without := sheet(), build()
	none.Gates = none.Gates[1:]
	without.Stages[0].Steps = without.Stages[0].Steps[:4]
	without.Stages[3].Steps[3].Gates = []string{"square"}
	only := sheet()
	only.Gates[0].Points = []string{"root"}
	for _, c := range []struct {
		p    *steps.Procedure
		s    *steps.Sheet
		says [2]string // of root and tip
	}{{without, none, [2]string{"no longer has this gate", "no longer has this gate"}}, {build(), only, [2]string{"", "no longer has this point"}}} {
		b := assembled(t)
		b.moved(c.p, c.s)
		all, err := b.state.Audit(AuditFilter{}, b.now)
		if err != nil || len(all) != 2 {
			t.Fatal(err)
		}
		for i, r := range all {
			if (c.says[i] == "") != r.StaleBy.IsZero() || !strings.Contains(r.StaleBy.Text, c.says[i]) {
				t.Errorf("%s: %q", r.Reading.Point, r.StaleBy.Text)
			}
		}
	}
}

// A reading is told by the limits that held when it was taken.
func TestLimitsOfThatDay(t *testing.T) {
	b := assembled(t)
	tighter := sheet()
	tighter.Gates[0].Limits.High = q("3.95 mm")
	b.moved(build(), tighter)
	b.must(Rework{Gate: "slot"}, readings("slot", "root=4 mm", "tip=3.7 mm"))
	all, err := b.state.Audit(AuditFilter{}, b.now)
	if err != nil || len(all) != 4 {
		t.Fatal(err)
	}
	for i, want := range []string{"in tolerance", "in tolerance", "out of tolerance", "in tolerance"} {
		if string(all[i].OwnVerdict.Verdict) != want {
			t.Errorf("reading %d was %s", i, all[i].OwnVerdict.Verdict)
		}
	}
	b = released(t) // then a job under a sheet that asks for two readings
	b.must(Start{Procedure: repairWork(), Digest: repairSum, Sheet: strict(), SheetDigest: strictSum, Zone: "tail"}, readings("slot", "root=4 mm"))
	all, err = b.state.Audit(AuditFilter{Gate: "slot"}, b.now)
	if err != nil || all[0].Gate.Repeat != 1 || all[len(all)-1].Gate.Repeat != 2 {
		t.Errorf("%v", err)
	}
}

// Equipment disturbs the gates of its zones and of the balance, and no others.
func TestEquipmentInTheAudit(t *testing.T) {
	b := assembled(t)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"), ChangeEquipment{Item: "camera", Change: Moved})
	all, err := b.state.Audit(AuditFilter{}, b.now)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range all {
		if !r.StaleBy.IsZero() || (r.Superseded > 0) != (i < 2) {
			t.Errorf("reading %d: %+v", i, r)
		}
	}
}

// A gate is stale once another piece of the equipment may be there that it was measured
// with, and not once the same one lies elsewhere.
func TestMeasuredWithEquipment(t *testing.T) {
	for _, c := range []struct {
		what  string
		do    []Request
		stale string // "": it stands
	}{
		{"moved", []Request{ChangeEquipment{Item: "camera", Change: Moved}}, ""},
		{"another", []Request{ChangeEquipment{Item: "camera", Change: Fitted, Name: "two"}}, "it was measured before the camera being fitted"},
		{"removed", []Request{ChangeEquipment{Item: "camera", Change: Removed}}, "it was measured before the camera being removed"},
		{"something else", []Request{ChangeEquipment{Item: "ballast", Zone: "tail", Mass: q("8 g"), Change: Fitted}}, ""},
	} {
		b := assembled(t)
		with := sheet()
		with.Gates[0].Equipment = []string{"camera"}
		b.moved(build(), with)
		b.must(c.do...)
		if r := b.gate("slot"); r.Reason.Text != c.stale || r.Met() != (c.stale == "") {
			t.Errorf("%s: %s, %s", c.what, r.Standing, r.Reason.Text)
		}
		if c.what == "another" {
			b.must(readings("slot", "root=4 mm", "tip=4 mm"), Undo{Position: b.state.Size() - 1, Reason: "a slip"})
			mustContain(t, b.gate("slot").Reason.Text, "it was measured before the undo of the camera being fitted")
		}
	}
}
