package workflow

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"fettle/steps"
	"fettle/steps/balance"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
)

// Of a nose wheel and two main wheels abreast the aircraft tips tail down over both of these
// and, over the line of the nose wheel and one of them, neither tail down nor nose down.
func TestTippingOverThreeScales(t *testing.T) {
	at := func(mm string) quantity.Quantity {
		q, err := quantity.Parse(mm, quantity.Length)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	of := func(function, one, two, three string) measuring.Result {
		return measuring.Result{Function: function, Stations: []measuring.Station{{Point: "a", At: at(one)}, {Point: "b", At: at(two)}, {Point: "c", At: at(three)}}}
	}
	tricycle, conventional, across := of(measuring.Balance, "-30 mm", "70 mm", "7 cm"), of(measuring.Balance, "7 mm", "7 mm", "222 mm"), of(measuring.Lateral, "-25 mm", "0 mm", "25 mm")
	for _, c := range []struct {
		result      measuring.Result
		point, want string
	}{
		{tricycle, "a", "tips over b and c, tail down:"}, {tricycle, "b", "tips over the others:"}, {tricycle, "c", "tips over the others:"},
		{conventional, "a", "tips over the others:"}, {conventional, "c", "tips over a and b, nose down:"},
		{across, "a", "tips over c, right side down:"}, {across, "b", "tips over the others:"}, {across, "c", "tips over a, left side down:"},
	} {
		if got := lifted(c.result, c.point); !strings.Contains(got, c.want) {
			t.Errorf("%s of %s: %s", c.point, c.result.Function, got)
		}
	}
}

// FAA-H-8083-30B, Aviation Maintenance Technician Handbook, General (2023), pages 6-22 and
// 6-23: 3,034 lb at 99.6 in, as printed, want 46.68 lb at 60 in for a limit of 99 in, which is
// rounded up to 47 lb; figure 6-41 proves them. A step of the scale is a pound.
func TestBallastPublished(t *testing.T) {
	rat := func(text string) *big.Rat { r, _ := new(big.Rat).SetString(text); return r }
	p := &Poise{Low: math.Inf(-1), High: 99, now: balance.Of(balance.Load{Mass: rat("3034"), X: rat("99.6")}), weighing: balance.Weighing{Mass: rat("3034"), X: rat("99.6")},
		Now: 99.6, NowU: math.NaN(), Mass: 3034, Unknown: []string{"how good the weighing is"}, state: &State{Sheet: &steps.Sheet{}}}
	got, err := p.Ballast(60, 99, 1)
	if err != nil || got.Mass != 47 || got.Then > 99 {
		t.Errorf("%+v %v", got, err)
	}
	// In steps of 20 lb it is 60 and not 40, with which it would lie behind the limit.
	if got, err := p.Ballast(60, 99, 20); err != nil || got.Mass != 60 {
		t.Errorf("%+v %v", got, err)
	}
}
