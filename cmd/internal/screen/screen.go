// Package screen leads a conversation on the whole screen of a terminal: what can
// hurt, what to do, the clocks and the question are always in sight, in that order.
package screen

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/colorprofile"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/store"
)

// Clocks are the clocks of the bench; [sitting.Bench] has them.
type Clocks interface {
	Timers(now time.Time) []sitting.Timer
	Moments(after, until time.Time) []sitting.Moment
	Refresh(ctx context.Context) (changed bool, err error)
	Heard() bool // another bench may have written: it is time to refresh
}

// Fits reports whether the streams are a terminal that has a screen.
func Fits(s term.Streams) bool { return s.Interactive && os.Getenv("TERM") != "dumb" }

// Run leads a conversation on the screen until it ends, and returns its error. Ctrl-C
// and a lost terminal end it as the end of the input does: what was answered is
// recorded by then. What was told last is shown once the screen is left.
func Run(ctx context.Context, s term.Streams, clocks Clocks, now func() time.Time, converse func(context.Context, sitting.Front) error) error {
	within, stop := context.WithCancel(ctx)
	defer stop()
	m := newModel(s, clocks, now, stop)
	profile := colorprofile.Ascii
	if s.Colour {
		profile = colorprofile.ANSI
	}
	p := tea.NewProgram(m, tea.WithContext(ctx), tea.WithInput(s.In), tea.WithOutput(s.Out),
		tea.WithColorProfile(profile), tea.WithoutSignalHandler(), tea.WithFPS(120)) // a key is on the screen within 10 ms
	front := &front{program: p, streams: s, gone: make(chan struct{})}
	ended := make(chan error, 1)
	go func() {
		defer func() {
			if fault := recover(); fault != nil {
				p.Kill() // the terminal is as it was before the fault is shown
				panic(fault)
			}
		}()
		ended <- converse(within, front)
		p.Quit()
	}()
	_, failed := p.Run()
	close(front.gone)
	stop()
	err := <-ended
	if m.width > 0 {
		s.Columns, s.Size = min(m.width, term.Width), nil
	}
	for _, markdown := range m.scene.told {
		if err := s.Show(markdown); err != nil {
			return err
		}
	}
	if err == nil && failed != nil && ctx.Err() == nil && m.width == 0 {
		return fmt.Errorf("opening the screen: %w", failed) // nothing was ever shown
	}
	return err
}

// A front brings the questions of a conversation to the screen.
type front struct {
	program *tea.Program
	streams term.Streams
	gone    chan struct{} // closed when the screen was left
}

// Ask implements [sitting.Front].
func (f *front) Ask(ctx context.Context, q sitting.Question) (sitting.Reply, error) {
	reply := make(chan sitting.Reply, 1)
	f.program.Send(asked{q, reply})
	select {
	case r := <-reply:
		return r, nil
	case <-ctx.Done():
		return sitting.Reply{}, ctx.Err()
	case <-f.gone:
		return sitting.Reply{}, term.ErrEnd
	}
}

// Tell implements [sitting.Front].
func (f *front) Tell(markdown string) error {
	select {
	case <-f.gone:
		return f.streams.Show(markdown)
	default:
		f.program.Send(said(markdown))
		return nil
	}
}

// Waiting implements [sitting.Waiter].
func (f *front) Waiting(is bool) { f.program.Send(waiting(is)) }

// What comes to the model beside keys.
type (
	asked struct {
		question sitting.Question
		reply    chan<- sitting.Reply
	}
	said      string          // Markdown
	second    struct{}        // has passed
	undoubted struct{ n int } // no repeat came after the key that was in doubt
	waiting   bool            // the store takes long
	read      struct {        // the journals were looked at
		changed bool
		err     error
	}
)

// lookEvery is how many seconds pass between two looks at what other terminals wrote.
const lookEvery = 5

// A model is what the screen shows, and what a key does to it.
type model struct {
	painter
	clocks    Clocks
	now, wall func() time.Time // of the bench; of the hand on the keys
	stop      context.CancelFunc

	width, height int
	scene         scene
	reply         chan<- sitting.Reply // nil: nothing is asked
	at, seen      int                  // the sheet that is shown, and the furthest that was
	opened        bool                 // all sheets of the question were seen, however many they are now
	behind        int                  // the sheet behind `?`
	guard         guard
	doubt         *sitting.Reply // an answer that may be a held key
	doubts        int
	hinted        time.Time
	noticed       time.Time // when the last moment was called
	ran           time.Time // until then moments were called
	since         time.Time // when the question was put
	stood         int       // how much of what was told stood with it
	seconds       int
	looking       bool // at what other terminals wrote
	waits         bool // for the store
	changed       bool // the question before went away unanswered, since others recorded something
	moved         bool // and this is another one
}

