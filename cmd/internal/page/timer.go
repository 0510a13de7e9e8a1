package page

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/internal/term"
	"fettle/workflow"
)

// A Timer is one running clock.
type Timer struct {
	Mark    string         `json:"mark"`
	Job     string         `json:"job"`
	Name    string         `json:"name"`
	Phase   workflow.Phase `json:"phase,omitempty"` // of a joint
	Began   time.Time      `json:"began,omitzero"`  // of a coat that is not on yet
	Opens   time.Time      `json:"opens,omitzero"`
	Closes  time.Time      `json:"closes,omitzero"`
	Then    string         `json:"then,omitempty"` // of a wait with an end: the step that must be done by then
	Handles time.Time      `json:"handles,omitzero"`
	Cures   time.Time      `json:"cures,omitzero"`
	Damaged bool           `json:"damaged,omitempty"`    // damage keeps the joint from being joined before its repair
	Lies    string         `json:"quarantine,omitempty"` // what is in it; its name is the damage's
	Coldest *float64       `json:"coldest_celsius,omitempty"`
	Warmest *float64       `json:"warmest_celsius,omitempty"`
}

// Timers makes the list of running clocks of an airframe.
func Timers(s *workflow.State, now time.Time) []Timer { return newTimers(s, s.Timers(now)) }

// NewClocks makes the list of running clocks of an airframe with its quarantines.
func NewClocks(s *workflow.State, now time.Time) []Timer { return newTimers(s, s.Clocks(now)) }

func newTimers(s *workflow.State, running []workflow.Timer) []Timer {
	timers := []Timer{}
	for _, t := range running {
		timers = append(timers, NewTimer(s.Airframe.Mark, t))
	}
	return timers
}

// NewTimer is one running clock of the airframe with the mark.
func NewTimer(mark string, t workflow.Timer) Timer {
	view := Timer{Mark: mark, Job: t.Job, Name: t.Name, Phase: t.Phase, Opens: t.Opens, Closes: t.Closes, Then: t.Then, Damaged: t.Damaged, Lies: t.Lies, Handles: t.Handles, Cures: t.Cures}
	if t.Phase == workflow.Coating {
		view.Began = t.Began
	}
	if t.Joint {
		view.Coldest, view.Warmest = &t.Coldest, &t.Warmest
	}
	return view
}

// line is the clock in a list.
func (t Timer) line(c *Clock) string {
	name := esc(t.Name)
	if t.Damaged {
		return fmt.Sprintf("joint %s: coated, to be joined by %s, but damage comes first; after its repair coat it again", name, c.At(t.Closes))
	}
	switch t.Phase {
	case "":
		switch {
		case t.Lies != "" && c.Now.Before(t.Opens):
			return fmt.Sprintf("%s: %s is in quarantine, its lines can be confirmed from **%s** (%s)", name, esc(t.Lies), c.At(t.Opens), c.In(t.Opens))
		case t.Lies != "":
			return fmt.Sprintf("%s: %s is in quarantine, its lines can be confirmed (since %s)", name, esc(t.Lies), c.At(t.Opens))
		case t.Then != "" && c.Now.Before(t.Opens):
			return fmt.Sprintf("%s: over at **%s** (%s), then %s by %s", name, c.At(t.Opens), c.In(t.Opens), esc(t.Then), c.At(t.Closes))
		case t.Then != "":
			return fmt.Sprintf("%s: do %s by **%s** (%s left)", name, esc(t.Then), c.At(t.Closes), c.In(t.Closes))
		}
		return fmt.Sprintf("%s: over at **%s** (%s)", name, c.At(t.Opens), c.In(t.Opens))
	case workflow.Coating:
		return fmt.Sprintf("joint %s: begun %s, must be joined by **%s**", name, c.At(t.Began), c.At(t.Closes))
	case workflow.HalfCoated:
		return fmt.Sprintf("joint %s: one face coated, must be joined by %s", name, c.At(t.Closes))
	case workflow.Tacking:
		if c.Now.Before(t.Opens) {
			from, to := c.Between(t.Opens, t.Closes)
			return fmt.Sprintf("joint %s: drying, open from **%s** (%s) to %s", name, from, c.In(t.Opens), to)
		}
		return fmt.Sprintf("joint %s: wet at the last touch test, must be joined by %s", name, c.At(t.Closes))
	case workflow.Open:
		return fmt.Sprintf("joint %s: **OPEN**, join it by **%s** (%s left)", name, c.At(t.Closes), c.In(t.Closes))
	case workflow.Late:
		return fmt.Sprintf("joint %s: **LAPSED** %s, coat it again", name, c.At(t.Closes))
	case workflow.Unclocked:
		return fmt.Sprintf("joint %s: not known while the clock here is wrong; set it", name)
	case workflow.Setting:
		return fmt.Sprintf("joint %s: setting, handle from **%s** (%s), cured %s", name, c.At(t.Handles), c.In(t.Handles), c.At(t.Cures))
	}
	return fmt.Sprintf("joint %s: curing, full strength **%s** (%s)", name, c.At(t.Cures), c.In(t.Cures))
}

