package measuring

import (
	"math"
	"math/big"

	"fettle/steps/quantity"
)

// Studied is what is known of the gauge after a study found this repeatability and, with
// what people read differently, so much in all; both expanded. What was known before is
// never bettered by it: the larger repeatability counts, and where the study finds more
// than the stated one, the rest of the uncertainty stands beside it as it was.
func (d Doubt) Studied(repeatability, whole quantity.Quantity) Doubt {
	unit := whole.Unit()
	u, ok1 := sizeSquared(d.Uncertainty, unit)
	stated, ok2 := sizeSquared(d.Repeatability, unit)
	found, ok3 := sizeSquared(repeatability, unit)
	all, ok4 := sizeSquared(whole, unit)
	if !ok1 || !ok2 || !ok3 || !ok4 {
		return d // of another dimension: no reading was judged by both
	}
	studied := d
	if d.Repeatability.IsZero() || found.Cmp(stated) > 0 {
		studied.Repeatability = repeatability
	}
	bias := new(big.Rat)
	if !d.Repeatability.IsZero() && u.Cmp(stated) > 0 {
		bias.Sub(u, stated)
	}
	if all.Add(all, bias); all.Cmp(u) > 0 {
		studied.Uncertainty = whole
		if bias.Sign() > 0 {
			f, _ := all.Float64()
			studied.Uncertainty = RoundedUp(math.Sqrt(f), unit)
		}
	}
	return studied
}

// RoundedUp is a size, rounded up to four digits, so that an uncertainty is never
// understated; absent where there is none.
func RoundedUp(size float64, unit string) quantity.Quantity {
	if math.IsNaN(size) || size < 0 || size > 1e9 {
		return quantity.Quantity{}
	}
	places := 0
	if size > 0 {
		places = min(12, 3-int(math.Floor(math.Log10(size))))
	}
	// The last digits of the float are no reason to go one up.
	scaled := new(big.Rat).SetFloat64(size * (1 - 1e-12))
	ten := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(places, -places))), nil))
	if places < 0 {
		ten.Inv(ten)
	}
	scaled.Mul(scaled, ten)
	up := new(big.Rat).SetInt(new(big.Int).Neg(floor(scaled.Neg(scaled))))
	q, err := quantity.New(up.Quo(up, ten), unit)
	if err != nil {
		return quantity.Quantity{}
	}
	return q
}
