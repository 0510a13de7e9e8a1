package quantity

import (
	"encoding/json"
	"errors"
	"math/big"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text   string
		want   Dimension
		value  string
		unit   string
		prints string
	}{
		{"4 3/4 in", Length, "19/4", "in", "4 3/4 in"},
		{`4-3/4"`, Length, "19/4", "in", "4 3/4 in"},
		{"4.75in", Length, "19/4", "in", "4.75 in"},
		{`1/8"`, Length, "1/8", "in", "1/8 in"},
		{"120.65 mm", Length, "2413/20", "mm", "120.65 mm"},
		{"12cm", Length, "12", "cm", "12 cm"},
		{"250F", Temperature, "250", "°F", "250 °F"},
		{"121 °C", Temperature, "121", "°C", "121 °C"},
		{"121 º C", Temperature, "121", "°C", "121 °C"},
		{"121 deg C", Temperature, "121", "°C", "121 °C"},
		{"121℃", Temperature, "121", "°C", "121 °C"},
		{"294.15 K", Temperature, "5883/20", "K", "294.15 K"},
		{"-5 C", Temperature, "-5", "°C", "-5 °C"},
		{"\u22125 °C", Temperature, "-5", "°C", "-5 °C"},
		{"1h30m", Duration, "90", "min", "90 min"},
		{"1 h 30 min 5 s", Duration, "5405", "s", "5405 s"},
		{"2 days", Duration, "2", "day", "2 days"},
		{"30m", Duration, "30", "min", "30 min"},
		{"30m", Length, "30", "m", "30 m"},
		{"1,5 mm", Length, "3/2", "mm", "1.5 mm"},
		{"0,125 in", Length, "1/8", "in", "0.125 in"},
		{"4¾ in", Length, "19/4", "in", "4 3/4 in"},
		{"4 ¾″", Length, "19/4", "in", "4 3/4 in"},
		{"½ in", Length, "1/2", "in", "1/2 in"},
		{"3⁄16 in", Length, "3/16", "in", "3/16 in"},
		{"3′ 4½″", Length, "81/2", "in", "40 1/2 in"},
		{"3'-4 1/2\"", Length, "81/2", "in", "40 1/2 in"},
		{"3 ft 4 1/2 in", Length, "81/2", "in", "40 1/2 in"},
		{"5''", Length, "5", "in", "5 in"},
		{"5 in.", Length, "5", "in", "5 in"},
		{"12\u00a0mm", Length, "12", "mm", "12 mm"},
		{"2.5 turns", Angle, "5/2", "turn", "2.5 turns"},
		{"1 turn", Angle, "1", "turn", "1 turn"},
		{"90°", Angle, "90", "°", "90°"},
		{"1.5 deg", Angle, "3/2", "°", "1.5°"},
		{"42 g", Mass, "42", "g", "42 g"},
		{"1 lb 4 oz", Mass, "20", "oz", "20 oz"},
		{"3700 mV", Voltage, "3700", "mV", "3700 mV"},
		{"3.7V", Voltage, "37/10", "V", "3.7 V"},
		{"1500 mA", Current, "1500", "mA", "1500 mA"},
		{"2200 mAh", Charge, "2200", "mAh", "2200 mAh"},
		{"16 ozf", Force, "16", "ozf", "16 ozf"},
		{"450 gf", Force, "450", "gf", "450 gf"},
		{"60%", Ratio, "60", "%", "60 %"},
		{".5 mm", Length, "1/2", "mm", "0.5 mm"},
		{"+3 mm", Length, "3", "mm", "3 mm"},
		{"-1/8 in", Length, "-1/8", "in", "-1/8 in"},
		{"010/016 in", Length, "5/8", "in", "5/8 in"},
		{"012 mm", Length, "12", "mm", "12 mm"},
		{"09/08 in", Length, "9/8", "in", "1 1/8 in"},
		{"1/3 in", Length, "1/3", "in", "1/3 in"},
		{"  12 mm  ", "", "12", "mm", "12 mm"},
		{"3'-4\"", Length, "40", "in", "40 in"},
		{"3'-½\"", Length, "73/2", "in", "36 1/2 in"},
		{"3'-0 1/2\"", Length, "73/2", "in", "36 1/2 in"},
		{"3 ft-11 15/16 in", Length, "767/16", "in", "47 15/16 in"},
		{"2 yd 1 ft 3 in", Length, "87", "in", "87 in"},
		{"-3 ft 6 in", Length, "-42", "in", "-42 in"},
		{"2 lb 0.5 oz", Mass, "65/2", "oz", "32.5 oz"},
		{"1 day 2 h", Duration, "26", "h", "26 h"},
		{"2 h 30 m", "", "150", "min", "150 min"},
		{"121 degrees Celsius", Temperature, "121", "°C", "121 °C"},
		{"250 ° f", Temperature, "250", "°F", "250 °F"},
		{"250 deg. F.", Temperature, "250", "°F", "250 °F"},
		{"121 C", "", "121", "°C", "121 °C"},
		{"0.123456789012345 mm", Length, "24691357802469/200000000000000", "mm", "0.123456789012345 mm"},
		{"999999/999998 in", Length, "999999/999998", "in", "1 1/999998 in"},
	} {
		q, err := Parse(c.text, c.want)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if q.value.RatString() != c.value || q.unit != c.unit || q.String() != c.prints {
			t.Errorf("%q is %s %s and prints %q; want %s %s, %q", c.text, q.value.RatString(), q.unit, q, c.value, c.unit, c.prints)
		}
		if q.Typed() != strings.TrimSpace(c.text) {
			t.Errorf("%q was kept as %q", c.text, q.Typed())
		}
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		text   string
		want   Dimension
		reason Reason
		says   string
	}{
		{"", Length, Empty, "12 mm"},
		{"   ", Length, Empty, ""},
		{"12", Length, NoUnit, "12 mm or 12 in"},
		{"3/4", Length, NoUnit, "3/4 mm"},
		{"0.5", Voltage, NoUnit, "0.5 V"},
		{"250", Temperature, NoUnit, "250 °C or 250 °F"},
		{"250°", Temperature, NoUnit, "°C or °F"},
		{"12 g", Length, WrongDimension, `"12 g" is a mass, not a length`},
		{"12 mm", Temperature, WrongDimension, "°C or °F"},
		{"12 mm", Angle, WrongDimension, "not an angle"},
		{"12 oz", Force, WrongDimension, "ozf"},
		{"12 13 mm", Length, TwoNumbers, ""},
		{"12 mm 13 mm", Length, TwoNumbers, ""},
		{"12 mm 13", Length, TwoNumbers, ""},
		{"4-5 mm", Length, TwoNumbers, ""},
		{"4 3/2 in", Length, TwoNumbers, "below 1"},
		{"1h 90m", Duration, TwoNumbers, "less than one h"},
		{"1.5 ft 2 in", Length, TwoNumbers, ""},
		{"NaN", Length, NotANumber, ""},
		{"nan mm", Length, NotANumber, ""},
		{"Inf mm", Length, NotANumber, ""},
		{"infinity", Length, NotANumber, ""},
		{"1e3 mm", Length, UnknownUnit, ""},
		{"0x10 mm", Length, UnknownUnit, ""},
		{"1_000 mm", Length, NotANumber, ""},
		{"1.2.3 mm", Length, NotANumber, ""},
		{"--3 mm", Length, NotANumber, ""},
		{"1/2/3 mm", Length, NotANumber, ""},
		{"3/0 in", Length, ZeroBelow, ""},
		{"3/000 in", Length, ZeroBelow, ""},
		{"1,500 mm", Length, Ambiguous, "1500 or 1.500"},
		{"12 mil", Length, Ambiguous, "thou"},
		{"12 milimetres", Length, UnknownUnit, "did you mean millimetres?"},
		{"12 Mm", Length, UnknownUnit, ""},
		{"12 k", Temperature, UnknownUnit, ""},
		{"12 parsecs", Length, UnknownUnit, ""},
		{"99999999999 mm", Length, TooLarge, ""},
		{"1000000000 m", Length, TooLarge, ""},
		{"1234567890123456 mm", Length, TooLarge, "15"},
		{"-300 °C", Temperature, TooCold, "-273.15"},
		{"-1 K", Temperature, TooCold, ""},
		{strings.Repeat("1", 101), Length, TooLong, ""},
		{"12 mm\x1b[2J", Length, NotANumber, "control"},
		{"12\tmm", Length, NotANumber, "control"},
		{"12 \xff", Length, NotANumber, ""},
		{"mm", Length, NotANumber, ""},
		{"12 mm of foam", Length, UnknownUnit, ""},
		{"20-30 min", Duration, TwoNumbers, ""},
		{"3 ft -4 in", Length, TwoNumbers, ""},
		{"3 ft- 4 in", Length, TwoNumbers, ""},
		{"3 ft–4 in", Length, TwoNumbers, ""},
		{"3 ft-12 in", Length, TwoNumbers, ""},
		{"3 ft-4", Length, TwoNumbers, ""},
		{"3 ft-4 mm", Length, TwoNumbers, ""},
		{"3 ft-4 oz", Length, TwoNumbers, ""},
		{"1 yd-4 in", Length, TwoNumbers, ""},
		{"1 lb-4 oz", Mass, TwoNumbers, ""},
		{"1 h-30 min", Duration, TwoNumbers, ""},
		{"4 in 1 ft", Length, TwoNumbers, ""},
		{"4 in 4 in", Length, TwoNumbers, ""},
		{"1 h 4 in", "", TwoNumbers, ""},
		{"1 lb 4 min", "", TwoNumbers, ""},
		{"1 1/2 ft 2 in", Length, TwoNumbers, ""},
		{"0-3/4 in", Length, TwoNumbers, ""},
		{"4 -3/4 in", Length, TwoNumbers, ""},
		{"4- 3/4 in", Length, TwoNumbers, ""},
		{"4.5 3/4 in", Length, TwoNumbers, ""},
		{"4-3/2 in", Length, TwoNumbers, ""},
		{"1.5/2 in", Length, NotANumber, ""},
		{"1/2.5 in", Length, NotANumber, ""},
		{"3/ in", Length, NotANumber, ""},
		{"1234567/8 in", Length, TooLarge, "6"},
		{"8/1234567 in", Length, TooLarge, "6"},
		{"0.1234567890123456 mm", Length, TooLarge, "15"},
		{"121 mm C", Temperature, NotANumber, "two units"},
		{"12 mm C", Length, NotANumber, "two units"},
		{"12 mm mm", Length, NotANumber, "two units"},
		{"121 ° mm", Angle, NotANumber, "two units"},
		{"121 deg", Temperature, NoUnit, "°C or °F"},
		{"12 mils", Length, Ambiguous, "thou"},
		{"12 lb", Force, WrongDimension, "lbf"},
		{"12 kg", Force, WrongDimension, "kgf"},
		{"12 g", Force, WrongDimension, "gf"},
		{"12 Mg", Mass, UnknownUnit, ""},
		{"12 de", Angle, UnknownUnit, "write °, turn"},
		{"121 Cº", Temperature, NotANumber, "two units"},
		{"12 MA", Current, UnknownUnit, ""},
		{"12 MV", Voltage, UnknownUnit, ""},
		{"500000000 lbf", Force, TooLarge, ""},
	} {
		q, err := Parse(c.text, c.want)
		if !errors.Is(err, c.reason) {
			t.Errorf("%q: %v (%v); want %v", c.text, err, q, c.reason)
			continue
		}
		if !strings.Contains(err.Error(), c.says) || !utf8.ValidString(err.Error()) || strings.ContainsAny(err.Error(), "\x1b\n\t") {
			t.Errorf("%q says %q; want %q in it", c.text, err, c.says)
		}
	}
}

