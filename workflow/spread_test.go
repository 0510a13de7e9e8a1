package workflow

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"
	"time"

	"fettle/steps"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/steps/spread"
)

// Values of airframes under two sheets, in two units: the newest limits count, values come
// in the order of time, and those that were judged by other limits are marked. The ten
// values and what they come to are those of NIST/SEMATECH e-Handbook 6.3.2.2, in
// millimetres (second-hand, in four copies).
func TestGateSpread(t *testing.T) {
	mm := func(text string) quantity.Quantity {
		q, err := quantity.Parse(text, quantity.Length)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	gate := func(low, high string) steps.Gate {
		return steps.Gate{Name: "gap", Points: []string{"left", "right"}, Repeat: 1, Gauge: "rule", Limits: measuring.Limits{Low: mm(low), High: mm(high)}}
	}
	old := &steps.Sheet{Name: "finch", Revision: 1, Gates: []steps.Gate{gate("1.5 in", "2.5 in")}}
	now := &steps.Sheet{Name: "finch", Revision: 2, Gates: []steps.Gate{gate("45 mm", "56 mm")}}
	day := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	var drawn []Drawn
	for i, text := range []string{"49.6", "47.6", "49.9", "51.3", "47.8", "51.2", "52.6", "52.4", "53.6", "52.1"} {
		value, _ := new(big.Rat).SetString(text)
		sheet, unit := now, "mm"
		if i < 3 {
			sheet, unit = old, "in"
			value.Quo(value, big.NewRat(254, 10))
		}
		d := Drawn{Mark: fmt.Sprintf("FN-%02d", i), Sheet: sheet, Gate: sheet.Gates[0], Has: true}
		d.Values = []DrawnValue{{Mark: d.Mark, Of: []string{"left"}, At: day.AddDate(0, 0, i), Value: value, Unit: unit, Limits: d.Gate.Limits}}
		drawn = slices.Insert(drawn, 0, d) // not in the order of time
	}
	drawn = append(drawn, Drawn{Mark: "FN-90", Sheet: now, Gate: now.Gates[0], Has: true})
	sp, err := NewSpread(drawn, "")
	if err != nil || len(sp.Series) != 2 || sp.Revision != 2 || !slices.Equal(sp.Without, []string{"FN-90"}) {
		t.Fatalf("%+v, %v", sp, err)
	}
	left, right := sp.Series[0], sp.Series[1]
	if left.Name() != "left" || right.Name() != "right" || right.Count != 0 || left.Mean.Cmp(big.NewRat(5081, 100)) != 0 {
		t.Errorf("%+v", left)
	}
	if high, _ := left.Chart.Line(3).Float64(); !left.Charted || math.Abs(high-55.8041) > 0.0001 || left.HasAbility {
		t.Errorf("%+v", left.Chart)
	}
	for i, v := range left.Values {
		if v.Mark != fmt.Sprintf("FN-%02d", i) || v.Other != (i < 3) {
			t.Errorf("value %d: %+v", i, v)
		}
	}
	// One pair: the first less the second, with limits either way.
	paired := steps.Gate{Name: "gap", Points: []string{"left", "right"}, Repeat: 1, Limits: measuring.Limits{Alike: mm("4 mm")}}
	sheet := &steps.Sheet{Name: "finch", Revision: 3, Gates: []steps.Gate{paired}}
	sp, err = NewSpread([]Drawn{{Mark: "FN-01", Sheet: sheet, Gate: paired, Has: true}}, "left/right")
	if want := (spread.Limits{Low: big.NewRat(-4, 1), High: big.NewRat(4, 1)}); err != nil || len(sp.Series) != 1 || sp.Series[0].Limits.Low.Cmp(want.Low) != 0 || sp.Series[0].Limits.High.Cmp(want.High) != 0 {
		t.Errorf("%+v, %v", sp, err)
	}
	if _, err := NewSpread(drawn, "middle"); err == nil {
		t.Error("there is a point that no gate has")
	}
}

// A temperature has another zero in another unit, and a difference has none.
func TestInUnit(t *testing.T) {
	for _, c := range []struct {
		value, want int64
		difference  bool
	}{{20, 68, false}, {20, 36, true}, {-40, -40, false}} {
		got, err := inUnit(big.NewRat(c.value, 1), "°C", "°F", c.difference)
		if err != nil || got.Cmp(big.NewRat(c.want, 1)) != 0 {
			t.Errorf("%+v: %v, %v", c, got, err)
		}
	}
}
