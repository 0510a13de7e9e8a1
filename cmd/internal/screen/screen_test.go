package screen

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	xansi "github.com/charmbracelet/x/ansi"

	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/store"
	"fettle/workflow"
)

// noClocks is a bench where nothing dries.
type noClocks struct{}

func (noClocks) Timers(time.Time) []sitting.Timer        { return nil }
func (noClocks) Moments(_, _ time.Time) []sitting.Moment { return nil }
func (noClocks) Refresh(context.Context) (bool, error)   { return false, nil }
func (noClocks) Heard() bool                             { return false }

// A hand presses keys at a screen whose clocks it moves.
type hand struct {
	t       *testing.T
	m       *model
	wall    time.Time
	reply   chan sitting.Reply
	ringing int
}

func newHand(t *testing.T, clocks Clocks, width, height int) *hand {
	h := &hand{t: t, wall: evening("19:00:00")}
	now := func() time.Time { return h.wall }
	h.m = newModel(term.Streams{}, clocks, now, func() {})
	h.m.wall = now
	h.m.Init()
	h.send(tea.WindowSizeMsg{Width: width, Height: height})
	return h
}

// send gives the screen a message.
func (h *hand) send(msg tea.Msg) tea.Cmd {
	_, cmd := h.m.Update(msg)
	return cmd
}

// ring rings if the command does.
func (h *hand) ring(cmd tea.Cmd) {
	if cmd == nil {
		return
	}
	if msg, ok := cmd().(tea.RawMsg); ok && msg.Msg == "\a" {
		h.ringing++
	}
}

// pass lets time go by, second by second.
func (h *hand) pass(d time.Duration) {
	for ; d > time.Second; d -= time.Second {
		h.wall = h.wall.Add(time.Second)
		h.ring(h.m.tick())
	}
	h.wall = h.wall.Add(d)
	h.ring(h.m.tick())
}

func key(name string) tea.KeyPressMsg {
	switch name {
	case "enter":
		return tea.KeyPressMsg{Code: tea.KeyEnter}
	case "esc":
		return tea.KeyPressMsg{Code: tea.KeyEscape}
	case "backspace":
		return tea.KeyPressMsg{Code: tea.KeyBackspace}
	case "left":
		return tea.KeyPressMsg{Code: tea.KeyLeft}
	case "space":
		return tea.KeyPressMsg{Code: ' ', Text: " "}
	case "ctrl+u":
		return tea.KeyPressMsg{Code: 'u', Mod: tea.ModCtrl}
	}
	return tea.KeyPressMsg{Code: rune(name[0]), Text: name}
}

// ask puts a question and lets it be read.
func (h *hand) ask(q sitting.Question) {
	h.reply = make(chan sitting.Reply, 1)
	h.send(asked{q, h.reply})
	h.wall = h.wall.Add(time.Second)
}

// press presses keys, as quickly as a person does, and lets what is in doubt settle.
func (h *hand) press(names ...string) {
	for _, name := range names {
		h.send(key(name))
		h.wall = h.wall.Add(200 * time.Millisecond)
		h.send(undoubted{h.m.doubts})
	}
}

func (h *hand) answered() (sitting.Reply, bool) {
	select {
	case r := <-h.reply:
		return r, true
	default:
		return sitting.Reply{}, false
	}
}

func (h *hand) expect(want sitting.Reply) {
	h.t.Helper()
	if got, ok := h.answered(); !ok || got != want {
		h.t.Errorf("answered %v, %+v; want %+v on\n%s", ok, got, want, h.screen())
	}
}

func (h *hand) expectNone() {
	h.t.Helper()
	if got, ok := h.answered(); ok {
		h.t.Errorf("answered %+v by a key that nobody meant", got)
	}
}

func (h *hand) screen() string { return xansi.Strip(h.m.View().Content) }

func (h *hand) see(words string) {
	h.t.Helper()
	if !strings.Contains(h.screen(), words) {
		h.t.Errorf("no %q on\n%s", words, h.screen())
	}
}

