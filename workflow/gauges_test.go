package workflow

import (
	"errors"
	"strings"
	"testing"
	"time"

	"fettle/steps"
	"fettle/workflow/journal"
)

// goodCheck and badCheck are checks of the fixture's caliper, accurate to 0.03 mm,
// and of its rule, accurate to 0.29 mm by its resolution.
func goodCheck(gauge string) CheckGauge { return checkOf(gauge, true) }
func badCheck(gauge string) CheckGauge  { return checkOf(gauge, false) }

func TestWhatIsNoCheck(t *testing.T) {
	b := assembled(t)
	for _, c := range []struct {
		r    CheckGauge
		want string
	}{
		{CheckGauge{Gauge: "calliper", Of: q("10 mm"), Reads: q("10 mm")}, `did you mean "caliper"`},
		{CheckGauge{Gauge: "caliper", Of: q("10 g"), Reads: q("10 mm")}, "10 g is a mass"},
		{CheckGauge{Gauge: "caliper", Of: q("10 mm"), Reads: q("10 s")}, "not a length; caliper reads mm"},
		{CheckGauge{Gauge: "caliper", Of: q("10 mm"), Reads: q("10.002 mm")}, "10.002 mm is finer than caliper shows, in steps of 0.01 mm"},
		{CheckGauge{Gauge: "caliper", Of: q("10 mm")}, "check of caliper needs both"},
		{CheckGauge{Gauge: "caliper", Reads: q("10 mm")}, "the size of the reference"},
	} {
		err := b.try(c.r)
		if err == nil {
			t.Errorf("%+v was taken", c.r)
			continue
		}
		mustContain(t, err.Error(), c.want)
	}
	b.must(CheckGauge{Gauge: "caliper", Of: q("1/4 in"), Reads: q("6.36 mm")})
}

