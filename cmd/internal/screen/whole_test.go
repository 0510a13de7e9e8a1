package screen

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	xansi "github.com/charmbracelet/x/ansi"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/sitting"
	"fettle/procedures"
	"fettle/store/memory"
	"fettle/workflow"
	"fettle/workflow/robot"
)

// A bridge is the front of a conversation whose screen is in the hand of a test.
type bridge struct{ to chan tea.Msg }

func (b bridge) Ask(_ context.Context, q sitting.Question) (sitting.Reply, error) {
	reply := make(chan sitting.Reply, 1)
	b.to <- asked{q, reply}
	return <-reply, nil
}

func (b bridge) Tell(markdown string) error {
	b.to <- said(markdown)
	return nil
}

// A follower follows a whole job by keys, with a clock that it moves, and holds every
// screen on its way to what must be true of all of them.
type follower struct {
	*hand
	ctx           context.Context
	desk          *desk.Desk
	now           time.Time
	keys          int
	rings         int   // that were due
	lines, words  []int // of the first page of each question, on 80×24
	pages         map[size]int
	tall, cut     int
	alone, strays int
}

func (f *follower) state() *workflow.State {
	s, err := f.desk.State(f.ctx, "CW-01")
	if err != nil {
		f.t.Fatal(err)
	}
	return s
}

// pass lets time pass, and counts the moments that call for somebody by the clocks
// of the engine.
func (f *follower) pass(d time.Duration) {
	until := f.now.Add(d)
	for f.now.Before(until) {
		next := f.now.Add(30 * time.Second)
		if next.After(until) {
			next = until
		}
		came := false
		for _, t := range f.state().Timers(f.now) {
			at := []time.Time{t.Handles, t.Cures}
			if t.Handles.IsZero() {
				at = []time.Time{t.Opens, t.Closes}
				if !t.Closes.IsZero() {
					at = append(at, t.Closes.Add(-5*time.Minute))
				}
			}
			came = came || slices.ContainsFunc(at, func(m time.Time) bool { return m.After(f.now) && !m.After(next) })
		}
		if came {
			f.rings++
		}
		f.now = next
		f.ring(f.m.tick())
	}
}

// press presses keys as a person does who looks at the screen between two of them.
func (f *follower) press(names ...string) {
	for _, name := range names {
		f.keys++
		f.wall = f.wall.Add(2 * time.Second)
		f.send(key(name))
		f.wall = f.wall.Add(repeats)
		f.send(undoubted{f.m.doubts})
	}
}

// typed types a text, and Enter.
func (f *follower) typed(text string) {
	for _, r := range text {
		f.send(tea.KeyPressMsg{Code: r, Text: string(r)})
		f.wall = f.wall.Add(100 * time.Millisecond)
	}
	f.keys += len(text)
	f.press("enter")
}

// meddle presses what nobody means: while the question is drawn, right after it, and keys
// that it does not have.
func (f *follower) meddle() {
	reply := f.m.reply
	for _, wait := range []time.Duration{0, 20 * time.Millisecond, 20 * time.Millisecond} {
		f.wall = f.wall.Add(wait)
		for _, name := range []string{"enter", "y", "d", "1", "n", "q", "r"} {
			f.send(key(name))
			f.strays++
		}
	}
	f.wall = f.wall.Add(2 * time.Second)
	if f.m.scene.question.Field == nil {
		for _, name := range []string{"x", "z", "0", "esc", "left"} {
			f.send(key(name))
			f.strays++
		}
	}
	f.send(tea.PasteMsg{Content: "d\ny\n\n"})
	f.send(key("ctrl+u"))
	f.wall = f.wall.Add(2 * time.Second)
	if f.m.reply != reply {
		f.t.Fatalf("a key that nobody meant answered on\n%s", f.screen())
	}
}