func TestParseRange(t *testing.T) {
	for _, c := range []struct{ text, from, to string }{
		{"20-30 min", "20 min", "30 min"},
		{"20 min to 30 min", "20 min", "30 min"},
		{"20 – 30 min", "20 min", "30 min"},
		{"90 s - 2 min", "90 s", "2 min"},
		{"2-3 turns", "2 turns", "3 turns"},
		{"1/8-3/16 in", "1/8 in", "3/16 in"},
		{"1/8 to 3/16 in", "1/8 in", "3/16 in"},
		{"4 3/4-5 in", "4 3/4 in", "5 in"},
		{"4 3/4 to 5\"", "4 3/4 in", "5 in"},
		{"1-1 1/4 in", "1 in", "1 1/4 in"},
		{"0-3/4 in", "0 in", "3/4 in"},
		{"200-250 °F", "200 °F", "250 °F"},
		{"-5--2 °C", "-5 °C", "-2 °C"},
		{"3,5–4,5 mm", "3.5 mm", "4.5 mm"},
		{"1 ft-2 ft", "1 ft", "2 ft"},
		{"1 ft-1 yd", "1 ft", "1 yd"},
		{"1 ft-12 in", "1 ft", "12 in"},
		{"1 ft-18 in", "1 ft", "18 in"},
		{"1'-3\" to 1'-4 1/2\"", "15 in", "16 1/2 in"},
		{"1'-3\"-18\"", "15 in", "18 in"},
		{"1-3/2 in", "1 in", "1 1/2 in"},
		{"1/2-1 in", "1/2 in", "1 in"},
		{"0.5-0.75 in", "0.5 in", "0.75 in"},
		{"5 - 5 mm", "5 mm", "5 mm"},
	} {
		from, to, err := ParseRange(c.text, "")
		if err != nil || from.String() != c.from || to.String() != c.to {
			t.Errorf("%q is %v to %v (%v); want %s to %s", c.text, from, to, err, c.from, c.to)
		}
	}
	for text, reason := range map[string]Reason{
		"30-20 min": WrongWayRound, "20 min": NotANumber, "20-30": NoUnit, "20 g - 30 mm": WrongDimension,
		"1-2-3 mm": TwoNumbers, "4-3/4 in": NotANumber, "-": NotANumber, "1 mm to": NotANumber,
		"3'-4 in": NotANumber, "3 ft - 4 in": WrongWayRound, "3 ft -4 in": WrongWayRound, "3 ft-4 mm": WrongWayRound, "3 ft-4 oz": WrongDimension,
		"3 ft-4": NoUnit, "20 to 30 min to 40 min": TwoNumbers,
	} {
		if from, to, err := ParseRange(text, ""); !errors.Is(err, reason) {
			t.Errorf("%q: %v to %v, %v; want %v", text, from, to, err, reason)
		}
	}
}

