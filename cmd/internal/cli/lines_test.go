package cli

import (
	"context"
	"io"
	"strings"
	"testing"
	"time"

	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/workflow"
)

// held is a clock that stands until it is moved, and that waiting moves.
type held struct{ now time.Time }

func (h *held) Now() time.Time { return h.now }
func (h *held) Sleep(_ context.Context, d time.Duration) error {
	h.now = h.now.Add(d)
	return nil
}

// bell is the clocks of a bench with one joint, which may be joined from ten past.
type bell struct {
	at      time.Time
	changed chan bool
}

func (b bell) Timers(time.Time) []sitting.Timer {
	return []sitting.Timer{{Mark: "CW-01", Timer: workflow.Timer{Name: "roots", Joint: true, Phase: workflow.Tacking, Opens: b.at, Closes: b.at.Add(time.Hour)}}}
}

func (b bell) Moments(after, until time.Time) []sitting.Moment {
	if after.Before(b.at) && !until.Before(b.at) {
		return []sitting.Moment{{Mark: "CW-01", At: b.at, Says: "CW-01: join roots now"}}
	}
	return nil
}

func (b bell) Refresh(context.Context) (bool, error) { return <-b.changed, nil }
func (b bell) Heard() bool                           { return false }

// lineMode is line mode with a clock, typed on and ticked by hand.
func lineMode(t *testing.T, interactive bool) (l *lines, clock *held, typed io.Writer, tick chan<- time.Time, out *syncBuffer) {
	t.Helper()
	in, typed := io.Pipe()
	clock, out = &held{scriptStart()}, &syncBuffer{}
	ticks := make(chan time.Time)
	a := &app{Streams: term.Streams{In: in, Out: out, Err: out, Columns: 80, Interactive: interactive}, time: clock}
	if interactive {
		a.Size = func() (columns, rows int) { return 80, 24 }
	}
	return newLines(t.Context(), a, bell{scriptStart().Add(10 * time.Minute), make(chan bool, 1)}, ticks), clock, typed, ticks, out
}

// A moment that comes while a question stands rings once, on a line of its own, and the
// question is asked again.
func TestLinesRing(t *testing.T) {
	l, clock, typed, tick, out := lineMode(t, true)
	q := sitting.Question{View: sitting.View{ID: "cut", Title: "Cut the slot", Action: "Along the rule.", Cautions: []sitting.Caution{{Text: "Sharp."}}}, Prompt: "When it is done:",
		Keys: []sitting.Key{{Key: sitting.Enter, Word: "done"}, {Key: "n", Word: "not now", Common: true}, {Key: "q", Word: "quit", Common: true}}}
	replies := make(chan sitting.Reply)
	ask := func(q sitting.Question) {
		reply, err := l.Ask(t.Context(), q)
		if err != nil {
			t.Error(err)
		}
		replies <- reply
	}
	q.Prompt = "When it is done, and all that lies on the bench is back in its place, tell it so:"
	go ask(q)
	const prompt = "When it is done, and all that lies on the bench is back in its place, tell it\nso: [Enter done, n not now, ? more] " // whole words
	out.await(t, prompt)
	clock.now = clock.now.Add(10 * time.Minute)
	tick <- clock.now
	tick <- clock.now
	out.await(t, "\n\aCW-01: join roots now\n"+prompt)
	if _, err := io.WriteString(typed, "\n"); err != nil {
		t.Fatal(err)
	}
	if r := <-replies; r.Key != sitting.Enter {
		t.Errorf("answered %+v", r)
	}
	// the same view is not shown again, nor its clocks; only what changed
	shown := len(out.String())
	q.View.Rows = []sitting.Row{{Key: "1", Label: "The mat is clear"}}
	q.Until = clock.now.Add(time.Minute)
	go ask(q)
	out.await(t, "The mat is clear\n"+prompt)
	clock.now = clock.now.Add(time.Minute)
	tick <- clock.now
	if r := <-replies; r.Key != sitting.Due {
		t.Errorf("when its time has come it is answered %+v", r)
	}
	if again := out.String()[shown:]; strings.Contains(again, "Cut the slot") || strings.Contains(again, "roots") || strings.Contains(again, "\a") {
		t.Errorf("shown again: %q", again)
	}
	if strings.Count(out.String(), "\a") != 1 || strings.ContainsFunc(out.String(), func(r rune) bool { return r >= '─' && r <= '╿' }) || strings.Contains(out.String(), "•\n") {
		t.Errorf("all of it: %q", out.String())
	}
}