// look holds the screens of a question to what must be true of them at every size.
func (f *follower) look() {
	s := f.m.scene
	for _, at := range sizes {
		sheets := f.m.painter.sheets(s, at.width, at.height)
		f.pages[at] += len(sheets)
		var body []string
		for i, page := range sheets {
			frame := f.m.frame(s, sheets, i, at.width, at.height)
			text := xansi.Strip(strings.Join(frame.lines, "\n"))
			wide := slices.ContainsFunc(frame.lines, func(line string) bool { return xansi.StringWidth(line) > at.width })
			below := len(f.m.foot(s, page.kind, page.asks, at.width, at.height).lines)
			if len(frame.lines) != at.height || wide || 1+len(page.lines)+len(page.told)+below > at.height {
				f.tall++
				f.t.Errorf("too large for %v:\n%s", at, text)
			}
			body = append(body, strings.Fields(xansi.Strip(strings.Join(page.lines, " ")))...)
			switch page.kind {
			case cautionSheet:
				f.alone++
			case stepSheet:
				first, _, _ := strings.Cut(s.question.View.Title, " ")
				if !strings.Contains(text, first) || page.asks && s.question.Prompt != "" && !strings.Contains(text, strings.Fields(s.question.Prompt)[0]) {
					f.t.Errorf("no title or no prompt on %v:\n%s", at, text)
				}
			}
			if len(s.timers) > 0 && !slices.ContainsFunc(s.timers, func(t sitting.Timer) bool { return strings.Contains(text, t.Name[:min(len(t.Name), at.width/3-1)]) }) {
				f.t.Errorf("no clock on %v:\n%s", at, text)
			}
		}
		for _, c := range s.question.View.Cautions {
			whole := strings.Fields(strings.Join(f.m.set(c.Text, 200, false), " "))
			if !c.Read && !strings.Contains(strings.Join(body, " "), strings.Join(whole, " ")) {
				f.cut++
				f.t.Errorf("a caution is cut on %v: %q is not in\n%s", at, strings.Join(whole, " "), strings.Join(body, " "))
			}
		}
		if at == sizes[0] {
			shown := xansi.Strip(strings.Join(f.m.frame(s, sheets, 0, at.width, at.height).lines, "\n"))
			lines := slices.DeleteFunc(strings.Split(shown, "\n"), func(line string) bool { return strings.Trim(line, " ─") == "" })
			f.lines, f.words = append(f.lines, len(lines)), append(f.words, len(strings.Fields(shown)))
		}
	}
}

// answer answers the question that stands.
func (f *follower) answer() {
	q := f.m.scene.question
	for page, _ := f.m.shown(); page.kind != stepSheet || !page.asks || !f.m.opened; page, _ = f.m.shown() {
		before := f.screen()
		if page.kind == cautionSheet && page.asks {
			f.press(readKey)
		} else {
			f.press("space")
		}
		if f.screen() == before {
			f.t.Fatalf("no way on from\n%s", before)
		}
	}
	own := slices.DeleteFunc(slices.Clone(q.Keys), func(k sitting.Key) bool { return k.Common })
	has := func(key string) bool {
		return slices.ContainsFunc(own, func(k sitting.Key) bool { return k.Key == key })
	}
	for _, r := range q.View.Rows {
		if r.Here && has(r.Key) {
			f.press(r.Key) // a line of a hold
			return
		}
	}
	state := f.state()
	switch {
	case !q.Until.IsZero():
		f.pass(q.Until.Sub(f.now))
		return
	case has("1"):
		f.press("1")
		return
	case q.Field != nil && q.Field.Words:
		f.typed(fmt.Sprintf("Eda %d", state.Size()))
		return
	}
	suggestion := state.Next(f.now)
	for _, name := range []string{"s", "m", "d", "y", "enter"} {
		if has(name) && (name != "enter" || !strings.Contains("not read, none, back", word(own, name))) {
			if name == "d" || name == "enter" {
				if hands, err := handsOf(suggestion); err == nil {
					f.pass(hands)
				}
			}
			f.press(name)
			return
		}
	}
	texts := []string{"21C 50% y", "21C y", "21C 50%", "21C"}
	move, err := robot.Next(state, f.now)
	if m, ok := move.Request.(workflow.Measure); ok && err == nil {
		for _, r := range m.Readings {
			if strings.Contains(q.Prompt, strings.TrimSpace(m.Gate+" "+r.Point)) || r.Point == "" {
				texts = append([]string{r.Value.String()}, texts...)
			}
		}
	}
	for _, text := range texts {
		if q.Field.Check(text).Taken {
			f.typed(text)
			return
		}
	}
	f.t.Fatalf("the follower has no answer to %q with %+v", q.Prompt, own)
}