func TestParseLimits(t *testing.T) {
	for _, c := range []struct{ text, low, high string }{
		{"56 mm ± 4 mm", "52 mm", "60 mm"},
		{"56 ± 4 mm", "52 mm", "60 mm"},
		{"56 mm ± 4", "52 mm", "60 mm"},
		{"56 mm +4 -2", "54 mm", "60 mm"},
		{"56 mm +4 mm -2", "54 mm", "60 mm"},
		{"107 °C ± 7", "100 °C", "114 °C"},
		{"56 mm +/- 4 mm", "52 mm", "60 mm"},
		{"56mm+/-4mm", "52 mm", "60 mm"},
		{"56 mm +4 -2 mm", "54 mm", "60 mm"},
		{"56 mm +4 mm −2 mm", "54 mm", "60 mm"},
		{"56 +4 -2 mm", "54 mm", "60 mm"},
		{"56 mm +0 -2 mm", "54 mm", "56 mm"},
		{"0,5 mm ± 0,05 mm", "0.45 mm", "0.55 mm"},
		{"1.5° ± 0.4°", "1.1°", "1.9°"},
		{"-1.5° ± 0.4°", "-1.9°", "-1.1°"},
		// A tolerance of a temperature is a difference: 9 °F are 5 °C.
		{"107 °C +8 -7 °C", "100 °C", "115 °C"},
		{"107 °C ± 9 °F", "102 °C", "112 °C"},
		{"250 °F ± 5 °C", "241 °F", "259 °F"},
		{"300 K ± 9 °F", "295 K", "305 K"},
		{"4 3/4 in ± 1/8 in", "4 5/8 in", "4 7/8 in"},
		{"4 3/4 in +1/8 -1/16 in", "4 11/16 in", "4 7/8 in"},
		{"5 in ± ½ in", "4 1/2 in", "5 1/2 in"},
		{"1/2 in ± 1 mm", "117/254 in", "137/254 in"}, // no decimal says it
		{"25.4 mm ± 1/16 in", "23 13/16 mm", "26 79/80 mm"},
		{"90 s ± 1 min", "30 s", "150 s"},
		// A range is one as before.
		{"3.5-4.5 mm", "3.5 mm", "4.5 mm"},
		{"-3 mm to +3 mm", "-3 mm", "3 mm"},
		{"+3 - +5 mm", "3 mm", "5 mm"},
	} {
		low, high, err := ParseLimits(c.text, "")
		if err != nil || low.String() != c.low || high.String() != c.high {
			t.Errorf("%q is %v to %v (%v); want %s to %s", c.text, low, high, err, c.low, c.high)
		}
	}
	for _, c := range []struct {
		text   string
		want   Dimension
		reason Reason
		says   string
	}{
		{"56 ± 4", "", NoUnit, "has no unit; write 56 ± 4 mm"},
		{"56 mm ± 4 g", "", WrongDimension, ""},
		{"56 mm ± 4 mm", Mass, WrongDimension, ""},
		{"56 mm ± 0 mm", "", WrongWayRound, "leaves no room"},
		{"56 mm +0 -0 mm", "", WrongWayRound, ""},
		{"56 mm ± -4 mm", "", NotANumber, "is not a size with its tolerance"},
		{"56 mm +4 mm", "", NotANumber, "56 mm +4 -2 mm"},
		{"56 mm +4 +2 mm", "", NotANumber, ""},
		{"56 mm -2 +4 mm", "", NotANumber, "56 mm +4 -2 mm"},
		{"56 mm ±", "", NotANumber, ""},
		{"± 4 mm", "", NotANumber, ""},
		{"56 mm ± 4 mm ± 2 mm", "", TwoNumbers, ""},
		{"56 mm ± 4 mm 2", "", TwoNumbers, ""},
		{"-270 °C ± 10 °C", "", TooCold, ""},
		{"1000000000 mm ± 1 mm", "", TooLarge, ""},
		{"1/999999 in ± 1/999998 in", "", TooLarge, "too many digits"},
		{"", "", Empty, ""},
		{"20 min", "", NotANumber, "a range has two"},
	} {
		low, high, err := ParseLimits(c.text, c.want)
		if !errors.Is(err, c.reason) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v to %v, %v; want %v saying %q", c.text, low, high, err, c.reason, c.says)
		}
	}
	for _, text := range []string{"56 mm ± 4 mm", "107 °C +8 -7 °C", "56 mm +/- 4 mm"} {
		if _, err := Parse(text, ""); !errors.Is(err, TwoNumbers) || !strings.Contains(err.Error(), "is a size with a tolerance; one value is wanted") {
			t.Errorf("one quantity %q: %v", text, err)
		}
	}
}

