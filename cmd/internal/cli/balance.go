package cli

import (
	"context"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func (a *app) balanceCommand() *cobra.Command {
	var try []string
	var at string
	cmd := &cobra.Command{
		Use:   "balance [MARK]",
		Short: "Show where an airframe balances, and what would put it right",
		Long: "Show where an airframe balances: as it was weighed last, and as it is computed from that and the\n" +
			"equipment fitted, moved or removed since. It says where the battery has to lie and, where its\n" +
			"travel is too short, how much ballast where does the rest, in whole steps of the scale: on the\n" +
			"nose-heavy side, or on the other where only that ends inside the limits. Ballast that would end\n" +
			"outside is not advised. It aims at the middle of the limits; where the airframe was not weighed\n" +
			"as it is, at half the way from there to the forward limit. What no whole millimetre or step\n" +
			"improves stays as it is. What crosses a limit with its uncertainty is undecided.\n\n" +
			"--try shows what things would do before they are fitted; what is on board of the same kind makes\n" +
			"room, as with fettle equip. Nothing is recorded. To weigh it: fettle measure. Stations count aft from the datum of the design sheet; negative ones lie ahead\n" +
			"of it. What is computed replaces no weighing.\n\n" + page.LocalRules,
		Example:           "  fettle balance CW-01\n  fettle balance CW-01 --try \"camera 42 g @ 310 mm\"\n  fettle balance CW-01 --at -320mm",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	cmd.Flags().StringArrayVar(&try, "try", nil, "what it would do on board, `\"NAME MASS @ STATION\"`; several may be given")
	stringFlag(cmd.Flags(), &at, "at", "", "ballast at this `STATION`, such as -320mm (else the least, and only if the battery does not do)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.balance(cmd.Context(), args, try, at) }
	return cmd
}

func (a *app) balance(ctx context.Context, args, try []string, at string) error {
	station := math.NaN()
	if at != "" {
		q, err := quantity.Parse(at, quantity.Length)
		if err != nil {
			return usage("--at: %v", err)
		}
		if station, err = q.Float("mm"); err != nil {
			return usage("--at: %v", err)
		}
	}
	var parts []journal.EquipmentChanged
	for _, text := range try {
		part, err := tried(text)
		if err != nil {
			return err
		}
		parts = append(parts, part)
	}
	state, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	refused := func(err error) error {
		return &workflow.Refusal{What: "balance of " + state.Airframe.Mark, Reasons: []workflow.Reason{{Because: workflow.ByState, Text: err.Error()}}}
	}
	poise, err := state.Poise(a.time.Now())
	if err != nil {
		return refused(err)
	}
	p, err := page.NewBalance(state, poise, parts, station)
	if err != nil {
		return refused(err)
	}
	return a.show(p)
}

// tried is a thing to be tried: "camera 42 g @ 310 mm".
func tried(text string) (thing journal.EquipmentChanged, err error) {
	const how = `write it like "camera 42 g @ 310 mm"`
	before, place, ok := strings.Cut(text, "@")
	if !ok {
		return thing, usage("--try %q does not say where; %s", text, how)
	}
	if thing.Arm, err = quantity.Parse(strings.TrimSpace(place), quantity.Length); err != nil {
		return thing, usage("--try: %v; %s", err, how)
	}
	words := strings.Fields(before)
	for i := range words {
		if thing.Mass, err = quantity.Parse(strings.Join(words[i:], " "), quantity.Mass); err != nil {
			continue
		}
		if thing.Mass.Sign() <= 0 {
			return thing, usage("--try %q: its mass must be more than 0", text)
		}
		if thing.Item = strings.Join(words[:i], " "); thing.Item == "" {
			thing.Item = "it"
		}
		return thing, nil
	}
	return thing, usage("--try %q does not say how heavy; %s", text, how)
}
