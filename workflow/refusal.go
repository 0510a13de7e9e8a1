package workflow

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"fettle/workflow/journal"
)

// A Cause is why something is as it is.
type Cause struct {
	Text string    // one line, lower case, no full stop, without times
	At   time.Time // when what it tells of happened, where it tells of something that did
}

// IsZero reports whether nothing is said.
func (c Cause) IsZero() bool { return c.Text == "" }

// after puts words before the cause.
func (c Cause) after(words string) Cause { return Cause{words + c.Text, c.At} }

// A Reason says why something can't be done now.
type Reason struct {
	Because Because   `json:"because"`
	Text    string    `json:"text"`            // one line, lower case, no full stop, without times
	At      time.Time `json:"at,omitzero"`     // when what it tells of happened
	Until   time.Time `json:"until,omitzero"`  // when it ends by itself, where it does
	Closes  time.Time `json:"closes,omitzero"` // for a joint: when it is too late
	Remedy  Remedy    `json:"remedy,omitzero"` // what would help
}

// Because is the class of a reason.
type Because string

// The classes of reason.
const (
	ByOrder     Because = "order"     // steps or stages that stand before it
	ByDrying    Because = "drying"    // a joint or a wait that time will open
	ByLapse     Because = "lapsed"    // a coat that waited too long
	ByTouch     Because = "touch"     // the touch test holds it back
	ByGate      Because = "gate"      // a gate that is not met
	ByGauge     Because = "gauge"     // a gauge that was not good when it was last checked
	ByHold      Because = "hold"      // a hold that is not cleared
	ByCondition Because = "condition" // a condition that does not stand as needed
	ByClimate   Because = "climate"   // temperature or humidity: unknown or unfit
	ByClock     Because = "clock"     // the clock and the journal disagree
	ByState     Because = "state"     // the airframe or job is not in a state for it
)

// A Refusal is the answer no, with every reason.
type Refusal struct {
	What    string // what was asked, such as "join-wing"
	Reasons []Reason
	// Record are facts that stand although the request was refused, such as
	// a touch test that found the coat wet.
	Record []journal.Entry
}

func (r *Refusal) Error() string {
	lines := make([]string, len(r.Reasons))
	for i, reason := range r.Reasons {
		lines[i] = reason.Text
	}
	return fmt.Sprintf("%s is refused: %s", r.What, strings.Join(lines, "; "))
}

// refuse builds a refusal of one reason.
func refuse(what string, because Because, text string, remedy Remedy) error {
	return &Refusal{What: what, Reasons: []Reason{{Because: because, Text: text, Remedy: remedy}}}
}

// An UnknownError is a name that stands for nothing here.
type UnknownError struct {
	What    string // "step", "gate", …
	Name    string
	Nearest string // "" where nothing is near
	Known   []string
}

func (e *UnknownError) Error() string {
	switch {
	case e.Nearest != "":
		return fmt.Sprintf("no %s %q; did you mean %q?", e.What, e.Name, e.Nearest)
	case len(e.Known) > 0 && len(e.Known) <= 12:
		return fmt.Sprintf("no %s %q; there are %s", e.What, e.Name, strings.Join(e.Known, ", "))
	}
	return fmt.Sprintf("no %s %q", e.What, e.Name)
}

// ErrBadRequest is wrapped by errors for a request that makes no sense in any
// state: a reading in the wrong unit, a time in the future, an empty note.
var ErrBadRequest = errors.New("bad request")

// A BadRequestError is an ErrBadRequest with what would help.
type BadRequestError struct {
	Text   string
	Remedy Remedy // zero: the text says it all
}

func (b *BadRequestError) Error() string { return b.Text }
func (*BadRequestError) Unwrap() error   { return ErrBadRequest }

func bad(format string, args ...any) error {
	return &BadRequestError{Text: fmt.Sprintf(format, args...)}
}
