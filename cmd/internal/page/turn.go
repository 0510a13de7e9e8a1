package page

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"fettle/steps/lists"
	"fettle/workflow"
)

// This file says what is done in a turn of a plan, by whom, and what dries meanwhile.

// turnWords are what is done in a turn.
func turnWords(t workflow.Turn) string {
	title := t.Title
	switch {
	case t.Rework != "":
		title = "Rework " + t.Rework
	case t.Act == workflow.ToCoat:
		title += ": coat"
	case t.Act == workflow.ToPress:
		title += ": press"
	case t.Again == workflow.AgainReady:
		title += ", once more"
	case t.Again == workflow.AgainSafe:
		title += ", for now"
	}
	return title
}

// againLines are the commands that record what is done once more, of which no step is over with it.
func againLines(t workflow.Turn) (lines []string) {
	if t.Again == "" {
		return nil
	}
	if len(t.Look) > 0 {
		return []string{"fettle clear " + t.Mark + " " + t.Job + "/" + t.Step}
	}
	for _, is := range t.Sets {
		lines = append(lines, "fettle bench "+t.Mark+" --set "+is.Condition+"="+is.State)
	}
	for _, gate := range t.Gates {
		lines = append(lines, "fettle measure "+t.Mark+" "+gate)
	}
	return lines
}

func turnTitle(t workflow.Turn) string { return esc(turnWords(t)) }

// turnWindow is when a turn must be over.
func turnWindow(t workflow.Turn, c *Clock) string {
	if t.Closes.IsZero() {
		return ""
	}
	return "done by **" + c.at(t.By, false) + "**"
}

// whose says whose turn it is, where there are several at work: 1, or 1+2.
//
//go:noinline
func whose(t workflow.Turn) string {
	text := ""
	for _, who := range t.Hands {
		text += fmt.Sprintf("+%d", who)
	}
	return strings.TrimPrefix(text, "+")
}

// TurnLine is a turn on a line of plain text, with its airframe where that is to be said.
func TurnLine(t workflow.Turn, of string) string {
	text := clockOf(t.Begins) + " " + of + turnWords(t)
	if !t.Closes.IsZero() {
		text += ", done by " + clockOf(t.By)
	}
	return text + optionally(", ", strings.Trim(secondAt(t), "*")) + optionally(", who: ", whose(t))
}

// PlannedNow says what a plan has for the sitting that runs, or for the first one that comes: when that is, from which step to which. "":
// for none.
func PlannedNow(t *workflow.Timetable, c *Clock) string {
	first := *t
	first.Visits = first.Visits[:min(1, len(first.Visits))]
	p := NewPlan(nil, first)
	if len(p.Sittings) == 0 {
		return ""
	}
	p.Marks = p.Sittings[0].marks()
	text := p.line(&p.Sittings[0], c)
	if rest, today := strings.CutPrefix(text, "Today"); today {
		text = "today" + rest
	}
	return "By the plan, " + text + "."
}

// Without says which airframes a plan that is followed was made without. "": none.
func Without(aside []*workflow.State) string {
	if len(aside) == 0 {
		return ""
	}
	var marks []string
	for _, s := range aside {
		marks = append(marks, s.Airframe.Mark)
	}
	return "This plan was made without " + strings.Join(marks, ", ") + ". To plan all together: `fettle plan`"
}

// PutOff says what is put off to a later sitting, by a plan that was made anew: the first few steps, and when, and when all is done, where that
// was another time. "": nothing.
func PutOff(all []workflow.Turn, done, was time.Time, c *Clock) (text string) {
	const mostPutOff = 200 // characters
	if len(all) > 0 {
		var off []string
		for _, t := range all {
			off = append(off, turnWords(t)+" ("+t.Mark+", "+c.At(t.Begins)+")")
		}
		text = "Planned anew, and put off: " + fitting(off, mostPutOff) + ". "
	}
	if !was.IsZero() {
		if text == "" {
			text = "Planned anew. "
		}
		text += "Done " + c.At(done) + " in place of " + c.At(was) + "."
	}
	return strings.TrimSpace(text)
}

// StopsAt says where a plan ends before the work does. "": nowhere.
func StopsAt(t *workflow.Timetable) string {
	const mostStops = 200 // characters
	var at []string
	for i := range t.Stops {
		s := &t.Stops[i]
		at = append(at, cmp.Or(s.Title, "the first step")+" ("+s.Mark+")")
	}
	if len(at) == 0 {
		return ""
	}
	return "From " + fitting(at, mostStops) + " on nothing can be planned. Why: fettle plan"
}

// secondAt says that a turn wants a second person; "": it wants none.
func secondAt(t workflow.Turn) string {
	switch {
	case !t.Second:
		return ""
	case len(t.Alone) == 0:
		return "**not alone**"
	}
	return "second person"
}

// dries says what passes by itself meanwhile, and what goes on after the last turn, until when.
func (s *PlanSitting) dries(of func(mark string) string, c *Clock) (meanwhile, left []string) {
	for i := range s.Turns {
		for k := range s.Turns[i].Dries {
			d := &s.Turns[i].Dries[k]
			if text := of(d.Mark) + esc(d.Joint+d.Step) + passing(d, c); !lists.Contains(s.After, *d) && !lists.Contains(meanwhile, text) {
				meanwhile = append(meanwhile, text)
			}
		}
	}
	at := map[string]int{} // of a joint that sets, and cures then
	for i := range s.After {
		d := &s.After[i]
		what := of(d.Mark) + esc(d.Joint+d.Step)
		if k, sets := at[d.Job+what]; sets && d.For == workflow.AfterCure {
			left[k] += "," + passing(d, c)
			continue
		}
		if text := what + passing(d, c); !lists.Contains(left, text) {
			at[d.Job+what] = len(left)
			left = append(left, text)
		}
	}
	return meanwhile, left
}

// passing says what time does to it, and until when: without a verb, since some names are of one thing and some of several.
func passing(d *workflow.Drying, c *Clock) string {
	text := " over at "
	switch d.For {
	case workflow.AfterDrying:
		text = " dry at "
	case workflow.AfterHandling:
		text = " set at "
	case workflow.AfterCure:
		text = " cured by "
	}
	return text + c.at(d.Until, false)
}
