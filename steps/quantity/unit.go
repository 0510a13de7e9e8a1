package quantity

import (
	"math/big"
	"strings"
	"unicode"
)

// A Dimension is what a unit measures.
type Dimension string

// The dimensions, with their base units.
const (
	Length      Dimension = "length"      // mm
	Mass        Dimension = "mass"        // g
	Temperature Dimension = "temperature" // °C, a point on a scale
	Angle       Dimension = "angle"       // °
	Duration    Dimension = "duration"    // s
	Voltage     Dimension = "voltage"     // V
	Current     Dimension = "current"     // A
	Charge      Dimension = "charge"      // mAh
	Force       Dimension = "force"       // N
	Torque      Dimension = "torque"      // N·m
	Ratio       Dimension = "ratio"       // %
)

// article is the dimension with its article.
func (d Dimension) article() string {
	if d == Angle {
		return "an " + string(d)
	}
	return "a " + string(d)
}

// usual are the two units to suggest first; the second may be empty.
func (d Dimension) usual() (string, string) {
	switch d {
	case Length:
		return "mm", "in"
	case Mass:
		return "g", "oz"
	case Temperature:
		return "°C", "°F"
	case Angle:
		return "°", "turns"
	case Duration:
		return "min", "h"
	case Voltage:
		return "V", "mV"
	case Current:
		return "A", "mA"
	case Charge:
		return "mAh", "Ah"
	case Force:
		return "N", "ozf"
	case Torque:
		return "N·cm", "ozf·in"
	case Ratio:
		return "%", ""
	}
	return "", ""
}

// symbols are the canonical symbols of the dimension's units; for "", of every
// dimension.
func (d Dimension) symbols() []string {
	switch d {
	case Length:
		return []string{"mm", "cm", "m", "in", "ft", "yd", "thou", "µm"}
	case Mass:
		return []string{"g", "kg", "mg", "oz", "lb"}
	case Temperature:
		return []string{"°C", "°F", "K"}
	case Angle:
		return []string{"°", "turn"}
	case Duration:
		return []string{"s", "min", "h", "day"}
	case Voltage:
		return []string{"V", "mV"}
	case Current:
		return []string{"A", "mA"}
	case Charge:
		return []string{"mAh", "Ah"}
	case Force:
		return []string{"N", "gf", "kgf", "ozf", "lbf"}
	case Torque:
		return []string{"N·m", "N·cm", "ozf·in", "lbf·in"}
	case Ratio:
		return []string{"%"}
	case "":
		var all []string
		for _, each := range []Dimension{Length, Mass, Temperature, Angle, Duration, Voltage, Current, Charge, Force, Torque, Ratio} {
			all = append(all, each.symbols()...)
		}
		return all
	}
	return nil
}

// A unit turns its own values into the base unit's: (value - shift) · scale,
// the scale being up/down and the shift, of temperatures only, in hundredths.
type unit struct {
	symbol   string
	of       Dimension
	up, down int64
	shift    int64
}

// unitOf returns the unit with the canonical symbol.
func unitOf(symbol string) (unit, bool) {
	exact := func(of Dimension, up, down int64) (unit, bool) {
		return unit{symbol: symbol, of: of, up: up, down: down}, true
	}
	switch symbol {
	case "mm":
		return exact(Length, 1, 1)
	case "cm":
		return exact(Length, 10, 1)
	case "m":
		return exact(Length, 1000, 1)
	case "µm":
		return exact(Length, 1, 1000)
	case "in": // 25.4 mm
		return exact(Length, 254, 10)
	case "ft": // 12 in
		return exact(Length, 3048, 10)
	case "yd": // 3 ft
		return exact(Length, 9144, 10)
	case "thou": // in/1000
		return exact(Length, 254, 10_000)
	case "g":
		return exact(Mass, 1, 1)
	case "kg":
		return exact(Mass, 1000, 1)
	case "mg":
		return exact(Mass, 1, 1000)
	case "lb": // 0.45359237 kg
		return exact(Mass, 45_359_237, 100_000)
	case "oz": // lb/16
		return exact(Mass, 45_359_237, 1_600_000)
	case "°C":
		return exact(Temperature, 1, 1)
	case "°F": // °C = (°F - 32)·5/9
		return unit{symbol, Temperature, 5, 9, 32_00}, true
	case "K":
		return unit{symbol, Temperature, 1, 1, 273_15}, true
	case "°":
		return exact(Angle, 1, 1)
	case "turn":
		return exact(Angle, 360, 1)
	case "s":
		return exact(Duration, 1, 1)
	case "min":
		return exact(Duration, 60, 1)
	case "h":
		return exact(Duration, 3600, 1)
	case "day":
		return exact(Duration, 86_400, 1)
	case "V":
		return exact(Voltage, 1, 1)
	case "mV":
		return exact(Voltage, 1, 1000)
	case "A":
		return exact(Current, 1, 1)
	case "mA":
		return exact(Current, 1, 1000)
	case "mAh":
		return exact(Charge, 1, 1)
	case "Ah":
		return exact(Charge, 1000, 1)
	case "N":
		return exact(Force, 1, 1)
	case "kgf": // kg · 9.80665 m/s²
		return exact(Force, 980_665, 100_000)
	case "gf": // kgf/1000
		return exact(Force, 980_665, 100_000_000)
	case "lbf": // lb · 9.80665 m/s² = 4.4482216152605 N
		return exact(Force, 44_482_216_152_605, 10_000_000_000_000)
	case "ozf": // lbf/16
		return exact(Force, 44_482_216_152_605, 160_000_000_000_000)
	case "N·m":
		return exact(Torque, 1, 1)
	case "N·cm":
		return exact(Torque, 1, 100)
	case "lbf·in": // lbf · 0.0254 m = 0.1129848290276167 N·m
		return exact(Torque, 1_129_848_290_276_167, 10_000_000_000_000_000)
	case "ozf·in": // lbf·in/16
		return exact(Torque, 1_129_848_290_276_167, 160_000_000_000_000_000)
	case "%":
		return exact(Ratio, 1, 1)
	}
	return unit{}, false
}

