package steps

import (
	"fmt"
	"math/big"
	"strconv"

	"fettle/steps/quantity"
)

// A Share is a limit that follows from a figure of the drive, such as 80 % of what the
// speed controller carries.
type Share struct {
	Part   quantity.Quantity `json:"part"` // of the figure
	Figure DriveFigure       `json:"figure"`
	Limit  quantity.Quantity `json:"limit"` // what that comes to
}

// A DriveFigure is one figure of the drive by its name.
type DriveFigure struct {
	Name  string            `json:"name"`
	Value quantity.Quantity `json:"value"`        // zero: the sheet lacks it
	By    string            `json:"by,omitempty"` // its arithmetic; "": it is written as it is
}

// ShareOf is the limit that the part of the figure comes to.
func ShareOf(part quantity.Quantity, figure DriveFigure) (Share, error) {
	unit := figure.Value.Unit()
	of, err := figure.Value.Rat(unit)
	if err != nil {
		return Share{}, err
	}
	times, err := part.Rat("%")
	if err != nil {
		return Share{}, err
	}
	limit, err := quantity.New(of.Mul(of, times.Quo(times, big.NewRat(100, 1))), unit)
	return Share{part, figure, limit}, err
}

// String is the share with its arithmetic: 80 % of controller 30 A = 24 A.
func (s Share) String() string {
	text := s.Figure.Name + " " + s.Figure.Value.String()
	if s.Figure.By != "" {
		text += " (" + s.Figure.By + ")"
	}
	if s.Limit.Cmp(s.Figure.Value) == 0 {
		return text
	}
	return fmt.Sprintf("%s of %s = %s", s.Part, text, s.Limit)
}

// BrownoutFigure is the voltage below which the receiver stops.
const BrownoutFigure = "brownout"

// Figures are those that a limit of a gate may be a share of.
func (d Drive) Figures() []DriveFigure {
	pack := DriveFigure{Name: "pack"}
	if volts, err := d.Nominal.Rat("V"); err == nil && d.Cells > 0 {
		pack.Value, _ = quantity.New(volts.Mul(volts, big.NewRat(int64(d.Cells), 1)), "V")
		pack.By = fmt.Sprintf("%d × %s", d.Cells, d.Nominal)
	}
	battery := DriveFigure{Name: "battery", Value: d.Limits.Battery}
	if d.Limits.Rate > 0 {
		battery.By = fmt.Sprintf("%s C × %s", plain(d.Limits.Rate), d.Capacity)
	}
	return []DriveFigure{
		battery,
		{Name: "connectors", Value: d.Limits.Connectors},
		{Name: "controller", Value: d.Limits.Controller},
		{Name: "motor", Value: d.Limits.Motor},
		{Name: "supply", Value: d.Limits.Supply},
		{Name: "full", Value: d.Full},
		{Name: BrownoutFigure, Value: d.Brownout},
		pack,
	}
}

// Rated is the current of a battery of that capacity whose label says so many C: so many
// times its capacity in one hour.
func Rated(rate float64, capacity quantity.Quantity) (quantity.Quantity, error) {
	hour, err := capacity.Rat("Ah")
	if err != nil {
		return quantity.Quantity{}, err
	}
	times, ok := new(big.Rat).SetString(plain(rate))
	if !ok {
		return quantity.Quantity{}, fmt.Errorf("%v is not a number", rate)
	}
	return quantity.New(hour.Mul(hour, times), "A")
}

func plain(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
