package workflow

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/workflow/journal"
)

// A Cause says why something is as it is.
type Cause struct {
	Text string    // one line, lower case, no full stop, without times
	At   time.Time // when it happened; zero: it is not an event
}

// IsZero reports whether nothing is said.
func (c Cause) IsZero() bool { return c.Text == "" }

// after returns the cause with words in front.
//
//go:noinline
func (c Cause) after(words string) Cause { return Cause{words + c.Text, c.At} }

// A Reason says why something can't be done now.
type Reason struct {
	Because Because   `json:"because"`
	Text    string    `json:"text"`            // one line, lower case, no full stop, without times
	At      time.Time `json:"at,omitzero"`     // when the cause happened
	Until   time.Time `json:"until,omitzero"`  // when it ends without an action; zero: it does not
	Closes  time.Time `json:"closes,omitzero"` // for a joint: join it by then
	Remedy  Remedy    `json:"remedy,omitzero"` // what would help
}

// Because is the class of a reason.
type Because string

// The classes of reason.
const (
	ByOrder     Because = "order"     // steps or stages that come before it
	ByDrying    Because = "drying"    // a joint or a wait whose time has not come
	ByLapse     Because = "lapsed"    // a coat that waited too long
	ByTouch     Because = "touch"     // the touch test holds it back
	ByGate      Because = "gate"      // a gate that is not met
	ByGauge     Because = "gauge"     // a gauge that failed its last check
	ByReading   Because = "reading"   // it is probably mistyped or misread
	ByHold      Because = "hold"      // a hold that is not cleared
	ByCondition Because = "condition" // a condition that is not met
	ByClimate   Because = "climate"   // temperature or humidity: unknown or unfit
	ByClock     Because = "clock"     // the clock and the journal disagree
	ByDamage    Because = "damage"    // open damage of what it works on
	ByTime      Because = "time"      // it takes longer than every sitting
	ByState     Because = "state"     // the airframe or job is not in a state for it
)

// A Refusal says no, with every reason.
type Refusal struct {
	What    string // what was asked, such as "join-wing"
	Reasons []Reason
}

func (r *Refusal) Error() string {
	lines := make([]string, len(r.Reasons))
	for i, reason := range r.Reasons {
		lines[i] = reason.Text
	}
	return fmt.Sprintf("%s is refused: %s", r.What, strings.Join(lines, "; "))
}

// Doubted reports whether it asks back what is probably mistyped, and nothing else: who is
// sure of it may have it recorded all the same.
//
//go:noinline
func (r *Refusal) Doubted() bool {
	return !anyReason(r.Reasons, func(reason Reason) bool { return reason.Remedy.Kind != ToBeSure })
}

// A PartError says that a request was refused in part: Record is appended all the same,
// such as a touch test that found the coat wet, or the other findings of a report.
type PartError struct {
	Record  []journal.Entry
	Refused []error
}

func (e *PartError) Error() string {
	lines := make([]string, len(e.Refused))
	for i, err := range e.Refused {
		lines[i] = err.Error()
	}
	return strings.Join(lines, "; ")
}

// Unwrap are the errors of what was refused.
func (e *PartError) Unwrap() []error { return e.Refused }

// refuse builds a refusal of one reason.
// It is not inlined: its copies in all callers would take 16 KB.
//
//go:noinline
func refuse(what string, because Because, text string, remedy Remedy) error {
	return &Refusal{What: what, Reasons: []Reason{{Because: because, Text: text, Remedy: remedy}}}
}

// An UnknownError is a name that does not exist here.
type UnknownError struct {
	Of      string // what does not have it, such as a mark or a design; "": nothing in particular
	What    string // "step", "gate", …
	Name    string // "": there is none of any name
	Nearest string // "": nothing is near
	Known   []string
}

func (e *UnknownError) Error() string {
	text := "no " + e.What
	if e.Of != "" {
		text = e.Of + " has " + text
	}
	if e.Name != "" {
		text += fmt.Sprintf(" %q", e.Name)
	}
	switch {
	case e.Nearest != "":
		text += fmt.Sprintf("; did you mean %q?", e.Nearest)
	case len(e.Known) > 0 && len(e.Known) <= 12:
		text += "; choose from " + strings.Join(e.Known, ", ")
	}
	return text
}

// ErrBadRequest is wrapped by errors for a request that is wrong in any state:
// a reading in the wrong unit, a time in the future, an empty note.
var ErrBadRequest = errors.New("bad request")

// A BadRequestError is an ErrBadRequest with what would help.
type BadRequestError struct {
	Text   string
	Remedy Remedy // zero: none is needed
}

func (b *BadRequestError) Error() string { return b.Text }
func (*BadRequestError) Unwrap() error   { return ErrBadRequest }

// bad is not inlined: its copies in all callers would take 8 KB.
//
//go:noinline
func bad(format string, args ...any) error {
	return &BadRequestError{Text: fmt.Sprintf(format, args...)}
}

// anyReason reports whether any of the reasons is such.
// It is not inlined: its copies in all callers would take 3 KB.
//
//go:noinline
func anyReason(all []Reason, such func(Reason) bool) bool { return slices.ContainsFunc(all, such) }
