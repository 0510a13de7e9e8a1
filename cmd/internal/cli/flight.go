package cli

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/cmd/internal/page"
	"fettle/steps/lists"
	"fettle/steps/quantity"
	"fettle/workflow"
	"fettle/workflow/journal"
)

func (a *app) flightCommand() *cobra.Command {
	var landing, note, lasted string
	var trims []string
	cmd := &cobra.Command{
		Use:   "flight [MARK]",
		Short: "Log a flight and its landing",
		Long: "Log a flight. A hard landing grounds the airframe until the check named in the triage table\n" +
			"is complete. Flights use up the life of the gates that have one. --trim says how far from neutral\n" +
			"a surface stood after landing, seen from behind: an angle, or the travel of its edge. The answer\n" +
			"is by how many turns of the clevis that is taken out, and what is measured again then.",
		Example:           "  fettle flight CW-01 --for 7min --trim elevator-up=1.5mm\n  fettle flight CW-01 --landing hard --note \"cartwheel in the sea lavender\"",
		Args:              arguments(0, 1),
		ValidArgsFunction: a.completeMarks,
	}
	stringFlag(cmd.Flags(), &landing, "landing", workflow.Soft, "how it landed: `soft or hard`")
	stringFlag(cmd.Flags(), &note, "note", "", "a `NOTE`")
	cmd.Flags().StringArrayVar(&trims, "trim", nil, "where a control surface stood after landing, `SURFACE-WAY=VALUE`: elevator-up=1.5mm, ailerons-left-up=2deg")
	stringFlag(cmd.Flags(), &lasted, "for", "", "how long it was in the air, `TIME`: 7min")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		time, err := optionalQuantity(lasted, quantity.Duration)
		if err != nil {
			return err
		}
		flown := workflow.LogFlight{Landing: landing, Note: note, Lasted: time}
		return a.flight(cmd.Context(), args, flown, trims, *at)
	}
	return cmd
}

func (a *app) flight(ctx context.Context, args []string, flight workflow.LogFlight, trims []string, at string) error {
	before, err := a.airframeAlone(ctx, args)
	if err != nil {
		return err
	}
	d, err := a.desk()
	if err != nil {
		return err
	}
	table, _, err := d.Triage(before)
	if err != nil {
		return err
	}
	flight.Check = table.HardLanding
	for _, text := range trims {
		trim, err := parseTrim(before, text)
		if err != nil {
			return err
		}
		flight.Trims = append(flight.Trims, trim)
	}
	mark := before.Airframe.Mark
	if err := a.act(ctx, before, flight, at); err != nil || a.json {
		return err
	}
	f := before.Airworthiness(a.time.Now())
	if at != "" {
		when, err := a.when(at)
		if err != nil {
			return err
		}
		if f, err = before.AirworthinessThen(when); err != nil {
			return err
		}
	}
	if !f.Released {
		a.say("It was not released to fly: %s.", page.Said(f.Why, time.Local))
	}
	if (flight.Landing == workflow.Hard || !f.Released) && flight.Check != "" {
		a.say("%s is grounded until inspected. Inspect: fettle start %s %s. Report findings: fettle crash %s", mark, mark, flight.Check, mark)
	}
	return nil
}

// parseTrim reads SURFACE-WAY=VALUE: elevator-up=1.5mm, ailerons-left-up=2deg.
func parseTrim(s *workflow.State, text string) (journal.Trim, error) {
	surface, value, _ := strings.Cut(text, "=")
	trim := journal.Trim{Control: surface}
	var err error
	for _, c := range s.Controls() {
		way, named := strings.CutPrefix(surface, c.Name)
		ways := s.Sheet.Geometry.Ways(c)
		switch {
		case named && lists.Contains(ways, strings.TrimPrefix(way, "-")):
			trim.Control, trim.Way = c.Name, strings.TrimPrefix(way, "-")
		case named && (way == "" || way[0] == '-'):
			err = usage("--trim %s does not say which way it stood: %s", text, strings.Join(each(ways, c.Name+"-", ""), ", "))
		}
	}
	if trim.Way == "" && err != nil {
		return trim, err
	}
	for _, of := range []quantity.Dimension{quantity.Angle, quantity.Length} {
		if trim.Value, err = quantity.Parse(value, of); err == nil {
			return trim, nil
		}
	}
	return trim, usage("--trim %s: give an angle or a travel of the edge with its unit: %s=1.5mm, %s=3deg", text, surface, surface)
}

func (a *app) equipCommand() *cobra.Command {
	var mass, arm string
	var change workflow.ChangeEquipment
	cmd := &cobra.Command{
		Use:   "equip MARK fitted|removed|moved ITEM",
		Short: "Record equipment fitted, removed or moved",
		Long: "Record a change of equipment. The balance must then be measured again, and whatever else the\n" +
			"design sheet says the item disturbs. --name is what is written on it: one pack is told from\n" +
			"another by its name, and what is in quarantine is not fitted again. What the sheet does not list\n" +
			"is fitted with its --zone and --mass.",
		Example: "  fettle equip SK-01 moved camera --arm -85mm\n  fettle equip SK-01 fitted battery-pack --name B --mass 130g\n" +
			"  fettle equip SK-01 fitted logger --zone nose --mass 9g",
		Args:              arguments(3, 3),
		ValidArgsFunction: a.completeAfterMark(oneOf(workflow.Fitted, workflow.Removed, workflow.Moved), equipment, nothing),
	}
	stringFlag(cmd.Flags(), &mass, "mass", "", "its `MASS`: 60g")
	stringFlag(cmd.Flags(), &arm, "arm", "", "how far its middle is behind the datum, `ARM`: 150mm, -295mm")
	stringFlag(cmd.Flags(), &change.Name, "name", "", "which one it is, by the `NAME` written on it")
	stringFlag(cmd.Flags(), &change.Zone, "zone", "", "the `ZONE` in which it is fitted, if the design sheet does not list it")
	stringFlag(cmd.Flags(), &change.Note, "note", "", "a `NOTE`")
	boolFlag(cmd.Flags(), &change.Sure, "sure", false, "keep a --mass or an --arm that looks mistyped")
	at := atFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		change.Change, change.Item = args[1], args[2]
		var err error
		if change.Mass, err = optionalQuantity(mass, quantity.Mass); err != nil {
			return err
		}
		if change.Arm, err = optionalQuantity(arm, quantity.Length); err != nil {
			return err
		}
		return a.actOn(cmd.Context(), args[0], change, *at)
	}
	return cmd
}

// optionalQuantity reads a quantity; it is absent if the text is empty.
func optionalQuantity(text string, want quantity.Dimension) (quantity.Quantity, error) {
	if text == "" {
		return quantity.Quantity{}, nil
	}
	q, err := quantity.Parse(text, want)
	if err != nil {
		return q, usage("%v", err)
	}
	return q, nil
}
