// Package term is the only place that knows what a terminal is: it renders
// Markdown for one, asks questions on one, and keeps control characters from
// documents and journals away from it.
package term

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	xansi "github.com/charmbracelet/x/ansi"
	"golang.org/x/term"
)

// Width is the width of a text if the terminal is wider or unknown.
const Width = 100

// Streams are where a command reads and writes.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
	// Colour and Interactive are decided once: colour only on a terminal
	// without NO_COLOR; interactive if both ends are a terminal.
	Colour      bool
	Interactive bool
	Columns     int
	// Size asks the terminal how large it is now; nil: the output is none.
	Size func() (columns, rows int)
	// Options are what commands of the program are shown with, so that they do for the same person and store.
	Options []string
}

// Standard returns the process's streams.
func Standard() Streams {
	s := Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Columns: Width}
	out := int(os.Stdout.Fd())
	if term.IsTerminal(out) {
		s.Colour = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
		s.Interactive = term.IsTerminal(int(os.Stdin.Fd()))
		s.Size = func() (columns, rows int) {
			columns, rows, _ = term.GetSize(out) // 0: it does not say
			return columns, rows
		}
	} else if asked, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && asked >= 20 {
		s.Columns = asked
	}
	return s
}

// Wide is how wide a text is set: as wide as the terminal is now.
func (s Streams) Wide() int {
	if s.Size != nil {
		if columns, _ := s.Size(); columns > 0 {
			return min(columns, Width)
		}
	}
	return s.Columns
}

// Room is how many of these lines have room on the terminal as it is now, with an empty
// line and a question; at least one.
func (s Streams) Room(lines []string) int {
	columns, rows := Width, 24
	if s.Size != nil {
		if c, r := s.Size(); c > 0 && r > 0 {
			columns, rows = c, r
		}
	}
	for n, line := range lines {
		if rows -= max(0, xansi.StringWidth(line)-1)/columns + 1; rows < 2 {
			return max(1, n)
		}
	}
	return len(lines)
}

// ErrEnd is returned by Ask when the input has ended.
var ErrEnd = errors.New("the input ended")

// A Prompter asks questions line by line.
type Prompter struct {
	out   io.Writer
	fold  func(string) string
	echo  bool // show the answer, which does not come from a terminal
	lines <-chan typed
	asked *atomic.Int64 // how many questions were asked
}

// typed is a line of input, with the number of questions asked by then.
type typed struct {
	text  string
	asked int64
}

// waitingLines is how many unasked lines are read ahead from a terminal.
const waitingLines = 1000

// NewPrompter reads answers from the streams' input until it ends or the
// context is done.
func NewPrompter(ctx context.Context, s Streams) *Prompter {
	room := 0
	if s.Interactive { // read each line as it is typed, to know when that was
		room = waitingLines
	}
	lines, asked := make(chan typed, room), new(atomic.Int64)
	go func() {
		defer close(lines)
		in := bufio.NewScanner(s.In)
		for in.Scan() {
			select {
			case lines <- typed{in.Text(), asked.Load()}:
			case <-ctx.Done():
				return
			}
		}
	}()
	return &Prompter{s.Err, s.Fold, !s.Interactive, lines, asked}
}

// Ask shows the question and returns the answer without surrounding space; at
// the end of the input it returns ErrEnd, and when stopped the context's error.
// A line that was typed on a terminal before the question appeared does not answer
// it: Enter pressed twice, or while a joint dried, must not confirm what comes next.
//
//go:noinline
func (p *Prompter) Ask(ctx context.Context, question string) (string, error) {
	return p.Watch(ctx, question, nil, nil)
}

// Watch is Ask that looks at something with each tick while the question stands. What look
// returns is shown on a line of its own, with a bell, and the question again; its error
// ends the question.
func (p *Prompter) Watch(ctx context.Context, question string, tick <-chan time.Time, look func() (string, error)) (string, error) {
	now := p.asked.Add(1)
	fmt.Fprint(p.out, p.fold(question))
	for {
		select {
		case <-tick:
			text, err := look()
			if err != nil {
				fmt.Fprintln(p.out)
				return "", err
			}
			if text != "" {
				fmt.Fprint(p.out, "\n\a"+p.fold(Clean(text)+"\n"+question))
			}
		case line, ok := <-p.lines:
			switch {
			case !ok:
				fmt.Fprintln(p.out)
				return "", ErrEnd
			case p.echo:
				fmt.Fprintln(p.out, Line(line.text))
			case line.asked != now:
				continue
			}
			return strings.TrimSpace(line.text), nil
		case <-ctx.Done():
			fmt.Fprintln(p.out)
			return "", ctx.Err()
		}
	}
}

// YesNo reads the answer to a yes-or-no question; ok is false if it is neither.
//
//go:noinline
func YesNo(answer string) (yes, ok bool) {
	switch strings.ToLower(answer) {
	case "y", "yes":
		return true, true
	case "n", "no":
		return false, true
	}
	return false, false
}
