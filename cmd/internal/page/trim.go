package page

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fettle/steps"
	"fettle/steps/lists"
	"fettle/steps/measuring"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// A Trim is where a control surface stood after a flight, and how that is taken out.
type Trim struct {
	Control string    `json:"control"`
	Way     string    `json:"way"`
	Value   string    `json:"value"`
	Other   string    `json:"other,omitempty"` // a travel as an angle, an angle as a travel
	Chord   string    `json:"chord"`
	Flight  int64     `json:"flight,omitempty"` // the entry of the flight
	At      time.Time `json:"at,omitzero"`
	Turns   float64   `json:"turns,omitempty"` // of the clevis; absent: the sheet lacks something
	Lacks   []string  `json:"missing,omitempty"`
	Horn    string    `json:"horn,omitempty"`
	Pitch   string    `json:"thread,omitempty"`
	Thread  *Thread   `json:"thread_in_clevis,omitempty"`
	Rework  string    `json:"rework,omitempty"` // the gate whose rework is recorded then
	ByWay   int       `json:"rework_way,omitempty"`
	Again   []string  `json:"measure_again"`
	Out     bool      `json:"taken_out"`
}

// A Thread is the thread in a clevis, in turns.
type Thread struct {
	Gate    string   `json:"gate"`
	Seen    *float64 `json:"seen,omitempty"` // absent: nobody counted it, or that counts no more
	Least   *float64 `json:"least,omitempty"`
	Most    *float64 `json:"most,omitempty"`
	Longer  *float64 `json:"lengthen_by_at_most,omitempty"` // absent: not known, or without limit
	Shorter *float64 `json:"shorten_by_at_most,omitempty"`
}

func newThread(t workflow.Thread) *Thread {
	if t.Gate == "" {
		return nil
	}
	one := Thread{Gate: t.Gate, Least: finite(t.Low), Most: finite(t.High)}
	if t.Known {
		one.Seen, one.Longer, one.Shorter = &t.Seen, finite(t.Longer()), finite(t.Shorter())
	}
	return &one
}

// must are the turns that must be seen in a clevis.
func (t *Thread) must() string {
	switch {
	case t.Least == nil && t.Most == nil:
		return ""
	case t.Most == nil:
		return figure(*t.Least) + " or more"
	case t.Least == nil:
		return "no more than " + figure(*t.Most)
	}
	return figure(*t.Least) + " to " + figure(*t.Most)
}

// turning says by how much a clevis may be turned, and whether that is all that the trim
// asks for.
func (t Trim) turning() (text string, enough bool) {
	turns, c := t.half(), t.Thread
	switch {
	case c == nil:
		return "Count the thread in the clevis first; the sheet does not say how much of it must stay", true
	case c.Seen == nil:
		return fmt.Sprintf("Count the thread in the clevis first (%s): %s turns must be seen in it afterwards", c.Gate, c.must()), true
	}
	seen := quantity.Written(figure(*c.Seen), "turn") + " of thread were seen in the clevis (" + c.Gate + ")"
	short := func(room *float64) bool { return room != nil && *room < turns }
	if !short(c.Longer) && !short(c.Shorter) {
		return fmt.Sprintf("%s: lengthened it shows %s, shortened %s; %s must be seen", seen, figure(*c.Seen-turns), figure(*c.Seen+turns), c.must()), true
	}
	most := func(act string, room *float64) string {
		switch {
		case !short(room):
			return act + " by all of it"
		case *room == 0:
			return "do not " + act
		}
		return act + " by no more than " + quantity.Written(figure(*room), "turn")
	}
	return fmt.Sprintf("%s, and %s must be seen: %s, %s. Take the rest in the rod itself: in its bend, or make it anew", seen, c.must(),
		most("lengthen", c.Longer), most("shorten", c.Shorter)), false
}

func newTrim(t workflow.Trimmed) Trim {
	one := Trim{Control: t.Control.Name, Way: t.Way, Value: t.Value.String(), Chord: t.Control.Chord.String(), Flight: t.Flight, At: t.At,
		Turns: t.Turns, Lacks: t.Lacks, Horn: t.Control.Horn.String(), Pitch: t.Control.Thread.String(), Rework: t.Rework, ByWay: t.ByWay, Again: append([]string{}, t.Again...), Out: t.Out}
	if other, ok := t.Control.Other(t.Value, quantity.Nearest); ok {
		one.Other = other.String()
	}
	return one
}

func newTrims(all []workflow.Trimmed) []Trim {
	list := []Trim{}
	for _, t := range all {
		list = append(list, newTrim(t))
	}
	return list
}

// named is the surface, and where it stood.
//
//go:noinline
func (t Trim) named() string { return t.Control + " " + strings.ReplaceAll(t.Way, "-", " ") }

// line is the trim in a list.
func (t Trim) line() string {
	text := t.named() + " " + t.Value + optionally(" (", t.Other)
	if t.Other != "" {
		text += ")"
	}
	if t.Out {
		text += ", taken out since"
	}
	return text
}

