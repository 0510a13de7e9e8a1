package page

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"fettle/steps/measuring"
	"fettle/steps/planform"
	"fettle/steps/quantity"
	"fettle/workflow"
)

// A CardBalance is where the airframe balances, in mm aft of the datum: as it was last
// measured and, where something was changed since, as it is computed.
type CardBalance struct {
	Gate     string    `json:"gate"`
	Zero     float64   `json:"gate_zero_mm,omitempty"`     // the station from which the gate is read
	Read     *float64  `json:"as_gate_reads_mm,omitempty"` // where it balances, counted from there
	Datum    string    `json:"datum"`
	Positive string    `json:"positive"` // the side to which stations count
	Standing string    `json:"standing"`
	Words    string    `json:"words"`
	Station  *float64  `json:"station_mm,omitempty"`
	U        float64   `json:"uncertainty_mm,omitempty"`
	Percent  *float64  `json:"percent_mac,omitempty"`
	PercentU float64   `json:"uncertainty_percent_mac,omitempty"`
	Low      *float64  `json:"forward_limit_mm,omitempty"`
	High     *float64  `json:"aft_limit_mm,omitempty"`
	At       time.Time `json:"measured_at,omitzero"`
	Counts   bool      `json:"counts"` // nothing was changed since
	Computed *float64  `json:"computed_mm,omitempty"`

	ComputedU float64  `json:"computed_uncertainty_mm,omitempty"` // 0: nobody knows
	Verdict   string   `json:"verdict"`                           // of where it balances now
	Again     string   `json:"weigh_again,omitempty"`             // why it has to be weighed again
	Unknown   []string `json:"unknown,omitempty"`
	Pack      *Lying   `json:"battery,omitempty"` // where its middle lies; none: nobody says

	wing planform.Surface
}

// A Lying is where the battery lies, by the length of the sheet's.
type Lying struct {
	Middle float64 `json:"middle_mm"`
	Front  float64 `json:"front_mm"`
	Rear   float64 `json:"rear_mm"`
}

func newCardBalance(datum string, p *workflow.Poise) *CardBalance {
	b := &CardBalance{Gate: p.Gate.Name, Zero: p.Zero, Datum: datum, Standing: string(p.Standing.Standing), Words: p.Standing.Words(), Positive: "aft of the datum", Verdict: string(p.Verdict()), Again: weighAgain(p), Unknown: p.Unknown, Low: finite(p.Low), High: finite(p.High), Counts: p.Counts, wing: p.Wing}
	if at, long, ok := p.Pack(); ok {
		b.Pack = &Lying{at, at - long/2, at + long/2}
	}
	if p.Weighed {
		b.Station, b.U, b.At = finite(p.Station), p.U, p.At
	}
	if !p.Counts && len(p.Unknown) == 0 {
		b.Computed = finite(p.Now)
		if u := finite(p.NowU); u != nil {
			b.ComputedU = *u
		}
	}
	if at, _ := b.Now(); at != nil && b.Zero != 0 {
		b.Read = finite(*at - b.Zero)
	}
	if at, u := b.Now(); at != nil && b.wing.Area > 0 {
		b.Percent, b.PercentU = finite(b.wing.Chord.Percent(*at)), 100*u/b.wing.Chord.Length
	}
	return b
}

// Now is where it balances now, as measured if that counts, and the uncertainty of that,
// 0 if it is not known; nil: nothing says.
func (b *CardBalance) Now() (station *float64, u float64) {
	if b.Counts {
		return b.Station, b.U
	}
	return b.Computed, b.ComputedU
}

// Chord is the mean aerodynamic chord, and how far out it lies, in mm; false: the sheet
// has no wing.
func (b *CardBalance) Chord() (chord planform.Chord, y float64, ok bool) {
	return b.wing.Chord, b.wing.Y, b.wing.Area > 0
}

// A CardSide is what levels the airframe at a wing tip, by a gate.
type CardSide struct {
	Gate   string    `json:"gate"`
	At     time.Time `json:"measured_at"`
	Mass   float64   `json:"mass_g"`
	Tip    string    `json:"tip,omitempty"` // "": which one is not on record
	Counts bool      `json:"counts"`
	Words  string    `json:"standing,omitempty"` // of the gate, if it was not passed
}

func newCardSide(s workflow.Sideways) *CardSide {
	if s.Gate == "" {
		return nil
	}
	side := &CardSide{Gate: s.Gate, At: s.At, Mass: s.Mass, Tip: "right", Counts: s.Counts, Words: s.Standing}
	switch {
	case s.Laid:
		side.Tip = ""
	case s.Left:
		side.Tip = "left"
	}
	return side
}