// calls is the clock with the next moment that calls for somebody.
func (t Timer) calls(c *Clock) string {
	if t.Phase == workflow.Setting {
		return fmt.Sprintf("joint %s: handle from **%s** (%s)", esc(t.Name), c.At(t.Handles), c.In(t.Handles))
	}
	return t.line(c)
}

// Clocks are the running clocks of every airframe.
type Clocks struct {
	Timers []Timer  `json:"timers"`
	Harms  []Reason `json:"harms,omitempty"`       // what open coats need and the journal says otherwise, and what is left hot, on or plugged in
	Wrong  string   `json:"clock_wrong,omitempty"` // why no time can be trusted

	Plugged []NextPlugged `json:"plugged_in,omitempty"` // what of that somebody else stays by
	Stands  bool          `json:"-"`                    // something may be hot, on or plugged in, see [Clocks.Lead]
}

// Add adds the clocks of an airframe.
func (k *Clocks) Add(s *workflow.State, now time.Time) {
	k.Timers = append(k.Timers, NewClocks(s, now)...)
	k.harm(atOnce(s, now))
	k.Stands = k.Stands || s.MayStand()
	if why := s.Untrusted(now); why != nil {
		k.Wrong = why.Text + ": set the clock"
	}
}

// Join adds the clocks of others.
func (k *Clocks) Join(others Clocks) {
	k.Timers, k.Wrong = append(k.Timers, others.Timers...), first(k.Wrong, others.Wrong)
	k.harm(others.Harms)
	k.Stands = k.Stands || others.Stands
}

// Lead adds what the page of the airframe to go on with of all says at once of the others.
func (k *Clocks) Lead(fleet []*workflow.State, now time.Time) {
	said := ledPast(fleet, now)
	k.Harms, k.Plugged = said.minded(k.Harms)
	k.harm(said.ends)
}

// harm adds what can hurt, of a bench that airframes share once.
func (k *Clocks) harm(all []Reason) {
	for _, r := range all {
		k.Harms = with(k.Harms, r)
	}
}

// with adds one more that can hurt, unless that is said. What two airframes say in the same words of themselves are two things.
func with(all []Reason, r Reason) []Reason {
	if slices.ContainsFunc(all, func(had Reason) bool {
		return had.Remedy.Setting == r.Remedy.Setting && had.At.Equal(r.At) && (r.At.IsZero() || had.Remedy.Mark == r.Remedy.Mark || had.Text != r.Text)
	}) {
		return all
	}
	return append(all, r)
}

// Markdown is the list of clocks.
func (k Clocks) Markdown(c *Clock) string {
	var l lines
	l.add("# Clocks, %s\n", c.Now.In(time.Local).Format("Mon 2 Jan 15:04"))
	if k.Wrong != "" {
		l.add("**%s.**\n", esc(Capital(k.Wrong)))
	}
	l.harmed(k.Harms, c)
	if l.stayed(k.Plugged, c); len(k.Harms)+len(k.Plugged) > 0 {
		l.add("")
	}
	if len(k.Timers) == 0 {
		l.add("Nothing is drying or curing.")
	}
	return l.String() + k.Strip(c)
}

// Cautions are in plain text what can hurt.
func (k *Clocks) Cautions() (all []string) {
	for _, r := range k.Harms {
		all = append(all, "Caution, at once: "+term.Line(said(workflow.Cause{Text: r.Text, At: r.At})))
	}
	for i := range k.Plugged {
		p := &k.Plugged[i]
		head, who := p.stays()
		all = append(all, term.Line(head+" "+strings.TrimLeft(who+" "+said(workflow.Cause{Text: p.Text, At: p.At}), " ")))
	}
	return all
}

// Strip is the list alone, to go with something else.
func (k Clocks) Strip(c *Clock) string {
	var l lines
	for _, t := range k.Timers {
		l.item("%s · %s", esc(t.Mark), t.line(c))
	}
	return l.String()
}

