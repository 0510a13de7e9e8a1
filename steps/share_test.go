package steps

import (
	"testing"

	"fettle/steps/quantity"
)

func TestDriveFigures(t *testing.T) {
	q := func(text string) quantity.Quantity {
		t.Helper()
		value, err := quantity.Parse(text, "")
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
	figure := func(d Drive, name string) DriveFigure {
		t.Helper()
		f, ok := find(d.Figures(), func(f DriveFigure) bool { return f.Name == name })
		if !ok {
			t.Fatalf("no figure %s", name)
		}
		return f
	}
	// FAA-H-8083-30B (2023), chapter 12, page 12-89: 12 cells of 2.2 V in series.
	if got := figure(Drive{Cells: 12, Nominal: q("2.2 V")}, "pack"); got.Value.String() != "26.4 V" || got.By != "12 × 2.2 V" {
		t.Errorf("the pack: %v", got)
	}
	if got := figure(Drive{Nominal: q("2.2 V")}, "pack"); !got.Value.IsZero() {
		t.Errorf("a pack without cells: %v", got)
	}
	for _, c := range []struct {
		rate           float64
		capacity, want string
	}{
		// The same page: 1 Ah is 1 A for an hour, 2 A for half of one, 3 A for a third.
		{1, "1 Ah", "1 A"}, {2, "1 Ah", "2 A"}, {3, "1 Ah", "3 A"},
		// Computed, not published: a label's C is a vendor's claim, for which there is no standard test.
		{25, "2200 mAh", "55 A"}, {0.2, "2200 mAh", "0.44 A"}, {22.2, "1.3 Ah", "28.86 A"},
	} {
		if got, err := Rated(c.rate, q(c.capacity)); err != nil || got.String() != c.want {
			t.Errorf("%g C of %s: %s, %v", c.rate, c.capacity, got, err)
		}
	}
	// Computed, not published.
	for _, c := range []struct{ part, of, limit, says string }{
		{"80 %", "30 A", "24 A", "80 % of supply 30 A = 24 A"},
		{"100 %", "18 A", "18 A", "supply 18 A"},
		{"33 %", "1500 mA", "495 mA", "33 % of supply 1500 mA = 495 mA"},
	} {
		s, err := ShareOf(q(c.part), figure(Drive{Limits: Currents{Supply: q(c.of)}}, "supply"))
		if err != nil || s.Limit.String() != c.limit || s.String() != c.says {
			t.Errorf("%s of %s: %s, %s, %v", c.part, c.of, s.Limit, s, err)
		}
	}
	if _, err := ShareOf(q("80 %"), DriveFigure{Name: "supply"}); err == nil {
		t.Error("a share of what is not known")
	}
}
