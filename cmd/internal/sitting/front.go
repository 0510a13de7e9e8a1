// Package sitting leads a builder through one visit to the bench: what is shown,
// what is asked, and what an answer records. It knows no terminal: a [Front] shows
// the questions and brings the answers.
package sitting

import (
	"context"
	"slices"
	"strings"
	"time"
)

// A Front is where a conversation takes place: a full screen, or line by line.
//
// The conversation runs in a goroutine of its own and blocks in Ask. While a
// question stands, the front shows the clocks of the [Bench], rings at each of
// its moments, and guards against answers that nobody meant: what was pressed
// before the question was shown does not answer it.
type Front interface {
	// Ask shows the question and returns the answer: one of its keys, or a text for
	// its field. It returns term.ErrEnd when there is no more input, and the error of
	// the context when it is stopped.
	Ask(ctx context.Context, q Question) (Reply, error)

	// Tell shows Markdown that asks nothing: what was recorded, or what was refused
	// and why. It stays in sight until the next answer.
	Tell(markdown string) error
}

// A Question is what stands at the bench until it is answered.
type Question struct {
	View   View
	Prompt string // plain text, one line
	Keys   []Key  // what may be pressed; a key that is not listed does nothing, Enter among them
	Field  *Field // what may be typed instead; nil: nothing

	// Offers are further keys at a moment, such as to go to a joint whose window has
	// opened meanwhile; nil: none. It may be called at any time.
	Offers func(now time.Time) []Key

	// Until is when the question needs no answer any more: the front returns [Due]
	// then. Zero: it stands.
	Until time.Time
}

// OnlyLetters reports whether nothing but a letter or a digit answers the question: it is
// a hold, or about what can hurt.
func (q Question) OnlyLetters() bool {
	return q.Field == nil && !slices.ContainsFunc(q.Keys, func(k Key) bool { return k.Key == Enter })
}

// Wanted says what is to be pressed where Enter is no answer, of a question that
// [Question.OnlyLetters] answer; "": anything answers it.
func (q Question) Wanted() string {
	var own []string
	for _, k := range q.Keys {
		if !k.Common {
			own = append(own, k.Key)
		}
	}
	if !q.OnlyLetters() || len(own) == 0 {
		return ""
	}
	return "Enter is not enough here. Press " + strings.Join(own, " or ") + "."
}

// Is reports whether a key that was pressed is this one.
func (k Key) Is(pressed string) bool {
	return pressed != "" && (k.Key == pressed || k.Also == pressed)
}

// A View is what the builder sees above the prompt, in the order of need.
type View struct {
	// ID names what is shown. As long as it stays the same, only rows and cautions may
	// have changed, and a front that cannot redraw need not show the rest again.
	ID string

	Mark     string    // of the airframe; "": of none
	Part     string    // of the airframe that is worked on
	Step, Of int       // step N of M of the job; 0: not counted
	Cautions []Caution // shown whole, before the action
	Title    string    // plain text
	Action   string    // Markdown: what to do, and by when
	Rows     []Row     // what is asked line by line: readings, the lines of a hold, choices
	More     string    // Markdown behind `?`: why, tools, adhesive, what else waits
	Where    string    // Markdown: where others are, beside what is told; it may change while ID stays
}

// A Caution says what can hurt.
type Caution struct {
	Text string // Markdown
	Read bool   // it was shown whole in this sitting: one line is enough where there is no room for more
}

// A Row is one line of what is asked for.
type Row struct {
	Key   string // that answers it, "1"; "": none
	Label string // plain text
	Value string // the answer in words, "4.6 mm passed"; "": not answered
	Scale string // the value and its limits as a drawing of one line; "": none
	State RowState
	Here  bool // it is what the prompt asks for
}

// A RowState says how a row stands.
type RowState int

// The states of a row.
const (
	Unanswered RowState = iota
	Good                // confirmed, or passed
	Bad                 // out of tolerance
	Unsure              // undecided
)

// A Key is one key that answers a question.
type Key struct {
	Key    string // a letter or a digit as it is pressed, or [Enter]
	Word   string // what it does: "done", "not now"
	Common bool   // it is there at every question: the others are shown first
	Words  bool   // in line mode words may follow it: "t the blade is new"

	// Also is a further letter that means the same and is not shown: d beside Enter where
	// something is done, n where the key says no.
	Also string
}

// Keys and replies that a front has to know.
const (
	Enter   = "enter"
	Quit    = "q"       // a key of every question: it leaves the bench
	Due     = "due"     // only as a reply: the time of the question has come
	Changed = "changed" // only as a reply: another terminal has added to a journal
)

// A Field is what may be typed as an answer.
type Field struct {
	Label string // what is typed, with its unit or an example
	// Words says that any words may be typed, also such as begin with the letter of
	// a key: only Enter, a digit that is a key, and whatever leaves a field, are keys
	// while it is open.
	Words bool
	// Check says what the text typed so far would come to; nil: nothing is said. It
	// must be quick and may be called from any goroutine.
	Check func(text string) Verdict
}

// A Verdict is what a typed text would come to.
type Verdict struct {
	Said  string // plain text: "too deep, by 0.7 mm"; or why it can't be read
	Scale string // as of a [Row]
	State RowState
	Taken bool // it could be answered so
}

// takes is what a text comes to that is taken, or of which there is only to say why not.
func takes(ok bool, why string) Verdict {
	if ok {
		return Verdict{Taken: true}
	}
	return Verdict{Said: why}
}

// A Reply answers a question.
type Reply struct {
	Key  string // one of the question's, or Due or Changed; "": Text answers the field
	Text string // for the field, or the words behind a key that takes some
}

// A Waiter is a front that says when the store is waited for.
type Waiter interface{ Waiting(is bool) }
