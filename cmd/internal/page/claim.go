package page

import (
	"strings"

	"fettle/cmd/internal/term"
	"fettle/store"
)

// ClaimLine says who is at a step, and since when.
func ClaimLine(of *store.Claim, c Clock) string {
	return ClaimOwner(of) + " is at `" + claimedStep(of) + "` since " + c.At(of.Since)
}

// ClaimOwner is who claims a step, and where.
func ClaimOwner(of *store.Claim) string { return "**" + esc(of.By) + " at " + esc(of.Bench) + "**" }

// claimedStep is the name of the step that is claimed, which may be anything.
func claimedStep(of *store.Claim) string {
	_, step, _ := strings.Cut(of.Step, "/")
	return strings.ReplaceAll(term.Line(step), "`", "")
}