func plain(id string) sitting.Question {
	return sitting.Question{View: sitting.View{ID: id, Mark: "CW-01", Title: "Sand the " + id, More: "why"}, Prompt: "Done?",
		Keys: append([]sitting.Key{{Key: sitting.Enter, Word: "done"}, {Key: "m", Word: "mixed now"}}, common()...)}
}

func reading() sitting.Question {
	q := plain("slot")
	q.Keys = common()
	q.Field = &sitting.Field{Label: "mm", Check: func(text string) sitting.Verdict {
		if strings.Trim(text, "0123456789. ") != "" {
			return sitting.Verdict{Said: "that is not a length"}
		}
		return sitting.Verdict{Said: text + " mm passes", Taken: true}
	}}
	return q
}

// What is pressed answers once: not before the question is drawn, not while the next
// one has just come, and not as often as a held key repeats.
func TestKeysThatNobodyMeant(t *testing.T) {
	for _, first := range []time.Duration{250, 400, 500, 660, 1000} { // after which a held key begins to repeat
		for _, every := range []time.Duration{20, 33, 90, 140} {
			h := newHand(t, noClocks{}, 80, 24)
			answers := 0
			ask := func() {
				h.reply = make(chan sitting.Reply, 1)
				h.send(asked{plain(time.Duration(answers).String()), h.reply})
			}
			ask()
			h.wall = h.wall.Add(time.Second)
			wait, down := first*time.Millisecond, time.Duration(0)
			for down < 3*time.Second {
				h.send(key("enter"))
				if _, ok := h.answered(); ok {
					answers++
					ask()
				}
				for n := wait; n > 0; n -= 10 * time.Millisecond {
					h.wall = h.wall.Add(10 * time.Millisecond)
					if h.m.doubt != nil && h.wall.Sub(h.m.guard.at) >= repeats {
						h.send(undoubted{h.m.doubts})
					}
				}
				down += wait
				wait = every * time.Millisecond
			}
			if answers != 1 {
				t.Errorf("a key held for 3 s, repeating every %d ms after %d ms, answers %d times", every, first, answers)
			}
		}
	}

	h := newHand(t, noClocks{}, 80, 24)
	h.reply = make(chan sitting.Reply, 1)
	h.press("enter", "m")
	h.send(asked{plain("a"), h.reply})
	h.send(key("enter")) // it waited
	h.expectNone()
	h.wall = h.wall.Add(time.Second)
	h.press("x", "y", "1")
	h.expectNone()
	h.send(tea.PasteMsg{Content: "m\n\n"})
	h.expectNone()
	h.press("M") // Caps Lock
	h.expect(sitting.Reply{Key: "m"})

	h.reply = make(chan sitting.Reply, 1)
	h.send(asked{plain("b"), h.reply})
	h.wall = h.wall.Add(100 * time.Millisecond)
	h.press("n")
	h.expectNone()
	h.see("too early")
	h.wall = h.wall.Add(400 * time.Millisecond)
	h.press("n")
	h.expect(sitting.Reply{Key: "n"})

	h.ask(plain("c")) // two presses of one key that were both meant
	h.press("enter")
	h.expect(sitting.Reply{Key: sitting.Enter})
	h.reply = make(chan sitting.Reply, 1)
	h.send(asked{plain("d"), h.reply})
	h.wall = h.wall.Add(500 * time.Millisecond)
	h.press("enter")
	h.expect(sitting.Reply{Key: sitting.Enter})

	h.ask(plain("e")) // nothing but its own keys
	h.m.scene.question.Keys = h.m.scene.question.Keys[1:]
	h.press("enter")
	h.expectNone()
}