// Exact values: NIST SP 811 appendix B.8 and NIST Handbook 44 appendix C, all
// second-hand, each the derivation from 25.4 mm, 0.45359237 kg and 9.80665
// m/s², which is exact.
func TestUnitsAgainstNIST(t *testing.T) {
	for _, c := range []struct{ text, unit, value string }{
		{"1 in", "m", "0.0254"},
		{"1 ft", "m", "0.3048"},
		{"1 yd", "m", "0.9144"},
		{"1 lb", "kg", "0.45359237"},
		{"1 oz", "g", "28.349523125"},
		{"1 lbf", "N", "4.4482216152605"},
		{"1 ozf", "N", "0.27801385095378125"},
		{"1 kgf", "N", "9.80665"},
		{"1 gf", "N", "0.00980665"},
		{"-40 °F", "°C", "-40"},
		{"32 °F", "°C", "0"},
		{"212 °F", "°C", "100"},
		{"0 °C", "K", "273.15"},
		{"1 turn", "°", "360"},
	} {
		q, err := Parse(c.text, "")
		if err != nil {
			t.Fatal(err)
		}
		want, _ := new(big.Rat).SetString(c.value)
		if got, err := q.Rat(c.unit); err != nil || got.Cmp(want) != 0 {
			t.Errorf("%s is %v %s (%v); want %s", c.text, got, c.unit, err, c.value)
		}
	}
}

