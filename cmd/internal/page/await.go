package page

import (
	"fmt"
	"time"

	"fettle/workflow"
)

// AwaitLine says what is waited for, with its clock times.
func AwaitLine(mark string, w workflow.Await, c Clock) string {
	line := fmt.Sprintf("%s: %s: ready at %s", mark, w.What, c.At(w.Ready))
	if !w.Then.IsZero() {
		line += fmt.Sprintf(", %s %s", w.ThenWhat, c.At(w.Then))
	}
	return line
}

// A Ready is a wait that is over.
type Ready struct {
	Mark  string    `json:"mark"`
	What  string    `json:"what"`
	Ready time.Time `json:"ready"`
	Then  time.Time `json:"then,omitzero"`
	Says  string    `json:"then_what,omitempty"`
}

// NewReady makes the answer at ready.
func NewReady(mark string, w workflow.Await) Ready {
	return Ready{mark, w.What, w.Ready, w.Then, w.ThenWhat}
}

// Markdown is the answer in one line.
func (r Ready) Markdown(c Clock) string {
	line := fmt.Sprintf("**Ready:** %s, %s, since %s", esc(r.Mark), esc(r.What), c.At(r.Ready))
	if !r.Then.IsZero() {
		line += fmt.Sprintf("; %s **%s** (%s)", esc(r.Says), c.At(r.Then), c.In(r.Then))
	}
	return line + "\n"
}