// A text is typed, corrected, checked and given; a pasted one is not given by its end of
// line, and the rest of a number whose beginning came too early is not taken for one.
func TestField(t *testing.T) {
	h := newHand(t, noClocks{}, 80, 24)
	h.ask(reading())
	h.press("4", "x", "backspace", ".", "5", "5", "left", "left", "backspace", "7")
	h.see("> 4755")
	h.see("4755 mm passes")
	h.press("esc")
	h.send(tea.PasteMsg{Content: "\n4\x1b[31m.6\n\n"})
	h.expectNone()
	h.see(`4\u001b[31m.6`)
	h.see("not a length")
	h.press("enter")
	h.expectNone()
	h.press("ctrl+u", "1", "1", "1", ".", "u", "backspace", "enter") // a letter within a text is no key
	h.expect(sitting.Reply{Text: "111."})

	h.reply = make(chan sitting.Reply, 1)
	h.send(asked{reading(), h.reply})
	h.send(key("1"))
	for _, k := range []string{"4", ".", "5"} {
		h.wall = h.wall.Add(100 * time.Millisecond)
		h.send(key(k))
	}
	h.see("type it again")
	h.press("enter")
	h.expectNone()
	h.wall = h.wall.Add(time.Second)
	h.press("1", "4", "enter")
	h.expect(sitting.Reply{Text: "14"})

	h.ask(reading())
	h.press("u")
	h.expect(sitting.Reply{Key: "u"})

	h.ask(reading()) // why not is said whole
	h.m.scene.question.Field.Check = func(string) sitting.Verdict {
		return sitting.Verdict{Said: strings.Repeat("it is not a length ", 6) + "at all"}
	}
	h.press("7", "enter")
	h.expectNone()
	h.see("length at all")
	h.see("> 7")

	words := reading()
	words.Field = &sitting.Field{Label: "note", Words: true}
	words.Keys = []sitting.Key{{Key: sitting.Enter, Word: "back"}}
	h.ask(words)
	h.press("n", "space", "?", "u")
	h.see("> n ?u")
	h.press("enter")
	h.expect(sitting.Reply{Text: "n ?u"})

	h.ask(reading()) // what is refused is replaced by what is typed next
	h.press("3", "x", "enter")
	h.expectNone()
	h.press("3", "6", "enter")
	h.expect(sitting.Reply{Text: "36"})

	h.ask(plain("a")) // a second press of the key that opened the field is not in it
	h.press("m")
	h.reply = make(chan sitting.Reply, 1)
	h.send(asked{words, h.reply})
	h.wall = h.wall.Add(100 * time.Millisecond)
	h.press("m")
	h.wall = h.wall.Add(time.Second)
	h.press("n", "e", "w", "enter")
	h.expect(sitting.Reply{Text: "new"})

	for _, first := range []time.Duration{250, 420, 660, 1000} { // nor is it typed while it is held down
		for _, every := range []time.Duration{20, 33, 90, 140, 220, 510} {
			h.ask(plain("a"))
			h.send(key("m"))
			h.reply = make(chan sitting.Reply, 1)
			h.send(asked{words, h.reply})
			for wait, down := first, time.Duration(0); down < 3000; wait, down = every, down+wait {
				h.wall = h.wall.Add(wait * time.Millisecond)
				h.send(key("m"))
			}
			if text := h.m.scene.typed.String(); text != "" {
				t.Errorf("held down from %d ms on, each %d ms, it types %q", first, every, text)
			}
			h.wall = h.wall.Add(time.Second)
			h.press("m", "e", "enter")
			h.expect(sitting.Reply{Text: "me"})
		}
	}
}