// half is the number of turns that a clevis can be turned by, since its pin fits the horn
// from either side (common practice, no source).
//
//go:noinline
func (t Trim) half() float64 { return math.Round(t.Turns*2) / 2 }

// trimsOf are the trims of a flight in a few words.
func trimsOf(f journal.FlightLogged) string {
	var all []string
	for _, t := range f.Trims {
		all = append(all, Trim{Control: t.Control, Way: t.Way}.named()+" "+t.Value.String())
	}
	return strings.Join(all, ", ")
}

// recentre says how trims are taken out by the linkage, and what is measured again.
func (l *lines) recentre(mark string, trims []Trim) {
	if len(trims) == 0 {
		return
	}
	l.add("\nTo take the trim out:\n")
	var reworks, again []string
	turned, loose := false, false
	for _, t := range trims {
		text := fmt.Sprintf("**%s** %s", esc(t.named()), esc(t.Value))
		if t.Other != "" {
			text += esc(fmt.Sprintf(", which is %s at the chord of %s", t.Other, t.Chord))
		}
		to, from := faces(t.Way)
		way := fmt.Sprintf("Shorten the rod if its horn is on the %s side, lengthen it if on the %s side", to, from)
		switch {
		case len(t.Lacks) > 0:
			text += fmt.Sprintf(": the sheet does not give the %s of this control, so the number of turns is not known. %s, until the edge stands where it stands now",
				esc(strings.Join(t.Lacks, " and the ")), way)
		case t.half() == 0:
			l.item("%s: less than a quarter of a turn of the clevis. Leave it in the trim", text)
			continue
		default:
			thread, enough := t.turning()
			if enough {
				text += fmt.Sprintf(": turn the clevis by **%s** (worked out %.2f). %s. %s", quantity.Written(figure(t.half()), "turn"), t.Turns, way, esc(thread))
			} else {
				text += fmt.Sprintf(": **too much for the clevis alone**, %s (worked out %.2f). %s. %s", quantity.Written(figure(t.half()), "turn"), t.Turns, way, esc(thread))
			}
			text += esc(fmt.Sprintf("; turns = horn × sin(angle) / pitch, with %s and %s by the sheet", t.Horn, t.Pitch))
		}
		turned = true
		l.item("%s", text)
		if side, _ := steps.Side(t.Way); side != "" && !slices.ContainsFunc(trims, func(o Trim) bool { return o.Control == t.Control && o.Way != t.Way }) {
			l.item("The trim in the transmitter moves the other side of the %s too, and that was not measured: measure it before that trim is moved, and take it out of its own rod", esc(t.Control))
		}
		record := ReworkStep + t.Rework
		if t.ByWay > 0 {
			record += fmt.Sprintf(" --way %d", t.ByWay)
		}
		if t.Rework == "" {
			loose = true
		} else if !lists.Contains(reworks, record) {
			reworks = append(reworks, record)
		}
		for _, gate := range t.Again {
			if !lists.Contains(again, gate) {
				again = append(again, gate)
			}
		}
	}
	if !turned {
		return
	}
	l.add("\nPropeller off and battery out before a hand is at the linkage. The rod is taken to come from ahead of the hinge; if it comes from behind, it is the other way round.")
	l.add("Then move the trim in the transmitter back to the middle: the edge must stand where it stands now. What half turns leave over stays in the trim.")
	if len(reworks) > 0 {
		l.add("\nRecord it:")
	}
	for _, rework := range reworks {
		l.add("\n%s", command("fettle done "+mark+" "+rework))
	}
	if loose {
		l.add("\nNo gate of the sheet measures the throw: try way and throw of the control before it flies.")
	}
	if len(again) > 0 {
		l.add("\nMeasure again: %s.", esc(strings.Join(again, ", ")))
	}
}

// faces are the sides of a surface that its edge went to, and came from.
func faces(way string) (to, from string) {
	switch _, to := steps.Side(way); to {
	case "up":
		return "upper", "lower"
	case "down":
		return "lower", "upper"
	case "left":
		return "left", "right"
	}
	return "right", "left"
}

// thrown is a throw in its other form, for the limits of a gate, what passes, and its
// readings; "": it is none.
func thrown(s *workflow.State, r workflow.GateReport, pass measuring.Limits) string {
	control, ok := s.Sheet.ControlOf(r.Gate.Name)
	if !ok {
		return ""
	}
	var parts []string
	say := func(label string, q quantity.Quantity, side quantity.Side) {
		if other, ok := control.Other(q, side); ok {
			if text := strings.TrimSpace(label+" "+q.String()) + " is " + other.String(); !lists.Contains(parts, text) {
				parts = append(parts, text)
			}
		}
	}
	for _, l := range []measuring.Limits{r.Gate.Limits, pass} {
		say("", l.Low, quantity.Up)
		say("", l.High, quantity.Down)
	}
	for _, p := range r.Points {
		for _, q := range p.Readings {
			say(p.Name, q, quantity.Nearest)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "at the chord of " + control.Chord.String() + ", " + strings.Join(parts, "; ")
}
