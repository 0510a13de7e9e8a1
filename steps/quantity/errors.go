package quantity

import (
	"strconv"
	"strings"
	"unicode/utf8"
)

// A Reason says why a quantity was refused. It is itself an error, so that
// errors.Is(err, quantity.NoUnit) tells one refusal from another.
type Reason string

// The reasons.
const (
	Empty          Reason = "nothing is written"
	TooLong        Reason = "too long"
	NotANumber     Reason = "not a number"
	NoUnit         Reason = "no unit"
	UnknownUnit    Reason = "unknown unit"
	WrongDimension Reason = "wrong dimension"
	TwoNumbers     Reason = "two numbers"
	Ambiguous      Reason = "ambiguous"       // 1,500 or mil
	TooLarge       Reason = "too large"       // or too many digits
	ZeroBelow      Reason = "divided by zero" // 3/0
	TooCold        Reason = "below absolute zero"
	WrongWayRound  Reason = "the wrong way round" // a range that runs backwards
	Absent         Reason = "absent"              // the zero Quantity was used
	Tampered       Reason = "tampered"            // a stored quantity disagrees with itself
)

// Error is the reason in words.
func (r Reason) Error() string { return string(r) }

// An Error is a refusal to read or convert a quantity.
type Error struct {
	Text    string // what was given, unchanged: quote it before printing it
	Reason  Reason
	Message string // what was wrong; one line, safe to print
	Hint    string // what to write instead, or empty; one line, safe to print
}

// Error says in one line what was wrong and what to write instead.
func (e *Error) Error() string {
	if e.Hint == "" {
		return e.Message
	}
	return e.Message + "; " + e.Hint
}

// Unwrap returns the reason, for errors.Is.
func (e *Error) Unwrap() error { return e.Reason }

// quote makes text safe to print and short enough for one line.
func quote(text string) string {
	const most = 60
	if len(text) <= most {
		quoted := strconv.Quote(text)
		if strings.Contains(text, `"`) && strings.Count(quoted, `\`) == strings.Count(text, `"`) { // 1/32"
			return "'" + text + "'"
		}
		return quoted
	}
	cut := most
	for cut > most-utf8.UTFMax && !utf8.RuneStart(text[cut]) {
		cut--
	}
	return strconv.Quote(text[:cut]) + "…"
}

func absent() error {
	return &Error{Reason: Absent, Message: "there is no quantity here", Hint: "write one, such as 12 mm"}
}

func tooLarge(text string) error {
	return &Error{Text: text, Reason: TooLarge, Message: quote(text) + " is too large",
		Hint: "write at most 1000 km, 1000 t or 31 years, or 1000000000 in another base unit"}
}

//go:noinline
func tooFine(text string) error {
	return &Error{Text: text, Reason: TooLarge, Message: quote(text) + " has too many digits",
		Hint: "write at most 15 on either side of the point, and 6 above and below a fraction's line"}
}
