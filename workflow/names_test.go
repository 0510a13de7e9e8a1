package workflow

import "testing"

// One pack is written in many ways, and two are never taken for one that differ in a
// letter or in a number.
func TestOneThingIsWrittenInManyWays(t *testing.T) {
	for _, c := range []struct {
		a, b string
		one  bool
	}{
		{"A1", "a 1", true}, {"A1", "A-1", true}, {"7", "07", true}, {"007", "7", true}, {"A 01", "A1", true},
		{"Pack A", "A", true}, {"pack", "Pack", true}, {"Straße", "STRASSE", true},
		{"A1", "A2", false}, {"A", "B", false}, {"10", "1", false}, {"A", "AA", false}, {"pack", "A", false}, {"100", "10", false},
	} {
		if got := sameName("battery-pack", c.a, c.b); got != c.one {
			t.Errorf("%q and %q are one: %v", c.a, c.b, got)
		}
	}
}
