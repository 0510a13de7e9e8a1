package workflow

import (
	"testing"
	"time"
)

// half is a bench with everything done but the release, whose gate that is not
// critical was reworked and measured at one of its two points.
func half(t *testing.T, root string) *bench {
	b := released(t)
	b.must(Undo{Position: b.state.Release.Position}, readings("slot", "root=5 mm"), Rework{Gate: "slot"}, readings("square", "left=500 mm", "right=500 mm"))
	b.after(time.Hour)
	b.must(readings("slot", "root="+root))
	return b
}

func TestAPointOutOfToleranceDecidesWhileAnotherIsMissing(t *testing.T) {
	b := half(t, "5 mm")
	if g := b.gate("slot"); g.Standing != Failed {
		t.Errorf("slot is %s", g.Says().Text)
	}
	mustContain(t, b.gate("slot").Says().Text, "root at 5 mm", "no reading at tip yet")
	mustContain(t, b.refused(GiveRelease{}, ByGate), "gate slot is out of tolerance")
	// No concession is granted on what is half measured.
	b.refused(Concede{Gate: "slot", Reason: "holds"}, ByGate)
	// The rest is measured before it is reworked, or it is reworked at once.
	b.must(readings("slot", "tip=4 mm"))
	b.refused(readings("slot", "tip=4 mm"), ByGate)
	b.must(Concede{Gate: "slot", Reason: "holds"}, GiveRelease{})

	b = half(t, "5 mm")
	b.must(Rework{Gate: "slot"})
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("reworked, slot is %s", g.Says().Text)
	}
}

func TestAPointThatIsUndecidedDecidesWhileAnotherIsMissing(t *testing.T) {
	b := half(t, "4.475 mm")
	if g := b.gate("slot"); g.Standing != Undecided {
		t.Errorf("slot is %s", g.Says().Text)
	}
	b.refused(GiveRelease{}, ByGate)
	b.must(readings("slot", "root=4.46 mm"))
	if g := b.gate("slot"); g.Standing != Measuring {
		t.Errorf("slot is %s", g.Says().Text)
	}
	// Nothing says that it is out, and nothing that it is in.
	b.refused(GiveRelease{}, ByGate)
	b.must(readings("slot", "tip=4 mm"), GiveRelease{})
}

// What was taken last decides, where it was not typed in last.
func TestAPointOutOfToleranceByTimeDecidesWhileAnotherIsMissing(t *testing.T) {
	b := half(t, "4.49 mm")
	b.after(time.Hour)
	b.must(readings("slot", "root=4.49 mm"))
	b.at(30*time.Minute, readings("slot", "root=4 mm"))
	if g := b.gate("slot"); g.Standing != Undecided {
		t.Errorf("slot is %s", g.Says().Text)
	}
}

// A point that was conceded, and of which another was put in doubt since, is
// out of tolerance again.
func TestAConcessionIsOnEveryPoint(t *testing.T) {
	b := assembled(t)
	b.must(Measure{Gate: "slot", Gauge: "rule", Readings: readings("slot", "tip=4 mm").Readings}, readings("slot", "root=5 mm"))
	b.must(Concede{Gate: "slot", Reason: "holds"})
	if g := b.gate("slot"); g.Standing != Conceded {
		t.Fatalf("slot is %s", g.Says().Text)
	}
	b.must(badCheck("rule"))
	if g := b.gate("slot"); g.Standing != Failed {
		t.Errorf("slot is %s", g.Says().Text)
	}
	mustContain(t, b.gate("slot").Says().Text, "no reading at tip yet; it was read with rule")
}
