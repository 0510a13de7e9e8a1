package quantity

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/big"
	"strings"
)

// String is the value in its unit. A value typed as a fraction is printed as
// one (5 3/8 in), and so is one that has no exact decimal.
func (q Quantity) String() string {
	if q.IsZero() {
		return ""
	}
	return Written(q.number(), q.unit)
}

func (q Quantity) number() string {
	if q.fraction && !q.value.IsInt() || !finite(q.value) {
		return mixed(q.value)
	}
	return decimal(q.value, 15)
}

// Written is a number with its unit: without a space before the degree of an angle
// (SI Brochure, 9th edition, 5.4.3, from memory), and with a word in its plural.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func Written(number, symbol string) string {
	switch {
	case symbol == "°":
		return number + symbol
	case (symbol == "turn" || symbol == "day") && number != "1":
		return number + " " + symbol + "s"
	}
	return number + " " + symbol
}

// finite reports whether a decimal of at most 15 places is exactly the value.
func finite(r *big.Rat) bool {
	places, exact := r.FloatPrec()
	return exact && places <= 15
}

// decimal is the value with at most that many places and no trailing zeros.
func decimal(r *big.Rat, places int) string {
	s := r.FloatString(places)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// mixed is the value as a whole number and a fraction.
func mixed(r *big.Rat) string {
	sign, abs := "", new(big.Rat).Abs(r)
	if r.Sign() < 0 {
		sign = "-"
	}
	whole := new(big.Int).Quo(abs.Num(), abs.Denom())
	part := abs.Sub(abs, new(big.Rat).SetInt(whole))
	switch {
	case part.Sign() == 0:
		return sign + whole.String()
	case whole.Sign() == 0:
		return sign + part.String()
	}
	return sign + whole.String() + " " + part.String()
}

// In is the value in another unit of the dimension, as text, to at most three
// places.
func (q Quantity) In(symbol string) (string, error) {
	r, err := q.Rat(symbol)
	if err != nil {
		return "", err
	}
	return Written(decimal(r, 3), symbol), nil
}

// A Side says to which side a value is rounded.
type Side int

// The sides.
const (
	Nearest Side = iota
	Down         // as an upper limit is: what meets the rounded one meets it too
	Up           // as a lower limit is
)

// Other is the value in the other system of units, rounded to the side: metric lengths
// to 1/64 in with the rounding error, inches in millimetres, °C as °F, grams as ounces,
// newtons as ounces-force, and back. It is empty if both systems use the same unit.
func (q Quantity) Other(side Side) string {
	if q.IsZero() {
		return ""
	}
	to := other(q.unit)
	if to == "" {
		return ""
	}
	if to == "in" {
		return q.sixtyFourths(side)
	}
	r, err := q.Rat(to)
	if err != nil {
		return ""
	}
	return Written(decimal(side.round(r, 1000), 3), to)
}

// round rounds to a whole number of parts, the nearest with halves away from zero.
func (s Side) round(r *big.Rat, parts int64) *big.Rat {
	n := new(big.Rat).Mul(r, big.NewRat(parts, 1))
	half := big.NewRat(1, 2)
	switch {
	case s == Down, s == Nearest && n.Sign() >= 0:
		if s == Nearest {
			n.Add(n, half)
		}
		return new(big.Rat).SetFrac(floor(n), big.NewInt(parts))
	case s == Nearest:
		n.Sub(n, half)
	}
	return new(big.Rat).SetFrac(floor(n.Neg(n)), big.NewInt(-parts))
}

// floor is the largest whole number that is no more than r.
func floor(r *big.Rat) *big.Int { return new(big.Int).Div(r.Num(), r.Denom()) }

func other(unit string) string {
	switch unit {
	case "mm", "cm", "m", "µm":
		return "in"
	case "in", "ft", "yd", "thou":
		return "mm"
	case "g", "kg", "mg":
		return "oz"
	case "oz", "lb":
		return "g"
	case "°C", "K":
		return "°F"
	case "°F":
		return "°C"
	case "N", "gf", "kgf":
		return "ozf"
	case "ozf", "lbf":
		return "N"
	}
	return ""
}

// sixtyFourths is a length in inches, rounded to 1/64, and by how much that is more (+)
// or less (-) than the length.
func (q Quantity) sixtyFourths(side Side) string {
	inches, err := q.Rat("in")
	if err != nil {
		return ""
	}
	near := side.round(inches, 64)
	miss := new(big.Rat).Sub(near, inches)
	miss.Mul(miss, big.NewRat(254, 10))
	text := mixed(near) + " in"
	if miss.Sign() == 0 {
		return text
	}
	off := decimal(new(big.Rat).Abs(miss), 2)
	if off == "0" {
		return text + " (off by less than 0.01 mm)"
	}
	sign := "+"
	if miss.Sign() < 0 {
		sign = "-"
	}
	return fmt.Sprintf("%s (%s%s mm)", text, sign, off)
}

// strictly decodes one JSON value, and refuses unknown keys and anything after it.
func strictly(data []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("unexpected data after it")
	}
	return nil
}

// SI is the value in the coherent SI unit of its dimension, and that unit: m,
// kg, K, rad, s, V, A, C, N; a ratio is a number, of the unit 1.
func (q Quantity) SI() (float64, string, error) {
	base := coherent(q.Dimension())
	f, err := q.Float(base.symbol)
	return f * base.scale, base.si, err
}

// SIMore is how much more than the other it is, in SI units: for temperatures a
// difference in kelvin.
func (q Quantity) SIMore(other Quantity) (float64, string, error) {
	base := coherent(q.Dimension())
	mine, err := q.Rat(base.symbol)
	if err != nil {
		return 0, "", err
	}
	theirs, err := other.Rat(base.symbol)
	if err != nil {
		return 0, "", err
	}
	f, _ := mine.Sub(mine, theirs).Float64()
	return f * base.scale, base.si, nil
}

// si is the SI unit of a dimension, as a multiple of one of our units.
type si struct {
	symbol, si string
	scale      float64
}

func coherent(of Dimension) si {
	return map[Dimension]si{
		Length: {"m", "m", 1}, Mass: {"kg", "kg", 1}, Temperature: {"K", "K", 1}, Angle: {"°", "rad", math.Pi / 180},
		Duration: {"s", "s", 1}, Voltage: {"V", "V", 1}, Current: {"A", "A", 1}, Charge: {"Ah", "C", 3600}, Force: {"N", "N", 1}, Torque: {"N·m", "N·m", 1}, Ratio: {"%", "1", 0.01},
	}[of]
}
