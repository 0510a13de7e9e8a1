package page

import (
	"strings"

	"fettle/cmd/internal/term"
	"fettle/store"
)

// ClaimLine says who is at a step, and since when.
func ClaimLine(of *store.Claim, c Clock) string {
	return claimOwner(of) + " is at `" + claimedStep(of) + "` since " + c.At(of.Since)
}

// TakenLine says who took a step over from whoever is told so.
func TakenLine(of *store.Claim) string {
	return esc(of.Mark) + ": " + claimOwner(of) + " took `" + claimedStep(of) + "` over from you"
}

func claimOwner(of *store.Claim) string { return "**" + esc(of.By) + " at " + esc(of.Bench) + "**" }

// claimedStep is the name of the step that is claimed, which may be anything.
func claimedStep(of *store.Claim) string {
	_, step, _ := strings.Cut(of.Step, "/")
	return strings.ReplaceAll(term.Line(step), "`", "")
}
