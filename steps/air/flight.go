package air

import "math"

// Loading is the mass that a unit of wing area carries, in kg/m².
func Loading(mass, area float64) float64 { return mass / area }

// The units in which wing loadings are usually given, in kg/m².
const (
	GramPerDm2  = 0.1
	OuncePerFt2 = 0.028349523125 / (0.3048 * 0.3048)
)

// The units in which speeds are usually given, in m/s.
const (
	KilometrePerHour = 1 / 3.6
	MilePerHour      = 0.44704
	Knot             = 1852.0 / 3600
)

// Stall is the speed at which a weight in N is just carried by a wing area at its
// largest lift coefficient.
func Stall(weight, area, lift, density float64) float64 {
	return math.Sqrt(2 * weight / (density * area * lift))
}

// LoadFactor is how many times its weight the wing carries in a level turn at a bank in degrees.
func LoadFactor(bank float64) float64 { return 1 / math.Cos(bank*math.Pi/180) }

// UnderLoad is the speed that carries a load factor, of the one that carries the weight alone.
func UnderLoad(speed, factor float64) float64 { return speed * math.Sqrt(factor) }
