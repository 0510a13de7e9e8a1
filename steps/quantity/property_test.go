package quantity

import (
	"encoding/json"
	"math/big"
	"strconv"
	"testing"
	"unicode"

	"pgregory.net/rapid"
)

// anyTyped draws a quantity as somebody might type it.
func anyTyped(t *rapid.T) string {
	units := Dimension("").symbols()
	symbol := rapid.SampledFrom(units).Draw(t, "unit")
	whole := strconv.Itoa(rapid.IntRange(0, 999).Draw(t, "whole"))
	den := strconv.Itoa(rapid.SampledFrom([]int{2, 3, 4, 8, 16, 32, 64}).Draw(t, "den"))
	switch rapid.IntRange(0, 4).Draw(t, "form") {
	case 0:
		return whole + " " + symbol
	case 1:
		return whole + "." + strconv.Itoa(rapid.IntRange(0, 99999).Draw(t, "places")) + symbol
	case 2:
		return "1/" + den + " " + symbol
	case 3:
		return whole + " 1/" + den + " " + symbol
	}
	return whole + "," + strconv.Itoa(rapid.IntRange(0, 99).Draw(t, "places")) + " " + symbol
}

func TestNoDriftThroughUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q, err := Parse(anyTyped(t), "")
		if err != nil {
			t.Fatal(err)
		}
		back := new(big.Rat).Set(q.value)
		unit := q.unit
		for range 5 {
			to := rapid.SampledFrom(q.Dimension().symbols()).Draw(t, "to")
			here := Quantity{typed: q.typed, value: back, unit: unit}
			r, err := here.Rat(to)
			if err != nil {
				t.Fatal(err)
			}
			back, unit = r, to
		}
		end, err := (Quantity{typed: q.typed, value: back, unit: unit}).Rat(q.unit)
		if err != nil || end.Cmp(q.value) != 0 {
			t.Fatalf("%s came back as %v (%v)", q, end, err)
		}
	})
}

func TestWhatIsPrintedIsReadAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q, err := Parse(anyTyped(t), "")
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse(q.String(), q.Dimension())
		if err != nil || !again.Equal(q) || again.String() != q.String() {
			t.Fatalf("%q prints %q, read as %v (%v)", q.Typed(), q, again, err)
		}
	})
}

// checkRead checks what must hold for anything that Parse reads.
func checkRead(t *testing.T, q Quantity) {
	t.Helper()
	for _, r := range q.Typed() + q.String() {
		if unicode.IsControl(r) {
			t.Fatalf("%q holds a control character", q.Typed())
		}
	}
	again, err := Parse(q.String(), q.Dimension())
	if err != nil || !again.Equal(q) {
		t.Fatalf("%q prints %q, read as %v (%v)", q.Typed(), q, again, err)
	}
	data, err := json.Marshal(q)
	if err != nil {
		t.Fatal(err)
	}
	var back Quantity
	if err := json.Unmarshal(data, &back); err != nil || back.Typed() != q.Typed() || !back.Equal(q) {
		t.Fatalf("%q came back from %s as %v (%v)", q.Typed(), data, back, err)
	}
	_ = q.Other(Nearest)
}

var seeds = []string{"4 3/4 in", "4-3/4\"", "3' 4½″", "250F", "20-30 min", "1h30m", "1,5 mm", "-1/8 in", "121 º C",
	"1 lb 4 oz", "NaN", "1,500 mm", "3/0 in", "2 to 3 turns", "1–2 mm", "12 mil", "999999/999999 in"}

func FuzzParse(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if q, err := Parse(text, ""); err == nil {
			checkRead(t, q)
		}
		for _, want := range []Dimension{Length, Duration, Force, Temperature} {
			if q, err := Parse(text, want); err == nil && q.Dimension() != want {
				t.Fatalf("%q is a %s", text, q.Dimension())
			}
		}
	})
}

func FuzzParseRange(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		from, to, err := ParseRange(text, "")
		if err != nil {
			return
		}
		checkRead(t, from)
		checkRead(t, to)
		if from.Cmp(to) > 0 {
			t.Fatalf("%q runs from %v to %v", text, from, to)
		}
	})
}

func FuzzParseLimits(f *testing.F) {
	for _, s := range append(seeds, "56 mm ± 4 mm", "107 °C +8 -7 °C", "56 +/- 4 mm", "4 3/4 in +1/8 -1/16 in", "250 °F ± 5 °C", "-3 mm to +3 mm") {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		low, high, err := ParseLimits(text, "")
		if from, to, ok := ParseRange(text, ""); ok == nil && (err != nil || !from.Equal(low) || !to.Equal(high)) {
			t.Fatalf("the range %q is %v to %v as limits, %v", text, low, high, err)
		}
		if err != nil {
			return
		}
		checkRead(t, low)
		checkRead(t, high)
		if low.Cmp(high) > 0 || low.Dimension() != high.Dimension() {
			t.Fatalf("%q runs from %v to %v", text, low, high)
		}
	})
}

func FuzzQuantityJSON(f *testing.F) {
	f.Add([]byte(`{"typed":"4 in","value":"4","unit":"in"}`))
	f.Add([]byte(`{"typed":"1h30m","value":"90","unit":"min"}`))
	f.Add([]byte(`null`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var q Quantity
		if json.Unmarshal(data, &q) == nil && !q.IsZero() {
			checkRead(t, q)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	for b.Loop() {
		if _, err := Parse("4 3/4 in", Length); err != nil {
			b.Fatal(err)
		}
	}
}