// Where a name answers, each letter begins one; the keys are there after Esc.
func TestNames(t *testing.T) {
	h := newHand(t, noClocks{}, 80, 24)
	q := reading()
	q.View.Rows = []sitting.Row{{Key: "1", Label: "new-spar"}, {Key: "2", Label: "two-panels"}}
	q.Keys = append(common(), sitting.Key{Key: "1", Word: "new-spar"}, sitting.Key{Key: "2", Word: "two-panels"})
	q.Field = &sitting.Field{Label: "its number or its name", Words: true}
	for _, first := range []string{"n", "u", "l", "q", "N"} {
		h.ask(q)
		h.press(first, "e", "enter")
		h.expect(sitting.Reply{Text: first + "e"})
	}
	if h.ask(q); strings.Contains(h.screen(), "n not now") {
		t.Errorf("it offers keys that are letters:\n%s", h.screen())
	}
	h.press("2")
	h.expect(sitting.Reply{Key: "2"})
	h.ask(q)
	h.see("esc other keys")
	h.press("esc")
	h.see("Letters are keys now.")
	h.press("w", "esc", "w", "e", "enter") // they type nothing then, and Esc goes back
	h.expect(sitting.Reply{Text: "we"})
	h.ask(q)
	h.press("?")
	h.see("esc back")
	h.press("esc", "esc")
	h.see("n not now")
	h.press("n")
	h.expect(sitting.Reply{Key: "n"})

	q.Keys = append(q.Keys, sitting.Key{Key: sitting.Enter, Word: "back"})
	many := q // of a list of several pages each one takes a name, and says how to go on
	many.View.ID = "list"
	for i := range 40 {
		many.View.Rows = append(many.View.Rows, sitting.Row{Key: "x", Label: strings.Repeat("step ", i%5)})
	}
	h.ask(many)
	h.see("page 1 of 3")
	h.see("space next page")
	h.press("space", "c", "o", "a")
	h.see("page 2 of 3")
	h.see("> coa")
	h.press("esc", "space", "space") // after the last comes the first
	h.see("page 1 of 3")
	h.press("space", "esc", "esc")
	h.expect(sitting.Reply{Key: sitting.Enter})
	h.ask(q)
	h.see("esc back")
	h.press("esc")
	h.expect(sitting.Reply{Key: sitting.Enter})
}

// A further letter of a key is taken and not shown, and Enter is answered where it is not
// enough.
func TestDone(t *testing.T) {
	h := newHand(t, noClocks{}, 80, 24)
	h.ask(sitting.Question{View: scenes()["coat"].question.View, Prompt: "When it is done:", Keys: append([]sitting.Key{{Key: sitting.Enter, Word: "done", Also: "d"}}, common()...)})
	if strings.Contains(h.screen(), "d done") {
		t.Errorf("it shows\n%s", h.screen())
	}
	h.press("d")
	h.expect(sitting.Reply{Key: sitting.Enter})
	// what was told with a question that stood for long is not told with the next one
	h.send(said("Refused."))
	h.ask(plain("spar"))
	h.see("Refused.")
	h.pass(10 * time.Second)
	h.ask(plain("slot"))
	if strings.Contains(h.screen(), "Refused.") {
		t.Errorf("still told is\n%s", h.screen())
	}
	// a key of a question that is not in sight yet says so
	small := newHand(t, noClocks{}, 40, 12)
	long := plain("long")
	long.View.Action = strings.Repeat("Spread it over the whole face.\n\n", 9)
	small.ask(long)
	small.press("m")
	small.expectNone()
	small.see("Read on first")
	// the limits stand beside what is typed, and its verdict is whole
	gate := reading()
	gate.View.ID, gate.View.Action, gate.View.Rows = "gate", long.View.Action+"- only 4.3 to 4.9 mm passes", []sitting.Row{{Label: "root", Here: true}}
	gate.Field.Check = func(string) sitting.Verdict {
		return sitting.Verdict{Said: "46 mm is unlikely: it is far outside its limits, 4 mm to 5.2 mm"}
	}
	small.ask(gate)
	small.press("space", "space", "space", "space", "4", "6")
	small.see("> 46")
	small.see("only 4.3 to 4.9 mm passes")
	small.see("outside its\nlimits, 4 mm to 5.2 mm")
	h.ask(sitting.Question{View: scenes()["coat"].question.View, Prompt: "When it is done:", Keys: append([]sitting.Key{{Key: "d", Word: "done"}}, common()...)})
	h.press("enter")
	h.expectNone()
	h.see("Enter is not enough here. Press d.")
}