func TestABadCheckBarsTheGauge(t *testing.T) {
	b := assembled(t)
	b.must(readings("slot", "root=4 mm", "tip=4 mm")) // never checked: allowed
	b.must(badCheck("caliper"))
	text := b.refused(readings("slot", "root=4 mm", "tip=4 mm"), ByGauge)
	mustContain(t, text, "caliper failed its last check", "reading 0.04 mm too low, outside ±0.03 mm",
		"[check-gauge caliper")
	// Another gauge measures the same gate, and the step is met with it.
	b.must(Measure{Gate: "slot", Gauge: "rule", Readings: readings("slot", "root=4 mm", "tip=4 mm").Readings})
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.after(time.Minute)
	b.must(goodCheck("caliper"), readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

func TestAMeasureStepWaitsForItsGauge(t *testing.T) {
	b := building(t)
	b.done("coat-left", "coat-right")
	b.after(10 * time.Minute)
	b.done("join-roots")
	b.after(30 * time.Minute)
	b.must(badCheck("caliper"))
	r := b.step("measure-slot")
	if r.Progress != Waiting || len(r.Reasons) != 1 || r.Reasons[0].Because != ByGauge {
		t.Fatalf("measure-slot is %s: %v", r.Progress, r.Reasons)
	}
	b.must(Measure{Gate: "slot", Gauge: "rule", Readings: readings("slot", "root=4 mm", "tip=4 mm").Readings})
	if r := b.step("measure-slot"); r.Progress != Done {
		t.Errorf("measured with another gauge it is %s: %v", r.Progress, r.Reasons)
	}
}

func TestWhatWasReadBeforeABadCheckIsInDoubt(t *testing.T) {
	b := assembled(t)
	first := b.gate("slot").Rests
	b.must(goodCheck("caliper"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Fatalf("after a good check slot is %s", g.Says().Text)
	}
	b.must(readings("slot", "tip=4.1 mm"))
	b.after(time.Hour)
	b.must(badCheck("caliper"))
	// The root stands between two good checks; the tip was read again since,
	// and its old reading does not count in place of the new one.
	g := b.gate("slot")
	if g.Standing != Measuring {
		t.Fatalf("slot is %s", g.Says().Text)
	}
	mustContain(t, g.Says().Text, "no reading at tip yet; it was read with caliper, which was found reading 0.04 mm too low")
	if len(g.Rests) != 1 || g.Rests[0] != first[0] {
		t.Errorf("rests on %v, not on the root of %v", g.Rests, first)
	}
	// A good check afterwards does not clear what was read before the bad one.
	b.must(goodCheck("caliper"))
	if g := b.gate("slot"); g.Standing != Measuring {
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.must(readings("slot", "tip=4.1 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

func TestUndoOfAGaugeCheck(t *testing.T) {
	b := assembled(t)
	b.must(badCheck("caliper"))
	bad := b.state.Size() - 1
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Fatalf("slot is %s", g.Says().Text)
	}
	b.must(goodCheck("caliper"))
	good := b.state.Size() - 1
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	b.must(Undo{Position: good})
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("read on a check that was taken back, slot is %s", g.Says().Text)
	}
	b.refused(readings("slot", "root=4 mm"), ByGauge)
	b.must(Undo{Position: bad})
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("with no check left slot is %s", g.Says().Text)
	}
}

func TestABadCheckGroundsUntilReleasedAgain(t *testing.T) {
	b := released(t)
	b.must(badCheck("caliper")) // of a gate that is not critical
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "gate slot is stale: it was read with caliper")
	b.must(goodCheck("caliper"), readings("slot", "root=4 mm", "tip=4 mm"))
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("grounded: %s", f.Why.Text)
	}
	b.after(time.Hour)
	b.must(badCheck("rule"))
	mustContain(t, b.state.Airworthiness(b.now).Why.Text, "critical gate square is stale: it was read with rule")
	mustContain(t, b.refused(GiveRelease{}, ByGate), "[check-gauge squarerule")
	b.must(goodCheck("rule"), readings("square", "left=500 mm", "right=500 mm"))
	f := b.state.Airworthiness(b.now)
	if f.Released {
		t.Fatal("it flies on a release that rested on readings in doubt")
	}
	mustContain(t, f.Why.Text, "rests on square", "it was read with rule")
	b.must(GiveRelease{})
	if f := b.state.Airworthiness(b.now); !f.Released {
		t.Errorf("grounded: %s", f.Why.Text)
	}
}

// Of two orders, by entry and by time, the one that asks for another check or
// measurement counts.
func TestBackdatedChecks(t *testing.T) {
	at := func(b *bench, r Request, before time.Duration) {
		t.Helper()
		if err := b.tryAt(r, b.now.Add(-before)); err != nil {
			t.Fatal(err)
		}
	}
	t.Run("a good one does not lift a bad one", func(t *testing.T) {
		b := assembled(t)
		b.after(3 * time.Hour)
		b.must(badCheck("caliper"))
		at(b, goodCheck("caliper"), time.Hour)
		b.refused(readings("slot", "root=4 mm", "tip=4 mm"), ByGauge)
	})
	t.Run("a bad one bars although a good one came after it", func(t *testing.T) {
		b := assembled(t)
		b.after(3 * time.Hour)
		b.must(goodCheck("caliper"))
		at(b, badCheck("caliper"), time.Hour)
		b.refused(readings("slot", "root=4 mm", "tip=4 mm"), ByGauge)
	})
	t.Run("a reading typed in later, of before a bad one, is in doubt", func(t *testing.T) {
		b := assembled(t)
		b.after(time.Hour)
		b.must(badCheck("caliper"))
		b.after(time.Hour)
		b.must(goodCheck("caliper"))
		b.after(time.Hour)
		at(b, readings("slot", "root=4 mm", "tip=4 mm"), 150*time.Minute)
		if g := b.gate("slot"); g.Standing != StaleGate {
			t.Errorf("slot is %s", g.Says().Text)
		}
	})
}

// A newer sheet that asks more of a gauge asks it of its checks too.
func TestAStricterSheetJudgesChecksAgain(t *testing.T) {
	b := assembled(t)
	b.must(CheckGauge{Gauge: "caliper", Of: q("10 mm"), Reads: q("10.03 mm")})
	strict := sheet()
	for i := range strict.Gauges {
		strict.Gauges[i].Uncertainty = q("0.02 mm")
	}
	docs := documents()
	docs.Sheets["sha256:strict"] = strict
	moved := journal.Entry{Position: b.state.Size(), At: b.now, Recorded: b.now, By: "builder", Program: "test", Facts: journal.JobMoved{Job: b.state.Jobs[0].ID, Procedure: buildSum, Sheet: "sha256:strict"}}
	s, err := Replay(append(b.state.Entries, moved), docs)
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.GaugeReport("caliper", b.now)
	if err != nil || len(r.Barred) != 1 || r.Last.Off.Good {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestACheckWithAClockThatWentBack(t *testing.T) {
	b := assembled(t)
	b.after(-time.Hour)
	b.refused(goodCheck("caliper"), ByClock)
}

func TestAuditOfGauges(t *testing.T) {
	b := assembled(t) // the slot, never checked before
	b.must(goodCheck("caliper"))
	b.after(90 * time.Minute)
	b.must(readings("slot", "root=4.1 mm", "tip=4.1 mm"))
	b.after(time.Hour)
	b.must(badCheck("caliper"))
	all, err := b.state.Audit(AuditFilter{}, b.now)
	if err != nil || len(all) != 4 {
		t.Fatalf("%d readings, %v", len(all), err)
	}
	for i, r := range all {
		switch {
		case i < 2 && (r.Check != nil || !r.Checked || r.Doubt != nil || r.Superseded == 0):
			t.Errorf("read before any check: %+v", r)
		case i >= 2 && (r.Check == nil || !r.Check.Off.Good || r.Entry.At.Sub(r.Check.At) != 90*time.Minute || r.Doubt == nil || r.Doubt.Off.Good):
			t.Errorf("read between a good check and a bad one: %+v", r)
		}
	}
	sum, err := b.state.AuditSummary(b.now)
	if err != nil || len(sum.InDoubt) != 2 || len(sum.NotGood) != 1 || len(sum.NeverChecked) != 0 {
		t.Errorf("%+v, %v", sum, err)
	}
}

// A reading typed in later, of before one in doubt, does not count in its place.
func TestAnOlderReadingTypedInLaterDoesNotReplaceADoubtedOne(t *testing.T) {
	b := assembled(t)
	b.after(time.Hour)
	b.must(goodCheck("caliper"))
	b.after(time.Hour)
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	b.after(time.Hour)
	b.must(badCheck("caliper"))
	b.after(time.Hour)
	b.must(goodCheck("caliper"))
	b.at(210*time.Minute, readings("slot", "root=4 mm", "tip=4 mm")) // before the first check
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

// A reading taken with a coarse gauge is not judged as one of a fine gauge, that
// a newer sheet has under its name or in its stead.
func TestANewerSheetMakesNoReadingBetter(t *testing.T) {
	finer, without := sheet(), sheet()
	finer.Gauges[0].Resolution = q("0.01 mm")
	without.Gauges, without.Gates[1].Gauge = without.Gauges[1:], "caliper"
	without.Gates[2].Gauge = "caliper"
	for name, newer := range map[string]*steps.Sheet{"finer": finer, "gone": without} {
		b := assembled(t)
		b.must(Measure{Gate: "slot", Gauge: "rule", Readings: readings("slot", "root=4.25 mm", "tip=4 mm").Readings})
		if g := b.gate("slot"); g.Standing != Undecided {
			t.Fatalf("slot is %s", g.Says().Text)
		}
		b.moved(build(), newer)
		if g := b.gate("slot"); g.Standing != Undecided {
			t.Errorf("%s: slot is %s", name, g.Says().Text)
		}
		b.must(readings("slot", "root=4.25 mm", "tip=4 mm"))
		if g := b.gate("slot"); g.Standing != Current {
			t.Errorf("%s: measured again slot is %s", name, g.Says().Text)
		}
	}
}

// A reading finer than its gauge shows is refused, as it was typed and with the gauge
// that was used. What is on record stays, also where a newer sheet has a coarser gauge.
func TestFinerThanTheGauge(t *testing.T) {
	b := assembled(t)
	with := func(gauge, root string) Measure {
		return Measure{Gate: "slot", Gauge: gauge, Readings: readings("slot", "root="+root, "tip=4 mm").Readings}
	}
	for reading, shown := range map[string]string{"4.6 mm": "rule", "4.7625 mm": "rule", "0.17 cm": "rule", "5/128 in": "rule", "4.123 mm": "caliper"} {
		var bad *BadRequestError
		if err := b.try(with(shown, reading)); !errors.As(err, &bad) || !strings.Contains(bad.Text, reading+" is finer than "+shown+" shows, in steps of") {
			t.Errorf("%s with %s: %v", reading, shown, err)
		}
	}
	b.must(with("rule", "4.25 mm"), with("rule", "5/32 in"), with("caliper", "4.12 mm"))
	coarser := sheet()
	coarser.Gauges[1].Resolution = q("0.05 mm")
	b.moved(build(), coarser)
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

// Points that were read with two gauges differ by the bias of each, too.
func TestAlikeReadWithTwoGauges(t *testing.T) {
	b := assembled(t)
	biased := sheet()
	biased.Gauges[1].Uncertainty = q("1 mm") // of steps of 0.01 mm
	b.moved(build(), biased)
	with := func(gauge, reading string) Measure {
		return Measure{Gate: "square", Gauge: gauge, Readings: readings("square", reading).Readings}
	}
	b.must(with("caliper", "left=500 mm"), with("rule", "right=502 mm"))
	if g := b.gate("square"); g.Standing != Undecided {
		t.Errorf("with two gauges square is %s", g.Says().Text)
	}
	mixed := b.state.Size() - 1
	b.must(with("caliper", "right=502 mm"))
	if g := b.gate("square"); g.Standing != Undecided { // which is no finer, so it joins the other
		t.Errorf("with one gauge more square is %s", g.Says().Text)
	}
	b.must(Undo{Position: mixed, Reason: "read with the wrong gauge"})
	if g := b.gate("square"); g.Standing != Current {
		t.Errorf("with one gauge square is %s", g.Says().Text)
	}
}

// A check is judged by the sheet in force then and by the present one, and must
// be good by both; a sheet without the gauge changes nothing.
func TestALaxerSheetMakesNoCheckGood(t *testing.T) {
	laxer, without := sheet(), sheet()
	laxer.Gauges[1].Uncertainty = q("1 mm")
	without.Gauges, without.Gates[0].Gauge = without.Gauges[:1], "rule"
	for name, newer := range map[string]*steps.Sheet{"laxer": laxer, "gone": without} {
		for _, good := range []bool{true, false} {
			b := assembled(t)
			b.must(checkOf("caliper", good))
			was := b.state.GaugeChecks()[0].Off
			b.moved(build(), newer)
			if is := b.state.GaugeChecks()[0].Off; is != was || is.Good != good {
				t.Errorf("%s: the check was %+v and is %+v", name, was, is)
			}
		}
	}
}

// A gauge is reported with its last check, what bars it and what is in doubt for it.
func TestGaugeReport(t *testing.T) {
	b := assembled(t)
	report := func(last, barred, doubt int) GaugeReport {
		t.Helper()
		r, err := b.state.GaugeReport("caliper", b.now)
		if err != nil || (r.Last != nil) != (last > 0) || len(r.Barred) != barred || len(r.InDoubt) != doubt || r.Gauge.Name != "caliper" {
			t.Errorf("%+v, %v", r, err)
		}
		return r
	}
	report(0, 0, 0)
	root := b.gate("slot").Rests[0]
	b.after(time.Hour)
	b.must(badCheck("caliper"))
	r := report(1, 1, 2)
	if r.Barred[0].Because != ByGauge || r.Barred[0].Remedy.Kind != ToCheckGauge || r.InDoubt[0] != root {
		t.Errorf("%+v", r)
	}
	b.must(Measure{Gate: "slot", Gauge: "rule", Readings: readings("slot", "root=4 mm", "tip=4 mm").Readings})
	b.must(Undo{Position: r.InDoubt[0]})
	report(1, 1, 1)
	b.after(time.Minute)
	b.must(goodCheck("caliper"))
	report(1, 0, 1)
	if r, err := b.state.GaugeReport("rule", b.now); err != nil || r.Last != nil || len(r.InDoubt) != 0 {
		t.Errorf("%+v, %v", r, err)
	}
	if _, err := b.state.GaugeReport("tape", b.now); err == nil {
		t.Error("a gauge that is not there was reported")
	}
	if all := b.state.GaugeChecks(); len(all) != 2 || all[0].Off.Good || !all[1].Off.Good || all[0].Position > all[1].Position {
		t.Errorf("%+v", all)
	}
}
