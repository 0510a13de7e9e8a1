package book

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// Whatever the limits, the gauge and the readings: everything drawn is inside
// the drawing, what is between the limits is drawn between them, and what is
// outside the drawing says so.
func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.OneOf(rapid.Float64Range(-50, 50), rapid.Float64Range(-9e8, 9e8), rapid.SampledFrom([]float64{0, 1, 1, 5e8}))
		var l measuring.Limits
		sides := rapid.SampledFrom([]string{"low", "high", "both"}).Draw(t, "sides")
		a, b := value.Draw(t, "a"), value.Draw(t, "b")
		if sides != "high" {
			l.Low = length(t, min(a, b))
		}
		if sides != "low" {
			l.High = length(t, max(a, b))
		}
		guard := rapid.OneOf(rapid.Float64Range(0, 100), rapid.Just(math.Inf(1))).Draw(t, "guard")
		values := rapid.SliceOfN(value, 1, 4).Draw(t, "values")
		s := newScale(l, guard, values)
		row := s.bar(values)
		ends := map[string]float64{}
		for i, e := range row.Edges {
			at := percentOf(t, e.X)
			if i == 0 && s.hasLow {
				ends["low"] = at
			} else {
				ends["high"] = at
			}
		}
		for _, span := range append(row.Guards, row.In) {
			if span.W == "" {
				continue
			}
			if from, wide := percentOf(t, span.X), percentOf(t, span.W); from+wide > 100.02 {
				t.Fatalf("a stretch of %v from %v", wide, from)
			}
		}
		for i, m := range row.Marks {
			at, v := percentOf(t, m.X), values[i]
			if low, ok := ends["low"]; ok && (v < s.low && at > low+0.01 || v > s.low && at < low-0.01) {
				t.Fatalf("%v is drawn at %v, the lower limit %v at %v", v, at, s.low, low)
			}
			if high, ok := ends["high"]; ok && (v > s.high && at < high-0.01 || v < s.high && at > high+0.01) {
				t.Fatalf("%v is drawn at %v, the upper limit %v at %v", v, at, s.high, high)
			}
			if (m.Beyond != "") != (v < s.from || v > s.to) {
				t.Fatalf("%v on a scale from %v to %v is marked %q", v, s.from, s.to, m.Beyond)
			}
		}
	})
}

func length(t *rapid.T, f float64) quantity.Quantity {
	q, err := quantity.Parse(strconv.FormatFloat(f, 'f', 3, 64)+" mm", quantity.Length)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func percentOf(t *rapid.T, text string) float64 {
	f, err := strconv.ParseFloat(strings.TrimSuffix(text, "%"), 64)
	if err != nil || math.IsNaN(f) || f < 0 || f > 100 {
		t.Fatalf("%s is outside the drawing: %v", text, err)
	}
	return f
}
