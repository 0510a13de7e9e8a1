package measuring_test

import (
	"testing"

	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

func q(t *testing.T, text string) quantity.Quantity {
	t.Helper()
	for _, d := range []quantity.Dimension{quantity.Length, quantity.Mass, quantity.Angle} {
		if q, err := quantity.Parse(text, d); err == nil {
			return q
		}
	}
	t.Fatalf("%s is not a quantity", text)
	return quantity.Quantity{}
}

// What is worked out with a pencil: moments over masses, as on any balance stand.
func TestFormula(t *testing.T) {
	for want, stations := range map[string][]measuring.Station{
		"(120 mm × rear − 60 mm × front) ÷ (front + rear)":                                      {{Point: "front", At: q(t, "-60 mm")}, {Point: "rear", At: q(t, "120 mm")}},
		"(240 mm × rear) ÷ (front + rear)":                                                      {{Point: "front", At: q(t, "0 mm")}, {Point: "rear", At: q(t, "240 mm")}},
		"(300 mm × (right − 20 g) − 300 mm × (left − 18 g)) ÷ ((left − 18 g) + (right − 20 g))": {{Point: "left", At: q(t, "-300 mm"), Tare: q(t, "18 g")}, {Point: "right", At: q(t, "300 mm"), Tare: q(t, "20 g")}},
		"": nil,
	} {
		if got := (measuring.Result{Stations: stations}).Formula(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// The tangents are those of a table: tan 0.4° = 0.00698, tan 2.2° = 0.03842, so that over
// 90 mm the limits are 0.63 mm and 3.46 mm. A gauge of which more is in doubt passes less.
func TestRises(t *testing.T) {
	rule := measuring.Rule{Limits: measuring.Limits{Low: q(t, "0.4°"), High: q(t, "2.2°")}, Plain: true,
		Result: measuring.Result{Function: "angle", Of: []string{"front", "rear"}, Run: q(t, "90 mm"), Reads: q(t, "0.5 mm")}}
	gauge := measuring.Doubt{Resolution: q(t, "0.5 mm"), Uncertainty: q(t, "0.3 mm")}
	least, most, ok := rule.Rises(gauge)
	if !ok || least.String() != "1 mm" || most.String() != "3 mm" {
		t.Errorf("%v to %v, want 1 mm to 3 mm", least, most)
	}
	rule.Plain = false
	least, most, ok = rule.Rises(gauge)
	if !ok || least.Cmp(q(t, "1 mm")) <= 0 && most.Cmp(q(t, "3 mm")) >= 0 {
		t.Errorf("guarded %v to %v, and the gauge is in doubt", least, most)
	}
	gauge.Uncertainty = q(t, "5 mm")
	if least, most, ok := rule.Rises(gauge); ok {
		t.Errorf("%v to %v passes with a gauge that tells nothing", least, most)
	}
	rule.Result.Run = quantity.Quantity{}
	if _, _, ok := rule.Rises(gauge); ok {
		t.Error("no angle has a rise")
	}
}