// ClockWords is a running clock in a few words of plain text, how long it is first, as it is
// shown where it counts. calls says that somebody is to do something now.
func ClockWords(t workflow.Timer, c *Clock) (words string, calls bool) {
	at, in, begins := c.At, c.In, c.Now.Before(t.Opens)
	switch t.Phase {
	case "":
		switch {
		case t.Lies != "" && begins:
			return fmt.Sprintf("%s in quarantine, %s to go, until %s", t.Lies, in(t.Opens), at(t.Opens)), false
		case t.Lies != "":
			return t.Lies + " in quarantine, its lines can be confirmed", false
		case begins && t.Then != "":
			return fmt.Sprintf("over in %s, at %s, then %s by %s", in(t.Opens), at(t.Opens), t.Then, at(t.Closes)), false
		case begins:
			return fmt.Sprintf("over in %s, at %s", in(t.Opens), at(t.Opens)), false
		}
		return fmt.Sprintf("DO %s, %s left, by %s", t.Then, in(t.Closes), at(t.Closes)), true
	case workflow.Coating:
		return fmt.Sprintf("begun %s; join by %s, %s left", at(t.Began), at(t.Closes), in(t.Closes)), false
	case workflow.HalfCoated:
		return fmt.Sprintf("coat the other face; join by %s, %s left", at(t.Closes), in(t.Closes)), false
	case workflow.Tacking:
		if begins {
			from, until := c.Between(t.Opens, t.Closes)
			return fmt.Sprintf("join in %s, from %s until %s", in(t.Opens), from, until), false
		}
		if c.Now.Before(t.Touch) {
			return fmt.Sprintf("it was wet; touch it again in %s; join by %s", in(t.Touch), at(t.Closes)), false
		}
		return fmt.Sprintf("TOUCH IT AGAIN, it was wet; join by %s, %s left", at(t.Closes), in(t.Closes)), true
	case workflow.Open:
		return fmt.Sprintf("JOIN NOW, %s left, until %s", in(t.Closes), at(t.Closes)), true
	case workflow.Late:
		return fmt.Sprintf("LAPSED %s, coat it again", at(t.Closes)), true
	case workflow.Unclocked:
		return "not known while the clock here is wrong; set it", true
	case workflow.Setting:
		return fmt.Sprintf("handle in %s, from %s", in(t.Handles), at(t.Handles)), false
	}
	return fmt.Sprintf("cured in %s, at %s", in(t.Cures), at(t.Cures)), false
}

// momentWords says in plain text what the moment of a clock calls for.
func momentWords(m workflow.Moment, c *Clock) string {
	until, left := c.At(m.Until), Span(m.Until.Sub(later(m.At, c.Now)))
	switch m.Event {
	case workflow.MayJoin:
		return "JOIN NOW, until " + until
	case workflow.MayTouch:
		return "touch it again, it was wet; join it by " + until
	case workflow.ClosesSoon:
		return fmt.Sprintf("join it by %s, %s left", until, left)
	case workflow.HasLapsed:
		return "LAPSED, coat it again"
	case workflow.MayHandle:
		return "may be handled; fully cured at " + until
	case workflow.IsCured:
		return "cured"
	case workflow.WaitOver:
		if m.Then == "" {
			return "over"
		}
		return fmt.Sprintf("over, do %s by %s", m.Then, until)
	case workflow.DueSoon:
		return fmt.Sprintf("do %s by %s, %s left", m.Then, until, left)
	case workflow.IsLate:
		return "TOO LATE for " + m.Then
	case workflow.MayConfirm:
		return m.Lies + " has lain its time: confirm the lines of its quarantine"
	}
	return "can be done now"
}

// A Moment is a moment of a clock, for programs.
type Moment struct {
	Mark  string         `json:"mark"`
	Job   string         `json:"job,omitempty"`
	Name  string         `json:"name"`
	Event workflow.Event `json:"event"`
	At    time.Time      `json:"at"`
	Until time.Time      `json:"until,omitzero"`
	Then  string         `json:"then,omitempty"` // the step that must be done by then
	Says  string         `json:"says"`
}

// NewMoment makes a moment for programs.
func NewMoment(m workflow.Moment, c *Clock) Moment {
	return Moment{m.Mark, m.Job, m.Name, m.Event, m.At, m.Until, m.Then, MomentLine(m, c)}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// MomentLine is momentWords with the airframe and the name of the clock.
func MomentLine(m workflow.Moment, c *Clock) string {
	return term.Line(fmt.Sprintf("%s · %s: %s", m.Mark, m.Name, momentWords(m, c)))
}
