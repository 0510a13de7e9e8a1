package cli

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/steps/sorting"
	"fettle/workflow"
)

// A watch is a clock on the wall of the bench: on a terminal all running clocks are drawn
// each second, elsewhere each of their moments is a line.
type watch struct {
	*app
	bench  *sitting.Bench
	marks  []string // none: all airframes
	runner *runner

	ran, read time.Time
	last      []term.Row // the moments that came, the last one first
	warned    string
	away      bool       // the store is
	known     bool       // the journals were read
	below     []term.Row // what is drawn below the notice
	back      []string   // what was put back to an older state last, and when
}

// watch watches the clocks of the named airframes, or of all.
func (a *app) watch(ctx context.Context, marks []string, r *runner) error {
	w, err := a.watched(ctx, marks)
	if err != nil {
		return err
	}
	w.runner = r
	defer r.end()
	return w.run(ctx)
}

// watched is a watch of the named airframes, or of all, that goes on while the store is away.
func (a *app) watched(ctx context.Context, marks []string) (*watch, error) {
	a.draws = a.Interactive
	if err := a.recall(); err != nil {
		return nil, err
	}
	if _, err := a.states(ctx, marks); err != nil { // one is not there
		return nil, err
	}
	d, err := a.desk()
	if err != nil {
		return nil, err
	}
	w := &watch{app: a, bench: sitting.NewBench(d), marks: marks}
	w.bench.Follow(ctx)
	return w, nil
}

// glance is how often the journals are looked at on a terminal.
const glance = 2 * time.Second

// run watches until it is stopped.
func (w *watch) run(ctx context.Context) error {
	if w.Interactive {
		defer fmt.Fprintln(w.Out)
	}
	w.ran = w.time.Now()
	w.refresh(ctx, w.ran)
	if !w.Interactive && !w.json && w.known {
		clocks := page.Clocks{Timers: []page.Timer{}}
		for _, s := range w.states() {
			clocks.Add(s, w.ran)
		}
		w.lead(&clocks, w.ran)
		if err := w.show(clocks); err != nil {
			return err
		}
	}
	for {
		now := w.time.Now()
		if err := w.ring(now); err != nil {
			return err
		}
		if w.Interactive {
			w.Draw(w.rows(now))
		}
		if err := w.time.Sleep(ctx, w.next(now)); err != nil {
			return err
		}
		w.refresh(ctx, w.time.Now())
	}
}

// next is how long nothing need be looked at: on a terminal, and where other benches are
// heard, to the next second, elsewhere to the next moment.
func (w *watch) next(now time.Time) time.Duration {
	if w.Interactive || w.bench.Hears() {
		return now.Truncate(time.Second).Add(time.Second).Sub(now)
	}
	if coming := workflow.Moments(w.states(), now, now.Add(recheck)); len(coming) > 0 {
		return coming[0].At.Sub(now)
	}
	return recheck
}

// refresh looks at the journals, if that was not done lately. A fault is said once.
func (w *watch) refresh(ctx context.Context, now time.Time) {
	every := recheck
	if w.Interactive || w.away {
		every = glance
	}
	if since := now.Sub(w.read); since >= 0 && since < every && !w.bench.Heard() {
		return
	}
	w.read = now
	_, err := w.bench.Refresh(ctx)
	for _, p := range w.bench.PutBack() {
		text := page.PutBack(p)
		if !w.draws {
			w.warn("%s", text)
		}
		w.back = []string{w.clock().At(now) + ": " + strings.TrimSuffix(text, page.PutBackDo), page.PutBackDo[len("; "):]}
	}
	_, why := w.kept.Desk.AsOf()
	if back := w.away && why == nil; back && !w.draws {
		w.warn("the store can be reached again")
	} else if back || err == nil && w.draws {
		w.warned = ""
	}
	w.away, w.known = why != nil, w.known || err == nil
	w.fault(ctx, err)
}

// notice is what stands above everything while the store is away, or cannot be read.
func (w *watch) notice() (rows []term.Row) {
	text := w.warned
	if at, why := w.kept.Desk.AsOf(); !at.IsZero() {
		text = page.AsOf(at, why, w.clock())
	}
	for _, s := range w.states() {
		if why := s.Untrusted(w.time.Now()); why != nil {
			text = why.Text + ": set the clock; " + text
			break
		}
	}
	for _, part := range append(w.back, strings.Split(text, "; ")...) {
		if part == "" {
			continue
		}
		rows = append(rows, term.Row{Text: part, Strong: true})
	}
	return rows
}

// fault says what went wrong, unless it was said last.
func (w *watch) fault(ctx context.Context, err error) {
	if err != nil && ctx.Err() == nil && err.Error() != w.warned {
		if w.warned = err.Error(); !w.draws {
			w.warn("%v", err)
		}
	}
}

// states are the airframes that are watched.
func (w *watch) states() []*workflow.State {
	return sorting.Delete(w.bench.States(), func(s *workflow.State) bool {
		return len(w.marks) > 0 && !lists.Contains(w.marks, s.Airframe.Mark)
	})
}

