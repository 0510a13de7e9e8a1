package page

import (
	"fmt"
	"math"
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
	Thread  string    `json:"thread,omitempty"`
	Rework  string    `json:"rework,omitempty"` // the gate whose rework is recorded then
	Again   []string  `json:"measure_again"`
	Out     bool      `json:"taken_out"`
}

func newTrim(t workflow.Trimmed) Trim {
	one := Trim{Control: t.Control.Name, Way: t.Way, Value: t.Value.String(), Chord: t.Control.Chord.String(), Flight: t.Flight, At: t.At,
		Turns: t.Turns, Lacks: t.Lacks, Horn: t.Control.Horn.String(), Thread: t.Control.Thread.String(), Rework: t.Rework, Again: append([]string{}, t.Again...), Out: t.Out}
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
			text += fmt.Sprintf(": turn the clevis by **%s** (worked out %.2f). %s", quantity.Written(figure(t.half()), "turn"), t.Turns, way)
			text += esc(fmt.Sprintf("; turns = horn × sin(angle) / pitch, with %s and %s by the sheet", t.Horn, t.Thread))
		}
		turned = true
		l.item("%s", text)
		if t.Rework == "" {
			loose = true
		} else if !lists.Contains(reworks, t.Rework) {
			reworks = append(reworks, t.Rework)
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
	for _, gate := range reworks {
		l.add("\n%s", command("fettle done "+mark+" "+ReworkStep+gate))
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