// Values of the trade, common practice, no source: a covering iron at 200 to
// 250 °F, booms 4 3/4 to 5 in, a spar slot 1/8 to 3/16 in.
func TestValuesOfTheTrade(t *testing.T) {
	for _, c := range []struct{ text, unit, in string }{
		{"200 °F", "°C", "93.333 °C"},
		{"250 °F", "°C", "121.111 °C"},
		{"4 3/4 in", "mm", "120.65 mm"},
		{"5 in", "mm", "127 mm"},
		{"1/8 in", "mm", "3.175 mm"},
		{"3/16 in", "mm", "4.763 mm"}, // 4.7625 exactly
	} {
		q, err := Parse(c.text, "")
		if err != nil {
			t.Fatal(err)
		}
		if got, err := q.In(c.unit); err != nil || got != c.in {
			t.Errorf("%s is %s (%v); want %s", c.text, got, err, c.in)
		}
	}
}

func TestOther(t *testing.T) {
	for text, want := range map[string]string{
		"120.65 mm": "4 3/4 in", "4 mm": "5/32 in (-0.03 mm)", "3.5 mm": "9/64 in (+0.07 mm)",
		"0 mm": "0 in", "12.7 cm": "5 in", "0.2 mm": "1/64 in (+0.2 mm)", "-3.175 mm": "-1/8 in", "25.401 mm": "1 in (off by less than 0.01 mm)",
		"1/8 in": "3.175 mm", "1 ft": "304.8 mm",
		"1 oz": "28.35 g", "100 g": "3.527 oz", "121 °C": "249.8 °F", "250 °F": "121.111 °C", "1 N": "3.597 ozf",
		"10 min": "", "3.7 V": "", "90°": "",
	} {
		q, err := Parse(text, "")
		if err != nil {
			t.Fatal(err)
		}
		if got := q.Other(Nearest); got != want {
			t.Errorf("%s is %q in the other system; want %q", text, got, want)
		}
	}
	// What meets a rounded limit meets the limit.
	for text, want := range map[string][2]string{
		"1.5 mm": {"3/64 in (-0.31 mm)", "1/16 in (+0.09 mm)"}, "-1.5 mm": {"-1/16 in (-0.09 mm)", "-3/64 in (+0.31 mm)"}, "4.7625 mm": {"3/16 in", "3/16 in"},
		"100 g": {"3.527 oz", "3.528 oz"}, "-5.05 °C": {"22.91 °F", "22.91 °F"}, "250 °F": {"121.111 °C", "121.112 °C"},
	} {
		q, err := Parse(text, "")
		if err != nil {
			t.Fatal(err)
		}
		if got := [2]string{q.Other(Down), q.Other(Up)}; got != want {
			t.Errorf("%s as an upper and a lower limit is %q; want %q", text, got, want)
		}
	}
}

