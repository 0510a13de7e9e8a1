package workflow

import (
	"testing"
	"time"
)

// at has a request entered as of a while ago.
func (b *bench) at(before time.Duration, rs ...Request) {
	b.t.Helper()
	for _, r := range rs {
		if err := b.tryAt(r, b.now.Add(-before)); err != nil {
			b.t.Fatalf("%+v: %v", r, err)
		}
	}
}

func TestAColderBenchTypedInLaterGrounds(t *testing.T) {
	b := released(t)
	b.at(time.Hour, ReadBench{Temperature: q("0 °C")})
	mustContain(t, b.state.Flight(b.now).Why, "joint roots carries load and is not cured")
	b.after(96 * time.Hour)
	if f := b.state.Flight(b.now); !f.Released {
		t.Errorf("once it is cured it is grounded: %s", f.Why)
	}
}

func TestFlightsCountAfterAReadingTypedInLater(t *testing.T) {
	b := assembled(t)
	b.after(time.Hour)
	b.must(LogFlight{Landing: Soft}, LogFlight{Landing: Soft})
	b.at(30*time.Minute, readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != StaleGate {
		t.Errorf("read before two flights slot is %s", g.Says())
	}
	b.must(readings("slot", "root=4 mm", "tip=4 mm"))
	if g := b.gate("slot"); g.Standing != Current {
		t.Errorf("slot is %s", g.Says())
	}
}
