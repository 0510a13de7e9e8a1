package workflow

import (
	"math"
	"testing"
	"time"

	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow/journal"
)

// A study gives a gauge a repeatability for readings of its gate that come after it, by
// entry and by time; to others it only adds doubt. The last study before a reading counts
// of its gate, and of what comes after a reading all do. By hand: a gauge of U = 0.5 mm
// alone leaves a difference open to 0.5·√2 = 0.707 mm, with a repeatability of 0.1 mm to
// 0.1·√2 = 0.141 mm, of 0.6 mm to 0.849 mm.
func TestWhichStudyCounts(t *testing.T) {
	mm := func(text string) quantity.Quantity {
		q, err := quantity.Parse(text, quantity.Length)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	day := func(n int) time.Time { return time.Date(2026, 3, n, 12, 0, 0, 0, time.UTC) }
	study := func(position int64, at time.Time, gate, found string) GaugeStudy {
		return GaugeStudy{journal.GaugeStudied{Gauge: "rule", Gate: gate, Repeatability: mm(found), Whole: mm(found)}, position, at, ""}
	}
	fine, coarse, elsewhere, other := study(10, day(10), "square", "0.1 mm"), study(20, day(20), "square", "0.6 mm"), study(10, day(10), "slot", "0.1 mm"), study(10, day(10), "square", "0.6 mm")
	other.Gauge = "caliper"
	for _, c := range []struct {
		what     string
		position int64
		at       time.Time
		studies  []GaugeStudy
		want     float64
	}{
		{"no study", 15, day(15), nil, 0.707},
		{"after it", 15, day(15), []GaugeStudy{fine}, 0.141},
		{"before it", 5, day(5), []GaugeStudy{fine}, 0.707},
		{"entered after it, read before", 15, day(5), []GaugeStudy{fine}, 0.707},
		{"entered before it, read after", 5, day(15), []GaugeStudy{fine}, 0.707},
		{"of another gate", 15, day(15), []GaugeStudy{elsewhere}, 0.707},
		{"of another gauge", 15, day(15), []GaugeStudy{other}, 0.707},
		{"before a coarse one", 15, day(15), []GaugeStudy{coarse}, 0.849},
		{"between a fine and a coarse one", 15, day(15), []GaugeStudy{fine, coarse}, 0.849},
		{"after both", 25, day(25), []GaugeStudy{fine, coarse}, 0.849},
		{"after both, the fine one last", 25, day(25), []GaugeStudy{study(5, day(5), "square", "0.6 mm"), fine}, 0.141},
		{"after both, the fine one entered last and made first", 25, day(25), []GaugeStudy{coarse, study(21, day(2), "square", "0.1 mm")}, 0.849},
	} {
		s := &State{studies: c.studies}
		r := reading{position: c.position, at: c.at, ReadingTaken: journal.ReadingTaken{Gate: "square", Gauge: "rule"}}
		known := measuring.Doubts{Gauges: s.studied(r, []measuring.Doubt{{Resolution: mm("0.01 mm"), Uncertainty: mm("0.5 mm")}})}
		rule := measuring.Rule{Limits: measuring.Limits{Alike: mm("3 mm")}}
		if got := rule.Bands(known).Pair.Float(); math.Abs(got-c.want) > 0.001 {
			t.Errorf("%s: ±%.3f mm, not %.3f", c.what, got, c.want)
		}
	}
}

// What readings say is taken over by a longer journal, but not where a study of their gauge came to it, which
// puts in doubt what was in tolerance before; nor is when the gate was read last.
func TestAStudyDoubtsWhatTheReadingsSaid(t *testing.T) {
	b := assembled(t)
	measure := func(readings ...Reading) {
		t.Helper()
		b.must(Measure{Gate: "slot", Readings: readings})
	}
	measure(Reading{"root", q("4.40 mm")}, Reading{"tip", q("4 mm")})
	standing := func(s *State) GateStanding {
		t.Helper()
		r, err := s.GateReport("slot", b.now)
		if err != nil {
			t.Fatal(err)
		}
		return r.Standing
	}
	before := b.state
	if is := standing(before); is != Current {
		t.Fatalf("it is %s before the study", is)
	}
	last := before.Entries[before.Size()-1]
	entry := journal.Entry{Position: before.Size(), At: last.At, Recorded: last.Recorded, By: "builder", Program: "test"}
	entry.Facts = journal.BenchRead{Temperature: q("20 °C")}
	plain, err := before.Longer([]journal.Entry{entry}, papers())
	if err != nil {
		t.Fatal(err)
	}
	if len(plain.memo.judged.of) == 0 || standing(plain) != Current {
		t.Errorf("of %d gates it is taken over what their readings say; it is %s", len(plain.memo.judged.of), standing(plain))
	}
	entry.Facts = journal.GaugeStudied{Gauge: "caliper", Gate: "square", Repeatability: q("0.3 mm"), Whole: q("0.3 mm")}
	studied, err := before.Longer([]journal.Entry{entry}, papers())
	if err != nil {
		t.Fatal(err)
	}
	if is, want := standing(studied), standing(replay(t, studied.Entries)); is != Undecided || want != Undecided {
		t.Errorf("after the study it is %s, of all entries at once %s", is, want)
	}
	counting := before.gates["slot"].readings
	for _, at := range []time.Time{b.now, b.now.Add(time.Hour)} {
		if r := before.judged(GateReport{Gate: before.Sheet.Gates[0], Last: at}, counting); !r.Last.Equal(at) {
			t.Errorf("it was read last at %s, not at %s", r.Last, at)
		}
	}
}