// Keys that a dropped tool or a lost paste presses confirm nothing of a hold.
func TestBurst(t *testing.T) {
	h := newHand(t, noClocks{}, 80, 24)
	q := scenes()["hold"].question
	q.Keys = append([]sitting.Key{{Key: "1", Word: "yes"}, {Key: "2", Word: "yes"}, {Key: "3", Word: "yes"}, {Key: "d", Word: "done"}}, common()...)
	for _, burst := range []string{"d123y", "123", "x2", "2q", "1n2"} {
		for _, every := range []time.Duration{0, time.Millisecond, 140 * time.Millisecond} {
			h.ask(q)
			for _, r := range burst {
				h.send(undoubted{h.m.doubts - 1})
				h.send(key(string(r)))
				h.wall = h.wall.Add(every)
			}
			h.see("all at once")
			h.wall = h.wall.Add(time.Second)
			h.send(undoubted{h.m.doubts})
			h.expectNone()
		}
	}
	h.press("2")
	h.expect(sitting.Reply{Key: "2"})

	h = newHand(t, noClocks{}, 40, 12) // nor does a key a line that is not whole on the page
	for i := range q.View.Rows {
		q.View.Rows[i].Label = strings.Repeat("so and so ", 12) + "end" + q.View.Rows[i].Key
	}
	h.ask(q)
	h.press("space", "space")
	h.see("end3")
	h.press("2")
	h.see("Here is that line")
	h.expectNone()
	h.see("end2")
	h.press("2")
	h.expect(sitting.Reply{Key: "2"})
}

// What was typed outlives another size, a change from elsewhere and a moment.
func TestNothingTypedIsLost(t *testing.T) {
	h := newHand(t, noClocks{}, 80, 24)
	q := reading()
	q.View.Cautions = []sitting.Caution{{Text: strings.Repeat("It is sharp and it is hot. ", 12)}}
	h.ask(q)
	h.press("4", ".", "6")
	h.send(tea.WindowSizeMsg{Width: 40, Height: 12})
	h.see("r I have read it") // there was room for it beside the action, and is none now
	h.wall = h.wall.Add(time.Second)
	h.press("r")
	h.see("> 4.6")
	h.send(tea.WindowSizeMsg{Width: 10, Height: 4})
	h.press("enter")
	h.expectNone()
	h.send(tea.WindowSizeMsg{Width: 120, Height: 40})
	h.see("> 4.6")
	h.send(read{changed: true})
	h.expect(sitting.Reply{Key: sitting.Changed})
	h.ask(q)
	h.see("> 4.6")
	h.send(tea.ResumeMsg{})
	h.send(key("enter"))
	h.expectNone()
	h.wall = h.wall.Add(time.Second)
	h.press("enter")
	h.expect(sitting.Reply{Text: "4.6"})
}

// A key for a question that went away by what others recorded does nothing, and it is said why.
func TestTheQuestionHasChanged(t *testing.T) {
	h := newHand(t, noClocks{}, 80, 24)
	asks := func(prompt, key string) {
		h.ask(sitting.Question{View: sitting.View{ID: prompt, Title: "Cut it"}, Prompt: prompt, Keys: []sitting.Key{{Key: key, Word: "yes"}}})
		h.wall = h.wall.Add(time.Minute)
	}
	asks("Is it done?", "y")
	h.send(read{changed: true})
	h.expect(sitting.Reply{Key: sitting.Changed})
	asks("When it is done:", "d")
	h.press("y")
	h.expectNone()
	h.see("That key answers nothing here: the question has changed.")
	h.press("d")
	h.expect(sitting.Reply{Key: "d"})
}