// What another terminal records ends the question. It is looked for every twenty seconds,
// and nobody waits for that.
func TestLinesNoticeAnotherTerminal(t *testing.T) {
	l, clock, _, tick, out := lineMode(t, true)
	replies := make(chan sitting.Reply)
	go func() {
		reply, err := l.Ask(t.Context(), sitting.Question{View: sitting.View{ID: "cut"}, Prompt: "Done?", Keys: []sitting.Key{{Key: sitting.Enter, Word: "done"}}})
		if err != nil {
			t.Error(err)
		}
		replies <- reply
	}()
	out.await(t, "Done?")
	clock.now = clock.now.Add(recheck)
	tick <- clock.now
	l.clocks.(bell).changed <- true
	for {
		select {
		case r := <-replies:
			if r.Key != sitting.Changed {
				t.Errorf("answered %+v", r)
			}
			return
		case tick <- clock.now:
		}
	}
}

// From a pipe Enter lets the time pass by, and what comes meanwhile rings.
func TestLinesWait(t *testing.T) {
	l, clock, typed, _, out := lineMode(t, false)
	until := clock.now.Add(30 * time.Minute)
	go func() { _, _ = io.WriteString(typed, "\n") }()
	reply, err := l.Ask(t.Context(), sitting.Question{View: sitting.View{ID: "wait"}, Prompt: "Waiting.", Until: until, Keys: []sitting.Key{{Key: sitting.Enter, Word: "wait here"}}})
	if err != nil || reply.Key != sitting.Due || clock.now.Before(until) || !strings.Contains(out.String(), "\aCW-01: join roots now\n") {
		t.Errorf("at %v answered %+v, %v: %s", clock.now, reply, err, out.String())
	}
}

// What a line answers: a key as it is listed, a key with words, a text for the field.
func TestLinesAnswers(t *testing.T) {
	keys := []sitting.Key{{Key: "s", Word: "starts", Also: "d"}, {Key: "1", Word: "one"}, {Key: "A", Word: "tenth"}, {Key: "t", Word: "note", Words: true, Common: true}, {Key: "q", Word: "quit", Common: true}}
	number := &sitting.Field{Check: func(text string) sitting.Verdict {
		return sitting.Verdict{Taken: strings.HasSuffix(text, "mm"), Said: "in mm"}
	}}
	name := &sitting.Field{Words: true}
	if got := (&lines{}).help(sitting.Question{View: sitting.View{Cautions: []sitting.Caution{{Text: "Hot.\n- Gloves.", Read: true}}}}, nil); !strings.Contains(got, "- Gloves.") {
		t.Errorf("behind ? is %s", got)
	}
	l, _, _, _, _ := lineMode(t, true)
	for _, c := range []struct {
		field     *sitting.Field
		line      string
		key, text string
		said      string
	}{
		{nil, "s", "s", "", ""},
		{nil, "S", "s", "", ""},
		{nil, "D", "s", "", ""},
		{nil, "A", "A", "", ""},
		{nil, "t the tin is empty", "t", "the tin is empty", ""},
		{nil, "s later", "", "", "Not understood; nothing was recorded. Press ? for the keys."},
		{nil, "", "", "", "Enter is not enough here. Press s or 1 or A."},
		{nil, "yes", "", "", "Not understood; nothing was recorded. Press ? for the keys."},
		{number, "1", "1", "", ""},
		{number, "4.6 mm", "", "4.6 mm", ""},
		{number, "4.6", "", "", "in mm"},
		{name, "s", "", "s", ""},
		{name, "t. rex", "", "t. rex", ""},
		{name, "q", "q", "", ""},
		{name, "", "", "", "Not understood; nothing was recorded. Press ? for the keys."},
	} {
		reply, said := l.answer(sitting.Question{Keys: keys, Field: c.field}, c.line)
		if reply.Key != c.key || reply.Text != c.text || said != c.said {
			t.Errorf("%q answers %+v, %q", c.line, reply, said)
		}
	}
	yes := sitting.Question{Keys: []sitting.Key{{Key: "y", Word: "yes"}, {Key: "n", Word: "not now", Common: true}}}
	for line, key := range map[string]string{"yes": "y", "No": "n", "Y": "y"} {
		if reply, said := l.answer(yes, line); reply.Key != key {
			t.Errorf("%q answers %+v, %q", line, reply, said)
		}
	}
}

// That the store is waited for is said once between two questions, however often it is asked.
func TestLinesWaitOnce(t *testing.T) {
	l, _, typed, _, out := lineMode(t, false)
	for range 2 {
		for range 3 {
			l.waiting(true)
			l.waiting(false)
		}
		go func() { _, _ = io.WriteString(typed, "d\n") }()
		if _, err := l.Ask(t.Context(), sitting.Question{Keys: []sitting.Key{{Key: "d", Word: "done"}}}); err != nil {
			t.Fatal(err)
		}
	}
	if n := strings.Count(out.String(), "waiting for the store"); n != 2 {
		t.Errorf("said %d times: %s", n, out.String())
	}
}
