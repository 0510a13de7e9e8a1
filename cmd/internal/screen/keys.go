package screen

import (
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"fettle/cmd/internal/page"
	"fettle/cmd/internal/sitting"
	"fettle/steps/lists"
)

// open reports whether what is asked can be answered here: all before it was seen, but
// where there is nothing to do and one of the rows is chosen.
func (m *model) open() bool {
	on, _ := m.shown()
	v := m.scene.question.View
	chosen := len(v.Cautions) == 0 && v.Action == "" && m.scene.letters()
	return m.reply != nil && on.kind == stepSheet && on.asks && (m.opened || chosen) && !small(m.width, m.height)
}

// typing reports whether there is a field to type in.
//
//go:noinline
func (m *model) typing() bool {
	return m.open() && m.scene.question.Field != nil && !m.scene.keyed
}

// key does what a key does.
func (m *model) key(k tea.KeyPressMsg) tea.Cmd {
	name, now := k.String(), m.wall()
	switch {
	case name == "ctrl+c":
		m.stop()
		return nil
	case name == "ctrl+z" && canSuspend():
		return tea.Suspend
	case name == "ctrl+z":
		m.hint("There is no shell here to go back to.")
		return nil
	case k.IsRepeat && !m.typing():
		return nil
	case m.reply == nil || m.width == 0 || small(m.width, m.height):
		m.guard.lost = now
		m.guard.press(name, false, now)
		return nil
	}
	if m.typing() && m.typed(k, name, now) {
		return nil
	}
	was := m.doubt
	m.doubt = nil // a second key so soon: neither was meant for sure
	switch m.guard.press(name, m.scene.question.OnlyLetters() && !m.scene.more, now) {
	case meant:
		if was == nil {
			m.press(name, false)
		}
	case doubt:
		return m.press(name, true)
	case burst:
		m.hint("Keys that come all at once do nothing here: press one.")
	case early:
		m.hint("That key came too early and did nothing.")
	}
	return nil
}

// typed takes a key for the field, and reports whether it was one.
func (m *model) typed(k tea.KeyPressMsg, name string, now time.Time) bool {
	line := &m.scene.typed
	_, isKey := m.find(name)
	switch {
	case name == "space" && len(line.text) == 0:
		return false // it turns the page
	case k.Text != "" && (len(line.text) > 0 || !isKey && name != moreKey):
		press := m.guard.text(name, now)
		if press == again || k.IsRepeat && press == doubt { // the key that opened the field is held down
			*line = field{}
			return true
		}
		if press == early {
			m.hint("What was typed came too early: type it again.")
			return true
		}
		m.replace()
		line.insert(k.Text)
	case len(line.text) == 0:
		return false
	case name == "esc":
		*line = field{}
	case !line.edit(name):
		return false
	}
	m.scene.hint, m.scene.refused = "", false
	return true
}

// replace clears a text that was refused: what is typed next stands in its place.
func (m *model) replace() {
	if m.scene.refused {
		m.scene.typed, m.scene.refused = field{}, false
	}
}

// find is the key of the question that was pressed. A digit is none where numbers of
// two digits are typed, and a letter is none where words are.
func (m *model) find(name string) (sitting.Key, bool) {
	q := m.scene.question
	if q.Field != nil && len(q.View.Rows) > 9 && len(name) == 1 && name >= "0" && name <= "9" {
		return sitting.Key{}, false
	}
	for _, name := range []string{name, strings.ToLower(name)} {
		for _, k := range m.scene.keys() {
			if len(name) == 1 && (name < "0" || name > "9") && m.scene.letters() && m.typing() {
				continue
			}
			if k.Is(name) && name != moreKey {
				return k, true
			}
		}
	}
	return sitting.Key{}, false
}