func TestDurations(t *testing.T) {
	q, err := Parse("1h30m", Duration)
	if err != nil {
		t.Fatal(err)
	}
	if d, err := q.Duration(); err != nil || d != 90*time.Minute {
		t.Errorf("1h30m is %v (%v)", d, err)
	}
	if d, err := (Quantity{}).Duration(); err != nil || d != 0 {
		t.Errorf("no quantity takes %v (%v)", d, err)
	}
	for text, want := range map[string]time.Duration{
		"90 s": 90 * time.Second, "7 min": 7 * time.Minute, "2 h": 2 * time.Hour, "3 day": 72 * time.Hour, "0 min": 0, "-5 min": -5 * time.Minute,
		"0.5 s": 500 * time.Millisecond, "1/3 h": 20 * time.Minute, "2.5 min": 150 * time.Second, "1/8 s": 125 * time.Millisecond, "1000000000 s": 1e9 * time.Second, "10000 day": 240_000 * time.Hour,
	} {
		q, err := Parse(text, Duration)
		if err != nil {
			t.Fatal(err)
		}
		if d, err := q.Duration(); err != nil || d != want {
			t.Errorf("%s is %v (%v), want %v", text, d, err, want)
		}
	}
	if q, err := Parse("5 mm", Length); err != nil {
		t.Fatal(err)
	} else if d, err := q.Duration(); err == nil {
		t.Errorf("5 mm takes %v", d)
	}
}

