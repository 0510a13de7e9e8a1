package measuring

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// Worked by hand: U² = bias² + r², the stated repeatability taken out of the stated
// uncertainty and that of the study put in its place.
func TestStudied(t *testing.T) {
	for _, c := range []struct{ u, r, found, whole, wantU, wantR string }{
		{"0.3 mm", "", "0.2 mm", "0.25 mm", "0.3 mm", "0.2 mm"},            // the uncertainty covers it
		{"0.3 mm", "", "0.2 mm", "0.4 mm", "0.4 mm", "0.2 mm"},             // more than was stated of all
		{"", "", "0.2 mm", "0.4 mm", "0.4 mm", "0.2 mm"},                   // nothing was stated
		{"0.5 mm", "0.3 mm", "0.2 mm", "0.25 mm", "0.5 mm", "0.3 mm"},      // better than stated: nothing changes
		{"0.5 mm", "0.3 mm", "1 mm", "1.2 mm", "1.265 mm", "1 mm"},         // √(0.4² + 1.2²)
		{"0.5 mm", "0.3 mm", "0.3 mm", "0.9 mm", "0.9849 mm", "0.3 mm"},    // √(0.4² + 0.9²), people alone
		{"0.5 mm", "0.3 mm", "0.04 in", "0.04 in", "0.0430 in", "0.04 in"}, // √(0.4² + 1.016²) = 1.0919 mm
	} {
		got := Doubt{Resolution: q(t, "0.01 mm"), Uncertainty: q(t, c.u), Repeatability: q(t, c.r)}.Studied(q(t, c.found), q(t, c.whole))
		if !got.Repeatability.Equal(q(t, c.wantR)) || math.Abs(size(t, got.Uncertainty.String())-size(t, c.wantU)) > 0.002 {
			t.Errorf("%+v: %s and %s", c, got.Uncertainty, got.Repeatability)
		}
	}
	for size, want := range map[float64]string{0: "0 mm", 0.26595: "0.266 mm", 0.1234501: "0.1235 mm", 1234.01: "1235 mm", 123456: "123500 mm", 0.25: "0.25 mm"} {
		if got := RoundedUp(size, "mm"); got.String() != want {
			t.Errorf("%g is rounded up to %s, not %s", size, got, want)
		}
	}
	for _, size := range []float64{math.Inf(1), math.NaN(), -1, 1e12} {
		if got := RoundedUp(size, "mm"); !got.IsZero() {
			t.Errorf("%g is rounded up to %s", size, got)
		}
	}
}

func size(t *testing.T, text string) float64 {
	f, err := q(t, text).Float("mm")
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// A study betters no single reading, and of a gauge with a stated repeatability no mean
// and no difference either.
func TestStudyBettersNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		size := func(name string, least int) string {
			return fmt.Sprintf("%d.%02d mm", rapid.IntRange(least, 2).Draw(rt, name), rapid.IntRange(1, 99).Draw(rt, name+" part"))
		}
		d := Doubt{Resolution: q(t, "0.01 mm"), Uncertainty: q(t, size("U", 0))}
		stated := rapid.Bool().Draw(rt, "stated")
		if stated {
			d.Repeatability = q(t, size("r", 0))
		}
		r, more := size("found", 0), size("whole", 0)
		if q(t, r).Cmp(q(t, more)) > 0 {
			r, more = more, r
		}
		after := d.Studied(q(t, r), q(t, more))
		band := func(d Doubt, slopes []*big.Rat, n int) float64 {
			return Doubts{Gauges: []Doubt{d}}.Band(slopes, n, "mm").Float()
		}
		if band(after, single(), 1) < band(d, single(), 1)-1e-9 {
			rt.Fatalf("a reading to ±%g is one to ±%g after the study", band(d, single(), 1), band(after, single(), 1))
		}
		n := rapid.IntRange(1, 5).Draw(rt, "n")
		for _, slopes := range [][]*big.Rat{single(), opposed()} {
			if stated && band(after, slopes, n) < band(d, slopes, n)-1e-9 {
				rt.Fatalf("±%g is ±%g after the study", band(d, slopes, n), band(after, slopes, n))
			}
		}
	})
}
