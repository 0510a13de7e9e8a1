package air

// ThrustToWeight is a thrust in N over the weight of a mass.
func ThrustToWeight(thrust, mass float64) float64 { return thrust / (mass * Gravity) }

// Pack is the nominal voltage and the energy in Wh of cells in series, of a capacity in Ah.
func Pack(cells int, nominal, capacity float64) (volts, energy float64) {
	volts = float64(cells) * nominal
	return volts, volts * capacity
}

// Rate is a current as a multiple of the capacity in Ah, as labels of batteries have it:
// at 1 it lasts an hour.
func Rate(current, capacity float64) float64 { return current / capacity }

// Endurance is how many hours a capacity in Ah lasts at a mean current, less the share
// of it that is left at the landing; none where all is left.
func Endurance(capacity, reserve, current float64) float64 {
	return capacity * max(0, 1-reserve) / current
}

// A Carriage is how a lithium battery may travel with a passenger by air.
type Carriage int

// Ways to travel.
const (
	CarriedFreely  Carriage = iota // up to 100 Wh
	WithApproval                   // up to 160 Wh: the airline approves it, two spares at most
	NotByPassenger                 // more
)

// CarriageOf is how a battery of that energy in Wh may travel. The limits are those of
// 49 CFR 175.10(a); local rules and the airline's own come first.
func CarriageOf(energy float64) Carriage {
	switch {
	case energy <= 100:
		return CarriedFreely
	case energy <= 160:
		return WithApproval
	}
	return NotByPassenger
}