// Of what others recorded while a question stood, the newest stands first.
func TestNewestFirst(t *testing.T) {
	h := newHand(t, noClocks{}, 80, 24)
	h.ask(plain("one"))
	for _, text := range []string{"Meanwhile on CW-01, by hugo: noted: older.", "Meanwhile on CW-01, by hugo: noted: newer."} {
		h.wall = h.wall.Add(time.Minute)
		h.send(read{changed: true})
		h.expect(sitting.Reply{Key: sitting.Changed})
		h.send(said(text))
		h.ask(plain("one"))
	}
	text := h.screen()
	older, newer := strings.Index(text, "older"), strings.Index(text, "newer")
	if newer < 0 || older < newer {
		t.Errorf("it shows\n%s", text)
	}
}

// A caution that has no room beside the action has the screen alone, and the step can't
// be answered before it is read and every page of the action was shown.
func TestCautionFirst(t *testing.T) {
	h := newHand(t, noClocks{}, 40, 12)
	q := scenes()["long"].question
	h.ask(q)
	h.press("s", "r", "n", "1")
	h.expectNone()
	h.see("soldering iron")
	h.press("?") // there is a way to all of it, back and out on every page
	h.see("vapour")
	h.press("esc", "esc")
	h.see("q leaves the bench")
	h.press("enter", "b")
	h.see("page 1 of")
	h.press("q")
	h.expect(sitting.Reply{Key: "q"})
	h.ask(q)
	h.press("enter", "s", "n", "space", "enter")
	h.expectNone()
	h.see("r I have read it")
	h.press("r")
	h.wall = h.wall.Add(time.Second)
	for range 12 {
		h.see("Coat the left root")
		h.see("! 2 cautions")
		if strings.Contains(h.screen(), "enter done") {
			break
		}
		h.press("s")
		h.wall = h.wall.Add(2 * time.Second)
		h.press("enter")
		h.wall = h.wall.Add(2 * time.Second)
	}
	h.expectNone()
	h.press("?")
	h.see("there for a day")
	h.press("s")
	h.expectNone()
	h.press("s")
	h.expect(sitting.Reply{Key: "s"})
}

// While the store is away the screen says so until it is back, and first what became of an answer;
// while it is waited for after an answer, that.
func TestStoreAway(t *testing.T) {
	away := read{err: &store.Error{Op: "read", Path: "etcd://bench-a:2379,bench-b:2379,bench-c:2379/shed", Err: store.ErrAway, Hint: "check the network and the cluster"}}
	for _, width := range []int{80, 40} {
		h := newHand(t, noClocks{}, width, 24)
		h.ask(plain("one"))
		h.pass(2 * time.Second)
		h.send(waiting(true))
		if strings.Contains(h.screen(), "Waiting") {
			t.Error("nobody waits while the question stands")
		}
		h.press("m")
		h.expect(sitting.Reply{Key: "m"})
		h.see("── Waiting for the store …")
		h.send(waiting(false))
		h.send(said("Nothing was recorded: the store can't be reached. Write down what is done and when, and record it later with --at."))
		h.ask(plain("one"))
		h.pass(6 * time.Second)
		h.see("Nothing was recorded: the store can't")
		h.send(away)
		h.pass(5 * time.Second)
		h.see("── no answer from the store ")
		if text := h.screen(); strings.Contains(text, "etcd://") {
			t.Errorf("at %d columns it shows\n%s", width, text)
		}
		h.send(read{})
		if text := h.screen(); strings.Contains(text, "no answer from the store") || !strings.Contains(text, "Nothing was recorded") {
			t.Errorf("when it is back, it shows\n%s", text)
		}
		h.press("m")
		h.expect(sitting.Reply{Key: "m"})
		h.ask(plain("two"))
		if text := h.screen(); strings.Contains(text, "recorded") {
			t.Errorf("after the next answer it shows\n%s", text)
		}
	}
}

// oneJoint is a bench with one coat that dries.
type oneJoint struct{ noClocks }

func (oneJoint) Timers(now time.Time) []sitting.Timer {
	t := drying("CW-01", "boom-tubes", "19:10:00", "19:30:00")
	if !now.Before(t.Opens) {
		t = open("CW-01", "boom-tubes", "19:10:00", "19:30:00")
	}
	if !now.Before(t.Closes) {
		t.Phase = "lapsed"
	}
	return []sitting.Timer{t}
}