func newModel(s term.Streams, clocks Clocks, now func() time.Time, stop context.CancelFunc) *model {
	m := &model{clocks: clocks, now: now, wall: time.Now, stop: stop, ran: now()}
	m.painter = painter{s.Colour, remembered(func(markdown string, width int, colour bool) []string {
		var out bytes.Buffer
		if err := (term.Streams{Columns: width, Colour: colour, Options: s.Options}).ShowTo(&out, markdown); err != nil {
			return strings.Split(term.Clean(markdown), "\n")
		}
		return strings.Split(strings.TrimRight(out.String(), "\n"), "\n")
	})}
	return m
}

// remembered sets each text once for each width: setting takes longer than a key may.
func remembered(set func(string, int, bool) []string) func(string, int, bool) []string {
	type key struct {
		text   string
		width  int
		colour bool
	}
	known := map[key][]string{}
	return func(text string, width int, colour bool) []string {
		k := key{text, width, colour}
		if lines, ok := known[k]; ok {
			return lines
		}
		if len(known) > 200 {
			clear(known)
		}
		known[k] = set(text, width, colour)
		return known[k]
	}
}

// Init implements [tea.Model].
func (m *model) Init() tea.Cmd {
	m.tick()
	return tea.Batch(everySecond(), m.look())
}

func everySecond() tea.Cmd {
	return tea.Every(time.Second, func(time.Time) tea.Msg { return second{} })
}

// Update implements [tea.Model].
func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		first := m.width == 0
		m.width, m.height = msg.Width, msg.Height
		if first {
			m.guard.drawn(m.wall())
		} else if m.opened {
			m.at = m.here()
		}
		m.clamp()
	case asked:
		return m, m.ask(msg)
	case said:
		m.scene.told, m.scene.heard = append(m.scene.told, string(msg)), false
	case second:
		return m, tea.Batch(everySecond(), m.tick(), m.look())
	case read:
		m.looking = false
		if m.scene.away = errors.Is(msg.err, store.ErrAway); m.scene.away {
			msg.err = nil
		}
		switch {
		case msg.err != nil:
			m.hint("The journals can't be read now: " + msg.err.Error())
		case msg.changed && m.reply != nil:
			m.answer(sitting.Reply{Key: sitting.Changed})
		}
	case waiting:
		m.waits = bool(msg)
	case undoubted:
		if m.doubt != nil && msg.n == m.doubts {
			m.answer(*m.doubt)
		}
	case tea.ResumeMsg:
		m.guard.drawn(m.wall())
		return m, m.tickAfter(0)
	case tea.PasteMsg:
		if m.typing() && m.guard.text("", m.wall()) == meant {
			m.replace()
			m.scene.typed.insert(msg.Content)
		}
	case tea.KeyPressMsg:
		return m, m.key(msg)
	}
	return m, nil
}

// ask shows a question. What was typed stays if the same is asked again, because a
// time came or another terminal wrote something.
func (m *model) ask(a asked) tea.Cmd {
	old, q := m.scene.question, a.question
	same := q.View.ID != "" && q.View.ID == old.View.ID
	if !same || q.Prompt != old.Prompt || q.Field == nil || old.Field == nil || q.Field.Label != old.Field.Label {
		m.scene.typed, m.scene.refused = field{}, false
	}
	if !same && m.wall().Sub(m.since) > 5*time.Second { // that stood with the question before
		m.scene.told = m.scene.told[min(m.stood, len(m.scene.told)):]
	} else if m.changed && m.stood < len(m.scene.told) { // what others recorded last, first: there may be room for one line only
		m.scene.told = lists.Concat(m.scene.told[m.stood:], m.scene.told[:m.stood])
	}
	m.moved, m.changed = m.changed && (!same || q.Prompt != old.Prompt), false
	m.since, m.stood = m.wall(), len(m.scene.told)
	m.scene.question, m.reply = q, a.reply
	m.scene.read = same && m.scene.read
	m.scene.more, m.scene.keyed, m.doubt = false, false, nil
	m.at, m.seen, m.opened = 0, 0, same && m.opened
	bell := m.tick()
	m.scene.strip = len(m.scene.timers)
	if m.opened {
		m.at = m.here()
	}
	m.clamp()
	m.guard.drawn(m.wall())
	return bell
}

