package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/workflow"
)

// This file says, of several people, what is whose: what the others do, and what is left to them.

// A NextShare is what another of several people does meanwhile.
type NextShare struct {
	Who      int       `json:"who"`            // from 1
	Mark     string    `json:"mark,omitempty"` // the other airframe of the bench that it is on
	Step     string    `json:"step"`
	Title    string    `json:"title"`
	Planned  time.Time `json:"planned"`
	Cautions []string  `json:"cautions,omitempty"`
}

func sharesNext(s *workflow.State, suggestion workflow.Suggestion, now time.Time) (all []NextShare) {
	for _, o := range suggestion.Others {
		share := NextShare{o.Who, o.Mark, o.Step.Step.Name, turnWords(workflow.Turn{Title: o.Step.Step.Label(), Act: o.Step.Act}), o.Planned, nil}
		of := o.Beside
		if o.Mark == "" {
			of, share.Step = s, s.NameOf(o.Step.Job, o.Step.Step.Name, now)
		}
		if of != nil { // else the page of the other airframe has its cautions
			p := NewStep(of, o.Step, now)
			p.heed(of, now)
			share.Cautions = p.Whole
		}
		all = append(all, share)
	}
	return all
}

// when says whose share it is, and for when it is planned.
func (o NextShare) when(c *Clock) string {
	at := "at "
	if o.Planned.Before(c.Now) {
		at = "planned for "
	}
	return fmt.Sprintf("Meanwhile person %d, %s%s", o.Who, at, c.at(o.Planned, false))
}

// toPlan is the command that plans.
func (n *Next) toPlan() string {
	if n.Unsettled {
		return `fettle plan --sitting "today ` + Blank + "-" + Blank + `"`
	}
	return "fettle plan"
}

// ToldAlike says that so many people are at the bench: where nothing tells them apart, each of them is told the same step; noted: but for
// whoever asks next, since it is kept that somebody was.
func (n *Next) ToldAlike(people int, noted bool) {
	n.noted = noted
	n.Both = n.Both || people > 1
	n.Several = n.Several || people > 1 && !n.apart && n.Step != nil
}

// TakenFrom says who was at the step, or was to do it, until it was taken over: they may have their hands there still. by recorded something
// of the airframe last; "": nobody did lately.
//
//go:noinline
func (n *Next) TakenFrom(who, by string, at time.Time) {
	if n.from = who; by != "" {
		if n.Last, n.LastAt = by, at; strings.HasSuffix(who, "("+by+")") {
			n.from = "" // the same one
		}
	}
}

// leaveToThem has the page of a step that is for others, who are at the bench, say that, and not how it is done.
func (n *Next) leaveToThem(s *workflow.State, suggestion workflow.Suggestion, now time.Time) {
	if !suggestion.Theirs || n.Step == nil {
		return
	}
	n.Theirs, n.Because, n.SeeTo, n.EndFirst, n.InVain, n.Others, n.Begins = n.Whose, "", nil, nil, nil, nil, false
	n.Step.heed(s, now)
	n.Step.Do, n.Step.Short, n.Step.Reasons, n.Step.Commands = "", "", nil, []string{}
	if suggestion.Kept != nil {
		kept := newReason(*suggestion.Kept)
		n.Kept = &kept
	}
	if of := suggestion.Mine; of != nil {
		n.Mine = &sharesNext(s, workflow.Suggestion{Others: []workflow.Share{*of}}, now)[0]
	}
	for _, r := range s.Stands(now) { // that it is on or plugged in, and not how to end it
		if len(suggestion.Hands) > 0 && !slices.ContainsFunc(n.Harms, func(had Reason) bool { return sameEnd(s, &had.Remedy, &r.Remedy) }) && !n.minded(s.Airframe.Mark, r.Text) {
			n.Plugged = append(n.Plugged, NewPlugged(s, workflow.Plugged{Mark: s.Airframe.Mark, By: suggestion.Hands[0], Reason: r, Ends: suggestion.AtOnce}, now))
		}
	}
}

// minded reports whether it is said already who stays by that, or ends it.
//
//go:noinline
func (n *Next) minded(mark, text string) bool {
	return slices.ContainsFunc(n.Plugged, func(had NextPlugged) bool { return had.Mark == mark && had.Text == text })
}

// Nothing is the title where the step is for others: that there is nothing for whoever asks, and until when.
func (n *Next) Nothing(c *Clock) string {
	switch {
	case n.Mine == nil || n.Mine.Mark != "" && !n.Mine.Planned.After(c.Now):
		return "Nothing for you on " + n.Mark + " now"
	case n.Mine.Planned.After(c.Now):
		return "Nothing for you until " + c.At(n.Mine.Planned) + " (" + c.In(n.Mine.Planned) + ")"
	}
	return "Nothing for you until they are done"
}

// left says who does a step that is for others, to stay clear of it, and what whoever asks does next.
func (n *Next) left(c *Clock) string {
	var l lines
	is := " does it by the plan"
	if n.unplanned {
		is = " is at it"
	} else if n.Planned.After(c.Now) {
		is = " does it at " + c.At(n.Planned) + " by the plan"
	}
	l.add("**%s**%s: %s (`%s`)%s.\n", esc(Capital(n.Theirs)), is, esc(n.Step.Title), n.Step.Step, n.due(c))
	for _, caution := range n.Step.Whole {
		first, _, _ := strings.Cut(strings.TrimSpace(caution), "\n\n")
		l.item("**Caution.** %s", tagless(strings.Join(strings.Fields(first), " ")))
	}
	stay := "Stay"
	if slices.ContainsFunc(n.Harms, func(r Reason) bool { return !r.At.IsZero() && r.Remedy.Mark == n.Mark }) { // nobody is known to end it
		stay = "Once that is done, stay"
	}
	l.item("%s clear of %s until they say so.", stay, esc(n.Mark))
	if of := n.Mine; of == nil && n.Kept != nil {
		l.add("\nWhat else the plan has for you waits: %s", ReasonText(n.Kept.Reason, c))
	} else if of == nil && n.unplanned {
		l.add("\nTo plan who of you does what: `%s`\n", n.toPlan())
	} else if of == nil {
		l.add("\nThe plan has nothing more for you.\n")
	} else {
		at := "Your next"
		if of.Planned.After(c.Now) {
			at += ", at " + c.At(of.Planned)
		}
		l.add("\n%s: %s%s. `fettle next %s %s`\n", at, esc(of.Title), optionally(" on ", of.Mark), cmp.Or(of.Mark, n.Mark), of.Step)
	}
	return l.String()
}

// due says by when what somebody else is at must be joined or done.
//
//go:noinline
func (n *Next) due(c *Clock) string {
	if n.DueBy.IsZero() {
		return ""
	}
	return "; by " + c.At(n.DueBy) + " (" + c.In(n.DueBy) + ") it must be joined or done"
}