// row is it as one line, and what that rests on.
func (s *CardSide) row(clock *Clock) (is, rests string) {
	rests = measuredAt(s.At, s.Words, s.Words == "", clock)
	switch mass := masses(clock, 1, s.Mass); {
	case s.Tip == "" && s.Mass == 0:
		return "level, with nothing on either tip", rests
	case s.Tip == "":
		return mass + " was laid on a tip; which one is not on record", rests
	case !s.Counts:
		return "not known", rests
	default:
		return mass + " at the " + s.Tip + " tip would level it", rests
	}
}

// A CardThrow is how far a control surface goes.
type CardThrow struct {
	Control string       `json:"control"`
	Title   string       `json:"title"`
	Gate    string       `json:"gate"`
	Words   string       `json:"words"` // how the gate stands
	Met     bool         `json:"met"`
	Values  []ThrowValue `json:"values,omitempty"`
	At      time.Time    `json:"measured_at,omitzero"`
}

// A ThrowValue is how far it goes at one point of its gate.
type ThrowValue struct {
	Point string  `json:"point,omitempty"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	// The same as an angle, or as a travel at the chord.
	Other     *float64 `json:"other,omitempty"`
	OtherUnit string   `json:"other_unit,omitempty"`
}

func newThrowValue(s *workflow.State, gate, point string, p measuring.Part) ThrowValue {
	v := ThrowValue{Point: point, Value: p.Value, Unit: p.Unit}
	control, ok := s.Sheet.ControlOf(gate)
	read, err := quantity.ParseIn(strconv.FormatFloat(p.Value, 'f', 6, 64), p.Unit)
	if !ok || err != nil {
		return v
	}
	if other, ok := control.Other(read, quantity.Nearest); ok {
		v.OtherUnit = other.Unit()
		value, _ := other.Float(v.OtherUnit)
		v.Other = &value
	}
	return v
}

// row is the balance as one line, and what that rests on: as the gate reads it, which is
// what is measured at the field, and where that is not from the datum as stations too.
func (b *CardBalance) row(clock *Clock) (is, rests string) {
	limits := func(zero float64) string {
		switch {
		case b.Low != nil && b.High != nil:
			return fmt.Sprintf("%s to %s mm", places(*b.Low-zero, 1), places(*b.High-zero, 1))
		case b.High != nil:
			return "at most " + places(*b.High-zero, 1) + " mm"
		case b.Low != nil:
			return "at least " + places(*b.Low-zero, 1) + " mm"
		}
		return ""
	}
	at, u := b.Now()
	switch {
	case at == nil:
		is = "not known"
	case b.Read != nil:
		is = quantity.Written(interval(*b.Read, u), "mm") + " as the gate reads it, " + places(*at, 1) + " mm from the datum"
	default:
		is = aft(*at, u)
	}
	if b.Percent != nil {
		is += ", " + quantity.Written(interval(*b.Percent, b.PercentU), "%") + " MAC"
	}
	is += optionally("; limits ", limits(b.Zero))
	if b.Zero != 0 {
		is += optionally(", ", limits(0)) + " from the datum"
	}
	is += "; datum: " + datum(b.Datum)
	switch {
	case b.Counts && b.Standing == string(workflow.Current):
		return is, "measured " + clock.At(b.At)
	case b.Counts:
		return is, "measured " + clock.At(b.At) + ", " + b.Words
	case b.Station == nil && at == nil:
		return is, strings.TrimPrefix(b.Again, "not known: ")
	case b.Station == nil:
		if b.Low != nil && *at < *b.Low || b.High != nil && *at > *b.High {
			return is, "from the sheet, computed of its parts as it places them, and OUTSIDE the limits: move the battery, then weigh it"
		}
		return is, "from the sheet, computed of its parts: weigh it"
	}
	rests = strings.TrimPrefix(b.Again, "not known: ")
	if b.Verdict != "" && at != nil {
		rests = b.Verdict + ", " + rests
	}
	return is, fmt.Sprintf("weighed %s: %s; %s", clock.At(b.At), interval(*b.Station-b.Zero, b.U)+" mm", rests)
}

// datum is what lies at the datum in a few words.
func datum(text string) string {
	if i := strings.IndexAny(text, ",.;:"); i > 0 {
		text = text[:i]
	}
	first, size := utf8.DecodeRuneInString(text)
	return cut(string(unicode.ToLower(first))+text[size:], 40)
}

// aft is a station in words.
func aft(x, u float64) string {
	if x < 0 {
		return quantity.Written(interval(-x, u), "mm") + " ahead of the datum"
	}
	return quantity.Written(interval(x, u), "mm") + " aft of the datum"
}

// interval is a figure with its uncertainty, if that is known, which is rounded up.
func interval(x, u float64) string {
	if u > 0 {
		return places(x, 1) + " ± " + places(math.Ceil(u*10-1e-9)/10, 1)
	}
	return places(x, 1)
}