func (oneJoint) Moments(after, until time.Time) []sitting.Moment {
	var all []sitting.Moment
	for _, at := range []string{"19:10:00", "19:25:00", "19:30:00"} {
		if t := evening(at); t.After(after) && !t.After(until) {
			all = append(all, sitting.Moment{Mark: "CW-01", Joint: "boom-tubes", At: t, Says: at})
		}
	}
	return all
}

// The clocks run and ring while a question stands and a text is typed; a key that is
// offered at the moment answers, and nothing else moves.
func TestClocksWhileAQuestionStands(t *testing.T) {
	h := newHand(t, oneJoint{}, 80, 24)
	q := reading()
	q.Offers = func(now time.Time) []sitting.Key {
		if now.Before(evening("19:10:00")) {
			return nil
		}
		return []sitting.Key{{Key: "j", Word: "join boom-tubes"}}
	}
	q.Until = evening("19:40:00")
	h.ask(q)
	h.press("4")
	h.pass(2 * time.Minute)
	h.see("join in 7 min")
	before := strings.Split(h.screen(), "\n")
	h.pass(8 * time.Minute)
	h.see("JOIN NOW, ")
	moved := 0
	for i, line := range strings.Split(h.screen(), "\n") {
		if line != before[i] {
			moved++
		}
	}
	if moved != 3 { // the time, the clock, the bar
		t.Errorf("%d lines changed:\n%s", moved, h.screen())
	}
	h.see("> 4")
	h.pass(16 * time.Minute)
	if h.ringing != 2 {
		t.Errorf("it rang %d times by 19:26", h.ringing)
	}
	h.see("── esc, then j join boom-tubes")
	h.press("esc")
	h.see("── j join boom-tubes")
	h.press("j")
	h.expect(sitting.Reply{Key: "j"})
	h.ask(q)
	h.wall = h.wall.Add(4*time.Minute + 30*time.Second) // Ctrl-Z over it
	h.ring(h.send(tea.ResumeMsg{}))
	h.see("Meanwhile: 19:30 19:30:00")
	h.pass(30 * time.Second)
	h.see("LAPSED 19:30")
	h.pass(10 * time.Minute)
	h.expect(sitting.Reply{Key: sitting.Due})
	if h.ringing != 3 {
		t.Errorf("it rang %d times", h.ringing)
	}
}

// Where one clock has room, it is the one that waits for somebody and closes, not one that
// only has a moment before that.
func TestTheClockThatCloses(t *testing.T) {
	s := scenes()["coat"]
	wet := drying("CW-01", "wet-joint", "19:30:00", "19:50:00")
	wet.Ready, wet.Touch = time.Time{}, evening("19:45:00")
	s.timers = append(s.timers, wet)
	if strip := painted(false).strip(s, 40, 12); len(strip) != 1 || !strings.HasPrefix(strip[0], "wet-joint") {
		t.Errorf("the strip is %q", strip)
	}
}