func word(keys []sitting.Key, key string) string {
	return keys[slices.IndexFunc(keys, func(k sitting.Key) bool { return k.Key == key })].Word
}

func handsOf(s workflow.Suggestion) (time.Duration, error) {
	if s.Step == nil {
		return 0, nil
	}
	return s.Step.Step.Hands.Duration()
}

// A whole build by keys, on the screen: nothing is higher than it, no caution is cut, no
// bell is missed, and nothing is recorded by a key that nobody meant.
func TestWholeBuild(t *testing.T) {
	design, long := "reed", os.Getenv("FETTLE_LONG") != ""
	if long {
		design = "causeway"
	}
	store := memory.New()
	f := &follower{ctx: t.Context(), now: evening("19:00:00"), pages: map[size]int{}}
	f.desk = &desk.Desk{Store: store, Library: procedures.Open(""), Now: func() time.Time { return f.now }, By: "builder", Program: "test"}
	state, err := f.desk.Register(f.ctx, "CW-01", design, nil, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := f.desk.Start(f.ctx, state, design+"-build", "", time.Time{}); err != nil {
		t.Fatal(err)
	}
	bench := sitting.NewBench(f.desk)
	f.hand = newHand(t, bench, 40, 12)
	f.m.now = func() time.Time { return f.now }
	f.m.ran = f.now
	to, ended := make(chan tea.Msg), make(chan error, 1)
	lead := &sitting.Sitting{Desk: f.desk, Bench: bench, Front: bridge{to}, Mark: "CW-01",
		When: func(string) (time.Time, error) { return time.Time{}, os.ErrInvalid },
		Release: func(ctx context.Context, mark string) (string, error) {
			_, _, err := f.desk.Act(ctx, f.state(), workflow.GiveRelease{}, time.Time{})
			return "released", err
		}}
	go func() { ended <- lead.Lead(f.ctx) }()
	for questions := 0; ; {
		select {
		case err := <-ended:
			final := f.state()
			if jobs := final.OpenJobs(f.now); err != nil || len(jobs) > 0 {
				t.Errorf("it ended with %v, and %d jobs open", err, len(jobs))
			}
			if f.ringing != f.rings || f.rings == 0 {
				t.Errorf("it rang %d times of %d", f.ringing, f.rings)
			}
			slices.Sort(f.lines)
			slices.Sort(f.words)
			t.Logf("%s: %d questions, %d entries, %d keys, %d keys that nobody meant; bells %d of %d; pages %v; cautions alone %d, cut %d; too large %d; first page at 80×24: lines %d at the median and %d at most, words %d and %d",
				design, questions, final.Size(), f.keys, f.strays, f.ringing, f.rings, f.pages, f.alone, f.cut, f.tall,
				f.lines[len(f.lines)/2], f.lines[len(f.lines)-1], f.words[len(f.words)/2], f.words[len(f.words)-1])
			return
		case msg := <-to:
			cmd := f.send(msg)
			if _, ok := msg.(asked); !ok {
				continue
			}
			f.ring(cmd)
			if questions++; questions > 3000 || t.Failed() {
				t.Fatalf("it does not end; on the screen is\n%s", f.screen())
			}
			f.look()
			if questions%3 == 1 || long {
				f.meddle()
			}
			for tries := 0; f.m.reply != nil; tries++ {
				if tries > 3 {
					t.Fatalf("no answer is taken on\n%s", f.screen())
				}
				f.answer()
			}
		}
	}
}