//go:noinline
func (u unit) scale() *big.Rat { return big.NewRat(u.up, u.down) }

// toBase converts a value in the unit to the base unit; it overwrites r.
func (u unit) toBase(r *big.Rat) *big.Rat {
	if u.shift != 0 {
		r.Sub(r, big.NewRat(u.shift, 100))
	}
	return r.Mul(r, u.scale())
}

// fromBase converts a value in the base unit to this unit, in a new Rat.
func (u unit) fromBase(base *big.Rat) *big.Rat {
	r := new(big.Rat).Quo(base, u.scale())
	if u.shift != 0 {
		r.Add(r, big.NewRat(u.shift, 100))
	}
	return r
}

// symbolOf returns the canonical symbol for one spelling of a unit, or "".
// Journals contain these spellings: only ever add to them.
func symbolOf(word string) string {
	folded := strings.Map(func(r rune) rune {
		switch r {
		case '\u22c5', '*', '.':
			return '·'
		}
		return unicode.ToLower(r)
	}, word)
	switch {
	case strings.HasPrefix(word, "n") && (folded == "nm" || folded == "ncm"):
		return "" // nano
	case word == "k", word == "Mm":
		return "" // kilo, mega
	case word[0] == 'M' && (folded == "mv" || folded == "ma" || folded == "mah" || folded == "mg"):
		return "" // mega
	}
	switch folded {
	case "mm", "millimetre", "millimetres", "millimeter", "millimeters":
		return "mm"
	case "cm", "centimetre", "centimetres", "centimeter", "centimeters":
		return "cm"
	case "m", "metre", "metres", "meter", "meters":
		return "m"
	case "µm", "μm", "um", "micrometre", "micrometres", "micrometer", "micrometers":
		return "µm" // the micro sign and the Greek mu look alike
	case "in", "inch", "inches", `"`:
		return "in"
	case "ft", "foot", "feet", "'":
		return "ft"
	case "yd", "yds", "yard", "yards":
		return "yd"
	case "thou":
		return "thou"
	case "g", "gram", "grams", "gramme", "grammes":
		return "g"
	case "kg", "kilogram", "kilograms", "kilogramme", "kilogrammes":
		return "kg"
	case "mg", "milligram", "milligrams", "milligramme", "milligrammes":
		return "mg"
	case "lb", "lbs", "pound", "pounds":
		return "lb"
	case "oz", "ounce", "ounces":
		return "oz"
	case "°c", "c", "degc", "celsius":
		return "°C"
	case "°f", "f", "degf", "fahrenheit":
		return "°F"
	case "k", "kelvin", "kelvins":
		return "K"
	case "°", "deg", "degs", "degree", "degrees":
		return "°"
	case "turn", "turns":
		return "turn"
	case "s", "sec", "secs", "second", "seconds":
		return "s"
	case "min", "mins", "minute", "minutes":
		return "min"
	case "h", "hr", "hrs", "hour", "hours":
		return "h"
	case "d", "day", "days":
		return "day"
	case "v", "volt", "volts":
		return "V"
	case "mv", "millivolt", "millivolts":
		return "mV"
	case "a", "amp", "amps", "ampere", "amperes":
		return "A"
	case "ma", "milliamp", "milliamps", "milliampere", "milliamperes":
		return "mA"
	case "mah":
		return "mAh"
	case "ah":
		return "Ah"
	case "n", "newton", "newtons":
		return "N"
	case "gf", "kgf", "ozf", "lbf":
		return folded
	case "n·m", "nm":
		return "N·m"
	case "n·cm", "ncm":
		return "N·cm"
	case "ozf·in", "ozfin":
		return "ozf·in"
	case "lbf·in", "lbfin":
		return "lbf·in"
	case "%", "percent":
		return "%"
	}
	return ""
}

// words are the spellings that are long enough to be misspelt.
func words() []string {
	return []string{"millimetres", "centimetres", "metres", "inch", "inches", "foot", "feet", "yards",
		"grams", "kilograms", "milligrams", "pounds", "ounces", "celsius", "fahrenheit", "kelvin", "deg",
		"degrees", "turns", "seconds", "mins", "minutes", "hours", "days", "volts", "amps", "newtons", "percent"}
}
