package quantity

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/big"
	"time"
)

// A Quantity is an exact value in a unit, as it was typed. It is immutable; its zero
// value means that there is no quantity.
type Quantity struct {
	typed    string
	value    *big.Rat // in unit
	unit     string   // the canonical symbol
	fraction bool     // typed with a fraction, and printed so
}

// most is the largest value, in any base unit.
const most = 1_000_000_000

// New makes a quantity from a value and the canonical symbol of a unit. The value
// must be one that can be typed: a finite decimal or a plain fraction within the
// bounds of the package.
//
//go:noinline
func New(value *big.Rat, symbol string) (Quantity, error) {
	return made(value, symbol, false)
}

// made is New; a fraction is written as one.
func made(value *big.Rat, symbol string, fraction bool) (Quantity, error) {
	u, ok := unitOf(symbol)
	if !ok {
		return Quantity{}, &Error{Text: symbol, Reason: UnknownUnit, Message: quote(symbol) + " is not a unit"}
	}
	q := Quantity{value: new(big.Rat).Set(value), unit: symbol, fraction: fraction}
	if err := q.bounded(u, value.RatString()+" "+symbol); err != nil {
		return Quantity{}, err
	}
	q.typed = q.String()
	again, err := Parse(q.typed, u.of)
	if err != nil || again.value.Cmp(value) != 0 {
		return Quantity{}, tooFine(value.RatString() + " " + symbol)
	}
	return q, nil
}

// bounded refuses what is too large, and what is below absolute zero.
func (q Quantity) bounded(u unit, text string) error {
	if u.of != Temperature && q.value.IsInt() && q.value.Num().IsInt64() {
		// The common case: 10,000 of the largest unit, the day, are within the bound.
		if v := q.value.Num().Int64(); v >= 0 && v < 10_000 {
			return nil
		}
	}
	base := u.toBase(new(big.Rat).Set(q.value))
	switch {
	case new(big.Rat).Abs(base).Cmp(big.NewRat(most, 1)) > 0:
		return tooLarge(text)
	case u.of == Temperature && base.Cmp(big.NewRat(-273_15, 100)) < 0:
		return &Error{Text: text, Reason: TooCold, Message: quote(text) + " is below absolute zero, -273.15 °C"}
	}
	return nil
}

// IsZero reports whether there is no quantity. 0 mm is a quantity.
//
//go:noinline
func (q Quantity) IsZero() bool { return q.value == nil }

// Dimension is what is measured; empty if there is no quantity.
// It is not inlined: its copies in all callers would take 6 KB.
//
//go:noinline
func (q Quantity) Dimension() Dimension {
	u, _ := unitOf(q.unit)
	return u.of
}

// Sign is -1, 0 or 1 if the value in its unit is less than, equal to or more than
// zero; 0 if there is no quantity.
// It is not inlined: its copies in all callers would take 1 KB.
//
//go:noinline
func (q Quantity) Sign() int {
	if q.IsZero() {
		return 0
	}
	return q.value.Sign()
}

// Unit is the canonical symbol of the unit the quantity was given in.
func (q Quantity) Unit() string { return q.unit }

// Typed is the text as it was typed.
func (q Quantity) Typed() string { return q.typed }

// Rat is the exact value in the unit, a canonical symbol.
func (q Quantity) Rat(symbol string) (*big.Rat, error) {
	if q.IsZero() {
		return nil, absent()
	}
	to, ok := unitOf(symbol)
	if !ok {
		return nil, &Error{Text: symbol, Reason: UnknownUnit, Message: quote(symbol) + " is not a unit"}
	}
	from, _ := unitOf(q.unit)
	if from.of != to.of {
		return nil, wrongDimension(q.typed, from.of, to.of)
	}
	if from.symbol == to.symbol {
		return new(big.Rat).Set(q.value), nil
	}
	return to.fromBase(from.toBase(new(big.Rat).Set(q.value))), nil
}