func TestComparing(t *testing.T) {
	parse := func(s string) Quantity {
		q, err := Parse(s, "")
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	if inch, mm := parse("1 in"), parse("25.4 mm"); inch.Cmp(mm) != 0 || !inch.Equal(mm) {
		t.Error("1 in is not 25.4 mm")
	}
	if parse("1 in").Cmp(parse("25.39 mm")) != 1 || parse("90 °F").Cmp(parse("40 °C")) != -1 {
		t.Error("ordered wrongly")
	}
	if parse("1 g").Equal(parse("1 mm")) || parse("0 mm").Equal(Quantity{}) || !(Quantity{}).Equal(Quantity{}) {
		t.Error("unlike things are equal")
	}
	if _, err := parse("1 g").Rat("mm"); !errors.Is(err, WrongDimension) {
		t.Errorf("1 g in mm: %v", err)
	}
	if _, err := (Quantity{}).Rat("mm"); !errors.Is(err, Absent) {
		t.Errorf("nothing in mm: %v", err)
	}
	if _, err := (Quantity{}).Span("mm"); !errors.Is(err, Absent) {
		t.Errorf("a difference of nothing: %v", err)
	}
}

// A difference of temperature has no zero: 2 °C more is 3.6 °F more.
func TestSpan(t *testing.T) {
	for _, c := range []struct{ text, unit, want string }{
		{"2 °C", "°F", "18/5"}, {"9 °F", "°C", "5"}, {"2 K", "°C", "2"}, {"-1 °C", "K", "-1"}, {"1 in", "mm", "127/5"}, {"0 °C", "°F", "0"},
	} {
		q, err := Parse(c.text, "")
		if err != nil {
			t.Fatal(err)
		}
		if r, err := q.Span(c.unit); err != nil || r.RatString() != c.want {
			t.Errorf("%s more is %v %s more, %v; want %s", c.text, r, c.unit, err, c.want)
		}
	}
}

func TestNewIsWhatCouldBeTyped(t *testing.T) {
	if q, err := New(big.NewRat(5, 32), "in"); err != nil || q.Typed() != "0.15625 in" {
		t.Errorf("5/32 in: %v, %v", q.Typed(), err)
	}
	if q, err := New(big.NewRat(1, 3), "mm"); err != nil || q.Typed() != "1/3 mm" {
		t.Errorf("1/3 mm: %v, %v", q.Typed(), err)
	}
	if _, err := New(big.NewRat(1, 12345679), "mm"); !errors.Is(err, TooLarge) {
		t.Errorf("a fraction that nobody can type: %v", err)
	}
	if _, err := New(big.NewRat(1, 2), "furlong"); !errors.Is(err, UnknownUnit) {
		t.Errorf("an unknown unit: %v", err)
	}
}

func TestJSON(t *testing.T) {
	q, err := Parse("4-3/4\"", Length)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(q)
	if err != nil || string(data) != `{"typed":"4-3/4\"","value":"19/4","unit":"in"}` {
		t.Fatalf("%s, %v", data, err)
	}
	for _, bad := range []string{
		`{"typed":"4-3/4\"","value":"5","unit":"in"}`,
		`{"typed":"4-3/4\"","value":"19/4","unit":"mm"}`,
		`{"typed":"4 g","value":"19/4","unit":"in"}`,
		`{"typed":"4 in","value":"4","unit":"inch"}`,
		`{"typed":"4 in","value":"4/1","unit":"in"}`,
		`{"typed":"4 in","value":"4","unit":"in","more":1}`,
		`{}`, `[]`, `"4 in"`, `4`,
	} {
		var back Quantity
		if err := json.Unmarshal([]byte(bad), &back); err == nil {
			t.Errorf("%s was read as %v", bad, back)
		}
	}
	var none Quantity
	if data, err := json.Marshal(none); err != nil || string(data) != "null" {
		t.Errorf("%s, %v", data, err)
	}
	if err := json.Unmarshal([]byte("null"), &q); err != nil || !q.IsZero() {
		t.Errorf("null is %v, %v", q, err)
	}
}

// The coherent units of the SI Brochure, 9th edition (from memory), by way of
// NIST SP 811 B.8.
func TestSI(t *testing.T) {
	for text, want := range map[string]string{
		"1 in": "0.0254 m", "1 lb": "0.45359237 kg", "20 °C": "293.15 K", "212 °F": "373.15 K", "180°": "3.141592653589793 rad",
		"2 min": "120 s", "3700 mV": "3.7 V", "1500 mA": "1.5 A", "1 kgf": "9.80665 N", "35 N·cm": "0.35 N·m", "60 %": "0.6 1",
	} {
		q, err := Parse(text, "")
		if err != nil {
			t.Fatal(err)
		}
		v, unit, err := q.SI()
		if got := strconv.FormatFloat(v, 'g', -1, 64) + " " + unit; err != nil || got != want {
			t.Errorf("%s is %s (%v); want %s", text, got, err, want)
		}
	}
}

func TestSIMore(t *testing.T) {
	for _, c := range []struct {
		a, b, unit string
		want       float64
	}{
		{"10.02 mm", "10 mm", "m", 2e-05}, {"1 in", "25.4 mm", "m", 0}, {"99 g", "100 g", "kg", -0.001}, {"22 °C", "20 °C", "K", 2},
	} {
		a, err1 := Parse(c.a, "")
		b, err2 := Parse(c.b, "")
		got, unit, err := a.SIMore(b)
		if err1 != nil || err2 != nil || err != nil || got != c.want || unit != c.unit {
			t.Errorf("%s over %s: %v %s, %v", c.a, c.b, got, unit, err)
		}
	}
	a, _ := Parse("10 mm", "")
	b, _ := Parse("10 g", "")
	if _, _, err := a.SIMore(b); err == nil {
		t.Error("a length was set against a mass")
	}
}

// Every fraction that is one character (Unicode 17, numeric values of the block
// Number Forms and of Latin-1), alone and after a whole number.
func TestFractionsOfOneCharacter(t *testing.T) {
	for text, want := range map[string]string{
		"½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6",
		"⅐": "1/7", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅑": "1/9", "⅒": "1/10",
	} {
		for _, whole := range []string{"", "3"} {
			q, err := Parse(whole+text+" in", Length)
			if err != nil {
				t.Errorf("%s%s in: %v", whole, text, err)
				continue
			}
			exact, _ := new(big.Rat).SetString(want)
			if whole != "" {
				exact.Add(exact, big.NewRat(3, 1))
			}
			if got, _ := q.Rat("in"); got.Cmp(exact) != 0 {
				t.Errorf("%s%s in is %s, want %s", whole, text, got, exact)
			}
		}
	}
}

// The smaller part of a length must be less than one of the larger unit. A length may
// be below zero; only a temperature has an absolute zero.
func TestBounds(t *testing.T) {
	for text, ok := range map[string]bool{
		"3' 11 in": true, "3' 12 in": false, "3 ft 12 in": false, "-300 mm": true, "-274 °C": false, "-273.15 °C": true, "-460 °F": false, "0 K": true, "-1 K": false,
	} {
		if _, err := Parse(text, ""); (err == nil) != ok {
			t.Errorf("%s: %v", text, err)
		}
	}
}

// Every unit as a number of the first one of its dimension: the prefixes of the
// SI, the international inch and pound of 1959, and standard gravity (NIST SP
// 811, appendix B.8, whose factors with all digits are exact).
func TestEveryUnit(t *testing.T) {
	want := map[Dimension]map[string]string{
		Length:   {"mm": "1", "cm": "10", "m": "1000", "in": "25.4", "ft": "304.8", "yd": "914.4", "thou": "0.0254", "µm": "0.001"},
		Mass:     {"g": "1", "kg": "1000", "mg": "0.001", "oz": "28.349523125", "lb": "453.59237"},
		Angle:    {"°": "1", "turn": "360"},
		Duration: {"s": "1", "min": "60", "h": "3600", "day": "86400"},
		Voltage:  {"V": "1", "mV": "0.001"},
		Current:  {"A": "1", "mA": "0.001"},
		Charge:   {"mAh": "1", "Ah": "1000"},
		Force:    {"N": "1", "gf": "0.00980665", "kgf": "9.80665", "ozf": "0.27801385095378125", "lbf": "4.4482216152605"},
		Torque:   {"N·m": "1", "N·cm": "0.01", "ozf·in": "0.00706155181422604375", "lbf·in": "0.1129848290276167"},
		Ratio:    {"%": "1"},
	}
	n := 3 // of temperature, which have a zero of their own
	for of, units := range want {
		for symbol, factor := range units {
			n++
			q, err := New(big.NewRat(1, 1), symbol)
			if err != nil || q.Dimension() != of {
				t.Errorf("1 %s is a %s: %v", symbol, q.Dimension(), err)
				continue
			}
			exact, _ := new(big.Rat).SetString(factor)
			if got, err := q.Rat(of.symbols()[0]); err != nil || got.Cmp(exact) != 0 {
				t.Errorf("1 %s is %v %s, want %s (%v)", symbol, got, of.symbols()[0], factor, err)
			}
		}
	}
	if all := Dimension("").symbols(); len(all) != n {
		t.Errorf("%d units, of which %d are in the table", len(all), n)
	}
	for text, celsius := range map[string]string{"0 °F": "-160/9", "32 °F": "0", "212 °F": "100", "0 K": "-273.15", "373.15 K": "100"} {
		q, err := Parse(text, Temperature)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		exact, _ := new(big.Rat).SetString(celsius)
		if got, _ := q.Rat("°C"); got.Cmp(exact) != 0 {
			t.Errorf("%s is %v °C", text, got)
		}
	}
}

// The largest value, 10⁹ of the first unit, is still one; quantities of two
// dimensions are ordered by dimension; a fraction has six digits a side.
func TestLimitsOfQuantities(t *testing.T) {
	for text, ok := range map[string]bool{
		"1000000000 mm": true, "1000000001 mm": false, "1000 km": false, "1000000 m": true, "1000001 m": false, "9999 m": true, "-1000000000 mm": true, "-1000000001 mm": false,
		"9999 day": true, "1000000000 %": true, "1000000000 V": true, "1000000000 A": true, "1000000000 N": true, "1000000000 s": true, "1000000000 °": true,
		"1000000001 %": false, "1000000001 V": false, "1000000001 A": false, "1000000001 N": false, "1000000001 s": false, "1000000001 °": false, "1000000001 g": false, "11574 day": true, "11575 day": false, "999999/1000000 in": false, "123456/654321 in": true, "1 1/1 in": false, "1 15/16 in": true, "5 mils": false, "5 mil": false,
	} {
		if _, err := Parse(text, ""); (err == nil) != ok {
			t.Errorf("%s: %v", text, err)
		}
	}
	mm, g := Quantity{typed: "1 mm", value: big.NewRat(1, 1), unit: "mm"}, Quantity{typed: "1 g", value: big.NewRat(1, 1), unit: "g"}
	if mm.Cmp(g) != -1 || g.Cmp(mm) != 1 || mm.Equal(g) {
		t.Errorf("a length and a mass: %d, %d", mm.Cmp(g), g.Cmp(mm))
	}
}

func TestUnclear(t *testing.T) {
	for text, want := range map[string]string{
		"1,5 mm": "1.5 mm", "0,5 mm ± 0,05 mm": "0.5 mm ± 0.05 mm", "1.5 mm": "1.5 mm", "1,2,3 mm": "1,2,3 mm", "a, b": "a, b", "": "",
	} {
		if got := WithPoint(text); got != want {
			t.Errorf("%q with points is %q", text, got)
		}
	}
	for _, c := range []struct {
		text string
		want Dimension
		says string
	}{
		{"30 m", Duration, `"30 m" could be minutes or metres; write 30 min for minutes`}, {"0.5 m", Duration, "write 0.5 min"},
		{"30m", Duration, ""}, {"1 h 30 m", Duration, ""}, {"30 min", Duration, ""}, {"30 m", Length, ""}, {"\x00", Duration, ""},
	} {
		if err := Unclear(c.text, c.want); err == nil != (c.says == "") || err != nil && !(errors.Is(err, Ambiguous) && strings.Contains(err.Error(), c.says)) {
			t.Errorf("%q as a %s: %v", c.text, c.want, err)
		}
	}
}