// On a narrow screen what goes first is what a clock says beside its deadline.
func TestTheDeadlineStays(t *testing.T) {
	coated := drying("CW-01", "wing-roots", "19:51:00", "20:20:00")
	coated.Phase, coated.Ready = workflow.HalfCoated, time.Time{}
	wet := drying("CW-01", "wing-roots", "19:40:00", "20:20:00")
	wet.Ready, wet.Touch = time.Time{}, evening("19:45:00")
	coating := coated
	coating.Phase, coating.Began = workflow.Coating, evening("19:40:00")
	wait := sitting.Timer{Mark: "CW-01", Timer: workflow.Timer{Name: "wing-roots", Then: "fit-the-left-half", Opens: evening("19:40:00"), Closes: evening("20:20:00")}}
	lapsed := open("CW-01", "wing-roots", "19:20:00", "19:40:00")
	lapsed.Phase = workflow.Late
	for _, is := range []struct {
		clock sitting.Timer
		want  string
	}{
		{coated, "join by 20:20"},
		{wet, "join by 20:20"},
		{coating, "join by 20:20"},
		{drying("CW-01", "wing-roots", "19:51:00", "20:20:00"), "from 19:51 until 20:20"},
		{open("CW-01", "wing-roots", "19:40:00", "20:20:00"), "JOIN NOW, until 20:20"},
		{wait, "by 20:20"},
		{lapsed, "LAPSED 19:40"},
	} {
		s := scenes()["coat"]
		s.timers = []sitting.Timer{is.clock, is.clock, is.clock}
		for _, width := range []int{40, 46} {
			strip := painted(false).strip(s, width, 12)
			if len(strip) != 1 || !strings.Contains(strip[0], is.want) || !strings.HasSuffix(strip[0], " +2") || xansi.StringWidth(strip[0]) > width {
				t.Errorf("at %d, %q is not said: %q", width, is.want, strip)
			}
		}
		if s.timers = s.timers[:1]; !strings.Contains(painted(false).strip(s, 80, 24)[0], "coat the other face; join by 20:20, 37 min left") && is.clock.Phase == workflow.HalfCoated {
			t.Error("with room it is not said in full")
		}
	}
}

// Every line of a screen fits it, the cautions are there word for word, and so is the
// key that goes on, whatever is shown and however large the screen.
func TestEverySize(t *testing.T) {
	for name, s := range scenes() {
		for width := leastWidth; width <= 130; width += 16 {
			for height := leastHeight; height <= 45; height += 5 {
				p := painted(true)
				frames := all(p, s, size{width, height})
				var shown []string
				for _, f := range frames {
					if len(f.lines) != height || f.y >= height || f.x >= width {
						t.Fatalf("%s at %dx%d has %d lines, the cursor at %d,%d", name, width, height, len(f.lines), f.x, f.y)
					}
					for _, line := range f.lines {
						if xansi.StringWidth(line) > width {
							t.Fatalf("%s at %dx%d: too wide: %q", name, width, height, line)
						}
					}
					if last := xansi.Strip(strings.Join(f.lines[height-3:], " ")); !strings.Contains(last, "more") && !strings.Contains(last, "space") && !strings.Contains(last, readKey+" I have") {
						t.Errorf("%s at %dx%d: no way on:\n%s", name, width, height, strings.Join(f.lines, "\n"))
					}
					shown = append(shown, strings.Fields(xansi.Strip(strings.Join(f.lines[1:height-2], " ")))...)
				}
				for _, c := range s.question.View.Cautions {
					if c.Read {
						continue
					}
					words := strings.Fields(strings.ReplaceAll(c.Text, "**", ""))
					for _, w := range words {
						if width >= 40 && !slices.Contains(shown, w) {
							t.Fatalf("%s at %dx%d: %q of a caution is not shown", name, width, height, w)
						}
					}
				}
			}
		}
	}
}

// BenchmarkKey is a key typed into a field, and the screen set with it.
func BenchmarkKey(b *testing.B) {
	h := newHand(nil, oneJoint{}, 80, 24)
	q := scenes()["gate"].question
	h.ask(q)
	for b.Loop() {
		h.wall = h.wall.Add(time.Second)
		h.send(key("4"))
		_ = h.m.View()
		h.send(key("backspace"))
		_ = h.m.View()
	}
}

// A list in a caution is broken where the screen ends, once.
func TestListOfACaution(t *testing.T) {
	h := newHand(t, noClocks{}, 40, 12)
	q := reading()
	q.View.Cautions = []sitting.Caution{{Text: "It burns.\n\n- No flame, hot iron, hot wire or charger in the room until half an hour after it is joined."}}
	h.ask(q)
	h.see("No flame, hot iron, hot wire or\n")
	h.see("charger in the room until half an\n")
	h.see("hour after it is joined.")
}
