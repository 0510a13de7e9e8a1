package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/steps/sorting"
	"fettle/workflow"
)

// lines is the front of a sitting for pipes, for terminals that can't be drawn on, and for
// whoever has a screen read out: each thing once, in reading order, and nothing is drawn
// over.
type lines struct {
	*app
	prompter *term.Prompter
	clocks   clocks
	tick     <-chan time.Time // when the clocks are looked at

	view    string // the view that was shown last
	rows    []sitting.Row
	where   string    // others were then
	seen    time.Time // the moments until then were said
	read    time.Time // when the journals were looked at last; zero: those of other airframes were not
	changed atomic.Bool
}

// clocks are those of the bench, as [sitting.Bench] has them.
type clocks interface {
	Timers(now time.Time) []sitting.Timer
	Moments(after, until time.Time) []sitting.Moment
	Refresh(ctx context.Context) (changed bool, err error)
	Heard() bool
}

// newLines reads answers until the context ends.
func newLines(ctx context.Context, a *app, bench clocks, tick <-chan time.Time) *lines {
	return &lines{app: a, prompter: term.NewPrompter(ctx, a.Streams), clocks: bench, tick: tick, seen: a.time.Now()}
}

// Tell implements [sitting.Front].
func (l *lines) Tell(markdown string) error { return l.Show(markdown) }

// errOver ends a question whose time has come, or that may have changed.
var errOver = errors.New("over")

// Ask implements [sitting.Front].
func (l *lines) Ask(ctx context.Context, q sitting.Question) (sitting.Reply, error) {
	l.waited.Store(false)
	if err := l.show(q.View); err != nil {
		return sitting.Reply{}, err
	}
	if text := l.moments(); text != "" {
		fmt.Fprintln(l.Err, "\a"+term.Clean(text))
	}
	for {
		var over sitting.Reply
		line, err := l.prompter.Watch(ctx, l.prompt(q), l.tick, func() (string, error) {
			switch text := l.moments(); {
			case !q.Until.IsZero() && !l.time.Now().Before(q.Until) && l.Interactive:
				over = sitting.Reply{Key: sitting.Due}
				return text, errOver
			case l.changed.CompareAndSwap(true, false):
				over = sitting.Reply{Key: sitting.Changed}
				return text, errOver
			default:
				l.refresh(ctx)
				return text, nil
			}
		})
		if errors.Is(err, errOver) {
			return over, nil
		}
		if err != nil {
			return sitting.Reply{}, err
		}
		if line == "" && !q.Until.IsZero() && !l.Interactive {
			return l.wait(ctx, q.Until)
		}
		reply, said := l.answer(q, line)
		if said == "" {
			return reply, nil
		}
		if line == "?" {
			err = l.ShowTo(l.Err, said)
		} else {
			_, err = fmt.Fprintln(l.Err, term.Line(said))
		}
		if err != nil {
			return sitting.Reply{}, err
		}
	}
}

// refresh looks at the journals, if that was not done lately. Nobody waits for it.
func (l *lines) refresh(ctx context.Context) {
	now := l.time.Now()
	if !l.Interactive || l.looks.Load() || now.Sub(l.read) < recheck && !l.clocks.Heard() {
		return
	}
	l.looks.Store(true)
	l.read = now
	go func() {
		defer l.looks.Store(false)
		if changed, _ := l.clocks.Refresh(ctx); changed {
			l.changed.Store(true)
		}
	}()
}

// wait lets the time pass by, where the answers come from a pipe.
func (l *lines) wait(ctx context.Context, until time.Time) (sitting.Reply, error) {
	for now := l.time.Now(); now.Before(until); now = l.time.Now() {
		if err := l.time.Sleep(ctx, min(recheck, until.Sub(now))); err != nil {
			return sitting.Reply{}, err
		}
		if text := l.moments(); text != "" {
			fmt.Fprintln(l.Err, "\a"+term.Clean(text))
		}
	}
	return sitting.Reply{Key: sitting.Due}, nil
}

// moments are what the clocks called for since it was asked last; "": nothing.
func (l *lines) moments() string {
	now := l.time.Now()
	var said []string
	for _, m := range l.clocks.Moments(l.seen, now) {
		said = append(said, m.Says)
	}
	l.seen = now
	return strings.Join(said, "\n")
}