// press does what a key does that was meant, or what one does that is in doubt.
func (m *model) press(name string, doubtful bool) tea.Cmd {
	on, last := m.shown()
	open := m.open()
	m.scene.hint = ""
	switch {
	case m.scene.more:
		switch {
		case (name == "space" || name == "pgdown" || name == "down" || name == "enter") && m.behind < last:
			m.behind++
		case (name == "b" || name == "pgup" || name == "up") && m.behind > 0:
			m.behind--
		case name != "b" && name != "pgup" && name != "up":
			m.scene.more = false
		}
		m.clamp()
		return nil
	case name == moreKey:
		m.scene.more, m.behind = true, 0
		return nil
	case on.kind == cautionSheet && on.asks && name == readKey:
		m.scene.read, m.at, m.seen = true, 0, 0
		m.guard.answered(m.wall())
		m.clamp()
		return nil
	case on.kind == toldSheet && (name == "space" || name == "pgdown" || name == "enter") && m.at < last && m.sheets()[m.at+1].kind != toldSheet:
		m.scene.heard, m.at, m.seen = true, 0, 0
		m.clamp()
		return nil
	case (name == "space" || name == "pgdown" || name == "enter" && !open) && m.at < last && !(on.kind == cautionSheet && on.asks):
		m.at++
		m.clamp()
		return nil
	case name == "space" && on.part && m.at == last:
		m.at = 0
		return nil
	case (name == "pgup" || name == "b" || name == "esc") && m.at > 0:
		m.at--
		return nil
	case on.kind != stepSheet && name != sitting.Quit:
		if name == "esc" {
			m.hint(leaveHint)
		}
		return nil
	}
	if name == "esc" { // with nothing typed
		switch _, enter := m.find(sitting.Enter); {
		case m.scene.keyed:
			m.scene.keyed = false
			return nil
		case open && m.scene.letters() && enter: // it leaves the field
			name = sitting.Enter
		case open && m.scene.letters():
			m.scene.keyed = true
			return nil
		default:
			m.hint(leaveHint)
			return nil
		}
	}
	var reply sitting.Reply
	switch k, ok := m.find(name); {
	case name == sitting.Enter && open && m.scene.question.Field != nil && len(m.scene.typed.text) > 0:
		text := strings.TrimSpace(m.scene.typed.String())
		if check := m.scene.question.Field.Check; check != nil {
			if v := check(text); !v.Taken {
				m.refuse(v.Said)
				return nil
			}
		}
		reply.Text = text
	case !ok:
		if wanted := m.scene.question.Wanted(); name == sitting.Enter && wanted != "" {
			m.hint(wanted)
		} else if m.moved {
			m.hint("That key answers nothing here: the question has changed.")
		} else if !open && m.scene.question.Field != nil {
			m.hint("Read on first: the last page asks.")
		}
		return nil
	case !open && !k.Common:
		m.hint("Read on first: the last page asks.")
		return nil
	case m.elsewhere(on, k.Key):
		m.at = slices.IndexFunc(m.sheets(), func(s sheet) bool { return lists.Contains(s.keys, k.Key) })
		m.hint("Here is that line: press again.")
		return nil
	default:
		reply.Key = k.Key
	}
	if !doubtful {
		m.answer(reply)
		return nil
	}
	m.doubts++
	n := m.doubts
	m.doubt = &reply
	return tea.Tick(repeats, func(time.Time) tea.Msg { return undoubted{n} })
}

// elsewhere reports whether a key is that of a line which is to be confirmed, and which
// ends on another sheet than this.
func (m *model) elsewhere(on sheet, key string) bool {
	q := m.scene.question
	return on.part && q.OnlyLetters() && !lists.Contains(on.keys, key) &&
		slices.ContainsFunc(q.View.Rows, func(r sitting.Row) bool { return r.Key == key })
}

// refuse says why a text is not taken: all of it, where the line below the field has no
// room for it.
func (m *model) refuse(why string) {
	m.scene.refused = true
	if len(why) < m.width-indent(m.width) {
		m.hint(why)
		return
	}
	m.scene.told, m.scene.heard = []string{page.Escape(why)}, false
	m.at = m.here()
	m.clamp()
}

// answer answers the question that stands.
func (m *model) answer(r sitting.Reply) {
	m.reply <- r
	m.reply, m.doubt = nil, nil
	m.guard.answered(m.wall())
	m.changed = r.Key == sitting.Changed
	if r.Key == sitting.Due || r.Key == sitting.Changed {
		return // nobody has seen anything
	}
	m.scene.told, m.scene.hint, m.stood = nil, "", 0
	m.scene.typed, m.scene.refused = field{}, false
	if m.wall().Sub(m.noticed) > 3*time.Second {
		m.scene.notices = nil
	}
	m.clamp()
}