// missed tells of moments that nobody can have seen.
func (m *model) missed(moments []sitting.Moment) {
	var all []string
	for _, n := range slices.Backward(moments) { // there may be room for one line only
		all = append(all, page.Escape(n.At.In(time.Local).Format("15:04")+" "+n.Says))
	}
	m.scene.told, m.scene.heard = append(m.scene.told, "Meanwhile: "+strings.Join(all, "; ")), false
	m.at = m.here()
}

// asleep is how long no clock was looked at when the machine slept.
const asleep = time.Minute

// tick brings the clocks up to now, and rings if a moment has come.
func (m *model) tick() tea.Cmd { return m.tickAfter(asleep) }

// tickAfter is tick where clocks that were not looked at for longer were stopped.
func (m *model) tickAfter(most time.Duration) tea.Cmd {
	now := m.now()
	stopped := now.Sub(m.ran) > most
	moments := m.clocks.Moments(m.ran, now)
	m.ran, m.scene.now, m.scene.timers = now, now, m.clocks.Timers(now)
	if len(moments) > 0 && stopped {
		m.missed(moments)
	} else if len(moments) > 0 {
		m.scene.notices, m.noticed = append(m.scene.notices, moments...), m.wall()
	}
	if !m.hinted.IsZero() && m.wall().Sub(m.hinted) > 3*time.Second {
		m.scene.hint, m.hinted = "", time.Time{}
	}
	q := m.scene.question
	m.scene.offers = nil
	if q.Offers != nil {
		m.scene.offers = q.Offers(now)
	}
	if m.reply != nil && !q.Until.IsZero() && !now.Before(q.Until) {
		m.answer(sitting.Reply{Key: sitting.Due})
	}
	m.clamp()
	if len(moments) > 0 {
		return tea.Raw("\a")
	}
	return nil
}

// look looks at what other terminals wrote, now and then, and at first at all of it.
func (m *model) look() tea.Cmd {
	m.seconds++
	if m.looking || m.seconds%lookEvery != 1 && !m.clocks.Heard() {
		return nil
	}
	m.looking = true
	return func() tea.Msg {
		changed, err := m.clocks.Refresh(context.Background())
		return read{changed, err}
	}
}

//go:noinline
func (m *model) hint(text string) { m.scene.hint, m.hinted = text, m.wall() }

//go:noinline
func (m *model) sheets() []sheet { return m.painter.sheets(m.scene, max(m.width, 1), max(m.height, 1)) }

// shown is the sheet that is shown, and which is the last.
func (m *model) shown() (s sheet, last int) {
	sheets := m.sheets()
	if m.scene.more {
		return sheets[m.behind], len(sheets) - 1
	}
	return sheets[m.at], len(sheets) - 1
}

// here is the sheet that is to be read first, or else the one that has what the prompt
// asks for.
func (m *model) here() int {
	sheets := m.sheets()
	for i, s := range sheets {
		if s.kind != stepSheet || s.here {
			return i
		}
	}
	return len(sheets) - 1
}

// clamp keeps the sheet that is shown among those that there are.
func (m *model) clamp() {
	if m.width == 0 {
		return
	}
	last := len(m.sheets()) - 1
	if m.scene.more {
		m.behind = min(m.behind, last)
		return
	}
	m.at = min(m.at, last)
	m.seen = max(min(m.seen, last), m.at)
	if m.opened = m.opened || m.seen == last; m.opened {
		m.seen = last
	}
}

// View implements [tea.Model].
func (m *model) View() tea.View {
	v := tea.View{AltScreen: true}
	v.KeyboardEnhancements.ReportEventTypes = true
	if m.width == 0 {
		return v
	}
	at, scene := m.at, m.scene
	if m.scene.more {
		at = m.behind
	}
	if m.waits && m.reply == nil {
		scene.hint = "Waiting for the store …"
	}
	f := m.frame(scene, m.sheets(), at, m.width, m.height)
	v.SetContent(strings.Join(f.lines, "\n"))
	if f.y >= 0 {
		v.Cursor = tea.NewCursor(f.x, f.y)
		v.Cursor.Blink = false
	}
	return v
}
