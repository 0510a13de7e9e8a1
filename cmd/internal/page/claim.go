package page

import (
	"strings"

	"fettle/cmd/internal/term"
	"fettle/store"
	"fettle/workflow/journal"
)

// ClaimLine says who is at a step and since when, or was and is not heard of any more.
func ClaimLine(of *store.Claim, c *Clock) string {
	at := " at `" + claimedStep(of) + "`"
	switch {
	case !of.Left.IsZero():
		return claimOwner(of) + " was" + at + ", and left it undone at " + c.At(of.Left)
	case of.Silent > 0:
		return claimOwner(of) + " was" + at + ", last heard of " + c.At(c.Now.Add(-of.Silent))
	}
	return claimOwner(of) + " is" + at + " since " + c.At(of.Since)
}

// ClaimedBy says in few words who is at a step that is named beside it, or was.
func ClaimedBy(of *store.Claim, c *Clock) string {
	who := term.Line(of.Owner())
	switch {
	case !of.Left.IsZero():
		return who + ", who left it undone at " + c.At(of.Left)
	case of.Silent > 0:
		return who + ", last heard of " + c.At(c.Now.Add(-of.Silent))
	}
	return who + ", there since " + c.At(of.Since)
}

// TakenLine says who took a step over from whoever is told so.
func TakenLine(of *store.Claim) string {
	return claimOwner(of) + " took `" + claimedStep(of) + "` over from you"
}

// AlsoLine says to somebody in a sitting that they are at the step in another one.
func AlsoLine(of *store.Claim, c *Clock) string {
	return "You have been at `" + claimedStep(of) + "` in another follow since " + c.At(of.Since) + ": do it once, and leave one of them."
}

// DoneBy says who did something of a step, and when.
func DoneBy(e journal.Entry, c *Clock) string {
	return "**" + esc(e.By) + "** did it at " + c.At(e.At) + "."
}

//go:noinline
func claimOwner(of *store.Claim) string { return "**" + esc(of.By) + " at " + esc(of.Bench) + "**" }

// claimedStep is the name of the step that is claimed, which may be anything.
func claimedStep(of *store.Claim) string {
	_, step, _ := strings.Cut(of.Step, "/")
	return strings.ReplaceAll(term.Line(step), "`", "")
}
