package cli

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/book"
	"fettle/cmd/internal/page"
	"fettle/steps/air"
	"fettle/steps/quantity"
)

type cardOptions struct {
	altitude, temperature, format string
	full                          bool
}

func (a *app) cardCommand() *cobra.Command {
	var o cardOptions
	cmd := &cobra.Command{
		Use:   "card [MARK]",
		Short: "Show the figures a pilot wants before the flight",
		Long: "Show the figures a pilot wants before the flight on one screen: mass, wing loading, stalling\n" +
			"speed in today's air, level and in a bank, launching speed, thrust to weight, the current beside\n" +
			"what controller, battery and connectors carry, endurance, balance, throws, trims. Each is marked\n" +
			"as measured, from the design sheet or assumed. Figures that the sheet does not support are left\n" +
			"out, and it is said why. An airframe that is not released gets no speeds.\n\n" +
			"The air is that of the standard atmosphere at sea level unless you say otherwise; humidity and\n" +
			"the pressure of the day are left out. The launching speed is 1.3 times the stall (common\n" +
			"practice, no source). Speeds are rounded up, and endurance down. --format html prints a page\n" +
			"with a drawing of the balance; it is in the book as well.\n\n" + page.LocalRules,
		Example:           "  fettle card CW-01\n  fettle card CW-01 --altitude 350m --temperature 28°C\n  fettle card CW-01 --format html > card.html",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	flags := cmd.Flags()
	stringFlag(flags, &o.altitude, "altitude", "", "the `HEIGHT` of the field above sea level, such as 350m (else 0m)")
	stringFlag(flags, &o.temperature, "temperature", "", "of the air at the field, a `TEMPERATURE` such as 28°C (else that of the standard atmosphere)")
	boolFlag(flags, &o.full, "full", false, "all of it and where each figure comes from, however long; md, json and html have all of it anyway")
	a.formats(cmd, &o.format, "", "html")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return a.card(cmd.Context(), args, o) }
	return cmd
}

func (a *app) card(ctx context.Context, args []string, o cardOptions) error {
	var altitude, temperature quantity.Quantity
	for _, said := range []struct {
		name, text string
		of         quantity.Dimension
		to         *quantity.Quantity
	}{{"altitude", o.altitude, quantity.Length, &altitude}, {"temperature", o.temperature, quantity.Temperature, &temperature}} {
		if said.text == "" {
			continue
		}
		q, err := quantity.Parse(said.text, said.of)
		if err != nil && said.of == quantity.Length { // its units would be those of the bench
			return usage("--altitude %q is not a height; write it like 350m or 1150ft", said.text)
		}
		if err != nil {
			return usage("--%s: %v", said.name, err)
		}
		*said.to = q
	}
	state, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	card, err := state.Card(a.time.Now(), altitude, temperature)
	switch {
	case errors.Is(err, air.ErrAltitude):
		return usage("--altitude %s: %v", o.altitude, air.ErrAltitude)
	case err != nil:
		return usage("--temperature %s: %v", o.temperature, err)
	}
	p := page.NewCard(state, card, d.BeforeFlight(state))
	switch {
	case o.format == "html":
		return book.WriteCard(a.Out, state, p, a.clock())
	case o.format == "text" && !o.full:
		return a.Show(p.Screen(a.clock(), a.Fits))
	}
	return a.showAs(p, o.format)
}
