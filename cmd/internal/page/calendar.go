package page

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/ics"
	"fettle/cmd/internal/term"
	"fettle/steps/lists"
	"fettle/workflow"
)

// Calendar has what runs on an airframe as events: a window from when it opens until it
// closes, with an alarm at its beginning and one before its end, and anything else when it
// comes.
func Calendar(s *workflow.State, now time.Time) []ics.Event {
	var events []ics.Event
	open := map[string]bool{}  // of these joints the window is in it
	taken := map[string]bool{} // by the other parts of a joint
	for _, m := range s.Coming(now) {
		joint := m.Job + "/" + m.Name
		what, words, window := m.Event, "", m.Then != ""
		switch m.Event {
		case workflow.MayJoin, workflow.MayTouch:
			words = "join " + m.Name
			if what == workflow.MayTouch {
				words = "touch " + m.Name + ", and join it if it is dry"
			}
			what, window, open[joint] = workflow.MayJoin, true, true
		case workflow.ClosesSoon:
			if open[joint] {
				continue
			}
			what, words, window = workflow.MayJoin, "coat the other face of "+m.Name+" and join it", true
		case workflow.MayHandle:
			words = m.Name + " may be handled"
		case workflow.IsCured:
			words = m.Name + " is cured"
		case workflow.WaitOver:
			if words = m.Name + " is over"; window {
				words = "do " + m.Then
			}
		case workflow.MayConfirm:
			words = m.Lies + ": confirm the lines of its quarantine"
		default:
			continue
		}
		e := ics.Event{UID: uid(s, m, what), Sequence: s.Size(), Start: m.At, Summary: term.Line(m.Mark + ": " + words), Alarms: []time.Time{m.At}}
		for taken[e.UID] {
			e.UID = "also-" + e.UID
		}
		taken[e.UID] = true
		if window {
			e.End = m.Until
			if soon := m.Until.Add(-workflow.Warning); soon.After(m.At) {
				e.Alarms = append(e.Alarms, soon)
			}
		}
		events = append(events, e)
	}
	return events
}

// Cancelled are the events of the calendar of before that do not come any more, of these
// marks or of all: whoever imports the new one over it must not be called for them. Those
// whose time is over are left out.
func Cancelled(before, events []ics.Event, marks []string, now time.Time) []ics.Event {
	var gone []ics.Event
	for _, e := range before {
		mark, _, _ := strings.Cut(e.Summary, ": ")
		switch same := func(other ics.Event) bool { return other.UID == e.UID }; {
		case !strings.HasSuffix(e.UID, domain), slices.ContainsFunc(events, same):
		case len(marks) > 0 && !lists.ContainsFunc(marks, func(m string) bool { return strings.EqualFold(m, mark) }):
		case !e.Start.After(now) && !e.End.After(now):
		default:
			if !e.Cancelled {
				e.Cancelled = true
				e.Sequence++ // RFC 5546, section 3.2.5
			}
			gone = append(gone, e)
		}
	}
	return gone
}

// CalendarLine says that a calendar was written.
func CalendarLine(file string, events, cancelled []ics.Event) string {
	text := fmt.Sprintf("%s has %s", file, many(len(events), "event"))
	if len(cancelled) > 0 {
		text += fmt.Sprintf(", and %d cancelled", len(cancelled))
	}
	return term.Line(text)
}

// domain ends every UID.
const domain = "@fettle"

// uid is the same for the same clock of the same airframe, whatever its times are, so
// that a calendar moves what it has.
func uid(s *workflow.State, m workflow.Moment, what workflow.Event) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\n%d\n%s\n%s\n%s", m.Mark, s.Since.UnixNano(), m.Job, m.Name, what))
	return fmt.Sprintf("%x", sum[:12]) + domain
}

// Calendar has an event for each sitting, the same one whenever it is planned again.
func (p Plan) Calendar() []ics.Event {
	var events []ics.Event
	for _, s := range p.Sittings {
		if s.Assumed {
			break
		}
		var text []string
		for _, t := range s.Turns {
			text = append(text, TurnLine(t, t.Mark+": "))
		}
		if leave := s.leave(false, len(p.Marks) > 1, &Clock{}); leave != "" {
			text = append(text, "Before you leave: "+leave)
		}
		if len(s.Tools)+len(s.Materials) > 0 {
			text = append(text, "Have ready: "+strings.Join(lists.Concat(s.Tools, s.Materials), ", "))
		}
		if len(s.Set) > 0 {
			text = append(text, "At the bench, in this order: "+strings.Join(s.Set, "; "))
		}
		if _, left := s.dries(func(mark string) string { return mark + ": " }, &Clock{Now: s.From}); len(left) > 0 {
			text = append(text, "Left to dry and cure: "+strings.Join(left, "; "))
		}
		sum := sha256.Sum256([]byte("sitting " + s.From.UTC().Format(time.RFC3339)))
		events = append(events, ics.Event{
			UID: fmt.Sprintf("%x", sum[:12]) + domain, Sequence: p.Made.Unix() / 60, Start: s.From, End: s.To,
			Summary: term.Line("Bench: " + strings.Join(s.marks(), ", ")), Description: strings.Join(text, "\n"),
		})
		if s.From.After(p.Made) {
			events[len(events)-1].Alarms = []time.Time{s.From}
		}
	}
	return events
}