// show shows what was not shown before: all of a new view, or the rows that changed.
func (l *lines) show(v sitting.View) error {
	var b strings.Builder
	isNew := v.ID != l.view
	if isNew {
		place := []string{v.Mark, v.Part}
		if v.Step > 0 {
			place = append(place, fmt.Sprintf("step %d of %d", v.Step, v.Of))
		}
		place = sorting.Delete(place, func(s string) bool { return s == "" })
		fmt.Fprintf(&b, "%s\n\n", page.Escape(strings.Join(place, " · ")))
		for _, c := range v.Cautions {
			text := c.Text
			if c.Read {
				text, _, _ = strings.Cut(text, "\n")
			}
			fmt.Fprintf(&b, "%s\n\n", cautionText(text))
		}
		fmt.Fprintf(&b, "# %s\n\n%s\n\n", page.Escape(v.Title), v.Action)
	}
	for _, r := range v.Rows {
		if !isNew && slices.ContainsFunc(l.rows, func(old sitting.Row) bool { old.Here = r.Here; return old == r }) {
			continue
		}
		text := page.Escape(rowText(r))
		if r.Key != "" { // or it would be a list in a list
			text = strings.Replace(text, ".", "\\.", 1)
		}
		fmt.Fprintf(&b, "- %s\n", text)
	}
	if isNew {
		var running page.Clocks
		for _, t := range l.clocks.Timers(l.time.Now()) {
			if t.Phase != workflow.Curing { // which takes a day
				running.Timers = append(running.Timers, page.NewTimer(t.Mark, t.Timer))
			}
		}
		fmt.Fprintf(&b, "\n%s", running.Strip(l.clock()))
		fmt.Fprintln(l.Out)
	}
	if v.Where != l.where {
		fmt.Fprintf(&b, "\n\n%s", v.Where)
	}
	l.view, l.rows, l.where = v.ID, slices.Clone(v.Rows), v.Where
	if b.Len() == 0 {
		return nil
	}
	return l.Show(b.String())
}

func cautionText(text string) string {
	return "**Caution.** " + strings.TrimSpace(text)
}

func rowText(r sitting.Row) string {
	var parts []string
	if r.Key != "" {
		parts = append(parts, r.Key+".")
	}
	parts = append(parts, r.Label)
	if r.Value != "" {
		parts[len(parts)-1] = strings.TrimPrefix(r.Label+": ", ": ") + r.Value
	}
	return strings.TrimSpace(strings.Join(append(parts, r.Scale), " "))
}

// prompt is the question with its own keys.
func (l *lines) prompt(q sitting.Question) string {
	var keys []string
	for _, k := range l.keys(q) {
		if !k.Common || k.Key == "n" {
			keys = append(keys, keyText(k))
		}
	}
	return term.Line(q.Prompt) + " [" + strings.Join(append(keys, "? more"), ", ") + "] "
}

func (l *lines) keys(q sitting.Question) []sitting.Key {
	if q.Offers == nil {
		return q.Keys
	}
	return append(q.Offers(l.time.Now()), q.Keys...)
}

func keyText(k sitting.Key) string {
	key := k.Key
	if key == sitting.Enter {
		key = "Enter"
	}
	if k.Words {
		key += " WORDS"
	}
	return term.Line(key + " " + k.Word)
}

// answer is what a line answers; said: it answers nothing, and why.
func (l *lines) answer(q sitting.Question, line string) (reply sitting.Reply, said string) {
	keys := l.keys(q)
	if line == "?" {
		return reply, l.help(q, keys)
	}
	words := q.Field != nil && q.Field.Words
	first, rest, more := strings.Cut(line, " ")
	switch pressed := strings.ToLower(line); {
	case line == "":
		first = sitting.Enter
	case q.Field == nil && (pressed == "yes" || pressed == "no"):
		first = pressed[:1]
	case len(pressed) == 1 && !slices.ContainsFunc(keys, func(k sitting.Key) bool { return k.Key == first }):
		first = pressed
	}
	for _, k := range keys {
		switch {
		case !k.Is(first) || words && k.Key != sitting.Enter && line != sitting.Quit && (q.Field.Check == nil || q.Field.Check(line).Taken):
		case !more || k.Words:
			return sitting.Reply{Key: k.Key, Text: strings.TrimSpace(rest)}, ""
		}
	}
	if q.Field != nil && line != "" {
		if q.Field.Check == nil {
			return sitting.Reply{Text: line}, ""
		}
		v := q.Field.Check(line)
		if v.Taken {
			return sitting.Reply{Text: line}, ""
		}
		return reply, v.Said
	}
	if wanted := q.Wanted(); line == "" && wanted != "" {
		return reply, wanted
	}
	return reply, "Not understood; nothing was recorded. Press ? for the keys."
}

// help is what is behind the question mark: more of the step, and every key.
func (l *lines) help(q sitting.Question, keys []sitting.Key) string {
	var b strings.Builder
	for _, c := range q.View.Cautions {
		fmt.Fprintf(&b, "%s\n\n", cautionText(c.Text))
	}
	fmt.Fprintf(&b, "%s\n\n", q.View.More)
	if q.Field != nil && q.Field.Label != "" {
		fmt.Fprintf(&b, "- %s\n", page.Escape(q.Field.Label))
	}
	for _, k := range keys {
		fmt.Fprintf(&b, "- %s\n", page.Escape(keyText(k)))
	}
	return b.String()
}
