package workflow

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"fettle/workflow/journal"
)

// A Reason says why something can't be done now.
type Reason struct {
	Because Because   `json:"because"`
	Text    string    `json:"text"`            // one line, lower case, no full stop
	Until   time.Time `json:"until,omitzero"`  // when it ends by itself, where it does
	Closes  time.Time `json:"closes,omitzero"` // for a joint: when it is too late
	Do      string    `json:"do,omitempty"`    // what to do about it, one line
}

func (r Reason) String() string {
	if r.Do == "" {
		return r.Text
	}
	return r.Text + ": " + r.Do
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
		lines[i] = reason.String()
	}
	return fmt.Sprintf("%s is refused: %s", r.What, strings.Join(lines, "; "))
}

// refuse builds a refusal of one reason.
func refuse(what string, because Because, text, do string) error {
	return &Refusal{What: what, Reasons: []Reason{{Because: because, Text: text, Do: do}}}
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

type badRequest struct{ text string }

func (b badRequest) Error() string { return b.text }
func (badRequest) Unwrap() error   { return ErrBadRequest }

func bad(format string, args ...any) error { return badRequest{fmt.Sprintf(format, args...)} }

// day is a day as reasons say it. The engine knows no one's own zone.
func day(t time.Time) string { return t.UTC().Format("2 January 2006 UTC") }
