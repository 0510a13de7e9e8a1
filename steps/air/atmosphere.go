// Package air has the arithmetic of the air that an aircraft flies in: the standard
// atmosphere, the speeds that its density asks for, and what a drive and its battery
// give there. Its numbers are in SI units.
package air

import (
	"errors"
	"fmt"
	"math"
)

// The standard atmosphere of ICAO Doc 7488 up to the tropopause.
const (
	seaTemperature = 288.15    // K
	seaPressure    = 101_325.0 // Pa
	lapse          = 0.0065    // K/m of geopotential height
	Gravity        = 9.80665   // m/s²
	gasConstant    = 287.05287 // J/(kg·K), of dry air
	earthRadius    = 6_356_766 // m, nominal
)

// The altitudes between which the air is known here, in metres above sea level. The
// upper one is geopotential, where the lapse of the temperature ends; no shore lies
// below the lower one (about -430 m, from memory).
const (
	Lowest  = -500.0
	Ceiling = 11_000.0
)

// The temperatures that are taken for those of the air outside, in K: a little more
// than was ever measured where people fly models (common practice, no source).
const (
	Coldest = 273.15 - 50
	Warmest = 273.15 + 55
)

// ErrAltitude says that an altitude is outside the standard atmosphere as it is known here.
var ErrAltitude = fmt.Errorf("the standard atmosphere is known here from %.0f m to %.0f m above sea level", Lowest, Ceiling)

// ErrTemperature says that a temperature is not one of air that is flown in.
var ErrTemperature = fmt.Errorf("the air is between %.0f °C and %.0f °C where models fly", Coldest-273.15, Warmest-273.15)

// An Air is the state of the air at a place.
type Air struct {
	Temperature float64 // K
	Pressure    float64 // Pa
	Density     float64 // kg/m³
}

// Geopotential turns a height above sea level into the geopotential height in which the
// standard atmosphere is defined.
func Geopotential(height float64) float64 { return earthRadius * height / (earthRadius + height) }

// Standard is the standard atmosphere at a height above sea level.
func Standard(height float64) (Air, error) { return StandardAt(Geopotential(height)) }

// StandardAt is the standard atmosphere at a geopotential height.
func StandardAt(height float64) (Air, error) {
	if !(height >= Geopotential(Lowest) && height <= Ceiling) {
		return Air{}, ErrAltitude
	}
	t := seaTemperature - lapse*height
	p := seaPressure * math.Pow(t/seaTemperature, Gravity/(lapse*gasConstant))
	return Air{t, p, p / (gasConstant * t)}, nil
}

// At is the air with the pressure of the standard atmosphere at a height above sea
// level and a temperature of its own. The pressure of the day and the humidity are left out.
func At(height, temperature float64) (Air, error) {
	a, err := Standard(height)
	if !(temperature >= Coldest && temperature <= Warmest) {
		return Air{}, errors.Join(err, ErrTemperature)
	}
	if err != nil {
		return Air{}, err
	}
	return Air{temperature, a.Pressure, a.Pressure / (gasConstant * temperature)}, nil
}