// ring says the moments that have come.
func (w *watch) ring(now time.Time) error {
	moments := workflow.Moments(w.states(), w.ran, now)
	w.ran = now
	for _, m := range moments {
		fmt.Fprint(w.Err, "\a")
		w.runner.call(m, w.clock())
		line := m.At.In(time.Local).Format("15:04") + " " + page.MomentLine(m, w.clock())
		switch {
		case w.Interactive:
			w.last = sorting.Insert(w.last, 0, term.Row{Text: line})
			w.last = w.last[:min(len(w.last), lastMoments)]
		case w.json:
			data, err := term.JSON(page.NewMoment(m, w.clock()), "") // one line each
			if err != nil {
				return err
			}
			if _, err := w.Out.Write(data); err != nil {
				return err
			}
		default:
			fmt.Fprintln(w.Out, term.Line(line))
		}
	}
	return nil
}

// lead adds what whoever asks what is next is told at once, where all airframes are watched.
func (w *watch) lead(clocks *page.Clocks, now time.Time) {
	if clocks.Stands && len(w.marks) == 0 {
		clocks.Lead(w.states(), now)
	}
}

// lastMoments is how many moments that came stay in sight.
const lastMoments = 5

// rows are what is drawn: the clocks that call for somebody, then the others, the next
// moment first, and what came last.
func (w *watch) rows(now time.Time) []term.Row {
	type clock struct {
		workflow.Timer
		name, words string
		calls       bool
	}
	var clocks []clock
	var bench page.Clocks
	longest := 0
	for _, s := range w.states() {
		bench.Add(s, now)
		for _, t := range s.Clocks(now) {
			c := clock{Timer: t, name: s.Airframe.Mark + " · " + t.Name}
			c.words, c.calls = page.ClockWords(t, &page.Clock{Now: now})
			clocks, longest = append(clocks, c), max(longest, len([]rune(c.name)))
		}
	}
	w.lead(&bench, now)
	sorting.Stable(clocks, func(i, k int) int {
		a, b := &clocks[i], &clocks[k]
		if a.calls != b.calls {
			return map[bool]int{true: -1, false: 1}[a.calls]
		}
		return workflow.CompareReady(&a.Timer, &b.Timer)
	})
	rows := []term.Row{{Text: now.In(time.Local).Format("Mon 2 Jan 15:04:05"), Strong: true}, {}}
	rows = append(rows, w.notice()...)
	for _, text := range bench.Cautions() {
		rows = append(rows, term.Row{Text: text, Strong: true})
	}
	if len(clocks) == 0 && w.known {
		rows = append(rows, term.Row{Text: "Nothing is drying or curing."})
	}
	for _, c := range clocks {
		rows = append(rows, term.Row{Text: fmt.Sprintf("%-*s  %s", longest, c.name, c.words), Strong: c.calls})
	}
	if len(w.last) > 0 {
		rows = append(append(rows, term.Row{}), w.last...)
	}
	return rows
}

// watchBoard shows the board until it is stopped: on a terminal in place, elsewhere one after
// another, whenever something is recorded. In place it is drawn anew each minute too.
func (a *app) watchBoard(ctx context.Context, marks []string) error {
	w, err := a.watched(ctx, marks)
	if err != nil {
		return err
	}
	if a.Interactive {
		defer fmt.Fprintln(a.Out)
	}
	var drawn time.Time
	news, last, away := -1, "", false
	for {
		now := a.time.Now()
		w.refresh(ctx, now)
		if n := w.bench.News(); n != news || w.away != away || a.Interactive && !drawn.Equal(now.Truncate(time.Minute)) {
			last, err = w.board(ctx, last)
			w.fault(ctx, err)
			news, drawn, away = n, now.Truncate(time.Minute), w.away
		} else if w.Interactive && w.away { // how old it is
			w.Draw(append(w.notice(), w.below...))
		}
		if err := a.time.Sleep(ctx, w.next(now)); err != nil {
			return err
		}
	}
}

// board shows the board, if it is not the one that was shown last, and returns it.
func (w *watch) board(ctx context.Context, last string) (string, error) {
	board, unread := w.app.board(ctx, w.marks, 0)
	if board == nil {
		if w.fault(ctx, unread); w.draws {
			w.Draw(w.notice())
		}
		return last, unread
	}
	plain := w.Streams
	plain.Colour = false
	text := func() (string, error) {
		var out bytes.Buffer
		err := plain.ShowTo(&out, board.Markdown(w.clock()))
		return out.String(), err
	}
	shown, err := text()
	if err != nil {
		return last, err
	}
	if w.Size != nil && w.Interactive {
		if _, height := w.Size(); strings.Count(shown, "\n") >= height { // in full it has no room
			if board, unread = w.app.board(ctx, w.marks, page.Crowded); board == nil {
				return last, unread
			}
			if shown, err = text(); err != nil {
				return last, err
			}
		}
	}
	switch first, rest, _ := strings.Cut(shown, "\n"); {
	case w.Interactive:
		w.below = []term.Row{{Text: first, Strong: true}}
		for _, line := range strings.Split(strings.TrimRight(rest, "\n"), "\n") {
			w.below = append(w.below, term.Row{Text: line})
		}
		w.Draw(append(w.notice(), w.below...))
	case shown == last:
	case w.json:
		data, err := term.JSON(board, "") // one line each
		if err == nil {
			_, err = w.Out.Write(w.dated(data))
		}
		return shown, cmp.Or(err, unread)
	default:
		fmt.Fprintln(w.Out, shown)
	}
	return shown, unread
}