// Float is the value in the unit, as near as a float64 comes.
func (q Quantity) Float(symbol string) (float64, error) {
	r, err := q.Rat(symbol)
	if err != nil {
		return 0, err
	}
	f, _ := r.Float64()
	return f, nil
}

// Span is the value as a difference, in the unit: an error of 2 °C is one of 3.6 °F,
// not of 35.6 °F.
func (q Quantity) Span(symbol string) (*big.Rat, error) {
	r, err := q.Rat(symbol)
	if err != nil || q.unit == symbol {
		return r, err
	}
	zero, err := Quantity{value: new(big.Rat), unit: q.unit}.Rat(symbol)
	if err != nil {
		return nil, err
	}
	return r.Sub(r, zero), nil
}

// Duration is the value as a time.Duration, rounded to the nanosecond; 0 if there is
// no quantity. The largest quantity, 10⁹ s, is within its range.
func (q Quantity) Duration() (time.Duration, error) {
	if q.IsZero() {
		return 0, nil
	}
	if u, _ := unitOf(q.unit); u.of == Duration && q.value.IsInt() { // as nearly all are, without fractions
		return time.Duration(q.value.Num().Int64()*u.up) * time.Second, nil
	}
	r, err := q.Rat("s")
	if err != nil {
		return 0, err
	}
	f, _ := r.Mul(r, big.NewRat(int64(time.Second), 1)).Float64()
	return time.Duration(f), nil
}

// Celsius is a temperature in °C.
//
//go:noinline
func (q Quantity) Celsius() (float64, error) { return q.Float("°C") }

// Cmp is -1, 0 or 1 if q is less than, equal to or more than other. It is for
// quantities of one dimension; any other pair is ordered by dimension.
func (q Quantity) Cmp(other Quantity) int {
	theirs, err := other.Rat(q.unit)
	if err == nil {
		return q.value.Cmp(theirs)
	}
	switch a, b := q.Dimension(), other.Dimension(); {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// Equal reports whether the two are the same amount, in whatever units, or
// both absent.
func (q Quantity) Equal(other Quantity) bool {
	if q.IsZero() || other.IsZero() {
		return q.IsZero() == other.IsZero()
	}
	return q.Dimension() == other.Dimension() && q.Cmp(other) == 0
}

// stored is the JSON form.
type stored struct {
	Typed string `json:"typed"`
	Value string `json:"value"` // a whole number or a fraction in lowest terms
	Unit  string `json:"unit"`
}

// MarshalJSON writes what was typed, the exact value and its unit; null if there is
// no quantity.
func (q Quantity) MarshalJSON() ([]byte, error) {
	if q.IsZero() {
		return []byte("null"), nil
	}
	return json.Marshal(stored{q.typed, q.value.RatString(), q.unit})
}

// UnmarshalJSON reads the form of MarshalJSON. It parses what was typed again, and
// the result must match, so that nobody can change the value alone.
func (q *Quantity) UnmarshalJSON(data []byte) error {
	if string(data) == "null" {
		*q = Quantity{}
		return nil
	}
	var s stored
	if err := strictly(data, &s); err != nil {
		return fmt.Errorf("reading a quantity: %w", err)
	}
	u, ok := unitOf(s.Unit)
	if !ok {
		return tampered(s, "has an unknown unit")
	}
	read, err := Parse(s.Typed, u.of)
	if err != nil {
		return errors.Join(tampered(s, "can't be read"), err)
	}
	if read.unit != s.Unit || read.value.RatString() != s.Value {
		return tampered(s, "disagrees with its value, "+quote(s.Value+" "+s.Unit))
	}
	*q = read
	return nil
}

//go:noinline
func tampered(s stored, how string) error {
	return &Error{Text: s.Typed, Reason: Tampered, Message: "the stored quantity " + quote(s.Typed) + " " + how}
}
