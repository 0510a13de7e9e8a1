package measuring

import (
	"math"
	"testing"

	"fettle/steps/quantity"
)

// Every gauge that readings were taken with counts, each once; the widest decides.
func TestGaugesAreAdded(t *testing.T) {
	fine, coarse := Doubt{Resolution: q(t, "0.01 mm"), Uncertainty: q(t, "0.03 mm")}, Doubt{Resolution: q(t, "0.5 mm"), Uncertainty: q(t, "0.5 mm")}
	var d Doubts
	for _, g := range []Doubt{fine, coarse, fine, coarse} {
		d.Add(g)
	}
	if len(d.Gauges) != 2 {
		t.Errorf("%d gauges, want 2", len(d.Gauges))
	}
	if got := d.Band(slopes(1), 1, "mm").Float(); math.Abs(got-0.5) > 1e-9 {
		t.Errorf("the guard band is %v, want that of the coarse one, 0.5", got)
	}
}

// A gauge that is said to repeat worse than it is accurate has no bias left: only
// its repeatability counts.
func TestNoBiasBelowNothing(t *testing.T) {
	d := Doubts{Gauges: []Doubt{{q(t, "0.01 mm"), q(t, "0.3 mm"), q(t, "0.5 mm")}}}
	if got := d.Band(slopes(1), 1, "mm").Float(); math.Abs(got-0.5) > 1e-9 {
		t.Errorf("%v, want 0.5", got)
	}
}

// An angle over no length at all is undecided, and no fault of the program.
func TestAnAngleOverNothing(t *testing.T) {
	rule := Rule{Limits: Limits{Low: q(t, "1°"), High: q(t, "2°")}, Result: Result{Function: "angle", Of: []string{"a"}, Run: q(t, "0 mm"), Reads: q(t, "0.5 mm")}}
	found, err := rule.Judge([]Point{{Name: "a", Readings: []quantity.Quantity{q(t, "10 mm")}}}, Doubts{Gauges: []Doubt{{Resolution: q(t, "0.5 mm")}}})
	if err != nil || found.Verdict != Undecided {
		t.Errorf("%+v, %v", found, err)
	}
}

// A limit in another unit than its fellow is a point on the scale and not a span:
// 107 °C is 224.6 °F, and not 192.6 °F.
func TestALimitInAnotherUnitIsAPoint(t *testing.T) {
	rule := Rule{Limits: Limits{Low: q(t, "200 °F"), High: q(t, "107 °C")}}
	for reading, want := range map[string]Verdict{"210 °F": In, "222 °F": In, "228 °F": Out, "192 °F": Out} {
		found, err := rule.Judge([]Point{{Readings: []quantity.Quantity{q(t, reading)}}}, Doubts{Gauges: []Doubt{{Resolution: q(t, "1 °F")}}})
		if err != nil || found.Verdict != want {
			t.Errorf("%s: %q, %v; want %q", reading, found.Verdict, err, want)
		}
	}
}

// Whether a gauge can decide at all is known beforehand.
func TestDecidable(t *testing.T) {
	rule := Doubts{Gauges: []Doubt{{Resolution: q(t, "0.5 mm"), Uncertainty: q(t, "0.5 mm")}}}
	difference := Result{Function: "difference", Of: []string{"a", "b"}, Reads: q(t, "0.5 mm")}
	for _, c := range []struct {
		name             string
		low, high, alike string
		result           Result
		within, asAlike  bool
	}{
		{"wide limits", "10 mm", "14 mm", "", Result{}, true, true},
		{"limits as wide as the guard bands", "10 mm", "11 mm", "", Result{}, false, true},
		{"narrower limits", "10 mm", "10.8 mm", "", Result{}, false, true},
		{"one limit", "", "10 mm", "", Result{}, true, true},
		{"one limit, nearer to nothing than the gauge is sure", "", "0.4 mm", "", Result{}, false, true},
		{"one limit, just as far from nothing", "", "0.5 mm", "", Result{}, true, true},
		{"one limit of a difference, which may be less than nothing", "", "0.4 mm", "", difference, true, true},
		{"alike within what two readings differ by", "", "", "0.7 mm", Result{}, true, false}, // √2 · 0.5 mm
		{"alike", "", "", "0.8 mm", Result{}, true, true},
		{"wide limits, narrow likeness", "10 mm", "14 mm", "0.3 mm", Result{}, true, false},
		{"narrow limits, wide likeness", "10 mm", "10.8 mm", "2 mm", Result{}, false, true},
		{"a difference", "1 mm", "3 mm", "", difference, true, true},
		{"a difference within what two readings differ by", "1 mm", "2.4 mm", "", difference, false, true},
	} {
		limits := Limits{Low: q(t, c.low), High: q(t, c.high), Alike: q(t, c.alike)}
		within, alike := Rule{Limits: limits, Result: c.result}.Decidable(rule)
		if within != c.within || alike != c.asAlike {
			t.Errorf("%s: within %v, alike %v; want %v, %v", c.name, within, alike, c.within, c.asAlike)
		}
	}
}
