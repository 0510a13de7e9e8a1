// Package balance works out where an aircraft balances, exactly: from scales, or from
// its parts; what moving, adding or removing a mass does to that; and which ballast
// brings it where it should be. It knows no units: masses are all in one, lengths in
// another. Stations count aft from the datum, and sides to the right.
package balance

import (
	"errors"
	"math/big"
)

// A Load is a mass at its place.
type Load struct {
	Mass *big.Rat
	X, Y *big.Rat // nil: at the datum, on the centre line
}

// A Scale is one scale under the aircraft.
type Scale struct {
	Reads *big.Rat
	Tare  *big.Rat // of what lies on it beside the aircraft; nil: nothing
	X, Y  *big.Rat // where it carries the aircraft; nil: at the datum, on the centre line
}

// Carries is what the scale carries of the aircraft.
func (s Scale) Carries() *big.Rat {
	carries := new(big.Rat).Set(s.Reads)
	if s.Tare != nil {
		carries.Sub(carries, s.Tare)
	}
	return carries
}

// A Total is a mass and its moments about the datum and about the centre line. No
// method changes it.
type Total struct{ Mass, Moment, Lateral *big.Rat }

// What has no answer.
var (
	ErrNoMass    = errors.New("nothing is there to balance: its mass is not more than 0")
	ErrAtTarget  = errors.New("ballast at the place where it should balance moves nothing")
	ErrWrongSide = errors.New("ballast there moves the balance the wrong way")
)

// Of is the total of loads.
func Of(loads ...Load) Total {
	t := Total{new(big.Rat), new(big.Rat), new(big.Rat)}
	for _, l := range loads {
		t = t.With(l)
	}
	return t
}

// Weighed is what the scales carry together.
func Weighed(scales ...Scale) Total {
	t := Of()
	for _, s := range scales {
		t = t.With(Load{s.Carries(), s.X, s.Y})
	}
	return t
}

// With is the total with one more load.
//
//go:noinline
func (t Total) With(l Load) Total { return t.add(l, 1) }

// Without is the total with a load taken away.
func (t Total) Without(l Load) Total { return t.add(l, -1) }

// Moved is the total with a mass moved aft by so much.
func (t Total) Moved(mass, by *big.Rat) Total {
	t.Moment = new(big.Rat).Add(t.Moment, new(big.Rat).Mul(mass, by))
	return t
}

func (t Total) add(l Load, sign int64) Total {
	mass := new(big.Rat).Mul(l.Mass, big.NewRat(sign, 1))
	plus := func(sum, arm *big.Rat) *big.Rat {
		if arm == nil {
			return sum
		}
		return new(big.Rat).Add(sum, new(big.Rat).Mul(mass, arm))
	}
	return Total{new(big.Rat).Add(t.Mass, mass), plus(t.Moment, l.X), plus(t.Lateral, l.Y)}
}

// Station is where it balances, aft of the datum.
//
//go:noinline
func (t Total) Station() (*big.Rat, error) { return t.arm(t.Moment) }

// Side is where it balances, to the right of the centre line.
//
//go:noinline
func (t Total) Side() (*big.Rat, error) { return t.arm(t.Lateral) }

func (t Total) arm(moment *big.Rat) (*big.Rat, error) {
	if t.Mass.Sign() <= 0 {
		return nil, ErrNoMass
	}
	return new(big.Rat).Quo(moment, t.Mass), nil
}

// lacks is the moment that it lacks to balance at the target.
func (t Total) lacks(target *big.Rat) *big.Rat {
	moment := new(big.Rat).Mul(t.Mass, target)
	return moment.Sub(moment, t.Moment)
}

// Travel is how far aft a mass that is aboard has to be moved for it to balance at the
// target.
func (t Total) Travel(mass, target *big.Rat) (*big.Rat, error) {
	if t.Mass.Sign() <= 0 || mass.Sign() <= 0 {
		return nil, ErrNoMass
	}
	by := t.lacks(target)
	return by.Quo(by, mass), nil
}

// Transfer is how much of what is aboard has to be moved from one station to another.
// It is negative where the move goes the wrong way.
func (t Total) Transfer(from, to, target *big.Rat) (*big.Rat, error) {
	span := new(big.Rat).Sub(to, from)
	if span.Sign() == 0 {
		return nil, ErrAtTarget
	}
	mass := t.lacks(target)
	return mass.Quo(mass, span), nil
}

// Ballast is the mass at a station with which it balances at the target.
func (t Total) Ballast(at, target *big.Rat) (*big.Rat, error) {
	if t.Mass.Sign() <= 0 {
		return nil, ErrNoMass
	}
	mass := t.lacks(target)
	if mass.Sign() == 0 {
		return mass, nil // it balances there already
	}
	lever := new(big.Rat).Sub(at, target)
	if lever.Sign() == 0 {
		return nil, ErrAtTarget
	}
	if mass.Quo(mass, lever).Sign() < 0 {
		return nil, ErrWrongSide
	}
	return mass, nil
}

// Farthest is which end of a range of stations takes the least ballast for it to balance
// at the target.
func (t Total) Farthest(front, rear, target *big.Rat) *big.Rat {
	if t.lacks(target).Sign() < 0 {
		return front
	}
	return rear
}

// Level is the mass that levels it sideways at so far out from the centre line, and on
// which side: negative at the left.
func (t Total) Level(out *big.Rat) (mass *big.Rat, err error) {
	if out.Sign() <= 0 {
		return nil, ErrAtTarget
	}
	mass = new(big.Rat).Neg(t.Lateral)
	return mass.Quo(mass, out), nil
}
