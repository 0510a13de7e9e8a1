package page

import (
	"fmt"
	"strings"

	"fettle/workflow"
)

// NoPlan says why there is no plan, and what would free it.
func NoPlan(e *workflow.NoPlan, c Clock) string {
	var l lines
	var turns []string
	for _, t := range e.Turns {
		turns = append(turns, fmt.Sprintf("%s · **%s** (`%s`)", esc(t.Mark), turnTitle(t), t.Step))
	}
	one := strings.Join(turns, ", ")
	l.add("**There is no plan.**\n")
	switch e.Why {
	case workflow.NoSitting:
		l.add("No sitting is left.")
	case workflow.BadSitting, workflow.Overlap:
		l.add("The sitting %s ends before it starts, or overlaps another.", hours(e.Sittings[0], c))
	case workflow.TooLong:
		l.add("%s takes %s without a break. Your longest sitting has %s.", one, Span(e.Takes), Span(e.Has))
	case workflow.TooShort:
		l.add("%s: what must be done within the window of `%s` takes %s, and the window has %s.\n", one, e.Joint, Span(e.Takes), Span(e.Has))
		if len(e.Free) == 0 {
			l.add("No other temperature, adhesive or second person would help: less must be done between the coat and the join.")
		}
	case workflow.TooLittle:
		l.add("It takes sittings of %s in all, and yours have %s.", Span(e.Takes), Span(e.Has))
	case workflow.NotFound:
		l.add("None was found in the time. One may exist: look longer, with `--think 10s`.")
	default:
		l.add("These don't go together:\n")
		for _, t := range turns {
			l.item("%s", t)
		}
		for _, w := range e.Windows {
			l.item("%s · the window of `%s`%s", esc(w.Mark), w.Name, optionally(", which closes at ", c.At(w.Closes)))
		}
		if e.InHours {
			l.item("your sittings")
		}
		if e.Least {
			l.add("\nWithout any one of them there would be a plan.")
		}
	}
	if len(e.Free) > 0 {
		l.add("")
	}
	for _, f := range e.Free {
		switch {
		case f.Longer > 0:
			l.item("make a sitting at least %s longer", Span(f.Longer))
		case f.More > 0:
			l.item("add at least %s of sittings, or repeat one: `--sitting \"every sat 14:00-17:00\"`", Span(f.More))
		case f.Tight:
			l.item("use windows to their ends: `--tight`")
		case f.At != nil:
			l.item("bring the bench to %s: `--temperature %sC`", amount(*f.At, "°C"), short(*f.At))
		case f.With != "":
			l.item("use another adhesive: `--consider %s`", f.With)
		case f.Hands > 0:
			l.item("work with %d people: `--hands %d`", f.Hands, f.Hands)
		case f.After != "":
			l.item("leave `%s` for later", f.After)
		}
	}
	return l.String()
}
